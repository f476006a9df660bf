"""Coded lines as branches of a start circuit: what a bridge to a command wire brings in.

Answers: which branches a truck's coded lines are, at which ends of which nets they hang, which fixed potentials they
         have, which command contacts can be operated together.
Units:   ohms, volts.
Touches: nothing.
Beside:  numbers come from `wiring.physical`, ends from `wiring.nets`: nothing is worked out twice. The wires of a line
         are the wires of its nets, as for every other net.

A series diode counts as a plain wire, a feed drop without `feed` as none: both let more through than there is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import inf

from pinproof.design.model import Contact, Line, Truck
from pinproof.inhibit.chains import CONTROLLER_GROUND
from pinproof.inhibit.circuit import BATTERY, Branch, By, Ground
from pinproof.inhibit.reads import operated_at, presses_of
from pinproof.wiring import Branch as LineBranch
from pinproof.wiring import Physical
from pinproof.wiring.elements import pin_node
from pinproof.wiring.nets import Nets, Unit, WiredElement

MOST_TOGETHER = 256
"""So many sets of command contacts over all lines are tried together; with more, each line's own."""


@dataclass(frozen=True)
class Coded:
    """Branches of all coded lines; their fixed potentials; pairs of terminals that a wire joins; for each terminal that
    hangs on a net, its name in the harness and its unit."""

    branches: tuple[Branch, ...]
    grounds: tuple[Ground, ...]
    joins: tuple[tuple[str, str], ...]
    ends: dict[str, tuple[str, Unit]]
    command_sets: tuple[frozenset[str], ...]
    assumed: tuple[str, ...]


def coded_lines(
    truck: Truck, nets: Nets, netlist: Physical, positions: tuple[str, ...], rails: dict[str, str], taken: set[str]
) -> Coded:
    """The coded lines of a truck.

    Parameters
    ----------
    positions : of the lever, in order of travel
    rails : the engine's name of each stud
    taken : ids that other branches have
    """
    return _Coded(truck, nets, netlist, positions, rails, taken).made()


class _Coded:
    def __init__(
        self, truck: Truck, nets: Nets, netlist: Physical, positions: tuple[str, ...], rails: dict[str, str],
        taken: set[str],
    ) -> None:  # fmt: skip
        assert truck.inhibit is not None
        self.truck, self.nets, self.rails = truck, nets, rails
        self.lever, self.positions = truck.inhibit.lever, positions
        self.by_id = {each.id: each for each in netlist.branches}
        self.wired = {each.id: each for each in nets.elements if each.kind in ("contact", "resistor")}
        self.contacts = {each.id: each for each in truck.contacts}
        self.names = {each.id: each.path if each.id in taken else each.id for each in truck.contacts}
        self.at = operated_at(truck, None, self.lever, positions)
        self.grounds: dict[str, Ground] = {}
        self.joins: list[tuple[str, str]] = []
        self.ends: dict[str, tuple[str, Unit]] = {}

    def made(self) -> Coded:
        branches = [self._branch(each) for each in self.by_id.values() if each.kind != "wire"]
        for line in self.truck.lines:
            branches += self._to_controller(line)
        first: dict[int, str] = {}
        for name, (terminal, _) in self.ends.items():
            number = self.nets.net_of[terminal]
            if number in first:
                self.joins.append((first[number], name))
            first.setdefault(number, name)
        diodes = [line.id for line in self.truck.lines if line.series_diode is not None]
        assumed = (f"The series diode of {', '.join(diodes)} counts as a plain wire.",) if diodes else ()
        return Coded(
            tuple(branches), tuple(self.grounds.values()), tuple(self.joins), self.ends, self._together(), assumed
        )

    def _branch(self, each: LineBranch) -> Branch:
        wired = self.wired.get(each.id)
        if wired is None:  # a pull or a leak: between a rail and what carries it
            a, b = self._rail_or_pin(each.a, each.line), self._rail_or_pin(each.b, each.line)
            kind = "leak" if each.kind == "leak" else "resistor"
            high_ohm = inf if each.kind == "leak" else self._span(each)[1]
            return Branch(each.id, kind, a, b, self._span(each)[0], high_ohm)  # type: ignore[arg-type]
        a, b = (self._end(terminal, wired, each.line) for terminal in (wired.a, wired.b))
        if each.contact is None:
            return Branch(each.id, "resistor", a, b, *self._span(each))
        contact = self.contacts[each.contact]
        by, closed, either = self._states(contact)
        return Branch(
            self.names[contact.id], "contact", a, b, each.low_ohm, each.high_ohm, each.open_low_ohm, by, closed, either,
            normally_closed=by == "command" and contact.kind == "normally closed", device=contact.device,
        )  # fmt: skip

    def _span(self, each: LineBranch) -> tuple[float, float]:
        """Ohms over the whole temperature."""
        whole = self.truck.temperature
        least, most = each.factor_at(whole.low, whole.high)
        return each.low_ohm * least, each.high_ohm * most

    def _states(self, contact: Contact) -> tuple[By, frozenset[str], frozenset[str]]:
        """What makes it conduct. The lever's own contacts: where they do, and where nobody knows."""
        if contact.device != self.lever or not contact.positions:
            return "command", frozenset(), frozenset()
        closed, either = set(), set()
        for point, sets in self.at.items():
            found = {(contact.id in each) != (contact.kind == "normally closed") for each in sets}
            if found == {True}:
                closed.add(point)
            elif len(found) == 2:
                either.add(point)
        return "lever", frozenset(closed), frozenset(either)

    def _end(self, terminal: str, wired: WiredElement, line_id: str) -> str:
        """The node at which an element hangs: its unit's own end of a net, a rail, or a node inside its unit."""
        if terminal in self.nets.net_of:
            name = f"{terminal} at {wired.unit.id}"
            if name not in self.ends:
                self.ends[name] = (terminal, wired.unit)
                self._join_rail(terminal, line_id, name)
            return name
        rail = self._rail(terminal, line_id)
        if rail is not None:
            self.joins.append((terminal, rail))
        elif terminal == f"{line_id}.source":  # its other end is drawn nowhere
            self.joins.append((terminal, self._source(line_id)))
        return terminal

    def _join_rail(self, terminal: str, line_id: str, name: str) -> None:
        """A net that leads nowhere by wire ends on the rail that the proof takes."""
        line = self.truck.line(line_id)
        rail = self._rail(terminal, line_id)
        if rail is None and terminal == f"{line_id}.source":
            fed = line.feed is not None or line.feed_cavity is not None
            drawn = fed if line.source_side == "feed" else line.returns_to is not None
            rail = None if drawn else self._source(line_id)
        if rail is not None:
            self.joins.append((name, rail))

    def _source(self, line_id: str) -> str:
        line = self.truck.line(line_id)
        rail = self._rail(f"{line_id}.{line.source_side}", line_id)
        assert rail is not None
        return rail

    def _rail(self, terminal: str, line_id: str) -> str | None:
        """The potential that a line's own rail has; None for every other terminal."""
        line = self.truck.line(line_id)
        word = terminal.removeprefix(f"{line_id}.")
        if word == terminal:
            return None
        if word == "ground":
            return CONTROLLER_GROUND
        if word == "battery":
            return BATTERY
        if word == "reference":
            return self._reference(line)
        if word == "return":
            if line.returns_to in self.rails:
                return self.rails[line.returns_to]
            return self._own_return(line)
        if word == "feed":
            if line.feed is not None:
                return line.feed
            return BATTERY if line.feed_from == "battery" else self._reference(line)
        return None

    def _reference(self, line: Line) -> str:
        owner = self.truck.input_of(line)
        name = f"reference of {owner.id}"
        if owner.reference is not None:
            self.grounds[name] = Ground(name, owner.reference.low, owner.reference.high, metal=False)
        return name

    def _own_return(self, line: Line) -> str:
        """The controller's own ground as the line's switches see it."""
        name = f"return of {line.id}"
        offset = line.return_offset
        low, high = (offset.low, offset.high) if offset is not None else (0.0, 0.0)
        self.grounds[name] = Ground(name, low, high, metal=False)
        return name

    def _rail_or_pin(self, node: str, line_id: str) -> str:
        line = self.truck.line(line_id)
        if node == pin_node(line.input):
            return self._pin(line)
        rail = self._rail(f"{line_id}.{node.partition('@')[0]}", line_id)
        return rail if rail is not None else f"{line_id}.{node.partition(':')[2].removeprefix('~')}"

    def _pin(self, line: Line) -> str:
        owner = self.truck.input_of(line)
        terminal = f"{line.input}.pin"
        if terminal not in self.nets.net_of:
            return terminal
        unit = Unit("controller", owner.controller or owner.id)
        name = f"{terminal} at {unit.id}"
        self.ends[name] = (terminal, unit)
        return name

    def _to_controller(self, line: Line) -> Iterator[Branch]:
        """The controller's end of a return that goes to one of its cavities."""
        terminal = f"{line.id}.return"
        if line.returns_to is None or line.returns_to in self.rails or terminal not in self.nets.net_of:
            return
        owner = self.truck.input_of(line)
        unit = Unit("controller", owner.controller or owner.id)
        name = f"{terminal} at {unit.id}"
        self.ends[name] = (terminal, unit)
        yield Branch(f"{line.id} return inside", "resistor", name, self._own_return(line), 0.0, 0.0)

    def _together(self) -> tuple[frozenset[str], ...]:
        """Sets of command contacts that can be operated at once: of all lines together while they are few."""
        each = [
            (frozenset[str](), *(frozenset(self.names[one] for one in press) for press in presses_of(self.truck, line)))
            for line in self.truck.lines
        ]
        total = 1
        for one in each:
            total *= len(one)
        if total <= MOST_TOGETHER:
            sets = (frozenset[str]().union(*some) for some in product(*each))
        else:
            sets = (some for one in each for some in one)
        return tuple(some for some in dict.fromkeys(sets) if some)
