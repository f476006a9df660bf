"""How quickly a long log is read with its time base, against one bare pass that parses and sums the same channels.

The bare pass is Polars' streaming engine over the same file: `scan_csv(schema).select(all().sum())`. Each is a process
of its own, in turn, the best of three; wall and processor time, since the machine may be shared; greatest memory.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

ROLES = (
    ("engine", "rpm"), ("turbine", "rpm"), ("output", "rpm"), ("road", "km/h"), ("throttle", "%"), ("brake", "%"),
    ("supply", "V"), ("oil", "°C"), ("ambient", "°C"), ("coder_temperature", "°C"), ("vertical", "m/s²"),
    ("pin.taps", "V"), ("pin.wheel", "V"), ("pin.spare", "V"), ("lockup", "%"), ("gear_commanded", "code"),
    ("gear", "code"), ("tap_up", "code"), ("tap_down", "code"), ("mode", "code"), ("limp", "code"), ("refused", "code"),
    ("lever", "code"),
)  # fmt: skip
HZ = 100.0

MAKE = """
import sys
import numpy as np, polars as pl
rows, path, kind, names = int(sys.argv[1]), sys.argv[2], sys.argv[3], sys.argv[4].split(",")
rng = np.random.default_rng(1)
def piece(at, count):
    t = (at + np.arange(count)) / 100.0
    speed = 1500.0 + 900.0 * np.sin(t / 21.0) + 300.0 * np.sin(t / 3.7)
    data = {"Time": np.round(t, 2)}
    for k, name in enumerate(names):
        if name in ("engine", "turbine", "output", "road"):
            made = speed / (1.0, 1.02, 2.1, 40.0)[k] + rng.normal(0.0, 2.0, count)
        elif name.startswith("pin"):
            made = 4.5 + rng.normal(0.0, 0.01, count)
        elif name in ("gear", "gear_commanded"):
            made = 1.0 + np.floor(t / 9.0) % 5
        elif name in ("tap_up", "tap_down", "mode", "limp", "refused"):
            made = ((t * (1.0 + k / 50.0)) % 7.3 < 0.2).astype(float)
        elif name == "lever":
            made = np.where(t % 600.0 < 20.0, 1.0, 5.0)
        elif name in ("throttle", "brake", "lockup"):
            made = np.clip(50.0 + 60.0 * np.sin(t / (2.0 + k)), 0.0, 100.0) + rng.uniform(0.0, 0.05, count)
        else:
            made = 13.0 + k + 0.5 * np.sin(t / 50.0) + rng.normal(0.0, 0.02, count)
        data[name] = np.round(made, 3 if name.startswith("pin") else 2)
    return pl.DataFrame(data)
if kind == "csv":
    with open(path, "wb") as file:
        for at in range(0, rows, 200_000):
            piece(at, min(200_000, rows - at)).write_csv(file, include_header=at == 0)
else:
    pl.concat([piece(at, min(200_000, rows - at)) for at in range(0, rows, 200_000)]).write_parquet(path)
"""
BARE = """
import polars as pl
path, names = sys.argv[2], ["Time", *sys.argv[3].split(",")]
began = time.perf_counter()
if path.endswith("csv"):
    scan = pl.scan_csv(path, schema={name: pl.Float64 for name in names})
else:
    scan = pl.scan_parquet(path)
scan.select(pl.all().sum()).collect(engine="streaming")
"""
OURS = """
from pathlib import Path
import polars  # loaded before the clock, as for the bare pass
from pinproof.logs import map_of, open_log
path, text, work = sys.argv[2], sys.argv[3], sys.argv[4]
began = time.perf_counter()
log = open_log(path, map_of(text), work or None)
rows = sum(len(each.time_s) for each in log.chunks(tuple(log.channels)))
assert rows == log.time_base.rows_kept, rows
"""
FRAME = """
import json, resource, sys, time
{body}
took = time.perf_counter() - began
used = resource.getrusage(resource.RUSAGE_SELF)
peak = used.ru_maxrss  # on Linux it begins with what the starting process had: there the own high water is read
if sys.platform == "linux":
    peak = int(next(each for each in open("/proc/self/status") if each.startswith("VmHWM:")).split()[1])
print(json.dumps([took, used.ru_utime + used.ru_stime, peak / 1024.0]))
"""


def map_text(kind: str) -> str:
    """A confirmed map of the file that is made."""
    lines = ["format = 1", "[file]", f'kind = "{kind}"', "confirmed = true", "[time]", 'header = "Time"', 'unit = "s"',
             "confirmed = true"]  # fmt: skip
    for role, unit in ROLES:
        lines += ["[[channel]]", f'role = "{role}"', f'header = "{role}"', f'unit = "{unit}"', "confirmed = true"]
        if role == "lever":
            lines.append('codes = { "1" = "park", "5" = "manual" }')
    return "\n".join(lines)


def _run(body: str, arguments: Sequence[str]) -> tuple[float, float, float]:
    command = [sys.executable, "-c", FRAME.format(body=body), "x", *arguments]
    out = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=False)
    if out.returncode:
        raise RuntimeError(out.stderr)
    wall_s, processor_s, mb = json.loads(out.stdout.strip().splitlines()[-1])
    return wall_s, processor_s, mb


def main(quick: bool) -> list[dict[str, object]]:
    """Rows: CSV and Parquet without work folder, CSV with one, the second look; memory at two lengths."""
    rows = 400_000 if quick else 7_200_000
    runs = 1 if quick else 3
    names = ",".join(role for role, _ in ROLES)
    made: list[dict[str, object]] = []
    with tempfile.TemporaryDirectory(prefix="pinproof-bench-") as folder:
        for kind in ("csv", "parquet"):
            path, short = Path(folder, f"long.{kind}"), Path(folder, f"short.{kind}")
            for count, where in ((rows, path), (rows // 4, short)):
                subprocess.run([sys.executable, "-c", MAKE, str(count), str(where), kind, names], check=True)
            text = map_text("text" if kind == "csv" else "parquet")
            bare, ours = [], []
            for _ in range(runs):
                bare.append(_run(BARE, (str(path), names)))
                ours.append(_run(OURS, (str(path), text, "")))
            quarter = _run(OURS, (str(short), text, ""))
            wall, processor = (min(each[k] for each in ours) / min(each[k] for each in bare) for k in (0, 1))
            what = f"{kind}, {rows / 1e6:g} M rows, 24 channels, {path.stat().st_size / 1e6:.0f} MB"
            made.append({
                "what": f"reading and time base of a log: {what}", "baseline": f"{min(bare)[0]:.2f} s",
                "engine": f"{min(ours)[0]:.2f} s", "ratio": f"{wall:.2f} × as long",
                "target": "≤ 1.4 ×" if kind == "csv" else "–",
                "met": ("yes" if wall <= 1.4 else "NO") if kind == "csv" else "–",
                "note": f"processor time {processor:.2f} ×; {max(each[2] for each in ours):.0f} MB, of a quarter of it "
                f"{quarter[2]:.0f} MB; bare pass {max(each[2] for each in bare):.0f} MB",
            })  # fmt: skip
            if kind == "csv":
                work = str(Path(folder, "work"))
                first, again = _run(OURS, (str(path), text, work)), _run(OURS, (str(path), text, work))
                made.append({
                    "what": f"the same kept in a work folder: {what}", "baseline": f"{min(bare)[0]:.2f} s",
                    "engine": f"{first[0]:.2f} s", "ratio": f"{first[0] / min(bare)[0]:.2f} × as long", "target": "–",
                    "met": "–", "note": f"second look, all rows again: {again[0]:.2f} s; {first[2]:.0f} MB",
                })  # fmt: skip
            path.unlink()
    return made


if __name__ == "__main__":
    for row in main(quick="--quick" in sys.argv):
        print(row)
