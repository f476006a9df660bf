"""What may stand in for a lost resistor: every value of the range, and the next ones outside, through the whole proof.

The trucks are invented.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinproof.choose import stand_ins
from pinproof.choose.build import resistors_of, with_resistors
from pinproof.design import load, loads
from pinproof.examples import example_path
from pinproof.pack.substitutes import SAID, TITLE, substitutes_of
from pinproof.proof import prove, prove_line
from pinproof.quantities.preferred import values_between


@pytest.mark.parametrize("name", ["dunlin", "wagtail"])
def test_every_value_of_the_range_is_proven_in_its_place_and_those_beside_it_are_not(name: str) -> None:
    truck = load(example_path(name))
    line = truck.lines[0]
    found = stand_ins(truck, line.id)
    parts = {each.path: each for each in resistors_of(truck, line)}
    assert set(found) == set(parts)
    values = list(values_between("E24", 10.0, 1e6))
    for path, room in found.items():
        inside = [at for at, ohm in enumerate(values) if room.low_ohm <= ohm <= room.high_ohm]
        assert room.low_ohm <= (parts[path].ohm or 0.0) <= room.high_ohm
        for at in {inside[0] - 1, inside[0], inside[len(inside) // 2], inside[-1], inside[-1] + 1} & set(
            range(len(values))
        ):
            other = with_resistors(truck, {path: replace(parts[path], ohm=values[at])})
            verdict = prove_line(other, other.line(line.id), drift=False).verdict
            assert verdict.holds is (at in inside), (path, values[at])


def test_fixed_resistors_are_answered_too_and_what_does_not_hold_is_not() -> None:
    text = example_path("wagtail").read_text(encoding="utf-8")
    truck = loads(text)
    line = truck.lines[0]
    fixed = with_resistors(truck, {each.path: replace(each, fixed=True) for each in resistors_of(truck, line)})
    assert stand_ins(fixed, line.id) == stand_ins(truck, line.id) != {}
    unknown = with_resistors(
        truck, {resistors_of(truck, line)[0].path: replace(resistors_of(truck, line)[0], ohm=None)}
    )
    assert stand_ins(unknown, line.id) == {}
    failing = load(example_path("heron"))
    assert stand_ins(failing, failing.lines[0].id) == {}
    assert substitutes_of(failing, prove(failing)) == ()


def test_equal_places_are_told_together() -> None:
    truck = load(example_path("dunlin"))
    found = substitutes_of(truck, prove(truck))
    assert [len(each.places) for each in found] == [2, 2, 1]
    assert found[0].places == ("lever_up (line taps)", "wheel_up (line taps)")
    room = stand_ins(truck, "taps")["contact.wheel_up.resistor"]
    assert (room.low_ohm, room.high_ohm) == (200.0, 330.0)  # for the windows alone
    shorted_w = {ohm: 15.0**2 / ohm for ohm in (220.0, 240.0)}  # coded wire on battery plus, at most 15 V
    assert shorted_w[240.0] < 1.0 < shorted_w[220.0] and found[0].range == "240 Ω to 330 Ω"
    assert TITLE and "one place at a time" in SAID
