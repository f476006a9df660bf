"""Saving from a page: the change, or both versions side by side where somebody else was quicker.

Answers: the design after the change; else a finding that shows what was typed, what was seen and what stands there now.
Touches: the design file, through the workspace.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Mapping
from typing import Any

from pinproof.design.edit import Change
from pinproof.design.messages import ChangedUnderneath
from pinproof.design.words import parameter
from pinproof.web.entries import flat
from pinproof.web.finding import Finding
from pinproof.web.page import Ask, Done

MOST_LINES = 200


def save(ask: Ask, changes: Mapping[str, Change], what: str, go: str = "") -> Done:
    """Change entries of the design that the form was made from.

    Raises
    ------
    Finding
        409 with both versions, if the file is another one by now. Nothing was written.
    DesignFault, EditFault, SaveFailed
        As `Workspace.change`.
    """
    name, base = ask.values["design"], ask.text("base")
    target = go or ask.address(ask.page.name)
    if not changes:
        return Done({"design": name, "hash": ask.design.hash, "changed": []}, target)
    try:
        design = ask.site.workspace.change(name, changes, base, what)
    except ChangedUnderneath:
        raise conflict(ask, changes, base) from None
    return Done({"design": name, "hash": design.hash, "changed": sorted(changes)}, target)


def conflict(ask: Ask, changes: Mapping[str, Change], base: str) -> Finding:
    """Both versions, and a form that puts the typed values into the file as it is now."""
    now = ask.design
    seen = ask.site.workspace.text_of(now.name, base)
    was, is_now = flat(seen) if seen is not None else {}, flat(now.text)
    rows = [
        {
            "path": path, "words": parameter(path), "seen": _at(was, path), "now": _at(is_now, path),
            "yours": _words(change),
        }
        for path, change in changes.items()
    ]  # fmt: skip
    lines = (
        [] if seen is None else list(difflib.unified_diff(seen.splitlines(), now.text.splitlines(), lineterm="", n=1))
    )
    return Finding(
        409, f"{now.path.name} was changed by someone else since this page was made. Nothing was written, and nothing "
        "that you typed is lost.", "Look at both, then put yours into the file as it is now, or leave it.",
        now.path.name, template="conflict.html",
        context={
            "rows": rows, "lines": lines[2 : 2 + MOST_LINES], "now": now, "again": ask.address("truck/save"),
            "changes": json.dumps(dict(changes), ensure_ascii=False),
        },
        data={"conflict": {"base": base, "now": now.hash, "entries": rows}},
    )  # fmt: skip


def _at(entries: Mapping[str, str], path: str) -> str:
    if path in entries:
        return entries[path]
    inside = {name.removeprefix(f"{path}."): text for name, text in entries.items() if name.startswith(f"{path}.")}
    return ", ".join(f"{name} {text}" for name, text in inside.items())


def _words(change: Any) -> str:
    if change is None:
        return "(taken out)"
    if isinstance(change, Mapping):
        return ", ".join(f"{name} {text}" for name, text in change.items())
    return str(change)
