"""Which wires a fuse must protect: everything a short could feed through it.

Answers: for each wire the largest fuse that can feed it.
Units:   A.
Touches: nothing.
Source:  common practice, no source: a fuse protects what lies behind it until something else limits the current. Coder
         resistors do; so does a stud, behind which nothing is fed.
"""

from __future__ import annotations

from collections.abc import Mapping

from pinproof.design.model import Truck
from pinproof.harness.layout import Drawn
from pinproof.wiring.nets import Nets

COLUMN = "Fuse: the largest that could feed a short there, also back through a load; not always that of its own feed."
"""What the column of the wire list means."""
PASSED = ("switch", "relay contact", "contact", "driver", "load", "coil")


def fuse_on_wires_a(truck: Truck, nets: Nets, drawn: Drawn, ratings_a: Mapping[str, float]) -> list[float]:
    """Largest fuse rating that can feed each wire; 0 where none can. [A]"""
    touching: dict[tuple[int, int], list[int]] = {}  # part and end to wires
    for number, wire in enumerate(drawn.wires):
        for end in (wire.a, wire.b):
            if end.side is not None:
                touching.setdefault((wire.part, end.side), []).append(number)
    in_splice: dict[str, list[int]] = {}
    for number, wire in enumerate(drawn.wires):
        for end in (wire.a, wire.b):
            if end.kind == "splice":
                in_splice.setdefault(end.label, []).append(number)
    where: dict[tuple[str, int], tuple[int, int]] = {}  # net and its end to part and end
    across: dict[tuple[str, int, str], list[tuple[int, int]]] = {}
    for part, each in enumerate(drawn.parts):
        for side, one in enumerate(each.ends):
            if one.net_end is not None:
                where[each.net, one.net_end] = (part, side)
            else:
                across.setdefault((one.joint, one.way, each.net), []).append((part, side))
    beyond = _beyond(nets, ratings_a)
    largest = [0.0] * len(drawn.wires)
    for feed in truck.feeds:
        rating = ratings_a.get(feed.id, 0.0)
        start = nets.net_of.get(feed.id)
        if rating <= 0.0 or start is None:
            continue
        waiting = [(start, end) for unit, end in nets.nets[start].reached.items() if unit.id == feed.id]
        seen_ends: set[tuple[int, int]] = set()
        seen_wires: set[int] = set()
        sides = [where[nets.nets[number].name, side] for number, side in waiting]
        while sides:
            at = sides.pop()
            if at in seen_ends:
                continue
            seen_ends.add(at)
            net = drawn.parts[at[0]].net
            tip_at = drawn.parts[at[0]].ends[at[1]]
            if tip_at.kind == "stud":
                continue
            if tip_at.net_end is None:
                sides += across[tip_at.joint, tip_at.way, net]
            else:
                sides += [where[nets.nets[other].name, end] for other, end in beyond.get((net, tip_at.net_end), ())]
            wires = list(touching.get(at, ()))
            while wires:
                here = wires.pop()
                if here in seen_wires:
                    continue
                seen_wires.add(here)
                largest[here] = max(largest[here], rating)
                for tip in (drawn.wires[here].a, drawn.wires[here].b):
                    if tip.kind == "splice":
                        wires += in_splice[tip.label]
                    elif tip.side is not None:
                        sides.append((drawn.wires[here].part, tip.side))
    return largest


def _beyond(nets: Nets, ratings_a: Mapping[str, float]) -> dict[tuple[str, int], list[tuple[int, int]]]:
    """From an end of a net through the elements of its unit to ends of other nets."""
    found: dict[tuple[str, int], list[tuple[int, int]]] = {}
    for element in nets.elements:
        open_fuse = element.kind == "fuse" and ratings_a.get(element.b, 0.0) == 0.0
        if element.kind not in PASSED and not open_fuse:
            continue
        a, b = nets.net_of.get(element.a), nets.net_of.get(element.b)
        if a is None or b is None or a == b:
            continue
        ends = []
        for number in (a, b):
            end = nets.nets[number].reached.get(element.unit)
            if end is not None:
                ends.append((number, end))
        if len(ends) == 2:
            (first, one), (second, two) = ends
            found.setdefault((nets.nets[first].name, one), []).append((second, two))
            if not open_fuse:
                found.setdefault((nets.nets[second].name, two), []).append((first, one))
    return found
