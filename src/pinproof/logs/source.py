"""What every kind of file gives: pieces of raw stamps and values, and a tally of what could not be read.

Answers: how does a column of numbers or codes become the values of a role, and what was lost on the way?
Units:   stamps in seconds as they stand in the file; values in the unit of their role.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from pinproof.logs.faults import shown
from pinproof.logs.logger_map import Entry
from pinproof.logs.recording import Finding, Floats
from pinproof.logs.roles import GEARS, Role, role_of, scale_of, unit_after

MOST_EXAMPLES = 5
LARGEST = 1e15
"""A cell with a larger number holds none: no channel of a truck reaches it, and sums of it would overflow."""


@dataclass
class Loss:
    """What was lost of one channel, with a few examples as they stood in the file."""

    cells: int = 0
    no_number: int = 0
    unknown_code: int = 0
    out_of_range: int = 0
    examples: dict[str, int] = field(default_factory=dict)

    def note(self, kind: str, count: int, examples: Mapping[str, int] | None = None) -> None:
        """Count cells that held something which is no value."""
        setattr(self, kind, getattr(self, kind) + count)
        for text, times in (examples or {}).items():
            if text in self.examples or len(self.examples) < MOST_EXAMPLES:
                self.examples[text] = self.examples.get(text, 0) + times

    @property
    def lost(self) -> int:
        """All of them."""
        return self.no_number + self.unknown_code + self.out_of_range


@dataclass
class Tally:
    """What one run over a file counted."""

    rows: int = 0
    channels: dict[str, Loss] = field(default_factory=dict)
    notes: dict[str, Finding] = field(default_factory=dict)  # by kind

    def note(self, kind: str, count: int, text: str, repair: str = "") -> None:
        """Add to a finding; `text` may hold {count}."""
        total = count + (self.notes[kind].count if kind in self.notes else 0)
        self.notes[kind] = Finding(kind, text, total, repair=repair)

    def loss(self, role: str) -> Loss:
        """The losses of one channel."""
        return self.channels.setdefault(role, Loss())

    def findings(self) -> list[Finding]:
        """Everything counted, as sentences."""
        found = [
            Finding(note.kind, note.text.replace("{count}", str(note.count)), note.count, repair=note.repair)
            for note in self.notes.values()
        ]
        for role, loss in self.channels.items():
            told = ", ".join(f'"{shown(text, 20)}"' for text in loss.examples)
            like = f" ({told})" if told else ""
            for kind, count, what in (
                ("no number", loss.no_number, "were no number"),
                ("unknown code", loss.unknown_code, "held a code that the map does not know"),
                ("out of range", loss.out_of_range, "lay outside what the map calls valid"),
            ):
                if count:
                    text = f"{role}: {count} of {loss.cells} cells {what}{like}."
                    found.append(Finding(kind, text, count, repair="taken as not recorded", role=role))
        return found


@dataclass(frozen=True)
class Piece:
    """Consecutive rows of a file as they stand there. `stamp_s` may repeat and go back; it is never NaN."""

    stamp_s: Floats
    values: dict[str, Floats]


class Source(Protocol):
    """One opened file."""

    name: str
    headers: tuple[str, ...]
    entries: tuple[Entry, ...]  # those of the map that this file has
    dated: bool  # stamps are seconds since 1970, local or UTC

    def pieces(self, tally: Tally) -> Iterator[Piece]:
        """All rows in the order of the file; each call begins anew."""


class Converter:
    """Turns what a column holds into the values of its role."""

    def __init__(self, entry: Entry) -> None:
        role = role_of(entry.role)
        assert role is not None, entry.role  # the map was checked
        self.entry, self.role = entry, role
        self.unit_after = "0/1" if self.switched and role.kind == "flag" else unit_after(role, entry.unit)
        self.as_text = bool(entry.codes) and not all(_is_float(code) for code in entry.codes)
        labels = {label: float(at) for at, label in enumerate(entry.labels)}
        self.table = {code: labels[each] if isinstance(each, str) else each for code, each in entry.codes.items()}
        factor, offset = self._scale(role)
        self.factor, self.offset = entry.factor * factor, entry.offset * factor + offset
        self._codes = (
            np.array(sorted(float(code) for code in self.table), dtype=np.float64) if self._by_number else None
        )
        if self._codes is not None:
            self._means = np.array([self.table[repr(float(code))] for code in self._codes], dtype=np.float64)

    @property
    def switched(self) -> bool:
        """On or off by a threshold."""
        return self.entry.on_above is not None or self.entry.on_below is not None

    @property
    def _by_number(self) -> bool:
        return bool(self.entry.codes) and not self.as_text

    def _scale(self, role: Role) -> tuple[float, float]:
        entry = self.entry
        if role.kind != "number" or entry.codes or self.switched or entry.unit == "code":
            return 1.0, 0.0
        if entry.full_scale is not None:
            return 1.0 / entry.full_scale, 0.0
        found = scale_of(role, entry.unit)
        assert found is not None, entry
        return found

    def numbers(self, read: Floats, loss: Loss) -> Floats:
        """Values from a column of numbers, NaN where nothing was recorded."""
        entry = self.entry
        if self._codes is not None:
            return self._looked_up(read, loss)
        if self.switched or self.role.kind in ("flag", "gear") or entry.unit == "code":
            return self._whole(read, loss)
        if entry.valid is not None:
            scaled = read * entry.factor + entry.offset
            self._drop(scaled, (scaled < entry.valid[0]) | (scaled > entry.valid[1]), read, loss, "out_of_range")
            read = np.where(np.isnan(scaled), np.nan, read)
        if self.factor != 1.0 or self.offset != 0.0:
            read = read * self.factor
            if self.offset != 0.0:
                read += self.offset
        return read

    def _drop(self, values: Floats, bad: np.ndarray, read: Floats, loss: Loss, kind: str) -> None:
        count = int(np.count_nonzero(bad))
        if count:
            found, times = np.unique(read[bad][:10_000], return_counts=True)
            loss.note(kind, count, {f"{each:g}": int(n) for each, n in zip(found[:MOST_EXAMPLES], times, strict=False)})
            values[bad] = np.nan

    def _looked_up(self, read: Floats, loss: Loss) -> Floats:
        assert self._codes is not None
        if len(read) and (read == read[0]).all() and read[0] in self._codes:  # one code all along
            return np.full(len(read), self._means[np.searchsorted(self._codes, read[0])])
        at = np.minimum(np.searchsorted(self._codes, read), len(self._codes) - 1)
        values = self._means[at]
        known = self._codes[at] == read
        empty = np.isnan(read)
        self._drop(values, ~known & ~empty, read, loss, "unknown_code")
        values[empty] = np.nan
        return values

    def _whole(self, read: Floats, loss: Loss) -> Floats:
        entry = self.entry
        if not self.switched and entry.valid is None and (entry.factor, entry.offset) == (1.0, 0.0) and len(read):
            # the usual case, all good, in few passes; a NaN fails every comparison
            if self.role.kind != "gear":
                if (read * read == read).all():
                    return read
            elif read.min() >= GEARS[0] and read.max() <= GEARS[1] and (np.rint(read) == read).all():
                return read
        values = read * entry.factor + entry.offset if (entry.factor, entry.offset) != (1.0, 0.0) else read.copy()
        if entry.valid is not None:
            self._drop(values, (values < entry.valid[0]) | (values > entry.valid[1]), read, loss, "out_of_range")
        if self.switched:
            empty = np.isnan(values)
            on = values > entry.on_above if entry.on_above is not None else values < (entry.on_below or 0.0)
            made = on.astype(np.float64)
            made[empty] = np.nan
            return made
        if self.role.kind == "gear":
            bad = (values < GEARS[0]) | (values > GEARS[1]) | (values != np.rint(values))
        else:
            bad = (values != 0.0) & (values != 1.0)
        self._drop(values, bad & ~np.isnan(values), read, loss, "out_of_range")
        return values


def _is_float(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def usual(read: Floats) -> bool:
    """Is every cell a number that a channel can have: not empty, not infinite, not absurdly large?"""
    return bool(len(read)) and bool(read.max() < LARGEST) and bool(read.min() > -LARGEST)


def loss_of_infinite(read: Floats, loss: Loss) -> Floats:
    """The same without infinities and what is as good as infinite, which are counted as no number."""
    if not len(read) or usual(read):
        return read
    bad = (read >= LARGEST) | (read <= -LARGEST)
    count = int(np.count_nonzero(bad))
    if count:
        loss.note("no_number", count, {f"{read[bad][0]:g}": count})
        read = np.where(bad, np.nan, read)
    return read
