"""The search for a fault in the pages: the address holds it all, the engine's own answers, undo, the odd answer."""

from __future__ import annotations

import json
import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from pinproof.cli import group
from pinproof.find.weights import SYMPTOMS
from pinproof.find.words import SYMPTOM_WORDS
from tests.web_client import client_of, folder_with

FIND = "/d/heron/find"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One folder for all: nothing here writes into it."""
    return folder_with(tmp_path_factory.mktemp("find"), "heron", "wagtail")


@pytest.fixture(scope="module")
def client(folder: Path) -> TestClient:
    """One client, so that what was worked out is kept."""
    return client_of(folder)[0]


def state_of(address: str) -> dict[str, str]:
    """The search that an address holds."""
    return {name: values[-1] for name, values in parse_qs(urlsplit(address).query).items()}


def test_every_symptom_has_words() -> None:
    """A toggle for each that the engine knows, but places, which are toggles of their own."""
    assert set(SYMPTOM_WORDS) == set(SYMPTOMS) - {"worked-on"}


def test_it_begins_with_cautions_and_large_toggles(client: TestClient) -> None:
    """No question before anything was told, and the cautions first."""
    html = client.get(FIND).text
    assert html.index("Careful.") < html.index("What was noticed?")
    for key in SYMPTOM_WORDS:
        assert f'name="{key}"' in html
    assert client.get(f"{FIND}.json").json()["search"] is None


def test_answers_are_the_commands_answers_and_stand_in_the_address(client: TestClient, folder: Path) -> None:
    """Two answers by the forms give the same result as the command with the same readings."""
    begun = client.post(f"{FIND}/begin", data={"line": "shift", "water": "1"})
    assert begun.status_code == 303
    state = state_of(begun.headers["location"])
    asked = client.get(f"{FIND}.json", params=state).json()["search"]["next"]
    assert asked["minutes"] > 0.0
    first = client.post(f"{FIND}/answer", data={**state, "at": "ohms idle", "press": "OL"})
    state = state_of(first.headers["location"])
    second = client.post(f"{FIND}/answer", data={**state, "at": "ohms manual", "typed": "1.500", "unit": "k"})
    address = second.headers["location"]
    there = client.get(f"{FIND}.json", params=state_of(address)).json()["search"]
    file = str(folder / "heron.toml")
    command = ["find", file, "--symptom", "water", "--read", "ohms idle=OL", "--read", "ohms manual=1.500k", "--json"]
    told = json.loads(CliRunner().invoke(group, command).stdout)
    assert there == told
    again = client_of(folder)[0].get(f"{FIND}.json", params=state_of(address)).json()["search"]
    assert again == told, "another server, or this one after a restart, shows the same search"


def test_undo_takes_back_the_last_answer_and_then_the_beginning(client: TestClient) -> None:
    """Each page links to the search before its last answer."""
    state = {"line": "shift", "go": "1", "did": "read:ohms idle=OL;read:ohms manual=1.500k"}
    html = client.get(FIND, params=state).text
    back = re.search(r'href="([^"]+)">Undo', html)
    assert back is not None
    before = state_of(back[1].replace("&amp;", "&"))
    assert before["did"] == "read:ohms idle=OL"
    html = client.get(FIND, params={"line": "shift", "go": "1"}).text
    back = re.search(r'href="([^"]+)">Undo', html)
    assert back is not None and "go=" not in back[1]


def test_classes_are_ranked_with_words_and_what_each_would_show(client: TestClient) -> None:
    """Percent, a word, a bar as wide as the percent, what it would show at this very question, and why."""
    state = {"line": "shift", "go": "1", "did": "read:ohms idle=OL"}
    found = client.get(f"{FIND}.json", params=state).json()["search"]
    html = client.get(FIND, params=state).text
    widths = [float(each) for each in re.findall(r'class="bar-is" width="([0-9.]+)"', html)]
    listed = [each["probability"] * 100.0 for each in found["classes"] if each["probability"] >= 0.05]
    assert widths[: len(listed)] == pytest.approx(listed, abs=0.005)
    assert sum(widths) == pytest.approx(100.0, abs=1.0)
    for each in found["next"]["would_show"][: len(listed)]:
        assert "Would show here:" in html and re.sub(r"\s", " ", each["shows"].split(" to ")[0]) in re.sub(
            r"[\s\u00a0\u2060]", " ", html
        )
    name = found["classes"][0]["class"]
    why = client.get(FIND, params={**state, "why": name}).text
    assert "Each reading taken away in turn" in why and "ohms idle" in why
    assert client.get(FIND, params={**state, "why": "gremlins"}).status_code == 404


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"at": "ohms idle", "typed": "8.2"}, "unit is missing"),
        ({"at": "ohms idle", "typed": "-3", "unit": "k"}, "no resistance is negative"),
        ({"at": "volts idle", "typed": "4.1"}, "battery"),
        ({"at": "meaning idle", "press": "banana"}, "not something line"),
        ({"at": "ohms idle", "typed": ""}, "nothing was typed"),
    ],
)
def test_what_cannot_be_read_is_asked_again_with_what_was_typed(
    client: TestClient, fields: dict[str, str], told: str
) -> None:
    """The question stays, the reason stands there, the address before is not lost."""
    answer = client.post(f"{FIND}/answer", data={"line": "shift", "go": "1", **fields})
    assert answer.status_code == 422 and told in answer.text
    if fields.get("typed"):
        assert f'value="{fields["typed"]}"' in answer.text


def test_leaving_out_wiggling_and_choosing_another_look(client: TestClient) -> None:
    """What cannot be looked at is not asked again; another look can be chosen."""
    state = {"line": "shift", "go": "1"}
    asked = client.get(f"{FIND}.json", params=state).json()["search"]["next"]["look"]
    left = client.post(f"{FIND}/answer", data={**state, "at": asked, "leave": "1"})
    after = client.get(f"{FIND}.json", params=state_of(left.headers["location"])).json()["search"]["next"]["look"]
    assert after != asked
    wiggled = client.post(f"{FIND}/answer", data={**state, "at": "ohms idle", "press": "OL", "wiggled": "1"})
    assert state_of(wiggled.headers["location"])["did"].startswith("wiggled:")
    chosen = client.get(FIND, params={**state, "look": "ohms idle"}).text
    assert "You chose it yourself" in chosen and 'value="OL"' in chosen
    bare = client.get(f"{FIND}.json", params={**state, "no": "meter"}).json()["search"]["next"]
    assert bare is None or bare["look"].startswith("meaning")


def test_readings_on_record_are_taken(tmp_path: Path) -> None:
    """What the bench sheet kept in the last hours is an answer."""
    folder = folder_with(tmp_path, "heron")
    client, _ = client_of(folder)
    base = client.get("/d/heron/meter.json").json()["hash"]
    kept = client.post(
        "/d/heron/meter/keep", data={"base": base, "station": "shift/ohms/idle", "press": "OL", "sure": "yes"}
    )
    assert kept.status_code == 303
    begun = client.post(f"{FIND}/begin.json", json={"line": "shift", "recorded": "12"}).json()
    assert begun["readings"] == [{"look": "ohms idle", "reading": "OL"}]


@pytest.mark.parametrize(
    "query", ["line=none&go=1", "told=ghosts&line=shift&go=1", "line=shift&go=1&did=sang:a%20song", "worked=moon"]
)
def test_an_address_that_says_nonsense_is_told(client: TestClient, query: str) -> None:
    """A finding, never a mistake of the program."""
    assert client.get(f"{FIND}.json?{query}").status_code in (404, 422)


def test_a_line_with_open_values_says_what_first(tmp_path: Path) -> None:
    """While a resistor is to be chosen there is nothing to weigh: the page says so, and where to go."""
    folder = folder_with(tmp_path, "wagtail")
    path = folder / "wagtail.toml"
    text = path.read_text(encoding="utf-8")
    assert text.count('resistor = "620 ohm"') == 1
    path.write_text(text.replace('resistor = "620 ohm"', 'resistor = "to choose"'), encoding="utf-8")
    client, _ = client_of(folder)
    page = client.get("/d/wagtail/find")
    assert page.status_code == 200, page.text
    assert "still to be chosen" in page.text and "What to do first" in page.text
    assert client.get("/d/wagtail/find.json", params={"line": "buttons", "go": "1"}).status_code == 422


def test_why_it_asks_stands_under_the_question(tmp_path: Path) -> None:
    """Where a look does not part the likely causes the page says why it asks, in the words of the command; else not."""
    (tmp_path / "saltlark.toml").write_bytes(Path("tests/data/saltlark.toml").read_bytes())
    client, _ = client_of(tmp_path)
    seen = "ohms paddle_up+lever_manual = OL"
    address = "/d/saltlark/find"
    told = {"line": "taps", "go": "1", "did": f"read:{seen}"}
    why = client.get(f"{address}.json", params=told).json()["search"]["next"]["why"]
    assert why.startswith("Why this: ")
    html = client.get(address, params=told).text
    asked = re.search(r'<p class="hint" id="why-this">(.*?)</p>', html, re.DOTALL)
    assert asked is not None and " ".join(re.sub("<.*?>", "", asked[1]).split()) == why
    done = CliRunner().invoke(group, ["find", str(tmp_path / "saltlark.toml"), "--line", "taps", "--read", seen])
    assert why in " ".join(done.output.split())
    other = client.get(address, params={**told, "did": "read:meaning paddle_up+lever_manual = manual"}).text
    assert "why-this" not in other and "Why this question?" in other
