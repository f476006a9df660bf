"""The ids of one design file, and the questions every cross check asks about them.

Answers: which entry has this id, which id was meant, which contacts are on a line, which exclude each other.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterable

from pinproof.design.messages import listed, nearest
from pinproof.design.model import Value
from pinproof.design.read import Reader
from pinproof.design.read_words import MOST_FAULTS
from pinproof.design.rows import Row


class Names:
    """All entries of a file by id. What is wrong goes to `reader`."""

    def __init__(self, reader: Reader, truck: Row) -> None:
        self.reader = reader
        self.truck = truck
        defaults = truck.get("defaults")
        stated = defaults.values if defaults is not None else {}
        self.defaults = {name: value for name, value in stated.items() if isinstance(value, Value)}
        self.stated_defaults = set(defaults.raw) if defaults is not None else set()  # rightly or not
        self.by_id = {
            kind: {row.id: row for row in truck.rows(kind) if row.id}
            for kind in (
                "input",
                "line",
                "device",
                "contact",
                "place",
                "plug",
                "run",
                "joint",
                "stud",
                "terminal",
                "seal",
                "cable",
                "feed",
                "switch",
                "load",
                "relay",
                "driver",
            )
        }
        self.contacts_on: dict[str, list[Row]] = {}
        for contact in truck.rows("contact"):
            self.contacts_on.setdefault(contact.get("line", ""), []).append(contact)
        self.groups_of: dict[str, list[tuple[str, ...]]] = {}  # only of the device that carries the contact
        for device in truck.rows("device"):
            for group in device.get("exclusive", ()):
                for name in group:
                    owned = self.by_id["contact"].get(name)
                    if owned is not None and owned.get("device") == device.id:
                        self.groups_of.setdefault(name, []).append(group)

    def known(self, row: Row, key: str, kind: str, name: str, among: Iterable[str] | None = None) -> bool:
        """True if an entry of this kind has the id `name`; else says so, with the nearest one."""
        known = list(self.by_id[kind] if among is None else among)
        if name in known or len(self.reader.faults) >= MOST_FAULTS:
            return name in known
        near = nearest(name, known)
        if near:
            cure = f'Did you mean "{near}"?'
        elif known:
            cure = f"Known: {listed(known, 'and')}."
        else:
            cure = f"The file has none; begin one with [[{kind}]]."
        self.reader.row_fault(row, key, f'No {kind} has the id "{name}". {cure}', name, near)
        return False

    def ref(self, row: Row, key: str, kind: str) -> Row | None:
        """The entry that a key names; None if it names none, and then that is said."""
        name = row.get(key)
        if name is None:
            return None
        return self.by_id[kind][name] if self.known(row, key, kind, name) else None

    def on_line(self, row: Row, key: str, line_id: str, names: Iterable[str]) -> bool:
        """All names are contacts of this line; says which are not."""
        mine = [contact.id for contact in self.contacts_on.get(line_id, [])]
        right = True
        for name in names:
            if name in mine:
                continue
            right = False
            other = self.by_id["contact"].get(name)
            if other is not None:
                where = other.get("line", "")
                self.reader.row_fault(row, key, f'"{name}" is on the line "{where}", not on "{line_id}".', name)
            else:
                self.known(row, key, "contact", name, mine)
        return right

    def need(self, row: Row, key: str, why: str, example: str) -> None:
        """Says that a key is missing which another entry makes required."""
        if not row.has(key):
            self.reader.row_fault(row, key, f'"{key}" is required here, because {why}. Example: {key} = {example}.')

    def excluded(self, names: frozenset[str]) -> str:
        """Which two of these contacts exclude each other, or ""."""
        for name in sorted(names):
            for group in self.groups_of.get(name, ()):
                both = [other for other in group if other in names]
                if len(both) > 1:
                    return f"{listed(both[:2], 'and')} exclude each other"
        return ""

    def impossible(self, operated: frozenset[str]) -> str:
        """Why this set of contacts can never be operated together, or ""."""
        why = self.excluded(operated)
        if why:
            return why
        for name in sorted(operated):
            contact = self.by_id["contact"].get(name)
            for other in contact.get("only_when", ()) if contact is not None else ():
                if other not in operated:
                    return f'"{name}" needs "{other}" operated'
        return ""
