"""The key at the foot of a reading chart: a sample of each pattern with its meaning in words.

Units:   millimetres.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.drawings.bands import PITCH_MM, SMALL_MM
from pinproof.drawings.measure import reach_mm, width_mm
from pinproof.drawings.svg import Canvas, number

TEXTS = {
    "command": "command, sure",
    "idle": "idle, sure",
    "fault": "fault window, sure",
    "edge": "the edge may lie here",
    "keep out": "must keep out of here",
    "exact": "all it may read, exact",
    "bracket": "dashed: may reach this far, not further",
    "floats": "no settled reading",
    "nominal": "as designed",
}
_SAMPLE_MM, _HEIGHT_MM, _LINE_MM, _GAP_MM = 7.0, 3.0, 4.9, 5.0


def _spots(items: Sequence[str], width_mm_: float) -> list[tuple[str, float, float]]:
    spots, x, y = [], 0.3, 2.4
    for item in items:
        wide = _SAMPLE_MM + 1.4 + width_mm(TEXTS[item], SMALL_MM)
        if x > 0.3 and x + wide > width_mm_ - 0.3:
            x, y = 0.3, y + _LINE_MM
        spots.append((item, x, y))
        x += wide + _GAP_MM
    return spots


def legend_height(items: Sequence[str], canvas_width_mm: float) -> float:
    """Height the key will take. [mm]"""
    return _spots(items, canvas_width_mm)[-1][2] + _LINE_MM if items else 0.0


def draw_legend(canvas: Canvas, items: Sequence[str], top: float) -> None:
    """Draw the key below `top`."""
    canvas.group(kind="pp-key")
    canvas.line(0.3, top + 0.9, canvas.width_mm - 0.3, top + 0.9, width=0.15, soft=True)
    for item, x, y in _spots(items, canvas.width_mm):
        _sample(canvas, item, x, top + y)
        base = top + y + _HEIGHT_MM / 2.0 + reach_mm(SMALL_MM)[0] / 2.0 - 0.45
        canvas.text(x + _SAMPLE_MM + 1.4, base, TEXTS[item], SMALL_MM)


def _sample(canvas: Canvas, item: str, x: float, y: float) -> None:
    right, bottom, middle = x + _SAMPLE_MM, y + _HEIGHT_MM, y + _HEIGHT_MM / 2.0
    if item in ("command", "idle", "fault"):
        if item == "fault":
            canvas.hatch(x, y, right, bottom, pitch=1.0, lean="-")
        canvas.rect(x, y, _SAMPLE_MM, _HEIGHT_MM, stroke=0.3, fill=0.1 if item == "command" else 0.0, kind="pp-sure")
    elif item == "edge":
        canvas.hatch(x, y, right, bottom, pitch=PITCH_MM, lean="/")
        canvas.rect(x, y, _SAMPLE_MM, _HEIGHT_MM, stroke=0.15, dash="0.7 0.5")
    elif item == "keep out":
        canvas.hatch(x, y, right, bottom, pitch=1.0, lean="x")
        canvas.rect(x, y, _SAMPLE_MM, _HEIGHT_MM, stroke=0.15)
    elif item == "floats":
        steps = "".join(f"l1 {'-2' if step % 2 else '2'}" for step in range(7))
        canvas.path(f"M{number(x)} {number(middle - 1.0)}{steps}", stroke=0.45)
    elif item == "nominal":
        canvas.path(f"M{number(x + 3.5)} {number(bottom - 0.4)}l-1 -1.7h2z", fill=1.0)
    elif item == "exact":
        canvas.rect(x, middle - 1.1, _SAMPLE_MM, 2.2, fill=1.0, kind="pp-bar")
        for end in (x, right):
            canvas.line(end, y - 0.2, end, bottom + 0.2, width=0.6)
    else:
        canvas.rect(x + 2.0, middle - 1.1, _SAMPLE_MM - 4.0, 2.2, fill=1.0, kind="pp-bar")
        for left in (x, right - 2.0):
            canvas.rect(left, middle - 1.1, 2.0, 2.2, stroke=0.2, dash="0.5 0.4")
        for end in (x, right):
            canvas.line(end, y - 0.2, end, bottom + 0.2, width=0.25)
