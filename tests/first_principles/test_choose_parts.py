"""Parts to choose from, what a choice says of them, and which parts a cure is bought with."""

from __future__ import annotations

import dataclasses
import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.choose import (
    Choice,
    Drawer,
    Part,
    certificate,
    changes_for,
    choose,
    drawer,
    parts,
    problem,
    results,
)
from pinproof.choose.build import sites_of
from pinproof.choose.certificate import Certificate
from pinproof.choose.drawer import Made
from pinproof.choose.order import tie
from pinproof.choose.parts import Site, as_it_stands, from_series, only_settled, part_name, rarity_of
from pinproof.choose.pick import ohm_text
from pinproof.choose.problem import Candidate, Variable
from pinproof.choose.ranges import RangeEnds
from pinproof.choose.results import SituationMargin
from pinproof.design import loads
from pinproof.design.model import Resistor
from pinproof.errors import NoSolution
from pinproof.verdict import Verdict
from pinproof.wiring import line_view
from tests.first_principles.test_choose_pick import truck_text

TWO = ('"1.5k"', '"470 ohm"')  # both taps stand, the lever's own resistor is to be chosen


def quick(text: str | None = None, **how: object) -> Choice:
    """A choice from a coarse series."""
    given = {"source": "E3", "low_ohm": 100.0, "high_ohm": 10e3, "runners_up": 0, "explain": False} | how
    return choose(loads(text or truck_text()), "taps", **given)  # type: ignore[arg-type]


def part(**changed: object) -> Resistor:
    """The lever's own resistor: 1 %, ageing 0.5 %, 100 ppm/K either way."""
    found = loads(truck_text()).contact("lever_manual").resistor
    assert found is not None
    return replace(found, **changed)  # type: ignore[arg-type]


# ranges and single parts


@given(st.lists(st.floats(1.0, 1e6), min_size=1, max_size=20), st.data())
def test_ends_of_a_range_are_the_least_and_the_greatest_in_it(values: list[float], data: st.DataObject) -> None:
    first = data.draw(st.lists(st.integers(0, len(values) - 1), min_size=1, max_size=6))
    last = [data.draw(st.integers(a, len(values) - 1)) for a in first]
    for listed in (values, sorted(values)):
        ends = RangeEnds(np.array(listed))
        spans = [listed[a : b + 1] for a, b in zip(first, last, strict=True)]
        assert ends.smallest(np.array(first), np.array(last)).tolist() == [min(each) for each in spans]
        assert ends.largest(np.array(first), np.array(last)).tolist() == [max(each) for each in spans]


def test_a_part_in_service_by_hand() -> None:
    """1 kΩ ± 1 %, ageing 0.5 %, 100 ppm/K: over -10 to 80 °C 60 K from 20 °C either way, or the sign is known."""
    site = Site(part(), "edge", -10.0, 80.0, -20.0, 90.0)
    wide = (1000.0 * 0.99 * 0.995 * (1 - 0.006), 1000.0 * 1.01 * 1.005 * (1 + 0.006))
    assert site.bounds_ohm(1000.0, 0.01) == pytest.approx(wide)
    finer = (2000.0 * 0.999 * 0.995 * (1 - 0.006), 2000.0 * 1.001 * 1.005 * (1 + 0.006))
    assert site.bounds_ohm(2000.0, 0.001) == pytest.approx(finer)
    # with a known sign over the temperature that all such parts share
    for sign, cold, hot in ((1e-4, 1 - 0.004, 1 + 0.007), (-1e-4, 1 - 0.007, 1 + 0.004)):
        known = replace(site, resistor=part(tempco_per_k=sign, tempco_known=True))
        assert known.bounds_ohm(1000.0, 0.01) == pytest.approx((990.0 * 0.995 * cold, 1010.0 * 1.005 * hot))


def test_parts_of_a_series_and_the_part_that_stands() -> None:
    site = Site(part(ohm=470.0, tolerance=0.05), "edge", 20.0, 20.0, 20.0, 20.0)
    parts = from_series(site, "E3", 100.0, 1000.0, None)
    assert [each.ohm for each in parts] == [100.0, 220.0, 470.0, 1000.0]
    assert [each.parts for each in parts[:2]] == [("100 ohm 5 %",), ("220 ohm 5 %",)]
    assert parts[0].high_ohm == pytest.approx(100.0 * 1.05 * 1.005)
    assert from_series(site, "E3", 100.0, 100.0, 0.01)[0].parts == ("100 ohm 1 %",)
    (stays,) = as_it_stands(site)
    assert (stays.ohm, stays.parts, stays.uses) == (470.0, ("470 ohm 5 %",), ())
    with pytest.raises(NoSolution, match=r"contact\.lever_manual\.resistor has no value"):
        as_it_stands(replace(site, resistor=part(ohm=None)))
    assert part_name(4700.0, 0.005) == "4700 ohm 0.5 %"
    wide, narrow, small = (Candidate(ohm, ohm * (1 - t), ohm * (1 + t), ("x",)) for ohm, t in
                           ((10.0, 0.1), (10.0, 0.01), (9.0, 0.2)))  # fmt: skip
    assert only_settled([wide, narrow, small]) == (small, narrow, wide)


@pytest.mark.parametrize(
    ("multiplier", "rarity"),
    # IEC 60063: E3 to E24 as listed there, E48 to E192 are 10^(n/48) and so on, rounded to three digits
    [(1.0, 0), (4.7, 0), (3.3, 1), (1.2, 2), (9.1, 3), (1.05, 4), (1.02, 5), (1.01, 6), (1.03, 7), (1.0000001, 7)],
)
def test_how_rare_a_value_is(multiplier: float, rarity: int) -> None:
    """The place of the smallest series that has it, in any decade."""
    for decade in (1.0, 10.0, 1000.0, 1e5):
        assert rarity_of(multiplier * decade) == rarity


@pytest.mark.parametrize(
    ("low", "high", "ohm"),
    [(0.0, 1.0, 1.0), (2.0, 1.0, 1.0), (1.0, math.inf, 1.0), (1.0, 2.0, 0.0), (1.0, 2.0, math.inf)],
)
def test_a_candidate_is_a_real_part(low: float, high: float, ohm: float) -> None:
    with pytest.raises(ValueError, match="low_ohm"):
        Candidate(ohm, low, high, ("x",))
    assert (Candidate(1.0, 1.0, 1.0, ("x",)).low_ohm, Candidate(1.0, 1.0, 1.0, ("x",)).rarity) == (1.0, 0)


def test_candidates_stand_in_rising_order() -> None:
    one, two = (Candidate(ohm, ohm, ohm, ("x",)) for ohm in (1.0, 2.0))
    assert Variable("edge", (one, one, two)).high_ohm.tolist() == [1.0, 1.0, 2.0]
    with pytest.raises(ValueError, match="rising order"):
        Variable("edge", (two, one))
    with pytest.raises(ValueError, match="no candidate"):
        Variable("edge", ())


# the drawer


def test_what_the_drawer_makes_by_hand() -> None:
    """100 Ω ± 1 % twice, 300 Ω ± 10 % once; of a 1 kΩ there is none."""
    drawer = Drawer((Part(100.0, 0.01, 2), Part(300.0, 0.1, 1), Part(1000.0, 0.01, 0)))
    made = {(each.join, each.parts): each for each in drawer.made(1.0, 1e6)}
    assert made.keys() == {
        ("single", (0,)), ("single", (1,)), ("series", (0, 0)), ("parallel", (0, 0)), ("series", (0, 1)),
        ("parallel", (0, 1)),
    }  # fmt: skip
    both = made["series", (0, 1)]
    assert (both.ohm, both.low_ohm, both.high_ohm) == pytest.approx((400.0, 99.0 + 270.0, 101.0 + 330.0))
    assert both.tolerance == pytest.approx(31.0 / 400.0)
    beside = made["parallel", (0, 1)]
    low, high = 99.0 * 270.0 / 369.0, 101.0 * 330.0 / 431.0
    assert (beside.ohm, beside.low_ohm, beside.high_ohm) == pytest.approx((75.0, low, high))
    assert beside.tolerance == pytest.approx(max(1.0 - low / 75.0, high / 75.0 - 1.0))
    assert [each.ohm for each in drawer.made(1.0, 1e6)] == sorted(each.ohm for each in drawer.made(1.0, 1e6))
    assert [each.ohm for each in drawer.made(75.0, 200.0)] == pytest.approx([75.0, 100.0, 200.0])
    assert {each.join for each in replace(drawer, pairs=False).made(1.0, 1e6)} == {"single"}
    assert Made(100.0, 100.0, 100.0, "single", (0,)).tolerance == 0.0


def test_a_drawer_that_makes_too_much_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    drawer = Drawer((Part(100.0, 0.01, 2), Part(300.0, 0.1, 1)))
    monkeypatch.setattr("pinproof.choose.drawer.MOST_COMBINATIONS", 6)
    assert len(drawer.made(1.0, 1e6)) == 6
    monkeypatch.setattr("pinproof.choose.drawer.MOST_COMBINATIONS", 5)
    with pytest.raises(NoSolution, match="makes 6 resistances"):
        drawer.made(1.0, 1e6)
    assert len(drawer.made(1.0, 350.0)) == 5


def test_candidates_of_a_drawer_use_its_parts_up() -> None:
    site = Site(part(ageing=0.0, tempco_per_k=0.0), "edge", 20.0, 20.0, 20.0, 20.0)
    drawer = Drawer((Part(100.0, 0.01, 2, "bag"), Part(330.0, 0.1, 1)))
    found = {each.parts: each for each in drawer.candidates(site, 1.0, 1e6) if each.ohm > 70.0}
    assert {names: each.uses for names, each in found.items()} == {
        ("bag",): ((0, 1),), ("330 ohm 10 %",): ((1, 1),), ("bag", "bag"): ((0, 2),),
        ("bag", "330 ohm 10 %"): ((0, 1), (1, 1)),
    }  # fmt: skip
    assert [found[names].rarity for names in (("bag",), ("bag", "330 ohm 10 %"))] == [0, 1]  # the rarer of the two
    series = found["bag", "330 ohm 10 %"]
    assert (series.ohm, series.high_ohm) == pytest.approx((430.0, 430.0 * (1 + 34.0 / 430.0)))
    made = drawer.find(series)
    assert (made.join, made.parts) == ("series", (0, 1))
    with pytest.raises(KeyError):
        drawer.find(replace(series, uses=((0, 2),)))


def test_a_part_says_its_name_and_its_ends() -> None:
    """A label stands for itself; else ohms and tolerance, or that it was measured."""
    plain, named = Part(470.0, 0.05), Part(470.0, 0.05, 1, "blue bag")
    measured = Part(470.0, measured_ohm=468.0, measured_uncertainty_ohm=2.0)
    assert (plain.name, plain.called) == ("470 ohm 5 %", "470 ohm")
    assert (named.name, named.called) == ("blue bag", "blue bag")
    assert (measured.name, measured.called) == ("468 ohm measured", "468 ohm measured")
    assert (plain.low_ohm, plain.high_ohm) == pytest.approx((446.5, 493.5))
    assert (plain.count, Part(470.0, 0.05, 4).count) == (1, 4)
    assert (measured.low_ohm, measured.high_ohm, measured.nominal_ohm) == (466.0, 470.0, 468.0)


# what a choice says


def test_what_is_written_down_of_a_choice() -> None:
    """Values of E3 in their texts; the tolerance only where it is not what the file states."""
    choice = quick()
    assert choice.source == "E3"
    assert {each.series for each in choice.resistors} == {"E3"}
    assert changes_for(choice) == {
        f"contact.lever_{name}.resistor": text
        for name, text in (("manual", "4.7 kohm"), ("up", "2.2 kohm"), ("down", "470 ohm"))
    }
    assert choice.different_parts == ("4700 ohm 1 %", "2200 ohm 1 %", "470 ohm 1 %")
    assert (choice.feasible, choice.verdict, choice.collision) == (False, Verdict.FAIL, None)
    finer = quick(tolerance=0.001)
    assert {path: text for path, text in finer.changes.items() if path.endswith("tolerance")} == {
        f"contact.lever_{name}.resistor.tolerance": "0.1 %" for name in ("manual", "up", "down")
    }
    assert {each.tolerance for each in finer.resistors} == {0.001}
    alone = quick(truck_text(resistors=(TWO[0], TWO[1])), source="E96")
    assert alone.source == "E96" and alone.feasible and alone.advice and alone.verdict is Verdict.PASS


def test_how_a_part_is_marked() -> None:
    """Five bands below 5 %, else four; a code without its last letter where no letter stands for the tolerance."""
    tolerances = {"1 %": 5, "2 %": 5, "5 %": 4, "10 %": 4}
    for text, count in tolerances.items():
        (piece,) = quick(tolerance=float(text[:-2]) / 100.0).resistors[0].pieces
        assert (piece.name, len(piece.bands)) == ("4700 ohm", count)
    assert quick(tolerance=0.01).resistors[0].pieces[0].letter_code == "4K7F"  # IEC 60062: F is 1 %
    odd = quick(tolerance=0.013).resistors[0].pieces[0]
    assert (odd.bands, odd.letter_code) == ((), "4K7")
    parts = tuple(Part(ohm, measured_ohm=ohm, measured_uncertainty_ohm=1.0) for ohm in (470.0, 1500.0, 4700.0))
    measured = quick(source=Drawer(parts, pairs=False)).resistors
    assert {piece.letter_code for each in measured for piece in each.pieces} == {"470R", "1K5", "4K7"}
    assert all(math.isnan(piece.tolerance) and piece.bands == () for each in measured for piece in each.pieces)
    assert [each.join for each in measured] == ["single"] * 3


def test_results_cannot_be_changed() -> None:
    """Whatever is handed out stays as it was computed."""
    for module in (results, certificate, problem, drawer, parts):
        kinds = [
            each for each in vars(module).values() if isinstance(each, type) and each.__module__ == module.__name__
        ]
        assert kinds
        for kind in kinds:
            assert not dataclasses.is_dataclass(kind) or kind.__dataclass_params__.frozen, kind  # type: ignore[attr-defined]


def test_values_that_miss_by_a_hair_are_worth_showing() -> None:
    """E24 in windows of 375 to 460 and of 385 to 447 Ω: short by a thirtieth of half a window, and by nearly half."""
    down = 'low = "300 ohm"\nhigh = "550 ohm"'
    ends = ((362, 475), (375, 460), (385, 447))
    found = [quick(truck_text((down, f'low = "{a} ohm"\nhigh = "{b} ohm"')), source="E24") for a, b in ends]
    assert [(each.feasible, each.advice) for each in found] == [(True, True), (False, True), (False, False)]
    assert -0.1 < found[1].margin < 0.0
    assert found[2].margin < -0.1


def test_parts_that_the_file_names_are_the_usual_ones() -> None:
    """[parts] says which series and tolerance are bought; what is asked for goes before."""
    text = truck_text(("[[input]]", '[parts]\nseries = "E3"\ntolerance = "5 %"\n[[input]]'))
    usual = choose(loads(text), "taps", low_ohm=100.0, high_ohm=10e3, runners_up=0, explain=False)
    assert (usual.source, {each.tolerance for each in usual.resistors}) == ("E3", {0.05})
    asked = quick(text, source="E6", tolerance=0.02)
    assert (asked.source, {each.tolerance for each in asked.resistors}) == ("E6", {0.02})
    drawer = Drawer(tuple(Part(ohm, 0.01, 3) for ohm in (470.0, 1500.0, 2200.0, 4700.0)), pairs=False)
    own = quick(text, source=drawer)
    assert own.source == "drawer"
    assert [each.tolerance for each in own.resistors] == pytest.approx([0.01] * 3)


def test_margins_worth_telling() -> None:
    """The tightest, those that ask for a meaning, and what does not hold."""

    def row(margin: float, meaning: str, verdict: Verdict) -> SituationMargin:
        return SituationMargin("run", "ratio", (), meaning, verdict, margin)

    fine, idle = row(0.5, "up", Verdict.PASS), row(0.9, "", Verdict.PASS)
    would, bad = row(0.6, "", Verdict.WOULD_HOLD), row(0.7, "", Verdict.FAIL)
    choice = replace(quick(), margins=(row(0.1, "", Verdict.PASS), fine, would, bad, idle))
    assert choice.told == (row(0.1, "", Verdict.PASS), fine, bad)
    assert replace(choice, margins=()).told == ()


@pytest.mark.parametrize(
    ("ohm", "text"),
    [
        (1e6, "1 Mohm"),
        (999e3, "999 kohm"),
        (1e3, "1 kohm"),
        (999.0, "999 ohm"),
        (4420.0, "4.42 kohm"),
        (0.47, "0.47 ohm"),
    ],
)
def test_a_resistance_as_the_file_writes_it(ohm: float, text: str) -> None:
    assert ohm_text(ohm) == text


def test_runners_up_follow_in_order_and_are_no_better() -> None:
    """E3 by hand: the next best differ from the choice and from each other, and cost what they say."""
    choice = quick(runners_up=3)
    assert len(choice.runners_up) == 3
    values = [choice.values, *(dict(each.values) for each in choice.runners_up)]
    assert len({tuple(sorted(each.items())) for each in values}) == 4
    assert [each.cost for each in choice.runners_up] == pytest.approx(
        [choice.margin - each.margin for each in choice.runners_up]
    )
    assert [each.different_parts for each in choice.runners_up] == [len(set(each.values.values())) for each in
                                                                    choice.runners_up]  # fmt: skip
    assert all(each.proven for each in choice.runners_up)
    margins = [choice.margin, *(each.margin for each in choice.runners_up)]
    assert all(later <= earlier + tie(earlier) for earlier, later in itertools.pairwise(margins))


def test_no_more_runners_up_than_there_are() -> None:
    """Two values for one resistor: the better one, and the other."""
    stay = tuple(f"{{ value = {value}, fixed = true }}" for value in TWO)
    choice = quick(truck_text(resistors=(stay[0], stay[1])), low_ohm=2000.0, high_ohm=5000.0, runners_up=3)
    assert len(choice.runners_up) == 1
    both = {choice.values["contact.lever_manual.resistor"], *choice.runners_up[0].values.values()}
    assert both == {2200.0, 4700.0}


def test_a_place_of_its_own_has_its_own_temperature() -> None:
    """The lever sits at -20 to 100 °C, the rest of the truck at -10 to 80 °C."""
    text = truck_text(('id = "lever"\n', 'id = "lever"\nplace = "pod"\n'))
    pods = (
        '[[place]]\nid = "cold box"\n[[place]]\nid = "pod"\ntemperature = { low = "-20 °C", high = "100 °C" }\n',
        '[[place]]\nid = "pod"\n',
    )
    for pod, ends in zip(pods, ((-20.0, 100.0), (-10.0, 80.0)), strict=True):
        truck = loads(text.replace("[[input]]", pod.replace("cold box", "box") + "[[input]]"))
        found = sites_of(truck, line_view(truck, truck.line("taps")))
        assert [(each.temp_low_c, each.temp_high_c) for each in found] == [ends] * 3
        assert {(each.shared_low_c, each.shared_high_c) for each in found} == {(-10.0, 80.0)}


# certificates


def test_a_certificate_says_what_is_proven() -> None:
    proven = Certificate(True, 0.0, 0.5, 3, 3, 10, 0.1, 0)
    assert proven.settled and proven.within == 0.0 and "no choice is better" in str(proven)
    first = replace(proven, optimal=False, proven_levels=1, gap=0.3)
    assert first.settled and first.within == 0.0
    assert "the 1 smallest of 3 margins" in str(first)
    tied = replace(first, proven_levels=0, gap=0.0005, upper_bound=0.5005)
    assert (tied.smallest, tied.within, tied.settled) == (pytest.approx(0.5), pytest.approx(0.001), True)
    assert "more than 0.1 %" in str(tied)
    small = replace(tied, gap=1e-6, upper_bound=1e-6)
    assert small.settled and "a millionth of half a window" in str(small)
    assert small.within == math.inf  # of nothing
    loose = replace(tied, gap=0.01, upper_bound=-0.49)
    assert (loose.settled, loose.within) == (False, pytest.approx(0.02))
    assert "larger by at most 0.01" in str(loose) and str(loose).startswith("not proven")
    endless = replace(tied, gap=math.inf, upper_bound=math.inf)
    assert not endless.settled and endless.within == math.inf
