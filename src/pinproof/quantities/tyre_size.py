"""What a tyre's size says of its diameter.

Answers: the overall diameter that a size stands for.
Units:   metres.
Touches: nothing.
Sources: the two ways of writing a size, width/aspect R rim and diameter x width R rim: common practice, no source; the
         sums are arithmetic and inch = 25.4 mm exact.
"""

from __future__ import annotations

import re

from pinproof.errors import QuantityFault

INCH_M = 0.0254
_METRIC = re.compile(
    r"(?:P|LT|ST|T)?\s*([0-9]{2,3})\s*/\s*([0-9]{2,3})\s*(?:Z?R|B|D|-)\s*([0-9]{2}(?:\.[05])?)\s*(?:LT|C|ST)?", re.I
)
_INCH = re.compile(
    r"(?:LT)?\s*([0-9]{2}(?:\.[0-9]{1,2})?)\s*[x×]\s*([0-9]{1,2}(?:\.[0-9]{1,2})?)\s*"
    r"(?:R|B|D|-)\s*([0-9]{2}(?:\.[05])?)\s*(?:LT|C|ST)?",
    re.I,
)


def diameter_of_size(text: str) -> float:
    """Overall diameter that a size stands for. [m]

    Raises
    ------
    QuantityFault
        Neither a metric nor an inch size, or an impossible one.

    Examples
    --------
    >>> round(diameter_of_size("37x12.50R17"), 4)
    0.9398
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
