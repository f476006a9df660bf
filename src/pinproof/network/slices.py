"""Span of a reading when one cause moves several conductances together.

Answers: the worst reading while one tied parameter (one temperature, say) runs through its range, as an outer bound
         with its gap.
Units:   siemens, volts; the cause in its own unit.
Touches: nothing.
Beside:  `spans` does the work for each slice.

A reading may peak inside the range of such a cause. Each slice is taken as a box in which the conductances are
independent, which is an outer bound; spans at points of the cause give readings that are reached. Slices whose
outer bound stands out are halved until the gap is as small as asked or the number of slices is used up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from pinproof.network.box import Reading, Sources
from pinproof.network.netlist import FloatArray, Netlist, NetworkFault
from pinproof.network.spans import Span, span

BoxAt = Callable[[float, float], tuple[npt.ArrayLike, npt.ArrayLike]]


@dataclass(frozen=True, eq=False)
class SlicedSpan:
    """`span` of the union; `low_at`, `high_at` (S,): where in the tied cause's range the inner ends are reached."""

    span: Span
    low_at: FloatArray
    high_at: FloatArray
    slices: int


def sliced_span(
    net: Netlist,
    box_at: BoxAt,
    cause_low: float,
    cause_high: float,
    sources: Sources,
    reading: Reading,
    *,
    slices: int = 4,
    gap: float = 0.0,
    most_slices: int = 64,
) -> SlicedSpan:
    """Worst-case span over a tied cause between two values.

    Parameters
    ----------
    box_at : function (t0, t1) -> (low_s, high_s)
        A box (S, m) that holds every conductance vector possible while the cause is between t0 and t1; with
        ``t0 == t1`` exactly the vectors possible at that value.
    slices : int
        Slices to begin with.
    gap : float
        Stop halving when outer and inner ends are this close, in the unit of the reading.
    most_slices : int
        Bound on the number of slices; the gap that is left is in the result.

    Returns
    -------
    SlicedSpan
        Its span is `exact` only where the outer bound is reached.
    """
    if not (np.isfinite(cause_low) and np.isfinite(cause_high) and cause_low <= cause_high):
        raise NetworkFault("tied cause", f"{cause_low} to {cause_high}", "finite numbers, low not above high")
    if slices < 1 or most_slices < slices:
        raise NetworkFault("slices", f"{slices} to {most_slices}", "at least one, and not more than most_slices")
    if cause_low == cause_high:
        only = span(net, *box_at(cause_low, cause_low), sources, reading)
        at = np.full(only.low.shape, cause_low)
        return SlicedSpan(only, at, at, 1)
    cuts = np.linspace(cause_low, cause_high, slices + 1).tolist()
    points = {t: span(net, *box_at(t, t), sources, reading) for t in cuts}
    parts = {pair: span(net, *box_at(*pair), sources, reading) for pair in pairwise(cuts)}
    while True:
        inner_low = np.fmin.reduce([p.inner_low for p in points.values()])
        inner_high = np.fmax.reduce([p.inner_high for p in points.values()])
        pairs = list(parts)
        beyond = np.stack([np.fmax(inner_low - parts[pair].low, parts[pair].high - inner_high) for pair in pairs])
        beyond = np.where(np.isnan(beyond), 0.0, beyond).max(axis=1)
        room = most_slices - len(pairs)
        wide = [int(i) for i in np.argsort(-beyond, kind="stable")[:room] if beyond[i] > gap]
        wide = [i for i in wide if pairs[i][0] < (pairs[i][0] + pairs[i][1]) / 2.0 < pairs[i][1]]
        if not wide:
            break
        for i in wide:
            first, last = pairs[i]
            middle = (first + last) / 2.0
            del parts[first, last]
            points[middle] = span(net, *box_at(middle, middle), sources, reading)
            for pair in ((first, middle), (middle, last)):
                parts[pair] = span(net, *box_at(*pair), sources, reading)
    return _joined(points, parts)


def _joined(points: dict[float, Span], parts: dict[tuple[float, float], Span]) -> SlicedSpan:
    ts = np.array(list(points))
    spans = list(points.values())
    rows = np.arange(spans[0].low.size)
    lows, highs = np.stack([p.inner_low for p in spans]), np.stack([p.inner_high for p in spans])
    low_pick = np.where(np.isnan(lows), np.inf, lows).argmin(axis=0)
    high_pick = np.where(np.isnan(highs), -np.inf, highs).argmax(axis=0)
    outer_low = np.fmin.reduce([p.low for p in parts.values()])
    outer_high = np.fmax.reduce([p.high for p in parts.values()])
    inner_low, inner_high = lows[low_pick, rows], highs[high_pick, rows]
    outer_low, outer_high = np.fmin(outer_low, inner_low), np.fmax(outer_high, inner_high)
    joined = Span(
        low=outer_low,
        high=outer_high,
        inner_low=inner_low,
        inner_high=inner_high,
        exact_low=outer_low >= inner_low,
        exact_high=outer_high <= inner_high,
        low_corner_s=np.stack([p.low_corner_s for p in spans])[low_pick, rows],
        high_corner_s=np.stack([p.high_corner_s for p in spans])[high_pick, rows],
        low_cause=np.stack([p.low_cause for p in spans])[low_pick, rows],
        high_cause=np.stack([p.high_cause for p in spans])[high_pick, rows],
        status=np.maximum.reduce([p.status for p in (*spans, *parts.values())]),
    )
    return SlicedSpan(joined, ts[low_pick], ts[high_pick], len(parts))
