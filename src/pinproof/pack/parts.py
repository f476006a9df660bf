"""Which resistors to solder, with their colours and letter codes.

Answers: what is the value of each coder resistor, how is it marked, may it be changed?
Touches: nothing.
Beside:  `pinproof.quantities.markings` knows the codes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pinproof.design.model import Resistor, Truck
from pinproof.errors import PinproofError
from pinproof.quantities import format_value
from pinproof.quantities.markings import bands, letter_code


@dataclass(frozen=True)
class Part:
    """One resistor of the coder, ready to print."""

    where: str
    value: str
    tolerance: str
    colours: str
    code: str
    basis: str
    note: str


def parts_of(truck: Truck) -> tuple[Part, ...]:
    """Every coder resistor of a truck in file order, pulls inside controllers left out."""
    return tuple(_part(where, one) for where, one in _resistors(truck))


def _resistors(truck: Truck) -> Iterator[tuple[str, Resistor]]:
    for line in truck.lines:
        for contact in truck.contacts_of(line):
            if contact.resistor is not None:
                yield f"{contact.id} (line {line.id})", contact.resistor
        named = {"idle": line.idle_resistor, "top": line.top_resistor, "end": line.end_resistor}
        for name, one in named.items():
            if one is not None:
                yield f"{name} resistor (line {line.id})", one
        for element in line.elements:
            if element.resistor is not None:
                yield f"{element.id} (line {line.id})", element.resistor


def _part(where: str, one: Resistor) -> Part:
    tolerance = format_value(one.tolerance, "tolerance")
    note = "fixed, not to be re-chosen" if one.fixed else ""
    if one.ohm is None:
        return Part(where, "to choose", tolerance, "", "", one.basis, note)
    value = format_value(one.ohm, "resistance", digits=6)
    return Part(
        where, value, tolerance, _colours(one.ohm, one.tolerance), _code(one.ohm, one.tolerance), one.basis, note
    )


def _colours(ohm: float, tolerance: float) -> str:
    """Four bands where two digits are enough, else five; empty where no bands say this value."""
    for count in (4, 5):
        try:
            return ", ".join(bands(ohm, tolerance, count=count))
        except PinproofError:
            continue
    return ""


def _code(ohm: float, tolerance: float) -> str:
    for stated in (tolerance, None):
        try:
            return letter_code(ohm, stated)
        except PinproofError:
            continue
    return ""
