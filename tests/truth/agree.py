"""Do the engines agree with the checker? Run on generated awkward trucks, end to end from the text of a design file.

    python3 dev.py truth 10000            ten thousand trucks, seeds 0 to 9999
    python3 dev.py truth 500 --seed 7000  five hundred from seed 7000

This is the only module of the checker that knows the product. It compares, and never repairs: where the two differ,
find out from the physics which is wrong.
"""

from __future__ import annotations

import argparse
import functools
import math
import multiprocessing
import random
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

TOLERANCE = 1e-9  # of full scale, between two exact spans
WIDEST_GAP = 2e-3  # of full scale: an outer bracket wider than this is reported


@dataclass
class Outcome:
    """What one truck gave."""

    seed: int
    disagreements: list[str] = field(default_factory=list)
    rows: int = 0
    exact: int = 0
    verdicts: Counter[str] = field(default_factory=Counter)
    drifts: int = 0
    skipped: int = 0


def compare(seed: int, *, drifts: int = 2) -> Outcome:
    """Judge one generated truck by both and list every difference."""
    from pinproof.design import loads
    from pinproof.errors import PinproofError
    from pinproof.proof import prove
    from tests.truth.check import judge_truck
    from tests.truth.generate import generate
    from tests.truth.writer import write

    truck = generate(seed)
    out = Outcome(seed)
    text = write(truck)
    try:
        loaded = loads(text, name=f"generated {seed}")
    except PinproofError as fault:
        out.disagreements.append(f"the file was refused: {fault}")
        return out
    expected = judge_truck(truck)
    proof = prove(loaded, samples=0, drift=False)
    for line in proof.lines:
        truth = expected["lines"][line.line]
        found = {(row.key_state, row.space, tuple(sorted(row.operated))): row for row in line.situations}
        wanted = {(row["key_state"], row["space"], tuple(row["operated"])): row for row in truth["rows"]}
        if found.keys() != wanted.keys():
            out.disagreements.append(f"{line.line}: other situations: {sorted(found.keys() ^ wanted.keys())[:4]}")
            continue
        for key, row in wanted.items():
            out.rows += 1
            out.exact += bool(found[key].exact)
            out.verdicts[row["verdict"]] += 1
            out.disagreements += [f"{line.line} {key}: {each}" for each in differences(found[key], row)]
        sure = all(row["sure"] and not row["tie"] for row in truth["rows"])
        same = str(line.verdict) == truth["verdict"] or any("verdict" in each for each in out.disagreements)
        moved = {str(line.verdict), truth["verdict"]} == {"fail", "not shown"}
        if sure and not same and not (moved and any(not row["margin_exact"] for row in truth["rows"])):
            out.disagreements.append(f"{line.line}: line verdict {line.verdict}, checker {truth['verdict']}")
    if drifts:
        compare_drifts(loaded, truck, random.Random(seed), drifts, out)
    return out


def differences(row: Any, truth: dict[str, Any]) -> list[str]:
    """Differences between an engine's row and the checker's."""
    scale = truth["full_scale"]
    said: list[str] = []
    floats = truth["floating"] or truth["shorted"]
    if floats != bool(row.why):
        said.append(f"engine says {row.why or 'settled'!r}, checker floating={floats}")
    if sorted(row.allowed) != truth["allowed"] and row.key_state != "crank":
        said.append(f"allowed {sorted(row.allowed)}, checker {truth['allowed']}")
    if not floats:
        tolerance = TOLERANCE * max(scale, 1.0)
        if row.exact and truth["exact"]:
            if abs(row.low - truth["low"]) > tolerance or abs(row.high - truth["high"]) > tolerance:
                said.append(f"span {row.low!r} … {row.high!r}, checker {truth['low']!r} … {truth['high']!r}")
        elif row.low > truth["low"] + tolerance or row.high < truth["high"] - tolerance:
            said.append(f"unsound span {row.low!r} … {row.high!r}, attained {truth['low']!r} … {truth['high']!r}")
        elif truth["low"] - row.low > WIDEST_GAP * scale or row.high - truth["high"] > WIDEST_GAP * scale:
            said.append(f"wide bracket {row.low!r} … {row.high!r}, attained {truth['low']!r} … {truth['high']!r}")
        if row.inner_low < truth["low_outer"] - tolerance or row.inner_high > truth["high_outer"] + tolerance:
            said.append(f"claims attained {row.inner_low!r} … {row.inner_high!r} beyond the possible")
        low, high = sorted((truth["margin"], truth["margin_outer"]))
        slack = (
            1e-7 * max(1.0, abs(truth["margin"]))
            if truth["margin_exact"] and row.exact
            else 0.02 * max(1.0, abs(truth["margin"]))
        )
        # Edges found on this pin move with it. The checker bounds each side of a forbidden window over all positions
        # at once, the engine position by position: where they overlap only the sign of the depth is comparable.
        overlaps = not truth["inside"] and not truth["margin_exact"] and high <= 0.0 and row.margin <= 0.0
        same = math.isinf(row.margin) and row.margin in (low, high)
        if not same and not overlaps and not low - slack <= row.margin <= high + slack:
            said.append(f"margin {row.margin!r}, checker {truth['margin']!r} (outer {truth['margin_outer']!r})")
    verdict = str(row.verdict)
    overlaps = (
        not truth["inside"] and not truth["margin_exact"] and {verdict, truth["verdict"]} == {"fail", "not shown"}
    )
    if truth["sure"] and not truth["tie"] and verdict != truth["verdict"] and not overlaps:
        bracket = not row.exact and verdict == "not shown" and truth["verdict"] != "not shown"
        if not (bracket and abs(truth["margin"]) < 0.05):
            said.append(f"verdict {verdict}, checker {truth['verdict']} (margin {row.margin!r}, {truth['margin']!r})")
    elif {verdict, truth["verdict"]} >= {"pass", "fail"}:
        said.append(f"verdict {verdict}, checker {truth['verdict']}")
    return said


def compare_drifts(loaded: Any, truck: Any, rng: random.Random, count: int, out: Outcome) -> None:
    """Claimed drift budgets of a few parameters must lie between neighbours on the checker's grid."""
    from pinproof.proof import budgets
    from pinproof.proof.judging import judge_line, unproven_reason
    from pinproof.wiring import line_view
    from tests.truth.drift import KEPT, default_grid, drift_grid

    line = rng.choice(loaded.lines)
    view = line_view(loaded, line)
    if unproven_reason(loaded, line, view) or view.input.compares == "unknown":
        return
    judged = [each for each in judge_line(view) if each.key_state == "run"]
    rows = [row for each in judged for row in budgets.with_budgets(view, each)]
    rows = [row for row in rows if row.budgets and str(row.verdict) in KEPT]
    if not rows:
        return
    for _ in range(count):
        row = rng.choice(rows)
        budget = rng.choice(row.budgets)
        path = budget.parameter.removesuffix(".value")
        for what, claimed in (("lost", budget.lost_at), ("false", budget.false_at)):
            coarse = default_grid(truck, line.id, path, budget.direction, row.key_state, 16)
            grid, expected = _around(claimed, coarse, budget.direction)
            truth = drift_grid(truck, line.id, row.operated, path, budget.direction, row.key_state, grid)
            if not truth.exact or truth.start_verdict not in KEPT:
                out.skipped += 1
                continue
            out.drifts += 1
            found = truth.first_lost if what == "lost" else truth.first_false
            at = None if found is None else grid.index(found)
            if at != expected:
                out.disagreements.append(
                    f"{line.id} {row.operated} drift of {path} {budget.direction}: {what} at {claimed}, "
                    f"checker says {found} among {[float(x) for x in grid]}"
                )


def _around(claimed: float | None, coarse: Any, direction: str) -> tuple[list[Any], int | None]:
    """Grid that shows a claim true: coarse points up to it, one just inside and one just outside.

    Second comes the index of the first point at which the meaning must be gone; None if it must hold everywhere.
    """
    ends = (0, Fraction(0))
    if claimed is None:
        return [x for x in coarse if not math.isinf(float(x)) and float(x) not in ends], None
    sign = 1 if direction == "up" else -1
    exact = Fraction(float(claimed)) if math.isfinite(claimed) else None
    if exact is None:
        return [x for x in coarse if not math.isinf(float(x))], None
    step = max(abs(exact), Fraction(1, 100)) * Fraction(1, 10_000) * sign
    inside = [x for x in coarse if sign * (exact - step - x) > 0] if exact else list(coarse)
    start = coarse[0]
    near = [exact - step] if sign * (exact - step - start) > 0 else []
    grid = [*inside, *near, exact + step]
    return grid, len(grid) - 1


def run(count: int, start: int, jobs: int, drifts: int = 2) -> int:
    """Compare `count` trucks and print what differs; the number of trucks that disagree."""
    began = time.perf_counter()
    total = Outcome(-1)
    bad = 0
    pool = multiprocessing.get_context("spawn").Pool(jobs) if jobs > 1 else None
    seeds = range(start, start + count)
    one_truck = functools.partial(compare, drifts=drifts)
    stream = pool.imap_unordered(one_truck, seeds, 8) if pool else map(one_truck, seeds)
    for done, one in enumerate(stream, 1):
        total.rows += one.rows
        total.exact += one.exact
        total.verdicts += one.verdicts
        total.drifts += one.drifts
        total.skipped += one.skipped
        if one.disagreements:
            bad += 1
            if bad <= 20:
                print(f"seed {one.seed}: {len(one.disagreements)} disagreements")
                for each in one.disagreements[:5]:
                    print("   ", each)
        if done % 500 == 0:
            print(f"  {done} trucks, {bad} disagree, {time.perf_counter() - began:.0f} s", flush=True)
    if pool:
        pool.close()
        pool.join()
    shares = ", ".join(f"{name} {number}" for name, number in total.verdicts.most_common())
    print(
        f"{count} trucks (seeds {start} to {start + count - 1}), {total.rows} situations ({shares}); "
        f"{total.exact / max(total.rows, 1):.1%} exact; {total.drifts} drift budgets "
        f"({total.skipped} skipped as not exact in the checker): {bad} trucks disagree. "
        f"{time.perf_counter() - began:.0f} s"
    )
    return bad


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("count", nargs="?", type=int, default=300)
    parser.add_argument("--seed", type=int, default=0, help="first seed")
    parser.add_argument("--jobs", type=int, default=multiprocessing.cpu_count())
    options = parser.parse_args()
    sys.exit(1 if run(options.count, options.seed, options.jobs) else 0)


if __name__ == "__main__":
    main()
