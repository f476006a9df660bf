"""Edits keep every character that is not theirs; saving leaves a whole file whatever goes wrong."""

from __future__ import annotations

import difflib
import os
import tomllib
from math import inf

import pytest

from pinproof.design import ChangedUnderneath, DesignFault, EditFault, Resistor, SaveFailed, load, loads
from pinproof.design.edit import set_values, to_toml, with_values
from pinproof.design.load import text_hash
from pinproof.design.save import save_atomic
from pinproof.quantities import parse

from .test_design_samples import DIVIDER, ELEMENTS, LADDERS, PULL_UP, SAMPLES

NEW = {"resistance": "123 ohm", "voltage": "1.23 V", "time": "1.23 ms", "ratio": "1.23 %", "tolerance": "1.23 %",
       "tempco": "12.3 ppm/K", "temperature": "12.3 °C", "length": "1.23 m", "capacitance": "1.23 nF"}  # fmt: skip


def changed_lines(old: str, new: str) -> list[str]:
    """Lines that are not in both, with their sign."""
    diff = difflib.ndiff(old.splitlines(keepends=True), new.splitlines(keepends=True))
    return [line for line in diff if line[0] in "+-"]


@pytest.mark.parametrize("eol", ["\n", "\r\n"])
@pytest.mark.parametrize("name", SAMPLES)
def test_every_number_can_be_changed_and_nothing_else_moves(name, eol):
    text = SAMPLES[name].replace("\n", eol)
    reached = 0
    for path, entry in loads(text).entries().items():
        wanted = "123 ohm" if isinstance(entry, Resistor) else NEW[entry.dimension]
        new = with_values(text, {path: wanted})
        assert new.count("\n") == new.count(eol)
        lines = changed_lines(text, new)
        from_default = getattr(entry, "from_default", False)
        if path == "temperature":  # a table of its own: two lines go, one comes
            assert [line[0] for line in lines] == ["+", "-", "-"]
            continue
        assert len(lines) == (1 if from_default else 2), (path, lines)
        assert to_toml(wanted) in lines[-1]
        assert lines[-1].count("#") == (0 if from_default else lines[0].count("#"))
        reached += lands(new, path, wanted, entry)
    assert reached > 5


def lands(text: str, path: str, wanted: str, former) -> bool:
    """True if the changed file still loads; its entry then holds the new number."""
    try:
        now = loads(text).entries()[path]
    except DesignFault:  # 123 ohm twice on one line, a reference below a window: rightly refused
        return False
    dimension = "resistance" if isinstance(former, Resistor) else former.dimension
    number = now.ohm if isinstance(now, Resistor) else now.low if now.high == inf else now.value
    assert number == parse(wanted, dimension)
    return True


def test_a_table_keeps_its_other_keys_and_the_comment_beside_it():
    new = with_values(PULL_UP, {"input.tap_pin.pull_up": "1.02 kohm"})
    assert changed_lines(PULL_UP, new) == [
        '- pull_up = { value = "1 kohm", tolerance = "5 %", basis = "measured" } # with the meter\n',
        '+ pull_up = { value = "1.02 kohm", tolerance = "5 %", basis = "measured" } # with the meter\n',
    ]


def test_single_keys_of_a_table():
    new = with_values(
        PULL_UP,
        {
            "contact.wheel_up.resistor": {"tolerance": "0.1 %", "basis": "measured"},
            "contact.lever_up.resistor": {"value": "4.53k", "fixed": None},
            "contact.lever_manual.resistor.basis": "borrowed",
            "line.taps.wire.high": "2 ohm",
            "line.taps.window.up.high.value": "3.1 kohm",
        },
    )
    raw = tomllib.loads(new)
    contacts = {contact["id"]: contact for contact in raw["contact"]}
    assert contacts["wheel_up"]["resistor"] == {"value": "4k7", "tolerance": "0.1 %", "basis": "measured"}
    expected = {"value": "4.53k", "tolerance": "0.5 %", "ageing": "1 %", "basis": "measured"}
    assert contacts["lever_up"]["resistor"] == expected
    assert list(contacts["lever_up"]["resistor"]) == list(expected)
    assert contacts["lever_manual"]["resistor"] == {"value": "8.2k", "basis": "borrowed"}
    assert raw["line"][0]["wire"] == {"low": "0 ohm", "high": "2 ohm"}
    assert raw["line"][0]["window"][2]["high"] == {"value": "3.1 kohm", "basis": "measured"}
    loads(new)


def test_ranges():
    new = with_values(
        PULL_UP, {"supply.crank": "5 to 12 V", "line.taps.return_offset": "none", "supply.run": "11..15 V"}
    )
    raw = tomllib.loads(new)
    assert raw["supply"]["crank"] == {"low": "5 V", "high": "12 V"}
    assert raw["supply"]["run"] == {"low": "11 V", "high": "15 V", "basis": "measured"}
    assert raw["line"][0]["return_offset"] == "none"


def test_entries_are_added_in_their_own_table_and_new_tables_at_the_end():
    new = with_values(
        LADDERS, {"contact.two.closed": "30 ohm", "input.a.max_pin": "16 V", "line.first.name": 'Left "pod"'}
    )
    raw = tomllib.loads(new)
    assert (raw["contact"][1]["closed"], raw["input"][0]["max_pin"]) == ("30 ohm", "16 V")
    assert raw["line"][0]["name"] == 'Left "pod"'
    assert all(line.startswith("+") for line in changed_lines(LADDERS, new))
    bare = LADDERS[: LADDERS.index("[defaults]")] + LADDERS[LADDERS.index("[[input]]") :]
    new = with_values(bare, {"defaults.tolerance": "1 %", "defaults.open": "none"})
    assert new.startswith(bare)
    assert tomllib.loads(new)["defaults"] == {"tolerance": "1 %", "open": "none"}


def test_inline_lists_and_dotted_keys_can_be_edited():
    new = with_values(DIVIDER, {"line.taps.window.on.low": "590 counts", "line.taps.window.rest.basis": "measured"})
    assert 'low = "590 counts", high = "700 counts"' in new
    assert '{ meaning = "rest", low = "4.2 V", basis = "measured" }, # an inline list is the same' in new
    dotted = ELEMENTS.replace('value = "1k"\n', 'value.value = "1k" # dotted\nvalue.tolerance = "2 %"\n')
    new = with_values(dotted, {"line.odd.element.r.value": "2k", "line.odd.element.r.value.ageing": "3 %"})
    assert 'value.value = "2k" # dotted\nvalue.tolerance = "2 %"\nvalue.ageing = "3 %"\n' in new
    header = dotted.replace("value.value", "note = ''\n[line.element.value]\nvalue").replace(
        "value.tolerance", "tolerance"
    )
    new = with_values(header, {"line.odd.element.r.value": {"value": "2k", "ageing": "3 %", "tolerance": None}})
    assert '[line.element.value]\nvalue = "2k" # dotted\nageing = "3 %"\n' in new


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("contact.lever_pu.resistor", '"lever_up"'),
        ("contact.lever_up.resistr", 'Did you mean "resistor"?'),
        ("contcat.lever_up.resistor", 'Did you mean "contact"?'),
        ("contact.lever_up", "whole table"),
        ("supply.jump_start.value.more", "no"),
        ("", "no"),
    ],
)
def test_paths_that_lead_nowhere(path, words):
    with pytest.raises(EditFault, match=r"Nothing was written\.$") as caught:
        with_values(PULL_UP, {path: "1k"})
    assert words in str(caught.value)


@pytest.fixture
def truck_file(tmp_path):
    path = tmp_path / "truck.toml"
    path.write_bytes(PULL_UP.replace("\n", "\r\n").encode())
    return path


def test_set_values_saves_and_keeps_the_former_version(truck_file):
    before = truck_file.read_bytes()
    truck = set_values(truck_file, {"contact.lever_up.resistor": "4.53k"}, expected_hash=load(truck_file).text_hash)
    assert truck.contact("lever_up").resistor.ohm == 4530.0
    assert truck.text_hash == text_hash(truck_file.read_bytes())
    assert (truck_file.parent / "truck.toml.bak").read_bytes() == before
    assert sorted(os.listdir(truck_file.parent)) == ["truck.toml", "truck.toml.bak"]
    assert truck_file.read_bytes() == before.replace(b"4.42k", b"4.53k")


def test_a_byte_order_mark_stays(truck_file):
    truck_file.write_bytes(b"\xef\xbb\xbf" + PULL_UP.encode())
    set_values(truck_file, {"name": "Plover"})
    assert truck_file.read_bytes() == b"\xef\xbb\xbf" + PULL_UP.replace("Sandpiper", "Plover").encode()


def test_a_change_that_would_make_the_file_faulty_is_not_written(truck_file):
    before = truck_file.read_bytes()
    with pytest.raises(DesignFault, match="cannot be a resistor"):
        set_values(truck_file, {"contact.lever_up.resistor": "0 ohm"})
    assert truck_file.read_bytes() == before
    assert os.listdir(truck_file.parent) == ["truck.toml"]


def test_a_file_that_changed_underneath_is_not_overwritten(truck_file):
    seen = load(truck_file).text_hash
    other = PULL_UP.replace("Sandpiper", "Dunlin").encode()
    truck_file.write_bytes(other)
    with pytest.raises(ChangedUnderneath, match="Load it again"):
        set_values(truck_file, {"name": "Plover"}, expected_hash=seen)
    with pytest.raises(ChangedUnderneath):
        save_atomic(truck_file, PULL_UP, seen)
    with pytest.raises(ChangedUnderneath):
        save_atomic(truck_file, PULL_UP, None)
    assert truck_file.read_bytes() == other
    truck_file.unlink()
    with pytest.raises(ChangedUnderneath):
        save_atomic(truck_file, PULL_UP, seen)
    assert os.listdir(truck_file.parent) == []
    assert save_atomic(truck_file, PULL_UP, None) == load(truck_file).text_hash
    assert os.listdir(truck_file.parent) == ["truck.toml"]


STEPS = ["mkstemp", "write", "fsync", "replace"]


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()], ids=["full", "break"])
@pytest.mark.parametrize("turn", [1, 2])
@pytest.mark.parametrize("step", STEPS)
def test_whatever_step_fails_the_old_file_is_whole_and_nothing_is_left_over(truck_file, monkeypatch, step, turn, error):
    before = truck_file.read_bytes()
    seen = text_hash(before)
    calls = 0

    def failing(true):
        def run(*args, **more):
            nonlocal calls
            calls += 1
            if calls == turn:
                raise error
            return true(*args, **more)

        return run

    if step == "mkstemp":
        monkeypatch.setattr("tempfile.mkstemp", failing(__import__("tempfile").mkstemp))
    elif step == "write":
        monkeypatch.setattr("os.fdopen", failing_file(failing))
    else:
        monkeypatch.setattr(f"os.{step}", failing(getattr(os, step)))
    with pytest.raises((SaveFailed, KeyboardInterrupt)) as caught:
        save_atomic(truck_file, PULL_UP.replace("Sandpiper", "Plover"), seen)
    monkeypatch.undo()
    assert calls == turn
    assert truck_file.read_bytes() == before
    assert set(os.listdir(truck_file.parent)) <= {"truck.toml", "truck.toml.bak"}
    if "truck.toml.bak" in os.listdir(truck_file.parent):
        assert (truck_file.parent / "truck.toml.bak").read_bytes() == before
    if caught.type is SaveFailed:
        assert "No space left" in str(caught.value)


def failing_file(failing):
    """An os.fdopen whose files fail while they are written, after half of the bytes."""
    true_open = os.fdopen

    def half(file, data):
        file.write(data[: len(data) // 2])
        file.flush()
        return run_whole(file, data)

    def run_whole(file, data):
        return type(file).write(file, data[len(data) // 2 :])

    watched = failing(run_whole)

    class Half:
        def __init__(self, *args):
            self.file = true_open(*args)

        def __enter__(self):
            return self

        def __exit__(self, *about):
            self.file.close()

        def write(self, data):
            self.file.write(data[: len(data) // 2])
            self.file.flush()
            return watched(self.file, data)

        def __getattr__(self, name):
            return getattr(self.file, name)

    return Half


@pytest.mark.skipif(os.name == "nt", reason="links need a privilege on Windows")
def test_a_link_stays_a_link(truck_file, tmp_path):
    link = tmp_path / "link.toml"
    link.symlink_to(truck_file)
    set_values(link, {"name": "Plover"})
    assert link.is_symlink()
    assert load(truck_file).name == "Plover"


def test_text_of_any_kind_survives():
    for text in ["", 'quo"te', "back\\slash", "tab\tnew\nline", "Ω °", "\x01\x7f", "'"]:
        assert tomllib.loads(f"v = {to_toml(text)}")["v"] == text
    assert tomllib.loads("v = " + to_toml({"a b": [1, True, "x"], "c": {}}))["v"] == {"a b": [1, True, "x"], "c": {}}
    with pytest.raises(TypeError):
        to_toml(1.5)
