"""The truth table: every detent and mid-travel point, with and without a start request, lever plugged and unplugged.

Answers: does it crank where it must, surely, and nowhere else, whatever the parts are within their ranges; at how many
         volts of the battery does a permitted position still surely crank.
Units:   volts.
Touches: nothing.
Beside:  `ask` says what can be; docs/inhibit.md has the rules of the verdicts.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

from pinproof.inhibit.ask import Answer, Question, answers
from pinproof.inhibit.boxes import Bench, Situation
from pinproof.inhibit.circuit import Circuit, Supply
from pinproof.inhibit.results import Cell, Row
from pinproof.inhibit.states import coil_volts, others_can
from pinproof.verdict import Verdict

MOST_UNSURE = 6
"""Of so many elements that nobody knows at a point every choice is tried; with more the cell is not shown at best."""
STEPS = 24
CRANKS: tuple[Question, ...] = ("holds", "pulls_in")
FAILS: tuple[Question, ...] = ("stays_out", "refuses")
DROPS: tuple[Question, ...] = ("lets_go", "drops")


def truth_table(circuit: Circuit, *, least_supply: bool = True) -> tuple[Row, ...]:
    """Rows in order of travel, three cells each: requested, not requested, unplugged with a request. Without
    `least_supply` the least battery volts are not looked for, which takes longest."""
    bench = Bench(circuit)
    return tuple(_row(bench, point, least_supply) for point in circuit.points)


def _row(bench: Bench, point: str, least_supply: bool) -> Row:
    permitted = point in bench.circuit.permitted
    keys = [each.key for each in bench.circuit.supplies]
    first = _cranks(bench, point) if permitted else _no(bench, [Situation(point, True, key) for key in keys])
    cells = (
        first,
        _no(bench, [Situation(point, False, key) for key in keys]),
        _no(bench, [Situation(point, True, key, unplugged=True) for key in keys]),
    )
    least = _least_supply(bench, point) if permitted and least_supply else None
    return Row(point, point not in bench.circuit.positions, permitted, cells, least)


def _no(bench: Bench, situations: Sequence[Situation]) -> Cell:
    """A cell in which it must not crank, in any of these key states."""
    found = answers(bench, situations, CRANKS)
    unsure: tuple[str, ...] = ()
    if not any(each.cranks() for each in found):
        verdict = Verdict.PASS
    else:
        unsure = () if situations[0].unplugged else bench.unsure_at(situations[0].point)
        verdict = Verdict.FAIL
        if len(unsure) > MOST_UNSURE:
            verdict = Verdict.NOT_SHOWN
        for sure in _choices(unsure) if verdict is Verdict.FAIL else ():
            mine = answers(bench, [replace(each, sure=sure) for each in situations], CRANKS)
            if not any(each.cranks(inner=True) for each in mine):
                verdict = Verdict.NOT_SHOWN
                break
    if verdict is not Verdict.NOT_SHOWN:
        unsure = ()
    return _cell(bench, situations, "no", verdict, found, unsure)


def _choices(unsure: Sequence[str]) -> list[frozenset[str]]:
    return [frozenset(some) for count in range(len(unsure) + 1) for some in combinations(unsure, count)]


def _cranks(bench: Bench, point: str) -> Cell:
    """The cell in which it must crank: pull in at run, stay in at crank."""
    run, *others = wanted_cranks(bench.circuit, point)
    at_run = answers(bench, [run], (*CRANKS, *FAILS))
    at_crank = answers(bench, others, (*CRANKS, *DROPS))
    fails = any(each.refuses.inner or each.chatters.inner for each in at_run)
    fails |= any(each.drops.inner or each.chatters.inner for each in at_crank)
    if sure_to_crank(at_run, at_crank):
        verdict = Verdict.PASS
    else:
        verdict = Verdict.FAIL if fails else Verdict.NOT_SHOWN
    unsure = bench.unsure_at(point) if verdict is not Verdict.PASS else ()
    return _cell(bench, [run, *others], "cranks", verdict, [*at_run, *at_crank], unsure)


def wanted_cranks(circuit: Circuit, point: str) -> list[Situation]:
    """The situations in which a permitted position must crank: pull in with the first, stay in with the others."""
    keys = [each.key for each in circuit.supplies]
    first = "run" if "run" in keys else keys[0]
    listed = [first, *(key for key in keys if key != first)]
    return [Situation(point, True, key, willing=True) for key in listed]


def sure_to_crank(at_run: Sequence[Answer], at_crank: Sequence[Answer]) -> bool:
    """No truck in which it stays out at run, lets go while cranking, or chatters."""
    every = [each.stays_out for each in at_run] + [each.lets_go for each in at_crank]
    every += [each.chatters for each in (*at_run, *at_crank)]
    return not any(each.outer for each in every)


def _cell(
    bench: Bench, situations: Sequence[Situation], wanted: str, verdict: Verdict, found: Sequence[Answer],
    unsure: tuple[str, ...],
) -> Cell:  # fmt: skip
    pull: list[tuple[float, float, bool]] = []
    hold: list[tuple[float, float, bool]] = []
    for situation in situations:
        for closed in others_can(bench, situation):
            (hold if closed[bench.coil] else pull).append(coil_volts(bench, situation, closed, bench.coil))
    first = situations[0]
    history = any(each.holds.outer and (each.stays_out.outer or not each.pulls_in.outer) for each in found)
    return Cell(
        first.request,
        "unplugged" if first.unplugged else "plugged",
        wanted,
        verdict,
        _range(pull),
        _range(hold),
        all(each[2] for each in (*pull, *hold)),
        any(each.chatters.outer for each in found),
        history,
        unsure,
    )


def _range(listed: Sequence[tuple[float, float, bool]]) -> tuple[float, float]:
    return min((each[0] for each in listed), default=0.0), max((each[1] for each in listed), default=0.0)


def _least_supply(bench: Bench, point: str) -> float | None:
    """Least battery volts at which this point still surely pulls in; None if not even the highest does. [V]"""
    run = wanted_cranks(bench.circuit, point)[0]
    most = next(each.high_v for each in bench.circuit.supplies if each.key == run.key)

    def sure(volts: float) -> bool:
        at = copy.copy(bench)
        at.circuit = replace(bench.circuit, supplies=(Supply(run.key, volts, volts),))
        return sure_to_crank(answers(at, [run], FAILS), [])

    if not sure(most):
        return None
    low, high = 0.0, most
    for _ in range(STEPS):
        middle = (low + high) / 2.0
        low, high = (low, middle) if sure(middle) else (middle, high)
    return high
