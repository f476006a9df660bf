"""A running server over a folder of one's own, for tests that drive a browser."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import uvicorn

from pinproof.examples import example_path
from pinproof.web.app import Site, make_app, make_site
from pinproof.web.server import listen


@dataclass
class Served:
    """A server that answers at `address` over `folder`."""

    address: str
    folder: Path
    site: Site


@pytest.fixture
def pages_at(tmp_path: Path) -> Iterator[Callable[..., Served]]:
    """Serve a new folder with copies of these examples: `pages_at("heron", "wagtail")`."""
    started: list[tuple[uvicorn.Server, threading.Thread, Site]] = []

    def serve(*names: str, shared: tuple[str, ...] = ()) -> Served:
        folder = tmp_path / f"trucks{len(started)}"
        folder.mkdir()
        for name in names:
            (folder / f"{name}.toml").write_bytes(example_path(name).read_bytes())
        one = listen(0, everywhere=False)
        site = make_site(folder, port=one.getsockname()[1], shared=shared)
        config = uvicorn.Config(
            make_app(site), log_level="error", access_log=False, lifespan="off", timeout_graceful_shutdown=2
        )
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [one]}, daemon=True)
        thread.start()
        until = time.monotonic() + 20.0
        while not server.started:
            assert time.monotonic() < until, "the server did not start"
            time.sleep(0.02)
        started.append((server, thread, site))
        return Served(f"http://127.0.0.1:{site.port}", folder, site)

    yield serve
    for server, thread, site in started:
        site.jobs.stop_all()
        server.should_exit = True
        thread.join(timeout=10.0)
