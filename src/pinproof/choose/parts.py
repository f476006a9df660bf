"""New parts from a preferred series, as candidates for a resistor of the design.

Answers: which values may stand here, and between which ohms does each lie in service?
Units:   ohms, ratios, degrees Celsius.
Touches: nothing.
Beside:  `drawer` does the same for the owner's stock.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

from pinproof.choose.problem import Candidate
from pinproof.design.model import Resistor
from pinproof.errors import NoSolution
from pinproof.quantities.preferred import SERIES, series_values, values_between
from pinproof.wiring import resistor_bounds_ohm
from pinproof.wiring.elements import REFERENCE_TEMP_C

LOW_OHM = 10.0
HIGH_OHM = 1e6
"""Range searched where none is asked for. Below, contacts and wires weigh as much as the part; above, so does a damp
plug. Common practice, no source."""


@dataclass(frozen=True)
class Site:
    """One resistor of the design that may be chosen: its entry, its edge, and the temperatures where it sits. [°C]"""

    resistor: Resistor
    edge: str
    temp_low_c: float
    temp_high_c: float
    shared_low_c: float
    shared_high_c: float

    def bounds_ohm(self, ohm: float, tolerance: float) -> tuple[float, float]:
        """Range in service of a part of `ohm` ± `tolerance` at this place, ageing and tempco as the design states.

        A tempco of known sign counts over its whole temperature range, as if this part had it alone: the search works
        with this outer box, and the proof of the chosen values with the one shared temperature.
        """
        part = replace(self.resistor, ohm=ohm, tolerance=tolerance)
        low, high = resistor_bounds_ohm(part, self.temp_low_c, self.temp_high_c)
        if part.tempco_known:
            ends = [1.0 + part.tempco_per_k * (t - REFERENCE_TEMP_C) for t in (self.shared_low_c, self.shared_high_c)]
            low, high = low * min(ends), high * max(ends)
        return low, high


def from_series(site: Site, series: str, low_ohm: float, high_ohm: float, tolerance: float | None) -> list[Candidate]:
    """Every value of a series between two limits, with the tolerance asked for or the one the design states."""
    reach = site.resistor.tolerance if tolerance is None else tolerance
    return [_new(site, ohm, reach) for ohm in values_between(series, low_ohm, high_ohm)]


def as_it_stands(site: Site) -> list[Candidate]:
    """The value that stands in the design, as the only candidate."""
    if site.resistor.ohm is None:
        raise NoSolution(f"{site.resistor.path} has no value that could stay.")
    return [_new(site, site.resistor.ohm, site.resistor.tolerance)]


@cache
def _multipliers() -> dict[float, int]:
    """Multiplier inside a decade to the place of the smallest series that has it."""
    found: dict[float, int] = {}
    for place, series in enumerate(SERIES):
        for multiplier in series_values(series):
            found.setdefault(round(multiplier, 6), place)
    return found


def rarity_of(ohm: float) -> int:
    """0 for a value of E3, counting up to E192; one more for a value of no series."""
    multiplier = ohm / 10.0 ** math.floor(math.log10(ohm) + 1e-12)
    exact = round(multiplier, 6)
    return _multipliers().get(exact, len(SERIES)) if abs(exact - multiplier) < 1e-9 * multiplier else len(SERIES)


def _new(site: Site, ohm: float, tolerance: float) -> Candidate:
    return Candidate(ohm, *site.bounds_ohm(ohm, tolerance), (part_name(ohm, tolerance),), rarity_of(ohm))


def part_name(ohm: float, tolerance: float) -> str:
    """What tells one part in the shop from another."""
    return f"{ohm:.9g} ohm {tolerance * 100:.9g} %"


def only_settled(candidates: Sequence[Candidate]) -> tuple[Candidate, ...]:
    """In rising order of ohms, then of width."""
    return tuple(sorted(candidates, key=lambda each: (each.ohm, each.high_ohm - each.low_ohm, each.parts)))
