"""The [drive] tables: every fault at once with its place and cure; what is written is what is reckoned with."""

from __future__ import annotations

import dataclasses
import re
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.chain.adopt import adopted
from pinproof.design import DesignFault, EditFault, Truck, loads
from pinproof.design.begin_draft import blanks
from pinproof.design.begin_drive import with_drive_section
from pinproof.design.edit import with_values
from pinproof.design.keys import TABLES
from pinproof.design.model_drive import Borrowed, Drive, DriveLog, Geared, Sensor, ShiftLine, Tyre
from pinproof.driveline import drive_sums
from pinproof.driveline.tyre import Rolled, rolled
from pinproof.errors import QuantityFault
from pinproof.examples import example_path
from pinproof.quantities import parse
from pinproof.quantities.tyre_size import diameter_of_size
from tests.first_principles.test_begin_drafts import in_use

GOOD = example_path("sandpiper").read_text(encoding="utf-8")
AT = GOOD.index("[drive]")
OLD_FILE = """format = 1
truck = "pp-x"
[tyre]
roll_out = "30.1 m"
turns = "10"
[axle]
ratio = "5.00"
[[gear]]
name = "1"
ratio = "4.00"
"""


def changed(old: str, new: str) -> str:
    """The good file after one change below [drive]."""
    assert old in GOOD[AT:], old
    return GOOD[:AT] + GOOD[AT:].replace(old, new, 1)


def faults(old: str, new: str) -> str:
    with pytest.raises(DesignFault) as caught:
        loads(changed(old, new), "truck.toml")
    return str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('units = "metric"', 'units = "metrc"', 'Did you mean "metric"?'),
        ("[drive.axle]", "[drive.axel]", 'Did you mean "axle"?'),
        ('value = "5.00", basis = "measured"', 'value = "0", basis = "measured"', "drive.axle.ratio"),
        ('ratio = { value = "4.00", basis = "published" }', "ratio = 4.0", "without quotation marks"),
        ('value = "4.00"', 'value = "400 %"', "a ratio of turns is needed"),
        ('value = "2.40"', 'value = "4.20"', "is not below the 4.00 of gear 1"),
        ('value = "2.40"', 'value = "-2.40"', "drive.gear.2.ratio"),
        ('name = "2"', 'name = "1"', '"1" stands twice'),
        ('turns = "10"', "", "drive.tyre.turns"),
        ('turns = "10"', 'turns = "1000"', "One turn would be 0.0302 m"),
        ('turns = "10"', 'turns = "10"\nsize = "37x12.50R17"', '"roll_out" and "size"'),
        ('low = "0 %", high = "1 %"', 'low = "2 %", high = "1 %"', "The order is wrong"),
        ('wear = { low = "0 %", high = "2 %", basis = "assumed" }', "", '"wear" is required and missing'),
        ('basis = "published" }\nlimiter', 'basis = "guess" }\nlimiter', '"guess" is not known here'),
        ('value = "6500 rpm"', 'value = "6500"', "unit is missing"),
        ('value = "6500 rpm"', 'value = "650 km/h"', "This is a speed"),
        ('least = "2500 rpm"', 'least = "7000 rpm"', "not below engine.most"),
        ('lead = "300 rpm"', 'lead = "6400 rpm"', "leaves no speed"),
        ('high = "3200 rpm/s"', 'high = "3200 rpm"', "This is a rotation speed"),
        ('acceleration = "2 m/s2"', 'acceleration = "2 m"', "an acceleration is needed"),
        ('place = "output"', 'place = "outptu"', 'Did you mean "output"?'),
        ('from = "2"\nto = "3"', 'from = "2"\nto = "9"', 'There is no gear "9"'),
        ('from = "2"\nto = "3"', 'from = "2"\nto = "2"', "same gear"),
        ('output = { value = "2150 rpm"', 'road = "80 km/h"\noutput = { value = "2150 rpm"', '"output" and "road"'),
        ('engine = { value = "6200 rpm"', 'road = { value = "6200 rpm"', "This is a rotation speed"),
        ('unit = "km/h"', 'unit = "rpm"', 'is no unit of road speed'),
        ('unit = "km/h"', "", "drive.borrowed.friend.unit"),
        ('size = "31x10.50R15"', 'size = "31-10.50"', "is not a tyre size"),
        ('axle = "3.73"', "", "because it is keyed by road speed"),
        ('gears = "same"', "", '"gears" is required and missing'),
        ('gears = "same"', "gears = []", "a list of 1 to 20"),
        ('gears = "same"', 'gears = ["4", "3", "2", "1.5", "1.2", "1", "0.8"]', "7 ratios; this truck has 6"),
        ('gears = "same"', 'gears = ["x"]', "drive.borrowed.friend.gears.1"),
        ('re_entry = {', 're_entri = {', 'Did you mean "re_entry"?'),
        ('lever_manual = ["5"]', 'lever_manual = ["6"]', "reported in no detent"),
        ('at_limiter = "hold"', 'at_limiter = "wait"', '"hold" or "shift up"'),
        ('auto_repeat = "off"', 'auto_repeat = "off"\nhighest_gear = "7"', 'There is no gear "7"'),
        ("[drive.guard]", "[[drive.guard]]", "one bracket each side"),
    ],
)  # fmt: skip
def test_a_fault_names_place_and_cure(old: str, new: str, said: str) -> None:
    assert said in faults(old, new)


def test_all_faults_come_at_once() -> None:
    text = changed('value = "5.00"', 'value = "x"').replace('margin = "5 %"', 'margin = "500 %"')
    with pytest.raises(DesignFault) as caught:
        loads(text)
    assert len(caught.value.faults) == 2


@pytest.mark.parametrize(
    "table", ["drive = 1", "[drive]", "[[drive]]", "[drive]\ngear = 3", "[drive]\n[[drive.gear]]\n"]
)
def test_what_is_no_driveline_is_refused_in_words(table: str) -> None:
    with pytest.raises(DesignFault):
        loads(f"{GOOD[:AT]}\n{table}\n")


@given(st.sampled_from(GOOD[AT:].splitlines()), st.text(max_size=20))
def test_a_damaged_line_never_ends_in_a_traceback(line: str, put: str) -> None:
    with suppress(DesignFault):  # anything else that is raised fails the test
        loads(GOOD[:AT] + GOOD[AT:].replace(line, put, 1))


def test_a_driveline_file_of_its_own_is_told_where_its_tables_go() -> None:
    with pytest.raises(DesignFault, match=r"\[tyre\] becomes \[drive.tyre\]"):
        loads(OLD_FILE, "drive.toml")


def test_a_table_that_stands_outside_drive_is_told_where_it_belongs() -> None:
    assert "it belongs under [drive]" in faults("[[drive.gear]]", "[[gear]]")
    assert "Write it as drive.axle" in faults("[drive.axle]", "[axle]")


@pytest.mark.parametrize("eol", ["\n", "\r\n"])
def test_a_draft_keeps_every_character_and_serves_once_filled(eol: str) -> None:
    before = GOOD[:AT].replace("\n", eol).rstrip() + f"{eol}# the last word"
    after = with_drive_section(before)
    assert after.startswith(before) and loads(after).drive is None, "the design is what it was"
    assert loads(after).lines == loads(before).lines
    with pytest.raises(EditFault, match="draft of .drive. is there already"):
        with_drive_section(after)
    used = in_use(after.replace("\r\n", "\n"))
    with pytest.raises(DesignFault) as caught:
        loads(used, "truck.toml")
    paths = {each.path for each in caught.value.faults}
    wanted = {"tyre.roll_out.value", "axle.ratio", "gear.1.ratio", "gear.2.ratio", "gear.3.ratio", "engine.most"}
    assert paths == {f"drive.{each}" for each in wanted}
    assert blanks(before, after) == {
        "drive.tyre.roll_out": 1, "drive.axle.ratio": 1, "drive.gear.ratio": 3, "drive.engine.most": 1,
    }, "what the file does not tell is what the loader misses"  # fmt: skip
    used = used.replace('value = "?"', 'value = "30.1 m"').replace('most = "?"', 'most = "6500 rpm"')
    for ratio in ("5.00", "4.00", "2.40", "1.55"):
        used = used.replace('ratio = "?"', f'ratio = "{ratio}"', 1)
    done = loads(used)
    assert done.drive is not None and done.drive.limiter_rpm is None and drive_sums(done).tyre == "roll-out"


def test_what_may_be_added_can_be_added() -> None:
    """The examples that stand in the draft as words are tables that the loader takes, in both units."""
    bare = GOOD[:AT]
    for units in ("metric", "us"):
        text = in_use(with_drive_section(bare, units=units))
        text = re.sub(r"(?m)^#   +(?=\[|[a-z_]+ = )", "", text)
        text = re.sub(r"(?m)^(revolutions|size) = .*\n", "", text)
        text = text.replace('climb = "2500 rpm/s"\n', "").replace('value = "?"', 'value = "30.1 m"')
        text = text.replace('most = "?"', 'most = "6500 rpm"')
        for ratio in ("5.00", "4.00", "2.40", "1.55"):
            text = text.replace('ratio = "?"', f'ratio = "{ratio}"', 1)
        drive = loads(text).drive
        assert drive is not None and drive.sensors and drive.lines and drive.borrowed and drive.answers and drive.log
        assert drive.units == units and drive.lead_rpm is not None
    assert parse("98 ft 9 in", "length") == pytest.approx(30.0990), "the way that the US draft gives as an example"


def test_begin_is_refused_where_there_is_a_driveline() -> None:
    with pytest.raises(EditFault, match="already"):
        with_drive_section(GOOD)


def test_a_number_of_the_driveline_is_changed_by_its_path() -> None:
    text = with_values(GOOD, {"drive.gear.2.ratio": "2.50", "drive.engine.least": "2400 rpm"})
    made = loads(text).drive
    assert made is not None and made.gear("2").ratio.value == 2.5 and made.gear("2").ratio.basis == "published"
    assert made.least_rpm is not None and made.least_rpm.value == 2400.0
    assert len(text.splitlines()) == len(GOOD.splitlines())


def test_what_the_controller_was_told_is_kept() -> None:
    made = loads(GOOD).drive
    assert made is not None and made.log is not None
    assert dict(made.log.lever)["manual"] == "5" and made.log.lever_manual == ("5",)
    assert made.log.held_request.value == 3.0  # type: ignore[union-attr]
    assert (made.lowest_gear, made.highest_gear) == ("1", "6")
    none = loads(changed('held_request = "3 s"', 'held_request = "none"')).drive
    assert none is not None and none.log is not None and none.log.held_request == "none"


def rolled_of(truck: Truck) -> Rolled:
    assert truck.drive is not None
    return rolled(truck.drive.tyre)


@pytest.mark.parametrize(
    ("written", "circumference_m"),
    [
        ('revolutions = "533 rev/mile"', 1609.344 / 533.0),
        ('revolutions = "331 rev/km"', 1000.0 / 331.0),
        ('revolutions = { low = "330 rev/km", high = "332 rev/km" }', 1000.0 / 331.0),
        ('revolutions = "330 to 332 rev/km"', 1000.0 / 331.0),
        ('revolutions = "512 rev/mile to 526 rev/mile"', 1609.344 / 519.0),
        ('size = "315/75R16"', 3.05 * (16 * 0.0254 + 2 * 0.75 * 0.315)),
        ('size = "39x13.50-17"\nfactor = "3.05"', 3.05 * 39 * 0.0254),
    ],
)
def test_each_way_to_say_a_tyre(written: str, circumference_m: float) -> None:
    way = 'roll_out = { value = "30.21 m", tolerance = "0.2 %", basis = "measured", note = "loaded, race pressure" }'
    tyre = rolled_of(loads(changed(way, written).replace('turns = "10"', "", 1)))
    assert tyre.circumference_m.value == pytest.approx(circumference_m, rel=1e-9)
    if "size" in written and "factor" not in written:
        assert tyre.circumference_m.high / tyre.circumference_m.low > 1.06, "a size alone is not a point"
        assert tyre.basis == "assumed"


@pytest.mark.parametrize("size", ["", "37", "7.50R16", "315R16", "12x37R17", "37x12.50R40", "9999/75R16", "3" * 300])
def test_a_size_that_says_no_diameter(size: str) -> None:
    with pytest.raises(QuantityFault):
        diameter_of_size(size)


@given(st.text(max_size=50))
def test_any_text_as_a_size(text: str) -> None:
    with suppress(QuantityFault):
        assert 0.1 < diameter_of_size(text) < 4.0


def test_every_key_of_the_driveline_reaches_the_model() -> None:
    """A key that is read and then forgotten would be a silent lie."""
    renamed = {
        "most": "most_rpm", "limiter": "limiter_rpm", "least": "least_rpm", "upshift_time": "upshift_time_s",
        "lead": "lead_rpm", "latency": "latency_s", "acceleration": "acceleration_m_per_s2", "from": "before",
        "to": "after", "engine": "at", "output": "at", "road": "at",
    }  # fmt: skip
    models = {"drive.tyre": Tyre, "drive.transfer": Geared, "drive.gear": Geared, "drive.converter": Drive,
              "drive.engine": Drive, "drive.guard": Drive, "drive.sensor": Sensor, "drive.shift": ShiftLine,
              "drive.borrowed": Borrowed, "drive.borrowed.tyre": Tyre, "drive.log": DriveLog}  # fmt: skip
    for name, model in models.items():
        fields = {field.name for field in dataclasses.fields(model)}
        for key in TABLES[name].keys:
            if key.name != "note":
                assert renamed.get(key.name, key.name) in fields, (name, key.name)
    made = loads(GOOD).drive
    assert made is not None and made.numbers and {key for key, _ in made.answers} == {"enable", "re_entry"}


def test_a_design_that_is_adopted_has_a_borrowed_driveline() -> None:
    taken = adopted(GOOD, "pp-other")
    drive = loads(taken.text).drive
    assert drive is not None and all(each.basis != "measured" for each in drive.numbers)
    assert {"drive.tyre.roll_out", "drive.axle.ratio", "drive.gear.1.climb"} <= set(taken.borrowed)
