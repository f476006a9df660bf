"""What is to be said about a sized harness: misfits that are refused, findings, cautions.

Answers: does each terminal and seal take its wire; what does each load lose; did the proof assume enough?
Units:   A, V, m; `_mm` whole.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from pinproof.design.model import Line, Truck
from pinproof.design.model_harness import HarnessRules, Load, Relay
from pinproof.harness import size as rule
from pinproof.harness.coded_ways import CodedWay
from pinproof.harness.current import Currents
from pinproof.harness.layout import Drawn, hottest_c
from pinproof.harness.no_size import hot_advice
from pinproof.harness.reach import Bare
from pinproof.harness.results import Finding, FuseChoice, LoadUse, ResistorUse, RunBundle, Wire
from pinproof.harness.sizing import Demand, allowed_a
from pinproof.harness.stock import Size
from pinproof.tables import drop_fraction
from pinproof.wiring.nets import Nets, Refusal, chained, refusal

UNFUSED_MOST_MM = 177.8
"""Seven inches along the wire, from the source to its fuse. Source: 33 CFR 183.455(b)(1), boats (open copy); for trucks
common practice, no source."""
UNFUSED_SLEEVED_MM = 1016.0
"""Forty inches where it is in a sheath all the way. Source: 33 CFR 183.455(b)(2), boats (open copy)."""
FUSE_HOLDS = 1.35  # times its rating, for a long time (ISO 8820-3 gates, from memory)


def misfits(truck: Truck, wires: Sequence[Wire]) -> Iterator[Refusal]:
    """Terminals that do not take their wire, grips and seals that do not hold its insulation."""
    terminals = {one.id: one for one in truck.terminals}
    seals = {one.id: one for one in truck.seals}
    for wire in wires:
        if wire.sizing is None:
            continue
        area_m2, outside_m = wire.sizing.area_m2, wire.sizing.outside_m
        for end in (wire.a, wire.b):
            plug, _, cavity = end.label.partition(".")
            path = f"plug.{plug}.cavity.{cavity}"
            terminal = terminals.get(end.terminal)
            if terminal is not None:
                low, high = terminal.smallest.value, terminal.largest.value
                if not low * 0.995 <= area_m2 <= high * 1.005:
                    text = (
                        f"{path}: terminal {terminal.id} takes {terminal.smallest.text} to {terminal.largest.text}, "
                        f"the wire is {wire.sizing.size} ({wire.sizing.rule}). Take a terminal that fits, or a plug "
                        "for that size."
                    )
                    yield refusal(truck, "terminal-wire", path, text)
                grip = (terminal.insulation_smallest, terminal.insulation_largest)
                if all(grip) and not _within(grip[0].value, outside_m, grip[1].value):  # type: ignore[union-attr]
                    text = (
                        f"{path}: the grip of terminal {terminal.id} takes {grip[0].text} to {grip[1].text}, "  # type: ignore[union-attr]
                        f"the wire is {outside_m * 1000:.3g} mm outside. Take terminal or cable that fit."
                    )
                    yield refusal(truck, "terminal-insulation", path, text)
            seal = seals.get(end.seal)
            if seal is not None and not _within(seal.smallest.value, outside_m, seal.largest.value):
                text = (
                    f"{path}: seal {seal.id} takes {seal.smallest.value * 1000:g} to {seal.largest.value * 1000:g} mm, "
                    f"the wire is {outside_m * 1000:.3g} mm outside. Take seal or cable that fit."
                )
                yield refusal(truck, "seal-wire", path, text)


def _within(low: float, value: float, high: float) -> bool:
    return low - 1e-9 <= value <= high + 1e-9


def short_cables(sizes: Sequence[Size], truck: Truck, wires: Sequence[Wire]) -> Iterator[Refusal]:
    """Salvaged cable of which there is too little."""
    for size in sizes:
        if not size.salvaged:
            continue
        used = [wire for wire in wires if wire.sizing is not None and wire.sizing.cable == size.cable]
        need_m = sum(wire.cut_mm for wire in used) / 1000
        have_m = size.on_hand_m or 0.0
        if used and need_m > have_m:
            text = (
                f"cable.{size.cable}: {need_m:.4g} m wanted, {have_m:.4g} m there. "
                f"Choose another for {', '.join(wire.id for wire in used)}."
            )
            yield refusal(truck, "cable-short", f"cable.{size.cable}", text)


def stock_notes(sizes: Sequence[Size]) -> Iterator[Finding]:
    """Salvaged cable that is not used, or must be measured before use."""
    for size in sizes:
        if size.barred:
            yield Finding("salvaged-barred", None, f"cable.{size.cable}", f"{size.cable} is not used: {size.barred}.")
        elif size.salvaged:
            ohm = rule.ohm_per_m(size.area_m2)
            text = (
                f"{size.cable}: measure it before use; it should have {0.9 * ohm * 1000:.1f} to "
                f"{1.1 * ohm * 1000:.1f} mΩ per metre at 20 °C."
            )
            yield Finding("salvaged-measure", None, f"cable.{size.cable}", text)


def fuse_notes(
    truck: Truck, fuses: Sequence[FuseChoice], wires: Sequence[Wire], demand: Sequence[Demand], sizes: Sequence[Size]
) -> Iterator[Finding]:
    """Fuses that do not stand their inrush, and wires that a fuse lets get too hot before it blows."""
    for fuse in fuses:
        if fuse.verdict != "pass":
            cure = "Fit a larger fuse, or start fewer loads at a time."
            yield Finding("fuse-inrush", fuse.verdict, f"feed.{fuse.feed}.fuse", f"{fuse.text}.", cure)
    hot: dict[float, list[str]] = {}
    for wire, each, size in zip(wires, demand, sizes, strict=True):
        if each.fuse_a <= 0.0:
            continue
        allowed = allowed_a(each, size)
        ambient_c = max(one.ambient_c for one in each.around)
        if rule.wire_temp_c(ambient_c, size.rated_c, FUSE_HOLDS * each.fuse_a, allowed) > size.rated_c:
            hot.setdefault(each.fuse_a, []).append(wire.id)
    if hot:
        each_fuse = "; ".join(
            f"behind {fuse_a:g} A {_some(names)}" for fuse_a, names in sorted(hot.items(), reverse=True)
        )
        text = (
            f"At {FUSE_HOLDS:g} × its rating, which a fuse may carry for minutes, wires get above theirs: {each_fuse}."
        )
        yield Finding("fuse-hot", None, "harness", text, hot_advice(fuses, list(hot)))


def unfused(
    wires: Sequence[Wire], runs: Sequence[RunBundle], bare: Mapping[str, Mapping[int, Bare]]
) -> Iterator[Finding]:
    """Wires between a battery stud and the first fuse, where the way along them is longer than a boat may have it.

    `bare` is that of `reach.without_fuse`.
    """
    sleeved = {one.run for one in runs if one.sleeve_mm is not None}
    for stud, found in bare.items():
        beyond = [number for number, each in found.items() if each.way_mm > UNFUSED_MOST_MM]
        if not beyond:
            continue
        far_mm = max(found[number].way_mm for number in beyond)
        on_the_way = set(beyond)
        for number in beyond:
            while (number := found[number].before) >= 0:
                on_the_way.add(number)
        covered = all(wires[number].runs and sleeved.issuperset(wires[number].runs) for number in on_the_way)
        held = covered and far_mm <= UNFUSED_SLEEVED_MM
        names = _some([wires[number].id for number in sorted(beyond)])
        text = (
            f"Without a fuse wires run on to {far_mm} mm from the battery stud {stud} ({names}): where one chafes "
            f"through, the whole battery feeds the fire. At most {UNFUSED_MOST_MM:g} mm, or {UNFUSED_SLEEVED_MM:g} mm "
            "in a sleeve all the way (33 CFR 183.455, for boats; for trucks common practice, no source). "
        )
        text += f"{'It is' if covered else 'It is not'} in a sleeve all the way."
        cure = (
            f"See that the sleeve leaves no gap, or put a fuse within {UNFUSED_MOST_MM:g} mm of the stud."
            if held
            else f"A feed with its fuse within {UNFUSED_MOST_MM:g} mm of the stud, and all else behind it."
        )
        yield Finding("unfused", None if held else "fail", f"stud.{stud}", text, cure)


def _some(names: Sequence[str], most: int = 6) -> str:
    left = len(names) - most
    return ", ".join(names) if left <= 0 else f"{', '.join(names[:most])} and {left} more"


def blanks(truck: Truck) -> Iterator[Finding]:
    """Cavities whose blank of a draft was left: any text is a cavity's name, so nothing else would tell."""
    places = [(each.path, each.cavity) for each in truck.inputs]
    places += [(each.path, each.cavity) for each in truck.drivers]
    places += [(cavity.path, cavity.id) for plug in truck.plugs for cavity in plug.cavities]
    for path, cavity in places:
        if cavity == "?":
            yield Finding("cavity-blank", "not shown", path, f'{path}: its cavity is still "?".',
                          "Read the number on the plug's face and write it.")  # fmt: skip


def all_on() -> Finding:
    """Too many positions to tell which loads exclude each other."""
    text = "Too many switch positions to try them all: every load counts as on, so wires may be thicker than needed."
    return Finding("all-on", None, "harness", text)


def never_on(currents: Currents) -> Iterator[Finding]:
    """Loads and coils that no position of the levers turns on: two of their switches never close together."""
    if currents.all_on:
        return
    for number, one in enumerate(currents.consumers):
        if one.kind != "line" and not currents.on[:, number].any():
            text = f"{one.id} can never be on: no position of the levers closes all its switches at once."
            cure = "Correct where its switches close, or its `high_side` and `low_side`."
            yield Finding("never-on", "fail", f"{'relay' if one.kind == 'coil' else 'load'}.{one.id}", text, cure)


def _through(truck: Truck, currents: Currents) -> dict[str, list[int]]:
    """For each switch, contact and driver the numbers of the consumers whose current can flow through it."""
    through = {feed.id: feed.through for feed in truck.feeds}
    chains = {load.id: [*load.high_side, *load.low_side] for load in chained(truck)}
    members: dict[str, list[int]] = {}
    for number, one in enumerate(currents.consumers):
        names = {name for group in chains.get(one.id, ()) for name in group if one.kind != "line"}
        names |= {name for feed in one.feeds for name in through[feed]}
        for name in names:
            members.setdefault(name, []).append(number)
    return members


def carry_notes(truck: Truck, currents: Currents, wires: Sequence[Wire]) -> Iterator[Finding]:
    """Switches, relay contacts and terminals that carry more than is stated for them."""
    members = _through(truck, currents)
    stated = {one.id: one for one in truck.switches}
    limits = {name: (one.path, one.carries) for name, one in stated.items()}
    limits |= {f"{relay.id}.{one.id}": (one.path, one.carries) for relay in truck.relays for one in relay.contacts}
    for name, (path, carries) in limits.items():
        amps = currents.together_a(members.get(name, ()))
        if carries is not None and amps > carries.value:
            text = f"{name}: {amps:.3g} A flow through it, it carries {carries.text}."
            yield Finding("contact-current", "fail", path, text, "A relay for the load, or a heavier switch.")
    terminals = {one.id: one for one in truck.terminals}
    for wire in wires:
        for end in (wire.a, wire.b):
            kept = terminals.get(end.terminal)
            if kept is not None and kept.carries is not None and wire.current_a > kept.carries.value:
                text = (
                    f"{wire.id} at {end.label}: {wire.current_a:.3g} A, terminal {kept.id} carries {kept.carries.text}."
                )
                yield Finding("terminal-current", "fail", kept.path, text, "A larger terminal, or two cavities.")


def load_uses(
    truck: Truck,
    nets: Nets,
    drawn: Drawn,
    currents: Currents,
    wires: Sequence[Wire],
    loops_mm: Mapping[int, int],
    rules: HarnessRules,
) -> list[LoadUse]:
    """What each load draws and loses: wires, contacts' nominal ohms, mated pairs, each at all that it carries."""
    closed = {one.id: one.closed.value for one in truck.switches}
    closed |= {f"{relay.id}.{one.id}": one.closed.value for relay in truck.relays for one in relay.contacts}
    closed |= {one.id: one.on.value for one in truck.drivers}
    feeds = {feed.id: feed for feed in truck.feeds}
    by_load: dict[str, Load | Relay] = {load.id: load for load in chained(truck)}
    way_ohm = {one.id: one.way_ohm.high for one in truck.joints if one.way_ohm is not None}
    contact_v = {
        name: currents.together_a(members) * closed.get(name, 0.0)
        for name, members in _through(truck, currents).items()
    }
    found = []

    def lost_v(way: tuple[int, ...]) -> float:
        return sum(wire_drop_v(truck, wires[wire]) for wire in way) + _mated_v(drawn, wires, way, rules, way_ohm)

    for number, one in enumerate(currents.consumers):
        if one.kind == "line":
            continue
        load = by_load[one.id]
        drop_v, _ = currents.most_on_a_way(number, lost_v)
        through = [(name,) for feed in one.feeds for name in feeds[feed].through]
        for group in (*load.high_side, *load.low_side, *through):
            drop_v += max(contact_v.get(name, 0.0) for name in group)
        fraction = drop_fraction(load.drop).value if load.drop_allowed is None else load.drop_allowed.value
        allowed_v = fraction * truck.supply.run.value
        found.append(LoadUse(one.id, one.current_a, loops_mm[number], drop_v, allowed_v))
    return found


def _mated_v(
    drawn: Drawn, wires: Sequence[Wire], way: Sequence[int], rules: HarnessRules, way_ohm: Mapping[str, float]
) -> float:
    """Volts on the mated terminals of a way: a pair for each cavity, the joint's own for each way crossed. What flows
    there counts, other loads' currents too. [V]"""
    total, crossed = 0.0, {}
    for number in way:
        wire = wires[number]
        for end in (wire.a, wire.b):
            if end.kind in ("cavity", "bus"):
                total += wire.current_a * rules.pair_ohm
            elif end.kind == "way" and end.side is not None:
                joint = drawn.parts[wire.part].ends[end.side].joint
                crossed[wire.net, joint] = wire.current_a * way_ohm.get(joint, 0.0)
    return total + sum(crossed.values())


def wire_drop_v(truck: Truck, wire: Wire) -> float:
    """Volts along a wire at its greatest current, copper as hot as its surroundings. [V]"""
    if wire.sizing is None:
        return 0.0
    ambient_c = hottest_c(truck, wire.runs, wire.a.place)
    return wire.current_a * rule.hot_ohm_per_m(wire.sizing.area_m2, ambient_c) * wire.cut_mm / 1000


def load_notes(loads: Sequence[LoadUse]) -> Iterator[Finding]:
    """Loads that lose more than their share once contacts and mated pairs count too."""
    for one in loads:
        if one.drop_v > one.allowed_v:
            text = (
                f"{one.load}: with contacts and mated pairs {one.drop_v:.2f} V are lost, the custom allows "
                f"{one.allowed_v:.2f} V. The wires alone hold."
            )
            yield Finding(
                "drop-in-all", None, f"load.{one.load}", text, "Fewer plugs, better contacts, or a relay near it."
            )


def line_notes(
    truck: Truck,
    nets: Nets,
    drawn: Drawn,
    currents: Currents,
    wires: Sequence[Wire],
    ways: Sequence[CodedWay],
    line_a: Mapping[str, tuple[float, float] | None],
) -> Iterator[Finding]:
    """Lines whose source end leads nowhere, whose currents are unknown, or that share a wire with loads."""
    for line in truck.lines:
        if line.id in nets.undrawn:
            keys = " and ".join(f"`{each}`" for each in line.undrawn)
            what = "its feed comes from" if keys.startswith("`feed") else "its source end goes"
            text = f"{line.id}: it is not said where {what}, so that wire is not drawn."
            yield Finding("source-undrawn", "not shown", line.path, text, f"Write {keys} in the line.")
        if line_a[line.id] is None:
            text = f"{line.id}: a pull is unknown or a resistor still to be chosen, so its currents are not known."
            yield Finding("line-current", "not shown", line.path, text, "Measure the pull, or choose the values first.")
        shared_v = _shared_v(truck, currents, wires, [one for one in ways if one.line == line.id], line)
        stated = line.feed_drop if line.source_side == "feed" else line.return_offset
        most_v = 0.0 if stated is None else stated.high
        if shared_v > most_v + 1e-12:
            key = "feed_drop" if line.source_side == "feed" else "return_offset"
            text = (
                f"{line.id}: loads that share its source wires shift it by {shared_v:.3f} V; the proof was made with "
                f"{key} up to {most_v:.3f} V: proof assumed less."
            )
            yield Finding(
                "assumed-less", "fail", f"{line.path}.{key}", text, "A wire of its own, or prove it with more."
            )


def _shared_v(truck: Truck, currents: Currents, wires: Sequence[Wire], ways: Sequence[CodedWay], line: Line) -> float:
    """Most volts that currents of others make along one source way, in its copper and its mated terminals. [V]"""
    worst, pair_ohm = 0.0, 0.0 if truck.harness is None else truck.harness.pair_ohm
    for way in ways:
        if not way.path.endswith("source_wire"):
            continue
        total = 0.0
        for number in way.wires:
            others = [one for one in currents.carried[number] if currents.consumers[one].id != line.id]
            wire = wires[number]
            if others and wire.current_a > 0.0:
                others_a = currents.together_a(others)
                pairs = sum(end.kind in ("cavity", "bus") for end in (wire.a, wire.b))
                total += wire_drop_v(truck, wire) * others_a / wire.current_a + others_a * pair_ohm * pairs
        worst = max(worst, total)
    return worst


def resistor_notes(resistors: Sequence[ResistorUse]) -> Iterator[Finding]:
    """Resistors that do not stand their node shorted."""
    for one in resistors:
        if one.verdict == "fail":
            rated = "a 1 W body" if one.rated_w is None else f"{one.rated_w:g} W"
            text = f"{one.resistor} takes {one.watts_shorted:.2f} W with its node shorted; {rated} is too little."
            yield Finding("resistor-heat", "fail", one.resistor, text, "A larger body, a cooler place, or more ohms.")
