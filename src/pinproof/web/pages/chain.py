"""The chain of one design, its verdict alone, and the history of its file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pinproof.chain.actions import Action as Deed
from pinproof.chain.links import Chain, Link
from pinproof.chain.measures import link_of, measure_of
from pinproof.design import Truck
from pinproof.pack.sentences import headline
from pinproof.web.page import Action, Ask, Done, Page, Parameter

BASE = Parameter("base", "Hash of the version that the page was made from.", required=True)


def result(ask: Ask) -> dict[str, Any]:
    """The chain, link by link, and what to do now."""
    design = ask.design
    truck = design.truck
    chain = ask.site.work.chain(design, ask.site.workspace)
    proof = ask.site.work.proof(truck)
    return {"design": design.name, "hash": design.hash, "rests_on": len(proof.rests_on), "chain": chain}


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """Each link with the pages behind it and the next thing to do there."""
    chain: Chain = found["chain"]
    proof = ask.site.work.proof(ask.truck)
    rows: list[dict[str, Any]] = []
    for link in chain.links:
        behind = [page for page in ask.site.pages if link.name in page.links]
        deed = next(
            (each for each in chain.actions if any(link_of(path) == link.name for path in each.parameters)), None
        )
        rows.append({"link": link, "pages": behind, "next": _next(ask.truck, link, deed), "state": _state(link)})
    return {
        "chain": chain, "rows": rows, "headline": headline(chain.proof, proof.rests_on),
        "verdicts": {each.name: _state(each) for each in chain.links},
        "commands": {each.what: _on_page(ask, each) for each in chain.actions},
    }  # fmt: skip


def _state(link: Link) -> str:
    return str(link.verdict) if link.built else "missing"


def _next(truck: Truck, link: Link, deed: Deed | None) -> str:
    """The next thing to do for one link: an action of the chain, or how its weakest number is measured."""
    if deed is not None:
        return deed.what
    for each in link.rests_on:
        measure = measure_of(each.parameter, truck)
        if measure is not None:
            return f"{measure.how} Takes {measure.minutes} min."
    return ""


def _on_page(ask: Ask, deed: Deed) -> str:
    """Address of the page that does what a command would; "" where there is none (yet)."""
    words = deed.command.split()
    name = words[1] if len(words) > 1 and words[0] == "pinproof" else ""
    known = {page.name for page in ask.site.pages if page.of_design}
    return ask.address(name) if name in known else ""


def _verdict(ask: Ask) -> dict[str, Any]:
    proof = ask.site.work.proof(ask.truck)
    return {"verdict": proof.verdict, "headline": headline(proof.verdict, proof.rests_on), "hash": ask.design.hash}


def _history(ask: Ask) -> dict[str, Any]:
    design = ask.design
    standing = ask.site.workspace.standing(design.name)
    return {
        "hash": design.hash, "usable": design.usable, "versions": standing.versions, "at": standing.at,
        "undo": standing.undo.what if standing.undo else "", "redo": standing.redo.what if standing.redo else "",
    }  # fmt: skip


def _undo(ask: Ask) -> Done:
    design = ask.site.workspace.undo(ask.values["design"], ask.text("base"))
    return Done({"hash": design.hash}, ask.back(ask.address("history")))


def _redo(ask: Ask) -> Done:
    design = ask.site.workspace.redo(ask.values["design"], ask.text("base"))
    return Done({"hash": design.hash}, ask.back(ask.address("history")))


PAGE = Page(
    "chain", "/d/{design}/chain", "Chain",
    "How far is the chain shown, where does it give way, what is to be done now?",
    result, "chain.html", context,
)  # fmt: skip
VERDICT = Page(
    "verdict", "/d/{design}/verdict", "Verdict", "Is the design proven?", _verdict, "verdict.html", menu=False
)
STATE = Page(
    "history", "/d/{design}/history", "History", "Which versions of this file are kept, and what would undo take back?",
    _history, "history.html",
    actions=(
        Action("undo", "Writes the version before back.", _undo, (BASE,)),
        Action("redo", "Writes the version after again.", _redo, (BASE,)),
    ),
)  # fmt: skip
