"""What can be looked at: readings by their ids, the set-ups they need, the minutes they cost.

Answers: which readings a line offers, between which nodes, with which contacts operated.
Units:   minutes.
Touches: nothing.
Sources: docs/find.md; minutes are common practice, no source.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Literal

from pinproof.errors import PinproofError, printable
from pinproof.find.hypotheses import looked_at, situation_word
from pinproof.proof.situations import Situation, situations_of
from pinproof.wiring import LineView

Kind = Literal["meaning", "volts", "ohms", "chassis", "plus", "wire", "source", "without"]
SetUp = Literal["start", "powered", "probing", "unplugged"]
OHMS: tuple[Kind, ...] = ("ohms", "chassis", "plus", "wire", "source", "without")
STEP_MIN = 0.5
TO_PROBING_MIN, TO_UNPLUGGED_MIN, TO_POWERED_MIN = 4.0, 6.0, 4.0
MOST_NAMED = 8  # looks that a refusal lists
STATION_KINDS: dict[str, Kind] = {"ohms": "ohms", "chassis": "chassis", "reported": "meaning", "volts": "volts"}
STATION_WIRES: dict[str, Kind] = {"wire": "wire", "source_wire": "source"}
"""How stations of a bench sheet are named, and the looks that they are."""
EXTRA_MIN = {"wire": 4.0, "source": 4.0, "without": 2.0}


@dataclass
class LookFault(PinproofError, ValueError):
    """A reading that this line does not offer, or that cannot be read."""

    read: str
    right: str
    hint: str = ""

    def __str__(self) -> str:
        return printable(f'"{self.read}": {self.right}. {self.hint}'.strip())


@dataclass(frozen=True)
class Look:
    """One thing to look at."""

    id: str
    kind: Kind
    situation: Situation
    station: str = ""

    @property
    def is_ohms(self) -> bool:
        """An ohmmeter reads it."""
        return self.kind in OHMS

    @property
    def set_up(self) -> SetUp:
        """What the truck must be like."""
        return "powered" if self.kind == "meaning" else "probing" if self.kind == "volts" else "unplugged"

    def minutes(self, now: SetUp) -> float:
        """What it costs, coming from a set-up. [min]"""
        return STEP_MIN + EXTRA_MIN.get(self.kind, 0.0) + change_min(now, self.set_up)

    def weighed_min(self, now: SetUp) -> float:
        """The same with half of a change of set-up: looks after this one use it too. [min]"""
        return self.minutes(now) - 0.5 * change_min(now, self.set_up)


def change_min(now: SetUp, then: SetUp) -> float:
    """Minutes from one set-up to another. Probing is also good for looking at what the controller reports. [min]"""
    if then == now or (then == "powered" and now in ("start", "probing")):
        return 0.0
    if then == "unplugged":
        return TO_UNPLUGGED_MIN
    if then == "probing":
        return TO_PROBING_MIN
    return TO_POWERED_MIN


def set_up_after(now: SetUp, look: Look) -> SetUp:
    """The set-up one is left in."""
    return "probing" if now == "probing" and look.set_up == "powered" else look.set_up


def looks(view: LineView) -> tuple[Look, ...]:
    """Everything that can be looked at on the view's line."""
    line, truck = view.line, view.truck
    idle = Situation(())
    situations = looked_at(truck, line)
    found: list[Look] = []
    if line.windows or line.targets:
        found += [Look(f"meaning {situation_word(each)}", "meaning", each) for each in situations]
    found += [Look(f"volts {situation_word(each)}", "volts", each) for each in situations]
    if line.series_diode is not None:
        return tuple(found)
    found += [Look(f"ohms {situation_word(each)}", "ohms", each) for each in situations]
    if line.source_side == "feed":  # else the source terminal is chassis
        found += [Look(f"chassis {situation_word(each)}", "chassis", each) for each in situations]
    found += [Look(f"plus {situation_word(each)}", "plus", each) for each in situations]
    if line.wire is not None:
        found.append(Look("wire", "wire", idle))
    if line.source_wire is not None:
        found.append(Look("source", "source", idle))
    stations = dict.fromkeys(each.station for each in truck.contacts_of(line) if each.station)
    found += [Look(f"without {each}", "without", idle, each) for each in stations]
    return tuple(found)


def source_node(view: LineView) -> str:
    """Rail behind the source terminal of the line."""
    return f"{view.line.source_side}@{view.line.id}"


def id_of_station(kind: str, name: str) -> str:
    """The id of the look that a station of a bench sheet is, "" where it is none."""
    if kind == "wire":
        return STATION_WIRES.get(name, "")
    return f"{STATION_KINDS[kind]} {name}" if kind in STATION_KINDS else ""


def look_by_id(view: LineView, text: str) -> Look:
    """A look by its id; contacts may be given in any order. A station of the bench sheet is as good.

    Every situation of the line that can happen may be read, also one that no step asks for: its ohms are as telling.

    Raises
    ------
    LookFault
        No such look on this line, with the nearest and those there are.
    """
    given, text = text, text.strip()
    if text.count("/") == 2:
        line_id, kind, name = text.split("/")
        if line_id != view.line.id and line_id in [each.id for each in view.truck.lines]:
            raise LookFault(given, f"that is line {line_id}, not {view.line.id}", f"Write --line {line_id}.")
        text = id_of_station(kind, name) if line_id == view.line.id else ""
    return _named(view, given, text)


def _named(view: LineView, given: str, text: str) -> Look:
    """The look of an id; `given` is what was typed, for the refusal."""
    word, _, rest = text.partition(" ")
    wanted = frozenset(part.strip() for part in rest.split("+")) - {"", "idle"}
    for each in looks(view):
        same = each.station == rest.strip() if each.kind == "without" else each.situation.key == wanted
        if each.kind == word and same:
            return each
    offered = looks(view)
    kinds = ", ".join(dict.fromkeys(each.kind for each in offered))
    kind = next((each.kind for each in offered if each.kind == word), None)
    if kind is None:
        raise LookFault(given, f"not a reading of line {view.line.id}", f"Right would be one of: {kinds}.")
    if kind in ("wire", "source", "without"):
        there = [each.id for each in offered if each.kind == kind]
    else:
        possible = situations_of(view.truck, view.line)
        for situation in possible:
            if situation.key == wanted:
                return Look(f"{kind} {situation_word(situation)}", kind, situation)
        there = [f"{kind} {situation_word(each)}" for each in possible]
    near = difflib.get_close_matches(text, there, 1, 0.5)
    more = ", …" if len(there) > MOST_NAMED else ""
    hint = f"Right would be one of: {', '.join(there[:MOST_NAMED])}{more}."
    if near:
        hint = f'Nearest is "{near[0]}". {hint}'
    raise LookFault(given, f"not a reading of line {view.line.id}", hint)
