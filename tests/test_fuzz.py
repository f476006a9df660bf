"""A short search for hostile input at every reader, and the search itself. Large counts: `python3 dev.py fuzz`.

Each search is a process of its own, since the branches of pinproof are marked while it is imported.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.fuzz import mutate, targets
from tests.fuzz.oracle import Broken, fit_to_print, key_of, plain, untouched

ROOT = Path(__file__).resolve().parents[1]
RUNS = {"proof": 60, "web": 600, "command": 60}
"""Inputs of a short search; of readers that are not named here `USUAL_RUNS`."""
USUAL_RUNS = 250


def searched(name: str, *more: str) -> tuple[int, dict[str, object]]:
    """Exit code and report of a search."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.fuzz", name, "--json", *more], cwd=ROOT, capture_output=True, text=True,
        encoding="utf-8", env={**os.environ, "PYTHONPATH": os.pathsep.join((str(ROOT), str(ROOT / "src")))},
    )  # fmt: skip
    assert done.stdout, done.stderr
    report: dict[str, object] = json.loads(done.stdout)
    return done.returncode, report


@pytest.mark.parametrize("name", sorted(targets.NAMES))
def test_nothing_breaks_in_a_short_search(name: str) -> None:
    """Either a result or a refusal in words, for every input; and the search gets further than it began."""
    code, report = searched(name, "--runs", str(RUNS.get(name, USUAL_RUNS)), "--seed", "7", "--seconds", "240")
    assert code == 0, json.dumps(report["found"], indent=1)[:6000]
    assert report["runs"] == RUNS.get(name, USUAL_RUNS)
    assert 0 < int(str(report["reached"])) <= int(str(report["blocks"]))


@pytest.mark.parametrize("kinds", [mutate.PLAIN, mutate.TEXT, mutate.TOML, mutate.TABLE])
def test_mutations_change_and_stay_bounded(kinds: tuple[mutate.Mutation, ...]) -> None:
    """From any input, the empty one too; the same seed gives the same."""
    import random

    stock = mutate.Stock((b"word",), [b"a,b\n1,2\n", b'[t]\nk = "v"\n'])
    for data in (b"", b"\n", b"x", b'[t]\nk = "v" # c\n1,2,3\n' * 40, bytes(range(256)) * 300):
        made = [mutate.mutated(data, random.Random(seed), stock, kinds) for seed in range(60)]
        assert made == [mutate.mutated(data, random.Random(seed), stock, kinds) for seed in range(60)]
        assert max(len(each) for each in made) <= mutate.MOST_BYTES
        assert len(set(made)) > 5


def test_the_oracle_sees_what_must_not_be(tmp_path: Path) -> None:
    """Texts that cannot be printed, results that are no JSON, files that were changed or left behind."""
    for text, kind in (
        ("", "says nothing"),
        ("a\x1b[2J", "control"),
        ("a\ud800", "half a letter"),
        ("x" * 10**6, "long"),
    ):
        with pytest.raises(Broken, match=kind):
            fit_to_print(text, "it")
    fit_to_print("two lines\n\twith Ω and …", "it")
    with pytest.raises(Broken, match="no JSON"):
        plain({"a": float("nan")}, "it")
    path = tmp_path / "in"
    path.write_bytes(b"1")
    untouched(path, b"1", frozenset())
    with pytest.raises(Broken, match="changed"):
        untouched(path, b"2", frozenset())
    (tmp_path / "in.part").touch()
    with pytest.raises(Broken, match="left behind"):
        untouched(path, b"1", frozenset())
    untouched(path, b"1", frozenset({"in.part"}))


def test_one_mistake_has_one_name() -> None:
    """The deepest place in pinproof; what a target saw itself goes by its kind."""
    from pinproof.quantities import parse

    names = set()
    for text in ("1", "2"):
        try:
            parse(text, "no such dimension")
        except ValueError as error:
            names.add(key_of(error))
    assert len(names) == 1
    assert names.pop().startswith("ValueError at units.py:")
    assert key_of(Broken("kind", "said")) == "kind"


PLANTED = """
from tests.fuzz import instrument
instrument.install()
from tests.fuzz import loop, mutate
from tests.fuzz.oracle import Broken
from tests.fuzz.target import Target
from pinproof.quantities import parse
from pathlib import Path
import sys, tempfile, time

def begin(folder):
    def run(data):
        text = data.decode("latin-1")
        try:
            value = parse(text, "resistance")
        except Exception:
            return
        if "//KIND//" == "raises" and value > 1e6:
            raise KeyError(text)
        if "//KIND//" == "slow" and value > 1e6:
            while time.process_time() % 7.0 < 6.9 and time.process_time() - begun[0] < 60.0:
                if sum(range(2000)) and time.process_time() - at[0] > 0.5:
                    break
        at[0] = time.process_time()
    at, begun = [time.process_time()], [time.process_time()]
    return run

target = Target("planted", "", ("pinproof.quantities",), begin, lambda: [b"4k7"], mutate.TEXT, ("M", "ohm"), 0.3)
with tempfile.TemporaryDirectory() as name:
    report, kept = loop.search(target, runs=1500, seed=2, seconds=60.0, folder=Path(name))
print(len(kept), report.reached, *report.found, sep="|")
"""


def test_the_search_finds_what_is_planted() -> None:
    """A mistake behind a number that none of the first inputs has; more branches than the first input reached."""
    done = subprocess.run(
        [sys.executable, "-c", PLANTED.replace("//KIND//", "raises")], cwd=ROOT, capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join((str(ROOT), str(ROOT / "src")))},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    kept, reached, *found = done.stdout.strip().split("|")
    assert int(kept) > 15
    assert int(reached) > 60
    assert any(each.startswith("KeyError") for each in found)
