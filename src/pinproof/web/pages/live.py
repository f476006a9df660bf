"""The panel that follows typing and sliding: every situation proven again, the worst ones in words, the chart.

Answers: what do the windows say with these numbers, right now?
Touches: nothing. It is a part of the pages truck and proof, not a page.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from pinproof.design import Truck
from pinproof.drawings import reading_chart, words
from pinproof.drawings.axis import axis_of
from pinproof.pack import sentences
from pinproof.proof.results import LineProof, SituationProof, TruckProof
from pinproof.web.render import environment

MOST_ROWS = 10
MOST_TOLD = 3


def panel_html(truck: Truck, proof: TruckProof, *, only: str = "", wide: bool = False, heading: str = "") -> str:
    """The panel as HTML; `only` one line, `wide` with the chart of a page instead of a phone's."""
    lines = [_line(truck, each, wide) for each in proof.lines if only in ("", each.line)]
    html: str = environment().get_template("live_part.html").render(lines=lines, heading=heading)
    return html


def summary_of(proof: TruckProof) -> str:
    """How many situations hold, in a few words, for a phone that has no room for the panel."""
    count = sum(_held(line)[1] for line in proof.lines)
    held = sum(_held(line)[0] for line in proof.lines)
    return f"{held} of {count} situations hold" if count else "Nothing can be proven yet"


def _held(line: LineProof) -> tuple[int, int]:
    """Situations that hold in every key state, and all; one set of contacts counts once, as on the chain."""
    every = {row.operated for row in line.situations}
    return len(every - {row.operated for row in line.situations if not row.verdict.holds}), len(every)


def _line(truck: Truck, line: LineProof, wide: bool) -> Mapping[str, Any]:
    bad = sorted((row for row in line.situations if not row.verdict.holds), key=_bad_first)
    first = {row.operated: row for row in reversed(bad)}  # each set of contacts once, in its worst key state
    told = sorted(first.values(), key=_bad_first)
    worst = line.worst
    chart = None
    if line.situations and worst is not None:
        chart = reading_chart(
            line, truck=truck, key_state=worst.key_state, space=worst.space, layout="wide" if wide else "narrow",
            ident=f"live-{line.line}", most_rows=MOST_ROWS, legend=False,
        )  # fmt: skip
    return {
        "id": line.line, "input": line.input, "verdict": line.verdict, "reason": words.sentence(line.reason),
        "held": _held(line)[0], "all": _held(line)[1],
        "bad": [_told(truck, line, row) for row in told[:MOST_TOLD]],
        "more": max(0, len(told) - MOST_TOLD), "chart": chart,
        "state": words.key_state(worst.key_state) if worst is not None else "",
        "closest": _told(truck, line, worst) if worst is not None and not bad else "",
    }  # fmt: skip


def _bad_first(row: SituationProof) -> tuple[int, float]:
    return row.verdict.rank, -math.inf if math.isnan(row.margin) else row.margin


def _told(truck: Truck, line: LineProof, row: SituationProof) -> str:
    axis = axis_of(truck, truck.line(line.line), row.space, "as given")
    return sentences.worst_sentence(row, axis, line.windows.get(row.space, ()))
