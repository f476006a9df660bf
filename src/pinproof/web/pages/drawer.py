"""The owner's stock of resistors beside a design: what is there, adding, measured ohms, counts, a list from a file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pinproof.chain.stock import (
    COLUMNS,
    MOST_PARTS,
    USUAL_METER,
    DrawerFault,
    Row,
    load_rows,
    merged,
    read_csv,
    read_row,
    save_drawer,
)
from pinproof.design.messages import ChangedUnderneath
from pinproof.errors import PinproofError, QuantityFault
from pinproof.quantities import format_value
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.again import shown_again

MOST_LIST_BYTES = 300_000
NEW = "new"  # hash that a form carries where there is no drawer yet
_FIELD = re.compile(r"([a-z_]+):(\d{1,4})")


def drawer_file(ask: Ask) -> Path:
    """The drawer that [parts] names, else drawer.toml, in the folder of the design itself. It need not be there."""
    return ask.site.workspace.folder / Path(ask.truck.parts.drawer.replace("\\", "/") or "drawer.toml").name


def _rows(ask: Ask) -> tuple[Path, tuple[Row, ...], str]:
    """The file, its rows and hash. Linked files that lead out of the folder are not followed."""
    path = drawer_file(ask)
    if not path.exists():
        return path, (), NEW
    if path.resolve().parent != ask.site.workspace.folder:
        raise Finding(422, f"{path.name} leads out of the folder; it is not followed.", "Put the file itself here.")
    try:
        rows, seen = load_rows(path)
    except DrawerFault as fault:
        raise _finding(fault) from None
    return path, rows, seen


def _finding(fault: DrawerFault) -> Finding:
    """Everything wrong with a list, each with its line."""
    listed = [{"line": line, "column": 0, "path": "", "message": said, "read": ""} for line, said in fault.faults]
    count = f"{len(listed)} fault{'' if len(listed) == 1 else 's'}"
    return Finding(
        422, f"{fault.file} cannot be used as it is: {count}. Nothing was written; the drawer is as it was.",
        "Mend these rows in the list, then try again.", fault.file, listed,
    )  # fmt: skip


def result(ask: Ask) -> dict[str, Any]:
    """What `pinproof drawer list --json` prints."""
    path, rows, seen = _rows(ask)
    return {
        "design": ask.design.name, "file": path.name, "hash": seen, "count": sum(row.count for row in rows),
        "parts": [_plain(row) for row in rows],
    }  # fmt: skip


def _plain(row: Row) -> dict[str, Any]:
    part = row.part()
    return {**asdict(row), "low_ohm": part.low_ohm, "nominal_ohm": part.nominal_ohm, "high_ohm": part.high_ohm}


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """Each row with what it counts as; the rows are those of the hash that the forms carry."""
    rows = [Row(**{key: part[key] for key in COLUMNS}) for part in found["parts"]]
    return {
        "found": found, "rows": [(row, *_counts_as(row)) for row in rows], "columns": COLUMNS, "wrong": "", "then": "",
        "typed": {}, "usual_meter": USUAL_METER, "named": bool(ask.truck.parts.drawer),
    }  # fmt: skip


def _counts_as(row: Row) -> tuple[str, str]:
    part = row.part()
    reach = format_value(part.high_ohm / part.nominal_ohm - 1.0, "ratio", digits=2)
    how = "as printed"
    if part.measured_ohm is not None:
        how = f"measured, meter {row.meter or f'taken as {USUAL_METER}'}"
    elif row.measured_ohm:
        how = "as printed; the meter is no finer"
    return f"{format_value(part.nominal_ohm, 'resistance', digits=6)} ±{reach}", how


def _stock(ask: Ask) -> tuple[Path, tuple[Row, ...], str]:
    """The drawer, read once for the whole of a change; Finding 409 if it is not the one the page was made from."""
    path, rows, seen = _rows(ask)
    if ask.text("base") != seen:
        raise _changed(path)
    return path, rows, seen


def _changed(path: Path) -> Finding:
    return Finding(
        409, f"{path.name} was changed by someone else since this page was made. Nothing was written.",
        "Load the page again and repeat the change; what you typed is still there if you go back.", path.name,
    )  # fmt: skip


def _save(ask: Ask, path: Path, rows: Sequence[Row], seen: str) -> Done:
    """Write the drawer whole, if it is still the one whose rows these were made from."""
    if len(rows) > MOST_PARTS:
        raise Finding(422, f"That makes {len(rows)} kinds of parts; {MOST_PARTS} is the most.", "Leave some out.")
    with ask.site.workspace.lock:
        try:
            save_drawer(path, merged(rows), None if seen == NEW else seen)
        except ChangedUnderneath:
            raise _changed(path) from None
    return Done(result(ask), ask.address("drawer"))


def _read(cells: Mapping[str, str], where: str) -> Row:
    try:
        return read_row(dict(cells))
    except (QuantityFault, ValueError) as fault:
        text = str(fault)
        raise Finding(
            422, f"{where}: {text if text.endswith('.') else f'{text}.'}", "Correct it; nothing was written.", where
        ) from None


def _add(ask: Ask) -> Done:
    """One more kind of part, or more pieces of one that is there."""
    cells = {name: ask.text(name).strip() for name in COLUMNS}
    try:
        path, rows, seen = _stock(ask)
        return _save(ask, path, (*rows, _read(cells, "The new part")), seen)
    except PinproofError as fault:
        raise shown_again(ask, ask.address("drawer"), fault, {"typed": cells}) from None


def _keep(ask: Ask) -> Done:
    """The whole table as it was typed. A count of 0 takes a row out."""
    path, rows, seen = _stock(ask)
    typed: dict[int, dict[str, str]] = {}
    for name, value in ask.form.items():
        hit = _FIELD.fullmatch(name)
        if hit is not None and hit[1] in COLUMNS and isinstance(value, str):
            typed.setdefault(int(hit[2]), {})[hit[1]] = value.strip()
    if any(number >= len(rows) for number in typed):
        raise Finding(422, f"The drawer has {len(rows)} rows. Nothing was written.", "Number them from 0.", "count")
    kept = []
    for number, row in enumerate(rows):
        cells = {key: str(value) for key, value in asdict(row).items()} | typed.get(number, {})
        if cells["count"] != "0":
            kept.append(_read(cells, f"Row {number + 1}, {row.ohm}"))
    return _save(ask, path, kept, seen)


def _list(ask: Ask) -> Done:
    """All rows of a CSV list; if one is bad none is added."""
    sent = ask.uploads.get("list")
    if sent is None or not sent.data:
        raise Finding(422, "No file was sent.", "Choose a CSV file with the columns ohm, tolerance, count.", "list")
    try:
        fresh = read_csv(sent.data, sent.name or "the list")
    except DrawerFault as fault:
        raise _finding(fault) from None
    path, rows, seen = _stock(ask)
    return _save(ask, path, (*rows, *fresh), seen)


def _use(ask: Ask) -> Done:
    """Name the drawer in the design's [parts], so that values are chosen from it."""
    design, path = ask.design, drawer_file(ask)
    changes, base = {"parts.drawer": path.name}, ask.text("design_base")
    now = ask.site.workspace.change(design.name, changes, base, "values from the drawer")
    return Done({"design": design.name, "hash": now.hash}, ask.address("drawer"))


BASE = Parameter("base", f'Hash of the drawer that the page was made from; "{NEW}" where there is none.', required=True)
CELLS = (
    Parameter("ohm", "As printed on it, as in 1.5k.", required=True), Parameter("tolerance", "As in 1 %."),
    Parameter("count", "How many; 1 where it is left out."), Parameter("measured_ohm", "As the meter showed it."),
    Parameter("meter", "The meter's accuracy, as in 0.8 % + 2."), Parameter("label", "What you call it."),
)  # fmt: skip
PAGE = Page(
    "drawer", "/d/{design}/drawer", "Drawer", "Which resistors are at hand, and how near to what is printed on them?",
    result, "drawer.html", context, links=("resistor",),
    actions=(
        Action("add", "Adds one kind of part.", _add, (BASE, *CELLS)),
        Action(
            "keep", 'Changes rows: fields like "count:0" for the first; a count of 0 takes a row out.', _keep, (BASE,)
        ),
        Action(
            "list", "Adds every row of a CSV file, or none.", _list,
            (BASE, Parameter("list", "The file: ohm, tolerance, count, measured_ohm, meter, label.", "file", True)),
            MOST_LIST_BYTES,
        ),
        Action(
            "use", "Names this drawer in the design, so that values are chosen from it.", _use,
            (Parameter("design_base", "Hash of the design that the page was made from.", required=True),),
        ),
    ),
)  # fmt: skip
