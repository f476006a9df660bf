"""Worst-case span of a reading over a box of conductances and causes.

Answers: between which values does the reading lie, at which corner of the box is each end reached, and is that
         exact or an outer bracket with a gap?
Units:   conductance [S], potentials [V]; the reading is in volts, or a ratio if it has a divisor.
Shapes:  boxes (S, m) or (m,): S situations of one netlist at once.
Touches: nothing.
Beside:  `signs` and `intervals` prove directions, `box` describes sources and readings, `branch` takes over when
         too many directions stay open.
Sources: matrix-tree theorem (Kirchhoff, 1847): a node potential is a quotient of two functions that are linear in
         each conductance alone. Hence it is monotone in each alone and its extremes over a box lie at corners.

How: the corners of the causes are listed. For each order of the rails the direction in which the reading moves with
each conductance is proven from the graph where possible; such a conductance sits at a known end. Both ends are tried
for those left, in one batch of eliminations. Nothing is read off a nominal point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pinproof.network.box import Reading, Sources
from pinproof.network.branch import branch_and_bound
from pinproof.network.corners import Best, Evaluator
from pinproof.network.netlist import BoolArray, FloatArray, IntArray, Netlist, NetworkFault
from pinproof.network.problems import Problems, problems_of, same_effect
from pinproof.network.reduce import reduction
from pinproof.network.signs import OPEN
from pinproof.network.solve import Status
from pinproof.network.star_mesh import shorted_rails

Signs = npt.NDArray[np.int8]

SWEEP_ROWS = 1 << 16
"""Up to this many corners of undecided conductances trying them all is quicker than proving more with intervals."""


@dataclass(frozen=True, eq=False)
class Span:
    """Worst-case span of S situations. All arrays have S rows.

    `low`, `high` bound every reading in the box. `inner_low`, `inner_high` are reached at the corners
    `low_corner_s` / `low_cause` and `high_corner_s` / `high_cause`. Where `exact_low` (`exact_high`) is true the two
    agree. `gap` is the larger distance between outer and inner end. `status` is not OK where the node floats, or
    rails are shorted, somewhere in the box: the span then covers the rest of the box, and is NaN if there is none.
    """

    low: FloatArray
    high: FloatArray
    inner_low: FloatArray
    inner_high: FloatArray
    exact_low: BoolArray
    exact_high: BoolArray
    low_corner_s: FloatArray
    high_corner_s: FloatArray
    low_cause: FloatArray
    high_cause: FloatArray
    status: npt.NDArray[np.int8]

    @property
    def exact(self) -> BoolArray:
        """Both ends exact."""
        return self.exact_low & self.exact_high

    @property
    def gap(self) -> FloatArray:
        """Larger distance between an outer bound and the reading reached; 0 where exact."""
        return np.maximum(self.inner_low - self.low, self.high - self.inner_high)


@dataclass(frozen=True, eq=False)
class Monotone:
    """Proven effect of a larger conductance on the reading over a whole box, (S, m).

    -1 it never rises, +1 it never falls, 0 no effect, 2 not proven.
    """

    sign: Signs

    @property
    def proven(self) -> BoolArray:
        """Where the direction is proven."""
        return self.sign != OPEN


def span(
    net: Netlist,
    low_s: npt.ArrayLike,
    high_s: npt.ArrayLike,
    sources: Sources,
    reading: Reading,
    *,
    enumerate_bits: int = 12,
    max_rows: int = 1 << 22,
    branch_rounds: int = 200,
) -> Span:
    """Worst-case span of a reading over each box.

    Parameters
    ----------
    low_s, high_s : (S, m) or (m,)
        Ends of each conductance; 0 and inf allowed. [S]
    sources, reading
        See `box`.
    enumerate_bits : int
        Up to this many undecided conductances are tried at both ends; more go to branch and bound.
    max_rows : int
        Bound on the eliminations of one call by enumeration; situations beyond it go to branch and bound.
    branch_rounds : int
        Rounds of branch and bound for each end before it answers with an outer bracket.

    Returns
    -------
    Span

    Raises
    ------
    NetworkFault
        Wrong shapes, negative conductances, low above high, unknown nodes, a divisor that can reach zero.

    Examples
    --------
    >>> net = Netlist(["pin", "ref", "gnd"], ["ref", "gnd"], [("pull", "ref", "pin"), ("path", "pin", "gnd")])
    >>> s = span(net, [1 / 1050, 1 / 1010], [1 / 950, 1 / 990], Sources.fixed([5.0, 0.0]), Reading("pin"))
    >>> print(round(s.low[0], 4), round(s.high[0], 4), s.exact[0])
    2.4265 2.5765 True
    """
    low, high = checked_box(net, low_s, high_s)
    node, minus = reading.indices(net)
    if len(sources.base_v) != len(net.rails):
        raise NetworkFault("sources", f"{len(sources.base_v)} potentials", f"{len(net.rails)}, one for each rail")
    situations = low.shape[0]
    if not net.rails:
        return _nothing_holds(low, sources)
    status = _status(net, (node, minus), low, high, sources)
    shorted = bool((status == Status.RAILS_SHORTED).any())
    work = problems_of(net, reading, sources, low, high, enumerate_rows=SWEEP_ROWS, unreduced=shorted)
    evaluator = Evaluator(work.net, work.node, work.minus, sources, reading)
    degenerate = status[work.situation] != Status.OK
    if shorted:
        work.reopen(np.flatnonzero(status[work.situation] == Status.RAILS_SHORTED))
    best = _solve(evaluator, work, np.arange(work.base.shape[0]), enumerate_bits, max_rows)
    unsure = np.flatnonzero(degenerate & (best.undetermined | best.skipped))
    if unsure.size:
        work.reopen(unsure)
        best.replace(unsure, _solve(evaluator, work, unsure, enumerate_bits, max_rows))
    outer = best.value.copy()
    exact = ~best.skipped
    for problem in np.flatnonzero(best.skipped):
        situation = work.situation[problem]
        branched = branch_and_bound(
            evaluator, work.base[problem], work.open_edges[problem], work.low[situation], work.high[situation],
            int(work.side[problem]), branch_rounds,
        )  # fmt: skip
        outer[problem], exact[problem] = branched.outer, branched.exact
        best.value[problem], best.cause[problem] = branched.value, branched.cause
        best.corner_s[problem] = branched.corner_s
    best.corner_s = work.expand(best.corner_s, low, high)
    ends = [_join(side, outer, exact, best, work.orders, situations) for side in (0, 1)]
    (low_out, low_in, low_exact, low_corner, low_cause), (high_out, high_in, high_exact, high_corner, high_cause) = ends
    # The two ends come from sums in different order: where the box is a point they may cross in the last digit.
    low_in, high_in = np.minimum(low_in, high_in), np.maximum(low_in, high_in)
    low_out, high_out = np.minimum(low_out, low_in), np.maximum(high_out, high_in)
    return Span(
        low_out,
        high_out,
        low_in,
        high_in,
        low_exact,
        high_exact,
        low_corner,
        high_corner,
        low_cause,
        high_cause,
        status,
    )


def _nothing_holds(low: FloatArray, sources: Sources) -> Span:
    """A netlist without rails: no potential anywhere."""
    rows = low.shape[0]
    nan = np.full(rows, np.nan)
    no = np.zeros(rows, dtype=bool)
    cause = np.tile(sources.cause_low, (rows, 1))
    status = np.full(rows, int(Status.FLOATING), dtype=np.int8)
    return Span(nan, nan, nan, nan, no, no, low, low, cause, cause, status)


def monotone(net: Netlist, low_s: npt.ArrayLike, high_s: npt.ArrayLike, sources: Sources, reading: Reading) -> Monotone:
    """In which direction each conductance moves the reading, proven over the whole box and all causes.

    The graph is tried first, then interval bounds over the box. Edges that cannot vary are proven as well, since
    the proof holds for the whole box. Shapes and errors as in `span`.
    """
    low, high = checked_box(net, low_s, high_s)
    node, minus = reading.indices(net)
    reading.divisors(sources, sources.corners)
    small = reduction(net, [n for n in (node, minus) if n is not None])
    work = Problems(small, net, reading, sources, small.apply(low), small.apply(high))
    out = np.tile(same_effect(work.effects[0]), (low.shape[0], 1))
    if sources.all_corners and (out == OPEN).any():
        work.narrow_box(out)
    padded = np.concatenate([out, np.zeros((len(out), 1), dtype=np.int8)], axis=1)
    return Monotone(padded[:, small.group])


def _solve(evaluator: Evaluator, work: Problems, rows: IntArray, enumerate_bits: int, max_rows: int) -> Best:
    return evaluator.best(
        work.base[rows], work.open_edges[rows], work.low, work.high, work.situation[rows], work.side[rows],
        enumerate_bits, max_rows,
    )  # fmt: skip


def checked_box(net: Netlist, low_s: npt.ArrayLike, high_s: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    low, high = net.conductances(low_s, "low_s"), net.conductances(high_s, "high_s")
    if low.shape != high.shape:
        low, high = (np.array(x) for x in np.broadcast_arrays(low, high))
    if (low > high).any():
        row, column = np.argwhere(low > high)[0]
        raise NetworkFault(
            f"box, row {row}, edge {net.edges[column].id}",
            f"low {low[row, column]:g} S above high {high[row, column]:g} S", "low not above high",
            "A conductance falls when its resistance rises.",
        )  # fmt: skip
    return low, high


def _status(
    net: Netlist, nodes: tuple[int, int | None], low: FloatArray, high: FloatArray, sources: Sources
) -> npt.NDArray[np.int8]:
    """FLOATING or RAILS_SHORTED where that happens somewhere in the box."""
    status = np.zeros(low.shape[0], dtype=np.int8)
    for node in nodes:
        if node is not None and node not in net.rail_index:
            status[_floats(net, node, low)] = Status.FLOATING
    if np.isinf(high).any():
        volts = sources.corner_rail_v
        for i, j, rows in shorted_rails(net, list(high.T)):
            if (volts[:, i] != volts[:, j]).any():
                status[rows] = Status.RAILS_SHORTED
    return status


def _floats(net: Netlist, node: int, low: FloatArray) -> BoolArray:
    """Rows in which no chain of conductances joins the node to a rail."""
    joined = low > 0.0
    everything = bool(joined.all())
    if everything:
        known = net._cache.get(("joined", node))
        if known is not None:
            return np.full(low.shape[0], not known)
    reached = np.zeros((len(net.nodes), low.shape[0]), dtype=bool)
    reached[list(net.rail_index)] = True
    before = -1
    while before != (before := int(reached.sum())):
        for edge, (a, b) in enumerate(net.ends):
            both = joined[:, edge] & (reached[a] | reached[b])
            reached[a] |= both
            reached[b] |= both
    if everything:
        net._cache["joined", node] = bool(reached[node].all())
    return ~reached[node]


def _join(
    side: int, outer: FloatArray, exact: BoolArray, best: Best, orders: int, situations: int
) -> tuple[FloatArray, FloatArray, BoolArray, FloatArray, FloatArray]:
    """Worst over the orders of the rails: outer, inner, exact, corner, causes for each situation."""
    shape = (situations, orders, 2)
    sign = 1.0 if side == 0 else -1.0
    inner = sign * best.value.reshape(shape)[:, :, side]
    out = sign * outer.reshape(shape)[:, :, side]
    sure = exact.reshape(shape)[:, :, side].all(axis=1)
    pick = np.where(np.isnan(inner), np.inf, inner).argmin(axis=1)
    rows = np.arange(situations) * orders * 2 + pick * 2 + side
    inner_best = best.value[rows]
    outer_best = sign * np.where(np.isnan(out), np.inf, out).min(axis=1)
    outer_best = np.where(np.isinf(outer_best), inner_best, outer_best)
    # An order that was not solved exactly does no harm if its bound is not beyond what another one reaches.
    sure = sure | (sign * outer_best >= sign * inner_best)
    return outer_best, inner_best, sure, best.corner_s[rows], best.cause[rows]
