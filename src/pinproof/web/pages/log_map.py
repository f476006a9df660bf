"""The logger map: what each column of a log is. Every entry is looked at by the owner; nothing counts by itself."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pinproof.design.load import text_hash
from pinproof.design.messages import ChangedUnderneath
from pinproof.design.save import save_atomic
from pinproof.errors import PinproofError
from pinproof.logs import LogFault, MapProposal, map_of, propose_map
from pinproof.logs.logger_map import ENCODINGS, TIME_KINDS, UNKNOWN
from pinproof.logs.map_text import map_text
from pinproof.logs.roles import ROLES, TIME_UNITS, Role, role_of, usual_units
from pinproof.logs.sniff import sniff
from pinproof.web.finding import Finding
from pinproof.web.log_files import FILE_NAME, LogFiles, files_of, path_of, told
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.again import shown_again
from pinproof.web.workspace import RESERVED

NEW = "new"  # hash that a form carries where there is no map yet
MOST_SAMPLES = 4
NUMBERS = ("factor", "offset", "full_scale", "on_above", "on_below")
FILE_KEYS = ("kind", "encoding", "delimiter", "decimal", "skip_lines", "unit_row")
TIME_KEYS = ("header", "kind", "unit", "rate", "layout", "date_header")
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}


class NoDbc(Exception):
    """A recording of CAN frames, and nobody said yet what they mean."""


def _proposed(ask: Ask, files: LogFiles) -> MapProposal | None:
    """What the log's headers and first rows suggest, once for each state of the file."""
    log, dbc = ask.values.get("log", ""), ask.values.get("dbc", "")
    if not log:
        return None
    path = path_of(files, log, files.logs, "log")
    frames = path_of(files, dbc, files.dbcs, "DBC file") if dbc else None
    marks = tuple((each.name, each.stat().st_mtime_ns) for each in (path, frames) if each is not None)
    try:
        made: MapProposal = ask.site.work.once(("map", marks), lambda: propose_map(path, frames))
    except PinproofError as fault:
        if isinstance(fault, LogFault) and fault.kind == "no DBC" and frames is None:
            raise NoDbc from None
        raise told(fault) from None
    return made


def _raw(ask: Ask, files: LogFiles, proposal: MapProposal | None) -> tuple[dict[str, Any], str, list[str]]:
    """Tables to begin with: the map that is named, else the proposal. With its hash, and open questions."""
    known = ask.values.get("map", "")
    if known:
        data = path_of(files, known, files.maps, "map").read_bytes()
        return tomllib.loads(data.decode("utf-8-sig")), text_hash(data), []
    assert proposal is not None
    return tomllib.loads(proposal.text), NEW, list(proposal.questions)


def _columns(files: LogFiles, proposal: MapProposal | None) -> list[dict[str, Any]]:
    """Headers of the log with the unit that the file states and its first values (of text; others have none here)."""
    if proposal is None:
        return []
    found = sniff(files.paths[proposal.file])
    stated = {
        header: (unit, [row[at] for row in found.samples[:MOST_SAMPLES] if at < len(row) and row[at]])
        for at, (header, unit) in enumerate(zip(found.headers, found.units, strict=False))
    }
    names = dict.fromkeys((*stated, *(each.header for each in proposal.channels), *proposal.left))
    return [{"header": n, "unit": stated.get(n, ("", []))[0], "samples": stated.get(n, ("", []))[1]} for n in names]


def result(ask: Ask) -> dict[str, Any]:
    """The tables of the map or proposal as they are, and the columns of the log."""
    ask.design.truck  # noqa: B018
    files = files_of(ask)
    nothing: dict[str, Any] = {"design": ask.design.name, "raw": None, "hash": NEW, "questions": [], "columns": []}
    if not ask.values.get("log", "") and not ask.values.get("map", ""):
        return {**nothing, "needs": "log"}
    try:
        proposal = _proposed(ask, files)
    except NoDbc:
        return {**nothing, "needs": "dbc"}
    raw, seen, questions = _raw(ask, files, proposal)
    return {
        "design": ask.design.name, "raw": raw, "hash": seen, "questions": questions,
        "columns": _columns(files, proposal), "needs": "",
    }  # fmt: skip


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """One row for each column: those of the map or proposal first."""
    files = files_of(ask)
    log, known = ask.values.get("log", ""), ask.values.get("map", "")
    plain = {
        "found": found, "log": log, "map_name": known or _name_for(log), "wrong": "", "then": "", "faults": (),
        "logs": files.logs, "dbcs": files.dbcs, "raw": found["raw"],
    }  # fmt: skip
    if found["raw"] is None:
        return plain
    raw = found["raw"]
    by_header = {each["header"]: each for each in found["columns"]}
    listed = [each for each in raw.get("channel", []) if isinstance(each, dict)]
    rows = [_row(each, by_header.get(str(each.get("header", "")), {})) for each in listed]
    named = {row["header"] for row in rows} | {str(raw.get("time", {}).get(k, "")) for k in ("header", "date_header")}
    rows += [_row({"header": each["header"]}, each) for each in found["columns"] if each["header"] not in named]
    lines = [line.id for line in ask.truck.lines]
    sign = str(raw.get("file", {}).get("delimiter", ","))
    return {
        **plain, "rows": rows, "roles": _roles(lines), "time": raw.get("time", {}), "file": raw.get("file", {}),
        "headers": [each["header"] for each in found["columns"]], "time_kinds": TIME_KINDS, "encodings": ENCODINGS,
        "time_units": tuple(TIME_UNITS), "delimiters": DELIMITERS,
        "delimiter": next((name for name, each in DELIMITERS.items() if each == sign), "comma"),
        "questions": found["questions"], "unknown": UNKNOWN, "can": raw.get("can", {}), "numbers": NUMBERS,
        "units": tuple(dict.fromkeys(unit for role in ROLES.values() for unit in usual_units(role) if unit)),
    }  # fmt: skip


def _name_for(log: str) -> str:
    return f"{Path(log).stem}-map.toml" if log else "logger.toml"


def _roles(lines: Sequence[str]) -> list[tuple[str, str]]:
    """Every role as it is written, with what it means; those of a line once for each line."""
    found: list[tuple[str, str]] = []
    for role in ROLES.values():
        names = [f"{role.name}.{line}" for line in lines] if role.line else [role.name]
        found += [(name, role.meaning) for name in names]
    return found


def _row(table: Mapping[str, Any], column: Mapping[str, Any]) -> dict[str, Any]:
    role = str(table.get("role", ""))
    codes = table.get("codes", {})
    valid = table.get("valid") or ()
    known: Role | None = role_of(role)
    unit = str(table.get("unit", "") or "")
    return {
        "header": str(table.get("header", "")), "role": role, "unit": "" if unit == UNKNOWN else unit,
        "is_open": unit == UNKNOWN or (known is not None and known.kind == "number" and not unit),
        "stated": column.get("unit", ""), "samples": column.get("samples", []),
        "codes": ", ".join(f"{key} = {value}" for key, value in codes.items()) if isinstance(codes, dict) else "",
        "confirmed": table.get("confirmed") is True, "proposed": bool(role) and table.get("confirmed") is not True,
        "needs_codes": known is not None and known.kind in ("word", "gear"),
        "valid": " to ".join(f"{each:g}" for each in valid if isinstance(each, int | float)),
        "numbers": {key: table.get(key, "") for key in NUMBERS}, "note": str(table.get("note", "")),
        "has_more": any(key in table for key in (*NUMBERS, "valid", "note")),
    }  # fmt: skip


def _keep(ask: Ask) -> Done:
    """The form as a map: read back by the map's own reader first, and written only if that finds nothing wrong."""
    design, folder = ask.design, ask.site.workspace.folder
    name, base = ask.text("name").strip(), ask.text("base")
    log = ask.text("log_name")
    try:
        if not FILE_NAME.fullmatch(name) or RESERVED.fullmatch(name) or not name.endswith(".toml"):
            raise Finding(422, f'"{name[:60]}" cannot be the name of a map.', "As in logger.toml.", "name")
        path = folder / name
        text = map_text(_tables(ask))
        try:
            map_of(text, name, folder)
        except PinproofError as fault:
            raise told(fault) from None
        with ask.site.workspace.lock:
            if base == NEW and path.exists():
                raise Finding(
                    409, f"There is a file {name} already. Nothing was written.", "Give another name.", "name"
                )
            if base != NEW and name not in {each.name for each in files_of(ask).maps}:
                base = NEW
            try:
                save_atomic(path, text, None if base == NEW else base)
            except ChangedUnderneath:
                raise Finding(
                    409,
                    f"{name} was changed by someone else since this page was made. Nothing was written.",
                    "Load the page again and repeat the change.",
                    name,
                ) from None
    except Finding as fault:
        address = ask.address("log-map", log=log, dbc=ask.text("dbc"), map=ask.text("from_map"))
        more = {"faults": fault.faults, **_typed(ask)}
        raise shown_again(ask, address, fault, more) from None
    written = text_hash(text.encode("utf-8"))
    return Done({"design": design.name, "map": name, "hash": written}, ask.address("log", fragment="map"))


def _tables(ask: Ask) -> dict[str, Any]:
    """What was typed, as the tables of a map. A column without a role is left out."""
    raw: dict[str, Any] = {"logger": ask.text("logger").strip()[:80]}
    if "file:kind" in ask.form:
        kind = ask.text("file:kind")
        table: dict[str, Any] = {"kind": kind}
        if kind == "text":
            skip = ask.text("file:skip_lines").strip() or "0"
            lines = int(skip) if skip.isdecimal() and len(skip) < 9 else skip
            table |= {
                "encoding": ask.text("file:encoding"), "delimiter": DELIMITERS.get(ask.text("file:delimiter"), ","),
                "decimal": ask.text("file:decimal"), "skip_lines": lines,
                "unit_row": ask.text("file:unit_row") == "yes",
            }  # fmt: skip
        raw["file"] = {**table, "confirmed": ask.text("file:confirmed") == "yes"}
    if "time:header" in ask.form or "time:kind" in ask.form:
        raw["time"] = {key: ask.text(f"time:{key}").strip() for key in TIME_KEYS}
        raw["time"]["confirmed"] = ask.text("time:confirmed") == "yes"
    if ask.text("dbc"):
        raw["can"] = {"dbc": ask.text("dbc"), "bus": ask.text("bus")}
    raw["channel"] = [each for each in (_channel(ask, number) for number in _numbers(ask)) if each is not None]
    return raw


def _numbers(ask: Ask) -> list[int]:
    ends = [name.removeprefix("header:") for name in ask.form if name.startswith("header:")]
    return sorted(int(each) for each in ends if each.isdecimal() and len(each) < 6)


def _channel(ask: Ask, number: int) -> dict[str, Any] | None:
    role = ask.text(f"role:{number}").strip()
    if not role:
        return None
    made: dict[str, Any] = {
        "role": role, "header": ask.text(f"header:{number}"), "unit": ask.text(f"unit:{number}").strip(),
    }  # fmt: skip
    known = role_of(role)
    if known is not None and known.kind != "number" and not made["unit"]:
        made["unit"] = "code"
    codes = ask.text(f"codes:{number}").strip()
    if codes:
        made["codes"] = dict(_pair(each) for each in codes.replace(";", ",").split(",") if each.strip())
    for key in NUMBERS:
        typed = ask.text(f"{key}:{number}").strip()
        if typed:
            made[key] = _as_number(typed)
    valid = ask.text(f"valid:{number}").strip()
    if valid:
        made["valid"] = [_as_number(each.strip()) for each in valid.split(" to ")]
    made["note"] = ask.text(f"note:{number}").strip()
    return {**made, "confirmed": ask.text(f"confirmed:{number}") == "yes"}


def _pair(text: str) -> tuple[str, Any]:
    code, _, means = text.partition("=")
    return code.strip(), _as_number(means.strip())


def _as_number(text: str) -> Any:
    """A number where it is one; the map's reader tells what else is wrong."""
    try:
        number = float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        return text
    if number != number or number in (float("inf"), float("-inf")):
        return text
    return int(number) if number.is_integer() and "." not in text else number


def _typed(ask: Ask) -> dict[str, Any]:
    """The rows, time and file as they were typed, for showing them again."""
    tables = _tables(ask)
    rows = []
    for number in _numbers(ask):
        table = _channel(ask, number) or {"header": ask.text(f"header:{number}")}
        column = {"unit": ask.text(f"stated:{number}"), "samples": [ask.text(f"sample:{number}")]}
        rows.append(_row(table, column))
    sign = ask.text("file:delimiter")
    return {
        "rows": rows, "time": tables.get("time", {}), "file": tables.get("file", {}), "delimiter": sign or "comma",
        "map_name": ask.text("name"),
    }  # fmt: skip


PAGE = Page(
    "log-map", "/d/{design}/log/map", "Logger map", "What is each column of this logger, in which unit?",
    result, "log_map.html", context, menu=False,
    parameters=(
        Parameter("log", "A log: its columns are listed, and proposals made."),
        Parameter("dbc", "For a recording of CAN frames: the DBC that names its signals."),
        Parameter("map", "A map that is there already."),
    ),
    actions=(
        Action(
            "keep", "Writes the map, if its own reader finds nothing wrong.", _keep,
            (
                Parameter("name", "File to write, as in logger.toml.", required=True),
                Parameter("base", f'Hash of the map that the page was made from; "{NEW}": none.', required=True),
                Parameter("role:N", 'For each column N its role; with "header:N", "unit:N", "codes:N", "confirmed:N".'),
                Parameter("time:header", 'The column of time; with "time:kind", "time:unit", "time:confirmed".'),
            ),
        ),
    ),
)  # fmt: skip
