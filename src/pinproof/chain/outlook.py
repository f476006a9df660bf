"""What can be said of a line before its pull is known, and how it would do fed another way.

Answers: for which usual pulls a line would hold (computed and worded by `pinproof.proof.outlook`, so that every face
         says the same); the same truck with its taps fed through the enable contact.
Touches: nothing.
"""

from __future__ import annotations

import dataclasses

from pinproof.design.model import Line, Resistor, Target, Truck, Window
from pinproof.proof.outlook import JUDGES_WORDS, Judges, Outlook, Tried, outlooks, pull_is_unknown, what_goes_wrong

__all__ = [
    "JUDGES_WORDS",
    "Judges",
    "Outlook",
    "Tried",
    "fed_through_enable",
    "in_ohms",
    "outlooks",
    "own_pull",
    "pull_is_unknown",
    "what_goes_wrong",
]


def own_pull(truck: Truck, line: Line) -> Resistor | None:
    """The pull that this line's circuit works against; None if it is unknown, or there is none."""
    owner = truck.input_of(line)
    own = owner.pull_up if line.source_side == "return" else owner.pull_down
    return own if isinstance(own, Resistor) else None


def in_ohms(line: Line) -> tuple[Window | Target, ...]:
    """What the line's pin wants where that is stated in ohms for some pull."""
    entries: tuple[Window | Target, ...] = (*line.windows, *line.targets)
    return tuple(each for each in entries if each.kind == "ohm" and not each.by_substitution)


def fed_through_enable(truck: Truck, line: Line) -> Truck | None:
    """The same truck with the taps of this line fed through their enable contact; None where they are, or have none."""
    if line.enable is None or line.taps_fed != "directly" or line.form == "elements":
        return None
    changed = dataclasses.replace(line, taps_fed="through enable")
    return dataclasses.replace(truck, lines=tuple(changed if each.id == line.id else each for each in truck.lines))
