"""Keys of the tables that say how a truck is wired: places, runs, plugs, feeds, loads and the harness itself.

Answers: which keys these tables may have, what each is, what it means in one sentence.
Touches: nothing.
Beside:  `keys` has the tables that a proof needs and lists these among its own; `crossharness` looks at several entries
         together. What only a laid-out harness can show (a net without an end) is refused by `pinproof.harness`.
"""

from __future__ import annotations

from pinproof.design.key import NAME, NOTE, Key, Table
from pinproof.design.keys_inhibit import SWITCH_KEYS

MOST_LOADS = 1024
MOST_PLACES_USED = 400
MOST_CAVITIES = 512
MOST_WIRE_CHOICES = 2048

_ID = Key("id", "id", "Permanent name.", required=True)


def _of_stock() -> tuple[Key, ...]:
    return (
        Key("part", "text", "What it is ordered as.", example="your own part mark"),
        Key("price", "amount", "Of one, in the currency of [harness].", least=0.0, example="0.4"),
        Key("on_hand", "whole", "How many lie in the shop.", least=0, example="20"),
        Key("days", "whole", "Days until an order arrives.", least=0, example="5"),
    )


def _range(name: str, doc: str, dimension: str, example: str, **more: object) -> Key:
    return Key(name, "range", doc, dimension=dimension, example=example, **more)  # type: ignore[arg-type]


HARNESS = Table(
    "harness",
    "How the harness of this truck is to be built.",
    (
        Key("sizes", "word", "The family of wire sizes.", required=True, words=("mm2", "AWG")),
        Key("insulation", "number", "Temperature rating of new cable.", required=True, dimension="temperature",
            above=0.0, example="125 °C"),
        Key("smallest", "number", "Smallest size that is taken from stock.", dimension="gauge", above=0.0,
            default="the mechanical minimum", example="0.5 mm2"),
        Key("slack", "number", "Spare length at each cavity, tail or stud.", dimension="length", least=0.0,
            default='"50 mm"', example="50 mm"),
        Key("splice_worth", "number", "Wire that a splice must save.", dimension="length", least=0.0,
            default='"300 mm"', example="300 mm"),
        Key("splice_wires", "whole", "Most wires in one splice, 3 to 8.", least=3, default="4", example="4"),
        Key("splice_clear", "number", "Least distance of a splice from a plug, device, load, relay or stud.",
            dimension="length", least=0.0, default='"300 mm"', example="300 mm"),
        Key("breakout_clear", "number", "Least distance of a splice from any other place.", dimension="length",
            least=0.0, default='"50 mm"', example="50 mm"),
        Key("splice_length", "number", "Length of a finished splice.", dimension="length", above=0.0,
            default='"40 mm"', example="40 mm"),
        Key("splice_limit", "number", "Hottest run that a splice may lie in.", dimension="temperature",
            default='"105 °C"', example="105 °C"),
        _range("pair_ohm", "Resistance of one mated terminal pair.", "resistance", "20 mohm", least=0.0,
               default='"20 mohm"'),
        Key("spare_wires", "number", "Fraction of cable bought in excess.", dimension="ratio", least=0.0,
            default='"10 %"', example="10 %"),
        Key("spare_parts", "number", "Fraction of terminals and seals bought in excess.", dimension="ratio", least=0.0,
            default='"10 %"', example="10 %"),
        Key("support", "number", "Distance of supports along a run.", dimension="length", above=0.0,
            default='"200 mm"', example="200 mm"),
        Key("support_end", "number", "Distance of the first support from a place.", dimension="length", above=0.0,
            default='"80 mm"', example="80 mm"),
        Key("tie", "number", "Distance of ties.", dimension="length", above=0.0, default='"75 mm"', example="75 mm"),
        Key("currency", "text", "What prices are in.", example="EUR"),
        Key("units", "word", "What lists and papers show: millimetres or inches.", words=("metric", "us"),
            default="what [drive] says, else metric"),
        Key("shrink", "length_pairs", "Heat-shrink tubes at hand, each [supplied, recovered] inside diameter.",
            default="usual sizes", example='[["6.4 mm", "2.1 mm"]]'),
        Key("sleeves", "lengths", "Inside diameters of sleeves at hand.", default="usual sizes",
            example='["6 mm", "10 mm"]'),
        NOTE,
    ),
)  # fmt: skip
JOINT = Table(
    "joint",
    "A moving or separable joint that a run carries.",
    (
        _ID,
        NAME,
        Key("kind", "word", "What it is.", required=True,
            words=("flex tail", "coiled cord", "slip ring", "quick-release", "plug pair")),
        Key("run", "ref", "The run that it is in; one joint in a run.", required=True, to="run"),
        Key("ways", "whole", "How many nets can cross.", needed="it is a slip ring, a quick-release or a plug pair",
            least=1, example="6"),
        Key("plugs", "pair", "Its two halves, plugs at the two places of the run.", to="plug",
            example='["column_half", "hub_half"]'),
        Key("cord_length", "number", "Length of wire in the cord, in place of the run's length.",
            needed="it is a coiled cord", dimension="length", above=0.0, example="1.2 m"),
        _range("way_ohm", "Resistance of one way at rest.", "resistance", '{ low = "0 ohm", high = "50 mohm" }',
               least=0.0, needed="it is a slip ring, a quick-release or a plug pair"),
        _range("noise_ohm", "Added at will while it moves.", "resistance", "0 ohm", least=0.0, default='"0 ohm"'),
        Key("leak", "leak", "Least resistance between neighbouring ways.",
            needed="it is a slip ring, a quick-release or a plug pair", dimension="resistance", above=0.0,
            words=("none",), example="1 Mohm"),
        Key("apart", "flag", "It may be apart while the truck is live.",
            default="true for a quick-release, else false"),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
STUD = Table(
    "stud",
    "A threaded stud that takes several rings: of the battery or of ground.",
    (
        _ID,
        NAME,
        Key("place", "ref", "Where it is.", required=True, to="place"),
        Key("rail", "word", "What it carries.", required=True, words=("battery", "ground")),
        Key("rings", "whole", "Most rings on it.", least=1, default="4", example="4"),
        Key("hole", "text", "Thread or ring size.", example="M6"),
        _range("offset", "Volts against controller ground.", "voltage", '{ low = "-0.1 V", high = "0.1 V" }',
               needed="it is a ground stud", words=("none",)),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
TERMINAL = Table(
    "terminal",
    "A crimped terminal and the wire that it takes.",
    (
        _ID,
        NAME,
        Key("smallest", "number", "Smallest wire.", required=True, dimension="gauge", above=0.0, example="0.35 mm2"),
        Key("largest", "number", "Largest wire.", required=True, dimension="gauge", above=0.0, example="1 mm2"),
        Key("insulation_smallest", "number", "Least outside diameter that its insulation grip takes.",
            dimension="length", above=0.0, example="1.2 mm"),
        Key("insulation_largest", "number", "Greatest outside diameter that its insulation grip takes.",
            dimension="length", above=0.0, example="2.1 mm"),
        Key("plating", "word", "Of its faces.", words=("tin", "gold", "silver")),
        Key("strip", "number", "Length of insulation to strip.", required=True, dimension="length", above=0.0,
            example="5 mm"),
        Key("carries", "number", "Current that it carries.", dimension="current", above=0.0, example="10 A"),
        *_of_stock(),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
SEAL = Table(
    "seal",
    "A wire seal and the outside diameters that it holds.",
    (
        _ID,
        NAME,
        Key("smallest", "number", "Least outside diameter.", required=True, dimension="length", above=0.0,
            example="1.4 mm"),
        Key("largest", "number", "Greatest outside diameter.", required=True, dimension="length", above=0.0,
            example="2.2 mm"),
        *_of_stock(),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
CABLE = Table(
    "cable",
    "A size of wire that can be had; with any of these only they are used.",
    (
        _ID,
        NAME,
        Key("size", "number", "Conductor size.", needed="it is not salvaged", dimension="gauge", above=0.0,
            example="0.5 mm2"),
        Key("strands", "whole", "How many strands.", required=True, least=1, example="19"),
        Key("outside", "number", "Diameter over the insulation.", required=True, dimension="length", above=0.0,
            example="1.6 mm"),
        Key("insulation", "choice", "Temperature rating.", required=True, dimension="temperature",
            words=("unknown",), example="125 °C"),
        Key("carries", "number", "Current at that rating and 70 °C.", needed="it is larger than 8 AWG",
            dimension="current", above=0.0, example="60 A"),
        Key("colours", "refs", "Colours that it comes in, by IEC 60757.", example='["RD", "BK"]'),
        Key("price", "amount", "Of one metre, in the currency of [harness].", least=0.0, example="0.6"),
        Key("on_hand", "number", "Length in the shop.", dimension="length", least=0.0, example="25 m"),
        Key("days", "whole", "Days until an order arrives.", least=0, example="5"),
        Key("salvaged", "flag", "Taken out of another vehicle.", default="false"),
        Key("strand", "number", "Diameter of one strand, in place of the size.", needed="it is salvaged",
            dimension="length", above=0.0, example="0.18 mm"),
        Key("age", "amount", "Years.", needed="it is salvaged", least=0.0, words=("unknown",), example="8"),
        Key("condition", "word", "What eyes and fingers say.", needed="it is salvaged", words=("good", "doubtful")),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
FEED = Table(
    "feed",
    "A fused supply: from a stud, a bus plug or another feed, through a fuse.",
    (
        _ID,
        NAME,
        Key("from", "ref", "A battery stud, a bus plug or another feed.", required=True, example="battery_plus"),
        Key("place", "ref", "Where the fuse is.", required=True, to="place"),
        Key("plug", "ref", "The fuse holder, if it is a plug.", to="plug"),
        Key("fuse", "choice", "Its rating.", required=True, dimension="current", above=0.0,
            words=("to choose", "none"), example="5 A"),
        Key("family", "word", "Blade family.", words=("medium", "mini", "maxi"), default="medium"),
        Key("through", "refs", "Switches and relay contacts between `from` and the fuse, in order.", default="none",
            example='["master"]'),
        Key("live", "refs", "Key states in which it is live.", required=True, example='["run", "crank"]'),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
SWITCH = Table(
    "switch",
    "A contact that carries a load or a coil, not a code.",
    (
        _ID,
        NAME,
        Key("device", "ref", "The device that carries it.", required=True, to="device"),
        Key("kind", "word", "Conducts while operated, or while not.", words=("normally open", "normally closed"),
            default='"normally open"'),
        Key("action", "word", "Springs back, or stays.", words=("momentary", "maintained"), default='"maintained"'),
        _range("closed", "Resistance while it conducts, new to worn.", "resistance",
               '{ low = "0 ohm", high = "50 mohm" }', least=0.0, required=True),
        Key("open", "leak", "Least resistance while it does not conduct.", required=True, dimension="resistance",
            above=0.0, words=("none",), example="1 Mohm"),
        Key("carries", "number", "Current that it carries.", dimension="current", above=0.0, example="10 A"),
        Key("positions", "refs", "Positions of its device in which it conducts.", default="none: worked by hand",
            example='["park", "neutral"]'),
        *SWITCH_KEYS,
        NOTE,
    ),
    id_key="id",
)  # fmt: skip


def _chain() -> tuple[Key, ...]:
    return (
        Key("place", "ref", "Where it is.", required=True, to="place"),
        Key("plug", "ref", "The plug that mates it; without one it has its own leads.", to="plug"),
        Key("feed", "ref", "The feed that supplies it.", required=True, to="feed"),
        Key("ground", "ref", "The ground stud that it returns to.", required=True, to="stud"),
        Key("high_side", "chain", "Switches, relay contacts and drivers from the feed to it, in order; an inner list "
            "is in parallel.", default="none", example='["key_start", ["pn_switch", "pn_switch_2"]]'),
        Key("low_side", "chain", "The same from it to the ground.", default="none", example='["lamp_driver"]'),
    )  # fmt: skip


def _uses() -> tuple[Key, ...]:
    return (
        Key("inrush", "amount", "Times the running current, on switching on.", least=1.0, default="1", example="6"),
        Key("inrush_time", "number", "How long the inrush lasts.", needed="inrush is above 1", dimension="time",
            above=0.0, example="100 ms"),
        Key("duty", "word", "How it is used.", words=("continuous", "intermittent"), default='"continuous"'),
        Key("drop", "word", "Whether it minds a lower voltage.", required=True, words=("critical", "not critical")),
        Key("drop_allowed", "number", "Fraction of the supply that its wires may lose, in place of the custom.",
            dimension="ratio", above=0.0, below=1.0, example="5 %"),
    )  # fmt: skip


LOAD = Table(
    "load",
    "What uses current: a lamp, a motor, a display.",
    (
        _ID,
        NAME,
        *_chain(),
        _range("volts", "Volts at which its power or current is stated.", "voltage", "12 V", above=0.0, required=True),
        _range("watts", "Power at these volts.", "power", "21 W", above=0.0, needed="amps is not given"),
        _range("amps", "Current at these volts.", "current", "1.5 A", above=0.0, needed="watts is not given"),
        Key("behaves", "word", "Whether more volts draw more current.", words=("resistor", "current"),
            default='"resistor"'),
        Key("tolerance", "number", "Of its resistance, either way.", dimension="tolerance", least=0.0, below=1.0,
            default='"10 %"', example="10 %"),
        *_uses(),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
RELAY_CONTACT = Table(
    "relay.contact",
    "One contact of a relay.",
    (
        _ID,
        Key("kind", "word", "Conducts while the coil is pulled in, or while not.", required=True,
            words=("normally open", "normally closed")),
        _range("closed", "Resistance while it conducts, new to worn.", "resistance",
               '{ low = "0 ohm", high = "50 mohm" }', least=0.0, required=True),
        Key("open", "leak", "Least resistance while it does not conduct.", required=True, dimension="resistance",
            above=0.0, words=("none",), example="1 Mohm"),
        Key("carries", "number", "Current that it carries.", dimension="current", above=0.0, example="30 A"),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
RELAY = Table(
    "relay",
    "A relay: its coil is a load, its contacts stand in chains as RELAY.CONTACT.",
    (
        _ID,
        NAME,
        *_chain(),
        _range("coil", "Resistance of the coil over its temperature.", "resistance",
               '{ low = "70 ohm", high = "110 ohm" }', above=0.0, required=True),
        _range("pull_in", "Volts at which it pulls in.", "voltage", '{ low = "5 V", high = "8 V" }', above=0.0,
               required=True),
        _range("drop_out", "Volts at which it lets go.", "voltage", '{ low = "1.2 V", high = "4 V" }', above=0.0,
               required=True),
        *_uses(),
        Key("contact", "tables", RELAY_CONTACT.doc, to="relay.contact", most=8),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
DRIVER = Table(
    "driver",
    "An output of a controller that switches a load.",
    (
        _ID,
        NAME,
        Key("controller", "text", "The controller that it is in.", required=True, example="gearbox controller"),
        Key("plug", "ref", "The plug that it is in.", to="plug"),
        Key("cavity", "text", "The cavity of that plug.", example="C1"),
        Key("side", "word", '"low" switches to controller ground, "high" from the feed.', required=True,
            words=("low", "high")),
        _range("on", "Resistance while it is on.", "resistance", '{ low = "0 ohm", high = "500 mohm" }', least=0.0,
               required=True),
        Key("off", "leak", "Least resistance while it is off.", required=True, dimension="resistance", above=0.0,
            words=("none",), example="1 Mohm"),
        Key("reads", "ref", "The line whose meaning decides.", to="line"),
        Key("permits", "meanings", "The meanings with which it may be on.", example='["neutral"]'),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
WIRE = Table(
    "wire",
    "Your own choice for the wire at one termination, or for the splice of one net.",
    (
        Key(
            "at",
            "text",
            'Where: "PLUG.CAVITY", a stud, a terminal such as "lamp.plus", or "run.RUN" for a splice.',
            required=True,
            example="tcu.B12",
        ),
        Key("net", "text", "Which net is meant.", needed="`at` is a stud or a run", example="taps"),
        Key("size", "number", "Its size.", dimension="gauge", above=0.0, example="0.75 mm2"),
        Key("cable", "ref", "Its cable.", to="cable"),
        Key("colour", "text", "Its colour, by IEC 60757.", example="BU"),
        NOTE,
    ),
)

HARNESS_TABLES = (
    HARNESS, JOINT, STUD, TERMINAL, SEAL, CABLE, FEED, SWITCH, LOAD, RELAY, RELAY_CONTACT, DRIVER, WIRE,
)  # fmt: skip

HARNESS_ENTRIES = (
    Key("harness", "table", HARNESS.doc, to="harness"),
    Key("joint", "tables", JOINT.doc, to="joint"),
    Key("stud", "tables", STUD.doc, to="stud"),
    Key("terminal", "tables", TERMINAL.doc, to="terminal"),
    Key("seal", "tables", SEAL.doc, to="seal"),
    Key("cable", "tables", CABLE.doc, to="cable"),
    Key("feed", "tables", FEED.doc, to="feed"),
    Key("switch", "tables", SWITCH.doc, to="switch", most=512),
    Key("load", "tables", LOAD.doc, to="load", most=MOST_LOADS),
    Key("relay", "tables", RELAY.doc, to="relay"),
    Key("driver", "tables", DRIVER.doc, to="driver"),
    Key("wire", "tables", WIRE.doc, to="wire", most=MOST_WIRE_CHOICES),
)

# What tables of `keys` have besides, for a harness.
PLACE_KEYS = (Key("inside", "flag", "In the cab.", default="false"),)
RUN_KEYS = (
    Key("environment", "word", '"single": one wire or a loose tail. "flex": it moves.',
        words=("bundle", "single", "flex"), default='"bundle"'),
    Key("temperature", "range", "Of what surrounds it.", dimension="temperature", default="[temperature]",
        example='{ low = "-10 °C", high = "105 °C" }'),
    Key("hot", "flag", "Near the exhaust: no splices.", default="false"),
    Key("splices", "flag", "Splices may lie in it.", default="true"),
    Key("clip", "text", "What holds it.", example="P-clip, 10 mm"),
)  # fmt: skip
CAVITY_KEYS = (
    Key("terminal", "ref", "The terminal in it.", to="terminal", default="the plug's"),
    Key("seal", "ref", "The seal in it.", to="seal", default="the plug's"),
)
PLUG_KEYS = (
    Key("bus", "flag", "All its cavities are one node.", default="false"),
    Key("terminal", "ref", "The terminal in its cavities.", to="terminal"),
    Key("seal", "ref", "The seal in its cavities.", to="seal"),
    Key("part", "text", "What it is ordered as."),
    Key("columns", "whole", "Columns of its face, for drawing it.", least=1, example="4"),
    Key("numbered_from", "word", "The side from which its cavities are numbered.", words=("wire side", "mating side"),
        default='"wire side"'),
    Key("unit", "text", "What it mates: a device, load, relay, feed or controller, if that does not name it.",
        example="gearbox controller"),
)  # fmt: skip
DEVICE_KEYS = (
    Key("plug", "ref", "The plug that mates it; without one it has its own leads.", to="plug"),
    Key("positions", "refs", "Its positions in order of travel.", default="none",
        example='["park", "reverse", "neutral", "drive"]'),
)  # fmt: skip
CONTACT_KEYS = (
    Key("positions", "refs", "Positions of its device in which it is operated.", default="none: worked by hand",
        example='["manual"]'),
)  # fmt: skip
RESISTOR_KEYS = (
    Key(
        "at",
        "text",
        'Where it is: "device" (of its contact), a device, or a plug in which it is potted.',
        default='"device" for a contact\'s',
        example="device",
    ),
    Key("rated_power", "number", "What its body carries.", dimension="power", above=0.0, example="0.5 W"),
)
LINE_KEYS = (
    Key("feed", "ref", "The feed that its feed rail comes from.", to="feed"),
    Key("feed_cavity", "text", 'Where the reference feeds it: "PLUG.CAVITY" of the controller, its sensor supply.',
        example="tcu.B4"),
    Key("returns_to", "text", 'The ground stud, or "PLUG.CAVITY" of the controller, that its return goes to.',
        example="tcu.B1"),
)  # fmt: skip
