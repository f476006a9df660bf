"""What a page answers first, and where it sends on: the reason beside the verdict, one count for one thing."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

from pinproof.design.edit_rows import without_rows
from pinproof.examples import example_path
from tests.web_client import client_of, folder_with


def plain(html: str) -> str:
    """The words of a page."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", html)).replace("\u200b", "").split())


def answer(html: str) -> str:
    """The box that answers the page's question."""
    found = re.search(r'<section class="answer[^"]*">(.*?)</section>', html, re.DOTALL)
    assert found is not None
    return found[1]


def test_the_chain_says_why_and_where_it_breaks(tmp_path: Path) -> None:
    """Beside "does not hold" the reading's own sentence, and a way to each link that fails; nothing where it holds."""
    client, _ = client_of(folder_with(tmp_path, "heron", "sandpiper"))
    links = client.get("/d/heron/chain.json").json()["chain"]["links"]
    box = answer(client.get("/d/heron/chain").text)
    reading = next(each["text"] for each in links if each["name"] == "reading")
    assert plain(reading)[:60] in plain(box)
    failing = [each["name"] for each in links if each["verdict"] == "fail"]
    assert failing and re.findall(r'href="#link-(\w+)"', box) == failing
    assert "Broken at" not in answer(client.get("/d/sandpiper/chain").text)


def test_one_count_of_situations_on_chain_and_form(tmp_path: Path) -> None:
    """Five sets of contacts in three key states are five situations on both pages, not fifteen on one."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    counted = re.search(r"(\d+) situations", plain(answer(client.get("/d/heron/chain").text)))
    html = client.get("/d/heron/truck").text
    summary = re.search(r"data-summary>(\d+) of (\d+) situations hold", html)
    assert counted is not None and summary is not None and summary[2] == counted[1]
    assert f"{summary[1]} of {summary[2]} situations hold." in plain(html)
    proof = client.get("/d/heron/proof.json").json()["proof"]["situations"]
    bad = {tuple(each["operated"]) for each in proof if each["verdict"] in ("fail", "not shown")}
    assert int(summary[1]) == len({tuple(each["operated"]) for each in proof} - bad)


def test_what_a_shift_line_cures_leads_to_the_form(tmp_path: Path) -> None:
    """No line written, or one that is unsafe: the way is the form, not the text of the file."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    (tmp_path / "none.toml").write_text(without_rows(text, "drive.shift", range(5)), encoding="utf-8")
    (tmp_path / "high.toml").write_text(text.replace("2050 rpm", "4050 rpm"), encoding="utf-8")
    client, _ = client_of(tmp_path)
    for name, check in (("none", "up line"), ("high", "down line")):
        html = client.get(f"/d/{name}/gears").text
        rows = [each for each in re.findall(r"<li class=\"v-.*?</li>", html, re.DOTALL) if f"{check}, " in plain(each)]
        assert rows and all(f'href="/d/{name}/gears/lines"' in each for each in rows if "Cure:" in each)


def test_us_units_beside_an_entry_only_where_they_say_something_else(tmp_path: Path) -> None:
    """An entry in °F is not told a second time; one in °C is."""
    text = example_path("heron").read_text(encoding="utf-8")
    (tmp_path / "c.toml").write_text(text, encoding="utf-8")
    cut = re.search(r'(?m)^\[temperature\]\nlow = "[^"]*"\nhigh = "[^"]*"', text)
    assert cut is not None
    us = text.replace(cut[0], '[temperature]\nlow = "14 °F"\nhigh = "140 °F"')
    (tmp_path / "f.toml").write_text(us, encoding="utf-8")
    client, _ = client_of(tmp_path)
    client.cookies.set("units", "us")
    told = {name: re.findall(r'class="soft as-typed">([^<]*°F)<', client.get(f"/d/{name}/truck").text) for name in "cf"}
    assert len(told["c"]) == len(told["f"]) + 2


def test_a_time_without_unit_is_decided_by_a_link_and_a_small_log_has_a_size(tmp_path: Path) -> None:
    """The question of the time column leads to its unit as those of the others do."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    (tmp_path / "day.csv").write_text("Time,RPM,Speed\n0.00,900,0\n0.01,905,0\n0.02,910,0\n", encoding="utf-8")
    html = client.get("/d/heron/log/map?log=day.csv").text
    asked = [each for each in re.findall(r'<li class="v-open">.*?</li>', html) if '"Time"' in unescape(each)]
    assert len(asked) == 1 and 'href="#time-unit"' in asked[0] and 'id="time-unit"' in html
    assert "0.1 kB" in client.get("/d/heron/log").text
