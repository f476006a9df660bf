"""Slow checker of the harness page: run trees, least wire, stagger, bundles, and the sums of wire and fuse.

Nothing here reads a design file. Lengths of runs and wires are whole mm (`int`), diameters float in mm, and the sums of
current, drop and heat are `Fraction` in A, V, ohm, m and °C. Written from docs/harness.md; scipy is used once, to pack
circles.

How to compare an engine (all plain numbers):

- `generate(seed) -> Case(tree, rules, nets)`: `Tree.runs` is a tuple of `Run`, in file order; `Net.ends` of `End`.
- `parts_of(tree, nets) -> (parts, crossings)`: nets cut at pair joints. `Part.ends` are single ends and hubs in file
  order, ways last; `crossings[run]` the nets that cross its joint, in file order (more than `Run.ways`: refused).
- `least(tree, rules, part, closed=()) -> Choice | None`: least cost in mm with the fewest splices among equals. None:
  the page refuses (`splice-none`, `splice-many`, `hub-many`). `why_none` names which. The engine's `cost_mm` and number
  of splices must be equal; which sites is not unique.
- `judge_wiring(tree, rules, part, wires, splices) -> Judged`: takes anybody's wires, each a pair of end or splice ids,
  and splices id -> (run, at_mm); says every rule that is broken, and the cost.
- `slots_of`, `least_shift`: the stagger of one run by brute force over all ways to put the splices into the slots.
- `plan(tree, rules, parts)`: the whole, closing runs that have fewer slots than splices.
- `page_bundle`, `packing_mm`, `bundle_floor_mm`; sums: `allow_squared`, `drop_v`, `required`, `fuse_for`.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal, localcontext
from fractions import Fraction

import numpy as np

PAIR_JOINTS = ("slip ring", "quick-release", "plug pair")
ENVIRONMENTS = ("bundle", "single", "flex")


@dataclass(frozen=True)
class Run:
    """`length_mm` is that of the run; `wire_mm` what a wire in it measures (a coiled cord's own length)."""

    id: str
    u: str
    v: str
    length_mm: int
    splices: bool = True
    hot: bool = False
    environment: str = "bundle"
    highest_c: int = 80
    joint: str = ""  # kind of the joint in it
    cord_mm: int = 0
    ways: int = 0

    @property
    def wire_mm(self) -> int:
        return self.cord_mm if self.joint == "coiled cord" else self.length_mm


@dataclass(frozen=True)
class Tree:
    """`terminations`: the places with a plug, device, load, relay, stud or pair joint."""

    runs: tuple[Run, ...]
    terminations: frozenset[str]

    @property
    def places(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(p for r in self.runs for p in (r.u, r.v)))


@dataclass(frozen=True)
class Rules:
    slack_mm: int = 50
    splice_worth_mm: int = 300
    splice_wires: int = 4
    splice_clear_mm: int = 300
    breakout_clear_mm: int = 50
    splice_length_mm: int = 40
    splice_limit_c: int = 105


@dataclass(frozen=True)
class End:
    """`kind`: "cavity", "tail", "stud" or "way"; each costs the slack once per wire. `takes` > 1: a hub."""

    id: str
    place: str
    kind: str = "cavity"
    takes: int = 1


@dataclass(frozen=True)
class Net:
    id: str
    ends: tuple[End, ...]


@dataclass(frozen=True)
class Part:
    """What lies on one side of all pair joints that a net crosses."""

    net: str
    ends: tuple[End, ...]

    @property
    def hub(self) -> End | None:
        """The hub with most wires allowed, then the first; every other hub counts as a single end."""
        hubs = [e for e in self.ends if e.takes > 1]
        return max(hubs, key=lambda e: e.takes) if hubs else None

    @property
    def singles(self) -> tuple[End, ...]:
        return tuple(e for e in self.ends if e is not self.hub)


@dataclass(frozen=True)
class Site:
    run: str
    at_mm: int  # from the run's first place


@dataclass(frozen=True)
class Choice:
    """`groups`: the ids of the single ends at each splice, with its site; ends in no group have a wire of their own."""

    cost_mm: int
    splices: int
    groups: tuple[tuple[Site, tuple[str, ...]], ...]


# ---------------------------------------------------------------- the tree


def distances(tree: Tree, wires: bool = True) -> dict[tuple[str, str], int]:
    """Between every two places, along the tree, in mm."""
    near: dict[str, list[tuple[str, int]]] = {p: [] for p in tree.places}
    for r in tree.runs:
        mm = r.wire_mm if wires else r.length_mm
        near[r.u].append((r.v, mm))
        near[r.v].append((r.u, mm))
    out: dict[tuple[str, str], int] = {}
    for start in near:
        todo, seen = [(start, 0)], {start}
        while todo:
            here, mm = todo.pop()
            out[start, here] = mm
            for other, more in near[here]:
                if other not in seen:
                    seen.add(other)
                    todo.append((other, mm + more))
    return out


def is_tree(tree: Tree) -> bool:
    """One piece and no ring."""
    places = tree.places
    return len(tree.runs) == len(places) - 1 and len(distances(tree)) == len(places) ** 2


def region(tree: Tree, start: str) -> frozenset[str]:
    """The places reached from `start` without crossing a pair joint."""
    seen, todo = {start}, [start]
    while todo:
        here = todo.pop()
        for r in tree.runs:
            if here in (r.u, r.v) and r.joint not in PAIR_JOINTS:
                other = r.v if here == r.u else r.u
                if other not in seen:
                    seen.add(other)
                    todo.append(other)
    return frozenset(seen)


def clear_mm(tree: Tree, rules: Rules, place: str) -> int:
    return rules.splice_clear_mm if place in tree.terminations else rules.breakout_clear_mm


def stretch(tree: Tree, rules: Rules, run: Run) -> tuple[int, int] | None:
    """The positions A to B in mm where a splice may lie in this run; None: nowhere."""
    low, high = clear_mm(tree, rules, run.u), run.length_mm - clear_mm(tree, rules, run.v)
    closed = not run.splices or run.hot or run.environment != "bundle" or run.joint != ""
    return None if low > high or closed or run.highest_c > rules.splice_limit_c else (low, high)


def sites_of(tree: Tree, rules: Rules, near: str | None = None, closed: Iterable[str] = ()) -> list[Site]:
    """The two ends of each allowed stretch, in file order. `near`: only what no pair joint parts from that place."""
    within = None if near is None else region(tree, near)
    out: list[Site] = []
    for r in tree.runs:
        ends = stretch(tree, rules, r)
        if ends is not None and r.id not in closed and (within is None or r.u in within):
            out += [Site(r.id, at) for at in sorted(set(ends))]
    return out


def every_site(tree: Tree, rules: Rules, near: str, step_mm: int) -> list[Site]:
    """Sites all along the stretches, to show that their ends are enough."""
    within, out = region(tree, near), []
    for r in tree.runs:
        ends = stretch(tree, rules, r)
        if ends is not None and r.u in within:
            out += [Site(r.id, at) for at in sorted({*range(ends[0], ends[1], step_mm), ends[1]})]
    return out


def to_site(tree: Tree, far: Mapping[tuple[str, str], int], place: str, site: Site) -> int:
    run = next(r for r in tree.runs if r.id == site.run)
    return min(far[place, run.u] + site.at_mm, far[place, run.v] + run.length_mm - site.at_mm)


def parts_of(tree: Tree, nets: Sequence[Net]) -> tuple[list[Part], dict[str, list[str]]]:
    """Nets cut at pair joints; a way is a single end at the run's place on its side, named `RUN.u`, `RUN.v`."""
    parts: list[Part] = []
    crossings: dict[str, list[str]] = {r.id: [] for r in tree.runs if r.joint in PAIR_JOINTS}
    regions = {p: region(tree, p) for p in tree.places}
    for net in nets:
        ends = list(net.ends)
        for r in tree.runs:
            if r.joint not in PAIR_JOINTS:
                continue
            rest = Tree(tuple(x for x in tree.runs if x is not r), tree.terminations)
            far = distances(rest) if rest.runs else {}
            near_u = {p for p in tree.places if p == r.u or (r.u, p) in far}
            sides = {e.place in near_u for e in net.ends}
            if sides == {True, False}:
                crossings[r.id].append(net.id)
                ends += [End(f"{r.id}.u", r.u, "way"), End(f"{r.id}.v", r.v, "way")]
        for where in dict.fromkeys(regions[e.place] for e in ends):
            parts.append(Part(net.id, tuple(e for e in ends if e.place in where)))
    return parts, crossings


# ---------------------------------------------------------------- least wire


def _costs(tree: Tree, rules: Rules, part: Part, sites: Sequence[Site]) -> tuple[list[list[int]], list[int], list[int]]:
    """Wire of end i to site s; of the hub to site s; of end i to the hub; slack included, in mm."""
    far, slack, hub = distances(tree), rules.slack_mm, part.hub
    to = [[to_site(tree, far, e.place, s) + slack for s in sites] for e in part.singles]
    hub_to = [to_site(tree, far, hub.place, s) + slack if hub else 0 for s in sites]
    plain = [far[e.place, hub.place] + 2 * slack if hub else 0 for e in part.singles]
    return to, hub_to, plain


def _group(
    to: list[list[int]], hub_to: list[int], members: Sequence[int], worth: int, sites: int
) -> tuple[int, int] | None:
    """Least cost of a splice of these ends, and the first site that gives it."""
    costs = [(worth + hub_to[s] + sum(to[i][s] for i in members), s) for s in range(sites)]
    return min(costs, default=None)


def _no_hub(tree: Tree, rules: Rules, part: Part, sites: Sequence[Site]) -> Choice | None:
    n, far = len(part.singles), distances(tree)
    ids = tuple(e.id for e in part.singles)
    if n < 2:
        return Choice(0, 0, ())
    if n == 2:
        a, b = part.singles
        return Choice(far[a.place, b.place] + 2 * rules.slack_mm, 0, ())
    to, hub_to, _ = _costs(tree, rules, part, sites)
    best = _group(to, hub_to, range(n), rules.splice_worth_mm, len(sites))
    if n > rules.splice_wires or best is None:
        return None
    return Choice(best[0], 1, ((sites[best[1]], ids),))


def least(
    tree: Tree, rules: Rules, part: Part, closed: Iterable[str] = (), sites: Sequence[Site] | None = None
) -> Choice | None:
    """Dynamic program over the subsets of single ends: the first end not yet wired is alone or in some group. For up
    to about 12 single ends. Least (cost, number of splices)."""
    sites = sites_of(tree, rules, part.ends[0].place, closed) if sites is None else sites
    if part.hub is None:
        return _no_hub(tree, rules, part, sites)
    to, hub_to, plain = _costs(tree, rules, part, sites)
    n, ids = len(part.singles), [e.id for e in part.singles]
    groups: dict[int, list[tuple[int, int, int, int]]] = {}  # by first member: mask, cost, splices, site
    for size in range(1, rules.splice_wires):
        for members in itertools.combinations(range(n), size):
            mask = sum(1 << i for i in members)
            if size == 1:
                groups.setdefault(members[0], []).append((mask, plain[members[0]], 0, -1))
            elif (best := _group(to, hub_to, members, rules.splice_worth_mm, len(sites))) is not None:
                groups.setdefault(members[0], []).append((mask, best[0], 1, best[1]))
    State = tuple[int, int, tuple[tuple[int, int], ...]]
    at: list[dict[int, State]] = [{} for _ in range(1 << n)]  # by ends wired: wires at the hub -> cost, splices, how
    at[0][0] = (0, 0, ())
    for mask in range((1 << n) - 1):
        first = next(i for i in range(n) if not mask >> i & 1)
        for used, (cost, splices, how) in at[mask].items():
            if used == part.hub.takes:
                continue
            for more, mm, k, site in groups.get(first, []):
                if mask & more == 0:
                    new: State = (cost + mm, splices + k, (*how, (more, site)))
                    old = at[mask | more].get(used + 1)
                    if old is None or new[:2] < old[:2]:
                        at[mask | more][used + 1] = new
    if n == 0:
        return Choice(0, 0, ())
    if not at[-1]:
        return None
    cost, splices, how = min(at[-1].values(), key=lambda s: s[:2])
    groups_out = tuple((sites[s], tuple(ids[i] for i in range(n) if m >> i & 1)) for m, s in how if s >= 0)
    return Choice(cost, splices, groups_out)


def least_by_partitions(tree: Tree, rules: Rules, part: Part, closed: Iterable[str] = ()) -> tuple[int, int] | None:
    """The same by looking at every partition of the single ends. Up to 8 ends."""
    hub, sites = part.hub, sites_of(tree, rules, part.ends[0].place, closed)
    if hub is None:
        found = _no_hub(tree, rules, part, sites)
        return None if found is None else (found.cost_mm, found.splices)
    to, hub_to, plain = _costs(tree, rules, part, sites)

    def partitions(items: list[int]) -> Iterator[list[list[int]]]:
        if not items:
            yield []
            return
        for rest in partitions(items[1:]):
            yield [[items[0]], *rest]
            for i, block in enumerate(rest):
                yield [*rest[:i], [items[0], *block], *rest[i + 1 :]]

    best: tuple[int, int] | None = None
    for blocks in partitions(list(range(len(part.singles)))):
        if len(blocks) > hub.takes or max((len(b) for b in blocks), default=0) >= rules.splice_wires:
            continue
        cost, splices = 0, 0
        for b in blocks:
            found_group = _group(to, hub_to, b, rules.splice_worth_mm, len(sites)) if len(b) > 1 else (plain[b[0]], 0)
            if found_group is None:
                break
            cost, splices = cost + found_group[0], splices + (len(b) > 1)
        else:
            best = (cost, splices) if best is None else min(best, (cost, splices))
    return best


def least_by_all_trees(tree: Tree, rules: Rules, part: Part, most_splices: int = 2) -> tuple[int, int] | None:
    """The same from the four conditions alone: every labelled tree on the ends and 0 to `most_splices` splices (Prüfer
    sequences). It knows nothing of groups. Up to 7 nodes in all."""
    sites, far, hub = sites_of(tree, rules, part.ends[0].place), distances(tree), part.hub
    best: tuple[int, int] | None = None
    for splices in range(most_splices + 1):
        n = len(part.ends) + splices
        if n < 2 or (splices and not sites):
            continue
        for code in itertools.product(range(n), repeat=n - 2):
            degree = [1 + code.count(i) for i in range(n)]
            limits = [(1, e.takes if e is hub else 1) for e in part.ends] + [(3, rules.splice_wires)] * splices
            if not all(a <= d <= b for d, (a, b) in zip(degree, limits, strict=True)):
                continue
            left, edges = degree.copy(), []
            for other in code:
                leaf = left.index(1)
                edges.append((leaf, other))
                left[leaf] -= 1
                left[other] -= 1
            edges.append((left.index(1), n - 1 - left[::-1].index(1)))
            joints = list(range(len(part.ends), n))
            if any(a in joints and b in joints for a, b in edges):
                continue
            cost = splices * rules.splice_worth_mm
            for a, b in edges:
                if a not in joints and b not in joints:
                    cost += far[part.ends[a].place, part.ends[b].place] + 2 * rules.slack_mm
            for j in joints:  # no wire joins two splices, so each takes its own best site
                ends = [part.ends[a if b == j else b] for a, b in edges if j in (a, b)]
                cost += min(sum(to_site(tree, far, e.place, s) + rules.slack_mm for e in ends) for s in sites)
            best = (cost, splices) if best is None else min(best, (cost, splices))
    return best


def least_by_counts(tree: Tree, rules: Rules, part: Part, closed: Iterable[str] = ()) -> tuple[int, int] | None:
    """The same by counting wires across each run, from the leaves to the hub; for many ends.

    Below any cut of the tree only two numbers matter: h wires that go to the hub, and x ends that go up to a splice
    above (negative: ends that come down to one below). That wires of one sort never cross both ways costs nothing:
    ends can be exchanged. Parts without a hub have one splice at most and need no such thing."""
    hub = part.hub
    sites = sites_of(tree, rules, part.ends[0].place, closed)
    if hub is None:
        found = _no_hub(tree, rules, part, sites)
        return None if found is None else (found.cost_mm, found.splices)
    n, big = len(part.singles), 1 << 20  # one number for (cost, splices): cost * big + splices
    here: dict[object, int] = {}
    for e in part.singles:
        here[e.place] = here.get(e.place, 0) + 1
    near: dict[object, list[tuple[object, int]]] = {}
    for r in tree.runs:
        if r.joint in PAIR_JOINTS:
            continue
        marks = [s for s in sites if s.run == r.id]
        stops: list[tuple[object, int]] = [(r.u, 0), *((s, s.at_mm) for s in marks), (r.v, r.wire_mm)]
        for (a, at), (b, to) in itertools.pairwise(stops):
            near.setdefault(a, []).append((b, to - at))
            near.setdefault(b, []).append((a, to - at))
    Table = dict[tuple[int, int], int]

    def table(node: object, parent: object) -> Table:
        t: Table = {(0, 0): 0}
        k = here.get(node, 0)
        if k:
            t = {(k - x, x): 0 for x in range(k + 1)}
        for other, mm in near.get(node, []):
            if other == parent:
                continue
            below = table(other, node)
            joined: Table = {}
            for (h1, x1), c1 in t.items():
                for (h2, x2), c2 in below.items():
                    key, cost = (h1 + h2, x1 + x2), c1 + c2 + (h2 + abs(x2)) * mm * big
                    if key[0] <= hub.takes and abs(key[1]) <= n and cost < joined.get(key, math.inf):
                        joined[key] = cost
            t = joined
        if isinstance(node, Site):
            spliced: Table = {}
            for (h, x), cost in t.items():
                for k in range(n // 2 + 1):
                    for m in range(2 * k, min((rules.splice_wires - 1) * k, x + n) + 1):
                        new = cost + k * (rules.splice_worth_mm * big + 1)
                        if h + k <= hub.takes and new < spliced.get((h + k, x - m), math.inf):
                            spliced[h + k, x - m] = new
            t = spliced
        return t

    # each end's own slack, once; each wire at the hub, once; a plain wire has both
    last = [c + h * rules.slack_mm * big for (h, x), c in table(hub.place, None).items() if x == 0 and h <= hub.takes]
    if not last:
        return None
    return min(last) // big + n * rules.slack_mm, min(last) % big


def why_none(tree: Tree, rules: Rules, part: Part) -> str:
    """The page's code for a part that cannot be wired, or ""."""
    if least(tree, rules, part) is not None:
        return ""
    n, sites = len(part.singles), sites_of(tree, rules, part.ends[0].place)
    if part.hub is not None:
        return "hub-many"
    return "splice-many" if n > rules.splice_wires else "splice-none" if not sites else ""


@dataclass(frozen=True)
class Judged:
    broken: tuple[str, ...]
    cost_mm: int


def judge_wiring(
    tree: Tree,
    rules: Rules,
    part: Part,
    wires: Sequence[tuple[str, str]],
    splices: Mapping[str, tuple[str, int]],
    closed: Iterable[str] = (),
) -> Judged:
    """Anybody's wiring: `wires` are pairs of end ids and splice ids; `splices` id -> (run, mm from its first place)."""
    ends, far, broken = {e.id: e for e in part.ends}, distances(tree), []
    by_run = {r.id: r for r in tree.runs}
    touching: dict[str, int] = dict.fromkeys([*ends, *splices], 0)
    cost = rules.splice_worth_mm * len(splices)
    for a, b in wires:
        for x in (a, b):
            touching[x] = touching.get(x, 0) + 1
            if x not in ends and x not in splices:
                return Judged((f"{x} is neither end nor splice",), 0)
        if a in splices and b in splices:
            broken.append(f"wire joins splices {a}, {b}")
            continue
        cost += rules.slack_mm * ((a in ends) + (b in ends))
        if a in splices or b in splices:
            joint, end = (a, b) if a in splices else (b, a)
            cost += to_site(tree, far, ends[end].place, Site(*splices[joint]))
        else:
            cost += far[ends[a].place, ends[b].place]
    for e in part.ends:
        most = e.takes if e is part.hub else 1
        if not 1 <= touching[e.id] <= most:
            broken.append(f"{e.id} has {touching[e.id]} wires")
    for s, (run, at) in splices.items():
        allowed = stretch(tree, rules, by_run[run])
        if not 3 <= touching[s] <= rules.splice_wires:
            broken.append(f"{s} joins {touching[s]} wires")
        if allowed is None or run in closed or not allowed[0] <= at <= allowed[1]:
            broken.append(f"{s} may not lie at {run} {at} mm")
    group = {x: {x} for x in touching}
    for a, b in wires:
        if group[a] is group[b]:
            broken.append(f"wire {a}, {b} closes a ring")
        elif group[a] is not group[b]:
            both = group[a] | group[b]
            for x in both:
                group[x] = both
    if len({id(g) for g in group.values()}) != 1:
        broken.append("not in one piece")
    return Judged(tuple(broken), cost)


# ---------------------------------------------------------------- stagger


def slots_of(tree: Tree, rules: Rules, run: Run) -> list[int]:
    """Positions in mm from the run's first place, one splice in each."""
    ends = stretch(tree, rules, run)
    return [] if ends is None else list(range(ends[0], ends[1] + 1, rules.splice_length_mm + 25))


def least_shift(slots: Sequence[int], slopes: Sequence[int]) -> int | None:
    """Least sum of slope × position over all ways to give each splice its own slot, in mm. Slope of a splice: its wires
    towards the run's first place less those towards the second."""
    ways = itertools.permutations(slots, len(slopes))
    return min((sum(c * x for c, x in zip(slopes, way, strict=True)) for way in ways), default=None)


def page_slots(slots: Sequence[int], slopes: Sequence[int]) -> list[int]:
    """The page's rule: slopes ≥ 0, largest first, from the low end; the others, most negative first, from the high."""
    order = sorted(range(len(slopes)), key=lambda i: -slopes[i])
    out = [0] * len(slopes)
    for k, i in enumerate(i for i in order if slopes[i] >= 0):
        out[i] = slots[k]
    for k, i in enumerate(i for i in reversed(order) if slopes[i] < 0):
        out[i] = slots[len(slots) - 1 - k]
    return out


def slope_of(tree: Tree, part: Part, site: Site, members: Iterable[str]) -> int:
    far, run = distances(tree), next(r for r in tree.runs if r.id == site.run)
    wired = [e for e in part.ends if e.id in set(members) or e is part.hub]
    return sum(1 if far[e.place, run.u] < far[e.place, run.v] else -1 for e in wired)


@dataclass(frozen=True)
class Plan:
    """`closed`: (index of the part, run). `total_mm` with final positions = Σ part costs + `stagger_mm`."""

    least_mm: int
    total_mm: int
    stagger_mm: int
    choices: tuple[Choice, ...]
    closed: tuple[tuple[int, str], ...]


def plan(tree: Tree, rules: Rules, parts: Sequence[Part]) -> Plan | None:
    """Parts one by one, then the runs that have too few slots, the first such run of the file first. Where several
    least choices exist another may need another shift, so compare `total_mm` only where no part has a tie; always true
    is: `least_mm` is the sum of the open optima and no total is below it. None: some part cannot be wired."""
    closed: list[set[str]] = [set() for _ in parts]
    found = [least(tree, rules, p) for p in parts]
    if any(c is None for c in found):
        return None
    choices = [c for c in found if c is not None]
    least_mm = sum(c.cost_mm for c in choices)
    order: list[tuple[int, str]] = []
    while True:
        count = {r.id: sum(s.run == r.id for c in choices for s, _ in c.groups) for r in tree.runs}
        full = next((r for r in tree.runs if count[r.id] > len(slots_of(tree, rules, r))), None)
        if full is None:
            break
        options = []
        for i, (p, c) in enumerate(zip(parts, choices, strict=True)):
            if any(s.run == full.id for s, _ in c.groups):
                new = least(tree, rules, p, closed[i] | {full.id})
                if new is not None:
                    options.append((new.cost_mm - c.cost_mm, p.net, i, new))
        if not options:
            return None
        _, _, i, new = min(options, key=lambda o: o[:3])
        closed[i].add(full.id)
        choices[i] = new
        order.append((i, full.id))
    shift = 0
    for r in tree.runs:
        here = [(p, s, m) for p, c in zip(parts, choices, strict=True) for s, m in c.groups if s.run == r.id]
        slopes = [slope_of(tree, p, s, m) for p, s, m in here]
        best = least_shift(slots_of(tree, rules, r), slopes)
        assert best is not None
        shift += best - sum(c * s.at_mm for c, (_, s, _) in zip(slopes, here, strict=True))
    total = sum(c.cost_mm for c in choices) + shift
    return Plan(least_mm, total, shift, tuple(choices), tuple(order))


def cut_mm(distance_mm: int, slack_ends: int, rules: Rules, strip_mm: Sequence[int]) -> int:
    """Cut length: the distance, the slack per end that is no splice, the strips of both ends, up to the next 5 mm."""
    return -(-(distance_mm + slack_ends * rules.slack_mm + sum(strip_mm)) // 5) * 5


# ---------------------------------------------------------------- generator


@dataclass(frozen=True)
class Case:
    tree: Tree
    rules: Rules
    nets: tuple[Net, ...]
    tags: tuple[str, ...] = field(default=())


def generate(seed: int, most_ends: int = 7) -> Case:
    """A random run tree with nets. All invented. Awkward on purpose: short runs without sites, equal lengths (ties),
    hot, flexing and forbidden stretches, pair joints, coiled cords, several hubs in one net, too many ends."""
    rng, tags = random.Random(f"harness {seed}"), set()
    n = rng.randint(2, 9)
    places = [f"p{i}" for i in range(n)]
    lengths = rng.choice([[400, 800], [120, 350, 349, 601, 600], list(range(60, 3000, 7))])
    chained = rng.random() < 0.3
    runs = []
    for i in range(1, n):
        pair = [places[i - 1 if chained or rng.random() < 0.2 else rng.randrange(i)], places[i]]
        rng.shuffle(pair)
        run = Run(f"r{i}", pair[0], pair[1], rng.choice(lengths))
        kind = rng.random()
        if kind < 0.12:
            run = replace(run, joint=rng.choice(PAIR_JOINTS), ways=rng.randint(1, 4))
            tags.add("pair joint")
        elif kind < 0.16:
            run = replace(run, joint="coiled cord", cord_mm=run.length_mm * 3 + 1)
            tags.add("coiled cord")
        elif kind < 0.2:
            run = replace(run, joint="flex tail", environment="flex")
            tags.add("flex")
        elif kind < 0.26:
            run = replace(run, splices=rng.random() < 0.5, hot=rng.random() < 0.5)
            tags.add("forbidden")
        elif kind < 0.32:
            run = replace(run, highest_c=rng.choice([105, 106]))
            tags.add("temperature")
        elif kind < 0.36:
            run = replace(run, environment="single")
        runs.append(run)
    rules = Rules(
        slack_mm=rng.choice([0, 50, 37]),
        splice_worth_mm=rng.choice([0, 300, 300, 1000]),
        splice_wires=rng.choice([3, 4, 4, 5, 8]),
        splice_clear_mm=rng.choice([300, 100]),
        breakout_clear_mm=rng.choice([50, 0]),
        splice_length_mm=rng.choice([40, 150]),
    )
    nets = []
    for k in range(rng.randint(1, 5)):
        ends = []
        for j in range(rng.randint(2, most_ends)):
            place = rng.choice(places)
            stud = rng.random() < (0.3 if j == 0 else 0.06)
            kind_of_end = "stud" if stud else rng.choice(["cavity", "cavity", "tail"])
            ends.append(End(f"n{k}.e{j}", place, kind_of_end, rng.randint(2, 6) if stud else 1))
        if sum(e.takes > 1 for e in ends) > 1:
            tags.add("several hubs")
        nets.append(Net(f"n{k}", tuple(ends)))
    used = {e.place for net in nets for e in net.ends}
    used |= {p for r in runs if r.joint in PAIR_JOINTS for p in (r.u, r.v)}
    used |= {p for p in places if rng.random() < 0.2}  # plugs that these nets do not use
    return Case(Tree(tuple(runs), frozenset(used)), rules, tuple(nets), tuple(sorted(tags)))


# ---------------------------------------------------------------- bundles

_S = math.sin(math.pi / 7)
EQUAL = {  # smallest circle around n equal circles of diameter 1: closed forms of plane geometry, optimal for these n
    1: 1.0,
    2: 2.0,
    3: 1 + 2 / math.sqrt(3),
    4: 1 + math.sqrt(2),
    5: 1 + math.sqrt(2 * (1 + 1 / math.sqrt(5))),
    6: 3.0,
    7: 3.0,
    8: 1 + 1 / _S,
    9: 1 + math.sqrt(2 * (2 + math.sqrt(2))),
    19: 1 + math.sqrt(2) + math.sqrt(6),
}


def three_mm(d1: float, d2: float, d3: float) -> float:
    """Around three circles, by Descartes' circle theorem where all three touch the outer one."""
    r1, r2, r3 = sorted((d1 / 2, d2 / 2, d3 / 2), reverse=True)
    if r3 <= r1 * r2 * (r1 + r2) / (r1 * r1 + r1 * r2 + r2 * r2):
        return 2 * (r1 + r2)
    a, b, c = 1 / r1, 1 / r2, 1 / r3
    return 2 / (2 * math.sqrt(a * b + b * c + c * a) - a - b - c)


def page_bundle(diameters_mm: Sequence[float]) -> tuple[float, bool]:
    """The page's D in mm and whether it is exact."""
    ds = sorted(diameters_mm, reverse=True)
    n = len(ds)
    if n in EQUAL and ds[0] <= ds[-1] * 1.01:
        return EQUAL[n] * ds[0], True
    if n == 2:
        return ds[0] + ds[1], True
    if n == 3:
        return three_mm(*ds), True
    out = max(1.2 * math.sqrt(sum(d * d for d in ds)), three_mm(*ds[:3]))
    return (min(out, EQUAL[n] * ds[0]) if n in EQUAL else out), False


def bundle_floor_mm(diameters_mm: Sequence[float]) -> float:
    """No circle around them is smaller: by area, by any two or three of them, by k equal ones of the k-th thickest."""
    ds = sorted(diameters_mm, reverse=True)
    floors = [math.sqrt(sum(d * d for d in ds)), *(ratio * ds[k - 1] for k, ratio in EQUAL.items() if k <= len(ds))]
    if len(ds) > 1:
        floors.append(ds[0] + ds[1])
    if len(ds) > 2:
        floors.append(three_mm(*ds[:3]))
    return max(floors)


def packing_mm(diameters_mm: Sequence[float], tries: int = 20, seed: int = 0) -> float:
    """Diameter of a circle in which a packing was really found (centres spread until none overlap): a bound from above,
    in mm, near the least for few circles."""
    from scipy.optimize import minimize

    radii = np.array(diameters_mm, dtype=float) / 2
    n, rng, best = len(radii), np.random.default_rng(seed), math.inf
    if n == 1:
        return float(diameters_mm[0])
    i, j = np.triu_indices(n, 1)
    touch = radii[i] + radii[j]

    def room(z: np.ndarray) -> np.ndarray:
        x, y = z[:n], z[n : 2 * n]
        apart = (x[i] - x[j]) ** 2 + (y[i] - y[j]) ** 2 - touch**2
        return np.concatenate([apart, (z[-1] - radii) ** 2 - x**2 - y**2, z[-1] - radii])

    def slope(z: np.ndarray) -> np.ndarray:
        x, y, m = z[:n], z[n : 2 * n], len(i)
        out = np.zeros((m + 2 * n, 2 * n + 1))
        k, w = np.arange(m), np.arange(n)
        for v, off in ((x, 0), (y, n)):
            d = 2 * (v[i] - v[j])
            out[k, off + i], out[k, off + j] = d, -d
            out[m + w, off + w] = -2 * v
        out[m + w, -1], out[m + n + w, -1] = 2 * (z[-1] - radii), 1
        return out

    last = np.zeros(2 * n + 1)
    last[-1] = 1
    for _ in range(tries):
        size = float(radii.sum())
        start = np.concatenate([rng.uniform(-size, size, 2 * n) / 2, [size * 1.5]])
        found = minimize(
            lambda z: z[-1],
            start,
            jac=lambda z: last,
            constraints={"type": "ineq", "fun": room, "jac": slope},
            method="SLSQP",
            options={"maxiter": 200, "ftol": 1e-12},
        ).x
        x, y = found[:n], found[n : 2 * n]
        gaps = np.hypot(x[i] - x[j], y[i] - y[j])
        if gaps.min() <= 0:
            continue
        spread = max(1.0, float((touch / gaps).max()))
        best = min(best, 2 * float((np.hypot(x, y) * spread + radii).max()))
    return best


def shrink_for(object_mm: Fraction, sizes: Sequence[tuple[Fraction, Fraction]]) -> tuple[Fraction, Fraction] | None:
    """The first (supplied, recovered) with 1.10 × recovered ≤ object ≤ 0.80 × supplied, mm."""
    return next((s for s in sizes if s[1] * 11 / 10 <= object_mm <= s[0] * 8 / 10), None)


def supports(length_mm: int, support_mm: int = 200, end_mm: int = 80) -> int:
    if length_mm <= 2 * end_mm:
        return 1
    return 2 + -(-(length_mm - 2 * end_mm) // support_mm) - 1


def ties(length_mm: int, tie_mm: int = 75, breakouts: int = 0) -> int:
    return length_mm // tie_mm + 1 + breakouts


# ---------------------------------------------------------------- current, drop, heat, fuse

MM2 = ("0.5", "0.75", "1", "1.5", "2.5", "4", "6")
AWG = (22, 20, 18, 16, 14, 12, 10, 8)
CLASS5_MOHM = {  # IEC 60228 class 5, plain copper, most mΩ per m at 20 °C (seen: two open copies)
    "0.5": "39.0",
    "0.75": "26.0",
    "1": "19.5",
    "1.5": "13.3",
    "2.5": "7.98",
    "4": "4.95",
    "6": "3.30",
    "10": "1.91",
    "16": "1.21",
    "25": "0.780",
}
ALPHA = Fraction("0.00393")  # IEC 60028, per K at 20 °C
AC43_A = {  # AC 43.13-1B table 11-9 (seen: open copy), AWG -> ampere in the columns 105, 150, 200 °C, at 70 °C
    24: ("2.5", "4", "5"),
    22: ("3", "5", "6"),
    20: ("4", "7", "9"),
    18: ("6", "9", "12"),
    16: ("7", "11", "14"),
    14: ("10", "14", "18"),
    12: ("13", "19", "25"),
    10: ("17", "26", "32"),
    8: ("38", "57", "71"),
}
COLUMNS_C = (105, 150, 200)
NFPA70 = ((3, 100), (6, 80), (9, 70), (20, 50), (30, 45), (40, 40))  # up to n wires, percent; beyond: 35 (open copy)
RATINGS_A = {
    "medium": ("0.5", "1", "2", "3", "4", "5", "7.5", "10", "15", "20", "25", "30", "35", "40"),
    "maxi": ("20", "30", "40", "50", "60", "70", "80"),
}
RATINGS_A["mini"] = tuple(one for one in RATINGS_A["medium"] if 2 <= float(one) <= 30)
GATES_S = (("110", "360000"), ("135", "0.75"), ("160", "0.25"), ("200", "0.15"), ("350", "0.04"), ("600", "0.02"))
# the gates are ISO 8820-3 from memory: the page's rule, not an outside truth


def gauge_mm2(awg: int) -> Fraction:
    """ASTM B258: d = 0.127 mm × 92^((36 − n)/39), to 40 digits."""
    with localcontext() as c:
        c.prec = 45
        pi = Decimal("3.14159265358979323846264338327950288419716939937510")
        d = Decimal("0.127") * (Decimal(92).ln() * (36 - awg) / 39).exp()
        return Fraction(pi / 4 * d * d)


def area_mm2(size: str | int) -> Fraction:
    """`int`: a gauge; `str`: mm²."""
    return gauge_mm2(size) if isinstance(size, int) else Fraction(size)


def ohm_per_m(size: str | int) -> Fraction:
    """At 20 °C."""
    row = CLASS5_MOHM.get(size) if isinstance(size, str) else None
    return (Fraction(row) if row else Fraction("19.5") / area_mm2(size)) / 1000


def at_temperature(ohm_20c: Fraction, temp_c: Fraction) -> Fraction:
    return ohm_20c * (1 + ALPHA * (temp_c - 20))


def column_c(rated_c: Fraction) -> int:
    return max((c for c in COLUMNS_C if c <= rated_c), default=COLUMNS_C[0])


def table_a(size: str | int, column: int) -> Fraction | None:
    """Table current in A: straight in ln area against ln current between gauges; None outside the table."""
    area, k = area_mm2(size), COLUMNS_C.index(column)
    rows = [(gauge_mm2(g), Fraction(a[k])) for g, a in AC43_A.items()]
    for (a1, i1), (a2, i2) in itertools.pairwise(rows):
        if area in (a1, a2):
            return i1 if area == a1 else i2
        if a1 < area < a2:
            with localcontext() as c:
                c.prec = 40
                ln = [(Decimal(x.numerator) / Decimal(x.denominator)).ln() for x in (a1, area, a2, i1, i2)]
                return Fraction((ln[3] + (ln[4] - ln[3]) * (ln[1] - ln[0]) / (ln[2] - ln[0])).exp())
    return None


def bundle_factor(loaded: int, wires: int) -> Fraction:
    """`loaded`: those of the run's `wires` with 1 A or more."""
    if loaded <= 3 or 5 * loaded <= wires:
        return Fraction(1)
    return Fraction(next((p for n, p in NFPA70 if loaded <= n), 35), 100)


def allow_squared(table: Fraction, column: Fraction, rated_c: Fraction, ambient_c: Fraction, k: Fraction) -> Fraction:
    """I_allow² in A². `table` A at 70 °C in a column for `column` °C (a cable's own `carries`: column = rated)."""
    if ambient_c >= rated_c:
        return Fraction(0)
    return table * table * (rated_c - ambient_c) / (column - 70) * k * k


def wire_c(ambient_c: Fraction, rated_c: Fraction, amp: Fraction, allowed_squared: Fraction) -> Fraction | None:
    """Temperature of the wire at `amp`; None where nothing may flow."""
    if allowed_squared == 0:
        return ambient_c if amp == 0 else None
    return ambient_c + (rated_c - ambient_c) * amp * amp / allowed_squared


def drop_v(amp: Fraction, size: str | int, length_m: Fraction, temp_c: Fraction) -> Fraction:
    return amp * at_temperature(ohm_per_m(size), temp_c) * length_m


@dataclass(frozen=True)
class Stretch:
    """One run that a wire lies in."""

    ambient_c: Fraction
    environment: str = "bundle"
    wires: int = 1
    loaded: int = 0  # wires of the run with 1 A or more, this one counted


@dataclass(frozen=True)
class WireAsk:
    amp: Fraction
    rated_c: Fraction
    stretches: tuple[Stretch, ...]
    fraction: Fraction | None = None  # of the nominal volts, for the loop; None: no drop asked (coded)
    nominal_v: Fraction = Fraction(12)
    loop_m: Fraction = Fraction(0)
    fuse_a: Fraction = Fraction(0)


def holds(ask: WireAsk, size: str | int) -> dict[str, bool]:
    """Each rule of the page for one size of a cable of the list, the worst run counting."""
    out = {"mechanical": True, "current": True, "drop": True, "fuse": True}
    column = column_c(ask.rated_c)
    amp_table = table_a(size, column)
    for s in ask.stretches:
        need = "0.75" if s.environment != "bundle" else "0.5" if s.wires < 3 else "0.32"
        out["mechanical"] &= area_mm2(size) >= Fraction(need)
        if amp_table is None:
            return dict.fromkeys(out, False)
        allowed = allow_squared(amp_table, Fraction(column), ask.rated_c, s.ambient_c, bundle_factor(s.loaded, s.wires))
        out["current"] &= ask.amp**2 <= allowed
        out["fuse"] &= ask.fuse_a**2 <= allowed
        if ask.fraction is not None and ask.loop_m > 0:
            hot = wire_c(s.ambient_c, ask.rated_c, ask.amp, allowed)
            out["drop"] &= hot is not None and (
                drop_v(ask.amp, size, Fraction(1), hot) <= ask.fraction * ask.nominal_v / ask.loop_m
            )
    return out


def required(ask: WireAsk, sizes: Sequence[str | int]) -> tuple[str | int, str] | None:
    """The smallest size for which every rule holds, and the rule that asked for it (the first of equals)."""
    table = {s: holds(ask, s) for s in sizes}
    size = next((s for s in sizes if all(table[s].values())), None)
    if size is None:
        return None
    first = {rule: next(s for s in sizes if table[s][rule]) for rule in table[size]}
    worst = max(first.values(), key=list(sizes).index)
    return size, next(rule for rule, s in first.items() if s == worst)


def load_a(volts: Fraction, amps: Fraction, most_v: Fraction, tolerance: Fraction = Fraction(1, 10)) -> Fraction:
    """A load that behaves as a resistor: rated `volts` and `amps`, its ohms less the tolerance, at most_v."""
    return most_v / (volts / amps * (1 - tolerance))


Clause = tuple[tuple[str, frozenset[str]], ...]  # one of these: the device is in one of the positions


def together_a(loads: Sequence[tuple[Fraction, tuple[Clause, ...]]], devices: Mapping[str, Sequence[str]]) -> Fraction:
    """Greatest sum of currents that can be on together, over all products of positions. A load is on when every clause
    (an element in series) has an alternative (parallel elements) that is satisfied."""
    best = Fraction(0)
    for way in itertools.product(*devices.values()):
        at = dict(zip(devices, way, strict=True))
        on = [amp for amp, needs in loads if all(any(at[d] in ps for d, ps in clause) for clause in needs)]
        best = max(best, sum(on, start=Fraction(0)))
    return best


def inrush_passes(rating: Fraction, peak_a: Fraction, seconds: Fraction) -> str:
    """ "pass", "fail" or "not shown"."""
    percent = 100 * peak_a / rating
    if percent <= 110:
        return "pass"
    if percent > 600:
        return "not shown"
    shortest = next(Fraction(s) for p, s in GATES_S if Fraction(p) >= percent)
    return "pass" if shortest > seconds else "fail"


def fuse_for(
    amp: Fraction, inrush: Sequence[tuple[Fraction, Fraction]], ratings: Sequence[str] = RATINGS_A["medium"]
) -> Fraction | None:
    """Smallest rating: continuous current at most 80 %, and every (peak A, seconds) passes. Ratings lowest first."""
    for text in ratings:
        rating = Fraction(text)
        if amp <= rating * 8 / 10 and all(inrush_passes(rating, a, s) == "pass" for a, s in inrush):
            return rating
    return None
