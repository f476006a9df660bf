"""Drift budgets and weakest links.

Answers: how far may one parameter move, with all others at their worst, until the wanted meaning is no longer sure and
         until a command nobody gave can be read; which parameter gives way first, measured by what may be wrong with
         it.
Units:   ohms and volts; readings in ratio or volts.
Touches: nothing.
Beside:  `doubts` says how wrong a number may be, `rests` which of them a verdict leans on.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pinproof.network import excursions, span
from pinproof.observe import shared_parameters, windows_in
from pinproof.observe.pin import box_of, node_reading, sources_of
from pinproof.proof.doubts import doubt_of
from pinproof.proof.judging import Judged, judge, shared_corners
from pinproof.proof.results import DriftBudget, SituationProof
from pinproof.verdict import Reading, Window
from pinproof.verdict.doubt import USUAL_ERROR
from pinproof.wiring import LineView

LEAST_OHM = 1.0  # a resistance near zero drifts by ohms, not by a share of itself
LEAST_V = 0.1  # so does a voltage near zero


@dataclass(frozen=True)
class Parameter:
    """One number that can drift: a branch of the circuit (`column`) or a cause behind the rails (`cause`)."""

    path: str
    column: int | None
    cause: int | None
    directions: tuple[str, ...]
    low: float
    high: float
    nominal: float
    unit: str
    basis: str
    doubt: float  # how wrong the stated range may be, as a share of the number
    positive: bool = False  # a supply or a reference: below zero it means nothing


def parameters_of(view: LineView, judged: Judged, operated: frozenset[str]) -> tuple[Parameter, ...]:
    """Every parameter of a situation that can drift, in the order of the netlist."""
    return (*_branch_parameters(view, operated), *_cause_parameters(view, judged))


def _branch_parameters(view: LineView, operated: frozenset[str]) -> Iterator[Parameter]:
    for column, branch in enumerate(view.branches):
        path = view.parameter(column, operated)
        basis = view.parameter_basis(column, operated)
        is_open = branch.kind == "contact" and path.endswith(".open")
        if is_open or branch.kind == "leak":
            least = branch.open_low_ohm if is_open else branch.low_ohm
            yield Parameter(path, column, None, ("down",), least, math.inf, math.inf, "ohm", basis, USUAL_ERROR[basis])
        elif branch.kind in ("contact", "wire"):
            yield Parameter(
                path, column, None, ("up",), branch.low_ohm, branch.high_ohm, branch.nominal_ohm, "ohm", basis,
                USUAL_ERROR[basis],
            )  # fmt: skip
        else:
            temperature = view.truck.temperature
            least, most = branch.factor_at(temperature.low, temperature.high)
            yield Parameter(
                path, column, None, ("up", "down"), branch.low_ohm * least, branch.high_ohm * most, branch.nominal_ohm,
                "ohm", basis, doubt_of(view.truck, branch),
            )  # fmt: skip


def _cause_parameters(view: LineView, judged: Judged) -> Iterator[Parameter]:
    ids = view.cause_ids(judged.space.divisor)
    for index, cause in enumerate(view.causes(judged.key_state, judged.space.divisor)):
        path = f"supply.{judged.key_state}" if ids[index] == "supply" else cause.id
        yield Parameter(
            path, None, index, ("up", "down"), cause.low_v, cause.high_v, cause.nominal_v, "V", cause.basis,
            USUAL_ERROR[cause.basis], positive=ids[index] == "supply" or cause.id.startswith("input."),
        )  # fmt: skip


def with_budgets(view: LineView, judged: Judged) -> list[SituationProof]:
    """The rows of a judged state with their weakest links, and in key state run with their drift budgets."""
    known = gains(view, judged)
    holding = [
        index
        for index, row in enumerate(judged.rows)
        if judged.key_state == "run" and row.verdict.holds and not row.why
    ]
    budgets = budgets_of(view, judged, holding)
    rows = []
    for index, row in enumerate(judged.rows):
        mine = budgets.get(index, ())
        weakest = min(mine, key=lambda each: each.urgency).parameter if mine else ""
        if not weakest and known[index]:
            weakest = max(known[index], key=lambda path: known[index][path])
        rows.append(dataclasses.replace(row, budgets=mine, weakest=weakest))
    return rows


def budgets_of(view: LineView, judged: Judged, indices: Sequence[int]) -> dict[int, tuple[DriftBudget, ...]]:
    """Drift budgets of situations that hold, by their index: parameters that can overturn them, the nearest first.

    Where edges were found by substitution on this pin, the pulls, the reference and the supply move readings and edges
    together and have no budget of their own.
    """
    if not indices:
        return {}
    shared = set(shared_parameters(view.truck, view.line)) if not view.line.free else set()
    corners: list[Mapping[str, float]] = list(shared_corners(view, judged.key_state, judged.space)) if shared else [{}]
    crossings: dict[tuple[int, str, str], list[_Crossing]] = {}
    for corner in corners:
        for key, found in _crossings_at(view, judged, indices, corner):
            crossings.setdefault(key, []).append(found)
    out: dict[int, list[DriftBudget]] = {index: [] for index in indices}
    for index in indices:
        for parameter in parameters_of(view, judged, judged.situations[index].key):
            if parameter.path in shared or (
                parameter.cause is not None and "supply" in shared and "supply." in parameter.path
            ):
                continue
            for direction in parameter.directions:
                one = _budget(parameter, direction, crossings.get((index, parameter.path, direction), ()))
                if one is not None:
                    out[index].append(one)
    return {index: tuple(sorted(found, key=lambda each: each.urgency)) for index, found in out.items()}


@dataclass(frozen=True)
class _Crossing:
    """Where one level is first reached by moving one parameter; `command` is "" where a meaning is lost."""

    at: float
    command: str
    exact: bool


def _crossings_at(
    view: LineView, judged: Judged, indices: Sequence[int], corner: Mapping[str, float]
) -> Iterator[tuple[tuple[int, str, str], _Crossing]]:
    """Every first crossing of every level, keyed by situation, parameter and direction."""
    operated = [judged.situations[index].key for index in indices]
    _, sources = sources_of(view, judged.key_state, judged.space, corner)
    low_s, high_s = box_of(view, operated, corner)
    reading = node_reading(view, judged.space)
    levels = [levels_of(view, judged, index, corner) for index in indices]
    for side in ("low", "high"):
        mine = [[level for level in each if level.side == side] for each in levels]
        width = max((len(each) for each in mine), default=0)
        rows = [row for row, each in enumerate(mine) if each]
        if not rows:
            continue
        at = np.full((len(rows), width), np.nan)
        for place, row in enumerate(rows):
            at[place, : len(mine[row])] = [level.at for level in mine[row]]
        parameters = [
            {(each.column, each.cause): each for each in parameters_of(view, judged, operated[row])} for row in rows
        ]
        for column, cause in parameters[0]:
            which: str | int = view.net.edges[column].id if column is not None else cause if cause is not None else 0
            found = excursions(view.net, low_s[rows], high_s[rows], sources, reading, which, at, side)
            for place, row in enumerate(rows):
                parameter = parameters[place][column, cause]
                for direction in parameter.directions:
                    falls = (direction == "up") == (column is not None)  # more ohms are less siemens
                    reached = (found.falling if falls else found.rising)[place]
                    for level, value in zip(mine[row], reached, strict=False):
                        if not math.isnan(value) and not (parameter.positive and value <= 0.0):
                            ohm_or_v = float(value) if column is None else (math.inf if value == 0.0 else 1.0 / value)
                            yield (
                                (indices[row], parameter.path, direction),
                                _Crossing(ohm_or_v, level.command, bool(found.exact[place])),
                            )


def _budget(parameter: Parameter, direction: str, found: Sequence[_Crossing]) -> DriftBudget | None:
    """The budget of one parameter in one direction; None if nothing is ever lost."""
    lost = _nearest(direction, [each.at for each in found if not each.command])
    false = _nearest(direction, [each.at for each in found if each.command])
    first = _nearest(direction, [lost, false])
    if first is None:
        return None
    name = next((each.command for each in found if each.command and each.at == false), "")
    end = parameter.high if direction == "up" else parameter.low
    return DriftBudget(
        parameter.path, direction, end, lost, false, name, parameter.unit, parameter.basis,
        strain(parameter.unit, end, first, parameter.doubt, positive=parameter.positive),
        all(each.exact for each in found),
    )  # fmt: skip


def strain(unit: str, end: float, reached: float, doubt: float, *, positive: bool = False) -> float:
    """Drift from `end` to `reached` in units of how wrong the number may be (`doubt`, a share of it). [1]

    Ohms and supplies (`positive`) drift by a factor, its logarithm counts; near zero ohms, and for drops and offsets,
    the difference counts.
    """
    if positive and end > 0.0 and reached > 0.0:
        room = abs(math.log(reached / end))
    elif unit == "ohm":
        if math.isinf(reached) and math.isinf(end):
            return 0.0
        room = abs(math.log(max(reached, LEAST_OHM) / max(end, LEAST_OHM))) if math.isfinite(end) else math.inf
        if room == 0.0:
            room = abs(reached - end) / LEAST_OHM
    else:
        room = abs(reached - end) / max(abs(end), LEAST_V)
    # Nine digits: equal drifts sort alike whatever the order of the sums behind them.
    return float(f"{room / doubt:.9g}") if doubt > 0.0 else math.inf


def _nearest(direction: str, values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    if not known:
        return None
    return min(known) if direction == "up" else max(known)


@dataclass(frozen=True)
class Level:
    """A reading whose crossing matters: by which end of the span, and which foreign command begins there."""

    at: float
    side: str  # "low": the span's low end falls to it; "high": its high end rises to it
    command: str  # "" where the wanted meaning is lost


def levels_of(view: LineView, judged: Judged, index: int, corner: Mapping[str, float]) -> tuple[Level, ...]:
    """The levels that bound a situation that holds."""
    row, need = judged.rows[index], judged.requirements[index]
    windows = judged.windows
    if corner:
        windows = windows_in(view.truck, view.line, judged.space, corner)
    out: list[Level] = []
    if need.how == "inside":
        holding = [each for each in windows if each.meaning == row.window] or [
            each for each in windows if each.meaning in need.of
        ]
        if holding:
            low, high = holding[0].guaranteed()
            out += [Level(low, "low", "")] if math.isfinite(low) else []
            out += [Level(high, "high", "")] if math.isfinite(high) else []
    middle = (row.low + row.high) / 2.0
    commands = [each for each in windows if each.kind == "command" and each.meaning not in need.allowed]
    if need.how == "clear":
        commands = [each for each in windows if each.kind == "command" and each.meaning in need.of]
        forbidden = [each for each in windows if each.meaning in need.of]
        out += (Level(each.at, each.side, "") for each in _foreign_levels(forbidden, middle))
    out += _foreign_levels(commands, middle)
    return tuple(out)


def _foreign_levels(foreign: Sequence[Window], here: float) -> Iterator[Level]:
    """The nearest foreign window on each side of a reading."""
    below = [(each.largest()[1], each.meaning) for each in foreign if each.largest()[1] <= here]
    above = [(each.largest()[0], each.meaning) for each in foreign if each.largest()[0] >= here]
    if below:
        at, name = max(below)
        yield Level(at, "low", name)
    if above:
        at, name = min(above)
        yield Level(at, "high", name)


def gains(view: LineView, judged: Judged) -> list[dict[str, float]]:
    """Per situation: how much margin would be gained if one parameter were exactly as stated, by its path."""
    reading = node_reading(view, judged.space)
    ids, sources = sources_of(view, judged.key_state, judged.space)
    del ids
    operated = [each.key for each in judged.situations]
    low_s, high_s = box_of(view, operated)
    nominal_s = view.nominal_s(operated)
    found: list[dict[str, float]] = [{} for _ in operated]
    count = len(operated)
    columns = len(view.branches)
    low = np.repeat(low_s, columns, axis=0)
    high = np.repeat(high_s, columns, axis=0)
    nominal = np.repeat(nominal_s, columns, axis=0)
    at = np.arange(count * columns)
    low[at, at % columns] = high[at, at % columns] = np.clip(nominal, low, high)[at, at % columns]
    known = span(view.net, low, high, sources, reading)
    for row in range(count):
        for column in range(columns):
            _note(found, judged, row, view.parameter(column, operated[row]), known, row * columns + column)
    for index, cause in enumerate(view.causes(judged.key_state, judged.space.divisor)):
        name = f"supply.{judged.key_state}" if cause.id == "supply" else cause.id
        if cause.low_v == cause.high_v:
            continue
        key = view.cause_ids(judged.space.divisor)[index]
        _, fixed = sources_of(view, judged.key_state, judged.space, {key: cause.nominal_v})
        known = span(view.net, low_s, high_s, fixed, reading)
        for row in range(count):
            _note(found, judged, row, name, known, row)
    return found


def _note(found: list[dict[str, float]], judged: Judged, row: int, path: str, known: object, at: int) -> None:
    space = judged.space
    low, high = (float(getattr(known, end)[at]) for end in ("low", "high"))
    if math.isnan(low) or math.isnan(judged.rows[row].low):
        return
    margin = judge(Reading.exact(space.clip(low), space.clip(high)), judged.requirements[row], judged.windows).margin
    before = judged.rows[row].margin
    if math.isfinite(margin) and math.isfinite(before) and margin - before > 1e-12:
        found[row][path] = margin - before
