"""The lines of a draft that stands in a text: which key of which table each one is, and what it says so far.

Answers: which entries does a draft of harness, start inhibit or driveline hold, and which of them only the owner knows?
Touches: nothing.
Beside:  `begin_harness`, `begin_inhibit` and `begin_drive` write such lines; `fill_draft` puts answers into them.
Why:     the draft is read from the text, so that one that the command added, or somebody began to fill in by hand, is
         gone on with like one of today.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from pinproof.design.begin_draft import ASK
from pinproof.design.begin_drive import with_drive_section
from pinproof.design.begin_harness import with_harness_draft
from pinproof.design.begin_inhibit import with_inhibit_draft
from pinproof.design.key import Key, Table
from pinproof.design.keys import TABLES, TRUCK
from pinproof.design.load import BOM
from pinproof.design.messages import EditFault
from pinproof.design.rows import labels_of

BEGINS: Mapping[str, Callable[[str, str, str | None], str]] = {
    "harness": with_harness_draft,
    "inhibit": lambda text, file, units: with_inhibit_draft(text, file),
    "drive": with_drive_section,
}
"""What drafts each table: text, file and units to the text with the draft."""
LISTS = {"drive.gear": "ratio", "drive.transfer": "ratio"}
"""Arrays of tables that are asked for as one list of this key."""

_HEADER = re.compile(r"(#?)(\[\[?)([\w.]+)\]\]?\s*(?:#.*)?\Z")
_ENTRY = re.compile(r"#([a-z_]+) = (.*)\Z")
_INSTEAD = re.compile(r"#   ([a-z_]+) = (.*)\Z")
_MAY = re.compile(r"#    ([a-z_]+) = (.*)\Z")


@dataclass(frozen=True)
class DraftLine:
    """One line of a draft. `at` is its number from 0, `path` the design path of its key.

    `how` is "entry" (a line behind #), "head" (a table's first line), "instead" (what a line above it would become) or
    "may" (an example of a key that may be added).
    """

    at: int
    how: str
    table: str
    path: str
    value: Any
    comment: str = ""
    words: tuple[str, ...] = ()  # in plain words before it
    own: bool = True  # its table is one of the draft


def parts_of(value: Any) -> list[tuple[str, Any]]:
    """What of a value is typed by itself: the parts of a table but for its basis and note, else the whole."""
    if isinstance(value, dict):
        return [(name, one) for name, one in value.items() if name not in ("basis", "note")]
    return [("", value)]


def has_blank(value: Any) -> bool:
    """True if only the owner knows it, or a part of it."""
    if isinstance(value, dict):
        return any(has_blank(one) for one in value.values())
    return any(has_blank(one) for one in value) if isinstance(value, list) else value == ASK


def key_of(path: str) -> Key | None:
    """The description of the key at a design path; None for a part of a quantity, or a path that nobody knows."""
    table: Table | None = TRUCK
    parts = path.split(".")
    while len(parts) > 1 and table is not None:
        key = table.key(parts.pop(0))
        if key is None or key.kind not in ("table", "tables"):
            return None
        table = TABLES[key.to]
        if key.kind == "tables":
            parts.pop(0)
    return table.key(parts[0]) if table is not None and len(parts) == 1 else None


def with_draft(text: str, key: str, file: str, units: str | None = None) -> str:
    """The text with a draft of that table: the one that it has, else a new one.

    Raises
    ------
    DesignFault
        The file is faulty.
    EditFault
        It has the table itself.
    """
    if key in tomllib.loads(text.removeprefix(BOM)):
        raise EditFault(file, key, f"It has a [{key}] table already. Edit that.")
    return text if has_draft(text, key) else BEGINS[key](text, file, units)


def has_draft(text: str, key: str) -> bool:
    """True if a draft of that table stands in the text."""
    return re.search(rf"^#\[{key}\]", text, re.M) is not None


def drafted_lines(text: str, key: str, file: str, units: str | None = None) -> tuple[DraftLine, ...]:
    """The lines of a draft in `text`, those that its owner added behind # left out.

    What belongs to it is what a draft made now would hold; raises as `with_draft`.
    """
    today = _proposal(text, key, file, units)
    words = {each.path: each.words for each in today}  # there no line of the owner's stands before them
    wanted = set(words) | {each.table for each in today}
    return tuple(
        replace(each, words=words.get(each.path, each.words)) if each.how != "instead" else each
        for each in _lines(text)
        if each.path in wanted or (each.table in wanted and each.own) or _listed(each, wanted)
    )


def proposed(text: str, key: str, file: str, units: str | None = None) -> dict[str, Any]:
    """What a draft made now would say at each path: `ASK` where only the owner knows."""
    return {each.path: each.value for each in _proposal(text, key, file, units) if each.how in ("entry", "instead")}


def _listed(line: DraftLine, wanted: set[str]) -> bool:
    kind = line.table.rpartition(".")[0]
    return kind in LISTS and any(each.startswith(f"{kind}.") for each in wanted)


def _proposal(text: str, key: str, file: str, units: str | None) -> list[DraftLine]:
    """The lines of a draft made now, as if no line of the text stood behind a #."""
    body = text.removeprefix(BOM)
    plain = "".join(line for line in body.splitlines(keepends=True) if not line.startswith("#"))
    try:
        same = tomllib.loads(plain) == tomllib.loads(body)
    except tomllib.TOMLDecodeError:
        same = False
    if not same:  # a # at the beginning of a line inside a long text
        raise EditFault(file, key, "Its lines cannot be told from a long text of the file. Add the tables by hand.")
    return list(_lines(BEGINS[key](plain, file, units)))


def _lines(text: str) -> Iterator[DraftLine]:
    """Every line of any draft in the text, in order."""
    raw = tomllib.loads(text.removeprefix(BOM))
    seen: dict[str, int] = {}
    numbers: dict[str, int] = {}
    table, own, words = "", False, list[str]()
    lines = text.splitlines()
    for at, line in enumerate(lines):
        header = _HEADER.match(line.strip() if not line.startswith("#") else line)
        if header:
            own, name = bool(header[1]), header[3]
            if own:
                table = _drafted_table(name, header[2] == "[[", lines[at + 1 : at + 2], table, numbers)
                yield DraftLine(at, "head", table, table, None, "", tuple(words))
            else:
                table = _live_table(name, header[2] == "[[", raw, seen)
            words = []
        elif found := _ENTRY.match(line):
            value, comment = _read(found[1], found[2])
            if value is not None and (own or table):
                yield DraftLine(at, "entry", table, f"{table}.{found[1]}", value, comment, tuple(words), own)
            words = []
        elif (found := _INSTEAD.match(line)) and not own and table:
            value, _ = _read(found[1], found[2])
            if value is not None:
                yield DraftLine(at, "instead", table, f"{table}.{found[1]}", value, "", tuple(words), own)
            words = []
        elif (found := _MAY.match(line)) and own and table:
            value, _ = _read(found[1], found[2])
            if value is not None:
                yield DraftLine(at, "may", table, f"{table}.{found[1]}", value, "", tuple(words))
            words = []
        elif line.startswith("# "):
            words.append(line[2:].strip())
        elif not line.strip():
            words = []
            if own:
                table, own = "", False


def _read(name: str, rest: str) -> tuple[Any, str]:
    """Value and comment of a line; None for what is no line of TOML."""
    try:
        found = tomllib.loads(f"{name} = {rest}")
    except tomllib.TOMLDecodeError:
        return None, ""
    value = found[name]
    for cut in [m.start() for m in re.finditer("#", rest)]:
        try:
            if tomllib.loads(f"{name} = {rest[:cut]}") == found:
                return value, rest[cut + 1 :].strip()
        except tomllib.TOMLDecodeError:
            continue
    return value, ""


def _drafted_table(name: str, many: bool, after: list[str], before: str, numbers: dict[str, int]) -> str:
    """Design path of a table that a draft begins: by the id or name in the line after, else by its number."""
    if not many:
        return name
    named = re.match(r'#(?:id|name) = "([^"]*)"', after[0]) if after else None
    numbers[name] = numbers.get(name, 0) + 1
    label = named[1] if named else str(numbers[name])
    outer, _, inner = name.rpartition(".")
    if outer and before.startswith(f"{outer}.") and outer in TABLES and TABLES[outer].id_key:
        owner = before.removeprefix(f"{outer}.").partition(".")[0]
        return f"{outer}.{owner}.{inner}.{label}"
    return f"{name}.{label}"


def _live_table(name: str, many: bool, raw: Mapping[str, Any], seen: dict[str, int]) -> str:
    """Design path of a table that the file has; "" for one deeper than drafts go."""
    if not many:
        return name
    outer, _, inner = name.rpartition(".")
    for each in [each for each in seen if each.startswith(f"{name}.")]:
        del seen[each]
    seen[name] = seen.get(name, -1) + 1
    try:
        if not outer:
            entries = raw[name]
            return f"{name}.{labels_of(entries, TABLES[name])[seen[name]]}"
        owner = raw[outer][seen[outer]]
        own = f"{outer}.{labels_of(raw[outer], TABLES[outer])[seen[outer]]}"
        return f"{own}.{inner}.{labels_of(owner[inner], TABLES[_table_of(outer, inner)])[seen[name]]}"
    except (KeyError, IndexError, TypeError):
        return ""


def _table_of(outer: str, inner: str) -> str:
    key = TABLES[outer].key(inner)
    return key.to if key is not None else inner
