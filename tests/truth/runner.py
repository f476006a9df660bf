"""What the comparisons share: many seeds through one comparison, on several processes, and their command line."""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

MOST_SHOWN = 20
NEAR = Fraction(1, 10**9)


@dataclass
class Compared:
    """What one seed showed: every difference, and how much of what was compared."""

    seed: int
    disagreements: list[str] = field(default_factory=list)
    seen: Counter[str] = field(default_factory=Counter)

    def near(self, what: str, wanted: Fraction, found: float) -> None:
        """Two numbers, the checker's exact one first."""
        self.seen["numbers"] += 1
        if not abs(Fraction(found) - wanted) <= NEAR * max(abs(wanted), Fraction(1, 1000)):
            self.disagreements.append(f"{what}: checker {float(wanted)!r}, product {found!r}")


def run_seeds(
    compare: Callable[[int], Any], count: int, start: int, jobs: int, *, chunk: int = 8
) -> tuple[int, Counter[str]]:
    """Compare `count` seeds and print what differs; the number of seeds that disagree, and what was compared.

    `compare` gives an outcome with `seed`, `seen` and `disagreements`. `chunk`: seeds that a process takes at a time.
    """
    began = time.perf_counter()
    bad, seen = 0, Counter[str]()
    pool = multiprocessing.get_context("spawn").Pool(jobs) if jobs > 1 else None
    seeds = range(start, start + count)
    stream = pool.imap_unordered(compare, seeds, chunk) if pool else map(compare, seeds)
    for one in stream:
        seen += one.seen
        if one.disagreements:
            bad += 1
            if bad <= MOST_SHOWN:
                print(f"seed {one.seed}: {len(one.disagreements)} disagreements")
                for each in one.disagreements[:5]:
                    print("   ", each)
    if pool:
        pool.close()
        pool.join()
    print(", ".join(f"{name} {number}" for name, number in sorted(seen.items())))
    print(f"{count} seeds ({start} to {start + count - 1}): {bad} disagree. {time.perf_counter() - began:.0f} s")
    return bad, seen


def command(flag: str, usual: int, run: Callable[[int, int, int], tuple[int, Counter[str]]]) -> None:
    """Command line of one comparison; ends with 1 if any seed disagrees."""
    parser = argparse.ArgumentParser(prog=f"dev.py truth {flag}")
    parser.add_argument("count", nargs="?", type=int, default=usual)
    parser.add_argument("--seed", type=int, default=0, help="first seed")
    parser.add_argument("--jobs", type=int, default=multiprocessing.cpu_count())
    options = parser.parse_args()
    sys.exit(1 if run(options.count, options.seed, options.jobs)[0] else 0)
