"""One reading beside what it should be: where it works, where it is as built, what the reading leaves open.

Answers: is it inside, outside, or across an end, seen at a glance?
Units:   millimetres on paper; ohms or volts on an even rule.
Touches: nothing but the shipped typefaces.
Beside:  `pinproof.meter` gives the bands and judges; the numbers stand in the text beside the picture.

Pattern language: an outline is where it still works, tinted is as built, a bar is what the meter leaves open; an
arrow leads beyond the picture.
"""

from __future__ import annotations

import math

from pinproof.drawings.measure import width_mm
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas, number
from pinproof.meter import Band
from pinproof.quantities import format_value

WIDTH_MM = 84.0
ROW_MM, BAR_MM = 5.2, 3.4
SIZE_MM = 3.1
WORDS = ("works", "as built", "read")
_PAD = 0.35  # of the widest band, left free on both sides
_DIMENSIONS = {"ohm": "resistance", "V": "voltage"}


def reading_span(
    as_built: Band, works: Band, low: float, high: float, unit: str, *, ident: str = "span"
) -> Drawing:  # fmt: skip
    """Draw one judged reading.

    Parameters
    ----------
    as_built, works : Band
        Ends may be infinite.
    low, high : float
        Between what the point itself lies; `high` may be infinite.
    unit : str
        "ohm" or "V".
    ident : str
        Beginning of the ids inside the SVG.

    Raises
    ------
    ValueError
        An unknown unit, or a reading without ends.
    """
    if unit not in _DIMENSIONS:
        raise ValueError(f"unit {unit!r} is none of {', '.join(_DIMENSIONS)}")
    if math.isnan(low) or math.isnan(high):
        raise ValueError("a reading needs both ends")
    left, right = max(width_mm(each, SIZE_MM) for each in WORDS) + 2.5, WIDTH_MM - 1.0
    ends = _extent(as_built, works)
    told = "; ".join(
        f"{word}: {_said(*pair, unit)}"
        for word, pair in zip(WORDS, ((works.low, works.high), (as_built.low, as_built.high), (low, high)), strict=True)
    )
    canvas = Canvas(WIDTH_MM, 3.0 * ROW_MM + 0.6, "The reading beside what it should be", f"{told}.", ident)
    canvas.group(kind="pp-words")
    for row, word in enumerate(WORDS):
        canvas.text(0.3, row * ROW_MM + ROW_MM * 0.72, word, SIZE_MM, weight="strong" if row == 2 else "regular")
    canvas.group(kind="pp-spans")
    for row, band in enumerate((works, as_built)):
        first, last = (_x(end, ends, left, right) for end in (band.low, band.high))
        top = row * ROW_MM + (ROW_MM - BAR_MM) / 2.0
        if row:
            canvas.rect(first, top, max(last - first, 0.5), BAR_MM, fill=0.25, stroke=0.25)
        else:
            canvas.rect(first, top, max(last - first, 0.5), BAR_MM, stroke=0.35)
    for end in (works.low, works.high):
        x = _x(end, ends, left, right)
        if left < x < right:
            canvas.line(x, 0.4, x, 3.0 * ROW_MM, width=0.25, dash="1.2 0.9")
    _draw_reading(canvas, low, high, ends, (left, right))
    return canvas.finish()


def _draw_reading(
    canvas: Canvas, low: float, high: float, ends: tuple[float, float], across: tuple[float, float]
) -> None:
    left, right = across
    middle = 2.5 * ROW_MM
    if low > ends[1] or high < ends[0]:  # beyond the picture
        tip, back = (right, right - 3.2) if low > ends[1] else (left, left + 3.2)
        canvas.path(f"M{number(back)} {number(middle - 1.7)}L{number(tip)} {number(middle)}L{number(back)} "
                    f"{number(middle + 1.7)}z", fill=1.0)  # fmt: skip
        return
    first, last = (_x(end, ends, left, right) for end in (low, high))
    canvas.rect(first, middle - 0.55, max(last - first, 0.4), 1.1, fill=1.0)
    for x, open_end in ((first, low < ends[0]), (last, high > ends[1])):
        if not open_end:
            canvas.line(x, middle - 1.6, x, middle + 1.6, width=0.45)


def _extent(as_built: Band, works: Band) -> tuple[float, float]:
    """Values shown: all finite ends, with room on both sides."""
    finite = [end for band in (as_built, works) for end in (band.low, band.high) if math.isfinite(end)]
    low, high = (min(finite), max(finite)) if finite else (0.0, 1.0)
    wide = (high - low) or abs(high) or 1.0
    below = low - _PAD * wide
    return (max(below, 0.0) if low >= 0.0 else below), high + _PAD * wide


def _x(value: float, ends: tuple[float, float], left: float, right: float) -> float:
    share = (value - ends[0]) / (ends[1] - ends[0])
    return left + (right - left) * min(max(share, 0.0), 1.0)


def _said(low: float, high: float, unit: str) -> str:
    first = format_value(low, _DIMENSIONS[unit], digits=4)
    return f"{first} or more" if math.isinf(high) else f"{first} to {format_value(high, _DIMENSIONS[unit], digits=4)}"
