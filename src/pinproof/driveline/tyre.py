"""How far a wheel rolls in one turn, from what its owner has.

Answers: the rolling circumference with its range, from a roll-out, from revolutions per distance, or from a size.
Units:   metres.
Touches: nothing.
Sources: the two ways of writing a size, width/aspect R rim and diameter x width R rim: common practice, no source; the
         sums are arithmetic and inch = 25.4 mm exact. Factor 3.05 of a radial under load: memory; its range 2.95 to
         3.15 (soft or hard, makers' own diameters): common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pinproof.design.model import Value
from pinproof.driveline.span import Span, remains
from pinproof.errors import QuantityFault

USUAL_FACTOR = Span(2.95, 3.05, 3.15)
INCH_M = 0.0254
_METRIC = re.compile(
    r"(?:P|LT|ST|T)?\s*([0-9]{2,3})\s*/\s*([0-9]{2,3})\s*(?:Z?R|B|D|-)\s*([0-9]{2}(?:\.[05])?)\s*(?:LT|C|ST)?", re.I
)
_INCH = re.compile(
    r"(?:LT)?\s*([0-9]{2}(?:\.[0-9]{1,2})?)\s*[x×]\s*([0-9]{1,2}(?:\.[0-9]{1,2})?)\s*"
    r"(?:R|B|D|-)\s*([0-9]{2}(?:\.[05])?)\s*(?:LT|C|ST)?",
    re.I,
)


@dataclass(frozen=True)
class Tyre:
    """One tyre as described: `circumference_m` new or as measured, `rolling_m` with growth and wear."""

    circumference_m: Span
    rolling_m: Span
    how: str  # "roll-out", "revolutions per distance", "size 37x12.50R17 × factor"
    basis: str
    parts: tuple[Value, ...]  # the numbers of the file it rests on


def diameter_of_size(text: str) -> float:
    """Overall diameter that a size stands for. [m]

    Raises
    ------
    QuantityFault
        Neither a metric nor an inch size, or an impossible one.
    """
    wanted = 'a tyre size, such as "315/75R16" or "37x12.50R17"'
    if len(text) > 40:
        raise QuantityFault(text[:40], wanted)
    metric = _METRIC.fullmatch(text.strip())
    if metric is not None:
        width_mm, aspect, rim_in = (float(each) for each in metric.groups())
        if not (100.0 <= width_mm <= 600.0 and 20.0 <= aspect <= 100.0):
            raise QuantityFault(text, wanted, "Width in millimetres / height in percent of it, R, rim in inches.")
        return rim_in * INCH_M + 2.0 * width_mm * aspect / 100.0 / 1000.0
    inch = _INCH.fullmatch(text.strip())
    if inch is not None:
        across_in, width_in, rim_in = (float(each) for each in inch.groups())
        if not (across_in > rim_in and across_in > width_in):
            raise QuantityFault(text, wanted, "Overall diameter x width R rim, all in inches.")
        return across_in * INCH_M
    raise QuantityFault(text, wanted, "Other sizes do not say their diameter: give a roll-out instead.")


def circumference_of_size(text: str, factor: Span = USUAL_FACTOR) -> Span:
    """Rolling circumference from a size: factor × overall diameter. [m] QuantityFault as `diameter_of_size`."""
    return factor * diameter_of_size(text)


def rolling(circumference_m: Span, growth: Value | None, wear: Value | None) -> Span:
    """The circumference over the whole range of growth and wear. [m] None: there is none."""
    grown = Span.exact(1.0) if growth is None else Span(1.0 + growth.low, 1.0 + growth.value, 1.0 + growth.high)
    return circumference_m * grown * remains(wear)
