"""Circuits of the five forms and two solvers.

`solve_exact` is nodal analysis in `Fraction` arithmetic: 0-ohm elements merge their nodes, infinite ones are deleted.
`forest_weights` gives the same answer for every vertex of a box at once: Kirchhoff's tree rule. The pin's potential is
a weighted mean of the rails; the weight of a rail is the sum over all forests (every node joined to exactly one rail,
no loops) in which the pin hangs on that rail, each forest weighing the product of its conductances. Written with each
element as a pair (p, q), conductance p/q, it needs no special case for 0 ohm (1, 0) and infinity (0, 1), and as all
terms are positive nothing cancels.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tests.truth.truck import INF, Contact, Line, Number, Pull, Resistor, Truck, exact

RAILS = ("ground", "return", "feed", "battery", "reference", "chassis")  # the last only with a fault, see faults.py
Array = npt.NDArray[np.float64]
Box = Mapping[str, tuple[Number, Number]]


@dataclass(frozen=True)
class El:
    """One two-terminal element. `levels`: the resistances to try, lowest first (two ends, or a grid)."""

    path: str
    a: str
    b: str
    levels: tuple[Number, ...]
    parts: tuple[str, ...] = ()  # after reduction: the original paths it stands for


# ---------------------------------------------------------------- resistance arithmetic


def series(r1: Number, r2: Number) -> Number:
    return INF if r1 == INF or r2 == INF else r1 + r2


def parallel(r1: Number, r2: Number) -> Number:
    if r1 == 0 or r2 == 0:
        return Fraction(0)
    if r1 == INF:
        return r2
    if r2 == INF:
        return r1
    return r1 * r2 / (r1 + r2)


def largest_distance_from_20(truck: Truck) -> Fraction:
    return max(abs(exact(truck.temp_low_c) - 20), abs(exact(truck.temp_high_c) - 20))


def resistor_ends(
    truck: Truck, part: Resistor | Pull, temp_c: tuple[Fraction, Fraction] | None = None
) -> tuple[Fraction, Fraction]:
    """Least and greatest resistance. `temp_c`: known-sign parts only, the temperatures to stay within."""
    tol, age = exact(part.tolerance_pct) / 100, exact(part.ageing_pct) / 100
    tempco = exact(part.tempco_ppm) / 1_000_000
    low, high = exact(part.ohm) * (1 - tol) * (1 - age), exact(part.ohm) * (1 + tol) * (1 + age)
    if isinstance(part, Resistor) and part.known_sign:
        if temp_c is None:
            temp_c = exact(truck.temp_low_c), exact(truck.temp_high_c)
        factors = [1 + tempco * (t - 20) for t in temp_c]
        return low * min(factors), high * max(factors)
    delta = largest_distance_from_20(truck)
    return low * (1 - tempco * delta), high * (1 + tempco * delta)


# ---------------------------------------------------------------- from a line to a circuit


def conducts(contact: Contact, operated: frozenset[str]) -> bool:
    return (contact.id in operated) == contact.normally_open


def known_sign_parts(truck: Truck, line: Line) -> list[str]:
    """Paths of the line's resistors that share the one temperature."""
    found = []
    for c in truck.contacts_of(line.id):
        if c.resistor is not None and c.resistor.known_sign and line.form != "elements":
            found.append(f"contact.{c.id}.resistor")
    for name in ("idle_resistor", "top_resistor", "end_resistor"):
        part: Resistor | None = getattr(line, name)
        if part is not None and part.known_sign:
            found.append(f"line.{line.id}.{name}")
    found += [f"line.{line.id}.element.{e.id}" for e in line.elements if e.resistor and e.resistor.known_sign]
    return found


def circuit(
    truck: Truck,
    line: Line,
    operated: frozenset[str],
    overrides: Box | None = None,
    temp_c: tuple[Fraction, Fraction] | None = None,
    pull_levels: int = 2,
) -> list[El]:
    """All elements of the line and its input, unreduced, for one situation.

    `overrides` replaces the range of a named parameter. `pull_levels` > 2 splits each pull's range into a grid.
    """
    over = overrides or {}
    out: list[El] = []

    def add(path: str, a: str, b: str, low: Number, high: Number, n_levels: int = 2) -> None:
        low, high = over.get(path, (low, high))
        if low == high:
            levels: tuple[Number, ...] = (low,)
        elif n_levels == 2:
            levels = (low, high)
        else:
            assert isinstance(low, Fraction)
            assert isinstance(high, Fraction)
            levels = tuple(low + (high - low) * k / (n_levels - 1) for k in range(n_levels))
        out.append(El(path, a, b, levels, (path,)))

    def add_resistor(path: str, a: str, b: str, part: Resistor) -> None:
        add(path, a, b, *resistor_ends(truck, part, temp_c))

    def add_contact(c: Contact, a: str, b: str) -> None:
        if conducts(c, operated):
            add(f"contact.{c.id}.closed", a, b, *c.closed.ends)
        else:
            low = INF if c.open_ohm is None else exact(c.open_ohm)
            add(f"contact.{c.id}.open", a, b, low, INF)

    def add_branch(c: Contact, a: str, b: str) -> None:
        """a — contact — resistor — b."""
        if c.resistor is None:
            add_contact(c, a, b)
        else:
            add_contact(c, a, f"~{c.id}")
            add_resistor(f"contact.{c.id}.resistor", f"~{c.id}", b, c.resistor)

    pin = truck.input_of(line)
    if pin.pull_up is not None:
        add(f"input.{pin.id}.pull_up", pin.pull_up_to, "pin", *resistor_ends(truck, pin.pull_up), pull_levels)
    if pin.pull_down is not None:
        add(f"input.{pin.id}.pull_down", "pin", "ground", *resistor_ends(truck, pin.pull_down), pull_levels)
    here = f"line.{line.id}"
    for name, rail in (("leak_to_ground", "return"), ("leak_to_supply", "battery")):
        least: str | None = getattr(line, name)
        if least is not None or f"{here}.{name}" in over:
            add(f"{here}.{name}", "pin", rail, INF if least is None else exact(least), INF)

    contacts = truck.contacts_of(line.id)
    if line.form == "elements":
        by_id = {c.id: c for c in contacts}
        for e in line.elements:
            path = f"{here}.element.{e.id}"
            if e.kind == "resistor":
                assert e.resistor is not None
                add_resistor(path, *e.between, e.resistor)
            elif e.kind == "wire":
                assert e.wire is not None
                add(path, *e.between, *e.wire.ends)
            elif e.kind == "leak":
                assert e.leak_ohm is not None
                add(path, *e.between, exact(e.leak_ohm), INF)
            else:
                assert e.contact is not None
                add_contact(by_id[e.contact], *e.between)
        return out

    assert line.wire is not None
    assert line.source_wire is not None
    add(f"{here}.wire", "pin", "far", *line.wire.ends)
    add(f"{here}.source_wire", line.source_rail, "source", *line.source_wire.ends)
    if line.form == "ladder":
        for i, c in enumerate(contacts, start=1):
            before, here_node = ("far" if i == 1 else f"n{i - 1}"), f"n{i}"
            if c.resistor is None:
                add(f"contact.{c.id}.resistor", before, here_node, Fraction(0), Fraction(0))
            else:
                add_resistor(f"contact.{c.id}.resistor", before, here_node, c.resistor)
            add_contact(c, here_node, "source")
        if line.end_resistor is not None:
            add_resistor(f"{here}.end_resistor", f"n{len(contacts)}", "source", line.end_resistor)
        return out

    if line.idle_resistor is not None:
        add_resistor(f"{here}.idle_resistor", "source", "far", line.idle_resistor)
    if line.form == "divider":
        assert line.top_resistor is not None
        add_resistor(f"{here}.top_resistor", "feed", "far", line.top_resistor)
    through = line.enable is not None and line.taps_through_enable
    for c in contacts:
        if through and c.id == line.enable:
            add_contact(c, "source", "manual")
            if c.resistor is not None:
                add_resistor(f"contact.{c.id}.resistor", "manual", "far", c.resistor)
        else:
            add_branch(c, "manual" if through else "source", "far")
    return out


# ---------------------------------------------------------------- exact nodal analysis


@dataclass(frozen=True)
class Solution:
    """`state`: "ok", "floating" (the pin hangs on nothing) or "shorted" (0 ohm between unequal rails)."""

    state: str
    volts: Fraction | None = None


def solve_exact(
    elements: Sequence[tuple[str, str, Number]], rails: Mapping[str, Fraction], pin: str = "pin"
) -> Solution:
    """Potential of `pin` in V by nodal analysis; elements are (node, node, ohm)."""
    parent: dict[str, str] = {}

    def root(node: str) -> str:
        parent.setdefault(node, node)
        while parent[node] != node:
            node = parent[node]
        return node

    for a, b, ohm in elements:
        ra, rb = root(a), root(b)
        if ohm == 0 and ra != rb:
            if ra in rails:
                ra, rb = rb, ra
            if ra in rails and rails[ra] != rails[rb]:
                return Solution("shorted")
            parent[ra] = rb  # a rail, if there is one, stays the root
    pin = root(pin)
    if pin in rails:
        return Solution("ok", rails[pin])
    joined: dict[str, list[tuple[str, Fraction]]] = {}
    for a, b, ohm in elements:
        ra, rb = root(a), root(b)
        if ohm in (0, INF) or ra == rb:
            continue
        assert isinstance(ohm, Fraction)
        joined.setdefault(ra, []).append((rb, 1 / ohm))
        joined.setdefault(rb, []).append((ra, 1 / ohm))
    seen, queue, grounded = {pin}, [pin], False
    while queue:
        for other, _ in joined.get(queue.pop(), ()):
            if other in rails:
                grounded = True
            elif other not in seen:
                seen.add(other)
                queue.append(other)
    if not grounded:
        return Solution("floating")
    nodes = [*sorted(seen - {pin}), pin]  # the pin last: after elimination its row alone gives the answer
    place = {n: i for i, n in enumerate(nodes)}
    size = len(nodes)
    matrix = [[Fraction(0)] * (size + 1) for _ in nodes]
    for n in nodes:
        i = place[n]
        for other, siemens in joined[n]:
            matrix[i][i] += siemens
            if other in rails:
                matrix[i][size] += siemens * rails[other]
            else:
                matrix[i][place[other]] -= siemens
    for i in range(size - 1):
        for j in range(i + 1, size):
            if matrix[j][i] != 0:
                factor = matrix[j][i] / matrix[i][i]
                for k in range(i + 1, size + 1):
                    if matrix[i][k] != 0:
                        matrix[j][k] -= factor * matrix[i][k]
    return Solution("ok", matrix[-1][size] / matrix[-1][size - 1])


def two_point_resistance(elements: Sequence[tuple[str, str, Number]], a: str, b: str) -> Number:
    """What an ohmmeter between `a` and `b` shows, in ohm; no rail is anything but a node."""
    known = Fraction(1000)  # a known resistor to 1 V makes a voltage divider of the unknown
    found = solve_exact([*elements, ("~meter", a, known)], {"~meter": Fraction(1), b: Fraction(0)}, a)
    assert found.volts is not None
    if found.volts == 1:
        return INF
    return known * found.volts / (1 - found.volts)


# ---------------------------------------------------------------- textbook reductions (each end keeps its meaning)


def reduce_circuit(elements: Sequence[El], keep: frozenset[str] = frozenset()) -> list[El]:
    """Series and parallel sums, dead ends, elements that connect nothing. The range of a sum of independent
    resistances (or conductances) is the sum of the ranges, so no vertex that matters is lost.
    Paths in `keep` are never folded into others."""
    els = [e for e in elements if e.levels != (INF,) and e.a != e.b]
    els = [e for e in els if not (e.a in RAILS and e.b in RAILS and min(e.levels) > 0)]

    def fold(x: El, y: El, a: str, b: str, in_series: bool) -> El:
        rule = series if in_series else parallel
        low, high = rule(x.levels[0], y.levels[0]), rule(x.levels[-1], y.levels[-1])
        levels: tuple[Number, ...] = (low,) if low == high else (low, high)
        return El(f"{x.path}+{y.path}", a, b, levels, x.parts + y.parts)

    def step() -> bool:
        at: dict[str, list[El]] = {}
        for e in els:
            at.setdefault(e.a, []).append(e)
            at.setdefault(e.b, []).append(e)
        for node, here in at.items():
            if node in RAILS or node == "pin":
                continue
            if len(here) == 1 and here[0].path not in keep:
                els.remove(here[0])
                return True
            if len(here) == 2 and here[0] is not here[1] and not keep & {here[0].path, here[1].path}:
                x, y = here
                a = x.b if x.a == node else x.a
                b = y.b if y.a == node else y.a
                els.remove(x)
                els.remove(y)
                if a != b and not (a in RAILS and b in RAILS):
                    els.append(fold(x, y, a, b, True))
                elif a in RAILS and b in RAILS and a != b and series(x.levels[0], y.levels[0]) == 0:
                    els.append(fold(x, y, a, b, True))  # a possible short stays visible
                return True
        pairs: dict[frozenset[str], El] = {}
        for e in els:
            key = frozenset((e.a, e.b))
            other = pairs.get(key)
            if other is not None and not keep & {e.path, other.path}:
                els.remove(e)
                els.remove(other)
                els.append(fold(other, e, e.a, e.b, False))
                return True
            if e.path not in keep:
                pairs[key] = e
        return False

    while step():
        pass
    return els


# ---------------------------------------------------------------- every vertex at once


@dataclass(frozen=True)
class Weights:
    """`rails`: rail -> weight of that rail at every vertex, shape (levels of each element...), adding up to 1.
    `floating`, `undecided`: masks of the same shape. `total`: what the weights added up to before, 0 where undecided;
    `loose`: the number of parts on no rail in the forests that were counted."""

    elements: tuple[El, ...]
    rails: dict[str, Array]
    floating: npt.NDArray[np.bool_]
    undecided: npt.NDArray[np.bool_]
    total: Array
    loose: npt.NDArray[np.int_]


def forest_weights(elements: Sequence[El]) -> Weights:
    """The weights of the rails at the pin, for all combinations of the elements' levels.

    Nodes are taken one after another; once all elements at a node have been decided (in the forest or not) the node
    is forgotten. A part of the circuit that hangs on no rail counts in the key, so that at each vertex the least
    number of such parts can be used (that is the limit of a vanishing leak at every node).
    """
    todo = list(elements)
    order: list[El] = []
    forget_after: dict[int, list[str]] = {}
    nodes = {n for e in todo for n in (e.a, e.b) if n not in RAILS and n != "pin"}
    while nodes:
        node = min(sorted(nodes), key=lambda n: sum(n in (e.a, e.b) for e in todo))
        mine = [e for e in todo if node in (e.a, e.b)]
        order += mine
        todo = [e for e in todo if node not in (e.a, e.b)]
        nodes.discard(node)
        forget_after.setdefault(len(order), []).append(node)
    order += todo

    # key: (blocks of the remembered nodes, number of parts on no rail); blocks: ((node, label), ...)
    Key = tuple[tuple[tuple[str, str], ...], int]
    states: dict[Key, Array] = {((("pin", "pin"),), 0): np.ones(())}

    def gather(into: dict[Key, Array], key: Key, value: Array) -> None:
        into[key] = into[key] + value if key in into else value

    for count, e in enumerate(order, start=1):
        p = np.array([0.0 if r == INF else 1.0 for r in e.levels])
        q = np.array([1.0 if r == INF else float(r) for r in e.levels])
        after: dict[Key, Array] = {}
        for (blocks, loose), value in states.items():
            labels = dict(blocks)
            for n in (e.a, e.b):
                if n not in RAILS:
                    labels.setdefault(n, n)
            blocks = tuple(sorted(labels.items()))
            if q.any():
                gather(after, (blocks, loose), value[..., None] * q)
            la = e.a if e.a in RAILS else labels[e.a]
            lb = e.b if e.b in RAILS else labels[e.b]
            if la == lb or (la in RAILS and lb in RAILS) or not p.any():
                continue
            old, new = (la, lb) if lb in RAILS or (la not in RAILS and la > lb) else (lb, la)
            merged = tuple((n, new if lab == old else lab) for n, lab in blocks)
            gather(after, (merged, loose), value[..., None] * p)
        for node in forget_after.get(count, ()):
            kept: dict[Key, Array] = {}
            for (blocks, loose), value in after.items():
                labels = dict(blocks)
                mine_label = labels.pop(node)
                if mine_label not in RAILS:
                    others = sorted(n for n, lab in labels.items() if lab == mine_label)
                    if not others:
                        loose += 1
                    elif mine_label == node:  # the block needs another name
                        labels = {n: others[0] if lab == node else lab for n, lab in labels.items()}
                gather(kept, (tuple(sorted(labels.items())), loose), value)
            after = kept
        states = after

    shape = tuple(len(e.levels) for e in order)
    done = np.zeros(shape, dtype=bool)
    floating = np.zeros(shape, dtype=bool)
    totals, loose_parts = np.zeros(shape), np.zeros(shape, dtype=int)
    rails: dict[str, Array] = {}
    # a pin that hangs on no rail is one more such part
    final = {(dict(k[0])["pin"], k[1] + (dict(k[0])["pin"] not in RAILS)): value for k, value in states.items()}
    for loose in sorted({key[1] for key in final}):
        parts = {label: value for (label, count), value in final.items() if count == loose}
        total = sum(parts.values(), start=np.zeros(shape))
        here = (total > 0) & ~done
        if not here.any():
            continue
        for label, value in parts.items():
            if label in RAILS:
                share = np.divide(value, total, out=np.zeros(shape), where=here)
                rails[label] = rails[label] + share if label in rails else share
            else:
                floating |= here & (value > 0)
        totals, loose_parts = np.where(here, total, totals), np.where(here, loose, loose_parts)
        done |= here
    return Weights(tuple(order), rails, floating, ~done, totals, loose_parts)
