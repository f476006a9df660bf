"""The rows and uprights of a circuit drawing: which parts stand in one row, which nodes are drawn, in which order.

Answers: what is a row called, what is told of its parts, and where do nodes stand from left to right?
Touches: nothing.
Beside:  `circuit` draws them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pinproof.drawings import words
from pinproof.quantities import format_value
from pinproof.wiring import contact_node

if TYPE_CHECKING:
    from pinproof.wiring import Branch, LineView

_RAILS_RIGHT = ("reference", "battery", "ground")  # rails on the controller's side of the pin


@dataclass(frozen=True)
class Row:
    """One or two branches in series between two uprights."""

    branches: tuple[Branch, ...]
    a: str
    b: str
    name: str
    told: tuple[str, ...]  # one text for each branch

    @property
    def in_controller(self) -> bool:
        return self.branches[0].kind == "pull"


def rows_of(view: LineView) -> list[Row]:
    """Rows from top to bottom: the controller's own resistors, the coder, leakage."""
    inner = _inner_nodes(view)
    rows: list[Row] = []
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
    inner = {contact_node(view.line.id, branch.contact) for branch in view.branches if branch.contact}
    return {node for node, both in joined.items() if len(both) == 2 and node in inner}


def _row(view: LineView, branches: tuple[Branch, ...], a: str, b: str) -> Row:
    contact = next((each.contact for each in branches if each.contact), None)
    if contact is not None:
        name = contact
    elif branches[0].kind == "pull":
        name = f"{view.input.controller or 'controller'}: {branches[0].id.rpartition('.')[2].replace('_', '-')}"
    else:
        name = _short(branches[0])
    return Row(branches, a, b, name, tuple(_value(each) for each in branches))


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


def columns_of(view: LineView, rows: Sequence[Row]) -> list[str]:
    """Uprights from left to right: the coder's rails, its nodes by their distance from the pin, the pin, the rest."""
    links: dict[str, list[str]] = {}
    for row in rows:
        if row.branches[0].kind != "leak":
            links.setdefault(row.a, []).append(row.b)
            links.setdefault(row.b, []).append(row.a)
    used = list(dict.fromkeys(node for row in rows for node in (row.a, row.b)))
    rails = [node for node in used if is_rail(node)]
    source = f"{view.line.source_side}@{view.line.id}"
    ends = set(links.get(source, [])) - {view.pin}
    far: dict[str, float] = {view.pin: 0.0}
    waiting = [view.pin]
    while waiting:
        node = waiting.pop(0)
        if node in ends:
            continue  # no distance is measured through the source end
        for other in links.get(node, []):
            if other not in far and not is_rail(other):
                far[other] = far[node] + 1.0
                waiting.append(other)
    for node in ends & far.keys():
        far[node] += len(used)  # what hangs on the source side stands beside it
    left = sorted((rail for rail in rails if rail_name(rail) not in _RAILS_RIGHT), key=lambda rail: rail != source)
    right = sorted((r for r in rails if rail_name(r) in _RAILS_RIGHT), key=lambda r: _RAILS_RIGHT.index(rail_name(r)))
    inside = [node for node in used if not is_rail(node) and node != view.pin]
    inside.sort(key=lambda node: -far.get(node, 0.0))
    return [*left, *inside, view.pin, *right]


def rail_name(node: str) -> str:
    return node.partition("@")[0]


def is_rail(node: str) -> bool:
    return node in ("ground", "battery") or rail_name(node) in ("return", "feed", "reference")
