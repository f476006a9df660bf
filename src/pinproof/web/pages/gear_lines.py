"""Shift lines and speed sensors by form: rows that are added, changed and taken away, judged while one types."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pinproof.design.drive_rows import (
    BOXES,
    GIVEN,
    NEW,
    OUT,
    SENSOR,
    SHIFT,
    DriveRow,
    RowsFilled,
    example_road,
    rows_filled,
    rows_of,
)
from pinproof.design.keys_drive import SENSOR_PLACES
from pinproof.design.messages import ChangedUnderneath
from pinproof.design.model import BASES, Truck
from pinproof.errors import PinproofError
from pinproof.web.finding import Finding, finding_of
from pinproof.web.fragments import fragment
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.again import shown_again
from pinproof.web.pages.drafting import ANSWERS, answers_of, written_html
from pinproof.web.pages.gears import HEADS, bad_of, lines_of, report_for, sensors_of, whole
from pinproof.web.render import environment

GIVEN_WORDS = {"road": "road speed", "output": "output shaft", "engine": "engine, before it"}
PLACE_WORDS = {"turbine": "turbine", "output": "output shaft", "propshaft": "propshaft, behind the transfer case",
               "wheel": "wheel"}  # fmt: skip
WHAT = "shift lines and sensors"
BLANK = {SHIFT: {"given": GIVEN[0]}, SENSOR: {}}
MOST_NEW = 60


def result(ask: Ask) -> dict[str, Any]:
    """The rows as they stand, with what can be said in them; `rows` is None where there is no driveline."""
    design, drive = ask.design, ask.truck.drive
    rows = rows_of(design.text) if drive is not None else ()
    loads = [each.texts["load"] for each in rows if each.kind == SHIFT and each.texts["load"]]
    return {
        "design": design.name, "hash": design.hash, "rows": None if drive is None else rows,
        "gears": [each.name for each in drive.gears] if drive is not None else [],
        "units": drive.units if drive is not None else "", "loads": list(dict.fromkeys([*loads, "full"])),
    }  # fmt: skip


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """Each row with its boxes, one empty row of each kind, and what comes of the file as it stands."""
    if found["rows"] is None:
        return {"kinds": []}
    return _context(ask, found, {}, {})


def _context(ask: Ask, found: Any, typed: Mapping[str, str], wrongs: Mapping[str, str]) -> dict[str, Any]:
    rows = list(found["rows"])
    for kind in (SHIFT, SENSOR):
        numbers = {int(each) for path in typed if (each := _new_number(path, kind))}
        for number in range(1, min(max(numbers, default=0) + 1, MOST_NEW) + 1):
            rows.append(_blank(kind, number))
    shown = [_row(each, found["gears"], typed) for each in rows]
    html, _ = _outcome(ask, ask.truck)
    return {
        "kinds": [
            ("Shift lines", SHIFT, [each for each in shown if each["kind"] == SHIFT]),
            ("Speed sensors", SENSOR, [each for each in shown if each["kind"] == SENSOR]),
        ],
        "gears": [(each, each) for each in found["gears"]], "loads": found["loads"],
        "given": [(each, GIVEN_WORDS[each]) for each in GIVEN],
        "places": [(each, PLACE_WORDS[each]) for each in SENSOR_PLACES],
        "bases": [(each, each) for each in BASES], "wrongs": wrongs,
        "example": example_road(found["units"]), "outcome": html, "summary": "Nothing changed", "others": [],
        "spare": {kind: _row(_blank(kind, "NEXT"), found["gears"], {}) for kind in (SHIFT, SENSOR)},
        "shift": SHIFT, "wrong": "", "then": "", "written": written_html("", "", ask.design.path.name),
    }  # fmt: skip


def _blank(kind: str, number: int | str) -> DriveRow:
    """A new row in which nothing was typed."""
    return DriveRow(f"{kind}.{NEW}{number}", kind, {name: BLANK[kind].get(name, "") for name in BOXES[kind]})


def _new_number(path: str, kind: str) -> str:
    """The number of a new row that something was typed in, as digits; "" for any other path."""
    label = path.removeprefix(f"{kind}.{NEW}").partition(".")[0] if path.startswith(f"{kind}.{NEW}") else ""
    return label if label.isdecimal() and len(label) < 4 else ""


def _row(row: DriveRow, gears: list[str], typed: Mapping[str, str]) -> dict[str, Any]:
    texts = {name: typed.get(f"{row.path}.{name}", text) for name, text in row.texts.items()}
    label = row.path.removeprefix(f"{row.kind}.")
    is_new = label.startswith(NEW)
    if row.kind == SENSOR:
        title = "A further sensor" if is_new else f"Sensor {label}"
    elif is_new:
        title = "A further shift line"
    else:
        title = f"{row.texts['from']} → {row.texts['to']}{_way(row.texts['from'], row.texts['to'], gears)}"
    ident = "".join(each if each.isalnum() else "-" for each in row.path.replace(NEW, "new"))
    return {
        "path": row.path, "kind": row.kind, "is_new": is_new, "title": title, "ident": ident, "texts": texts,
        "out": typed.get(f"{row.path}.{OUT}", ""),
    }  # fmt: skip


def _way(before: str, after: str, gears: list[str]) -> str:
    if before not in gears or after not in gears:
        return ""
    return ", up" if gears.index(after) > gears.index(before) else ", down"


def _outcome(ask: Ask, truck: Truck) -> tuple[str, str]:
    """What the driveline page says of these lines, as HTML, and its verdict in a word or two."""
    report, unread = report_for(ask, truck)
    assert report is not None  # the form is shown where there is a driveline
    verdict, sums = whole(report, unread), report.sums
    several = len({each.transfer for each in sums.gears}) > 1
    html: str = (
        environment()
        .get_template("gear_outcome.html")
        .render(
            verdict=verdict, head=HEADS[verdict], bad=bad_of(report), lines=fragment(lines_of(sums, several)),
            sensors=fragment(sensors_of(sums)), borrowed=ask.address("gears", fragment="borrowed"),
        )
    )  # fmt: skip
    return html, HEADS[verdict]


def _filled(ask: Ask) -> tuple[str, RowsFilled]:
    """The text that the form was made from, and what its answers make of it."""
    design = ask.design
    if design.truck.drive is None:
        raise Finding(422, "The file says nothing of the driveline yet.", "Begin the driveline first.", "drive")
    text = ask.site.workspace.text_of(design.name, ask.text("base"))
    if text is None:
        raise Finding(
            409, "The version that this page was made from is not kept any more. Nothing was written.",
            "Load the page again and repeat the change.", "base",
        )  # fmt: skip
    return text, rows_filled(text, answers_of(ask), design.path.name)


def _look(ask: Ask) -> Done:
    """What the rows would write and what would come of it; nothing is written."""
    text, now = _filled(ask)
    outcome, head, others = "", "", [_sentence(each.path, each.message) for each in now.others]
    if now.truck is not None:
        try:
            outcome, head = _outcome(ask, now.truck)
        except PinproofError as fault:
            others = [str(fault)]
    is_wrong = bool(now.wrong or others)
    return Done(
        {
            "wrong": now.wrong, "others": others, "text": now.text, "verdict": head,
            "summary": "Look at what is marked" if is_wrong else f"{now.words() or 'Nothing changed'}. {head}",
            "html": written_html(text, now.text, ask.design.path.name), "outcome": outcome,
        }
    )  # fmt: skip


def _sentence(path: str, said: str) -> str:
    return f"{path}: {said}" if path else said


def _save(ask: Ask) -> Done:
    """Write the rows; the driveline page then says what came of them."""
    text, now = _filled(ask)
    design, base = ask.design, ask.text("base")
    if now.truck is None:
        faults = [{"line": 0, "column": 0, "path": path, "message": said, "read": ""}
                  for path, said in now.wrong.items()]  # fmt: skip
        faults += [{"line": each.line, "column": each.column, "path": each.path, "message": each.message,
                    "read": each.read} for each in now.others]  # fmt: skip
        told = Finding(
            422, f"{len(faults)} thing{'' if len(faults) == 1 else 's'} cannot be used yet. Nothing was written; what "
            "you typed is still here.", "Mend what is marked.", "", faults,
        )  # fmt: skip
        others = [_sentence(each.path, each.message) for each in now.others]
        raise _again(ask, told, answers_of(ask), now.wrong, others)
    saved = design
    if now.text != design.text or base != design.hash:
        try:
            saved = ask.site.workspace.write(design.name, now.text, base, f"{WHAT}: {now.words() or 'none changed'}")
        except ChangedUnderneath:
            raise _conflict(ask, text) from None
    done = {"design": design.name, "hash": saved.hash, "done": now.words(), "rows": rows_of(saved.text)}
    return Done(done, ask.address("gears", saved="1" if saved.hash != design.hash else ""))


def _conflict(ask: Ask, text: str) -> Finding:
    """Somebody else was quicker. Rows go by their number, so typed changes stay where the rows are still the same."""
    design, answers = ask.design, answers_of(ask)
    is_same = design.truck.drive is not None and rows_of(design.text) == rows_of(text)
    kept = answers if is_same else {path: one for path, one in answers.items() if any(
        _new_number(path, kind) for kind in (SHIFT, SENSOR))}  # fmt: skip
    lost = "what you typed is still here" if is_same else "its rows are others by now, so only your new rows are here"
    told = Finding(
        409, f"{design.path.name} was changed by someone else since this page was made. Nothing was written; {lost}.",
        "Look at it again, then save.", design.path.name,
    )  # fmt: skip
    return _again(ask, told, kept, {}, [])


def _again(ask: Ask, told: Finding, answers: Mapping[str, str], wrong: Mapping[str, str], others: list[str]) -> Finding:
    if ask.is_json or ask.truck.drive is None:
        return finding_of(told)
    more = {**_context(ask, result(ask), answers, wrong), "others": others, "wrong": told.what, "then": told.next}
    return shown_again(ask, ask.address("gear-lines"), told, more)


BASE = Parameter("base", "Hash of the version that the page was made from.", required=True)
PAGE = Page(
    "gear-lines", "/d/{design}/gears/lines", "Shift lines",
    "At which speeds does the controller shift by itself, and which sensors does it count?",
    result, "gear_lines.html", context, menu=False,
    actions=(
        Action("save", "Writes rows that were added, changed or taken away; comments stay.", _save, (BASE, ANSWERS)),
        Action("look", "Says what the rows would write and what would come of it; nothing is written.", _look,
               (BASE, ANSWERS)),
    ),
)  # fmt: skip
