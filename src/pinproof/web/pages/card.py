"""The field card as it goes into the cab: shown here, and saved as the one file that needs no network."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from pinproof.design import loads
from pinproof.pack.card import card_html
from pinproof.proof import prove
from pinproof.web.jobs import DONE, FAILED, STOPPED, Job
from pinproof.web.page import Action, Ask, Done, File, Page
from pinproof.wiring import line_view, physical

TITLE = "The field card"


def make(text: str, file: str, say: Any) -> str:
    """What the job does: prove the design, work out the search for a fault, set the card."""
    truck = loads(text, file)
    say("Proving the design …", 0.1)
    proof = prove(truck, samples=0)
    say("Working out the search for a fault …", 0.3)
    netlist = physical(truck)
    return card_html(truck, proof, {line.id: line_view(truck, line, netlist) for line in truck.lines})


def job_of(ask: Ask, *, again: bool = False) -> Job:
    """The work on this version's card, begun if nobody did."""
    design = ask.design
    design.truck  # noqa: B018 - a file that cannot be used raises its faults here
    key = ("card", design.hash)
    job = ask.site.jobs.find(key)
    if job is None or (again and job.state in (STOPPED, FAILED)):
        back = ask.address("card")
        job = ask.site.jobs.start(TITLE, f"{__name__}:make", (design.text, design.path.name), key=key, back=back)
    return job


def result(ask: Ask) -> dict[str, Any]:
    """How far it is; once it is done, the card's own HTML."""
    job = job_of(ask)
    html = job.result if job.state == DONE else None
    return {"design": ask.design.name, "hash": ask.design.hash, "job": job.as_json(), "html": html}


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The card's body; its style stands in a style sheet of its own here."""
    html = found["html"]
    body = html.partition("<body>")[2].partition("</body>")[0] if html else ""
    return {"card": Markup(body), "job": found["job"], "is_ready": bool(html)}


def _again(ask: Ask) -> Done:
    job = job_of(ask, again=True)
    return Done(job.as_json(), ask.address("card"))


def _saved(ask: Ask) -> Any:
    """The card as its file; programs get its text with its name."""
    design = ask.design
    name = f"{design.name}-card.html"
    job = ask.site.jobs.find(("card", design.hash))
    if job is not None and job.state == DONE:
        html = job.result
    else:
        key = ("card", design.hash)
        html = ask.site.work.once(key, lambda: make(design.text, design.path.name, lambda *_: None))
    if ask.is_json:
        return {"file": name, "html": html}
    return File(name, html.encode("utf-8"), "text/html; charset=utf-8")


PAGE = Page(
    "card", "/d/{design}/card", "Field card",
    "What must be known in the cab: ohms, the search for a fault, the check before the start?",
    result, "card.html", context, links=("repair",),
    actions=(Action("again", "Makes the card again after it was stopped.", _again),),
)  # fmt: skip
SAVED = Page(
    "card-file", "/d/{design}/card/file", "Field card as a file", "Which file goes onto the phone?", _saved, menu=False
)
