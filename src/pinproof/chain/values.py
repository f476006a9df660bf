"""Resistors that give the ohms of a list, found through the circuit itself.

Answers: which value of a series stands at each switch so that the wire shows the listed ohms in each state.
Units:   ohms.
Touches: nothing.
Beside:  `pinproof.choose` finds what is best in the worst case, once the pull and the windows are known. Before that a
         list is all there is, and the values that give its ohms are the best guess. A list says what the wire shows in
         a state, everything in parallel included: 1.27 kΩ beside 8.25 kΩ takes a resistor of 1.50 kΩ. No formula for
         parallel resistors stands here; every candidate is put into the netlist and the netlist is asked.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pinproof.chain.outlook import pull_is_unknown
from pinproof.choose import Budget, Choice, Drawer, choose
from pinproof.choose.collide import NO_WINDOW
from pinproof.design.model import Contact, Line, Resistor, Truck
from pinproof.errors import PinproofError
from pinproof.network import resistance_between
from pinproof.quantities.preferred import values_between
from pinproof.wiring import LineView, line_view

LEAST_OHM, MOST_OHM = 10.0, 1e6
CLOSE_ENOUGH = 0.05
"""A state further from its listed ohms than this cannot be given by this series beside what stands there already."""


@dataclass(frozen=True)
class Fitted:
    """One resistor found: with it the state shows `shows_ohm`, where the list has `wanted_ohm`."""

    contact: str  # "" is the idle resistor at the far end
    meaning: str
    ohm: float
    shows_ohm: float
    wanted_ohm: float
    beside: tuple[str, ...]  # contacts that are operated too in that state

    @property
    def name(self) -> str:
        """Where it sits, in words."""
        return self.contact or "idle resistor"

    @property
    def off(self) -> float:
        """How far the state is from the list, as a ratio; signed."""
        return self.shows_ohm / self.wanted_ohm - 1.0

    @property
    def fits(self) -> bool:
        """True if that is close enough to be what the list means."""
        return abs(self.off) <= CLOSE_ENOUGH


def fit_to_list(truck: Truck, line: Line, series: str = "E96", ohms: Sequence[float] = ()) -> tuple[Fitted, ...]:
    """Values for the contacts of a line whose resistors are still to be chosen and whose list is in ohms.

    Parameters
    ----------
    series : str
        Preferred numbers to take values from.
    ohms : sequence of float, optional
        Values at hand, instead of a series.

    Returns
    -------
    tuple of Fitted
        The idle resistor first, then contacts that stand alone, then those that are pressed beside others. Empty where
        the list is not in ohms.
    """
    wanted = _wanted_ohm(line)
    candidates = np.array(sorted(set(ohms)) or values_between(series, LEAST_OHM, MOST_OHM))
    todo = [
        contact
        for contact in truck.contacts_of(line)
        if contact.resistor is not None and contact.resistor.ohm is None and contact.asks in wanted
    ]
    if line.form != "ladder":
        todo.sort(key=lambda each: len(each.command_set))
    out: list[Fitted] = []
    idle = line.idle_resistor
    if idle is not None and idle.ohm is None and line.idle in wanted:
        found = _fit(line_view(truck, line.id), None, candidates, wanted[line.idle])
        known = dataclasses.replace(line, idle_resistor=dataclasses.replace(idle, ohm=found.ohm))
        truck = dataclasses.replace(truck, lines=tuple(known if each.id == line.id else each for each in truck.lines))
        out.append(found)
    for contact in todo:
        found = _fit(line_view(truck, line.id), contact, candidates, wanted[contact.asks])
        truck = _with(truck, contact, found.ohm)
        out.append(found)
    return tuple(out)


def choose_can_run(truck: Truck, line: Line) -> bool:
    """True if choosing has something to judge by: a known pull, and windows or targets."""
    return not pull_is_unknown(truck.input_of(line)) and bool(line.windows or line.targets)


@dataclass(frozen=True)
class Tried:
    """What choosing gave for a line: the choice, which may not hold, or why there is none."""

    choice: Choice | None = None
    why_not: str = ""

    @property
    def holding(self) -> Choice | None:
        """The choice if the line holds with it."""
        return self.choice if self.choice is not None and self.choice.feasible else None

    @property
    def text(self) -> str:
        """Why nothing can be recommended, with the two meanings that collide; "" where values hold."""
        if self.holding is not None or (self.choice is None and not self.why_not):
            return ""
        if self.choice is None:
            return f"No values could be chosen: {self.why_not}"
        origin = "your drawer" if self.choice.source == "drawer" else self.choice.source
        head = f"No values of {origin} hold in the worst case."
        found = self.choice.collision
        if found is None:
            return head
        first, second = found.meanings
        if second == NO_WINDOW:
            return f"{head} {first} cannot be reached. {found.text}"
        return f"{head} {first} and {second} collide. {found.text}"


def chosen(truck: Truck, line: Line, source: str | Drawer | None, boxes: int = 200_000) -> Tried:
    """What `pinproof.choose` takes for a line, within a budget of boxes; without a word where it cannot run."""
    if not choose_can_run(truck, line):
        return Tried()
    try:
        budget = Budget(nodes=boxes)
        found = choose(truck, line.id, source=source, budget=budget, runners_up=0, try_changes=False, rooms=False)
    except PinproofError as fault:
        return Tried(None, str(fault))
    return Tried(found)


def _wanted_ohm(line: Line) -> dict[str, float]:
    found = {each.meaning: each.reading for each in line.targets if each.kind == "ohm" and each.reading > 0.0}
    for window in line.windows:
        if window.kind == "ohm" and window.low and window.high:
            found[window.meaning] = math.sqrt(window.low * window.high)
    return found


def _fit(view: LineView, contact: Contact | None, candidates: np.ndarray, wanted_ohm: float) -> Fitted:
    """The candidate that gives the wanted ohms with this contact operated; None: idle resistor, nothing operated."""
    pressed = contact.command_set if contact is not None else frozenset[str]()
    path = f"{contact.path}.resistor" if contact is not None else f"{view.line.path}.idle_resistor"
    rows = np.repeat(view.nominal_s([pressed]), len(candidates), axis=0)
    for column, branch in enumerate(view.branches):
        if branch.kind == "pull":
            rows[:, column] = 0.0  # the list is read with the controller unplugged
        elif branch.id == path:
            rows[:, column] = 1.0 / candidates
    rows[np.isnan(rows)] = 0.0  # another resistor still to be chosen: not in this state, its contact is open
    source = f"{view.line.source_side}@{view.line.id}"
    shows = resistance_between(view.net, rows, view.pin, source, killed="shorted")
    with np.errstate(divide="ignore", invalid="ignore"):
        best = int(np.argmin(np.where(np.isfinite(shows), np.abs(np.log(shows / wanted_ohm)), np.inf)))
    ident, meaning = (contact.id, contact.asks) if contact is not None else ("", view.line.idle)
    beside = tuple(sorted(pressed - {ident}))
    return Fitted(ident, meaning, float(candidates[best]), float(shows[best]), wanted_ohm, beside)


def _with(truck: Truck, contact: Contact, ohm: float) -> Truck:
    assert isinstance(contact.resistor, Resistor)
    changed = dataclasses.replace(contact, resistor=dataclasses.replace(contact.resistor, ohm=ohm))
    return dataclasses.replace(
        truck, contacts=tuple(changed if each.id == contact.id else each for each in truck.contacts)
    )
