"""The search: run an input, keep it if it reached a branch that none before did, change a kept one, and so on.

Answers: `search` with counts, and each mistake once with the smallest input that shows it.
Touches: the folder it is given; the process's own memory limit. Runs in a process of its own, see `__main__`.
"""

from __future__ import annotations

import faulthandler
import hashlib
import importlib
import random
import sys
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.fuzz import instrument
from tests.fuzz.mutate import Stock, mutated
from tests.fuzz.oracle import Broken, key_of
from tests.fuzz.target import Run, Target

HANG_S = 60.0
"""Wall-clock time after which an input is called a hang and the process ends, with a trace. [s]"""
MOST_MEMORY = 6 << 30
"""Address space of the whole process where the system can limit it. [byte]"""
MOST_GROWN = 512 << 20
"""What one input may add to the highest memory ever used. [byte]"""
GROWTH, GROWTH_FLOOR_S = 3.0, 0.25
"""An input twice as long may take this many times as long, and this much more for noise. [1], [s]"""
GROWTH_EVERY = 250
MOST_WORDS = 4_000
SMALL_RUNS = 400
"""Runs that making one finding smaller may take."""


@dataclass
class Found:
    """One mistake: how often it was met, the smallest input that shows it, what was said."""

    key: str
    data: bytes
    said: str
    count: int = 1


@dataclass
class Report:
    """What a search did."""

    target: str
    seed: int
    runs: int = 0
    kept: int = 0
    reached: int = 0
    blocks: int = 0
    seconds: float = 0.0
    slowest_s: float = 0.0
    grown: int = 0  # times that an input was doubled
    found: dict[str, Found] = field(default_factory=dict)

    def line(self) -> str:
        """One line."""
        share = 100.0 * self.reached / max(self.blocks, 1)
        return (
            f"{self.target:<10} {self.runs:>8} runs  {self.kept:>5} kept  {self.reached:>5} of {self.blocks} branches "
            f"({share:.0f} %)  slowest {self.slowest_s:.2f} s  {self.grown} doubled  {len(self.found)} found  "
            f"{self.seconds:.0f} s"
        )


def _peak_bytes() -> int:
    """Highest memory this process ever used; 0 where the system does not tell."""
    try:
        resource: Any = importlib.import_module("resource")
    except ImportError:
        return 0
    most = int(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
    return most if sys.platform == "darwin" else most * 1024


def limit_memory() -> None:
    """Let a request for absurd memory fail in this process, instead of taking the machine down."""
    try:
        resource: Any = importlib.import_module("resource")
    except ImportError:
        return
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    if hard == resource.RLIM_INFINITY or hard > MOST_MEMORY:
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, hard))


class Search:
    """One target with its kept inputs."""

    def __init__(self, target: Target, seed: int, folder: Path, note: Callable[[bytes], None]) -> None:
        self.target, self.note = target, note
        self.report = Report(target.name, seed)
        self.chance = random.Random(f"{target.name} {seed}")
        folder.mkdir(parents=True, exist_ok=True)
        self.run: Run = target.begin(folder)
        self.kept: list[bytes] = []
        self.picked: list[int] = []
        self.seen, self.rooms = 0, 0
        self.known: set[bytes] = set()
        self.words: tuple[bytes, ...] = ()

    def begin(self, more: list[bytes]) -> None:
        """Run the inputs to begin with; they are all kept."""
        for data in [*self.target.seeds(), *more]:
            self.once(data)
            self._keep(data)
            self.seen |= instrument.as_bits()
        self._learn_words()

    def _learn_words(self) -> None:
        own = [word.encode() for word in self.target.words]
        code = [word.encode("utf-8", "replace") for word in instrument.KNOWN.words_of(self.target.rooms)]
        self.chance.shuffle(code)
        self.words = (*own, *code[:MOST_WORDS])

    def _keep(self, data: bytes) -> None:
        self.kept.append(data)
        self.picked.append(0)
        self.report.kept = len(self.kept)

    def once(self, data: bytes, count: bool = True) -> float:
        """Run one input; a mistake is noted. Processor time in seconds."""
        self.note(data)
        instrument.clear()
        peak = _peak_bytes()
        faulthandler.dump_traceback_later(HANG_S, exit=True)
        begun = time.process_time()
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                self.run(data)
        except (KeyboardInterrupt, SystemExit):
            raise
        except BaseException as error:  # a panic in a library's own code is none of Exception's kind
            self._found(key_of(error), data, error)
        took_s = time.process_time() - begun
        faulthandler.cancel_dump_traceback_later()
        if count:
            self.report.runs += 1
            self.report.slowest_s = max(self.report.slowest_s, took_s)
            grown = _peak_bytes() - peak
            if grown > MOST_GROWN:
                self._found(
                    "takes memory", data, Broken("takes memory", f"{grown >> 20} MB more for {len(data)} bytes")
                )
        return took_s

    def _found(self, key: str, data: bytes, error: BaseException) -> None:
        known = self.report.found.get(key)
        if known is None:
            import traceback

            said = "".join(traceback.format_exception(error)[-14:])
            self.report.found[key] = Found(key, data, said)
            return
        known.count += 1
        if len(data) < len(known.data):
            known.data = data

    def too_slow(self, data: bytes, took_s: float) -> None:
        """Note an input that took too long, if it does so again."""
        limit_s = self.target.limit_s
        if took_s > limit_s:
            again_s = min(took_s, self.once(data, count=False))
            if again_s > limit_s:
                said = f"{again_s:.1f} s for {len(data)} bytes; {limit_s:g} s is the most"
                self._found("takes too long", data, Broken("takes too long", said))

    def grows(self, data: bytes) -> None:
        """Note an input whose doubled form takes more than `GROWTH` times as long, if it does so three times."""
        if self.target.doubled is None or not data:
            return
        self.report.grown += 1
        more = self.target.doubled(data)
        for _ in range(3):
            one_s, two_s = self.once(data, count=False), self.once(more, count=False)
            if two_s <= GROWTH * one_s + GROWTH_FLOOR_S:
                return
        said = f"{one_s:.2f} s for {len(data)} bytes, {two_s:.2f} s for twice as much"
        self._found("grows too fast", data, Broken("grows too fast", said))

    def step(self) -> None:
        """One new input."""
        at = min(
            (self.chance.randrange(len(self.kept)) for _ in range(3)),
            key=lambda k: (self.picked[k] + 1) * (len(self.kept[k]) + 64),  # no times: a seed tells all
        )
        self.picked[at] += 1
        stock = Stock(self.words, self.kept)
        data = mutated(self.kept[at], self.chance, stock, self.target.kinds)
        mark = hashlib.blake2b(data, digest_size=8).digest()
        if mark in self.known:
            return
        self.known.add(mark)
        took_s = self.once(data)
        bits = instrument.as_bits()
        self.too_slow(data, took_s)
        if bits & ~self.seen:
            self.seen |= bits
            self._keep(data)
            self.grows(data)
        elif self.report.runs % GROWTH_EVERY == 0:
            self.grows(data)

    def smaller(self) -> None:
        """Make the input of each finding smaller, as long as it shows the same."""
        for key, found in list(self.report.found.items()):
            if key.startswith(("takes", "grows")):
                continue
            left = SMALL_RUNS

            def same(data: bytes, key: str = key) -> bool:
                before = self.report.found
                self.report.found = {}
                self.once(data, count=False)
                shows = key in self.report.found
                self.report.found = before
                return shows

            size = max(1, len(found.data) // 2)
            while size and left > 0:
                at = 0
                while at < len(found.data) and left > 0:
                    trial = found.data[:at] + found.data[at + size :]
                    left -= 1
                    if same(trial):
                        found.data = trial
                    else:
                        at += size
                size //= 2


def search(
    target: Target, *, runs: int, seed: int, seconds: float, folder: Path, more: list[bytes] | None = None,
    note: Callable[[bytes], None] = lambda data: None, told: Callable[[Report], None] = lambda report: None,
) -> tuple[Report, list[bytes]]:  # fmt: skip
    """Search until `runs` inputs were run or `seconds` are over.

    Parameters
    ----------
    note : function
        Is given each input before it is run, so that one that ends the process is known.
    told : function
        Is given the report now and then.

    Returns
    -------
    Report, list of bytes
        And all kept inputs: each reached a branch that none before it did.
    """
    begun = time.monotonic()
    work = Search(target, seed, folder, note)
    work.begin(more or [])
    last = begun
    while work.report.runs < runs and time.monotonic() - begun < seconds:
        work.step()
        if time.monotonic() - last > 20.0:
            last = time.monotonic()
            work.report.seconds = last - begun
            _counted(work)
            told(work.report)
    work.smaller()
    work.report.seconds = time.monotonic() - begun
    _counted(work)
    return work.report, work.kept


def _counted(work: Search) -> None:
    blocks = instrument.KNOWN.of(work.target.rooms)
    work.report.reached, work.report.blocks = instrument.reached(blocks, work.seen)
