"""A new design from the answers of the interview: the sheet with resistors filled in.

Answers: what do these answers make, which resistors give the list, which drawer is meant?
Touches: reads the drawer file that an answer names; writes nothing.
Beside:  `interview` has the questions, `sheet` makes the file of what was understood, `values` finds resistors.
"""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from pinproof.chain.interview import QUESTIONS, AnswerFault, Answers, Parts, understand
from pinproof.chain.sheet import checked, sheet_of
from pinproof.chain.stock import load_drawer
from pinproof.chain.values import Fitted, Tried, chosen, fit_to_list
from pinproof.choose import Choice, Drawer
from pinproof.choose.pick import series_of
from pinproof.design import Truck
from pinproof.design.comments import CHOSEN, GIVES_LIST
from pinproof.design.starter import Sheet
from pinproof.errors import PinproofError
from pinproof.quantities import format_ohm_short


class Values(NamedTuple):
    """Resistors that give the list; what choosing gave; which parts were understood, in words; what cannot be had."""

    fitted: tuple[Fitted, ...] = ()
    tried: Tried | None = None
    parts: Parts | None = None
    refused: str = ""

    @property
    def choice(self) -> Choice | None:
        """What choosing takes, if the line holds with it."""
        return self.tried.holding if self.tried is not None else None


def taken(answers: Answers, key: str, text: str, design_id: str, folder: Path) -> tuple[dict[str, Any], Truck]:
    """One more answer, with the truck that all answers make so far.

    Raises
    ------
    AnswerFault
        It cannot be used, or not with the answers before it.
    """
    question = next(each for each in QUESTIONS if each.key == key)
    tried = {**answers, key: understand(question, text)}
    drawer_of(tried, folder)
    return tried, checked(sheet_of(tried, design_id), key)


def all_taken(
    texts: Mapping[str, str], design_id: str, folder: Path
) -> tuple[dict[str, Any], Truck | None, dict[str, str]]:
    """Every answer at once, as of a form: what was understood, the truck of it, and what is wrong by question.

    A question that does not go with the answers before it is passed over if it was left open, else it is wrong.
    """
    answers: dict[str, Any] = {}
    truck: Truck | None = None
    wrong: dict[str, str] = {}
    for each in QUESTIONS:
        text = texts.get(each.key, "")
        try:
            if each.needed(answers):
                answers, truck = taken(answers, each.key, text, design_id, folder)
            elif not wrong and understand(each, text) is not None:  # what hangs on a wrong answer is not blamed too
                wrong[each.key] = "This does not go with the other answers. Leave it open."
        except AnswerFault as fault:
            wrong[each.key] = str(fault)
    return answers, truck, wrong


def drawer_of(answers: dict[str, Any], folder: Path) -> Drawer | None:
    """The drawer that was named, or None. Its name is kept in the answers as seen from the new file."""
    parts = answers.get("parts")
    if parts is None or not parts.drawer:
        return None
    named = Path(parts.drawer)
    if named.suffix.lower() != ".toml":
        raise AnswerFault("parts", f'"{named.name}" is not a drawer file. Make one of it: pinproof drawer {named}')
    beside = Path(os.path.normpath(folder / named))  # the folder need not be there yet
    found = named if named.is_absolute() or (named.exists() and not beside.exists()) else beside
    try:
        drawer = load_drawer(found)
    except PinproofError as fault:
        raise AnswerFault("parts", str(fault)) from None
    if not drawer.parts:
        raise AnswerFault("parts", f"{named.name} is empty.")
    answers["parts"] = dataclasses.replace(parts, drawer=_seen_from(folder, found))
    return drawer


def _seen_from(folder: Path, file: Path) -> str:
    """A file's name as it is written into a design file of this folder."""
    try:
        return Path(os.path.relpath(file, folder)).as_posix()
    except ValueError:  # on another drive
        return file.resolve().as_posix()


def with_values(sheet: Sheet, truck: Truck, answers: dict[str, Any], folder: Path) -> tuple[Sheet, Values]:
    """The sheet with resistors filled in: those that give the list's ohms; without such a list those that are best."""
    parts: Parts | None = answers.get("parts")
    series = series_of(truck)
    drawer = drawer_of(answers, folder)
    line = truck.lines[0]
    found = fit_to_list(truck, line, series, [part.nominal_ohm for part in drawer.parts] if drawer is not None else ())
    tried = chosen(truck, line, series if drawer is None else dataclasses.replace(drawer, pairs=False))
    values = {each.contact: format_ohm_short(each.ohm, digits=6) for each in found if each.fits}
    origin = "your drawer" if drawer is not None else series
    note = f"from {origin}: {GIVES_LIST}"
    choice = tried.holding
    if not found and choice is not None:
        values = {
            "" if each.path.endswith(".idle_resistor") else each.path.split(".")[1]: each.text
            for each in choice.resistors
            if each.path.startswith("contact.") or each.path.endswith(".idle_resistor")
        }
        note = f"{CHOSEN} {origin} by pinproof new"
    idle = values.pop("", sheet.idle_resistor)
    filled = dataclasses.replace(sheet, resistors={**sheet.resistors, **values}, resistor_note=note, idle_resistor=idle)
    try:
        checked(filled, "list")
    except AnswerFault as fault:
        return sheet, Values((), None, parts, f"{origin} cannot give the list, so all stays to be chosen: {fault}")
    return (filled if values or idle != sheet.idle_resistor else sheet), Values(found, tried, parts)
