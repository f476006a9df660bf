"""Circuit symbols, drawn along a level line.

Units:   millimetres; a symbol takes SYMBOL_MM of the line, which is broken there.
Touches: nothing.
Sources: IEC 60617: resistor as a rectangle, make contact with an open blade, break contact with a blade that meets its
         stop (from memory). A slim rectangle for a wire's own resistance and a dashed one for leakage are our own.
"""

from __future__ import annotations

from pinproof.drawings.svg import Canvas, number

SYMBOL_MM = 7.0
_HEIGHTS = {"resistor": 2.6, "pull": 2.6, "leak": 2.6, "wire": 1.1}


def draw_symbol(canvas: Canvas, kind: str, left: float, y: float, *, closed_at_rest: bool = False) -> None:
    """The symbol of a branch between `left` and `left` + SYMBOL_MM.

    `kind` is "resistor", "pull", "wire", "leak" or "contact"; ValueError for others.
    """
    if kind == "contact":
        _draw_contact(canvas, left, y, closed_at_rest)
        return
    if kind not in _HEIGHTS:
        raise ValueError(f"no symbol for {kind!r}; known: contact, {', '.join(_HEIGHTS)}")
    high = _HEIGHTS[kind]
    canvas.rect(left, y - high / 2.0, SYMBOL_MM, high, stroke=0.35, dash="0.8 0.6" if kind == "leak" else "")


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


def draw_terminal(canvas: Canvas, x: float, y: float) -> None:
    """A ring for a pin of a plug."""
    canvas.circle(x, y, 0.95, stroke=0.4)
