"""The reading chart: one rule from zero to full scale, windows above it, every situation below it.

Answers: where does each situation read, in which window does it have to lie, how much room is left?
Units:   millimetres on paper; readings in the reading space, written in the unit asked for.
Touches: nothing but the shipped typefaces.
Beside:  `bands` draws windows and rule; `words` says the same for a screen reader.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pinproof.design.model import Truck
from pinproof.drawings import words
from pinproof.drawings.axis import Axis, axis_of
from pinproof.drawings.bands import (
    NAME_MM,
    SMALL_MM,
    Strip,
    draw_keep_out,
    draw_rule,
    draw_window,
    draw_windows,
    kind_words,
    windows_height,
)
from pinproof.drawings.fold import Fold, fold
from pinproof.drawings.legend import draw_legend, legend_height
from pinproof.drawings.marks import CLASSES, draw_mark
from pinproof.drawings.measure import drawable, reach_mm, width_mm, wrap
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas, number
from pinproof.observe import ReadingSpace
from pinproof.proof.results import LineProof, SituationProof
from pinproof.verdict import Window

WIDTHS_MM = {"wide": 182.0, "narrow": 84.0}
LEFT_MM, RIGHT_MM = 44.0, 43.0  # columns beside the readings on a wide chart
BAR_MM = 2.2
GATE_MM = 5.6
NAME_LINE_MM, SMALL_LINE_MM = 3.95, 3.6
MARK_MM, AFTER_MM = 3.4, 1.5  # room of a verdict's mark; gap before what follows the verdict
Nominals = Mapping[frozenset[str], float]


@dataclass(frozen=True)
class _Cell:
    """One line of text of a row. The verdict's mark may stand before it, and a plain text after it."""

    text: str
    strong: bool = False
    mark: bool = False
    after: str = ""


def reading_chart(
    line: LineProof,
    *,
    unit: str = "as given",
    space: ReadingSpace | str | None = None,
    key_state: str = "run",
    truck: Truck,
    layout: str = "wide",
    ident: str = "",
    most_rows: int = 20,
    legend: bool = True,
    nominals: Nominals | None = None,
) -> Drawing:
    """Draw one line in one key state and reading space.

    Parameters
    ----------
    line : LineProof
    unit : str
        "as given", "ratio", "volts" or "ohms": what is written at the rule and beside the spans.
    space : ReadingSpace, its name, or None
        None takes the first one the line is proven in.
    key_state : str
        "run", "crank" or "after_run".
    truck : Truck
        Names the line's input and its reference.
    layout : str
        "wide", 182 mm, for a page and for paper; "narrow", 84 mm, for a phone.
    ident : str
        Beginning of the ids inside the SVG; charts on one page need different ones.
    most_rows : int
        Rows drawn at most; the rest, with the most margin, is counted in words.
    legend : bool
        Explain the patterns at the foot.
    nominals : mapping of operated contacts to reading, optional
        Marked on the bars; without it the rows' own nominal readings are, where they have one.

    Raises
    ------
    CannotShow
        If `unit` is "ohms" and a reading does not belong to one resistance.
    ValueError
        For an unknown unit, layout or reading space.
    """
    if layout not in WIDTHS_MM:
        raise ValueError(f"layout {layout!r} is none of {', '.join(WIDTHS_MM)}")
    axis = axis_of(truck, truck.line(line.line), space, unit)
    rows = [row for row in line.situations if row.key_state == key_state and row.space == axis.space.name]
    windows = line.windows.get(axis.space.name, ())
    folded = fold(rows, most_rows)
    title = f"{line.line} on {line.input}, {words.key_state(key_state)}: what each situation reads"
    if nominals is None:
        nominals = {frozenset(row.operated): row.nominal for row in rows if not math.isnan(row.nominal)}
    chart = _Chart(line, axis, windows, folded, WIDTHS_MM[layout], layout == "wide", legend, nominals)
    return chart.draw(title, _describe(line, axis, windows, folded), ident or f"chart-{key_state}-{axis.space.name}")


@dataclass(frozen=True)
class _Chart:
    line: LineProof
    axis: Axis
    windows: Sequence[Window]
    folded: Fold
    width: float
    wide: bool
    legend: bool
    nominals: Nominals

    @property
    def strip(self) -> Strip:
        if self.wide:
            return Strip(LEFT_MM + 2.0, self.width - RIGHT_MM - 3.0, self.axis)
        return Strip(1.5, self.width - 1.5, self.axis)

    def draw(self, title: str, description: str, ident: str) -> Drawing:
        heads = self._wrapped_heads(title)
        plans = [self._plan(row) for row in self.folded.rows]
        notes = [piece for note in self._notes() for piece in wrap(drawable(note), self.width - 1.0, SMALL_MM)]
        legend_items = self._legend_items()
        head = len(heads) * NAME_LINE_MM + 1.6
        rule = windows_height(self.strip, self.windows, self.width) + 7.2
        foot = len(notes) * SMALL_LINE_MM + (2.0 if notes else 0.0)
        foot += legend_height(legend_items, self.width) if legend_items else 0.0
        total = head + rule + sum(self._row_height(plan) for plan in plans) + foot + 1.0
        canvas = Canvas(self.width, total, title, description, ident)
        at = 0.0
        canvas.group(kind="pp-head")
        for text, strong in heads:
            canvas.text(
                0.3, at + reach_mm(NAME_MM)[0], text, NAME_MM if strong else SMALL_MM,
                weight="strong" if strong else "regular", soft=not strong,
            )  # fmt: skip
            at += NAME_LINE_MM
        canvas.group(kind="pp-windows")
        at = draw_rule(canvas, self.strip, draw_windows(canvas, self.strip, self.windows, head)) + 0.6
        for row, plan in zip(self.folded.rows, plans, strict=True):
            canvas.group(kind=f"pp-row {CLASSES[row.verdict]}-row")
            at = self._draw_row(canvas, row, plan, at)
        canvas.group(kind="pp-notes")
        if notes:
            canvas.line(0.3, at, self.width - 0.3, at, width=0.15, soft=True)
            at += 1.2
        for note in notes:
            canvas.text(0.3, at + reach_mm(SMALL_MM)[0], note, SMALL_MM)
            at += SMALL_LINE_MM
        if legend_items:
            draw_legend(canvas, legend_items, at)
        return canvas.finish()

    def _wrapped_heads(self, title: str) -> list[tuple[str, bool]]:
        first = wrap(drawable(title), self.width - 1.0, NAME_MM, "strong")
        second = wrap(drawable(f"The rule shows: {self.axis.words}."), self.width - 1.0, SMALL_MM)
        return [*((text, True) for text in first), *((text, False) for text in second)]

    def _notes(self) -> list[str]:
        if not self.folded.rows:
            return [words.sentence(self.line.reason or "no situation was proven in this key state")]
        return list(self.folded.notes)

    def _plan(self, row: SituationProof) -> tuple[list[_Cell], list[_Cell]]:
        """Texts left of (or above) the bar, and right of (or below) it."""
        name, should = words.operated(row.operated), words.wanted(row)
        verdict, reads = words.VERDICTS[row.verdict], words.reads(self.axis.span(row.low, row.high))
        if self.wide:
            left = [*_cells(name, LEFT_MM - 1.0, strong=True), *_cells(should, LEFT_MM - 1.0)]
            margin = words.margin(row)
            taken = MARK_MM + width_mm(verdict, NAME_MM, "strong") + AFTER_MM
            right = [_Cell(verdict, strong=True, mark=True, after=margin)]
            if taken + width_mm(margin, SMALL_MM) > RIGHT_MM:
                right = [_Cell(verdict, strong=True, mark=True), *_cells(margin, RIGHT_MM)]
            return left, [*right, *_cells(reads, RIGHT_MM), *_cells(row.why, RIGHT_MM)]
        most = self.width - 1.0
        head = _cells(name, most, strong=True)
        below = f"{should}; {reads}"
        return head, [
            *_cells(below, most),
            _Cell(f"{verdict}, {words.margin(row)}", strong=True, mark=True),
            *_cells(row.why, most),
        ]

    def _row_height(self, plan: tuple[list[_Cell], list[_Cell]]) -> float:
        left, right = (_cells_height(cells) for cells in plan)
        return max(left, right, GATE_MM + 0.8) + 1.8 if self.wide else left + GATE_MM + 1.4 + right + 2.2

    def _draw_row(
        self, canvas: Canvas, row: SituationProof, plan: tuple[list[_Cell], list[_Cell]], top: float
    ) -> float:
        bottom = top + self._row_height(plan)
        canvas.line(0.3, top, self.width - 0.3, top, width=0.15, soft=True)
        if self.wide:
            _draw_cells(canvas, plan[0], 0.3, top + 0.7, row)
            _draw_cells(canvas, plan[1], self.width - RIGHT_MM, top + 0.7, row)
            middle = (top + bottom) / 2.0
        else:
            gate_top = _draw_cells(canvas, plan[0], 0.3, top + 0.7, row) + 0.6
            middle = gate_top + GATE_MM / 2.0
            _draw_cells(canvas, plan[1], 0.3, gate_top + GATE_MM + 0.6, row)
        self._draw_bar(canvas, row, middle)
        return bottom

    def _draw_bar(self, canvas: Canvas, row: SituationProof, middle: float) -> None:
        strip = self.strip
        top, bottom = middle - GATE_MM / 2.0, middle + GATE_MM / 2.0
        canvas.line(strip.left, middle, strip.right, middle, width=0.12, soft=True)
        for end in (strip.left, strip.right):
            canvas.line(end, middle - 1.0, end, middle + 1.0, width=0.12, soft=True)
        if words.must_be_clear(row):
            for window in self.windows:
                if window.kind != "fault" and window.meaning not in row.allowed:
                    draw_keep_out(canvas, strip, window, top, bottom)
        else:
            for window in self.windows:
                if window.meaning in row.allowed:
                    draw_window(canvas, strip, window, top, bottom)
        if math.isnan(row.low) or math.isnan(row.high):
            canvas.path(_wave(strip, middle), stroke=0.45)
            return
        low, high = strip.x(row.low), strip.x(row.high)
        inner_low, inner_high = (low, high) if row.exact else self._inner(row, low, high)
        half = BAR_MM / 2.0
        canvas.rect(inner_low, middle - half, inner_high - inner_low, BAR_MM, fill=1.0, kind="pp-bar")
        for outer, inner in ((low, inner_low), (high, inner_high)):
            if abs(outer - inner) > 0.05:  # not exact: the bound lies further out than anything attained
                left, right = min(outer, inner), max(outer, inner)
                canvas.rect(left, middle - half, right - left, BAR_MM, stroke=0.2, dash="0.5 0.4")
            width = 0.6 if row.exact else 0.25
            canvas.line(outer, middle - 2.0, outer, middle + 2.0, width=width)
        self._beyond(canvas, row, middle)
        nominal = self.nominals.get(frozenset(row.operated))
        if nominal is not None and math.isfinite(nominal):
            x = strip.x(nominal)
            canvas.path(f"M{number(x)} {number(middle - 1.3)}l-1 -1.7h2z", fill=1.0)

    def _inner(self, row: SituationProof, low: float, high: float) -> tuple[float, float]:
        if math.isnan(row.inner_low) or math.isnan(row.inner_high):
            return high, high
        a, b = sorted((self.strip.x(row.inner_low), self.strip.x(row.inner_high)))
        return max(a, low), max(min(b, high), max(a, low))

    def _beyond(self, canvas: Canvas, row: SituationProof, middle: float) -> None:
        """An arrowhead where a span runs off the rule."""
        slack = 1e-9 * self.axis.full
        if row.low < -slack:
            x = self.strip.left
            canvas.path(f"M{number(x + 1.6)} {number(middle - 2.0)}l-1.6 2l1.6 2", stroke=0.3)
        if row.high > self.axis.full + slack:
            x = self.strip.right
            canvas.path(f"M{number(x - 1.6)} {number(middle - 2.0)}l1.6 2l-1.6 2", stroke=0.3)

    def _legend_items(self) -> list[str]:
        if not self.legend:
            return []
        rows = [row for row in self.folded.rows if not math.isnan(row.low)]
        kinds = {window.kind for window in self.windows}
        items: list[str] = [kind for kind in ("command", "idle", "fault") if kind in kinds]
        if any(w.guaranteed() != w.largest() for w in self.windows):
            items.append("edge")
        if any(words.must_be_clear(row) for row in self.folded.rows):
            items.append("keep out")
        if any(row.exact for row in rows):
            items.append("exact")
        if any(not row.exact for row in rows):
            items.append("bracket")
        if len(rows) < len(self.folded.rows):
            items.append("floats")
        if self.nominals:
            items.append("nominal")
        return items


def _cells(text: str, most_mm: float, *, strong: bool = False) -> list[_Cell]:
    if not text:
        return []
    size, weight = (NAME_MM, "strong") if strong else (SMALL_MM, "regular")
    return [_Cell(piece, strong) for piece in wrap(drawable(text), most_mm, size, weight)]


def _cells_height(cells: Sequence[_Cell]) -> float:
    return sum(NAME_LINE_MM if cell.strong else SMALL_LINE_MM for cell in cells)


def _draw_cells(canvas: Canvas, cells: Sequence[_Cell], left: float, top: float, row: SituationProof) -> float:
    for cell in cells:
        size = NAME_MM if cell.strong else SMALL_MM
        base = top + reach_mm(size)[0]
        shift = 0.0
        if cell.mark:
            draw_mark(canvas, row.verdict, left + 1.2, base - 1.05)
            shift = MARK_MM
        box = canvas.text(left + shift, base, cell.text, size, weight="strong" if cell.strong else "regular")
        if cell.after:
            canvas.text(box.right + AFTER_MM, base, cell.after, SMALL_MM)
        top += NAME_LINE_MM if cell.strong else SMALL_LINE_MM
    return top


def _wave(strip: Strip, middle: float) -> str:
    steps = max(int(strip.width / 3.0), 2)
    step = strip.width / steps
    points = [f"L{number(strip.left + step * i)} {number(middle + (1.1 if i % 2 else -1.1))}" for i in range(steps + 1)]
    return "M" + points[0][1:] + "".join(points[1:])


def _describe(line: LineProof, axis: Axis, windows: Sequence[Window], folded: Fold) -> str:
    """The chart in words."""
    told = []
    for window in windows:
        low, high = (min(max(end, 0.0), axis.full) for end in window.guaranteed())
        sure = f"sure from {axis.span(low, high)}" if low < high else "nowhere sure"
        told.append(f"{window.meaning} ({kind_words(window)}), {sure}")
    parts = ["Windows: " + "; ".join(told) + "." if told else "No windows are known."]
    for row in folded.rows:
        parts.append(
            f"{words.operated(row.operated)} {words.reads(axis.span(row.low, row.high))}, {words.wanted(row)}: "
            f"{words.VERDICTS[row.verdict]}, {words.margin(row)}."
        )
    if not folded.rows:
        parts.append(words.sentence(line.reason or "no situation was proven in this key state"))
    return " ".join([*parts, *folded.notes])
