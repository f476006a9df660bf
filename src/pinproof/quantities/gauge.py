"""Wire sizes: American wire gauge or square millimetres.

Answers: what conductor area does "20 AWG" or "0.5 mm2" mean?
Units:   area in m².
Touches: nothing.
Sources: ASTM B258 (gauge formula, secondary), through `pinproof.tables.copper`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pinproof.errors import OutOfTable, QuantityFault
from pinproof.quantities.units import DIMENSIONS

_AWG = re.compile(
    r"(?:awg\s*#?\s*([0-9]{1,2}|[1-4]/0|0{2,4})|#?\s*([0-9]{1,2}|[1-4]/0|0{2,4})\s*(?:awg|ga|gauge))\Z", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Gauge:
    """A wire size as written. `kind` is "awg" or "mm2"; `awg` is the gauge number (0 for 1/0, -3 for 4/0) or None."""

    kind: str
    awg: int | None
    area_m2: float


def awg_in(text: str) -> int | None:
    """The gauge number if `text` is an American wire gauge ("20 AWG", "AWG 20", "2/0 AWG"), else None."""
    found = _AWG.match(text.strip())
    if found is None:
        return None
    digits = found[1] or found[2]
    if digits.endswith("/0"):
        return 1 - int(digits[0])
    if set(digits) == {"0"}:
        return 1 - len(digits)
    return int(digits)


def parse_gauge(text: str) -> Gauge:
    """Read a wire size; QuantityFault if it is neither AWG (4/0 to 40) nor an area."""
    phrase = DIMENSIONS["gauge"].phrase
    number = awg_in(text) if isinstance(text, str) else None
    if number is None:
        from pinproof.quantities.read import parse

        area_m2 = parse(text, "gauge")
        if area_m2 <= 0.0:
            raise QuantityFault(text, phrase, "A wire has an area above zero.")
        return Gauge("mm2", None, area_m2)
    from pinproof.tables.copper import awg_area_m2

    try:
        return Gauge("awg", number, awg_area_m2(number))
    except OutOfTable as fault:
        raise QuantityFault(text, phrase, f"Gauges run from {fault.covered}.") from None


def awg_of_area(area_m2: float, *, within: float = 0.005) -> int | None:
    """The gauge whose area is within the given fraction of `area_m2`, or None. Names and areas often disagree."""
    from pinproof.tables.copper import AWG_LARGEST, AWG_SMALLEST, awg_area_m2

    for number in range(AWG_LARGEST, AWG_SMALLEST + 1):
        if abs(awg_area_m2(number) - area_m2) <= within * area_m2:
            return number
    return None


def awg_text(number: int) -> str:
    """A gauge number as written on a reel: 20, 1, "1/0", "4/0"."""
    return str(number) if number > 0 else f"{1 - number}/0"
