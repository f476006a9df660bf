"""Fault dictionaries in words for a terminal. No sums: what is printed is what a result holds."""

from __future__ import annotations

import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from pinproof.cli.show import WIDTH, wrapped
from pinproof.drawings import words
from pinproof.faults.words import commands_words, fault_words, gap_words, interval_words, lost_groups, node_words

if TYPE_CHECKING:
    from pinproof.design import Truck
    from pinproof.faults import Against, Cure, FaultEffect, FaultReport, LineFaults, Pairs

MOST = (9, 4, 3)  # rows of the three groups of false commands that fit on a screen
MOST_NAMED = 6
MOST_PAIRS = 6
HEADS = (
    "FALSE COMMAND with nothing pressed",
    "FALSE COMMAND with something pressed",
    "FALSE COMMAND: a press is read as what another pressed contact asks for",
)
NOT_LOOKED_AT = "Not looked at: faults inside the controller and of the supply itself"


def report_words(truck: Truck, report: FaultReport, known: Sequence[Against], *, every: bool = False) -> str:
    """The whole report for the terminal."""
    head = "NO FALSE COMMAND from any single fault" if report.is_safe else "FAULTS CAN GIVE FALSE COMMANDS"
    if not report.is_safe and all(not line.of("false command") for line in report.lines):
        head = "NOT SHOWN"
    parts = [f"{head}  {report.name or report.id}"]
    for line, against in zip(report.lines, known, strict=True):
        parts += ["", *line_words(truck, line, against, every=every)]
        parts += _against_words(against)
    pairs = any(line.pairs for line in report.lines)
    parts += ["", *wrapped(NOT_LOOKED_AT + ("." if pairs else ", and two faults at once (--pairs)."), "")]
    return "\n".join(parts)


def line_words(truck: Truck, line: LineFaults, against: Against, *, every: bool) -> list[str]:
    """One line's dictionary: the groups, worst first."""
    if line.reason:
        return [f"line {line.line}: not looked at, because {line.reason}."]
    false, lost, none = line.of("false command"), line.of("command lost"), line.of("none")
    count = f"{len(line.faults)} single faults in {line.situations} situations"
    parts = wrapped(
        f"line {line.line} on {truck.line(line.line).input}: {count}. {len(false)} can give a false command, "
        f"{len(lost)} lose a command, {len(none)} do neither.",
        "",
    )
    parts[0] = parts[0].lstrip()
    if line.sound is not None and line.sound.false:
        told = f"{words.either(list(line.sound.commands))} can be read where nobody asks for it"
        parts += wrapped(f"Already without any fault {told}: mend that first, see pinproof prove.")
    elif line.sound is not None and line.sound.lost:
        parts += wrapped("Already without any fault a command is not sure: mend that first, see pinproof prove.")
    for rank, head in enumerate(HEADS):
        rows = [each for each in false if each.rank == rank and each.adds]
        parts += _group(head, rows, MOST[rank], against, every)
    parts += _lost(truck, line, [each for each in lost if each.adds], against, every)
    same = [each for each in (*false, *lost) if not each.adds]
    if same:
        parts += [
            "",
            f"  NOTHING NEW: all that these do some truck does without a fault too ({len(same)})",
            *_named(same, every),
        ]
    if none:
        parts += ["", f"  NEITHER ({len(none)})", *_named(none, every)]
    if line.pairs is not None:
        parts += _pairs(line.pairs, every)
    return parts


def _group(head: str, rows: Sequence[FaultEffect], most: int, against: Against, every: bool) -> list[str]:
    if not rows:
        return []
    shown = rows if every else rows[:most]
    width = min(44, max(len(fault_words(each.fault)) for each in shown))
    out = ["", f"  {head} ({len(rows)})"]
    for each in shown:
        out += _row(fault_words(each.fault), commands_words(each), width)
        if every:
            out += _fill(against.remedies[each.fault.id].text, "        → ", "          ")
    if len(rows) > len(shown):
        out.append(f"    … and {len(rows) - len(shown)} more (--all)")
    return out


def _row(name: str, text: str, width: int) -> list[str]:
    head = f"    {name.ljust(width)}  "
    if len(name) > width:
        return [f"    {name}", *_fill(text, " " * (width + 6), " " * (width + 6))]
    return _fill(text, head, " " * len(head))


def _fill(text: str, first: str, later: str) -> list[str]:
    held = re.sub(r"(?<=\d) (?=[kMmµnG]?Ω)", "\u00a0", text)  # a number keeps its unit on its line
    lines = textwrap.wrap(
        held, WIDTH, initial_indent=first, subsequent_indent=later, break_long_words=False, break_on_hyphens=False
    )
    return [line.replace("\u00a0", " ") for line in lines]


def _lost(truck: Truck, line: LineFaults, lost: Sequence[FaultEffect], against: Against, every: bool) -> list[str]:
    out = []
    for head, rows in lost_groups(truck.line(line.line).idle, lost):
        out += ["", f"  {head.replace('Command lost', 'COMMAND LOST', 1)} ({len(rows)})", *_named(rows, every)]
        out += _fill(against.outside_check, "    ", "    ") if rows[0].unnoticed and against.outside_check else []
    return out


def _named(rows: Iterable[FaultEffect], every: bool) -> list[str]:
    names = [fault_words(each.fault) for each in rows]
    shown = names if every else names[:MOST_NAMED]
    more = f"; and {len(names) - len(shown)} more (--all)" if len(names) > len(shown) else ""
    return _fill("; ".join(shown) + more, "    ", "    ")


def _pairs(pairs: Pairs, every: bool) -> list[str]:
    out = [
        "",
        f"  TWO FAULTS AT ONCE: {pairs.looked_at} pairs, {len(pairs.new)} false commands that neither gives alone",
    ]
    if pairs.left_out:
        out.append(f"    The bound of {pairs.bound} pairs was reached: {pairs.left_out} pairs were not looked at.")
    for each in pairs.new if every else pairs.new[:MOST_PAIRS]:
        first, second = (
            f"{fault_words(fault)}{_of(found)}"
            for fault, found in ((each.first, each.first_severities), (each.second, each.second_severities))
        )
        state = "" if each.key_state == "run" else f" ({words.key_state(each.key_state)})"
        pressed = words.operated(each.operated) if each.operated else "nothing pressed"
        out += _fill(f"{each.command} with {pressed}{state}: {first}, and {second}", "    ", "      ")
    left = len(pairs.new) - MOST_PAIRS
    return out if every or left <= 0 else [*out, f"    … and {left} more (--all)"]


def _of(found: object) -> str:
    from pinproof.faults import Severities

    if not isinstance(found, Severities) or not found.outer:
        return ""
    text = " or ".join(interval_words(low, high).removeprefix("of ") for low, high in found.outer)
    return f" ({text})" if text else ""


def _against_words(known: Against) -> list[str]:
    """What removes the unsafe faults: cures, an order of cavities, and for the rest where to look."""
    if not known.remedies and not known.cures:
        return []
    counts = Counter(each.by for each in known.remedies.values())
    out = ["", "  WHAT REMOVES THEM"]
    if known.tried:
        out += wrapped("Cures were tried, each with its values chosen again, the proof and all faults run again.")
    for cure in known.cures:
        out += wrapped(_cure_words(cure))
    reasons = "; ".join(known.not_tried)
    if not known.cures:
        head = "None of them helps" if known.tried else "No change of the circuit was worth trying"
        out += wrapped(f"{head}{f': {reasons}' if reasons else ''}.")
    if known.order is not None:
        names = [node_words(each) for each in known.order.order]
        text = f"Order of wires in a row of cavities: {' – '.join(names)}"
        gaps = gap_words(known.order)
        text += f"; leave an empty cavity {gaps}" if gaps else ""
        out += wrapped(f"{text}. Then no two neighbours give a false command when bridged.")
    if counts["outside"]:
        of = f"{len(known.remedies)} faults with a false command"
        out += wrapped(
            f"{counts['outside']} of {of} can only be kept away and looked for from outside: --all "
            "says for each how, and from which ohms on."
        )
    return out


def _cure_words(cure: Cure) -> str:
    text = f"{cure.what[0].upper()}{cure.what[1:]}: faults with false commands {cure.false_before} → {cure.false_after}"
    if cure.mends:
        text += "; without a fault the line then reads as it should"
    if cure.shows:
        text += f"; {len(cure.shows)} faults that nobody notices now would show"
    if cure.brings:
        text += f"; {len(cure.brings)} others could then give one"
    return f"{text}. Values: {', '.join(f'{k} = {v}' for k, v in cure.changes.items())}."
