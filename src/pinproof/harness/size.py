"""Conductor rules on plain numbers: what a wire may carry, what it drops, how hot it gets.

Answers: how many amperes may this area carry in this insulation here; how many ohms has a metre of it?
Units:   m², °C, A, Ω/m.
Touches: the tables.
Sources: AC 43.13-1B table 11-9 (current), IEC 60228 class 5 and IEC 60028 (ohms), NFPA 70 (several loaded wires,
         borrowed from buildings), ASTM B258 (gauges). Heat goes with the square of current.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from functools import cache

from pinproof.errors import OutOfTable
from pinproof.tables import ampacity_a, awg_area_m2, bundle_current_factor, class5_max_ohm_per_m, copper

COLUMNS_C = (105, 150, 200)
GAUGES = (24, 22, 20, 18, 16, 14, 12, 10, 8)
TABLE_AMBIENT_C = 70.0
OHM_MM2_PER_M = 19.5e-3  # IEC 60228 class 5: its rows 0.5, 0.75 and 1 mm² all give this product
CLOSE = 1e-6

LEAST_BUNDLE_M2 = 0.32e-6  # three wires and more, supported: common practice, no source; so are the next three
LEAST_FEW_M2 = 0.5e-6
LEAST_LOOSE_M2 = 0.75e-6
LEAST_STRANDS, LEAST_STRANDS_FLEX = 7, 19
LOADED_FROM_A = 1.0


@cache
def _column(insulation_c: int) -> tuple[tuple[float, float], ...]:
    """ln area and ln current of one column, rising."""
    return tuple((math.log(awg_area_m2(gauge)), math.log(ampacity_a(gauge, insulation_c).value)) for gauge in GAUGES)


def table_current_a(area_m2: float, insulation_c: int) -> float:
    """Current of AC 43.13-1B table 11-9, straight in ln area against ln current between gauges. [A]

    OutOfTable below 24 AWG and above 8 AWG.

    >>> round(table_current_a(0.5176e-6, 105), 2)  # 20 AWG
    4.0
    """
    rows = _column(insulation_c)
    at = math.log(area_m2)
    if at < rows[0][0] - 1e-4 or at > rows[-1][0] + 1e-4:
        raise OutOfTable("AC 43.13-1B table 11-9", f"{area_m2 * 1e6:.3g} mm²", "24 AWG to 8 AWG")
    right = min(max(bisect_left(rows, (at, -math.inf)), 1), len(rows) - 1)
    (x0, y0), (x1, y1) = rows[right - 1], rows[right]
    return math.exp(y0 + (y1 - y0) * (at - x0) / (x1 - x0))


def allow_a(
    area_m2: float, rated_c: float, ambient_c: float, factor: float = 1.0, carries_a: float | None = None
) -> float:
    """Continuous current that a wire may carry. [A]

    Parameters
    ----------
    area_m2 : float
        Conductor area. [m²]
    rated_c, ambient_c : float
        Temperature rating of the insulation, highest temperature around the wire. [°C]
    factor : float
        For several loaded wires in one bundle, see `bundle_factor`.
    carries_a : float, optional
        The maker's current at the rating and 70 °C, in place of the table. [A]

    Notes
    -----
    ``I = I_t * sqrt((T_R - T_a) / (C - 70)) * k``; nothing at or above the rating.

    >>> round(allow_a(0.5176e-6, 105.0, 70.0), 2), round(allow_a(0.5176e-6, 105.0, 61.25), 3)
    (4.0, 4.472)
    """
    if ambient_c >= rated_c:
        return 0.0
    if carries_a is not None:
        return carries_a * math.sqrt((rated_c - ambient_c) / max(rated_c - TABLE_AMBIENT_C, CLOSE)) * factor
    column = max((each for each in COLUMNS_C if each <= rated_c), default=COLUMNS_C[0])
    at_table = table_current_a(area_m2, column)
    return at_table * math.sqrt((rated_c - ambient_c) / (column - TABLE_AMBIENT_C)) * factor


def bundle_factor(loaded: int, wires: int) -> float:
    """Factor on the current where many wires of a bundle are loaded; 1 within what the aircraft table is made for. [1]

    >>> bundle_factor(3, 4), bundle_factor(6, 30), bundle_factor(4, 6)
    (1.0, 1.0, 0.8)
    """
    if loaded <= max(3, 0.2 * wires):
        return 1.0
    return bundle_current_factor(loaded).value


@cache
def ohm_per_m(area_m2: float) -> float:
    """Highest resistance of a metre at 20 °C: the row of IEC 60228 class 5, else its usual product over area. [Ω/m]

    >>> round(ohm_per_m(2.5e-6), 5), round(ohm_per_m(0.65e-6), 3)
    (0.00798, 0.03)
    """
    try:
        return class5_max_ohm_per_m(area_m2).value
    except OutOfTable:
        return OHM_MM2_PER_M * 1e-6 / area_m2


def hot_ohm_per_m(area_m2: float, temp_c: float) -> float:
    """Resistance of a metre at a conductor temperature. [Ω/m]"""
    return ohm_per_m(area_m2) * (1.0 + copper().tempco_per_k * (temp_c - 20.0))


def wire_temp_c(ambient_c: float, rated_c: float, current_a: float, allowed_a: float) -> float:
    """Temperature of a wire that carries a current; infinite where nothing is allowed and something flows. [°C]"""
    if current_a == 0.0:
        return ambient_c
    if allowed_a <= 0.0:
        return math.inf
    return ambient_c + (rated_c - ambient_c) * (current_a / allowed_a) ** 2


def least_area_m2(environment: str, wires: int) -> float:
    """Mechanical minimum: strength, not current. Common practice, no source. [m²]"""
    if environment in ("single", "flex"):
        return LEAST_LOOSE_M2
    return LEAST_BUNDLE_M2 if wires >= 3 else LEAST_FEW_M2
