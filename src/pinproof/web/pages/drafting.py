"""Harness, start inhibit and driveline begun by a form: what the file does not say is asked, the rest is proposed.

Answers: what is asked, with unit and example; what would be written, what is wrong, what is still open?
Touches: the design file, through the workspace.
Beside:  `design.begin_harness`, `begin_inhibit` and `begin_drive` draft the tables, as for the command;
         `design.fill_draft` puts the answers into them.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from pinproof.design import Truck
from pinproof.design.draft_blanks import Blank, DraftForm, draft_form
from pinproof.design.draft_lines import has_draft
from pinproof.design.fill_draft import Filled, filled
from pinproof.design.key import Key
from pinproof.design.messages import ChangedUnderneath, EditFault, Fault
from pinproof.design.model import BASES
from pinproof.design.words import parameter
from pinproof.errors import QuantityFault
from pinproof.quantities import DIMENSIONS, format_value, parse, parse_span
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, Parameter
from pinproof.web.pages.again import shown_again
from pinproof.web.render import environment

Check = Callable[[Truck], object]
TITLES = {
    "supply": "Supply", "harness": "The harness", "inhibit": "The start inhibit", "drive": "The driveline",
    "drive.tyre": "Tyre", "drive.axle": "Axle", "drive.gear": "Forward gears", "drive.transfer": "Transfer case",
    "drive.converter": "Converter", "drive.engine": "Engine", "drive.guard": "Guard for shifts down",
    "input": "Pin", "run": "Way of the wires", "load": "Load",
}  # fmt: skip
WORDS = {"true": "yes", "false": "no"}
SUCH_AS = {"supply.crank": "6.5 V and 11 V"}
"""How an answer looks where any number of its dimension would mislead."""
INCH_M, FOOT_IN = 0.0254, 12
TURNED = frozenset({"length", "speed", "temperature", "mass", "force"})


def draft_context(ask: Ask, key: str, typed: Mapping[str, str] | None = None) -> Mapping[str, Any] | None:
    """What the form shows; None where the text cannot hold a draft (the text page says why)."""
    design = ask.design
    try:
        form = draft_form(design.text, key, design.path.name, _units(ask))
    except EditFault:
        return None
    typed = typed or {}
    rows = _rows(form, typed, ask.settings.units)
    asked = [row for row in rows if row["first"]]
    rest = [row for row in rows if not row["first"]]
    now = filled(form, {})
    return {
        "groups": _groups(asked), "usual": _groups(rest), "count": len(rest), "bases": BASES,
        "begun": has_draft(design.text, key), "written": written_html(design.text, now.text, design.path.name),
        "summary": summary_of(form, now), "outlook": outlook_of(now), "can_count": now.can_count,
        "numbers": {blank.path: number for number, blank in enumerate(form.blanks)},
    }  # fmt: skip


def _units(ask: Ask) -> str | None:
    """US where this browser shows US; else as the file has it."""
    return "us" if ask.settings.units == "us" else None


def _groups(rows: Sequence[Mapping[str, Any]]) -> list[tuple[str, list[Mapping[str, Any]]]]:
    """The rows under the titles of their tables."""
    found: dict[str, list[Mapping[str, Any]]] = {}
    for row in rows:
        found.setdefault(row["title"], []).append(row)
    return list(found.items())


def _rows(form: DraftForm, typed: Mapping[str, str], units: str) -> list[Mapping[str, Any]]:
    """One row for each key, with a box for each part of it."""
    several: dict[str, list[Blank]] = {}
    for blank in form.blanks:
        several.setdefault(blank.path.removesuffix(f".{blank.part}") if blank.part else blank.path, []).append(blank)
    bases = {each.path: each.value["basis"] for each in form.lines if _has_basis(each.value)}
    numbers = {blank.path: number for number, blank in enumerate(form.blanks)}
    return [
        {
            "path": path, "title": _title(form, blanks[0].table), "label": _label(path),
            "why": _sentence(blanks[0].why), "optional": blanks[0].optional,
            "first": any(each.asked or each.in_place for each in blanks) or _is_shown(form, path),
            "boxes": [_box(each, numbers[each.path], typed, len(blanks) > 1) for each in blanks],
            "basis": typed.get(f"{path}.basis", bases.get(path, "")), "number": numbers[blanks[0].path],
            "example": _example(blanks[0], units),
        }
        for path, blanks in several.items()
    ]  # fmt: skip


def _is_shown(form: DraftForm, path: str) -> bool:
    """True for what is proposed but has to be looked at before anything else: the lever's detents and what they do."""
    table, _, name = path.rpartition(".")
    if name == "positions":
        levers = [f"device.{each.value}" for each in form.lines if each.path == "inhibit.lever"]
        return table in levers or any(each.path == f"{table}.mid" for each in form.lines)
    return path == "inhibit.permitted"


def _has_basis(value: Any) -> bool:
    return isinstance(value, dict) and "basis" in value


def _title(form: DraftForm, table: str) -> str:
    """What a table is called; runs by the places that they join."""
    if table in TITLES:
        return TITLES[table]
    kind, _, rest = table.partition(".")
    between = next((each.value for each in form.lines if each.path == f"{table}.between"), None)
    if kind == "run" and isinstance(between, list) and len(between) == 2:
        return f"{TITLES['run']} from {between[0]} to {between[1]}"
    named = rest.replace(".contact.", ", contact ").replace(".cavity.", ", cavity ")
    return f"{TITLES.get(kind, kind.capitalize())} {named}"


def _label(path: str) -> str:
    told = parameter(path)
    if told != path:
        return told[:1].upper() + told[1:]
    name = path.rpartition(".")[2]
    words = {"mid": "between two detents", "gear": "ratios", "transfer": "ratios", "most": "most revolutions",
             "roll_out": "way of some turns", "live": "has supply in", "pull_in": "pulls in at",
             "drop_out": "lets go at", "coil": "ohms of the coil", "permitted": "may crank in", "lever": "lever",
             "insulation": "cable stands", "amps": "draws at most", "slip": "slip at most"}  # fmt: skip
    name = words.get(name, name.replace("_", " "))
    return name[:1].upper() + name[1:]


def _sentence(text: str) -> str:
    """A comment as a sentence of the page."""
    text = text.strip().rstrip(":")
    return text[:1].upper() + text[1:] + ("" if not text or text.endswith((".", "?", "!")) else ".")


def _box(blank: Blank, number: int, typed: Mapping[str, str], several: bool) -> Mapping[str, Any]:
    key = blank.key
    kind = key.kind if key is not None else ""
    words: Sequence[str] = ()
    if key is not None and kind in ("word", "states"):
        words = key.words
    elif kind == "flag":
        words = ("true", "false")
    text = typed.get(blank.path, blank.text)
    return {
        "path": blank.path, "id": f"q{number}",
        "part": blank.part.replace("|", " to ") if blank.part != "value" or several else "",
        "text": text, "was": blank.text, "words": words if not text or text in words else (), "told": WORDS,
        "asked": blank.asked, "optional": blank.optional,
        "wide": blank.several, "size": max(12, min(34, len(text) + 2)),
    }  # fmt: skip


def _example(blank: Blank, units: str) -> str:
    """How an answer looks, with its unit: the key's own example, else one of its dimension."""
    key = blank.key
    if "such as" in blank.why or not (blank.asked or blank.optional):
        return ""
    if key is None or key.kind in ("word", "flag", "states", "ref", "refs", "chain"):
        return ""
    if blank.several and key.kind not in ("lengths", "range"):
        return ""
    text = blank.example or key.example or SUCH_AS.get(blank.path.removesuffix(f".{blank.part}"), "")
    if text.startswith("{"):
        value = tomllib.loads(f"x = {text}")["x"]
        text = f"{value['low']} and {value['high']}" if "low" in value else str(value.get("value", ""))
        return _customary(text, key, units, " and ")
    if text:
        return _customary(text, key, units, " to ")
    if key.dimension in DIMENSIONS:
        return DIMENSIONS[key.dimension].phrase.partition("such as ")[2].replace('"', "")
    return ""


def _customary(text: str, key: Key, units: str, joint: str) -> str:
    """An example in the units of this browser."""
    if units != "us" or key.dimension not in TURNED:
        return text
    try:
        low, high = parse_span(text.replace(" and ", " to "), key.dimension)
    except QuantityFault:
        try:
            low = high = parse(text, key.dimension)
        except QuantityFault:
            return text
    return joint.join(_us(each, key.dimension) for each in dict.fromkeys((low, high)))


def _us(value: float, dimension: str) -> str:
    """A quantity as a person would write it: a length from one foot on in feet and whole inches, as a tape shows it."""
    inches = round(value / INCH_M)
    if dimension == "length" and inches >= FOOT_IN:
        return f"{inches // FOOT_IN} ft {inches % FOOT_IN} in"
    return format_value(value, dimension, system="us")


def summary_of(form: DraftForm, now: Filled) -> str:
    """How far the form is, in a few words, for the line that stays in sight."""
    asked = sum(each.asked for each in form.blanks)
    if now.wrong:
        return "Look at what is marked"
    return f"{len(now.open)} of {asked} open" if now.open else f"All {asked} answered"


def outlook_of(now: Filled) -> str:
    """What a save would bring, in one sentence."""
    if now.wrong:
        return "Something cannot be used yet; nothing would be written."
    if now.counts or (now.can_count and not now.open):
        return "Everything is there: it counts as soon as it is saved."
    if now.can_count:
        return "It can be used without what is open, or wait behind # until that is known."
    return "What is known is kept behind # in the file; it counts when the rest is known."


def written_html(before: str, after: str, file: str) -> str:
    """What a save would put into the file, with where."""
    old, new = before.splitlines(), after.splitlines()
    steps = difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes() if after else []
    cuts = [(first, "\n".join(new[start:stop]).strip("\n"), last - first) for tag, first, last, start, stop in steps
            if tag != "equal"]  # fmt: skip
    html: str = (
        environment()
        .get_template("written_part.html")
        .render(
            cuts=[(at, text, gone, at >= len(old)) for at, text, gone in cuts], file=file, lines=len(new) - len(old)
        )
    )
    return html


def answers_of(ask: Ask) -> dict[str, str]:
    """What was sent, by path: an object from a program, fields "set:PATH", "basis:PATH", "out:PATH" from the page."""
    given = ask.form.get("answers")
    if isinstance(given, Mapping):
        return {str(path): text for path, text in given.items() if isinstance(text, str)}
    found: dict[str, str] = {}
    for name, text in ask.form.items():
        kind, _, path = name.partition(":")
        if path and isinstance(text, str) and kind in ("set", "basis", "out"):
            found[path if kind == "set" else f"{path}.{kind}"] = text
    return found


def _told(form: DraftForm, faults: Sequence[Fault]) -> tuple[dict[str, str], list[str]]:
    """Faults by the box they belong to, and those of no box."""
    by_box: dict[str, str] = {}
    others: list[str] = []
    for fault in faults:
        box = next(
            (
                each.path for each in form.blanks
                if fault.path == each.path or each.path.startswith(f"{fault.path}.")
                or (each.several and fault.path.startswith(f"{each.path}."))
            ),
            "",
        )  # fmt: skip
        if box:
            by_box.setdefault(box, fault.message)
        else:
            others.append(f"{fault.path}: {fault.message}" if fault.path else fault.message)
    return by_box, others


def actions(key: str, page: str, what: str, check: Check) -> tuple[Action, Action]:
    """The two actions of a form: what answers would make, and saving them."""

    def look(ask: Ask) -> Done:
        design = ask.design
        form = draft_form(design.text, key, design.path.name, _units(ask))
        now = filled(form, answers_of(ask), check)
        wrong, others = _told(form, now.wrong)
        return Done(
            {
                "open": now.open, "counts": now.counts, "can_count": now.can_count, "wrong": wrong, "others": others,
                "summary": summary_of(form, now), "outlook": outlook_of(now), "text": now.text,
                "html": written_html(design.text, now.text, design.path.name),
            }
        )  # fmt: skip

    def begin(ask: Ask) -> Done:
        design, answers = ask.design, answers_of(ask)
        form = draft_form(design.text, key, design.path.name, _units(ask))
        now = filled(form, answers, check, early=ask.text("use") == "yes")
        if now.wrong:
            wrong, others = _told(form, now.wrong)
            faults = [
                {
                    "line": each.line,
                    "column": each.column,
                    "path": each.path,
                    "message": each.message,
                    "read": each.read,
                }
                for each in now.wrong
            ]
            count = f"{len(faults)} answer{'' if len(faults) == 1 else 's'}"
            told = Finding(
                422, f"{count} cannot be used yet. Nothing was written; what you typed is still here.",
                "Mend what is marked, or leave it open.", "", faults,
            )  # fmt: skip
            raise _again(ask, told, answers, wrong, others)
        saved = design
        if now.text != design.text:
            try:
                saved = ask.site.workspace.write(design.name, now.text, ask.text("base"), what)
            except ChangedUnderneath:
                told = Finding(
                    409, f"{design.path.name} was changed by someone else since this page was made. Nothing was "
                    "written; what you typed is still here.", "Look at it again, then save.", design.path.name,
                )  # fmt: skip
                raise _again(ask, told, answers, {}, []) from None
        done = {"design": design.name, "hash": saved.hash, "counts": now.counts, "open": now.open}
        return Done(done, ask.address(page, fragment="" if now.counts else "begin"))

    def _again(
        ask: Ask, told: Finding, answers: Mapping[str, str], wrong: Mapping[str, str], others: Sequence[str]
    ) -> Finding:
        more = {"draft": draft_context(ask, key, answers), "wrongs": wrong, "others": others}
        return shown_again(ask, ask.address(page), told, more)

    return (
        Action(
            "begin", f"Writes {what} into the file: behind # until everything that is needed is answered.", begin,
            (BASE, ANSWERS, USE),
        ),
        Action("look", "Says what these answers would write and what is wrong; nothing is written.", look, (ANSWERS,)),
    )  # fmt: skip


PLAIN: Mapping[str, Any] = {"draft": None, "wrongs": {}, "others": [], "wrong": "", "then": ""}
"""What the form's template needs where there is nothing to say."""
BASE = Parameter("base", "Hash of the version that the page was made from.", required=True)
ANSWERS = Parameter("answers", 'Design path to its text; "" or left out: not known yet.', "object")
USE = Parameter("use", '"yes": take it into use though something is open.', words=("yes",))
