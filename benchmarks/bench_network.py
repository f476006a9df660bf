"""Network engine against dense baselines, in one run: ratios, not absolute times, are what may be quoted.

    python benchmarks/bench_network.py [--quick]

Baselines: all corners of the box (or all samples) by `numpy.linalg.solve` on stacked nodal matrices, assembled by one
matrix product, all corners of the causes by right-hand sides. Best of several runs each. On a busy machine the threads
of the baseline's matrix product get in each other's way and the ratios come out too large: set OPENBLAS_NUM_THREADS=1.
Unset OPENBLAS_CORETYPE and OPENBLAS_L2_SIZE.
The lines are invented.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from pinproof.network.box import Reading, Sources
from pinproof.network.excursion import excursions
from pinproof.network.netlist import Netlist
from pinproof.network.sample import readings_of_samples
from pinproof.network.spans import span

Array = np.ndarray[Any, Any]
Row = dict[str, Any]


class Dense:
    """Nodal analysis by stacked dense solves."""

    def __init__(self, net: Netlist) -> None:
        self.net = net
        free = [n for n in range(len(net.nodes)) if n not in net.rail_index]
        self.place = {node: i for i, node in enumerate(free)}
        self.count = len(free)
        stamp = np.zeros((len(net.edges), self.count, self.count))
        drive = np.zeros((len(net.edges), self.count, len(net.rails)))
        for e, (a, b) in enumerate(net.ends):
            for here, there in ((a, b), (b, a)):
                if here in self.place:
                    stamp[e, self.place[here], self.place[here]] += 1.0
                    if there in self.place:
                        stamp[e, self.place[here], self.place[there]] -= 1.0
                    else:
                        drive[e, self.place[here], net.rail_index.index(there)] += 1.0
        self.stamp = stamp.reshape(len(net.edges), -1)
        self.drive = drive.reshape(len(net.edges), -1)

    def transfer(self, g: Array, node: str) -> Array:
        """(B, r)"""
        matrix = (g @ self.stamp).reshape(-1, self.count, self.count)
        right = (g @ self.drive).reshape(-1, self.count, len(self.net.rails))
        return np.asarray(np.linalg.solve(matrix, right)[:, self.place[self.net.node_index(node)]])

    def sampled(self, g: Array, rail_v: Array, node: str, piece: int = 8192) -> Array:
        out = np.empty(len(g))
        row = self.place[self.net.node_index(node)]
        drive = self.drive.reshape(len(self.net.edges), self.count, -1)
        for start in range(0, len(g), piece):
            part = g[start : start + piece]
            matrix = (part @ self.stamp).reshape(-1, self.count, self.count)
            stamped = (part @ drive.reshape(len(drive), -1)).reshape(len(part), self.count, -1)
            right = np.einsum("bnr,br->bn", stamped, rail_v[start : start + piece])
            out[start : start + piece] = np.linalg.solve(matrix, right[..., None])[:, row, 0]
        return out

    def span(self, low: Array, high: Array, sources: Sources, reading: Reading) -> tuple[float, float]:
        """Lowest and highest reading over all corners of one box."""
        vary = np.flatnonzero(low < high)
        least, most = np.inf, -np.inf
        volts, divisor = sources.corner_rail_v, reading.divisors(sources, sources.corners)
        for start in range(0, 2**vary.size, 8192):
            index = np.arange(start, min(start + 8192, 2**vary.size))
            g = np.tile(low, (index.size, 1))
            g[:, vary] = np.where((index[:, None] >> np.arange(vary.size)) & 1, high[vary], low[vary])
            value = self.transfer(g, reading.node) @ volts.T / divisor
            least, most = min(least, float(value.min())), max(most, float(value.max()))
        return least, most


def timed(work: Callable[[], Any], least_s: float = 0.15) -> tuple[float, Any]:
    """Best time of several runs, after one to warm up."""
    result = work()
    best, spent = np.inf, 0.0
    while spent <= least_s:
        start = time.perf_counter()
        result = work()
        once = time.perf_counter() - start
        best, spent = min(best, once), spent + once
    return best, result


def tapped_line(taps: int, multi: bool) -> Netlist:
    """Pull-up, wires between taps, a resistor and a contact at each; `multi` adds returns and leaks."""
    edges = [("pull", "ref", "pin")]
    for i in range(taps):
        edges.append((f"wire{i}", f"t{i - 1}" if i else "pin", f"t{i}"))
        edges += [(f"res{i}", f"t{i}", f"c{i}"), (f"con{i}", f"c{i}", "ret")]
    edges.append(("return", "ret", "chassis"))
    if not multi:
        return Netlist.from_edges(["ref", "chassis"], edges)
    edges += [("input", "pin", "gnd"), ("leakb", f"t{taps - 1}", "batt"), ("leakp", "pin", "batt")]
    return Netlist.from_edges(["ref", "gnd", "chassis", "batt"], edges)


def line_box(net: Netlist, rng: np.random.Generator, closed: Array, shorts: bool) -> tuple[Array, Array]:
    """Box of conductances; `closed` (S, taps) says which contacts are closed. [S]"""
    rows = len(closed)
    low, high = np.zeros((rows, len(net.edges))), np.zeros((rows, len(net.edges)))
    ohm = {
        "pull": (950.0, 1050.0),
        "return": (0.05, 0.5),
        "input": (9e4, 1e7),
        "leakb": (2e4, 1e7),
        "leakp": (5e4, 1e7),
    }
    for k, edge in enumerate(net.edges):
        if edge.id in ohm:
            least, most = ohm[edge.id]
        elif edge.id.startswith("wire"):
            least, most = 0.1, 1.0
        elif edge.id.startswith("res"):
            value = 300.0 * 1.4 ** int(edge.id[3:]) * float(rng.uniform(0.9, 1.1))
            least, most = value * 0.99, value * 1.01
        else:
            shut = closed[:, int(edge.id[3:])]
            low[:, k] = np.where(shut, 0.2, 0.0 if shorts else 1e-9)
            high[:, k] = np.where(shut, np.inf if shorts else 1e3, 1e-6)
            continue
        low[:, k], high[:, k] = 1.0 / most, 1.0 / least
    return low, high


def line_sources(multi: bool) -> tuple[Sources, Reading]:
    if not multi:
        return Sources([4.9], [5.1], [0.0, 0.0], [[1.0], [0.0]]), Reading("pin")
    gain = [[1.0, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    return Sources([4.9, -0.2, 9.0], [5.1, 0.2, 16.0], [0.0] * 4, gain), Reading("pin", "gnd", (0.0, [1.0, 0, 0]))


def bench_spans(quick: bool) -> list[Row]:
    rows: list[Row] = []
    rng = np.random.default_rng(1)
    cases = [("two-pole, 14 varying", 4, False, 500.0), ("multi-terminal, 14 varying", 3, True, 100.0)]
    for title, taps, multi, target in cases:
        net = tapped_line(taps, multi)
        dense = Dense(net)
        sources, reading = line_sources(multi)
        number = 8 if quick else 2**taps
        closed = (np.arange(number)[:, None] >> np.arange(taps)) & 1 == 1
        low, high = line_box(net, rng, closed, shorts=False)
        base_s, exact_s, worst, exact = 0.0, 0.0, 0.0, 0
        for s in range(number):
            once, want = timed(partial(dense.span, low[s], high[s], sources, reading), 0.0 if quick else 0.15)
            base_s += once
            once, got = timed(partial(span, net, low[s], high[s], sources, reading), 0.02)
            exact_s += once
            worst = max(worst, abs(got.low[0] - want[0]), abs(got.high[0] - want[1]))
            exact += int(got.exact[0])
        rows.append(
            {"what": f"span, one at a time: {title}", "baseline_s": base_s / number, "engine_s": exact_s / number,
             "ratio": base_s / exact_s, "worst_difference": worst, "exact": exact / number}
        )  # fmt: skip
        batch_s, _ = timed(partial(span, net, low, high, sources, reading))
        rows.append(
            {"what": f"span, {number} situations in one call: {title}", "baseline_s": base_s / number,
             "engine_s": batch_s / number, "ratio": base_s / batch_s, "target": target, "worst_difference": worst,
             "exact": exact / number}
        )  # fmt: skip
    return rows


def bench_situations(quick: bool) -> list[Row]:
    """Ten contacts, 35 elements: the first call includes all preparation of a new netlist."""
    rng = np.random.default_rng(2)
    net = tapped_line(10, True)
    sources, reading = line_sources(True)
    closed = (np.arange(1024)[:, None] >> np.arange(10)) & 1 == 1
    low, high = line_box(net, rng, closed, shorts=True)
    start = time.perf_counter()
    got = span(net, low, high, sources, reading)
    first = time.perf_counter() - start
    again, _ = timed(lambda: span(net, low, high, sources, reading), 0.0 if quick else 0.5)
    single, _ = timed(lambda: span(net, low[37], high[37], sources, reading))
    out: list[Row] = [
        {"what": "1024 situations of a ten-contact line, first call", "engine_s": first, "target": 0.5,
         "exact": float(got.exact.mean()), "worst_gap": float(got.gap.max())},
        {"what": "1024 situations of a ten-contact line, again", "engine_s": again, "target": 0.5},
        {"what": "one situation of it alone", "engine_s": single},
    ]  # fmt: skip
    some = slice(0, 1024, 10)
    levels = [0.2, 0.4, 0.6, 0.8]
    parameters: list[str | int] = ["pull", "con0", "con4", "res2", "wire3", "return", "leakb", "leakp", 0, 1, 2]

    def drift() -> None:
        for parameter in parameters:
            excursions(net, low[some], high[some], sources, reading, parameter, levels, "low")

    drift_s, _ = timed(drift, 0.0)
    each = drift_s / (len(parameters) * 2 * len(levels) * len(low[some]))
    out.append(
        {"what": "excursion, each (103 situations, both directions, 4 levels)", "engine_s": each, "target": 1e-3}
    )
    return out


def sample_networks() -> list[tuple[str, Netlist, float]]:
    out: list[tuple[str, Netlist, float]] = []
    for nodes in (5, 10, 20):
        edges = [("in", "ref", "n0")]
        for i in range(nodes):
            edges.append((f"shunt{i}", f"n{i}", "gnd"))
            if i:
                edges.append((f"series{i}", f"n{i - 1}", f"n{i}"))
        out.append((f"ladder, {nodes} nodes", Netlist.from_edges(["ref", "gnd"], edges), 10.0))
        edges = [("in", "ref", "n0")]
        edges += [(f"branch{i}", f"n{(i - 1) // 2}", f"n{i}") for i in range(1, nodes)]
        edges += [(f"end{i}", f"n{i}", "gnd") for i in range(nodes // 2, nodes)]
        out.append((f"tree, {nodes} nodes", Netlist.from_edges(["ref", "gnd"], edges), 10.0))
    for nodes in (5, 10, 20):
        edges = [(f"e{i}-{j}", f"n{i}", f"n{j}") for i in range(nodes) for j in range(i)]
        edges += [(f"up{i}", f"n{i}", "ref") for i in range(nodes)] + [
            (f"down{i}", f"n{i}", "gnd") for i in range(nodes)
        ]
        out.append((f"dense, {nodes} nodes", Netlist.from_edges(["ref", "gnd"], edges), 1.0))
    out.append(("tapped line, 10 contacts", tapped_line(10, True), 1.0))
    return out


def bench_samples(quick: bool) -> list[Row]:
    rows: list[Row] = []
    rng = np.random.default_rng(3)
    for title, net, target in sample_networks():
        count = 100_000 if quick else 1_000_000
        base_count = 30_000 if quick else min(count, 200_000)
        if len(net.edges) > 60:
            count = base_count = min(count, 100_000)
        g = 10.0 ** rng.uniform(-4, -2, (count, len(net.edges)))
        rail_v = rng.uniform(0.0, 5.0, (count, len(net.rails)))
        dense = Dense(net)
        base_s, want = timed(
            partial(dense.sampled, g[:base_count], rail_v[:base_count], net.nodes[0]), 0.0 if quick else 1.0
        )
        engine_s, got = timed(partial(readings_of_samples, net, g, rail_v, net.nodes[0]), 0.0 if quick else 0.3)
        base_s *= 1e6 / base_count
        engine_s *= 1e6 / count
        rows.append(
            {"what": f"a million samples: {title}", "baseline_s": base_s, "engine_s": engine_s,
             "ratio": base_s / engine_s, "target": target,
             "worst_difference": float(np.abs(got[:base_count] - want).max())}
        )  # fmt: skip
    return rows


def main(quick: bool = False) -> list[Row]:
    """All rows; prints a table."""
    rows = bench_spans(quick) + bench_situations(quick) + bench_samples(quick)
    print(f"{'':62} {'baseline':>10} {'engine':>10} {'ratio':>8} {'target':>8} {'exact':>6} {'diff':>8}")
    for row in rows:
        base = f"{row['baseline_s'] * 1e3:.3f} ms" if "baseline_s" in row else ""
        ratio = f"{row['ratio']:.1f}" if "ratio" in row else ""
        exact = f"{row['exact']:.3f}" if "exact" in row else ""
        diff = f"{row['worst_difference']:.0e}" if "worst_difference" in row else ""
        engine = f"{row['engine_s'] * 1e3:.3f} ms"
        print(f"{row['what']:62} {base:>10} {engine:>10} {ratio:>8} {row.get('target', ''):>8} {exact:>6} {diff:>8}")
    return rows


if __name__ == "__main__":
    main(quick="--quick" in sys.argv)
