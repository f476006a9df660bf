"""For which severities can all conditions on the coils of a circuit hold together? Every corner of the box at once.

Answers: with one conductance anywhere from 0 to inf and all else in its box, the severities with which the volts of
         each coil lie beyond, or within, the limit that is asked of it.
Units:   siemens inside, ohms in the sets, volts.
Shapes:  R rows (boxes of one netlist), r coils, C corners of the rails.
Touches: nothing.
Beside:  `ask` puts the questions; `bounds` decides without corners what it can; `pinproof.network.signs` proves which
         way a coil's volts move.
Sources: at a corner of all else a coil's volts are (v0 G + v1 g) / (G + g) in the severity conductance g: v0 while it
         is open, v1 while it is a short, G the conductance seen at its ends (Thevenin). A condition therefore holds on
         one interval of g, whose end is solved. One condition alone is worst at a corner of the box (matrix-tree
         theorem); for several together the corners show what surely happens (inner), and the sets of the single
         conditions, cut together, what can at most happen (outer).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
import numpy.typing as npt

from pinproof.faults.severity import listed_sources
from pinproof.inhibit.bounds import Ask, BoolArray, FloatArray, bounded, reached
from pinproof.inhibit.crossing import Ends, above, cut, ohms
from pinproof.inhibit.sets import ALL, NONE, Interval, Severities, intersection, union, union_of
from pinproof.network import Netlist, Reading, resistance_between, transfer
from pinproof.network.corners import corner_columns
from pinproof.network.problems import Problems, problems_of
from pinproof.network.reduce import reduction
from pinproof.network.signs import FALLS, OPEN, RISES, drop_flags, structural_effects, top_sets

IntArray = npt.NDArray[np.intp]

Order = tuple[tuple[int, ...], ...]  # of the rails, as in `signs.top_sets`

MOST_BITS = 14
"""Up to this many conductances of unproven direction all corners are tried; above, the answer is a bracket."""
CAPS = (5, 11)
"""For several conditions together first few, then more corners are tried: fewer suffice as soon as they show as much
as the single conditions allow."""
FEW_CORNERS = 1 << 9
"""More corners than this are first narrowed by interval proofs."""
NUMBERS = 1 << 18


@dataclass(frozen=True, eq=False)
class Found:
    """Severities with which all conditions can hold together: `outer` holds all of them, `inner` is surely so."""

    outer: Severities
    inner: Severities

    @property
    def exact(self) -> bool:
        """Both are the same."""
        return self.outer == self.inner


NOWHERE = Found(NONE, NONE)
EVERYWHERE = Found(ALL, ALL)
CELLS_S = (0.0, *(10.0**n for n in range(-7, 4)), inf)
"""Ends of the cells of a bracketed severity. [S]"""


def possible(
    net: Netlist, moving: int | None, low_s: FloatArray, high_s: FloatArray, coils: Sequence[int],
    asked: npt.NDArray[np.int8], level_v: FloatArray, rail_v: FloatArray,
) -> list[Found]:  # fmt: skip
    """The set of each row.

    Parameters
    ----------
    net : Netlist
        Edge `coils[i]` is coil i; its volts are those of its end a minus those of its end b, without sign.
    moving : int or None
        Column of the severity; its own box does not count. None: none moves, and a set is everything or empty.
    low_s, high_s : (R, m)
        Ends of all conductances, none infinite. [S]
    asked : (R, r) of Ask
    level_v : (R, r)
        Levels, above 0. [V]
    rail_v : (C, rails)
        Corners of the rails. [V]
    """
    if not len(low_s):
        return []
    low, high = low_s.copy(), high_s.copy()
    if moving is not None:
        low[:, moving], high[:, moving] = 0.0, 1.0
    solve = _Solver(net, moving, low, high, coils, rail_v)
    out: list[Found] = [NOWHERE] * len(low)
    left: list[int] = []
    needed = asked.copy()
    for row in range(len(low)):
        each = [solve.want(row, coil, Ask(ask), level_v[row, coil]) for coil, ask in enumerate(asked[row]) if ask]
        solve.conditions.append(each)
    single = solve.singles([yes for conditions in solve.conditions for yes, _ in conditions])
    several = [conditions for conditions in solve.conditions if len(conditions) > 1]
    several = [each for each in several if intersection([single[yes].outer for yes, _ in each])]
    single |= solve.singles([no for conditions in several for _, no in conditions if no not in single])
    for row, conditions in enumerate(solve.conditions):
        if len(conditions) == 1:
            out[row] = single[conditions[0][0]]
            continue
        outer = intersection([single[yes].outer for yes, _ in conditions])
        if not outer:
            continue
        # What holds at every corner and severity asks nothing of the others.
        open_ones = [(yes, no) for yes, no in conditions if single[no].outer]
        needed[row] = [
            ask if ask and any(solve.coil_of(yes) == coil for yes, _ in open_ones) else Ask.NOTHING
            for coil, ask in enumerate(asked[row])
        ]
        if len(open_ones) < 2:
            out[row] = single[open_ones[0][0]] if open_ones else Found(ALL, ALL)
            continue
        out[row] = Found(outer, NONE)
        left.append(row)
    for cap in CAPS:
        found = solve.joint(left, needed, level_v, cap)
        for row, inner in zip(left, found, strict=True):
            out[row] = Found(out[row].outer, union([out[row].inner, intersection([inner, out[row].outer])]))
        left = [row for row in left if not out[row].exact]
    return out


OPPOSITE = {Ask.ABOVE: Ask.AT_MOST, Ask.AT_MOST: Ask.ABOVE, Ask.REACHES: Ask.BELOW, Ask.BELOW: Ask.REACHES}


class _Solver:
    """The rows of one call, and the single conditions in them, each solved once."""

    def __init__(
        self, net: Netlist, moving: int | None, low: FloatArray, high: FloatArray, coils: Sequence[int],
        rail_v: FloatArray,
    ) -> None:  # fmt: skip
        self.net, self.moving, self.low, self.high = net, moving, low, high
        self.coils, self.rail_v = tuple(coils), rail_v
        self.decisive: dict[int, dict[bytes, FloatArray]] = {}
        self.conditions: list[list[tuple[int, int]]] = []
        self.known: dict[tuple[bytes, int, int, float], int] = {}
        self.listed: list[tuple[int, int, Ask, float]] = []
        self.keys = [a.tobytes() + b.tobytes() for a, b in zip(low, high, strict=True)]

    def want(self, row: int, coil: int, ask: Ask, level: float) -> tuple[int, int]:
        """Numbers of a single condition in a row, and of its opposite."""
        return self._number(row, coil, ask, level), self._number(row, coil, OPPOSITE[ask], level)

    def _number(self, row: int, coil: int, ask: Ask, level: float) -> int:
        key = (self.keys[row], coil, int(ask), float(level))
        if key not in self.known:
            self.known[key] = len(self.listed)
            self.listed.append((row, coil, ask, float(level)))
        return self.known[key]

    def coil_of(self, number: int) -> int:
        """The coil of a single condition."""
        return self.listed[number][1]

    def singles(self, numbers: Sequence[int]) -> dict[int, Found]:
        """The set of each of these single conditions. One coil at a time: the network is then smaller, and more is
        proven."""
        out: dict[int, Found] = {}
        wanted = set(numbers)
        for coil, column in enumerate(self.coils):
            mine = [number for number, (_, at, *_) in enumerate(self.listed) if at == coil and number in wanted]
            asked = np.array([[self.listed[number][2]] for number in mine], dtype=np.int8)
            level_v = np.array([[self.listed[number][3]] for number in mine])
            found = self._solved([self.listed[number][0] for number in mine], (column,), asked, level_v, MOST_BITS)
            out |= dict(zip(mine, found, strict=True))
        return out

    def joint(self, rows: list[int], asked: npt.NDArray[np.int8], level_v: FloatArray, cap: int) -> list[Severities]:
        """Severities with which all conditions of a row hold at one corner, up to 2**cap corners tried."""
        return [each.inner for each in self._solved(rows, self.coils, asked[rows], level_v[rows], cap)]

    def _solved(
        self, rows: list[int], coils: tuple[int, ...], asked: npt.NDArray[np.int8], level_v: FloatArray, cap: int
    ) -> list[Found]:
        out: list[Found] = [NOWHERE] * len(rows)
        masks: dict[bytes, list[int]] = {}
        for number, row in enumerate(rows):
            masks.setdefault((self.high[row] > 0.0).tobytes(), []).append(number)
        for mask, mine in masks.items():
            if len(coils) == 1:
                sure = self._screened([rows[number] for number in mine], coils[0], asked[mine], level_v[mine], mask)
                for number, found in zip(mine, sure, strict=True):
                    if found is not None:
                        out[number] = found
                mine = [number for number, found in zip(mine, sure, strict=True) if found is None]
            if not mine:
                continue
            of = [rows[number] for number in mine]
            for rail_v in ([self._decisive(coils[0], mask)] if len(coils) == 1 else []) + [self.rail_v]:
                work = _Part(
                    self.net, self.moving, self.low[of], self.high[of], coils, asked[mine], level_v[mine], mask, rail_v
                )
                sets = work.sets(_orders(rail_v), rail_v, cap)
                if rail_v is self.rail_v or not work.between():
                    break
            for number, found in zip(mine, sets, strict=True):
                out[number] = found
        return out

    def _decisive(self, coil: int, mask: bytes) -> FloatArray:
        """Corners of the rails that can decide how many volts a coil has at most, either way round.

        A rail that reaches the coil only over its plus end raises the volts, one only over its minus end lowers them:
        whatever it raises there it raises less at the other end, which it reaches through the coil alone.
        """
        if mask not in self.decisive.setdefault(coil, {}):
            plus, minus = (reached(self.net, end, coil, mask) for end in self.net.ends[coil])
            both = (plus & minus) - set(self.net.rail_index)
            self.decisive[coil][mask] = self.rail_v if both else self._ends_of_rails(plus, minus)
        return self.decisive[coil][mask]

    def _ends_of_rails(self, plus: set[int], minus: set[int]) -> FloatArray:
        keep = [np.ones(len(self.rail_v), dtype=bool) for _ in range(2)]
        for column, rail in enumerate(self.net.rail_index):
            if rail in plus and rail in minus:
                continue
            volts = self.rail_v[:, column]
            for way, rows in enumerate(keep):
                top = way == 0 if rail in plus else way == 1
                rows &= volts == (volts.max() if top and (rail in plus or rail in minus) else volts.min())
        rows = keep[0] | keep[1]
        return self.rail_v[rows] if rows.any() else self.rail_v

    def _screened(
        self, rows: list[int], coil: int, asked: npt.NDArray[np.int8], level_v: FloatArray, mask: bytes
    ) -> list[Found | None]:
        """What bounds over the whole box decide already: conditions that never hold, or hold with every severity at
        some corner of the rails. None: corners must be looked at."""
        low, high = self.low[rows], self.high[rows]
        if self.moving is not None:
            low[:, self.moving], high[:, self.moving] = 0.0, np.inf
        whole = () if self.moving is None else (self.moving,)
        never, always = bounded(self.net, coil, whole, mask, (low, high), asked[:, 0], level_v[:, 0],
                                self._decisive(coil, mask))  # fmt: skip
        return [NOWHERE if no else EVERYWHERE if yes else None for no, yes in zip(never, always, strict=True)]


def _orders(rail_v: FloatArray) -> dict[Order, list[int]]:
    """Corners of the rails by their order from the top."""
    out: dict[Order, list[int]] = {}
    for number, volts in enumerate(rail_v):
        out.setdefault(top_sets(volts), []).append(number)
    return out


class _Part:
    """Rows in which the same edges can conduct, on one reduced network."""

    def __init__(
        self, net: Netlist, moving: int | None, low: FloatArray, high: FloatArray, coils: Sequence[int],
        asked: npt.NDArray[np.int8], level_v: FloatArray, mask: bytes, rail_v: FloatArray,
    ) -> None:  # fmt: skip
        self.original, self.mask, self.columns = net, mask, tuple(coils)
        ends = [net.ends[column] for column in coils]
        keep = tuple(dict.fromkeys(node for pair in ends for node in pair))
        whole = () if moving is None else (moving,)
        self.proven: Problems | None = None
        if len(self.columns) == 1:
            edge = net.edges[coils[0]]
            sources, reading = listed_sources(rail_v), Reading(edge.a, edge.b)
            self.proven = problems_of(net, reading, sources, low, high, enumerate_rows=FEW_CORNERS, whole=whole)
        self.small = reduction(net, keep, whole, mask) if self.proven is None else self.proven.small
        self.net = self.small.net
        self.poles = [tuple(self.net.node_index(net.nodes[node]) for node in pair) for pair in ends]
        self.low, self.high = self.small.apply(low), self.small.apply(high)
        self.place = -1 if moving is None else int(self.small.group[moving])
        self.moves = moving is not None
        self.asked, self.level_v = asked, level_v
        self.box = (low, high, moving)

    def sets(self, orders: dict[Order, list[int]], rail_v: FloatArray, cap: int) -> list[Found]:
        """For each row what corners show, `inner`; `outer` is the same, or a bracket where corners were left out."""
        self.reverse = {order: self._can_reverse(order, rail_v[numbers]) for order, numbers in orders.items()}
        rows, senses = self._senses()
        inner: list[list[Severities]] = [[] for _ in rows]
        loose = np.zeros(len(rows), dtype=bool)
        for order, numbers in orders.items():
            base, opened = self._fixed(order, rows, senses)
            many = opened.sum(axis=1) > cap
            loose |= many
            for row in np.flatnonzero(many).tolist():
                opened[row, np.flatnonzero(opened[row])[cap:]] = False
            bits = opened.sum(axis=1)
            for count in np.unique(bits).tolist():
                mine = np.flatnonzero(bits == count)
                step = max(1, NUMBERS // ((1 << count) * len(numbers)))
                for part in (mine[i : i + step] for i in range(0, mine.size, step)):
                    self._corners(part, count, base, opened, rows, senses, order, rail_v[numbers], inner)
        out: list[tuple[list[Severities], list[Severities]]] = [([], []) for _ in range(len(self.low))]
        for number, row in enumerate(rows.tolist()):
            found = union(inner[number])
            out[row][0].append(self._loosely(row, rail_v) if loose[number] else found)
            out[row][1].append(found)
        return [Found(ohms(union(a), self.moves), ohms(union(b), self.moves)) for a, b in out]

    def between(self) -> bool:
        """Whether volts within a limit are asked of a coil that can have as many the other way round: then corners that
        are the worst of neither way can be the ones."""
        back = np.max(list(self.reverse.values()), axis=0)
        within = (self.asked == Ask.BELOW) | (self.asked == Ask.AT_MOST)
        return bool((within & (back >= self.level_v)).any())

    def _can_reverse(self, order: Order, rail_v: FloatArray) -> FloatArray:
        """Most volts (r,) that each coil can have the other way round, from the graph alone. [V]"""
        most = np.zeros(len(self.columns))
        for high in order:
            gap = max(_gap(volts, high) for volts in rail_v)
            flags = drop_flags(self.original, high, self.mask, self.columns)
            most += gap * np.array([bool(flags[column] & 2) for column in self.columns])
        return most

    def _senses(self) -> tuple[IntArray, npt.NDArray[np.int8]]:
        """Each row once for each way the coils that must have volts can have them: row numbers, and +1 or -1."""
        back = np.max(list(self.reverse.values()), axis=0)
        rows, senses = [], []
        for row, (asked, level) in enumerate(zip(self.asked, self.level_v, strict=True)):
            lists: list[list[int]] = [[]]
            for coil, ask in enumerate(asked):
                both = ask in (Ask.ABOVE, Ask.REACHES) and back[coil] >= level[coil]
                lists = [[*each, way] for each in lists for way in ((1, -1) if both else (1,))]
            rows += [row] * len(lists)
            senses += lists
        shape = (len(rows), len(self.columns))
        return np.array(rows, dtype=np.intp), np.array(senses, dtype=np.int8).reshape(shape)

    def _fixed(self, order: Order, rows: IntArray, senses: npt.NDArray[np.int8]) -> tuple[FloatArray, BoolArray]:
        """For each row the ends of the conductances whose direction is proven, and which stay open."""
        if self.proven is not None:
            want = np.where(self.asked[rows, 0] <= Ask.REACHES, senses[:, 0], -senses[:, 0])
            place = list(self.reverse).index(order)
            problem = (rows * self.proven.orders + place) * 2 + (want > 0)
            return self.proven.base[problem], self.proven.open_edges[problem].copy()
        edges = len(self.net.edges)
        every = np.ones(edges, dtype=bool)
        asked = self.asked[rows]
        want = np.where(asked <= Ask.REACHES, senses, -senses) * (asked != Ask.NOTHING)
        up, down, unknown, last_up = (np.zeros((len(rows), edges), dtype=bool) for _ in range(4))
        for coil, (plus, minus) in enumerate(self.poles):
            effect = structural_effects(self.net, plus, minus, (order,), every, range(edges))[0]
            mine = want[:, coil][:, None]
            up |= ((effect == RISES) & (mine > 0)) | ((effect == FALLS) & (mine < 0))
            down |= ((effect == RISES) & (mine < 0)) | ((effect == FALLS) & (mine > 0))
            unknown |= (effect == OPEN) & (mine != 0)
            # Where wishes differ and not all corners are tried, that of the last coil, nearest the starter, counts.
            last_up = np.where(mine == 0, last_up, (effect == RISES) == (mine > 0))
        low, high = self.low[rows], self.high[rows]
        opened = (unknown | (up & down)) & (low < high)
        if self.place >= 0:
            opened[:, self.place] = False
        return np.where(down & ~(up & last_up), low, high), opened

    def _corners(
        self, part: IntArray, count: int, base: FloatArray, opened: BoolArray, rows: IntArray,
        senses: npt.NDArray[np.int8], order: Order, rail_v: FloatArray,
        inner: list[list[Severities]],
    ) -> None:  # fmt: skip
        columns = corner_columns(part, count, base, opened, self.low, self.high, rows)
        shape = (part.size, 1 << count)
        g = np.stack([np.broadcast_to(column, shape).reshape(-1) for column in columns], axis=1)
        v0, v1, seen = self._ends(g, rail_v)
        where = (*shape, len(rail_v))
        seen = np.broadcast_to(seen.reshape(*shape, 1), where)
        held: list[list[Ends]] = [[] for _ in part]
        for coil in range(len(self.poles)):
            f0, f1 = v0[coil].reshape(where), v1[coil].reshape(where)
            back = self.reverse[order][coil]
            for number, ends in self._one_coil(part, rows, senses, coil, f0, f1, seen, back):
                held[number].append(ends)
        for number, row in enumerate(part.tolist()):
            inner[row].append(union_of(*cut(held[number])) if held[number] else ALL)

    def _one_coil(
        self, part: IntArray, rows: IntArray, senses: npt.NDArray[np.int8], coil: int, f0: FloatArray, f1: FloatArray,
        seen: FloatArray, back: float,
    ) -> list[tuple[int, Ends]]:  # fmt: skip
        out = []
        for number, row in enumerate(part.tolist()):
            ask, level = int(self.asked[rows[row], coil]), float(self.level_v[rows[row], coil])
            if ask == Ask.NOTHING:
                continue
            a, b, s = f0[number], f1[number], seen[number]
            strict = ask in (Ask.ABOVE, Ask.BELOW)
            if ask in (Ask.ABOVE, Ask.REACHES):
                way = float(senses[row, coil])
                ends = above(way * a, way * b, s, level, strict)
            else:
                ends = above(-a, -b, s, -level, strict)
                if back >= level:
                    ends = cut([ends, above(a, b, s, -level, strict)])
            out.append((number, ends))
        return out

    def _ends(self, g: FloatArray, rail_v: FloatArray) -> tuple[list[FloatArray], list[FloatArray], FloatArray]:
        """Volts (B, C) of each coil with the severity open and shorted, and the conductance (B,) that it sees."""
        if self.place < 0:
            volts = self._volts(g, rail_v)
            return volts, volts, np.full(len(g), np.inf)
        g = g.copy()
        g[:, self.place] = 0.0
        at_open = self._volts(g, rail_v)
        edge = self.net.edges[self.place]
        with np.errstate(divide="ignore"):
            seen = 1.0 / resistance_between(self.net, g, edge.a, edge.b, killed="shorted")
        g[:, self.place] = np.inf
        at_short = self._volts(g, rail_v)
        fixed = np.isinf(seen)
        for f0, f1 in zip(at_open, at_short, strict=True):
            f1[fixed] = f0[fixed]
        return at_open, at_short, seen

    def _volts(self, g: FloatArray, rail_v: FloatArray) -> list[FloatArray]:
        known = {pole: transfer(self.net, g, self.net.nodes[pole]) for pair in self.poles for pole in pair}
        # A coil that hangs on no rail has no volts across it.
        return [np.nan_to_num((known[plus] - known[minus]) @ rail_v.T) for plus, minus in self.poles]

    def _loosely(self, row: int, rail_v: FloatArray) -> Severities:
        """Too many corners: the cells of the severity, a decade each, in which the one condition is not ruled out. In
        conductances. Of several conditions nothing is ruled out here: `possible` cuts the brackets of the single ones
        together."""
        low, high, moving = self.box
        if moving is None or len(self.columns) > 1:
            return ALL
        count = len(CELLS_S) - 1
        lows, highs = np.tile(low[row], (count, 1)), np.tile(high[row], (count, 1))
        lows[:, moving], highs[:, moving] = CELLS_S[:-1], CELLS_S[1:]
        asked, level_v = np.repeat(self.asked[row], count), np.repeat(self.level_v[row], count)
        never, _ = bounded(self.original, self.columns[0], (moving,), self.mask, (lows, highs), asked, level_v, rail_v)
        left = np.flatnonzero(~never).tolist()
        return union([(Interval(CELLS_S[cell], CELLS_S[cell + 1]),) for cell in left])


def _gap(volts: FloatArray, high: tuple[int, ...]) -> float:
    """Volts between the rails in `high` and the next lower one."""
    top = list(high)
    rest = [i for i in range(len(volts)) if i not in high]
    return float(volts[top].min() - volts[rest].max()) if rest else 0.0
