"""What one table of a design file holds once it is read, before it becomes part of the model.

Answers: what was written, what of it was right; a resistor with what [defaults] adds to it.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from pinproof.design.keys import Table
from pinproof.design.locate import Path
from pinproof.design.messages import LONGEST_NAME, shorten
from pinproof.design.model import BASES, Basis, Kind, Resistor, Value


@dataclass(frozen=True)
class Reading:
    """A window's edge or a target's reading as read: a number in the unit of `kind`."""

    kind: Kind
    value: float
    text: str
    basis: Basis | None = None  # None: not stated here
    note: str = ""


@dataclass
class Row:
    """One table as read. `values` holds what was right, `raw` everything that was written."""

    table: Table
    path: str  # design path
    at: Path  # where in the TOML document
    raw: dict[str, Any]
    values: dict[str, Any] = field(default_factory=dict)

    def has(self, key: str) -> bool:
        """True if the key was written, rightly or not."""
        return key in self.raw

    def get(self, key: str, default: Any = None) -> Any:
        """The value as read; `default` if it was left out or is faulty."""
        return self.values.get(key, default)

    def bad(self, key: str) -> bool:
        """True if the key was written but is faulty: nothing more need be said about it."""
        return key in self.raw and key not in self.values

    def rows(self, key: str) -> list[Row]:
        """Entries of an array of tables."""
        found: list[Row] = self.values.get(key, [])
        return found

    @property
    def id(self) -> str:
        """The entry's own id, or "" if it has none that can be used."""
        return str(self.values.get(self.table.id_key, ""))


def labels_of(raw: list[dict[str, Any]], table: Table) -> list[str]:
    """How design paths call the entries of an array: by id, else by number from 1; "up#2" is a second "up"."""
    labels: list[str] = []
    seen: dict[str, int] = {}
    for number, item in enumerate(raw, start=1):
        name = item.get(table.id_key) if table.id_key else None
        label = shorten(name) if isinstance(name, str) and 0 < len(name) <= LONGEST_NAME else str(number)
        seen[label] = seen.get(label, 0) + 1
        labels.append(label if seen[label] == 1 else f"{label}#{seen[label]}")
    return labels


def weakest(bases: Iterable[Basis]) -> Basis:
    """The weakest of several bases; "assumed" if there are none."""
    return max(bases, key=BASES.index, default="assumed")


def as_resistor(
    row: Row, defaults: dict[str, Value], *, fallback_zero: bool = False
) -> tuple[Resistor | None, list[str]]:
    """The resistor of a row made by `Reader`, with [defaults] applied, and what of it is stated nowhere."""
    parts: dict[str, Value] = {}
    defaulted: list[str] = []
    lacking: list[str] = []
    for name in ("tolerance", "tempco", "ageing"):
        own = row.get(name)
        if own is not None:
            parts[name] = own
        elif row.bad(name):
            continue
        elif fallback_zero:
            if name == "tolerance":
                lacking.append(name)
        elif name in defaults:
            parts[name] = defaults[name]
            defaulted.append(name)
        else:
            lacking.append(name)
    if lacking or "ohm" not in row.values:
        return None, lacking
    numbers = {name: parts[name].value if name in parts else 0.0 for name in ("tolerance", "tempco", "ageing")}
    return (
        Resistor(
            ohm=row.get("ohm"),
            tolerance=numbers["tolerance"],
            ageing=numbers["ageing"],
            tempco_per_k=numbers["tempco"],
            tempco_known=row.get("tempco_sign") == "known",
            path=row.path,
            text=str(row.raw.get("value", "")),
            basis=row.get("basis", "assumed"),
            spread_basis=weakest(
                part.basis if name in defaulted else _own_basis(name, row) for name, part in parts.items()
            ),
            own_bases=tuple((name, _own_basis(name, row)) for name in parts if name not in defaulted),
            fixed=row.get("fixed", False),
            note=row.get("note", ""),
            defaulted=tuple(defaulted),
            at=row.get("at", ""),
            rated_power=row.get("rated_power"),
        ),
        lacking,
    )


def _own_basis(name: str, row: Row) -> Basis:
    """A tolerance written in the resistor's own table shares that table's basis unless it states another."""
    raw = row.raw[name]
    basis: Basis = row.get(name).basis if isinstance(raw, dict) and "basis" in raw else row.get("basis", "assumed")
    return basis
