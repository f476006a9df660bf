"""How far each end of a net is from the net's middle, in ohms, and what lies on the way.

Answers: for each end of a net how many ohms its wires have to the middle at the highest temperature, with mated pairs
         and joints; which joints part it from there; which nets lie together in each run.
Units:   Ω.
Touches: nothing.
Beside:  `layout` draws the wires; `pinproof.inhibit` solves circuits with them. The middle of a net is its hub, else
         its first splice, else the middle of its only wire.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pinproof.design.model import Truck
from pinproof.harness import size as rule
from pinproof.harness.layout import hottest_c
from pinproof.harness.results import Harness, Part, Wire
from pinproof.wiring.nets import Net

Node = tuple[str, int | str]


@dataclass(frozen=True)
class ToMiddle:
    """The way from one end of a net to its middle. `end` numbers the net's ends; `joints` part it from the middle."""

    net: str
    end: int
    ohm: float
    joints: tuple[str, ...]


def to_middle(truck: Truck, harness: Harness) -> tuple[ToMiddle, ...]:
    """One row for each end of each net."""
    return tuple(row for net in harness.nets for row in _of_net(truck, harness, net))


def nets_in_runs(harness: Harness) -> dict[str, tuple[str, ...]]:
    """Names of the nets with a wire in each run; a pair joint's ways count to its run."""
    found: dict[str, dict[str, None]] = {}
    for wire in harness.wires:
        for run in wire.runs:
            found.setdefault(run, {})[wire.net] = None
    return {run: tuple(nets) for run, nets in found.items()}


def nets_in_joints(harness: Harness) -> dict[str, tuple[str, ...]]:
    """Names of the nets that take a way of each pair joint, in the order of the ways."""
    found: dict[str, dict[str, None]] = {}
    for part in harness.parts:
        for end in part.ends:
            if end.joint:
                found.setdefault(end.joint, {})[part.net] = None
    return {joint: tuple(nets) for joint, nets in found.items()}


def _of_net(truck: Truck, harness: Harness, net: Net) -> Iterator[ToMiddle]:
    """Walk the net's tree from its middle outward."""
    links: dict[Node, list[tuple[Node, float, str]]] = {}

    def link(a: Node, b: Node, ohm: float, joint: str = "") -> None:
        links.setdefault(a, []).append((b, ohm, joint))
        links.setdefault(b, []).append((a, ohm, joint))

    pair_ohm = truck.harness.pair_ohm if truck.harness is not None else 0.0
    ways = {joint.id: joint for joint in truck.joints}
    parts = [(number, part) for number, part in enumerate(harness.parts) if part.net == net.name]
    seen_ways: dict[tuple[str, int], Node] = {}
    for number, part in parts:
        for side, end in enumerate(part.ends):
            here: Node = (f"part {number}", side)
            if end.net_end is not None:
                link(("end", end.net_end), here, pair_ohm if end.kind in ("cavity", "bus") else 0.0)
            elif (end.joint, end.way) in seen_ways:
                joint = ways[end.joint]
                ohm = sum(one.high for one in (joint.way_ohm, joint.noise_ohm) if one is not None)
                link(seen_ways[end.joint, end.way], here, ohm, end.joint)
            else:
                seen_ways[end.joint, end.way] = here
    joined = [wire for wire in harness.wires if wire.net == net.name]
    for wire in joined:
        a, b = (_tip(wire, which) for which in ("a", "b"))
        link(a, b, _ohm(truck, wire))
    start = _middle(parts, joined, links)
    if start is not None:
        yield from _outward(net, links, start)


def _middle(
    parts: list[tuple[int, Part]], wires: list[Wire], links: dict[Node, list[tuple[Node, float, str]]]
) -> Node | None:
    """Where to begin: the hub, the first splice, else one end; None where no wire is."""
    for number, part in parts:
        if part.hub is not None:
            return (f"part {number}", part.hub)
    for wire in wires:
        for which in ("a", "b"):
            tip = _tip(wire, which)
            if tip[0] == "splice":
                return tip
    return next((node for node in links if node[0] == "end"), None)


def _outward(net: Net, links: dict[Node, list[tuple[Node, float, str]]], start: Node) -> Iterator[ToMiddle]:
    found: dict[int, tuple[float, tuple[str, ...]]] = {}
    stack: list[tuple[Node, Node | None, float, tuple[str, ...]]] = [(start, None, 0.0, ())]
    while stack:
        node, before, so_far, joints = stack.pop()
        if node[0] == "end" and isinstance(node[1], int):
            found[node[1]] = (so_far, joints)
        for other, more, joint in links.get(node, ()):
            if other != before:
                stack.append((other, node, so_far + more, (*joints, joint) if joint else joints))
    plain = start[0] == "end"  # the whole way was counted from one end: each end has half of it
    half = max((so_far for so_far, _ in found.values()), default=0.0) / 2.0 if plain and len(found) == 2 else None
    for end, (so_far, joints) in sorted(found.items()):
        yield ToMiddle(net.name, end, so_far if half is None else half, joints)


def _tip(wire: Wire, which: str) -> Node:
    end = wire.a if which == "a" else wire.b
    return ("splice", end.label) if end.side is None else (f"part {wire.part}", end.side)


def _ohm(truck: Truck, wire: Wire) -> float:
    """Ohms of a wire, copper as hot as its surroundings. [Ω]"""
    if wire.sizing is None:
        return 0.0
    return rule.hot_ohm_per_m(wire.sizing.area_m2, hottest_c(truck, wire.runs, wire.a.place)) * wire.cut_mm / 1000
