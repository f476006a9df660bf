"""Long work: how far it is, and a way to stop it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pinproof.web.finding import Finding
from pinproof.web.jobs import Job
from pinproof.web.page import Action, Ask, Done, Page


def _job(ask: Ask) -> Job:
    job = ask.site.jobs.get(ask.values["job"])
    if job is None:
        raise Finding(404, "There is no such work; it may have been forgotten.", "Start it again from its page.")
    return job


def result(ask: Ask) -> dict[str, Any]:
    """How it stands, without what came out."""
    return _job(ask).as_json()


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The same, for the template."""
    return {"job": found}


def _stop(ask: Ask) -> Done:
    job = _job(ask)
    ask.site.jobs.stop(job.id)
    return Done(job.as_json(), job.back)


PAGE = Page(
    "job", "/jobs/{job}", "Work", "How far is this work, and can it be stopped?", result, "job.html", context,
    actions=(Action("stop", "Stops the work; nothing of it is written.", _stop),), menu=False,
)  # fmt: skip
