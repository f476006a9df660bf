"""What somebody who builds for the first time stumbles over: said where it happens, with what to do next."""

from __future__ import annotations

import re
import shutil
from functools import partial
from pathlib import Path

import pytest
from click.testing import CliRunner

from pinproof.chain.interview import AnswerFault, question, understand
from pinproof.chain.sheet import sheet_of
from pinproof.cli import group
from pinproof.design import DesignFault, load, loads
from pinproof.driveline import drive_sums, settings_sheet
from pinproof.errors import PinproofError
from pinproof.examples import FOLDER
from pinproof.harness import lay_out
from pinproof.inhibit.chains import built
from pinproof.inhibit.from_design import start_circuit
from pinproof.inhibit.results import Set, StartFault
from pinproof.inhibit.reveal import _only_by_press
from pinproof.inhibit.sets import ALL
from pinproof.inhibit.table import truth_table
from pinproof.inhibit.words import harm_words
from pinproof.pack import blocks
from pinproof.pack.bench_sheet import _left_out
from pinproof.pack.block_html import blocks_html
from pinproof.proof.unknown import coder_ohms
from pinproof.verdict import Verdict
from pinproof.wiring import line_view

from .test_new import answers_of, run

ANSWERS = (
    "--switched", "chassis", "--controls", "lever, wheel", "--whose", "published", "--pull", "2.2k 2 % measured",
    "--supply", "9 to 15.5 V", "--parts", "E24 1 %",
)  # fmt: skip


def test_ohms_at_rest_get_a_resistor_at_the_far_end(tmp_path: Path) -> None:
    """A list that names ohms with nothing pressed is met with nothing pressed, and with each button beside that."""
    result = run(tmp_path, "new", "truck.toml", *ANSWERS, "--list", "up 560 ohm, down 1.5k, rest 4.7k")
    assert result.exit_code == 0, result.output
    assert "idle resistor: 4.7 kΩ" in result.output
    truck = load(tmp_path / "truck.toml")
    (line,) = truck.lines
    assert line.idle_resistor is not None and line.idle_resistor.ohm == 4700.0
    view = line_view(truck, line.id)
    for pressed, wanted_ohm in ((frozenset[str](), 4700.0), ({"lever_up"}, 560.0), ({"wheel_down"}, 1500.0)):
        _, nominal_ohm, _ = coder_ohms(view, frozenset(pressed))
        assert nominal_ohm == pytest.approx(wanted_ohm, rel=0.05)


@pytest.mark.parametrize(
    ("switched", "listed", "idle"),
    [
        ("chassis", "up 560 ohm, down 1.5k, rest 4.7k", "to choose"),
        ("chassis", "up 560 ohm, down 1.5k, rest open", "none"),
        ("chassis", "up 560 ohm, down 1.5k", "none"),
        ("chassis", "up 20 %, down 45 %, rest 68 %", "to choose"),
        ("chassis", "up 20 %, down 45 %, rest 98 %", "none"),
        ("chassis", "up 1 V to 1.2 V, down 2 V to 2.4 V, rest 3.2 V to 3.8 V", "to choose"),
        ("chassis", "up 1 V to 1.2 V, down 2 V to 2.4 V, rest 4.2 V to 5 V", "none"),
        ("chassis", "up 3 V, down 5 V, rest 8 V", "none"),
        ("fuse", "up 2.88k, down 1.27k, rest 22k", "to choose"),
        ("fuse", "up 20 %, down 45 %, rest 0 %", "none"),
        ("fuse", "up 20 %, down 45 %, rest 8 %", "to choose"),
    ],
)
def test_only_what_an_open_wire_cannot_give_needs_it(switched: str, listed: str, idle: str) -> None:
    """At the rail, or where the rail is not known, no resistor is put in."""
    assert sheet_of(answers_of(switched=switched, list=listed), "pp-abc123").idle_resistor == idle


def test_degrees_are_asked_for_and_kept_as_said() -> None:
    """Both scales are in use where trucks are built; a bare number is neither."""
    with pytest.raises(AnswerFault, match='in which degrees. Write "0 to 110 °C" or "0 to 110 °F"'):
        understand(question("temperature"), "0 to 110")
    assert understand(question("temperature"), "20 to 120 °F").text == "20 °F to 120 °F"
    assert understand(question("temperature"), "-30 to 85 °C measured").text == "-30 °C to 85 °C"


def test_an_order_names_the_tolerance_that_the_proof_counted_on(tmp_path: Path) -> None:
    """Parts of 5 % beside values proven with 1 % would undo the proof."""
    path = tmp_path / "truck.toml"
    run(tmp_path, "new", "truck.toml", *ANSWERS[:-1], "E24 5 %", "--list", "up 20 %, down 45 %, rest 68 %")
    run(tmp_path, "choose", "truck.toml", "--tolerance", "1 %", "--write")
    assert 'value = "5 %"' in path.read_text(encoding="utf-8")
    said = " ".join(run(tmp_path, "next", "truck.toml").output.split())
    assert "all of 1 % or finer. Also an assortment of E24 film resistors, 1 %" in said


def test_what_cannot_be_reached_collides_with_nothing(tmp_path: Path) -> None:
    """A window that no value reaches has no partner, and none is named."""
    path = tmp_path / "truck.toml"
    run(tmp_path, "new", "truck.toml", *ANSWERS, "--list", "up 560 ohm, down 1.5k, rest 4.7k")
    text = path.read_text(encoding="utf-8")
    line = next(each for each in text.splitlines() if each.startswith("idle_resistor"))
    path.write_text(text.replace(line, 'idle_resistor = "none"'), encoding="utf-8")
    for command in ("choose", "next", "prove"):
        assert "no window" not in run(tmp_path, command, "truck.toml").output


def test_a_key_state_that_supply_lacks_says_how_it_is_written() -> None:
    """The state is real, only [supply] does not give it yet."""
    text = (FOLDER / "dunlin.toml").read_text(encoding="utf-8")
    text = text.replace('crank = { low = "6.5 V", high = "11 V" }\n', "", 1)
    with pytest.raises(DesignFault) as caught:
        loads(text, "truck.toml")
    assert any('Write crank = { low = "… V"' in each.message for each in caught.value.faults)


def test_the_way_to_a_controllers_place_is_told_and_leads_there(tmp_path: Path) -> None:
    """The input takes no place; its plug does."""
    text = (FOLDER / "dunlin.toml").read_text(encoding="utf-8")
    bare = text.replace('controller = "gearbox controller"\nplug = "tcu"\ncavity = "A1"\n', "", 1)
    bare = re.sub(r'\[\[(driver|load)\]\]\nid = "manual_(out|lamp)"\n(?:.+\n)+\n', "", bare)
    assert bare != text
    with pytest.raises(DesignFault) as caught:
        lay_out(loads(bare, "dunlin.toml"))
    said = " ".join(each.message for each in caught.value.faults)
    assert "Give its [[input]] a `plug` and a `cavity`; the place stands at that [[plug]]" in said
    lay_out(loads(text, "dunlin.toml"))


def _set(position: str, operated: tuple[str, ...]) -> Set:
    return Set(position, False, operated, ALL, ALL, (), ALL, ALL, (), True)


def _fault(*sets: Set) -> StartFault:
    by = tuple((each.operated, ALL) for each in sets if each.operated)
    return StartFault(
        "x bridged", "x", "bridged", "", True, "cranks in gear, no request", sets, (), True, by_command=by
    )


def test_a_press_is_named_only_where_it_tells_something() -> None:
    """The same ohms with and without a button are one line; a place that only a button breaks is another."""
    same = _fault(_set("R", ()), _set("R", ("up",)), _set("R", ("down",)))
    assert "with" not in harm_words(same, ("P",)) and not _only_by_press(same)
    more = _fault(_set("R", ()), _set("R", ("up",)), _set("D", ("up",)))
    assert "in R, D, start off with up" in harm_words(more, ("P",)) and _only_by_press(more)


def test_the_settings_speak_in_the_units_of_the_file(tmp_path: Path) -> None:
    """In US units the circumference is entered in inches; gears that nobody set are not called set."""
    for name in ("sandpiper.toml", "sandpiper-borrowed.csv"):
        shutil.copy(FOLDER / name, tmp_path / name)
    path = tmp_path / "sandpiper.toml"
    text = path.read_text(encoding="utf-8")
    assert 'units = "metric"' in text
    rows = {}
    for units in ("metric", "us"):
        path.write_text(text.replace('units = "metric"', f'units = "{units}"'), encoding="utf-8")
        truck = load(path)
        rows[units] = {each.what: each for each in settings_sheet(truck, drive_sums(truck))}
    metric, us = (rows[units]["rolling circumference"].value for units in ("metric", "us"))
    assert metric.split(";")[0].endswith(" m") and us.split(";")[0].endswith(" in")
    metres, inches = (float(each.split()[1]) for each in (metric, us))
    assert inches * 0.0254 == pytest.approx(metres, rel=1e-3)
    assert "lowest_gear" not in text
    assert rows["us"]["lowest gear in manual"].basis == "assumed, the gearbox's own"
    result = CliRunner().invoke(group, ["gears", str(path)])
    assert "One turn of the wheel: " in result.output
    assert result.output.split("One turn of the wheel: ")[1].split("(")[0].strip().endswith("in")


def _first_harness() -> tuple[str, str]:
    """The two pieces of the first harness in the manual: keys for tables that are there, and new tables."""
    text = (Path(__file__).parents[2] / "docs" / "harness.md").read_text(encoding="utf-8")
    section = text.split("## A first one\n")[1].split("\n## ")[0]
    keys, tables = re.findall(r"```toml\n(.*?)```", section, re.DOTALL)
    return keys, tables


def _behind(lines: list[str], hit: re.Match[str]) -> str:
    return hit[1] + "\n".join(lines) + "\n"


def _with_keys(text: str, keys: str) -> str:
    """Each table's keys written behind its `id`, or behind its head where it has none, as a person would."""
    for block in keys.strip().split("\n\n"):
        head, *lines = block.splitlines()
        named = lines and lines[0].startswith("id = ")
        anchor = re.escape(head) + (r"[^\n]*\n" + re.escape(lines.pop(0)) if named else "")
        text, count = re.subn(f"({anchor}[^\n]*\n)", partial(_behind, lines), text, count=1)
        assert count == 1, head
    return text


def test_the_first_harness_of_the_manual_is_laid_out_and_cranks_where_it_may(tmp_path: Path) -> None:
    """What the manual says to type gives a harness without open points and a start circuit that the table passes."""
    run(tmp_path, "new", "truck.toml", "--switched", "chassis", "--controls", "lever", "--pull", "1 kohm 5 % measured",
        "--list", "up 620 ohm, down 1.5k, rest open", "--whose", "measured", "--parts", "E24 1 %")  # fmt: skip
    path = tmp_path / "truck.toml"
    keys, tables = _first_harness()
    path.write_text(_with_keys(path.read_text(encoding="utf-8"), keys) + "\n" + tables, encoding="utf-8")
    truck = load(path)
    assert truck.warnings == ()
    result = run(tmp_path, "harness", "truck.toml")
    assert result.exit_code == 0 and "HARNESS HOLDS" in result.output, result.output
    assert "unfused" not in result.output
    cells = [cell.verdict for row in truth_table(built(start_circuit(truck))) for cell in row.cells]
    assert set(cells) == {Verdict.PASS}


def test_names_on_a_page_hold_no_blanks_that_are_not_theirs() -> None:
    """Places where a printed word may be broken are elements on a page; a name copied from it is the name."""
    name = "line.taps.window.automatic_at_the_end"
    body = [blocks.table(f"of {name}", ((name, 1.0),), [(name,)]), blocks.para(f"see {name}")]
    page = blocks_html(body, "A page", "foot", {})
    shown = re.sub(r"<(?!/?(?:td|th|p|caption))[^>]*>", "", page.split("<main>")[1])
    assert shown.count(name) >= 4


def test_of_several_readings_all_are_kept_or_none(tmp_path: Path) -> None:
    """A slip in the third leaves no half of a list on record."""
    shutil.copy(FOLDER / "sandpiper.toml", tmp_path / "sandpiper.toml")
    shutil.copy(FOLDER / "sandpiper-borrowed.csv", tmp_path / "sandpiper-borrowed.csv")
    good = ("--read", "taps/ohms/lever_manual=8.25k")
    path = str(tmp_path / "sandpiper.toml")
    result = CliRunner().invoke(group, ["meter", path, *good, "--read", "taps/ohms/nothing=1k"])
    assert isinstance(result.exception, PinproofError)
    assert "lever_manual" in run(tmp_path, "meter", "sandpiper.toml", *good).output
    assert ": 1 reading. " in run(tmp_path, "record", "sandpiper.toml").output


def test_numbers_of_steps_that_are_missing_are_told() -> None:
    """Steps keep their numbers on every truck; a gap is no lost page."""
    assert _left_out({1, 2, 3}) == []
    assert _left_out({1, 2, 3, 4, 5, 7}) == ["Step 6 is not here: this truck has nothing to measure there."]
    assert _left_out({1, 4}) == ["Steps 2, 3 are not here: this truck has nothing to measure there."]
