"""Small tools of the search for values: levels, waiting boxes, steps, settled readings, what a part must state."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.choose.boxes import Waiting, around, better, largest, narrowed, pieces
from pinproof.choose.collide import _depth
from pinproof.choose.directions import directions
from pinproof.choose.drawer import Part
from pinproof.choose.order import levels_of, still_in_race, tie, tie_key
from pinproof.choose.problem import Candidate, Demand, Member, Problem, Variable
from pinproof.network.box import Reading, Sources
from pinproof.network.netlist import Netlist
from pinproof.network.signs import OPEN, RISES
from pinproof.verdict import Edge, Window

LEVELS = st.lists(st.lists(st.integers(0, 3), min_size=3, max_size=3), min_size=1, max_size=8)


@given(LEVELS)
def test_the_largest_levels_are_those_that_python_sorts_last(rows: list[list[int]]) -> None:
    """Lists are compared place by place, as the levels of an objective are."""
    levels = np.array(rows, dtype=float)
    assert rows[largest(levels)] == max(rows)
    for one in rows:
        for other in rows:
            assert better(np.array(one, dtype=float), np.array(other, dtype=float)) is (one > other)


@given(
    st.lists(st.lists(st.integers(-3, 20), min_size=1, max_size=6), min_size=1, max_size=6),
    st.integers(1, 8),
    st.integers(-2, 12),
)
def test_boxes_wait_until_taken_and_those_without_hope_are_dropped(
    blocks: list[list[int]], most: int, above: int
) -> None:
    """Every box with a bound above the limit comes out once, never more than asked, the best one first."""
    waiting, number, bound_of = Waiting(), 0, {}
    for bounds in blocks:
        names = np.arange(number, number + len(bounds))
        bound_of |= dict(zip(names.tolist(), bounds, strict=True))
        number += len(bounds)
        waiting.put(names[:, None], names[:, None] + 100, np.array(bounds, dtype=float))
    assert waiting.bound == max(bound_of.values())
    hopeful = {name for name, bound in bound_of.items() if bound > above}
    out: list[int] = []
    while (lot := waiting.take(most, float(above))) is not None:
        lows, highs = lot
        assert 1 <= len(lows) <= most
        assert (highs == lows + 100).all()
        left = hopeful - set(out)
        taken = lows[:, 0].tolist()
        assert max(bound_of[name] for name in taken) == max(bound_of[name] for name in left)
        out += taken
    assert sorted(out) == sorted(hopeful)
    assert waiting.bound <= above


@given(st.data())
def test_no_choice_that_may_hold_is_cut_away(data: st.DataObject) -> None:
    """Pieces tile each range. What lies in kept pieces only is in a child, whose bound is no lower than theirs."""
    width = data.draw(st.integers(1, 3))
    ranges = st.lists(st.tuples(st.integers(0, 5), st.integers(0, 11)), min_size=width, max_size=width)
    boxes = data.draw(st.lists(ranges, min_size=1, max_size=3))
    lows = np.array([[low for low, _ in box] for box in boxes], dtype=np.intp)
    highs = lows + np.array([[more for _, more in box] for box in boxes], dtype=np.intp)
    cut = pieces(lows, highs)
    piece_low, piece_high, box_of, variable_of = cut
    keep = np.array(data.draw(st.lists(st.booleans(), min_size=len(box_of), max_size=len(box_of))), dtype=bool)
    values = data.draw(st.lists(st.integers(-3, 3), min_size=len(box_of), max_size=len(box_of)))
    value_of = np.array(values, dtype=float)
    child_low, child_high, bound = narrowed(lows, highs, cut, keep, value_of)
    assert (child_low <= child_high).all() and len(child_low) == len(child_high) == len(bound)
    in_some_box = [((child_low >= a) & (child_high <= b)).all(axis=1) for a, b in zip(lows, highs, strict=True)]
    assert np.any(in_some_box, axis=0).all()
    for number in range(len(boxes)):
        sides = []
        for k in range(width):
            mine = np.flatnonzero((box_of == number) & (variable_of == k))
            others = [j for j in range(width) if j != k]
            assert (piece_low[mine][:, others] == lows[number, others]).all()
            assert (piece_high[mine][:, others] == highs[number, others]).all()
            tiles = [(x, piece) for piece in mine for x in range(piece_low[piece, k], piece_high[piece, k] + 1)]
            assert [x for x, _ in tiles] == list(range(lows[number, k], highs[number, k] + 1))
            assert len(mine) == min(8, highs[number, k] - lows[number, k] + 1)
            sides.append(tiles)
        for choice in itertools.product(*sides):
            at, through = np.array([x for x, _ in choice]), [piece for _, piece in choice]
            if keep[through].all():
                there = ((child_low <= at) & (child_high >= at)).all(axis=1)
                assert there.any() and bound[there].max() >= value_of[through].min()


def test_nothing_waits_in_an_empty_store() -> None:
    waiting = Waiting()
    waiting.put(np.zeros((0, 2), dtype=np.intp), np.zeros((0, 2), dtype=np.intp), np.zeros(0))
    assert waiting.bound == -np.inf
    assert waiting.take(4, -5.0) is None


@pytest.mark.parametrize("here", [[0, 0, 0], [5, 0, 9], [30, 30, 30]])
def test_steps_around_a_choice_stay_inside_and_miss_no_near_one(here: list[int]) -> None:
    """Every choice one step away in one or in two variables is tried, and every one up to 12 steps away in one."""
    low, high = np.array([0, 0, 2]), np.array([40, 6, 35])
    start = np.clip(np.array(here), low, high)
    tries = {tuple(row) for row in around(start, low, high).tolist()}
    assert all((np.array(row) >= low).all() and (np.array(row) <= high).all() for row in tries)
    assert tuple(start.tolist()) not in tries
    wanted = set()
    for k in range(3):
        for step in (*range(-12, 13), 16, -16, 24, -24):
            row = start.copy()
            row[k] += step
            wanted.add(tuple(row.tolist()))
        for other in range(k):
            for a in (1, -1):
                for b in (1, -1):
                    row = start.copy()
                    row[[k, other]] += a, b
                    wanted.add(tuple(row.tolist()))
    wanted.discard(tuple(start.tolist()))
    inside = {row for row in wanted if (np.array(row) >= low).all() and (np.array(row) <= high).all()}
    assert inside <= tries


# settled readings

PIN = Netlist(["pin", "ref", "ret"], ["ref", "ret"], [("pull", "ref", "pin"), ("coder", "pin", "ret")])
INF = np.inf


@pytest.mark.parametrize(
    ("low_s", "high_s", "rails_v", "unsettled"),
    [
        ((1e-3, 0.0), (1e-3, 1e-2), ([5.0, 0.0], [5.0, 0.0]), False),  # the pull always holds the pin
        ((0.0, 1e-3), (1e-3, 1e-2), ([5.0, 0.0], [5.0, 0.0]), False),  # the coder does
        ((0.0, 0.0), (1e-3, 1e-2), ([5.0, 0.0], [5.0, 0.0]), True),  # somewhere in the box nothing does
        ((1e-3, 1e-3), (INF, 1e-2), ([5.0, 0.0], [5.0, 0.0]), False),  # one short ties the pin to one rail
        ((1e-3, 1e-3), (INF, INF), ([5.0, 0.0], [5.0, 0.0]), True),  # two short unlike rails
        ((1e-3, 1e-3), (INF, INF), ([5.0, 5.0], [5.0, 5.0]), False),  # like rails may be joined
        ((1e-3, 1e-3), (INF, INF), ([5.0, 5.0], [5.0, 6.0]), True),  # unlike at one end of the second rail's range
    ],
)
def test_where_a_reading_is_not_settled_is_told(
    low_s: tuple[float, ...], high_s: tuple[float, ...], rails_v: tuple[list[float], list[float]], unsettled: bool
) -> None:
    """A pull to a reference and a coder to the return; conductances anywhere in their box."""
    low, high = np.array([low_s]), np.array([high_s])
    member = Member(low[0], high[0], Sources.ranges(*rails_v), Reading("pin"), 5.0)
    _, found = directions(PIN, PIN.node_index("pin"), [member], low, high)
    assert found.tolist() == [unsettled]


@pytest.mark.parametrize("idle_causes", [0, 7])
def test_a_direction_holds_for_mixed_corners_too(idle_causes: int) -> None:
    """A reference of 4 to 6 V and a rail of 5 to 7 V: the rail is above where both are low or both high, not where they
    are mixed. Seven more causes that move nothing make the corners too many to list; then nothing may be claimed."""
    low, high = np.array([4.0, 5.0] + [0.0] * idle_causes), np.array([6.0, 7.0] + [1.0] * idle_causes)
    gain = np.zeros((2, len(low)))
    gain[0, 0] = gain[1, 1] = 1.0
    ends = np.array([[1e-3, 1e-4]]), np.array([[1e-3, 1e-2]])
    member = Member(ends[0][0], ends[1][0], Sources(low, high, np.zeros(2), gain), Reading("pin"), 10.0)
    signs, _ = directions(PIN, PIN.node_index("pin"), [member], *ends)
    assert signs[0, PIN.edge_index("coder")] == OPEN
    steady = replace(member, sources=Sources(low, np.where(np.arange(len(low)) == 0, 4.5, high), np.zeros(2), gain))
    signs, _ = directions(PIN, PIN.node_index("pin"), [steady], *ends)
    assert signs[0, PIN.edge_index("coder")] in ((RISES,) if idle_causes == 0 else (RISES, OPEN))


# how far a choice misses, and what a part must state


def test_how_far_a_reading_misses_is_told_in_readings() -> None:
    """A margin counts in half windows (here 0.5 and 2), that of meanings to be kept apart in their own scale."""
    narrow = Window("a", Edge(1.0, 1.0, 1.0), Edge(2.0, 2.0, 2.0), 0.5, "measured", "command")
    wide = Window("b", Edge(4.0, 4.0, 4.0), Edge(8.0, 8.0, 8.0), 2.0, "measured", "command")
    assert _depth(Demand("x", "inside", 0, (narrow,)), -0.4) == pytest.approx(0.2)
    assert _depth(Demand("x", "clear", 0, (narrow, wide)), -0.4) == pytest.approx(0.2)
    assert _depth(Demand("x", "clear", 0, (wide,)), -0.4) == pytest.approx(0.8)
    assert _depth(Demand("x", "apart", 0, (), 1, 0.1, 5.0), -0.4) == pytest.approx(2.0)
    assert _depth(Demand("x", "inside", 0, (narrow,)), 0.4) == 0.0
    assert _depth(Demand("x", "inside", 0, (narrow,)), -INF) == INF


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({}, "either a tolerance, or measured"),
        (
            {"tolerance": 0.01, "measured_ohm": 101.0, "measured_uncertainty_ohm": 1.0},
            "either a tolerance, or measured",
        ),
        ({"measured_ohm": 101.0}, "either a tolerance, or measured"),
        ({"tolerance": 0.01, "count": -1}, "count of 0 or more"),
        ({"tolerance": 1.0}, "not above zero"),
        ({"measured_ohm": 1.0, "measured_uncertainty_ohm": 1.0}, "not above zero"),
    ],
)
def test_a_part_states_its_range_in_one_way(stated: dict[str, float], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        Part(100.0, **stated)  # type: ignore[arg-type]
    for ohm in (0.0, -1.0, INF):
        with pytest.raises(ValueError, match="ohms above zero"):
            Part(ohm, 0.01)
    assert Part(100.0, 0.01, 0).count == 0


# the objective and the stock


def test_levels_take_the_smallest_margin_of_each_group_first() -> None:
    """By hand: group 0 has 0.5, 0.2, 0.9; group 1 has 0.1, 0.4. First both smallest, then the rest of 0, then of 1."""
    margins = np.array([[0.5, 0.1, 0.2, 0.4, 0.9], [1.0, 2.0, 3.0, 1.5, 0.0]])
    demands = tuple(Demand(str(i), "inside", 0, group=group) for i, group in enumerate((0, 1, 0, 1, 0)))
    sequence = Problem(PIN, (), (), demands).sequence()
    assert sequence == ((0, 0), (1, 0), (0, 1), (0, 2), (1, 1))
    levels = levels_of(margins, [0, 1, 0, 1, 0], sequence)
    assert levels.tolist() == [[0.2, 0.1, 0.5, 0.9, 0.4], [0.0, 1.5, 1.0, 3.0, 2.0]]
    alone = tuple(Demand(str(i), "inside", 0) for i in range(3))
    sequence = Problem(PIN, (), (), alone).sequence()
    assert levels_of(margins[:, :3], [0, 0, 0], sequence).tolist() == [[0.1, 0.2, 0.5], [1.0, 2.0, 3.0]]


def test_a_tie_is_a_thousandth_of_the_best() -> None:
    """Level by level: what lies further below the best than that is out, however good it is later."""
    levels = np.array([[0.5, 0.1], [0.4996, 0.9], [0.499, 5.0], [0.5, 0.8995]])
    assert still_in_race(levels).tolist() == [1, 3]
    assert still_in_race(levels, first=1).tolist() == [2]
    assert still_in_race(levels[:1]).tolist() == [0]
    assert (tie(0.5), tie(-0.5), tie(0.0), tie(-INF)) == (0.0005, 0.0005, 1e-6, 0.0)


def stocked(*counts: int) -> Problem:
    """Two resistors out of a drawer: one may be part 0 or part 1, the other part 1 or two of part 2 in series."""
    a = Candidate(10.0, 9.9, 10.1, ("a",), 0, ((0, 1),))
    b = Candidate(20.0, 19.8, 20.2, ("b",), 3, ((1, 1),))
    c = Candidate(60.0, 59.0, 61.0, ("c", "c"), 1, ((2, 2),))
    return Problem(PIN, (Variable("pull", (a, b)), Variable("coder", (b, c))), (), (), counts)


def test_no_part_is_taken_more_often_than_it_is_there() -> None:
    choices = [(0, 0), (0, 1), (1, 0), (1, 1)]
    assert [stocked(1, 1, 2).in_stock(each) for each in choices] == [True, True, False, True]
    assert [stocked(1, 2, 1).in_stock(each) for each in choices] == [True, False, True, False]
    assert [stocked(0, 2, 2).in_stock(each) for each in choices] == [False, False, True, True]
    assert all(stocked().in_stock(each) for each in choices)  # bought new: as many as it takes
    for counts in ((1, 1, 2), (1, 2, 1), (0, 2, 2)):
        problem = stocked(*counts)
        for each in choices:
            fixed = np.array(each)
            assert problem.may_be_in_stock(fixed, fixed) is problem.in_stock(each)
        assert problem.may_be_in_stock(np.array([0, 0]), np.array([1, 1]))  # nothing is settled yet
    assert not stocked(0, 2, 2).may_be_in_stock(np.array([0, 0]), np.array([0, 1]))
    assert stocked(1, 1, 2).assignments == 4


def test_of_choices_that_tie_the_one_with_fewest_and_commonest_parts_is_taken() -> None:
    problem = stocked(2, 2, 2)
    choices = [(0, 0), (0, 1), (1, 0), (1, 1)]
    # one kind of part, be it rare; then two kinds: the rarest decides (1 before 3), then the next (0 before 1)
    assert sorted(choices, key=lambda each: tie_key(problem, each)) == [(1, 0), (0, 1), (0, 0), (1, 1)]
    # the rarest part decides before the others do: twice 1 before 0 and 2
    ranks = [Candidate(1.0, 1.0, 1.0, (f"p{rank}",), rank) for rank in (0, 1, 1, 2)]
    even = Problem(PIN, (Variable("pull", (ranks[0], ranks[1])), Variable("coder", (ranks[2], ranks[3]))), (), ())
    twice = replace(even.variables[1].candidates[0], parts=("q",))
    even = replace(even, variables=(even.variables[0], Variable("coder", (twice, ranks[3]))))
    assert sorted([(0, 1), (1, 0)], key=lambda each: tie_key(even, each)) == [(1, 0), (0, 1)]
    # all alike but for the ohms: the smallest in the order of the problem
    same = [Candidate(ohm, ohm, ohm, ("d",), 2) for ohm in (1.0, 2.0)]
    alike = Problem(PIN, (Variable("pull", tuple(same)), Variable("coder", tuple(same))), (), ())
    assert min([(1, 0), (0, 1), (1, 1)], key=lambda each: tie_key(alike, each)) == (0, 1)
