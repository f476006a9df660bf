"""Which resistors to solder, with their colours and letter codes.

Answers: what is the value of each coder resistor, how is it marked, what does it say from the wrong end, may it be
         changed?
Units:   ohms; tolerances as ratios.
Touches: nothing.
Beside:  `pinproof.quantities.markings` knows the codes; `order` counts what to buy.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pinproof.design.model import Resistor, Truck
from pinproof.errors import PinproofError
from pinproof.quantities import format_value
from pinproof.quantities.markings import bands, letter_code, read_bands
from pinproof.quantities.preferred import commonest_series

FIVE_BANDS_UP_TO = 0.02
"""Tolerance up to which parts mostly carry five bands, even where four could say the value (common practice, no
source)."""
HELD_OHM = (0.1, 22e6)
"""Values between which banded resistors are usually sold (common practice, no source)."""


@dataclass(frozen=True)
class Part:
    """One resistor of the coder, ready to print."""

    where: str
    value: str
    tolerance: str
    colours: str  # bands in words, first band first; "" where no bands say this value
    code: str
    basis: str
    note: str
    line: str = ""
    path: str = ""
    ohm: float | None = None
    tolerance_ratio: float = 0.0
    fixed: bool = False
    rated_w: float | None = None  # what its body carries, where the file says so
    bands: tuple[str, ...] = ()
    trap: str = ""  # what the bands say from the other end, where such a part is made
    also: str = ""  # the other number of bands this value is sold with


def parts_of(truck: Truck) -> tuple[Part, ...]:
    """Every coder resistor of a truck in file order, pulls inside controllers left out."""
    return tuple(_part(line, where, one) for line, where, one in _resistors(truck))


def _resistors(truck: Truck) -> Iterator[tuple[str, str, Resistor]]:
    for line in truck.lines:
        for contact in truck.contacts_of(line):
            if contact.resistor is not None:
                yield line.id, f"{contact.id} (line {line.id})", contact.resistor
        named = {"idle": line.idle_resistor, "top": line.top_resistor, "end": line.end_resistor}
        for name, one in named.items():
            if one is not None:
                yield line.id, f"{name} resistor (line {line.id})", one
        for element in line.elements:
            if element.resistor is not None:
                yield line.id, f"{element.id} (line {line.id})", element.resistor


def _part(line: str, where: str, one: Resistor) -> Part:
    tolerance = format_value(one.tolerance, "tolerance")
    note = "fixed, not to be re-chosen" if one.fixed else ""
    rated_w = None if one.rated_power is None else one.rated_power.value
    if one.ohm is None:
        return Part(
            where, "to choose", tolerance, "", "", one.basis, note, line=line, path=one.path,
            tolerance_ratio=one.tolerance, fixed=one.fixed, rated_w=rated_w,
        )  # fmt: skip
    value = format_value(one.ohm, "resistance", digits=6)
    rows = _rows_of_bands(one.ohm, one.tolerance)
    first = rows[0] if rows else ()
    also = f"also sold with {len(rows[1])} bands: {', '.join(rows[1])}" if len(rows) > 1 else ""
    return Part(
        where, value, tolerance, ", ".join(first), _code(one.ohm, one.tolerance), one.basis, note, line=line,
        path=one.path, ohm=one.ohm, tolerance_ratio=one.tolerance, fixed=one.fixed, rated_w=rated_w, bands=first,
        trap=_trap(first), also=also,
    )  # fmt: skip


def _rows_of_bands(ohm: float, tolerance: float) -> list[tuple[str, ...]]:
    """The rows of bands that say this value, the one to expect first; none where no bands do."""
    found = []
    for count in (5, 4) if tolerance <= FIVE_BANDS_UP_TO * (1.0 + 1e-9) else (4, 5):
        try:
            found.append(bands(ohm, tolerance, count=count))
        except PinproofError:
            continue
    return found


def _trap(row: tuple[str, ...]) -> str:
    """What a row of bands says from its other end; "" where no such part is made, so that nobody can take it for one.

    Both ends show the same number of bands; a tolerance that restatements of the code dispute is left out. A first
    band of black would be a value of fewer digits, which is not marked so.
    """
    for each in read_bands(row) if row else ():
        if each.direction != "reversed" or each.colours[0] == "black":
            continue
        low_ohm, high_ohm = HELD_OHM
        if low_ohm <= each.ohm <= high_ohm and commonest_series(each.ohm) is not None:
            said = format_value(each.ohm, "resistance", digits=6)
            tolerance = "" if each.disputed else f" {format_value(each.tolerance, 'tolerance')}"
            return f"from the other end: {said}{tolerance}"
    return ""


def _code(ohm: float, tolerance: float) -> str:
    for stated in (tolerance, None):
        try:
            return letter_code(ohm, stated)
        except PinproofError:
            continue
    return ""
