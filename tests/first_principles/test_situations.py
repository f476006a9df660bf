"""Which situations a line has, and what each may read: by hand for a lever with a wheel."""

from __future__ import annotations

import pytest

from pinproof.design import Truck, load
from pinproof.examples import example_path
from pinproof.proof.situations import requirement, situations_of


@pytest.fixture(scope="module")
def truck() -> Truck:
    """The supply-fed example."""
    return load(example_path("sandpiper"))


def test_count_of_situations_by_hand(truck: Truck) -> None:
    """Lever in automatic: no lever taps, wheel free: 4. Lever in manual: lever nothing/up/down × wheel 4 = 12."""
    found = situations_of(truck, truck.lines[0])
    assert len(found) == 16
    assert all("lever_manual" in each.operated for each in found if "lever_up" in each.operated)
    assert not any({"lever_up", "lever_down"} <= each.key for each in found)


@pytest.mark.parametrize(
    ("operated", "rule", "how", "means"),
    [
        ((), 2, "inside", "automatic"),
        (("lever_manual",), 4, "inside", "manual"),
        (("lever_manual", "wheel_up"), 3, "inside", "up"),
        (("wheel_up",), 5, "clear", ""),
        (("lever_manual", "lever_up", "wheel_down"), 5, "clear", ""),
    ],
)
def test_rules(truck: Truck, operated: tuple[str, ...], rule: int, how: str, means: str) -> None:
    """Each of the general rules on a situation where it applies."""
    line = truck.lines[0]
    situation = next(each for each in situations_of(truck, line) if each.key == frozenset(operated))
    need = requirement(truck, line, situation, "run")
    assert (need.rule, need.how, need.means) == (rule, how, means)


def test_a_combination_may_read_only_its_own_presses(truck: Truck) -> None:
    """Up on the lever with down on the wheel: both are its own, `manual` too, so nothing else is left to forbid."""
    line = truck.lines[0]
    key = frozenset(("lever_manual", "lever_up", "wheel_down"))
    situation = next(each for each in situations_of(truck, line) if each.key == key)
    assert set(requirement(truck, line, situation, "run").of) == set()
    alone = next(each for each in situations_of(truck, line) if each.key == frozenset(("wheel_up",)))
    assert set(requirement(truck, line, alone, "run").of) == {"manual", "down"}


def test_cranking_only_forbids_false_commands(truck: Truck) -> None:
    """A lost command while cranking is accepted, a false one is not."""
    line = truck.lines[0]
    idle = situations_of(truck, line)[0]
    need = requirement(truck, line, idle, "crank")
    assert (need.how, set(need.of)) == ("clear", {"manual", "up", "down"})
