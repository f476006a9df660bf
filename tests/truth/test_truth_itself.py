"""The checker against sums done by hand (Ohm's law, Kirchhoff's laws), so that it can be trusted itself."""

from __future__ import annotations

import dataclasses
import itertools
import random
import tomllib
from fractions import Fraction as F
from typing import Any

import numpy as np
import pytest

from tests.truth.check import judge_truck
from tests.truth.drift import drift_grid
from tests.truth.generate import generate
from tests.truth.judge import reading_windows, requirement, situations
from tests.truth.physics import RAILS, El, circuit, forest_weights, reduce_circuit, solve_exact, two_point_resistance
from tests.truth.spans import Space, evaluate, spaces
from tests.truth.truck import (
    INF,
    Contact,
    Defaults,
    Device,
    Element,
    Input,
    Line,
    Pull,
    Reference,
    Resistor,
    SituationRule,
    Span,
    Target,
    Truck,
    Window,
)
from tests.truth.writer import write


def r(ohm: str, tol: str = "0", tempco: str = "0", known: bool = False) -> Resistor:
    return Resistor(ohm, tol, tempco, "0", known)


def contact(name: str, ohm: str | None = "1000", asks: str = "", momentary: bool = True, **more: Any) -> Contact:
    plain: dict[str, Any] = {"closed": Span("0", "0"), "open_ohm": None}
    return Contact(
        name, "taps", "lever", True, momentary, asks or name, None if ohm is None else r(ohm), **{**plain, **more}
    )


PIN = Input("pin1", Pull("1000", "0"), "reference", None, Reference("5", "0"), "reference", None, "1000", "0")
LINE = Line("taps", "pin1", "pull-up", "automatic", wire=Span("0", "0"), source_wire=Span("0", "0"))


def truck(
    contacts: list[Contact],
    line: Line = LINE,
    pin: Input = PIN,
    exclusive: tuple[tuple[str, ...], ...] = (),
    **supply: Span,
) -> Truck:
    return Truck(
        "pp-hand",
        1,
        {"run": Span("10", "14", "12"), **supply},
        "20",
        "20",
        Defaults(),
        (pin,),
        (Device("lever", exclusive),),
        tuple(contacts),
        (line,),
    )


def ends(t: Truck, *operated: str, key: str = "run", space: Space | None = None) -> Any:
    line = t.lines[0]
    found = evaluate(t, line, frozenset(operated), key, space or spaces(t.inputs[0])[0])
    return found.low_exact, found.high_exact


def row(t: Truck, *operated: str, key: str = "run", space: str | None = None) -> dict[str, Any]:
    rows: list[dict[str, Any]] = judge_truck(t)["lines"]["taps"]["rows"]
    return next(
        x for x in rows if x["operated"] == sorted(operated) and x["key_state"] == key and space in (None, x["space"])
    )


# ---------------------------------------------------------------- the five forms


def test_pull_up_is_a_voltage_divider() -> None:
    t = truck([contact("up", "1000"), contact("down", "3000")])
    assert ends(t) == (1, 1)
    assert ends(t, "up") == (F(1, 2), F(1, 2))
    assert ends(t, "down") == (F(3, 4), F(3, 4))
    assert ends(t, "up", "down") == (F(750, 1750), F(750, 1750))


def test_each_range_moves_the_pull_up_by_itself() -> None:
    line = dataclasses.replace(
        LINE,
        wire=Span("1", "3"),
        source_wire=Span("2", "4"),
        return_offset=Span("-0.1", "0.2"),
        leak_to_ground="9000",
        leak_to_supply="100000",
        idle_resistor=r("8000", "10"),
    )
    pin = dataclasses.replace(PIN, pull_up=Pull("1000", "5"), reference=Reference("5", "1"))
    t = truck([contact("up", "1000", closed=Span("5", "50"), open_ohm="100000")], line, pin)
    low, high = ends(t, "up")
    branch = F(1005) * 7200 / (1005 + 7200) + 1 + 2  # least: contact, idle resistor, wires
    to_return = branch * 9000 / (branch + 9000)
    volts = (F("4.95") / 1050 + F("-0.1") / to_return) / (1 / F(1050) + 1 / to_return)
    # the reference pulls through 1050 ohm and divides: with the return below ground, less reference reads less
    assert low == volts / F("4.95")
    branch = F(1050) * 8800 / (1050 + 8800) + 3 + 4
    volts = (F("4.95") / 950 + F("0.2") / branch + F(14) / 100000) / (1 / F(950) + 1 / branch + F(1, 100000))
    assert high == volts / F("4.95")


def test_pull_down_from_the_battery() -> None:
    line = dataclasses.replace(LINE, form="pull-down", feed_from="battery", feed_drop=Span("0.5", "1"))
    pin = dataclasses.replace(PIN, pull_up=None, pull_down=Pull("1000", "0"), compares="battery")
    t = truck([contact("up", "3000")], line, pin)
    assert ends(t) == (0, 0)
    assert ends(t, "up") == (F(9, 10) / 4, F("13.5") / 14 / 4)


def test_ladder_counts_the_resistors_up_to_the_first_closed_contact() -> None:
    line = dataclasses.replace(LINE, form="ladder", ladder_to="ground", end_resistor=r("700"))
    t = truck([contact("a", "100"), contact("b", "200"), contact("c", "300")], line)
    assert ends(t, "a")[0] == F(100, 1100)
    assert ends(t, "b")[0] == F(300, 1300)
    assert ends(t, "b", "c")[0] == F(300, 1300)
    assert ends(t, "c")[0] == F(600, 1600)
    assert ends(t)[0] == F(1300, 2300)


def test_ladder_to_supply() -> None:
    line = dataclasses.replace(LINE, form="ladder", ladder_to="supply", feed_from="reference")
    pin = dataclasses.replace(PIN, pull_up=None, pull_down=Pull("500", "0"))
    t = truck([contact("a", "500"), contact("b", "1000")], line, pin)
    assert (ends(t)[0], ends(t, "a")[0], ends(t, "b")[0]) == (0, F(1, 2), F(1, 4))


def test_divider_without_a_pull() -> None:
    line = dataclasses.replace(
        LINE, form="divider", feed_from="reference", top_resistor=r("1000"), idle_resistor=r("4000")
    )
    pin = dataclasses.replace(PIN, pull_up=None)
    t = truck([contact("a", "1000")], line, pin)
    assert ends(t)[0] == F(4, 5)
    assert ends(t, "a")[0] == F(800, 1800)


def test_elements_wheatstone_bridge() -> None:
    # pin and b are the two middle nodes, joined by the bridge contact; by hand from the two node equations
    parts = (
        Element("r1", "resistor", ("feed", "pin"), r("1000")),
        Element("r2", "resistor", ("pin", "return"), r("2000")),
        Element("r3", "resistor", ("feed", "b"), r("2000")),
        Element("r4", "resistor", ("b", "return"), r("1000")),
        Element("r5", "resistor", ("b", "m"), r("1000")),
        Element("k", "contact", ("m", "pin"), contact="a"),
    )
    line = dataclasses.replace(
        LINE, form="elements", wire=None, source_wire=None, source_side="return", feed_from="reference", elements=parts
    )
    pin = dataclasses.replace(PIN, pull_up=None)
    t = truck([contact("a", None)], line, pin)
    assert ends(t)[0] == F(2, 3)
    # with the bridge, symmetry gives V_pin + V_b = 5 V; node: (5-V)/1 = V/2 + (2V-5)/1 -> V = 10/3.5
    assert ends(t, "a")[0] == F(10) / F("3.5") / 5


@pytest.mark.parametrize(
    ("through", "alone", "both"), [(True, F(1), F(1000, 2000)), (False, F(750, 1750), F(750, 1750))]
)
def test_taps_through_enable_or_directly(through: bool, alone: F, both: F) -> None:
    line = dataclasses.replace(LINE, enable="manual", taps_through_enable=through)
    enable = contact("manual", "3000", momentary=False)
    t = truck([enable, contact("up", "1000" if not through else "1500", with_=("manual",))], line)
    if through:
        assert ends(t, "up")[0] == alone
        assert ends(t, "manual")[0] == F(3, 4)
        assert ends(t, "up", "manual")[0] == both
    else:
        assert ends(t, "up")[0] == F(1, 2)
        assert ends(t, "up", "manual")[0] == both


def test_enable_without_resistor_only_feeds_the_taps() -> None:
    line = dataclasses.replace(LINE, enable="manual", taps_through_enable=True)
    t = truck([contact("manual", None, momentary=False), contact("up", "1000", with_=("manual",))], line)
    assert ends(t, "manual")[0] == 1
    assert ends(t, "up", "manual")[0] == F(1, 2)


def test_normally_closed_contact_and_contact_without_resistor() -> None:
    t = truck([dataclasses.replace(contact("a"), normally_open=False)])
    assert ends(t)[0] == F(1, 2)
    assert ends(t, "a")[0] == 1
    t = truck([contact("a", None)])
    assert ends(t, "a") == (0, 0)


def test_series_diode_on_either_side() -> None:
    t = truck([contact("a", "1000")], dataclasses.replace(LINE, series_diode=Span("0", "1")))
    assert ends(t, "a") == (F(1, 2), F(3, 5))
    line = dataclasses.replace(LINE, form="pull-down", feed_from="reference", series_diode=Span("0", "1"))
    t = truck([contact("a", "1000")], line, dataclasses.replace(PIN, pull_up=None, pull_down=Pull("1000", "0")))
    assert ends(t, "a") == (F(2, 5), F(1, 2))


def test_both_pulls_read_mid_rail_and_a_pull_to_battery_clips() -> None:
    t = truck([contact("a")], pin=dataclasses.replace(PIN, pull_down=Pull("3000", "0")))
    assert ends(t)[0] == F(3, 4)
    t = truck([contact("a")], pin=dataclasses.replace(PIN, pull_up_to="battery"))
    assert ends(t, "a") == (1, 1)
    pin = dataclasses.replace(PIN, pull_up_to="battery", compares="unknown", full_scale_v="8")
    t = truck([contact("a")], pin=pin)
    assert ends(t, "a", space=Space("battery", F(1))) == (F(1, 2), F(1, 2))
    assert ends(t, "a", space=Space("volts", F(8))) == (5, 7)


def test_floating_pin_reads_anything() -> None:
    t = truck([contact("a")], pin=dataclasses.replace(PIN, pull_up=None))
    assert ends(t) == (0, 1)
    assert ends(t, "a") == (0, 0)


def test_temperature_unknown_and_known_sign() -> None:
    def at(known: bool, *tempco: str) -> Truck:
        parts = [contact(f"c{i}", None, open_ohm=None) for i in range(len(tempco))]
        parts = [dataclasses.replace(p, resistor=r("1000", "0", x, known)) for p, x in zip(parts, tempco, strict=True)]
        return dataclasses.replace(truck(parts), temp_low_c="-30", temp_high_c="60")

    assert ends(at(False, "1000"), "c0") == (F(950, 1950), F(1050, 2050))  # 50 K is the larger distance
    assert ends(at(True, "-1000"), "c0") == (F(960, 1960), F(1050, 2050))
    t = at(True, "1000", "-1000")  # two parallel: R = 1000 (1 - x^2) / 2 with x = 0.001 (T - 20), -0.05 ... 0.04
    found = evaluate(t, t.lines[0], frozenset({"c0", "c1"}), "run", Space("reference", F(1)))
    worst = 500 * (1 - 0.05**2)
    assert not found.exact
    assert found.reading.low == pytest.approx(worst / (worst + 1000), abs=1e-12)
    assert found.reading.low_outer <= found.reading.low <= found.reading.high <= 500 / 1500 + 1e-12
    assert found.reading.high == pytest.approx(1 / 3, abs=1e-5)  # 20 °C is not on the grid
    assert found.reading.low - found.reading.low_outer < 3e-3
    assert found.reading.high_outer + 1e-12 >= 1 / 3


def test_two_point_resistance() -> None:
    cube = [f"{i:03b}" for i in range(8)]
    edges = [
        (a, b, F(1)) for a, b in itertools.combinations(cube, 2) if sum(x != y for x, y in zip(a, b, strict=True)) == 1
    ]
    assert two_point_resistance(edges, "000", "111") == F(5, 6)  # the textbook cube of twelve resistors
    assert two_point_resistance(edges, "000", "001") == F(7, 12)
    assert two_point_resistance([("a", "b", F(0))], "a", "b") == 0
    assert two_point_resistance([("a", "b", INF)], "a", "b") == INF


def test_shorted_rails_are_seen() -> None:
    assert solve_exact([("feed", "x", F(0)), ("x", "return", F(0))], {"feed": F(5), "return": F(0)}).state == "shorted"


# ---------------------------------------------------------------- the tree rule against nodal analysis


@pytest.mark.parametrize("seed", range(25))
def test_tree_rule_and_reduction_agree_with_nodal_analysis_at_every_vertex(seed: int) -> None:
    rng = random.Random(seed)
    nodes = ["pin", "a", "b", "c", "d"]
    els = []
    for i in range(7):
        a, b = rng.sample([*nodes, "return", "feed", "reference"], 2)
        low, high = sorted([F(rng.choice([0, 1, 10, 470, 1000])), F(rng.choice([5, 2000, 7000]))])
        ends_: tuple[Any, ...] = rng.choice([(low, high), (low, high), (high, INF), (low,)])
        if a in RAILS and b in RAILS:
            ends_ = (F(100),)
        els.append(El(f"e{i}", a, b, ends_, (f"e{i}",)))
    rails = {"return": F("0.3"), "feed": F(12), "reference": F(5)}
    full = forest_weights(els)
    values = []
    for index in np.ndindex(*full.undecided.shape):
        found = solve_exact([(e.a, e.b, e.levels[i]) for e, i in zip(full.elements, index, strict=True)], rails)
        if full.undecided[index]:
            continue
        if found.state == "floating":
            assert full.floating[index]
            continue
        assert found.state == "ok"
        assert found.volts is not None
        volts = sum(float(rails[k]) * w[index] for k, w in full.rails.items())
        assert volts == pytest.approx(float(found.volts), abs=1e-11)
        values.append(volts)
    small = forest_weights(reduce_circuit(els))
    if values and not full.undecided.any() and not small.undecided.any():
        total = sum((float(rails[k]) * w for k, w in small.rails.items()), start=np.zeros(small.undecided.shape))
        total = total[~small.floating]
        assert float(total.min()) == pytest.approx(min(values), abs=1e-10)
        assert float(total.max()) == pytest.approx(max(values), abs=1e-10)


@pytest.mark.parametrize("seed", range(12))
def test_generated_trucks_with_and_without_reduction(seed: int) -> None:
    t = generate(seed)
    for line in t.lines:
        for operated in situations(t, line)[:4]:
            if len(circuit(t, line, operated)) > 13:
                continue
            space = spaces(t.input_of(line))[0]
            a = evaluate(t, line, operated, "run", space)
            b = evaluate(t, line, operated, "run", space, reduce=False)
            assert (a.reading.low, a.reading.high) == pytest.approx((b.reading.low, b.reading.high), abs=1e-11)


def test_no_point_inside_the_box_is_outside_the_span() -> None:
    rng = random.Random(5)
    for seed in range(6):
        t = generate(seed)
        line = t.lines[0]
        for operated in situations(t, line)[:3]:
            space = spaces(t.input_of(line))[0]
            found = evaluate(t, line, operated, "run", space)
            low, high = found.corners.get("low"), found.corners.get("high")
            if low is None or high is None or found.floating:
                continue
            for _ in range(5):  # a random mixture of the two winning corners, each parameter by itself
                point = {p: (v if rng.random() < 0.5 else high[p]) for p, v in low.items()}
                inner = evaluate(t, line, operated, "run", space, overrides={p: (v, v) for p, v in point.items()})
                assert (
                    found.reading.low - 1e-12 <= inner.reading.low <= inner.reading.high <= found.reading.high + 1e-12
                )


# ---------------------------------------------------------------- windows


def win(meaning: str, low: str | None, high: str | None, unit: str = "ratio", **more: Any) -> Window:
    return Window(meaning, low, high, unit, **{"basis": "measured", **more})


def with_windows(*windows: Window, line: Line = LINE, **more: Any) -> Line:
    return dataclasses.replace(line, windows=windows, **more)


def only_win(line: Line, pin: Input = PIN, space: Space | None = None) -> Any:
    t = truck([contact("up")], line, pin)
    return reading_windows(t, line, space or spaces(pin)[0])[0]


def test_units_come_to_the_same_window() -> None:
    for w in (
        win("up", "0.4", "0.6"),
        win("up", "400", "600", "counts"),
        win("up", "2", "3", "V"),
        win("up", "2000", "4500", "ohm", with_pull="3000"),
    ):
        found = only_win(with_windows(w))
        assert (found.low_nominal, found.high_nominal) == (F(2, 5), F(3, 5)), w
    pin = dataclasses.replace(PIN, compares="volts", full_scale_v="10")
    for w, low in (
        (win("up", "0.4", "0.6"), 4),
        (win("up", "400", "600", "counts"), 4),
        (win("up", "4", "6", "V"), 4),
        (win("up", "2000", "4500", "ohm", with_pull="3000"), 2),
    ):
        assert only_win(with_windows(w), pin).low_nominal == low
    pin = dataclasses.replace(PIN, compares="battery")
    assert only_win(with_windows(win("up", "6", "9", "V")), pin).low_nominal == F(1, 2)


def test_ohms_on_the_feed_side_swap() -> None:
    line = with_windows(win("up", "1000", "3000", "ohm", with_pull="1000"), form="pull-down", feed_from="reference")
    pin = dataclasses.replace(PIN, pull_up=None, pull_down=Pull("1000", "0"))
    found = only_win(line, pin)
    assert (found.low_nominal, found.high_nominal) == (F(1, 4), F(1, 2))
    half_open = dataclasses.replace(line, windows=(win("up", None, "3000", "ohm", with_pull="1000"),))
    assert (only_win(half_open, pin).low_nominal, only_win(half_open, pin).high_nominal) == (F(1, 4), None)


def test_uncertainty_before_conversion_and_error_after() -> None:
    pin = dataclasses.replace(PIN, error_pct="1")
    found = only_win(with_windows(win("up", "1000", "3000", "ohm", with_pull="1000", uncertainty_pct="10")), pin)
    assert found.low_large.value == F(900, 1900) - F(1, 100)
    assert found.low_small.value == F(1100, 2100) + F(1, 100)
    assert found.high_small.value == F(2700, 3700) - F(1, 100)
    assert found.high_large.value == F(3300, 4300) + F(1, 100)
    found = only_win(with_windows(win("up", "0", "3000", "ohm", with_pull="1000", uncertainty="20")), pin)
    assert found.low_large is None
    assert found.high_small.value == F(2980, 3980) - F(1, 100)


def test_targets_become_windows_midway() -> None:
    line = dataclasses.replace(
        LINE, targets=(Target("up", "0.2", "ratio"), Target("automatic", "0.9", "ratio"), Target("x", "0.5", "ratio"))
    )
    t = truck([contact("up")], line)
    wins = {w.meaning: (w.low_nominal, w.high_nominal) for w in reading_windows(t, line, Space("reference", F(1)))}
    assert wins == {"up": (F("0.05"), F("0.35")), "x": (F("0.35"), F("0.7")), "automatic": (F("0.7"), None)}
    line = dataclasses.replace(LINE, targets=(Target("up", "0.2", "ratio"),))
    alone = reading_windows(truck([contact("up")], line), line, Space("reference", F(1)))[0]
    assert (alone.low_nominal, alone.high_nominal, alone.assumed) == (None, None, True)


def test_substitution_moves_with_the_pull() -> None:
    # 1000 ohm between 900 and 1100 ohm: the same pull serves both, so any pull tolerance does no harm
    pin = dataclasses.replace(PIN, pull_up=Pull("1000", "20"))
    line = with_windows(
        win("up", "900", "1100", "ohm", substitution=True), win("automatic", "5000", None, "ohm", substitution=True)
    )
    x = row(truck([contact("up")], line, pin), "up")
    assert (x["verdict"], x["sure"]) == ("pass", True)
    # at 1200 ohm: reading 1000/2200, edges 900/2100 and 1100/2300; nominal half width (11/21 - 9/19) / 2
    room = [min(1000 / (1000 + p) - 900 / (900 + p), 1100 / (1100 + p) - 1000 / (1000 + p)) for p in (800, 1200)]
    half = float(F(1100, 2100) - F(900, 1900)) / 2
    assert x["margin"] == pytest.approx(min(room) / half, rel=1e-9)
    assert x["margin_outer"] <= x["margin"]
    line = with_windows(
        win("up", "900", "1100", "ohm", with_pull="1000"), win("automatic", "5000", None, "ohm", with_pull="1000")
    )
    assert row(truck([contact("up")], line, pin), "up")["verdict"] == "fail"


# ---------------------------------------------------------------- rules and verdicts


def test_which_sets_are_situations() -> None:
    parts = [contact("m", momentary=False), contact("up", only_when=("m",)), contact("down")]
    t = truck(parts, exclusive=(("up", "down"),))
    assert {tuple(sorted(s)) for s in situations(t, t.lines[0])} == {(), ("m",), ("down",), ("m", "up"), ("down", "m")}


def test_the_five_rules() -> None:
    line = dataclasses.replace(LINE, enable="m", rules=(SituationRule(("down",), ("down", "invalid")),))
    parts = [contact("m", asks="manual", momentary=False), contact("up", with_=("m",)), contact("down", with_=("m",))]
    t = truck(parts, line)

    def need(*operated: str, key: str = "run") -> tuple[int, list[str]]:
        found = requirement(t, line, frozenset(operated), key)
        return found.rule, sorted(found.allowed)

    assert need("down") == (1, ["down", "invalid"])
    assert need() == (2, ["automatic"])
    assert need("m", "up") == (3, ["up"])
    assert need("m") == (4, ["manual"])
    assert need("up") == (5, ["automatic", "invalid", "up"])
    assert need("m", "up", "down") == (5, ["automatic", "down", "invalid", "manual", "up"])
    assert need(key="crank") == (2, ["automatic", "invalid"])
    assert need("m", "up", key="crank") == (3, ["automatic", "invalid", "up"])
    assert need("down", key="crank") == (1, ["down", "invalid"])
    assert need("m", "up", key="after_run") == (3, ["up"])


def simple(low: str, high: str, error: str = "0", **more: Any) -> Truck:
    """One contact reading exactly 1/2; the window for it is given."""
    pin = dataclasses.replace(PIN, error_pct=error)
    line = with_windows(win("up", low, high, **more), win("automatic", "0.8", None))
    return truck([contact("up")], line, pin)


def test_pass_fail_not_shown_would_hold_if() -> None:
    x = row(simple("0.4", "0.7"), "up")
    assert (x["verdict"], x["margin"]) == ("pass", pytest.approx(0.1 / 0.15))
    assert row(simple("0.51", "0.7"), "up")["verdict"] == "fail"
    x = row(simple("0.495", "0.7", "1"), "up")
    assert (x["verdict"], x["margin"]) == ("not shown", pytest.approx(-0.005 / 0.1025))
    assert row(simple("0.4", "0.7", basis="assumed"), "up")["verdict"] == "would hold if"
    assert row(simple("0.4", "0.7", basis=None), "up")["verdict"] == "would hold if"
    assert row(simple("0.4", "0.7", basis="borrowed"), "up")["verdict"] == "pass"
    assert judge_truck(simple("0.4", "0.7", basis=None))["verdict"] == "would hold if"
    x = row(simple("0.4", "0.7"))
    assert (x["verdict"], x["margin"]) == ("pass", pytest.approx(2.0))  # the rail is no edge, but bounds the width


def test_outside_on_either_side_and_across_a_gap_between_two_allowed_windows() -> None:
    assert row(simple("0.2", "0.4"), "up")["verdict"] == "fail"
    assert row(simple("0.6", "0.7"), "up")["verdict"] == "fail"
    rule = (SituationRule(("up",), ("low", "high")),)
    worn = [contact("up", closed=Span("0", "1000"))]  # reads 1/2 to 2/3
    gap = with_windows(win("low", "0.4", "0.55"), win("high", "0.6", "0.7"), win("automatic", "0.8", None), rules=rule)
    x = row(truck(worn, gap), "up")
    assert (x["rule"], x["inside"], x["verdict"]) == (1, True, "fail")
    one = with_windows(win("low", "0.4", "0.68"), win("high", "0.69", "0.7"), win("automatic", "0.8", None), rules=rule)
    x = row(truck(worn, one), "up")
    assert (x["verdict"], x["margin"]) == ("pass", pytest.approx(float(F(68, 100) - F(2, 3)) / 0.14))
    touching = with_windows(
        win("low", "0.4", "0.6"), win("high", "0.6", "0.7"), win("automatic", "0.8", None), rules=rule
    )
    assert row(truck(worn, touching), "up")["verdict"] == "not shown"  # in no single window


def test_clear_leans_on_assumed_windows_and_on_the_idle_window() -> None:
    rule = (SituationRule(("up",), ("up", "invalid")),)
    line = with_windows(win("up", "0.1", "0.2"), win("automatic", "0.8", None, basis="assumed"), rules=rule)
    x = row(truck([contact("up")], line), "up")
    assert (x["forbidden"], x["verdict"], x["margin"]) == (["automatic"], "would hold if", pytest.approx(0.3 / 0.1))
    line = dataclasses.replace(line, rules=(SituationRule(("up",), ("up", "automatic", "invalid")),))
    x = row(truck([contact("up")], line), "up")
    assert (x["forbidden"], x["verdict"], x["margin"]) == ([], "pass", INF)


def test_substitution_on_the_feed_side() -> None:
    # the coder's feed lies 1 V lower than the nominal one the edges were found with
    pin = dataclasses.replace(PIN, pull_up=None, pull_down=Pull("1000", "10"))
    line = with_windows(
        win("up", "900", "1400", "ohm", substitution=True),
        win("automatic", "9000", None, "ohm", substitution=True),
        form="pull-down",
        feed_from="reference",
        feed_drop=Span("0", "1"),
    )
    x = row(truck([contact("up")], line, pin), "up")
    # 4 V through 1000 ohm reads as 5 V through (1000 + p) 5/4 - p = 1250 + p/4, which is over 1400 for every p
    assert x["verdict"] == "fail"
    line = dataclasses.replace(line, feed_drop=Span("0", "0.25"))  # 4.75 V: (1000 + p) 20/19 - p, at most 1110.5
    assert row(truck([contact("up")], line, pin), "up")["verdict"] == "pass"


def test_clear_of_forbidden_windows() -> None:
    # both pressed: 1/3; allowed: idle, invalid, a, b
    parts = [contact("a"), contact("b"), contact("c", "100")]
    line = with_windows(
        win("c", None, "0.1"),
        win("x", "0.3", "0.36"),
        win("a", "0.4", "0.45"),
        win("b", "0.48", "0.6"),
        win("automatic", "0.8", None),
    )
    x = row(truck(parts, line), "a", "b")
    assert (x["rule"], x["inside"], x["verdict"]) == (5, False, "fail")
    assert x["forbidden"] == ["c", "x"]
    assert x["margin"] == pytest.approx(-float(F(36, 100) - F(1, 3)) / 0.03)
    line = dataclasses.replace(
        line, windows=(*(w for w in line.windows if w.meaning != "x"), win("y", "0.3", "0.36", fault=True))
    )
    x = row(truck(parts, line), "a", "b")
    assert (x["verdict"], x["margin"]) == ("pass", pytest.approx(float(F(1, 3) - F(1, 10)) / 0.05))


def test_a_span_that_jumps_over_a_forbidden_window_fails() -> None:
    # the corners lie on both sides of it, a reading between them lies inside
    parts = [contact("a", closed=Span("0", "4000")), contact("b", closed=Span("0", "4000"))]
    line = with_windows(win("x", "0.5", "0.52"), win("a", "0.9", None))
    x = row(truck(parts, line), "a", "b")
    assert x["low"] < 0.5
    assert x["high"] > 0.52
    assert x["verdict"] == "fail"


def test_crank_accepts_a_lost_command_but_no_false_one() -> None:
    line = with_windows(win("up", "0.6", "0.7"), win("automatic", "0.8", None))
    t = truck([contact("up")], line, crank=Span("6", "9"))
    assert row(t, "up")["verdict"] == "fail"
    x = row(t, "up", key="crank")
    assert (x["verdict"], x["margin"]) == ("pass", INF)
    line = with_windows(win("down", "0.45", "0.55"), win("automatic", "0.8", None))
    assert row(truck([contact("up")], line, crank=Span("6", "9")), "up", key="crank")["verdict"] == "fail"


def test_unknown_compares_takes_the_worse() -> None:
    pin = dataclasses.replace(PIN, pull_up_to="battery", compares="unknown", full_scale_v="12")
    line = with_windows(win("up", "0.45", "0.55"), win("automatic", "0.8", None))
    t = truck([contact("up")], line, pin)
    assert row(t, "up", space="battery")["verdict"] == "pass"
    assert row(t, "up", space="volts")["verdict"] == "fail"  # 5 V and 7 V of 12 V
    combined = judge_truck(t)["lines"]["taps"]["by_situation"]
    assert next(c for c in combined if c["operated"] == ["up"])["verdict"] == "fail"


# ---------------------------------------------------------------- drift


def test_drift_of_a_closed_contact() -> None:
    # 1000 + x over a 1000 pull-up, kept up to 0.6, so x = 500; the next window starts at 0.75, so x = 2000
    line = with_windows(win("up", "0.4", "0.6"), win("down", "0.75", "0.85"), win("automatic", "0.9", None))
    t = truck([contact("up"), contact("down", "4000")], line)
    grid = [F(x) for x in (0, 250, 499, 501, 1000, 1999, 2001, 9000)]
    found = drift_grid(t, "taps", ["up"], "contact.up.closed", grid=grid)
    assert (found.last_kept, found.first_lost, found.last_safe, found.first_false) == (499, 501, 1999, 2001)
    found = drift_grid(t, "taps", ["up"], "line.taps.leak_to_ground", "down")
    # 1000 parallel leak must stay at or above 2/3 of 1000: leak 2000
    assert found.last_kept is not None
    assert found.first_lost is not None
    assert found.first_lost < 2000 <= found.last_kept
    assert found.first_false is None
    found = drift_grid(t, "taps", ["up"], "line.taps.return_offset", "up")
    assert found.last_kept is not None
    assert found.first_lost is not None
    assert found.last_kept <= 1 < found.first_lost  # (5 + v) / 2 = 3 at v = 1
    found = drift_grid(t, "taps", ["up"], "input.pin1.pull_up", "down")
    assert found.last_kept is not None
    assert found.first_lost is not None
    assert found.first_lost < F(2000, 3) <= found.last_kept


# ---------------------------------------------------------------- generator and writer


@pytest.mark.parametrize("seed", range(20))
def test_same_seed_same_text_and_it_is_toml(seed: int) -> None:
    text = write(generate(seed))
    assert text == write(generate(seed))
    data = tomllib.loads(text)
    assert data["format"] == 1
    assert {x["id"] for x in data["contact"]} == {c.id for c in generate(seed).contacts}


def test_all_verdicts_occur() -> None:
    seen = {
        x["verdict"]
        for seed in range(40)
        for line in judge_truck(generate(seed))["lines"].values()
        for x in line["rows"]
    }
    assert seen == {"pass", "fail", "not shown", "would hold if"}
