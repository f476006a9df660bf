"""Pieces dealt onto pages: nothing lost, nothing broken, nothing over the edge, no page nearly empty without need."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinproof.pack import blocks
from pinproof.pack.flow import cuts_of, pages_of, pieces_of
from pinproof.pack.paginate import LEAST_FILL, LEAST_SCALE, Page, Piece, _Press, fill_of, paginate

PAGE_MM = 264.0


@st.composite
def books(draw: st.DrawFn, most_mm: float = 240.0) -> list[Piece]:
    """A book of chapters with paragraphs, drawings and tables of any height up to nearly a page."""
    found: list[Piece] = []

    def add(height_mm: float, **other: object) -> None:
        space = draw(st.floats(0.0, 8.0))
        found.append(Piece(len(found), height_mm, space, space, **other))  # type: ignore[arg-type]

    for chapter in range(draw(st.integers(1, 4))):
        add(8.0, glued=True, chapter=True)
        add(draw(st.floats(2.0, 30.0)))
        for kind in draw(st.lists(st.sampled_from(["text", "drawing", "table"]), max_size=6)):
            if kind == "table":
                head = len(found)
                add(8.0, glued=True)
                last = draw(st.integers(0, 40))
                for row in range(last + 1):
                    add(draw(st.floats(4.0, 16.0)), head=head, glued=row < last and row in (0, last - 1))
            else:
                most = most_mm if kind == "drawing" else 40.0
                add(draw(st.floats(2.0, most)), is_drawing=kind == "drawing")
        assert chapter < 4
    return found


def assert_whole(pieces: list[Piece], pages: tuple[Page, ...]) -> None:
    """Every piece once; text in order, drawings in order; heads above their rows; nothing over the edge."""
    placed = [each for page in pages for each in page]
    once = [each.piece.number for each in placed if not each.again]
    assert sorted(once) == list(range(len(pieces)))
    for drawing in (True, False):
        mine = [number for number in once if pieces[number].is_drawing is drawing]
        assert mine == sorted(mine)
    for each in placed:
        assert each.scale >= LEAST_SCALE - 1e-9 or each.piece.height_mm > PAGE_MM * LEAST_SCALE
        assert each.scale == 1.0 or each.piece.is_drawing or each.piece.height_mm > PAGE_MM / 2.0
    for page in pages:
        assert fill_of(page, PAGE_MM) <= 1.0 + 1e-3
        assert page[0].gap_mm == 0.0
        for before, row in itertools.pairwise((None, *page)):
            if row is not None and row.piece.head is not None:
                assert before is not None
                assert row.piece.head in (before.piece.number, before.piece.head)
                assert row.gap_mm == 0.0
        last = page[-1].piece
        assert (
            not last.glued
            or len([each for each in page if not each.again]) == 1
            or sum(each.height_mm for each in page) > PAGE_MM / 3.0
        )
        assert not last.glued or last.head is not None, "a heading or a table's head stands alone at the foot"


@settings(max_examples=150, deadline=None)
@given(books())
def test_nothing_is_lost_or_broken(pieces: list[Piece]) -> None:
    """Drawings may stand after text that follows them, and no others."""
    assert_whole(pieces, paginate(pieces, PAGE_MM))


@settings(max_examples=60, deadline=None)
@given(books(most_mm=600.0))
def test_what_is_taller_than_a_page_is_made_smaller(pieces: list[Piece]) -> None:
    """Rather than run over the edge."""
    assert_whole(pieces, paginate(pieces, PAGE_MM))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(3.0, 30.0), min_size=20, max_size=200))
def test_text_alone_never_leaves_a_page_nearly_empty(heights_mm: list[float]) -> None:
    """A last page of two lines takes lines from the page before it."""
    pieces = [Piece(number, height_mm, 2.0, 2.0) for number, height_mm in enumerate(heights_mm)]
    pages = paginate(pieces, PAGE_MM)
    assert_whole(pieces, pages)
    if len(pages) > 1:
        assert all(fill_of(page, PAGE_MM) >= LEAST_FILL for page in pages)


def test_a_tall_drawing_shares_its_page_or_lets_text_go_first() -> None:
    """220 mm do not fit below 100 mm of text at 0.8 of their size: the paragraphs after it fill the page."""
    heights_mm = [100.0, 220.0, *[20.0] * 8]
    pieces = [Piece(number, mm, 0.0, 0.0, is_drawing=number == 1) for number, mm in enumerate(heights_mm)]
    pages = paginate(pieces, PAGE_MM)
    assert [[each.piece.number for each in page] for page in pages] == [[0, *range(2, 10)], [1]]


def test_a_drawing_is_made_a_little_smaller_rather_than_leave_a_gap() -> None:
    """170 mm below 100 mm of text: 164 mm are left, so it is drawn at 164/170."""
    pieces = [Piece(0, 100.0, 0.0, 0.0), Piece(1, 170.0, 0.0, 0.0, is_drawing=True)]
    (page,) = paginate(pieces, PAGE_MM)
    assert page[1].scale == pytest.approx(164.0 / 170.0)


def test_blocks_come_back_as_they_were() -> None:
    """Lists and tables cut and joined again hold the same items and rows, in the same order; numbers go on counting."""
    rows = [[f"row {number}", "x"] for number in range(60)]
    body = [
        blocks.heading("Head", 1),
        blocks.steps([f"step {number}" for number in range(50)]),
        blocks.table("Caption", (("A", 0.0), ("B", 1.0)), rows),
        blocks.para("a note", soft=True),
        blocks.bullets([f"item {number}" for number in range(50)]),
    ]
    cuts = cuts_of(body)
    pages = pages_of(cuts, paginate(pieces_of(cuts, [6.0] * len(cuts)), PAGE_MM))
    flat = [block for page in pages for block in page]
    tables = [block for block in flat if block["kind"] == "table"]
    assert [row for block in tables for row in block["rows"]] == body[2]["rows"]
    assert [block["again"] for block in tables] == [False, *[True] * (len(tables) - 1)]
    assert all(block["header"] and len(block["rows"]) >= 2 for block in tables)
    listed = [block for block in flat if block["kind"] == "steps"]
    assert [item for block in listed for item in block["items"]] == body[1]["items"]
    starts = [1, *itertools.accumulate(len(block["items"]) for block in listed)]
    assert [block["start"] for block in listed] == [1, *(start + 1 for start in starts[1:-1])]
    assert [item for block in flat if block["kind"] == "list" for item in block["items"]] == body[4]["items"]
    note = next(index for index, block in enumerate(flat) if block["kind"] == "para")
    assert flat[note - 1]["kind"] == "table"


def test_a_low_table_is_broken_rather_than_leave_a_third_of_a_page_empty() -> None:
    """164 mm are taken, the table of 9 rows and its head need 104 mm of the 100 mm left: it begins here."""
    rows = [Piece(2 + n, 10.0, 0.0, 0.0, n in (0, 7), 1, soft=n < 8) for n in range(9)]
    front, head, back = Piece(0, 164.0, 0.0, 0.0), Piece(1, 14.0, 0.0, 0.0, glued=True), Piece(11, 150.0, 0.0, 0.0)
    pages = paginate([front, head, *rows, back], PAGE_MM)
    assert [[each.piece.number for each in page] for page in pages] == [list(range(9)), [1, 9, 10, 11]]
    assert [each.again for each in pages[1]] == [True, False, False, False]


def test_a_low_table_stays_whole_where_that_leaves_little_empty() -> None:
    """Of 24 mm left nothing is lost by a table of 30 mm that stands on the next page."""
    rows = [Piece(2 + n, 10.0, 0.0, 0.0, n == 0, 1, soft=n < 1) for n in range(2)]
    pages = paginate(
        [Piece(0, 240.0, 0.0, 0.0), Piece(1, 10.0, 0.0, 0.0, glued=True), *rows, Piece(4, 150.0, 0.0, 0.0)], PAGE_MM
    )
    assert [[each.piece.number for each in page] for page in pages] == [[0], [1, 2, 3, 4]]


def test_a_heading_stays_with_a_unit_that_a_short_page_does_not_hold() -> None:
    """The last pages may be filled less: 140 mm of heading, paragraph and table then still stand together."""
    pieces = [Piece(n, 24.0, 0.0, 0.0) for n in range(11)]
    pieces += [
        Piece(11, 8.0, 0.0, 0.0, glued=True, chapter=True), Piece(12, 66.0, 0.0, 0.0, glued=True),
        Piece(13, 66.0, 0.0, 0.0), Piece(14, 20.0, 0.0, 0.0),
    ]  # fmt: skip
    for press_share in (0.5, 1.0):
        press = _Press(pieces, PAGE_MM, 1.0, tail=dict.fromkeys(range(4), press_share))
        assert all(not page[-1].piece.glued for page in press.run())


def test_a_head_stays_with_its_first_row_where_the_unit_is_taller_than_a_page() -> None:
    """A heading, a table's head and two rows of 140 mm: the first row stands below both heads."""
    pieces = [
        Piece(0, 230.0, 0.0, 0.0), Piece(1, 8.0, 0.0, 0.0, glued=True), Piece(2, 8.0, 0.0, 0.0, glued=True),
        Piece(3, 140.0, 0.0, 0.0, glued=True, head=2), Piece(4, 140.0, 0.0, 0.0, head=2),
    ]  # fmt: skip
    pages = paginate(pieces, PAGE_MM)
    assert [[each.piece.number for each in page] for page in pages] == [[0], [1, 2, 3], [2, 4]]
