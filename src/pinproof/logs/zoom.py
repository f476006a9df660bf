"""Any stretch of a log drawn again, from what was kept of it: nearer, wider, earlier, later.

Answers: what was asked and what did the gearbox do between these two times; which stretches lie beside it?
Units:   seconds from the log's begin.
Touches: nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinproof.errors import PinproofError
from pinproof.logs.checks.case import Case, shift_picture
from pinproof.logs.results import Picture

LEAST_S = 0.2
MOST_STAYS = 40  # as `shift_picture` cuts


@dataclass
class NoStretch(PinproofError):
    """There is no such log, or no such stretch of it."""

    said: str

    def __str__(self) -> str:
        return self.said


@dataclass(frozen=True)
class Stretch:
    """A stretch and its neighbours, each (from, to); a neighbour that is the stretch itself is None."""

    log: str
    from_s: float
    to_s: float
    picture: Picture
    is_cut: bool  # more happened than is drawn
    closer: tuple[float, float] | None
    wider: tuple[float, float] | None
    earlier: tuple[float, float] | None
    later: tuple[float, float] | None


def stretch_of(case: Case, log: str, from_s: float, to_s: float) -> Stretch:
    """The stretch as far as the log has it.

    Raises
    ------
    NoStretch
        For an unknown log, times that are no numbers, or a stretch outside the log.
    """
    seen = next((each for each in case.seen if each.name == log), None)
    if seen is None:
        known = ", ".join(each.name for each in case.seen)
        raise NoStretch(f'There is no log "{log[:80]}" in this proof. There is {known}.')
    if not (math.isfinite(from_s) and math.isfinite(to_s) and from_s < to_s):
        raise NoStretch("A stretch begins before it ends, both in seconds.")
    begin, end = min(0.0, seen.begin_s), max(seen.end_s, seen.duration_s)
    low, high = max(from_s, begin), min(to_s, end)
    if not high > low:
        raise NoStretch(f"{log} lasts from {begin:.1f} s to {end:.1f} s; the stretch lies outside.")
    if high - low < LEAST_S:
        low, high = _within((low + high - LEAST_S) / 2.0, (low + high + LEAST_S) / 2.0, begin, end)
    wide, middle = high - low, (low + high) / 2.0
    picture = shift_picture(case, seen, low, high)

    def other(a: float, b: float) -> tuple[float, float] | None:
        found = _within(a, b, begin, end)
        return (
            None if math.isclose(found[0], low, abs_tol=1e-6) and math.isclose(found[1], high, abs_tol=1e-6) else found
        )

    near = max(wide / 4.0, LEAST_S / 2.0)
    return Stretch(
        log, low, high, picture, len(picture.did) >= MOST_STAYS, other(middle - near, middle + near),
        other(middle - wide, middle + wide), other(low - wide / 2.0, high - wide / 2.0),
        other(low + wide / 2.0, high + wide / 2.0),
    )  # fmt: skip


def _within(low: float, high: float, begin: float, end: float) -> tuple[float, float]:
    """The stretch moved into the log, or cut to it."""
    wide = min(high - low, end - begin)
    low = min(max(low, begin), end - wide)
    return low, low + wide
