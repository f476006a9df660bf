"""Resistors drawn with their colour bands: each band with its colour's name, and the letter code beside it.

Answers: what does the part to be soldered look like, also on grey paper and for whoever cannot tell the colours?
Units:   millimetres on paper, ohms and ratios for the part.
Touches: nothing but the shipped typefaces.
Beside:  `pinproof.quantities.markings` knows the codes (IEC 60062).
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.drawings.bands import NAME_MM, SMALL_MM
from pinproof.drawings.measure import drawable, reach_mm, width_mm
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas

# What a screen or an inkjet shows for each colour of the code; the names decide, not these.
SHADES = {
    "pink": "#f2a0b8", "silver": "#b9bec2", "gold": "#c79a2e", "black": "#101010", "brown": "#6b3d1e",
    "red": "#c1272d", "orange": "#ef7d17", "yellow": "#f2d21b", "green": "#2c8a43", "blue": "#2458b0",
    "violet": "#7b3fa0", "grey": "#7f8589", "white": "#ffffff",
}  # fmt: skip
BODY = "#e9dfc8"
_BAND_MM, _HIGH_MM, _LEAD_MM, _END_MM, _GAP_MM = 3.4, 6.4, 4.0, 2.2, 1.6
_APART_MM = 3.2  # before the tolerance band: it is read last


def swatch(colours: Sequence[str], code: str, value: str, *, ident: str = "part") -> Drawing:
    """Draw one resistor.

    Parameters
    ----------
    colours : sequence of str
        Names of its bands, first band first; none if no bands can say this value.
    code : str
        Letter code, or "" if there is none.
    value : str
        Its value in words, for the title.
    ident : str
        Beginning of the ids inside the SVG.

    Raises
    ------
    KeyError
        For a word that is no colour of the code.
    """
    wides = [max(_BAND_MM, width_mm(name, SMALL_MM)) + _GAP_MM for name in colours]
    inner = sum(wides) + (_APART_MM if len(colours) > 3 else 0.0) if colours else 16.0
    body_left, body_right = _LEAD_MM, _LEAD_MM + 2.0 * _END_MM + inner
    right = body_right + _LEAD_MM
    code_text = drawable(code) if code else "no code"
    width = right + 2.0 + width_mm(code_text, NAME_MM, "strong") + 0.6
    height = _HIGH_MM + 0.8 + sum(reach_mm(SMALL_MM)) + 0.3
    told = f"Bands: {', '.join(colours)}." if colours else "No row of bands says this value."
    canvas = Canvas(width, height, f"Resistor {value}", f"{told} Letter code: {code or 'none'}.", ident)
    canvas.group(kind="pp-resistor")
    middle = 0.3 + _HIGH_MM / 2.0
    canvas.line(0.2, middle, body_left, middle, width=0.5)
    canvas.line(body_right, middle, right, middle, width=0.5)
    canvas.coloured_rect(body_left, 0.3, body_right - body_left, _HIGH_MM, BODY, stroke=0.3, corner=1.6)
    base = 0.3 + _HIGH_MM + 0.5 + reach_mm(SMALL_MM)[0]
    at = body_left + _END_MM
    for index, (name, wide) in enumerate(zip(colours, wides, strict=True)):
        if index == len(colours) - 1 and len(colours) > 3:
            at += _APART_MM
        centre = at + wide / 2.0
        canvas.coloured_rect(centre - _BAND_MM / 2.0, 0.3, _BAND_MM, _HIGH_MM, SHADES[name], stroke=0.2)
        canvas.text(centre, base, name, SMALL_MM, anchor="middle", kind="pp-colour")
        at += wide
    canvas.text(
        right + 2.0, middle + reach_mm(NAME_MM)[0] / 2.0 - 0.45, code_text, NAME_MM, weight="strong", kind="pp-code"
    )
    return canvas.finish()
