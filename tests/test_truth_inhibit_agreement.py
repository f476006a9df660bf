"""The start inhibit's engine against the slow checker: a small run; the large one is `dev.py truth N --inhibit`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import pytest

from tests.truth.agree_inhibit import Outcome, compare, engine_circuit
from tests.truth.inhibit_check import awkward

SEEDS = (0, 2, 3, 6, 9, 12, 14, 15, 16, 18, 21, 24)


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    """Table and faults of each seed."""
    return [compare(seed) for seed in SEEDS]


def test_engine_and_checker_agree(outcomes: list[Outcome]) -> None:
    assert not {each.seed: each.disagreements[:3] for each in outcomes if each.disagreements}


def test_the_run_reached_what_it_is_for(outcomes: list[Outcome]) -> None:
    """Forms, cells of every verdict, severities of many kinds; mostly exact sets."""
    seen: Counter[str] = sum((each.seen for each in outcomes), Counter())
    assert seen["cell pass"] >= 100 and seen["cell fail"] >= 1 and seen["cell not shown"] >= 5
    assert seen["points that holds"] >= 1000 and seen["points that pulls_in"] >= 1000
    assert seen["sets exact"] >= 20 * max(seen["sets bracketed"], 1)
    for kind in ("chafed-to-ground", "chafed-to-supply", "resistive", "worn", "bridged"):
        assert seen[f"fault {kind}"] >= 3, kind
    assert sum(seen[f"with {form}"] for form in ("H", "L", "K", "H+K")) >= 5


@pytest.mark.parametrize("wrong", ["no leaks", "pull-in for drop-out", "battery at its least"])
def test_a_wrong_engine_is_noticed(monkeypatch: pytest.MonkeyPatch, wrong: str) -> None:
    """An open switch without its leak, a coil that holds only where it pulls in, a supply without its top."""
    made: Callable[..., object] = engine_circuit

    def spoilt(circuit: object) -> object:
        found = made(circuit)
        if wrong == "no leaks":
            return replace(found, branches=tuple(replace(each, open_ohm=float("inf")) for each in found.branches))
        if wrong == "battery at its least":
            return replace(found, supplies=tuple(replace(each, high_v=each.low_v) for each in found.supplies))
        relays = tuple(replace(each, drop_out_low_v=each.drop_out_high_v) for each in found.relays)
        return replace(found, relays=relays)

    monkeypatch.setattr("tests.truth.agree_inhibit.engine_circuit", spoilt)
    for seed in SEEDS:
        if compare(seed).disagreements:
            return
    pytest.fail(f"no seed shows: {wrong}")


def test_the_generator_makes_every_form() -> None:
    assert {awkward(seed).tags[0] for seed in range(40)} == {"H", "L", "K", "H+K"}
