"""From nets to wires: parts between pair joints, least wire for each, splices side by side.

Answers: which wires and splices there are, where each lies, how long each is.
Units:   whole millimetres.
Touches: nothing.
Beside:  `least` solves one part; `sizing` gives each wire its conductor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pinproof.design.model import Truck
from pinproof.design.model_harness import HarnessRules
from pinproof.harness.geometry import Geometry, highest_c, whole_mm
from pinproof.harness.least import NoWiring, Rules, SpliceAt, Wiring, cost_mm, least_wires
from pinproof.harness.results import Part, PartEnd, Splice, Wire, WireEnd
from pinproof.harness.stagger import slots_mm, stagger
from pinproof.harness.tree import Site
from pinproof.wiring.nets import Net, Nets, Refusal, refusal, refused

MOST_HUB_ENDS = 64
MOST_WIRES = 2000
SPLICE_STRIP_MM = 8.0  # common practice, no source
PLAIN_STRIP_MM = 6.0  # where no terminal is named: common practice, no source
CUT_STEP_MM = 5


@dataclass(frozen=True)
class Drawn:
    """Wires and splices of all parts, with the totals."""

    parts: tuple[Part, ...]
    wires: tuple[Wire, ...]
    splices: tuple[Splice, ...]
    least_mm: int
    total_mm: int
    stagger_mm: int
    closed: tuple[tuple[str, str], ...]


@dataclass
class _Open:
    """A part while it is solved."""

    net: Net
    ends: tuple[PartEnd, ...]
    hub: int | None
    singles: list[int]  # numbers of the ends that are not the hub
    places: list[int]
    hub_at: tuple[int, int] | None
    sites: list[Site]
    pinned: bool
    wiring: Wiring
    least_mm: int
    shut: frozenset[int] = frozenset()


def draw(truck: Truck, rules: HarnessRules, nets: Nets, geometry: Geometry) -> Drawn:
    """Least wire for every part, splices staggered; DesignFault where a net cannot be joined."""
    plain = Rules(rules.splice_wires, whole_mm(rules.slack_m), whole_mm(rules.splice_worth_m))
    open_ = _solve_all(truck, plain, nets, geometry)
    least = sum(part.least_mm for part in open_)
    slots = {
        run: slots_mm(first, last, whole_mm(rules.splice_length_m)) for run, (first, last) in geometry.stretches.items()
    }
    closed = _make_room(truck, plain, geometry, open_, slots)
    before = sum(part.wiring.cost_mm for part in open_)
    _stagger(plain, geometry, open_, slots)
    total = sum(part.wiring.cost_mm for part in open_)
    parts, wires, splices = _list(truck, plain, geometry, open_)
    if len(wires) > MOST_WIRES:
        text = f"{len(wires)} wires; {MOST_WIRES} is the most that is laid out. Divide the harness."
        refused(truck, [refusal(truck, "too-large", "harness", text)])
    named = tuple((open_[part].net.name, geometry.runs[geometry.tree_runs[run]].id) for part, run in closed)
    return Drawn(parts, wires, splices, least, total, total - before, named)


# parts


def parts_of(truck: Truck, nets: Nets, geometry: Geometry) -> list[tuple[Net, list[PartEnd]]]:
    """Each net cut at the pair joints that it crosses; refuses a joint with too few ways."""
    sides: dict[int, list[bool]] = {}
    for run in geometry.joints:
        first = geometry.whole.runs[run][0]
        sides[run] = [far >= 0 for far in geometry.whole.rooted(first, frozenset([run])).far_mm]
    ways = dict.fromkeys(geometry.joints, 0)
    found: list[tuple[Net, list[PartEnd]]] = []
    for net in nets.nets:
        at = [geometry.numbers[end.place] for end in net.ends]
        groups: dict[int, list[PartEnd]] = {}
        for number, end in enumerate(net.ends):
            made = PartEnd(end.label, end.place, end.kind, number)
            groups.setdefault(geometry.component[at[number]], []).append(made)
        for run, joint in geometry.joints.items():
            on_first = [sides[run][place] for place in at]
            if all(on_first) or not any(on_first):
                continue
            ways[run] += 1
            for place in geometry.whole.runs[run][:2]:
                made = PartEnd(
                    f"{joint.id} way {ways[run]}", geometry.places[place], "way", None, joint.id, ways[run]
                )  # fmt: skip
                groups.setdefault(geometry.component[place], []).append(made)
        found += [(net, ends) for ends in groups.values()]
    faults = []
    for run, joint in geometry.joints.items():
        if joint.ways is not None and ways[run] > joint.ways:
            text = (
                f"joint.{joint.id}: {ways[run]} nets cross, it has {joint.ways} ways. "
                "Choose one with more, or code the buttons on fewer wires."
            )
            faults.append(refusal(truck, "joint-ways", joint.path, text))
    refused(truck, faults)
    return found


def _solve_all(truck: Truck, plain: Rules, nets: Nets, geometry: Geometry) -> list[_Open]:
    faults: list[Refusal] = []
    pins = _pinned(truck, nets, geometry, faults)
    everywhere = geometry.sites()
    by_component: dict[int, list[Site]] = {}
    for site in everywhere:
        by_component.setdefault(geometry.component[geometry.tree.runs[site.run][0]], []).append(site)
    open_: list[_Open] = []
    for net, ends in parts_of(truck, nets, geometry):
        hubs = [number for number, end in enumerate(ends) if end.net_end is not None and net.ends[end.net_end].hub]
        hub = max(hubs, key=lambda one: (_wires_on(net, ends[one]), -one)) if hubs else None
        singles = [number for number in range(len(ends)) if number != hub]
        places = [geometry.numbers[ends[one].place] for one in singles]
        hub_at = None if hub is None else (geometry.numbers[ends[hub].place], _wires_on(net, ends[hub]))
        home = geometry.component[geometry.numbers[ends[0].place]]
        sites = by_component.get(home, [])
        pinned = net.name in pins and any(site.run == pins[net.name] for site in sites)
        if pinned:
            sites = [site for site in sites if site.run == pins[net.name]]
        if hub is not None and len(singles) > MOST_HUB_ENDS:
            text = f"net {net.name}: {len(singles)} ends on one hub; {MOST_HUB_ENDS} is the most. Use a second one."
            faults.append(refusal(truck, "too-large", _at(truck, net), text))
            continue
        try:
            wiring = least_wires(geometry.tree, places, hub_at, sites, plain)
        except NoWiring as none:
            faults.append(_none(truck, net, ends, hub, none))
            continue
        open_.append(_Open(net, tuple(ends), hub, singles, places, hub_at, sites, pinned, wiring, wiring.cost_mm))
    refused(truck, faults)
    return open_


def _wires_on(net: Net, end: PartEnd) -> int:
    return 1 if end.net_end is None else net.ends[end.net_end].wires


def _at(truck: Truck, net: Net) -> str:
    """Path of the entry that a net is named by."""
    for known in (truck.feeds, truck.studs, truck.lines):
        for each in known:
            if each.id == net.name:
                return each.path
    for load in (*truck.loads, *truck.relays, *truck.switches, *truck.drivers):
        if load.id == net.name.partition(".")[0]:
            return load.path
    return net.name


def _none(truck: Truck, net: Net, ends: Sequence[PartEnd], hub: int | None, none: NoWiring) -> Refusal:
    if none.code == "splice-many":
        text = (
            f"net {net.name}: {none.need} ends, a splice takes {none.have}, and no two splices may be joined. "
            "Give it a stud or bus plug."
        )
    elif none.code == "splice-none":
        text = (
            f"net {net.name}: {none.need} ends, and no run where a splice may lie. "
            "Lengthen or open a run, or use a stud or bus plug."
        )
    else:
        assert hub is not None
        what = "stud" if ends[hub].kind == "stud" else "plug"
        word = "rings" if what == "stud" else "cavities"
        text = (
            f"{what}.{ends[hub].label}: {len(ends) - 1} ends need {none.need} {word}, it takes {none.have}. "
            "Use a second stud or a bus plug."
        )
        return refusal(truck, none.code, f"{what}.{ends[hub].label}", text)
    return refusal(truck, none.code, _at(truck, net), text)


def _pinned(truck: Truck, nets: Nets, geometry: Geometry, faults: list[Refusal]) -> dict[str, int]:
    """Runs that the owner gives to the splice of a net; refused where no splice may lie."""
    found: dict[str, int] = {}
    by_id = {run.id: number for number, run in enumerate(geometry.runs)}
    names = {one: net.name for net in nets.nets for one in (*net.terminals, net.name)}
    for choice in truck.wire_choices:
        if not choice.at.startswith("run."):
            continue
        run_id = choice.at.removeprefix("run.")
        if run_id not in by_id or choice.net not in names:
            text = f'{choice.path}: "{choice.at}" with net "{choice.net}" is no run and net of this harness.'
            faults.append(refusal(truck, "signal-unknown", choice.path, text))
            continue
        run = geometry.runs[by_id[run_id]]
        inner = {outer: number for number, outer in enumerate(geometry.tree_runs)}.get(by_id[run_id])
        if inner is not None and inner in geometry.stretches:
            found[names[choice.net]] = inner
            continue
        nearest_run = _nearest_open(geometry, geometry.numbers[run.between[0]])
        why, code = ("is hot", "splice-hot") if run.hot else ("flexes", "splice-flex")
        if not run.hot and run.environment != "flex":
            why = "has no room for one"
        text = f"{choice.path}: a splice asked for in run.{run_id} that {why}. Put it in {nearest_run}."
        faults.append(refusal(truck, code, choice.path, text))
    return found


def _nearest_open(geometry: Geometry, place: int) -> str:
    far = geometry.whole.rooted(place).far_mm
    open_ = [(min(far[end] for end in geometry.tree.runs[run][:2]), run) for run in geometry.stretches]
    if not open_:
        return "a run that you open"
    return f"run.{geometry.runs[geometry.tree_runs[min(open_)[1]]].id}"


# splices side by side


def _make_room(
    truck: Truck, plain: Rules, geometry: Geometry, open_: list[_Open], slots: dict[int, list[int]]
) -> list[tuple[int, int]]:
    """Close full runs to the parts that mind least, until all splices have a slot."""
    closed: list[tuple[int, int]] = []
    while True:
        in_run = _in_runs(open_)
        full = [run for run in sorted(in_run) if len(in_run[run]) > len(slots[run])]
        if not full:
            return closed
        run = full[0]
        best: tuple[int, int, Wiring] | None = None
        for number in dict.fromkeys(part for part, _ in in_run[run]):
            part = open_[number]
            if part.pinned:
                continue
            left = [site for site in part.sites if site.run not in part.shut | {run}]
            try:
                tried = least_wires(geometry.tree, part.places, part.hub_at, left, plain)
            except NoWiring:
                continue
            rise = tried.cost_mm - part.wiring.cost_mm
            if best is None or rise < best[0]:
                best = (rise, number, tried)
        if best is None:
            name = geometry.runs[geometry.tree_runs[run]].id
            part = open_[in_run[run][-1][0]]
            text = (
                f"net {part.net.name}: {len(part.ends)} ends, and no room left in run.{name}, which takes "
                f"{len(slots[run])} splices. Lengthen or open a run, or use a stud or bus plug."
            )
            refused(truck, [refusal(truck, "splice-none", _at(truck, part.net), text)])
            return closed
        _, number, tried = best
        open_[number].shut |= {run}
        open_[number].wiring = tried
        closed.append((number, run))


def _in_runs(open_: Sequence[_Open]) -> dict[int, list[tuple[int, int]]]:
    """Part and splice of all splices in each run, in the order of nets."""
    found: dict[int, list[tuple[int, int]]] = {}
    for number, part in enumerate(open_):
        for index, splice in enumerate(part.wiring.splices):
            found.setdefault(splice.site.run, []).append((number, index))
    return found


def _stagger(plain: Rules, geometry: Geometry, open_: list[_Open], slots: dict[int, list[int]]) -> None:
    tree = geometry.tree
    moved: dict[tuple[int, int], int] = {}
    for run, members in _in_runs(open_).items():
        pulls = []
        for number, index in members:
            part = open_[number]
            targets = [part.places[end] for end in part.wiring.splices[index].ends]
            if part.hub_at is not None:
                targets.append(part.hub_at[0])
            pulls.append(sum(1 if tree.leaves_first_place(place, run) else -1 for place in targets))
        for member, at in zip(members, stagger(slots[run], pulls), strict=True):
            moved[member] = at
    for number, part in enumerate(open_):
        placed = tuple(
            SpliceAt(Site(splice.site.run, moved[number, index]), splice.ends)
            for index, splice in enumerate(part.wiring.splices)
        )
        wiring = replace(part.wiring, splices=placed)
        hub = None if part.hub_at is None else part.hub_at[0]
        part.wiring = replace(wiring, cost_mm=cost_mm(tree, part.places, hub, wiring, plain))


# the lists


def _list(
    truck: Truck, plain: Rules, geometry: Geometry, open_: Sequence[_Open]
) -> tuple[tuple[Part, ...], tuple[Wire, ...], tuple[Splice, ...]]:
    parts: list[Part] = []
    wires: list[Wire] = []
    splices: list[Splice] = []
    fit = _Fittings(truck)
    for number, part in enumerate(open_):
        made: list[int] = []
        rows = _wires_of(geometry, part, len(splices))
        for splice in part.wiring.splices:
            made.append(len(splices))
            run = geometry.runs[geometry.tree_runs[splice.site.run]]
            splices.append(
                Splice(f"S{len(splices) + 1:02d}", part.net.name, number, run.id, run.between[0], splice.site.at_mm, ())
            )
        joined: dict[int, list[str]] = {one: [] for one in made}
        for far, runs, a, b, beyond in rows:
            name = f"W{len(wires) + 1:03d}"
            ends = []
            for each in (a, b):
                if each[0] == "splice":
                    joined[each[1]].append(name)
                    splice_row = splices[each[1]]
                    ends.append(WireEnd(splice_row.id, splice_row.run, "splice", None, strip_mm=SPLICE_STRIP_MM))
                else:
                    ends.append(fit.end(part.net, part.ends[each[1]], each[1]))
            slack = sum(plain.slack_mm for each in ends if each.kind != "splice")
            exact = far + slack + ends[0].strip_mm + ends[1].strip_mm
            cut = -(-int(-(-exact // 1)) // CUT_STEP_MM) * CUT_STEP_MM
            wires.append(Wire(name, part.net.name, number, ends[0], ends[1], far, cut, runs, beyond))
        for one, names in joined.items():
            splices[one] = replace(splices[one], wires=tuple(names))
        parts.append(Part(part.net.name, part.ends, part.hub, part.wiring.cost_mm, tuple(made)))
    return tuple(parts), tuple(wires), tuple(splices)


_Where = tuple[str, int]  # "end" with the part's end, or "splice" with its number
_Row = tuple[int, tuple[str, ...], _Where, _Where, tuple[int, ...]]


def _wires_of(geometry: Geometry, part: _Open, first: int) -> list[_Row]:
    """Distance, runs, both ends and the ends beyond, for each wire: those on the hub first, the near ones first."""
    tree = geometry.tree
    named = [geometry.runs[outer].id for outer in geometry.tree_runs]
    rows: list[_Row] = []

    def between(a: int, b: int) -> tuple[int, tuple[str, ...]]:
        return tree.far_mm(a, b), tuple(named[run] for run in tree.runs_between(a, b))

    wiring = part.wiring
    if part.hub is None:
        if wiring.direct:
            a, b = (part.singles[one] for one in wiring.direct)
            far, runs = between(part.places[0], part.places[1])
            rows.append((far, runs, ("end", a), ("end", b), (a,)))
    else:
        assert part.hub_at is not None
        for one in wiring.direct:
            end = part.singles[one]
            far, runs = between(part.places[one], part.hub_at[0])
            rows.append((far, runs, ("end", end), ("end", part.hub), (end,)))
        for number, splice in enumerate(wiring.splices):
            beyond = tuple(part.singles[one] for one in splice.ends)
            far = tree.to_site_mm(part.hub_at[0], splice.site)
            runs = tuple(named[run] for run in reversed(tree.runs_to_site(part.hub_at[0], splice.site)))
            rows.append((far, runs, ("splice", first + number), ("end", part.hub), beyond))
    rows.sort(key=lambda row: row[0])
    for number, splice in enumerate(wiring.splices):
        for one in splice.ends:
            far = tree.to_site_mm(part.places[one], splice.site)
            runs = tuple(named[run] for run in tree.runs_to_site(part.places[one], splice.site))
            end = part.singles[one]
            rows.append((far, runs, ("end", end), ("splice", first + number), (end,)))
    return rows


class _Fittings:
    """Terminals, seals and cavities at the ends of wires."""

    def __init__(self, truck: Truck) -> None:
        self.plugs = {plug.id: plug for plug in truck.plugs}
        self.terminals = {one.id: one for one in truck.terminals}
        self.joints = {joint.id: joint for joint in truck.joints}
        self.on_bus: dict[str, int] = {}

    def end(self, net: Net, end: PartEnd, side: int) -> WireEnd:
        plug, cavity = "", ""
        if end.net_end is not None:
            plug, cavity = net.ends[end.net_end].plug, net.ends[end.net_end].cavity
        if end.kind == "bus":
            at = self.on_bus.get(plug, 0)
            self.on_bus[plug] = at + 1
            cavity = self.plugs[plug].cavities[at].id
        if end.kind == "way":
            plug, cavity = self._half(net, end)
        if plug:
            owner = self.plugs[plug]
            slot = next((each for each in owner.cavities if each.id == cavity), None)
            terminal = (slot.terminal if slot else None) or owner.terminal or ""
            seal = (slot.seal if slot else None) or owner.seal or ""
            strip = self.terminals[terminal].strip.value * 1000 if terminal in self.terminals else PLAIN_STRIP_MM
            return WireEnd(f"{plug}.{cavity}", end.place, end.kind, side, terminal, seal, strip)
        return WireEnd(end.label, end.place, end.kind, side, strip_mm=PLAIN_STRIP_MM)

    def _half(self, net: Net, end: PartEnd) -> tuple[str, str]:
        """Plug and cavity of a way: the cavity that names the net, else the one of the way's number."""
        for name in self.joints[end.joint].plugs or ():
            plug = self.plugs[name]
            if plug.place != end.place or not plug.cavities:
                continue
            named = next((each.id for each in plug.cavities if each.signal in net.terminals), None)
            if named is not None:
                return name, named
            if end.way <= len(plug.cavities):
                return name, plug.cavities[end.way - 1].id
        return "", ""


def hottest_c(truck: Truck, runs: Sequence[str], place: str) -> float:
    """Highest temperature along runs; of the place where a wire lies in none. [°C]"""
    by_id = {run.id: run for run in truck.runs}
    if runs:
        return max(highest_c(truck, by_id[one]) for one in runs)
    for each in truck.places:
        if each.id == place and each.temperature is not None:
            return each.temperature.high
    return truck.temperature.high
