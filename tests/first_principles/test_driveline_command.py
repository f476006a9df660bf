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

from pinproof.chain.gear import gear_link
from pinproof.cli import group
from pinproof.design import load, loads
from pinproof.design.keys_drive import ANSWERS
from pinproof.drawings import Drawing
from pinproof.drawings.saw_tooth import saw_tooth
from pinproof.driveline import blanks, drive_sums, settings_sheet
from pinproof.driveline.sheet import OWNER
from pinproof.examples import FOLDER, example_path
from pinproof.pack.gears_page import charts, gears_blocks
from pinproof.verdict import Verdict


def run(*args: object) -> Result:
    return CliRunner().invoke(group, ["gears", *map(str, args)])


@pytest.fixture
def drive(tmp_path: Path) -> Path:
    for name in ("sandpiper.toml", "sandpiper-borrowed.csv"):
        shutil.copy(FOLDER / name, tmp_path / name)
    return tmp_path / "sandpiper.toml"


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def without_table(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    head, _, tail = text.partition("# A stranger's table")
    path.write_text(head + tail[tail.index("[drive.settings]") :], encoding="utf-8")


def test_exit_codes(drive: Path) -> None:
    assert run(drive).exit_code == 1, "the borrowed table has unsafe cells"
    without_table(drive)
    result = run(drive)
    assert result.exit_code == 0, result.output
    assert "SAFE AND KNOWN, resting on 2 numbers" in result.output
    assert run(drive, "--sheet").exit_code == 1, "the sheet has blanks"
    change(drive, 'low = "6350 rpm"', 'low = "6190 rpm"')
    assert run(drive).exit_code == 1


def test_a_file_that_cannot_be_used_ends_with_2(drive: Path) -> None:
    """As a process of its own: there the error is words and a code, not a traceback."""
    change(drive, 'most = { value = "6500 rpm"', 'most = { value = "6500"')
    done = subprocess.run([sys.executable, "-m", "pinproof", "gears", drive], capture_output=True, encoding="utf-8")
    assert (done.returncode, done.stdout) == (2, "") and "drive.engine.most.value" in done.stderr


def test_tables_and_checks_are_printed(drive: Path) -> None:
    said = run(drive, "--at", "100 km/h", "--at", "62 mph").output
    wanted = [
        "at limiter",
        "At 100.0 km/h",
        "At 99.8 km/h",
        "Drop after each shift up",
        "Highest speed for a shift down",
    ]
    wanted += ["Pulses", "[safe] separation", "--table friend", "rev/mile", "drive.tyre.growth", "latest command"]
    assert [part for part in wanted if part not in said] == []


def test_us_units_are_printed_first_where_asked(drive: Path) -> None:
    change(drive, 'units = "metric"', 'units = "us"')
    said = run(drive).output
    assert "mph" in said and "km/h" not in said


def test_json_has_all_of_it(drive: Path) -> None:
    result = run(drive, "--json", "--at", "100 km/h")
    plain = json.loads(result.stdout)
    assert plain["verdict"] == "fail" and len(plain["gears"]) == 12 and len(plain["at"]) == 12
    assert [each["transfer"] for each in plain["borrowed"]] == ["high", "low"] and plain["borrowed"][0]["rows"]
    assert plain["sheet"] and len(plain["leads"]) == 5
    assert {"low", "value", "high"} == set(plain["rolling_m"])


def test_table_is_shown_and_written(drive: Path, tmp_path: Path) -> None:
    result = run(drive, "--table", "friend", "-o", tmp_path / "out.csv")
    assert "UNSAFE 2>1" in result.output and "POINTLESS 1>2" in result.output
    assert (tmp_path / "out.csv").read_text(encoding="utf-8").startswith("range,row,column,donor [km/h],enter [km/h]")
    assert "friend, high range" not in result.output and "high range" in result.output and "low range" in result.output
    low = run(drive, "--table", "friend", "--range", "low").output
    assert "low range" in low and "high range" not in low
    assert run(drive, "--table", "nobody").exit_code == 2
    assert run(drive, "--table", "friend", "--range", "middle").exit_code == 2
    assert run(drive, "-o", "x.csv").exit_code == 2


def test_sheet_leaves_blank_what_only_the_owner_knows(drive: Path) -> None:
    truck = load(drive)
    assert truck.drive is not None
    sheet = settings_sheet(truck, drive_sums(truck))
    empty = [each for each in sheet if not each.value]
    assert empty and all(each.owner for each in empty), "what can be computed is never blank"
    assert all(each.reason and each.proof for each in sheet)
    assert all(each.basis for each in sheet if each.value)
    answered = {key for key, _ in truck.drive.answers}
    told = {"lever", "auto_repeat", "at_limiter", "held_request"}  # by [drive.log]
    design = {"tap_codes", "debounce"}  # by the coded line and its input
    assert len(empty) == len(OWNER) - len(answered | told | design) == blanks(sheet)
    assert set(ANSWERS) <= set(OWNER)


def test_sheet_says_what_the_controller_was_told(drive: Path) -> None:
    said = run(drive, "--sheet").output
    for part in ("manual 5; manual is 5", "at the limiter in manual", ": hold", "latest command of an upshift in 2",
                 "highest gear in manual: 6", "kept waiting: 3 s"):  # fmt: skip
        assert part in " ".join(said.split()), part
    change(drive, 'lever_manual = ["5"]\n', "")
    assert "in manual: ____" in " ".join(run(drive, "--sheet").output.split()), "codes without manual's tell nothing"


def test_sheet_says_that_a_bad_line_may_not_stay(drive: Path) -> None:
    change(drive, '"2150 rpm"', '"2450 rpm"')
    said = run(drive, "--sheet").output
    assert "NOT AS IT STANDS" in said


def test_begin_adds_once(tmp_path: Path) -> None:
    path = tmp_path / "truck.toml"
    text = example_path("heron").read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    assert run(path, "--begin", "--yes").exit_code == 0
    assert path.read_text(encoding="utf-8").startswith(text)
    assert "already" in str(run(path, "--begin", "--yes").exception)
    assert "--begin" in str(run(path).exception), "behind the # it is not there yet"
    assert run().exit_code == 2


def test_a_missing_file_or_table_is_told(drive: Path, tmp_path: Path) -> None:
    assert run(tmp_path / "none.toml").exception is not None
    assert "no [drive] table" in str(run(example_path("heron")).exception)
    (drive.parent / "sandpiper-borrowed.csv").unlink()
    assert "sandpiper-borrowed.csv" in str(run(drive).exception)


def test_the_demo_has_the_borrowed_table_beside_it(tmp_path: Path) -> None:
    done = CliRunner().invoke(group, ["demo", "sandpiper", "-o", str(tmp_path)])
    assert done.exit_code in (0, 1), done.output
    assert run(tmp_path / "sandpiper.toml", "--table", "friend").exit_code == 1


@pytest.mark.parametrize("layout", ["wide", "narrow"])
@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("transfer", ["high", "low"])
def test_chart_has_no_label_on_another(drive: Path, layout: str, units: str, transfer: str) -> None:
    change(drive, 'units = "metric"', f'units = "{units}"')
    drawn = saw_tooth(drive_sums(load(drive)), transfer=transfer, layout=layout)
    for one, other in itertools.combinations(drawn.labels, 2):
        assert not one.overlaps(other), (one.text, other.text)
    assert all(label.inside(drawn.width_mm, drawn.height_mm) for label in drawn.labels)
    assert "into 2" in drawn.description and ET.fromstring(drawn.svg) is not None


def test_chart_shows_what_was_computed(drive: Path) -> None:
    """The foot of each fall in the drawn path is where the step ends, nominal on nominal."""
    sums = drive_sums(load(drive))
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
    first, second = text.index('[[drive.gear]]\nname = "2"'), text.index("[drive.converter]")
    alone = drive.with_name("one.toml")
    alone.write_text(text[:first] + text[second : text.index("[[drive.sensor]]")], encoding="utf-8")
    change(alone, 'limiter = { low = "6350 rpm", value = "6400 rpm", high = "6450 rpm", basis = "measured" }',
           'limiter = "unknown"')  # fmt: skip
    result = run(alone, "--chart", drive.with_name("one.svg"))
    assert result.exit_code == 1 and drive.with_name("one.svg").exists(), result.output
    with pytest.raises(ValueError, match="range"):
        saw_tooth(drive_sums(load(alone)), transfer="middle")


def test_the_chain_shows_verdict_and_weakest_number(drive: Path) -> None:
    verdict, text, weakest = gear_link(load(drive))
    assert (verdict, weakest) == (Verdict.PASS, "drive.tyre.growth (0 % to 1 %, assumed).")
    assert text.startswith("32 of 32 checks")
    change(drive, 'low = "6350 rpm", value = "6400 rpm", high = "6450 rpm"', 'value = "6150 rpm"')
    verdict, text, _ = gear_link(load(drive))
    assert verdict is Verdict.FAIL and "never shifts" in text
    verdict, text, weakest = gear_link(load(example_path("heron")))
    assert (verdict, weakest) == (Verdict.NOT_SHOWN, "") and "--begin" in text


def test_the_book_has_the_drivelines_pages(drive: Path) -> None:
    drawings: dict[str, Drawing] = {}
    assert gears_blocks(load(example_path("heron")), drawings) == [] and not drawings
    truck = load(drive)
    made = gears_blocks(truck, drawings)
    captions = [each["caption"] for each in made if each["kind"] == "table"]
    assert len(captions) == 4 and list(drawings) == ["gears-1"], "nothing fails, so no table of what does not hold"
    assert set(charts(truck)) == {"gears-1", "gears-2"}
    down = next(each for each in made if each["kind"] == "table" and "shift down" in each["caption"])
    assert len(down["rows"]) == len(drive_sums(truck).downshifts) == 10
    assert "84.8" in str(down["rows"][1]), "into 2 in high range, as pinproof gears prints it"
    change(drive, 'low = "6350 rpm", value = "6400 rpm", high = "6450 rpm"', 'value = "6150 rpm"')
    bad = next(each for each in gears_blocks(load(drive), {}) if each["kind"] == "table")
    assert bad["caption"] == "What does not hold" and "never shifts" in str(bad["rows"])


@pytest.mark.parametrize("nothing", ["?", " ? ", "unknown", "Unknown"])
def test_a_question_mark_is_no_answer_on_the_settings_sheet(nothing: str) -> None:
    text = example_path("sandpiper").read_text(encoding="utf-8")
    at = text.index("[drive.settings]")
    key, rest = text[at:].split("\n", 2)[1].split(" = ", 1)[0], text[at:].split("\n", 2)[2]
    truck = loads(f'{text[:at]}[drive.settings]\n{key} = "{nothing}"\n{rest}')
    assert truck.drive is not None and key not in dict(truck.drive.answers)
    assert not any(
        each.value.strip() in ("?", "unknown", "Unknown") for each in settings_sheet(truck, drive_sums(truck))
    )
