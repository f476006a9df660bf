"""The whole file as text, for what no form shows and for a file that cannot be used: checked while one types."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

from pinproof.design import DesignFault, loads
from pinproof.design.messages import ChangedUnderneath
from pinproof.web.finding import Finding, finding_of
from pinproof.web.page import Action, Ask, Done, Page, Parameter

MOST_LINES = 400


def result(ask: Ask) -> dict[str, Any]:
    """The text as it stands, and everything wrong or odd in it."""
    design = ask.design
    return {"design": design.name, "hash": design.hash, "text": design.text, **_checked(design.text, design.path.name)}


def _checked(text: str, name: str) -> dict[str, Any]:
    try:
        truck = loads(text, name)
    except DesignFault as error:
        return {"ok": False, "faults": list(finding_of(error).faults), "odd": []}
    return {"ok": True, "faults": [], "odd": list(truck.warnings)}


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The same for the template; `mine` is what somebody typed for another version."""
    return {"found": found, "mine": found["text"], "lines": [], "saved": ask.values.get("saved", "") == "1"}


def _text(ask: Ask) -> str:
    """What was typed, with the line ends and the mark that the file has; a browser sends CRLF."""
    typed = ask.text("text").replace("\r\n", "\n").replace("\r", "\n")
    old = ask.design.text
    if "\r\n" in old:
        typed = typed.replace("\n", "\r\n")
    mark = "\ufeff" if old.startswith("\ufeff") else ""
    return mark + typed.removeprefix("\ufeff")


def _save(ask: Ask) -> Done:
    name, base, text = ask.values["design"], ask.text("base"), _text(ask)
    design = ask.design
    anyway = ask.text("anyway") == "yes"
    checked = _checked(text, design.path.name)
    if not checked["ok"] and not anyway:
        raise _again(ask, 422, "This text cannot be used as a design. Nothing was written.", text, checked, [])
    try:
        saved = ask.site.workspace.write(name, text, base, "the text of the file", checked=not anyway)
    except ChangedUnderneath:
        seen = ask.site.workspace.text_of(name, base) or ""
        lines = difflib.unified_diff(seen.splitlines(), design.text.splitlines(), lineterm="", n=1)
        what = f"{design.path.name} was changed by someone else since this page was made. Nothing was written, and "
        raise _again(
            ask, 409, what + "your text is still below.", text, checked, [*lines][2 : 2 + MOST_LINES]
        ) from None
    return Done({"design": name, "hash": saved.hash, "ok": checked["ok"]}, ask.address("text", saved="1"))


def _again(ask: Ask, status: int, what: str, text: str, checked: Mapping[str, Any], lines: list[str]) -> Finding:
    """The page once more with what was typed, and why it was not saved."""
    found = {"design": ask.design.name, "hash": ask.design.hash, "text": ask.design.text, **checked}
    hint = "Look at what the other one changed, take it over, and save again." if lines else "Mend these places."
    return Finding(
        status, what, hint, ask.design.path.name, checked["faults"], "text.html",
        {"found": found, "mine": text, "lines": lines, "saved": False}, {"now": ask.design.hash},
    )  # fmt: skip


def _check(ask: Ask) -> Done:
    return Done(_checked(_text(ask), ask.design.path.name))


BASE = Parameter("base", "Hash of the version that the text was made from.", required=True)
TEXT = Parameter("text", "The whole text of the file.", required=True)
PAGE = Page(
    "text", "/d/{design}/text", "The file", "What stands in the file, and what is wrong or odd in it?", result,
    "text.html", context, parameters=(Parameter("saved", "1 right after a save.", words=("1",)),),
    actions=(
        Action(
            "save", "Writes the whole text.", _save,
            (BASE, TEXT, Parameter("anyway", "yes: although it cannot be used yet.", words=("yes",))),
        ),
        Action("check", "Lists everything wrong in a text; nothing is written.", _check, (TEXT,)),
    ),
)  # fmt: skip
