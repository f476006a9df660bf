"""The driveline's sums against the slow checker: a small run; the large one is `dev.py truth N --drive`."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import pytest

from pinproof.driveline import Span
from tests.truth import driveline_check as dc
from tests.truth.agree_driveline import Outcome, compare

SEEDS = range(5000, 5080)


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    return [compare(seed) for seed in SEEDS]


def test_engine_and_checker_agree(outcomes: list[Outcome]) -> None:
    assert not {each.seed: each.disagreements[:3] for each in outcomes if each.disagreements}


def test_the_run_reached_what_it_is_for(outcomes: list[Outcome]) -> None:
    """Enough was compared: each check safe and not, skip shifts, every mark, permitted speeds of nothing."""
    seen: Counter[str] = sum((each.seen for each in outcomes), Counter())
    assert seen["drivelines"] == len(SEEDS) and seen["numbers"] > 10_000 and seen["skip shifts"] >= 10
    for check in ("up line", "down line", "landing", "separation", "lead", "limiter"):
        assert seen[f"{check} pass"] >= 5, check
    for check in ("up line", "down line", "separation", "lead", "limiter"):
        assert seen[f"{check} fail"] >= 5, check
    for check in ("up line", "separation", "lead", "limiter"):
        assert seen[f"{check} not shown"] >= 5, check
    for mark in ("keep", "unsafe", "pointless", "hunts", "not known"):
        assert seen[f"mark {mark}"] >= 10, mark
    assert seen["nothing permitted"] >= 1


def _both(engine: Span, old: Span, new: Span, before: Span, after: Span) -> Span:
    """The converter slips after the shift as before it."""
    return engine * new / old


def _turbine_free(most_rpm: float, gear: Span, passed: Span) -> Span:
    """A turbine quicker than the engine is forgotten."""
    return passed * most_rpm / gear


@pytest.mark.parametrize(
    ("where", "wrong"),
    [
        ("lines.after_shift", _both),
        ("sums.downshift_limit", _turbine_free),
        ("sums.gained_m_per_s", lambda latency, push: abs(latency * push)),
        ("tyre.USUAL_FACTOR", Span(3.0, 3.05, 3.1)),
        ("lines.SAFE_SEPARATION", 0.11),
        ("lines.hunts_with", lambda up, down: (up.before, up.after, up.load) == (down.after, down.before, down.load)),
        ("borrowed.HUNTS_BELOW", 0.06),
        ("leads.FULL", "half"),
        ("leads.gained_rpm", lambda climb, time: Span.exact(climb.value * time.value)),
    ],
)
def test_a_wrong_engine_is_noticed(monkeypatch: pytest.MonkeyPatch, where: str, wrong: Any) -> None:
    monkeypatch.setattr(f"pinproof.driveline.{where}", wrong)
    from pinproof.driveline.tyre import rolled

    rolled.cache_clear()
    try:
        for seed in SEEDS:
            if compare(seed).disagreements:
                return
    finally:
        rolled.cache_clear()
    pytest.fail(f"no seed shows that {where} is wrong")


# the checker itself, against figures worked elsewhere


def invented() -> dc.Driveline:
    """Gears 4.00 2.40 1.55 1.15 0.85 0.67, axle 5.00, 39 in tyres × 3.05, no slip: a worked example by hand."""
    wheel = dc.Wheel(factor=dc.sure("3.05"), diameter_m=dc.Fraction(39 * 254, 10000))
    ratios = ("4.00", "2.40", "1.55", "1.15", "0.85", "0.67")
    gears = tuple((str(number), dc.sure(ratio)) for number, ratio in enumerate(ratios, start=1))
    return dc.Driveline(
        wheel, dc.sure(5), (("high", dc.ONE),), gears, dc.ZERO, dc.sure(6500), dc.sure(6400), None,
        dc.sure("0.05"), dc.sure("0.5"), dc.sure(2),
    )  # fmt: skip


def test_the_checker_gives_the_worked_example() -> None:
    """100 km/h: 11033 6620 4275 3172 2344 1848 rpm; 6500 rpm: 58.9, 98.2, 152.0 km/h; up at 6200: 4004 and 4600 rpm.

    Common practice, no source: worked with a pocket calculator, printed to the digits above.
    """
    d = invented()
    assert round(float(dc.circumference(d)[1][1]), 3) == 3.021
    found = [dc.at_speed(d, dc.ONE, gear, dc.Fraction(1000, 36))["engine"][1] for _, gear in d.gears]
    assert [round(float(each)) for each in found] == [11033, 6620, 4275, 3172, 2344, 1848]
    limits = [float(dc.limit_road(d, dc.ONE, name)[0]) * 3.6 for name in ("1", "2", "3")]
    assert [round(each, 1) for each in limits] == [58.9, 98.2, 152.0]
    after = [float(dc.after_shift(d, dc.sure(6200), *pair)[1]) for pair in (("2", "3"), ("3", "4"))]
    assert [round(each) for each in after] == [4004, 4600]
    down = dc.Line("3", "2", "full", "road", dc.sure(dc.Fraction("79.6") / dc.Fraction("3.6")))
    sums = dc.line_sums(d, dc.ONE, down)
    assert [round(float(sums[key][1]), -1) for key in ("engine", "after")] == [3400, 5270]


def test_the_checker_gives_the_customary_us_formula() -> None:
    """rpm = mph × ratio × 336.13 ÷ diameter in inches, with π in place of the factor 3.05 (two public pages)."""
    pi = dc.Fraction(31415926535898, 10**13)
    d = replace(invented(), wheel=dc.Wheel(factor=dc.sure(pi), diameter_m=dc.Fraction(29 * 254, 10000)))
    engine = dc.at_speed(d, dc.ONE, dc.sure("2.72"), dc.Fraction("55.51") * dc.Fraction("0.44704"))["engine"][1]
    assert float(engine) == pytest.approx(55.51 * 2.72 * 5.0 * 336.13 / 29.0, rel=2e-5)


def test_every_corner_is_tried() -> None:
    """A sum whose greatest lies at a mixed corner, and one with an end inside nobody's reach."""
    a, b = (
        dc.Number(dc.Fraction(-1), dc.Fraction(0), dc.Fraction(2)),
        dc.Number(dc.Fraction(-3), dc.Fraction(0), dc.Fraction(1)),
    )
    assert dc.over(lambda x, y: x * y, a, b) == (-6, 0, 3)
