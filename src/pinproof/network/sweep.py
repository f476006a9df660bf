"""Interval star-mesh for all edges at once: one sweep up the elimination order and one down.

Answers: over a box, which edges have a drop, or an adjoint drop, of one sign? The sign does not depend on the edge's
         own conductance, so the potentials of its two ends with the edge open are bounded and compared.
Units:   siemens, volts. Columns are problems, (P,).
Touches: nothing.
Beside:  `spans` narrows its boxes with it.
Sources: the two sweeps are the usual ones on an elimination tree (message passing on a clique tree; seen: memory,
         compared in the tests with one elimination for each edge). Up: each eliminated node hands the mesh between
         its neighbours on. Down: each node learns the mesh of everything outside its own branch.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from pinproof.network.netlist import BoolArray, FloatArray, Netlist

Signs = npt.NDArray[np.int8]
Mesh = dict[tuple[int, int], Any]
"""Intervals of a small network: key (a, b) with a < b, or (a, -1) for the block of conductances to all fixed nodes.
A value is an array (2, P), or (2, f, P) for a block; index 0 holds low ends, 1 high ends."""


class Sweep:
    """The elimination tree of one netlist with given fixed nodes, and what is needed to answer for each edge."""

    def __init__(self, net: Netlist, fixed: tuple[tuple[int, ...], ...]) -> None:
        self.fixed = {node: place for place, nodes in enumerate(fixed) for node in nodes}
        self.fixed_count = len(fixed)
        self.ends = net.ends
        free = [node for node in range(len(net.nodes)) if node not in self.fixed]
        near: dict[int, set[int]] = {node: set() for node in free}
        for a, b in net.ends:
            if a in near and b in near and a != b:
                near[a].add(b)
                near[b].add(a)
        self.order: list[int] = []
        self.around: dict[int, tuple[int, ...]] = {}
        waiting = set(free)
        while waiting:
            node = min(waiting, key=lambda n: (len(near[n]), n))
            waiting.remove(node)
            self.order.append(node)
            self.around[node] = tuple(sorted(near[node]))
            for a in near[node]:
                near[a].discard(node)
                near[a] |= near[node] - {a}
        rank = {node: place for place, node in enumerate(self.order)}
        self.parent = {
            node: min(around, key=lambda n: rank[n]) if around else None for node, around in self.around.items()
        }
        self.home: dict[int, int | None] = {}
        for edge, (a, b) in enumerate(net.ends):
            ends = [node for node in (a, b) if node in rank]
            self.home[edge] = min(ends, key=lambda n: rank[n]) if ends and a != b else None

    def prepare(self, low: FloatArray, high: FloatArray) -> None:
        """Both sweeps for boxes (P, m)."""
        self.box = np.ascontiguousarray(np.stack([low.T, high.T]))
        self.own: dict[int, list[int]] = {node: [] for node in self.order}
        for edge, node in self.home.items():
            if node is not None and high[:, edge].any():
                self.own[node].append(edge)
        self.children: dict[int, list[int]] = {node: [] for node in self.order}
        self.up: dict[int, Mesh] = {}
        self.outside: dict[int, Mesh] = {}
        for node in self.order:
            mesh = self._local(node, None, None)
            parent = self.parent[node]
            if parent is not None:
                self.up[node] = _eliminated(mesh, node)
                self.children[parent].append(node)
        for node in reversed(self.order):
            parent = self.parent[node]
            if parent is None:
                self.outside[node] = {}
                continue
            mesh = self._local(parent, None, node)
            _merge(mesh, self.outside[parent])
            for other in (parent, *self.around[parent]):
                if other not in self.around[node]:
                    mesh = _eliminated(mesh, other)
            self.outside[node] = mesh

    def _local(self, node: int, without_edge: int | None, without_child: int | None) -> Mesh:
        """Edges at home in this node and what its branches hand up, added."""
        mesh: Mesh = {}
        for edge in self.own[node]:
            if edge != without_edge:
                a, b = self.ends[edge]
                self._put(mesh, a, b, self.box[:, edge])
        for child in self.children[node]:
            if child != without_child:
                _merge(mesh, self.up[child])
        return mesh

    def _put(self, mesh: Mesh, a: int, b: int, value: FloatArray) -> None:
        if a in self.fixed:
            a, b = b, a
        if b in self.fixed:
            block = mesh.get((a, -1))
            block = mesh[a, -1] = np.zeros((2, self.fixed_count, value.shape[-1])) if block is None else block.copy()
            block[:, self.fixed[b]] += value
        else:
            key = (a, b) if a < b else (b, a)
            mesh[key] = mesh[key] + value if key in mesh else value

    def _blocks(self, edge: int, rows: Any) -> tuple[FloatArray, FloatArray] | None:
        """Conductances (2, f, P) from each end to the fixed nodes with the edge itself open; None if no end is free.

        An end that is fixed itself counts as shorted to its own potential.
        """
        home = self.home[edge]
        if home is None:
            return None
        mesh = self._local(home, edge, None)
        _merge(mesh, self.outside[home])
        ends = self.ends[edge]
        mesh = {key: value[..., rows] for key, value in mesh.items()}
        for other in self.around[home]:
            if other not in ends:
                mesh = _eliminated(mesh, other)
        out: list[FloatArray] = []
        for end in ends:
            block = mesh.get((end, -1))
            if block is None:
                block = np.zeros((2, self.fixed_count, len(rows)))
                if end in self.fixed:
                    block[:, self.fixed[end]] = np.inf
            out.append(block)
        return out[0], out[1]

    def signs(self, edges: Sequence[int], rows: npt.NDArray[np.intp], at_v: FloatArray) -> Signs:
        """Sign of the drop a to b of each edge in each box, (E, rows); 2 if not proven.

        `at_v` holds all potentials of the fixed nodes to prove it for: (C, f), or (C, f, rows) if each box has its own.
        """
        out = np.full((len(edges), len(rows)), 2, dtype=np.int8)
        if not len(rows):
            return out
        step = max(1, 4096 // len(rows))
        for start in range(0, len(edges), step):
            found = [(i, self._blocks(edges[i], rows)) for i in range(start, min(start + step, len(edges)))]
            pairs = [(i, pair) for i, pair in found if pair is not None]
            if not pairs:
                continue
            blocks = np.concatenate([end for _, pair in pairs for end in pair], axis=-1)
            volts = at_v if at_v.ndim == 2 else np.tile(at_v, 2 * len(pairs))
            least, most = _means(blocks, volts)
            shape = (-1, len(pairs), 2, len(rows))
            least, most = least.reshape(shape), most.reshape(shape)
            higher = (least[:, :, 0] >= most[:, :, 1]).all(axis=0)
            lower = (most[:, :, 0] <= least[:, :, 1]).all(axis=0)
            out[[i for i, _ in pairs]] = np.where(higher & lower, 0, np.where(higher, 1, np.where(lower, -1, 2)))
        return out


def _merge(mesh: Mesh, other: Mesh) -> None:
    for key, value in other.items():
        mesh[key] = mesh[key] + value if key in mesh else value


def _eliminated(mesh: Mesh, node: int) -> Mesh:
    """The mesh without `node`, as intervals: each new conductance has its own tight range."""
    out: Mesh = {}
    branch: list[tuple[int, Any]] = []
    for key, value in mesh.items():
        if node in key:
            branch.append((key[0] if key[1] == node else key[1], value))
        else:
            out[key] = value
    if len(branch) < 1:
        return out
    fixed = next((value for other, value in branch if other == -1), None)
    plain = [(other, value) for other, value in branch if other != -1]
    fixed_sum = 0.0 if fixed is None else fixed.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        for i, (a, g_a) in enumerate(plain):
            rest_a = [g for j, (_, g) in enumerate(plain) if j != i]
            for b, g_b in plain[i + 1 :]:
                rest = fixed_sum
                for g in rest_a:
                    if g is not g_b:
                        rest = rest + g
                _merge(out, {(a, b) if a < b else (b, a): _range(g_a, g_b, rest)})
            if fixed is not None:
                rest = _all_but_one(fixed)
                for g in rest_a:
                    rest = rest + g[:, None]
                _merge(out, {(a, -1): _range(g_a[:, None], fixed, rest)})
    return out


def _all_but_one(block: FloatArray) -> FloatArray:
    """For each fixed node the sum of the conductances to the others, without subtracting."""
    out = np.zeros_like(block)
    for place in range(block.shape[1]):
        for other in range(block.shape[1]):
            if other != place:
                out[:, place] += block[:, other]
    return out


def _range(g_i: FloatArray, g_j: FloatArray, rest: Any) -> FloatArray:
    """Ends of ``g_i g_j / (g_i + g_j + rest)``: it grows with g_i and g_j and falls with the rest."""
    pair = g_i + g_j
    total = pair + (rest[::-1] if isinstance(rest, np.ndarray) else rest)
    plain = (g_i / (total + (total == 0.0))) * g_j
    infinite = np.isinf(total)
    if not infinite.any():
        return plain
    short_i, short_j = np.isinf(g_i), np.isinf(g_j)
    merged = np.where(short_i & short_j, np.inf, np.where(short_i, g_j, np.where(short_j, g_i, 0.0)))
    if isinstance(rest, np.ndarray):
        # With another short in the star the low end may come out as nothing.
        low_rest = np.broadcast_to(np.isinf(rest[1]), merged[0].shape)
        merged = np.stack([np.where(low_rest, 0.0, merged[0]), merged[1]])
    return np.where(infinite, merged, plain)


def _means(block: FloatArray, at_v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Bounds (C, P) of the weighted mean of fixed potentials (C, f) or (C, f, P) with weights in block (2, f, P)."""
    low, high = block
    rising = np.argsort(at_v, axis=1, kind="stable")
    volts = np.take_along_axis(at_v, rising, axis=1)
    if at_v.ndim == 2:
        low, high, volts = low[rising], high[rising], volts[..., None]
    else:
        low = np.take_along_axis(np.broadcast_to(low, at_v.shape), rising, axis=1)
        high = np.take_along_axis(np.broadcast_to(high, at_v.shape), rising, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        least = _least(low, high, volts)
        most = -_least(low[:, ::-1], high[:, ::-1], -volts[:, ::-1])
    never = np.isnan(least) | np.isnan(most)
    least[never], most[never] = -np.inf, np.inf
    return least, most


def _least(low: FloatArray, high: FloatArray, volts: FloatArray) -> FloatArray:
    """Least weighted mean (C, P) over weights (C, f, P) for rising potentials: large weights below a threshold.

    All thresholds at once: sums of large weights up to it and of small weights beyond it.
    """
    short: BoolArray = np.isinf(np.atleast_1d(high))
    any_short = bool(short.any())
    short_low: BoolArray = np.isinf(np.atleast_1d(low))
    if any_short:
        low, high = np.where(short_low, 0.0, low), np.where(short, 0.0, high)
    total, moment = _sums(high, low), _sums(high * volts, low * volts)
    mean = moment / total
    if any_short:
        wide = np.broadcast_to(volts, mean.shape)
        first = np.take_along_axis(wide, short.argmax(axis=1)[:, None], axis=1)
        first_low = np.take_along_axis(wide, short_low.argmax(axis=1)[:, None], axis=1)
        mean = np.where(np.logical_or.reduce(short_low, axis=1, keepdims=True), first_low, mean)
        mean = np.where(np.logical_or.accumulate(short, axis=1), first, mean)
    out: FloatArray = np.fmin.reduce(mean, axis=1)
    return out


def _sums(first: FloatArray, then: FloatArray) -> FloatArray:
    """For each threshold the sum of `first` up to it and of `then` beyond it, along axis 1.

    Written out because numpy's cumulative sum along an inner axis takes ten times as long.
    """
    out = np.empty_like(first)
    out[:, 0] = first[:, 0]
    count = first.shape[1]
    for i in range(1, count):
        np.add(out[:, i - 1], first[:, i], out=out[:, i])
    if count > 1:
        beyond = then[:, count - 1].copy()
        for i in range(count - 2, -1, -1):
            out[:, i] += beyond
            if i:
                beyond += then[:, i]
    return out
