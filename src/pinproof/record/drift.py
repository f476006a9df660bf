"""Whether readings of one point moved, or only differ by what the meter may be off.

Answers: is a steady value possible; is a rise or a fall certain, and how steep at least and at most?
Units:   values in one unit (ohms or volts), times in seconds, slopes in that unit per second.
Touches: nothing.
Sources: set-membership estimation: all straight lines through the intervals that the readings leave. A line with slope
         s passes all of them if and only if s lies between the largest (low_j - high_i) / (t_j - t_i) and the smallest
         (high_j - low_i) / (t_j - t_i) over t_j > t_i, which follows from asking for one common height.

Nothing is averaged: a meter's error may be the same in every reading, so more readings do not make it smaller.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Literal

from pinproof.record.store import Entry

MOST_READINGS = 2000  # the latest ones; beyond it the earliest are left out, and it is said
Word = Literal["too few", "steady", "drifts up", "drifts down", "jumps"]


@dataclass(frozen=True)
class Drift:
    """What the readings of one point say.

    "steady": one value fits all within the meter's error. "drifts up" or "drifts down": no level line fits, a sloping
    one does, between `slope_low` and `slope_high`. "jumps": no straight line fits at all, or the display was open
    between numbers. `change` is last less first.
    """

    word: Word
    readings: int
    slope_low: float
    slope_high: float
    change: float
    span_s: float
    left_out: int = 0


def drift(times_s: Sequence[float], values: Sequence[float], limits: Sequence[float]) -> Drift:
    """What a series of readings says.

    Parameters
    ----------
    times_s, values, limits : sequences of float, equally long
        When [s], what, and how far each may be off. Values and limits in one unit.

    Returns
    -------
    Drift

    Raises
    ------
    ValueError
        Unequal lengths, a value or a time that is not finite, or a limit below zero.

    Examples
    --------
    >>> from pinproof.record.drift import drift
    >>> drift([0.0, 10.0], [100.0, 101.0], [1.0, 1.0]).word, drift([0.0, 10.0], [100.0, 103.0], [1.0, 1.0]).word
    ('steady', 'drifts up')
    """
    if not len(times_s) == len(values) == len(limits):
        raise ValueError("times, values and limits must be equally many")
    if not all(math.isfinite(each) for each in (*times_s, *values, *limits)) or any(each < 0.0 for each in limits):
        raise ValueError("times, values and limits must be finite, limits not below zero")
    points = sorted(zip(times_s, values, limits, strict=True))
    left_out = max(len(points) - MOST_READINGS, 0)
    points = points[left_out:]
    if len(points) < 2:
        return Drift("too few", len(points), -math.inf, math.inf, 0.0, 0.0, left_out)
    least, most, same_time = -math.inf, math.inf, True
    for later in range(1, len(points)):
        t1, v1, u1 = points[later]
        for t0, v0, u0 in points[:later]:
            if t1 > t0:
                least = max(least, (v1 - u1 - v0 - u0) / (t1 - t0))
                most = min(most, (v1 + u1 - v0 + u0) / (t1 - t0))
            else:
                same_time = same_time and abs(v1 - v0) <= u0 + u1
    level = max(v - u for _, v, u in points) <= min(v + u for _, v, u in points)
    change, span_s = points[-1][1] - points[0][1], points[-1][0] - points[0][0]
    word: Word = "steady" if level else "jumps"
    if not level and same_time and least <= most:
        word = "drifts up" if least > 0.0 else "drifts down"
    return Drift(word, len(points), least, most, change, span_s, left_out)


def drift_of(entries: Sequence[Entry]) -> Drift:
    """What the readings of one fingerprint say. An open display among numbers is a jump; words are left out."""
    opened = any(math.isinf(each.value) for each in entries)
    kept = [each for each in entries if math.isfinite(each.value) and math.isfinite(each.error_limit)]
    found = drift(
        [seconds(each.taken_utc) for each in kept], [each.value for each in kept], [each.error_limit for each in kept]
    )
    return replace(found, word="jumps", readings=found.readings + 1) if opened and kept else found


def seconds(taken_utc: str) -> float:
    """Seconds since 1970 of a time as the record keeps it."""
    when = datetime.fromisoformat(taken_utc)
    return (when if when.tzinfo else when.replace(tzinfo=UTC)).timestamp()
