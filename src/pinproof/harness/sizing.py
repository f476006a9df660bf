"""A size for each wire: every rule over every run it lies in, the largest demand wins and is named.

Answers: which size has each wire, and which rule asked for it; where no size holds.
Units:   m², A, V, °C; lengths in mm where wires are listed.
Touches: nothing.
Beside:  `size` has the rules on plain numbers, `no_size` the words where none holds;
         docs/harness.md, *Sizing*, has them in words with their sources.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pinproof.design.model import Truck
from pinproof.harness import size as rule
from pinproof.harness.choices import Choice
from pinproof.harness.coded_ways import CodedWay
from pinproof.harness.current import Currents
from pinproof.harness.geometry import highest_c
from pinproof.harness.layout import Drawn, hottest_c
from pinproof.harness.no_size import Scene, coded_none, none_holds, outlasts, strands_asked
from pinproof.harness.results import Finding, RuleCheck, Sizing
from pinproof.harness.stock import Size
from pinproof.tables import drop_fraction
from pinproof.wiring.nets import Refusal, refusal

ORDER = ("mechanical", "current", "drop", "coded", "fuse")
SOURCES = {
    "mechanical": ("common practice, no source", "memory"),
    "current": ("FAA AC 43.13-1B table 11-9; bundles: NFPA 70, borrowed from buildings", "open copy"),
    "drop": ("ABYC E-11, a custom borrowed from boats; IEC 60228 class 5, IEC 60028", "secondary"),
    "coded": ("what the proof assumed is what is built", "design file"),
    "fuse": ("common practice, no source", "memory"),
}


@dataclass(frozen=True)
class Around:
    """What surrounds a wire in one run. `factor` is for several loaded wires."""

    environment: str
    wires: int
    factor: float
    ambient_c: float


@dataclass(frozen=True)
class Demand:
    """What one wire must stand."""

    around: tuple[Around, ...]
    current_a: float
    fuse_a: float
    drop_v_per_m: float | None  # None where no load's drop counts


def demands(
    truck: Truck, drawn: Drawn, currents: Currents, fuses_a: Sequence[float], loops_mm: Mapping[int, int]
) -> list[Demand]:
    """What each wire must stand, from what lies beside it and what flows."""
    by_id = {run.id: run for run in truck.runs}
    beside: dict[str, list[int]] = {}
    for number, wire in enumerate(drawn.wires):
        for crossed in wire.runs:
            beside.setdefault(crossed, []).append(number)
    surroundings: dict[str, Around] = {}
    for name, wires in beside.items():
        loaded = sum(currents.wire_a[one] >= rule.LOADED_FROM_A for one in wires)
        run = by_id[name]
        factor = rule.bundle_factor(loaded, len(wires))
        surroundings[name] = Around(run.environment, len(wires), factor, highest_c(truck, run))
    fractions = _fractions(truck, currents)
    nominal_v = truck.supply.run.value
    found: list[Demand] = []
    for number, wire in enumerate(drawn.wires):
        around = tuple(surroundings[one] for one in wire.runs) or (
            Around("bundle", 1, 1.0, hottest_c(truck, (), wire.a.place)),
        )
        loads = [one for one in currents.carried[number] if one in fractions]
        drop = None
        if loads:
            loop_m = max(loops_mm[one] for one in loads) / 1000
            drop = min(fractions[one] for one in loads) * nominal_v / max(loop_m, 1e-3)
        found.append(Demand(around, currents.wire_a[number], fuses_a[number], drop))
    return found


def _fractions(truck: Truck, currents: Currents) -> dict[int, float]:
    """Accepted drop of each load and coil, as a fraction of the supply. [1]"""
    stated = {one.id: one for one in (*truck.loads, *truck.relays)}
    found: dict[int, float] = {}
    for number, one in enumerate(currents.consumers):
        if one.kind != "line":
            load = stated[one.id]
            found[number] = drop_fraction(load.drop).value if load.drop_allowed is None else load.drop_allowed.value
    return found


def allowed_a(demand: Demand, size: Size) -> float:
    """Current that a size may carry in the worst run of a wire. [A]"""
    return min(
        rule.allow_a(size.area_m2, size.rated_c, each.ambient_c, each.factor, size.carries_a) for each in demand.around
    )


def check(demand: Demand, size: Size) -> list[RuleCheck]:
    """Every rule for one size."""
    mechanical = max(rule.least_area_m2(each.environment, each.wires) for each in demand.around)
    strands = strands_asked([each.environment for each in demand.around])
    enough = size.area_m2 >= mechanical * (1 - 1e-6) and size.strands >= strands
    allowed = allowed_a(demand, size)
    found = [
        _row("mechanical", mechanical * 1e6, size.area_m2 * 1e6, "mm²", enough),
        _row("current", demand.current_a, allowed, "A", demand.current_a <= allowed * (1 + 1e-9)),
    ]
    if demand.drop_v_per_m is not None:
        worst = 0.0
        for each in demand.around:
            here = rule.allow_a(size.area_m2, size.rated_c, each.ambient_c, each.factor, size.carries_a)
            temp_c = min(rule.wire_temp_c(each.ambient_c, size.rated_c, demand.current_a, here), 1e4)
            worst = max(worst, demand.current_a * rule.hot_ohm_per_m(size.area_m2, temp_c))
        limit = demand.drop_v_per_m
        found.append(_row("drop", worst * 1000, limit * 1000, "mV/m", worst <= limit * (1 + 1e-9)))
    found.append(_row("fuse", demand.fuse_a, allowed, "A", demand.fuse_a <= allowed * (1 + 1e-9)))
    return found


def _row(name: str, need: float, have: float, unit: str, holds: bool) -> RuleCheck:
    source, seen = SOURCES[name]
    return RuleCheck(name, need, have, unit, source, seen, holds)


@dataclass
class Sized:
    """Sizes found, with what is against them."""

    picked: list[int]  # number in the list of sizes
    rules: list[str]
    refusals: list[Refusal]
    findings: list[Finding]


def pick_sizes(
    scene: Scene,
    demand: Sequence[Demand],
    sizes: Sequence[Size],
    choices: Mapping[int, Choice],
    ways: Sequence[CodedWay],
) -> Sized:
    """The smallest size of each wire for which every rule holds; a choice of the owner is kept and judged."""
    drawn = scene.drawn
    usable = [number for number, size in enumerate(sizes) if not size.barred]
    found = Sized([], [], [], [])
    known: dict[Demand, tuple[int, str] | None] = {}
    for number in range(len(drawn.wires)):
        choice = choices.get(number)
        if choice is not None and choice.size is not None:
            found.picked.append(choice.size)
            found.rules.append("chosen")
            _judge_choice(scene, found, number, demand[number], sizes, usable, choice.size, choice.path)
            continue
        if demand[number] not in known:
            known[demand[number]] = _smallest(demand[number], sizes, usable)
        best = known[demand[number]]
        if best is None:
            found.refusals.append(_none(scene, number, demand[number], sizes, usable))
            best = (usable[-1] if usable else 0, "mechanical")
        found.picked.append(best[0])
        found.rules.append(best[1])
    for way in ways:
        _step_up(scene, sizes, usable, choices, way, found)
    return found


def _smallest(demand: Demand, sizes: Sequence[Size], usable: Sequence[int]) -> tuple[int, str] | None:
    """Number of the smallest size that holds, and the rule that asked for it: the first of those that ask most."""
    asked: dict[str, int] = {}
    for number in usable:
        rows = check(demand, sizes[number])
        for row in rows:
            if row.holds:
                asked.setdefault(row.rule, number)
        if all(row.holds for row in rows):
            first = min(ORDER, key=lambda name: (-_position(usable, asked.get(name)), ORDER.index(name)))
            return number, first
    return None


def _position(usable: Sequence[int], number: int | None) -> int:
    return -1 if number is None else usable.index(number)


def _step_up(
    scene: Scene,
    sizes: Sequence[Size],
    usable: Sequence[int],
    choices: Mapping[int, Choice],
    way: CodedWay,
    found: Sized,
) -> None:
    """All wires of a coded way go up together until the way has no more ohms than the proof assumed."""
    drawn = scene.drawn
    free = [one for one in way.wires if one not in choices or choices[one].size is None]
    while way_ohm(drawn, sizes, found.picked, way) > way.limit_ohm * (1 + 1e-9):
        lower = [one for one in free if found.picked[one] in usable[:-1]]
        if not lower:
            best = way_ohm(drawn, sizes, found.picked, way)
            thickest = sizes[max((found.picked[one] for one in way.wires), key=lambda at: sizes[at].area_m2)].text
            found.refusals.append(coded_none(scene, way, thickest, best))
            return
        for one in lower:
            found.picked[one] = usable[usable.index(found.picked[one]) + 1]
            found.rules[one] = "coded"


def way_ohm(drawn: Drawn, sizes: Sequence[Size], picked: Sequence[int], way: CodedWay) -> float:
    """Resistance of a coded way as built, at its highest temperatures. [Ω]"""
    total = way.fixed_ohm
    for wire, ambient_c in zip(way.wires, way.ambient_c, strict=True):
        area_m2 = sizes[picked[wire]].area_m2
        total += rule.hot_ohm_per_m(area_m2, ambient_c) * drawn.wires[wire].cut_mm / 1000
    return total


def sizing_of(demand: Demand, size: Size, name: str, coded: RuleCheck | None) -> Sizing:
    """The result for one wire with all its checks."""
    checks = check(demand, size)
    if coded is not None:
        checks = [one for one in checks if one.rule != "drop"] + [coded]
    checks.sort(key=lambda one: ORDER.index(one.rule))
    return Sizing(size.text, size.area_m2, size.outside_m, name, tuple(checks), size.cable)


def coded_check(drawn: Drawn, sizes: Sequence[Size], picked: Sequence[int], way: CodedWay) -> RuleCheck:
    """How a coded way as built compares with what the proof assumed."""
    have = way_ohm(drawn, sizes, picked, way)
    row = _row("coded", have * 1000, way.limit_ohm * 1000, "mΩ", have <= way.limit_ohm * (1 + 1e-9))
    return replace(row, source=f"{way.path}: what the proof assumed is what is built")


def _judge_choice(
    scene: Scene,
    found: Sized,
    number: int,
    demand: Demand,
    sizes: Sequence[Size],
    usable: Sequence[int],
    picked: int,
    path: str,
) -> None:
    wire = scene.drawn.wires[number]
    best = _smallest(demand, sizes, usable)
    for row in check(demand, sizes[picked]):
        if row.holds:
            continue
        if row.rule == "fuse":
            larger = None if best is None else sizes[best[0]]
            allowed = allowed_a(demand, sizes[picked])
            found.refusals.append(outlasts(scene, number, sizes[picked], allowed, demand.fuse_a, larger))
        else:
            text = f"{wire.id} ({wire.net}) of {sizes[picked].text}: {row.rule} asks {row.need:.3g} {row.unit}, "
            text += f"against {row.have:.3g}."
            cure = f"Take {sizes[best[0]].text}." if best is not None else ""
            found.findings.append(Finding(f"size-{row.rule}", "fail", path, text, cure))


def _none(scene: Scene, number: int, demand: Demand, sizes: Sequence[Size], usable: Sequence[int]) -> Refusal:
    truck = scene.truck
    if not usable:
        barred = "; ".join(f"{one.text}: {one.barred}" for one in sizes if one.barred) or "the list is empty"
        text = f"wire of {scene.drawn.wires[number].net}: no size may be used ({barred}). Give a `[[cable]]`."
        return refusal(truck, "wire-none", "harness", text)
    largest = sizes[usable[-1]]
    row = next(one for one in check(demand, largest) if not one.holds)
    if row.rule == "fuse":
        return outlasts(scene, number, largest, allowed_a(demand, largest), demand.fuse_a, None)
    strands = strands_asked([each.environment for each in demand.around])
    return none_holds(scene, number, largest, row, strands, max(each.ambient_c for each in demand.around))
