"""A draft of tables that a design file lacks: lines behind a #, with "?" where only the owner knows.

Answers: the same file with such lines at its end, and in tables that it has; every other character as it was.
Touches: the file system in `read_for_draft` and `save_draft` only.
Why:     behind a # the file stays usable until the owner has filled the draft in. The result is parsed again: it must
         say exactly what the file said before.
Beside:  `begin_harness`, `begin_inhibit` and `begin_drive` say what is drafted.
"""

from __future__ import annotations

import itertools
import os
import re
import textwrap
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from pinproof.design.edit import to_toml
from pinproof.design.formats import refuse_older
from pinproof.design.load import BOM, decode, loads, read_bytes, text_hash
from pinproof.design.locate import Path, Places, locate
from pinproof.design.messages import EditFault
from pinproof.design.model import Truck
from pinproof.design.save import save_atomic

ASK = "?"
"""What stands where only the owner knows. No key takes it as a number, so a blank that was forgotten is refused."""
WIDTH = 112
BESIDE = 40  # column from which a comment stands beside its line
_TABLE = re.compile(r"#\[\[(\w+(?:\.\w+)*)\]\]\s*\Z")
_HEAD = re.compile(r"#\[+([\w.]+)\]+\s*\Z")
_ASKED = re.compile(r'#(?:   )?([a-z_]+) = (?:[^#]*[^#\w])?"\?"')
_ID = re.compile(r'#id = "([^"]*)"')


@dataclass
class Draft:
    """Lines in the making for one file. `key` is the table that the draft is about."""

    text: str
    file: str
    key: str
    truck: Truck = field(init=False)
    raw: dict[str, Any] = field(init=False)
    drafted: set[tuple[str, str]] = field(init=False)  # kind and id of tables that an earlier draft holds
    _end: list[str] = field(init=False, default_factory=list)
    _inside: dict[Path, list[str]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.truck = loads(self.text, self.file)
        self.raw = tomllib.loads(self._body)
        self.drafted = _drafted(self.text)
        refuse_older(self.raw, self.file, self.key)
        if self.key in self.raw:
            raise EditFault(self.file, self.key, f"It has a [{self.key}] table already. Edit that.")
        if re.search(rf"^#\[{self.key}\]", self.text, re.M):
            raise EditFault(
                self.file, self.key, f'A draft of [{self.key}] is there already. Fill in each "?" and take away the #.'
            )

    @property
    def _body(self) -> str:
        return self.text.removeprefix(BOM)

    def ids(self, kind: str) -> list[str]:
        """Ids of the tables of a kind that the file has or an earlier draft holds."""
        stated = [str(one["id"]) for one in self.raw.get(kind, []) if isinstance(one, dict) and "id" in one]
        return [*stated, *(ident for each, ident in sorted(self.drafted) if each == kind)]

    def free(self, kind: str, wanted: str) -> str:
        """The wanted id, or one near it that no table of the file has."""
        taken = {str(one.get("id")) for many in self.raw.values() if isinstance(many, list) for one in many
                 if isinstance(one, dict)}  # fmt: skip
        return next(each for each in (wanted, *(f"{wanted}_{k}" for k in range(2, 99))) if each not in taken)

    def say(self, *paragraphs: str) -> None:
        """Plain words at the end of the file, wrapped."""
        for each in paragraphs:
            self._end += _comment(each) if each else [""]

    def head(self, name: str) -> None:
        """Begin a table that stands once."""
        self._end += ["", f"#[{name}]"]

    def head_of(self, name: str) -> None:
        """Begin a table inside the one begun last."""
        self._end.append(f"#[[{name}]]")

    def entry(self, kind: str, ident: str) -> bool:
        """Begin one of several tables; False if an earlier draft holds it."""
        if (kind, ident) in self.drafted:
            return False
        self.drafted.add((kind, ident))
        self._end += ["", f"#[[{kind}]]", f"#id = {to_toml(ident)}"]
        return True

    def put(self, key: str, value: Any, why: str = "") -> None:
        """A line of the table begun last, with why in plain words beside it."""
        self._end += _line(key, value, why)

    def into(self, path: Path, key: str, value: Any, why: str = "") -> None:
        """A line in a table that the file has."""
        self._inside.setdefault(path, []).extend(_line(key, value, why))

    def instead(self, path: Path, why: str, key: str, value: Any) -> None:
        """In a table that the file has: what a line of it would have to become. Left to the owner to exchange."""
        words = _comment(f"{why}; in place of its line above:")
        self._inside.setdefault(path, []).extend([*words, f"#   {key} = {to_toml(value)}"])

    def done(self) -> str:
        """The whole text with the draft in it.

        Raises
        ------
        EditFault
            If a table is written in a way that lines cannot be added to; nothing is changed then.
        """
        body = self._body
        eol = "\r\n" if "\r\n" in body else "\n"
        places = locate(body)
        cuts: list[tuple[int, str]] = []
        for path, lines in self._inside.items():
            new = [line for line in lines if not _there(body, places, path, line)]
            if path not in places.room or path in places.inline:
                raise EditFault(self.file, self.key, f"Lines cannot be added to {_spoken(path)}. Add them by hand.")
            if new:
                cuts.append((places.room[path][0], "".join(eol + line for line in new)))
        end = list(self._end)
        text = body
        for at, added in sorted(cuts, reverse=True):
            text = text[:at] + added + text[at:]
        gap = "" if text.endswith("\n") or not text else eol
        text += gap + eol + eol.join(end) + eol
        if tomllib.loads(text) != self.raw:
            raise EditFault(self.file, self.key, "The draft would change what the file says. Add the tables by hand.")
        return self.text[: len(self.text) - len(body)] + text


def _line(key: str, value: Any, why: str) -> list[str]:
    line = f"#{key} = {to_toml(value)}"
    if not why:
        return [line]
    beside = f"{line:<{BESIDE}} # {why}"
    return [beside] if len(beside) <= WIDTH else [*_comment(why), line]


def _comment(words: str) -> list[str]:
    return textwrap.wrap(words, WIDTH - 2, initial_indent="# ", subsequent_indent="# ", break_long_words=False)


def _there(body: str, places: Places, path: Path, line: str) -> bool:
    """True if an earlier draft put this line into this table."""
    if line.startswith("# "):
        return f"\n{line}" in body
    key = line.partition(" = ")[0]
    start, room = places.start.get(path, 0), places.room.get(path, (0, ""))[0]
    stop = body.find("\n[", room)
    return f"\n{key} = " in body[start : stop if stop >= 0 else len(body)]


def _spoken(path: Path) -> str:
    return ".".join(str(each) for each in path)


def _drafted(text: str) -> set[tuple[str, str]]:
    """Kind and id of each table that stands behind a #."""
    found: set[tuple[str, str]] = set()
    lines = text.splitlines()
    for line, after in itertools.pairwise(lines):
        table, ident = _TABLE.match(line), _ID.match(after)
        if table and ident:
            found.add((table[1], ident[1]))
    return found


def usual_units(truck: Truck) -> str:
    """ "us" or "metric": as the driveline says; else "us" where the temperature is written in °F."""
    if truck.drive is not None:
        return truck.drive.units
    return "us" if "F" in truck.temperature.text else "metric"


def joined(paths: Sequence[str]) -> str:
    """Ids in words."""
    return ", ".join(paths[:-1]) + f" and {paths[-1]}" if len(paths) > 1 else "".join(paths)


def added(before: str, after: str) -> list[tuple[int, list[str]]]:
    """What a draft adds: the number of the line after which it stands, and its lines.

    >>> added("a\\nb\\n", "a\\n#c\\nb\\n")
    [(1, ['#c'])]
    """
    old, found, at = before.splitlines(), list[tuple[int, list[str]]](), 0
    for line in after.splitlines():
        if at < len(old) and line == old[at]:
            at += 1
        elif found and found[-1][0] == at:
            found[-1][1].append(line)
        else:
            found.append((at, [line]))
    return found


def blanks(before: str, after: str) -> dict[str, int]:
    """Keys that a draft leaves to the owner, by table and key, with how often each: what the file does not tell.

    >>> blanks("", '#[[run]]\\n#length = "?"\\n#   signal = "?"\\n# "?" in words\\n#[[run]]\\n#length = "?"\\n')
    {'run.length': 2, 'signal': 1}
    """
    found: dict[str, int] = {}
    for _, lines in added(before, after):
        table = ""
        for line in lines:
            head, asked = _HEAD.match(line), _ASKED.match(line)
            if head:
                table = head[1]
            elif asked:
                name = f"{table}.{asked[1]}" if table and not line.startswith("# ") else asked[1]
                found[name] = found.get(name, 0) + 1
    return found


def read_for_draft(path: str | os.PathLike[str]) -> tuple[str, str]:
    """Text and hash of the file that a draft is made from; DesignFault as `read_bytes` and `decode`."""
    name = os.fspath(path)
    data = read_bytes(name)
    return decode(data, os.path.basename(name)), text_hash(data)


def save_draft(path: str | os.PathLike[str], text: str, seen: str) -> Truck:
    """Save the text with the draft over the file that had the hash `seen`; what is raised is that of `save_atomic`."""
    name = os.fspath(path)
    truck = loads(text, os.path.basename(name))
    save_atomic(name, text, seen)
    return truck
