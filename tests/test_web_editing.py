"""Changing a design from a page: comments stay, nobody's change is lost, undo walks every version."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from pinproof.web.entries import changes_of, flat, groups_of
from pinproof.web.pages.truck import TABLES
from tests.web_client import client_of, folder_with


def hash_of(client, name: str = "heron") -> str:  # type: ignore[no-untyped-def]
    """Hash of the file as it is now."""
    return str(client.get(f"/d/{name}/history.json").json()["hash"])


def test_a_save_changes_one_value_and_nothing_else(tmp_path: Path) -> None:
    """The whole form is posted, as a browser does; only what differs is written, comments stay."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    path = tmp_path / "heron.toml"
    before = path.read_text(encoding="utf-8")
    groups = groups_of(before, TABLES)
    form = {f"set:{part.path}": part.text for group in groups for entry in group.stated for part in entry.parts}
    form |= {f"set:{entry.path}": "" for group in groups for entry in group.open}
    form |= {f"basis:{entry.path}": entry.basis for group in groups for entry in group.stated if entry.has_basis}
    assert len(form) > 150
    base = hash_of(client)
    client.post("/d/heron/truck/save", data={"base": base, **form})
    assert path.read_text(encoding="utf-8") == before
    answer = client.post("/d/heron/truck/save", data={"base": base, **form, "set:contact.manual.resistor": "1.69k"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/d/heron/truck?saved=1")
    assert path.read_text(encoding="utf-8") == before.replace('"1.5k"', '"1.69k"')
    assert (tmp_path / "heron.toml.bak").read_text(encoding="utf-8") == before


@pytest.mark.parametrize("name", ["sandpiper", "heron", "wagtail", "dunlin"])
def test_a_form_as_it_stands_changes_nothing(name: str, tmp_path: Path) -> None:
    """Every entry that the form shows reads back as what stands in the file."""
    text = (folder_with(tmp_path, name) / f"{name}.toml").read_text(encoding="utf-8")
    groups = groups_of(text, TABLES)
    form = {f"set:{part.path}": part.text for group in groups for entry in group.stated for part in entry.parts}
    assert changes_of(form, text) == {}
    assert {field for field, shown in form.items() if shown} <= {f"set:{path}" for path in flat(text)}


def test_an_unknown_pull_becomes_known_in_the_form(tmp_path: Path) -> None:
    """Value, tolerance and basis together; without the tolerance the form comes back with everything that was typed."""
    text = (folder_with(tmp_path, "heron") / "heron.toml").read_text(encoding="utf-8")
    path = tmp_path / "heron.toml"
    known = '{ value = "1 kohm", tolerance = "2 %", basis = "measured" }'
    path.write_text(text.replace(known, '"unknown" # ask the maker'), encoding="utf-8")
    client, _ = client_of(tmp_path)
    form = {
        "base": hash_of(client),
        "set:input.shift_pin.pull_up": "1 kohm",
        "basis:input.shift_pin.pull_up": "measured",
    }
    half = client.post("/d/heron/truck/save", data=form)
    assert half.status_code == 422 and "What you typed is still here" in half.text
    assert 'value="1 kohm" data-was="unknown"' in half.text and "tolerance is required" in half.text
    assert '"unknown" # ask the maker' in path.read_text(encoding="utf-8")
    changes = {
        "input.shift_pin.pull_up": {"value": "1 kohm", "basis": "measured"},
        "input.shift_pin.pull_up.tolerance": "2 %",
    }
    seen = client.post("/d/heron/truck/live.json", json={"base": form["base"], "changes": changes}).json()
    assert seen["ok"], seen
    whole = client.post("/d/heron/truck/save", data={**form, "set:input.shift_pin.pull_up.tolerance": "2 %"})
    assert whole.status_code == 303, whole.text
    saved = path.read_text(encoding="utf-8")
    assert "# ask the maker" in saved
    pull = tomllib.loads(saved)["input"][0]["pull_up"]
    assert pull == {"value": "1 kohm", "tolerance": "2 %", "basis": "measured"}


def test_basis_value_flag_and_taking_out(tmp_path: Path) -> None:
    """A plain text becomes a table when it gets a basis; a flag stays one; an emptied box takes its entry out."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    changes = {
        "contact.manual.resistor": {"value": "1.6k", "basis": "measured"}, "line.shift.window.up.fault": False,
        "input.shift_pin.debounce": None, "supply.run.low": "9.5 V",
    }  # fmt: skip
    answer = client.post("/d/heron/truck/save.json", json={"base": hash_of(client), "changes": changes})
    assert answer.status_code == 200, answer.text
    text = (tmp_path / "heron.toml").read_text(encoding="utf-8")
    assert 'resistor = { value = "1.6k", basis = "measured" }' in text and "fault = false" in text
    assert "debounce" not in text and 'run = { low = "9.5 V", value = "13.5 V", high = "16 V" }' in text
    assert "# chassis beside the lever, loads on" in text


def test_what_is_wrong_is_not_written(tmp_path: Path) -> None:
    """A value that cannot be read is told with its place, and the file is as it was."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    before = (tmp_path / "heron.toml").read_bytes()
    for changes in ({"contact.manual.resistor": "1k5O"}, {"contact.nobody.resistor": "1k"}, {"supply.run.low": "20 V"}):
        answer = client.post("/d/heron/truck/save.json", json={"base": hash_of(client), "changes": changes})
        assert answer.status_code == 422 and answer.json()["error"]["faults"], answer.text
        live = client.post("/d/heron/truck/live.json", json={"base": hash_of(client), "changes": changes}).json()
        assert live["ok"] is False and live["faults"][0]["message"]
    assert (tmp_path / "heron.toml").read_bytes() == before


def test_typing_proves_without_writing(tmp_path: Path) -> None:
    """The panel follows what is typed; the file does not."""
    client, _ = client_of(folder_with(tmp_path, "sandpiper"))
    before = (tmp_path / "sandpiper.toml").read_bytes()
    base = hash_of(client, "sandpiper")
    seen = client.post("/d/sandpiper/truck/live.json", json={"base": base, "changes": {}}).json()
    assert (seen["ok"], seen["verdict"]) == (True, "pass")
    changes = {"defaults.closed": {"low": "0 ohm", "high": "3 kohm"}}
    worse = client.post("/d/sandpiper/truck/live.json", json={"base": base, "changes": changes}).json()
    assert worse["verdict"] == "fail" and "not saved" in worse["html"] and "<svg" in worse["html"]
    assert (tmp_path / "sandpiper.toml").read_bytes() == before


def test_a_change_from_elsewhere_is_noticed_and_nothing_is_lost(tmp_path: Path) -> None:
    """An editor was quicker: both versions are shown, and what was typed can be put into the file as it is now."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    path = tmp_path / "heron.toml"
    base = hash_of(client)
    edited = path.read_text(encoding="utf-8").replace('"270 ohm"', '"261 ohm"') + "# from an editor\n"
    path.write_text(edited, encoding="utf-8")
    body = {"base": base, "changes": {"contact.manual.resistor": "1.6k", "contact.paddle_up.resistor": "300 ohm"}}
    answer = client.post("/d/heron/truck/save.json", json=body)
    assert answer.status_code == 409
    rows = {each["path"]: each for each in answer.json()["error"]["conflict"]["entries"]}
    assert rows["contact.paddle_up.resistor"] | {"words": ""} == {
        "path": "contact.paddle_up.resistor", "words": "", "seen": "270 ohm", "now": "261 ohm", "yours": "300 ohm"
    }  # fmt: skip
    assert path.read_text(encoding="utf-8") == edited
    page = client.post("/d/heron/truck/save", data={"base": base, "changes": json.dumps(body["changes"])})
    assert (
        page.status_code == 409 and "300 ohm" in page.text and "261 ohm" in page.text and "from an editor" in page.text
    )
    now = answer.json()["error"]["conflict"]["now"]
    assert client.post("/d/heron/truck/save.json", json={**body, "base": now}).status_code == 200
    text = path.read_text(encoding="utf-8")
    assert '"300 ohm"' in text and '"1.6k"' in text and "# from an editor" in text and '"261 ohm"' not in text


def test_undo_walks_every_version_also_an_editors(tmp_path: Path) -> None:
    """Saved, edited outside, saved: three steps back, three forward; a new program knows them too."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    path = tmp_path / "heron.toml"
    texts = [path.read_text(encoding="utf-8")]

    def save(value: str) -> None:
        body = {"base": hash_of(client), "changes": {"contact.manual.resistor": value}}
        assert client.post("/d/heron/truck/save.json", json=body).status_code == 200
        texts.append(path.read_text(encoding="utf-8"))

    save("1.6k")
    path.write_text(texts[-1] + "# outside\n", encoding="utf-8")
    texts.append(texts[-1] + "# outside\n")
    save("1.69k")
    client, _ = client_of(tmp_path)  # the program was ended and begun again
    told = client.get("/d/heron/history.json").json()
    assert len(told["versions"]) == 4 and "1.69k" in told["undo"]
    for step in (2, 1, 0):
        assert client.post("/d/heron/history/undo.json", json={"base": hash_of(client)}).status_code == 200
        assert path.read_text(encoding="utf-8") == texts[step]
    assert client.post("/d/heron/history/undo.json", json={"base": hash_of(client)}).status_code == 422
    for step in (1, 2, 3):
        assert client.post("/d/heron/history/redo.json", json={"base": hash_of(client)}).status_code == 200
        assert path.read_text(encoding="utf-8") == texts[step]
    stale = client.post("/d/heron/history/undo.json", json={"base": "0" * 64})
    assert stale.status_code == 409 and path.read_text(encoding="utf-8") == texts[3]


def test_line_ends_and_mark_stay(tmp_path: Path) -> None:
    """A file with CRLF and a byte order mark keeps both."""
    text = (folder_with(tmp_path, "heron") / "heron.toml").read_text(encoding="utf-8")
    data = b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode("utf-8")
    (tmp_path / "heron.toml").write_bytes(data)
    client, _ = client_of(tmp_path)
    body = {"base": hash_of(client), "changes": {"contact.manual.resistor": "1.6k"}}
    assert client.post("/d/heron/truck/save.json", json=body).status_code == 200
    assert (tmp_path / "heron.toml").read_bytes() == data.replace(b'"1.5k"', b'"1.6k"')
    client.post("/d/heron/history/undo.json", json={"base": hash_of(client)})
    assert (tmp_path / "heron.toml").read_bytes() == data


def test_the_whole_text_is_saved_or_told(tmp_path: Path) -> None:
    """A text that loads is written as typed; one with faults only when asked for; a conflict keeps what was typed."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    path = tmp_path / "heron.toml"
    text = path.read_text(encoding="utf-8")
    base = hash_of(client)
    good = text.replace('"1.5k"', '"1.6k"')
    sent = good.replace("\n", "\r\n")  # as a browser sends it
    answer = client.post("/d/heron/text/save", data={"base": base, "text": sent})
    assert answer.status_code == 303 and path.read_text(encoding="utf-8") == good
    bad = good.replace('"1.6k"', '"1k6O"')
    told = client.post("/d/heron/text/save.json", json={"base": hash_of(client), "text": bad})
    assert told.status_code == 422 and told.json()["error"]["faults"][0]["path"] == "contact.manual.resistor"
    assert client.post("/d/heron/text/check.json", json={"text": bad}).json()["ok"] is False
    page = client.post("/d/heron/text/save", data={"base": base, "text": good + "# mine\n"})
    assert page.status_code == 409 and "# mine" in page.text and "1.6k" in page.text
    assert path.read_text(encoding="utf-8") == good
    forced = client.post("/d/heron/text/save.json", json={"base": hash_of(client), "text": bad, "anyway": "yes"})
    assert forced.status_code == 200 and path.read_text(encoding="utf-8") == bad
    assert client.get("/d/heron/text").status_code == 200 and client.get("/d/heron/proof").status_code == 422


def test_the_kept_versions_have_an_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The list keeps the newest ones, the folder not more than twice as many; what is listed can be read."""
    from pinproof.web import history

    monkeypatch.setattr(history, "MOST_VERSIONS", 5)
    kept = history.History(tmp_path / "versions")
    for number in range(30):
        kept.meet(f"version {number}", f"change {number}")
    standing = kept.standing()
    assert [each.what for each in standing.versions] == [f"change {number}" for number in range(25, 30)]
    assert all(kept.text_of(each.hash) is not None for each in standing.versions)
    assert len(list((tmp_path / "versions").glob("*.toml"))) <= 10
    assert kept.text_of("../../x") is None and kept.text_of("0" * 64) is None
