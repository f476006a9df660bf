"""How quick the command line is, against a bare Python; how much memory a proof takes."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

from pinproof.examples import NAMES, example_path


def _times(command: list[str], runs: int) -> float:
    """Median wall time of a whole process. [s]"""
    taken = []
    for _ in range(runs):
        began = time.perf_counter()
        subprocess.run(command, capture_output=True, check=False)
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


def _peak_mb(command: list[str]) -> float:
    """Greatest memory of a process. [MB] Not on Windows."""
    code = (
        "import resource,subprocess,sys;"
        "subprocess.run(sys.argv[1:],capture_output=True);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    out = subprocess.run([sys.executable, "-c", code, *command], capture_output=True, text=True, check=True)
    return float(out.stdout) / (1024.0 if sys.platform != "darwin" else 1024.0**2)


def main(quick: bool) -> list[dict[str, object]]:
    """Rows: help against a bare Python; prove on each example; memory."""
    runs = 3 if quick else 15
    bare = _times([sys.executable, "-c", "pass"], runs)
    pinproof = [sys.executable, "-m", "pinproof"]
    help_s = _times([*pinproof, "--help"], runs)
    rows: list[dict[str, object]] = [
        {
            "what": "`pinproof --help` against `python -c pass`",
            "baseline": f"{bare * 1e3:.0f} ms",
            "engine": f"{help_s * 1e3:.0f} ms",
            "ratio": f"{help_s / bare:.1f} × as long",
            "target": "≤ 6 ×",
            "met": "yes" if help_s <= 6.0 * bare else "NO",
        }
    ]
    for name in NAMES:
        command = [*pinproof, "prove", str(example_path(name)), "--no-cures"]
        taken = _times(command, max(3, runs // 3))
        with_cures = _times(command[:-1], max(3, runs // 3))
        row: dict[str, object] = {
            "what": f"`pinproof prove {name}.toml`",
            "baseline": "–",
            "engine": f"{taken:.2f} s",
            "ratio": "–",
            "target": "< 1 s",
            "met": "yes" if taken < 1.0 else "NO",
            "note": f"with cures tried {with_cures:.2f} s",
        }
        if sys.platform != "win32":
            memory = _peak_mb(command)
            row["note"] = f"{row['note']}; {memory:.0f} MB, target < 300"
            row["met"] = "yes" if taken < 1.0 and memory < 300.0 else "NO"
        rows.append(row)
    return rows
