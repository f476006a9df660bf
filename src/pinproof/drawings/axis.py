"""A reading in the unit it is shown in: percent of the reference, volts, or ohms to the source side.

Answers: where do the marks of the rule stand, and what is written at them and at a span's ends?
Units:   readings in the reading space; marks in the space too, whatever unit is written beside them.
Touches: nothing. The conversion is for the eye only; nothing is judged in the unit it is shown in.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from pinproof.design.model import Input, Line, Resistor, Truck
from pinproof.drawings.words import UNSETTLED, span
from pinproof.errors import PinproofError
from pinproof.observe import ReadingSpace, spaces_of
from pinproof.quantities import format_value

UNITS = ("as given", "ratio", "volts", "ohms")


@dataclass
class CannotShow(PinproofError):
    """A reading that cannot be written in the wished unit, with the reason and what is possible."""

    unit: str
    reason: str

    def __str__(self) -> str:
        return f"Readings of this line cannot be shown in {self.unit}: {self.reason} Use ratio or volts."


@dataclass(frozen=True)
class Axis:
    """The reading space of a chart and the unit that is written on it."""

    space: ReadingSpace
    unit: str  # "ratio", "volts" or "ohms"
    pull_ohm: float = math.nan
    rising: bool = True  # more ohms read higher

    @property
    def full(self) -> float:
        """Full scale. [reading space]"""
        return self.space.full_scale

    @property
    def words(self) -> str:
        """What the numbers are, for a caption."""
        if self.unit == "ratio":
            return self.space.words if self.space.divisor else "share of full scale"
        if self.unit == "volts":
            nominal = format_value(self.space.divisor_nominal_v, "voltage")
            return f"volts at a {self.space.name} of just {nominal}" if self.space.divisor else "volts at the pin"
        return f"ohms from the pin to its source, with a pull of just {format_value(self.pull_ohm, 'resistance')}"

    def share(self, reading: float) -> float:
        """Place on the rule, 0 at its left end and 1 at its right."""
        return reading / self.full

    def text(self, reading: float, digits: int = 4) -> str:
        """A reading with its unit."""
        if self.unit == "ratio":
            return format_value(self.share(reading), "ratio", digits=digits)
        if self.unit == "volts":
            return format_value(reading * self.space.divisor_nominal_v, "voltage", digits=digits)
        return format_value(self._ohm(reading), "resistance", digits=digits)

    def span(self, low: float, high: float) -> str:
        """Two readings as one text."""
        if math.isnan(low) or math.isnan(high):
            return UNSETTLED
        if self.unit == "ohms" and not self.rising:
            low, high = high, low
        return span(self.text(low), self.text(high))

    def marks(self, most: int) -> tuple[tuple[float, str], ...]:
        """At most `most` numbered marks, both ends included: reading and text."""
        if self.unit == "ohms":
            return self._ohm_marks(most)
        scale = 100.0 if self.unit == "ratio" else self.full * self.space.divisor_nominal_v
        step = next(each for each in _steps(scale) if scale / each <= most - 1)
        count = int(scale / step + 1e-9)
        places = [index * step / scale * self.full for index in range(count + 1)]
        if self.full - places[-1] > 1e-9 * self.full:
            if (self.full - places[-1]) / self.full * scale < 0.75 * step and len(places) > 1:
                places.pop()  # leave room for the numeral of full scale
            places.append(self.full)
        return tuple((place, self.text(place, 3)) for place in places)

    def _ohm(self, reading: float) -> float:
        ratio = min(max(reading / self.full, 0.0), 1.0)
        near, far = (ratio, 1.0 - ratio) if self.rising else (1.0 - ratio, ratio)
        return math.inf if far <= 0.0 else self.pull_ohm * near / far

    def _ohm_marks(self, most: int) -> tuple[tuple[float, str], ...]:
        """1-2-5 steps that stand far enough apart on the rule, from the ends inward."""
        apart = 1.0 / most
        decade = 10.0 ** math.floor(math.log10(self.pull_ohm))
        wishes = [decade * 10.0**power * lead for power in range(-2, 3) for lead in (1.0, 2.0, 5.0)]
        wishes.sort(key=lambda ohm: (abs(math.log10(ohm / self.pull_ohm)), ohm))
        found: dict[float, float] = {0.0: 0.0, 1.0: math.inf}
        for ohm in wishes:
            ratio = ohm / (ohm + self.pull_ohm)
            if all(abs(ratio - other) >= apart for other in found):
                found[ratio] = ohm
        marks = [
            ((ratio if self.rising else 1.0 - ratio) * self.full, format_value(ohm, "resistance", digits=3))
            for ratio, ohm in found.items()
        ]
        return tuple(sorted(marks))


def axis_of(truck: Truck, line: Line, space: ReadingSpace | str | None, unit: str) -> Axis:
    """The axis for one line.

    Parameters
    ----------
    space : ReadingSpace, its name, or None
        None takes the first space the input is proven in.
    unit : str
        "as given" writes percent where the input divides by a supply, volts where it does not; "ratio"; "volts";
        "ohms".

    Raises
    ------
    CannotShow
        For ohms, where the reading does not belong to one resistance: no pull, two pulls, an own feed beside the pull,
        or readings in volts.
    ValueError
        For an unknown unit or a space the input does not have.
    """
    if unit not in UNITS:
        raise ValueError(f"unit {unit!r} is none of {', '.join(UNITS)}")
    owner = truck.input_of(line)
    known: dict[str, ReadingSpace] = {each.name: each for each in spaces_of(truck, owner)}
    if space is None:
        chosen = next(iter(known.values()))
    elif isinstance(space, ReadingSpace):
        chosen = space
    elif space in known:
        chosen = known[space]
    else:
        raise ValueError(f"input {owner.id} has no reading space {space!r}; it has {', '.join(known)}")
    if unit == "as given":
        unit = "ratio" if chosen.divisor else "volts"
    if unit != "ohms":
        return Axis(chosen, unit)
    pull = _only_pull(line, owner)
    if chosen.divisor is None:
        raise CannotShow(unit, "this input compares plain volts.")
    source_is_divisor = chosen.name == (owner.pull_up_to if line.source_side == "return" else line.feed_from)
    if not source_is_divisor:
        raise CannotShow(unit, "it is divided by another voltage than the one that feeds it.")
    return Axis(chosen, unit, pull, rising=line.source_side == "return")


def _only_pull(line: Line, owner: Input) -> float:
    near, other = (owner.pull_up, owner.pull_down) if line.source_side == "return" else (owner.pull_down, owner.pull_up)
    if not isinstance(near, Resistor) or near.ohm is None:
        raise CannotShow("ohms", "the pull that a resistance would be compared with is not known.")
    if other is not None or line.form == "divider":
        raise CannotShow("ohms", "more than one resistance sets the reading.")
    return near.ohm


def _steps(scale: float) -> Iterator[float]:
    """1, 2, 5, 10 … beginning far below the scale."""
    power = math.floor(math.log10(scale)) - 3
    while True:
        for lead in (1.0, 2.0, 5.0):
            yield lead * 10.0**power
        power += 1
