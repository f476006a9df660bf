"""Frames of a CAN recording, batch by batch, whatever its format.

Answers: stamps, identifiers and bytes of the frames in the order of the file.
Units:   seconds.
Touches: the file it is given, reading only. Loads polars or python-can only when called.
How:     candump and ASC are plain lines and are taken apart by columns; BLF and TRC are read by python-can.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pinproof.logs.can_decode import EXTENDED
from pinproof.logs.faults import LogFault, shown
from pinproof.logs.line_blocks import line_blocks
from pinproof.logs.recording import Floats
from pinproof.logs.source import Tally

if TYPE_CHECKING:
    import polars as pl

BATCH = 50_000
MOST_BYTES = 64
LARGEST_STAMP_S = 1e15
"""No clock of a recording shows more, and sums of more would lose the rows between."""
_CANDUMP = (
    r"^\s*\((\d+\.\d+)\)\s+(\S+)\s+([0-9A-Fa-f]{3}|[0-9A-Fa-f]{8})"
    r"(?:#(?:#[0-9A-Fa-f])?((?:[0-9A-Fa-f]{2})*)|\s+\[\d+\]\s*((?:\s*[0-9A-Fa-f]{2})*))\s*(?:[RT]|'.*)?\s*$"
)
_ASC = (
    r"^\s*(\d+\.\d+)\s+(\d+)\s+([0-9A-Fa-f]+)([xX]?)\s+(?:Rx|Tx)\s+d\s+([0-9A-Fa-f]+)((?:\s+[0-9A-Fa-f]{2}\b)*)"
)  # fmt: skip
_OTHER_ASC = r"^\s*(?:date|base|//|no\s+internal|internal|begin|end|\d+\.\d+\s+(?:start|.*errorframe|.*statistic))"


@dataclass(frozen=True)
class Frames:
    """A batch. `data` is uint8, frames × bytes, filled with 0 behind each frame's own length."""

    stamp_s: Floats
    frame: np.ndarray  # int64, see `can_decode.EXTENDED`
    data: np.ndarray
    lengths: np.ndarray


def frames_of(path: Path, can_format: str, bus: str, tally: Tally) -> Iterator[Frames]:
    """All frames, of one bus if `bus` is named; LogFault for a file that cannot be read."""
    if can_format in ("candump", "asc"):
        with path.open("rb") as file:
            head = file.read(65_536)
        if can_format == "asc":
            lower = head.lower()
            if b"timestamps relative" in b" ".join(lower.split()):
                raise LogFault(
                    path.name, "no time", "Its stamps are relative: each counts from the line before.",
                    "Absolute stamps are needed.", "Export it again with absolute stamps.",
                )  # fmt: skip
            if b"canfd" in lower or lower.split(b"base", 1)[-1].lstrip().startswith(b"dec"):
                yield from _by_library(path, can_format, bus)
                return
        yield from _by_lines(path, can_format, bus, tally)
    else:
        yield from _by_library(path, can_format, bus)


def _by_lines(path: Path, can_format: str, bus: str, tally: Tally) -> Iterator[Frames]:
    import polars as pl

    for block in line_blocks(path, "utf-8", 0):
        texts = pl.Series(block.decode("utf-8", "replace").splitlines(), dtype=pl.String)
        texts = texts.filter(texts.str.strip_chars() != "")
        made = _candump(texts) if can_format == "candump" else _asc(texts)
        made = made.with_columns(stamp=pl.when(pl.col("stamp") < LARGEST_STAMP_S).then(pl.col("stamp")))
        odd = int(made["stamp"].null_count())
        if odd and can_format == "asc":
            left = texts.filter(made["stamp"].is_null()).str.to_lowercase()
            odd = int((~left.str.contains(_OTHER_ASC)).sum())
        if odd:
            tally.note("row without time", odd, "{count} lines are no data frames.", "left out")
        made = made.filter(pl.col("stamp").is_not_null())
        if bus:
            made = made.filter(pl.col("bus").str.strip_prefix("can") == bus.removeprefix("can"))
        if made.height:
            yield _frames(made)


def _candump(texts: pl.Series) -> pl.DataFrame:
    import polars as pl

    parts = texts.str.extract_groups(_CANDUMP).struct.unnest()
    stamp, bus, name, packed, spaced = (parts.to_series(k) for k in range(5))
    return pl.DataFrame({
        "stamp": stamp.cast(pl.Float64, strict=False), "bus": bus,
        "frame": name.str.to_integer(base=16, strict=False).cast(pl.Int64)
        + (name.str.len_chars() == 8).cast(pl.Int64) * EXTENDED,
        "hex": pl.select(pl.coalesce(packed, spaced.str.replace_all(r"\s+", ""))).to_series().fill_null(""),
    })  # fmt: skip


def _asc(texts: pl.Series) -> pl.DataFrame:
    import polars as pl

    parts = texts.str.extract_groups(_ASC).struct.unnest()
    stamp, bus, name, extended, _, data = (parts.to_series(k) for k in range(6))
    return pl.DataFrame({
        "stamp": stamp.cast(pl.Float64, strict=False), "bus": bus,
        "frame": name.str.to_integer(base=16, strict=False).cast(pl.Int64)
        + (extended.str.to_lowercase() == "x").cast(pl.Int64) * EXTENDED,
        "hex": data.str.replace_all(r"\s+", "").fill_null(""),
    })  # fmt: skip


def _frames(made: pl.DataFrame) -> Frames:
    import polars as pl

    texts = made["hex"]
    lengths = (texts.str.len_bytes().cast(pl.Int64) // 2).to_numpy()
    wide = max(8, -(-int(lengths.max()) // 8) * 8) if len(lengths) else 8
    padded = texts.str.pad_end(2 * wide, "0")
    data = np.zeros((made.height, wide), dtype=np.uint8)
    for at in range(0, wide, 8):  # eight bytes at a time, the first one highest
        words = padded.str.slice(2 * at, 16).str.to_integer(base=16, dtype=pl.UInt64).to_numpy()
        data[:, at : at + 8] = words.astype(">u8").view(np.uint8).reshape(-1, 8)
    return Frames(made["stamp"].to_numpy(), made["frame"].to_numpy(), data, lengths)


def _by_library(path: Path, can_format: str, bus: str) -> Iterator[Frames]:
    import can

    kinds: dict[str, Any] = {"asc": can.ASCReader, "blf": can.BLFReader, "trc": can.TRCReader}
    stamps: list[float] = []
    names: list[int] = []
    bodies: list[bytes] = []
    wide = 8
    got = 0

    def batch() -> Frames:
        joined = b"".join(body.ljust(wide, b"\0") for body in bodies)
        data = np.frombuffer(joined, dtype=np.uint8).reshape(-1, wide)
        lengths = np.array([len(body) for body in bodies], dtype=np.int64)
        return Frames(np.array(stamps), np.array(names, dtype=np.int64), data, lengths)

    as_text = can_format != "blf"
    try:
        with (
            path.open("r" if as_text else "rb", encoding="utf-8" if as_text else None,
                      errors="replace" if as_text else None) as file,
            kinds[can_format](file) as reader,
        ):  # fmt: skip
            for message in reader:
                if message.is_error_frame or message.is_remote_frame or not message.timestamp < LARGEST_STAMP_S:
                    continue
                if bus and str(message.channel).removeprefix("can") != bus.removeprefix("can"):
                    continue
                body = bytes(message.data)
                wide = max(wide, len(body))
                stamps.append(message.timestamp)
                names.append(message.arbitration_id | (EXTENDED if message.is_extended_id else 0))
                bodies.append(body)
                got += 1
                if len(stamps) >= BATCH:
                    yield batch()
                    stamps, names, bodies = [], [], []
    except Exception as error:  # python-can raises many kinds for a damaged file, and says so nowhere
        if stamps:
            yield batch()
        raise LogFault(
            path.name, "damaged", f"The recording is damaged or cut off after {got} frames: "
            f"{shown(str(error) or type(error).__name__, 80)}.", "A whole recording is needed.",
            "Copy it again from the logger.",
        ) from None  # fmt: skip
    if stamps:
        yield batch()
