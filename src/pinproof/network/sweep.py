"""Interval star-mesh for all edges at once: one sweep up the elimination order and one down.

Answers: over a box, which edges have a drop, or an adjoint drop, of one sign? The same question as
         `intervals.drop_sign` and `adjoint_sign`, for every edge at the price of a few eliminations.
Units:   siemens, volts. Columns are problems, (P,).
Touches: nothing.
Beside:  `spans` narrows its boxes with it.
Sources: the two sweeps are the usual ones on an elimination tree (message passing on a clique tree; seen: memory,
         compared in the tests with one elimination for each edge). Up: each eliminated node hands the mesh between
         its neighbours on. Down: each node learns the mesh of everything outside its own branch.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pinproof.network.intervals import Signs
from pinproof.network.netlist import FloatArray, Netlist

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

    def open_means(self, edge: int, rows: Any, at_v: FloatArray) -> list[tuple[FloatArray, FloatArray]] | None:
        """Bounds (P, C) of the potential at both ends with the edge itself open; None if no end is free."""
        home = self.home[edge]
        if home is None:
            return None
        mesh = self._local(home, edge, None)
        _merge(mesh, self.outside[home])
        ends = self.ends[edge]
        if rows is not None:
            mesh = {key: value[..., rows] for key, value in mesh.items()}
        for other in self.around[home]:
            if other not in ends:
                mesh = _eliminated(mesh, other)
        count = self.box.shape[-1] if rows is None else len(rows)
        out: list[tuple[FloatArray, FloatArray]] = []
        for end in ends:
            if end in self.fixed:
                volts = np.broadcast_to(at_v[:, self.fixed[end]], (count, at_v.shape[0]))
                out.append((volts, volts))
            else:
                block = mesh.get((end, -1))
                if block is None:
                    shape = (count, at_v.shape[0])
                    out.append((np.full(shape, -np.inf), np.full(shape, np.inf)))
                else:
                    out.append(_means(block, at_v))
        return out

    def signs(self, edge: int, rows: Any, at_v: FloatArray) -> Signs:
        """Sign of the drop a to b for all fixed potentials `at_v` (C, f), for each box; 2 if not proven."""
        count = self.box.shape[-1] if rows is None else len(rows)
        ends = self.open_means(edge, rows, at_v)
        if ends is None:
            return np.full(count, 2, dtype=np.int8)
        (a_least, a_most), (b_least, b_most) = ends
        higher, lower = (a_least >= b_most).all(axis=1), (a_most <= b_least).all(axis=1)
        return np.where(higher & lower, 0, np.where(higher, 1, np.where(lower, -1, 2))).astype(np.int8)


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
    """Bounds (P, C) of the weighted mean of fixed potentials with weights in block (2, f, P)."""
    low, high = block
    least = np.empty((block.shape[-1], at_v.shape[0]))
    most = np.empty_like(least)
    any_short = bool(np.isinf(high).any())
    with np.errstate(invalid="ignore", divide="ignore"):
        for c, volts in enumerate(at_v):
            rising = np.argsort(volts, kind="stable")
            least[:, c] = _extreme(low[rising], high[rising], volts[rising], any_short)
            falling = rising[::-1]
            most[:, c] = -_extreme(low[falling], high[falling], -volts[falling], any_short)
    never = np.isnan(least) | np.isnan(most)
    least[never], most[never] = -np.inf, np.inf
    return least, most


def _extreme(low: FloatArray, high: FloatArray, volts: FloatArray, any_short: bool) -> FloatArray:
    """Least mean over weights (f, P) for rising potentials (f,): large weights on the low side of a threshold."""
    best = np.full(low.shape[1], np.nan)
    for cut in range(1, len(volts) + 1):
        weight = np.concatenate([high[:cut], low[cut:]])
        total = weight.sum(axis=0)
        mean = (weight * volts[:, None]).sum(axis=0) / total
        if any_short:
            short = np.isinf(weight)
            first = np.where(short, volts[:, None], np.inf).min(axis=0)
            mean = np.where(short.any(axis=0), first, mean)
        best = np.fmin(best, mean)
    return best


def sweep_for(net: Netlist, fixed: tuple[tuple[int, ...], ...]) -> Sweep:
    """A fresh sweep; its tree is cheap and its sweeps belong to one call."""
    return Sweep(net, fixed)
