"""Harness, start inhibit and driveline begun on their pages: asked, shown, kept while open, in use once whole."""

from __future__ import annotations

import re
import tomllib
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from pinproof.design.draft_blanks import draft_form
from tests.first_principles.test_fill_draft import answers
from tests.web_client import client_of, folder_with

PAGES = {"harness": "harness", "inhibit": "inhibit", "gears": "drive"}


def fields(html: str) -> dict[str, str]:
    """What the form would send as it stands: boxes with their text, selects with what is picked."""
    found = dict(re.findall(r'<input id="q\d+" name="([^"]+)" value="([^"]*)"', html))
    for name, inside in re.findall(r'<select id="[qb]\d+" name="([^"]+)".*?>(.*?)</select>', html, re.DOTALL):
        picked = re.search(r'<option(?: value="([^"]*)")? selected>([^<]*)', inside)
        first = re.search(r'<option(?: value="([^"]*)")?>([^<]*)', inside)
        one = picked or first
        assert one is not None
        found[name] = one[1] if one[1] is not None else one[2]
    return {name: unescape(text) for name, text in found.items()}


@pytest.mark.parametrize("page", list(PAGES))
def test_begun_kept_and_finished_by_form(tmp_path: Path, page: str) -> None:
    """Sent as a browser sends it, without any script: half today, the rest later; then the page shows its result."""
    folder_with(tmp_path, "heron")
    path = tmp_path / "heron.toml"
    client, site = client_of(tmp_path)
    before = path.read_text(encoding="utf-8")
    given = answers(draft_form(before, PAGES[page], "heron.toml"))
    html = client.get(f"/d/heron/{page}").text
    form = fields(html)
    assert {f"set:{at}" for at in given} <= set(form), "everything that is asked has a box"
    assert 'id="begin"' in html and "not known yet" in html and f"#[{PAGES[page]}]" in html
    half = list(given)[: len(given) // 2]
    sent = {**form, **{f"set:{at}": given[at] for at in half}, "base": site.workspace.design("heron").hash}
    answer = client.post(f"/d/heron/{page}/begin", data=sent)
    assert answer.status_code == 303 and answer.headers["location"] == f"/d/heron/{page}#begin"
    text = path.read_text(encoding="utf-8")
    assert tomllib.loads(text) == tomllib.loads(before) and text != before
    html = client.get(f"/d/heron/{page}").text
    form = fields(html)
    assert "Begun." in html and {at: form[f"set:{at}"] for at in half} == {at: given[at] for at in half}
    assert f"{len(given) - len(half)} of {len(given)} open" in html
    sent = {**form, **{f"set:{at}": text for at, text in given.items()}, "base": site.workspace.design("heron").hash}
    answer = client.post(f"/d/heron/{page}/begin", data=sent)
    assert answer.status_code == 303 and answer.headers["location"] == f"/d/heron/{page}"
    assert PAGES[page] in tomllib.loads(path.read_text(encoding="utf-8"))
    html = client.get(f"/d/heron/{page}").text
    assert 'id="begin"' not in html and "Change what the file says of it" in html
    assert client.get(f"/d/heron/truck?of={PAGES[page]}").status_code == 200
    site.jobs.stop_all()


@pytest.mark.parametrize("page", list(PAGES))
def test_what_is_wrong_stands_at_its_field_and_nothing_is_written(tmp_path: Path, page: str) -> None:
    """By form and for programs: the box, the sentence, the other answers as typed; the file is as it was."""
    folder_with(tmp_path, "heron")
    path = tmp_path / "heron.toml"
    client, site = client_of(tmp_path)
    base, before = site.workspace.design("heron").hash, path.read_bytes()
    given = answers(draft_form(before.decode(), PAGES[page], "heron.toml"))
    at = next(each for each in given if each.endswith((".amps", ".coil.low", ".axle.ratio")))
    other = next(each for each in given if each != at and ".mid." not in each)
    answer = client.post(
        f"/d/heron/{page}/begin", data={f"set:{at}": "5 bananas", f"set:{other}": given[other], "base": base}
    )
    assert answer.status_code == 422 and path.read_bytes() == before
    shown = fields(answer.text)
    assert shown[f"set:{at}"] == "5 bananas" and shown[f"set:{other}"] == given[other]
    number = re.search(rf'id="(q\d+)" name="set:{re.escape(at)}"[^>]*aria-invalid="true"', answer.text)
    assert number is not None and re.search(rf'id="{number[1]}-wrong">[^<]*5 bananas', answer.text)
    told = client.post(f"/d/heron/{page}/look.json", json={"answers": {at: "5 bananas", other: given[other]}}).json()
    assert list(told["wrong"]) == [at] and other not in told["open"] and told["text"] == ""
    stale = client.post(f"/d/heron/{page}/begin", data={f"set:{other}": given[other], "base": "0" * 64})
    assert stale.status_code == 409 and path.read_bytes() == before
    assert fields(stale.text)[f"set:{other}"] == given[other], "nothing that was typed is lost"
    site.jobs.stop_all()


def test_programs_may_leave_everything_open(tmp_path: Path) -> None:
    """Without answers it is the draft that the command writes; a second time there is nothing to write."""
    from pinproof.design.begin_harness import with_harness_draft

    folder_with(tmp_path, "heron")
    path = tmp_path / "heron.toml"
    client, site = client_of(tmp_path)
    wanted = with_harness_draft(path.read_text(encoding="utf-8"), "heron.toml")
    base: Any = site.workspace.design("heron").hash
    for _ in range(2):
        answer = client.post("/d/heron/harness/begin.json", json={"base": base})
        assert answer.status_code == 200 and answer.json()["counts"] is False
        base = answer.json()["hash"]
        assert path.read_text(encoding="utf-8") == wanted
    site.jobs.stop_all()


def test_each_box_says_its_unit_by_example(tmp_path: Path) -> None:
    """Beside everything that is asked and is a quantity stands how an answer looks; a US length as a tape has it."""
    folder_with(tmp_path, "heron")
    client, _ = client_of(tmp_path)
    html = client.get("/d/heron/inhibit").text
    assert "Such as 5 V and 8 V" in html and "Such as 70 ohm and 110 ohm" in html
    assert "Such as 1.8 m" in client.get("/d/heron/harness").text
    client.cookies.set("units", "us")
    assert "Such as 5 ft 11 in" in client.get("/d/heron/harness").text.replace("\u00a0", " ")
    client.post("/new/begin.json", json={"file": "plain"})
    html = client.get("/d/plain/inhibit").text
    assert "Such as 6.5 V and 11 V" in html and "500 mV" not in html
