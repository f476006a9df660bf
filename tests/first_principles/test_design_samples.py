"""Small invented design files that use every form and nearly every key; they must load, and load to what they say."""

from __future__ import annotations

from math import inf

import pytest

from pinproof.design import UNKNOWN, Resistor, loads

HEAD = """\
format = 1
id = "pp-test01"
name = "Sandpiper" # invented
note = "invented scenario"

[supply]
run = { low = "10.5 V", high = "15.5 V", value = "13.8 V", basis = "measured" }
crank = { low = "6 V", high = "11 V" }
after_run = "11 V to 12.8 V"
jump_start = "24 V"
load_dump = { value = "35 V", basis = "published" }

[temperature]
low = "-10 °C"
high = "80 °C"

[defaults]
tolerance = "1 %"
tempco = { value = "100 ppm/K", basis = "published" }
ageing = "1 %"
closed = { low = "0 ohm", high = "50 ohm" }
open = "100 kohm"
"""

PULL_UP = (
    HEAD
    + """
[[input]]
id = "tap_pin"
controller = "gearbox controller"
plug = "tcu"
cavity = "B12"
pull_up = { value = "1 kohm", tolerance = "5 %", basis = "measured" } # with the meter
pull_down = "none"
reference = { value = "5 V", tolerance = "1 %" }
compares = "reference"
full_counts = 1023
error = "1 %"
filter = "1 ms"
debounce = "20 ms"
max_pin = "16 V"

[[line]]
id = "taps"
input = "tap_pin"
form = "pull-up"
idle = "automatic"
enable = "lever_manual"
taps_fed = "through enable"
idle_resistor = "none"
wire = { low = "0 ohm", high = "1 ohm" }
source_wire = "0 ohm to 1 ohm"
return_offset = { low = "-0.1 V", high = "0.1 V" }
series_diode = "none"
leak_to_ground = "20 kohm"
leak_to_supply = { value = "200 kohm", basis = "borrowed" }

[[line.window]]
meaning = "automatic"
low = "20 kohm"
with_pull = "1 kohm"
basis = "published"

[[line.window]]
meaning = "manual"
low = "7 kohm"
high = "10 kohm"
uncertainty = "2 %"
with_pull = "1 kohm"

[[line.window]]
meaning = "up"
low = "2.70 kohm"
high = { value = "3.05 kohm", basis = "measured" }
uncertainty = "20 ohm"
with_pull = "1 kohm"
basis = "published"

[[line.window]]
meaning = "down"
low = "1.1 kohm"
high = "1.5 kohm"
found = "substitution"

[[line.window]]
meaning = "shorted"
high = "0.02"
fault = true

[[line.situation]]
operated = ["lever_manual", "lever_up", "wheel_up"]
allowed = ["up", "invalid"]

[[device]]
id = "lever"
place = "lever_pod"
exclusive = [["lever_up", "lever_down"]]

[[device]]
id = "wheel"

[[contact]]
id = "lever_manual"
line = "taps"
device = "lever"
kind = "normally open"
action = "maintained"
asks = "manual"
resistor = "8.2k"

[[contact]]
id = "lever_up"
line = "taps"
device = "lever"
kind = "normally open"
action = "momentary"
asks = "up"
with = ["lever_manual"]
only_when = ["lever_manual"]
resistor = { value = "4.42k", tolerance = "0.5 %", ageing = "1 %", fixed = true, basis = "measured" }
closed = { low = "0 ohm", high = "20 ohm", basis = "measured" }
open = "none"
material = "gold"
bounce = "5 ms"
station = "lever"

[[contact]]
id = "lever_down"
line = "taps"
device = "lever"
kind = "normally open"
action = "momentary"
asks = "down"
with = ["lever_manual"]
only_when = ["lever_manual"]
resistor = { value = "to choose", tempco = "-50 ppm/K", tempco_sign = "known" }

[[contact]]
id = "wheel_up"
line = "taps"
device = "wheel"
kind = "normally open"
action = "momentary"
asks = "up"
with = ["lever_manual"]
resistor = "4k7"

[[place]]
id = "lever_pod"
temperature = { low = "-10 °C", high = "60 °C" }

[[place]]
id = "tcu_plug"

[[run]]
id = "tunnel"
between = ["lever_pod", "tcu_plug"]
length = "1.8 m"

[[plug]]
id = "tcu"
place = "tcu_plug"

[[plug.cavity]]
id = "B12"
signal = "taps"

[[plug.cavity]]
id = "B13"
signal = "ground"
"""
)

LADDERS = (
    HEAD
    + """
[[input]]
id = "a"
pull_up = "none"
pull_down = { value = "10 kohm", tolerance = "5 %", tempco = "200 ppm/K" }
compares = "battery"
error = "0 %"
filter_capacitance = "100 nF"

[[input]]
id = "b"
pull_up = { value = "2.2 kohm", tolerance = "10 %" }
pull_up_to = "battery"
pull_down = "unknown"
compares = "volts"
full_scale = "5 V"
error = "2 %"

[[line]]
id = "first"
input = "a"
form = "ladder"
idle = "rest"
ladder_to = "supply"
feed_from = "battery"
feed_drop = { low = "0 V", high = "0.5 V" }
end_resistor = "2k2"
wire = "0 ohm"
source_wire = "0 ohm"
return_offset = "none"
leak_to_ground = "none"
leak_to_supply = "none"

[[line.target]]
meaning = "rest"
reading = "0.82"
[[line.target]]
meaning = "one"
reading = "95 %"
basis = "measured"
[[line.target]]
meaning = "two"
reading = "90 %"

[[line]]
id = "second"
input = "b"
form = "ladder"
ladder_to = "ground"
end_resistor = "none"
idle = "rest"
wire = "0 ohm"
source_wire = "0 ohm"
return_offset = "none"
leak_to_ground = "none"
leak_to_supply = "none"
windows = "free"

[[device]]
id = "pod"

[[contact]]
id = "one"
line = "first"
device = "pod"
kind = "normally open"
action = "momentary"
asks = "one"
resistor = "none"
[[contact]]
id = "two"
line = "first"
device = "pod"
kind = "normally closed"
action = "momentary"
asks = "two"
resistor = "1k"
[[contact]]
id = "three"
line = "second"
device = "pod"
kind = "normally open"
action = "momentary"
asks = "anything"
resistor = "1k"
"""
)

DIVIDER = (
    HEAD
    + """
[[input]]
id = "pin"
pull_up = "none"
pull_down = "none"
reference = "4.95 V to 5.05 V"
compares = "unknown"
full_scale = "5 V"
full_counts = 1023
error = "1 %"

[[line]]
id = "taps"
input = "pin"
form = "divider"
idle = "rest"
enable = "on"
taps_fed = "directly"
idle_resistor = { value = "10k", basis = "measured" }
top_resistor = "1 kohm"
feed_from = "reference"
feed_drop = "none"
wire = "0 ohm to 1 ohm"
source_wire = "0 ohm to 1 ohm"
return_offset = "none"
series_diode = { low = "0.2 V", high = "0.7 V" }
leak_to_ground = "none"
leak_to_supply = "none"
window = [
    { meaning = "rest", low = "4.2 V", basis = "published" }, # an inline list is the same
    { meaning = "on", low = "600 counts", high = "700 counts", uncertainty = "2 counts" },
    { meaning = "up", low = "1 V", high = "2 V", uncertainty = "1 %" },
]

[[device]]
id = "d"
[[contact]]
id = "on"
line = "taps"
device = "d"
kind = "normally open"
action = "maintained"
asks = "on"
resistor = "2k2"
[[contact]]
id = "up"
line = "taps"
device = "d"
kind = "normally open"
action = "momentary"
asks = "up"
resistor = "470 ohm"
"""
)

ELEMENTS = (
    HEAD
    + """
[[input]]
id = "pin"
pull_up = { value = "3.3k", tolerance = "2 %", basis = "borrowed", note = "from a friend's truck" }
pull_down = "unknown"
reference = "5 V"
compares = "reference"
error = "1 %"

[[line]]
id = "odd"
input = "pin"
form = "elements"
idle = "rest"
source_side = "return"
return_offset = "none"
feed_from = "battery"
feed_drop = "0 V to 0.5 V"
leak_to_ground = "none"
leak_to_supply = "none"
windows = "free"
[[line.element]]
id = "w"
kind = "wire"
between = ["pin", "a"]
value = { low = "0 ohm", high = "1 ohm" }
[[line.element]]
id = "r_top"
kind = "resistor"
between = ["a", "feed"]
value = { value = "3.3k", tolerance = "2 %" }
[[line.element]]
id = "c"
kind = "contact"
between = ["a", "b"]
contact = "up"
[[line.element]]
id = "r"
kind = "resistor"
between = ["b", "return"]
value = "1k"
[[line.element]]
id = "wet"
kind = "leak"
between = ["b", "ground"]
value = "50 kohm"

[[line]]
id = "plain"
input = "pin"
form = "pull-down"
idle = "rest"
idle_resistor = "none"
feed_from = "battery"
feed_drop = "none"
wire = "0 ohm"
source_wire = "0 ohm"
return_offset = "none"
leak_to_ground = "none"
leak_to_supply = "none"
windows = "free"

[[device]]
id = "d"
[[contact]]
id = "up"
line = "odd"
device = "d"
kind = "normally open"
action = "momentary"
asks = "up"
[[contact]]
id = "start"
line = "plain"
device = "d"
kind = "normally open"
action = "momentary"
asks = "start"
resistor = "1k"
"""
)

SAMPLES = {"pull_up": PULL_UP, "ladders": LADDERS, "divider": DIVIDER, "elements": ELEMENTS}


@pytest.mark.parametrize("name", SAMPLES)
def test_sample_loads_without_fault(name):
    truck = loads(SAMPLES[name], f"{name}.toml")
    assert truck.lines
    assert len(truck.text_hash) == 64


def test_every_form_is_sampled():
    forms = {line.form for text in SAMPLES.values() for line in loads(text).lines}
    assert forms == {"pull-up", "pull-down", "ladder", "divider", "elements"}


def test_numbers_of_the_pull_up_sample():
    truck = loads(PULL_UP)
    assert list(truck.supply.states) == ["run", "crank", "after_run"]
    run = truck.supply.run
    assert (run.low, run.value, run.high, run.basis, run.path) == (10.5, 13.8, 15.5, "measured", "supply.run")
    assert (truck.supply.after_run.low, truck.supply.after_run.value) == (11.0, pytest.approx(11.9))
    assert truck.supply.load_dump.basis == "published"
    assert (truck.temperature.low, truck.temperature.high) == (-10.0, 80.0)
    tap_pin = truck.input("tap_pin")
    assert isinstance(tap_pin.pull_up, Resistor)
    assert (tap_pin.pull_up.ohm, tap_pin.pull_up.tolerance, tap_pin.pull_up.tempco_per_k) == (1000.0, 0.05, 0.0)
    assert tap_pin.pull_up.spread_basis == "measured"  # written in the same table
    assert tap_pin.pull_down is None
    assert (tap_pin.reference.low, tap_pin.reference.high) == (4.95, 5.05)
    assert tap_pin.error.value == 0.01
    assert (tap_pin.filter.value, tap_pin.debounce.value) == (0.001, 0.02)


def test_contacts_take_defaults_under_their_own_path():
    truck = loads(PULL_UP)
    manual, up = truck.contact("lever_manual"), truck.contact("lever_up")
    assert (manual.closed.path, manual.closed.from_default, manual.closed.high) == (
        "contact.lever_manual.closed",
        True,
        50.0,
    )
    assert (manual.open.low, manual.open.high) == (100e3, inf)
    assert not up.closed.from_default
    assert up.open is None
    assert up.resistor.ohm == 4420.0
    assert (up.resistor.tolerance, up.resistor.defaulted, up.resistor.fixed) == (0.005, ("tempco",), True)
    assert up.resistor.basis == "measured"
    assert up.resistor.spread_basis == "published"  # the tempco of [defaults]
    down = truck.contact("lever_down").resistor
    assert (down.ohm, down.tempco_known, down.tempco_per_k) == (None, True, pytest.approx(-50e-6))
    assert up.command_set == {"lever_up", "lever_manual"}
    assert truck.exclusive_groups("taps") == (frozenset({"lever_up", "lever_down"}),)


def test_windows_of_the_pull_up_sample():
    line = loads(PULL_UP).line("taps")
    automatic, manual, up, down, shorted = line.windows
    assert (automatic.low, automatic.high, automatic.kind, automatic.with_pull_ohm) == (20e3, None, "ohm", 1e3)
    assert manual.edge("low") == pytest.approx((6860.0, 7140.0))
    assert up.edge("high") == (3030.0, 3070.0)
    assert up.basis == "published"  # the weaker of its two edges
    assert down.by_substitution
    assert (shorted.kind, shorted.high, shorted.fault) == ("ratio", 0.02, True)
    assert line.commands == ("manual", "up", "down")
    assert line.situations[0].key == {"lever_manual", "lever_up", "wheel_up"}
    assert line.source_side == "return"
    assert not line.has_feed


def test_other_forms():
    ladders, divider, elements = loads(LADDERS), loads(DIVIDER), loads(ELEMENTS)
    assert [line.source_side for line in ladders.lines] == ["feed", "return"]
    assert [line.has_feed for line in ladders.lines] == [True, False]
    assert [target.reading for target in ladders.line("first").targets] == [0.82, 0.95, 0.9]
    assert ladders.line("second").free
    assert ladders.input("b").pull_down is UNKNOWN
    assert divider.line("taps").top_resistor.path == "line.taps.top_resistor"
    on = divider.line("taps").windows[1]
    assert (on.kind, on.low, on.uncertainty, on.path) == ("counts", 600.0, 2.0, "line.taps.window.on")
    odd = elements.line("odd")
    assert [element.kind for element in odd.elements] == ["wire", "resistor", "contact", "resistor", "leak"]
    assert odd.elements[4].leak.low == 50e3
    assert odd.elements[1].resistor.path == "line.odd.element.r_top.value"
    assert odd.has_feed
    assert elements.contact("up").resistor is None
    assert elements.line("plain").source_side == "feed"


@pytest.mark.parametrize("name", SAMPLES)
def test_every_path_leads_back_to_its_line(name):
    text = SAMPLES[name]
    truck = loads(text)
    rows = text.splitlines()
    for path, entry in truck.entries().items():
        if isinstance(entry, Resistor) or not entry.from_default:
            key = path.rpartition(".")[2]
            assert key in rows[truck.source_lines[path] - 1], path
