"""The circuit of a coded line: every node an upright, every part a level row between two uprights.

Answers: what is joined to what through which part, for any form, in a picture and in words?
Units:   millimetres on paper, ohms and volts in the texts.
Touches: nothing but the shipped typefaces.
Beside:  `pinproof.wiring` made the branches; nothing is entered twice. Names stand left of the rows, so no text can
         meet a line, whatever the names are.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pinproof.drawings import words
from pinproof.drawings.bands import NAME_MM, SMALL_MM
from pinproof.drawings.circuit_rows import Row, columns_of, is_rail, rail_name, rows_of
from pinproof.drawings.measure import drawable, reach_mm, wrap
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas
from pinproof.drawings.symbols import SYMBOL_MM, draw_bridge, draw_joint, draw_symbol, draw_terminal
from pinproof.quantities import format_value
from pinproof.wiring import node_name

if TYPE_CHECKING:
    from pinproof.wiring import LineView

LAYOUTS = {"wide": (182.0, 58.0), "narrow": (84.0, 5.0)}  # width, and its column of names or numbers
_SLOT_MM = SYMBOL_MM + 2.5  # a symbol with the line around it
_LEAST_GAP_MM = _SLOT_MM + 4.0
_BEFORE_MM, _AFTER_MM = 8.0, 10.0  # room between the texts and the first upright, and after the last
_NAME_LINE_MM, _SMALL_LINE_MM = 3.95, 3.6
_SAME = "continued; uprights of the same name are one and the same"


@dataclass(frozen=True)
class _Panel:
    """Rows that stand under one set of uprights."""

    rows: tuple[int, ...]
    nodes: tuple[str, ...]
    gaps: tuple[float, ...]


def circuit(view: LineView, *, layout: str = "wide", ident: str = "circuit") -> Drawing:
    """Draw everything the pin of a line can see.

    Parameters
    ----------
    view : LineView
        From `pinproof.wiring.line_view`. Resistors still to be chosen are drawn and told as such.
    layout : str
        "wide", 182 mm, with each part's name beside it; "narrow", 84 mm, with numbers and a key below.
    ident : str
        Beginning of the ids inside the SVG.

    Notes
    -----
    Never wider than that: where the uprights do not fit beside each other the rows go on in a further panel, with the
    uprights that they need drawn again.

    Raises
    ------
    ValueError
        For an unknown layout.
    """
    if layout not in LAYOUTS:
        raise ValueError(f"layout {layout!r} is none of {', '.join(LAYOUTS)}")
    width, column = LAYOUTS[layout]
    rows = rows_of(view)
    panels = _panels(columns_of(view, rows), rows, width - column - _BEFORE_MM - _AFTER_MM)
    title = f"Circuit of {view.line.id} on {view.input.id}"
    heads = wrap(drawable(title), width - 1.0, NAME_MM, "strong")
    numbered = layout == "narrow"
    key = _key(rows, width) if numbered else []
    notes = [piece for note in _notes(view) for piece in wrap(drawable(note), width - 1.0, SMALL_MM)]
    texts = [((str(number),), ()) if numbered else _texts(row, column) for number, row in enumerate(rows, start=1)]
    heights = [_height(*each, 7.0 if numbered else 8.0) for each in texts]
    total = len(heads) * _NAME_LINE_MM + 2.0
    for number, panel in enumerate(panels):
        total += _head_height(panel) + (_SMALL_LINE_MM + 2.0 if number else 0.0)
        total += sum(heights[row] for row in panel.rows) + 4.0
    total += len(key) * _SMALL_LINE_MM + (1.5 if key else 0.0) + len(notes) * _SMALL_LINE_MM + 1.0
    canvas = Canvas(width, total, title, _describe(view, rows, _notes(view)), ident)
    canvas.group(kind="pp-head")
    at = 0.0
    for line in heads:
        canvas.text(0.3, at + reach_mm(NAME_MM)[0], line, NAME_MM, weight="strong")
        at += _NAME_LINE_MM
    at += 2.0
    for number, panel in enumerate(panels):
        if number:
            canvas.group(kind="pp-head")
            canvas.line(0.3, at, width - 0.3, at, width=0.15, soft=True)
            canvas.text(0.3, at + 0.6 + reach_mm(SMALL_MM)[0], _SAME, SMALL_MM, soft=True)
            at += _SMALL_LINE_MM + 2.0
        at = _draw_panel(canvas, view, panel, rows, texts, heights, column + _BEFORE_MM, at)
    canvas.group(kind="pp-notes")
    for line in key:
        canvas.text(0.3, at + reach_mm(SMALL_MM)[0], line, SMALL_MM)
        at += _SMALL_LINE_MM
    at += 1.5 if key else 0.0
    for line in notes:
        canvas.text(0.3, at + reach_mm(SMALL_MM)[0], line, SMALL_MM)
        at += _SMALL_LINE_MM
    return canvas.finish()


def _panels(nodes: Sequence[str], rows: Sequence[Row], room_mm: float) -> list[_Panel]:
    """As many rows under one set of uprights as fit the width."""
    panels: list[_Panel] = []
    open_rows: list[int] = []
    for index in range(len(rows)):
        if panels and sum((grown := _panel(nodes, rows, (*open_rows, index))).gaps) <= room_mm:
            open_rows.append(index)
            panels[-1] = grown
        else:
            open_rows = [index]
            panels.append(_panel(nodes, rows, (index,)))
    return panels


def _panel(nodes: Sequence[str], rows: Sequence[Row], chosen: tuple[int, ...]) -> _Panel:
    mine = [rows[index] for index in chosen]
    used = {end for row in mine for end in (row.a, row.b)}
    shown = [node for node in nodes if node in used]
    return _Panel(chosen, tuple(shown), tuple(_gaps(shown, mine)))


def _head_height(panel: _Panel) -> float:
    lines = max(len(_head(panel.nodes, panel.gaps, index)) for index in range(len(panel.nodes)))
    return lines * _SMALL_LINE_MM + 3.4


def _draw_panel(
    canvas: Canvas,
    view: LineView,
    panel: _Panel,
    rows: Sequence[Row],
    texts: Sequence[tuple[tuple[str, ...], tuple[str, ...]]],
    heights: Sequence[float],
    left: float,
    top: float,
) -> float:
    places = {node: left + sum(panel.gaps[:index]) for index, node in enumerate(panel.nodes)}
    rails_y = top + _head_height(panel) - 1.0
    canvas.group(kind="pp-head")
    for index, node in enumerate(panel.nodes):
        for up, line in enumerate(reversed(_head(panel.nodes, panel.gaps, index))):
            base = rails_y - 1.9 - up * _SMALL_LINE_MM - reach_mm(SMALL_MM)[1] + 0.4
            canvas.text(places[node], base, line, SMALL_MM, anchor="middle")
    mine = [rows[index] for index in panel.rows]
    high = [heights[index] for index in panel.rows]
    middles = _drawrows_of(canvas, mine, [texts[index] for index in panel.rows], high, places, rails_y + 1.0)
    _draw_uprights(canvas, view, mine, middles, places, rails_y)
    return rails_y + 1.0 + sum(high) + 4.0


def _height(name: Sequence[str], small: Sequence[str], least: float) -> float:
    return max(_NAME_LINE_MM * len(name) + _SMALL_LINE_MM * len(small) + 2.0, least)


def _key(rows: Sequence[Row], width: float) -> list[str]:
    """What the numbers of a narrow drawing stand for."""
    told = [f"{number}  {row.name}: {'; '.join(row.told)}" for number, row in enumerate(rows, start=1)]
    return [piece for each in told for piece in wrap(drawable(each), width - 1.0, SMALL_MM)]


def _gaps(nodes: Sequence[str], rows: Sequence[Row]) -> list[float]:
    """Room between neighbouring uprights, so that every row finds a place for its symbols."""
    gaps = [_LEAST_GAP_MM] * (len(nodes) - 1)
    at = {node: index for index, node in enumerate(nodes)}
    for row in sorted(rows, key=lambda row: abs(at[row.a] - at[row.b])):
        low, high = sorted((at[row.a], at[row.b]))
        while sum(_room(gap) for gap in gaps[low:high]) < len(row.branches):
            gaps[max(range(low, high), key=gaps.__getitem__)] += _SLOT_MM
    return gaps


def _room(gap: float) -> int:
    return int((gap - 3.0) / _SLOT_MM + 1e-9)


def _head(nodes: Sequence[str], gaps: Sequence[float], index: int) -> tuple[str, ...]:
    """Name of an upright, broken to what fits between its neighbours."""
    node = nodes[index]
    name = rail_name(node) if is_rail(node) else "pin" if node.startswith("pin@") else node_name(node)
    name = {"far": "far end", "source": "source end"}.get(name, name)
    before = gaps[index - 1] if index else 2.0 * _BEFORE_MM
    after = gaps[index] if index < len(gaps) else 2.0 * _AFTER_MM
    return wrap(drawable(name), min(before, after) - 1.2, SMALL_MM)


def _texts(row: Row, most_mm: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    return (
        wrap(drawable(row.name), most_mm, NAME_MM, "strong"),
        tuple(piece for told in row.told for piece in wrap(drawable(told), most_mm, SMALL_MM)),
    )


def _drawrows_of(
    canvas: Canvas,
    rows: Sequence[Row],
    texts: Sequence[tuple[tuple[str, ...], tuple[str, ...]]],
    heights: Sequence[float],
    places: dict[str, float],
    top: float,
) -> list[float]:
    """Texts, lines and symbols of every row; returns the height of each row's line."""
    middles = []
    reach = {node: [i for i, row in enumerate(rows) if node in (row.a, row.b)] for node in places}
    for index, (row, (name, small), height) in enumerate(zip(rows, texts, heights, strict=True)):
        canvas.group(kind="pp-part")
        at = top + 0.6
        for line in name:
            canvas.text(0.3, at + reach_mm(NAME_MM)[0], line, NAME_MM, weight="strong")
            at += _NAME_LINE_MM
        for line in small:
            canvas.text(0.3, at + reach_mm(SMALL_MM)[0], line, SMALL_MM, soft=True)
            at += _SMALL_LINE_MM
        y = top + height / 2.0 + 0.6
        crossed = [
            x for node, x in places.items() if node not in (row.a, row.b) and reach[node] and index <= reach[node][-1]
        ]
        _draw_line(canvas, row, sorted((places[row.a], places[row.b])), sorted(crossed), sorted(places.values()), y)
        middles.append(y)
        top += height
    return middles


def _draw_line(
    canvas: Canvas, row: Row, ends: Sequence[float], crossed: Sequence[float], uprights: Sequence[float], y: float
) -> None:
    left, right = ends
    bridges = [x for x in crossed if left < x < right]
    slots = list(_slots([x for x in uprights if left <= x <= right], len(row.branches)))
    stops = sorted([(x - 1.0, x + 1.0) for x in bridges] + [(x, x + SYMBOL_MM) for x in slots])
    at = left
    for start, end in stops:
        canvas.line(at, y, start, y, width=0.3)
        at = end
    canvas.line(at, y, right, y, width=0.3)
    for x in bridges:
        draw_bridge(canvas, x, y)
    for branch, x in zip(row.branches, slots, strict=True):
        draw_symbol(canvas, branch.kind, x, y, closed_at_rest=branch.conducts_at_rest)
    for x in ends:
        draw_joint(canvas, x, y)


def _slots(uprights: Sequence[float], count: int) -> Iterator[float]:
    """Left ends of `count` symbols, each gap filled from the left and evenly."""
    for a, b in itertools.pairwise(uprights):
        here = min(count, _room(b - a))
        for number_ in range(here):
            yield a + (b - a) * (number_ + 0.5) / here - SYMBOL_MM / 2.0
        count -= here
        if count == 0:
            return


def _draw_uprights(
    canvas: Canvas, view: LineView, rows: Sequence[Row], middles: Sequence[float], places: dict[str, float], top: float
) -> None:
    canvas.group(kind="pp-nodes")
    for node, x in places.items():
        ends = [y for row, y in zip(rows, middles, strict=True) if node in (row.a, row.b)]
        canvas.line(x, top, x, max(ends, default=top), width=0.5 if is_rail(node) else 0.3)
        if is_rail(node):
            canvas.line(x - 2.2, top, x + 2.2, top, width=0.6)
    own = [y for row, y in zip(rows, middles, strict=True) if row.in_controller]
    if own:
        pin, right = places[view.pin], max(places[node] for row in rows if row.in_controller for node in (row.a, row.b))
        bottom = max(own) + 3.4
        canvas.rect(pin - 3.0, top - 0.9, right - pin + 6.0, bottom - top + 0.9, stroke=0.2, dash="1.6 1")
        draw_terminal(canvas, pin, bottom)


def _notes(view: LineView) -> list[str]:
    """What stands behind the rails, in words."""
    line, notes = view.line, []
    if any(branch.kind == "pull" for branch in view.branches):
        notes.append("Dashed frame: inside the controller. Ring: its pin.")
    if line.return_offset is not None:
        told = words.span(*(format_value(v, "voltage") for v in (line.return_offset.low, line.return_offset.high)))
        notes.append(f"return: the switches' ground, {told} from the controller's ground.")
    if line.feed_drop is not None:
        told = words.span(*(format_value(v, "voltage") for v in (line.feed_drop.low, line.feed_drop.high)))
        notes.append(f"feed: {told} below the {line.feed_from}.")
    if line.series_diode is not None:
        told = words.span(*(format_value(v, "voltage") for v in (line.series_diode.low, line.series_diode.high)))
        notes.append(f"A series diode, {told}, lies between {line.source_side} and everything else.")
    return notes


def _describe(view: LineView, rows: Sequence[Row], notes: Sequence[str]) -> str:
    """The circuit in words."""

    def called(node: str) -> str:
        name = rail_name(node) if is_rail(node) else "the pin" if node == view.pin else node_name(node)
        return {"far": "the far end", "source": "the source end"}.get(name, name)

    parts = [f"{row.name} ({'; '.join(row.told)}) between {called(row.a)} and {called(row.b)}" for row in rows]
    return f"Form {view.line.form}. " + ". ".join([*parts]) + ". " + " ".join(notes)
