"""All benchmarks in one run: each engine against its baseline, as ratios, on this machine.

    python3 dev.py bench            everything, a few minutes
    python3 dev.py bench --quick    smaller cases, to see that it runs
    python3 dev.py bench --write    also puts the table into docs/benchmarks.md

Each row is measured with its baseline in the same run; only the ratio travels to other machines.
"""

from __future__ import annotations

import argparse
import importlib
import platform
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MODULES = ("bench_network", "bench_choose", "bench_command_line")
COLUMNS = ("what", "baseline", "engine", "ratio", "target", "met", "note")


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
            rows += importlib.import_module(name).main(quick=options.quick)
    text = table(rows)
    print(text)
    if options.write:
        head = (
            "# Benchmarks\n\nWritten by `python3 dev.py bench --write`. Every ratio comes from one run on one machine: "
            f"{platform.machine()}, {platform.system()}, Python {platform.python_version()}, two cores.\n\n"
        )
        (ROOT / "docs" / "benchmarks.md").write_text(head + text + "\n", encoding="utf-8")
    sys.exit(0 if all(row.get("met", "yes") == "yes" for row in rows) or options.quick else 1)


if __name__ == "__main__":
    main()
