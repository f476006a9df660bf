"""Single numbers of a design file changed, everything else kept byte for byte.

Answers: the same file with these entries changed.
Touches: the file system in `set_values` only.
Why:     the value's own characters are exchanged in the text, found by `locate`. Comments, order, blanks and line ends
         around it cannot change, which a rebuilt document can only promise. Each result is parsed again and compared
         with the change that was asked for before it is given out.
"""

from __future__ import annotations

import copy
import os
import re
from collections.abc import Mapping
from typing import Any

from pinproof.design.formats import refuse_older
from pinproof.design.keys import TABLES, TRUCK, Key, Table
from pinproof.design.load import BOM, decode, load, loads, read_bytes, text_hash
from pinproof.design.locate import Path, Places, locate
from pinproof.design.messages import ChangedUnderneath, EditFault, listed, nearest
from pinproof.design.model import Truck
from pinproof.design.rows import labels_of
from pinproof.design.save import save_atomic

Change = str | bool | int | Mapping[str, Any] | list[Any] | None
"""What an entry becomes: a text, a flag, a number or a list; a mapping changes keys of its table; None takes it out."""

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SPAN = re.compile(r"\s+to\s+|\s*\.\.+\s*")
_NUMBER_ONLY = re.compile(r"[-+−]?[\d.,\s]+")
_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\r": "\\r", "\t": "\\t"}


def set_values(
    path: str | os.PathLike[str], changes: Mapping[str, Change], *, expected_hash: str | None = None
) -> Truck:
    """Change entries of a design file on disk and save it.

    Parameters
    ----------
    path : str or path-like
        The design file.
    changes : mapping
        Design path to what it becomes, as `with_values`.
    expected_hash : str, optional
        `Truck.text_hash` of the file that the caller has seen. Without it the file as it is now counts as seen.

    Returns
    -------
    Truck
        The changed file, loaded.

    Raises
    ------
    EditFault
        An entry does not exist or cannot be changed.
    DesignFault
        The file is faulty, or would be after the change. Nothing is written.
    ChangedUnderneath, SaveFailed
        As `save_atomic`.
    """
    name = os.fspath(path)
    file = os.path.basename(name)
    data = read_bytes(name)
    seen = text_hash(data)
    if expected_hash is not None and seen != expected_hash:
        raise ChangedUnderneath(file)
    text = with_values(decode(data, file), changes, file)
    loads(text, file)
    save_atomic(name, text, seen)
    return load(name)


def with_values(text: str, changes: Mapping[str, Change], file: str = "<text>") -> str:
    """The text of a design file with entries changed.

    Parameters
    ----------
    text : str
        A design file that loads.
    changes : mapping
        Design path ("contact.lever_up.resistor") to what it becomes. A text given to an entry that is a table changes
        the table's `value` (or its `low` and `high`, for "a to b") and keeps the table's other keys. A mapping changes
        single keys of the entry's table, which is made if the entry was a plain text. An entry that takes its number
        from [defaults] gets its own.
    file : str
        Name for messages.

    Returns
    -------
    str
        Every character that does not belong to a changed value is as it was.

    Raises
    ------
    EditFault
        A path leads nowhere, or the place cannot be changed without touching more.
    DesignFault
        The text is not TOML.

    Examples
    --------
    >>> from pinproof.design.edit import with_values
    >>> print(with_values('format = 1 # ours\\nname = "A"', {"name": "B"}))
    format = 1 # ours
    name = "B"
    """
    mark, body = (BOM, text[1:]) if text.startswith(BOM) else ("", text)
    for path, change in changes.items():
        body = _Edit(body, path, file).done(change)
    return mark + body


class _Edit:
    """One change to one text."""

    def __init__(self, text: str, path: str, file: str) -> None:
        import tomllib

        self.text = text
        self.path = path
        self.file = file
        self.places: Places = locate(text)
        if not self.places.complete:
            loads(text, file)  # says what is wrong
            raise self.fault("The file cannot be read well enough to be changed by program; change it by hand.")
        self.raw: dict[str, Any] = tomllib.loads(text)
        refuse_older(self.raw, file, path)
        self.wanted = copy.deepcopy(self.raw)
        self.cuts: list[tuple[int, int, str]] = []

    def fault(self, reason: str) -> EditFault:
        return EditFault(self.file, self.path, reason)

    def done(self, change: Change) -> str:
        """The changed text."""
        import tomllib

        table, at, key = self._resolve()
        self._change(table, at, key, change)
        text = self.text
        for start, end, new in sorted(self.cuts, reverse=True):
            text = text[:start] + new + text[end:]
        try:
            agrees = tomllib.loads(text) == self.wanted
        except ValueError:
            agrees = False
        if not agrees:
            raise self.fault("This place is written in a way that cannot be changed by program; change it by hand.")
        return text

    # finding the place

    def _resolve(self) -> tuple[Table | None, Path, str]:
        """Description of the table, its path in the document, and the key to be set."""
        parts = self.path.split(".")
        table: Table | None = TRUCK
        at: Path = ()
        node: Any = self.raw
        while len(parts) > 1:
            part = parts.pop(0)
            key = table.key(part) if table is not None else None
            if key is None and table is not None:
                near = nearest(part, [one.name for one in table.keys])
                raise self.fault(f'There is no "{part}" here.' + (f' Did you mean "{near}"?' if near else ""))
            if isinstance(node, dict) and part not in node and not at and key is not None and key.kind == "table":
                return TABLES[key.to], (part,), parts[0]
            if not isinstance(node, dict) or part not in node:
                raise self.fault(f'There is no "{part}" in the file.')
            node, at = node[part], (*at, part)
            if key is not None and key.kind == "tables":
                table = TABLES[key.to]
                if not isinstance(node, list) or not all(isinstance(entry, dict) for entry in node):
                    raise self.fault(f'"{part}" is not a list of tables.')
                labels = labels_of(node, table)
                label = parts.pop(0)
                if not parts:
                    raise self.fault("This is a whole table; name one of its keys.")
                if label not in labels:
                    raise self.fault(f'The file has no {table.name} "{label}". There are {listed(labels, "and")}.')
                number = labels.index(label)
                node, at = node[number], (*at, number)
            else:
                table = TABLES[key.to] if key is not None and key.kind == "table" else None
        return table, at, parts[0]

    def _node(self, tree: Any, at: Path) -> Any:
        for part in at:
            tree = tree[part]
        return tree

    # making the change

    def _change(self, table: Table | None, at: Path, key: str, change: Change) -> None:
        described = table.key(key) if table is not None else None
        if table is not None and described is None:
            near = nearest(key, [one.name for one in table.keys])
            raise self.fault(f'There is no "{key}" here.' + (f' Did you mean "{near}"?' if near else ""))
        if len(at) == 1 and at[0] not in self.raw:
            self._new_table(str(at[0]), key, change)
            return
        holder = self._node(self.raw, at)
        if not isinstance(holder, dict) and change is None:
            return
        if isinstance(holder, str):  # "contact.lever_up.resistor.tolerance" where the resistor is a plain text
            self._put(at[:-1], str(at[-1]), {"value": holder, key: _plain(change)})
            return
        if not isinstance(holder, dict):
            raise self.fault("This is not a table.")
        old = holder.get(key)
        if isinstance(change, Mapping):
            self._merge(at, key, old, change)
        elif isinstance(old, dict) and isinstance(change, str):
            self._text_into_table(described, at, key, old, change)
        else:
            self._put(at, key, change)

    def _merge(self, at: Path, key: str, old: Any, change: Mapping[str, Any]) -> None:
        if not isinstance(old, dict):
            merged = ({"value": old} if old is not None else {}) | dict(change)
            self._put(at, key, {name: value for name, value in merged.items() if value is not None})
            return
        for name, value in change.items():
            if value is not None or name in old:
                self._put((*at, key), name, value)

    def _text_into_table(self, described: Key | None, at: Path, key: str, old: dict[str, Any], text: str) -> None:
        kind = described.kind if described is not None else ""
        if described is not None and text in described.words and kind in ("range", "leak"):
            self._put(at, key, text)
            return
        ends = ends_of(text)
        if kind == "range" and len(ends) == 2:
            new: dict[str, Any] = {"low": ends[0], "high": ends[1], "value": None, "tolerance": None}
        elif kind == "range" and "low" in old and "value" not in old:
            new = {"value": text, "low": None, "high": None}
        else:
            new = {"value": text}
        self._merge(at, key, old, new)

    def _put(self, at: Path, key: str, value: Any) -> None:
        """Set or take out one key of the table at `at`, in the text and in the wanted result."""
        holder = self._node(self.wanted, at)
        there = key in holder
        if value is None:
            if there:
                del holder[key]
        else:
            holder[key] = _plain(value)
        full = (*at, key)
        if at in self.places.inline:
            start, end = self.places.value[at]
            if there and value is not None and (start, end) not in [cut[:2] for cut in self.cuts]:
                self.cuts.append((*self.places.value[full], to_toml(value)))
                return
            self.cuts = [cut for cut in self.cuts if not start <= cut[0] < end]
            self.cuts.append((start, end, to_toml(holder)))
        elif value is None:
            if there:
                self._take_out(full)
        elif there:
            if full not in self.places.value:
                raise self.fault("This entry has a table of its own in the file; change the keys in it.")
            self.cuts.append((*self.places.value[full], to_toml(value)))
        else:
            self._add_line(at, key, value)

    def _take_out(self, full: Path) -> None:
        if full not in self.places.value:
            raise self.fault("This entry has a table of its own in the file; take it out by hand.")
        start = self.text.rfind("\n", 0, self.places.start[full]) + 1
        end = self.text.find("\n", self.places.value[full][1])
        self.cuts.append((start, len(self.text) if end < 0 else end + 1, ""))

    @property
    def _eol(self) -> str:
        return "\r\n" if "\r\n" in self.text else "\n"

    def _add_line(self, at: Path, key: str, value: Any) -> None:
        if at not in self.places.room:
            raise self.fault("There is no place in the file to add this; add it by hand.")
        end, prefix = self.places.room[at]
        begin = self.text.rfind("\n", 0, end) + 1
        line = self.text[begin:end]
        indent = line[: len(line) - len(line.lstrip(" \t"))]
        self.cuts.append((end, end, f"{self._eol}{indent}{prefix}{_key_text(key)} = {to_toml(value)}"))

    def _new_table(self, name: str, key: str, change: Change) -> None:
        if change is None:
            return
        self.wanted[name] = {key: _plain(change)}
        body = self.text if not self.text or self.text.endswith("\n") else self.text + self._eol
        added = f"{body[len(self.text) :]}{self._eol}[{name}]{self._eol}{key} = {to_toml(change)}{self._eol}"
        self.cuts.append((len(self.text), len(self.text), added))


def ends_of(text: str) -> tuple[str, ...]:
    """Both ends of "a to b", the lower one with the unit of the upper where it has none; of any other text, itself.

    >>> ends_of("80 to 90 km/h")
    ('80 km/h', '90 km/h')
    """
    ends = _SPAN.split(text.strip())
    if len(ends) != 2:
        return (text,)
    low, high = ends
    if _NUMBER_ONLY.fullmatch(low):
        low += " " + _NUMBER_ONLY.sub("", high, count=1)
    return low, high


def _plain(value: Any) -> Any:
    return {name: _plain(one) for name, one in value.items()} if isinstance(value, Mapping) else value


def _key_text(key: str) -> str:
    return key if _BARE.fullmatch(key) else to_toml(key)


def to_toml(value: Any) -> str:
    """A plain value as TOML writes it in one line. TypeError for what a design file never holds."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        escaped = (
            _ESCAPES.get(sign, sign if sign >= " " and sign != "\x7f" else f"\\u{ord(sign):04x}") for sign in value
        )
        return '"' + "".join(escaped) + '"'
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key_text(str(key))} = {to_toml(one)}" for key, one in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(to_toml(one) for one in value) + "]"
    raise TypeError(f"a design file holds no {type(value).__name__}")
