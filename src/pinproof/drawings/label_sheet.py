"""Labels to be cut out: two lines each, on sheets of paper.

Answers: what is written on the label at each end of each wire?
Units:   millimetres.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.drawings.measure import drawable, width_mm
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas

WIDE_MM, FIELD_MM, HIGH_MM = 182.0, 45.5, 12.0
COLUMNS = 4
ROWS = 18
TEXT_MM, HEAD_MM = 2.9, 4.0


def label_sheets(labels: Sequence[tuple[str, str]], ident: str = "labels") -> tuple[Drawing, ...]:
    """Sheets of labels, four beside each other. A text that is too wide is set smaller, down to half."""
    found = []
    size = COLUMNS * ROWS
    for number, start in enumerate(range(0, len(labels), size)):
        mine = labels[start : start + size]
        rows = -(-len(mine) // COLUMNS)
        told = "; ".join(f"{first}: {second}" for first, second in mine)
        canvas = Canvas(WIDE_MM, HIGH_MM * rows + 0.6, f"Labels, sheet {number + 1}", told, f"{ident}-{number + 1}")
        for index, (first, second) in enumerate(mine):
            x, y = 0.3 + (index % COLUMNS) * (FIELD_MM - 0.15), 0.3 + (index // COLUMNS) * HIGH_MM
            canvas.rect(x, y, FIELD_MM - 0.15, HIGH_MM, stroke=0.15, dash="1.2 0.8")
            _fit(canvas, x + 2.0, y + 5.0, first, HEAD_MM, "strong")
            _fit(canvas, x + 2.0, y + 9.6, second, TEXT_MM, "regular")
        found.append(canvas.finish())
    return tuple(found)


def _fit(canvas: Canvas, x: float, y: float, text: str, size: float, weight: str) -> None:
    shown, room = drawable(text), FIELD_MM - 4.0
    wide = width_mm(shown, size, weight)
    fitted = max(size * min(room / wide, 1.0), size / 2.0) if wide else size
    while shown and width_mm(shown, fitted, weight) > room + 1e-6:
        shown = shown[:-2] + "…" if len(shown) > 2 else ""
    canvas.text(x, y, shown, fitted, weight=weight)
