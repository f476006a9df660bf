"""Sets of severities: unions of intervals, each end with whether it belongs.

Answers: the union of very many intervals, and unions, intersections and differences of a few sets.
Units:   ohms, 0 to inf.
Touches: nothing.

All ends that occur are numbered in order: the end x has the place 2 i, the gap above it 2 i + 1. An interval then is a
run of whole numbers, with or without its ends, and sets are joined and cut without comparing floats again.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, order=True)
class Interval:
    """Severities from `low_ohm` to `high_ohm`, and whether the ends belong. [Ω]"""

    low_ohm: float
    high_ohm: float
    low_in: bool = True
    high_in: bool = True

    def holds(self, ohm: float) -> bool:
        """Whether this severity belongs to it. [Ω]"""
        above = ohm >= self.low_ohm if self.low_in else ohm > self.low_ohm
        return above and (ohm <= self.high_ohm if self.high_in else ohm < self.high_ohm)


Severities = tuple[Interval, ...]
ALL: Severities = (Interval(0.0, inf),)
NONE: Severities = ()
FEW = 16


def union_of(low: FloatArray, high: FloatArray, low_in: BoolArray, high_in: BoolArray) -> Severities:
    """Union of intervals given as arrays of one shape; empty ones (low above high, or a point without its end) fall."""
    some = (low < high) | ((low == high) & low_in & high_in)
    if not some.any():
        return NONE
    low, high, low_in, high_in = low[some], high[some], low_in[some], high_in[some]
    if low.size > FEW:  # nearly all begin at 0 or end at inf: of each kind the widest holds the rest
        keep = (low > 0.0) & (high < np.inf)
        for at_end, end_in, far, far_in in (
            (low == 0.0, low_in, high, high_in),
            (high == np.inf, high_in, -low, low_in),
        ):
            for closed in (True, False):
                mine = np.flatnonzero(at_end & (end_in == closed))
                if mine.size:
                    widest = mine[far[mine] == far[mine].max()]
                    keep[widest[np.argmax(far_in[widest])]] = True
        low, high, low_in, high_in = low[keep], high[keep], low_in[keep], high_in[keep]
    ends, place = np.unique(np.concatenate([low, high]), return_inverse=True)
    first = 2 * place[: low.size] + ~low_in
    last = 2 * place[low.size :] - ~high_in
    order = np.argsort(first, kind="stable")
    first, last = first[order], np.maximum.accumulate(last[order])
    begins = np.concatenate([[True], first[1:] > last[:-1] + 1])
    stops = np.concatenate([begins[1:], [True]])
    return tuple(_interval(ends, int(a), int(b)) for a, b in zip(first[begins], last[stops], strict=True))


def _interval(ends: FloatArray, first: int, last: int) -> Interval:
    return Interval(float(ends[first // 2]), float(ends[(last + 1) // 2]), first % 2 == 0, last % 2 == 0)


def union(sets: Iterable[Severities]) -> Severities:
    """All severities of several sets."""
    listed = [each for one in sets for each in one]
    if len(listed) < 2:
        return tuple(listed)
    return union_of(
        np.array([each.low_ohm for each in listed]),
        np.array([each.high_ohm for each in listed]),
        np.array([each.low_in for each in listed]),
        np.array([each.high_in for each in listed]),
    )


def intersection(sets: Sequence[Severities]) -> Severities:
    """Severities that all sets hold; everything if there are none."""
    out = ALL
    for one in sets:
        found = [both for a in out for b in one if (both := _both(a, b)) is not None]
        out = union([tuple(found)])
    return out


def _both(a: Interval, b: Interval) -> Interval | None:
    low, low_in = max((a.low_ohm, not a.low_in), (b.low_ohm, not b.low_in))
    high, high_in = min((a.high_ohm, a.high_in), (b.high_ohm, b.high_in))
    both = Interval(low, high, not low_in, high_in)
    return both if low < high or (low == high and both.low_in and both.high_in) else None


def complement(one: Severities) -> Severities:
    """Severities from 0 to inf that a set does not hold."""
    out, at, at_in = [], 0.0, True
    for each in one:
        gap = Interval(at, each.low_ohm, at_in, not each.low_in)
        if gap.low_ohm < gap.high_ohm or (gap.low_ohm == gap.high_ohm and gap.low_in and gap.high_in):
            out.append(gap)
        at, at_in = each.high_ohm, not each.high_in
    if at < inf or at_in:
        out.append(Interval(at, inf, at_in, True))
    return tuple(out)


def without(one: Severities, other: Severities) -> Severities:
    """Severities of `one` that `other` does not hold."""
    return intersection([one, complement(other)])


def split_hair(more: Severities, beside: Severities, share: float) -> tuple[Severities, Severities]:
    """Severities of `more` that go well beyond another set, and those that only move its edge.

    An interval moves an edge if it touches `beside` and its ends differ by less than `share`.

    >>> split_hair((Interval(10.0, 10.01, False), Interval(20.0, 40.0)), (Interval(0.0, 10.0),), 0.01)[1]
    (Interval(low_ohm=10.0, high_ohm=10.01, low_in=False, high_in=True),)
    """
    edges = {end for each in beside for end in (each.low_ohm, each.high_ohm)}
    hair = [
        each
        for each in more
        if (each.low_ohm in edges or each.high_ohm in edges) and each.high_ohm < each.low_ohm * (1.0 + share)
    ]
    return tuple(each for each in more if each not in hair), tuple(hair)


def decades(one: Severities, low_ohm: float, high_ohm: float) -> float:
    """How wide a set is between two severities, in decades."""
    total = 0.0
    for each in one:
        low, high = max(each.low_ohm, low_ohm), min(each.high_ohm, high_ohm)
        total += np.log10(high / low) if high > low else 0.0
    return float(total)
