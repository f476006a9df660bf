"""A channel of states as runs of equal value, found block by block.

Answers: when did a state begin and end, between which two samples does each edge lie?
Units:   seconds from the log's begin.
Touches: nothing.

Samples that are NaN are no samples. A run ends where the value changes, or where no sample came for so long that data
may be missing.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pinproof.logs.blocks import Block, Floats
from pinproof.logs.limits import GAP_S, MOST_RUNS


@dataclass(frozen=True)
class Runs:
    """Runs in order; all arrays have one entry for each run.

    An edge lies after `before_s`, the last sample before it, and not after `first_s`. `before_s` is NaN for the first
    run and after a gap. `sum`, `first_x`, `last_x` are of the reading beside the state, where one was asked for.
    """

    value: Floats
    before_s: Floats
    first_s: Floats
    last_s: Floats
    count: Floats
    sum: Floats
    first_x: Floats
    last_x: Floats
    overflow: bool = False  # there were more; the rest is not here

    def __len__(self) -> int:
        return len(self.value)

    def pick(self, which: NDArray[np.bool_]) -> Runs:
        """Some of them."""
        return _made([getattr(self, name)[which] for name in _COLUMNS], self.overflow)

    @cached_property
    def first_list(self) -> list[float]:
        """`first_s` for looking up one by one."""
        found: list[float] = self.first_s.tolist()
        return found

    @cached_property
    def last_list(self) -> list[float]:
        """`last_s` likewise."""
        found: list[float] = self.last_s.tolist()
        return found

    @cached_property
    def value_list(self) -> list[float]:
        """`value` likewise."""
        found: list[float] = self.value.tolist()
        return found

    def sooner(self, by_s: float) -> Runs:
        """The same runs, as they were if the channel had not shown them so much later."""
        return replace(self, before_s=self.before_s - by_s, first_s=self.first_s - by_s, last_s=self.last_s - by_s)

    @property
    def least_s(self) -> Floats:
        """How long each surely lasted."""
        return self.last_s - self.first_s

    @property
    def after_s(self) -> Floats:
        """First sample after each run; NaN where none is known."""
        after = np.full(len(self), np.nan)
        if len(self) > 1:
            after[:-1] = np.where(np.isnan(self.before_s[1:]), np.nan, self.first_s[1:])
        return after

    def at(self, times_s: Floats) -> Floats:
        """The value at each time: of the last run that had begun; NaN before the first and long after a run's end."""
        times = np.asarray(times_s, dtype=float)
        if not len(self):
            return np.full(times.shape, np.nan)
        place = np.searchsorted(self.first_s, times, side="right") - 1
        known = place >= 0
        place = np.maximum(place, 0)
        after = self.after_s[place]
        fresh = times <= np.where(np.isnan(after), self.last_s[place] + GAP_S, np.inf)
        return np.where(known & fresh, self.value[place], np.nan)

    @property
    def means(self) -> Floats:
        """Mean reading of each run without its first and last sample; NaN below three samples."""
        with np.errstate(invalid="ignore", divide="ignore"):
            inner = (self.sum - self.first_x - self.last_x) / (self.count - 2.0)
        return np.where(self.count >= 3.0, inner, np.nan)


_COLUMNS = tuple(each.name for each in fields(Runs) if each.name != "overflow")


class RunsOf:
    """Collects the runs of one channel. `take` block by block, `runs` at the end."""

    def __init__(self, gap_s: float = GAP_S) -> None:
        self.gap_s = gap_s
        self._parts: list[Runs] = []
        self._kept = 0
        self._open: Runs | None = None
        self._overflow = False
        self._torn = False  # a gap lies before what comes next

    def take(self, block: Block, values: Floats, reading: Floats | None = None) -> None:
        """Go on with the values of one block."""
        time_s = block.time_s
        if not len(time_s):
            return
        torn = block.gaps
        flat = reading is None and not len(torn) and block.widest_s <= self.gap_s and len(values) == len(block)
        if flat and values[-1] == values[0] and bool((values == values[0]).all()):
            self._go_on(float(values[0]), float(time_s[0]), float(time_s[-1]), len(values))
            return
        known = ~np.isnan(values)
        if not known.all():
            rows = np.flatnonzero(known)
            if not len(rows):
                self._torn = self._torn or bool(len(torn))
                return
            trailing = bool(len(torn)) and bool(torn[-1] > rows[-1])
            torn = np.searchsorted(rows, torn)
            torn = torn[torn < len(rows)]
            time_s, values = time_s[rows], values[rows]
            reading = None if reading is None else reading[rows]
        else:
            trailing = False
        size = len(values)
        begins = np.empty(size, dtype=bool)
        begins[0] = True
        np.not_equal(values[1:], values[:-1], out=begins[1:])
        torn_inside = not (time_s is block.time_s and block.widest_s <= self.gap_s)
        if torn_inside:
            wide = np.diff(time_s) > self.gap_s
            torn_inside = bool(wide.any())
            if torn_inside:
                begins[1:] |= wide
        begins[torn] = True
        first = np.flatnonzero(begins)
        last = np.append(first[1:] - 1, size - 1)
        before = np.full(len(first), np.nan)
        before[1:] = time_s[first[1:] - 1]
        if torn_inside:
            at_gap = np.zeros(size, dtype=bool)
            at_gap[1:] = wide
            before[at_gap[first]] = np.nan
        if len(torn):
            before[np.isin(first, torn)] = np.nan
        torn_first = self._torn or (len(torn) and torn[0] == 0)
        nothing = np.zeros(len(first))
        if reading is None:
            sums, first_x, last_x = nothing, nothing, nothing
        else:
            sums, first_x, last_x = np.add.reduceat(reading, first), reading[first], reading[last]
        made = Runs(
            values[first], before, time_s[first], time_s[last], (last - first + 1).astype(float), sums, first_x, last_x
        )
        self._join(made, bool(torn_first))
        self._torn = trailing

    def _go_on(self, value: float, first_s: float, last_s: float, rows: int) -> None:
        """A block in which nothing happens: the open run goes on, or the block is a run of its own."""
        torn, self._torn = self._torn, False
        carried = self._open
        same = carried is not None and not torn and carried.value[0] == value
        if same and carried is not None and first_s - carried.last_s[0] <= self.gap_s:
            carried.last_s[0] = last_s
            carried.count[0] += rows
            return
        one = [np.array([each]) for each in (value, np.nan, first_s, last_s, float(rows), 0.0, 0.0, 0.0)]
        self._join(_made(one, overflow=False), torn)

    def _join(self, made: Runs, torn: bool) -> None:
        carried = self._open
        if carried is not None:
            near = not torn and made.first_s[0] - carried.last_s[0] <= self.gap_s
            if near and carried.value[0] == made.value[0]:
                made.before_s[0], made.first_s[0] = carried.before_s[0], carried.first_s[0]
                made.count[0] += carried.count[0]
                made.sum[0] += carried.sum[0]
                made.first_x[0] = carried.first_x[0]
            else:
                if near:
                    made.before_s[0] = carried.last_s[0]
                self._keep(carried)
        last = np.zeros(len(made), dtype=bool)
        last[-1] = True
        self._open = made.pick(last)
        if len(made) > 1:
            self._keep(made.pick(~last))

    def _keep(self, runs: Runs) -> None:
        if self._kept + len(runs) > MOST_RUNS:
            self._overflow = True
            return
        runs = self.sift(runs)
        self._kept += len(runs)
        self._parts.append(runs)

    @property
    def is_quiet(self) -> bool:
        """True while no run above zero is open."""
        return self._open is None or not self._open.value[0] > 0.0

    def sift(self, runs: Runs) -> Runs:
        """What is worth keeping of closed runs; a subclass may drop some."""
        return runs

    def runs(self, *, so_far: bool = False) -> Runs:
        """All runs; with `so_far` in the middle of a recording, the open one included."""
        parts = [*self._parts]
        if self._open is not None:
            parts.append(self._open if so_far else self.sift(self._open))
        if not so_far and len(self._parts) > 1:
            self._parts = [_together(self._parts, self._overflow)]
        return _together(parts, self._overflow)

    def compact(self) -> None:
        """Join what was kept, so that looking at it is quick."""
        if len(self._parts) > 8:
            self._parts = [_together(self._parts, self._overflow)]


class HeldOf(RunsOf):
    """Runs of a value of at least a length and a count; what is shorter, and what is not above zero, is dropped."""

    def __init__(self, held_s: float, samples: int, gap_s: float = GAP_S) -> None:
        super().__init__(gap_s)
        self.held_s, self.samples = held_s, samples

    def sift(self, runs: Runs) -> Runs:
        """Only what was held."""
        return runs.pick((runs.value > 0.0) & (runs.least_s >= self.held_s) & (runs.count >= self.samples))


class Spread:
    """What each row of a block knows of the run that it lies in.

    The number of the last run that had begun at each of some times, which rise; a run after the times does not count.
    """

    def __init__(self, runs: Runs, times_s: Floats) -> None:
        low = int(np.searchsorted(runs.first_s, times_s[0], side="right")) - 1
        end = int(np.searchsorted(runs.first_s, times_s[-1], side="right"))
        edges = np.searchsorted(times_s, runs.first_s[low + 1 : end])
        self.numbers = np.arange(low, end)
        """Of the runs that some row lies in; −1 where none had begun."""
        self.rows = np.diff(np.concatenate([[0], edges, [len(times_s)]]))

    def of(self, column: NDArray[Any]) -> NDArray[Any]:
        """One value of each run, at every row; the first run's where none had begun."""
        return np.repeat(column[np.maximum(self.numbers, 0)], self.rows)


def _made(columns: list[Floats], overflow: bool) -> Runs:
    value, before, first, last, count, total, first_x, last_x = columns
    return Runs(value, before, first, last, count, total, first_x, last_x, overflow)


def _together(parts: list[Runs], overflow: bool) -> Runs:
    if not parts:
        return _made([np.empty(0) for _ in _COLUMNS], overflow)
    return _made([np.concatenate([getattr(each, name) for each in parts]) for name in _COLUMNS], overflow)


def joined(runs: Runs, within_s: float) -> Runs:
    """Neighbours of one value, no further apart than `within_s`, as one run each."""
    if len(runs) < 2:
        return runs
    apart = runs.first_s[1:] - runs.last_s[:-1] > within_s
    first = np.flatnonzero(np.append(True, apart | (runs.value[1:] != runs.value[:-1])))
    last = np.append(first[1:] - 1, len(runs) - 1)
    return Runs(
        runs.value[first], runs.before_s[first], runs.first_s[first], runs.last_s[last],
        np.add.reduceat(runs.count, first), np.add.reduceat(runs.sum, first), runs.first_x[first], runs.last_x[last],
        overflow=runs.overflow,
    )  # fmt: skip


def overlaps(one: Runs, other: Runs) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats, Floats]:
    """Every pair of runs that surely share time: their numbers, and from when to when both were seen to last."""
    if not len(one) or not len(other):
        empty = np.empty(0, dtype=np.int64)
        return empty, empty, np.empty(0), np.empty(0)
    first = np.searchsorted(other.last_s, one.first_s, side="left")
    past = np.searchsorted(other.first_s, one.last_s, side="right")
    many = np.maximum(past - first, 0)
    left = np.repeat(np.arange(len(one)), many)
    skip = np.repeat(np.cumsum(many) - many, many)
    right = np.arange(len(left)) - skip + np.repeat(first, many)
    begin = np.maximum(one.first_s[left], other.first_s[right])
    end = np.minimum(one.last_s[left], other.last_s[right])
    return left, right, begin, end
