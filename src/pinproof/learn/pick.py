"""Which load of the stock to put on the pin next.

Answers: the load that splits a stretch best, the one nearest a reading, another one at the same place.
Units:   ohms of the load; readings as share of full scale.
Touches: nothing. The ohms of the loads are kept beside them between calls.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from math import ceil

from pinproof.learn.state import Direction, State, Visit
from pinproof.learn.stock import SHORT, Load, loads_of

OFF_CENTRE = 0.25  # of a bracket: how far from its middle a load may lie
PAIR_COST = 0.03  # in readings: a pair takes longer to put together
CENTRE_COST = 0.1
SHARED_COST = 0.3  # a resistor that is off must not speak twice
WIDE_COST = 0.25
SPARE = 1.02  # loads do not lie where one wants them: two cells are rarely cut into one and one
NEAR = 0.3  # of the resolution: how near a second opinion must lie
_KEYS: dict[int, tuple[tuple[Load, ...], list[float]]] = {}


def loads_at_hand(state: State) -> tuple[Load, ...]:
    return loads_of(state.stock, state.measured, state.least_ohm)


def least_load(state: State) -> Load | None:
    """The least load that is allowed."""
    if state.least_ohm <= 0.0 and state.side == "ground":
        return SHORT
    single = [each for each in loads_at_hand(state) if each.join == "single"]
    return single[0] if single else None


def load_inside(
    state: State, low: Visit, high: Visit, *, off: float = OFF_CENTRE, way: Direction | None = None
) -> Load | None:
    """The load that splits a stretch best: near its middle, plain, of other parts than its ends."""
    a, b = state.place(low), state.place(high)
    width = b - a
    if width <= 0.0:
        return None
    middle = (a + b) / 2.0
    ohms = sorted((state.scale.ohm_at(middle - off * width), state.scale.ohm_at(middle + off * width)))
    loads = loads_at_hand(state)
    keys = _ohms(loads)
    near = loads[bisect_left(keys, ohms[0]) : bisect_right(keys, ohms[1])]
    used = {*low.parts, *high.parts}
    avoid, been = barred(state, way or state.main)
    cells = width / state.resolution
    best: tuple[float, Load] | None = None
    for load in near:
        place = state.scale.reading(load.ohm)
        if not a < place < b or load.ohm in avoid or (load.parts, load.join) in been:
            continue
        own = abs(state.scale.reading(load.high_ohm) - state.scale.reading(load.low_ohm))
        cost = _still_to_come((place - a) / width, cells) + CENTRE_COST * abs(place - middle) / width
        cost += PAIR_COST * (len(load.parts) - 1) + WIDE_COST * own / width
        cost += SHARED_COST * len(used & set(load.parts))
        if best is None or cost < best[0]:
            best = (cost, load)
    return best[1] if best is not None else None


def barred(state: State, way: Direction) -> tuple[set[float], set[tuple[tuple[int, ...], str]]]:
    """Ohms that could not be read, and loads that were, in one direction: neither is asked for again."""
    return (
        {ohm for ohm, skipped in state.skipped if skipped == way},
        {(each.parts, each.join) for each in state.visits if each.direction == way and not each.aside},
    )  # fmt: skip


def _still_to_come(share: float, cells: float) -> float:
    """Mean number of readings after a stretch was cut at `share`, for one edge anywhere in it."""
    return share * _halvings(share * cells) + (1.0 - share) * _halvings((1.0 - share) * cells)


def _halvings(cells: float) -> float:
    """Mean readings until one edge is down to a cell: an even tree of as many leaves."""
    if cells <= 1.0:
        return 0.0
    leaves = max(ceil(cells * SPARE), 2)
    deep = leaves.bit_length() - 1
    return deep + 2.0 * (leaves - 2.0**deep) / leaves


def _ohms(loads: tuple[Load, ...]) -> list[float]:
    """The ohms of loads, kept beside them so that a search need not build them again."""
    kept = _KEYS.get(id(loads))
    if kept is None or kept[0] is not loads:
        if len(_KEYS) > 64:
            _KEYS.clear()
        kept = _KEYS[id(loads)] = (loads, [each.ohm for each in loads])
    return kept[1]


def load_near(state: State, reading: float) -> Load | None:
    loads = loads_at_hand(state)
    if not loads:
        return None
    keys = _ohms(loads)
    at = bisect_left(keys, state.scale.ohm_at(reading))
    near = loads[max(at - 4, 0) : at + 4]
    return min(
        near, key=lambda load: abs(state.scale.reading(load.ohm) - reading) + 0.0005 * len(load.parts), default=None
    )


def load_beside(state: State, visit: Visit, outward: float, way: Direction) -> Load | None:
    """A load of other parts at nearly the same place, rather away from the edge."""
    at, reach = state.place(visit), NEAR * state.resolution
    ends = sorted(state.scale.ohm_at(at + sign * reach) for sign in (-1.0, 1.0))
    loads = loads_at_hand(state)
    keys = _ohms(loads)
    best: tuple[float, Load] | None = None
    avoid, been = barred(state, way)
    for load in loads[bisect_left(keys, ends[0]) : bisect_right(keys, ends[1])]:
        if set(load.parts) & set(visit.parts) or load.ohm in avoid or (load.parts, load.join) in been:
            continue
        off = (state.scale.reading(load.ohm) - at) * (1.0 if outward > 0.0 else -1.0)
        if off < 0.0:
            continue
        cost = abs(off) / reach + PAIR_COST * (len(load.parts) - 1)
        if best is None or cost < best[0]:
            best = (cost, load)
    return best[1] if best is not None else None
