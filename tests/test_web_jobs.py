"""Long work: progress is told, a stop stops, the same work is done once, a mistake is a finding."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pinproof.errors import NoSolution
from pinproof.web.jobs import MOST_WAITING, Job, Jobs, TooBusy
from tests.web_client import client_of, folder_with

HERE = "tests.test_web_jobs"


def steps(count: int, say: Callable[..., None]) -> int:
    """Work that tells how far it is."""
    for step in range(count):
        say(f"step {step}", step / count)
        time.sleep(0.02)
    return count * 2


def endless(flag: str, say: Callable[..., None]) -> None:
    """Work that ends only when it is stopped, and would leave a trace after that."""
    say("begun", None)
    time.sleep(60.0)
    Path(flag).touch()


def failing(say: Callable[..., None]) -> None:
    """Work that ends with a deliberate error."""
    raise NoSolution("nothing fits")


def dying(say: Callable[..., None]) -> None:
    """Work whose process ends without a word."""
    import os

    os._exit(7)


def waited(job: Job, seconds: float = 30.0) -> Job:
    """The job when it is over."""
    until = time.monotonic() + seconds
    while not job.is_over:
        assert time.monotonic() < until, job
        time.sleep(0.02)
    return job


@pytest.fixture
def jobs() -> Any:
    """Jobs that are all stopped in the end."""
    found = Jobs()
    yield found
    found.stop_all()


def test_work_tells_and_gives_back(jobs: Jobs) -> None:
    """The last word is the result; the same key is not begun twice."""
    job = jobs.start("steps", f"{HERE}:steps", (5,), key=("steps",), back="/")
    again = jobs.start("steps", f"{HERE}:steps", (5,), key=("steps",), back="/")
    assert again is job
    assert waited(job).result == 10
    assert job.as_json() | {"seconds": 0} == {
        "id": job.id, "title": "steps", "state": "done", "text": "Done.", "share": 1.0, "seconds": 0, "back": "/",
        "error": "",
    }  # fmt: skip


def test_a_stop_stops(jobs: Jobs, tmp_path: Path) -> None:
    """The process ends; what waited behind it comes to its turn."""
    flag = tmp_path / "trace"
    job = jobs.start("endless", f"{HERE}:endless", (str(flag),), key=("endless",), back="/")
    behind = jobs.start("steps", f"{HERE}:steps", (1,), key=("steps",), back="/")
    until = time.monotonic() + 30.0
    while job.text != "begun":
        assert time.monotonic() < until
        time.sleep(0.02)
    assert behind.state == "waits"
    process = jobs._processes[job.id]
    jobs.stop(job.id)
    assert job.state == "stopped" and waited(behind).result == 2
    process.join(timeout=10.0)
    assert not process.is_alive() and not flag.exists()


def test_what_goes_wrong_is_told(jobs: Jobs) -> None:
    """A deliberate error in its words; a dead process as such."""
    job = waited(jobs.start("failing", f"{HERE}:failing", (), key=("f",), back="/"))
    assert (job.state, job.text) == ("failed", "nothing fits")
    dead = waited(jobs.start("dying", f"{HERE}:dying", (), key=("d",), back="/"))
    assert dead.state == "failed" and "without a word" in dead.text


def test_too_much_at_once_is_refused(jobs: Jobs, tmp_path: Path) -> None:
    """A queue has an end."""
    for number in range(MOST_WAITING):
        jobs.start("endless", f"{HERE}:endless", (str(tmp_path / "x"),), key=(number,), back="/")
    with pytest.raises(TooBusy):
        jobs.start("endless", f"{HERE}:endless", ("x",), key=("more",), back="/")


def test_the_pack_is_made_and_handed_out(tmp_path: Path) -> None:
    """Book, card and lists come as downloads of the version that was asked for; another version has none yet."""
    client, site = client_of(folder_with(tmp_path, "wagtail"))
    answer = client.post("/d/wagtail/downloads/make.json", json={"paper": "a4"})
    job = site.jobs.get(answer.json()["id"])
    assert job is not None
    assert client.get(f"/jobs/{job.id}.json").json()["title"] == "Making the pack of Wagtail (invented)"
    assert waited(job, 120.0).state == "done", job.text
    files = {each["name"]: each for each in client.get("/d/wagtail/downloads.json").json()["files"]}
    assert {"book.pdf", "bench.pdf", "card.html", "parts.csv"} <= files.keys()
    book = client.get(files["book.pdf"]["address"])
    assert book.content.startswith(b"%PDF-") and 'filename="wagtail-book.pdf"' in book.headers["content-disposition"]
    assert client.get("/d/wagtail/file/all.zip").content.startswith(b"PK")
    assert client.get("/d/wagtail/file/nothing.pdf").status_code == 404
    path = tmp_path / "wagtail.toml"
    path.write_text(path.read_text(encoding="utf-8") + "# changed\n", encoding="utf-8")
    assert client.get("/d/wagtail/downloads.json").json()["files"] == []
    assert client.get("/d/wagtail/file/book.pdf").status_code == 404
    site.jobs.stop_all()
