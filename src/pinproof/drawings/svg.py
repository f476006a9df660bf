"""A small SVG writer: escaped text, measured labels, words for those who cannot see.

Answers: how are shapes and texts written so that one SVG serves page, dark page, grey paper and PDF?
Units:   millimetres; the picture's own unit is the millimetre. [mm]
Touches: nothing.
Beside:  `measure` knows the widths, `place` the boxes.
Sources: SVG 2, W3C; WAI-ARIA Graphics Module, W3C, for the role and the title and description.

Lines, patterns and texts are drawn in `currentColor`: black in a PDF, the page's text colour on a page. The few
marks that may carry a colour have a class; without a style sheet they are drawn like everything else.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence

from pinproof.drawings.measure import drawable, one_line, reach_mm, width_mm
from pinproof.drawings.place import Drawing, LabelBox

FAMILY = "'Source Sans Pro', 'DejaVu Sans', sans-serif"
INK = "#16222b"  # colour of a drawing that no page has given one
SOFT = "0.8"  # opacity of secondary text: still above 7:1 on white


def as_file(svg: str) -> bytes:
    """A drawing as a file of its own: on white paper, whatever the one who shows it has behind it."""
    on_paper = svg.replace('style="', 'style="background:#fff;', 1)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{on_paper}\n'.encode()


def number(value: float) -> str:
    """A length for an attribute: at most three decimals, never "-0"."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


class Canvas:
    """One drawing in the making. Methods draw in the order of calls, later ones on top."""

    def __init__(self, width_mm: float, height_mm: float, title: str, description: str, ident: str) -> None:
        self.width_mm = width_mm
        self.height_mm = height_mm
        self.title = one_line(title)
        self.description = one_line(description)
        self.labels: list[LabelBox] = []
        self.root = ET.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "width": f"{number(width_mm)}mm",
                "height": f"{number(height_mm)}mm",
                "viewBox": f"0 0 {number(width_mm)} {number(height_mm)}",
                "role": "img",
                "aria-labelledby": f"{ident}-title {ident}-desc",
                "id": ident,
                "class": "pp-drawing",
                "color": INK,
                "fill": "none",
                "stroke": "none",
                "font-family": FAMILY,
                "style": "font-kerning:none;font-variant-ligatures:none",
            },
        )
        ET.SubElement(self.root, "title", {"id": f"{ident}-title"}).text = self.title
        ET.SubElement(self.root, "desc", {"id": f"{ident}-desc"}).text = self.description
        self._into = self.root
        self._shift = (0.0, 0.0)

    def group(self, ident: str = "", kind: str = "") -> None:
        """Start a group of shapes beside the earlier ones; it lasts until the next."""
        self._into = ET.SubElement(self.root, "g", _named(ident, kind))
        self._shift = (0.0, 0.0)

    def frame(self, ident: str, x: float, y: float, width: float, height: float, shift: tuple[float, float]) -> None:
        """Start a group that shows only this rectangle; what is drawn into it is moved by `shift`."""
        clip = ET.SubElement(self.root, "clipPath", {"id": ident})
        sizes = {"x": x, "y": y, "width": width, "height": height}
        ET.SubElement(clip, "rect", {k: number(v) for k, v in sizes.items()})
        outer = ET.SubElement(self.root, "g", {"clip-path": f"url(#{ident})"})
        self._into = ET.SubElement(outer, "g", {"transform": f"translate({number(shift[0])} {number(shift[1])})"})
        self._shift = shift

    def line(
        self, x1: float, y1: float, x2: float, y2: float, *, width: float = 0.25, dash: str = "", soft: bool = False
    ) -> None:
        """A straight line."""
        self._add("line", {"x1": x1, "y1": y1, "x2": x2, "y2": y2}, _stroke(width, dash, soft))

    def rect(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        stroke: float = 0.0,
        dash: str = "",
        fill: float = 0.0,
        corner: float = 0.0,
        kind: str = "",
    ) -> None:
        """A rectangle; `stroke` is the line's width, `fill` the opacity of the ink that fills it."""
        style = {**(_stroke(stroke, dash, False) if stroke else {}), **_fill(fill), **_named("", kind)}
        sizes = {"x": x, "y": y, "width": width, "height": height}
        self._add("rect", {**sizes, "rx": corner} if corner else sizes, style)

    def coloured_rect(
        self, x: float, y: float, width: float, height: float, colour: str, *, stroke: float, corner: float = 0.0
    ) -> None:
        """A rectangle in a colour of its own, outlined in ink so that it stands out on any paper."""
        sizes = {"x": x, "y": y, "width": width, "height": height}
        style = {**_stroke(stroke), "fill": colour}
        self._add("rect", {**sizes, "rx": corner} if corner else sizes, style)

    def circle(self, x: float, y: float, radius: float, *, stroke: float = 0.0, fill: float = 0.0) -> None:
        """A circle."""
        self._add("circle", {"cx": x, "cy": y, "r": radius}, {**(_stroke(stroke) if stroke else {}), **_fill(fill)})

    def path(
        self,
        commands: str,
        *,
        stroke: float = 0.0,
        fill: float = 0.0,
        soft: bool = False,
        kind: str = "",
        dash: str = "",
    ) -> None:
        """A path from ready path commands."""
        style = {**(_stroke(stroke, dash, soft) if stroke else {}), **_fill(fill), **_named("", kind)}
        self._add("path", {}, {"d": commands, **style})

    def broad(self, commands: str, width: float) -> None:
        """A broad band along a path, light enough to write on."""
        style = {"stroke": "currentColor", "stroke-width": number(width), "stroke-opacity": "0.16"}
        self._add("path", {}, {"d": commands, "stroke-linejoin": "round", **style})

    def hatch(self, left: float, top: float, right: float, bottom: float, *, pitch: float, lean: str) -> None:
        """Fill a rectangle with fine lines: `lean` "/" or "\\" slanted, "x" both, "-" level."""
        parts: list[tuple[float, float, float, float]] = []
        if lean in "/x":
            parts += _slanted(left, top, right, bottom, pitch, rising=True)
        if lean in "\\x":
            parts += _slanted(left, top, right, bottom, pitch, rising=False)
        if lean == "-":
            rows = int((bottom - top) / pitch)
            first = top + ((bottom - top) - (rows - 1) * pitch) / 2.0
            parts += [(left, first + row * pitch, right, first + row * pitch) for row in range(rows)]
        if parts:
            drawn = "".join(f"M{number(a)} {number(b)}L{number(c)} {number(d)}" for a, b, c, d in parts)
            self.path(drawn, stroke=0.14, soft=True)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        anchor: str = "start",
        weight: str = "regular",
        soft: bool = False,
        kind: str = "",
    ) -> LabelBox:
        """One line of text with its base line at `y`; its box is recorded and returned."""
        shown = drawable(text)
        wide = width_mm(shown, size, weight)
        above, below = reach_mm(size)
        left = x - {"start": 0.0, "middle": wide / 2.0, "end": wide}[anchor]
        attributes = {"fill": "currentColor", **_named("", kind)}
        if anchor != "start":
            attributes["text-anchor"] = anchor
        if weight == "strong":
            attributes["font-weight"] = "600"
        if soft:
            attributes["fill-opacity"] = SOFT
        # Where the shipped typeface is missing the text is squeezed into the width it was measured with.
        attributes["lengthAdjust"] = "spacingAndGlyphs"
        self._add("text", {"x": x, "y": y, "font-size": size, "textLength": wide}, attributes).text = shown
        right, down = self._shift
        box = LabelBox(shown, left + right, y - above + down, left + wide + right, y + below + down)
        self.labels.append(box)
        return box

    def finish(self) -> Drawing:
        """The drawing as text."""
        text = ET.tostring(self.root, encoding="unicode", short_empty_elements=True)
        return Drawing(text, self.width_mm, self.height_mm, tuple(self.labels), self.title, self.description)

    def _add(self, tag: str, lengths: dict[str, float], attributes: dict[str, str]) -> ET.Element:
        return ET.SubElement(self._into, tag, {**{k: number(v) for k, v in lengths.items()}, **attributes})


def _named(ident: str, kind: str) -> dict[str, str]:
    return {**({"id": ident} if ident else {}), **({"class": kind} if kind else {})}


def _stroke(width: float, dash: str = "", soft: bool = False) -> dict[str, str]:
    found = {"stroke": "currentColor", "stroke-width": number(width)}
    if dash:
        found["stroke-dasharray"] = dash
    if soft:
        found["stroke-opacity"] = "0.55"
    return found


def _fill(opacity: float) -> dict[str, str]:
    if opacity <= 0.0:
        return {}
    return {"fill": "currentColor"} if opacity >= 1.0 else {"fill": "currentColor", "fill-opacity": number(opacity)}


def _slanted(
    left: float, top: float, right: float, bottom: float, pitch: float, *, rising: bool
) -> Sequence[tuple[float, float, float, float]]:
    """Lines at 45° inside a rectangle, on a lattice of the whole canvas so that neighbouring hatches join."""
    lines = []
    first, last = (left + top, right + bottom) if rising else (left - bottom, right - top)
    for step in range(int(first // pitch) + 1, int(last // pitch) + 1):
        offset = step * pitch  # x + y, or x - y, is this on the whole line
        if rising:
            a, b = max(left, offset - bottom), min(right, offset - top)
            ends = (a, offset - a, b, offset - b)
        else:
            a, b = max(left, offset + top), min(right, offset + bottom)
            ends = (a, a - offset, b, b - offset)
        if b - a > 1e-6:
            lines.append(ends)
    return lines
