"""Drafts of harness and start inhibit on their pages: shown, added once, nothing else of the file changed."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from pinproof.design import loads
from pinproof.examples import example_path
from tests.web_client import client_of, folder_with


@pytest.mark.parametrize("name", ["harness", "inhibit"])
def test_a_draft_is_shown_and_added_once(tmp_path: Path, name: str) -> None:
    """The page shows every line before it is added; afterwards the file says what it said, and the page says so."""
    folder_with(tmp_path, "heron")
    client, site = client_of(tmp_path)
    assert isinstance(client, TestClient)
    before = site.workspace.design("heron")
    html = client.get(f"/d/heron/{name}").text
    assert f"#[{name}]" in html and "Add the draft to heron.toml" in html
    first = client.post(f"/d/heron/{name}/begin.json", json={"base": before.hash})
    assert first.status_code == 200
    text = (tmp_path / "heron.toml").read_text(encoding="utf-8")
    assert f"#[{name}]" in text and loads(text).lines == loads(example_path("heron").read_text(encoding="utf-8")).lines
    html = client.get(f"/d/heron/{name}").text
    assert "A draft is in heron.toml already" in html and "Add the draft" not in html
    assert client.post(f"/d/heron/{name}/begin.json", json={"base": first.json()["hash"]}).status_code == 422
    stale = client.post(f"/d/heron/{name}/begin.json", json={"base": before.hash})
    assert stale.status_code in (409, 422) and (tmp_path / "heron.toml").read_text(encoding="utf-8") == text
    site.jobs.stop_all()
