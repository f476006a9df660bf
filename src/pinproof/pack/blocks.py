"""Building stones of the book: plain data that the page template turns into type.

Answers: how does a text, a list, a table or a drawing look as data?
Units:   millimetres for drawings.
Touches: nothing.
Beside:  `book.typ` sets them. Everything users wrote stays a plain text on the way; none of it can become markup.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pinproof.drawings.measure import drawable
from pinproof.pack.markup import unbroken
from pinproof.verdict import Verdict

Block = dict[str, Any]
Cell = dict[str, Any]
MARKS = {Verdict.PASS: "pass", Verdict.WOULD_HOLD: "hold", Verdict.NOT_SHOWN: "open", Verdict.FAIL: "fail"}
WRITE_MM = 9.0
"""Height of a row that is written into by hand: more than the 8 mm of wide-ruled paper (common practice, no source)."""
_LONGEST = 66  # letters of a word that stand in one line of the page
_LONGEST_IN_CELL = 13  # and in the narrowest column of a table; a longer word may be broken
_BREAK = "\u200b"  # a place where a line may end, of no width


def plain(text: str, longest: int = _LONGEST) -> str:
    """A text as it can be set: one line, glyphs that exist, numbers with their units, long ids that may be broken."""
    return " ".join(_breakable(word, longest) for word in unbroken(drawable(text)).split(" "))


def _breakable(word: str, longest: int) -> str:
    if len(word) <= longest:
        return word
    pieces, piece = [], ""
    for character in word:
        piece += character
        if character in "_-/.+" or len(piece) >= longest:
            pieces.append(piece)
            piece = ""
    return _BREAK.join(each for each in (*pieces, piece) if each)


def runs(text: str, *, strong: bool = False, longest: int = _LONGEST) -> list[list[str | bool]]:
    """A text in pieces; what stands between backticks, ids and keys, is set apart."""
    pieces = text.split("`")
    if len(pieces) % 2 == 0:  # a lone backtick is just that
        pieces = [text]
    return [[plain(piece, longest), strong or index % 2 == 1] for index, piece in enumerate(pieces) if piece]


def heading(text: str, level: int) -> Block:
    """A heading of level 1 to 3."""
    return {"kind": "heading", "level": level, "text": plain(text)}


def para(text: str, *, soft: bool = False, strong: bool = False, leads: bool = False) -> Block:
    """A paragraph. A soft one is a note on what stands before it; one that leads stays with what comes after it."""
    return {"kind": "para", "runs": runs(text, strong=strong), "soft": soft, "leads": leads or strong}


def bullets(items: Sequence[str]) -> Block:
    """A list in no order."""
    return {"kind": "list", "items": [runs(each) for each in items]}


def steps(items: Sequence[str]) -> Block:
    """A list to be followed from first to last."""
    return {"kind": "steps", "items": [runs(each) for each in items]}


def verdict_box(verdict: Verdict, text: str, paragraphs: Sequence[str]) -> Block:
    """The answer, framed."""
    told = [runs(each) for each in paragraphs]
    return {"kind": "verdict", "mark": MARKS[verdict], "text": plain(text), "paras": told}


def care_box(title: str, items: Sequence[str]) -> Block:
    """Cautions, framed."""
    return {"kind": "care", "title": plain(title), "items": [runs(each) for each in items]}


def figure(svg: str, width_mm: float, alt: str) -> Block:
    """A drawing; `svg` is the name of its file."""
    return {"kind": "figure", "svg": svg, "width_mm": width_mm, "alt": plain(alt)}


def table(caption: str, columns: Sequence[tuple[str, float]], rows: Sequence[Sequence[str | Cell]]) -> Block:
    """A table; each column has a head and a share of the width (0: as wide as it needs; below 0: millimetres)."""
    return {
        "kind": "table",
        "caption": plain(caption),
        "heads": [plain(head, _LONGEST_IN_CELL) for head, _ in columns],
        "widths": [width for _, width in columns],
        "rows": [[_cell(each) if isinstance(each, str) else each for each in row] for row in rows],
    }


def name_cell(text: str) -> Cell:
    """The cell that names its row."""
    return {"runs": runs(text, strong=True, longest=_LONGEST_IN_CELL)}


def _cell(text: str) -> Cell:
    return {"runs": runs(text, longest=_LONGEST_IN_CELL)}


def blank_cell() -> Cell:
    """A framed empty cell as high as handwriting needs; it fills its column. See `WRITE_MM`."""
    return {"blank_mm": WRITE_MM}


def marked_cell(verdict: Verdict, text: str) -> Cell:
    """A verdict's mark with its word."""
    return {"mark": MARKS[verdict], "runs": runs(text, strong=True)}


def told_cell(text: str, below: Sequence[str]) -> Cell:
    """A cell whose text is explained by lines below it."""
    return {"runs": runs(text, strong=True, longest=_LONGEST_IN_CELL), "below": [runs(each) for each in below]}


def picture_cell(svg: str, width_mm: float, alt: str, below: Sequence[str] = ()) -> Cell:
    """A drawing in a cell, lines of text below it."""
    return {"svg": svg, "width_mm": width_mm, "alt": plain(alt), "below": [runs(each) for each in below]}
