"""The bench sheet in the pages: never prefilled, judged as the command judges, kept, refused with the reason."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from pinproof.cli import group
from pinproof.design import loads
from pinproof.meter import bench_sheet, starter
from pinproof.meter.sheet import as_json
from pinproof.record import open_record
from tests.web_client import client_of, folder_with

MANUAL = "taps/ohms/lever_manual"
METER = "/d/sandpiper/meter"


@pytest.fixture
def client(tmp_path: Path) -> TestClient:
    """A client over one example."""
    return client_of(folder_with(tmp_path, "sandpiper"))[0]


def base_of(client: TestClient) -> str:
    """Hash of the version that a page would carry."""
    return str(client.get(f"{METER}.json").json()["hash"])


def keep(client: TestClient, station: str, **fields: str) -> object:
    """Post one reading to the page's own form."""
    return client.post(f"{METER}/keep", data={"base": base_of(client), "station": station, **fields})


def kept(folder: Path) -> list[tuple[str, str]]:
    """Stations and texts on record."""
    path = folder / "sandpiper.readings.sqlite"
    if not path.exists():
        return []
    with open_record(path, "pp-sandpiper") as record:
        return [(each.station, each.text) for each in record.entries(struck=True)]


def test_the_data_are_the_engines_sheet(client: TestClient, tmp_path: Path) -> None:
    """Nothing is read, nothing is filled in, and looking begins no record."""
    data = client.get(f"{METER}.json").json()
    truck = loads((tmp_path / "sandpiper.toml").read_text(encoding="utf-8"))
    wanted = json.loads(json.dumps(as_json(bench_sheet(truck, starter()))))
    assert {key: data[key] for key in wanted} == wanted
    assert all(each["reading"] is None for each in data["stations"])
    for station in data["stations"]:
        html = client.get(METER, params={"at": station["station"]}).text
        field = re.search(r'<input id="typed"[^>]*>', html)
        assert field is None or 'value=""' in field[0], station["station"]
        assert not re.search(r'name="(?:unit|press)"[^>]*checked', html)
    assert not (tmp_path / "sandpiper.readings.sqlite").exists()


def test_a_step_begins_with_its_set_up_and_all_its_cautions(client: TestClient) -> None:
    """Every caution of a step stands on the page of its first station, and a station's own stand on its own."""
    data = client.get(f"{METER}.json").json()["stations"]
    by_step: dict[int, list[dict[str, object]]] = {}
    for each in data:
        by_step.setdefault(each["step"], []).append(each)
    for rows in by_step.values():
        first = client.get(METER, params={"at": str(rows[0]["station"])}).text
        assert "<b>First:</b>" in first
        wanted = {care for row in rows for care in row["cautions"]}  # type: ignore[attr-defined]
        for care in wanted:
            assert plain(care) in plain(first), care
        for row in rows[1:]:
            page = client.get(METER, params={"at": str(row["station"])}).text
            for care in row["cautions"]:  # type: ignore[attr-defined]
                assert plain(care) in plain(page)


def plain(html: str) -> str:
    """Text without tags, entities and odd blanks."""
    text = re.sub(r"<[^>]+>", "", html).replace("&#39;", "'").replace("&amp;", "&").replace("&#34;", '"')
    return re.sub(r"[\s\u00a0\u2060]+", " ", text)


def test_a_reading_is_judged_then_kept_then_the_next_is_asked(client: TestClient, tmp_path: Path) -> None:
    """What the command says of the same record is what the page said.

    8.25 kΩ with the ordinary meter: 0.9 % and two digits are ±94 Ω, as wide as new parts may lie apart, so it works,
    and whether it is as built cannot be told.
    """
    said = client.post(f"{METER}/judge.json", json={"station": MANUAL, "typed": "8.250", "unit": "k"}).json()
    assert (said["ok"], said["outcome"], said["odd"]) == (True, "cannot tell", False)
    assert kept(tmp_path) == []
    answer = keep(client, MANUAL, typed="8.250", unit="k")
    assert answer.status_code == 303  # type: ignore[attr-defined]
    go = answer.headers["location"]  # type: ignore[attr-defined]
    assert "at=taps%2Fohms%2Fwheel_up" in go and "kept=" in go
    assert kept(tmp_path) == [(MANUAL, "8.250k")]
    following = client.get(go).text
    assert "Kept: Ohms: lever_manual = 8.250k" in plain(following)
    told = CliRunner().invoke(group, ["meter", str(tmp_path / "sandpiper.toml"), "--json"])
    row = next(each for each in json.loads(told.stdout)["stations"] if each["station"] == MANUAL)
    assert (row["reading"], row["outcome"], row["text"]) == ("8.250k", "cannot tell", said["text"])


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"typed": "8.250"}, "The unit is missing"),
        ({"typed": "eight", "unit": "k"}, "eight"),
        ({"typed": ""}, "Nothing was typed"),
        ({"typed": "12.6 V"}, "12.6 V"),
    ],
)
def test_what_is_no_reading_is_not_kept_and_stays_typed(
    client: TestClient, tmp_path: Path, fields: dict[str, str], told: str
) -> None:
    """The same page comes back with the reason, and what was typed is still there."""
    answer = keep(client, MANUAL, **fields)
    assert answer.status_code == 422  # type: ignore[attr-defined]
    assert told in plain(answer.text)  # type: ignore[attr-defined]
    assert f'value="{fields["typed"]}"' in answer.text  # type: ignore[attr-defined]
    assert kept(tmp_path) == []


def test_an_odd_reading_is_asked_back_once(client: TestClient, tmp_path: Path) -> None:
    """2.88 kΩ is what another situation reads: the page asks, and keeps it only on a second word."""
    first = keep(client, MANUAL, typed="2.880", unit="k")
    assert first.status_code == 422 and kept(tmp_path) == []  # type: ignore[attr-defined]
    assert "lever_manual + lever_up" in plain(first.text)  # type: ignore[attr-defined]
    assert 'name="sure"' in first.text and "checked" in first.text  # type: ignore[attr-defined]
    second = keep(client, MANUAL, typed="2.880", unit="k", sure="yes")
    assert second.status_code == 303 and kept(tmp_path) == [(MANUAL, "2.880k")]  # type: ignore[attr-defined]


def test_words_open_displays_and_notes(client: TestClient, tmp_path: Path) -> None:
    """OL, what the controller reports, and a note are buttons; a foreign word is refused."""
    assert keep(client, "taps/ohms/idle", press="OL").status_code == 303  # type: ignore[attr-defined]
    assert keep(client, "truck/eyes/all", press="ok", remark="all dry").status_code == 303  # type: ignore[attr-defined]
    report = "taps/reported/lever_manual"
    assert keep(client, report, press="manual").status_code == 303  # type: ignore[attr-defined]
    assert keep(client, report, press="banana").status_code == 422  # type: ignore[attr-defined]
    assert kept(tmp_path) == [("taps/ohms/idle", "OL"), ("truck/eyes/all", "ok all dry"), (report, "manual")]


def test_readings_of_another_design_are_refused_with_the_reason(client: TestClient, tmp_path: Path) -> None:
    """A page of another truck, a list of another truck, a record of another truck."""
    answer = keep(client, MANUAL, typed="8.250", unit="k", design_id="pp-heron")
    assert answer.status_code == 422  # type: ignore[attr-defined]
    assert "pp-heron" in answer.text and "proves nothing here" in answer.text  # type: ignore[attr-defined]
    text = "design_id,station,value\npp-heron,taps/ohms/idle,OL\n"
    listed = client.post(f"{METER}/list", files={"list": ("heron.csv", text.encode())})
    assert listed.status_code == 422 and "pp-heron" in listed.text
    assert kept(tmp_path) == []
    with open_record(tmp_path / "sandpiper.readings.sqlite.other", "pp-heron"):
        pass
    (tmp_path / "sandpiper.readings.sqlite").unlink(missing_ok=True)
    (tmp_path / "sandpiper.readings.sqlite.other").rename(tmp_path / "sandpiper.readings.sqlite")
    assert "pp-heron" in client.get(f"{METER}.json").json()["error"]["what"]


def test_a_list_is_taken_whole_or_not_at_all(client: TestClient, tmp_path: Path) -> None:
    """A bad row keeps the whole list out and is named with its line."""
    good = "station,value\ntaps/ohms/idle,OL\ntaps/ohms/lever_manual,8.250k\n"
    bad = client.post(f"{METER}/list", files={"list": ("a.csv", (good + "taps/ohms/lever,3k\n").encode())})
    assert bad.status_code == 422 and "line 4" in bad.text and kept(tmp_path) == []
    assert client.post(f"{METER}/list", files={"list": ("a.csv", good.encode())}).status_code == 303
    assert len(kept(tmp_path)) == 2


def test_a_file_that_changed_meanwhile_keeps_nothing(client: TestClient, tmp_path: Path) -> None:
    """What should be read may be another value by now; what was typed stays."""
    old = base_of(client)
    path = tmp_path / "sandpiper.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n# touched\n", encoding="utf-8")
    answer = client.post(f"{METER}/keep", data={"base": old, "station": MANUAL, "typed": "8.250", "unit": "k"})
    assert answer.status_code == 409 and 'value="8.250"' in answer.text and kept(tmp_path) == []


def test_a_temperature_widens_the_meters_error(client: TestClient) -> None:
    """Five kelvin below what its accuracy is stated for: half as wide again."""
    body = {"station": MANUAL, "typed": "8.250", "unit": "k"}
    warm = client.post(f"{METER}/judge.json", json=body).json()["text"]
    cold = client.post(f"{METER}/judge.json", json={**body, "ambient": "13"}).json()["text"]
    assert warm != cold
    wrong = client.post(f"{METER}/judge.json", json={**body, "ambient": "chilly"})
    assert wrong.status_code == 422


def test_a_meter_is_described_once(client: TestClient, tmp_path: Path) -> None:
    """The form writes meter.toml; all that is wrong is told at once and what was typed stays."""
    found = client.get("/instrument.json").json()
    form = {**found["heads"], "base": ""}
    form |= {f"full-{n}": full for n, (full, _) in enumerate(found["ranges"])}
    form |= {f"accuracy-{n}": accuracy for n, (_, accuracy) in enumerate(found["ranges"])}
    wrong = client.post("/instrument/save", data={**form, "counts": "many", "accuracy-0": "good"})
    assert wrong.status_code == 422 and "counts" in wrong.text and 'value="good"' in wrong.text
    assert not (tmp_path / "meter.toml").exists()
    saved = client.post("/instrument/save", data={**form, "name": "blue one", "basis": "published"})
    assert saved.status_code == 303
    assert "blue one (published figures)" in client.get(METER).text
    again = client.post("/instrument/save", data={**form, "name": "other"})
    assert again.status_code == 409, "a file that somebody wrote meanwhile is not written over"


def test_an_unknown_station_is_told(client: TestClient) -> None:
    """Nothing of it is shown as markup."""
    answer = client.get(METER, params={"at": "<b>no</b>"})
    assert answer.status_code == 404 and "<b>no</b>" not in answer.text
