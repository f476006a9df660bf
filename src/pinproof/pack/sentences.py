"""Findings of a proof as sentences for a tired reader.

Answers: what does the verdict rest on, what goes wrong in the worst situation, how much may a part drift?
Units:   readings in the reading space, written through an axis; parameters in ohms or volts.
Touches: nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from pinproof.drawings import words
from pinproof.drawings.axis import Axis
from pinproof.proof import resting_words
from pinproof.proof.results import DriftBudget, LineProof, RestsOn, SituationProof, TruckProof
from pinproof.verdict import Verdict, Window

HEADLINES = {
    Verdict.PASS: "Proven: every situation reads as it may",
    Verdict.WOULD_HOLD: "Would hold if the windows are as assumed",
    Verdict.NOT_SHOWN: "Not shown: the numbers do not prove it",
    Verdict.FAIL: "Does not hold",
}


def headline(verdict: Verdict, rests_on: Sequence[RestsOn] = ()) -> str:
    """The verdict of a truck or a line in a few words; one that is good says how many weak numbers it leans on."""
    told = resting_words(rests_on) if verdict.holds else ""
    return f"{HEADLINES[verdict]}; rests on {told}" if told else HEADLINES[verdict]


def rests_rows(rests_on: Sequence[RestsOn]) -> list[tuple[str, str, str, str]]:
    """Number, as the file states it, basis, why it matters; the one to measure first at the head."""
    return [
        (
            words.parameter(each.number) + (f", used by {len(each.parts)} parts" if len(each.parts) > 1 else ""),
            each.text + (f" (line {each.line})" if each.line is not None else ""),
            each.basis,
            words.sentence(each.what),
        )
        for each in sorted(rests_on, key=lambda each: each.urgency)
    ]


def what_decides(proof: TruckProof) -> str:
    """One sentence on which line and situation decide the whole."""
    weak = [line for line in proof.lines if line.verdict is proof.verdict]
    if not proof.lines:
        return "The design has no coded line, so there is nothing to prove."
    if proof.verdict is Verdict.PASS:
        count = len({row.operated for row in proof.situations})
        return (
            f"All {count} situations hold at every corner of supply, temperature, tolerance, wear and leakage stated."
        )
    names = words.all_of([line.line for line in weak])
    return f"{'Line' if len(weak) == 1 else 'Lines'} {names} {'decides' if len(weak) == 1 else 'decide'} this."


def measure_first(rests_on: Sequence[RestsOn], verdict: Verdict) -> str:
    """What to measure first, or that nothing weak is leaned on."""
    if not rests_on:
        return "It rests on no assumed or borrowed number." if verdict is Verdict.PASS else ""
    names = [words.parameter(each.number) for each in sorted(rests_on, key=lambda each: each.urgency)[:3]]
    more = len(rests_on) - len(names)
    tail = f" {more} more weak numbers are listed below." if more > 1 else ""
    return f"Measure first: {_then(names)}.{tail}"


def _then(names: Sequence[str]) -> str:
    return ", then ".join(names)


def worst_sentence(row: SituationProof, axis: Axis, windows: Iterable[Window]) -> str:
    """What the deciding situation reads, against what, and what that means for the driver."""
    name = _with(row)
    shown = axis.span(row.low, row.high)
    if math.isnan(row.low) or math.isnan(row.high):
        return words.sentence(f"{name} there is no settled reading: {row.why or 'the pin floats'}")
    near = next((window for window in windows if window.meaning == row.window), None)
    told = _against_foreign(row, axis, near) if words.must_be_clear(row) else _against_own(row, axis, near)
    return words.sentence(f"{name} the pin {words.reads(shown)}{told}")


def _with(row: SituationProof) -> str:
    return f"With {words.operated(row.operated)}{' operated,' if row.operated else ','}"


def _against_foreign(row: SituationProof, axis: Axis, near: Window | None) -> str:
    if near is None:
        return "; no foreign window is in reach"
    extent = _clipped(axis, near.largest())
    if row.verdict is Verdict.FAIL:
        return (
            f", and {near.meaning} may reach from {extent}: it can be taken for {near.meaning}, which nobody asked for"
        )
    if row.verdict is Verdict.NOT_SHOWN:
        return f", and {near.meaning} may reach from {extent}: whether it can be taken for {near.meaning} is not shown"
    return f"; the nearest foreign window, {near.meaning}, may reach from {extent}: clear of it, {words.margin(row)}"


def _against_own(row: SituationProof, axis: Axis, near: Window | None) -> str:
    wanted = words.either(words.allowed(row))
    if near is None:
        return f"; no window is known for {wanted}"
    low, high = near.guaranteed()
    stated, certain = _clipped(axis, near.stated()), _clipped(axis, (low, high))
    told = f"is stated as {stated} and sure" if stated != certain else "is"
    sure = f"{told} from {certain}" if low < high else "is nowhere sure"
    if row.verdict.holds:
        return f"; {near.meaning} {sure}: inside, {words.margin(row)}"
    foreign = [each for each in row.reads_as if each not in row.allowed and each != words.INVALID]
    harm = f"it can be taken for {words.either(foreign)}" if foreign else f"{wanted} can be lost"
    doubt = "" if row.verdict is Verdict.FAIL else ", as far as the numbers show"
    return f", but {near.meaning} {sure}: {harm}{doubt}"


def _clipped(axis: Axis, ends: tuple[float, float]) -> str:
    return axis.span(max(ends[0], 0.0), min(ends[1], axis.full))


def drift_sentences(line: LineProof, most: int) -> tuple[list[str], int]:
    """How far parts may drift, the tightest first, and how many more there are. One sentence for each part and way."""
    tightest: dict[tuple[str, str], tuple[DriftBudget, SituationProof]] = {}
    for row in line.situations:
        for budget in row.budgets:
            key = (budget.parameter, budget.direction)
            if key not in tightest or budget.strain < tightest[key][0].strain:
                tightest[key] = (budget, row)
    ordered = sorted(tightest.values(), key=lambda pair: pair[0].strain)
    return [drift_sentence(budget, row) for budget, row in ordered[:most]], max(len(ordered) - most, 0)


def drift_sentence(budget: DriftBudget, row: SituationProof) -> str:
    """One drift budget: until when it works, from where it is a false command."""
    thing = words.parameter(budget.parameter)
    up = budget.direction == "up"
    move = "rise" if up else "fall"
    counted = f"counted on: {'up' if up else 'down'} to {words.value(budget.end, budget.unit)}"
    false = ""
    if budget.false_at is not None:
        side = "above" if up else "below"
        at = "that" if budget.false_at == budget.lost_at else words.value(budget.false_at, budget.unit)
        false = f"{side} {at} it can be taken for {budget.false_as or 'a command'}"
    if budget.lost_at is None:
        told = false or f"this works however far it {move}s"
        return words.sentence(f"{_with(row)} {thing}: {told} ({counted})")
    inside = budget.lost_at < budget.end if up else budget.lost_at > budget.end
    may = "may only" if inside else "may"
    still = "less than is counted on" if inside else "and it still works"
    at = words.value(budget.lost_at, budget.unit)
    told = f"{_with(row)} {thing} {may} {move} to {at}, {still} ({counted})"
    return words.sentence(f"{told}; {false}" if false else told)
