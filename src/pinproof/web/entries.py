"""What stands in a design file, entry by entry, as a form shows it.

Answers: which tables and keys there are, what was written at each, which keys could be added; what one text says that
         another does not.
Touches: nothing.
Beside:  `design.keys` describes every key, `design.edit` writes what the form gives back.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pinproof.design.draft_lines import key_of
from pinproof.design.edit import Change
from pinproof.design.key import Key, Table
from pinproof.design.keys import TABLES, TRUCK
from pinproof.design.rows import labels_of
from pinproof.design.words import parameter

SHOWN_KINDS = frozenset(
    {"text", "word", "flag", "whole", "number", "range", "leak", "resistor", "pull", "element", "reading", "spread",
     "choice"}
)  # fmt: skip
PARTS = ("value", "low", "high", "tolerance", "tempco", "ageing")
NO_BASIS = frozenset({"text", "word", "flag", "whole", "spread", "choice"})
NEVER = frozenset({"id", "format", "note", "form", "kind", "between"})  # what would make another design of it


@dataclass(frozen=True)
class Part:
    """One box to type in: `path` as `design.edit` takes it; `name` is "" for an entry that is a plain text."""

    path: str
    name: str
    text: str


@dataclass(frozen=True)
class Entry:
    """One key of one table. Without parts it does not stand in the file."""

    path: str
    key: str
    label: str
    doc: str
    kind: str
    words: tuple[str, ...]
    parts: tuple[Part, ...]
    basis: str = ""
    note: str = ""
    example: str = ""
    default: str = ""
    is_default: bool = False

    @property
    def has_basis(self) -> bool:
        """A basis can be stated for it."""
        return self.kind not in NO_BASIS


@dataclass(frozen=True)
class Group:
    """One table of the file: a heading, what stands in it, what could be added."""

    path: str
    title: str
    table: str
    stated: tuple[Entry, ...]
    open: tuple[Entry, ...]


def groups_of(text: str, tables: Sequence[str]) -> tuple[Group, ...]:
    """Every table of these kinds, in file order within each kind.

    Parameters
    ----------
    text : str
        A design file that is TOML.
    tables : sequence of str
        Names as in `design.keys.TABLES`: "truck", "supply", "input", "line", "line.window", "contact" …
    """
    raw = tomllib.loads(text.removeprefix("\ufeff"))
    found = list(_tables(raw))
    return tuple(_group(path, table, node) for wanted in tables for path, table, node in found if table.name == wanted)


def _tables(raw: Mapping[str, Any]) -> Iterator[tuple[str, Table, Mapping[str, Any]]]:
    yield "", TRUCK, raw
    yield from _below("", TRUCK, raw)


def _below(path: str, table: Table, node: Mapping[str, Any]) -> Iterator[tuple[str, Table, Mapping[str, Any]]]:
    for key in table.keys:
        inside = node.get(key.name)
        here = f"{path}.{key.name}" if path else key.name
        if key.kind == "table":
            yield here, TABLES[key.to], inside if isinstance(inside, dict) else {}
            if isinstance(inside, dict):
                yield from _below(here, TABLES[key.to], inside)
        elif key.kind == "tables" and isinstance(inside, list):
            one = TABLES[key.to]
            entries = [each for each in inside if isinstance(each, dict)]
            for label, entry in zip(labels_of(entries, one), entries, strict=True):
                yield f"{here}.{label}", one, entry
                yield from _below(f"{here}.{label}", one, entry)


def _group(path: str, table: Table, node: Mapping[str, Any]) -> Group:
    shown = [key for key in table.keys if key.kind in SHOWN_KINDS and key.name not in NEVER]
    entries = [_entry(path, key, node.get(key.name)) for key in shown]
    title = " ".join(path.split(".")[-2:]) if "." in path else path or "truck"
    if path.startswith("line.") and path.count(".") == 3:
        _, line, kind, label = path.split(".")
        title = f"{kind} {label} of {line}"
    return Group(
        path, title, table.name, tuple(each for each in entries if each.parts),
        tuple(each for each in entries if not each.parts),
    )  # fmt: skip


def _entry(path: str, key: Key, value: Any) -> Entry:
    at = f"{path}.{key.name}" if path else key.name
    parts: list[Part] = []
    basis = note = ""
    if isinstance(value, dict):
        parts = [Part(f"{at}.{name}", name, _plain(value[name])) for name in PARTS if name in value]
        basis, note = str(value.get("basis", "")), str(value.get("note", ""))
    elif value is not None and not isinstance(value, list):
        parts = [Part(at, "", _plain(value))]
        if key.kind == "pull":  # "unknown" or "none" so far: a pull that becomes known has a tolerance
            parts.append(Part(f"{at}.tolerance", "tolerance", ""))
    told = parameter(at)
    label = key.name.replace("_", " ") if told == at else told
    words = key.words if key.kind in ("word", "choice") else ("true", "false") if key.kind == "flag" else ()
    return Entry(at, key.name, label, key.doc, key.kind, words, tuple(parts), basis, note, key.example, key.default)


def _plain(value: Any) -> str:
    return ("true" if value else "false") if isinstance(value, bool) else str(value)


def group_ident(path: str) -> str:
    """The place of a table's fields on the page of the truck."""
    return f"f-{(path or 'truck').replace('.', '-').replace(' ', '_')}"


def flat(text: str) -> dict[str, str]:
    """Every scalar entry of a text by its design path; lists as they are printed."""
    try:
        raw = tomllib.loads(text.removeprefix("\ufeff"))
    except (ValueError, RecursionError):
        return {}
    return dict(_leaves("", TRUCK, raw))


def _leaves(path: str, table: Table | None, node: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for name, value in node.items():
        here = f"{path}.{name}" if path else str(name)
        key = table.key(name) if table is not None else None
        if isinstance(value, dict):
            yield from _leaves(here, TABLES[key.to] if key is not None and key.kind == "table" else None, value)
        elif isinstance(value, list) and value and all(isinstance(each, dict) for each in value):
            one = TABLES[key.to] if key is not None and key.kind == "tables" else None
            labels = labels_of(value, one) if one is not None else [str(n) for n, _ in enumerate(value, start=1)]
            for label, entry in zip(labels, value, strict=True):
                yield from _leaves(f"{here}.{label}", one, entry)
        else:
            yield here, _plain(value)


def changes_of(form: Mapping[str, Any], text: str) -> dict[str, Change]:
    """What a posted form changes in a text: fields "set:PATH" and "basis:PATH" that differ from what stands there.

    An emptied box takes its entry out. A number or flag stays one.
    """
    before = flat(text)
    changes: dict[str, Change] = {}
    for name, value in form.items():
        kind, _, path = name.partition(":")
        if not path or not isinstance(value, str):
            continue
        typed = value.strip()
        if kind == "set" and typed != before.get(path, "").strip():
            changes[path] = _typed(path, typed)
        elif kind == "basis" and typed and typed != before.get(f"{path}.basis", ""):
            one = changes.pop(path, None)
            changes[path] = {"basis": typed} if one is None else {"value": one, "basis": typed}
    return changes


def pulls_joined(changes: Mapping[str, Change], text: str) -> dict[str, Change]:
    """Changes in which value, tolerance and basis of a pull that stands as a plain word ("unknown") are one change."""
    before, joined = flat(text), dict(changes)
    for path in [each.removesuffix(".tolerance") for each in changes if each.endswith(".tolerance")]:
        key = key_of(path)
        if key is None or key.kind != "pull" or path not in before:
            continue
        tolerance, change = joined.pop(f"{path}.tolerance"), joined.pop(path, before[path])
        if isinstance(tolerance, str):
            joined[path] = {**(change if isinstance(change, dict) else {"value": change}), "tolerance": tolerance}
        elif path in changes:
            joined[path] = change
    return joined


def _typed(path: str, typed: str) -> Change:
    """What was typed, as the file holds it: flags and whole numbers are no texts there."""
    if not typed:
        return None
    key = key_of(path)
    if key is not None and key.kind == "flag" and typed in ("true", "false"):
        return typed == "true"
    if key is not None and key.kind == "whole" and typed.isdecimal() and len(typed) < 10:
        return int(typed)
    return typed
