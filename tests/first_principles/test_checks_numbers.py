"""The checks' functions on plain numbers: limits, symmetry, two methods agreeing."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pinproof.network import Netlist, Sources, edge_currents, edge_powers
from pinproof.proof.checks.back_feed import into_pin_a
from pinproof.proof.checks.breaks import effect_of
from pinproof.proof.checks.corner_search import extreme
from pinproof.proof.checks.heat import rating_w, smallest_body_w
from pinproof.proof.checks.reach import commands_met
from pinproof.proof.checks.sampled_yield import between, log_between, wilson_interval
from pinproof.proof.checks.transit import dwell_s, worst_dwell_s
from pinproof.verdict import Edge, Reading, Window

SHARE = st.floats(0.0, 1.0)


def window(meaning: str, low: float | None, high: float | None, kind: str = "command", slack: float = 0.01) -> Window:
    """A window with both edges known to ±slack."""
    lower = None if low is None else Edge(low - slack, low + slack, low)
    upper = None if high is None else Edge(high - slack, high + slack, high)
    return Window(meaning, lower, upper, 0.05, "measured", kind)


@given(start=SHARE, final=SHARE, a=SHARE, b=SHARE)
def test_dwell_agrees_with_watching_the_curve(start: float, final: float, a: float, b: float) -> None:
    """Count the time steps in which ``f + (v0 - f) exp(-t)`` lies in the window; a step is 0.5 ms of 12 s."""
    low, high = min(a, b), max(a, b)
    assume(high - low > 0.01)
    assume(min(abs(final - low), abs(final - high)) > 0.005)
    t = np.arange(0.0, 12.0, 5e-4)
    value = final + (start - final) * np.exp(-t)
    watched = float(((value >= low) & (value <= high)).sum()) * 5e-4
    told = dwell_s(start, final, low, high, 1.0)
    if math.isinf(told):
        assert value[-1] >= low - 1e-4
        assert value[-1] <= high + 1e-4
    else:
        assert told == pytest.approx(watched, abs=2e-3)


@given(start=SHARE, final=SHARE, low=SHARE, high=SHARE, tau=st.floats(1e-6, 1.0))
def test_dwell_is_the_same_upside_down(start: float, final: float, low: float, high: float, tau: float) -> None:
    """Turning the scale round changes nothing."""
    assume(low < high)
    assume(min(abs(final - low), abs(final - high)) > 1e-6)  # at the edge itself rounding decides
    there = dwell_s(start, final, low, high, tau)
    back = dwell_s(1.0 - start, 1.0 - final, 1.0 - high, 1.0 - low, tau)
    assert back == pytest.approx(there, rel=1e-6, abs=1e-9)


@given(data=st.data())
def test_worst_dwell_bounds_every_dwell(data: st.DataObject) -> None:
    """No start and final inside their spans stays longer in the window than the bound says."""
    spans = [sorted(data.draw(st.tuples(SHARE, SHARE))) for _ in range(3)]
    start, final, (low, high) = (spans[0][0], spans[0][1]), (spans[1][0], spans[1][1]), spans[2]
    bound = worst_dwell_s(start, final, (low, high), 1.0)
    for _ in range(4):
        a = start[0] + data.draw(SHARE) * (start[1] - start[0])
        b = final[0] + data.draw(SHARE) * (final[1] - final[0])
        assert dwell_s(a, b, low, high, 1.0) <= bound + 1e-12


@given(data=st.data())
def test_corner_search_finds_the_extreme_corner(data: st.DataObject) -> None:
    """All corners of a small box tried one by one. The search is greedy; on these coder-like nets it must not miss.

    Nets: rail - pull - pin - branch resistors with contacts in series - return, with an offset of the return.
    """
    edges = [("pull", "up", "pin"), ("r1", "pin", "a"), ("c1", "a", "dn"), ("r2", "pin", "b"), ("c2", "b", "dn")]
    net = Netlist(["pin", "a", "b"], ["up", "dn"], edges)
    ohm = st.floats(50.0, 5000.0)
    nominal = np.array([data.draw(ohm), data.draw(ohm), 20.0, data.draw(ohm), 20.0])
    low_s, high_s = 1.0 / (nominal * 1.05), 1.0 / (nominal * 0.9)
    sources = Sources.ranges([4.9, -0.1], [5.1, 0.1])
    ends = np.array(list(itertools.product((0, 1), repeat=5))).repeat(4, axis=0)
    rail_v = np.tile(np.array(list(itertools.product((4.9, 5.1), (-0.1, 0.1)))), (32, 1))
    corners = np.where(ends == 1, high_s, low_s)
    for quantity, edge in itertools.product(("power", "current"), (1, 2)):
        solve = edge_powers if quantity == "power" else edge_currents
        tried = np.abs(solve(net, corners, rail_v)[:, edge])
        for largest in (True, False):
            found = extreme(
                net,
                low_s[None],
                high_s[None],
                sources,
                np.array([edge]),
                quantity,  # type: ignore[arg-type]
                largest=largest,
            )[0]
            assert found == pytest.approx(tried.max() if largest else tried.min(), rel=1e-9)


def test_corner_search_without_anything_to_turn() -> None:
    """A box of one point gives that point; an open element carries nothing."""
    net = Netlist(["pin"], ["up", "dn"], [("a", "up", "pin"), ("b", "pin", "dn"), ("gone", "pin", "dn")])
    g = np.array([[1e-3, 1e-3, 0.0]])
    fixed = Sources.fixed([10.0, 0.0])
    assert extreme(net, g, g, fixed, np.array([1]), "current", largest=True)[0] == pytest.approx(5e-3)
    assert extreme(net, g, g, fixed, np.array([2]), "power", largest=True)[0] == 0.0


WINDOWS = (
    window("idle", 0.9, None, "idle"),
    window("up", 0.5, 0.6),
    window("down", 0.2, 0.3),
    window("shorted", None, 0.1, "fault"),
)


@pytest.mark.parametrize(
    ("low", "high", "wanted", "effect", "sure"),
    [
        (0.95, 0.99, "idle", "none", True),
        (0.95, 0.99, "up", "command lost", True),
        (0.53, 0.57, "up", "none", True),
        (0.53, 0.57, "idle", "false command", True),
        (0.53, 0.57, "down", "false command", True),
        (0.57, 0.70, "idle", "false command", False),
        (0.00, 0.05, "up", "reads as fault", True),
        (0.70, 0.75, "idle", "reads as fault", True),
        (0.85, 0.95, "idle", "reads as fault", False),
        (0.85, 0.95, "up", "command lost", True),
        (0.57, 0.70, "up", "reads as fault", False),
        (math.nan, math.nan, "idle", "false command", False),
    ],
)
def test_effect_of_a_fault(low: float, high: float, wanted: str, effect: str, sure: bool) -> None:
    """Every effect, with certainty and without; a floating pin may be read as anything."""
    reading = Reading(low, high, low, high)
    got, reads_as, certain = effect_of(reading, wanted, "idle", WINDOWS)
    assert (got, certain) == (effect, sure)
    assert reads_as


@given(a=SHARE, b=SHARE)
def test_a_sure_effect_is_no_matter_of_the_edges(a: float, b: float) -> None:
    """A surely false command leaves no place in a window for any other meaning."""
    reading = Reading.exact(min(a, b), max(a, b))
    effect, reads_as, sure = effect_of(reading, "idle", "idle", WINDOWS)
    if effect == "false command" and sure:
        assert len(reads_as) == 1
    assert (effect == "none") == (reading.low >= 0.91)


def test_commands_met_counts_only_commands() -> None:
    """Idle and fault windows are no commands; certainty needs the guaranteed window."""
    assert commands_met(Reading.exact(0.53, 0.57), WINDOWS) == {"up": True}
    assert commands_met(Reading.exact(0.605, 0.7), WINDOWS) == {"up": False}
    assert commands_met(Reading.exact(0.25, 0.55), WINDOWS) == {"up": False, "down": False}
    assert commands_met(Reading.exact(0.0, 0.05), WINDOWS) == {}


@pytest.mark.parametrize(
    ("temp_c", "carries_w"), [(-40.0, 0.25), (70.0, 0.25), (112.5, 0.125), (155.0, 0.0), (200.0, 0.0)]
)
def test_rating_falls_in_a_straight_line(temp_c: float, carries_w: float) -> None:
    """Full up to 70 °C, half midway, nothing from 155 °C on (common practice, no source: only the line is tested)."""
    assert rating_w(0.25, temp_c) == pytest.approx(carries_w)


def test_smallest_body() -> None:
    """The next usual size up; none above 1 W or above 155 °C."""
    assert [smallest_body_w(each, 25.0) for each in (0.2, 0.25, 0.26, 0.9, 1.1)] == [0.25, 0.25, 0.5, 1.0, None]
    assert smallest_body_w(0.001, 156.0) is None


def test_current_into_a_dead_pin() -> None:
    """Ohm's law, and no limit without a resistance."""
    assert into_pin_a(15.0, 1500.0) == pytest.approx(0.010)
    assert math.isinf(into_pin_a(15.0, 0.0))


@given(hits=st.integers(0, 500), more=st.integers(0, 500))
def test_wilson_interval_holds_the_share_and_mirrors(hits: int, more: int) -> None:
    """It contains the share, stays in 0 … 1, and misses mirror hits."""
    samples = hits + more
    assume(samples > 0)
    low, high = wilson_interval(hits, samples)
    assert 0.0 <= low <= hits / samples <= high <= 1.0
    assert wilson_interval(more, samples) == pytest.approx((1.0 - high, 1.0 - low), abs=1e-12)


@pytest.mark.parametrize(("hits", "samples"), [(1, 0), (-1, 5), (6, 5)])
def test_wilson_interval_refuses_nonsense(hits: int, samples: int) -> None:
    """No share without samples."""
    with pytest.raises(ValueError, match="hits must lie from 0 to samples"):
        wilson_interval(hits, samples)


def test_draws_stay_in_their_range() -> None:
    """Ends are reached at 0 and 1; a leak spans its decades evenly."""
    uniform = np.array([0.0, 0.5, 1.0])
    assert between(2.0, 4.0, uniform).tolist() == [2.0, 3.0, 4.0]
    assert log_between(20e3, 3.0, np.array([0.0, 1 / 3, 1.0])) == pytest.approx([20e3, 200e3, 20e6])
