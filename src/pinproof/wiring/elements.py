"""The physical netlist of a truck: every form expanded into branches between nodes, once.

Answers: what is joined to what, through which element, and how far may each element lie.
Units:   ohms, volts, degrees Celsius.
Touches: nothing: the same truck gives the same netlist.
Beside:  `view` picks what one pin can see. docs/design-file.md shows the circuit each form stands for.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from pinproof.design.model import UNKNOWN, Contact, Input, Line, Pull, Resistor, Truck, Value

BranchKind = Literal["resistor", "contact", "wire", "leak", "pull"]
REFERENCE_TEMP_C = 20.0  # resistor data hold here


@dataclass(frozen=True)
class Branch:
    """One two-pole element.

    `id` is the design path of the entry. `low_ohm` … `high_ohm` is its whole range at any allowed temperature; for a
    contact that of its closed state, with `open_low_ohm` as its least resistance when it does not conduct.
    A resistor whose tempco has a known sign carries it in `tempco_per_k`; its ohms then hold at 20 °C and
    `factor_at` moves them.
    """

    id: str
    kind: BranchKind
    a: str
    b: str
    line: str
    low_ohm: float
    nominal_ohm: float
    high_ohm: float
    basis: str
    place: str | None = None
    contact: str | None = None
    open_low_ohm: float = math.inf
    open_basis: str = "assumed"
    conducts_at_rest: bool = False
    tempco_per_k: float = 0.0
    resistor: Resistor | None = None

    def factor_at(self, temp_low_c: float, temp_high_c: float) -> tuple[float, float]:
        """Least and greatest factor on the ohms over a slice of the shared temperature."""
        ends = (
            1.0 + self.tempco_per_k * (temp_low_c - REFERENCE_TEMP_C),
            1.0 + self.tempco_per_k * (temp_high_c - REFERENCE_TEMP_C),
        )
        return min(ends), max(ends)


@dataclass(frozen=True)
class Cause:
    """One free number behind the rails: a supply, a drop, an offset. `id` is its design path. [V]"""

    id: str
    low_v: float
    nominal_v: float
    high_v: float
    basis: str


@dataclass(frozen=True)
class Rail:
    """An ideal potential: the sum of `gains` times the causes of these ids. [V]"""

    name: str
    gains: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Physical:
    """All lines of a truck in one netlist. Private nodes carry their line's id, so lines meet only in rails or pins."""

    truck: Truck
    branches: tuple[Branch, ...]
    rails: tuple[Rail, ...]

    def rail(self, name: str) -> Rail:
        """The rail of this name; KeyError if there is none."""
        for rail in self.rails:
            if rail.name == name:
                return rail
        raise KeyError(name)

    def causes(self, key_state: str) -> dict[str, Cause]:
        """Every cause by its id, with the supply of this key state under the id ``supply``."""
        truck = self.truck
        supply = truck.supply.states[key_state]
        found = {"supply": _cause(supply, "supply")}
        for each in truck.inputs:
            if each.reference is not None:
                found[each.reference.path] = _cause(each.reference)
        for line in truck.lines:
            for value in (line.feed_drop, line.return_offset, line.series_diode):
                if value is not None:
                    found[value.path] = _cause(value)
        return found


def resistor_bounds_ohm(resistor: Resistor, temp_low_c: float, temp_high_c: float) -> tuple[float, float]:
    """Least and greatest resistance of a coder resistor or a pull. [Ω]

    Tolerance, ageing and a tempco of unknown sign each widen it by their own factor; a tempco of known sign does not
    count here, since one temperature then moves all such resistors together.
    """
    if resistor.ohm is None:
        raise ValueError(f"{resistor.path} has no value yet")
    reach_k = max(abs(temp_low_c - REFERENCE_TEMP_C), abs(temp_high_c - REFERENCE_TEMP_C))
    heat = 0.0 if resistor.tempco_known else resistor.tempco_per_k * reach_k
    low = resistor.ohm * (1.0 - resistor.tolerance) * (1.0 - resistor.ageing) * (1.0 - heat)
    high = resistor.ohm * (1.0 + resistor.tolerance) * (1.0 + resistor.ageing) * (1.0 + heat)
    return max(low, 0.0), high


def pin_node(input_id: str) -> str:
    """Node of an input's pin."""
    return f"pin@{input_id}"


def contact_node(line_id: str, contact_id: str) -> str:
    """Node between a contact and its resistor. The mark keeps it apart from a form's own nodes: ids cannot hold it."""
    return f"{line_id}:~{contact_id}"


def node_name(node: str) -> str:
    """A private node as the owner knows it: the contact's id, "far", "source", "manual", or the file's own word."""
    return node.partition(":")[2].removeprefix("~")


def physical(truck: Truck) -> Physical:
    """Expand every line and input of a truck. Resistors still to be chosen stand with ``nan`` ohms."""
    branches: list[Branch] = []
    rails: dict[str, Rail] = {
        "ground": Rail("ground", ()),
        "battery": Rail("battery", (("supply", 1.0),)),
    }
    for each in truck.inputs:
        if each.reference is not None:
            rails[f"reference@{each.id}"] = Rail(f"reference@{each.id}", ((each.reference.path, 1.0),))
    for line in truck.lines:
        owner = truck.input_of(line)
        for rail in _line_rails(line, owner):
            rails[rail.name] = rail
        if line is next(each for each in truck.lines if each.input == line.input):  # the pulls inside are there once
            branches += _input_branches(truck, owner, line)
        branches += _leaks(line, owner)
        branches += _coder(truck, line, owner)
    return Physical(truck, tuple(branches), tuple(rails.values()))


def _cause(value: Value, name: str = "") -> Cause:
    return Cause(name or value.path, value.low, value.value, value.high, value.basis)


def _line_rails(line: Line, owner: Input) -> Iterator[Rail]:
    offset = [(line.return_offset.path, 1.0)] if line.return_offset else []
    drop = [(line.feed_drop.path, -1.0)] if line.feed_drop else []
    diode = line.series_diode
    if diode and line.source_side == "return":
        offset.append((diode.path, 1.0))
    yield Rail(f"return@{line.id}", tuple(offset))
    if line.has_feed:
        if diode and line.source_side == "feed":
            drop.append((diode.path, -1.0))
        head = "supply" if line.feed_from == "battery" else (owner.reference.path if owner.reference else "")
        yield Rail(f"feed@{line.id}", ((head, 1.0), *drop))


def _input_branches(truck: Truck, owner: Input, line: Line) -> Iterator[Branch]:
    pin = pin_node(owner.id)
    up_to = "battery" if owner.pull_up_to == "battery" else f"reference@{owner.id}"
    for pull, rail in ((owner.pull_up, up_to), (owner.pull_down, "ground")):
        known = known_pull(pull)
        if known is not None:
            yield _resistor(known, "pull", rail, pin, line.id, _in_place(truck, None))


def known_pull(pull: Pull) -> Resistor | None:
    """The pull as a resistor, or None where there is none or nobody has measured it."""
    return None if pull is None or pull is UNKNOWN else pull


def _leaks(line: Line, owner: Input) -> Iterator[Branch]:
    pin = pin_node(owner.id)
    for leak, rail in ((line.leak_to_ground, f"return@{line.id}"), (line.leak_to_supply, "battery")):
        if leak is not None:
            yield _leak(leak, pin, rail, line.id)


def _leak(leak: Value, a: str, b: str, line_id: str) -> Branch:
    return Branch(leak.path, "leak", a, b, line_id, leak.low, math.inf, math.inf, leak.basis)


def _wire(wire: Value, a: str, b: str, line_id: str) -> Branch:
    return Branch(wire.path, "wire", a, b, line_id, wire.low, wire.value, wire.high, wire.basis)


def _resistor(
    resistor: Resistor,
    kind: BranchKind,
    a: str,
    b: str,
    line_id: str,
    where: tuple[str | None, tuple[float, float]],
) -> Branch:
    place, temp_c = where
    tempco = resistor.tempco_per_k if resistor.tempco_known else 0.0
    if resistor.ohm is None:
        low = nominal = high = math.nan
    else:
        low, high = resistor_bounds_ohm(resistor, *temp_c)
        nominal = resistor.ohm
    # A coder resistor's ohms are a choice; what may be a guess is how far the part strays from them.
    basis = resistor.spread_basis if kind == "resistor" and resistor.basis == "assumed" else resistor.basis
    return Branch(
        resistor.path, kind, a, b, line_id, low, nominal, high, basis, place, tempco_per_k=tempco,
        resistor=resistor,
    )  # fmt: skip


def _coder(truck: Truck, line: Line, owner: Input) -> Iterator[Branch]:
    pin = pin_node(owner.id)
    if line.form == "elements":
        yield from _free_elements(truck, line, pin)
        return
    source, far = f"{line.id}:source", f"{line.id}:far"
    assert line.wire is not None and line.source_wire is not None
    yield _wire(line.wire, pin, far, line.id)
    yield _wire(line.source_wire, f"{line.source_side}@{line.id}", source, line.id)
    if line.idle_resistor is not None:
        yield _resistor(line.idle_resistor, "resistor", source, far, line.id, _seat(truck, line.idle_resistor))
    if line.top_resistor is not None:
        yield _resistor(line.top_resistor, "resistor", f"feed@{line.id}", far, line.id, _seat(truck, line.top_resistor))
    if line.form == "ladder":
        yield from _ladder(truck, line, source, far)
    else:
        yield from _parallel(truck, line, source, far)


def _parallel(truck: Truck, line: Line, source: str, far: str) -> Iterator[Branch]:
    through = line.enable is not None and line.taps_fed == "through enable"
    manual = f"{line.id}:manual"
    for contact in truck.contacts_of(line):
        place = _where(truck, contact)[0]
        inner = contact_node(line.id, contact.id)
        if through and contact.id == line.enable:
            yield _contact(contact, source, manual, place)
            if contact.resistor is not None:
                yield _resistor(
                    contact.resistor, "resistor", manual, far, line.id, _seat(truck, contact.resistor, contact)
                )
            continue
        head = manual if through else source
        if contact.resistor is None:
            yield _contact(contact, head, far, place)
        else:
            yield _contact(contact, head, inner, place)
            yield _resistor(contact.resistor, "resistor", inner, far, line.id, _seat(truck, contact.resistor, contact))


def _ladder(truck: Truck, line: Line, source: str, far: str) -> Iterator[Branch]:
    above = far
    for contact in truck.contacts_of(line):
        below = above
        if contact.resistor is not None:
            below = contact_node(line.id, contact.id)
            seat = _seat(truck, contact.resistor, contact)
            yield _resistor(contact.resistor, "resistor", above, below, line.id, seat)
        yield _contact(contact, below, source, _where(truck, contact)[0])
        above = below
    if line.end_resistor is not None:
        yield _resistor(line.end_resistor, "resistor", above, source, line.id, _seat(truck, line.end_resistor))


def _free_elements(truck: Truck, line: Line, pin: str) -> Iterator[Branch]:
    fixed = {
        "pin": pin,
        "ground": "ground",
        "battery": "battery",
        "return": f"return@{line.id}",
        "feed": f"feed@{line.id}",
        "reference": f"reference@{line.input}",
    }
    for element in line.elements:
        a, b = (fixed.get(node, f"{line.id}:{node}") for node in element.between)
        if element.resistor is not None:
            yield _resistor(element.resistor, "resistor", a, b, line.id, _seat(truck, element.resistor))
        elif element.contact is not None:
            contact = truck.contact(element.contact)
            yield _contact(contact, a, b, _where(truck, contact)[0])
        elif element.wire is not None:
            yield _wire(element.wire, a, b, line.id)
        elif element.leak is not None:
            yield _leak(element.leak, a, b, line.id)


def _contact(contact: Contact, a: str, b: str, place: str | None) -> Branch:
    closed = contact.closed
    return Branch(
        contact.path, "contact", a, b, contact.line, closed.low, closed.value, closed.high, closed.basis, place,
        contact=contact.id,
        open_low_ohm=contact.open.low if contact.open else math.inf,
        open_basis=contact.open.basis if contact.open else "assumed",
        conducts_at_rest=contact.kind == "normally closed",
    )  # fmt: skip


def _where(truck: Truck, contact: Contact) -> tuple[str | None, tuple[float, float]]:
    """Place of a contact and the temperature range there."""
    return _at_device(truck, contact.device)


def _seat(truck: Truck, resistor: Resistor, contact: Contact | None = None) -> tuple[str | None, tuple[float, float]]:
    """Place of a coder resistor and the temperature range there: where its `at` says, else at its contact's device."""
    plug = next((each for each in truck.plugs if each.id == resistor.at), None)
    if plug is not None:
        return _in_place(truck, plug.place)
    if resistor.at not in ("", "device"):
        return _at_device(truck, resistor.at)
    return _where(truck, contact) if contact is not None else _in_place(truck, None)


def _at_device(truck: Truck, device: str) -> tuple[str | None, tuple[float, float]]:
    try:
        return _in_place(truck, truck.device(device).place)
    except KeyError:
        return _in_place(truck, None)


def _in_place(truck: Truck, place_id: str | None) -> tuple[str | None, tuple[float, float]]:
    whole = (truck.temperature.low, truck.temperature.high)
    for place in truck.places:
        if place.id == place_id and place.temperature is not None:
            return place_id, (place.temperature.low, place.temperature.high)
    return place_id, whole
