"""What lies between two probes: against all simple paths, against random trucks in the box, against renamed files."""

from __future__ import annotations

import itertools
import math
import random
import re
from collections.abc import Iterator

import networkx as nx
import numpy as np
import pytest

from pinproof.design import Truck, load, loads
from pinproof.errors import PinproofError
from pinproof.examples import NAMES, example_path
from pinproof.meter import Station, expected, stations
from pinproof.meter.contract import BENCH_C, between, built_ohms, unplugged, works_ohms
from pinproof.meter.expect import OPEN_OHM, station_fingerprint
from pinproof.proof.situations import requirement, situations_of
from pinproof.wiring import Branch, LineView, line_view, physical
from tests.truth.generate import generate
from tests.truth.writer import write

SEEDS = range(60)


def test_edges_between_two_nodes_are_those_on_simple_paths() -> None:
    """Every path without a repeated node is listed by another library; the edges on them are the ones to keep."""
    rng = random.Random(4)
    for _ in range(400):
        nodes = [str(i) for i in range(rng.randint(2, 7))]
        ends = [(rng.choice(nodes), rng.choice(nodes)) for _ in range(rng.randint(0, 11))]
        graph = nx.MultiGraph()
        graph.add_nodes_from(nodes)
        for index, (a, b) in enumerate(ends):
            graph.add_edge(a, b, key=index)
        on_path = {key for path in nx.all_simple_edge_paths(graph, "0", "1") for *_, key in path}
        assert set(between(ends, "0", "1")) == on_path, ends


def trucks() -> Iterator[Truck]:
    """The examples and generated awkward trucks of all forms."""
    for name in NAMES:
        yield load(example_path(name))
    for seed in SEEDS:
        yield loads(write(generate(seed)), name=f"generated {seed}")


def draw(rng: random.Random, low: float, high: float) -> float:
    """A value in the box, often at one of its ends."""
    return rng.choice((low, high, rng.uniform(low, high), rng.uniform(low, high)))


def laplacian_ohm(parts: list[tuple[str, str, float]], a: str, b: str) -> float:
    """Two-point resistance by the pseudo-inverse of the Laplacian; shorts are merged first."""
    graph = nx.Graph()
    graph.add_nodes_from([a, b])
    graph.add_nodes_from(node for one, other, _ in parts for node in (one, other))
    graph.add_edges_from((one, other) for one, other, ohm in parts if ohm == 0.0)
    name = {node: min(group) for group in nx.connected_components(graph) for node in group}
    if name[a] == name[b]:
        return 0.0
    left = [(name[one], name[other], ohm) for one, other, ohm in parts if name[one] != name[other] and ohm < math.inf]
    whole = nx.Graph()
    whole.add_nodes_from([name[a], name[b]])
    whole.add_edges_from((one, other) for one, other, _ in left)
    if not nx.has_path(whole, name[a], name[b]):
        return math.inf
    nodes = sorted(nx.node_connected_component(whole, name[a]))
    at = {node: i for i, node in enumerate(nodes)}
    matrix = np.zeros((len(nodes), len(nodes)))
    for one, other, ohm in left:
        if one in at:
            i, j = at[one], at[other]
            matrix[i, i] += 1.0 / ohm
            matrix[j, j] += 1.0 / ohm
            matrix[i, j] -= 1.0 / ohm
            matrix[j, i] -= 1.0 / ohm
    ground = at[name[b]]
    kept = [i for i in range(len(nodes)) if i != ground]
    current = np.array([1.0 if i == at[name[a]] else 0.0 for i in kept])
    return float(np.linalg.solve(matrix[np.ix_(kept, kept)], current)[kept.index(at[name[a]])])


def closed(branch: Branch, operated: frozenset[str]) -> bool:
    """True unless it is a contact at its open throw."""
    return branch.kind != "contact" or branch.conducts_at_rest != (branch.contact in operated)


def test_ohms_of_any_truck_in_the_box_lie_inside() -> None:
    """Random dry trucks, as built and aged: the whole truck solved afresh never leaves the band; the band is not idle.

    The whole truck is solved, not the part between the probes, so that what was left out is seen to be none.
    """
    rng = random.Random(8)
    looked, opens, forms = 0, 0, set()
    for truck in trucks():
        whole = physical(truck)
        truck_c = (truck.temperature.low, truck.temperature.high)
        views = {line.id: line_view(truck, line, whole) for line in truck.lines}
        for station in stations(truck):
            if station.kind not in ("ohms", "chassis", "rail") or station.line is None:
                continue
            said = expected(views[station.line], station)
            if said.reason:
                line = truck.line(station.line)
                assert any(each.series_diode is not None for each in truck.lines), (line.id, said.reason)
                continue
            assert said.as_built is not None and said.works is not None and len(station.probes) == 2
            pressed = frozenset(station.operated)
            solid = [b for b in whole.branches if b.kind not in ("pull", "leak") and closed(b, pressed)]
            for kind, band in (("built", said.as_built), ("works", said.works)):
                for _ in range(2):
                    parts = []
                    for b in solid:
                        ends = built_ohms(b, BENCH_C) if kind == "built" else works_ohms(b, truck_c, BENCH_C)
                        parts.append((unplugged(b.a), unplugged(b.b), draw(rng, *ends)))
                    ohm = laplacian_ohm(parts, *station.probes)
                    slack = 1e-9 * (ohm if math.isfinite(ohm) else 0.0) + 1e-9
                    assert band.low - slack <= ohm <= band.high + slack, (truck.id, station.id, kind, ohm, band)
                    assert said.is_open == math.isinf(ohm)
            looked += 1
            opens += said.is_open
            forms.add(truck.line(station.line).form)
    assert looked > 300
    assert 20 < opens < looked - 200
    assert forms == {"pull-up", "pull-down", "ladder", "divider", "elements"}


def test_ohm_bands_are_reached() -> None:
    """Each end of a band is read by a truck with every element at one end: no band is wider than it must be."""
    for name in NAMES:
        truck = load(example_path(name))
        whole = physical(truck)
        truck_c = (truck.temperature.low, truck.temperature.high)
        for station in stations(truck):
            if station.kind != "ohms" or station.line is None:
                continue
            said = expected(line_view(truck, station.line, whole), station)
            if said.is_open or said.as_built is None or said.works is None or len(station.probes) != 2:
                continue
            pressed = frozenset(station.operated)
            solid = [b for b in whole.branches if b.kind not in ("pull", "leak") and closed(b, pressed)]
            for end in (0, 1):
                for band, ohms in (
                    (said.as_built, [built_ohms(b, BENCH_C)[end] for b in solid]),
                    (said.works, [works_ohms(b, truck_c, BENCH_C)[end] for b in solid]),
                ):
                    parts = [(unplugged(b.a), unplugged(b.b), ohm) for b, ohm in zip(solid, ohms, strict=True)]
                    reached = laplacian_ohm(parts, *station.probes)
                    assert (band.low, band.high)[end] == pytest.approx(reached, rel=1e-9)


def pin_volts(branches: list[tuple[str, str, float]], rail_v: dict[str, float], pin: str) -> float:
    """Nodal analysis in plain numpy, zero ohms taken as a nano-ohm."""
    nodes = sorted({n for a, b, _ in branches for n in (a, b)} - set(rail_v))
    at = {node: i for i, node in enumerate(nodes)}
    matrix, right = np.zeros((len(nodes), len(nodes))), np.zeros(len(nodes))
    for a, b, ohm in branches:
        g = 1.0 / max(ohm, 1e-6) if ohm < math.inf else 0.0
        for one, other in ((a, b), (b, a)):
            if one in at:
                matrix[at[one], at[one]] += g
                if other in at:
                    matrix[at[one], at[other]] -= g
                else:
                    right[at[one]] += g * rail_v[other]
    for i in range(len(nodes)):
        if matrix[i, i] == 0.0:
            matrix[i, i] = 1.0
    return float(np.linalg.lstsq(matrix, right, rcond=None)[0][at[pin]])


def test_volts_of_any_truck_in_the_box_lie_inside() -> None:
    """Random trucks, leaks included where it works, a 10 MΩ meter at the pin: the band holds them all."""
    rng = random.Random(21)
    looked, tight = 0, 0
    for truck in trucks():
        whole = physical(truck)
        causes = whole.causes("run")
        truck_c = (truck.temperature.low, truck.temperature.high)
        for line in truck.lines:
            view = line_view(truck, line, whole)
            listed = [s for s in stations(truck) if s.line == line.id and s.kind == "volts"]
            for station in rng.sample(listed, min(4, len(listed))):
                said = expected(view, station)
                if said.reason:
                    continue
                assert said.as_built is not None and said.works is not None
                pressed = frozenset(station.operated)
                for wet, band in ((False, said.as_built), (True, said.works)):
                    for _ in range(6):
                        parts = []
                        for b in view.branches:
                            if b.kind == "leak" or not closed(b, pressed):
                                least = b.low_ohm if b.kind == "leak" else b.open_low_ohm
                                ohm = rng.choice((least, math.inf, 3.0 * least)) if wet else math.inf
                            else:
                                ends = works_ohms(b, truck_c, BENCH_C) if wet else built_ohms(b, BENCH_C)
                                ohm = draw(rng, *ends)
                            parts.append((b.a, b.b, ohm))
                        parts.append((view.pin, "ground", 10e6))
                        drawn = {name: draw(rng, c.low_v, c.high_v) for name, c in causes.items()}
                        rails = {r.name: sum(f * drawn[n] for n, f in r.gains) for r in whole.rails}
                        volts = pin_volts(parts, rails, view.pin)
                        assert band.low - 1e-6 <= volts <= band.high + 1e-6, (truck.id, station.id, wet, volts, band)
                looked += 1
                tight += said.works.high - said.works.low < 8.0
    assert looked > 150
    assert tight > 100


def test_expectations_do_not_widen_without_cause() -> None:
    """As built lies inside works, in every station of every truck; open means 10 MΩ."""
    for truck in itertools.islice(trucks(), 30):
        whole = physical(truck)
        for station in stations(truck):
            if station.line is None or station.quantity not in ("resistance", "voltage"):
                continue
            said = expected(line_view(truck, station.line, whole), station)
            if said.as_built is None or said.works is None:
                assert said.reason
                continue
            assert said.works.low <= said.as_built.low <= said.as_built.high <= said.works.high
            assert not said.is_open or said.as_built.low == OPEN_OHM


def test_a_diode_in_series_has_no_ohms() -> None:
    """No figure is given for what no meter reads; the volts are."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    text = text.replace(
        'leak_to_ground = "20 kohm"', 'leak_to_ground = "20 kohm"\nseries_diode = { low = "0 V", high = "1 V" }'
    )
    truck = loads(text)
    view = line_view(truck, "taps")
    by_id = {each.id: each for each in stations(truck)}
    assert "diode" in expected(view, by_id["taps/ohms/lever_manual"]).reason
    assert expected(view, by_id["taps/ohms/idle"]).is_open
    assert expected(view, by_id["taps/chassis/lever_manual"]).is_open
    assert expected(view, by_id["taps/volts/lever_manual"]).as_built is not None


def test_other_lines_are_seen_where_they_share_a_rail() -> None:
    """Two lines of free elements tied to the battery rail: the other line's resistor lies in the path, and counts."""
    one = """
[[input]]
id = "{n}"
pull_up = "none"
pull_down = {{ value = "1 kohm", tolerance = "1 %" }}
compares = "battery"
error = "0 %"
[[line]]
id = "{n}"
input = "{n}"
form = "elements"
idle = "rest"
source_side = "return"
return_offset = "none"
leak_to_ground = "none"
leak_to_supply = "none"
windows = "free"
[[line.element]]
id = "up"
kind = "resistor"
between = ["pin", "battery"]
value = {{ value = "{up}", tolerance = "0 %", tempco = "0 ppm/K", ageing = "0 %" }}
[[line.element]]
id = "down"
kind = "resistor"
between = ["pin", "return"]
value = {{ value = "{down}", tolerance = "0 %", tempco = "0 ppm/K", ageing = "0 %" }}
[[line.element]]
id = "c"
kind = "contact"
between = ["pin", "return"]
contact = "{n}c"
[[contact]]
id = "{n}c"
line = "{n}"
device = "pod"
kind = "normally open"
action = "momentary"
asks = "go"
closed = "0 ohm"
open = "none"
"""
    head = 'format = 1\nid = "pp-two"\n[supply]\nrun = "12 V"\n[temperature]\nlow = "20 °C"\nhigh = "20 °C"\n'
    text = head + one.format(n="a", up="3 kohm", down="4 kohm") + one.format(n="b", up="2 kohm", down="1 kohm")
    truck = loads(text + '[[device]]\nid = "pod"\n')
    station = next(each for each in stations(truck) if each.id == "a/ohms/idle")
    said = expected(line_view(truck, "a"), station)
    assert said.nominal == pytest.approx(4000.0 * 6000.0 / 10000.0)  # 4 k beside 3 k + 2 k + 1 k


def marks(truck: Truck) -> dict[str, str]:
    """Fingerprint of every station."""
    whole = physical(truck)
    views: dict[str, LineView] = {line.id: line_view(truck, line, whole) for line in truck.lines}
    return {each.id: station_fingerprint(views.get(each.line or ""), each, "meter") for each in stations(truck)}


def test_fingerprint_holds_over_changes_elsewhere() -> None:
    """Tolerances, temperatures, windows, another contact, another order in the file: the circuit is the same."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    before = marks(loads(text))
    assert len(set(before.values())) == len(before)  # each its own history
    changed = text.replace('tolerance = { value = "1 %"', 'tolerance = { value = "2 %"').replace("80 °C", "95 °C")
    changed = changed.replace('low = "41 %"', 'low = "40 %"').replace(
        'high = "30 ohm" } # new', 'high = "50 ohm" } # new'
    )
    assert marks(loads(changed)) == before
    blocks = re.split(r"(?=^\[\[contact\]\])", text, flags=re.MULTILINE)
    tail_at = blocks[-1].index("[[place]]")
    contacts, tail = [*blocks[1:-1], blocks[-1][:tail_at]], blocks[-1][tail_at:]
    fresh = contacts[-1].replace("wheel_down", "wheel_spare").replace("1.3k", "2.2k")
    after = marks(loads(blocks[0] + "".join(contacts) + fresh + tail))
    assert {key: after[key] for key in before} == before


def test_fingerprint_changes_with_the_circuit() -> None:
    """Another resistor is another history where it lies in the path, and only there."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    before = marks(loads(text))
    after = marks(loads(text.replace('resistor = "8.25k"', 'resistor = "8.2k"')))
    moved = {key for key in before if after[key] != before[key]}
    assert "taps/ohms/lever_manual" in moved and "taps/volts/lever_manual" in moved
    assert "taps/reported/lever_manual" in moved
    assert not {"taps/ohms/idle", "taps/ohms/wheel_up", "taps/wire/wire", "truck/leads/all"} & moved
    view = line_view(loads(text), "taps")
    station = next(each for each in stations(view.truck) if each.id == "taps/ohms/lever_manual")
    assert station_fingerprint(view, station, "a") != station_fingerprint(view, station, "b")


def test_stations_have_ids_of_their_own_and_probes_that_exist() -> None:
    """An id is used once; both probes are nodes of the truck."""
    for truck in itertools.islice(trucks(), 30):
        listed: tuple[Station, ...] = stations(truck)
        assert len({each.id for each in listed}) == len(listed)
        nodes = {unplugged(n) for b in physical(truck).branches for n in (b.a, b.b)} | {"battery", "chassis"}
        rails = {unplugged(rail.name) for rail in physical(truck).rails}
        for each in listed:
            assert all(unplugged(node) in nodes | rails for node in each.probes), each
        assert [each.step for each in listed] == sorted(each.step for each in listed)


def test_a_resistor_to_choose_is_said(tmp_path: object) -> None:
    """Nothing is expected where nothing was chosen yet; the rest of the sheet stands."""
    text = example_path("sandpiper").read_text(encoding="utf-8").replace('resistor = "8.25k"', 'resistor = "to choose"')
    try:
        truck = loads(text)
    except PinproofError as fault:
        pytest.fail(str(fault))
    view = line_view(truck, "taps")
    by_id = {each.id: each for each in stations(truck)}
    assert "to be chosen" in expected(view, by_id["taps/ohms/lever_manual"]).reason
    assert expected(view, by_id["taps/ohms/idle"]).is_open


@pytest.mark.parametrize("name", NAMES)
def test_every_report_asked_for_could_be_wrong(name: str) -> None:
    """Where every meaning of the line is allowed there is nothing to look for, so it is not on the sheet."""
    truck = load(example_path(name))
    for line in truck.lines:
        asked = {each.operated for each in stations(truck) if (each.line, each.kind) == (line.id, "reported")}
        for situation in situations_of(truck, line):
            allowed = set(requirement(truck, line, situation, "run").allowed)
            assert (situation.operated in asked) == bool(set(line.meanings) - allowed)
