"""How quick is the fault dictionary, against solving every fault in every situation anew?

Run: ``python benchmarks/bench_faults.py [--quick]``. The truck is invented: the largest example.

The baseline takes one fault (or pair) in one situation after the other. All corners of its box are solved in one
stacked `numpy.linalg.solve`, with the severity open and shorted and the Thevenin resistance at its ends by further
right-hand sides, all key states and supplies at once; the severities follow in closed form. What it does not know is
which corner is the worst. A second baseline also takes series and parallel parts together first, with the engine's
own code for that: it says what is left when only the search for the worst corner is compared. A baseline is timed on
some tasks, its time for all follows from that; its sets of severities are compared with the engine's. Set
OPENBLAS_NUM_THREADS=1, or threads get in each other's way and flatter the engine. Times are of the processor, not of
the clock, so that other work on the machine does not count.
"""

from __future__ import annotations

import sys
import time
from typing import Any

import numpy as np

from pinproof.design import load
from pinproof.examples import NAMES, example_path
from pinproof.faults.answers import Answer, answers
from pinproof.faults.circuit import Change, acting, box_of, change_of, faulty_view
from pinproof.faults.effects import moving_of
from pinproof.faults.pairs import moving_of_pair, possible_pairs
from pinproof.faults.questions import Questions, causes_of, levels_of, questions_of
from pinproof.faults.sites import sites, whole_view
from pinproof.network.reduce import reduction
from pinproof.wiring import line_view

Array = np.ndarray[Any, Any]
TARGET = 50.0
NEARLY_SHORT, NEARLY_OPEN = 1e4, 1e-11  # more, and the digits of a dense solve are gone


def one_by_one(
    asked: Questions, change: Change, moving: str | None, s: int, merged: bool
) -> tuple[Array, Array, Array, Array]:  # fmt: skip
    """(low p, low q, high p, high q), each (K, 2 W): the sets of one fault in one situation, by brute force."""
    view = faulty_view(asked.view, change.added)
    causes, values = causes_of(asked, view)
    below, above = levels_of(asked, causes, values)
    low, high = (box[0] for box in box_of(view, change, asked.operated[s : s + 1]))
    moves = moving is not None and bool(acting(view, change, moving, asked.operated[s : s + 1])[0])
    edge = view.net.edge_index(moving) if moves and moving is not None else -1
    net, place = view.net, edge
    if merged:
        small = reduction(view.net, [view.net.node_index(view.pin)], [edge] if moves else [])
        low, high, net = small.apply(low[None])[0], small.apply(high[None])[0], small.net
        place = int(small.group[edge]) if moves else -1
    low, high = np.minimum(low, NEARLY_SHORT), np.minimum(high, NEARLY_SHORT)
    varies = np.flatnonzero((low < high) & (np.arange(low.size) != place))
    table = (np.arange(1 << varies.size)[:, None] >> np.arange(varies.size)) & 1 == 1
    g = np.tile(low, (len(table), 1))
    g[:, varies] = np.where(table, high[varies], low[varies])
    free = [n for n in range(len(net.nodes)) if n not in net.rail_index]
    row = {n: i for i, n in enumerate(free)}
    pin = row[net.node_index(view.pin)]
    matrix = np.zeros((len(g), len(free), len(free)))
    right = np.zeros((len(g), len(free), len(net.rails) + 1))
    for column, (a, b) in enumerate(net.ends):
        if column == place:
            continue
        for here, there in ((a, b), (b, a)):
            if here in row:
                matrix[:, row[here], row[here]] += g[:, column]
                if there in row:
                    matrix[:, row[here], row[there]] -= g[:, column]
                else:
                    right[:, row[here], net.rail_index.index(there)] += g[:, column]
    diagonal = np.arange(len(free))
    matrix[:, diagonal, diagonal] += NEARLY_OPEN
    if place >= 0:
        a, b = net.ends[place]
        for node, sign in ((a, 1.0), (b, -1.0)):
            if node in row:
                right[:, row[node], -1] = sign
    solved = np.linalg.solve(matrix, right)
    transfer = solved[:, pin, :-1]
    f_open = transfer @ causes.rail_v.T / causes.divisor
    f_short, seen = f_open, np.full(len(g), np.inf)
    if place >= 0:  # one element more: its effect follows from the unit current through its ends
        unit = np.zeros(len(net.rails))

        def at(node: int) -> tuple[Array, Array]:
            if node in row:
                return solved[:, row[node], :-1], solved[:, row[node], -1]
            one = unit.copy()
            one[net.rail_index.index(node)] = 1.0
            return np.tile(one, (len(g), 1)), np.zeros(len(g))

        (t_a, z_a), (t_b, z_b) = at(a), at(b)
        across = z_a - z_b
        with np.errstate(divide="ignore", invalid="ignore"):
            seen = 1.0 / across
            shorted = transfer - (solved[:, pin, -1] / across)[:, None] * (t_a - t_b)
        f_short = shorted @ causes.rail_v.T / causes.divisor
    out = []
    for sign, levels in ((1.0, below), (-1.0, above)):
        first, last = sign * f_open[..., None], sign * f_short[..., None]
        level = sign * levels.at[0]
        within = np.where(levels.strict, first < level, first <= level)
        within_last = np.where(levels.strict, last < level, last <= level)
        with np.errstate(invalid="ignore", divide="ignore"):
            crossing = seen[:, None, None] * ((level - first) / (last - level))
        p = np.where(within, np.where(within_last, np.inf, crossing), -1.0).max(axis=0)
        q = np.where(within_last, np.where(within, 0.0, crossing), np.inf).min(axis=0)
        out += [np.maximum.reduceat(p, causes.starts), np.minimum.reduceat(q, causes.starts)]
    return out[0], out[1], out[2], out[3]


def differ(answer: Answer, s: int, want: tuple[Array, Array, Array, Array]) -> int:
    """Number of sets that are not the same: ends compared to a thousandth where they lie in 1 nS … 1 S."""
    wrong = 0
    for name, truth, empty in zip(("low_p", "low_q", "high_p", "high_q"), want, (-1.0, np.inf) * 2, strict=True):
        got = getattr(answer, name)[0, s]
        got = np.where(np.isnan(got), empty, got)
        inside = (truth > 1e-9) & (truth < 1.0)
        wrong += int((inside & ~np.isclose(got, truth, rtol=1e-3)).sum())
    return wrong


def bench(what: str, asked: Questions, tasks: list[tuple[Change, str | None]], some: int) -> list[dict[str, Any]]:
    """All tasks by the engine, some by the two baselines: one row for each."""
    rng = np.random.default_rng(1)
    changes, moving = [each[0] for each in tasks], [each[1] for each in tasks]
    start = time.process_time()
    found = answers(asked, changes, moving)
    engine_s = time.process_time() - start
    situations = len(asked.situations)
    picked = [(int(n), int(s)) for n, s in zip(rng.integers(0, len(tasks), some), rng.integers(0, situations, some),
                                              strict=True)]  # fmt: skip
    count = len(tasks) * situations
    rows = []
    for merged, title, target in ((False, "", TARGET), (True, "; baseline with parts merged as the engine does", None)):
        one_by_one(asked, changes[0], moving[0], 0, merged)
        start = time.process_time()
        wanted = [one_by_one(asked, changes[n], moving[n], s, merged) for n, s in picked]
        each_s = (time.process_time() - start) / some
        wrong = sum(differ(found[n], s, want) for (n, s), want in zip(picked, wanted, strict=True))
        ratio = each_s * count / engine_s
        rows.append({
            "what": what + title,
            "baseline": f"{each_s * count:.3g} s", "engine": f"{engine_s:.2f} s", "ratio": f"{ratio:.3g} ×",
            "target": "–" if target is None else f"≥ {target:g} ×",
            "met": "NO" if wrong or ratio < (target or 0.0) else "yes" if target is not None else "–",
            "note": f"processor time; {count} fault situations, baseline timed on {some}; {wrong} sets of severities "
            "differ",
        })  # fmt: skip
    return rows


def main(quick: bool = False) -> list[dict[str, Any]]:
    """All rows."""
    views = [line_view(truck, line) for truck in map(load, map(example_path, NAMES)) for line in truck.lines]
    asked = max((questions_of(whole_view(view)) for view in views if view.is_complete), key=lambda q: len(q.situations))
    changes = [change_of(asked.view, fault) for fault in sites(asked.view)]
    singles = [(change, moving_of(change)) for change in changes]
    pairs = []
    for i, j in possible_pairs(changes):
        both = changes[i].with_(changes[j])
        first, second = moving_of_pair(both)
        pairs += [(both, one) for one in dict.fromkeys((first, second))]
    if quick:
        pairs = [pairs[n] for n in np.random.default_rng(2).choice(len(pairs), 200, replace=False)]
    some = 20 if quick else 60
    name = asked.view.truck.name
    return [
        *bench(f"single faults of {name}, severities included", asked, singles, some),
        *bench(f"pairs of faults of {name}, severities of each included", asked, pairs, some),
    ]


if __name__ == "__main__":
    for line in main(quick="--quick" in sys.argv):
        print(line)
