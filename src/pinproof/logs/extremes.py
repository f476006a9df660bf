"""A channel's extremes, how long it was seen, and a coarse histogram of what lies between.

Answers: how low and how high did it go, apart from single samples, and over how much time is that known?
Units:   the channel's own; seconds.
Touches: nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinproof.logs.blocks import Block, Floats

MOST_BINS = 100_000
"""No channel of a truck ranges over more steps either way."""


@dataclass(frozen=True)
class Tally:
    """A number's extremes; `low` and `high` are the same with single samples left out."""

    lowest: float = math.nan
    highest: float = math.nan
    seconds: float = 0.0
    low: float = math.nan
    high: float = math.nan


class Extreme:
    """Collects: lowest, highest, and a histogram of steps `step`.

    A sample counts until the next one, but not beyond `gap_s` and not over a gap of the log.
    """

    def __init__(self, step: float, gap_s: float) -> None:
        self.step, self.gap_s = step, gap_s
        self.low, self.high, self.count = math.inf, -math.inf, 0
        self.seconds = 0.0
        self._counts: NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        self._bin = 0  # of the first count
        self._last_s = math.nan

    def take(self, block: Block, column: Floats, row_s: float, stride: int = 1) -> None:
        """Extremes of all; the histogram of every so many."""
        lost = np.isnan(column)
        empty = bool(lost.any())
        known = column[~lost] if empty else column
        if not len(known):
            return
        self.low, self.high = min(self.low, float(known.min())), max(self.high, float(known.max()))
        self.count += len(known)
        self._spend(block, block.time_s[~lost] if empty else block.time_s, row_s)
        bins = np.clip(np.floor(known[::stride] / self.step), -MOST_BINS, MOST_BINS).astype(np.int64)
        first = int(bins.min())
        self._add(first, np.bincount(bins - first))

    def _add(self, first: int, counts: NDArray[np.int64]) -> None:
        """Counts of neighbouring bins, from the bin `first` on."""
        if not len(self._counts):
            self._bin, self._counts = first, counts
            return
        low = min(self._bin, first)
        end = max(self._bin + len(self._counts), first + len(counts))
        if low < self._bin or end > self._bin + len(self._counts):
            room = np.zeros(end - low, dtype=np.int64)
            room[self._bin - low : self._bin - low + len(self._counts)] = self._counts
            self._bin, self._counts = low, room
        self._counts[first - low : first - low + len(counts)] += counts

    def _spend(self, block: Block, at_s: Floats, row_s: float) -> None:
        begin_s, self._last_s = self._last_s, float(at_s[-1])
        dense = len(at_s) == len(block) and not len(block.gaps) and block.widest_s <= self.gap_s
        if dense and not at_s[0] - begin_s > self.gap_s:
            self.seconds += float(at_s[-1]) - (float(at_s[0]) - row_s if math.isnan(begin_s) else begin_s)
            return
        if math.isnan(begin_s):
            self.seconds += row_s
        else:
            at_s = np.concatenate([[begin_s], at_s])
        step_s = np.diff(at_s)
        fresh = step_s <= self.gap_s
        if len(block.gaps):
            torn = np.searchsorted(block.time_s[block.gaps], at_s, side="right")
            fresh &= torn[1:] == torn[:-1]
        self.seconds += float(np.where(fresh, step_s, row_s).sum())

    def tally(self) -> Tally:
        """What was found."""
        if not self.count:
            return Tally()
        enough = max(2.0, int(self._counts.sum()) * 1e-5)
        places = np.flatnonzero(self._counts)
        often = places[self._counts[places] >= enough]
        low = self._bin + int(often[0] if len(often) else places[0])
        high = self._bin + int(often[-1] if len(often) else places[-1])
        return Tally(
            self.low, self.high, self.seconds, max(self.low, low * self.step), min(self.high, (high + 1) * self.step)
        )
