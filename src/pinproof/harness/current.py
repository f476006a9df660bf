"""What flows in each wire: loads, coils and lines on its far side that can be on together.

Answers: the greatest current of each wire and each feed; which wires lie on the way of a load, out and back.
Units:   A, V, Ω.
Touches: nothing.

A load's chain enters each net at some ends and leaves it at others. A wire carries the load if it parts an entry from
an exit. Chain elements and wires count as 0 Ω, so currents do not depend on sizes.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pinproof.design.model import Line, Truck
from pinproof.design.model_harness import Feed, Load, Relay
from pinproof.harness.geometry import Geometry
from pinproof.harness.layout import Drawn
from pinproof.wiring.nets import Net, Nets, chained

MOST_PRODUCTS = 4096
LOAD_TOLERANCE = 0.10  # common practice, no source

Group = tuple[tuple[str, frozenset[str]] | None, ...]  # in parallel: device and positions, None for "may conduct"
Leg = tuple[tuple[tuple[int, ...], ...], ...]  # wires from each element in parallel to each of the next
Series = tuple[tuple[list[str], list[str]], ...]  # terminals that wires join, one by one


@dataclass(frozen=True)
class Flow:
    """What one consumer does in one net: where its current enters and leaves, by the net's ends."""

    consumer: int
    net: int
    entries: frozenset[int]
    exits: frozenset[int]


@dataclass(frozen=True)
class Consumer:
    """A load, a coil or a coded line."""

    id: str
    kind: str  # load, coil, line
    current_a: float
    groups: tuple[Group, ...] = ()
    feeds: tuple[str, ...] = ()  # fuses that its current passes
    unknown: bool = False  # its current could not be worked out


@dataclass(frozen=True)
class Currents:
    """Currents of a drawn harness. `on[k, c]`: consumer c can be on in combination k."""

    consumers: tuple[Consumer, ...]
    carried: tuple[tuple[int, ...], ...]  # consumers of each wire
    wire_a: tuple[float, ...]
    feed_a: dict[str, float]
    on: np.ndarray
    all_on: bool  # too many positions: all counted as on
    series: dict[int, tuple[tuple[Leg, ...], ...]]  # of a load: from battery to fuse, to the load, and back

    def together_a(self, members: Sequence[int]) -> float:
        """Greatest sum of these consumers that can be on together. [A]"""
        if not members:
            return 0.0
        amps = np.array([self.consumers[one].current_a for one in members])
        return float((self.on[:, list(members)] @ amps).max())

    def most_on_a_way(self, consumer: int, weight: Callable[[tuple[int, ...]], float]) -> tuple[float, tuple[int, ...]]:
        """Greatest weight of a load's ways out and back, and that way's wires. Parallel elements are one or other."""
        total = 0.0
        wires: tuple[int, ...] = ()
        for legs in self.series.get(consumer, ()):
            best: list[tuple[float, tuple[int, ...]]] = [(0.0, ())] * len(legs[0])
            for leg in legs:
                steps = list(zip(best, leg, strict=True))
                best = [
                    max((known + weight(row[to]), way + row[to]) for (known, way), row in steps)
                    for to in range(len(leg[0]))
                ]
            most, way = max(best)
            total, wires = total + most, wires + way
        return total, wires


def load_current_a(load: Load | Relay, most_v: float) -> float:
    """Greatest running current of a load or coil. [A]"""
    if isinstance(load, Relay):
        return most_v / load.coil.low
    if load.behaves == "current":
        assert load.amps is not None
        return load.amps.high
    volts = load.volts.value
    ohm = volts**2 / load.watts.high if load.watts is not None else volts / load.amps.high  # type: ignore[union-attr]
    tolerance = LOAD_TOLERANCE if load.tolerance is None else load.tolerance.value
    return most_v / (ohm * (1.0 - tolerance))


def currents_of(
    truck: Truck, nets: Nets, geometry: Geometry, drawn: Drawn, line_a: dict[str, tuple[float, float] | None]
) -> Currents:
    """Currents of every wire and feed.

    Parameters
    ----------
    line_a : dict
        For each coded line the greatest current of its coded wire and of its source wire, None where unknown. [A]
    """
    walk = _Flows(truck, nets)
    consumers: list[Consumer] = []
    flows: list[Flow] = []
    chains: dict[int, list[Series]] = {}
    most_v = truck.supply.run.high
    for load in chained(truck):
        walk.begin(len(consumers))
        walk.chain(load)
        kind = "coil" if isinstance(load, Relay) else "load"
        chains[len(consumers)] = walk.series
        consumers.append(Consumer(load.id, kind, load_current_a(load, most_v), tuple(walk.groups), tuple(walk.feeds)))
        flows += walk.flows
    for line in truck.lines:
        amps = line_a.get(line.id)
        for current_a, part in zip(amps or (0.0, 0.0), ("coded", "source"), strict=True):
            walk.begin(len(consumers))
            if part == "coded":
                walk.coded(line)
            else:
                walk.source(line)
            consumers.append(Consumer(line.id, "line", current_a, tuple(walk.groups), tuple(walk.feeds), amps is None))
            flows += walk.flows
    on, all_on = _together(truck, consumers)
    between = _Between(geometry, nets, drawn)
    carried = _carried(between, flows)
    series = {one: tuple(tuple(between.leg(*step) for step in each) for each in found) for one, found in chains.items()}
    found = Currents(tuple(consumers), carried, (), {}, on, all_on, series)
    wire_a = tuple(found.together_a(members) for members in carried)
    feed_a = {
        feed.id: found.together_a([number for number, one in enumerate(consumers) if feed.id in one.feeds])
        for feed in truck.feeds
    }
    return Currents(tuple(consumers), carried, wire_a, feed_a, on, all_on, series)


class _Flows:
    """Follows one consumer at a time from net to net."""

    def __init__(self, truck: Truck, nets: Nets) -> None:
        self.truck, self.nets = truck, nets
        self.feeds_by_id = {feed.id: feed for feed in truck.feeds}
        self.switches = {switch.id: switch for switch in truck.switches}
        self.studs = {stud.id for stud in truck.studs}
        self.low = {driver.id for driver in truck.drivers if driver.side == "low"}
        self.flows: list[Flow] = []
        self.groups: list[Group] = []
        self.feeds: list[str] = []
        self.series: list[Series] = []
        self.consumer = 0

    def begin(self, consumer: int) -> None:
        self.consumer, self.flows, self.groups, self.feeds, self.series = consumer, [], [], [], []

    def chain(self, load: Load | Relay) -> None:
        """Feed to load to ground."""
        self._series([load.feed], load.high_side, [f"{load.id}.plus"])
        driven = bool(load.low_side) and any(name in self.low for name in load.low_side[-1])
        self._series([f"{load.id}.minus"], load.low_side, None if driven else [load.ground])
        self._upward(load.feed)

    def coded(self, line: Line) -> None:
        """All wires of the coded net."""
        self._whole(line.id)

    def source(self, line: Line) -> None:
        """All wires on the source side: between the switches, to the return or the feed, and on to the battery."""
        names = {f"{line.id}.source", f"{line.id}.manual"}
        names |= {f"{line.id}.{node}" for element in line.elements for node in element.between}
        names |= {f"{line.id}.{contact.id}" for contact in self.truck.contacts_of(line)}
        own = self.nets.net_of.get(line.id)
        rails = [f"{line.id}.return", f"{line.id}.feed"]
        done = {own}
        for name in sorted(names | set(rails)):
            number = self.nets.net_of.get(name)
            if number is None or number in done:
                continue
            done.add(number)
            net = self.nets.nets[number]
            mine = {net.reached[unit] for one in net.terminals if one.startswith(f"{line.id}.") or one == line.id
                    for unit in self.nets.units_of.get(one, ()) if unit in net.reached}  # fmt: skip
            rail_ends = set(self._rail_ends(net, line))
            if rail_ends:
                self._add(number, mine - rail_ends, rail_ends)
            else:
                self._add(number, mine, mine)
        if line.feed is not None and line.has_feed:
            self._upward(line.feed)

    def _rail_ends(self, net: Net, line: Line) -> Iterator[int]:
        own_ends = {f"{line.id}.return", *([f"{line.id}.feed"] if line.feed_cavity is not None else [])}
        for unit, end in net.reached.items():
            if (
                (unit.kind == "stud" and line.returns_to == unit.id)
                or (unit.kind == "controller" and not own_ends.isdisjoint(net.terminals))
                or (unit.kind == "feed" and unit.id == line.feed and line.feed in net.terminals)
            ):
                yield end

    def _whole(self, terminal: str) -> None:
        number = self.nets.net_of.get(terminal)
        if number is not None:
            every = set(range(len(self.nets.nets[number].ends)))
            self._add(number, every, every)

    def _add(self, number: int, entries: Iterable[int], exits: Iterable[int]) -> None:
        self.flows.append(Flow(self.consumer, number, frozenset(entries), frozenset(exits)))

    def _series(self, start: list[str], groups: Iterable[tuple[str, ...]], end: list[str] | None) -> None:
        at, steps = start, []
        for group in groups:
            steps.append((at, [f"{name}.a" for name in group]))
            self.groups.append(tuple(self._condition(name) for name in group))
            at = [f"{name}.b" for name in group]
        if end is not None:
            steps.append((at, end))
        for before, after in steps:
            self._step(before, after)
        if steps:
            self.series.append(tuple(steps))

    def _condition(self, name: str) -> tuple[str, frozenset[str]] | None:
        switch = self.switches.get(name)
        if switch is None or not switch.positions:
            return None
        return switch.device, frozenset(switch.positions)

    def _step(self, before: list[str], after: list[str]) -> None:
        number = self.nets.net_of.get(before[0])
        if number is None or self.nets.net_of.get(after[0]) != number:
            return
        net = self.nets.nets[number]
        sides = [
            {net.reached[unit] for one in names for unit in self.nets.units_of.get(one, ()) if unit in net.reached}
            for names in (before, after)
        ]
        self._add(number, *sides)

    def _upward(self, feed_id: str, depth: int = 0) -> None:
        """From a feed's output to the battery stud."""
        feed = self.feeds_by_id.get(feed_id)
        if feed is None or feed_id in self.feeds or depth > len(self.feeds_by_id):
            return
        self.feeds.append(feed_id)
        known = self._known_source(feed)
        self._series([known or f"bus {feed.from_}"], [(name,) for name in feed.through], [f"{feed.id}.in"])
        if known is not None and known not in self.studs:
            self._upward(known, depth + 1)

    def _known_source(self, feed: Feed) -> str | None:
        """The stud or feed that supplies a feed; behind a bus plug the one whose net the plug is in."""
        if feed.from_ in self.studs or feed.from_ in self.feeds_by_id:
            return feed.from_
        number = self.nets.net_of.get(f"bus {feed.from_}")
        if number is None:
            return None
        terminals = self.nets.nets[number].terminals
        batteries = {stud.id for stud in self.truck.studs if stud.rail == "battery"}
        return next((one for one in terminals if one in batteries or one in self.feeds_by_id), None)


def _together(truck: Truck, consumers: Sequence[Consumer]) -> tuple[np.ndarray, bool]:
    """Combinations of who is on, over all positions of the devices that decide."""
    positions = {device.id: device.positions for device in truck.devices}
    deciding = sorted(
        {need[0] for one in consumers for group in one.groups if all(group) for need in group if need is not None}
    )
    products = 1
    for device in deciding:
        products *= max(len(positions[device]), 1)
    if not deciding or products > MOST_PRODUCTS:
        return np.ones((1, len(consumers)), dtype=bool), products > MOST_PRODUCTS
    rows = []
    for chosen in itertools.product(*(positions[device] or ("",) for device in deciding)):
        at = dict(zip(deciding, chosen, strict=True))
        rows.append([all(_conducts(group, at) for group in one.groups) for one in consumers])
    return np.unique(np.array(rows, dtype=bool), axis=0), False


def _conducts(group: Group, at: dict[str, str]) -> bool:
    return any(need is None or at.get(need[0], next(iter(need[1]))) in need[1] for need in group)


class _Between:
    """Which wires lie between ends of a net."""

    def __init__(self, geometry: Geometry, nets: Nets, drawn: Drawn) -> None:
        self.nets = nets
        beyond: list[list[tuple[int, frozenset[int]]]] = [[] for _ in drawn.parts]
        for number, wire in enumerate(drawn.wires):
            beyond[wire.part].append((number, frozenset(wire.beyond)))
        by_name = {net.name: net for net in nets.nets}
        self.parts: dict[str, list[tuple[list[int], list[tuple[int, frozenset[int]]]]]] = {}
        for part, each in enumerate(drawn.parts):
            seen = ends_seen(geometry, drawn, by_name[each.net], part)
            self.parts.setdefault(each.net, []).append((seen, beyond[part]))

    def parted(self, net: Net, entries: Iterable[int], exits: Iterable[int]) -> list[int]:
        """Wires that part some entry from some exit."""
        found = []
        for seen, wires in self.parts.get(net.name, ()):
            into, out = {seen[end] for end in entries}, {seen[end] for end in exits}
            for number, beyond in wires:
                if (into & beyond and out - beyond) or (out & beyond and into - beyond):
                    found.append(number)
        return found

    def leg(self, before: Sequence[str], after: Sequence[str]) -> Leg:
        """Wires from each terminal before to each after; none where they are inside one unit."""
        number = self.nets.net_of.get(before[0])
        if number is None or self.nets.net_of.get(after[0]) != number:
            return tuple(tuple(() for _ in after) for _ in before)
        net = self.nets.nets[number]

        def at(terminal: str) -> list[int]:
            return [net.reached[unit] for unit in self.nets.units_of.get(terminal, ()) if unit in net.reached][:1]

        return tuple(tuple(tuple(self.parted(net, at(a), at(b))) for b in after) for a in before)


def _carried(between: _Between, flows: Sequence[Flow]) -> tuple[tuple[int, ...], ...]:
    """Consumers of each wire."""
    count = sum(len(wires) for parts in between.parts.values() for _, wires in parts)
    carried: list[dict[int, None]] = [{} for _ in range(count)]
    for flow in flows:
        for wire in between.parted(between.nets.nets[flow.net], flow.entries, flow.exits):
            carried[wire][flow.consumer] = None
    return tuple(tuple(one) for one in carried)


def ends_seen(geometry: Geometry, drawn: Drawn, net: Net, part: int) -> list[int]:
    """For each end of a net the part's end by which it is seen from this part: itself, or a way towards it."""
    ends = drawn.parts[part].ends
    own = {end.net_end: number for number, end in enumerate(ends) if end.net_end is not None}
    found: list[int] = []
    for number, end in enumerate(net.ends):
        if number in own:
            found.append(own[number])
            continue
        target = geometry.numbers[end.place]
        here = geometry.numbers[ends[0].place]
        crossed = next(run for run in geometry.whole.runs_between(here, target) if run in geometry.joints)
        joint = geometry.joints[crossed].id
        found.append(next(index for index, each in enumerate(ends) if each.joint == joint))
    return found
