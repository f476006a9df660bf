"""Names, words and lists of a design file; and the list of faults that every reading adds to.

Answers: is this the text, word, id or list that its key asks for?
Touches: nothing.
"""

from __future__ import annotations

import re
from typing import Any

from pinproof.design.keys import MOST_ENTRIES, Key
from pinproof.design.locate import Path, Places
from pinproof.design.messages import LONGEST_NAME, Fault, listed, nearest, shorten
from pinproof.design.rows import Row

MOST_FAULTS = 400
"""After so many faults no more are looked for: a file like that is not a design file."""

LONGEST_FREE_TEXT = 4000

_ID = re.compile(r"[^\W_][\w-]*")
_MEANING = re.compile(r"[^\W_](?:[\w+/ -]*[\w+/-])?")


class Words:
    """Faults and warnings so far, and the reading of everything that is no quantity. `Reader` adds the rest."""

    def __init__(self, file: str, places: Places) -> None:
        self.file = file
        self.places = places
        self.faults: list[Fault] = []
        self.warnings: list[Fault] = []
        self.lines: dict[str, int] = {}  # design path to line

    def fault(self, at: Path, path: str, message: str, read: object = "", near: str = "") -> None:
        """Note a fault at a place of the document."""
        if len(self.faults) < MOST_FAULTS:
            line, column = self.places.position(at)
            self.faults.append(Fault(self.file, line, path, message, column, shorten(read), near))

    def row_fault(self, row: Row, key: str, message: str, read: object = "", near: str = "") -> None:
        """Note a fault of one key of a row; of the row itself with an empty key or one that is not written."""
        path = f"{row.path}.{key}" if key and row.path else key or row.path
        self.fault((*row.at, key) if row.has(key) else row.at, path, message, read, near)

    def warn(self, row: Row, key: str, message: str) -> None:
        """Note something odd but usable."""
        path = f"{row.path}.{key}" if key and row.path else key or row.path
        line, column = self.places.position((*row.at, key) if row.has(key) else row.at)
        if len(self.warnings) < MOST_FAULTS:
            self.warnings.append(Fault(self.file, line, path, message, column))

    def _wrong(self, at: Path, path: str, raw: Any, wanted: str) -> None:
        shown = shorten(raw)
        shown = f'"{shown}"' if isinstance(raw, str) else shown[:1].upper() + shown[1:]
        self.fault(at, path, f"{shown} is not {wanted}.", raw)

    def _free(self, raw: Any, at: Path, path: str, most: int) -> str:
        if not isinstance(raw, str):
            self._wrong(at, path, raw, f'a text; write it between quotation marks, as in "{shorten(raw)}"')
            return ""
        if len(raw) > most:
            self.fault(at, path, f"The text has {len(raw)} characters; {most} is the most that is read.", raw)
        return raw

    def _text(self, key: Key, raw: Any, at: Path, path: str) -> str:
        return self._free(raw, at, path, LONGEST_FREE_TEXT)

    def _named(self, raw: Any, at: Path, path: str, pattern: re.Pattern[str], what: str) -> str:
        before = len(self.faults)
        text = self._free(raw, at, path, LONGEST_NAME)
        if len(self.faults) == before and pattern.fullmatch(text) is None:
            self._wrong(at, path, raw, what)
        return text

    def _id(self, key: Key, raw: Any, at: Path, path: str) -> str:
        return self._named(raw, at, path, _ID, 'an id: letters, digits, "-" and "_", beginning with a letter or digit')

    def _meaning(self, key: Key, raw: Any, at: Path, path: str) -> str:
        text = self._named(raw, at, path, _MEANING, "a meaning: letters, digits, blanks, + - / _, no full stop")
        if text == "invalid" and key.kind == "meaning":
            self.fault(at, path, '"invalid" is the word for "no command and not idle". Choose another name.', text)
        return text

    def _word(self, key: Key, raw: Any, at: Path, path: str) -> str:
        if isinstance(raw, str) and raw in key.words:
            return raw
        near = nearest(raw, key.words) if isinstance(raw, str) else ""
        cure = f'Did you mean "{near}"? ' if near else ""
        self.fault(at, path, f'"{shorten(raw)}" is not known here. {cure}Write {listed(key.words)}.', raw, near)
        return ""

    def _ref(self, key: Key, raw: Any, at: Path, path: str) -> str:
        return self._free(raw, at, path, LONGEST_NAME)

    def _list(self, raw: Any, at: Path, path: str, example: str) -> list[str]:
        if not isinstance(raw, list):
            self._wrong(at, path, raw, f"a list; write {example}")
            return []
        if len(raw) > MOST_ENTRIES:
            self.fault(at, path, f"The list has {len(raw)} entries; {MOST_ENTRIES} is the most that is read.")
            return []
        return [self._free(item, (*at, number), path, LONGEST_NAME) for number, item in enumerate(raw)]

    def _refs(self, key: Key, raw: Any, at: Path, path: str) -> tuple[str, ...]:
        found = self._list(raw, at, path, key.example or '["other_contact"]')
        for number, item in enumerate(found):
            if item in found[:number]:
                self.fault((*at, number), path, f'"{item}" stands here twice. Keep one.', item)
        return tuple(found)

    def _chain(self, key: Key, raw: Any, at: Path, path: str) -> tuple[tuple[str, ...], ...]:
        """Elements in series, each a group of one or more in parallel."""
        if not isinstance(raw, list):
            self._wrong(at, path, raw, f"a list; write {key.example}")
            return ()
        if len(raw) > MOST_ENTRIES:
            self.fault(at, path, f"The list has {len(raw)} entries; {MOST_ENTRIES} is the most that is read.")
            return ()
        groups: list[tuple[str, ...]] = []
        for number, item in enumerate(raw):
            there = (*at, number)
            if isinstance(item, list):
                groups.append(tuple(self._list(item, there, path, key.example)))
                if not item:
                    self.fault(there, path, "This inner list is empty. Leave it out, or name what is in parallel.")
            else:
                groups.append((self._free(item, there, path, LONGEST_NAME),))
        return tuple(groups)

    def _amount(self, key: Key, raw: Any, at: Path, path: str) -> float | str:
        """A bare number, or one of the key's words."""
        if isinstance(raw, str) and raw in key.words:
            return raw
        if isinstance(raw, bool) or not isinstance(raw, int | float) or not abs(raw) < 1e15:
            words = f", or {listed(key.words)}" if key.words else ""
            self._wrong(at, path, raw, f"a number; write it without quotation marks, as in {key.example}{words}")
            return 0.0
        if key.least is not None and raw < key.least:
            self.fault(at, path, f"{raw} is too small; {key.least:g} is the least.", raw)
        return float(raw)

    def _groups(self, key: Key, raw: Any, at: Path, path: str) -> tuple[tuple[str, ...], ...]:
        if not isinstance(raw, list) or not all(isinstance(group, list) for group in raw):
            self._wrong(at, path, raw, f"a list of lists; write {key.example}")
            return ()
        if len(raw) > key.most:
            self.fault(at, path, f"There are {len(raw)} groups; {key.most} is the most that is read.")
            return ()
        groups = tuple(self._refs(key, group, (*at, number), path) for number, group in enumerate(raw))
        for number, group in enumerate(groups):
            if len(group) == 1:
                self.fault((*at, number), path, "A group needs at least two contacts; one alone excludes nothing.")
        return groups

    def _codes(self, key: Key, raw: Any, at: Path, path: str) -> tuple[tuple[str, str], ...]:
        """Names, each with a text."""
        if not isinstance(raw, dict) or len(raw) > MOST_ENTRIES:
            self._wrong(at, path, raw, f"a table in one line; write {key.example}")
            return ()
        return tuple((str(name), self._free(text, (*at, name), path, LONGEST_NAME)) for name, text in raw.items())

    def _states(self, key: Key, raw: Any, at: Path, path: str) -> tuple[tuple[str, str], ...]:
        """Names, each with one of the key's words."""
        if not isinstance(raw, dict):
            self._wrong(at, path, raw, f"a table in one line; write {key.example}")
            return ()
        if len(raw) > MOST_ENTRIES:
            self.fault(at, path, f"The table has {len(raw)} entries; {MOST_ENTRIES} is the most that is read.")
            return ()
        return tuple((str(name), self._word(key, word, (*at, name), path)) for name, word in raw.items())

    def _pair(self, key: Key, raw: Any, at: Path, path: str) -> tuple[str, ...]:
        before = len(self.faults)
        found = self._list(raw, at, path, key.example)
        if len(self.faults) > before:
            return ()
        if len(found) != 2:
            self.fault(at, path, f"Two ends are needed, {len(found)} given. Write it as {key.example}.")
        elif found[0] == found[1]:
            self.fault(at, path, f'Both ends are "{found[0]}". Two different ones are needed.', found[0])
        for number, item in enumerate(found):
            self._named(item, (*at, number), path, _ID, "a name here: letters, digits, - and _")
        return tuple(found)

    def _meanings(self, key: Key, raw: Any, at: Path, path: str) -> tuple[str, ...]:
        before = len(self.faults)
        found = self._list(raw, at, path, key.example)
        if len(self.faults) > before:
            return ()
        if not found:
            self.fault(at, path, f"At least one meaning must be allowed. Write it as {key.example}.")
        return tuple(self._meaning(key, item, (*at, number), path) for number, item in enumerate(found))

    def _flag(self, key: Key, raw: Any, at: Path, path: str) -> bool:
        if not isinstance(raw, bool):
            self._wrong(at, path, raw, "true or false; write it without quotation marks")
        return raw is True

    def _whole(self, key: Key, raw: Any, at: Path, path: str) -> int:
        if isinstance(raw, bool) or not isinstance(raw, int) or abs(raw) > 2**53:
            self._wrong(at, path, raw, f"a whole number; write it without quotation marks or unit, as in {key.example}")
            return 0
        if key.least is not None and raw < key.least:
            self.fault(at, path, f"{raw} is too small; {key.least:g} is the least.", raw)
        return raw
