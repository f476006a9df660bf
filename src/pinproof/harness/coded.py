"""What the coded lines ask of the harness: their greatest currents, and the heat in their resistors.

Answers: how much can flow in the coded wire and in the source wire; does each resistor stand its node shorted?
Units:   A, W, °C.
Touches: nothing.
Sources: corners of the line's box (an edge current is a quotient of multi-affine functions); bodies as in the proof's
         check `heat`: common practice, no source.
"""

from __future__ import annotations

import numpy as np

from pinproof.design.model import Line, Resistor, Truck
from pinproof.harness.results import ResistorUse, Verdict
from pinproof.observe import ReadingSpace
from pinproof.observe.pin import box_of, sources_of
from pinproof.proof.checks.corner_search import extreme
from pinproof.proof.checks.heat import bought_body_w, powers_w, rating_w
from pinproof.proof.judging import unproven_reason
from pinproof.proof.prove import states_of
from pinproof.proof.situations import situations_of
from pinproof.wiring import LineView, line_view
from pinproof.wiring.nets import WiredElement

VOLTS = ReadingSpace("volts", None, 1.0, float("inf"), "V")
LEAST_OHM = 1e-3  # a branch of exactly 0 Ω gets this instead, far below what a meter shows
LASTING = ("run", "short_to_ground", "short_to_battery")


def line_currents_a(truck: Truck, line: Line) -> tuple[float, float] | None:
    """Greatest current of the coded wire and of the source wire, over all situations and key states. [A]

    None where a pull is unknown or a resistor is still to be chosen. On a line of form "elements" both are the
    greatest current of any of its contacts, resistors and wires.
    """
    view = line_view(truck, line)
    if not view.is_complete:
        return None
    operated = [situation.key for situation in situations_of(truck, line)]
    coded = [number for number, one in enumerate(view.branches) if one.id == f"{line.path}.wire"]
    source = [number for number, one in enumerate(view.branches) if one.id == f"{line.path}.source_wire"]
    if line.form == "elements":
        coded = source = [
            number for number, one in enumerate(view.branches) if one.kind in ("contact", "resistor", "wire")
        ]
    most = dict.fromkeys((*coded, *source), 0.0)
    for state in truck.supply.states:
        for edge in most:
            most[edge] = max(most[edge], _most_a(view, state, operated, edge))
    return max((most[one] for one in coded), default=0.0), max((most[one] for one in source), default=0.0)


def _most_a(view: LineView, state: str, operated: list[frozenset[str]], edge: int) -> float:
    low_s, high_s = box_of(view, operated)
    low_s, high_s = np.minimum(low_s, 1.0 / LEAST_OHM), np.minimum(high_s, 1.0 / LEAST_OHM)
    _, sources = sources_of(view, state, VOLTS)
    edges = np.full(len(operated), edge, dtype=np.intp)
    found = extreme(view.net, low_s, high_s, sources, edges, "current", largest=True)
    return float(np.nanmax(np.append(found, 0.0)))


def resistors_of(truck: Truck, elements: tuple[WiredElement, ...]) -> list[ResistorUse]:
    """Every coder resistor: where it sits, the heat with its node shorted, and whether its body stands it."""
    carriers = {one.id: one.unit for one in elements if one.kind == "resistor"}
    found: list[ResistorUse] = []
    for line in truck.lines:
        view = line_view(truck, line)
        hot = {} if unproven_reason(truck, line, view) else powers_w(view, states_of(view))
        for branch in view.branches:
            if branch.kind != "resistor" or branch.resistor is None or branch.id not in carriers:
                continue
            unit = carriers[branch.id]
            temp_c = _temp_c(truck, unit.kind, unit.id)
            cases = hot.get(branch.id, ())
            powers = [one.power_w for one in cases if one.case.key in LASTING]
            if not powers:
                found.append(ResistorUse(branch.id, branch.resistor.ohm, str(unit), 0.0, None, "not shown"))
                continue
            rated, verdict = _body(branch.resistor, max(powers), max(one.power_w for one in cases), temp_c)
            found.append(ResistorUse(branch.id, branch.resistor.ohm, str(unit), max(powers), rated, verdict))
    return found


def _body(resistor: Resistor, lasting_w: float, most_w: float, temp_c: float) -> tuple[float | None, Verdict]:
    """The body as stated, else the one that the proof's check has bought, and whether it stands what lasts."""
    if resistor.rated_power is not None:
        rated = resistor.rated_power.value
        return rated, "pass" if lasting_w <= rating_w(rated, temp_c) else "fail"
    stands = bought_body_w(lasting_w, temp_c) is not None
    return bought_body_w(most_w, temp_c), "pass" if stands else "fail"


def _temp_c(truck: Truck, kind: str, name: str) -> float:
    """Highest temperature of the place of a device or a plug. [°C]"""
    owners = truck.devices if kind == "device" else truck.plugs
    place = next((one.place for one in owners if one.id == name), None)
    for each in truck.places:
        if each.id == place and each.temperature is not None:
            return each.temperature.high
    return truck.temperature.high
