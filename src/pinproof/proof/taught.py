"""Lines whose controller can be taught its windows: where to put the edges, and whether that would do.

Answers: between which readings does each meaning lie, which edges keep them best apart, does every situation then hold?
Units:   readings in ratio or volts.
Touches: nothing.

Nothing is taught yet when this is computed, so the edges have basis "assumed" and the verdict is at best "would hold
if".
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Sequence

from pinproof.observe import ReadingSpace, pin_spans, spaces_of
from pinproof.proof.judging import Judged, judge_state
from pinproof.proof.situations import requirement, situations_of
from pinproof.verdict import Edge, Verdict, Window
from pinproof.wiring import LineView


def judge_taught(view: LineView) -> tuple[Judged, ...]:
    """Judge a line by the edges that would be taught, the same in every key state."""
    out = []
    for space in spaces_of(view.truck, view.input):
        hulls = meaning_hulls(view, space)
        windows = taught_windows(hulls, view.line.idle, view.input.error.value, space)
        overlap = _overlap(hulls)
        for key_state in view.truck.supply.states:
            judged = judge_state(view, key_state, space, windows)
            out.append(_failed(judged, overlap) if overlap else judged)
    return tuple(out)


def meaning_hulls(view: LineView, space: ReadingSpace) -> dict[str, tuple[float, float]]:
    """Lowest and highest reading of each meaning over all situations that must read it, in run and after_run."""
    situations = situations_of(view.truck, view.line)
    hulls: dict[str, tuple[float, float]] = {}
    for key_state in view.truck.supply.states:
        if key_state == "crank":
            continue
        spans = pin_spans(view, key_state, space, [each.key for each in situations])
        for situation, reading in zip(situations, spans.readings, strict=True):
            need = requirement(view.truck, view.line, situation, key_state)
            if need.how == "inside" and need.means and not math.isnan(reading.low):
                low, high = hulls.get(need.means, (math.inf, -math.inf))
                hulls[need.means] = (min(low, reading.low), max(high, reading.high))
    return hulls


def taught_windows(
    hulls: dict[str, tuple[float, float]], idle: str, error: float, space: ReadingSpace
) -> tuple[Window, ...]:
    """Windows with an edge midway between each two neighbouring meanings, none at the rails.

    Parameters
    ----------
    error : float
        Of the input, as a share of full scale: each taught edge may lie this far off, either way.
    """
    placed = sorted(hulls.items(), key=lambda pair: pair[1][0] + pair[1][1])
    mids: list[float] = []
    for (_, below), (_, above) in itertools.pairwise(placed):
        mid = (below[1] + above[0]) / 2.0
        mids.append(max(mid, mids[-1] + 1e-9) if mids else mid)
    reach = error * space.full_scale
    edges = [Edge(mid - reach, mid + reach, mid) for mid in mids]
    out = []
    for index, (meaning, _) in enumerate(placed):
        lower = edges[index - 1] if index > 0 else None
        upper = edges[index] if index < len(edges) else None
        width = (upper.nominal if upper else space.full_scale) - (lower.nominal if lower else 0.0)
        kind = "idle" if meaning == idle else "command"
        out.append(Window(meaning, lower, upper, max(width, 1e-9) / 2.0, "assumed", kind))
    return tuple(out)


def _overlap(hulls: dict[str, tuple[float, float]]) -> str:
    placed: Sequence[tuple[str, tuple[float, float]]] = sorted(hulls.items(), key=lambda pair: pair[1])
    for (name, below), (other, above) in itertools.pairwise(placed):
        if above[0] <= below[1]:
            return f"{name} and {other} overlap: no edge can part them"
    return ""


def _failed(judged: Judged, why: str) -> Judged:
    """Where two meanings overlap no teaching helps: what they need is not there."""
    rows = tuple(
        dataclasses.replace(row, verdict=Verdict.FAIL, why=why) if row.meaning and row.margin < 0.0 else row
        for row in judged.rows
    )
    return dataclasses.replace(judged, rows=rows)


__all__ = ["judge_taught", "meaning_hulls", "taught_windows"]
