"""Rare paths of the network engines: crossings where corners are too many to list, bounds of means, refusals."""

from __future__ import annotations

import importlib
import math
from typing import Any

import numpy as np
import pytest

from pinproof.network.box import Reading, Sources
from pinproof.network.corners import Evaluator
from pinproof.network.excursion import excursions
from pinproof.network.intervals import mean_bounds
from pinproof.network.netlist import Netlist, NetworkFault
from pinproof.network.problems import problems_of
from pinproof.network.slices import sliced_span
from pinproof.network.solve import Status, node_voltages, transfer
from pinproof.network.spans import span
from tests.first_principles.test_network_spans import Case, all_corners, enumerated, random_case, random_edge

MODULE = importlib.import_module("pinproof.network.excursion")  # the package's name `excursion` is the function

# crossings of a cause where not all corners can be listed


@pytest.mark.parametrize("side", ["low", "high"])
def test_a_crossing_is_the_same_where_corners_are_too_many_to_list(side: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Listing switched off: then the answer is found by halving on spans, and must be that of all corners."""
    rng = np.random.default_rng(1200)
    found = halved = already = never = 0
    for number in range(60):
        case = random_case(rng, number % 2, most_edges=8, situations=2)
        values = [enumerated(case, row) for row in range(2)]
        if not case.sources.cause_low.size or any(np.isnan(each).any() for each in values):
            continue
        lowest, highest = min(each.min() for each in values), max(each.max() for each in values)
        levels = [lowest - 0.5, lowest + 0.1, lowest - 2.0] if side == "low" else [highest + 0.5, highest - 0.1, 9e9]
        ask = (case.net, case.low, case.high, case.sources, case.reading, 0, levels, side)
        listed = excursions(*ask)
        assert listed.exact.all()
        with monkeypatch.context() as patch:
            patch.setattr(MODULE, "BITS", 0)
            other = excursions(*ask)
        assert other.exact.all()  # the spans at the points are exact, so is what rests on them
        for one, two in ((listed.falling, other.falling), (listed.rising, other.rising)):
            assert (np.isnan(one) == np.isnan(two)).all()
            met = ~np.isnan(one)
            np.testing.assert_allclose(two[met], one[met], rtol=1e-7, atol=1e-7)
            found += int(met.sum())
            never += int((~met).sum())
        halved += 1
        already += int((listed.rising == case.sources.cause_high[0]).sum())
    assert halved > 15 and found > 60 and already > 5 and never > 15


def test_a_level_that_nobody_asks_for_has_no_crossing(monkeypatch: pytest.MonkeyPatch) -> None:
    """NaN among the levels is an empty place. A pin on a divider of two equal resistors: 5 V and x give (5 + x) / 2."""
    net = Netlist.from_edges(["ref", "ret"], [("a", "ref", "pin"), ("b", "pin", "ret")])
    sources = Sources([0.0], [0.5], [5.0, 0.0], [[0.0], [1.0]])
    for bits in (12, 0):
        with monkeypatch.context() as patch:
            patch.setattr(MODULE, "BITS", bits)
            got = excursions(net, [1e-3, 1e-3], [2e-3, 1e-3], sources, Reading("pin"), 0, [math.nan, 4.0], "high")
        assert np.isnan(got.rising[0, 0]) and np.isnan(got.falling[0, 0])
        # highest with a at 2 mS: (2 · 5 + x) / 3 = 4 at x = 2
        assert got.rising[0, 1] == pytest.approx(2.0, abs=1e-9)
        with monkeypatch.context() as patch:
            patch.setattr(MODULE, "BITS", bits)
            got = excursions(net, [1e-3, 1e-3], [2e-3, 1e-3], sources, Reading("pin"), 0, [2.0], "low")
        # lowest with a at 1 mS: (5 + x) / 2 = 2 at x = -1
        assert got.falling[0, 0] == pytest.approx(-1.0, abs=1e-9)


# rail potentials of each situation


def worst_of(net: Netlist, reading: Reading, g: np.ndarray, rail_v: np.ndarray, side: int) -> float:
    """Lowest (side 0) or highest reading over conductance corners (N, m) and rail potentials (C, r)."""
    part = transfer(net, g, reading.node)
    if reading.minus is not None:
        part = part - transfer(net, g, reading.minus)
    values = part @ rail_v.T
    return float(values.min() if side == 0 else values.max())


@pytest.mark.parametrize("minus", [None, "r1", "n1"])
def test_what_is_proven_for_the_rails_of_each_situation_loses_no_extreme(
    minus: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each situation has rail potentials of its own, and its own box. What is left to try must still hold the worst of
    all corners; each situation is proven as if it were alone, and proofs by intervals leave fewer than the graph."""
    monkeypatch.setattr("pinproof.network.problems.FEW_OPEN", 0)
    rng = np.random.default_rng(1500)
    names = ["n0", "n1", "n2", "r0", "r1", "r2"]
    reading = Reading("n0", minus)
    before = after = opened = 0
    for _ in range(25):
        held = [("hold", "n0", "r0"), ("second", "n1", "r1"), ("third", "n2", "r2")]
        net = Netlist(names, names[3:], [*held, *(random_edge(rng, i, names) for i in range(6))])
        low = 10.0 ** rng.uniform(-3, 0, (3, 9))
        high = low * 10.0 ** rng.uniform(0, 0.8, (3, 9))
        rail_v = rng.uniform(-1, 1, (3, 4, 3)) + rng.choice([0.0, 5.0, 12.0], (3, 1, 3))
        sources = Sources.fixed([0.0, 0.0, 0.0])
        work = problems_of(net, reading, sources, low, high, enumerate_rows=0, rail_v=rail_v)
        plain = problems_of(net, reading, sources, low, high, enumerate_rows=1 << 40, rail_v=rail_v)
        assert work.situation.tolist() == [0, 0, 1, 1, 2, 2] and work.side.tolist() == [0, 1] * 3
        before += int(plain.bits().sum())
        after += int(work.bits().sum())
        opened += int((plain.bits() > 0).sum())
        for s in range(3):
            alone = problems_of(
                net, reading, sources, low[s : s + 1], high[s : s + 1], enumerate_rows=0, rail_v=rail_v[s : s + 1]
            )
            assert work.bits()[work.situation == s].tolist() == alone.bits().tolist()
            everywhere = all_corners(low[s], high[s])
            for problem in np.flatnonzero(work.situation == s).tolist():
                side = int(work.side[problem])
                least, most = work.boxes(np.array([problem]))
                tried = all_corners(least[0], most[0])
                assert len(tried) == 2 ** int(work.bits()[problem])
                found = worst_of(work.net, reading, tried, rail_v[s], side)
                true = worst_of(net, reading, everywhere, rail_v[s], side)
                assert found == pytest.approx(true, abs=1e-10), (s, side)
    assert opened > 20 and after < 0.9 * before


@pytest.mark.parametrize("few", [0, 100])
@pytest.mark.parametrize("minus", [None, "n1"])
def test_what_is_proven_with_an_edge_left_alone_holds_wherever_that_is_set(
    few: int, minus: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault's edge comes from nothing to a short: at each size what is left to try still holds the worst corner. One
    edge is not there at all, one goes from a node to itself."""
    monkeypatch.setattr("pinproof.network.problems.FEW_OPEN", few)
    rng = np.random.default_rng(1550)
    names = ["n0", "n1", "n2", "r0", "r1"]
    reading = Reading("n0", minus)
    sources = Sources.fixed([5.0, 0.0])
    for number in range(12):
        held = [("hold", "n0", "r0"), ("second", "n1", "r1"), ("third", "n2", "r1")]
        fault = ("fault", "n2", ["n0", "n1", "r0", "n2"][number % 4])
        net = Netlist(names, names[3:], [*held, fault, *(random_edge(rng, i, names) for i in range(4))])
        low = 10.0 ** rng.uniform(-2, 0, (2, 8))
        high = low * 10.0 ** rng.uniform(0, 1, (2, 8))
        low[:, 3] = high[:, 3] = 0.0
        low[:, 4] = high[:, 4] = 0.0
        work = problems_of(net, reading, sources, low, high, enumerate_rows=0, whole=(3,))
        column = int(work.small.group[3])
        assert (column < 0) is (fault[1] == fault[2])
        for problem in range(len(work.side)):
            s, side = int(work.situation[problem]), int(work.side[problem])
            least, most = work.boxes(np.array([problem]))
            for size in (0.0, 1e-3, 0.3, 20.0):
                if column >= 0:
                    assert (least[0, column], most[0, column]) == (0.0, np.inf)
                    least[0, column] = most[0, column] = size
                everywhere = all_corners(low[s], high[s])
                everywhere[:, 3] = size
                found = worst_of(work.net, reading, all_corners(least[0], most[0]), np.array([[5.0, 0.0]]), side)
                assert found == pytest.approx(
                    worst_of(net, reading, everywhere, np.array([[5.0, 0.0]]), side), abs=1e-10
                )
                if column >= 0:
                    least[0, column], most[0, column] = 0.0, np.inf


# bounds over sub-boxes


@pytest.mark.parametrize("causes", [3, 10])
@pytest.mark.parametrize("minus", [None, "r1", "n1"])
def test_an_outer_bound_holds_for_every_point_of_the_box(causes: int, minus: str | None) -> None:
    """Ten causes are too many to list; rails of either sign, a divisor that moves with the causes."""
    rng = np.random.default_rng(1300 + causes)
    names = ["n0", "n1", "n2", "r0", "r1", "r2"]
    used = 0.0
    for _ in range(12):
        net = Netlist(names, names[3:], [("hold", "n0", "r0"), *(random_edge(rng, i, names) for i in range(7))])
        low = 10.0 ** rng.uniform(-3, 0, 8)
        high = low * 10.0 ** rng.uniform(0, 1.5, 8)
        sources = Sources(np.zeros(causes), np.ones(causes), rng.uniform(-6, 6, 3), rng.normal(size=(3, causes)))
        reading = Reading("n0", minus, (25.0, rng.normal(size=causes)))
        index = None if minus is None else net.node_index(minus)
        evaluator = Evaluator(net, net.node_index("n0"), index, sources, reading)
        least, most = (float(evaluator.outer(low[None], high[None], side)[0]) for side in (0, 1))
        g = np.where(rng.random((40, 8)) < 0.7, np.where(rng.random((40, 8)) < 0.5, low, high), rng.uniform(low, high))
        for cause in (rng.random((6, causes)) < 0.5).astype(float):
            volts = node_voltages(net, g, sources.rail_v(cause))
            value = volts[:, 0] - (volts[:, index] if index is not None else 0.0)
            value = value / reading.divisors(sources, cause[None])[0]
            value = value[~np.isnan(value)]
            if not value.size:
                continue  # nothing holds n1
            assert least - 1e-12 <= value.min() and value.max() <= most + 1e-12
            used = max(used, (value.max() - value.min()) / (most - least))
    assert used > 0.25  # the bounds are not merely wide


def test_a_bracket_is_no_wider_than_the_rails() -> None:
    """With neither corners nor rounds allowed what is left is a bound; a pin still lies between its rails."""
    rng = np.random.default_rng(1400)
    brackets = {0: 0, 1: 0}
    for _ in range(150):
        case = random_case(rng, 0, situations=1)
        plain = Reading(case.reading.node)
        got = span(case.net, case.low, case.high, case.sources, plain, enumerate_bits=0, branch_rounds=0)
        if np.isnan(got.low[0]):
            continue
        volts = case.sources.corner_rail_v
        assert volts.min() - 1e-9 <= got.low[0] <= got.inner_low[0] + 1e-9
        assert got.inner_high[0] - 1e-9 <= got.high[0] <= volts.max() + 1e-9
        brackets[0] += not got.exact_low[0]
        brackets[1] += not got.exact_high[0]
    assert min(brackets.values()) > 3


def test_a_bracket_holds_for_every_order_of_the_rails_however_poor_its_start(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rails that can change places. Not one corner is searched for, and no sub-box split: the bound alone is told."""

    def first_corner(evaluator: Any, base: Any, open_edges: Any, low: Any, high: Any, side: int) -> Any:
        here = np.where(open_edges, low, base)
        value, cause = evaluator.at(here[None], side)
        return float(value[0]), here, cause[0]

    monkeypatch.setattr("pinproof.network.branch._climb", first_corner)
    rng = np.random.default_rng(1450)
    names = ["n0", "n1", "n2", "r0", "r1", "r2"]
    brackets = beyond = 0
    for _ in range(40):
        held = [("hold", "n0", "r0"), ("second", "n1", "r1"), ("third", "n2", "r2")]
        net = Netlist(names, names[3:], [*held, *(random_edge(rng, i, names[:3]) for i in range(4))])
        low = 10.0 ** rng.uniform(-2, 0, 7)
        high = low * 10.0 ** rng.uniform(0, 1.5, 7)
        case = Case(net, low[None], high[None], Sources.ranges([4.0, 3.0, 2.0], [6.0, 7.0, 8.0]), Reading("n0", "n1"))
        values = enumerated(case, 0)
        got = span(net, low, high, case.sources, case.reading, enumerate_bits=0, branch_rounds=0)
        assert got.low[0] <= values.min() + 1e-9 and got.high[0] >= values.max() - 1e-9
        for sure, told, true in (
            (got.exact_low[0], got.low[0], values.min()),
            (got.exact_high[0], got.high[0], values.max()),
        ):
            assert not sure or told == pytest.approx(true, abs=1e-9)
            brackets += not sure
        beyond += bool(got.inner_low[0] > values.min() + 1e-6) + bool(got.inner_high[0] < values.max() - 1e-6)
    assert brackets > 20 and beyond > 10


# bounds of a weighted mean


def test_a_mean_of_equal_volts_is_that_voltage() -> None:
    low, high = [np.array(0.5), np.array(0.0)], [np.array(2.0), np.array(3.0)]
    least, most = mean_bounds(low, high, np.array([[4.0, 4.0], [1.0, 5.0]]))
    assert (least[0], most[0]) == (4.0, 4.0)
    # weights 0.5 to 2 at 1 V, 0 to 3 at 5 V: least with none at 5 V, most with 3 at 5 V and 0.5 at 1 V
    assert least[1] == pytest.approx(1.0)
    assert most[1] == pytest.approx((3.0 * 5.0 + 0.5 * 1.0) / 3.5)
    never = mean_bounds([np.array(0.0)] * 2, [np.array(0.0)] * 2, np.array([[1.0, 5.0]]))
    assert (never[0][0], never[1][0]) == (-np.inf, np.inf)


def test_a_mean_is_that_of_what_is_shorted() -> None:
    """1 V behind 0.5 S or more, 5 V behind 1 to 3 S: the first may be a short."""
    volts = np.array([[1.0, 5.0]])
    least, most = mean_bounds([np.array(0.5), np.array(1.0)], [np.array(np.inf), np.array(3.0)], volts)
    assert least[0] == 1.0
    assert most[0] == pytest.approx((0.5 * 1.0 + 3.0 * 5.0) / 3.5)
    least, most = mean_bounds([np.array(0.5), np.array(1.0)], [np.array(2.0), np.array(np.inf)], volts)
    assert least[0] == pytest.approx((2.0 * 1.0 + 1.0 * 5.0) / 3.0)
    assert most[0] == 5.0
    least, most = mean_bounds([np.array(np.inf), np.array(1.0)], [np.array(np.inf), np.array(3.0)], volts)
    assert (least[0], most[0]) == (1.0, 1.0)
    least, most = mean_bounds([np.array(np.inf)] * 2, [np.array(np.inf)] * 2, volts)
    assert (least[0], most[0]) == (1.0, 5.0)  # which of two shorts wins is not said


# refusals


@pytest.mark.parametrize("wrong", [-1.0, -1e-300, np.nan, -np.inf])
@pytest.mark.parametrize("place", [0, 1, 2])
def test_one_conductance_below_zero_is_refused_wherever_it_stands(place: int, wrong: float) -> None:
    net = Netlist.from_edges(["ref", "ret"], [("a", "ref", "pin"), ("b", "pin", "ret"), ("c", "pin", "ret")])
    g = np.array([1e-3, 2e-3, 3e-3])
    assert node_voltages(net, g, [6.0, 0.0])[0, net.node_index("pin")] == pytest.approx(1.0)
    g[place] = wrong
    with pytest.raises(NetworkFault, match=f"edge {'abc'[place]}: "):
        node_voltages(net, [[1e-3] * 3, g], [6.0, 0.0])


def test_a_cause_that_is_not_there_is_refused() -> None:
    net = Netlist.from_edges(["ref", "ret"], [("a", "ref", "pin"), ("b", "pin", "ret")])
    sources = Sources([0.0], [0.5], [5.0, 0.0], [[0.0], [1.0]])
    for parameter in (1, -1):
        with pytest.raises(NetworkFault, match=f"cause {parameter}.*0 to 0"):
            excursions(net, [1e-3, 1e-3], [2e-3, 1e-3], sources, Reading("pin"), parameter, [4.0], "high")


def test_a_divisor_needs_one_gain_for_each_cause() -> None:
    sources = Sources([0.0, 1.0], [0.0, 2.0], [5.0], [[0.0, 1.0]])
    right = Reading("pin", None, (2.0, [0.5, -0.25])).divisors(sources, np.array([[2.0, 4.0], [0.0, 0.0]]))
    assert right.tolist() == [2.0, 2.0]
    with pytest.raises(NetworkFault, match="1 gains.*2, one per cause"):
        Reading("pin", None, (2.0, [0.5])).divisors(sources, sources.corners)


def test_of_names_listed_twice_only_those_are_told() -> None:
    with pytest.raises(NetworkFault, match=": b listed more than once"):
        Netlist(["a", "b", "c", "b"], ["a"], [])
    with pytest.raises(NetworkFault, match=": r, s listed more than once"):
        Netlist.from_edges(["g"], [("s", "p", "g"), ("r", "p", "g"), ("r", "p", "g"), ("t", "p", "g"), ("s", "p", "g")])


@pytest.mark.parametrize(
    ("first", "last", "slices", "most", "what"),
    [
        (-np.inf, 1.0, 4, 64, "tied cause: -inf to 1"),
        (0.0, np.inf, 4, 64, "tied cause: 0.* to inf"),
        (np.nan, 1.0, 4, 64, "tied cause: nan to 1"),
        (0.0, np.nan, 4, 64, "tied cause: 0.* to nan"),
        (1.0, 0.5, 4, 64, "tied cause: 1.* to 0.5"),
        (0.0, 1.0, 0, 64, "slices: 0 to 64"),
        (0.0, 1.0, 4, 3, "slices: 4 to 3"),
    ],
)
def test_a_tied_cause_needs_two_ends_and_slices(first: float, last: float, slices: int, most: int, what: str) -> None:
    net = Netlist.from_edges(["ref", "ret"], [("a", "ref", "pin"), ("b", "pin", "ret")])

    def box_at(t0: float, t1: float) -> tuple[list[float], list[float]]:
        return [1.0 + t0, 1.0], [1.0 + t1, 1.0]

    sources, reading = Sources.fixed([5.0, 0.0]), Reading("pin")
    with pytest.raises(NetworkFault, match=what):
        sliced_span(net, box_at, first, last, sources, reading, slices=slices, most_slices=most)
    one = sliced_span(net, box_at, 0.5, 0.5, sources, reading, slices=1, most_slices=1)
    assert (one.span.low[0], one.span.high[0]) == (3.0, 3.0)  # 1.5 S to 5 V, 1 S to 0 V
    whole = sliced_span(net, box_at, 0.0, 1.0, sources, reading, slices=1, most_slices=1)
    assert (whole.span.low[0], whole.span.high[0]) == (2.5, pytest.approx(10.0 / 3.0))
    assert (whole.low_at[0], whole.high_at[0]) == (0.0, 1.0)


def test_a_net_without_rails_has_no_reading() -> None:
    net = Netlist(["pin", "far"], [], [("wire", "pin", "far")])
    got = span(net, [[1.0], [2.0]], [[1.0], [3.0]], Sources.fixed([]), Reading("pin"))
    assert np.isnan([got.low, got.high, got.inner_low, got.inner_high]).all()
    assert not got.exact.any()
    assert (got.status == Status.FLOATING).all()
    assert got.low_corner_s.shape == (2, 1)


@pytest.mark.parametrize(
    ("low", "high", "base", "gain", "said"),
    [
        ([0.0], [1.0], [np.inf, 0.0], [[1.0], [0.0]], "not a finite number"),
        ([0.0], [1.0], [5.0, 0.0], [[np.nan], [0.0]], "not a finite number"),
        ([0.0], [np.inf], [5.0, 0.0], [[1.0], [0.0]], "equal lengths, low not above high"),
        ([np.nan], [1.0], [5.0, 0.0], [[1.0], [0.0]], "equal lengths, low not above high"),
        ([2.0], [1.0], [5.0, 0.0], [[1.0], [0.0]], "equal lengths, low not above high"),
        ([0.0, 0.0], [1.0], [5.0, 0.0], [[1.0], [0.0]], "equal lengths, low not above high"),
        ([0.0], [1.0], [5.0, 0.0], [[1.0, 2.0, 3.0], [0.0, 1.0, 1.0]], r"gain: shape \(2, 3\)"),
    ],
)
def test_sources_that_are_no_numbers_or_do_not_fit_are_refused(
    low: list[float], high: list[float], base: list[float], gain: list[list[float]], said: str
) -> None:
    with pytest.raises(NetworkFault, match=said):
        Sources(low, high, base, gain)


@pytest.mark.parametrize("rows", [1, 24, 25, 60])
def test_a_short_that_is_sure_is_one_in_few_situations_and_in_many(rows: int) -> None:
    """1 kΩ to 5 V, a wire without resistance, then 1 kΩ, 2 kΩ, … to ground: 5 V · n / (n + 1)."""
    edges = [("pull", "ref", "pin"), ("wire", "pin", "far"), ("tap", "far", "gnd")]
    net = Netlist.from_edges(["ref", "gnd"], edges)
    number = np.arange(1.0, rows + 1.0)
    g = np.stack([np.full(rows, 1e-3), np.full(rows, np.inf), 1e-3 / number], axis=1)
    got = span(net, g, g, Sources.fixed([5.0, 0.0]), Reading("pin"))
    assert got.exact.all()
    np.testing.assert_allclose(got.low, 5.0 * number / (number + 1.0), rtol=1e-12)
    np.testing.assert_allclose(got.high, got.low, rtol=1e-12)


@pytest.mark.parametrize("rows", [2, 24, 25, 60])
def test_a_pin_shorted_to_a_rail_reads_that_rail(rows: int) -> None:
    """Every other situation has the pin on ground, the others 1 kΩ against 1 kΩ."""
    net = Netlist.from_edges(["ref", "gnd"], [("pull", "ref", "pin"), ("path", "pin", "gnd")])
    grounded = np.arange(rows) % 2 == 0
    g = np.stack([np.full(rows, 1e-3), np.where(grounded, np.inf, 1e-3)], axis=1)
    got = span(net, g, g, Sources.fixed([5.0, 0.0]), Reading("pin"))
    assert got.exact.all()
    assert got.low.tolist() == got.high.tolist() == np.where(grounded, 0.0, 2.5).tolist()
