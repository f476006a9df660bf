"""Spans of every situation against the windows: the core of the proof.

Answers: does each situation read what it may, in every key state and reading space, and with how much margin?
Units:   readings in ratio or volts.
Touches: nothing.
Beside:  `budgets` says how far each parameter may move; `prove` puts a whole truck together.

Where edges were found by substitution on this very pin, readings and edges move together with the pulls, the reference
and the supply. The sign of (reading − edge) is a quotient of functions that are affine in each of these, so it is sure
over their whole box if it is sure at every corner: each corner is judged by itself, and the worst counts.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pinproof.design.model import Line, Truck
from pinproof.design.words import parameter
from pinproof.observe import (
    PinSpans,
    ReadingSpace,
    nominal_readings,
    pin_spans,
    shared_parameters,
    spaces_of,
    windows_in,
)
from pinproof.proof.results import SituationProof
from pinproof.proof.situations import INVALID, Requirement, Situation, requirement, situations_of
from pinproof.verdict import Judgement, Reading, Verdict, Window, judge_clear, judge_inside
from pinproof.wiring import LineView

PULL_POINTS = 7


@dataclass(frozen=True)
class Judged:
    """All situations of one line in one key state and reading space, with what they were judged by."""

    key_state: str
    space: ReadingSpace
    situations: tuple[Situation, ...]
    requirements: tuple[Requirement, ...]
    spans: PinSpans
    windows: tuple[Window, ...]
    rows: tuple[SituationProof, ...]


def judge_line(view: LineView) -> Iterator[Judged]:
    """Judge every situation of a line, once per key state and reading space."""
    truck = view.truck
    for key_state in truck.supply.states:
        for space in spaces_of(truck, view.input):
            yield judge_state(view, key_state, space)


def judge_state(
    view: LineView, key_state: str, space: ReadingSpace, windows: tuple[Window, ...] | None = None
) -> Judged:
    """Judge every situation of a line in one key state and reading space.

    Parameters
    ----------
    windows : tuple of Window, optional
        Edges to judge by instead of the line's own (a controller that is yet to be taught).
    """
    truck, line = view.truck, view.line
    situations = situations_of(truck, line)
    requirements = tuple(requirement(truck, line, each, key_state) for each in situations)
    operated = [each.key for each in situations]
    whole = pin_spans(view, key_state, space, operated)
    nominal = windows if windows is not None else windows_in(truck, line, space)
    per_corner: list[tuple[PinSpans, tuple[Window, ...]]] = [(whole, nominal)]
    if windows is None and shared_parameters(truck, line):
        per_corner = [
            (pin_spans(view, key_state, space, operated, corner), windows_in(truck, line, space, corner))
            for corner in shared_corners(view, key_state, space, PULL_POINTS)
        ]
    stated = nominal_readings(view, key_state, space, operated)
    rows = []
    for index, situation in enumerate(situations):
        need = requirements[index]
        judgements = [judge(spans.readings[index], need, at) for spans, at in per_corner]
        decides = min(judgements, key=lambda each: (each.verdict.rank, each.margin))
        row = _row(key_state, space, situation, need, whole, index, decides, nominal)
        rows.append(dataclasses.replace(row, nominal=stated[index]))
    return Judged(key_state, space, situations, requirements, whole, nominal, tuple(rows))


def shared_corners(
    view: LineView, key_state: str, space: ReadingSpace, pull_points: int = 2
) -> Iterator[dict[str, float]]:
    """Every corner of the parameters that move readings and edges together.

    `pull_points` above 2 adds values between the ends of a pull: the sign of (reading − edge) is decided at the
    corners, but its size may be least in between.
    """
    wanted = set(shared_parameters(view.truck, view.line))
    ends: dict[str, tuple[float, ...]] = {}
    for branch in view.branches:
        if branch.id in wanted:
            between = np.geomspace(branch.low_ohm, branch.high_ohm, pull_points)
            ends[branch.id] = tuple(dict.fromkeys((branch.low_ohm, *between[1:-1].tolist(), branch.high_ohm)))
    for cause in view.causes(key_state, space.divisor):
        if cause.id in wanted:
            ends[cause.id] = tuple(dict.fromkeys((cause.low_v, cause.high_v)))
    for values in itertools.product(*ends.values()):
        yield dict(zip(ends, values, strict=True))


def judge(reading: Reading, need: Requirement, windows: Sequence[Window]) -> Judgement:
    """Judge one reading against what its situation may read."""
    concerned = [window for window in windows if window.meaning in need.of]
    return judge_inside(reading, concerned) if need.how == "inside" else judge_clear(reading, concerned)


def reads_as(reading: Reading, windows: Sequence[Window]) -> tuple[str, ...]:
    """Every meaning the controller may conclude from this span; `invalid` where no window is sure to hold it."""
    if math.isnan(reading.low):
        return (INVALID,)
    found = [window.meaning for window in windows if _meets(reading, window)]
    if not any(low <= reading.low and reading.high <= high for low, high in (w.guaranteed() for w in windows)):
        found.append(INVALID)
    return tuple(dict.fromkeys(found))


def _meets(reading: Reading, window: Window) -> bool:
    low, high = window.largest()
    return reading.high >= low and reading.low <= high


def _row(
    key_state: str,
    space: ReadingSpace,
    situation: Situation,
    need: Requirement,
    spans: PinSpans,
    index: int,
    decides: Judgement,
    windows: tuple[Window, ...],
) -> SituationProof:
    reading = spans.readings[index]
    return SituationProof(
        key_state=key_state,
        space=space.name,
        operated=situation.operated,
        allowed=need.allowed,
        meaning=need.means,
        rule=need.rule,
        low=reading.low,
        high=reading.high,
        inner_low=reading.inner_low,
        inner_high=reading.inner_high,
        unit=space.unit,
        exact=spans.exact[index],
        verdict=decides.verdict,
        margin=decides.margin,
        window=decides.window or "",
        side=decides.side,
        reads_as=reads_as(reading, windows),
        why="" if spans.settled[index] else _floating(spans, index),
    )


def _floating(spans: PinSpans, index: int) -> str:
    from pinproof.network import Status

    shorted = int(spans.raw.status[index]) == int(Status.RAILS_SHORTED)
    return (
        "two supplies are joined by a short, there is no settled reading"
        if shorted
        else "nothing holds the pin in some corner of the box: it floats, and may read anything"
    )


def unproven_reason(truck: Truck, line: Line, view: LineView) -> str:
    """Why a line cannot be proven at all, or ""."""
    from pinproof.design.model import UNKNOWN

    owner = view.input
    if owner.pull_up is UNKNOWN or owner.pull_down is UNKNOWN:
        return f"the pull of input {owner.id} is unknown"
    if not view.is_complete:
        open_ = [parameter(branch.id) for branch in view.branches if math.isnan(branch.nominal_ohm)]
        return "still to be chosen: " + ", ".join(open_)
    if not (line.windows or line.targets or line.free):
        return f"line {line.id} has no windows and no targets"
    return ""


__all__ = ["Judged", "Verdict", "judge", "judge_line", "judge_state", "reads_as", "shared_corners", "unproven_reason"]
