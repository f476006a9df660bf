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
    out = []
    for (situation, need), reading in zip(concerned, readings, strict=True):
        effect, reads_as, sure = effect_of(reading, need.means, view.line.idle, windows)
        out.append(Outcome(situation.operated, need.means, reading, state.space.unit, effect, reads_as, sure))
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
        return f"FALSE COMMAND: if {fault.words}, {reads}, and that {verb} taken for {as_what}."
    hidden = idle is not None and idle.effect == "none"
    if worst.effect == "command lost":
        lost = listed(dict.fromkeys(f"`{one.wanted}`" for one in outcomes if one.effect == "command lost"))
        tail = "It cannot be told from nobody pressing." if hidden else "With nothing pressed it reads as a fault."
        return f"{head}: {reads}. {lost} {'is' if ' and ' not in lost else 'are'} lost. {tail}"
    if worst.effect == "reads as fault":
        part = "shows as a fault" if worst.sure else "may show as a fault"
        tail = " With nothing pressed it cannot be told from a sound line." if hidden else ""
        return f"{head}: {reads}, which {part}, not as a command.{tail}"
    return f"{head}: every situation still reads as it should."


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


def idle_resistor_advice(states: Sequence[Judged], idle: str, open_reading: Reading) -> str:
    """What an idle resistor at the far end would buy with these windows; no values are claimed.

    `open_reading` is what the broken wire reads, here the same as nobody pressing.
    """
    state = states[0]
    window = next((each for each in state.windows if each.meaning == idle), None)
    if window is None or not open_reading.is_settled:
        return ""
    top = open_reading.low + open_reading.high > state.space.full_scale
    edge = window.upper if top else window.lower
    if edge is None or not edge.exists:
        return (
            "With these windows an idle resistor at the far end buys nothing: the idle window reaches the rail. Only if"
            " the controller can be given a fault window there would it show a broken wire."
        )
    return (
        "There is room between the idle window and the rail: with an idle resistor at the far end a broken wire would"
        " read there. All values must then be chosen and proven again, because it lies in parallel with every press."
    )
