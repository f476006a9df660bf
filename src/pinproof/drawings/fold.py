"""Which situations a chart shows, and how the rest is counted.

Answers: which rows, in which order, and one honest sentence about those that were left out.
Touches: nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pinproof.drawings import words
from pinproof.proof.results import SituationProof
from pinproof.verdict import Verdict

COMBINATION_RULE = 5  # situations that no rule gives one wanted meaning


@dataclass(frozen=True)
class Fold:
    """The rows to draw, and a sentence for each group of rows that are not drawn."""

    rows: tuple[SituationProof, ...]
    notes: tuple[str, ...]


def is_required(row: SituationProof) -> bool:
    """True for a situation that has to read something certain; the others are combinations."""
    return row.rule != COMBINATION_RULE


def severity(row: SituationProof) -> tuple[int, float]:
    """Sorts the situation that decides to the front; a margin that is no number counts as none."""
    return row.verdict.rank, -math.inf if math.isnan(row.margin) else row.margin


def fold(rows: Sequence[SituationProof], most: int) -> Fold:
    """Required situations in file order, then combinations with the worst first; the easiest ones are counted only.

    At least one row of each group that exists is kept, and never is a row left out that does worse than a row shown
    of its group.
    """
    required = [row for row in rows if is_required(row)]
    combined = sorted((row for row in rows if not is_required(row)), key=severity)
    if len(rows) <= most:
        return Fold((*required, *combined), ())
    for_combined = min(len(combined), max(most - len(required), most // 3, 1))
    for_required = max(most - for_combined, 1)
    kept = sorted(required, key=severity)[:for_required]
    shown = [row for row in required if any(row is each for each in kept)]
    left_required = [row for row in required if not any(row is each for each in kept)]
    notes = [
        _counted(left, name)
        for left, name in ((left_required, "required situation"), (combined[for_combined:], "combination"))
        if left
    ]
    return Fold((*shown, *combined[:for_combined]), tuple(notes))


def _counted(rows: Sequence[SituationProof], name: str) -> str:
    counts = [
        f"{sum(row.verdict is verdict for row in rows)} {words.VERDICTS[verdict]}"
        for verdict in (Verdict.FAIL, Verdict.NOT_SHOWN, Verdict.WOULD_HOLD, Verdict.PASS)
        if any(row.verdict is verdict for row in rows)
    ]
    least = min(rows, key=severity)
    plural = "s" if len(rows) > 1 else ""
    return (
        f"Not drawn: {len(rows)} more {name}{plural} ({words.all_of(counts)}); "
        f"the worst of them, {words.operated(least.operated)}: {words.margin(least)}."
    )
