"""How quick is the choice of resistors, against trying every combination.

Run: ``python benchmarks/bench_choose.py [--full]``. The trucks are invented.

The baseline evaluates combinations in batches through `pinproof.network.span`, the same margins without the search.
Where that would take too long its rate is measured on a sample and the time for all combinations worked out from it.
"""

from __future__ import annotations

import itertools
import sys
import time
from typing import Any

import numpy as np

from pinproof.choose.build import build, sites_of
from pinproof.choose.certificate import Budget
from pinproof.choose.parts import from_series, only_settled
from pinproof.choose.problem import Candidate, Demand, Member, Problem, Spread, Variable
from pinproof.choose.search import solve
from pinproof.design import load
from pinproof.examples import example_path
from pinproof.network.box import Reading, Sources
from pinproof.network.netlist import Netlist
from pinproof.network.spans import span
from pinproof.quantities.preferred import values_between
from pinproof.verdict import Edge, Window, judge_clear, judge_inside
from pinproof.verdict import Reading as Span
from pinproof.wiring import line_view


def parallel_problem(
    contacts: int,
    *,
    series: str = "E96",
    low_ohm: float = 10.0,
    high_ohm: float = 100e3,
    second_source: bool = True,
    leak_ohm: float = 100e3,
    open_ohm: float = 500e3,
    offset_v: float = 0.05,
) -> Problem:
    """Contacts with a resistor each from a pulled-up pin to the return, alone and in every pair, in run and after-run.

    The windows lie round evenly spaced resistances by ratio; every pair must stay clear of all foreign commands.
    """
    pull_ohm = 1000.0
    names = [f"b{i}" for i in range(contacts)]
    edges = [("pull", "reference", "pin"), ("leak_g", "pin", "return")]
    edges += [("wire", "pin", "far"), ("s", "source", "return")]
    if second_source:
        edges.append(("leak_s", "pin", "battery"))
    for name in names:
        edges += [(f"{name}.contact", "source", f"{name}.in"), (f"{name}.r", f"{name}.in", "far")]
    rails = ["reference", "return"] + (["battery"] if second_source else [])
    net = Netlist.from_edges(rails, edges)
    spans_of = {"run": (10.5, 15.5), "after": (11.0, 12.8)} if second_source else {"run": (10.5, 15.5)}
    spaced = np.geomspace(120.0, 15000.0, contacts) if contacts > 3 else np.array([470.0, 1500.0, 4700.0])[:contacts]
    windows = []
    for name, centre in zip(names, spaced, strict=True):
        ends = [at / (at + pull_ohm) for at in (centre * 0.84, centre * 1.16)]
        lower, upper = (Edge(x - 0.003, x + 0.003, x) for x in ends)
        windows.append(Window(name, lower, upper, (ends[1] - ends[0]) / 2.0, "measured", "command"))
    rest = spaced[-1] * 3.0 / (spaced[-1] * 3.0 + pull_ohm)
    idle = Window("idle", Edge(rest - 0.003, rest + 0.003, rest), None, (1.0 - rest) / 2.0, "measured", "idle")
    sets = [(), *((i,) for i in range(contacts)), *itertools.combinations(range(contacts), 2)]
    spreads, demands = [], []
    for state, (least_v, most_v) in spans_of.items():
        low = [4.95, -offset_v, least_v] if second_source else [4.95, -offset_v]
        high = [5.05, offset_v, most_v] if second_source else [5.05, offset_v]
        sources = Sources(low, high, np.zeros(len(low)), np.eye(len(low)))
        reading = Reading("pin", divisor=(0.0, np.eye(len(low))[0]))
        for operated in sets:
            low_s, high_s = np.zeros(len(edges)), np.zeros(len(edges))
            for column, (edge, _, _) in enumerate(edges):
                if edge == "pull":
                    low_s[column], high_s[column] = 1 / (pull_ohm * 1.02), 1 / (pull_ohm * 0.98)
                elif edge == "leak_g":
                    high_s[column] = 1 / leak_ohm
                elif edge == "leak_s":
                    high_s[column] = 1 / (5.0 * leak_ohm)
                elif edge in ("wire", "s"):
                    low_s[column], high_s[column] = 1.0, np.inf
                elif edge.endswith("contact"):
                    closed = names.index(edge.split(".")[0]) in operated
                    low_s[column], high_s[column] = (1 / 5.0, np.inf) if closed else (0.0, 1 / open_ohm)
            label = f"{state}:" + "+".join(names[i] for i in operated)
            spreads.append(Spread(label, (Member(low_s, high_s, sources, reading, 1.0),)))
            if len(operated) < 2:
                wanted = windows[operated[0]] if operated else idle
                demands.append(Demand(label, "inside", len(spreads) - 1, (wanted,)))
            else:
                foreign = tuple(w for i, w in enumerate(windows) if i not in operated)
                demands.append(Demand(label, "clear", len(spreads) - 1, foreign))
    parts = [Candidate(ohm, ohm * 0.98, ohm * 1.02, (f"{ohm:g}",)) for ohm in values_between(series, low_ohm, high_ohm)]
    return Problem(net, tuple(Variable(f"{name}.r", tuple(parts)) for name in names), tuple(spreads), tuple(demands))


def exhaustive_rate(problem: Problem, combinations: int) -> float:
    """Combinations per second that plain enumeration evaluates: spans of every situation, margins not counted."""
    rng = np.random.default_rng(1)
    columns = [problem.net.edge_index(variable.edge) for variable in problem.variables]
    picks = [rng.integers(0, len(variable.candidates), combinations) for variable in problem.variables]
    started = time.perf_counter()
    for spread in problem.spreads:
        for member in spread.members:
            low, high = np.tile(member.low_s, (combinations, 1)), np.tile(member.high_s, (combinations, 1))
            for column, variable, pick in zip(columns, problem.variables, picks, strict=True):
                low[:, column] = 1.0 / variable.high_ohm[pick]
                high[:, column] = 1.0 / variable.low_ohm[pick]
            span(problem.net, low, high, member.sources, member.reading)
    return combinations / (time.perf_counter() - started)


def exhaustive_best(problem: Problem) -> tuple[float, float]:
    """Largest smallest margin by trying every combination, and the seconds it took."""
    started = time.perf_counter()
    sizes = [len(variable.candidates) for variable in problem.variables]
    picks = np.stack([axis.reshape(-1) for axis in np.meshgrid(*map(np.arange, sizes), indexing="ij")], axis=1)
    least = np.full(len(picks), np.inf)
    for demand in problem.demands:
        (member,) = problem.spreads[demand.spread].members
        low, high = np.tile(member.low_s, (len(picks), 1)), np.tile(member.high_s, (len(picks), 1))
        for k, variable in enumerate(problem.variables):
            column = problem.net.edge_index(variable.edge)
            low[:, column] = 1.0 / variable.high_ohm[picks[:, k]]
            high[:, column] = 1.0 / variable.low_ohm[picks[:, k]]
        found = span(problem.net, low, high, member.sources, member.reading)
        judge = judge_inside if demand.how == "inside" else judge_clear
        lows, highs = found.low.clip(0.0, 1.0).tolist(), found.high.clip(0.0, 1.0).tolist()
        margins = [judge(Span.exact(a, b), demand.windows).margin for a, b in zip(lows, highs, strict=True)]
        least = np.minimum(least, margins)
    return float(least.max()), time.perf_counter() - started


def _small_row() -> dict[str, Any]:
    """A case small enough to be tried in full: the two must agree."""
    problem = parallel_problem(3, series="E12", low_ohm=100.0, high_ohm=10e3)
    best, baseline_s = exhaustive_best(problem)
    started = time.perf_counter()
    found = solve(problem)
    engine_s = time.perf_counter() - started
    if abs(found.certificate.upper_bound - best) > 1e-9:
        raise AssertionError(f"the search proved {found.certificate.upper_bound}, trying all gave {best}")
    return {
        "name": "3 resistors, E12 over 2 decades, two sources, two key states",
        "baseline": "every combination, measured",
        "baseline_s": baseline_s,
        "engine_s": engine_s,
        "ratio": baseline_s / engine_s,
        "combinations": problem.assignments,
        "boxes": found.certificate.nodes,
        "proven": found.certificate.optimal,
        "smallest_margin": float(found.levels[0]),
    }


def _row(name: str, problem: Problem, repeats: int, most_s: float = 2.0) -> dict[str, Any]:
    times = []
    for _ in range(repeats):
        started = time.perf_counter()
        found = solve(problem, Budget(seconds=60.0))
        times.append(time.perf_counter() - started)
    rate = exhaustive_rate(problem, 400)
    baseline_s = problem.assignments / rate
    return {
        "name": name,
        "most_s": most_s,
        "baseline": f"every combination at {rate:.0f} per second (extrapolated)",
        "baseline_s": baseline_s,
        "engine_s": float(np.median(times)),
        "ratio": baseline_s / float(np.median(times)),
        "combinations": problem.assignments,
        "boxes": found.certificate.nodes,
        "proven": found.certificate.optimal,
        "smallest_margin": float(found.levels[0]),
    }


def main(quick: bool) -> list[dict[str, Any]]:
    """One row for each case: baseline and engine in seconds, and how many times quicker."""
    repeats = 3 if quick else 9
    return [
        _small_row(),
        _row("3 resistors, E96 over 4 decades, one source", parallel_problem(3, second_source=False), repeats, 0.03),
        _row("3 resistors, E96 over 4 decades, two sources, two key states", parallel_problem(3), repeats, 0.03),
        _row("7 resistors, E96 over 4 decades, all pairs, two sources, no values hold", parallel_problem(7), repeats),
        _row(
            "7 resistors, E96 over 4 decades, all pairs, two sources, dry plug and own ground, values hold",
            parallel_problem(7, leak_ohm=2e6, open_ohm=20e6, offset_v=0.01),
            repeats,
        ),
        _row("example sandpiper: 5 resistors, E96 over 5 decades, supply-fed, two key states", _example(), repeats),
    ]


def _example() -> Problem:
    """The supply-fed example truck: taps fed through the enable contact, a leak to the supply, a feed that drops."""
    truck = load(example_path("sandpiper"))
    view = line_view(truck, "taps")
    options = {
        site.resistor.path: only_settled(from_series(site, "E96", 10.0, 1e6, None)) for site in sites_of(truck, view)
    }
    return build(truck, view.line, options).problem


if __name__ == "__main__":
    for row in main("--full" not in sys.argv):
        print(row)
