"""Least wire, splices, closing and stagger of the harness engine against the slow checker, on generated run trees.

The checker's run tree and nets are given to the engine as a design file's runs and joints and as nets; least wire must
be equal to the millimetre, refusals the same, and the engine's own wires are judged. It compares, and never repairs.
`agree_harness` runs it.
"""

from __future__ import annotations

import functools
import math
import random
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from tests.truth import wiring_trees as wt

CLOSE = 1e-9  # relative, between a float sum and a Fraction sum
MOST_BY_SUBSETS = 9  # single ends; above, the checker counts wires instead
MOST_TRIALS = 20_000  # ways to put splices into slots that the checker's plan may try
HEAD = """\
format = 1
id = "generated"
name = "Generated" # invented

[supply]
run = { low = "10.5 V", high = "15.5 V", value = "13.8 V", basis = "measured" }
crank = { low = "6 V", high = "11 V" }

[temperature]
low = "-10 °C"
high = "80 °C"
"""


@dataclass
class Outcome:
    """What one seed gave. `seen` counts what was compared."""

    seed: int
    disagreements: list[str] = field(default_factory=list)
    seen: Counter[str] = field(default_factory=Counter)

    def differs(self, text: str) -> None:
        self.disagreements.append(text)

    def same(self, what: str, mine: object, theirs: object) -> bool:
        """Equal things, or a disagreement that says so."""
        self.seen[what.partition(":")[0]] += 1
        if mine != theirs:
            self.differs(f"{what}: engine {theirs!r}, checker {mine!r}")
        return mine == theirs

    def near(self, what: str, mine: Fraction | float, theirs: float) -> None:
        """Equal sums but for rounding."""
        self.seen[what.partition(":")[0]] += 1
        if not math.isclose(float(mine), theirs, rel_tol=CLOSE, abs_tol=1e-15):
            self.differs(f"{what}: engine {theirs!r}, checker {float(mine)!r}")


# ---------------------------------------------------------------- a run tree as a design file


def length_text(rng: random.Random, mm: int) -> str:
    """One of the ways to write a length of which the `high`, rounded up, is so many whole mm."""
    return rng.choice(
        [
            f'"{mm} mm"',
            f'"{mm / 1000:.3f} m"',
            f'"{mm - 1}.3 mm"',
            f'{{ low = "{max(mm - 20, 1)} mm", high = "{mm} mm" }}',
        ]
    )


def tree_text(rng: random.Random, tree: wt.Tree, rules: wt.Rules, ways: int | None = None) -> str:
    """[harness], places, runs and joints of a case."""
    out = [
        f'slack = "{rules.slack_mm} mm"\nsplice_worth = "{rules.splice_worth_mm} mm"\n'
        f"splice_wires = {rules.splice_wires}\n"
        f'splice_clear = "{rules.splice_clear_mm} mm"\nbreakout_clear = "{rules.breakout_clear_mm} mm"\n'
        f'splice_length = "{rules.splice_length_mm} mm"\nsplice_limit = "{rules.splice_limit_c} °C"\n'
    ]
    places = list(tree.places)
    rng.shuffle(places)
    out += [f'[[place]]\nid = "{place}"\n' for place in places]
    for run in tree.runs:
        text = f'[[run]]\nid = "{run.id}"\nbetween = ["{run.u}", "{run.v}"]\n'
        text += f'length = {length_text(rng, run.length_mm)}\nenvironment = "{run.environment}"\n'
        text += f'temperature = {{ low = "-10 °C", high = "{run.highest_c} °C" }}\n'
        text += "splices = false\n" if not run.splices else ""
        text += "hot = true\n" if run.hot else ""
        out.append(text)
    for run in tree.runs:
        if not run.joint:
            continue
        text = f'[[joint]]\nid = "j_{run.id}"\nkind = "{run.joint}"\nrun = "{run.id}"\n'
        if run.joint == "coiled cord":
            text += f'cord_length = "{run.cord_mm} mm"\n'
        if run.joint in wt.PAIR_JOINTS:
            text += f'ways = {ways or run.ways}\nway_ohm = "10 mohm"\nleak = "none"\n'
        out.append(text)
    return "\n".join(out)


def occupied_text(rng: random.Random, tree: wt.Tree) -> str:
    """Something at every termination place: any of what makes one."""
    joints = {p for r in tree.runs if r.joint in wt.PAIR_JOINTS for p in (r.u, r.v)}
    out, battery = [], ""
    for number, place in enumerate(sorted(tree.terminations)):
        if place in joints and rng.random() < 0.5:
            continue
        kinds = ["device", "plug", "stud", "battery", *(["feed", "feed"] if battery else [])]
        kind = rng.choice(kinds)
        if kind in ("stud", "battery"):
            rail = "battery" if kind == "battery" else "ground"
            out.append(f'[[stud]]\nid = "x{number}"\nplace = "{place}"\nrail = "{rail}"\noffset = "none"\n')
            battery = f"x{number}" if kind == "battery" else battery
        elif kind == "feed":
            out.append(f'[[feed]]\nid = "x{number}"\nfrom = "{battery}"\nplace = "{place}"\nfuse = "5 A"\n')
            out.append('live = ["run"]\n')
        else:
            out.append(f'[[{kind}]]\nid = "x{number}"\nplace = "{place}"\n')
    return "\n".join(out)


# ---------------------------------------------------------------- the engine's layout judged


@functools.lru_cache(maxsize=4096)
def _optimum(
    tree: wt.Tree, rules: wt.Rules, part: wt.Part, closed: frozenset[str]
) -> tuple[tuple[int, int], str] | None:
    if len(part.singles) > MOST_BY_SUBSETS:
        counted = wt.least_by_counts(tree, rules, part, closed)
        return None if counted is None else (counted, "")
    found = wt.least(tree, rules, part, closed)
    return None if found is None else ((found.cost_mm, found.splices), found.groups[0][0].run if found.groups else "")


def optimum(tree: wt.Tree, rules: wt.Rules, part: wt.Part, closed: Iterable[str] = ()) -> tuple[int, int] | None:
    """Least cost in mm and number of splices."""
    found = _optimum(tree, rules, part, frozenset(closed))
    return None if found is None else found[0]


def refusal_code(tree: wt.Tree, rules: wt.Rules, part: wt.Part) -> str:
    """The code with which the page refuses a part, or ""."""
    if len(part.singles) > MOST_BY_SUBSETS and part.hub is not None:
        return "" if optimum(tree, rules, part) is not None else "hub-many"
    return wt.why_none(tree, rules, part)


def names_of_ends(tree: wt.Tree, nets: Any, part: Any) -> list[str]:
    """The checker's names of the ends of an engine's part."""
    by_name = {net.name: net for net in nets.nets}
    runs = {f"j_{run.id}": run for run in tree.runs}
    out = []
    for end in part.ends:
        if end.net_end is not None:
            out.append(by_name[part.net].ends[end.net_end].unit.id)
        else:
            run = runs[end.joint]
            out.append(f"{run.id}.{'u' if end.place == run.u else 'v'}")
    return out


def code_counts(fault: Any) -> Counter[str]:
    return Counter(getattr(each, "code", "") or f"file: {each}" for each in fault.faults)


def judge_layout(
    out: Outcome, tree: wt.Tree, rules: wt.Rules, nets: Sequence[wt.Net], engine_nets: Any, lay: Any
) -> Any:
    """Refusals or wires, against the checker; what `lay` drew, or None. The checker breaks ties by the names of nets:
    it gets names in the order of nets."""
    from pinproof.design import DesignFault

    names = {net.name: f"{k:02d} {net.name}" for k, net in enumerate(engine_nets.nets)}
    nets = sorted((replace(net, id=names[net.id]) for net in nets), key=lambda net: net.id)
    parts, crossings = wt.parts_of(tree, nets)
    over = [run for run in tree.runs if run.id in crossings and len(crossings[run.id]) > run.ways]
    codes = [refusal_code(tree, rules, part) for part in parts]
    if over:
        expected = Counter({"joint-ways": len(over)})
    else:
        expected = Counter(code for code in codes if code)
    try:
        drawn = lay()
    except DesignFault as fault:
        found = code_counts(fault)
        if expected or found != Counter({"splice-none": 1}):
            out.same("refusals", expected, found)
            out.seen.update({f"refused {code}": number for code, number in found.items()})
        else:  # no room after all runs were opened: the page closes runs until all fit
            out.seen["refused no room"] += 1
            if max(len(part.singles) for part in parts) <= MOST_BY_SUBSETS:
                _judge_no_room(out, tree, rules, parts)
        return None
    if expected:
        out.same("refusals", expected, Counter())
        return None
    _judge_drawn(out, tree, rules, parts, engine_nets, names, drawn)
    return drawn


def _judge_drawn(
    out: Outcome,
    tree: wt.Tree,
    rules: wt.Rules,
    parts: Sequence[wt.Part],
    engine_nets: Any,
    names: dict[str, str],
    drawn: Any,
) -> None:
    mine = {(part.net, frozenset(end.id for end in part.ends)): part for part in parts}
    ends_of = [names_of_ends(tree, engine_nets, part) for part in drawn.parts]
    keys = [(names[part.net], frozenset(ends)) for part, ends in zip(drawn.parts, ends_of, strict=True)]
    if not out.same("parts", set(mine), set(keys)):
        return
    shut: dict[int, list[str]] = {number: [] for number in range(len(keys))}
    for net, run_id in drawn.closed:
        run = next(each for each in tree.runs if each.id == run_id)
        within = wt.region(tree, run.u)
        number = next(k for k, key in enumerate(keys) if key[0] == names[net] and mine[key].ends[0].place in within)
        _judge_closing(out, tree, rules, [mine[key] for key in keys], shut, number, run_id)
        shut[number].append(run_id)
    least_mm, unmoved_mm = 0, 0
    for number, (part, key) in enumerate(zip(drawn.parts, keys, strict=True)):
        page = mine[key]
        open_best, best = optimum(tree, rules, page), optimum(tree, rules, page, shut[number])
        assert open_best is not None
        if best is None:
            out.differs(f"closed: {key} wired though no way is left without {shut[number]}")
            return
        least_mm += open_best[0]
        unmoved_mm += best[0]
        own = [wire for wire in drawn.wires if wire.part == number]
        splices = {s.id: (s.run, s.at_mm) for s in drawn.splices if s.part == number}
        pairs = [
            tuple(e.label if e.kind == "splice" else ends_of[number][e.side] for e in (wire.a, wire.b)) for wire in own
        ]
        judged = wt.judge_wiring(tree, rules, page, pairs, splices, shut[number])
        out.same(f"own wiring: {key}", (), judged.broken)
        out.same(f"own cost: {key}", judged.cost_mm, part.cost_mm)
        out.same(f"splices: {key}", best[1], len(splices))
        if page.hub is None and len(splices) == 1:
            found = _optimum(tree, rules, page, frozenset(shut[number]))
            assert found is not None
            out.same(f"first site: {key}", found[1], next(iter(splices.values()))[0])
        _judge_lengths(out, tree, rules, page, own, pairs, splices)
    out.same("least_mm", least_mm, drawn.least_mm)
    out.same("total less stagger", unmoved_mm, drawn.total_mm - drawn.stagger_mm)
    _judge_stagger(out, tree, rules, [mine[key] for key in keys], ends_of, drawn)
    count = Counter(splice.run for splice in drawn.splices)
    trials = max((math.perm(len(wt.slots_of(tree, rules, run)), count[run.id]) for run in tree.runs), default=0)
    if max(len(part.singles) for part in parts) <= MOST_BY_SUBSETS and trials <= MOST_TRIALS:
        _judge_plan(out, tree, rules, parts, drawn)


def _judge_lengths(
    out: Outcome,
    tree: wt.Tree,
    rules: wt.Rules,
    part: wt.Part,
    wires: Sequence[Any],
    pairs: Sequence[tuple[str, ...]],
    splices: dict[str, tuple[str, int]],
) -> None:
    far, places = wt.distances(tree), {end.id: end.place for end in part.ends}
    for wire, (a, b) in zip(wires, pairs, strict=True):
        if a in splices or b in splices:
            joint, end = (a, b) if a in splices else (b, a)
            mm = wt.to_site(tree, far, places[end], wt.Site(*splices[joint]))
        else:
            mm = far[places[a], places[b]]
        out.same(f"distance: {wire.id}", mm, wire.distance_mm)
        strips = [
            8 if each in splices else int(tip.strip_mm) for each, tip in zip((a, b), (wire.a, wire.b), strict=True)
        ]
        out.same(f"cut length: {wire.id}", wt.cut_mm(mm, (a in places) + (b in places), rules, strips), wire.cut_mm)


def _judge_closing(
    out: Outcome,
    tree: wt.Tree,
    rules: wt.Rules,
    parts: Sequence[wt.Part],
    shut: dict[int, list[str]],
    number: int,
    run_id: str,
) -> None:
    """The part that a full run was closed to minds least among those that must have a splice there."""
    out.seen["runs closed"] += 1
    rises = []
    within = wt.region(tree, next(run.u for run in tree.runs if run.id == run_id))
    for k, part in enumerate(parts):
        if part.ends[0].place not in within:
            rises.append((0, part.net))
            continue
        now, then = optimum(tree, rules, part, shut[k]), optimum(tree, rules, part, [*shut[k], run_id])
        assert now is not None
        rises.append((math.inf if then is None else then[0] - now[0], part.net))
    for k, rise in enumerate(rises):
        if k != number and rise[0] > 0 and rise < rises[number] and rises[number][0] > 0:
            out.differs(f"closed: {parts[number].net} in {run_id} minds {rises[number]}, {parts[k].net} {rise}")


def _judge_stagger(
    out: Outcome, tree: wt.Tree, rules: wt.Rules, parts: Sequence[wt.Part], ends_of: Sequence[list[str]], drawn: Any
) -> None:
    by_id = {wire.id: wire for wire in drawn.wires}
    for run in tree.runs:
        here = [splice for splice in drawn.splices if splice.run == run.id]
        if not here:
            continue
        slots = wt.slots_of(tree, rules, run)
        slopes = []
        for splice in here:
            tips = [tip for name in splice.wires for tip in (by_id[name].a, by_id[name].b) if tip.side is not None]
            members = [ends_of[splice.part][tip.side] for tip in tips]
            slopes.append(wt.slope_of(tree, parts[splice.part], wt.Site(run.id, splice.at_mm), members))
        page = sorted(zip(slopes, wt.page_slots(slots, slopes), strict=True))
        own = sorted(zip(slopes, (splice.at_mm for splice in here), strict=True))
        out.same(f"slots: {run.id}", page, own)
        for c in set(slopes):  # equal slopes: the first net is nearest the end that they are drawn to
            alike = sorted((here[k].part, k) for k in range(len(here)) if slopes[k] == c)
            at = [here[k].at_mm for _, k in alike]
            out.same(f"slots by net: {run.id}", sorted(at, reverse=c < 0), at)
        if len(here) <= 4:
            tips_of = slots if len(slots) < 2 * len(here) else [*slots[: len(here)], *slots[-len(here) :]]
            shift = sum(c * splice.at_mm for c, splice in zip(slopes, here, strict=True))
            out.same(f"least shift: {run.id}", wt.least_shift(tips_of, slopes), shift)
        out.seen["staggered runs"] += len(here) > 1


def _judge_no_room(out: Outcome, tree: wt.Tree, rules: wt.Rules, parts: Sequence[wt.Part]) -> None:
    if not any(_tied(tree, rules, part) for part in parts):
        out.same("no room", None, wt.plan(tree, rules, parts) and "a plan")


def _judge_plan(out: Outcome, tree: wt.Tree, rules: wt.Rules, parts: Sequence[wt.Part], drawn: Any) -> None:
    """The total with final positions; only comparable where no part has equal least choices."""
    plan = wt.plan(tree, rules, parts)
    if plan is None:
        out.seen["plans not comparable"] += 1
        if not drawn.closed:
            out.differs("plan: the checker finds no room")
        return
    if (plan.total_mm, plan.stagger_mm) == (drawn.total_mm, drawn.stagger_mm):
        out.seen["plans equal"] += 1
    elif any(_tied(tree, rules, part) for part in parts):
        out.seen["plans not comparable"] += 1
    else:
        out.same("plan", (plan.total_mm, plan.stagger_mm), (drawn.total_mm, drawn.stagger_mm))


def _tied(tree: wt.Tree, rules: wt.Rules, part: wt.Part) -> bool:
    """Whether a part has another choice of equal cost and number of splices: one that shows when a site or a group of
    the known one costs a millimetre more."""
    sites = wt.sites_of(tree, rules, part.ends[0].place)
    found = wt.least(tree, rules, part, sites=sites)
    if found is None or not found.groups:
        return False
    for site, members in found.groups:
        rest = [each for each in sites if each != site]
        other = wt.least(tree, rules, part, sites=rest)
        if other is not None and (other.cost_mm, other.splices) == (found.cost_mm, found.splices):
            return True
        for name in members:  # an end that may change its group without cost
            alike = [e for e in part.singles if e.id not in members and e.id != name]
            for one in alike:
                trade = {name: one.id, one.id: name}
                groups = [(s, tuple(trade.get(m, m) for m in ms)) for s, ms in found.groups]
                if _groups_mm(tree, rules, part, groups) == found.cost_mm:
                    return True
    return False


def _groups_mm(tree: wt.Tree, rules: wt.Rules, part: wt.Part, groups: Sequence[tuple[wt.Site, tuple[str, ...]]]) -> int:
    joined = {name for _, members in groups for name in members}
    wires = [(name, f"s{k}") for k, (_, members) in enumerate(groups) for name in members]
    splices = {f"s{k}": (site.run, site.at_mm) for k, (site, _) in enumerate(groups)}
    if part.hub is not None:
        wires += [(name, part.hub.id) for name in splices]
        wires += [(end.id, part.hub.id) for end in part.singles if end.id not in joined]
    return wt.judge_wiring(tree, rules, part, wires, splices).cost_mm


def case_of(seed: int) -> wt.Case:
    """The checker's case, its nets under names whose order is not that of the file. Every tenth with many ends, every
    fifth with each net three times over, so that runs get full."""
    case = wt.generate(seed, most_ends=24 if seed % 10 == 9 else 7)
    rng, nets = random.Random(f"names {seed}"), list(case.nets)
    if seed % 5 == 2:
        nets = [
            replace(net, ends=tuple(replace(end, id=f"{end.id}.{k}") for end in net.ends))
            for net in nets
            for k in "xyz"
        ]
    names = rng.sample([f"{a}{b}" for a in "abcde" for b in "pqrs"], len(nets))
    return replace(case, nets=tuple(replace(net, id=name) for net, name in zip(nets, names, strict=True)))


def compare_wiring(seed: int, out: Outcome) -> None:
    """A run tree with nets of any shape, through geometry, parts, least wire, closing, stagger, lists. Where nets are
    refused the others are laid out afterwards without them."""
    case = case_of(seed)
    out.seen["trees"] += 1
    out.seen.update(f"with {tag}" for tag in case.tags)
    if _compare_case(seed, case, out) is not None:
        return
    parts, _ = wt.parts_of(case.tree, case.nets)
    refused = {part.net for part in parts if refusal_code(case.tree, case.rules, part)}
    wide = tuple(replace(run, ways=len(case.nets)) if run.ways else run for run in case.tree.runs)
    left = tuple(net for net in case.nets if net.id not in refused)
    if left:
        _compare_case(seed, replace(case, tree=replace(case.tree, runs=wide), nets=left), out)


def _compare_case(seed: int, case: wt.Case, out: Outcome) -> Any:
    from pinproof.design import loads
    from pinproof.harness.geometry import geometry_of
    from pinproof.harness.layout import draw
    from pinproof.wiring.nets import End, Net, Nets, Unit

    rng, tree, rules = random.Random(f"writing {seed}"), case.tree, case.rules
    text = HEAD + '\n[harness]\nsizes = "mm2"\ninsulation = "125 °C"\n' + tree_text(rng, tree, rules)
    truck = loads(text + "\n" + occupied_text(rng, tree), name=f"generated {seed}")

    def end_of(end: wt.End) -> Any:
        kind = "stud" if end.takes > 1 else "tail"
        unit = Unit("stud" if end.takes > 1 else "device", end.id)
        return End(unit, end.place, kind, wires=end.takes, terminal=end.id)  # type: ignore[arg-type]

    named = tuple(Net(net.id, (net.id,), tuple(end_of(end) for end in net.ends), {}) for net in case.nets)
    nets, harness = Nets(named, (), {}, {}, ()), truck.harness
    assert harness is not None
    geometry = geometry_of(truck, harness, nets)
    out.same("terminations", sorted(tree.terminations), sorted(geometry.places[k] for k in geometry.termination))
    stretches = {truck.runs[geometry.tree_runs[k]].id: ends for k, ends in geometry.stretches.items()}
    for run in tree.runs:
        out.same(f"stretch: {run.id}", wt.stretch(tree, rules, run), stretches.get(run.id))
    return judge_layout(out, tree, rules, case.nets, nets, lambda: draw(truck, harness, nets, geometry))
