"""Who is answered: names, origins, tokens, sizes, paths."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pinproof.web.page import MOST_FORM_BYTES
from pinproof.web.server import join_address, listen
from pinproof.web.sessions import MOST_TRIES, SESSION_S, TOKEN_S, Sessions
from pinproof.web.workspace import Workspace
from tests.web_client import client_of, folder_with

GUEST = {"host": "192.168.7.20", "base": "http://192.168.7.2:8765", "shared": ("192.168.7.2",)}


@pytest.mark.parametrize(
    "host",
    ["evil.example:8765", "127.0.0.1", "127.0.0.1:80", "localhost.evil.example:8765", "192.168.7.2:8765", "", "[::1]",
     "127.0.0.1:8765@evil.example"],
)  # fmt: skip
def test_a_foreign_name_is_refused(host: str, tmp_path: Path) -> None:
    """A name that another page made lead here (DNS rebinding) gets nothing, data neither."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    for path in ("/", "/d/heron/proof.json", "/static/x/app.js", "/api.json"):
        answer = client.get(path, headers={"host": host})
        assert answer.status_code == 421 and "Heron" not in answer.text
    for good in ("127.0.0.1:8765", "localhost:8765", "[::1]:8765", "LOCALHOST:8765"):
        assert client.get("/", headers={"host": good}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"}, {"origin": "null"}, {"origin": "https://127.0.0.1:8765"},
        {"origin": "http://127.0.0.1:9999"}, {"origin": "http://127.0.0.1:8765.evil.example"},
        {"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"},
    ],
)  # fmt: skip
def test_another_page_cannot_ask(headers: dict[str, str], tmp_path: Path) -> None:
    """Neither change anything nor read data."""
    client, site = client_of(folder_with(tmp_path, "heron"))
    before = site.workspace.design("heron").hash
    body = {"base": before, "changes": json.dumps({"name": "mine"})}
    assert client.post("/d/heron/truck/save", data=body, headers=headers).status_code == 403
    assert client.post("/example", data={"name": "wagtail"}, headers=headers).status_code == 403
    assert client.get("/d/heron/proof.json", headers=headers).status_code == 403
    assert site.workspace.names() == ["heron"] and site.workspace.design("heron").hash == before


def test_a_link_from_elsewhere_opens_a_page(tmp_path: Path) -> None:
    """A click in a message is no attack; a picture or a script of another page is."""
    client, _ = client_of(tmp_path)
    link = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}
    assert client.get("/", headers=link).status_code == 200
    assert client.get("/", headers={**link, "sec-fetch-mode": "no-cors"}).status_code == 403
    assert client.post("/example", data={"name": "heron"}, headers=link).status_code == 403


def test_without_sharing_another_machine_gets_nothing(tmp_path: Path) -> None:
    """Even if the socket were open, its name is not ours and it has no cookie."""
    client, _ = client_of(folder_with(tmp_path, "heron"), host="192.168.7.20", base="http://127.0.0.1:8765")
    assert client.get("/").status_code == 421
    one = listen(0, everywhere=False)
    assert one.getsockname()[0] == "127.0.0.1"
    one.close()


def test_a_guest_joins_once(tmp_path: Path) -> None:
    """No page before the token, all but the share page after it; a token serves once; ended means out."""
    client, site = client_of(folder_with(tmp_path, "heron"), **GUEST)  # type: ignore[arg-type]
    for path in ("/", "/d/heron/chain", "/d/heron/proof.json", "/api.json", "/share", "/settings"):
        answer = client.get(path)
        assert answer.status_code == 403 and "Heron" not in answer.text, path
    assert client.post("/example", data={"name": "wagtail"}).status_code == 403
    assert client.get("/join").status_code == 200
    token = site.sessions.token()
    address = join_address(site)
    assert address == f"http://192.168.7.2:8765/join#{token}" and "?" not in address
    answer = client.post("/join/token", data={"token": token})
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie and token.lower() not in cookie
    assert client.get("/d/heron/chain").status_code == 200
    assert client.get("/share").status_code == 403 and client.post("/share/end").status_code == 403
    assert token not in client.get("/").text
    other, _ = client_of(tmp_path, site=site, **GUEST)  # type: ignore[arg-type]
    assert other.post("/join/token", data={"token": token}).status_code == 403
    assert other.get("/").status_code == 403
    site.sessions.end_all()
    assert client.get("/").status_code == 403


def test_guessing_is_slowed(tmp_path: Path) -> None:
    """After some wrong tokens even the right one is not looked at for a minute."""
    now = [0.0]
    sessions = Sessions(lambda: now[0])
    token = sessions.token()
    for _ in range(MOST_TRIES):
        assert sessions.join("wrong") == ""
    assert sessions.is_blocked and sessions.join(token) == ""
    now[0] = 61.0
    assert not sessions.is_blocked and sessions.join(token) != ""
    client, site = client_of(tmp_path, **GUEST)  # type: ignore[arg-type]
    codes = [client.post("/join/token", data={"token": "x"}).status_code for _ in range(MOST_TRIES + 1)]
    assert codes == [403] * MOST_TRIES + [429]
    assert site.sessions.guests == 0


def test_tokens_and_cookies_end() -> None:
    """Both have their time."""
    now = [0.0]
    sessions = Sessions(lambda: now[0])
    token = sessions.token()
    assert sessions.token() == token
    now[0] = TOKEN_S + 1.0
    assert sessions.join(token) == "" and sessions.token() != token
    session = sessions.join(sessions.token())
    assert sessions.knows(session) and not sessions.knows("") and not sessions.knows(session + "x")
    now[0] += SESSION_S + 1.0
    assert not sessions.knows(session) and sessions.guests == 0


def test_what_is_too_large_is_refused(tmp_path: Path) -> None:
    """By its announced size before it is read, and by what really comes where nothing or a lie was announced."""
    client, site = client_of(folder_with(tmp_path, "heron"))
    base = site.workspace.design("heron").hash
    big = {"base": base, "set:name": "x" * (MOST_FORM_BYTES + 1)}
    assert client.post("/d/heron/truck/save", data=big).status_code == 413

    def stream():  # type: ignore[no-untyped-def]
        for _ in range(300):
            yield b"a" * 10_000

    kind = {"content-type": "application/x-www-form-urlencoded"}
    answer = client.post("/d/heron/truck/save.json", content=stream(), headers=kind)
    assert answer.status_code == 413 and answer.json()["error"]["status"] == 413
    assert client.post("/join/token", content=b"t" * 3_000, headers=kind).status_code == 413
    assert client.get("/" + "a" * 5_000).status_code == 400
    assert site.workspace.design("heron").hash == base


@pytest.mark.parametrize(
    ("content", "kind", "status"),
    [
        (b"{", "application/json", 400), (b"[1]", "application/json", 400), (b"[" * 100_000, "application/json", 400),
        (b"x", "text/plain", 400), (b"--x", "multipart/form-data", 400), (b"", "application/json", 400),
        (b'{"base": 7}', "application/json", 400), (b'{"base": "no"}', "application/json", 409),
        (b'{"base": "no", "changes": [1]}', "application/json", 400),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_a_finding(content: bytes, kind: str, status: int, tmp_path: Path) -> None:
    """One shape of error, whatever was sent."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    answer = client.post("/d/heron/truck/save.json", content=content, headers={"content-type": kind})
    assert answer.status_code == status
    error = answer.json()["error"]
    assert error["what"] and {"status", "title", "what", "where", "next", "faults"} <= error.keys()


BAD_NAMES = (
    "..", "...", "%2e%2e", "..%2f..%2fetc%2fpasswd", "heron%00", "heron.toml", "con", "NUL", "a%2fb", "%5c%5cserver",
    "C:",
    "heron%20", ".pinproof", "-", "he\u202eron", "outside",
)  # fmt: skip


@pytest.mark.parametrize("name", BAD_NAMES)
def test_no_name_leads_out_of_the_folder(name: str, tmp_path: Path) -> None:
    """Names are looked up in the folder's list; links that lead out are not in it."""
    folder = tmp_path / "trucks"
    folder.mkdir()
    folder_with(folder, "heron")
    folder_with(tmp_path, "wagtail")
    if hasattr(os, "symlink") and name == "outside":
        (folder / "outside.toml").symlink_to(tmp_path / "wagtail.toml")
    client, _ = client_of(folder)
    for path in (f"/d/{name}/chain", f"/d/{name}/proof.json", f"/d/{name}/file/{name}", f"/d/{name}"):
        answer = client.get(path)
        assert answer.status_code in (307, 404) or name == "..", path  # a client takes ".." out of an address itself
        assert "Wagtail" not in answer.text
    assert client.post(f"/d/{name}/truck/save", data={"base": "x"}).status_code in (404, 405)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["trucks", "wagtail.toml"]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(name=st.text(max_size=90))
def test_any_name_ends_in_a_finding(name: str, tmp_path: Path) -> None:
    """The folder's list decides, whatever the name is; nothing is made of it."""
    from pinproof.web.finding import Finding

    space = Workspace(tmp_path)
    with pytest.raises(Finding):
        space.design(name)
    assert list(tmp_path.iterdir()) == []


def test_reserved_and_odd_names_are_not_created(tmp_path: Path) -> None:
    """A name that Windows keeps, or that would hide or leave, is refused; so is one that differs in case only."""
    from pinproof.web.finding import Finding

    space = Workspace(folder_with(tmp_path, "heron"))
    text = (tmp_path / "heron.toml").read_text(encoding="utf-8")
    for bad in ("con", "COM1", "nul.x", "../x", "a/b", "a\\b", ".x", "x.", "x ", "", "x" * 61, "ä"):
        with pytest.raises(Finding):
            space.create(bad, text)
    with pytest.raises(Finding, match="already"):
        space.create("HERON", text)
    assert sorted(each.name for each in tmp_path.glob("*")) == [".pinproof", "heron.toml"] or sorted(
        each.name for each in tmp_path.glob("*")
    ) == ["heron.toml"]


def test_an_own_mistake_tells_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A mistake of the program is a finding too, without its inner words on the page."""
    client, site = client_of(folder_with(tmp_path, "heron"))

    def broken(*_: object) -> None:
        raise RuntimeError("inner words")

    monkeypatch.setattr(site.work, "proof", broken)
    answer = client.get("/d/heron/verdict.json")
    assert answer.status_code == 500 and "inner words" not in answer.text
