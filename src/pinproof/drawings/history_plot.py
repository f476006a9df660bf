"""The history of one point: every reading over time, with how far the meter may be off.

Answers: has it moved, and is it still inside what it should read?
Units:   millimetres on paper; values in ohms or volts; times in seconds since 1970, written as UTC.
Touches: nothing but the shipped typefaces.
Beside:  `pinproof.record.drift` says in words whether it moved; the bands come from `pinproof.meter`.

Pattern language: tinted is as built, a broken outline is where it still works; a bar is what the meter leaves open, its
mark the reading; a triangle at the upper edge is an open display.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from pinproof.drawings.measure import drawable, reach_mm, width_mm, wrap
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas, number
from pinproof.meter import Band
from pinproof.quantities import format_value
from pinproof.record.drift import seconds
from pinproof.record.history import History

WIDTHS_MM = {"wide": 182.0, "narrow": 84.0}
HIGH_MM = 52.0
NAME_MM, SMALL_MM = 3.1, 2.8
_LINE_MM = 3.95
_DIMENSIONS = {"ohm": "resistance", "V": "voltage"}
_LEAST = {"ohm": 0.01, "V": 1e-3}  # less than this no hand-held meter tells apart


@dataclass(frozen=True)
class HistoryPoint:
    """One reading: when, what was read, how far the meter may be off. An open display has an infinite value."""

    time_s: float
    value: float
    limit: float


@dataclass(frozen=True)
class HistoryBand:
    """Between which values the point should read; ends may be infinite."""

    low: float
    high: float


def history_plot(
    title: str,
    points: Sequence[HistoryPoint],
    unit: str,
    *,
    as_built: HistoryBand | None = None,
    works: HistoryBand | None = None,
    words: str = "",
    layout: str = "wide",
    ident: str = "history",
) -> Drawing:
    """Draw the readings of one point.

    Parameters
    ----------
    title : str
    points : sequence of HistoryPoint
        At least one.
    unit : str
        "ohm" or "V".
    as_built, works : HistoryBand, optional
    words : str
        Said below the plot, for instance whether it drifts.
    layout : str
        "wide", 182 mm, or "narrow", 84 mm.
    ident : str
        Beginning of the ids inside the SVG.

    Raises
    ------
    ValueError
        No point, or an unknown unit or layout.
    """
    if layout not in WIDTHS_MM:
        raise ValueError(f"layout {layout!r} is none of {', '.join(WIDTHS_MM)}")
    if unit not in _DIMENSIONS:
        raise ValueError(f"unit {unit!r} is none of {', '.join(_DIMENSIONS)}")
    if not points:
        raise ValueError("a history needs at least one reading")
    ordered = sorted(points, key=lambda each: each.time_s)
    return _Plot(title, ordered, unit, as_built, works, words, WIDTHS_MM[layout]).draw(ident)


def plot_of(
    history: History, as_built: Band | None, works: Band | None, *, words: str = "", layout: str = "wide",
    ident: str = "history",
) -> Drawing:  # fmt: skip
    """Draw one history of the record with what its point should read now.

    Parameters
    ----------
    history : History
        With a unit, and so with numbers.
    as_built, works : Band or None
        From the meter's expectation.
    words, layout, ident : str
        As `history_plot`.
    """
    points = [
        HistoryPoint(seconds(each.taken_utc), each.value, 0.0 if math.isnan(each.error_limit) else each.error_limit)
        for each in history.entries
    ]
    bands = [HistoryBand(each.low, each.high) if each else None for each in (as_built, works)]
    return history_plot(
        f"{history.station}, {history.entries[-1].meter}", points, history.unit, as_built=bands[0], works=bands[1],
        words=words[:1].upper() + words[1:], layout=layout, ident=ident,
    )  # fmt: skip


@dataclass(frozen=True)
class _Plot:
    title: str
    points: Sequence[HistoryPoint]
    unit: str
    as_built: HistoryBand | None
    works: HistoryBand | None
    words: str
    width: float

    def draw(self, ident: str) -> Drawing:
        heads = wrap(drawable(self.title), self.width - 1.0, NAME_MM, "strong")
        foot = [piece for text in self._notes() for piece in wrap(drawable(text), self.width - 1.0, SMALL_MM)]
        top = len(heads) * _LINE_MM + 2.0
        total = top + HIGH_MM + 6.5 + len(foot) * _LINE_MM + 0.5
        canvas = Canvas(self.width, total, self.title, " ".join((*self._notes(), *self._told())), ident)
        canvas.group(kind="pp-head")
        at = 0.0
        for text in heads:
            canvas.text(0.3, at + reach_mm(NAME_MM)[0], text, NAME_MM, weight="strong")
            at += _LINE_MM
        low, high = self._extent()
        steps = _steps(low, high)
        left, right = max(width_mm(self._said(each), SMALL_MM) for each in steps) + 1.8, self.width - 2.0
        self._draw_bands(canvas, (left, right), (top, top + HIGH_MM), (low, high))
        canvas.group(kind="pp-rule")
        canvas.rect(left, top, right - left, HIGH_MM, stroke=0.25)
        for value in steps:
            y = _y(value, low, high, top)
            canvas.line(left, y, right, y, width=0.1, soft=True)
            canvas.text(left - 1.2, y + 0.9, self._said(value), SMALL_MM, anchor="end")
        self._draw_points(canvas, (left, right), top, (low, high))
        at = top + HIGH_MM + 6.5
        canvas.group(kind="pp-key")
        for text in foot:
            canvas.text(0.3, at + reach_mm(SMALL_MM)[0], text, SMALL_MM)
            at += _LINE_MM
        return canvas.finish()

    def _said(self, value: float) -> str:
        return format_value(0.0 if abs(value) < 1e-12 else value, _DIMENSIONS[self.unit], digits=4)

    def _extent(self) -> tuple[float, float]:
        """Values shown: all readings with their bars, and the bands as far as they are not far away."""
        known = [end for each in self.points if math.isfinite(each.value) for end in _bar(each)]
        ends = [end for band in (self.as_built, self.works) if band for end in (band.low, band.high)]
        finite = [end for end in ends if math.isfinite(end)]
        if not known:
            known = finite or [0.0, 1.0]
        reach = max(known) - min(known) or abs(known[0]) * 0.1 or 1.0
        near = [end for end in finite if min(known) - 4.0 * reach <= end <= max(known) + 4.0 * reach]
        low, high = min(known + near), max(known + near)
        least = max(_LEAST[self.unit], 4e-3 * max(abs(low), abs(high)))  # four digits tell such steps apart
        if high - low < least:
            low, high = (low + high - least) / 2.0, (low + high + least) / 2.0
        pad = 0.08 * (high - low)
        return low - pad, high + pad

    def _draw_bands(
        self, canvas: Canvas, across: tuple[float, float], down: tuple[float, float], extent: tuple[float, float]
    ) -> None:
        canvas.group(kind="pp-bands")
        left, right = across
        for band, filled in ((self.works, False), (self.as_built, True)):
            if band is None:
                continue
            upper = max(_y(min(band.high, extent[1]), *extent, down[0]), down[0])
            lower = min(_y(max(band.low, extent[0]), *extent, down[0]), down[1])
            if lower <= upper:
                continue
            if filled:
                canvas.rect(left, upper, right - left, lower - upper, fill=0.09, kind="pp-built")
            else:
                for end, y in ((band.high, upper), (band.low, lower)):
                    if extent[0] < end < extent[1]:
                        canvas.line(left, y, right, y, width=0.3, dash="1.6 1.1")

    def _draw_points(
        self, canvas: Canvas, across: tuple[float, float], top: float, extent: tuple[float, float]
    ) -> None:
        canvas.group(kind="pp-readings")
        left, right = across[0] + 4.0, across[1] - 4.0
        first, last = self.points[0].time_s, self.points[-1].time_s
        places = []
        for each in self.points:
            share = 0.5 if last == first else (each.time_s - first) / (last - first)
            x = left + share * (right - left)
            places.append((x, each.time_s))
            if not math.isfinite(each.value):
                canvas.path(f"M{number(x - 1.2)} {number(top + 2.6)}l1.2 -2 1.2 2z", fill=1.0)
                continue
            bar_low, bar_high = (_y(end, *extent, top) for end in _bar(each))
            y = _y(each.value, *extent, top)
            canvas.line(x, bar_low, x, bar_high, width=0.35)
            for end in (bar_low, bar_high):
                canvas.line(x - 0.8, end, x + 0.8, end, width=0.35)
            canvas.circle(x, y, 0.75, fill=1.0)
        taken = -math.inf
        for x, time_s in places:
            text = datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%d")
            half = width_mm(text, SMALL_MM) / 2.0
            centre = min(max(x, across[0] + half), across[1] - half)
            if centre - half < taken + 1.5:
                continue
            canvas.line(x, top + HIGH_MM, x, top + HIGH_MM + 1.0, width=0.25)
            canvas.text(centre, top + HIGH_MM + 4.2, text, SMALL_MM, anchor="middle")
            taken = centre + half

    def _notes(self) -> list[str]:
        found = [self.words] if self.words else []
        parts = []
        if self.as_built is not None:
            parts.append(f"tinted: as built, {self._band(self.as_built)}")
        if self.works is not None and self.works != self.as_built:
            parts.append(f"broken lines: works, {self._band(self.works)}")
        parts.append("bar: what the meter leaves open")
        if any(not math.isfinite(each.value) for each in self.points):
            parts.append("triangle: open display")
        text = "; ".join(parts)
        return [*found, f"{text[0].upper()}{text[1:]}."]

    def _band(self, band: HistoryBand) -> str:
        if math.isinf(band.high):
            return f"{self._said(band.low)} or more"
        return f"{self._said(band.low)} to {self._said(band.high)}"

    def _told(self) -> list[str]:
        """The readings in words, the last twenty."""
        told = []
        for each in self.points[-20:]:
            when = datetime.fromtimestamp(each.time_s, UTC).strftime("%Y-%m-%d %H:%M UTC")
            what = self._said(each.value) if math.isfinite(each.value) else "open display"
            told.append(f"{when}: {what}.")
        return told


def _bar(point: HistoryPoint) -> tuple[float, float]:
    return point.value - point.limit, point.value + point.limit


def _y(value: float, low: float, high: float, top: float) -> float:
    return top + HIGH_MM * (high - value) / (high - low)


def _steps(low: float, high: float) -> list[float]:
    """About five even values between two ends, in steps of 1, 2 or 5."""
    raw = (high - low) / 5.0
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(lead * power for lead in (1.0, 2.0, 5.0, 10.0) if lead * power >= raw * (1.0 - 1e-9))
    first = math.ceil(low / step)
    return [index * step for index in range(first, math.floor(high / step) + 1)]
