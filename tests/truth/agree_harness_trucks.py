"""Whole generated trucks: the harness engine from the text of a design file against the slow checker's sums.

Feeds, switches, loads and grounds are put on the checker's run trees. Nets, currents, ways, fuses and sizes are found
here from the chains alone and the engine's wires, in fractions, and compared with what the engine says.
"""

from __future__ import annotations

import itertools
import random
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from tests.truth import wiring_trees as wt
from tests.truth.agree_harness_layout import CLOSE, HEAD, Outcome, code_counts, judge_layout, names_of_ends, tree_text

MOST_V, NOMINAL_V = Fraction("15.5"), Fraction("13.8")  # of HEAD
AMPS = ("0.2", "0.2", "0.5", "0.5", "1.5", "2.4", "5", "9.5")  # invented
PAIR_OHM, WAY_OHM, CLOSED_OHM = Fraction("0.02"), Fraction("0.01"), Fraction("0.01")


@dataclass
class Power:
    """Feeds, switches and loads as plain data. A chain is a list of groups of switches in parallel."""

    studs: dict[str, tuple[str, str, int]] = field(default_factory=dict)  # place, rail, rings
    feeds: dict[str, tuple[str, str, str, list[str]]] = field(default_factory=dict)  # from, place, fuse, through
    devices: dict[str, tuple[str, tuple[str, ...]]] = field(default_factory=dict)  # place, positions
    switches: dict[str, tuple[str, tuple[str, ...]]] = field(default_factory=dict)  # device, positions
    loads: dict[str, dict[str, Any]] = field(default_factory=dict)
    buses: dict[str, tuple[str, str, int]] = field(default_factory=dict)  # place, signal, cavities

    def place_of(self, unit: str) -> str:
        for known, k in ((self.studs, 0), (self.feeds, 1), (self.devices, 0), (self.buses, 0)):
            if unit in known:
                return str(known[unit][k])  # type: ignore[index]
        return str(self.loads[unit]["place"])

    def unit_of(self, terminal: str) -> str:
        head = terminal.split(".")[0].removeprefix("bus ")
        return self.switches[head][0] if head in self.switches else head

    def steps_up(self, feed: str) -> list[tuple[list[str], list[str]]]:
        """From the battery to a fuse's output: terminals that wires join, entry to exit."""
        start, _, _, through = self.feeds[feed]
        above = self.steps_up(start) if start in self.feeds else []
        return above + _joins(start, [[name] for name in through], f"{feed}.in")

    def steps(self, load: str) -> list[tuple[list[str], list[str]]]:
        """From the battery through a load to its ground."""
        one = self.loads[load]
        out = self.steps_up(one["feed"]) + _joins(one["feed"], one["high"], f"{load}.plus")
        return out + _joins(f"{load}.minus", one["low"], one["ground"])

    def fuses_of(self, load: str) -> list[str]:
        out = [self.loads[load]["feed"]]
        while self.feeds[out[-1]][0] in self.feeds:
            out.append(self.feeds[out[-1]][0])
        return out

    def groups(self, load: str) -> list[list[str]]:
        through = [[name] for feed in self.fuses_of(load) for name in self.feeds[feed][3]]
        return [*self.loads[load]["high"], *self.loads[load]["low"], *through]

    def needs(self, load: str) -> tuple[wt.Clause, ...]:
        """What the devices must do for the load to be on; a switch worked by hand may always conduct."""
        groups = [[self.switches[name] for name in group] for group in self.groups(load)]
        return tuple(tuple((d, frozenset(ps)) for d, ps in group) for group in groups if all(ps for _, ps in group))

    def turned(self) -> dict[str, tuple[str, ...]]:
        return {name: positions for name, (_, positions) in self.devices.items() if positions}


def _joins(start: str, groups: Sequence[Sequence[str]], end: str) -> list[tuple[list[str], list[str]]]:
    at, out = [start], []
    for group in groups:
        out.append((at, [f"{name}.a" for name in group]))
        at = [f"{name}.b" for name in group]
    return [*out, (at, [end])]


def power_of(rng: random.Random, tree: wt.Tree) -> Power:
    """Invented feeds, switches and loads at the places of a tree."""
    places, p = list(tree.places), Power()
    p.studs["battery"] = (rng.choice(places), "battery", rng.randint(3, 8))
    for k in range(rng.randint(1, 2)):
        p.studs[f"earth{k}"] = (rng.choice(places), "ground", rng.randint(4, 10))
    p.devices["lever"] = (rng.choice(places), ("P", "R", "N", "D"))
    p.devices["knob"] = (rng.choice(places), ("off", "low", "high"))
    p.devices["hand"] = (rng.choice(places), ())

    def switch(device: str | None = None) -> str:
        device = device or rng.choice(list(p.devices))
        name, positions = f"sw{len(p.switches)}", p.devices[device][1]
        some = rng.sample(positions, rng.randint(1, len(positions) - 1)) if positions else []
        p.switches[name] = (device, tuple(some))
        return name

    for k in range(rng.randint(1, 3)):
        start = f"f{rng.randrange(k)}" if k and rng.random() < 0.3 else "battery"
        through = [switch("hand")] if start == "battery" and rng.random() < 0.3 else []
        fuse = rng.choice(["to choose", "to choose", "to choose", "10 A", "20 A"])
        p.feeds[f"f{k}"] = (start, rng.choice(places), fuse, through)
    for k in range(rng.randint(1, 6)):
        high: list[list[str]] = []
        for _ in range(rng.choice([0, 0, 1, 1, 2])):
            high.append([switch() for _ in range(rng.choice([1, 1, 1, 2]))])
        stated = rng.choice(["watts", "amps", "current"])
        p.loads[f"load{k}"] = {
            "place": rng.choice(places),
            "feed": rng.choice(list(p.feeds)),
            "ground": rng.choice([name for name in p.studs if name != "battery"]),
            "high": high,
            "low": [[switch()]] if rng.random() < 0.2 else [],
            "stated": stated,
            "volts": Fraction(rng.choice(["12", "13.5"])),
            "size": Fraction(rng.choice(AMPS)) * (12 if stated == "watts" else 1),
            "tolerance": rng.choice([None, Fraction("0.05")]),
            "drop": rng.choice(["critical", "not critical"]),
            "allowed": rng.choice([None, None, Fraction("0.02")]),
            "inrush": rng.choice([Fraction(1), Fraction("2.5"), Fraction(6)]),
            "time": Fraction(rng.choice(["0.01", "0.1", "0.2", "0.5"])),
            "plug": rng.random() < 0.4,
        }
    for k in range(rng.choice([0, 0, 1, 2])):
        p.buses[f"bus{k}"] = (rng.choice(places), rng.choice([*p.feeds, *p.studs]), rng.randint(3, 8))
    return p


def dec(value: Fraction) -> str:
    """A terminating decimal."""
    return f"{float(value):.12g}"


def power_text(p: Power) -> str:
    out = ['[[terminal]]\nid = "pin"\nsmallest = "0.2 mm2"\nlargest = "10 mm2"\nstrip = "5 mm"\n']
    for name, (place, rail, rings) in p.studs.items():
        out.append(f'[[stud]]\nid = "{name}"\nplace = "{place}"\nrail = "{rail}"\nrings = {rings}\noffset = "none"\n')
    for name, (start, place, fuse, through) in p.feeds.items():
        out.append(f'[[feed]]\nid = "{name}"\nfrom = "{start}"\nplace = "{place}"\nfuse = "{fuse}"\nlive = ["run"]\n')
        out.append(f"through = {_quoted(through)}\n")
    for name, (place, positions) in p.devices.items():
        out.append(f'[[device]]\nid = "{name}"\nplace = "{place}"\n')
        out.append(f"positions = {_quoted(positions)}\n" if positions else "")
    for name, (device, positions) in p.switches.items():
        out.append(f'[[switch]]\nid = "{name}"\ndevice = "{device}"\nclosed = "10 mohm"\nopen = "none"\n')
        out.append(f"positions = {_quoted(positions)}\n" if positions else "")
    for name, one in p.loads.items():
        unit = "W" if one["stated"] == "watts" else "A"
        key = "watts" if one["stated"] == "watts" else "amps"
        text = (
            f'[[load]]\nid = "{name}"\nplace = "{one["place"]}"\nfeed = "{one["feed"]}"\nground = "{one["ground"]}"\n'
        )
        text += f'volts = "{dec(one["volts"])} V"\n{key} = "{dec(one["size"])} {unit}"\ndrop = "{one["drop"]}"\n'
        text += f"high_side = [{', '.join(_quoted(group) for group in one['high'])}]\n"
        text += f"low_side = [{', '.join(_quoted(group) for group in one['low'])}]\n"
        text += 'behaves = "current"\n' if one["stated"] == "current" else ""
        text += f'tolerance = "{dec(one["tolerance"] * 100)} %"\n' if one["tolerance"] is not None else ""
        text += f'drop_allowed = "{dec(one["allowed"] * 100)} %"\n' if one["allowed"] is not None else ""
        text += f'inrush = {dec(one["inrush"])}\ninrush_time = "{dec(one["time"])} s"\n'
        text += f'plug = "plug_{name}"\n' if one["plug"] else ""
        out.append(text)
        if one["plug"]:
            out.append(f'[[plug]]\nid = "plug_{name}"\nplace = "{one["place"]}"\nterminal = "pin"\n')
            out += [f'[[plug.cavity]]\nid = "{k}"\nsignal = "{name}.{s}"\n' for k, s in enumerate(("plus", "minus"))]
    for name, (place, signal, cavities) in p.buses.items():
        out.append(f'[[plug]]\nid = "{name}"\nplace = "{place}"\nbus = true\n[[plug.cavity]]\nid = "1"\n')
        out.append(f'signal = "{signal}"\n')
        out += [f'[[plug.cavity]]\nid = "{k}"\n' for k in range(2, cavities + 1)]
    return "\n".join(out)


def _quoted(names: Iterable[str]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"


def nets_by_hand(p: Power) -> dict[frozenset[str], tuple[wt.End, ...]]:
    """Terminals of each net to its ends, from the chains alone; the ends in the order of the file."""
    classes: list[set[str]] = []

    def join(terminals: Iterable[str]) -> None:
        mine = set(terminals)
        for each in [c for c in classes if c & mine]:
            classes.remove(each)
            mine |= each
        classes.append(mine)

    terminals = [*p.feeds, *(f"{f}.in" for f in p.feeds), *p.studs, *(f"{s}.{x}" for s in p.switches for x in "ab")]
    terminals += [f"{name}.{x}" for name in p.loads for x in ("plus", "minus")]
    for each in terminals:
        join([each])
    for feed in p.feeds:
        for before, after in p.steps_up(feed):
            join([*before, *after])
    for load in p.loads:
        for before, after in p.steps(load):
            join([*before, *after])
    for name, (_, signal, _) in p.buses.items():
        join([f"bus {name}", signal])
    order = [*p.feeds, *p.studs, *p.devices, *p.loads, *p.buses]
    out = {}
    for each_class in classes:
        units = sorted({p.unit_of(each) for each in each_class}, key=order.index)
        takes = {name: rings for name, (_, _, rings) in p.studs.items()} | {n: b[2] for n, b in p.buses.items()}
        if len(units) > 1:
            kinds = {unit: "stud" if unit in p.studs else "cavity" for unit in units}
            out[frozenset(each_class)] = tuple(
                wt.End(unit, p.place_of(unit), kinds[unit], takes.get(unit, 1)) for unit in units
            )
    return out


class Copper:
    """The engine's wires as a graph, searched without the engine: nodes are ends, splices and ways of each net."""

    def __init__(self, p: Power, tree: wt.Tree, nets: Any, drawn: Any) -> None:
        self.p, self.drawn = p, drawn
        self.tips: list[tuple[tuple[str, str], tuple[str, str]]] = []
        names = [names_of_ends(tree, nets, part) for part in drawn.parts]
        for wire in drawn.wires:
            a, b = (
                (wire.net, tip.label if tip.kind == "splice" else names[wire.part][tip.side])
                for tip in (wire.a, wire.b)
            )
            self.tips.append((a, b))
        self.near: dict[tuple[str, str], list[tuple[tuple[str, str], int]]] = {}
        for number, (a, b) in enumerate(self.tips):
            self.near.setdefault(a, []).append((b, number))
            self.near.setdefault(b, []).append((a, number))
        self.ways: set[tuple[str, str]] = {
            (part.net, f"{end.joint.removeprefix('j_')}.u") for part in drawn.parts for end in part.ends if end.joint
        }
        for net, way in self.ways:
            other = way[:-1] + "v"
            self.near.setdefault((net, way), []).append(((net, other), -1))
            self.near.setdefault((net, other), []).append(((net, way), -1))
        self.net_of = {terminal: net.name for net in nets.nets for terminal in net.terminals}

    def side(self, number: int) -> set[tuple[str, str]]:
        """What lies on the first end's side of a wire, within its net."""
        seen, todo = {self.tips[number][0]}, [self.tips[number][0]]
        while todo:
            for other, wire in self.near[todo.pop()]:
                if wire != number and other not in seen:
                    seen.add(other)
                    todo.append(other)
        return seen

    def way(self, start: tuple[str, str], end: tuple[str, str]) -> list[int]:
        """The wires between two ends of one net; -1 for each joint that is crossed."""
        known: dict[tuple[str, str], list[int]] = {start: []}
        todo = [start]
        while todo:
            here = todo.pop()
            for other, wire in self.near.get(here, []):
                if other not in known:
                    known[other] = [*known[here], wire]
                    todo.append(other)
        return known[end]

    def spots(self, terminals: Iterable[str]) -> set[tuple[str, str]]:
        return {(self.net_of[each], self.p.unit_of(each)) for each in terminals}

    def drawn_steps(self, load: str) -> list[tuple[set[tuple[str, str]], set[tuple[str, str]]]]:
        """Steps in which a wire is needed: not within one unit."""
        out = []
        for before, after in self.p.steps(load):
            if before[0] in self.net_of:
                out.append((self.spots(before), self.spots(after)))
        return out

    def routes(self, load: str) -> list[list[int]]:
        """Every way out and back, one for each choice among parallel switches."""
        found: list[tuple[str | None, list[int]]] = []  # by the terminal that it has reached
        for before, after in self.p.steps(load):
            rows = found or [(None, [])]
            out: list[tuple[str | None, list[int]]] = []
            for at, wires in rows:
                froms = before if at is None else [each for each in before if _passed(at) == each]
                for one in froms:
                    for other in after:
                        a, b = self.p.unit_of(one), self.p.unit_of(other)
                        more = [] if a == b else self.way((self.net_of[one], a), (self.net_of[other], b))
                        out.append((other, [*wires, *more]))
            found = out
        return [wires for _, wires in found]

    def fed_by(self, feed: str) -> set[int]:
        """Wires that a short would draw from a fuse: through units and splices, not through studs or other fuses."""
        if feed not in self.net_of:
            return set()
        inside: dict[tuple[str, str], list[tuple[str, str]]] = {}
        pairs = [(f"{s}.a", f"{s}.b") for s in self.p.switches] + [(f"{n}.plus", f"{n}.minus") for n in self.p.loads]
        for a, b in pairs:
            if a in self.net_of and b in self.net_of:
                one, two = (self.net_of[a], self.p.unit_of(a)), (self.net_of[b], self.p.unit_of(b))
                inside.setdefault(one, []).append(two)
                inside.setdefault(two, []).append(one)
        start = (self.net_of[feed], feed)
        seen, todo, wires = {start}, [start], set()
        while todo:
            here = todo.pop()
            if here[1] in self.p.studs:
                continue
            wires |= {wire for _, wire in self.near.get(here, []) if wire >= 0}
            for other in [*(each for each, _ in self.near.get(here, [])), *inside.get(here, [])]:
                if other not in seen:
                    seen.add(other)
                    todo.append(other)
        return wires


def _passed(terminal: str) -> str:
    """Behind the element that this terminal begins."""
    head, _, pole = terminal.rpartition(".")
    return {"a": f"{head}.b", "plus": f"{head}.minus", "in": head}.get(pole, terminal)


@dataclass(frozen=True)
class Sums:
    """What the page says of each wire and each feed."""

    load_a: dict[str, Fraction]
    wire_a: list[Fraction]
    carried: list[list[str]]
    running_a: dict[str, Fraction]
    peaks: dict[str, list[tuple[Fraction, Fraction]]]
    fuse_a: dict[str, Fraction | None]  # chosen or given; None: no rating holds

    def fitted_a(self, feed: str) -> Fraction:
        """Where none holds the page is silent; the engine says so and goes on with the largest, as here."""
        return self.fuse_a[feed] or Fraction(wt.RATINGS_A["medium"][-1])


def sums_of(p: Power, copper: Copper) -> Sums:
    amps = {}
    for name, one in p.loads.items():
        rated = one["size"] / one["volts"] if one["stated"] == "watts" else one["size"]
        tolerance = Fraction("0.1") if one["tolerance"] is None else one["tolerance"]
        amps[name] = rated if one["stated"] == "current" else wt.load_a(one["volts"], rated, MOST_V, tolerance)
    needs, devices = {name: p.needs(name) for name in p.loads}, p.turned()
    steps = {name: copper.drawn_steps(name) for name in p.loads}
    carried = []
    for number in range(len(copper.tips)):
        side = copper.side(number)
        net = copper.tips[number][0][0]
        mine = []
        for name in p.loads:
            here = [(a, b) for a, b in steps[name] if next(iter(a))[0] == net]
            if any((a & side and b - side) or (b & side and a - side) for a, b in here):
                mine.append(name)
        carried.append(mine)
    wire_a = [wt.together_a([(amps[n], needs[n]) for n in mine], devices) for mine in carried]
    running, peaks, chosen = {}, {}, {}
    for feed, (_, _, text, _) in p.feeds.items():
        mine = [name for name in p.loads if feed in p.fuses_of(name)]
        running[feed] = wt.together_a([(amps[n], needs[n]) for n in mine], devices)
        peaks[feed] = []
        for name in mine:
            switches = {one for group in [*p.loads[name]["high"], *p.loads[name]["low"]] for one in group}
            with_it = [n for n in mine if n == name or any(
                one in switches for group in [*p.loads[n]["high"], *p.loads[n]["low"]] for one in group)]  # fmt: skip
            for seconds in {p.loads[n]["time"] for n in with_it}:
                surging = [n for n in with_it if p.loads[n]["time"] >= seconds]
                flows = {n: amps[n] * (p.loads[n]["inrush"] if n in surging else 1) for n in mine}
                most = [
                    sum(flows[n] for n in mine if all(any(at[d] in ps for d, ps in clause) for clause in needs[n]))
                    for at in (dict(zip(devices, where, strict=True)) for where in itertools.product(*devices.values()))
                    if all(any(at[d] in ps for d, ps in clause) for clause in needs[name])
                ]
                if most:  # two switches of one lever that never close together: nothing flows, no inrush either
                    peaks[feed].append((max(most), seconds))
        chosen[feed] = wt.fuse_for(running[feed], peaks[feed]) if text == "to choose" else Fraction(text.split()[0])
    return Sums(amps, wire_a, carried, running, peaks, chosen)


def compare_truck(seed: int, out: Outcome) -> None:
    """A whole truck from the text of a design file: nets, wires, currents, fuses, sizes, drops, bundles."""
    from pinproof.design import DesignFault, loads
    from pinproof.harness import lay_out
    from pinproof.harness.geometry import geometry_of
    from pinproof.harness.layout import draw
    from pinproof.wiring.nets import nets_of

    case, rng = wt.generate(seed), random.Random(f"truck {seed}")
    rules = replace(case.rules, splice_wires=rng.choice([4, 5, 8]))
    runs = tuple(replace(r, joint="plug pair" if r.joint == "slip ring" else r.joint, ways=40) for r in case.tree.runs)
    p = power_of(rng, case.tree)
    used = {p.place_of(u) for known in (p.studs, p.feeds, p.devices, p.loads, p.buses) for u in known}  # type: ignore[attr-defined]
    used |= {place for r in runs if r.joint in wt.PAIR_JOINTS for place in (r.u, r.v)}
    tree = wt.Tree(runs, frozenset(used))
    words, rated = rng.choice(["mm2", "mm2", "AWG"]), rng.choice([85, 105, 125, 125, 150, 150])
    head = f'{HEAD}\n[harness]\nsizes = "{words}"\ninsulation = "{rated} °C"\n'
    text = head + tree_text(rng, tree, rules, ways=40) + "\n" + power_text(p)
    truck = loads(text, name=f"generated {seed}")
    out.seen["trucks"] += 1
    nets = nets_of(truck)
    mine = nets_by_hand(p)
    theirs = {frozenset(net.terminals): net for net in nets.nets}
    ends = {key: frozenset(end.id for end in found) for key, found in mine.items()}
    if not out.same("nets", ends, {key: frozenset(e.unit.id for e in net.ends) for key, net in theirs.items()}):
        return
    page_nets = [wt.Net(net.name, mine[key]) for key, net in theirs.items()]
    assert truck.harness is not None
    geometry = geometry_of(truck, truck.harness, nets)
    out.same("terminations", sorted(tree.terminations), sorted(geometry.places[k] for k in geometry.termination))
    drawn = judge_layout(out, tree, rules, page_nets, nets, lambda: draw(truck, truck.harness, nets, geometry))
    if drawn is None:
        return
    copper = Copper(p, tree, nets, drawn)
    sums = sums_of(p, copper)
    asks = wires_asked(p, tree, copper, sums, Fraction(rated))
    sizes: list[str | int] = list(wt.MM2 if words == "mm2" else wt.AWG)
    wanted = [wt.required(ask, sizes) for ask in asks]
    expected = Counter({"wire": sum(each is None for each in wanted)})
    expected["fuse-too-small"] = sum(
        p.feeds[feed][2] != "to choose" and sums.running_a[feed] > sums.fitted_a(feed) * 8 / 10 for feed in sums.fuse_a
    )
    try:
        harness = lay_out(truck)
    except DesignFault as fault:
        found = code_counts(fault)
        grouped = Counter({"wire": found.pop("wire-none", 0) + found.pop("fuse-outlasts-wire", 0)})
        grouped["fuse-too-small"] = found.pop("fuse-too-small", 0)
        out.same("sizing refusals", (expected, Counter()), (grouped, found))
        return
    out.same("sizing refusals", (expected, Counter()), (Counter({"wire": 0, "fuse-too-small": 0}), Counter()))
    judge_sizes(out, p, tree, copper, sums, wanted, harness)
    judge_runs(out, tree, harness)


def wires_asked(p: Power, tree: wt.Tree, copper: Copper, sums: Sums, rated_c: Fraction) -> list[wt.WireAsk]:
    """The page's question for each wire."""
    wires = copper.drawn.wires
    inside = {run.id: [k for k, wire in enumerate(wires) if run.id in wire.runs] for run in tree.runs}
    loaded = {name: sum(sums.wire_a[k] >= 1 for k in numbers) for name, numbers in inside.items()}
    by_id = {run.id: run for run in tree.runs}
    fed = {feed: copper.fed_by(feed) for feed in p.feeds}
    loops = {name: loop_mm(copper, name) for name in p.loads}
    asks = []
    for number, wire in enumerate(wires):
        stretches = tuple(
            wt.Stretch(Fraction(by_id[r].highest_c), by_id[r].environment, len(inside[r]), loaded[r]) for r in wire.runs
        )
        mine = sums.carried[number]
        fractions = [
            p.loads[n]["allowed"] or Fraction("0.03" if p.loads[n]["drop"] == "critical" else "0.1") for n in mine
        ]
        fuse = max((sums.fitted_a(feed) for feed in fed if number in fed[feed]), default=Fraction(0))
        asks.append(
            wt.WireAsk(
                sums.wire_a[number],
                rated_c,
                stretches
                or (wt.Stretch(Fraction(80)),),  # both ends at one place: nothing of the page but [temperature]
                min(fractions, default=None),
                NOMINAL_V,
                Fraction(max((loops[n] for n in mine), default=0), 1000),
                fuse,
            )
        )
    return asks


def loop_mm(copper: Copper, load: str) -> int:
    """The longest way out and back, wire only."""
    return max(sum(copper.drawn.wires[k].cut_mm for k in way if k >= 0) for way in copper.routes(load))


def drop_in_all_v(p: Power, tree: wt.Tree, copper: Copper, sums: Sums, wires: Sequence[Any], load: str) -> Fraction:
    """Volts lost on the worst way of a load: wires, contacts, a mated pair for each cavity, the ways of joints."""
    hottest = {run.id: Fraction(run.highest_c) for run in tree.runs}
    lost = []
    for number, wire in enumerate(wires):
        size = wire.sizing.size.split()
        size = int(size[0]) if size[1] == "AWG" else size[0]
        temp_c = max((hottest[name] for name in wire.runs), default=Fraction(80))
        volts = wt.drop_v(sums.wire_a[number], size, Fraction(wire.cut_mm, 1000), temp_c)
        units = [unit for _, unit in copper.tips[number]]
        pairs = sum(unit in p.buses or (unit in p.loads and p.loads[unit]["plug"]) for unit in units)
        lost.append(volts + sums.wire_a[number] * PAIR_OHM * pairs)

    def lost_on(way: list[int]) -> Fraction:
        total, flows = Fraction(0), next((sums.wire_a[k] for k in way if k >= 0), Fraction(0))
        for k in way:
            flows = flows if k < 0 else sums.wire_a[k]  # what comes to a joint goes through it
            total += flows * WAY_OHM if k < 0 else lost[k]
        return total

    worst = max(lost_on(way) for way in copper.routes(load))
    for group in p.groups(load):
        sharing = [{n for n in p.loads if any(name in other for other in p.groups(n))} for name in group]
        flows = [wt.together_a([(sums.load_a[n], p.needs(n)) for n in some], p.turned()) for some in sharing]
        worst += max(flows) * CLOSED_OHM
    return worst


def judge_sizes(
    out: Outcome,
    p: Power,
    tree: wt.Tree,
    copper: Copper,
    sums: Sums,
    wanted: Sequence[tuple[str | int, str] | None],
    harness: Any,
) -> None:
    for number, (wire, page) in enumerate(zip(harness.wires, wanted, strict=True)):
        assert page is not None
        out.near(f"wire current: {wire.id}", sums.wire_a[number], wire.current_a)
        fuse = max((sums.fitted_a(f) for f in p.feeds if number in copper.fed_by(f)), default=Fraction(0))
        out.near(f"fuse of wire: {wire.id}", fuse, wire.fuse_a)
        text = f"{page[0]} AWG" if isinstance(page[0], int) else f"{page[0]} mm²"
        out.same(f"size and rule: {wire.id}", (text, page[1]), (wire.sizing.size, wire.sizing.rule))
        out.seen[f"sized by {page[1]}"] += 1
    for fuse in harness.fuses:
        rating = sums.fuse_a[fuse.feed]
        out.near(f"feed current: {fuse.feed}", sums.running_a[fuse.feed], fuse.running_a)
        if rating is None:
            out.same(f"fuse verdict: {fuse.feed}", False, fuse.verdict == "pass")
            continue
        out.near(f"fuse rating: {fuse.feed}", rating, fuse.rating_a)
        words = {wt.inrush_passes(rating, amp, seconds) for amp, seconds in sums.peaks[fuse.feed]}
        verdict = next((word for word in ("fail", "not shown") if word in words), "pass")
        out.same(f"fuse verdict: {fuse.feed}", verdict, fuse.verdict)
        out.seen[f"fuse {verdict}"] += 1
    for use in harness.loads:
        out.near(f"load current: {use.load}", sums.load_a[use.load], use.current_a)
        out.same(f"loop: {use.load}", loop_mm(copper, use.load), use.loop_mm)
        out.near(f"drop in all: {use.load}", drop_in_all_v(p, tree, copper, sums, harness.wires, use.load), use.drop_v)


def judge_runs(out: Outcome, tree: wt.Tree, harness: Any) -> None:
    """Bundles, supports and ties of each run."""
    count = Counter(place for run in tree.runs for place in (run.u, run.v))
    for run, bundle in zip(tree.runs, harness.runs, strict=True):
        inside = [wire for wire in harness.wires if wire.id in bundle.wires]
        out.same(f"run: {run.id}", run.wire_mm, bundle.length_mm)
        out.same(f"supports: {run.id}", wt.supports(run.wire_mm), bundle.supports)
        if not inside:
            continue
        breakouts = sum(count[place] > 2 and place not in tree.terminations for place in (run.u, run.v))
        out.same(f"ties: {run.id}", wt.ties(run.wire_mm, breakouts=breakouts), bundle.ties)
        diameters = [wire.sizing.outside_m * 1000 for wire in inside]
        judge_bundle(out, run.id, diameters, bundle.diameter_mm, bundle.exact)


def judge_bundle(out: Outcome, name: str, diameters_mm: Sequence[float], found_mm: float, exact: bool) -> None:
    """A bundle's diameter, and that no circle claimed as exact is smaller than any can be."""
    few, many = min(diameters_mm), max(diameters_mm)
    unclear = 0.9899 * many <= few <= 0.9902 * many  # within 1 % of the thicker, or of the thinner?
    clamped = few >= 0.99 * many and len(diameters_mm) in (17, 18)  # as for 19, which is smaller than the estimate
    if not unclear and not clamped:
        page = wt.page_bundle([many] * len(diameters_mm) if few >= 0.9902 * many else diameters_mm)
        out.near(f"bundle: {name}", page[0], found_mm)
        out.same(f"bundle exact: {name}", page[1], exact)
    if exact:
        out.same(f"bundle holds: {name}", True, found_mm >= wt.bundle_floor_mm(diameters_mm) * (1 - CLOSE))
