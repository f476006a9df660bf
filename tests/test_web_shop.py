"""The shop's pages say what the commands say, write whole or not at all, and tell what is wrong with its place."""

from __future__ import annotations

import json
import re
import shutil
import time
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from pinproof.chain.choosing import USUAL_HIGH, USUAL_LOW, stock_used
from pinproof.choose import Drawer, Part, choose
from pinproof.cli import cmd_choose, group
from pinproof.design import load
from pinproof.examples import companions, example_path
from pinproof.web import render
from pinproof.web.app import Site
from pinproof.web.pages import drawer
from tests.first_principles.test_inhibit_design import SWITCHED
from tests.web_client import client_of, folder_with


def printed(*words: str) -> Any:
    """What a command prints as JSON."""
    done = CliRunner().invoke(group, [*words, "--json"])
    assert done.exit_code in (0, 1) and (done.exception is None or isinstance(done.exception, SystemExit)), (
        done.output, done.exception,
    )  # fmt: skip
    return json.loads(done.stdout)


def taken(answer: Any) -> Any:
    """The data of an answer that was no finding."""
    assert answer.status_code == 200, answer.text
    return answer.json()


def worked_out(client: TestClient, site: Site, address: str, seconds: float = 240.0) -> Any:
    """The data of an address once its work is over."""
    until = time.monotonic() + seconds
    while True:
        found = client.get(address).json()
        job = found["job"]
        if job is not None and job["state"] not in ("waits", "runs"):
            assert job["state"] == "done", job
            return found
        assert time.monotonic() < until, found
        time.sleep(0.2)


@pytest.fixture
def site_of(tmp_path: Path) -> Any:
    """Client and site over examples; whatever still runs is stopped in the end."""
    made: list[Site] = []

    def over(*names: str) -> tuple[TestClient, Site]:
        folder_with(tmp_path, *names)
        client, site = client_of(tmp_path)
        made.append(site)
        return client, site

    yield over
    for site in made:
        site.jobs.stop_all()


# resistors


def test_choose_gives_what_the_command_gives_and_writes_it(site_of: Any, tmp_path: Path) -> None:
    """Same values, margin and certificate as `pinproof choose`; written with comments kept, undone by undo."""
    client, site = site_of("wagtail")
    before = (tmp_path / "wagtail.toml").read_text(encoding="utf-8")
    wanted = printed("choose", str(tmp_path / "wagtail.toml"), "--series", "E24")
    asked = {"parts": "E24"}
    started = client.post("/d/wagtail/choose/run", data=asked)
    assert started.status_code == 303 and started.headers["location"] == "/d/wagtail/choose?parts=E24"
    found = worked_out(client, site, "/d/wagtail/choose.json?parts=E24")
    assert found["choice"]["values"] == wanted["values"] and found["choice"]["margin"] == wanted["margin"]
    for each in ("optimal", "gap", "levels"):
        assert found["choice"]["certificate"][each] == wanted["certificate"][each]
    assert [each["values"] for each in found["choice"]["runners_up"]] == [e["values"] for e in wanted["runners_up"]]
    html = client.get("/d/wagtail/choose?parts=E24").text
    assert "Proven: no choice is better" in html and "180RF" in html and "grey" in html and "Costs" in html
    assert client.get("/d/wagtail/choose.json").json()["choice"] is None  # another question, another answer

    base = site.workspace.design("wagtail").hash
    done = client.post("/d/wagtail/choose/write", data={**asked, "base": base})
    assert (done.status_code, done.headers["location"]) == (303, "/d/wagtail/proof?line=buttons")
    text = (tmp_path / "wagtail.toml").read_text(encoding="utf-8")
    assert "180 ohm" in text and "820 ohm" in text
    assert [each for each in before.splitlines() if each.startswith("#")] == [
        each for each in text.splitlines() if each.startswith("#")
    ]
    again = client.post("/d/wagtail/choose/write.json", json={**asked, "base": base})
    assert again.status_code == 409 and "changed by someone else" in again.json()["error"]["what"]
    now = site.workspace.design("wagtail").hash
    assert client.post("/d/wagtail/history/undo.json", json={"base": now}).status_code == 200
    assert (tmp_path / "wagtail.toml").read_text(encoding="utf-8") == before


def test_choose_tells_what_cannot_be_asked(site_of: Any, tmp_path: Path) -> None:
    """A wrong number, a wrong source, a drawer that is not there: each at its field; nothing begins."""
    client, site = site_of("wagtail")
    for asked, field in (
        ({"low": "ten"}, "low"), ({"parts": "E13"}, "parts"), ({"parts": "drawer"}, "parts"), ({"line": "x"}, "line"),
        ({"tolerance": "1 V"}, "tolerance"), ({"low": "0 ohm"}, "low"), ({"low": "2k", "high": "1k"}, "low"),
        ({"tolerance": "200 %"}, "tolerance"),
    ):  # fmt: skip
        told = client.post("/d/wagtail/choose/run.json", json=asked)
        assert told.status_code in (400, 404, 422) and told.json()["error"]["where"] == field, asked
    path = tmp_path / "wagtail.toml"
    said = CliRunner().invoke(group, ["choose", str(path), "--low", "0 ohm"])
    assert said.exit_code != 0 and "Nothing can be chosen from 0" in f"{said.output}{said.exception}"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r"(?m)^(pull_(?:up|down) = ).*$", r'\1"unknown"', text, count=1), encoding="utf-8")
    assert "unknown" in client.get("/d/wagtail/choose").text
    assert client.post("/d/wagtail/choose/run.json", json={}).status_code == 422
    assert not site.jobs._jobs


def test_what_is_taken_out_of_the_drawer() -> None:
    """Every piece is counted, also two of one kind joined; how many there are is the sum of equal names."""
    truck = load(example_path("wagtail"))
    parts = (Part(180.0, None, 3, "", 180.4, 0.4), Part(390.0, 0.01, 2), Part(1e5, 0.01, 2), Part(1e5, 0.05, 7))
    drawer = Drawer(parts)
    found = choose(truck, "buttons", source=drawer, runners_up=0, explain=False)
    assert found.values["contact.button_down.resistor"] == 780.0  # both of 390 ohm in series
    used = {each.name: (each.used, each.had) for each in stock_used(found, drawer)}
    assert used["180.4 ohm measured"] == (1, 3) and used["390 ohm"] == (2, 2)
    assert sum(count for count, _ in used.values()) == sum(len(each.pieces) for each in found.resistors)
    assert used["100000 ohm"][1] == 9


def test_the_range_is_that_of_the_command() -> None:
    """Page and command try the same values where nobody asks for others."""
    usual = {each.name: each.default for each in cmd_choose.command.params}
    assert (usual["low"], usual["high"]) == (USUAL_LOW, USUAL_HIGH)


# drawer


def test_the_drawer_is_kept_whole_or_not_at_all(site_of: Any, tmp_path: Path) -> None:
    """Adding, measuring, counting down to none; the same rows as the command lists; a bad row changes nothing."""
    client, _ = site_of("heron")
    add = "/d/heron/drawer/add.json"
    one = taken(client.post(add, json={"base": "new", "ohm": "1.5k", "tolerance": "1 %", "count": "10"}))
    two = taken(
        client.post(add, json={"base": one["hash"], "ohm": "4k7", "measured_ohm": "4.68k", "meter": "0.8 % + 2"})
    )
    path = tmp_path / "drawer.toml"
    listed = printed("drawer", "list", "--drawer", str(path))
    assert two["parts"] == listed["parts"] and two["count"] == listed["count"] == 11

    kept = path.read_bytes()
    bad = client.post(add, json={"base": two["hash"], "ohm": "1.5kk", "tolerance": "1 %"})
    assert bad.status_code == 422 and "1.5kk" in bad.json()["error"]["what"] and path.read_bytes() == kept
    page = client.post("/d/heron/drawer/add", data={"base": two["hash"], "ohm": "1.5kk", "tolerance": "1 %"})
    assert page.status_code == 422 and 'value="1.5kk"' in page.text  # what was typed stays
    late = client.post(add, json={"base": one["hash"], "ohm": "10k", "tolerance": "1 %"})
    assert late.status_code == 409 and path.read_bytes() == kept

    keep = {"base": two["hash"], "count:0": "0", "measured_ohm:1": "4.69k"}
    left = taken(client.post("/d/heron/drawer/keep.json", json=keep))
    assert [each["measured_ohm"] for each in left["parts"]] == ["4.69k"]
    lost = client.post("/d/heron/drawer/keep.json", json={"base": left["hash"], "count:0": "x"})
    assert lost.status_code == 422 and "Row 1" in lost.json()["error"]["where"]


def test_rows_and_hash_of_a_drawer_come_from_one_look(
    site_of: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While a change is made another program adds a part and takes it back: that part is not in what is written."""
    client, _ = site_of("heron")
    path = tmp_path / "drawer.toml"
    mine = taken(
        client.post("/d/heron/drawer/add.json", json={"base": "new", "ohm": "1.5k", "tolerance": "1 %", "count": "1"})
    )
    before, real, looks = path.read_bytes(), drawer.load_rows, []

    def meanwhile(asked: Path) -> Any:
        looks.append(asked)
        theirs = before + b'\n[[part]]\nohm = "10k"\ntolerance = "1 %"\ncount = 7\n' if len(looks) == 1 else before
        path.write_bytes(theirs)
        found = real(asked)
        path.write_bytes(before)
        return found

    monkeypatch.setattr(drawer, "load_rows", meanwhile)
    for ask in ({"ohm": "2.2k", "tolerance": "1 %"}, {"count:0": "3"}):
        looks.clear()
        action = "add" if "ohm" in ask else "keep"
        answer = client.post(f"/d/heron/drawer/{action}.json", json={"base": mine["hash"], **ask})
        assert answer.status_code == 409 and path.read_bytes() == before, action


def test_templates_are_read_once_with_the_code(site_of: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What changes on the disk while the program runs, as in an update, is not shown under the code from before."""
    copied = tmp_path / "package"
    shutil.copytree(render.HERE / "templates", copied / "templates")
    monkeypatch.setattr(render, "HERE", copied)
    render.environment.cache_clear()
    try:
        client, _ = site_of("heron")
        (copied / "templates" / "drawer.html").write_text("{{ a_name_of_tomorrow }}", encoding="utf-8")
        assert client.get("/d/heron/drawer").status_code == 200
    finally:
        render.environment.cache_clear()


def test_a_list_is_added_whole_or_each_bad_row_is_told(site_of: Any, tmp_path: Path) -> None:
    """Every bad row with its line; then the good list; too large a file is refused before it is read."""
    client, _ = site_of("heron")
    send = "/d/heron/drawer/list.json"
    bad = client.post(
        send, data={"base": "new"}, files={"list": ("s.csv", b"ohm,tolerance,count\n1k,1 %,5\n2x,1 %,1\n3k,,1\n")}
    )
    assert bad.status_code == 422
    assert [each["line"] for each in bad.json()["error"]["faults"]] == [3, 4]
    assert not (tmp_path / "drawer.toml").exists()
    good = client.post(send, data={"base": "new"}, files={"list": ("s.csv", b"1k,1 %,5\n2.2k,1 %,1\n")}).json()
    assert good["count"] == 6
    large = client.post(send, data={"base": good["hash"]}, files={"list": ("s.csv", b"1k,1 %,5\n" * 60_000)})
    assert large.status_code == 413
    used = client.post(
        "/d/heron/drawer/use.json", json={"design_base": client.get("/d/heron/history.json").json()["hash"]}
    )
    assert used.status_code == 200
    assert 'drawer = "drawer.toml"' in (tmp_path / "heron.toml").read_text(encoding="utf-8")


def test_a_drawer_outside_the_folder_is_not_read(site_of: Any, tmp_path: Path) -> None:
    """A design that names a drawer elsewhere gets the file of that name in its own folder, or none."""
    client, _ = site_of("heron")
    outside = tmp_path.parent / "secret.toml"
    outside.write_text('format = 1\n[[part]]\nohm = "1k"\ntolerance = "1 %"\ncount = 77\n', encoding="utf-8")
    path = tmp_path / "heron.toml"
    path.write_text(path.read_text(encoding="utf-8") + '\n[parts]\ndrawer = "../secret.toml"\n', encoding="utf-8")
    assert client.get("/d/heron/drawer.json").json()["count"] == 0
    (tmp_path / "secret.toml").symlink_to(outside)
    assert client.get("/d/heron/drawer.json").status_code == 422
    assert client.post("/d/heron/choose/run.json", json={"parts": "drawer"}).status_code == 422


# harness


def test_the_harness_is_the_command_s(site_of: Any, tmp_path: Path) -> None:
    """The data are those of `pinproof harness --json`; each wire, splice and plug face stands on the page."""
    client, _ = site_of("dunlin")
    found = client.get("/d/dunlin/harness.json").json()["harness"]
    assert found == printed("harness", str(tmp_path / "dunlin.toml"))
    html = client.get("/d/dunlin/harness").text
    for each in (*found["wires"], *found["splices"]):
        assert f"<b>{each['id']}</b>" in html
    assert html.count("Plug ") >= len({one["plug"] for one in found["plugs"] if one["wire"]})
    assert "\u200b" not in html  # nobody who copies a name gets a break in it
    assert "start_relay: with contacts and mated pairs" in html  # a note of the command, with its place
    assert re.search(r"line \d+ of dunlin.toml", html)
    assert "Order today" in html


def test_the_papers_are_made_in_the_background(site_of: Any, tmp_path: Path) -> None:
    """What `pinproof harness -o` writes can be fetched by name, and nothing else."""
    client, site = site_of("dunlin")
    assert client.get("/d/dunlin/harness/file/harness.pdf").status_code == 404
    assert client.post("/d/dunlin/harness/make", data={"paper": "a5"}).status_code in (400, 422)
    assert client.post("/d/dunlin/harness/make", data={"paper": "a4"}).status_code == 303
    found = worked_out(client, site, "/d/dunlin/harness.json")
    names = [each["name"] for each in found["files"]]
    assert {"harness.pdf", "formboard-a4.pdf", "wires.csv"} <= set(names)
    board = client.get("/d/dunlin/harness/file/formboard-a4.pdf")
    assert board.content.startswith(b"%PDF") and "attachment" in board.headers["content-disposition"]
    assert client.get("/d/dunlin/harness/file/..%2fdunlin.toml").status_code == 404


def test_a_harness_that_cannot_be_is_told_place_by_place(site_of: Any, tmp_path: Path) -> None:
    """Runs that make a ring: the line, the entry, the reason; a file without a harness is told what one is."""
    client, _ = site_of("dunlin", "heron")
    path = tmp_path / "dunlin.toml"
    text = path.read_text(encoding="utf-8")
    ring = '\n[[run]]\nid = "ring"\nbetween = ["battery", "dash"]\nlength = "1 m"\n'
    path.write_text(text + ring, encoding="utf-8")
    answer = client.get("/d/dunlin/harness.json")
    assert answer.status_code == 422
    faults = answer.json()["error"]["faults"]
    assert faults and all(each["line"] > 0 and each["path"] and each["message"] for each in faults)
    assert "No harness in this file yet" in client.get("/d/heron/harness").text


# start inhibit


def test_the_inhibit_is_the_command_s_and_defeats_come_first(site_of: Any, tmp_path: Path) -> None:
    """The data are those of the engine; before the table stand the defeats, each with a test and a cure."""
    client, site = site_of("heron")
    (tmp_path / "start.toml").write_text(SWITCHED, encoding="utf-8")
    assert "Nothing said of the start yet" in client.get("/d/heron/inhibit").text
    assert client.post("/d/heron/inhibit/prove.json", json={}).status_code == 422
    assert client.get("/d/start/inhibit.json").json()["report"] is None
    assert client.post("/d/start/inhibit/prove", data={}).status_code == 303
    found = worked_out(client, site, "/d/start/inhibit.json")["report"]
    wanted = printed("inhibit", str(tmp_path / "start.toml"))
    assert found["faults"] == wanted["faults"] and found["table"] == wanted["table"]
    assert found["verdict"] == wanted["verdict"]
    defeats = [each for each in found["faults"] if each["defeat"]]
    assert defeats
    html = client.get("/d/start/inhibit").text
    assert html.index("CRANKS IN GEAR") < html.index("Where it cranks")
    assert html.count("<b>Test:</b>") >= 1 and html.count("<b>Cure:</b>") >= 1
    for caution in found["cautions"]:
        assert caution[:40] in unescape(html)


# driveline


def test_the_driveline_is_the_command_s(site_of: Any, tmp_path: Path) -> None:
    """The data are those of `pinproof gears --json`, borrowed table and sheet included."""
    client, _ = site_of("sandpiper")
    for each in companions("sandpiper"):
        (tmp_path / each.name).write_bytes(each.read_bytes())
    found = client.get("/d/sandpiper/gears.json?at=100 km/h").json()["drive"]
    assert found == printed("gears", str(tmp_path / "sandpiper.toml"), "--at", "100 km/h")
    html = client.get("/d/sandpiper/gears").text
    marked = [cell for table in found["borrowed"] for row in table["rows"] for cell in row[1] if cell["mark"] != "keep"]
    bad = [cell for cell in marked if cell["read"]]
    assert bad and html.count('class="no-') == len([cell for cell in marked if cell["mark"] != "keep"])
    assert all(setting["what"] in html for setting in found["sheet"])
    assert client.get("/d/sandpiper/gears/table/friend").text.startswith("range,row,column")
    assert client.get("/d/sandpiper/gears/table/nobody").status_code == 404


def test_what_waits_on_the_sheet_is_a_framed_cell(site_of: Any, tmp_path: Path) -> None:
    """As on paper: a frame to write in for each setting that waits, no row of signs that stand for one."""
    client, _ = site_of("sandpiper")
    waits = sum(not each["value"] for each in client.get("/d/sandpiper/gears.json").json()["drive"]["sheet"])
    html = client.get("/d/sandpiper/gears").text
    assert waits > 0 and html.count('class="to-write"') == waits and "___" not in html


def test_units_of_the_driveline_follow_the_switch(site_of: Any, tmp_path: Path) -> None:
    """The same speeds in mph; a speed that is none is told."""
    client, _ = site_of("sandpiper")
    client.post("/settings/keep", data={"units": "us"})
    html = client.get("/d/sandpiper/gears").text
    assert " mph" in html and "Per mile" in html
    assert client.get("/d/sandpiper/gears.json?at=fast").json()["error"]["where"] == "at"
    assert client.get("/d/sandpiper/gears.json?at=4000 km/h").status_code == 422


def test_a_borrowed_table_that_is_not_there_does_not_hide_the_rest(site_of: Any, tmp_path: Path) -> None:
    """The page says which file is missing, and the verdict is not better than not shown."""
    client, _ = site_of("sandpiper")
    found = client.get("/d/sandpiper/gears.json").json()
    assert len(found["unread"]) == 1 and "sandpiper-borrowed.csv" in found["unread"][0]["what"]
    assert found["drive"]["gears"] and found["drive"]["borrowed"] == []
    assert "Safe and known" not in client.get("/d/sandpiper/gears").text


def test_blanks_are_added_once(site_of: Any, tmp_path: Path) -> None:
    """As `pinproof gears --begin`: the file stays usable, and a second time nothing is written."""
    client, site = site_of("heron")
    base = site.workspace.design("heron").hash
    first = client.post("/d/heron/gears/begin.json", json={"base": base})
    assert first.status_code == 200
    text = (tmp_path / "heron.toml").read_text(encoding="utf-8")
    assert "#[drive]" in text and text.startswith(example_path("heron").read_text(encoding="utf-8"))
    assert client.post("/d/heron/gears/begin.json", json={"base": first.json()["hash"]}).status_code == 200
    assert (tmp_path / "heron.toml").read_text(encoding="utf-8") == text
