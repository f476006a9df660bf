"""Rows whose stamps are not later than those before: what are they?

Answers: are they only a little late, do they repeat rows, do they fill a hole, is one stamp odd?
Units:   seconds. `before_s` is the last stamp that can no longer be changed.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pinproof.logs.recording import Floats

LATE_ROWS = 1024
"""Rows that come late by no more than this many are put in order."""
LITTLE_ROWS, LITTLE_S = 8, 0.1
MOST_ODD, ODD_LEAST_S = 3, 1.0


def a_little_late(stamp_s: Floats, before_s: float, period_s: float) -> tuple[int, float, float] | None:
    """How many rows come late, where first, by how much at most, if it is little for all; else None.

    Sorting is then enough: two streams laid together by a logger do not meet exactly in time.
    """
    if float(stamp_s.min()) <= before_s:
        return None
    late_s = np.maximum.accumulate(stamp_s) - stamp_s
    behind = late_s > 0.0
    if not behind.any():
        return 0, 0.0, 0.0
    edges = np.flatnonzero(np.diff(np.concatenate(([0], behind.astype(np.int8), [0]))))
    longest = int((edges[1::2] - edges[::2]).max())
    most_s = float(late_s.max())
    if most_s > max(LITTLE_S, 2.0 * period_s) or longest > LITTLE_ROWS:
        return None
    return int(np.count_nonzero(behind)), float(stamp_s[int(np.argmax(behind))]), most_s


def odd_stamps(stamp_s: Floats, i: int, before_s: float, limit_s: float) -> int:
    """First of up to three rows before row i whose stamps jump ahead and back again; i if there is none.

    Row i goes on where the rows before them were, within `limit_s`.
    """
    for odd in range(i - 1, max(-1, i - MOST_ODD - 1), -1):
        was_s = stamp_s[odd - 1] if odd else before_s
        if stamp_s[odd] <= stamp_s[i]:
            break
        if 0.0 < stamp_s[i] - was_s <= limit_s and stamp_s[odd] - was_s > max(limit_s, ODD_LEAST_S):
            return odd
    return i


def repeats(stamp_s: Floats, values: Mapping[str, Floats], i: int, j: int) -> bool:
    """Do rows i … j-1 stand before, with the same stamps and values?"""
    if i == 0:
        return False
    order = np.argsort(stamp_s[:i], kind="stable")
    sorted_s = stamp_s[:i][order]
    found = np.searchsorted(sorted_s, stamp_s[i:j])
    if (found >= i).any() or (sorted_s[found] != stamp_s[i:j]).any():
        return False
    rows = order[found]
    return all(np.array_equal(each[rows], each[i:j], equal_nan=True) for each in values.values())


def fill_a_hole(stamp_s: Floats, i: int, j: int, before_s: float, period_s: float) -> bool:
    """Do rows i … j-1 fill a hole in the rows before them, or are they only a little late?

    Rows of a clock that was set back do not: others stand where their stamps say.
    """
    late_s = stamp_s[i:j]
    first_s, last_s = float(late_s.min()), float(late_s.max())
    if first_s <= before_s or i == 0:
        return False
    period_s = period_s or 0.01
    if j - i <= LITTLE_ROWS and float(stamp_s[:i].max()) - first_s <= max(LITTLE_S, 2.0 * period_s):
        return True
    if np.count_nonzero((stamp_s[:i] >= first_s) & (stamp_s[:i] <= last_s)) > 2:
        return False
    order = np.sort(stamp_s[max(0, i - 4 * LATE_ROWS) : j])
    steps_s = np.diff(order[(order >= first_s - period_s) & (order <= last_s + period_s)])
    return bool(len(steps_s)) and float(np.quantile(steps_s, 0.1)) >= 0.5 * period_s
