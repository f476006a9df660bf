"""How far one parameter may move until the worst reading reaches a level, all others staying in their box.

Answers: the value of one conductance or one cause, beyond its end of the box, at which the lowest (highest) possible
         reading first reaches a level; so the drift a part may have before a meaning is lost, or a false one begins.
Units:   conductance [S], causes in their own unit, levels in the unit of the reading.
Touches: nothing.
Beside:  `spans` gives the span inside the box.
Sources: at a fixed corner of all others a reading is (a + b x) / (c + d x) in one conductance x (Thevenin), so the
         crossing is solved, not searched. As x moves alone every corner's reading is monotone, so the first crossing
         of the worst reading is the first over all corners.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pinproof.network.box import Reading, Sources
from pinproof.network.corners import CHUNK, corner_columns
from pinproof.network.netlist import FloatArray, Netlist, NetworkFault
from pinproof.network.problems import Problems, problems_of
from pinproof.network.reduce import reduction
from pinproof.network.solve import transfer_columns
from pinproof.network.spans import checked_box, span
from pinproof.network.star_mesh import eliminate

BITS = 12
"""Up to this many open conductances all corners are tried; more give a cautious answer, marked as not exact."""
REACH = (1.0, 10.0, 1000.0)
"""A cause is followed so many times the shift that moves its rails by the whole spread of rail potentials."""


@dataclass(frozen=True, eq=False)
class Excursions:
    """First crossings, (S, L) for S situations and L levels, for a parameter that falls and one that rises.

    NaN: never. `exact` (S,) is false where a span on the way was not exact: the level is reached at the answer, but an
    earlier crossing is not excluded (for a cause: the answer may be missing).
    """

    falling: FloatArray
    rising: FloatArray
    exact: npt.NDArray[np.bool_]


def excursion(
    net: Netlist, low_s: npt.ArrayLike, high_s: npt.ArrayLike, sources: Sources, reading: Reading,
    parameter: str | int, direction: str, level: float, side: str,
) -> float | None:  # fmt: skip
    """First crossing for one situation: a conductance in siemens, or the value of a cause; None if never.

    Parameters
    ----------
    parameter : str or int
        Id of an edge, or position of a cause.
    direction : "down" or "up"
        Below its low end towards 0 (a cause: without limit), or above its high end towards inf.
    level : float
        In the unit of the reading.
    side : "low" or "high"
        The lowest reading falls to the level, or the highest rises to it. If it is there already at the end of the
        box, that end is returned.

    Examples
    --------
    >>> net = Netlist(["pin", "ref", "gnd"], ["ref", "gnd"], [("pull", "ref", "pin"), ("path", "pin", "gnd")])
    >>> box = [1 / 1000, 1 / 1000]
    >>> g = excursion(net, box, box, Sources.fixed([5.0, 0.0]), Reading("pin"), "path", "down", 4.0, "high")
    >>> print(round(1 / g))  # ohms
    4000
    """
    if direction not in ("down", "up"):
        raise NetworkFault("direction", f'"{direction}"', '"down" or "up"')
    found = excursions(net, low_s, high_s, sources, reading, parameter, [level], side)
    value = float((found.falling if direction == "down" else found.rising)[0, 0])
    return None if np.isnan(value) else value


def excursions(
    net: Netlist, low_s: npt.ArrayLike, high_s: npt.ArrayLike, sources: Sources, reading: Reading,
    parameter: str | int, levels: npt.ArrayLike, side: str,
) -> Excursions:  # fmt: skip
    """`excursion` for S situations, both directions and L levels ((L,) or (S, L)) in one pass over the corners."""
    low, high = checked_box(net, low_s, high_s)
    if side not in ("low", "high"):
        raise NetworkFault("side", f'"{side}"', '"low" or "high"')
    if not sources.all_corners:
        raise NetworkFault("sources", f"{len(sources.varying)} varying causes", "8 or fewer for an excursion")
    reading.divisors(sources, sources.corners)
    wanted = np.asarray(levels, dtype=np.float64)
    wanted = np.array(np.broadcast_to(wanted, (low.shape[0], wanted.shape[-1])))
    if isinstance(parameter, str):
        return _of_edge(net, low, high, sources, reading, net.edge_index(parameter), wanted, side)
    if not 0 <= parameter < sources.cause_low.size:
        raise NetworkFault("parameter", f"cause {parameter}", f"0 to {sources.cause_low.size - 1}")
    falling, exact_falling = _of_cause(net, low, high, sources, reading, parameter, -1.0, wanted, side)
    rising, exact_rising = _of_cause(net, low, high, sources, reading, parameter, 1.0, wanted, side)
    return Excursions(falling, rising, exact_falling & exact_rising)


def _of_edge(
    net: Netlist, low: FloatArray, high: FloatArray, sources: Sources, reading: Reading, edge: int,
    levels: FloatArray, side: str,
) -> Excursions:  # fmt: skip
    """Newton steps along the worst readings: solve the crossing of the worst corner, find the worst corner there.

    Begins at 0 or inf: if the worst reading has not reached the level there, it never does. Each step moves towards
    the box; where the worst reading equals the level no other corner can have crossed earlier, for all are monotone.
    """
    situations, count = levels.shape
    sign = 1.0 if side == "low" else -1.0
    moving = _Moving(net, low, high, sources, reading, edge, side)
    both = np.repeat(np.arange(situations), 2)
    begin = np.stack([low[:, edge], high[:, edge]], axis=1).reshape(-1)
    end = np.tile([0.0, np.inf], situations)
    at_begin, _, _, sure = moving.worst(both, begin)
    at_end, corner, cause, sure_too = moving.worst(both, end)
    sure = sure & sure_too
    # One row for each situation, direction and level.
    of = np.repeat(np.arange(2 * situations), count)
    level = sign * np.repeat(levels, 2, axis=0).reshape(-1)
    value = np.full(of.size, np.nan)
    there = at_begin[of] <= level
    value[there] = begin[of][there]
    active = np.flatnonzero(~there & (at_end[of] <= level))
    corner, cause = corner[of], cause[of]
    value[active] = end[of][active]
    slack = 1e-13 * max(1.0, float(np.abs(at_begin[np.isfinite(at_begin)]).max(initial=0.0)))
    sure = sure[of]
    for _ in range(60):
        if not active.size:
            break
        x = moving.crossing(corner[active], cause[active], level[active], begin[of][active], end[of][active])
        outward = np.where(end[of][active] == 0.0, x < value[active], x > value[active])
        x = np.where(outward | np.isnan(x), value[active], x)
        moved = x != value[active]
        value[active] = x
        active = active[moved]
        if not active.size:
            break
        now, new_corner, new_cause, sure_now = moving.worst(both[of][active], value[active])
        sure[active] &= sure_now
        corner[active], cause[active] = new_corner, new_cause
        active = active[now < level[active] - slack]
    shaped = value.reshape(situations, 2, count)
    exact = sure.reshape(situations, -1).all(axis=1)
    return Excursions(shaped[:, 0], shaped[:, 1], exact)


class _Moving:
    """One edge of a network set to chosen values, one for each row; readings signed so that the worst is the least."""

    def __init__(
        self, net: Netlist, low: FloatArray, high: FloatArray, sources: Sources, reading: Reading, edge: int, side: str
    ) -> None:
        self.net, self.low, self.high, self.sources, self.reading = net, low, high, sources, reading
        self.edge, self.side, self.sign = edge, side, 1.0 if side == "low" else -1.0
        node, minus = reading.indices(net)
        self.small = reduction(net, [n for n in (node, minus) if n is not None], (edge,))
        self.node, self.minus = reading.indices(self.small.net)
        self.place = int(self.small.group[edge])

    def worst(
        self, situation: npt.NDArray[np.intp], x: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, npt.NDArray[np.bool_]]:
        """Signed worst reading, its corner and causes, and whether it is exact. Without any reading: inf."""
        low, high = self.low[situation].copy(), self.high[situation].copy()
        low[:, self.edge] = high[:, self.edge] = x
        got = span(self.net, low, high, self.sources, self.reading)
        if self.side == "low":
            value, corner, cause, sure = got.inner_low, got.low_corner_s, got.low_cause, got.exact_low
        else:
            value, corner, cause, sure = got.inner_high, got.high_corner_s, got.high_cause, got.exact_high
        return np.where(np.isnan(value), np.inf, self.sign * value), corner, cause, sure

    def crossing(
        self, corner: FloatArray, cause: FloatArray, level: FloatArray, begin: FloatArray, end: FloatArray
    ) -> FloatArray:
        """Where the reading at each corner falls to the level, between `begin` and `end`; NaN if it does not."""
        columns = [column[:, None] for column in self.small.apply(corner).T]
        at_open, at_short, seen = _ends(self.small.net, self.node, self.minus, columns, (len(corner), 1), self.place)
        volts = self.sources.rail_v(cause)
        divisor = self.reading.divisors(self.sources, cause)
        f_open = self.sign * (at_open[:, 0] * volts).sum(axis=1) / divisor
        f_short = self.sign * (at_short[:, 0] * volts).sum(axis=1) / divisor
        seen = seen[:, 0]
        # Without the edge the node floats, or with it rails are shorted: the reading does not depend on its size.
        f_zero = np.where(np.isnan(f_open), f_short, f_open)
        f_full = np.where(np.isnan(f_short), f_open, f_short)
        with np.errstate(invalid="ignore", divide="ignore"):
            down = seen * ((level - f_zero) / (f_full - level))
            up = seen * ((f_zero - level) / (level - f_full))
            x = np.where(end == 0.0, np.clip(down, 0.0, begin), np.maximum(up, begin))
        return np.where(np.isinf(seen), np.nan, x)


def _searchable(
    work: Problems, side: str, situations: int
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.bool_]]:
    """Problems of this side in situations whose corners can all be tried, their bits, and which situations those are."""
    bits = work.bits()
    rows = np.flatnonzero(work.side == (0 if side == "low" else 1))
    exact = np.ones(situations, dtype=bool)
    exact[work.situation[rows[bits[rows] > BITS]]] = False
    return rows[exact[work.situation[rows]]], bits, exact


def _parts(rows: npt.NDArray[np.intp], bits: npt.NDArray[np.intp]) -> list[tuple[int, npt.NDArray[np.intp]]]:
    out: list[tuple[int, npt.NDArray[np.intp]]] = []
    for count in np.unique(bits[rows]).tolist():
        group = rows[bits[rows] == count]
        step = max(1, CHUNK >> count)
        out += [(count, group[start : start + step]) for start in range(0, group.size, step)]
    return out


def _ends(
    net: Netlist, node: int, minus: int | None, columns: list[FloatArray], shape: tuple[int, int], place: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Transfer to the rails with edge `place` open and shorted, and the conductance seen from its two ends."""
    shorts = any(bool(np.isinf(column).any()) for column in columns)
    if place < 0:
        same = _transfer(net, node, minus, columns, shape, shorts)
        return same, same, np.full(shape, np.inf)
    moved = list(columns)
    moved[place] = np.zeros((1, 1))
    at_open = _transfer(net, node, minus, moved, shape, shorts)
    a, b = net.ends[place]
    plan = net.plan((a, b), rails="merged")
    slots = eliminate(plan, moved, shorts)

    def slot(one: int, other: int) -> FloatArray:
        number = plan.slot(one, other)
        value = slots[number] if number >= 0 else None
        return np.broadcast_to(np.zeros(1) if value is None else value, shape)

    across = slot(a, b) if plan.alias[a] != plan.alias[b] else np.full(shape, np.inf)
    rail = plan.alias[net.rail_index[0]]
    if rail not in (plan.alias[a], plan.alias[b]):
        with np.errstate(divide="ignore"):
            across = across + 1.0 / (1.0 / slot(a, rail) + 1.0 / slot(b, rail))
    moved[place] = np.full((1, 1), np.inf)
    return at_open, _transfer(net, node, minus, moved, shape, True), across


def _transfer(
    net: Netlist, node: int, minus: int | None, columns: list[FloatArray], shape: tuple[int, int], shorts: bool
) -> FloatArray:
    out = transfer_columns(net, node, columns, shorts, shape)
    return out if minus is None else out - transfer_columns(net, minus, columns, shape=shape, shorts=shorts)


def _of_cause(
    net: Netlist, low: FloatArray, high: FloatArray, sources: Sources, reading: Reading, cause: int,
    direction: float, levels: FloatArray, side: str,
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:  # fmt: skip
    """First crossings of a cause that moves on from its end of the box, segment by segment."""
    out = np.full(levels.shape, np.nan)
    exact = np.ones(len(low), dtype=bool)
    start = float(sources.cause_high[cause] if direction > 0 else sources.cause_low[cause])
    spread = float(np.ptp(sources.corner_rail_v)) or 1.0
    gain = float(np.abs(sources.gain[:, cause]).max(initial=0.0))
    if reading.divisor is not None:
        gain = max(gain, abs(float(np.asarray(reading.divisor[1], dtype=np.float64).reshape(-1)[cause])))
    if gain == 0.0:
        gain = spread
    waiting = np.ones(len(low), dtype=bool)
    begin = start
    for reach in REACH:
        end = _before_zero(sources, reading, cause, begin, start + direction * reach * spread / gain)
        ends = sources.cause_low.copy(), sources.cause_high.copy()
        ends[0][cause], ends[1][cause] = min(begin, end), max(begin, end)
        segment = Sources(ends[0], ends[1], sources.base_v, sources.gain)
        rows = np.flatnonzero(waiting)
        found, sure = _cause_segment(
            net, low[rows], high[rows], segment, reading, cause, begin, end, levels[rows], side
        )
        for row in np.flatnonzero(~sure).tolist():
            for number in range(levels.shape[1]):
                case = (net, low[rows[row]], high[rows[row]], sources, reading, cause, float(levels[rows[row], number]))
                found[row, number] = _cautious_cause(*case, side, begin, end)
        out[rows] = np.where(np.isnan(out[rows]), found, out[rows])
        exact[rows] &= sure
        waiting[rows] = np.isnan(out[rows]).any(axis=1)
        begin = end
        if not waiting.any():
            break
    return out, exact


def _cautious_cause(
    net: Netlist, low: FloatArray, high: FloatArray, sources: Sources, reading: Reading, cause: int,
    level: float, side: str, begin: float, end: float,
) -> float:  # fmt: skip
    """Bound by halving: the span over all values of the cause from `begin` to the answer stays clear of the level."""

    def clear(value: float) -> bool:
        ends = sources.cause_low.copy(), sources.cause_high.copy()
        ends[0][cause], ends[1][cause] = min(begin, value), max(begin, value)
        wide = Sources(ends[0], ends[1], sources.base_v, sources.gain)
        found = span(net, low, high, wide, reading, branch_rounds=20)
        return bool(found.low[0] > level) if side == "low" else bool(found.high[0] < level)

    if not clear(begin):
        return begin
    if clear(end):
        return float("nan")
    safe, lost = begin, end
    for _ in range(40):
        middle = (safe + lost) / 2.0
        if clear(middle):
            safe = middle
        else:
            lost = middle
    return safe


def _before_zero(sources: Sources, reading: Reading, cause: int, begin: float, end: float) -> float:
    """`end`, or a point just before the divisor can reach zero."""
    if reading.divisor is None:
        return end
    base, gain = reading.divisor
    slope = np.asarray(gain, dtype=np.float64).reshape(-1)
    others = np.minimum(slope * sources.cause_low, slope * sources.cause_high)
    rest = base + others.sum() - others[cause]
    if rest + slope[cause] * end > 0.0 or slope[cause] == 0.0:
        return end
    zero = -rest / slope[cause]
    return float(begin + (zero - begin) * (1.0 - 1e-9))


def _cause_segment(
    net: Netlist, low: FloatArray, high: FloatArray, segment: Sources, reading: Reading, cause: int,
    begin: float, end: float, levels: FloatArray, side: str,
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:  # fmt: skip
    """First crossings between `begin` and `end`. Where not exact: `begin`, up to which nothing was reached."""
    work = problems_of(net, reading, segment, low, high, enumerate_rows=1 << 12, joint=True)
    rows, bits, exact = _searchable(work, side, len(low))
    out = np.full(levels.shape, np.nan)
    direction = 1.0 if end >= begin else -1.0
    nearest = np.where(exact[:, None], np.inf, 0.0) * np.ones(levels.shape)
    sign = 1.0 if side == "low" else -1.0
    others: Any = segment.corners.copy()
    others[:, cause] = begin
    others = np.unique(others, axis=0)
    divisor = reading.divisors(replace_range(segment, cause, begin), others)
    slope = 0.0 if reading.divisor is None else float(np.asarray(reading.divisor[1]).reshape(-1)[cause])
    for count, part in _parts(rows, bits):
        columns = corner_columns(part, count, work.base, work.open_edges, work.low, work.high, work.situation)
        shorts = any(bool(np.isinf(column).any()) for column in columns)
        transfer = _transfer(work.net, work.node, work.minus, columns, (part.size, 1 << count), shorts)
        value = transfer @ segment.rail_v(others).T
        change = (transfer @ segment.gain[:, cause])[..., None]
        for number in range(levels.shape[1]):
            level = levels[work.situation[part], number][:, None, None]
            # Above the level while `above` > 0; it changes by `rate` for each unit the cause moves on.
            above = sign * (value - level * divisor)
            rate = sign * direction * (change - level * slope)
            with np.errstate(invalid="ignore", divide="ignore"):
                way = np.where(above <= 0.0, 0.0, np.where(rate < 0.0, above / -rate, np.inf))
            least = np.fmin.reduce(way, axis=(1, 2))
            for row, s in enumerate(work.situation[part].tolist()):
                nearest[s, number] = np.fmin(nearest[s, number], least[row])
    reached = nearest <= abs(end - begin)
    out[reached] = begin + direction * nearest[reached]
    return out, exact


def replace_range(sources: Sources, cause: int, value: float) -> Sources:
    """The same sources with one cause known."""
    low, high = sources.cause_low.copy(), sources.cause_high.copy()
    low[cause] = high[cause] = value
    return Sources(low, high, sources.base_v, sources.gain)
