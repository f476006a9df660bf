"""For which severities of one element can a reading reach a level? All corners of the box at once.

Answers: with one conductance anywhere from 0 to inf and all others in their box, the exact set of its values at which
         the lowest reading lies at or below a level, or the highest at or above it.
Units:   conductance [S]; readings and levels in the reading space.
Shapes:  R rows (boxes of one netlist), C corners of the causes, K blocks of them, L levels.
Touches: nothing.
Beside:  `pinproof.network.problems` proves which conductances sit at which end; `effects` puts the questions.
Sources: at a fixed corner of all others a reading is f(g) = (f0 G + f1 g) / (G + g) in one conductance g, with f0 the
         reading while it is open, f1 while it is a short, and G the conductance that its two ends see (Thevenin). So
         f is monotone and meets a level at g = G (level − f0) / (f1 − level): solved, not searched. At each g the
         lowest reading is that of some corner (matrix-tree theorem), so its set is the union over the corners, and a
         union of intervals that begin at 0 or end at inf is [0, p] ∪ [q, inf].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from pinproof.network.box import Reading, Sources
from pinproof.network.corners import corner_columns
from pinproof.network.netlist import Netlist
from pinproof.network.problems import Problems, problems_of
from pinproof.network.signs import top_sets
from pinproof.network.solve import transfer_columns
from pinproof.network.spans import span
from pinproof.network.star_mesh import eliminate, shorted_rails

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.intp]

MOST_BITS = 18
"""Up to this many conductances of unproven direction all corners are tried; rows with more get outer brackets."""
MOST_BRACKETS = 8
"""So many rows of one call are bracketed, up to a second each; of the others nothing is claimed: outer everything."""
NUMBERS = 1 << 21
"""About so many numbers are worked on at once: keeps memory small and stays in the processor's cache."""
SWEEP_ROWS = 1 << 11
"""More corners than this are first narrowed by interval proofs."""
ALMOST_SHORT = 1e12
"""Where a corner would short two rails, as near to it as counts: 1 pΩ, against parts of milliohms and more. [S]"""
CELLS_S = (0.0, 1e-5, 1e-4, 1e-3, 1e-2, np.inf)
"""Ends of the cells of a bracketed severity. [S]"""
BRANCH_ROUNDS = 0


@dataclass(frozen=True, eq=False)
class Causes:
    """Every corner of the causes, in blocks: one block for each key state and reading space.

    `rail_v` (C, r) [V]; `divisor` (C,); `block` (C,) from 0 to K-1, sorted. `boxes` holds each block's sources and
    reading, for the bracket that is taken where corners are too many.
    """

    rail_v: FloatArray
    divisor: FloatArray
    block: IntArray
    boxes: tuple[tuple[Sources, Reading], ...]

    @property
    def starts(self) -> IntArray:
        """First corner of each block."""
        return np.searchsorted(self.block, np.arange(len(self.boxes)))


@dataclass(frozen=True, eq=False)
class Levels:
    """Levels of one side: `at` (G, C, L) for G groups of rows; `strict` (L,): beyond the level, not at it."""

    at: FloatArray
    strict: BoolArray


@dataclass(frozen=True, eq=False)
class Reach:
    """Sets [0, p] ∪ [q, inf] of conductances, (R, K, L); NaN where that part is empty. [S]

    `bracket` (R,): the sets are outer ones, `inner_p`, `inner_q` are surely inside. Elsewhere both are the same.
    """

    p: FloatArray
    q: FloatArray
    inner_p: FloatArray
    inner_q: FloatArray
    bracket: BoolArray


def reaches(
    net: Netlist, moving: int | None, low_s: FloatArray, high_s: FloatArray, node: str, causes: Causes,
    group: IntArray, at_most: Levels, at_least: Levels,
) -> tuple[Reach, Reach]:  # fmt: skip
    """Severity sets of R boxes for both sides.

    Parameters
    ----------
    net : Netlist
    moving : int or None
        Column of the element whose severity is asked for; its own box does not count. None: none moves, and a set is
        everything or empty.
    low_s, high_s : (R, m)
        Ends of all conductances. [S]
    node : str
        Where the reading is taken.
    causes : Causes
    group : (R,)
        Row of `at_most.at` and `at_least.at` that belongs to each box.
    at_most, at_least : Levels
        Levels that the lowest reading may fall to, and that the highest may rise to.

    Returns
    -------
    Reach for `at_most`, Reach for `at_least`
        Where the node floats for a severity any reading is possible: that severity then lies in every set.
    """
    low, high = low_s.copy(), high_s.copy()
    if moving is not None:
        low[:, moving], high[:, moving] = 0.0, 0.0
    _part_rails(net, low, high)
    if moving is not None:
        high[:, moving] = np.inf
    found = _reaches(net, moving, low, high, node, causes, group, at_most, at_least)
    met = [_can_be_met(levels, sign, causes)[group] for levels, sign in ((at_most, 1.0), (at_least, -1.0))]
    _let_float(net, moving, low, node, found, met)
    return found


def _part_rails(net: Netlist, low: FloatArray, high: FloatArray) -> None:
    """Keep corners that short rails together apart from each other: change `high` where that happens.

    A corner in which rails are joined by shorts has no reading, but all around it there are readings. Conductances that
    can be anything up to inf then end at `ALMOST_SHORT`; those that are a short in any case stay one.
    """
    if not np.isinf(high).any():
        return
    shorted = np.zeros(len(high), dtype=bool)
    for _, _, joined in shorted_rails(net, list(high.T)):
        shorted |= joined
    high[shorted[:, None] & np.isinf(high) & (low < high)] = ALMOST_SHORT


def _can_be_met(levels: Levels, sign: float, causes: Causes) -> BoolArray:
    """(G, K, L): a level below (above) every reading is never met, whatever floats."""
    some: BoolArray = np.logical_or.reduceat(sign * levels.at > -np.inf, causes.starts, axis=1)
    return some


def _let_float(
    net: Netlist, moving: int | None, low: FloatArray, node: str, found: Sequence[Reach], met: Sequence[BoolArray]
) -> None:
    """A pin that nothing holds may read anything on the scale: put those severities into every set."""
    index = net.node_index(node)
    still = low.copy()
    if moving is not None:
        still[:, moving] = 1.0
    always = _floats(net, index, still)
    if moving is not None:
        still[:, moving] = 0.0
    at_zero = _floats(net, index, still)
    for reach, can in zip(found, met, strict=True):
        once, ever = at_zero[:, None, None] & can, always[:, None, None] & can
        for p, q in ((reach.p, reach.q), (reach.inner_p, reach.inner_q)):
            p[once] = np.fmax(p[once], 0.0)
            p[ever], q[ever] = np.inf, 0.0


def _floats(net: Netlist, node: int, low: FloatArray) -> BoolArray:
    joined = low > 0.0
    reached = np.zeros((len(net.nodes), len(low)), dtype=bool)
    reached[list(net.rail_index)] = True
    before = -1
    while before != (before := int(reached.sum())):
        for edge, (a, b) in enumerate(net.ends):
            both = joined[:, edge] & (reached[a] | reached[b])
            reached[a] |= both
            reached[b] |= both
    return ~reached[node]


def listed_sources(rail_v: FloatArray) -> Sources:
    """Sources whose corners are exactly the listed rail potentials, (C, r): those of several boxes of causes."""
    made = Sources.fixed(rail_v[0])
    made.__dict__["corner_rail_v"] = rail_v  # the slot of the cached property; everything else follows from it
    return made


def _reaches(
    net: Netlist, moving: int | None, low: FloatArray, high: FloatArray, node: str, causes: Causes, group: IntArray,
    at_most: Levels, at_least: Levels,
) -> tuple[Reach, Reach]:  # fmt: skip
    sources, reading = listed_sources(causes.rail_v), Reading(node)
    whole = () if moving is None else (moving,)
    work = problems_of(net, reading, sources, low, high, enumerate_rows=SWEEP_ROWS, whole=whole)
    place = -1 if moving is None else int(work.small.group[moving])
    bits = work.bits()
    found = []
    for side, levels in enumerate((at_most, at_least)):
        problems, size = len(bits), levels.strict.size
        p, q = (np.full((problems, len(causes.boxes), size), np.nan) for _ in range(2))
        for order, (present, some, at) in enumerate(_by_order(sources, causes, levels)):
            mine = (work.side == side) & (work.order == order) & (bits <= MOST_BITS)
            for count in np.unique(bits[mine]).tolist():
                rows = np.flatnonzero(mine & (bits == count))
                step = max(1, NUMBERS // max(1, (1 << count) * len(some.block) * size))
                for part in (rows[i : i + step] for i in range(0, rows.size, step)):
                    where = np.ix_(part, present)
                    p[where], q[where] = _corners(work, part, count, place, some, group, at, side)
        shape = (len(low), work.orders, 2, len(causes.boxes), size)
        with np.errstate(invalid="ignore"):
            p = np.fmax.reduce(p.reshape(shape)[:, :, side], axis=1)
            q = np.fmin.reduce(q.reshape(shape)[:, :, side], axis=1)
        found.append(Reach(p, q, p.copy(), q.copy(), np.zeros(len(low), dtype=bool)))
    many = np.unique(work.situation[bits > MOST_BITS])
    if many.size:
        for side, levels in enumerate((at_most, at_least)):
            _bracket(net, moving, low, high, causes, group, levels, side, many[:MOST_BRACKETS], found[side])
            can = _can_be_met(levels, 1.0 if side == 0 else -1.0, causes)[group]
            _claim_nothing(many[MOST_BRACKETS:], can, found[side])
    return found[0], found[1]


def _by_order(sources: Sources, causes: Causes, levels: Levels) -> list[tuple[IntArray, Causes, Levels]]:
    """For each order of the rails: blocks in which it occurs, its corners of the causes (blocks numbered anew), levels.

    What is proven for an order holds at its corners, so only those are tried with it.
    """
    place = {order: number for number, order in enumerate(sources.orders)}
    of = np.array([place[top_sets(rail_v)] for rail_v in causes.rail_v], dtype=np.intp)
    out = []
    for number in range(len(place)):
        here = np.flatnonzero(of == number)
        present, block = np.unique(causes.block[here], return_inverse=True)
        boxes = tuple(causes.boxes[k] for k in present.tolist())
        some = Causes(causes.rail_v[here], causes.divisor[here], block.astype(np.intp), boxes)
        out.append((present, some, Levels(levels.at[:, here], levels.strict)))
    return out


def _corners(
    work: Problems, part: IntArray, count: int, place: int, causes: Causes, group: IntArray, levels: Levels, side: int,
) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """p, q (P, K, L) of some problems, all with `count` open conductances."""
    columns = corner_columns(part, count, work.base, work.open_edges, work.low, work.high, work.situation)
    shape = (part.size, 1 << count)
    f_open, f_short, seen = _ends(work, columns, shape, place, causes)
    f_open, f_short = np.where(np.isnan(f_open), f_short, f_open), np.where(np.isnan(f_short), f_open, f_short)
    sign = 1.0 if side == 0 else -1.0
    a, b = sign * f_open[..., None], sign * f_short[..., None]  # (P, N, C, 1)
    level = sign * levels.at[group[work.situation[part]]][:, None]  # (P, 1, C, L)
    level[..., levels.strict] = np.nextafter(level[..., levels.strict], -np.inf)  # below it is at most the next number
    starts = causes.starts
    within = a <= level
    any_open = np.logical_or.reduceat(within.any(axis=1), starts, axis=1)
    if place < 0:
        return np.where(any_open, np.inf, np.nan), np.where(any_open, 0.0, np.nan)
    within_short = b <= level
    any_short = np.logical_or.reduceat(within_short.any(axis=1), starts, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        crossing = seen[..., None, None] * ((level - a) / (b - level))
    lost = np.isnan(crossing)
    if lost.any():  # 0 · inf: with G of 0 the reading leaves f0 at once, with G of inf never
        crossing = np.where(lost, seen[..., None, None], crossing)
    p = np.where(within, np.where(within_short, np.inf, crossing), 0.0).max(axis=1)
    q = np.where(within_short, np.where(within, 0.0, crossing), np.inf).min(axis=1)
    p = np.where(any_open, np.maximum.reduceat(p, starts, axis=1), np.nan)
    q = np.where(any_short, np.maximum(np.minimum.reduceat(q, starts, axis=1), 0.0), np.nan)
    return p, q


def _ends(
    work: Problems, columns: list[FloatArray], shape: tuple[int, int], place: int, causes: Causes
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Readings (P, N, C) with the moving element open and shorted, and the conductance (P, N) that its ends see."""
    net = work.net

    def read(at: list[FloatArray]) -> FloatArray:
        shorts = any(bool(np.isinf(column).any()) for column in at)
        value: FloatArray = transfer_columns(net, work.node, at, shorts, shape) @ causes.rail_v.T / causes.divisor
        if shorts:
            for i, j, joined in shorted_rails(net, at):
                apart = causes.rail_v[:, i] != causes.rail_v[:, j]
                value[np.broadcast_to(joined, shape)[..., None] & apart] = np.nan
        return value

    if place < 0:  # nothing moves, or what moves touches nothing the pin can see
        same = read(columns)
        return same, same, np.full(shape, np.inf)
    moved = list(columns)
    moved[place] = np.zeros((1, 1))
    f_open = read(moved)
    seen = _seen(work, moved, shape, place)
    moved[place] = np.full((1, 1), np.inf)
    return f_open, read(moved), seen


def _seen(work: Problems, columns: list[FloatArray], shape: tuple[int, int], place: int) -> FloatArray:
    """Conductance between the two ends of an element that is taken out, all supplies killed. [S]"""
    net = work.net
    a, b = net.ends[place]
    plan = net.plan((a, b), rails="merged")
    if plan.alias[a] == plan.alias[b]:
        return np.full(shape, np.inf)
    shorts = any(bool(np.isinf(column).any()) for column in columns)
    slots = eliminate(plan, columns, shorts)

    def slot(one: int, other: int) -> FloatArray:
        number = plan.slot(one, other)
        value = slots[number] if number >= 0 else None
        return np.broadcast_to(np.zeros(1) if value is None else value, shape)

    across = slot(a, b)
    rail = plan.alias[net.rail_index[0]]
    if rail not in (plan.alias[a], plan.alias[b]):
        with np.errstate(divide="ignore"):
            across = across + 1.0 / (1.0 / slot(a, rail) + 1.0 / slot(b, rail))
    return across


def _bracket(
    net: Netlist, moving: int | None, low: FloatArray, high: FloatArray, causes: Causes, group: IntArray,
    levels: Levels, side: int, rows: IntArray, found: Reach,
) -> None:  # fmt: skip
    """Outer and inner sets of rows with too many corners: spans over cells of the severity, and at their ends."""
    ends = np.array(CELLS_S if moving is not None else (0.0, np.inf))
    for k, (start, (sources, reading)) in enumerate(zip(causes.starts.tolist(), causes.boxes, strict=True)):
        stop = int(np.searchsorted(causes.block, k, side="right"))
        for row in rows.tolist():
            at = levels.at[group[row], start:stop]
            wide, narrow = (at.max(axis=0), at.min(axis=0)) if side == 0 else (at.min(axis=0), at.max(axis=0))
            cells = list(pairwise(ends.tolist())) if moving is not None else [(0.0, 0.0)]
            points = ends.tolist() if moving is not None else [0.0]
            hit = _span_meets(
                net, moving, low[row], high[row], sources, reading, cells, wide, levels.strict, side, True
            )
            sure = _span_meets(net, moving, low[row], high[row], sources, reading, [(x, x) for x in points], narrow,
                               levels.strict, side, False)  # fmt: skip
            for number in range(levels.strict.size):
                p, q = _run(hit[:, number], ends)
                found.p[row, k, number], found.q[row, k, number] = p, q
                found.inner_p[row, k, number], found.inner_q[row, k, number] = _held(sure[:, number], points, moving)
    found.bracket[rows] = True


def _claim_nothing(rows: IntArray, can: BoolArray, found: Reach) -> None:
    """The widest bracket there is: every severity, for each level that a reading can reach at all."""
    found.p[rows], found.q[rows] = np.where(can[rows], np.inf, np.nan), np.where(can[rows], 0.0, np.nan)
    found.inner_p[rows], found.inner_q[rows] = np.nan, np.nan
    found.bracket[rows] = True


def _span_meets(
    net: Netlist, moving: int | None, low: FloatArray, high: FloatArray, sources: Sources, reading: Reading,
    cells: list[tuple[float, float]], level: FloatArray, strict: BoolArray, side: int, outer: bool,
) -> BoolArray:  # fmt: skip
    """(cells, L): does the worst reading of this cell reach the level, by its outer bound or by an attained reading?"""
    lows, highs = np.tile(low, (len(cells), 1)), np.tile(high, (len(cells), 1))
    if moving is not None:
        lows[:, moving] = [cell[0] for cell in cells]
        highs[:, moving] = [cell[1] for cell in cells]
    got = span(net, lows, highs, sources, reading, branch_rounds=BRANCH_ROUNDS)
    end = (got.low if outer else got.inner_low) if side == 0 else (got.high if outer else got.inner_high)
    sign = 1.0 if side == 0 else -1.0
    value, at = sign * end[:, None], sign * level
    out: BoolArray = np.where(strict, value < at, value <= at)
    return out


def _run(hit: BoolArray, ends: FloatArray) -> tuple[float, float]:
    """The cells that hang together with 0, and with inf, as (p, q): others cannot hold a piece of the set."""
    if hit.all():
        return np.inf, 0.0
    first, last = int(hit.argmin()), int(hit[::-1].argmin())
    return (float(ends[first]) if first else np.nan), (float(ends[len(ends) - 1 - last]) if last else np.nan)


def _held(sure: BoolArray, points: list[float], moving: int | None) -> tuple[float, float]:
    """The part of the set that attained readings prove. At each end the set is one interval, so points join up."""
    if moving is None:
        return (np.inf, 0.0) if sure.all() else (np.nan, np.nan)
    if sure.all():
        return 0.0, np.inf  # there may be a gap between two points
    first, last = int(sure.argmin()), int(sure[::-1].argmin())
    return (points[first - 1] if first else np.nan), (points[len(points) - last] if last else np.nan)
