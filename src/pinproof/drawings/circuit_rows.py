"""The rows and uprights of a circuit drawing: which parts stand in one row, which nodes are drawn, in which order.

Answers: what is a row called, what is told of its parts, and where do nodes stand from left to right?
Touches: nothing.
Beside:  `circuit` draws them.

Beside the branches of the netlist stand rows that only the drawing has: the fuse or the cavity that the feed comes
from, a diode, the pin where the coded wire enters the controller, and a pull that nobody has measured yet.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pinproof.design.model import UNKNOWN
from pinproof.drawings import words
from pinproof.quantities import format_value
from pinproof.wiring import contact_node

if TYPE_CHECKING:
    from pinproof.design.model import Value
    from pinproof.wiring import Branch, LineView

Role = Literal["pull", "feed inside", "pin", "supply", "coder", "leak"]
ORDER: tuple[Role, ...] = ("pull", "feed inside", "pin", "supply", "coder", "leak")  # from top to bottom
_RAILS = ("reference", "battery", "ground")  # of the controller, in this order on its side of the pin
_INSIDE = "inside "  # before the name of a rail that is drawn inside the controller


@dataclass(frozen=True)
class Symbol:
    """What is drawn on a row's line. `text` stands inside it."""

    kind: str
    closed_at_rest: bool = False
    text: str = ""


@dataclass(frozen=True)
class Row:
    """One or two branches in series between two uprights, or something that only the drawing has (no branches)."""

    branches: tuple[Branch, ...]
    symbols: tuple[Symbol, ...]
    a: str
    b: str
    name: str
    told: tuple[str, ...]  # one text for each symbol, or what there is to say
    role: Role

    @property
    def is_level(self) -> bool:
        """False for a mark on one upright."""
        return self.a != self.b


def rows_of(view: LineView, chosen_a: Mapping[str, float]) -> list[Row]:
    """Rows from top to bottom: the controller's own resistors, its pin, the feed, the coder, leakage.

    `chosen_a` has the ratings that the harness chose, by feed. [A]
    """
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
    rows += [*_unknown_pulls(view), *_feed(view, chosen_a), *_diode(view)]
    rows.append(_pin(view, any(row.role == "pull" for row in rows)))
    return sorted(rows, key=lambda row: ORDER.index(row.role))


def _unknown_pulls(view: LineView) -> Iterator[Row]:
    owner = view.input
    up_to = "battery" if owner.pull_up_to == "battery" else f"reference@{owner.id}"
    for side, pull, rail in (("pull_up", owner.pull_up, up_to), ("pull_down", owner.pull_down, "ground")):
        if pull is UNKNOWN:
            a, b = (view.pin, _INSIDE + rail) if side == "pull_down" else (_INSIDE + rail, view.pin)
            told = ("pull resistor, not known yet",)
            yield Row((), (Symbol("pull", text="?"),), a, b, _pull_name(view, side), told, "pull")


def _pull_name(view: LineView, side: str) -> str:
    return f"{view.input.controller or 'controller'}: {side.replace('_', '-')}"


def _feed(view: LineView, chosen_a: Mapping[str, float]) -> Iterator[Row]:
    """What the feed comes through, where something uses it."""
    line = view.line
    feed = f"feed@{line.id}"
    if not any(feed in (branch.a, branch.b) for branch in view.branches):
        return
    diode = line.series_diode if line.source_side == "feed" else None
    also = () if diode is None else (_diode_words(diode),)
    below = () if line.feed_drop is None else (f"the feed lies {_volts(line.feed_drop)} below the {line.feed_from}",)
    symbols = () if diode is None else (Symbol("diode"),)
    if line.feed_from == "reference":
        inside = f"{_INSIDE}reference@{line.input}"
        cavity = _feed_cavity(view)
        told = (f"from the controller's reference{cavity}", *also, *below)
        yield Row((), symbols, inside, feed, "feed", told, "feed inside")
    else:
        rating = _fuse_words(view, chosen_a)
        if rating:
            told = (rating, *also, *below)
            yield Row((), (Symbol("fuse"), *symbols), "battery", feed, "fuse of the feed", told, "supply")
        else:
            yield Row((), symbols, "battery", feed, "feed", ("no fuse on the way", *also, *below), "supply")


def _fuse_words(view: LineView, chosen_a: Mapping[str, float]) -> str:
    """The fuse that the line's feed lies behind: its own, else that of the feed before it; "" where there is none."""
    feeds = {each.id: each for each in view.truck.feeds}
    feed = feeds.get(view.line.feed or "")
    if feed is None:
        return "its rating is not in the file"
    own = feed.id
    while feed.fuse_a == 0.0:
        before = feeds.get(feed.from_)
        if before is None:
            return ""
        feed = before
    of = "" if feed.id == own else f" of {feed.id}"
    if feed.fuse_a is not None:
        return f"{feed.fuse_a:g} A{of}"
    chosen = chosen_a.get(feed.id)
    return f"to be chosen by the harness{of}" if chosen is None else f"{chosen:g} A{of}, chosen by the harness"


def _feed_cavity(view: LineView) -> str:
    """The cavity that the file says holds a feed, if the pin's plug has just one."""
    plugs = [plug for plug in view.truck.plugs if plug.id == view.input.plug]
    fed = [cavity.id for plug in plugs for cavity in plug.cavities if cavity.signal == "feed"]
    return f", cavity {fed[0]}" if len(fed) == 1 else ""


def _diode(view: LineView) -> Iterator[Row]:
    """The diode between the switches' ground and the return; one on the feed stands in the feed's row."""
    line = view.line
    back = f"return@{line.id}"
    if line.series_diode is None or line.source_side == "feed":
        return
    if any(back in (branch.a, branch.b) for branch in view.branches):
        told = (_diode_words(line.series_diode),)
        yield Row((), (Symbol("diode back"),), f"switch ground@{line.id}", back, "series diode", told, "supply")


def _diode_words(diode: Value) -> str:
    return f"diode, {_volts(diode)}"


def _volts(value: Value) -> str:
    return words.span(format_value(value.low, "voltage"), format_value(value.high, "voltage"))


def _pin(view: LineView, pulled: bool) -> Row:
    owner = view.input
    told = [place_words(owner.plug, owner.cavity)]
    if not pulled:
        told.append(f"{owner.controller or 'controller'}, no pull inside")
    return Row((), (), view.pin, view.pin, f"pin {owner.id}", tuple(told), "pin")


def place_words(plug: str | None, cavity: str | None) -> str:
    """Plug and cavity of a pin, as far as the file says them."""
    if plug and cavity:
        return f"plug {plug}, cavity {cavity}"
    if plug or cavity:
        return f"plug {plug}, cavity not in the file" if plug else f"cavity {cavity}, plug not in the file"
    return "plug and cavity are not in the file"


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
    role: Role = "coder"
    if contact is not None:
        name = contact
    elif branches[0].kind == "pull":
        role = "pull"
        name = _pull_name(view, branches[0].id.rpartition(".")[2])
        a, b = (node if node == view.pin else _INSIDE + node for node in (a, b))
    else:
        name = _short(branches[0])
        role = "leak" if branches[0].kind == "leak" else "coder"
    symbols = tuple(
        Symbol(each.kind, each.conducts_at_rest, "?" if math.isnan(each.nominal_ohm) else "") for each in branches
    )
    return Row(branches, symbols, a, b, name, tuple(_value(each) for each in branches), role)


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
    """Uprights from left to right: rails, the coder's own next to it, its nodes by their distance from the pin, the
    pin, and what lies inside the controller."""
    links: dict[str, list[str]] = {}
    for row in rows:
        if row.role in ("pull", "coder"):
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
    fed, back = ("battery", "feed"), ("switch ground", "return")
    order = ("ground", "reference", *((*back, *fed) if view.line.source_side == "feed" else (*fed, *back)))
    left = sorted((rail for rail in rails if not is_inside(rail)), key=lambda rail: order.index(rail_name(rail)))
    right = sorted((rail for rail in rails if is_inside(rail)), key=lambda rail: _RAILS.index(rail_name(rail)))
    own = [node for node in used if not is_rail(node) and node != view.pin]
    own.sort(key=lambda node: -far.get(node, 0.0))
    return [*left, *own, view.pin, *right]


def rail_name(node: str) -> str:
    """What a rail is called; the same inside the controller and outside of it."""
    return node.removeprefix(_INSIDE).partition("@")[0]


def is_inside(node: str) -> bool:
    """True for a rail that is drawn inside the controller."""
    return node.startswith(_INSIDE)


def is_rail(node: str) -> bool:
    """True for a node of fixed potential."""
    if is_inside(node) or node in ("ground", "battery"):
        return True
    return "@" in node and rail_name(node) in ("return", "feed", "reference", "switch ground")
