"""Cures of a line, told the same way on the page and in the book.

Answers: which of the cures that were tried belong to this line, and what does each change?
Touches: nothing.
Beside:  `pinproof.choose.cures` finds them; whoever writes the page or the pack hands them over.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pinproof.drawings import words
from pinproof.proof.results import TruckProof
from pinproof.verdict import Verdict

Cures = Sequence[Any] | Mapping[str, Sequence[Any]]
"""Objects with `what` (text), `verdict`, `margin` (ratio) and `changes` (a text, a list of texts, or design path to new
value): those of each line by its id, or in one row. In a row each stands under the line of its field `line`, or without
one under the first line."""

CAPTION = "Cures, each proved again as a whole"
HEADS = ("What to do", "What changes", "Margin after it", "Proved again")


@dataclass(frozen=True)
class CureTold:
    """One cure in words."""

    what: str
    changes: tuple[str, ...]
    margin: str
    verdict: Verdict


def cures_on(cures: Cures, proof: TruckProof, line_id: str) -> tuple[CureTold, ...]:
    """The cures of one line, in their own order."""
    if isinstance(cures, Mapping):
        return tuple(_told(each) for each in cures.get(line_id, ()))
    return tuple(_told(each) for each in cures if getattr(each, "line", proof.lines[0].line) == line_id)


def _told(cure: Any) -> CureTold:
    margin = cure.margin
    shown = words.percent(margin, up=margin < 0.0) if isinstance(margin, float) else str(margin)
    return CureTold(str(cure.what), tuple(_changes(cure.changes)), shown, Verdict(cure.verdict))


def _changes(changes: Any) -> list[str]:
    if isinstance(changes, str):
        return [changes]
    if isinstance(changes, Mapping):
        return [f"{words.parameter(str(path))}: {value}" for path, value in changes.items()]
    return [str(each) for each in changes]
