"""What has to be searched for a span: which conductances sit at a proven end, and which stay open.

Answers: for each situation, order of the rails and side, the corner as far as it is proven.
Units:   siemens.
Touches: nothing.
Beside:  `signs` (graph alone) and `sweep` (intervals) prove; `spans` and `excursion` search what is left.

A proven conductance is put at its end before the next round of interval bounds. That is sound: the extreme over the
whole box equals the extreme over the part of the box with that conductance at its end.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from pinproof.network.box import Reading, Sources
from pinproof.network.netlist import FloatArray, IntArray, Netlist
from pinproof.network.reduce import Reduction, reduction
from pinproof.network.signs import FALLS, OPEN, RISES, structural_effects, top_sets
from pinproof.network.sweep import Sweep

Signs = npt.NDArray[np.int8]
FEW_OPEN = 3
"""Up to this many open conductances are not worth an interval proof."""


def problems_of(
    net: Netlist, reading: Reading, sources: Sources, low: FloatArray, high: FloatArray, enumerate_rows: int,
    whole: tuple[int, ...] = (), rail_v: FloatArray | None = None, unreduced: bool = False,
) -> Problems:  # fmt: skip
    """Problems on the reduced network; interval proofs if more than about `enumerate_rows` corners are left.

    The edges in `whole` stay single and are neither proven nor opened: the caller sets them, anywhere from 0 to inf.
    `unreduced` is for boxes in which rails are shorted: the reduced network has no edge from rail to rail.
    """
    node, minus = reading.indices(net)
    keep = [n for n in (node, minus) if n is not None]
    if unreduced:
        same = reduction(net, keep, range(len(net.edges)))
        return Problems(same, net, reading, sources, same.apply(low), same.apply(high), whole, rail_v)
    small = reduction(net, keep, whole)
    small_low, small_high = small.apply(np.stack([low, high]))
    work = Problems(small, net, reading, sources, small_low, small_high, whole, rail_v)
    if work.bits().max(initial=0) > FEW_OPEN:
        present = np.asarray((high > 0.0).any(axis=0))
        present[list(whole)] = True
        if not present.all():
            small = reduction(net, keep, whole, present.tobytes())
            work = Problems(small, net, reading, sources, small.apply(low), small.apply(high), whole, rail_v)
    bits = work.bits()
    if np.exp2(bits[bits > FEW_OPEN]).sum() > enumerate_rows:
        work.narrow()
    return work


class Problems:
    """One problem for each situation, order of the rails, and side (0 lowest, 1 highest), in this order.

    `base` (P, m') holds the conductances with each proven one at its end; `open_edges` marks those to be tried at
    both. `situation`, `order` and `side` tell where a problem belongs. All on the reduced network `net`. Edges in
    `free` are set by the caller later. With `rail_v` (S, C, r) each situation has its own rail potentials, and one
    problem covers all of them.
    """

    def __init__(
        self, small: Reduction, original: Netlist, reading: Reading, sources: Sources, low: FloatArray,
        high: FloatArray, whole: tuple[int, ...] = (), rail_v: FloatArray | None = None,
    ) -> None:  # fmt: skip
        self.small, self.net, self.sources, self.low, self.high = small, small.net, sources, low, high
        self.node, self.minus = reading.indices(small.net)
        self.varies = low < high
        wanted = list(range(len(self.net.edges)))
        everywhere = np.ones(len(wanted), dtype=bool)
        self.free = [int(small.group[edge]) for edge in whole if small.group[edge] >= 0]
        orders = sources.orders
        self.rail_v = rail_v
        if rail_v is not None:
            self.effects = self._own_effects(rail_v)[:, None]
        elif not sources.all_corners and len(original.rails) > 8:
            self.effects = np.full((1, 1, len(wanted)), OPEN, dtype=np.int8)
        else:
            key = ("effects", self.node, self.minus, orders)
            known = self.net._cache.get(key)
            if known is None:
                found = structural_effects(self.net, self.node, self.minus, orders, everywhere, wanted)[None]
                known = self.net._cache[key] = found
            self.effects = known
        self.orders = self.effects.shape[1]
        situations, edges = low.shape
        self.varies[:, self.free] = False
        open_edges = (self.effects == OPEN)[:, :, None, :] & self.varies[:, None, None, :]
        base = np.where(_towards_low(self.effects), low[:, None, None, :], high[:, None, None, :])
        count = situations * self.orders * 2
        self.base = base.reshape(count, edges)
        self.open_edges = np.broadcast_to(open_edges, base.shape).reshape(count, edges).copy()
        self.situation = np.repeat(np.arange(situations), self.orders * 2)
        self.order = np.tile(np.repeat(np.arange(self.orders), 2), situations)
        self.side = np.tile(np.array([0, 1]), situations * self.orders)

    def _own_effects(self, rail_v: FloatArray) -> Signs:
        """Effects (S, m') that hold for all rail potentials of a situation."""
        out = np.empty((len(rail_v), len(self.net.edges)), dtype=np.int8)
        known: dict[frozenset[tuple[tuple[int, ...], ...]], Signs] = {}
        everywhere = np.ones(len(self.net.edges), dtype=bool)
        for situation, corners in enumerate(rail_v):
            orders = frozenset(top_sets(volts) for volts in corners)
            if orders not in known:
                found = structural_effects(
                    self.net, self.node, self.minus, list(orders), everywhere, range(len(everywhere))
                )
                known[orders] = same_effect(found)
            out[situation] = known[orders]
        return out

    def bits(self) -> IntArray:
        """Number of open conductances of each problem."""
        return self.open_edges.sum(axis=1)

    def boxes(self, rows: IntArray) -> tuple[FloatArray, FloatArray]:
        """What is left of the box of each problem."""
        where, situation = self.open_edges[rows], self.situation[rows]
        if self.free:
            low, high = (
                np.where(where, self.low[situation], self.base[rows]),
                np.where(where, self.high[situation], self.base[rows]),
            )
            low[:, self.free], high[:, self.free] = 0.0, np.inf
            return low, high
        return np.where(where, self.low[situation], self.base[rows]), np.where(
            where, self.high[situation], self.base[rows]
        )

    def reopen(self, rows: IntArray) -> None:
        """Try both ends of every conductance that ends in 0 or inf, where a corner may have no reading."""
        situation = self.situation[rows]
        ended = self.varies[situation] & ((self.low[situation] == 0.0) | np.isinf(self.high[situation]))
        self.open_edges[rows] |= ended

    def expand(self, corner_s: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
        """Corners of the reduced network as conductances of the original edges."""
        at_high = corner_s == self.high[self.situation]
        return self.small.expand(at_high, low[self.situation], high[self.situation])

    def narrow(self, rounds: int = 4) -> None:
        """Prove more directions by intervals, in the boxes where proven conductances already sit at their ends."""
        if (
            (not self.sources.all_corners and self.rail_v is None)
            or not self.net.rail_index
            or self.node in self.net.rail_index
        ):
            return
        rows = np.flatnonzero(self.bits() > FEW_OPEN)
        for _ in range(rounds):
            if not rows.size:
                return
            signs = self._interval_effects(*self.boxes(rows), rows, self.open_edges[rows])
            proven = self.open_edges[rows] & (signs != OPEN)
            to_low = (signs == RISES) == (self.side[rows] == 0)[:, None]
            situation = self.situation[rows]
            ends = np.where(to_low, self.low[situation], self.high[situation])
            self.base[rows] = np.where(proven, ends, self.base[rows])
            self.open_edges[rows] &= ~proven
            rows = rows[proven.any(axis=1) & (self.open_edges[rows].sum(axis=1) > FEW_OPEN)]

    def narrow_box(self, effects: Signs) -> None:
        """Prove directions for all orders over the whole box of each situation; fills OPEN entries of `effects`."""
        if not self.net.rail_index or self.node in self.net.rail_index:
            return
        opened = effects == OPEN
        found = self._interval_effects(self.low, self.high, None, opened)
        effects[opened] = found[opened]

    def _interval_effects(
        self, low: FloatArray, high: FloatArray, problems: IntArray | None, asked: npt.NDArray[np.bool_]
    ) -> Signs:
        """Effects (P, m') where asked; OPEN if not proven. `problems` None: one row for each situation, all causes."""
        rails = self.net.rail_index
        edges = np.flatnonzero(asked.any(axis=0)).tolist()
        everyone = np.arange(len(low))
        adjoint = Sweep(self.net, ((self.node,), rails))
        adjoint.prepare(low, high)
        fed = np.array([[1.0, 0.0]])
        sign = adjoint.signs(edges, everyone, fed)
        if self.minus is not None and self.minus not in rails:
            second = Sweep(self.net, ((self.minus,), rails))
            second.prepare(low, high)
            sign = _minus(sign, second.signs(edges, everyone, fed))
        drop = Sweep(self.net, tuple((rail,) for rail in rails))
        drop.prepare(low, high)
        fall = np.full(sign.shape, OPEN, dtype=np.int8)
        for rows, at_v in self._rail_sets(problems, everyone):
            worth = np.flatnonzero((sign[:, rows] != OPEN).any(axis=1))
            fall[np.ix_(worth, rows)] = drop.signs([edges[i] for i in worth], rows, at_v)
        # A product of zero has no effect in this box; counting it as RISES is sound.
        effect = np.where(fall * sign > 0, FALLS, RISES)
        out = np.full(low.shape, OPEN, dtype=np.int8)
        out[:, edges] = np.where((fall == OPEN) | (sign == OPEN), OPEN, effect).T
        return out

    def _rail_sets(self, problems: IntArray | None, everyone: IntArray) -> list[tuple[IntArray, FloatArray]]:
        """Rows that share a set of rail potentials, and those: (C, r), or (C, r, rows) if each row has its own."""
        if self.rail_v is not None and problems is not None:
            return [(everyone, np.ascontiguousarray(self.rail_v[self.situation[problems]].transpose(1, 2, 0)))]
        volts = self.sources.corner_rail_v
        if problems is None:
            return [(everyone, volts)]
        place = {key: i for i, key in enumerate(self.sources.orders)}
        of_corner = np.array([place[top_sets(rail_v)] for rail_v in volts], dtype=np.intp)
        order = self.order[problems]
        parts = [(np.flatnonzero(order == number), volts[of_corner == number]) for number in range(self.orders)]
        return [(rows, at_v) for rows, at_v in parts if rows.size]


def _towards_low(effects: Signs) -> npt.NDArray[np.bool_]:
    """Whether a side (axis 2) wants the low end. Without effect: high, which never makes a node float."""
    return np.stack([effects == RISES, effects == FALLS], axis=2)


def same_effect(per_order: Signs) -> Signs:
    """One effect (m,) for all orders (K, m): none joins either direction, contradicting directions are OPEN."""
    rises, falls = (per_order == RISES).any(axis=0), (per_order == FALLS).any(axis=0)
    out = np.where(rises, RISES, np.where(falls, FALLS, 0))
    out[(rises & falls) | (per_order == OPEN).any(axis=0)] = OPEN
    return out.astype(np.int8)


def _minus(first: Signs, second: Signs) -> Signs:
    """Sign of first - second where that is certain, else 2."""
    out = np.where(first == 0, -second, np.where((second == 0) | (second == -first), first, OPEN))
    return np.where((first == OPEN) | (second == OPEN), OPEN, out).astype(np.int8)
