"""The part of the netlist that lies between two probes, and a fingerprint of it.

Answers: which elements can a meter see between these two points, with these contacts operated and the controller
         unplugged; is it the same circuit as last time?
Units:   ohms.
Touches: nothing.
Sources: an element carries current between two nodes only if both its ends lie in one block (biconnected component)
         with an edge put between these nodes: Hopcroft and Tarjan, "Algorithm 447", CACM 16 (1973) (seen: memory);
         checked in the tests by removing each element in turn. Two-point resistance rises with each element
         (Rayleigh), so its ends lie at the ends of the box.

With the battery lead lifted, the fuse out and the controller unplugged every rail hangs by itself, but the chassis is
one: `ground` and every line's `return` are the same node here.
"""

from __future__ import annotations

import hashlib
import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pinproof.network import Netlist, resistance_between
from pinproof.tables.contacts import contact_figure
from pinproof.wiring import Branch, Physical, resistor_bounds_ohm

CHASSIS = "chassis"
BENCH_C = (10.0, 30.0)  # a bench whose temperature nobody noted; common practice, no source
BENCH_REACH_K = 5.0  # parts may be this far from the air around them; common practice, no source
TempRange = tuple[float, float]


@dataclass(frozen=True)
class Conductor:
    """One element that conducts, with its ohms: as built, in the whole dry box, and as stated."""

    branch: Branch
    a: str
    b: str
    built_low_ohm: float
    built_high_ohm: float
    works_low_ohm: float
    works_high_ohm: float


@dataclass(frozen=True)
class OhmSpan:
    """Two-point resistance: as built, in the whole box, and as stated with contacts as good as new.

    Infinite where nothing joins the probes.
    """

    built_low_ohm: float
    nominal_ohm: float
    built_high_ohm: float
    works_low_ohm: float
    works_high_ohm: float


def unplugged(node: str) -> str:
    """Name of a node on the bench: chassis for every return and for the controller's ground."""
    return CHASSIS if node == "ground" or node.startswith("return@") else node


def bench_temperature(ambient_c: float | None) -> TempRange:
    """Temperatures the parts may have on a bench. [°C]"""
    return BENCH_C if ambient_c is None else (ambient_c - BENCH_REACH_K, ambient_c + BENCH_REACH_K)


def built_ohms(branch: Branch, bench_c: TempRange) -> tuple[float, float]:
    """Least and greatest ohms of a conducting element as built: not aged, not worn, at bench temperature. [Ω]

    A new contact may show 3 Ω more than its least: that is what a sealed switch may read at the small current of a
    meter (MIL-PRF-22885H 3.36, open copy).
    """
    if branch.kind == "contact":
        return branch.low_ohm, min(branch.high_ohm, branch.low_ohm + contact_figure("low_level_contact").value)
    if branch.resistor is None or branch.resistor.ohm is None:
        return branch.low_ohm, branch.high_ohm
    low, high = resistor_bounds_ohm(replace(branch.resistor, ageing=0.0), *bench_c)
    least, most = branch.factor_at(*bench_c)
    return low * least, high * most


def new_ohm(branch: Branch) -> float:
    """Ohms of a conducting element as stated, a contact as good as new. [Ω]"""
    return branch.low_ohm if branch.kind == "contact" else branch.nominal_ohm


def works_ohms(branch: Branch, truck_c: TempRange, bench_c: TempRange) -> tuple[float, float]:
    """Least and greatest ohms in the whole dry box, the bench included. [Ω]"""
    least, most = branch.factor_at(*truck_c)
    low, high = built_ohms(branch, bench_c)
    return min(low, branch.low_ohm * least), max(high, branch.high_ohm * most)


def conductors(netlist: Physical, operated: Iterable[str], bench_c: TempRange = BENCH_C) -> tuple[Conductor, ...]:
    """Every element of the dry truck that conducts, all contacts not named being at rest. Pulls are unplugged."""
    pressed = frozenset(operated)
    truck_c = (netlist.truck.temperature.low, netlist.truck.temperature.high)
    found = []
    for branch in netlist.branches:
        if branch.kind in ("pull", "leak"):
            continue
        if branch.kind == "contact" and branch.conducts_at_rest == (branch.contact in pressed):
            continue
        built = built_ohms(branch, bench_c)
        works = works_ohms(branch, truck_c, bench_c)
        found.append(Conductor(branch, unplugged(branch.a), unplugged(branch.b), *built, *works))
    return tuple(found)


def between(ends: Sequence[tuple[str, str]], a: str, b: str) -> tuple[int, ...]:
    """Places of the edges that lie on some path from `a` to `b` that visits no node twice; none if nothing joins them.

    Parameters
    ----------
    ends : sequence of (node, node)
    a, b : str
        Two different nodes; they need not occur in `ends`.
    """
    around: dict[str, list[tuple[int, str]]] = defaultdict(list)
    around[a].append((-1, b))
    around[b].append((-1, a))
    for index, (one, other) in enumerate(ends):
        if one != other:
            around[one].append((index, other))
            around[other].append((index, one))
    seen_at = {a: 0, b: 1}
    reach = {a: 0, b: 1}
    edges: list[int] = []
    path: list[tuple[str, int, int]] = [(b, -1, 0)]  # node, edge it was entered by, next neighbour to look at
    while path:
        node, entered, at = path.pop()
        if at < len(around[node]):
            path.append((node, entered, at + 1))
            index, other = around[node][at]
            if index == entered:
                continue
            if other not in seen_at:
                seen_at[other] = reach[other] = len(seen_at)
                edges.append(index)
                path.append((other, index, 0))
            elif seen_at[other] < seen_at[node]:
                edges.append(index)
                reach[node] = min(reach[node], seen_at[other])
        elif path:
            parent = path[-1][0]
            if reach[node] >= seen_at[parent]:  # a block hangs here that the probes do not need
                while edges.pop() != entered:
                    pass
            reach[parent] = min(reach[parent], reach[node])
    return tuple(sorted(edges)) if reach[b] == 0 else ()


def seen_between(parts: Sequence[Conductor], a: str, b: str) -> tuple[Conductor, ...]:
    """The elements a meter sees between two nodes."""
    return tuple(parts[index] for index in between([(each.a, each.b) for each in parts], a, b))


def ohm_span(parts: Sequence[Conductor], a: str, b: str) -> OhmSpan:
    """Two-point resistance of these elements. NaN where a resistor is still to be chosen."""
    if not parts:
        return OhmSpan(*[math.inf] * 5)
    nodes = list(dict.fromkeys([a, b, *(node for each in parts for node in (each.a, each.b))]))
    net = Netlist(nodes, (), [(f"{i}", each.a, each.b) for i, each in enumerate(parts)])
    rows = [
        [each.built_low_ohm for each in parts],
        [new_ohm(each.branch) for each in parts],
        [each.built_high_ohm for each in parts],
        [each.works_low_ohm for each in parts],
        [each.works_high_ohm for each in parts],
    ]
    if any(math.isnan(ohm) for row in rows for ohm in row):
        return OhmSpan(*[math.nan] * 5)
    return OhmSpan(*(float(ohm) for ohm in resistance_between(net, _siemens(rows), a, b)))


def wet_ohm(netlist: Physical, operated: Iterable[str], a: str, b: str) -> float:
    """Least resistance that leaks and leaky open contacts may make between two nodes, within the proven box. [Ω]"""
    pressed = frozenset(operated)
    truck_c = (netlist.truck.temperature.low, netlist.truck.temperature.high)
    kept: list[tuple[str, str, float]] = []
    for branch in netlist.branches:
        if branch.kind == "pull":
            continue
        ohm = branch.low_ohm if branch.kind == "leak" else works_ohms(branch, truck_c, BENCH_C)[0]
        if branch.kind == "contact" and branch.conducts_at_rest == (branch.contact in pressed):
            ohm = branch.open_low_ohm
        if not math.isinf(ohm):
            kept.append((unplugged(branch.a), unplugged(branch.b), 0.0 if math.isnan(ohm) else ohm))
    kept = [kept[index] for index in between([(one, other) for one, other, _ in kept], a, b)]
    if not kept:
        return math.inf
    nodes = list(dict.fromkeys([a, b, *(node for one, other, _ in kept for node in (one, other))]))
    net = Netlist(nodes, (), [(f"{i}", one, other) for i, (one, other, _) in enumerate(kept)])
    return float(resistance_between(net, _siemens([[ohm for *_, ohm in kept]]), a, b)[0])


def _siemens(ohms: Sequence[Sequence[float]]) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    with np.errstate(divide="ignore"):
        return np.asarray(1.0 / np.array(ohms, dtype=np.float64))


def fingerprint(station: str, meter: str, edges: Sequence[tuple[str, str, str]], fixed: Iterable[str]) -> str:
    """Hash of a station: its id, the meter, and the circuit between its probes.

    Parameters
    ----------
    station, meter : str
        The station's id, which holds the situation, and the meter's `identity`.
    edges : sequence of (what, node, node)
        The circuit: what each element is, and its ends.
    fixed : nodes
        Probes and rails: nodes that are known by name. All others go by their place in the circuit alone, so that a
        new name or another order in the file is no new circuit.

    Notes
    -----
    Nodes are told apart by colour refinement (B. Weisfeiler, A. Leman, 1968; seen: memory): each round a node takes
    on what it sees around itself. It stands still after as many rounds as there are nodes.
    """
    colour = {node: "" for _, a, b in edges for node in (a, b)}
    known = set(fixed)
    colour |= {node: f"named {node}" for node in known}
    for _ in range(min(len(colour), 64)):
        around: dict[str, list[str]] = defaultdict(list)
        for what, a, b in edges:
            around[a].append(f"{what}|{colour[b]}")
            around[b].append(f"{what}|{colour[a]}")
        colour = {node: _hash([colour[node], *sorted(around[node])]) for node in colour}
    listed = sorted(f"{what}|{'|'.join(sorted((colour[a], colour[b])))}" for what, a, b in edges)
    return _hash([station, meter, *listed])


def element_word(branch: Branch) -> str:
    """What an element is, for a fingerprint: a resistor's stated ohms count, how far it may stray does not."""
    if branch.kind in ("resistor", "pull"):
        return f"{branch.kind} {branch.nominal_ohm!r}"
    return branch.kind


def _hash(texts: Sequence[str]) -> str:
    return hashlib.sha256("\n".join(texts).encode("utf-8")).hexdigest()[:32]
