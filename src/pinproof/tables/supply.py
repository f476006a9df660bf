"""What a 12 V vehicle supply may do: working ranges, overvoltage, load dump, reversal, starting.

Answers: between which voltages must the line work, and what must its parts survive?
Units:   V, s, Ω.
Touches: the data files beside this module.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pinproof.tables.load import Sourced, load


@dataclass(frozen=True, kw_only=True)
class SupplyRange(Sourced):
    """Voltages at which equipment of this code works in full. [V]"""

    code: str
    low_v: float
    high_v: float


@dataclass(frozen=True, kw_only=True)
class Overvoltage(Sourced):
    """A voltage and how long it lasts. [V, s]"""

    case: str
    supply_v: float
    duration_s: float


@dataclass(frozen=True, kw_only=True)
class LoadDump(Sourced):
    """Load-dump test. Source resistance and duration are None where they were not read. [V, Ω, s]"""

    test: str
    low_v: float
    high_v: float
    low_ohm: float | None
    high_ohm: float | None
    short_s: float | None
    long_s: float | None
    base_v: float
    pulses: int
    interval_s: float


@dataclass(frozen=True, kw_only=True)
class StartingProfile(Sourced):
    """Sag while the starter turns: a short dip, then the cranking voltage. [V, s]"""

    level: str
    lowest_v: float
    cranking_v: float
    cranking_s: float
    fall_s: float
    lowest_s: float
    ramp_s: float


def supply_range(code: str) -> SupplyRange:
    """Working range for code A, B, C or D; OutOfTable for another."""
    table = load("iso_16750_2_supply")
    row = table.row(code.upper())
    return SupplyRange(code=row["code"], low_v=row["low_v"], high_v=row["high_v"], source=table.source, seen=table.seen)


def load_dump(*, suppressed: bool) -> LoadDump:
    """Load-dump test A (not suppressed) or B (clamped at the alternator)."""
    table = load("iso_16750_2_load_dump")
    row = table.row("B" if suppressed else "A")
    cells: dict[str, Any] = {name: (None if cell == "" else cell) for name, cell in row.items()}
    return LoadDump(**cells, source=table.source, seen=table.seen, note=table.note)


def jump_start() -> Overvoltage:
    """Supply from a 24 V vehicle (from memory)."""
    return _overvoltage("jump start")


def long_term_overvoltage() -> Overvoltage:
    """A charging system whose regulator has failed (from memory)."""
    return _overvoltage("long-term overvoltage")


def reverse_supply(case: str = "full reverse") -> Overvoltage:
    """Reversed supply, case "alternator not fused" or "full reverse" (the latter voltage from memory)."""
    table = load("iso_16750_2_reverse")
    row = table.row(case)
    return Overvoltage(
        case=case, supply_v=row["volts"], duration_s=row["seconds"], source=table.source, seen=row["row_seen"]
    )


def starting_profile(level: str) -> StartingProfile:
    """Starting profile I, II, III or IV (from memory)."""
    table = load("iso_16750_2_starting")
    row = table.row(level.upper())
    times = {name: table.facts[name] for name in ("fall_s", "lowest_s", "ramp_s")}
    return StartingProfile(**row, **times, source=table.source, seen=table.seen, note=table.note)


def _overvoltage(case: str) -> Overvoltage:
    table = load("iso_16750_2_overvoltage")
    row = table.row(case)
    return Overvoltage(
        case=case,
        supply_v=row["volts"],
        duration_s=row["seconds"],
        source=table.source,
        seen=table.seen,
        note=table.note,
    )
