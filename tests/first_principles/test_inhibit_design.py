"""The start inhibit from the text of a design file: its tables, its nets, the drivers that read a line, the command."""

from __future__ import annotations

import json
from dataclasses import replace
from math import inf

import pytest
from click.testing import CliRunner

from pinproof.cli import group
from pinproof.design import DesignFault, loads
from pinproof.design.schema import json_schema
from pinproof.examples import example_path
from pinproof.inhibit import built, prove, truth_table
from pinproof.inhibit.from_design import prove_truck, start_circuit
from pinproof.inhibit.reads import driver_states
from pinproof.inhibit.results import Cell, Row, Set, StartFault
from pinproof.inhibit.sets import Interval
from pinproof.inhibit.words import harm_words, row_notes
from pinproof.verdict import Verdict
from pinproof.wiring.nets import nets_of

HEAD = """
format = 1
id = "pp-start"
[supply]
run = { low = "10 V", value = "13 V", high = "15 V" }
crank = { low = "7 V", high = "11 V" }
[temperature]
low = "20 °C"
high = "20 °C"
[defaults]
tolerance = "1 %"
tempco = "0 ppm/K"
ageing = "0 %"
closed = { low = "0 ohm", high = "1 ohm" }
open = "none"
[inhibit]
coil = "starter"
lever = "lever"
permitted = ["P", "N"]
start = ["button"]
[[device]]
id = "lever"
place = "cab"
positions = ["P", "R", "N", "D"]
[[device]]
id = "panel"
place = "cab"
[[place]]
id = "cab"
[[stud]]
id = "plus"
place = "cab"
rail = "battery"
[[stud]]
id = "engine"
place = "cab"
rail = "ground"
offset = { low = "0 V", high = "0.2 V" }
[[feed]]
id = "start"
from = "plus"
place = "cab"
fuse = "10 A"
live = ["run", "crank"]
[[switch]]
id = "button"
device = "panel"
closed = "0 ohm"
open = "none"
[[switch]]
id = "gate"
device = "lever"
closed = { low = "0 ohm", high = "50 mohm" }
open = "none"
positions = ["P", "N"]
mid = { "P|R" = "open", "R|N" = "open", "N|D" = "open" }
[[relay]]
id = "starter"
place = "cab"
feed = "start"
ground = "engine"
high_side = ["button", "gate"]
coil = { low = "9 ohm", high = "11 ohm" }
pull_in = { low = "4 V", high = "6.5 V" }
drop_out = { low = "1 V", high = "3 V" }
drop = "critical"
[[relay.contact]]
id = "main"
kind = "normally open"
closed = "1 mohm"
open = "none"
"""
LINE = """
[[input]]
id = "lever_pin"
controller = "gearbox controller"
pull_up = { value = "1 kohm", tolerance = "0 %" }
pull_down = "none"
reference = "5 V"
compares = "reference"
error = "0 %"
[[line]]
id = "lever_line"
input = "lever_pin"
form = "pull-up"
idle = "between"
idle_resistor = { value = "10k", at = "lever" }
wire = "0 ohm"
source_wire = "0 ohm"
return_offset = "none"
leak_to_ground = "none"
leak_to_supply = "none"
returns_to = "engine"
[[line.window]]
meaning = "park"
high = "20 %"
[[line.window]]
meaning = "gear"
low = "40 %"
high = "60 %"
[[line.window]]
meaning = "between"
low = "80 %"
"""
CODES = "".join(
    f'[[contact]]\nid = "in_{name}"\nline = "lever_line"\ndevice = "lever"\nkind = "normally open"\n'
    f'action = "maintained"\nasks = "{asks}"\nresistor = "{ohm}"\npositions = ["{name}"]\n'
    for name, asks, ohm in (
        ("P", "park", "100 ohm"),
        ("R", "gear", "1k"),
        ("N", "park", "100 ohm"),
        ("D", "gear", "1k"),
    )
)
DRIVER = """
[[plug]]
id = "tcu"
place = "cab"
unit = "gearbox controller"
[[plug.cavity]]
id = "1"
signal = "lever_line"
[[plug.cavity]]
id = "2"
signal = "out.a"
[[driver]]
id = "out"
controller = "gearbox controller"
side = "low"
on = { low = "0 ohm", high = "0.2 ohm" }
off = "none"
reads = "lever_line"
permits = ["park"]
"""
SWITCHED = HEAD
CONTROLLED = HEAD.replace('high_side = ["button", "gate"]', 'high_side = ["button"]\nlow_side = ["out"]') + LINE + CODES
CONTROLLED += DRIVER


def faults(text: str) -> str:
    with pytest.raises(DesignFault) as caught:
        start_circuit(loads(text, "truck.toml"))
    return str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('coil = "starter"', 'coil = "startr"', 'is no relay. Nearest: "starter"'),
        ('lever = "lever"', 'lever = "leber"', 'Did you mean "lever"?'),
        ('positions = ["P", "R", "N", "D"]\n', "", "List the detents in order of travel"),
        ('permitted = ["P", "N"]', 'permitted = ["P", "X"]', '"X" is no position of lever'),
        ('permitted = ["P", "N"]', 'permitted = ["P", "R", "N", "D"]', "that is no inhibit"),
        ('permitted = ["P", "N"]', "permitted = []", "it never cranks"),
        ('start = ["button"]', 'start = ["buton"]', 'Nearest: "button"'),
        ('start = ["button"]', 'start = []', "Which switch asks"),
        ('start = ["button"]', 'start = ["button"]\nturns = "starter.man"', 'Nearest: "starter.main"'),
        ('start = ["button"]', 'start = ["button"]\nform = "X"', "is not known here"),
        ('start = ["button"]', 'start = ["button"]\nform = "L"', '"L" is written, the circuit is H'),
        ('drop_out = { low = "1 V", high = "3 V" }', 'drop_out = { low = "1 V", high = "4 V" }', "not below pull_in"),
        ('"P|R" = "open"', '"P|N" = "open"', "not two neighbouring positions"),
        ('"P|R" = "open"', '"P|R" = "shut"', "is not known here"),
        ('mid = { "P|R" = "open", "R|N" = "open", "N|D" = "open" }', 'mid = "open"', "a table in one line"),
        ('high_side = ["button", "gate"]', 'high_side = ["button"]', "nothing in its chain depends on the lever"),
        ('high_side = ["button", "gate"]', 'high_side = ["gate"]', "button is not in the chain of starter"),
        ('[inhibit]', '[inhibits]', 'Did you mean "inhibit"?'),
    ],
)  # fmt: skip
def test_refused_with_line_and_cure(old: str, new: str, words: str) -> None:
    assert old in SWITCHED
    said = faults(SWITCHED.replace(old, new, 1))
    assert words in said and ("truck.toml:" in said or "<text>:" in said), said


def test_a_bypass_over_two_chains_is_refused() -> None:
    """A hand switch between the same two nets as the position switch, although in another chain."""
    crossed = SWITCHED.replace('["button", "gate"]', '["button", "gate", "late"]') + (
        '[[switch]]\nid = "late"\ndevice = "panel"\nclosed = "0 ohm"\nopen = "none"\n'
        '[[switch]]\nid = "round"\ndevice = "panel"\nclosed = "0 ohm"\nopen = "none"\n'
        '[[load]]\nid = "lamp"\nplace = "cab"\nfeed = "start"\nground = "engine"\nvolts = "12 V"\nwatts = "5 W"\n'
        'drop = "not critical"\nhigh_side = ["button", "round", "late"]\n'
    )
    assert "joins both sides of gate in parallel" in faults(crossed)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('permits = ["park"]', 'permits = ["parc"]', 'which lever_line has no window for. Nearest: "park"'),
        ('reads = "lever_line"\n', "", '"reads" is required here'),
        ('permits = ["park"]', "", "Which meanings let it be on"),
    ],
)
def test_a_driver_that_permits_needs_real_windows(old: str, new: str, words: str) -> None:
    assert words in faults(CONTROLLED.replace(old, new, 1))


def test_targets_are_no_windows_for_a_driver() -> None:
    target = (
        '[[line.target]]\nmeaning = "park"\nreading = "10 %"\n[[line.target]]\nmeaning = "gear"\nreading = "50 %"\n'
    )
    target += '[[line.target]]\nmeaning = "between"\nreading = "90 %"\n'
    start = CONTROLLED.index("[[line.window]]")
    said = faults(CONTROLLED[:start] + target + CODES + DRIVER)
    assert "needs real ones" in said


def test_the_schema_knows_the_table_and_mid() -> None:
    made = json_schema()
    assert set(made["$defs"]["inhibit"]["required"]) == {"coil", "lever", "permitted", "start"}
    assert made["$defs"]["switch"]["properties"]["mid"]["additionalProperties"]["enum"] == ["open", "closed", "either"]


def test_every_key_reaches_the_model() -> None:
    found = loads(
        SWITCHED.replace('start = ["button"]', 'start = ["button"]\nform = "H"\nturns = "starter.main"')
    ).inhibit
    assert found is not None
    assert (found.coil, found.lever, found.permitted, found.start) == ("starter", "lever", ("P", "N"), ("button",))
    assert (found.form, found.turns) == ("H", "starter.main")
    assert loads(example_path("heron").read_text(encoding="utf-8")).inhibit is None


def test_the_nets_are_those_of_the_harness() -> None:
    """Nothing is joined twice: the engine's nets of the example are the harness's, terminal for terminal."""
    truck = loads(example_path("dunlin").read_text(encoding="utf-8"))
    circuit = built(start_circuit(truck))
    nets = nets_of(truck)
    ends = {each.b: each.a for each in circuit.branches if each.kind == "wire" and each.id == f"wire {each.b}"}
    groups: dict[str, set[int]] = {}
    for terminal, node in ends.items():
        groups.setdefault(node, set()).add(nets.net_of[terminal.partition(" at ")[0]])
    assert all(len(each) == 1 for each in groups.values()), groups
    names = [next(iter(each)) for each in groups.values()]
    assert len(names) == len(set(names)) and len(names) >= 15
    assert {name for name, _ in circuit.nets} >= {"taps", "taps.source", "lamps", "start", "main", "pn_switch.b"}


def test_wires_have_the_ohms_of_the_laid_out_harness() -> None:
    """From the key to the lever: 1.515 m of 0.75 mm² at 70 °C, 26 mΩ/m · 1.1965, and one mated pair: 67 mΩ in all."""
    truck = loads(example_path("dunlin").read_text(encoding="utf-8"))
    found = start_circuit(truck).wire_ohm
    total = found["key_start.b"] + found["pn_switch.a"]
    assert total == pytest.approx(1.515 * 0.026 * (1 + 0.00393 * 50) + 0.02, rel=1e-3)
    assert start_circuit(loads(SWITCHED)).wire_ohm == {}


def test_the_truth_table_of_a_file_by_hand() -> None:
    """P: most volts are 15 V with nothing in between; least at crank, 7 V less 0.2 V of offset over the coil's 9 Ω with
    eight ends of half an ohm and 50 mΩ of contact: 6.8 · 9 / 13.05."""
    rows = {row.position: row for row in truth_table(built(start_circuit(loads(SWITCHED))))}
    cell = rows["P"].cells[0]
    assert cell.verdict is Verdict.PASS
    assert cell.pull_v[1] == pytest.approx(15.0, rel=1e-6)
    assert min(cell.pull_v[0], cell.hold_v[0]) == pytest.approx(6.8 * 9 / 13.05, rel=1e-6)
    least = rows["P"].least_supply_v
    assert least == pytest.approx(6.5 * 13.05 / 9 + 0.2, rel=1e-4)
    assert all(rows[point].cells[0].verdict is Verdict.PASS for point in ("R", "P|R", "D"))


def test_what_a_driver_does_by_hand() -> None:
    """P reads 100/1100 = 9 %, surely park: on. R reads 1/2: off. Between two detents one of both or 10k: on or off.
    With the idle resistor shorted the pin is at ground in every position, so the driver is on in gear."""
    truck = loads(CONTROLLED)
    states = driver_states(truck, truck.drivers[0], "lever", ("P", "R", "N", "D"))
    assert states.closed_at == {"P", "N"}
    assert states.either_at == {"P|R", "R|N", "N|D"}
    codes = {each.id: each for each in states.codes}
    shorted = next(each for name, each in codes.items() if "idle resistor" in name and "shorted" in name)
    assert shorted.closed_at >= {"P", "R", "N", "D", "unplugged"} - {"unplugged"} and shorted.kind == "line-fault"
    assert codes["gear"].closed_at >= {"P", "R", "N", "D"} and codes["gear"].kind == "wrong-code"
    chafe = dict(next(each for name, each in codes.items() if name == "pin chafed to ground").severities)
    ((low, high),) = chafe["R"]
    # At most 20 % of the reference needs 250 Ω in all, beside 1 kΩ and 10 kΩ that may be 1 % less.
    assert low == 0.0 and high == pytest.approx(1 / (1 / 250 - 1 / 990 - 1 / 9900), rel=1e-6)
    unknown = loads(CONTROLLED.replace('pull_up = { value = "1 kohm", tolerance = "0 %" }', 'pull_up = "unknown"'))
    lost = driver_states(unknown, unknown.drivers[0], "lever", ("P", "R", "N", "D"))
    assert lost.reason and not lost.closed_at and "R" in lost.either_at


def test_a_press_on_the_position_line_that_reads_park_is_a_defeat() -> None:
    """A button of 100 Ω on the same line: pressed in R the line reads park, and the driver lets it crank."""
    device = '[[device]]\nid = "wheel"\nplace = "cab"\n'
    press = (
        '[[contact]]\nid = "tap"\nline = "lever_line"\ndevice = "wheel"\nkind = "normally open"\naction = "momentary"\n'
        'asks = "park"\nresistor = "100 ohm"\n'
    )
    report = prove_truck(loads(CONTROLLED + device + press))
    found = next(each for each in report.faults if each.kind == "press")
    assert found.defeat and found.by_command[0][0] == ("tap",) and report.influence.verdict is Verdict.FAIL
    assert "no commands" in found.cure and "every button" in found.test[1]
    plain = prove_truck(loads(CONTROLLED))
    assert not any(each.kind == "press" for each in plain.faults)
    wrong = next(each for each in plain.faults if each.id == "out wrong-code gear")
    assert wrong.defeat and {each.position for each in wrong.sets} >= {"R", "D"}


def test_form_by_controller_and_both() -> None:
    assert start_circuit(loads(CONTROLLED)).form == "" and built(start_circuit(loads(CONTROLLED))).form == "K"
    both = CONTROLLED.replace('high_side = ["button"]', 'high_side = ["button", "gate"]')
    assert built(start_circuit(loads(both))).form == "H+K"
    report = prove(start_circuit(loads(both)))
    assert not any(each.kind in ("wrong-code", "line-fault") and each.defeat for each in report.faults)


def test_ids_that_are_words_of_the_engine() -> None:
    """A ground stud called chassis and a feed called battery are no rails of the engine's own."""
    truck = loads(SWITCHED.replace('"engine"', '"chassis"').replace('"start"', '"battery"'))
    circuit = built(start_circuit(truck))
    assert {"chassis stud", "controller ground"} == {each.id for each in circuit.grounds}
    assert {row.cells[0].verdict for row in truth_table(circuit)} == {Verdict.PASS}


def test_the_command(tmp_path) -> None:
    """Exit 1 with defeats; the table first, then the defeats, loud; plain JSON; 2 without the table."""
    file = tmp_path / "truck.toml"
    file.write_text(SWITCHED, encoding="utf-8")
    runner = CliRunner()
    said = runner.invoke(group, ["inhibit", str(file), "--compare"])
    assert said.exit_code == 1, said.output
    assert said.output.index("start held") < said.output.index("CRANKS IN GEAR, nobody asks")
    assert "THE SAME PARTS IN OTHER FORMS (this truck: H)" in said.output and "ALWAYS" in said.output
    assert "Assumed: No [harness]" in said.output and "Test: " in said.output
    shown = runner.invoke(group, ["inhibit", str(file), "--json"])
    plain = json.loads(shown.stdout)
    assert plain["form"] == "H" and plain["exit_code"] == 1 and plain["id"] == "pp-start"
    none = runner.invoke(group, ["inhibit", str(example_path("heron"))])
    assert none.exit_code != 0 and isinstance(none.exception, DesignFault) and "[inhibit]" in str(none.exception)
    every = runner.invoke(group, ["inhibit", str(file), "--all"])
    assert "(--all)" not in every.output and len(every.output) > 1000


def test_a_load_is_taken_cold_and_with_its_tolerance() -> None:
    """12 V, 21 W, inrush 8: 144/21 · 0.9 / 8 to 144/21 · 1.1 Ω; a display draws at most its amps."""
    truck = loads(example_path("dunlin").read_text(encoding="utf-8"))
    found = {each.id: each for each in start_circuit(truck).consumers}
    lamp, display = found["reverse_lamp"], found["gear_display"]
    assert lamp.low_ohm == pytest.approx(144 / 21 * 0.9 / 8) and lamp.high_ohm == pytest.approx(144 / 21 * 1.1)
    assert display.low_ohm == pytest.approx(6.5 / 0.2) and display.high_ohm == inf


def test_the_page_of_the_book() -> None:
    """Table, defeats with tests, cautions; faults that do the same stand in one row; nothing without an inhibit."""
    from pinproof.pack.inhibit_page import book_blocks

    report = prove_truck(loads(SWITCHED))
    body = book_blocks(report)
    tables = [each for each in body if each["kind"] == "table"]
    assert [len(tables[0]["rows"]), len(tables[0]["heads"])] == [7, 4]
    told = json.dumps(body, ensure_ascii=False)
    for each in ("chocks", "nobody notices before", "Not looked at", "welded", "rule book"):
        assert each in told, each
    rows = sum(len(each["rows"]) for each in tables[1:])
    assert 0 < rows <= len(report.defeats)
    assert book_blocks(None) == []


def test_the_chain_names_the_table() -> None:
    from pinproof.chain.inhibit_link import inhibit_link

    found = inhibit_link(loads(SWITCHED))
    assert found[0] is Verdict.PASS and "P and N and nowhere else" in found[1]
    late = inhibit_link(loads(SWITCHED.replace('mid = { "P|R" = "open", "R|N" = "open", "N|D" = "open" }\n', "")))
    assert late[0] is Verdict.NOT_SHOWN and "P|R" in late[1]
    none = inhibit_link(loads(example_path("heron").read_text(encoding="utf-8")))
    assert none[0] is Verdict.NOT_SHOWN and "pinproof inhibit FILE --begin" in none[1]


def test_a_detent_that_may_not_crank_says_how_many_volts_the_coil_gets_and_what_helps() -> None:
    cell = Cell(True, "plugged", "cranks", Verdict.FAIL, (6.4, 15.0), (6.2, 14.8), True, False, False)
    (told,) = row_notes(Row("P", False, True, (cell,), 8.52))
    assert "as little as 6.4 V" in told and "from 8.52 V of battery on" in told and "Cure: thicker" in told
    (told,) = row_notes(Row("P", False, True, (cell,)))
    assert "battery on" not in told


def test_sets_of_buttons_that_do_the_same_are_told_once() -> None:
    ends = (Interval(0.0, 5.0, True, True),)
    sets = [Set("D", True, (f"b{k}",), ends, ends, (), ends, ends, (), True) for k in range(11)]
    fault = StartFault(
        "f", "net", "bridged", "", True, "cranks in gear", tuple(sets), (), by_command=((("b0",), ends),)
    )
    said = harm_words(fault, ("P",))
    assert said.count("pulls in and holds") == 1 and "with b0, b1 or 9 more sets of buttons" in said
    few = harm_words(replace(fault, sets=tuple(sets[:2])), ("P",))
    assert "with b0 or b1:" in few
