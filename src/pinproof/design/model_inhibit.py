"""What a design file states about the start inhibit. A frozen dataclass; fields have the names of their keys.

Answers: what was stated.
Touches: nothing.
Beside:  `model_harness` has the parts of the circuit.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Inhibit:
    """Where the engine may be cranked, and by which circuit. `form` and `turns` are "" where the file leaves them out:
    then the circuit tells the form, and the coil's first contact turns the engine."""

    coil: str
    lever: str
    permitted: tuple[str, ...]
    start: tuple[str, ...]
    form: str = ""
    turns: str = ""
    note: str = ""
    path: str = "inhibit"
