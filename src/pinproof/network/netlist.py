"""The circuit as nodes, rails and edges, and the order in which its nodes are eliminated.

Answers: what is connected to what, and which straight list of star-mesh steps leaves only the nodes of interest.
Units:   none here; conductances come in with each call. [S]
Touches: nothing.
Beside:  `star_mesh` carries the plans out.
Sources: star-mesh transform, A. Rosen, "A new network theorem", Journal IEE 62 (1924) (seen: memory);
         checked in the tests against dense solutions. Minimum-degree ordering, standard sparse-matrix practice.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from pinproof.errors import PinproofError

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]


@dataclass
class NetworkFault(PinproofError, ValueError):
    """Numbers or names a network cannot work with: where, what was read, what would be right, what to do next."""

    where: str
    read: str
    expected: str
    hint: str = ""

    def __str__(self) -> str:
        return f"{self.where}: {self.read}. Right would be {self.expected}. {self.hint}".strip()


@dataclass(frozen=True)
class Edge:
    """One conductor between nodes `a` and `b`. Its conductance comes with each call."""

    id: str
    a: str
    b: str


@dataclass(frozen=True)
class Star:
    """One elimination step: `node` goes, its neighbours get meshed.

    `slots[i]` holds the conductance from the node to `neighbours[i]`; `mesh` lists (i, j, slot) for each pair of
    neighbours whose slot receives ``g_i * g_j / sum(g)``. Pairs of fixed nodes are left out: a conductance between
    two fixed potentials changes no potential.
    """

    node: int
    neighbours: tuple[int, ...]
    slots: tuple[int, ...]
    mesh: tuple[tuple[int, int, int], ...]


@dataclass(frozen=True)
class Plan:
    """Straight-line elimination: `slot_edges[s]` are summed into slot s, then the stars are done in order.

    `slot_of` finds the slot of a pair of nodes (smaller index first) and lists only pairs that can be non-zero.
    `alias[n]` is the node that n was merged into before anything else.
    """

    kept: tuple[int, ...]
    alias: tuple[int, ...]
    slot_edges: tuple[tuple[int, ...], ...]
    slot_of: dict[tuple[int, int], int]
    stars: tuple[Star, ...]
    cache: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)

    def slot(self, a: int, b: int) -> int:
        """Slot of the pair, or -1 if the two are never joined."""
        a, b = self.alias[a], self.alias[b]
        return self.slot_of.get((a, b) if a < b else (b, a), -1)


class Netlist:
    """An immutable circuit: nodes, the rails among them (fixed potentials), and edges (id, a, b).

    Parameters
    ----------
    nodes : sequence of str
        All nodes in the order of the result columns. Rails that are missing here are put at the end.
    rails : sequence of str
        Nodes whose potential is given with each call, in the order of `rail_v`.
    edges : sequence of Edge or (id, a, b)
        In the order of the conductance columns. Parallel edges are fine; an edge from a node to itself has no effect.

    Raises
    ------
    NetworkFault
        Unknown or doubled names.
    """

    __slots__ = ("_cache", "_edge_index", "_node_index", "edges", "ends", "nodes", "rail_index", "rails")

    def __init__(
        self, nodes: Iterable[str], rails: Iterable[str], edges: Iterable[Edge | tuple[str, str, str]]
    ) -> None:
        rail_names = tuple(rails)
        given = tuple(nodes)
        all_nodes = given + tuple(name for name in rail_names if name not in set(given))
        all_edges = tuple(edge if isinstance(edge, Edge) else Edge(*edge) for edge in edges)
        node_index = {name: i for i, name in enumerate(all_nodes)}
        edge_index = {edge.id: i for i, edge in enumerate(all_edges)}
        _refuse_doubles("nodes", all_nodes)
        _refuse_doubles("rails", rail_names)
        _refuse_doubles("edges", [edge.id for edge in all_edges])
        for edge in all_edges:
            for end in (edge.a, edge.b):
                if end not in node_index:
                    raise NetworkFault(f"edge {edge.id}", f'end "{end}" is not a node', "one of the listed nodes")
        put = object.__setattr__
        put(self, "nodes", all_nodes)
        put(self, "rails", rail_names)
        put(self, "edges", all_edges)
        put(self, "ends", tuple((node_index[edge.a], node_index[edge.b]) for edge in all_edges))
        put(self, "rail_index", tuple(node_index[name] for name in rail_names))
        put(self, "_node_index", node_index)
        put(self, "_edge_index", edge_index)
        put(self, "_cache", {})

    nodes: tuple[str, ...]
    rails: tuple[str, ...]
    edges: tuple[Edge, ...]
    ends: tuple[tuple[int, int], ...]
    rail_index: tuple[int, ...]
    _node_index: dict[str, int]
    _edge_index: dict[str, int]
    _cache: dict[Any, Any]

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"Netlist is immutable; make a new one (or use edits.edited) instead of setting {name}.")

    def __repr__(self) -> str:
        return f"Netlist({len(self.nodes)} nodes, rails {list(self.rails)}, {len(self.edges)} edges)"

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Netlist):
            return NotImplemented
        return (self.nodes, self.rails, self.edges) == (other.nodes, other.rails, other.edges)

    def __hash__(self) -> int:
        return hash((self.nodes, self.rails, self.edges))

    def __reduce__(self) -> tuple[type[Netlist], tuple[Any, ...]]:
        return Netlist, (self.nodes, self.rails, self.edges)

    @classmethod
    def from_edges(cls, rails: Iterable[str], edges: Iterable[Edge | tuple[str, str, str]]) -> Netlist:
        """A netlist whose nodes are the ends of its edges, in order of appearance, then the rails."""
        rail_names = tuple(rails)
        all_edges = tuple(edge if isinstance(edge, Edge) else Edge(*edge) for edge in edges)
        seen = dict.fromkeys(end for edge in all_edges for end in (edge.a, edge.b))
        return cls([name for name in seen if name not in rail_names], rail_names, all_edges)

    def node_index(self, name: str) -> int:
        """Column of a node, or NetworkFault with the names there are."""
        if name not in self._node_index:
            raise NetworkFault("node", f'"{name}" is not a node', f"one of {', '.join(self.nodes)}")
        return self._node_index[name]

    def edge_index(self, edge_id: str) -> int:
        """Column of an edge, or NetworkFault with the ids there are."""
        if edge_id not in self._edge_index:
            raise NetworkFault("edge", f'"{edge_id}" is not an edge', f"one of {', '.join(self._edge_index)}")
        return self._edge_index[edge_id]

    def plan(self, keep: Sequence[int] = (), rails: str = "fixed") -> Plan:
        """Elimination plan that leaves the nodes in `keep`, and the rails if they are `fixed`.

        `rails` is ``"fixed"`` (kept, and pairs of them ignored), ``"merged"`` (all one kept node, the first rail),
        ``"tied"`` (all one node, eliminated like any other) or ``"loose"`` (ordinary nodes). Plans are cached.
        """
        key = ("plan", tuple(keep), rails)
        plan = self._cache.get(key)
        if plan is None:
            plan = self._cache[key] = _make_plan(self, tuple(keep), rails)
        return plan

    def conductances(self, conductance_s: npt.ArrayLike, where: str = "conductance_s") -> FloatArray:
        """Checked array of shape (B, m); a vector counts as one row."""
        array = np.atleast_2d(np.asarray(conductance_s, dtype=np.float64))
        if array.ndim != 2 or array.shape[1] != len(self.edges):
            raise NetworkFault(where, f"shape {array.shape}", f"(rows, {len(self.edges)}), one column for each edge")
        if array.size and not array.min() >= 0.0:
            row, column = np.argwhere(~(array >= 0.0))[0]
            raise NetworkFault(
                f"{where}, row {row}, edge {self.edges[column].id}", f"{array[row, column]} S", "0 or more, inf a short"
            )
        return array

    def rail_potentials(self, rail_v: npt.ArrayLike, rows: int) -> FloatArray:
        """Checked array of shape (1 or B, r)."""
        array = np.atleast_2d(np.asarray(rail_v, dtype=np.float64))
        if array.ndim != 2 or array.shape[1] != len(self.rails) or array.shape[0] not in (1, rows):
            raise NetworkFault("rail_v", f"shape {array.shape}", f"(1 or {rows}, {len(self.rails)})")
        if not np.isfinite(array).all():
            raise NetworkFault("rail_v", "a potential that is not a finite number", "volts")
        return array


def _refuse_doubles(what: str, names: Sequence[str]) -> None:
    doubled = sorted({name for name in names if list(names).count(name) > 1}) if len(set(names)) < len(names) else []
    if doubled:
        raise NetworkFault(what, f"{', '.join(doubled)} listed more than once", "each name once")


def _make_plan(net: Netlist, keep: tuple[int, ...], rails: str) -> Plan:
    alias = list(range(len(net.nodes)))
    if rails in ("merged", "tied") and net.rail_index:
        for rail in net.rail_index:
            alias[rail] = net.rail_index[0]
    fixed = set(net.rail_index) if rails == "fixed" else set()
    kept = {alias[node] for node in keep} | fixed
    if rails == "merged" and net.rail_index:
        kept.add(net.rail_index[0])

    slot_of: dict[tuple[int, int], int] = {}
    slot_edges: list[list[int]] = []
    neighbours: dict[int, set[int]] = {node: set() for node in set(alias)}

    def slot(a: int, b: int) -> int:
        pair = (a, b) if a < b else (b, a)
        if pair not in slot_of:
            slot_of[pair] = len(slot_edges)
            slot_edges.append([])
            neighbours[a].add(b)
            neighbours[b].add(a)
        return slot_of[pair]

    for index, (a, b) in enumerate(net.ends):
        a, b = alias[a], alias[b]
        if a != b and not (a in fixed and b in fixed):
            slot_edges[slot(a, b)].append(index)

    def fill(node: int) -> int:
        around = sorted(neighbours[node])
        return sum(1 for i, a in enumerate(around) for b in around[i + 1 :] if b not in neighbours[a])

    stars: list[Star] = []
    waiting = set(neighbours) - kept
    while waiting:
        node = min(waiting, key=lambda n: (len(neighbours[n]), fill(n), n))
        waiting.remove(node)
        around = tuple(sorted(neighbours[node]))
        slots = tuple(slot(node, other) for other in around)
        for other in around:
            neighbours[other].discard(node)
        mesh = tuple(
            (i, j, slot(a, around[j]))
            for i, a in enumerate(around)
            for j in range(i + 1, len(around))
            if not (a in fixed and around[j] in fixed)
        )
        stars.append(Star(node, around, slots, mesh))
    return Plan(tuple(sorted(kept)), tuple(alias), tuple(map(tuple, slot_edges)), slot_of, tuple(stars))
