"""Meanings that a reading passes on its way from one situation to the next.

Answers: how long may the filtered pin dwell in a command's window that neither end may read, and is that shorter than
         the controller's debounce?
Units:   seconds; readings in the reading space; ohms, farads.
Touches: nothing.
Sources: charging of a capacitor through a resistance, ``v(t) = f + (v0 - f) exp(-t/tau)``: University Physics vol. 2
         (open textbook), section "RC Circuits". That a resistance seen between two points never rises when a
         conductance grows is Rayleigh's monotonicity law: P. G. Doyle and J. L. Snell, "Random Walks and Electric
         Networks" (open copy), section 1.4.1 (seen: memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pinproof.network import thevenin_resistance
from pinproof.observe.pin import box_of
from pinproof.proof.checks.common import (
    corner_states,
    could_be,
    listed,
    reading_words,
    seconds_words,
    situation_words,
)
from pinproof.proof.judging import Judged
from pinproof.proof.results import Finding
from pinproof.tables import contact_figure
from pinproof.verdict import Verdict
from pinproof.wiring import LineView

NAME = "transit"
Span = tuple[float, float]


def dwell_s(start: float, final: float, low: float, high: float, tau_s: float) -> float:
    """Time a first-order settling from `start` towards `final` spends between `low` and `high`. [s]

    Examples
    --------
    >>> round(dwell_s(0.60, 0.20, 0.45, 0.55, 1.0), 2)  # 0.55 to 0.45 on the way down to 0.20
    0.34
    >>> dwell_s(0.60, 0.50, 0.45, 0.55, 1.0)  # it stays there
    inf
    """
    if low <= final <= high:
        return math.inf
    falls = start > final
    enter = min(start, high) if falls else max(start, low)
    leave = low if falls else high
    if (falls and (final > high or enter <= low)) or (not falls and (final < low or enter >= high)):
        return 0.0
    return tau_s * math.log((enter - final) / (leave - final))


def worst_dwell_s(start: Span, final: Span, window: Span, tau_s: float) -> float:
    """Longest dwell over all starts and finals in their spans. [s]

    The dwell grows the farther off the start lies and the nearer the final lies to the window, so one corner decides
    for each direction.
    """
    low, high = window
    if final[1] >= low and final[0] <= high:
        return math.inf
    if final[1] < low:
        return dwell_s(start[1], final[1], low, high, tau_s)
    return dwell_s(start[0], final[0], low, high, tau_s)


@dataclass(frozen=True)
class Crossing:
    """A command's window that is passed when one contact moves. Times are bounds. [s]"""

    state: Judged
    before: tuple[str, ...]
    after: tuple[str, ...]
    contact: str
    command: str
    settle_s: float
    bounce_s: float | None  # None: not stated

    @property
    def bound_s(self) -> float:
        """Settle dwell plus bounce, as far as the bounce is stated."""
        return self.settle_s + (self.bounce_s or 0.0)


def transit(view: LineView, judged: Sequence[Judged]) -> tuple[Finding, ...]:
    """The longest passage through each command's window, against the debounce."""
    owner = view.input
    debounce_s = owner.debounce.low if owner.debounce else None
    if owner.filter is None and owner.filter_capacitance is None:
        return (*_unfiltered(view, debounce_s), *_detents(view, judged, debounce_s))
    worst: dict[str, Crossing] = {}
    unstated: dict[str, dict[str, None]] = {}  # per command, in the order met: contacts without a stated bounce
    for state in judged:
        for crossing in _crossings(view, state):
            known = worst.get(crossing.command)
            if known is None or crossing.bound_s > known.bound_s:
                worst[crossing.command] = crossing
            if crossing.bounce_s is None:
                unstated.setdefault(crossing.command, {})[crossing.contact] = None
    findings = [_finding(each, debounce_s, tuple(unstated.get(name, ()))) for name, each in worst.items()]
    if not findings:
        text = "No movement of one contact passes the window of a command that neither end may read."
        findings = [Finding(NAME, None, view.line.id, text)]
    return (*findings, *_detents(view, judged, debounce_s))


def time_constant_s(view: LineView, operated: Sequence[frozenset[str]]) -> list[float]:
    """Greatest time constant at the pin in each situation. [s]

    A stated filter time constant counts as it is: it holds with nothing connected, and a coder only lowers the
    resistance seen. A stated capacitance works with the situation's own Thevenin resistance, largest where every
    conductance is least. With both stated the larger counts.
    """
    owner = view.input
    fixed = owner.filter.high if owner.filter else 0.0
    if owner.filter_capacitance is None:
        return [fixed] * len(operated)
    low_s, _ = box_of(view, operated)
    seen_ohm = thevenin_resistance(view.net, low_s, view.pin)
    return [max(fixed, float(ohm) * owner.filter_capacitance.high) for ohm in seen_ohm]


def _crossings(view: LineView, state: Judged) -> Iterator[Crossing]:
    bounces = {contact.id: contact.bounce for contact in view.truck.contacts_of(view.line)}
    taus = time_constant_s(view, [each.key for each in state.situations])
    place = {situation.key: index for index, situation in enumerate(state.situations)}
    movements = [
        (before, after, moved)
        for before, situation in enumerate(state.situations)
        for moved in bounces
        if (after := place.get(situation.key ^ {moved})) is not None
    ]
    for readings, windows in corner_states(view, state):
        passed = [each for each in windows if each.kind == "command"]
        for before, after, moved in movements:
            start, final = readings[before], readings[after]
            if not (start.is_settled and final.is_settled):
                continue
            may = set(state.requirements[before].allowed) | set(state.requirements[after].allowed)
            for window in passed:
                if window.meaning in may or could_be(start, window) or could_be(final, window):
                    continue  # an end that may be read so at rest is judged as such, not as a passage
                ends = (start.low, start.high), (final.low, final.high)
                settle_s = worst_dwell_s(*ends, window.largest(), taus[after])
                if settle_s > 0.0:
                    bounce = bounces[moved]
                    yield Crossing(
                        state, state.situations[before].operated, state.situations[after].operated, moved,
                        window.meaning, settle_s, bounce.high if bounce else None,
                    )  # fmt: skip


def _finding(crossing: Crossing, debounce_s: float | None, unstated: Sequence[str]) -> Finding:
    state, unit = crossing.state, crossing.state.space.unit
    low, high = next(window for window in state.windows if window.meaning == crossing.command).stated()
    window = reading_words(max(low, 0.0), min(high, state.space.full_scale), unit)
    bounce = f" and {seconds_words(crossing.bounce_s)} of bounce" if crossing.bounce_s else ""
    text = (
        f"When {crossing.contact} moves ({situation_words(crossing.before)}, then {situation_words(crossing.after)})"
        f" the filtered pin passes `{crossing.command}` ({window}) for up to {seconds_words(crossing.bound_s)}"
        f" (settling {seconds_words(crossing.settle_s)}{bounce})."
    )
    numbers: dict[str, float | str] = {
        "settle_s": crossing.settle_s,
        "bound_s": crossing.bound_s,
        "command": crossing.command,
        "contact": crossing.contact,
        "key_state": state.key_state,
    }
    verdict, cures = None, []
    if debounce_s is None:
        text += " The debounce is not stated."
        cures.append("Find out how long the controller wants a reading to last; state it as `debounce`.")
    else:
        numbers["debounce_s"] = debounce_s
        if crossing.bound_s >= debounce_s:
            verdict = Verdict.NOT_SHOWN
            text += f" The debounce of {seconds_words(debounce_s)} does not surely hide that: a false command may come."
            cures.append(
                "A longer debounce, a smaller filter, a contact with less bounce, or codes in an order without this one"
                " in between."
            )
        else:
            aside = ", bounce aside" if unstated else ""
            text += f" The debounce of {seconds_words(debounce_s)} hides that{aside}."
    if unstated:
        usual = contact_figure("usual_bounce")
        text += f" The bounce of {listed(unstated)} is not stated and not counted."
        cures.insert(
            0,
            f"State the bounce of {listed(unstated)} (small switches: up to {seconds_words(usual.value)} is usual,"
            f" {usual.seen} source).",
        )
        numbers["bounce_not_stated"] = ", ".join(unstated)
    return Finding(NAME, verdict, "+".join(crossing.after) or "idle", text, numbers, " ".join(cures))


def _unfiltered(view: LineView, debounce_s: float | None) -> tuple[Finding, ...]:
    text = "No filter is stated at this input: a movement of one contact then switches between its two readings only."
    if debounce_s is not None:
        text += f" A debounce of {seconds_words(debounce_s)} is stated."
    cure = "Find out the filter's time constant or capacitance; a filtered pin passes what lies between."
    numbers: dict[str, float | str] = {}
    if debounce_s is None:
        text += " Nor is a debounce: bounce of a contact may count as several taps."
        cure = "Find out the filter and the debounce of this input; state `filter` and `debounce`."
        return (Finding(NAME, None, view.input.id, text, numbers, cure),)
    numbers["debounce_s"] = debounce_s
    long = [
        contact.id
        for contact in view.truck.contacts_of(view.line)
        if contact.bounce is not None and contact.bounce.high >= debounce_s
    ]
    if long:
        text += f" {listed(long)} may bounce longer than its {seconds_words(debounce_s)}: a tap may count twice."
    return (Finding(NAME, None, view.input.id, text, numbers, cure),)


def _detents(view: LineView, judged: Sequence[Judged], debounce_s: float | None) -> tuple[Finding, ...]:
    """Maintained contacts of one device that are swept on the way to one further on."""
    contacts = {contact.id: contact for contact in view.truck.contacts_of(view.line)}
    commands = {window.meaning for state in judged for window in state.windows if window.kind == "command"}
    out = []
    for device in view.truck.devices:
        for group in device.exclusive:
            detents = [contacts[name] for name in group if name in contacts and contacts[name].action == "maintained"]
            swept = [each for each in detents[1:-1] if each.asks in commands]
            if not swept:
                continue
            names = listed(f"{each.id} (`{each.asks}`)" for each in swept)
            least = f"more than the debounce of {seconds_words(debounce_s)}" if debounce_s else "long enough"
            text = (
                f"Moving {device.id} from {detents[0].id} to {detents[-1].id} sweeps {names}. If the hand stays there"
                f" {least}, the controller takes it as asked for."
            )
            numbers: dict[str, float | str] = {"swept": ", ".join(each.id for each in swept)}
            out.append(Finding(NAME, None, device.id, text, numbers))
    return tuple(out)
