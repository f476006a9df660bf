"""A tree of runs spread out on a plane, every run at its true length, none crossing another.

Answers: where does each place lie on the board, and along which line does each run go?
Units:   millimetres; x to the right, y downward.
Touches: nothing. The same numbers give the same board.
Beside:  `board` joins this to a truck and its harness; `pinproof.drawings.formboard` draws it.
Sources: plane geometry.

The longest way through the tree is the trunk: one level line. Each branch leaves it at 45°, climbs to a lane of its
own and runs along the trunk, so that the board stays long and shallow like a bench. Branches are laid from the far end
to the near one, each in the lowest lane that is free over all its length, above or below the trunk, so a branch never
meets one that was laid before. Several branches of one place fan out first: each climbs beside the one before it.

Why nothing crosses: a branch climbs along a line y = x − c. What was laid earlier on that side lies to the right of
greater c, or below the branch's lane over the whole length of the branch.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from pinproof.harness.tree import Tree

Point = tuple[float, float]
CLIMB_DEG = 45.0
DIAGONAL = math.sqrt(2.0)


@dataclass(frozen=True)
class Spacing:
    """How far things stand apart on the board. [mm]"""

    lane_mm: float = 90.0  # from lane to lane
    fan_mm: float = 16.0  # between branches of one place while they climb
    room_mm: float = 150.0  # kept free beyond a branch's end, for its label
    piece_mm: float = 120.0  # between pieces that no wire joins


@dataclass(frozen=True)
class Spread:
    """Where places and runs lie. `ways` goes from a run's first place to its second; `trunk` lists the trunks' runs."""

    at_mm: tuple[Point, ...]
    ways_mm: tuple[tuple[Point, ...], ...]
    trunk: frozenset[int]
    piece: tuple[int, ...]  # of each place; pieces are not joined by any run


def spread_out(places: int, runs: Sequence[tuple[int, int, int]], spacing: Spacing | None = None) -> Spread:
    """Spread a tree, or several, on a plane.

    Parameters
    ----------
    places : int
        How many places, numbered from 0.
    runs : sequence of (int, int, int)
        Two places and the length between them. [mm]
    spacing : Spacing, optional

    Returns
    -------
    Spread
        Every run's line is as long as the run, to rounding of the last digit.

    Raises
    ------
    ValueError
        If the runs form a ring, or a run is not longer than 0.

    >>> spread_out(2, [(0, 1, 500)]).at_mm
    ((0.0, 0.0), (500.0, 0.0))
    """
    rules = spacing or Spacing()
    tree = Tree(places, runs)
    if tree.ring():
        raise ValueError("the runs form a ring; a board needs a tree")
    if any(length <= 0 for _, _, length in runs):
        raise ValueError("every run must be longer than 0 mm")
    at: list[Point] = [(0.0, 0.0)] * places
    ways: list[tuple[Point, ...]] = [()] * len(tree.runs)
    trunk: set[int] = set()
    piece = [-1] * places
    top = 0.0
    for start in range(places):
        if piece[start] >= 0:
            continue
        number = max(piece) + 1
        members = tree.rooted(start).order
        best: _Laying | None = None
        path = _longest(tree, start)
        for way in (path, path[::-1]):
            laid = _Laying(tree, rules)
            laid.lay_trunk(way)
            if best is None or laid.depth_mm < best.depth_mm - 1e-9:
                best = laid
        assert best is not None
        least = min([0.0, *(y for line in best.ways.values() for _, y in line)])
        most = max([0.0, *(y for line in best.ways.values() for _, y in line)])
        down = 0.0 if number == 0 else top - least + rules.piece_mm
        for place in members:
            piece[place] = number
            x, y = best.at[place]
            at[place] = (x, y + down)
        for run, line in best.ways.items():
            ways[run] = tuple((x, y + down) for x, y in line)
        trunk |= best.trunk
        top = down + most
    return Spread(tuple(at), tuple(ways), frozenset(trunk), tuple(piece))


def _longest(tree: Tree, start: int) -> list[int]:
    """Places on the longest way of the tree that `start` belongs to; of equal ones the first in order."""
    first = max(tree.rooted(start).order, key=lambda one: (tree.rooted(start).far_mm[one], -one))
    seen = tree.rooted(first)
    last = max(seen.order, key=lambda one: (seen.far_mm[one], -one))
    path = [last]
    while path[-1] != first:
        path.append(seen.parent[path[-1]])
    return path if path[0] <= path[-1] else path[::-1]


@dataclass
class _Side:
    """One side of the trunk: what stands there already, as stretches of x with their height."""

    sign: float
    filled: list[tuple[float, float, float]] = field(default_factory=list)

    def height(self, low: float, high: float) -> float:
        """The highest lane that is in use anywhere between two x."""
        return max((top for left, right, top in self.filled if left < high and low < right), default=0.0)


@dataclass
class _Fan:
    """Climbing lines of one place: each next one lies one step to the left. `c` is x − y along the line."""

    c: float
    step: float

    def next(self) -> float:
        found = self.c
        self.c -= self.step
        return found


class _Laying:
    """One tree while it is laid, from one end of its trunk. Branches are laid with y outward, turned at the end."""

    def __init__(self, tree: Tree, rules: Spacing) -> None:
        self.tree, self.rules = tree, rules
        self.at: dict[int, Point] = {}
        self.ways: dict[int, tuple[Point, ...]] = {}
        self.trunk: set[int] = set()
        self.sides = (_Side(-1.0), _Side(1.0))
        self._reach: dict[tuple[int, int], tuple[int, int]] = {}

    @property
    def depth_mm(self) -> float:
        """From the uppermost line to the lowest."""
        heights = [y for line in self.ways.values() for _, y in line] or [0.0]
        return max(heights) - min(heights)

    def lay_trunk(self, path: Sequence[int]) -> None:
        """Lay the trunk along these places, and everything that hangs on it."""
        x = 0.0
        spots = [0.0]
        self.at[path[0]] = (0.0, 0.0)
        for one, other in itertools.pairwise(path):
            run = self._run(one, other)
            x += self.tree.runs[run][2]
            spots.append(x)
            self.at[other] = (x, 0.0)
            self._keep(run, one, ((spots[-2], 0.0), (x, 0.0)), 1.0)
            self.trunk.add(run)
        on_path = set(path)
        for index in range(len(path) - 1, -1, -1):
            mine = self._branches(path[index], on_path)
            if not mine:
                continue
            gap = spots[index] - spots[index - 1] if index else self.rules.lane_mm
            step = self._step(path[index], mine, gap)
            fans = [_Fan(spots[index], step) for _ in self.sides]
            for branch in mine:
                reach = self._depth(path[index], branch)[0] + self.rules.room_mm
                heights = [side.height(spots[index] - gap, spots[index] + reach) for side in self.sides]
                chosen = 0 if heights[0] <= heights[1] else 1
                self._lay_branch(path[index], branch, (spots[index], 0.0), self.sides[chosen], fans[chosen], 0.0)

    def _run(self, one: int, other: int) -> int:
        return next(run for place, run in self.tree.beside[one] if place == other)

    def _keep(self, run: int, first: int, line: Sequence[Point], sign: float) -> None:
        turned = [(x, sign * y + 0.0) for x, y in line]
        self.ways[run] = tuple(turned if self.tree.runs[run][0] == first else turned[::-1])

    def _branches(self, place: int, known: set[int]) -> list[int]:
        """Neighbours that are not on the way here, the longest branch first: it takes the lowest lane."""
        beside = [other for other, _ in self.tree.beside[place] if other not in known]
        return sorted(beside, key=lambda other: (-self._depth(place, other)[0], other))

    def _depth(self, before: int, place: int) -> tuple[int, int]:
        """Length to the farthest end beyond a branch, and how many ends it has. [mm]"""
        known = self._reach.get((before, place))
        if known is not None:
            return known
        todo, order = [(before, place)], []
        while todo:
            pair = todo.pop()
            order.append(pair)
            todo += [(pair[1], other) for other, _ in self.tree.beside[pair[1]] if other != pair[0]]
        for up, here in reversed(order):
            below = [self._reach[here, other] for other, _ in self.tree.beside[here] if other != up]
            own = self.tree.runs[self._run(up, here)][2]
            far = own + max((each for each, _ in below), default=0)
            self._reach[up, here] = (far, max(sum(ends for _, ends in below), 1))
        return self._reach[before, place]

    def _step(self, place: int, branches: Sequence[int], gap: float) -> float:
        """Distance between climbing lines of one place, so that all of them keep clear of what lies before it."""
        ends = sum(self._depth(place, branch)[1] for branch in branches)
        return min(self.rules.fan_mm, gap / (ends + 1))

    def _lay_branch(
        self, root: int, branch: int, start: Point, side: _Side, fan: _Fan, lane: float, knee: float | None = None
    ) -> None:
        """Lay one branch and all that hangs on it.

        `lane` is the height of the line that it leaves, `knee` the height up to which that line still fans out: a
        branch that leaves it below must have fanned out there too, else it would meet it.
        """
        path = [root, branch]
        while True:  # along the deepest way
            further = [other for other, _ in self.tree.beside[path[-1]] if other != path[-2]]
            if not further:
                break
            path.append(min(further, key=lambda other: (-self._depth(path[-1], other)[0], other)))
        lengths = [self.tree.runs[self._run(one, other)][2] for one, other in itertools.pairwise(path)]
        total = float(sum(lengths))
        x, y = start
        c = fan.next()
        left, right = min(x, c + y) - fan.step, x + total + self.rules.room_mm
        height = max(side.height(left, right), lane) + self.rules.lane_mm
        bend = y if abs(x - y - c) < 1e-9 else y + self.rules.lane_mm / 2.0 if knee is None else knee
        line = self._line(start, c, height, total, bend)
        side.filled.append((left, right, height))
        marks = [0.0]
        for length in lengths:
            marks.append(marks[-1] + length)
        for index, (one, other) in enumerate(itertools.pairwise(path)):
            piece = cut_line(line, marks[index], marks[index + 1])
            self.at[other] = (piece[-1][0], side.sign * piece[-1][1] + 0.0)
            self._keep(self._run(one, other), one, piece, side.sign)
        corner = length_mm(line[:-1]) if len(line) > 2 else 0.0  # from here on it runs level, if it gets that far
        level = abs(line[-1][1] - height) < 1e-9
        on_path = set(path)
        for index in range(len(path) - 2, 0, -1):
            mine = self._branches(path[index], on_path)
            if not mine:
                continue
            spot = cut_line(line, 0.0, marks[index])[-1]
            if level and marks[index] > corner + 1e-9:
                gap = marks[index] - max(corner, marks[index - 1])
                own = _Fan(spot[0] - spot[1], self._step(path[index], mine, gap))
            else:
                own = fan
            for each in mine:
                below = bend if own is fan and spot[1] < bend - 1e-9 else None
                self._lay_branch(path[index], each, spot, side, own, height, below)

    def _line(self, start: Point, c: float, height: float, total: float, bend: float) -> list[Point]:
        """The way of a branch: to its climbing line, up along it, then level; as long as `total`."""
        points = [start]
        if bend > start[1]:
            points.append((c + bend, bend))
        points.append((c + height, height))
        points.append((c + height + total, height))
        return list(cut_line(points, 0.0, total))


def length_mm(line: Sequence[Point]) -> float:
    """Length along a line. [mm]"""
    return sum(math.dist(one, other) for one, other in itertools.pairwise(line))


def cut_line(line: Sequence[Point], first_mm: float, last_mm: float) -> tuple[Point, ...]:
    """The stretch of a line between two distances from its start. [mm]

    >>> cut_line([(0.0, 0.0), (10.0, 0.0), (10.0, 10.0)], 5.0, 12.0)
    ((5.0, 0.0), (10.0, 0.0), (10.0, 2.0))
    """
    found: list[Point] = [_along(line, first_mm)]
    done = 0.0
    for one, other in itertools.pairwise(line):
        done += math.dist(one, other)
        if first_mm + 1e-9 < done < last_mm - 1e-9:
            found.append(other)
    found.append(_along(line, last_mm))
    return tuple(found)


def _along(line: Sequence[Point], at_mm: float) -> Point:
    done = 0.0
    for one, other in itertools.pairwise(line):
        step = math.dist(one, other)
        if at_mm <= done + step + 1e-9 and step > 0.0:
            share = min(max((at_mm - done) / step, 0.0), 1.0)
            return one[0] + share * (other[0] - one[0]), one[1] + share * (other[1] - one[1])
        done += step
    return line[-1]


def spot_on(line: Sequence[Point], at_mm: float) -> tuple[Point, Point]:
    """A point of a line and the direction of the line there, as a unit vector."""
    point = _along(line, at_mm)
    done = 0.0
    for one, other in itertools.pairwise(line):
        step = math.dist(one, other)
        if at_mm <= done + step + 1e-9 and step > 0.0:
            return point, ((other[0] - one[0]) / step, (other[1] - one[1]) / step)
        done += step
    return point, (1.0, 0.0)


def crossings(lines: Sequence[Sequence[Point]], joined: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Pairs of lines that touch anywhere but in a place that both end in. `joined` has the two places of each line."""
    found = []
    for first, line in enumerate(lines):
        for second in range(first + 1, len(lines)):
            shared = set(joined[first]) & set(joined[second])
            if _meet(line, lines[second], bool(shared)):
                found.append((first, second))
    return found


def _meet(line: Sequence[Point], other: Sequence[Point], share_end: bool) -> bool:
    for a, b in itertools.pairwise(line):
        for c, d in itertools.pairwise(other):
            if max(a[0], b[0]) < min(c[0], d[0]) or max(c[0], d[0]) < min(a[0], b[0]):
                continue
            hit = _touch(a, b, c, d)
            if hit is None:
                continue
            ends = [p for p in (line[0], line[-1]) if min(math.dist(p, other[0]), math.dist(p, other[-1])) < 1e-6]
            if share_end and any(math.dist(hit, p) < 1e-6 for p in ends):
                continue
            return True
    return False


def _touch(a: Point, b: Point, c: Point, d: Point) -> Point | None:
    """Where two stretches meet; of an overlap its middle."""
    ux, uy, vx, vy = b[0] - a[0], b[1] - a[1], d[0] - c[0], d[1] - c[1]
    wx, wy = c[0] - a[0], c[1] - a[1]
    cross = ux * vy - uy * vx
    scale = math.hypot(ux, uy) * math.hypot(vx, vy)
    if abs(cross) > 1e-9 * scale:
        s, t = (wx * vy - wy * vx) / cross, (wx * uy - wy * ux) / cross
        if -1e-9 <= s <= 1 + 1e-9 and -1e-9 <= t <= 1 + 1e-9:
            return a[0] + s * ux, a[1] + s * uy
        return None
    if abs(wx * uy - wy * ux) > 1e-6 * math.hypot(ux, uy):
        return None
    square = ux * ux + uy * uy
    if square == 0.0:
        return None
    low, high = sorted(((wx * ux + wy * uy) / square, ((d[0] - a[0]) * ux + (d[1] - a[1]) * uy) / square))
    low, high = max(low, 0.0), min(high, 1.0)
    if low > high + 1e-9:
        return None
    middle = (low + high) / 2.0
    return a[0] + middle * ux, a[1] + middle * uy
