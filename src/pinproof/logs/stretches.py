"""Stretches of time, in order and apart, that can be asked quickly.

Answers: does a stretch of the log meet one of them, how much of it do they cover?
Units:   seconds from the log's begin.
Touches: nothing.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from pinproof.logs.blocks import Floats


class Stretches:
    """Any stretches, joined where they touch; each may be widened by a margin first."""

    def __init__(self, stretches: Iterable[tuple[float, float]], margin_s: float = 0.0) -> None:
        pairs = np.array(sorted(stretches), dtype=float).reshape(-1, 2)
        begin, end = (
            pairs[:, 0] - margin_s,
            np.maximum.accumulate(pairs[:, 1] + margin_s) if len(pairs) else pairs[:, 1],
        )
        first = np.ones(len(begin), dtype=bool)
        first[1:] = begin[1:] > end[:-1]
        last = np.append(first[1:], True)[: len(begin)]
        self.begin_s, self.end_s = begin[first], end[last]
        self._begins: list[float] = self.begin_s.tolist()
        self._ends: list[float] = self.end_s.tolist()

    def __len__(self) -> int:
        return len(self.begin_s)

    @property
    def total_s(self) -> float:
        """How long they are together."""
        return float((self.end_s - self.begin_s).sum())

    def meets(self, from_s: float, to_s: float) -> bool:
        """True if a stretch shares time with one of them, a shared end included."""
        if not self._ends:
            return False
        place = bisect_left(self._ends, from_s)
        return place < len(self._ends) and self._begins[place] <= to_s

    def meet(self, from_s: Floats, to_s: Floats) -> NDArray[np.bool_]:
        """The same of many stretches."""
        if not len(self.begin_s):
            return np.zeros(len(from_s), dtype=bool)
        place = np.searchsorted(self.end_s, from_s)
        return (place < len(self.begin_s)) & (self.begin_s[np.minimum(place, len(self.begin_s) - 1)] <= to_s)

    def outside(self, from_s: float, to_s: float) -> list[tuple[float, float]]:
        """What of a stretch lies in none of them; pieces that have a length."""
        found = []
        for place in range(bisect_left(self._ends, from_s), len(self._ends)):
            if self._begins[place] > to_s:
                break
            if self._begins[place] > from_s:
                found.append((from_s, self._begins[place]))
            from_s = max(from_s, self._ends[place])
        return [*found, (from_s, to_s)] if to_s > from_s else found

    def covered_s(self, from_s: float, to_s: float) -> float:
        """How much of a stretch they cover."""
        low = int(np.searchsorted(self.end_s, from_s, side="right"))
        high = int(np.searchsorted(self.begin_s, to_s))
        if high <= low or to_s <= from_s:
            return 0.0
        ends = np.minimum(self.end_s[low:high], to_s) - np.maximum(self.begin_s[low:high], from_s)
        return float(np.maximum(ends, 0.0).sum())
