"""How the time and memory to lay out a harness, to draw its board and to write all its papers grow with its wires.

Run: ``python benchmarks/bench_harness.py [--quick]``. The trucks are invented: a trunk with branches, lamps in groups
on fused feeds, a ground stud of 24 lamps for each eight, a battery stud for every fifty groups.
"""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
import time
import tracemalloc
from pathlib import Path
from typing import Any

from pinproof.design import loads
from pinproof.harness import lay_out
from pinproof.harness.lists import csv_files
from pinproof.pack.formboard import formboard, formboard_files, tiles_of

HEAD = """\
format = 1
id = "pp-bench"
[supply]
run = { low = "10.5 V", value = "13.8 V", high = "15 V" }
[temperature]
low = "-10 °C"
high = "60 °C"
[harness]
sizes = "mm2"
insulation = "150 °C"
[[place]]
id = "box"
"""
LAMPS = 3  # of a group: with its feed and its grounds eight wires
TARGET_GROWTH = 1.35  # exponent of time against wires
TARGET_BOARD = 1.2  # its sheets grow with the wires; a sheet must not grow with the number of sheets
TARGET_WHOLE = 1.15  # the whole command, from the smallest harness to this one
TARGET_WHOLE_MB = 500.0  # at 300 wires
WHOLE = """\
import resource, subprocess, sys, time
start = time.monotonic()
code = subprocess.run([sys.executable, "-m", "pinproof", "harness", sys.argv[1], "-o", sys.argv[2]],
                      stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL).returncode
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(code, used.ru_utime + used.ru_stime, used.ru_maxrss / (2**20 if sys.platform == "darwin" else 2**10))
"""


def truck_text(wires: int) -> str:
    """A design with about so many wires."""
    groups = max(wires // 8, 1)
    out = [HEAD]
    before, plus = "box", ""
    for number in range(groups):
        node = f"n{number}"
        out.append(f'[[place]]\nid = "{node}"\n')
        if number % 8 == 0:
            hub = f"h{number // 8}"
            out.append(f'[[place]]\nid = "{hub}"\n[[run]]\nid = "trunk{number}"\nbetween = ["{before}", "{hub}"]\n'
                       'length = "900 mm"\n')  # fmt: skip
            before = hub
            out.append(f'[[stud]]\nid = "g{hub}"\nplace = "{hub}"\nrail = "ground"\noffset = "none"\nrings = 24\n')
        if number % 50 == 0:
            plus = f"plus{number}"
            out.append(f'[[stud]]\nid = "{plus}"\nplace = "box"\nrail = "battery"\nrings = 50\n')
        length = f"{700 + 37 * (number % 9)} mm"
        out.append(f'[[run]]\nid = "r{number}"\nbetween = ["{before}", "{node}"]\nlength = "{length}"\n')
        out.append(f'[[feed]]\nid = "f{number}"\nfrom = "{plus}"\nplace = "box"\nfuse = "to choose"\nlive = ["run"]\n')
        for lamp in range(LAMPS):
            out.append(
                f'[[load]]\nid = "l{number}_{lamp}"\nplace = "{node}"\nfeed = "f{number}"\nground = "g{before}"\n'
                'volts = "12 V"\nwatts = "2 W"\ndrop = "not critical"\ndrop_allowed = "40 %"\n'
            )
    return "".join(out)


def measure_board(wires: int) -> tuple[int, int, float, float]:
    """Wires, sheets of A4, seconds of processor time for the board and all its PDF files, megabytes at the peak."""
    truck = loads(truck_text(wires))
    harness = lay_out(truck)
    start = time.process_time()
    made = formboard(truck, harness)
    formboard_files(made)
    took_s = time.process_time() - start
    grid, _ = tiles_of(made, "a4")
    tracemalloc.start()
    formboard(truck, harness)
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return len(harness.wires), len(grid.fields), took_s, peak


def measure(wires: int) -> tuple[int, float, float]:
    """Wires laid out, seconds of processor time, megabytes at the peak."""
    truck = loads(truck_text(wires))
    start = time.process_time()
    harness = lay_out(truck)
    csv_files(truck, harness)
    took_s = time.process_time() - start
    tracemalloc.start()
    lay_out(truck)
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return len(harness.wires), took_s, peak


def measure_whole(wires: int) -> tuple[float, float]:
    """Seconds of processor time and megabytes at the peak of `pinproof harness FILE -o FOLDER`, in its own process.

    An empty process stands between, so that no other child counts.
    """
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "bench.toml")
        file.write_text(truck_text(wires), encoding="utf-8")
        done = subprocess.run(
            [sys.executable, "-c", WHOLE, str(file), str(Path(folder, "out"))], capture_output=True, text=True,
            check=True,
        )  # fmt: skip
    code, took_s, peak_mb = done.stdout.split()
    if code == "2":
        raise RuntimeError("the command refused the truck of this benchmark")
    return float(took_s), float(peak_mb)


def main(quick: bool = False) -> list[dict[str, Any]]:
    """All rows."""
    sizes = (100, 300) if quick else (100, 300, 1000)
    rows: list[dict[str, Any]] = []
    first: tuple[int, float, float] | None = None
    for size in sizes:
        wires, took_s, peak = measure(size)
        first = first or (wires, took_s, peak)
        grows = math.log(took_s / first[1]) / math.log(wires / first[0]) if wires > first[0] else math.nan
        good = peak < 500.0 and not grows > TARGET_GROWTH
        rows.append({
            "what": f"harness of {wires} wires laid out, sized and listed",
            "baseline": f"{first[0]} wires: {first[1]:.2f} s", "engine": f"{took_s:.2f} s",
            "ratio": "–" if math.isnan(grows) else f"wires^{grows:.2f}", "target": f"≤ wires^{TARGET_GROWTH}, < 500 MB",
            "met": "yes" if good else "NO", "note": f"processor time; peak {peak:.0f} MB",
        })  # fmt: skip
    before: tuple[int, float] | None = None
    for size in sizes:
        wires, sheets, took_s, peak = measure_board(size)
        before = before or (wires, took_s)
        grows = math.log(took_s / before[1]) / math.log(wires / before[0]) if wires > before[0] else math.nan
        good = peak < 500.0 and not grows > TARGET_BOARD
        rows.append({
            "what": f"formboard of {wires} wires: laid, drawn, {sheets} A4 sheets and the rest as PDF",
            "baseline": f"{before[0]} wires: {before[1]:.2f} s", "engine": f"{took_s:.2f} s",
            "ratio": "–" if math.isnan(grows) else f"wires^{grows:.2f}", "target": f"≤ wires^{TARGET_BOARD}, < 500 MB",
            "met": "yes" if good else "NO", "note": f"processor time; peak of the drawing {peak:.0f} MB",
        })  # fmt: skip
    smallest: tuple[int, float] | None = None
    for size in sizes if sys.platform != "win32" else ():  # the system tells no peak of a child there
        wires = len(lay_out(loads(truck_text(size))).wires)
        took_s, peak = measure_whole(size)
        smallest = smallest or (wires, took_s)
        grows = math.log(took_s / smallest[1]) / math.log(wires / smallest[0]) if wires > smallest[0] else math.nan
        held = size != 300 or peak < TARGET_WHOLE_MB
        limit = f", < {TARGET_WHOLE_MB:.0f} MB" if size == 300 else ""
        rows.append({
            "what": f"pinproof harness of {wires} wires: laid out, sized, all lists, SVG and PDF written",
            "baseline": f"{smallest[0]} wires: {smallest[1]:.1f} s", "engine": f"{took_s:.1f} s",
            "ratio": "–" if math.isnan(grows) else f"wires^{grows:.2f}", "target": f"≤ wires^{TARGET_WHOLE}{limit}",
            "met": "yes" if held and not grows > TARGET_WHOLE else "NO",
            "note": f"processor time; peak of the process {peak:.0f} MB",
        })  # fmt: skip
    return rows


if __name__ == "__main__":
    for line in main(quick="--quick" in sys.argv):
        print(line)
