"""Which piece of a book stands on which page.

Answers: how are pieces of known heights dealt onto pages, so that rows and paragraphs stay whole, heads stay with what
         they head, and no page stays nearly empty?
Units:   millimetres.
Touches: nothing; the same pieces give the same pages.
Beside:  `flow` cuts the book into pieces, `typeset` measures them.

A drawing that does not fit is made a little smaller, or stands at the top of the next page while the text of its
chapter goes on before it. Where pages would stay rather empty all drawings are made a little smaller, the next chapter
begins before a drawing that waits, or the pages before the last are filled less, whichever costs least.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

LEAST_SCALE = 0.8
"""How far a drawing may be made smaller: its smallest letters are then those of a footnote, 6.3 points."""
WORTH_BREAKING = 1.0 / 8.0
"""Share of a page that may stay empty to keep a low table whole; for more the table is broken."""
LEAST_FILL = 1.0 / 3.0
"""Share of a page below which it counts as nearly empty."""
WELL_FILLED = 0.9
_SCALES = (1.0, 0.95, 0.9, 0.85, LEAST_SCALE)  # of all drawings, tried in turn
_TAILS = (0.9, 0.8, 0.7, 0.6, 0.5)  # share of the last pages but one that is filled, tried in turn
_ROUNDING_MM = 0.05


@dataclass(frozen=True)
class Piece:
    """Something that is never broken. `number` is its place in the book.

    `head` is the number of the table head that a row needs above it, at the top of a page or after a drawing;
    `glued` keeps it on the page of the piece after it; `soft` does too, while that leaves little of a page empty.
    `chapter` marks the first piece of a chapter.
    """

    number: int
    height_mm: float
    above_mm: float
    below_mm: float
    glued: bool = False
    head: int | None = None
    is_drawing: bool = False
    chapter: bool = False
    soft: bool = False


@dataclass(frozen=True)
class Placed:
    """A piece on its page: `gap_mm` below the one before it, at `scale` of its size. `again` is a repeated head."""

    piece: Piece
    gap_mm: float
    scale: float = 1.0
    again: bool = False

    @property
    def height_mm(self) -> float:
        """With the gap above it."""
        return self.gap_mm + self.piece.height_mm * self.scale


Page = tuple[Placed, ...]


def paginate(pieces: Sequence[Piece], page_mm: float) -> tuple[Page, ...]:
    """Deal pieces onto pages.

    Parameters
    ----------
    pieces : sequence of Piece
        In the order of reading, numbered from 0.
    page_mm : float
        Height of the type area.

    Returns
    -------
    tuple of Page
        Every piece once, in order but for drawings, which may stand after text that follows them. Heads of tables
        come again where their rows go on.
    """
    best: tuple[float, tuple[Page, ...]] | None = None
    for scale, cross in itertools.product(_SCALES, (False, True)):
        tries = [_Press(pieces, page_mm, scale, cross).run()]
        last = len(tries[0]) - 1
        if last and _short(tries[0][last], page_mm):
            for share, back in itertools.product(_TAILS, (1, 2)):
                tail = dict.fromkeys(range(max(last - back, 0), last), share)
                tries.append(_Press(pieces, page_mm, scale, cross, tail).run())
        for each in tries:
            cost = _cost(each, page_mm) + (1.0 - scale) * 20.0 + 3.0 * cross
            if best is None or cost < best[0] - 1e-9:
                best = (cost, each)
    assert best is not None
    return best[1]


def fill_of(page: Page, page_mm: float) -> float:
    """Share of a page that is taken."""
    return sum(each.height_mm for each in page) / page_mm


def _short(page: Page, page_mm: float) -> bool:
    return fill_of(page, page_mm) < LEAST_FILL


def _cost(pages: Sequence[Page], page_mm: float) -> float:
    """Nearly empty pages weigh most, then pages, then white space before the last page."""
    short = sum(_short(page, page_mm) for page in pages) if len(pages) > 1 else 0
    white = sum(max(WELL_FILLED - fill_of(page, page_mm), 0.0) for page in pages[:-1])
    return 100.0 * short + 4.0 * len(pages) + 10.0 * white


@dataclass
class _Press:
    """One try: drawings at most at `scale`, waiting past a chapter's head if `cross`, some pages filled to a share."""

    pieces: Sequence[Piece]
    page_mm: float
    scale: float
    cross: bool = False
    tail: dict[int, float] = field(default_factory=dict)
    pages: list[list[Placed]] = field(default_factory=lambda: [[]])
    waiting: list[Piece] = field(default_factory=list)  # drawings for the next page
    used_mm: float = 0.0

    def run(self) -> tuple[Page, ...]:
        units = self._units()
        for index, unit in enumerate(units):
            if unit[0].chapter and not self.cross:
                self._put_waiting()
            if unit[0].is_drawing:
                goes_on = index + 1 < len(units) and (self.cross or not units[index + 1][0].chapter)
                self._drawing(unit[0], goes_on)
                continue
            left_mm = self._room_mm - self.used_mm
            breaks = not self._fits(unit) and left_mm > WORTH_BREAKING * self.page_mm
            for part in _parts(unit) if breaks else [unit]:
                while not self._fits(part) and self.pages[-1]:
                    self._turn()
                    self._put_waiting(only_here=True)
                self._put(part)
        self._put_waiting()
        return tuple(tuple(page) for page in self.pages if page)

    def _units(self) -> list[list[Piece]]:
        """Pieces that belong together."""
        found: list[list[Piece]] = []
        together = False
        for piece in self.pieces:
            if together:
                found[-1].append(piece)
            else:
                found.append([piece])
            together = piece.glued or piece.soft
        return found

    @property
    def _room_mm(self) -> float:
        return self.page_mm * self.tail.get(len(self.pages) - 1, 1.0)

    def _placed(self, unit: Sequence[Piece], scale: float = 1.0) -> list[Placed]:
        """A unit as it would stand below what is on the page, with the heads its rows need."""
        found: list[Placed] = []
        before = self.pages[-1][-1] if self.pages[-1] else None
        for piece in unit:
            if piece.head is not None and (before is None or _table_of(before.piece) != piece.head):
                before = self._below(before, self.pieces[piece.head], again=True)
                found.append(before)
            before = self._below(before, piece, scale)
            found.append(before)
        return found

    def _below(self, before: Placed | None, piece: Piece, scale: float = 1.0, again: bool = False) -> Placed:
        if before is None or (piece.head is not None and _table_of(before.piece) == piece.head):
            gap_mm = 0.0  # at the top of a page; rows of one table touch
        else:
            gap_mm = max(before.piece.below_mm, piece.above_mm)
        return Placed(piece, gap_mm, scale, again)

    def _fits(self, unit: Sequence[Piece], room_mm: float | None = None) -> bool:
        room_mm = self._room_mm if room_mm is None else room_mm
        return self.used_mm + sum(each.height_mm for each in self._placed(unit)) <= room_mm + _ROUNDING_MM

    def _put(self, unit: Sequence[Piece], scale: float = 1.0) -> None:
        """Onto the page. What is taller than a page is broken, heads kept with their first row, or made smaller."""
        if len(unit) > 1 and not self._fits(unit, self.page_mm):
            parts = _headed(unit)
            for part in parts if len(parts) > 1 else [[piece] for piece in unit]:
                if not self._fits(part) and self.pages[-1]:
                    self._turn()
                self._put(part)
            return
        placed = self._placed(unit, scale)
        left_mm = self.page_mm - self.used_mm - sum(each.height_mm for each in placed[:-1])
        if placed[-1].height_mm > left_mm + _ROUNDING_MM:
            last = placed[-1]
            placed[-1] = Placed(last.piece, last.gap_mm, (left_mm - last.gap_mm) / last.piece.height_mm, last.again)
        self.pages[-1] += placed
        self.used_mm += sum(each.height_mm for each in placed)

    def _turn(self) -> None:
        self.pages.append([])
        self.used_mm = 0.0

    def _drawing(self, piece: Piece, goes_on: bool) -> None:
        """Here if it fits, a little smaller if need be; else it waits for the next page while the text goes on."""
        if not self.waiting and self._put_smaller(piece):
            return
        self.waiting.append(piece)
        if not goes_on:
            self._put_waiting()

    def _put_smaller(self, piece: Piece) -> bool:
        gap_mm = self._placed([piece])[0].gap_mm
        scale = min(self.scale, (self._room_mm - self.used_mm - gap_mm) / piece.height_mm)
        if scale < LEAST_SCALE - 1e-9:
            return False
        self._put([piece], scale)
        return True

    def _put_waiting(self, *, only_here: bool = False) -> None:
        """The drawings that wait: as many as this page takes, then further pages unless `only_here`."""
        while self.waiting:
            piece = self.waiting[0]
            if not self._put_smaller(piece):
                if self.pages[-1]:
                    if only_here:
                        return
                    self._turn()
                    continue
                self._put([piece], min(self.scale, self.page_mm / piece.height_mm))
            self.waiting.pop(0)


def _parts(unit: Sequence[Piece]) -> list[list[Piece]]:
    """What is left together of a unit when its softly joined rows part."""
    found: list[list[Piece]] = [[]]
    for piece in unit:
        found[-1].append(piece)
        if piece.soft and not piece.glued:
            found.append([])
    return [part for part in found if part]


def _headed(unit: Sequence[Piece]) -> list[list[Piece]]:
    """A unit broken after each row of a table: heads stay with the first row."""
    found: list[list[Piece]] = [[]]
    for piece in unit:
        found[-1].append(piece)
        if piece.head is not None:
            found.append([])
    return [part for part in found if part]


def _table_of(piece: Piece) -> int | None:
    """The head that a row, or a head itself, belongs to. A head stands for itself."""
    return piece.number if piece.head is None else piece.head
