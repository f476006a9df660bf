"""Where no wire holds, or a fuse is too large for its wire: what is advised is true when it is done."""

from __future__ import annotations

import re

import pytest

from pinproof.design import DesignFault, loads
from pinproof.examples import example_path
from pinproof.harness import Harness, lay_out
from pinproof.tables import fuse_ratings_a
from pinproof.wiring.nets import Refusal

from .test_harness_layout import POWER, swap

DUNLIN = example_path("dunlin").read_text(encoding="utf-8")


def refusals(text: str) -> list[Refusal]:
    """What is refused when a text is laid out."""
    with pytest.raises(DesignFault) as caught:
        lay_out(loads(text, "truck.toml"))
    return [each for each in caught.value.faults if isinstance(each, Refusal)]


def laid(text: str) -> Harness:
    return lay_out(loads(text, "truck.toml"))


def test_a_long_way_is_named_with_its_load_and_what_is_short_enough() -> None:
    """Load, both lengths, volts; a way as short as advised holds, one 1 % longer does not."""
    far = swap('length = "2 m"', 'length = "60 m"')
    told = next(each.message for each in refusals(far) if "lamps to S01" in each.message)
    assert "(drop)" in told and "lamp_right" in told and "in trunk" in told
    loop_mm = int(re.search(r"back is (\d+) mm", told)[1])  # type: ignore[index]
    most_mm = int(re.search(r"a way out and back of (\d+) mm at most", told)[1])  # type: ignore[index]
    assert most_mm < loop_mm
    spare_mm = (loop_mm - most_mm) / 2  # the trunk lies in the way out and in the way back
    holds = far.replace('"60 m"', f'"{60_000 - spare_mm - 50:.0f} mm"')
    assert laid(holds).wires
    assert refusals(far.replace('"60 m"', f'"{60_000 - 0.9 * spare_mm:.0f} mm"'))


def test_a_great_current_is_named_with_its_loads() -> None:
    """Which loads with how many amperes, what the thickest may carry there, and the second wire for the greatest."""
    told = next(
        each.message for each in refusals(swap('watts = "12 W"', 'watts = "300 W"')) if "lamps to S01" in each.message
    )
    assert "(current)" in told and re.search(r"37.3 A for lamp_left \(35.9 A\) and lamp_right \(1.44 A\)", told)
    assert re.search(r"6 mm², the thickest of the list, may carry [\d.]+ A there \(up to 80 °C around it", told)
    assert "a feed with its own fuse for lamp_left" in told and "1990 mm" in told
    alone = next(
        each.message for each in refusals(swap('watts = "12 W"', 'watts = "300 W"')) if "left.plus" in each.message
    )
    assert "second wire" not in alone, "one load alone cannot be parted"


def test_a_switched_load_is_told_of_a_relay() -> None:
    """Only where its current goes through its own switch, which then carries the coil alone."""
    switch = (
        '[[device]]\nid = "knob"\nplace = "box"\npositions = ["off", "on"]\n[[switch]]\nid = "light"\n'
        'device = "knob"\npositions = ["on"]\nclosed = "20 mohm"\nopen = "1 Mohm"\n'
    )
    text = swap('watts = "12 W"', 'watts = "300 W"\nhigh_side = ["light"]') + switch
    found = {each.message for each in refusals(text)}
    near = [each for each in found if "a relay near lamp_left: light then carries its coil only" in each]
    assert [each.partition(",")[0] for each in near] == ["wire of light.b"], (
        "fuse and ground wires carry it all the same"
    )


def test_a_coded_way_says_what_it_has_and_which_pins_are_small() -> None:
    tight = DUNLIN.replace('wire = { low = "0 ohm", high = "1 ohm" }', 'wire = { low = "0 ohm", high = "30 mohm" }', 1)
    told = refusals(tight)[0].message
    assert "wire of taps, W033 and W034" in told and "1890 mm" in told and "made with 30 mΩ" in told
    assert "(tcu.A1 up to 2.5 mm2, lever_plug.1 up to 2.5 mm2 today)" in told and "fewer plugs and joints" in told


def test_lengths_of_a_refusal_follow_the_units() -> None:
    """[harness] units are those of its refusals too."""
    text = swap('insulation = "125 °C"', 'insulation = "125 °C"\nunits = "us"', swap('"2 m"', '"60 m"'))
    told = " ".join(each.message for each in refusals(text))
    assert not re.search(r"\d mm(?!²)", told) and re.search(r"back is [\d.]+ in of wire", told)


def test_a_smaller_fuse_is_advised_only_where_it_carries_the_loads() -> None:
    """The caution about hot wires: chosen fuses are the smallest already; a given one is told the one that holds."""
    for text in (POWER, DUNLIN):
        harness = laid(text)
        hot = next((each.cure for each in harness.findings if each.code == "fuse-hot"), "")
        advised = {feed: float(amps) for amps, feed in re.findall(r"([\d.]+) A for (\w+)", hot.partition("carr")[0])}
        for fuse in harness.fuses:
            if fuse.rating_a == 0.0:
                continue
            assert not fuse.chosen or (fuse.least_a == fuse.rating_a and fuse.feed not in advised)
            if fuse.feed in advised:
                below = max(one for one in fuse_ratings_a(fuse.family) if one < fuse.rating_a)
                assert advised[fuse.feed] <= below and fuse.running_a <= 0.8 * advised[fuse.feed]
    assert advised == {"electronics": 2.0}
    done = laid(DUNLIN.replace('fuse = "5 A"', 'fuse = "2 A"'))
    assert next(one for one in done.fuses if one.feed == "electronics").verdict == "pass"


def test_a_fuse_that_outlasts_its_wire_is_told_what_it_can_become() -> None:
    """A given one that could be smaller is; a chosen one cannot, so loads or wire must change."""
    choice = '[[wire]]\nat = "lamp_left.plus"\nsize = "0.5 mm2"\n'
    light = swap('"to choose"', '"10 A"', POWER.replace('"12 W"', '"3 W"')) + choice
    given = next(each.message for each in refusals(light) if "outlasts" in each.message)
    fit = re.search(r"What helps: a ([\d.]+) A fuse; wire of", given)
    assert fit and laid(light.replace('"10 A"', f'"{fit[1]} A"')).wires
    heavy = swap('watts = "12 W"', 'watts = "60 W"') + choice
    chosen = next(each.message for each in refusals(heavy) if "outlasts" in each.message or "0.5 mm²" in each.message)
    assert "which the harness chose" in chosen and "no smaller fuse will do" in chosen and "wire of" in chosen
