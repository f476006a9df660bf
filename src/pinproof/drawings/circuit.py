"""The circuit of a coded line: every node an upright, every part a level row between two uprights.

Answers: what is joined to what through which part, for any form, in a picture and in words?
Units:   millimetres on paper, ohms and volts in the texts.
Touches: nothing but the shipped typefaces.
Beside:  `pinproof.wiring` made the branches; nothing is entered twice. Names stand left of the rows, so no text can
         meet a line, whatever the names are.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pinproof.drawings import words
from pinproof.drawings.bands import NAME_MM, SMALL_MM
from pinproof.drawings.circuit_rows import Row, columns_of, is_inside, is_rail, rail_name, rows_of
from pinproof.drawings.measure import drawable, reach_mm, width_mm, wrap
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas
from pinproof.drawings.symbols import SYMBOL_MM, draw_bridge, draw_joint, draw_plug, draw_symbol
from pinproof.quantities import format_value
from pinproof.wiring import node_name

if TYPE_CHECKING:
    from pinproof.wiring import LineView

LAYOUTS = {"wide": (182.0, 58.0), "narrow": (84.0, 5.0)}  # width, and its column of names or numbers
_SLOT_MM = SYMBOL_MM + 2.5  # a symbol with the line around it
_LEAST_GAP_MM = _SLOT_MM + 4.0
_BEFORE_MM, _AFTER_MM = 8.0, 10.0  # room between the texts and the first upright, and after the last
_NAME_LINE_MM, _SMALL_LINE_MM = 3.95, 3.6
_FRAME_MM = 3.0  # from the pin to the left side of the controller's frame
_CALLED = {"far": "far end", "source": "source end"}
_SAME = "continued; uprights of the same name are one and the same"


@dataclass(frozen=True)
class _Panel:
    """Rows that stand under one set of uprights."""

    rows: tuple[int, ...]
    nodes: tuple[str, ...]
    gaps: tuple[float, ...]


def circuit(
    view: LineView, *, layout: str = "wide", ident: str = "circuit", chosen_a: Mapping[str, float] | None = None
) -> Drawing:
    """Draw everything the pin of a line can see.

    Parameters
    ----------
    view : LineView
        From `pinproof.wiring.line_view`. Resistors still to be chosen are drawn and told as such.
    layout : str
        "wide", 182 mm, with each part's name beside it; "narrow", 84 mm, with numbers and a key below.
    ident : str
        Beginning of the ids inside the SVG.
    chosen_a : mapping, optional
        Ratings of the fuses that the harness chose, by feed, for a feed whose fuse the file leaves "to choose". [A]

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
    rows = rows_of(view, chosen_a or {})
    panels = _panels(columns_of(view, rows), rows, width - column - _BEFORE_MM - _AFTER_MM)
    title = f"Circuit of {view.line.id} on {view.input.id}"
    heads = wrap(drawable(title), width - 1.0, NAME_MM, "strong")
    numbered = layout == "narrow"
    key = _key(rows, width) if numbered else []
    notes = [piece for note in _notes(view, rows) for piece in wrap(drawable(note), width - 1.0, SMALL_MM)]
    texts = [((str(number),), ()) if numbered else _texts(row, column) for number, row in enumerate(rows, start=1)]
    heights = [_height(*each, 7.0 if numbered else 8.0) for each in texts]
    total = len(heads) * _NAME_LINE_MM + 2.0
    for number, panel in enumerate(panels):
        total += _head_height(panel) + (_SMALL_LINE_MM + 2.0 if number else 0.0)
        total += sum(heights[row] for row in panel.rows) + 4.0
    total += len(key) * _SMALL_LINE_MM + (1.5 if key else 0.0) + len(notes) * _SMALL_LINE_MM + 1.0
    canvas = Canvas(width, total, title, _describe(view, rows, _notes(view, rows)), ident)
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
    middles = _draw_rows(canvas, view.pin, mine, [texts[index] for index in panel.rows], high, places, rails_y + 1.0)
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
        while row.is_level and sum(_room(gap) for gap in gaps[low:high]) < _places(row):
            gaps[max(range(low, high), key=gaps.__getitem__)] += _SLOT_MM
    return gaps


def _places(row: Row) -> int:
    """Places on a row's line: its symbols, and the plug where it leaves the controller."""
    return len(row.symbols) + (row.role == "feed inside")


def _room(gap: float) -> int:
    return int((gap - 3.0) / _SLOT_MM + 1e-9)


def _head(nodes: Sequence[str], gaps: Sequence[float], index: int) -> tuple[str, ...]:
    """Name of an upright, broken to what fits between its neighbours."""
    node = nodes[index]
    name = rail_name(node) if is_rail(node) else "pin" if node.startswith("pin@") else node_name(node)
    name = _CALLED.get(name, name)
    before = gaps[index - 1] if index else 2.0 * _BEFORE_MM
    after = gaps[index] if index < len(gaps) else 2.0 * _AFTER_MM
    return wrap(drawable(name), min(before, after) - 1.2, SMALL_MM)


def _texts(row: Row, most_mm: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    return (
        wrap(drawable(row.name), most_mm, NAME_MM, "strong"),
        tuple(piece for told in row.told for piece in wrap(drawable(told), most_mm, SMALL_MM)),
    )


def _draw_rows(
    canvas: Canvas,
    pin: str,
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
        canvas.group(kind="pp-part" if row.branches else "pp-beside")
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
        if row.is_level:
            _draw_line(canvas, row, sorted((places[row.a], places[row.b])), sorted(crossed), sorted(places.values()), y)
        if row.role == "feed inside":
            draw_plug(canvas, places[pin] - _FRAME_MM - 1.2, y, level=True)
        middles.append(y)
        top += height
    return middles


def _draw_line(
    canvas: Canvas, row: Row, ends: Sequence[float], crossed: Sequence[float], uprights: Sequence[float], y: float
) -> None:
    left, right = ends
    bridges = [x for x in crossed if left < x < right]
    slots = list(_slots([x for x in uprights if left <= x <= right], _places(row)))[: len(row.symbols)]
    stops = sorted([(x - 1.0, x + 1.0) for x in bridges] + [(x, x + SYMBOL_MM) for x in slots])
    at = left
    for start, end in stops:
        canvas.line(at, y, start, y, width=0.3)
        at = end
    canvas.line(at, y, right, y, width=0.3)
    for x in bridges:
        draw_bridge(canvas, x, y)
    for each, x in zip(row.symbols, slots, strict=True):
        draw_symbol(canvas, each.kind, x, y, closed_at_rest=each.closed_at_rest, text=each.text)
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
    at_pin = next((y for row, y in zip(rows, middles, strict=True) if row.role == "pin"), None)
    if at_pin is not None:
        pin = places[view.pin]
        right = max([pin + _FRAME_MM, *(x for node, x in places.items() if is_inside(node))])
        wide = right - pin + 2.0 * _FRAME_MM
        canvas.rect(pin - _FRAME_MM, top - 0.9, wide, at_pin - top + 0.9, stroke=0.2, dash="1.6 1")
        draw_plug(canvas, pin, at_pin)
        _draw_cavity(canvas, view, pin, at_pin)


def _draw_cavity(canvas: Canvas, view: LineView, x: float, y: float) -> None:
    """The cavity's name at its mark, with that of the plug where there is room. Nothing else stands there."""
    owner = view.input
    room = canvas.width_mm - 0.5 - x - 2.0
    for wish in (f"{owner.plug} {owner.cavity}", owner.cavity):
        shown = drawable(wish or "")
        if owner.cavity and (owner.plug or wish == owner.cavity) and width_mm(shown, SMALL_MM) <= room:
            canvas.text(x + 2.0, y + 0.8 + reach_mm(SMALL_MM)[0], shown, SMALL_MM)
            return


def _notes(view: LineView, rows: Sequence[Row]) -> list[str]:
    """What stands behind the rails, in words."""
    line, notes = view.line, []
    notes.append("Dashed frame: inside the controller. A bar in a cup: a cavity of its plug.")
    if any(each.text for row in rows for each in row.symbols):
        notes.append("?: a value that is not known yet.")
    if line.return_offset is not None:
        told = words.span(*(format_value(v, "voltage") for v in (line.return_offset.low, line.return_offset.high)))
        below = any(row.symbols and row.symbols[0].kind == "diode back" for row in rows)
        name = "switch ground" if below else "return: the ground of the switches"
        notes.append(f"{name}, {told} from the controller's ground.")
    return notes


def _describe(view: LineView, rows: Sequence[Row], notes: Sequence[str]) -> str:
    """The circuit in words."""

    def called(node: str) -> str:
        name = rail_name(node) if is_rail(node) else "the pin" if node == view.pin else node_name(node)
        return f"the {_CALLED[name]}" if name in _CALLED else name

    parts = []
    for row in rows:
        ends = f" between {called(row.a)} and {called(row.b)}" if row.is_level else ""
        parts.append(f"{row.name} ({'; '.join(row.told)}){ends}")
    return f"Form {view.line.form}. " + ". ".join([*parts]) + ". " + " ".join(notes)
