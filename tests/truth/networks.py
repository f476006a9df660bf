"""The line as a network of plain floats, many trucks at once: what a voltmeter and an ohmmeter see of it.

A part of the truck is one number with a law (uniform or log-uniform); a network is a list of pieces, each a part times
a factor, the severity of a fault, or a fixed resistance. Nodes are taken out one after another by star-mesh, which
only adds and multiplies positive numbers, so that nothing cancels.

Readings of the specification
- Resistor: uniform between R(1 - tolerance)(1 - ageing) and R(1 + tolerance)(1 + ageing). Pull: tolerance only.
- The reference lies uniformly within its tolerance. A closed contact whose limits both lie under 0.02 ohm has 0.02.
- A resistor a decade off keeps its relative error. Short circuits are 1 microohm, a resistance never gets smaller.
- A pin that hangs on nothing reads 0 V (the other lead of the voltmeter is the controller's ground).
- A chafe goes where the page on faults says; in the passive circuit the chassis is one with return and ground.
- With the controller unplugged its pulls and its own faults are gone, the line's leaks stay. The fuse is out then, and
  the line ends at the load side of its holder, so that a blown fuse is no fault there.
- A station that is unplugged takes its contacts, their resistors and the faults in them along.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from tests.truth.causes import BLOWN_FUSE, NO_PULL, PIN_LOAD
from tests.truth.faults import Fault, chassis, coder_resistors
from tests.truth.physics import RAILS, circuit
from tests.truth.spans import ends_of
from tests.truth.truck import INF, Line, Truck, exact

Array = npt.NDArray[np.float64]
LEAST_OHM = 1e-6
LEAST_CLOSED_OHM, MOST_LEAK_OHM = 0.02, 100e6
CHASSIS = "chassis"  # near the switches; with the controller unplugged, return and ground too
SEVERITIES = ("severity", "severity2")  # of the first and the second fault of a line


# ---------------------------------------------------------------- the parts of a truck


@dataclass(frozen=True)
class Part:
    """One unknown number of the truck: SI units, `law` "uniform" or "log-uniform"."""

    low: float
    high: float
    log: bool = False

    @property
    def known(self) -> bool:
        return self.low == self.high

    def at(self, u: Array | float) -> Array:
        """The number at quantile `u`."""
        if self.known:
            return np.asarray(self.low)
        return np.asarray(self.low * (self.high / self.low) ** u if self.log else self.low + (self.high - self.low) * u)


def _leak(least: float) -> Part:
    return Part(least, least) if least >= MOST_LEAK_OHM else Part(least, MOST_LEAK_OHM, log=True)


def part_of(truck: Truck, line: Line, path: str) -> Part:
    """The law of the part at a design path, for a sound truck."""
    kind, name, *rest = path.split(".")
    last = rest[-1] if rest else ""
    pin = truck.input_of(line)
    resistor = coder_resistors(truck, line).get(path)
    if resistor is not None:
        tolerance, ageing = exact(resistor.tolerance_pct) / 100, exact(resistor.ageing_pct) / 100
        ohm = exact(resistor.ohm)
        return Part(float(ohm * (1 - tolerance) * (1 - ageing)), float(ohm * (1 + tolerance) * (1 + ageing)))
    if kind == "contact" and last == "closed":
        contact = next(c for c in truck.contacts if c.id == name)
        low, high = (max(float(x), LEAST_CLOSED_OHM) for x in contact.closed.ends)
        return Part(low, high, log=low < high)
    if kind == "contact" and last == "resistor":
        return Part(0.0, 0.0)  # a ladder's tap without a resistor
    if kind == "input" and last in ("pull_up", "pull_down"):
        pull = pin.pull_up if last == "pull_up" else pin.pull_down
        assert pull is not None
        share = exact(pull.tolerance_pct) / 100
        return Part(float(exact(pull.ohm) * (1 - share)), float(exact(pull.ohm) * (1 + share)))
    ends = [float(x) for x in ends_of(truck, line, path)]
    if (kind == "contact" and last == "open") or last.startswith("leak_to_"):
        return _leak(ends[0])
    if "element" in rest and next(e for e in line.elements if e.id == rest[1]).kind == "leak":
        return _leak(ends[0])
    return Part(ends[0], ends[1])


def source_paths(truck: Truck, line: Line) -> dict[str, str]:
    """Short name -> path of the line's sources."""
    here = f"line.{line.id}"
    out = {"supply": "supply.run", "offset": f"{here}.return_offset"}
    out |= {"drop": f"{here}.feed_drop", "diode": f"{here}.series_diode"}
    if truck.input_of(line).reference is not None:
        out["reference"] = f"input.{line.input}.reference"
    return out


def rails_of(line: Line, sources: Mapping[str, Array]) -> dict[str, Array]:
    """Potential of every rail in V from the sources by short name."""
    rails = {"ground": np.zeros(()), "battery": sources["supply"], "return": sources["offset"]}
    rails[CHASSIS] = sources["offset"]
    if "reference" in sources:
        rails["reference"] = sources["reference"]
    if line.has_feed:
        assert line.feed_from is not None
        rails["feed"] = rails[line.feed_from] - sources["drop"]
    if line.source_rail == "return":
        rails["return"] = rails["return"] + sources["diode"]
    else:
        rails["feed"] = rails["feed"] - sources["diode"]
    return rails


# ---------------------------------------------------------------- pieces and faults


@dataclass(frozen=True)
class Piece:
    """One resistance between two nodes. `path`: where it belongs. Its ohms: `factor` times the part `part`, or times
    the severity of that name, or (`part` empty) `factor` itself."""

    path: str
    a: str
    b: str
    part: str
    factor: float = 1.0


def sound_pieces(truck: Truck, line: Line, operated: frozenset[str]) -> tuple[Piece, ...]:
    return tuple(Piece(e.path, e.a, e.b, e.path) for e in circuit(truck, line, operated))


def with_fault(
    truck: Truck, line: Line, pieces: Iterable[Piece], fault: Fault, severity: str = SEVERITIES[0]
) -> tuple[Piece, ...]:
    """The pieces with one more fault, its ohms under the name `severity`. A swap is not done here."""
    here, kind = tuple(pieces), fault.kind
    ends = {
        "chafed-to-ground": (*fault.detail, chassis(line)),
        "chafed-to-supply": (*fault.detail, "battery"),
        "bridged": fault.detail,
        PIN_LOAD: ("pin", "ground"),
    }.get(kind)
    if ends is not None:
        path = f"input.{line.input}.{kind}" if kind == PIN_LOAD else f"{fault.site}.{kind}"
        return (*here, Piece(path, ends[0], ends[1], severity))
    if kind == NO_PULL:
        return tuple(p for p in here if not p.path.startswith("input."))
    if kind == "unplugged":
        return without_station(truck, line, here, fault.detail[0])
    closed, opened = f"{fault.site}.closed", f"{fault.site}.open"

    def changed(p: Piece) -> Piece:
        if p.path in (closed, opened):
            if kind == "worn":
                return replace(p, part=severity) if p.path == closed else p
            now = {"stuck-closed": closed, "stuck-open": opened}.get(kind) or (opened if p.path == closed else closed)
            return replace(p, path=now, part=now)
        if p.path != fault.site:
            return p
        if kind in ("drifted", "resistive"):
            return replace(p, part=severity, factor=1.0)
        if kind in ("open", "shorted", BLOWN_FUSE):
            return replace(p, part="", factor=LEAST_OHM if kind == "shorted" else INF)
        return replace(p, factor={"decade-low": 0.1, "decade-high": 10.0}[kind])

    return tuple(changed(p) for p in here)


def without_station(truck: Truck, line: Line, pieces: Iterable[Piece], station: str) -> tuple[Piece, ...]:
    there = [c for c in truck.contacts_of(line.id) if c.station == station]
    gone = tuple(f"contact.{c.id}." for c in there)
    stays = {f"contact.{c.id}.resistor" for c in there if c.resistor is None}  # a joint of the ladder, no part
    return tuple(p for p in pieces if p.path in stays or not p.path.startswith(gone))


def line_pieces(
    truck: Truck,
    line: Line,
    operated: frozenset[str],
    faults: Sequence[Fault] = (),
    plugged: bool = True,
    without: str | None = None,
    sound: Callable[[Truck, Line, frozenset[str]], tuple[Piece, ...]] | None = None,
) -> tuple[Piece, ...]:
    """The line in one situation with all the faults; the severities go by `SEVERITIES`. `sound`: a
    quicker `sound_pieces`."""
    for f in faults:
        if f.kind == "swapped":
            exchange = {f.site.removeprefix("contact."): f.detail[0], f.detail[0]: f.site.removeprefix("contact.")}
            operated = frozenset(exchange.get(c, c) for c in operated)
    pieces = (sound or sound_pieces)(truck, line, operated)
    for i, f in enumerate(faults):
        if f.kind != "swapped" and (plugged or f.kind != BLOWN_FUSE):
            pieces = with_fault(truck, line, pieces, f, SEVERITIES[i])
    if not plugged:
        pieces = tuple(p for p in pieces if not p.path.startswith("input."))
    return pieces if without is None else without_station(truck, line, pieces, without)


# ---------------------------------------------------------------- solving


_NONE = np.zeros(())


@dataclass(frozen=True)
class _Program:
    """`loads`: (place, first there?, piece). `steps`: places of a node's arms, and for each pair of arms (arm, arm,
    place, first there?). `kept`: pair of kept nodes and place."""

    loads: list[tuple[int, bool, Piece]]
    steps: list[tuple[list[int], list[tuple[int, int, int, bool]]]]
    kept: list[tuple[tuple[str, str], int]]
    size: int


@dataclass(frozen=True)
class Network:
    """Pieces ready to be solved: what the conductances between the nodes in `keep` are, all others taken out."""

    pieces: tuple[Piece, ...]
    keep: tuple[str, ...]
    order: tuple[str, ...]

    @cached_property
    def _program(self) -> _Program:
        """What to add and multiply, worked out once: pairs of nodes are numbered as they come."""
        known = set(self.keep) & set(RAILS)
        number: dict[frozenset[str], int] = {}  # pair of nodes -> place of its conductance

        def place(a: str, b: str) -> tuple[int, bool]:
            pair = frozenset((a, b))
            is_new = pair not in number
            return number.setdefault(pair, len(number) if is_new else 0), is_new

        loads = [(*place(p.a, p.b), p) for p in self.pieces]
        joined: dict[str, set[str]] = {}
        for p in self.pieces:
            joined.setdefault(p.a, set()).add(p.b)
            joined.setdefault(p.b, set()).add(p.a)
        steps = []
        for node in self.order:
            near = sorted(joined.pop(node))
            arms = [number[frozenset((node, n))] for n in near]
            products = []
            for i, a in enumerate(near):
                joined[a].discard(node)
                for j in range(i + 1, len(near)):
                    b = near[j]
                    if not (a in known and b in known):
                        products.append((i, j, *place(a, b)))
                        joined[a].add(b)
                        joined[b].add(a)
            if len(near) > 1:
                steps.append((arms, products))
        kept = [(pair, at) for pair, at in number.items() if pair <= set(self.keep)]
        return _Program(loads, steps, [((min(pair), max(pair)), at) for pair, at in kept], len(number))

    def conductances(
        self, values: Mapping[str, Array], known: dict[tuple[str, float], Array] | None = None
    ) -> dict[tuple[str, str], Array]:
        """Pair of kept nodes (in the order of the alphabet) -> conductance in S. `values`: ohms by part, any shapes
        that go together. `known`: conductances of single pieces with these values, kept from network to network."""
        known = {} if known is None else known
        program = self._program
        at: list[Array] = [_NONE] * program.size
        for place, is_new, p in program.loads:
            key = (p.part, p.factor)
            siemens = known.get(key, _NONE)
            if siemens is _NONE:
                siemens = 1 / np.maximum(values[p.part] * p.factor, LEAST_OHM) if p.part else np.asarray(1 / p.factor)
                known[key] = siemens
            at[place] = siemens if is_new else at[place] + siemens
        for arms, products in program.steps:
            total = at[arms[0]] + at[arms[1]]
            for k in arms[2:]:
                total = total + at[k]
            share = 1 / np.maximum(total, 1e-300)
            for i, j, place, is_new in products:
                through = at[arms[i]] * at[arms[j]] * share
                at[place] = through if is_new else at[place] + through
        return {pair: at[place] for pair, place in program.kept}

    @property
    def parts(self) -> set[str]:
        return {p.part for p in self.pieces if p.part}


def network(pieces: Iterable[Piece], keep: tuple[str, ...]) -> Network:
    """Drops what cannot matter: infinite pieces, pieces between rails, dead ends, parts that hang on no kept node."""
    rail = set(keep) & set(RAILS)
    todo = [p for p in pieces if p.a != p.b and not (p.part == "" and p.factor == INF) and not {p.a, p.b} <= rail]
    while True:
        ends = [n for p in todo for n in (p.a, p.b)]
        dead = {n for n in ends if ends.count(n) == 1 and n not in keep}
        left = [p for p in todo if not {p.a, p.b} & dead]
        if len(left) == len(todo):
            break
        todo = left
    joined: dict[str, set[str]] = {}
    for p in todo:
        joined.setdefault(p.a, set()).add(p.b)
        joined.setdefault(p.b, set()).add(p.a)
    order = []
    free = {n for n in joined if n not in keep}
    while free:  # the node with fewest neighbours first
        node = min(sorted(free), key=lambda n: len(joined[n]))
        free.discard(node)
        order.append(node)
        near = joined.pop(node)
        for n in near:
            joined[n] = (joined[n] | near) - {node, n}
    return Network(tuple(todo), keep, tuple(order))


def passive(pieces: Iterable[Piece]) -> tuple[Piece, ...]:
    """Return and ground are one, as on the bench."""
    name = {"return": CHASSIS, "ground": CHASSIS}
    return tuple(replace(p, a=name.get(p.a, p.a), b=name.get(p.b, p.b)) for p in pieces)


def resistance(net: Network, values: Mapping[str, Array], known: dict[tuple[str, float], Array] | None = None) -> Array:
    """Ohms between the two kept nodes; infinity where nothing joins them."""
    pair = (min(net.keep), max(net.keep))
    siemens = net.conductances(values, known).get(pair, np.zeros(()))
    with np.errstate(divide="ignore"):
        return np.asarray(1 / siemens)


def potential(
    net: Network, values: Mapping[str, Array], rails: Mapping[str, Array], node: str = "pin",
    known: dict[tuple[str, float], Array] | None = None,
) -> Array:  # fmt: skip
    """Volts of `node`, the one kept node that is no rail."""
    top, total = np.zeros(()), np.zeros(())
    for (a, b), siemens in net.conductances(values, known).items():
        if node in (a, b):
            top = top + siemens * rails[b if a == node else a]
            total = total + siemens
    return np.asarray(np.where(total > 0, top / np.maximum(total, 1e-300), 0.0))
