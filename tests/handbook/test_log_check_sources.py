"""Confidence limits against scipy, speeds against pint, gears told on public drive cycles. Seen: see each test."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pint
import pytest
from scipy import stats

from pinproof.design import load
from pinproof.examples import example_path
from pinproof.logs import prove_log
from pinproof.logs.checks.pin import STUDENT, student
from pinproof.logs.confidence import time_for, tries_for, upper_rate, upper_share
from pinproof.logs.settings import settings_of
from tests.log_stand_in import AROUND_M, AXLE, RATIOS, Made

CYCLES = Path(__file__).parents[1] / "data" / "drive_cycles"


@pytest.mark.parametrize("of", [1, 5, 59, 60, 300, 2000])
@pytest.mark.parametrize("events", [0, 1, 2, 7])
def test_upper_share_is_clopper_and_pearson(events: int, of: int) -> None:
    """One-sided exact limit: the 95 % quantile of a beta distribution (scipy)."""
    if events > of:
        return
    wanted = 1.0 if events == of else stats.beta.ppf(0.95, events + 1, of - events)
    assert upper_share(events, of) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("events", [0, 1, 3, 20])
def test_upper_rate_is_the_exact_poisson_limit(events: int) -> None:
    """Half the 95 % quantile of chi-squared with 2(k + 1) degrees (scipy)."""
    assert upper_rate(events, 3.0) == pytest.approx(stats.chi2.ppf(0.95, 2 * (events + 1)) / 2.0 / 3.0, rel=1e-9)


def test_the_rule_of_three_is_its_approximation() -> None:
    """3/n and 3/T are within 2 % of the exact limits from n = 60 on."""
    for many in (60, 300, 1000):
        assert upper_share(0, many) == pytest.approx(3.0 / many, rel=0.03)
    assert upper_rate(0, 3.0) == pytest.approx(1.0, rel=0.002)
    assert (tries_for(0.05), tries_for(0.01)) == (59, 299)
    assert time_for(1.0) == pytest.approx(2.9957, abs=1e-4)


def test_student_factors() -> None:
    """Two-sided 95 % (scipy), and never below it between the rows."""
    for freedom, factor in STUDENT.items():
        assert factor == pytest.approx(stats.t.ppf(0.975, freedom), abs=6e-4)
    for freedom in range(1, 200):
        assert student(freedom) >= stats.t.ppf(0.975, freedom) - 6e-4


def test_speeds_of_the_example_by_pint() -> None:
    """1700 turns a minute of the output through axle and tyre, unit by unit."""
    ureg = pint.UnitRegistry()
    road = (1700.0 * ureg.revolution / ureg.minute / AXLE * (AROUND_M * ureg.meter / ureg.revolution)).to("m/s")
    made = settings_of(load(example_path("sandpiper"))).drive
    assert made is not None
    turns = road.magnitude * 60.0 * made.reductions[0][1].value / made.around_m.value
    assert turns == pytest.approx(1700.0, rel=1e-6)


def cycle_speeds(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Seconds and m/s of a public cycle. Source and licence: tests/data/drive_cycles/README.md."""
    rows = np.genfromtxt(CYCLES / name, delimiter=",", skip_header=1, usecols=(0, 1), encoding="utf-8-sig")
    return rows[:, 0], rows[:, 1]


def driven(name: str, *, skew_s: float, growth: float, over: str, seed: int) -> tuple[Made, np.ndarray]:
    """A cycle through the example's driveline: 10 Hz, skewed channels, converter unlocked half of the time.

    Returns the recording and the true gear at each row, NaN during a shift.
    """
    rng = np.random.default_rng(seed)
    at, speed = cycle_speeds(name)
    fine = np.arange(at[0], at[-1], 0.02)
    road = np.interp(fine, at, speed)
    road = np.convolve(np.pad(road, 25, mode="edge"), np.ones(51) / 51.0, mode="valid")
    up_mps, down_mps = (4.0, 7.5, 11.0, 15.5, 21.0), (3.0, 6.0, 9.0, 13.0, 18.0)
    gear = np.ones(len(fine), dtype=int)
    now, wait = 1, 0.0
    for row, v in enumerate(road):
        wait -= 0.02
        if wait <= 0.0 and now < 6 and v > up_mps[now - 1]:
            now, wait = now + 1, 2.0
        elif wait <= 0.0 and now > 1 and v < down_mps[now - 2]:
            now, wait = now - 1, 2.0
        gear[row] = now
    true = np.asarray(RATIOS)[gear - 1]
    changed = np.zeros(len(fine), dtype=bool)
    for row in np.flatnonzero(np.diff(gear)):
        last = min(row + 20, len(fine) - 1)  # 0.4 s
        true[row : last + 1] = np.linspace(true[row], true[last], last - row + 1)
        changed[row : last + 1] = True
    around = AROUND_M * (1.0 + growth * road / 40.0)
    output = road * 60.0 * AXLE / around
    turbine = output * true
    locked = (np.floor(fine / 20.0) % 2.0 == 0.0) & (road > 4.0)
    slip = np.where(locked, 0.0, 0.03 + 0.10 * np.exp(-road / 5.0))
    engine = np.maximum(turbine / (1.0 - slip), 750.0)
    rows = np.arange(5, len(fine) - 5, 5)
    lag = round(skew_s / 0.02)
    read = {
        "output": output[rows],
        "turbine": turbine[rows - lag],
        "engine": engine[rows - lag],
        "lockup": locked[rows] * 1.0,
    }
    values = {r: np.round(v + (rng.normal(0.0, 4.0, len(v)) if r != "lockup" else 0.0), 1) for r, v in read.items()}
    values["output"] = np.maximum(values["output"], 0.0)
    if over == "engine":
        del values["turbine"]
    truth = np.where(changed[rows] | changed[rows - lag], np.nan, gear[rows].astype(float))
    return Made(fine[rows] - fine[rows[0]], values), np.where(output[rows] > 150.0, truth, np.nan)


@pytest.mark.parametrize("name", ["udds.csv", "us06.csv", "hwfet.csv", "wltc_3b.csv"])
def test_gears_are_told_on_public_drive_cycles(name: str) -> None:
    """Turbine ÷ output at 10 Hz with 80 ms of skew and a growing tyre: wrong under 0.2 %, unknown under 10 %."""
    made, truth = driven(name, skew_s=0.08, growth=0.015, over="turbine", seed=11)
    wrong, unknown = told(made, truth)
    assert wrong < 0.002 and unknown < 0.10, (wrong, unknown)


@pytest.mark.parametrize("name", ["udds.csv", "us06.csv", "hwfet.csv", "wltc_3b.csv"])
def test_engine_alone_says_less_but_nothing_wrong(name: str) -> None:
    """Engine ÷ output with the converter unlocked half of the time: wrong under 0.2 %, unknown under 10 %."""
    made, truth = driven(name, skew_s=0.08, growth=0.015, over="engine", seed=12)
    wrong, unknown = told(made, truth)
    assert wrong < 0.002 and unknown < 0.10, (wrong, unknown)


def told(made: Made, truth: np.ndarray) -> tuple[float, float]:
    """Shares of the time with a true gear in which another, or none, is told."""
    from pinproof.logs.look import look

    runs = look(made, settings_of(load(example_path("sandpiper")))).speeds.ratio
    found = np.full(len(truth), np.nan)
    for value, first, last in zip(runs.value, runs.first_s, runs.last_s, strict=True):
        found[(made.time_s >= first) & (made.time_s <= last)] = value
    known = np.isfinite(truth)
    print(f"wrong {np.mean(np.isfinite(found[known]) & (found[known] != truth[known])):.4%}, "
          f"unknown {np.mean(np.isnan(found[known])):.2%}")  # fmt: skip
    return (
        float(np.mean(np.isfinite(found[known]) & (found[known] != truth[known]))),
        float(np.mean(np.isnan(found[known]))),
    )


def test_a_cycle_raises_no_false_alarm_of_gears() -> None:
    """The whole proof of a city cycle with its skew: no check of gears or slip fails."""
    made, _ = driven("udds.csv", skew_s=0.08, growth=0.015, over="turbine", seed=13)
    report = prove_log(load(example_path("sandpiper")), made)
    assert not [each.check for each in report.checks if each.verdict.value == "fail"]
