"""How a builder finds a number that stands in the file: by design path.

Answers: what is this number called, to which link of the chain does it belong, how is it measured, how long does that
         take, with which tools, and what can hurt.
Touches: nothing.
Sources: the measurements and minutes are common practice, no source. "Fuse every test lead" and its 1 A: the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from pinproof.design.model import Truck
from pinproof.design.pull_words import Side, pull_measurement, pull_measurement_of

LINKS = ("switch", "resistor", "wire", "pin", "reading", "meaning", "gear", "log", "repair")
"""The chain, in order."""

METER = "multimeter"
LIVE_OHMS = "Ohms only on dead, unplugged parts: battery negative off, wait until the controller sleeps (10 min)."
RUNNING = "Engine running: wheels chocked, brake on; leads, sleeves and hands clear of fan, belts and exhaust."
FUSED = "Fuse the test lead with 1 A. Never put a supply straight on the pin. Touch ground before you touch the pin."

ON_LINE = "Write it on the [[line]] {id}:"
ON_CONTACT = "Write it on its [[contact]]:"

BARE_PIN = "Touch ground before you touch the pin (static). Do not bridge two pins or spread the terminal."


@dataclass(frozen=True)
class Measure:
    """How one number is found. `name` is what people call it, `how` one instruction, `steps` what it takes if more."""

    name: str
    link: str
    how: str
    minutes: int
    tools: tuple[str, ...]
    caution: str = ""
    steps: tuple[str, ...] = ()


_CONTACT = {
    "resistor": Measure(
        "coding resistor of {id}", "resistor",
        "Unplug the switch. Read the ohms of the resistor of {id} and write them in as measured.",
        5, (METER,), LIVE_OHMS,
    ),
    "closed": Measure(
        "contact resistance of {id}, pressed", "switch",
        "Unplug the switch. Press {id} twenty times, read the ohms across the contact each time; write in the highest.",
        5, (METER,), LIVE_OHMS,
        (ON_CONTACT, 'closed = { low = "0 ohm", high = "… ohm", basis = "measured" }'),
    ),
    "open": Measure(
        "leakage across {id}, not pressed", "switch",
        "Unplug the switch. Read the ohms across {id} not pressed, dry and after a hose-down; write in the lowest.",
        15, (METER, "water"), LIVE_OHMS,
        (ON_CONTACT, 'open = { value = "… kohm", basis = "measured" }'),
    ),
    "bounce": Measure(
        "bounce of {id}", "switch", "Ask the switch's maker, or see it on an oscilloscope.", 30, ("oscilloscope",)
    ),
}  # fmt: skip
_LINE = {
    "wire": Measure(
        "resistance of the coded wire", "wire",
        "Unplug both ends. Read the ohms of the coded wire end to end, less what the joined leads show.",
        5, (METER, "long test lead"), LIVE_OHMS, (ON_LINE, 'wire = { value = "… ohm", basis = "measured" }'),
    ),
    "source_wire": Measure(
        "resistance of the switches' common wire", "wire",
        "Unplug both ends. Read the ohms of the common wire end to end, less what the joined leads show.",
        5, (METER, "long test lead"), LIVE_OHMS, (ON_LINE, 'source_wire = { value = "… ohm", basis = "measured" }'),
    ),
    "leak_to_ground": Measure(
        "leakage from the coded wire to ground", "wire",
        "Controller unplugged, coder fuse out. Read the ohms from coded wire to chassis, dry and after a hose-down; "
        "the lowest counts.",
        15, (METER, "water"), LIVE_OHMS, (ON_LINE, 'leak_to_ground = { value = "… kohm", basis = "measured" }'),
    ),
    "leak_to_supply": Measure(
        "leakage from the coded wire to a supply", "wire",
        "Controller unplugged, coder fuse out. Read the ohms from the coded wire to each supply wire in its plugs, dry "
        "and after a hose-down; the lowest counts.",
        15, (METER, "water"), LIVE_OHMS, (ON_LINE, 'leak_to_supply = { value = "… kohm", basis = "measured" }'),
    ),
    "return_offset": Measure(
        "ground offset between the switches and the controller", "wire",
        "Engine running, fans, pumps and lights on. Read the millivolts from the switches' ground to the controller's "
        "ground; write in lowest and highest.",
        10, (METER, "long test lead"), RUNNING,
        (ON_LINE, 'return_offset = { low = "… V", high = "… V", basis = "measured" }'),
    ),
    "feed_drop": Measure(
        "volts lost in the switches' feed", "wire",
        "Loads on, a button pressed. Read the volts from the controller's supply pin to the switches' supply side.",
        10, (METER, "long test lead"), f"{RUNNING} Fuse the test lead with 1 A.",
        (ON_LINE, 'feed_drop = { low = "0 V", high = "… V", basis = "measured" }'),
    ),
    "series_diode": Measure(
        "volts across the series diode", "wire", "A button pressed: read the volts across the diode, cold and hot.",
        10, (METER,),
    ),
}  # fmt: skip
_RESISTOR = Measure(
    "{key} of {id}", "resistor", "Unplug it. Read its ohms and write them in as measured.", 5, (METER,), LIVE_OHMS
)
_INPUT = {
    "reference": Measure(
        "reference of {id}", "pin",
        "Key on. Read the volts between the controller's 5 V sensor supply and sensor ground.",
        5, (METER,), BARE_PIN,
    ),
    "error": Measure("reading error of {id}", "pin", "Ask the maker: converter and threshold error.", 10, ()),
    "full_scale": Measure("highest readable volts of {id}", "pin", "Ask the controller's maker.", 10, ()),
    "filter": Measure("filter of {id}", "pin", "Ask the controller's maker.", 10, ()),
    "filter_capacitance": Measure("filter of {id}", "pin", "Ask the controller's maker.", 10, ()),
    "debounce": Measure("debounce of {id}", "pin", "Ask the controller's maker, or look in its settings.", 10, ()),
}  # fmt: skip
_SUPPLY = Measure(
    "supply at the controller", "pin",
    "Meter on min/max at the controller's supply pins: start, idle, every load on, one short drive.",
    20, ("multimeter with min/max",), f"{RUNNING} A second person reads the meter while driving.",
    ("Write it under [supply]:", '{key} = { low = "… V", high = "… V", basis = "measured" }'),
)  # fmt: skip
_MEANING = Measure(
    "edges of {id}", "meaning",
    "Unplug the coded wire. Put a potentiometer from the pin to the switches' supply or ground wire, key on; to a "
    "supply with 220 Ω in series. Turn it until the shown meaning changes, unplug, read the ohms. Do it upwards and "
    "downwards for each edge.",
    40, (METER, "10 kΩ potentiometer and 220 Ω", "whatever shows the controller's reading"), FUSED,
    (
        "`pinproof learn FILE --pot` guides the turns and writes the windows. By hand write them at the "
        "[[line.window]]; an edge that is not there is left out:",
        'low = "… ohm"', 'high = "… ohm"', 'found = "substitution"', 'basis = "measured"',
        "A line has windows or targets: where [[line.target]] stands, every meaning gets its window, and the targets, "
        'or windows = "free", go out.',
    ),
)  # fmt: skip
_TEMPERATURE = Measure(
    "temperature of the switches", "resistor", "Stick thermometer strips at lever and wheel for one hot day.", 10,
    ("thermometer strips",),
)  # fmt: skip


def link_of(path: str) -> str:
    """The link of the chain that a number belongs to; "" for a path that no link knows."""
    found = measure_of(path)
    return found.link if found is not None else ""


def measure_of(path: str, truck: Truck | None = None) -> Measure | None:
    """How the number at a design path is found, its name filled in; None for a path that nobody measures.

    With the truck, a pull is measured as its input and its line want it.
    """
    head, *rest = path.split(".")
    if head == "supply":
        return _named(_SUPPLY, "", rest[0] if rest else "run")
    if head in ("temperature", "place"):
        return _TEMPERATURE
    if len(rest) < 2:
        return None
    owner, key = rest[0], rest[1]
    if head == "contact":
        return _named(_CONTACT.get(key), owner, key)
    if head == "input" and key in ("pull_up", "pull_down"):
        return _pull(owner, key, truck)
    if head == "input":
        return _named(_INPUT.get(key), owner, key)
    if head == "line" and key in ("window", "target") and len(rest) >= 3:
        return _named(_edges(truck, owner), rest[2], key)
    if head == "line" and key == "element" and len(rest) >= 3:
        return _named(_RESISTOR, rest[2], "element")
    if head == "line" and key in ("idle_resistor", "top_resistor", "end_resistor"):
        return _named(_RESISTOR, owner, key.replace("_", " "))
    return _named(_LINE.get(key), owner, key) if head == "line" else None


def _pull(owner: str, key: str, truck: Truck | None) -> Measure:
    side: Side = "pull_up" if key == "pull_up" else "pull_down"
    if truck is None:
        found = pull_measurement(owner, (side,))
    else:
        line = next((each for each in truck.lines if each.input == owner), None)
        found = pull_measurement_of(truck.input(owner), line, (side,))
    name = f"{key.replace('_', '-')} inside {owner}"
    return Measure(name, "pin", found.what, found.minutes, found.tools, found.caution, found.how)


def _edges(truck: Truck | None, line: str) -> Measure:
    """How edges are found; with the truck, on the side that its line is switched to."""
    if truck is None:
        return _MEANING
    stated = truck.line(line)
    if stated.form == "divider":
        return _MEANING
    ground = stated.source_side == "return"
    either = "switches' supply or ground wire, key on; to a supply with 220 Ω in series."
    own = "switches' ground wire, key on." if ground else "switches' supply wire, with 220 Ω in series, key on."
    tools = tuple("10 kΩ potentiometer" if ground and "220 Ω" in each else each for each in _MEANING.tools)
    return replace(_MEANING, how=_MEANING.how.replace(either, own), tools=tools)


def _named(measure: Measure | None, owner: str, key: str) -> Measure | None:
    if measure is None:
        return None
    return Measure(
        measure.name.replace("{id}", owner).replace("{key}", key), measure.link, measure.how.replace("{id}", owner),
        measure.minutes, measure.tools, measure.caution,
        tuple(each.replace("{id}", owner).replace("{key}", key) for each in measure.steps),
    )  # fmt: skip
