"""How often each share of measured ÷ stated was seen, and how many rows repeat one sample.

Answers: what is the median share over a whole log; is a channel held?
Units:   shares as factors less 1.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pinproof.logs.blocks import Floats

_BINS = 1200
_REACH = 0.6  # of the histograms of ln(measured ÷ stated)


@dataclass
class Shares:
    """A histogram of ln(measured ÷ stated): its median and how narrow it is."""

    counts: NDArray[np.int64] = field(default_factory=lambda: np.zeros(_BINS, dtype=np.int64))
    seconds: float = 0.0

    def add(self, shares: Floats, seconds: float) -> None:
        """Count some; what is no number is passed over."""
        shares = shares[np.isfinite(shares)]
        if len(shares):
            place = np.clip(((shares + _REACH) * (_BINS / (2.0 * _REACH))).astype(np.int64), 0, _BINS - 1)
            self.counts += np.bincount(place, minlength=_BINS)
            self.seconds += seconds

    def quantile(self, share: float) -> float:
        """Below which so much lies, as a factor less 1; NaN of nothing."""
        total = int(self.counts.sum())
        if not total:
            return float("nan")
        place = int(np.searchsorted(np.cumsum(self.counts), share * total))
        return float(np.exp((place + 0.5) * (2.0 * _REACH / _BINS) - _REACH) - 1.0)


def beat_of(values: Floats, changes: NDArray[np.int64]) -> int:
    """How many rows a channel repeats each of its samples; 1 where every row is one, 0 where too few changes tell.

    Changes in a regular beat are held samples; changes that come by, each by the channel's smallest step, are a slow
    movement of a coarse channel.
    """
    gaps = np.diff(changes)
    gaps = gaps[gaps <= 64]
    if len(gaps) < 20:
        return 0
    every = int(np.searchsorted(np.cumsum(np.bincount(gaps)), len(gaps) / 2.0))
    if every <= 1:
        return 1
    off = np.abs(gaps - every * np.round(gaps / every))
    if np.count_nonzero(off <= (1 if every >= 4 else 0)) < 0.8 * len(gaps):
        return 1
    jumps = np.abs(values[changes] - values[changes - 1])
    if np.count_nonzero(jumps < 1.5 * jumps.min()) > 0.8 * len(jumps):
        return 1
    return every
