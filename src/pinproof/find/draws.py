"""Many trucks with one thing wrong: the rows of conductances that each hypothesis stands for.

Answers: for drawn trucks, and for small steps of what they share, what resistance has each branch.
Units:   ohms; severities in ohms or as a factor.
Touches: nothing. The same seed gives the same trucks, for every hypothesis alike.
Beside:  `readings` turns the rows into what a meter or a controller would show.

Four kinds of rows, one after another: the drawn trucks, D for each cell of the severity; the same with all leaks a step
larger; the same with the severity a step larger; the same with all closed contacts a step larger; then, for each cell,
one truck in the middle of the box and one for each part that is a standard deviation off. What is narrow (tolerances,
wires) is thus carried as a slope, what is wide (leaks, wear) by drawing it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from pinproof.faults.circuit import Change, contacts_conducting, faulty_view
from pinproof.find.hypotheses import Hypothesis, pin_leak_nodes
from pinproof.wiring import Branch, LineView

FloatArray = npt.NDArray[np.float64]
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


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows of one hypothesis.

    `edges` (J + 1,) of the severity's cells, `per_cell` D. `closed_ohm` and `open_ohm` (R, m): each branch when it
    conducts and, for contacts, when it does not. `narrow` names the P parts of the last block. `powered_view` holds the
    branches; `only_powered` are ids of branches that are not there while the controller is unplugged.
    """

    hypothesis: Hypothesis
    view: LineView
    edges: FloatArray
    per_cell: int
    closed_ohm: FloatArray
    open_ohm: FloatArray
    narrow: tuple[str, ...]
    only_powered: frozenset[str]
    held_s: dict[int, float]
    cache: dict[str, Any] = field(default_factory=dict)

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

    def split(self, values: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        """Rows' values as: drawn (N, …); steps of leaks, severity, contacts (N, …); of parts (J, P, …)."""
        n, j, p = self.count, self.cells, len(self.narrow)
        drawn = values[:n]
        leaks, severity, contacts = (values[n * k : n * (k + 1)] - drawn for k in (1, 2, 3))
        block = values[4 * n :].reshape(j, p + 1, *values.shape[1:])
        return drawn, leaks, severity, contacts, block[:, 1:] - block[:, :1]

    def conductances(self, operated: frozenset[str], without: str = "") -> FloatArray:
        """Conductance of every branch in a situation, shape (R, m), with one station unplugged. [S]"""
        conducts = contacts_conducting(self.view, self.hypothesis.change, [operated])[0]
        contact = np.array([branch.kind == "contact" for branch in self.view.branches])
        with np.errstate(divide="ignore"):
            out: FloatArray = 1.0 / np.where(contact & ~conducts, self.open_ohm, self.closed_ohm)
        for column, siemens in self.held_s.items():
            out[:, column] = siemens
        if without:
            gone = {each.path for each in self.view.truck.contacts_of(self.view.line) if each.station == without}
            for column, branch in enumerate(self.view.branches):
                if branch.id in gone or branch.id.removesuffix(".resistor") in gone:
                    out[:, column] = 0.0
        return out


def rows_of(
    whole: LineView, hypothesis: Hypothesis, seed: int = SEED, draws: tuple[int, int] = (PER_CELL, HARD_DRAWS)
) -> Rows:  # fmt: skip
    """Draw the trucks of one hypothesis. `whole` is the view with all branches of its line.

    `draws`: how many for each cell of a severity, and how many for a hard fault.
    """
    added = hypothesis.change.added
    if hypothesis.how == "pin leak":
        added = (*added, pin_leak_nodes(whole))
    view = faulty_view(whole, added)
    edges = _cells(hypothesis)
    cells = max(len(edges) - 1, 1)
    per_cell = draws[0] if hypothesis.has_severity else draws[1]
    n = cells * per_cell
    closed, opened, sigma = _trucks(view, n, seed)
    narrow = [c for c, branch in enumerate(view.branches) if sigma[c] > 0.0]
    middle, middle_open = _middle(view)
    block = np.repeat(middle[None], cells * (len(narrow) + 1), axis=0).reshape(cells, len(narrow) + 1, -1)
    for row, column in enumerate(narrow, start=1):
        block[:, row, column] += sigma[column]
    main = [closed.copy() for _ in range(4)]
    opens = [opened.copy() for _ in range(4)]
    leak = np.array([branch.kind == "leak" for branch in view.branches])
    contact = np.array([branch.kind == "contact" for branch in view.branches])
    main[1][:, leak] *= math.exp(STEP)
    opens[1] *= math.exp(STEP)
    main[3][:, contact] *= math.exp(STEP)
    out = np.concatenate([*main, block.reshape(-1, closed.shape[1])])
    open_ohm = np.concatenate([*opens, np.repeat(middle_open[None], cells * (len(narrow) + 1), axis=0)])
    held: dict[int, float] = {}
    _apply(view, hypothesis, edges, per_cell, len(narrow), out, held)
    return Rows(
        hypothesis, view, edges, per_cell, out, open_ohm, tuple(view.branches[c].id for c in narrow),
        _only_powered(view, hypothesis), held,
    )  # fmt: skip


def _cells(hypothesis: Hypothesis) -> FloatArray:
    if not hypothesis.has_severity:
        return np.empty(0)
    low = min(each.low for each in hypothesis.mechanisms)
    high = max(each.high for each in hypothesis.mechanisms)
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


def _trucks(view: LineView, n: int, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Closed and open ohms (N, m) of trucks drawn in what is wide, and the deviation (m,) of what is narrow."""
    m = len(view.branches)
    closed, opened, sigma = np.empty((n, m)), np.full((n, m), np.inf), np.zeros(m)
    for column, branch in enumerate(view.branches):
        rng = np.random.default_rng([seed, *branch.id.encode()])  # the same for every hypothesis
        if branch.kind == "leak":
            closed[:, column] = _log_uniform(rng, n, branch.low_ohm, WIDEST_LEAK_OHM)
        elif branch.kind == "contact":
            closed[:, column] = _log_uniform(rng, n, max(branch.low_ohm, LEAST_CLOSED_OHM), branch.high_ohm)
            if math.isfinite(branch.open_low_ohm):
                opened[:, column] = _log_uniform(rng, n, branch.open_low_ohm, WIDEST_LEAK_OHM)
        else:
            closed[:, column], sigma[column] = _narrow(branch)
    return closed, opened, sigma


def _narrow(branch: Branch) -> tuple[float, float]:
    """Middle and standard deviation of a uniform part. [Ω]"""
    part = branch.resistor
    if part is not None and part.ohm is not None:
        return part.ohm, part.ohm * ((1.0 + part.tolerance) * (1.0 + part.ageing) - 1.0) / math.sqrt(3.0)
    if branch.id.startswith("fault."):
        return 1.0, 0.0
    return (branch.low_ohm + branch.high_ohm) / 2.0, (branch.high_ohm - branch.low_ohm) / math.sqrt(12.0)


def _middle(view: LineView) -> tuple[FloatArray, FloatArray]:
    closed, opened = np.empty(len(view.branches)), np.full(len(view.branches), np.inf)
    for column, branch in enumerate(view.branches):
        if branch.kind == "leak":
            closed[column] = math.sqrt(branch.low_ohm * max(WIDEST_LEAK_OHM, branch.low_ohm))
        elif branch.kind == "contact":
            least = max(branch.low_ohm, LEAST_CLOSED_OHM)
            closed[column] = math.sqrt(least * max(branch.high_ohm, least))
            if math.isfinite(branch.open_low_ohm):
                opened[column] = math.sqrt(branch.open_low_ohm * max(WIDEST_LEAK_OHM, branch.open_low_ohm))
        else:
            closed[column] = _narrow(branch)[0]
    return closed, opened


def _log_uniform(rng: np.random.Generator, n: int, low: float, high: float) -> FloatArray:
    high = max(low, high)
    if not math.isfinite(low):
        return np.full(n, np.inf)
    return np.exp(rng.uniform(math.log(low), math.log(high), n))


def _apply(view: LineView, hypothesis: Hypothesis, edges: FloatArray, per_cell: int, narrow: int,
           ohm: FloatArray, held: dict[int, float]) -> None:  # fmt: skip
    """Put the change of the circuit into the rows."""
    change: Change = hypothesis.change
    severity = None
    if len(edges) > 1:
        centre = np.sqrt(edges[1:] * edges[:-1])
        drawn = np.repeat(centre, per_cell)
        severity = np.concatenate([drawn, drawn, drawn * math.exp(STEP), drawn, np.repeat(centre, narrow + 1)])
    for column, branch in enumerate(view.branches):
        if branch.id in change.held:
            held[column] = change.held[branch.id]
        if branch.id in change.scaled:
            ohm[:, column] /= change.scaled[branch.id]
        if severity is None:
            continue
        if branch.id in change.severe or branch.id.startswith("fault."):
            ohm[:, column] = severity
        elif branch.id == hypothesis.branch and hypothesis.how == "added":
            ohm[:, column] += severity
        elif branch.id == hypothesis.branch and hypothesis.how == "times":
            ohm[:, column] *= severity
    if hypothesis.how == "pin open":
        for column, branch in enumerate(view.branches):
            if branch.kind == "pull":
                held[column] = 0.0


def _only_powered(view: LineView, hypothesis: Hypothesis) -> frozenset[str]:
    gone = {branch.id for branch in view.branches if branch.kind == "pull"}
    if hypothesis.how == "pin leak":
        gone |= {branch.id for branch in view.branches if branch.id.startswith("fault.")}
    return frozenset(gone)
