"""Severity sets: by hand, and against a span of the circuit with the severity soldered in."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinproof.faults import line_faults
from pinproof.faults.severity import Causes, Levels, reaches
from pinproof.network import Netlist, Reading, Sources, Span, span
from tests.first_principles.test_faults import hand
from tests.first_principles.test_faults_numbers import one

EVERYTHING = (0.0, math.inf)


def asked(net: Netlist, moving: str, low_ohm: list[float], high_ohm: list[float], sources: Sources, low: float,
          high: float, *, inner: bool = False) -> list[tuple[float, float]]:  # fmt: skip
    """Severities [Ω] with which some reading at the pin lies from `low` to `high`; `inner`: those that are sure."""
    box = [np.array([[0.0 if math.isinf(ohm) else math.inf if ohm == 0.0 else 1.0 / ohm for ohm in ends]])
           for ends in (high_ohm, low_ohm)]  # fmt: skip
    corners = sources.corners
    causes = Causes(
        sources.rail_v(corners), np.ones(len(corners)), np.zeros(len(corners), dtype=np.intp),
        ((sources, Reading("pin")),),
    )  # fmt: skip
    levels = [Levels(np.full((1, len(corners), 1), at), np.array([False])) for at in (high, low)]
    group = np.zeros(1, dtype=np.intp)
    below, above = reaches(net, net.edge_index(moving), *box, "pin", causes, group, levels[0], levels[1])
    sets = []
    for reach in (below, above):
        ends = (reach.inner_p, reach.inner_q) if inner else (reach.p, reach.q)
        p, q = (float(end[0, 0, 0]) for end in ends)
        pieces = [EVERYTHING] if p >= q else [x for x in ((0.0, p), (q, math.inf)) if not math.isnan(sum(x))]
        sets.append(pieces)
    both = [(max(a[0], b[0]), min(a[1], b[1])) for a in sets[0] for b in sets[1]]
    ohms = [(math.inf if y == 0.0 else 1.0 / y, math.inf if x == 0.0 else 1.0 / x) for x, y in both if x <= y]
    return sorted(ohms)


def test_leak_beside_a_pull_up_by_hand() -> None:
    """1 kΩ from 5 V, nothing else: a leak of R reads 5 R / (R + 1000); 1 to 3 V are 250 to 1500 Ω."""
    net = Netlist.from_edges(["ref", "gnd"], [("pull", "ref", "pin"), ("leak", "pin", "gnd")])
    found = asked(net, "leak", [1000.0, 0.0], [1000.0, 0.0], Sources.fixed([5.0, 0.0]), 1.0, 3.0)
    assert found == [pytest.approx((250.0, 1500.0))]


def test_tolerance_widens_both_ends() -> None:
    """The pull from 900 to 1100 Ω: the least leak meets 1 V with 900 Ω (225 Ω), the greatest 3 V with 1100 (1650 Ω)."""
    net = Netlist.from_edges(["ref", "gnd"], [("pull", "ref", "pin"), ("leak", "pin", "gnd")])
    found = asked(net, "leak", [900.0, 0.0], [1100.0, 0.0], Sources.fixed([5.0, 0.0]), 1.0, 3.0)
    assert found == [pytest.approx((225.0, 1650.0))]


def test_a_bridge_up_or_down() -> None:
    """3 V behind 1 kΩ, a neighbour anywhere from 0 to 5 V: at most 2 V is met with 0 V behind up to 2 kΩ."""
    net = Netlist.from_edges(["rest", "beside"], [("hold", "rest", "pin"), ("leak", "pin", "beside")])
    sources = Sources([0.0], [5.0], [3.0, 0.0], [[0.0], [1.0]])
    assert asked(net, "leak", [1000.0, 0.0], [1000.0, 0.0], sources, -1.0, 2.0) == [pytest.approx((0.0, 2000.0))]


def test_a_union_of_two_intervals() -> None:
    """One cause moves the pin's rest from 2 to 4 V and its neighbour from 5 to 0 V, 1 kΩ before the pin.

    At most 2.2 V is met by the first corner while the leak is small, (2 + 5 x)/(1 + x) with x = 1000/R at most 0.2/2.8,
    and by the second while it is large, 4/(1 + x) with x at least 1.8/2.2. In between neither does.
    """
    net = Netlist.from_edges(["rest", "beside"], [("hold", "rest", "pin"), ("leak", "pin", "beside")])
    sources = Sources([0.0], [1.0], [2.0, 5.0], [[2.0], [-5.0]])
    found = asked(net, "leak", [1000.0, 0.0], [1000.0, 0.0], sources, 0.0, 2.2)
    assert found == [pytest.approx((0.0, 1000.0 * 2.2 / 1.8)), pytest.approx((1000.0 * 2.8 / 0.2, math.inf))]


def test_a_pin_that_nothing_holds_reads_anything_when_open() -> None:
    """Only the moving wire holds the pin: without end it floats, and every window counts as met."""
    net = Netlist.from_edges(["gnd"], [("wire", "pin", "gnd")])
    assert asked(net, "wire", [0.0], [0.0], Sources.fixed([0.0]), 3.0, 4.0) == [(math.inf, math.inf)]


@st.composite
def small_circuits(draw: st.DrawFn) -> tuple[Netlist, str, list[float], list[float], Sources]:
    """Up to four nodes, up to eight elements, three rails that move, and one element that is the severity."""
    nodes = ["pin", *(f"n{i}" for i in range(draw(st.integers(0, 3))))]
    rails = ["low", "mid", "high"]
    everything = nodes + rails
    edges = [("hold", "pin", draw(st.sampled_from(rails)))]
    for number in range(draw(st.integers(1, 7))):
        a, b = draw(st.lists(st.sampled_from(everything), min_size=2, max_size=2, unique=True))
        edges.append((f"e{number}", a, b))
    low = [draw(st.sampled_from([0.0, 1.0, 220.0, 1000.0, 4700.0])) for _ in edges]
    low[0] = 1000.0
    high = [ohm * draw(st.sampled_from([1.0, 1.0, 1.2, 3.0, math.inf])) if ohm else 30.0 for ohm in low]
    high[0] = 1100.0
    causes = Sources([0.0, 2.0, 4.5], [0.3, draw(st.sampled_from([2.0, 5.5])), 5.0], [0.0, 0.0, 0.0], np.eye(3))
    return Netlist(everything, rails, edges), edges[-1][0], low, high, causes


@settings(max_examples=150)
@given(small_circuits(), st.floats(0.0, 4.0), st.floats(0.05, 1.5), st.floats(-1.0, 6.0))
def test_sets_hold_exactly_the_severities_that_read_the_window(
    circuit: tuple[Netlist, str, list[float], list[float], Sources], low: float, width: float, decade: float
) -> None:
    """With the severity soldered in, the circuit's span meets the window if and only if the set holds it."""
    net, moving, low_ohm, high_ohm, sources = circuit
    ohm = 10.0**decade
    found = asked(net, moving, low_ohm, high_ohm, sources, low, low + width)
    column = net.edge_index(moving)
    with np.errstate(divide="ignore"):
        box = [1.0 / np.array(high_ohm), 1.0 / np.array(low_ohm)]
    box[0][column] = box[1][column] = 1.0 / ohm
    got = span(net, *box, sources, Reading("pin"))
    assert got.exact[0]
    if int(got.status[0]) != 0 or min(abs(got.low[0] - low - width), abs(got.high[0] - low)) < 1e-9:
        return
    meets = got.low[0] <= low + width and got.high[0] >= low
    assert meets == any(a <= ohm <= b for a, b in found)


def loose(*args: object, **how: object) -> Span:
    """A span that knows less than it could: 0.4 wider from outside, and 0.1 less of it attained."""
    got = span(*args, **how)  # type: ignore[arg-type]
    return replace(
        got, low=got.low - 0.4, high=got.high + 0.4, inner_low=got.inner_low + 0.1, inner_high=got.inner_high - 0.1
    )


@settings(max_examples=25)
@given(small_circuits(), st.floats(0.5, 4.0), st.floats(0.3, 1.5))
def test_brackets_of_any_circuit_hold_what_is_exact(
    circuit: tuple[Netlist, str, list[float], list[float], Sources], low: float, width: float
) -> None:
    """What is found from outside holds what the outer bounds allow; what is sure lies in what is attained. With exact
    spans an open is sure exactly if it reads the window."""
    net, moving, low_ohm, high_ohm, sources = circuit

    def sets(wider: float, *, inner: bool = False) -> tuple[tuple[float, float], ...]:
        return tuple(asked(net, moving, low_ohm, high_ohm, sources, low - wider, low + width + wider, inner=inner))

    exact, wide, narrow = sets(0.0), sets(0.39), sets(-0.09)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pinproof.faults.severity.MOST_BITS", -1)
        sure = sets(0.0, inner=True)
        assert within(exact, sets(0.0)) and within(sure, exact)
        assert [b for _, b in sure if math.isinf(b)] == [b for _, b in exact if math.isinf(b)]
        patch.setattr("pinproof.faults.severity.span", loose)
        assert within(wide, sets(0.0))
        assert within(sets(0.0, inner=True), narrow)


LOOSE = ('pull_up = { value = "1 kohm", tolerance = "0 %" }', 'pull_up = { value = "1 kohm", tolerance = "10 %" }')
HERE = ('low = "20 %"\nhigh = "30 %"', 'low = "250 ohm"\nhigh = "400 ohm"\nfound = "substitution"')
BY_REFERENCE = (
    LOOSE,
    HERE,
    ('reference = "5 V"', 'reference = { value = "5 V", tolerance = "2 %" }'),
    ('low = "45 %"\nhigh = "55 %"', 'low = "2 V"\nhigh = "3 V"'),
)
IN_VOLTS = (
    (LOOSE[0], f'{LOOSE[1]}\npull_up_to = "battery"'),
    HERE,
    ('compares = "reference"', 'compares = "volts"\nfull_scale = "15 V"'),
    ('run = "12 V"', 'run = { low = "11 V", high = "13 V" }'),
    ('low = "45 %"\nhigh = "55 %"', 'low = "820 ohm"\nhigh = "1200 ohm"\nfound = "substitution"'),
    ('low = "70 %"', 'low = "3 kohm"\nfound = "substitution"'),
)


@pytest.mark.parametrize("changes", [BY_REFERENCE, IN_VOLTS], ids=["ratio", "volts"])
@pytest.mark.parametrize("most", [1, 1000])
def test_brackets_hold_what_is_exact(
    monkeypatch: pytest.MonkeyPatch, most: int, changes: tuple[tuple[str, str], ...]
) -> None:
    """Edges that move with a pull of 1 kΩ ± 10 %, and with the battery in volts: solved, and bracketed by spans."""
    truck = hand('"none"', "", *changes)
    exact = line_faults(truck, "l")
    monkeypatch.setattr("pinproof.faults.severity.MOST_BITS", -1)
    monkeypatch.setattr("pinproof.faults.severity.MOST_BRACKETS", most)
    rough = line_faults(truck, "l")
    held = 0
    for each in exact.faults:
        other = one(rough, each.fault.id)
        assert set(each.idle_reads) <= set(other.idle_reads)
        got = {(e.command, e.operated): e for e in other.false}
        for entry in each.false:
            bracket = got[entry.command, entry.operated]
            assert entry.sure or not bracket.sure
            if entry.severities is None:
                continue
            assert bracket.severities is not None and entry.severities.exact
            assert within(entry.severities.outer, bracket.severities.outer)
            assert within(bracket.severities.inner, entry.severities.outer)
            held += bool(bracket.severities.inner)
        lost = {(e.meaning, e.operated): e for e in other.lost}
        for missed in each.lost:
            bracketed = lost[missed.meaning, missed.operated]
            assert missed.sure or not bracketed.sure
            if missed.severities is not None and bracketed.severities is not None:
                assert within(missed.severities.outer, bracketed.severities.outer)
                assert within(bracketed.severities.inner, missed.severities.outer)
                held += bool(bracketed.severities.inner)
    assert held > 5


def within(small: tuple[tuple[float, float], ...], large: tuple[tuple[float, float], ...]) -> bool:
    """Every piece of the first lies in one of the second."""
    return all(any(a <= low * (1 + 1e-9) and high <= b * (1 + 1e-9) for a, b in large) for low, high in small)


@pytest.mark.parametrize("bits", [18, -1])
@pytest.mark.parametrize(("low", "high"), [("45 %", "50 %"), ("50 %", "55 %")])
def test_a_reading_on_an_edge_is_inside(monkeypatch: pytest.MonkeyPatch, bits: int, low: str, high: str) -> None:
    """1 kΩ below 1 kΩ is 50 % to the last digit: b reads down, and a does where both are swapped; nothing is lost."""
    monkeypatch.setattr("pinproof.faults.severity.MOST_BITS", bits)
    monkeypatch.setattr("pinproof.faults.severity.MOST_BRACKETS", 1000)
    found = line_faults(hand('"none"', "", ('low = "45 %"\nhigh = "55 %"', f'low = "{low}"\nhigh = "{high}"')), "l")
    assert found.sound is not None and found.sound.effect == "none"
    swapped = {(each.command, each.operated) for each in one(found, "contact.a swapped contact.b").false}
    assert swapped == {("down", ("a",)), ("up", ("b",))}
