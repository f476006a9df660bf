"""Commands that can be given while the lever is in automatic, or with more than one thing pressed.

Answers: which presses are read as which command although manual is not engaged; what do two presses together read?
Units:   readings in the reading space.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from pinproof.design.model import Contact
from pinproof.proof.checks.common import could_be, listed, reading_words, surely_is, widest_windows
from pinproof.proof.judging import Judged
from pinproof.proof.results import Finding
from pinproof.proof.situations import Requirement
from pinproof.verdict import Reading, Verdict, Window
from pinproof.wiring import LineView

NAME = "reach"
MOST_LISTED = 24


@dataclass
class _Reached:
    """What one situation can be read as, over all key states and reading spaces."""

    operated: tuple[str, ...]
    presses: tuple[Contact, ...]
    automatic: bool
    commands: dict[str, bool] = field(default_factory=dict)  # command: surely read so, somewhere
    states: list[str] = field(default_factory=list)
    foreign: set[str] = field(default_factory=set)  # commands nobody pressed
    verdict: Verdict | None = None
    shown: tuple[float, float, str] = (0.0, 0.0, "1")
    asked_by_file: bool = False


def commands_met(reading: Reading, windows: Sequence[Window]) -> dict[str, bool]:
    """Commands this span can be read as; True where it surely is.

    Examples
    --------
    >>> from pinproof.verdict import Edge, Reading, Window
    >>> up = Window("up", Edge(0.29, 0.31, 0.3), Edge(0.39, 0.41, 0.4), 0.05, "measured", "command")
    >>> commands_met(Reading.exact(0.33, 0.35), [up]), commands_met(Reading.exact(0.35, 0.40), [up])
    ({'up': True}, {'up': False})
    """
    return {
        window.meaning: surely_is(reading, window)
        for window in windows
        if window.kind == "command" and could_be(reading, window)
    }


def reach(view: LineView, judged: Sequence[Judged]) -> tuple[Finding, ...]:
    """Findings on commands within reach in automatic and by pressing several things."""
    found: dict[tuple[str, ...], _Reached] = {}
    for state in judged:
        windows = widest_windows(view, state)
        for index, situation in enumerate(state.situations):
            _look(view, state, windows, index, found.setdefault(situation.operated, _start(view, situation.operated)))
    concerned = [each for each in found.values() if each.automatic or len(each.presses) > 1]
    reached = [each for each in concerned if each.commands]
    out = [_single(view, each) for each in reached if each.automatic or each.foreign]
    findings = sorted(out, key=lambda each: each.verdict.rank if each.verdict else 4)
    left = len(findings) - MOST_LISTED
    findings = findings[:MOST_LISTED]
    own = [each for each in reached if not (each.automatic or each.foreign)]
    if own:
        findings.append(_own_presses(own))
    if left > 0:
        findings.append(Finding(NAME, None, view.line.id, f"{left} more combinations can be read as a command."))
    looked = sum(each.automatic for each in concerned)
    if view.line.enable and looked and not any(each.automatic for each in reached):
        text = (
            f"While {view.line.enable} is not operated no tap can be read as a command"
            f" ({looked} combinations looked at)."
        )
        findings.append(Finding(NAME, None, view.line.id, text, {"combinations": float(looked)}))
    return tuple(findings)


def _start(view: LineView, operated: tuple[str, ...]) -> _Reached:
    contacts = {contact.id: contact for contact in view.truck.contacts_of(view.line)}
    presses = tuple(
        contacts[name] for name in operated if contacts[name].action == "momentary" and name != view.line.enable
    )
    automatic = view.line.enable is not None and view.line.enable not in operated and bool(presses)
    return _Reached(operated, presses, automatic)


def _look(view: LineView, state: Judged, windows: tuple[Window, ...], index: int, into: _Reached) -> None:
    if not (into.automatic or len(into.presses) > 1):
        return
    need, reading, row = state.requirements[index], state.spans.readings[index], state.rows[index]
    met = commands_met(reading, windows)
    if need.how == "clear" and row.verdict.holds:
        met = {name: sure for name, sure in met.items() if name not in need.of}  # the proof is sharper than the hull
    if not met:
        return
    if not into.states:
        into.shown = (reading.low, reading.high, state.space.unit)
    if state.key_state not in into.states:
        into.states.append(state.key_state)
    for name, sure in met.items():
        into.commands[name] = into.commands.get(name, False) or sure
    into.foreign |= _foreign(view, need, into, met)
    into.asked_by_file = into.asked_by_file or need.how == "inside"
    if into.foreign and row.verdict in (Verdict.FAIL, Verdict.NOT_SHOWN):
        into.verdict = min((each for each in (into.verdict, row.verdict) if each), key=lambda each: each.rank)


def _foreign(view: LineView, need: Requirement, into: _Reached, met: dict[str, bool]) -> set[str]:
    contacts = {contact.id: contact for contact in view.truck.contacts_of(view.line)}
    asked = {contacts[name].asks for name in into.operated}
    return {name for name in met if name not in asked and name not in need.allowed}


def _single(view: LineView, each: _Reached) -> Finding:
    names = listed(contact.id for contact in each.presses)
    alone = len(each.presses) == 1
    where = f"While {view.line.enable} is not operated, " if each.automatic else ""
    who = f"{names} alone reads" if alone else f"{names} pressed together read"
    if not where:
        who = f"Pressed together, {names} read"
    sure = [name for name, surely in each.commands.items() if surely]
    as_what = listed(f"`{name}`" for name in (sure or each.commands))
    takes = "takes it" if sure else "may take it"
    text = f"{where}{who} {reading_words(*each.shown)}: the controller {takes} for {as_what}."
    if each.foreign:
        text += f" Nobody pressed {listed(f'`{name}`' for name in sorted(each.foreign))}."
    elif each.asked_by_file:
        text += " The file asks for that."
    numbers: dict[str, float | str] = {
        "low": each.shown[0],
        "high": each.shown[1],
        "commands": ", ".join(each.commands),
        "pressed": ", ".join(contact.id for contact in each.presses),
        "certainty": "surely" if sure else "possibly",
        "key_states": ", ".join(each.states),
    }
    return Finding(NAME, each.verdict, "+".join(each.operated), text, numbers, _cure(view, each))


def _cure(view: LineView, each: _Reached) -> str:
    if each.automatic and view.line.taps_fed == "directly":
        return "Feed the taps through the enable contact, choose the values again and repeat the proof."
    if each.automatic:
        return "Find what lets the taps work without the enable contact: a leak, a normally closed enable, or values."
    if each.foreign:
        return (
            "Choose values whose combination falls into a dead band, or state `exclusive` if a hand cannot press both."
        )
    return ""


def _own_presses(own: Sequence[_Reached]) -> Finding:
    shown = "; ".join(
        f"{' + '.join(contact.id for contact in each.presses)} as {listed(f'`{name}`' for name in each.commands)}"
        for each in own[:8]
    )
    more = f"; and {len(own) - 8} more" if len(own) > 8 else ""
    text = f"Pressed together these can be read as one of their own presses: {shown}{more}."
    return Finding(NAME, None, "presses together", text, {"combinations": float(len(own))})
