"""`python3 dev.py fuzz TARGET`: search for input that breaks a reader.

The search runs in a process of its own. If that dies (a hang, a crash inside a library, no memory) the input it died
of is a finding like any other, and the search goes on from the next seed.
"""

from __future__ import annotations

import argparse
import json
import mmap
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

MOST_NOTED = 1 << 20
MOST_DEATHS = 20


def _options() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="dev.py fuzz", description="Search for input that breaks a reader.")
    parser.add_argument("target", nargs="?", help="which reader; without one they are listed")
    parser.add_argument("--runs", type=int, default=20_000, help="inputs to run (20000)")
    parser.add_argument("--seconds", type=float, default=600.0, help="time to stop after (600)")
    parser.add_argument("--seed", type=int, default=1, help="of all chance (1); the same seed gives the same inputs")
    parser.add_argument("--keep", type=Path, help="folder for kept inputs and findings; what is there is run first")
    parser.add_argument("--json", action="store_true", help="print the report as JSON")
    parser.add_argument("--worker", type=Path, help=argparse.SUPPRESS)
    return parser


def main(arguments: list[str]) -> int:
    """0: nothing broke; 1: something did; 2: no such target."""
    asked = _options().parse_args(arguments)
    if asked.worker is not None:
        return _worker(asked)
    from tests.fuzz import targets

    if asked.target not in targets.NAMES:
        print("\n".join(f"{name:<12} {what}" for name, what in targets.NAMES.items()))
        return 2 if asked.target else 0
    found: dict[str, dict[str, object]] = {}
    total = {"runs": 0, "seconds": 0.0}
    last: dict[str, object] = {}
    with tempfile.TemporaryDirectory(prefix="pinproof-fuzz-") as name:
        work = Path(name)
        deaths, seed, begun = 0, asked.seed, time.monotonic()
        while deaths < MOST_DEATHS:
            left_s = asked.seconds - (time.monotonic() - begun)
            runs = asked.runs - int(total["runs"])
            if runs <= 0 or left_s <= 0.0:
                break
            code, last = _one(asked, work, seed, runs, left_s)
            total["runs"] += last.get("runs", 0)  # type: ignore[operator]
            for key, each in last.get("found", {}).items():  # type: ignore[attr-defined]
                found.setdefault(key, each)
            if code == 0:
                break
            deaths, seed = deaths + 1, seed + 1
            said = (work / "stderr.txt").read_text(encoding="utf-8", errors="replace")
            key = f"the process ended with {code}"
            found.setdefault(key, {"data": (work / "dying.bin").read_bytes().hex(), "said": said[-3000:], "count": 0})
            found[key]["count"] += 1  # type: ignore[operator]
    last |= {"runs": int(total["runs"]), "found": found, "seconds": round(time.monotonic() - begun, 1)}
    if asked.keep is not None:
        _kept(asked.keep / f"{asked.target}-found", found)
    print(json.dumps(last, indent=1) if asked.json else _words(last))
    return 1 if found else 0


def _words(report: dict[str, object]) -> str:
    found: dict[str, dict[str, object]] = report["found"]  # type: ignore[assignment]
    lines = [str(report.get("line", "")), f"in all {report['runs']} runs, {report['seconds']} s, {len(found)} found"]
    for key, each in found.items():
        data = bytes.fromhex(str(each["data"]))
        lines += ["", f"{key}  ({each['count']} times), {len(data)} bytes: {data[:160]!r}", str(each["said"])[-2500:]]
    return "\n".join(lines).encode("utf-8", "backslashreplace").decode("utf-8")


def _kept(folder: Path, found: dict[str, dict[str, object]]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for key, each in found.items():
        name = "".join(sign if sign.isalnum() else "-" for sign in key)[:80]
        (folder / f"{name}.bin").write_bytes(bytes.fromhex(str(each["data"])))
        (folder / f"{name}.txt").write_text(f"{key}\n{each['said']}", encoding="utf-8", errors="backslashreplace")


def _one(asked: argparse.Namespace, work: Path, seed: int, runs: int, seconds: float) -> tuple[int, dict[str, object]]:
    """One worker to its end: its exit code and its last report."""
    command = [
        sys.executable, "-W", "error", "-m", "tests.fuzz", asked.target, "--runs", str(runs), "--seconds", str(seconds),
        "--seed", str(seed), "--worker", str(work),
    ]  # fmt: skip
    if asked.keep is not None:
        command += ["--keep", str(asked.keep)]
    report = work / "report.json"
    report.unlink(missing_ok=True)
    with (work / "note.bin").open("wb") as note:
        note.truncate(MOST_NOTED + 8)
    env = {**os.environ, "POLARS_MAX_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONUTF8": "1"}
    env["PYTHONHASHSEED"] = "0"
    with (work / "stderr.txt").open("wb") as stderr:
        code = subprocess.run(command, env=env, stderr=stderr, stdin=subprocess.DEVNULL).returncode
    noted = (work / "note.bin").read_bytes()
    (work / "dying.bin").write_bytes(noted[8 : 8 + int.from_bytes(noted[:8], "little")])
    last = json.loads(report.read_text(encoding="utf-8")) if report.exists() else {}
    return code, last


def _worker(asked: argparse.Namespace) -> int:
    import faulthandler

    from tests.fuzz import instrument

    faulthandler.enable()
    instrument.install()
    from tests.fuzz import loop, targets
    from tests.fuzz.target import of_corpus

    target = targets.target(asked.target)
    work: Path = asked.worker
    loop.limit_memory()
    more = of_corpus(asked.target)
    corpus = asked.keep / asked.target if asked.keep is not None else None
    if corpus is not None and corpus.is_dir():
        more += [each.read_bytes() for each in sorted(corpus.iterdir())]
    with (work / "note.bin").open("r+b") as file, mmap.mmap(file.fileno(), MOST_NOTED + 8) as noted:

        def note(data: bytes) -> None:
            size = min(len(data), MOST_NOTED)
            noted[:8] = size.to_bytes(8, "little")
            noted[8 : 8 + size] = data[:size]

        def told(report: loop.Report) -> None:
            plain = {
                "target": report.target, "runs": report.runs, "kept": report.kept, "reached": report.reached,
                "blocks": report.blocks, "slowest_s": round(report.slowest_s, 3), "doubled": report.grown,
                "line": report.line(),
                "found": {key: {"data": each.data.hex(), "said": each.said, "count": each.count}
                          for key, each in report.found.items()},
            }  # fmt: skip
            part = work / "report.part"
            part.write_text(json.dumps(plain), encoding="utf-8")
            os.replace(part, work / "report.json")
            if asked.keep is not None:
                asked.keep.mkdir(parents=True, exist_ok=True)
                (asked.keep / f"{asked.target}.progress").write_text(report.line() + "\n", encoding="utf-8")

        report, kept = loop.search(
            target, runs=asked.runs, seed=asked.seed, seconds=asked.seconds, folder=work / f"in-{asked.seed}",
            more=more, note=note, told=told,
        )  # fmt: skip
        told(report)
    if corpus is not None:
        corpus.mkdir(parents=True, exist_ok=True)
        for at, data in enumerate(kept):
            (corpus / f"{at:05}.bin").write_bytes(data)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
