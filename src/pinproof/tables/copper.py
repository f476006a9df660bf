"""Copper wire: gauge to diameter and area, resistance per metre at any temperature.

Answers: how thick is 20 AWG, and what resistance does a metre of so much copper have at 85 °C?
Units:   m, m², Ω/m, °C.
Touches: the data files beside this module.
Sources: ASTM B258 (gauge), IEC 60028 (resistivity), IEC 60228 class 5, FAA AC 43.13-1B; each stands in its file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from pinproof.errors import OutOfTable
from pinproof.tables.load import Figure, Sourced, load

_FOOT_M = 0.3048
AWG_LARGEST = -3
"""Gauge number of 4/0, the thickest wire the formula is used for; 1/0 is number 0."""
AWG_SMALLEST = 40


@dataclass(frozen=True, kw_only=True)
class Conductor(Sourced):
    """A copper conductor at 20 °C: solid-wire diameter for that area, and resistance by formula."""

    awg: int | None
    diameter_m: float
    area_m2: float
    ohm_per_m: float


@dataclass(frozen=True, kw_only=True)
class Copper(Sourced):
    """Constants of annealed copper and the temperatures between which the straight line is used."""

    resistivity_ohm_m: float
    tempco_per_k: float
    coldest_c: float
    hottest_c: float


@cache
def copper() -> Copper:
    """Resistivity at 20 °C, temperature coefficient, and the range of the straight line in temperature."""
    table = load("iec_60028_copper")
    facts = table.facts
    return Copper(
        resistivity_ohm_m=facts["resistivity_ohm_m"],
        tempco_per_k=facts["tempco_per_k"],
        coldest_c=facts["coldest_c"],
        hottest_c=facts["hottest_c"],
        source=table.source,
        seen=table.seen,
        note=table.note,
    )


def awg_diameter_m(awg: int) -> float:
    """Diameter of a solid wire of gauge `awg` (0 for 1/0, -3 for 4/0); OutOfTable beyond 4/0 and 40. [m]"""
    table = load("astm_b258_awg")
    facts = table.facts
    if not facts["largest"] <= awg <= facts["smallest"]:
        raise OutOfTable(table.title, f"AWG {awg}", f"4/0 to {facts['smallest']} AWG")
    return float(facts["diameter_36_m"] * facts["ratio"] ** ((36 - awg) / facts["steps"]))


def awg_area_m2(awg: int) -> float:
    """Conductor area of gauge `awg` taken as solid wire. [m²]"""
    return math.pi / 4.0 * awg_diameter_m(awg) ** 2


def copper_ohm_per_m(area_m2: float, temp_c: float = 20.0) -> float:
    """Resistance of one metre of copper of a given area at a given temperature.

    Parameters
    ----------
    area_m2 : float
        Metal cross-section. [m²]
    temp_c : float
        Temperature of the copper, -60 to 250 °C. [°C]

    Returns
    -------
    float
        Solid copper; a stranded wire has 2 to 11 % more than its nominal area gives. [Ω/m]

    Raises
    ------
    ValueError
        If `area_m2` is not above zero.
    OutOfTable
        If the temperature is outside the range of the straight line.

    Notes
    -----
    ``r = rho20 / area * (1 + alpha20 * (t - 20))`` [1]_.

    Examples
    --------
    >>> from pinproof.tables import copper_ohm_per_m
    >>> print(f"{copper_ohm_per_m(0.5e-6) * 1000:.2f} mΩ")
    34.48 mΩ

    References
    ----------
    .. [1] IEC 60028, International standard of resistance for copper (secondary).
    """
    if not area_m2 > 0.0:
        raise ValueError(f"area_m2 must be above zero, not {area_m2}")
    metal = copper()
    if not metal.coldest_c <= temp_c <= metal.hottest_c:
        raise OutOfTable("Copper resistivity", f"{temp_c} °C", f"{metal.coldest_c:g} to {metal.hottest_c:g} °C")
    return metal.resistivity_ohm_m / area_m2 * (1.0 + metal.tempco_per_k * (temp_c - 20.0))


def conductor(*, awg: int | None = None, area_m2: float | None = None) -> Conductor:
    """The conductor of a gauge or of an area; give one of the two. OutOfTable beyond 4/0 and 40 AWG."""
    if (awg is None) == (area_m2 is None):
        raise ValueError("give either awg or area_m2")
    area = awg_area_m2(awg) if awg is not None else area_m2
    assert area is not None
    metal, gauge = copper(), load("astm_b258_awg")
    return Conductor(
        awg=awg,
        diameter_m=math.sqrt(4.0 * area / math.pi),
        area_m2=area,
        ohm_per_m=copper_ohm_per_m(area),
        source=f"{metal.source}; {gauge.source}" if awg is not None else metal.source,
        seen=metal.seen,
        note="solid wire by formula",
    )


def class5_max_ohm_per_m(area_m2: float) -> Figure:
    """Highest resistance at 20 °C of a flexible (class 5) copper conductor; OutOfTable between its sizes. [Ω/m]"""
    table = load("iec_60228_class5")
    row = table.row(float(area_m2 * 1e6))
    return Figure(
        value=row["max_ohm_per_km"] / 1000.0, unit="Ω/m", source=table.source, seen=table.seen, note=table.title
    )


def aircraft_max_ohm_per_m(awg: int) -> Figure:
    """Highest resistance at 20 °C of tin-plated stranded aircraft wire. [Ω/m]"""
    table = load("ac_43_13_stranded")
    row = table.row(awg)
    value = row["max_ohm_per_kft"] / (1000.0 * _FOOT_M)
    return Figure(value=value, unit="Ω/m", source=table.source, seen=table.seen, note=table.note)
