"""Relays that find no state: closed they let go, open they pull in.

Answers: can a circuit chatter at all; with which severities does it, in one situation, so that the coil takes part?
Units:   ohms, volts.
Touches: nothing.
Beside:  `ask` looks at combinations that can be; here none can.

Only a relay whose own contact acts on its own volts, by itself or through other relays, can chatter. The least steady
limits count: the most drop-out and the least pull-in of every relay. They can occur in one truck, and whatever chatters
with other limits chatters with these.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
import numpy.typing as npt

from pinproof.inhibit.bounds import Ask
from pinproof.inhibit.boxes import Bench, Situation
from pinproof.inhibit.corners import NOWHERE, Found, possible
from pinproof.inhibit.sets import ALL, NONE, Interval, Severities, intersection, union, without
from pinproof.network import transfer
from pinproof.network.reduce import reduction
from pinproof.network.signs import NONE as NO_EFFECT
from pinproof.network.signs import structural_effects, top_sets

FloatArray = npt.NDArray[np.float64]
MOST_TRIED = 8
"""So many conductances are tried at both ends in search of a corner that chatters; the rest stay at their high ends."""


def may_chatter(bench: Bench) -> bool:
    """Whether some relay's contact can act on its own coil, from the graph alone."""
    made = bench.__dict__.get("_unstable")
    if made is None:
        made = bench.__dict__["_unstable"] = _in_circle(_influences(bench))
    return bool(made)


def _influences(bench: Bench) -> dict[int, set[int]]:
    """For each relay those on whose coil its contacts act."""
    place = {relay.id: number for number, relay in enumerate(bench.relays)}
    columns = [n for n, each in enumerate(bench.branches) if each.by == "relay"]
    out: dict[int, set[int]] = {number: set() for number in place.values()}
    if not columns:
        return out
    keys = [each.key for each in bench.circuit.supplies]
    orders = list(dict.fromkeys(top_sets(volts) for volts in bench.rail_v(keys)))
    every = np.ones(len(bench.net.edges), dtype=bool)
    for number, coil in enumerate(bench.coil_columns):
        effects = structural_effects(bench.net, *bench.net.ends[coil], orders, every, columns)
        for column in columns:
            if (effects[:, column] != NO_EFFECT).any():
                out[place[bench.branches[column].relay]].add(number)
    return out


def _in_circle(acts_on: dict[int, set[int]]) -> bool:
    left = {number: set(others) for number, others in acts_on.items()}
    while left:
        ends = [number for number, others in left.items() if not others & left.keys()]
        if not ends:
            return True
        for number in ends:
            del left[number]
    return False


def chattering(bench: Bench, situations: Sequence[Situation], settled: Sequence[Severities]) -> list[Found]:
    """Severities with which no combination of relays can be, and the coil's relay can be up.

    `settled`: for each situation severities that need not be asked, because what they do is known to be as bad.
    """
    if bench.dead[bench.coil]:
        return [NOWHERE] * len(situations)
    alive = [place for place, dead in enumerate(bench.dead) if not dead]
    rises: list[_Single] = [
        (number, place, Ask.ABOVE, bench.relays[place].drop_out_low_v)
        if closed[place]
        else (number, place, Ask.REACHES, bench.relays[place].pull_in_low_v)
        for number, closed in enumerate(bench.combinations)
        for place in alive
    ]
    unsteady: list[list[_Single]] = [
        [
            (number, place, Ask.AT_MOST, relay.drop_out_high_v)
            if closed[place]
            else (number, place, Ask.REACHES, relay.pull_in_low_v)
            for place, relay in ((place, bench.relays[place]) for place in alive)
        ]
        for number, closed in enumerate(bench.combinations)
    ]
    boxes = [[bench.box_s(each, closed) for closed in bench.combinations] for each in situations]
    up = [_up(bench, rises, sets) for sets in _sets(bench, situations, boxes, rises)]
    outer = [without(one, known) for one, known in zip(up, settled, strict=True)]
    for some in unsteady:
        left = [number for number, one in enumerate(outer) if one]
        found = _sets(bench, [situations[n] for n in left], [boxes[n] for n in left], some)
        for number, sets in zip(left, found, strict=True):
            outer[number] = intersection([outer[number], union(sets)])
    return [_shown(bench, situation, one) for situation, one in zip(situations, outer, strict=True)]


_Single = tuple[int, int, Ask, float]  # combination, relay, what is asked, level
_Box = tuple[FloatArray, FloatArray]


def _up(bench: Bench, rises: Sequence[_Single], sets: Sequence[Severities]) -> Severities:
    """Severities with which the coil's relay can be up at all: each relay that must be closed for it can be up too."""
    up: list[Severities] = [NONE] * len(bench.relays)
    for _ in bench.relays:
        for (number, place, _, _), mine in zip(rises, sets, strict=True):
            others = [up[n] for n, on in enumerate(bench.combinations[number]) if on and n != place]
            if mine:
                up[place] = union([up[place], intersection([mine, *others])])
    return up[bench.coil]


def _sets(
    bench: Bench, situations: Sequence[Situation], boxes: Sequence[Sequence[_Box]], some: Sequence[_Single]
) -> list[list[Severities]]:
    """Outer sets of single conditions in each situation."""
    out: list[list[Severities]] = [[] for _ in situations]
    groups: dict[tuple[str, bool], list[int]] = {}
    for number, situation in enumerate(situations):
        groups.setdefault((situation.key, _acts(bench, situation)), []).append(number)
    for (key, acts), listed in groups.items():
        rows = [(number, *single) for number in listed for single in some]
        asked = np.full((len(rows), len(bench.relays)), int(Ask.NOTHING), dtype=np.int8)
        level_v = np.ones(asked.shape)
        for row, (_, _, relay, ask, level) in enumerate(rows):
            asked[row, relay], level_v[row, relay] = ask, level
        low, high = (np.array([boxes[number][at][end] for number, at, *_ in rows]) for end in (0, 1))
        moving = bench.moving if acts else None
        found = possible(bench.net, moving, low, high, bench.coil_columns, asked, level_v, bench.rail_v([key]))
        for (number, *_), one in zip(rows, found, strict=True):
            out[number].append(one.outer)
    return out


def _acts(bench: Bench, situation: Situation) -> bool:
    return any(bench.acts(situation, closed) for closed in bench.combinations)


def _shown(bench: Bench, situation: Situation, outer: Severities) -> Found:
    """What can at most be, with what some corner shows."""
    if not outer:
        return NOWHERE
    moving = bench.moving if _acts(bench, situation) else None
    rail_v = bench.rail_v([situation.key])
    tried = [None] if moving is None else _some_of(outer)
    shown = [ohm for ohm in tried if _does(bench, situation, moving, ohm, rail_v)]
    if moving is None:
        return Found(outer, ALL if shown else NONE)
    return Found(outer, union([(Interval(ohm, ohm),) for ohm in shown if ohm is not None]))


def _some_of(outer: Severities) -> list[float | None]:
    """A few severities of each interval."""
    out: list[float | None] = []
    for each in outer:
        low, high = max(each.low_ohm, 1e-3), min(each.high_ohm, 1e9)
        out += [float(ohm) for ohm in np.geomspace(low, max(low, high), 3) if each.holds(float(ohm))]
    return out


def _does(bench: Bench, situation: Situation, moving: int | None, ohm: float | None, rail_v: FloatArray) -> bool:
    """Whether some corner chatters at this severity."""
    boxes = [bench.box_s(situation, closed) for closed in bench.combinations]
    for low, high in boxes:
        if moving is not None and ohm is not None:
            low[moving] = high[moving] = 1.0 / ohm
    present = np.any([high > 0.0 for _, high in boxes], axis=0)
    ends = [bench.net.ends[column] for column in bench.coil_columns]
    small = reduction(bench.net, tuple({node: None for pair in ends for node in pair}), (), present.tobytes())
    lows = [small.apply(low) for low, _ in boxes]
    highs = [small.apply(high) for _, high in boxes]
    open_edges = np.flatnonzero(np.any([a < b for a, b in zip(lows, highs, strict=True)], axis=0))[:MOST_TRIED]
    table = np.array(list(product((False, True), repeat=len(open_edges))), dtype=bool)
    none_can = np.ones((len(table), len(rail_v)), dtype=bool)
    for closed, low, high in zip(bench.combinations, lows, highs, strict=True):
        g = np.tile(high, (len(table), 1))
        g[:, open_edges] = np.where(table, high[open_edges], low[open_edges])
        steady = np.ones_like(none_can)
        for coil, (plus, minus) in enumerate(ends):
            if bench.dead[coil]:
                continue
            names = (bench.net.nodes[plus], bench.net.nodes[minus])
            one, other = (transfer(small.net, g, name) for name in names)
            volts = np.abs(np.nan_to_num((one - other) @ rail_v.T))
            relay = bench.relays[coil]
            steady &= volts > relay.drop_out_high_v if closed[coil] else volts < relay.pull_in_low_v
        none_can &= ~steady
    return bool(none_can.any())
