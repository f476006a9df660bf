"""The nets of a truck: what wires must join, from the one netlist and the chains of its loads.

Answers: which terminals are one node, which units touch it, and at which place, cavity, stud or tail each is reached.
Units:   none; places are named, lengths come later.
Touches: nothing.
Beside:  `elements` expands the coded lines; `pinproof.harness` finds the wires. docs/harness.md, *Nets*, has the rules.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from pinproof.design.messages import DesignFault, Fault
from pinproof.design.model import Line, Truck
from pinproof.design.model_harness import Load, Relay
from pinproof.wiring.elements import physical, pin_node

ElementKind = Literal["switch", "relay contact", "load", "coil", "driver", "fuse", "contact", "resistor"]
EMPTY = ("", "empty")


@dataclass(frozen=True)
class Refusal(Fault):
    """A fault of the harness with its fixed `code`, listed in docs/harness.md."""

    code: str = ""


@dataclass(frozen=True)
class Unit:
    """What carries elements. `kind` is device, load, relay, feed, controller, plug (potted), stud or bus."""

    kind: str
    id: str

    def __str__(self) -> str:
        return f"{self.kind} {self.id}"


@dataclass(frozen=True)
class WiredElement:
    """A two-pole between two terminals, inside one unit. `id` is its design path."""

    id: str
    kind: ElementKind
    a: str
    b: str
    unit: Unit


@dataclass(frozen=True)
class End:
    """A terminal of a net that a wire must reach."""

    unit: Unit
    place: str
    kind: Literal["cavity", "stud", "tail", "bus"]
    plug: str = ""
    cavity: str = ""
    wires: int = 1  # most wires on it: above 1 it is a hub
    terminal: str = ""  # of a tail: which of the unit's leads

    @property
    def hub(self) -> bool:
        """True if it takes several wires."""
        return self.kind in ("stud", "bus")

    @property
    def label(self) -> str:
        """How the builder finds it: "tcu.B12", a stud, or the unit's own lead, "lamp.plus" or "wheel taps"."""
        if self.kind == "cavity":
            return f"{self.plug}.{self.cavity}"
        if self.kind != "tail" or self.terminal == self.unit.id:
            return self.unit.id
        own = self.terminal.startswith(f"{self.unit.id}.")
        return self.terminal if own else f"{self.unit.id} {self.terminal}"


@dataclass(frozen=True)
class Net:
    """All ends that wires join. `terminals` are its names, in file order."""

    name: str
    terminals: tuple[str, ...]
    ends: tuple[End, ...]
    reached: dict[Unit, int]  # the end at which each unit is reached; units behind one cavity share it


@dataclass(frozen=True)
class Nets:
    """Nets in file order, with the elements between them. `net_of` leads from a terminal to a net's number."""

    nets: tuple[Net, ...]
    elements: tuple[WiredElement, ...]
    net_of: dict[str, int]
    units_of: dict[str, tuple[Unit, ...]]  # of a terminal
    undrawn: tuple[str, ...]  # lines whose source end leads nowhere


def refusal(truck: Truck, code: str, path: str, text: str) -> Refusal:
    """A refusal with the line of its entry, or of the nearest entry above it."""
    file = truck.source_path.replace("\\", "/").rpartition("/")[2] or "<text>"
    at = path
    while at and at not in truck.source_lines:
        at = at.rpartition(".")[0]
    return Refusal(file, truck.source_lines.get(at, 0), path, text, code=code)


def refused(truck: Truck, found: Iterable[Refusal]) -> None:
    """Raise all refusals at once, in the order of their lines; do nothing if there are none."""
    faults = tuple(sorted(found, key=lambda one: one.line))
    if faults:
        raise DesignFault(faults[0].file, faults)


def near(word: str, known: Iterable[str]) -> str:
    """' Nearest: "…".' where a known word is near."""
    hit = difflib.get_close_matches(word, list(known), 1, 0.5)
    return f' Nearest: "{hit[0]}".' if hit else ""


def chained(truck: Truck) -> Iterator[Load | Relay]:
    """Loads and relay coils, which hang in chains between a feed and a stud."""
    yield from truck.loads
    yield from truck.relays


class _Join:
    """Terminals in file order, those that are one node joined."""

    def __init__(self) -> None:
        self.order: dict[str, int] = {}
        self.up: dict[str, str] = {}
        self.units: dict[str, list[Unit]] = {}
        self.joined: set[str] = set()  # terminals that a wire touches

    def touch(self, terminal: str, unit: Unit | None = None) -> str:
        """Know a terminal, and that a unit touches it."""
        self.order.setdefault(terminal, len(self.order))
        self.up.setdefault(terminal, terminal)
        if unit is not None and unit not in self.units.setdefault(terminal, []):
            self.units[terminal].append(unit)
        return terminal

    def root(self, terminal: str) -> str:
        while self.up[terminal] != terminal:
            self.up[terminal] = self.up[self.up[terminal]]
            terminal = self.up[terminal]
        return terminal

    def join(self, *terminals: str) -> None:
        """These terminals are joined by wire."""
        roots = [self.root(self.touch(one)) for one in terminals]
        self.joined |= set(terminals)
        first = min(roots, key=self.order.__getitem__)
        for each in roots:
            self.up[each] = first


def nets_of(truck: Truck) -> Nets:
    """The nets of a truck, or DesignFault with every `Refusal` that shows here."""
    join = _Join()
    elements = [*_power(truck, join), *_coded(truck, join)]
    _bus_plugs(truck, join)
    groups: dict[str, list[str]] = {}
    for terminal in join.order:
        groups.setdefault(join.root(terminal), []).append(terminal)
    faults: list[Refusal] = list(_signals(truck, join))
    nets: list[Net] = []
    net_of: dict[str, int] = {}
    plugs = _plugs_of_units(truck)
    used: dict[tuple[str, str], str] = {}
    for terminals in groups.values():
        units = list(dict.fromkeys(unit for one in terminals for unit in join.units.get(one, ())))
        wired = any(one in join.joined for one in terminals)
        if len(units) < 2 and not (wired and units and _must_lead_on(truck, terminals)):
            continue
        name = _name(truck, terminals)
        ends, reached = _ends(truck, name, terminals, units, join.units, plugs, used, faults)
        if len(ends) == 1 and not faults:
            text = f"net {name}: reaches only {ends[0].label}. Name where it goes (`feed`, `returns_to`, `ground`)."
            faults.append(refusal(truck, "net-single", _path(truck, name), text))
        for one in terminals:
            net_of[one] = len(nets)
        nets.append(Net(name, tuple(terminals), tuple(ends), reached))
    refused(truck, faults)
    undrawn = tuple(line.id for line in truck.lines if line.undrawn)
    units_of = {one: tuple(found) for one, found in join.units.items()}
    return Nets(tuple(nets), tuple(elements), net_of, units_of, undrawn)


def _must_lead_on(truck: Truck, terminals: list[str]) -> bool:
    """A net that a pin, a chain or a feed begins: with one end only it leads nowhere."""
    pins = {f"{one.id}.pin" for one in truck.inputs}
    loads = {f"{one.id}.{pole}" for one in chained(truck) for pole in ("plus", "minus")}
    return any(one in pins or one in loads or one.endswith(".in") for one in terminals)


def _power(truck: Truck, join: _Join) -> Iterator[WiredElement]:
    """Rule 1: feeds, switches, relays, drivers and loads, neighbours in a chain joined."""
    made: list[WiredElement] = []
    for feed in truck.feeds:
        unit = Unit("feed", feed.id)
        made.append(WiredElement(feed.path, "fuse", join.touch(f"{feed.id}.in", unit), join.touch(feed.id, unit), unit))
    for stud in truck.studs:
        join.touch(stud.id, Unit("stud", stud.id))
    for switch in truck.switches:
        made.append(_element(join, switch.path, "switch", switch.id, Unit("device", switch.device)))
    for relay in truck.relays:
        for contact in relay.contacts:
            name = f"{relay.id}.{contact.id}"
            made.append(_element(join, contact.path, "relay contact", name, Unit("relay", relay.id)))
    for load in chained(truck):
        coil = isinstance(load, Relay)
        unit = Unit("relay" if coil else "load", load.id)
        plus, minus = join.touch(f"{load.id}.plus", unit), join.touch(f"{load.id}.minus", unit)
        made.append(WiredElement(load.path, "coil" if coil else "load", plus, minus, unit))
    for driver in truck.drivers:
        made.append(_element(join, driver.path, "driver", driver.id, Unit("controller", driver.controller)))
    buses = {plug.id for plug in truck.plugs if plug.bus}
    studs = {stud.id for stud in truck.studs} | {feed.id for feed in truck.feeds}
    for feed in truck.feeds:
        start = feed.from_ if feed.from_ in studs or feed.from_ not in buses else f"bus {feed.from_}"
        _chain(join, start, [(one,) for one in feed.through], f"{feed.id}.in")
    low = {driver.id for driver in truck.drivers if driver.side == "low"}
    for load in chained(truck):
        _chain(join, load.feed, load.high_side, f"{load.id}.plus")
        driven = bool(load.low_side) and any(name in low for name in load.low_side[-1])
        _chain(join, f"{load.id}.minus", load.low_side, None if driven else load.ground)
    return iter(made)


def _element(join: _Join, path: str, kind: ElementKind, name: str, unit: Unit) -> WiredElement:
    return WiredElement(path, kind, join.touch(f"{name}.a", unit), join.touch(f"{name}.b", unit), unit)


def _chain(join: _Join, start: str, groups: Iterable[tuple[str, ...]], end: str | None) -> None:
    at = [start]
    for group in groups:
        join.join(*at, *(f"{name}.a" for name in group))
        at = [f"{name}.b" for name in group]
    if end is not None:
        join.join(*at, end)


def _coded(truck: Truck, join: _Join) -> Iterator[WiredElement]:
    """Rule 2: the coded lines, from the physical netlist; wires join, the rest belongs to units."""
    pins = {pin_node(one.id): f"{one.id}.pin" for one in truck.inputs}
    for each in truck.inputs:
        join.touch(f"{each.id}.pin", Unit("controller", each.controller or each.id))
    mated = {device.plug: device.id for device in truck.devices if device.plug}
    made: list[WiredElement] = []
    devices = {device.id for device in truck.devices}
    own = {contact.id: contact.device for contact in truck.contacts}
    for line in truck.lines:
        join.touch(line.id)
        join.touch(f"{line.id}.source")
        if line.form == "elements":
            join.join(f"{line.input}.pin", line.id)
            join.join(f"{line.id}.source", f"{line.id}.{line.source_side}")
        if line.feed is not None:
            join.join(line.feed, f"{line.id}.feed")
        if line.feed_cavity is not None:
            join.touch(f"{line.id}.feed", _controller_of(truck, line))
        if line.returns_to is not None:
            studs = {stud.id for stud in truck.studs}
            if line.returns_to in studs:
                join.join(line.returns_to, f"{line.id}.return")
            else:
                join.touch(f"{line.id}.return", _controller_of(truck, line))
    faults = []
    for branch in physical(truck).branches:
        if branch.kind in ("pull", "leak"):
            continue
        a, b = (_terminal(node, branch.line, pins) for node in (branch.a, branch.b))
        if branch.kind == "wire":
            join.join(a, b)
            continue
        if branch.kind == "contact":
            unit = Unit("device", own[branch.contact or ""])
        else:
            at = branch.resistor.at if branch.resistor is not None else ""
            parts = branch.id.split(".")
            carrier = own.get(parts[1]) if parts[0] == "contact" else None
            if at in ("", "device") and carrier is not None:
                unit = Unit("device", carrier)
            elif at in devices:
                unit = Unit("device", at)
            elif at in mated:
                unit = Unit("device", mated[at])
            elif at:
                unit = Unit("plug", at)
            else:
                text = (
                    f"{branch.id}.at: it is not said where it sits. A resistor loose in a run breaks its leads. "
                    'Put it in a device or a potted plug, as in { value = "4.7k", at = "lever" }.'
                )
                faults.append(refusal(truck, "resistor-loose", branch.id, text))
                continue
        kind: ElementKind = "contact" if branch.kind == "contact" else "resistor"
        made.append(WiredElement(branch.id, kind, join.touch(a, unit), join.touch(b, unit), unit))
    refused(truck, faults)
    return iter(made)


def _terminal(node: str, line_id: str, pins: dict[str, str]) -> str:
    """A node of the netlist as a terminal's name."""
    if node in pins:
        return pins[node]
    if node == f"{line_id}:far":
        return line_id
    rail = node.partition("@")[0] if "@" in node or ":" not in node else node.partition(":")[2].removeprefix("~")
    return f"{line_id}.{rail}"


def _controller_of(truck: Truck, line: Line) -> Unit:
    owner = truck.input_of(line)
    return Unit("controller", owner.controller or owner.id)


def _bus_plugs(truck: Truck, join: _Join) -> None:
    """A bus plug is a node; it joins the nets that its cavities name."""
    for plug in truck.plugs:
        if not plug.bus:
            continue
        me = join.touch(f"bus {plug.id}", Unit("bus", plug.id))
        for cavity in plug.cavities:
            if cavity.signal not in EMPTY and cavity.signal in join.order:
                join.join(me, cavity.signal)


def _signals(truck: Truck, join: _Join) -> Iterator[Refusal]:
    for plug in truck.plugs:
        for cavity in plug.cavities:
            if cavity.signal in EMPTY or cavity.signal in join.order:
                continue
            text = f'{cavity.path}.signal: "{cavity.signal}" is no net.{near(cavity.signal, join.order)}'
            yield refusal(truck, "signal-unknown", cavity.path, text)


def _name(truck: Truck, terminals: list[str]) -> str:
    for known in (truck.feeds, truck.studs, truck.lines):
        for each in known:
            if each.id in terminals:
                return each.id
    return terminals[0]


def _path(truck: Truck, name: str) -> str:
    """Design path of what names a net."""
    head = name.partition(".")[0]
    for known in (truck.feeds, truck.studs, truck.lines, tuple(chained(truck)), truck.switches, truck.drivers):
        for each in known:
            if head == each.id:
                return each.path
    return name


def _plugs_of_units(truck: Truck) -> dict[Unit, list[str]]:
    found: dict[Unit, list[str]] = {}

    def give(unit: Unit, plug: str | None) -> None:
        if plug and plug not in found.setdefault(unit, []):
            found[unit].append(plug)

    for device in truck.devices:
        give(Unit("device", device.id), device.plug)
    for each in chained(truck):
        give(Unit("relay" if isinstance(each, Relay) else "load", each.id), each.plug)
    for feed in truck.feeds:
        give(Unit("feed", feed.id), feed.plug)
    for one in truck.inputs:
        give(Unit("controller", one.controller or one.id), one.plug)
    for driver in truck.drivers:
        give(Unit("controller", driver.controller), driver.plug)
    names: dict[str, Unit] = {}
    for kind, ids in (
        ("controller", [one.controller or one.id for one in truck.inputs]),
        ("device", [one.id for one in truck.devices]),
        ("load", [one.id for one in truck.loads]),
        ("relay", [one.id for one in truck.relays]),
        ("feed", [one.id for one in truck.feeds]),
    ):
        for each_id in ids:
            names.setdefault(each_id, Unit(kind, each_id))
    for plug in truck.plugs:
        give(Unit("plug", plug.id), plug.id)
        if plug.unit in names:
            give(names[plug.unit], plug.id)
    return found


def _ends(
    truck: Truck,
    name: str,
    terminals: list[str],
    units: list[Unit],
    on: dict[str, list[Unit]],
    plugs: dict[Unit, list[str]],
    used: dict[tuple[str, str], str],
    faults: list[Refusal],
) -> tuple[list[End], dict[Unit, int]]:
    """Rules 3 and 4: one end for each unit, in its cavity, on its stud or at its tail."""
    ends: list[End] = []
    reached: dict[Unit, int] = {}
    signals = set(terminals)
    by_id = {plug.id: plug for plug in truck.plugs}
    for unit in units:
        if unit.kind == "stud":
            stud = next(one for one in truck.studs if one.id == unit.id)
            reached[unit] = len(ends)
            ends.append(End(unit, stud.place, "stud", wires=stud.rings))
            continue
        mine = [by_id[one] for one in plugs.get(unit, ())] if unit.kind != "bus" else [by_id[unit.id]]
        reached[unit] = len(ends)
        if unit.kind == "bus":
            place = mine[0].place
            if place is not None:
                ends.append(End(unit, place, "bus", unit.id, wires=len(mine[0].cavities)))
        elif not mine:
            place = _place_of(truck, unit)
            if place is not None:
                lead = next(one for one in terminals if unit in on.get(one, ()))
                ends.append(End(unit, place, "tail", terminal=lead))
        else:
            where = _stated_cavity(truck, unit, terminals)
            where = where or next(
                ((plug.id, each.id) for plug in mine for each in plug.cavities if each.signal in signals), None
            )
            if where is None:
                text = (
                    f"plug.{mine[0].id}: no cavity carries {name}, which {unit} needs. "
                    f'Give a cavity `signal = "{name}"`.'
                )
                faults.append(refusal(truck, "cavity-missing", mine[0].path, text))
                continue
            if used.setdefault(where, name) != name:
                text = (
                    f"plug.{where[0]}.cavity.{where[1]}: two wires would sit here, {used[where]} and {name}. "
                    "One wire per cavity: use another cavity, or a stud or bus plug."
                )
                faults.append(refusal(truck, "cavity-twice", f"plug.{where[0]}.cavity.{where[1]}", text))
            place = by_id[where[0]].place
            shared = next((number for number, end in enumerate(ends) if (end.plug, end.cavity) == where), None)
            reached[unit] = len(ends) if shared is None else shared
            if shared is not None:
                continue  # two units behind one plug share its cavity
            if place is not None:
                ends.append(End(unit, place, "cavity", *where))
        if place is None:
            where_to = "Write `place`."
            if unit.kind == "controller":
                where_to = (
                    "Give its [[input]] a `plug` and a `cavity`; the place stands at that [[plug]]: "
                    'id = "box_plug", place = "box".'
                )
            text = f"{unit}: has no place, so no wire can reach it. {where_to}"
            faults.append(refusal(truck, "end-nowhere", mine[0].path if mine else f"{unit.kind}.{unit.id}", text))
    return ends, reached


def _place_of(truck: Truck, unit: Unit) -> str | None:
    known: dict[str, Iterable[object]] = {
        "device": truck.devices, "load": truck.loads, "relay": truck.relays, "feed": truck.feeds,
    }  # fmt: skip
    for each in known.get(unit.kind, ()):
        if getattr(each, "id", "") == unit.id:
            return getattr(each, "place", None)
    return None


def _stated_cavity(truck: Truck, unit: Unit, terminals: list[str]) -> tuple[str, str] | None:
    """The cavity that an input, a driver or `returns_to` names outright."""
    if unit.kind != "controller":
        return None
    for each in truck.inputs:
        if f"{each.id}.pin" in terminals and each.plug and each.cavity:
            return each.plug, each.cavity
    for driver in truck.drivers:
        outer = f"{driver.id}.{'a' if driver.side == 'low' else 'b'}"
        if outer in terminals and driver.plug and driver.cavity:
            return driver.plug, driver.cavity
    for line in truck.lines:
        if f"{line.id}.return" in terminals and line.returns_to and "." in line.returns_to:
            plug, _, cavity = line.returns_to.partition(".")
            if unit == _controller_of(truck, line):
                return plug, cavity
        if f"{line.id}.feed" in terminals and line.feed_cavity and unit == _controller_of(truck, line):
            plug, _, cavity = line.feed_cavity.partition(".")
            return plug, cavity
    return None
