"""Between which values a station should read.

Answers: what is a truck built as drawn, with new parts, allowed to show here, and what one that only still works?
Units:   ohms and volts at the points themselves: leads and the meter's error are added in judging.
Touches: nothing.
Beside:  `contract` for ohms, `pinproof.network.span` for volts, `stations` for what is measured.
Sources: isolation of 10 MΩ new, to be looked into below 1 MΩ; a wire above 1 Ω is no wire; a ground drop of 50 mV
         new: common practice, no source. Leads above 1 Ω are to be replaced: an instrument maker's page (secondary).

*As built*: resistors within tolerance, not aged, at bench temperature; contacts new; dry; wires, supplies, drops and
pulls within what the file states. *Works*: for ohms the whole dry box, ageing, heat and wear included (a wet range
would let a wrong resistor pass); for volts the whole box that the proof counts on, leaks included. Where the circuit
is open, it works while whatever joins the probes is no better a path than the leaks the file allows.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pinproof.design.model import UNKNOWN, Line, Value
from pinproof.meter.contract import (
    BENCH_C,
    TempRange,
    between,
    built_ohms,
    conductors,
    element_word,
    fingerprint,
    new_ohm,
    ohm_span,
    seen_between,
    wet_ohm,
)
from pinproof.meter.stations import Station
from pinproof.network import Edge, Netlist, Reading, Sources, Status, node_voltages, span
from pinproof.observe import pin_spans, shared_parameters, spaces_of, windows_in
from pinproof.proof.judging import reads_as, shared_corners, unproven_reason
from pinproof.proof.situations import Situation, requirement, situations_of
from pinproof.wiring import Branch, LineView

OPEN_OHM = 10e6
OPEN_LOOK_OHM = 1e6
WIRE_MOST_OHM = 1.0
LEADS_MOST_OHM = 1.0
TERMINALS_OHM = 0.04  # two new terminal pairs, 20 mΩ each: common practice, no source
DROP_NEW_V = 0.05
SLACK_V = 0.01  # offsets of meter and pin that no element stands for: common practice, no source
STRAY_V = 0.05  # what still counts as no volts at a pin that hangs free: common practice, no source
METER_OHM = 10e6


@dataclass(frozen=True)
class Band:
    """Values from `low` to `high`, both included; `high` may be infinite. [Ω or V, as the station says]"""

    low: float
    high: float

    def holds(self, low: float, high: float) -> bool:
        """True if all of `low` … `high` lies inside."""
        return self.low <= low and high <= self.high

    def misses(self, low: float, high: float) -> bool:
        """True if nothing of `low` … `high` lies inside."""
        return high < self.low or low > self.high


@dataclass(frozen=True)
class Expectation:
    """What a station should read: two bands for a number, words for the rest; or why nothing can be expected."""

    as_built: Band | None = None
    works: Band | None = None
    nominal: float = math.nan
    words: tuple[str, ...] = ()
    reason: str = ""
    is_open: bool = False


def expected(
    view: LineView | None,
    station: Station,
    *,
    given: Mapping[str, tuple[float, float]] | None = None,
    bench_c: TempRange = BENCH_C,
    meter_ohm: float = METER_OHM,
) -> Expectation:
    """What a station should read.

    Parameters
    ----------
    view : LineView or None
        View of the station's line; None where it has no line (then only the station's own limits are known).
    station : Station
        One of `stations`.
    given : mapping, optional
        Least and greatest volts of a cause that was measured, by its id: ``{"supply": (12.5, 12.7)}``.
    bench_c : (low, high)
        Temperature of the parts when they are measured. [°C]
    meter_ohm : float
        Input resistance of the meter on volts, which loads the pin. [Ω]

    Returns
    -------
    Expectation
        With `reason` and no bands where the file does not say enough, or no meter can tell.
    """
    if station.quantity == "note":
        return Expectation(words=("ok",))
    if station.kind == "leads":
        return Expectation(Band(0.0, LEADS_MOST_OHM), Band(0.0, LEADS_MOST_OHM))
    if station.kind == "supply":
        return _supply(view)
    if view is None:
        return Expectation(reason=f"Station {station.id} belongs to a line; its view is missing.")
    if station.quantity == "meaning":
        return Expectation(words=_meanings(view, station))
    if station.kind == "wire":
        return _wire(view, station)
    if station.kind == "isolation":
        return _isolation(view.line, station)
    if station.kind == "fuse-out":
        return _open(math.inf)
    if station.kind == "fuse-in":
        return Expectation(Band(0.0, WIRE_MOST_OHM), Band(0.0, WIRE_MOST_OHM), 0.0)
    if station.kind == "feed":
        return _feed(view, given)
    if station.kind == "drop":
        return _drop(view.line)
    if station.quantity == "resistance":
        return _ohms(view, station, bench_c)
    if station.kind == "hot":  # then the parts have any temperature the file allows
        bench_c = (view.truck.temperature.low, view.truck.temperature.high)
    return _volts(view, station, given or {}, bench_c, meter_ohm)


def station_fingerprint(view: LineView | None, station: Station, meter: str) -> str:
    """Hash of the circuit between a station's probes, its situation and the meter: same hash, one history."""
    if station.kind == "reported" and view is not None:
        station = replace(station, probes=(view.pin, "ground"))
    if view is None or not station.probes or station.kind in ("isolation", "fuse-in", "fuse-out", "feed", "drop"):
        return fingerprint(station.id, meter, (), ())
    a, b = station.probes
    if station.kind == "wire":
        edges = [("wire", a, b)]
    elif station.quantity == "resistance":
        parts = seen_between(conductors(view.physical, station.operated), a, b)
        edges = [(element_word(each.branch), each.a, each.b) for each in parts]
    else:
        pressed = frozenset(station.operated)
        listed = [each for each in view.branches if each.kind != "leak" and _conducts(each, pressed)]
        if not station.controller_plugged:
            listed = [each for each in listed if each.kind != "pull"]
        # What the pin's volts hang on lies on a way from the pin to some rail.
        joined = [tuple("rail" if node in view.net.rails else node for node in (each.a, each.b)) for each in listed]
        listed = [listed[index] for index in between([(one, other) for one, other in joined], a, "rail")]
        edges = [(element_word(each), each.a, each.b) for each in listed]
    names = {node for _, one, other in edges for node in (one, other)}
    return fingerprint(station.id, meter, edges, {a, b} | {each for each in names if each in view.net.rails})


def _open(wet: float) -> Expectation:
    return Expectation(
        Band(OPEN_OHM, math.inf), Band(min(OPEN_LOOK_OHM, wet), math.inf), math.inf, is_open=True
    )  # fmt: skip


def _supply(view: LineView | None) -> Expectation:
    if view is None:
        return Expectation(reason="The supply needs a truck with a line.")
    run = view.truck.supply.run
    band = Band(run.low, run.high)
    return Expectation(band, band, run.value)


def _meanings(view: LineView, station: Station) -> tuple[str, ...]:
    for situation in situations_of(view.truck, view.line):
        if situation.operated == station.operated:
            allowed = requirement(view.truck, view.line, situation, "run").allowed
            return allowed if len(allowed) < 2 else _that_can_be(view, situation, allowed)
    return ()


def _that_can_be(view: LineView, situation: Situation, allowed: tuple[str, ...]) -> tuple[str, ...]:
    """Of several allowed meanings those that a truck of the file can be read as: a dead press is no good report."""
    if unproven_reason(view.truck, view.line, view):
        return allowed
    met: set[str] = set()
    for space in spaces_of(view.truck, view.input):
        corners = shared_corners(view, "run", space) if shared_parameters(view.truck, view.line) else [None]
        for corner in corners:
            windows = windows_in(view.truck, view.line, space, corner)
            (reading,) = pin_spans(view, "run", space, [situation.key], corner).readings
            met.update(reads_as(reading, windows))
    return tuple(each for each in allowed if each in met) or allowed


def _wire(view: LineView, station: Station) -> Expectation:
    branch = next(each for each in view.branches if each.id == station.element)
    most = max(branch.high_ohm, TERMINALS_OHM)
    return Expectation(Band(0.0, min(most, WIRE_MOST_OHM)), Band(0.0, most), branch.nominal_ohm)


def _isolation(line: Line, station: Station) -> Expectation:
    leaks: dict[str, Value | None] = {"chassis": line.leak_to_ground, "supply": line.leak_to_supply}
    leak = leaks.get(station.id.rpartition("/")[2])
    return _open(leak.low if leak is not None else math.inf)


def _feed(view: LineView, given: Mapping[str, tuple[float, float]] | None) -> Expectation:
    run, drop = view.truck.supply.run, view.line.feed_drop
    low, high = (given or {}).get("supply", (run.low, run.high))
    if drop is None:
        band = Band(low - SLACK_V, high + SLACK_V)
        return Expectation(band, band, run.value)
    # Unloaded the feed may lie right at the supply, whatever it drops under load.
    band = Band(low - drop.high - SLACK_V, high - min(drop.low, 0.0) + SLACK_V)
    return Expectation(band, band, run.value - drop.value)


def _drop(line: Line) -> Expectation:
    offset = line.return_offset
    if offset is None:
        band = Band(-SLACK_V, SLACK_V)
        return Expectation(band, band, 0.0)
    works = Band(min(offset.low, 0.0) - SLACK_V, max(offset.high, 0.0) + SLACK_V)
    built = Band(max(works.low, -DROP_NEW_V), min(works.high, DROP_NEW_V))
    return Expectation(built, works, 0.0)


def _ohms(view: LineView, station: Station, bench_c: TempRange) -> Expectation:
    if not station.probes:
        return Expectation(reason=f"Station {station.id} has no probes.")
    a, b = station.probes
    parts = seen_between(conductors(view.physical, station.operated, bench_c), a, b)
    if not parts:
        return _open(wet_ohm(view.physical, station.operated, a, b))
    diodes = {line.id: line for line in view.truck.lines if line.series_diode is not None}
    for each in parts:
        line = diodes.get(each.branch.line)
        if line is not None and f"{line.source_side}@{line.id}" in (each.branch.a, each.branch.b):
            return Expectation(
                reason=f"A diode lies in series on the source side of {line.id}: no meter reads ohms through it. "
                "Its volts tell instead."
            )
    found = ohm_span(parts, a, b)
    if math.isnan(found.nominal_ohm):
        return Expectation(reason="A resistor between these two points is still to be chosen.")
    return Expectation(
        Band(found.built_low_ohm, found.built_high_ohm), Band(found.works_low_ohm, found.works_high_ohm),
        found.nominal_ohm,
    )  # fmt: skip


def _conducts(branch: Branch, operated: frozenset[str]) -> bool:
    return branch.kind != "contact" or branch.conducts_at_rest != (branch.contact in operated)


def _volts(
    view: LineView,
    station: Station,
    given: Mapping[str, tuple[float, float]],
    bench_c: TempRange,
    meter_ohm: float,
) -> Expectation:
    """Volts from the pin to the controller's ground, the meter's own resistance in the circuit."""
    pressed = frozenset(station.operated)
    plugged = station.controller_plugged
    columns = [i for i, each in enumerate(view.branches) if plugged or each.kind != "pull"]
    branches = [view.branches[i] for i in columns]
    if plugged and UNKNOWN in (view.input.pull_up, view.input.pull_down):
        return Expectation(reason="This reading hangs on a pull that nobody has measured.")
    if any(math.isnan(each.nominal_ohm) for each in branches):
        return Expectation(reason="This reading hangs on a resistor that is still to be chosen.")
    # Without the controller nothing feeds its reference: that rail hangs free like any other node.
    rails = [rail for rail in view.net.rails if plugged or not _from_controller(view, rail)]
    rails += [] if "ground" in rails else ["ground"]
    ends = {node for each in branches for node in (each.a, each.b)} | {view.pin}
    nodes = [*sorted(ends - set(rails)), *rails]
    edges = [Edge(each.id, each.a, each.b) for each in branches] + [Edge("meter", view.pin, "ground")]
    net = Netlist(nodes, rails, edges)
    whole_low, whole_high = (each[0, columns] for each in view.box_s([pressed]))
    built_low, built_high = _built_s(branches, pressed, bench_c)
    dry = station.kind == "stray"
    low = np.array([built_low, built_low if dry else np.minimum(whole_low, built_low)])
    if dry:  # what the isolation test lets pass shows in the meter's own megohms on a pin that nothing holds
        gaps = [each.kind == "leak" or not _conducts(each, pressed) for each in branches]
        seeping = np.where(gaps, np.minimum(whole_high, 1.0 / OPEN_OHM), built_high)
    high = np.array([built_high, seeping if dry else np.maximum(whole_high, built_high)])
    load = np.full((2, 1), 1.0 / meter_ohm)
    sources, nominal_v = _sources(view, rails, given)
    found = span(net, np.hstack([low, load]), np.hstack([high, load]), sources, Reading(view.pin))
    if any(int(status) != int(Status.OK) for status in found.status):
        return Expectation(reason="The pin has no settled voltage somewhere in the box: supplies would be shorted.")
    stated = [new_ohm(each) if _conducts(each, pressed) else math.inf for each in branches]
    with np.errstate(divide="ignore"):
        stated_s = np.append(1.0 / np.array(stated), 1.0 / meter_ohm)
    nominal = float(node_voltages(net, stated_s, nominal_v)[0, net.node_index(view.pin)])
    slack = STRAY_V if dry else SLACK_V
    built, works = (Band(float(found.low[i]) - slack, float(found.high[i]) + slack) for i in (0, 1))
    return Expectation(built, works, nominal)


def _from_controller(view: LineView, rail: str) -> bool:
    return rail.startswith("reference@") or (rail.startswith("feed@") and view.line.feed_from == "reference")


def _built_s(
    branches: list[Branch], pressed: frozenset[str], bench_c: TempRange
) -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], np.ndarray[tuple[int], np.dtype[np.float64]]]:
    low, high = [], []
    for each in branches:
        if each.kind == "leak" or not _conducts(each, pressed):
            low.append(0.0)
            high.append(0.0)
            continue
        least, most = built_ohms(each, bench_c)
        low.append(1.0 / most if most else math.inf)
        high.append(1.0 / least if least else math.inf)
    return np.array(low), np.array(high)


def _sources(
    view: LineView, rails: list[str], given: Mapping[str, tuple[float, float]]
) -> tuple[Sources, np.ndarray[tuple[int], np.dtype[np.float64]]]:
    """Rails over their causes, in key state run; and their nominal volts."""
    causes = view.physical.causes("run")
    gains = [view.physical.rail(rail).gains for rail in rails]
    ids = list(dict.fromkeys(cause for each in gains for cause, _ in each))
    matrix = np.zeros((len(rails), len(ids)))
    for row, each in enumerate(gains):
        for cause, factor in each:
            matrix[row, ids.index(cause)] += factor
    ranges = [given.get(name, (causes[name].low_v, causes[name].high_v)) for name in ids]
    sources = Sources([each[0] for each in ranges], [each[1] for each in ranges], np.zeros(len(rails)), matrix)
    nominal = np.array([(sum(given[n]) / 2.0 if n in given else causes[n].nominal_v) for n in ids])
    return sources, sources.rail_v(nominal)
