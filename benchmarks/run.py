"""All benchmarks in one run: each engine against its baseline, as ratios, on this machine.

    python3 dev.py bench            everything, a few minutes
    python3 dev.py bench --quick    smaller cases, to see that it runs
    python3 dev.py bench --write    also puts the table into docs/benchmarks.md

Each row is measured with its baseline in the same run; only the ratio travels to other machines.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import platform
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MODULES = (
    "bench_network",
    "bench_choose",
    "bench_faults",
    "bench_harness",
    "bench_command_line",
    "bench_web",
    "bench_log_files",
    "bench_log_checks",
)
COLUMNS = ("what", "baseline", "engine", "ratio", "target", "met", "note")


def seconds(value: object) -> str:
    """A time with three digits."""
    if not isinstance(value, float):
        return "–"
    for limit, factor, unit in ((1e-3, 1e6, "µs"), (1.0, 1e3, "ms"), (1e4, 1.0, "s")):
        if value < limit:
            return f"{value * factor:.3g} {unit}"
    return f"{value:.1e} s"


def row_of(raw: dict[str, object]) -> dict[str, object]:
    """One benchmark's row in the table's columns. A target above 1 on a ratio is the least, on seconds the most."""
    if "engine" in raw:
        return raw
    ratio, target, engine_s = raw.get("ratio"), raw.get("target"), raw["engine_s"]
    row: dict[str, object] = {
        "what": raw.get("what", raw.get("name")),
        "baseline": seconds(raw.get("baseline_s")),
        "engine": seconds(engine_s),
        "ratio": f"{ratio:.3g} ×" if isinstance(ratio, float) else "–",
        "target": "–",
        "met": "–",
    }
    if isinstance(target, float) and isinstance(engine_s, float):
        if isinstance(ratio, float):
            row |= {"target": f"≥ {target:g} ×", "met": "yes" if ratio >= target else "NO"}
        else:
            row |= {"target": f"< {seconds(target)}", "met": "yes" if engine_s < target else "NO"}
    if isinstance(raw.get("most_s"), float):
        row |= {"target": f"< {seconds(raw['most_s'])}", "met": "yes" if engine_s < raw["most_s"] else "NO"}  # type: ignore[operator]
    notes = []
    if "exact" in raw:
        notes.append(f"{raw['exact']:.0%} exact")
    if "worst_difference" in raw:
        notes.append(f"largest difference {raw['worst_difference']:.0e}")
    if "proven" in raw:
        notes.append("proven best" if raw["proven"] else "not proven best")
        notes.append(str(raw.get("baseline", "")))
    return row | {"note": "; ".join(notes)}


def table(rows: list[dict[str, object]]) -> str:
    """Rows as a Markdown table."""
    lines = ["| " + " | ".join(COLUMNS) + " |", "|" + "---|" * len(COLUMNS)]
    lines += ["| " + " | ".join(str(row.get(name, "")) for name in COLUMNS) + " |" for row in rows]
    return "\n".join(lines)


def main() -> None:
    """Run the benchmarks and print their table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--write", action="store_true", help="write docs/benchmarks.md")
    parser.add_argument("--only", help="one module, for instance bench_network")
    options = parser.parse_args()
    sys.path.insert(0, str(Path(__file__).resolve().parent))
    rows: list[dict[str, object]] = []
    for name in MODULES:
        if options.only in (None, name):
            print(f"{name} …", file=sys.stderr, flush=True)
            with contextlib.redirect_stdout(sys.stderr):
                rows += [row_of(raw) for raw in importlib.import_module(name).main(quick=options.quick)]
    text = table(rows)
    print(text)
    if options.write:
        head = (
            "# Benchmarks\n\nWritten by `python3 dev.py bench --write`. Every ratio comes from one run on one machine: "
            f"{platform.machine()}, {platform.system()}, Python {platform.python_version()}, two cores.\n\n"
            "Spans of many situations are asked for in one call, as the proof does; one situation alone costs more, "
            "since the calls to numpy then weigh. The targets are for calls of the first kind; both are shown.\n\n"
            "The target for faults holds against plain enumeration with `numpy.linalg.solve`. Most of that gain is "
            "that series and parallel parts are merged before anything is solved: against a baseline that merges them "
            "too, the engine is only some times faster. Both are shown.\n\n"
        )
        (ROOT / "docs" / "benchmarks.md").write_text(head + text + "\n", encoding="utf-8")
    sys.exit(0 if all(row.get("met") != "NO" for row in rows) or options.quick else 1)


if __name__ == "__main__":
    main()
