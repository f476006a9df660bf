"""A large drawing at true size on sheets of paper that are laid together, or on one sheet.

Answers: which sheets are needed, how do they join, and how is it checked that nothing was printed too small?
Units:   millimetres.
Touches: nothing.
Beside:  `formboard` makes the drawing, `plot` keeps it.

Every sheet shows one field of a grid and a rim beyond it. Fields that touch share their edge: it carries two lozenges
with letters that no other edge has, drawn on both sheets at the same point of the board; laid together they cover
each other. At each corner of a field stands a cross. Rulers of 100 mm in both directions and of 3 inches stand on
every sheet, outside the field.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from pinproof.drawings.measure import drawable, width_mm, wrap
from pinproof.drawings.place import Drawing
from pinproof.drawings.plot import Box, Plot, Point, path_of
from pinproof.drawings.svg import Canvas

INCH_MM = 25.4
RULER_MM = 100.0
CROSS_MM = 4.0
LOZENGE_MM = 3.2
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"  # no I and O: they look like numbers
WITHIN = "0.5 mm per metre"


@dataclass(frozen=True)
class Paper:
    """A sheet and the field on it. Rims are drawn beyond the field, the foot below."""

    name: str
    wide_mm: float
    high_mm: float
    field_wide_mm: float
    field_high_mm: float
    rim_mm: float = 6.0
    top_mm: float = 14.0

    @property
    def left_mm(self) -> float:
        """From the sheet's edge to the field."""
        return (self.wide_mm - self.field_wide_mm) / 2.0


PAPERS = {
    "a4": (Paper("A4, lying across", 297.0, 210.0, 250.0, 150.0), Paper("A4, upright", 210.0, 297.0, 170.0, 230.0)),
    "letter": (
        Paper("Letter, lying across", 279.4, 215.9, 240.0, 150.0), Paper("Letter, upright", 215.9, 279.4, 175.0, 215.0),
    ),
}  # fmt: skip
ONE_SHEET_MM = 4700.0
"""Longest field of the one sheet: a longer page is more than 200 inches, which common viewers of PDF cut off."""


@dataclass(frozen=True)
class Grid:
    """Fields over a drawing. Rows and columns count from 0; `fields` are those that show something."""

    left: float
    top: float
    wide: float
    high: float
    rows: int
    columns: int
    fields: tuple[tuple[int, int], ...]

    def box(self, field: tuple[int, int]) -> Box:
        """A field's rectangle on the drawing."""
        left, top = self.left + field[1] * self.wide, self.top + field[0] * self.high
        return Box(left, top, left + self.wide, top + self.high)

    def name(self, field: tuple[int, int]) -> str:
        """Row and column, counted from 1."""
        return f"{field[0] + 1}-{field[1] + 1}"

    @cached_property
    def edges(self) -> dict[tuple[tuple[int, int], tuple[int, int]], str]:
        """Letters of every edge that two shown fields share."""
        shown = set(self.fields)
        pairs = [
            (field, other)
            for field in self.fields
            for other in ((field[0], field[1] + 1), (field[0] + 1, field[1]))
            if other in shown
        ]
        return {pair: letters(number) for number, pair in enumerate(pairs)}

    @cached_property
    def level_lines(self) -> tuple[tuple[int, int, int], ...]:
        """Edges of the shown fields that lie level, joined: (row of corners, first column, last column)."""
        return _joined({(row + down, column) for row, column in self.fields for down in (0, 1)})

    @cached_property
    def upright_lines(self) -> tuple[tuple[int, int, int], ...]:
        """Edges of the shown fields that stand upright, joined: (column of corners, first row, last row)."""
        return _joined({(column + right, row) for row, column in self.fields for right in (0, 1)})


def _joined(edges: set[tuple[int, int]]) -> tuple[tuple[int, int, int], ...]:
    """Unit edges (line, where they start on it) as stretches (line, first, last)."""
    found: list[tuple[int, int, int]] = []
    for line, start in sorted(edges):
        if found and found[-1][0] == line and found[-1][2] == start:
            found[-1] = (line, found[-1][1], start + 1)
        else:
            found.append((line, start, start + 1))
    return tuple(found)


def grid_over(plot: Plot, wide: float, high: float, *, keep_off_x: Sequence[float] = (),
              keep_off_y: Sequence[float] = ()) -> Grid:  # fmt: skip
    """A grid with as few rows and columns as the drawing needs, its edges away from given lines where that is free.

    Fields that show nothing are left out, but for those that join two others which only touch at a corner.
    """
    box = plot.box().wider(2.0)
    columns = max(math.ceil((box.right - box.left) / wide), 1)
    rows = max(math.ceil((box.bottom - box.top) / high), 1)
    spans_x, spans_y = ([(t.left, t.right) for t in plot.texts], [(t.top, t.bottom) for t in plot.texts])
    left = _shifted(box.left, columns * wide - (box.right - box.left), wide, keep_off_x, spans_x)
    top = _shifted(box.top, rows * high - (box.bottom - box.top), high, keep_off_y, spans_y)
    bare = Grid(left, top, wide, high, rows, columns, ())
    every = [(row, column) for row in range(rows) for column in range(columns)]
    shown = {field for field in every if plot.shows(bare.box(field))}
    added = True
    while added:
        added = False
        for row, column in sorted(shown):
            for step in (-1, 1):
                corner, beside, below = (row + 1, column + step), (row, column + step), (row + 1, column)
                if corner in shown and beside not in shown and below not in shown:
                    shown.add(beside)
                    added = True
    return Grid(left, top, wide, high, rows, columns, tuple(sorted(shown)))


def best_paper(plot: Plot, papers: Sequence[Paper], keep_off_x: Sequence[float], keep_off_y: Sequence[float]) -> tuple[
    Paper, Grid
]:  # fmt: skip
    """The way to lay the paper that needs fewest sheets, and its grid."""
    tried = [
        (each, grid_over(plot, each.field_wide_mm, each.field_high_mm, keep_off_x=keep_off_x, keep_off_y=keep_off_y))
        for each in papers
    ]
    return min(tried, key=lambda pair: len(pair[1].fields))


def _shifted(
    low: float, slack: float, pitch: float, keep_off: Sequence[float], texts: Sequence[tuple[float, float]]
) -> float:
    """Where the grid starts, up to `slack` before `low`.

    Its edges keep clear of what they must not cut, then cut as few texts as can be, then keep far off.
    """

    def cost(start: float) -> tuple[int, int, float]:
        off = [(line - start) % pitch for line in keep_off]
        near = [min(each, pitch - each) for each in off]
        cut = sum((first - start) // pitch != (last - start) // pitch for first, last in texts)
        return sum(each < 2.0 * CROSS_MM for each in near), cut, -min(near, default=0.0)

    return min((low - slack * k / 40 for k in range(41)), key=cost)


def letters(number: int) -> str:
    """A name of letters for a join: A, B … Z, AA …, counted from 0; without I and O."""
    found = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, len(LETTERS))
        found = LETTERS[rest] + found
    return found


def tile(plot: Plot, grid: Grid, field: tuple[int, int], paper: Paper, title: str) -> Drawing:
    """One sheet."""
    name = grid.name(field)
    told = (
        f"Sheet {name} of the formboard at true size on {paper.name}; fields of {grid.wide:g} by {grid.high:g} mm, "
        f"{grid.rows} rows, {grid.columns} columns, {len(grid.fields)} sheets."
    )
    canvas = Canvas(paper.wide_mm, paper.high_mm, f"{title}, sheet {name}", told, f"sheet-{name}")
    box = grid.box(field)
    shift = (paper.left_mm - box.left, paper.top_mm - box.top)
    rim = paper.rim_mm
    canvas.frame(
        f"field-{name}", paper.left_mm - rim, paper.top_mm - rim, grid.wide + 2 * rim, grid.high + 2 * rim, shift
    )  # fmt: skip
    plot.draw(canvas, box.wider(rim))
    _joins(canvas, grid, field)
    canvas.group()
    _rulers(canvas, paper, grid)
    _foot(canvas, grid, field, paper, title)
    return canvas.finish()


def _joins(canvas: Canvas, grid: Grid, field: tuple[int, int]) -> None:
    """Edges of the field as they lie on the board: dashed where another sheet goes on, crosses at the corners."""
    box = grid.box(field)
    corners = [(box.left, box.top), (box.right, box.top), (box.right, box.bottom), (box.left, box.bottom)]
    for x, y in corners:
        canvas.line(x - CROSS_MM, y, x + CROSS_MM, y, width=0.2)
        canvas.line(x, y - CROSS_MM, x, y + CROSS_MM, width=0.2)
    row, column = field
    edges = grid.edges
    sides = (
        ((field, (row, column + 1)), (corners[1], corners[2])),
        (((row, column - 1), field), (corners[0], corners[3])),
        ((field, (row + 1, column)), (corners[3], corners[2])),
        (((row - 1, column), field), (corners[0], corners[1])),
    )
    for pair, (a, b) in sides:
        if pair not in edges:
            continue
        canvas.line(*a, *b, width=0.15, dash="3 2", soft=True)
        for share in (0.2, 0.8):
            x, y = a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])
            r = LOZENGE_MM
            canvas.path(path_of([(x - r, y), (x, y - r), (x + r, y), (x, y + r)]) + "z", stroke=0.25)
            size = 2.6 if len(edges[pair]) < 2 else 2.0
            canvas.text(x, y + 0.33 * size, edges[pair], size, anchor="middle", weight="strong")


def _rulers(canvas: Canvas, paper: Paper, grid: Grid) -> None:
    """100 mm across and upright, and 3 inches, outside the field."""
    base = paper.top_mm + grid.high + paper.rim_mm + 6.0
    left = paper.left_mm
    scale_line(canvas, (left, base), RULER_MM, 10.0, "100 mm")
    scale_line(canvas, (left, base + 9.0), 3 * INCH_MM, INCH_MM / 2.0, "3 in")
    scale_line(
        canvas, (paper.left_mm - paper.rim_mm - 2.5, paper.top_mm + 10.0), RULER_MM, 10.0, "100 mm", upright=True
    )


def scale_line(canvas: Canvas, start: Point, long: float, step: float, text: str, *, upright: bool = False) -> None:
    """A ruler of exactly `long`, with a tick at every `step`; to the right, or downward with ticks to the left."""
    x, y = start
    if upright:
        canvas.line(x, y, x, y + long, width=0.25)
    else:
        canvas.line(x, y, x + long, y, width=0.25)
    count = round(long / step)
    for k in range(count + 1):
        at = k * long / count
        tall = 3.0 if k in (0, count) else 2.0 if 2 * k == count else 1.4
        if upright:
            canvas.line(x - tall, y + at, x, y + at, width=0.2)
        else:
            canvas.line(x + at, y, x + at, y + tall, width=0.2)
    if upright:
        for line, word in enumerate(text.split()):
            canvas.text(x - 3.4, y + long + 2.6 + 2.2 * line, word, 2.0)
    else:
        canvas.text(x + long + 1.5, y + 1.6, text, 2.4)


def _foot(canvas: Canvas, grid: Grid, field: tuple[int, int], paper: Paper, title: str) -> None:
    base = paper.top_mm + grid.high + paper.rim_mm + 22.0
    name = grid.name(field)
    canvas.text(paper.left_mm, base, f"Sheet {name}", 4.2, weight="strong")
    said = (
        f"{title}. Print at actual size (100 %), then measure both 100 mm rulers. Row {field[0] + 1} of {grid.rows}, "
    )
    said += f"column {field[1] + 1} of {grid.columns}."
    room = paper.field_wide_mm - 26.0
    for line, text in enumerate(wrap(drawable(said), room, 2.4)):
        canvas.text(paper.left_mm + 26.0, base - 1.0 + 3.2 * line, text, 2.4)
    small_map(canvas, grid, Box(paper.left_mm + 122.0, base - 18.5, paper.left_mm + grid.wide, base - 4.5), field)


def small_map(canvas: Canvas, grid: Grid, room: Box, here: tuple[int, int] | None = None) -> None:
    """Where this sheet lies among the others: fields as small boxes, this one filled.

    All boxes are one path of long lines, so that a sheet stays small however many sheets there are.
    """
    step = min((room.right - room.left) / grid.columns, 1.5 * (room.bottom - room.top) / grid.rows, 9.0)
    high = max(step / 1.5, min(3.0, (room.bottom - room.top) / grid.rows))
    left = room.right - step * grid.columns
    lines = [((left + a * step, room.top + row * high), (left + b * step, room.top + row * high))
             for row, a, b in grid.level_lines]  # fmt: skip
    lines += [((left + column * step, room.top + a * high), (left + column * step, room.top + b * high))
              for column, a, b in grid.upright_lines]  # fmt: skip
    canvas.path("".join(map(path_of, lines)), stroke=0.15)
    if here is not None:
        canvas.rect(left + here[1] * step, room.top + here[0] * high, step, high, fill=0.75)


KEY_LEFT_MM, KEY_RIM_MM, KEY_LETTERS_MM = 12.0, 14.0, 2.4
NAME_AT = (0.0, 1.0, 0.25, 0.75, 0.5)
"""Where the name of a field is tried, as a share of its height from the top."""
NAME_CLEAR_MM = 0.5


@dataclass(frozen=True)
class KeyRoom:
    """Where the fields lie on the key: millimetres of the sheet for one of the board, along and upward."""

    left: float
    top: float
    along: float
    upward: float

    def names(self, grid: Grid, lines: Plot | None = None) -> dict[tuple[int, int], Box]:
        """Where names of fields stand, from the corner of the first field; where they are narrow only some have one.

        At the top of the field; at its foot, or between, at its left or its right edge, where `lines` of the board lie
        at the top. A name that would touch a run wherever it stands is left out.
        """
        step, high = grid.wide * self.along, grid.high * self.upward
        widest = max(width_mm(grid.name(field), KEY_LETTERS_MM) for field in grid.fields) + 1.0
        each = math.ceil(widest / step)
        tall = 1.3 * KEY_LETTERS_MM
        found = {}
        for row, column in grid.fields:
            if column % each:
                continue
            lefts = dict.fromkeys((column * step, max(column * step, (column + 1) * step - widest)))
            spots = [
                Box(left, row * high + part * (high - tall), left + widest, row * high + part * (high - tall) + tall)
                for part in NAME_AT for left in lefts
            ]  # fmt: skip
            free = (spot for spot in spots if lines is None or not lines.shows(spot.wider(NAME_CLEAR_MM)))
            if (spot := next(free, None)) is not None:
                found[row, column] = spot
        return found


def key_room(grid: Grid, paper: Paper) -> KeyRoom:
    """As large as the sheet allows; upward at most ten times more than along."""
    wide = paper.wide_mm - 2 * KEY_LEFT_MM - 2 * KEY_RIM_MM
    top = 30.0 + 5.0 * len(_key_lines(grid, paper, grid_span(grid)))
    high = paper.high_mm - top - 22.0
    along = min(wide / (grid.columns * grid.wide), 0.5)
    upward = min(high / (grid.rows * grid.high), 10.0 * along)
    return KeyRoom(KEY_LEFT_MM + KEY_RIM_MM + (wide - along * grid.columns * grid.wide) / 2.0, top, along, upward)


def _key_lines(grid: Grid, paper: Paper, span: tuple[str, str, float]) -> list[str]:
    wide = paper.wide_mm - 2 * KEY_LEFT_MM
    return [line for each in how_to(grid, paper, span) for line in wrap(each, wide, 3.2)]


def key_sheet(
    grid: Grid, paper: Paper, title: str, overview: Plot, names: Mapping[tuple[int, int], Box] | None = None
) -> Drawing:
    """The first page: which sheet lies where, how to lay them together, and how to check the whole board.

    `overview` is the same board drawn in the measures of `key_room`, the corner of the first field at 0, 0;
    `names` is where the names of fields stand. Edges of fields are left out where a label stands.
    """
    told = f"Key to {len(grid.fields)} sheets: {grid.rows} rows and {grid.columns} columns."
    canvas = Canvas(paper.wide_mm, paper.high_mm, f"{title}, key", told, "sheet-key")
    y = 15.0
    for line in wrap(drawable(title), paper.wide_mm - 2 * KEY_LEFT_MM, 4.6, "strong"):
        canvas.text(KEY_LEFT_MM, y, line, 4.6, weight="strong")
        y += 6.0
    for line in _key_lines(grid, paper, grid_span(grid)):
        canvas.text(KEY_LEFT_MM, y + 1.0, line, 3.2)
        y += 4.8
    room = key_room(grid, paper)
    step, high = grid.wide * room.along, grid.high * room.upward
    for row, first, last in grid.level_lines:
        for x0, x1 in _clear(first * step, last * step, [(t.left, t.right) for t in overview.texts
                                                         if t.top < row * high < t.bottom]):  # fmt: skip
            y = room.top + row * high
            canvas.line(room.left + x0, y, room.left + x1, y, width=0.12, dash="0.6 0.9")
    for column, first, last in grid.upright_lines:
        for y0, y1 in _clear(first * high, last * high, [(t.top, t.bottom) for t in overview.texts
                                                         if t.left < column * step < t.right]):  # fmt: skip
            x = room.left + column * step
            canvas.line(x, room.top + y0, x, room.top + y1, width=0.12, dash="0.6 0.9")
    for field, box in (names if names is not None else room.names(grid)).items():
        canvas.text(room.left + box.left + 0.5, room.top + box.top + KEY_LETTERS_MM, grid.name(field), KEY_LETTERS_MM)
    canvas.frame("key-board", 0.0, room.top - 6.0, paper.wide_mm, paper.high_mm - room.top, (room.left, room.top))
    overview.draw(canvas, Box(-1e9, -1e9, 1e9, 1e9))
    canvas.group()
    scale_line(canvas, (KEY_LEFT_MM, paper.high_mm - 12.0), RULER_MM, 10.0, "100 mm")
    return canvas.finish()


def _clear(low: float, high: float, taken: Sequence[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    """What is left of a stretch beside the spans that are taken, each with a little room."""
    at = low
    for first, last in sorted(taken):
        if first - 0.3 > at:
            yield at, min(first - 0.3, high)
        at = max(at, last + 0.3)
        if at >= high:
            return
    yield at, high


def how_to(grid: Grid, paper: Paper, span: tuple[str, str, float]) -> Iterator[str]:
    """What the builder does with the sheets, step by step."""
    count = len(grid.fields)
    yield (
        f'1. Print all {count} sheets on {paper.name}, at actual size (100 %): no "fit to page", no '
        "borders. Measure both 100 mm rulers of the first sheet: each must be 100 mm, at most 0.2 mm off."
    )
    if count > 1:
        yield (
            "2. Cut each sheet along its dashed edge at the right and at the bottom. Lay it over the rim of the next "
            "one: the lozenges with the same letters and the crosses at the corners must cover each other. Tape."
        )
        first, last, distance = span
        yield (
            f"3. Check the whole: from the upper left cross of sheet {first} to the upper right cross of sheet {last} "
            f"it is {distance:g} mm, within {WITHIN}. If it is not, lay the sheets again: small slips add up."
        )
    yield (
        f"{'4' if count > 1 else '2'}. Runs are measured along the thin line in the middle of their band. "
        "Plugs, studs and ends are signs, not shapes. Design aid, not approval."
    )


def grid_span(grid: Grid) -> tuple[str, str, float]:
    """The row with the longest stretch of sheets: its first and last sheet, and the distance over both. [mm]"""
    best = (grid.fields[0], grid.fields[0])
    for row in range(grid.rows):
        mine = [column for each, column in grid.fields if each == row]
        if mine and max(mine) - min(mine) > best[1][1] - best[0][1]:
            best = ((row, min(mine)), (row, max(mine)))
    return grid.name(best[0]), grid.name(best[1]), (best[1][1] - best[0][1] + 1) * grid.wide


def one_sheet(plot: Plot, title: str, *, keep_off_x: Sequence[float] = ()) -> Drawing:
    """The whole drawing at true size on one sheet, in strips below each other where it is too long for a page."""
    box = plot.box().wider(6.0)
    wide = box.right - box.left
    strips = math.ceil(wide / ONE_SHEET_MM)
    rim, head, foot, gap = 12.0, 16.0, 24.0, 24.0
    long = wide / strips
    grid = grid_over(plot, long + 4.0, box.bottom - box.top, keep_off_x=keep_off_x)
    high = grid.high + gap
    told = f"The formboard at true size, {wide:.0f} by {grid.high:.0f} mm" + (
        f", in {grid.columns} strips that join at the letters." if grid.columns > 1 else "."
    )
    canvas = Canvas(grid.wide + 2 * rim, head + grid.columns * high + foot, title, told, "one-sheet")
    for strip in range(grid.columns):
        field = (0, strip)
        part = grid.box(field)
        top = head + strip * high
        canvas.frame(f"strip-{strip}", rim - 8.0, top - 8.0, grid.wide + 16.0, grid.high + 16.0,
                     (rim - part.left, top - part.top))  # fmt: skip
        plot.draw(canvas, part.wider(8.0))
        _joins(canvas, grid, field)
    canvas.group()
    canvas.text(rim, 8.0, drawable(title), 5.0, weight="strong")
    low = head + grid.columns * high
    scale_line(canvas, (rim, low), RULER_MM, 10.0, "100 mm")
    scale_line(canvas, (rim + 130.0, low), 3 * INCH_MM, INCH_MM / 2.0, "3 in")
    scale_line(canvas, (8.0, head + 4.0), RULER_MM, 10.0, "", upright=True)
    if grid.wide > 1050.0:
        scale_line(canvas, (rim, low + 10.0), 1000.0, 100.0, "1000 mm")
    said = "Print at actual size (100 %) and measure the rulers. Runs are measured along the thin line."
    if grid.wide > 260.0 + width_mm(said, 3.0):
        canvas.text(rim + 240.0, low + 2.0, said, 3.0)
    return canvas.finish()
