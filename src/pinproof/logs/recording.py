"""A log as the checks see it: channels by role, pieces in order, and what its clock is worth.

Answers: what was recorded under each role, with which rate, and where data may be missing.
Units:   `time_s` in seconds from the first row; values in the unit of their role.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
MOST_ROWS = 262_144


@dataclass(frozen=True)
class Channel:
    """One channel. The measured fields are NaN or 0 until the whole file was read once."""

    role: str
    header: str
    unit_read: str
    unit: str
    rate_hz: float = float("nan")  # how often it has something new
    rate_basis: str = "not read yet"  # rows, seldom, samples, held, straight
    skew_s: float = float("nan")  # how much later than its partner; NaN: not measured
    held_fraction: float = float("nan")  # share of rows that repeat the value before
    labels: tuple[str, ...] = ()  # of word roles: value k is labels[k]
    cells: int = 0  # cells in the file, empty ones included
    lost: int = 0  # cells that held something which is no value of this channel
    lost_examples: tuple[str, ...] = ()
    recorded: int = 0  # rows with a value, after repair
    lowest: float = float("nan")
    highest: float = float("nan")


@dataclass(frozen=True)
class Finding:
    """One thing found in a file or its clock; `repair` says what was done about it, or ""."""

    kind: str
    text: str
    count: int = 1
    first_s: float = float("nan")
    repair: str = ""
    role: str = ""


@dataclass(frozen=True)
class Skew:
    """Channel `role` shows the same thing `lag_s` later than `partner` (negative: earlier)."""

    role: str
    partner: str
    lag_s: float
    uncertainty_s: float
    stretches: int
    correlation: float


@dataclass(frozen=True)
class TimeBase:
    """What the clock of a log is worth; times in seconds from its first row, after repair."""

    rows_read: int
    rows_kept: int
    period_s: float
    jitter_s: float
    begins: str  # date and time of the first row, "" if the file has no date
    gaps: tuple[tuple[float, float], ...]  # the first 1000
    gap_count: int
    gap_total_s: float
    findings: tuple[Finding, ...]
    skews: tuple[Skew, ...] = ()


@dataclass(frozen=True)
class Chunk:
    """Consecutive rows without a gap inside."""

    time_s: Floats  # strictly increasing, also from chunk to chunk
    values: Mapping[str, Floats]  # role -> value, NaN where nothing was recorded
    gap_before: bool  # data may be missing before the first row


class Recording(Protocol):
    """One opened log, or several parts of one day. See docs/log-files.md for what holds when."""

    @property
    def name(self) -> str:
        """File name; of several parts the first, with their number."""

    @property
    def channels(self) -> Mapping[str, Channel]:
        """By role."""

    @property
    def unmapped(self) -> tuple[str, ...]:
        """Headers in the file that no confirmed entry of the map names."""

    @property
    def absent(self) -> tuple[str, ...]:
        """Roles that the map has and the file has not."""

    @property
    def time_base(self) -> TimeBase:
        """Known after the first complete run of `chunks`; asked before, it reads the whole file."""

    @property
    def duration_s(self) -> float:
        """Last stamp less the first; as `time_base`."""

    def chunks(self, roles: Sequence[str], rows: int = MOST_ROWS) -> Iterator[Chunk]:
        """All rows in order, in pieces of at most `rows`; LogFault for a role that is not there."""
