"""The logger map: what one logger's columns mean, confirmed by the owner.

Answers: which header has which role, in which unit, with which codes; how the text is read; which column is the time.
Units:   as written in the map; `roles` turns them into those of the roles.
Touches: nothing. `map_file` reads and writes it.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

TIME_KINDS = ("number", "rows", "clock", "date-time", "date and clock")
FILE_KINDS = ("text", "parquet", "mdf", "can")
ENCODINGS = ("utf-8", "utf-16-le", "utf-16-be", "cp1252")
UNKNOWN = "?"
"""What a proposal writes where the file states no unit."""
MOST_CHANNELS = 200


@dataclass(frozen=True)
class FileForm:
    """How delimited text is read. Other kinds of file have only `kind`."""

    kind: str = "text"
    encoding: str = "utf-8"
    delimiter: str = ","
    decimal: str = "."
    skip_lines: int = 0
    unit_row: bool = False


@dataclass(frozen=True)
class TimeEntry:
    """The column of time."""

    header: str
    kind: str = "number"
    unit: str = "s"
    rate_hz: float = 0.0
    layout: str = ""
    date_header: str = ""
    confirmed: bool = False


@dataclass(frozen=True)
class Entry:
    """One channel of the map. `codes` has what is read, as text, and what it means: a number or a word."""

    role: str
    header: str
    unit: str = ""
    codes: Mapping[str, float | str] = field(default_factory=dict)
    factor: float = 1.0
    offset: float = 0.0
    valid: tuple[float, float] | None = None
    full_scale: float | None = None
    on_above: float | None = None
    on_below: float | None = None
    confirmed: bool = False
    note: str = ""

    @property
    def labels(self) -> tuple[str, ...]:
        """The words a word role can have, in the order in which they first stand in `codes`."""
        return tuple(dict.fromkeys(str(each) for each in self.codes.values() if isinstance(each, str)))


@dataclass(frozen=True)
class LoggerMap:
    """One logger's map; `channels` are the confirmed entries, `proposed` those that wait for the owner."""

    logger: str
    file: FileForm | None
    time: TimeEntry
    channels: tuple[Entry, ...]
    proposed: tuple[Entry, ...] = ()
    dbc: str = ""  # path as it can be opened
    bus: str = ""
    source: str = ""  # file name of the map
    dbc_hash: str = ""

    @property
    def hash(self) -> str:
        """What a work folder keys on: changes with anything that changes a value."""
        parts: list[Any] = [repr(self.file), repr(self.time), self.dbc_hash, self.bus]
        parts += [repr((each, sorted(each.codes.items(), key=str))) for each in self.channels]
        return hashlib.sha256(json.dumps(parts).encode("utf-8")).hexdigest()


def same_code(text: str) -> str:
    """One spelling for a code: blanks off, and 1, 1.0 and 01 alike."""
    bare = text.strip()
    try:
        number = float(bare)
    except ValueError:
        return bare
    return repr(number) if math.isfinite(number) else bare
