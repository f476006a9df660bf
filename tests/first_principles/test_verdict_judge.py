"""The three-way judgement against its definition, tried out on a grid of readings and edge positions."""

import dataclasses
import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.verdict import Edge, Judgement, Reading, Verdict, Window, combine, judge_clear, judge_inside, worst

INF = math.inf


def window(lower, upper, *, meaning="up", half=1.0, basis="measured"):
    """A window from (low, nominal, high) triples, or None for an open side."""
    edges = [None if one is None else Edge(one[0], one[2], one[1]) for one in (lower, upper)]
    return Window(meaning, edges[0], edges[1], half, basis, "command")


UP = window((0.9, 1.0, 1.1), (2.9, 3.0, 3.1))


@st.composite
def windows(draw, bases=("measured",)):
    lower = sorted(draw(st.lists(st.integers(0, 8), min_size=3, max_size=3)))
    upper = sorted(draw(st.lists(st.integers(2, 12), min_size=3, max_size=3)))
    sides = draw(st.sampled_from(["both", "both", "both", "lower", "upper"]))
    if sides == "both" and lower[1] >= upper[1]:
        upper = [one + lower[1] - upper[1] + 1 for one in upper]
    return window(
        lower if sides != "upper" else None,
        upper if sides != "lower" else None,
        half=draw(st.sampled_from([0.5, 1.0, 4.0])),
        basis=draw(st.sampled_from(bases)),
    )


@st.composite
def readings(draw):
    ends = sorted(draw(st.lists(st.integers(-2, 16), min_size=4, max_size=4)))
    return Reading(ends[0], ends[3], ends[1], ends[2])


def grid(low, high):
    """Every half from low to high: between any two different whole numbers there is one."""
    return [low + step / 2 for step in range(int((high - low) * 2) + 1)]


def positions(one):
    """Every whole position of a window's two edges."""
    sides = []
    for edge, rail in ((one.lower, -INF), (one.upper, INF)):
        sides.append([rail] if edge is None else range(int(edge.low), int(edge.high) + 1))
    return list(itertools.product(*sides))


@given(readings(), st.lists(windows(), max_size=3))
def test_inside_is_what_its_definition_says(reading, allowed):
    held = any(
        all(low <= x <= high for low, high in positions(one) for x in (reading.low, reading.high)) for one in allowed
    )
    lost = any(
        all(not low <= x <= high for one in allowed for low, high in positions(one))
        for x in grid(reading.inner_low, reading.inner_high)
    )
    found = judge_inside(reading, allowed)
    assert found.verdict is (Verdict.PASS if held else Verdict.FAIL if lost else Verdict.NOT_SHOWN)
    assert (found.margin >= 0.0) == held
    assert not (held and lost)


@given(readings(), st.lists(windows(), max_size=3))
def test_clear_is_what_its_definition_says(reading, forbidden):
    held = all(
        not low <= x <= high
        for one in forbidden
        for low, high in positions(one)
        for x in grid(reading.low, reading.high)
    )
    met = any(
        all(low < x < high for low, high in positions(one))
        for one in forbidden
        for x in grid(reading.inner_low, reading.inner_high)
    )
    found = judge_clear(reading, forbidden)
    assert found.verdict is (Verdict.PASS if held else Verdict.FAIL if met else Verdict.NOT_SHOWN)
    assert (found.margin > 0.0) == held


@given(readings(), st.lists(windows(("measured", "assumed")), min_size=1, max_size=3))
def test_nothing_passes_on_assumed_windows_alone(reading, listed):
    firm = [one for one in listed if one.basis != "assumed"]
    inside = judge_inside(reading, listed)
    if inside.verdict is Verdict.PASS:
        assert judge_inside(reading, firm).verdict is Verdict.PASS
    clear = judge_clear(reading, listed)
    if len(firm) < len(listed):
        assert clear.verdict is not Verdict.PASS
    assert (clear.verdict is Verdict.FAIL) == (
        judge_clear(reading, [window_as_measured(one) for one in listed]).verdict is Verdict.FAIL
    )


def window_as_measured(one):
    return Window(one.meaning, one.lower, one.upper, one.nominal_half_width, "measured", one.kind)


def mirrored_window(one):
    """The same window with the reading axis turned round."""
    lower, upper = (
        None if edge is None else Edge(-edge.high, -edge.low, -edge.nominal) for edge in (one.upper, one.lower)
    )
    return Window(one.meaning, lower, upper, one.nominal_half_width, one.basis, one.kind)


@given(readings(), st.lists(windows(), min_size=1, max_size=3), st.sampled_from([judge_inside, judge_clear]))
def test_turning_the_axis_round_changes_only_the_side(reading, listed, judge):
    mirrored = Reading(-reading.high, -reading.low, -reading.inner_high, -reading.inner_low)
    one, other = judge(reading, listed), judge(mirrored, [mirrored_window(each) for each in listed])
    assert (one.verdict, one.margin) == (other.verdict, other.margin)


@given(readings(), windows(), st.sampled_from([judge_inside, judge_clear]))
def test_less_knowledge_never_helps(reading, one, judge):
    """A wider outer bound, or edges that may lie further out, can only lower margin and rank of a pass."""
    before = judge(reading, [one])
    wider = Reading(reading.low - 1, reading.high + 1, reading.inner_low, reading.inner_high)
    edges = [
        None if edge is None else Edge(edge.low - 1, edge.high + 1, edge.nominal) for edge in (one.lower, one.upper)
    ]
    vaguer = Window(one.meaning, edges[0], edges[1], one.nominal_half_width, one.basis, one.kind)
    for after in (judge(wider, [one]), judge(reading, [vaguer])):
        assert after.margin <= before.margin
        if before.verdict is not Verdict.PASS:
            assert after.verdict is not Verdict.PASS


def test_margin_is_the_worst_end_in_half_windows():
    """Edges at 1.1 and 2.9 at worst, half width 1: 1.6 is 0.5 inside, 2.7 is 0.2 inside."""
    found = judge_inside(Reading.exact(1.6, 2.7), [UP])
    assert (found.verdict, found.side, found.window) == (Verdict.PASS, "high", "up")
    assert found.margin == pytest.approx(0.2)
    below = judge_clear(Reading.exact(0.2, 0.5), [UP])
    assert (below.verdict, below.side) == (Verdict.PASS, "high")
    assert below.margin == pytest.approx(0.4)


def test_touching_is_inside_but_not_clear():
    assert judge_inside(Reading.exact(1.1, 2.9), [UP]) == Judgement(Verdict.PASS, 0.0, "up", "low")
    assert judge_clear(Reading.exact(0.0, 0.9), [UP]).verdict is Verdict.NOT_SHOWN
    assert judge_clear(Reading.exact(3.1, 4.0), [UP]).margin == 0.0


def test_windows_that_touch_leave_no_gap_to_fall_into():
    low, high = window((0, 0, 0), (1, 1, 1)), window((1, 1, 1), (2, 2, 2))
    assert judge_inside(Reading.exact(0.5, 1.5), [low, high]).verdict is Verdict.NOT_SHOWN
    gap = window((1.1, 1.1, 1.1), (2, 2, 2))
    assert judge_inside(Reading.exact(0.5, 1.5), [low, gap]).verdict is Verdict.FAIL
    # 73 % and 75 % of 5 V, each uncertain by 0.05 V, touch at 3.7 V; in binary they are one last digit apart
    below, above = 0.73 * 5.0, 0.75 * 5.0
    assert below + 0.05 < above - 0.05
    manual = window((2.5, 2.5, 2.5), (below - 0.05, below, below + 0.05))
    up = window((above - 0.05, above, above + 0.05), (9, 9, 9))
    assert judge_inside(Reading.exact(3.1, 4.8), [manual, up]).verdict is Verdict.NOT_SHOWN


def test_only_the_attained_part_can_fail():
    assert judge_inside(Reading(0.0, 5.0, 1.5, 2.5), [UP]).verdict is Verdict.NOT_SHOWN
    assert judge_inside(Reading(0.0, 5.0, 0.0, 2.5), [UP]).verdict is Verdict.FAIL
    assert judge_clear(Reading(0.0, 5.0, 4.0, 5.0), [UP]).verdict is Verdict.NOT_SHOWN
    assert judge_clear(Reading(0.0, 5.0, 2.0, 5.0), [UP]).verdict is Verdict.FAIL


def test_a_rail_is_no_edge():
    idle = window((4.0, 4.2, 4.4), None, meaning="open")
    found = judge_inside(Reading.exact(5.0, INF), [idle])
    assert (found.verdict, found.side) == (Verdict.PASS, "low")
    assert found.margin == pytest.approx(0.6)
    railed = Window("open", Edge(4.0, 4.4, 4.2), Edge(INF, INF, INF), 1.0, "measured", "idle")
    assert judge_inside(Reading.exact(5.0, INF), [railed]) == found
    assert judge_clear(Reading.exact(INF, INF), [railed]).verdict is Verdict.FAIL
    everything = window(None, None)
    assert judge_inside(Reading.exact(-5.0, 5.0), [everything]) == Judgement(Verdict.PASS, INF, "up", "")
    assert judge_clear(Reading.exact(-5.0, 5.0), [everything]) == Judgement(Verdict.FAIL, -INF, "up", "")


@pytest.mark.parametrize("reading", [None, Reading(math.nan, math.nan, math.nan, math.nan), Reading(1, 2, math.nan, 2)])
def test_a_floating_pin_shows_nothing(reading):
    for judge in (judge_inside, judge_clear):
        for listed in ([], [UP]):
            assert judge(reading, listed) == Judgement(Verdict.NOT_SHOWN, -INF, None, "")


def test_no_windows_at_all():
    assert judge_inside(Reading.exact(1.0, 2.0), []).verdict is Verdict.FAIL
    assert judge_clear(Reading.exact(1.0, 2.0), []) == Judgement(Verdict.PASS, INF, None, "")


def test_assumed_edges_give_at_best_would_hold():
    guess = window((0.9, 1.0, 1.1), (2.9, 3.0, 3.1), basis="assumed")
    assert judge_inside(Reading.exact(2.0, 2.0), [guess]).verdict is Verdict.WOULD_HOLD
    assert judge_clear(Reading.exact(4.0, 4.0), [guess]).verdict is Verdict.WOULD_HOLD
    assert judge_inside(Reading.exact(4.0, 4.0), [guess]).verdict is Verdict.FAIL
    assert judge_inside(Reading.exact(2.0, 2.0), [guess, UP]).verdict is Verdict.PASS


def test_a_pass_is_reported_by_the_window_that_carries_it():
    """The guessed window gives the larger margin, but the pass and its margin are the measured one's."""
    guess = window((0.0, 0.0, 0.0), (4.0, 4.0, 4.0), meaning="guess", basis="assumed")
    found = judge_inside(Reading.exact(2.0, 2.0), [guess, UP])
    assert (found.verdict, found.window) == (Verdict.PASS, "up")
    assert found.margin == pytest.approx(0.9)


def test_one_assumed_window_among_the_forbidden_is_enough_to_doubt():
    guess = window((8.0, 8.0, 8.0), (9.0, 9.0, 9.0), meaning="guess", basis="assumed")
    found = judge_clear(Reading.exact(4.0, 4.0), [UP, guess])
    assert (found.verdict, found.window) == (Verdict.WOULD_HOLD, "up")


def test_edges_that_may_lie_at_infinity():
    """In ohms an edge may lie anywhere up to open; an open line then touches it, and nan must not come out."""
    vague = window((100.0, 200.0, 300.0), (5e3, 6e3, INF), half=1e3)
    assert judge_clear(Reading.exact(INF, INF), [vague]) == Judgement(Verdict.NOT_SHOWN, 0.0, "up", "low")
    beyond = window((5e3, 6e3, INF), None, meaning="open", half=1e3)
    assert judge_inside(Reading.exact(INF, INF), [beyond]) == Judgement(Verdict.PASS, 0.0, "open", "low")
    assert judge_inside(Reading.exact(9e3, INF), [beyond]).verdict is Verdict.NOT_SHOWN


def test_order_and_exit_codes():
    order = [Verdict.FAIL, Verdict.NOT_SHOWN, Verdict.WOULD_HOLD, Verdict.PASS]
    assert [one.rank for one in order] == [0, 1, 2, 3]
    assert [one.exit_code for one in order] == [1, 1, 1, 0]
    assert [one.holds for one in order] == [False, False, True, True]
    assert [str(one) for one in order] == ["fail", "not shown", "would hold if", "pass"]
    for count in (1, 2, 3):
        for some in itertools.product(order, repeat=count):
            assert worst(some) is order[min(order.index(one) for one in some)]
    with pytest.raises(ValueError, match="not a pass"):
        worst([])


def test_combining_keeps_the_judgement_that_decides():
    good, better = Judgement(Verdict.PASS, 0.1, "up", "low"), Judgement(Verdict.PASS, 0.4, "down", "low")
    bad = Judgement(Verdict.NOT_SHOWN, -0.2, "up", "high")
    assert combine(better, good) == good
    assert combine(better, bad, good) == bad
    with pytest.raises(ValueError, match="not a pass"):
        combine()


@pytest.mark.parametrize(
    "make",
    [
        lambda: Edge(2.0, 1.0, 1.5),
        lambda: Edge(1.0, 2.0, 3.0),
        lambda: Edge(math.nan, 2.0, 1.5),
        lambda: Window("up", None, None, 0.0, "measured", "command"),
        lambda: Window("up", None, None, INF, "measured", "command"),
        lambda: Window("up", None, None, 1.0, "guessed", "command"),
        lambda: Window("up", None, None, 1.0, "measured", "order"),
        lambda: Window("up", Edge(3, 3, 3), Edge(1, 1, 1), 1.0, "measured", "command"),
        lambda: Reading(2.0, 1.0, 1.2, 1.3),
        lambda: Reading(1.0, 2.0, 0.5, 1.5),
        lambda: Reading(1.0, 2.0, 1.8, 1.2),
    ],
)
def test_what_cannot_be_is_refused(make):
    with pytest.raises(ValueError, match="."):
        make()


def test_guaranteed_and_largest():
    assert UP.guaranteed() == (1.1, 2.9)
    assert UP.largest() == (0.9, 3.1)
    assert window(None, (2, 3, 4)).guaranteed() == (-INF, 2)
    crossed = window((0, 1, 3), (2, 4, 5))
    assert crossed.guaranteed() == (3, 2)
    assert judge_inside(Reading.exact(2.5, 2.5), [crossed]).verdict is Verdict.NOT_SHOWN


def test_margins_are_counted_in_half_windows_of_any_width():
    """A window from 1 to 9, half of it 4: a reading from 3 to 6 is 2 from the lower edge, so half a half window."""
    wide = window((1.0, 1.0, 1.0), (9.0, 9.0, 9.0), half=4.0)
    assert judge_inside(Reading.exact(3.0, 6.0), [wide]).margin == pytest.approx(0.5)
    assert judge_inside(Reading.exact(3.0, 8.0), [wide]).margin == pytest.approx(0.25)
    assert judge_clear(Reading.exact(11.0, 12.0), [wide]).margin == pytest.approx(0.5)
    assert judge_clear(Reading.exact(-1.0, 0.0), [wide]).margin == pytest.approx(0.25)


def test_the_window_with_most_room_decides_what_must_be_read():
    """2.5 to 3 lies 0.5 inside the first window (above its lower edge) and 1 inside the second (below its upper)."""
    near = window((2, 2, 2), (9, 9, 9), meaning="near")
    roomy = window((0, 0, 0), (4, 4, 4), meaning="roomy")
    for listed in ([near, roomy], [roomy, near]):
        assert judge_inside(Reading.exact(2.5, 3.0), listed) == Judgement(Verdict.PASS, 1.0, "roomy", "high")
    for listed in ([UP, roomy], [roomy, UP]):
        lost = judge_inside(Reading.exact(-2.0, 1.0), listed)
        assert (lost.verdict, lost.window, lost.side) == (Verdict.FAIL, "roomy", "low")
        assert lost.margin == pytest.approx(-2.0)
    open_ended = window((2, 2, 2), None, meaning="open")
    assert judge_inside(Reading.exact(1.0, 3.0), [open_ended]) == Judgement(Verdict.FAIL, -1.0, "open", "low")
    assert judge_inside(Reading.exact(1.0, 3.0), []) == Judgement(Verdict.FAIL, -INF, None, "")


def test_the_window_nearest_or_most_surely_met_decides_what_must_not_be_read():
    down, up = window((0, 0, 0), (1, 1, 1), meaning="down"), window((6, 6, 6), (8, 8, 8), meaning="up")
    for listed in ([down, up], [up, down]):
        assert judge_clear(Reading.exact(2.0, 3.0), listed) == Judgement(Verdict.PASS, 1.0, "down", "low")
        assert judge_clear(Reading.exact(3.0, 5.5), listed) == Judgement(Verdict.PASS, 0.5, "up", "high")
        # both are met: 0.25 deep into down, 1 deep into up
        assert judge_clear(Reading.exact(0.75, 7.0), listed) == Judgement(Verdict.FAIL, -1.0, "up", "high")
        assert judge_clear(Reading.exact(0.25, 6.5), listed) == Judgement(Verdict.FAIL, -0.75, "down", "low")
    # deeper in a window that may not be there than in the one that surely is: the sure one is named
    vague = window((2, 5, 8), (2, 5.5, 9), meaning="vague")
    sure = window((4, 4, 4), (5, 5, 5), meaning="sure")
    for listed in ([vague, sure], [sure, vague]):
        found = judge_clear(Reading.exact(4.75, 6.0), listed)
        assert (found.verdict, found.window, found.side) == (Verdict.FAIL, "sure", "low")
        assert found.margin == pytest.approx(-4.0)
    touched = judge_clear(Reading.exact(1.0, 2.0), [down])
    assert touched == Judgement(Verdict.NOT_SHOWN, 0.0, "down", "low")


def test_a_window_further_on_takes_nothing_from_the_one_that_holds_the_reading():
    """The reading ends where the first window's edge may or may not lie; a second one further on is no gap."""
    first, later = window((0, 0, 0), (2, 3, 4)), window((7, 7, 7), (9, 9, 9), meaning="later")
    for listed in ([first], [first, later], [later, first]):
        assert judge_inside(Reading.exact(1.0, 3.0), listed).verdict is Verdict.NOT_SHOWN
        assert judge_inside(Reading.exact(1.0, 5.0), listed).verdict is Verdict.FAIL


def test_rails_at_both_ends_of_the_axis_are_no_edges():
    """The mirror of the open line: a window without a lower edge holds a reading however low."""
    low_end = window(None, (-5.0, -4.8, -4.6), meaning="low end")
    assert judge_clear(Reading.exact(-INF, -INF), [low_end]).verdict is Verdict.FAIL
    assert judge_inside(Reading.exact(-INF, -6.0), [low_end]).verdict is Verdict.PASS
    railed = Window("low end", Edge(-INF, -INF, -INF), low_end.upper, 1.0, "measured", "idle")
    assert railed.stated() == (-INF, -4.8)
    assert railed.guaranteed() == (-INF, -5.0)
    assert railed.largest() == (-INF, -4.6)
    assert judge_inside(Reading.exact(-INF, -6.0), [railed]) == judge_inside(Reading.exact(-INF, -6.0), [low_end])


def test_stated_edges_are_those_of_the_file():
    assert UP.stated() == (1.0, 3.0)
    assert window(None, (2, 3, 4)).stated() == (-INF, 3)
    assert window((2, 3, 4), None).stated() == (3, INF)
    assert window((2, 3, 4), None).guaranteed() == (4, INF)
    assert window((2, 3, 4), None).largest() == (2, INF)
    assert window(None, (2, 3, 4)).largest() == (-INF, 4)


@pytest.mark.parametrize("place", range(3))
def test_an_edge_that_is_no_number_is_told_as_such(place):
    """Whichever of the three it is: "not nan" helps more than an order that does not hold."""
    numbers = [1.0, 2.0, 1.5]
    numbers[place] = math.nan
    with pytest.raises(ValueError, match="must be a number, not nan"):
        Edge(*numbers)
    with pytest.raises(ValueError, match="low <= nominal <= high, not 1.0, 3.0, 2.0"):
        Edge(1.0, 2.0, 3.0)
    assert Edge(1.0, 1.0, 1.0).exists and not Edge(1.0, INF, INF).exists


def test_the_attained_part_may_leave_the_bound_by_rounding_only():
    """Two ways to the same end differ in the last digits; a millionth is a mistake."""
    inside = Reading(1000.0, 2000.0, 1000.0 - 1e-7, 2000.0 + 1e-7)
    assert inside.is_settled
    for wrong in ((1000.0, 2000.0, 1000.0 - 1e-3, 2000.0), (1000.0, 2000.0, 1000.0, 2000.0 + 1e-3)):
        with pytest.raises(ValueError, match="within its outer bound"):
            Reading(*wrong)
    with pytest.raises(ValueError, match="within its outer bound"):
        Reading(INF, INF, 5.0, INF)


@pytest.mark.parametrize("place", range(4))
def test_any_end_that_is_no_number_makes_a_reading_unsettled(place):
    ends = [0.0, 4.0, 1.0, 3.0]
    assert Reading(*ends).is_settled
    ends[place] = math.nan
    assert not Reading(*ends).is_settled
    turned = [4.0, 0.0, 3.0, 1.0]  # nothing is asked of the other ends, there is no reading
    turned[place] = math.nan
    assert not Reading(*turned).is_settled


def test_a_window_without_width_is_refused():
    with pytest.raises(ValueError, match="lower edge 2 is not below upper edge 2"):
        window((2, 2, 2), (2, 2, 2))


def test_the_slack_for_rounding_is_that_of_the_larger_end():
    """A span from zero has rounding of the size of its other end."""
    assert Reading(0.0, 2000.0, 0.0, 2000.0 + 1e-7).is_settled
    assert Reading(-2000.0, 0.0, -2000.0 - 1e-7, 0.0).is_settled
    with pytest.raises(ValueError, match="low end is above its high end"):
        Reading(2.0, 1.0, 1.2, 1.3)


@pytest.mark.parametrize("made", [UP, UP.lower, Reading.exact(1.0, 2.0), judge_inside(None, [UP])])
def test_what_was_judged_cannot_be_changed_afterwards(made):
    name = dataclasses.fields(made)[0].name
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(made, name, None)


@pytest.mark.parametrize(("low", "high"), [(0.9, 0.9), (3.1, 3.1), (0.9, 2.0), (2.0, 3.1), (0.9, 3.1)])
def test_a_reading_that_touches_the_largest_extent_is_not_shown(low, high):
    """With the edges at their furthest it lies inside; a hair further out it cannot."""
    assert judge_inside(Reading.exact(low, high), [UP]).verdict is Verdict.NOT_SHOWN
    if low == 0.9:
        assert judge_inside(Reading.exact(low - 1e-6, high), [UP]).verdict is Verdict.FAIL
    if high == 3.1:
        assert judge_inside(Reading.exact(low, high + 1e-6), [UP]).verdict is Verdict.FAIL


def test_a_window_that_is_sure_at_one_point_only_is_met_by_nothing():
    """Lower edge up to 2, upper edge from 2 on: only 2 itself is sure to lie inside, and touching is no fail."""
    point = window((0, 1, 2), (2, 3, 4))
    assert judge_clear(Reading.exact(1.0, 3.0), [point]).verdict is Verdict.NOT_SHOWN
    hair = window((0, 1, 1.999), (2, 3, 4))
    assert judge_clear(Reading.exact(1.0, 3.0), [hair]).verdict is Verdict.FAIL
