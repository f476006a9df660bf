"""Faults and severities as a tired person reads them.

Answers: what is "contact.lever_up bridged contact.wheel_up" called, how is a set of severities said?
Units:   ohms.
Touches: nothing.

Ends are rounded outward, so that no severity that gives a false command is left out of the words.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from pinproof.design.words import parameter
from pinproof.faults.answers import united
from pinproof.faults.cures import CavityOrder
from pinproof.faults.results import FalseCommand, Fault, FaultEffect, Severities
from pinproof.quantities import format_value

_KINDS = {
    "open": "{site} open",
    "shorted": "{site} shorted",
    "drifted": "{site} drifted",
    "decade-low": "{site} ten times too small",
    "decade-high": "{site} ten times too large",
    "stuck-closed": "{contact} stuck closed",
    "stuck-open": "{contact} stuck open",
    "worn": "{contact} worn",
    "wrong-throw": "{contact} wired to the wrong throw",
    "resistive": "{site} resistive",
    "swapped": "{contact} and {other} swapped",
    "unplugged": "{station} unplugged",
    "sound": "no fault",
}
_NODES = {
    "pin": "pin",
    "far": "far end of coded wire",
    "source": "source wire",
    "manual": "wire behind the enable",
}
_SEVERITY = {
    "drifted": "resistances",
    "worn": "contact resistances",
    "resistive": "wire resistances",
    "chafed-to-ground": "leaks",
    "chafed-to-supply": "leaks",
    "bridged": "leaks",
}
_WIRES = {"wire": "coded wire", "source_wire": "source wire"}


def fault_words(fault: Fault) -> str:
    """A fault in words."""
    if fault.kind == "bridged":
        return f"bridge: {node_words(fault.nodes[0])} to {node_words(fault.nodes[1])}"
    if fault.kind.startswith("chafed"):
        to = "ground" if fault.kind == "chafed-to-ground" else "battery plus"
        return f"{node_words(fault.nodes[0])} chafed to {to}"
    return _KINDS[fault.kind].format(
        site=site_words(fault.site), contact=fault.site.removeprefix("contact."),
        other=fault.detail.removeprefix("contact."), station=f"station {fault.site.removeprefix('station.')}",
    )  # fmt: skip


def node_words(node: str) -> str:
    """A node of the netlist in words."""
    head, _, name = node.rpartition(" ")
    return _NODES[name] if not head else f"wire of {name}" if head == "contact" else f"node {name}"


def gap_words(order: CavityOrder) -> str:
    """Where an empty cavity is needed: "after wire of up", "between any two of them"; "" where nowhere."""
    if not order.empty_after:
        return ""
    if len(order.empty_after) == len(order.order) - 1:
        return "between them" if len(order.order) == 2 else "between any two of them"
    names = [node_words(each) for each in order.empty_after]
    return f"after {', '.join(names[:-1])}{' and ' if len(names) > 1 else ''}{names[-1]}"


def site_words(site: str) -> str:
    """An element in words: a wire by its name, anything else as everywhere."""
    head, _, tail = site.rpartition(".")
    if head.startswith("line.") and head.count(".") == 1 and tail in _WIRES:
        return _WIRES[tail]
    if ".element." in site:
        return f"element {site.split('.element.')[1].removesuffix('.value')}"
    return parameter(site)


def severity_words(fault: Fault, found: Severities | None) -> str:
    """A set of severities as a phrase behind a command: "for leaks of 1.2 to 3.4 kΩ"; "" without a severity."""
    if found is None or not found.outer:
        return ""
    what = _SEVERITY.get(fault.kind, "severities")
    parts = [interval_words(low, high) for low, high in found.outer]
    if parts == [""]:
        return "whatever the ohms"
    text = f"for {what} {' or '.join(parts)}"
    return text if found.exact else f"{text} (bracketed)"


def interval_words(low_ohm: float, high_ohm: float) -> str:
    """One interval: "of 1.2 to 3.4 kΩ", "up to 34 Ω", "above 5 kΩ", "" for everything."""
    low, high = outward(low_ohm, up=False), outward(high_ohm, up=True)
    if low == 0.0 and math.isinf(high):
        return ""
    if math.isinf(low):
        return "without end (open)"
    if low == 0.0:
        return "of 0 Ω" if high == 0.0 else f"up to {_ohm(high)}"
    if math.isinf(high):
        return f"above {_ohm(low)}"
    return f"of {_ohm(low)}" if _ohm(low) == _ohm(high) else f"of {_from_to(low, high)}"


def _from_to(low_ohm: float, high_ohm: float) -> str:
    first, last = _ohm(low_ohm), _ohm(high_ohm)
    number, _, unit = first.rpartition(" ")
    return f"{number} to {last}" if last.endswith(f" {unit}") else f"{first} to {last}"


def limit_words(low_ohm: float, high_ohm: float) -> str:
    """Where a part is harmless: "above 17.5 kΩ", "below 159 Ω", "from 4.47 to 9.2 kΩ"; "" where nowhere or anywhere.

    Rounded inward, so that nothing harmful is called harmless.
    """
    if math.isnan(low_ohm) or (low_ohm == 0.0 and math.isinf(high_ohm)):
        return ""
    low, high = outward(low_ohm, up=True), outward(high_ohm, up=False)
    if low >= high:
        return ""
    if math.isinf(high):
        return f"above {_ohm(low)}"
    return f"below {_ohm(high)}" if low == 0.0 else f"from {_from_to(low, high)}"


def outward(ohm: float, *, up: bool) -> float:
    """Three significant digits, rounded away from the middle of the interval."""
    if ohm == 0.0 or math.isinf(ohm):
        return ohm
    step = 10.0 ** (math.floor(math.log10(ohm)) - 2)
    return (math.ceil(ohm / step - 1e-9) if up else math.floor(ohm / step + 1e-9)) * step


def _ohm(ohm: float) -> str:
    return format_value(ohm, "resistance", digits=3)


def commands_words(effect: FaultEffect) -> str:
    """The worst false commands of a fault, each with its severities: "up for leaks of 1.2 to 3.4 kΩ"."""
    worst = effect.worst_false()
    out = []
    for command in dict.fromkeys(each.command for each in worst):
        every = [each for each in worst if each.command == command]
        fewest = min((len(each.operated), each.operated) for each in every)[1]
        mine = [each for each in every if each.operated == fewest]
        parts = [command, severity_words(effect.fault, _all(mine))]
        if fewest:
            parts.append(f"with {' + '.join(fewest)}")
        if severity_words(effect.fault, _all(every)) != parts[1]:
            parts.append("(other values with more pressed)")
        if all(each.key_state == "crank" for each in mine):
            parts.append("(while cranking)")
        if not any(each.sure for each in mine):
            parts.append("(cannot be ruled out)")
        out.append(" ".join(part for part in parts if part))
    return "; ".join(out)


def _all(listed: Sequence[FalseCommand]) -> Severities | None:
    found = [each.severities for each in listed if each.severities is not None]
    return united(found) if found else None


def lost_groups(idle: str, lost: Sequence[FaultEffect]) -> list[tuple[str, list[FaultEffect]]]:
    """Faults that lose commands, by what nothing pressed then reads: what is never noticed, in some trucks, at once.

    Groups that are empty are left out. `idle` is the meaning of nothing pressed.
    """
    groups: tuple[tuple[str, list[FaultEffect]], ...] = (
        (f"Command lost, unnoticed: with nothing pressed it still reads as {idle}", [e for e in lost if e.unnoticed]),
        (
            f"Command lost; with nothing pressed some trucks read {idle} as before, others not",
            [e for e in lost if not e.unnoticed and idle in e.idle_reads],
        ),
        (
            f"Command lost; with nothing pressed it no longer reads as {idle}",
            [e for e in lost if not e.unnoticed and idle not in e.idle_reads],
        ),
    )
    return [(head, rows) for head, rows in groups if rows]
