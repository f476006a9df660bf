"""Faults, severities and situations of a start circuit as a tired person reads them.

Answers: what is "key_start.b chafed-to-ground" called, with how many ohms does it crank, where.
Units:   ohms, volts.
Touches: nothing.

Ends are rounded outward, so that no harmful severity is left out of the words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pinproof.faults.words import interval_words
from pinproof.inhibit.circuit import BATTERY
from pinproof.inhibit.results import Cell, Influence, InhibitReport, Row, Set, StartFault
from pinproof.inhibit.sets import Severities
from pinproof.quantities import format_value
from pinproof.verdict import Verdict

MOST_PRESSES = 3  # sets of buttons named where more do the same
NOTHING_V = 0.01  # less is leaks alone: a relay before the coil is open
CHATTERS = "a relay can chatter here: closed it lets go, open it pulls in."
MAY_CHATTER = (
    "it is not ruled out that a relay chatters here (closed it lets go, open it pulls in), but no truck of this file "
    "was found in which one does."
)
LEAST_LIFT_V = 1e-9  # below it a difference is rounding of the sums
_KINDS = {
    "stuck-closed": "{site} stuck closed",
    "stuck-open": "{site} stuck open",
    "worn": "{site} worn",
    "early": "{site} one detent early",
    "late": "{site} one detent late",
    "chafed-to-supply": "net at {site} chafed to battery plus",
    "chafed-to-ground": "net at {site} chafed to ground",
    "open": "{site} open",
    "resistive": "{site} resistive",
    "shorted-turns": "{site} with shorted turns",
    "swapped": "{site} and {detail} exchanged",
    "apart": "joint {site} apart",
    "wrong-code": "{site} on for {detail} too",
    "press": "{site} on with {detail} pressed",
    "line-fault": "{site} on because of {detail}",
}
SHOUT = {
    "cranks in gear, no request": "CRANKS IN GEAR, nobody asks",
    "cranks in gear": "CRANKS IN GEAR",
    "keeps cranking in gear": "CRANKS IN GEAR: keeps cranking when the lever is moved",
    "cranks by itself": "cranks by itself in a permitted position",
    "keeps cranking": "keeps cranking after the key is let go",
    "cranks at random": "a relay chatters: cranks at random",
    "no crank": "no crank",
    "none": "none",
}


def fault_words(fault: StartFault) -> str:
    """A fault in words."""
    if fault.kind == "bridged":
        if fault.detail == "across its own terminals":
            return f"bridge across {fault.site}"
        return f"bridge: {_net(fault.nodes[0])} to {_net(fault.detail)}"
    return (
        _KINDS[fault.kind]
        .format(site=fault.site, detail=fault.detail.removeprefix("wire "))
        .replace("wire wire", "wire")
    )


def _net(name: str) -> str:
    """A net as the owner knows it."""
    return f"battery plus{name.removeprefix(BATTERY)}" if name.split(" (")[0] == BATTERY else name


@dataclass(frozen=True)
class Group:
    """Faults that do the same, are found by the same test and have the same cure."""

    faults: tuple[StartFault, ...]
    harm: str

    @property
    def first(self) -> StartFault:
        """The one that stands for all."""
        return self.faults[0]

    @property
    def names(self) -> str:
        """All of them in words."""
        return "; ".join(fault_words(each) for each in self.faults)

    @property
    def brief(self) -> str:
        """The same shorter: bridges of one net without the places where they can happen."""
        bridges = [each for each in self.faults if each.kind == "bridged" and len(each.nodes) == 2]
        shared = set.intersection(*(set(each.nodes) for each in bridges)) if bridges else set()
        if len(bridges) < 2 or len(shared) != 1:
            return self.names
        one = next(iter(shared))
        others = [_net(name) for each in bridges for name in each.nodes if name != one]
        rest = [fault_words(each) for each in self.faults if each not in bridges]
        return "; ".join([*rest, f"bridge: {_net(one)} to {', '.join(others)}"])

    @property
    def marks(self) -> str:
        """What makes them worse: nobody notices, no form helps; "" if neither."""
        told = (("nobody notices before", self.first.hidden), ("in any form", self.first.inherent))
        return ", ".join(text for text, on in told if on)


def grouped(faults: Sequence[StartFault], permitted: Sequence[str]) -> tuple[Group, ...]:
    """Faults of one effect, those together that a reader need be told of once; in the order of the first of each."""
    groups: dict[tuple[object, ...], list[StartFault]] = {}
    for each in faults:
        key = (each.effect, harm_words(each, permitted), each.test, each.cure, each.hidden, each.inherent)
        groups.setdefault(key, []).append(each)
    return tuple(Group(tuple(some), str(key[1])) for key, some in groups.items())


def severity_words(found: Severities) -> str:
    """A set of severities: "up to 720 Ω", "of 1.2 to 3.4 kΩ or above 5 kΩ", "at any ohms"."""
    parts = [interval_words(each.low_ohm, each.high_ohm) for each in found]
    if not parts:
        return ""
    return "at any ohms" if parts == [""] else f"{' or '.join(part for part in parts if part)}"


def where_words(sets: Sequence[Set]) -> str:
    """Positions in order of travel, with or without a request."""
    names = tuple(dict.fromkeys(each.position for each in sets))
    requests = {each.request for each in sets}
    asked = "start held" if requests == {True} else "start off" if requests == {False} else "start held or off"
    return f"in {', '.join(names)}, {asked}"


def harm_words(fault: StartFault, permitted: Sequence[str]) -> str:
    """Where it cranks and must not, and with how many ohms: "in R, D, start held: pulls in up to 53.3 Ω, …"."""
    gear = [each for each in fault.sets if each.position not in permitted] or list(fault.sets)
    groups: dict[tuple[str, str], list[Set]] = {}
    for each in gear:
        ohms = [severity_words(some) if fault.severity else "" for some in (each.pulls_in, each.holds)]
        says = [
            f"{word} {text}".strip()
            for word, text, some in zip(
                ("pulls in", "holds once closed"), ohms, (each.pulls_in, each.holds), strict=True
            )
            if some
        ]
        if each.pulls_in and ohms[0] == ohms[1]:
            says = [f"pulls in and holds {ohms[0]}".strip()]
        if each.chatters:
            says.append("chatters")
        pressed = " + ".join(each.operated)
        groups.setdefault((", ".join(says), pressed), []).append(each)
    alone = {each.position for each in gear if not each.operated}
    at_rest = {
        (say, each.position, each.request) for (say, pressed), some in groups.items() if not pressed for each in some
    }
    alike: dict[tuple[str, str], list[str]] = {}
    for (say, pressed), some in groups.items():
        if pressed and not fault.by_command and {each.position for each in some} <= alone:
            continue
        if pressed and all((say, each.position, each.request) in at_rest for each in some):
            continue  # in these digits the same as with nothing pressed
        alike.setdefault((where_words(some), say), []).append(pressed)
    parts = [f"{where}{_pressed_words(presses)}: {say}" for (where, say), presses in alike.items()]
    if not fault.shown:
        parts.append("not shown to happen, and not ruled out")
    return "; ".join(parts)


def _pressed_words(presses: Sequence[str]) -> str:
    """Sets of buttons that do the same: " with up", " with up, down or 9 more sets of buttons"; "" for none."""
    held = [each for each in presses if each]
    if not held:
        return ""
    if len(held) <= MOST_PRESSES:
        return f" with {' or '.join(held)}"
    return f" with {', '.join(held[: MOST_PRESSES - 1])} or {len(held) - MOST_PRESSES + 1} more sets of buttons"


def cell_words(cell: Cell) -> str:
    """Verdict and coil volts of a cell: "pass, 10.8 to 14.4 V"."""
    low, high = (format_value(round(each, 3), "voltage", digits=3) for each in (cell.low_v, cell.high_v))
    number, _, unit = low.rpartition(" ")
    short = high.endswith(f" {unit}") or cell.low_v < 0.5e-3
    volts = low if low == high else f"{number} to {high}" if short else f"{low} to {high}"
    return f"{cell.verdict.value}, {volts}{'' if cell.exact else ' (bracket)'}"


def head_words(report: InhibitReport) -> str:
    """What a report says in one line: "cranks in gear with 3 single faults, 1 of them in any form of this circuit"."""
    defeats = report.defeats
    cells = [cell.verdict for row in report.table for cell in row.cells]
    if defeats:
        inherent = sum(each.inherent for each in defeats)
        told = f"cranks in gear with {len(defeats)} single fault{'' if len(defeats) == 1 else 's'}"
        told += f", {inherent} of them in any form of this circuit" if inherent else ""
        return f"the table fails, and it {told}" if Verdict.FAIL in cells else told
    if Verdict.FAIL in cells:
        return "the table fails"
    if Verdict.NOT_SHOWN in cells:
        return "the table is not shown"
    return "no single fault cranks in gear, of those looked at"


def influence_words(found: Influence) -> tuple[str, ...]:
    """What command contacts do to the coil, each a sentence: without a fault, then with one."""
    if found.separate:
        out = [
            "They share nothing with the start circuit but battery and ground: without a fault no press can raise the "
            "coil."
        ]
    else:
        out = [
            "These are joined to the start circuit by more than battery and ground, as by a feed or a wire that both "
            f"use: {', '.join(found.shared)}."
        ]
        out += _lift_words(found)
    if found.by_faults:
        out.append(f"With one fault a press raises the coil: {'; '.join(found.by_faults)}.")
    else:
        out.append("No severity of any single fault looked at lets a command contact raise the coil.")
    if found.moved_faults:
        out.append(
            f"With {', '.join(found.moved_faults)} it cranks with nothing pressed, and a press moves the ohms at which "
            "it does by less than 1 %: that is the fault's doing, not the button's."
        )
    return tuple(out)


def _lift_words(found: Influence) -> list[str]:
    """Rows that do not hold; else the most that a press adds, and how far that stays below the drop-out."""
    out = []
    asked = [row for row in found.rows if row.must_not]
    for row in asked:
        if row.verdict is not Verdict.PASS:
            volts, rest = (format_value(each, "voltage", digits=3) for each in (row.worst_v, row.none_v))
            told = ", as with nothing pressed" if volts == rest else f"; {rest} with nothing pressed"
            out.append(f"{row.position}: up to {volts} with {' + '.join(row.operated)}{told}.")
    held = [row for row in asked if row.verdict is Verdict.PASS]
    most = max(held, key=lambda row: row.lift_v, default=None)
    if most is not None and most.lift_v > LEAST_LIFT_V:
        lift, worst_v, limit = (
            format_value(each, "voltage", digits=3) for each in (most.lift_v, most.worst_v, found.drop_out_low_v)
        )
        ends = (
            f"below {limit} the relay surely lets go, so that is no defeat"
            if most.worst_v < found.drop_out_low_v
            else "it is as high with nothing pressed, so the button is not what does it"
        )
        out.append(
            f"The most that a press adds where it must not crank is {lift} ({' + '.join(most.operated)}, lever in "
            f"{most.position}: up to {worst_v}): {ends}."
        )
    elif held:
        out.append("Where it must not crank no press adds to the coil's volts.")
    return out


def row_notes(row: Row) -> tuple[str, ...]:
    """What has to be said beside a row of the truth table, each a sentence."""
    out = []
    for cell in row.cells:
        if cell.wanted == "cranks" and cell.verdict is not Verdict.PASS:
            told = (
                ""
                if row.least_supply_v is None
                else f" It surely pulls in from {format_value(row.least_supply_v, 'voltage', digits=3)} of battery on."
            )
            if cell.pull_v[0] < NOTHING_V:
                why = (
                    "it has nothing while a relay before it is open, and that one is not sure to close, to stay closed "
                    f"while cranking, or to come to rest.{told} Cure: for that relay and the coil"
                )
            else:
                least = format_value(cell.pull_v[0], "voltage", digits=3)
                why = f"before it pulls in, the coil may get as little as {least}.{told} Cure:"
            out.append(
                f"{row.position}: not every truck of this file is sure to crank: {why} thicker or shorter wires to the "
                "coil, fewer contacts in its way, or a relay that pulls in at fewer volts."
            )
        if cell.either:
            names = ", ".join(cell.either)
            out.append(
                f"{row.position}: nobody knows whether {names} conducts here. Find out: {names} unplugged, a meter "
                "across it, the lever moved slowly."
            )
        if cell.chatters:
            out.append(f"{row.position}: {CHATTERS if cell.verdict is Verdict.FAIL else MAY_CHATTER}")
        elif cell.history and cell.verdict is not Verdict.PASS:
            out.append(f"{row.position}: what the relays do depends on what was before.")
    return tuple(dict.fromkeys(out))
