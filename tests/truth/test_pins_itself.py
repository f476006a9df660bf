"""The simulated pins and bench against sums done by hand and worked examples of textbooks."""

from __future__ import annotations

import dataclasses
import itertools
import math
import random
import statistics
from typing import Any

import pytest

from tests.truth.pins import (
    METER_INPUT_OHM,
    NO_REPORT,
    NOISE_LIMIT,
    SETTLE_S,
    SUPPLIES_V,
    Bench,
    Branch,
    Controller,
    Meter,
    Part,
    Pin,
    Pot,
    in_parallel,
    in_series,
    make_bench,
    make_pin,
    mistyped,
    node_volts,
)

PLAIN: dict[str, Any] = {
    "pull_to": "reference",
    "reference_v": 5.0,
    "pull_drop_v": 0.0,
    "pull_up_ohm": 1000.0,
    "source_a": None,
    "pull_down_ohm": None,
    "leak_ohm": None,
    "leak_to": "ground",
    "clamp_kind": None,
    "strobe_duty": None,
    "key_only": False,
    "divides_by_supply": False,
    "sense_drop_v": 0.0,
    "full_scale_v": 5.0,
    "noise_ratio": 0.0,
    "debounce_samples": 3,
    "mature_samples": 20,
    "latches": False,
    "edges_up": (0.26, 0.51, 0.76),
    "edges_down": (0.24, 0.49, 0.74),
    "meanings": ("a", "b", "c", "d"),
}
EXACT_METER = Meter(50000, 0.0, 0, 0.0, 0, {})
EXACT_METER = dataclasses.replace(
    EXACT_METER, errors={(u, f): (0.0, 0.0) for u in ("V", "ohm") for f in EXACT_METER.full_scales(u)}
)
FINE_POT = Pot(10e3, 1.0, 10e3, 1.0, 0.0, 0.0)
PLAIN_BENCH: dict[str, Any] = {
    "meter": EXACT_METER,
    "pots": (FINE_POT,),
    "planted": False,
    "drift_v": 0.0,
    "offset_v": 0.0,
}


def pin(**forced: Any) -> Pin:
    """PLAIN with changes; new edges come without hysteresis unless told."""
    if "edges_up" in forced:
        forced.setdefault("edges_down", forced["edges_up"])
    return make_pin(0, **{**PLAIN, **forced})


def bench(of: Pin, **forced: Any) -> Bench:
    return make_bench(0, of, **{**PLAIN_BENCH, **forced})


def true_of_last(at: Bench) -> float:
    return at.log[-1].true


# ---------------------------------------------------------------- the pin as a circuit


@pytest.mark.parametrize(
    ("volts_1", "ohm_1", "volts_2", "ohm_2", "open_v", "ohm", "load_ohm", "load_a"),
    [
        # "Electrical Circuit Theory and Technology", ch. 13, problems 20 and the first half of 21 (seen: open copy of
        # the problems' numbers as a worked script): 12 V behind 3 ohm beside 24 V behind 2 ohm, loaded with 1.8 ohm;
        # 10 V behind 2 kohm beside 6 V behind 3 kohm give 7 mA short-circuit current and 1200 ohm
        (24.0, 2.0, 12.0, 3.0, 19.2, 1.2, 1.8, 6.4),
        (10.0, 2000.0, 6.0, 3000.0, 8.4, 1200.0, 0.0, 0.007),
    ],
)
def test_two_sources_make_one_thevenin_source(
    volts_1: float,
    ohm_1: float,
    volts_2: float,
    ohm_2: float,
    open_v: float,
    ohm: float,
    load_ohm: float,
    load_a: float,
) -> None:
    p = pin(reference_v=volts_1, pull_up_ohm=ohm_1, leak_to="battery", leak_ohm=ohm_2)
    assert p.thevenin(volts_2) == pytest.approx((open_v, ohm), rel=1e-12)
    assert p.pin_v(None, None, volts_2) == pytest.approx(open_v, rel=1e-12)
    if load_ohm:
        assert p.pin_v(load_ohm, "ground", volts_2) / load_ohm == pytest.approx(load_a, rel=1e-12)
    else:
        assert sum(b.current(0.0) for b in p.branches(volts_2)) == pytest.approx(load_a, rel=1e-12)


def test_current_source_beside_two_resistors() -> None:
    # "Electrical Engineering: Principles and Applications", example 2.17 (seen: open copy of question and answer): 20 V
    # behind 5 ohm, 20 ohm across, 2 A into the node: 4 ohm, 6 A short-circuit current, 24 V open
    branches = [Branch("resistor", 20, 5), Branch("resistor", 0, 20), Branch("source", 100, 1e-3, 2)]
    assert node_volts(branches) == pytest.approx(24, rel=1e-12)
    assert sum(b.current(0.0) for b in branches) == pytest.approx(6, rel=1e-12)
    assert node_volts([*branches, Branch("resistor", 0, 4)]) == pytest.approx(12, rel=1e-12)


def test_loaded_divider() -> None:
    # University Physics vol. 2 (open textbook), "Resistors in Series and Parallel", example "Combining Series and
    # Parallel Circuits": 12 V, 1 ohm, then 6 and 13 ohm side by side: 9.65 V, 0.742 A in the 13 ohm (seen: open copy)
    p = pin(reference_v=12, pull_up_ohm=1, pull_down_ohm=6)
    v = p.pin_v(13, "ground", 12.6)
    assert v == pytest.approx(9.65, abs=0.005)
    assert v / 13 == pytest.approx(0.742, abs=0.0005)
    open_v, ohm = p.thevenin(12.6)
    assert open_v * 13 / (13 + ohm) == pytest.approx(v, rel=1e-12)


def test_meter_loads_a_divider() -> None:
    # A university course's exercise (seen: open copy of a student's sums, so secondary): 6 V over 1 kohm and 2 kohm,
    # read across the 2 kohm with 1 Mohm, 10 kohm and 667 ohm meters: 3.997 V, 3.749 V, 2 V
    p = pin(reference_v=6, pull_up_ohm=1000, pull_down_ohm=2000)
    for meter_ohm, shown in ((1e6, 3.997), (10e3, 3.749), (667.0, 2.0)):
        assert p.pin_v(None, None, 12.6, meter_ohm=meter_ohm) == pytest.approx(shown, abs=0.0015)
    b = bench(p)
    b.volts()
    assert true_of_last(b) == pytest.approx(6 / (1 + 1000 * (1 / 2000 + 1 / METER_INPUT_OHM)), rel=1e-12)


def test_zener_clamp() -> None:
    # "Electrical Engineering: Principles and Applications", question 10.4 (seen: open copy of question and answer):
    # 24 V, 1.2 kohm, load 6 kohm: Thevenin 20 V and 1 kohm, the zener holds 10.0 V, the source gives 11.67 mA
    p = pin(reference_v=24, pull_up_ohm=1200, pull_down_ohm=6000, clamp_kind="zener", clamp_v=10, clamp_ohm=1e-6)
    assert p.thevenin(12.6) == pytest.approx((20, 1000), rel=1e-12)
    assert p.pin_v(None, None, 12.6) == pytest.approx(10.0, abs=1e-6)
    assert (24 - p.pin_v(None, None, 12.6)) / 1200 == pytest.approx(0.01167, abs=5e-6)
    assert not p.on_the_line(None, None, 12.6)
    # "Microelectronic Circuits", example 3.8 (seen: open copy of the numbers as a worked script): 10 V, 500 ohm, zener
    # of 6.7 V behind 20 ohm: 6.7 + 20 (10 - 6.7) / 520 V open; with 500 ohm across it does not conduct: 5 V
    p = pin(reference_v=10, pull_up_ohm=500, clamp_kind="zener", clamp_v=6.7, clamp_ohm=20)
    assert p.pin_v(None, None, 12.6) == pytest.approx(6.7 + 20 * 3.3 / 520, rel=1e-12)
    assert p.pin_v(500, "ground", 12.6) == pytest.approx(5.0, rel=1e-12)
    assert p.on_the_line(500, "ground", 12.6)


def test_diode_clamp_holds_a_pin_that_is_pulled_to_the_battery() -> None:
    p = make_pin(1, pull_to="battery", pull_drop_v=0.6, pull_up_ohm=1000, pull_down_ohm=None, clamp_kind="diode",
                 clamp_ohm=100, leak_ohm=None, strobe_duty=None, key_only=False)  # fmt: skip
    # 12 V behind 1000 ohm into 5.6 V behind 100 ohm
    assert p.pin_v(None, None, 12.6) == pytest.approx(5.6 + 100 * 6.4 / 1100, rel=1e-12)
    # a load that would bring 4 V without the clamp
    assert p.pin_v(500, "ground", 12.6) == pytest.approx(4, rel=1e-12)
    # three loads: the first two lie on one straight line v = open - ohm * current, the open pin lies below it
    (v1, r1), (v2, r2) = ((p.pin_v(r, "ground", 12.6), r) for r in (500, 250))
    ohm = (v1 - v2) / (v2 / r2 - v1 / r1)
    assert (ohm, v1 + ohm * v1 / r1) == pytest.approx((1000, 12), rel=1e-9)
    assert p.pin_v(None, None, 12.6) < 12 - 5


def test_current_source_follows_ohms_law_until_its_rail() -> None:
    p = pin(pull_up_ohm=None, source_a=0.002, source_knee_ohm=100)
    assert p.pin_v(700, "ground", 12.6) == pytest.approx(1.4, rel=1e-12)
    assert p.pin_v(2000, "ground", 12.6) == pytest.approx(4.0, rel=1e-12)
    assert p.pin_v(4900, "ground", 12.6) == pytest.approx(5 * 4900 / 5000, rel=1e-12)  # inside the knee
    assert p.pin_v(None, None, 12.6) == 5.0
    assert p.pin_v(1000, "supply", 12.6) == 12.6  # it takes nothing
    assert not p.on_the_line(700, "ground", 12.6)
    with pytest.raises(ValueError, match="current source"):
        p.thevenin(12.6)
    # edges 0.26, 0.51, 0.76 of 5 V at 2 mA
    assert p.edge_ohms("up", 12.6, "ground") == pytest.approx((650, 1275, 1900), rel=1e-12)
    # pinned down: 2 mA into 1000 beside 1000 ohm
    assert pin(pull_up_ohm=None, source_a=0.002, pull_down_ohm=1000).pin_v(1000, "ground", 12.6) == pytest.approx(1)


def test_two_load_rule_finds_the_thevenin_source_of_every_straight_pin() -> None:
    tried = 0
    for seed in range(300):
        p = make_pin(seed)
        to = "ground" if p.pull_to else "supply"
        supply_v = SUPPLIES_V[seed % 3]
        far_v = 0.0 if to == "ground" else supply_v
        (v1, r1), (v2, r2) = ((p.pin_v(r, to, supply_v), r) for r in (2000.0, 500.0))
        if not p.on_the_line(r1, to, supply_v) or not p.on_the_line(r2, to, supply_v):
            continue
        tried += 1
        i1, i2 = (v1 - far_v) / r1, (v2 - far_v) / r2  # out of the pin
        ohm = (v1 - v2) / (i2 - i1)
        assert (v1 + ohm * i1, ohm) == pytest.approx(p.thevenin(supply_v), rel=1e-7, abs=1e-9)
    assert tried > 150


def test_regulated_and_battery_pulls_over_three_supplies() -> None:
    regulated, battery = pin(), pin(pull_to="battery", pull_drop_v=0.7)
    assert [regulated.thevenin(v)[0] for v in SUPPLIES_V] == [5, 5, 5]
    assert [battery.thevenin(v)[0] for v in SUPPLIES_V] == pytest.approx([10.3, 11.9, 13.7], rel=1e-12)


def test_ground_and_supply_mirror_each_other() -> None:
    # turned upside down, a pull-up with its load to ground is a pull-down with its load to the supply
    shape = {"divides_by_supply": True, "leak_ohm": None, "clamp_kind": None}
    up = pin(pull_to="battery", pull_up_ohm=1500.0, **shape)
    down = pin(pull_to=None, pull_up_ohm=None, pull_down_ohm=1500.0, **shape)
    for supply_v, ohm in itertools.product(SUPPLIES_V, (0.0, 10.0, 680.0, 1500.0, 47e3, math.inf)):
        assert up.reading(ohm, "ground", supply_v) + down.reading(ohm, "supply", supply_v) == pytest.approx(
            1, abs=1e-12
        )
    mirrored = dataclasses.replace(
        down,
        edges_up=tuple(1 - e for e in reversed(up.edges_down)),
        edges_down=tuple(1 - e for e in reversed(up.edges_up)),
    )
    assert up.edge_ohms("up", 12.6, "ground") == pytest.approx(
        tuple(reversed(mirrored.edge_ohms("down", 12.6, "supply"))), rel=1e-9
    )
    assert up.edge_ohms("up", 12.6, "supply") == (None,) * 3
    assert mirrored.edge_ohms("up", 12.6, "ground") == (None,) * 3


def test_reading_is_clipped_and_divides_by_what_the_controller_sees() -> None:
    p = pin(pull_to="battery", divides_by_supply=True, sense_drop_v=0.6)
    assert p.reading(1000, "ground", 12.6) == pytest.approx(6.3 / 12.0, rel=1e-12)
    assert p.reading(None, None, 12.6) == 1.0
    assert pin(full_scale_v=10.0).reading(None, None, 12.6) == 0.5
    assert pin().reading(0.0, "ground", 12.6) == 0.0


def test_wrong_loads_are_refused() -> None:
    with pytest.raises(ValueError, match="other end"):
        pin().pin_v(1000, None, 12.6)
    with pytest.raises(ValueError, match="0 or more"):
        pin().pin_v(-1, "ground", 12.6)
    with pytest.raises(ValueError, match='"ground"'):
        pin().pin_v(1000, "chassis", 12.6)
    with pytest.raises(ValueError, match="two different"):
        node_volts([Branch("resistor", 0, 0), Branch("resistor", 5, 0)])


# ---------------------------------------------------------------- strobe


@pytest.mark.parametrize(
    ("high_v", "low_v", "duty", "mean_v", "ac_v"),
    [
        # "Introductory Circuit Analysis", average value of a pulse waveform, example 1 (seen: open copy)
        (0.008, 0.002, 0.4, 0.0044, 0.006 * math.sqrt(0.24)),
        # a public question with its answer (seen: open copy): base 20 V, 50 V peak to peak, 20 %: 30 V. By hand: mean
        # square 0.2 * 70^2 + 0.8 * 20^2 = 1300, less 30^2, leaves 20^2
        (70.0, 20.0, 0.2, 30.0, 20.0),
    ],
)
def test_meter_shows_the_average_of_a_strobe(
    high_v: float, low_v: float, duty: float, mean_v: float, ac_v: float
) -> None:
    # two equal resistors: the battery's holds the low level, the strobed one lifts the pin to the high level
    p = pin(reference_v=2 * high_v - low_v, pull_up_ohm=10, leak_to="battery", leak_ohm=10, strobe_duty=duty)
    b = bench(p)
    b.volts(supply_v=low_v)
    assert true_of_last(b) == pytest.approx(mean_v, rel=2e-6)
    b.ac_volts(supply_v=low_v)
    assert true_of_last(b) == pytest.approx(ac_v, rel=2e-6)


def test_strobed_pull_alone_looks_like_a_lower_reference() -> None:
    strobed, steady = pin(strobe_duty=0.3), pin(reference_v=1.5)
    a, b = bench(strobed), bench(steady)
    for ohm in (None, 4700.0, 1000.0, 220.0):
        to = None if ohm is None else "ground"
        a.volts(ohm, to)
        b.volts(ohm, to)
        assert true_of_last(a) == pytest.approx(true_of_last(b), rel=1e-12)
    a.ac_volts()
    b.ac_volts()
    assert (true_of_last(a), true_of_last(b)) == (pytest.approx(5 * math.sqrt(0.21), rel=1e-3), 0)
    a = bench(pin(pull_up_ohm=None, source_a=0.002, strobe_duty=0.3))
    a.volts(1000.0, "ground")
    assert true_of_last(a) == pytest.approx(0.6, rel=1e-3)
    # the controller looks while the pull is on
    assert strobed.reading(1000, "ground", 12.6) == 0.5
    assert strobed.edge_ohms("up", 12.6, "ground") == pin().edge_ohms("up", 12.6, "ground")


# ---------------------------------------------------------------- edges and memory


def test_edge_ohms_by_hand() -> None:
    # r = R / (R + 1000): R = 1000 r / (1 - r)
    assert pin().edge_ohms("up", 12.6, "ground") == pytest.approx((26 / 74e-3, 51 / 49e-3, 76 / 24e-3), rel=1e-12)
    assert pin().edge_ohms("down", 12.6, "ground") == pytest.approx((24 / 76e-3, 49 / 51e-3, 74 / 26e-3), rel=1e-12)
    # midway pulled: 5 V, 1000 and 1000 ohm; 0.74 of 5 V is 3.7 V: 2.4 mA must come from 12.6 V
    both = pin(pull_down_ohm=1000)
    assert both.edge_ohms("down", 12.6, "ground")[2] is None
    assert both.edge_ohms("down", 12.6, "supply") == (None, None, pytest.approx(8.9 / 0.0024, rel=1e-12))
    with pytest.raises(ValueError, match='"up" or "down"'):
        pin().edges_ratio("left")


def test_meaning_flips_exactly_at_the_edge_ohms() -> None:
    reached = unreached = bent = 0
    for seed in range(250):
        p = make_pin(seed)
        supply_v = SUPPLIES_V[seed % 3]
        for to, direction in itertools.product(("ground", "supply"), ("up", "down")):
            more = 1 + 1e-6 if to == "ground" else 1 - 1e-6  # the way that raises the reading
            for k, ohm in enumerate(p.edge_ohms(direction, supply_v, to)):
                edge = p.edges_ratio(direction)[k]
                if ohm is None:
                    ends = {p.reading(x, to, supply_v) >= edge for x in (0.0, 1e-6, 1e9)}
                    assert len(ends) == 1, (seed, to, direction, k)
                    unreached += 1
                    continue
                assert p.reading(ohm, to, supply_v) == pytest.approx(edge, abs=1e-9)
                before = k if direction == "up" else k + 1
                if before in p.fault_cells and p.latches:
                    continue
                above, below = (p.meaning_at(ohm * x, before, to, supply_v) for x in (more, 2 - more))
                assert (above, below) == (p.meanings[k + 1], p.meanings[k]), (seed, to, direction, k)
                reached += 1
                bent += not p.on_the_line(ohm, to, supply_v)
    assert min(reached, unreached, bent) > 50


def test_going_up_flips_later_than_going_down() -> None:
    p = pin()
    assert [p.cell_after(x, 0) for x in (0.25, 0.2599, 0.26, 0.5, 0.76)] == [0, 0, 1, 1, 3]
    assert [p.cell_after(x, 3) for x in (0.75, 0.74, 0.7399, 0.5, 0.2399)] == [3, 3, 2, 2, 0]
    assert [p.cell_after(x, None) for x in (0.249, 0.251, 0.499, 0.501)] == [0, 1, 1, 2]
    for seed in range(200):
        p = make_pin(seed)
        up, down = p.edges_ratio("up"), p.edges_ratio("down")
        assert all(u >= d for u, d in zip(up, down, strict=True))
        assert ("no hysteresis" in p.behaviours) == (up == down)
        for u_ohm, d_ohm in zip(p.edge_ohms("up", 12.6, "ground"), p.edge_ohms("down", 12.6, "ground"), strict=True):
            if u_ohm is not None and d_ohm is not None:
                assert u_ohm >= d_ohm


def test_meaning_before_decides_within_the_hysteresis() -> None:
    p = pin()
    assert p.meaning_at(1000, 1) == "b"
    assert p.meaning_at(1000, 2) == "c"
    assert (p.meaning_at(1000, "b"), p.meaning_at(1000, "a")) == ("b", "b")
    assert (p.meaning_at(1000, "c"), p.meaning_at(1000, "d")) == ("c", "c")
    twice = dataclasses.replace(p, meanings=("a", "b", "c", "b"))
    assert twice.meaning_at(999, "b") == "b"  # the nearer one is the one below
    assert twice.meaning_at(999, 3) == "c"
    assert twice.meaning_at(None, "b", None) == "b"
    with pytest.raises(ValueError, match="none of the pin's meanings"):
        p.meaning_at(1000, "x")


def test_bench_remembers_what_was_before_until_the_key_is_cycled() -> None:
    b = bench(pin())
    assert b.meaning(500.0) == "b"
    assert b.meaning(1000.0) == "b"  # 0.5, from below
    assert b.meaning(2000.0) == "c"
    assert b.meaning(1000.0) == "c"  # 0.5, from above
    b = bench(pin(edges_up=(0.52,), edges_down=(0.4,), meanings=("a", "b")))
    assert (b.meaning(100.0), b.meaning(1000.0)) == ("a", "a")
    b.key_cycle()
    assert b.meaning(1000.0) == "b"  # fresh: the edge lies midway, at 0.46


FAULTS: dict[str, Any] = {
    "edges_up": (0.04, 0.5, 0.96),
    "edges_down": (0.03, 0.48, 0.95),
    "meanings": ("shorted", "a", "b", "open"),
}


def test_fault_latches_until_key_cycle() -> None:
    for latches, after in ((True, "open"), (False, "b")):
        b = bench(pin(latches=latches, **FAULTS))
        assert [b.meaning(500.0), b.meaning(None), b.meaning(2000.0)] == ["a", "open", after]
        b.key_cycle()
        assert b.meaning(2000.0) == "b"
    p = pin(latches=True, **FAULTS)
    assert (p.meaning_at(2000, "open"), p.meaning_at(2000, 0), p.meaning_at(2000, "a")) == ("open", "shorted", "b")
    assert p.behaviours >= {"fault bands", "latching faults"}
    assert "latching faults" not in pin(latches=True).behaviours


def test_changing_parts_with_the_key_on_can_latch_the_open_band() -> None:
    p = pin(latches=True, **FAULTS)
    assert [bench(p, break_before_make=False).meaning(r) for r in (500.0, 2000.0)] == ["a", "b"]
    assert bench(p, break_before_make=True).meaning(500.0) == "open"
    assert bench(pin(latches=False, **FAULTS), break_before_make=True).meaning(500.0) == "a"


def test_debounce_and_fault_maturing_count_equal_samples() -> None:
    c = Controller(pin(debounce_samples=3, mature_samples=5, **FAULTS), random.Random(1))
    assert c.settle(0.2, SETTLE_S) == "a"

    def after(*readings: float) -> int | None:
        for x in readings:
            c.sample(x)
        return c.cell

    assert after(0.7, 0.99, 0.7, 0.2) == 1  # unequal
    assert after(0.7, 0.7) == 1
    assert after(0.2, 0.7, 0.7) == 1  # interrupted
    assert after(0.7) == 2
    assert after(*[0.99] * 4) == 2
    assert after(0.99) == 3
    assert after(*[0.2] * 3) == 1
    assert c.settle(0.7, 2 * c.pin.sample_s) == "a"
    assert c.settle(0.7, c.pin.sample_s) == "b"


def test_key_off_takes_the_pull_away_where_it_is_fed_by_the_key() -> None:
    for key_only, off_v in ((True, 0.0), (False, 2.5)):
        b = bench(pin(key_only=key_only, pull_down_ohm=1000))
        b.key(False)
        b.volts()
        assert true_of_last(b) == pytest.approx(off_v, abs=1e-3)
        assert b.meaning(1000.0) == NO_REPORT
        b.key(True)
        b.volts()
        assert true_of_last(b) == pytest.approx(2.5, abs=1e-3)
        assert b.meaning(1000.0) == "b"  # 5 V, 1000 ohm over 500 ohm
    b = bench(pin(key_only=True))
    b.key(False)
    b.volts()
    assert true_of_last(b) == 0
    # a diode to the dead rail: 12.6 V behind 1200 ohm into 0.6 V
    b = bench(pin(key_only=True, clamp_kind="diode", clamp_ohm=0.001))
    b.key(False)
    b.volts(1200.0, "supply")
    assert true_of_last(b) == pytest.approx(0.6, abs=1e-4)


# ---------------------------------------------------------------- noise


def test_noise_is_as_wide_as_it_says_and_bounded() -> None:
    c = Controller(pin(noise_ratio=0.01), random.Random(3))
    drawn = [c.noise() for _ in range(100_000)]  # about six of them would lie beyond the bound
    assert statistics.pstdev(drawn) == pytest.approx(0.01, rel=0.03)
    assert abs(statistics.fmean(drawn)) < 0.0003
    assert max(map(abs, drawn)) <= NOISE_LIMIT * 0.01


def test_settling_early_skips_nothing_that_noise_could_do() -> None:
    # within reach of the noise the meaning may flip, beyond it cannot
    one_edge: dict[str, Any] = {"edges_up": (0.5,), "meanings": ("a", "b"), "debounce_samples": 1}
    c = Controller(pin(noise_ratio=0.005, **one_edge), random.Random(5))
    seen = {c.settle(0.498, SETTLE_S) for _ in range(30)}
    assert seen == {"a", "b"}
    c.reset()
    assert {c.settle(0.5 - 0.0201, SETTLE_S) for _ in range(50)} == {"a"}


def test_noise_without_hysteresis_chatters_on_a_turn() -> None:
    one_edge: dict[str, Any] = {"edges_up": (0.5,), "meanings": ("a", "b"), "debounce_samples": 1}
    quiet = bench(pin(**one_edge)).turn_pot(500, 2000)
    noisy = bench(pin(noise_ratio=0.003, **one_edge)).turn_pot(500, 2000)
    firm = bench(pin(noise_ratio=0.003, **{**one_edge, "edges_up": (0.53,), "edges_down": (0.47,)})).turn_pot(500, 2000)
    assert len(quiet) == 1
    assert len(noisy) > 2
    assert [f[1:] for f in firm] == [("a", "b")]
    assert all(abs(f.ohm / (f.ohm + 1000) - 0.5) < NOISE_LIMIT * 0.003 + 0.001 for f in noisy)


# ---------------------------------------------------------------- the turn of the pot


def test_turn_finds_each_edge_within_one_step() -> None:
    b = bench(pin())
    up, down = b.turn_pot(10, 9000), b.turn_pot(9000, 10)
    assert [f[1:] for f in up] == [("a", "b"), ("b", "c"), ("c", "d")]
    assert [f[1:] for f in down] == [("d", "c"), ("c", "b"), ("b", "a")]
    for flip, edge in zip(up, pin().edge_ohms("up", 12.6, "ground"), strict=True):
        assert edge is not None
        assert edge <= flip.ohm <= edge + 1.01
    for flip, edge in zip(reversed(down), pin().edge_ohms("down", 12.6, "ground"), strict=True):
        assert edge is not None
        assert edge - 1.01 <= flip.ohm <= edge
    assert b.counters.turns == 2
    assert b.counters.measurements == 6
    assert b.counters.readings == 0


def test_turn_to_the_supply_runs_through_the_meanings_the_other_way() -> None:
    p = pin(pull_to=None, pull_up_ohm=None, pull_down_ohm=1000, full_scale_v=12.6)
    flips = bench(p).turn_pot(10, 9000, to="supply")
    assert [f[1:] for f in flips] == [("d", "c"), ("c", "b"), ("b", "a")]
    for flip, edge in zip(flips, reversed(p.edge_ohms("down", 12.6, "supply")), strict=True):
        assert edge is not None
        assert edge <= flip.ohm <= edge + 1.01


def test_hand_is_late_and_the_pot_ends_at_its_stops() -> None:
    late = dataclasses.replace(FINE_POT, step_ohm=20.0, overshoot_steps=3.0)
    lags = []
    for seed in range(20):
        for start, goal, direction in ((300, 3500, "up"), (3500, 300, "down")):
            b = make_bench(seed, pin(), **{**PLAIN_BENCH, "pots": (late,)})
            flips = b.turn_pot(start, goal)
            edges = [e for e in pin().edge_ohms(direction, 12.6, "ground") if e is not None and e > 300]
            for flip, edge in zip(flips, edges if direction == "up" else reversed(edges), strict=True):
                lags.append((flip.ohm - edge) * (1 if direction == "up" else -1))
    assert 0 <= min(lags) < 15
    assert 65 < max(lags) <= 4 * 20 + 0.1
    short = Pot(1000, 400.0, 1000.0, 1.0, 0.0, 0.0)
    b = bench(pin(), pots=(short,))
    # 400 to 1000 ohm reads 0.286 to 0.5: no edge going up, the first flip would come at 1041
    assert b.turn_pot(0, 5000) == []
    assert b.meaning(1000.0) == "b"
    b = bench(pin(), pots=(short, FINE_POT))
    assert (b.pot_for(10, 900), b.pot_for(900, 10), b.pot_for(10, 1001)) == (short, short, FINE_POT)
    assert b.pot_for(0, 1e6) == FINE_POT
    shaky = dataclasses.replace(FINE_POT, step_ohm=20.0, repeat_ohm=5.0)
    spread = [make_bench(s, pin(), **{**PLAIN_BENCH, "pots": (shaky,)}).turn_pot(800, 1200)[0].ohm for s in range(40)]
    assert min(spread) < 51 / 49e-3 - 1  # moved back below the edge while it was taken off
    assert max(spread) < 51 / 49e-3 + 20 + 4 * 5


def test_a_resistor_in_series_is_measured_with_the_pot() -> None:
    fixed = Part("fixed", 500.0, 0.01, 505.0)
    b = bench(pin())
    (flip,) = b.turn_pot(10, 900, series=fixed)
    assert flip[1:] == ("b", "c")
    assert flip.ohm == pytest.approx(510 / 0.49, abs=1.1)
    assert b.log[-1].unit == "ohm"


def test_turn_with_latching_faults() -> None:
    p = pin(latches=True, **FAULTS)
    b = bench(p, pots=(dataclasses.replace(FINE_POT, marked_ohm=50e3, high_stop_ohm=50e3, step_ohm=10.0),))
    out = b.turn_pot(300, 40000)
    assert [f[1:] for f in out] == [("a", "b"), ("b", "open")]
    assert b.turn_pot(40000, 300) == []  # latched
    b.key_cycle()
    # the key is off while the pot is measured, so nothing latches on the way; but it starts inside the band
    assert b.turn_pot(40000, 300) == []
    b.key_cycle()
    assert [f[1:] for f in b.turn_pot(15000, 300)] == [("b", "a")]
    b.key_cycle()
    # with the key on the first disconnect is an open pin
    assert [f[1:] for f in b.turn_pot(300, 40000, key_off_to_measure=False)] == [("a", "b")]
    assert b.meaning(500.0) == "open"
    heals = bench(pin(latches=False, **FAULTS), pots=b.pots)
    assert [f[1:] for f in heals.turn_pot(40000, 300)] == [("open", "b"), ("b", "a")]


def test_turns_of_random_pins_stay_near_the_true_edges() -> None:
    seen = 0
    for seed in range(60):
        p = make_pin(seed, noise_ratio=0.0)
        b = make_bench(seed, p, drift_v=0.0, offset_v=0.0)
        to = "ground" if p.pull_to else "supply"
        pot = b.pot_for(100, 9000)
        slack = (1 + pot.overshoot_steps) * pot.step_ohm + 5 * pot.repeat_ohm
        for start, goal in ((100, 9000), (9000, 100)):
            b.key_cycle()
            rising = (goal > start) == (to == "ground")
            edges = [e for e in p.edge_ohms("up" if rising else "down", 12.6, to) if e is not None]
            for flip in b.turn_pot(start, goal, to):
                near = min(edges, key=lambda e: abs(e - flip.ohm))
                assert abs(flip.ohm - near) <= slack + b.meter.bound(flip.ohm, "ohm"), seed
                assert {flip.meaning_before, flip.meaning_after} <= set(p.meanings)
                seen += 1
    assert seen > 100


# ---------------------------------------------------------------- meter, supply, parts


def test_specification_of_a_meter_in_volts() -> None:
    # A university laboratory's page on a meter's uncertainty (seen: open copy): 32.00 V on a range that shows 0.01 V,
    # 2.5 % + 3 digits: 0.80 + 0.03 = 0.83 V
    m = Meter(4000, 0.025, 3, 0.0, 0, {})
    assert m.full_scales("V") == pytest.approx([0.4, 4, 40])
    assert m.bound(32.00, "V") == pytest.approx(0.83)


def test_meter_shows_gain_offset_and_digits_of_the_range_it_is_in() -> None:
    m = dataclasses.replace(EXACT_METER, counts=6000, errors={})
    scales = m.full_scales("V")
    assert scales == pytest.approx([0.6, 6, 60])
    m = dataclasses.replace(m, errors=dict(zip((("V", f) for f in scales), ((0, 0), (0.01, 0), (0, 5)), strict=True)))
    rng = random.Random(2)
    assert m.show(0.5, "V", rng) == (pytest.approx(0.5, abs=1.01e-4), pytest.approx(1e-4))
    assert {m.show(2.0, "V", rng)[0] for _ in range(50)} == {2.02}  # the noise stays within the last digit
    assert {m.show(2.0005, "V", rng)[0] for _ in range(50)} == {2.02, 2.021}
    assert m.show(5.95, "V", rng)[0] == 6.0 or m.show(5.95, "V", rng)[1] == pytest.approx(0.01)  # next range up
    assert m.show(20.0, "V", rng)[0] == 20.05
    assert m.show(61.0, "V", rng) == (math.inf, 0.0)


def test_meters_keep_within_their_specification_and_use_it() -> None:
    worst = 0.0
    for seed in range(150):
        m = make_bench(seed, pin()).meter
        rng = random.Random(seed)
        for unit, low, high in (("V", 0.01, 14.0), ("ohm", 50.0, 1e6)):
            for _ in range(20):
                true = math.exp(rng.uniform(math.log(low), math.log(high)))
                shown, _ = m.show(true, unit, rng)
                used = abs(shown - true) / m.bound(shown, unit)
                assert used <= 1 + 1e-9
                worst = max(worst, used)
    assert worst > 0.9


def test_gain_error_is_the_same_all_session_and_cancels_in_a_ratio_within_one_range() -> None:
    m = dataclasses.replace(EXACT_METER, errors=dict.fromkeys(EXACT_METER.errors, (0.004, 0.0)))
    b = bench(pin(), meter=m)
    ratios = {round(b.volts(1000.0, "ground") / b.volts(3000.0, "ground"), 4) for _ in range(20)}
    assert ratios <= {0.6666, 0.6667, 0.6668}
    assert b.volts(1000.0, "ground") == pytest.approx(2.51, abs=0.001)
    one, other = make_bench(1, pin()).meter, make_bench(2, pin()).meter
    assert one.errors != other.errors


def test_supply_is_set_nearly_and_drifts_within_bounds() -> None:
    b = bench(pin(pull_to="battery"), drift_v=0.005, offset_v=0.05)
    for set_v in SUPPLIES_V:
        seen = []
        for _ in range(100):
            shown = b.supply_volts(set_v)
            seen.append(b.true_supply_v)
            assert shown == pytest.approx(b.true_supply_v, abs=0.001)
        assert max(abs(v - set_v) for v in seen) <= 0.1 + 1e-12
        assert max(seen) - min(seen) > 0.005
        assert abs(seen[1] - seen[0]) < 0.03
    b.volts(1000.0, "ground")
    assert true_of_last(b) == pytest.approx(b.true_supply_v / 2, rel=1e-3)
    steady = bench(pin())
    assert [steady.supply_volts(v) for v in SUPPLIES_V] == list(SUPPLIES_V)


def test_pairs_of_resistors() -> None:
    a, b, c = (Part(n, marked, tol, true) for n, marked, tol, true in
               (("a", 1.0, 0.01, 1.01), ("b", 2.0, 0.05, 2.0), ("c", 2.0, 0.02, 1.98)))  # fmt: skip
    # University Physics vol. 2 (open textbook), "Resistors in Series and Parallel" (seen: open copy): 1, 2 and 2 ohm
    # side by side make 0.50 ohm; 20, 20, 20, 20 and 10 ohm in a row make 90 ohm
    assert in_parallel(in_parallel(a, b), c).marked_ohm == pytest.approx(0.5)
    row = [Part("x", ohm, 0.01, ohm) for ohm in (20.0, 20.0, 20.0, 20.0, 10.0)]
    total = row[0]
    for part in row[1:]:
        total = in_series(total, part)
    assert (total.marked_ohm, total.true_ohm) == (90, 90)
    pair = in_series(a, b)
    assert (pair.marked_ohm, pair.tolerance, pair.true_ohm) == (3.0, 0.05, pytest.approx(3.01))
    assert in_parallel(a, c).true_ohm == pytest.approx(1.01 * 1.98 / 2.99)
    at = bench(pin())
    pairs = list(at.pairs())
    assert len(pairs) == len(at.stock) * (len(at.stock) - 1)
    assert any(p.marked_ohm == pytest.approx(220 + 330) for p in pairs)
    assert any(p.marked_ohm == pytest.approx(220 * 330 / 550) for p in pairs)


def test_stock_is_e12_within_tolerance_but_for_the_planted_one() -> None:
    factors = []
    for seed in range(120):
        b = make_bench(seed, pin(), planted=seed % 2 == 0)
        assert [p.marked_ohm for p in b.stock[:13]] == [
            100,
            120,
            150,
            180,
            220,
            270,
            330,
            390,
            470,
            560,
            680,
            820,
            1000,
        ]
        assert (len(b.stock), b.stock[-1].marked_ohm) == (37, 100e3)
        off = [p for p in b.stock if abs(p.true_ohm / p.marked_ohm - 1) > p.tolerance]
        assert off == ([] if b.planted_part is None else [b.planted_part])
        assert (b.planted_part is None) == (seed % 2 == 1)
        factors += [p.true_ohm / p.marked_ohm - 1 for p in b.stock if p.tolerance == 0.05 and p not in off]
    assert min(factors) < -0.045
    assert max(factors) > 0.045


def test_ohms_of_a_part_are_its_true_ohms_with_the_leads() -> None:
    part = Part("x", 1000.0, 0.01, 1004.0)
    assert bench(pin()).ohms(part) == 1004.0
    assert bench(pin(), lead_ohm=0.5).ohms(part) == 1004.5
    b = bench(pin())
    assert b.ohms(1e9) == math.inf
    b.volts(part, "ground")
    assert true_of_last(b) == pytest.approx(5 * 1004 / 2004, rel=1e-3)


def test_one_reading_is_mistyped_when_asked() -> None:
    for seed in range(80):
        b = make_bench(seed, pin(), wrong_entry_at=4)
        for part in b.stock[5:15]:
            b.volts(part, "ground")
            b.ohms(part)
        wrong = [k for k, e in enumerate(b.log) if e.typed != e.shown]
        assert wrong == [4]
        assert b.wrong_entry == b.log[4]
        assert b.log[4].shown == pytest.approx(b.log[4].true, rel=0.02)
    clean = bench(pin())
    assert all(clean.volts(p, "ground") == clean.log[-1].shown for p in clean.stock)
    assert clean.wrong_entry is None


def test_how_numbers_are_mistyped() -> None:
    rng = random.Random(8)
    seen = {mistyped(4.82, 0.01, rng) for _ in range(200)}
    assert seen == {4.28, 0.482, 48.2, 4820.0}  # 4.82: the point is no digit, so only 8 and 2 can swap
    assert {mistyped(4700, 1, rng) for _ in range(200)} == {7400, 4070, 470, 47000, 4.7}
    assert (mistyped(0.0, 0.01, rng), mistyped(math.inf, 0.0, rng)) == (0.0, math.inf)
    assert {mistyped(5.55, 0.01, rng) for _ in range(200)} == {0.555, 55.5, 5550.0}


def test_counters() -> None:
    b = bench(pin())
    b.volts()
    b.ac_volts()
    b.supply_volts()
    b.ohms(b.stock[0])
    b.meaning(b.stock[0])
    b.meaning(None)
    flips = b.turn_pot(10, 9000)
    c = b.counters
    assert (c.readings, c.measurements, c.meanings, c.turns) == (3, 1 + len(flips), 2, 1)
    assert len(b.log) == c.readings + c.measurements


# ---------------------------------------------------------------- drawing


@pytest.mark.parametrize("seed", range(20))
def test_same_seed_same_pin_and_same_readings(seed: int) -> None:
    p = make_pin(seed)
    assert p == make_pin(seed)
    assert p != make_pin(seed + 1)
    a, b = make_bench(seed, p), make_bench(seed, p)
    assert [a.volts(r, "ground") for r in a.stock[:8]] == [b.volts(r, "ground") for r in b.stock[:8]]
    assert a.turn_pot(100, 3000) == b.turn_pot(100, 3000)


def test_forcing_one_thing_leaves_the_others() -> None:
    for seed in range(50):
        drawn = make_pin(seed)
        for change in ({"noise_ratio": 0.5}, {"latches": True}, {"debounce_samples": 9}, {"sample_s": 0.01}):
            forced_field: dict[str, Any] = dict(change)
            assert make_pin(seed, **forced_field) == dataclasses.replace(drawn, **forced_field)
        bare = make_bench(seed, drawn)
        forced = make_bench(seed, drawn, offset_v=0.0)
        assert (bare.stock, bare.meter, bare.pots, bare.drift_v) == (
            forced.stock, forced.meter, forced.pots, forced.drift_v
        )  # fmt: skip
    with pytest.raises(TypeError, match="cannot force pull_ohm"):
        make_pin(1, pull_ohm=1000)
    with pytest.raises(TypeError, match="cannot force wrong_entry"):
        make_bench(1, pin(), wrong_entry=True)


def test_any_behaviour_can_be_forced_on_any_seed() -> None:
    for seed in range(60):
        assert "current source" in make_pin(seed, source_a=0.001).behaviours
        assert "strobed" in make_pin(seed, strobe_duty=0.1).behaviours
        assert "battery pull-up" in make_pin(seed, pull_to="battery", source_a=None).behaviours
        assert make_pin(seed, pull_up_ohm=1234.0).pull_up_ohm == 1234.0
        none = make_pin(seed, pull_to=None)
        assert "pull-down" in none.behaviours
        assert (none.pull_up_ohm, none.source_a, none.strobe_duty) == (None, None, None)
        for n in (0, 1, 2, 15):
            assert len(make_pin(seed, n_edges=n).edges_up) == n
        alone = make_pin(seed, edges_up=(0.3, 0.6))
        assert "no hysteresis" in alone.behaviours
        assert len(alone.meanings) == 3
    with pytest.raises(ValueError, match="room for 15"):
        make_pin(1, n_edges=16)


def test_pins_that_cannot_be_are_refused() -> None:
    for wrong, match in (
        ({"pull_to": None}, "without a pull"),
        ({"source_a": 0.001}, "both a pull-up"),
        ({"edges_down": (0.2, 0.4)}, "differ in number"),
        ({"meanings": ("a", "b")}, "one meaning per cell"),
        ({"edges_down": (0.24, 0.52, 0.74)}, "higher going down"),
        ({"edges_down": (0.24, 0.25, 0.74)}, "overlap"),
        ({"pull_to": None, "pull_up_ohm": None, "strobe_duty": 0.1}, "nothing to strobe"),
        ({"pull_to": None, "pull_up_ohm": None}, "nothing holds"),
    ):
        with pytest.raises(ValueError, match=match):
            dataclasses.replace(pin(), **wrong)


def test_random_pins_are_varied_and_can_be_learnt() -> None:
    pins = [make_pin(seed) for seed in range(600)]
    counts: dict[str, int] = {}
    for p in pins:
        for name in p.behaviours:
            counts[name] = counts.get(name, 0) + 1
    assert set(counts) == {
        "reference pull-up", "battery pull-up", "current source", "pull-down", "leak to ground", "leak to battery",
        "diode clamp", "zener clamp", "strobed", "key only", "divides by supply", "sense drop", "fault bands",
        "latching faults", "repeated meaning", "no hysteresis", "noise",
    }  # fmt: skip
    assert min(counts.values()) >= 12
    assert {len(p.edges_up) for p in pins} == set(range(1, 9))
    assert any("repeated meaning" in p.behaviours for p in pins if len(p.edges_up) <= 4)
    for p in pins:
        assert all(a != b for a, b in itertools.pairwise(p.meanings))
        assert all(0 < e < 1 for e in p.edges_up + p.edges_down)
        assert all(d - u > 0.02 for u, d in zip(p.edges_up, p.edges_down[1:], strict=False))
        assert all(p.meanings[c] in ("shorted", "open") for c in p.fault_cells)
        loads = [*p.edge_ohms("up", 12.6, "ground"), *p.edge_ohms("up", 12.6, "supply")]
        assert any(ohm is not None and 20 <= ohm <= 200e3 for ohm in loads), p.seed
