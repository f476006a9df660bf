"""The drift picture: how far each part of a line may move before a meaning is lost or a false command begins.

Answers: which parameter gives way first, from where to where does it still work, what happens beyond?
Units:   millimetres on paper; ohms on a rule of decades, volts on an even rule.
Touches: nothing but the shipped typefaces.
Beside:  `pinproof.proof.budgets` worked out the numbers; here they are placed and told, nothing else.

Pattern language, as in the reading chart: full is sure, slanted is not sure any more, crossed is a foreign command.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pinproof.drawings import words
from pinproof.drawings.bands import NAME_MM, PITCH_MM, SMALL_MM
from pinproof.drawings.measure import drawable, reach_mm, width_mm, wrap
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas, number
from pinproof.proof.results import DriftBudget, LineProof, SituationProof
from pinproof.quantities import format_value

WIDTHS_MM = {"wide": 182.0, "narrow": 84.0}
LEFT_MM, RIGHT_MM = 56.0, 52.0  # columns beside the rule on a wide picture
BAND_MM, RULE_MM = 4.2, 5.6
_NAME_LINE_MM, _SMALL_LINE_MM = 3.95, 3.6
_LEAST_OHM, _MOST_OHM = 0.1, 1e9  # what the rule of decades can reach
_KEY = {
    "still": "still works",
    "lost": "its meaning is no longer sure",
    "false": "from its near end on: a command that nobody gave",
    "end": "end of the range that the proof counts on",
}


@dataclass(frozen=True)
class Drift:
    """The tightest budget of one parameter in one direction, and the situation it belongs to."""

    budget: DriftBudget
    row: SituationProof

    @property
    def nearest(self) -> float:
        """Where the first of the two things happens. [Ω or V]"""
        known = [each for each in (self.budget.lost_at, self.budget.false_at) if each is not None]
        return min(known) if self.budget.direction == "up" else max(known)


def drifts_of(line: LineProof) -> tuple[Drift, ...]:
    """The tightest budget of each parameter and direction that can overturn something, the nearest first."""
    tightest: dict[tuple[str, str], Drift] = {}
    for row in line.situations:
        for budget in row.budgets:
            key = (budget.parameter, budget.direction)
            if budget.lost_at is None and budget.false_at is None:
                continue
            if key not in tightest or budget.strain < tightest[key].budget.strain:
                tightest[key] = Drift(budget, row)
    return tuple(sorted(tightest.values(), key=lambda each: each.budget.strain))


def drift_picture(line: LineProof, *, layout: str = "wide", ident: str = "drift", most: int = 10) -> Drawing | None:
    """Draw the nearest drift budgets of one line; None if there is none to draw.

    Parameters
    ----------
    line : LineProof
    layout : str
        "wide", 182 mm, for a page and for paper; "narrow", 84 mm, for a phone.
    ident : str
        Beginning of the ids inside the SVG.
    most : int
        Parameters drawn at most; the rest, with more room, is counted in words.

    Raises
    ------
    ValueError
        For an unknown layout.
    """
    if layout not in WIDTHS_MM:
        raise ValueError(f"layout {layout!r} is none of {', '.join(WIDTHS_MM)}")
    every = drifts_of(line)
    if not every:
        return None
    shown = every[:most]
    groups = [
        _Group(unit, tuple(each for each in shown if each.budget.unit == unit), _Rule.of(unit, shown))
        for unit in dict.fromkeys(each.budget.unit for each in shown)
    ]
    return _Picture(line.line, groups, len(every) - len(shown), WIDTHS_MM[layout], layout == "wide").draw(ident)


@dataclass(frozen=True)
class _Rule:
    """The scale of one unit: decades of ohms, or even steps of volts."""

    unit: str
    low: float
    high: float

    @staticmethod
    def of(unit: str, drifts: Iterable[Drift]) -> _Rule:
        budgets = [each.budget for each in drifts if each.budget.unit == unit]
        ends = [end for each in budgets for end in (each.end, each.lost_at, each.false_at) if end is not None]
        known = [end for end in ends if math.isfinite(end)]
        if unit == "ohm":
            inside = [math.log10(min(max(end, _LEAST_OHM), _MOST_OHM)) for end in known if end > 0.0]
            first = float(math.floor(min(inside, default=0.0) - 0.02))
            last = float(math.ceil(max(inside, default=3.0) + 0.02))
            if any(end == 0.0 for end in known) and first > -1.0:
                first -= 1.0  # room for what begins at zero
            return _Rule(unit, first, max(last, first + 1.0))
        low, high = min(known, default=0.0), max(known, default=1.0)
        step = _step((high - low) or 1.0, 6)
        first, last = math.floor(low / step) * step, math.ceil(high / step) * step
        return _Rule(unit, first, last if last > first else first + step)

    def share(self, value: float) -> float:
        """Place of a value, 0 at the left end and 1 at the right; what lies beyond lies on the end."""
        if self.unit == "ohm":
            if value <= 0.0:
                return 0.0
            value = math.log10(value) if math.isfinite(value) else self.high
        return min(max((value - self.low) / (self.high - self.low), 0.0), 1.0)

    def beyond(self, value: float) -> bool:
        """True if the value does not lie on the rule."""
        if self.unit == "ohm":
            return value <= 0.0 or not self.low <= math.log10(value) <= self.high
        return not self.low <= value <= self.high

    def steps(self) -> tuple[tuple[float, str], ...]:
        """Every decade of ohms, or every even step of volts, with its numeral."""
        if self.unit == "ohm":
            values = [10.0**power for power in range(math.ceil(self.low), math.floor(self.high) + 1)]
            return tuple((value, format_value(value, "resistance", digits=3)) for value in values)
        step = _step(self.high - self.low, 6)
        count = int((self.high - self.low) / step + 1e-9)
        places = [self.low + index * step for index in range(count + 1)]
        return tuple((0.0 if abs(v) < 1e-9 * step else v, words.value(v, "V", 4)) for v in places)

    def marks(self, left: float, right: float) -> tuple[tuple[float, float, str], ...]:
        """Place of every step between `left` and `right`, the centre of its numeral, and the numeral.

        Where numerals would touch, only every second, third … step has one; the others have "".
        """
        steps = self.steps()
        found: list[tuple[float, float, str]] = []
        for every in range(1, len(steps) + 1):
            found, end, fits = [], -math.inf, True
            for index, (value, text) in enumerate(steps):
                x = left + self.share(value) * (right - left)
                if index % every:
                    found.append((x, x, ""))
                    continue
                half = width_mm(text, SMALL_MM) / 2.0
                centre = min(max(x, left + half + 0.7), right - half - 0.7)
                fits = fits and centre - half >= end + 1.2
                end = centre + half
                found.append((x, centre, text))
            if fits:
                break
        return tuple(found)


def _step(extent: float, most: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that cuts an extent into at most so many parts."""
    raw = extent / most
    power = 10.0 ** math.floor(math.log10(raw))
    return next(lead * power for lead in (1.0, 2.0, 5.0, 10.0) if lead * power >= raw * (1.0 - 1e-9))


@dataclass(frozen=True)
class _Group:
    unit: str
    drifts: tuple[Drift, ...]
    rule: _Rule


@dataclass(frozen=True)
class _Picture:
    line: str
    groups: Sequence[_Group]
    more: int
    width: float
    wide: bool

    @property
    def strip(self) -> tuple[float, float]:
        return (LEFT_MM + 2.0, self.width - RIGHT_MM - 2.0) if self.wide else (2.0, self.width - 2.0)

    def draw(self, ident: str) -> Drawing:
        title = f"How far the parts of {self.line} may drift, the least room first"
        heads = wrap(drawable(title), self.width - 1.0, NAME_MM, "strong")
        foot = [piece for note in self._notes() for piece in wrap(drawable(note), self.width - 1.0, SMALL_MM)]
        keys = _key_spots(self._key_items(), self.width)
        total = len(heads) * _NAME_LINE_MM + 1.6
        for group in self.groups:
            total += _SMALL_LINE_MM + RULE_MM + 2.6 + sum(self._height(self._texts(each)) for each in group.drifts)
        total += len(foot) * _SMALL_LINE_MM + 2.0 + keys[-1][2] + 4.6
        canvas = Canvas(self.width, total, title, self._describe(), ident)
        canvas.group(kind="pp-head")
        at = 0.0
        for text in heads:
            canvas.text(0.3, at + reach_mm(NAME_MM)[0], text, NAME_MM, weight="strong")
            at += _NAME_LINE_MM
        at += 1.6
        for group in self.groups:
            at = self._draw_group(canvas, group, at)
        canvas.group(kind="pp-key")
        canvas.line(0.3, at + 0.6, self.width - 0.3, at + 0.6, width=0.15, soft=True)
        for item, x, y in keys:
            _draw_key(canvas, item, x, at + y)
        at += keys[-1][2] + 4.6
        for text in foot:
            canvas.text(0.3, at + reach_mm(SMALL_MM)[0], text, SMALL_MM)
            at += _SMALL_LINE_MM
        return canvas.finish()

    def _texts(self, drift: Drift) -> tuple[list[str], list[str], list[str]]:
        """Name, situation, and what happens where."""
        left = LEFT_MM if self.wide else self.width - 1.0
        right = RIGHT_MM if self.wide else self.width - 1.0
        name = list(wrap(drawable(words.parameter(drift.budget.parameter)), left, NAME_MM, "strong"))
        small = list(wrap(drawable(f"{words.operated(drift.row.operated)}, {_way(drift)}"), left, SMALL_MM))
        told = [piece for text in _told(drift) for piece in wrap(drawable(text), right, SMALL_MM)]
        return name, small, told

    def _height(self, texts: tuple[list[str], list[str], list[str]]) -> float:
        name, small, told = texts
        left = len(name) * _NAME_LINE_MM + len(small) * _SMALL_LINE_MM
        if self.wide:
            return max(left, len(told) * _SMALL_LINE_MM, BAND_MM + 1.0) + 2.2
        return left + BAND_MM + 2.4 + len(told) * _SMALL_LINE_MM + 2.2

    def _draw_group(self, canvas: Canvas, group: _Group, top: float) -> float:
        left, right = self.strip
        top += 1.4
        canvas.group(kind="pp-rule")
        scale = "ohms, each line ten times the one before" if group.unit == "ohm" else "volts"
        canvas.text(left, top + reach_mm(SMALL_MM)[0], scale, SMALL_MM, soft=True)
        top += _SMALL_LINE_MM
        canvas.rect(left, top, right - left, RULE_MM, stroke=0.25, corner=0.9)
        marks = group.rule.marks(left, right)
        for x, centre, text in marks:
            if left + 0.01 < x < right - 0.01:
                canvas.line(x, top, x, top + 1.6, width=0.25)
            if text:
                canvas.text(centre, top + RULE_MM - 1.0, text, SMALL_MM, anchor="middle")
        places = [x for x, _, _ in marks]
        at = top + RULE_MM + 1.2
        for drift in group.drifts:
            at = self._draw_row(canvas, group.rule, drift, places, at)
        return at

    def _draw_row(self, canvas: Canvas, rule: _Rule, drift: Drift, marks: Sequence[float], top: float) -> float:
        name, small, told = texts = self._texts(drift)
        bottom = top + self._height(texts)
        canvas.group(kind="pp-row")
        canvas.line(0.3, top, self.width - 0.3, top, width=0.15, soft=True)
        at = top + 0.7
        for text in name:
            canvas.text(0.3, at + reach_mm(NAME_MM)[0], text, NAME_MM, weight="strong")
            at += _NAME_LINE_MM
        for text in small:
            canvas.text(0.3, at + reach_mm(SMALL_MM)[0], text, SMALL_MM, soft=True)
            at += _SMALL_LINE_MM
        middle = (top + bottom) / 2.0 if self.wide else at + 0.8 + BAND_MM / 2.0
        x, at = (self.width - RIGHT_MM, top + 0.7) if self.wide else (0.3, middle + BAND_MM / 2.0 + 0.8)
        for text in told:
            canvas.text(x, at + reach_mm(SMALL_MM)[0], text, SMALL_MM)
            at += _SMALL_LINE_MM
        for mark in marks:
            canvas.line(mark, middle - BAND_MM / 2.0, mark, middle + BAND_MM / 2.0, width=0.1, soft=True)
        _draw_band(canvas, rule, drift, self.strip, middle)
        return bottom

    def _key_items(self) -> list[str]:
        budgets = [each.budget for group in self.groups for each in group.drifts]
        items = ["still", "end"]
        if any(each.lost_at is not None for each in budgets):
            items.append("lost")
        if any(each.false_at is not None for each in budgets):
            items.append("false")
        return items

    def _notes(self) -> list[str]:
        notes = ["Each moves alone, with everything else at its worst."]
        if self.more:
            notes.append(f"{self.more} more, each with more room than these, are not drawn.")
        return notes

    def _describe(self) -> str:
        told = [
            f"{words.parameter(each.budget.parameter)}, with {words.operated(each.row.operated)}, {_way(each)}: "
            f"{'; '.join(_told(each))}."
            for group in self.groups
            for each in group.drifts
        ]
        return " ".join([*told, *self._notes()])


def _way(drift: Drift) -> str:
    return "rising" if drift.budget.direction == "up" else "falling"


def _told(drift: Drift) -> tuple[str, ...]:
    """What happens where, one phrase for each line."""
    budget, row = drift.budget, drift.row
    to = "up" if budget.direction == "up" else "down"
    end, lost, false = (
        "" if each is None else words.value(each, budget.unit, 3)
        for each in (budget.end, budget.lost_at, budget.false_at)
    )  # fmt: skip
    found = [f"counted on: {to} to {end}"]
    if lost:
        found.append(f"{row.meaning or 'what it may read'} is sure {to} to {lost}")
    if false:
        found.append(f"{budget.false_as or 'a command'} may be read from {false}")
    return tuple(found)


def _draw_band(canvas: Canvas, rule: _Rule, drift: Drift, strip: tuple[float, float], middle: float) -> None:
    """From the end of what is counted on: what still works, what is not sure, what is a false command."""
    left, right = strip
    budget = drift.budget
    edge = right if budget.direction == "up" else left

    def place(value: float | None) -> float | None:
        return None if value is None else left + rule.share(value) * (right - left)

    start, lost, false = left + rule.share(budget.end) * (right - left), place(budget.lost_at), place(budget.false_at)
    first = left + rule.share(drift.nearest) * (right - left)
    top, bottom = middle - BAND_MM / 2.0, middle + BAND_MM / 2.0
    canvas.line(left, middle, right, middle, width=0.12, soft=True)
    a, b = min(start, first), max(start, first)
    canvas.rect(a, middle - 1.1, b - a, 2.2, fill=1.0, kind="pp-bar")
    if lost is not None and (false is None or abs(false - edge) < abs(lost - edge)):
        a, b = sorted((lost, edge if false is None else false))
        canvas.hatch(a, top, b, bottom, pitch=PITCH_MM, lean="/")
        canvas.rect(a, top, b - a, bottom - top, stroke=0.15, dash="0.7 0.5")
    if false is not None:
        a, b = sorted((false, edge))
        canvas.hatch(a, top, b, bottom, pitch=1.0, lean="x")
        canvas.rect(a, top, b - a, bottom - top, stroke=0.25)
    canvas.line(start, top - 0.4, start, bottom + 0.4, width=0.6)
    if rule.beyond(budget.end) and math.isfinite(budget.end):  # it begins beyond the rule, at zero
        canvas.path(f"M{number(start + 1.7)} {number(middle - 1.9)}l-1.7 1.9l1.7 1.9", stroke=0.3)


def _key_spots(items: Sequence[str], width: float) -> list[tuple[str, float, float]]:
    spots, x, y = [], 0.3, 1.8
    for item in items:
        wide = 8.4 + width_mm(_KEY[item], SMALL_MM)
        if x > 0.3 and x + wide > width - 0.3:
            x, y = 0.3, y + 4.7
        spots.append((item, x, y))
        x += wide + 5.0
    return spots


def _draw_key(canvas: Canvas, item: str, x: float, y: float) -> None:
    middle, right, bottom = y + 1.5, x + 7.0, y + 3.0
    if item == "still":
        canvas.rect(x, middle - 1.1, 7.0, 2.2, fill=1.0, kind="pp-bar")
    elif item == "end":
        canvas.line(x + 3.5, y, x + 3.5, bottom, width=0.6)
    else:
        pitch, lean, dash = (PITCH_MM, "/", "0.7 0.5") if item == "lost" else (1.0, "x", "")
        canvas.hatch(x, y, right, bottom, pitch=pitch, lean=lean)
        canvas.rect(x, y, 7.0, 3.0, stroke=0.15, dash=dash)
    canvas.text(x + 8.4, middle + reach_mm(SMALL_MM)[0] / 2.0 - 0.45, _KEY[item], SMALL_MM)
