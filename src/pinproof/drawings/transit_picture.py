"""The transit picture: what a filtered pin passes on its way from one reading to the next.

Answers: from where to where does the reading slide, which command's window lies in between, for how long is it inside,
         and does the controller's debounce hide that?
Units:   readings in the reading space; time in filter time constants, and in seconds on the lower rule.
Touches: nothing but the shipped typefaces.
Beside:  every time comes from `pinproof.proof.checks.transit`: from the finding, from `time_constant_s` and `dwell_s`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from pinproof.drawings import words
from pinproof.drawings.axis import Axis, axis_of
from pinproof.drawings.bands import NAME_MM, SMALL_MM
from pinproof.drawings.measure import drawable, reach_mm, width_mm, wrap
from pinproof.drawings.place import Drawing, spread
from pinproof.drawings.svg import Canvas, number
from pinproof.proof.checks.transit import NAME, dwell_s, time_constant_s, worst_dwell_s
from pinproof.proof.results import Finding, LineProof, SituationProof
from pinproof.quantities import format_value
from pinproof.verdict import Window
from pinproof.wiring import LineView

WIDTHS_MM = {"wide": 182.0, "narrow": 84.0}
PLOT_MM = 52.0  # height of the curve's field
LAST_TAU = 5.0  # after five time constants less than a hundredth of the way is left
_NAME_LINE_MM, _SMALL_LINE_MM = 3.95, 3.6
_BAR_MM, _BAR_LINE_MM = 2.2, 8.6


@dataclass(frozen=True)
class Passage:
    """One finding of the check, with the rows and the window it speaks of. Times in seconds."""

    before: SituationProof
    after: SituationProof
    window: Window
    tau_s: float
    settle_s: float
    bound_s: float
    debounce_s: float | None
    contact: str

    @property
    def falls(self) -> bool:
        """True if the reading falls through the window."""
        return self.after.high < self.window.largest()[0]

    @property
    def ends(self) -> tuple[float, float]:
        """Start and final of the passage that stays longest in the window."""
        return (self.before.high, self.after.high) if self.falls else (self.before.low, self.after.low)

    def reached_s(self, reading: float) -> float:
        """When the longest passage comes to a reading between its ends. [s]"""
        start, final = self.ends
        low, high = (reading, start) if self.falls else (start, reading)
        return dwell_s(start, final, low, high, self.tau_s)

    def inside_s(self) -> tuple[float, float]:
        """When it comes into the window, and when it has left it. [s]"""
        low, high = self.window.largest()
        start, _ = self.ends
        enter, leave = (min(start, high), low) if self.falls else (max(start, low), high)
        return (0.0 if enter == start else self.reached_s(enter)), self.reached_s(leave)


def passage_of(view: LineView, line: LineProof, finding: Finding) -> Passage | None:
    """The passage that a finding of the check tells of; None if it tells of none."""
    numbers = finding.numbers
    if finding.check != NAME or "settle_s" not in numbers:
        return None
    settle_s, contact = float(numbers["settle_s"]), str(numbers["contact"])
    rows = [row for row in line.situations if row.key_state == numbers["key_state"]]
    found: list[Passage] = []
    for after, before in itertools.permutations(rows, 2):
        named = "+".join(after.operated) or "idle"
        if named != finding.subject or before.space != after.space:
            continue
        if set(after.operated) ^ set(before.operated) != {contact}:
            continue
        if any(math.isnan(end) for end in (after.low, after.high, before.low, before.high)):
            continue
        tau_s = time_constant_s(view, [frozenset(after.operated)])[0]
        for window in line.windows.get(after.space, ()):
            low, high = window.largest()
            if window.meaning != numbers["command"] or (after.high >= low and after.low <= high):
                continue
            debounce = numbers.get("debounce_s")
            one = Passage(
                before, after, window, tau_s, settle_s, float(numbers["bound_s"]),
                None if debounce is None else float(debounce), contact,
            )  # fmt: skip
            if _between(one):
                found.append(one)
    if not found or not math.isfinite(settle_s):
        return None
    return min(found, key=lambda one: abs(_worst_s(one) - settle_s))


def _between(one: Passage) -> bool:
    """True if the way from start to final crosses the whole window."""
    low, high = one.window.largest()
    start, final = one.ends
    return start > low > final if one.falls else start < high < final


def _worst_s(one: Passage) -> float:
    return worst_dwell_s(
        (one.before.low, one.before.high), (one.after.low, one.after.high), one.window.largest(), one.tau_s
    )


def transit_picture(
    view: LineView, line: LineProof, finding: Finding, *, layout: str = "wide", ident: str = "transit"
) -> Drawing | None:
    """Draw one finding of the check `transit`; None if it tells of no passage through a window.

    Parameters
    ----------
    view : LineView
        The line as the proof saw it.
    line : LineProof
    finding : Finding
        One of ``line.findings``.
    layout : str
        "wide", 182 mm, or "narrow", 84 mm.
    ident : str
        Beginning of the ids inside the SVG.

    Raises
    ------
    ValueError
        For an unknown layout.
    """
    if layout not in WIDTHS_MM:
        raise ValueError(f"layout {layout!r} is none of {', '.join(WIDTHS_MM)}")
    passage = passage_of(view, line, finding)
    if passage is None:
        return None
    axis = axis_of(view.truck, view.line, passage.after.space, "as given")
    windows = line.windows.get(passage.after.space, ())
    return _Picture(passage, axis, windows, WIDTHS_MM[layout], layout == "wide").draw(ident)


@dataclass(frozen=True)
class _Picture:
    passage: Passage
    axis: Axis
    windows: Sequence[Window]
    width: float
    wide: bool

    @property
    def left(self) -> float:
        return max(width_mm(text, SMALL_MM) for _, text in self.axis.marks(6)) + 2.0

    @property
    def right(self) -> float:
        return self.width - (40.0 if self.wide else 22.0)

    def x(self, tau: float) -> float:
        """Where a time stands; 0.6 time constants before the movement are drawn too."""
        return self.left + (tau + 0.6) / (LAST_TAU + 1.4) * (self.right - self.left)

    def y(self, reading: float, top: float) -> float:
        return top + (1.0 - min(max(self.axis.share(reading), 0.0), 1.0)) * PLOT_MM

    def draw(self, ident: str) -> Drawing:
        one = self.passage
        title = f"{one.contact} moves: what the filtered pin passes"
        heads = wrap(drawable(title), self.width - 1.0, NAME_MM, "strong")
        told = [piece for text in self._told() for piece in wrap(drawable(text), self.width - 1.0, SMALL_MM)]
        bars = self._bars()
        total = len(heads) * _NAME_LINE_MM + len(told) * _SMALL_LINE_MM + 4.0 + PLOT_MM + 2 * _SMALL_LINE_MM + 5.0
        total += len(bars) * _BAR_LINE_MM + 2 * _SMALL_LINE_MM + 4.0
        canvas = Canvas(self.width, total, title, self._describe(), ident)
        canvas.group(kind="pp-head")
        at = 0.0
        for text in heads:
            canvas.text(0.3, at + reach_mm(NAME_MM)[0], text, NAME_MM, weight="strong")
            at += _NAME_LINE_MM
        for text in told:
            canvas.text(0.3, at + reach_mm(SMALL_MM)[0], text, SMALL_MM)
            at += _SMALL_LINE_MM
        top = at + 4.0
        self._draw_windows(canvas, top)
        self._draw_field(canvas, top)
        self._draw_curve(canvas, top)
        self._draw_bars(canvas, bars, top + PLOT_MM + 2 * _SMALL_LINE_MM + 5.0)
        return canvas.finish()

    def _told(self) -> list[str]:
        one = self.passage
        start, final = (self.axis.span(row.low, row.high) for row in (one.before, one.after))
        return [
            f"From {words.operated(one.before.operated)} ({start}) to {words.operated(one.after.operated)} ({final}), "
            f"{words.key_state(one.after.key_state)}.",
            f"Left: {self.axis.words}. Crossed: {one.window.meaning}, which neither of the two may read; the bar at "
            "the foot is the time inside it.",
        ]

    def _draw_windows(self, canvas: Canvas, top: float) -> None:
        """Windows as level bands with their names at the right; the one that is passed is crossed."""
        one = self.passage
        shown = sorted(self.windows, key=lambda each: -sum(self._ends(each)))
        lines = {index: self._name(window) for index, window in enumerate(shown)}
        height = {index: len(lines[index]) * _SMALL_LINE_MM for index in lines}
        centres = spread(
            [self.y(sum(self._ends(each)) / 2.0, top) for each in shown], list(height.values()),
            top - 2.0, top + PLOT_MM + 4.0, 0.4,
        )  # fmt: skip
        canvas.group(kind="pp-windows")
        for index, window in enumerate(shown):
            low, high = (self.y(end, top) for end in self._ends(window))
            if window == one.window:
                canvas.hatch(self.left, high, self.right, low, pitch=1.4, lean="x")
            tint = 0.07 if window.kind == "command" and window != one.window else 0.0
            canvas.rect(self.left, high, self.right - self.left, max(low - high, 0.2), stroke=0.15, fill=tint)
            if centres is None and window != one.window:
                continue  # too many to be named here; the reading chart names them all
            middle = (low + high) / 2.0 if centres is None else centres[index]
            canvas.line(self.right, (low + high) / 2.0, self.right + 2.6, middle, width=0.2)
            at = middle - height[index] / 2.0
            for text in lines[index]:
                strong = "strong" if window == one.window else "regular"
                canvas.text(self.right + 3.2, at + reach_mm(SMALL_MM)[0], text, SMALL_MM, weight=strong)
                at += _SMALL_LINE_MM

    def _name(self, window: Window) -> tuple[str, ...]:
        room = self.width - self.right - 3.6
        return wrap(drawable(window.meaning), room, SMALL_MM, "strong" if window == self.passage.window else "regular")

    def _ends(self, window: Window) -> tuple[float, float]:
        low, high = window.largest()
        return max(low, 0.0), min(high, self.axis.full)

    def _draw_field(self, canvas: Canvas, top: float) -> None:
        canvas.group(kind="pp-rule")
        canvas.line(self.left, top, self.left, top + PLOT_MM, width=0.3)
        canvas.line(self.left, top + PLOT_MM, self.right, top + PLOT_MM, width=0.3)
        above = reach_mm(SMALL_MM)[0] / 2.0 - 0.45
        for place, text in self.axis.marks(6):
            y = self.y(place, top)
            canvas.line(self.left - 1.0, y, self.left, y, width=0.25)
            canvas.text(self.left - 1.6, y + above, text, SMALL_MM, anchor="end")
        base = top + PLOT_MM + 1.6 + reach_mm(SMALL_MM)[0]
        for tau in range(int(LAST_TAU) + 1):
            x = self.x(float(tau))
            canvas.line(x, top + PLOT_MM, x, top + PLOT_MM + 1.0, width=0.25)
            canvas.text(x, base, str(tau), SMALL_MM, anchor="middle")
        one = f"time constants after the movement; one is {_time(self.passage.tau_s)}"
        if width_mm(one, SMALL_MM) > self.width - 1.0:
            one = f"time constants, each {_time(self.passage.tau_s)}"
        wide = width_mm(one, SMALL_MM)
        canvas.text(max(min(self.left, self.width - wide - 0.4), 0.3), base + _SMALL_LINE_MM, one, SMALL_MM, soft=True)

    def _draw_curve(self, canvas: Canvas, top: float) -> None:
        """Start and final span as bars, the longest passage between them, and the time inside the window."""
        one = self.passage
        start, final = one.ends
        canvas.group(kind="pp-curve")
        for row, x in ((one.before, self.x(-0.6)), (one.after, self.x(LAST_TAU + 0.3))):
            high, low = self.y(row.high, top), self.y(row.low, top)
            width = (self.x(0.0) if row is one.before else self.right) - x
            canvas.rect(x, high, width, max(low - high, 0.3), fill=0.35, stroke=0.3, kind="pp-bar")
        points, left = [(0.0, start)], 1.0
        while points[-1][0] < LAST_TAU:
            left *= 0.94  # of the way; a choice of points, their times come from the check
            reading = final + (start - final) * left
            points.append((one.reached_s(reading) / one.tau_s, reading))
        path = "L".join(f"{number(self.x(tau))} {number(self.y(reading, top))}" for tau, reading in points)
        canvas.path(f"M{path}", stroke=0.6)
        enter, leave = (time / one.tau_s for time in one.inside_s())
        if leave <= LAST_TAU:
            for tau in (enter, leave):
                canvas.line(self.x(tau), top, self.x(tau), top + PLOT_MM, width=0.25, dash="1 0.7")
            canvas.rect(self.x(enter), top + PLOT_MM - 1.1, self.x(leave) - self.x(enter), 1.1, fill=1.0)

    def _bars(self) -> list[tuple[str, float | None]]:
        one = self.passage
        meaning = one.window.meaning
        found: list[tuple[str, float | None]] = [
            (f"settling through {meaning}: up to {_time(one.settle_s)}", one.settle_s)
        ]
        if one.bound_s > one.settle_s:
            found.append((f"with the bounce of {one.contact}: up to {_time(one.bound_s)}", one.bound_s))
        if one.debounce_s is None:
            found.append(("debounce of the controller: not stated", None))
        else:
            hides = "longer, so it hides this" if one.bound_s < one.debounce_s else "not longer: this may count"
            found.append((f"debounce of the controller: {_time(one.debounce_s)}, {hides}", one.debounce_s))
        return found

    def _draw_bars(self, canvas: Canvas, bars: Sequence[tuple[str, float | None]], top: float) -> None:
        """Times beside each other on a rule of decades, since they differ by thousands."""
        canvas.group(kind="pp-times")
        canvas.line(0.3, top - 1.6, self.width - 0.3, top - 1.6, width=0.15, soft=True)
        times = [time for _, time in bars if time is not None and time > 0.0]
        low = math.floor(math.log10(min(times)) - 0.3)
        high = max(math.ceil(math.log10(max(times)) + 0.02), low + 2)
        left, right = 1.0, self.width - 2.0

        def place(time: float) -> float:
            return left + (math.log10(time) - low) / (high - low) * (right - left)

        at = top
        for text, time in bars:
            for piece in wrap(drawable(text), self.width - 1.0, SMALL_MM)[:1]:
                canvas.text(0.3, at + reach_mm(SMALL_MM)[0], piece, SMALL_MM)
            if time is not None and time > 0.0:
                canvas.rect(left, at + _SMALL_LINE_MM + 0.6, place(time) - left, _BAR_MM, fill=1.0, kind="pp-bar")
            at += _BAR_LINE_MM
        canvas.line(left, at, right, at, width=0.3)
        texts = [(10.0**power, _time(10.0**power)) for power in range(low, high + 1)]
        wide, pitch = max(width_mm(text, SMALL_MM) for _, text in texts) + 2.0, (right - left) / (high - low)
        every = next(step for step in itertools.count(1) if step >= high - low or wide <= step * pitch)
        for index, (time, text) in enumerate(texts):
            x = place(time)
            canvas.line(x, at, x, at + 1.0, width=0.25)
            if index % every == 0:
                half = width_mm(text, SMALL_MM) / 2.0
                centre = min(max(x, half + 0.3), self.width - half - 0.3)
                canvas.text(centre, at + 1.4 + reach_mm(SMALL_MM)[0], text, SMALL_MM, anchor="middle")

    def _describe(self) -> str:
        return " ".join([*self._told(), *(words.sentence(text) for text, _ in self._bars())])


def _time(time_s: float) -> str:
    return format_value(time_s, "time", digits=2)
