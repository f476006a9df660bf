"""Lengths, speeds, temperatures, masses and forces of a page in US units, wherever they stand in its sentences.

Answers: how does this page read for somebody who thinks in inches and degrees Fahrenheit?
Touches: nothing. What a file or a command says word for word stays as it is: code, text boxes, examples of what may be
         typed, and drawings, which are the same as in the book and carry their own scales.
Why:     sentences come from the engines with their units; they are written once and read in two systems.
"""

from __future__ import annotations

import re
from decimal import Decimal

from pinproof.quantities import format_value

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
_KEPT = re.compile(
    r"(<(code|pre|textarea|script|style|svg|option|title)\b.*?</\2>"
    r"|<(p|span|div)\b[^>]*class=\"[^\"]*\b(?:hint|as-typed)\b[^\"]*\".*?</\3>"
    r"|<td\b[^>]*data-label=\"As the file[^>]*>.*?</td>"
    r"|<[^>]*>)",
    re.DOTALL,
)
DIGITS = 4


def customary(html: str) -> str:
    """The same HTML with quantities of its text in US units.

    Examples
    --------
    >>> from pinproof.web.customary import customary
    >>> customary("<p>Cut at 1.9 m, at 0 to 70 °C.</p>")
    '<p>Cut at 74.8 in, at 32 to 158 °F.</p>'
    >>> customary("<code>1.9 m</code> 2.5 mm²")
    '<code>1.9 m</code> 2.5 mm²'
    """
    parts, at = [], 0
    for kept in _KEPT.finditer(html):
        parts += [_QUANTITY.sub(_turned, html[at : kept.start()]), kept[0]]
        at = kept.end()
    return "".join([*parts, _QUANTITY.sub(_turned, html[at:])])


def _turned(found: re.Match[str]) -> str:
    first, between, second, gap, unit = found.groups()
    if second is None:
        return _us(first, unit).replace(" ", gap)
    low, high = _us(first, unit), _us(second, unit)
    low_number, _, low_unit = low.partition(" ")
    high_unit = high.partition(" ")[2]
    return (low_number if low_unit == high_unit else low).replace(" ", gap) + between + high.replace(" ", gap)


def _us(text: str, unit: str) -> str:
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
