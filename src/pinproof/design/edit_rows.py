"""Tables of a list added to a design file and taken out of it, everything else kept byte for byte.

Answers: the same file with these [[tables]] more, or less.
Touches: nothing.
Beside:  `edit` changes entries of tables that are there.
Why:     a table is added behind the last of its kind and taken out from its head to its last line; comments between
         tables stay. Each result is parsed again and compared with what was asked for before it is given out.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from pinproof.design.edit import to_toml
from pinproof.design.formats import refuse_older
from pinproof.design.load import BOM
from pinproof.design.locate import Path, Places, locate
from pinproof.design.messages import EditFault

BY_HAND = "These tables are written in a way that cannot be changed by program; change them by hand."


def with_rows(text: str, kind: str, rows: Sequence[Mapping[str, Any]], file: str = "<text>") -> str:
    """The text with further tables of a list.

    Parameters
    ----------
    text : str
        A design file that loads and has the table that the list belongs to.
    kind : str
        "drive.shift"
    rows : sequence of mapping
        Keys and values of each new table, in the order in which they shall stand.

    Raises
    ------
    EditFault
        The list is written in braces, or there is no place for it.

    Examples
    --------
    >>> from pinproof.design.edit_rows import with_rows
    >>> print(with_rows('[drive]\\nunits = "us" # ours\\n[x]\\n', "drive.sensor", [{"id": "wheel"}]))
    [drive]
    units = "us" # ours
    <BLANKLINE>
    [[drive.sensor]]
    id = "wheel"
    [x]
    <BLANKLINE>
    """
    if not rows:
        return text
    mark, body, wanted, places = _read(text, kind, file)
    holder, name = _holder(wanted, kind, file)
    listed = holder.setdefault(name, [])
    if not isinstance(listed, list):
        raise EditFault(file, kind, BY_HAND)
    listed += [dict(one) for one in rows]
    whole: Path = tuple(kind.split("."))
    last = _end(places, whole)
    if last is None:
        last = _end(places, whole[:-1])
    if last is None:
        raise EditFault(file, kind, BY_HAND)
    eol = "\r\n" if "\r\n" in body else "\n"
    lines = [
        f"{eol}[[{kind}]]{''.join(f'{eol}{key} = {to_toml(value)}' for key, value in one.items())}" for one in rows
    ]
    return mark + _checked(body[:last] + "".join(f"{eol}{each}" for each in lines) + body[last:], wanted, kind, file)


def without_rows(text: str, kind: str, numbers: Sequence[int], file: str = "<text>") -> str:
    """The text without these tables of a list, counted from 0 in the order in which they stand.

    Raises
    ------
    EditFault
        The list is written in braces, or has no such table.
    """
    if not numbers:
        return text
    mark, body, wanted, places = _read(text, kind, file)
    holder, name = _holder(wanted, kind, file)
    whole: Path = tuple(kind.split("."))
    for number in sorted(set(numbers), reverse=True):
        at: Path = (*whole, number)
        end = _end(places, at)
        if end is None or at not in places.room or not body.startswith("[[", places.start[at]):
            raise EditFault(file, f"{kind}.{number + 1}", BY_HAND)
        start = body.rfind("\n", 0, places.start[at]) + 1
        stop = body.find("\n", end)
        stop = len(body) if stop < 0 else stop + 1
        before, after = body[:start], body[stop:]
        if before.endswith(("\n\n", "\r\n\r\n")) and (not after or after.startswith(("\n", "\r\n"))):
            before = before[: -2 if before.endswith("\r\n") else -1]  # one of the two blank lines around it
        body = before + after
        del holder[name][number]
    if not holder[name]:
        del holder[name]
    return mark + _checked(body, wanted, kind, file)


def _read(text: str, kind: str, file: str) -> tuple[str, str, dict[str, Any], Places]:
    mark, body = (BOM, text[1:]) if text.startswith(BOM) else ("", text)
    raw = tomllib.loads(body)
    refuse_older(raw, file, kind)
    return mark, body, raw, locate(body)


def _holder(wanted: dict[str, Any], kind: str, file: str) -> tuple[dict[str, Any], str]:
    """The table that a list belongs to, and the list's name in it."""
    owner, _, name = kind.rpartition(".")
    node: Any = wanted
    for part in owner.split(".") if owner else ():
        node = node.get(part) if isinstance(node, dict) else None
    if not isinstance(node, dict):
        raise EditFault(file, kind, f"The file has no [{owner}] that it could belong to.")
    return node, name


def _end(places: Places, at: Path) -> int | None:
    """Where the last line ends that says something of this table, or of one inside it."""
    if at in places.value:  # a list or table in braces
        return None
    return max((room[0] for path, room in places.room.items() if path[: len(at)] == at), default=None)


def _checked(body: str, wanted: dict[str, Any], kind: str, file: str) -> str:
    try:
        agrees = tomllib.loads(body) == wanted
    except ValueError:
        agrees = False
    if not agrees:
        raise EditFault(file, kind, BY_HAND)
    return body
