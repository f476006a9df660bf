"""Fault finding against the independent simulator: a small run; the large one is `dev.py truth N --find`."""

from __future__ import annotations

import statistics

import pytest

from tests.truth.agree_find import LINES, follow, make_case, playing_trucks

PICKED = range(0, LINES, 4)
SEEDS = range(6)


@pytest.fixture(scope="module")
def outcomes() -> list:
    """Six cases on each of ten lines, in turn of a new build and in service."""
    found = []
    for number in PICKED:
        play = playing_trucks(LINES)[number]
        for column in ("new build", "in service"):
            cases = [make_case(play.truck, play.line_id, seed, column=column) for seed in SEEDS[::2]]
            found += [follow(number, play, case) for case in cases]
    return found


def test_what_the_driver_notices_is_found(outcomes: list) -> None:
    """Of faults that show in what the controller reports, most come first, in few steps."""
    noticed = [each for each in outcomes if each.noticed]
    assert len(noticed) >= 20
    assert statistics.fmean(each.right for each in noticed) >= 0.8
    assert statistics.median(each.steps for each in noticed) <= 4


def test_it_is_seldom_sure_and_wrong(outcomes: list) -> None:
    """Over 90 % on a wrong class: at most two of sixty here; the large run has the share."""
    assert sum(not each.right and each.probability >= 0.9 for each in outcomes) <= 2


def test_what_it_says_is_as_often_true(outcomes: list) -> None:
    """The mean probability of the first class is near the share in which it is the true one."""
    said = statistics.fmean(each.probability for each in outcomes)
    true = statistics.fmean(each.right for each in outcomes)
    assert said == pytest.approx(true, abs=0.12)
