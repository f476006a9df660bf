"""The pack as downloads: build book, bench sheet, field card, lists and drawings, made in the background."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from pinproof.chain import known
from pinproof.design import loads
from pinproof.pack.folder import pack_files
from pinproof.proof import prove
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, File, Page, Parameter

WORK = "pinproof.web.pages.downloads:make_pack"
PAPERS = ("a4", "letter")
KINDS = {
    "pdf": "application/pdf", "html": "text/html; charset=utf-8", "csv": "text/csv; charset=utf-8",
    "svg": "image/svg+xml", "zip": "application/zip",
}  # fmt: skip
WORDS = {
    "book.pdf": "The build book: everything, for the bench.",
    "bench.pdf": "The bench sheet: what to measure, to write on.",
    "card.html": "The field card: one file for the phone or the cab, needs no network.",
    "situations.csv": "Every situation with what it reads and what it wants.",
    "parts.csv": "The parts of the coder, with where each sits.",
    "order.csv": "What to order, and how many.",
    "budgets.csv": "How far each number may be off before a meaning is lost.",
}
DRAWINGS = (
    ("-circuit", "The line's circuit."), ("-drift", "How far each number may be off."), ("-readings", "Readings."),
    ("-transit", "What the pin passes through in a shift."), ("saw-tooth", "Engine speed over road speed."),
    ("part-", "One resistor with its bands or code."),
)  # fmt: skip


def make_pack(text: str, name: str, paper: str, day: str, say: Callable[..., None]) -> dict[str, bytes]:
    """The work of a process of its own: every file of the pack."""
    truck = loads(text, name)
    say("Proves the design …", 0.05)
    proof = prove(truck)
    say("Tries cures for lines that do not hold …", 0.15)
    cures = known.cures_of(truck, proof)
    say("Lists the faults …", 0.35)
    faults = known.known_faults(truck, say=lambda told: say(told, 0.5))
    say("Sets the book …", 0.75)
    return pack_files(truck, proof, paper=paper, made_on=date.fromisoformat(day), cures=cures, faults=faults)


def _key(ask: Ask, paper: str) -> tuple[Any, ...]:
    return ("pack", ask.design.hash, paper)


def _paper(ask: Ask, default: str = "") -> str:
    paper = ask.values.get("paper", "") or (ask.text("paper") if ask.form else "") or default
    if paper not in PAPERS:
        raise Finding(422, f'"{paper[:20]}" is no paper here.', f"Choose {' or '.join(PAPERS)}.", "paper")
    return paper


def result(ask: Ask) -> dict[str, Any]:
    """Which files there are, and how far they are made."""
    paper = _paper(ask, "letter" if ask.settings.units == "us" else "a4")
    ask.design.truck  # noqa: B018 - a file that cannot be used is told here
    job = ask.site.jobs.find(_key(ask, paper))
    files = job.result if job is not None and job.state == "done" else {}
    return {
        "design": ask.design.name, "hash": ask.design.hash, "paper": paper, "papers": PAPERS,
        "job": job.as_json() if job is not None else None,
        "files": [
            {"name": name, "bytes": len(data), "address": ask.address("file", paper=paper, name=name)}
            for name, data in files.items()
        ],
    }  # fmt: skip


def _told(name: str) -> str:
    """What a file is, in a few words."""
    return WORDS.get(name) or next((told for sign, told in DRAWINGS if sign in name or name.startswith(sign)), "")


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """Files in groups."""
    groups: dict[str, list[Any]] = {"To print and to carry": [], "Lists": [], "Drawings": []}
    for each in found["files"]:
        kind = each["name"].rpartition(".")[2]
        group = "Lists" if kind == "csv" else "Drawings" if kind == "svg" else "To print and to carry"
        groups[group].append({**each, "told": _told(each["name"])})
    job = found["job"] if found["job"] is not None and found["job"]["state"] != "done" else None
    return {"found": found, "groups": {name: each for name, each in groups.items() if each}, "job": job}


def _make(ask: Ask) -> Done:
    design = ask.design
    design.truck  # noqa: B018
    paper = _paper(ask, "a4")
    back = ask.address("downloads", paper=paper)
    job = ask.site.jobs.start(
        f"Making the pack of {design.title}", WORK, (design.text, design.path.name, paper, date.today().isoformat()),
        key=_key(ask, paper), back=back,
    )  # fmt: skip
    return Done(job.as_json(), back)


def _one(ask: Ask) -> File:
    """One file, or all of them in one."""
    paper, name = _paper(ask, "a4"), ask.values["name"]
    job = ask.site.jobs.find(_key(ask, paper))
    files: dict[str, bytes] = job.result if job is not None and job.state == "done" else {}
    if not files:
        raise Finding(404, "The files of this version are not made yet.", "Make them on the page of downloads.")
    if name == "all.zip":
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
            for one, data in files.items():
                packed.writestr(zipfile.ZipInfo(one), data, zipfile.ZIP_DEFLATED)
        return File(f"{ask.design.name}.zip", out.getvalue(), KINDS["zip"])
    if name not in files:
        raise Finding(404, f'There is no file "{name[:80]}" in this pack.', "Pick one from the page of downloads.")
    return File(
        f"{ask.design.name}-{name}", files[name], KINDS.get(name.rpartition(".")[2], "application/octet-stream")
    )


PAPER = Parameter("paper", "Paper for print.", words=PAPERS)
PAGE = Page(
    "downloads", "/d/{design}/downloads", "Downloads", "What goes on the bench and into the cab, as files?", result,
    "downloads.html", context, parameters=(PAPER,),
    actions=(Action("make", "Makes book, bench sheet, card, lists and drawings in the background.", _make, (PAPER,)),),
)  # fmt: skip
FILE = Page(
    "file",
    "/d/{design}/file/{name}",
    "File",
    "One file of the pack, or all.zip.",
    _one,
    parameters=(PAPER,),
    menu=False,
)
