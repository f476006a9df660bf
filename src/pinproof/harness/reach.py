"""Which wires a fuse must protect: everything a short could feed through it.

Answers: for each wire the largest fuse that can feed it; how far from the battery a wire goes on without a fuse.
Units:   A, mm.
Touches: nothing.
Source:  common practice, no source: a fuse protects what lies behind it until something else limits the current. Coder
         resistors do; so does a stud, behind which nothing is fed.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from pinproof.design.model import Truck
from pinproof.harness.layout import Drawn
from pinproof.wiring.nets import Nets

COLUMN = "Fuse: the largest that could feed a short there, also back through a load; not always that of its own feed."
"""What the column of the wire list means."""
_Beyond = dict[tuple[str, int], list[tuple[int, int]]]
CLOSED = ("switch", "relay contact")
"""A wire behind one of these is as bare of a fuse as the one before it."""
PASSED = ("switch", "relay contact", "contact", "driver", "load", "coil")


@dataclass(frozen=True)
class Bare:
    """A wire between a battery stud and the first fuse: the way to its far end, and the wire before it, -1 for none."""

    way_mm: int
    before: int


@dataclass(frozen=True)
class _Paths:
    """Where one goes on from an end of a part: its wires, those of a splice, across a joint; where a net's end is."""

    touching: dict[tuple[int, int], list[int]]  # part and end to wires
    in_splice: dict[str, list[int]]
    where: dict[tuple[str, int], tuple[int, int]]  # net and its end to part and end
    across: dict[tuple[str, int, str], list[tuple[int, int]]]  # joint, way, net to parts and ends


def _paths(drawn: Drawn) -> _Paths:
    found = _Paths({}, {}, {}, {})
    for number, wire in enumerate(drawn.wires):
        for tip in (wire.a, wire.b):
            if tip.kind == "splice":
                found.in_splice.setdefault(tip.label, []).append(number)
            elif tip.side is not None:
                found.touching.setdefault((wire.part, tip.side), []).append(number)
    for part, each in enumerate(drawn.parts):
        for side, one in enumerate(each.ends):
            if one.net_end is not None:
                found.where[each.net, one.net_end] = (part, side)
            else:
                found.across.setdefault((one.joint, one.way, each.net), []).append((part, side))
    return found


def fuse_on_wires_a(truck: Truck, nets: Nets, drawn: Drawn, ratings_a: Mapping[str, float]) -> list[float]:
    """Largest fuse rating that can feed each wire; 0 where none can. [A]"""
    paths = _paths(drawn)
    beyond = _beyond(nets, ratings_a, PASSED)
    largest = [0.0] * len(drawn.wires)
    for feed in truck.feeds:
        rating = ratings_a.get(feed.id, 0.0)
        start = nets.net_of.get(feed.id)
        if rating <= 0.0 or start is None:
            continue
        waiting = [(start, end) for unit, end in nets.nets[start].reached.items() if unit.id == feed.id]
        seen_ends: set[tuple[int, int]] = set()
        seen_wires: set[int] = set()
        sides = [paths.where[nets.nets[number].name, side] for number, side in waiting]
        while sides:
            at = sides.pop()
            if at in seen_ends:
                continue
            seen_ends.add(at)
            if drawn.parts[at[0]].ends[at[1]].kind == "stud":
                continue
            sides += _on_from(nets, drawn, paths, beyond, at)
            wires = list(paths.touching.get(at, ()))
            while wires:
                here = wires.pop()
                if here in seen_wires:
                    continue
                seen_wires.add(here)
                largest[here] = max(largest[here], rating)
                for tip in (drawn.wires[here].a, drawn.wires[here].b):
                    if tip.kind == "splice":
                        wires += paths.in_splice[tip.label]
                    elif tip.side is not None:
                        sides.append((drawn.wires[here].part, tip.side))
    return largest


def without_fuse(truck: Truck, nets: Nets, drawn: Drawn, ratings_a: Mapping[str, float]) -> dict[str, dict[int, Bare]]:
    """Wires between a battery stud and the first fuse, by stud and number of the wire. [mm]

    The shortest way along the wires, through closed switches and relay contacts and through feeds without a fuse. It
    ends at a fuse, and at whatever limits the current: loads, coils, drivers.
    """
    paths = _paths(drawn)
    beyond = _beyond(nets, ratings_a, CLOSED)
    return {stud.id: _ways_mm(nets, drawn, paths, beyond, stud.id) for stud in truck.studs if stud.rail == "battery"}


def _ways_mm(nets: Nets, drawn: Drawn, paths: _Paths, beyond: _Beyond, stud: str) -> dict[int, Bare]:
    starts = [
        (part, side)
        for part, each in enumerate(drawn.parts)
        for side, end in enumerate(each.ends)
        if end.kind == "stud" and end.label == stud
    ]
    # way, splice or "", part and end, wire by which one came
    waiting: list[tuple[int, str, tuple[int, int], int]] = [(0, "", at, -1) for at in starts]
    seen: set[tuple[str, tuple[int, int]]] = set()
    far: dict[int, Bare] = {}
    while waiting:
        way, splice, at, last = heapq.heappop(waiting)
        if (splice, at) in seen:
            continue
        seen.add((splice, at))
        if not splice:
            if drawn.parts[at[0]].ends[at[1]].kind == "stud" and at not in starts:
                continue
            for other in _on_from(nets, drawn, paths, beyond, at):
                heapq.heappush(waiting, (way, "", other, last))
        for number in paths.in_splice[splice] if splice else paths.touching.get(at, ()):
            wire = drawn.wires[number]
            end = way + wire.distance_mm
            far.setdefault(number, Bare(end, last))
            for tip in (wire.a, wire.b):
                if tip.kind == "splice" and tip.label != splice:
                    heapq.heappush(waiting, (end, tip.label, (wire.part, -1), number))
                elif tip.kind != "splice" and tip.side is not None:
                    heapq.heappush(waiting, (end, "", (wire.part, tip.side), number))
    return far


def _on_from(nets: Nets, drawn: Drawn, paths: _Paths, beyond: _Beyond, at: tuple[int, int]) -> list[tuple[int, int]]:
    """Ends that one comes to from an end without a wire: across a joint, or through elements of the unit."""
    part = drawn.parts[at[0]]
    tip = part.ends[at[1]]
    if tip.net_end is None:
        return paths.across[tip.joint, tip.way, part.net]
    return [paths.where[nets.nets[other].name, end] for other, end in beyond.get((part.net, tip.net_end), ())]


def _beyond(nets: Nets, ratings_a: Mapping[str, float], passed: Collection[str]) -> _Beyond:
    """From an end of a net through the elements of its unit to ends of other nets."""
    found: _Beyond = {}
    for element in nets.elements:
        open_fuse = element.kind == "fuse" and ratings_a.get(element.b, 0.0) == 0.0
        if element.kind not in passed and not open_fuse:
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
