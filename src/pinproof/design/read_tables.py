"""Tables of a design file: which keys are unknown, mistyped or missing, one slip as one fault.

Answers: which entries does a table have, read key by key; what was meant where a name or a bracket slipped.
Touches: nothing.
Beside:  `read` adds the reading of quantities; each kind of key has its own method there or in `read_words`.
"""

from __future__ import annotations

from typing import Any

from pinproof.design.keys import MOST_ENTRIES, NUMBER, PULL, RANGE, RESISTOR, TABLES, TRUCK, Key, Table
from pinproof.design.locate import Path
from pinproof.design.messages import listed, nearest, shorten
from pinproof.design.model_drive import Answer
from pinproof.design.read_words import MOST_FAULTS, Words
from pinproof.design.rows import Row, labels_of

_ELEMENT_VALUES = {
    "resistor": Key("value", "resistor", ""),
    "wire": Key("value", "range", "", dimension="resistance", least=0.0),
    "leak": Key("value", "leak", "", dimension="resistance", above=0.0),
}
LONGEST_ANSWER = 200
_OF_QUANTITIES = (NUMBER, RANGE, RESISTOR, PULL)


class Tables(Words):
    """Turns raw tables into rows."""

    def truck(self, raw: dict[str, Any]) -> Row:
        """The whole document."""
        return self.table(raw, TRUCK, (), "")

    def table(self, raw: dict[str, Any], table: Table, at: Path, path: str) -> Row:
        """One table and everything in it."""
        row = Row(table, path, at, raw)
        self.lines[path] = self.places.line(at)
        known = [key.name for key in table.keys]
        meant: dict[str, str] = {}  # the right key to the one that was written in its place
        for name in raw:
            if len(self.faults) >= MOST_FAULTS:
                break
            if name not in known:
                near = self._unknown_key(row, name, known)
                if near:
                    meant.setdefault(near, name)
        for key in table.keys:
            inner = f"{path}.{key.name}" if path else key.name
            if key.name in raw:
                self.lines.setdefault(inner, self.places.line((*at, key.name)))
                self._entry(row, key, raw[key.name], (*at, key.name), inner)
            if key.name in meant:
                self._mistyped(row, key, meant[key.name], inner)
            elif key.name not in raw and key.required:
                hint = f" Example: {_example(key)}." if key.example else ""
                if key.words:
                    hint = f" It is {listed(key.words)}{' or a quantity' if key.dimension else ''}." + hint
                self.fault(at, inner, f'"{key.name}" is required and missing. {key.doc}{hint}')
        return row

    def _mistyped(self, row: Row, key: Key, written: str, path: str) -> None:
        """Take what stands under a mistyped key as meant for the right one: the slip is one fault, not two or ten."""
        before = len(self.faults)
        there = (*row.at, written)
        if key.name not in row.raw:
            self.places.stand_in((*row.at, key.name), there)
            row.raw = {**row.raw, key.name: row.raw[written]}
            self.lines.setdefault(path, self.places.line(there))
            self._entry(row, key, row.raw[written], there, path)
        elif key.kind == "tables" and isinstance(row.raw[written], list):
            row.values[key.name] = [*row.rows(key.name), *self._tables(key, row.raw[written], there, path)]
        if key.kind not in ("table", "tables"):
            del self.faults[before:]  # the name comes first; its value is looked at once the name is right

    def _unknown_key(self, row: Row, name: str, known: list[str]) -> str:
        """Note an unknown key; the known one that is near, or ""."""
        shown = shorten(name)
        moved = row.table is TRUCK and f"drive.{name}" in TABLES
        near = "" if moved else nearest(name, known)
        path = f"{row.path}.{shown}" if row.path else shown
        if moved:
            message = f"Unknown key here; it belongs under [drive]. Write it as drive.{name} between its brackets."
        elif near:
            message = f'Unknown key. Did you mean "{near}"?'
        else:
            owners = [t.name for t in TABLES.values() if t.key(name) is not None and "." not in t.name]
            owners = [owner for owner in owners if owner not in ("number", "range", "resistor", "pull", "truck")]
            message = "Unknown key."
            if owners:
                message += f' "{name}" belongs in {listed([f"[{owner}]" for owner in owners]).replace(chr(34), "")}.'
            message += f" Known here: {listed(known, 'and', most=40)}."
        self.fault((*row.at, name), path, message, name, near)
        return near

    def _entry(self, row: Row, key: Key, raw: Any, at: Path, path: str) -> None:
        if key.kind == "text" and row.table in _OF_QUANTITIES and key.name in ("low", "value", "high", "tolerance"):
            row.values[key.name] = raw  # read as a quantity, with its own fault, by what asked for this table
            return
        before = len(self.faults)
        if key.kind == "element":
            kind = row.get("kind", "")
            if kind not in _ELEMENT_VALUES:
                return  # the fault is at its kind, or crosslines says that a contact has no value
            key = _ELEMENT_VALUES[kind]
        value = getattr(self, f"_{key.kind}")(key, raw, at, path)
        if len(self.faults) == before or key.kind in ("table", "tables"):
            row.values[key.name] = value

    def _table(self, key: Key, raw: Any, at: Path, path: str) -> Row | None:
        if self._is_double_bracket(raw, at, path):
            return self.table(raw[0], TABLES[key.to], (*at, 0), path)
        if not isinstance(raw, dict):
            self._wrong(at, path, raw, f"a table; write [{path}] on a line of its own")
            return None
        return self.table(raw, TABLES[key.to], at, path)

    def _answer(self, key: Key, raw: Any, at: Path, path: str) -> Answer | None:
        """A text with its basis; None for an empty one."""
        row = self.table(raw, NUMBER, at, path) if isinstance(raw, dict) else None
        text = self._free(raw if row is None else raw.get("value", ""), at, path, LONGEST_ANSWER)
        if row is None:
            return Answer(text, "assumed") if text else None
        return Answer(text, row.get("basis", "assumed"), row.get("note", "")) if text else None

    def _is_double_bracket(self, raw: Any, at: Path, path: str) -> bool:
        """True, with the fault noted, for [[supply]] where [supply] is meant."""
        if not (isinstance(raw, list) and raw and all(isinstance(item, dict) for item in raw)):
            return False
        self.fault(at, path, f"There is one of these: write [{path}] with one bracket each side, and once.")
        return True

    def _tables(self, key: Key, raw: Any, at: Path, path: str) -> list[Row]:
        if isinstance(raw, dict):
            return self._single_bracket(key, raw, at, path)
        if not isinstance(raw, list) or not all(isinstance(item, dict) for item in raw):
            self._wrong(at, path, raw, f"a list of tables; write [[{key.to}]] before each")
            return []
        most = key.most or MOST_ENTRIES
        if len(raw) > most:
            self.fault(at, path, f"There are {len(raw)} of these; {most} is the most that is read.")
            raw = raw[:most]
        table = TABLES[key.to]
        rows = [
            self.table(item, table, (*at, number), f"{path}.{label}")
            for number, (item, label) in enumerate(zip(raw, labels_of(raw, table), strict=True))
        ]
        self._duplicates(table, rows)
        return rows

    def _single_bracket(self, key: Key, raw: dict[str, Any], at: Path, path: str) -> list[Row]:
        """[contact], or [contact.lever_up]: one fault, and the entries are read so that others find them."""
        table = TABLES[key.to]
        said = f"There can be several of these: write [[{key.to}]] with two brackets each side"
        named = {name: item for name, item in raw.items() if table.key(name) is None and isinstance(item, dict)}
        if not named or len(named) < len(raw):
            self.fault(at, path, f"{said}.")
            return [self.table(raw, table, at, f"{path}.{labels_of([raw], table)[0]}")]
        first = shorten(next(iter(named)))
        cure = f', and below it {table.id_key} = "{first}".' if table.id_key else "."
        self.fault((*at, next(iter(named))), path, f"{said}{cure}")
        rows = []
        for name, item in named.items():
            entry = {table.id_key: name, **item} if table.id_key else item
            rows.append(self.table(entry, table, (*at, name), f"{path}.{shorten(name)}"))
        return rows

    def _duplicates(self, table: Table, rows: list[Row]) -> None:
        if table.id_key not in ("id", "meaning") or table.name == "line.window":
            return
        first: dict[str, Row] = {}
        for row in rows:
            if row.id in first:
                line = self.places.line(first[row.id].at)
                cure = "Give each its own" if table.id_key == "id" else "Keep one"
                self.row_fault(row, table.id_key, f'"{row.id}" is already used at line {line}. {cure}.', row.id)
            elif row.id:
                first[row.id] = row


def _example(key: Key) -> str:
    if key.example[:1] in "{[" or key.kind == "whole":
        return f"{key.name} = {key.example}"
    return f'{key.name} = "{key.example}"'
