"""Bundles: diameter, sleeve, shrink, bend, supports, ties, mass.

Answers: how thick is this bundle, what covers it, what holds it, what does it weigh?
Units:   m, kg.
Touches: the tables.
Sources: plane geometry (exact cases), else the usual 1.2 · √Σd² (an estimate); AC 43.13-1B 11-249 (sleeve); a tubing
         maker's guide (shrink); NASA-STD-8739.4 (bend). Sizes of sleeves and tubes: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pinproof.tables import bundle_factor, bundle_ratio, shrink_range_m

SLEEVES_M = tuple(each / 1000 for each in (3, 4, 6, 8, 10, 13, 16, 20, 25, 32, 40))
SHRINK_M = tuple(
    (supplied / 1000, recovered / 1000)
    for supplied, recovered in (
        (1.6, 0.8), (2.4, 1.2), (3.2, 1.6), (4.8, 2.4), (6.4, 2.1), (9.5, 3.2), (12.7, 4.2), (19.0, 6.4),
    )
)  # fmt: skip
SLEEVE_ROOM = 1.25
BEND = 10.0
SPLICE_BODY_M = 0.001
COVER_EACH_SIDE_M = 0.006
LENGTHWISE = 0.15
COPPER_KG_PER_M3 = 8890.0  # from memory
PLASTIC_KG_PER_M3 = 1300.0  # common practice, no source
FILL = 0.75  # copper in the circle around the strands: common practice, no source
ALIKE = 0.01


@dataclass(frozen=True)
class Bundle:
    """Diameter of the smallest circle around wires. [m]"""

    diameter_m: float
    exact: bool


def bundle_m(diameters_m: Sequence[float]) -> Bundle:
    """Diameter of a round bundle; exact for equal wires (1 to 9, 19) and for two or three of any size. [m]

    >>> bundle_m([2.0, 3.0]).diameter_m, round(bundle_m([2.0, 2.0, 2.0]).diameter_m, 4)
    (5.0, 4.3094)
    """
    if not diameters_m:
        return Bundle(0.0, True)
    thick = sorted(diameters_m, reverse=True)
    count, largest = len(thick), thick[0]
    ratio = bundle_ratio(count)
    if thick[-1] >= largest * (1.0 - ALIKE):
        return Bundle(ratio.ratio * largest, ratio.exact)
    if count == 2:
        return Bundle(thick[0] + thick[1], True)
    if count == 3:
        return Bundle(_three_m(thick), True)
    estimate = bundle_factor().value * math.sqrt(sum(each**2 for each in thick))
    estimate = max(estimate, bundle_m(thick[:3]).diameter_m)
    if ratio.exact:
        estimate = min(estimate, ratio.ratio * largest)
    return Bundle(estimate, False)


def _three_m(thick: Sequence[float]) -> float:
    """Smallest circle around three circles: the two largest across, or Descartes' circle around all three."""
    r1, r2, r3 = (each / 2 for each in thick)
    if r3 <= r1 * r2 * (r1 + r2) / (r1**2 + r1 * r2 + r2**2):
        return thick[0] + thick[1]
    k1, k2, k3 = 1 / r1, 1 / r2, 1 / r3
    return 2.0 / (2.0 * math.sqrt(k1 * k2 + k2 * k3 + k3 * k1) - k1 - k2 - k3)


def sleeve_for(bundle: float, sleeves_m: Sequence[float] = SLEEVES_M) -> float | None:
    """Smallest sleeve that leaves its room over a bundle; None if none is wide enough. [m]"""
    return next((each for each in sorted(sleeves_m) if each >= SLEEVE_ROOM * bundle * (1 - 1e-12)), None)


def shrink_for(object_m: float, tubes_m: Sequence[tuple[float, float]] = SHRINK_M) -> tuple[float, float] | None:
    """First tube that goes over an object and shrinks tight on it; None if none does. [m]"""
    for supplied, recovered in tubes_m:
        fits = shrink_range_m(supplied, recovered)
        if fits.least_outside_m * (1 - 1e-12) <= object_m <= fits.most_outside_m * (1 + 1e-12):
            return supplied, recovered
    return None


def splice_object_m(diameters_m: Sequence[float]) -> float:
    """Thickness of a crimped splice of these wires: common practice, no source. [m]"""
    return bundle_factor().value * math.sqrt(sum(each**2 for each in diameters_m)) + SPLICE_BODY_M


def shrink_cut_m(covered_m: float) -> float:
    """Length of tube to cut, so that it covers after it has shrunk lengthwise. [m]"""
    return (covered_m + 2 * COVER_EACH_SIDE_M) / (1.0 - LENGTHWISE)


def supports(length_m: float, end_m: float, apart_m: float) -> int:
    """Supports along a run.

    >>> supports(0.15, 0.08, 0.2), supports(0.36, 0.08, 0.2), supports(0.37, 0.08, 0.2)
    (1, 2, 3)
    """
    if length_m <= 2 * end_m:
        return 1
    return 2 + math.ceil((length_m - 2 * end_m) / apart_m - 1e-9) - 1


def wire_kg_per_m(area_m2: float, outside_m: float) -> float:
    """Mass of a metre of wire. [kg/m]"""
    plastic_m2 = max(math.pi / 4 * outside_m**2 - area_m2 / FILL, 0.0)
    return COPPER_KG_PER_M3 * area_m2 + PLASTIC_KG_PER_M3 * plastic_m2
