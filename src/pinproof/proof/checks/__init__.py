"""Checks beside the windows: what else may go wrong with a line that reads right.

Answers: commands within reach in automatic, broken and shorted wires, meanings passed in transit, wetting current,
         heat, sampled yield, the direction through a series diode, current into a sleeping controller.
Touches: nothing. A view and what was judged in, `Finding`s out.
Must not: choose values, change a verdict of the proof, or write text for one face only.

Each check has a fixed name; docs/checks.md has a heading for each, and a test compares. `window` and `clear` are made
in the proof itself, `unknown-pull` and `target-distance` where a pull is unknown.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.proof.checks import back_feed as _back_feed
from pinproof.proof.checks import breaks as _breaks
from pinproof.proof.checks import coverage as _coverage
from pinproof.proof.checks import diode as _diode
from pinproof.proof.checks import heat as _heat
from pinproof.proof.checks import reach as _reach
from pinproof.proof.checks import sampled_yield as _yield
from pinproof.proof.checks import transit as _transit
from pinproof.proof.checks import wetting as _wetting
from pinproof.proof.judging import Judged
from pinproof.proof.results import Finding, SituationProof
from pinproof.wiring import LineView

IN_JUDGING = ("window", "clear")
IN_UNKNOWN = ("unknown-pull", "target-distance")
NAMES = (
    *IN_JUDGING,
    *IN_UNKNOWN,
    _coverage.NAME,
    _reach.NAME,
    _breaks.BROKEN,
    _breaks.SHORT,
    _transit.NAME,
    _wetting.NAME,
    _heat.NAME,
    _yield.NAME,
    _diode.NAME,
    _back_feed.NAME,
)
"""Every check's name, in the order of the findings."""


def run_all(
    view: LineView, judged: Sequence[Judged], rows: Sequence[SituationProof], *, samples: int, seed: int
) -> tuple[Finding, ...]:
    """Every check of one line.

    Parameters
    ----------
    view : LineView
        Complete: every resistor chosen, every pull known.
    judged : sequence of Judged
        Every key state and reading space of the line.
    rows : sequence of SituationProof
        The same situations with their drift budgets, as far as they were worked out.
    samples, seed : int
        Of the sampled yield; no samples leave it out.

    Returns
    -------
    tuple of Finding
        In the order of `NAMES`. A verdict in a finding counts for the line; None decides nothing.
    """
    return (
        *_coverage.coverage(view, judged),
        *_reach.reach(view, judged),
        *_breaks.breaks(view, judged),
        *_transit.transit(view, judged),
        *_wetting.wetting(view, judged, rows),
        *_heat.heat(view, judged),
        *_yield.sampled_yield(view, judged, samples, seed),
        *_diode.diode(view, judged),
        *_back_feed.back_feed(view, judged),
    )


__all__ = ["IN_JUDGING", "IN_UNKNOWN", "NAMES", "run_all"]
