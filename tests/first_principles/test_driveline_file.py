"""The driveline's file: every fault at once with its place and cure; what is written is what is reckoned with."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.driveline import DriveFault, diameter_of_size, drive_of, load_drive, save_starter
from pinproof.driveline.file import STARTER
from pinproof.errors import QuantityFault
from pinproof.examples import FOLDER

GOOD = (FOLDER / "sandpiper-drive.toml").read_text(encoding="utf-8")


def faults(old: str, new: str) -> str:
    """What is said after one change of the good file."""
    assert GOOD.count(old) >= 1, old
    with pytest.raises(DriveFault) as caught:
        drive_of(GOOD.replace(old, new, 1), "drive.toml")
    return str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("format = 1", "format = 2", "format: write format = 1"),
        ('truck = "pp-sandpiper"', "", "truck: it is missing"),
        ('units = "metric"', 'units = "metrc"', 'Did you mean "metric"?'),
        ("[axle]", "[axel]", 'axel: there is no such key. Did you mean "axle"?'),
        ('value = "5.00", basis = "measured"', 'value = "0", basis = "measured"', "axle.ratio"),
        ('ratio = { value = "4.00", basis = "published" }', "ratio = 4.0", "write it between quotation marks"),
        ('value = "4.00"', 'value = "400 %"', "is a percentage; write the number itself"),
        ('value = "2.40"', 'value = "4.20"', "is not below the 4.00 of gear 1"),
        ('value = "2.40"', 'value = "-2.40"', "gear.2.ratio"),
        ('name = "2"', 'name = "1"', "this name stands twice"),
        ('turns = "10"', "", "tyre.turns"),
        ('turns = "10"', 'turns = "1000"', "a turn would be 0.0302 m"),
        ('turns = "10"', 'turns = "10"\nsize = "37x12.50R17"', "roll_out and size"),
        ('low = "0 %", high = "1 %"', 'low = "2 %", high = "1 %"', "not in this order"),
        ('wear = { low = "0 %", high = "2 %", basis = "assumed" }', "", "tyre.wear: it is missing"),
        ('basis = "published" }\nlimiter', 'basis = "guess" }\nlimiter', "basis 'guess' is none of"),
        ('value = "6500 rpm"', 'value = "6500"', "unit is missing"),
        ('value = "6500 rpm"', 'value = "650 km/h"', "This is a speed"),
        ('least = "2500 rpm"', 'least = "7000 rpm"', "not below engine.most"),
        ('acceleration = "2 m/s2"', 'acceleration = "2 m"', "the unit is one of m/s2"),
        ('place = "output"', 'place = "outptu"', 'Did you mean "output"?'),
        ('from = "2"\nto = "3"', 'from = "2"\nto = "9"', 'there is no gear "9"'),
        ('from = "2"\nto = "3"', 'from = "2"\nto = "4"', "must be neighbours"),
        ('engine = { value = "6200 rpm"', 'road = { value = "6200 rpm"', "This is a rotation speed"),
        ('unit = "km/h"', 'unit = "rpm"', "Write"),
        ('unit = "km/h"', "", "borrowed.friend.unit: it is missing"),
        ('size = "31x10.50R15"', 'size = "31-10.50"', "is not a tyre size"),
        ('gears = "same"', "", 'write "same" if it is the same gearbox'),
        ('auto_repeat = "off"', 'auto_repeet = "off"', 'Did you mean "auto_repeat"?'),
        ("[guard]", "[[guard]]", "guard: write it as a table"),
    ],
)
def test_a_fault_names_place_and_cure(old: str, new: str, said: str) -> None:
    assert said in faults(old, new)


def test_all_faults_come_at_once() -> None:
    text = GOOD.replace('value = "5.00"', 'value = "x"', 1).replace('margin = "5 %"', 'margin = "500 %"')
    with pytest.raises(DriveFault) as caught:
        drive_of(text, "drive.toml")
    assert len(caught.value.faults) == 2


@pytest.mark.parametrize(
    "text", ["", "gear = 3\n[axle", 'format = 1\nid = "x"', "gear = 1", "[[gear]]\n" * 30, "axle = 1"]
)
def test_what_is_no_driveline_is_refused_in_words(text: str) -> None:
    with pytest.raises(DriveFault):
        drive_of(text, "drive.toml")


@given(st.sampled_from(GOOD.splitlines()), st.text(max_size=20))
def test_a_damaged_line_never_ends_in_a_traceback(line: str, put: str) -> None:
    with suppress(DriveFault):  # anything else that is raised fails the test
        drive_of(GOOD.replace(line, put, 1), "drive.toml")


def test_the_starter_says_what_to_fill_in_and_serves_once_filled(tmp_path: Path) -> None:
    save_starter(tmp_path / "drive.toml")
    with pytest.raises(DriveFault) as caught:
        load_drive(tmp_path / "drive.toml")
    said = str(caught.value)
    for path in ("truck", "tyre.roll_out", "axle.ratio", "gear.1.ratio", "gear.2.ratio", "gear.3.ratio", "engine.most"):
        assert f"  {path}: it is missing" in said
    assert len(caught.value.faults) == 7
    filled = STARTER.replace('truck = ""', 'truck = "pp-x"').replace('roll_out = ""', 'roll_out = "30.1 m"')
    filled = filled.replace('most = ""', 'most = "6500 rpm"')
    for ratio in ("5.00", "4.00", "2.40", "1.55"):
        filled = filled.replace('ratio = ""', f'ratio = "{ratio}"', 1)
    drive = drive_of(filled, "drive.toml")
    assert drive.limiter_rpm is None and drive.tyre.how == "roll-out"


@pytest.mark.parametrize(
    ("written", "circumference_m"),
    [
        ('revolutions = "533 rev/mile"', 1609.344 / 533.0),
        ('revolutions = "331 rev/km"', 1000.0 / 331.0),
        ('revolutions = { low = "330 rev/km", high = "332 rev/km" }', 1000.0 / 331.0),
        ('revolutions = "330 to 332 rev/km"', 1000.0 / 331.0),
        ('size = "315/75R16"', 3.05 * (16 * 0.0254 + 2 * 0.75 * 0.315)),
        ('size = "39x13.50-17"\nfactor = "3.05"', 3.05 * 39 * 0.0254),
    ],
)
def test_each_way_to_say_a_tyre(written: str, circumference_m: float) -> None:
    way = 'roll_out = { value = "30.21 m", tolerance = "0.2 %", basis = "measured", note = "loaded, race pressure" }'
    drive = drive_of(GOOD.replace(way, written).replace('turns = "10"', ""), "drive.toml")
    assert drive.tyre.circumference_m.value == pytest.approx(circumference_m, rel=1e-9)
    if "size" in written and "factor" not in written:
        assert drive.tyre.circumference_m.high / drive.tyre.circumference_m.low > 1.06, "a size alone is not a point"
        assert drive.tyre.basis == "assumed"


@pytest.mark.parametrize("size", ["", "37", "7.50R16", "315R16", "12x37R17", "37x12.50R40", "9999/75R16", "3" * 300])
def test_a_size_that_says_no_diameter(size: str) -> None:
    with pytest.raises(QuantityFault):
        diameter_of_size(size)


@given(st.text(max_size=50))
def test_any_text_as_a_size(text: str) -> None:
    with suppress(QuantityFault):
        assert 0.1 < diameter_of_size(text) < 4.0
