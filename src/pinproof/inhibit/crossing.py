"""Where one condition on a coil's volts holds, at many corners at once: solved, not searched.

Answers: the interval of the severity conductance in which (v0 G + v1 g) / (G + g) lies beyond a level; what several
         such intervals have in common; conductances as severities.
Units:   siemens and volts inside, ohms in the sets.
Touches: nothing.
Beside:  `corners` has the three numbers v0, v1 and G of every corner.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from pinproof.faults.answers import NO_OHMS
from pinproof.inhibit.sets import ALL, NONE, Interval, Severities, union

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Ends = tuple[FloatArray, FloatArray, BoolArray, BoolArray]  # low, high [S], and whether each belongs


def above(f0: FloatArray, f1: FloatArray, seen: FloatArray, level: float, strict: bool) -> Ends:
    """Conductances with which (f0 G + f1 g) / (G + g) lies above the level, or at it too if not strict."""
    a, b = f0 - level, f1 - level
    in_open, in_short = (a > 0.0, b > 0.0) if strict else (a >= 0.0, b >= 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        cross = np.where(seen == 0.0, 0.0, -a * seen / b)
    # At a level that the open or the short value just meets, rounding may give -0 or nan: nothing lies beyond.
    cross = np.abs(np.nan_to_num(cross, nan=np.inf, posinf=np.inf, neginf=np.inf))
    alone = seen == 0.0  # the severity is all that joins them: at 0 S one value, above it the other
    low = np.where(in_open, 0.0, np.where(in_short, cross, np.inf))
    high = np.where(in_short, np.inf, np.where(in_open, cross, 0.0))
    low_in = in_open | (np.full(a.shape, not strict) & ~alone)
    high_in = in_short | alone | np.full(a.shape, not strict)
    return low, high, low_in, high_in


def cut(listed: Sequence[Ends]) -> Ends:
    """Where all hold: for each corner one interval, empty if its low end lies above its high end."""
    low, high, low_in, high_in = listed[0]
    for lo, hi, lo_in, hi_in in listed[1:]:
        low_in = np.where(lo > low, lo_in, np.where(lo < low, low_in, low_in & lo_in))
        high_in = np.where(hi < high, hi_in, np.where(hi > high, high_in, high_in & hi_in))
        low, high = np.maximum(low, lo), np.minimum(high, hi)
    return low, high, low_in, high_in


def ohms(conductances: Severities, moves: bool) -> Severities:
    """A set of conductances as severities. What lies below NO_OHMS counts as 0, and alone there as nothing."""
    if not moves:
        return ALL if conductances else NONE
    out = []
    for each in conductances:
        low, low_in = _inverse(each.high_ohm), each.high_in
        high = _inverse(each.low_ohm)
        if low < NO_OHMS:
            low, low_in = 0.0, True
        if high >= NO_OHMS:
            out.append(Interval(low, high, low_in, each.low_in))
    return union([tuple(sorted(out))])


def _inverse(conductance_s: float) -> float:
    return np.inf if conductance_s == 0.0 else 0.0 if np.isinf(conductance_s) else 1.0 / conductance_s
