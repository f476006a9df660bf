"""The harness of whole trucks: nets, joints, currents, fuses, sizes; every refusal with place, reason and cure."""

from __future__ import annotations

import json
from itertools import pairwise

import networkx as nx
import pytest
from click.testing import CliRunner

from pinproof.cli import group
from pinproof.design import DesignFault, loads
from pinproof.examples import example_path
from pinproof.harness import apart_situations, as_json, lay_out
from pinproof.harness.lists import csv_files
from pinproof.wiring.nets import Refusal, nets_of

from .test_design_samples import HEAD

POWER = (
    HEAD
    + """
[harness]
sizes = "mm2"
insulation = "125 °C"

[[place]]
id = "box"
[[place]]
id = "middle"
[[place]]
id = "left"
[[place]]
id = "right"

[[run]]
id = "trunk"
between = ["box", "middle"]
length = "2 m"
[[run]]
id = "left_run"
between = ["middle", "left"]
length = "1 m"
[[run]]
id = "right_run"
between = ["middle", "right"]
length = "1.5 m"

[[stud]]
id = "plus"
place = "box"
rail = "battery"
[[stud]]
id = "earth"
place = "box"
rail = "ground"
offset = "none"

[[feed]]
id = "lamps"
from = "plus"
place = "box"
fuse = "to choose"
live = ["run"]

[[load]]
id = "lamp_left"
place = "left"
feed = "lamps"
ground = "earth"
volts = "12 V"
watts = "12 W"
drop = "not critical"
[[load]]
id = "lamp_right"
place = "right"
feed = "lamps"
ground = "earth"
volts = "12 V"
watts = "12 W"
drop = "not critical"
"""
)


def laid(text: str = POWER):
    return lay_out(loads(text, "truck.toml"))


def codes(text: str) -> dict[str, str]:
    """Refusals of a text: code to message."""
    with pytest.raises(DesignFault) as caught:
        laid(text)
    return {fault.code if isinstance(fault, Refusal) else "file": str(fault) for fault in caught.value.faults}


def swap(old: str, new: str, text: str = POWER) -> str:
    assert old in text, old
    return text.replace(old, new, 1)


def test_nets_join_chains_and_name_their_ends():
    nets = {net.name: net for net in nets_of(loads(POWER)).nets}
    assert set(nets) == {"lamps", "plus", "earth"}
    assert [end.label for end in nets["lamps"].ends] == ["lamps", "lamp_left.plus", "lamp_right.plus"]
    assert [end.label for end in nets["earth"].ends] == ["earth", "lamp_left.minus", "lamp_right.minus"]
    assert nets["earth"].ends[0].wires == 4 and nets["earth"].ends[0].hub


def test_a_feed_net_without_a_hub_is_one_splice_where_it_costs_least():
    harness = laid()
    splice = next(one for one in harness.splices if one.net == "lamps")
    assert (splice.run, len(splice.wires)) == ("trunk", 3)
    each = 1950 + (50 + 1000) + (50 + 1500) + 3 * 50 + 300  # 50 mm before the break-out; lamps and earth alike
    assert harness.least_mm == 2 * each + 100  # and the fuse beside the battery
    assert harness.total_mm == harness.least_mm + harness.stagger_mm


def test_every_net_is_joined_and_every_single_end_has_one_wire():
    harness = lay_out(loads(example_path("dunlin").read_text(encoding="utf-8")))
    for number, part in enumerate(harness.parts):
        graph = nx.Graph()
        graph.add_nodes_from(range(len(part.ends)))
        for wire in harness.wires:
            if wire.part == number:
                ends = [end.label if end.side is None else end.side for end in (wire.a, wire.b)]
                graph.add_edge(*ends)
                assert not all(end.kind == "splice" for end in (wire.a, wire.b))
        assert nx.is_tree(graph), part.net
        for side, end in enumerate(part.ends):
            assert graph.degree[side] == 1 or (side == part.hub and end.kind in ("stud", "bus"))
    for wire in harness.wires:
        assert wire.cut_mm % 5 == 0 and wire.cut_mm > wire.distance_mm


def test_currents_are_those_of_the_loads_beyond_and_none_is_typed():
    harness = laid()
    each_a = 15.5 / (12.0 * 0.9)  # 12 W at 12 V is 12 Ω, less 10 %; at most 15.5 V
    by_end = {end.label: wire for wire in harness.wires for end in (wire.a, wire.b)}
    assert by_end["lamp_left.plus"].current_a == pytest.approx(each_a)
    assert by_end["lamps"].current_a == pytest.approx(2 * each_a)
    assert by_end["plus"].current_a == pytest.approx(2 * each_a)
    assert harness.fuses[0].rating_a == 4.0  # 2.87 A is more than 80 % of 3 A
    assert {wire.fuse_a for wire in harness.wires} == {0.0, 4.0}
    assert by_end["plus"].fuse_a == 0.0


def test_loads_that_exclude_each_other_are_not_added():
    text = (
        POWER
        + """
[[device]]
id = "lever"
place = "box"
positions = ["one", "two"]
[[switch]]
id = "in_one"
device = "lever"
closed = "10 mohm"
open = "none"
positions = ["one"]
[[switch]]
id = "in_two"
device = "lever"
closed = "10 mohm"
open = "none"
positions = ["two"]
"""
    )
    text = swap('feed = "lamps"\nground', 'feed = "lamps"\nhigh_side = ["in_one"]\nground', text)
    both = laid(text).fuses[0].running_a
    text = swap(
        'place = "right"\nfeed = "lamps"\nground',
        'place = "right"\nfeed = "lamps"\nhigh_side = ["in_two"]\nground',
        text,
    )
    assert laid(text).fuses[0].running_a == pytest.approx(both / 2)
    assert not [one for one in laid(text).findings if one.code == "never-on"]
    never = swap('high_side = ["in_two"]', 'high_side = ["in_two"]\nlow_side = ["in_one"]', text)
    told = [one for one in laid(never).findings if one.code == "never-on"]
    assert [(one.verdict, one.path) for one in told] == [("fail", "load.lamp_right")]
    assert "lamp_right can never be on" in told[0].text


def test_a_pair_joint_cuts_a_net_into_ways_and_no_wire_lies_in_its_run():
    joint = """
[[joint]]
id = "release"
kind = "quick-release"
run = "left_run"
ways = 2
way_ohm = "20 mohm"
leak = "none"
"""
    harness = laid(POWER + joint)
    assert next(one for one in harness.runs if one.run == "left_run").wires == ()
    ways = [end for part in harness.parts for end in part.ends if end.kind == "way"]
    assert sorted((one.place, one.way) for one in ways) == [("left", 1), ("left", 2), ("middle", 1), ("middle", 2)]
    wire = next(one for one in harness.wires if "lamp_left.plus" in (one.a.label, one.b.label))
    assert wire.current_a == pytest.approx(15.5 / 10.8)
    found = codes(POWER + joint.replace("ways = 2", "ways = 1"))
    assert "2 nets cross, it has 1 ways" in found["joint-ways"]
    ring = joint.replace("quick-release", "slip ring")
    assert "would carry 1.44 A of a load" in codes(POWER + ring)["joint-current"]


def test_a_coiled_cord_counts_its_wire_and_flex_asks_for_more_copper():
    joint = '[[joint]]\nid = "cord"\nkind = "coiled cord"\nrun = "left_run"\ncord_length = "1.7 m"\n'
    text = swap('length = "1 m"', 'length = "1 m"\nenvironment = "flex"') + joint
    wire = next(one for one in laid(text).wires if "lamp_left.minus" in (one.a.label, one.b.label))
    assert "left_run" in wire.runs and wire.sizing.area_m2 >= 0.75e-6
    assert next(one for one in laid(text).runs if one.run == "left_run").length_mm == 1700


def test_the_named_rule_is_the_one_that_asks_most():
    for wire in lay_out(loads(example_path("dunlin").read_text(encoding="utf-8"))).wires:
        assert all(check.holds for check in wire.sizing.checks), wire.id
        assert wire.sizing.rule in {check.rule for check in wire.sizing.checks}


def test_coded_wires_step_up_until_they_have_no_more_ohms_than_the_proof_assumed():
    text = example_path("dunlin").read_text(encoding="utf-8")
    tight = text.replace('wire = { low = "0 ohm", high = "1 ohm" }', 'wire = { low = "0 ohm", high = "0.15 ohm" }', 1)
    taps = [wire for wire in laid(tight).wires if wire.net == "taps"]
    assert {wire.sizing.rule for wire in taps} >= {"coded"}
    for wire in taps:
        check = next(one for one in wire.sizing.checks if one.rule == "coded")
        assert check.need <= check.have == pytest.approx(150.0)
    none = text.replace('wire = { low = "0 ohm", high = "1 ohm" }', 'wire = { low = "0 ohm", high = "30 mohm" }', 1)
    assert "prove again" in codes(none)["wire-none"]


def test_a_source_end_that_leads_nowhere_is_a_finding():
    text = example_path("dunlin").read_text(encoding="utf-8").replace('returns_to = "tcu.A2"\n', "")
    text = text.replace('id = "A2"\nsignal = "taps.source"', 'id = "A2"\nsignal = "empty"')
    harness = laid(text)
    assert [one.code for one in harness.findings if one.verdict == "not shown"] == ["source-undrawn"]
    assert harness.exit_code == 1


@pytest.mark.parametrize(
    ("code", "old", "new", "words"),
    [
        ("run-length", 'length = "2 m"\n', "", "Measure along the route"),
        ("run-unconnected", 'between = ["middle", "right"]', 'between = ["middle", "spare"]', "nothing joins right"),
        ("run-ring", '[[stud]]\nid = "plus"',
         '[[run]]\nid = "again"\nbetween = ["left", "right"]\nlength = "1 m"\n[[stud]]\nid = "plus"', "form a ring"),
        ("splice-none", 'length = "2 m"', 'length = "2 m"\nsplices = false', "no run where a splice may lie"),
        ("hub-many", 'rail = "ground"', 'rail = "ground"\nrings = 1', "need 1 rings, it takes 1"),
        ("fuse-too-small", '"to choose"', '"2 A"', "Fit 4 A"),
        ("wire-none", 'watts = "12 W"', 'watts = "300 W"', "What helps:"),
    ],
)  # fmt: skip
def test_refusals_name_place_reason_and_cure(code, old, new, words):
    text = swap(old, new).replace('[[place]]\nid = "middle"', '[[place]]\nid = "spare"\n[[place]]\nid = "middle"')
    if code in ("splice-none",):
        text = text.replace('length = "1 m"', 'length = "1 m"\nhot = true').replace('"1.5 m"', '"0.2 m"')
    if code == "hub-many":
        text = text.replace('length = "2 m"', 'length = "2 m"\nsplices = false').replace('"1 m"', '"0.2 m"')
        text = text.replace('"1.5 m"', '"0.2 m"').replace("[harness]", "[harness]\nsplice_wires = 3")
        text = text.replace('[[feed]]\nid = "lamps"', '[[plug]]\nid = "bar"\nplace = "box"\nbus = true\n'
                            '[[plug.cavity]]\nid = "1"\nsignal = "lamps"\n[[plug.cavity]]\nid = "2"\n'
                            '[[plug.cavity]]\nid = "3"\n[[feed]]\nid = "lamps"')  # fmt: skip
        words = "ends need"
    found = codes(text)
    assert code in found, found
    assert words in found[code] and found[code].startswith("<text>:")


@pytest.mark.parametrize(
    ("code", "cavities", "words"),
    [
        ("cavity-missing", '[[plug.cavity]]\nid = "1"\nsignal = "lamps"\n', 'Give a cavity `signal = "earth"`'),
        ("signal-unknown", '[[plug.cavity]]\nid = "1"\nsignal = "lamp_leff.plus"\n', 'Nearest: "lamp_left.plus"'),
        ("seal-wire", '[[plug.cavity]]\nid = "1"\nsignal = "lamps"\nseal = "thin"\n'
         '[[plug.cavity]]\nid = "2"\nsignal = "earth"\n', "takes 0.5 to 1 mm"),
        ("terminal-wire", '[[plug.cavity]]\nid = "1"\nsignal = "lamps"\nterminal = "small"\n'
         '[[plug.cavity]]\nid = "2"\nsignal = "earth"\n', "Take a terminal that fits"),
        ("terminal-insulation", '[[plug.cavity]]\nid = "1"\nsignal = "lamps"\nterminal = "narrow"\n'
         '[[plug.cavity]]\nid = "2"\nsignal = "earth"\n', "Take terminal or cable that fit"),
    ],
)  # fmt: skip
def test_refusals_at_plugs(code, cavities, words):
    stock = """
[[seal]]
id = "thin"
smallest = "0.5 mm"
largest = "1 mm"
[[terminal]]
id = "small"
smallest = "0.2 mm2"
largest = "0.3 mm2"
strip = "4 mm"
[[terminal]]
id = "narrow"
smallest = "0.2 mm2"
largest = "6 mm2"
insulation_smallest = "0.5 mm"
insulation_largest = "1 mm"
strip = "4 mm"
"""
    text = swap('place = "left"\n', 'place = "left"\nplug = "pod"\n') + stock
    found = codes(text + '[[plug]]\nid = "pod"\nplace = "left"\n' + cavities)
    assert code in found and words in found[code], found


def test_a_cavity_takes_one_wire_and_a_unit_needs_a_place():
    dunlin = example_path("dunlin").read_text(encoding="utf-8")
    twice = dunlin.replace('returns_to = "tcu.A2"', 'returns_to = "tcu.A1"')
    assert "two wires would sit here" in codes(twice)["cavity-twice"]
    nowhere = dunlin.replace('id = "wheel"\nplace = "wheel_place"', 'id = "wheel"')
    assert "Write `place`" in codes(nowhere)["end-nowhere"]
    loose = dunlin.replace('{ value = "3.9k", at = "lever" }', '"3.9k"')
    assert "breaks its leads" in codes(loose)["resistor-loose"]
    single = dunlin.replace('ground = "dash_ground"', 'ground = "rear_ground"', 1)
    assert laid(single).wires  # the stud that nothing uses is no net
    strange = dunlin.replace('place = "rear_left"', 'place = "rear_leff"', 1)
    assert "rear_left" in codes(strange)["file"]


@pytest.mark.parametrize(
    ("code", "wire", "words"),
    [
        ("splice-hot", 'at = "run.left_run"\nnet = "lamps"', "is hot. Put it in run.trunk"),
        ("splice-flex", 'at = "run.right_run"\nnet = "lamps"', "flexes. Put it in run.trunk"),
        ("no-size", 'at = "lamp_left.plus"\nsize = "3 mm2"', "Give a `[[cable]]`"),
        ("fuse-outlasts-wire", 'at = "lamp_left.plus"\nsize = "0.5 mm2"', "outlasts wire"),
        ("signal-unknown", 'at = "lamp_lift.plus"\nsize = "1 mm2"', 'Nearest: "lamp_left.plus"'),
    ],
)
def test_refused_choices_of_the_owner(code, wire, words):
    text = swap('length = "1 m"', 'length = "1 m"\nhot = true')
    text = swap('length = "1.5 m"', 'length = "1.5 m"\nenvironment = "flex"', text)
    if code == "fuse-outlasts-wire":
        text = swap('"to choose"', '"10 A"', text)
    found = codes(text + f"[[wire]]\n{wire}\n")
    assert code in found and words in found[code], found


def test_owner_pins_a_splice_and_a_colour():
    pinned = laid(
        POWER + '[[wire]]\nat = "run.left_run"\nnet = "lamps"\n[[wire]]\nat = "lamp_left.plus"\ncolour = "PK"\n'
    )
    assert next(one for one in pinned.splices if one.net == "lamps").run == "left_run"
    wire = next(one for one in pinned.wires if "lamp_left.plus" in (one.a.label, one.b.label))
    assert wire.colour == "PK"


def test_salvaged_cable_is_judged_by_strands_age_and_length():
    cables = """
[[cable]]
id = "old"
salvaged = true
strand = "0.254 mm"
strands = 40
outside = "3 mm"
insulation = "unknown"
age = 20
condition = "good"
on_hand = "2 m"
"""
    found = codes(POWER.replace('high = "80 °C"', 'high = "30 °C"') + cables)
    assert "m wanted, 2 m there" in found["cable-short"]
    longer = laid(POWER.replace('high = "80 °C"', 'high = "30 °C"') + cables.replace("2 m", "200 m"))
    assert {wire.sizing.cable for wire in longer.wires} == {"old"}
    assert any(one.code == "salvaged-measure" for one in longer.findings)
    barred = codes(POWER + cables.replace('"good"', '"doubtful"'))
    assert "doubtful" in barred["wire-none"]


def test_files_without_these_tables_have_no_harness_and_load_as_before():
    with pytest.raises(DesignFault, match=r"has no \[harness\]"):
        lay_out(loads(example_path("heron").read_text(encoding="utf-8")))


def test_command_prints_writes_and_is_the_same_every_time(tmp_path):
    runner = CliRunner()
    said = runner.invoke(group, ["harness", str(example_path("dunlin")), "-o", str(tmp_path)])
    assert said.exit_code == 0 and "HARNESS HOLDS" in said.output and "W001" in said.output
    lists = ("wires", "splices", "plugs", "runs", "harness-parts", "resistors", "cutlist", "labels", "steps")
    names = {f"{name}.csv" for name in lists}
    assert {path.name for path in tmp_path.glob("*.csv")} == names
    truck = loads(example_path("dunlin").read_text(encoding="utf-8"))
    harness = lay_out(truck)
    assert csv_files(truck, harness) == {name: (tmp_path / name).read_text(encoding="utf-8") for name in names}
    assert json.dumps(as_json(harness), allow_nan=False) == json.dumps(as_json(lay_out(truck)), allow_nan=False)
    shown = runner.invoke(group, ["harness", str(example_path("dunlin")), "--json"])
    assert len(json.loads(shown.stdout)["wires"]) == len(harness.wires)
    bad = tmp_path / "bad.toml"
    bad.write_text(POWER.replace('length = "2 m"\n', ""), encoding="utf-8")
    refused = runner.invoke(group, ["harness", str(bad), "-o", str(tmp_path / "none")])
    assert refused.exit_code != 0 and not (tmp_path / "none").exists()


def test_the_command_says_so_where_a_battery_wire_runs_far_without_a_fuse(tmp_path):
    text = example_path("dunlin").read_text(encoding="utf-8")
    far = tmp_path / "far.toml"
    far.write_text(
        text.replace('place = "battery"\nfuse = "15 A"', 'place = "fuse_box"\nfuse = "15 A"'), encoding="utf-8"
    )
    said = CliRunner().invoke(group, ["harness", str(far)])
    assert said.exit_code == 1 and "HARNESS FAILS, 1 finding" in said.output
    assert "Without a fuse wires run on to 1400 mm from the battery stud battery_plus (W001)" in said.output


def test_splices_that_crowd_a_run_move_and_the_sum_is_told():
    text = POWER.replace('length = "2 m"', 'length = "460 mm"')
    more = ""
    for number in range(2):
        more += f'[[feed]]\nid = "f{number}"\nfrom = "plus"\nplace = "box"\nfuse = "to choose"\nlive = ["run"]\n'
        for side in ("left", "right"):
            more += (f'[[load]]\nid = "l{number}_{side}"\nplace = "{side}"\nfeed = "f{number}"\nground = "earth"\n'
                     'volts = "12 V"\nwatts = "1 W"\ndrop = "not critical"\n')  # fmt: skip
    harness = laid(text.replace('rail = "ground"', 'rail = "ground"\nrings = 8') + more)
    for run in {one.run for one in harness.splices}:
        places = sorted(one.at_mm for one in harness.splices if one.run == run)
        assert all(b - a >= 65 for a, b in pairwise(places))
    moved = sum(part.cost_mm for part in harness.parts)
    assert harness.total_mm == moved >= harness.least_mm


def test_a_low_side_driver_ends_in_the_controller_and_the_stud_is_not_used():
    driver = """
[[driver]]
id = "out"
controller = "gearbox controller"
plug = "tcu"
cavity = "A6"
side = "low"
on = "0.2 ohm"
off = "none"
"""
    dunlin = example_path("dunlin").read_text(encoding="utf-8") + driver
    plug = '[[plug]]\nid = "lever_plug"'
    dunlin = dunlin.replace(plug, f'[[plug.cavity]]\nid = "A6"\nsignal = "empty"\n\n{plug}', 1)
    dunlin = dunlin.replace('behaves = "current"', 'behaves = "current"\nlow_side = ["out"]', 1)
    nets = {net.name: net for net in nets_of(loads(dunlin)).nets}
    assert {end.label for end in nets["gear_display.minus"].ends} == {"tcu.A6", "gear_display.minus"}
    assert "dash_ground" not in nets


def test_what_is_apart_while_live():
    joint = (
        '[[joint]]\nid = "release"\nkind = "quick-release"\nrun = "left_run"\nways = 2\nway_ohm = "20 mohm"\n'
        'leak = "none"\n'
    )
    assert apart_situations(loads(POWER + joint)) == {"release": ("lamps", "earth")}
    assert apart_situations(loads(POWER + joint + "apart = false\n")) == {}


def test_contacts_and_long_unfused_wires_are_told():
    text = POWER.replace('from = "plus"', 'from = "plus"\nthrough = ["master"]') + (
        '[[device]]\nid = "key"\nplace = "right"\n[[switch]]\nid = "master"\ndevice = "key"\nclosed = "5 mohm"\n'
        'open = "none"\ncarries = "2 A"\n'
    )
    found = {one.code: one for one in laid(text).findings}
    assert "2.87 A flow through it" in found["contact-current"].text and found["contact-current"].verdict == "fail"
    assert found["unfused"].verdict == "fail" and "At most 177.8 mm" in found["unfused"].text


@pytest.mark.parametrize(
    ("length_mm", "sleeved", "verdict"),
    [(177, True, ""), (178, True, None), (1016, True, None), (1017, True, "fail"), (178, False, "fail")],
)
def test_how_far_a_wire_may_run_before_its_fuse(length_mm, sleeved, verdict):
    """Seven inches, or forty in a sheath all the way: printed in 33 CFR 183.455(b), for boats (open copy)."""
    text = POWER.replace('from = "plus"\nplace = "box"', 'from = "plus"\nplace = "middle"')
    text = text.replace('length = "2 m"', f'length = "{length_mm} mm"')
    if not sleeved:
        text = text.replace("[harness]\n", '[harness]\nsleeves = ["0.5 mm"]\n')
    found = [one for one in laid(text).findings if one.code == "unfused"]
    assert [one.verdict for one in found] == ([] if verdict == "" else [verdict])
    assert all(("It is in a sleeve" in one.text) is sleeved for one in found)


def test_inrush_asks_for_the_larger_fuse_and_a_given_small_one_fails():
    hot = POWER.replace('watts = "12 W"', 'watts = "12 W"\ninrush = 10\ninrush_time = "50 ms"', 1)
    chosen = laid(hot).fuses[0]
    assert chosen.rating_a == 10.0  # 15.8 A is 158 % of 10 A (0.25 s), but 211 % of 7.5 A: may blow after 40 ms
    given = laid(hot.replace('"to choose"', '"5 A"'))
    assert [one.code for one in given.findings if one.verdict == "fail"] == ["fuse-inrush"]
