"""Every key of the design file, described once.

Answers: which keys a table may have, what each is, which words and units it takes, what it means in one sentence.
Touches: nothing.
Beside:  `read` checks a file against this, `schema` makes the JSON Schema from it. What depends on several entries at
         once (a key that only one form needs, windows that overlap) is in `crosscheck` and `crosswindows`.
"""

from __future__ import annotations

from pinproof.design.key import BASIS as _BASIS
from pinproof.design.key import MOST_ENTRIES as MOST_ENTRIES
from pinproof.design.key import NAME as _NAME
from pinproof.design.key import NOTE as _NOTE
from pinproof.design.key import Key as Key
from pinproof.design.key import Table as Table
from pinproof.design.keys_drive import DRIVE_ENTRIES, DRIVE_TABLES
from pinproof.design.keys_harness import (
    CAVITY_KEYS,
    CONTACT_KEYS,
    DEVICE_KEYS,
    HARNESS_ENTRIES,
    HARNESS_TABLES,
    LINE_KEYS,
    MOST_CAVITIES,
    MOST_LOADS,
    MOST_PLACES_USED,
    PLACE_KEYS,
    PLUG_KEYS,
    RESISTOR_KEYS,
    RUN_KEYS,
)
from pinproof.design.keys_inhibit import INHIBIT_ENTRIES, INHIBIT_TABLES
from pinproof.quantities.preferred import SERIES

FORMAT = 1
"""Number of the file format that this program reads."""

NUMBER = Table(
    "number",
    "One quantity with where it comes from.",
    (Key("value", "text", "The quantity with its unit.", required=True, example="5 V"), _BASIS, _NOTE),
)
RANGE = Table(
    "range",
    "A quantity with its range: `low` and `high`, or `value` and `tolerance`, or `value` alone for an exact number.",
    (
        Key("low", "text", "Least value.", example="9 V"),
        Key("value", "text", "Nominal value.", default="the middle of the range", example="13.8 V"),
        Key("high", "text", "Greatest value.", example="16 V"),
        Key("tolerance", "text", "Either way from `value`, instead of `low` and `high`.", example="5 %"),
        _BASIS,
        _NOTE,
    ),
)


def _tolerances(needed: str, default: str) -> tuple[Key, ...]:
    return (
        Key("tolerance", "number", "Of the resistance, either way.", needed=needed, dimension="tolerance", least=0.0,
            below=1.0, example="1 %"),
        Key("tempco", "number", "Change of resistance per kelvin from 20 °C.", default=default, dimension="tempco",
            example="100 ppm/K"),
        Key("tempco_sign", "word", '"known": the tempco may be negative, and all resistors that say so share one '
            'temperature. "unknown": it widens the resistor either way.', words=("known", "unknown"),
            default="unknown"),
        Key("ageing", "number", "Change of resistance over its life, either way.", default=default,
            dimension="tolerance", least=0.0, below=1.0, example="1 %"),
    )  # fmt: skip


RESISTOR = Table(
    "resistor",
    "A coder resistor.",
    (
        Key("value", "text", 'The resistance, "none" for no resistor, or "to choose".', required=True, example="4.42k"),
        *_tolerances("[defaults] has none", "from [defaults], which must then have it"),
        Key("fixed", "flag", "May not be re-chosen: a sealed pod, a donor button.", default="false"),
        *RESISTOR_KEYS,
        _BASIS,
        _NOTE,
    ),
)
PULL = Table(
    "pull",
    "A pull inside the controller.",
    (
        Key("value", "text", "The resistance.", required=True, example="1 kohm"),
        *_tolerances("always", "0"),
        _BASIS,
        _NOTE,
    ),
)
SUPPLY = Table(
    "supply",
    "Volts at the controller, per key state.",
    (
        Key("run", "range", "Engine running or key on.", required=True, dimension="voltage", above=0.0,
            example='{ low = "10.5 V", high = "15.5 V", value = "13.8 V" }'),
        Key("crank", "range", "While the starter turns.", dimension="voltage", above=0.0),
        Key("after_run", "range", "Key off, controller still awake.", dimension="voltage", above=0.0),
        Key("jump_start", "number", "Used for heat only.", dimension="voltage", above=0.0, example="24 V"),
        Key("load_dump", "number", "Used for heat only.", dimension="voltage", above=0.0, example="35 V"),
        _NOTE,
    ),
)  # fmt: skip
DEFAULTS = Table(
    "defaults",
    "Used where an entry does not state its own.",
    (
        Key("tolerance", "number", "Of coder resistors.", dimension="tolerance", least=0.0, below=1.0, example="1 %"),
        Key("tempco", "number", "Of coder resistors; sign unknown unless the resistor says otherwise.",
            dimension="tempco", example="100 ppm/K"),
        Key("ageing", "number", "Of coder resistors.", dimension="tolerance", least=0.0, below=1.0, example="1 %"),
        Key("closed", "range", "Resistance of a closed contact, new to worn.", dimension="resistance", least=0.0,
            example='{ low = "0 ohm", high = "50 ohm" }'),
        Key("open", "leak", "Least resistance across an open contact.", dimension="resistance", above=0.0,
            words=("none",), example="100 kohm"),
        _NOTE,
    ),
)  # fmt: skip
PARTS = Table(
    "parts",
    "Resistors that you can buy or have; `choose` and the cures take their values from these.",
    (
        Key("series", "word", "The preferred series they are made in.", words=SERIES, default="E96", example="E24"),
        Key("tolerance", "number", "Of parts still to be chosen.", dimension="tolerance", above=0.0, below=1.0,
            default="as each resistor states", example="1 %"),
        Key("at_hand", "flag", "The whole series lies at hand, as an assortment: nothing of it need be ordered.",
            default="false"),
        Key("drawer", "text", "A drawer file with your stock, as seen from this file; its parts are used first.",
            example="drawer.toml"),
        _NOTE,
    ),
)  # fmt: skip
INPUT = Table(
    "input",
    "One pin of a controller.",
    (
        Key("id", "id", "Permanent name.", required=True),
        _NAME,
        Key("controller", "text", "The box it belongs to."),
        Key("plug", "ref", "The plug its pin is in.", to="plug"),
        Key("cavity", "text", "The cavity of that plug."),
        Key("pull_up", "pull", "Inside the controller, from the pin to its source.", required=True,
            words=("none", "unknown"), example='{ value = "1 kohm", tolerance = "5 %", basis = "measured" }'),
        Key("pull_up_to", "word", "What the pull-up is fed from.", words=("reference", "battery"),
            default="reference"),
        Key("pull_down", "pull", "Inside the controller, from the pin to controller ground.", required=True,
            words=("none", "unknown"), example="none"),
        Key("reference", "range", "The controller's own reference voltage.", needed="anything uses it",
            dimension="voltage", above=0.0, example='{ value = "5 V", tolerance = "1 %" }'),
        Key("compares", "word", 'What the reading is divided by; "volts" is nothing: fixed volts.', required=True,
            words=("reference", "battery", "volts", "unknown")),
        Key("full_scale", "number", "Readings clip to 0 … full scale.", needed='compares is "volts" or "unknown"',
            dimension="voltage", above=0.0, example="5 V"),
        Key("full_counts", "whole", "Counts at full scale.", needed="windows are in counts", least=1, example="1023"),
        Key("error", "number", "Of full scale: converter and threshold error, added to every edge, either way.",
            required=True, dimension="ratio", least=0.0, below=1.0, example="1 %"),
        Key("filter", "range", "Time constant at the pin with nothing connected.", dimension="time", least=0.0,
            example="1 ms"),
        Key("filter_capacitance", "range", "Instead of `filter`: the capacitance at the pin.",
            dimension="capacitance", least=0.0, example="100 nF"),
        Key("debounce", "range", "A reading shorter than this is ignored.", dimension="time", least=0.0,
            example="20 ms"),
        Key("max_pin", "number", "Most the pin may see.", dimension="voltage", above=0.0, example="16 V"),
        _NOTE,
    ),
    id_key="id",
)  # fmt: skip
WINDOW = Table(
    "line.window",
    "Readings that the controller takes as one meaning.",
    (
        Key("meaning", "meaning", "What the controller concludes.", required=True, example="up"),
        Key("low", "reading", "Lower edge; left out where the window reaches the rail.", example="2.70 kohm"),
        Key("high", "reading", "Upper edge; left out where the window reaches the rail.", example="3.05 kohm"),
        Key("uncertainty", "spread", "How far each edge may lie from where it is stated, either way: the same kind "
            "of quantity, or for ohms and volts a percent of each edge.", default="0", example="20 ohm"),
        Key("uncertainty_low", "spread", "The same for the lower edge alone.", default="uncertainty", example="20 ohm"),
        Key("uncertainty_high", "spread", "The same for the upper edge alone.", default="uncertainty", example="1 %"),
        Key("with_pull", "number", "The pull that edges in ohms assume, if the list names one.",
            needed="the edges are in ohms, not found by substitution, and the input has no pull of its own that they "
            "could mean", default="the nominal pull of the input", dimension="resistance", above=0.0,
            example="1 kohm"),
        Key("found", "word", "Edges in ohms found by putting resistors on this very pin.", words=("substitution",)),
        Key("fault", "flag", "The controller treats it as a fault (open, shorted): no command.", default="false"),
        _BASIS,
        _NOTE,
    ),
    id_key="meaning",
)  # fmt: skip
TARGET = Table(
    "line.target",
    "The one reading that belongs to a meaning, where windows are not known.",
    (
        Key("meaning", "meaning", "What the controller concludes.", required=True, example="up"),
        Key("reading", "reading", "The reading in the middle of the meaning.", required=True, example="2.88 kohm"),
        Key("with_pull", "number", "The pull that a reading in ohms assumes, if the list names one.",
            needed="the reading is in ohms, not found by substitution, and the input has no pull of its own that they "
            "could mean", default="the nominal pull of the input", dimension="resistance", above=0.0,
            example="1 kohm"),
        Key("found", "word", "A reading in ohms found by putting resistors on this very pin.",
            words=("substitution",)),
        Key("fault", "flag", "The controller treats it as a fault (open, shorted): no command.", default="false"),
        _BASIS,
        _NOTE,
    ),
    id_key="meaning",
)  # fmt: skip
SITUATION = Table(
    "line.situation",
    "What one set of operated contacts may read, where the general rules do not say what is wanted.",
    (
        Key("operated", "refs", "The operated contacts; an empty list is nothing operated.", required=True,
            to="contact", example='["lever_up", "wheel_up"]'),
        Key("allowed", "meanings", 'Meanings it may read as; "invalid" is no command and not idle.', required=True,
            example='["up", "invalid"]'),
        _NOTE,
    ),
)  # fmt: skip
ELEMENT = Table(
    "line.element",
    'One element of a line with form = "elements".',
    (
        Key("id", "id", "Permanent name.", required=True),
        Key("kind", "word", "What it is.", required=True, words=("resistor", "contact", "wire", "leak")),
        Key("between", "pair", 'Two of: the rails "ground", "return", "feed", "battery", "reference"; "pin"; nodes '
            "of your own.", required=True, example='["pin", "a"]'),
        Key("value", "element", "A resistor: as a coder resistor. A wire: a range. A leak: its least resistance.",
            needed='kind is not "contact"', example="3.3k"),
        Key("contact", "ref", "The contact it is.", needed='kind is "contact"', to="contact"),
        _NOTE,
    ),
    id_key="id",
)  # fmt: skip
LINE = Table(
    "line",
    "A coded line on one input.",
    (
        Key("id", "id", "Permanent name.", required=True),
        _NAME,
        Key("input", "ref", "The input it ends on.", required=True, to="input"),
        Key("form", "word", "The circuit it is.", required=True,
            words=("pull-up", "pull-down", "ladder", "divider", "elements")),
        Key("idle", "meaning", "The meaning when nothing is operated.", required=True, example="automatic"),
        Key("enable", "ref", "The contact that enables manual.", to="contact"),
        Key("taps_fed", "word", "Whether the other contacts get their source through the enable contact.",
            needed="there is an enable contact", words=("through enable", "directly")),
        Key("idle_resistor", "resistor", "Far-end resistor, always in circuit.",
            needed="form is pull-up, pull-down or divider", example="none"),
        Key("wire", "range", "Coded wire, pin to far end.", needed='form is not "elements"', dimension="resistance",
            least=0.0, example='{ low = "0 ohm", high = "1 ohm" }'),
        Key("source_wire", "range", "Wire on the source side, shared by all branches.",
            needed='form is not "elements"', dimension="resistance", least=0.0,
            example='{ low = "0 ohm", high = "1 ohm" }'),
        Key("return_offset", "range", "The coder's return against controller ground.", required=True,
            dimension="voltage", words=("none",), example='{ low = "-0.1 V", high = "0.1 V" }'),
        Key("feed_from", "word", "What the coder's feed comes from.", needed="the line has a feed",
            words=("battery", "reference")),
        Key("feed_drop", "range", "How much the coder's feed lies below feed_from.", needed="the line has a feed",
            dimension="voltage", words=("none",), example='{ low = "0 V", high = "0.5 V" }'),
        Key("series_diode", "range", "Volts dropped on the source side.", dimension="voltage", least=0.0,
            words=("none",), default="none", example='{ low = "0 V", high = "1 V" }'),
        Key("leak_to_ground", "leak", "Least leakage resistance from the pin to the coder's return (chassis).",
            required=True, dimension="resistance", above=0.0, words=("none",), example="20 kohm"),
        Key("leak_to_supply", "leak", "Least leakage resistance from the pin to the battery rail.", required=True,
            dimension="resistance", above=0.0, words=("none",), example="200 kohm"),
        Key("top_resistor", "resistor", "From the feed to the far end.", needed='form is "divider"', example="1 kohm"),
        Key("ladder_to", "word", "What the ladder's contacts lead to.", needed='form is "ladder"',
            words=("ground", "supply")),
        Key("end_resistor", "resistor", "From the last tap to the source side.", needed='form is "ladder"',
            example="none"),
        Key("source_side", "word", "The side of a series diode and of substitution.", needed='form is "elements"',
            words=("return", "feed")),
        Key("windows", "word", '"free": a controller that can be taught.', words=("free",)),
        Key("window", "tables", WINDOW.doc, to="line.window", most=64),
        Key("target", "tables", TARGET.doc, to="line.target", most=64),
        Key("situation", "tables", SITUATION.doc, to="line.situation"),
        Key("element", "tables", ELEMENT.doc, to="line.element"),
        *LINE_KEYS,
        _NOTE,
    ),
    id_key="id",
)  # fmt: skip
DEVICE = Table(
    "device",
    "What a hand moves: lever, button, paddle.",
    (
        Key("id", "id", "Permanent name.", required=True),
        _NAME,
        Key("place", "ref", "Where it sits.", to="place"),
        Key("exclusive", "groups", "Groups of its contacts of which at most one can be operated at a time.",
            to="contact", most=32, example='[["lever_up", "lever_down"]]'),
        *DEVICE_KEYS,
        _NOTE,
    ),
    id_key="id",
)  # fmt: skip
CONTACT = Table(
    "contact",
    "One switch element and the resistor that codes it.",
    (
        Key("id", "id", "Permanent name.", required=True),
        _NAME,
        Key("line", "ref", "The line it is on.", required=True, to="line"),
        Key("device", "ref", "The device that carries it.", required=True, to="device"),
        Key("kind", "word", "Conducts while operated, or while not.", required=True,
            words=("normally open", "normally closed")),
        Key("action", "word", "Springs back, or stays.", required=True, words=("momentary", "maintained")),
        Key("asks", "meaning", "The meaning it asks for.", required=True, example="up"),
        Key("with", "refs", "It is a command only while these are operated too.", to="contact", default="none"),
        Key("only_when", "refs", "It can physically be operated only while these are operated.", to="contact",
            default="none"),
        Key("resistor", "resistor", 'Its coder resistor. On a line of form "elements" resistors are elements, and '
            'this is left out or "none".', needed='the line\'s form is not "elements"',
            example='{ value = "4.42k", tolerance = "1 %" }'),
        Key("closed", "range", "Resistance while it conducts, new to worn.", needed="[defaults] has none",
            dimension="resistance", least=0.0, example='{ low = "0 ohm", high = "50 ohm" }'),
        Key("open", "leak", "Least resistance while it does not conduct.", needed="[defaults] has none",
            dimension="resistance", above=0.0, words=("none",), example="100 kohm"),
        Key("material", "word", "Of the contact faces.", words=("gold", "silver", "tin")),
        Key("bounce", "range", "How long it bounces.", dimension="time", least=0.0, example="5 ms"),
        Key("station", "text", "The command station it belongs to.", example="lever"),
        *CONTACT_KEYS,
        _NOTE,
    ),
    id_key="id",
)  # fmt: skip
PLACE = Table(
    "place",
    "A point on the harness.",
    (
        Key("id", "id", "Permanent name.", required=True),
        _NAME,
        Key("temperature", "range", "Of what sits here.", dimension="temperature"),
        *PLACE_KEYS,
        _NOTE,
    ),
    id_key="id",
)
RUN = Table(
    "run",
    "The stretch of harness between two places.",
    (
        Key("id", "id", "Permanent name.", required=True),
        _NAME,
        Key("between", "pair", "The two places.", required=True, to="place", example='["lever_pod", "tcu_plug"]'),
        Key("length", "range", "Along the harness.", dimension="length", above=0.0, example="1.8 m"),
        *RUN_KEYS,
        _NOTE,
    ),
    id_key="id",
)
CAVITY = Table(
    "plug.cavity",
    "One cavity of a plug.",
    (
        Key("id", "id", "The cavity's own mark.", required=True, example="B12"),
        Key("signal", "text", 'What is in it: a line\'s coded wire, "ground", "feed", "empty", …', example="taps"),
        *CAVITY_KEYS,
        _NOTE,
    ),
    id_key="id",
)
PLUG = Table(
    "plug",
    "A connector at a place.",
    (
        Key("id", "id", "Permanent name.", required=True),
        _NAME,
        Key("place", "ref", "Where it sits.", to="place"),
        *PLUG_KEYS,
        Key("cavity", "tables", CAVITY.doc, to="plug.cavity", most=MOST_CAVITIES),
        _NOTE,
    ),
    id_key="id",
)
TRUCK = Table(
    "truck",
    "One truck.",
    (
        Key("format", "whole", "The file format's number.", required=True, least=1, example=str(FORMAT)),
        Key("id", "id", "Permanent; letters, digits and \"-\".", required=True, example="pp-7c1e42"),
        _NAME,
        _NOTE,
        Key("supply", "table", SUPPLY.doc, required=True, to="supply"),
        Key("temperature", "range", "Of the coder's parts; resistor data are at 20 °C.", required=True,
            dimension="temperature", example='{ low = "-10 °C", high = "80 °C" }'),
        Key("defaults", "table", DEFAULTS.doc, to="defaults"),
        Key("parts", "table", PARTS.doc, to="parts"),
        Key("input", "tables", INPUT.doc, to="input", most=64),
        Key("line", "tables", LINE.doc, to="line", most=64),
        Key("device", "tables", DEVICE.doc, to="device"),
        Key("contact", "tables", CONTACT.doc, to="contact", most=512),
        Key("place", "tables", PLACE.doc, to="place", most=MOST_PLACES_USED),
        Key("run", "tables", RUN.doc, to="run", most=MOST_PLACES_USED),
        Key("plug", "tables", PLUG.doc, to="plug", most=MOST_LOADS),
        *HARNESS_ENTRIES,
        *INHIBIT_ENTRIES,
        *DRIVE_ENTRIES,
    ),
)  # fmt: skip

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        TRUCK, SUPPLY, DEFAULTS, PARTS, INPUT, LINE, WINDOW, TARGET, SITUATION, ELEMENT, DEVICE, CONTACT, PLACE, RUN,
        PLUG, CAVITY, *HARNESS_TABLES, *INHIBIT_TABLES, *DRIVE_TABLES, NUMBER, RANGE, RESISTOR, PULL,
    )
}  # fmt: skip
