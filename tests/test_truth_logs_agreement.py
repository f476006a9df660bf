"""The checks of a log against the independent simulator: a small run; the large ones are `dev.py truth N --logs`."""

from __future__ import annotations

from typing import Any

import pytest

from tests.truth.agree_logs import Outcome, counts, judge

SEEDS = 16


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    """Sixteen logs of several loggers' styles: sound ones, and one in each of a dozen planted defects."""
    return judge(SEEDS, 5000)


@pytest.mark.slow
def test_what_can_be_told_is_found(outcomes: list[Outcome]) -> None:
    numbers: dict[str, Any] = counts(outcomes)
    assert numbers["crashed"] == 0, [o.crash for o in outcomes if o.crash]
    assert numbers["tellable"] >= 4
    assert numbers["missed"] == 0, [(o.seed, o.kind, o.texts) for o in outcomes if o.missed]


@pytest.mark.slow
def test_nothing_is_called_a_fault_that_is_none(outcomes: list[Outcome]) -> None:
    assert sum(not o.kind for o in outcomes) >= 3
    assert not [(o.seed, o.kind, o.false_alarms, o.texts) for o in outcomes if o.false_alarms]


@pytest.mark.slow
def test_a_defect_that_can_be_told_never_passes(outcomes: list[Outcome]) -> None:
    assert not [(o.seed, o.kind, o.passed) for o in outcomes if o.passed and not o.found]


@pytest.mark.slow
def test_scripted_sessions_get_the_right_verdict() -> None:
    """Key-on presses and detents, and drives with counted taps at 5 to 25 Hz without a tap channel."""
    found = judge(6, 5000, scripts=True)
    assert not [(o.seed, o.kind, o.crash or o.demanded or o.false_alarms) for o in found if o.crash or not o.found]
    assert {o.kind.split(":")[0] for o in found} == {"key on", "drive"}
