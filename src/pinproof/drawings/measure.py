"""How wide a text is, read from the typefaces that are shipped.

Answers: the advance width of a text, how far it reaches above and below its base line, where to break it.
Units:   millimetres; a size is the height of the em square. [mm]
Touches: the installed typeface files, read once. Their licences: SIL Open Font License 1.1 and the DejaVu licence.
Beside:  `svg` writes the text; kerning and ligatures are switched off there, so a width is the sum of the advances.
Sources: OpenType specification (ISO/IEC 14496-22): tables cmap format 4, head, hhea, hmtx.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from pinproof.errors import PinproofError

# Where a weight is found: package and file. The second face serves what the first lacks.
FILES = {
    "regular": ("font_source_sans_pro", "files/SourceSansPro-Regular.ttf"),
    "strong": ("font_source_sans_pro", "files/SourceSansPro-Semibold.ttf"),
    "second": ("ziafont", "fonts/DejaVuSans.ttf"),
}
WEIGHTS = ("regular", "strong")


@dataclass
class MissingGlyph(PinproofError):
    """A character that no shipped typeface has: its width cannot be known."""

    character: str

    def __str__(self) -> str:
        return (
            f"No shipped typeface has the character U+{ord(self.character):04X}; its width is not known. "
            "Pass the text through `drawable` first."
        )


@dataclass
class MissingTypeface(PinproofError):
    """A typeface file that belongs to the installation is not there."""

    package: str
    file: str

    def __str__(self) -> str:
        return f"The typeface {self.file} of the package {self.package} is missing. Install Pinproof again."


@dataclass(frozen=True)
class Face:
    """One typeface file. `glyphs` leads from a character's code to its glyph, `advances` from a glyph to its width."""

    data: bytes
    tables: dict[str, tuple[int, int]]
    units_per_em: int
    ascender: int
    descender: int  # below zero
    glyphs: dict[int, int]
    advances: tuple[int, ...]

    def table(self, tag: str) -> bytes:
        """The bytes of one table; empty if the face has none."""
        offset, length = self.tables.get(tag, (0, 0))
        return self.data[offset : offset + length]


def read_face(data: bytes) -> Face:
    """Read a TrueType or OpenType file.

    Raises
    ------
    ValueError
        If it has no cmap subtable of format 4.
    """
    count = struct.unpack_from(">H", data, 4)[0]
    tables = {}
    for index in range(count):
        tag, _, offset, length = struct.unpack_from(">4sIII", data, 12 + 16 * index)
        tables[tag.decode("ascii")] = (offset, length)
    units = struct.unpack_from(">H", data, tables["head"][0] + 18)[0]
    ascender, descender = struct.unpack_from(">hh", data, tables["hhea"][0] + 4)
    stated = struct.unpack_from(">H", data, tables["hhea"][0] + 34)[0]
    total = struct.unpack_from(">H", data, tables["maxp"][0] + 4)[0]
    start = tables["hmtx"][0]
    advances = [struct.unpack_from(">H", data, start + 4 * index)[0] for index in range(stated)]
    advances += [advances[-1]] * (total - stated)  # the last one serves the rest
    return Face(data, tables, units, ascender, descender, _read_cmap(data, tables["cmap"][0]), tuple(advances))


def _read_cmap(data: bytes, start: int) -> dict[int, int]:
    for index in range(struct.unpack_from(">H", data, start + 2)[0]):
        platform, encoding, offset = struct.unpack_from(">HHI", data, start + 4 + 8 * index)
        at = start + offset
        if (platform, encoding) in ((3, 1), (0, 3)) and struct.unpack_from(">H", data, at)[0] == 4:
            return _read_format_4(data, at)
    raise ValueError("the typeface has no cmap subtable of format 4")


def _read_format_4(data: bytes, at: int) -> dict[int, int]:
    segments = struct.unpack_from(">H", data, at + 6)[0] // 2
    ends, starts = at + 14, at + 16 + 2 * segments
    deltas, ranges = starts + 2 * segments, starts + 4 * segments
    found = {}
    for index in range(segments):
        last, first, delta, offset = (
            struct.unpack_from(">H", data, base + 2 * index)[0] for base in (ends, starts, deltas, ranges)
        )
        for code in range(first, min(last, 0xFFFE) + 1):
            glyph = code
            if offset:
                glyph = struct.unpack_from(">H", data, ranges + 2 * index + offset + 2 * (code - first))[0]
                if glyph == 0:
                    continue
            glyph = (glyph + delta) & 0xFFFF
            if glyph:
                found[code] = glyph
    return found


@cache
def face(name: str) -> Face:
    """A shipped typeface: "regular", "strong" or "second". MissingTypeface if its file is not installed."""
    package, file = FILES[name]
    spec = find_spec(package)
    places = list(spec.submodule_search_locations or []) if spec else []
    for place in places:
        path = Path(place, file)
        if path.is_file():
            return read_face(path.read_bytes())
    raise MissingTypeface(package, file)


@cache
def _advance_em(character: str, weight: str) -> float:
    for name in (weight, "second"):
        one = face(name)
        glyph = one.glyphs.get(ord(character))
        if glyph is not None:
            return one.advances[glyph] / one.units_per_em
    raise MissingGlyph(character)


def has_glyph(character: str) -> bool:
    """True if some shipped typeface draws this character."""
    return any(ord(character) in face(name).glyphs for name in ("regular", "second"))


def one_line(text: str) -> str:
    """The text with control characters and line breaks as blanks: what XML and a single line can hold."""
    return "".join(character if character.isprintable() else " " for character in text)


def drawable(text: str) -> str:
    """The text in one line, with every character that no shipped typeface has written as its code: "(U+540D)"."""
    return "".join(character if has_glyph(character) else f"(U+{ord(character):04X})" for character in one_line(text))


def width_mm(text: str, size_mm: float, weight: str = "regular") -> float:
    """Advance width of a text set in one line. [mm]

    Raises
    ------
    MissingGlyph
        If a character is in none of the shipped typefaces.
    """
    return sum(_advance_em(character, weight) for character in text) * size_mm


@cache
def _reach_em() -> tuple[float, float]:
    faces = [face(name) for name in FILES]
    return (
        max(one.ascender / one.units_per_em for one in faces),
        max(-one.descender / one.units_per_em for one in faces),
    )


def reach_mm(size_mm: float) -> tuple[float, float]:
    """How far any text of this size reaches above and below its base line. [mm]"""
    above, below = _reach_em()
    return above * size_mm, below * size_mm


def wrap(text: str, most_mm: float, size_mm: float, weight: str = "regular") -> tuple[str, ...]:
    """Break a text into lines of at most `most_mm`: at blanks, else after "_", "-" or "/", else anywhere.

    A single character wider than `most_mm` stands alone on its line, wider than asked.
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        joined = f"{line} {word}" if line else word
        if width_mm(joined, size_mm, weight) <= most_mm:
            line = joined
            continue
        if line:
            lines.append(line)
        pieces = _break_word(word, most_mm, size_mm, weight)
        lines += pieces[:-1]
        line = pieces[-1]
    if line or not lines:
        lines.append(line)
    return tuple(lines)


def _break_word(word: str, most_mm: float, size_mm: float, weight: str) -> Sequence[str]:
    pieces = []
    while width_mm(word, size_mm, weight) > most_mm and len(word) > 1:
        fits = max((n for n in range(1, len(word)) if width_mm(word[:n], size_mm, weight) <= most_mm), default=1)
        joint = max(word.rfind(mark, 0, fits) for mark in "_-/")
        cut = joint + 1 if joint > fits // 2 else fits
        pieces.append(word[:cut])
        word = word[cut:]
    return [*pieces, word]
