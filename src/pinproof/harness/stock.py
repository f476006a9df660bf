"""Sizes of wire that can be taken, smallest first, with what is known of each.

Answers: which conductor areas are there, how thick, how hot may they get, which salvaged ones must not be used?
Units:   m², m, °C, A.
Touches: the tables.
Sources: thin-wall cable to ISO 6722 and GXL cable to SAE J1128 (outside diameters, secondary), TXL wall (memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinproof.design.model import Truck
from pinproof.design.model_harness import Cable, HarnessRules
from pinproof.harness.bundle import FILL
from pinproof.tables import awg_area_m2, gxl_outside_m, j1128_wall_m, vehicle_cable

AREAS_MM2 = (0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0)
GAUGES = (22, 20, 18, 16, 14, 12, 10, 8)
NEW_STRANDS = 19  # cable of these families has at least so many: common practice, no source
UNKNOWN_INSULATION_C = 85.0  # class A, from memory
OLD_YEARS, OLD_LOSS_K = 10.0, 20.0  # common practice, no source


@dataclass(frozen=True)
class Size:
    """One size that can be taken. `barred` says why it may not be used, "" if it may."""

    text: str
    area_m2: float
    outside_m: float
    strands: int
    rated_c: float
    carries_a: float | None = None
    cable: str = ""
    salvaged: bool = False
    on_hand_m: float | None = None
    barred: str = ""


def sizes_of(truck: Truck, rules: HarnessRules) -> list[Size]:
    """The list of sizes, smallest area first; without those below `smallest`."""
    if truck.cables:
        found = [_cable(cable) for cable in truck.cables]
    elif rules.sizes == "mm2":
        found = [_metric(area) for area in AREAS_MM2]
    else:
        found = [_gauge(gauge) for gauge in GAUGES]
    rated_c = rules.insulation.value
    found = [one if one.cable else _rated(one, rated_c) for one in found]
    least = rules.smallest.value if rules.smallest is not None else 0.0
    return sorted(
        (one for one in found if one.area_m2 >= least * (1 - 1e-6)), key=lambda one: (one.area_m2, one.salvaged)
    )


def size_named(sizes: list[Size], area_m2: float) -> Size | None:
    """The size of this area, or None."""
    return next((one for one in sizes if abs(one.area_m2 - area_m2) <= 0.005 * area_m2 and not one.barred), None)


def _rated(size: Size, rated_c: float) -> Size:
    return Size(size.text, size.area_m2, size.outside_m, size.strands, rated_c)


def _metric(area_mm2: float) -> Size:
    area_m2 = area_mm2 * 1e-6
    return Size(f"{area_mm2:g} mm²", area_m2, vehicle_cable(area_m2).max_outside_m.value, NEW_STRANDS, 0.0)


def _gauge(gauge: int) -> Size:
    area_m2 = awg_area_m2(gauge)
    if gauge == 22:
        outside_m = math.sqrt(area_m2 / FILL * 4 / math.pi) + 2 * j1128_wall_m("TXL").value
    else:
        outside_m = gxl_outside_m(gauge).value
    return Size(f"{gauge} AWG", area_m2, outside_m, NEW_STRANDS, 0.0)


def _cable(cable: Cable) -> Size:
    carries = None if cable.carries is None else cable.carries.value
    rated_c = UNKNOWN_INSULATION_C if cable.insulation is None else cable.insulation.value
    on_hand = None if cable.on_hand is None else cable.on_hand.value
    if not cable.salvaged:
        assert cable.size is not None
        return Size(
            cable.size.text.replace("mm2", "mm²"), cable.size.value, cable.outside.value, cable.strands, rated_c,
            carries, cable.id, False, None,
        )  # fmt: skip
    assert cable.strand is not None
    area_m2 = cable.strands * math.pi / 4 * cable.strand.value**2
    if cable.age is None or cable.age >= OLD_YEARS:
        rated_c -= OLD_LOSS_K
    barred = ""
    if cable.strands == 1:
        barred = "a single strand breaks where it shakes"
    elif cable.condition == "doubtful":
        barred = "its condition is doubtful"
    return Size(
        f"{area_m2 * 1e6:.2f} mm² ({cable.id})", area_m2, cable.outside.value, cable.strands, rated_c, carries,
        cable.id, True, on_hand, barred,
    )  # fmt: skip
