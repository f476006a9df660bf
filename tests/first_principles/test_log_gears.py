"""Checks of gears, speeds, lever and limits on recordings made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pinproof.design import Truck
from pinproof.logs import prove_log
from pinproof.logs.flares import flare_of
from pinproof.logs.ratio import UNKNOWN, gears_of, gears_with_slip
from pinproof.logs.shares import beat_of
from pinproof.verdict import Verdict
from tests.log_stand_in import RATIOS, Day, Made, many_taps, sandpiper_told

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_SHOWN


@pytest.fixture(scope="module")
def truck() -> Truck:
    """Sandpiper; its controller was told that code 5 is manual."""
    return sandpiper_told()


def verdict(truck: Truck, made: Made, check: str) -> Verdict:
    """Of one check of one log."""
    return prove_log(truck, made).check(check).verdict


def part(made: Made, begin: float, end: float) -> np.ndarray:
    """Rows of a stretch."""
    return (made.time_s >= begin) & (made.time_s < end)


def engaging(made: Made, code: float, *, mode_from: float = 21.0) -> Made:
    """The lever goes from 4 to `code` at 20 s, manual engages at `mode_from`."""
    made.values["lever"] = np.where(made.time_s < 20.0, 0.0, code)
    made.values["mode"] = np.where(made.time_s < mode_from, 0.0, 1.0)
    made.labels = {"lever": ("4", "5", "6")}
    return made


def test_lever_code(truck: Truck) -> None:
    """Right, wrong, no engagement, and words that cannot be compared."""
    assert verdict(truck, engaging(many_taps(10).made(), 1.0), "lever-code") is PASS
    assert verdict(truck, engaging(many_taps(10).made(), 2.0), "lever-code") is FAIL
    assert verdict(truck, many_taps(10).made(), "lever-code") is OPEN
    words = engaging(many_taps(10).made(), 1.0)
    words.labels = {"lever": ("drive", "sport")}
    check = prove_log(truck, words).check("lever-code")
    assert check.verdict is OPEN and "cannot be compared" in check.text


def test_a_word_of_the_map_may_stand_for_the_code(truck: Truck) -> None:
    """The map calls it manual, the design's lever table says that manual is 5."""
    assert truck.drive is not None and truck.drive.log is not None
    told = replace(truck, drive=replace(truck.drive, log=replace(truck.drive.log, lever=(("manual", "5"),))))
    made = engaging(many_taps(10).made(), 1.0)
    made.labels = {"lever": ("drive", "manual")}
    assert verdict(told, made, "lever-code") is PASS


def test_manual_engages(truck: Truck) -> None:
    """At once; only after the first tap, which is no fault; never; and nobody tapped."""
    day = many_taps(10)
    at_once = engaging(day.made(), 1.0, mode_from=20.3)
    late = engaging(many_taps(10).made(), 1.0, mode_from=21.4)  # the tap is at 21 s
    check = prove_log(truck, late).check("manual-engages")
    assert (check.verdict, check.numbers["after_first_tap"]) == (PASS, 1.0)
    assert verdict(truck, at_once, "manual-engages") is PASS
    assert verdict(truck, engaging(many_taps(10).made(), 1.0, mode_from=1e9), "manual-engages") is FAIL
    quiet = Day(seconds=60.0).made()
    assert verdict(truck, engaging(quiet, 1.0, mode_from=1e9), "manual-engages") is OPEN


def test_gear_agrees(truck: Truck) -> None:
    """A wrong reported gear for 1.5 s fails, for half a second not."""
    for seconds, wanted in ((1.5, FAIL), (0.5, PASS)):
        made = many_taps(10).made()
        made.values["gear"][part(made, 15.0, 15.0 + seconds)] = 5.0
        assert verdict(truck, made, "gear-agrees") is wanted


def test_gear_slip(truck: Truck) -> None:
    """6 % too quick for two seconds fails; a shift does not."""
    made = many_taps(20).made()
    made.values["turbine"][part(made, 6.5, 8.7)] *= 1.06
    check = prove_log(truck, made).check("gear-slip")
    assert check.verdict is FAIL and check.findings[0].subject == "gear 3"
    made = many_taps(20).made()
    made.values["turbine"][part(made, 6.5, 7.2)] *= 1.06
    assert verdict(truck, made, "gear-slip") is PASS


def test_a_wrong_tooth_count_is_no_slip(truck: Truck) -> None:
    """The turbine 8 % too quick all along: the numbers are wrong, and no gear is said to slip."""
    made = many_taps(20).made()
    made.values["turbine"] *= 1.08
    report = prove_log(truck, made)
    assert report.check("driveline-numbers").verdict is FAIL
    assert report.check("gear-slip").verdict is OPEN


@pytest.mark.parametrize(("off", "wanted"), [(1.0, PASS), (1.03, PASS), (1.05, OPEN), (1.10, FAIL)])
def test_road_speed_against_the_output(truck: Truck, off: float, wanted: Verdict) -> None:
    """The tyre's own range is 1.7 % either way; 2 % more pass, 4 % more fail."""
    made = many_taps(10).made()
    made.values["road"] *= off
    assert verdict(truck, made, "driveline-numbers") is wanted


def test_low_range_is_no_wrong_axle(truck: Truck) -> None:
    """In low range the road speed halves."""
    made = many_taps(10).made()
    made.values["road"] /= 2.0
    assert verdict(truck, made, "driveline-numbers") is PASS


@pytest.mark.parametrize(("rise", "seconds", "wanted"), [(0.0, 0.0, PASS), (400.0, 0.1, FAIL), (200.0, 0.3, FAIL),
                                                         (200.0, 0.1, OPEN), (80.0, 0.1, PASS)])  # fmt: skip
def test_flare(truck: Truck, rise: float, seconds: float, wanted: Verdict) -> None:
    """Turbine above the higher of both lines, right after the command of a shift up."""
    made = many_taps(10).made(takes_s=0.9)
    rows = part(made, 5.07, 5.07 + seconds)
    made.values["turbine"][rows] = made.values["output"][rows] * RATIOS[1] + rise
    assert verdict(truck, made, "flare") is wanted


def test_flare_takes_off_what_stands_before_and_after() -> None:
    """A sensor that reads 40 rpm too much is no flare of 40 rpm."""
    at = np.arange(-0.5, 1.5, 0.01)
    output = np.full(len(at), 1000.0)
    turbine = np.where(at < 0.2, 2400.0, 1550.0) + 40.0
    made = flare_of(at, turbine, output, 2.4, 1.55)
    assert made is not None and made[0] == pytest.approx(40.0)  # below 50 rpm nothing is taken off, nothing noted
    made = flare_of(at, turbine + 30.0, output, 2.4, 1.55)
    assert made is not None and made[0] == pytest.approx(0.0, abs=1e-9)


def test_locked_slip(truck: Truck) -> None:
    """3 % between engine and turbine for 2 s, locked."""
    made = many_taps(10).made()
    made.values["engine"][part(made, 30.0, 32.0)] *= 1.03
    assert verdict(truck, made, "locked-slip") is FAIL
    made.values["lockup"][part(made, 29.0, 33.0)] = 0.2
    assert verdict(truck, made, "locked-slip") is PASS


def test_over_speed(truck: Truck) -> None:
    """Two samples above fail, one alone is not shown, far below is not shown, near below passes."""
    for rpm, rows, wanted in ((6600.0, 5, FAIL), (6600.0, 1, OPEN), (6400.0, 5, PASS), (4000.0, 5, OPEN)):
        made = many_taps(4).made()
        made.values["engine"][2000 : 2000 + rows] = rpm
        assert verdict(truck, made, "over-speed") is wanted, (rpm, rows)


def test_downshift_guard(truck: Truck) -> None:
    """A downshift into 2 above 2708 rpm of the output over-speeds for every truck of the range."""
    made = many_taps(12).made()
    assert verdict(truck, made, "downshift-guard") is PASS
    near = part(made, 8.0, 12.0)  # the step down is at 9.06 s
    for role in ("output", "turbine", "engine", "road"):
        made.values[role][near] *= 2800.0 / 1700.0
    report = prove_log(truck, made)
    assert report.check("downshift-guard").verdict is FAIL
    assert report.check("downshift-guard").findings[0].numbers["output_rpm"] == pytest.approx(2800.0)


def test_limiter(truck: Truck) -> None:
    """In automatic on the limiter for 3 s without an upshift."""
    made = Day(seconds=60.0).made()
    made.values["mode"][:] = 0.0
    made.values["engine"][part(made, 20.0, 23.0)] = 6400.0
    assert verdict(truck, made, "limiter") is FAIL
    made.values["mode"][:] = 1.0
    assert verdict(truck, made, "limiter") is OPEN


def test_limp(truck: Truck) -> None:
    """Any stay in limp."""
    made = Day(seconds=60.0).made()
    made.values["limp"] = np.zeros(len(made.time_s))
    assert verdict(truck, made, "limp") is PASS
    made.values["limp"][300:400] = 1.0
    assert verdict(truck, made, "limp") is FAIL


def test_ratios_tell_the_gear_and_no_more() -> None:
    """Inside 3 %: told. Outside: not. NaN: not. With slip only where one gear fits."""
    ratio = np.array([4.0, 4.11, 4.13, 3.0, 0.67, np.nan])
    assert gears_of(ratio, np.zeros(6), RATIOS, 0.0).tolist() == [1, 1, UNKNOWN, UNKNOWN, 6, UNKNOWN]
    found = gears_with_slip(np.array([0.83, 2.45, 1.55, 0.788]), np.zeros(4), RATIOS, 0.0, 0.15, None)
    assert found.tolist() == [UNKNOWN, 2, 3, 6]  # 0.83 is 6 with slip, or 5: not told
    locked = gears_with_slip(np.array([0.85]), np.zeros(1), RATIOS, 0.0, 0.15, np.array([True]))
    assert locked.tolist() == [5]


def test_the_band_widens_with_the_slope_but_never_over_the_half_step() -> None:
    """At 40 % a second and 0.1 s apart, 4 % are added."""
    ratio = np.array([4.0 * 1.06])
    assert gears_of(ratio, np.array([0.0]), RATIOS, 0.1)[0] == UNKNOWN
    assert gears_of(ratio, np.array([0.4]), RATIOS, 0.1)[0] == 1.0
    assert gears_of(np.array([3.0]), np.array([50.0]), RATIOS, 1.0)[0] == 2.0  # below the half-step of 3.098


def test_a_beat_is_held_and_a_slow_movement_is_not() -> None:
    """Every tenth row new: 10. A coarse channel that creeps: 1. A standing one: no answer."""
    rng = np.random.default_rng(1)
    held = np.repeat(rng.normal(1000.0, 50.0, 100), 10)
    creeping = np.round(1000.0 + 5.0 * np.sin(np.arange(1000) / 150.0), 1)
    for values, wanted in ((held, 10), (creeping, 1), (np.ones(1000), 0)):
        changes = np.flatnonzero(values[1:] != values[:-1]) + 1
        assert beat_of(values, changes) == wanted
