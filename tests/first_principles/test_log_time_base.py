"""The clock of a log: what is found and repaired, and what the channels really hold.

Each case plants one defect into a known recording and asks for it back; a clean recording must give no finding.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.logs.cuts import Stretch
from pinproof.logs.faults import LogFault
from pinproof.logs.rates import Changes
from pinproof.logs.recording import Finding
from pinproof.logs.skew import Pair, lag_between
from pinproof.logs.source import Piece
from pinproof.logs.time_base import Clock

STEP_S = 0.01


def run(
    stamp_s: np.ndarray,
    values: dict[str, np.ndarray] | None = None,
    *,
    rows: int = 1500,
    wraps_s: tuple[float, ...] = (),
) -> tuple[np.ndarray, dict[str, np.ndarray], list[Stretch], Clock]:
    """Feed in pieces of `rows`; the whole time, the whole values, stretches, the clock."""
    clock = Clock("log", wraps_s)
    values = values if values is not None else {"engine": np.arange(len(stamp_s), dtype=float)}

    def given_out() -> Iterator[Stretch]:
        for at in range(0, len(stamp_s), rows):
            yield from clock.feed(Piece(stamp_s[at : at + rows], {k: v[at : at + rows] for k, v in values.items()}))
        yield from clock.finish()

    got = list(given_out())
    time_s = np.concatenate([each.time_s for each in got]) if got else np.array([])
    whole = {role: np.concatenate([each.values[role] for each in got]) for role in values}
    assert (np.diff(time_s) > 0.0).all()
    assert all(len(each.time_s) for each in got)
    return time_s, whole, got, clock


def found(clock: Clock) -> dict[str, Finding]:
    """Findings by kind."""
    return {each.kind: each for each in clock.findings()}


def ticks(count: int) -> np.ndarray:
    """Stamps of a perfect logger."""
    return np.arange(count) * STEP_S


@pytest.mark.parametrize("rows", [1, 7, 1000, 100_000])
def test_a_clean_clock_has_no_finding(rows: int) -> None:
    """However the pieces are cut; nothing is changed."""
    count = 50 if rows == 1 else 5000
    time_s, values, got, clock = run(1000.0 + ticks(count), rows=rows)
    assert time_s == pytest.approx(ticks(count), abs=1e-9)
    assert values["engine"].tolist() == list(range(count))
    assert found(clock) == {}
    assert [each.gap_before for each in got] == [True] + [False] * (len(got) - 1)


def test_gaps_and_missing_rows() -> None:
    """A gap begins a new stretch; a few missing rows are counted."""
    keep = np.ones(10_000, dtype=bool)
    keep[3000:3500] = False  # 5 s
    keep[7000:7002] = False  # two rows
    time_s, _, got, clock = run(ticks(10_000)[keep])
    assert len(time_s) == 9498
    assert clock.gaps == [(pytest.approx(29.99), pytest.approx(35.0))]
    assert sum(each.gap_before for each in got) == 2
    begins = next(each for each in got[1:] if each.gap_before)
    assert begins.time_s[0] == pytest.approx(35.0)
    assert found(clock)["missing rows"].count == 2
    assert found(clock)["gap"].count == 1


def test_rows_that_stand_twice() -> None:
    """Single rows and a block of 300 that was written again."""
    at = np.arange(6000)
    twice = np.concatenate((at[:2000], at[1990:2000], at[2000:4000], at[3700:4000], at[4000:]))
    time_s, values, _, clock = run(ticks(6000)[twice], {"engine": at.astype(float)[twice]})
    assert values["engine"].tolist() == at.tolist()
    assert time_s == pytest.approx(ticks(6000))
    assert found(clock)["duplicate rows"].count == 310
    assert set(found(clock)) == {"duplicate rows"}


def test_rows_of_the_same_stamp_are_joined_where_they_fit() -> None:
    """One holds what the other lacks; where both hold something, the first counts."""
    stamp_s = np.repeat(ticks(2000), 2)
    engine, road = np.full(4000, np.nan), np.full(4000, np.nan)
    engine[::2], road[1::2] = np.arange(2000), 5.0
    time_s, values, _, clock = run(stamp_s, {"engine": engine, "road": road})
    assert len(time_s) == 2000
    assert values["engine"].tolist() == list(range(2000)) and (values["road"] == 5.0).all()
    assert found(clock)["same stamp"].repair == "joined"
    engine = np.concatenate((np.arange(1000.0), [77.0], np.arange(1000.0, 2000.0)))
    stamp_s = np.concatenate((ticks(1000), [9.99], ticks(2000)[1000:]))
    time_s, values, _, clock = run(stamp_s, {"engine": engine})
    assert values["engine"].tolist() == list(range(2000))
    assert (found(clock)["same stamp"].count, found(clock)["same stamp"].repair) == (1, "the later ones left out")


def test_late_rows_are_put_in_order() -> None:
    """Neighbours swapped, and a block that comes 300 rows late."""
    order = np.arange(8000)
    order[2000], order[2001] = 2001, 2000
    block = order[5000:5200].copy()
    order = np.concatenate((order[:5000], order[5200:5500], block, order[5500:]))
    time_s, values, got, clock = run(ticks(8000)[order], {"engine": order.astype(float)})
    assert values["engine"].tolist() == list(range(8000))
    assert time_s == pytest.approx(ticks(8000))
    assert found(clock)["late rows"].count == 201
    assert not any(each.gap_before for each in got[1:])


@pytest.mark.parametrize("back_s", [0.5, 3.0, 60.0, 5000.0])
def test_a_clock_that_was_set_back(back_s: float) -> None:
    """The rest goes on after the last row, behind a gap; no row is lost or mixed with others."""
    stamp_s = 5000.0 + ticks(9000)
    stamp_s[4000:] -= back_s
    time_s, values, got, clock = run(stamp_s)
    assert values["engine"].tolist() == list(range(9000))
    assert time_s[4000] - time_s[3999] == pytest.approx(STEP_S, rel=0.01)
    assert sum(each.gap_before for each in got) == 2
    assert next(each for each in got[1:] if each.gap_before).values["engine"][0] == 4000
    assert found(clock)["clock set back"].count == 1
    assert set(found(clock)) == {"clock set back"}


def test_a_file_that_holds_a_part_twice_is_told() -> None:
    """The logger began anew with the same rows: kept, but said."""
    stamp_s = np.concatenate((ticks(5000), ticks(5000)))
    values = np.concatenate((np.arange(5000.0), np.arange(5000.0)))
    _, _, _, clock = run(stamp_s, {"engine": values})
    assert "twice" in found(clock)["clock set back"].text
    _, _, _, clock = run(stamp_s)
    assert "twice" not in found(clock)["clock set back"].text


def test_a_jump_ahead_and_a_stray_stamp() -> None:
    """More than an hour ahead is a gap that may be the clock; one odd stamp is left out."""
    stamp_s = ticks(6000)
    stamp_s[3000:] += 7200.0
    _, values, _, clock = run(stamp_s)
    assert len(values["engine"]) == 6000
    assert set(found(clock)) == {"gap", "clock jump"}
    stamp_s = ticks(6000)
    stamp_s[3000] = 1e6
    time_s, values, got, clock = run(stamp_s)
    assert len(time_s) == 5999 and time_s[-1] == pytest.approx(59.99)
    assert found(clock)["odd stamps"].count == 1
    assert not any(each.gap_before for each in got[1:])


@pytest.mark.parametrize(("wrap_s", "period_s"), [(86_400.0, 0.1), (65.536, 0.01), (4_294_967.296, 0.01)])
def test_a_clock_that_begins_anew_is_carried_on(wrap_s: float, period_s: float) -> None:
    """Midnight, and counters of 16 and 32 bits of milliseconds."""
    true_s = wrap_s - 20.0 + np.arange(8000) * period_s
    time_s, _, got, clock = run(np.mod(true_s, wrap_s), wraps_s=(wrap_s,))
    assert time_s == pytest.approx(true_s - true_s[0], abs=1e-6)
    assert "clock wrapped" in found(clock) and "clock set back" not in found(clock)
    assert not any(each.gap_before for each in got[1:])


def test_stamps_that_are_coarser_than_the_rows() -> None:
    """20 Hz with stamps of whole seconds: spread evenly, and said how well a time is known."""
    true_s = np.arange(4000) * 0.05
    time_s, values, _, clock = run(np.floor(true_s), {"engine": np.arange(4000.0)}, rows=333)
    assert values["engine"].tolist() == list(range(4000))
    assert time_s == pytest.approx(true_s, abs=1e-9)
    assert "only to within 1 s" in found(clock)["coarse stamps"].text


def test_a_parked_truck_under_coarse_stamps_loses_nothing() -> None:
    """Nothing changes at first: rows that share a second are not taken for copies. True copies still are."""
    engine = np.concatenate((np.repeat(np.arange(80.0), 25), np.arange(6000.0)))
    true_s = np.arange(8000) * 0.1
    time_s, values, _, clock = run(np.floor(true_s), {"engine": engine})
    assert values["engine"].tolist() == engine.tolist()
    assert time_s == pytest.approx(true_s, abs=1e-6)
    assert "duplicate rows" not in found(clock)
    _, values, _, clock = run(np.repeat(ticks(4000), 2), {"engine": np.repeat(np.arange(4000.0), 2)})
    assert len(values["engine"]) == 4000
    assert found(clock)["duplicate rows"].count == 4000


def test_a_column_that_is_no_clock_is_refused() -> None:
    """Random numbers are no time."""
    with pytest.raises(LogFault, match="it is no clock"):
        run(np.random.default_rng(1).uniform(0.0, 1000.0, 30_000))


def test_many_late_rows_take_bearable_time() -> None:
    """Two interleaved streams of a bus: every third row is late, all are kept."""
    rng = np.random.default_rng(2)
    stamp_s = np.arange(200_000) * 0.001
    mixed = stamp_s + np.where(rng.random(len(stamp_s)) < 0.3, rng.uniform(0.0, 0.004, len(stamp_s)), 0.0)
    time_s, _, _, clock = run(mixed, rows=30_000)
    assert len(time_s) == len(stamp_s)
    assert time_s == pytest.approx(np.sort(mixed) - mixed[0], abs=1e-9)
    assert found(clock)["late rows"].count > 10_000


@given(
    st.lists(st.sampled_from(["gap", "swap", "twice", "back", "ahead"]), max_size=4), st.integers(1, 5000),
    st.integers(0, 2**32 - 1),
)  # fmt: skip
def test_whatever_happens_time_rises_and_rows_are_accounted_for(defects: list[str], rows: int, seed: int) -> None:
    """Any mixture of defects, cut anywhere: `run` checks the order; every row read was kept or is in a finding."""
    rng = np.random.default_rng(seed)
    stamp_s, engine = ticks(6000), np.arange(6000.0)
    for defect in defects:
        at = int(rng.integers(100, len(stamp_s) - 500))
        if defect == "gap":
            keep = np.r_[0:at, at + 50 : len(stamp_s)]
            stamp_s, engine = stamp_s[keep], engine[keep]
        elif defect == "swap":
            stamp_s[[at, at + 1]], engine[[at, at + 1]] = stamp_s[[at + 1, at]], engine[[at + 1, at]]
        elif defect == "twice":
            keep = np.r_[0 : at + 40, at : len(stamp_s)]
            stamp_s, engine = stamp_s[keep], engine[keep]
        else:
            stamp_s = stamp_s.copy()
            stamp_s[at:] += -7.0 if defect == "back" else 4000.0
    time_s, values, _, clock = run(stamp_s, {"engine": engine}, rows=max(rows, 50))
    lost = sum(each.count for each in clock.findings() if each.kind in ("duplicate rows", "same stamp", "odd stamps"))
    assert clock.rows_read == len(stamp_s)
    assert clock.rows_kept == len(time_s) == len(stamp_s) - lost
    assert set(values["engine"]) == set(engine), "no value disappears but with a row that stands twice"


def learned(values: np.ndarray, rows: int = 20_000, time_s: np.ndarray | None = None) -> Changes:
    """Changes of a channel, fed in pieces."""
    made = Changes()
    time_s = ticks(len(values)) if time_s is None else time_s
    for at in range(0, len(values), rows):
        made.feed(time_s[at : at + rows], values[at : at + rows])
    return made


def wander(count: int, step: float = 3.0, seed: int = 5) -> np.ndarray:
    """A signal that moves with every sample, two decimals."""
    return np.round(1500.0 + np.cumsum(np.random.default_rng(seed).normal(0.0, step, count)), 2)


@pytest.mark.parametrize("k", [2, 3, 5, 10, 20, 50])
def test_held_values_are_seen(k: int) -> None:
    """A channel of 100 / k Hz in rows of 100 Hz; and the same channel at full rate is not called held."""
    beat = learned(np.repeat(wander(60_000 // k), k)).held(200)
    assert beat is not None and beat.rows == k
    assert learned(wander(60_000)).held(200) is None


@pytest.mark.parametrize("hz", [30.0, 12.5, 7.0])
def test_held_values_of_a_rate_that_does_not_divide(hz: float) -> None:
    """The beat is then a fraction."""
    rows = np.floor(ticks(60_000) * hz + 1e-9).astype(int)
    beat = learned(wander(int(rows.max()) + 1)[rows]).held(200)
    assert beat is not None and 100.0 / beat.rows == pytest.approx(hz, rel=0.02)


def taps(count: int, seed: int, hold_rows: int = 1) -> np.ndarray:
    """A tap state with presses of 80 to 300 ms and pauses of 1 to 6 s, then held over `hold_rows`."""
    rng = np.random.default_rng(seed)
    made, at = np.zeros(count), 100
    while at < count - 700:
        press = int(rng.integers(8, 31))
        made[at : at + press] = 1.0
        at += press + int(rng.integers(100, 600))
    return np.repeat(made[::hold_rows], hold_rows)[:count]


@pytest.mark.parametrize("seed", range(8))
def test_a_tap_channel_is_held_only_if_it_is(seed: int) -> None:
    """Its few edges suffice for a beat of 10 rows, and chance makes none."""
    assert learned(taps(120_000, seed)).held(200) is None
    beat = learned(taps(120_000, seed, 10)).held(200)
    assert beat is not None and beat.rows == pytest.approx(10, abs=0.3)


def test_a_lever_that_moves_seldom() -> None:
    """Eight moves on a grid of 10 rows are a beat; eight moves anywhere, or three, tell nothing."""
    rng = np.random.default_rng(21)
    at = np.cumsum(rng.integers(50, 900, 9))
    moves = np.repeat(np.arange(10.0), np.diff(np.concatenate(([0], at * 10, [60_000]))))[:60_000]
    beat = learned(moves).held(200)
    assert beat is not None and beat.rows == 10
    free = np.repeat(np.arange(10.0), np.diff(np.concatenate(([0], np.sort(rng.integers(0, 60_000, 9)), [60_000]))))
    assert learned(free).held(200) is None
    few = np.repeat(np.arange(4.0), np.diff(np.concatenate(([0], at[:3] * 10, [60_000]))))
    assert learned(few).held(200) is None


def test_presses_of_equal_length_are_no_beat() -> None:
    """A scripted switch presses 150 ms each time: that says nothing of the logger."""
    rng = np.random.default_rng(4)
    made, at = np.zeros(200_000), 500
    while at < 199_000:
        made[at : at + 15] = 1.0
        at += 15 + int(rng.integers(200, 700))
    assert learned(made).held(200) is None


def test_a_slow_signal_is_not_called_held() -> None:
    """An oil temperature with one decimal changes seldom, but in no beat."""
    rng = np.random.default_rng(9)
    drift = np.cumsum(rng.normal(0.0, 0.004, 300_000)) + 0.0
    assert learned(np.round(80.0 + drift, 1)).held(200) is None


@pytest.mark.parametrize("k", [4, 10, 25])
def test_straight_pieces_are_seen(k: int) -> None:
    """Drawn between every k-th row, two decimals; a noisy channel and a constant slope are not called so."""
    knots = wander(40_000 // k + 1, step=20.0)
    drawn = np.round(np.interp(np.arange(40_000), np.arange(len(knots)) * k, knots), 2)
    beat = learned(drawn).straight(200)
    assert beat is not None and beat.rows == pytest.approx(k, abs=0.3)
    assert learned(wander(40_000)).straight(200) is None
    assert learned(np.round(1000.0 + 0.37 * np.arange(40_000), 2)).straight(200) is None


def test_samples_between_empty_cells() -> None:
    """A cell in every fourth row: 25 Hz."""
    values = np.full(40_000, np.nan)
    values[::4] = wander(10_000)
    made = learned(values)
    assert made.sample_rate_hz == pytest.approx(25.0)
    assert (made.recorded, made.rows) == (10_000, 40_000)


def drive(count: int, seed: int = 11) -> np.ndarray:
    """Speed of a drive at 100 Hz: smooth, alive."""
    rng = np.random.default_rng(seed)
    push = np.repeat(rng.normal(0.0, 1.5, count // 150 + 1), 150)[:count]
    smooth = np.convolve(push, np.ones(80) / 80, "same")
    return 1500.0 + 40.0 * np.cumsum(smooth) * STEP_S


@pytest.mark.parametrize("lag_s", [0.0, 0.043, 0.12, -0.25])
def test_skew_between_two_channels(lag_s: float) -> None:
    """Planted lags come back within the stated uncertainty, with noise on both channels."""
    time_s = ticks(120_000)
    rng = np.random.default_rng(6)
    engine = drive(120_000)
    turbine = np.interp(time_s - lag_s, time_s, engine) + rng.normal(0.0, 0.5, len(time_s))
    pair = Pair("turbine", "engine")
    for at in range(0, len(time_s), 20_000):
        cut = slice(at, at + 20_000)
        pair.feed(time_s[cut], turbine[cut], engine[cut] + rng.normal(0.0, 0.5, 20_000), STEP_S)
    skew = pair.skew(STEP_S)
    assert skew is not None
    assert skew.lag_s == pytest.approx(lag_s, abs=max(skew.uncertainty_s, 0.005))
    assert skew.uncertainty_s < 0.03
    assert skew.stretches >= 5


def test_skew_says_nothing_where_nothing_moves_together() -> None:
    """A parked truck, and two channels that have nothing to do with each other."""
    time_s = ticks(60_000)
    pair = Pair("turbine", "engine")
    pair.feed(time_s, np.full(60_000, 800.0), np.full(60_000, 800.0), STEP_S)
    assert pair.skew(STEP_S) is None
    pair = Pair("turbine", "engine")
    for at in range(0, 60_000, 10_000):
        cut = slice(at, at + 10_000)
        pair.feed(time_s[cut], drive(60_000, 1)[cut], drive(60_000, 2)[cut], STEP_S)
    assert pair.skew(STEP_S) is None


def test_skew_of_an_open_converter_is_no_skew() -> None:
    """The turbine follows the engine with a slip that changes: that lag is in the truck, not in the logger."""
    time_s = ticks(60_000)
    engine = drive(60_000)
    turbine = np.interp(time_s - 0.3, time_s, engine) * (0.93 + 0.02 * np.sin(time_s))
    pair = Pair("turbine", "engine", 0.03, True)
    for at in range(0, 60_000, 10_000):
        cut = slice(at, at + 10_000)
        pair.feed(time_s[cut], turbine[cut], engine[cut], STEP_S)
    assert pair.kept == []
    assert pair.skew(STEP_S) is None


def test_skew_of_channels_that_never_share_a_row() -> None:
    """As in a bus recording: each row holds one of them."""
    time_s = ticks(120_000)
    engine = drive(120_000)
    output = np.interp(time_s - 0.06, time_s, engine) / 2.4
    engine, output = engine.copy(), output.copy()
    engine[::2], output[1::2] = np.nan, np.nan
    pair = Pair("output", "engine")
    for at in range(0, 120_000, 20_000):
        cut = slice(at, at + 20_000)
        pair.feed(time_s[cut], output[cut], engine[cut], STEP_S)
    skew = pair.skew(STEP_S)
    assert skew is not None and skew.lag_s == pytest.approx(0.06, abs=0.005)


def test_lag_of_a_known_shift() -> None:
    """Without noise to a hundredth of a step."""
    time_s = ticks(4000)
    a = np.sin(time_s * 2.0) + 0.3 * np.sin(time_s * 5.1)
    b = np.sin((time_s - 0.0733) * 2.0) + 0.3 * np.sin((time_s - 0.0733) * 5.1)
    found = lag_between(time_s, a, time_s, b, step_s=STEP_S, least_s=-0.5, most_s=0.5)
    assert found is not None and found.lag_s == pytest.approx(0.0733, abs=2e-4)
