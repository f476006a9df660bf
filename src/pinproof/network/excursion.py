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

import numpy as np
import numpy.typing as npt

from pinproof.network.box import Reading, Sources
from pinproof.network.corners import CHUNK, corner_columns
from pinproof.network.netlist import FloatArray, Netlist, NetworkFault
from pinproof.network.problems import problems_of
from pinproof.network.reduce import reduction
from pinproof.network.solve import transfer_columns
from pinproof.network.spans import checked_box, span
from pinproof.network.star_mesh import eliminate

BITS = 12
"""Up to this many open conductances all corners are tried for a cause; more give an answer marked as not exact."""
REACH = 1000.0
"""A cause is followed so many times the shift that moves its rails by the whole spread of rail potentials."""


@dataclass(frozen=True, eq=False)
class Excursions:
    """First crossings, (S, L) for S situations and L levels, for a parameter that falls and one that rises.

    NaN: never; for a cause, not within `REACH`. `exact` (S,) is false where a span that the answer rests on was not
    exact: the level is reached at the answer, but an earlier crossing is not excluded.
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
        edge = net.edge_index(parameter)
        begin = np.stack([low[:, edge], high[:, edge]], axis=1)
        end = np.tile([0.0, np.inf], (len(low), 1))
        return _newton(_MovingEdge(net, low, high, sources, reading, edge, side), begin, end, wanted, side)
    if not 0 <= parameter < sources.cause_low.size:
        raise NetworkFault("parameter", f"cause {parameter}", f"0 to {sources.cause_low.size - 1}")
    moving = _MovingCause(net, low, high, sources, reading, parameter, side)
    ends = moving.reach()
    found = _newton(moving, ends[0], ends[1], wanted, side)
    return found if bool(found.exact.all()) else _halved(moving, found, ends, wanted)


HALVINGS = 52
"""Enough to reach the last digits of a crossing."""


def _halved(
    moving: _MovingCause, found: Excursions, ends: tuple[FloatArray, FloatArray], levels: FloatArray
) -> Excursions:
    """Crossings of the situations that are not exact, found again by halving.

    Every corner's reading is monotone in the cause and begins clear of the level, so once the worst reading has
    reached it, it stays reached: halving finds the first crossing. The span at a point takes over what the corners
    could not list; its outer bound decides, so the answer never lies beyond the true one.
    """
    falling, rising, exact = found.falling.copy(), found.rising.copy(), found.exact.copy()
    for s in np.flatnonzero(~exact).tolist():
        sure = True
        for number in range(levels.shape[1]):
            level = float(levels[s, number])
            if np.isnan(level):
                continue
            for out, way in ((falling, 0), (rising, 1)):
                out[s, number], firm = _first_reached(moving, s, level, float(ends[0][s, way]), float(ends[1][s, way]))
                sure &= firm
        exact[s] = sure
    return Excursions(falling, rising, exact)


def _first_reached(moving: _MovingCause, s: int, level: float, begin: float, end: float) -> tuple[float, bool]:
    """First value of the cause at which the worst reading has reached the level; NaN if not up to `end`."""
    sure = True

    def reached(x: float) -> bool:
        nonlocal sure
        at = replace_range(moving.sources, moving.cause, x)
        got = span(moving.net, moving.low[s], moving.high[s], at, moving.reading)
        sure &= bool(got.exact[0])
        return bool(got.low[0] <= level) if moving.side == "low" else bool(got.high[0] >= level)

    if reached(begin):
        return begin, sure
    if not reached(end):
        return float("nan"), sure
    clear, hit = begin, end
    for _ in range(HALVINGS):
        middle = (clear + hit) / 2.0
        if middle in (clear, hit):
            break
        if reached(middle):
            hit = middle
        else:
            clear = middle
    return hit, sure


def replace_range(sources: Sources, cause: int, value: float) -> Sources:
    """The same sources with one cause known."""
    low, high = sources.cause_low.copy(), sources.cause_high.copy()
    low[cause] = high[cause] = value
    return Sources(low, high, sources.base_v, sources.gain)


def _newton(
    moving: _MovingEdge | _MovingCause, begin: FloatArray, end: FloatArray, levels: FloatArray, side: str
) -> Excursions:
    """Newton steps along the worst readings: solve the crossing of the worst corner, find the worst corner there.

    `begin`, `end` (S, 2): falling and rising. Starts at the far end: if the worst reading has not reached the level
    there, it never does. Each step moves towards the box; where the worst reading equals the level no other corner
    can have crossed earlier, for all are monotone.
    """
    situations, count = levels.shape
    sign = 1.0 if side == "low" else -1.0
    begin, end = begin.reshape(-1), end.reshape(-1)
    both = np.repeat(np.arange(situations), 2)
    at_begin, _, _, sure = moving.worst(both, begin)
    at_end, corner, cause, sure_end = moving.worst(both, end)
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
    # A reading reached at the beginning is certain; "never" rests on both ends, a crossing on the last point looked at.
    sure_end = sure_end[of] | there
    sure = sure[of] | there
    for _ in range(60):
        if not active.size:
            break
        x = moving.crossing(corner[active], cause[active], level[active], begin[of][active], end[of][active])
        outward = np.where(end[of][active] < begin[of][active], x < value[active], x > value[active])
        x = np.where(outward | np.isnan(x), value[active], x)
        moved = x != value[active]
        value[active] = x
        active = active[moved]
        if not active.size:
            break
        now, new_corner, new_cause, sure_now = moving.worst(both[of][active], value[active])
        sure_end[active] = sure_now
        corner[active], cause[active] = new_corner, new_cause
        active = active[now < level[active] - slack]
    shaped = value.reshape(situations, 2, count)
    exact = (sure & sure_end).reshape(situations, -1).all(axis=1)
    return Excursions(shaped[:, 0], shaped[:, 1], exact)


class _MovingEdge:
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


class _MovingCause:
    """One cause set to chosen values, one for each row; readings signed so that the worst is the least."""

    def __init__(
        self, net: Netlist, low: FloatArray, high: FloatArray, sources: Sources, reading: Reading, cause: int, side: str
    ) -> None:
        self.net, self.low, self.high, self.sources, self.reading = net, low, high, sources, reading
        self.cause, self.side, self.sign = cause, side, 1.0 if side == "low" else -1.0
        corners = sources.corners.copy()
        corners[:, cause] = 0.0
        self.others = np.unique(corners, axis=0)
        self.base, self.slope = 1.0, np.zeros(corners.shape[1])
        if reading.divisor is not None:
            self.base = float(reading.divisor[0])
            self.slope = np.asarray(reading.divisor[1], dtype=np.float64).reshape(-1)
        node, minus = reading.indices(net)
        self.small = reduction(net, [n for n in (node, minus) if n is not None])

    def reach(self) -> tuple[FloatArray, FloatArray]:
        """Where the cause begins and how far it is followed, (S, 2) each, short of a divisor of zero."""
        source = self.sources
        spread = float(np.ptp(source.corner_rail_v)) or 1.0
        gain = max(float(np.abs(source.gain[:, self.cause]).max(initial=0.0)), abs(float(self.slope[self.cause])))
        begin = np.array([source.cause_low[self.cause], source.cause_high[self.cause]])
        end = begin + np.array([-1.0, 1.0]) * REACH * spread / (gain or spread)
        slope = float(self.slope[self.cause])
        near = self.slope * source.cause_low, self.slope * source.cause_high
        rest = self.base + float(np.delete(np.minimum(*near), self.cause).sum())
        for i in (0, 1):
            if not rest + slope * end[i] > 0.0:
                end[i] = begin[i] + (-rest / slope - begin[i]) * (1.0 - 1e-9)
        return np.tile(begin, (len(self.low), 1)), np.tile(end, (len(self.low), 1))

    def worst(
        self, situation: npt.NDArray[np.intp], x: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, npt.NDArray[np.bool_]]:
        """Signed worst reading, its corner in the reduced network and its causes, and whether it is exact."""
        cause = np.broadcast_to(self.others, (len(x), *self.others.shape)).copy()
        cause[:, :, self.cause] = x[:, None]
        volts, divisor = self.sources.rail_v(cause), self.base + cause @ self.slope
        low, high = self.low[situation], self.high[situation]
        work = problems_of(self.net, self.reading, self.sources, low, high, enumerate_rows=1 << 16, rail_v=volts)
        bits = work.bits()
        rows = np.flatnonzero(work.side == (0 if self.side == "low" else 1))
        sure = bits[rows] <= BITS
        # Too many open conductances: one corner is still a reading that can happen.
        work.open_edges[rows[~sure]] = False
        bits = work.bits()
        value, corner = np.full(len(x), np.inf), np.empty((len(x), len(self.net.edges)))
        chosen_cause = np.empty((len(x), cause.shape[2]))
        for count in np.unique(bits[rows]).tolist():
            group = rows[bits[rows] == count]
            step = max(1, CHUNK >> count)
            for part in (group[i : i + step] for i in range(0, group.size, step)):
                of = work.situation[part]
                columns = corner_columns(part, count, work.base, work.open_edges, work.low, work.high, work.situation)
                shorts = any(bool(np.isinf(column).any()) for column in columns)
                shape = (part.size, 1 << count)
                transfer = _transfer(work.net, work.node, work.minus, columns, shape, shorts)
                found = self.sign * (transfer @ volts[of].transpose(0, 2, 1)) / divisor[of][:, None, :]
                flat = np.where(np.isnan(found), np.inf, found).reshape(part.size, -1)
                pick = flat.argmin(axis=1)
                value[of] = flat[np.arange(part.size), pick]
                row, which = np.divmod(pick, cause.shape[1])
                chosen_cause[of] = cause[of, which]
                taken = (
                    np.stack([np.broadcast_to(column, shape)[np.arange(part.size), row] for column in columns], axis=1)
                    if columns
                    else np.empty((part.size, 0))
                )
                at_high = taken == work.high[of]
                corner[of] = work.small.expand(at_high, low[of], high[of])
        return value, corner, chosen_cause, sure

    def crossing(
        self, corner: FloatArray, cause: FloatArray, level: FloatArray, begin: FloatArray, end: FloatArray
    ) -> FloatArray:
        """Where the reading at each corner falls to the level, between `begin` and `end`; NaN if it does not."""
        columns = [column[:, None] for column in self.small.apply(corner).T]
        node, minus = self.reading.indices(self.small.net)
        shorts = bool(np.isinf(corner).any())
        transfer = _transfer(self.small.net, node, minus, columns, (len(corner), 1), shorts)[:, 0]
        start = cause.copy()
        start[:, self.cause] = begin
        above = self.sign * (transfer * self.sources.rail_v(start)).sum(axis=1)
        above -= level * (self.base + start @ self.slope)
        rate = self.sign * transfer @ self.sources.gain[:, self.cause] - level * self.slope[self.cause]
        rate = np.where(end > begin, rate, -rate)
        with np.errstate(invalid="ignore", divide="ignore"):
            way = np.where(above <= 0.0, 0.0, np.where(rate < 0.0, above / -rate, np.nan))
        x = np.where(end > begin, begin + way, begin - way)
        out: FloatArray = np.clip(x, np.minimum(begin, end), np.maximum(begin, end))
        return out
