"""Current in wires and the volt drop that is accepted.

Answers: how many amperes may this wire carry, and how much may it drop?
Units:   A, V, fraction.
Touches: the data files beside this module.
"""

from __future__ import annotations

from pinproof.errors import OutOfTable
from pinproof.tables.load import Figure, load

_AMPACITY = {"33 CFR 183.425": "cfr_33_183_425_ampacity", "AC 43.13-1B bundle": "ac_43_13_bundle_ampacity"}


def ampacity_documents() -> tuple[str, ...]:
    """Documents with current by gauge and insulation temperature."""
    return tuple(_AMPACITY)


def ampacity_a(awg: int, insulation_c: int, document: str = "AC 43.13-1B bundle") -> Figure:
    """Allowed continuous current of a wire gauge with insulation of a temperature rating.

    The aircraft bundle table (70 °C, 33 or more wires) is the cautious default; the boat table is for single wires at
    30 °C. OutOfTable if the document lacks the gauge or the temperature. [A]
    """
    if document not in _AMPACITY:
        raise OutOfTable("The ampacity tables", f'"{document}"', ", ".join(_AMPACITY))
    table = load(_AMPACITY[document])
    column = f"c{insulation_c}"
    if column not in table.columns:
        ratings = ", ".join(name[1:] for name in table.columns[1:])
        raise OutOfTable(table.title, f"{insulation_c} °C insulation", f"{ratings} °C")
    return Figure(value=float(table.row(awg)[column]), unit="A", source=table.source, seen=table.seen, note=table.note)


def bundle_current_factor(loaded_wires: int) -> Figure:
    """Factor on the current of each wire when several loaded ones lie together (a rule for buildings). [1]"""
    table = load("nec_bundle_factors")
    for fewest, most, factor in table.rows:
        if fewest <= loaded_wires <= most:
            return Figure(value=factor, unit="1", source=table.source, seen=table.seen, note=table.note)
    raise OutOfTable(table.title, f"{loaded_wires} wires", "1 wire and more")


def drop_fraction(use: str = "critical") -> Figure:
    """Accepted volt drop as a fraction of the supply, "critical" or "not critical": a custom from boats. [1]"""
    table = load("drop_customs")
    return Figure(value=table.row(use)["fraction"], unit="1", source=table.source, seen=table.seen, note=table.note)


def aircraft_drop_v(system_v: int, *, intermittent: bool = False) -> Figure:
    """Accepted volt drop in a 14, 28, 115 or 200 V aircraft system (assignment to systems from memory). [V]"""
    table = load("aircraft_drop")
    value = table.row(system_v)["intermittent_v" if intermittent else "continuous_v"]
    return Figure(value=value, unit="V", source=table.source, seen=table.seen)
