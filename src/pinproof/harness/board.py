"""A laid-out harness on its board: places, runs, splices, ties and supports as points of a plane.

Answers: what lies where on the formboard, and what is written at each end?
Units:   millimetres, x to the right, y downward; `_mm` of the harness are whole numbers.
Touches: nothing.
Beside:  `formboard` spreads the runs out, `results` has the harness.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pinproof.design.model import Truck
from pinproof.harness.formboard import Point, Spacing, Spread, spot_on, spread_out
from pinproof.harness.results import Harness, RunBundle, Wire, WireEnd

BREAKOUT_TIE_MM = 20.0  # from a break-out to its tie: common practice, no source


@dataclass(frozen=True)
class BoardUnit:
    """What wires end in at one place: a plug, a stud, a bus, a joint's way, or a unit's own leads."""

    kind: str  # plug, bus, stud, lead, joint
    name: str
    ends: tuple[tuple[str, str, str], ...]  # cavity, lead or way ("" of a stud), wire, colour code


@dataclass(frozen=True)
class BoardPlace:
    """A place on the board. `heading` is the way in which its one run arrives; (0, 0) where several meet."""

    place: str
    at_mm: Point
    heading: Point
    runs: int
    units: tuple[BoardUnit, ...]


@dataclass(frozen=True)
class BoardRun:
    """A run on the board, from its first place to its second."""

    run: str
    between: tuple[str, str]
    line_mm: tuple[Point, ...]
    length_mm: int
    diameter_mm: float
    sleeve_mm: float | None
    wires: tuple[str, ...]
    words: tuple[str, ...]  # what is special: flex, hot, a joint


@dataclass(frozen=True)
class BoardSplice:
    """A splice in its run."""

    splice: str
    net: str
    from_place: str
    from_mm: int
    at_mm: Point
    heading: Point
    wires: tuple[str, ...]
    shrink_mm: tuple[float, float] | None


@dataclass(frozen=True)
class Mark:
    """A tie or a support across a run."""

    at_mm: Point
    heading: Point


@dataclass(frozen=True)
class Board:
    """The formboard: everything at its true length. `empty` are runs that no wire uses; they are not laid."""

    truck: str
    truck_name: str
    places: tuple[BoardPlace, ...]
    runs: tuple[BoardRun, ...]
    splices: tuple[BoardSplice, ...]
    ties: tuple[Mark, ...]
    supports: tuple[Mark, ...]
    empty: tuple[str, ...]
    pieces: int

    @property
    def long_mm(self) -> float:
        """From the leftmost place to the rightmost. [mm]"""
        xs = [one.at_mm[0] for one in self.places]
        return max(xs) - min(xs) if xs else 0.0


def board_of(truck: Truck, harness: Harness, spacing: Spacing | None = None) -> Board:
    """Lay a harness on a board.

    Parameters
    ----------
    truck : Truck
        The truck that `harness` was laid out from.
    harness : Harness
    spacing : Spacing, optional
        Room between lanes and for labels; it never changes a length.
    """
    bundles = {one.run: one for one in harness.runs}
    laid = [run for run in truck.runs if bundles[run.id].wires]
    used = {end.place for wire in harness.wires for end in (wire.a, wire.b)}
    used |= {place for run in laid for place in run.between}
    names = [place.id for place in truck.places if place.id in used]
    number = {name: index for index, name in enumerate(names)}
    edges = [(number[run.between[0]], number[run.between[1]], bundles[run.id].length_mm) for run in laid]
    spread = spread_out(len(names), edges, spacing)
    joints = {joint.run: joint for joint in truck.joints}
    runs = []
    for index, run in enumerate(laid):
        one = bundles[run.id]
        words: list[str] = [run.environment] if run.environment != "bundle" else []
        words += ["hot"] if run.hot else []
        words += [f"{joints[run.id].kind}, wire length"] if run.id in joints else []
        runs.append(
            BoardRun(
                run.id, run.between, spread.ways_mm[index], one.length_mm, one.diameter_mm, one.sleeve_mm, one.wires,
                tuple(words),
            )
        )  # fmt: skip
    lines = {run.run: run for run in runs}
    return Board(
        harness.truck, harness.truck_name, tuple(_places(harness, names, edges, spread)), tuple(runs),
        tuple(_splices(harness, lines)), tuple(_ties(truck, bundles, lines)), tuple(_supports(truck, bundles, lines)),
        tuple(run.id for run in truck.runs if not bundles[run.id].wires and run.id not in joints),
        max(spread.piece, default=-1) + 1,
    )  # fmt: skip


def _places(
    harness: Harness, names: Sequence[str], edges: Sequence[tuple[int, int, int]], spread: Spread
) -> Iterator[BoardPlace]:
    units = units_at(harness)
    for index, name in enumerate(names):
        mine = [run for run, (u, v, _) in enumerate(edges) if index in (u, v)]
        heading = (0.0, 0.0)
        if len(mine) == 1:
            line = spread.ways_mm[mine[0]]
            inward = edges[mine[0]][0] == index
            along = spot_on(line, 0.0 if inward else float(edges[mine[0]][2]))[1]
            heading = (-along[0], -along[1]) if inward else along
        yield BoardPlace(name, spread.at_mm[index], heading, len(mine), tuple(units.get(name, ())))


def units_at(harness: Harness) -> dict[str, list[BoardUnit]]:
    """For each place what wires end in there, each with its cavities or leads and their wires."""
    found: dict[str, dict[tuple[str, str], list[tuple[str, str, str]]]] = {}
    order = {(one.plug, one.cavity): index for index, one in enumerate(harness.plugs)}
    for wire in harness.wires:
        for end in (wire.a, wire.b):
            if end.side is not None:
                kind, name, mark = unit_of(harness, wire, end)
                found.setdefault(end.place, {}).setdefault((kind, name), []).append((mark, wire.id, wire.colour))
    return {
        place: [
            BoardUnit(kind, name, tuple(sorted(ends, key=lambda each: order.get((name, each[0]), 0))))
            for (kind, name), ends in mine.items()
        ]
        for place, mine in found.items()
    }


def unit_of(harness: Harness, wire: Wire, end: WireEnd) -> tuple[str, str, str]:
    """Kind and name of what a wire's end goes to, and which cavity, lead or way of it."""
    assert end.side is not None
    mine = harness.parts[wire.part].ends[end.side]
    if end.kind == "way" and mine.joint and end.label.startswith(f"{mine.joint} way"):
        return "joint", mine.joint, f"way {mine.way}"
    if end.kind in ("cavity", "bus", "way"):
        plug, _, cavity = end.label.partition(".")
        return ("bus" if end.kind == "bus" else "plug"), plug, cavity
    if mine.net_end is None:
        return "lead", end.label, ""
    known = next(one for one in harness.nets if one.name == wire.net).ends[mine.net_end]
    if end.kind == "stud":
        return "stud", known.unit.id, ""
    if known.terminal == known.unit.id:
        return "lead", known.unit.id, ""
    return "lead", known.unit.id, known.terminal.removeprefix(f"{known.unit.id}.")


def _splices(harness: Harness, lines: dict[str, BoardRun]) -> Iterator[BoardSplice]:
    for one in harness.splices:
        run = lines[one.run]
        at = one.at_mm if one.from_place == run.between[0] else run.length_mm - one.at_mm
        point, heading = spot_on(run.line_mm, float(at))
        yield BoardSplice(
            one.id, one.net, one.from_place, one.at_mm, point, heading, one.wires, one.shrink_mm
        )  # fmt: skip


def _ties(truck: Truck, bundles: dict[str, RunBundle], lines: dict[str, BoardRun]) -> Iterator[Mark]:
    """Ties evenly along each run, closer than the file's `tie`; those that count for a break-out stand beside it."""
    rules = truck.harness
    assert rules is not None
    for name, run in lines.items():
        along = int(run.length_mm / 1000 / rules.tie_m + 1e-9) + 1
        for k in range(along):
            yield Mark(*spot_on(run.line_mm, (k + 0.5) * run.length_mm / along))
        at_breakouts = bundles[name].ties - along
        near = min(BREAKOUT_TIE_MM, run.length_mm / 4.0)
        ends = [near, run.length_mm - near] if at_breakouts == 2 else []
        if at_breakouts == 1:
            meets = [sum(place in other.between for other in lines.values()) > 2 for place in run.between]
            ends = [near] if meets[0] else [run.length_mm - near]
        for at in ends:
            yield Mark(*spot_on(run.line_mm, at))


def _supports(truck: Truck, bundles: dict[str, RunBundle], lines: dict[str, BoardRun]) -> Iterator[Mark]:
    """Supports: the first and the last near the run's ends, the others evenly between."""
    rules = truck.harness
    assert rules is not None
    for name, run in lines.items():
        count = bundles[name].supports
        if count == 1:
            yield Mark(*spot_on(run.line_mm, run.length_mm / 2.0))
            continue
        first = rules.support_end_m * 1000
        step = (run.length_mm - 2 * first) / (count - 1)
        for k in range(count):
            yield Mark(*spot_on(run.line_mm, first + k * step))
