"""Spans, monotonicity, excursions and slices against full enumeration of all corners."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from pinproof.network.box import Reading, Sources
from pinproof.network.excursion import excursion, excursions
from pinproof.network.intervals import interval_slots, mean_bounds
from pinproof.network.netlist import Netlist, NetworkFault
from pinproof.network.slices import sliced_span
from pinproof.network.solve import Status, node_voltages
from pinproof.network.spans import monotone, span
from pinproof.network.sweep import Sweep


@dataclass
class Case:
    net: Netlist
    low: np.ndarray
    high: np.ndarray
    sources: Sources
    reading: Reading


def random_edge(rng: np.random.Generator, number: int, names: list[str]) -> tuple[str, str, str]:
    a, b = rng.choice(len(names), 2, replace=False)
    return f"e{number}", names[a], names[b]


def random_case(rng: np.random.Generator, kind: int, most_edges: int = 10, situations: int = 2) -> Case:
    """Kind 0: all conductances positive; 1: boxes that end in 0 or inf; 2: fixed opens and shorts as well."""
    inner, rails = int(rng.integers(1, 7)), int(rng.integers(1, 5))
    names = [f"n{i}" for i in range(inner + rails)]
    edges = [random_edge(rng, i, names) for i in range(int(rng.integers(min(4, most_edges), most_edges + 1)))]
    net = Netlist(names, names[inner:], edges)
    shape = (situations, len(edges))
    low = 10.0 ** rng.uniform(-9 if kind == 0 else -4, 2, shape)
    high = low * 10.0 ** rng.uniform(0, 3, shape)
    if kind:
        low[rng.random(shape) < 0.2] = 0.0
        high[rng.random(shape) < 0.15] = np.inf
    if kind == 2:
        fixed = rng.random(shape)
        low[fixed < 0.1], high[fixed < 0.1] = 0.0, 0.0
        low[fixed > 0.95], high[fixed > 0.95] = np.inf, np.inf
    causes = int(rng.integers(0, 4))
    start = rng.uniform(-1, 1, causes)
    gain = rng.normal(size=(rails, causes)) * (rng.random((rails, causes)) < 0.5)
    sources = Sources(
        start, start + rng.uniform(0, 2, causes) * (rng.random(causes) < 0.8), rng.integers(0, 4, rails) * 4.0, gain
    )
    minus = None if rng.random() < 0.6 else str(names[rng.integers(len(names))])
    divisor = None if rng.random() < 0.5 else (10.0, rng.uniform(-0.5, 0.5, causes))
    return Case(net, low, high, sources, Reading("n0", minus, divisor))


def readings_at(case: Case, g: np.ndarray, cause: np.ndarray) -> np.ndarray:
    v = node_voltages(case.net, g, case.sources.rail_v(cause))
    value = v[:, case.net.node_index(case.reading.node)]
    if case.reading.minus is not None:
        value = value - v[:, case.net.node_index(case.reading.minus)]
    return value / case.reading.divisors(case.sources, cause[None])[0]


def all_corners(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    varying = np.flatnonzero(low < high)
    g = np.tile(low, (2**varying.size, 1))
    for bit, edge in enumerate(varying):
        g[:, edge] = np.where((np.arange(len(g)) >> bit) & 1, high[edge], low[edge])
    return g


def enumerated(case: Case, row: int) -> np.ndarray:
    """Readings at every corner of conductances and causes; the potentials are tested against exact arithmetic."""
    g = all_corners(case.low[row], case.high[row])
    return np.array([readings_at(case, g, cause) for cause in case.sources.corners])


def check(case: Case, bits: int = 12) -> int:
    """Compare with full enumeration; returns how many ends were exact."""
    got = span(case.net, case.low, case.high, case.sources, case.reading, enumerate_bits=bits)
    tolerance = 1e-9 * max(float(np.ptp(case.sources.corner_rail_v)), 1e-3)
    exact = 0
    for row in range(len(case.low)):
        values = enumerated(case, row)
        assert (got.status[row] != Status.OK) == np.isnan(values).any()
        if np.isnan(values).all():
            assert np.isnan(got.low[row]) and np.isnan(got.high[row])
            continue
        lowest, highest = np.nanmin(values), np.nanmax(values)
        assert got.low[row] <= lowest + tolerance and got.high[row] >= highest - tolerance
        assert got.inner_low[row] >= lowest - tolerance and got.inner_high[row] <= highest + tolerance
        if got.exact_low[row]:
            assert got.low[row] == pytest.approx(lowest, abs=tolerance)
        if got.exact_high[row]:
            assert got.high[row] == pytest.approx(highest, abs=tolerance)
        exact += int(got.exact_low[row]) + int(got.exact_high[row])
        for corner, cause, value in (
            (got.low_corner_s[row], got.low_cause[row], got.inner_low[row]),
            (got.high_corner_s[row], got.high_cause[row], got.inner_high[row]),
        ):
            assert ((corner == case.low[row]) | (corner == case.high[row])).all()
            assert readings_at(case, corner[None], cause)[0] == pytest.approx(value, abs=tolerance)
    return exact


@pytest.mark.parametrize("kind", [0, 1, 2])
def test_span_equals_full_enumeration(kind: int) -> None:
    """Random multi-terminal networks with bridges; 400 spans of each kind."""
    rng = np.random.default_rng(100 + kind)
    for _ in range(200):
        check(random_case(rng, kind))


@pytest.mark.parametrize("kind", [0, 1, 2])
def test_branch_and_bound_is_sound_and_mostly_exact(kind: int) -> None:
    """The same with enumeration switched off."""
    rng = np.random.default_rng(200 + kind)
    exact = sum(check(random_case(rng, kind, most_edges=12), bits=0) for _ in range(50))
    assert exact >= 100


def test_interval_proofs_are_sound_inside_spans(monkeypatch: pytest.MonkeyPatch) -> None:
    """Forced on from the first open conductance."""
    monkeypatch.setattr("pinproof.network.problems.FEW_OPEN", 0)
    monkeypatch.setattr("pinproof.network.spans.SWEEP_ROWS", 0)
    rng = np.random.default_rng(300)
    for number in range(150):
        check(random_case(rng, number % 3))


def test_spent_budget_gives_an_outer_bracket() -> None:
    """With no rounds at all the bound is the interval bound: sound, not exact, with a gap."""
    rng = np.random.default_rng(400)
    brackets = 0
    for _ in range(120):
        case = random_case(rng, 0, situations=1)
        got = span(case.net, case.low, case.high, case.sources, case.reading, enumerate_bits=0, branch_rounds=0)
        values = enumerated(case, 0)
        if np.isnan(values).all():
            continue
        tolerance = 1e-12 * 20.0
        assert got.low[0] <= np.nanmin(values) + tolerance and got.high[0] >= np.nanmax(values) - tolerance
        assert got.gap[0] >= 0.0
        brackets += not got.exact[0]
    assert brackets > 5


def test_readings_inside_the_box_stay_inside_the_span() -> None:
    rng = np.random.default_rng(500)
    for number in range(60):
        case = random_case(rng, number % 2)
        got = span(case.net, case.low, case.high, case.sources, case.reading)
        for row in range(len(case.low)):
            top = np.where(np.isinf(case.high[row]), np.maximum(case.low[row], 1e-3) * 1e6, case.high[row])
            g = case.low[row] + rng.random((200, top.size)) * (top - case.low[row])
            share = rng.random(case.sources.cause_low.size)
            cause = case.sources.cause_low + share * (case.sources.cause_high - case.sources.cause_low)
            value = readings_at(case, g, cause)
            value = value[~np.isnan(value)]
            if value.size:
                assert got.low[row] - 1e-9 <= value.min() and value.max() <= got.high[row] + 1e-9


def test_monotone_directions_hold_between_random_points() -> None:
    rng = np.random.default_rng(600)
    proven = 0
    for number in range(120):
        case = random_case(rng, number % 3)
        sign = monotone(case.net, case.low, case.high, case.sources, case.reading).sign
        for row in range(len(case.low)):
            top = np.where(np.isinf(case.high[row]), np.maximum(case.low[row], 1e-3) * 1e3, case.high[row])
            with np.errstate(invalid="ignore"):
                g = case.low[row] + rng.random(top.size) * (top - case.low[row])
            g = np.where(np.isinf(case.low[row]), np.inf, g)
            cause = case.sources.corners[rng.integers(len(case.sources.corners))]
            for edge in range(top.size):
                ends = np.tile(g, (2, 1))
                ends[:, edge] = case.low[row, edge], case.high[row, edge]
                change = np.diff(readings_at(case, ends, cause))[0]
                if np.isnan(change):
                    continue
                proven += sign[row, edge] in (-1, 1)
                assert sign[row, edge] != 1 or change >= -1e-12
                assert sign[row, edge] != -1 or change <= 1e-12
                assert sign[row, edge] != 0 or abs(change) <= 1e-12
    assert proven > 200


def slow_signs(
    net: Netlist, edge: int, fixed: tuple[int, ...], rails: str, keep: tuple[int, ...], case: Case, at_v: np.ndarray
) -> np.ndarray:
    """Sign of the drop across an open edge by one interval elimination that keeps its ends; 2 if not proven."""
    plan = net.plan(keep, rails=rails)
    low = [np.zeros(1) if e == edge else case.low[:, e] for e in range(len(net.edges))]
    high = [np.zeros(1) if e == edge else case.high[:, e] for e in range(len(net.edges))]
    slots = interval_slots(plan, low, high)
    bounds = []
    for end in net.ends[edge]:
        held = [i for i, node in enumerate(fixed) if plan.alias[node] == plan.alias[end]]
        if held:
            bounds.append((at_v[:, held[0]], at_v[:, held[0]]))
            continue
        pairs = [slots[s] if (s := plan.slot(end, node)) >= 0 else None for node in fixed]
        both = [(np.zeros(1), np.zeros(1)) if pair is None else pair for pair in pairs]
        bounds.append(mean_bounds([pair[0] for pair in both], [pair[1] for pair in both], at_v))
    (a_least, a_most), (b_least, b_most) = bounds
    higher, lower = (a_least >= b_most).all(axis=-1), (a_most <= b_least).all(axis=-1)
    sign = np.where(higher & lower, 0, np.where(higher, 1, np.where(lower, -1, 2)))
    return np.broadcast_to(sign, (len(case.low),))


def test_sweep_agrees_with_one_elimination_for_each_edge() -> None:
    """Both are sound and may differ in what they prove, but a proven sign cannot contradict the other."""
    rng = np.random.default_rng(700)
    both = 0
    for _ in range(80):
        case = random_case(rng, 0)
        rails = case.net.rail_index
        drop = Sweep(case.net, tuple((rail,) for rail in rails))
        adjoint = Sweep(case.net, ((0,), rails))
        drop.prepare(case.low, case.high)
        adjoint.prepare(case.low, case.high)
        volts = case.sources.corner_rail_v
        inside = node_voltages(case.net, case.low, volts[:1])
        for edge, (a, b) in enumerate(case.net.ends):
            if not (np.abs(inside[:, a] - inside[:, b]) > 1e-9).all():
                continue  # no drop: both would only see rounding
            rows = np.arange(len(case.low))
            slow = slow_signs(case.net, edge, rails, "fixed", (a, b), case, volts)
            pairs = [(drop.signs([edge], rows, volts)[0], slow)]
            if 0 not in rails:
                fed = np.array([[1.0, 0.0]])
                slow = slow_signs(case.net, edge, (0, rails[0]), "merged", (a, b, 0), case, fed)
                pairs.append((adjoint.signs([edge], rows, fed)[0], slow))
            for first, second in pairs:
                known = (first != 2) & (second != 2) & (first != 0) & (second != 0)
                both += int(known.sum())
                assert (first[known] == second[known]).all(), (a, b)
    assert both > 150


def test_more_causes_than_corners_are_listed_for() -> None:
    """Ten varying causes with a shared divisor: compared with all 1024 corners of them."""
    rng = np.random.default_rng(800)
    names = ["pin", "x", "r0", "r1", "r2", "r3"]
    for _ in range(8):
        edges = [random_edge(rng, i, names) for i in range(7)]
        edges.append(("sure", "pin", "r0"))
        net = Netlist(names, names[2:], edges)
        low = 10.0 ** rng.uniform(-3, 0, 8)
        high = low * 10.0 ** rng.uniform(0, 1, 8)
        sources = Sources(np.zeros(10), np.ones(10), rng.uniform(0, 9, 4), rng.normal(size=(4, 10)))
        reading = Reading("pin", "r1", (20.0, rng.normal(size=10)))
        got = span(net, low, high, sources, reading)
        cause = np.array([[i >> bit & 1 for bit in range(10)] for i in range(1024)], dtype=float)
        lows, highs = [], []
        for g in all_corners(low, high):
            # One solve gives the effect of each rail alone.
            part = node_voltages(net, np.tile(g, (4, 1)), np.eye(4))[:, 0] - np.eye(4)[1]
            value = (sources.rail_v(cause) @ part) / reading.divisors(sources, cause)
            lows.append(value.min())
            highs.append(value.max())
        assert got.exact[0]
        assert got.low[0] == pytest.approx(min(lows), abs=1e-9) and got.high[0] == pytest.approx(max(highs), abs=1e-9)


def test_sign_at_the_nominal_point_would_be_wrong() -> None:
    """A bridge whose diagonal current changes direction inside the box: both ends of the diagonal matter."""
    net = Netlist.from_edges(
        ["ref", "gnd"],
        [("a", "ref", "pin"), ("b", "pin", "gnd"), ("c", "ref", "far"), ("d", "far", "gnd"), ("e", "pin", "far")],
    )
    low, high = np.array([1.0, 1.0, 0.5, 0.5, 0.01]), np.array([1.0, 1.0, 2.0, 2.0, 10.0])
    case = Case(net, low[None], high[None], Sources.fixed([5.0, 0.0]), Reading("pin"))
    assert monotone(net, low, high, case.sources, case.reading).sign[0].tolist() == [1, -1, 1, -1, 2]
    assert check(case) == 2


def first_crossing_by_scan(case: Case, row: int, edge: int, level: float, side: str, down: bool) -> float | None:
    """Slow check: at every corner of all others the crossing of a rational function through three solved points."""
    g = all_corners(case.low[row], case.high[row])
    found: list[float] = []
    start = case.low[row, edge] if down else case.high[row, edge]
    goal = 0.0 if down else np.inf
    sign = 1.0 if side == "low" else -1.0
    grid = np.concatenate([[start], start * 10.0 ** np.linspace(0, -14 if down else 14, 60)[1:], [goal]])
    for corner in np.unique(np.delete(g, edge, axis=1), axis=0):
        rows = np.insert(np.tile(corner, (grid.size, 1)), edge, grid, axis=1)
        for cause in case.sources.corners:
            value = sign * readings_at(case, rows, cause)
            below = np.flatnonzero(value <= sign * level)
            if below.size:
                found.append(float(grid[below[0]]))
    if not found:
        return None
    return max(found) if down else min(found)


@pytest.mark.parametrize("side", ["low", "high"])
def test_excursion_of_a_conductance_matches_a_scan(side: str) -> None:
    """The scan brackets the crossing between two grid points; at the answer itself the span reaches the level."""
    rng = np.random.default_rng(900)
    crossed = 0
    for _ in range(100):
        case = random_case(rng, 0, most_edges=6, situations=1)
        case.low = np.maximum(case.low, 1e-4)
        case.high = np.maximum(case.high, case.low)
        values = enumerated(case, 0)
        if np.isnan(values).any():
            continue
        level = float(np.nanmin(values) - 0.3 * np.ptp(values) - 0.01)
        if side == "high":
            level = float(np.nanmax(values) + 0.3 * np.ptp(values) + 0.01)
        for edge in range(len(case.net.edges)):
            for down in (True, False):
                got = excursion(
                    case.net, case.low, case.high, case.sources, case.reading, f"e{edge}",
                    "down" if down else "up", level, side,
                )  # fmt: skip
                want = first_crossing_by_scan(case, 0, edge, level, side, down)
                if want is None:
                    assert got is None or not 1e-12 < got < 1e12
                    continue
                assert got is not None
                step = 10.0 ** (14 / 59) * 1.001
                if 0.0 < want < np.inf and 0.0 < got < np.inf:
                    crossed += 1
                    assert want <= got * (1 + 1e-9) if down else got <= want * (1 + 1e-9)
                    assert got <= want * step if down else want <= got * step
                    at = span(*_moved(case, edge, got), case.sources, case.reading)
                    reached = at.low[0] if side == "low" else at.high[0]
                    assert reached == pytest.approx(level, abs=1e-8)
    assert crossed >= 8


def _moved(case: Case, edge: int, value: float) -> tuple[Netlist, np.ndarray, np.ndarray]:
    low, high = case.low.copy(), case.high.copy()
    low[:, edge] = high[:, edge] = value
    return case.net, low, high


@pytest.mark.parametrize("side", ["low", "high"])
def test_excursion_of_a_cause_matches_spans(side: str) -> None:
    """Just before the answer the span is clear of the level, at the answer it reaches it."""
    rng = np.random.default_rng(1000)
    crossed = 0
    for number in range(150):
        case = random_case(rng, number % 2, most_edges=8, situations=1)
        if not case.sources.cause_low.size or case.reading.divisor is not None:
            continue
        values = enumerated(case, 0)
        if np.isnan(values).any():
            continue
        level = float(values.min() - 0.5) if side == "low" else float(values.max() + 0.5)
        for direction, sign in (("down", -1.0), ("up", 1.0)):
            got = excursion(
                case.net, case.low, case.high, case.sources, case.reading, 0, direction, level, side
            )  # fmt: skip
            start = case.sources.cause_high[0] if sign > 0 else case.sources.cause_low[0]
            for share in (0.25, 0.5, 0.999, 1.0):
                far = start + sign * 30.0 if got is None else start + share * (got - start)
                at = _end_at(case, far, side)
                clear = at > level + 1e-9 if side == "low" else at < level - 1e-9
                assert clear == (got is None or share < 1.0)
            if got is not None:
                crossed += 1
                assert _end_at(case, got, side) == pytest.approx(level, abs=1e-8)
    assert crossed > 10


def _end_at(case: Case, value: float, side: str) -> float:
    low, high = case.sources.cause_low.copy(), case.sources.cause_high.copy()
    low[0] = high[0] = value
    sources = Sources(low, high, case.sources.base_v, case.sources.gain)
    got = span(case.net, case.low, case.high, sources, case.reading)
    return float(got.low[0] if side == "low" else got.high[0])


def test_excursions_of_many_situations_and_levels_agree_with_single_ones() -> None:
    rng = np.random.default_rng(1100)
    for _ in range(10):
        case = random_case(rng, 1, situations=5)
        levels = [1.0, 3.0, 7.0]
        for side in ("low", "high"):
            for parameter in ["e0", *range(case.sources.cause_low.size)]:
                many = excursions(case.net, case.low, case.high, case.sources, case.reading, parameter, levels, side)
                for row in range(5):
                    for number, level in enumerate(levels):
                        for direction, table in (("down", many.falling), ("up", many.rising)):
                            one = excursion(
                                case.net, case.low[row], case.high[row], case.sources, case.reading, parameter,
                                direction, level, side,
                            )  # fmt: skip
                            value = table[row, number]
                            assert np.isnan(value) if one is None else value == pytest.approx(one, rel=1e-12)


def test_known_excursion_pull_up_and_path() -> None:
    """5 V, 1000 ohm pull-up, 1000 ohm path: 4 V needs 4000 ohm, so 3000 ohm of added resistance (divider rule)."""
    net = Netlist.from_edges(["ref", "gnd"], [("pull", "ref", "pin"), ("path", "pin", "gnd")])
    box, sources, reading = [1e-3, 1e-3], Sources.fixed([5.0, 0.0]), Reading("pin")
    down = excursion(net, box, box, sources, reading, "path", "down", 4.0, "high")
    up = excursion(net, box, box, sources, reading, "path", "up", 1.0, "low")
    assert down is not None and 1.0 / down == pytest.approx(4000.0)
    assert up is not None and 1.0 / up == pytest.approx(250.0)
    assert excursion(net, box, box, sources, reading, "path", "up", 4.0, "high") is None
    assert excursion(net, box, box, sources, reading, "path", "down", 5.0, "high") == 0.0
    assert excursion(net, box, box, sources, reading, "path", "up", 0.0, "low") == np.inf
    assert excursion(net, box, box, sources, reading, "path", "down", 2.0, "high") == 1e-3


def test_sliced_span_finds_a_peak_inside_the_range() -> None:
    """Two ratios that move against each other: 1/(2+t) + ... has its best value inside, at neither end."""
    net = Netlist.from_edges(["ref", "gnd"], [("a", "ref", "x"), ("b", "x", "pin"), ("c", "pin", "gnd")])

    def box_at(t0: float, t1: float) -> tuple[np.ndarray, np.ndarray]:
        # a rises with the cause and b falls: the series of both peaks at t = 0.
        return np.array([1.0 + t0, 1.0 - t1, 1.0]), np.array([1.0 + t1, 1.0 - t0, 1.0])

    sources, reading = Sources.fixed([5.0, 0.0]), Reading("pin")
    got = sliced_span(net, box_at, -0.5, 0.6, sources, reading, slices=3, gap=1e-3, most_slices=400)
    t = np.linspace(-0.5, 0.6, 20001)
    series = 1.0 / (1.0 / (1.0 + t) + 1.0 / (1.0 - t))
    value = 5.0 * series / (series + 1.0)
    assert got.span.low[0] <= value.min() + 1e-12 and got.span.high[0] >= value.max() - 1e-12
    assert got.span.gap[0] <= 1e-3
    assert got.span.inner_high[0] == pytest.approx(value.max(), abs=1e-3)
    assert abs(got.high_at[0]) < 0.1
    coarse = sliced_span(net, box_at, -0.5, 0.6, sources, reading, slices=1, most_slices=1)
    assert coarse.span.gap[0] > got.span.gap[0] and not coarse.span.exact[0]


def test_faults_of_a_box() -> None:
    net = Netlist.from_edges(["ref", "gnd"], [("pull", "ref", "pin"), ("path", "pin", "gnd")])
    with pytest.raises(NetworkFault, match="edge path: low 2 S above high 1 S"):
        span(net, [1, 2], [1, 1], Sources.fixed([5, 0]), Reading("pin"))
    with pytest.raises(NetworkFault, match="falls to -1"):
        span(net, [1, 1], [1, 1], Sources([0], [2], [5, 0], [[0], [0]]), Reading("pin", None, (1.0, [-1.0])))
    with pytest.raises(NetworkFault, match="one for each rail"):
        span(net, [1, 1], [1, 1], Sources.fixed([5]), Reading("pin"))
