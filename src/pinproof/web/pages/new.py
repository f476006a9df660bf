"""A new design from the interview: every question on one page, "don't know" is always an answer."""

from __future__ import annotations

import re
import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pinproof.chain.beginning import all_taken, with_values
from pinproof.chain.interview import QUESTIONS, AnswerFault, Question, question, understand
from pinproof.chain.sheet import sheet_of
from pinproof.design.starter import design_text
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.again import shown_again
from pinproof.web.workspace import NAME, RESERVED

SEVERAL = "controls"  # the one question with several answers at once
LONG = "list"  # the one whose answer may need several lines
USUAL_FILE = "truck"
LONGEST_FILE = 40


def result(ask: Ask) -> dict[str, Any]:
    """The questions with their options, as `pinproof new` asks them."""
    return {
        "questions": [
            {
                "key": each.key, "ask": each.ask, "more": list(each.more),
                "options": [{"value": value, "words": words} for value, words in each.options],
                "several": each.key == SEVERAL, "long": each.key == LONG,
            }
            for each in QUESTIONS
        ]
    }  # fmt: skip


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The questions, nothing answered yet."""
    return {"questions": found["questions"], "typed": {}, "file": "", "faults": {}, "wrong": "", "then": ""}


def _texts(ask: Ask) -> dict[str, str]:
    """What was answered, by question; several ticks of one question as one text."""
    found = {}
    for each in QUESTIONS:
        given = ask.form.get(each.key, "")
        found[each.key] = ", ".join(given) if isinstance(given, list) else given
    return found


def _look(ask: Ask) -> tuple[dict[str, Any], Any, dict[str, str]]:
    """What was understood and what is wrong with it; only a drawer of this folder is looked at."""
    texts, refused = _texts(ask), {}
    refused = _drawer_fault(ask, question("parts"), texts["parts"])
    if refused:
        texts["parts"] = ""
    answers, truck, wrong = all_taken(texts, f"pp-{secrets.token_hex(3)}", ask.site.workspace.folder)
    return answers, truck, {**wrong, **refused}


def _drawer_fault(ask: Ask, parts: Question, text: str) -> dict[str, str]:
    try:
        meant = understand(parts, text)
    except AnswerFault:
        return {}  # told with the others
    if meant is None or not meant.drawer:
        return {}
    name = meant.drawer
    if not re.fullmatch(r"[^/\\:]+", name):
        return {"parts": "Write the drawer's name alone; it is looked for in the folder of these pages."}
    try:
        ask.site.workspace.own(name)
    except Finding as fault:
        return {"parts": str(fault)}
    return {}


def _check(ask: Ask) -> Done:
    """Which questions are asked, and what is wrong so far. Nothing is written."""
    answers, _, wrong = _look(ask)
    return Done({"asked": [each.key for each in QUESTIONS if each.needed(answers)], "wrong": wrong})


def _begin(ask: Ask) -> Done:
    """Write the design and show its chain."""
    answers, truck, wrong = _look(ask)
    if wrong or truck is None:
        count = f"{len(wrong)} answer{'' if len(wrong) == 1 else 's'}"
        faults = [{"line": 0, "column": 0, "path": key, "message": said, "read": ""} for key, said in wrong.items()]
        told = Finding(
            422, f"{count} cannot be used yet. Nothing was written.", "Mend what is marked, or leave it open.", "",
            faults,
        )  # fmt: skip
        raise shown_again(
            ask, ask.site.address("new"), told,
            {"typed": {each.key: ask.form.get(each.key, "") for each in QUESTIONS}, "faults": wrong,
             "file": ask.text("file")},
        )  # fmt: skip
    sheet, values = with_values(sheet_of(answers, truck.id), truck, answers, ask.site.workspace.folder)
    name = _free(ask, ask.text("file").strip().removesuffix(".toml") or _plain(str(answers.get("name") or "")))
    design = ask.site.workspace.create(name, design_text(sheet))
    said = values.refused or (values.tried.text if values.tried is not None else "")
    done = {"design": design.name, "hash": design.hash, "values": values.fitted, "not_chosen_because": said}
    return Done(done, ask.site.address("chain", design=design.name))


def _plain(name: str) -> str:
    """A file's name from a truck's."""
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower())[:LONGEST_FILE].strip("-")
    return plain if NAME.fullmatch(plain) and not RESERVED.fullmatch(plain) else USUAL_FILE


def _free(ask: Ask, wanted: str) -> str:
    """The name itself if it was typed; with a number if it was made up and is taken."""
    if ask.text("file").strip():
        return wanted
    taken = {Path(each).stem.casefold() for each in [*ask.site.workspace.names(), *ask.site.workspace.others()]}
    name, number = wanted, 2
    while name.casefold() in taken:
        name, number = f"{wanted}-{number}", number + 1
    return name


ANSWERS = tuple(
    Parameter(each.key, f"{each.ask} Left out: don't know.", many=each.key == SEVERAL) for each in QUESTIONS
)
PAGE = Page(
    "new", "/new", "New design", "What is known of the truck so far?", result, "new.html", context,
    actions=(
        Action(
            "begin", "Writes a design from the answers.", _begin,
            (*ANSWERS, Parameter("file", "Name of the file; made from the truck's name where it is left out.")),
        ),
        Action("check", "Says which questions are asked and what is wrong; nothing is written.", _check, ANSWERS),
    ),
    menu=False,
)  # fmt: skip
