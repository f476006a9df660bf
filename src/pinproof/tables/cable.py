"""Road-vehicle cable: resistance limit, outside diameter, temperature class.

Answers: how thick is a 0.5 mm² thin-wall cable over its insulation, and what may a metre of it measure?
Units:   m², m, Ω/m, °C.
Touches: the data files beside this module.
Beware:  the resistance column is from memory and says so; IEC 60228 class 5 in `copper` was read, and is cautious.
"""

from __future__ import annotations

from dataclasses import dataclass

from pinproof.tables.load import Figure, Sourced, load


@dataclass(frozen=True, kw_only=True)
class VehicleCable(Sourced):
    """One cable size. Each figure has its own source; the row counts as from memory if any of them does."""

    area_m2: float
    max_ohm_per_m: Figure
    max_outside_m: Figure


def vehicle_cable_areas_m2() -> tuple[float, ...]:
    """The areas the cable table has. [m²]"""
    return tuple(float(area) * 1e-6 for area in load("iso_6722_cable").column_values("area_mm2"))


def vehicle_cable(area_m2: float) -> VehicleCable:
    """Thin-wall cable to ISO 6722 of a nominal area; OutOfTable between its sizes."""
    table = load("iso_6722_cable")
    row = table.row(float(area_m2 * 1e6))
    resistance = Figure(
        value=row["max_mohm_per_m"] / 1000.0,
        unit="Ω/m",
        source=table.source_of("max_mohm_per_m"),
        seen=table.seen_of("max_mohm_per_m"),
        note=str(table.facts["disputed"]),
    )
    remembered = row["outside_seen"] == "memory"
    outside = Figure(
        value=row["max_outside_mm"] / 1000.0,
        unit="m",
        source=table.source_of("outside_seen") if remembered else table.source,
        seen=row["outside_seen"],
        note=str(table.facts["disputed"]),
    )
    return VehicleCable(
        area_m2=area_m2,
        max_ohm_per_m=resistance,
        max_outside_m=outside,
        source=f"outside: {outside.source}; resistance: {resistance.source}",
        seen="memory" if resistance.from_memory or outside.from_memory else table.seen,
        note=table.note,
    )


def gxl_outside_m(awg: int) -> Figure:
    """Nominal outside diameter of SAE J1128 GXL cable, 20 to 8 AWG even numbers. [m]"""
    table = load("sae_j1128_gxl")
    value = table.row(awg)["outside_in"] * 0.0254
    return Figure(value=value, unit="m", source=table.source, seen=table.seen, note=table.note)


def j1128_wall_m(kind: str) -> Figure:
    """Nominal insulation wall of TXL, GXL or SXL cable (from memory). [m]"""
    table = load("sae_j1128_walls")
    return Figure(value=table.row(kind)["wall_in"] * 0.0254, unit="m", source=table.source, seen=table.seen)


def temperature_class_c(letter: str) -> Figure:
    """Highest temperature of a road-vehicle cable class, A to H (from memory). [°C]"""
    table = load("iso_6722_temperature_class")
    value = float(table.row(letter.upper())["highest_c"])
    return Figure(value=value, unit="°C", source=table.source, seen=table.seen, note=table.note)
