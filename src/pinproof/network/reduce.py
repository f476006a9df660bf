"""Series and parallel conductors taken together, exactly, before anything is searched.

Answers: which smaller network gives the same reading, and which of its edges stands for which original ones?
Units:   siemens.
Touches: nothing.
Beside:  `spans` and `excursion` work on the reduced network and translate corners back.
Sources: series and parallel rules. A series or parallel group grows with each member, so its range is that of its
         members' ends, and a reading that rises with the group rises with each member.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pinproof.network.netlist import FloatArray, IntArray, Netlist


@dataclass(frozen=True, eq=False)
class Reduction:
    """`net` is the smaller network; `recipe[i]` builds its edge i; `group[e]` is the edge that holds original e.

    A recipe is an original edge's index or ("series" | "parallel", recipe, recipe). Edges that cannot matter to the
    kept nodes (dead ends, rail to rail) have group -1.
    """

    net: Netlist
    recipes: tuple[Any, ...]
    group: IntArray

    def apply(self, conductance_s: FloatArray) -> FloatArray:
        """Conductances of the reduced edges, (..., m) to (..., m')."""
        if all(isinstance(recipe, int) for recipe in self.recipes):
            return conductance_s[..., list(self.recipes)]
        out = np.empty((*conductance_s.shape[:-1], len(self.recipes)))
        with np.errstate(divide="ignore"):
            for column, recipe in enumerate(self.recipes):
                out[..., column] = _value(recipe, conductance_s)
        return out

    def expand(self, at_high: np.ndarray[Any, Any], low: FloatArray, high: FloatArray) -> FloatArray:
        """Original conductances (P, m) with each group at its high or low end; edges that do not matter at low."""
        padded = np.concatenate([at_high, np.zeros((len(at_high), 1), dtype=bool)], axis=1)
        return np.where(padded[:, self.group], high, low)


def _value(recipe: Any, g: FloatArray) -> FloatArray:
    if isinstance(recipe, int):
        return g[..., recipe]
    kind, first, second = recipe
    one, two = _value(first, g), _value(second, g)
    if kind == "parallel":
        return one + two
    out: FloatArray = 1.0 / (1.0 / one + 1.0 / two)
    return out


def reduction(net: Netlist, keep: Sequence[int], whole: Sequence[int] = (), present: bytes | None = None) -> Reduction:
    """Reduced network for readings at the nodes `keep`. Edges in `whole` stay single. Cached.

    `present` marks the edges that can conduct at all; the others are left out.
    """
    key = ("reduction", tuple(keep), tuple(whole), present)
    made = net._cache.get(key)
    if made is None:
        made = net._cache[key] = _reduce(net, set(keep), set(whole), present)
    return made


def _reduce(net: Netlist, keep: set[int], whole: set[int], present: bytes | None) -> Reduction:
    rails = set(net.rail_index)
    edges: dict[int, tuple[int, int, Any]] = {}
    at: dict[int, set[int]] = {node: set() for node in range(len(net.nodes))}
    fresh = 0

    def add(a: int, b: int, recipe: Any) -> None:
        nonlocal fresh
        if a == b or (a in rails and b in rails and not (isinstance(recipe, int) and recipe in whole)):
            return
        a, b = min(a, b), max(a, b)
        if not (isinstance(recipe, int) and recipe in whole):
            for other in at[a] & at[b]:
                if not (isinstance(edges[other][2], int) and edges[other][2] in whole):
                    edges[other] = (a, b, ("parallel", edges[other][2], recipe))
                    return
        edges[fresh] = (a, b, recipe)
        at[a].add(fresh)
        at[b].add(fresh)
        fresh += 1

    def drop(number: int) -> tuple[int, int, Any]:
        a, b, recipe = edges.pop(number)
        at[a].discard(number)
        at[b].discard(number)
        return a, b, recipe

    for index, (a, b) in enumerate(net.ends):
        if present is None or present[index]:
            add(a, b, index)
    inner = [node for node in range(len(net.nodes)) if node not in rails and node not in keep]
    changed = True
    while changed:
        changed = False
        for node in inner:
            around = sorted(at[node])
            if len(around) == 1 and not _is_whole(edges[around[0]][2], whole):
                drop(around[0])
                changed = True
            elif len(around) == 2 and not any(_is_whole(edges[n][2], whole) for n in around):
                one, two = drop(around[0]), drop(around[1])
                add(_other(one, node), _other(two, node), ("series", one[2], two[2]))
                changed = True
    group = np.full(len(net.edges), -1, dtype=np.intp)
    listed = sorted(edges.values(), key=lambda edge: _members(edge[2])[0])
    for number, (_, _, recipe) in enumerate(listed):
        group[_members(recipe)] = number
    used = {end for a, b, _ in listed for end in (a, b)} | keep
    small = Netlist(
        [name for node, name in enumerate(net.nodes) if node in used or node in rails],
        net.rails,
        [(net.edges[_members(recipe)[0]].id, net.nodes[a], net.nodes[b]) for a, b, recipe in listed],
    )
    return Reduction(small, tuple(recipe for _, _, recipe in listed), group)


def _is_whole(recipe: Any, whole: set[int]) -> bool:
    return isinstance(recipe, int) and recipe in whole


def _other(edge: tuple[int, int, Any], node: int) -> int:
    return edge[1] if edge[0] == node else edge[0]


def _members(recipe: Any) -> list[int]:
    if isinstance(recipe, int):
        return [recipe]
    return sorted(_members(recipe[1]) + _members(recipe[2]))
