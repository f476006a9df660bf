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
