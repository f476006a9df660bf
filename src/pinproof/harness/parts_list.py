"""What to buy and have for a harness: how many, how many spare, what is at hand, what to order today.

Answers: how much cable of each kind, how many terminals, seals, fuses, tubes, rings, ties; which of them take days?
Units:   pieces; metres, or feet where the design wants US units, where the kind says so.
Touches: nothing.
Beside:  `lists` writes it out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress

from pinproof.design.model import Resistor, Truck
from pinproof.design.model_harness import Cable, HarnessRules, Seal, Terminal
from pinproof.errors import PinproofError
from pinproof.harness.results import Harness
from pinproof.harness.units import units_of
from pinproof.quantities.bands import bands
from pinproof.quantities.codes import letter_code
from pinproof.quantities.customary import in_us
from pinproof.wiring import physical

Row = Sequence[object]
FOOT_M = 0.3048  # by definition
FIVE_BANDS_UP_TO = 0.02  # tolerance from which parts usually have four: common practice, no source


def coder_resistors(truck: Truck) -> Iterator[Resistor]:
    """Every resistor of the coders, in the order of the netlist."""
    for branch in physical(truck).branches:
        if branch.kind == "resistor" and branch.resistor is not None:
            yield branch.resistor


def marking(one: Resistor) -> str:
    """Colour bands and letter code of a resistor; what no code can say is left out."""
    if one.ohm is None:
        return ""
    found = []
    with suppress(PinproofError):
        found.append(" ".join(bands(one.ohm, one.tolerance, count=5 if one.tolerance <= FIVE_BANDS_UP_TO else 4)))
    with suppress(PinproofError):
        found.append(letter_code(one.ohm, one.tolerance))
    return ", ".join(found)


def parts_rows(truck: Truck, harness: Harness) -> list[Row]:
    """Everything to have: needed, spare, on hand, to order; longest delivery first. Fixed resistors are not bought."""
    rules = truck.harness
    assert rules is not None
    rows: list[tuple[int, Row]] = []
    left_m = {one.id: one.on_hand.value for one in truck.cables if one.on_hand is not None}
    for (cable, size, colour), metres in _cable_metres(harness).items():
        known = next((one for one in truck.cables if one.id == cable), None)
        have_m = left_m.get(cable, 0.0)  # of all colours together: what one colour takes, the next has not
        spare = 0.0 if known is not None and known.salvaged else rules.spare_wires  # nobody sells more of it
        left_m[cable] = max(have_m - metres * (1.0 + spare), 0.0)
        name = f"{cable or size} {colour}"
        rows.append(_length(truck, name, "cable", metres, spare, have_m, *_offer(known)))
    counts: dict[tuple[str, str], int] = {}
    for wire in harness.wires:
        for end in (wire.a, wire.b):
            for kind, name in (("terminal", end.terminal), ("seal", end.seal)):
                if name:
                    counts[kind, name] = counts.get((kind, name), 0) + 1
    stock: dict[tuple[str, str], Terminal | Seal] = {("terminal", one.id): one for one in truck.terminals}
    stock |= {("seal", one.id): one for one in truck.seals}
    for key, need in counts.items():
        kept = stock[key]
        rows.append(
            _part(kept.part or kept.id, key[0], need, _spare(rules, need), kept.on_hand or 0, kept.days, kept.price)
        )  # fmt: skip
    fuses: dict[str, int] = {}
    for fuse in harness.fuses:
        if fuse.rating_a > 0.0:
            name = f"{fuse.rating_a:g} A {fuse.family} ({fuse.colour})"
            fuses[name] = fuses.get(name, 0) + 1
    rows += [_part(name, "fuse", need, _spare(rules, need), 0, None, None) for name, need in fuses.items()]
    rows += _small_parts(truck, harness, rules)
    return [row for _, row in sorted(rows, key=lambda each: -each[0])]


def _small_parts(truck: Truck, harness: Harness, rules: HarnessRules) -> Iterator[tuple[int, Row]]:
    """What the file has no stock entries for: resistors, plugs, rings, plugs for empty cavities, tubes, ties."""
    counts: dict[tuple[str, str], int] = {}

    def add(kind: str, name: str, count: int = 1) -> None:
        counts[kind, name] = counts.get((kind, name), 0) + count

    rated = {one.resistor: one.rated_w for one in harness.resistors}
    for one in coder_resistors(truck):
        if one.ohm is not None and not one.fixed:
            body = rated.get(one.path)
            watts = "" if body is None else f", {body:g} W"
            add("resistor", f"{one.ohm:g} ohm, {one.tolerance * 100:g} %{watts}")
    used = {one.plug for one in harness.plugs if one.wire}
    for plug in truck.plugs:
        if plug.id in used:
            add("bus plug" if plug.bus else "plug", plug.part or plug.id)
    for each in harness.plugs:
        if each.seal == "plug" and each.plug in used:
            add("seal plug", f"for {next((p.part or p.id for p in truck.plugs if p.id == each.plug), each.plug)}")
    holes = {stud.id: stud.hole for stud in truck.studs}
    for wire in harness.wires:
        for end in (wire.a, wire.b):
            if end.kind == "stud" and wire.sizing is not None:
                add("ring", f"{holes.get(end.label) or 'hole not stated'}, wire {wire.sizing.size}")
    for splice in harness.splices:
        add("splice crimp", f"{len(splice.wires)} wires")
    add("tie", "cable tie", sum(run.ties for run in harness.runs))
    add("support", "clip", sum(run.supports for run in harness.runs if run.wires))
    for (kind, name), need in counts.items():
        if need:
            yield _part(name, kind, need, _spare(rules, need), 0, None, None)
    metres: dict[tuple[str, str], int] = {}
    said: Callable[[str], str] = in_us if units_of(truck) == "us" else str
    for run in harness.runs:
        if run.wires and run.sleeve_mm is not None:
            key = ("sleeve", said(f"{run.sleeve_mm:g} mm inside"))
            metres[key] = metres.get(key, 0) + run.length_mm
    for splice in harness.splices:
        if splice.shrink_mm is not None and splice.sleeve_cut_mm is not None:
            key = ("shrink tube", said(f"{splice.shrink_mm[0]:g}/{splice.shrink_mm[1]:g} mm, adhesive-lined"))
            metres[key] = metres.get(key, 0) + splice.sleeve_cut_mm
    for (kind, name), mm in metres.items():
        yield _length(truck, name, kind, mm / 1000, rules.spare_parts, 0.0, None, None)


def _length(
    truck: Truck, name: str, kind: str, need_m: float, spare: float, have_m: float, days: int | None,
    price_per_m: float | None,
) -> tuple[int, Row]:  # fmt: skip
    """What is bought by length. Feet are counted in tenths: up for what is needed, down for what is there."""
    if units_of(truck) == "us":
        need, have = _tenths(math.ceil, need_m / FOOT_M), _tenths(math.floor, have_m / FOOT_M)
        price = None if price_per_m is None else price_per_m * FOOT_M
        return _part(name, f"{kind} [ft]", need, _tenths(math.ceil, spare * need_m / FOOT_M), have, days, price)
    return _part(name, f"{kind} [m]", need_m, _tenths(math.ceil, spare * need_m), have_m, days, price_per_m)


def _tenths(whole: Callable[[float], int], number: float) -> float:
    return whole(round(number * 10, 9)) / 10


def _offer(cable: Cable | None) -> tuple[int | None, float | None]:
    return (None, None) if cable is None else (cable.days, cable.price)


def _spare(rules: HarnessRules, need: int) -> int:
    return max(math.ceil(rules.spare_parts * need), 1)


def _part(
    name: str, kind: str, need: float, spare: float, have: float, days: int | None, price: float | None
) -> tuple[int, Row]:
    order = max(need + spare - have, 0.0)
    numbers = [f"{each:.2f}".rstrip("0").rstrip(".") for each in (need, spare, have, order)]
    cost = "" if price is None else f"{order * price:.2f}"
    days_text = "" if days is None else days
    return days or 0, (name, kind, *numbers, days_text, cost, "yes" if order > 0 else "no")


def _cable_metres(harness: Harness) -> dict[tuple[str, str, str], float]:
    found: dict[tuple[str, str, str], int] = {}
    for wire in harness.wires:
        assert wire.sizing is not None
        key = (wire.sizing.cable, wire.sizing.size, wire.colour)
        found[key] = found.get(key, 0) + wire.cut_mm
    return {key: mm / 1000 for key, mm in sorted(found.items())}
