"""The answers for many faults of a line at once, as arrays; and the sets of severities in them.

Answers: for each change of the circuit, situation, block and window: for which severities can it be read, for which is
         it no longer sure?
Units:   siemens inside, ohms in `Severities`.
Touches: nothing.
Beside:  `severity` does the sums, `effects` puts them into words' reach.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pinproof.faults.circuit import Change, acting, box_of, faulty_view
from pinproof.faults.questions import Questions, causes_of, levels_of
from pinproof.faults.results import Severities
from pinproof.faults.severity import Causes, Levels, Reach, reaches
from pinproof.wiring import LineView

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
NO_OHMS = 1e-6
"""A severity below this counts as 0: no short of wires is better. What `ALMOST_SHORT` makes lies there. [Ω]"""
MOST_ROWS = 1 << 14
"""Boxes handed over in one call."""
Interval = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Answer:
    """Sets of conductances for one change, each [0, p] ∪ [q, inf], shape (2, S, K, 2 W): outer, inner.

    The first W of the last axis: readings of the window at its largest; the others: readings beyond it at its surest.
    `low_p`, `low_q` for the lowest reading, `high_p`, `high_q` for the highest. `severity`: whether there is one.
    """

    low_p: FloatArray
    low_q: FloatArray
    high_p: FloatArray
    high_q: FloatArray
    severity: bool

    def read(self, bound: int = 0) -> BoolArray:
        """(S, K, W): some severity lets the window be read."""
        count = self.low_p.shape[-1] // 2
        p1, q1, p2, q2 = (each[bound, ..., :count] for each in (self.low_p, self.low_q, self.high_p, self.high_q))
        both_zero = ~np.isnan(p1) & ~np.isnan(p2)
        both_inf = ~np.isnan(q1) & ~np.isnan(q2)
        found: BoolArray = both_zero | both_inf | (p1 >= q2) | (p2 >= q1)
        return found

    def beyond(self, bound: int = 0) -> BoolArray:
        """(S, K, W): some severity lets the reading leave the window at its surest."""
        count = self.low_p.shape[-1] // 2
        ends = (each[bound, ..., count:] for each in (self.low_p, self.low_q, self.high_p, self.high_q))
        found: BoolArray = ~np.logical_and.reduce([np.isnan(end) for end in ends])
        return found

    def beyond_anywhere(self, s: int, blocks: Iterable[int], windows: Sequence[int]) -> bool:
        """Whether in one of these blocks the reading may lie outside each of these windows."""
        return any(bool(self.beyond_set(s, k, windows)) for k in blocks)

    def read_set(self, s: int, k: int, w: int, bound: int = 0) -> tuple[Interval, ...]:
        """Conductances with which this window can be read."""
        return _both(self._pieces(s, k, w, bound, "low"), self._pieces(s, k, w, bound, "high"))

    def beyond_set(self, s: int, k: int, windows: Sequence[int], bound: int = 0) -> tuple[Interval, ...]:
        """Conductances with which the reading may lie outside each of these windows; everything if there are none."""
        count = self.low_p.shape[-1] // 2
        out: tuple[Interval, ...] = ((0.0, np.inf),)
        for w in windows:
            here = [*self._pieces(s, k, count + w, bound, "low"), *self._pieces(s, k, count + w, bound, "high")]
            out = _both(out, _joined(here))
        return out

    def surely_beyond_set(
        self, s: int, k: int, windows: Sequence[int], extents: Sequence[tuple[float, float]]
    ) -> tuple[Interval, ...]:
        """Conductances with which some truck surely reads outside all of these windows at once.

        That one truck reads above the first window and another below the second does not show that any reads outside
        both. It is shown where a truck reads above, or below, all of them, or where the readings reach from one side of
        a gap to the other: they hang together, so some truck reads in the gap.

        Parameters
        ----------
        extents : sequence of (low, high)
            Of these windows at their surest, in the reading space.
        """
        count = self.low_p.shape[-1] // 2
        order = sorted(range(len(windows)), key=lambda i: extents[i])
        found: list[Interval] = []
        for cut in range(len(order) + 1):
            under, over = order[:cut], order[cut:]  # windows under the reading, windows over it
            if under and over and max(extents[i][1] for i in under) >= min(extents[i][0] for i in over):
                continue
            out: tuple[Interval, ...] = ((0.0, np.inf),)
            for side, those in (("high", under), ("low", over)):
                for i in those:
                    out = _both(out, _joined(self._pieces(s, k, count + windows[i], 1, side)))
            found += out
        return _joined(found)

    def _pieces(self, s: int, k: int, level: int, bound: int, side: str) -> tuple[Interval, ...]:
        p = float(getattr(self, f"{side}_p")[bound, s, k, level])
        q = float(getattr(self, f"{side}_q")[bound, s, k, level])
        if p >= q:
            return ((0.0, np.inf),)
        return tuple(piece for piece in ((0.0, p), (q, np.inf)) if not np.isnan(piece[0] + piece[1]))


def _joined(pieces: Iterable[Interval]) -> tuple[Interval, ...]:
    out: list[Interval] = []
    for low, high in sorted(pieces):
        if out and low <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], high))
        else:
            out.append((low, high))
    return tuple(out)


def _both(one: Sequence[Interval], other: Sequence[Interval]) -> tuple[Interval, ...]:
    found = [(max(a[0], b[0]), min(a[1], b[1])) for a in one for b in other]
    return _joined(piece for piece in found if piece[0] <= piece[1])


def severities(outer: Sequence[Interval], inner: Sequence[Interval]) -> Severities:
    """Sets of conductances as sets of severities. [Ω]"""
    return Severities(_ohms(outer), _ohms(inner))


def united(sets: Iterable[Severities]) -> Severities:
    """All severities of several sets."""
    listed = list(sets)
    return Severities(
        _joined(piece for each in listed for piece in each.outer),
        _joined(piece for each in listed for piece in each.inner),
    )


def _ohms(pieces: Sequence[Interval]) -> tuple[Interval, ...]:
    return tuple(sorted((_inverse(high), _inverse(low)) for low, high in pieces))


def _inverse(x: float) -> float:
    return np.inf if x == 0.0 else 0.0 if x * NO_OHMS > 1.0 else 1.0 / x


@dataclass(frozen=True)
class _Job:
    """Changes on one netlist with one moving branch, or none; `where` (V, S) says which situations belong here."""

    moving: str | None
    numbers: tuple[int, ...]
    changes: tuple[Change, ...]
    where: BoolArray


def answers(asked: Questions, changes: Sequence[Change], moving: Sequence[str | None]) -> list[Answer]:
    """One answer for each change.

    Parameters
    ----------
    moving : sequence of str or None
        For each change the branch whose severity is asked for, ``fault.0`` for the first added one; None: none, then
        all its severities roam.
    """
    shape = (2, len(asked.situations), len(asked.blocks), 2 * len(asked.windows))
    found = [_empty(shape, one is not None) for one in moving]
    topologies: dict[tuple[tuple[str, str], ...], list[int]] = {}
    for number, change in enumerate(changes):
        topologies.setdefault(change.added, []).append(number)
    for added, numbers in topologies.items():
        view = faulty_view(asked.view, added)
        causes, values = causes_of(asked, view)
        levels = levels_of(asked, causes, values)
        for job in _jobs(asked, view, changes, moving, numbers):
            _work(asked, view, causes, levels, job, found)
    return found


def _empty(shape: tuple[int, ...], severity: bool) -> Answer:
    ends = [np.full(shape, np.nan) for _ in range(4)]
    return Answer(ends[0], ends[1], ends[2], ends[3], severity)


def _jobs(
    asked: Questions, view: LineView, changes: Sequence[Change], moving: Sequence[str | None], numbers: Sequence[int]
) -> list[_Job]:
    """Work on one netlist, by what moves. Where a worn contact does not conduct nothing moves."""
    by_branch: dict[str | None, list[tuple[int, BoolArray]]] = {}
    for number in numbers:
        branch = moving[number]
        acts = np.ones(len(asked.situations), dtype=bool)
        if branch is not None:
            acts = acting(view, changes[number], branch, asked.operated)
            if not acts.all():
                by_branch.setdefault(None, []).append((number, ~acts))
        if acts.any():
            by_branch.setdefault(branch, []).append((number, acts))
    return [
        _Job(
            branch, tuple(n for n, _ in listed), tuple(changes[n] for n, _ in listed), np.stack([a for _, a in listed])
        )
        for branch, listed in by_branch.items()
    ]


def _work(
    asked: Questions, view: LineView, causes: Causes, levels: tuple[Levels, Levels], job: _Job, found: list[Answer]
) -> None:
    """Boxes of one job in pieces, worked out and put where they belong."""
    column = None if job.moving is None else view.net.edge_index(job.moving)
    each = len(asked.situations) * len(asked.groups)
    step = max(1, MOST_ROWS // each)
    pull_row = np.array([group.pull_row for group in asked.groups], dtype=np.intp)
    for start in range(0, len(job.changes), step):
        part = range(start, min(start + step, len(job.changes)))
        boxes = [_boxes(asked, view, job.changes[v]) for v in part]
        low = np.stack([box[0] for box in boxes])  # (V, H, S, m)
        high = np.stack([box[1] for box in boxes])
        take = np.broadcast_to(job.where[part.start : part.stop, None, :], low.shape[:3])
        rows = np.nonzero(take)
        sides = reaches(view.net, column, low[take], high[take], view.pin, causes, pull_row[rows[1]], *levels)
        for side, reach in zip(("low", "high"), sides, strict=True):
            _spread(asked, job, part, take.shape, rows, reach, side, found)


def _boxes(asked: Questions, view: LineView, change: Change) -> tuple[FloatArray, FloatArray]:
    """Boxes (H, S, m) of one change, for each group."""
    lows, highs = [], []
    by_slice: dict[tuple[float, float] | None, tuple[FloatArray, FloatArray]] = {}
    for group in asked.groups:
        if group.temp_c not in by_slice:
            by_slice[group.temp_c] = box_of(view, change, asked.operated, group.temp_c)
        low, high = by_slice[group.temp_c]
        if group.pulls_ohm:
            low, high = low.copy(), high.copy()
            for name, ohm in group.pulls_ohm:
                column = view.net.edge_index(name)
                low[:, column] = high[:, column] = 1.0 / ohm
        lows.append(low)
        highs.append(high)
    return np.stack(lows), np.stack(highs)


def _spread(
    asked: Questions, job: _Job, part: range, shape: tuple[int, ...], rows: tuple[npt.NDArray[np.intp], ...],
    reach: Reach, side: str, found: list[Answer],
) -> None:  # fmt: skip
    """Union over the groups: outer sets over those that bound from outside, inner ones over those attained."""
    outer = [h for h, group in enumerate(asked.groups) if group.outer]
    inner = [h for h, group in enumerate(asked.groups) if group.inner]
    for name, bound, which in (("p", 0, outer), ("q", 0, outer), ("p", 1, inner), ("q", 1, inner)):
        values = getattr(reach, name if bound == 0 else f"inner_{name}")
        whole = np.full((*shape, *values.shape[1:]), np.nan)
        whole[rows] = values
        join = np.fmax if name == "p" else np.fmin
        together = join.reduce(whole[:, which], axis=1)  # (V, S, K, L)
        for v, place in enumerate(part):
            target = getattr(found[job.numbers[place]], f"{side}_{name}")
            here = job.where[place]
            target[bound, here] = together[v, here]
