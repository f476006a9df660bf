"""The interview as a page: what is left open counts as "don't know"; page and command write the same file."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from pinproof.chain.interview import QUESTIONS
from pinproof.cli import group
from tests.web_client import client_of, folder_with

LISTED = {"name": "Dune truck", "switched": "fuse", "list": "up 2.88k, down 1.27k, manual 8.25k", "whose": "borrowed"}


def without_id(text: str) -> str:
    """A design file without its permanent name, which is drawn by lot."""
    return re.sub(r'^id = "pp-[0-9a-f]{6}"', 'id = ""', text, count=1, flags=re.MULTILINE)


@pytest.mark.parametrize(
    "answers",
    [
        {}, LISTED,
        {"name": "Rock", "switched": "chassis", "controls": "slot, wheel", "list": "up 13 to 23 %, down 31 to 40 %, "
         "manual 48 to 58 %", "whose": "measured", "pull": "1 kohm 5 % measured", "supply": "10 to 15 V",
         "temperature": "14 to 140 °F", "parts": "have E24 1 %"},
    ],
)  # fmt: skip
def test_page_and_command_write_the_same(answers: dict[str, str], tmp_path: Path) -> None:
    """One interview, two faces."""
    by_page, by_command = tmp_path / "page", tmp_path / "command"
    by_page.mkdir()
    by_command.mkdir()
    client, _ = client_of(by_page)
    form = {key: text.split(", ") if key == "controls" else text for key, text in answers.items()}
    answer = client.post("/new/begin", data={**form, "file": "truck"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/d/truck/chain"), answer.text
    options = [word for key, text in answers.items() for word in (f"--{key}", text)]
    done = CliRunner().invoke(group, ["new", str(by_command / "truck.toml"), "--no-questions", *options])
    assert done.exit_code == 0, done.output
    texts = [without_id((folder / "truck.toml").read_text(encoding="utf-8")) for folder in (by_page, by_command)]
    assert texts[0] == texts[1]
    assert client.get("/d/truck/chain").status_code == 200


def test_every_question_is_on_the_page(tmp_path: Path) -> None:
    """In the words of the interview, with every option."""
    client, _ = client_of(tmp_path)
    html = client.get("/new").text
    for each in QUESTIONS:
        assert each.ask in html and f'name="{each.key}"' in html
        for value, _ in each.options:
            assert f'value="{value}"' in html
    assert [each["key"] for each in client.get("/new.json").json()["questions"]] == [each.key for each in QUESTIONS]
    assert 'href="/new"' in client.get("/").text


def test_what_cannot_be_used_is_told_at_its_question(tmp_path: Path) -> None:
    """All of it at once, nothing is written, what was typed stays."""
    client, _ = client_of(tmp_path)
    wrong = {**LISTED, "list": "up 2.88", "supply": "much", "parts": "E24 1 %"}
    page = client.post("/new/begin", data=wrong)
    assert page.status_code == 422 and list(tmp_path.iterdir()) == []
    assert "2.88 of what?" in page.text and ">up 2.88</textarea>" in page.text and 'value="much"' in page.text
    assert 'value="fuse" checked' in page.text and "2 answers cannot be used" in page.text
    faults = client.post("/new/begin.json", json=wrong).json()["error"]["faults"]
    assert [each["path"] for each in faults] == ["list", "supply"]


def test_questions_follow_from_answers(tmp_path: Path) -> None:
    """What is idle is not asked; answered all the same it is told, not swallowed."""
    client, _ = client_of(tmp_path)
    asked = client.post("/new/check.json", json={"controls": ["lever"], "switched": "chassis"}).json()["asked"]
    assert "taps-fed" not in asked and "compares" not in asked and "whose" not in asked
    wrong = client.post("/new/check.json", json={"switched": "chassis", "compares": "volts"}).json()["wrong"]
    assert list(wrong) == ["compares"]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "drawer", ["../drawer.toml", "/etc/drawer.toml", "C:\\drawer.toml", "\\\\host\\s\\drawer.toml"]
)
def test_only_a_drawer_of_the_folder_is_looked_at(drawer: str, tmp_path: Path) -> None:
    """A path is refused before it is touched."""
    folder = tmp_path / "trucks"
    folder.mkdir()
    part = '[[part]]\nohm = "1.5k"\ntolerance = "1 %"\ncount = 4\n'
    for place in (tmp_path, folder):
        (place / "drawer.toml").write_text(f"format = 1\n{part}", encoding="utf-8")
    client, _ = client_of(folder)
    wrong = client.post("/new/check.json", json={"parts": drawer}).json()["wrong"]
    assert "name alone" in wrong["parts"]
    assert client.post("/new/check.json", json={"parts": "drawer.toml"}).json()["wrong"] == {}


def test_no_file_is_written_over(tmp_path: Path) -> None:
    """A made-up name steps aside, a typed one is refused."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    before = (tmp_path / "heron.toml").read_bytes()
    assert client.post("/new/begin.json", json={"name": "Heron"}).json()["design"] == "heron-2"
    assert client.post("/new/begin.json", json={"file": "heron"}).status_code == 409
    assert client.post("/new/begin.json", json={"file": "../x"}).status_code == 422
    assert client.post("/new/begin.json", json={"name": "CON"}).json()["design"] == "truck"
    assert (tmp_path / "heron.toml").read_bytes() == before


def test_the_list_may_stand_on_several_lines(tmp_path: Path) -> None:
    """On a phone a list of wants is no line: one command each is the same list as with commas."""
    client, _ = client_of(tmp_path)
    texts = []
    for name, wants in (("a", LISTED["list"]), ("b", LISTED["list"].replace(", ", "\r\n"))):
        done = client.post("/new/begin.json", json={**LISTED, "list": wants, "file": name})
        assert done.status_code == 200, done.text
        texts.append(without_id((tmp_path / f"{name}.toml").read_text(encoding="utf-8")))
    assert texts[0] == texts[1] and "\n" not in LISTED["list"]
    assert re.search(r'<textarea id="q-list" name="list" rows="[3-9]"', client.get("/new").text)
