"""Heat in the coder's resistors, and volts at the pin, in use and under the worst the supply can do.

Answers: what does each resistor dissipate, also with its node shorted, and which usual size survives that?
Units:   watts, volts, degrees Celsius.
Touches: nothing.
Sources: Joule's law. Bodies of 0.25, 0.5 and 1 W that carry their rating up to 70 °C and nothing at 155 °C, with a
         straight line between: common practice, no source.

Powers are reached at a corner of the box (see `corner_search`), with the supply at the volts of each case.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pinproof.design.words import parameter
from pinproof.network import Reading as NodeReading
from pinproof.network import edge_powers, span
from pinproof.observe import ReadingSpace
from pinproof.observe.pin import box_of, sources_of
from pinproof.proof.checks.common import coded_node, edited, listed, situation_words
from pinproof.proof.checks.corner_search import extreme
from pinproof.proof.judging import Judged
from pinproof.proof.results import Finding
from pinproof.quantities import format_value
from pinproof.wiring import Branch, LineView

NAME = "heat"
USUAL_W = (0.25, 0.5, 1.0)
STURDY_W = 0.5  # least body that is bought and built in: its leads stand vibration (common practice, no source)
NOT_WORKED_OUT = "not worked out"
FULL_UNTIL_C = 70.0
NOTHING_AT_C = 155.0
LASTING = ("run", "short_to_ground", "short_to_battery")  # cases that last until someone acts
CLIMBED = 2  # situations per resistor whose corners are searched, those that look hottest first
VOLTS = ReadingSpace("volts", None, 1.0, float("inf"), "V")


@dataclass(frozen=True)
class Case:
    """A supply and what is shorted. `words` completes "... W"."""

    key: str
    words: str
    supply_v: float
    joined_to: str | None = None  # a rail


@dataclass(frozen=True)
class Hot:
    """The hottest a resistor gets in one case. [W]"""

    case: Case
    power_w: float
    operated: tuple[str, ...]


def rating_w(body_w: float, temp_c: float) -> float:
    """What a body of this nominal rating carries at an ambient temperature. [W]

    Examples
    --------
    >>> rating_w(0.25, 25.0), rating_w(0.25, 112.5), rating_w(0.25, 160.0)
    (0.25, 0.125, 0.0)
    """
    share = (NOTHING_AT_C - temp_c) / (NOTHING_AT_C - FULL_UNTIL_C)
    return body_w * min(max(share, 0.0), 1.0)


def smallest_body_w(power_w: float, temp_c: float) -> float | None:
    """Smallest usual body that carries this power at this temperature; None above the largest. [W]"""
    return next((body_w for body_w in USUAL_W if power_w <= rating_w(body_w, temp_c)), None)


def bought_body_w(power_w: float, temp_c: float) -> float | None:
    """Body to buy for this power at this temperature, never below `STURDY_W`; None above the largest. [W]

    >>> bought_body_w(0.01, 25.0), bought_body_w(0.9, 25.0), bought_body_w(1.1, 25.0)
    (0.5, 1.0, None)
    """
    body_w = smallest_body_w(power_w, temp_c)
    return None if body_w is None else max(body_w, STURDY_W)


def bodies_w(
    paths: Iterable[str], findings: Sequence[Finding], stated_w: Mapping[str, float | None] | None = None
) -> dict[str, float | str]:
    """Body to buy for each resistor, by its design path [W], or why none is known.

    `findings` are those of its line: what no finding of this check asks more for gets `STURDY_W`. `stated_w` are the
    ratings that the file states, by path; one that is enough is taken as it is.
    """
    mine = {finding.subject: finding.numbers for finding in findings if finding.check == NAME}
    found: dict[str, float | str] = {}
    for path in paths:
        numbers = mine.get(path, {})
        wanted = [numbers[name] for name in ("use_body_w", "fault_body_w") if name in numbers]
        words = [each for each in wanted if isinstance(each, str)]
        if not mine:
            found[path] = NOT_WORKED_OUT
        else:
            needed = max((float(each) for each in wanted if not isinstance(each, str)), default=USUAL_W[0])
            stated = (stated_w or {}).get(path)
            bought = stated if stated is not None and stated >= needed else max(needed, STURDY_W)
            found[path] = words[0] if words else bought
    return found


def most_times(findings: Sequence[Finding], temp_c: float, stiff: bool) -> dict[str, tuple[float, float]]:
    """By which factor the ohms may fall, and grow, before the largest usual body could overheat, by design path.

    Parameters
    ----------
    findings : of one line
    temp_c : float
        Counts where no finding says how hot the place gets. [°C]
    stiff : bool
        A resistor of this line that is shorted lies between two rails but for wires and contacts: not in a ladder, not
        in free elements. More ohms are then cooler in a short.

    Notes
    -----
    Behind any source V with Rs, V² R/(R + Rs)² grows at most k-fold when R becomes k-fold or a k-th.
    """
    found: dict[str, tuple[float, float]] = {}
    use = ("run_w", "jump_start_w", "load_dump_w")
    for finding in findings:
        if finding.check != NAME:
            continue
        numbers, at_c = finding.numbers, float(finding.numbers.get("temp_c", temp_c))
        if "run_w" in numbers:
            shorted = [float(numbers[each]) for each in ("short_to_ground_w", "short_to_battery_w") if each in numbers]
            used = max(float(numbers[each]) for each in use if each in numbers)
            hot = {finding.subject: (max(used, *shorted), used if stiff else max(used, *shorted))}
        else:
            hot = {path: (float(size), float(size)) for path, size in numbers.items()}
        for path, powers in hot.items():
            down, up = (rating_w(USUAL_W[-1], at_c) / each if each > 0.0 else math.inf for each in powers)
            found[path] = (down, up)
    return found


def body_words(body: float | str) -> str:
    """A body in words: "0.5 W"."""
    return body if isinstance(body, str) else format_value(body, "power") if body >= 1.0 else f"{body:g} W"


def body_sentence(parts: Iterable[tuple[float, float | str]]) -> str:
    """Which bodies to buy, in a sentence, from pairs of value [Ω] and body; "" where none is worked out.

    >>> body_sentence([(270.0, 1.0), (1000.0, 0.5), (1500.0, 0.25), (3900.0, 0.25)])
    'Bodies: 1 W for 270 Ω, 0.5 W for 1 kΩ, 0.25 W for the others.'
    """
    known = [(ohm, body) for ohm, body in parts if body != NOT_WORKED_OUT]
    hopeless = sorted({ohm for ohm, body in known if isinstance(body, str)})
    sizes: dict[float, set[float]] = {}
    for ohm, body in known:
        if not isinstance(body, str):
            sizes.setdefault(body, set()).add(ohm)
    told = []
    for body in sorted(sizes, reverse=True):
        last = body == min(sizes)
        alone = last and len(sizes) == 1 and not hopeless
        whose = "all of them" if alone else "the others" if last else listed(_ohms(ohm) for ohm in sorted(sizes[body]))
        told.append(f"{body_words(body)} for {whose}")
    sentences = [f"Bodies: {', '.join(told)}."] if told else []
    if hopeless:
        verb = "overheats" if len(hopeless) == 1 else "overheat"
        named = listed(_ohms(ohm) for ohm in hopeless)
        sentences.insert(0, f"{named} {verb} even as 1 W in the worst case: see the finding `heat`.")
    return " ".join(sentences)


def _ohms(ohm: float) -> str:
    return format_value(ohm, "resistance", digits=6)


def heat(view: LineView, judged: Sequence[Judged]) -> tuple[Finding, ...]:
    """A loud finding for each resistor that a quarter-watt body does not survive, one note on the rest, and the pin."""
    hottest = powers_w(view, judged)
    findings, quiet = [], []
    for branch in _resistors(view):
        hot = hottest.get(branch.id, ())
        temp_c = _temp_c(view, branch)
        worst = max(hot, key=lambda one: one.power_w, default=None)
        if worst is None:
            continue
        if smallest_body_w(worst.power_w, temp_c) == USUAL_W[0]:
            quiet.append((branch, worst))
        else:
            findings.append(_loud(branch, hot, temp_c))
    if quiet:
        branch, worst = max(quiet, key=lambda pair: pair[1].power_w)
        which = f"{'All' if not findings else 'The other'} {len(quiet)} resistors stay"
        if len(quiet) == 1:
            which = f"{parameter(branch.id)} stays"
        text = (
            f"{which} at or under {_watts(worst.power_w)} (most in the {parameter(branch.id)}: {worst.case.words}):"
            " quarter-watt bodies survive that."
        )
        numbers: dict[str, float | str] = {one.id: hot.power_w for one, hot in quiet}
        findings.append(Finding(NAME, None, view.line.id, text, numbers))
    return (*findings, *_pin(view, judged))


def cases_of(view: LineView) -> tuple[Case, ...]:
    """Supplies and shorts to look at: the highest of run, jump start, load dump, and the node shorted either way."""
    supply = view.truck.supply
    most_v = supply.run.high
    found = [Case("run", f"in use at {_volts(most_v)}", most_v)]
    if supply.jump_start is not None:
        at_v = supply.jump_start.high
        found.append(Case("jump_start", f"jump start at {_volts(at_v)}", at_v))
    if supply.load_dump is not None:
        at_v = supply.load_dump.high
        found.append(Case("load_dump", f"load dump at {_volts(at_v)}, for less than half a second", at_v))
    where = "the pin" if coded_node(view) == view.pin else "the coded wire"
    rail = f"return@{view.line.id}"
    found.append(Case("short_to_ground", f"{where} shorted to ground at {_volts(most_v)}", most_v, rail))
    found.append(Case("short_to_battery", f"{where} shorted to battery at {_volts(most_v)}", most_v, "battery"))
    return tuple(found)


def powers_w(view: LineView, judged: Sequence[Judged]) -> dict[str, tuple[Hot, ...]]:
    """Hottest power of each coder resistor in each case, by its id. [W]"""
    situations = judged[0].situations
    operated = [situation.key for situation in situations]
    out: dict[str, list[Hot]] = {}
    views: dict[str | None, LineView] = {}
    for case in cases_of(view):
        if case.joined_to not in views:
            joined = [(coded_node(view), case.joined_to)] if case.joined_to else []
            views[case.joined_to] = edited(view, joined=joined, whole=True) if joined else view
        seen = views[case.joined_to]
        columns = np.array([i for i, branch in enumerate(seen.branches) if branch.kind == "resistor"], dtype=np.intp)
        if not columns.size:
            continue
        _, sources = sources_of(seen, "run", VOLTS, {"supply": case.supply_v})
        low_s, high_s = box_of(seen, operated)
        guess = np.zeros((len(operated), columns.size))
        for ends in (low_s, high_s):
            for cause in (sources.cause_low, sources.cause_high):
                got = edge_powers(seen.net, ends, sources.rail_v(cause))[:, columns]
                guess = np.fmax(guess, got)
        tries = np.argsort(-guess, axis=0, kind="stable")[:CLIMBED]
        rows = tries.T.reshape(-1)
        edges = np.repeat(columns, tries.shape[0])
        found = extreme(seen.net, low_s[rows], high_s[rows], sources, edges, "power", largest=True)
        found = np.nan_to_num(found, nan=0.0).reshape(columns.size, -1)
        for number, column in enumerate(columns.tolist()):
            pick = int(found[number].argmax())
            where = situations[int(tries[pick, number])].operated
            out.setdefault(seen.branches[column].id, []).append(Hot(case, float(found[number, pick]), where))
    return {name: tuple(hot) for name, hot in out.items()}


def _resistors(view: LineView) -> list[Branch]:
    return [branch for branch in view.branches if branch.kind == "resistor"]


def _temp_c(view: LineView, branch: Branch) -> float:
    for place in view.truck.places:
        if place.id == branch.place and place.temperature is not None:
            return place.temperature.high
    return view.truck.temperature.high


def _loud(branch: Branch, hot: Sequence[Hot], temp_c: float) -> Finding:
    use = max((one for one in hot if one.case.joined_to is None), key=lambda one: one.power_w)
    fault = max((one for one in hot if one.case.joined_to is not None), key=lambda one: one.power_w)
    quarter_w = rating_w(USUAL_W[0], temp_c)
    worst = use if use.power_w > quarter_w else fault
    burns = "burns" if worst.power_w > 2.0 * quarter_w and worst.case.key in LASTING else "overheats"
    text = (
        f"{_large(parameter(branch.id))} ({format_value(branch.nominal_ohm, 'resistance')}) takes"
        f" {_watts(worst.power_w)}: {worst.case.words}, {situation_words(worst.operated)}. A quarter-watt part {burns}:"
        f" it carries {_watts(quarter_w)} at {format_value(temp_c, 'temperature', digits=3)}."
    )
    body_w = smallest_body_w(max(use.power_w, fault.power_w), temp_c)
    normal = max((one for one in hot if one.case.key == "run"), key=lambda one: one.power_w)
    text += f" In normal use it takes {_watts(normal.power_w)}."
    numbers: dict[str, float | str] = {f"{one.case.key}_w": one.power_w for one in hot}
    numbers |= {"temp_c": temp_c, "quarter_watt_carries_w": quarter_w}
    numbers["use_body_w"] = smallest_body_w(use.power_w, temp_c) or "none up to 1 W"
    numbers["fault_body_w"] = smallest_body_w(fault.power_w, temp_c) or "none up to 1 W"
    if body_w is None:
        cure = "No usual body up to 1 W survives that: a higher value, several parts in series, or a cooler place."
    else:
        cure = f"Fit a body of {body_w:g} W."
    return Finding(NAME, None, branch.id, text, numbers, cure)


def _pin(view: LineView, judged: Sequence[Judged]) -> tuple[Finding, ...]:
    """Volts at the pin against the most it may take."""
    limit = view.input.max_pin
    if limit is None:
        return ()
    situations = judged[0].situations
    low_s, high_s = box_of(view, [situation.key for situation in situations])
    worst: tuple[float, Case, tuple[str, ...]] | None = None
    for case in cases_of(view):
        seen, low, high = view, low_s, high_s
        if case.joined_to == "battery":
            seen = edited(view, joined=[(coded_node(view), "battery")])
            low, high = box_of(seen, [situation.key for situation in situations])
        elif case.joined_to is not None:
            continue
        _, sources = sources_of(seen, "run", VOLTS, {"supply": case.supply_v})
        volts = span(seen.net, low, high, sources, NodeReading(seen.pin)).high
        index = int(np.nan_to_num(volts, nan=-np.inf).argmax())
        if np.isfinite(volts[index]) and (worst is None or volts[index] > worst[0]):
            worst = (float(volts[index]), case, situations[index].operated)
    if worst is None or worst[0] <= limit.low:
        return ()
    most_v, case, operated = worst
    text = (
        f"The pin sees up to {_volts(most_v)} ({case.words}, {situation_words(operated)}), more than the"
        f" {_volts(limit.low)} it may take."
    )
    first = "Keep the coded wire away from battery wires;" if case.joined_to else "It takes no fault:"
    cure = f"{first} ask the controller's maker what protects the pin."
    return (Finding(NAME, None, view.input.id, text, {"pin_v": most_v, "max_pin_v": limit.low}, cure),)


def _watts(power_w: float) -> str:
    return "less than 1 mW" if power_w < 1e-3 else format_value(power_w, "power", digits=3)


def _volts(at_v: float) -> str:
    return format_value(at_v, "voltage", digits=3)


def _large(text: str) -> str:
    """The first letter large, for the head of a sentence."""
    return text[:1].upper() + text[1:]
