"""How far a chosen value may move: against the proof of every neighbour. The trucks are invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pinproof.choose import choose
from pinproof.choose.build import build, choosable, sites_of, with_resistors
from pinproof.choose.parts import from_series
from pinproof.choose.room import Room, _around, rooms_of
from pinproof.cli.show import choice_words
from pinproof.design import load
from pinproof.examples import example_path
from pinproof.proof import prove_line
from pinproof.quantities.preferred import values_between
from pinproof.wiring import line_view


@pytest.mark.parametrize("name", ["wagtail", "sandpiper"])
def test_everything_inside_a_room_is_proven_and_the_next_value_is_not(name: str) -> None:
    """Oracle: the whole proof with each E12 value written into the design, two beyond either end included."""
    truck = load(example_path(name))
    line = truck.lines[0].id
    choice = choose(truck, line, source="E12", low_ohm=22.0, high_ohm=47e3, runners_up=0, explain=False)
    assert choice.feasible
    values = list(values_between("E12", 22.0, 47e3))
    for each in choice.resistors:
        room = each.room
        assert room is not None and room.low_ohm <= each.ohm <= room.high_ohm
        assert (room.lowest_tried, room.highest_tried) == (room.low_ohm == values[0], room.high_ohm == values[-1])
        first, last = values.index(room.low_ohm), values.index(room.high_ohm)
        for at in range(max(0, first - 1), min(len(values), last + 2)):
            part = next(r for r in choosable(choice.truck, choice.truck.line(line)) if r.path == each.path)
            other = with_resistors(choice.truck, {each.path: replace(part, ohm=values[at])})
            verdict = prove_line(other, other.line(line), drift=False).verdict
            assert verdict.holds is (first <= at <= last), (each.path, values[at])


def test_the_range_told_is_that_of_the_room_and_nothing_is_told_where_nothing_holds() -> None:
    truck = load(example_path("wagtail"))
    choice = choose(truck, "buttons", source="E24", high_ohm=100e3, runners_up=0)
    told = choice_words(choice)
    for each in choice.resistors:
        assert f"  {each.room}" in told
    assert "1.6 kΩ to 100 kΩ, the most tried" in told
    assert str(Room(10.0, 22.0, True, False)) == "10 Ω, the least tried, to 22 Ω"
    assert str(Room(22.0, 22.0, False, False)) == "22 Ω only"
    tight = load(example_path("heron"))
    missed = choose(tight, tight.lines[0].id, runners_up=0, explain=False)
    assert not missed.feasible and all(each.room is None for each in missed.resistors)
    assert "may also be" not in choice_words(missed)


def test_the_next_best_names_only_what_differs() -> None:
    truck = load(example_path("wagtail"))
    choice = choose(truck, "buttons", source="E24", high_ohm=100e3, runners_up=2)
    told = choice_words(choice)
    for other in choice.runners_up:
        differing = other.unlike(choice.values)
        assert differing and {**choice.values, **differing} == dict(other.values)
    assert "  - end resistor of buttons 91 kΩ: margin 58.4 %, 3 different parts" in told
    assert choice.runners_up[0].unlike(choice.runners_up[0].values) == {}


def test_a_choice_that_does_not_hold_has_no_room() -> None:
    truck = load(example_path("wagtail"))
    view = line_view(truck, truck.lines[0])
    sites = sites_of(truck, view)
    candidates = {site.resistor.path: from_series(site, "E3", 10.0, 10e3, 0.01) for site in sites}
    problem = build(truck, truck.lines[0], candidates).problem
    assert rooms_of(problem, (0,) * len(sites)) == (None,) * len(sites)


def test_the_run_around_a_place() -> None:
    """Only the run that the place lies in counts, however many others there are."""
    holds = np.array([True, True, False, True, True, True, False, True])
    assert _around(holds, 4) == (3, 5)
    assert _around(holds, 0) == (0, 1)
    assert _around(holds, 7) == (7, 7)
    assert _around(holds, 2) is None
    assert _around(np.ones(4, dtype=bool), 2) == (0, 3)
