"""Boxes of candidate ranges: cut into pieces, neighbours of a choice, and which of several is best.

Answers: which sub-boxes does a box fall into, which are still waiting, which choices lie near another?
Shapes:  boxes (B, K): first and last candidate of each of K variables, both included.
Touches: nothing.
Beside:  `search` bounds the pieces.
"""

from __future__ import annotations

import heapq

import numpy as np

from pinproof.choose.problem import FloatArray, IntArray
from pinproof.network.netlist import BoolArray

PIECES = 8
"""Parts that a variable's range is cut into."""


def pieces(lows: IntArray, highs: IntArray) -> tuple[IntArray, IntArray, IntArray, IntArray]:
    """Every variable's range of every box cut into PIECES: sub-boxes, and the box and variable of each.

    A variable with one candidate left stays as one piece, so that every box keeps a row for each variable.
    """
    cut = np.arange(PIECES + 1)
    size = highs - lows + 1
    edges = lows[..., None] + (size[..., None] * cut) // PIECES
    first, last = edges[..., :-1], edges[..., 1:] - 1
    box, variable, piece = np.nonzero(last >= first)
    piece_low, piece_high = lows[box].copy(), highs[box].copy()
    rows = np.arange(len(box))
    piece_low[rows, variable] = first[box, variable, piece]
    piece_high[rows, variable] = last[box, variable, piece]
    return piece_low, piece_high, box, variable


def narrowed(
    lows: IntArray,
    highs: IntArray,
    cut: tuple[IntArray, IntArray, IntArray, IntArray],
    keep: BoolArray,
    value_of: FloatArray,
) -> tuple[IntArray, IntArray, FloatArray]:
    """Each box shrunk to what its kept pieces leave of every range, then split along one variable, with new bounds.

    Parameters
    ----------
    cut : what `pieces` gave for the boxes
    keep, value_of : (P,)
        Which pieces may hold something, and the bound of each.
    """
    piece_low, piece_high, box, variable = cut
    count, width = lows.shape
    # What is left of each variable's range: from the first surviving piece to the last.
    rows = np.arange(len(box))
    own_low, own_high = piece_low[rows, variable], piece_high[rows, variable]
    left_low = np.full((count, width), np.iinfo(np.intp).max)
    left_high = np.full((count, width), -1)
    np.minimum.at(left_low, (box[keep], variable[keep]), own_low[keep])
    np.maximum.at(left_high, (box[keep], variable[keep]), own_high[keep])
    dead: BoolArray = np.asarray((left_high < 0).any(axis=1))
    # Split where the pieces that are left are told apart best: by number, then by the spread of their bounds.
    value = np.where(keep, np.minimum(value_of, 1e300), np.nan)
    total = np.zeros((count, width))
    number = np.zeros((count, width))
    np.add.at(number, (box[keep], variable[keep]), 1.0)
    top = np.full((count, width), -np.inf)
    np.maximum.at(top, (box[keep], variable[keep]), value[keep])
    with np.errstate(invalid="ignore"):
        drop = np.where(keep, top[box, variable] - value, 0.0)
    np.add.at(total, (box, variable), np.where(np.isfinite(drop), drop, 0.0))
    remaining = left_high - left_low
    score = np.where(remaining > 0, total / np.maximum(number, 1.0) + 1e-9 * remaining, -1.0)
    split = score.argmax(axis=1)
    single = np.logical_and((remaining == 0).all(axis=1), ~dead)
    # A box that shrank to half its size or less is worth shrinking again before it is split.
    shrunk = np.prod((np.maximum(remaining, 0) + 1.0) / (highs - lows + 1.0), axis=1) < 0.5
    again = shrunk & ~dead & ~single
    chosen = keep & (split[box] == variable) & ~dead[box] & ~single[box] & ~again[box]
    child_low, child_high = left_low[box[chosen]].copy(), left_high[box[chosen]].copy()
    at = np.arange(int(chosen.sum()))
    child_low[at, variable[chosen]] = own_low[chosen]
    child_high[at, variable[chosen]] = own_high[chosen]
    cap = np.where(np.isfinite(top), top, np.inf).min(axis=1)
    bound = np.minimum(value_of[chosen], cap[box[chosen]])
    if single.any():
        child_low = np.concatenate([child_low, left_low[single]])
        child_high = np.concatenate([child_high, left_high[single]])
        bound = np.concatenate([bound, np.full(int(single.sum()), np.inf)])
    if again.any():
        child_low = np.concatenate([child_low, left_low[again]])
        child_high = np.concatenate([child_high, left_high[again]])
        bound = np.concatenate([bound, cap[again]])
    return child_low, child_high, bound


def around(here: IntArray, low: IntArray, high: IntArray) -> IntArray:
    """Choices near `here`: each variable by up to 12 steps or a few long ones; each pair by one step."""
    steps = np.array([s for s in (*range(1, 13), 16, 24, 48, 96) for s in (s, -s)])
    rows = [here + step * np.eye(len(here), dtype=np.intp)[k] for k in range(len(here)) for step in steps.tolist()]
    for k in range(len(here)):
        for other in range(k + 1, len(here)):
            for a in (1, -1):
                for b in (1, -1):
                    row = here.copy()
                    row[k] += a
                    row[other] += b
                    rows.append(row)
    tries = np.array(rows, dtype=np.intp)
    return tries[((tries >= low) & (tries <= high)).all(axis=1)]


def largest(levels: FloatArray) -> int:
    """Row with the lexicographically largest levels."""
    return int(np.lexsort(levels.T[::-1])[-1])


def better(one: FloatArray, other: FloatArray) -> bool:
    """Lexicographically larger."""
    differ = np.flatnonzero(one != other)
    return bool(differ.size) and bool(one[differ[0]] > other[differ[0]])


class Waiting:
    """Boxes that wait to be split, kept in the blocks they came in: those of the block with the highest bound go first.

    Sorting all boxes anew for each step would take longer than bounding them once there are some ten thousand.
    """

    def __init__(self) -> None:
        self.heap: list[tuple[float, int, IntArray, IntArray, FloatArray]] = []
        self.count = 0

    def put(self, lows: IntArray, highs: IntArray, bounds: FloatArray) -> None:
        """Add boxes (B, K) with their bounds (B,)."""
        if bounds.size:
            order = np.argsort(-bounds, kind="stable")
            self._push(lows[order], highs[order], bounds[order])

    def _push(self, lows: IntArray, highs: IntArray, bounds: FloatArray) -> None:
        if bounds.size:
            heapq.heappush(self.heap, (-float(bounds[0]), self.count, lows, highs, bounds))
            self.count += 1

    def take(self, most: int, above: float) -> tuple[IntArray, IntArray] | None:
        """Up to `most` boxes with bounds above a limit; those below it are dropped. None if nothing is left."""
        lows, highs, wanted = [], [], most
        while wanted and self.heap and self.bound > above:
            _, _, low, high, bound = heapq.heappop(self.heap)
            alive = int((bound > above).sum())
            before_next = int((bound >= self.bound).sum())
            cut = min(wanted, alive, max(before_next, most // 4, 1))
            lows.append(low[:cut])
            highs.append(high[:cut])
            wanted -= cut
            self._push(low[cut:alive], high[cut:alive], bound[cut:alive])
        return (np.concatenate(lows), np.concatenate(highs)) if lows else None

    @property
    def bound(self) -> float:
        """Highest bound of all that wait."""
        return -self.heap[0][0] if self.heap else -np.inf
