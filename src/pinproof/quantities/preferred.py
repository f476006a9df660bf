"""Preferred numbers: the values in which resistors are made.

Answers: which values lie between two limits, which is nearest, what series does a value belong to?
Units:   ohms.
Touches: the series files of `pinproof.tables`.
Sources: IEC 60063:2015 (secondary); each series file says how it was seen.
"""

from __future__ import annotations

import math
from functools import cache

from pinproof.errors import OutOfTable

SERIES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
"""All series, smallest first."""
LEAST_OHM = 1e-3
MOST_OHM = 1e12
_SAME = 1e-9  # relative difference below which two values are one, so that rounding does not part them


@cache
def series_values(series: str) -> tuple[float, ...]:
    """Multipliers of a series inside one decade, from 1 to below 10; OutOfTable for an unknown series."""
    if series not in SERIES:
        raise OutOfTable("The list of preferred series", f'"{series}"', ", ".join(SERIES))
    from pinproof.tables.load import load

    return tuple(float(value) for value in load(f"iec_60063_{series.lower()}").values)


@cache
def usual_tolerance(series: str) -> float:
    """Tolerance that usually goes with a series, a fraction. The series does not fix it: 1 % E24 parts are common."""
    series_values(series)
    from pinproof.tables.load import load

    return float(load(f"iec_60063_{series.lower()}").facts["usual_tolerance"]["value"])


def values_between(series: str, low_ohm: float, high_ohm: float) -> tuple[float, ...]:
    """All values of a series from `low_ohm` to `high_ohm`, both included, ascending.

    ValueError unless 0.001 Ω <= low_ohm <= high_ohm <= 1 TΩ, which also bounds the answer.

    >>> from pinproof.quantities.preferred import values_between
    >>> values_between("E6", 100.0, 1000.0)
    (100.0, 150.0, 220.0, 330.0, 470.0, 680.0, 1000.0)
    """
    if not LEAST_OHM <= low_ohm <= high_ohm <= MOST_OHM:
        raise ValueError(f"limits must be ordered within {LEAST_OHM:g} to {MOST_OHM:g} Ω, not {low_ohm} and {high_ohm}")
    low, high = low_ohm * (1.0 - _SAME), high_ohm * (1.0 + _SAME)
    found = []
    for decade in range(math.floor(math.log10(low)), math.floor(math.log10(high)) + 1):
        for multiplier in series_values(series):
            ohm = _in_decade(multiplier, decade)
            if low <= ohm <= high:
                found.append(ohm)
    return tuple(found)


def nearest(series: str, ohm: float) -> float:
    """The value of a series nearest to `ohm` by ratio, the lower of two as near. ValueError outside 1 mΩ to 1 TΩ."""
    if not LEAST_OHM <= ohm <= MOST_OHM:
        raise ValueError(f"ohm must lie within {LEAST_OHM:g} to {MOST_OHM:g}, not {ohm}")
    decade = math.floor(math.log10(ohm))
    multipliers = series_values(series)
    candidates = [_in_decade(one, place) for place in (decade - 1, decade, decade + 1) for one in multipliers]
    return min(candidates, key=lambda one: (abs(math.log(one / ohm)), one))


def in_series(series: str, ohm: float) -> bool:
    """True if `ohm` is a value of the series, in any decade from 1 mΩ to 1 TΩ."""
    return LEAST_OHM <= ohm <= MOST_OHM and abs(nearest(series, ohm) - ohm) <= _SAME * ohm


def commonest_series(ohm: float) -> str | None:
    """The smallest series that contains `ohm`, so the likeliest to be in a drawer; None if no series does."""
    return next((series for series in SERIES if in_series(series, ohm)), None)


def _in_decade(multiplier: float, decade: int) -> float:
    """Read as decimal text, so that 8.2 in the decade of thousands is exactly 8200."""
    return float(f"{multiplier!r}e{decade}")
