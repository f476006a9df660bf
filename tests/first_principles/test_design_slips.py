"""Slips of a hand that writes a design file or a list: one slip is one fault, at its line, with its cure."""

from __future__ import annotations

import re
import tomllib

import pytest

from pinproof.chain.interview import AnswerFault, read_list
from pinproof.chain.sheet import sheet_of
from pinproof.design import DesignFault, Fault, loads
from pinproof.design.locate import locate
from pinproof.design.starter import design_text
from pinproof.errors import QuantityFault
from pinproof.examples import NAMES, example_path
from pinproof.quantities import parse

from .test_design_samples import PULL_UP


def only_fault(text: str) -> Fault:
    """The one fault of a text; fails if there are more."""
    with pytest.raises(DesignFault) as caught:
        loads(text, "truck.toml")
    assert len(caught.value.faults) == 1, str(caught.value)
    return caught.value.faults[0]


def changed(text: str, old: str, new: str, times: int = 1) -> str:
    """The text with `old` replaced; `times` below zero is everywhere."""
    assert old in text
    return text.replace(old, new, times)


def line_of(text: str, part: str) -> int:
    """Line of the first `part`, from 1."""
    return text[: text.index(part)].count("\n") + 1


@pytest.mark.parametrize("table", ["line", "input"])
def test_a_single_bracket_where_there_can_be_several(table: str) -> None:
    """[line] and [input] are read all the same, so nothing that names them is at fault."""
    text = changed(PULL_UP, f"[[{table}]]", f"[{table}]")
    fault = only_fault(text)
    assert f"write [[{table}]] with two brackets" in fault.message
    assert fault.line == line_of(text, f"[{table}]\n")


@pytest.mark.parametrize("table", ["contact", "device", "line.window", "plug.cavity"])
@pytest.mark.parametrize("times", [1, -1])
def test_single_brackets_that_toml_refuses(table: str, times: int) -> None:
    """The first or all of several: the cure names the table and every line that wants it."""
    text = changed(PULL_UP, f"[[{table}]]", f"[{table}]", times)
    fault = only_fault(text)
    assert f"write [[{table}]] with two brackets" in fault.message
    assert str(line_of(text, f"[{table}]\n")) in fault.message
    assert fault.path == table


def test_a_contact_named_in_its_header() -> None:
    """[contact.lever_up] instead of [[contact]] and id = "lever_up"."""
    text = PULL_UP
    while "[[contact]]\nid = " in text:
        head = text.index("[[contact]]\nid = ")
        name = text[head:].split('"')[1]
        text = text.replace(f'[[contact]]\nid = "{name}"', f"[contact.{name}]", 1)
    fault = only_fault(text)
    assert "write [[contact]] with two brackets" in fault.message
    assert 'id = "lever_manual"' in fault.message


@pytest.mark.parametrize("table", ["supply", "defaults", "temperature"])
def test_two_brackets_where_there_is_one(table: str) -> None:
    """[[defaults]] still holds the defaults."""
    text = changed(PULL_UP, f"[{table}]", f"[[{table}]]")
    fault = only_fault(text)
    assert fault.line == line_of(text, f"[[{table}]]")
    assert f"write [{table}] with one bracket" in fault.message


@pytest.mark.parametrize(
    ("old", "new", "times"),
    [
        ("idle = ", "idel = ", 1),
        ("input = ", "imput = ", 1),
        ("compares = ", "compare = ", 1),
        ("leak_to_ground", "leak_to_grond", 1),
        ("resistor = ", "resistro = ", 1),
        ("pull_down = ", "pulldown = ", 1),
        ("[temperature]", "[temprature]", 1),
        ("[defaults]", "[defautls]", 1),
        ("[supply]", "[suply]", 1),
        ("[[contact]]", "[[cotnact]]", 1),
        ("[[contact]]", "[[cotnact]]", -1),
        ("[[line.window]]", "[[line.windwo]]", -1),
        ('meaning = "up"', 'meanign = "up"', 1),
        ("run = {", "rnu = {", 1),
    ],
)
def test_a_mistyped_key_is_one_fault(old: str, new: str, times: int) -> None:
    """Unknown here is not also missing there, and what names the entry finds it."""
    text = changed(PULL_UP, old, new, times)
    fault = only_fault(text)
    assert "Did you mean" in fault.message
    assert fault.nearest
    assert fault.line == line_of(text, new)


def test_a_mistyped_key_is_one_fault_even_if_its_value_is_wrong_too() -> None:
    """The value is looked at once the name is right."""
    assert "Did you mean" in only_fault(changed(PULL_UP, 'idle = "automatic"', "idel = 5")).message


@pytest.mark.parametrize(
    ("old", "new", "cure"),
    [
        ('tolerance = "1 %"\n', "tolerance = 1\n", '"1 %"'),
        ('tolerance = "1 %"\n', 'tolerance = "1"\n', '"1 %"'),
        ('tolerance = "1 %"\n', "tolerance = { value = 1 }\n", '"1 %"'),
        ('tolerance = "1 %"\n', 'tolerance = { value = "1" }\n', '"1 %"'),
        ('"1 kohm", tolerance = "5 %"', '"1 kohm", tolerance = 5', '"5 %"'),
        ('"1 kohm", tolerance = "5 %"', '"1 kohm", tolerance = "5"', '"5 %"'),
        ('value = "5 V", tolerance = "1 %"', 'value = "5 V", tolerance = 1', '"1 %"'),
        ('value = "5 V", tolerance = "1 %"', 'value = 5, tolerance = "1 %"', '"5 V"'),
        ('error = "1 %"', "error = 1", '"1 %"'),
        ('error = "1 %"', 'error = "1"', '"1 %"'),
    ],
)
def test_a_missing_percent_sign_is_one_fault(old: str, new: str, cure: str) -> None:
    """Nothing follows from it: no "stated nowhere", no "required and missing"."""
    fault = only_fault(changed(PULL_UP, old, new))
    assert cure in fault.message, fault.message


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"1 kohm", tolerance = "5 %"', '"1 kohm" tolerance = "5 %"'),
        ('exclusive = [["lever_up", "lever_down"]]', 'exclusive = [["lever_up" "lever_down"]]'),
        ('between = ["lever_pod", "tcu_plug"]', 'between = ["lever_pod" "tcu_plug"]'),
        ('between = ["lever_pod", "tcu_plug"]', 'between = [\n  "lever_pod"\n  "tcu_plug"\n]'),
        ('value = "to choose"', 'fixed = false value = "to choose"'),
    ],
)
def test_a_missing_comma_is_said(old: str, new: str) -> None:
    """At the line of the entry that wants it."""
    text = changed(PULL_UP, old, new)
    fault = only_fault(text)
    assert "A comma is missing" in fault.message, fault.message
    assert fault.line == line_of(text, new) + (2 if "\n" in new else 0)


@pytest.mark.parametrize(
    "text",
    [
        'a = ["x", "y"\nb = 1\n',
        "a = [1, 2\n[t]\nb = 1\n",
        'a = { b = "x",\n c = 1 }\n',
        'a = { b = "x"\nc = 1\n',
        'a = "x" "y"\n',
    ],
)
def test_a_missing_bracket_is_not_called_a_comma(text: str) -> None:
    """What follows on a new line begins another entry of the file."""
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(text)
    assert locate(text).no_comma == 0


def test_a_date_with_a_blank_is_one_entry() -> None:
    """The only blank that a value of TOML may hold outside quotation marks."""
    text = "a = [1979-05-27 07:32:00, 2.5]\nb = { c = 1979-05-27 07:32:00Z, d = true }\n"
    tomllib.loads(text)
    assert locate(text).complete


@pytest.mark.parametrize(
    ("text", "dimension", "cure"),
    [
        ("2.88O", "resistance", '"2.880 kohm" or "2.880 ohm"'),
        ("O.5 V", "voltage", '"0.5 V"'),
        ("1O", "time", '"10 s" or "10 ms"'),
        ("2.88O", "tolerance", '"2.880 %"'),
    ],
)
def test_a_letter_for_a_digit(text: str, dimension: str, cure: str) -> None:
    """Also where the unit is missing beside it."""
    with pytest.raises(QuantityFault) as caught:
        parse(text, dimension)
    assert "letter O for a zero?" in caught.value.hint
    assert cure in caught.value.hint


@pytest.mark.parametrize("text", ["9.1 mohm", "9,1 mΩ", "9.1 m ohm"])
def test_milliohms_are_asked_back_where_no_part_has_them(text: str) -> None:
    """A coding resistor, a pull, an edge: a capital M or plain ohms are meant. A wire may have them."""
    assert parse(text, "resistance") == pytest.approx(9.1e-3)
    with pytest.raises(QuantityFault) as caught:
        parse(text, "resistance", allow_milli=False)
    assert '"9.1 Mohm"' in str(caught.value)
    assert '"9.1 ohm"' in str(caught.value)
    for fine in ("0 mohm", "9.1 Mohm", "9.1 ohm", "9k1", "9.1 milliohm"):
        parse(fine, "resistance", allow_milli=False)


@pytest.mark.parametrize(
    ("old", "new", "path"),
    [
        ('resistor = "8.2k"', 'resistor = "8.2 mohm"', "contact.lever_manual.resistor"),
        ('low = "2.70 kohm"', 'low = "2.70 mohm"', "line.taps.window.up.low"),
        ('pull_up = { value = "1 kohm"', 'pull_up = { value = "1 mohm"', "input.tap_pin.pull_up.value"),
        ('leak_to_ground = "20 kohm"', 'leak_to_ground = "20 mohm"', "line.taps.leak_to_ground"),
    ],
)
def test_milliohms_in_a_file(old: str, new: str, path: str) -> None:
    """In the file as in a list."""
    fault = only_fault(changed(PULL_UP, old, new))
    assert fault.path == path
    assert "2 ways" in fault.message


def test_milliohms_of_a_wire_and_of_a_contact_are_read() -> None:
    """They have them."""
    text = changed(PULL_UP, 'closed = { low = "0 ohm"', 'closed = { low = "5 mohm"')
    assert loads(text).contact("wheel_up").closed.low == pytest.approx(0.005)


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("up 2.88O, down 1k", '"2.880 kohm"'),
        ("up O.5 V, down 1 V", '"0.5 V"'),
        ("up 9.1 mohm, down 1k", '"9.1 Mohm"'),
        ("up 1k, down 2k with 1 mohm", '"1 Mohm"'),
        ("to 5 %, up 20 to 30 %", "not a command"),
    ],
)
def test_a_list_asks_back(text: str, asked: str) -> None:
    """The same in `--list`."""
    with pytest.raises((AnswerFault, QuantityFault)) as caught:
        read_list(text)
    assert asked in str(caught.value)


@pytest.mark.parametrize(
    "text",
    ["automatic to 5 %", "automatic up to 5 %", "automatic: below 5 %", "idle at most 5 %", "automatic 0 to 5 %",
     "automatic = max 5 %"],
)  # fmt: skip
def test_a_range_with_its_upper_end_alone(text: str) -> None:
    """It begins at the rail; up and down keep their names."""
    found = {each.meaning: each for each in read_list(f"{text}, up 20 to 30 %, down to 15 %").entries}
    assert set(found) == {"automatic", "up", "down"}
    assert (parse(found["automatic"].low, "ratio"), parse(found["automatic"].high, "ratio")) == (0.0, 0.05)
    assert parse(found["down"].high, "ratio") == pytest.approx(0.15)


def test_a_listed_idle_keeps_the_basis_of_its_list() -> None:
    """Only an idle window that was added is assumed."""
    answers = {"switched": "fuse", "controls": ("lever",), "whose": "measured"}
    listed = read_list("automatic 0 to 5 %, up 20 to 30 %, down 40 to 50 %")
    truck = loads(design_text(sheet_of({**answers, "list": listed}, "pp-slip")))
    assert {each.meaning: each.basis for each in truck.lines[0].windows}["automatic"] == "measured"
    without = read_list("up 20 to 30 %, down 40 to 50 %")
    truck = loads(design_text(sheet_of({**answers, "list": without}, "pp-slip")))
    assert {each.meaning: each.basis for each in truck.lines[0].windows}["automatic"] == "assumed"


@pytest.mark.parametrize("name", NAMES)
def test_every_key_of_the_examples_misspelt_is_one_told_fault(name: str) -> None:
    """A letter lost, or a full stop inside, in each key in turn: refused in words, never an error of Python's own.

    Found by mutating files at random: `{ valu = "100 ppm/K" }` was one.
    """
    text = example_path(name).read_text(encoding="utf-8")
    tried = 0
    for hit in re.finditer(r'(?<![\w"-])([a-z_]{4,})(?=\s*=)', text):
        line = text[text.rfind("\n", 0, hit.start()) + 1 : hit.start()]
        if re.match(r"\s*lever = \{", line):
            continue  # here the owner names the keys
        for slip in (hit[1][:-1], f"{hit[1][:2]}.{hit[1][2:]}"):
            tried += 1
            with pytest.raises(DesignFault) as caught:
                loads(text[: hit.start()] + slip + text[hit.end() :], name="slip.toml")
            assert len(caught.value.faults) <= 8, (hit[1], slip)
    assert tried > 50
