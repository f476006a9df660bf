"""The simulator and the oracle for finding faults against sums done by hand, plain drawing, and each other."""

from __future__ import annotations

import collections
import dataclasses
import itertools
import math
import random
import tomllib
from fractions import Fraction as F

import numpy as np
import pytest

from tests.truth.cases import Case, Reading, causes_of, make_case
from tests.truth.causes import (
    BLOWN_FUSE,
    COLUMNS,
    NO_PULL,
    NOT_LISTED,
    PIN_LOAD,
    SOUND,
    WEIGHTS,
    Cause,
    Severity,
    wide_stations,
)
from tests.truth.faults import faulty_circuit, single_faults
from tests.truth.looks import INVALID, looks_of
from tests.truth.meter import OHM_RANGES, TYPED_WRONG, VOLT_RANGE, Meter, any_ohms_probability, range_number
from tests.truth.networks import SEVERITIES, line_pieces, network, passive, potential, resistance
from tests.truth.physics import RAILS, solve_exact, two_point_resistance
from tests.truth.playing import playing_trucks
from tests.truth.posterior import Oracle, all_readings, judge, posterior, strata_of, tellable
from tests.truth.truck import (
    INF,
    Contact,
    Defaults,
    Device,
    Input,
    Line,
    Number,
    Pull,
    Reference,
    Resistor,
    Span,
    Truck,
    Window,
)

ZERO = Span("0", "0")


def small_truck(contacts: int = 1, ohms: tuple[str, ...] = ("1000", "3000"), **line: object) -> Truck:
    """A pull-up line of 1 kohm to 5 V in which nothing but the fault and the meter is unknown."""
    names = ("up", "down")[:contacts]
    plain: dict[str, object] = {"wire": ZERO, "source_wire": ZERO, "form": "pull-up"}
    windows = (
        Window("up", "0.40", "0.60", "ratio", basis="measured"),
        Window("down", "0.65", "0.85", "ratio", basis="measured"),
        Window("automatic", "0.95", None, "ratio", basis="measured"),
    )
    return Truck(
        "pp-hand",
        1,
        {"run": Span("12", "12")},
        "20",
        "20",
        Defaults(),
        (Input("pin1", Pull("1000", "0"), "reference", None, Reference("5", "0"), "reference", None, None, "0"),),
        (Device("lever", (names,) if contacts > 1 else ()),),
        tuple(
            Contact(n, "taps", "lever", True, True, n, Resistor(ohm, "0", "0", "0"), ZERO, None, station="lever")
            for n, ohm in zip(names, ohms, strict=False)
        ),
        (Line("taps", "pin1", idle="automatic", windows=windows, **{**plain, **line}),),  # type: ignore[arg-type]
    )


# ---------------------------------------------------------------- the meter


@pytest.mark.parametrize("true", [0.0, 0.03, 250.04, 5999.0, 1.234e6, 59.7e6])
def test_probabilities_of_all_shown_numbers_add_up(true: float) -> None:
    number = range_number(true)
    r = OHM_RANGES[number]
    middle = round(true / r.digit)
    shown = [max(middle + k, 0) * r.digit for k in range(-30, 31)]
    total = sum(float(r.cell_probability(s, np.array(true))) for s in sorted(set(shown)))
    assert total == pytest.approx(1, abs=1e-9)


def test_shown_numbers_fall_as_their_probabilities_say() -> None:
    rng, meter = np.random.default_rng(1), Meter((0.0,) * 6, 0.0)
    seen = collections.Counter(meter.ohms(250.04, rng) for _ in range(20_000))
    for shown, count in seen.items():
        p = float(OHM_RANGES[0].cell_probability(shown, np.array(250.04)))
        assert abs(count - 20_000 * p) < 5 * math.sqrt(20_000 * p) + 1, shown
    assert max(seen) <= 250.04 + 0.35 + 1e-9
    volts = {meter.volts(5.003, rng) for _ in range(500)}
    assert volts == {4.98, 4.99, 5.0, 5.01, 5.02}


def test_the_meter_takes_the_lowest_range_and_shows_ol() -> None:
    rng, meter = np.random.default_rng(1), Meter((0.009,) * 5 + (0.02,), 0.0)
    assert [range_number(x) for x in (0.0, 599.9, 600.0, 601.0, 59e6, math.inf)] == [0, 0, 0, 1, 5, 5]
    assert all(meter.ohms(598.0, rng) % 1 == 0 for _ in range(20))  # 603 is shown in the next range
    assert math.isinf(meter.ohms(59.9e6, rng))
    assert math.isinf(meter.ohms(math.inf, rng))
    chances = np.array([any_ohms_probability(x / 10) for x in range(100, 6000)])
    assert chances.sum() == pytest.approx(0.8 * math.log(600 / 10) / math.log(60e6 / 0.1), rel=0.01)


# ---------------------------------------------------------------- causes


def test_probabilities_add_up_and_follow_the_table() -> None:
    for p, column in itertools.product(playing_trucks(43), COLUMNS):
        causes = causes_of(p.truck, p.line_id, column)
        assert sum(c.probability for c in causes) == pytest.approx(1, abs=1e-12)
        assert all(c.probability > 0 for c in causes)
        by: dict[str, float] = collections.defaultdict(float)
        for c in causes:
            by[c.mechanism] += c.probability
        at = COLUMNS.index(column)
        ratio = by["switch contact"] / by["bad crimp"]
        assert ratio == pytest.approx(WEIGHTS["switch contact"][at] / WEIGHTS["bad crimp"][at])
        assert by["not on this list"] >= 0.01


def test_weights_of_one_small_line_by_hand() -> None:
    """Two contacts: places are coded wire, source wire and two branches; four nodes are chafed (pin, far, source and
    two inner ones make five), and one pair of nodes can be bridged."""
    causes = causes_of(small_truck(2), "taps")
    total = sum(w[1] for name, w in WEIGHTS.items() if name != "supply or fuse")

    def p(class_name: str) -> float:
        return sum(c.probability for c in causes if c.class_name == class_name) * total

    assert p("up and down swapped") == pytest.approx(1)
    assert p("branch up wrong throw") == pytest.approx(0.2 / 2)
    series = 7 / 4 + 11 / 4 + 18 / 4 + 11 / 4
    assert p("wire high") == pytest.approx(series)
    assert p("source high") == pytest.approx(series + 5)
    low = math.log(0.95 * 3) / (math.log(0.95 * 3) + math.log(3 / 1.05)) / 3
    assert p("branch down low") == pytest.approx(2 / 2 * (1 / 3 + low))
    assert p("branch down high") == pytest.approx(series + 14 / 2 + 6 / 2 + 2 / 2 * (1 / 3 + 1 / 3 - low))
    assert p("source to ground") == pytest.approx(8 / 5)
    assert p("pin or far to ground") == pytest.approx(8 * 2 / 5 + 5 * 2 / 9)  # leaks: four nodes to two rails, one pair
    assert p("~up and ~down bridged") == pytest.approx(5 / 9)
    assert p("controller pin") == pytest.approx(1)
    soft = [c for c in causes if c.mechanism == "terminal not seated" and c.class_name == "wire high"]
    assert [c.severity for c in soft] == [None, Severity(0.1, 100e3)]
    assert [c.probability * total for c in soft] == pytest.approx([7 / 8, 7 / 8])


def test_not_listed_never_falls_under_one_per_cent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(WEIGHTS, "not on this list", (0.1, 0.1))
    causes = causes_of(small_truck(2), "taps")
    assert sum(c.probability for c in causes if c.class_name == NOT_LISTED) == pytest.approx(0.01)
    assert sum(c.probability for c in causes) == pytest.approx(1)


def test_strata_carry_all_of_the_probability() -> None:
    for p in playing_trucks(12):
        causes = causes_of(p.truck, p.line_id)
        rows = [s for strata in strata_of(causes).values() for s in strata]
        for name in {s.class_name for s in rows}:
            whole = sum(c.probability for c in causes if c.class_name == name)
            assert sum(s.probability for s in rows if s.class_name == name) == pytest.approx(whole)
        assert max(s.high / s.low for s in rows) <= 10**0.5 * (1 + 1e-9)


# ---------------------------------------------------------------- circuits


def test_networks_agree_with_exact_nodal_analysis_of_the_faults_page() -> None:
    """Pin volts and both ohms readings of real lines with one fault each, in fractions, by the other fault code."""
    rng = random.Random(5)
    looked = 0
    for p in playing_trucks(30):
        truck, line, looks = p.truck, p.truck.line(p.line_id), looks_of(p.truck, p.line_id)
        for fault in rng.sample(single_faults(truck, line.id), 5):
            operated = rng.choice(list(looks.situations.values()))
            ohm = F(rng.choice([3, 470, 22_000])) if fault.severity else None
            exact: list[tuple[str, str, Number]] = []
            values = {SEVERITIES[0]: np.array(float(ohm or 0))}
            for e in faulty_circuit(truck, line, fault, operated, () if ohm is None else (ohm,)):
                level = e.levels[0] if len(e.levels) == 1 or e.path.endswith((".open", "leak1")) else sum(e.levels) / 2
                level = level if level == INF else max(F(level), F(1, 1000))
                exact.append((e.a, e.b, level))
            rails = {
                "ground": F(0),
                "return": F(1, 50),
                "chassis": F(1, 40),
                "battery": F(12),
                "reference": F(5),
                "feed": F(11),
            }
            pieces = line_pieces(truck, line, operated, (fault,))
            assert len(pieces) == len(exact)
            left = list(exact)
            numbered = []
            for i, piece in enumerate(pieces):  # the two fault codes keep the order of the elements
                a, b, level = left[i]
                assert (a, b) == (piece.a, piece.b), fault.label
                numbered.append(dataclasses.replace(piece, part=str(i), factor=1.0))
                values[str(i)] = np.array(float(level))
            real = [q for q in numbered if values[q.part] < INF]
            found = potential(network(real, ("pin", *RAILS)), values, {k: np.array(float(v)) for k, v in rails.items()})
            answer = solve_exact(exact, rails)
            if answer.volts is not None:
                assert float(found) == pytest.approx(float(answer.volts), abs=1e-6), fault.label
            bench = [e for e, piece in zip(exact, pieces, strict=True) if not piece.path.startswith("input.")]
            cut = [q for q in real if not q.path.startswith("input.")]
            one = {"return": "chassis", "ground": "chassis"}
            bench = [(one.get(a, a), one.get(b, b), level) for a, b, level in bench]
            for to in ("chassis", "battery"):
                plain = two_point_resistance(bench, "pin", to) if any(to in e for e in bench) else INF
                got = float(resistance(network(passive(cut), ("pin", to)), values))
                assert got == (plain if plain == INF else pytest.approx(float(plain), rel=1e-6)), (fault.label, to)
            looked += 1
    assert looked == 150


def test_controller_faults_show_only_when_plugged_in() -> None:
    truck = small_truck()
    case = _with(make_case(truck, "taps", 1), PIN_LOAD, 1000.0)
    assert case.true_value("volts idle") == pytest.approx(2.5)
    assert case.true_value("ohms up") == pytest.approx(1000.02)
    case = _with(make_case(truck, "taps", 1), NO_PULL, None)
    assert case.true_value("volts idle") == 0
    assert case.true_value("volts up") == pytest.approx(0)


def _with(case: Case, kind: str, ohm: float | None) -> Case:
    """The same truck with another fault."""
    causes = causes_of(case.truck, case.line_id, case.column)
    cause = next(c for c in causes if c.fault is not None and c.fault.kind == kind)
    values = case.values if ohm is None else {**case.values, SEVERITIES[0]: np.array(ohm)}
    return dataclasses.replace(case, causes=(cause,), values=values, setting=None, unlisted="", _read={})


# ---------------------------------------------------------------- stations, fuses, fault windows


def wheel_truck(**line: object) -> Truck:
    """`small_truck` with a third contact `low` of 5 kohm; `up` and `down` sit at the station "wheel"."""
    truck = small_truck(2, **line)
    up, down = (dataclasses.replace(c, station="wheel") for c in truck.contacts)
    assert up.resistor is not None
    low = dataclasses.replace(
        up, id="low", asks="low", station="lever", resistor=dataclasses.replace(up.resistor, ohm="5000")
    )
    return dataclasses.replace(truck, contacts=(up, down, low), devices=(dataclasses.replace(truck.devices[0]),))


def test_only_stations_of_several_contacts_and_not_of_all_are_places() -> None:
    truck = wheel_truck()
    line = truck.line("taps")
    assert wide_stations(truck, line) == ["wheel"]
    alike = dataclasses.replace(truck, contacts=tuple(dataclasses.replace(c, station="wheel") for c in truck.contacts))
    assert wide_stations(alike, line) == []
    assert wide_stations(truck, dataclasses.replace(line, form="ladder", ladder_to="ground")) == []
    by_column = {"new build": (15, 2), "in service": (7, 11)}
    for column, (seated, broken) in by_column.items():
        causes = causes_of(truck, "taps", column)
        mine = [c for c in causes if c.class_name == "station.wheel unplugged"]
        assert [c.mechanism for c in mine] == ["terminal not seated", "broken conductor at a flexing place"]
        assert {(c.fault.kind, c.severity) for c in mine if c.fault} == {("unplugged", None)}
        one = sum(c.probability for c in causes if c.mechanism == "setting or lever code")
        per_cent = one / WEIGHTS["setting or lever code"][COLUMNS.index(column)]
        # six places: two wires, three branches, the station
        assert [c.probability / per_cent for c in mine] == pytest.approx([seated / 6, broken / 6])
        crimp = [c.probability for c in causes if c.mechanism == "bad crimp" and c.class_name == "wire high"]
        assert sum(crimp) / per_cent == pytest.approx(WEIGHTS["bad crimp"][COLUMNS.index(column)] / 5)
    seen = 0
    for p in playing_trucks(43):
        names = {c.class_name for c in causes_of(p.truck, p.line_id) if c.class_name.startswith("station.")}
        contacts = p.truck.contacts_of(p.line_id)
        size = collections.Counter(c.station for c in contacts if c.station)
        wide = {f"station.{s} unplugged" for s, n in size.items() if 1 < n < len(contacts)}
        assert names == (set() if p.truck.line(p.line_id).form == "ladder" else wide), p.kind
        seen += len(names)
    assert seen >= 3


def test_a_drawn_station_fault_opens_exactly_its_contacts() -> None:
    truck = wheel_truck(idle_resistor=Resistor("20000", "0", "0", "0"))
    drawn = [make_case(truck, "taps", seed) for seed in range(600)]
    drawn = [c for c in drawn if c.true_class == "station.wheel unplugged"]
    assert len(drawn) >= 8
    for case in drawn:
        for operated, ohm in (("idle", 20e3), ("up", 20e3), ("down", 20e3), ("low", 1 / (1 / 20e3 + 1 / 5000.02))):
            assert case.true_value(f"ohms {operated}") == pytest.approx(ohm), operated
            assert case.true_value(f"volts {operated}") == pytest.approx(5 * ohm / (ohm + 1000)), operated
        assert case.true_value("without wheel") == pytest.approx(20e3)
        assert case.true_value("wire") < 1e-3
        assert case.true_value("source") < 1e-3
    found = judge(truck, "taps", [drawn[0].read(i) for i in ("ohms up", "ohms down", "ohms low")]).classes
    assert max(found, key=lambda n: found[n]) == "station.wheel unplugged"
    assert found["station.wheel unplugged"] > 0.95


def fed_truck(feed_from: str = "battery") -> Truck:
    """One contact of 1 kohm between a feed of 12 V, or of 5 V, and a pin with 3 kohm to ground."""
    truck = small_truck(
        1, form="pull-down", feed_from=feed_from, feed_drop=ZERO, leak_to_ground="40000", idle_resistor=None
    )
    pin = dataclasses.replace(truck.inputs[0], pull_up=None, pull_down=Pull("3000", "0"))
    return dataclasses.replace(truck, inputs=(pin,))


def test_half_of_supply_or_fuse_is_the_fuse_where_the_battery_feeds() -> None:
    for feed_from, kinds in (("battery", {"open": 0.5, BLOWN_FUSE: 0.5}), ("reference", {"open": 1.0})):
        causes = [c for c in causes_of(fed_truck(feed_from), "taps") if c.mechanism == "supply or fuse"]
        assert {c.class_name for c in causes} == {"source high"}
        total = sum(c.probability for c in causes)
        assert {c.fault.kind: c.probability / total for c in causes if c.fault} == pytest.approx(kinds)
    for p in playing_trucks(43):
        line = p.truck.line(p.line_id)
        fused = line.form in ("pull-down", "ladder") and line.source_rail == "feed" and line.feed_from == "battery"
        some = [c for c in causes_of(p.truck, p.line_id) if c.fault is not None and c.fault.kind == BLOWN_FUSE]
        assert len(some) == int(fused), p.kind


def test_a_blown_fuse_opens_source_and_volts_and_no_ohms_from_the_load_side() -> None:
    looked = 0
    for truck, line_id in [(fed_truck(), "taps"), *((p.truck, p.line_id) for p in playing_trucks(43))]:
        causes = causes_of(truck, line_id)
        fuse = next((c for c in causes if c.fault is not None and c.fault.kind == BLOWN_FUSE), None)
        if fuse is None:
            continue
        assert fuse.fault is not None
        base = make_case(truck, line_id, 3)
        hard = [c for c in causes if c.fault is not None and c.fault.kind == "open"]
        opened = next(c for c in hard if c.fault is not None and c.fault.site == fuse.fault.site)
        sound = next(c for c in causes if c.class_name == SOUND)
        case, other, good = (
            dataclasses.replace(base, causes=(c,), setting=None, unlisted="", _read={}) for c in (fuse, opened, sound)
        )
        for reading in case.available():
            live = reading.startswith(("volts", "meaning"))
            same_as = other if live or reading == "source" else good
            assert case.true_value(reading) == same_as.true_value(reading), reading
        if "source" in case.available():
            assert math.isinf(case.true_value("source"))
            assert not math.isinf(good.true_value("source"))
        looked += 1
    assert looked >= 8
    drawn = (make_case(fed_truck(), "taps", seed) for seed in range(600))
    case = next(c for c in drawn if BLOWN_FUSE in {f.kind for f in c.faults})
    assert case.true_value("volts up") == 0
    assert case.true_value("ohms up") == pytest.approx(1000.02)


def test_ohms_as_built_and_no_volts_are_the_fuse() -> None:
    truck = fed_truck()
    readings = [
        Reading("ohms up", ohm=1000.0),
        Reading("volts up", pin_v=0.0, supply_v=12.0),
        Reading("chassis up", ohm=60e3),  # else a hard short of the pin to ground would do as well
    ]
    assert posterior(truck, "taps", readings)["source high"] > 0.9
    without = [c for c in causes_of(truck, "taps") if c.fault is None or c.fault.kind != BLOWN_FUSE]
    assert Oracle(truck, "taps", readings, causes=without).judge().classes["source high"] < 0.7
    assert posterior(truck, "taps", [Reading("source", ohm=math.inf)])["source high"] > 0.9


def faulty_windows_truck() -> Truck:
    """Windows with nothing above "open" and nothing under "shorted", a dead band around each."""
    windows = (
        Window("shorted", None, "0.10", "ratio", basis="measured", fault=True),
        Window("up", "0.40", "0.60", "ratio", basis="measured"),
        Window("stuck", "0.62", "0.64", "ratio", basis="measured", fault=True),
        Window("down", "0.65", "0.85", "ratio", basis="measured"),
        Window("automatic", "0.86", "0.92", "ratio", basis="measured"),
        Window("open", "0.95", None, "ratio", basis="measured", fault=True),
    )
    truck = small_truck(2, idle_resistor=Resistor("9000", "0", "0", "0"))
    pin, (line,) = dataclasses.replace(truck.inputs[0], error_pct="0.3"), truck.lines
    return dataclasses.replace(truck, inputs=(pin,), lines=(dataclasses.replace(line, windows=windows),))


def test_half_of_the_reports_of_a_fault_window_are_invalid() -> None:
    truck = faulty_windows_truck()
    case = make_case(truck, "taps", 1)
    wire = [c for c in causes_of(truck, "taps") if c.class_name == "wire high" and c.severity is None]
    cut = wire[0]
    case = dataclasses.replace(case, causes=(cut,), setting=None, _read={})
    n = 1600
    said = collections.Counter(case.read("meaning up", repeat=k).meaning for k in range(n))
    assert set(said) == {"open", INVALID}
    assert abs(said[INVALID] - n / 2) < 4 * math.sqrt(n / 4)
    sound = next(c for c in causes_of(truck, "taps") if c.class_name == SOUND)
    case = dataclasses.replace(case, causes=(sound,), setting=None, _read={})
    assert {case.read("meaning up", repeat=k).meaning for k in range(50)} == {"up"}
    firsts = collections.Counter(
        dataclasses.replace(make_case(truck, "taps", seed), causes=(cut,), setting=None).read("meaning idle").meaning
        for seed in range(400)
    )
    assert abs(firsts[INVALID] - 200) < 4 * 10


def test_reports_are_as_likely_as_drawn_edges_say() -> None:
    """Of one situation, and of three together, near edges and far from them, by drawing edges and reports."""
    looks = looks_of(faulty_windows_truck(), "taps")
    assert looks.faults == {"shorted", "stuck", "open"}
    rng = np.random.default_rng(8)
    n = 4000
    drawn = [
        [tuple(None if e is None else float(rng.uniform(*e)) for e in (w.low, w.high)) for w in looks.windows]
        for _ in range(n)
    ]
    checked = 0
    for x in (
        (0.02, 0.98, 0.63),
        (0.1, 0.101, 0.099),
        (0.9502, 0.949, 0.952),
        (0.62, 0.64, 0.641),
        (0.95, 0.10, 0.5),
        (0.93, 0.9501, 0.61),
    ):
        names = ("up", "down", "idle")
        seen: collections.Counter[tuple[str, ...]] = collections.Counter()
        for edges in drawn:
            seen[tuple(looks.reported(looks.meaning(v, edges), float(rng.random())) for v in x)] += 1
        total = 0.0
        readings = {name: np.array([v]) for name, v in zip(names, x, strict=True)}
        for said in itertools.product((*looks.meanings, INVALID), repeat=3):
            single, joint = looks.meanings_probability(readings, dict(zip(names, said, strict=True)))
            p = float(joint[0] if joint.ndim else joint)
            total += p
            assert abs(seen[said] / n - p) < 4.5 * math.sqrt(max(p * (1 - p), 1 / n) / n), (x, said)
            for k, chance in enumerate(single):
                share = sum(m for words, m in seen.items() if words[k] == said[k]) / n
                q = float(chance[0])
                assert abs(share - q) < 4.5 * math.sqrt(max(q * (1 - q), 1 / n) / n), (x, said, k)
            checked += p > 0
        assert total == pytest.approx(1, abs=1e-6)
    assert checked >= 30


# ---------------------------------------------------------------- the simulator


def test_the_same_id_gives_the_same_number() -> None:
    p = playing_trucks(1)[0]
    one, two = make_case(p.truck, p.line_id, 9), make_case(p.truck, p.line_id, 9)
    assert all_readings(one) == all_readings(two)
    assert [one.read(i) for i in reversed(one.available())] == all_readings(two)[::-1]
    again = [one.read(i, repeat=1) for i in one.available()]
    assert again != all_readings(one)
    assert all_readings(make_case(p.truck, p.line_id, 10)) != all_readings(one)
    with pytest.raises(KeyError, match="cannot be read"):
        one.read("ohms nowhere")


def test_sound_trucks_read_what_they_must() -> None:
    for seed, p in enumerate(playing_trucks(43)):
        case = make_case(p.truck, p.line_id, seed)
        sound = next(c for c in causes_of(p.truck, p.line_id) if c.class_name == SOUND)
        case = dataclasses.replace(case, causes=(sound,), setting=None, _read={})
        right = case.looks.right
        assert case.complaint() == {s: right[s] or said for s, said in case.complaint().items()}, p.kind


def test_every_class_is_drawn() -> None:
    truck = small_truck(2)
    for column in COLUMNS:
        names = {c.class_name for c in causes_of(truck, "taps", column)}
        assert {make_case(truck, "taps", seed, column=column).true_class for seed in range(6000)} == names


def test_faults_outside_the_model() -> None:
    kinds: collections.Counter[str] = collections.Counter()
    for seed, p in enumerate(playing_trucks(43)):
        case = make_case(p.truck, p.line_id, seed, unlisted=True)
        kinds[case.unlisted] += 1
        assert case.true_class == NOT_LISTED
        assert len(all_readings(case)) == len(case.available())
        pair = make_case(p.truck, p.line_id, seed, double=True, law="other")
        assert pair.true_class == NOT_LISTED
        assert len(pair.causes) == 2
        assert len(all_readings(pair)) == len(pair.available())
    assert set(kinds) == {"diode in the coded wire", "contact film", "third wire"}


def test_another_law_of_severities_leaves_the_listed_limits_now_and_then() -> None:
    truck, beyond = small_truck(2), collections.Counter[bool]()
    for seed in range(400):
        case = make_case(truck, "taps", seed, law="other")
        law = case.true_cause.severity
        if law is not None and law.base_ohm == 0:
            beyond[not law.low_ohm <= case.severities[SEVERITIES[0]] <= law.high_ohm] += 1
    assert beyond[True] > 10
    assert beyond[False] > 50


def test_one_reading_in_a_hundred_is_mistyped() -> None:
    truck, other = small_truck(2), 0
    for seed in range(300):
        plain, typed = make_case(truck, "taps", seed), make_case(truck, "taps", seed, mistyped=True)
        ids = [i for i in plain.available() if i.startswith("ohms")]
        other += sum(plain.read(i) != typed.read(i) for i in ids)
    assert 1 <= other <= 22  # of 900


def test_a_diode_in_the_coded_wire_drops_its_volts() -> None:
    truck = small_truck()
    case = next(
        c
        for c in (make_case(truck, "taps", s, unlisted=True) for s in range(40))
        if c.unlisted == "diode in the coded wire"
    )
    # 5 V through 1 kohm, the diode and 1000.02 ohm
    assert case.true_value("volts up") == pytest.approx(5 - 1000 * (5 - 0.6) / 2000.02, abs=1e-3)
    assert case.true_value("volts idle") == pytest.approx(5)
    assert math.isinf(case.true_value("ohms up"))


# ---------------------------------------------------------------- the oracle, by hand


def _shown(ohm: float) -> Reading:
    return Reading("ohms up", ohm=ohm)


def test_one_reading_of_open_in_closed_form() -> None:
    """With nothing but an OL between pin and return at "up": a cause either gives OL for sure or never."""
    truck = small_truck()
    weight: dict[str, float] = collections.defaultdict(float)
    for c in causes_of(truck, "taps"):
        kind = None if c.fault is None else c.fault.kind
        surely = kind in ("open", "stuck-open", "wrong-throw")
        chance = (1 - TYPED_WRONG) * surely + TYPED_WRONG * 0.2
        weight[c.class_name] += c.probability * (0.2 if c.class_name == NOT_LISTED else chance)
    total = sum(weight.values())
    found = posterior(truck, "taps", [_shown(math.inf)])
    assert set(found) == set(weight)
    for name, w in weight.items():
        assert found[name] == pytest.approx(w / total, abs=0.006), name
    assert sum(found.values()) == pytest.approx(1)


@pytest.mark.parametrize("shown", [1002.0, 1500.0, 340.5, 101.3])
def test_one_reading_by_enumeration(shown: float) -> None:
    """The same line: the resistance is a plain formula of the severity, so both integrals are sums over fine grids."""
    truck = small_truck()
    r = OHM_RANGES[range_number(shown)]
    gains = (np.arange(801) + 0.5) / 801 * 2 * r.gain - r.gain

    def chance(ohm: np.ndarray) -> np.ndarray:
        return np.array([float(r.cell_probability(shown, x * (1 + gains)).mean()) for x in ohm])

    # the chance as a function of the resistance, worked out once on a fine grid
    grid = np.linspace(shown * 0.97, shown * 1.03, 1201)
    table = chance(grid)

    def at(ohm: np.ndarray) -> np.ndarray:
        return np.interp(ohm, grid, table, left=0.0, right=0.0)

    closed = 0.02

    def ohms(c: Cause, s: np.ndarray) -> np.ndarray:
        sound = np.full(s.shape, 1000 + closed)
        if c.fault is None:
            return sound
        kind, site = c.fault.kind, c.fault.site
        if kind == "drifted":
            return s + closed
        if kind == "worn":
            return 1000 + s
        if kind == "resistive":
            return 1000 + closed + s
        if kind == "chafed-to-ground" and c.fault.detail[0] in ("pin", "far"):
            return s * (1000 + closed) / (s + 1000 + closed)
        if kind == "chafed-to-ground" and c.fault.detail[0] == "~up":
            return 1000 + s * closed / (s + closed)
        if kind in ("decade-low", "decade-high"):
            return np.full(s.shape, (100 if kind == "decade-low" else 10_000) + closed)
        if kind in ("open", "stuck-open", "wrong-throw"):
            return np.full(s.shape, math.inf)
        assert kind in ("stuck-closed", "chafed-to-supply", "chafed-to-ground", NO_PULL, PIN_LOAD), (kind, site)
        return sound

    weight: dict[str, float] = collections.defaultdict(float)
    other = any_ohms_probability(shown)
    for c in causes_of(truck, "taps"):
        if c.class_name == NOT_LISTED:
            weight[c.class_name] += c.probability * other
            continue
        u = (np.arange(40_000) + 0.5) / 40_000
        law = c.severity
        s = np.ones(1) if law is None else law.base_ohm + law.low_ohm * (law.high_ohm / law.low_ohm) ** u
        mean = float(at(ohms(c, s)).mean())
        weight[c.class_name] += c.probability * ((1 - TYPED_WRONG) * mean + TYPED_WRONG * other)
    total = sum(weight.values())
    found = judge(truck, "taps", [_shown(shown)], tolerance=0.002)
    for name, w in weight.items():
        assert found.classes[name] == pytest.approx(w / total, abs=0.008), name


def test_without_readings_it_is_the_prior() -> None:
    truck = small_truck(2)
    found = posterior(truck, "taps", [], "new build")
    assert found["up and down swapped"] == pytest.approx(
        sum(c.probability for c in causes_of(truck, "taps", "new build") if c.class_name == "up and down swapped")
    )
    assert sum(found.values()) == pytest.approx(1)


def test_other_weights_move_the_posterior_by_their_ratio() -> None:
    truck, readings = small_truck(), [_shown(math.inf)]
    plain = posterior(truck, "taps", readings)
    doubled = [
        dataclasses.replace(c, probability=c.probability * (2 if c.class_name == "wire high" else 1))
        for c in causes_of(truck, "taps")
        if c.class_name != NOT_LISTED
    ]
    moved = Oracle(truck, "taps", readings, causes=doubled).judge().classes
    assert moved[NOT_LISTED] == 0
    ratio = moved["wire high"] / moved["branch up high"] / (plain["wire high"] / plain["branch up high"])
    assert ratio == pytest.approx(2, rel=0.05)


def test_like_faults_get_like_posteriors() -> None:
    truck = small_truck(2, ("1000", "1000"), leak_to_ground="200000")
    found = posterior(truck, "taps", [Reading("ohms idle", ohm=998.0), Reading("meaning idle", meaning="up")])
    assert found["branch up always on"] > 0.3
    pairs = [(n, n.replace("up ", "down ")) for n in found if "branch up" in n or n.startswith("~up to")]
    assert len(pairs) == 6
    for one, two in pairs:
        assert found[one] == pytest.approx(found[two], abs=0.01), one


def test_a_wrong_meaning_with_sound_volts_is_the_setting() -> None:
    truck = small_truck(2)
    readings = [
        Reading("meaning up", meaning="down"),
        Reading("meaning down", meaning="down"),
        Reading("volts up", pin_v=2.5, supply_v=12.0),
        Reading("volts down", pin_v=3.75, supply_v=12.0),
        Reading("volts idle", pin_v=5.0, supply_v=12.0),
    ]
    found = posterior(truck, "taps", readings, "new build")
    assert found["setting"] > 0.85
    right = [dataclasses.replace(readings[0], meaning="up"), *readings[1:]]
    assert posterior(truck, "taps", right, "new build")["setting"] < 0.6


# ---------------------------------------------------------------- the oracle against plain drawing


def test_posteriors_agree_with_cases_that_happen_to_read_the_same() -> None:
    """Thousands of cases are drawn; those with the same meanings hold their classes in the shares of the posterior."""
    truck = small_truck(
        2, ("1000", "3000"), leak_to_ground="20000", wire=Span("0", "30"), return_offset=Span("-0.1", "0.2")
    )
    held: dict[tuple[tuple[str, str], ...], collections.Counter[str]] = {}
    for seed in range(5000):
        case = make_case(truck, "taps", seed)
        held.setdefault(tuple(case.complaint().items()), collections.Counter())[case.true_class] += 1
    looked = sorted(held.items(), key=lambda kv: -kv[1].total())[1:5]
    for said, classes in looked:
        found = judge(truck, "taps", [Reading(f"meaning {s}", meaning=m) for s, m in said], tolerance=0.003).classes
        n = classes.total()
        assert n > 150
        for name, p in found.items():
            # a mistyped meaning is in the oracle's law, not in the cases
            assert abs(classes[name] / n - p) < 4 * math.sqrt(max(p * (1 - p), 0.25 / n) / n) + 0.02, (said, name)


def test_posteriors_are_right_as_often_as_they_say() -> None:
    """Over drawn cases the true class has on average the posterior that the sum of squares foretells."""
    lines = playing_trucks(43)
    gaps = []
    for k in range(10):
        p = lines[(5 * k) % len(lines)]
        case = make_case(p.truck, p.line_id, 700 + k)
        ids = np.random.default_rng(k).choice(case.available(), 3, replace=False)
        found = judge(p.truck, p.line_id, [case.read(str(i)) for i in ids], tolerance=0.03).classes
        gaps.append(found[case.true_class] - sum(x * x for x in found.values()))
    assert abs(np.mean(gaps)) < 4 * 0.3 / math.sqrt(len(gaps))


# ---------------------------------------------------------------- convergence


@pytest.mark.parametrize("number", [0, 3, 12])
def test_twice_the_draws_change_nothing(number: int) -> None:
    p = playing_trucks(13)[number]
    case = make_case(p.truck, p.line_id, 31)
    readings = [case.read(i) for i in case.available() if not i.startswith(("plus", "chassis", "meaning"))][:4]
    one = judge(p.truck, p.line_id, readings, tolerance=0.003, most_draws=300_000)
    two = judge(p.truck, p.line_id, readings, tolerance=0.003 / 2**0.5, most_draws=600_000, seed=1)
    assert two.draws > one.draws or max(one.errors.values()) < 0.001
    for name, x in one.classes.items():
        assert x == pytest.approx(two.classes[name], abs=0.01), name


def test_finer_strata_change_nothing() -> None:
    p = playing_trucks(1)[0]
    case = make_case(p.truck, p.line_id, 31)
    readings = [case.read(i) for i in case.available() if i.startswith("ohms")]
    coarse = Oracle(p.truck, p.line_id, readings).judge(tolerance=0.003).classes
    fine = Oracle(p.truck, p.line_id, readings, decades=0.25).judge(tolerance=0.003).classes
    for name, x in coarse.items():
        assert x == pytest.approx(fine[name], abs=0.01), name


def test_share_that_can_be_told(capsys: pytest.CaptureFixture[str]) -> None:
    lines = playing_trucks(43)
    told = []
    for k in range(6):
        p = lines[(7 * k) % len(lines)]
        told.append(tellable(make_case(p.truck, p.line_id, 40 + k)))
    with capsys.disabled():
        print(f"\ntellable with all readings: {sum(told)} of {len(told)} cases")
    assert sum(told) >= 3


# ---------------------------------------------------------------- lines to play on


def test_lines_to_play_on_are_of_all_kinds_and_have_a_text() -> None:
    lines = playing_trucks(43)
    assert len({p.kind for p in lines}) == 43
    assert {p.truck.line(p.line_id).form for p in lines} == {"pull-up", "pull-down", "ladder", "divider", "elements"}
    for p in lines:
        file = tomllib.loads(p.text)
        assert "fixed = true" not in p.text
        assert p.line_id in [x["id"] for x in file["line"]]
        assert INVALID not in looks_of(p.truck, p.line_id).meanings
    assert VOLT_RANGE.full == 60
