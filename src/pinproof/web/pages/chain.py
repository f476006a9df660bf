"""The chain of one design, its verdict alone, and the history of its file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pinproof.chain.actions import Action as Deed
from pinproof.chain.links import Chain, Link
from pinproof.chain.measures import link_of, measure_of
from pinproof.design import Truck
from pinproof.pack.sentences import headline
from pinproof.verdict import Verdict
from pinproof.web.commands import PAGES, typed
from pinproof.web.entries import group_ident, groups_of
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.truck import SETS, set_of

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
        weakest = next((each.parameter for each in link.rests_on), "")
        rows.append(
            {
                "link": link, "pages": behind, "next": _next(ask.truck, link, deed), "state": _state(link),
                "ways": _ways(ask, deed) if deed is not None else [],
                "weakest": place_of(ask, weakest) if link.weakest and weakest else "",
            }
        )  # fmt: skip
    return {
        "chain": chain, "rows": rows, "headline": headline(chain.proof, proof.rests_on),
        "verdicts": {each.name: _state(each) for each in chain.links},
        "reason": _reason(chain), "broken": [each.name for each in chain.links if each.verdict is Verdict.FAIL],
        "ways": {each.what: _ways(ask, each) for each in chain.actions},
    }  # fmt: skip


def _state(link: Link) -> str:
    return str(link.verdict) if link.built else "missing"


def _reason(chain: Chain) -> str:
    """Why the proof says what it says: the text of the link that it judges; "" where it holds."""
    return "" if chain.proof is Verdict.PASS else next(each.text for each in chain.links if each.name == "reading")


def _next(truck: Truck, link: Link, deed: Deed | None) -> str:
    """The next thing to do for one link: an action of the chain, or how its weakest number is measured."""
    if deed is not None:
        return deed.what
    for each in link.rests_on:
        measure = measure_of(each.parameter, truck)
        if measure is not None:
            return f"{measure.how} Takes {measure.minutes} min."
    return ""


def _ways(ask: Ask, deed: Deed) -> list[tuple[str, str, str]]:
    """Where one thing is done: words, address, and the command for whoever types; the best way first."""
    file = ask.design.path.name
    found: dict[str, tuple[str, str, str]] = {}
    for command in [deed.command, *re.findall("`(pinproof [^`]*)`", f"{deed.why} {' '.join(deed.steps)}")]:
        words = command.split()
        name = PAGES.get(words[1], "") if len(words) > 1 and words[0] == "pinproof" else ""
        if name:
            found.setdefault(name, (ask.site.page(name).title, ask.address(name), typed(command, file)))
    if deed.order_today:
        found["downloads"] = (
            f"What to order: {ask.site.page('downloads').title}",
            ask.address("downloads"),
            f"pinproof pack {file}",
        )
    elif place := next((at for path in deed.parameters if (at := place_of(ask, path))), ""):
        found.setdefault("truck", (f"Write it in: {ask.site.page('truck').title}", place, ""))
    return list(found.values())


def place_of(ask: Ask, path: str) -> str:
    """Address of the fields of a design path on the page of the truck; "" for a path that is not there."""
    tables = [table for several in SETS.values() for table in several]
    known = {each.path: each.table for each in reversed(groups_of(ask.design.text, tables))}
    parts = path.split(".")
    for count in range(len(parts) - 1, -1, -1):
        head = ".".join(parts[:count])
        if head in known and (head or parts[0] == "temperature"):
            return ask.address("truck", of=set_of(known[head]), fragment=group_ident(head))
    return ""


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
