"""A reading as a person types it.

Answers: which number was meant, and what is its last digit worth?
Units:   ohms or volts.
Touches: nothing.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from pinproof.errors import QuantityFault
from pinproof.meter.instrument import Quantity
from pinproof.quantities import format_value, parse

_OPEN = re.compile(r"\s*(o\.?l\.?|0\.?l\.?|over(load| ?range)?|open|inf(inite|inity)?|∞|1\s*\.?)\s*", re.IGNORECASE)
_LETTERED = re.compile(r"[0-9]*([kKMGRrVv])([0-9]+)(?![0-9.,])")
_MANTISSA = re.compile(r"[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+")


@dataclass(frozen=True)
class Typed:
    """What was typed. `value` is infinite for OL; `noted` is the worth of the last digit, 0 for OL. [Ω or V]"""

    value: float
    noted: float
    text: str

    @property
    def is_open(self) -> bool:
        """True if the display showed that it could not reach a number."""
        return math.isinf(self.value)


def read_typed(text: str, quantity: Quantity) -> Typed:
    """Read what somebody typed at a station that wants ohms or volts.

    "OL" and its relatives mean an open display, on ohms only. A minus sign is kept, on ohms too: `judge` asks about it.

    Raises
    ------
    QuantityFault
        Not this quantity, or no unit: a bare 4.42 may be ohms or kilohms.

    Examples
    --------
    >>> from pinproof.meter.typed import read_typed
    >>> read_typed("4.420k", "resistance").noted, read_typed("OL", "resistance").value
    (1.0, inf)
    """
    clean = " ".join(text.split())
    if _OPEN.fullmatch(clean):
        if quantity == "voltage":
            raise QuantityFault(clean, "volts", "OL on volts means the range is too small. Turn the meter up first.")
        if clean.startswith("1"):
            raise QuantityFault(clean, "ohms with their unit", 'If the display shows a lone 1 for open, type "OL".')
        return Typed(math.inf, 0.0, clean)
    sign = -1.0 if clean[:1] in ("-", "\u2212") else 1.0
    bare = clean[1:].strip() if sign < 0.0 else clean
    size = parse(bare, quantity)
    return Typed(sign * size, last_digit(bare, quantity), clean)


def last_digit(text: str, quantity: Quantity) -> float:
    """What one step of the last written digit is worth, in ohms or volts.

    Examples
    --------
    >>> from pinproof.meter.typed import last_digit
    >>> last_digit("1.497k", "resistance"), last_digit("4k7", "resistance"), last_digit("12.60 V", "voltage")
    (1.0, 100.0, 0.01)
    """
    lettered = _LETTERED.match(text)
    if lettered:
        unit = parse(f"1{lettered[1]}", quantity)
        return float(unit * 10.0 ** -len(lettered[2]))
    number = _MANTISSA.search(text)
    if number is None:
        return 0.0
    _, _, places = number[0].replace(",", ".").partition(".")
    rest = text[number.end() :].strip()
    return float(f"{parse('1 ' + rest, quantity) * 10.0 ** -len(places):.12g}")


def shown(value: float, quantity: Quantity, digits: int = 4) -> str:
    """A reading with its unit; OL where the display was open."""
    if math.isinf(value) and value > 0.0:
        return "OL"
    return format_value(value, quantity, digits=digits)
