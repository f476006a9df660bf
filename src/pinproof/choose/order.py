"""Which of two choices is better: the objective, stated so that a plain enumeration finds the same choice.

Answers: which choices of a list are the best, and which one of them is taken.
Touches: nothing.
Beside:  `search` finds the same choice without listing all; the tests compare the two.

The objective
-------------
1.  Each choice has a vector of *levels*: the margins of all demands, sorted, smallest first. (With two groups of
    demands: the smallest of group 0, the smallest of group 1, the rest of group 0, the rest of group 1; see
    `Problem.sequence`.) Demands whose margin no choice can change do not count.
2.  Level by level, from the first: of the choices still in the race, the largest value of this level is found, and
    those whose value lies more than ``tie(largest)`` below it leave the race. ``tie(x) = max(0.001 |x|, 1e-6)``:
    margins within 0.1 % of the best are tied. Near zero, where 0.1 % of nothing is nothing, one millionth of a half
    window is the floor; no meter or resistor resolves that. Two infinite values are tied.
3.  Those left after the last level are tied in full. Of them is taken the one with the fewest different parts; then
    the one with the commonest series (the series of its parts, rarest first, are compared one by one); then the one
    with the smallest ohms, compared variable by variable in the order of the problem.

Comparing level by level against the best one still in the race, not pairwise, keeps "tied" from wandering: every
choice that stays is within 0.1 % of the same best value.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pinproof.choose.problem import FloatArray, IntArray, Problem

TIE_RATIO = 1e-3
TIE_FLOOR = 1e-6


def tie(value: float) -> float:
    """How far below the best value of a level still counts as equal to it."""
    return 0.0 if np.isinf(value) else max(TIE_RATIO * abs(value), TIE_FLOOR)


def levels_of(margins: FloatArray, groups: Sequence[int], sequence: Sequence[tuple[int, int]]) -> FloatArray:
    """Levels (N, J) of margins (N, D); `groups[d]` is the group of demand d."""
    kinds = sorted(set(groups))
    if len(kinds) == 1:
        return np.sort(margins, axis=1)
    by_group = {kind: np.sort(margins[:, [i for i, g in enumerate(groups) if g == kind]], axis=1) for kind in kinds}
    return np.stack([by_group[group][:, place] for group, place in sequence], axis=1)


def still_in_race(levels: FloatArray, first: int = 0) -> IntArray:
    """Rows of `levels` (N, J) that remain after every level from `first` on."""
    rows = np.arange(levels.shape[0])
    for column in range(first, levels.shape[1]):
        if rows.size <= 1:
            break
        here = levels[rows, column]
        best = float(here.max())
        rows = rows[here >= best - tie(best)]
    return rows


def tie_key(problem: Problem, choice: Sequence[int]) -> tuple[int, tuple[int, ...], tuple[float, ...]]:
    """Sort key among choices tied in full: smaller is taken."""
    chosen = [variable.candidates[index] for variable, index in zip(problem.variables, choice, strict=True)]
    parts = {part for each in chosen for part in each.parts}
    rarest_first = tuple(sorted((each.rarity for each in chosen), reverse=True))
    return len(parts), rarest_first, tuple(each.ohm for each in chosen)
