"""The saw-tooth chart: engine speed over road speed in every gear, the drop at each upshift, the safe downshifts.

Answers: how high does each gear reach, where does the engine land after a shift, how near is the limiter?
Units:   millimetres on paper; rpm upward, road speed to the right, km/h and mph both.
Touches: nothing but the shipped typefaces.
Beside:  every number comes from `pinproof.driveline`; a gear's line is its engine speed at 1 m/s, drawn out.

Pattern language: the thick line is the nominal truck, the shaded band all trucks of the range; a full bar is a limit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinproof.drawings.bands import NAME_MM, SMALL_MM
from pinproof.drawings.measure import drawable, reach_mm, width_mm, wrap
from pinproof.drawings.place import Drawing, spread
from pinproof.drawings.svg import Canvas, number
from pinproof.driveline import DriveSums
from pinproof.driveline.lines import KM_H, MPH, permitted
from pinproof.driveline.results import Downshift, GearRow

WIDTHS_MM = {"wide": 182.0, "narrow": 84.0}
PLOT_MM = {"wide": 92.0, "narrow": 74.0}
LEFT_MM, RIGHT_MM = 13.0, 2.5
_NAME_LINE_MM, _SMALL_LINE_MM = 3.95, 3.6


def saw_tooth(sums: DriveSums, *, transfer: str = "", layout: str = "wide", ident: str = "saw-tooth") -> Drawing:
    """Draw one range of the transfer case.

    Parameters
    ----------
    sums : DriveSums
    transfer : str
        Its name; "" takes the first.
    layout : str
        "wide", 182 mm, for a page and for paper; "narrow", 84 mm, for a phone.
    ident : str
        Beginning of the ids inside the SVG.

    Raises
    ------
    ValueError
        For an unknown layout or range.
    """
    if layout not in WIDTHS_MM:
        raise ValueError(f"layout {layout!r} is none of {', '.join(WIDTHS_MM)}")
    names = list(dict.fromkeys(row.transfer for row in sums.gears))
    chosen = transfer or names[0]
    if chosen not in names:
        raise ValueError(f"range {transfer!r} is none of {', '.join(names)}")
    rows = tuple(row for row in sums.gears if row.transfer == chosen)
    downs = tuple(each for each in sums.downshifts if each.transfer == chosen)
    return _Picture(sums, chosen, rows, downs, layout, len(names) > 1).draw(ident)


@dataclass(frozen=True)
class _Picture:
    sums: DriveSums
    transfer: str
    rows: tuple[GearRow, ...]
    downs: tuple[Downshift, ...]
    layout: str
    several: bool

    @property
    def width(self) -> float:
        return WIDTHS_MM[self.layout]

    @property
    def top_rpm(self) -> float:
        """Upper end of the field, a whole thousand above everything drawn."""
        ends = [self.sums.most_rpm.high, *(step.before_rpm.value for step in self.sums.steps)]
        return math.ceil(max(ends) / 1000.0 + 0.15) * 1000.0

    @property
    def end_m_per_s(self) -> float:
        """Right end of the field: the luckiest truck in the highest gear at the engine's most."""
        return self.rows[-1].most_m_per_s.high * 1.02

    def draw(self, ident: str) -> Drawing:
        range_ = f", {self.transfer} range" if self.several else ""
        title = f"Engine speed over road speed in every gear{range_}"
        heads = wrap(drawable(title), self.width - 1.0, NAME_MM, "strong")
        notes = [piece for note in self._notes() for piece in wrap(drawable(note), self.width - 1.0, SMALL_MM)]
        plot_top = len(heads) * _NAME_LINE_MM + 2.0 + 2.0 * _SMALL_LINE_MM
        plot_bottom = plot_top + PLOT_MM[self.layout]
        total = plot_bottom + 3.0 * _SMALL_LINE_MM + 2.0 + len(notes) * _SMALL_LINE_MM + 1.0
        canvas = Canvas(self.width, total, title, self._describe(), ident)
        canvas.group(kind="pp-head")
        for at, text in enumerate(heads):
            canvas.text(0.3, at * _NAME_LINE_MM + reach_mm(NAME_MM)[0], text, NAME_MM, weight="strong")
        field = _Field(LEFT_MM, self.width - RIGHT_MM, plot_top, plot_bottom, self.end_m_per_s, self.top_rpm)
        self._frame(canvas, field)
        self._gears(canvas, field)
        self._limits(canvas, field)
        self._downs(canvas, field)
        at_mm = plot_bottom + 3.0 * _SMALL_LINE_MM
        canvas.group(kind="pp-notes")
        canvas.line(0.3, at_mm, self.width - 0.3, at_mm, width=0.15, soft=True)
        at_mm += 1.2
        for note in notes:
            canvas.text(0.3, at_mm + reach_mm(SMALL_MM)[0], note, SMALL_MM)
            at_mm += _SMALL_LINE_MM
        return canvas.finish()

    def _frame(self, canvas: Canvas, field: _Field) -> None:
        canvas.group(kind="pp-rule")
        canvas.rect(field.left, field.top, field.right - field.left, field.bottom - field.top, stroke=0.25)
        step = 1000 if self.layout == "wide" or field.top_rpm <= 8000.0 else 2000
        above = reach_mm(SMALL_MM)[0] / 2.0
        for rpm in range(0, int(field.top_rpm) + 1, step):
            y = field.y(float(rpm))
            if 0 < rpm < field.top_rpm:
                canvas.line(field.left, y, field.right, y, width=0.1, soft=True)
            canvas.text(field.left - 1.0, min(y + above - 0.6, field.bottom), f"{rpm}", SMALL_MM, anchor="end")
        canvas.text(0.3, field.top - 1.2, "rpm", SMALL_MM, soft=True)
        us = self.sums.units == "us"
        scales = [("mph", MPH), ("km/h", KM_H)] if us else [("km/h", KM_H), ("mph", MPH)]
        for row, (unit, size) in enumerate(scales):
            base = field.bottom + row * (_SMALL_LINE_MM + 0.4) + 1.2 + reach_mm(SMALL_MM)[0]
            room = field.right - field.left - width_mm(unit, SMALL_MM) - 3.0
            pitch = _nice(field.end_m_per_s / size, int(room / 14.0))
            for index in range(int(field.end_m_per_s / size / pitch) + 1):
                x = field.x(index * pitch * size)
                text = f"{index * pitch:g}"
                if x + width_mm(text, SMALL_MM) / 2.0 > field.right - width_mm(unit, SMALL_MM) - 1.0:
                    break
                if row == 0:
                    canvas.line(x, field.bottom, x, field.bottom + 1.0, width=0.2)
                    if index:
                        canvas.line(x, field.top, x, field.bottom, width=0.1, soft=True)
                canvas.text(x, base, text, SMALL_MM, anchor="middle", soft=row > 0)
            canvas.text(field.right, base, unit, SMALL_MM, anchor="end", soft=row > 0)

    def _gears(self, canvas: Canvas, field: _Field) -> None:
        """Bands, thin lines, and the thick saw-tooth from shift to shift."""
        most = self.sums.most_rpm.value
        for row in self.rows:
            slope = row.engine_rpm_at_1_m_per_s
            canvas.group(kind="pp-gear")
            near, far = field.at(most / slope.high, most), field.at(most / slope.low, most)
            canvas.path(f"M{field.at(0.0, 0.0)}L{near}L{far}Z", fill=0.16)
            canvas.path(f"M{field.at(0.0, 0.0)}L{field.at(most / slope.value, most)}", stroke=0.18, soft=True)
        canvas.group(kind="pp-saw")
        points, speed = [field.at(0.0, 0.0)], 0.0
        for row, step in zip(self.rows, self.sums.steps, strict=False):
            turn = row.engine_rpm_at_1_m_per_s.value
            speed = max(step.before_rpm.value / turn, speed)
            points.append(field.at(speed, speed * turn))
            points.append(field.at(speed, speed * self.rows[len(points) // 2].engine_rpm_at_1_m_per_s.value))
        last = self.rows[-1].engine_rpm_at_1_m_per_s.value
        reach = self.sums.reach_rpm.value
        points.append(field.at(max(reach / last, speed), max(reach, speed * last)))
        canvas.path("M" + "L".join(points), stroke=0.5)
        canvas.group(kind="pp-gear-names")
        wishes = [field.x(most / row.engine_rpm_at_1_m_per_s.value) for row in self.rows]
        names = [row.gear for row in self.rows]
        widths = [width_mm(drawable(name), NAME_MM, "strong") for name in names]
        places = spread(wishes, widths, field.left, field.right, 1.2) or wishes
        base = field.top - 1.2
        for name, x in zip(names, places, strict=True):
            canvas.text(x, base, name, NAME_MM, anchor="middle", weight="strong")

    def _limits(self, canvas: Canvas, field: _Field) -> None:
        canvas.group(kind="pp-limits")
        most, limiter = self.sums.most_rpm, self.sums.limiter_rpm
        y = field.y(most.value)
        canvas.line(field.left, y, field.right, y, width=0.45)
        if limiter is not None:
            low, high = field.y(limiter.low), field.y(limiter.high)
            for each in dict.fromkeys((low, high)):
                canvas.line(field.left, each, field.right, each, width=0.2, dash="1.2 0.8")

    def _downs(self, canvas: Canvas, field: _Field) -> None:
        """A full triangle on the gear's line at the highest speed for a shift down into it."""
        canvas.group(kind="pp-downshifts")
        turns = {row.gear: row.engine_rpm_at_1_m_per_s.value for row in self.rows}
        for each in self.downs:
            if each.permitted_m_per_s > 0.0:
                rpm = each.permitted_m_per_s * turns[each.gear]
                x, y = field.x(each.permitted_m_per_s), field.y(rpm)
                canvas.path(f"M{number(x)} {number(y)}l-1.3 -2.2h2.6z", fill=1.0)

    def _notes(self) -> list[str]:
        limiter = self.sums.limiter_rpm
        held = "The limiter is not known."
        if limiter is not None:
            held = f"Broken line: limiter, {_ends(limiter.low, limiter.high)} rpm."
        most = self.sums.most_rpm
        return [
            f"Full line: the engine's most, {_ends(most.low, most.high)} rpm. {held}",
            "Thick: the nominal truck, shifted up at its lines, else at the lower of limiter and engine's most. "
            "Shaded: tyre and slip over their whole range.",
            f"Triangle: highest speed for a shift down: {self._permitted()}.",
        ]

    def _permitted(self) -> str:
        return ", ".join(f"into {each.gear} {permitted(each, self.sums.units)[1]}" for each in self.downs)

    def _describe(self) -> str:
        told = []
        for step in self.sums.steps:
            before, after = (
                _ends(step.before_rpm.low, step.before_rpm.high),
                _ends(step.after_rpm.low, step.after_rpm.high),
            )
            told.append(f"From {step.before} to {step.after} the engine falls from {before} to {after} rpm.")
        return " ".join([*told, *self._notes()])


@dataclass(frozen=True)
class _Field:
    """The plotted field. [mm], its far ends in m/s and rpm."""

    left: float
    right: float
    top: float
    bottom: float
    end_m_per_s: float
    top_rpm: float

    def x(self, speed_m_per_s: float) -> float:
        return self.left + speed_m_per_s / self.end_m_per_s * (self.right - self.left)

    def y(self, rpm: float) -> float:
        return self.bottom - rpm / self.top_rpm * (self.bottom - self.top)

    def at(self, speed_m_per_s: float, rpm: float) -> str:
        return f"{number(self.x(speed_m_per_s))} {number(self.y(rpm))}"


def _nice(extent: float, most: int) -> float:
    """A step of 1, 2 or 5 times a power of ten, at most so many in the extent."""
    raw = extent / max(most, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    return next(lead * power for lead in (1.0, 2.0, 5.0, 10.0) if lead * power >= raw)


def _ends(low: float, high: float) -> str:
    ends = f"{low:.0f}", f"{high:.0f}"
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"
