"""When a driver that reads a line is on: at each point of the lever, with another meaning, with a fault, with a press.

Answers: where every reading lies in a permitting window at its surest, where none can be in one at its largest, where
         nobody knows; and for which ohms of which fault of the line that changes.
Units:   ohms.
Touches: nothing.
Beside:  `pinproof.faults` solves the line; `from_design` puts the states into a start circuit.

At a detent all contacts with that position are operated and no other; between two of them either neighbour's, or none.
Key states run and crank are asked together: on means on in both.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from pinproof.design.model import Line, Truck
from pinproof.design.model_harness import Driver
from pinproof.errors import NoSolution
from pinproof.faults.answers import Answer, answers, severities, united
from pinproof.faults.circuit import Change, change_of
from pinproof.faults.effects import moving_of
from pinproof.faults.questions import Questions, questions_of
from pinproof.faults.results import Severities
from pinproof.faults.sites import sites, whole_view
from pinproof.faults.words import fault_words
from pinproof.inhibit.circuit import UNPLUGGED, Code, mid_point
from pinproof.proof.judging import unproven_reason
from pinproof.proof.situations import Situation, situations_of
from pinproof.wiring import LineView, Physical, line_view

KEYS = ("run", "crank")
Operated = frozenset[str]


@dataclass(frozen=True)
class DriverStates:
    """Points at which a driver is surely on, and at which nobody knows; what else can let it be on. `reason` says why
    nothing is known of the line, or is ""."""

    closed_at: frozenset[str]
    either_at: frozenset[str]
    codes: tuple[Code, ...] = ()
    reason: str = ""


def driver_states(
    truck: Truck, driver: Driver, lever: str, positions: Sequence[str], netlist: Physical | None = None
) -> DriverStates:
    """States of a driver that permits by what its line reads."""
    assert driver.reads is not None
    line = truck.line(driver.reads)
    seen = line_view(truck, line, netlist)
    points = [*positions, *(mid_point(*pair) for pair in pairwise(positions)), UNPLUGGED]
    reason = unproven_reason(truck, line, seen)
    if not reason:
        try:
            return _Line(truck, line, driver, lever, positions, seen).states()
        except NoSolution as error:
            reason = str(error).rstrip(".")
    return DriverStates(frozenset(), frozenset(points), (), reason)


def operated_at(
    truck: Truck, line: Line | None, lever: str, positions: Sequence[str]
) -> dict[str, tuple[Operated, ...]]:
    """Sets of the lever's own contacts that can be operated at each point; of all lines without `line`."""
    mine = [each for each in truck.contacts if each.device == lever and each.positions]
    mine = [each for each in mine if line is None or each.line == line.id]
    at = {name: frozenset(each.id for each in mine if name in each.positions) for name in positions}
    out: dict[str, tuple[Operated, ...]] = {name: (found,) for name, found in at.items()}
    for one, other in pairwise(positions):
        out[mid_point(one, other)] = tuple(dict.fromkeys((at[one], at[other], frozenset[str]())))
    return out


def presses_of(truck: Truck, line: Line) -> tuple[Operated, ...]:
    """Sets of a line's command contacts that can be operated together: all but the lever's own position contacts."""
    own = {each.id for each in truck.contacts_of(line) if each.positions}
    found = dict.fromkeys(each.key - own for each in situations_of(truck, line))
    return tuple(each for each in found if each)


class _Line:
    """One line with every situation that matters to a driver, and every change of it."""

    def __init__(
        self, truck: Truck, line: Line, driver: Driver, lever: str, positions: Sequence[str], seen: LineView
    ) -> None:
        self.truck, self.line, self.driver = truck, line, driver
        self.view = whole_view(seen)
        self.presses = presses_of(truck, line)
        self.sets = operated_at(truck, line, lever, positions)
        keys = dict.fromkeys(
            own | press for sets in self.sets.values() for own in sets for press in (frozenset[str](), *self.presses)
        )
        order = [each.id for each in truck.contacts_of(line)]
        listed = [Situation(tuple(name for name in order if name in key)) for key in keys]
        asked: Questions = replace(questions_of(self.view), situations=tuple(listed))
        self.number = {each.key: n for n, each in enumerate(listed)}
        self.blocks = [k for k, block in enumerate(asked.blocks) if block.key_state in KEYS]
        self.meanings = [each.meaning for each in asked.windows]
        self.faults = sites(self.view)
        changes = [Change(), _unplugged(truck, self.view, lever), *(change_of(self.view, each) for each in self.faults)]
        self.answers = answers(asked, changes, [None, None, *(moving_of(each) for each in changes[2:])])

    def states(self) -> DriverStates:
        """On, off or nobody knows at each point, and the codes."""
        permits = self.driver.permits
        sound = self._points(self.answers[0], permits)
        closed, either = sound
        none = self.number[frozenset()]
        gone = self.answers[1]
        if not gone.beyond_anywhere(none, self.blocks, self._windows(permits)):
            closed |= {UNPLUGGED}
        elif self._can(gone, none, permits):
            either |= {UNPLUGGED}
        return DriverStates(closed, either, (*self._further(), *self._pressed(sound), *self._faulty(sound)))

    def _windows(self, permits: Iterable[str]) -> list[int]:
        wanted = set(permits)
        return [w for w, meaning in enumerate(self.meanings) if meaning in wanted]

    def _can(self, answer: Answer, s: int, permits: Iterable[str]) -> bool:
        read = answer.read()
        return any(read[s, k, w] for k in self.blocks for w in self._windows(permits))

    def _points(
        self, answer: Answer, permits: Iterable[str], press: Operated = frozenset()
    ) -> tuple[frozenset[str], frozenset[str]]:
        """Points where the driver is surely on, and where it can be on or off, whatever the severity."""
        windows = self._windows(permits)
        closed, either = set(), set()
        for point, sets in self.sets.items():
            numbers = [self.number[own | press] for own in sets]
            if not any(answer.beyond_anywhere(s, self.blocks, windows) for s in numbers):
                closed.add(point)
            elif any(self._can(answer, s, permits) for s in numbers):
                either.add(point)
        return frozenset(closed), frozenset(either)

    def _further(self) -> Iterable[Code]:
        """One further meaning of the line that lets the driver be on, each in turn."""
        for meaning in dict.fromkeys(self.meanings):
            if meaning not in self.driver.permits:
                yield Code(meaning, "wrong-code", *self._points(self.answers[0], (*self.driver.permits, meaning)))

    def _pressed(self, sound: tuple[frozenset[str], frozenset[str]]) -> Iterable[Code]:
        """Presses on the same line that let the driver be on where it is not without them."""
        for press in self.presses:
            closed, either = self._points(self.answers[0], self.driver.permits, press)
            if not closed <= sound[0] or not either <= sound[0] | sound[1]:
                names = tuple(sorted(press))
                yield Code(" + ".join(names), "press", closed, either, pressed=names)

    def _faulty(self, sound: tuple[frozenset[str], frozenset[str]]) -> Iterable[Code]:
        """Every single fault of the line: where and with how many ohms the driver is on; the same with a press."""
        for fault, answer in zip(self.faults, self.answers[2:], strict=True):
            name = fault_words(fault)
            plain = self._code(name, answer, (frozenset[str](),), sound)
            yield plain
            if self.presses:
                pressed = self._code(f"{name}, and a press", answer, self.presses, sound)
                if _adds(pressed, plain):
                    yield replace(pressed, pressed=("a button of its line",))

    def _code(
        self, name: str, answer: Answer, presses: Sequence[Operated], sound: tuple[frozenset[str], frozenset[str]]
    ) -> Code:
        states = [self._points(answer, self.driver.permits, press) for press in presses]
        closed = frozenset.intersection(*(each[0] for each in states))
        either = frozenset().union(*(each[0] | each[1] for each in states)) - closed
        gone = frozenset((UNPLUGGED,))
        if not answer.severity:
            return Code(name, "line-fault", closed | (sound[0] & gone), either | (sound[1] & gone), instead=True)
        found = {point: self._severities(answer, point, presses) for point in self.sets}
        outer = tuple((point, each.outer) for point, each in found.items() if each.outer)
        inner = tuple((point, each.inner) for point, each in found.items() if each.inner)
        # Where it is surely on without the fault, the fault may put it off: no crank.
        return Code(name, "line-fault", frozenset(), sound[0] & either, outer, inner, instead=True)

    def _severities(self, answer: Answer, point: str, presses: Sequence[Operated]) -> Severities:
        found = [
            severities(answer.read_set(s, k, w, 0), answer.read_set(s, k, w, 1))
            for s in (self.number[own | press] for own in self.sets[point] for press in presses)
            for k in self.blocks
            for w in self._windows(self.driver.permits)
        ]
        return united(found)


def _adds(pressed: Code, plain: Code) -> bool:
    """Whether a press lets the driver be on where or with ohms with which it is not without."""
    before, after = dict(plain.severities), dict(pressed.severities)
    on = plain.closed_at | plain.either_at
    return not (pressed.closed_at | pressed.either_at) <= on or any(before.get(p) != each for p, each in after.items())


def _unplugged(truck: Truck, view: LineView, lever: str) -> Change:
    """All elements of the lever open: its contacts, their resistors and whatever else sits in it."""
    plug = next((each.plug for each in truck.devices if each.id == lever), None)
    mine = {each.path for each in truck.contacts_of(view.line) if each.device == lever}
    gone = {}
    for branch in view.branches:
        at = branch.resistor.at if branch.resistor is not None else ""
        own = branch.id in mine or (branch.id.removesuffix(".resistor") in mine and at in ("", "device"))
        if own or (at and at in (lever, plug)):
            gone[branch.id] = 0.0
    return Change(held=gone)
