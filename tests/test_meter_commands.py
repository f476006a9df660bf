"""`pinproof meter` and `pinproof record` as a user meets them."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pinproof.cli import group
from pinproof.examples import example_path


@pytest.fixture
def truck(tmp_path: Path) -> Path:
    """A design file the test may change."""
    path = tmp_path / "truck.toml"
    path.write_text(example_path("sandpiper").read_text(encoding="utf-8"), encoding="utf-8")
    return path


def run(*args: object, typed: str | None = None) -> Result:
    """One command, in this process."""
    return CliRunner().invoke(group, [str(arg) for arg in args], input=typed)


def meter(truck: Path, *args: object, typed: str | None = None) -> Result:
    """The meter command with the meter file beside the truck."""
    return run("meter", truck, "--meter", truck.parent / "meter.toml", *args, typed=typed)


def test_a_blank_sheet_is_printed_and_nothing_is_written(truck: Path) -> None:
    """Exit 1: all is missing. No cell is filled in, no file appears."""
    result = meter(truck)
    assert result.exit_code == 1
    assert "taps/ohms/lever_manual+lever_up" in result.stdout
    assert "LOAD side of the empty fuse holder" in result.stdout
    assert "read ________" in result.stdout
    assert [each.name for each in truck.parent.iterdir()] == ["truck.toml"]
    assert "ordinary figures are assumed" in result.stderr


def test_readings_are_kept_judged_and_shown_again(truck: Path) -> None:
    """One after the other; the next call knows them; the record lists them."""
    result = meter(truck, "--read", "taps/ohms/idle=OL", "--read", "taps/ohms/lever_manual=2.880k", "--note", "garage")
    assert result.exit_code == 1
    assert "[as built] taps/ohms/idle" in result.stdout
    assert "[wrong] taps/ohms/lever_manual" in result.stdout
    assert "? This is what lever_manual + lever_up" in result.stdout
    plain = json.loads(meter(truck, "--json").stdout)
    rows = {row["station"]: row for row in plain["stations"]}
    assert rows["taps/ohms/idle"]["outcome"] == "as built"
    assert rows["taps/ohms/lever_manual"]["reading"] == "2.880k"
    assert rows["taps/ohms/wheel_up"]["outcome"] is None
    kept = json.loads(run("record", truck, "--json").stdout)["readings"]
    assert [(each["station"], each["text"], each["note"]) for each in kept] == [
        ("taps/ohms/idle", "OL", "garage"),
        ("taps/ohms/lever_manual", "2.880k", "garage"),
    ]
    assert all(each["taken_utc"].endswith("Z") and each["snapshot"] for each in kept)


def test_a_reading_that_is_none_is_refused_and_not_kept(truck: Path) -> None:
    """Unknown station, wrong unit, no unit, no value: exit 2, with the nearest station or what would be right."""
    for given, said in (
        ("taps/ohms/idl=OL", "taps/ohms/idle"),
        ("taps/ohms/idle=5 V", "voltage"),
        ("taps/ohms/idle=5", "unit"),
        ("taps/ohms/idle", "is no reading"),
    ):
        result = meter(truck, "--read", given)
        assert result.exit_code != 0 and (result.exit_code == 2 or result.exception is not None)
        assert said in result.stderr + str(result.exception)
    assert not truck.with_name("truck.readings.sqlite").exists()


def test_taking_readings_one_by_one(truck: Path) -> None:
    """Back, skip, an odd reading asked about and taken again, stop: what was answered is kept."""
    typed = "\n".join(["ok dry", "s", "0.2 ohm", "b", "0.1 ohm", "ok", "hello", "900 ohm", "", "0.5 ohm", "q"]) + "\n"
    result = meter(truck, "--enter", typed=typed)
    assert "care:" in result.stdout and "should read" in result.stdout
    kept = json.loads(run("record", truck, "--json").stdout)["readings"]
    assert [(each["station"], each["text"]) for each in kept] == [
        ("truck/eyes/all", "ok dry"),
        ("truck/leads/all", "0.2 ohm"),
        ("truck/leads/all", "0.1 ohm"),
        ("truck/known/all", "ok"),
        ("taps/wire/wire", "0.5 ohm"),
    ]
    assert '"hello" is not a resistance' in result.stdout


def test_an_odd_reading_can_be_kept_on_demand(truck: Path) -> None:
    """It is asked about first, and kept as what it is."""
    meter(truck, "--enter", typed="bad chafed\nk\nq\n")
    kept = json.loads(run("record", truck, "--json").stdout)["readings"]
    assert [each["text"] for each in kept] == ["bad chafed"]
    meter(truck, "--enter", typed="maybe\nq\nq\n")
    kept = json.loads(run("record", truck, "--json").stdout)["readings"]
    assert len(kept) == 1


def test_a_filled_sheet_is_read_back(truck: Path, tmp_path: Path) -> None:
    """The blank CSV, filled in by hand, is a list of readings; all or nothing; another truck's is refused."""
    sheet = tmp_path / "sheet.csv"
    meter(truck, "-o", sheet)
    rows = list(csv.DictReader(io.StringIO(sheet.read_text(encoding="utf-8"))))
    assert all(not row["value"] for row in rows)
    for row in rows:
        if row["station"].endswith("/idle") and "/ohms/" in row["station"]:
            row["value"] = "OL"
        if row["station"] == "taps/ohms/lever_manual":
            row["value"] = "8.250k"
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0].keys())
    writer.writeheader()
    writer.writerows(rows)
    sheet.write_text(out.getvalue(), encoding="utf-8")
    bad = tmp_path / "bad.csv"
    bad.write_text(out.getvalue().replace("8.250k", "8.250"), encoding="utf-8")
    refused = meter(truck, "--csv", bad)
    assert refused.exit_code != 0
    assert "unit" in refused.stderr + str(refused.exception)
    assert not truck.with_name("truck.readings.sqlite").exists()
    foreign = tmp_path / "foreign.csv"
    foreign.write_text(out.getvalue().replace("pp-sandpiper", "pp-heron"), encoding="utf-8")
    refused = meter(truck, "--csv", foreign)
    assert "pp-heron" in refused.stderr + str(refused.exception)
    result = meter(truck, "--csv", sheet)
    assert "[as built] taps/ohms/idle" in result.stdout
    assert "2 of" in result.stdout


def test_a_sheet_that_holds_kept_readings_adds_only_what_is_new(truck: Path, tmp_path: Path) -> None:
    """Printed with two readings on record, one filled in by hand: one is kept, and nothing counts as measured twice."""
    meter(truck, "--read", "taps/ohms/lever_manual=8.250k", "--read", "taps/ohms/idle=OL", "--ambient", "12 °C")
    sheet = tmp_path / "sheet.csv"
    meter(truck, "-o", sheet)
    refused = meter(truck, "--csv", sheet)
    assert refused.exit_code != 0 and "kept already" in refused.stderr + str(refused.exception)
    rows = list(csv.DictReader(io.StringIO(sheet.read_text(encoding="utf-8"))))
    for row in rows:
        if row["station"] == "taps/ohms/lever_manual+lever_up":
            row["value"] = "2.880k"
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0].keys())
    writer.writeheader()
    writer.writerows(rows)
    sheet.write_text(out.getvalue(), encoding="utf-8")
    assert "taps/ohms/idle" not in meter(truck, "--csv", sheet).stdout
    kept = json.loads(run("record", truck, "--json").stdout)["readings"]
    assert [each["station"] for each in kept] == [
        "taps/ohms/lever_manual", "taps/ohms/idle", "taps/ohms/lever_manual+lever_up",
    ]  # fmt: skip


def test_a_changed_circuit_starts_a_new_history_and_other_changes_do_not(truck: Path) -> None:
    """A new resistor empties its own stations; a new tolerance and a comment empty none."""
    meter(truck, "--read", "taps/ohms/lever_manual=8.250k", "--read", "taps/ohms/idle=OL")
    text = truck.read_text(encoding="utf-8")
    truck.write_text("# night before\n" + text.replace('"1 %", basis', '"2 %", basis'), encoding="utf-8")
    rows = {row["station"]: row for row in json.loads(meter(truck, "--json").stdout)["stations"]}
    assert rows["taps/ohms/lever_manual"]["reading"] == "8.250k"
    truck.write_text(text.replace('"8.25k"', '"8.2k"'), encoding="utf-8")
    rows = {row["station"]: row for row in json.loads(meter(truck, "--json").stdout)["stations"]}
    assert rows["taps/ohms/lever_manual"]["reading"] is None
    assert rows["taps/ohms/idle"]["reading"] == "OL"


def test_history_drift_plot_and_strike(truck: Path, tmp_path: Path) -> None:
    """A point that crept is named with exit 1, drawn, and a struck reading counts no more."""
    lists = "station,value,taken_utc\n" + "".join(
        f"taps/ohms/lever_manual,{8.100 + 0.05 * day:.3f}k,2026-03-{1 + day:02d}T10:00:00Z\n" for day in range(6)
    )
    (tmp_path / "list.csv").write_text(lists, encoding="utf-8")
    meter(truck, "--csv", tmp_path / "list.csv")
    plot, out = tmp_path / "history.svg", tmp_path / "all.csv"
    result = run("record", truck, "--station", "taps/ohms/lever_manual", "--plot", plot, "--csv", out)
    assert result.exit_code == 1, result.stdout
    assert "drifts up by more than the meter can be off: +250 Ω in 5 days" in result.stdout
    assert plot.read_text(encoding="utf-8").startswith("<svg")
    assert len(out.read_text(encoding="utf-8").splitlines()) == 7
    again = run("record", truck, "--strike", 6, "--why", "wrong plug", "--all")
    again = run("record", truck, "--strike", 5, "--why", "wrong plug", "--all")
    assert again.exit_code == 0, again.stdout  # 150 Ω is within twice the meter's error
    assert "Struck out:" in again.stdout
    assert run("record", truck, "--strike", 1).exit_code == 2


def test_record_without_readings_says_how_to_begin(truck: Path) -> None:
    """Exit 2 and the next step."""
    result = run("record", truck)
    assert result.exit_code == 2
    assert "pinproof meter" in result.stderr


def test_another_meter_is_another_history(truck: Path) -> None:
    """The meter file counts; without one the figures are assumed, and said to be."""
    meter(truck, "--begin-meter", "--read", "taps/ohms/idle=OL", "--read", "truck/eyes/all=ok")
    path = truck.parent / "meter.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("ordinary handheld", "the good one").replace("0.9 %", "0.2 %"), encoding="utf-8")
    rows = {row["station"]: row for row in json.loads(meter(truck, "--json").stdout)["stations"]}
    assert rows["taps/ohms/idle"]["reading"] is None
    assert rows["truck/eyes/all"]["reading"] == "ok"  # eyes are no meter


def test_a_meter_file_is_begun_once_and_without_the_sheet(truck: Path) -> None:
    """Writing it prints no sheet; a second time says that it is there; another kind of file is one sentence."""
    begun = meter(truck, "--begin-meter")
    assert begun.exit_code == 0 and not begun.stdout
    assert (truck.parent / "meter.toml").exists()
    again = meter(truck, "--begin-meter")
    assert again.exit_code == 2 and "is there already" in again.stderr
    wrong = run("meter", truck, "--meter", truck)
    assert "This is not a meter file" in str(wrong.exception)
    assert str(wrong.exception).count("there is no such key") == 0


def test_a_reported_meaning_must_be_one_of_the_line(truck: Path) -> None:
    """A slip of the hand is refused and not kept; small and large letters are the same."""
    refused = meter(truck, "--read", "taps/reported/lever_manual=banana")
    assert "manual" in str(refused.exception) and "banana" in str(refused.exception)
    assert not truck.with_name("truck.readings.sqlite").exists()
    taken = meter(truck, "--read", "taps/reported/lever_manual=Manual")
    assert "[as built] taps/reported/lever_manual" in taken.stdout


def test_care_is_told_once_in_each_step(truck: Path) -> None:
    """The second station of a step does not say again what the first said."""
    result = meter(truck, "--enter", typed="s\n" * 8 + "q\n")
    assert result.stdout.count("Zero the leads, or take off") == 1


def test_readings_minutes_apart_are_no_drift(truck: Path, tmp_path: Path) -> None:
    """A slip of the decimal point is told as one, without a slope of megohms an hour."""
    lists = "station,value,taken_utc\n" + "".join(
        f"taps/ohms/lever_manual,{value},2026-03-01T10:00:0{second}Z\n"
        for second, value in ((1, "82.50k"), (4, "8.250k"))
    )
    (tmp_path / "list.csv").write_text(lists, encoding="utf-8")
    meter(truck, "--csv", tmp_path / "list.csv")
    result = run("record", truck)
    assert result.exit_code == 1
    told = " ".join(result.stdout.split())
    assert "within 1 minute" in told and "--strike NUMBER" in told
    assert " an hour." not in told and "drifts up" not in told and "drifts down" not in told
    assert told.count("assumed figures") == 1  # one meter, named once


def test_a_list_of_another_truck_is_refused_in_one_sentence(truck: Path, tmp_path: Path) -> None:
    """However many rows it has."""
    rows = "".join(f"pp-other,taps/ohms/idle,OL,2026-03-01T10:00:0{n}Z\n" for n in range(8))
    (tmp_path / "list.csv").write_text(f"design_id,station,value,taken_utc\n{rows}", encoding="utf-8")
    said = str(meter(truck, "--csv", tmp_path / "list.csv").exception)
    assert said.count("pp-other") == 1 and "8 rows" in said
    assert not truck.with_name("truck.readings.sqlite").exists()
