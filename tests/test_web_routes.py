"""Every address answers, as a page and as data; list, description and documentation say the same."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from pinproof.design import loads
from pinproof.proof import as_json, prove
from pinproof.web.app import all_addresses
from pinproof.web.page import Page
from pinproof.web.render import static_files
from pinproof.web.routes import PAGES
from tests.web_client import client_of, folder_with
from tools.web_addresses import with_table

QUERIES = {"limits": "?line=shift&knob=wear", "log-stretch": "?log=none.csv&from=0&to=1"}
VALUES = {"design": "heron", "job": "none", "name": "book.pdf", "table": "friend"}
# what they show is not there before somebody made it
MAY_BE_MISSING = {"job", "file", "harness-file", "gears-table", "log-stretch", "log-file"}


def filled(page: Page, ending: str = "") -> str:
    """The address of a page with values put in."""
    path = page.path
    for name, value in VALUES.items():
        path = path.replace(f"{{{name}}}", value)
    path = "/index.json" if path == "/" and ending else path + ending
    return path + QUERIES.get(page.name, "")


@pytest.mark.parametrize("page", PAGES, ids=[page.name for page in PAGES])
def test_every_page_and_its_data(page: Page, tmp_path: Path) -> None:
    """A page is whole HTML without anything inline; its data are JSON; both carry the strict policy."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    for ending in ("", ".json"):
        answer = client.get(filled(page, ending))
        assert answer.status_code == 200 or (page.name in MAY_BE_MISSING and answer.status_code == 404), answer.text
        assert answer.headers["x-content-type-options"] == "nosniff"
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe-inline" not in policy and "http" not in policy
        assert answer.headers["cache-control"] == "no-store"
        if ending:
            assert isinstance(answer.json(), dict)
            continue
        if answer.headers.get("content-disposition", "").startswith("attachment"):
            continue  # a file to be saved
        html = answer.text
        assert html.startswith("<!doctype html>") and '<html lang="en"' in html and "<h1>" in html
        assert not re.search(r"\sstyle=|\son[a-z]+=|javascript:|<script(?![^>]*\ssrc=)|<style", html), page.name
        assert not re.search(r'(?:src|href|action)="(?:https?:)?//', html), page.name


def test_the_description_lists_every_data_address(tmp_path: Path) -> None:
    """/api.json is OpenAPI 3.1 and has what the route list has, no more and no less."""
    client, _ = client_of(tmp_path)
    told = client.get("/api.json").json()
    assert told["openapi"] == "3.1.0"
    listed = {(method.upper(), path) for path, methods in told["paths"].items() for method in methods}
    assert listed == {(method, path) for method, path in all_addresses(PAGES) if path.endswith(".json")}
    names = [one["operationId"] for methods in told["paths"].values() for one in methods.values()]
    assert len(names) == len(set(names))
    for path, methods in told["paths"].items():
        for one in methods.values():
            in_path = {each["name"] for each in one["parameters"] if each["in"] == "path"}
            assert in_path == set(re.findall(r"{(\w+)}", path))


def test_the_documentation_lists_every_address(project_root: Path) -> None:
    """docs/web.md has one row for each page of the list."""
    text = (project_root / "docs" / "web.md").read_text(encoding="utf-8")
    assert with_table(text) == text, "python tools/web_addresses.py writes the table anew"


@pytest.mark.parametrize("name", ["sandpiper", "heron", "wagtail"])
def test_the_data_are_what_the_command_prints(name: str, tmp_path: Path) -> None:
    """The page proves with the same call as `pinproof prove --json`."""
    folder = folder_with(tmp_path, name)
    client, _ = client_of(folder)
    data = client.get(f"/d/{name}/proof.json").json()
    truck = loads((folder / f"{name}.toml").read_text(encoding="utf-8"))
    assert data["proof"] == json.loads(json.dumps(as_json(prove(truck, samples=0))))
    assert client.get(f"/d/{name}/verdict.json").json()["verdict"] == data["proof"]["verdict"]


def test_a_bad_file_is_told_with_lines(tmp_path: Path) -> None:
    """Every page of a design with faults tells all of them; the first page and the form still open."""
    text = (folder_with(tmp_path, "heron") / "heron.toml").read_text(encoding="utf-8")
    (tmp_path / "heron.toml").write_text(
        text.replace('"1.5k"', '"1k5O"').replace("filter =", "filtr ="), encoding="utf-8"
    )
    client, _ = client_of(tmp_path)
    answer = client.get("/d/heron/proof.json")
    assert answer.status_code == 422
    faults = answer.json()["error"]["faults"]
    assert [each["path"] for each in faults] == ["input.shift_pin.filtr", "contact.manual.resistor"]
    assert all(each["line"] > 0 and each["message"] for each in faults)
    page = client.get("/d/heron/proof")
    assert page.status_code == 422 and "1k5O" in page.text and "line " in page.text
    assert "cannot be used" in client.get("/").text
    assert client.get("/d/heron/truck").status_code == 200


def test_broken_files_never_break_a_page(tmp_path: Path) -> None:
    """Not TOML, not text, empty, too large: a finding, never a mistake of the program."""
    head = b"format = 1\n[supply]\n"
    for name, data in {
        "cut": head + b'run = "', "latin": head + b'note = "\xb0C"\n', "zero": head + b"\x00\x01",
        "wide": head + b"a = 1\n" * 400_000,
        "deep": head + b"a = " + b"[" * 5000, "twice": head + head,
    }.items():  # fmt: skip
        (tmp_path / f"{name}.toml").write_bytes(data)
    (tmp_path / "empty.toml").write_bytes(b"")
    client, _ = client_of(tmp_path)
    assert client.get("/").status_code == 200
    for name in ("cut", "latin", "zero", "wide", "deep", "twice", "empty"):
        for page in ("chain", "truck", "proof", "faults", "downloads", "history", "verdict", "choose", "gears", "log"):
            for ending in ("", ".json"):
                answer = client.get(f"/d/{name}/{page}{ending}")
                assert answer.status_code in (200, 404, 422), (name, page, answer.status_code)


def test_an_empty_folder_teaches(tmp_path: Path) -> None:
    """Without a design the first page says what one is, and an example can be copied, twice under two names."""
    client, _ = client_of(tmp_path)
    assert "Nothing here yet" in client.get("/").text
    assert client.post("/example", data={"name": "heron"}).headers["location"] == "/d/heron/chain"
    assert client.post("/example.json", data={"name": "heron"}).json()["design"] == "heron-2"
    assert sorted(each.name for each in tmp_path.glob("*.toml")) == ["heron-2.toml", "heron.toml"]


def test_units_and_theme_are_kept(tmp_path: Path) -> None:
    """Two cookies, and back to the page; an address of another place is not gone to."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    answer = client.post("/settings/keep", data={"theme": "dark", "back": "/d/heron/proof"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/d/heron/proof")
    assert 'data-theme="dark"' in client.get("/").text
    for bad in ("//evil.example/", "https://evil.example/", "/\\evil.example"):
        assert client.post("/settings/keep", data={"units": "us", "back": bad}).headers["location"] == "/"
    assert client.get("/settings.json").json()["units"] == "us"


def test_the_first_page_is_small(tmp_path: Path) -> None:
    """Page, style, scripts and typefaces together stay under 60 kB on the wire."""
    client, _ = client_of(folder_with(tmp_path, "heron", "sandpiper", "wagtail", "dunlin"))
    first = client.get("/", headers={"accept-encoding": "gzip"})
    wire = int(first.headers["content-length"]) + sum(len(one.packed) for one in static_files().values())
    assert wire < 60_000


def test_static_files_are_kept_and_nothing_else_is_there(tmp_path: Path) -> None:
    """A versioned address may be kept for ever; other names and other ways to a file are not answered."""
    client, _ = client_of(tmp_path)
    address = re.search(r'href="(/static/[0-9a-f]+/pinproof.css)"', client.get("/").text)
    assert address is not None
    assert "immutable" in client.get(address[1]).headers["cache-control"]
    folder = address[1].rpartition("/")[0]
    for bad in ("../app.py", "%2e%2e/app.py", "..%2fapp.py", "nothing.js", "base.html"):
        assert client.get(f"{folder}/{bad}").status_code == 404
