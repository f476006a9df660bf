"""Branch and bound over the ends of conductances, for boxes with too many undecided directions to try them all.

Answers: the worst reading of one problem, exactly or as an outer bracket when the rounds are used up.
Units:   siemens, volts; the reading in volts or as a ratio.
Touches: nothing.
Beside:  `spans` calls it for what is left; `intervals` gives its sound bounds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pinproof.network.corners import Evaluator
from pinproof.network.netlist import BoolArray, FloatArray

WIDE = 64
"""Sub-boxes split in one round."""
LEAF_BITS = 6
"""With this few open conductances a sub-box is finished by trying all its corners."""


@dataclass(frozen=True, eq=False)
class Branched:
    """`value` is reached at `corner_s`, `cause`; `outer` bounds every reading; `exact` if they agree."""

    value: float
    outer: float
    exact: bool
    corner_s: FloatArray
    cause: FloatArray


def branch_and_bound(
    evaluator: Evaluator, base: FloatArray, open_edges: BoolArray, low: FloatArray, high: FloatArray,
    side: int, rounds: int,
) -> Branched:  # fmt: skip
    """Worst reading with each open edge between its ends and the others as in `base` (vectors of m).

    Each round splits the sub-boxes with the worst bounds at both ends of one conductance. Extremes lie at corners,
    so a sub-box is replaced by its two faces. A sub-box whose bound is no worse than the reading already reached is
    dropped.
    """
    sign = 1.0 if side == 0 else -1.0
    value, corner, cause = _climb(evaluator, base, open_edges, low, high, side)
    lows = np.where(open_edges, low, base)[None]
    highs = np.where(open_edges, high, base)[None]
    opened = open_edges[None]
    bounds = sign * evaluator.outer(lows, highs, side)
    slack = 1e-13 * float(np.abs(evaluator.volts).max(initial=0.0) / evaluator.divisor.min())
    spread = np.log(np.clip(high, 1e-300, 1e300)) - np.log(np.clip(low, 1e-300, 1e300))
    spread = np.where(open_edges, spread, -1.0)
    for _ in range(rounds):
        reached = np.inf if np.isnan(value) else sign * value
        alive = bounds < reached - slack
        lows, highs, opened, bounds = lows[alive], highs[alive], opened[alive], bounds[alive]
        if not bounds.size:
            break
        order = np.argsort(bounds, kind="stable")
        now, later = order[:WIDE], order[WIDE:]
        rows = np.arange(now.size)
        split = np.where(opened[now], spread, -2.0).argmax(axis=1)
        child_low, child_high, child_open = (np.concatenate([x[now], x[now]]) for x in (lows, highs, opened))
        down, up = rows, rows + now.size
        child_high[down, split] = child_low[down, split]
        child_low[up, split] = child_high[up, split]
        child_open[down, split] = child_open[up, split] = False
        lows, highs, opened, bounds = lows[later], highs[later], opened[later], bounds[later]
        child_bound = sign * evaluator.outer(child_low, child_high, side)
        leaf = (child_open.sum(axis=1) <= LEAF_BITS) & (child_bound < reached - slack)
        if leaf.any():
            found = evaluator.best(
                child_low[leaf], child_open[leaf], child_low[leaf], child_high[leaf], np.arange(int(leaf.sum())),
                np.full(int(leaf.sum()), side), LEAF_BITS, 1 << 30,
            )  # fmt: skip
            signed = np.where(np.isnan(found.value), np.inf, sign * found.value)
            pick = int(signed.argmin())
            if signed[pick] < reached:
                value, corner, cause = float(found.value[pick]), found.corner_s[pick], found.cause[pick]
        keep = child_open.sum(axis=1) > LEAF_BITS
        lows, highs = np.concatenate([lows, child_low[keep]]), np.concatenate([highs, child_high[keep]])
        opened, bounds = np.concatenate([opened, child_open[keep]]), np.concatenate([bounds, child_bound[keep]])
    reached = np.inf if np.isnan(value) else sign * value
    left = bounds[bounds < reached - slack]
    if not left.size:
        return Branched(value, value, True, corner, cause)
    return Branched(value, sign * float(left.min()), False, corner, cause)


def _climb(
    evaluator: Evaluator, base: FloatArray, open_edges: BoolArray, low: FloatArray, high: FloatArray, side: int
) -> tuple[float, FloatArray, FloatArray]:
    """A good corner to start with: from a few corners flip the best single conductance until none helps."""
    sign = 1.0 if side == 0 else -1.0
    edges = np.flatnonzero(open_edges)
    best: tuple[float, FloatArray, FloatArray] = (float("nan"), base.copy(), evaluator.corners[0])
    reached = np.inf
    for start in (low, high):
        here = np.where(open_edges, start, base)
        current = np.inf
        for _ in range(2 * edges.size + 1):
            tries = np.repeat(here[None], edges.size + 1, axis=0)
            rows = np.arange(edges.size)
            tries[rows, edges] = np.where(here[edges] == low[edges], high[edges], low[edges])
            value, cause = evaluator.at(tries, side)
            signed = np.where(np.isnan(value), np.inf, sign * value)
            pick = int(signed.argmin())
            if not signed[pick] < current:
                break
            current, here = float(signed[pick]), tries[pick]
            if current < reached:
                reached = current
                best = (float(value[pick]), here.copy(), cause[pick])
    return best
