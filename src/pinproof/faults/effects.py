"""What each single fault of a line does: false commands, lost meanings, what idle reads.

Answers: per fault, situation, key state and reading space: which command can be read that nobody may give, and for
         which severities exactly; which required meaning is lost, and for which.
Units:   ohms for severities.
Touches: nothing. A `Truck` in, frozen results out.
Beside:  `answers` has the sums; docs/faults.md says what the words mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pinproof.design.model import Line, Truck
from pinproof.errors import NoSolution
from pinproof.faults.advice import advice_for
from pinproof.faults.answers import Answer, answers, severities, united
from pinproof.faults.circuit import Change, change_of
from pinproof.faults.pairs import MOST_PAIRS, Progress, pairs_of
from pinproof.faults.questions import Questions, questions_of
from pinproof.faults.results import EFFECTS, FalseCommand, Fault, FaultEffect, FaultReport, LineFaults, Lost, Severities
from pinproof.faults.sites import sites, whole_view
from pinproof.proof.judging import unproven_reason
from pinproof.wiring import LineView, Physical, line_view, physical

INVALID = "invalid"


def faults_of(truck: Truck, *, pairs: bool = False, most_pairs: int = MOST_PAIRS) -> FaultReport:
    """The fault dictionary of every line of a truck.

    Parameters
    ----------
    truck : Truck
    pairs : bool
        Also look at two faults at once.
    most_pairs : int
        Bound on the pairs of one line; the result says when it bit.

    Examples
    --------
    >>> from pinproof.design import load
    >>> faults_of(load("truck.toml")).exit_code  # doctest: +SKIP
    1
    """
    netlist = physical(truck)
    lines = tuple(line_faults(truck, line, netlist, pairs=pairs, most_pairs=most_pairs) for line in truck.lines)
    return FaultReport(truck.id, truck.name, truck.text_hash, lines)


def retest(truck: Truck) -> FaultReport:
    """The whole dictionary again, for a truck that was changed: what a cure must go through before it is offered."""
    return faults_of(truck)


def line_faults(
    truck: Truck, line: Line | str, netlist: Physical | None = None, *, pairs: bool = False,
    most_pairs: int = MOST_PAIRS, progress: Progress | None = None,
) -> LineFaults:  # fmt: skip
    """The fault dictionary of one line.

    A line that cannot be proven (an unknown pull, a value still to be chosen, no windows, more situations or causes
    than are enumerated) has none; `reason` says why.
    """
    seen = line_view(truck, line, netlist)
    reason = unproven_reason(truck, seen.line, seen)
    if reason:
        return LineFaults(seen.line.id, None, (), 0, reason=reason)
    try:
        return _dictionary(whole_view(seen), pairs, most_pairs, progress)
    except NoSolution as error:
        return LineFaults(seen.line.id, None, (), 0, reason=str(error).rstrip("."))


def _dictionary(view: LineView, pairs: bool, most_pairs: int, progress: Progress | None) -> LineFaults:
    asked = questions_of(view)
    listed = sites(view)
    changes = [Change(), *(change_of(view, fault) for fault in listed)]
    found = answers(asked, changes, [moving_of(change) for change in changes])
    sound = effect_of(asked, Fault(f"line.{view.line.id}", "sound"), found[0])
    effects = [effect_of(asked, fault, answer) for fault, answer in zip(listed, found[1:], strict=True)]
    known = _happenings(sound)
    effects = [replace(each, adds=each.effect != EFFECTS[2] and not _happenings(each) <= known) for each in effects]
    advised = (advice_for(view.line, each) for each in effects)
    ordered = tuple(sorted(advised, key=_order))
    looked = pairs_of(asked, changes[1:], found[1:], most_pairs, progress) if pairs else None
    return LineFaults(view.line.id, sound, ordered, len(asked.situations), looked)


def _happenings(effect: FaultEffect) -> set[tuple[str, str, str, tuple[str, ...]]]:
    """What goes wrong in which situation, whatever the severity."""
    false = {(each.command, each.key_state, each.space, each.operated) for each in effect.false}
    return false | {(f"lost {each.meaning}", each.key_state, each.space, each.operated) for each in effect.lost}


def moving_of(change: Change) -> str | None:
    """The branch whose severity a single fault asks for."""
    if change.severe:
        return change.severe[0]
    return "fault.0" if change.added else None


def _order(each: FaultEffect) -> tuple[int, int, bool]:
    """False commands first; among them those that nobody need press anything for. Otherwise in the order of sites."""
    return EFFECTS.index(each.effect), each.rank, not each.unnoticed


def effect_of(asked: Questions, fault: Fault, answer: Answer) -> FaultEffect:
    """One answer in the words of docs/faults.md."""
    false = _false(asked, answer)
    lost = _lost(asked, answer)
    reads, as_fault, sure_idle = _idle(asked, answer)
    away = any(each.operated for each in lost)
    effect = EFFECTS[0] if false else EFFECTS[1] if lost else EFFECTS[2]
    return FaultEffect(fault, effect, as_fault, sure_idle and away, reads, false, lost)


def _false(asked: Questions, answer: Answer) -> tuple[FalseCommand, ...]:
    """Windows of one meaning count together."""
    found: dict[tuple[int, int, str], list[Severities | None]] = {}
    sure: set[tuple[int, int, str]] = set()
    read, inner = answer.read(), answer.read(1)
    for s, k, w in zip(*(read & asked.forbidden).nonzero(), strict=True):
        key = (int(s), int(k), asked.windows[w].meaning)
        found.setdefault(key, []).append(_severities(answer, int(s), int(k), int(w)))
        if inner[s, k, w]:
            sure.add(key)
    asks = {contact.id: contact.asks for contact in asked.view.truck.contacts_of(asked.view.line)}
    return tuple(
        FalseCommand(
            command, asked.blocks[k].key_state, asked.blocks[k].space.name, asked.situations[s].operated,
            _together(sets), (s, k, command) in sure, command in {asks[x] for x in asked.situations[s].operated},
        )
        for (s, k, command), sets in found.items()
    )  # fmt: skip


def _severities(answer: Answer, s: int, k: int, w: int) -> Severities | None:
    if not answer.severity:
        return None
    return severities(answer.read_set(s, k, w, 0), answer.read_set(s, k, w, 1))


def _together(sets: Sequence[Severities | None]) -> Severities | None:
    known = [each for each in sets if each is not None]
    return united(known) if known else None


def _lost(asked: Questions, answer: Answer) -> tuple[Lost, ...]:
    """Required meanings that some truck does not read; while cranking a lost command is accepted."""
    out = []
    beyond = answer.beyond()
    for s, k in np.argwhere(asked.required.any(axis=2)).tolist():
        block = asked.blocks[k]
        need = block.requirements[s]
        windows = asked.required[s, k].nonzero()[0].tolist()
        if block.key_state == "crank" or not beyond[s, k, windows].all():
            continue
        outer = answer.beyond_set(s, k, windows)
        if not outer:
            continue
        inner = answer.surely_beyond_set(s, k, windows, [asked.windows[w].guaranteed() for w in windows])
        found = severities(outer, inner) if answer.severity else None
        operated = asked.situations[s].operated
        out.append(Lost(need.means, block.key_state, block.space.name, operated, found, bool(inner)))
    return tuple(out)


def _idle(asked: Questions, answer: Answer) -> tuple[tuple[str, ...], bool, bool]:
    """What idle may read in key state run; whether a fault window is among it; whether it is surely idle."""
    here = next((s for s, each in enumerate(asked.situations) if not each.operated), None)
    if here is None:
        return (), False, False
    read, meanings, as_fault, always = answer.read(), [], False, True
    everything = list(range(len(asked.windows)))
    for k in asked.in_run:
        met = read[here, k].nonzero()[0].tolist()
        meanings += [asked.windows[w].meaning for w in met]
        as_fault |= any(asked.windows[w].kind == "fault" for w in met)
        if answer.beyond_set(here, k, everything):
            meanings.append(INVALID)
        idle = asked.sorts["idle"]
        always &= bool(idle) and not answer.beyond_set(here, k, idle)
    return tuple(dict.fromkeys(meanings)), as_fault, always
