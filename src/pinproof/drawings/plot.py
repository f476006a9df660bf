"""A large drawing kept as a list of marks, so that any part of it can be put on a sheet.

Answers: which marks of a drawing lie on this sheet, and where is there room for another label?
Units:   millimetres, x to the right, y downward, from an origin of the drawing's own.
Touches: nothing.
Beside:  `svg` writes the sheet.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from pinproof.drawings.measure import drawable, reach_mm, width_mm
from pinproof.drawings.svg import Canvas, number

Point = tuple[float, float]
CELL_MM = 12.0  # of the index of taken room: a few small labels wide, so that few are looked at
TILE_MM = 100.0  # of the index of marks
PIECE_MM = 20.0


@dataclass(frozen=True)
class Box:
    """A rectangle. [mm]"""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        """True if the two have any point in common."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )

    def wider(self, by: float) -> Box:
        """The box with a rim around it."""
        return Box(self.left - by, self.top - by, self.right + by, self.bottom + by)


class Plot:
    """Marks with the room that each takes; `texts` are the boxes of the written ones."""

    def __init__(self) -> None:
        self._marks: list[tuple[Box, Callable[[Canvas], object]]] = []
        self._parts: list[tuple[Box, ...]] = []
        self._cells: dict[tuple[int, int], list[int]] = {}
        self.texts: list[Box] = []

    def box(self) -> Box:
        """What all marks take together."""
        boxes = [each for each, _ in self._marks]
        if not boxes:
            return Box(0.0, 0.0, 1.0, 1.0)
        return Box(
            min(each.left for each in boxes), min(each.top for each in boxes), max(each.right for each in boxes),
            max(each.bottom for each in boxes),
        )  # fmt: skip

    def shows(self, window: Box) -> bool:
        """True if any mark reaches into the window."""
        return any(part.meets(window) for index in self._in(window) for part in self._parts[index])

    def draw(self, canvas: Canvas, window: Box) -> None:
        """Draw what reaches into the window, in order."""
        for index in self._in(window):
            box, mark = self._marks[index]
            if box.meets(window):
                mark(canvas)

    def _in(self, window: Box) -> list[int]:
        """Marks that may reach into the window, in the order in which they were made."""
        if (window.right - window.left) * (window.bottom - window.top) > len(self._cells) * TILE_MM**2:
            return list(range(len(self._marks)))
        return sorted({index for cell in _cells(window, TILE_MM) for index in self._cells.get(cell, ())})

    def line(self, a: Point, b: Point, width: float, dash: str = "") -> None:
        """A straight line."""
        self._add(_around((a, b), width), lambda canvas: canvas.line(*a, *b, width=width, dash=dash))

    def polyline(self, points: Sequence[Point], width: float, dash: str = "") -> None:
        """A line through points."""
        drawn = path_of(points)
        parts = list(_pieces(points, width / 2.0 + 0.1))
        self._add(_around(points, width), lambda canvas: canvas.path(drawn, stroke=width, dash=dash), parts)

    def band(self, points: Sequence[Point], width: float) -> None:
        """A broad, light line with round ends, under everything else."""
        drawn = path_of(points)
        parts = list(_pieces(points, width / 2.0 + 0.1))
        self._add(_around(points, width), lambda canvas: canvas.broad(drawn, width), parts)

    def shape(self, points: Sequence[Point], *, stroke: float = 0.0, fill: float = 0.0) -> None:
        """A closed outline."""
        drawn = path_of(points) + "z"
        self._add(_around(points, stroke), lambda canvas: canvas.path(drawn, stroke=stroke, fill=fill))

    def circle(self, at: Point, radius: float, *, stroke: float = 0.0, fill: float = 0.0) -> None:
        """A circle."""
        box = Box(at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius).wider(stroke)
        self._add(box, lambda canvas: canvas.circle(*at, radius, stroke=stroke, fill=fill))

    def text(self, x: float, y: float, text: str, size: float, *, weight: str = "regular") -> None:
        """One line of text, its base line at `y`."""
        above, below = reach_mm(size)
        box = Box(x, y - above, x + width_mm(drawable(text), size, weight), y + below)
        self.texts.append(box)
        self._add(box, lambda canvas: canvas.text(x, y, text, size, weight=weight))

    def _add(self, box: Box, mark: Callable[[Canvas], object], parts: Sequence[Box] = ()) -> None:
        """Keep a mark; `parts` are the places where it really is, if they are smaller than its box."""
        for cell in dict.fromkeys(cell for part in (parts or (box,)) for cell in _cells(part, TILE_MM)):
            self._cells.setdefault(cell, []).append(len(self._marks))
        self._parts.append(tuple(parts) or (box,))
        self._marks.append((box, mark))


def path_of(points: Sequence[Point]) -> str:
    """Path commands of a line through points."""
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)


def _around(points: Sequence[Point], width: float) -> Box:
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return Box(min(xs), min(ys), max(xs), max(ys)).wider(width / 2.0 + 0.1)


def _pieces(points: Sequence[Point], half: float) -> Iterator[Box]:
    """Small boxes along a line, so that a slanted one does not claim all of its rectangle."""
    for a, b in itertools.pairwise(points):
        slanted = a[0] != b[0] and a[1] != b[1]
        steps = max(math.ceil(math.dist(a, b) / PIECE_MM), 1) if slanted else 1
        spots = [(a[0] + (b[0] - a[0]) * k / steps, a[1] + (b[1] - a[1]) * k / steps) for k in range(steps + 1)]
        for one, other in itertools.pairwise(spots):
            yield _around((one, other), 2.0 * half)


def _cells(box: Box, size: float) -> Iterator[tuple[int, int]]:
    for column in range(math.floor(box.left / size), math.floor(box.right / size) + 1):
        for row in range(math.floor(box.top / size), math.floor(box.bottom / size) + 1):
            yield column, row


class Room:
    """Where labels may still go: boxes that are taken, found quickly."""

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], list[Box]] = {}

    def take(self, box: Box) -> None:
        """Keep others off this box."""
        for cell in _cells(box, CELL_MM):
            self._cells.setdefault(cell, []).append(box)

    def take_line(self, points: Sequence[Point], half_width: float) -> None:
        """Keep others off a line."""
        for a, b in itertools.pairwise(points):
            if a[0] == b[0] or a[1] == b[1]:
                self.take(_around((a, b), 2.0 * half_width))
                continue
            steps = max(math.ceil(math.dist(a, b) / max(2.0 * half_width, 2.0)), 1)
            for k in range(steps + 1):
                x, y = a[0] + (b[0] - a[0]) * k / steps, a[1] + (b[1] - a[1]) * k / steps
                self.take(Box(x - half_width, y - half_width, x + half_width, y + half_width))

    def free(self, box: Box) -> bool:
        """True if nothing is there."""
        return not any(box.meets(each) for cell in _cells(box, CELL_MM) for each in self._cells.get(cell, ()))

    def find(self, width: float, height: float, wishes: Sequence[Point], around: Point, reach: float) -> Box | None:
        """Take the first free box of this size: with its upper left corner as wished, else near a point."""
        for left, top in itertools.chain(wishes, _near(width, height, around, reach)):
            box = Box(left, top, left + width, top + height)
            if self.free(box):
                self.take(box)
                return box
        return None


def _near(width: float, height: float, around: Point, reach: float) -> Iterator[Point]:
    """Corners of boxes around a point, the nearest first."""
    step = max(height / 2.0, reach / 60.0)
    rings = int(reach / step)
    spots = []
    for across in range(-rings, rings + 1):
        for down in range(-rings, rings + 1):
            x, y = across * step, down * step
            far = max(abs(x) - width / 2.0, 0.0) + 1.5 * max(abs(y) - height / 2.0, 0.0)
            spots.append((far, abs(x), -down, across, around[0] + x - width / 2.0, around[1] + y - height / 2.0))
    for *_, left, top in sorted(spots):
        yield left, top
