"""Small things that cost a tired person time: no dash for an answer, no figure without sense, every entry by form."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from pinproof.cli import group
from pinproof.design import load
from pinproof.design.starter import design_text, starter_sheet
from pinproof.examples import companions, example_path
from pinproof.pack.folder import pack_files
from pinproof.proof import prove
from pinproof.web.pages.choose import LEAST_COST, _cost
from pinproof.web.pages.downloads import _told
from tests.web_client import client_of, folder_with


def test_every_file_says_what_it_is() -> None:
    """In the list of downloads stands no dash, whatever the pack holds."""
    truck = load(str(example_path("sandpiper")))
    names = list(pack_files(truck, prove(truck), paper="a4", made_on=date(2026, 1, 2)))
    assert len(names) > 10
    assert [name for name in names if not _told(name)] == []


@pytest.mark.parametrize(
    ("cost", "told"),
    [(0.0, "nothing"), (-0.01, "nothing"), (7.2e-7, "less than 0.1 %"), (LEAST_COST, "0.1 %"), (0.0312, "3.1 %")],
)
def test_what_another_choice_costs(cost: float, told: str) -> None:
    """Of the smallest margin; nothing finer than a resistor is, and never less than it is."""
    assert _cost(cost) == told


def test_the_driveline_is_changed_by_form(tmp_path: Path) -> None:
    """Entry by entry on a page of its own, and back there with what was saved; a fault is told at its field."""
    folder_with(tmp_path, "sandpiper")
    for each in companions("sandpiper"):
        (tmp_path / each.name).write_bytes(each.read_bytes())
    client, site = client_of(tmp_path)
    html = client.get("/d/sandpiper/truck?of=drive").text
    box = re.search(r'name="(set:drive\.engine\.most[^"]*)"', html)
    assert box is not None and 'name="set:drive.tyre.growth' in html
    assert 'name="set:supply.run' not in html and "What the file says of the driveline" in html
    action = re.search(r'<form method="post" action="([^"]+)" class="beside alone"', html)
    assert action is not None
    base = site.workspace.design("sandpiper").hash
    wrong = client.post(action[1], data={"base": base, box[1]: "fast"})
    assert wrong.status_code == 422 and 'value="fast"' in wrong.text and "What the file says of the drive" in wrong.text
    saved = client.post(action[1], data={"base": base, box[1]: "6100 rpm"})
    assert saved.status_code == 303 and saved.headers["location"].endswith("/truck?saved=1&of=drive")
    assert '"6100 rpm"' in (tmp_path / "sandpiper.toml").read_text(encoding="utf-8")
    assert "/truck?of=drive" in client.get("/d/sandpiper/gears").text


@pytest.mark.parametrize("of", ["harness", "inhibit"])
def test_a_whole_truck_is_changed_by_form(tmp_path: Path, of: str) -> None:
    """What harness and start are made from has a box each; what a truck lacks is begun elsewhere, not offered here."""
    folder_with(tmp_path, "dunlin", "heron")
    client, _ = client_of(tmp_path)
    html = client.get(f"/d/dunlin/truck?of={of}").text
    wanted = {"harness": r"set:run\.\w+\.length", "inhibit": r"set:relay\.\w+\.pull_in\.low"}[of]
    assert re.search(wanted, html) and html.count("<fieldset") > 5
    assert f'name="set:{of}.' not in client.get(f"/d/heron/truck?of={of}").text
    assert f"/truck?of={of}" in client.get(f"/d/dunlin/{of}").text


def test_each_box_is_called_once(tmp_path: Path) -> None:
    """Two boxes of one entry are called value and tolerance, not twice by the entry's own name."""
    (tmp_path / "bare.toml").write_text(design_text(starter_sheet("pull-up", "pp-bare")), encoding="utf-8")
    client, _ = client_of(tmp_path)
    html = client.get("/d/bare/truck").text
    box = re.search(r'<label for="f-input-tap_pin-pull_up-pull_up">(.*?)</label>', html)
    assert box is not None and box[1].startswith("value<span")


def test_one_fault_does(tmp_path: Path) -> None:
    """Grammar holds for one, too."""
    (tmp_path / "a.toml").write_bytes(example_path("wagtail").read_bytes())
    client, _ = client_of(tmp_path)
    told = re.findall(r"(\d+) (do|does) neither", client.get("/d/a/faults").text)
    assert told and all((word == "does") == (count == "1") for count, word in told)


def test_lost_commands_stand_in_the_same_groups_on_the_page_and_on_the_terminal(tmp_path: Path) -> None:
    """What nothing pressed reads after the fault tells the groups apart: one sentence for both faces."""
    (tmp_path / "a.toml").write_bytes(example_path("sandpiper").read_bytes())
    client, _ = client_of(tmp_path)
    page = client.get("/d/a/faults").text
    shown = CliRunner().invoke(group, ["faults", str(tmp_path / "a.toml")]).output
    heads = re.findall(r"COMMAND LOST([^\n]*) \(\d+\)", shown)
    assert heads
    for head in heads:
        assert f"Command lost{head}" in page
