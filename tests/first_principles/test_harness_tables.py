"""The wiring tables of a design file: read into the model key by key, and refused with a cure."""

from __future__ import annotations

import dataclasses

import pytest

from pinproof.design import DesignFault, loads
from pinproof.design.keys import TABLES
from pinproof.design.keys_harness import HARNESS_TABLES
from pinproof.examples import example_path

from .test_harness_layout import POWER

FULL = (
    POWER
    + """
[[device]]
id = "lever"
place = "left"
positions = ["one", "two"]
[[switch]]
id = "in_one"
device = "lever"
closed = "10 mohm"
open = "none"
positions = ["one"]
[[plug]]
id = "half_a"
place = "middle"
[[plug]]
id = "half_b"
place = "left"
[[joint]]
id = "release"
kind = "quick-release"
run = "left_run"
ways = 6
plugs = ["half_a", "half_b"]
way_ohm = "20 mohm"
leak = "1 Mohm"
[[terminal]]
id = "pin"
smallest = "0.5 mm2"
largest = "6 mm2"
strip = "5 mm"
[[seal]]
id = "ring"
smallest = "1 mm"
largest = "5 mm"
[[cable]]
id = "thin"
size = "1 mm2"
strands = 19
outside = "2.1 mm"
insulation = "125 °C"
age = 3
[[relay]]
id = "horn_relay"
place = "middle"
feed = "lamps"
ground = "earth"
coil = "80 ohm"
pull_in = "8 V"
drop_out = "2 V"
drop = "critical"
[[relay.contact]]
id = "main"
kind = "normally open"
closed = "5 mohm"
open = "none"
[[wire]]
at = "lamp_left.plus"
colour = "BU"
""".replace("age = 3\n", "")
)


def faults(text: str) -> str:
    with pytest.raises(DesignFault) as caught:
        loads(text, "truck.toml")
    return str(caught.value)


def test_every_key_of_the_wiring_tables_reaches_the_model():
    truck = loads(FULL)
    models = {"harness": truck.harness, "joint": truck.joints[0], "stud": truck.studs[0], "seal": truck.seals[0],
              "terminal": truck.terminals[0], "cable": truck.cables[0], "feed": truck.feeds[0], "wire":
              truck.wire_choices[0], "switch": truck.switches[0], "load": truck.loads[0], "relay": truck.relays[0],
              "relay.contact": truck.relays[0].contacts[0],
              "driver": None}  # fmt: skip
    assert set(models) == {table.name for table in HARNESS_TABLES}
    for name, model in models.items():
        if model is None:
            continue
        fields = {field.name for field in dataclasses.fields(model)}
        for key in TABLES[name].keys:
            known = {key.name, f"{key.name}_m", f"{key.name}_c", f"{key.name}_a", f"{key.name}_", f"{key.name}s"}
            assert known & fields, (name, key.name)
    assert truck.feeds[0].fuse_a is None and truck.feeds[0].from_ == "plus"
    assert truck.studs[1].offset is None and truck.joints[0].may_be_apart and truck.joints[0].pairs
    assert truck.harness is not None and truck.harness.slack_m == 0.05


def test_what_the_wiring_tables_add_changes_no_other_example():
    for name in ("sandpiper", "heron", "wagtail"):
        truck = loads(example_path(name).read_text(encoding="utf-8"))
        assert truck.harness is None and not (truck.studs or truck.feeds or truck.loads)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('insulation = "125 °C"\n', "", '"insulation" is required'),
        ('sizes = "mm2"', 'sizes = "inch"', "is not known here"),
        ("[harness]", '[harness]\nsplice_wires = 9', "8 is the most"),
        ("[harness]", '[harness]\nsupport = "700 mm"', "610 mm is the most"),
        ("[harness]", '[harness]\nshrink = [["2 mm", "3 mm"]]', "supplied diameter comes first"),
        ('offset = "none"', "", '"offset" is required here, because it is a ground stud'),
        ('from = "plus"', 'from = "pluss"', 'Did you mean "plus"?'),
        ('from = "plus"', 'from = "earth"', "no battery stud, bus plug or other feed"),
        ('fuse = "to choose"', 'fuse = "6 A"', "No medium fuse has 6 A"),
        ('fuse = "to choose"', 'fuse = "chosen"', 'Or write "to choose" or "none"'),
        ('live = ["run"]', 'live = ["crunk"]', "no key state of [supply]"),
        ('ground = "earth"', 'ground = "plus"', "is a battery stud"),
        ('watts = "12 W"', "", "State what it draws once"),
        ('watts = "12 W"', 'watts = "12 W"\ninrush = 4', "inrush_time"),
        ('feed = "lamps"\n', 'feed = "lamps"\nhigh_side = ["in_two"]\n', 'Did you mean "in_one"?'),
        ('feed = "lamps"\n', 'feed = "lamps"\nhigh_side = ["in_one", "in_one"]\n', "stands twice in one chain"),
        ('feed = "lamps"\n', 'feed = "lamps"\nhigh_side = [["in_one"], []]\n', "inner list is empty"),
        ('positions = ["one"]', 'positions = ["three"]', "no position of the device"),
        ('ways = 6\n', "", '"ways" is required here'),
        ('run = "left_run"\nways', 'run = "trunk"\nways', "not at an end of the run"),
        ('kind = "quick-release"', 'kind = "coiled cord"', '"cord_length" is required here'),
        ('largest = "6 mm2"', 'largest = "0.2 mm2"', 'must not be below "smallest"'),
        ('outside = "2.1 mm"', 'outside = "1 mm"', "cannot hold 1 mm2 of copper"),
        ('size = "1 mm2"\n', "", '"size" is required here'),
        ('size = "1 mm2"', 'size = "16 mm2"\n', '"carries" is required here'),
        ('strands = 19', "strands = 19\nsalvaged = true", "judged by its strands"),
        ('strands = 19', "strands = 19\nage = 3", "is for salvaged cable"),
        ('id = "horn_relay"', 'id = "lamp_left"', "Nets go by these ids"),
        ('id = "lamp_left"\nplace = "left"', 'id = "lamp_left"\nplace = "lefd"', 'Did you mean "left"?'),
    ],
)  # fmt: skip
def test_refused_entries(old, new, words):
    assert old in FULL
    said = faults(FULL.replace(old, new, 1))
    assert words in said and "truck.toml:" in said, said


def test_two_joints_in_a_run_and_feeds_in_a_ring():
    twice = FULL + '[[joint]]\nid = "tail"\nkind = "flex tail"\nrun = "left_run"\n'
    assert "One joint in a run" in faults(twice)
    ring = FULL.replace('from = "plus"', 'from = "second"') + (
        '[[feed]]\nid = "second"\nfrom = "lamps"\nplace = "box"\nfuse = "none"\nlive = ["run"]\n'
    )
    assert "go round in a ring" in faults(ring)


def test_drivers_stand_on_their_own_side():
    dunlin = example_path("dunlin").read_text(encoding="utf-8")
    driver = '[[driver]]\nid = "out"\ncontroller = "gearbox controller"\nside = "low"\non = "0.2 ohm"\noff = "none"\n'
    wrong = dunlin.replace('high_side = ["lamps_on"]', 'high_side = ["lamps_on", "out"]', 1) + driver
    assert 'belongs in "low_side"' in faults(wrong)
    assert 'No input belongs to "other"' in faults(dunlin + driver.replace("gearbox controller", "other"))
    loose = dunlin.replace('at = "lever"', 'at = "leaver"')
    assert "A resistor loose in a run breaks its leads" in faults(loose)
    nowhere = dunlin.replace('returns_to = "tcu.A2"', 'returns_to = "tcu.A9"')
    assert 'Did you mean "tcu.A' in faults(nowhere)
