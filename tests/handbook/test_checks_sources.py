"""The checks' own sums against textbooks and published tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from pinproof.network import Netlist, Sources
from pinproof.proof.checks.corner_search import extreme
from pinproof.proof.checks.sampled_yield import between, wilson_interval
from pinproof.proof.checks.transit import dwell_s
from pinproof.proof.checks.wetting import least_current


def test_relaxation_oscillator() -> None:
    """University Physics vol. 2, "RC Circuits", example "The Relaxation Oscillator": 101 Ω, 50 mF, 100 V, lamp at 80 V.

    Printed: tau = 5.05 s and t = 8.13 s, three digits, so half a unit in the last is 0.005 s.
    """
    assert dwell_s(0.0, 100.0, 0.0, 80.0, 101.0 * 0.050) == pytest.approx(8.13, abs=0.005)


def test_intermittent_timer() -> None:
    """Same section, intermittent timer: 10 mF, 12 V supply, threshold 10 V, 10.00 s. Printed: R = 558.11 Ω."""
    assert dwell_s(0.0, 12.0, 0.0, 10.0, 558.11 * 0.010) == pytest.approx(10.00, abs=0.005)


def test_charge_after_one_time_constant() -> None:
    """Same section, problem with printed answer: 500 Ω, 1.50 µF, 6.16 V; 3.89 V after tau = 7.50e-4 s.

    3.89 is rounded to 0.005 V; near there the time changes by tau/(6.16 - 3.89) s per volt, so 1.7e-6 s.
    """
    assert dwell_s(0.0, 6.16, 0.0, 3.89, 500.0 * 1.5e-6) == pytest.approx(7.50e-4, abs=1.7e-6)


NEWCOMBE = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]


@pytest.mark.parametrize(("hits", "samples", "low", "high"), NEWCOMBE)
def test_wilson_interval_matches_the_published_table(hits: int, samples: int, low: float, high: float) -> None:
    """Newcombe, Statistics in Medicine 17 (1998), 857-872, table I, method 3. Four digits printed. Seen: secondary."""
    assert wilson_interval(hits, samples) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize("samples", [1, 7, 60, 20_000])
@pytest.mark.parametrize("share", [0.0, 0.03, 0.5, 0.999, 1.0])
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_wilson_interval_matches_a_reference_library(samples: int, share: float, confidence: float) -> None:
    """The same method in a general-purpose statistics library; only rounding may differ."""
    hits = round(share * samples)
    known = stats.binomtest(hits, samples).proportion_ci(confidence, method="wilson")
    assert wilson_interval(hits, samples, confidence) == pytest.approx((known.low, known.high), abs=1e-12)


def test_sum_of_four_rectangular_inputs() -> None:
    """JCGM 101:2008 9.2.3 (clause number from memory): four inputs on ±sqrt 3, u = 2 and a 95 % half-width of 3.8794.

    The half-width is ``2 sqrt(3) (2 - (3/5)^(1/4))`` by formula (tail of the Irwin-Hall distribution), not 3.9199 as a
    normal sum would give. 400 000 samples: the standard error of the 97.5 % point is about 0.007.
    """
    rng = np.random.Generator(np.random.PCG64(5))
    root = math.sqrt(3.0)
    total = sum(between(-root, root, rng.random(400_000)) for _ in range(4))
    assert isinstance(total, np.ndarray)
    assert float(total.std()) == pytest.approx(2.0, abs=0.01)
    half = 2.0 * root * (2.0 - 0.6**0.25)
    assert half == pytest.approx(3.8794, abs=5e-5)
    low, high = np.quantile(total, [0.025, 0.975])
    assert (high - low) / 2.0 == pytest.approx(half, abs=0.02)


def test_power_in_a_loaded_divider() -> None:
    """University Physics vol. 2, "Resistors in Series and Parallel": 12 V, 1 Ω before 6 Ω beside 13 Ω; P2 = 15.5 W.

    The printed current through 13 Ω is 0.742 A. Three digits each.
    """
    net = Netlist(["out"], ["plus", "minus"], [("r1", "plus", "out"), ("r2", "out", "minus"), ("r3", "out", "minus")])
    g = np.array([[1.0 / 1.0, 1.0 / 6.0, 1.0 / 13.0]])
    sources = Sources.fixed([12.0, 0.0])
    power_w = extreme(net, g, g, sources, np.array([1]), "power", largest=True)
    current_a = extreme(net, g, g, sources, np.array([2]), "current", largest=False)
    assert power_w[0] == pytest.approx(15.5, abs=0.05)
    assert current_a[0] == pytest.approx(0.742, abs=0.0005)


def test_what_the_tables_want_for_each_material() -> None:
    """Gold: MIL-PRF-22885/71C table IV, low-level load, no minimum. Silver: 20 mA, the lower disputed figure."""
    gold, silver, tin = least_current("gold"), least_current("silver"), least_current("tin")
    assert gold.least_a is None
    assert gold.seen == "open copy"
    assert silver.least_a == 0.020
    assert silver.seen == "secondary"
    assert tin.least_a == silver.least_a
    assert "silver's figure" in tin.source
