"""How much do all checks of a log cost, against a bare pass of Polars over the same file? The drive is invented.

Run: ``python benchmarks/bench_log_checks.py [--hours 20] [--quick]``.

A race-long recording at 100 Hz is written as CSV and as Parquet. Each is read by Polars alone, streaming, parsing and
summing the same channels, and proven; every measurement is a process of its own, the best of them counts. Wall and
processor time, since the machine may be shared; peak memory of the proof, at two lengths. Parquet is written twice: as
polars does by itself, and as one single row group.

The target is set by CSV, where parsing is most of the work. From Parquet the bare pass takes some 3 ns a value, which
is adding it up once; a proof has to look at each value several times (range, changes, clock, states, speeds), so twice
the bare pass is out of reach there. How far out of reach is measured: `handed over` only takes the columns from polars
as numbers, as the proof does, and compares each value once with the one before. The row stays, with the time for each
value, so that it shows if that grows.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from pinproof.design import load
from pinproof.examples import example_path
from pinproof.logs.recording import Channel, Chunk, TimeBase

RATIOS = np.array([4.00, 2.40, 1.55, 1.15, 0.85, 0.67])
ROLES = (
    "pin.taps", "tap_up", "tap_down", "lever", "mode", "gear_commanded", "gear", "engine", "turbine", "output", "road",
    "throttle", "brake", "lockup", "supply", "oil", "ambient", "coder_temperature", "limp", "refused", "vertical",
)  # fmt: skip
FILLERS = ("pressure", "intake", "fuel")
PERIOD_S = 8.0  # one tap in each


def rows_of(first: int, count: int, rate_hz: float = 100.0) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Rows of an endless invented drive: a tap every eight seconds, up and down between 2 and 3."""
    time_s = np.arange(first, first + count) / rate_hz
    phase = time_s % (2.0 * PERIOD_S)
    pressed_up = (phase >= 1.0) & (phase < 1.15)
    pressed_down = (phase >= 1.0 + PERIOD_S) & (phase < 1.15 + PERIOD_S)
    high = (phase >= 1.05) & (phase < 1.05 + PERIOD_S)
    gear = np.where(high, 3.0, 2.0)
    part = np.clip((phase - 1.2) / 0.3, 0.0, 1.0) - np.clip((phase - 1.2 - PERIOD_S) / 0.3, 0.0, 1.0)
    ratio = RATIOS[1] + part * (RATIOS[2] - RATIOS[1])
    output = 1750.0 + 40.0 * np.sin(time_s / 31.0)
    noise = np.sin(time_s * 1234.5) * 6.0
    turbine = np.round(output * ratio + noise)
    reading = np.where(pressed_up, 0.252, np.where(pressed_down, 0.455, 0.109)) + 0.002 * np.sin(time_s * 777.0)
    one, zero = np.ones(count), np.zeros(count)
    values = {
        "pin.taps": np.round(reading, 4), "tap_up": pressed_up * 1.0, "tap_down": pressed_down * 1.0, "lever": one,
        "mode": one, "gear_commanded": gear, "gear": np.where(part > 0.5, 3.0, 2.0), "engine": turbine + 11.0,
        "turbine": turbine, "output": np.round(output, 1), "road": np.round(output * 3.00574395 / 300.0, 3),
        "throttle": np.round(0.4 + 0.2 * np.sin(time_s / 7.0), 3), "brake": zero, "lockup": one,
        "supply": np.round(13.8 + 0.1 * np.sin(time_s / 11.0), 2), "oil": np.round(85.0 + np.sin(time_s / 99.0), 1),
        "ambient": np.full(count, 21.0), "coder_temperature": np.round(44.0 + np.sin(time_s / 500.0), 1), "limp": zero,
        "refused": zero, "vertical": np.round(9.81 + np.sin(time_s * 40.0), 2),
    }  # fmt: skip
    return time_s, values


class Endless:
    """That drive as a recording of so many hours, made as it is read."""

    name, unmapped, absent = "endless.csv", (), ()

    def __init__(self, hours: float) -> None:
        self.rows = int(hours * 360_000)
        self.made_s = 0.0

    @property
    def channels(self) -> dict[str, Channel]:
        unit = {"pin.taps": "ratio", "supply": "V"}
        labels = {"lever": ("4", "5")}
        return {r: Channel(r, r, "", unit.get(r, ""), 100.0, "rows", labels=labels.get(r, ())) for r in ROLES}

    @property
    def duration_s(self) -> float:
        return (self.rows - 1) / 100.0

    @property
    def time_base(self) -> TimeBase:
        return TimeBase(self.rows, self.rows, 0.01, 0.0, "", (), 0, 0.0, ())

    def chunks(self, roles: Sequence[str], rows: int = 262_144) -> Iterator[Chunk]:
        for first in range(0, self.rows, rows):
            begin = time.perf_counter()
            time_s, values = rows_of(first, min(rows, self.rows - first))
            self.made_s += time.perf_counter() - begin
            yield Chunk(time_s, {role: values[role] for role in roles}, first == 0)


def write(path: Path, hours: float, *, one_group: bool = False) -> None:
    """The drive as a file: CSV, or Parquet by its ending, as one row group if asked for."""
    import polars as pl

    rows, step = int(hours * 360_000), 720_000
    frames = []
    for first in range(0, rows, step):
        time_s, values = rows_of(first, min(step, rows - first))
        fill = dict.fromkeys(FILLERS, values["throttle"])
        frames.append((time_s, {**values, **fill}))
        if path.suffix == ".csv":
            frame = pl.DataFrame({"time": np.round(time_s, 2), **frames.pop()[1]})
            with path.open("ab") as out:
                frame.write_csv(out, include_header=first == 0)
    if path.suffix == ".parquet":
        whole = pl.concat([pl.DataFrame({"time": t, **v}) for t, v in frames])
        whole.write_parquet(path, row_group_size=rows if one_group else None)


def map_text(kind: str) -> str:
    """The logger map of that file."""
    unit = {
        "pin.taps": "ratio", "engine": "rpm", "turbine": "rpm", "output": "rpm", "road": "m/s", "throttle": "ratio",
        "brake": "ratio", "lockup": "ratio", "supply": "V", "oil": "°C", "ambient": "°C", "coder_temperature": "°C",
        "vertical": "m/s²",
    }  # fmt: skip
    out = ['format = 1\nlogger = "bench"\n[file]\n' + f'kind = "{kind}"']
    if kind == "text":
        out.append('encoding = "utf-8"\ndelimiter = ","\ndecimal = "."\nskip_lines = 0\nunit_row = false')
    out.append('confirmed = true\n[time]\nheader = "time"\nkind = "number"\nunit = "s"\nconfirmed = true')
    for role in ROLES:
        given = unit.get(role, "code" if role in ("lever", "gear", "gear_commanded") else "0/1")
        out.append(f'[[channel]]\nrole = "{role}"\nheader = "{role}"\nunit = "{given}"\nconfirmed = true')
        if role == "lever":
            out[-1] += '\ncodes = { "0" = "drive", "1" = "manual" }'
    return "\n".join(out)


def bare(path: Path) -> float:
    """Seconds of Polars alone: parse and sum the same channels, streaming."""
    import polars as pl

    begin = time.perf_counter()
    if path.suffix == ".csv":
        kinds: Any = dict.fromkeys(("time", *ROLES, *FILLERS), pl.Float64)
        frame = pl.scan_csv(path, schema=kinds)
    else:
        frame = pl.scan_parquet(path)
    frame.select(pl.col("time", *ROLES).sum()).collect(engine="streaming")
    return time.perf_counter() - begin


def handed_over(path: Path) -> float:
    """Seconds to take the columns as arrays, in order, and to compare each value once with the one before."""
    import polars as pl

    begin = time.perf_counter()
    scan, at, step = pl.scan_parquet(path).select("time", *ROLES), 0, 262_144
    while True:
        frame = scan.slice(at, step).collect()
        for name in frame.columns:
            values = frame[name].to_numpy()
            np.count_nonzero(values[1:] != values[:-1])
        if frame.height < step:
            return time.perf_counter() - begin
        at += step


def peak_mb() -> float:
    """Most memory this process ever had; 0 where the system does not tell.

    Linux's `ru_maxrss` begins with what the process had that started this one, so its own high water is read instead.
    """
    if sys.platform == "win32":
        return 0.0
    own = Path("/proc/self/status")
    if own.exists():
        line = next(each for each in own.read_text(encoding="ascii").splitlines() if each.startswith("VmHWM:"))
        return int(line.split()[1]) / 1024.0
    import resource

    scale = 1024.0 * 1024.0 if sys.platform == "darwin" else 1024.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / scale


def job(what: str, path: Path) -> dict[str, float]:
    """One measurement, in this process: "bare", "handed over", "proof"."""
    clock, processor = time.perf_counter(), sum(os.times()[:4])  # of processes that it starts too
    if what == "bare":
        bare(path)
    elif what == "handed over":
        handed_over(path)
    else:
        from pinproof.logs import load_map, open_log, prove_log

        prove_log(load(example_path("sandpiper")), open_log([path], load_map(path.with_suffix(".toml"))))
    return {
        "wall_s": time.perf_counter() - clock,
        "processor_s": sum(os.times()[:4]) - processor,
        "peak_mb": peak_mb(),
    }


def apart(what: str, path: Path, times: int) -> dict[str, float]:
    """The best of so many processes."""
    runs = []
    for _ in range(times):
        done = subprocess.run(
            [sys.executable, __file__, "--job", what, str(path)], capture_output=True, text=True, check=True
        )
        runs.append(json.loads(done.stdout.splitlines()[-1]))
    return {key: min(run[key] for run in runs) for key in runs[0]}


def main(quick: bool = False, hours: float = 20.0) -> list[dict[str, object]]:
    """Rows for the table of `run`."""
    lengths = (0.5, 1.0) if quick else (hours / 4.0, hours)
    rows: list[dict[str, object]] = []
    with tempfile.TemporaryDirectory() as folder:
        for what in ("csv", "parquet", "parquet of one row group"):
            kind = what.partition(" ")[0]
            peaks = []
            for length in lengths:
                path = Path(folder, f"long-{length:g}-{kind}.{kind}")
                write(path, length, one_group=what != kind)
                text = map_text("text" if kind == "csv" else "parquet")
                path.with_suffix(".toml").write_text(text, encoding="utf-8")
                base, proof = apart("bare", path, 1 if quick else 3), apart("proof", path, 1 if quick else 2)
                least = apart("handed over", path, 1 if quick else 2) if kind == "parquet" else {}
                path.unlink()
                peaks.append(proof["peak_mb"])
            cells = lengths[1] * 360_000 * (len(ROLES) + 1)
            share, busy = proof["wall_s"] / base["wall_s"], proof["processor_s"] / base["processor_s"]
            note = f"processor time {busy:.2f} ×; memory {peaks[0]:.0f} MB for {lengths[0]:g} h, "
            note += f"{peaks[1]:.0f} MB for {lengths[1]:g} h"
            if kind == "parquet":
                each_ns = (base["processor_s"] / cells * 1e9, proof["processor_s"] / cells * 1e9)
                note += f"; {each_ns[1]:.0f} ns a value, the bare pass {each_ns[0]:.0f} ns; "
                note += f"columns handed over and compared once, no check: {least['wall_s'] / base['wall_s']:.2f} ×"
            rows.append(
                {
                    "what": f"all checks of a {lengths[1]:g} h log, {what}",
                    "baseline": f"{base['wall_s']:.2f} s",
                    "engine": f"{proof['wall_s']:.2f} s",
                    "ratio": f"{share:.2f} ×",
                    "target": "≤ 2 ×",
                    "met": "yes" if share <= 2.0 else "NO",
                    "note": note,
                }
            )
    return rows


if __name__ == "__main__":
    if "--job" in sys.argv:
        at = sys.argv.index("--job")
        print(json.dumps(job(sys.argv[at + 1], Path(sys.argv[at + 2]))))
    else:
        asked = argparse.ArgumentParser()
        asked.add_argument("--hours", type=float, default=20.0)
        asked.add_argument("--quick", action="store_true")
        told = asked.parse_args()
        for row in main(told.quick, told.hours):
            print(row)
