"""Channels that show late, seldom or with holes, and taps that are mixed up: what a log of them may and may not say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pinproof.design import Truck
from pinproof.logs import load_script, prove_log
from pinproof.logs.flares import transit_of
from pinproof.logs.line_blocks import line_blocks
from pinproof.logs.ratio import UNKNOWN, of_one_range
from pinproof.verdict import Verdict
from tests.log_stand_in import RATIOS, Day, Made, many_taps, sandpiper_told

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_SHOWN


@pytest.fixture(scope="module")
def truck() -> Truck:
    """Sandpiper; its controller was told that code 5 is manual."""
    return sandpiper_told()


def late_gear(made: Made, by_s: float) -> Made:
    """Only a display tells the gear, and shows it so much later."""
    rows = round(by_s * 100.0)
    del made.values["gear_commanded"]
    shown = made.values["gear"]
    made.values["gear"] = np.concatenate([np.full(rows, shown[0]), shown[:-rows]])
    return made


@pytest.mark.parametrize("late_s", [0.05, 0.6, 1.2])
@pytest.mark.parametrize(("rise", "seconds", "wanted"), [(0.0, 0.0, PASS), (400.0, 0.1, FAIL), (200.0, 0.3, FAIL),
                                                         (200.0, 0.1, OPEN)])  # fmt: skip
def test_flare_where_only_a_display_tells_the_gear(
    truck: Truck, rise: float, seconds: float, wanted: Verdict, late_s: float
) -> None:
    """However late the display shows it, the flare lies between both bands, and is no slip."""
    made = many_taps(10).made(takes_s=0.9)
    rows = (made.time_s >= 5.1) & (made.time_s < 5.1 + seconds)
    made.values["turbine"][rows] = made.values["output"][rows] * RATIOS[1] + rise
    report = prove_log(truck, late_gear(made, late_s))
    assert report.check("flare").verdict is wanted, report.check("flare").text
    assert report.check("gear-slip").verdict is not FAIL


def test_a_slow_next_shift_is_no_flare(truck: Truck) -> None:
    """Up, and down again as soon as the gear was in, before the display has shown it: the rise is asked for."""
    day = Day(seconds=120.0)
    for number in range(12):
        day.tap(5.0 + 9.0 * number, "up")
        day.tap(5.9 + 9.0 * number, "down")
    made = late_gear(day.made(takes_s=0.4), 0.6)
    check = prove_log(truck, made).check("flare")
    assert check.verdict is not FAIL, check.text


def test_transit() -> None:
    """From 1 s before the old band was left to the new band; None where one of both is not held."""
    time_s = np.arange(0.0, 5.0, 0.01)
    output = np.full(len(time_s), 1000.0)
    q = np.interp(time_s, [2.0, 2.8], [2.4, 1.55])
    found = transit_of(time_s, q * output, output, 2.4, 1.55, 3.5)
    assert found is not None
    # within 6 % of each ratio: straight line from 2.4 to 1.55 in 0.8 s
    assert found[0] == pytest.approx(1.0 + 0.8 * (0.06 * 2.4) / 0.85, abs=0.011)
    assert found[1] == pytest.approx(2.8 - 0.8 * (0.06 * 1.55) / 0.85, abs=0.011)
    assert transit_of(time_s, q * output, output, 4.0, 1.55, 3.5) is None
    assert transit_of(time_s, q * output, output, 2.4, 1.55, 2.0) is None  # shown before it was in


def test_one_transfer_range_for_a_long_stretch() -> None:
    """A second in which only the other range fits tells nothing; a minute of it does."""
    time_s = np.arange(0.0, 240.0, 0.1)
    high = np.where(time_s < 120.0, 3.0, UNKNOWN)
    low = np.where(time_s < 120.0, UNKNOWN, 2.0)
    high[500:520], low[500:520] = UNKNOWN, 5.0
    low[700:720] = 1.0  # both fit
    low[800:820] = 3.0  # both fit, and agree
    codes = of_one_range(time_s, [high, low])
    assert (codes[:500] == 3.0).all() and (codes[500:520] == UNKNOWN).all() and (codes[520:700] == 3.0).all()
    assert (codes[700:720] == UNKNOWN).all() and (codes[720:1200] == 3.0).all()
    assert (codes[1200:] == 2.0).all()
    mixed = of_one_range(
        time_s[:600], [np.where(time_s[:600] < 30.0, 3.0, UNKNOWN), np.where(time_s[:600] < 30.0, UNKNOWN, 2.0)]
    )
    assert (mixed == UNKNOWN).all()


def test_temperature_with_holes(truck: Truck) -> None:
    """A hot stretch beside a gap still counts; a sensor that fills one cell in ten seconds is seen all the time."""
    made = Day(seconds=900.0, rate_hz=10.0).made()
    hot = np.full(len(made.time_s), 60.0)
    hot[1000:1300] = 85.0
    made.values["coder_temperature"] = hot
    made.gaps = (1150,)
    made.time_s = made.time_s + np.where(np.arange(len(made.time_s)) >= 1150, 20.0, 0.0)
    check = prove_log(truck, made).check("temperature")
    assert check.verdict is FAIL and check.findings[0].to_s is not None
    assert check.findings[0].to_s == pytest.approx(114.9 - 2.0)  # 2 s before the gap
    made = Day(seconds=900.0, rate_hz=10.0).made()
    thin = np.where(np.arange(len(made.time_s)) % 100 == 0, 60.0, np.nan)
    made.values["coder_temperature"] = thin
    check = prove_log(truck, made).check("temperature")
    assert check.verdict is PASS and check.numbers["seconds"] == pytest.approx(890.0, abs=1.0)
    thin[3000:3400] = np.where(np.isnan(thin[3000:3400]), np.nan, 85.0)
    assert prove_log(truck, made).check("temperature").verdict is FAIL
    thin[:] = np.nan
    thin[::1000] = 60.0  # a sample every 100 s says nothing of the time between
    assert prove_log(truck, made).check("temperature").verdict is OPEN


def test_delays_only_where_each_tap_has_its_step(truck: Truck) -> None:
    """Now and then an unanswered tap with an answered one 0.5 s after it: a missed tap, not a slow controller."""
    day = many_taps(20)
    for _ in range(8):
        at = day.seconds
        way = "up" if day.gear == 2 else "down"
        day.seconds += 6.0
        day.tap(at, way, delay_s=None)
        day.tap(at + 0.5, way)
    report = prove_log(truck, day.made())
    assert report.check("tap-delay").verdict is PASS, report.check("tap-delay").text
    assert report.check("shift-time").verdict is PASS, report.check("shift-time").text
    slow = many_taps(0)
    for number in range(24):
        slow.tap(5.0 + 4.0 * number, "down" if number % 2 else "up", delay_s=0.3)
    slow.seconds = 110.0
    assert prove_log(truck, slow.made()).check("tap-delay").verdict is FAIL


def engaging(late: float, basis: str) -> Made:
    """Manual engages at 20 s with the lever on 5, which is shown so much later."""
    made = many_taps(10).made()
    made.values["lever"] = np.where(made.time_s < 20.0 + late, 0.0, 1.0)
    made.values["mode"] = np.where(made.time_s < 20.0, 0.0, 1.0)
    made.labels = {"lever": ("4", "5", "6")}
    made.rates = {"lever": (100.0, basis)}
    return made


def test_a_rate_that_was_never_seen_is_not_relied_on(truck: Truck) -> None:
    """The lever changes too seldom to tell its rate: shown 0.3 s late it is no wrong code, and no right one either."""
    assert prove_log(truck, engaging(0.3, "rows")).check("lever-code").verdict is FAIL
    assert prove_log(truck, engaging(0.3, "seldom")).check("lever-code").verdict is OPEN
    assert prove_log(truck, engaging(0.8, "seldom")).check("lever-code").verdict is FAIL
    assert prove_log(truck, engaging(-2.0, "seldom")).check("lever-code").verdict is PASS


SESSION = """format = 1
[[phase]]
kind = "key on, engine off"
from = "0 s"
to = "200 s"
up = 10
down = 10
held = "{held}"
"""


@pytest.mark.parametrize(("held", "wanted"), [("0.5 s", PASS), ("0.04 s", OPEN)])
def test_a_window_passed_through_is_no_press(truck: Truck, tmp_path: Path, held: str, wanted: Verdict) -> None:
    """On its way to down the pin reads up for one sample."""
    day = Day(seconds=210.0)
    for number in range(20):
        day.tap(5.0 + 9.0 * number, "down" if number % 2 else "up", length_s=0.5, delay_s=None)
    made = day.made(drop=("tap_up", "tap_down"))
    pressed = {"up": 0.252, "down": 0.455}
    pin = np.full(len(made.time_s), 0.109)
    for begin, length, way in day.taps:
        pin[(made.time_s >= begin) & (made.time_s < begin + length)] = pressed[way]
        if way == "down":
            row = int(np.searchsorted(made.time_s, begin))
            pin[row : row + 2] = pressed["up"]
    made.values["pin.taps"] = pin
    made.units = {**made.units, "pin.taps": "ratio"}
    path = tmp_path / "script.toml"
    path.write_text(SESSION.format(held=held), encoding="utf-8")
    check = prove_log(truck, made, load_script(path)).check("press-count")
    assert check.verdict is wanted, check.text


@pytest.mark.parametrize("block", [7, 64, 1 << 20])
@pytest.mark.parametrize("end", ["", "\n", "cut"])
def test_blocks_of_lines_hold_the_file(tmp_path: Path, block: int, end: str) -> None:
    """Whatever the size of a block, joined they are the file, and each ends with a line."""
    text = "a;b\n" + "\n".join(f"{k};{'x' * (k % 40)}" for k in range(300)) + end
    path = tmp_path / "log.csv"
    path.write_bytes(text.encode())
    made = list(line_blocks(path, "utf-8", 0, block=block))
    assert b"".join(made) == text.encode()
    assert all(each.endswith(b"\n") for each in made[:-1])
