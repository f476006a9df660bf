"""A line that the controller's sensor supply feeds: its feed wire is drawn from a cavity. The truck is invented."""

from __future__ import annotations

import pytest

from pinproof.chain.harness_link import harness_action, harness_part
from pinproof.design import loads
from pinproof.design.messages import DesignFault
from pinproof.harness import Harness, lay_out
from pinproof.verdict import Verdict

TRUCK = """
format = 1
id = "pp-0feed1"
name = "Sensor fed (invented)"
[supply]
run = { low = "10.5 V", value = "13.6 V", high = "15.2 V" }
crank = { low = "6.5 V", high = "11 V" }
[temperature]
low = "-15 °C"
high = "85 °C"
[defaults]
tolerance = "1 %"
tempco = "100 ppm/K"
ageing = "0.5 %"
closed = { low = "0.01 ohm", high = "10 ohm" }
open = "220 kohm"
[[input]]
id = "range_pin"
controller = "box"
pull_up = "none"
pull_down = { value = "10 kohm", tolerance = "5 %" }
compares = "reference"
reference = { value = "5 V", tolerance = "1 %" }
error = "0.4 %"
plug = "tcu"
cavity = "7"
[[line]]
id = "range"
input = "range_pin"
form = "FORM"
idle = "high"
TOP
idle_resistor = { value = "10 kohm", at = "case_switch" }
wire = { low = "0.1 ohm", high = "2 ohm" }
source_wire = { low = "0.1 ohm", high = "2 ohm" }
return_offset = { low = "-0.02 V", high = "0.02 V" }
feed_from = "reference"
feed_drop = { low = "0 V", high = "0.03 V" }
leak_to_ground = "200 kohm"
leak_to_supply = "1 Mohm"
KEYS
[[line.window]]
meaning = "high"
low = "20 %"
high = "60 %"
basis = "published"
[[line.window]]
meaning = "low"
low = "70 %"
high = "95 %"
basis = "published"
[[device]]
id = "case_switch"
place = "case_place"
[[contact]]
id = "low_range"
line = "range"
device = "case_switch"
kind = "normally open"
action = "maintained"
asks = "low"
resistor = "1.3 kohm"
[harness]
sizes = "mm2"
insulation = "125 °C"
[[place]]
id = "case_place"
[[place]]
id = "box_place"
[[plug]]
id = "tcu"
place = "box_place"
[[plug.cavity]]
id = "4"
[[plug.cavity]]
id = "7"
[[plug.cavity]]
id = "9"
[[run]]
id = "down"
between = ["box_place", "case_place"]
length = "1.6 m"
"""


def text(form: str, *keys: str) -> str:
    top = 'top_resistor = { value = "2.2 kohm", at = "case_switch" }' if form == "divider" else ""
    return TRUCK.replace("FORM", form).replace("TOP", top).replace("KEYS", "\n".join(keys))


def ends(harness: Harness) -> set[frozenset[str]]:
    return {frozenset((wire.a.label, wire.b.label)) for wire in harness.wires}


@pytest.mark.parametrize(
    ("form", "keys", "missing"),
    [
        ("pull-down", (), "`feed_cavity`"),
        ("pull-down", ('feed_cavity = "tcu.4"',), ""),
        ("divider", (), "`feed_cavity` and `returns_to`"),
        ("divider", ('returns_to = "tcu.9"',), "`feed_cavity`"),
        ("divider", ('feed_cavity = "tcu.4"',), "`returns_to`"),
        ("divider", ('feed_cavity = "tcu.4"', 'returns_to = "tcu.9"'), ""),
    ],
)
def test_what_is_missing_is_named_and_what_is_said_is_drawn(form: str, keys: tuple[str, ...], missing: str) -> None:
    truck = loads(text(form, *keys))
    harness = lay_out(truck)
    told = [each for each in harness.findings if each.code == "source-undrawn"]
    assert [each.cure for each in told] == ([f"Write {missing} in the line."] if missing else [])
    far = {"4": "case_switch range.feed", "9": "case_switch range.source", "7": "case_switch range"}
    if form == "pull-down":
        far["4"] = "case_switch range.source"
    wired = {"7"} | ({"4"} if any("tcu.4" in key for key in keys) else set())
    wired |= {"9"} if any("tcu.9" in key for key in keys) else set()
    assert ends(harness) >= {frozenset((f"tcu.{cavity}", far[cavity])) for cavity in wired}
    assert (harness_part(truck)[0] is Verdict.PASS) is not bool(missing)
    assert (harness_action(*harness_part(truck)) is None) is not bool(missing)


def test_the_current_of_the_feed_is_that_of_the_circuit() -> None:
    """By hand: pull-down and leak lie behind the coder; at most 5.05 V through the least ohms of all."""
    harness = lay_out(loads(text("pull-down", 'feed_cavity = "tcu.4"')))
    (feed,) = (each for each in harness.wires if "tcu.4" in (each.a.label, each.b.label))
    coder_ohm = 1 / (1 / (1300 * 0.98) + 1 / (10e3 * 0.98))
    leak_ohm = 1 / (1 / 9500 + 1 / 200e3)
    assert feed.current_a == pytest.approx(5.05 / (coder_ohm + leak_ohm), rel=0.03)


def test_only_a_cavity_of_the_file_and_only_where_the_reference_feeds() -> None:
    with pytest.raises(DesignFault, match="no PLUG.CAVITY of the file. Did you mean"):
        loads(text("pull-down", 'feed_cavity = "tcu.44"'))
    battery = text("pull-down", 'feed_cavity = "tcu.4"').replace('feed_from = "reference"', 'feed_from = "battery"')
    with pytest.raises(DesignFault, match="Only a line with feed_from"):
        loads(battery)
