"""Shift lines and speed sensors by form: added, changed, taken away; wrong at its box; the outcome at once."""

from __future__ import annotations

import re
import tomllib
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from pinproof.design import loads
from pinproof.design.drive_rows import rows_filled, rows_of
from pinproof.design.edit_rows import with_rows, without_rows
from pinproof.design.messages import EditFault
from pinproof.driveline import drive_sums
from pinproof.examples import example_path
from tests.web_client import client_of, folder_with

FILE = "sandpiper"
TEXT = example_path(FILE).read_text(encoding="utf-8")
NEW = {
    "drive.shift.+1.from": "1", "drive.shift.+1.to": "2", "drive.shift.+1.load": "half",
    "drive.shift.+1.given": "road", "drive.shift.+1.at": "22 mph", "drive.shift.+1.basis": "measured",
}  # fmt: skip


def drive(text: str) -> dict[str, Any]:
    """What a file says of the driveline."""
    found: dict[str, Any] = tomllib.loads(text)["drive"]
    return found


def fields(html: str) -> dict[str, str]:
    """What the form would send as it stands."""
    form = re.split(r'<form[^>]* class="asks-for rows"', html)[1].partition("</form>")[0]
    form = re.sub(r"<template.*?</template>", "", form, flags=re.DOTALL)
    found: dict[str, str] = dict(re.findall(r'<input id="[^"]+" name="([^"]+)"[^>]*? value="([^"]*)"', form))
    for name, inside in re.findall(r'<select id="[^"]+" name="([^"]+)".*?>(.*?)</select>', form, re.DOTALL):
        picked = re.search(r'value="([^"]*)" selected', inside) or re.search(r'value="([^"]*)"', inside)
        assert picked is not None
        found[name] = picked[1]
    return {name: unescape(text) for name, text in found.items()}


def test_rows_say_in_the_file_what_was_typed_and_all_else_stays() -> None:
    """Added, changed to another speed, taken out at once: the tables are those, every other line is as it was."""
    made = rows_filled(
        TEXT,
        {**NEW, "drive.shift.1.given": "road", "drive.shift.1.at": "62 to 65 mph", "drive.shift.5.out": "yes",
         "drive.sensor.output.teeth": "48"},
    )  # fmt: skip
    before, after = drive(TEXT), drive(made.text)
    assert after["shift"] == [
        {"from": "2", "to": "3", "load": "full", "road": {"low": "62 mph", "high": "65 mph", "basis": "published"}},
        *before["shift"][1:4],
        {"from": "1", "to": "2", "load": "half", "road": {"value": "22 mph", "basis": "measured"}},
    ]
    assert after["sensor"][0]["teeth"] == {"value": "48", "basis": "published"}
    assert {k: v for k, v in after.items() if k not in ("shift", "sensor")} == {
        k: v for k, v in before.items() if k not in ("shift", "sensor")
    }
    assert [each for each in TEXT.splitlines() if each.startswith("#")] == [
        each for each in made.text.splitlines() if each.startswith("#")
    ]
    assert made.words() == "1 row added, 2 changed, 1 taken out"
    lines = drive_sums(loads(made.text)).lines
    assert {(each.before, each.after, each.load) for each in lines} >= {("1", "2", "half")}


def test_what_was_added_and_taken_out_again_leaves_the_file_as_it_was() -> None:
    """There and back, byte for byte, also with Windows line ends and where no table of the kind is left."""
    for text in (TEXT, TEXT.replace("\n", "\r\n")):
        added = with_rows(text, "drive.shift", [{"from": "1", "to": "2", "road": "22 mph"}])
        assert len(drive(added)["shift"]) == 6 and without_rows(added, "drive.shift", [5]) == text
        none = without_rows(text, "drive.shift", range(5))
        assert "shift" not in drive(none) and tomllib.loads(none).keys() == tomllib.loads(text).keys()
        assert drive(with_rows(none, "drive.shift", drive(text)["shift"])) == drive(text)


def test_tables_in_braces_are_left_to_the_hand() -> None:
    """What a program cannot write without touching more is refused, and told so."""
    braces = without_rows(TEXT, "drive.sensor", [0, 1]).replace(
        "[drive]\n", '[drive]\nsensor = [{ id = "wheel", place = "wheel", teeth = "40" }]\n', 1
    )
    assert loads(braces)
    with pytest.raises(EditFault, match="by hand"):
        with_rows(braces, "drive.sensor", [{"id": "b", "place": "wheel", "teeth": "4"}])
    with pytest.raises(EditFault, match="by hand"):
        without_rows(braces, "drive.sensor", [0])


def test_by_form_without_script_and_the_outcome_at_once(tmp_path: Path) -> None:
    """As a browser sends it: an added line is in the file, the next page says what came of it; then it is taken out."""
    folder_with(tmp_path, FILE)
    client, site = client_of(tmp_path)
    form = fields(client.get(f"/d/{FILE}/gears/lines").text)
    assert form["set:drive.shift.2.given"] == "output" and form["set:drive.sensor.turbine.place"] == "turbine"
    base = site.workspace.design(FILE).hash
    nothing = client.post(f"/d/{FILE}/gears/lines/save", data={**form, "base": base})
    assert nothing.status_code == 303 and (tmp_path / f"{FILE}.toml").read_text(encoding="utf-8") == TEXT
    sent = {**form, **{f"set:{path}": text for path, text in NEW.items()}, "base": base}
    answer = client.post(f"/d/{FILE}/gears/lines/save", data=sent)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/d/{FILE}/gears?saved=1")
    html = client.get(answer.headers["location"]).text
    assert "Saved: shift lines and sensors: 1 row added." in html
    assert re.search(r"<h2 id=\"lines\">.*1 → 2.*half", html, re.DOTALL)
    assert rows_of((tmp_path / f"{FILE}.toml").read_text(encoding="utf-8"))[5].texts["at"] == "22 mph"
    gone = fields(client.get(f"/d/{FILE}/gears/lines").text)
    sent = {**gone, "out:drive.shift.6": "yes", "base": site.workspace.design(FILE).hash}
    assert client.post(f"/d/{FILE}/gears/lines/save", data=sent).status_code == 303
    assert (tmp_path / f"{FILE}.toml").read_text(encoding="utf-8") == TEXT


def test_each_fault_stands_at_its_box_and_nothing_is_written(tmp_path: Path) -> None:
    """A gear that is none, a speed without unit, teeth that are none, all at once; typed boxes stay as typed."""
    folder_with(tmp_path, FILE)
    client, site = client_of(tmp_path)
    path, base = tmp_path / f"{FILE}.toml", site.workspace.design(FILE).hash
    bad = {**NEW, "drive.shift.+1.at": "22", "drive.shift.1.at": "", "drive.shift.2.to": "3",
           "drive.sensor.turbine.teeth": "some"}  # fmt: skip
    boxes = {"drive.shift.+1.at", "drive.shift.1.at", "drive.shift.2.to", "drive.sensor.turbine.teeth"}
    told = client.post(f"/d/{FILE}/gears/lines/look.json", json={"base": base, "answers": bad}).json()
    assert set(told["wrong"]) == boxes and told["text"] == "" and "22 mph" in told["wrong"]["drive.shift.+1.at"]
    sent = {**{f"set:{box}": text for box, text in bad.items()}, "base": base}
    answer = client.post(f"/d/{FILE}/gears/lines/save", data=sent)
    assert answer.status_code == 422 and path.read_text(encoding="utf-8") == TEXT
    again = fields(answer.text)
    assert all(again[f"set:{box}"] == text for box, text in bad.items())
    for box in boxes:
        assert re.search(rf'name="set:{re.escape(box)}"[^>]*aria-invalid="true"', answer.text), box


def test_a_file_that_changed_underneath_is_not_written_over(tmp_path: Path) -> None:
    """New rows are kept as typed; changes go by number, so they stay only where the rows are still the same."""
    folder_with(tmp_path, FILE)
    client, site = client_of(tmp_path)
    path, base = tmp_path / f"{FILE}.toml", site.workspace.design(FILE).hash
    client.get(f"/d/{FILE}/gears/lines")
    sent = {**{f"set:{box}": text for box, text in NEW.items()}, "set:drive.shift.2.at": "2100 rpm", "base": base}
    for text, at in ((TEXT + "\n# another hand\n", "2100 rpm"), (without_rows(TEXT, "drive.shift", [0]), "6200 rpm")):
        path.write_text(text, encoding="utf-8", newline="")
        answer = client.post(f"/d/{FILE}/gears/lines/save", data=sent)
        assert answer.status_code == 409 and path.read_text(encoding="utf-8") == text
        again = fields(answer.text)
        assert again["set:drive.shift.+1.at"] == "22 mph" and again["set:drive.shift.2.at"] == at


def test_examples_are_in_the_units_of_the_file(tmp_path: Path) -> None:
    """A file in US units shows how a speed looks in mph, whatever the browser shows."""
    (tmp_path / "a.toml").write_text(TEXT, encoding="utf-8")
    (tmp_path / "b.toml").write_text(re.sub(r'(?m)^units = "metric"', 'units = "us"', TEXT), encoding="utf-8")
    client, _ = client_of(tmp_path)
    assert 'placeholder="80 km/h"' in client.get("/d/a/gears/lines").text
    assert 'placeholder="50 mph"' in client.get("/d/b/gears/lines").text
    folder_with(tmp_path, "heron")
    assert "Begin the driveline" in client.get("/d/heron/gears/lines").text
    refused = client.post("/d/heron/gears/lines/save.json", json={"base": "x", "answers": {}})
    assert refused.status_code == 422 and "driveline" in refused.json()["error"]["what"]
