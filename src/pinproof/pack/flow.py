"""A book cut into pieces that are never broken, and its pages put together from them.

Answers: what are the pieces of a row of blocks, how far do they stand apart, and what is set on each page?
Units:   millimetres.
Touches: nothing.
Beside:  `blocks` makes what is cut, `paginate` deals the pieces onto pages, `book.typ` sets them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pinproof.drawings.measure import width_mm
from pinproof.pack.blocks import Block
from pinproof.pack.paginate import Page, Piece, Placed

CELL_MM = 3.11  # size of letters in a table, 8.8 points, a little more
BETWEEN_COLUMNS_MM = 2.5  # as in `book.typ`
WHOLE_MM = 60.0
"""Height up to which a table is not broken, unless that would leave much of a page empty."""
MARK_MM = 3.5  # a verdict's mark before its word
# Least space above and below each kind of piece.
_SPACES = {
    "title": (0.0, 2.8), "chapter": (8.0, 2.8), "section": (5.0, 2.1), "para": (2.7, 2.7), "item": (2.0, 2.0),
    "step": (2.0, 2.0), "verdict": (3.0, 3.0), "care": (3.0, 3.0), "figure": (4.0, 4.0), "head": (4.2, 0.0),
    "row": (0.0, 2.7),
}  # fmt: skip
_HEADINGS = {1: "title", 2: "chapter", 3: "section"}


@dataclass(frozen=True)
class Cut:
    """A piece before it is measured: what is set, which space it wants, what it belongs to."""

    block: Block
    kind: str
    glued: bool = False
    head: int | None = None


def cuts_of(blocks: Sequence[Block]) -> list[Cut]:
    """The pieces of a book: items of lists and rows of tables one by one, each other block whole.

    A heading stays with what it heads, and so does a paragraph that leads; the first two
    rows and the last two of a table stay together; a note in soft letters stays with the row or the item before it.
    """
    found: list[Cut] = []
    for index, block in enumerate(blocks):
        after = blocks[index + 1] if index + 1 < len(blocks) else None
        noted = after is not None and after["kind"] == "para" and after["soft"]
        found += _cut(block, len(found), noted)
    return found


def _cut(block: Block, start: int, noted: bool) -> Iterator[Cut]:
    kind = block["kind"]
    if kind == "heading":
        yield Cut(block, _HEADINGS[block["level"]], glued=True)
    elif kind in ("list", "steps"):
        last = len(block["items"]) - 1
        for index, item in enumerate(block["items"]):
            one = {**block, "items": [item], "start": index + 1}
            yield Cut(one, "item" if kind == "list" else "step", glued=noted and index == last)
    elif kind == "table":
        table = {**block, "widths": _widths(block)}
        yield Cut({**table, "rows": [], "header": True, "again": False}, "head", glued=True)
        last = len(block["rows"]) - 1
        for index, row in enumerate(block["rows"]):
            glued = noted if index == last else index in (0, last - 1)
            yield Cut({**table, "rows": [row], "header": False}, "row", glued, start)
    else:
        yield Cut(block, kind, glued=kind == "para" and block["leads"])


def _widths(block: Block) -> list[float]:
    """Widths of columns with those that fit their texts worked out, so that rows set one by one agree."""
    found = []
    for index, width in enumerate(block["widths"]):
        if width == 0.0:
            widest = width_mm(_seen(block["heads"][index]), CELL_MM, "strong")
            for row in block["rows"]:
                shown = [width_mm(_seen(text), CELL_MM, _weight(strong)) for text, strong in row[index]["runs"]]
                widest = max(widest, sum(shown) + (MARK_MM if "mark" in row[index] else 0.0))
            width = -(widest + BETWEEN_COLUMNS_MM + 0.3)
        found.append(width)
    return found


def _weight(strong: bool) -> str:
    return "strong" if strong else "regular"


def _seen(text: str) -> str:
    return text.replace("\u200b", "").replace("\u00a0", " ")


def pieces_of(cuts: Sequence[Cut], heights_mm: Sequence[float]) -> list[Piece]:
    """Pieces with the heights that were measured. A table that is not high stays whole."""
    found = []
    tables_mm: dict[int, float] = {}
    for cut, height_mm in zip(cuts, heights_mm, strict=True):
        if cut.head is not None:
            tables_mm[cut.head] = tables_mm.get(cut.head, 0.0) + height_mm
    for number, (cut, height_mm) in enumerate(zip(cuts, heights_mm, strict=True)):
        above_mm, below_mm = _SPACES[cut.kind]
        more = cut.head is not None and number + 1 < len(cuts) and cuts[number + 1].head == cut.head
        whole = bool(more and cut.head is not None and tables_mm[cut.head] <= WHOLE_MM)
        found.append(
            Piece(
                number, height_mm, above_mm, below_mm, cut.glued, cut.head, cut.kind == "figure",
                cut.kind in ("title", "chapter"), whole,
            )
        )  # fmt: skip
    return found


def pages_of(cuts: Sequence[Cut], pages: Sequence[Page]) -> list[list[Block]]:
    """What is set on each page: blocks with the gap above them, items and rows joined to lists and tables again."""
    return [_page(cuts, page) for page in pages]


def _page(cuts: Sequence[Cut], page: Page) -> list[Block]:
    found: list[Block] = []
    before: Placed | None = None
    for placed in page:
        cut = cuts[placed.piece.number]
        block: Block = {**cut.block, "gap_mm": placed.gap_mm, "scale": placed.scale}
        if placed.again:
            block["again"] = True
        if before is not None and _joins(cuts[before.piece.number], cut, found[-1], block):
            key = "items" if cut.kind in ("item", "step") else "rows"
            found[-1] = {**found[-1], key: [*found[-1][key], *block[key]]}
        else:
            found.append(block)
        before = placed
    return found


def _joins(before: Cut, cut: Cut, above: Block, block: Block) -> bool:
    if block["scale"] != 1.0 or above["scale"] != 1.0:
        return False
    if cut.kind == "row":
        return before.kind in ("head", "row")
    return cut.kind in ("item", "step") and before.kind == cut.kind and block["start"] != 1
