"""The checked [inhibit] table made into the model.

Answers: the `Inhibit` of a file in which no fault was found, or None.
Touches: nothing.
"""

from __future__ import annotations

from pinproof.design.model_inhibit import Inhibit
from pinproof.design.rows import Row


def inhibit_table(truck: Row) -> Inhibit | None:
    """The start inhibit that the file states."""
    row = truck.get("inhibit")
    return Inhibit(**row.values, path=row.path) if isinstance(row, Row) else None
