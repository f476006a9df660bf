"""Stamps of time, as text or number, into seconds.

Answers: which second does this cell mean, and which way of writing does a sample of cells fit?
Units:   seconds; since 1970 where there is a date, since midnight for a clock.
Touches: nothing. Loads polars only when called.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from pinproof.logs.logger_map import TimeEntry
from pinproof.logs.recording import Floats
from pinproof.logs.roles import TIME_UNITS

if TYPE_CHECKING:
    import polars as pl

DAY_S = 86_400.0
LARGEST_STAMP = 1e19
"""A larger number is no stamp in any unit: nanoseconds since 1970 stay below 2e18."""
_CLOCK = re.compile(r"\s*\d{1,3}:\d{2}(:\d{2}([.,]\d+)?)?\s*\Z")
_ZONES = ("", "%z")
_DATES = (
    "%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%Y/%m/%d", "%d-%m-%Y", "%Y.%m.%d", "%d.%m.%y", "%Y%m%d",
    "%d/%m/%y", "%m/%d/%y",
)  # fmt: skip
_CLOCKS = ("%H:%M:%S%.f", "%H:%M:%S,%f", "%H:%M", "%I:%M:%S%.f %p", "%I:%M:%S %p")


def seconds(cells: pl.Series, entry: TimeEntry, dates: pl.Series | None = None) -> Floats:
    """Seconds of each cell, NaN where it is no stamp.

    `cells` holds text, but for kind "number" it may hold numbers; `dates` is the column of the date, if it is apart.
    """
    import polars as pl

    if entry.kind == "number":
        if cells.dtype == pl.String:
            cells = cells.str.strip_chars().cast(pl.Float64, strict=False)
        elif cells.dtype.is_temporal():
            return instants(cells)
        found = cells.cast(pl.Float64, strict=False).to_numpy()
        unit_s = TIME_UNITS[entry.unit]
        if found.dtype.kind != "f":
            found = found.astype(np.float64)
        found = np.where(np.abs(found) < LARGEST_STAMP, found, np.nan)
        return found if unit_s == 1.0 else found / round(1.0 / unit_s) if unit_s < 1.0 else found * unit_s
    if cells.dtype.is_temporal():
        return instants(cells)
    texts = cells.cast(pl.String).str.strip_chars()
    if entry.kind == "clock":
        return _clock(texts)
    if dates is not None:
        texts = dates.cast(pl.String).str.strip_chars() + " " + texts
    layout, texts = _plain_fraction(entry.layout, texts)
    zoned = layout.endswith("%z")
    if zoned:
        texts = texts.str.replace(r"Z$", "+00:00")
    made = texts.str.to_datetime(layout, strict=False, time_unit="us", time_zone="UTC" if zoned else None)
    return instants(made)


def instants(cells: pl.Series) -> Floats:
    """Seconds since 1970 of dates and times, or since midnight of times of day."""
    import polars as pl

    if cells.dtype == pl.Time:
        return cells.cast(pl.Int64).cast(pl.Float64).to_numpy() / 1e9
    if isinstance(cells.dtype, pl.Duration):
        return cells.dt.total_nanoseconds().cast(pl.Float64).to_numpy() / 1e9
    if isinstance(cells.dtype, pl.Datetime) and cells.dtype.time_unit == "ns":
        whole = cells.dt.epoch("us").cast(pl.Float64).to_numpy() / 1e6
        return np.asarray(whole)
    return np.asarray(cells.cast(pl.Datetime("us")).dt.epoch("us").cast(pl.Float64).to_numpy() / 1e6)


def _plain_fraction(layout: str, texts: pl.Series) -> tuple[str, pl.Series]:
    """A fraction after a comma, made one after a point."""
    if "%S,%f" in layout:
        return layout.replace("%S,%f", "%S%.f"), texts.str.replace(r",(\d+)", r".$1")
    return layout, texts


def _clock(texts: pl.Series) -> Floats:
    import polars as pl

    texts = texts.str.replace(",", ".", literal=True)
    found = texts.str.to_time("%H:%M:%S%.f", strict=False).cast(pl.Int64).cast(pl.Float64).to_numpy() / 1e9
    left = np.isnan(found)
    if not left.any():
        return found
    some = texts.filter(pl.Series(left))
    parts = some.str.extract_groups(r"^(?:(\d{1,4}):)?(\d{1,2}):(\d{2}(?:\.\d+)?)$").struct.unnest()
    hours, minutes, rest = (parts[name].cast(pl.Float64, strict=False) for name in parts.columns)
    made = np.array(found)
    made[left] = (hours.fill_null(0.0) * 3600.0 + minutes * 60.0 + rest).to_numpy()
    return made


def layouts_that_fit(samples: Sequence[str]) -> tuple[str, ...]:
    """Ways to write date and time in which every sample can be read; several where day and month may be swapped."""
    import polars as pl

    bare = [text.strip() for text in samples if text.strip()]
    if not bare or not all(re.search(r"\d", text) and len(text) >= 8 for text in bare):
        return ()
    first = bare[0]
    join = "T" if re.search(r"\dT\d", first) else " "
    zones = ("%z",) if re.search(r"(Z|[+-]\d{2}:?\d{2})\Z", first) else ("",)
    cells = pl.Series(bare)
    found: list[str] = []
    for date in _DATES:
        for clock in _CLOCKS:
            layout = f"{date}{join}{clock}{zones[0]}"
            made = seconds(cells, TimeEntry("", "date-time", layout=layout))
            if not np.isnan(made).any() and not any(_same(cells, layout, each) for each in found):
                found.append(layout)
    return tuple(found)


def _same(cells: pl.Series, one: str, other: str) -> bool:
    first, second = (seconds(cells, TimeEntry("", "date-time", layout=layout)) for layout in (one, other))
    return bool(np.array_equal(first, second))


def is_clock(samples: Sequence[str]) -> bool:
    """Are all of these a clock such as 14:03:07.25?"""
    bare = [text for text in samples if text.strip()]
    return bool(bare) and all(_CLOCK.match(text) and text.count(":") >= 1 for text in bare)


def wraps_of(entry: TimeEntry) -> tuple[float, ...]:
    """After how many seconds this kind of stamp may begin anew."""
    if entry.kind == "clock":
        return (DAY_S,)
    if entry.kind == "number":
        return tuple(TIME_UNITS[entry.unit] * float(2**bits) for bits in (16, 24, 32))
    return ()
