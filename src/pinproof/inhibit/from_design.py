"""A truck's design file made into its start circuit.

Answers: the parts in chains, feeds, studs and supplies of docs/inhibit.md, with every wire's ohms from the laid-out
         harness, what shares a run, plug, joint or unit with it, and when each driver that permits is on.
Units:   ohms, volts.
Touches: nothing.
Beside:  `coded` adds the coded lines, `reads` the drivers. Chains and nets are those of the harness; a test compares.
Errors:  `DesignFault` with the line of the entry, also for what `chains` cannot judge.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from math import inf

from pinproof.design.messages import DesignFault
from pinproof.design.model import Truck, Value
from pinproof.design.model_harness import Feed, Load, Relay, Switch
from pinproof.harness import lay_out
from pinproof.harness.current import LOAD_TOLERANCE
from pinproof.harness.middle import nets_in_joints, nets_in_runs, to_middle
from pinproof.harness.results import Harness
from pinproof.inhibit import chains
from pinproof.inhibit.circuit import BATTERY, CHASSIS, By, Ground, InhibitFault, Supply, travel
from pinproof.inhibit.coded import Coded, coded_lines
from pinproof.inhibit.defeats import Progress
from pinproof.inhibit.prove import prove
from pinproof.inhibit.reads import driver_states
from pinproof.inhibit.results import InhibitReport
from pinproof.wiring import Physical, physical
from pinproof.wiring.nets import Nets, nets_of, refusal, refused

KEYS = ("run", "crank")
RESERVED = (BATTERY, CHASSIS, chains.CONTROLLER_GROUND)


def prove_truck(truck: Truck, forms: tuple[str, ...] = (), progress: Progress | None = None) -> InhibitReport:
    """The report of a truck's start inhibit; `forms`: also these, side by side; `progress` is told of each fault."""
    start = start_circuit(truck)
    try:
        return prove(start, forms, progress)
    except InhibitFault as fault:
        raise _as_design_fault(truck, fault) from fault


def start_circuit(truck: Truck) -> chains.StartCircuit:
    """The start circuit that a truck states.

    Raises
    ------
    DesignFault
        Without an [inhibit], or where nets or circuit cannot be as the file says.
    """
    if truck.inhibit is None:
        text = "The file has no [inhibit]. `pinproof inhibit FILE --begin` drafts one from what the file says."
        refused(truck, [refusal(truck, "inhibit-missing", "inhibit", text)])
    made = _Truck(truck).start()
    try:
        chains.built(made)
    except InhibitFault as fault:
        raise _as_design_fault(truck, fault) from fault
    return made


def _as_design_fault(truck: Truck, fault: InhibitFault) -> DesignFault:
    """What the circuit shows to be wrong, at the entry that it is about."""
    named = (*truck.switches, *truck.relays, *truck.drivers, *truck.loads, *truck.feeds)
    paths = {each.id: each.path for each in named}
    paths |= {f"{relay.id}.{one.id}": one.path for relay in truck.relays for one in relay.contacts}
    path = paths.get(fault.where, fault.where)
    found = refusal(truck, fault.code, path, f"{fault.where}: {fault.text}" if path != fault.where else fault.text)
    return DesignFault(found.file, (found,))


class _Truck:
    def __init__(self, truck: Truck) -> None:
        assert truck.inhibit is not None
        self.truck, self.inhibit = truck, truck.inhibit
        self.nets: Nets = nets_of(truck)
        self.netlist: Physical = physical(truck)
        self.assumed: list[str] = []
        self.harness = self._laid_out()
        self.positions = truck.device(self.inhibit.lever).positions
        self.known = {each.id: _safe(each.id, "feed") for each in truck.feeds}
        self.rails = {one.id: BATTERY if one.rail == "battery" else _safe(one.id, "stud") for one in truck.studs}

    def _laid_out(self) -> Harness | None:
        if self.truck.harness is None:
            self.assumed.append("No [harness]: what lies together in a run is not known, so not every bridge is seen.")
            return None
        try:
            return lay_out(self.truck)
        except DesignFault as fault:
            self.assumed.append(
                f"The harness cannot be laid out ({fault.faults[0].message}) What lies together in a run is not known, "
                "so not every bridge is seen."
            )
            return None

    def start(self) -> chains.StartCircuit:
        truck, inhibit = self.truck, self.inhibit
        parts = (*self._switches(), *self._contacts(), *self._drivers())
        consumers = (*(self._load(each) for each in truck.loads), *(self._relay(each) for each in truck.relays))
        coils = {relay.id: relay for relay in truck.relays}
        contacts = coils[inhibit.coil].contacts
        turns = inhibit.turns or (f"{inhibit.coil}.{contacts[0].id}" if contacts else "")
        taken = {each.id for each in parts} | {each.id for each in consumers}
        coded = coded_lines(truck, self.nets, self.netlist, self.positions, self._ground_rails(), taken)
        names = self._engine_names(coded)
        states = truck.supply.states
        studs = [each for each in truck.studs if each.rail == "ground"]
        return chains.StartCircuit(
            inhibit.coil, inhibit.lever, self.positions, frozenset(inhibit.permitted), inhibit.start,
            tuple(Supply(key, states[key].low, states[key].high) for key in KEYS if key in states),
            (*(Ground(self.rails[each.id], *_ends(each.offset)) for each in studs), *coded.grounds),
            tuple(map(self._feed, truck.feeds)), consumers, parts, turns, inhibit.form,
            self._wire_ohm(names), coded.branches, (), self._joins(names, coded), self._shared_ends(names),
            {name: self.nets.nets[self.nets.net_of[one]].name for name, (one, _) in coded.ends.items()},
            tuple(self._meets(names)), tuple(self._cavities(names)), tuple(self._joints(names)), coded.command_sets,
            (*self.assumed, *coded.assumed),
        )  # fmt: skip

    # parts and consumers

    def _switches(self) -> Iterator[chains.Part]:
        for each in self.truck.switches:
            by, closed, either = self._by(each)
            yield chains.Part(
                each.id, "switch", by, each.closed.low, each.closed.high, _open(each.open), closed, either,
                normally_closed=by == "start" and each.kind == "normally closed", device=each.device,
            )  # fmt: skip

    def _by(self, each: Switch) -> tuple[By, frozenset[str], frozenset[str]]:
        if each.id in self.inhibit.start:
            return "start", frozenset(), frozenset()
        if each.device == self.inhibit.lever and each.positions:
            return "lever", *travel(self.positions, each.positions, each.mid)
        return "hand", frozenset(), frozenset()

    def _contacts(self) -> Iterator[chains.Part]:
        for relay in self.truck.relays:
            for each in relay.contacts:
                yield chains.Part(
                    f"{relay.id}.{each.id}", "relay contact", "relay", each.closed.low, each.closed.high,
                    _open(each.open), relay=relay.id, normally_closed=each.kind == "normally closed",
                )  # fmt: skip

    def _drivers(self) -> Iterator[chains.Part]:
        for each in self.truck.drivers:
            ohms = (each.on.low, each.on.high, _open(each.off))
            if not each.permits:
                yield chains.Part(each.id, "driver", "any", *ohms, side=each.side)
                continue
            found = driver_states(self.truck, each, self.inhibit.lever, self.positions, self.netlist)
            if found.reason:
                self.assumed.append(f"{each.id} is on or off at will: {found.reason}.")
            yield chains.Part(
                each.id, "driver", "lever", *ohms, found.closed_at, found.either_at, side=each.side, codes=found.codes
            )

    def _load(self, each: Load) -> chains.Consumer:
        low, high = self._load_ohm(each)
        return chains.Consumer(
            each.id, self.known[each.feed], self.rails[each.ground], low, high, each.high_side, each.low_side
        )

    def _load_ohm(self, each: Load) -> tuple[float, float]:
        """Least and greatest ohms: cold as it is switched on, and with its tolerance. [Ω]"""
        spread = LOAD_TOLERANCE if each.tolerance is None else each.tolerance.value
        volts = each.volts.value
        if each.behaves == "current":
            assert each.amps is not None
            least_v = min(self.truck.supply.states[key].low for key in KEYS if key in self.truck.supply.states)
            return least_v / (each.amps.high * each.inrush), inf
        if each.watts is not None:
            low, high = volts**2 / each.watts.high, volts**2 / max(each.watts.low, 1e-300)
        else:
            assert each.amps is not None
            low, high = volts / each.amps.high, volts / max(each.amps.low, 1e-300)
        return low * (1.0 - spread) / each.inrush, high * (1.0 + spread)

    def _relay(self, each: Relay) -> chains.Consumer:
        return chains.Consumer(
            each.id, self.known[each.feed], self.rails[each.ground], each.coil.low, each.coil.high, each.high_side,
            each.low_side, (each.pull_in.low, each.pull_in.high), (each.drop_out.low, each.drop_out.high),
        )  # fmt: skip

    def _feed(self, each: Feed) -> chains.Feed:
        source = self.known.get(each.from_) or self.rails.get(each.from_) or self._bus(each.from_)
        through = tuple((name,) for name in each.through)
        rating = each.fuse_a if each.fuse_a else None
        return chains.Feed(self.known[each.id], frozenset(each.live), source, through, fuse_a=rating)

    def _bus(self, plug: str) -> str:
        """Some terminal of the net of a bus plug."""
        number = self.nets.net_of.get(f"bus {plug}")
        terminals = self.nets.nets[number].terminals if number is not None else ()
        for one in terminals:
            if not one.startswith("bus "):
                return self.rails.get(one) or self.known.get(one, one)
        return f"bus {plug}"

    def _ground_rails(self) -> dict[str, str]:
        return {each.id: self.rails[each.id] for each in self.truck.studs if each.rail == "ground"}

    # what the harness says of each terminal

    def _engine_names(self, coded: Coded) -> dict[str, tuple[int, int]]:
        """Net and end of every terminal of the engine that hangs on a net."""
        found: dict[str, tuple[int, int]] = {}
        lines = tuple(f"{one.id}" for one in self.truck.lines)
        own = {terminal for terminal, _ in coded.ends.values()}
        for number, net in enumerate(self.nets.nets):
            for terminal in net.terminals:
                if terminal in own or terminal.startswith("bus ") or terminal.partition(".")[0] in lines:
                    continue
                for unit in self.nets.units_of.get(terminal, ())[:1]:
                    if unit in net.reached:
                        name = self.rails.get(terminal) or self._feed_name(terminal)
                        found[name] = (number, net.reached[unit])
        for name, (terminal, unit) in coded.ends.items():
            number = self.nets.net_of[terminal]
            if unit in self.nets.nets[number].reached:
                found[name] = (number, self.nets.nets[number].reached[unit])
        return found

    def _feed_name(self, terminal: str) -> str:
        head, dot, tail = terminal.partition(".")
        return f"{self.known.get(head, head)}{dot}{tail}" if tail in ("", "in") else terminal

    def _wire_ohm(self, names: dict[str, tuple[int, int]]) -> dict[str, float]:
        if self.harness is None:
            return {}
        ways = {(row.net, row.end): row.ohm for row in to_middle(self.truck, self.harness)}
        out = {}
        for name, (number, end) in names.items():
            ohm = ways.get((self.nets.nets[number].name, end))
            if ohm is not None:
                out[name] = ohm
        return out

    def _joins(self, names: dict[str, tuple[int, int]], coded: Coded) -> tuple[tuple[str, str], ...]:
        """All terminals of one net: of buses and coded lines the chains do not know."""
        first: dict[int, str] = {}
        out = []
        chain = {name for name in names if name not in coded.ends}
        needed = {self.nets.net_of[terminal] for terminal, _ in coded.ends.values()}
        needed |= {number for one, number in self.nets.net_of.items() if one.startswith("bus ")}
        for name, (number, _) in names.items():
            if number not in needed:
                continue
            if number in first and (name in chain or first[number] in chain):
                out.append((first[number], name))
            first.setdefault(number, name)
        return (*out, *coded.joins)

    def _shared_ends(self, names: dict[str, tuple[int, int]]) -> dict[str, str]:
        return {name: f"{number} {end}" for name, (number, end) in names.items()}

    def _meets(self, names: dict[str, tuple[int, int]]) -> Iterator[tuple[str, str, str]]:
        """Pairs of nets that lie together somewhere, with all such places."""
        some = {number: name for name, (number, _) in reversed(names.items())}
        named = {net.name: number for number, net in enumerate(self.nets.nets)}
        groups: dict[str, list[int]] = {}
        for number, net in enumerate(self.nets.nets):
            for unit in net.reached:
                if unit.kind in ("device", "relay"):
                    groups.setdefault(f"{unit.kind} {unit.id}", []).append(number)
            for end in net.ends:
                if end.kind == "cavity":
                    groups.setdefault(f"plug {end.plug}", []).append(number)
        if self.harness is not None:
            for word, found in (("run", nets_in_runs(self.harness)), ("joint", nets_in_joints(self.harness))):
                for place, listed in found.items():
                    groups.setdefault(f"{word} {place}", []).extend(named[one] for one in listed)
        places: dict[tuple[int, int], dict[str, None]] = {}
        for place, numbers in groups.items():
            for one, other in combinations(sorted(set(numbers)), 2):
                places.setdefault((one, other), {})[place] = None
        for (one, other), where in places.items():
            if one in some and other in some:
                yield some[one], some[other], ", ".join(where)

    def _cavities(self, names: dict[str, tuple[int, int]]) -> Iterator[tuple[str, str, str]]:
        """Pairs of wires in one plug."""
        at = {place: name for name, place in reversed(names.items())}
        plugs: dict[str, list[str]] = {}
        for number, net in enumerate(self.nets.nets):
            for end_number, end in enumerate(net.ends):
                if end.kind == "cavity" and (number, end_number) in at:
                    plugs.setdefault(end.plug, []).append(at[number, end_number])
        for plug, listed in plugs.items():
            for one, other in combinations(listed, 2):
                yield one, other, plug

    def _joints(self, names: dict[str, tuple[int, int]]) -> Iterator[tuple[str, tuple[str, ...]]]:
        """What each pair joint parts from the middle of its net."""
        if self.harness is None:
            return
        parted: dict[str, list[str]] = {joint.id: [] for joint in self.truck.joints if joint.pairs}
        at: dict[tuple[str, int], list[str]] = {}
        for name, (number, end) in names.items():
            at.setdefault((self.nets.nets[number].name, end), []).append(name)
        for row in to_middle(self.truck, self.harness):
            for joint in row.joints:
                parted[joint] += at.get((row.net, row.end), [])
        yield from ((joint, tuple(ends)) for joint, ends in parted.items() if ends)


def _safe(name: str, kind: str) -> str:
    """An id that is not one of the engine's own words."""
    return f"{name} {kind}" if name in RESERVED else name


def _ends(value: Value | None) -> tuple[float, float]:
    return (0.0, 0.0) if value is None else (value.low, value.high)


def _open(value: Value | None) -> float:
    return inf if value is None else value.low
