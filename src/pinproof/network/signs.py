"""Which way a reading moves with each conductance, proven from the graph alone.

Answers: can the current through an edge change its direction while all conductances are still free?
Units:   none; only directions and orders.
Touches: nothing.
Beside:  `intervals` decides more cases with numbers; `spans` enumerates what stays open.
Sources: sensitivity by adjoint, dV_pin/dg_k = -(drop across k) * (adjoint drop across k), Director and Rohrer, 1969
         (seen: memory; tested here against exact solutions). Direction of a current in a two-terminal network:
         by the matrix-tree theorem (Kirchhoff, 1847) it is a sum over spanning trees, each of which sends its
         current along one simple path, so it keeps its sign when all simple paths use the edge in one direction.

Directions are bit flags: 1 from `a` to `b` (a is higher), 2 from `b` to `a`, 3 both can occur, 0 never a current.
A proof for a graph also holds when some of its edges are open or shorted, since that is a limit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from pinproof.network.netlist import FloatArray, Netlist

Flags = npt.NDArray[np.uint8]

FALLS, NONE, RISES, OPEN = -1, 0, 1, 2
"""Effect of a larger conductance on a reading: falls, none, rises, not proven."""

_STEPS = 400
"""Search steps after which a direction counts as possible: costs proofs, never soundness."""


def flip(flags: Flags) -> Flags:
    """Directions seen from the other end."""
    return (((flags & 1) << 1) | (flags >> 1)).astype(np.uint8)


def drop_flags(net: Netlist, high: Iterable[int], present: bytes, wanted: Sequence[int]) -> Flags:
    """Directions when the rails in `high` (positions) are at one potential and all other rails at a lower one."""
    top = frozenset(net.rail_index[i] for i in high)
    low = frozenset(net.rail_index) - top
    return _flags(net, top, low, present, wanted)


def adjoint_flags(net: Netlist, node: int, present: bytes, wanted: Sequence[int]) -> Flags:
    """Directions when a current is fed into `node` and all rails are at zero."""
    if node in net.rail_index:
        return np.zeros(len(net.edges), dtype=np.uint8)
    return _flags(net, frozenset([node]), frozenset(net.rail_index), present, wanted)


def _flags(net: Netlist, source: frozenset[int], sink: frozenset[int], present: bytes, wanted: Sequence[int]) -> Flags:
    key = ("flags", source, sink, present)
    known = net._cache.get(key)
    if known is None:
        known = net._cache[key] = (np.full(len(net.edges), 255, dtype=np.uint8), _Paths(net, source, sink, present))
    flags, paths = known
    for edge in wanted:
        if flags[edge] == 255:
            flags[edge] = paths.directions(edge)
    return flags


class _Paths:
    """Simple paths from a source to a sink in the graph of the present edges, terminals merged."""

    def __init__(self, net: Netlist, source: frozenset[int], sink: frozenset[int], present: bytes) -> None:
        self.s, self.t = -1, -2
        self.name = {
            node: self.s if node in source else self.t if node in sink else node for node in range(len(net.nodes))
        }
        self.ends = [(self.name[a], self.name[b]) for a, b in net.ends]
        around: dict[int, set[int]] = {self.s: set(), self.t: set()}
        for there, (a, b) in zip(present, self.ends, strict=True):
            if there and a != b:
                around.setdefault(a, set()).add(b)
                around.setdefault(b, set()).add(a)
        # Dead ends carry no current; without them the search is short.
        thin = [n for n, near in around.items() if len(near) == 1 and n not in (self.s, self.t)]
        while thin:
            node = thin.pop()
            for other in around.pop(node):
                around[other].discard(node)
                if len(around[other]) == 1 and other not in (self.s, self.t):
                    thin.append(other)
            around[node] = set()
        self.around = around

    def directions(self, edge: int) -> int:
        a, b = self.ends[edge]
        if a == b:
            return 0
        if b not in self.around.get(a, ()):
            # Not there, or a dead end: no current. (A direct neighbour is always listed otherwise.)
            return 0
        return (1 if self._crosses(a, b) else 0) | (2 if self._crosses(b, a) else 0)

    def _crosses(self, a: int, b: int) -> bool:
        """Is there a simple path source … a, b … sink? True as well when the search is given up."""
        if a == self.t or b == self.s:
            return False
        self.steps = _STEPS
        return self._extend(self.s, a, b, {self.s, b, self.t})

    def _extend(self, here: int, a: int, b: int, used: set[int]) -> bool:
        self.steps -= 1
        if self.steps < 0:
            return True
        if here == a:
            return self._reaches(b, self.t, used - {b, self.t})
        if not self._reaches(b, self.t, used - {b, self.t}) or not self._reaches(here, a, used - {here}):
            return False
        return any(self._extend(n, a, b, used | {n}) for n in self.around[here] if n not in used)

    def _reaches(self, start: int, goal: int, blocked: set[int]) -> bool:
        if start == goal:
            return True
        seen = {start, *blocked}
        stack = [start]
        while stack:
            for node in self.around[stack.pop()]:
                if node == goal:
                    return True
                if node not in seen and node not in (self.s, self.t):
                    seen.add(node)
                    stack.append(node)
        return False


def top_sets(rail_v: FloatArray) -> tuple[tuple[int, ...], ...]:
    """For one set of rail potentials: the rails above each gap between distinct potentials, as positions."""
    levels = np.unique(rail_v)[1:]
    return tuple(tuple(np.flatnonzero(rail_v >= level).tolist()) for level in levels[::-1])


def effect(drop: Flags, adjoint: Flags) -> npt.NDArray[np.int8]:
    """Effect of each conductance on the reading (FALLS, NONE, RISES or OPEN) from both directions."""
    out = np.full(drop.shape, OPEN, dtype=np.int8)
    out[((drop == 1) & (adjoint == 1)) | ((drop == 2) & (adjoint == 2))] = FALLS
    out[((drop == 1) & (adjoint == 2)) | ((drop == 2) & (adjoint == 1))] = RISES
    out[(drop == 0) | (adjoint == 0)] = NONE
    return out


def structural_effects(
    net: Netlist,
    node: int,
    minus: int | None,
    orders: Sequence[tuple[tuple[int, ...], ...]],
    present: npt.NDArray[np.bool_],
    wanted: Sequence[int],
) -> npt.NDArray[np.int8]:
    """Effect of each wanted edge for each order of the rails, shape (len(orders), m); others are NONE."""
    mask = present.tobytes()
    adjoint = adjoint_flags(net, node, mask, wanted).copy()
    if minus is not None:
        other = (adjoint_flags(net, minus, mask, wanted) & 3).astype(np.uint8)
        adjoint |= flip(other)
    out = np.zeros((len(orders), len(net.edges)), dtype=np.int8)
    pick = np.zeros(len(net.edges), dtype=bool)
    pick[list(wanted)] = True
    for row, order in enumerate(orders):
        drop = np.zeros(len(net.edges), dtype=np.uint8)
        for high in order:
            drop |= drop_flags(net, high, mask, wanted)
        out[row, pick] = effect(drop, adjoint)[pick]
    return out
