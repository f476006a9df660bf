"""Sound bounds of a reading over a box of conductances.

Answers: between which values does a reading surely lie?
Units:   siemens and volts. Boxes have shape (..., m).
Touches: nothing.
Beside:  `branch` bounds its sub-boxes with it; `sweep` does the same sums for all edges at once.
Sources: interval arithmetic on star-mesh steps, each step with its tight range: ``g_i g_j / sum(g)`` grows with g_i
         and g_j and falls with every other branch. Ranges of weighted means: extremes have the large weights on one
         side of a threshold.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from pinproof.network.netlist import FloatArray, Netlist, Plan

Pair = tuple[FloatArray, FloatArray]


def interval_slots(plan: Plan, low: Sequence[FloatArray], high: Sequence[FloatArray]) -> list[Pair | None]:
    """Star-mesh on intervals: bounds of every slot over all conductances of the box."""
    slots: list[Any] = [None] * len(plan.slot_edges)
    for number, edges in enumerate(plan.slot_edges):
        if edges:
            slots[number] = (sum(low[e] for e in edges), sum(high[e] for e in edges))
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for star in plan.stars:
            branches = [slots[s] for s in star.slots]
            for i, j, target in star.mesh:
                rest = [branches[k] for k in range(len(branches)) if k not in (i, j)]
                rest_low = sum((pair[0] for pair in rest), np.zeros(1))
                rest_high = sum((pair[1] for pair in rest), np.zeros(1))
                added_low = _meshed(branches[i][0], branches[j][0], rest_high, pessimist_low=True)
                added_high = _meshed(branches[i][1], branches[j][1], rest_low, pessimist_low=False)
                before = slots[target]
                slots[target] = (
                    (added_low, added_high) if before is None else (before[0] + added_low, before[1] + added_high)
                )
    return slots


def _meshed(g_i: FloatArray, g_j: FloatArray, rest: FloatArray, pessimist_low: bool) -> FloatArray:
    """``g_i g_j / (g_i + g_j + rest)`` with shorts; with several shorts the safe side of what may come out."""
    total = g_i + g_j + rest
    plain = (g_i / (total + (total == 0.0))) * g_j
    if not np.isinf(total).any():
        return plain
    short_i, short_j, short_rest = np.isinf(g_i), np.isinf(g_j), np.isinf(rest)
    one = np.where(short_i, g_j, np.where(short_j, g_i, 0.0))
    merged = np.where(short_i & short_j, np.inf, one)
    if pessimist_low:
        merged = np.where(short_rest, 0.0, merged)
    return np.where(np.isinf(total), merged, plain)


def mean_bounds(low: Sequence[FloatArray], high: Sequence[FloatArray], at_v: FloatArray) -> Pair:
    """Bounds of ``sum(g_j v_j) / sum(g_j)`` over weights in their intervals.

    `low[j]`, `high[j]` have shape (...); `at_v` is (C, r); result shape (..., C). Where no weight is above zero the
    mean does not exist; if it never exists the bounds are -inf and inf, which prove nothing.
    """
    rows = np.broadcast_shapes(*(np.shape(x) for x in (*low, *high)))
    least = np.full((*rows, at_v.shape[0]), np.inf)
    most = np.full((*rows, at_v.shape[0]), -np.inf)
    low_all = np.stack([np.broadcast_to(x, rows) for x in low], axis=-1)
    high_all = np.stack([np.broadcast_to(x, rows) for x in high], axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        for c, volts in enumerate(at_v):
            for threshold in np.unique(volts):
                for below in (volts <= threshold, volts < threshold):
                    for chosen in (below, ~below):
                        weight = np.where(chosen, high_all, low_all)
                        short = np.isinf(weight)
                        total = weight.sum(axis=-1)
                        mean = np.where(total > 0.0, (weight * volts).sum(axis=-1) / total, np.nan)
                        any_short = short.any(axis=-1)
                        if any_short.any():
                            least_short = np.where(short, volts, np.inf).min(axis=-1)
                            most_short = np.where(short, volts, -np.inf).max(axis=-1)
                            least[..., c] = np.fmin(least[..., c], np.where(any_short, least_short, mean))
                            most[..., c] = np.fmax(most[..., c], np.where(any_short, most_short, mean))
                        else:
                            least[..., c] = np.fmin(least[..., c], mean)
                            most[..., c] = np.fmax(most[..., c], mean)
    never = least > most
    least[never] = -np.inf
    most[never] = np.inf
    return least, most


def reading_bounds(
    net: Netlist,
    node: int,
    minus: int | None,
    low_s: FloatArray,
    high_s: FloatArray,
    rail_v: FloatArray,
    divisor: FloatArray,
) -> Pair:
    """Sound bounds of (V_node - V_minus) / divisor for each box (..., m) and each cause vertex (C), shape (..., C)."""
    least, most = _node_bounds(net, node, low_s, high_s, rail_v)
    if minus is not None:
        less, more = _node_bounds(net, minus, low_s, high_s, rail_v)
        least, most = least - more, most - less
    return least / divisor, most / divisor


def _node_bounds(net: Netlist, node: int, low_s: FloatArray, high_s: FloatArray, rail_v: FloatArray) -> Pair:
    shape = (*low_s.shape[:-1], rail_v.shape[0])
    if node in net.rail_index:
        volts = np.broadcast_to(rail_v[:, net.rail_index.index(node)], shape)
        return volts, volts
    plan = net.plan((node,))
    slots = interval_slots(
        plan,
        [low_s[..., e] for e in range(low_s.shape[-1])],
        [high_s[..., e] for e in range(low_s.shape[-1])],
    )
    pairs = [slots[s] if (s := plan.slot(node, rail)) >= 0 else None for rail in net.rail_index]
    zero = np.zeros(1)
    least, most = mean_bounds(
        [zero if pair is None else pair[0] for pair in pairs],
        [zero if pair is None else pair[1] for pair in pairs],
        rail_v,
    )
    hull_low, hull_high = rail_v.min(axis=1), rail_v.max(axis=1)
    return (
        np.broadcast_to(np.maximum(least, hull_low), shape),
        np.broadcast_to(np.minimum(most, hull_high), shape),
    )
