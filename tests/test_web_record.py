"""Record and field card in the pages: histories, striking out, lists, the card that is saved."""

from __future__ import annotations

import re
import time
from datetime import UTC, datetime
from pathlib import Path

from pinproof.design import load, loads
from pinproof.meter import bench_sheet, starter
from pinproof.pack.card import card_html
from pinproof.proof import prove
from pinproof.record import Entry, Snapshot, open_record, readings_csv
from pinproof.record.history import time_words
from pinproof.wiring import line_view, physical
from tests.web_client import client_of, folder_with

RECORD = "/d/heron/record"
STATION = "shift/ohms/manual"


def measured(folder: Path, *values: tuple[str, float, str]) -> None:
    """Put readings on record: time, ohms, text."""
    path = folder / "heron.toml"
    truck, meter = load(path), starter()
    mark = bench_sheet(truck, meter).row(STATION).fingerprint
    snapshot = Snapshot(truck.id, truck.text_hash, path.read_text(encoding="utf-8"))
    with open_record(folder / "heron.readings.sqlite", truck.id) as record:
        for taken, ohm, text in values:
            record.add(Entry(STATION, mark, ohm, "ohm", text, taken, meter.words, 14.0), snapshot)


def test_nothing_measured_teaches_and_begins_no_record(tmp_path: Path) -> None:
    """An empty state says what will stand here."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    assert "Nothing measured yet" in client.get(RECORD).text
    assert client.get(f"{RECORD}.json").json()["readings"] == []
    assert not (tmp_path / "heron.readings.sqlite").exists()


def test_a_point_that_drifts_is_told_drawn_and_struck_out(tmp_path: Path) -> None:
    """Two readings 300 Ω apart, five days between, with a meter that may be off by 14 Ω: it moved.

    300 Ω is more than 28 Ω, the most that two errors of 14 Ω can make: by hand.
    """
    folder = folder_with(tmp_path, "heron")
    measured(folder, ("2026-03-01T10:00:00Z", 1500.0, "1.500k"), ("2026-03-06T10:00:00Z", 1800.0, "1.800k"))
    client, _ = client_of(folder)
    data = client.get(f"{RECORD}.json").json()
    assert [(each["word"], each["change"]) for each in data["histories"]] == [("drifts up", 300.0)]
    html = client.get(RECORD).text
    assert "drifts up by more than the meter can be off" in re.sub(r"[\s\u00a0]+", " ", html)
    assert html.count("<svg") >= 2 and "--strike" not in html
    asked = client.get(RECORD, params={"strike": "2"}).text
    assert "Strike out reading 2?" in asked
    bare = client.post(f"{RECORD}/strike", data={"number": "2", "why": " "})
    assert bare.status_code == 422
    done = client.post(f"{RECORD}/strike", data={"number": "2", "why": "wrong switch held", "station": STATION})
    assert done.status_code == 303 and "station=" in done.headers["location"]
    after = client.get(f"{RECORD}.json").json()
    assert [each["word"] for each in after["histories"]] == ["too few"]
    assert [each["struck_why"] for each in after["readings"]] == ["", "wrong switch held"]
    again = client.post(f"{RECORD}/strike.json", json={"number": "2", "why": "twice"})
    assert again.status_code == 422 and "no reading 2 that still counts" in again.json()["error"]["what"]


def test_the_list_is_what_the_command_writes(tmp_path: Path) -> None:
    """Byte for byte, as a file to be saved."""
    folder = folder_with(tmp_path, "heron")
    measured(folder, ("2026-03-01T10:00:00Z", 1500.0, "1.500k"))
    client, _ = client_of(folder)
    answer = client.get(f"{RECORD}/list")
    assert "attachment" in answer.headers["content-disposition"]
    with open_record(folder / "heron.readings.sqlite", load(folder / "heron.toml").id) as record:
        assert answer.text == readings_csv(record.entries(struck=True))


def test_only_one_station_and_an_unknown_one(tmp_path: Path) -> None:
    """The address names it; a foreign one is told."""
    folder = folder_with(tmp_path, "heron")
    measured(folder, ("2026-03-01T10:00:00Z", 1500.0, "1.500k"))
    client, _ = client_of(folder)
    assert f"Record of {STATION}" in client.get(RECORD, params={"station": STATION}).text
    assert client.get(RECORD, params={"station": "<i>"}).status_code == 404


def test_the_card_is_the_packs_card(tmp_path: Path) -> None:
    """What is saved is the file of the pack, byte for byte; what is shown has its body and no style of its own."""
    folder = folder_with(tmp_path, "wagtail")
    client, site = client_of(folder)
    first = client.get("/d/wagtail/card")
    assert first.status_code == 200
    until = time.monotonic() + 120.0
    while not client.get("/d/wagtail/card.json").json()["html"]:
        assert time.monotonic() < until, client.get("/d/wagtail/card.json").json()["job"]
        time.sleep(0.2)
    truck = loads((folder / "wagtail.toml").read_text(encoding="utf-8"), "wagtail.toml")
    netlist = physical(truck)
    views = {line.id: line_view(truck, line, netlist) for line in truck.lines}
    wanted = card_html(truck, prove(truck, samples=0), views)
    saved = client.get("/d/wagtail/card/file")
    assert saved.text == wanted
    assert 'filename="wagtail-card.html"' in saved.headers["content-disposition"]
    shown = client.get("/d/wagtail/card").text
    body = wanted.partition("<body>")[2].partition("</body>")[0]
    assert body in shown and "<style" not in shown and not re.search(r"\sstyle=", shown)
    assert "/d/wagtail/card/file" in shown
    site.jobs.stop_all()


def test_a_time_is_written_as_the_command_writes_it(tmp_path: Path) -> None:
    """One way for one time: readings, what was struck out, the question before it, versions of the file."""
    folder = folder_with(tmp_path, "heron")
    measured(folder, ("2026-03-01T10:07:59Z", 1500.0, "1.500k"), ("2026-03-06T10:00:00Z", 1800.0, "1.800k"))
    client, _ = client_of(folder)
    client.post(f"{RECORD}/strike", data={"number": "2", "why": "wrong switch held"})
    html = client.get(RECORD).text
    with open_record(folder / "heron.readings.sqlite", load(folder / "heron.toml").id) as record:
        struck = record.entries(struck=True)[1].struck_utc
    for utc in ("2026-03-01T10:07:59Z", "2026-03-06T10:00:00Z", struck):
        assert time_words(utc) in html
    assert "10:07:59" not in re.sub(r'data-order="[^"]*"', "", html)
    assert f"at {STATION}, 2026-03-01 10:07 UTC." in client.get(RECORD, params={"strike": "1"}).text
    at_s = client.get("/d/heron/history.json").json()["versions"][0]["at_s"]
    utc = datetime.fromtimestamp(at_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    assert time_words(utc) in client.get("/d/heron/history").text
