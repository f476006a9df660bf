"""Build steps in order, labels, and what each connection should read: the bench's way from cable to harness.

Answers: what do I do next, how do I see that it is right, what stands on each label?
Units:   `_mm` whole millimetres, Ω, N.
Touches: the table of crimp pulls.
Sources: order of work, tug, limits of ohms and isolation: common practice, no source; pull of a trial crimp: UL 486A.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from pinproof.design.model import Truck
from pinproof.design.words import parameter
from pinproof.errors import OutOfTable
from pinproof.harness.board import unit_of
from pinproof.harness.results import Harness, Part, Wire, WireEnd
from pinproof.harness.size import ohm_per_m
from pinproof.quantities import format_value
from pinproof.tables import awg_area_m2, crimp_pull_n, decode_colour
from pinproof.wiring import physical

TUG_N = 20.0  # this and what follows: common practice, no source
OHM_ROOM = 1.2
ISOLATION_OHM = 10e6
METER_STEP_OHM = 0.1  # last digit of a handheld meter in its lowest range
LABEL_MOST_MM = 75  # from the plug: from memory
PULL_GAUGES = (8, 10, 12, 14, 16, 18, 20, 22, 24)


@dataclass(frozen=True)
class Step:
    """One step: what to do, and how it is seen that it is right."""

    step: int
    stage: str
    do: str
    check: str


@dataclass(frozen=True)
class Label:
    """One label. `lines` stand on it; `end` is "from", "to", "splice" or "plug"."""

    label: str
    wire: str
    end: str
    lines: tuple[str, str]
    place: str


@dataclass(frozen=True)
class Connection:
    """Two ends of one part of a net, and the most ohms between them."""

    net: str
    a: str
    b: str
    wires: tuple[str, ...]
    computed_ohm: float
    most_ohm: float

    @property
    def shown_ohm(self) -> float:
        """The limit as a handheld meter can show it: raised to its next 0.1 Ω. [Ω]"""
        return math.ceil(self.most_ohm / METER_STEP_OHM - 1e-9) * METER_STEP_OHM


def colour_words(code: str) -> str:
    """A colour code in words, base before stripe: "BUBK" is "blue with black"."""
    return " with ".join(decode_colour(code).colours) if code else ""


def build_steps(truck: Truck, harness: Harness) -> tuple[Step, ...]:
    """Every step from cutting to signing, in order."""
    found: list[tuple[str, str, str]] = []
    for stage, rows in (
        ("Cut and label", _cuts(harness)),
        ("Resistors", _resistors(truck, harness)),
        ("Crimp", _crimps(truck, harness)),
        ("Splice", _splices(harness)),
        ("Sleeve", _sleeves(harness)),
        ("Lay", _lays(harness)),
        ("Plugs and seals", _plugs(truck, harness)),
        ("Test on the board", _tests(truck, harness)),
        ("In the truck", _in_truck(truck, harness)),
    ):
        found += [(stage, do, check) for do, check in rows]
    return tuple(Step(number, *row) for number, row in enumerate(found, start=1))


def _cuts(harness: Harness) -> Iterator[tuple[str, str]]:
    """Longest first: what is left over still serves for the short ones."""
    for wire in sorted(harness.wires, key=lambda one: (-one.cut_mm, one.id)):
        assert wire.sizing is not None
        cable = f", cable {wire.sizing.cable}" if wire.sizing.cable else ""
        yield (
            f"Cut {wire.id}: {wire.cut_mm} mm of {wire.sizing.size} {colour_words(wire.colour)} ({wire.colour}){cable}."
            f" Label both ends: {wire.a.label} and {wire.b.label}.",
            f"{wire.cut_mm} mm; both labels on before the next wire is cut",
        )


def _ohms(ohm: float) -> str:
    return format_value(ohm, "resistance")


def _milliohms(ohm: float) -> str:
    return f"{ohm * 1000:.0f} mΩ" if ohm >= 0.0005 else "under 1 mΩ"


def _resistors(truck: Truck, harness: Harness) -> Iterator[tuple[str, str]]:
    parts = {branch.id: branch.resistor for branch in physical(truck).branches}
    for one in harness.resistors:
        part = parts.get(one.resistor)
        if one.ohm is None or part is None:
            yield f"Choose the {parameter(one.resistor)} before its plug is closed.", "value chosen and proven"
            continue
        body = "" if one.rated_w is None else f", {one.rated_w:g} W"
        yield (
            f"Read the {parameter(one.resistor)} ({_ohms(one.ohm)}{body}), then fit it in {one.at}, sleeved and held "
            "so that its leads cannot flex; label its ohms outside.",
            f"{_ohms(one.ohm * (1 - part.tolerance))} to {_ohms(one.ohm * (1 + part.tolerance))} before it is potted",
        )


def _crimps(truck: Truck, harness: Harness) -> Iterator[tuple[str, str]]:
    """All ends of one unit with the same terminal, seal and strip length are one step."""
    groups: dict[tuple[str, str, str, str, str, float], list[Wire]] = {}
    for wire in harness.wires:
        for end in (wire.a, wire.b):
            if end.side is not None:
                kind, name, _ = unit_of(harness, wire, end)
                groups.setdefault((end.place, kind, name, end.terminal, end.seal, end.strip_mm), []).append(wire)
    yield (
        "Trial crimps: one of each size in its own terminal, with the tool that will be used; pull each off.",
        "hold at least " + ", ".join(_pulls(harness)) + " (UL 486A, secondary)",
    )
    holes = {stud.id: stud.hole for stud in truck.studs}
    for (place, kind, name, terminal, seal, strip_mm), wires in groups.items():
        first = f"push seal {seal} on, " if seal else ""
        if terminal:
            what = f"crimp terminal {terminal}"
        elif kind == "stud":
            what = f"crimp a ring{f' for {holes[name]}' if holes.get(name) else ''}"
        else:
            what = "join to its lead" if kind == "lead" else "crimp its terminal"
        yield (
            f"{_unit_words(kind, name)} at {place}: on {', '.join(wire.id for wire in wires)} {first}"
            f"strip {strip_mm:g} mm, {what}.",
            f"tug {TUG_N:g} N each, no strand outside or cut, insulation in its grip",
        )


def _unit_words(kind: str, name: str) -> str:
    return name if kind == "lead" else f"{kind} {name}"


def _pulls(harness: Harness) -> list[str]:
    areas = {wire.sizing.size: wire.sizing.area_m2 for wire in harness.wires if wire.sizing is not None}
    told = []
    for size, area_m2 in sorted(areas.items(), key=lambda each: each[1]):
        held = trial_pull(area_m2)
        as_ = "" if held is None or size == f"{held[0]} AWG" else f" (as {held[0]} AWG)"
        told.append(f"{size}: {held[1]:.0f} N{as_}" if held else f"{size}: no figure known")
    return told


def trial_pull(area_m2: float) -> tuple[int, float] | None:
    """Gauge and least pull-out force of the nearest gauge that is not thicker, UL 486A; None below 24 AWG. [N]"""
    for gauge in PULL_GAUGES:
        if awg_area_m2(gauge) <= area_m2 * 1.005:
            try:
                return gauge, crimp_pull_n(gauge).value
            except OutOfTable:
                return None
    return None


def _splices(harness: Harness) -> Iterator[tuple[str, str]]:
    wires = {wire.id: wire for wire in harness.wires}
    for one in harness.splices:
        ends = [end for name in one.wires for end in (wires[name].a, wires[name].b) if end.label == one.id]
        strip_mm = ends[0].strip_mm
        tube = "no tube of the list fits: choose one, "
        if one.shrink_mm is not None:
            tube = f"slide on {one.sleeve_cut_mm} mm of adhesive-lined tube {one.shrink_mm[0]:g}/{one.shrink_mm[1]:g}, "
        yield (
            f"{one.id} ({one.net}), {one.at_mm} mm from {one.from_place} in {one.run}: {tube}strip {strip_mm:g} mm, "
            f"crimp {', '.join(one.wires)}, shrink.",
            f"tug {TUG_N:g} N each wire; tube covers 6 mm of insulation on both sides; no splice beside another",
        )


def _sleeves(harness: Harness) -> Iterator[tuple[str, str]]:
    for one in harness.runs:
        if not one.wires:
            continue
        wires = f"{len(one.wires)} wire" + ("s" if len(one.wires) > 1 else "")
        size = (
            "a wrap: no sleeve of the list is wide enough" if one.sleeve_mm is None else f"sleeve {one.sleeve_mm:g} mm"
        )
        yield (
            f"{one.run}: {one.length_mm} mm of {size} over {wires}, bundle {one.diameter_mm:.1f} mm.",
            "sleeve is on before plugs are closed; ends cannot slip back",
        )


def _lays(harness: Harness) -> Iterator[tuple[str, str]]:
    for one in harness.runs:
        if one.wires:
            yield (
                f"Lay {one.run} on the board along its line, {one.ties} ties; in the truck {one.supports} supports.",
                f"{one.length_mm} mm from place to place; ties do not dent the wires; no bend below "
                f"{one.bend_mm:.0f} mm radius",
            )


def _plugs(truck: Truck, harness: Harness) -> Iterator[tuple[str, str]]:
    for plug in truck.plugs:
        mine = [one for one in harness.plugs if one.plug == plug.id]
        full = [f"{one.wire} to {one.cavity}" for one in mine if one.wire]
        bare = [one.cavity for one in mine if not one.wire]
        if full:
            closed = f" Plug the empty {'cavity' if len(bare) == 1 else 'cavities'} {', '.join(bare)}." if bare else ""
            yield (
                f"plug {plug.id}: {', '.join(full)}. Close its lock.{closed}",
                f"each terminal clicks and holds {TUG_N:g} N; face as drawn; no cavity open",
            )


def _tests(truck: Truck, harness: Harness) -> Iterator[tuple[str, str]]:
    yield (
        "Harness on the board, nothing plugged in, no ring bolted on, fuses out. Hold the meter's leads together, "
        "write their ohms down and take them off every reading below 10 Ω.",
        "leads read 0.1 to 0.3 Ω",
    )
    for one in connections(truck, harness):
        yield (
            f"{one.net}: {one.a} to {one.b} ({', '.join(one.wires)}).",
            f"at most {one.shown_ohm:.1f} Ω above the leads (computed {_milliohms(one.computed_ohm)} at 20 °C, "
            f"limit {_milliohms(one.most_ohm)})",
        )
    for index, part in enumerate(harness.parts):
        if any(wire.part == index for wire in harness.wires):
            yield (
                f"{part.net}: from {part.ends[0].label} to each cavity, ring and lead of every other net, and to bare "
                "metal.",
                f"open: at least {ISOLATION_OHM / 1e6:g} MΩ",
            )


def _in_truck(truck: Truck, harness: Harness) -> Iterator[tuple[str, str]]:
    yield "Wheels chocked, brake on, battery's negative off: it goes on last.", "negative off"
    for stud in truck.studs:
        ends = [wire.id for wire in harness.wires for end in (wire.a, wire.b)
                if end.kind == "stud" and end.label == stud.id]  # fmt: skip
        if ends:
            hole = f" ({stud.hole})" if stud.hole else ""
            yield (
                f"stud {stud.id}{hole} at {stud.place}: {', '.join(ends)}.",
                "bare metal, tight, sealed over; no ring turns",
            )
    for fuse in harness.fuses:
        if fuse.rating_a > 0.0:
            yield f"feed {fuse.feed}: fit {fuse.rating_a:g} A {fuse.family} ({fuse.colour}).", "rating and colour"
    yield (
        "Go through the bench sheet: `pinproof meter` has every reading with the controller and the switches.",
        "every station as built",
    )
    yield (
        "Test the start inhibit in every lever position, as the rules of your event ask.",
        "cranks in park and neutral only",
    )
    yield "Sign and date. Design aid, not approval: the event's rules and the law of the road come first.", "name, date"


def connections(truck: Truck, harness: Harness) -> tuple[Connection, ...]:
    """What a meter is held to: for each part of a net from its hub, or its first end, to every other end.

    Computed from cut lengths at 20 °C; the limit is 1.2 times that and the file's `pair_ohm` for each plug cavity.
    """
    rules = truck.harness
    assert rules is not None
    found: list[Connection] = []
    for index, part in enumerate(harness.parts):
        mine = [wire for wire in harness.wires if wire.part == index]
        beside: dict[str, list[tuple[str, Wire]]] = {}
        for wire in mine:
            a, b = _node(wire.a), _node(wire.b)
            beside.setdefault(a, []).append((b, wire))
            beside.setdefault(b, []).append((a, wire))
        start = part.hub if part.hub is not None else 0
        ways: dict[str, tuple[Wire, ...]] = {f"end {start}": ()}
        todo = [f"end {start}"]
        while todo:
            at = todo.pop()
            for other, wire in beside.get(at, ()):
                if other not in ways:
                    ways[other] = (*ways[at], wire)
                    todo.append(other)
        for number in range(len(part.ends)):
            way = ways.get(f"end {number}")
            if number != start and way:
                found.append(_connection(part, start, number, way, rules.pair_ohm))
    return tuple(found)


def _node(end: WireEnd) -> str:
    return end.label if end.side is None else f"end {end.side}"


def _connection(part: Part, start: int, number: int, way: tuple[Wire, ...], pair_ohm: float) -> Connection:
    ohm = sum(ohm_per_m(wire.sizing.area_m2) * wire.cut_mm / 1000 for wire in way if wire.sizing is not None)
    ends = [end for wire in way for end in (wire.a, wire.b) if end.side is not None]
    pairs = sum(end.kind in ("cavity", "bus", "way") for end in ends)
    label = {end.side: end.label for end in ends}
    return Connection(
        part.net, label.get(start, part.ends[start].label), label.get(number, part.ends[number].label),
        tuple(wire.id for wire in way), ohm, OHM_ROOM * ohm + pairs * pair_ohm,
    )  # fmt: skip


def labels(harness: Harness) -> tuple[Label, ...]:
    """A label for each end of each wire, one for each splice and one for each plug."""
    rows: list[tuple[str, str, tuple[str, str], str]] = []
    for wire in harness.wires:
        for name, end in (("from", wire.a), ("to", wire.b)):
            rows.append((wire.id, name, (f"{wire.id}  {wire.colour}", end.label), end.place))
    for one in harness.splices:
        rows.append(("", "splice", (f"{one.id}  {one.net}", " ".join(one.wires)), f"{one.run}, {one.from_place}"))
    for plug, place in dict.fromkeys(
        (end.label.partition(".")[0], end.place)
        for wire in harness.wires for end in (wire.a, wire.b) if end.kind in ("cavity", "bus")
    ):  # fmt: skip
        rows.append(("", "plug", (plug, place), place))
    return tuple(Label(f"L{number:03d}", *row) for number, row in enumerate(rows, start=1))
