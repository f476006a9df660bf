"""The harness engine against the slow checker: a small run; the large one is `dev.py truth N --harness`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

from tests.truth.agree_harness import Outcome, compare, compare_sums
from tests.truth.agree_harness_layout import compare_wiring
from tests.truth.agree_harness_trucks import compare_truck

SEEDS = range(5000, 5150)


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    """A run tree, a whole truck and plain sums for each seed."""
    return [compare(seed) for seed in SEEDS]


def test_engine_and_checker_agree(outcomes: list[Outcome]) -> None:
    assert not {each.seed: each.disagreements[:3] for each in outcomes if each.disagreements}


def test_the_run_reached_what_it_is_for(outcomes: list[Outcome]) -> None:
    """Enough of everything was compared: refusals, full runs, staggered splices, sizes by every rule."""
    seen: Counter[str] = sum((each.seen for each in outcomes), Counter())
    assert seen["least_mm"] >= 150 and seen["own wiring"] >= 900 and seen["size and rule"] >= 300
    for what in ("joint-ways", "splice-many", "splice-none", "hub-many", "no room"):
        assert seen[f"refused {what}"] >= 5, what
    assert seen["runs closed"] >= 20 and seen["staggered runs"] >= 50
    assert seen["plans equal"] >= 20 * max(seen["plans not comparable"], 1)
    for rule in ("mechanical", "current", "drop", "fuse"):
        assert seen[f"sized by {rule}"] >= 5, rule


def _later_terminations(truck: Any, numbers: dict[str, int]) -> frozenset[int]:
    """A place with nothing but a fuse forgotten."""
    kinds = (truck.plugs, truck.devices, truck.loads, truck.relays, truck.studs)
    found = {numbers[each.place] for kind in kinds for each in kind if each.place is not None}
    ends = {run.id: run.between for run in truck.runs}
    return frozenset(found | {numbers[p] for joint in truck.joints if joint.pairs for p in ends[joint.run]})


@pytest.mark.parametrize(
    ("where", "wrong", "look"),
    [
        ("geometry._terminations", _later_terminations, compare_wiring),
        ("layout.stagger", lambda slots, pulls: list(slots[: len(pulls)]), compare_wiring),
        ("least._SPLICE", 1 << 34, compare_wiring),
        ("reach.PASSED", ("switch", "relay contact", "contact", "driver"), compare_truck),
        ("current.MOST_PRODUCTS", 0, compare_truck),
        ("size.LOADED_FROM_A", 2.0, compare_truck),
        ("fuse.GATES", (115, 135, 160, 200, 350, 600), compare_sums),
        ("size.TABLE_AMBIENT_C", 71.0, compare_sums),
    ],
)
def test_a_wrong_engine_is_noticed(
    monkeypatch: pytest.MonkeyPatch, where: str, wrong: object, look: Callable[[int, Outcome], None]
) -> None:
    monkeypatch.setattr(f"pinproof.harness.{where}", wrong)
    for seed in SEEDS:
        out = Outcome(seed)
        look(seed, out)
        if out.disagreements:
            return
    pytest.fail(f"no seed shows that {where} is wrong")
