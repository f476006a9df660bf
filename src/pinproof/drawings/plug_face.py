"""Plug faces as they are seen while wires are pushed in.

Answers: which wire goes into which cavity, seen from where I stand; what closes the empty ones?
Units:   millimetres.
Touches: nothing.
Beside:  `pinproof.harness` says what is in each cavity.

Our own look: a box with a heavy rim, its cavities as fields with the number above a line; an empty one is hatched and
says what to do with it. The words above the box tell the view; a notch would need to be known, and is not drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pinproof.drawings.measure import drawable, width_mm, wrap
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas

WIDE_MM = 182.0
LEAST_FIELD_MM, MOST_FIELD_MM = 12.5, 30.0
TEXT_MM = 2.5
VIEW = "Seen from the wire side: the side where the wires go in"
EMPTY = "plug it"


@dataclass(frozen=True)
class FaceCavity:
    """One cavity: its id, and the wire with its colour, in words and as a code; no wire where it is empty."""

    cavity: str
    wire: str = ""
    code: str = ""
    colour: str = ""
    size: str = ""


def face_rows(cavities: Sequence[FaceCavity], columns: int | None, mirrored: bool) -> list[list[FaceCavity | None]]:
    """Cavities in rows as they are seen from the wire side.

    The file's order runs along rows, from the upper left corner of the side that the plug is numbered from. Numbered
    from the mating side, left and right change places on the wire side.

    >>> a, b, c = (FaceCavity(one) for one in "abc")
    >>> [[one.cavity if one else "" for one in row] for row in face_rows([a, b, c], 2, True)]
    [['b', 'a'], ['', 'c']]
    """
    wide = columns or len(cavities) or 1
    rows: list[list[FaceCavity | None]] = []
    for start in range(0, len(cavities), wide):
        row: list[FaceCavity | None] = list(cavities[start : start + wide])
        row += [None] * (wide - len(row))
        rows.append(row[::-1] if mirrored else row)
    return rows


def plug_face(
    plug: str, cavities: Sequence[FaceCavity], *, columns: int | None, numbered_from: str, part: str = "",
    place: str = "", ident: str = "plug",
) -> Drawing:  # fmt: skip
    """The face of one plug.

    Parameters
    ----------
    columns : int or None
        Cavities in a row; None where the file does not say: then rows are made that fit, and the drawing says so.
    numbered_from : str
        "wire side" or "mating side": from which side the cavities are numbered.
    """
    mirrored = numbered_from == "mating side"
    most = int(WIDE_MM // LEAST_FIELD_MM)
    known = columns is not None
    shown = columns if known else min(len(cavities), 6)
    rows = face_rows(cavities, shown, mirrored)
    wide = len(rows[0]) if rows else 1
    small = wide > most
    field = min(MOST_FIELD_MM, (WIDE_MM - 4.0) / wide)
    if not small:
        field = max(field, LEAST_FIELD_MM)
    texts = [[_texts(one, field) for one in row] for row in rows]
    tall = max((len(each) for row in texts for each in row), default=1)
    high = 5.6 + 3.1 * tall
    head = [f"{VIEW}."]
    if mirrored:
        head.append("Numbered from the mating side, so left and right are changed here.")
    if not known:
        head.append("The file does not give its columns: this is the order of the cavities, not their place.")
    named = " · ".join(each for each in (f"plug {plug}", part, f"at {place}" if place else "") if each)
    lines = [line for each in head for line in wrap(each, WIDE_MM - 2.0, TEXT_MM)]
    top = 6.5 + 3.3 * len(lines) + 1.2
    told = "; ".join(
        f"{one.cavity}: {f'{one.wire} {one.colour}' if one.wire else 'empty, ' + EMPTY}" for one in cavities
    )
    canvas = Canvas(WIDE_MM, top + high * len(rows) + 2.5, drawable(named), f"{' '.join(head)} {told}.", ident)
    canvas.text(1.0, 4.2, drawable(named), 3.6, weight="strong")
    for index, line in enumerate(lines):
        canvas.text(1.0, 8.6 + 3.3 * index, line, TEXT_MM)
    for r, row in enumerate(rows):
        for c, one in enumerate(row):
            if one is not None:
                _field(canvas, one, texts[r][c], 2.0 + c * field, top + r * high, field, high)
    canvas.rect(1.0, top - 1.0, wide * field + 2.0, high * len(rows) + 2.0, stroke=0.7, corner=1.6)
    return canvas.finish()


def _texts(one: FaceCavity | None, field: float) -> list[str]:
    """What stands in a field below its number; the code alone where the words are too wide for it."""
    if one is None:
        return []
    if not one.wire:
        wide = max(width_mm(each, TEXT_MM) for each in EMPTY.split())
        return list(wrap(EMPTY, field - 1.6, TEXT_MM)) if wide <= field - 1.6 else [EMPTY]
    room = field - 1.6
    words = drawable(one.colour)
    longest = max((width_mm(each, TEXT_MM) for each in words.split()), default=0.0)
    colour = [*wrap(words, room, TEXT_MM)] if longest <= room else []
    size = [one.size] if one.size and width_mm(one.size, TEXT_MM) <= room else []
    return [one.wire, one.code, *colour, *size]


def _field(
    canvas: Canvas, one: FaceCavity, texts: Sequence[str], x: float, y: float, field: float, high: float
) -> None:
    if not one.wire:
        canvas.hatch(x, min(y + 5.6 + 3.1 * len(texts), y + high), x + field, y + high, pitch=2.0, lean="/")
    canvas.rect(x, y, field, high, stroke=0.3)
    canvas.line(x, y + 4.4, x + field, y + 4.4, width=0.15)
    name = drawable(one.cavity)
    size = min(3.2, 3.2 * (field - 1.4) / max(width_mm(name, 3.2, "strong"), 0.1))
    canvas.text(x + 0.8, y + 3.4, name, size, weight="strong")
    for index, each in enumerate(texts):
        fits = min(TEXT_MM, TEXT_MM * (field - 1.2) / max(width_mm(each, TEXT_MM), 0.1))
        weight = "strong" if index == 0 and one.wire and fits == TEXT_MM else "regular"
        canvas.text(x + 0.8, y + 7.4 + 3.1 * index, each, fits if weight == "regular" else TEXT_MM, weight=weight)
