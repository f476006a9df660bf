"""A client of the pages without a socket, over a folder of one's own."""

from __future__ import annotations

from pathlib import Path

from starlette.testclient import TestClient

from pinproof.examples import example_path
from pinproof.web.app import Site, make_app, make_site

BASE = "http://127.0.0.1:8765"


def folder_with(folder: Path, *names: str) -> Path:
    """A folder with copies of these examples."""
    for name in names:
        (folder / f"{name}.toml").write_bytes(example_path(name).read_bytes())
    return folder


def client_of(
    folder: Path, *, host: str = "127.0.0.1", base: str = BASE, shared: tuple[str, ...] = (), site: Site | None = None
) -> tuple[TestClient, Site]:
    """A client that asks from `host` under the name in `base`."""
    site = site or make_site(folder, shared=shared)
    return TestClient(make_app(site), base_url=base, client=(host, 50_000), follow_redirects=False), site
