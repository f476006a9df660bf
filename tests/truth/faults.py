"""Single faults of one line, by the checker's own circuit edit and an explicit severity grid.

What a fault is, and what it does to a reading, is read from the page on faults alone. A fault is a change to the list
of elements that `physics.circuit` gives. At each severity of the grid the reading's extremes are taken over every
vertex of the box, so at a grid severity the answer is exact (float arithmetic of positive terms only; `exact_extremes`
says the same in `Fraction` arithmetic, slowly). Between two grid severities nothing is looked at: a false command that
begins and ends between two of them is missed. What this module says of a whole fault is therefore a lower bound.

Not covered, and said so by `skipped`: edges found by substitution, and two or more resistors that share a temperature.

Rails that always have the same potential (a return with no offset and the ground) count as one rail. At a vertex where
0 ohm joins rails that differ, there is no reading: that vertex is left out and `shorted` is set. A pin that hangs on
nothing may read anything from 0 to full scale, as elsewhere in the checker.

Where the page on faults could be read in two ways it was settled, and this module follows the page as it now reads:
the chassis of a chafe lies at `return_offset`, without the drop of a series diode (this module had taken the rail with
the diode); the node `manual` of a bare enable can chafe, `pin` counts among the nodes of form elements, and unplugging
takes the ladder's resistors of that station and all contacts of it (so it was here before). In a ladder a contact
without a resistor takes nothing but itself (this module had taken the joint that stands for its resistor too).
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from tests.truth.judge import TIE, Edge, Requirement, Win, all_spaces, reading_windows, requirement, situations
from tests.truth.physics import (
    RAILS,
    Array,
    El,
    circuit,
    forest_weights,
    known_sign_parts,
    reduce_circuit,
    resistor_ends,
    solve_exact,
)
from tests.truth.spans import Space, divisor, rail_volts, source_ranges
from tests.truth.truck import INF, Contact, Line, Number, Resistor, Truck, exact

Mask = npt.NDArray[np.bool_]
ZERO = (Fraction(0),)
FAULT = "fault"  # path of the element that carries the severity
EFFECTS = ("none", "command lost", "false command")  # mildest first
GRID: tuple[Number, ...] = (
    Fraction(0),
    *(
        Fraction(mantissa, 1000) * Fraction(10) ** decade
        for decade in range(-1, 7)
        for mantissa in (1000, 2154, 4642)  # three to a decade, near enough to even on a log scale
    ),
    Fraction(10**7),
    INF,
)
"""Severities in ohm: 0, then 0.1 ohm to 10 Mohm, then infinity."""


@dataclass(frozen=True)
class Fault:
    """One single fault.

    `site`: design path of a part (`contact.up`, `contact.up.resistor`, `line.taps.wire`, `line.taps.element.r1`), or
    `line.taps` where the site is a node, a pair of nodes or a station. `detail`: chafed: (node,); bridged: (node,
    node); swapped: (the other contact's id,); unplugged: (station,); else empty. Nodes: "pin", "far", "source",
    "manual", "~up" (between contact up and its resistor), "n1" ... (taps of a ladder), own nodes of form elements.
    `severity`: whether it has one. `note`: says so where the page on faults has a rule of its own for this case.
    """

    site: str
    kind: str
    severity: bool
    detail: tuple[str, ...] = ()
    note: str = ""

    @property
    def label(self) -> str:
        return " ".join((self.site, self.kind, *self.detail))


# ---------------------------------------------------------------- which faults a line has


def coder_resistors(truck: Truck, line: Line) -> dict[str, Resistor]:
    """Path -> part, of every coder resistor of the line."""
    here, out = f"line.{line.id}", {}
    if line.form == "elements":
        return {f"{here}.element.{e.id}": e.resistor for e in line.elements if e.resistor is not None}
    for c in truck.contacts_of(line.id):
        if c.resistor is not None:
            out[f"contact.{c.id}.resistor"] = c.resistor
    for name in ("idle_resistor", "end_resistor", "top_resistor"):
        part: Resistor | None = getattr(line, name)
        if part is not None:
            out[f"{here}.{name}"] = part
    return out


def _through(line: Line) -> bool:
    return line.enable is not None and line.taps_through_enable


def branch_nodes(truck: Truck, line: Line) -> list[str]:
    """Nodes between a contact and its own resistor, and `manual`."""
    if line.form == "elements":
        return sorted({n for e in line.elements for n in e.between if n not in RAILS} | {"pin"})
    out = []
    for i, c in enumerate(truck.contacts_of(line.id), start=1):
        if _through(line) and c.id == line.enable:
            out.append("manual")
        elif c.resistor is not None:
            out.append(f"n{i}" if line.form == "ladder" else f"~{c.id}")
    return out


def single_faults(truck: Truck, line_id: str) -> list[Fault]:
    """Every single fault of the line, in the order of the page's table."""
    line, here = truck.line(line_id), f"line.{line_id}"
    contacts = truck.contacts_of(line_id)
    out: list[Fault] = []
    for path in coder_resistors(truck, line):
        out += [Fault(path, "open", False), Fault(path, "shorted", False), Fault(path, "drifted", True)]
        out += [Fault(path, "decade-low", False), Fault(path, "decade-high", False)]
    for c in contacts:
        site = f"contact.{c.id}"
        out += [Fault(site, "stuck-closed", False), Fault(site, "stuck-open", False), Fault(site, "worn", True)]
        out.append(Fault(site, "wrong-throw", False))
    if line.form == "elements":
        wires = [f"{here}.element.{e.id}" for e in line.elements if e.kind == "wire"]
    else:
        wires = [f"{here}.wire", f"{here}.source_wire"]
    for path in wires:
        out += [Fault(path, "open", False), Fault(path, "resistive", True)]

    branches = branch_nodes(truck, line)
    chafed = branches if line.form == "elements" else ["pin", "far", "source", *branches]
    enable_bare = any(c.id == line.enable and c.resistor is None for c in contacts)
    for node in chafed:
        note = "manual is not between a contact and a resistor here" if node == "manual" and enable_bare else ""
        diode = "the chassis lies before the series diode" if chassis(line) == "chassis" else ""
        out.append(Fault(here, "chafed-to-ground", True, (node,), note or diode))
        out.append(Fault(here, "chafed-to-supply", True, (node,), note))
    for a, b in itertools.combinations(branches, 2):
        note = "pin counts as a node of a branch" if "pin" in (a, b) else ""
        out.append(Fault(here, "bridged", True, (a, b), note))
    for first, second in itertools.combinations(contacts, 2):
        if first.device != second.device or first.asks != second.asks:
            out.append(Fault(f"contact.{first.id}", "swapped", False, (second.id,)))
    for station in dict.fromkeys(c.station for c in contacts if c.station is not None):
        note = {
            "ladder": "the resistors of the station are gone too, so the ladder ends there",
            "elements": "only the contacts of the station are gone",
        }.get(line.form, "")
        out.append(Fault(here, "unplugged", False, (station,), note))
    return out


def sample_faults(truck: Truck, line_id: str, rng: random.Random, count: int) -> list[Fault]:
    """Up to `count` different faults; the kinds take turns, so that the rare ones come too."""
    by_kind: dict[str, list[Fault]] = {}
    for fault in single_faults(truck, line_id):
        by_kind.setdefault(fault.kind, []).append(fault)
    queues = list(by_kind.values())
    rng.shuffle(queues)
    for queue in queues:
        rng.shuffle(queue)
    turns = itertools.zip_longest(*queues)
    return [f for turn in turns for f in turn if f is not None][:count]


def sample_situations(truck: Truck, line_id: str, rng: random.Random, count: int) -> list[frozenset[str]]:
    """Up to `count` different situations; "nothing operated" is always one of them."""
    idle, *others = situations(truck, truck.line(line_id))
    return [idle, *rng.sample(others, min(count - 1, len(others)))]


def skipped(truck: Truck, line_id: str) -> str | None:
    """Why this line is not looked at, or None."""
    line = truck.line(line_id)
    if any(w.substitution for w in line.windows):
        return "edges found by substitution"
    if len(known_sign_parts(truck, line)) > 1:
        return "resistors share a temperature"
    return None


# ---------------------------------------------------------------- the circuit edit


def chassis(line: Line) -> str:
    """Rail of the chassis near the switches: the return, but without the series diode that stands before it."""
    return "chassis" if line.series_diode is not None and line.source_rail == "return" else "return"


def faulty_circuit(
    truck: Truck, line: Line, fault: Fault | None, operated: frozenset[str], severities: tuple[Number, ...] = ()
) -> list[El]:
    """The line's elements with the fault, unreduced. `severities` (ohm, lowest first): the levels of its element."""
    if fault is None:
        return circuit(truck, line, operated)
    assert bool(severities) == fault.severity, fault.label
    kind, by_id = fault.kind, {c.id: c for c in truck.contacts_of(line.id)}
    if kind == "swapped":
        exchange = {fault.site.removeprefix("contact."): fault.detail[0]}
        exchange |= {b: a for a, b in exchange.items()}
        return circuit(truck, line, frozenset(exchange.get(c, c) for c in operated))
    els = circuit(truck, line, operated)
    if kind in ("chafed-to-ground", "chafed-to-supply"):
        rail = chassis(line) if kind == "chafed-to-ground" else "battery"
        return [*els, El(FAULT, fault.detail[0], rail, severities, (FAULT,))]
    if kind == "bridged":
        a, b = fault.detail
        return [*els, El(FAULT, a, b, severities, (FAULT,))]
    if kind == "unplugged":
        there = [c for c in by_id.values() if c.station == fault.detail[0]]
        gone = tuple(f"contact.{c.id}." for c in there)
        stays = {f"contact.{c.id}.resistor" for c in there if c.resistor is None}  # a joint of the ladder, no part
        return [e for e in els if e.path in stays or not e.path.startswith(gone)]
    if kind in ("stuck-closed", "stuck-open", "worn", "wrong-throw"):
        return [_faulty_contact(e, by_id[fault.site.split(".")[1]], fault, severities) for e in els]
    assert any(e.path == fault.site for e in els), fault.label
    return [e if e.path != fault.site else _faulty_part(truck, line, e, fault, severities) for e in els]


def _faulty_contact(e: El, c: Contact, fault: Fault, severities: tuple[Number, ...]) -> El:
    closed, opened = f"contact.{c.id}.closed", f"contact.{c.id}.open"
    if e.path not in (closed, opened):
        return e
    if fault.kind == "worn":
        return El(FAULT, e.a, e.b, severities, (FAULT,)) if e.path == closed else e
    conducts = {"stuck-closed": True, "stuck-open": False, "wrong-throw": e.path == opened}[fault.kind]
    if conducts:
        return replace(e, path=closed, levels=tuple(sorted(set(c.closed.ends))), parts=(closed,))
    levels = (INF,) if c.open_ohm is None else (exact(c.open_ohm), INF)
    return replace(e, path=opened, levels=levels, parts=(opened,))


def _faulty_part(truck: Truck, line: Line, e: El, fault: Fault, severities: tuple[Number, ...]) -> El:
    if fault.severity:  # drifted, resistive
        return El(FAULT, e.a, e.b, severities, (FAULT,))
    if fault.kind == "open":
        return replace(e, levels=(INF,))
    if fault.kind == "shorted":
        return replace(e, levels=(Fraction(0),))
    assert fault.kind in ("decade-low", "decade-high"), fault.label
    part = coder_resistors(truck, line)[fault.site]
    nominal = exact(part.ohm) * (10 if fault.kind == "decade-high" else Fraction(1, 10))
    return replace(e, levels=tuple(sorted(set(resistor_ends(truck, replace(part, ohm=str(nominal)))))))


# ---------------------------------------------------------------- every vertex, for every severity at once


@dataclass(frozen=True)
class Block:
    """Vertices that could be taken together. `rails`: rail -> its share in the pin's potential, shape (severities or
    1, vertices). `floating`: the same shape."""

    rails: dict[str, Array]
    floating: Mask


@dataclass
class Found:
    blocks: list[Block] = field(default_factory=list)
    shorted: bool = False


def _contract(elements: Sequence[El]) -> tuple[list[El], str] | None:
    """Make one node of the two ends of every element that is surely 0 ohm. Also the pin's new name. None: that joins
    two rails."""
    els, pin = list(elements), "pin"
    while True:
        zero = next((e for e in els if e.levels == ZERO and e.a != e.b), None)
        if zero is None:
            return [e for e in els if e.a != e.b], pin
        rank = {**dict.fromkeys(RAILS, 0), "pin": 1}  # a rail keeps its name, then the pin
        stays, goes = sorted((zero.a, zero.b), key=lambda n: rank.get(n, 2))
        if goes in RAILS:
            return None
        if goes == pin:
            pin = stays
        els = [
            replace(e, a=stays if e.a == goes else e.a, b=stays if e.b == goes else e.b) for e in els if e is not zero
        ]


def _zero_ring(elements: Sequence[El]) -> El | None:
    """An element that closes a ring of elements that may all be 0 ohm; the rails count as one node."""
    parent: dict[str, str] = {}

    def root(node: str) -> str:
        node = "rails" if node in RAILS else node
        while parent.get(node, node) != node:
            node = parent[node]
        return node

    for e in elements:
        if e.levels[0] == 0:
            ra, rb = root(e.a), root(e.b)
            if ra == rb:
                return e
            parent[ra] = rb
    return None


def _gather(elements: Sequence[El], into: Found) -> None:
    contracted = _contract(elements)
    if contracted is None:
        into.shorted = True
        return
    els, pin = contracted
    if pin in RAILS:
        # what else hangs there does not move the pin, but the rails may still be shorted at some vertex
        into.blocks.append(Block({pin: np.ones((1, 1))}, np.zeros((1, 1), dtype=bool)))
        into.shorted = into.shorted or _may_short(els)
        return
    els = reduce_circuit(els, frozenset({FAULT}))
    if any(e.levels == ZERO for e in els):
        return _gather(els, into)
    ring = _zero_ring(els)
    if ring is not None:  # the tree rule has no answer where all of the ring is 0 ohm: take that vertex by itself
        _gather([replace(e, levels=(Fraction(0),)) if e is ring else e for e in els], into)
        _gather([replace(e, levels=e.levels[1:]) if e is ring else e for e in els], into)
        return
    into.blocks.append(_whole(els))


def _whole(els: Sequence[El]) -> Block:
    """All vertices at once, for every severity.

    A forest either holds the severity's element or does not, so with s ohm there a rail's weight is (its weight with
    0 ohm there) + s (its weight with nothing there): two levels are enough, whatever the length of the grid.
    """
    severity = next((e for e in els if e.path == FAULT), None)
    weights = forest_weights([replace(e, levels=(Fraction(0), INF)) if e is severity else e for e in els])
    if severity is None:
        assert not weights.undecided.any()
        return Block({k: v.reshape(1, -1) for k, v in weights.rails.items()}, weights.floating.reshape(1, -1))
    axis = next(i for i, e in enumerate(weights.elements) if e.path == FAULT)

    def halves(array: npt.NDArray[Any]) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
        joined, gone = np.moveaxis(array, axis, 0).reshape(2, 1, -1)
        return joined, gone

    (total_0, total_1), (loose_0, loose_1) = halves(weights.total), halves(weights.loose)
    ohm = np.array([float(s) for s in severity.levels]).reshape(-1, 1)
    # forests with more loose parts than need be do not count: see forest_weights
    use_0 = (total_0 > 0) & ((total_1 == 0) | (loose_0 <= loose_1))
    use_1 = (total_1 > 0) & ((total_0 == 0) | (loose_1 <= loose_0))
    assert (use_0 | use_1).all()
    part_0 = np.where(use_0, total_0, 0.0) + 0 * ohm
    part_1 = np.where(use_1, total_1, 0.0) * ohm
    rails = {}
    for rail, share in weights.rails.items():
        share_0, share_1 = halves(share)
        rails[rail] = (part_0 * share_0 + part_1 * share_1) / (part_0 + part_1)
    floating_0, floating_1 = halves(weights.floating)
    return Block(rails, np.broadcast_to(np.where(use_0, floating_0, floating_1), part_0.shape))


def _may_short(elements: Sequence[El]) -> bool:
    """Whether elements that may be 0 ohm join two rails."""
    reach = {r: {r} for r in RAILS}
    for rail, seen in reach.items():
        grew = True
        while grew:
            more = {n for e in elements if e.levels[0] == 0 and {e.a, e.b} & seen for n in (e.a, e.b)} - seen
            seen |= more
            grew = bool(more)
        if (seen & set(RAILS)) - {rail}:
            return True
    return False


Plain = tuple[tuple[bool, str, str, tuple[Number, ...]], ...]


@lru_cache(maxsize=16)  # enough for the key states of one circuit; the arrays are large
def _blocks(plain: Plain) -> Found:
    """`plain`: (carries the severity, node, node, levels) of each element."""
    out = Found()
    _gather([El(FAULT if f else f"e{i}", a, b, levels) for i, (f, a, b, levels) in enumerate(plain)], out)
    return out


def _one_name(truck: Truck, line: Line) -> dict[str, str]:
    """Rails that always lie at another's potential -> that other."""

    def none(span: Any) -> bool:
        return span is None or span.ends == (0, 0)

    out = {}
    if none(line.return_offset):
        out["chassis"] = "ground"
        if line.source_rail != "return" or none(line.series_diode):
            out["return"] = "ground"
    elif none(line.series_diode):
        out["chassis"] = "return"
    if line.has_feed and none(line.feed_drop) and (line.source_rail != "feed" or none(line.series_diode)):
        assert line.feed_from is not None
        out["feed"] = line.feed_from
    return out


@dataclass
class Sweep:
    """Per severity: extremes of the clipped reading over all vertices that have one (nan: none has), and flags."""

    low: Array
    high: Array
    floating: Mask
    shorted: Mask  # some vertex has no reading
    no_answer: Mask  # no vertex has one


class Bench:
    """One line, with what can be used again from one fault to the next."""

    def __init__(self, truck: Truck, line_id: str) -> None:
        self.truck, self.line = truck, truck.line(line_id)
        self.names = _one_name(truck, self.line)
        self.tried = [(space, reading_windows(truck, self.line, space)) for space in all_spaces(truck, self.line)]
        self._corners: dict[str, list[tuple[dict[str, Fraction], dict[str, float]]]] = {}
        self._swept: dict[tuple[Plain, str, str], tuple[Array, Array, Mask, bool, bool]] = {}

    def corners(self, key_state: str) -> list[tuple[dict[str, Fraction], dict[str, float]]]:
        """Potentials of the rails for every choice of the sources' ends."""
        if key_state not in self._corners:
            ranges = source_ranges(self.truck, self.line, key_state)
            seen: dict[tuple[Fraction, ...], tuple[dict[str, Fraction], dict[str, float]]] = {}
            for choice in itertools.product(*(sorted(set(ends)) for ends in ranges.values())):
                sources: dict[str, Any] = dict(zip(ranges, choice, strict=True))
                rails = rail_volts(self.truck, self.line, key_state, sources)
                rails["chassis"] = sources[f"line.{self.line.id}.return_offset"]
                seen[tuple(rails.values())] = rails, {k: float(v) for k, v in rails.items()}
            self._corners[key_state] = list(seen.values())
        return self._corners[key_state]

    def elements(self, fault: Fault | None, operated: frozenset[str], severities: tuple[Number, ...]) -> list[El]:
        """The faulty circuit with one name for rails that are one, and without what is surely infinite."""
        els = faulty_circuit(self.truck, self.line, fault, operated, severities)
        name = self.names
        els = [replace(e, a=name.get(e.a, e.a), b=name.get(e.b, e.b)) for e in els if e.levels != (INF,)]
        return [e for e in els if e.a != e.b]

    def _sweep_part(self, els: Sequence[El], key_state: str, space: Space) -> tuple[Array, Array, Mask, bool, bool]:
        plain: Plain = tuple((e.path == FAULT, e.a, e.b, e.levels) for e in els)
        key = (plain, key_state, space.name)
        if key in self._swept:
            return self._swept[key]
        found, full = _blocks(plain), float(space.full)
        low, high = np.full(1, INF), np.full(1, -INF)
        floating = np.zeros(1, dtype=bool)
        for block in found.blocks:
            floats = block.floating.any(axis=1)
            floating = floating | floats
            done: set[tuple[float, ...]] = set()
            for rails, volts_of in self.corners(key_state):
                by = float(divisor(space, rails))
                same = (by, *(volts_of[r] for r in block.rails))
                if same in done:
                    continue
                done.add(same)
                volts = np.zeros(block.floating.shape)
                for rail, share in block.rails.items():
                    volts = volts + share * volts_of[rail]
                reading = np.clip(volts / by, 0.0, full)
                if floats.any():
                    low = np.minimum(low, np.where(block.floating, 0.0, reading).min(axis=1))
                    high = np.maximum(high, np.where(block.floating, full, reading).max(axis=1))
                else:
                    low, high = np.minimum(low, reading.min(axis=1)), np.maximum(high, reading.max(axis=1))
        if not found.blocks:
            low, high = np.full(1, np.nan), np.full(1, np.nan)
        self._swept[key] = low, high, floating, found.shorted, not found.blocks
        return self._swept[key]

    def sweep(
        self, fault: Fault | None, operated: frozenset[str], key_state: str, space: Space, grid: Sequence[Number]
    ) -> Sweep:
        """`grid`: severities in ohm, rising; for a fault without severity it is not looked at."""
        if fault is None or not fault.severity:
            parts: list[tuple[Number, ...]] = [()]
        else:  # 0 ohm joins nodes and infinity deletes an element; what lies between goes in one array
            middle = tuple(s for s in grid if s not in (0, INF))
            parts = [(s,) for s in grid if s == 0] + ([middle] if middle else []) + [(s,) for s in grid if s == INF]
        columns: list[list[npt.NDArray[Any]]] = [[], [], [], [], []]
        for part in parts:
            swept = self._sweep_part(self.elements(fault, operated, part), key_state, space)
            for column, values in zip(columns, swept, strict=True):
                column.append(np.broadcast_to(np.asarray(values), (max(len(part), 1),)))
        return Sweep(*(np.concatenate(c) for c in columns))


# ---------------------------------------------------------------- judging


def window_names(wins: Sequence[Win]) -> list[str]:
    """Meaning of each window; a second one of the same meaning is "up#2"."""
    out: list[str] = []
    for i, w in enumerate(wins):
        n = sum(x.meaning == w.meaning for x in wins[: i + 1])
        out.append(w.meaning if n == 1 else f"{w.meaning}#{n}")
    return out


def _value(edge: Edge | None, otherwise: float) -> float:
    return otherwise if edge is None else float(edge.value)


def _touches(w: Win, s: Sweep, tie: float) -> tuple[Mask, Mask]:
    """Whether some reading lies in the window at its largest; whether that hangs on a tie."""
    above, under = s.high - _value(w.low_large, -INF), _value(w.high_large, INF) - s.low
    if w.low_large is not None and w.high_large is not None and w.low_large.value > w.high_large.value:
        return np.zeros(s.low.shape, dtype=bool), np.zeros(s.low.shape, dtype=bool)
    close = (np.abs(above) < tie) & (under > -tie) | (np.abs(under) < tie) & (above > -tie)
    return (above >= 0) & (under >= 0) & ~s.no_answer, close


def _inside(w: Win, s: Sweep, tie: float) -> tuple[Mask, Mask]:
    """Whether every reading lies in the window at its smallest; whether that hangs on a tie."""
    room = np.minimum(s.low - _value(w.low_small, -INF), _value(w.high_small, INF) - s.high)
    return room >= 0, np.abs(room) < tie


def required_meaning(need: Requirement, key_state: str) -> str | None:
    """The one meaning that can be lost. None: nothing can be (a free situation, or cranking)."""
    if key_state == "crank" or len(need.allowed) != 1 or "invalid" in need.allowed:
        return None
    return next(iter(need.allowed))


def fault_grid(
    truck: Truck,
    line_id: str,
    fault: Fault | None,
    operated: Iterable[str],
    key_state: str = "run",
    grid: Sequence[Number] | None = None,
    bench: Bench | None = None,
) -> dict[str, Any]:
    """One fault (None: none) in one situation and key state, at every severity of `grid` (ohm; default `GRID`).

    Lists run along `grid`; for a fault without severity `grid` is [None] and the lists have one entry.
    `exact`: False when the line is skipped, and `skipped` says why; nothing else is then there.
    `required`: the meaning the situation must read, or None.
    `readings`: space -> (least, greatest) clipped reading; nan where `no_answer`.
    `false`: window -> whether some truck reads it, for each command window the situation may not read.
    `kept`: whether the required meaning is surely read (None where there is none required, or no reading at all).
    `false_tie`, `kept_tie`: the answer hangs on a comparison within 1e-9 of full scale.
    `floating`: some truck's pin hangs on nothing. `shorted`: some truck has 0 ohm between rails that differ; such
    trucks are left out. `no_answer`: all of them have.
    `fault_some`, `fault_all`: some truck reads, every truck surely reads, one of the fault windows.
    A controller that compares with something unknown is looked at in both spaces; the worse counts.
    """
    line, pressed = truck.line(line_id), frozenset(operated)
    values: list[Number] = sorted(set(GRID if grid is None else grid))
    has_axis = fault is not None and fault.severity
    need = requirement(truck, line, pressed, key_state)
    out: dict[str, Any] = {"fault": fault, "operated": sorted(pressed), "key_state": key_state}
    why = skipped(truck, line_id)
    if why is not None:
        return out | {"exact": False, "skipped": why}
    bench = bench or Bench(truck, line_id)
    required = required_meaning(need, key_state)
    size = len(values) if has_axis else 1
    no, yes = np.zeros(size, dtype=bool), np.ones(size, dtype=bool)
    flags = {name: no.copy() for name in ("floating", "shorted", "no_answer", "fault_some")}
    kept, kept_tie, fault_all = yes.copy(), no.copy(), yes.copy()
    false: dict[str, Mask] = {}
    false_tie: dict[str, Mask] = {}
    readings: dict[str, list[tuple[float, float]]] = {}
    for space, wins in bench.tried:
        s = bench.sweep(fault, pressed, key_state, space, values)
        tie = TIE * float(space.full)
        readings[space.name] = [(float(a), float(b)) for a, b in zip(s.low, s.high, strict=True)]
        for name in ("floating", "shorted", "no_answer"):
            flags[name] |= getattr(s, name)
        all_here, kept_here, tie_here = no.copy(), no.copy(), no.copy()
        for name, w in zip(window_names(wins), wins, strict=True):
            hit, close = _touches(w, s, tie)
            sure, sure_close = _inside(w, s, tie)
            if w.fault:
                flags["fault_some"] |= hit
                all_here |= sure & ~s.no_answer
            if w.meaning == required:
                kept_here |= sure
                tie_here |= sure_close
            if not w.fault and w.meaning != line.idle and w.meaning not in need.allowed:
                false[name] = false.get(name, no) | hit
                false_tie[name] = false_tie.get(name, no) | close
        fault_all &= all_here
        kept &= kept_here
        kept_tie |= tie_here
    lists: dict[str, Any] = {name: mask.tolist() for name, mask in flags.items()}
    unknown = flags["no_answer"]
    return {
        **out,
        "exact": True,
        "skipped": None,
        "grid": values if has_axis else [None],
        "rule": need.rule,
        "allowed": sorted(need.allowed),
        "required": required,
        "readings": readings,
        "false": {name: mask.tolist() for name, mask in false.items()},
        "false_tie": {name: mask.tolist() for name, mask in false_tie.items()},
        "kept": [None if required is None or u else bool(k) for k, u in zip(kept, unknown, strict=True)],
        "kept_tie": kept_tie.tolist(),
        "fault_all": fault_all.tolist(),
        **lists,
    }


def fault_report(
    truck: Truck,
    line_id: str,
    fault: Fault,
    key_states: Sequence[str] | None = None,
    operated_sets: Sequence[frozenset[str]] | None = None,
    grid: Sequence[Number] | None = None,
    bench: Bench | None = None,
) -> dict[str, Any]:
    """One fault over situations (default all) and key states (default all of the truck).

    `effect`: "false command", "command lost" or "none". It is a lower bound: only the severities of the grid were
    looked at, and an answer that hangs on a tie does not count (`tie`: whether counting it would make the effect
    worse). `false`: (operated, key state, window, least and greatest severity found); `lost`: (operated, key state,
    least and greatest severity found); severities None for a fault without one. `idle_fault_some`, `idle_fault_all`:
    at some severity, with nothing operated and outside crank, some truck reads a fault window, every truck surely
    does. `undecided`: at some point no truck has a reading.
    """
    why = skipped(truck, line_id)
    if why is not None:
        raise ValueError(f"line {line_id} is not looked at: {why}")
    bench = bench or Bench(truck, line_id)
    false, lost = [], []
    effect = worst_effect = "none"
    idle_some = idle_all = undecided = False

    def ends(grid_here: list[Number | None], hits: list[bool]) -> tuple[Number | None, Number | None]:
        at = [g for g, hit in zip(grid_here, hits, strict=True) if hit]
        return at[0], at[-1]

    for operated in situations(truck, bench.line) if operated_sets is None else operated_sets:
        for key_state in truck.supply if key_states is None else key_states:
            row = fault_grid(truck, line_id, fault, operated, key_state, grid, bench)
            where = (row["operated"], key_state)
            for name, hits in row["false"].items():
                surely = [h and not t for h, t in zip(hits, row["false_tie"][name], strict=True)]
                if any(surely):
                    false.append((*where, name, *ends(row["grid"], surely)))
                    effect = "false command"
                if any(hits) or any(row["false_tie"][name]):
                    worst_effect = "false command"
            missing = [k is False for k in row["kept"]]
            surely = [m and not t for m, t in zip(missing, row["kept_tie"], strict=True)]
            if any(surely):
                lost.append((*where, *ends(row["grid"], surely)))
                effect = max(effect, "command lost", key=EFFECTS.index)
            if row["required"] is not None and (any(missing) or any(row["kept_tie"])):
                worst_effect = max(worst_effect, "command lost", key=EFFECTS.index)
            if not operated and key_state != "crank":
                idle_some = idle_some or any(row["fault_some"])
                idle_all = idle_all or any(row["fault_all"])
            undecided = undecided or any(row["no_answer"])
    return {
        "fault": fault,
        "effect": effect,
        "tie": worst_effect != effect,
        "false": false,
        "lost": lost,
        "idle_fault_some": idle_some,
        "idle_fault_all": idle_all,
        "undecided": undecided,
    }


def fault_effect(truck: Truck, line_id: str, fault: Fault, bench: Bench | None = None) -> str:
    """ "false command", "command lost" or "none", over all situations and key states on `GRID`: a lower bound, as a
    false command may lie between two severities of the grid. ValueError for a line that `skipped` names."""
    return str(fault_report(truck, line_id, fault, bench=bench)["effect"])


# ---------------------------------------------------------------- the same again, slowly and exactly


@dataclass(frozen=True)
class ExactExtremes:
    low: Fraction | None  # None: no vertex has a reading
    high: Fraction | None
    floating: bool
    shorted: bool


def exact_extremes(
    truck: Truck,
    line_id: str,
    fault: Fault | None,
    operated: Iterable[str],
    severity: Number | None = None,
    key_state: str = "run",
    space: Space | None = None,
) -> ExactExtremes:
    """Extremes at one severity (ohm) by nodal analysis in `Fraction` arithmetic at every vertex of the unreduced
    circuit. For small circuits: the time doubles with every range."""
    line = truck.line(line_id)
    space = space or all_spaces(truck, line)[0]
    els = faulty_circuit(truck, line, fault, frozenset(operated), () if severity is None else (severity,))
    low: Fraction | None = None
    high: Fraction | None = None
    floating = shorted = False
    for rails, _ in Bench(truck, line_id).corners(key_state):
        for choice in itertools.product(*(e.levels for e in els)):
            found = solve_exact([(e.a, e.b, ohm) for e, ohm in zip(els, choice, strict=True)], rails)
            if found.state == "shorted":
                shorted = True
                continue
            if found.volts is None:
                floating, least, greatest = True, Fraction(0), space.full
            else:
                least = greatest = min(max(found.volts / divisor(space, rails), Fraction(0)), space.full)
            low = least if low is None else min(low, least)
            high = greatest if high is None else max(high, greatest)
    return ExactExtremes(low, high, floating, shorted)
