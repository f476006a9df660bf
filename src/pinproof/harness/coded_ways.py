"""The ways whose ohms a proof assumed: from a pin to the far end, and from the switches to their source.

Answers: which wires, joints and mated pairs lie on each, and how many ohms may they have together?
Units:   Ω, °C.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pinproof.design.model import Line, Truck
from pinproof.design.model_harness import HarnessRules
from pinproof.harness.current import ends_seen
from pinproof.harness.geometry import Geometry
from pinproof.harness.layout import Drawn, hottest_c
from pinproof.wiring.nets import Net, Nets, Unit


@dataclass(frozen=True)
class CodedWay:
    """One way from end to end. `fixed_ohm` is what its mated pairs and joints add."""

    line: str
    net: str
    path: str  # of the number that the proof used
    limit_ohm: float
    wires: tuple[int, ...]
    ambient_c: tuple[float, ...]
    fixed_ohm: float


def coded_ways(truck: Truck, rules: HarnessRules, nets: Nets, geometry: Geometry, drawn: Drawn) -> list[CodedWay]:
    """Every way of every coded line that states its wires' ohms."""
    found: list[CodedWay] = []
    for line in truck.lines:
        if line.form == "elements" or line.wire is None or line.source_wire is None:
            continue
        owner = truck.input_of(line)
        controller = Unit("controller", owner.controller or owner.id)
        number = nets.net_of.get(line.id)
        if number is not None:
            net = nets.nets[number]
            start = net.reached.get(controller)
            others = [end for unit, end in net.reached.items() if unit != controller]
            for end in dict.fromkeys(others):
                if start is not None and end != start:
                    found.append(
                        _way(truck, rules, geometry, drawn, net, (start, end), line, line.wire.path, line.wire.high)
                    )
        number = nets.net_of.get(f"{line.id}.source")
        if number is None:
            continue
        net = nets.nets[number]
        rail = {net.reached[unit] for unit in _rails(line, controller) if unit in net.reached}
        mine = {net.reached[unit] for unit in nets.units_of.get(f"{line.id}.source", ()) if unit in net.reached}
        for start in sorted(rail):
            for end in sorted(mine - rail):
                value = line.source_wire
                found.append(_way(truck, rules, geometry, drawn, net, (start, end), line, value.path, value.high))
    return found


def _rails(line: Line, controller: Unit) -> Iterator[Unit]:
    """Units at the rail's end of a source wire."""
    if line.source_side == "feed":
        if line.feed is not None:
            yield Unit("feed", line.feed)
        elif line.feed_cavity is not None:
            yield controller
    elif line.returns_to is not None:
        yield controller if "." in line.returns_to else Unit("stud", line.returns_to)


def _way(
    truck: Truck,
    rules: HarnessRules,
    geometry: Geometry,
    drawn: Drawn,
    net: Net,
    ends: tuple[int, int],
    line: Line,
    path: str,
    limit_ohm: float,
) -> CodedWay:
    wires: list[int] = []
    joints: set[str] = set()
    for part, each in enumerate(drawn.parts):
        if each.net != net.name:
            continue
        seen = ends_seen(geometry, drawn, net, part)
        a, b = seen[ends[0]], seen[ends[1]]
        if a == b:
            continue
        joints |= {each.ends[side].joint for side in (a, b) if each.ends[side].joint}
        wires += [
            number
            for number, wire in enumerate(drawn.wires)
            if wire.part == part and (a in wire.beyond) != (b in wire.beyond)
        ]
    tips = [tip for one in wires for tip in (drawn.wires[one].a, drawn.wires[one].b)]
    pairs = sum(tip.kind in ("cavity", "bus") for tip in tips)  # a bus plug on the way is passed by two cavities
    stated = {joint.id: joint for joint in truck.joints}
    ways = sum(one.way_ohm.high for name in joints if (one := stated[name]).way_ohm is not None)
    ambient = tuple(hottest_c(truck, drawn.wires[one].runs, drawn.wires[one].a.place) for one in wires)
    return CodedWay(line.id, net.name, path, limit_ohm, tuple(wires), ambient, pairs * rules.pair_ohm + ways)
