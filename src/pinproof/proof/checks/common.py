"""What several checks need: words for a situation, windows at their widest, a view with a fault put in.

Answers: how is this situation called, could this reading be taken for that meaning, what does the circuit look like
         with a wire broken or shorted.
Units:   readings in the reading space; ohms, volts.
Touches: nothing.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Iterable, Sequence

from pinproof.network import Edge as NetEdge
from pinproof.network import Netlist
from pinproof.observe import pin_spans, shared_parameters, windows_in
from pinproof.proof.judging import Judged, shared_corners
from pinproof.quantities import format_value
from pinproof.verdict import Edge, Reading, Window
from pinproof.wiring import Branch, LineView


def listed(names: Iterable[str]) -> str:
    """Names as people say them: "a", "a and b", "a, b and c"."""
    all_names = list(names)
    if len(all_names) < 2:
        return "".join(all_names)
    return f"{', '.join(all_names[:-1])} and {all_names[-1]}"


def situation_words(operated: Sequence[str]) -> str:
    """A situation in words."""
    return f"with {listed(operated)} operated" if operated else "with nothing operated"


def reading_words(low: float, high: float, unit: str) -> str:
    """A span as a reader wants it: "31.2 to 34.1 %" of full scale, or "1.203 to 1.310 V"."""
    if math.isnan(low) or math.isnan(high):
        return "anything"
    after = " %" if unit == "1" else f" {unit}"
    first, last = (f"{100.0 * end:.1f}" if unit == "1" else f"{end:.3f}" for end in (low, high))
    return f"{first}{after}" if first == last else f"{first} to {last}{after}"


def seconds_words(time_s: float) -> str:
    """A short time in words."""
    return "for ever" if math.isinf(time_s) else format_value(time_s, "time", digits=2)


def could_be(reading: Reading, window: Window) -> bool:
    """True if some reading of the span lies in the window for some position of its edges."""
    if not reading.is_settled:
        return True
    low, high = window.largest()
    return reading.high >= low and reading.low <= high


def surely_is(reading: Reading, window: Window) -> bool:
    """True if every reading of the span lies in the window wherever its edges are."""
    if not reading.is_settled:
        return False
    low, high = window.guaranteed()
    return low <= reading.low and reading.high <= high


def widest_windows(view: LineView, state: Judged) -> tuple[Window, ...]:
    """The windows of a judged state, with edges that move with the pulls widened to all places they can be.

    Edges found by substitution are quotients of functions that are affine in each pull and supply, so their extremes
    lie at the corners of these. The proof itself decides such edges jointly with the reading and is sharper; for notes
    the wider window is on the safe side.
    """
    if view.line.free or not shared_parameters(view.truck, view.line):
        return state.windows
    corners = [
        windows_in(view.truck, view.line, state.space, corner)
        for corner in shared_corners(view, state.key_state, state.space)
    ]
    return tuple(
        dataclasses.replace(
            window,
            lower=_hull(window.lower, [each[index].lower for each in corners]),
            upper=_hull(window.upper, [each[index].upper for each in corners]),
        )
        for index, window in enumerate(state.windows)
    )


def corner_states(view: LineView, state: Judged) -> list[tuple[tuple[Reading, ...], tuple[Window, ...]]]:
    """Readings and windows to be looked at together: one pair, or one per corner of what moves both.

    Where edges were found by substitution, readings and edges move together with the pulls and supplies.
    """
    if view.line.free or not shared_parameters(view.truck, view.line):
        return [(state.spans.readings, state.windows)]
    operated = [each.key for each in state.situations]
    return [
        (
            pin_spans(view, state.key_state, state.space, operated, corner).readings,
            windows_in(view.truck, view.line, state.space, corner),
        )
        for corner in shared_corners(view, state.key_state, state.space)
    ]


def _hull(nominal: Edge | None, places: Sequence[Edge | None]) -> Edge | None:
    if nominal is None:
        return None
    known = [nominal, *(place for place in places if place is not None)]
    return Edge(min(each.low for each in known), max(each.high for each in known), nominal.nominal)


def edited(
    view: LineView, opened: Collection[str] = (), joined: Sequence[tuple[str, str]] = (), *, whole: bool = False
) -> LineView:
    """The view with some branches taken out and some nodes shorted to rails.

    Parameters
    ----------
    opened : ids of branches
    joined : pairs (node, rail)
        The node is put on the rail, which the view need not have had before. A pin is joined by an edge of 0 Ω instead,
        so that it stays a node of its own.
    whole : bool
        False keeps only what the pin still sees: nothing behind a rail moves its reading. True keeps all, for heat.
    """
    put = {node: rail for node, rail in joined if node != view.pin}
    gone = set(opened)
    branches = [
        dataclasses.replace(each, a=put.get(each.a, each.a), b=put.get(each.b, each.b))
        for each in view.branches
        if each.id not in gone
    ]
    for number, (node, rail) in enumerate(joined):
        if node == view.pin:
            branches.append(Branch(f"joined.{number}", "wire", node, rail, view.line.id, 0.0, 0.0, 0.0, "assumed"))
    names = [rail.name for rail in view.physical.rails]
    if not whole:
        branches = _seen_from(view.pin, branches, set(names))
    ends = {node for each in branches for node in (each.a, each.b)}
    rails = [rail for rail in view.physical.rails if rail.name in ends]
    used = [rail.name for rail in rails]
    nodes = [view.pin, *sorted(ends - {view.pin} - set(used)), *used]
    net = Netlist(nodes, used, [NetEdge(each.id, each.a, each.b) for each in branches])
    return dataclasses.replace(view, branches=tuple(branches), net=net, rail_gains=tuple(rail.gains for rail in rails))


def _seen_from(pin: str, branches: Sequence[Branch], rails: Collection[str]) -> list[Branch]:
    """Branches that hang together with the pin without passing through a rail, in their order."""
    reached, before = {pin}, 0
    while before != len(reached):
        before = len(reached)
        for each in branches:
            for here, there in ((each.a, each.b), (each.b, each.a)):
                if here in reached and there not in rails:
                    reached.add(there)
    return [each for each in branches if each.a in reached or each.b in reached]


def coded_node(view: LineView) -> str:
    """The far end of the coded wire; the pin itself where the file lists its own elements."""
    return view.pin if view.line.form == "elements" else f"{view.line.id}:far"
