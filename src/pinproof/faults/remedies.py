"""What removes each unsafe fault, or what finds it where nothing does: one answer for each.

Answers: does a cure that was tried remove it, does an order of cavities keep it away, or must it be kept away and found
         from outside, and below or above how many ohms is it harmless?
Units:   ohms.
Touches: nothing.
Beside:  `cures` tries changes; `advice` has the checks that need no numbers. The checks named are common practice, no
         source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from pinproof.design.model import Truck
from pinproof.faults.advice import ASSEMBLY, outside_check
from pinproof.faults.answers import united
from pinproof.faults.cures import CavityOrder, Chooser, Cure, cavity_order, cures_of, not_proposed, proposals
from pinproof.faults.results import Fault, FaultEffect, LineFaults
from pinproof.faults.words import limit_words
from pinproof.proof import prove_line

By = Literal["cure", "cavities", "line", "outside"]

SAME = {
    "stuck-closed": "It is the same circuit as pressing it; no values tell the two apart.",
    "stuck-open": "It is the same circuit as not pressing it; no values tell the two apart.",
    "wrong-throw": "It is the same circuit as pressing it when it is not pressed; no values tell the two apart.",
    "swapped": "It is the same circuit as pressing the other one; no values tell the two apart.",
}
PASSES = "On its way it passes a window that is not its own."
ALWAYS = "On its way it passes a window that is not its own; other values do not change that while these windows stand."
FIRST = "The line does so without this fault too: mend that first."
LEFT = "The cures that were tried leave it."
OUTSIDE = {
    "open": "Press each command once and see what the controller says it is.",
    "shorted": ASSEMBLY["decade-low"],
    "stuck-closed": "Beep the contact out at rest, switch unplugged.",
    "stuck-open": "Press each command once and see what the controller says it is.",
    "unplugged": "See that the plug locks, and press each command once after it was apart.",
    "worn": "Measure the pressed contact, switch unplugged",
    "resistive": "Measure the wire end to end, unplugged, while it is bent",
    "drifted": "Measure the resistor, switch unplugged",
    "chafed-to-ground": "Sleeve the wire wherever it passes metal. Measure it against chassis, both ends unplugged",
    "chafed-to-supply": "Keep the wire apart from battery feeds. Measure it against them, both ends unplugged",
    "bridged": "Keep the two wires apart and their plug sealed. Measure between them, both ends unplugged",
    **ASSEMBLY,
}


OUTSIDE_RESTS_CLOSED = {
    "stuck-closed": "Beep the contact out while operated, switch unplugged.",
    "worn": "Measure the contact at rest, switch unplugged",
}


@dataclass(frozen=True)
class Remedy:
    """The answer to one unsafe fault.

    `by`: a cure, an order of cavities, the line itself where it does so without the fault too, or only a check from
    outside. `why` says what removes it, or why nothing does;
    `check` is that check, and `limit` the ohms with which nothing reads a false command: "above 17.5 kΩ", or "".
    """

    by: By
    why: str
    check: str = ""
    limit: str = ""

    @property
    def text(self) -> str:
        """All of it as sentences."""
        check = f"{self.check}: no false command {self.limit}" if self.limit else self.check
        return " ".join(part if part.endswith(".") else f"{part}." for part in (self.why, check) if part)


@dataclass(frozen=True)
class Against:
    """A line's dictionary with all that is known against its faults.

    `tried`: some change of the design was worth trying; `not_tried` says why others were not. `remedies` has each fault
    that can give a false command, by its id. `outside_check` finds all commands that are lost unnoticed, or
    is "".
    """

    found: LineFaults
    tried: bool
    not_tried: tuple[str, ...]
    cures: tuple[Cure, ...]
    order: CavityOrder | None
    remedies: Mapping[str, Remedy]
    outside_check: str = ""


def against(truck: Truck, found: LineFaults, chooser: Chooser | None = None) -> Against:
    """Everything that helps against the faults of one line.

    Parameters
    ----------
    chooser : function or None
        Chooses a changed line's values and proves it, see `cures_of`. None: no cure is tried.
    """
    tried = chooser is not None and not found.reason and _is_unsafe(found) and any(proposals(truck, found.line))
    cures: tuple[Cure, ...] = ()
    if tried and chooser is not None:
        proof = prove_line(truck, truck.line(found.line), drift=False)
        cures = cures_of(truck, found, proof, chooser)
    order = cavity_order(found)
    unsafe = found.of("false command")
    remedies = {each.fault.id: remedy_of(truck, each, cures, order, tried=tried) for each in unsafe}
    hidden = [each for each in found.of("command lost") if each.unnoticed and each.adds]
    check = outside_check(truck.line(found.line), hidden) if hidden else ""
    return Against(found, tried, not_proposed(truck, found.line), cures, order, remedies, check)


def _is_unsafe(found: LineFaults) -> bool:
    return any(each.effect == "false command" or each.unnoticed for each in found.faults)


def remedy_of(
    truck: Truck, effect: FaultEffect, cures: Sequence[Cure], order: CavityOrder | None, *, tried: bool
) -> Remedy:
    """The answer to one fault that can give a false command."""
    fault = effect.fault
    cure = next((each for each in cures if fault.id in each.removes), None)
    if cure is not None:
        return Remedy("cure", f"Removed if you {cure.what}.")
    if fault.kind == "bridged" and order is not None and _kept_apart(order, fault.nodes):
        return Remedy("cavities", "Kept away by the order of wires in the row of cavities.")
    if not effect.adds:
        return Remedy("line", FIRST)
    if _is_same(truck, effect):
        why = SAME.get(fault.kind, SAME["stuck-open"])
    elif fault.severity and _passes(effect):
        # Both ends of the way are then given by the windows: the sound reading, and idle or a rail.
        ends_given = fault.kind in ("worn", "resistive", "drifted") or set(fault.nodes) <= {"pin", "far"}
        why = ALWAYS if ends_given else PASSES
    else:
        why = LEFT if tried else ""
    limit = limit_words(*harmless(truck, effect)) if fault.severity else ""
    return Remedy("outside", why, _outside(truck, fault), limit)


def _outside(truck: Truck, fault: Fault) -> str:
    """The check that finds a fault; a contact that opens while operated conducts at rest, and is measured so."""
    name = fault.site.removeprefix("contact.")
    if any(each.id == name and each.kind == "normally closed" for each in truck.contacts):
        return OUTSIDE_RESTS_CLOSED.get(fault.kind, OUTSIDE[fault.kind])
    return OUTSIDE[fault.kind]


def _is_same(truck: Truck, effect: FaultEffect) -> bool:
    """The faulty circuit is that of another press: so it is too where a resistor in series with its contact is open."""
    fault = effect.fault
    if fault.kind != "open" or not fault.site.startswith("contact."):
        return fault.kind in SAME
    contact = truck.contact(fault.site.removeprefix("contact.").removesuffix(".resistor"))
    return contact.kind == "normally open" and truck.line(contact.line).form != "ladder"


def _kept_apart(order: CavityOrder, nodes: Sequence[str]) -> bool:
    """Not beside each other, or with an empty cavity between them."""
    beside = [set(pair) for pair in pairwise(order.order) if pair[0] not in order.empty_after]
    return set(nodes) <= set(order.order) and set(nodes) not in beside


def _passes(effect: FaultEffect) -> bool:
    """Some false command begins and ends at severities between 0 and infinity."""
    pieces = [piece for each in effect.false if each.severities for piece in each.severities.outer]
    return any(low > 0.0 and math.isfinite(high) for low, high in pieces)


def harmless(truck: Truck, effect: FaultEffect) -> tuple[float, float]:
    """Severities around the sound part with which no situation reads a false command. [Ω]

    (nan, nan) where there are none: the sound part itself lies in a set, or what is sound is not known.
    """
    sound = _sound_ohm(truck, effect)
    sets = united(each.severities for each in effect.false if each.severities is not None)
    low, high = 0.0, math.inf
    for first, last in sets.outer:
        if first <= sound <= last:
            return math.nan, math.nan
        if last < sound:
            low = max(low, last)
        elif first > sound:
            high = min(high, first)
    return (low, high) if not math.isnan(sound) else (math.nan, math.nan)


def _sound_ohm(truck: Truck, effect: FaultEffect) -> float:
    """What the part has when nothing is wrong: no leak at all, or the nominal resistance."""
    fault = effect.fault
    if fault.kind.startswith("chafed") or fault.kind == "bridged":
        return math.inf
    if fault.kind == "worn":
        return truck.contact(fault.site.removeprefix("contact.")).closed.value
    for line in truck.lines:
        parts = [line.idle_resistor, line.end_resistor, line.top_resistor]
        parts += [each.resistor for each in truck.contacts_of(line)] + [each.resistor for each in line.elements]
        for part in parts:
            if part is not None and part.path == fault.site and part.ohm is not None:
                return part.ohm
        for wire in (line.wire, line.source_wire, *(each.wire for each in line.elements)):
            if wire is not None and wire.path == fault.site:
                return wire.value
    return math.nan
