"""Slow checker of the start inhibit: relays, lever positions, single faults with a grid of severities.

Written from docs/inhibit.md. Nothing here reads a design file: a start circuit is a `Circuit`, a plain netlist. All
numbers are `Fraction` (ohm, V) or `INF` (ohm); volts come from exact nodal analysis (star to mesh) at every corner.
Corners are enumerated, so the time doubles with each range: keep circuits under about eight ranges.

How to compare an engine:

- `awkward(seed) -> Circuit`: nodes are plain names; `Circuit.supply[key state]` is the range of node "battery";
  `Circuit.rails` are all other fixed potentials (grounds with their offset, a reference); `Circuit.parts` two-terminal
  parts. `Circuit.nets[name]` are the nodes that wires join. Wires of 0 ohm make each net one node.
- `truth_table(circuit) -> [Row]`: positions and mid-travel points in order, cells "requested", "not requested",
  "unplugged": verdict, `can` at some corner, `sure` at all, volts with the coil open and closed, chatters, history.
- `faults_of(circuit) -> [Fault]`; `fault_grid(circuit, fault, condition)` -> `Masks` along `GRID`: holds, pulls_in,
  chatters, sure, and `tie` where a comparison is within 1e-9 V. `effects(circuit, fault)` collects all conditions.
- `influence(circuit)`, `separate(circuit)`: command contacts and the coil.
- `form_of`, `least_supply_v`, `states_at` (all relay combinations at one corner).

How the page is read where it leaves room:

1. `can pull in`: the coil's relay is open, volts ≥ pull_in.low, every other relay that is open can stay open and every
   one that is closed has ≥ its own pull_in.low. (An open relay above pull_in.high cannot stay open, and it is just then
   that it pulls in.)
2. `can hold` is a possible combination with the coil's relay closed. `over` is the literal "volts > drop_out.low in any
   possible combination"; it differs only where the coil's own contact changes its volts.
3. A requested cell that can only hold still `can crank`, as history counts; so `keeps cranking` needs no request.
4. A chafe to ground: to 0 V, and to every ground stud's own potential, the same number as in the rest of the circuit
   (`own_chassis=True`: one more ground with a number of its own in the hull of all).
5. A net of several nodes is chafed at each of them; the sets are united.
6. `early`, `late`: the named `mid` points of that switch no longer count, the rule for unnamed ones does.
7. Unplugged: the parts of the lever's device are gone, their leakage too.
8. `held by hand` for `inherent`: the coil's relay as well, if its own chain holds an inhibit element.
9. A permitted, requested cell is sure where no combination that can be leaves the coil open below pull_in.high (at
   crank: closed at or below drop_out.high) at any corner; it fails where one does so below pull_in.low (at crank: at or
   below drop_out.low) with the strict limits of all other relays.
11. `chatters`: with every drop-out at its high and every pull-in at its low end no combination is steady at a corner,
   and the coil's relay can be up there: it pulls in, or holds, with relays that can be up themselves.
10. A fault in key states: both, united. Corners that join unlike rails without resistance are left out.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from tests.truth.truck import INF, Number

Mask = npt.NDArray[np.bool_]
TIE_V = 1e-9
ZERO = Fraction(0)
GRID: tuple[Number, ...] = (ZERO, *(Fraction(f"{10 ** (k / 10):.6e}") for k in range(-30, 71)), INF)


@dataclass(frozen=True)
class Part:
    """A two-terminal part. `kind`: "wire", "feed", "stud", "resistor", "switch", "contact" (of a relay), "driver",
    "coil", "command". It conducts with any resistance of `on`; else it has any from `off` to infinity.

    switch: `start` (conducts while start is requested) or `closed_in`, the detents in which it conducts, with
    `mid` = (("P|R", "open"), …). contact: of `relay`, normally open or not. driver: `states` = ((point, "on"), …) for
    points of travel and for "unplugged", "either" where not named; without any it is on or off at will. command:
    conducts while operated. feed: `live` key states. `device`: what it belongs to."""

    id: str
    kind: str
    a: str
    b: str
    on: tuple[Fraction, Fraction] = (ZERO, ZERO)
    off: Number = INF
    device: str = ""
    closed_in: frozenset[str] | None = None
    mid: tuple[tuple[str, str], ...] = ()
    start: bool = False
    relay: str = ""
    normally_open: bool = True
    states: tuple[tuple[str, str], ...] = ()
    live: frozenset[str] | None = None
    forced: str = ""  # by a fault: "closed", "open"

    @property
    def inhibits(self) -> bool:
        return self.closed_in is not None or bool(self.states)


@dataclass(frozen=True)
class Relay:
    """`coil`: a part of kind "coil". `high`, `low`: part ids of its chain before and after the coil."""

    id: str
    coil: str
    pull_in: tuple[Fraction, Fraction]
    drop_out: tuple[Fraction, Fraction]
    high: tuple[str, ...] = ()
    low: tuple[str, ...] = ()


@dataclass(frozen=True)
class Circuit:
    """`coil`: the relay that counts; `turns`: its contact that turns the engine. `cavities`: (plug, cavity, part,
    "a" or "b"), the wire end there. `joints`: (joint, parts through it). `neighbours`: pairs of nodes that share
    something.
    `wrong_codes`: (driver, meaning, its states then). `commands_together`: sets of command contacts to be tried."""

    positions: tuple[str, ...]
    permitted: frozenset[str]
    lever: str
    supply: Mapping[str, tuple[Fraction, Fraction]]
    rails: Mapping[str, tuple[Fraction, Fraction]]
    parts: tuple[Part, ...]
    relays: tuple[Relay, ...]
    coil: str
    turns: str
    nets: Mapping[str, tuple[str, ...]]
    grounds: tuple[str, ...] = ("ground",)
    cavities: tuple[tuple[str, str, str, str], ...] = ()
    joints: tuple[tuple[str, tuple[str, ...]], ...] = ()
    neighbours: tuple[tuple[str, str], ...] = ()
    wrong_codes: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...] = ()
    commands_together: tuple[frozenset[str], ...] = (frozenset(),)
    tags: tuple[str, ...] = ()

    def part(self, name: str) -> Part:
        return next(p for p in self.parts if p.id == name)

    def relay(self, name: str) -> Relay:
        return next(r for r in self.relays if r.id == name)

    @property
    def points(self) -> tuple[str, ...]:
        """Detents and mid-travel points in order of travel."""
        out = [self.positions[0]]
        for a, b in itertools.pairwise(self.positions):
            out += [f"{a}|{b}", b]
        return tuple(out)


@dataclass(frozen=True)
class Condition:
    point: str
    request: bool
    key: str = "run"
    operated: frozenset[str] = frozenset()
    unplugged: bool = False


# ---------------------------------------------------------------- volts


def potentials(
    elements: Iterable[tuple[str, str, Number]], rails: Mapping[str, Fraction]
) -> dict[str, Fraction | None]:
    """Potential of every node in V (None: it hangs on no rail). Nodes are taken out one after another, each star of
    conductances replaced by the mesh of products over the sum, then put back. ValueError: 0 ohm between rails."""
    parent: dict[str, str] = {r: r for r in rails}
    elements = list(elements)

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
                raise ValueError(f"{ra} and {rb} are joined without resistance")
            parent[ra] = rb
    net: dict[str, dict[str, Fraction]] = {root(n): {} for n in list(parent)}
    for a, b, ohm in elements:
        ra, rb = root(a), root(b)
        if ohm in (0, INF) or ra == rb:
            continue
        for x, y in ((ra, rb), (rb, ra)):
            net[x][y] = net[x].get(y, ZERO) + 1 / Fraction(ohm)
    volts: dict[str, Fraction | None] = {n: rails[n] for n in net if n in rails}
    out: list[tuple[str, dict[str, Fraction], Fraction]] = []
    free = [n for n in net if n not in rails]
    while free:
        node = min(free, key=lambda n: len(net[n]))
        free.remove(node)
        star = net.pop(node)
        total = sum(star.values(), start=ZERO)
        out.append((node, star, total))
        for x in star:
            del net[x][node]
        for (x, gx), (y, gy) in itertools.combinations(star.items(), 2):
            if x in rails and y in rails:
                continue
            g = gx * gy / total
            net[x][y] = net[x].get(y, ZERO) + g
            net[y][x] = net[y].get(x, ZERO) + g
    for node, star, total in reversed(out):
        around = [(g, volts[x]) for x, g in star.items()]
        if not around or any(v is None for _, v in around):
            volts[node] = None
        else:
            volts[node] = sum((g * v for g, v in around if v is not None), start=ZERO) / total
    return {n: volts[root(n)] for n in list(parent)}


def across(volts: Mapping[str, Fraction | None], a: str, b: str) -> Fraction:
    """Volts from a to b. A part of the circuit on no rail carries no current: none."""
    va, vb = volts.get(a), volts.get(b)
    return ZERO if va is None or vb is None else va - vb


Plain = tuple[tuple[str, str, Number], ...]
Three = tuple[Fraction, Fraction, Fraction]  # v0 (severity open), v1 (severity 0), G in S seen at its ends


@lru_cache(maxsize=200_000)
def _coil_volts(
    plain: Plain,
    rails: tuple[tuple[str, Fraction], ...],
    coils: tuple[tuple[str, str], ...],
    at: tuple[str, str] | None,
) -> tuple[Three, ...] | None:
    """For each coil v(g) = (v0·G + v1·g)/(G + g), g the severity's conductance between nodes `at`. None: shorted."""
    fixed = dict(rails)
    try:
        v0 = potentials(plain, fixed)
    except ValueError:
        return None
    out = [(across(v0, a, b), across(v0, a, b), Fraction(1)) for a, b in coils]
    if at is None:
        return tuple(out)
    probe = Fraction(1, 997)
    middle = potentials([*plain, (*at, 1 / probe)], fixed)
    try:
        v1 = potentials([*plain, (*at, ZERO)], fixed)
    except ValueError:  # the severity lies between two fixed potentials: nothing changes above 0 ohm
        return tuple(out)
    for i, (a, b) in enumerate(coils):
        open_v, shut_v, mid_v = out[i][0], across(v1, a, b), across(middle, a, b)
        if open_v != shut_v:
            out[i] = open_v, shut_v, probe * (shut_v - mid_v) / (mid_v - open_v)
    return tuple(out)


def _on_grid(three: Three, grid: Sequence[Number]) -> npt.NDArray[np.float64]:
    """|volts| at each severity in ohm: (v0·G·s + v1)/(G·s + 1)."""
    v0, v1, g = (float(x) for x in three)
    s = np.array([float(x) for x in grid])
    with np.errstate(invalid="ignore"):
        v = (v0 * g * s + v1) / (g * s + 1)
    return np.abs(np.where(np.isinf(s), v0, v))


# ---------------------------------------------------------------- what conducts


def mid_state(part: Part, point: str) -> str:
    """ "open", "closed" or "either" at a mid-travel point."""
    named = dict(part.mid)
    if point in named:
        return named[point]
    assert part.closed_in is not None
    both = {x in part.closed_in for x in point.split("|")}
    return "either" if len(both) == 2 else "closed" if both == {True} else "open"


def conducts(part: Part, c: Condition) -> str:
    """ "closed", "open", "either" or "gone"; for a relay contact "relay"."""
    if part.forced:
        return part.forced
    if part.kind == "contact":
        return "relay"
    if part.kind == "feed":
        return "closed" if part.live is None or c.key in part.live else "gone"
    if part.kind == "command":
        return "closed" if (part.id in c.operated) == part.normally_open else "open"
    if part.kind == "driver":
        return {"on": "closed", "off": "open"}.get(
            dict(part.states).get("unplugged" if c.unplugged else c.point, ""), "either"
        )
    if part.kind == "switch":
        if part.start:
            return "closed" if c.request else "open"
        if part.closed_in is None:
            return "either"
        if "|" in c.point:
            return mid_state(part, c.point)
        return "closed" if c.point in part.closed_in else "open"
    return "closed"


def _near(circuit: Circuit, extra: Iterable[tuple[str, str]]) -> list[Part]:
    """The parts that can have a say in any coil's volts: joined to a coil otherwise than through a rail."""
    fixed = {"battery", *circuit.rails}
    links = [(p.a, p.b) for p in circuit.parts] + list(extra)
    seen = {n for r in circuit.relays for p in circuit.parts if p.id == r.coil for n in (p.a, p.b)} - fixed
    todo = list(seen)
    while todo:
        here = todo.pop()
        for a, b in links:
            if here in (a, b):
                for x in (a, b):
                    if x not in fixed and x not in seen:
                        seen.add(x)
                        todo.append(x)
    return [p for p in circuit.parts if p.a in seen or p.b in seen]


# ---------------------------------------------------------------- faults


@dataclass(frozen=True)
class Fault:
    """`severity`: whether it has one, in ohm. `replaces`: the part whose resistance it then is; else it lies between
    the nodes of one of the pairs `between`. `below`: severities lie under this many ohm."""

    id: str
    site: str
    kind: str
    severity: bool = False
    replaces: str = ""
    between: tuple[tuple[str, str], ...] = ()
    below: Number = INF
    detail: tuple[str, ...] = ()


SOUND = Fault("sound", "", "sound")


def start_parts(circuit: Circuit) -> list[Part]:
    """Parts of the chains of all relays, their coils and the contacts named in them."""
    names = {x for r in circuit.relays for x in (*r.high, *r.low, r.coil)}
    return [p for p in circuit.parts if p.id in names]


def faults_of(circuit: Circuit, own_chassis: bool = False) -> list[Fault]:
    """Every single fault of the page, but those inside the line that a permitting driver reads."""
    out: list[Fault] = []
    chain = start_parts(circuit)
    for p in chain:
        if p.kind in ("switch", "contact", "driver") or p.id == circuit.turns:
            out += [Fault(f"{p.id} {k}", p.id, k) for k in ("stuck-closed", "stuck-open")]
            out.append(Fault(f"{p.id} bridged", p.id, "bridged", True, between=((p.a, p.b),)))
            out.append(Fault(f"{p.id} worn", p.id, "worn", True, replaces=p.id))
        if p.kind == "switch" and p.closed_in is not None:
            out += [Fault(f"{p.id} {k}", p.id, k) for k in ("early", "late")]
        if p.kind == "coil":
            out.append(Fault(f"{p.id} open", p.id, "open"))
            out.append(Fault(f"{p.id} shorted-turns", p.id, "shorted-turns", True, replaces=p.id, below=p.on[0]))
    if circuit.turns not in {p.id for p in chain}:
        out += [Fault(f"{circuit.turns} {k}", circuit.turns, k) for k in ("stuck-closed", "stuck-open")]
    for p in circuit.parts:
        if p.kind in ("wire", "feed", "stud"):
            out.append(Fault(f"{p.id} open", p.id, "open"))
            out.append(Fault(f"{p.id} resistive", p.id, "resistive", True, replaces=p.id))
    grounds = (*circuit.grounds, *(("chassis",) if own_chassis else ()))
    for name, nodes in circuit.nets.items():
        to_supply = tuple((n, "battery") for n in nodes)
        out.append(Fault(f"{name} chafed-to-supply", name, "chafed-to-supply", True, between=to_supply))
        to_ground = tuple((n, g) for n in nodes for g in grounds)
        out.append(Fault(f"{name} chafed-to-ground", name, "chafed-to-ground", True, between=to_ground))
    for a, b in circuit.neighbours:
        out.append(Fault(f"{a}+{b} bridged", f"{a}+{b}", "bridged", True, between=((a, b),)))
    for (plug, c1, p1, e1), (plug2, c2, p2, e2) in itertools.combinations(circuit.cavities, 2):
        if plug == plug2 and p1 != p2:
            out.append(Fault(f"{plug} {c1}/{c2} swapped", plug, "swapped", detail=(p1, e1, p2, e2)))
    for joint, parts in circuit.joints:
        out.append(Fault(f"{joint} apart", joint, "apart", detail=parts))
    for driver, meaning, _ in circuit.wrong_codes:
        out.append(Fault(f"{driver} wrong-code {meaning}", driver, "wrong-code", detail=(meaning,)))
    return out


def _shifted(circuit: Circuit, part: Part, by: int) -> Part:
    assert part.closed_in is not None
    places = [circuit.positions.index(x) + by for x in part.closed_in]
    there = frozenset(circuit.positions[i] for i in places if 0 <= i < len(circuit.positions))
    return replace(part, closed_in=there, mid=())


def apply(circuit: Circuit, fault: Fault) -> Circuit:
    """The circuit with the fault's hard part in it; a severity is put in later."""
    parts = list(circuit.parts)

    def change(name: str, new: Part | None) -> None:
        i = next(i for i, p in enumerate(parts) if p.id == name)
        parts[i : i + 1] = [] if new is None else [new]

    known = {p.id for p in parts}
    if fault.replaces:  # its own range no longer matters
        change(fault.replaces, replace(circuit.part(fault.replaces), on=(ZERO, ZERO)))
    if fault.kind in ("stuck-closed", "stuck-open"):
        if fault.site in known:
            change(fault.site, replace(circuit.part(fault.site), forced=fault.kind.removeprefix("stuck-")))
    elif fault.kind in ("early", "late"):
        by = -1 if fault.kind == "early" else 1
        change(fault.site, _shifted(circuit, circuit.part(fault.site), by))
    elif fault.kind == "open":
        change(fault.site, None)
    elif fault.kind == "apart":
        for name in fault.detail:
            change(name, None)
    elif fault.kind == "swapped":
        p1, e1, p2, e2 = fault.detail
        n1, n2 = getattr(circuit.part(p1), e1), getattr(circuit.part(p2), e2)
        change(p1, replace(circuit.part(p1), **{e1: n2}))
        change(p2, replace(circuit.part(p2), **{e2: n1}))
    elif fault.kind == "wrong-code":
        states = next(s for d, m, s in circuit.wrong_codes if (d, m) == (fault.site, fault.detail[0]))
        change(fault.site, replace(circuit.part(fault.site), states=states))
    rails = dict(circuit.rails)
    if any("chassis" in pair for pair in fault.between):
        rails["chassis"] = (
            min(circuit.rails[g][0] for g in circuit.grounds),
            max(circuit.rails[g][1] for g in circuit.grounds),
        )
    return replace(circuit, parts=tuple(parts), rails=rails)


# ---------------------------------------------------------------- corners and relay combinations


@dataclass(frozen=True)
class Corner:
    """One choice of the either states and of every free number; `levels`: (part, "on" or "off") -> ohm."""

    choice: tuple[tuple[str, str], ...]
    levels: Mapping[tuple[str, str], Number]
    volts: Mapping[str, Fraction]


def corners(circuit: Circuit, c: Condition, parts: Sequence[Part]) -> Iterator[Corner]:
    states = {p.id: conducts(p, c) for p in parts}
    free = [p.id for p in parts if states[p.id] == "either"]
    touched = {n for p in parts for n in (p.a, p.b)}
    fixed = {"battery": circuit.supply[c.key], **circuit.rails}
    for choice in itertools.product(("closed", "open"), repeat=len(free)):
        now = {**states, **dict(zip(free, choice, strict=True))}
        axes: dict[tuple[str, str], list[Number]] = {}
        for p in parts:
            if now[p.id] in ("closed", "relay"):
                axes[p.id, "on"] = sorted(set(p.on))
            if now[p.id] in ("open", "relay"):
                axes[p.id, "off"] = sorted({p.off, INF})
        for name, ends in fixed.items():
            axes["rail", name] = sorted(set(ends)) if name in touched or name == "battery" else [ends[0]]
        for levels in itertools.product(*axes.values()):
            at = dict(zip(axes, levels, strict=True))
            volts = {n: Fraction(at.pop(("rail", n))) for n in fixed}
            yield Corner(tuple(zip(free, choice, strict=True)), at, volts)


def elements_at(
    parts: Sequence[Part], corner: Corner, closed: frozenset[str], c: Condition, replaces: str = ""
) -> tuple[Plain, tuple[str, str] | None]:
    """The resistors of one corner and relay combination; the nodes of the severity if it stands for a part that now
    conducts."""
    out: list[tuple[str, str, Number]] = []
    choice, at = dict(corner.choice), None
    for p in parts:
        state = choice.get(p.id) or conducts(p, c)
        if state == "relay":
            state = "closed" if (p.relay in closed) == p.normally_open else "open"
        if state == "gone":
            continue
        if p.id == replaces and state == "closed":
            at = p.a, p.b
            continue
        ohm = corner.levels[p.id, "on" if state == "closed" else "off"]
        if ohm != INF:
            out.append((p.a, p.b, ohm))
    return tuple(out), at


def combinations(circuit: Circuit) -> list[frozenset[str]]:
    names = [r.id for r in circuit.relays]
    return [frozenset(s) for k in range(len(names) + 1) for s in itertools.combinations(names, k)]


@dataclass(frozen=True)
class States:
    """At one corner, without severities. `volts[combination][relay]` = |V|; `possible` by the permissive limits;
    `reached` from all-open, one round at a time (what repeats, if it never settles)."""

    volts: Mapping[frozenset[str], Mapping[str, Fraction]]
    possible: tuple[frozenset[str], ...]
    reached: tuple[frozenset[str], ...]

    @property
    def chatters(self) -> bool:
        return not self.possible

    @property
    def history(self) -> bool:
        return len(self.possible) > 1


def states_at(circuit: Circuit, c: Condition, corner: Corner) -> States | None:
    """None: rails are joined without resistance in some combination."""
    parts, volts = _near(circuit, ()), {}
    for closed in combinations(circuit):
        solved = _solved(circuit, parts, corner, closed, c, "", None)
        if solved is None:
            return None
        volts[closed] = {r.id: abs(v[0]) for r, v in zip(circuit.relays, solved, strict=True)}
    possible = tuple(
        s
        for s, v in volts.items()
        if all(v[r.id] > r.drop_out[0] if r.id in s else v[r.id] < r.pull_in[1] for r in circuit.relays)
    )
    seen: list[frozenset[str]] = []
    now: frozenset[str] = frozenset()
    while now not in seen:
        seen.append(now)
        v = volts[now]
        pulls = {r.id for r in circuit.relays if v[r.id] >= r.pull_in[1]}
        drops = {r.id for r in circuit.relays if v[r.id] <= r.drop_out[0]}
        now = frozenset((now | pulls) - drops)
    return States(volts, possible, tuple(seen[seen.index(now) :]))


def _coil_ends(circuit: Circuit) -> tuple[tuple[str, str], ...]:
    """Of an open coil the ends are the same: no volts pull it."""
    by_id = {p.id: p for p in circuit.parts}
    return tuple((by_id[r.coil].a, by_id[r.coil].b) if r.coil in by_id else ("-", "-") for r in circuit.relays)


def _solved(
    circuit: Circuit,
    parts: Sequence[Part],
    corner: Corner,
    closed: frozenset[str],
    c: Condition,
    replaces: str,
    between: tuple[str, str] | None,
) -> tuple[Three, ...] | None:
    plain, at = elements_at(parts, corner, closed, c, replaces)
    return _coil_volts(plain, tuple(corner.volts.items()), _coil_ends(circuit), between or at)


# ---------------------------------------------------------------- masks along the severities


@dataclass(frozen=True)
class Masks:
    """Along the grid: whether at some corner … `over`: more than the least drop-out in a combination that can be.
    `unsteady`: no combination is steady; `chatters`: that, and the coil can be up. `stays_out`, `lets_go`: it can be
    open below its most pull-in, closed at or below its most drop-out; `refuses`, `drops`: the same at the least ends
    whatever the limits of the others. `low_v`, `high_v`: coil volts over all corners, coil open; `hold_low_v`,
    `hold_high_v`: closed; where all other relays can stay; nan if never. `always`: for every choice of the either
    states it can crank at some corner. `tie`: hangs on a comparison within 1e-9 V. `shorted`: corners were left out.
    `applies`: severities that the fault can have."""

    grid: tuple[Number, ...]
    holds: Mask
    pulls_in: Mask
    over: Mask
    chatters: Mask
    unsteady: Mask
    history: Mask
    can: Mask
    always: Mask
    stays_out: Mask
    refuses: Mask
    lets_go: Mask
    drops: Mask
    tie: Mask
    applies: Mask
    low_v: npt.NDArray[np.float64]
    high_v: npt.NDArray[np.float64]
    hold_low_v: npt.NDArray[np.float64]
    hold_high_v: npt.NDArray[np.float64]
    shorted: int
    corners: int
    welded: bool  # the contact that turns the engine is stuck closed

    @property
    def sure(self) -> Mask:
        """At every corner it cranks, whatever the limits."""
        return ~(self.stays_out | self.chatters) | self.welded

    @property
    def stays(self) -> Mask:
        """At every corner it stays in, whatever the limits."""
        return ~(self.lets_go | self.chatters) | self.welded


def fault_grid(
    circuit: Circuit,
    fault: Fault,
    condition: Condition,
    grid: Sequence[Number] = GRID,
    held_open: frozenset[str] = frozenset(),
) -> Masks:
    """One fault in one condition at every severity of `grid` (a fault without: one column). `held_open`: relays
    released by hand."""
    sick = apply(circuit, fault)
    if condition.unplugged:
        sick = replace(sick, parts=tuple(p for p in sick.parts if p.device != circuit.lever))
    values: tuple[Number, ...] = tuple(grid) if fault.severity else (INF,)
    size = len(values)
    no, yes, nan = np.zeros(size, bool), np.ones(size, bool), np.full(size, np.nan)
    names = ("holds", "pulls_in", "over", "chatters", "unsteady", "history", "can", "tie")
    m = {k: no.copy() for k in (*names, "stays_out", "refuses", "lets_go", "drops")}
    v = {k: nan.copy() for k in ("low_v", "high_v", "hold_low_v", "hold_high_v")}
    by_choice: dict[tuple[tuple[str, str], ...], Mask] = {}
    parts = _near(sick, fault.between)
    pairs: tuple[tuple[str, str] | None, ...] = fault.between or (None,)
    main = [r.id for r in circuit.relays].index(circuit.coil)
    welded = fault.kind == "stuck-closed" and fault.site == circuit.turns
    combos = [s for s in combinations(sick) if not s & held_open]
    shorted = count = 0
    rails_of_severity = {n for pair in fault.between for n in pair} & {"battery", *sick.rails}
    everything = [*parts, *(Part(f"~{n}", "resistor", n, n) for n in rails_of_severity)]
    for pair in pairs:
        for corner in corners(sick, condition, everything):
            count += 1
            solved = {s: _solved(sick, parts, corner, s, condition, fault.replaces, pair) for s in combos}
            if any(x is None for x in solved.values()):
                shorted += 1
                continue
            some_closed, some_pull, some_steady, ways = no.copy(), no.copy(), no.copy(), np.zeros(size, int)
            volts: dict[frozenset[str], list[npt.NDArray[np.float64]]] = {}
            for s, threes in solved.items():
                assert threes is not None
                volts[s] = [_on_grid(three, values) for three in threes]
                possible, others, firm, risen, steady = (yes.copy() for _ in range(5))
                for i, r in enumerate(sick.relays):
                    x = volts[s][i]
                    limits = (*r.pull_in, *r.drop_out)
                    m["tie"] |= np.any([np.abs(x - float(level)) < TIE_V for level in limits], axis=0)
                    if r.id in held_open:
                        continue
                    stay = x > float(r.drop_out[0]) if r.id in s else x < float(r.pull_in[1])
                    strict = x > float(r.drop_out[1]) if r.id in s else x < float(r.pull_in[0])
                    possible &= stay
                    steady &= strict
                    if i != main:
                        others &= stay
                        firm &= strict
                        risen &= x >= float(r.pull_in[0]) if r.id in s else stay
                x, relay = volts[s][main], sick.relays[main]
                if relay.id in s:
                    m["holds"] |= possible
                    some_closed |= possible
                    m["lets_go"] |= others & (x <= float(relay.drop_out[1]))
                    m["drops"] |= firm & (x <= float(relay.drop_out[0]))
                elif relay.id not in held_open:
                    some_pull |= risen & (x >= float(relay.pull_in[0]))
                    m["stays_out"] |= others & (x < float(relay.pull_in[1]))
                    m["refuses"] |= firm & (x < float(relay.pull_in[0]))
                m["over"] |= possible & (x > float(relay.drop_out[0]))
                low, high = ("hold_low_v", "hold_high_v") if relay.id in s else ("low_v", "high_v")
                v[low] = np.fmin(v[low], np.where(others, x, np.nan))
                v[high] = np.fmax(v[high], np.where(others, x, np.nan))
                ways += possible
                some_steady |= steady
            m["history"] |= ways > 1
            m["pulls_in"] |= some_pull
            m["unsteady"] |= ~some_steady
            chatters = ~some_steady & _can_be_up(sick, volts, held_open, main)
            m["chatters"] |= chatters
            can_here = some_closed | some_pull | chatters | welded
            m["can"] |= can_here
            by_choice[corner.choice] = by_choice.get(corner.choice, no) | can_here
    stuck_open = fault.kind == "stuck-open" and fault.site == circuit.turns
    if stuck_open:
        m |= {k: no.copy() for k in ("holds", "pulls_in", "over", "chatters", "can")}
        m |= {k: yes.copy() for k in ("stays_out", "refuses", "lets_go", "drops")}
        by_choice = dict.fromkeys(by_choice, no)
    always = np.all(list(by_choice.values()), axis=0) if by_choice else no
    applies = np.array([s < fault.below or fault.below == INF for s in values])
    return Masks(values, always=always, applies=applies, shorted=shorted, corners=count, welded=welded, **m, **v)


def _can_be_up(
    circuit: Circuit,
    volts: Mapping[frozenset[str], list[npt.NDArray[np.float64]]],
    held_open: frozenset[str],
    main: int,
) -> Mask:
    """At one corner: a relay can be up if in some combination it rises, and so can all that are closed for it."""
    size = len(next(iter(volts.values()))[0])
    up = [np.zeros(size, bool) for _ in circuit.relays]
    for _ in circuit.relays:
        for s, found in volts.items():
            for i, r in enumerate(circuit.relays):
                if r.id in held_open:
                    continue
                rises = found[i] > float(r.drop_out[0]) if r.id in s else found[i] >= float(r.pull_in[0])
                needs = [up[k] for k, other in enumerate(circuit.relays) if other.id in s and k != i]
                up[i] |= rises & np.all(needs, axis=0) if needs else rises
    return up[main]


# ---------------------------------------------------------------- truth table


@dataclass(frozen=True)
class Cell:
    verdict: str
    wanted: str
    can: bool
    sure: bool
    low_v: float
    high_v: float
    hold_low_v: float
    hold_high_v: float
    chatters: bool
    history: bool
    tie: bool


@dataclass(frozen=True)
class Row:
    point: str
    permitted: bool
    requested: Cell
    not_requested: Cell
    unplugged: Cell


VERDICTS = ("pass", "not shown", "fail")


def cell(circuit: Circuit, point: str, request: bool, unplugged: bool = False, fault: Fault = SOUND) -> Cell:
    """The cell of the table; for a fault with a severity see `fault_grid`."""
    permitted = point in circuit.permitted
    wanted = "cranks" if permitted and request and not unplugged else "no"
    seen = {
        key: fault_grid(circuit, fault, Condition(point, request, key, unplugged=unplugged)) for key in circuit.supply
    }
    run = seen["run"]
    if wanted == "cranks":
        good, bad = bool(run.sure.all()), bool((run.refuses | run.chatters).any())
        if "crank" in seen:
            crank = seen["crank"]
            good, bad = good and bool(crank.stays.all()), bad or bool((crank.drops | crank.chatters).any())
    else:
        good = not any(x.can.any() for x in seen.values())
        bad = any(x.always.any() for x in seen.values())
    verdict = "pass" if good else "fail" if bad else "not shown"

    def ends(name: str, pick: str) -> float:
        values = np.concatenate([getattr(x, name) for x in seen.values()])
        return float("nan") if np.isnan(values).all() else float(getattr(np, pick)(values))

    return Cell(
        verdict,
        wanted,
        any(bool(x.can.any()) for x in seen.values()),
        all(bool(x.sure.all()) for x in seen.values()),
        ends("low_v", "nanmin"),
        ends("high_v", "nanmax"),
        ends("hold_low_v", "nanmin"),
        ends("hold_high_v", "nanmax"),
        any(bool(x.chatters.any()) for x in seen.values()),
        any(bool(x.history.any()) for x in seen.values()),
        any(bool(x.tie.any()) for x in seen.values()),
    )


def truth_table(circuit: Circuit, fault: Fault = SOUND) -> list[Row]:
    return [
        Row(
            p,
            p in circuit.permitted,
            cell(circuit, p, True, fault=fault),
            cell(circuit, p, False, fault=fault),
            cell(circuit, p, True, unplugged=True, fault=fault),
        )
        for p in circuit.points
    ]


def table_verdict(rows: Sequence[Row]) -> str:
    return max((c.verdict for r in rows for c in (r.requested, r.not_requested, r.unplugged)), key=VERDICTS.index)


def least_supply_v(circuit: Circuit, point: str) -> Fraction:
    """One relay only: the supply in V at which the open coil, requested, just has pull_in.high at its worst corner."""
    if len(circuit.relays) != 1:
        raise ValueError("only for one relay")
    relay, parts, worst = circuit.relays[0], _near(circuit, ()), ZERO
    c = Condition(point, True)
    for corner in corners(circuit, c, parts):
        volts = []
        for battery in (Fraction(10), Fraction(20)):
            there = replace(corner, volts={**corner.volts, "battery": battery})
            solved = _solved(circuit, parts, there, frozenset(), c, "", None)
            if solved is None:
                break
            volts.append(solved[0][0])
        if len(volts) == 2 and volts[1] != volts[0]:
            per_volt = (volts[1] - volts[0]) / 10
            worst = max(worst, 10 + (relay.pull_in[1] - volts[0]) / per_volt)
    return worst


def form_of(circuit: Circuit) -> str:
    """ "H", "L", "K", "H+K", "L+K", or "" where nothing depends on the lever."""
    high = {circuit.part(x) for r in circuit.relays for x in r.high}
    low = {circuit.part(x) for r in circuit.relays for x in r.low}
    letters = []
    if any(p.closed_in is not None for p in high):
        letters.append("H")
    elif any(p.closed_in is not None for p in low):
        letters.append("L")
    if any(p.kind == "driver" and p.states for p in high | low):
        letters.append("K")
    return "+".join(letters)


# ---------------------------------------------------------------- effects


EFFECTS = (
    "cranks in gear, no request",
    "cranks in gear",
    "keeps cranking in gear",
    "cranks by itself",
    "keeps cranking",
    "cranks at random",
    "no crank",
    "none",
)


@dataclass(frozen=True)
class Hit:
    """One condition in which a fault does something: masks along the grid, cut to the severities that apply."""

    condition: Condition
    effect: str  # the worst at any severity
    holds: Mask
    pulls_in: Mask
    chatters: Mask
    tie: Mask
    by_command: Mask  # over drop_out.low with the command contacts operated and not without


@dataclass(frozen=True)
class Effects:
    """`defeat`, `hidden`, `inherent`: along the grid, over all conditions; `hidden` says that the daily cells
    (permitted and requested, not requested) are all as wanted, so nobody notices."""

    fault: Fault
    grid: tuple[Number, ...]
    effect: str
    hits: tuple[Hit, ...]
    defeat: Mask
    hidden: Mask
    inherent: Mask
    tie: Mask


def effect_masks(circuit: Circuit, c: Condition, m: Masks) -> dict[str, Mask]:
    inside = c.point in circuit.permitted
    welded_or_on = m.holds | m.welded
    out: dict[str, Mask] = {}
    if not c.request:
        out["cranks by itself" if inside else "cranks in gear, no request"] = m.pulls_in
        out["keeps cranking" if inside else "keeps cranking in gear"] = welded_or_on & ~m.pulls_in
    elif not inside:
        out["cranks in gear"] = welded_or_on | m.pulls_in
    else:
        out["no crank"] = ~m.sure if c.key == "run" else ~m.stays
    out["cranks at random"] = m.chatters
    return {k: x & m.applies for k, x in out.items()}


def released(circuit: Circuit) -> frozenset[str]:
    """Relays whose own chain holds an inhibit element."""
    return frozenset(r.id for r in circuit.relays if any(circuit.part(x).inhibits for x in (*r.high, *r.low)))


def _signature(circuit: Circuit, fault: Fault, c: Condition) -> tuple[object, ...]:
    """Conditions in which the same parts conduct give the same masks."""
    sick = apply(circuit, fault)
    return c.key, tuple((p.id, conducts(p, c)) for p in _near(sick, fault.between))


def conditions(circuit: Circuit) -> Iterator[Condition]:
    for point, request, key, operated in itertools.product(
        circuit.points, (True, False), circuit.supply, circuit.commands_together
    ):
        yield Condition(point, request, key, operated)


def effects(circuit: Circuit, fault: Fault, grid: Sequence[Number] = GRID) -> Effects:
    """All conditions of one fault. Positions are not mixed: each hit keeps its own masks."""
    values: tuple[Number, ...] = tuple(grid) if fault.severity else (INF,)
    no = np.zeros(len(values), bool)
    worst, hits = "none", []
    defeat, hidden, inherent, tie = no.copy(), ~no, no.copy(), no.copy()
    plain: dict[Condition, Masks] = {}
    seen: dict[tuple[object, ...], Masks] = {}

    def look(c: Condition, held_open: frozenset[str] = frozenset()) -> Masks:
        key = (held_open, _signature(circuit, fault, c))
        if key not in seen:
            seen[key] = fault_grid(circuit, fault, c, grid, held_open)
        return seen[key]

    for c in conditions(circuit):
        m = look(c)
        tie |= m.tie & m.applies
        if not c.operated:
            plain[c] = m
        calm = plain.get(replace(c, operated=frozenset()))
        by_command = m.holds & ~calm.holds if calm is not None else no
        named = effect_masks(circuit, c, m)
        here = min((k for k, x in named.items() if x.any()), key=EFFECTS.index, default="none")
        worst = min(worst, here, key=EFFECTS.index)
        inside = c.point in circuit.permitted
        if not inside:
            bad = m.can & m.applies | m.pulls_in & m.applies
            defeat |= bad
            if bad.any():
                by_hand = look(c, released(circuit))
                inherent |= (by_hand.can | by_hand.pulls_in) & by_hand.applies
        if not c.operated:
            if c.request and inside:
                hidden &= m.sure if c.key == "run" else m.stays
            elif not c.request:
                hidden &= ~(m.can | m.pulls_in)
        if here != "none" or by_command.any():
            cut = m.applies
            hits.append(Hit(c, here, m.holds & cut, m.pulls_in & cut, m.chatters & cut, m.tie, by_command & cut))
    return Effects(fault, values, worst, tuple(hits), defeat, hidden & defeat, inherent, tie)


# ---------------------------------------------------------------- command contacts


def separate(circuit: Circuit) -> bool:
    """No command contact hangs together with a coil otherwise than through a rail."""
    return not any(p.kind == "command" for p in _near(circuit, ()))


@dataclass(frozen=True)
class Influence:
    """`most_v`: greatest coil volts with a set operated in a position; `more_v`: that less the greatest without any."""

    point: str
    request: bool
    operated: frozenset[str]
    most_v: float
    more_v: float
    verdict: str


def influence(circuit: Circuit, fault: Fault = SOUND, grid: Sequence[Number] = (INF,)) -> list[Influence]:
    """Step 2 of the page. Only points not permitted have a verdict: "pass" below drop_out.low, or "not pass"."""
    out, relay = [], circuit.relay(circuit.coil)
    for point, request in itertools.product(circuit.points, (True, False)):
        calm = 0.0
        for operated in sorted(circuit.commands_together, key=len):
            most = 0.0
            for key in circuit.supply:
                m = fault_grid(circuit, fault, Condition(point, request, key, operated), grid)
                both = np.concatenate([m.high_v, m.hold_high_v])
                if not np.isnan(both).all():
                    most = max(most, float(np.nanmax(both)))
            calm = most if not operated else calm
            verdict = "pass" if most < float(relay.drop_out[0]) else "not pass"
            verdict = "" if point in circuit.permitted else verdict
            out.append(Influence(point, request, operated, most, most - calm, verdict))
    return out


# ---------------------------------------------------------------- generator


def awkward(seed: int, wires: bool = True) -> Circuit:
    """A start circuit, invented. Awkward on purpose: two returns with an offset, a feed shared with a lamp, an
    intermediate relay, a contact of its own that holds it, a position switch that leaks near the drop-out, named and
    unnamed mid-travel points, command lines beside it. `wires=False`: every net is one node."""
    rng = random.Random(f"inhibit {seed}")
    tags: list[str] = []

    def chance(p: float, tag: str = "") -> bool:
        hit = rng.random() < p
        if hit and tag:
            tags.append(tag)
        return hit

    def number(*choices: str) -> Fraction:
        return Fraction(rng.choice(choices))

    form = rng.choice(["H", "H", "L", "L", "K", "H+K"])
    tags.append(form)
    positions = tuple(rng.choice(["P R N D", "P R N D M", "R N D"]).split())
    permitted = frozenset(rng.choice([["P", "N"], ["N"]])) & set(positions)
    ranges = [5]  # the ranges still allowed

    def spread(low: str, high: str) -> tuple[Fraction, Fraction]:
        if ranges[0] > 0 and rng.random() < 0.6:
            ranges[0] -= 1
            return Fraction(low), Fraction(high)
        return (Fraction(high),) * 2

    supply = {"run": spread("10.5", "15.5")}
    if chance(0.3, "crank"):
        supply["crank"] = (number("6", "8"),) * 2
    rails = {"ground": (ZERO, ZERO)}
    grounds = ["ground"]
    if chance(0.5, "two returns"):
        rails["engine"] = rng.choice([(Fraction("-0.5"), Fraction("0.5")), (Fraction("0.3"),) * 2])
        grounds.append("engine")
    coil_ohm = number("80", "60", "12")
    pull = Fraction(rng.choice(["6", "7.2"]))
    drop = Fraction("1.2")
    parts: list[Part] = []
    nets: dict[str, tuple[str, ...]] = {}
    count = itertools.count(1)

    def link(kind: str, a: str, b: str) -> tuple[Fraction, Fraction]:
        del kind, a, b
        return spread("0", rng.choice(["0.2", "1"])) if wires else (ZERO, ZERO)

    def join(a: str, net: str) -> str:
        """A wire from node `a` to a new node of the same net, or `a` itself."""
        if not wires:
            nets.setdefault(net, (a,))
            return a
        b = f"{a}'"
        i = next(count)
        parts.append(Part(f"w{i}", "wire", a, b, link("wire", a, b)))
        nets[net] = (a, b)
        return b

    leaks: list[Number] = [INF, INF, Fraction(50000), Fraction(470)]
    leak = rng.choice(leaks)
    near = False
    if leak != INF and chance(0.7, "drop-out near the leak"):  # volts through the leak, give or take a little
        drop = Fraction(f"{float(Fraction('13') * coil_ohm / (coil_ohm + leak)) * rng.choice([0.97, 1.03, 1.2]):.4g}")
        near = 0 < drop < pull
    if not near:
        drop = Fraction("1.2")
    closed_in = permitted if chance(0.9) else permitted | {positions[-1]}
    mid = []
    for a, b in itertools.pairwise(positions):
        if rng.random() < 0.4:
            mid.append((f"{a}|{b}", rng.choice(["open", "open", "closed"])))
    gate = Part("pn", "switch", "", "", spread("0", "0.05"), leak, "lever", frozenset(closed_in), tuple(mid))
    states = []
    for a, b in itertools.pairwise(positions):
        states.append((f"{a}|{b}", rng.choice(["off", "either"])))
    states.append(("unplugged", "off"))
    states += [(p, "on" if p in permitted else "off") for p in positions]
    driver = Part("out", "driver", "", "", spread("0.1", "0.5"), rng.choice([INF, leaks[2]]), states=tuple(states))
    start = Part("start", "switch", "", "", (ZERO, Fraction("0.05")) if chance(0.2) else (ZERO, ZERO), start=True)

    parts.append(Part("fuse", "feed", "battery", "feed", (ZERO, ZERO), live=frozenset(supply)))
    feed = "feed"
    if chance(0.4, "shared feed"):
        parts.append(Part("feed_wire", "wire", "feed", "feed'", spread("0.1", "0.5")))
        parts.append(Part("lamp", "resistor", "feed'", "ground", (Fraction(6), Fraction(6))))
        feed = "feed'"
    nets["feed"] = tuple(dict.fromkeys(["feed", feed]))
    helper = chance(0.25, "two relays")
    relays: list[Relay] = []
    high: list[Part] = [start]
    low: list[Part] = []
    if form in ("H", "H+K"):
        high.append(gate)
    if form == "L":
        low.append(gate)
    if form in ("K", "H+K"):
        low.append(driver)
    if helper:  # the lever's relay: its contact stands in the coil's chain in place of the elements above
        at = feed
        here = join(at, "feed")
        ids_high, ids_low = [p.id for p in high], [p.id for p in low]
        for p in high:
            parts.append(replace(p, a=here, b=f"{p.id}_out"))
            here = join(f"{p.id}_out", f"net_{p.id}")
        parts.append(Part("helper_coil", "coil", here, "helper_minus", (Fraction(90), Fraction(90))))
        here = join("helper_minus", "net_helper_minus")
        for k, p in enumerate(low):
            end = rng.choice(grounds) if k == len(low) - 1 else f"{p.id}_out"
            parts.append(replace(p, a=here, b=end))
            here = end
        if not low:
            parts.append(Part("stud_helper", "stud", here, rng.choice(grounds)))
            ids_low.append("stud_helper")
        limits = (Fraction(5), Fraction(6)), (Fraction("0.8"), Fraction(2))
        relays.append(Relay("helper", "helper_coil", *limits, tuple(ids_high), tuple(ids_low)))
        contact = Part("helper_no", "contact", "", "", spread("0", "0.1"), relay="helper")
        high, low = [contact], []
    here = feed
    for p in high:
        parts.append(replace(p, a=here, b=f"{p.id}_out"))
        here = join(f"{p.id}_out", f"net_{p.id}")
    plus = here
    parts.append(Part("coil", "coil", plus, "minus", (coil_ohm, coil_ohm)))
    here = join("minus", "net_minus")
    ids_low = [p.id for p in low]
    for k, p in enumerate(low):
        end = rng.choice(grounds) if k == len(low) - 1 else f"{p.id}_out"
        parts.append(replace(p, a=here, b=end))
        here = end
    if not low:
        parts.append(Part("stud", "stud", here, rng.choice(grounds)))
        ids_low.append("stud")
    limits = (pull, pull + rng.choice([0, 1])), (drop, min(drop * 2, pull - Fraction("0.1")))
    relays.append(Relay("start_relay", "coil", *limits, tuple(p.id for p in high), tuple(ids_low)))
    if chance(0.12, "seals itself"):
        across_start = next(p for p in parts if p.id == "start")
        parts.append(Part("seal", "contact", across_start.a, across_start.b, relay="start_relay"))
        k = next(k for k, r in enumerate(relays) if "start" in r.high)
        relays[k] = replace(relays[k], high=(*relays[k].high, "seal"))
    elif chance(0.06, "buzzer"):
        i = next(k for k, p in enumerate(parts) if p.id == "coil")
        parts.append(Part("buzz", "contact", plus, "buzz_out", relay="start_relay", normally_open=False))
        parts[i] = replace(parts[i], a="buzz_out")
        relays[-1] = replace(relays[-1], high=(*relays[-1].high, "buzz"))
    sets = [frozenset[str]()]
    neighbours: list[tuple[str, str]] = []
    if chance(0.6, "command line"):
        if chance(0.5, "fed from the supply"):
            parts.append(Part("up", "command", feed if chance(0.3, "shares the feed") else "battery", "up_out"))
            parts.append(Part("up_r", "resistor", "up_out", "pin", (number("220", "47", "1000"),) * 2))
            parts.append(Part("pull", "resistor", "pin", "ground", (number("1000", "4700"),) * 2))
        else:
            rails["reference"] = (Fraction(5), Fraction(5))
            parts.append(Part("pull", "resistor", "reference", "pin", (number("1000", "470"),) * 2))
            parts.append(Part("up", "command", "up_out", grounds[-1]))
            parts.append(Part("up_r", "resistor", "pin", "up_out", (number("220", "1000"),) * 2))
        sets.append(frozenset(["up"]))
        neighbours += [("minus", rng.choice(["pin", "up_out"])), (plus, rng.choice(["pin", "up_out"]))]
    wrong = [("out", positions[-1], tuple((p, "on" if p == positions[-1] else s) for p, s in states))]
    wires_of = [p for p in parts if p.kind == "wire" and p.id != "feed_wire"]
    cavities = [("plug", str(k), p.id, "b") for k, p in enumerate(wires_of[:3], start=1)]
    joints = [("tail", tuple(p.id for p in wires_of[1:3]))] if len(wires_of) > 2 else []
    return Circuit(
        positions,
        permitted,
        "lever",
        supply,
        rails,
        tuple(parts),
        tuple(relays),
        "start_relay",
        "main",
        nets,
        tuple(grounds),
        tuple(cavities),
        tuple(joints),
        tuple(neighbours),
        tuple(wrong) if "K" in form else (),
        tuple(sets),
        tuple(tags),
    )
