"""What lies clear of a gap is judged, what lies beside it is not; and how late a reported gear shows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.design import Truck
from pinproof.logs import limits, prove_log
from pinproof.logs.blocks import Block
from pinproof.logs.flares import FlaresOf
from pinproof.logs.recording import Skew
from pinproof.logs.runs import Runs, RunsOf
from pinproof.logs.seen import clear_runs
from pinproof.logs.skew_states import PARTNER, ShiftPair
from pinproof.logs.stretches import Stretches
from pinproof.verdict import Verdict
from tests.log_stand_in import RATIOS, Day, Made, many_taps, sandpiper_told

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_SHOWN
GAP_ROW = 6000  # at 60 s of 100 Hz: beside it is from 57.99 s to 62 s
BESIDE = (57.99, 62.0)


@pytest.fixture(scope="module")
def truck() -> Truck:
    """Sandpiper; its controller was told that code 5 is manual."""
    return sandpiper_told()


def gapped(gaps: list[tuple[float, float]]) -> Any:
    """What `clear_runs` needs of a log."""
    return SimpleNamespace(gaps_s=tuple(gaps), beside=Stretches(gaps, limits.BESIDE_GAP_S))


def runs_of(time_s: np.ndarray, values: np.ndarray, reading: np.ndarray | None = None) -> Runs:
    """Runs of one block without a gap."""
    made = RunsOf(100.0)
    made.take(Block(time_s, {}, np.empty(0, dtype=np.int64), True), values, reading)
    return made.runs()


@given(
    st.lists(st.tuples(st.integers(0, 400), st.integers(1, 30)), max_size=5),
    st.lists(st.integers(1, 60), min_size=1, max_size=20),
)
def test_runs_are_cut_as_a_sieve_would(gaps: list[tuple[int, int]], lengths: list[int]) -> None:
    """Tenth by tenth of a second: in a run and not beside a gap. Counts are never more than samples that are there."""
    holes = [(begin / 10.0 + 0.05, (begin + length) / 10.0 + 0.05) for begin, length in gaps]
    values = np.repeat(np.arange(len(lengths)), lengths).astype(float)
    time_s = np.arange(len(values)) / 10.0
    runs = runs_of(time_s, values)
    found = clear_runs(runs, gapped(holes))
    at = np.arange(0.0, len(values) / 10.0, 0.1) + 0.001  # never on an edge
    free = np.array([not any(a - limits.BESIDE_GAP_S <= t <= b + limits.BESIDE_GAP_S for a, b in holes) for t in at])
    for number in range(len(lengths)):
        mine, all_ = found.value == number, runs.value == number
        inside = (at >= runs.first_s[all_][0]) & (at <= runs.last_s[all_][0])
        covered = np.zeros(len(at), dtype=bool)
        for first, last in zip(found.first_s[mine], found.last_s[mine], strict=True):
            covered |= (at >= first) & (at <= last)
        assert (covered == (inside & free)).all()
        there = sum(
            np.count_nonzero((time_s >= a - 1e-9) & (time_s <= b + 1e-9))
            for a, b in zip(found.first_s[mine], found.last_s[mine], strict=True)
        )
        assert found.count[mine].sum() <= there
    assert (np.diff(found.first_s) >= 0.0).all()


def test_a_cut_run_keeps_its_mean_if_half_of_it_is_left() -> None:
    """Mean of the whole; unknown where more was cut off than is left. What touches no gap is as it was."""
    time_s = np.arange(0.0, 30.0, 0.1)
    values = np.where(time_s < 9.95, 0.0, np.where(time_s < 19.95, 1.0, 2.0))
    reading = values + 0.5
    runs = runs_of(time_s, values, reading)
    found = clear_runs(runs, gapped([(20.0, 25.0)]))
    assert found.value.tolist() == [0.0, 1.0, 2.0]
    assert found.last_s[1] == pytest.approx(18.0) and found.first_s[2] == pytest.approx(27.0)
    assert found.means[0] == pytest.approx(0.5) and found.means[1] == pytest.approx(1.5)
    assert np.isnan(found.means[2]) and np.isnan(found.before_s[2])  # 2.9 of 9.9 s are left
    assert found.before_s[1] == runs.before_s[1]


Spoil = Callable[[Made, np.ndarray], None]


def fast(made: Made, rows: np.ndarray) -> None:
    """The engine above its most."""
    made.values["engine"][rows] = 6600.0


def limping(made: Made, rows: np.ndarray) -> None:
    """The controller in limp."""
    made.values["limp"] = np.zeros(len(made.time_s))
    made.values["limp"][rows] = 1.0


def another_gear(made: Made, rows: np.ndarray) -> None:
    """Another gear reported than is in."""
    made.values["gear"][rows] = 5.0


def held_at_the_limiter(made: Made, rows: np.ndarray) -> None:
    """In automatic on the limiter."""
    made.values["mode"][:] = 0.0
    made.values["engine"][rows] = 6400.0


def not_engaging(made: Made, rows: np.ndarray) -> None:
    """The lever in manual with a tap, and manual does not engage."""
    made.values["lever"] = np.where(rows, 1.0, 0.0)
    made.values["mode"] = np.zeros(len(made.time_s))
    made.values["tap_up"][:] = 0.0
    made.values["tap_up"][6300:6315] = 1.0


def in_no_window(made: Made, rows: np.ndarray) -> None:
    """The pin reads in no window."""
    made.values["pin.taps"] = np.full(len(made.time_s), 0.109)
    made.values["pin.taps"][rows] = 0.7
    made.units = {**made.units, "pin.taps": "ratio"}


def meant_otherwise(made: Made, rows: np.ndarray) -> None:
    """The pin reads manual, the controller says automatic."""
    made.values["pin.taps"] = np.where(rows, 0.109, 0.005)
    made.values["meaning.taps"] = np.zeros(len(made.time_s))
    made.units = {**made.units, "pin.taps": "ratio"}
    made.labels = {**made.labels, "meaning.taps": ("automatic", "manual", "up", "down")}


@pytest.mark.parametrize(
    ("check", "spoil", "least_s"),
    [("over-speed", fast, 0.05), ("limp", limping, 0.05), ("gear-agrees", another_gear, 1.1),
     ("limiter", held_at_the_limiter, 2.1), ("manual-engages", not_engaging, 4.0), ("pin-window", in_no_window, 0.25),
     ("pin-meaning", meant_otherwise, 2.0)],
)  # fmt: skip
def test_what_lies_clear_of_a_gap_is_judged(truck: Truck, check: str, spoil: Spoil, least_s: float) -> None:
    """It begins beside the gap: no fault while it stays there, a fault once enough of it lies clear."""
    for until_s, wanted in ((BESIDE[1] - 0.05, False), (BESIDE[1] + least_s, True)):
        made = Day(seconds=200.0).made(gaps=(GAP_ROW,))
        spoil(made, (made.time_s >= 60.5) & (made.time_s < until_s))
        found = prove_log(truck, made).check(check)
        assert (found.verdict is FAIL) is wanted, (until_s, found.text)
        if wanted:
            first = next(each for each in found.findings if each.verdict is FAIL)
            assert first.from_s is not None and first.from_s >= BESIDE[1] - 1e-9


def test_a_stay_in_manual_that_begins_beside_a_gap_is_no_proof_that_manual_engages(truck: Truck) -> None:
    """Nobody saw how it engaged."""
    made = Day(seconds=200.0).made(gaps=(GAP_ROW,))
    made.values["lever"] = np.where(made.time_s < 60.5, 0.0, 1.0)
    made.values["mode"] = np.where(made.time_s < 60.7, 0.0, 1.0)
    assert prove_log(truck, made).check("manual-engages").verdict is OPEN


# a state that shows late


@pytest.mark.parametrize(("left_s", "rate_hz", "basis", "wanted"), [
    (0.8, 100.0, "seldom", FAIL), (0.4, 100.0, "seldom", OPEN), (0.4, 20.0, "held", FAIL), (0.1, 20.0, "held", OPEN),
    (0.8, 1.0, "held", OPEN)])  # fmt: skip
def test_a_shift_before_manual_is_left(
    truck: Truck, left_s: float, rate_hz: float, basis: str, wanted: Verdict
) -> None:
    """No tap asked for it: that manual shows late explains it only within what its channel can be late."""
    day = Day(seconds=60.0)
    day.shift(30.0, "up")
    made = day.made(rates={"mode": (rate_hz, basis)})
    made.values["mode"][made.time_s >= 30.0 + left_s] = 0.0
    assert prove_log(truck, made).check("unasked-shift").verdict is wanted


def steps_and_ratio(lag_s: float, shifts: int, apart_s: float = 7.0) -> tuple[np.ndarray, ...]:
    """Gear, turbine and output at 100 Hz; the gear shows `lag_s` after half of the ratio's change of 0.4 s."""
    rng = np.random.default_rng(8)
    time_s = np.arange(round((shifts + 1) * apart_s * 100.0)) / 100.0
    gear, real = np.full(len(time_s), 2.0), np.full(len(time_s), np.log(RATIOS[1]))
    for number in range(shifts):
        at, up = apart_s * (number + 1), number % 2 == 0
        old, new = (RATIOS[1], RATIOS[2]) if up else (RATIOS[2], RATIOS[1])
        gear[time_s >= at + lag_s - 1e-9] = 3.0 if up else 2.0
        part = np.clip((time_s - at + 0.2) / 0.4, 0.0, 1.0)
        real = np.where(time_s >= at - 0.2, np.log(old) + part * np.log(new / old), real)
    output = 1500.0 + 200.0 * np.sin(time_s / 9.0)
    turbine = output * np.exp(real)
    return time_s, gear, turbine + rng.normal(0.0, 4.0, len(time_s)), output + rng.normal(0.0, 2.0, len(time_s))


@pytest.mark.parametrize("lag_s", [-0.4, -0.05, 0.0, 0.12, 0.33, 1.2])
def test_lag_of_a_reported_gear(lag_s: float) -> None:
    """Planted lags come back; the shift's own length and noise put nothing to them."""
    time_s, *columns = steps_and_ratio(lag_s, 20)
    pair = ShiftPair("gear")
    for at in range(0, len(time_s), 5000):
        cut = slice(at, at + 5000)
        pair.feed(time_s[cut], *(each[cut] for each in columns))
    skew = pair.skew(0.01)
    assert skew is not None and (skew.role, skew.partner) == ("gear", PARTNER)
    assert skew.lag_s == pytest.approx(lag_s, abs=0.015)
    assert skew.stretches >= 12 and skew.uncertainty_s < 0.02


def test_few_shifts_or_shifts_that_follow_each_other_tell_no_lag() -> None:
    """Four shifts, shifts that are 1.5 s apart, a parked truck: nothing is said."""
    for columns in (steps_and_ratio(0.2, 4), steps_and_ratio(0.2, 40, apart_s=1.5)):
        pair = ShiftPair("gear")
        pair.feed(*columns)
        assert pair.skew(0.01) is None
    time_s, gear, turbine, output = steps_and_ratio(0.2, 20)
    pair = ShiftPair("gear")
    pair.feed(time_s, gear, turbine * 0.0 + 800.0, output * 0.0)
    assert pair.skew(0.01) is None


def test_rows_that_hold_one_channel_each_tell_the_lag_too() -> None:
    """As in a bus recording; and a slow gear between them."""
    time_s, gear, turbine, output = steps_and_ratio(0.25, 30)
    every = np.arange(len(time_s))
    gear[every % 5 != 0], turbine[every % 5 != 1], output[every % 5 != 3] = np.nan, np.nan, np.nan
    pair = ShiftPair("gear")
    pair.feed(time_s, gear, turbine, output)
    skew = pair.skew(0.01)
    assert skew is not None and skew.lag_s == pytest.approx(0.25, abs=0.025)


def shown_late(made: Made, by_s: float, role: str = "gear") -> Made:
    """The same channel so much later."""
    rows = round(by_s * 100.0)
    made.values[role] = np.concatenate([np.full(rows, made.values[role][0]), made.values[role][:-rows]])
    return made


def test_a_display_that_is_late_is_no_wrong_gear(truck: Truck) -> None:
    """1.5 s late is a wrong gear for 1.5 s, unless it was measured: then only what is left counts."""
    skew = Skew("gear", PARTNER, 1.5, 0.01, 20, 1.0)
    made = shown_late(many_taps(10).made(), 1.5)
    assert prove_log(truck, made).check("gear-agrees").verdict is FAIL
    made.skews = (skew,)
    check = prove_log(truck, made).check("gear-agrees")
    assert check.verdict is PASS and "1500 ms late" in check.text
    made.values["gear"][(made.time_s >= 22.5) & (made.time_s < 24.0)] = 5.0
    assert prove_log(truck, made).check("gear-agrees").verdict is FAIL
    made.skews = (replace(skew, uncertainty_s=0.6),)  # least favourable: 0.9 s
    assert prove_log(truck, made).check("gear-agrees").verdict is PASS


def test_the_speed_of_a_downshift_that_shows_late_is_looked_for_before_it(truck: Truck) -> None:
    """Above the limit when it shifted, below it when the display says so: no pass once the lag is known."""
    made = shown_late(many_taps(12).made(drop=("gear_commanded",)), 0.6)  # the step down at 9.06 s shows at 10.06 s
    near = (made.time_s >= 8.0) & (made.time_s < 9.6)
    for role in ("output", "turbine", "engine", "road"):
        made.values[role][near] *= 2800.0 / 1700.0
    assert prove_log(truck, made).check("downshift-guard").verdict is PASS
    made.skews = (Skew("gear", PARTNER, 0.72, 0.01, 20, 1.0),)
    check = prove_log(truck, made).check("downshift-guard")
    assert check.verdict is OPEN, check.text
    assert check.findings[0].numbers["output_rpm"] == pytest.approx(1700.0)


def test_a_third_gear_between_is_no_flare() -> None:
    """From 5 to 4, and by 5 to 6 so quickly that 5 is hardly in: the earlier stay in 5 is not where 5 to 6 began."""
    time_s = np.arange(0.0, 8.0, 0.05)
    output = np.full(len(time_s), 2500.0)
    gears = np.select([time_s < 3.0, time_s < 5.0, time_s < 5.2], [5, 4, 5], 6)
    ratios = (5.95, 3.73, 2.44, 1.67, 1.21, 0.93, 0.74)
    turbine = output * np.array(ratios)[gears - 1]
    found = FlaresOf(ratios, shown_late=True)
    found.expect([(3.1, 5.0, 4.0), (5.1, 4.0, 5.0), (5.3, 5.0, 6.0)])
    found.take(time_s, turbine, output, np.inf)
    assert [(each.before, each.after) for each in found.found if each.peak_rpm > 50.0] == []
    assert (5.0, 6.0) not in [(each.before, each.after) for each in found.found]
