"""The upper part of a reading chart: windows as bands above a rule from zero to full scale.

Answers: where does the controller take a reading for which meaning, where is that sure, and where may the edge lie?
Units:   millimetres on paper, readings in the reading space.
Touches: nothing.
Beside:  `reading_chart` puts the situations below.

Pattern language, the same above the rule and in every row: tinted with a firm outline is a command, empty with a firm
outline is idle, level lines are a fault window; slanted lines are where an edge may lie; crossed lines are a window
that the situation of that row must keep out of.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from pinproof.drawings.axis import Axis
from pinproof.drawings.measure import drawable, reach_mm, width_mm, wrap
from pinproof.drawings.place import spread
from pinproof.drawings.svg import Canvas
from pinproof.verdict import Window

NAME_MM = 3.1
SMALL_MM = 2.8
BAND_MM = 7.0  # height of a band above the rule
LANE_MM = 5.0  # height of a band in a lane of its own
RULE_MM = 6.6
PITCH_MM = 0.8  # of slanted lines


@dataclass(frozen=True)
class Strip:
    """The part of the drawing's width that carries the readings."""

    left: float
    right: float
    axis: Axis

    @property
    def width(self) -> float:
        """Its width. [mm]"""
        return self.right - self.left

    def x(self, reading: float) -> float:
        """Where a reading lies; beyond the rule's ends it lies on the end. [mm]"""
        return self.left + min(max(self.axis.share(reading), 0.0), 1.0) * self.width


def kind_words(window: Window) -> str:
    """What a window is: "command", "idle", "fault", and whether its edges are assumed."""
    return window.kind + (", assumed" if window.basis == "assumed" else "")


def draw_window(canvas: Canvas, strip: Strip, window: Window, top: float, bottom: float) -> None:
    """One window: its sure part framed, the zones of its edges slanted."""
    low, high = (strip.x(_finite(end, strip.axis)) for end in window.largest())
    sure_low, sure_high = (strip.x(_finite(end, strip.axis)) for end in window.guaranteed())
    if sure_low >= sure_high:  # the zones of both edges meet: nothing is sure
        canvas.hatch(low, top, high, bottom, pitch=PITCH_MM, lean="/")
        canvas.rect(low, top, max(high - low, 0.2), bottom - top, stroke=0.15, dash="0.7 0.5")
        return
    for a, b in ((low, sure_low), (sure_high, high)):
        if b - a > 0.05:
            canvas.hatch(a, top, b, bottom, pitch=PITCH_MM, lean="/")
            canvas.rect(a, top, b - a, bottom - top, stroke=0.15, dash="0.7 0.5")
    width = sure_high - sure_low
    if window.kind == "fault":
        canvas.hatch(sure_low, top, sure_high, bottom, pitch=1.1, lean="-")
    canvas.rect(
        sure_low, top, width, bottom - top, stroke=0.3, fill=0.1 if window.kind == "command" else 0.0, kind="pp-sure"
    )


def draw_keep_out(canvas: Canvas, strip: Strip, window: Window, top: float, bottom: float) -> None:
    """A window that a situation must keep out of, as large as it may be."""
    low, high = (strip.x(_finite(end, strip.axis)) for end in window.largest())
    canvas.hatch(low, top, high, bottom, pitch=1.0, lean="x")
    canvas.rect(low, top, max(high - low, 0.2), bottom - top, stroke=0.15)


def draw_windows(canvas: Canvas, strip: Strip, windows: Sequence[Window], top: float) -> float:
    """Bands with their names; returns where the next part may begin.

    One row of bands with the names above it, each joined to its band where it had to move. Where the names do not fit
    side by side, or windows overlap, every window has a lane with its name beside it.
    """
    if not windows:
        return top
    ordered = sorted(windows, key=lambda each: (_middle(each, strip.axis), each.meaning))
    widths = [max(width_mm(drawable(w.meaning), NAME_MM, "strong"), width_mm(kind_words(w), SMALL_MM)) for w in ordered]
    centres = spread([strip.x(_middle(w, strip.axis)) for w in ordered], widths, 0.5, canvas.width_mm - 0.5, 2.0)
    if centres is None or _overlap(ordered):
        return _lanes(canvas, strip, ordered, top)
    return _row(canvas, strip, ordered, centres, top)


def windows_height(strip: Strip, windows: Sequence[Window], canvas_width: float) -> float:
    """Height that `draw_windows` will take. [mm]"""
    probe = Canvas(canvas_width, 1.0, "", "", "probe")
    return draw_windows(probe, strip, windows, 0.0)


def draw_rule(canvas: Canvas, strip: Strip, top: float) -> float:
    """The rule from zero to full scale with its numerals; returns where the next part may begin."""
    marks = fitting_marks(strip)
    canvas.rect(strip.left, top, strip.width, RULE_MM, stroke=0.25, corner=0.9)
    linear = strip.axis.unit != "ohms"
    for index, (place, text) in enumerate(marks):
        x = strip.x(place)
        inner = strip.left + 0.01 < x < strip.right - 0.01
        if inner:
            canvas.line(x, top, x, top + 2.4, width=0.25)
        if linear and index + 1 < len(marks):
            after = strip.x(marks[index + 1][0])
            for part in range(1, 5):
                between = x + (after - x) * part / 5.0
                canvas.line(between, top, between, top + 1.2, width=0.15)
        canvas.text(_numeral_x(text, x, strip), top + RULE_MM - 1.2, text, SMALL_MM, anchor="middle")
    return top + RULE_MM


def fitting_marks(strip: Strip) -> tuple[tuple[float, str], ...]:
    """As many numbered marks as stand beside each other without touching."""
    marks: tuple[tuple[float, str], ...] = ()
    for most in range(11, 1, -1):
        marks = strip.axis.marks(most)
        ends = []
        for place, text in marks:
            half = width_mm(text, SMALL_MM) / 2.0
            centre = _numeral_x(text, strip.x(place), strip)
            ends.append((centre - half, centre + half))
        if all(a[1] + 1.5 <= b[0] for a, b in itertools.pairwise(ends)):
            return marks
    return marks[:1]


def _numeral_x(text: str, x: float, strip: Strip) -> float:
    """The numerals of both ends move inward, so that all stand within the rule."""
    inset = width_mm(text, SMALL_MM) / 2.0 + 0.7
    return min(max(x, strip.left + inset), strip.right - inset)


def _row(canvas: Canvas, strip: Strip, windows: Sequence[Window], centres: Sequence[float], top: float) -> float:
    above_name, below_name = reach_mm(NAME_MM)
    above_kind, below_kind = reach_mm(SMALL_MM)
    name_y = top + above_name
    kind_y = name_y + below_name + above_kind + 0.02
    labels_end = kind_y + below_kind
    moved = any(abs(c - strip.x(_middle(w, strip.axis))) > 0.3 for w, c in zip(windows, centres, strict=True))
    band_top = labels_end + (3.0 if moved else 0.8)
    for window, centre in zip(windows, centres, strict=True):
        canvas.text(centre, name_y, window.meaning, NAME_MM, anchor="middle", weight="strong")
        canvas.text(centre, kind_y, kind_words(window), SMALL_MM, anchor="middle", soft=True)
        if moved:
            canvas.line(centre, labels_end + 0.4, strip.x(_middle(window, strip.axis)), band_top - 0.2, width=0.2)
        draw_window(canvas, strip, window, band_top, band_top + BAND_MM)
    return band_top + BAND_MM


def _lanes(canvas: Canvas, strip: Strip, windows: Sequence[Window], top: float) -> float:
    beside = strip.left - 2.0
    at = top
    for window in windows:
        text = f"{drawable(window.meaning)} ({kind_words(window)})"
        if width_mm(text, SMALL_MM) <= beside:
            band_top = at + 0.3
            canvas.text(0.3, at + LANE_MM - 1.4, text, SMALL_MM)
        else:  # no room beside the strip: the name goes above its lane, in as many lines as it takes
            band_top = _above(canvas, text, at)
        draw_window(canvas, strip, window, band_top, band_top + LANE_MM - 1.0)
        at = band_top + LANE_MM - 0.2
    return at + 0.4


def _above(canvas: Canvas, text: str, top: float) -> float:
    above, below = reach_mm(SMALL_MM)
    for line in wrap(text, canvas.width_mm - 1.0, SMALL_MM):
        canvas.text(0.3, top + above, line, SMALL_MM)
        top += above + below
    return top + 0.2


def _finite(end: float, axis: Axis) -> float:
    return 0.0 if end == -math.inf else axis.full if end == math.inf else end


def _middle(window: Window, axis: Axis) -> float:
    low = window.lower.nominal if window.lower is not None and window.lower.exists else 0.0
    high = window.upper.nominal if window.upper is not None and window.upper.exists else axis.full
    return (min(max(low, 0.0), axis.full) + min(max(high, 0.0), axis.full)) / 2.0


def _overlap(ordered: Sequence[Window]) -> bool:
    """True if two sure parts overlap, so that one row could not show both."""
    reach = -math.inf
    for low, high in sorted(window.guaranteed() for window in ordered):
        if low < reach and low < high:
            return True
        reach = max(reach, high)
    return False
