"""Learning a pin against numbers that this project did not make.

JCGM 100:2008 (GUM), example H.2, table H.2 and results (seen: secondary; the data stand in two unrelated public source
files, the results also in the documentation of a general uncertainty library). JCGM 101:2008, 9.2 (values by formula,
clause numbers from memory). College Physics 2e (open textbook), section "Electromotive Force: Terminal Voltage",
example "Terminal Voltage and Load" (seen: open copy). An open textbook on direct-current circuits, chapter on
network theorems, 28 V and 7 V (seen: secondary). An open school textbook for physical sciences, grade 11, example on
the bridge (seen: open copy).
"""

from __future__ import annotations

import numpy as np
import pytest

from pinproof.learn import PinReading, VoltMeter, fit_source, monte_carlo, propagate, type_a

NO_METER = VoltMeter(gain=0.0, offset_v=0.0, input_ohm=1e15)

H2_V = [5.007, 4.994, 5.005, 4.990, 4.999]
H2_MA = [19.663, 19.639, 19.640, 19.685, 19.678]
H2_RAD = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def test_gum_h2_means_and_their_correlations() -> None:
    """Table H.2: means, standard uncertainties, correlation coefficients as printed, half a unit in the last digit."""
    found = type_a(list(zip(H2_V, H2_MA, H2_RAD, strict=True)))
    assert found.value == pytest.approx((4.9990, 19.6610, 1.04446), abs=5e-5)
    assert found.u == pytest.approx((0.0032, 0.0095, 0.00075), rel=0.02)
    assert found.correlation(0, 1) == pytest.approx(-0.36, abs=0.005)
    assert found.correlation(0, 2) == pytest.approx(0.86, abs=0.005)
    assert found.correlation(1, 2) == pytest.approx(-0.65, abs=0.005)


def test_gum_h2_results_and_their_correlations() -> None:
    """Table H.3/H.4: R, X, Z. The GUM worked from rounded inputs, so 0.001 on the uncertainties."""
    mean = type_a([(v, i * 1e-3, p) for v, i, p in zip(H2_V, H2_MA, H2_RAD, strict=True)])

    def impedance(x: np.ndarray) -> np.ndarray:
        v, i, p = x[..., 0], x[..., 1], x[..., 2]
        return np.stack([v / i * np.cos(p), v / i * np.sin(p), v / i], axis=-1)

    found = propagate(impedance, mean.value, mean.covariance)
    assert found.value == pytest.approx((127.732, 219.847, 254.260), abs=6e-4)
    assert found.u == pytest.approx((0.071, 0.295, 0.236), abs=1e-3)
    assert found.correlation(0, 1) == pytest.approx(-0.588, abs=1e-3)
    assert found.correlation(0, 2) == pytest.approx(-0.485, abs=1e-3)
    assert found.correlation(1, 2) == pytest.approx(0.993, abs=1e-3)
    alone = propagate(impedance, mean.value, np.diag(np.diag(np.array(mean.covariance))).tolist())
    assert alone.u[0] == pytest.approx(0.19455, abs=1e-4), "dropping the correlations must show"


@pytest.mark.parametrize(
    ("half", "draws"), [(3.919928, "normal"), (3.879407, "rectangular")], ids=["normal", "rectangular"]
)
def test_jcgm_101_additive_model(half: float, draws: str) -> None:
    """Sum of four quantities of unit variance; 200 000 draws leave about 0.01 on the interval's ends."""

    def draw(rng: np.random.Generator, n: int) -> np.ndarray:
        return rng.standard_normal((n, 4)) if draws == "normal" else rng.uniform(-(3**0.5), 3**0.5, (n, 4))

    found = monte_carlo(lambda x: x.sum(axis=-1, keepdims=True), draw, draws=200_000)
    assert found.u[0] == pytest.approx(2.0, abs=0.01)
    assert (found.high[0] - found.low[0]) / 2.0 == pytest.approx(half, abs=0.025)


def test_college_physics_battery_backwards() -> None:
    """12.0 V behind 0.100 ohm; currents 1.188 A into 10.0 ohm and 20.0 A into 0.500 ohm are printed."""
    volts = [1.188 * 10.0, 20.0 * 0.500]
    found = fit_source([PinReading(volts[0], 10.0), PinReading(volts[1], 0.5)], NO_METER)
    assert found.volts_v == pytest.approx(12.0, abs=0.005)
    assert found.ohm == pytest.approx(0.100, abs=0.0005)


def test_two_batteries_as_one_source() -> None:
    """28 V behind 4 ohm and 7 V behind 1 ohm put 8 V (4 A) on 2 ohm, as printed: 11.2 V behind 0.8 ohm."""
    nothing = (28.0 / 4.0 + 7.0 / 1.0) / (1.0 / 4.0 + 1.0)
    found = fit_source([PinReading(nothing), PinReading(8.0, 2.0)], NO_METER)
    assert (found.volts_v, found.ohm) == pytest.approx((11.2, 0.8), rel=1e-9)


def test_bridge_balances_where_the_textbook_says() -> None:
    """Arms of 4, 8, 6 ohm: 12 ohm is printed for the fourth; then both taps are the same Thévenin volts."""

    def tap(top_ohm: float, bottom_ohm: float) -> float:
        readings = []
        for load in (float("inf"), 5.0, 1.0):
            conductance = 1.0 / top_ohm + 1.0 / bottom_ohm + 1.0 / load
            readings.append(PinReading(9.0 / top_ohm / conductance, load))
        return fit_source(readings, NO_METER).volts_v

    assert tap(4.0, 8.0) == pytest.approx(tap(6.0, 12.0), rel=1e-9)
    assert abs(tap(4.0, 8.0) - tap(6.0, 11.0)) > 0.1
