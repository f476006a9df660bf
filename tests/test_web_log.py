"""Logs on the pages: what is sent, what each column is, what the day proves, any stretch again. Logs are simulated."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from pinproof.cli import group
from pinproof.logs import load_map
from pinproof.logs.map_text import map_text
from pinproof.web import log_files
from pinproof.web.app import Site
from tests.first_principles.test_log_can import DBC
from tests.truth.agree_logs import make_case
from tests.truth.log_designs import design_text
from tests.truth.log_files_out import write
from tests.web_client import client_of

WHAT = "logs=day1.csv&map=day1-map.toml"


@pytest.fixture(scope="module")
def drive(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, bytes, bytes]:
    """A simulated drive in which taps were missed: its design, its log, its map."""
    truck, planted, logged = make_case(3, "missed")
    folder = tmp_path_factory.mktemp("made")
    log, known = write(logged, folder, "day1", 3)
    return design_text(truck, planted), log.read_bytes(), known.read_bytes()


@pytest.fixture
def at(tmp_path: Path, drive: tuple[str, bytes, bytes]) -> Iterator[tuple[TestClient, Site, Path]]:
    """A client over a folder with that design alone."""
    (tmp_path / "sim.toml").write_text(drive[0], encoding="utf-8")
    client, site = client_of(tmp_path)
    yield client, site, tmp_path
    site.jobs.stop_all()


def sent(client: TestClient, name: str, data: bytes, ending: str = ".json") -> Any:
    """A file sent to the log page."""
    return client.post(f"/d/sim/log/upload{ending}", files={"file": (name, data)})


def worked_out(client: TestClient, address: str, seconds: float = 240.0) -> Any:
    """The data of an address once its work is over."""
    until = time.monotonic() + seconds
    while True:
        found = client.get(address).json()
        if found["job"]["state"] not in ("waits", "runs"):
            assert found["job"]["state"] == "done", found["job"]
            return found
        assert time.monotonic() < until, found
        time.sleep(0.2)


def fields_of(html: str) -> dict[str, str]:
    """What a browser would send of the map's form if nobody touched it."""
    form = html[html.index("/log/map/keep") :].partition("</form>")[0]
    found: dict[str, str] = {}
    for tag in re.findall(r"<input [^>]*>", form):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name is not None and ('type="checkbox"' not in tag or "checked" in tag):
            found[name[1]] = value[1] if value is not None else ""
    for name, body in re.findall(r'<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>', form):
        options = re.findall(r"<option([^>]*)>([^<]*)", body)
        chosen = next((each for each in options if "selected" in each[0]), options[0])
        value = re.search(r'value="([^"]*)"', chosen[0])
        found[name] = value[1] if value is not None else chosen[1]
    return found


def test_a_day_is_proven_as_the_command_proves_it(at: Any, drive: tuple[str, bytes, bytes]) -> None:
    """Sent, proven in the background; data as `pinproof log --json` prints them; each evidence has a way in."""
    client, _, folder = at
    assert "No log here yet" in client.get("/d/sim/log").text
    assert sent(client, "day1.csv", drive[1]).json() == {"file": "day1.csv", "bytes": len(drive[1])}
    assert sent(client, "day1-map.toml", drive[2]).status_code == 200
    started = client.post("/d/sim/log/prove", data={"log": "day1.csv", "map": "day1-map.toml"})
    assert started.status_code == 303 and started.headers["location"] == f"/d/sim/log?{WHAT}"
    found = worked_out(client, f"/d/sim/log.json?{WHAT}")["report"]
    words = [
        "log",
        str(folder / "sim.toml"),
        str(folder / "day1.csv"),
        "--map",
        str(folder / "day1-map.toml"),
        "--json",
    ]
    assert found == json.loads(CliRunner().invoke(group, words).stdout)
    missed = next(each for each in found["checks"] if each["check"] == "missed-tap")
    assert missed["verdict"] == "fail"

    html = client.get(f"/d/sim/log?{WHAT}").text
    ways = [each.replace("&amp;", "&") for each in re.findall(r'href="([^"]*/log/stretch[^"]*)"', html)]
    loud = [
        each for check in found["checks"] for each in check["findings"]
        if each["verdict"] in ("fail", "not shown") and each["from_s"] is not None and each["log"]
    ]  # fmt: skip
    assert len(ways) == len(loud) > 0
    first = missed["findings"][0]
    stretch = client.get(next(each for each in ways if f"from={first['picture']['from_s']:.3f}" in each))
    assert stretch.status_code == 200 and "What the gearbox did" in stretch.text and "Wider" in stretch.text

    plan = client.get("/d/sim/log/plan.json").json()["plan"]
    left = client.get(f"/d/sim/log/plan.json?{WHAT}").json()
    open_checks = {each["check"] for each in found["checks"] if each["verdict"] == "not shown"}
    assert left["open_only"] and set(left["plan"]["open"]) == open_checks < set(plan["open"])
    assert client.get(f"/d/sim/log/file/report.html?{WHAT}").text.startswith("<!doctype html>")
    assert client.get("/d/sim/log/file/report.html").status_code == 404
    assert client.get(f"/d/sim/log/file/other.pdf?{WHAT}").status_code == 404

    (folder / "day1.csv").write_bytes(drive[1] + b"\n")  # another file by now: its report is not shown for it
    assert client.get(f"/d/sim/log.json?{WHAT}").json()["report"] is None


def test_what_was_proven_survives_a_restart(at: Any, drive: tuple[str, bytes, bytes]) -> None:
    """Kept by the work itself as the command keeps it; a new server tells it on the chain and on the log page; a
    changed design takes it back; a record that cannot be used takes no report away."""
    client, site, folder = at
    sent(client, "day1.csv", drive[1])
    sent(client, "day1-map.toml", drive[2])
    fields = {"log": "day1.csv", "map": "day1-map.toml"}
    assert chain_log(client)["text"].startswith("No log was given")
    client.post("/d/sim/log/prove", data=fields)
    found = worked_out(client, f"/d/sim/log.json?{WHAT}")
    assert found["kept"] == "Kept in sim.readings.sqlite as log proof 1." and len(found["log_proofs"]) == 1
    words = ["log", folder / "sim.toml", folder / "day1.csv", "--map", folder / "day1-map.toml"]
    assert "Kept already" in CliRunner().invoke(group, [str(each) for each in words]).stderr
    assert chain_log(client)["verdict"] == "fail"

    site.jobs.stop_all()
    again, other = client_of(folder)
    try:
        link = chain_log(again)
        assert link["verdict"] == "fail" and "Log proof 1" in link["text"] and "missed-tap" in link["text"]
        kept = again.get("/d/sim/log.json").json()
        assert kept["report"] is None and [e["verdict_now"] for e in kept["log_proofs"]] == ["fail"]
        html = again.get("/d/sim/log").text
        assert "What logs proved so far" in html and "the design has changed since" not in html
        assert "Log proof 1" in again.get("/d/sim/chain").text

        file = folder / "sim.toml"
        file.write_text(f"# looked at\n{file.read_text(encoding='utf-8')}", encoding="utf-8")
        assert chain_log(again)["verdict"] == "fail"
        changed = file.read_text(encoding="utf-8").replace('held_request = "1 s"', 'held_request = "2 s"')
        file.write_text(changed, encoding="utf-8")
        link = chain_log(again)
        assert link["verdict"] == "not shown" and "the design has changed since" in link["text"]
        assert "the design has changed since" in again.get("/d/sim/log").text

        again.post("/d/sim/log/prove", data=fields)
        found = worked_out(again, f"/d/sim/log.json?{WHAT}")
        assert found["kept"].endswith("as log proof 2.") and chain_log(again)["verdict"] == "fail"

        (folder / "sim.readings.sqlite").write_bytes(b"no database at all " * 400)
        file.write_text(f"# again\n{changed}", encoding="utf-8")
        link = chain_log(again)
        assert link["verdict"] == "not shown" and "cannot be told" in link["text"]
        again.post("/d/sim/log/prove", data=fields)
        found = worked_out(again, f"/d/sim/log.json?{WHAT}")
        assert found["report"]["verdict"] == "fail" and found["kept"].startswith("Not kept. sim.readings.sqlite")
        assert "Not kept." in again.get(f"/d/sim/log?{WHAT}").text
    finally:
        other.jobs.stop_all()


def chain_log(client: TestClient) -> Any:
    """The chain's log link."""
    links = client.get("/d/sim/chain.json").json()["chain"]["links"]
    return next(each for each in links if each["name"] == "log")


def test_a_stretch_is_asked_for_again(at: Any, drive: tuple[str, bytes, bytes]) -> None:
    """Closer and wider hold the middle; beyond the log it stops; what is no stretch is told."""
    client, _, _ = at
    sent(client, "day1.csv", drive[1])
    sent(client, "day1-map.toml", drive[2])
    client.post("/d/sim/log/prove", data={"log": "day1.csv", "map": "day1-map.toml"})
    length_s = worked_out(client, f"/d/sim/log.json?{WHAT}")["report"]["logs"][0]["duration_s"]

    def one(from_s: float, to_s: float) -> Any:
        return client.get(f"/d/sim/log/stretch.json?{WHAT}&log=day1.csv&from={from_s}&to={to_s}").json()

    found = one(60.0, 100.0)["stretch"]
    assert (found["from_s"], found["to_s"]) == (60.0, 100.0)
    assert found["closer"] == [70.0, 90.0] and found["wider"] == [40.0, 120.0]
    assert found["earlier"] == [40.0, 80.0] and found["later"] == [80.0, 120.0]
    for low, high, _ in (*found["picture"]["asked"], *found["picture"]["did"]):
        assert 60.0 <= low < high <= 100.0
    inside = one(70.0, 90.0)["stretch"]["picture"]["asked"]
    pressed = [each for each in found["picture"]["asked"] if each[1] >= 70.0 and each[0] <= 90.0]
    assert inside == [[max(a, 70.0), min(b, 90.0), way] for a, b, way in pressed]
    whole = one(-50.0, 1e6)["stretch"]
    assert whole["wider"] is None and whole["to_s"] == pytest.approx(length_s, abs=1.0)
    assert one(10.0, 10.0)["error"]["status"] == 404
    assert one(1e7, 2e7)["error"]["status"] == 404
    assert one(float("nan"), 2.0)["error"]["status"] == 404
    assert client.get(f"/d/sim/log/stretch.json?{WHAT}&log=day1.csv&from=a&to=2").json()["error"]["status"] == 422
    assert client.get(f"/d/sim/log/stretch.json?{WHAT}&log=other.csv&from=1&to=2").status_code == 404


def test_a_map_counts_only_what_was_confirmed(at: Any, drive: tuple[str, bytes, bytes]) -> None:
    """A proposal has no tick; kept as it is, its own reader refuses it and says where; then every column is ticked."""
    client, _, folder = at
    sent(client, "day1.csv", drive[1])
    assert sent(client, "day1.csv", drive[1], "").headers["location"] == "/d/sim/log/map?log=day1.csv"
    html = client.get("/d/sim/log/map?log=day1.csv").text
    ways = re.findall(r'To decide</b> .*?<a href="#([^"]+)">Decide it', html)
    assert ways and all(f'id="{place}"' in html for place in ways), "each question leads to its field"
    fields = fields_of(html)
    assert not any("confirmed" in name for name in fields)
    refused = client.post("/d/sim/log/map/keep", data=fields)
    assert refused.status_code == 422 and not list(folder.glob("*map.toml"))
    assert "<code>time</code>" in refused.text and "<code>file</code>" in refused.text

    wanted = load_map_text(drive[2], folder)
    rows = {value: name.removeprefix("header:") for name, value in fields.items() if name.startswith("header:")}
    for number in rows.values():
        fields[f"role:{number}"] = ""
    for each in wanted.channels:
        number = rows[each.header]
        codes = ", ".join(f"{code} = {means:g}" if isinstance(means, float) else f"{code} = {means}"
                          for code, means in each.codes.items())  # fmt: skip
        fields |= {f"role:{number}": each.role, f"unit:{number}": each.unit, f"codes:{number}": codes}
        fields |= {
            f"confirmed:{number}": "yes",
            f"factor:{number}": f"{each.factor!r}",
            f"offset:{number}": f"{each.offset!r}",
        }
        if each.valid is not None:
            fields[f"valid:{number}"] = f"{each.valid[0]!r} to {each.valid[1]!r}"
        if each.full_scale is not None:
            fields[f"full_scale:{number}"] = f"{each.full_scale!r}"
        for key in ("on_above", "on_below"):
            if getattr(each, key) is not None:
                fields[f"{key}:{number}"] = f"{getattr(each, key)!r}"
    fields |= {"time:confirmed": "yes", "file:confirmed": "yes", "name": "mine.toml"}
    time_ = wanted.time
    fields |= {
        "time:header": time_.header,
        "time:kind": time_.kind,
        "time:unit": time_.unit,
        "time:layout": time_.layout,
    }
    kept = client.post("/d/sim/log/map/keep.json", json=fields)
    assert kept.status_code == 200, kept.text
    made = load_map(folder / "mine.toml")
    assert [(e.role, e.header, e.unit, dict(e.codes)) for e in made.channels] == [
        (e.role, e.header, e.unit, dict(e.codes)) for e in sorted(wanted.channels, key=lambda e: int(rows[e.header]))
    ]
    assert made.time == wanted.time and made.file == wanted.file
    assert client.post("/d/sim/log/map/keep.json", json=fields).status_code == 409  # never over another file
    again = fields_of(client.get("/d/sim/log/map?log=day1.csv&map=mine.toml").text)
    same = client.post("/d/sim/log/map/keep.json", json=again)
    assert same.status_code == 200 and load_map(folder / "mine.toml").channels == made.channels
    assert client.post("/d/sim/log/map/keep.json", json={**again, "base": "0" * 64}).status_code == 409


def load_map_text(data: bytes, folder: Path) -> Any:
    """The simulator's own map."""
    path = folder / "theirs.toml"
    path.write_bytes(data)
    made = load_map(path)
    path.unlink()
    return made


def test_frames_ask_for_their_dbc(at: Any) -> None:
    """A recording of CAN frames first asks for the DBC; with it signals are listed, and the kept map names it."""
    client, _, folder = at
    lines = "".join(f"({1e9 + n * 0.01:.6f}) can0 100#10270000{50 + n % 9:02X}0040{n % 256:02X}\n" for n in range(300))
    (folder / "bus.log").write_text(lines, encoding="ascii")
    assert "Bring the DBC" in client.get("/d/sim/log/map?log=bus.log").text
    assert sent(client, "bus.dbc", DBC.encode("ascii")).status_code == 200
    assert "Read it with bus.dbc" in client.get("/d/sim/log/map?log=bus.log").text
    fields = fields_of(client.get("/d/sim/log/map?log=bus.log&dbc=bus.dbc").text)
    rows = {value: name.removeprefix("header:") for name, value in fields.items() if name.startswith("header:")}
    assert fields[f"role:{rows['Speeds.Turbine']}"] == "turbine" and fields[f"unit:{rows['Speeds.Turbine']}"] == "rpm"
    fields |= {f"confirmed:{rows['Speeds.Turbine']}": "yes", "file:confirmed": "yes", "name": "can.toml"}
    assert client.post("/d/sim/log/map/keep.json", json=fields).status_code == 200
    made = load_map(folder / "can.toml")
    assert [each.role for each in made.channels] == ["turbine"] and made.dbc.endswith("bus.dbc")


def test_what_is_sent_is_kept_whole_and_never_over_another(at: Any) -> None:
    """Names that lead elsewhere, kinds that are no log, empty, another of the same name: told, nothing written."""
    client, site, folder = at
    client.get("/d/sim/log")
    before = sorted(each.name for each in folder.iterdir())
    for name, data in {
        "..": b"x", "con.csv": b"x", ".hidden.csv": b"x", "run.exe": b"MZ", "day.toml": b"a = 1\n", "empty.csv": b"",
        "sim.toml": b"[[phase]]\n" * 2, "no ending": b"x", "a|b.csv": b"t\n1\n",
    }.items():  # fmt: skip
        told = sent(client, name, data)
        assert told.status_code in (409, 422), (name, told.status_code)
    assert sorted(each.name for each in folder.iterdir()) == before
    inside = sent(client, "../../up.csv", b"t,a\n0,1\n")
    assert inside.json()["file"] == "up.csv" and (folder / "up.csv").is_file()
    assert not (folder.parent / "up.csv").exists()
    assert sent(client, "up.csv", b"t,a\n0,1\n").status_code == 200  # the same bytes again
    assert sent(client, "UP.csv", b"t,a\n0,2\n").status_code == 409
    assert not [each for each in folder.iterdir() if each.name.endswith(".part")]
    action = next(each for each in site.page("log").actions if each.name == "upload")
    assert action.most_bytes == log_files.MOST_UPLOAD_BYTES == 200_000_000
    too_much = client.post("/d/sim/log/upload.json", content=b"x", headers={"content-length": "200000001"})
    assert too_much.status_code == 413


def test_what_cannot_be_proven_is_told_before_work(at: Any, drive: tuple[str, bytes, bytes]) -> None:
    """No log, no map, a name that is not there, a faulty map or script; a broken log ends the work with its reason."""
    client, site, folder = at
    prove = "/d/sim/log/prove.json"
    assert client.post(prove, json={}).json()["error"]["where"] == "log"
    sent(client, "day1.csv", drive[1])
    assert client.post(prove, json={"log": "day1.csv"}).json()["error"]["where"] == "map"
    assert client.post(prove, json={"log": "other.csv", "map": "m.toml"}).status_code == 404
    sent(client, "day1-map.toml", drive[2].replace(b"confirmed = true", b"confirmed = false", 1))
    told = client.post(prove, json={"log": "day1.csv", "map": "day1-map.toml"})
    assert told.status_code == 422 and told.json()["error"]["faults"][0]["message"]
    (folder / "day1-map.toml").write_bytes(drive[2])
    (folder / "crew.toml").write_text(
        'format = 1\n[[phase]]\nkind = "stand"\nfrom = "0 s"\nto = "9 s"\n', encoding="utf-8"
    )
    told = client.post(prove, json={"log": "day1.csv", "map": "day1-map.toml", "script": "crew.toml"})
    assert told.status_code == 422 and "phase.1.kind" in [e["path"] for e in told.json()["error"]["faults"]]
    assert not site.jobs._jobs


def test_several_logs_of_a_day_are_one_proof(at: Any, drive: tuple[str, bytes, bytes]) -> None:
    """Two logs are judged together, each named; a log that breaks off ends the work and says which and why."""
    client, site, folder = at
    for name in ("day1.csv", "day2.csv"):
        (folder / name).write_bytes(drive[1])
    (folder / "day1-map.toml").write_bytes(drive[2])
    fields = {"log": ["day1.csv", "day2.csv"], "map": "day1-map.toml"}
    started = client.post("/d/sim/log/prove", data=fields).headers["location"]
    assert "day1.csv%7Cday2.csv" in started
    found = worked_out(client, started.replace("/log?", "/log.json?"))["report"]
    assert [each["name"] for each in found["logs"]] == ["day1.csv", "day2.csv"]
    missed = next(each for each in found["checks"] if each["check"] == "missed-tap")["findings"]
    assert {each["log"] for each in missed} == {"day1.csv", "day2.csv"}
    html = client.get(started).text
    assert "log=day2.csv" in html and html.count("<details><summary>day") == 2

    (folder / "day2.csv").write_bytes(b"\x89PNG\r\n" + bytes(4000))
    job = client.post("/d/sim/log/prove.json", json={**fields, "log": "day2.csv"}).json()
    until = time.monotonic() + 120.0
    while site.jobs.get(job["id"]).state in ("waits", "runs"):
        assert time.monotonic() < until
        time.sleep(0.2)
    told = site.jobs.get(job["id"])
    assert told.state == "failed" and "day2.csv" in told.text and "Traceback" not in told.text
    assert "day2.csv" in client.get("/d/sim/log?logs=day2.csv&map=day1-map.toml").text


def test_the_text_of_a_map_is_what_its_reader_reads() -> None:
    """Numbers, codes with any letters, lists and flags go through TOML and back."""
    import tomllib

    rng = np.random.default_rng(5)
    letters = list("ab\"\\ =,.\n\tÄΩ#'[]{}1")
    for _ in range(200):
        codes = {"".join(rng.choice(letters, 4)): float(rng.normal()) for _ in range(3)}
        table = {
            "role": "gear", "header": "".join(rng.choice(letters, 6)), "codes": codes,
            "confirmed": bool(rng.integers(2)),
            "valid": [float(rng.normal()), float(rng.normal() * 1e9)], "factor": float(rng.normal() * 1e-9),
        }  # fmt: skip
        read = tomllib.loads(map_text({"time": {"header": table["header"], "unit": "s"}, "channel": [table, table]}))
        assert read["channel"] == [table, table] and read["time"]["header"] == table["header"]


def test_a_unit_is_no_fault_before_anybody_answered(at: Any) -> None:
    """A proposed column whose unit the file does not say asks for it; marked as wrong it is only once it was sent."""
    client, _, _ = at
    sent(client, "bare.csv", b"Time,RPM,Speed\n0.00,900,0\n0.01,905,0\n0.02,910,0\n")
    html = client.get("/d/sim/log/map?log=bare.csv").text
    assert 'placeholder="not known yet"' in html and "aria-invalid" not in html and 'placeholder="?"' not in html
    fields = fields_of(html) | {"confirmed:0": "yes", "confirmed:1": "yes", "name": "bare.toml"}
    again = client.post("/d/sim/log/map/keep", data=fields)
    assert again.status_code == 422 and 'aria-invalid="true"' in again.text
