"""`pinproof serve` as a user starts it: what is printed, what answers, how it ends."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.web_client import folder_with


@contextmanager
def served(project_root: Path, folder: Path, *more: str) -> Iterator[tuple[int, Path]]:
    """A running `pinproof serve`: its port and what it prints."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    log = folder / "printed.log"
    with log.open("wb") as out:
        running = subprocess.Popen(
            [sys.executable, "-m", "pinproof", "serve", str(folder), "--no-browser", "--port", str(port), *more],
            stdout=out, stderr=subprocess.STDOUT,
            env={
                **os.environ, "PYTHONPATH": str(project_root / "src"), "PYTHONIOENCODING": "utf-8",
                "PYTHONUNBUFFERED": "1",
            },
        )  # fmt: skip
        try:
            until = time.monotonic() + 60.0
            while not answers(port):
                assert running.poll() is None and time.monotonic() < until, log.read_text(encoding="utf-8")
                time.sleep(0.1)
            yield port, log
        finally:
            running.terminate()
            running.wait(timeout=20.0)


def answers(port: int) -> bool:
    """Whether the server is up."""
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/index.json", timeout=10.0) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


def test_serve_answers_and_logs_no_address(project_root: Path, tmp_path: Path) -> None:
    """It says where it is, answers there, keeps silent about what is asked, and is not found elsewhere."""
    with served(project_root, folder_with(tmp_path, "heron")) as (port, log):
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/index.json", timeout=20.0) as answer:
            assert [each["design"] for each in json.load(answer)["designs"]] == ["heron"]
            assert "server" not in {name.lower() for name in answer.headers}
        taken = subprocess.run(
            [sys.executable, "-m", "pinproof", "serve", str(tmp_path), "--no-browser", "--port", str(port)],
            capture_output=True, text=True, encoding="utf-8", timeout=60,
            env={**os.environ, "PYTHONPATH": str(project_root / "src"), "PYTHONIOENCODING": "utf-8"},
        )  # fmt: skip
        assert taken.returncode == 2 and f"Port {port} cannot be used" in taken.stderr
        printed = log.read_text(encoding="utf-8")
        assert f"http://127.0.0.1:{port}/" in printed and "index.json" not in printed and "join" not in printed


def test_shared_shows_a_code_with_the_token_behind_the_hash(project_root: Path, tmp_path: Path) -> None:
    """Sharing is told with its danger; the page of the code is there for this machine."""
    with served(project_root, folder_with(tmp_path, "heron"), "--share") as (port, log):
        printed = log.read_text(encoding="utf-8")
        if "no address in a network" in printed:
            return  # a machine without any network shares nothing, and says so
        assert "not encrypted" in printed and "█" in printed
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/share", timeout=20.0) as answer:
            page = answer.read().decode("utf-8")
        assert re.search(r"<svg[^>]*class=\"code\"", page) and "/join" in page
        assert "token" not in log.read_text(encoding="utf-8")
