"""Long work in processes of its own, so that pages stay quick; with progress, and a stop that stops.

Answers: how far is it, what came out, what went wrong.
Touches: processes. Work is named "module:function", takes plain arguments and `say`, and gives back something that
         can be pickled.
Limits:  `MOST_RUNNING` at once, the rest waits; results are kept for the last `MOST_KEPT`.
"""

from __future__ import annotations

import importlib
import multiprocessing
import secrets
import threading
import time
import traceback
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from pinproof.errors import PinproofError

MOST_RUNNING = 1
MOST_KEPT = 30
MOST_WAITING = 8
WAITS, RUNS, DONE, FAILED, STOPPED = "waits", "runs", "done", "failed", "stopped"


@dataclass
class Job:
    """One piece of long work. `share` is how much is done, 0 to 1, or None where nobody knows."""

    id: str
    title: str
    back: str  # address of the page that shows the result
    key: tuple[Any, ...]
    state: str = WAITS
    text: str = "Waits for its turn."
    share: float | None = None
    result: Any = None
    error: PinproofError | None = None
    begun_s: float = field(default_factory=time.monotonic)
    ended_s: float | None = None

    @property
    def is_over(self) -> bool:
        """Nothing more will come."""
        return self.state in (DONE, FAILED, STOPPED)

    def as_json(self) -> dict[str, Any]:
        """How it stands, without the result."""
        seconds = (self.ended_s or time.monotonic()) - self.begun_s
        return {
            "id": self.id, "title": self.title, "state": self.state, "text": self.text, "share": self.share,
            "seconds": round(seconds, 1), "back": self.back, "error": str(self.error) if self.error else "",
        }  # fmt: skip


class Jobs:
    """All long work of one run of the server."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._slots = threading.Semaphore(MOST_RUNNING)
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._processes: dict[str, Any] = {}

    def start(self, title: str, work: str, arguments: tuple[Any, ...], *, key: tuple[Any, ...], back: str) -> Job:
        """Begin work, or meet the same work (same `key`) that runs or is done already.

        Raises
        ------
        TooBusy
            If too much waits already.
        """
        with self._lock:
            for each in reversed(self._jobs.values()):
                if each.key == key and each.state in (WAITS, RUNS, DONE):
                    return each
            if sum(not each.is_over for each in self._jobs.values()) >= MOST_WAITING:
                raise TooBusy
            job = Job(secrets.token_hex(8), title, back, key)
            self._jobs[job.id] = job
            for old in [one for one in self._jobs.values() if one.is_over][: max(0, len(self._jobs) - MOST_KEPT)]:
                del self._jobs[old.id]
        threading.Thread(target=self._follow, args=(job, work, arguments), daemon=True).start()
        return job

    def find(self, key: tuple[Any, ...]) -> Job | None:
        """The newest work of this key."""
        with self._lock:
            return next((each for each in reversed(self._jobs.values()) if each.key == key), None)

    def get(self, ident: str) -> Job | None:
        """One job by its id."""
        with self._lock:
            return self._jobs.get(ident)

    def stop(self, ident: str) -> Job | None:
        """Stop work that waits or runs."""
        with self._lock:
            job = self._jobs.get(ident)
            if job is None or job.is_over:
                return job
            job.state, job.text, job.ended_s = STOPPED, "Stopped. Nothing was written.", time.monotonic()
            process = self._processes.get(ident)
        if process is not None:
            process.terminate()
        return job

    def stop_all(self) -> None:
        """Stop everything, when the server ends."""
        for ident in list(self._jobs):
            self.stop(ident)

    def _follow(self, job: Job, work: str, arguments: tuple[Any, ...]) -> None:
        with self._slots:
            with self._lock:
                if job.is_over:
                    return
                job.state, job.text = RUNS, "Begins …"
                context = multiprocessing.get_context("spawn")
                ours, theirs = context.Pipe(duplex=False)
                process = context.Process(target=run, args=(work, arguments, theirs), daemon=True)
                process.start()
                theirs.close()
                self._processes[job.id] = process
            try:
                self._listen(job, ours)
            finally:
                ours.close()
                process.join(timeout=5.0)
                if process.is_alive():
                    process.kill()
                    process.join()
                with self._lock:
                    self._processes.pop(job.id, None)

    def _listen(self, job: Job, pipe: Connection) -> None:
        while not job.is_over:
            try:
                kind, value = pipe.recv()
            except (EOFError, OSError):
                kind, value = "error", JobDied("The work ended without a word; perhaps the memory did not suffice.")
            with self._lock:
                if job.state == STOPPED:
                    return
                if kind == "say":
                    job.text, job.share = value
                    continue
                job.ended_s = time.monotonic()
                if kind == "result":
                    job.state, job.text, job.share, job.result = DONE, "Done.", 1.0, value
                else:
                    job.state, job.text, job.error = FAILED, str(value), value


class TooBusy(PinproofError):
    """Too much waits already."""

    def __str__(self) -> str:
        return f"{MOST_WAITING} pieces of work wait already. Stop one, or wait."


class JobDied(PinproofError):
    """The process of a job ended on its own, or met a mistake in the program."""


def run(work: str, arguments: tuple[Any, ...], pipe: Connection) -> None:
    """What a job's own process does."""

    def say(text: str, share: float | None = None) -> None:
        pipe.send(("say", (text, share)))

    try:
        module, _, name = work.partition(":")
        function: Callable[..., Any] = getattr(importlib.import_module(module), name)
        pipe.send(("result", function(*arguments, say)))
    except PinproofError as error:
        pipe.send(("error", JobDied(str(error))))
    except Exception as error:
        traceback.print_exc()
        pipe.send(("error", JobDied(f"A mistake in the program: {type(error).__name__}: {error}")))
    finally:
        pipe.close()
