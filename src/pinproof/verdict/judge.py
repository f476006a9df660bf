"""Judging one reading against windows: must read one of these, must read none of those.

Answers: pass, fail or not shown; the margin; which window and which side decide.
Units:   readings and edges in one reading space; margins as fractions of half the nominal window.
Touches: nothing.

Conventions: touching an edge is inside for "must read one of these", and is no pass for "must read none of those".
A margin at or above zero goes with pass or "would hold if" for `judge_inside`, one above zero for `judge_clear`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pinproof.verdict.scale import Verdict
from pinproof.verdict.window import INF, Reading, Window


@dataclass(frozen=True)
class Judgement:
    """A verdict, its margin, the meaning of the deciding window (None if none does) and the side, "low" or "high"."""

    verdict: Verdict
    margin: float
    window: str | None
    side: str


ROUNDING = 1e-12  # of an edge: two that touch on paper may be a few last binary digits apart, and that gap is no gap
_UNSETTLED = Judgement(Verdict.NOT_SHOWN, -INF, None, "")


def judge_inside(reading: Reading | None, windows: Sequence[Window]) -> Judgement:
    """The reading must lie in one of `windows`.

    Pass: the outer bound lies inside one window for every possible position of its edges. Fail: some attained reading
    lies outside all of them wherever their edges are; with no window every settled reading fails. Else not shown.
    A pass that only windows of basis "assumed" carry is "would hold if".

    Parameters
    ----------
    reading : Reading or None
        None, or a Reading with nan, is a pin that floats: not shown, margin -inf.
    windows : sequence of Window
        The allowed ones.

    Returns
    -------
    Judgement
        `margin` is the best over the windows (over those that carry the pass, if any does) of the least distance from
        the span's worst end to the nearest possible position of an edge, divided by the nominal half width; below zero
        beyond the edge, +inf where no edge can be passed.

    Examples
    --------
    >>> from pinproof.verdict import Edge, Reading, Window, judge_inside
    >>> up = Window("up", Edge(0.9, 1.1, 1.0), Edge(2.9, 3.1, 3.0), 1.0, "measured", "command")
    >>> judge_inside(Reading.exact(1.6, 2.0), [up]).verdict.value
    'pass'
    """
    if reading is None or not reading.is_settled:
        return _UNSETTLED
    if not windows:
        return Judgement(Verdict.FAIL, -INF, None, "")
    placed = [(*_margin_inside(reading, window), window) for window in windows]
    carrying = [one for one in placed if one[0] >= 0.0]
    if carrying:
        firm = [one for one in carrying if one[2].basis != "assumed"]
        margin, side, window = max(firm or carrying, key=lambda one: one[0])
        return Judgement(Verdict.PASS if firm else Verdict.WOULD_HOLD, margin, window.meaning, side)
    margin, side, window = max(placed, key=lambda one: one[0])
    verdict = Verdict.NOT_SHOWN if _covered(reading, windows) else Verdict.FAIL
    return Judgement(verdict, margin, window.meaning, side)


def judge_clear(reading: Reading | None, windows: Sequence[Window]) -> Judgement:
    """The reading must lie in none of `windows`.

    Pass: the outer bound is clear of the largest possible extent of every window. Fail: an attained reading lies within
    a window wherever its edges are. Else not shown. A pass is "would hold if" when any window is of basis "assumed".
    `margin` is the least over the windows of the distance to the window's largest extent, divided by its nominal half
    width, below zero by the depth of overlap; `window` is the one that decides (for a fail, the worst one surely met).

    Parameters and unsettled readings are as in `judge_inside`. With no windows the reading passes, margin +inf.
    """
    if reading is None or not reading.is_settled:
        return _UNSETTLED
    if not windows:
        return Judgement(Verdict.PASS, INF, None, "")
    placed = [(*_margin_clear(reading, window), window) for window in windows]
    margin, side, window = min(placed, key=lambda one: one[0])
    met = [one for one in placed if _surely_met(reading, one[2])]
    if met:
        _, side, window = min(met, key=lambda one: one[0])
        return Judgement(Verdict.FAIL, margin, window.meaning, side)
    if margin <= 0.0:
        return Judgement(Verdict.NOT_SHOWN, margin, window.meaning, side)
    assumed = any(one.basis == "assumed" for one in windows)
    return Judgement(Verdict.WOULD_HOLD if assumed else Verdict.PASS, margin, window.meaning, side)


def combine(*judgements: Judgement) -> Judgement:
    """The judgement that decides the whole: worst verdict, and among equals the smallest margin. ValueError if none."""
    if not judgements:
        raise ValueError("no judgements were given; a proof of nothing is not a pass")
    return min(judgements, key=lambda one: (one.verdict.rank, one.margin))


def _beyond(upper: float, lower: float) -> float:
    """upper - lower, where two equal infinities touch instead of giving nan."""
    return 0.0 if upper == lower else upper - lower


def _margin_inside(reading: Reading, window: Window) -> tuple[float, str]:
    best, side = INF, ""
    if window.lower is not None and window.lower.exists:
        best, side = _beyond(reading.low, window.lower.high), "low"
    if window.upper is not None and window.upper.exists:
        room = _beyond(window.upper.low, reading.high)
        if room < best or not side:
            best, side = room, "high"
    return best / window.nominal_half_width, side


def _margin_clear(reading: Reading, window: Window) -> tuple[float, str]:
    """Distance to the window's largest extent; the side is where the window lies seen from the reading's own end."""
    best, side = -INF, ""
    if window.lower is not None and window.lower.exists:
        best, side = _beyond(window.lower.low, reading.high), "high"
    if window.upper is not None and window.upper.exists:
        room = _beyond(reading.low, window.upper.high)
        if room > best or not side:
            best, side = room, "low"
    return best / window.nominal_half_width, side


def _surely_met(reading: Reading, window: Window) -> bool:
    """Some attained reading lies strictly within the guaranteed window; a side without an edge cannot be passed."""
    low, high = window.guaranteed()
    above = low == -INF or reading.inner_high > low
    below = high == INF or reading.inner_low < high
    return low < high and above and below


def _covered(reading: Reading, windows: Sequence[Window]) -> bool:
    """Every attained reading lies in the largest extent of some window (closed intervals, so touching ones join)."""
    extents = sorted(window.largest() for window in windows)
    holding = [high for low, high in extents if low <= reading.inner_low <= high]
    if not holding:
        return False
    reach = max(holding)
    for low, high in extents:
        if low > reach + ROUNDING * abs(reach):
            break
        reach = max(reach, high)
    return reach >= reading.inner_high
