"""Quantities of a text in US units: for whoever thinks in inches and degrees Fahrenheit.

Answers: how does a sentence, or a column of millimetres, read in US units?
Units:   lengths, speeds, temperatures, masses and forces; areas and electrical units stay as they are.
Touches: nothing.
Why:     sentences come from the engines with their units; they are written once and read in two systems. Inches are
         decimal: three figures below 100 in, tenths above, which is as fine as wire is cut, and never finer than the
         number that they come from. Beyond 10 feet a bare number keeps inches, so that a column has one unit.
"""

from __future__ import annotations

import re
from decimal import Decimal

from pinproof.quantities.write import format_value, plain_number

_UNITS = {  # as the engines write them: dimension, and what one is in the dimension's own unit
    "mm": ("length", "0.001"), "cm": ("length", "0.01"), "m": ("length", "1"), "km": ("length", "1000"),
    "km/h": ("speed", ""), "m/s": ("speed", "1"), "°C": ("temperature", "1"), "g": ("mass", "0.001"),
    "kg": ("mass", "1"), "N": ("force", "1"),
}  # fmt: skip
_NUMBER = r"[-−]?\d+(?:\.\d+)?"
_UNIT = "|".join(sorted(map(re.escape, _UNITS), key=len, reverse=True))
_GAP = r"(?:[ \u00a0]|&nbsp;)"
_QUANTITY = re.compile(
    rf"(?<![\w.,/])({_NUMBER})(?:({_GAP}(?:to|or|and){_GAP}|–|/)({_NUMBER}))?({_GAP})({_UNIT})(?![\w/·²³^|])"
)
_EACH = re.compile(rf"({_NUMBER})(?:({_GAP}to{_GAP})({_NUMBER}))?({_GAP})(mV|mΩ)(/m\b|{_GAP}per{_GAP}metre\b)")
_BARE = re.compile(rf"(?<![\w.]){_NUMBER}(?![\w.])")
DIGITS = 4  # of roads, speeds, temperatures


def in_us(text: str) -> str:
    """The same text with its quantities in US units.

    >>> in_us("Cut 1.9 m, strip 5 mm, at 0 to 70 °C; 2.5 mm².")
    'Cut 74.8 in, strip 0.2 in, at 32 to 158 °F; 2.5 mm².'
    >>> in_us("It loses 105 mV/m; 20 to 26.2 mΩ per metre.")
    'It loses 32 mV/ft; 6.1 to 7.99 mΩ per foot.'
    """
    return _QUANTITY.sub(_turned, _EACH.sub(_each_foot, text))


def _each_foot(found: re.Match[str]) -> str:
    """What each metre has, as what each foot has: three figures."""
    first, between, second, gap, unit, each = found.groups()
    numbers = [plain_number(float(one) * 0.3048, 3) for one in (first, second) if one is not None]
    return f"{(between or '').join(numbers)}{gap}{unit}{'/ft' if each == '/m' else each.replace('metre', 'foot')}"


def _turned(found: re.Match[str]) -> str:
    first, between, second, gap, unit = found.groups()
    if second is None:
        return _us(first, unit).replace(" ", gap)
    low, high = _us(first, unit), _us(second, unit)
    low_number, _, low_unit = low.partition(" ")
    high_unit = high.partition(" ")[2]
    return (low_number if low_unit == high_unit else low).replace(" ", gap) + between + high.replace(" ", gap)


def beside(text: str) -> str:
    """The same text with °F behind each temperature in °C: for a page that keeps what the file says.

    >>> beside("It carries 250 mW at 70 °C; parts of -10 to 60 °C.")
    'It carries 250 mW at 70 °C (158 °F); parts of -10 to 60 °C (14 to 140 °F).'
    """
    return _QUANTITY.sub(lambda found: f"{found[0]} ({_turned(found)})" if found[5] == "°C" else found[0], text)


def _us(text: str, unit: str) -> str:
    number = Decimal(text.replace("−", "-"))
    if unit in ("mm", "cm"):  # what is cut and measured: inches, however long
        return f"{_inch(number if unit == 'mm' else number * 10)} in"
    dimension, scale = _UNITS[unit]
    if dimension == "mass":
        return _mass(float(number * Decimal(scale)))
    if dimension == "force":
        return f"{_few(float(number) / 4.4482216152605, 3)} lbf"
    value = float(number / Decimal("3.6")) if unit == "km/h" else float(number * Decimal(scale))
    return format_value(value, dimension, digits=DIGITS, system="us")


def _inch(length_mm: Decimal) -> str:
    """Bare inches of millimetres, no finer than they are and no finer than a tenth beyond 10 in."""
    inch = length_mm / Decimal("25.4")
    if not inch:
        return "0"
    decimals = min(max(2 - inch.adjusted(), 1), max(-int(length_mm.as_tuple().exponent), 0) + 2)
    said = f"{inch:.{decimals}f}"
    return said.rstrip("0").rstrip(".") if "." in said else said


def _mass(mass_kg: float) -> str:
    """Ounces below a pound, to a tenth from one on."""
    pounds = mass_kg / 0.45359237
    return f"{_few(pounds * 16.0, 2)} oz" if abs(pounds) < 1.0 else f"{_few(pounds, 2)} lb"


def _few(number: float, figures: int) -> str:
    """So many figures, three from ten on, whole ones from a hundred."""
    return f"{number:.0f}" if abs(number) >= 99.95 else plain_number(number, figures if abs(number) < 9.95 else 3)


_IN_HEAD = re.compile(r"^(.*\S) mm$")


def head_us(head: str) -> str | None:
    """A column's heading "Cut mm" as "Cut in"; None where it names no millimetres."""
    found = _IN_HEAD.match(head)
    return None if found is None else f"{found[1]} in"


def inches(text: str) -> str:
    """Bare millimetres of such a column in inches; what is no number stays.

    >>> inches("2115 115 4.3")
    '83.3 4.53 0.169'
    """
    return _BARE.sub(lambda found: _inch(Decimal(found[0].replace("−", "-"))), text)


def inches_of(length_mm: float) -> str:
    """A length in inches with its unit, also where it is long. [mm]

    >>> inches_of(5080.0)
    '200 in'
    """
    return f"{inches(f'{length_mm:.10g}')} in"


def ounces(mass_g: str) -> str:
    """Bare grams of a column in ounces, as fine as a tenth; what is no number stays."""
    return _BARE.sub(lambda found: plain_number(round(float(found[0]) / 28.349523125, 1), 15), mass_g)


def fahrenheit(temp_c: str) -> str:
    """Bare degrees Celsius of a column in degrees Fahrenheit; what is no number stays."""
    return _BARE.sub(lambda found: plain_number(float(found[0].replace("−", "-")) * 1.8 + 32.0, DIGITS), temp_c)
