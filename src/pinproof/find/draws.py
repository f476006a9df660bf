"""Many trucks with one thing wrong: the rows of conductances that all hypotheses stand for.

Answers: for drawn trucks, and for small steps of what they share, what conductance has each branch.
Units:   ohms and siemens; severities in ohms or as a factor.
Touches: nothing. The same seed gives the same trucks, for every hypothesis alike.
Beside:  `responses` turns the rows into what a meter or a controller would show.

Hypotheses that leave the netlist as it is, or add a branch between the same nodes, form one group: their rows are
solved together. A group has five kinds of rows, one after another: the drawn trucks of its hypotheses, D for each cell
of a severity; the same with all leaks a step larger; the same with the severity a step larger; the same with all closed
contacts a step larger; then one truck in the middle of the box for each cell, and one for each part that is a standard
deviation off. What is narrow (tolerances, wires) is thus carried as a slope, what is wide (leaks, wear) by drawing it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from pinproof.faults.circuit import Change, contacts_conducting, faulty_view
from pinproof.find.hypotheses import Hypothesis, pin_leak_nodes
from pinproof.wiring import Branch, LineView

FloatArray = npt.NDArray[np.float64]
IndexArray = npt.NDArray[np.intp]
CELLS_PER_DECADE = 6
TIMES_CELLS = 14
PER_CELL = 16
HARD_DRAWS = 512
BEYOND = 10.0  # a severity may lie this far outside the limits of its law
TAIL = 0.1  # with this probability
STEP = 0.25  # of the natural logarithm: step and width of what is drawn wide
LEAST_CLOSED_OHM = 0.02
WIDEST_LEAK_OHM = 100e6
SEED = 20
AS_BUILT = ("sound", "setting")  # hypotheses that change nothing a meter sees


@dataclass(frozen=True, eq=False)
class Rows:
    """Where the drawn trucks of one hypothesis stand among all of them.

    `edges` (J + 1,) of the severity's cells, `per_cell` D; `first` and `first_cell` of its rows and cells.
    """

    hypothesis: Hypothesis
    edges: FloatArray
    per_cell: int
    first: int
    first_cell: int

    @property
    def cells(self) -> int:
        """J."""
        return max(len(self.edges) - 1, 1)

    @property
    def count(self) -> int:
        """Drawn trucks N = J D."""
        return self.cells * self.per_cell

    @property
    def cell_width(self) -> float:
        """Width of a cell, natural logarithm of the severity; 0 without one."""
        return float(math.log(self.edges[1] / self.edges[0])) if len(self.edges) > 1 else 0.0

    @property
    def span(self) -> slice:
        """Its rows."""
        return slice(self.first, self.first + self.count)

    @property
    def cell_span(self) -> slice:
        """Its cells."""
        return slice(self.first_cell, self.first_cell + self.cells)


@dataclass(frozen=True, eq=False)
class Group:
    """Hypotheses that share one netlist. `closed_s` and `open_s`: a column (R,) for each branch, conducting or not."""

    view: LineView
    rows: tuple[Rows, ...]
    closed_s: tuple[FloatArray, ...]
    open_s: dict[int, FloatArray]
    narrow: int
    only_powered: frozenset[str]
    shorts: bool
    places: tuple[IndexArray, ...]
    moving: tuple[int, ...]  # hypotheses in which other contacts conduct
    blown: tuple[tuple[int, IndexArray], ...] = ()  # columns and rows that are open under power, not to an ohmmeter
    kept: dict[str, Any] = field(default_factory=dict, repr=False)

    @property
    def span(self) -> slice:
        """Rows of the group among all drawn trucks."""
        return slice(self.rows[0].first, self.rows[-1].span.stop)

    @property
    def cell_span(self) -> slice:
        """Cells of the group among all."""
        return slice(self.rows[0].first_cell, self.rows[-1].cell_span.stop)

    def split(self, values: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        """Values (R, k) as: drawn (N, k); steps of leaks, severity, contacts (N, k); the parts (P + 1, J, k)."""
        n, j = self.span.stop - self.span.start, self.cell_span.stop - self.cell_span.start
        main = values[: 4 * n].reshape(4, n, *values.shape[1:])
        block = values[4 * n :].reshape(self.narrow + 1, j, *values.shape[1:])
        return main[0], main[1] - main[0], main[2] - main[0], main[3] - main[0], block

    def columns(self, operated: frozenset[str], without: str = "", *, fuse_in: bool = False) -> list[FloatArray]:
        """Conductance of every branch in a situation, (R,) each, with one station unplugged. [S]

        `fuse_in`: the feed's fuse is part of what is looked at.
        """
        usual = contacts_conducting(self.view, Change(), [operated])[0]
        other = [
            (k, contacts_conducting(self.view, self.rows[k].hypothesis.change, [operated])[0]) for k in self.moving
        ]
        out = list(self.closed_s)
        for column, opened in self.open_s.items():
            first, second = (out[column], opened) if usual[column] else (opened, out[column])
            differs = [self.places[k] for k, conducts in other if conducts[column] != usual[column]]
            if differs:
                first = first.copy()
                for place in differs:
                    first[place] = second[place]
            out[column] = first
        if fuse_in:
            for column, place in self.blown:
                out[column] = out[column].copy()
                out[column][place] = 0.0
        if without:
            gone = {each.path for each in self.view.truck.contacts_of(self.view.line) if each.station == without}
            for column, branch in enumerate(self.view.branches):
                if branch.id in gone or branch.id.removesuffix(".resistor") in gone:
                    out[column] = np.zeros_like(out[column])
        return out


@dataclass(frozen=True, eq=False)
class Fleet:
    """The drawn trucks of all hypotheses: N rows in C cells.

    `narrow` names the P parts. `rows` by hypothesis; `repeats`: rows and cells of the first hypothesis that changes
    nothing, again at the end for each other one. `starts` and `cell_of` (N,): first row of each cell, cell of each row.
    """

    groups: tuple[Group, ...]
    rows: dict[str, Rows]
    repeats: int
    as_built: Rows | None
    narrow: tuple[str, ...]
    starts: IndexArray
    counts: IndexArray
    cell_of: IndexArray
    width: FloatArray = field(repr=False)  # (C,) of each cell

    @property
    def count(self) -> int:
        """N."""
        return len(self.cell_of)

    def again(self, values: FloatArray, *, cells: bool = False) -> FloatArray:
        """Values of all rows (or cells) of the groups, with those of hypotheses that repeat others behind them."""
        if not self.repeats or self.as_built is None:
            return values
        own = values[self.as_built.cell_span if cells else self.as_built.span]
        return np.concatenate([values, *[own] * self.repeats])

    def cell_sums(self, values: FloatArray) -> FloatArray:
        """Sums over the rows of each cell."""
        out: FloatArray = np.add.reduceat(values, self.starts, axis=0)
        return out

    def cell_log_means(self, logs: FloatArray) -> FloatArray:
        """Logarithm of the mean of exp over the rows of each cell."""
        top = np.maximum.reduceat(logs, self.starts)
        out: FloatArray = top + np.log(self.cell_sums(np.exp(logs - top[self.cell_of])) / self.counts)
        return out


def signature(hypotheses: Sequence[Hypothesis]) -> tuple[tuple[object, ...], ...]:
    """What the drawn trucks depend on: two lists that agree in it can share a fleet."""
    return tuple((each.key, _limits(each)) for each in hypotheses)


def fleet_of(
    whole: LineView, hypotheses: Sequence[Hypothesis], draws: tuple[int, int] = (PER_CELL, HARD_DRAWS), seed: int = SEED
) -> Fleet:  # fmt: skip
    """Draw the trucks of all hypotheses. `whole` is the view with all branches of its line.

    `draws`: how many for each cell of a severity, and how many for a hard fault.
    """
    own: Hypothesis | None = None
    repeated: list[Hypothesis] = []
    grouped: dict[tuple[object, bool], list[Hypothesis]] = {}
    for each in hypotheses:
        if each.how == "unlisted":
            continue
        if each.how in AS_BUILT:
            if own is not None:
                repeated.append(each)
                continue
            own = each
        grouped.setdefault((each.change.added, each.how == "pin leak"), []).append(each)
    rows: dict[str, Rows] = {}
    at = cell = 0

    def place(each: Hypothesis) -> Rows:
        nonlocal at, cell
        new = Rows(each, _cells(each), draws[0] if each.has_severity else draws[1], at, cell)
        at, cell = at + new.count, cell + new.cells
        rows[each.key] = new
        return new

    streams: dict[tuple[str, int], tuple[FloatArray, FloatArray]] = {}
    groups = []
    for members in grouped.values():
        groups.append(_group(whole, tuple(place(each) for each in members), seed, streams))
    for each in repeated:
        place(each)
    every = list(rows.values())
    counts = np.concatenate([np.full(each.cells, each.per_cell) for each in every])
    return Fleet(
        tuple(groups), rows, len(repeated), rows[own.key] if own is not None else None,
        _narrow_names(groups[0].view), np.concatenate([[0], np.cumsum(counts)[:-1]]), counts,
        np.repeat(np.arange(len(counts)), counts), np.concatenate([np.full(r.cells, r.cell_width) for r in every]),
    )  # fmt: skip


def _limits(hypothesis: Hypothesis) -> tuple[float, float]:
    if not hypothesis.has_severity:
        return 0.0, 0.0
    return min(each.low for each in hypothesis.mechanisms), max(each.high for each in hypothesis.mechanisms)


def _cells(hypothesis: Hypothesis) -> FloatArray:
    if not hypothesis.has_severity:
        return np.empty(0)
    low, high = _limits(hypothesis)
    if hypothesis.how == "times":
        return np.geomspace(low, high, TIMES_CELLS + 1)
    low, high = low / BEYOND, high * BEYOND
    return np.geomspace(low, high, max(round(CELLS_PER_DECADE * math.log10(high / low)), 1) + 1)


def cell_masses(edges: FloatArray, low: float, high: float, tail: float = TAIL) -> FloatArray:
    """Share of a log-uniform severity that falls into each cell, shape (J,). A hard fault has one cell.

    `tail` of it lies outside the law's limits, half on each side and at most the factor BEYOND away: nobody knows these
    laws well. What falls outside the cells too counts inside.
    """
    if len(edges) < 2:
        return np.ones(1)

    def share(least: float, most: float) -> FloatArray:
        out: FloatArray = np.diff(np.log(np.clip(edges, least, most))) / math.log(most / least)
        return out

    masses = (1.0 - tail) * share(low, high)
    if tail > 0.0:
        masses = masses + tail / 2.0 * (share(low / BEYOND, low) + share(high, high * BEYOND))
    total: FloatArray = masses / masses.sum()
    return total


# ---------------------------------------------------------------- one group


def _group(whole: LineView, rows: tuple[Rows, ...], seed: int,
           streams: dict[tuple[str, int], tuple[FloatArray, FloatArray]]) -> Group:  # fmt: skip
    """The columns of hypotheses with one netlist."""
    first = rows[0].hypothesis
    added = (*first.change.added, pin_leak_nodes(whole)) if first.how == "pin leak" else first.change.added
    view = faulty_view(whole, added)
    n, j = sum(each.count for each in rows), sum(each.cells for each in rows)
    p = len(_narrow_names(view))
    closed, opened = [], {}
    part = 0
    for column, branch in enumerate(view.branches):
        drawn = [_drawn(branch, each.count, seed, streams) for each in rows]
        middle, sigma, middle_open = _middle(branch)
        block = np.full((p + 1, j), middle)
        if sigma > 0.0:
            part += 1
            block[part] += sigma
        main = np.tile(np.concatenate([one for one, _ in drawn]), (4, 1))
        if branch.kind == "leak":
            main[1] *= math.exp(STEP)
        if branch.kind == "contact":
            main[3] *= math.exp(STEP)
            far = np.tile(np.concatenate([one for _, one in drawn]), (4, 1))
            far[1] *= math.exp(STEP)
            opened[column] = np.concatenate([far.ravel(), np.full((p + 1) * j, middle_open)])
        for each in rows:
            _change(branch, each, rows[0], main, block)
        closed.append(np.concatenate([main.ravel(), block.ravel()]))
    with np.errstate(divide="ignore"):
        closed = [1.0 / each for each in closed]
        opened = {column: 1.0 / each for column, each in opened.items()}
    places = []
    for each in rows:
        a, b = each.first - rows[0].first, each.first_cell - rows[0].first_cell
        mine = [k * n + a + np.arange(each.count) for k in range(4)]
        mine += [4 * n + k * j + b + np.arange(each.cells) for k in range(p + 1)]
        places.append(np.concatenate(mine))
    for place, each in zip(places, rows, strict=True):
        for column, siemens in _held(view, each.hypothesis).items():
            closed[column][place] = siemens
            if column in opened:
                opened[column][place] = siemens
    gone = {branch.id for branch in view.branches if branch.kind == "pull"}
    if first.how == "pin leak":
        gone |= {branch.id for branch in view.branches if branch.id.startswith("fault.")}
    moving = [k for k, each in enumerate(rows) if _moves_contacts(each.hypothesis.change)]
    shorts = any(np.isinf(each).any() for each in (*closed, *opened.values()))
    blown = [
        (column, place)
        for place, each in zip(places, rows, strict=True)
        if each.hypothesis.how == "blown"
        for column, branch in enumerate(view.branches)
        if branch.id == each.hypothesis.change.faults[0].site
    ]
    return Group(
        view, rows, tuple(closed), opened, p, frozenset(gone), bool(shorts), tuple(places), tuple(moving), tuple(blown)
    )


def _moves_contacts(change: Change) -> bool:
    return bool(change.stuck or change.inverted or change.swaps)


def _held(view: LineView, hypothesis: Hypothesis) -> dict[int, float]:
    """Columns whose conductance the fault decides. [S]"""
    held = {c: hypothesis.change.held[b.id] for c, b in enumerate(view.branches) if b.id in hypothesis.change.held}
    if hypothesis.how == "pin open":
        held |= {column: 0.0 for column, branch in enumerate(view.branches) if branch.kind == "pull"}
    return held


def _change(branch: Branch, each: Rows, first: Rows, main: FloatArray, block: FloatArray) -> None:
    """Put one hypothesis into its part of a column: `main` (4, N) and `block` (P + 1, J). [Ω]"""
    change, how = each.hypothesis.change, each.hypothesis.how
    mine = main[:, each.first - first.first :][:, : each.count]
    cells = block[:, each.first_cell - first.first_cell :][:, : each.cells]
    if branch.id in change.scaled:
        mine /= change.scaled[branch.id]
        cells /= change.scaled[branch.id]
    if len(each.edges) < 2:
        return
    centre = np.sqrt(each.edges[1:] * each.edges[:-1])
    severity = np.tile(np.repeat(centre, each.per_cell), (4, 1))
    severity[2] *= math.exp(STEP)
    if branch.id in change.severe or branch.id.startswith("fault."):
        mine[:], cells[:] = severity, centre
    elif branch.id == each.hypothesis.branch and how == "added":
        mine += severity
        cells += centre
    elif branch.id == each.hypothesis.branch and how == "times":
        mine *= severity
        cells *= centre


def _drawn(branch: Branch, n: int, seed: int,
           streams: dict[tuple[str, int], tuple[FloatArray, FloatArray]]) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Closed and open ohms (n,) of drawn trucks; the same for every hypothesis."""
    if (branch.id, n) not in streams:
        rng = np.random.default_rng([seed, *branch.id.encode()])
        opened = np.full(n, np.inf)
        if branch.kind == "leak":
            closed = _log_uniform(rng, n, branch.low_ohm, WIDEST_LEAK_OHM)
        elif branch.kind == "contact":
            closed = _log_uniform(rng, n, max(branch.low_ohm, LEAST_CLOSED_OHM), branch.high_ohm)
            if math.isfinite(branch.open_low_ohm):
                opened = _log_uniform(rng, n, branch.open_low_ohm, WIDEST_LEAK_OHM)
        else:
            closed = np.full(n, _narrow(branch)[0])
        streams[branch.id, n] = closed, opened
    return streams[branch.id, n]


def _narrow(branch: Branch) -> tuple[float, float]:
    """Middle and standard deviation of a uniform part. [Ω]"""
    part = branch.resistor
    if part is not None and part.ohm is not None:
        return part.ohm, part.ohm * ((1.0 + part.tolerance) * (1.0 + part.ageing) - 1.0) / math.sqrt(3.0)
    if branch.id.startswith("fault."):
        return 1.0, 0.0
    return (branch.low_ohm + branch.high_ohm) / 2.0, (branch.high_ohm - branch.low_ohm) / math.sqrt(12.0)


def _narrow_names(view: LineView) -> tuple[str, ...]:
    return tuple(each.id for each in view.branches if each.kind not in ("leak", "contact") and _narrow(each)[1] > 0.0)


def _middle(branch: Branch) -> tuple[float, float, float]:
    """Closed ohms in the middle of the box, their standard deviation if they are narrow, open ohms. [Ω]"""
    if branch.kind == "leak":
        return math.sqrt(branch.low_ohm * max(WIDEST_LEAK_OHM, branch.low_ohm)), 0.0, math.inf
    if branch.kind == "contact":
        least, opened = max(branch.low_ohm, LEAST_CLOSED_OHM), math.inf
        if math.isfinite(branch.open_low_ohm):
            opened = math.sqrt(branch.open_low_ohm * max(WIDEST_LEAK_OHM, branch.open_low_ohm))
        return math.sqrt(least * max(branch.high_ohm, least)), 0.0, opened
    return (*_narrow(branch), math.inf)


def _log_uniform(rng: np.random.Generator, n: int, low: float, high: float) -> FloatArray:
    high = max(low, high)
    if not math.isfinite(low):
        return np.full(n, np.inf)
    return np.exp(rng.uniform(math.log(low), math.log(high), n))
