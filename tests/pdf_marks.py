"""Reads lines out of the content streams of our own PDF files: enough of ISO 32000 to measure what is on a page.

Only operators that draw paths and change the matrix are read. Nothing of the product is used.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass

POINT_MM = 25.4 / 72.0
Pair = tuple[float, float]


@dataclass(frozen=True)
class Path:
    """One painted path: its points in millimetres from the upper left corner of the page, curves by their ends."""

    points: tuple[Pair, ...]
    curved: bool
    paint: str
    width_mm: float

    @property
    def box(self) -> tuple[float, float, float, float]:
        xs, ys = [x for x, _ in self.points], [y for _, y in self.points]
        return min(xs), min(ys), max(xs), max(ys)


@dataclass(frozen=True)
class Page:
    """One page with its size and its paths."""

    wide_mm: float
    high_mm: float
    paths: tuple[Path, ...]

    def crosses(self, arm_mm: float) -> list[Pair]:
        """Centres of crosses of two straight lines that halve each other, each `2 * arm_mm` long."""
        level, upright = [], []
        for path in self.paths:
            if len(path.points) == 2 and not path.curved:
                (x0, y0), (x1, y1) = path.points
                if abs(abs(x1 - x0) - 2 * arm_mm) < 1e-2 and abs(y1 - y0) < 1e-3:
                    level.append(((x0 + x1) / 2, y0))
                if abs(abs(y1 - y0) - 2 * arm_mm) < 1e-2 and abs(x1 - x0) < 1e-3:
                    upright.append((x0, (y0 + y1) / 2))
        return [a for a in level if any(abs(a[0] - b[0]) < 1e-2 and abs(a[1] - b[1]) < 1e-2 for b in upright)]

    def rings(self, radius_mm: float) -> list[Pair]:
        """Centres of stroked circles of this radius."""
        found = []
        for path in self.paths:
            left, top, right, bottom = path.box
            round_ = abs(right - left - 2 * radius_mm) < 2e-2 and abs(bottom - top - 2 * radius_mm) < 2e-2
            if path.curved and path.paint in ("S", "s") and round_:
                found.append(((left + right) / 2, (top + bottom) / 2))
        return found


def pages_of(pdf: bytes) -> list[Page]:
    """Every page in order."""
    objects = {int(one.group(1)): one for one in re.finditer(rb"(\d+) 0 obj\s*(.*?)endobj", pdf, re.S)}
    kids = re.search(rb"/Type\s*/Pages.*?/Kids\s*\[([^\]]*)\]", pdf, re.S)
    assert kids, "no page tree"
    found = []
    for number in re.findall(rb"(\d+) 0 R", kids.group(1)):
        page = objects[int(number)].group(2)
        box = [float(each) for each in re.search(rb"/MediaBox\s*\[([^\]]*)\]", page).group(1).split()]  # type: ignore[union-attr]
        contents = int(re.search(rb"/Contents (\d+) 0 R", page).group(1))  # type: ignore[union-attr]
        found.append(_page(_stream(pdf, objects[contents].start()), box[2], box[3]))
    return found


def _stream(pdf: bytes, start: int) -> bytes:
    head = re.compile(rb"<<(.*?)>>\s*stream\r?\n", re.S).search(pdf, start)
    assert head
    long = int(re.search(rb"/Length (\d+)", head.group(1)).group(1))  # type: ignore[union-attr]
    raw = pdf[head.end() : head.end() + long]
    return zlib.decompress(raw) if b"FlateDecode" in head.group(1) else raw


def _page(stream: bytes, wide_pt: float, high_pt: float) -> Page:
    matrix: tuple[float, ...] = (1, 0, 0, 1, 0, 0)
    stack: list[tuple[tuple[float, ...], float]] = []
    width = 1.0
    points: list[Pair] = []
    curved = False
    paths: list[Path] = []
    numbers: list[float] = []

    def at(x: float, y: float) -> Pair:
        a, b, c, d, e, f = matrix
        return (a * x + c * y + e) * POINT_MM, (high_pt - (b * x + d * y + f)) * POINT_MM

    text = re.sub(rb"<<.*?>>+|\[[^\]]*\]|\((?:\\.|[^\\)])*\)|<[0-9A-Fa-f\s]*>|/[^\s/\[<(]+", b" ", stream, flags=re.S)
    for token in text.split():
        try:
            numbers.append(float(token))
            continue
        except ValueError:
            word = token.decode("latin-1")
        if word == "q":
            stack.append((matrix, width))
        elif word == "Q":
            matrix, width = stack.pop()
        elif word == "cm":
            a, b, c, d, e, f = numbers[-6:]
            A, B, C, D, E, F = matrix
            matrix = (a * A + b * C, a * B + b * D, c * A + d * C, c * B + d * D, e * A + f * C + E, e * B + f * D + F)
        elif word == "w":
            width = numbers[-1]
        elif word in ("m", "l"):
            points.append(at(*numbers[-2:]))
        elif word == "c":
            curved = True
            points.append(at(*numbers[-2:]))
        elif word == "re":
            x, y, w, h = numbers[-4:]
            points += [at(x, y), at(x + w, y), at(x + w, y + h), at(x, y + h)]
        elif word in ("S", "s", "f", "f*", "B", "b", "F", "n"):
            if points and word != "n":
                paths.append(Path(tuple(points), curved, word, width * abs(matrix[0]) * POINT_MM))
            points, curved = [], False
        numbers = []
    return Page(wide_pt * POINT_MM, high_pt * POINT_MM, tuple(paths))
