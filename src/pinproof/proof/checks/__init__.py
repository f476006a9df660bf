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
ASKS: dict[str, str] = {
    "window": "Does each situation that must read one meaning read inside that meaning's window, at worst?",
    "clear": "Does every other combination of operated contacts stay out of every command that is not its own?",
    "unknown-pull": "With which of the usual pulls would the line hold, while nobody has measured the pull?",
    "target-distance": "How far do the coder's own ohms lie from the ohms that are wanted?",
    _coverage.NAME: "Is every command that a contact asks for judged at all?",
    _reach.NAME: "Which presses are read as which command although manual is not engaged, or several at once?",
    _breaks.BROKEN: "What does the controller read when a wire of the line is open?",
    _breaks.SHORT: "What does the controller read when a wire of the line touches ground or a supply?",
    _transit.NAME: "Which commands does a reading pass on its way, and is that shorter than the debounce time?",
    _wetting.NAME: "Does enough current flow through each contact to keep it clean?",
    _heat.NAME: "What does each resistor dissipate at worst, and what may the pin see?",
    _yield.NAME: "Of many random trucks built to this design, how many read every situation right?",
    _diode.NAME: "Does the series diode conduct forward in every situation?",
    _back_feed.NAME: "How much current does a live feed drive into a controller that sleeps?",
}
"""What each check asks, by its name, in the order of the findings."""

NAMES = tuple(ASKS)
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


__all__ = ["ASKS", "IN_JUDGING", "IN_UNKNOWN", "NAMES", "run_all"]
