"""Shift lines and speed sensors as rows that a person fills in, changes and takes away.

Answers: which rows does a file hold; what is the text with these answers, and what of them cannot be used?
Touches: nothing.
Beside:  `edit` and `edit_rows` write them; a face asks, and saves the text as it saves every other.
Why:     a shift line is given as one of three speeds. A form has one box for the speed and one for which it is.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from pinproof.design.edit import Change, ends_of, with_values
from pinproof.design.edit_rows import with_rows, without_rows
from pinproof.design.keys import TABLES
from pinproof.design.load import BOM, loads
from pinproof.design.messages import DesignFault, EditFault, Fault, listed
from pinproof.design.model import BASES, Truck
from pinproof.design.rows import labels_of

SHIFT, SENSOR = "drive.shift", "drive.sensor"
GIVEN = ("road", "output", "engine")
"""Which speed a shift line is given as; the first one where nobody says."""
BOXES: Mapping[str, tuple[str, ...]] = {
    SHIFT: ("from", "to", "load", "given", "at", "basis"),
    SENSOR: ("id", "place", "teeth", "basis"),
}
"""What is asked of each row. `at` is the speed, `given` which one it is, `basis` that of the speed or the teeth."""
OUT = "out"
NEW = "+"
"""A row whose name begins like this is not in the file yet."""


@dataclass(frozen=True)
class DriveRow:
    """One row: `path` is "drive.shift.2" or "drive.sensor.output", `texts` what stands in each box."""

    path: str
    kind: str
    texts: Mapping[str, str]


@dataclass(frozen=True)
class RowsFilled:
    """A text with the rows in it. `wrong`: what cannot be used, by box ("drive.shift.+1.at"), and then `text` is "".

    `others`: what is wrong and belongs to no box.
    """

    text: str
    truck: Truck | None = None
    wrong: Mapping[str, str] = field(default_factory=dict)
    others: tuple[Fault, ...] = ()
    added: int = 0
    changed: int = 0
    taken: int = 0

    def words(self) -> str:
        """What would be done, as "2 rows added, 1 taken out"; "" for nothing."""
        told = [(self.added, "added"), (self.changed, "changed"), (self.taken, "taken out")]
        parts = [f"{count} {word}" for count, word in told if count]
        if not parts:
            return ""
        first = next(count for count, _ in told if count)
        return parts[0].replace(" ", f" row{'' if first == 1 else 's'} ", 1) + "".join(
            f", {each}" for each in parts[1:]
        )


def example_road(units: str) -> str:
    """How a road speed looks in the units of a file."""
    return "50 mph" if units == "us" else "80 km/h"


def rows_of(text: str) -> tuple[DriveRow, ...]:
    """Shift lines and then sensors of a file that loads, in their order."""
    drive = tomllib.loads(text.removeprefix(BOM)).get("drive", {})
    found: list[DriveRow] = []
    for kind in (SHIFT, SENSOR):
        entries = drive.get(kind.rpartition(".")[2], [])
        for label, entry in zip(labels_of(entries, TABLES[kind]), entries, strict=True):
            found.append(DriveRow(f"{kind}.{label}", kind, _texts(kind, entry)))
    return tuple(found)


def _texts(kind: str, entry: Mapping[str, Any]) -> Mapping[str, str]:
    given = next((each for each in GIVEN if each in entry), GIVEN[0])
    number = entry.get(given if kind == SHIFT else "teeth", "")
    plain = {name: str(entry.get(name, "")) for name in BOXES[kind]}
    plain["basis"] = str(number.get("basis", "")) if isinstance(number, Mapping) else ""
    if kind == SHIFT:
        return {**plain, "given": given, "at": _number_text(number)}
    return {**plain, "teeth": _number_text(number)}


def _number_text(number: Any) -> str:
    """A quantity as it is typed; a spread in percent stays in the file and is not shown."""
    if not isinstance(number, Mapping):
        return str(number)
    return f"{number['low']} to {number['high']}" if "value" not in number and "low" in number else str(number["value"])


def rows_filled(text: str, answers: Mapping[str, str], file: str = "<text>") -> RowsFilled:
    """The text with these answers.

    Parameters
    ----------
    text : str
        A design file that loads and has a [drive].
    answers : mapping of str to str
        By box: "drive.shift.2.at" of a row that is there, "drive.shift.+1.at" of a new one; `OUT` instead of a box's
        name takes the row out, whatever is typed in it. A new row in which nothing is typed is none. What is not among
        them stays as it is.

    Returns
    -------
    RowsFilled
        With every fault at once, each at its box.
    """
    rows, asked = rows_of(text), _by_row(answers)
    wrong: dict[str, str] = {}
    known = {each.path for each in rows}
    drive = tomllib.loads(text.removeprefix(BOM)).get("drive", {})
    for path in [each for each in asked if each not in known and not _is_new(each)]:
        wrong[path] = "The file has no such row (any more). Load the page again."
    changes: dict[str, Change] = {}
    stay: dict[str, list[str]] = {SHIFT: [], SENSOR: []}
    taken: dict[str, list[int]] = {SHIFT: [], SENSOR: []}
    changed = 0
    for row in rows:
        typed = {**row.texts, **asked.get(row.path, {})}
        number = sum(each.kind == row.kind for each in rows[: rows.index(row)])
        if typed.get(OUT):
            taken[row.kind].append(number)
            continue
        stay[row.kind].append(row.path)
        if any(typed[name].strip() != row.texts[name] for name in BOXES[row.kind]):
            changed += 1
            wrong |= _lacking(row.path, row.kind, typed, str(drive.get("units", "")))
            changes |= _changes(row, typed)
    fresh: dict[str, list[Mapping[str, Any]]] = {SHIFT: [], SENSOR: []}
    for path, given in asked.items():
        kind = path.rpartition(".")[0]
        typed = {name: given.get(name, "").strip() for name in BOXES.get(kind, ())}
        if _is_new(path) and not given.get(OUT) and any(one for name, one in typed.items() if name not in AS_OFFERED):
            stay[kind].append(path)
            wrong |= _lacking(path, kind, typed, str(drive.get("units", "")))
            fresh[kind].append(_fresh(kind, typed))
    told = {"added": sum(map(len, fresh.values())), "changed": changed, "taken": sum(map(len, taken.values()))}
    try:
        made = with_values(text, changes, file)
        for kind in (SHIFT, SENSOR):
            made = with_rows(without_rows(made, kind, taken[kind], file), kind, fresh[kind], file)
        truck = loads(made, file)
    except EditFault as fault:
        return RowsFilled("", None, wrong, (Fault(file, 0, fault.path, fault.reason),), **told)
    except DesignFault as fault:
        at_box, others = _placed(fault.faults, stay, made)
        return RowsFilled("", None, {**at_box, **wrong}, others, **told)
    if wrong:
        return RowsFilled("", None, wrong, (), **told)
    return RowsFilled(made, truck, {}, (), **told)


AS_OFFERED = ("given", "basis", "place")
"""Boxes that say something in a row in which nobody typed anything."""


def _is_new(path: str) -> bool:
    kind, _, label = path.rpartition(".")
    return kind in BOXES and label.startswith(NEW)


def _by_row(answers: Mapping[str, str]) -> dict[str, dict[str, str]]:
    """Answers by row and box; what is no box of a row is left aside."""
    found: dict[str, dict[str, str]] = {}
    for path, text in answers.items():
        row, _, name = path.rpartition(".")
        kind = next((each for each in BOXES if row.startswith(f"{each}.")), "")
        if kind and name in (*BOXES[kind], OUT):
            found.setdefault(row, {})[name] = text
    return found


def _lacking(path: str, kind: str, typed: Mapping[str, str], units: str) -> Iterator[tuple[str, str]]:
    """What a row needs and lacks, at its box."""
    if kind == SHIFT:
        example = example_road(units) if typed["given"] == "road" else "2150 rpm"
        if typed["given"] not in GIVEN:
            yield f"{path}.given", f'"{typed["given"][:40]}" is none of {listed(GIVEN)}.'
        needs = {"from": "Name the gear before the shift.", "to": "Name the gear after the shift.",
                 "at": f"Write the speed with its unit, as in {example}."}  # fmt: skip
    else:
        needs = {"id": "Give it a short name, as in output.", "place": "Say on which shaft it is.",
                 "teeth": "Count the teeth of its wheel, as in 40."}  # fmt: skip
    yield from ((f"{path}.{name}", said) for name, said in needs.items() if not typed[name].strip())
    if typed["basis"].strip() not in ("", *BASES):
        yield f"{path}.basis", f'"{typed["basis"][:40]}" is none of {listed(BASES)}.'


def _changes(row: DriveRow, typed: Mapping[str, str]) -> dict[str, Change]:
    """What changes in a row that stands in the file."""
    found: dict[str, Change] = {}
    number = "at" if row.kind == SHIFT else "teeth"
    for name in BOXES[row.kind]:
        if name not in ("given", number, "basis", "id") and typed[name].strip() != row.texts[name]:
            found[f"{row.path}.{name}"] = typed[name].strip() or None
    given, before = (typed["given"], row.texts["given"]) if row.kind == SHIFT else ("teeth", "teeth")
    if row.kind == SHIFT and given not in GIVEN:
        return found
    value, basis = typed[number].strip(), typed["basis"].strip()
    if given != before:
        return {**found, f"{row.path}.{before}": None, f"{row.path}.{given}": _quantity(value, basis)}
    if value == row.texts[number] and basis == row.texts["basis"]:
        return found
    if row.texts["basis"] and value:  # it is a table already: its other keys stay
        if value != row.texts[number]:
            found[f"{row.path}.{given}"] = value
        if basis != row.texts["basis"]:
            found[f"{row.path}.{given}.basis"] = basis or None
        return found
    whole = _quantity(value, basis)
    if isinstance(whole, Mapping):
        whole = {"value": None, **whole}  # in place of the plain text
    return {**found, f"{row.path}.{given}": whole}


def _quantity(text: str, basis: str) -> Change:
    """A number as it is written: a plain text, or a table where its basis is told."""
    if not text:
        return None
    if not basis:
        return text
    ends = ends_of(text)
    return {**({"low": ends[0], "high": ends[1]} if len(ends) == 2 else {"value": text}), "basis": basis}


def _fresh(kind: str, typed: Mapping[str, str]) -> Mapping[str, Any]:
    """The keys of a new table."""
    number = _quantity(typed["at" if kind == SHIFT else "teeth"], typed["basis"])
    if kind == SHIFT:
        named = {"from": typed["from"], "to": typed["to"], "load": typed["load"], typed["given"]: number}
    else:
        named = {"id": typed["id"], "place": typed["place"], "teeth": number}
    return {name: value for name, value in named.items() if value and name in {*BOXES[kind], *GIVEN}}


def _placed(
    faults: tuple[Fault, ...], stay: Mapping[str, list[str]], made: str
) -> tuple[dict[str, str], tuple[Fault, ...]]:
    """Faults of the file as it would be, at the boxes they come from; and those that come from none."""
    drive = tomllib.loads(made.removeprefix(BOM)).get("drive", {})
    row_of: dict[str, str] = {}
    for kind, paths in stay.items():
        labels = labels_of(drive.get(kind.rpartition(".")[2], []), TABLES[kind])
        row_of |= {f"{kind}.{label}": path for label, path in zip(labels, paths, strict=False)}
    at_box: dict[str, str] = {}
    others: list[Fault] = []
    for fault in faults:
        row = next((each for each in row_of if fault.path == each or fault.path.startswith(f"{each}.")), "")
        if not row:
            others.append(fault)
            continue
        name = fault.path[len(row) + 1 :].partition(".")[0]
        box = "at" if row.startswith(f"{SHIFT}.") and name in ("", *GIVEN) else name or "id"
        at_box.setdefault(f"{row_of[row]}.{box}", fault.message)
    return at_box, tuple(others)
