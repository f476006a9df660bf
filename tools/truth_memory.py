"""The slow independent checker's answers, worked out once before the forks and remembered in each of them.

The checker knows nothing of the engines, so no mistake in a room changes its answers. What a comparison asks that was
not asked before, because the engine now claims something else, is worked out afresh.
"""

from __future__ import annotations

import functools
import gc
from collections.abc import Callable
from typing import Any

TRUTH = {
    "tests/test_truth_agreement.py": [f"test_engines_agree_with_the_checker[{first}]" for first in (0, 25)],
    "tests/test_truth_faults_agreement.py": ["test_the_faults_engine_agrees_with_the_checker[0]"],
}


def remember(names: list[str]) -> None:
    """Put memory before the checker's functions and fill it by running the comparisons among `names`."""
    wanted = [f"{file}::{test}" for file, tests in TRUTH.items() for test in tests]
    wanted = [name for name in wanted if name in names]
    if not wanted:
        return
    from tests.truth import agree, agree_faults, check, drift, generate

    generate.generate = functools.cache(generate.generate)  # one truck of a seed, so that its identity is a key
    agree_faults.generate = generate.generate
    check.judge_truck = _remembered(check.judge_truck)
    drift.drift_grid = _remembered(drift.drift_grid)
    agree_faults.fault_grid = _remembered(agree_faults.fault_grid, unkeyed=1)
    for name in wanted:
        first = int(name.split("[")[1].rstrip("]"))
        for seed in range(first, first + (15 if "faults" in name else 25)):
            if "faults" in name:
                agree_faults.compare(seed, most_faults=14, most_situations=3, ends=6)
            else:
                agree.compare(seed, drifts=1)


def forget() -> None:
    """What the sound rooms worked out so far and kept with their objects shall not hide a mistake."""
    for each in gc.get_objects():
        if isinstance(each, functools._lru_cache_wrapper) and str(each.__module__).startswith("pinproof"):
            each.cache_clear()
        elif str(type(each).__module__).startswith("pinproof."):
            for name in ("_cache", "cache"):
                kept = getattr(each, name, None)
                if isinstance(kept, dict):
                    kept.clear()


def _remembered(function: Callable[..., Any], unkeyed: int = 0) -> Callable[..., Any]:
    """The function with a memory; the truck counts by identity, the last `unkeyed` arguments not at all."""
    memory: dict[tuple[int, str], Any] = {}

    def asked(truck: Any, *rest: Any) -> Any:
        keyed = [sorted(each) if isinstance(each, frozenset) else each for each in rest[: len(rest) - unkeyed]]
        key = (id(truck), repr(keyed))
        if key not in memory:
            memory[key] = function(truck, *rest)
        return memory[key]

    return asked
