"""Circuit symbols, drawn along a level line.

Units:   millimetres; a symbol takes SYMBOL_MM of the line, which is broken there.
Touches: nothing.
Sources: IEC 60617: resistor as a rectangle, make contact with an open blade, break contact with a blade that meets its
         stop, fuse as a rectangle with its line through, diode, plug and socket as a bar in a cup (from memory). A
         slim rectangle for a wire's own resistance, a dashed one for leakage and a "?" for a value that nobody knows
         yet are our own.
"""

from __future__ import annotations

from pinproof.drawings.measure import reach_mm
from pinproof.drawings.svg import Canvas, number

SYMBOL_MM = 7.0
TEXT_MM = 2.8
_HEIGHTS = {"resistor": 2.6, "pull": 2.6, "leak": 2.6, "wire": 1.1, "fuse": 2.2}
_WITH_TEXT_MM = 3.6  # height of a rectangle that holds a text
KINDS = ("contact", "diode", "diode back", *_HEIGHTS)


def draw_symbol(
    canvas: Canvas, kind: str, left: float, y: float, *, closed_at_rest: bool = False, text: str = ""
) -> None:
    """The symbol of a branch between `left` and `left` + SYMBOL_MM, with a short text inside a rectangle.

    `kind` is one of KINDS; ValueError for others. A "diode" lets current pass to the right, a "diode back" to the left.
    """
    if kind not in KINDS:
        raise ValueError(f"no symbol for {kind!r}; known: {', '.join(KINDS)}")
    if kind == "contact":
        _draw_contact(canvas, left, y, closed_at_rest)
    elif kind in ("diode", "diode back"):
        _draw_diode(canvas, left, y, back=kind == "diode back")
    else:
        high = _WITH_TEXT_MM if text else _HEIGHTS[kind]
        canvas.rect(left, y - high / 2.0, SYMBOL_MM, high, stroke=0.35, dash="0.8 0.6" if kind == "leak" else "")
        if kind == "fuse":
            canvas.line(left, y, left + SYMBOL_MM, y, width=0.3)
        if text:
            above, below = reach_mm(TEXT_MM)
            canvas.text(left + SYMBOL_MM / 2.0, y + (above - below) / 2.0, text, TEXT_MM, anchor="middle")


def _draw_diode(canvas: Canvas, left: float, y: float, *, back: bool) -> None:
    right, half = left + SYMBOL_MM, 1.5
    base, tip = (left + 4.8, left + 2.2) if back else (left + 2.2, left + 4.8)
    canvas.line(left, y, right, y, width=0.3)
    canvas.path(
        f"M{number(base)} {number(y - half)}L{number(tip)} {number(y)}L{number(base)} {number(y + half)}z", stroke=0.35
    )
    canvas.line(tip, y - half, tip, y + half, width=0.35)


def _draw_contact(canvas: Canvas, left: float, y: float, closed_at_rest: bool) -> None:
    a, b, right = left + 1.2, left + 5.6, left + SYMBOL_MM
    canvas.line(left, y, a, y, width=0.3)
    canvas.line(b, y, right, y, width=0.3)
    if closed_at_rest:  # the blade meets a stop that stands on the other terminal
        canvas.path(f"M{number(a)} {number(y)}L{number(b + 0.7)} {number(y - 1.9)}", stroke=0.35)
        canvas.line(b, y, b, y - 2.3, width=0.35)
    else:
        canvas.path(f"M{number(a)} {number(y)}L{number(b - 0.3)} {number(y - 2.3)}", stroke=0.35)


def draw_joint(canvas: Canvas, x: float, y: float) -> None:
    """A dot where lines are joined."""
    canvas.circle(x, y, 0.65, fill=1.0)


def draw_bridge(canvas: Canvas, x: float, y: float) -> None:
    """A half circle where a level line passes over an upright one without touching it."""
    canvas.path(f"M{number(x - 1.0)} {number(y)}a1 1 0 0 1 2 0", stroke=0.3)


def draw_plug(canvas: Canvas, x: float, y: float, *, level: bool = False) -> None:
    """Where a line passes a plug: a bar in a cup. On an upright line it opens upward, on a level one to the right."""
    if level:
        canvas.path(f"M{number(x + 1.2)} {number(y - 1.2)}a1.2 1.2 0 0 0 0 2.4", stroke=0.4)
        canvas.rect(x + 0.5, y - 0.4, 2.0, 0.8, fill=1.0)
    else:
        canvas.path(f"M{number(x - 1.2)} {number(y - 1.2)}a1.2 1.2 0 0 0 2.4 0", stroke=0.4)
        canvas.rect(x - 0.4, y - 2.5, 0.8, 2.0, fill=1.0)
