"""What is asked of every fault of a line: which levels, in which key states and reading spaces, at which corners.

Answers: the corners of all causes in one list, and where the edges of every window lie at each of them.
Units:   volts; readings and levels in the reading space.
Touches: nothing.
Beside:  `severity` answers; `effects` reads the answers.

Where edges were found by substitution on this pin they move with the pulls, the reference and the supply. A reading is
at or below such an edge for some truck exactly if it is at some corner of these (the sign of reading − edge is a
quotient of functions that are affine in each), so each corner has levels of its own.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pinproof.errors import NoSolution
from pinproof.faults.severity import Causes, Levels
from pinproof.network.box import Reading, Sources
from pinproof.observe import ReadingSpace, shared_parameters, spaces_of, windows_in
from pinproof.observe.pin import node_reading, sources_of
from pinproof.proof.judging import Judged
from pinproof.proof.situations import Requirement, Situation, requirement, situations_of
from pinproof.proof.taught import judge_taught
from pinproof.verdict import Window
from pinproof.wiring import LineView

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
MOST_CAUSES = 12
SLICES = 16
"""Slices of a temperature that several resistors share; severities are then bracketed between outer and inner sets."""


@dataclass(frozen=True)
class Block:
    """One key state and reading space, with what each situation may read there."""

    key_state: str
    space: ReadingSpace
    requirements: tuple[Requirement, ...]


@dataclass(frozen=True)
class Group:
    """One way to fill the box: pulls held, a slice of the shared temperature. `outer`, `inner`: which bound it is."""

    pulls_ohm: tuple[tuple[str, float], ...]
    pull_row: int
    temp_c: tuple[float, float] | None
    outer: bool
    inner: bool


@dataclass(frozen=True, eq=False)
class Questions:
    """Everything about a line that all its faults share.

    `forbidden` (S, K, W): the situation may not read this window's command. `required` (S, K, W): it must read this
    window's meaning and no other. `kinds`, `meanings` (W,).
    """

    view: LineView
    situations: tuple[Situation, ...]
    blocks: tuple[Block, ...]
    groups: tuple[Group, ...]
    windows: tuple[Window, ...]
    forbidden: BoolArray
    required: BoolArray
    taught: dict[str, tuple[Window, ...]]

    @property
    def operated(self) -> list[frozenset[str]]:
        """The situations as sets of contacts."""
        return [each.key for each in self.situations]

    @property
    def in_run(self) -> list[int]:
        """Blocks of key state run."""
        return [k for k, block in enumerate(self.blocks) if block.key_state == "run"]

    @property
    def sorts(self) -> dict[str, list[int]]:
        """Windows by kind: command, idle, fault."""
        return {kind: [w for w, each in enumerate(self.windows) if each.kind == kind] for kind in
                ("command", "idle", "fault")}  # fmt: skip


def questions_of(view: LineView) -> Questions:
    """The questions of a line that can be proven.

    Raises
    ------
    NoSolution
        More situations, or more causes that vary, than are enumerated.
    """
    truck, line = view.truck, view.line
    situations = situations_of(truck, line)
    judged: tuple[Judged, ...] = judge_taught(view) if line.free else ()
    taught: dict[str, tuple[Window, ...]] = {each.space.name: each.windows for each in judged}
    blocks = tuple(
        Block(state, space, tuple(requirement(truck, line, each, state) for each in situations))
        for space in spaces_of(truck, view.input)
        for state in truck.supply.states
    )
    space = blocks[0].space
    windows = taught[space.name] if line.free else windows_in(truck, line, space)
    shape = (len(situations), len(blocks), len(windows))
    forbidden, required = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    for k, block in enumerate(blocks):
        for s, need in enumerate(block.requirements):
            for w, window in enumerate(windows):
                forbidden[s, k, w] = window.kind == "command" and window.meaning not in need.allowed
                required[s, k, w] = need.how == "inside" and bool(need.means) and window.meaning == need.means
    return Questions(view, situations, blocks, _groups(view), windows, forbidden, required, taught)


def _groups(view: LineView) -> tuple[Group, ...]:
    wanted = set(shared_parameters(view.truck, view.line)) if not view.line.free else set()
    held = [each for each in view.branches if each.id in wanted]
    choices = list(itertools.product(*(dict.fromkeys((each.low_ohm, each.high_ohm)) for each in held)))
    temperature = view.truck.temperature
    slices: list[tuple[tuple[float, float] | None, bool, bool]] = [(None, True, True)]
    if view.shares_temperature and temperature.low < temperature.high:
        cuts = np.linspace(temperature.low, temperature.high, SLICES + 1).tolist()
        slices = [(pair, True, False) for pair in itertools.pairwise(cuts)]
        slices += [((cut, cut), False, True) for cut in cuts]
    return tuple(
        Group(tuple(zip((each.id for each in held), ohms, strict=True)), row, temp_c, outer, inner)
        for row, ohms in enumerate(choices)
        for temp_c, outer, inner in slices
    )


def causes_of(asked: Questions, view: LineView) -> tuple[Causes, list[dict[str, float]]]:
    """Corners of all causes of a view, block by block, and each corner's values by id."""
    volts, divisors, block_of, values = [], [], [], []
    boxes: list[tuple[Sources, Reading]] = []
    for k, block in enumerate(asked.blocks):
        ids, sources = sources_of(view, block.key_state, block.space)
        reading = node_reading(view, block.space)
        boxes.append((sources, reading))
        corners = _corners(sources, view.line.id)
        volts.append(sources.rail_v(corners))
        divisors.append(reading.divisors(sources, corners))
        block_of += [k] * len(corners)
        values += [dict(zip(ids, row, strict=True)) for row in corners.tolist()]
    causes = Causes(np.concatenate(volts), np.concatenate(divisors), np.array(block_of, dtype=np.intp), tuple(boxes))
    return causes, values


def _corners(sources: Sources, line_id: str) -> FloatArray:
    if len(sources.varying) > MOST_CAUSES:
        raise NoSolution(
            f"Line {line_id} depends on {len(sources.varying)} supplies, drops and offsets that vary, more than the "
            f"{MOST_CAUSES} whose corners are listed.",
            cure="State those that you know exactly as one number.",
        )
    ends = [dict.fromkeys(pair) for pair in zip(sources.cause_low.tolist(), sources.cause_high.tolist(), strict=True)]
    return np.array(list(itertools.product(*ends))).reshape(-1, sources.cause_low.size)


def levels_of(asked: Questions, causes: Causes, values: list[dict[str, float]]) -> tuple[Levels, Levels]:
    """Levels of both sides, 2 W each: the windows at their largest, then at their surest (beyond them, strictly)."""
    count = len(asked.windows)
    rows = max(group.pull_row for group in asked.groups) + 1
    pulls = {group.pull_row: dict(group.pulls_ohm) for group in asked.groups}
    below, above = (np.empty((rows, len(causes.block), 2 * count)) for _ in range(2))
    wanted = set(shared_parameters(asked.view.truck, asked.view.line)) if not asked.view.line.free else set()
    known: dict[object, FloatArray] = {}
    for row in range(rows):
        for corner, k in enumerate(causes.block.tolist()):
            space = asked.blocks[k].space
            shared = pulls[row] | {name: value for name, value in values[corner].items() if name in wanted}
            key = (space.name, tuple(sorted(shared.items())))
            if key not in known:
                known[key] = np.array([_extents(each, space) for each in _windows(asked, space, shared)])
            at = known[key]
            below[row, corner] = np.concatenate([at[:, 1], at[:, 2]])
            above[row, corner] = np.concatenate([at[:, 0], at[:, 3]])
    strict = np.repeat([False, True], count)
    return Levels(below, strict), Levels(above, strict)


def _windows(asked: Questions, space: ReadingSpace, shared: dict[str, float]) -> tuple[Window, ...]:
    if asked.view.line.free:
        there = {each.meaning: each for each in asked.taught[space.name]}
        return tuple(there[each.meaning] for each in asked.windows)
    return windows_in(asked.view.truck, asked.view.line, space, shared or None)


def _extents(window: Window, space: ReadingSpace) -> tuple[float, float, float, float]:
    """Largest extent (low, high) and guaranteed one, where a reading is clipped to 0 … full scale.

    An edge at or beyond a rail is no edge; a window wholly beyond one cannot be reached.
    """
    out: list[float] = []
    for low, high in (window.largest(), window.guaranteed()):
        if low > space.full_scale or high < 0.0:
            out += [np.inf, -np.inf]
        else:
            out += [-np.inf if low <= 0.0 else low, np.inf if high >= space.full_scale else high]
    return out[0], out[1], out[2], out[3]
