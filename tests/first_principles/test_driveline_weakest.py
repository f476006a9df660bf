"""Which number of the driveline to measure first: the one whose error would overturn a check soonest."""

from __future__ import annotations

import pytest

from pinproof.design import loads
from pinproof.driveline import MeasureFirst, drive_sums, measure_first
from pinproof.examples import example_path

TEXT = example_path("sandpiper").read_text(encoding="utf-8")


def first(text: str) -> MeasureFirst | None:
    truck = loads(text)
    return measure_first(truck, drive_sums(truck))


def with_basis(text: str, key: str, basis: str) -> str:
    """One entry of the driveline with another basis."""
    at = text.index("\n" + key + " = ", text.index("[drive"))
    end = text.index("\n", at + 1)
    row = text[at:end]
    assert 'basis = "measured"' in row or 'basis = "published"' in row, row
    return text[:at] + row.replace('"measured"', f'"{basis}"').replace('"published"', f'"{basis}"') + text[end:]


def test_a_number_on_which_a_check_hangs_goes_before_a_wider_one_that_decides_nothing() -> None:
    """The limiter may be as high as 6450 rpm where the engine's most is 6500: a few percent more is too much.

    Growth and wear of the tyre have ranges as wide as themselves, and no check turns when they are half as much again.
    """
    found = first(with_basis(TEXT, "limiter", "assumed"))
    assert found is not None and found.check is not None and found.moved is not None
    assert found.value.path == "drive.engine.limiter" and found.check.check == "limiter"
    assert found.value.high * (1.0 + found.moved) > 6500.0
    assert "2.5 % greater changes limiter, engine" in found.text


def test_where_nothing_turns_the_weakest_basis_is_named() -> None:
    found = first(TEXT)
    assert found is not None and found.moved is None and found.value.path == "drive.tyre.growth"
    assert found.text.startswith("drive.tyre.growth (") and "changes" not in found.text


@pytest.mark.parametrize("basis", ["borrowed", "assumed"])
def test_a_moved_number_really_turns_the_check(basis: str) -> None:
    """Written into the file as far off as the answer says, the named check gives another verdict."""
    text = with_basis(TEXT, "limiter", basis)
    found = first(text)
    assert found is not None and found.check is not None and found.moved is not None
    value = found.value
    low, high = (each * (1.0 + found.moved) for each in (value.low, value.high))
    at = text.index("\nlimiter = ")
    end = text.index("\n", at + 1)
    moved = f'\nlimiter = {{ low = "{low:.6f} rpm", high = "{high:.6f} rpm", basis = "{basis}" }}'
    after = drive_sums(loads(text[:at] + moved + text[end:]))
    same = next(each for each in after.checks if (each.check, each.subject) == (found.check.check, found.check.subject))
    assert same.verdict is not found.check.verdict
