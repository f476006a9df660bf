"""Colour bands of resistors: value to colours, and colours to every value they can mean.

Answers: which part do I look for, and what can the part in my hand be, whichever end it is read from?
Units:   Ω; tolerance as a fraction; temperature coefficient in ppm/K as the bands give it.
Touches: the colour table of `pinproof.tables`.
Sources: IEC 60062:2016 (secondary); disputed colours say so in the reading's note.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Any

from pinproof.errors import QuantityFault
from pinproof.tables.load import Sourced, load

_ALIASES = {"gray": "grey", "purple": "violet"}
_SAME = 1e-9


@dataclass(frozen=True, kw_only=True)
class BandReading(Sourced):
    """One meaning of a row of bands. `direction` is "as listed" or "reversed"; `disputed` if restatements disagree."""

    ohm: float
    tolerance: float
    tempco_ppm_per_k: float | None
    direction: str
    colours: tuple[str, ...]
    disputed: bool = False


@cache
def _rows() -> dict[str, dict[str, Any]]:
    table = load("iec_60062_colours")
    return {row[0]: dict(zip(table.columns, row, strict=True)) for row in table.rows}


def _colour_with(column: str, value: float) -> str | None:
    for colour, row in _rows().items():
        if row[column] != "" and abs(row[column] - value) <= _SAME * abs(value):
            return colour
    return None


def bands(ohm: float, tolerance: float, *, count: int = 4, tempco_ppm: float | None = None) -> tuple[str, ...]:
    """Colours of a resistor, first band first.

    Parameters
    ----------
    ohm : float
        Value with at most two significant digits for 3 and 4 bands, three for 5 and 6. [Ω]
    tolerance : float
        As a fraction: 0.05 for 5 %. Three bands mean 20 %.
    count : int
        3, 4, 5 or 6.
    tempco_ppm : float or None
        Needed for 6 bands, and only for them. [ppm/K]

    Raises
    ------
    QuantityFault
        If the value, tolerance or temperature coefficient has no such bands.
    ValueError
        If `count` is none of these, or `tempco_ppm` does not go with it.

    Examples
    --------
    >>> from pinproof.quantities.markings import bands
    >>> bands(4700.0, 0.05)
    ('yellow', 'violet', 'red', 'gold')

    References
    ----------
    .. [1] IEC 60062:2016 (secondary).
    """
    if count not in (3, 4, 5, 6):
        raise ValueError(f"count must be 3, 4, 5 or 6, not {count}")
    if (count == 6) != (tempco_ppm is not None):
        raise ValueError("tempco_ppm goes with 6 bands, and 6 bands need it")
    digit_count = 2 if count <= 4 else 3
    number, exponent = significant(ohm, digit_count)
    multiplier = _colour_with_exponent(exponent)
    if multiplier is None:
        raise QuantityFault(
            f"{ohm:.9g} ohm", "a value that colour bands can show", "Bands reach from 0.01 Ω to 999 GΩ."
        )
    colours = [_digit_colour(int(one)) for one in number] + [multiplier]
    percent = tolerance * 100.0
    if count == 3:
        if abs(percent - load("iec_60062_colours").facts["no_band_tolerance_percent"]) > _SAME:
            raise QuantityFault(f"{percent:.6g} %", "the tolerance of three bands, 20 %", "Use four bands.")
        return tuple(colours)
    shade = _colour_with("tolerance_percent", percent)
    if shade is None:
        known = sorted(row["tolerance_percent"] for row in _rows().values() if row["tolerance_percent"] != "")
        listed = ", ".join(f"{one:g}" for one in known)
        raise QuantityFault(f"{percent:.6g} %", "a tolerance that has a colour", f"There are {listed} %.")
    colours.append(shade)
    if tempco_ppm is not None:
        last = _colour_with("tempco_ppm_per_k", tempco_ppm)
        if last is None:
            known = sorted(row["tempco_ppm_per_k"] for row in _rows().values() if row["tempco_ppm_per_k"] != "")
            listed = ", ".join(f"{one:g}" for one in known)
            raise QuantityFault(
                f"{tempco_ppm:g} ppm/K", "a temperature coefficient that has a colour", f"{listed} ppm/K."
            )
        colours.append(last)
    return tuple(colours)


def significant(ohm: float, digits: int) -> tuple[str, int]:
    """`ohm` as exactly `digits` digits and a power of ten: 4700, 2 gives ("47", 2). QuantityFault if it needs more."""
    if not 0.0 < ohm < float("inf"):
        raise QuantityFault(f"{ohm} ohm", "a resistance above zero", "Only such a value can be marked.")
    exact = Decimal(f"{ohm:.9g}")
    exponent = exact.adjusted() - digits + 1
    number = exact.scaleb(-exponent)
    if number != number.to_integral_value():
        raise QuantityFault(
            f"{ohm:.9g} ohm", f"a value of {digits} significant digits", "Use a marking with more digits, or round it."
        )
    return str(int(number)), exponent


def _digit_colour(digit: int) -> str:
    return next(colour for colour, row in _rows().items() if row["digit"] == digit and row["digit"] != "")


def _colour_with_exponent(exponent: int) -> str | None:
    return next((colour for colour, row in _rows().items() if row["exponent"] == exponent), None)


def read_bands(colours: Sequence[str] | str) -> tuple[BandReading, ...]:
    """Every valid meaning of a row of 3 to 6 bands, read from both ends; a single black band is a 0 Ω link.

    Parameters
    ----------
    colours : sequence of str, or str
        Colour words in the order they are seen, or one text such as "brown-black-red-gold".

    Returns
    -------
    tuple of BandReading
        The reading as listed first, if that is valid. One reading only if both ends say the same.

    Raises
    ------
    QuantityFault
        If a word is no colour, the count is wrong, or neither direction is valid; the hint says what is wrong in each.

    Examples
    --------
    >>> from pinproof.quantities.markings import read_bands
    >>> [(one.direction, one.ohm) for one in read_bands("brown black black brown brown")]
    [('as listed', 1000.0), ('reversed', 110.0)]
    """
    words = _words(colours)
    shown = " ".join(words)
    if words == ("black",):
        return (_zero_link(),)
    if not 3 <= len(words) <= 6:
        raise QuantityFault(shown, "a row of 3 to 6 colour bands", f"{len(words)} were given.")
    unknown = [word for word in words if word not in _rows()]
    if unknown:
        raise QuantityFault(shown, "a row of resistor colours", f"Not a band colour: {', '.join(unknown)}.")
    readings: list[BandReading] = []
    reasons = []
    for direction, row in (("as listed", words), ("reversed", words[::-1])):
        if direction == "reversed" and row == words:
            continue
        reading = _read_one(row, direction)
        if isinstance(reading, str):
            reasons.append(f"{direction}: {reading}")
        else:
            readings.append(reading)
    if not readings:
        raise QuantityFault(shown, "a row of bands with a meaning", "; ".join(reasons) + ".")
    return tuple(readings)


def _words(colours: Sequence[str] | str) -> tuple[str, ...]:
    listed = re.split(r"[\s,/|-]+", colours[:200].strip()) if isinstance(colours, str) else list(colours)[:20]
    plain = [str(word).strip().lower() for word in listed if str(word).strip()]
    return tuple(_ALIASES.get(word, word) for word in plain)


def _zero_link() -> BandReading:
    return BandReading(
        ohm=0.0,
        tolerance=0.0,
        tempco_ppm_per_k=None,
        direction="as listed",
        colours=("black",),
        source="common practice, no source",
        seen="memory",
        note="A single black band is a 0 Ω link.",
    )


def _read_one(row: tuple[str, ...], direction: str) -> BandReading | str:
    """The reading of one direction, or the reason why there is none."""
    table = load("iec_60062_colours")
    rows = _rows()
    digit_count = 2 if len(row) <= 4 else 3
    for place, word in enumerate(row[:digit_count], start=1):
        if rows[word]["digit"] == "":
            return f"{word} in band {place} is not a digit"
    number = int("".join(str(rows[word]["digit"]) for word in row[:digit_count]))
    if number == 0:
        return "all digits are zero"
    notes = []
    if rows[row[0]]["digit"] == 0:
        notes.append("A first band of black is unusual.")
    tolerance = float(table.facts["no_band_tolerance_percent"])
    disputed: dict[str, str] = table.facts["disputed"]
    doubtful = False
    if len(row) > 3:
        shade = row[digit_count + 1]
        if rows[shade]["tolerance_percent"] == "":
            return f"{shade} in band {digit_count + 2} is not a tolerance"
        tolerance = rows[shade]["tolerance_percent"]
        if shade in disputed:
            doubtful = True
            notes.append(f"Tolerance of {shade} is disputed: {disputed[shade]}.")
    tempco = None
    if len(row) == 6:
        if rows[row[5]]["tempco_ppm_per_k"] == "":
            return f"{row[5]} in band 6 is not a temperature coefficient"
        tempco = float(rows[row[5]]["tempco_ppm_per_k"])
    if row == row[::-1]:
        notes.append("Reads the same from both ends.")
    return BandReading(
        ohm=float(f"{number}e{rows[row[digit_count]]['exponent']}"),
        tolerance=tolerance / 100.0,
        tempco_ppm_per_k=tempco,
        direction=direction,
        colours=row,
        disputed=doubtful,
        source=table.source,
        seen="memory" if row[digit_count + 1 : digit_count + 2] == ("grey",) else table.seen,
        note=" ".join(notes),
    )
