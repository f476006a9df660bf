"""The circuit of a coded line: every node an upright, every part a level row between two uprights.

Answers: what is joined to what through which part, for any form, in a picture and in words?
Units:   millimetres on paper, ohms and volts in the texts.
Touches: nothing but the shipped typefaces.
Beside:  `pinproof.wiring` made the branches; nothing is entered twice. Names stand left of the rows, so no text can
         meet a line, whatever the names are.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pinproof.drawings import words
from pinproof.drawings.bands import NAME_MM, SMALL_MM
from pinproof.drawings.measure import drawable, reach_mm, wrap
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas
from pinproof.drawings.symbols import SYMBOL_MM, draw_bridge, draw_joint, draw_symbol, draw_terminal
from pinproof.quantities import format_value

if TYPE_CHECKING:
    from pinproof.wiring import Branch, LineView

WIDTH_MM = 182.0
TEXT_MM = 62.0  # column of names
_SLOT_MM = SYMBOL_MM + 2.5  # a symbol with the line around it
_LEAST_GAP_MM = _SLOT_MM + 4.0
_NAME_LINE_MM, _SMALL_LINE_MM = 3.95, 3.6
_RAILS_RIGHT = ("reference", "battery", "ground")  # rails on the controller's side of the pin


@dataclass(frozen=True)
class _Row:
    """One or two branches in series between two uprights."""

    branches: tuple[Branch, ...]
    a: str
    b: str
    name: str
    told: tuple[str, ...]  # one text for each branch

    @property
    def in_controller(self) -> bool:
        return self.branches[0].kind == "pull"


def circuit(view: LineView, *, ident: str = "circuit") -> Drawing:
    """Draw everything the pin of a line can see.

    Parameters
    ----------
    view : LineView
        From `pinproof.wiring.line_view`. Resistors still to be chosen are drawn and told as such.
    ident : str
        Beginning of the ids inside the SVG.
    """
    rows = _rows(view)
    nodes = _columns(view, rows)
    gaps = _gaps(nodes, rows)
    width = max(WIDTH_MM, TEXT_MM + 4.0 + sum(gaps) + 14.0)
    start = TEXT_MM + 8.0
    places = {node: start + sum(gaps[:index]) for index, node in enumerate(nodes)}
    title = f"Circuit of {view.line.id} on {view.input.id}"
    texts = [_texts(row) for row in rows]
    heads = {node: _head(nodes, gaps, index) for index, node in enumerate(nodes)}
    top = _NAME_LINE_MM + 2.0
    rails_y = top + max(len(head) for head in heads.values()) * _SMALL_LINE_MM + 1.6
    notes = [piece for note in _notes(view) for piece in wrap(drawable(note), width - 1.0, SMALL_MM)]
    heights = [max(_NAME_LINE_MM * len(name) + _SMALL_LINE_MM * len(small) + 2.0, 8.0) for name, small in texts]
    total = rails_y + 1.0 + sum(heights) + 2.0 + len(notes) * _SMALL_LINE_MM + 1.0
    canvas = Canvas(width, total, title, _describe(view, rows, _notes(view)), ident)
    canvas.group(kind="pp-head")
    for line in wrap(drawable(title), TEXT_MM, NAME_MM, "strong")[:1]:
        canvas.text(0.3, reach_mm(NAME_MM)[0], line, NAME_MM, weight="strong")
    for node, lines in heads.items():
        for index, line in enumerate(reversed(lines)):
            base = rails_y - 1.2 - index * _SMALL_LINE_MM - reach_mm(SMALL_MM)[1] + 0.4
            canvas.text(places[node], base, line, SMALL_MM, anchor="middle")
    middles = _draw_rows(canvas, rows, texts, heights, places, rails_y + 1.0)
    _draw_uprights(canvas, view, rows, middles, places, rails_y)
    canvas.group(kind="pp-notes")
    at = total - len(notes) * _SMALL_LINE_MM - 0.6
    for note in notes:
        canvas.text(0.3, at + reach_mm(SMALL_MM)[0], note, SMALL_MM)
        at += _SMALL_LINE_MM
    return canvas.finish()


def _rows(view: LineView) -> list[_Row]:
    """Rows from top to bottom: the controller's own resistors, the coder, leakage."""
    inner = _inner_nodes(view)
    rows: list[_Row] = []
    waiting: dict[str, Branch] = {}
    for branch in view.branches:
        shared = next((node for node in (branch.a, branch.b) if node in inner), "")
        if not shared:
            rows.append(_row(view, (branch,), branch.a, branch.b))
        elif shared in waiting:
            first = waiting.pop(shared)
            a = first.b if first.a == shared else first.a
            b = branch.b if branch.a == shared else branch.a
            rows.append(_row(view, (first, branch), a, b))
        else:
            waiting[shared] = branch
    order = {"pull": 0, "leak": 2}
    return sorted(rows, key=lambda row: order.get(row.branches[0].kind, 1))


def _inner_nodes(view: LineView) -> set[str]:
    """Nodes that only join a contact with its own resistor; they need no upright."""
    joined: dict[str, list[Branch]] = {}
    for branch in view.branches:
        for node in (branch.a, branch.b):
            joined.setdefault(node, []).append(branch)
    contacts = {branch.contact for branch in view.branches if branch.contact}
    return {
        node
        for node, both in joined.items()
        if len(both) == 2
        and node.startswith(f"{view.line.id}:")
        and node.partition(":")[2] in contacts
        and view.line.form != "elements"
    }


def _row(view: LineView, branches: tuple[Branch, ...], a: str, b: str) -> _Row:
    contact = next((each.contact for each in branches if each.contact), None)
    if contact is not None:
        name = contact
    elif branches[0].kind == "pull":
        name = f"{view.input.controller or 'controller'}: {branches[0].id.rpartition('.')[2].replace('_', '-')}"
    else:
        name = _short(branches[0])
    return _Row(branches, a, b, name, tuple(_value(each) for each in branches))


def _short(branch: Branch) -> str:
    parts = branch.id.split(".")
    if parts[0] == "contact":
        return f"{parts[1]}, resistor"
    if len(parts) >= 4 and parts[2] == "element":
        return parts[3]
    return {"wire": "coded wire"}.get(parts[-1], parts[-1].replace("_", " "))


def _value(branch: Branch) -> str:
    """What a branch is, with its number as stated."""
    if branch.kind == "contact":
        closed = words.span(format_value(branch.low_ohm, "resistance"), format_value(branch.high_ohm, "resistance"))
        kind = "normally closed" if branch.conducts_at_rest else "normally open"
        return f"contact, {kind}, {closed} when closed"
    if branch.kind == "leak":
        return f"leakage, at least {format_value(branch.low_ohm, 'resistance')}"
    if branch.kind == "wire":
        span = words.span(format_value(branch.low_ohm, "resistance"), format_value(branch.high_ohm, "resistance"))
        return f"own resistance {span}"
    if math.isnan(branch.nominal_ohm):
        return "resistor, to choose"
    tolerance = f" {format_value(branch.resistor.tolerance, 'tolerance')}" if branch.resistor is not None else ""
    return f"resistor {format_value(branch.nominal_ohm, 'resistance', digits=6)}{tolerance}"


def _columns(view: LineView, rows: Sequence[_Row]) -> list[str]:
    """Uprights from left to right: the coder's rails, its nodes by their distance from the pin, the pin, the rest."""
    links: dict[str, list[str]] = {}
    for row in rows:
        if row.branches[0].kind != "leak":
            links.setdefault(row.a, []).append(row.b)
            links.setdefault(row.b, []).append(row.a)
    used = list(dict.fromkeys(node for row in rows for node in (row.a, row.b)))
    rails = [node for node in used if _is_rail(node)]
    source = f"{view.line.source_side}@{view.line.id}"
    ends = set(links.get(source, [])) - {view.pin}
    far: dict[str, float] = {view.pin: 0.0}
    waiting = [view.pin]
    while waiting:
        node = waiting.pop(0)
        if node in ends:
            continue  # no distance is measured through the source end
        for other in links.get(node, []):
            if other not in far and not _is_rail(other):
                far[other] = far[node] + 1.0
                waiting.append(other)
    for node in ends & far.keys():
        far[node] += len(used)  # what hangs on the source side stands beside it
    left = sorted((rail for rail in rails if _rail_name(rail) not in _RAILS_RIGHT), key=lambda rail: rail != source)
    right = sorted((r for r in rails if _rail_name(r) in _RAILS_RIGHT), key=lambda r: _RAILS_RIGHT.index(_rail_name(r)))
    inside = [node for node in used if not _is_rail(node) and node != view.pin]
    inside.sort(key=lambda node: -far.get(node, 0.0))
    return [*left, *inside, view.pin, *right]


def _rail_name(node: str) -> str:
    return node.partition("@")[0]


def _is_rail(node: str) -> bool:
    return node in ("ground", "battery") or _rail_name(node) in ("return", "feed", "reference")


def _gaps(nodes: Sequence[str], rows: Sequence[_Row]) -> list[float]:
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
    name = _rail_name(node) if _is_rail(node) else "pin" if node.startswith("pin@") else node.partition(":")[2]
    name = {"far": "far end", "source": "source end"}.get(name, name)
    before = gaps[index - 1] if index else 12.0
    after = gaps[index] if index < len(gaps) else 12.0
    return wrap(drawable(name), min(before, after) - 1.2, SMALL_MM)


def _texts(row: _Row) -> tuple[tuple[str, ...], tuple[str, ...]]:
    return (
        wrap(drawable(row.name), TEXT_MM, NAME_MM, "strong"),
        tuple(piece for told in row.told for piece in wrap(drawable(told), TEXT_MM, SMALL_MM)),
    )


def _draw_rows(
    canvas: Canvas,
    rows: Sequence[_Row],
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
    canvas: Canvas, row: _Row, ends: Sequence[float], crossed: Sequence[float], uprights: Sequence[float], y: float
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
    canvas: Canvas, view: LineView, rows: Sequence[_Row], middles: Sequence[float], places: dict[str, float], top: float
) -> None:
    canvas.group(kind="pp-nodes")
    for node, x in places.items():
        ends = [y for row, y in zip(rows, middles, strict=True) if node in (row.a, row.b)]
        canvas.line(x, top, x, max(ends, default=top), width=0.5 if _is_rail(node) else 0.3)
        if _is_rail(node):
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


def _describe(view: LineView, rows: Sequence[_Row], notes: Sequence[str]) -> str:
    """The circuit in words."""

    def called(node: str) -> str:
        name = _rail_name(node) if _is_rail(node) else "the pin" if node == view.pin else node.partition(":")[2]
        return {"far": "the far end", "source": "the source end"}.get(name, name)

    parts = [f"{row.name} ({'; '.join(row.told)}) between {called(row.a)} and {called(row.b)}" for row in rows]
    return f"Form {view.line.form}. " + ". ".join([*parts]) + ". " + " ".join(notes)
