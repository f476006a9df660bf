"""ASAM MDF 4 through asammdf, where that is installed.

Answers: the rows of an MDF file as stamps and values of roles.
Units:   seconds; values in the unit of their role.
Touches: the file it is given, reading only. Loads asammdf only when called; it is not among our own libraries, since it
         has no package for some systems and slows every start of python-can.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from pinproof.logs.faults import LogFault, shown
from pinproof.logs.logger_map import Entry, TimeEntry
from pinproof.logs.source import Converter, Piece, Tally, loss_of_infinite

PIECE_BYTES = 64 * 2**20
_LIBRARY = "asammdf"


def _library(name: str) -> Any:
    try:
        return importlib.import_module(_LIBRARY)
    except ImportError:
        raise LogFault(
            name, "no library", "This is an MDF recording; it needs the library asammdf, which is not installed.",
            hint="Install it (pip install asammdf), or export the recording as CSV or Parquet.",
        ) from None  # fmt: skip


def _opened(path: Path) -> Any:
    library = _library(path.name)
    try:
        return library.MDF(str(path))
    except Exception as error:  # asammdf raises many kinds for a damaged file
        raise LogFault(
            path.name, "damaged", f"The MDF file is damaged or cut off: {shown(str(error), 120)}.",
            hint="Copy it again from the logger.",
        ) from None  # fmt: skip


def columns_in(path: Path) -> list[tuple[str, str, tuple[str, ...]]]:
    """Channels: name, unit, first values as text."""
    with _opened(path) as mdf:
        found = []
        for name in _names(mdf):
            try:
                group, index = mdf.channels_db[name][0]
                signal = mdf.get(name, group=group, index=index, record_offset=0, record_count=200)
            except Exception:  # a channel that is no series of numbers
                continue
            found.append((name, str(signal.unit or ""), tuple(_text(each) for each in signal.samples[:200])))
        return found


def _text(value: Any) -> str:
    return value.decode("utf-8", "replace").strip("\0 ") if isinstance(value, bytes) else f"{value}"


def _names(mdf: Any) -> list[str]:
    masters = {(group, index) for group, index in mdf.masters_db.items()}
    return [name for name, places in mdf.channels_db.items() if any(place not in masters for place in places)]


class MdfSource:
    """One MDF file, read as its map says. A name that stands in several groups is taken from the first."""

    dated = False

    def __init__(self, path: Path, time: TimeEntry, entries: Sequence[Entry]) -> None:
        self.path, self.name = path, path.name
        with _opened(path) as mdf:
            self.headers = tuple(_names(mdf))
            self.entries = tuple(each for each in entries if each.header in self.headers)
            self._places = {each.header: (each.header, *mdf.channels_db[each.header][0]) for each in self.entries}
        self._converters = {each.role: Converter(each) for each in self.entries}

    def pieces(self, tally: Tally) -> Iterator[Piece]:
        """All rows: the union of the groups' stamps, empty where a channel has no sample."""
        import polars as pl

        from pinproof.logs.text_files import values_of_text

        with _opened(self.path) as mdf:
            frames = mdf.iter_to_dataframe(
                channels=list(self._places.values()), chunk_ram_size=PIECE_BYTES, use_interpolation=False,
                ignore_value2text_conversions=False,
            )  # fmt: skip
            for frame in frames:
                stamp_s = np.asarray(frame.index, dtype=np.float64)
                if not len(stamp_s):
                    continue
                tally.rows += len(stamp_s)
                values = {}
                for each in self.entries:
                    loss, converter = tally.loss(each.role), self._converters[each.role]
                    cells = np.asarray(frame[each.header])
                    loss.cells += len(cells)
                    if cells.dtype.kind in "biuf":
                        read = cells.astype(np.float64)
                        if converter.as_text:
                            texts = pl.Series([None if np.isnan(one) else f"{one:g}" for one in read], dtype=pl.String)
                            values[each.role] = values_of_text(texts, converter, loss)
                        else:
                            values[each.role] = converter.numbers(loss_of_infinite(read, loss), loss)
                    else:
                        texts = pl.Series([None if one != one else _text(one) for one in cells], dtype=pl.String)
                        values[each.role] = values_of_text(texts, converter, loss)
                yield Piece(stamp_s, values)
