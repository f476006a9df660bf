"""How often a channel really has something new, however often it stands in the file.

Answers: is it held over k rows, or drawn straight between every k-th; what is its own rate; how far does it range?
Units:   rows, seconds, hertz.
Touches: nothing.
How:     the rows between two changes are counted. A held channel changes in a beat of k rows: k may be a fraction
         (30 Hz in rows of 100 Hz changes after 3 or 4). Of the changes with intervals d the beat k scores the mean of
         cos(2π d ÷ k), which is 1 for a perfect beat and about 0 for none. Corners of straight pieces likewise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from pinproof.logs.recording import Floats

LONGEST = 4096
"""Longest interval that is counted, in rows."""
WINDOW = 4096
SPARSE = 0.02
"""A channel that changes in fewer rows than this has all its changes counted, others those of a window per piece."""
ENOUGH_ROWS = 50 * WINDOW
"""Once so many rows were looked at, a window of every fourth piece is enough."""
LEAST_CHANGES = 20
_SCORE, _COVER = 0.7, 0.5
_MANY_MULTIPLES = 0.1
_GRID_SHARE = 0.9
LEAST_ON_GRID = 8
"""With fewer intervals the beat could be half of what it seems."""
MOST_PIECES = 2000
_NEVER = np.zeros(0, dtype=bool)


@dataclass(frozen=True)
class Beat:
    """A beat of `rows` rows, found in `changes` changes."""

    rows: float
    changes: int
    score: float


@dataclass
class Changes:
    """Counts of one channel, piece by piece."""

    rows: int = 0
    recorded: int = 0
    repeats: int = 0
    pairs: int = 0  # of recorded neighbours
    lowest: float = np.inf
    highest: float = -np.inf
    total: float = 0.0
    first: float = np.nan
    looked_at: int = 0  # rows in which intervals were counted
    straight_at: int = 0
    hist: np.ndarray = field(default_factory=lambda: np.zeros(LONGEST, dtype=np.int64))
    corners: np.ndarray = field(default_factory=lambda: np.zeros(LONGEST, dtype=np.int64))
    sample_steps_s: list[float] = field(default_factory=list)  # medians of pieces, of channels with empty cells
    seldom: list[np.ndarray] = field(default_factory=list)  # intervals of a channel that changes seldom
    _last: float = np.nan
    _since: int = -1  # rows since the last change; -1: none yet
    _windows: int = 0

    def feed(self, time_s: Floats, values: Floats) -> None:
        """Take in one piece."""
        rows = len(values)
        self.rows += rows
        total = float(values.sum())
        if np.isnan(total):
            kept = ~np.isnan(values)
            values, time_s = values[kept], time_s[kept]
            total = float(values.sum())
            if len(values) > 1:
                some = time_s if len(time_s) <= 2 * WINDOW else time_s[: 2 * WINDOW]
                self.sample_steps_s.append(float(np.median(np.diff(some))))
        count = len(values)
        if not count:
            return
        if not self.recorded:
            self.first = float(values[0])
        self.recorded += count
        self.total += total
        low, high = float(values.min()), float(values.max())
        self.lowest, self.highest = min(self.lowest, low), max(self.highest, high)
        changed = values[1:] != values[:-1] if low < high else _NEVER
        times = int(np.count_nonzero(changed))
        joint = not np.isnan(self._last)
        new = joint and bool(values[0] != self._last)
        self.pairs += count - 1 + joint
        self.repeats += count - 1 - times + (joint and not new)
        if times <= SPARSE * count:
            self._all(np.flatnonzero(changed) + 1, count, new)
        else:
            self._windows += 1
            if self.looked_at < ENOUGH_ROWS or self._windows % 4 == 0:
                self._window(values, changed)
            self._since = -1
        self._last = float(values[-1])

    def _all(self, at: np.ndarray, count: int, new: bool) -> None:
        if new:
            at = np.concatenate(([0], at))
        self.looked_at += count
        if not len(at):
            if self._since >= 0:
                self._since += count
            return
        steps = np.diff(at)
        if self._since >= 0:
            steps = np.concatenate(([self._since + at[0]], steps))
        self._bin(self.hist, steps)
        if len(self.seldom) < MOST_PIECES:
            self.seldom.append(steps)
        self._since = int(count - at[-1])

    def _window(self, values: Floats, changed: np.ndarray) -> None:
        length = min(WINDOW, len(changed))
        begin = 0
        if len(changed) > 2 * length:  # where most changes are, of three places
            places = (0, (len(changed) - length) // 2, len(changed) - length)
            begin = max(places, key=lambda at: int(np.count_nonzero(changed[at : at + length])))
        some = changed[begin : begin + length]
        self.looked_at += length
        self._bin(self.hist, np.diff(np.flatnonzero(some)))
        part = values[begin : begin + length + 1]
        slope = np.diff(part)
        if length < 64:
            return
        moving = np.abs(slope) > 0.0
        bend = np.abs(np.diff(slope))
        corner = bend > _grain(part)
        if np.count_nonzero(moving) < 0.3 * length:
            return
        self.straight_at += length
        self._bin(self.corners, np.diff(np.flatnonzero(corner)))

    @staticmethod
    def _bin(into: np.ndarray, steps: np.ndarray) -> None:
        short = steps[steps < LONGEST]
        if len(short):
            into += np.bincount(short, minlength=LONGEST)

    def held(self, most: float) -> Beat | None:
        """The beat, of up to `most` rows, in which values are held, if there is one."""
        found = beat_of(self.hist, self.looked_at, most=most)
        if found is None and self.seldom:
            found = grid_of(np.concatenate(self.seldom), most)
        return found

    @property
    def changes(self) -> int:
        """How often the value was another than the one before."""
        return self.pairs - self.repeats

    def straight(self, most: float) -> Beat | None:
        """The beat of the corners of straight pieces, if there is one."""
        return beat_of(self.corners, self.straight_at, least=2.5, most=most)

    @property
    def sample_rate_hz(self) -> float:
        """How often a cell is filled, of a channel with empty cells; NaN for others."""
        if not self.sample_steps_s:
            return float("nan")
        return 1.0 / float(np.median(self.sample_steps_s))


def _grain(values: Floats) -> float:
    """A bend that rounding alone can make: twice the last decimal that the values have."""
    for digits in range(7):
        if np.array_equal(np.round(values, digits), values):
            return 2.01 * 10.0**-digits
    return 1e-9 * float(np.abs(values).max() + 1e-300)


def grid_of(intervals: np.ndarray, most: float) -> Beat | None:
    """The whole number of rows of which nearly all intervals of a seldom changing channel are multiples.

    It must be so many times that chance does not make it: one in a thousand, for all numbers tried together.
    """
    count = len(intervals)
    if count < LEAST_ON_GRID:
        return None
    head = intervals[: count // 4 + 1]
    spare = (1.0 - _GRID_SHARE) * count + 1.0
    for k in range(int(min(most, LONGEST)), 1, -1):
        if np.count_nonzero(head % k) > spare:  # too many already, whatever the rest is
            continue
        fit = int(np.count_nonzero(intervals % k == 0))
        fits = fit / count
        ways = math.lgamma(count + 1) - math.lgamma(fit + 1) - math.lgamma(count - fit + 1)
        if fits >= _GRID_SHARE and fit * math.log(k) - ways >= math.log(1000.0 * most):
            slower = float(np.mean(intervals % (2 * k) == 0)) >= _GRID_SHARE and 2 * k > most
            return None if slower else Beat(float(k), count, fits)
    return None


def beat_of(hist: np.ndarray, looked_at: int, least: float = 1.9, most: float = LONGEST) -> Beat | None:
    """The beat of intervals whose counts are `hist[interval]`; None if there is none that can be told.

    A beat is told if few intervals are shorter, and if either it accounts for half of all rows, or intervals of several
    multiples fit it: presses of equal length alone are no beat.
    """
    total = int(hist.sum())
    if total < LEAST_CHANGES:
        return None
    shortest = int(np.searchsorted(np.cumsum(hist), 0.05 * total + 1e-9))
    if shortest + 1 < least or shortest - 1 > most:
        return None
    # one beat between two whole numbers of rows, such as 30 Hz in rows of 100 Hz: every 3 or 4
    pair = hist[shortest : shortest + 2]
    if int(pair.sum()) >= 0.9 * total:
        rows = float(pair @ np.arange(shortest, shortest + len(pair))) / int(pair.sum())
        if rows >= least and total * rows >= _COVER * looked_at:
            return Beat(rows, int(pair.sum()), int(pair.sum()) / total)
    best: Beat | None = None
    for k in np.arange(max(least, shortest - 0.5), shortest + 1.01, 0.02):
        top = int(min(LONGEST, 10.5 * k))
        near = hist[:top]
        count = int(near.sum())
        if count < LEAST_CHANGES:
            continue
        score = float(near @ np.cos(2.0 * np.pi * np.arange(top) / k)) / count
        if best is None or score > best.score:
            best = Beat(float(k), count, score)
    if best is None or best.score < _SCORE:
        return None
    # a rounded multiple of a fractional beat strays by up to half a row: little against a long beat only
    whole = round(best.rows)
    near = hist[: int(min(LONGEST, 10.5 * best.rows))]
    multiple = np.rint(np.arange(len(near)) / best.rows)
    single = int(near[multiple == 1.0].sum())
    covered = best.changes * best.rows >= _COVER * looked_at
    several = best.changes - single >= max(_MANY_MULTIPLES * best.changes, 5)
    if not covered and not several:
        return None
    exact = int(near[whole::whole].sum()) if whole >= 2 else 0
    rows = float(whole) if exact >= 0.9 * best.changes else best.rows
    return Beat(rows, best.changes, best.score)
