"""Smallest and largest entry of a list between two positions, for many pairs of positions at once.

Answers: over a range of candidates, what is the least and the greatest resistance?
Touches: nothing.

A series in rising order needs only its ends. A drawer, where a wide part may stand beside a narrow one, gets a table
of powers of two: any range is the union of two of them.
"""

from __future__ import annotations

import numpy as np

from pinproof.choose.problem import FloatArray, IntArray


class RangeEnds:
    """Smallest and largest of `values[first : last + 1]`."""

    def __init__(self, values: FloatArray) -> None:
        self.values = np.ascontiguousarray(values, dtype=np.float64)
        self.rising = bool((np.diff(self.values) >= 0.0).all())
        self.least: list[FloatArray] = []
        self.most: list[FloatArray] = []
        if not self.rising:
            least = most = self.values
            width = 1
            while True:
                self.least.append(least)
                self.most.append(most)
                if 2 * width > len(self.values):
                    break
                least = np.minimum(least[:-width], least[width:])
                most = np.maximum(most[:-width], most[width:])
                width *= 2

    def smallest(self, first: IntArray, last: IntArray) -> FloatArray:
        """Smallest entry of each range."""
        return self.values[first] if self.rising else self._pick(self.least, first, last, np.minimum)

    def largest(self, first: IntArray, last: IntArray) -> FloatArray:
        """Largest entry of each range."""
        return self.values[last] if self.rising else self._pick(self.most, first, last, np.maximum)

    @staticmethod
    def _pick(table: list[FloatArray], first: IntArray, last: IntArray, join: np.ufunc) -> FloatArray:
        first, last = np.asarray(first), np.asarray(last)
        level = np.frexp((last - first + 1).astype(float))[1] - 1
        out = np.empty(first.shape)
        for one in np.unique(level).tolist():
            here = level == one
            out[here] = join(table[one][first[here]], table[one][last[here] - (1 << one) + 1])
        return out
