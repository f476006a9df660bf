"""Does the start inhibit's engine agree with the slow checker? On generated awkward start circuits.

    python3 dev.py truth 300 --inhibit             three hundred, seeds 0 to 299
    python3 dev.py truth 100 --inhibit --seed 7000 a hundred from seed 7000

For each seed both judge the same netlist: every cell of the truth table, its verdict and its volts; then for some
faults, in every position, with and without a request, in both key states and with every set of command contacts, along
a grid of severities: the engine's outer sets must hold all that the checker finds, its shown sets nothing that the
checker does not; where the engine says exact both must be the same. Points within 1e-9 V of a limit are left out.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction
from math import inf
from typing import Any

import numpy as np
import numpy.typing as npt

from tests.truth import inhibit_check as ic
from tests.truth.runner import command, run_seeds
from tests.truth.truck import INF

GRID: tuple[Any, ...] = (Fraction(0), *(Fraction(f"{10 ** (k / 4):.6e}") for k in range(-10, 27)), INF)
MOST_FAULTS = 10
MOST_RANGES = 6
MEETS = 1e-9  # a grid point so near to an end, relatively, is not asked
NEAR_V = 1e-6
Mask = npt.NDArray[np.bool_]


@dataclass
class Outcome:
    """What was compared for one seed, and what differs."""

    seed: int
    disagreements: list[str] = field(default_factory=list)
    seen: Counter[str] = field(default_factory=Counter)


def engine_circuit(circuit: ic.Circuit) -> Any:
    """The checker's netlist as the engine's, branch for branch."""
    from pinproof.inhibit import Circuit, Ground, Relay, Supply

    names = {part.id: part for part in circuit.parts}
    relays = tuple(
        Relay(each.id, each.coil, *map(float, (*each.pull_in, *each.drop_out)),
              inhibited=any(names[one].inhibits for one in (*each.high, *each.low)))
        for each in circuit.relays
    )  # fmt: skip
    return Circuit(
        tuple(_branch(circuit, part) for part in circuit.parts), relays,
        tuple(Ground(name, float(low), float(high), metal=name in circuit.grounds)
              for name, (low, high) in circuit.rails.items()),
        tuple(Supply(key, float(low), float(high)) for key, (low, high) in circuit.supply.items()),
        circuit.positions, circuit.permitted, circuit.coil, circuit.turns, circuit.lever,
        command_sets=tuple(each for each in circuit.commands_together if each),
    )  # fmt: skip


def _branch(circuit: ic.Circuit, part: ic.Part) -> Any:
    from pinproof.inhibit import Branch
    from pinproof.inhibit.circuit import travel

    low, high = map(float, part.on)
    kinds = {"feed": "fuse", "stud": "wire", "contact": "relay contact", "command": "contact"}
    kind: Any = kinds.get(part.kind, part.kind)
    more: dict[str, Any] = {"open_ohm": inf if part.off == INF else float(part.off), "device": part.device}
    if part.kind == "feed":
        more |= {"by": "key", "closed_at": part.live if part.live is not None else frozenset(circuit.supply)}
    elif part.kind == "contact":
        more |= {"by": "relay", "relay": part.relay, "normally_closed": not part.normally_open}
    elif part.kind == "command":
        more |= {"by": "command", "normally_closed": not part.normally_open}
    elif part.kind == "driver":
        closed, either = _driver_points(circuit, part.states)
        more |= {"by": "lever", "closed_at": closed, "either_at": either} if part.states else {"by": "any"}
    elif part.kind == "switch" and part.start:
        more |= {"by": "start"}
    elif part.kind == "switch" and part.closed_in is not None:
        closed, either = travel(circuit.positions, part.closed_in, part.mid)
        more |= {"by": "lever", "closed_at": closed, "either_at": either}
    elif part.kind == "switch":
        more |= {"by": "any"}
    return Branch(part.id, kind, part.a, part.b, low, high, **more)


def _driver_points(circuit: ic.Circuit, states: tuple[tuple[str, str], ...]) -> tuple[frozenset[str], frozenset[str]]:
    said = dict(states)
    points = [*circuit.points, "unplugged"]
    closed = frozenset(point for point in points if said.get(point) == "on")
    return closed, frozenset(point for point in points if said.get(point) not in ("on", "off"))


def changes_of(circuit: ic.Circuit, made: Any, fault: ic.Fault) -> list[Any]:
    """The engine's changes that together are one fault of the checker: one for each node of a net."""
    from pinproof.inhibit.boxes import Change
    from pinproof.inhibit.circuit import BATTERY, CHASSIS
    from pinproof.inhibit.sites import _shifted

    kind, site = fault.kind, fault.site
    if kind in ("stuck-closed", "stuck-open"):
        return [Change(stuck=((site, kind == "stuck-closed"),))]
    if fault.replaces:
        below = inf if fault.below == INF else float(fault.below)
        return [Change(severe=site, below_ohm=below)]
    if kind in ("early", "late"):
        return [Change(moved=((site, *_shifted(made, made.branch(site), -1 if kind == "early" else 1)),))]
    if kind == "open":
        return [Change(gone=(site,))]
    if kind == "apart":
        return [Change(gone=fault.detail)]
    if kind == "swapped":
        return [Change(exchanged=((fault.detail[0], fault.detail[2]),))]
    if kind == "wrong-code":
        states = next(s for d, m, s in circuit.wrong_codes if (d, m) == (site, fault.detail[0]))
        return [Change(moved=((site, *_driver_points(circuit, states)),))]
    if kind == "chafed-to-supply":
        return [Change(join=(node, BATTERY)) for node, _ in fault.between]
    if kind == "chafed-to-ground":
        return [Change(join=(node, CHASSIS)) for node in dict.fromkeys(node for node, _ in fault.between)]
    return [Change(join=pair) for pair in fault.between]


def free_ranges(circuit: ic.Circuit) -> int:
    """How many ranges double the checker's corners."""
    wide = sum(part.on[0] != part.on[1] for part in circuit.parts)
    wide += sum(part.off != INF for part in circuit.parts)
    wide += sum(low != high for low, high in [*circuit.rails.values(), *circuit.supply.values()])
    return wide


def compare(seed: int) -> Outcome:
    """All of one seed."""
    out = Outcome(seed)
    circuit = ic.awkward(seed, wires=seed % 3 != 0)
    if free_ranges(circuit) > MOST_RANGES:
        out.seen["left out: too many corners for the checker"] += 1
        return out
    made = engine_circuit(circuit)
    for tag in circuit.tags:
        out.seen[f"with {tag}"] += 1
    _table(circuit, made, out)
    _faults(circuit, made, out)
    return out


def _table(circuit: ic.Circuit, made: Any, out: Outcome) -> None:
    from pinproof.inhibit import truth_table

    for row, mine in zip(ic.truth_table(circuit), truth_table(made), strict=True):
        for cell, own in zip((row.requested, row.not_requested, row.unplugged), mine.cells, strict=True):
            if cell.tie:
                out.seen["cells at a limit"] += 1
                continue
            what = f"{row.point} {'held' if own.request else 'off'} {own.lever}"
            out.seen[f"cell {cell.verdict}"] += 1
            same = str(own.verdict.value) == cell.verdict
            if not same and len(circuit.relays) > 1 and str(own.verdict.value) == "not shown":
                out.seen["cells that two relays leave open"] += 1
            elif not same:
                out.disagreements.append(f"{what}: checker {cell.verdict}, engine {own.verdict.value} ({own})")
            for ends, (low, high) in (
                (own.pull_v, (cell.low_v, cell.high_v)),
                (own.hold_v, (cell.hold_low_v, cell.hold_high_v)),
            ):
                if np.isnan(low):
                    continue
                out.seen["volts"] += 1
                inside = ends[0] <= low + NEAR_V and high <= ends[1] + NEAR_V
                tight = len(circuit.relays) > 1 or not own.exact or abs(high - ends[1]) < NEAR_V
                if not inside or not tight:
                    out.disagreements.append(f"{what}: checker {low:.6g} to {high:.6g} V, engine {ends}")


def _faults(circuit: ic.Circuit, made: Any, out: Outcome) -> None:
    from pinproof.inhibit.ask import answers
    from pinproof.inhibit.boxes import Bench, Situation

    rng = random.Random(f"agree inhibit {out.seed}")
    listed = [each for each in ic.faults_of(circuit, own_chassis=True) if each.site != circuit.turns]
    loud = [each for each in listed if each.severity]
    some = rng.sample(loud, min(len(loud), MOST_FAULTS - 4)) + rng.sample(listed, min(len(listed), 4))
    for fault in dict.fromkeys(some):
        out.seen[f"fault {fault.kind}"] += 1
        # Conditions in which the same parts conduct are one; what the engine makes of the lever it is asked anyway.
        distinct = {ic._signature(circuit, fault, c): c for c in ic.conditions(circuit)}
        listed_c = list(distinct.values())
        situations = [Situation(c.point, c.request, c.key, operated=c.operated) for c in listed_c]
        found = [
            answers(Bench(made, change), situations, ("holds", "pulls_in"))
            for change in changes_of(circuit, made, fault)
        ]
        for number, c in enumerate(listed_c):
            masks = ic.fault_grid(circuit, fault, c, GRID)
            _masks(circuit, fault, c, masks, [each[number] for each in found], out)


def _masks(
    circuit: ic.Circuit, fault: ic.Fault, c: ic.Condition, masks: ic.Masks, mine: list[Any], out: Outcome
) -> None:
    """One fault in one condition along the grid."""
    values = masks.grid
    asked = masks.applies & ~masks.tie
    for name in ("holds", "pulls_in", "chatters"):
        outer, shown = (
            np.any([_along(getattr(getattr(each, name), end), values) for each in mine], axis=0)
            for end in ("outer", "inner")
        )
        near = np.any([_near(getattr(each, name), values) for each in mine], axis=0)
        found: Mask = getattr(masks, name)
        exact = all(getattr(each, name).exact for each in mine)
        ask = asked & ~near
        if name == "chatters":  # the engine asks where nothing else is known that is as bad
            known = np.any(
                [_along(getattr(each, other).outer, values) for each in mine for other in ("holds", "pulls_in")], axis=0
            )
            ask = ask & ~known
            shown_must = masks.unsteady
        else:
            shown_must = found
        out.seen[f"points {name}"] += int(ask.sum())
        out.seen[f"points that {name}"] += int((ask & found).sum())
        out.seen["sets exact" if exact else "sets bracketed"] += 1
        missed, invented = ask & found & ~outer, ask & shown & ~shown_must
        for mask, word in ((missed, "missed"), (invented, "claimed wrongly")):
            if mask.any():
                where = [str(float(values[k])) for k in np.flatnonzero(mask)[:3]]
                out.disagreements.append(
                    f"{fault.id}, {c.point}, {'held' if c.request else 'off'}, {c.key}, {sorted(c.operated)}: {name} "
                    f"{word} by the engine at {', '.join(where)} Ω ({int(mask.sum())} points)"
                )


def _along(sets: Any, values: tuple[Any, ...]) -> Mask:
    return np.array([any(each.holds(float(ohm)) for each in sets) for ohm in values], dtype=bool)


def _near(found: Any, values: tuple[Any, ...]) -> Mask:
    ends = [end for each in (*found.outer, *found.inner) for end in (each.low_ohm, each.high_ohm)]
    ends = [end for end in ends if 0.0 < end < inf]
    return np.array([any(abs(float(ohm) - end) <= MEETS * end for end in ends) for ohm in values], dtype=bool)


def run(count: int, start: int, jobs: int) -> tuple[int, Counter[str]]:
    """Compare `count` seeds and print what differs; the number of seeds that disagree, and what was compared."""
    return run_seeds(compare, count, start, jobs, chunk=2)


if __name__ == "__main__":
    command("--inhibit", 100, run)
