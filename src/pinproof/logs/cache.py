"""What was read of a log, kept as Parquet in a work folder, so that the next look is quick.

Answers: is this very file with this very map known; its rows and findings, if so.
Units:   as in `recording`.
Touches: the work folder. Loads polars only when called.
How:     one folder for each entry, written under another name and renamed when it is whole. Anything odd about an entry
         makes it as good as none. The folder can be deleted at any time.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pinproof import __version__
from pinproof.logs.cuts import Stretch
from pinproof.logs.recording import Channel, Finding, Skew, TimeBase

LAYOUT = 2
"""Raised with every change of what is kept, or of how it is computed."""
LOOK_BYTES = 64 * 1024
PART_ROWS = 262_144
_GAP, _TIME = "gap_before", "time_s"


class Damaged(Exception):
    """A part of an entry cannot be read; the entry is as good as none."""


@dataclass(frozen=True)
class Known:
    """What an entry says without its rows."""

    channels: dict[str, Channel]
    time_base: TimeBase
    duration_s: float
    parts: int


def key_of(paths: Sequence[Path], map_hash: str) -> str:
    """Name of the entry: changes with name, size, time of change and a look into each file, the map, the version."""
    made = hashlib.sha256(f"{LAYOUT} {__version__} {map_hash}".encode())
    for path in paths:
        seen = path.stat()
        made.update(f"\0{path.name}\0{seen.st_size}\0{seen.st_mtime_ns}\0".encode())
        with path.open("rb") as file:
            for at in (0, seen.st_size // 2, max(0, seen.st_size - LOOK_BYTES)):
                file.seek(at)
                made.update(file.read(LOOK_BYTES))
    return made.hexdigest()[:32]


def look_up(work: Path, key: str) -> Known | None:
    """The entry, if it is there and whole."""
    try:
        raw = json.loads((work / key / "log.json").read_text(encoding="utf-8"))
        channels = {role: Channel(**_tuples(each)) for role, each in raw["channels"].items()}
        base = _tuples(raw["time_base"])
        base["findings"] = tuple(Finding(**each) for each in base["findings"])
        base["skews"] = tuple(Skew(**each) for each in base["skews"])
        base["gaps"] = tuple(tuple(each) for each in base["gaps"])
        known = Known(channels, TimeBase(**base), float(raw["duration_s"]), int(raw["parts"]))
        sizes = [(work / key / f"part-{at:05}.parquet").stat().st_size for at in range(known.parts)]
        return known if sizes == raw["sizes"] else None
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        return None


def _tuples(raw: dict[str, Any]) -> dict[str, Any]:
    return {key: tuple(each) if isinstance(each, list) else each for key, each in raw.items()}


def forget(work: Path, key: str) -> None:
    """Take an entry away, where that is possible."""
    shutil.rmtree(work / key, ignore_errors=True)


def rows_of(work: Path, key: str, known: Known, roles: Sequence[str]) -> Iterator[Stretch]:
    """The rows of an entry, with only the roles that are wanted; Damaged where a part cannot be read."""
    import polars as pl

    wanted = [_TIME, _GAP, *dict.fromkeys(roles)]
    for at in range(known.parts):
        try:
            frame = pl.read_parquet(work / key / f"part-{at:05}.parquet", columns=wanted, glob=False)
        except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError) as error:
            raise Damaged(str(error)) from None
        time_s = frame[_TIME].to_numpy()
        values = {role: frame[role].to_numpy() for role in dict.fromkeys(roles)}
        gap = frame[_GAP].to_numpy()
        bounds = [0, *(int(each) for each in np.flatnonzero(gap) if each > 0), len(time_s)]
        for begin, end in itertools.pairwise(bounds):
            part = {role: each[begin:end] for role, each in values.items()}
            yield Stretch(time_s[begin:end], part, bool(gap[begin]))


class Keeper:
    """Writes one entry while a log runs past. If the disk refuses, nothing is kept and the run goes on."""

    def __init__(self, work: Path, key: str) -> None:
        self.work, self.key = work, key
        self.fresh = work / f"{key}.new-{os.getpid()}"
        self.failed = ""
        self._waiting: list[Stretch] = []
        self._rows = self.parts = 0
        try:
            shutil.rmtree(self.fresh, ignore_errors=True)
            self.fresh.mkdir(parents=True)
        except OSError as error:
            self.failed = error.strerror or str(error)

    def add(self, stretch: Stretch) -> None:
        """Keep rows."""
        if self.failed:
            return
        self._waiting.append(stretch)
        self._rows += len(stretch.time_s)
        if self._rows >= PART_ROWS:
            self._write()

    def _write(self) -> None:
        import polars as pl

        some, self._waiting, self._rows = self._waiting, [], 0
        if not some:
            return
        gap = np.zeros(sum(len(each.time_s) for each in some), dtype=bool)
        at = 0
        for each in some:
            gap[at] = each.gap_before
            at += len(each.time_s)
        columns = {_TIME: np.concatenate([each.time_s for each in some]), _GAP: gap}
        columns |= {role: np.concatenate([each.values[role] for each in some]) for role in some[0].values}
        try:
            frame = pl.DataFrame(columns)
            frame.write_parquet(self.fresh / f"part-{self.parts:05}.parquet", compression="lz4", statistics=False)
            self.parts += 1
        except (OSError, pl.exceptions.PolarsError) as error:
            self.failed = str(error)
            self.drop()

    def close(self, channels: dict[str, Channel], base: TimeBase, duration_s: float) -> str:
        """Make the entry valid; the reason, where it could not be kept."""
        self._write()
        if self.failed:
            return self.failed
        try:
            sizes = [(self.fresh / f"part-{at:05}.parquet").stat().st_size for at in range(self.parts)]
            said = {
                "channels": {role: asdict(each) for role, each in channels.items()}, "time_base": asdict(base),
                "duration_s": duration_s, "parts": self.parts, "sizes": sizes,
            }  # fmt: skip
            (self.fresh / "log.json").write_text(json.dumps(said), encoding="utf-8")
            there = self.work / self.key
            shutil.rmtree(there, ignore_errors=True)
            os.replace(self.fresh, there)
        except OSError as error:
            self.failed = error.strerror or str(error)
            self.drop()
        return self.failed

    def drop(self) -> None:
        """Leave nothing of an entry that was not finished."""
        self._waiting = []
        with suppress(OSError):
            shutil.rmtree(self.fresh, ignore_errors=True)
