"""Drafts of harness, start inhibit and driveline: nothing of the file changes, and once filled in they are used."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from pinproof.cli import group
from pinproof.design import DesignFault, load, loads
from pinproof.design.begin_draft import added
from pinproof.design.begin_drive import with_drive_section
from pinproof.design.begin_harness import with_harness_draft
from pinproof.design.begin_inhibit import MAY, with_inhibit_draft
from pinproof.design.messages import EditFault
from pinproof.design.starter import FORMS, design_text, starter_sheet
from pinproof.examples import example_path
from pinproof.harness import lay_out
from pinproof.inhibit import truth_table
from pinproof.inhibit.chains import built
from pinproof.inhibit.from_design import start_circuit
from pinproof.verdict import Verdict

FILES = {
    **{name: example_path(name).read_text(encoding="utf-8") for name in ("wagtail", "heron", "sandpiper")},
    **{form: design_text(starter_sheet(form, "pp-x")) for form in FORMS},
}
BARE = """format = 1
id = "pp-bare"
[supply]
run = { low = "9 V", high = "16 V" }
[temperature]
low = "0 °C"
high = "80 °C\""""
ANSWERS = (
    (r'crank = \{ low = "\?", high = "\?"', 'crank = { low = "7 V", high = "11 V"'),
    (r'insulation = "\?"', 'insulation = "125 °C"'),
    (r'length = "\?"', 'length = "1.2 m"'),
    (r'amps = "\?"', 'amps = "1.5 A"'),
    (r'offset = \{ low = "\?", high = "\?"', 'offset = { low = "-0.1 V", high = "0.1 V"'),
    (r'coil = \{ low = "\?", high = "\?"', 'coil = { low = "60 ohm", high = "110 ohm"'),
    (r'pull_in = \{ low = "\?", high = "\?"', 'pull_in = { low = "3 V", high = "6 V"'),
    (r'drop_out = \{ low = "\?", high = "\?"', 'drop_out = { low = "1 V", high = "2.5 V"'),
    (r"(?m)^mid = .*$", lambda found: found[0].replace('"?"', '"open"')),
    (r'place = "\?"', 'place = "dash"'),
)


def in_use(text: str) -> str:
    """A draft as an owner takes it into use: the # before tables and keys taken away, words left."""
    return re.sub(r"^#(?=\[|[a-z_]+ = )", "", text, flags=re.M)


def filled(text: str) -> str:
    """In use, every blank answered; fixed resistors with their place, as the words above them say."""
    text = in_use(text)
    for number, found in enumerate(re.findall(r'cavity = "\?"', text), start=1):
        text = text.replace(found, f'cavity = "{number}"', 1)
    for wanted, answer in ANSWERS:
        text = re.sub(wanted, answer, text)
    out: list[str] = []
    for line in text.splitlines():
        told = re.match(r"#   ((\w+) = .*)", line)
        if told and out[-1].endswith("above:"):
            out[max(at for at, each in enumerate(out) if each.startswith(f"{told[2]} = "))] = told[1]
        else:
            out.append(line)
    return "\n".join(out)


@pytest.mark.parametrize("name", FILES)
def test_a_filled_draft_makes_a_harness_and_a_start_circuit(name: str) -> None:
    """Without a fault of the file, and every terminal of the drafted circuit reached by a wire."""
    before = FILES[name]
    drafted = with_inhibit_draft(with_harness_draft(before))
    assert loads(drafted).lines == loads(before).lines and loads(drafted).harness is None
    truck = loads(filled(drafted))
    assert truck.harness is not None and truck.inhibit is not None
    harness = lay_out(truck)
    assert harness.wires and not [one for one in harness.findings if one.code == "source-undrawn"]
    reached = {end.label for wire in harness.wires for end in (wire.a, wire.b)}
    for wanted in ("start_relay.plus", "start_relay.minus", "box_supply.minus"):
        assert any(wanted in label or wanted in net.terminals for net in harness.nets for label in reached), wanted
    table = truth_table(built(start_circuit(truck)), least_supply=False)
    for row in table:
        assert row.permitted == (row.position.lower() in MAY)
        assert all(cell.verdict is Verdict.PASS for cell in row.cells), row


@pytest.mark.parametrize("name", FILES)
def test_every_blank_is_refused_where_it_stands(name: str) -> None:
    """A blank that was forgotten is told with its line, and no other fault is."""
    text = with_inhibit_draft(with_harness_draft(FILES[name]))
    drafted = in_use(text if loads(text).drive is not None else with_drive_section(text))
    with pytest.raises(DesignFault) as caught:
        loads(drafted)
    lines = drafted.splitlines()
    for fault in caught.value.faults:
        assert '"?"' in lines[fault.line - 1], fault
    told = {fault.line for fault in caught.value.faults}
    blank = {number for number, line in enumerate(lines, start=1)
             if re.match(r"[a-z_]+ = .*\"\?\"", line) and not line.startswith("cavity")}  # fmt: skip
    assert told == blank


@pytest.mark.parametrize("eol", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_every_character_of_the_file_stays_in_order(eol: str, mark: str) -> None:
    before = mark + (FILES["heron"] + "# the last word").replace("\n", eol)
    for draft in (with_harness_draft, with_inhibit_draft, with_drive_section):
        after = draft(before)
        rest = iter(after.splitlines(keepends=True))
        assert after.startswith(mark) and ("\r\n" in after) == (eol == "\r\n")
        assert eol == "\n" or not re.search(r"(?<!\r)\n", after)
        assert all(any(line.rstrip("\r\n") == other.rstrip("\r\n") for other in rest) for line in before.splitlines())
        new = [line for _, lines in added(before, after) for line in lines]
        assert all(not line or line.startswith("#") for line in new)


def test_what_the_file_says_is_used() -> None:
    """Its places, runs, plugs and offsets; nothing that it has is drafted again."""
    drafted = with_harness_draft(FILES["sandpiper"])
    for has in ("lever_pod", "wheel_hub", "tcu_plug"):
        assert f'#id = "{has}"' not in drafted
    assert '#length = "?"' in drafted and drafted.count("#[[run]]") == 2, "only battery and the old tree are joined"
    assert "#[[plug]]" not in drafted and 'low = "-0.2 V", high = "0.2 V"' in drafted
    dunlin = example_path("dunlin").read_text(encoding="utf-8")
    start = dunlin.index("[inhibit]")
    without = dunlin[:start] + dunlin[dunlin.index("[[device]]", start) :]
    again = with_inhibit_draft(without)
    assert "#[[stud]]" not in again and "#[[place]]" not in again and '#lever = "lever"' in again
    assert '#permitted = ["P", "N"]' in again and '#ground = "dash_ground"' in again


SALTLARK = Path("tests/data/saltlark.toml").read_text(encoding="utf-8")
BOX = 'controller = "gearbox controller"\n'


def without_harness(text: str) -> str:
    """The same truck before its harness was stated."""
    start, drive = text.index("[harness]"), text.index("[drive]")
    bare = re.sub(r"(?m)^(plug|cavity|place|returns_to|feed) = .*\n", "", text[:start])
    return bare + text[drive:]


@pytest.mark.parametrize("named", [0, 1, 2])
def test_inputs_that_name_no_controller_are_pins_of_one(named: int) -> None:
    """However many of the two name it: one controller, one plug, one supply, and a place with a plain name."""
    bare = without_harness(SALTLARK)
    assert bare.count(BOX) == 2
    for _ in range(2 - named):
        bare = bare.replace(BOX, "", 1)
    drafted = with_harness_draft(bare)
    assert re.findall(r'(?m)^#id = "(.*_plug|box.*|tap_pin.*|lock_pin.*)"$', drafted) == [
        "box", "box_plug", "box_feed", "box_supply"
    ]  # fmt: skip
    assert drafted.count("#controller = ") == 2 - named
    truck = loads(filled(drafted))
    assert {each.controller for each in truck.inputs} == {"gearbox controller"}
    assert lay_out(truck).wires


def test_inputs_in_two_plugs_are_not_taken_as_one_controller() -> None:
    """Two plugs and no name: it may be two boxes, and the draft does not say that it is one."""
    bare = without_harness(SALTLARK).replace(BOX, "")
    for pin, plug in (("tap_pin", "left"), ("lock_pin", "right")):
        bare = bare.replace(f'id = "{pin}"\n', f'id = "{pin}"\nplug = "{plug}"\n', 1)
    drafted = with_harness_draft(bare + '[[plug]]\nid = "left"\n[[plug]]\nid = "right"\n')
    assert "#controller = " not in drafted and drafted.count('#id = "box_supply_') == 2


def test_the_feed_of_a_line_is_switched_with_the_controller() -> None:
    """Else it drives current into a dead pin: through the key, as the controller's own feed goes."""
    truck = loads(filled(with_harness_draft(without_harness(SALTLARK))))
    feeds = {each.id: each for each in truck.feeds}
    assert feeds["lock_feed"].through == feeds["box_feed"].through == ("key_on",)
    assert [each.id for each in truck.switches] == ["key_on"]


def test_the_feed_of_a_line_goes_through_what_the_file_switches_the_controller_by() -> None:
    drop = re.compile(r'\[\[feed\]\]\nid = "lock_feed"\n(?:.+\n)+\n')
    text = drop.sub("", SALTLARK).replace('feed = "lock_feed"\n', "")
    harness = text.index("[harness]")
    text = text[:harness] + text[text.index("[[place]]") :]  # as if only its [harness] were still to come
    owned = text.replace('id = "box_supply"\n', 'id = "box_supply"\nplug = "box_plug"\n')
    owned = owned.replace('"key_on"', '"ignition"')
    drafted = with_harness_draft(owned)
    assert '#through = ["ignition"] ' in drafted and "key_on" not in drafted
    first = owned.replace('id = "main"\nfrom = "plus"', 'id = "main"\nthrough = ["ignition"]\nfrom = "plus"')
    assert "#through" not in with_harness_draft(first), "its source is switched already"


def test_the_harness_after_the_inhibit_drafts_nothing_twice() -> None:
    for one, other in ((with_harness_draft, with_inhibit_draft), (with_inhibit_draft, with_harness_draft)):
        drafted = other(one(FILES["wagtail"]))
        ids = re.findall(r"^#\[\[(\w+)\]\]\n#id = (.*)$", drafted, re.M)
        assert len(ids) == len(set(ids))
        assert lay_out(loads(filled(drafted))).wires


@pytest.mark.parametrize("draft", [with_harness_draft, with_inhibit_draft, with_drive_section])
def test_refused_where_the_tables_are(draft: object) -> None:
    has = example_path("sandpiper" if draft is with_drive_section else "dunlin").read_text(encoding="utf-8")
    assert callable(draft)
    with pytest.raises(EditFault, match="already"):
        draft(has)
    with pytest.raises(EditFault, match="is there already"):
        draft(draft(FILES["heron"]))


def test_a_file_without_any_line_gets_a_draft() -> None:
    assert "#[harness]" in with_harness_draft(BARE) and "#[inhibit]" in with_inhibit_draft(BARE)
    assert 'place = "?"' in with_inhibit_draft(BARE), "nobody knows where the lever is"


@pytest.mark.parametrize(("command", "table"), [("harness", "harness"), ("inhibit", "inhibit"), ("gears", "drive")])
def test_the_command_shows_asks_and_writes(tmp_path: Path, command: str, table: str) -> None:
    path = tmp_path / "truck.toml"
    before = FILES["wagtail"].encode()
    path.write_bytes(before)
    run = CliRunner()
    for answer in ("n\n", ""):
        told = run.invoke(group, [command, str(path), "--begin"], input=answer)
        assert told.exit_code == (1 if answer else 2), "no is an answer; a cut-off prompt is none"
        assert f"#[{table}]" in told.output and path.read_bytes() == before
        assert 'What truck.toml does not tell, each "?": ' in told.output
    told = run.invoke(group, [command, str(path), "--begin"], input="y\n")
    assert told.exit_code == 0 and f"#[{table}]" in path.read_text(encoding="utf-8")
    assert load(path).lines == loads(before.decode()).lines
    again = run.invoke(group, [command, str(path), "--begin", "--yes"])
    assert isinstance(again.exception, EditFault), "the second is refused"


def test_a_cavity_that_stayed_blank_is_told() -> None:
    """Any text may name a cavity, so the reader cannot refuse it; the laid-out harness says it."""
    drafted = filled(with_inhibit_draft(with_harness_draft(FILES["pull-up"]))).replace('cavity = "1"', 'cavity = "?"')
    told = [one for one in lay_out(loads(drafted)).findings if one.code == "cavity-blank"]
    assert [one.verdict for one in told] == ["not shown"] and "input." in told[0].path
