"""The formboard as files: true size on one sheet and over sheets of paper, and small for the book.

Answers: which PDF and SVG files carry the board, and what is on each of their pages?
Units:   millimetres.
Touches: what `typeset` touches; no clock. The same harness and date give the same bytes.
Beside:  `pinproof.drawings.formboard` and `pinproof.drawings.sheets` draw.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pinproof.design.model import Truck
from pinproof.drawings.formboard import FULL, SMALL, board_plot, shifted, stretched
from pinproof.drawings.measure import one_line
from pinproof.drawings.place import Drawing
from pinproof.drawings.plot import Plot
from pinproof.drawings.sheets import PAPERS, Grid, best_paper, grid_over, key_room, key_sheet, letters, one_sheet, tile
from pinproof.drawings.svg import Canvas, as_file
from pinproof.harness import Harness
from pinproof.harness.board import Board, board_of
from pinproof.harness.formboard import Spacing
from pinproof.pack.typeset import typeset

FONTS = ("Source Sans Pro", "DejaVu Sans")
OVERVIEW_MM = 182.0  # width of the drawing in the book
LANE_MM, ROOM_MM = 11.0, 34.0  # of the small drawing, on paper
LABEL_PITCH_MM = 3.6  # length of the small drawing for each label on it
JOIN_MM = 3.0  # beside a strip, for the letter of its join


@dataclass(frozen=True)
class Formboard:
    """The board at true size, ready to be put on sheets."""

    board: Board
    plot: Plot
    missing: int  # labels without room
    title: str


SIGN_MM = 1.8 * SMALL.sign
"""From a place to the rim of its sign on the key, at most."""


def formboard(truck: Truck, harness: Harness, made_on: date | None = None) -> Formboard:
    """Lay the board out and draw it once. None of its lengths depends on the paper."""
    board = board_of(truck, harness)
    plot, missing = board_plot(board, look=FULL)
    when = f" · {made_on.isoformat()}" if made_on else ""
    name = harness.truck_name or harness.truck
    title = f"Formboard of {name} · design {harness.truck} · file {harness.text_hash[:12] or 'unknown'}{when}"
    return Formboard(board, plot, missing, one_line(title))


def tiles_of(one: Formboard, paper: str) -> tuple[Grid, list[Drawing]]:
    """The grid and its sheets for "a4" or "letter"; the first sheet is the key."""
    xs = [place.at_mm[0] for place in one.board.places]
    ys = [y for run in one.board.runs for _, y in run.line_mm]
    sheet, grid = best_paper(one.plot, PAPERS[paper], xs, ys)
    room = key_room(grid, sheet)
    board = stretched(shifted(one.board, -grid.left, -grid.top), room.upward / room.along)
    lines = Plot()
    for run in board.runs:
        lines.polyline([(x * room.along, y * room.along) for x, y in run.line_mm], SMALL.sign)
    for place in board.places:
        x, y = (each * room.along for each in place.at_mm)
        lines.line((x - SIGN_MM, y), (x + SIGN_MM, y), 2.0 * SIGN_MM)
    names = room.names(grid, lines)
    small, _ = board_plot(board, scale=1.0 / room.along, look=SMALL, taken=tuple(names.values()))
    key = key_sheet(grid, sheet, one.title, small, names)
    return grid, [key, *(tile(one.plot, grid, field, sheet, one.title) for field in grid.fields)]


def sheets_pdf(sheets: Sequence[Drawing], title: str, made_on: date | None = None) -> bytes:
    """A PDF of these drawings, each on a page of its own size. Raises as `typeset`."""
    data = {
        "title": one_line(title),
        "date": [made_on.year, made_on.month, made_on.day] if made_on else None,
        "fonts": list(FONTS),
        "sheets": [
            {
                "svg": f"sheet-{number}.svg", "wide_mm": each.width_mm, "high_mm": each.height_mm,
                "alt": f"{each.title}. {each.description}",
            }
            for number, each in enumerate(sheets)
        ],
    }  # fmt: skip
    files = {f"sheet-{number}.svg": each.svg for number, each in enumerate(sheets)}
    return typeset(data, files, "sheets.typ")


def overview(truck: Truck, harness: Harness, ident: str = "formboard-small") -> tuple[list[Drawing], float, int]:
    """The board small enough for pages of the book: strips, their scale, and how many labels had no room.

    Lanes stand farther apart than on the board, so that the labels find room; every run keeps its length. A board with
    many labels is drawn larger, in strips that follow each other.
    """
    whole = board_of(truck, harness)
    marks = len(whole.places) + len(whole.runs) + len(whole.splices)
    wanted_mm = max(OVERVIEW_MM - 2 * ROOM_MM, LABEL_PITCH_MM * marks)
    scale = max(whole.long_mm / wanted_mm, 2.0)
    board = board_of(truck, harness, Spacing(LANE_MM * scale, 2.0 * scale, ROOM_MM * scale, 20.0 * scale))
    plot, missing = board_plot(board, scale=scale, look=SMALL)
    box = plot.box().wider(2.5)
    count = math.ceil((box.right - box.left) / OVERVIEW_MM - 1e-9)
    name = harness.truck_name or harness.truck
    told = f"{len(board.runs)} runs between {len(board.places)} places, one millimetre for {scale:.1f} mm."
    strips = []
    grid = grid_over(plot, OVERVIEW_MM - 2 * JOIN_MM, box.bottom - box.top) if count > 1 else None
    for strip in range(grid.columns if grid is not None else 1):
        part = grid.box((0, strip)) if grid is not None else box
        last = f", strip {strip + 1} of {grid.columns}" if grid is not None else ""
        canvas = Canvas(
            OVERVIEW_MM, box.bottom - box.top, f"The board of {name}, small{last}", told, f"{ident}-{strip}"
        )
        off = (OVERVIEW_MM - (part.right - part.left)) / 2.0
        shift = (off - part.left, -box.top)
        wide = part.right - part.left
        canvas.frame(f"{ident}-{strip}-all", off, 0.0, wide, box.bottom - box.top, shift)
        plot.draw(canvas, part)
        canvas.group()
        if grid is not None:
            for column, x in ((strip, off), (strip + 1, off + wide)):
                if 0 < column < grid.columns:
                    letter = letters(column - 1)
                    canvas.line(x, 0.0, x, box.bottom - box.top, width=0.15, dash="1.2 0.8", soft=True)
                    canvas.text(x, 2.4, letter, 2.4, weight="strong", anchor="end" if column == strip else "start")
        strips.append(canvas.finish())
    return strips, scale, missing


def formboard_files(one: Formboard, made_on: date | None = None) -> dict[str, bytes]:
    """The board as one sheet (SVG and PDF) and over A4 and Letter (PDF)."""
    xs = [place.at_mm[0] for place in one.board.places]
    whole = one_sheet(one.plot, one.title, keep_off_x=xs)
    found = {
        "formboard.svg": as_file(whole.svg),
        "formboard-one-sheet.pdf": sheets_pdf([whole], one.title, made_on),
    }
    for paper in PAPERS:
        found[f"formboard-{paper}.pdf"] = sheets_pdf(tiles_of(one, paper)[1], one.title, made_on)
    return found
