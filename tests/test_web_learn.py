"""Learning a pin in the pages: cautions first, one load at a time, written as measured on a second word."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from pinproof.cli import group
from pinproof.design import loads
from pinproof.learn import load_session
from pinproof.learn.words import CAUTIONS
from tests.web_client import client_of, folder_with

LEARN = "/d/wagtail/learn"
# The invented pin: a pull-up of 1066 Ω to 4.98 V, and edges as shares of full scale.
PULL_OHM, OPEN_V = 1066.0, 4.98
EDGES = (0.12, 0.28, 0.45, 0.62)
MEANINGS = ("up", "invalid", "down", "invalid", "automatic")


@pytest.fixture
def client(tmp_path: Path) -> TestClient:
    """A client over one example whose edges nobody measured."""
    return client_of(folder_with(tmp_path, "wagtail"))[0]


def post(client: TestClient, action: str, **fields: str) -> dict[str, object]:
    """One action on the newest session; its data."""
    session = client.get(f"{LEARN}.json").json()["session"]
    answer = client.post(f"{LEARN}/{action}.json", json={"session": session, **fields})
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def shown(ohm: float | str) -> str:
    """What the pin shows with a load: the divider, and where its reading lies among the edges."""
    reading = 0.996 if ohm == "inf" else 0.996 * float(ohm) / (float(ohm) + PULL_OHM)
    return MEANINGS[sum(reading > each for each in EDGES)]


def volts(client: TestClient) -> None:
    """Answer every question for volts as the divider would show it."""
    for _ in range(6):
        page = client.get(LEARN).text
        if "Volts at the pin" not in page:
            return
        put = re.search(r"Put ([0-9.]+) (k?)Ω", page.replace("\u00a0", " ").replace("\u2060", ""))
        ohm = float(put[1]) * (1e3 if put[2] else 1.0) if put else None
        volt = OPEN_V if ohm is None else OPEN_V * ohm / (ohm + PULL_OHM)
        post(client, "answer", typed=f"{volt:.3f}", supply="12.6")
    raise AssertionError("volts without end")


def play(client: TestClient, most: int = 80) -> dict[str, object]:
    """A whole session by the page's own actions."""
    post(client, "begin")
    volts(client)
    post(client, "answer", ac="0.01")
    data = client.get(f"{LEARN}.json").json()
    for _ in range(most):
        step = data["next"]
        if step is None or step["optional"]:
            return dict(data)
        data = post(client, "answer", press=shown(step["ohm"]))
    raise AssertionError("no end")


def test_cautions_stand_before_everything(client: TestClient, tmp_path: Path) -> None:
    """No instruction and no field until they were read; looking writes nothing."""
    html = client.get(LEARN).text
    text = re.sub(r"[\s\u00a0\u2060]+", " ", re.sub(r"<[^>]+>", "", html)).replace("&#39;", "'")
    for each in CAUTIONS:
        assert each in text
    assert 'name="typed"' not in html and "Key on" not in text
    assert [each.name for each in tmp_path.iterdir() if each.suffix == ".json"] == []
    post(client, "begin")
    after = client.get(LEARN).text
    assert 'name="typed"' in after and 'value=""' in after


def test_a_whole_pin_is_learned_and_written_as_measured(client: TestClient, tmp_path: Path) -> None:
    """Edges lie where the simulated pin has them; comments of the file stay; what was not visited stays unknown."""
    data = play(client)
    for edge, at in zip(data["edges"], EDGES, strict=True):  # type: ignore[call-overload,arg-type]
        true_ohm = PULL_OHM * at / 0.996 / (1.0 - at / 0.996)
        assert edge["falling"]["low_ohm"] <= true_ohm <= edge["falling"]["high_ohm"]
    path = tmp_path / "wagtail.toml"
    before = path.read_text(encoding="utf-8")
    shown_page = client.get(LEARN, params={"write": "1"}).text
    assert "+pull_up" in shown_page and path.read_text(encoding="utf-8") == before
    told = client.get(f"{LEARN}.json").json()
    refused = client.post(f"{LEARN}/write.json", json={"session": told["session"], "base": "0" * 64})
    assert refused.status_code == 409 and path.read_text(encoding="utf-8") == before
    done = client.post(f"{LEARN}/write", data={"session": told["session"], "base": told["hash"]})
    assert done.status_code == 303
    truck = loads(path.read_text(encoding="utf-8"))
    assert truck.inputs[0].pull_up.basis == "measured"  # type: ignore[union-attr]
    assert truck.inputs[0].pull_up.ohm == pytest.approx(PULL_OHM, rel=0.02)  # type: ignore[union-attr]
    comments = [line.strip() for line in before.splitlines() if line.strip().startswith("#")]
    after = path.read_text(encoding="utf-8")
    assert comments and all(each in after for each in comments)
    gaps = client.get(f"{LEARN}.json").json()["progress"]["unseen"]
    assert gaps > 0.0 and "Not looked at" in client.get(LEARN).text
    base = client.get("/d/wagtail/history.json").json()["hash"]
    assert client.post("/d/wagtail/history/undo", data={"base": base}).status_code == 303
    assert path.read_text(encoding="utf-8") == before


def test_the_command_goes_on_with_the_same_session(client: TestClient, tmp_path: Path) -> None:
    """One session file for both faces, and one result."""
    post(client, "begin")
    volts(client)
    told = CliRunner().invoke(group, ["learn", str(tmp_path / "wagtail.toml"), "--json"])
    plain = json.loads(told.stdout)
    data = client.get(f"{LEARN}.json").json()
    assert {key: data[key] for key in plain if key != "file"} == {k: v for k, v in plain.items() if k != "file"}


def test_back_takes_the_last_answer_away_and_is_kept_over_a_restart(client: TestClient, tmp_path: Path) -> None:
    """The question before is asked again."""
    post(client, "begin")
    post(client, "answer", typed="4.98")
    path = tmp_path / "wagtail.learn.button_pin.json"
    assert len(load_session(path)[0].readings) == 1
    client = client_of(tmp_path)[0]
    assert client.post(f"{LEARN}/back", data={}).status_code == 303
    assert load_session(path)[0].readings == ()
    assert client.post(f"{LEARN}/back", data={}).status_code == 303
    assert client.post(f"{LEARN}/back", data={}).status_code == 422
    assert "Careful. Before anything touches the pin" in client.get(LEARN).text


def test_a_reading_that_cannot_be_is_asked_back(client: TestClient, tmp_path: Path) -> None:
    """More volts with a load than without: kept only if somebody insists."""
    post(client, "begin")
    post(client, "answer", typed="4.98")
    session = client.get(f"{LEARN}.json").json()["session"]
    odd = client.post(f"{LEARN}/answer", data={"session": session, "typed": "24.1"})
    assert odd.status_code == 422 and "above the 4.98 V" in odd.text.replace("\u00a0", " ").replace("\u2060", "")
    assert 'name="sure"' in odd.text and 'value="24.1"' in odd.text
    path = tmp_path / "wagtail.learn.button_pin.json"
    assert len(load_session(path)[0].readings) == 1
    post(client, "answer", typed="24.1", sure="yes")
    assert len(load_session(path)[0].readings) == 2


def test_two_tabs_do_not_mix(client: TestClient, tmp_path: Path) -> None:
    """An answer to a question that is no longer asked is not taken."""
    post(client, "begin")
    old = client.get(f"{LEARN}.json").json()["session"]
    post(client, "answer", typed="4.98")
    late = client.post(f"{LEARN}/answer", data={"session": old, "typed": "2.41"})
    assert late.status_code == 409 and "another tab" in late.text
    assert len(load_session(tmp_path / "wagtail.learn.button_pin.json")[0].readings) == 1


@pytest.mark.parametrize(("typed", "told"), [("", "Nothing was typed"), ("two", "two"), ("2.4 kg", "2.4")])
def test_what_is_no_answer_is_told(client: TestClient, typed: str, told: str) -> None:
    """The question stays."""
    post(client, "begin")
    session = client.get(f"{LEARN}.json").json()["session"]
    answer = client.post(f"{LEARN}/answer", data={"session": session, "typed": typed})
    assert answer.status_code == 422 and told in answer.text and "Volts at the pin" in answer.text


def test_settings_and_a_new_beginning(client: TestClient) -> None:
    """What is told is kept; a new beginning forgets it."""
    post(client, "begin")
    data = post(client, "settings", reference_v="4.98", compares="reference", accuracy="0.3 % + 1")
    assert data["told"]["reference_v"] == "4.98" and data["told"]["accuracy"] == "0.3 % + 1"  # type: ignore[index]
    session = client.get(f"{LEARN}.json").json()["session"]
    wrong = client.post(f"{LEARN}/settings.json", json={"session": session, "accepted": "200 %"})
    assert wrong.status_code == 422
    fresh = post(client, "anew")
    assert "reference_v" not in fresh["told"]  # type: ignore[operator]


def test_a_session_of_another_design_is_refused(client: TestClient, tmp_path: Path) -> None:
    """The page says whose it is."""
    post(client, "begin")
    path = tmp_path / "wagtail.learn.button_pin.json"
    path.write_text(path.read_text(encoding="utf-8").replace("pp-wagtail", "pp-other"), encoding="utf-8")
    answer = client.get(f"{LEARN}.json")
    assert answer.status_code == 422 and "another design" in answer.json()["error"]["what"]
