"""The whole way from a truck to its harness.

Answers: the frozen result that every list, drawing and finding comes from.
Units:   as in `results`.
Touches: nothing.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from pinproof.design.messages import DesignFault
from pinproof.design.model import Truck
from pinproof.design.model_harness import Feed, HarnessRules, Load, Relay
from pinproof.harness import notes
from pinproof.harness.bundle import (
    BEND,
    SHRINK_M,
    SLEEVES_M,
    bundle_m,
    shrink_cut_m,
    shrink_for,
    sleeve_for,
    splice_object_m,
    supports,
    wire_kg_per_m,
)
from pinproof.harness.choices import Choice, choices_of
from pinproof.harness.coded import line_currents_a, resistors_of
from pinproof.harness.coded_ways import CodedWay, coded_ways
from pinproof.harness.current import Currents, currents_of
from pinproof.harness.fuse import Peak, fuse_for, judge_fuse
from pinproof.harness.geometry import geometry_of, highest_c
from pinproof.harness.layout import Drawn, draw, parts_of
from pinproof.harness.no_size import Scene
from pinproof.harness.reach import fuse_on_wires_a, without_fuse
from pinproof.harness.results import FuseChoice, Harness, PlugCavity, RunBundle, Splice, Wire
from pinproof.harness.sizing import coded_check, demands, pick_sizes, sizing_of
from pinproof.harness.stock import Size, sizes_of
from pinproof.harness.units import units_of
from pinproof.quantities.customary import in_us
from pinproof.tables import fuse_by_rating
from pinproof.wiring.nets import Nets, Refusal, nets_of, refusal, refused

PLAIN_COLOURS = ("BU", "VT", "GY", "WH", "BN", "PK", "YE")
STRIPES = ("", "BK", "WH")


def lay_out(truck: Truck, *, sizes: Sequence[Size] | None = None) -> Harness:
    """Lay out, size and cover the harness of a truck.

    Parameters
    ----------
    truck : Truck
        With a [harness] table.
    sizes : sequence of Size, optional
        In place of the list that the file asks for, smallest first.

    Returns
    -------
    Harness

    Raises
    ------
    DesignFault
        With `Refusal` entries, one for each reason why the harness cannot be built as the file says; in US units
        where the design wants them.
    """
    try:
        return _laid_out(truck, sizes)
    except DesignFault as fault:
        if units_of(truck) != "us":
            raise
        told = tuple(replace(one, message=in_us(one.message)) for one in fault.faults)
        raise DesignFault(fault.file, told) from None


def _laid_out(truck: Truck, sizes: Sequence[Size] | None) -> Harness:
    rules = _rules(truck)
    nets = nets_of(truck)
    geometry = geometry_of(truck, rules, nets)
    drawn = draw(truck, rules, nets, geometry)
    stock = list(sizes) if sizes is not None else sizes_of(truck, rules)
    line_a = {line.id: line_currents_a(truck, line) for line in truck.lines}
    currents = currents_of(truck, nets, geometry, drawn, line_a)
    fuses = [_fuse(truck, feed, currents) for feed in truck.feeds]
    ratings_a = {one.feed: one.rating_a for one in fuses}
    on_wires_a = fuse_on_wires_a(truck, nets, drawn, ratings_a)
    loops_mm = loops_of(drawn, currents)
    demand = demands(truck, drawn, currents, on_wires_a, loops_mm)
    ways = coded_ways(truck, rules, nets, geometry, drawn)
    choices, faults = choices_of(truck, nets, drawn, stock)
    refused(truck, faults)
    found = pick_sizes(Scene(truck, nets, drawn, currents, loops_mm, fuses), demand, stock, choices, ways)
    refused(truck, [*_too_small(truck, fuses, currents), *_slip_rings(truck, drawn, currents), *found.refusals])
    worst = _worst_way(drawn, stock, found.picked, ways)
    colours = colours_of(truck, nets)
    wires = tuple(
        replace(
            wire,
            current_a=currents.wire_a[number],
            fuse_a=on_wires_a[number],
            colour=_colour(choices.get(number), colours[wire.net]),
            sizing=sizing_of(demand[number], stock[found.picked[number]], found.rules[number],
                             coded_check(drawn, stock, found.picked, worst[number]) if number in worst else None),
        )
        for number, wire in enumerate(drawn.wires)
    )  # fmt: skip
    refused(truck, [*notes.misfits(truck, wires), *notes.short_cables(stock, truck, wires)])
    resistors = tuple(resistors_of(truck, nets.elements))
    loads = notes.load_uses(truck, nets, drawn, currents, wires, loops_mm, rules)
    bundles = tuple(
        run_bundles(truck, rules, geometry.lengths_mm, [geometry.places[one] for one in geometry.breakout], wires)
    )
    findings = [
        *notes.fuse_notes(truck, fuses, wires, demand, [stock[one] for one in found.picked]),
        *found.findings,
        *notes.load_notes(loads),
        *notes.carry_notes(truck, currents, wires),
        *notes.never_on(currents),
        *notes.line_notes(truck, nets, drawn, currents, wires, ways, line_a),
        *notes.resistor_notes(resistors),
        *notes.stock_notes(stock),
        *notes.unfused(wires, bundles, without_fuse(truck, nets, drawn, ratings_a)),
        *notes.blanks(truck),
    ]
    if currents.all_on:
        findings.append(notes.all_on())
    return Harness(
        truck.id, truck.name, truck.text_hash, nets.nets, drawn.parts, wires,
        tuple(_covered(rules, splice, wires) for splice in drawn.splices), plugs_of(truck, wires),
        bundles, tuple(fuses), tuple(loads), resistors, tuple(findings), drawn.least_mm, drawn.total_mm,
        drawn.stagger_mm, drawn.closed,
    )  # fmt: skip


def apart_situations(truck: Truck) -> dict[str, tuple[str, ...]]:
    """Joints that may be apart while the truck is live, each with the nets that are then open."""
    nets = nets_of(truck)
    geometry = geometry_of(truck, _rules(truck), nets)
    loose = [joint.id for joint in truck.joints if joint.pairs and joint.may_be_apart]
    crossing = {(end.joint, net.name): None for net, ends in parts_of(truck, nets, geometry) for end in ends}
    return {name: tuple(net for joint, net in crossing if joint == name) for name in loose}


def _rules(truck: Truck) -> HarnessRules:
    if truck.harness is not None:
        return truck.harness
    text = "The file has no [harness]. `pinproof harness FILE --begin` drafts one from what the file says."
    refused(truck, [refusal(truck, "no-harness", "harness", text)])
    raise AssertionError


def loops_of(drawn: Drawn, currents: Currents) -> dict[int, int]:
    """For each consumer the longest way out and back, wire only. [mm]"""

    def cut_mm(wires: tuple[int, ...]) -> int:
        return sum(drawn.wires[one].cut_mm for one in wires)

    return {consumer: round(currents.most_on_a_way(consumer, cut_mm)[0]) for consumer in range(len(currents.consumers))}


def _fuse(truck: Truck, feed: Feed, currents: Currents) -> FuseChoice:
    members = [number for number, one in enumerate(currents.consumers) if feed.id in one.feeds]
    running_a = currents.feed_a[feed.id]
    stated: dict[str, Load | Relay] = {one.id: one for one in truck.loads}
    stated |= {one.id: one for one in truck.relays}
    peaks = [
        Peak(currents.consumers[number].id, current_a, time_s)
        for number in members
        if currents.consumers[number].kind != "line" and stated[currents.consumers[number].id].inrush > 1.0
        for time_s, current_a in _surges(stated, currents, number, members)
    ]
    if feed.fuse_a == 0.0:
        return FuseChoice(feed.id, 0.0, False, running_a, feed.family, "", "pass", "no fuse")
    chosen = feed.fuse_a is None
    verdict = fuse_for(running_a, peaks, feed.family) if chosen else judge_fuse(feed.fuse_a or 0.0, running_a, peaks)
    colour = fuse_by_rating(verdict.rating_a, feed.family).colour
    least_a = fuse_for(running_a, peaks, feed.family).rating_a
    return FuseChoice(
        feed.id, verdict.rating_a, chosen, running_a, feed.family, colour, verdict.verdict, verdict.why, least_a
    )


def _surges(
    stated: Mapping[str, Load | Relay], currents: Currents, number: int, members: Sequence[int]
) -> list[tuple[float, float]]:
    """For each inrush time how much flows at most for so long when this load comes on, with all that its own switches
    turn on with it; the others run. [s], [A]"""

    def elements(other: int) -> set[str]:
        load = stated.get(currents.consumers[other].id)
        return set() if load is None else {name for group in (*load.high_side, *load.low_side) for name in group}

    def lasts_s(other: int) -> float:
        time = stated[currents.consumers[other].id].inrush_time
        return time.value if time else 0.0

    own = elements(number)
    at_once = {number, *(other for other in members if own & elements(other))}
    rows = currents.on[currents.on[:, number]]
    found = []
    for time_s in sorted({lasts_s(other) for other in at_once}) if len(rows) else []:
        times = [
            stated[currents.consumers[other].id].inrush if other in at_once and lasts_s(other) >= time_s else 1.0
            for other in members
        ]
        amps = np.array(times) * np.array([currents.consumers[other].current_a for other in members])
        found.append((time_s, float((rows[:, list(members)] @ amps).max())))
    return found


def _too_small(truck: Truck, fuses: Sequence[FuseChoice], currents: Currents) -> list[Refusal]:
    found = []
    for feed, fuse in zip(truck.feeds, fuses, strict=True):
        if fuse.chosen or fuse.rating_a == 0.0 or fuse.running_a <= 0.8 * fuse.rating_a * (1 + 1e-9):
            continue
        better = fuse_for(fuse.running_a, [], feed.family)
        text = (
            f"feed.{feed.id}: {fuse.running_a:.3g} A flows for good; a {fuse.rating_a:g} A fuse carries "
            f"{0.8 * fuse.rating_a:.3g} A. Fit {better.rating_a:g} A."
        )
        found.append(refusal(truck, "fuse-too-small", feed.path, text))
    return found


def _slip_rings(truck: Truck, drawn: Drawn, currents: Currents) -> list[Refusal]:
    rings = {joint.id: joint for joint in truck.joints if joint.kind == "slip ring"}
    found: dict[str, Refusal] = {}
    for number, wire in enumerate(drawn.wires):
        for end in (wire.a, wire.b):
            if end.side is None or (joint := drawn.parts[wire.part].ends[end.side].joint) not in rings:
                continue
            loads = [one for one in currents.carried[number] if currents.consumers[one].kind != "line"]
            amps = currents.together_a(loads)
            if amps > 0.0 and joint not in found:
                text = (
                    f"joint.{joint}: a way of a slip ring would carry {amps:.3g} A of a load. Feed it on the near side."
                )
                found[joint] = refusal(truck, "joint-current", rings[joint].path, text)
    return list(found.values())


def _worst_way(
    drawn: Drawn, sizes: Sequence[Size], picked: Sequence[int], ways: Sequence[CodedWay]
) -> dict[int, CodedWay]:
    """For each wire of a coded way, the way that is nearest its limit."""
    found: dict[int, tuple[float, CodedWay]] = {}
    for way in ways:
        row = coded_check(drawn, sizes, picked, way)
        left = row.have - row.need
        for wire in way.wires:
            if wire not in found or left < found[wire][0]:
                found[wire] = (left, way)
    return {wire: way for wire, (_, way) in found.items()}


def colours_of(truck: Truck, nets: Nets) -> dict[str, str]:
    """A colour for each net: battery red, ground black, fused feeds orange, the others in turn; IEC 60757 letters."""
    batteries = {stud.id for stud in truck.studs if stud.rail == "battery"}
    grounds = {stud.id for stud in truck.studs if stud.rail == "ground"}
    feeds = {feed.id for feed in truck.feeds}
    pairs = [base + stripe for stripe in STRIPES for base in PLAIN_COLOURS if base != stripe]
    turn = itertools.cycle(pairs)
    found: dict[str, str] = {}
    for net in nets.nets:
        names = set(net.terminals)
        if names & batteries:
            found[net.name] = "RD"
        elif names & feeds:
            found[net.name] = "OG"
        elif names & grounds:
            found[net.name] = "BK"
        else:
            found[net.name] = next(turn)
    return found


def _colour(choice: Choice | None, of_net: str) -> str:
    return of_net if choice is None or choice.colour is None else choice.colour


def _covered(rules: HarnessRules, splice: Splice, wires: Sequence[Wire]) -> Splice:
    joined = [wire for wire in wires if wire.id in splice.wires]
    by_id = {wire.id: wire for wire in joined}
    outside = [by_id[name].sizing.outside_m for name in splice.wires]  # type: ignore[union-attr]
    tube = shrink_for(splice_object_m(outside), rules.shrink_m or SHRINK_M)
    cut = round(shrink_cut_m(rules.splice_length_m) * 1000 + 0.499999)
    shown = None if tube is None else (tube[0] * 1000, tube[1] * 1000)
    return replace(splice, shrink_mm=shown, sleeve_cut_mm=None if tube is None else cut)


def plugs_of(truck: Truck, wires: Sequence[Wire]) -> tuple[PlugCavity, ...]:
    """What is in each cavity of each plug, empty ones included."""
    at: dict[str, tuple[Wire, str, str]] = {}
    for wire in wires:
        for end in (wire.a, wire.b):
            if end.side is not None:
                at[end.label] = (wire, end.terminal, end.seal)
    rows = []
    for plug in truck.plugs:
        for cavity in plug.cavities:
            hit = at.get(f"{plug.id}.{cavity.id}")
            if hit is None:
                rows.append(PlugCavity(plug.id, cavity.id, "", "", "", "plug" if cavity.seal or plug.seal else ""))
            else:
                rows.append(PlugCavity(plug.id, cavity.id, hit[0].net, hit[0].id, hit[1], hit[2]))
    return tuple(rows)


def run_bundles(
    truck: Truck, rules: HarnessRules, lengths_mm: Sequence[int], breakouts: Sequence[str], wires: Sequence[Wire]
) -> list[RunBundle]:
    """Diameter, sleeve, bend, supports, ties and mass of every run."""
    inside: dict[str, list[Wire]] = {run.id: [] for run in truck.runs}
    for wire in wires:
        for name in wire.runs:
            inside[name].append(wire)
    lengths_in: Mapping[str, int] = {run.id: length for run, length in zip(truck.runs, lengths_mm, strict=True)}
    found = []
    for run in truck.runs:
        length_m = lengths_in[run.id] / 1000
        mine = inside[run.id]
        sized = [wire.sizing for wire in mine if wire.sizing is not None]
        bundle = bundle_m([one.outside_m for one in sized])
        sleeve = sleeve_for(bundle.diameter_m, rules.sleeves_m or SLEEVES_M) if mine else None
        ties = int(length_m / rules.tie_m + 1e-9) + 1 + sum(place in breakouts for place in run.between)
        kilograms = sum(wire_kg_per_m(one.area_m2, one.outside_m) for one in sized) * length_m
        found.append(
            RunBundle(
                run.id, lengths_in[run.id], tuple(wire.id for wire in mine), bundle.diameter_m * 1000, bundle.exact,
                None if sleeve is None else sleeve * 1000, BEND * bundle.diameter_m * 1000,
                supports(length_m, rules.support_end_m, rules.support_m), ties if mine else 0, kilograms * 1000,
                highest_c(truck, run),
            )
        )  # fmt: skip
    return found
