"""Verdict marks: one shape for each verdict, drawn as paths so that no typeface is needed.

Units:   millimetres.
Touches: nothing.
"""

from __future__ import annotations

from pinproof.drawings.svg import Canvas, number
from pinproof.verdict import Verdict

CLASSES = {
    Verdict.PASS: "pp-pass",
    Verdict.WOULD_HOLD: "pp-hold",
    Verdict.NOT_SHOWN: "pp-open",
    Verdict.FAIL: "pp-fail",
}


def _ring(x: float, y: float, radius: float) -> str:
    r = number(radius)
    return (
        f"M{number(x - radius)} {number(y)}a{r} {r} 0 1 1 {number(2 * radius)} 0a{r} {r} 0 1 1 {number(-2 * radius)} 0z"
    )


def draw_mark(canvas: Canvas, verdict: Verdict, x: float, y: float, radius: float = 1.15) -> None:
    """The mark of a verdict, centred at x, y: a full disc, a half disc, a ring or a cross."""
    kind = CLASSES[verdict]
    if verdict is Verdict.FAIL:
        arm = radius * 0.85
        canvas.path(
            f"M{number(x - arm)} {number(y - arm)}L{number(x + arm)} {number(y + arm)}"
            f"M{number(x - arm)} {number(y + arm)}L{number(x + arm)} {number(y - arm)}",
            stroke=0.65,
            kind=kind,
        )
        return
    if verdict is Verdict.PASS:
        canvas.path(_ring(x, y, radius), fill=1.0, kind=kind)
        return
    canvas.path(_ring(x, y, radius - 0.15), stroke=0.35, kind=kind)
    if verdict is Verdict.WOULD_HOLD:
        r = number(radius - 0.15)
        half = f"M{number(x)} {number(y - radius + 0.15)}a{r} {r} 0 0 0 0 {number(2 * radius - 0.3)}z"
        canvas.path(half, fill=1.0, kind=kind)
