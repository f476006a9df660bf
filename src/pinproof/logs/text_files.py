"""Delimited text of any dialect, in pieces of bounded size.

Answers: the rows of a text file as stamps and values of roles, with every cell counted that was none.
Units:   seconds; values in the unit of their role.
Touches: the file it is given, reading only. Loads polars only when called.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from pinproof.logs.ahead import several_at_once
from pinproof.logs.faults import LogFault, shown
from pinproof.logs.line_blocks import line_blocks
from pinproof.logs.logger_map import Entry, FileForm, TimeEntry, same_code
from pinproof.logs.recording import Floats
from pinproof.logs.sniff import MOST_COLUMNS, cells_of, plain_header, split_headers
from pinproof.logs.source import Converter, Loss, Piece, Tally, loss_of_infinite, usual
from pinproof.logs.stamps import seconds

if TYPE_CHECKING:
    import polars as pl

MOST_CODES = 2000
"""More different texts than this in one block, and the column holds no codes."""
_EXTRA = "extra"


@dataclass(frozen=True)
class _Parsed:
    """A block of lines, and the same as columns, of which `texts` were read as text; None where it cannot be read."""

    block: bytes
    stray: int  # lines from which quotes were taken
    texts: frozenset[str]
    frame: pl.DataFrame | None


class TextSource:
    """One text file, read as its map says."""

    def __init__(self, path: Path, form: FileForm, time: TimeEntry, entries: Sequence[Entry]) -> None:
        self.path, self.form, self.time = path, form, time
        self.name = path.name
        self.headers = self._headers()
        at = {header: k for k, header in enumerate(self.headers)}
        time = replace(time, header=plain_header(time.header), date_header=plain_header(time.date_header))
        self.time = time
        named = (replace(each, header=plain_header(each.header)) for each in entries)
        self.entries = tuple(each for each in named if each.header in at)
        self.dated = time.kind in ("date-time", "date and clock")
        for header in (time.header, time.date_header):
            if header and header not in at:
                raise LogFault(
                    self.name, "no time", f'There is no column "{shown(header)}", which the map calls the time.',
                    f"Columns are {_some(self.headers)}.", "Correct [time] in the map, or use the map of this logger.",
                )  # fmt: skip
        self._at = at
        self._names = [f"c{k}" for k in range(len(self.headers))]
        self._converters = {each.role: Converter(each) for each in self.entries}
        self._texts: set[str] = set()  # columns that are read as text, since they have empty or odd cells
        self._rows = 0
        if time.kind != "number":
            self._texts |= {self._column(each) for each in (time.header, time.date_header) if each}
        for each in self.entries:
            if self._converters[each.role].as_text or self._comma_in_quotes:
                self._texts.add(self._column(each.header))

    @property
    def _comma_in_quotes(self) -> bool:
        return self.form.decimal == "," and self.form.delimiter == ","

    def _column(self, header: str) -> str:
        return self._names[self._at[header]]

    def _headers(self) -> tuple[str, ...]:
        for block in line_blocks(self.path, self.form.encoding, self.form.skip_lines):
            line = block.split(b"\n", 1)[0].decode("utf-8", "replace").rstrip("\r")
            cells = [cell.strip() for cell in cells_of(line, self.form.delimiter)]
            if len(cells) > MOST_COLUMNS:
                raise LogFault(
                    self.name, "many columns", f"It has {len(cells)} columns.",
                    f"{MOST_COLUMNS} is the most that is read.", "Export only the channels you need.",
                )  # fmt: skip
            return tuple(split_headers(cells)[0])
        raise LogFault(
            self.name, "empty", f"It has no line after the {self.form.skip_lines} that the map skips.",
            hint="Is the map of this logger?",
        )  # fmt: skip

    def pieces(self, tally: Tally) -> Iterator[Piece]:
        """All rows in the order of the file."""
        first, self._rows, found_any = True, 0, False
        skip = self.form.skip_lines + 1 + (1 if self.form.unit_row else 0)
        counts: dict[str, int] = {}
        blocks = line_blocks(self.path, self.form.encoding, skip, counts=counts)
        for parsed in several_at_once(self._parsed, blocks):
            piece = self._piece(parsed, tally)
            if piece is None:
                continue
            if first and len(piece.stamp_s) == 0:
                found_any = found_any or self._rows > 0
                continue
            first = False
            if len(piece.stamp_s):
                yield piece
        if counts.get("padding"):
            text = "{count} zero bytes stand in the file: the logger lost its power, or the copy is damaged."
            tally.note("padding", counts["padding"], text, "left out")
        if first:
            raise (
                self._no_time()
                if found_any
                else LogFault(
                    self.name, "no rows", "There is a header, and no row below it.", hint="Was the logger started?"
                )
            )

    def _no_time(self) -> LogFault:
        sample = self._sample
        return LogFault(
            self.name, "no time", f'No cell of column "{shown(self.time.header)}" can be read as {self._kind()}'
            + (f'; the first is "{shown(sample, 30)}".' if sample else "."),
            "Each row needs a stamp of time.", "Correct [time] in the map.",
        )  # fmt: skip

    def _kind(self) -> str:
        time = self.time
        return {"number": f"a number ({time.unit})", "clock": "a clock such as 14:03:07.25"}.get(
            time.kind, f'a date and time "{time.layout}"'
        )

    _sample = ""

    def _wanted(self) -> list[str]:
        wanted = [self._column(each.header) for each in self.entries]
        wanted += [self._column(each) for each in (self.time.header, self.time.date_header) if each]
        return list(dict.fromkeys([*wanted, self._names[-1], _EXTRA]))

    def _parsed(self, block: bytes) -> _Parsed:
        """A block as columns, taken as they are taken now: whoever uses it sees whether that still holds."""
        stray = 0
        if b'"' in block:
            block, stray = _even_quotes(block)
        texts = frozenset(self._texts)
        try:
            frame = self._parse(block, self._wanted(), texts)
        except LogFault:  # it is told when its turn comes
            frame = None
        return _Parsed(block, stray, texts, frame)

    def _parse(self, block: bytes, columns: list[str], texts: AbstractSet[str]) -> pl.DataFrame:
        import polars as pl

        form = self.form
        kinds: dict[str, Any] = {name: pl.String if name in texts else pl.Float64 for name in self._names}
        kinds[_EXTRA] = pl.String
        header = form.delimiter.join([*self._names, _EXTRA]).encode("ascii") + b"\n"
        encoding: Literal["utf8", "utf8-lossy"] = "utf8" if block.isascii() else "utf8-lossy"
        try:
            return pl.read_csv(
                header + block, separator=form.delimiter, schema=kinds, columns=columns, ignore_errors=True,
                truncate_ragged_lines=True, encoding=encoding, quote_char='"' if b'"' in block else None,
                decimal_comma=form.decimal == "," and form.delimiter != ",",
            )  # fmt: skip
        except pl.exceptions.PolarsError as error:
            raise LogFault(
                self.name, "unreadable", f"A stretch of it cannot be read as rows: {shown(str(error), 120)}.",
                "Rows of cells.", "Is the delimiter in the map right?", f"after row {self._rows}",
            ) from None  # fmt: skip

    def _piece(self, parsed: _Parsed, tally: Tally) -> Piece | None:
        block, frame = parsed.block, parsed.frame
        if parsed.stray:
            text = "{count} lines have a quote without its partner."
            tally.note("stray quotes", parsed.stray, text, "the quotes left out")
        wanted = self._wanted()
        if frame is None or parsed.texts != self._texts:
            frame = self._parse(block, wanted, self._texts)
        if frame.height == 0:
            return None
        numbers: dict[str, Floats] = {}
        doubtful = []
        for name in wanted:
            if name not in self._texts and name != _EXTRA:
                numbers[name] = frame[name].to_numpy()
                if not usual(numbers[name]):
                    doubtful.append(name)
        if doubtful:  # empty cells, or cells that are no numbers: only the text tells which
            texts = self._parse(block, doubtful, set(doubtful))
            if texts.height == frame.height:
                for name in doubtful:
                    frame = frame.with_columns(texts[name])
                    del numbers[name]
                self._texts |= set(doubtful)
            else:  # quotes out of place: what a row is depends on what its cells are read as, so all as one thing
                self._texts |= set(wanted) - {_EXTRA}
                frame, numbers = self._parse(block, wanted, self._texts), {}
        time = self.time
        rows = frame.height
        if time.kind == "rows":
            stamp_s = (self._rows + np.arange(rows)) / time.rate_hz
        else:
            column = self._column(time.header)
            cells = frame[column] if column in self._texts else None
            if cells is None:
                stamp_s = seconds(frame[column], time)
            else:
                cells = self._points(cells) if time.kind == "number" else cells
                dates = frame[self._column(time.date_header)] if time.date_header else None
                stamp_s = seconds(cells, time, dates)
                if not self._sample:
                    self._sample = next((each for each in cells.head(1).to_list() if each), "")
        keep = ~np.isnan(stamp_s)
        whole = bool(keep.all())
        last_cut = not block.endswith(b"\n")
        self._rows += rows
        if not block.isascii():
            wrong = block.decode("utf-8", "replace").count("\ufffd")
            if wrong:
                text = f"{{count}} letters are not {self.form.encoding}, which the map says."
                tally.note("wrong letters", wrong, text, "replaced")
        self._notes(block, frame, keep, last_cut, tally)
        if last_cut and self._cut(block):
            keep[-1] = whole = False
            tally.note("cut-off line", 1, "The last line is cut off.", "left out")
        if not whole:
            stamp_s = stamp_s[keep]
        tally.rows += rows
        values = {}
        for each in self.entries:
            column, loss = self._column(each.header), tally.loss(each.role)
            loss.cells += len(stamp_s)
            if column in numbers:
                read = numbers[column]
                values[each.role] = self._converters[each.role].numbers(read if whole else read[keep], loss)
            else:
                cells = frame[column]
                if not whole:
                    cells = cells.filter(_mask(keep))
                values[each.role] = values_of_text(self._points(cells), self._converters[each.role], loss)
        return Piece(np.asarray(stamp_s, dtype=np.float64), values)

    def _points(self, cells: pl.Series) -> pl.Series:
        """Decimal points for the decimal commas of cells that were read as text."""
        if self.form.decimal == ",":
            return cells.str.replace(r"^(\s*[+-]?\d*),(\d+(?:[eE][+-]?\d+)?\s*)$", "$1.$2")
        return cells

    def _cut(self, block: bytes) -> bool:
        """Has the last line, which has no end, fewer cells than the header?"""
        line = block[block.rfind(b"\n") + 1 :].decode("utf-8", "replace")
        return len(cells_of(line, self.form.delimiter)) < len(self.headers)

    def _notes(self, block: bytes, frame: pl.DataFrame, keep: Any, last_cut: bool, tally: Tally) -> None:
        """Rows without a time, and rows with more or fewer cells than the header."""
        import polars as pl

        extra = frame[_EXTRA]
        longer = frame.height - extra.null_count()
        if longer and extra.filter(extra.str.strip_chars() != "").len() == 0:
            longer = 0  # a delimiter at the end of each line
        last = frame[self._names[-1]]
        shorter = 0
        if last.null_count():
            # an empty last cell, or none: count the delimiters, unless quotes could hide some
            lines = pl.Series(block.decode("utf-8", "replace").split("\n"), dtype=pl.String)
            lines = lines.filter(lines.str.strip_chars() != "")
            if '"' not in "".join(lines.head(100).to_list()):
                counts = lines.str.count_matches(self.form.delimiter, literal=True)
                shorter = int((counts < len(self.headers) - 1).sum()) - int(last_cut and self._cut(block))
        if longer or shorter > 0:
            tally.note(
                "ragged row", longer + max(shorter, 0), "{count} rows have more or fewer cells than the header.",
                "cells beyond the header left out, missing ones taken as not recorded",
            )  # fmt: skip
        if not keep.all():
            empty = frame.filter(_mask(~keep)).select(pl.all_horizontal(pl.all().is_null())).to_series()
            count = int(empty.len() - empty.sum())
            if count:
                tally.note("row without time", count, "{count} rows have no time that can be read.", "left out")


def _even_quotes(block: bytes) -> tuple[bytes, int]:
    """The same without the quotes of lines that have an odd number of them, and the number of these lines.

    Otherwise one stray quote would swallow all rows up to the next one.
    """
    lines = block.split(b"\n")
    odd = [at for at, line in enumerate(lines) if line.count(b'"') % 2]
    for at in odd:
        lines[at] = lines[at].replace(b'"', b"")
    return (b"\n".join(lines), len(odd)) if odd else (block, 0)


def _mask(keep: Any) -> pl.Series:
    import polars as pl

    return pl.Series(keep)


def _some(headers: Sequence[str]) -> str:
    named = ", ".join(f'"{shown(each, 30)}"' for each in headers[:12])
    return f"{named} and {len(headers) - 12} more" if len(headers) > 12 else named


def values_of_text(cells: pl.Series, converter: Converter, loss: Loss) -> Floats:
    """Values of a column that was read as text; empty cells are not recorded, others that are no value are counted."""
    import polars as pl

    cells = cells.str.strip_chars()
    if not converter.as_text:
        read = cells.cast(pl.Float64, strict=False)
        filled = cells.fill_null("") != ""
        bad = filled & (read.is_null() | read.is_nan().fill_null(False))
        if bad.any():
            odd = cells.filter(bad).value_counts().head(5)
            texts = odd.to_series(0).to_list()
            loss.note("no_number", int(bad.sum()), dict(zip(texts, odd.to_series(1).to_list(), strict=True)))
        values = np.array(read.to_numpy())
        return converter.numbers(loss_of_infinite(values, loss), loss)
    counts = cells.value_counts()
    found, times = counts.to_series(0).to_list(), counts.to_series(1).to_list()
    means: dict[str, float] = {}
    for text, count in zip(found, times, strict=True):
        if text is None or text == "":
            continue
        meaning = converter.table.get(same_code(text)) if len(found) <= MOST_CODES else None
        if meaning is None:
            loss.note("unknown_code", count, {text: count})
        else:
            means[text] = meaning
    made = cells.replace_strict(list(means), list(means.values()), default=None, return_dtype=pl.Float64)
    return np.array(made.to_numpy())
