"""Report, plan, pictures and the command of the log checks; the page of the checks against the code."""

from __future__ import annotations

import json
import math
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from pinproof.cli.cmd_log import command
from pinproof.cli.show_log import plan_words, report_words
from pinproof.design import load
from pinproof.drawings.log_shift import log_shift
from pinproof.drawings.log_where import log_reading, log_where
from pinproof.driveline import drive_sums
from pinproof.examples import example_path
from pinproof.logs import LogReport, as_json, limits, prove_log
from pinproof.logs.checks import CHECKS
from pinproof.logs.faults import LogFault
from pinproof.logs.log_time import TIMES_TOLD, clock
from pinproof.logs.plan import test_plan as plan_of
from pinproof.logs.results import Picture
from pinproof.pack.log_page import log_report_html, log_report_pdf, plan_html, plan_pdf, report_blocks
from pinproof.verdict import Verdict
from tests.log_stand_in import many_taps

DESIGN = example_path("sandpiper")


@pytest.fixture(scope="module")
def report() -> LogReport:
    """A day with a missed tap, a doubled one, an unasked shift and a pin outside its span."""
    day = many_taps(30)
    at = day.seconds
    day.seconds += 40.0
    day.tap(at + 3.0, "up", delay_s=None)
    day.tap(at + 10.0, "up", steps=2)
    day.shift(at + 25.0, "down")
    made = day.made(unmapped=("spare <&> one",))
    tapped = made.values["tap_up"] > 0.0
    made.values["pin.taps"] = np.where(tapped, 0.295, np.where(made.values["tap_down"] > 0.0, 0.455, 0.109))
    made.units = {**made.units, "pin.taps": "ratio"}
    return prove_log(load(DESIGN), made)


def test_times_are_written_one_way_in_every_face(report: LogReport) -> None:
    """Terminal, report and page show the same clock, and the first two say once what it counts."""
    assert [clock(each) for each in (0.0, 59.96, 723.4, 3599.94, 3723.44, -0.3)] == [
        "0:00:00.0", "0:01:00.0", "0:12:03.4", "0:59:59.9", "1:02:03.4", "-0:00:00.3",
    ]  # fmt: skip
    missed = next(each for each in report.check("missed-tap").findings if each.verdict is Verdict.FAIL)
    assert missed.from_s is not None and clock(missed.from_s) in missed.text
    for text in (report_words(report, every=True), log_report_html(report)):
        assert text.count(TIMES_TOLD) == 1
        assert clock(missed.from_s) in text
        assert not re.search(r"\d min \d|(?<![\d:])\d+:\d\d\.\d", text)


def test_every_check_of_the_page_is_in_the_code_in_its_order(project_root: Path) -> None:
    """Names, order, and that each says what it proves or needs and what comes next."""
    page = (project_root / "docs" / "logs.md").read_text(encoding="utf-8")
    parts = re.split(r"^#### ", page, flags=re.M)[1:]
    named = {part.splitlines()[0]: part for part in parts}
    assert list(named) == list(CHECKS)
    for name, text in named.items():
        assert "*Pass*" in text and ("*Fail*" in text or name == "time-base"), name


def test_limits_of_the_page_are_those_of_the_code(project_root: Path) -> None:
    """Every bold number of a check is a number of `limits`."""
    page = (project_root / "docs" / "logs.md").read_text(encoding="utf-8")
    known = {value for name, value in vars(limits).items() if name.isupper() and isinstance(value, int | float)}
    scaled = {round(value * by, 6) for value in known for by in (1.0, 100.0, 1000.0, 1.0 / 60.0)} | {59.0}
    bold = re.findall(r"\*\*([0-9.]+)(?: [a-z%°A-Z]+)?(?: an hour)?\*\*", page)
    assert len(bold) > 35
    assert not [number for number in bold if float(number) not in scaled]


def test_reasons_of_the_page_are_those_of_the_code(project_root: Path, report: LogReport) -> None:
    """A reason that the page does not explain is no reason."""
    page = (project_root / "docs" / "logs.md").read_text(encoding="utf-8")
    source = (project_root / "src" / "pinproof" / "logs" / "requests.py").read_text(encoding="utf-8")
    reasons = set(re.findall(r'return "([a-z -]+)"', source.split("def _needs_no_tap")[0])) | {"over-speed guard"}
    assert len(reasons) > 8
    assert not [each for each in reasons if f"`{each}`" not in page]


def test_the_report_begins_with_what_failed(report: LogReport) -> None:
    """Failed, then not shown, then passed; in HTML, in words and in the PDF's blocks."""
    assert report.verdict is Verdict.FAIL
    page = log_report_html(report)
    assert page.index(">Failed<") < page.index(">Not shown<") < page.index(">Passed<")
    assert "spare &lt;&amp;&gt; one" in page and "<script" not in page
    words = report_words(report)
    assert words.index("✕") < words.index("?") < words.index("✓")
    assert "In no role: spare <&> one." in words


def test_each_failed_finding_has_its_picture(report: LogReport) -> None:
    """Pictures are SVG that parses, with words for those who cannot see, and no id twice."""
    _, drawings = report_blocks(report)
    failed = [each.check for each in report.checks if each.verdict is Verdict.FAIL]
    assert {"missed-tap", "doubled-tap", "unasked-shift", "pin-span"} <= set(failed)
    for check in failed:
        assert any(name.startswith(check) or name == f"where-{check}" for name in drawings), check
    ids = []
    for drawing in drawings.values():
        root = ET.fromstring(drawing.svg)
        assert root.find("{http://www.w3.org/2000/svg}desc") is not None
        ids += [each.get("id") for each in root.iter() if each.get("id")]
    assert len(ids) == len(set(ids))


def test_both_papers_are_set(report: LogReport) -> None:
    """The typesetter has nothing to complain of; the same bytes twice."""
    assert log_report_pdf(report) == log_report_pdf(report)
    plan = plan_of(load(DESIGN), report)
    assert plan_pdf(plan).startswith(b"%PDF")
    assert "Careful" in plan_html(plan) and "Careful" in plan_words(plan)


def test_the_plan_says_a_caution_once_and_the_limits_of_every_range() -> None:
    """What stands under the first drive holds for the later ones; a transfer in low has limits of its own."""
    truck = load(Path(__file__).parents[1] / "data" / "saltlark.toml")
    plan = plan_of(truck)
    told = plan_words(plan)
    cautions = [each for session in plan.sessions for each in session.cautions]
    assert len(set(cautions)) == len(cautions) - 1  # twice: 'All that stands under "Hands off".'
    assert told.count("Belts on") == 1 and told.count('All that stands under "Hands off"') == 2
    limits = next(step.text for session in plan.sessions for step in session.steps if "downshift-guard" in step.proves
                  and "permitted" in step.text)  # fmt: skip
    sums = drive_sums(truck)
    for name in {each.transfer for each in sums.downshifts}:
        lowest = next(each for each in sums.downshifts if each.transfer == name)
        assert f"in {name}: into {lowest.gear} {math.floor(lowest.permitted_rpm)} rpm" in limits
    assert "time-base" not in plan.unanswered and "Not answered" not in told


def test_a_picture_shows_asked_above_and_done_below() -> None:
    """Words for each press and stay; an empty piece is refused."""
    piece = Picture(9.5, 11.5, ((10.0, 10.15, "up"),), ((9.5, 10.05, "commanded 2"), (10.06, 11.5, "commanded 3")),
                    ((10.8, "limit"),))  # fmt: skip
    for layout in ("wide", "narrow"):
        drawn = log_shift(piece, "tap up in 2", layout=layout)
        assert "Pressed up from 0.00 to 0.15 s." in drawn.description
        assert "limit at 0.80 s" in drawn.description
        assert all(box.left >= 0.0 and box.right <= drawn.width_mm + 1e-6 for box in drawn.labels)
    with pytest.raises(ValueError, match="no length"):
        log_shift(Picture(1.0, 1.0), "nothing")
    with pytest.raises(ValueError, match="layout"):
        log_shift(piece, "x", layout="square")
    assert "the proof allows 20.0 to 30.0 %" in log_reading(0.2, 0.3, 0.4, "1").title


def test_a_picture_of_where_needs_evidence(report: LogReport) -> None:
    """Without a time there is nothing to draw."""
    assert log_where(report.logs, ()) is None
    drawn = log_where(report.logs, report.check("missed-tap").findings)
    assert drawn is not None and "tap up in 2" in drawn.description


def test_json_holds_what_the_page_promises(report: LogReport) -> None:
    """Plain values only; every check in order; findings with log and times."""
    plain = json.loads(json.dumps(as_json(report), allow_nan=False))
    assert [each["check"] for each in plain["checks"]] == list(CHECKS)
    assert {"verdict", "logs", "sources", "checks", "excluded", "offers"} <= set(plain)
    (finding,) = next(each for each in plain["checks"] if each["check"] == "missed-tap")["findings"]
    assert {"verdict", "subject", "text", "log", "from_s", "to_s", "numbers"} <= set(finding)


MAP = """format = 1
logger = "test"
[file]
kind = "text"
encoding = "utf-8"
delimiter = ","
decimal = "."
skip_lines = 0
unit_row = false
confirmed = true
[time]
header = "t"
kind = "number"
unit = "s"
confirmed = true
"""


def written(folder: Path, pairs: int = 8) -> tuple[Path, Path]:
    """A small log and its map."""
    made = many_taps(pairs).made(drop=("lever", "lockup", "road", "oil"))
    roles = list(made.values)
    rows = [",".join(["t", *roles])]
    columns = [made.time_s, *(made.values[role] for role in roles)]
    rows += [",".join(f"{value:g}" for value in row) for row in zip(*columns, strict=True)]
    log, logger = folder / "day.csv", folder / "logger.toml"
    log.write_text("\n".join(rows) + "\n", encoding="utf-8")
    units = {
        "engine": "rpm",
        "turbine": "rpm",
        "output": "rpm",
        "supply": "V",
        "gear": "code",
        "gear_commanded": "code",
    }
    entries = [
        f'[[channel]]\nrole = "{r}"\nheader = "{r}"\nunit = "{units.get(r, "0/1")}"\nconfirmed = true\n' for r in roles
    ]
    logger.write_text(MAP + "".join(entries), encoding="utf-8")
    return log, logger


def test_the_command_from_file_to_report(tmp_path: Path) -> None:
    """Log and map in; report out; exit 1 while something is not shown."""
    log, logger = written(tmp_path)
    design = tmp_path / "sandpiper.toml"  # a copy: what a log proves is kept beside the design
    design.write_bytes(DESIGN.read_bytes())
    out = tmp_path / "report.html"
    done = CliRunner().invoke(command, [str(design), str(log), "--map", str(logger), "-o", str(out)])
    assert done.exit_code == 1, done.output
    assert "? missed-tap: 0 misses in 16 taps" in done.output
    assert "missed-tap" in out.read_text(encoding="utf-8")
    done = CliRunner().invoke(command, [str(design), str(log), "--map", str(logger), "--json"])
    assert json.loads(done.stdout)["sources"]["taps"] == "tap_up, tap_down"
    done = CliRunner().invoke(command, [str(design), str(log), "--map", str(logger), "--plan"])
    assert done.exit_code == 0 and "Slow drive in an empty area" in done.output


def test_a_role_of_a_line_that_the_design_lacks_is_refused(tmp_path: Path) -> None:
    """Its taps would be overlooked without a word."""
    log, logger = written(tmp_path, 1)
    text = logger.read_text(encoding="utf-8")
    assert 'role = "supply"' in text
    strange = text.replace('role = "supply"', 'role = "pin.LINE"', 1)
    logger.write_text(strange, encoding="utf-8")
    done = CliRunner().invoke(command, [str(DESIGN), str(log), "--map", str(logger), "--no-keep"])
    assert isinstance(done.exception, LogFault)
    assert 'role "pin.LINE"' in str(done.exception) and "pin.taps" in str(done.exception)


def test_the_command_asks_for_what_is_missing(tmp_path: Path) -> None:
    """No map, no log, a strange ending: each says what to write."""
    log, logger = written(tmp_path, 1)
    for arguments, said in (
        ([], "Name the design file"),
        ([str(DESIGN)], "--plan"),
        ([str(DESIGN), str(log)], "--map-from"),
        ([str(DESIGN), str(log), "--map", str(logger), "-o", "x.docx"], ".html or .pdf"),
        (["--map-from", str(log), "-o", str(logger)], "is there already"),
    ):
        done = CliRunner().invoke(command, arguments)
        assert done.exit_code == 2 and said in done.output, (arguments, done.output)
    done = CliRunner().invoke(command, ["--map-from", str(log), "-o", str(tmp_path / "new.toml")])
    assert done.exit_code == 0 and (tmp_path / "new.toml").exists()
    done = CliRunner().invoke(command, [str(DESIGN), "--plan", "-o", str(tmp_path / "plan.pdf")])
    assert done.exit_code == 0 and (tmp_path / "plan.pdf").read_bytes().startswith(b"%PDF")
