"""What fails beside the lines stands in the chain and among the next actions, worst first. The trucks are invented."""

from __future__ import annotations

import pytest

from pinproof.chain.actions import MOST_ACTIONS
from pinproof.chain.links import Chain, chain_of
from pinproof.design import loads
from pinproof.examples import example_path
from pinproof.pack.book import not_of_the_lines
from pinproof.proof import prove
from pinproof.verdict import Verdict


def chain(name: str, *changes: tuple[str, str]) -> Chain:
    text = example_path(name).read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    truck = loads(text)
    return chain_of(truck, prove(truck, samples=0))


def commands(found: Chain) -> list[str]:
    return [each.command for each in found.actions]


@pytest.mark.parametrize("name", ["dunlin", "sandpiper"])
def test_nothing_is_to_be_mended_where_all_holds(name: str) -> None:
    found = chain(name)
    assert not any(each.what.startswith("Mend") for each in found.actions)
    assert found.link("wire").verdict is Verdict.PASS
    assert ("Harness: 38 wires" if name == "dunlin" else "No harness is stated") in found.link("wire").text


def test_a_shift_that_can_over_speed_the_engine_is_to_be_mended_before_anything_is_measured() -> None:
    found = chain("sandpiper", ('output = { value = "2150 rpm"', 'output = { value = "5150 rpm"'))
    at = commands(found).index("pinproof gears FILE")
    action = found.actions[at]
    assert found.link("gear").verdict is Verdict.FAIL
    assert (
        action.what.startswith("Mend the driveline: down line, 3 → 2, full, high.") and "Lower the line" in action.what
    )
    assert "over-speed" in action.why and "Do not drive" in action.caution
    assert at == sum(each.order_today for each in found.actions)


def test_a_harness_that_fails_is_told_by_the_wire_and_is_to_be_mended() -> None:
    """The fuse at the battery left out: what is bare of a fuse is longer than the rule allows."""
    found = chain("dunlin", ('fuse = "15 A"', 'fuse = "none"'))
    assert found.link("wire").verdict is Verdict.FAIL
    assert "Harness: " in found.link("wire").text
    action = next(each for each in found.actions if each.command == "pinproof harness FILE")
    assert action.what.startswith("Mend the harness. ") and action.why in found.link("wire").text


def test_the_front_of_the_book_says_so_too() -> None:
    text = example_path("dunlin").read_text(encoding="utf-8")
    assert not any("Harness" in each for each in not_of_the_lines(loads(text), None))
    bare = not_of_the_lines(loads(text.replace('fuse = "15 A"', 'fuse = "none"')), None)
    assert any(each.startswith("Harness: Without a fuse") and each.endswith("See its chapter.") for each in bare)


def test_a_harness_that_cannot_be_laid_out_is_no_pass() -> None:
    found = chain("dunlin", ('watts = "21 W"', 'watts = "21000 W"'))
    assert found.link("wire").verdict is Verdict.NOT_SHOWN
    assert "cannot be laid out" in found.link("wire").text
    assert "pinproof harness FILE" in commands(found)


def test_a_start_in_gear_comes_first() -> None:
    """Cranking in N is not permitted here, and the circuit cranks there."""
    found = chain("dunlin", ('permitted = ["P", "N"]', 'permitted = ["P"]'), ('fuse = "15 A"', 'fuse = "none"'))
    assert found.beside is not None and found.beside.verdict is Verdict.FAIL
    mended = [each for each in found.actions if each.what.startswith("Mend")]
    assert [each.command for each in mended] == ["pinproof inhibit FILE", "pinproof harness FILE"]
    assert "Chocks" in mended[0].caution and len(found.actions) <= MOST_ACTIONS
