"""The formboard: every run at its true length, with what lies on it and what ends at it.

Answers: where on the board do I lay each run, where are splices, ties and supports, which wire goes where?
Units:   millimetres of the board; `scale` of them are one millimetre of a small drawing.
Touches: nothing.
Beside:  `pinproof.harness.board` has the places; `sheets` cuts the drawing up for paper.

Our own signs: a run is a light band as broad as its bundle with a thin line in its middle, which is what is measured
along; a break-out a small ring, an end an open square, a stud a ring with a dot, a plug a box with its mouth outward;
a splice a filled lens; a tie two short strokes across; a support a small open triangle below.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from pinproof.drawings.measure import drawable, reach_mm, width_mm, wrap
from pinproof.drawings.plot import Box, Plot, Point, Room
from pinproof.harness.board import Board, BoardPlace, BoardRun, BoardSplice, BoardUnit, Mark

KINDS = {"plug": "plug ", "bus": "bus ", "stud": "stud ", "lead": "", "joint": "joint "}
LEADER_MM = 1.5  # in text sizes: a label farther than this from its point gets a line to it


@dataclass(frozen=True)
class Look:
    """Sizes of letters and signs. [mm on the sheet]"""

    place: float
    text: float
    wide: float  # of a label
    sign: float
    line: float
    reach: float  # how far a label may stand from its point
    detail: bool


FULL = Look(place=6.0, text=3.8, wide=118.0, sign=4.0, line=0.35, reach=260.0, detail=True)
SMALL = Look(place=2.7, text=2.2, wide=34.0, sign=1.0, line=0.25, reach=40.0, detail=False)


def board_plot(board: Board, *, scale: float = 1.0, look: Look = FULL, taken: Sequence[Box] = ()) -> tuple[Plot, int]:
    """The drawing of a board, and how many labels found no room on it.

    Parameters
    ----------
    board : Board
    scale : float
        Millimetres of the board for one of the drawing; 1 is true size.
    look : Look
        FULL for the board that is built on, SMALL for an overview.
    taken : sequence of Box, optional
        Where no label may stand. [mm on the sheet]
    """
    plot, room = Plot(), Room()
    for box in taken:
        room.take(box)
    ways = [(run, [(x / scale, y / scale) for x, y in run.line_mm]) for run in board.runs]
    for run, line in ways:
        plot.band(line, max(run.diameter_mm / scale, 1.2 * look.sign if look.detail else 0.8))
    for run, line in ways:
        plot.polyline(line, look.line)
        room.take_line(line, max(run.diameter_mm / scale / 2.0, look.sign) + 0.8)
    if look.detail:
        for mark in board.ties:
            _tie(plot, mark, look)
        for mark in board.supports:
            _support(plot, mark, look)
    missing = 0
    ends = {place.place: _end_sign(plot, room, place, scale, look) for place in board.places}
    for place in sorted(board.places, key=lambda one: one.runs != 1):  # ends first: their labels stand beyond them
        missing += _place_label(plot, room, place, ends[place.place], scale, look)
    for splice in board.splices:
        missing += _splice(plot, room, splice, scale, look)
    for run, line in ways:
        missing += _run_label(plot, room, run, line, look)
    return plot, missing


def stretched(board: Board, upward: float) -> Board:
    """The board with heights changed by a factor: for a key only, since lengths are then no longer true."""
    return _moved(board, lambda at: (at[0], upward * at[1]))


def shifted(board: Board, right: float, down: float) -> Board:
    """The board moved as a whole."""
    return _moved(board, lambda at: (at[0] + right, at[1] + down))


def _moved(board: Board, to: Callable[[Point], Point]) -> Board:
    return replace(
        board,
        places=tuple(replace(one, at_mm=to(one.at_mm)) for one in board.places),
        runs=tuple(replace(one, line_mm=tuple(map(to, one.line_mm))) for one in board.runs),
        splices=tuple(replace(one, at_mm=to(one.at_mm)) for one in board.splices),
        ties=tuple(replace(one, at_mm=to(one.at_mm)) for one in board.ties),
        supports=tuple(replace(one, at_mm=to(one.at_mm)) for one in board.supports),
    )


def _tie(plot: Plot, mark: Mark, look: Look) -> None:
    (x, y), (dx, dy) = mark.at_mm, mark.heading
    arm = look.sign * 0.9
    for off in (-0.6, 0.6):
        a, b = x + off * dx, y + off * dy
        plot.line((a - dy * arm, b + dx * arm), (a + dy * arm, b - dx * arm), 0.25)


def _support(plot: Plot, mark: Mark, look: Look) -> None:
    (x, y), (dx, dy) = mark.at_mm, mark.heading
    nx, ny = (-dy, dx) if dx >= 0.0 else (dy, -dx)  # downward of a level run
    s = look.sign
    tip = (x + nx * 0.4 * s, y + ny * 0.4 * s)
    plot.shape(
        [tip, (x + nx * 1.5 * s - dx * 0.7 * s, y + ny * 1.5 * s - dy * 0.7 * s),
         (x + nx * 1.5 * s + dx * 0.7 * s, y + ny * 1.5 * s + dy * 0.7 * s)],
        stroke=0.3,
    )  # fmt: skip


def _end_sign(plot: Plot, room: Room, place: BoardPlace, scale: float, look: Look) -> Point:
    """Draw what a place is; return the point from which its label keeps off."""
    x, y = place.at_mm[0] / scale, place.at_mm[1] / scale
    s = look.sign
    kinds = {unit.kind for unit in place.units}
    if place.runs != 1:
        plot.circle((x, y), 0.75 * s, stroke=1.5 * look.line, fill=0.0)
        if "stud" in kinds:
            plot.circle((x, y), 0.25 * s, fill=1.0)
        room.take(Box(x - s, y - s, x + s, y + s))
        return x, y
    dx, dy = place.heading
    if kinds & {"plug", "bus"}:
        long, half = 3.2 * s, 1.6 * s
        back = [(x - dy * half, y + dx * half), (x + dy * half, y - dx * half)]
        front = [(a + dx * long, b + dy * long) for a, b in back]
        plot.polyline([front[0], back[0], back[1], front[1]], 2.0 * look.line)
        for off in (-0.5, 0.0, 0.5):
            foot = (x + dx * 0.9 * s - dy * off * 2.0 * s, y + dy * 0.9 * s + dx * off * 2.0 * s)
            plot.line(foot, (foot[0] + dx * 1.5 * s, foot[1] + dy * 1.5 * s), 1.5 * look.line)
    elif "stud" in kinds:
        long = 1.8 * s
        plot.circle((x + dx * 0.9 * s, y + dy * 0.9 * s), 0.9 * s, stroke=1.5 * look.line)
        plot.circle((x + dx * 0.9 * s, y + dy * 0.9 * s), 0.3 * s, fill=1.0)
    else:
        long, half = 1.4 * s, 0.7 * s
        corners = [(x - dy * half, y + dx * half), (x + dy * half, y - dx * half)]
        plot.shape([*corners, *((a + dx * long, b + dy * long) for a, b in reversed(corners))], stroke=1.5 * look.line)
    tip = (x + dx * long, y + dy * long)
    room.take_line([(x, y), tip], 1.7 * s)
    return tip


def unit_lines(unit: BoardUnit, most_mm: float, size_mm: float) -> list[str]:
    """One unit with its wires, broken only between them: "plug tcu: A1 W030 YE · A2 W035 BUBK"."""
    lines, line = [], drawable(f"{KINDS[unit.kind]}{unit.name}:")
    for index, each in enumerate(unit.ends):
        item = drawable(" ".join(part for part in each if part))
        joined = f"{line}{' · ' if index else ' '}{item}"
        if width_mm(joined, size_mm) > most_mm and index:
            lines.append(line)
            joined = item
        line = joined
    return [*lines, line]


def _place_label(plot: Plot, room: Room, place: BoardPlace, tip: Point, scale: float, look: Look) -> int:
    lines = [(place.place, look.place, "strong")]
    if look.detail:
        for unit in place.units:
            lines += [(each, look.text, "regular") for each in unit_lines(unit, look.wide, look.text)]
    width, height = _size(lines)
    x, y = place.at_mm[0] / scale, place.at_mm[1] / scale
    gap = 0.7 * look.place
    if place.runs == 1:
        dx, dy = place.heading
        gap = 1.8 * look.sign + 0.6 * look.text
        left = tip[0] + gap if dx > 0.1 else tip[0] - gap - width if dx < -0.1 else tip[0] - width / 2.0
        top = tip[1] - height / 2.0 if abs(dy) < 0.1 else tip[1] - (0.0 if dy > 0.0 else height)
        wishes = [(left, top)]
    else:
        wishes = []
        for shift in (0.0, -0.5, 0.5):
            left = x - width / 2.0 + shift * width
            wishes += [(left, y + gap + look.sign), (left, y - gap - look.sign - height)]
    return _label(plot, room, lines, wishes, tip, look)


def _splice(plot: Plot, room: Room, splice: BoardSplice, scale: float, look: Look) -> int:
    (x, y), (dx, dy) = (splice.at_mm[0] / scale, splice.at_mm[1] / scale), splice.heading
    s = look.sign
    long, half = 2.4 * s, 0.9 * s
    plot.shape(
        [(x - dx * long, y - dy * long), (x - dy * half, y + dx * half), (x + dx * long, y + dy * long),
         (x + dy * half, y - dx * half)],
        fill=1.0,
    )  # fmt: skip
    room.take_line([(x - dx * long, y - dy * long), (x + dx * long, y + dy * long)], s)
    lines = [(splice.splice, look.text, "strong")]
    if look.detail:
        tube = "" if splice.shrink_mm is None else f", tube {splice.shrink_mm[0]:g}/{splice.shrink_mm[1]:g} mm"
        told = f"{splice.splice} {splice.net}, {splice.from_mm} mm from {splice.from_place}{tube}"
        lines = [(each, look.text, "strong") for each in wrap(drawable(told), look.wide, look.text, "strong")]
        lines += [(each, look.text, "regular") for each in wrap(" · ".join(splice.wires), look.wide, look.text)]
    width, height = _size(lines)
    gap = 1.2 * s
    wishes = [(x - width / 2.0, y - gap - s - height), (x - width / 2.0, y + gap + s)]
    return _label(plot, room, lines, wishes, (x, y), look)


def run_words(run: BoardRun) -> tuple[str, str]:
    """A run's name with its length, and what covers it."""
    extra = f" ({', '.join(run.words)})" if run.words else ""
    count = f"{len(run.wires)} wire" + ("s" if len(run.wires) != 1 else "")
    sleeve = "no sleeve fits" if run.sleeve_mm is None else f"sleeve {run.sleeve_mm:g} mm"
    return f"{run.run}  {run.length_mm} mm{extra}", f"{sleeve}, {count}"


def _run_label(plot: Plot, room: Room, run: BoardRun, line: Sequence[Point], look: Look) -> int:
    head, cover = run_words(run)
    lines = [(drawable(head), look.text, "strong")]
    if look.detail:
        lines.append((drawable(cover), look.text, "regular"))
    width, height = _size(lines)
    a, b = max(itertools.pairwise(line), key=lambda pair: math.dist(*pair))
    x, y = (a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0
    gap = max(look.sign, run.diameter_mm / 2.0 if look.detail else 0.0) + 0.4 * look.text
    half = abs(b[0] - a[0]) / 2.0
    wishes = []
    for shift in (0.0, -0.3, 0.3, -0.6, 0.6):
        left = x - width / 2.0 + shift * half
        wishes += [(left, y - gap - height), (left, y + gap)]
    return _label(plot, room, lines, wishes, (x, y), look, on_line=(a, b))


def _size(lines: Sequence[tuple[str, float, str]]) -> tuple[float, float]:
    width = max(width_mm(drawable(text), size, weight) for text, size, weight in lines)
    return width, sum(1.22 * size for _, size, _ in lines)


def _label(
    plot: Plot, room: Room, lines: Sequence[tuple[str, float, str]], wishes: Sequence[Point], point: Point, look: Look,
    on_line: tuple[Point, Point] | None = None,
) -> int:  # fmt: skip
    """Write a label where there is room, with a line to its point if it stands away; 1 if there is none."""
    width, height = _size(lines)
    rim = 0.35 * look.text
    wished = [(left - rim, top - rim) for left, top in wishes]
    box = room.find(width + 2 * rim, height + 2 * rim, wished, point, look.reach)
    if box is None:
        return 1
    y = box.top + rim
    for text, size, weight in lines:
        y += 1.22 * size
        plot.text(box.left + rim, y - 0.3 * size + reach_mm(size)[1] * 0.25, drawable(text), size, weight=weight)
    target = point
    if on_line is not None:  # a run's label may point to any spot of its straight stretch
        (ax, ay), (bx, by) = on_line
        middle = ((box.left + box.right) / 2.0, (box.top + box.bottom) / 2.0)
        long = math.dist((ax, ay), (bx, by)) or 1.0
        share = ((middle[0] - ax) * (bx - ax) + (middle[1] - ay) * (by - ay)) / long**2
        share = min(max(share, 0.1), 0.9)
        target = (ax + share * (bx - ax), ay + share * (by - ay))
    edge = (min(max(target[0], box.left), box.right), min(max(target[1], box.top), box.bottom))
    if math.dist(edge, target) > LEADER_MM * look.text + look.sign:
        plot.line(edge, target, 0.18, "1.2 0.8" if look.detail else "0.6 0.5")
        plot.circle(target, 0.3 * look.sign if look.detail else 0.35, fill=1.0)
    return 0
