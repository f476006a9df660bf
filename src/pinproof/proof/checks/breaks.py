"""A broken or shorted wire: what does the controller read then, and does anyone notice?

Answers: does an open coded wire, an open source-side wire or a chafe look like a command, like nobody pressing, or like
         a fault? What would a far-end idle resistor buy?
Units:   readings in the reading space.
Touches: nothing.

One hard fault at a time, in key state `run`, for idle and for every situation that must read one meaning. Nothing here
decides the line's verdict: single faults of every severity are a proof of their own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pinproof.network import Status
from pinproof.observe import pin_spans
from pinproof.proof.checks.common import (
    coded_node,
    could_be,
    edited,
    listed,
    reading_words,
    situation_words,
    surely_is,
    widest_windows,
)
from pinproof.proof.judging import Judged
from pinproof.proof.results import Finding
from pinproof.verdict import Reading, Window
from pinproof.wiring import LineView, contact_node

BROKEN, SHORT = "broken-wire", "short"
FALSE_COMMAND = "FALSE COMMAND: "  # before what such a fault does
Effect = Literal["none", "reads as fault", "command lost", "false command"]
EFFECTS: tuple[Effect, ...] = ("none", "reads as fault", "command lost", "false command")  # from best to worst


@dataclass(frozen=True)
class Fault:
    """One hard fault of the wiring: what is open, or which node is joined to which rail."""

    check: str
    subject: str
    words: str
    opened: tuple[str, ...] = ()
    joined: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Outcome:
    """What one situation reads under a fault. `sure` says that it is read so in any case, not only possibly."""

    operated: tuple[str, ...]
    wanted: str
    reading: Reading
    unit: str
    effect: Effect
    reads_as: tuple[str, ...]
    sure: bool
    faults: tuple[str, ...] = ()  # meanings of `reads_as` that have a fault window


def effect_of(
    reading: Reading, wanted: str, idle: str, windows: Sequence[Window]
) -> tuple[Effect, tuple[str, ...], bool]:
    """Worst effect of a fault on a situation that should read `wanted`.

    Parameters
    ----------
    reading : Reading
        Under the fault; nan where the pin floats, which may be read as anything.
    wanted, idle : meanings
    windows : all windows of the line

    Returns
    -------
    effect : "none", "reads as fault", "command lost" or "false command"
        The worst that some truck in the box can show.
    reads_as : tuple of str
        Meanings it can be read as; "invalid" where no window need hold it.
    sure : bool
        Every truck in the box shows this effect.
    """
    met = tuple(dict.fromkeys(window.meaning for window in windows if could_be(reading, window)))
    firm = [window.meaning for window in windows if surely_is(reading, window)]
    reads_as = met if firm else (*met, "invalid")
    commands = {window.meaning for window in windows if window.kind == "command"}
    foreign = [meaning for meaning in met if meaning in commands and meaning != wanted]
    if foreign:
        return "false command", reads_as, any(meaning in firm for meaning in foreign)
    if wanted in firm:
        return "none", reads_as, True
    away = wanted not in met
    if wanted != idle and idle in met:
        return "command lost", reads_as, away
    return "reads as fault", reads_as, away


def faults_of(view: LineView) -> tuple[Fault, ...]:
    """Hard faults of the coded and the source-side wire that this check looks at."""
    line = view.line
    out: list[Fault] = []
    here = coded_node(view)
    where = "pin" if here == view.pin else "coded wire"
    if line.wire is not None:
        out.append(Fault(BROKEN, line.wire.path, "the coded wire is broken", opened=(line.wire.path,)))
    if line.source_wire is not None:
        side = "return" if line.source_side == "return" else "feed"
        out.append(
            Fault(BROKEN, line.source_wire.path, f"the coder's {side} wire is broken", opened=(line.source_wire.path,))
        )
    rails = [(f"return@{line.id}", "ground"), ("battery", "battery")]
    if line.has_feed and line.feed_from == "reference":
        rails.append((f"feed@{line.id}", "its feed"))
    for rail, words in rails:
        out.append(Fault(SHORT, f"{where} to {words}", f"the {where} is shorted to {words}", joined=((here, rail),)))
    if line.form == "ladder":
        rail = f"{line.source_side}@{line.id}"
        words = "ground" if line.source_side == "return" else "its feed"
        for contact in view.truck.contacts_of(line):
            node = contact_node(line.id, contact.id)
            if any(node in (branch.a, branch.b) for branch in view.branches):
                what = f"the ladder is chafed to {words} at the tap of {contact.id}"
                out.append(Fault(SHORT, f"tap {contact.id} to {words}", what, joined=((node, rail),)))
    return tuple(out)


def breaks(view: LineView, judged: Sequence[Judged]) -> tuple[Finding, ...]:
    """One finding for each hard fault: its worst effect over idle and the required situations."""
    states = [state for state in judged if state.key_state == "run"]
    if not states:
        return ()
    findings = []
    for fault in faults_of(view):
        outcomes = [one for state in states for one in _outcomes(view, state, fault)]
        if outcomes:
            findings.append(_finding(view, states, fault, outcomes))
    return tuple(findings)


def _outcomes(view: LineView, state: Judged, fault: Fault) -> list[Outcome]:
    concerned = [
        (situation, need)
        for situation, need in zip(state.situations, state.requirements, strict=True)
        if need.how == "inside" and need.means
    ]
    after = edited(view, fault.opened, fault.joined)
    readings = _readings(after, state, [situation.key for situation, _ in concerned])
    windows = widest_windows(view, state)
    known = {window.meaning for window in windows if window.kind == "fault"}
    out = []
    for (situation, need), reading in zip(concerned, readings, strict=True):
        effect, reads_as, sure = effect_of(reading, need.means, view.line.idle, windows)
        faults = tuple(meaning for meaning in reads_as if meaning in known)
        out.append(Outcome(situation.operated, need.means, reading, state.space.unit, effect, reads_as, sure, faults))
    return out


def _readings(after: LineView, state: Judged, operated: Sequence[frozenset[str]]) -> list[Reading]:
    """Readings under a fault; nan where nothing holds the pin.

    Where a hard short joins two supplies at a corner of the box (a fuse blows there) the reading over the rest counts.
    """
    floats = Reading(math.nan, math.nan, math.nan, math.nan)
    if not after.net.rails:
        return [floats] * len(operated)
    spans = pin_spans(after, state.key_state, state.space, operated)
    out = []
    for reading, status, *ends in zip(
        spans.readings, spans.raw.status, spans.raw.low, spans.raw.high, spans.raw.inner_low, spans.raw.inner_high,
        strict=True,
    ):  # fmt: skip
        if int(status) == int(Status.RAILS_SHORTED) and not any(math.isnan(end) for end in ends):
            reading = Reading(*(state.space.clip(float(end)) for end in ends))
        out.append(reading)
    return out


def _finding(view: LineView, states: Sequence[Judged], fault: Fault, outcomes: Sequence[Outcome]) -> Finding:
    worst = max(outcomes, key=lambda one: (EFFECTS.index(one.effect), one.sure))
    idle = next((one for one in outcomes if not one.operated), None)
    text = _text(fault, worst, idle, outcomes)
    numbers: dict[str, float | str] = {
        "effect": worst.effect,
        "certainty": "surely" if worst.sure else "possibly",
        "low": worst.reading.low,
        "high": worst.reading.high,
        "reads_as": ", ".join(worst.reads_as),
        "operated": ", ".join(worst.operated),
    }
    return Finding(fault.check, None, fault.subject, text, numbers, _cure(view, states, fault, worst, idle))


def _text(fault: Fault, worst: Outcome, idle: Outcome | None, outcomes: Sequence[Outcome]) -> str:
    head = fault.words[0].upper() + fault.words[1:]
    reads = f"{situation_words(worst.operated)} the pin reads {reading_words_of(worst)}"
    if worst.effect == "false command":
        as_what = listed(f"`{each}`" for each in worst.reads_as if each not in (worst.wanted, "invalid"))
        verb = "is" if worst.sure else "can be"
        return f"{FALSE_COMMAND}if {fault.words}, {reads}, and that {verb} taken for {as_what}."
    hidden = idle is not None and idle.effect == "none"
    if worst.effect == "command lost":
        lost = listed(dict.fromkeys(f"`{one.wanted}`" for one in outcomes if one.effect == "command lost"))
        tail = "It cannot be told from nobody pressing." if hidden else _idle_words(idle)
        return f"{head}: {reads}. {lost} {'is' if ' and ' not in lost else 'are'} lost. {tail}"
    if worst.effect == "reads as fault":
        tail = " With nothing pressed it cannot be told from a sound line." if hidden else ""
        return f"{head}: {reads}, which {_beside_words(worst)}.{tail}"
    return f"{head}: every situation still reads as it should."


def _beside_words(one: Outcome) -> str:
    """What the windows say of a reading that is no command but perhaps what is wanted: no more than that."""
    named = listed(f"`{meaning}`" for meaning in one.faults)
    nowhere = "in no window; what the controller then does is not in the file"
    fault = f"{named}, a fault window and no command"
    if one.wanted in one.reads_as:  # in some trucks of the box, though not in all
        ways = [f"may be read as `{one.wanted}`, as from a sound line", *([f"as {fault}"] if named else [])]
        ways += [f"lie {nowhere}"] if "invalid" in one.reads_as else []
        return ", or ".join(ways)
    if named and one.sure and "invalid" not in one.reads_as:
        return f"is read as {fault}"
    if named:
        return f"may be read as {fault}, or lie {nowhere}"
    return f"{'lies' if one.sure else 'may lie'} {nowhere}"


def _idle_words(idle: Outcome | None) -> str:
    """The same of what the pin reads with nothing pressed, as a sentence; "" where that is not looked at."""
    return "" if idle is None else f"With nothing pressed it {_beside_words(idle)}."


def reading_words_of(one: Outcome) -> str:
    """The reading of an outcome in words."""
    return reading_words(one.reading.low, one.reading.high, one.unit)


def _cure(view: LineView, states: Sequence[Judged], fault: Fault, worst: Outcome, idle: Outcome | None) -> str:
    line = view.line
    if worst.effect == "false command":
        if fault.subject.startswith("tap "):
            return "Keep the ladder's taps in one sealed housing, so that only the coded wire runs through the truck."
        if fault.check == SHORT:
            return "Route and sleeve this wire away from what it can touch."
        if not worst.reading.is_settled:
            return "Give the pin a pull of its own, so that something holds it when the wire is gone."
        return "Place the codes so that what an open wire reads lies outside every command."
    if fault.check != BROKEN or line.form in ("ladder", "elements") or line.idle_resistor is not None:
        return ""
    if idle is None or idle.effect != "none" or line.wire is None or fault.subject != line.wire.path:
        return ""
    return idle_resistor_advice(states, line.idle, idle.reading)


def idle_room(states: Sequence[Judged], idle: str, open_reading: Reading) -> bool | None:
    """True if there is room between the idle window and what an open wire reads, so that idle can be told from it.

    Only then can an idle resistor at the far end make a broken wire show. None where the idle meaning has no window, or
    nothing settles what the open wire reads.
    """
    state = states[0]
    window = next((each for each in state.windows if each.meaning == idle), None)
    if window is None or not open_reading.is_settled:
        return None
    top = open_reading.low + open_reading.high > state.space.full_scale
    edge = window.upper if top else window.lower
    return edge is not None and edge.exists


def broken_wire_room(view: LineView, judged: Sequence[Judged]) -> bool | None:
    """`idle_room` of a line as its own broken coded wire reads; None where there is no such wire."""
    states = [state for state in judged if state.key_state == "run"]
    wire = view.line.wire
    fault = next((one for one in faults_of(view) if wire is not None and one.subject == wire.path), None)
    if not states or fault is None:
        return None
    idle = next((one for one in _outcomes(view, states[0], fault) if not one.operated), None)
    return None if idle is None else idle_room(states, view.line.idle, idle.reading)


def idle_resistor_advice(states: Sequence[Judged], idle: str, open_reading: Reading) -> str:
    """What an idle resistor at the far end would do about a broken wire with these windows; no values are claimed.

    `open_reading` is what the broken wire reads, here the same as nobody pressing.
    """
    room = idle_room(states, idle, open_reading)
    if room is None:
        return ""
    if not room:
        return (
            "With these windows an idle resistor at the far end cannot make a broken wire show: the idle window reaches"
            " the rail. It could only if the controller can be given a fault window there."
        )
    return (
        "There is room between the idle window and the rail: with an idle resistor at the far end a broken wire would"
        " read there. All values must then be chosen and proven again, because it lies in parallel with every press."
    )
