"""What a newcomer meets in the first hour: nothing to guess, no number without its unit, no row left out."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from pinproof.chain.links import chain_of
from pinproof.chain.measures import measure_of
from pinproof.choose import choose
from pinproof.cli.show import choice_words
from pinproof.design import load, loads
from pinproof.design.begin_drive import with_drive_section
from pinproof.design.begin_harness import with_harness_draft
from pinproof.design.begin_inhibit import with_inhibit_draft
from pinproof.design.starter import FORMS, design_text, starter_sheet
from pinproof.driveline.sheet import _codes
from pinproof.examples import NAMES, example_path
from pinproof.harness import lay_out
from pinproof.proof import prove
from tests.first_principles.test_begin_drafts import filled
from tests.web_client import client_of, folder_with

LISTED = """format = 1
id = "pp-hour"
name = "Two hands"
[supply]
run = { low = "9 V", high = "15.5 V" }
[temperature]
low = "-5 °C"
high = "70 °C"
[defaults]
tolerance = "1 %"
tempco = "100 ppm/K"
ageing = "1 %"
closed = { low = "0 ohm", value = "0.1 ohm", high = "50 ohm" }
open = "100 kohm"
[parts]
series = "E24"
[[input]]
id = "pin"
pull_down = { value = "1.982 kohm", tolerance = "1.9 %", basis = "measured" }
pull_up = "none"
compares = "battery"
full_scale = "15.5 V"
error = "1 %"
[[line]]
id = "taps"
input = "pin"
form = "pull-down"
idle = "automatic"
enable = "slot"
taps_fed = "through enable"
idle_resistor = "none"
wire = { low = "0 ohm", high = "1 ohm" }
source_wire = { low = "0 ohm", high = "1 ohm" }
return_offset = { low = "-0.1 V", high = "0.1 V" }
feed_from = "battery"
feed_drop = { low = "0 V", high = "0.21 V" }
leak_to_ground = "20 kohm"
leak_to_supply = "200 kohm"
[[line.target]]
meaning = "up"
reading = "2.88k"
[[line.target]]
meaning = "down"
reading = "1.27k"
[[line.target]]
meaning = "manual"
reading = "8k25"
[[line.target]]
meaning = "automatic"
reading = "0 %"
[[device]]
id = "lever"
exclusive = [["lever_up", "lever_down"]]
[[device]]
id = "wheel"
[[contact]]
id = "slot"
line = "taps"
device = "lever"
kind = "normally open"
action = "maintained"
asks = "manual"
resistor = "8k2"
""" + "".join(
    f"""[[contact]]
id = "{device}_{way}"
line = "taps"
device = "{device}"
kind = "normally open"
action = "momentary"
asks = "{way}"
with = ["slot"]
{'only_when = ["slot"]' if device == "lever" else ""}
resistor = "{ohm}"
"""
    for device in ("lever", "wheel")
    for way, ohm in (("up", "4k3"), ("down", "1k5"))
)
"""Lever and wheel on one pin, values that give a list's ohms: both up buttons at once read as down."""


def test_the_situation_that_sets_the_smallest_margin_is_told_first() -> None:
    """Two ups at once ask for nothing new, and are what limits the choice: the table's first row is that margin."""
    found = choose(loads(LISTED), "taps")
    assert found.told[0].margin == pytest.approx(found.margin) and not found.told[0].meaning
    said = choice_words(found)
    smallest = re.search(r"smallest margin (\S+ %)", said)
    rows = said[said.index("tightest first") :].splitlines()
    assert smallest is not None and "lever_up + wheel_up" in rows[3] and smallest[1] in rows[3], rows[:5]


def test_what_fails_is_counted_in_situations_and_in_grammar() -> None:
    """The same buttons in two key states are one situation."""
    for text in (LISTED, LISTED.replace("[temperature]", 'crank = { low = "9 V", high = "12 V" }\n[temperature]')):
        truck = loads(text)
        said = chain_of(truck, prove(truck, samples=0)).link("reading").text
        assert said.startswith("16 situations. 1 does not hold."), said


@pytest.mark.parametrize("name", NAMES)
def test_a_measurement_says_where_its_number_is_written(name: str) -> None:
    """With the key of the number itself, and as TOML once the number is in."""
    truck = load(example_path(name))
    told = 0
    for path in truck.entries():
        head, _, key = path.rpartition(".")
        if not re.match(r"(supply|line\.\w+|contact\.\w+)\Z", head) or key == "resistor":
            continue
        measure = measure_of(path, truck)
        if measure is None or not measure.steps or not measure.steps[-1].startswith(key):
            assert key in ("bounce", "series_diode", "idle_resistor", "top_resistor", "end_resistor"), path
            continue
        written = tomllib.loads(measure.steps[-1].replace("…", "1"))[key]
        assert written["basis"] == "measured"
        where = measure.steps[0]
        assert "{" not in where and (path.split(".")[1] in where or "its [[contact]]" in where or "[supply]" in where)
        told += 1
    assert told >= 3


def test_the_potentiometer_goes_to_the_rail_that_the_line_is_switched_to() -> None:
    """A line to ground needs no supply at its pin."""
    up, down = load(example_path("heron")), load(example_path("sandpiper"))
    to_ground = measure_of(f"line.{up.lines[0].id}.window.up", up)
    to_supply = measure_of(f"line.{down.lines[0].id}.window.up", down)
    assert to_ground is not None and to_supply is not None
    assert "ground wire, key on" in to_ground.how and "220" not in to_ground.how + "".join(to_ground.tools)
    assert "supply wire, with 220 Ω in series" in to_supply.how and "220 Ω" in "".join(to_supply.tools)


@pytest.mark.parametrize("form", [*FORMS, "listed"])
def test_a_draft_of_the_harness_alone_can_be_filled_in(form: str) -> None:
    """Its feeds name the key states that the file has, or asks for in the same draft."""
    text = LISTED if form == "listed" else design_text(starter_sheet(form, "pp-x"))
    assert lay_out(loads(filled(with_harness_draft(text)))).wires


def test_a_start_circuit_begins_where_the_key_is() -> None:
    """Not at the battery, where the main fuse sits: from there the feed would run to the dash twice."""
    text = filled(with_harness_draft(design_text(starter_sheet("pull-down", "pp-x"))))
    drafted = with_inhibit_draft(text)
    start = drafted[drafted.index('#id = "start_feed"') :].splitlines()
    assert start[2].startswith('#place = "dash"'), start[:4]


def test_drafts_speak_the_units_of_the_file() -> None:
    """Degrees Fahrenheit: gauges and miles; what the reader asked for comes before it."""
    metric = design_text(starter_sheet("pull-up", "pp-x"))
    us = re.sub(r'"-?\d+ °C"', '"20 °F"', metric, count=1)
    for text, gauge, units in ((metric, "mm2", "metric"), (us, "AWG", "us")):
        assert f'#sizes = "{gauge}"' in with_harness_draft(text)
        assert f'#units = "{units}"' in with_drive_section(text)
    assert '#sizes = "AWG"' in with_harness_draft(metric, units="us")
    assert '#units = "us"' in with_drive_section(metric, units="us")


def test_codes_on_the_settings_sheet_carry_their_unit() -> None:
    """ "2.88k" is read as ohms; on paper it says so."""
    said = _codes(loads(LISTED).lines[0])
    assert "up about 2.88 kΩ" in said and "manual about 8.25 kΩ" in said and "automatic about 0 %" in said, said


def test_the_driveline_page_knows_that_its_blanks_are_there(tmp_path: Path) -> None:
    """In the units that the browser shows; begun once, and then gone on with."""
    client, _ = client_of(folder_with(tmp_path, "heron"))
    client.post("/settings/keep", data={"units": "us", "back": "/"})
    assert "Asked is only what heron.toml does not say" in client.get("/d/heron/gears").text
    base = client.get("/d/heron/gears.json").json()["hash"]
    client.post("/d/heron/gears/begin", data={"base": base})
    after = client.get("/d/heron/gears").text
    assert "Asked is only" not in after and "Begun." in after
    assert '#units = "us"' in (tmp_path / "heron.toml").read_text(encoding="utf-8")
