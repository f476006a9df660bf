"""Put one small mistake at a time into a room of the product and see whether a test fails on it.

    python3 dev.py mutants ROOM [--sample N] [--seed S] [--most SECONDS] [--truth] [--again] [--more] [--jobs N] [--new]

`--sample`: so many mistakes, drawn evenly over the room's modules; without it all. `--most`: leave out the slow tests
of a line once so much processor time is spent. `--again`: only those that no test noticed in the run before.
`--truth`: the comparisons with the independent checker are tests too; a minute more to begin with.
`--more`: keep what an earlier run with this seed found, and do the rest of the sample.
`--new`: gather anew which test runs which line (needed after tests or sources changed; kept in build/mutants).

Tests are loaded once; each mistake gets a fork of its own, where there is fork, and a program of its own where not, and
where the mistake is in what runs while modules load. A mistake is tried on the tests that run its line, quick ones
first, up to the first that fails. Survivors known to change nothing, with the reason, are in mutants.toml beside this.
"""

from __future__ import annotations

import argparse
import ast
import gc
import importlib
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "src")]

from tools.mutants_watch import KEPT, QUIET, ROOMS, SOURCES, Seen, environment, gathered, quick_examples, watch  # noqa: E402
from tools.mutations import mutations  # noqa: E402
from tools.truth_memory import TRUTH, forget, remember  # noqa: E402

KNOWN = ROOT / "tools" / "mutants.toml"
FORKS = hasattr(os, "fork")


# --- one mistake -----------------------------------------------------------------------------------------------------


def mutated(path: Path, number: int) -> CodeType:
    """The module's code with that one change."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    mutations(tree)[number].act()
    return compile(ast.fix_missing_locations(tree), str(path), "exec")


def codes_in(code: CodeType) -> list[CodeType]:
    """Codes of the functions of a module and of its classes."""
    found = []
    for each in code.co_consts:
        if isinstance(each, CodeType):
            found += [each] if each.co_flags & 2 else codes_in(each)
    return found


def living_functions() -> list[FunctionType]:
    """Every function of the rooms that exists in this program."""
    folder = str(SOURCES) + os.sep
    return [f for f in gc.get_objects() if isinstance(f, FunctionType) and f.__code__.co_filename.startswith(folder)]


def put_in(one: dict[str, Any], living: list[FunctionType]) -> None:
    """Give the living function the code with the mistake."""
    path = SOURCES / one["module"]
    (new,) = [code for code in codes_in(mutated(path, one["number"])) if code.co_firstlineno == one["function"]]
    hit = 0
    for each in living:
        code = each.__code__
        if (code.co_filename, code.co_firstlineno, code.co_name) == (str(path), new.co_firstlineno, new.co_name):
            each.__code__, hit = new, hit + 1
    if not hit:
        raise LookupError(f"no living function at {path}:{one['function']}")


def in_a_program(one: dict[str, Any], folder: str) -> int:
    """Exit code of the mistake tried in a program of its own."""
    spec = Path(folder) / "spec.json"
    spec.write_text(json.dumps(one), encoding="utf-8")
    command = [sys.executable, __file__, "--alone", str(spec)]
    limit_s = 120 + 30 * one["seconds"]
    return subprocess.run(command, cwd=ROOT, env=environment(), capture_output=True, timeout=limit_s).returncode


class Alone:
    """Finder of the mutated module in a program of its own."""

    def __init__(self, one: dict[str, Any]) -> None:
        self.path, self.number = SOURCES / one["module"], one["number"]

    def start(self) -> None:
        from importlib.machinery import SourceFileLoader

        usual = SourceFileLoader.get_code

        def get_code(loader: Any, name: str) -> Any:
            if Path(loader.path) == self.path:
                return mutated(self.path, self.number)
            return usual(loader, name)

        SourceFileLoader.get_code = get_code  # type: ignore[method-assign]


def alone(spec: str) -> int:
    """Run the tests of one mistake in this program. 0 if all hold."""
    import pytest

    one = json.loads(Path(spec).read_text(encoding="utf-8"))
    Alone(one).start()
    quick_examples()
    code = int(pytest.main([*one["tests"], "-x", *QUIET]))
    return 0 if code == 0 else 1


# --- all of them -----------------------------------------------------------------------------------------------------


class Runner:
    """Pytest plugin that takes the place of the run: every mistake on its tests, `jobs` at a time."""

    def __init__(self, todo: list[dict[str, Any]], takes: dict[str, float], jobs: int, out: Path, folder: str) -> None:
        self.todo, self.takes, self.jobs, self.out, self.folder = todo, takes, jobs, out, folder
        self.living: dict[int, tuple[dict[str, Any], float]] = {}
        self.done: list[dict[str, Any]] = []

    def pytest_runtestloop(self, session: Any) -> bool:
        self.items = {item.nodeid: item for item in session.items}
        self.session = session
        for room in ROOMS:
            for path in (SOURCES / room).glob("*.py"):
                importlib.import_module(f"pinproof.{room}" + ("" if path.stem == "__init__" else f".{path.stem}"))
        remember(list(self.items))
        forget()
        gc.collect()
        self.functions = living_functions()
        gc.freeze()
        for one in self.todo:
            while len(self.living) >= self.jobs:
                self.wait()
            self.start(one)
        while self.living:
            self.wait()
        return True

    def start(self, one: dict[str, Any]) -> None:
        if not one["tests"]:
            self.told(one, "survived")
        elif FORKS:
            sys.stdout.flush()
            self.living[os.fork() or self.child(one)] = (one, time.monotonic())
        else:
            with tempfile.TemporaryDirectory() as folder:
                try:
                    code = in_a_program(one, folder)
                except subprocess.TimeoutExpired:
                    code = -1
            self.told(one, {0: "survived", -1: "timed out"}.get(code, "killed"))

    def child(self, one: dict[str, Any]) -> int:
        """In the fork: put the mistake in, run its tests, and end."""
        code = 1
        try:
            import resource

            resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30))
            terminal = self.session.config.pluginmanager.getplugin("terminalreporter")
            if terminal is not None:
                terminal._tw._file = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - lives as long as the fork
            nowhere = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(nowhere, stream)
            folder = os.environ["PYTEST_DEBUG_TEMPROOT"] = tempfile.tempdir = tempfile.mkdtemp(dir=self.folder)
            if one["alone"]:
                limit = int(30 + 3 * one["seconds"])
                resource.setrlimit(resource.RLIMIT_CPU, (limit, resource.RLIM_INFINITY))
                code = int(signal.SIGXCPU)  # too late, or stopped at its limit
                ended = in_a_program(one, folder)
                code = ended if ended >= 0 else code
            else:
                code = 3
                put_in(one, self.functions)
                code = 1
                code = self.run_tests(one, resource)
        finally:
            os._exit(code)

    def run_tests(self, one: dict[str, Any], resource: Any) -> int:
        failed = []

        class Listen:
            def pytest_runtest_logreport(self, report: Any) -> None:
                if report.failed:
                    failed.append(report.nodeid)

        self.session.config.pluginmanager.register(Listen())
        chosen = [self.items[name] for name in one["tests"] if name in self.items]
        for item, after in zip(chosen, [*chosen[1:], None], strict=True):
            limit = int(time.process_time() + 5 + 3 * self.takes[item.nodeid])
            resource.setrlimit(resource.RLIMIT_CPU, (limit, resource.RLIM_INFINITY))
            file = item.nodeid.split("::")[0]
            if file in one["load"]:  # what the sound room gave while the tests loaded is made again
                one["load"].remove(file)
                resource.setrlimit(resource.RLIMIT_CPU, (limit + 30, resource.RLIM_INFINITY))
                exec(compile((ROOT / file).read_text(encoding="utf-8"), file, "exec"), item.module.__dict__)
            self.session.config.hook.pytest_runtest_protocol(item=item, nextitem=after)
            if failed:
                (Path(self.folder) / f"{os.getpid()}.by").write_text(failed[0], encoding="utf-8")
                return 1
        return 0

    def wait(self) -> None:
        pid, status = os.waitpid(-1, os.WNOHANG)
        if pid in self.living:
            one, _ = self.living.pop(pid)
            code = abs(os.waitstatus_to_exitcode(status))
            late = code in (signal.SIGXCPU, signal.SIGKILL)
            by = Path(self.folder) / f"{pid}.by"
            one["by"] = by.read_text(encoding="utf-8") if by.exists() else ""
            self.told(one, "timed out" if late else {0: "survived", 3: "not put in"}.get(code, "killed"))
            return
        for pid, (one, begun) in list(self.living.items()):
            if time.monotonic() - begun > 60 + 30 * one["seconds"]:
                os.kill(pid, signal.SIGKILL)
        time.sleep(0.01)

    def told(self, one: dict[str, Any], outcome: str) -> None:
        result = {
            **{key: one[key] for key in ("module", "number", "line", "what", "source", "seconds")},
            "outcome": outcome,
        }
        result["tests"], result["by"] = len(one["tests"]), one.get("by", "")
        self.done.append(result)
        with self.out.open("a", encoding="utf-8") as file:
            file.write(json.dumps(result) + "\n")
        if len(self.done) % 25 == 0:
            print(
                f"  {len(self.done)} of {len(self.todo)}: {dict(Counter(each['outcome'] for each in self.done))}",
                flush=True,
            )


def spread(room: str, seed: int) -> list[dict[str, Any]]:
    """Mistakes of a room, drawn evenly over its modules."""
    rng = random.Random(f"{room} {seed}")
    piles = []
    for path in sorted((SOURCES / room).glob("*.py")):
        text = path.read_text(encoding="utf-8")
        lines = text.splitlines()
        pile = [
            {"module": f"{room}/{path.name}", "number": number, "line": each.line, "what": each.what,
             "function": each.function, "source": lines[each.line - 1].strip()}
            for number, each in enumerate(mutations(ast.parse(text)))
        ]  # fmt: skip
        rng.shuffle(pile)
        piles.append(pile)
    return [pile[turn] for turn in range(max(map(len, piles))) for pile in piles if turn < len(pile)]


def with_tests(drawn: list[dict[str, Any]], seen: Seen, most: float) -> None:
    """Add to each mistake the tests to try it on, quick ones first, and the test files to load again."""
    for one in drawn:
        places = {(one["module"], one["line"]), (one["module"], one["function"])}
        tests = seen.tests.get((one["module"], one["line"])) or seen.tests.get((one["module"], one["function"])) or []
        if not one["function"]:  # runs while the module loads: any test beside those of the module may notice
            near = {test for (name, _), some in seen.tests.items() if name == one["module"] for test in some}
            files = {test.split("::")[0] for test in near}
            tests = [test for test in seen.seconds if test.split("::")[0] in files]
        chosen, spent = [], 0.0
        for test in sorted(set(tests), key=lambda name: (seen.seconds[name], name)):
            spent += seen.seconds[test]
            if chosen and spent > most:
                break
            chosen.append(test)
        one.update(tests=chosen, seconds=sum(seen.seconds[test] for test in chosen), alone=not one["function"])
        one["load"] = [file for file, lines in seen.loading.items() if places & lines]


def main() -> int:
    """Read the command line, run, print counts and survivors. 1 if there are survivors that nobody has explained."""
    if sys.argv[1:2] == ["--watch"]:
        return watch(sys.argv[2], Path(sys.argv[3]))
    if sys.argv[1:2] == ["--alone"]:
        return alone(sys.argv[2])
    ask = argparse.ArgumentParser(prog="dev.py mutants", description=__doc__.split("\n\n")[0])
    ask.add_argument("room", choices=ROOMS)
    ask.add_argument("--sample", type=int)
    ask.add_argument("--seed", type=int, default=0)
    ask.add_argument("--most", type=float, default=60.0, help="seconds of processor time for one mistake")
    ask.add_argument("--jobs", type=int, default=2)
    ask.add_argument("--again", action="store_true")
    ask.add_argument("--more", action="store_true")
    ask.add_argument("--truth", action="store_true")
    ask.add_argument("--new", action="store_true")
    given = ask.parse_args()
    os.environ.update(environment())
    seen = gathered(given.jobs, given.new)
    out = KEPT / f"{given.room}-{given.seed}.jsonl"
    drawn, earlier = spread(given.room, given.seed), []
    if out.exists() and (given.again or given.more):
        earlier = [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()]
    asked = {key(one) for one in earlier if one["outcome"] == "survived"}
    if given.again:
        drawn = [one for one in drawn if key(one) in asked]
        earlier = [one for one in earlier if one["outcome"] != "survived"]
    else:
        done = {key(one) for one in earlier}
        drawn = [one for one in drawn[: given.sample] if key(one) not in done]
    out.write_text("".join(json.dumps(one) + "\n" for one in earlier), encoding="utf-8")
    if not given.truth:
        seen = seen.without(TRUTH)
    with_tests(drawn, seen, given.most)
    drawn.sort(key=lambda one: bool(one["alone"]))  # programs of their own take longest
    quick_examples()
    import pytest

    files = sorted({test.split("::")[0] for one in drawn for test in one["tests"]})
    nodes = [name for file in files for name in ([f"{file}::{test}" for test in TRUTH.get(file, [])] or [file])]
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        runner = Runner(drawn, seen.seconds, given.jobs, out, folder)
        pytest.main([*nodes, *QUIET], plugins=[runner])
    return report(given.room, [*earlier, *runner.done])


def key(one: dict[str, Any]) -> tuple[str, int, str, str]:
    """What names a mistake as long as its line stays the same."""
    return one["module"], one["number"], one["source"], one["what"]


def report(room: str, done: list[dict[str, Any]]) -> int:
    """Print counts and survivors."""
    known = tomllib.loads(KNOWN.read_text(encoding="utf-8")).get("known", []) if KNOWN.exists() else []
    why = {(one["module"], one["source"], one["what"]): one["kind"] for one in known}
    counts = Counter(one["outcome"] for one in done)
    print(f"{room}: {len(done)} mistakes, " + ", ".join(f"{count} {name}" for name, count in sorted(counts.items())))
    left, explained = [], Counter[str]()
    for one in sorted(done, key=key):
        kind = why.get((one["module"], one["source"], one["what"]))
        if one["outcome"] in ("survived", "not put in"):
            explained[kind or "not explained"] += 1
            left += [] if kind else [one]
    print("  of the survivors " + (", ".join(f"{count} {kind}" for kind, count in explained.items()) or "none"))
    for one in left:
        print(f"{one['module']}:{one['line']}  {one['what']}   [{one['outcome']}, {one['tests']} tests]")
        print(f"      {one['source']}")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
