"""What is said of a wire for which no size of the list holds, and of a fuse that its wire does not stand.

Answers: whose current flows there, which way and how far; what is asked, what the thickest has, what would help.
Units:   A, m², m; lengths in mm in the sentences.
Touches: the tables.
Beside:  `sizing` finds the case and has the sums; here they become words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pinproof.design.model import Truck
from pinproof.harness import size as rule
from pinproof.harness.coded_ways import CodedWay
from pinproof.harness.current import Consumer, Currents
from pinproof.harness.layout import Drawn
from pinproof.harness.results import FuseChoice, RuleCheck, Wire
from pinproof.harness.stock import Size
from pinproof.quantities.gauge import awg_text
from pinproof.tables import awg_area_m2, fuse_ratings_a
from pinproof.wiring.nets import Nets, Refusal, chained, refusal

NAMED = 3  # loads that a sentence names


@dataclass(frozen=True)
class Scene:
    """The drawn harness with what flows in it: what the words are taken from."""

    truck: Truck
    nets: Nets
    drawn: Drawn
    currents: Currents
    loops_mm: Mapping[int, int]
    fuses: Sequence[FuseChoice]

    def loads(self, number: int) -> list[tuple[int, Consumer]]:
        """What draws through a wire, the greatest current first."""
        carried = [(one, self.currents.consumers[one]) for one in self.currents.carried[number]]
        return sorted(carried, key=lambda each: (-each[1].current_a, each[0]))


def none_holds(scene: Scene, number: int, largest: Size, row: RuleCheck, strands: int, ambient_c: float) -> Refusal:
    """The rule that the thickest wire of the list does not meet, with the loads, the way and what helps.

    `strands` is the least number of strands there, `ambient_c` the hottest place on the way. [°C]
    """
    wire = scene.drawn.wires[number]
    why, helps = {"mechanical": _thin, "current": _hot, "drop": _lossy}[row.rule](
        scene, number, largest, row, strands, ambient_c
    )
    text = f"wire of {wire.net}, {_way(wire)}: no size holds ({row.rule}). {why} What helps: {'; '.join(helps)}."
    return refusal(scene.truck, "wire-none", _entry(scene.truck, wire), text)


def coded_none(scene: Scene, way: CodedWay, thickest: str, have_ohm: float) -> Refusal:
    """A coded way that has more ohms than the proof assumed, with the thickest wires too."""
    wires = [scene.drawn.wires[one] for one in way.wires]
    names = _several([wire.id for wire in wires])
    runs = list(dict.fromkeys(run for wire in wires for run in wire.runs))
    copper = sum(wire.cut_mm for wire in wires)
    fixed = f", {way.fixed_ohm * 1000:.3g} mΩ of it plugs and joints" if way.fixed_ohm else ""
    helps = ["a shorter way", f"state more ohms in {way.path} and prove again"]
    if way.fixed_ohm >= 0.2 * way.limit_ohm:
        helps.insert(1, "fewer plugs and joints on it")
    helps.insert(1, f"a thicker `[[cable]]`{_pins(scene.truck, wires)}")
    text = (
        f"wire of {way.net}, {names}{' in ' + _several(runs) if runs else ''}, {copper} mm: no size holds (coded). "
        f"With {thickest}, the thickest of the list, the way has {have_ohm * 1000:.3g} mΩ{fixed}; the proof of line "
        f"{way.line} was made with {way.limit_ohm * 1000:.3g} mΩ. What helps: {'; '.join(helps)}."
    )
    return refusal(scene.truck, "wire-none", way.path, text)


def outlasts(scene: Scene, number: int, size: Size, allowed_a: float, fuse_a: float, larger: Size | None) -> Refusal:
    """A fuse that lets more flow than its wire may carry; `larger` is a size that would stand it."""
    truck, wire = scene.truck, scene.drawn.wires[number]
    fuse = _fuse_of(scene, wire, fuse_a)
    path = next((one.path for one in truck.feeds if fuse is not None and one.id == fuse.feed), "harness")
    helps = [] if larger is None else [f"wire of {larger.text}"]
    if fuse is not None:
        fitting = [one for one in fuse_ratings_a(fuse.family) if fuse.least_a <= one <= allowed_a]
        if fitting:
            helps.insert(0, f"a {fitting[-1]:g} A fuse")
        else:
            helps.append(f"fewer loads behind it: they need {fuse.least_a:g} A at least, so no smaller fuse will do")
    if larger is None:
        helps += ["a cooler run", "cable of a higher insulation rating", "a `[[cable]]` with `carries`"]
    kind = "fuse, which the harness chose," if fuse is not None and fuse.chosen else "fuse"
    text = (
        f"{path}: the {fuse_a:g} A {kind} outlasts wire {wire.id} ({size.text}, {_way(wire)}): "
        f"it may carry {allowed_a:.3g} A. What helps: {'; '.join(helps)}."
    )
    return refusal(truck, "fuse-outlasts-wire", path, text)


def hot_advice(fuses: Sequence[FuseChoice], hot_a: Sequence[float]) -> str:
    """What to do about wires that get hot before fuses of these ratings blow. A smaller fuse only where one will do."""
    mine = [one for one in fuses if one.rating_a in hot_a]
    less = [f"{one.least_a:g} A for {one.feed}" for one in mine if one.least_a < one.rating_a]
    tight = [one.feed for one in mine if one.least_a >= one.rating_a]
    advice = "A larger wire (`[[wire]]` with its `size`)"
    if less:
        advice += f", or a smaller fuse: {_several(less)} {'carries its' if len(less) == 1 else 'carry their'} loads"
    advice += "."
    if tight:
        holds = "has the smallest fuse that carries its loads" if len(tight) == 1 else (
            "have the smallest fuses that carry their loads"
        )  # fmt: skip
        advice += f" {_several(tight)} {holds}."
    return f"{advice} A caution, no failure."


Told = tuple[str, list[str]]


def _thin(scene: Scene, number: int, largest: Size, row: RuleCheck, strands: int, _ambient_c: float) -> Told:
    why = (
        f"For strength it needs {row.need:.3g} mm² and {strands} strands; the thickest of the list has {row.have:.3g} "
        f"mm² and {largest.strands}."
    )
    return why, ["give a `[[cable]]` with enough strands", "a run that does not flex"]


def _hot(scene: Scene, number: int, largest: Size, row: RuleCheck, _strands: int, ambient_c: float) -> Told:
    wire = scene.drawn.wires[number]
    why = f"It carries {row.need:.3g} A for {_names(scene, number)}; {largest.text}, the thickest of the list, may "
    if ambient_c >= largest.rated_c:
        why += f"carry nothing there: up to {ambient_c:.3g} °C around it, insulation of {largest.rated_c:.3g} °C."
        return why, ["cable of a higher insulation rating", "a cooler run"]
    why += f"carry {row.have:.3g} A there (up to {ambient_c:.3g} °C around it, insulation of {largest.rated_c:.3g} °C)."
    return why, [
        *_apart(scene, number), *(_relay(scene, number) if _at_switch(scene, number) else ()),
        "cable of a higher insulation rating",
        "a cooler run, or one with fewer loaded wires",
        f"a thicker `[[cable]]`, with its `carries`{_pins(scene.truck, [wire])}",
    ]  # fmt: skip


def _lossy(scene: Scene, number: int, largest: Size, row: RuleCheck, _strands: int, _ambient_c: float) -> Told:
    """Drop: asked are millivolts in each metre of the longest way, so a shorter one is allowed more."""
    wire = scene.drawn.wires[number]
    loads = scene.loads(number)
    far, load = max(((at, one) for at, one in loads if one.kind != "line"), key=lambda each: scene.loops_mm[each[0]])
    loop_mm = scene.loops_mm[far]
    lost_v, shorter_mm = row.have * loop_mm / 1e6, int(loop_mm * row.have / row.need)
    why = (
        f"It carries {scene.currents.wire_a[number]:.3g} A for {_names(scene, number)}. The way to {_called(load)} and "
        f"back is {loop_mm} mm of wire and may lose {lost_v:.2g} V, which is {row.have:.3g} mV/m; {largest.text}, the "
        f"thickest of the list, loses {row.need:.3g} mV/m."
    )
    area_mm2 = largest.area_m2 * 1e6 * row.need / row.have
    return why, [
        f"a way out and back of {shorter_mm} mm at most", *_relay(scene, number), *_apart(scene, number),
        f"a thicker `[[cable]]` of about {_thick(scene.truck, area_mm2)}{_pins(scene.truck, [wire])}",
    ]  # fmt: skip


def _thick(truck: Truck, area_mm2: float) -> str:
    """An area as the design names sizes: the next gauge that is not thinner, where there is one."""
    gauge = next((one for one in range(8, -4, -1) if awg_area_m2(one) * 1e6 >= area_mm2), None)
    if truck.harness is None or truck.harness.sizes != "AWG" or gauge is None:
        return f"{area_mm2:.2g} mm²"
    return f"{awg_text(gauge)} AWG ({area_mm2:.2g} mm²)"


def _way(wire: Wire) -> str:
    where = f"in {_several(list(wire.runs))}" if wire.runs else f"at {wire.a.place}"
    return f"{wire.a.label} to {wire.b.label} {where}, {wire.cut_mm} mm"


def _names(scene: Scene, number: int) -> str:
    """Whose current it is, with each one's amperes where there are several."""
    loads = [one for _, one in scene.loads(number)]
    if len(loads) == 1:
        return _called(loads[0])
    return _several([f"{_called(one)} ({one.current_a:.3g} A)" for one in loads])


def _called(one: Consumer) -> str:
    return {"coil": f"the coil of {one.id}", "line": f"line {one.id}"}.get(one.kind, one.id)


def _several(names: Sequence[str]) -> str:
    if len(names) > NAMED + 1:
        return f"{', '.join(names[:NAMED])} and {len(names) - NAMED} more"
    return ", ".join(names[:-1]) + f" and {names[-1]}" if len(names) > 1 else "".join(names)


def _apart(scene: Scene, number: int) -> list[str]:
    loads = [one for _, one in scene.loads(number) if one.kind != "line"]
    return [f"a second wire: a feed with its own fuse for {_called(loads[0])}"] if len(loads) > 1 else []


def _relay(scene: Scene, number: int) -> list[str]:
    """A relay near the greatest load, where its current now goes the long way through its switch or its relay."""
    load = next((one for _, one in scene.loads(number) if one.kind == "load"), None)
    if load is None:
        return []
    stated = next(one for one in chained(scene.truck) if one.id == load.id)
    used = [name for group in (*stated.high_side, *stated.low_side) for name in group]
    if any("." in name for name in used):
        return [f"its relay nearer to the straight way from the fuse to {load.id}"]
    switches = {one.id for one in scene.truck.switches}
    return [f"a relay near {load.id}: {name} then carries its coil only" for name in used if name in switches][:1]


def _at_switch(scene: Scene, number: int) -> bool:
    """A wire between a switch and its load, the greatest that it feeds: a relay near the load takes the load off it."""
    load = next((one for _, one in scene.loads(number) if one.kind == "load"), None)
    stated = next((one for one in chained(scene.truck) if load is not None and one.id == load.id), None)
    if stated is None:
        return False
    behind = [f"{name}.b" for group in stated.high_side for name in group]
    behind += [f"{name}.a" for group in stated.low_side for name in group]
    net = next(one for one in scene.nets.nets if one.name == scene.drawn.wires[number].net)
    return any(terminal in net.terminals for terminal in behind)


def _pins(truck: Truck, wires: Sequence[Wire]) -> str:
    """The pins that would have to take a thicker wire."""
    terminals = {one.id: one for one in truck.terminals}
    ends = [(end.label, terminals[end.terminal]) for wire in wires for end in (wire.a, wire.b)
            if end.terminal in terminals]  # fmt: skip
    if not ends:
        return " and pins that take it"
    most = ", ".join(f"{label} up to {one.largest.text}" for label, one in ends[:NAMED])
    return f" and pins that take it ({most} today)"


def _fuse_of(scene: Scene, wire: Wire, fuse_a: float) -> FuseChoice | None:
    """The fuse of this rating that the wire hangs on: that of its own net, else the first."""
    mine = [one for one in scene.fuses if one.rating_a == fuse_a]
    return next((one for one in mine if one.feed == wire.net), mine[0] if mine else None)


def _entry(truck: Truck, wire: Wire) -> str:
    for known in (truck.feeds, truck.studs, truck.lines, truck.loads, truck.relays, truck.switches):
        for each in known:
            if each.id == wire.net.partition(".")[0]:
                return each.path
    return "harness"


def strands_asked(environments: Sequence[str]) -> int:
    """Least number of strands of a wire in these environments."""
    return rule.LEAST_STRANDS_FLEX if "flex" in environments else rule.LEAST_STRANDS
