"""Numbers beside a verdict, by hand or by a second proof: what a span may be read as, gaps, gains, levels, strain."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest

from pinproof.design import Truck, loads
from pinproof.observe import spaces_of
from pinproof.proof import TruckProof, budgets, margin_percent, prove, prove_line, taught
from pinproof.proof.budgets import gains
from pinproof.proof.judging import judge_state, reads_as
from pinproof.proof.rests import _deciding_edge, rests_on
from pinproof.proof.situations import _stated
from pinproof.verdict import Edge, Reading, Verdict, Window
from pinproof.wiring import line_view

EXAMPLES = Path(__file__).resolve().parents[2] / "src" / "pinproof" / "examples"


def truck_of(name: str, *changes: tuple[str, str]) -> Truck:
    """An invented example with some of its text replaced."""
    text = (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return loads(text, f"{name}.toml")


def proof_of(name: str, *changes: tuple[str, str]) -> TruckProof:
    """Its proof, without the sampled yield."""
    return prove(truck_of(name, *changes), samples=0)


# what a span may be read as

DOWN = Window("down", Edge(0.9, 1.1, 1.0), Edge(1.9, 2.1, 2.0), 0.5, "measured", "command")
UP = Window("up", Edge(2.9, 3.1, 3.0), Edge(3.9, 4.1, 4.0), 0.5, "measured", "command")


@pytest.mark.parametrize(
    ("low", "high", "says"),
    [
        (1.2, 1.8, ("down",)),
        (1.1, 1.9, ("down",)),  # to the very edges of what is sure
        (1.05, 1.8, ("down", "invalid")),  # the lower edge may lie above it
        (1.2, 1.95, ("down", "invalid")),
        (0.0, 0.9, ("down", "invalid")),  # touches where the edge may lie at the furthest
        (2.1, 2.5, ("down", "invalid")),
        (0.0, 0.85, ("invalid",)),
        (2.2, 2.8, ("invalid",)),
        (1.5, 3.5, ("down", "up", "invalid")),  # the gap between them is neither
        (math.nan, math.nan, ("invalid",)),
    ],
)
def test_what_a_span_may_be_read_as(low: float, high: float, says: tuple[str, ...]) -> None:
    """Edges at 1 and 2, 3 and 4, each uncertain by 0.1."""
    assert reads_as(Reading.exact(low, high), [DOWN, UP]) == says


def test_the_gap_of_a_bracket_is_the_wider_of_both_ends() -> None:
    row = proof_of("heron").lines[0].situations[0]
    assert row.exact and row.bound == "exact"
    for low, high, gap in ((1.0, 3.25, 0.5), (1.25, 4.0, 1.0), (1.5, 3.0, 0.0)):
        vague = dataclasses.replace(row, exact=False, low=low, inner_low=1.5, inner_high=3.0, high=high)
        assert vague.bound == gap


WIRE = '\nwire = { low = "0 ohm", high = "1 ohm" }'

# what one number known exactly would gain: the same truck proven again with that number exact


@pytest.mark.parametrize(
    ("path", "exact"),
    [
        ("input.shift_pin.pull_up", ('value = "1 kohm", tolerance = "2 %"', 'value = "1 kohm", tolerance = "0 %"')),
        ("input.shift_pin.reference", ('value = "5 V", tolerance = "1 %"', 'value = "5 V", tolerance = "0 %"')),
        ("line.shift.wire", (WIRE, WIRE.replace("0 ohm", "0.5 ohm").replace("1 ohm", "0.5 ohm"))),
    ],
)  # fmt: skip
def test_a_gain_is_the_margin_of_a_truck_that_has_the_number_exactly(path: str, exact: tuple[str, str]) -> None:
    truck = truck_of("heron")
    view = line_view(truck, "shift")
    (space,) = spaces_of(truck, view.input)
    state = judge_state(view, "run", space)
    known = gains(view, state)
    surer = truck_of("heron", exact)
    after = judge_state(line_view(surer, "shift"), "run", spaces_of(surer, surer.inputs[0])[0])
    met = 0
    for row, other, found in zip(state.rows, after.rows, known, strict=True):
        gain = other.margin - row.margin
        if gain > 1e-9:
            assert found[path] == pytest.approx(gain, rel=1e-6, abs=1e-9), row.operated
            met += 1
        else:
            assert found.get(path, 0.0) == pytest.approx(0.0, abs=1e-9)
    assert met or path == "input.shift_pin.reference"  # a reading against the reference does not move with it


@pytest.mark.parametrize(("most", "fails"), [("0.4 V", True), ("0.02 V", False)])
def test_what_fails_rests_on_what_would_help_it(most: str, fails: bool) -> None:
    """Heron fails by its ground offset; assumed, it is told with what it would add. Strain: the margin that lacks in
    units of that. With a small offset nothing fails, and nothing needs help."""
    truck = truck_of("heron", ('high = "0.4 V", basis = "measured" }', f'high = "{most}", basis = "assumed" }}'))
    view = line_view(truck, "shift")
    state = judge_state(view, "run", spaces_of(truck, view.input)[0])
    lacking = [
        (-row.margin / found["line.shift.return_offset"], row, found["line.shift.return_offset"])
        for row, found in zip(state.rows, gains(view, state), strict=True)
        if row.verdict is Verdict.FAIL
    ]
    assert bool(lacking) is fails
    told = {each.parameter: each for each in rests_on(view, [], [state])}
    helping = {name for name, each in told.items() if each.what.startswith("Known exactly, it would add ")}
    if not fails:
        assert not helping
        return
    assert "line.shift.return_offset" in helping
    assert "input.shift_pin.pull_up" not in helping  # measured: known well enough
    strained, row, gain = min(lacking, key=lambda each: each[0])
    offset = told["line.shift.return_offset"]
    assert offset.strain == pytest.approx(strained, rel=1e-9)
    assert offset.what == (
        f"Known exactly, it would add {margin_percent(gain)} to the margin of {' + '.join(row.operated)}."
    )
    assert rests_on(view, [], [dataclasses.replace(state, key_state="crank")]) == ()


def test_the_weakest_link_of_what_fails_is_what_would_gain_most() -> None:
    proof = proof_of("heron")
    truck = truck_of("heron")
    view = line_view(truck, "shift")
    state = judge_state(view, "run", spaces_of(truck, view.input)[0])
    rows = {row.operated: row for row in proof.lines[0].situations if row.key_state == "run"}
    failing = 0
    for row, found in zip(state.rows, gains(view, state), strict=True):
        if row.verdict is Verdict.FAIL:
            failing += 1
            assert found
            assert found[rows[row.operated].weakest] == max(found.values())
    assert failing >= 2


# drift budgets


def crossing(at: float, command: str = "", exact: bool = True) -> budgets._Crossing:
    return budgets._Crossing(at, command, exact)


def resistor(doubt: float = 0.1) -> budgets.Parameter:
    return budgets.Parameter(
        "contact.x.resistor", 3, None, ("up", "down"), 90.0, 110.0, 100.0, "ohm", "measured", doubt
    )


def test_a_budget_takes_the_nearest_crossing_of_each_kind_on_its_side() -> None:
    """Upwards from 110 Ω the least counts, down from 90 Ω the largest; the command is the one that begins there."""
    up = [crossing(220.0), crossing(400.0), crossing(330.0, "down"), crossing(165.0, "up"), crossing(500.0, "manual")]
    found = budgets._budget(resistor(), "up", up)
    assert found is not None
    assert (found.end, found.lost_at, found.false_at, found.false_as) == (110.0, 220.0, 165.0, "up")
    assert found.exact
    assert found.strain == pytest.approx(math.log(165.0 / 110.0) / 0.1)
    down = [crossing(45.0), crossing(10.0), crossing(20.0, "down"), crossing(30.0, "up", exact=False)]
    found = budgets._budget(resistor(), "down", down)
    assert found is not None
    assert (found.end, found.lost_at, found.false_at, found.false_as) == (90.0, 45.0, 30.0, "up")
    assert not found.exact
    assert found.strain == pytest.approx(math.log(90.0 / 45.0) / 0.1)
    only = budgets._budget(resistor(), "up", [crossing(220.0)])
    assert only is not None
    assert (only.lost_at, only.false_at, only.false_as) == (220.0, None, "")
    assert budgets._budget(resistor(), "up", []) is None


@pytest.mark.parametrize(
    ("unit", "end", "reached", "positive", "by_hand"),
    [
        ("ohm", 100.0, 200.0, False, math.log(2.0) / 0.5),  # a factor
        ("ohm", 200.0, 100.0, False, math.log(2.0) / 0.5),
        ("ohm", 0.0, 0.25, False, 0.25 / 0.5),  # near zero the difference, in ohms
        ("ohm", 0.5, 0.75, False, 0.25 / 0.5),
        ("ohm", 0.25, 4.0, False, math.log(4.0) / 0.5),  # from 1 ohm on a factor
        ("ohm", math.inf, 4.0, False, math.inf),
        ("ohm", math.inf, math.inf, False, 0.0),
        ("V", 9.0, 4.5, True, math.log(2.0) / 0.5),  # a supply by a factor
        ("V", 0.4, 0.6, False, 0.5 / 0.5),  # an offset by its share of itself
        ("V", 0.0, 0.2, False, 2.0 / 0.5),  # near zero by tenths of a volt
        ("V", -0.4, -0.6, False, 0.5 / 0.5),
        ("V", 0.02, -0.03, True, 0.5 / 0.5),  # below zero a factor means nothing
        ("V", 0.0, 0.2, True, 2.0 / 0.5),  # nor from zero
        ("V", 0.2, 0.0, True, 1.0 / 0.5),  # nor to it
    ],
)
def test_strain_by_hand(unit: str, end: float, reached: float, positive: bool, by_hand: float) -> None:
    """Drift in units of how wrong the number may be, here 50 %."""
    assert budgets.strain(unit, end, reached, 0.5, positive=positive) == pytest.approx(by_hand, rel=1e-8)
    assert budgets.strain(unit, end, reached, 0.0, positive=positive) in (math.inf, 0.0)


# a controller that is yet to be taught


def test_edges_to_teach_lie_midway_between_neighbours() -> None:
    """Up reads 10 to 20 %, down 40 to 50 %, idle 80 to 82 %: edges at 30 and 65 %, each within 1 %."""
    truck = truck_of("heron")
    (space,) = spaces_of(truck, truck.inputs[0])
    assert space.full_scale == 1.0
    hulls = {"automatic": (0.80, 0.82), "up": (0.10, 0.20), "down": (0.40, 0.50)}
    up, down, idle = taught.taught_windows(hulls, "automatic", 0.01, space)
    assert [each.meaning for each in (up, down, idle)] == ["up", "down", "automatic"]
    assert [each.kind for each in (up, down, idle)] == ["command", "command", "idle"]
    assert up.lower is None and idle.upper is None
    for below, above, at in ((up, down, 0.30), (down, idle, 0.65)):
        assert below.upper is not None
        assert below.upper == above.lower
        edge = (below.upper.low, below.upper.nominal, below.upper.high)
        assert edge == pytest.approx((at - 0.01, at, at + 0.01))
    halves = [each.nominal_half_width for each in (up, down, idle)]
    assert halves == pytest.approx([0.30 / 2.0, 0.35 / 2.0, 0.35 / 2.0])


@pytest.mark.parametrize(("highest", "parts"), [(0.39, True), (0.40, False), (0.45, False)])
def test_meanings_that_touch_cannot_be_taught(highest: float, parts: bool) -> None:
    found = taught._overlap({"down": (0.40, 0.50), "automatic": (0.8, 0.9), "up": (0.10, highest)})
    assert found == ("" if parts else "up and down overlap: no edge can part them")


# small rules by hand


@pytest.mark.parametrize(
    ("allowed", "how", "of", "means"),
    [
        (("up",), "inside", ("up",), "up"),
        (("up", "down"), "inside", ("up", "down"), ""),
        (("manual", "invalid"), "clear", ("automatic", "up", "down"), ""),
        (("invalid",), "clear", ("automatic", "manual", "up", "down"), ""),
    ],
)
def test_what_a_rule_of_the_file_asks(allowed: tuple[str, ...], how: str, of: tuple[str, ...], means: str) -> None:
    """Where "invalid" is allowed the reading need only keep clear of idle and of the commands that are not."""
    line = truck_of("heron").lines[0]
    need = _stated(line, ("manual", "up", "down"), allowed)
    assert (need.how, need.of, need.means, need.rule, need.allowed) == (how, of, means, 1, allowed)


@pytest.mark.parametrize(
    ("side", "allowed", "edge"),
    [
        ("low", ("up",), 3.0),  # must read up: its low end is nearest to the lower edge
        ("high", ("up",), 4.0),
        ("low", ("down", "up"), 3.0),
        ("low", ("down",), 4.0),  # must keep clear of up, which lies below: its upper edge
        ("high", ("down",), 3.0),
    ],
)
def test_the_edge_that_a_margin_is_measured_to(side: str, allowed: tuple[str, ...], edge: float) -> None:
    row = proof_of("heron").lines[0].situations[0]
    row = dataclasses.replace(row, window="up", meaning="", allowed=allowed, side=side)
    assert _deciding_edge(row, UP) == edge


def test_a_line_is_proven_with_all_that_belongs_to_it_unless_told_otherwise() -> None:
    truck = truck_of("heron")
    whole = prove_line(truck, truck.lines[0], samples=0)
    assert whole.rests_on and whole.findings and any(row.budgets for row in whole.situations)
    quick = prove_line(truck, truck.lines[0], samples=0, drift=False)
    assert not quick.rests_on and not quick.findings and not any(row.budgets for row in quick.situations)
    assert [row.margin for row in quick.situations] == [row.margin for row in whole.situations]
    assert (whole.verdict, whole.line, whole.form) == (Verdict.FAIL, "shift", "pull-up")
