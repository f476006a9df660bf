"""Which test runs which line of the rooms: what `mutants` needs to try a mistake on the right tests only.

Each test file is run once under a tracer, in a program of its own; what was seen is kept in build/mutants.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterable
from pathlib import Path
from types import CodeType
from typing import Any, NamedTuple

from tools.truth_memory import TRUTH

ROOT = Path(__file__).resolve().parent.parent
SOURCES, KEPT = ROOT / "src" / "pinproof", ROOT / "build" / "mutants"
ROOMS = ("network", "proof", "choose", "faults", "verdict")
FAR = "web|log|rooms|pack|drawings|driveline|harness|inhibit|adopt|new|chain|checks|drawer|meter"
QUIET = ["-q", "-p", "no:cacheprovider", "-p", "no:xdist", "-W", "ignore::pytest.PytestAssertRewriteWarning"]
LONGEST_S = 60.0  # a test that takes longer under the tracer is not used
GENTLE = 40  # calls of one function in one test after which only every thirty-second is traced


def test_files() -> list[str]:
    """Tests that name one of the rooms, without those that stand far off and take long."""
    named = re.compile(r"pinproof\.(network|proof|choose|faults|verdict)\b|tests\.truth\.agree(_faults)? ")
    found = [*ROOT.glob("tests/test_*.py"), *ROOT.glob("tests/*/test_*.py")]
    names = sorted(
        path.relative_to(ROOT).as_posix() for path in found if named.search(path.read_text(encoding="utf-8"))
    )
    return [name for name in names if not re.search(f"/(browser/|truth/|test_({FAR}))", name)]


class Watch:
    """Pytest plugin: lines of the rooms that each test runs, those run by loading tests, and how long a test takes."""

    def __init__(self) -> None:
        self.lines: dict[str, set[tuple[str, int]]] = defaultdict(set)
        self.seconds: dict[str, float] = {}
        self.failed: set[str] = set()
        self.now = ""  # the test; none while tests load
        self.calls: Counter[CodeType] = Counter()
        self.left: dict[CodeType, set[int]] = {}
        self.places = {str(SOURCES / room) + os.sep: room for room in ROOMS}
        self.known: dict[CodeType, str] = {}
        sys.settrace(self.trace)

    def trace(self, frame: Any, event: str, arg: Any) -> Any:
        code = frame.f_code
        name = self.known.get(code)
        if name is None:
            path = code.co_filename
            ours = path.startswith(str(SOURCES)) and any(path.startswith(place) for place in self.places)
            loading = code.co_name == "<module>" or not code.co_flags & 2  # 2: has local variables of its own
            name = self.known[code] = Path(path).relative_to(SOURCES).as_posix() if ours and not loading else ""
        if not name:
            return None
        self.calls[code] += 1
        left = self.left.get(code)
        if left is None:
            self.lines[self.now].add((name, code.co_firstlineno))
            left = self.left[code] = {line for _, _, line in code.co_lines() if line}
        if not left or (self.calls[code] > GENTLE and self.calls[code] % 32):
            return None
        lines = self.lines[self.now]

        def line_of(frame: Any, event: str, arg: Any) -> Any:
            lines.add((name, frame.f_lineno))
            left.discard(frame.f_lineno)
            return line_of

        return line_of

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        self.now, self.begun = nodeid, time.process_time()
        self.calls.clear()
        self.left.clear()
        sys.settrace(self.trace)

    def pytest_runtest_logreport(self, report: Any) -> None:
        if report.when == "setup":  # what is shared is set up in the first test only
            self.lines[report.nodeid.split("::")[0]] |= self.lines[report.nodeid]
        if report.when == "teardown":
            self.seconds[report.nodeid] = time.process_time() - self.begun
        if report.failed or report.skipped:
            self.failed.add(report.nodeid)


def watch(file: str, into: Path) -> int:
    """Run one test file traced and write what was seen."""
    import pytest

    quick_examples()
    seen = Watch()
    pytest.main([*([f"{file}::{test}" for test in TRUTH.get(file, [])] or [file]), *QUIET], plugins=[seen])
    sys.settrace(None)
    tests = [
        {"id": test, "seconds": seconds, "lines": sorted(seen.lines[test] | seen.lines[test.split("::")[0]])}
        for test, seconds in seen.seconds.items()
        if test not in seen.failed
    ]
    told = {"file": file, "loading": sorted(seen.lines[""]), "failed": sorted(seen.failed), "tests": tests}
    into.write_text(json.dumps(told), encoding="utf-8")
    return 0


class Seen(NamedTuple):
    """Tests of each line (module and number), seconds of each test, lines that run while a test file loads."""

    tests: dict[tuple[str, int], list[str]]
    seconds: dict[str, float]
    loading: dict[str, set[tuple[str, int]]]

    def without(self, files: Iterable[str]) -> Seen:
        """The same for all other test files."""
        left = set(files)
        tests = {
            place: [test for test in some if test.split("::")[0] not in left] for place, some in self.tests.items()
        }
        return self._replace(tests=tests)


def gathered(jobs: int, anew: bool) -> Seen:
    """What was seen, gathered where it is missing."""
    KEPT.mkdir(parents=True, exist_ok=True)
    todo, running = [], []
    places = {file: KEPT / (file.replace("/", "-") + ".json") for file in test_files()}
    for file, place in places.items():
        if anew or not place.exists() or place.stat().st_mtime < (ROOT / file).stat().st_mtime:
            todo.append([sys.executable, str(ROOT / "tools" / "mutants.py"), "--watch", file, str(place)])
    while todo or running:
        running = [each for each in running if each.poll() is None]
        while todo and len(running) < jobs:
            print(f"  {len(todo)} test files to watch, now {todo[-1][3]}", flush=True)
            running.append(subprocess.Popen(todo.pop(), cwd=ROOT, env=environment(), stdout=subprocess.DEVNULL))
        time.sleep(0.2)
    of_line: dict[tuple[str, int], list[str]] = defaultdict(list)
    seconds: dict[str, float] = {}
    loading: dict[str, set[tuple[str, int]]] = {}
    for place in places.values():
        told = json.loads(place.read_text(encoding="utf-8"))
        for failed in told["failed"]:
            print(f"  not used, since it fails without any mistake: {failed}")
        loading[told["file"]] = {(name, line) for name, line in told["loading"]}
        for test in told["tests"]:
            if test["seconds"] < LONGEST_S:
                seconds[test["id"]] = test["seconds"] * (0.2 if told["file"] in TRUTH else 1.0)  # most is remembered
                for name, line in test["lines"]:
                    of_line[name, line].append(test["id"])
    return Seen(of_line, seconds, loading)


def environment() -> dict[str, str]:
    """For programs that are started: one thread each, our tests' paths, examples that are not made smaller."""
    path = os.pathsep.join([str(ROOT / "src"), str(ROOT)])
    return {**os.environ, "PYTHONPATH": path, "OPENBLAS_NUM_THREADS": "1", "HYPOTHESIS_PROFILE": "mutants"}


def quick_examples() -> None:
    """A failing example of a random search is not made smaller: failing is all that is asked."""
    from hypothesis import Phase, settings

    phases = [Phase.explicit, Phase.generate]
    settings.register_profile("mutants", derandomize=True, deadline=None, database=None, phases=phases)
