"""Learning against the independent simulator: a small run; the large ones are `dev.py truth N --learn`."""

from __future__ import annotations

import statistics

import pytest

from tests.truth.agree_learn import Outcome, run, wanted_readings

SEEDS = 40


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    """Forty pins: hysteresis, noise, clamps, strobes, current sources, faults that latch, wrong resistors."""
    return run(SEEDS, 5000)


def test_every_true_edge_lies_inside_its_bracket(outcomes: list[Outcome]) -> None:
    """All brackets of 95 in 100 pins, and no window larger than what is true."""
    claimed = [each for each in outcomes if each.brackets]
    assert len(claimed) >= SEEDS // 2 and sum(each.brackets for each in claimed) >= 4 * SEEDS
    assert statistics.fmean(each.holds for each in claimed) >= 0.95, [e for e in claimed if not e.holds]
    assert sum(each.complete for each in outcomes) >= 0.9 * SEEDS


def test_the_source_is_told_with_its_uncertainty(outcomes: list[Outcome]) -> None:
    """U is meant to hold in 95 of 100; what is no resistor is not written as one."""
    straight = [each for each in outcomes if not each.source_bent]
    assert statistics.fmean(not each.source_wrong for each in straight) >= 0.9, [e.source_wrong for e in straight]
    bent = [each for each in outcomes if each.source_bent]
    assert len(bent) >= 5 and sum(bool(each.source_wrong) for each in bent) <= 1
    assert not any(each.referral_wrong for each in outcomes)


def test_a_potentiometer_finds_them_in_two_turns_each() -> None:
    found = run(16, 5000, method="pot")
    assert statistics.fmean(each.holds for each in found) >= 0.9, [e for e in found if not e.holds]
    claimed = [each.turns_each for each in found if each.brackets]
    assert statistics.fmean(claimed) <= 2.0
    assert sum(each > 2.0 for each in claimed) <= 1, "noise without hysteresis may show an edge twice"


@pytest.mark.parametrize("count", [1, 2])
def test_one_and_two_edges_take_no_more_readings_than_wanted(count: int) -> None:
    """More edges are beyond any method with one load at a time (the search's own tests prove it)."""
    found = run(15, 0, edges_n=count)
    assert statistics.median(each.needed or 999 for each in found) <= wanted_readings(count, count + 1)
