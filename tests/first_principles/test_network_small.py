"""Small circuits by hand, and what only rare circuits ask for: many rails, dead ends, a dip between two slices."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pinproof.network import sample
from pinproof.network.box import Reading, Sources
from pinproof.network.edits import edited
from pinproof.network.excursion import excursions
from pinproof.network.intervals import _meshed
from pinproof.network.netlist import Netlist, NetworkFault
from pinproof.network.problems import _minus
from pinproof.network.reduce import reduction
from pinproof.network.sample import readings_of_samples
from pinproof.network.slices import sliced_span
from pinproof.network.solve import Status, edge_currents, edge_powers, node_status, node_voltages, transfer
from pinproof.network.spans import monotone, span
from tests.first_principles.test_network_spans import all_corners, check, random_case, random_edge

DIVIDER = Netlist.from_edges(["ref", "gnd"], [("pull", "ref", "pin"), ("path", "pin", "gnd")])


# many samples


@pytest.mark.parametrize("piece", [1, 3, 7, 100])
@pytest.mark.parametrize("one_supply", [True, False])
def test_samples_are_the_same_in_pieces(piece: int, one_supply: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten random circuits of one net with nothing open or shorted, against each solved by itself; three rails."""
    monkeypatch.setattr(sample, "PIECE", piece)
    rng = np.random.default_rng(1600)
    names = ["n0", "n1", "r0", "r1", "r2"]
    edges = [(f"e{i}", a, b) for i, (a, b) in enumerate(
        [("n0", "r0"), ("n0", "n1"), ("n1", "r1"), ("n0", "r2"), ("n1", "r2"), ("n1", "n0")])]  # fmt: skip
    net = Netlist(names, names[2:], edges)
    g = 10.0 ** rng.uniform(-4, 0, (10, 6))
    volts = rng.uniform(0, 15, (1 if one_supply else 10, 3))
    by_itself = [node_voltages(net, g[i], volts[0 if one_supply else i])[0] for i in range(10)]
    for node in ("n0", "n1"):
        for minus in (None, "n1", "r2"):
            got = readings_of_samples(net, g, volts, node, divisor=np.full(10, 2.0), minus=minus)
            want = [v[net.node_index(node)] - (0.0 if minus is None else v[net.node_index(minus)]) for v in by_itself]
            np.testing.assert_allclose(got, np.array(want) / 2.0, rtol=0, atol=1e-12)


# currents and heat


def test_what_carries_no_current_has_no_heat() -> None:
    """5 V over 1 kohm and 1 kohm: 2.5 mA, 6.25 mW in each. An open edge, one between floating nodes and a short of one
    potential have none; what a short between two rails carries nobody can say."""
    net = Netlist.from_edges(
        ["ref", "gnd"],
        [("pull", "ref", "pin"), ("path", "pin", "gnd"), ("loose", "a", "b"), ("open", "pin", "gnd"), ("own", "a", "a"),
         ("wire", "pin", "tap")],
    )  # fmt: skip
    g = [1e-3, 1e-3, 1e-3, 0.0, 1.0, np.inf]
    power = edge_powers(net, g, [5.0, 0.0])[0]
    assert power.tolist() == pytest.approx([6.25e-3, 6.25e-3, 0.0, 0.0, 0.0, 0.0])
    current = edge_currents(net, g, [5.0, 0.0])[0]
    assert current[:5].tolist() == pytest.approx([2.5e-3, 2.5e-3, 0.0, 0.0, 0.0])
    assert np.isnan(current[5])
    shorted = edge_powers(DIVIDER, [np.inf, np.inf], [5.0, 0.0])[0]
    assert np.isnan(shorted).all()


# a reading that dips between two slices of what is tied


@pytest.mark.parametrize(("rails", "dips"), [([0.0, 5.0], True), ([5.0, 0.0], False)])
def test_an_extreme_between_two_slices_is_not_lost(rails: list[float], dips: bool) -> None:
    """Two resistors in series that a tied cause moves against each other: 1/(1 + t) + 1/(1 - t) is least at t = 0, so
    the pin comes nearest to the first rail there: 1/3 of the way. No cut lies at 0."""
    net = Netlist(["pin", "mid", "a", "b"], ["a", "b"], [("u", "a", "mid"), ("v", "mid", "pin"), ("w", "pin", "b")])

    def box_at(t0: float, t1: float) -> tuple[np.ndarray, np.ndarray]:
        return np.array([1.0 + t0, 1.0 - t1, 1.0]), np.array([1.0 + t1, 1.0 - t0, 1.0])

    got = sliced_span(net, box_at, -0.5, 0.6, Sources.fixed(rails), Reading("pin"), slices=3, gap=1e-4, most_slices=400)
    at_rest = 5.0 * (2.0 / 3.0 if dips else 1.0 / 3.0)  # 2 ohm to the first rail, 1 ohm to the second
    low, high = float(got.span.low[0]), float(got.span.high[0])
    series = 1.0 / 1.6 + 1.0 / 0.4
    far = 5.0 * (series / (series + 1.0)) if dips else 5.0 / (series + 1.0)
    near_low, near_high = (at_rest, far) if dips else (far, at_rest)
    assert low <= near_low + 1e-12 and high >= near_high - 1e-12
    assert low == pytest.approx(near_low, abs=1e-4) and high == pytest.approx(near_high, abs=1e-4)
    coarse = sliced_span(net, box_at, -0.5, 0.6, Sources.fixed(rails), Reading("pin"), slices=3, most_slices=3)
    assert coarse.span.low[0] <= near_low + 1e-12 and coarse.span.high[0] >= near_high - 1e-12
    assert not (coarse.span.exact_low[0] if dips else coarse.span.exact_high[0])


def test_slices_are_cut_until_the_last_situation_is_near_enough() -> None:
    """The first situation does not move with what is tied, the second dips: it decides."""
    net = Netlist(["pin", "mid", "a", "b"], ["a", "b"], [("u", "a", "mid"), ("v", "mid", "pin"), ("w", "pin", "b")])

    def box_at(t0: float, t1: float) -> tuple[np.ndarray, np.ndarray]:
        return np.array([[1.0, 1.0, 1.0], [1.0 + t0, 1.0 - t1, 1.0]]), np.array(
            [[1.0, 1.0, 1.0], [1.0 + t1, 1.0 - t0, 1.0]]
        )

    got = sliced_span(
        net, box_at, -0.5, 0.6, Sources.fixed([0.0, 5.0]), Reading("pin"), slices=3, gap=1e-3, most_slices=400
    )
    assert got.span.gap[0] == pytest.approx(0.0, abs=1e-12) and got.span.gap[1] <= 1e-3
    assert got.span.low[1] == pytest.approx(10.0 / 3.0, abs=1e-3)


def test_what_moves_one_way_is_exact() -> None:
    """1 to 2 S to 5 V with what is tied, 1 S to ground: 2.5 to 3.33 V at the ends, and nothing beyond."""

    def box_at(t0: float, t1: float) -> tuple[list[float], list[float]]:
        return [1.0 + t0, 1.0], [1.0 + t1, 1.0]

    got = sliced_span(DIVIDER, box_at, 0.0, 1.0, Sources.fixed([5.0, 0.0]), Reading("pin"), slices=2)
    assert (got.span.low[0], got.span.high[0]) == pytest.approx((2.5, 10.0 / 3.0))
    assert got.span.exact_low[0] and got.span.exact_high[0] and got.span.exact[0]


# rails that are shorted


def test_shorts_between_other_rails_in_other_situations_do_not_count() -> None:
    """Two grounds may be joined; 5 V and a ground may not. One situation each, and one with both."""
    net = Netlist.from_edges(
        ["ref", "gnd", "chassis"],
        [("pull", "ref", "pin"), ("path", "pin", "gnd"), ("strap", "gnd", "chassis"), ("chafe", "ref", "gnd")],
    )  # fmt: skip
    inf = np.inf
    g = [[1e-3, 1e-3, inf, 1e-9], [1e-3, 1e-3, 1e-9, inf], [1e-3, 1e-3, inf, inf], [1e-3, 1e-3, 1e-9, 1e-9]]
    got = span(net, g, g, Sources.fixed([5.0, 0.0, 0.0]), Reading("pin"))
    assert got.status.tolist() == [Status.OK, Status.RAILS_SHORTED, Status.RAILS_SHORTED, Status.OK]
    assert node_status(net, g, [5.0, 0.0, 0.0])[:, 0].tolist() == got.status.tolist()
    assert got.low[0] == got.high[3] == pytest.approx(2.5)
    assert np.isnan(readings_of_samples(net, g, [5.0, 0.0, 0.0], "pin")).tolist() == [False, True, True, False]


# many rails with many causes


@pytest.mark.parametrize("rails", [2, 7, 8, 9])
def test_many_rails_with_more_causes_than_are_listed(rails: int) -> None:
    """A pin on 2 to 9 rails that ten causes move, against all corners of conductances and causes."""
    rng = np.random.default_rng(1700 + rails)
    names = [f"r{i}" for i in range(rails)]
    net = Netlist.from_edges(names, [(f"e{i}", "pin", name) for i, name in enumerate(names)])
    cause = np.array([[i >> bit & 1 for bit in range(10)] for i in range(1024)], dtype=float)
    corner = np.array([[i >> bit & 1 for bit in range(rails)] for i in range(2**rails)], dtype=bool)
    for _ in range(4):
        low = 10.0 ** rng.uniform(-3, 0, rails)
        high = low * 10.0 ** rng.uniform(0, 1, rails)
        sources = Sources(np.zeros(10), np.ones(10), rng.uniform(0, 12, rails), rng.normal(size=(rails, 10)))
        got = span(net, low, high, sources, Reading("pin"))
        g = np.where(corner, high, low)
        values = (g / g.sum(axis=1, keepdims=True)) @ sources.rail_v(cause).T
        assert got.exact[0]
        assert (got.low[0], got.high[0]) == (pytest.approx(values.min()), pytest.approx(values.max()))


# an edge that leads nowhere


@pytest.mark.parametrize("ends", [("pin", "far"), ("far", "pin"), ("pin", "pin"), ("far", "far")])
@pytest.mark.parametrize("place", [0, 3])
def test_an_edge_that_leads_nowhere_reaches_no_level(ends: tuple[str, str], place: int) -> None:
    """1 to 2 mS to 5 V, 1 to 3 mS to ground: 1.25 to 3.33 V, whatever hangs at the pin."""
    edges = [("pull", "ref", "pin"), ("path", "pin", "mid"), ("rest", "mid", "gnd")]
    low, high = [1e-3, 2e-3, 2e-3], [2e-3, 6e-3, 6e-3]
    edges.insert(place, ("stub", *ends))
    low.insert(place, 1e-3)
    high.insert(place, 1e-2)
    net = Netlist(["pin", "far", "mid"], ["ref", "gnd"], edges)
    sources, reading = Sources.fixed([5.0, 0.0]), Reading("pin")
    for side, reached, never in (("low", 1.3, 1.2), ("high", 3.3, 3.4)):
        got = excursions(net, low, high, sources, reading, "stub", [reached, never], side)
        assert (got.falling[0, 0], got.rising[0, 0]) == (1e-3, 1e-2)  # reached before it moves
        assert np.isnan(got.falling[0, 1]) and np.isnan(got.rising[0, 1])
    moved = excursions(net, low, high, sources, reading, "pull", [1.0, 4.0], "high")
    # against 1 mS at the least: 4 V at 4 mS
    assert moved.rising[0].tolist() == pytest.approx([2e-3, 4e-3])


@pytest.mark.parametrize("side", ["low", "high"])
def test_an_edge_from_a_node_to_itself_hides_no_corner(side: str) -> None:
    """A bridge whose diagonal matters at both ends, listed last; the loop that is moved has no effect at all."""
    rng = np.random.default_rng(1950)
    edges = [("loop", "far", "far"), ("a", "ref", "pin"), ("b", "pin", "gnd"), ("c", "ref", "far"), ("d", "far", "gnd"),
             ("e", "pin", "far")]  # fmt: skip
    net = Netlist(["pin", "far"], ["ref", "gnd"], edges)
    for _ in range(10):
        low = np.concatenate([[1.0], 10.0 ** rng.uniform(-0.5, 0.0, 4), [1e-3]])
        high = low * np.concatenate([[2.0], 10.0 ** rng.uniform(0.0, 1.0, 4), [1e4]])
        sources, reading = Sources.fixed([5.0, 0.0]), Reading("pin")
        g = all_corners(low, high)
        values = node_voltages(net, g, [5.0, 0.0])[:, 0]
        end, way = (values.min(), -1.0) if side == "low" else (values.max(), 1.0)
        got = excursions(net, low, high, sources, reading, "loop", [end - way * 1e-6, end + way * 1e-6], side)
        assert (got.falling[0, 0], got.rising[0, 0]) == (1.0, 2.0)
        assert np.isnan(got.falling[0, 1]) and np.isnan(got.rising[0, 1])


@pytest.mark.parametrize("side", ["low", "high"])
def test_a_crossing_is_the_same_however_much_is_proven_first(side: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """An edge that is not in the box is moved in from nothing. Nothing proven by intervals, or all that may be."""
    rng = np.random.default_rng(1800)
    names = ["n0", "n1", "n2", "r0", "r1"]
    held = [("hold", "n0", "r0"), ("second", "n1", "r1"), ("third", "n2", "r0")]
    met = 0
    for _ in range(12):
        net = Netlist(names, names[3:], [*held, *(random_edge(rng, i, names) for i in range(5)), ("new", "n0", "r1")])
        low = 10.0 ** rng.uniform(-3, 0, 9)
        high = low * 10.0 ** rng.uniform(0, 1, 9)
        low[8] = high[8] = 0.0
        low[3] = high[3] = 0.0  # another one that is not there
        sources, reading = Sources.ranges([0.0, 4.0], [0.0, 6.0]), Reading("n0")
        got = span(net, low, high, sources, reading)
        levels = [(got.low[0], 4.0 * got.low[0] / 5.0), (got.high[0], (got.high[0] + 6.0) / 2.0)][side == "high"]
        found = []
        for few, rows in ((100, 1 << 40), (0, 0)):
            with monkeypatch.context() as patch:
                patch.setattr("pinproof.network.problems.FEW_OPEN", few)
                patch.setattr("pinproof.network.spans.SWEEP_ROWS", rows)
                found.append(excursions(net, low, high, sources, reading, "new", list(levels), side))
        one, other = found
        for first, second in ((one.falling, other.falling), (one.rising, other.rising)):
            np.testing.assert_allclose(second, first, rtol=1e-9)
            met += int((~np.isnan(first[0, 1:])).sum())
    assert met > 5 or side == "low"  # what joins the higher rail never lowers the reading


@pytest.mark.parametrize("steps", [0, 1, 2])
def test_a_search_that_is_given_up_costs_proofs_and_no_extreme(steps: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Directions of currents are searched in the graph for a number of steps. With few of them more stays open."""
    rng = np.random.default_rng(1900)
    proven = {steps: 0, 400: 0}
    for _ in range(25):
        case = random_case(rng, 0, most_edges=9)
        for most in (steps, 400):
            monkeypatch.setattr("pinproof.network.signs._STEPS", most)
            net = Netlist(case.net.nodes, case.net.rails, case.net.edges)  # nothing remembered
            fresh = dataclasses.replace(case, net=net)
            proven[most] += int(monotone(net, case.low[0], case.low[0], case.sources, case.reading).proven.sum())
            check(fresh)
    assert 0 < proven[steps] <= proven[400]


# signs of a difference


@pytest.mark.parametrize(
    ("first", "second", "sure"),
    [(1, -1, 1), (1, 0, 1), (0, -1, 1), (0, 0, 0), (-1, 1, -1), (-1, 0, -1), (0, 1, -1), (1, 1, 2), (-1, -1, 2),
     (2, 0, 2), (0, 2, 2), (2, -1, 2), (1, 2, 2), (2, 2, 2)],
)  # fmt: skip
def test_the_sign_of_a_difference(first: int, second: int, sure: int) -> None:
    """Known where both pull the same way; 2 is not proven."""
    assert _minus(np.array([first], dtype=np.int8), np.array([second], dtype=np.int8)).tolist() == [sure]


# no rails


def test_without_rails_the_causes_still_have_their_place() -> None:
    net = Netlist(["pin", "far"], [], [("wire", "pin", "far")])
    got = span(net, [[1.0], [2.0]], [[1.0], [3.0]], Sources([1.0], [2.0], [], np.zeros((0, 1))), Reading("pin"))
    assert got.low_cause.tolist() == got.high_cause.tolist() == [[1.0], [1.0]]


# star-mesh with shorts, on one end of an interval


@pytest.mark.parametrize(
    ("one", "other", "rest", "least", "most"),
    [
        (1.0, 1.0, 2.0, 0.25, 0.25),
        (0.0, 0.0, 0.0, 0.0, 0.0),
        (0.0, 0.0, 1.0, 0.0, 0.0),
        (np.inf, 2.0, 0.0, 2.0, 2.0),  # a short in series leaves the other
        (2.0, np.inf, 7.0, 2.0, 2.0),
        (np.inf, np.inf, 1.0, np.inf, np.inf),
        (2.0, 3.0, np.inf, 0.0, 0.0),  # a short to elsewhere takes the middle there
        (np.inf, 2.0, np.inf, 0.0, 2.0),  # which of two shorts wins is not said: the safe side of each
        (np.inf, np.inf, np.inf, 0.0, np.inf),
    ],
)
def test_a_star_of_three_by_hand(one: float, other: float, rest: float, least: float, most: float) -> None:
    """g h / (g + h + rest)."""
    parts = [np.array([x]) for x in (one, other, rest)]
    with np.errstate(invalid="ignore"):
        assert _meshed(*parts, pessimist_low=True).tolist() == [least]
        assert _meshed(*parts, pessimist_low=False).tolist() == [most]


# names that are not there


def test_names_that_are_not_there_are_told() -> None:
    with pytest.raises(NetworkFault, match='edge far: end "x" is not a node'):
        Netlist(["pin"], ["ref"], [("near", "pin", "ref"), ("far", "pin", "x")])
    with pytest.raises(NetworkFault, match='merge: "x" is not a node'):
        edited(DIVIDER, merge=[("pin", "x")])
    with pytest.raises(NetworkFault, match='edge new: end "x" is not a node'):
        edited(DIVIDER, add=[("new", "pin", "x")])
    with pytest.raises(NetworkFault, match='"x" is not an edge'):
        edited(DIVIDER, delete=["x"])


@pytest.mark.parametrize(
    "made",
    [
        Sources.fixed([5.0, 0.0]),
        Reading("pin"),
        edited(DIVIDER, nodes=["x"]),
        reduction(DIVIDER, [0]),
        DIVIDER.plan((0,)),
        DIVIDER.edges[0],
        span(DIVIDER, [1.0, 1.0], [1.0, 1.0], Sources.fixed([5.0, 0.0]), Reading("pin")),
    ],
    ids=lambda made: type(made).__name__,
)
def test_what_is_shared_cannot_be_changed(made: object) -> None:
    """Plans, reductions and sources are kept and used again by many calls."""
    for each in dataclasses.fields(made):  # type: ignore[arg-type]
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(made, each.name, None)
    if isinstance(made, Sources):
        with pytest.raises(ValueError, match="read-only"):
            made.base_v[0] = 1.0


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -np.inf])
def test_a_potential_that_is_no_number_is_refused(wrong: float) -> None:
    with pytest.raises(NetworkFault, match="a potential that is not a finite number"):
        node_voltages(DIVIDER, [1.0, 1.0], [5.0, wrong])


def test_a_rail_reads_itself_alone() -> None:
    """Whatever hangs at it."""
    assert transfer(DIVIDER, [[1.0, 2.0], [0.0, np.inf]], "ref").tolist() == [[1.0, 0.0]] * 2
    assert transfer(DIVIDER, [1.0, 3.0], "pin").tolist() == [[0.25, 0.75]]
