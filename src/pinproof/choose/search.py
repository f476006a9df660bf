"""Branch and bound over ranges of candidates: the best choice, with a certificate.

Answers: which choice is best by the objective in `order`, and is that proven or how much could be left?
Units:   as in `problem`.
Touches: the clock, only to keep to the budget's seconds; whether the search ends by itself does not depend on it.
Beside:  `compiled` bounds boxes; `order` defines what is better.

How: one level of the objective after the other. In a level, the box of candidate ranges with the highest bound is
taken; the range of each variable is cut into pieces, each piece is bounded with the other ranges as they are, and
pieces that cannot beat the best choice so far are cut off the ends (this is what makes it fast: each demand shrinks
each variable's range). The box is then split along the variable whose pieces differ most. When nothing is left, the
best value of the level is proven; choices within the tie of it stay in the race for the next level. When few enough
choices are left they are all listed.
"""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from pinproof.choose.boxes import PIECES, Waiting, around, better, largest, narrowed, pieces
from pinproof.choose.certificate import Budget, Certificate
from pinproof.choose.compiled import Compiled
from pinproof.choose.order import levels_of, still_in_race, tie, tie_key
from pinproof.choose.problem import FloatArray, IntArray, Problem
from pinproof.errors import NoSolution
from pinproof.network.netlist import BoolArray

ROUNDING = 1e-11
"""Bounds and values come from the same sums in another order; differences below this are none."""
MOST_TIED = 50_000
SUB_BOXES = 768
"""Pieces bounded in one go."""
USUAL_READINGS = 128
MOST_OTHERS = 256
FIRST_DIVE = 8
"""A first level that goes on is helped by further tries for a good choice: at this turn, and whenever it doubles."""

Levels = FloatArray
Choice = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Found:
    """The choice taken: positions of candidates, the margin of each demand, the levels, and the certificate.

    `others` are further good choices that were met on the way, in no order.
    """

    choice: Choice
    margins: FloatArray
    levels: FloatArray
    certificate: Certificate
    others: tuple[Choice, ...] = ()


class _Spent(Exception):
    """The budget is used up; `bound` is what the level could still reach."""

    def __init__(self, bound: float) -> None:
        super().__init__()
        self.bound = bound


def solve(
    problem: Problem,
    budget: Budget | None = None,
    exclude: Collection[Choice] = (),
    *,
    only_smallest: bool = False,
    start: Collection[Choice] = (),
) -> Found:
    """The best choice by the objective in `order`.

    Parameters
    ----------
    problem : Problem
    budget : Budget, optional
    exclude : collection of choices
        Not to be taken (to find the runners-up).
    only_smallest : bool
        Stop once the smallest margin is proven: quicker, where only its value is asked for.
    start : collection of choices
        Good ones that are known already, to begin with.

    Raises
    ------
    NoSolution
        If no choice can be made at all: the drawer does not hold enough parts, or all are excluded.
    """
    search = _Search(problem, budget or Budget(), frozenset(exclude))
    search.only_smallest = only_smallest
    search.start = start
    return search.run()


class _Search:
    def __init__(self, problem: Problem, budget: Budget, exclude: frozenset[Choice]) -> None:
        self.problem, self.budget, self.exclude = problem, budget, exclude
        self.sequence = problem.sequence()
        self.low = np.zeros(len(problem.variables), dtype=np.intp)
        self.high = np.array([len(each.candidates) - 1 for each in problem.variables], dtype=np.intp)
        self.compiled = Compiled(problem, self.low, self.high)
        self.nodes = 0
        self.effort = 0.0
        self.started = time.monotonic()
        self.pool: dict[Choice, Levels] = {}
        self.floor: list[float] = []  # a level's best less its tie, for the levels proven so far

    # -- the levels ---------------------------------------------------------------------------------------------

    def run(self) -> Found:
        if not self.problem.variables:
            raise NoSolution("There is nothing to choose: every resistor is fixed.")
        level = 0
        try:
            if math.prod((self.high - self.low + 1).tolist()) > self.budget.list_below:
                self._begin()
            while level < len(self.sequence):
                if math.prod((self.high - self.low + 1).tolist()) <= self.budget.list_below:
                    return self._finish(self._all(), level, None)
                before = self.nodes
                self._prove(level)
                spent_here = self.nodes - before
                best = self._best(level)
                if self.only_smallest:
                    return self._finish(list(self.pool), 1, None)
                self.floor.append(best - tie(best))
                level += 1
                self._shrink()
                self.pool = {choice: levels for choice, levels in self.pool.items() if self._in_race(levels)}
                if level & (level - 1) == 0 and spent_here > 2000:  # rarely tried, and only where proving is dear
                    left = self._left(self.budget.list_below, spent_here)
                    if left is not None:
                        return self._finish(left, level, None)
                if self._narrower():
                    self.compiled = Compiled(self.problem, self.low.copy(), self.high.copy())
            return self._finish(self._tied(), level, None)
        except _Spent as spent:
            return self._finish(list(self.pool), level, spent)

    def _finish(self, choices: Sequence[Choice], level: int, spent: _Spent | None) -> Found:
        ready = [choice for choice in choices if self._may(choice)]
        if not ready:
            raise NoSolution(
                "No choice of parts can be made." if spent is None else "No choice was found within the budget.",
                cure="Put more parts in the drawer, or widen the range of ohms."
                if spent is None
                else "Allow more time, or fewer candidates.",
            )
        margins = self._margins(np.array(ready, dtype=np.intp))
        levels = levels_of(margins, self.compiled.groups, self.sequence)
        race = np.flatnonzero((levels[:, : len(self.floor)] >= np.array(self.floor)).all(axis=1))
        if not race.size:
            race = np.arange(len(ready))
        race = race[still_in_race(levels[race], len(self.floor))]
        row = min(race.tolist(), key=lambda i: tie_key(self.problem, ready[i]))
        smallest = float(levels[row, 0])
        upper = smallest
        if spent is not None and level == 0:
            upper = max(spent.bound, smallest)
        elif self.floor:
            upper = max(smallest, self.first_best)
        early = self.only_smallest and not self.floor and level == 1
        gap = 0.0 if upper == smallest or level > 0 or spent is None else upper - smallest
        certificate = Certificate(
            spent is None and self.listed and not early, gap, upper,
            level if spent or early else len(self.sequence), len(self.sequence),
            self.nodes, time.monotonic() - self.started, self.compiled.open_directions, self.listed,
        )  # fmt: skip
        return Found(ready[row], margins[row], levels[row], certificate, tuple(ready[:MOST_OTHERS]))

    only_smallest = False
    start: Collection[Choice] = ()
    listed = True
    first_best = -math.inf
    partly: list[Choice]

    def _best(self, level: int) -> float:
        values = [float(levels[level]) for levels in self.pool.values() if self._in_race(levels)]
        best = max(values, default=-math.inf)
        if level == 0:
            self.first_best = best
        return best

    def _in_race(self, levels: Levels) -> bool:
        return all(levels[i] >= floor for i, floor in enumerate(self.floor))

    def _may(self, choice: Choice) -> bool:
        return choice not in self.exclude and self.problem.in_stock(choice)

    # -- one level ----------------------------------------------------------------------------------------------

    def _prove(self, level: int) -> None:
        """Branch and bound on one level; afterwards the pool holds a choice that has the level's best value."""
        best = self._best(level)
        waiting = Waiting()
        waiting.put(self.low[None], self.high[None], self._bound(self.low[None], self.high[None])[:, level])
        batch = max(1, SUB_BOXES // (PIECES * len(self.low)))
        for turn in itertools.count(1):
            # With half of the budget gone, what could only be better by less than a tie is let go.
            loose = level == 0 and self.effort > self.budget.nodes / 2 and math.isfinite(best)
            least = best + tie(best) if loose else best
            if self._spent() and waiting.bound > _above(least):
                raise _Spent(waiting.bound)
            now = waiting.take(batch, _above(least))
            if now is None:
                if loose:
                    raise _Spent(least)
                return
            if level == 0 and turn >= FIRST_DIVE and turn & (turn - 1) == 0:
                self._dive(now[0][0], now[1][0])
                best = self._best(level)
            low, high, bound = self._expand(*now, level, least)
            single = (low == high).all(axis=1)
            if single.any():
                best = max(best, self._note(low[single], level))
            waiting.put(low[~single], high[~single], bound[~single])

    def _spent(self) -> bool:
        return self.effort > self.budget.nodes or time.monotonic() - self.started > self.budget.seconds

    def _note(self, singles: IntArray, level: int) -> float:
        """Evaluate single choices and put those in the race into the pool; the best value of the level among them."""
        best = -math.inf
        choices = [tuple(row) for row in singles.tolist()]
        fresh = [choice for choice in choices if choice not in self.pool and self._may(choice)]
        if fresh:
            margins = self._margins(np.array(fresh, dtype=np.intp))
            for choice, levels in zip(fresh, levels_of(margins, self.compiled.groups, self.sequence), strict=True):
                if self._in_race(levels):
                    self.pool[choice] = levels
                    best = max(best, float(levels[level]))
        return best

    def _expand(
        self, lows: IntArray, highs: IntArray, level: int, best: float
    ) -> tuple[IntArray, IntArray, FloatArray]:
        """Shrink each box by every variable, then split it along one: the children and their bounds."""
        cut = pieces(lows, highs)
        levels = self._bound(cut[0], cut[1])
        keep = self._may_hold(levels, level, best)
        at_level = min(level, levels.shape[1] - 1)
        child_low, child_high, bound = narrowed(lows, highs, cut, keep, levels[:, at_level])
        if self.problem.stock:
            fits = np.array(
                [self.problem.may_be_in_stock(a, b) for a, b in zip(child_low, child_high, strict=True)], dtype=bool
            )
            child_low, child_high, bound = child_low[fits], child_high[fits], bound[fits]
        return child_low, child_high, bound

    def _may_hold(self, levels: FloatArray, level: int, best: float) -> BoolArray:
        """Boxes that may hold a choice that is in the race and better than `best` in this level."""
        keep: BoolArray = np.ones(len(levels), dtype=bool)
        if self.floor:
            floor = np.array(self.floor)
            slack = ROUNDING * (1.0 + np.abs(np.where(np.isfinite(floor), floor, 0.0)))
            keep &= (levels[:, : len(floor)] >= floor - slack).all(axis=1)
        if level < levels.shape[1]:
            keep &= levels[:, level] > _above(best)
        return keep

    def _shrink(self) -> None:
        """Cut the outer box down to what the proven levels leave."""
        for _ in range(4):
            before = int((self.high - self.low).sum())
            piece_low, piece_high, _, variable = pieces(self.low[None], self.high[None])
            levels = self._bound(piece_low, piece_high)
            keep = self._may_hold(levels, levels.shape[1], -math.inf)
            rows = np.arange(len(variable))
            for k in range(len(self.low)):
                mine = keep & (variable == k)
                if mine.any():
                    self.low[k] = piece_low[rows[mine], k].min()
                    self.high[k] = piece_high[rows[mine], k].max()
            if int((self.high - self.low).sum()) > 0.9 * before:
                break

    def _narrower(self) -> bool:
        """Whether proving directions again may pay: some are open, and the box is much smaller than when last tried."""
        left = math.prod((self.high - self.low + 1).tolist())
        if not self.compiled.open_directions or left <= self.budget.list_below:
            return False
        return bool(((self.high - self.low + 1) * 4 < self.compiled.widths).any())

    # -- first choices ------------------------------------------------------------------------------------------

    def _begin(self) -> None:
        """First choices, and the box cut down to what may be tied with them: directions are then easier to prove."""
        known = [choice for choice in self.start if self._may(choice)]
        if known:
            self._note(np.array(known, dtype=np.intp), 0)
        self._dive(self.low, self.high)
        best = self._best(0)
        if self.compiled.open_directions and math.isfinite(best):
            self.floor = [best - tie(best)]
            self._shrink()
            self.floor = []
            if self._narrower():
                self.compiled = Compiled(self.problem, self.low.copy(), self.high.copy())

    def _dive(self, low: IntArray, high: IntArray) -> None:
        """A good choice in a box: follow the best piece down to one choice, then improve it step by step."""
        low, high = low.copy(), high.copy()
        while (low < high).any():
            piece_low, piece_high, _, variable = pieces(low[None], high[None])
            levels = self._bound(piece_low, piece_high)
            wide = (high > low)[variable]
            # The variable whose worst piece is worst matters most: settle it first.
            first = np.where(np.isfinite(levels), levels, np.sign(levels) * 1e9)
            weight = [first[variable == k, 0].max() - first[variable == k, 0].mean() for k in range(len(low))]
            order = np.where(high > low, np.array(weight) + 1e-9 * (high - low), -1.0)
            k = int(order.argmax())
            mine = np.flatnonzero((variable == k) & wide)
            row = mine[largest(levels[mine])]
            low[k], high[k] = piece_low[row, k], piece_high[row, k]
        self._improve(tuple(low.tolist()))

    def _improve(self, choice: Choice) -> None:
        """Try neighbouring candidates of each variable, and of each pair by one step, until none is better."""
        self._note(np.array([choice], dtype=np.intp), 0)
        here = np.array(choice, dtype=np.intp)
        levels = self._levels(here[None])
        if not self._may(choice):
            levels = np.full_like(levels, -np.inf)
        for _ in range(40):
            tries = around(here, self.low, self.high)
            allowed = [row for row in tries.tolist() if self._may(tuple(row))]
            if not allowed:
                return
            tries = np.array(allowed, dtype=np.intp)
            found = self._levels(tries)
            row = largest(found)
            if not better(found[row], levels[0]):
                return
            here, levels = tries[row], found[row : row + 1]
            self.pool[tuple(here.tolist())] = levels[0]

    # -- lists ---------------------------------------------------------------------------------------------------

    def _all(self) -> list[Choice]:
        ranges = [np.arange(a, b + 1) for a, b in zip(self.low, self.high, strict=True)]
        grid = np.stack([axis.reshape(-1) for axis in np.meshgrid(*ranges, indexing="ij")], axis=1)
        return [tuple(row) for row in grid.tolist()]

    def _left(self, most: int, nodes: int) -> list[Choice] | None:
        """Every choice still in the race, found by cutting boxes; None if there are more than `most`, or it takes long.

        The box around the race may be wide where the race itself is few (two resistors whose parallel value counts).
        """
        out: list[Choice] = []
        until = self.nodes + nodes
        lows, highs = self.low[None], self.high[None]
        batch = max(1, SUB_BOXES // (PIECES * len(self.low)))
        while len(lows):
            if len(out) > most or self.nodes > until:
                self.partly = out
                return None
            now_low, now_high = lows[-batch:], highs[-batch:]
            lows, highs = lows[:-batch], highs[:-batch]
            low, high, _ = self._expand(now_low, now_high, len(self.sequence), -math.inf)
            single = (low == high).all(axis=1)
            out += [tuple(row) for row in low[single].tolist()]
            lows, highs = np.concatenate([lows, low[~single]]), np.concatenate([highs, high[~single]])
        return out

    def _tied(self) -> list[Choice]:
        """Every choice left after the last level, up to MOST_TIED of them."""
        left = self._left(MOST_TIED, self.budget.nodes)
        if left is None:
            self.listed = False
            left = self.partly
        return list(dict.fromkeys([*self.pool, *left]))

    # -- sums ---------------------------------------------------------------------------------------------------

    def _count(self, boxes: int, each: float = 1.0) -> None:
        self.nodes += boxes
        self.effort += boxes * each * max(1.0, len(self.compiled.circuit) / USUAL_READINGS)

    def _bound(self, low: IntArray, high: IntArray) -> FloatArray:
        self._count(len(low))
        return levels_of(self.compiled.bound(low, high), self.compiled.groups, self.sequence)

    def _margins(self, choice: IntArray) -> FloatArray:
        self._count(len(choice), 20.0 if self.compiled.incomplete else 1.0)
        return self.compiled.margins(choice)

    def _levels(self, choice: IntArray) -> FloatArray:
        return levels_of(self._margins(choice), self.compiled.groups, self.sequence)


def _above(best: float) -> float:
    """What a bound has to exceed to count as better."""
    return best + ROUNDING * (1.0 + abs(best)) if math.isfinite(best) else best
