"""The data files of this folder, read once, each with its source and how that source was seen.

Answers: what is in the table called so, where does it come from, and may it be trusted?
Touches: the files beside this module, read only.
"""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from pinproof.errors import OutOfTable

_FOLDER = Path(__file__).parent
SEEN = ("printed", "open copy", "secondary", "memory")
"""How a source was seen: on paper, in an open copy, restated by someone else, or only remembered."""

_HEAD = frozenset({"title", "source", "seen", "unit", "note", "sum", "values", "columns", "units", "rows", "column"})


@dataclass(frozen=True)
class Table:
    """One data file. `values` for a single column, `columns`, `units` and `rows` for a wide one, `facts` for the rest.

    `column` may give single columns a source and a way of being seen of their own.
    """

    name: str
    title: str
    source: str
    seen: str
    unit: str = ""
    note: str = ""
    values: tuple[Any, ...] = ()
    columns: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    rows: tuple[tuple[Any, ...], ...] = ()
    sums: MappingProxyType[str, float] = field(default_factory=lambda: MappingProxyType({}))
    facts: MappingProxyType[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    column: MappingProxyType[str, Any] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def from_memory(self) -> bool:
        """True if the whole table is only remembered."""
        return self.seen == "memory"

    def column_values(self, name: str) -> tuple[Any, ...]:
        """One column from top to bottom; `""` where a cell is empty."""
        place = self.columns.index(name)
        return tuple(row[place] for row in self.rows)

    def row(self, key: Any) -> dict[str, Any]:
        """The row whose first cell equals `key`, as a dict; OutOfTable with the keys there are if none does."""
        for row in self.rows:
            if row[0] == key or (isinstance(key, float) and _close(row[0], key)):
                return dict(zip(self.columns, row, strict=True))
        keys = ", ".join(str(row[0]) for row in self.rows)
        raise OutOfTable(self.title, f"{self.columns[0]} {key}", keys)

    def source_of(self, column: str = "") -> str:
        """Source of one column, or of the table."""
        return str(self.column.get(column, {}).get("source", self.source))

    def seen_of(self, column: str = "") -> str:
        """How one column's source was seen, or the table's."""
        return str(self.column.get(column, {}).get("seen", self.seen))


@dataclass(frozen=True, kw_only=True)
class Sourced:
    """Base of every look-up result: it carries where it comes from."""

    source: str
    seen: str
    note: str = ""

    @property
    def from_memory(self) -> bool:
        """True if the value is only remembered: show it as such, never test against it."""
        return self.seen == "memory"


@dataclass(frozen=True, kw_only=True)
class Figure(Sourced):
    """One number with its unit and source."""

    value: float
    unit: str


def _close(cell: Any, key: float) -> bool:
    return isinstance(cell, (int, float)) and abs(cell - key) <= 1e-9 * max(abs(cell), abs(key))


def names() -> tuple[str, ...]:
    """Names of all tables, sorted."""
    return tuple(sorted(path.stem for path in _FOLDER.iterdir() if path.suffix in (".toml", ".csv")))


@cache
def load(name: str) -> Table:
    """The table called `name` (the file's name without its ending); OutOfTable if there is none."""
    if name not in names():
        raise OutOfTable("The list of tables", name, ", ".join(names()))
    path = _FOLDER / f"{name}.toml"
    if path.exists():
        return _table(name, tomllib.loads(path.read_text(encoding="utf-8")))
    return _table(name, _wide(_FOLDER / f"{name}.csv"))


def source_of(name: str) -> str:
    """Source of a table and how it was seen, as one line for a report: "IEC 60063:2015 ... (secondary)"."""
    table = load(name)
    return f"{table.source} ({table.seen})"


def _wide(path: Path) -> dict[str, Any]:
    """A CSV table: TOML lines behind '#', a row of names, a row of units, then the rows."""
    lines = path.read_text(encoding="utf-8").splitlines()
    head = tomllib.loads("\n".join(line[1:].strip() for line in lines if line.startswith("#")))
    rows = list(csv.reader(line for line in lines if line and not line.startswith("#")))
    body = [tuple(_cell(cell) for cell in row) for row in rows[2:]]
    return head | {"columns": rows[0], "units": rows[1], "rows": body}


def _cell(text: str) -> Any:
    try:
        return int(text)
    except ValueError:
        try:
            return float(text)
        except ValueError:
            return text


def _table(name: str, data: dict[str, Any]) -> Table:
    sums = data.get("sum", {})
    return Table(
        name=name,
        title=data["title"],
        source=data["source"],
        seen=data["seen"],
        unit=data.get("unit", ""),
        note=data.get("note", ""),
        values=tuple(data.get("values", ())),
        columns=tuple(data.get("columns", ())),
        units=tuple(data.get("units", ())),
        rows=tuple(tuple(row) for row in data.get("rows", ())),
        sums=MappingProxyType(sums if isinstance(sums, dict) else {"values": sums}),
        facts=MappingProxyType({key: value for key, value in data.items() if key not in _HEAD}),
        column=MappingProxyType(data.get("column", {})),
    )
