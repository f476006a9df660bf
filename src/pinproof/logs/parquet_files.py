"""Parquet, in slices of bounded size.

Answers: the rows of a Parquet file as stamps and values of roles.
Units:   seconds; values in the unit of their role.
Touches: the file it is given, reading only; a process that reads it for trial. Loads polars only when called.
How:     each slice is asked for on its own, so memory neither grows with the file nor with its row groups: a file of a
         single row group is read like one of many. What a slice skips is not kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pinproof.logs.faults import LogFault, shown
from pinproof.logs.logger_map import Entry, TimeEntry
from pinproof.logs.parquet_probe import SET_BYTES, SLICE_ROWS
from pinproof.logs.parquet_trial import damaged, sound
from pinproof.logs.sniff import plain_header, split_headers
from pinproof.logs.source import Converter, Piece, Tally, loss_of_infinite
from pinproof.logs.stamps import seconds
from pinproof.logs.text_files import values_of_text

if TYPE_CHECKING:
    import polars as pl

PIECE_ROWS = 65_536
HEAD_ROWS = 200  # that a proposal of a map looks at


class ParquetSource:
    """One Parquet file, read as its map says."""

    def __init__(self, path: Path, time: TimeEntry, entries: Sequence[Entry]) -> None:
        self.path, self.time, self.name = path, time, path.name
        self._columns = columns_of(path)
        names, _ = split_headers(list(self._columns))
        self.headers = tuple(names)
        self._column = dict(zip(names, self._columns, strict=True))
        time = replace(time, header=plain_header(time.header), date_header=plain_header(time.date_header))
        self.time = time
        named = (replace(each, header=plain_header(each.header)) for each in entries)
        self.entries = tuple(each for each in named if each.header in self._column)
        self._converters = {each.role: Converter(each) for each in self.entries}
        self.dated = False
        for header in (time.header, time.date_header):
            if header and header not in self._column:
                raise LogFault(
                    self.name, "no time", f'There is no column "{shown(header)}", which the map calls the time.',
                    "Columns are " + ", ".join(f'"{shown(each, 30)}"' for each in names[:12]) + ".",
                    "Correct [time] in the map, or use the map of this logger.",
                )  # fmt: skip
        if time.header:
            kind = str(self._columns[self._column[time.header]])
            self.dated = time.kind in ("date-time", "date and clock") or kind.startswith(("Datetime", "Date"))

    def pieces(self, tally: Tally) -> Iterator[Piece]:
        """All rows in the order of the file."""
        import polars as pl

        wanted = [self._column[each] for each in (self.time.header, self.time.date_header) if each]
        wanted += [self._column[each.header] for each in self.entries]
        sound(self.path, tuple(dict.fromkeys(wanted)))
        at = 0
        any_time = False
        try:
            for frame in _slices(self.path, list(dict.fromkeys(wanted))):
                for first in range(0, frame.height, PIECE_ROWS):
                    some = frame.slice(first, PIECE_ROWS)
                    piece = self._piece(some, at, tally)
                    at += some.height
                    if len(piece.stamp_s):
                        any_time = True
                        yield piece
        except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
            raise damaged(self.name, str(error)) from None
        if not any_time:
            what = "There is no row." if not at else f'No cell of "{shown(self.time.header)}" can be read as a time.'
            raise LogFault(self.name, "no time" if at else "no rows", what, "Rows with a stamp of time are needed.")

    def _piece(self, frame: pl.DataFrame, at: int, tally: Tally) -> Piece:
        time = self.time
        if time.kind == "rows":
            stamp_s = (at + np.arange(frame.height)) / time.rate_hz
        else:
            dates = frame[self._column[time.date_header]] if time.date_header else None
            stamp_s = np.asarray(seconds(frame[self._column[time.header]], time, dates), dtype=np.float64)
        keep = ~np.isnan(stamp_s)
        if not keep.all():
            tally.note(
                "row without time", int(np.count_nonzero(~keep)), "{count} rows have no time that can be read.",
                "left out",
            )  # fmt: skip
            frame, stamp_s = frame.filter(pl_series(keep)), stamp_s[keep]
        tally.rows += frame.height
        values = {}
        for each in self.entries:
            loss = tally.loss(each.role)
            loss.cells += frame.height
            values[each.role] = self._values(frame[self._column[each.header]], self._converters[each.role], tally, each)
        return Piece(stamp_s, values)

    def _values(self, cells: pl.Series, converter: Converter, tally: Tally, entry: Entry) -> np.ndarray:
        import polars as pl

        loss = tally.loss(entry.role)
        if cells.dtype == pl.Boolean:
            cells = cells.cast(pl.Float64)
        if cells.dtype in (pl.Categorical, pl.Enum) or (converter.as_text and cells.dtype != pl.String):
            cells = cells.cast(pl.String)
        if cells.dtype == pl.String:
            return values_of_text(cells, converter, loss)
        if not cells.dtype.is_numeric():
            filled = cells.len() - cells.null_count()
            loss.note("no_number", filled, {str(cells.dtype): filled})
            return np.full(cells.len(), np.nan)
        read = cells.cast(pl.Float64).to_numpy()
        return converter.numbers(loss_of_infinite(read, loss), loss)


def _slices(path: Path, columns: list[str]) -> Iterator[pl.DataFrame]:
    """Consecutive rows, `SLICE_ROWS` at a time; the last slice may be shorter.

    Polars holds the packed row group from which it takes a slice. So that one row group as long as a large file stays
    below `SET_BYTES`, its columns are then taken in several sets.
    """
    import polars as pl

    many = min(len(columns), 1 + path.stat().st_size // SET_BYTES)
    whole = [pl.scan_parquet(path, glob=False).select(columns[k::many]) for k in range(many)]
    at = 0
    while True:
        frames = [each.slice(at, SLICE_ROWS).collect() for each in whole]
        frame = frames[0] if many == 1 else pl.concat(frames, how="horizontal")
        if frame.height:
            yield frame
        if frame.height < SLICE_ROWS:
            return
        at += SLICE_ROWS


def pl_series(keep: np.ndarray) -> pl.Series:
    """A mask for polars."""
    import polars as pl

    return pl.Series(keep)


def columns_of(path: Path) -> dict[str, object]:
    """Columns and their types; LogFault if the file is damaged."""
    import polars as pl

    sound(path, head=HEAD_ROWS)
    try:
        return dict(pl.scan_parquet(path, glob=False).collect_schema())
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError, ValueError) as error:
        raise damaged(path.name, str(error)) from None
