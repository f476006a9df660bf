"""The harness: findings with their cure, the board, wires, splices, fuses, faces, parts; papers in the background."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from pinproof.design import loads
from pinproof.drawings import Drawing
from pinproof.harness import Harness, as_json, lay_out
from pinproof.pack.harness_book import (
    HEADLINES,
    VERDICTS,
    board_blocks,
    code_blocks,
    face_blocks,
    harness_files,
    harness_verdict,
    list_blocks,
    parts_blocks,
)
from pinproof.web.finding import Finding
from pinproof.web.fragments import fragment
from pinproof.web.page import Action, Ask, Done, File, Page, Parameter
from pinproof.web.pages.downloads import KINDS, PAPERS
from pinproof.web.pages.drafting import PLAIN, actions, draft_context

WORK = "pinproof.web.pages.harness:make_papers"
RANK = {"fail": 0, "not shown": 1, None: 2}
WORDS = {"fail": "fails", "not shown": "not shown", None: "note"}
TOLD = {
    "harness.pdf": "Everything for the bench: lists, faces, parts, build steps to tick off, labels.",
    "formboard-one-sheet.pdf": "The board at true size on one sheet, for a plotter.",
    "formboard-a4.pdf": "The board at true size over A4 sheets.",
    "formboard-letter.pdf": "The board at true size over Letter sheets.",
    "formboard.svg": "The board at true size as a drawing.",
    "wires.csv": "Wire list.", "splices.csv": "Splices.", "plugs.csv": "Every cavity.", "runs.csv": "Runs and bundles.",
    "harness-parts.csv": "What to have and to order.", "resistors.csv": "Coding resistors.",
    "cutlist.csv": "What to cut.",
    "labels.csv": "Labels.", "steps.csv": "Build steps.",
}  # fmt: skip
NONE = (
    "Places, runs between them, plugs with their cavities, feeds and loads make a harness: every wire then gets its "
    "size, length, colour and ends, splices go where they may lie, and the board is drawn at true size."
)


def make_papers(text: str, name: str, paper: str, day: str, say: Callable[..., None]) -> dict[str, bytes]:
    """The work of a process of its own: every file of the harness."""
    truck = loads(text, name)
    say("Lays out the harness …", 0.1)
    harness = lay_out(truck)
    say("Sets lists, faces and the board …", 0.2)
    return harness_files(truck, harness, paper=paper, made_on=date.fromisoformat(day))


def harness_of(ask: Ask) -> Harness | None:
    """The laid-out harness; None where the file says nothing of one. DesignFault with every place that cannot be."""
    truck = ask.truck
    if truck.harness is None:
        return None
    found: Harness = ask.site.work.once(("harness", truck.text_hash), lambda: lay_out(truck))
    return found


def _key(ask: Ask, paper: str) -> tuple[Any, ...]:
    return ("harness", ask.design.hash, paper)


def _paper(ask: Ask) -> str:
    usual = "letter" if ask.settings.units == "us" else "a4"
    paper = ask.values.get("paper", "") or (ask.text("paper") if ask.form else "") or usual
    if paper not in PAPERS:
        raise Finding(422, f'"{paper[:20]}" is no paper here.', f"Choose {' or '.join(PAPERS)}.", "paper")
    return paper


def _files(ask: Ask, paper: str) -> dict[str, bytes]:
    job = ask.site.jobs.find(_key(ask, paper))
    files: dict[str, bytes] = job.result if job is not None and job.state == "done" else {}
    return files


def result(ask: Ask) -> dict[str, Any]:
    """What `pinproof harness --json` prints, and which papers are made."""
    harness, paper = harness_of(ask), _paper(ask)
    job = ask.site.jobs.find(_key(ask, paper))
    return {
        "design": ask.design.name, "hash": ask.design.hash, "harness": None if harness is None else as_json(harness),
        "paper": paper, "job": job.as_json() if job is not None else None,
        "files": [
            {"name": name, "bytes": len(data), "address": ask.address("harness-file", paper=paper, name=name)}
            for name, data in _files(ask, paper).items()
        ],
    }  # fmt: skip


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The same pieces as in the book, between findings and papers."""
    harness = harness_of(ask)
    if harness is None:
        return {**PLAIN, "harness": None, "lacks": NONE, "draft": draft_context(ask, "harness")}
    truck, drawings = ask.truck, dict[str, Drawing]()
    lines = truck.source_lines
    verdict = harness_verdict(harness)
    job = found["job"] if found["job"] is not None and found["job"]["state"] != "done" else None
    listed = sorted(harness.findings, key=lambda each: RANK[each.verdict])
    told = [
        (each, VERDICTS[each.verdict] if each.verdict else None, WORDS[each.verdict], lines.get(each.path, 0))
        for each in listed
    ]
    return {
        "harness": harness, "verdict": verdict, "head": HEADLINES[verdict],
        "cut_m": sum(wire.cut_mm for wire in harness.wires) / 1000,
        "kilograms": sum(run.mass_g for run in harness.runs) / 1000,
        "loud": [each for each in told if each[1] is not None], "notes": [each for each in told if each[1] is None],
        "board": fragment(_without_head(board_blocks(truck, harness, drawings)), drawings, units=ask.settings.units),
        "lists": fragment(_without_head(list_blocks(truck, harness)), drawings, units=ask.settings.units),
        "faces": fragment(_without_head(face_blocks(truck, harness, drawings)), drawings, units=ask.settings.units),
        "parts": fragment(_without_head(parts_blocks(truck, harness)), drawings, units=ask.settings.units),
        "codes": fragment(_without_head(code_blocks(truck, harness)), drawings, units=ask.settings.units),
        "job": job, "papers": PAPERS, "paper": found["paper"],
        "files": [{**each, "told": TOLD.get(each["name"], "A plug's face as a drawing.")} for each in found["files"]],
    }  # fmt: skip


def _without_head(body: list[Any]) -> list[Any]:
    """The page has its own headings."""
    return body[1:] if body and body[0]["kind"] == "heading" else body


def _make(ask: Ask) -> Done:
    design = ask.design
    if design.truck.harness is None:
        raise Finding(422, f"{design.path.name} says nothing of a harness, so there are no papers of one.", NONE)
    paper = _paper(ask)
    back = ask.address("harness", paper=paper, fragment="papers")
    job = ask.site.jobs.start(
        f"Making the harness papers of {design.title}", WORK,
        (design.text, design.path.name, paper, date.today().isoformat()), key=_key(ask, paper),
        back=ask.address("harness", paper=paper),
    )  # fmt: skip
    return Done(job.as_json(), back)


def _one(ask: Ask) -> File:
    files, name = _files(ask, _paper(ask)), ask.values["name"]
    if not files:
        raise Finding(404, "The papers of this version are not made yet.", "Make them on the harness page.")
    if name not in files:
        raise Finding(404, f'There is no file "{name[:80]}" among them.', "Pick one from the harness page.")
    kind = KINDS.get(name.rpartition(".")[2], "application/octet-stream")
    return File(f"{ask.design.name}-{name}", files[name], kind)


PAPER = Parameter("paper", "Paper for print.", words=PAPERS)
PAGE = Page(
    "harness", "/d/{design}/harness", "Harness",
    "Which wires are cut, how thick and how long, where do they end, and what is to be ordered?",
    result, "harness.html", context, links=("wire",), parameters=(PAPER,),
    folds="all-but-first",
    actions=(
        Action("make", "Makes the papers for the bench in the background.", _make, (PAPER,)),
        *actions("harness", "harness", "a draft of the harness", lay_out),
    ),
)  # fmt: skip
ONE = Page(
    "harness-file", "/d/{design}/harness/file/{name}", "Harness file", "One paper of the harness.", _one,
    parameters=(PAPER,), menu=False,
)  # fmt: skip
