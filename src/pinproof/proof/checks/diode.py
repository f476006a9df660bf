"""The direction of the current through a series diode.

Answers: does the diode conduct forward in every situation, or may it block and take the coder away?
Units:   volts.
Touches: nothing.

The proof takes the diode as a source of 0 V to its forward drop. That holds while current wants to flow forward: while
the circuit behind the diode, with the diode taken out, stands on the right side of the source rail. That open-circuit
difference is bounded here over the whole box.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from pinproof.network import Edge, Netlist, Span, span
from pinproof.network import Reading as NodeReading
from pinproof.observe import ReadingSpace
from pinproof.observe.pin import box_of, sources_of
from pinproof.proof.checks.common import situation_words
from pinproof.proof.judging import Judged
from pinproof.proof.results import Finding
from pinproof.quantities import format_value
from pinproof.verdict import Verdict
from pinproof.wiring import LineView

NAME = "diode"
BEHIND = "behind the diode"
VOLTS = ReadingSpace("volts", None, 1.0, float("inf"), "V")


def diode(view: LineView, judged: Sequence[Judged]) -> tuple[Finding, ...]:
    """A pass if the current runs forward in every situation and key state, not shown if it may turn round."""
    part = view.line.series_diode
    if part is None:
        return ()
    worst: tuple[float, str, tuple[str, ...]] | None = None
    for key_state in dict.fromkeys(state.key_state for state in judged):
        state = next(each for each in judged if each.key_state == key_state)
        forward_v = forward_v_of(view, key_state, [each.key for each in state.situations])
        for situation, least_v in zip(state.situations, forward_v, strict=True):
            if not np.isnan(least_v) and (worst is None or least_v < worst[0]):
                worst = (least_v, key_state, situation.operated)
    if worst is None:
        return (Finding(NAME, None, part.path, "Nothing is joined to the series diode: no current can flow."),)
    least_v, key_state, operated = worst
    numbers: dict[str, float | str] = {
        "forward_v": least_v, "key_state": key_state, "operated": ", ".join(operated)
    }  # fmt: skip
    if least_v >= 0.0:
        text = "Current through the series diode runs forward in every situation, so its drop is counted rightly."
        return (Finding(NAME, Verdict.PASS, part.path, text, numbers),)
    text = (
        f"In {key_state}, {situation_words(operated)}, the current through the series diode may turn round"
        f" ({format_value(-least_v, 'voltage', digits=2)} the wrong way): the diode then blocks and cuts off the coder,"
        " and the readings do not hold."
    )
    cure = "Find the smaller offset or the narrower supply that is true, or leave out the diode and prove again."
    return (Finding(NAME, Verdict.NOT_SHOWN, part.path, text, numbers, cure),)


def forward_v_of(view: LineView, key_state: str, operated: Sequence[frozenset[str]]) -> list[float]:
    """Least open-circuit voltage that drives current forward through the diode, beyond its least drop. [V]

    nan where nothing is joined to the diode.
    """
    line = view.line
    rail = f"{line.source_side}@{line.id}"
    if rail not in view.net.rails or line.series_diode is None:
        return [float("nan")] * len(operated)
    moved = [
        Edge(edge.id, BEHIND if edge.a == rail else edge.a, BEHIND if edge.b == rail else edge.b)
        for edge in view.net.edges
    ]
    net = Netlist([*view.net.nodes, BEHIND], view.net.rails, moved)
    bare = dataclasses.replace(view, net=net)
    _, sources = sources_of(bare, key_state, VOLTS, {line.series_diode.path: line.series_diode.low})
    low_s, high_s = box_of(view, operated)
    found: Span = span(net, low_s, high_s, sources, NodeReading(BEHIND, minus=rail))
    least = found.low if line.source_side == "return" else -found.high
    return [float(each) for each in least]
