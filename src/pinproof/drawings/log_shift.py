"""One finding of a log as a picture: what was asked above the time line, what the gearbox did below it.

Answers: when was the button pressed, for how long, and which gear was told and was in meanwhile?
Units:   millimetres on paper; seconds from the first press, or from the picture's begin where nobody pressed.
Touches: nothing but the shipped typefaces.
Beside:  `pinproof.logs` cuts the piece out; nothing is computed here.

Picture language: a press is a peg that stands on the line, as wide as it lasted, pointed up or down as it asked. A stay
is a bar that hangs below the line, with its words in it; where there is none, nothing is known or the gear changes.
"""

from __future__ import annotations

import math

from pinproof.drawings.bands import NAME_MM, SMALL_MM
from pinproof.drawings.measure import drawable, reach_mm, width_mm, wrap
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas, number
from pinproof.logs.results import Picture

WIDTHS_MM = {"wide": 182.0, "narrow": 84.0}
_LANE_MM = 4.6
_PEG_MM = 6.5


def log_shift(picture: Picture, title: str, *, layout: str = "wide", ident: str = "log-shift") -> Drawing:
    """Draw one piece of a log.

    Parameters
    ----------
    picture : Picture
    title : str
        What it shows, in one line.
    layout : str
        "wide", 182 mm, or "narrow", 84 mm.
    ident : str
        Beginning of the ids inside the SVG.

    Raises
    ------
    ValueError
        For an unknown layout, or a piece of no length.
    """
    if layout not in WIDTHS_MM:
        raise ValueError(f"layout {layout!r} is none of {', '.join(WIDTHS_MM)}")
    if not picture.to_s > picture.from_s:
        raise ValueError("the piece has no length")
    wide = WIDTHS_MM[layout]
    heads = wrap(drawable(title), wide - 1.0, NAME_MM, "strong")
    lanes = list(dict.fromkeys(words.rsplit(" ", 1)[0] for _, _, words in picture.did))
    line_y = len(heads) * 3.95 + 2.5 + reach_mm(SMALL_MM)[0] + 1.0 + _PEG_MM
    below = line_y + 4.6
    high = below + max(1, len(lanes)) * (_LANE_MM + 1.0) + 4.2
    canvas = Canvas(wide, high, title, _describe(picture), ident)
    canvas.group(kind="pp-head")
    for row, text in enumerate(heads):
        canvas.text(0.3, row * 3.95 + reach_mm(NAME_MM)[0], text, NAME_MM, weight="strong")
    left, right = 0.6, wide - 0.6

    def x(at_s: float) -> float:
        share = (min(max(at_s, picture.from_s), picture.to_s) - picture.from_s) / (picture.to_s - picture.from_s)
        return left + share * (right - left)

    _axis(canvas, picture, x, line_y, layout)
    _asked(canvas, picture, x, line_y)
    _did(canvas, picture, x, below, lanes)
    canvas.group(kind="pp-limits")
    for at_s, words in picture.limits:
        if picture.from_s < at_s < picture.to_s:
            canvas.line(x(at_s), line_y - 3.0, x(at_s), high - 3.9, width=0.35, dash="1 0.8")
            near = x(at_s) + 0.8 + width_mm(words, SMALL_MM) < right
            canvas.text(
                x(at_s) + (0.8 if near else -0.8), line_y - 1.6, words, SMALL_MM, anchor="start" if near else "end"
            )
    canvas.group(kind="pp-notes")
    canvas.text(0.3, high - 0.9, "Above: asked. Below: what the gearbox did.", SMALL_MM, soft=True)
    return canvas.finish()


def _zero(picture: Picture) -> float:
    return picture.asked[0][0] if picture.asked else picture.from_s


def _axis(canvas: Canvas, picture: Picture, x: object, line_y: float, layout: str) -> None:
    place = x
    assert callable(place)
    canvas.group(kind="pp-rule")
    canvas.line(place(picture.from_s), line_y, place(picture.to_s), line_y, width=0.4)
    span = picture.to_s - picture.from_s
    pitch = _nice(span, 12 if layout == "wide" else 5)
    zero = _zero(picture)
    first = math.ceil((picture.from_s - zero) / pitch - 1e-9)
    last = math.floor((picture.to_s - zero) / pitch + 1e-9)
    for step in range(first, last + 1):
        at = place(zero + step * pitch)
        canvas.line(at, line_y, at, line_y + 0.9, width=0.25)
        text = f"{step * pitch:g} s"
        half = width_mm(text, SMALL_MM) / 2.0
        if 0.3 + half < at < canvas.width_mm - 0.3 - half:
            canvas.text(at, line_y + 0.9 + reach_mm(SMALL_MM)[0], text, SMALL_MM, anchor="middle", soft=True)


def _asked(canvas: Canvas, picture: Picture, x: object, line_y: float) -> None:
    place = x
    assert callable(place)
    canvas.group(kind="pp-asked")
    reached = -math.inf
    for begin, end, way in picture.asked:
        low, high = place(begin), max(place(end), place(begin) + 0.7)
        mid, top = (low + high) / 2.0, line_y - _PEG_MM
        if way == "up":
            shape = f"M{number(low)} {number(line_y)}V{number(top + 2.0)}L{number(mid)} {number(top)}"
            canvas.path(f"{shape}L{number(high)} {number(top + 2.0)}V{number(line_y)}z", fill=0.85)
        else:
            shape = f"M{number(low)} {number(line_y - 2.0)}V{number(top)}H{number(high)}V{number(line_y - 2.0)}"
            canvas.path(f"{shape}L{number(mid)} {number(line_y)}z", fill=0.85)
        half = width_mm(way, SMALL_MM) / 2.0
        if mid - half > reached:
            at = min(max(mid, 0.3 + half), canvas.width_mm - 0.3 - half)
            canvas.text(at, top - 0.9, way, SMALL_MM, anchor="middle")
            reached = mid + half + 0.8


def _did(canvas: Canvas, picture: Picture, x: object, top_y: float, lanes: list[str]) -> None:
    place = x
    assert callable(place)
    canvas.group(kind="pp-did")
    above = reach_mm(SMALL_MM)[0]
    for begin, end, words in picture.did:
        lane = lanes.index(words.rsplit(" ", 1)[0])
        y = top_y + lane * (_LANE_MM + 1.0)
        low, high = place(begin), max(place(end), place(begin) + 0.5)
        canvas.rect(low, y, high - low, _LANE_MM, stroke=0.25, fill=0.08 if lane else 0.18, corner=0.6)
        for text in (words, words.rsplit(" ", 1)[1]):
            if width_mm(drawable(text), SMALL_MM) + 1.2 < high - low:
                base = y + (_LANE_MM + above) / 2.0 - 0.45
                canvas.text((low + high) / 2.0, base, text, SMALL_MM, anchor="middle")
                break


def _describe(picture: Picture) -> str:
    zero = _zero(picture)
    told = [f"Pressed {way} from {a - zero:.2f} to {b - zero:.2f} s." for a, b, way in picture.asked]
    told += [f"{words[:1].upper()}{words[1:]} from {a - zero:.2f} to {b - zero:.2f} s." for a, b, words in picture.did]
    told += [f"{words} at {at - zero:.2f} s." for at, words in picture.limits]
    return " ".join(told) or "Nothing was pressed, and no gear is known."


def _nice(extent: float, most: int) -> float:
    """A step of 1, 2 or 5 times a power of ten, at most so many in the extent."""
    raw = extent / max(most, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    return next(lead * power for lead in (1.0, 2.0, 5.0, 10.0) if lead * power >= raw * (1.0 - 1e-9))
