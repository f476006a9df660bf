"""The card's first words: what to unplug to keep racing, and what one then has.

Answers: which plug to pull when the shifter misbehaves and nobody has time to look.
Touches: nothing.
Beside:  `pinproof.faults.keep` proves it on the netlist.
"""

from __future__ import annotations

from pinproof.design.model import Truck
from pinproof.drawings import words
from pinproof.errors import NoSolution
from pinproof.faults import Kept, keep_racing
from pinproof.pack.markup import Html, el, join
from pinproof.proof.judging import unproven_reason
from pinproof.wiring import LineView

NOT_PROVEN = "Nothing was proven for {line}: {reason}. Do not count on it."
TOO_MANY = "it has more situations than are looked at"
NOTHING_TO_PULL = (
    "Of {line} the file names no coded wire and no station to unplug: what is then left was not worked out."
)
CODED_WIRE = "the coded wire (pull it out of the controller's plug, or unplug the switches)"


def keep_lines(truck: Truck, view: LineView) -> list[Html]:
    """One item for each thing that can be unplugged, the one that leaves most first."""
    line = view.line
    try:
        found = keep_racing(truck, line)
    except NoSolution:
        return [el("li", NOT_PROVEN.format(line=line.id, reason=TOO_MANY))]
    if not found:
        reason = unproven_reason(truck, line, view)
        return [
            el("li", NOT_PROVEN.format(line=line.id, reason=reason) if reason else NOTHING_TO_PULL.format(line=line.id))
        ]
    return [el("li", *_item(view, each)) for each in found]


def _item(view: LineView, each: Kept) -> list[Html | str]:
    what = f"station {each.station}" if each.station else CODED_WIRE
    idle = words.either([x if x != words.INVALID else "no command" for x in each.idle_reads])
    if each.left:
        told = words.all_of([f"{meaning} ({words.operated(operated)})" for operated, meaning in each.left])
        rest = f"You then have only {told}. With nothing pressed it reads {idle}."
    elif each.also_read:
        rest = f"You then have no command to count on; with nothing pressed it reads {idle}."
    else:
        kind = "manual command" if "manual" in view.line.meanings else "command"
        rest = f"You then have no {kind}; it reads {idle}."
    if not each.is_safe:
        return [join(el("b", f"Do not unplug {what}"), ": what is left can read as a command nobody gave.")]
    if each.also_read:
        told = words.all_of([f"{words.operated(operated)} ({meaning})" for operated, meaning in each.also_read])
        rest += f" Hands off all the same, it can still be read: {told}."
    return [join("Unplug ", el("b", what), ". ", rest)]
