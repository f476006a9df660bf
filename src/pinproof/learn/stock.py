"""Loads that can be put on a pin: single resistors of a stock, and two of them in series or in parallel.

Answers: which ohms can be made, each within which bounds, and of which parts.
Units:   ohms.
Touches: nothing.
Sources: series and parallel resistance, Ohm's law; E12 as IEC 60063.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from pinproof.quantities import format_value
from pinproof.quantities.preferred import values_between

Join = Literal["single", "series", "parallel", "open", "short", "own", "pot"]

E12_LEAST_OHM = 1.0
E12_MOST_OHM = 1e6
MOST_SINGLE = 300
MOST_LOADS = 40_000
INF = float("inf")


@dataclass(frozen=True)
class Part:
    """One resistor value of the stock. `reach_ohm` is the half-width: its tolerance, or the meter's where measured."""

    ohm: float
    reach_ohm: float
    label: str = ""
    count: int = 1

    @property
    def name(self) -> str:
        """What the owner calls it."""
        return self.label or format_value(self.ohm, "resistance", digits=6)


@dataclass(frozen=True)
class Load:
    """A resistance that can be put on the pin; `parts` are positions in the stock."""

    ohm: float
    low_ohm: float
    high_ohm: float
    join: Join
    parts: tuple[int, ...] = ()


OPEN = Load(INF, INF, INF, "open")
SHORT = Load(0.0, 0.0, 0.0, "short")


def e12_stock(
    tolerance: float = 0.01, low_ohm: float = E12_LEAST_OHM, high_ohm: float = E12_MOST_OHM
) -> tuple[Part, ...]:
    """One resistor of each E12 value: what is taken where nobody says what is at hand."""
    return tuple(Part(ohm, tolerance * ohm) for ohm in values_between("E12", low_ohm, high_ohm))


def bounds_of(
    parts: Sequence[int], join: Join, stock: Sequence[Part], measured: Mapping[int, tuple[float, float]]
) -> tuple[float, float, float]:
    """Least, nominal and greatest ohms of parts put together; own measured ohms go before printed ones."""
    each: list[tuple[float, float, float]] = []
    for index in parts:
        ohm, reach = measured.get(index, (stock[index].ohm, stock[index].reach_ohm))
        each.append((max(ohm - reach, 0.0), ohm, ohm + reach))
    if join == "parallel":
        one, other = each
        low, mid, high = (_parallel(a, b) for a, b in zip(one, other, strict=True))
        return low, mid, high
    low, mid, high = (sum(column) for column in zip(*each, strict=True))
    return low, mid, high


@lru_cache(maxsize=64)
def loads_of(
    stock: tuple[Part, ...], measured: tuple[tuple[int, float, float], ...] = (), least_ohm: float = 0.0
) -> tuple[Load, ...]:
    """All loads from `least_ohm` up, rising. More than MOST_SINGLE different parts are not paired."""
    known = {index: (ohm, reach) for index, ohm, reach in measured}
    found: list[Load] = []

    def add(parts: tuple[int, ...], join: Join) -> None:
        low, mid, high = bounds_of(parts, join, stock, known)
        if low >= least_ohm and mid > 0.0:
            found.append(Load(mid, low, high, join, parts))

    usable = [i for i, part in enumerate(stock) if part.count > 0]
    for i in usable:
        add((i,), "single")
    if len(usable) <= MOST_SINGLE:
        for place, i in enumerate(usable):
            for j in usable[place:]:
                if i == j and stock[i].count < 2:
                    continue
                add((i, j), "series")
                add((i, j), "parallel")
                if len(found) > MOST_LOADS:
                    break
    return tuple(sorted(found, key=lambda load: (load.ohm, len(load.parts))))


def _parallel(one_ohm: float, other_ohm: float) -> float:
    return one_ohm * other_ohm / (one_ohm + other_ohm) if one_ohm and other_ohm else 0.0
