"""`pinproof gears` as a user meets it, the sheet, the chart."""

from __future__ import annotations

import itertools
import json
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pinproof.cli import group
from pinproof.design import load
from pinproof.drawings.saw_tooth import saw_tooth
from pinproof.driveline import blanks, drive_sums, load_drive, settings_sheet
from pinproof.driveline.file import ANSWERS
from pinproof.examples import FOLDER, example_path


def run(*args: object) -> Result:
    return CliRunner().invoke(group, ["gears", *map(str, args)])


@pytest.fixture
def drive(tmp_path: Path) -> Path:
    for name in ("sandpiper-drive.toml", "sandpiper-borrowed.csv"):
        shutil.copy(FOLDER / name, tmp_path / name)
    return tmp_path / "sandpiper-drive.toml"


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def without_table(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    head, _, tail = text.partition("# A stranger's table")
    path.write_text(head + tail[tail.index("[settings]") :], encoding="utf-8")


def test_exit_codes(drive: Path) -> None:
    assert run(drive).exit_code == 1, "the borrowed table has unsafe cells"
    without_table(drive)
    result = run(drive)
    assert result.exit_code == 0, result.output
    assert "SAFE AND KNOWN, resting on 2 numbers" in result.output
    assert run(drive, "--sheet").exit_code == 1, "the sheet has blanks"
    change(drive, "6350 rpm", "6190 rpm")
    assert run(drive).exit_code == 1


def test_a_file_that_cannot_be_used_ends_with_2(drive: Path) -> None:
    """As a process of its own: there the error is words and a code, not a traceback."""
    change(drive, "format = 1", "format = 3")
    done = subprocess.run([sys.executable, "-m", "pinproof", "gears", drive], capture_output=True, encoding="utf-8")
    assert (done.returncode, done.stdout) == (2, "") and done.stderr.startswith("sandpiper-drive.toml  format: ")


def test_tables_and_checks_are_printed(drive: Path) -> None:
    said = run(drive, "--at", "100 km/h", "--at", "62 mph").output
    wanted = [
        "at limiter",
        "At 100.0 km/h",
        "At 99.8 km/h",
        "Drop after each shift up",
        "Highest speed for a shift down",
    ]
    wanted += ["Pulses", "[safe] separation", "Cure: `--table", "rev/mile", "tyre.growth"]
    assert [part for part in wanted if part not in said] == []


def test_us_units_are_printed_first_where_asked(drive: Path) -> None:
    change(drive, 'units = "metric"', 'units = "us"')
    said = run(drive).output
    assert "mph" in said and "km/h" not in said


def test_json_has_all_of_it(drive: Path) -> None:
    result = run(drive, "--json", "--at", "100 km/h")
    plain = json.loads(result.stdout)
    assert plain["verdict"] == "fail" and len(plain["gears"]) == 12 and len(plain["at"]) == 12
    assert plain["borrowed"][0]["rows"] and plain["sheet"]
    assert {"low", "value", "high"} == set(plain["rolling_m"])


def test_table_is_shown_and_written(drive: Path, tmp_path: Path) -> None:
    result = run(drive, "--table", "friend", "-o", tmp_path / "out.csv")
    assert "UNSAFE 2>1" in result.output and "POINTLESS 1>2" in result.output
    assert (tmp_path / "out.csv").read_text(encoding="utf-8").startswith("row,column,donor [km/h],enter [km/h]")
    assert run(drive, "--table", "nobody").exit_code == 2
    assert run(drive, "-o", "x.csv").exit_code == 2


def test_sheet_leaves_blank_what_only_the_owner_knows(drive: Path) -> None:
    made = load_drive(drive)
    sheet = settings_sheet(made, drive_sums(made))
    empty = [each for each in sheet if not each.value]
    assert empty and all(each.owner for each in empty), "what can be computed is never blank"
    assert all(each.reason and each.proof for each in sheet)
    assert all(each.basis for each in sheet if each.value)
    answered = set(made.answers or {})
    assert len(empty) == len(ANSWERS) - len(answered) == blanks(sheet)
    with_design = settings_sheet(made, drive_sums(made), load(example_path("sandpiper")))
    assert blanks(with_design) == blanks(sheet) - 2, "codes and debounce come from the design"


def test_sheet_says_that_a_bad_line_may_not_stay(drive: Path) -> None:
    change(drive, '"2150 rpm"', '"2450 rpm"')
    said = run(drive, "--sheet").output
    assert "NOT AS IT STANDS" in said


def test_design_of_another_truck_is_refused(drive: Path) -> None:
    result = run(drive, "--design", example_path("heron"))
    assert "Take the right file" in str(result.exception)
    assert run(drive, "--sheet", "--design", example_path("sandpiper")).exit_code == 1


def test_begin_writes_once(tmp_path: Path) -> None:
    assert run("--begin", tmp_path / "d.toml").exit_code == 0
    assert run("--begin", tmp_path / "d.toml").exit_code == 2
    assert run().exit_code == 2
    assert "it is missing" in str(run(tmp_path / "d.toml").exception)


def test_a_missing_or_foreign_file_is_told(drive: Path, tmp_path: Path) -> None:
    assert run(tmp_path / "none.toml").exception is not None
    assert "not a driveline file" in str(run(example_path("heron")).exception)
    (drive.parent / "sandpiper-borrowed.csv").unlink()
    assert "sandpiper-borrowed.csv" in str(run(drive).exception)


@pytest.mark.parametrize("layout", ["wide", "narrow"])
@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("transfer", ["high", "low"])
def test_chart_has_no_label_on_another(drive: Path, layout: str, units: str, transfer: str) -> None:
    change(drive, 'units = "metric"', f'units = "{units}"')
    drawn = saw_tooth(drive_sums(load_drive(drive)), transfer=transfer, layout=layout)
    for one, other in itertools.combinations(drawn.labels, 2):
        assert not one.overlaps(other), (one.text, other.text)
    assert all(label.inside(drawn.width_mm, drawn.height_mm) for label in drawn.labels)
    assert "into 2" in drawn.description and ET.fromstring(drawn.svg) is not None


def test_chart_shows_what_was_computed(drive: Path) -> None:
    """The foot of each fall in the drawn path is where the step ends, nominal on nominal."""
    sums = drive_sums(load_drive(drive))
    drawn = saw_tooth(sums)
    root = ET.fromstring(drawn.svg)
    space = "{http://www.w3.org/2000/svg}"
    saw = next(g for g in root.iter(f"{space}g") if g.get("class") == "pp-saw").find(f"{space}path")
    frame = next(g for g in root.iter(f"{space}g") if g.get("class") == "pp-rule").find(f"{space}rect")
    assert saw is not None and frame is not None
    points = [tuple(map(float, part.split())) for part in saw.get("d", "")[1:].split("L")]
    top, height = float(frame.get("y", "")), float(frame.get("height", ""))
    rpm = [(1.0 - (y - top) / height) * 7000.0 for _, y in points]
    expected = [0.0]
    for step in sums.steps:
        expected += [step.before_rpm.value, step.after_rpm.value]
    assert rpm[:-1] == pytest.approx(expected, abs=15.0)
    assert all(points[i][0] == points[i + 1][0] for i in range(1, len(points) - 1, 2)), "road speed stands in a shift"


def test_chart_without_lines_limiter_or_second_gear(drive: Path) -> None:
    text = drive.read_text(encoding="utf-8")
    head = text[: text.index('[[gear]]\nname = "2"')] + text[text.index("[converter]") : text.index("[[sensor]]")]
    alone = drive.with_name("one.toml")
    alone.write_text(head, encoding="utf-8")
    change(alone, 'limiter = { low = "6350 rpm", value = "6400 rpm", high = "6450 rpm", basis = "measured" }',
           'limiter = "unknown"')  # fmt: skip
    result = run(alone, "--chart", drive.with_name("one.svg"))
    assert result.exit_code == 1 and drive.with_name("one.svg").exists(), result.output
    with pytest.raises(ValueError, match="range"):
        saw_tooth(drive_sums(load_drive(alone)), transfer="middle")
