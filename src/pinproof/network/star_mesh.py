"""Elimination of nodes without subtraction, on single floats and on numpy columns.

Answers: what is left between the kept nodes when all others have been eliminated.
Units:   siemens; 0 is open, inf is a short. Arrays of a call must broadcast together.
Touches: nothing.
Beside:  `netlist` makes the plans, `solve` turns the leftovers into potentials.
Sources: star-mesh transform: eliminating node k adds ``g_ki * g_kj / sum(g_k)`` between each pair of its neighbours.

Only sums, products and quotients of numbers that are not negative occur, so no digits cancel, however wide the
conductances are spread. A short has weight 1 on its far end (on the first one if there are several), all other
weights of that star are 0: the node merges into that neighbour. A node with no conductance left changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import inf
from typing import Any

import numpy as np

from pinproof.network.netlist import BoolArray, FloatArray, Netlist, Plan

ScalarPlan = Callable[[Sequence[float]], tuple[float, ...]]


def eliminate(plan: Plan, columns: Sequence[FloatArray], shorts: bool, zeros: bool = True) -> list[FloatArray | None]:
    """Carry out a plan on columns, one array for each edge; returns the slots (None: no edge ever there).

    Columns may have different shapes that broadcast together; work that does not depend on an axis is then done
    once. Slots of an eliminated node keep the conductances it had when its turn came. `shorts` says whether any
    conductance can be infinite, `zeros` whether any can be 0: saying no is quicker.
    """
    slots: list[Any] = [None] * len(plan.slot_edges)
    for number, edges in enumerate(plan.slot_edges):
        if edges:
            total = columns[edges[0]]
            for edge in edges[1:]:
                total = total + columns[edge]
            slots[number] = total
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for star in plan.stars:
            if star.mesh:
                _star(slots, star.slots, star.mesh, shorts, zeros)
    return slots


def _star(
    slots: list[Any], own: tuple[int, ...], mesh: tuple[tuple[int, int, int], ...], shorts: bool, zeros: bool
) -> None:
    g = [slots[s] for s in own]
    total = g[0]
    for value in g[1:]:
        total = total + value
    short: BoolArray | None = None
    if shorts:
        short = np.isinf(total)
        if not short.any():
            short = None
    # A star without any conductance: dividing 0 by 1 instead of by 0 leaves every slot as it is.
    safe = total + (total == 0.0) if zeros else total
    first = _first_short(g) if short is not None else []
    for i, j, target in mesh:
        added = (g[i] / safe) * g[j]
        if short is not None:
            merged = np.where(first[i], g[j], np.where(first[j], g[i], 0.0))
            added = np.where(short, merged, added)
        slots[target] = added if slots[target] is None else slots[target] + added


def _first_short(g: Sequence[FloatArray]) -> list[BoolArray]:
    """For each branch of a star: is it the first infinite one?"""
    first: list[Any] = []
    found: Any = False
    for value in g:
        here = np.isinf(value)
        first.append(here & ~np.asarray(found))
        found = here | found
    return first


def weights(g: Sequence[FloatArray], shorts: bool) -> tuple[list[FloatArray], BoolArray]:
    """Weights g_j / sum(g) with which neighbours make up a node's potential, and whether there is no conductance.

    With shorts the first infinite one has weight 1. Without any conductance all weights are 0.
    """
    total = g[0]
    for value in g[1:]:
        total = total + value
    none = total == 0.0
    safe = total + none
    with np.errstate(invalid="ignore"):
        parts = [value / safe for value in g]
    if shorts:
        short = np.isinf(total)
        if short.any():
            parts = [np.where(short, f, p) for f, p in zip(_first_short(g), parts, strict=True)]
    return parts, none


def links(net: Netlist, node: int, columns: Sequence[FloatArray], shorts: bool, zeros: bool = True) -> list[FloatArray]:
    """Conductance from `node` to each rail with all else eliminated, one array for each rail. [S]"""
    plan = net.plan((node,))
    slots = eliminate(plan, columns, shorts, zeros)
    zero = np.zeros(1)
    out: list[FloatArray] = []
    for rail in net.rail_index:
        number = plan.slot(node, rail)
        value = slots[number] if number >= 0 else None
        out.append(zero if value is None else value)
    return out


def scalar_links(net: Netlist, node: int) -> ScalarPlan:
    """`links` as one straight-line function on plain floats: far quicker for a handful of rows.

    The source is written from the plan's integers only; no name of a node or an edge ever enters it.
    """
    plan = net.plan((node,))
    made = plan.cache.get("scalar")
    if made is None:
        outputs = tuple(plan.slot(node, rail) for rail in net.rail_index)
        space: dict[str, Any] = {"inf": inf}
        exec(compile(scalar_source(plan, outputs), "<elimination plan>", "exec"), space)
        made = plan.cache["scalar"] = space["eliminate"]
    return made


def scalar_source(plan: Plan, outputs: Sequence[int]) -> str:
    """Python source of a plan: a function of the edge conductances that returns the slots in `outputs`."""
    lines = ["def eliminate(c):"]
    for number, edges in enumerate(plan.slot_edges):
        lines.append(f"    g{number} = " + (" + ".join(f"c[{edge}]" for edge in edges) or "0.0"))
    for star in plan.stars:
        if not star.mesh:
            continue
        own = star.slots
        lines.append(f"    s = {' + '.join(f'g{slot}' for slot in own)}")
        lines.append("    if s < inf:")
        lines.append("        if s > 0.0:")
        for i in range(len(own)):
            targets = [(j, target) for first, j, target in star.mesh if first == i]
            if targets:
                lines.append(f"            w = g{own[i]} / s")
                lines += [f"            g{target} += w * g{own[j]}" for j, target in targets]
        for i in range(len(own)):
            lines.append(f"    elif g{own[i]} == inf:")
            updates = [
                f"        g{target} += g{own[j if first == i else first]}"
                for first, j, target in star.mesh
                if i in (first, j)
            ]
            lines += updates or ["        pass"]
    listed = "".join(f"g{slot}, " if slot >= 0 else "0.0, " for slot in outputs)
    lines.append(f"    return ({listed})")
    return "\n".join(lines)


def shorted_rails(net: Netlist, columns: Sequence[FloatArray]) -> list[tuple[int, int, BoolArray]]:
    """Pairs of rails (as positions in `net.rails`) joined by a chain of shorts, with the rows where they are."""
    reach: dict[tuple[int, int], Any] = {}

    def joined(a: int, b: int) -> Any:
        return reach.get((a, b) if a < b else (b, a))

    def join(a: int, b: int, rows: Any) -> None:
        pair = (a, b) if a < b else (b, a)
        reach[pair] = rows if pair not in reach else reach[pair] | rows

    touched: set[int] = set()
    for (a, b), column in zip(net.ends, columns, strict=True):
        rows = np.isinf(column)
        if a != b and rows.any():
            join(a, b, rows)
            touched |= {a, b}
    for middle in touched - set(net.rail_index):
        around = [n for n in touched if n != middle and joined(middle, n) is not None]
        for i, a in enumerate(around):
            for b in around[i + 1 :]:
                join(a, b, joined(middle, a) & joined(middle, b))
    # Rails touched by shorts may themselves be links of a longer chain.
    for middle in touched & set(net.rail_index):
        around = [n for n in net.rail_index if n != middle and joined(middle, n) is not None]
        for i, a in enumerate(around):
            for b in around[i + 1 :]:
                join(a, b, joined(middle, a) & joined(middle, b))
    out: list[tuple[int, int, BoolArray]] = []
    for i, a in enumerate(net.rail_index):
        for j in range(i + 1, len(net.rail_index)):
            rows = joined(a, net.rail_index[j])
            if rows is not None and rows.any():
                out.append((i, j, rows))
    return out
