"""Lists for a spreadsheet: the same numbers as the proof, units in the heads, and nothing that a spreadsheet runs."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.design import Truck, load
from pinproof.drawings import words
from pinproof.examples import NAMES, example_path
from pinproof.pack.lists import cell, csv_text, lists
from pinproof.pack.order import order_of
from pinproof.proof import TruckProof, prove
from pinproof.quantities.preferred import in_series
from pinproof.wiring import line_view

UNITS = ("_ohm", "_v", "_percent", "_w", "_count")


def example(name: str) -> tuple[Truck, TruckProof, dict[str, list[dict[str, str]]]]:
    """An example, its proof, and its lists read back."""
    truck = load(example_path(name))
    proof = prove(truck, samples=0)
    texts = lists(truck, proof, {line.id: line_view(truck, line) for line in truck.lines})
    return truck, proof, {key: list(csv.DictReader(io.StringIO(text, newline=""))) for key, text in texts.items()}


@pytest.mark.parametrize("name", NAMES)
def test_situations_read_back(name: str) -> None:
    """One row for each situation, in order, with its numbers to nine digits."""
    _, proof, found = example(name)
    rows = found["situations.csv"]
    assert len(rows) == len(proof.situations)
    for row, told in zip(proof.situations, rows, strict=True):
        assert told["operated"] == words.operated(row.operated)
        assert told["verdict"] == words.VERDICTS[row.verdict]
        for end, number in (("low", row.low), ("nominal", row.nominal), ("high", row.high)):
            if math.isnan(number):
                assert told[f"{end}_percent"] == ""
            else:
                assert float(told[f"{end}_percent"]) == pytest.approx(100.0 * number, rel=1e-8)
        assert float(told["plug_low_ohm"]) <= float(told["plug_high_ohm"])


@pytest.mark.parametrize("name", NAMES)
def test_every_budget_and_part_is_listed(name: str) -> None:
    """Budgets in the column of their unit; parts with value, bands and code; the order with its sums."""
    truck, proof, found = example(name)
    budgets = [each for line in proof.lines for row in line.situations for each in row.budgets]
    assert len(found["budgets.csv"]) == len(budgets)
    for budget, told in zip(budgets, found["budgets.csv"], strict=True):
        unit, other = ("ohm", "v") if budget.unit == "ohm" else ("v", "ohm")
        assert float(told[f"counted_on_{unit}"]) == pytest.approx(budget.end, rel=1e-8)
        assert told[f"counted_on_{other}"] == ""
    chosen = sorted(each.resistor.ohm or 0.0 for each in truck.contacts if each.resistor is not None)
    listed = [each for each in found["parts.csv"] if each["design_path"].startswith("contact.")]
    assert sorted(float(each["value_ohm"]) for each in listed) == chosen
    for each in found["order.csv"]:
        assert int(each["order_count"]) == int(each["needed_count"]) + int(each["spares_count"])


def test_every_number_has_its_unit_in_the_head() -> None:
    """A column with numbers says what of; counts of errors are the one exception, and are named so."""
    _, _, found = example("sandpiper")
    for rows in found.values():
        for head in rows[0]:
            numbers = [each[head] for each in rows if each[head]]
            if numbers and all(_is_number(each) for each in numbers):
                assert head.endswith(UNITS) or head == "room_in_usual_errors", head


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "  =1", "\r=1", '=cmd|"/c x"!A0'])
def test_no_text_is_a_formula(text: str) -> None:
    """An apostrophe stands in front, the text behind it is whole."""
    shown = cell(text)
    assert shown.startswith("'")
    assert shown[1:].split() == text.split()


@given(st.text(max_size=30))
def test_any_text_survives_a_list(text: str) -> None:
    """Quotes, commas and line ends stay in their cell; what is read back does not begin like a formula."""
    read = list(csv.reader(io.StringIO(csv_text(["a", "b"], [[text, 1.5]]), newline="")))
    assert len(read) == 2
    assert read[1][1] == "1.5"
    assert not read[1][0].lstrip().startswith(("=", "+", "-", "@"))


def test_numbers_stay_numbers() -> None:
    """A negative number is no formula; infinite, missing and true are told plainly."""
    assert [cell(each) for each in (-0.2, 1, True, None, math.inf, math.nan, 1e-12)] == [
        "-0.2", "1", "yes", "", "inf", "", "1e-12",
    ]  # fmt: skip


def test_names_of_users_are_guarded() -> None:
    """A place that is called like a formula, through the whole chain."""
    truck, proof, _ = example("wagtail")
    evil = replace(truck.contacts[0], id="=HYPERLINK(1)")
    changed = replace(truck, contacts=(evil, *truck.contacts[1:]))
    text = lists(changed, proof, {line.id: line_view(changed, line) for line in changed.lines})["parts.csv"]
    assert "\r\n'=HYPERLINK(1)" in text


def test_lists_are_plain_utf_8() -> None:
    """No byte order mark; line ends of RFC 4180."""
    truck = load(example_path("wagtail"))
    proof = prove(truck, samples=0)
    for text in lists(truck, proof, {line.id: line_view(truck, line) for line in truck.lines}).values():
        assert not text.startswith("\ufeff")
        assert text.endswith("\r\n")
        assert text.count("\n") == text.count("\r\n")


@pytest.mark.parametrize("name", NAMES)
def test_what_is_at_hand_is_not_bought(name: str) -> None:
    """An assortment at hand: none of its values on the list to buy; the same truck without it buys with spares."""
    truck = load(example_path(name))
    proof = prove(truck, samples=0)
    bare = replace(truck, parts=replace(truck.parts, series="E24", at_hand=False))
    stocked = replace(truck, parts=replace(truck.parts, series="E24", at_hand=True))
    for without, with_it in zip(
        sorted(order_of(bare, proof), key=str), sorted(order_of(stocked, proof), key=str), strict=True
    ):
        assert without.count == without.needed + without.spares > 0
        have = with_it.ohm is not None and in_series("E24", with_it.ohm)
        assert with_it.count == (0 if have else with_it.needed + with_it.spares)
        assert not (have and with_it.today)
