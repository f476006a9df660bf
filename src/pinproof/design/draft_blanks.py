"""What a draft asks for: one blank for each thing to be answered, with what was answered so far.

Answers: what does the file not say, and how is it found out? What is proposed and may be changed?
Touches: nothing.
Beside:  `draft_lines` finds the lines of a draft, `fill_draft` puts answers into them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pinproof.design.begin_draft import ASK
from pinproof.design.draft_lines import (
    LISTS,
    DraftLine,
    drafted_lines,
    has_blank,
    key_of,
    parts_of,
    proposed,
    with_draft,
)
from pinproof.design.edit import to_toml
from pinproof.design.key import Key

MAY_ADD: Mapping[str, tuple[str, ...]] = {"relay": ("low_side",)}
"""Keys that a drafted table may have beside those drafted."""
IN_PLACE_OF = {"drive.tyre": ("roll_out", ("revolutions", "size"))}
"""In these tables one of several keys is enough: the one drafted, and what may stand in its place."""
LIST_KINDS = frozenset({"refs", "chain", "meanings", "lengths", "groups", "pair"})


@dataclass(frozen=True)
class Blank:
    """One thing to be answered. `text` is what stands there, "" while it is open.

    `asked`: only the owner knows. Else it stands as is usual, and may be changed. `part` is the end of a range or the
    name in a table of states; `why` says how it is found out. `several`: a list, its entries between commas.
    `in_place`: it may stand in the place of one that is asked.
    """

    path: str
    table: str
    part: str
    text: str
    asked: bool
    why: str = ""
    several: bool = False
    optional: bool = False
    in_place: bool = False
    example: str = ""
    key: Key | None = None


@dataclass(frozen=True)
class DraftForm:
    """A draft of the table `key` in a text, ready to be answered."""

    key: str
    file: str
    text: str  # with the draft, a new one or the one that was there
    lines: tuple[DraftLine, ...]
    blanks: tuple[Blank, ...]
    usual: Mapping[str, Any]  # what a new draft says at each path


def draft_form(text: str, key: str, file: str = "<text>", units: str | None = None) -> DraftForm:
    """What the draft of a table asks for, with the answers that it holds already.

    Parameters
    ----------
    text : str
        A design file, with or without a draft of this table behind #.
    key : str
        "harness", "inhibit" or "drive".
    units : str, optional
        "us" or "metric"; None as the file has it.

    Raises
    ------
    DesignFault
        The file is faulty.
    EditFault
        It has the table itself, or the draft's lines cannot be told from a long text of the file.
    """
    whole = with_draft(text, key, file, units)
    lines, usual = drafted_lines(whole, key, file, units), proposed(whole, key, file, units)
    return DraftForm(key, file, whole, lines, tuple(_blanks(lines, usual)), usual)


def list_path(path: str) -> str:
    """The list that a path lies in: "drive.gear" for "drive.gear.2.ratio"."""
    return next((each for each in LISTS if path == each or path.startswith(f"{each}.")), "")


def _blanks(lines: Sequence[DraftLine], usual: Mapping[str, Any]) -> Iterator[Blank]:
    done: set[str] = set()
    stated = {each.path for each in lines if each.how != "may"}
    for line in lines:
        kind = line.table.rpartition(".")[0]
        if kind in LISTS:
            if kind not in done:
                done.add(kind)
                yield _list_blank(kind, lines, usual)
            continue
        if line.how == "head":
            for name in MAY_ADD.get(line.table.partition(".")[0], ()) if line.table.count(".") == 1 else ():
                if (path := f"{line.table}.{name}") not in stated:
                    yield _optional(path, line.table, "", ())
        elif line.how == "may" and line.path not in stated:
            yield _optional(line.path, line.table, _example(line.value), line.words)
        elif line.how in ("entry", "instead") and not line.path.endswith((".id", ".name")) and line.path not in done:
            done.add(line.path)
            yield from _of_line(line, usual)


def _of_line(line: DraftLine, usual: Mapping[str, Any]) -> Iterator[Blank]:
    key, before = key_of(line.path), usual.get(line.path)
    if line.path not in usual:  # somebody added it to the draft
        blank = _optional(line.path, line.table, "", ())
        yield replace(blank, text="" if has_blank(line.value) else _typed(line.value))
        return
    why = line.comment or " ".join(line.words if line.how == "entry" else ())
    names = dict(parts_of(line.value))
    for part in [*names, *(name for name, _ in parts_of(before) if name not in names and isinstance(before, dict))]:
        value = names.get(part, ASK)
        first = dict(parts_of(before)).get(part, ASK)
        yield Blank(
            f"{line.path}.{part}" if part else line.path, line.table, part, "" if has_blank(value) else _typed(value),
            has_blank(first), why, isinstance(value, list) or (key is not None and key.kind in LIST_KINDS),
            example=key.example if key is not None else "", key=key,
        )  # fmt: skip


def _optional(path: str, table: str, example: str, words: Sequence[str]) -> Blank:
    key = key_of(path)
    why = " ".join(words) or (key.doc if key is not None else "")
    several = key is not None and key.kind in LIST_KINDS
    return Blank(
        path, table, "", "", False, why, several, True,
        table in IN_PLACE_OF and path.rpartition(".")[2] in IN_PLACE_OF[table][1],
        example=example or (key.example if key is not None else ""), key=key,
    )  # fmt: skip


def _list_blank(kind: str, lines: Sequence[DraftLine], usual: Mapping[str, Any]) -> Blank:
    mine = [each for each in lines if each.path.rpartition(".")[2] == LISTS[kind] and list_path(each.path) == kind]
    asked = any(has_blank(value) for path, value in usual.items() if list_path(path) == kind)
    known = [str(each.value) for each in mine if not has_blank(each.value)]
    example = "3.1, 1.8, 1" if asked else "1, 2.5"
    return Blank(
        kind, kind, "", ", ".join(known), asked, " ".join(_list_words(kind)), True, example=example,
        key=key_of(mine[0].path) if mine else None,
    )  # fmt: skip


def _list_words(kind: str) -> tuple[str, ...]:
    if kind == "drive.gear":
        return ("Ratio of each forward gear, the lowest gear first, with commas between.",)
    return ('Ratio of each range, high first, with commas between; "1" where there is no transfer case.',)


def _example(value: Any) -> str:
    return value if isinstance(value, str) else to_toml(value)


def _typed(value: Any) -> str:
    """A value as a person types it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return ", ".join(each if isinstance(each, str) else to_toml(each) for each in value)
    return str(value)
