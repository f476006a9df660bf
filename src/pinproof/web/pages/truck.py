"""Truck and line as a form: the same entries as in the file, proven again while one types."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pinproof.design import DesignFault, EditFault, loads
from pinproof.design.draft_lines import key_of
from pinproof.design.edit import Change, with_values
from pinproof.design.model import BASES
from pinproof.errors import PinproofError, QuantityFault
from pinproof.quantities import format_value, parse, parse_span
from pinproof.web.entries import Group, changes_of, groups_of, pulls_joined
from pinproof.web.finding import Finding, finding_of
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.live import panel_html, summary_of
from pinproof.web.pages.saving import save
from pinproof.web.workspace import is_toml

TABLES = (
    "truck",
    "supply",
    "defaults",
    "input",
    "line",
    "line.window",
    "line.target",
    "contact",
    "line.element",
    "parts",
)
SETS: Mapping[str, tuple[str, ...]] = {
    "": TABLES,
    "harness": (
        "harness", "supply", "run", "place", "load", "feed", "stud", "plug", "device", "joint", "terminal", "seal",
    ),
    "inhibit": ("inhibit", "supply", "device", "switch", "relay", "relay.contact", "driver", "feed"),
    "drive": (
        "drive", "drive.tyre", "drive.axle", "drive.transfer", "drive.gear", "drive.converter", "drive.engine",
        "drive.guard", "drive.sensor", "drive.shift", "drive.borrowed", "drive.settings",
    ),
}  # fmt: skip
"""Which tables are shown together: truck and line, or what another page is made from."""
SET_TITLES = {"": "Truck and line", "harness": "What the file says of the harness",
              "inhibit": "What the file says of the start", "drive": "What the file says of the driveline"}  # fmt: skip
TURNED = frozenset({"length", "speed", "temperature", "mass", "force"})  # what the switch of units acts on
HEADINGS = {
    "truck": "Truck", "supply": "Supply", "defaults": "What holds where an entry says nothing", "input": "Pin",
    "line": "Coded line", "line.window": "What the controller makes of a reading",
    "line.target": "Readings that a list names", "contact": "Switches and their resistors",
    "line.element": "Elements of the circuit", "parts": "Resistors to be had",
    "harness": "The harness", "run": "Runs", "place": "Places", "load": "Loads", "feed": "Feeds", "stud": "Studs",
    "plug": "Plugs", "device": "Devices", "joint": "Joints", "terminal": "Terminals", "seal": "Seals",
    "inhibit": "The start inhibit", "switch": "Switches", "relay": "Relays", "relay.contact": "Contacts of relays",
    "driver": "Drivers", "drive": "Driveline", "drive.tyre": "Tyre", "drive.axle": "Axle",
    "drive.transfer": "Transfer case", "drive.gear": "Gears", "drive.converter": "Converter", "drive.engine": "Engine",
    "drive.guard": "Guard for shifts down", "drive.sensor": "Speed sensors", "drive.shift": "Shift lines",
    "drive.borrowed": "Borrowed tables", "drive.settings": "What the controller is told",
}  # fmt: skip


def result(ask: Ask) -> dict[str, Any]:
    """Every entry that can be changed here, as it stands in the file."""
    design = ask.design
    if not is_toml(design.text):
        design.truck  # noqa: B018 - raises what is wrong with the file
    return {"design": design.name, "hash": design.hash, "groups": groups_of(design.text, SETS[_of(ask)])}


def _of(ask: Ask) -> str:
    return ask.values.get("of", "")


def set_of(table: str) -> str:
    """The set that shows a table of the file; truck and line before the others."""
    return next((name for name, tables in SETS.items() if table in tables), "")


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The groups under their headings, and the panel as the file stands."""
    design = ask.design
    sections = [
        (HEADINGS[table], [each for each in found["groups"] if each.table == table and _is_shown(each, _of(ask))])
        for table in SETS[_of(ask)]
    ]  # fmt: skip
    faults: list[Mapping[str, Any]] = []
    panel, summary = "", "Nothing can be proven yet"
    try:
        truck = design.truck
        proof = ask.site.work.quick(truck)
        panel, summary = panel_html(truck, proof), summary_of(proof)
    except PinproofError as error:
        faults = list(finding_of(error).faults)
    parts = [part for group in found["groups"] for entry in group.stated for part in entry.parts]
    stated = {part.path: part.text for part in parts} if ask.settings.units == "us" else {}
    known = {part.path for part in parts}
    return {
        "of": _of(ask), "heading": SET_TITLES[_of(ask)],
        "sections": [(title, groups) for title, groups in sections if groups], "bases": BASES,
        "panel": panel, "summary": summary, "saved": ask.values.get("saved", "") == "1",
        "faults": faults, "by_path": {each["path"]: each["message"] for each in faults}, "known": known,
        "typed": {}, "refused": "",
        "also": {path: said for path, text in stated.items() if (said := _us(path, text))},
    }  # fmt: skip


def _is_shown(group: Group, of: str) -> bool:
    """A table that the file lacks is offered where truck and line are shown; elsewhere its own page begins it."""
    return bool(group.stated) or (not of and bool(group.open))


def _us(path: str, text: str) -> str:
    """A length, speed, temperature, mass or force of the file in US units; "" for anything else."""
    key = key_of(path) or key_of(path.rpartition(".")[0])
    if key is None or key.dimension not in TURNED:
        return ""
    try:
        low, high = parse_span(text, key.dimension)
    except QuantityFault:
        try:
            low = high = parse(text, key.dimension)
        except QuantityFault:
            return ""
    ends = [format_value(each, key.dimension, system="us") for each in dict.fromkeys((low, high))]
    told = " to ".join(ends)
    return "" if _bare(told) == _bare(text) else told  # the file says so itself


def _bare(text: str) -> str:
    return "".join(text.split())


def _changes(ask: Ask) -> tuple[str, dict[str, Change]]:
    """The text that the form was made from, and what the form changes in it."""
    base = ask.text("base")
    given = ask.form.get("changes")  # from a script, or from the page that shows both versions
    text = ask.site.workspace.text_of(ask.values["design"], base)
    if text is None:
        raise Finding(
            409, "The version that this page was made from is not kept any more. Nothing was written.",
            "Load the page again and repeat the change.", "base",
        )  # fmt: skip
    if isinstance(given, dict):
        wanted = {str(path): change for path, change in given.items() if _is_change(change)}
    else:
        wanted = changes_of(ask.form, text)
    return text, pulls_joined(wanted, text)


def _is_change(change: Any) -> bool:
    if isinstance(change, dict):
        return all(isinstance(name, str) and isinstance(text, str | None) for name, text in change.items())
    return change is None or isinstance(change, str | bool | int)


def _save(ask: Ask) -> Done:
    _, changes = _changes(ask)
    try:
        return save(ask, changes, _what(changes), ask.address("truck", saved="1", of=_of(ask)) if changes else "")
    except (DesignFault, EditFault) as error:
        if ask.is_json or "changes" in ask.form:
            raise
        raise _again(ask, finding_of(error)) from None


def _again(ask: Ask, fault: Finding) -> Finding:
    """The form once more with everything that was typed, and what is wrong beside its field. Nothing was written."""
    faults = list(fault.faults)
    typed = {name: value for name, value in ask.form.items() if isinstance(value, str) and ":" in name}
    again = {
        **context(ask, result(ask)),
        "typed": typed, "faults": faults, "refused": fault.what,
        "by_path": {each["path"]: each["message"] for each in faults},
    }  # fmt: skip
    return replace(fault, template=ask.page.template, context=again)


def _what(changes: Mapping[str, Change]) -> str:
    """What undo calls this change."""
    first = next(iter(changes), "nothing")
    more = len(changes) - 1
    change = changes.get(first)
    to = f" to {change}" if isinstance(change, str | int) else ""
    return f"{first}{to}" + (f" and {more} more" if more > 0 else "")


def _live(ask: Ask) -> Done:
    """The panel with what is typed, and what is wrong with it; nothing is written."""
    text, changes = _changes(ask)
    try:
        typed = ask.site.work.once(("typed", ask.text("base"), repr(changes)), lambda: _typed(ask, text, changes))
    except (DesignFault, EditFault) as error:
        finding = finding_of(error)
        return Done({"ok": False, "faults": list(finding.faults), "html": "", "summary": "", "verdict": None})
    proof = ask.site.work.quick(typed)
    heading = "As typed, not saved. Drift and the other checks follow when it is saved." if changes else ""
    html = panel_html(typed, proof, wide=ask.form.get("wide") is True, heading=heading)
    told = summary_of(proof)
    return Done({"ok": True, "faults": [], "html": html, "summary": told, "verdict": proof.verdict})


def _typed(ask: Ask, text: str, changes: Mapping[str, Change]) -> Any:
    """The truck of the text with these changes; all but the last one are known from the keystroke before."""
    file = f"{ask.values['design']}.toml"
    items = list(changes.items())
    if len(items) > 1:
        earlier = dict(items[:-1])
        text = ask.site.work.once(("text", ask.text("base"), repr(earlier)), lambda: with_values(text, earlier, file))
    if items:
        text = with_values(text, dict(items[-1:]), file)
    return loads(text, file)


BASE = Parameter("base", "Hash of the version that the form was made from.", required=True)
CHANGES = Parameter(
    "changes", "Design path to its new text; null takes the entry out; an object changes keys of its table.", "object"
)
PAGE = Page(
    "truck", "/d/{design}/truck", "Truck and line",
    "What does the file say of supply, pin, wires, switches and windows, and what if it said something else?",
    result, "truck.html", context, links=("switch", "wire", "pin", "meaning"), folds="all-but-first",
    parameters=(
        Parameter("saved", "1 right after a save.", words=("1",)),
        Parameter("of", "What is shown: left out truck and line, else what another page is made from.",
                  words=tuple(name for name in SETS if name)),
    ),
    actions=(
        Action("save", "Writes the changed entries into the file; comments stay.", _save, (BASE, CHANGES)),
        Action("live", "Proves the changed entries without writing them.", _live, (BASE, CHANGES)),
    ),
)  # fmt: skip
