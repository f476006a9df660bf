"""`pinproof adopt`: nothing counts as measured on a truck where nobody has measured it."""

from __future__ import annotations

import difflib
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from pinproof.chain.adopt import adopted, remeasure
from pinproof.cli import group
from pinproof.design import DesignFault, load, loads
from pinproof.examples import NAMES, example_path
from pinproof.proof import prove


def text_of(name: str) -> str:
    """An example's file."""
    return example_path(name).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", NAMES)
def test_measured_becomes_borrowed_and_nothing_else_changes(name: str) -> None:
    """Line by line: only the id, the name, the note at the head and `measured` differ; comments and order stay."""
    text = text_of(name)
    taken = adopted(text, "pp-new1", "Second truck")
    before, after = text.splitlines(), taken.text.splitlines()
    assert after[0].startswith(f"# Taken over from pp-{name}")
    assert len(after) == len(before) + 1
    for old, new in zip(before, after[1:], strict=True):
        if old != new:
            assert old.startswith(("id =", "name =")) or old.replace('"measured"', '"borrowed"') == new
    old_truck, new_truck = loads(text), loads(taken.text)
    assert (new_truck.id, new_truck.name) == ("pp-new1", "Second truck")
    for path, entry in old_truck.entries().items():
        now = new_truck.entries()[path]
        assert now.basis == ("borrowed" if entry.basis == "measured" else entry.basis), path
    old_windows = [each for line in old_truck.lines for each in (*line.windows, *line.targets)]
    new_windows = [each for line in new_truck.lines for each in (*line.windows, *line.targets)]
    for was, is_ in zip(old_windows, new_windows, strict=True):
        assert is_.basis == ("borrowed" if was.basis == "measured" else was.basis)
    assert len(taken.borrowed) == text.count('basis = "measured"')


def test_every_way_of_writing_a_basis_is_found() -> None:
    """Inline tables, tables of their own, dotted keys, single quotes, CRLF, a byte order mark."""
    text = text_of("heron").replace(
        'pull_up = { value = "1 kohm", tolerance = "2 %", basis = "measured" }',
        "pull_up = { value = '1 kohm', tolerance = { value = \"2 %\", basis = 'measured' }, basis='measured' }",
    )
    text = text.replace(
        'wire = { low = "0 ohm", high = "1 ohm" }',
        'wire.low = "0 ohm"\nwire.high = "1 ohm"\nwire.basis = "measured"',
        1,
    )
    text = "\ufeff" + text.replace("\n", "\r\n")
    assert any(each.basis == "measured" for each in loads(text).entries().values())
    taken = adopted(text, "pp-new1")
    assert "measured" not in [each.basis for each in loads(taken.text).entries().values()]
    assert "line.shift.wire" in taken.borrowed
    assert taken.text.startswith("\ufeff#")
    assert "\n" not in taken.text.replace("\r\n", "")


def test_a_note_that_says_measured_stays() -> None:
    """Only the basis changes, not what people wrote."""
    text = text_of("sandpiper").replace('note = "two loads, bench meter"', 'note = "measured twice"')
    taken = adopted(text, "pp-new1")
    assert 'note = "measured twice"' in taken.text


def test_what_to_measure_comes_in_order_of_strain() -> None:
    """The number whose error would overturn the verdict soonest comes first; every borrowed one is in a list."""
    taken = adopted(text_of("heron"), "pp-new1")
    again = remeasure(prove(loads(taken.text), samples=0), taken)
    strains = [each.strain for each in again.first]
    assert strains == sorted(strains)
    assert {each.basis for each in again.first} == {"borrowed"}
    assert "input.shift_pin.pull_up" in {each.parameter for each in again.first}
    named = {each.parameter for each in again.first} | set(again.rest)
    for path in taken.borrowed:
        short = path.removeprefix("defaults.")
        assert path in named or any(each.endswith(short) for each in named), path


def test_a_faulty_file_is_not_adopted(tmp_path: Path) -> None:
    """All its faults are told, nothing is written."""
    with pytest.raises(DesignFault):
        adopted("format = 1\nid = 3\n", "pp-new1")
    bad = tmp_path / "bad.toml"
    bad.write_text("format = 1\n", encoding="utf-8")
    result = CliRunner().invoke(group, ["adopt", str(bad), str(tmp_path / "new.toml")])
    assert isinstance(result.exception, DesignFault)  # `main` turns it into words and exit code 2
    assert not (tmp_path / "new.toml").exists()


def test_the_command_writes_a_new_file_and_never_over_one(tmp_path: Path) -> None:
    """The shared file stays as it was; the new one loads; a second call refuses."""
    shared, mine = tmp_path / "shared.toml", tmp_path / "mine.toml"
    shared.write_text(text_of("heron"), encoding="utf-8")
    result = CliRunner().invoke(group, ["adopt", str(shared), str(mine), "--name", "Second truck"])
    assert result.exit_code == 0, result.output
    assert "Measure again on this truck, in this order" in result.output
    assert shared.read_text(encoding="utf-8") == text_of("heron")
    truck = load(mine)
    assert truck.name == "Second truck"
    assert truck.id != "pp-heron"
    kept = mine.read_text(encoding="utf-8")
    again = CliRunner().invoke(group, ["adopt", str(shared), str(mine)])
    assert again.exit_code == 2
    assert "nothing was written" in again.output
    assert mine.read_text(encoding="utf-8") == kept
    over = CliRunner().invoke(group, ["adopt", str(shared), str(shared)])
    assert over.exit_code == 2
    assert shared.read_text(encoding="utf-8") == text_of("heron")


def test_json_names_what_was_borrowed_and_what_comes_first(tmp_path: Path) -> None:
    """For programs: ids, paths, the order."""
    result = CliRunner().invoke(group, ["adopt", str(example_path("heron")), str(tmp_path / "m.toml"), "--json"])
    assert result.exit_code == 0, result.output
    said = json.loads(result.output)
    assert said["from_id"] == "pp-heron"
    assert said["id"] == load(tmp_path / "m.toml").id
    assert said["measure_first"][0]["basis"] == "borrowed"


def test_two_adoptions_get_two_ids(tmp_path: Path) -> None:
    """An id is permanent and a truck's own."""
    for number in (1, 2):
        CliRunner().invoke(group, ["adopt", str(example_path("wagtail")), str(tmp_path / f"{number}.toml")])
    one, two = ((tmp_path / f"{number}.toml").read_text(encoding="utf-8").splitlines() for number in (1, 2))
    differing = [line for line in difflib.ndiff(one, two) if line.startswith(("- ", "+ "))]
    assert {line[2:6] for line in differing} == {"id ="}
