"""The source behind a pin: sums against sampling, what cancels, what betrays a source that is no resistor."""

from __future__ import annotations

import random
import statistics

import pytest

from pinproof.errors import NoSolution
from pinproof.learn import (
    PinReading,
    VoltMeter,
    fit_source,
    least_load_ohm,
    next_volts,
    pulls_of,
    question_reading,
    strobed,
    tell_referral,
)

ONE = VoltMeter(gain=0.005, offset_v=0.01, one_range=True)
EACH = VoltMeter(gain=0.005, offset_v=0.01)
FINE = VoltMeter(gain=0.0005, offset_v=0.001, one_range=True)
OPEN = float("inf")
LOADS = [100.0, 220.0, 470.0, 1e3, 2.2e3, 4.7e3, 1e4, 2.2e4]


def pin_v(load_ohm: float, volts_v: float = 4.98, ohm: float = 1066.0, feed_v: float = 0.0) -> float:
    """Volts of a resistor behind a voltage, loaded; the meter's 10 MΩ are on the pin too."""
    top = volts_v / ohm + (0.0 if load_ohm == OPEN else feed_v / load_ohm)
    return top / (1.0 / ohm + (0.0 if load_ohm == OPEN else 1.0 / load_ohm) + 1e-7)


def read(load_ohm: float, **source: float) -> PinReading:
    feed = source.get("feed_v")
    return PinReading(pin_v(load_ohm, **source), load_ohm, 0.001 * load_ohm if load_ohm < OPEN else 0.0, feed)


def test_two_loads_give_the_source_exactly() -> None:
    found = fit_source([read(OPEN), read(1000.0)], ONE)
    assert (found.volts_v, found.ohm) == pytest.approx((4.98, 1066.0), rel=1e-9)
    assert found.straight is None, "two loads are always on a line"


def test_a_gain_error_on_one_range_cancels_in_the_ohms() -> None:
    wrong = [PinReading(pin_v(load) * 1.005, load) for load in (OPEN, 1000.0)]
    found = fit_source(wrong, ONE)
    assert found.ohm == pytest.approx(1066.0, rel=1e-9)
    assert found.volts_v == pytest.approx(4.98 * 1.005, rel=1e-9)
    readings = [read(OPEN), read(1000.0)]
    assert fit_source(readings, ONE).u_ohm < 0.6 * fit_source(readings, EACH).u_ohm


def test_stated_uncertainty_is_that_of_sampled_readings() -> None:
    """Readings with drawn errors, solved by the plain two-point formula: same spread of the ohms."""
    rng = random.Random(1)
    got = []
    for _ in range(4000):
        gain = 1.0 + rng.uniform(-0.005, 0.005)
        a = pin_v(OPEN) * gain + rng.uniform(-0.01, 0.01)
        b = pin_v(1000.0) * gain + rng.uniform(-0.01, 0.01)
        load = 1000.0 + rng.uniform(-1.0, 1.0)
        got.append(load * (a - b) / b)
    found = fit_source([read(OPEN), read(1000.0)], ONE)
    assert found.u_ohm == pytest.approx(statistics.stdev(got), rel=0.05)
    got.sort()
    assert found.low_ohm == pytest.approx(got[100], abs=1.0)
    assert found.high_ohm == pytest.approx(got[-100], abs=1.0)


def test_covariance_of_volts_and_ohms_is_given() -> None:
    found = fit_source([read(OPEN), read(1000.0)], EACH)
    (vv, vo), (ov, oo) = found.covariance
    assert vo == pytest.approx(ov)
    assert found.u_volts_v**2 == pytest.approx(vv)
    assert found.u_ohm**2 == pytest.approx(oo)
    assert 0.1 < vo / (vv * oo) ** 0.5 <= 1.0, "more open volts, more ohms"


@pytest.mark.parametrize("seed", range(20))
def test_a_resistor_is_called_straight_and_found_within_u(seed: int) -> None:
    rng = random.Random(seed)
    volts, ohm = rng.uniform(2.0, 12.0), 10.0 ** rng.uniform(2.3, 4.3)
    gain = 1.0 + rng.uniform(-0.005, 0.005)
    readings = []
    for load in (OPEN, ohm * rng.uniform(0.7, 1.4), ohm * rng.uniform(0.2, 0.4)):
        seen = round(pin_v(load, volts_v=volts, ohm=ohm) * gain, 3) + rng.uniform(-0.005, 0.005)
        readings.append(PinReading(seen, load, 0.001 * load if load < OPEN else 0.0))
    found = fit_source(readings, VoltMeter(gain=0.005, offset_v=0.006, one_range=True))
    assert found.straight is True
    assert abs(found.ohm - ohm) <= 2.0 * found.u_ohm * 1.3


def test_a_clamp_is_not_written_as_a_resistor() -> None:
    readings = [PinReading(min(pin_v(load), 4.0), load) for load in (OPEN, 10_000.0, 1000.0, 300.0)]
    found = fit_source(readings, FINE)
    assert found.straight is False
    assert found.candidates[0].startswith("clamp")
    assert pulls_of(found, reference_v=5.0) is None


def test_a_current_source_is_named_first() -> None:
    readings = [PinReading(min(0.002 * load, 4.9) if load < OPEN else 4.9, load) for load in (OPEN, 1000.0, 300.0)]
    found = fit_source(readings, FINE)
    assert found.straight is False
    assert found.candidates[0] == "current source"


def test_a_series_diode_is_named() -> None:
    """0.6 V at any current, none without."""
    readings = [PinReading(5.0)] + [PinReading(4.4 * load / (load + 1000.0), load) for load in (2000.0, 500.0)]
    found = fit_source(readings, FINE)
    assert found.straight is False
    assert "diode" in found.candidates[0]


def test_one_load_is_not_enough() -> None:
    with pytest.raises(NoSolution, match="another load"):
        fit_source([read(1000.0), read(1000.0)], ONE)


def test_a_supply_fed_pin_with_and_without_pull_down() -> None:
    fed = [PinReading(0.0)] + [read(load, volts_v=0.0, ohm=2200.0, feed_v=12.61) for load in (1e4, 4.7e3)]
    pulls = pulls_of(fit_source(fed, EACH))
    assert pulls is not None and pulls.up_ohm is None
    assert pulls.down_ohm == pytest.approx(2200.0, rel=1e-6)
    none = [PinReading(0.0)] + [PinReading(12.6, load, 0.01 * load, 12.61) for load in (1e4, 4.7e3)]
    pulls = pulls_of(fit_source(none, EACH))
    assert pulls is not None and pulls.up_ohm is None and pulls.down_ohm is None
    assert pulls.least_down_ohm > 100e3


def test_both_pulls_from_a_pin_between_the_rails() -> None:
    up, down, ref = 2000.0, 6000.0, 5.0
    volts, ohm = ref * down / (up + down), up * down / (up + down)
    readings = [PinReading(pin_v(load, volts_v=volts, ohm=ohm), load) for load in (OPEN, 1500.0, 400.0)]
    pulls = pulls_of(fit_source(readings, FINE), reference_v=ref, u_reference_v=0.002)
    assert pulls is not None
    assert (pulls.up_ohm, pulls.down_ohm) == pytest.approx((up, down), rel=1e-4)


@pytest.mark.parametrize(
    ("volts", "kind"),
    [(lambda b: 4.98, "regulated"), (lambda b: 0.5 * b, "battery"), (lambda b: 2.0 + 0.25 * b, "both")],
)
def test_what_the_open_pin_follows(volts: object, kind: str) -> None:
    points = [(b, round(volts(b), 2)) for b in (11.0, 12.6, 14.4)]  # type: ignore[operator]
    assert tell_referral(points, EACH).kind == kind


def test_supplies_too_near_tell_nothing() -> None:
    assert tell_referral([(12.6, 6.30), (12.65, 6.31)], EACH).kind == "not told apart"
    with pytest.raises(NoSolution):
        tell_referral([(12.6, 6.30), (12.6, 6.31)], EACH)


def test_strobing_is_seen_on_ac_and_on_min_max() -> None:
    assert strobed(2.5, ac_v=0.4) and strobed(2.5, low_v=0.1, high_v=4.9)
    assert not strobed(4.98, ac_v=0.02) and not strobed(4.98, low_v=4.97, high_v=4.99) and not strobed(4.98)


def test_the_least_load_keeps_the_pin_within_its_limits() -> None:
    assert least_load_ohm("ground", None, supply_high_v=15.0) == 1000.0
    assert least_load_ohm("supply", None, supply_high_v=15.0) == 10_000.0
    weak = fit_source([read(OPEN), read(1000.0)], ONE)
    assert least_load_ohm("ground", weak, supply_high_v=15.0) == 0.0
    strong = fit_source([read(OPEN, volts_v=12.0, ohm=100.0), read(1000.0, volts_v=12.0, ohm=100.0)], ONE)
    least = least_load_ohm("ground", strong, supply_high_v=15.0)
    assert 12.0 / (least + 100.0) <= 0.0201
    fed = fit_source([PinReading(0.0)] + [read(r, volts_v=0.0, ohm=2200.0, feed_v=12.6) for r in (1e4, 4.7e3)], EACH)
    least = least_load_ohm("supply", fed, supply_high_v=15.5, max_pin_v=5.0)
    assert 15.5 * 2200.0 / (2200.0 + least) < 5.0
    assert least_load_ohm("supply", fed, supply_high_v=15.5, max_pin_v=40.0) >= 220.0, "never a supply straight on"


def test_the_open_pin_is_looked_at_before_anything_is_grounded() -> None:
    first = next_volts([], ONE, LOADS, supply_high_v=15.0)
    assert first is not None and first.load_ohm == OPEN
    readings = [read(OPEN)]
    for _ in range(2):
        step = next_volts(readings, ONE, LOADS, supply_high_v=15.0)
        assert step is not None and not step.from_feed
        readings.append(read(step.load_ohm))
    assert readings[1].load_ohm >= 1000.0
    assert next_volts(readings, ONE, LOADS, supply_high_v=15.0) is None
    fed = next_volts([PinReading(0.0)], ONE, LOADS, supply_high_v=15.0)
    assert fed is not None and fed.from_feed and fed.load_ohm == 1e4


def test_a_slipped_digit_is_questioned() -> None:
    before = [read(OPEN), read(1000.0)]
    assert question_reading(before, read(470.0), ONE) is None
    slipped = PinReading(pin_v(470.0) * 10.0, 470.0)
    assert "above" in (question_reading(before, slipped, ONE) or "")
    low = PinReading(round(pin_v(470.0) / 10.0, 3), 470.0)
    assert "point" in (question_reading(before, low, ONE) or "")
    other = PinReading(pin_v(4700.0), 470.0)
    assert "right resistor" in (question_reading(before, other, ONE) or "")
    assert "above its feed" in (question_reading([PinReading(0.0)], PinReading(12.6, 1e4, 0.0, 1.2), ONE) or "")
