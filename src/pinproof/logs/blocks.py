"""Pieces of a recording as blocks of one size, whatever sizes they came in.

Answers: which rows does a check look at together?
Units:   seconds from the log's begin.
Touches: what the recording reads.

Blocks end at fixed row numbers, so nothing that is found depends on how a reader cuts its chunks.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
BLOCK_ROWS = 131_072


class ChunkLike(Protocol):
    """What is used of a chunk."""

    @property
    def time_s(self) -> Floats:
        """Strictly increasing."""

    @property
    def values(self) -> Mapping[str, Floats]:
        """By role, NaN where nothing was recorded."""

    @property
    def gap_before(self) -> bool:
        """Data may be missing before its first row."""


class RecordingLike(Protocol):
    """What is used of a recording; `pinproof.logs.recording.Recording` is one."""

    @property
    def name(self) -> str:
        """File name."""

    @property
    def channels(self) -> Mapping[str, Any]:
        """By role."""

    @property
    def unmapped(self) -> Sequence[str]:
        """Headers that the map does not name."""

    @property
    def time_base(self) -> Any:
        """Findings of the clock."""

    @property
    def duration_s(self) -> float:
        """Last stamp less first."""

    def chunks(self, roles: Sequence[str], rows: int = 262_144) -> Iterator[Any]:
        """All rows in order."""


@dataclass(frozen=True)
class Block:
    """Consecutive rows. `gaps` are the row numbers in it before which data may be missing."""

    time_s: Floats
    values: dict[str, Floats]
    gaps: NDArray[np.int64]
    last: bool

    def __len__(self) -> int:
        return len(self.time_s)

    @cached_property
    def widest_s(self) -> float:
        """Longest step between two rows."""
        return float(np.diff(self.time_s).max()) if len(self.time_s) > 1 else 0.0

    def stride(self, every_s: float) -> int:
        """Of every how many rows one is enough, where one in so much time is."""
        if len(self.time_s) < 3:
            return 1
        mean = (self.time_s[-1] - self.time_s[0]) / (len(self.time_s) - 1)
        return max(1, int(every_s / max(mean, 1e-9)))


def blocks(recording: RecordingLike, roles: Sequence[str], rows: int = BLOCK_ROWS) -> Iterator[Block]:
    """All rows of the roles, in blocks of `rows` rows; the last one may be shorter or empty.

    Each block lies in the same memory as the one before: copy what is to be kept.
    """
    room = np.empty((len(roles) + 1, rows))
    gaps: list[int] = []
    held = 0

    def block(*, last: bool) -> Block:
        values = {role: room[number, :held] for number, role in enumerate(roles, start=1)}
        return Block(room[0, :held], values, np.array(gaps, dtype=np.int64), last)

    for chunk in recording.chunks(roles, rows):
        at, size = 0, len(chunk.time_s)
        if chunk.gap_before:
            gaps.append(held)
        while at < size:
            end = min(size, at + rows - held)
            room[0, held : held + end - at] = chunk.time_s[at:end]
            for number, role in enumerate(roles, start=1):
                room[number, held : held + end - at] = chunk.values[role][at:end]
            held, at = held + end - at, end
            if held == rows:
                yield block(last=False)
                gaps, held = [], 0
    yield block(last=True)
