"""The faults engine agrees with the independent checker on generated awkward trucks.

Sixty here, with some faults and situations of each; every one by command: ``python3 dev.py truth 1000 --faults``.
"""

from __future__ import annotations

import importlib

import pytest

from pinproof.faults import answers
from tests.truth.agree_faults import Outcome, compare

BATCH = 15


@pytest.mark.parametrize("first", range(0, 60, BATCH))
def test_the_faults_engine_agrees_with_the_checker(first: int) -> None:
    """Lists of sites and kinds; hard faults exactly; severities on the checker's grid and beside the solved ends."""
    total = Outcome(-1)
    for seed in range(first, first + BATCH):
        outcome = compare(seed, most_faults=14, most_situations=3, ends=6)
        total.add(outcome)
        total.disagreements += [f"seed {seed}: {each}" for each in outcome.disagreements]
    assert not total.disagreements, "\n".join(total.disagreements[:10])
    assert total.lines >= BATCH // 2
    assert total.counts["points"] > 5000
    assert total.counts["beside an end"] > 50
    assert len(total.kinds) >= 14


def test_an_end_that_is_a_thousandth_off_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the comparison is worth: it finds severities that are wrong by 0.1 %."""
    right = answers._inverse
    monkeypatch.setattr(answers, "_inverse", lambda x: right(x) * 1.001)
    said = [each for seed in (1, 4, 8) for each in compare(seed, most_situations=2).disagreements]
    assert any("so in the engine, not in the checker" in each for each in said)
    assert any("so in the checker, not in the engine" in each for each in said)


def test_a_fault_that_is_not_listed_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The lists of both sides are compared, not only what both have."""
    module = importlib.import_module("pinproof.faults.sites")  # the package's name `sites` is the function
    monkeypatch.setattr(module, "RESISTOR_KINDS", ("open", "shorted", "drifted", "decade-low"))
    said = compare(1, most_faults=1, most_situations=1).disagreements
    assert any("decade-high" in each for each in said)
