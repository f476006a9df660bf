"""Which blade fuse a feed needs, and whether the one it has holds.

Answers: smallest rating that carries the load for good and stands its inrush.
Units:   A, s.
Touches: the tables.
Sources: at most 80 % of the rating for good (secondary); operating-time gates of ISO 8820-3 (from memory, and so said).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pinproof.tables import fuse_continuous_fraction, fuse_gate, fuse_ratings_a

GATES = (110, 135, 160, 200, 350, 600)
Verdict = Literal["pass", "fail", "not shown"]


@dataclass(frozen=True)
class Peak:
    """Inrush of one load with the others on, and how long it lasts; a time of 0 is not stated."""

    load: str
    current_a: float
    time_s: float


@dataclass(frozen=True)
class FuseVerdict:
    """What a rating is worth for a load. `why` is "" for a pass."""

    rating_a: float
    verdict: Verdict
    why: str = ""


def judge_fuse(rating_a: float, running_a: float, peaks: Sequence[Peak]) -> FuseVerdict:
    """Judge one rating against the current that flows for good and the inrush of each load."""
    most_a = rating_a * fuse_continuous_fraction().value
    if running_a > most_a * (1 + 1e-9):
        return FuseVerdict(rating_a, "fail", f"{running_a:.3g} A flows for good, it carries {most_a:.3g} A")
    shown = FuseVerdict(rating_a, "pass")
    for peak in peaks:
        percent = 100.0 * peak.current_a / rating_a
        if percent <= GATES[0] * (1 + 1e-9):
            continue
        gate = next((each for each in GATES if percent <= each * (1 + 1e-9)), None)
        if gate is None:
            shown = FuseVerdict(rating_a, "not shown", f"{peak.load} draws {percent:.0f} % of it, above all gates")
            continue
        shortest_s = fuse_gate(gate).shortest_s
        if not shortest_s > peak.time_s:
            why = f"{peak.load} draws {percent:.0f} % of it for {peak.time_s:g} s, it may blow after {shortest_s:g} s"
            return FuseVerdict(rating_a, "fail", why)
    return shown


def fuse_for(running_a: float, peaks: Sequence[Peak], family: str = "medium") -> FuseVerdict:
    """Smallest rating of a family that passes; else the largest with what is against it.

    >>> fuse_for(3.0, []).rating_a, fuse_for(3.0, [Peak("lamp", 18.0, 0.1)]).rating_a  # 180 % for 0.1 s
    (4.0, 10.0)
    """
    tried = [judge_fuse(rating, running_a, peaks) for rating in fuse_ratings_a(family)]
    return next((each for each in tried if each.verdict == "pass"), tried[-1])
