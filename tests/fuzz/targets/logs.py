"""Logs: delimited text, Parquet, MDF. A map is proposed, confirmed, and the recording read to its end."""

from __future__ import annotations

import io
import subprocess
import sys
import zlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from pinproof.logs import (
    LogFault,
    LoggerMap,
    MapFault,
    load_map,
    map_of,
    open_log,
    parquet_probe,
    parquet_trial,
    propose_map,
)
from tests.fuzz import mutate
from tests.fuzz.oracle import Broken, fit_to_print, refused, untouched
from tests.fuzz.target import Run, Target

MAP = """format = 1
[time]
header = "{time}"
kind = "{kind}"
{more}
confirmed = true
[[channel]]
role = "engine"
header = "Engine"
unit = "rpm"
confirmed = true
[[channel]]
role = "tap_up"
header = "Tap"
unit = "code"
confirmed = true
[[channel]]
role = "gear"
header = "Gear"
unit = "code"
codes = {{ "P" = 0, "N" = 0, "R" = -1, "1" = 1, "2" = 2, "3" = 3 }}
confirmed = true
[[channel]]
role = "supply"
header = "Battery"
unit = "V"
confirmed = true
"""
NUMBER = MAP.format(time="Time", kind="number", more='unit = "s"')
CLOCK = MAP.format(time="Time", kind="clock", more="")
DATED = MAP.format(time="Time", kind="date-time", more='layout = "%d.%m.%Y %H:%M:%S%.f"')
ROWS = MAP.format(time="", kind="rows", more='rate = "100 Hz"')
HEAD = "Time,Engine,Tap,Gear,Battery\n"


def rows(count: int, stamp: str, sign: str = ",", decimal: str = ".") -> str:
    """Rows of an invented drive; `stamp` is filled with hour, minute, second."""
    out = []
    for at in range(count):
        time = stamp.format(h=14, m=3 + at // 60, s=at % 60 + 0.25, n=at * 0.01)
        cells = (time, f"{1500 + 7 * at}", f"{at % 9 == 0:d}", "PNR123"[at % 6], f"{13.8 - 0.01 * at:.2f}")
        out.append(sign.join(cells).replace(".", decimal) if decimal != "." else sign.join(cells))
    return "\n".join(out) + "\n"


def texts() -> Sequence[bytes]:
    """One of each dialect."""
    many = HEAD + rows(30, "{n:.2f}")
    unit = "Dash log\nInvented drive;1\n\nTime;Engine;Tap;Gear;Battery\ns;rpm;-;-;V\n" + rows(14, "{n:.2f}", ";", ",")
    clock = "Time\tEngine [1/min]\tTap\tGear\tBattery (V)\n" + rows(12, "{h}:{m:02}:{s:05.2f}", "\t")
    dated = HEAD + rows(9, "28.03.2026 {h}:{m:02}:{s:05.2f}")
    split = "Date,Time,Engine,Tap,Gear,Battery\n" + "".join(f"2026-03-28,{each}\n" for each in
                                                          rows(8, "{h}:{m:02}:{s:05.2f}").splitlines())  # fmt: skip
    quoted = '"Time","Engine","Engine","Gear","Battery"\n' + "".join(
        ",".join(f'"{cell}"' for cell in line.split(",")) + "\n" for line in rows(8, "{n:.2f}").splitlines()
    )
    holes = many.replace("1,13.7", ",13.7").replace(",N,", ",?,").replace("1507", "NaN")
    back = HEAD + rows(6, "{n:.2f}") + HEAD + rows(6, "{n:.2f}") + rows(2, "9{n:.2f}") + "0.07,15"
    return [
        many.encode(), unit.encode("cp1252"),
        clock.encode("utf-8-sig"), dated.encode(), split.encode(), quoted.encode(),
        holes.encode(), back.encode(), many.replace("\n", "\r\n").encode("utf-16"), b"\x00" * 40 + many.encode(),
        many.encode()[:200] + b"\x00" * 100 + many.encode()[200:],
    ]  # fmt: skip


def whole(path: Path, made: LoggerMap, work: Path | None, size: int) -> None:
    """Read a log to its end and see that it is what a recording is."""
    log = open_log(path, made, work)
    roles = tuple(log.channels)
    last, first, begin_s = -np.inf, True, 0.0
    rows_kept = 0
    for chunk in log.chunks(roles, size):
        time_s = chunk.time_s
        if not 1 <= len(time_s) <= size or time_s.dtype != np.float64:
            raise Broken("a chunk of a wrong size", f"{len(time_s)} rows")
        if not np.isfinite(time_s).all() or not (np.diff(time_s) > 0.0).all() or not time_s[0] > last:
            raise Broken("stamps that do not rise", f"{last}, {time_s[:5]}")
        if first:  # 0 is the first row of the file; late rows lie before it
            begin_s = float(time_s[0])
            if begin_s > 0.0 or not chunk.gap_before:
                raise Broken("a first chunk that does not begin at 0", f"{begin_s} {chunk.gap_before}")
        last, first = float(time_s[-1]), False
        rows_kept += len(time_s)
        for role in roles:
            values = chunk.values[role]
            if len(values) != len(time_s) or values.dtype != np.float64 or np.isinf(values).any():
                raise Broken("values that are none", f"{role}: {values[:5]}")
    base = log.time_base
    took_s = last - begin_s if rows_kept else 0.0
    if base.rows_kept != rows_kept or abs(log.duration_s - took_s) > 1e-6 * max(took_s, 1.0):
        raise Broken("a time base of another recording", f"{base.rows_kept} rows, {rows_kept} read; {log.duration_s} s")
    for finding in base.findings:
        fit_to_print(finding.text, "a finding")
        fit_to_print(finding.kind + finding.repair, "a finding")
    for channel in log.channels.values():
        if channel.recorded > rows_kept or channel.lost > channel.cells:
            raise Broken("counts that cannot be", repr(channel))


def confirmed(text: str) -> str:
    """A proposal as an owner in a hurry would leave it."""
    return text.replace("confirmed = false", "confirmed = true").replace('unit = "?"', 'unit = "s"')


def proposed(path: Path, dbc: Path | None = None) -> None:
    """Propose a map; it must be one once what is asked for is filled in, or be refused entry by entry."""
    found = propose_map(path, dbc)
    for question in found.questions:
        fit_to_print(question, "a question")
    map_path = path.parent / "proposed.toml"
    map_path.write_text(confirmed(found.text), encoding="utf-8")
    try:
        made = load_map(map_path)
    except MapFault as fault:
        refused(fault, map_path.name)
        if any("not a logger map" in said for _, said in fault.faults):
            raise Broken("a proposal that is no map", f"{fault}\n{found.text[:600]}") from fault
        return
    finally:
        map_path.unlink()
    whole(path, made, None, 1000)


def reader(name: str, maps: Sequence[LoggerMap], folder: Path, *, propose: bool = True) -> Run:
    """Write the input as a log and read it with a map that may fit, or with one that is proposed."""
    path = folder / name
    work = folder / "work"

    def run(data: bytes) -> None:
        path.write_bytes(data)
        mark = zlib.crc32(data)
        try:
            if propose and mark % 3 == 0:
                proposed(path)
            else:
                made = maps[mark % len(maps)]
                whole(path, made, work if mark % 16 == 5 else None, (7, 1000)[mark % 2])
        except LogFault as fault:
            refused(fault, name)
        untouched(path, data, frozenset({"work"}))

    return run


def begin_text(folder: Path) -> Run:
    """Delimited text."""
    maps = [map_of(each, "map.toml") for each in (NUMBER, NUMBER, CLOCK, DATED, ROWS)]
    return reader("in.csv", maps, folder)


class Probe:
    """The process that reads Parquet for trial, kept from one input to the next; a new one where a file ended it."""

    def __init__(self) -> None:
        self.child: subprocess.Popen[str] | None = None

    def ask(self, question: str) -> str:
        """As `parquet_trial.ask_probe`."""
        if self.child is None:
            self.child = subprocess.Popen(
                [sys.executable, parquet_probe.__file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL, encoding="utf-8",
            )  # fmt: skip
        assert self.child.stdin is not None and self.child.stdout is not None
        self.child.stdin.write(question + "\n")
        self.child.stdin.flush()
        answer = self.child.stdout.readline().strip()
        if not answer:
            self.end()
            self.child = None
        return answer

    def end(self) -> None:
        """Let it go."""
        if self.child is not None:
            self.child.stdin.close()  # type: ignore[union-attr]
            self.child.stdout.close()  # type: ignore[union-attr]
            self.child.wait()


def begin_parquet(folder: Path) -> Run:
    """Parquet."""
    parquet_trial.ask_probe = Probe().ask
    return reader("in.parquet", [map_of(each, "map.toml") for each in (NUMBER, NUMBER, ROWS)], folder)


def parquets() -> Sequence[bytes]:
    """Small files of several types and packings."""
    import polars as pl

    made = pl.read_csv((HEAD + rows(40, "{n:.2f}")).encode())
    typed = made.with_columns(
        pl.col("Gear").cast(pl.Categorical), pl.col("Tap").cast(pl.Boolean),
        pl.from_epoch((pl.col("Time") * 1e6).cast(pl.Int64), time_unit="us").alias("Time"),
    )  # fmt: skip
    holed = made.with_columns(pl.when(pl.col("Tap") == 1).then(None).otherwise(pl.col("Battery")).alias("Battery"),
                              pl.lit([1, 2]).alias("list"))  # fmt: skip
    out = []
    for frame, packing in ((made, "uncompressed"), (made.head(5), "snappy"), (typed, "uncompressed"), (holed, "zstd")):
        box = io.BytesIO()
        frame.write_parquet(box, compression=packing, row_group_size=16)  # type: ignore[arg-type]
        out.append(box.getvalue())
    return out


def begin_mdf(folder: Path) -> Run:
    """MDF 4: without its library each file is refused, and says so."""
    path = folder / "in.mf4"
    made = map_of('format = 1\n[file]\nkind = "mdf"\nconfirmed = true\n' + NUMBER.partition("\n")[2], "map.toml")

    def run(data: bytes) -> None:
        path.write_bytes(data)
        try:
            if zlib.crc32(data) % 3 == 0:
                proposed(path)
            else:
                whole(path, made, None, 1000)
        except LogFault as fault:
            refused(fault, "in.mf4")
        untouched(path, data, frozenset())

    return run


def mdfs() -> Sequence[bytes]:
    """A file by the library where it is there, and heads alone."""
    made = [b"MDF     4.10    pinproof" + bytes(200), b"UnFinMF 4.10    pinproof" + bytes(64)]
    try:
        import asammdf  # type: ignore[import-not-found,unused-ignore]
    except ImportError:
        return made
    with asammdf.MDF() as mdf:
        stamps = np.arange(40) * 0.01
        some = [
            asammdf.Signal(1500.0 + stamps, stamps, name="Engine", unit="rpm"),
            asammdf.Signal((stamps * 100 % 9 < 1).astype(np.uint8), stamps, name="Tap"),
            asammdf.Signal(np.array([b"PNR123"[at % 6 : at % 6 + 1] for at in range(40)]), stamps, name="Gear",
                           encoding="utf-8"),
        ]  # fmt: skip
        mdf.append(some)
        box = io.BytesIO()
        mdf.save(box)
    return [*made, box.getvalue()]


WORDS = (
    "Time", "time", "Engine", "Gear", "Tap", "rpm", "s", "ms", "V", "[V]", "(km/h)", "14:03:07.25", "24:00:00",
    "00:00:00", "2026-02-30", "28.03.2026", "03/28/26", "T", "Z", "+02:00", "-", "km/h", "#", '"', '""', ",,,,", ";;",
    "65535", "4294967295", "1e300", "NaN", "true", "P", "\r\n", "\ufeff", "\u0000\u0000",
)  # fmt: skip


def doubled(data: bytes) -> bytes:
    """All rows again."""
    return data + data


BINARY_WORDS = (
    "PAR1",
    "Time",
    "Engine",
    "schema",
    "polars",
    "ARROW:schema",
    "MDF     ",
    "##DG",
    "##CG",
    "##CN",
    "##DT",
)
TARGETS = (
    Target("text", "logs of delimited text", ("pinproof.logs",), begin_text, texts,
    mutate.TABLE, WORDS, doubled=doubled),
    Target("parquet", "logs in Parquet", ("pinproof.logs.parquet_files", "pinproof.logs.source",
           "pinproof.logs.propose", "pinproof.logs.opened"), begin_parquet, parquets, mutate.PLAIN, BINARY_WORDS),
    Target("mdf", "MDF recordings", ("pinproof.logs.mdf_files",), begin_mdf, mdfs, mutate.PLAIN, BINARY_WORDS),
)  # fmt: skip
