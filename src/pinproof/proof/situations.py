"""Which sets of operated contacts can happen on a line, and what each may read.

Answers: every situation of a line, the rule that says what it may read.
Touches: nothing.
Sources: the rules stand in docs/design-file.md under "Situations".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pinproof.design.model import Contact, Line, Truck
from pinproof.errors import NoSolution

MOST_SITUATIONS = 1 << 14
INVALID = "invalid"


@dataclass(frozen=True)
class Situation:
    """One set of operated contacts that can physically happen, in file order."""

    operated: tuple[str, ...]

    @property
    def key(self) -> frozenset[str]:
        """The operated contacts as a set."""
        return frozenset(self.operated)


@dataclass(frozen=True)
class Requirement:
    """What a situation may read.

    `how` is "inside": the reading must lie in one window of the meanings `of`; or "clear": it must lie in no window of
    the meanings `of`. `allowed` says the same for a reader, `invalid` included. `rule` counts as in the docs; `means`
    is the one meaning wanted, or "".
    """

    how: Literal["inside", "clear"]
    of: tuple[str, ...]
    allowed: tuple[str, ...]
    means: str
    rule: int


def situations_of(truck: Truck, line: Line) -> tuple[Situation, ...]:
    """Every situation of a line, the fewest operated contacts first.

    Raises
    ------
    NoSolution
        If there are more than MOST_SITUATIONS.
    """
    contacts = truck.contacts_of(line)
    groups = truck.exclusive_groups(line)
    order = {contact.id: rank for rank, contact in enumerate(contacts)}
    needs = {contact.id: frozenset(contact.only_when) for contact in contacts}
    sets: list[frozenset[str]] = [frozenset()]
    for contact in contacts:
        grown = [each | {contact.id} for each in sets]
        sets += [each for each in grown if not any(len(group & each) > 1 for group in groups)]
        if len(sets) > 8 * MOST_SITUATIONS:
            break
    possible = [each for each in sets if all(needs[name] <= each for name in each)]
    if len(possible) > MOST_SITUATIONS:
        raise NoSolution(
            f"Line {line.id} has more than {MOST_SITUATIONS} situations, more than are enumerated.",
            cure="State which contacts cannot be operated together (`exclusive`, `only_when`).",
        )
    named = [Situation(tuple(sorted(each, key=order.__getitem__))) for each in possible]
    return tuple(sorted(named, key=lambda each: (len(each.operated), [order[name] for name in each.operated])))


def requirement(truck: Truck, line: Line, situation: Situation, key_state: str) -> Requirement:
    """What this situation may read in this key state, by the five rules."""
    contacts = {contact.id: contact for contact in truck.contacts_of(line)}
    operated = situation.key
    for stated in line.situations:
        if stated.key == operated:
            return _stated(line, commands_of(truck, line), stated.allowed)
    means, rule = _wanted(line, contacts, operated)
    commands = commands_of(truck, line)
    if means is not None:
        if key_state == "crank":
            forbidden = tuple(each for each in commands if each != means)
            allowed = tuple(dict.fromkeys((means, line.idle, INVALID)))
            return Requirement("clear", forbidden, allowed, means, rule)
        return Requirement("inside", (means,), (means,), means, rule)
    own = tuple(dict.fromkeys(contacts[name].asks for name in situation.operated))
    forbidden = tuple(each for each in commands if each not in own)
    return Requirement("clear", forbidden, tuple(dict.fromkeys((line.idle, INVALID, *own))), "", 5)


def commands_of(truck: Truck, line: Line) -> tuple[str, ...]:
    """Meanings that are commands; for a controller that is yet to be taught, all that its contacts ask for."""
    if not line.free:
        return line.commands
    asked = dict.fromkeys(contact.asks for contact in truck.contacts_of(line))
    return tuple(each for each in asked if each != line.idle)


def _wanted(line: Line, contacts: dict[str, Contact], operated: frozenset[str]) -> tuple[str | None, int]:
    if not operated:
        return line.idle, 2
    for contact in contacts.values():
        if contact.action == "momentary" and contact.command_set == operated:
            return contact.asks, 3
    if len(operated) == 1:
        only = contacts[next(iter(operated))]
        if only.action == "maintained" and only.command_set == operated:
            return only.asks, 4
    return None, 5


def _stated(line: Line, commands: tuple[str, ...], allowed: tuple[str, ...]) -> Requirement:
    means = allowed[0] if len(allowed) == 1 and allowed[0] != INVALID else ""
    if INVALID not in allowed:
        return Requirement("inside", allowed, allowed, means, 1)
    forbidden = tuple(each for each in (line.idle, *commands) if each not in allowed)
    return Requirement("clear", forbidden, allowed, means, 1)
