"""Quantities of a text in US units: for whoever thinks in inches and degrees Fahrenheit.

Answers: how does a sentence, or a column of millimetres, read in US units?
Units:   lengths, speeds, temperatures, masses and forces; areas and electrical units stay as they are.
Touches: nothing.
Why:     sentences come from the engines with their units; they are written once and read in two systems. Decimal
         inches, four digits; beyond 10 feet a bare number keeps inches, so that a column has one unit.
"""

from __future__ import annotations

import re
from decimal import Decimal

from pinproof.quantities.write import format_value

_UNITS = {  # as the engines write them: dimension, and what one is in the dimension's own unit
    "mm": ("length", "0.001"), "cm": ("length", "0.01"), "m": ("length", "1"), "km": ("length", "1000"),
    "km/h": ("speed", ""), "m/s": ("speed", "1"), "°C": ("temperature", "1"), "kg": ("mass", "1"), "N": ("force", "1"),
}  # fmt: skip
_NUMBER = r"[-−]?\d+(?:\.\d+)?"
_UNIT = "|".join(sorted(map(re.escape, _UNITS), key=len, reverse=True))
_GAP = r"(?:[ \u00a0]|&nbsp;)"
_QUANTITY = re.compile(
    rf"(?<![\w.,/])({_NUMBER})(?:({_GAP}(?:to|or|and){_GAP}|–|/)({_NUMBER}))?({_GAP})({_UNIT})(?![\w/·²³^|])"
)
DIGITS = 4


def in_us(text: str) -> str:
    """The same text with its quantities in US units.

    >>> in_us("Cut 1.9 m, strip 5 mm, at 0 to 70 °C; 2.5 mm².")
    'Cut 74.8 in, strip 0.1969 in, at 32 to 158 °F; 2.5 mm².'
    """
    return _QUANTITY.sub(_turned, text)


def _turned(found: re.Match[str]) -> str:
    first, between, second, gap, unit = found.groups()
    if second is None:
        return _us(first, unit).replace(" ", gap)
    low, high = _us(first, unit), _us(second, unit)
    low_number, _, low_unit = low.partition(" ")
    high_unit = high.partition(" ")[2]
    return (low_number if low_unit == high_unit else low).replace(" ", gap) + between + high.replace(" ", gap)


def _us(text: str, unit: str) -> str:
    if unit == "mm":  # what is cut and measured: inches, however long
        return f"{inches(text)} in"
    dimension, scale = _UNITS[unit]
    number = Decimal(text.replace("−", "-"))
    value = float(number / Decimal("3.6")) if unit == "km/h" else float(number * Decimal(scale))
    return format_value(value, dimension, digits=DIGITS, system="us")


_IN_HEAD = re.compile(r"^(.*\S) mm$")


def head_us(head: str) -> str | None:
    """A column's heading "Cut mm" as "Cut in"; None where it names no millimetres."""
    found = _IN_HEAD.match(head)
    return None if found is None else f"{found[1]} in"


def inches(text: str) -> str:
    """Bare millimetres of such a column in inches; what is no number stays."""
    return re.sub(
        rf"(?<![\w.])({_NUMBER})(?![\w.])",
        lambda found: (
            format_value(float(found[1].replace("−", "-")) / 1e3, "length", digits=DIGITS, system="us").removesuffix(
                " in"
            )
            if abs(float(found[1].replace("−", "-"))) < 120 * 25.4
            else f"{float(found[1]) / 25.4:.5g}"
        ),
        text,
    )


def inches_of(length_mm: float) -> str:
    """A length in inches with its unit, also where it is long. [mm]

    >>> inches_of(5080.0)
    '200 in'
    """
    return f"{inches(f'{length_mm:.6f}')} in"
