"""Blocks onto pages of a PDF: what the build book and the bench sheet share.

Answers: how do headings, tables and drawings become pages with a foot, none of them nearly empty?
Units:   millimetres for paper.
Touches: what `typeset` touches; no clock, no network. The same blocks and date give the same bytes.
Beside:  `blocks` makes the data, `flow` and `paginate` deal it onto pages, `book.typ` sets it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from pinproof.drawings import Drawing, words
from pinproof.drawings.marks import draw_mark
from pinproof.drawings.measure import one_line
from pinproof.drawings.svg import Canvas
from pinproof.pack import blocks
from pinproof.pack.blocks import Block
from pinproof.pack.flow import cuts_of, pages_of, pieces_of
from pinproof.pack.paginate import paginate
from pinproof.pack.typeset import heights_mm, typeset
from pinproof.verdict import Verdict

PAPERS = {"a4": ("a4", 210.0, 297.0), "letter": ("us-letter", 215.9, 279.4)}
TYPE_MM = 182.0  # width of the type area, that of the wide drawings
TOP_MM, BOTTOM_MM = 15.0, 18.0  # margins; the foot stands in the lower one
_FONTS = ("Source Sans Pro", "DejaVu Sans")


def blocks_pdf(
    body: Sequence[Block],
    title: str,
    foot: str,
    *,
    paper: str = "a4",
    made_on: date | None = None,
    drawings: Mapping[str, Drawing] | None = None,
) -> bytes:
    """A PDF of these blocks.

    Parameters
    ----------
    body : sequence of Block
    title, foot : str
        Of the file; at the foot of each page.
    paper : str
        "a4" or "letter".
    made_on : date or None
        Written into the file.
    drawings : mapping of name to Drawing, optional
        Those that the blocks name.

    Raises
    ------
    CannotPrint
        If the typesetter says anything, a warning included.
    ValueError
        For an unknown paper.
    """
    if paper not in PAPERS:
        raise ValueError(f"paper {paper!r} is none of {', '.join(PAPERS)}")
    name, wide_mm, high_mm = PAPERS[paper]
    page_mm = high_mm - TOP_MM - BOTTOM_MM
    data: dict[str, object] = {
        "title": one_line(title),
        "paper": name,
        "type_mm": TYPE_MM,
        "page_mm": page_mm,
        "margin_mm": (wide_mm - TYPE_MM) / 2.0,
        "top_mm": TOP_MM,
        "bottom_mm": BOTTOM_MM,
        "date": [made_on.year, made_on.month, made_on.day] if made_on else None,
        "foot": blocks.plain(foot),
        "fonts": list(_FONTS),
        "marks": {key: words.VERDICTS[verdict] for verdict, key in blocks.MARKS.items()},
    }
    files = {f"{key}.svg": drawing.svg for key, drawing in (drawings or {}).items()}
    files |= {f"mark-{key}.svg": _mark_svg(verdict) for verdict, key in blocks.MARKS.items()}
    cuts = cuts_of(body)
    heights = heights_mm({**data, "measure": [cut.block for cut in cuts]}, files)
    pages = paginate(pieces_of(cuts, heights), page_mm)
    return typeset({**data, "pages": pages_of(cuts, pages)}, files)


def _mark_svg(verdict: Verdict) -> str:
    canvas = Canvas(2.6, 2.6, words.VERDICTS[verdict], words.VERDICTS[verdict], f"mark-{blocks.MARKS[verdict]}")
    draw_mark(canvas, verdict, 1.3, 1.3, 1.2)
    return canvas.finish().svg
