"""A borrowed table: conversion as an identity and by hand, each mark from both sides, bad tables."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.design import Truck, load, loads
from pinproof.driveline import (
    Cell,
    Converted,
    DriveFault,
    convert,
    converted_csv,
    drive_sums,
    table_check,
)
from pinproof.examples import FOLDER, example_path
from pinproof.verdict import Verdict

BASE = """
format = 1
id = "pp-x"
temperature = "20 °C"
[supply]
run = "13.8 V"
[drive.tyre]
size = "39x13.50R17"
factor = "3.05"
growth = "none"
wear = "none"
[drive.axle]
ratio = "5.00"
[[drive.transfer]]
name = "high"
ratio = "1"
[[drive.gear]]
name = "1"
ratio = "4.00"
[[drive.gear]]
name = "2"
ratio = "2.40"
[[drive.gear]]
name = "3"
ratio = "1.55"
[drive.converter]
slip = "none"
[drive.engine]
most = "6500 rpm"
limiter = "6400 rpm"
[drive.guard]
margin = "5 %"
latency = "0.5 s"
acceleration = "2 m/s2"
"""
ROAD = """
[[drive.borrowed]]
id = "t"
file = "t.csv"
keyed_by = "road speed"
unit = "{unit}"
holds = "{holds}"
tyre = {{ size = "{size}", factor = "3.05" }}
axle = "{axle}"
transfer = "1"
gears = {gears}
"""
OUTPUT = """
[[drive.borrowed]]
id = "t"
file = "t.csv"
keyed_by = "output speed"
unit = "rpm"
holds = "{holds}"
gears = {gears}
"""


def road(**said: str) -> Truck:
    usual = {"unit": "km/h", "holds": "shift speeds", "size": "39x13.50R17", "axle": "5.00", "gears": '"same"'}
    return loads(BASE + ROAD.format(**{**usual, **said}))


def output(**said: str) -> Truck:
    return loads(BASE + OUTPUT.format(**{"holds": "shift speeds", "gears": '"same"', **said}))


def converted(drive: Truck, text: str) -> Converted:
    assert drive.drive is not None
    return convert(drive, drive.drive.borrowed[0], text)[0]


def one(drive: Truck, row: str, value: str) -> Cell:
    """The only cell of a small table."""
    return converted(drive, f"shift,full\n{row},{value}\n").cells[0]


@given(st.floats(1.0, 40.0))
def test_the_donors_own_table_comes_back(speed: float) -> None:
    cell = one(road(), "1>2", f"{speed:.1f}")
    assert cell.enter_text == f"{speed:.1f}"


def test_tyres_and_axle_as_worked_by_hand() -> None:
    """31 to 39 in and 3.73 to 5.00: 39/31 × 3.73/5.00 = 0.9385; left as it is the table is 6.6 % off."""
    found = converted(road(size="31x10.50R15", axle="3.73"), "shift,full\n1>2,40\n")
    assert found.scale.value == pytest.approx(39 / 31 * 3.73 / 5.0, rel=1e-12)
    assert found.cells[0].enter_text == "37.5"
    assert "+6.6 %" in found.notes[0]
    tyres_only = converted(road(size="31x10.50R15"), "shift,full\n1>2,40\n")
    assert "-20.5 %" in tyres_only.notes[0]


def test_other_gears_count_in_how_far_off_a_copied_table_is() -> None:
    """Only the ratios differ, 3.60 for 4.00 and 2.52 for 2.40: copied it is 11.1 % high, 4.8 % low."""
    found = converted(road(gears='["3.60", "2.52"]'), "shift,full\n1>2,40\n2>3,60\n")
    assert (
        found.cells[0].enter_text == f"{40 * 3.6 / 4.0:.1f}" and found.cells[1].enter_text == f"{60 * 2.52 / 2.4:.1f}"
    )
    assert "-4.8 to +11.1 % off" in found.notes[0] and "times the donor's ratio" in found.notes[0]
    alike = converted(road(gears='["4.00", "2.40"]'), "shift,full\n1>2,40\n")
    assert "every speed would be" in alike.notes[0] and "times the donor's ratio" not in alike.notes[0]


def test_miles_are_miles_and_the_unit_is_never_guessed() -> None:
    cell = one(road(unit="mph"), "1>2", "25")
    assert cell.donor == pytest.approx(25 * 0.44704) and cell.enter_text == "25.0"
    with pytest.raises(DriveFault, match="km/h"):
        one(road(unit="mph"), "1>2", "40 km/h")


def test_output_speed_knows_no_tyre() -> None:
    found = converted(output(), "shift,full\n1>2,1500\n")
    assert found.cells[0].enter_text == "1500" and found.scale.is_exact and "do not matter" in found.notes[0]


def test_another_gearbox_keeps_the_engine_speed() -> None:
    """Up: as the donor's gear before; down: as the donor's gear after."""
    drive = output(gears='["3.60", "2.20"]')
    assert one(drive, "1>2", "1500").enter_text == f"{1500 * 3.6 / 4.0:.0f}"
    assert one(drive, "2>1", "1000").enter_text == f"{1000 * 3.6 / 4.0:.0f}"
    assert one(drive, "2>3", "2000").enter_text == f"{2000 * 2.2 / 2.4:.0f}"
    assert one(drive, "3>2", "2000").enter_text == f"{2000 * 2.2 / 2.4:.0f}"
    cell = one(output(gears='["3.60"]'), "2>3", "2000")
    assert cell.mark == "not known" and "not given" in cell.why


def test_a_down_cell_is_unsafe_from_the_permitted_speed_on() -> None:
    drive = output()
    edge = drive_sums(drive).downshift("high", "1").permitted_rpm
    assert one(drive, "2>1", f"{int(edge)}").mark == "keep"
    cell = one(drive, "2>1", f"{int(edge) + 1}")
    assert cell.mark == "unsafe" and "permitted is" in cell.why


def test_an_up_cell_is_pointless_from_the_limiter_on() -> None:
    assert one(output(), "1>2", "1599").mark == "keep"
    cell = one(output(), "1>2", "1601")
    assert cell.mark == "pointless" and "never shifts" in cell.why
    no_limiter = loads((BASE + OUTPUT).format(holds="shift speeds", gears='"same"').replace("6400 rpm", "unknown"))
    assert one(no_limiter, "1>2", "1601").mark == "keep"
    assert one(no_limiter, "1>2", "1626").mark == "unsafe"


def test_a_truck_with_ranges_is_not_known_at_the_edge() -> None:
    wide = BASE.replace('slip = "none"', 'slip = "0 % to 5 %"')
    drive = loads(wide + OUTPUT.format(holds="shift speeds", gears='"same"'))
    assert one(drive, "1>2", "1500").mark == "keep"
    assert one(drive, "1>2", "1560").mark == "not known"


def test_a_pair_that_lies_too_close_hunts() -> None:
    text = "shift,full\n2>3,2000\n3>2,{}\n"
    assert [c.mark for c in converted(output(), text.format(1899)).cells] == ["keep", "keep"]
    assert [c.mark for c in converted(output(), text.format(1901)).cells] == ["hunts", "hunts"]
    assert [c.mark for c in converted(output(), text.format(2100)).cells] == ["hunts", "hunts"], "crossed"


def test_a_table_of_gears() -> None:
    found = converted(output(holds="gears"), "speed;low load;full\n1000;3;2\n2500;3;1\n5000;3;2\n")
    marks = {(cell.row, cell.column): cell.mark for cell in found.cells}
    assert marks["1000", "full"] == "keep"
    assert marks["2500", "full"] == "unsafe", "gear 1 at 10000 rpm"
    assert marks["5000", "low load"] == "pointless", "6400 ÷ 1.55 = 4129 is all that gear 3 reaches"
    assert one(output(holds="gears"), "1000", "7").mark == "not known"


def test_a_table_of_something_else_is_carried_over() -> None:
    found = converted(output(holds="other"), "speed,gear 1,gear 3\n1000,5.5 bar,6 bar\n2000,5.5 bar,6 bar\n")
    assert [(cell.read, cell.mark) for cell in found.cells] == [
        ("5.5 bar", "keep"), ("6 bar", "keep"), ("5.5 bar", "pointless"), ("6 bar", "keep")
    ]  # fmt: skip


def test_gears_that_this_truck_has_not() -> None:
    assert one(output(), "3>4", "2000").mark == "not known"
    assert one(output(), "2>2", "2000").mark == "not known"


def test_the_check_of_a_table_is_its_worst_cell() -> None:
    def verdict(text: str) -> Verdict:
        return table_check(converted(output(), f"shift,full\n{text}")).verdict

    assert verdict("1>2,1500\n") is Verdict.PASS
    assert verdict("1>2,1700\n") is Verdict.NOT_SHOWN
    assert verdict("1>2,1500\n2>1,1490\n") is Verdict.FAIL


def test_csv_out_has_a_row_for_each_cell_and_reads_back() -> None:
    found = converted(road(), "# from a friend\nshift;a;b\n1-2;20,5;\n2→1;10;70\n")
    rows = list(csv.DictReader(io.StringIO(converted_csv([found]))))
    assert [(row["row"], row["column"], row["enter [km/h]"], row["mark"]) for row in rows] == [
        ("1-2", "a", "20.5", "keep"), ("2→1", "a", "10.0", "keep"), ("2→1", "b", "70.0", "unsafe")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("# only a note\n", "empty"),
        ("shift,full\n", "nothing under it"),
        ("shift,a,a\n1>2,1,2\n", "different column names"),
        ("shift,full\n1>2,quick\n", "quick"),
        ("shift,full\nfirst,20\n", "names no shift"),
        ("shift,full\n1>2,20,30\n", "3 cells where 2 columns are"),
        ("shift,full\n1>2,-5\n", "below zero"),
        ('shift,full\n1>2,"1,500"\n', "2 ways"),
        ("shift,full\n1>2," + "9" * 100 + "\n", "more than 64"),
        ("shift,full\n" + "1>2,20\n" * 600, "more than 500 rows"),
        ("shift," + ",".join(f"c{i}" for i in range(99)) + "\n", "1 to 60"),
        ("shift,full\n\x00,\x00\n", "is not a speed|names no shift|cannot be read"),
    ],
)
def test_a_bad_table_is_told_with_its_line(text: str, said: str) -> None:
    with pytest.raises(DriveFault, match=said):
        converted(road(), text)


def test_a_skip_shift_in_a_table() -> None:
    """Into 1 from 3: gear 1's permitted speed, gear 1's ratio, and it hunts with the way up out of 1."""
    edge = drive_sums(output()).downshift("high", "1").permitted_rpm
    assert one(output(), "3>1", f"{int(edge)}").mark == "keep"
    assert one(output(), "3>1", f"{int(edge) + 1}").mark == "unsafe"
    assert one(output(gears='["3.60", "2.20"]'), "3>1", "1000").enter_text == f"{1000 * 3.6 / 4.0:.0f}"
    text = "shift,full\n1>2,1000\n3>1,{}\n"
    assert [c.mark for c in converted(output(), text.format(949)).cells] == ["keep", "keep"]
    assert [c.mark for c in converted(output(), text.format(951)).cells] == ["hunts", "hunts"]


def test_each_range_of_the_transfer_case_has_its_own_table() -> None:
    """Low of 2.00: half the road speeds; the marks by what is permitted there."""
    text = BASE.replace("[[drive.gear]]", '[[drive.transfer]]\nname = "low"\nratio = "2.00"\n[[drive.gear]]', 1)
    said = {"unit": "km/h", "holds": "shift speeds", "size": "39x13.50R17", "axle": "5.00", "gears": '"same"'}
    truck = loads(text + ROAD.format(**said))
    assert truck.drive is not None
    high, low = convert(truck, truck.drive.borrowed[0], "shift,full\n1>2,57\n2>1,51\n")
    assert (high.transfer, low.transfer) == ("high", "low")
    assert [cell.enter_text for cell in low.cells] == ["28.5", "25.5"]
    assert [cell.mark for cell in high.cells] == ["keep", "keep"]
    assert [cell.mark for cell in low.cells] == ["keep", "unsafe"], "what is gained in the time counts double in low"


def test_the_invented_example_shows_each_mark() -> None:
    truck = load(example_path("sandpiper"))
    assert truck.drive is not None
    text = (FOLDER / truck.drive.borrowed[0].file).read_text(encoding="utf-8")
    for found in convert(truck, truck.drive.borrowed[0], text):
        assert {cell.mark for cell in found.cells} == {"keep", "unsafe", "pointless", "hunts", "not known"}
