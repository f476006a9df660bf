"""Keys of [drive]: what lies between engine and road, and what the controller was told of it.

Answers: which keys these tables may have, what each is, what it means in one sentence.
Touches: nothing.
Beside:  `crossdrive` looks at several entries together; docs/driveline.md tells what is computed from them.
"""

from __future__ import annotations

from pinproof.design.key import NOTE, Key, Table

MOST_GEARS, MOST_TRANSFERS, MOST_SHIFTS, MOST_SENSORS, MOST_BORROWED = 20, 4, 200, 16, 10
SENSOR_PLACES = ("turbine", "output", "propshaft", "wheel")
ANSWERS: dict[str, str] = {  # keys of [drive.settings]: what only the owner knows
    "enable": "Where the controller learns that manual is wanted.",
    "long_press": "What a long press does.",
    "tap_during_shift": "What a tap during a shift does.",
    "invalid_code": "What a reading in no window does.",
    "lock_up": "When the converter locks in manual.",
    "pressure": "Pressure of each shift.",
    "torque_reduction": "Torque cut in each shift.",
    "torque_limit": "Greatest input torque of each gear.",
    "re_entry": "What ends manual.",
    "gear_shown_from": "Where the gear on the dash comes from.",
}


def _range(name: str, doc: str, dimension: str, example: str, **more: object) -> Key:
    return Key(name, "range", doc, dimension=dimension, example=example, **more)  # type: ignore[arg-type]


def _rpm(name: str, doc: str, example: str, **more: object) -> Key:
    return _range(name, doc, "rotation_rpm", example, above=0.0, below=50_000.0, **more)


def _ratio(name: str, doc: str, example: str, **more: object) -> Key:
    return _range(name, doc, "gear_ratio", example, above=0.0, below=100.0, **more)


def _tyre(name: str, own: bool) -> Table:
    spread = {"words": ("none",), "least": 0.0, "below": 0.5}
    default = "" if own else '"none"'
    return Table(
        name,
        "A tyre: exactly one of roll_out (with turns), revolutions, size." if own else "The donor's tyre, likewise.",
        (
            _range("roll_out", "The way it rolls, loaded.", "length", "30.1 m", above=0.0, below=10_000.0),
            Key("turns", "number", "In so many turns.", needed="roll_out is given", dimension="count", above=0.0,
                below=10_000.0, example="10"),
            _range("revolutions", "Turns for a distance, by the maker's table.", "turns_per_length", "533 rev/mile",
                   above=0.0, below=5.0),
            Key("size", "text", "As written on its wall.", example="37x12.50R17"),
            _range("factor", "With a size: rolling circumference ÷ overall diameter.", "ratio", "3.05", above=2.5,
                   below=3.3, default="2.95 to 3.15"),
            _range("growth", "How much it grows at speed.", "ratio", "0 % to 2 %", required=own, default=default,
                   **spread),
            _range("wear", "How much smaller it rolls worn and soft.", "ratio", "0 % to 3 %", required=own,
                   default=default, **spread),
            NOTE,
        ),
    )  # fmt: skip


TYRE = _tyre("drive.tyre", True)
DONOR_TYRE = _tyre("drive.borrowed.tyre", False)
AXLE = Table(
    "drive.axle",
    "The axle.",
    (_ratio("ratio", "Propshaft turns for one of the wheel, hub reduction included.", "5.00", required=True), NOTE),
)
_GEAR_NAME = Key("name", "text", "What it is called.", required=True, example="1")
TRANSFER = Table(
    "drive.transfer",
    "One range of the transfer case.",
    (
        Key("name", "text", "What it is called.", required=True, example="high"),
        _ratio("ratio", "Output shaft turns for one of the propshaft.", "1", required=True),
        NOTE,
    ),
    id_key="name",
)
GEAR = Table(
    "drive.gear",
    "One forward gear; the lowest first.",
    (
        _GEAR_NAME,
        _ratio("ratio", "Turbine turns for one of the output shaft.", "4.00", required=True),
        _range("climb", "How fast the engine's speed rises in it, at full throttle near the limiter.", "rotation_rate",
               "2500 rpm/s", least=0.0, below=100_000.0),
        NOTE,
    ),
    id_key="name",
)  # fmt: skip
CONVERTER = Table(
    "drive.converter",
    "The converter or clutch.",
    (
        _range("slip", "How much slower than the engine its driven side turns.", "ratio", "0 % to 8 %", required=True,
               words=("none",), least=-0.5, below=0.9),
        NOTE,
    ),
)  # fmt: skip
ENGINE = Table(
    "drive.engine",
    "Speeds of the engine.",
    (
        _rpm("most", "It is never turned above this.", "6500 rpm", required=True),
        _rpm("limiter", "Where its limiter holds it.", "6400 rpm", required=True, words=("unknown",)),
        _rpm("least", "An upshift should not land below this.", "2500 rpm"),
        _range("upshift_time", "From the command of an upshift until the engine stops climbing.", "time",
               "0.2 s to 0.4 s", least=0.0, below=60.0),
        _range("lead", 'How far below the limiter the controller commands an upshift; "none" if it does not.',
               "rotation_rpm", "400 rpm", words=("none",), least=0.0, below=50_000.0),
        NOTE,
    ),
)  # fmt: skip
GUARD = Table(
    "drive.guard",
    "What is kept free for a downshift.",
    (
        _range("margin", "Kept below the over-speed limit.", "ratio", "5 %", required=True, least=0.0, below=0.9),
        _range("latency", "From the check to the new gear.", "time", "0.2 s to 0.5 s", required=True, least=0.0,
               below=60.0),
        _range("acceleration", "What the truck gains meanwhile, downhill.", "acceleration", "2 m/s2", required=True,
               least=-50.0, below=50.0),
        NOTE,
    ),
)  # fmt: skip
SENSOR = Table(
    "drive.sensor",
    "A speed sensor.",
    (
        Key("id", "id", "Permanent name.", required=True),
        Key("place", "word", "The shaft it is on; the propshaft lies behind the transfer case.", required=True,
            words=SENSOR_PLACES),
        Key("teeth", "number", "Teeth of its wheel.", required=True, dimension="count", above=0.0, below=10_001.0,
            example="40"),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
SHIFT = Table(
    "drive.shift",
    "A speed at which the controller shifts by itself: exactly one of engine, output, road.",
    (
        Key("from", "text", "The gear before.", required=True, example="2"),
        Key("to", "text", "The gear after; a skip shift may name any other.", required=True, example="3"),
        Key("load", "text", 'At which load; "full" is full throttle.', default="any load", example="full"),
        _rpm("engine", "Engine speed before the shift.", "6200 rpm"),
        _rpm("output", "Speed of the output shaft.", "2150 rpm"),
        _range("road", "Road speed.", "speed", "80 km/h", above=0.0, below=500.0),
        NOTE,
    ),
)
BORROWED = Table(
    "drive.borrowed",
    "A table from another truck, and what that truck has.",
    (
        Key("id", "id", "Permanent name.", required=True),
        Key("file", "text", "The CSV file, as seen from this one.", required=True, example="friend.csv"),
        Key("keyed_by", "word", "Which speed it goes by.", required=True, words=("road speed", "output speed")),
        Key("unit", "word", "Of its speeds; never guessed.", required=True, words=("km/h", "mph", "m/s", "rpm")),
        Key("holds", "word", "What its cells are.", required=True, words=("shift speeds", "gears", "other")),
        Key("tyre", "table", DONOR_TYRE.doc, needed="it is keyed by road speed", to="drive.borrowed.tyre"),
        _ratio("axle", "The donor's axle.", "3.73", needed="it is keyed by road speed"),
        _ratio("transfer", "The donor's transfer case.", "1", needed="it is keyed by road speed"),
        Key("gears", "ratios", 'The donor\'s gear ratios from the lowest on, or "same" for the same gearbox.',
            required=True, words=("same",), dimension="gear_ratio", above=0.0, below=100.0, most=MOST_GEARS,
            example='["3.59", "2.19"]'),
        NOTE,
    ),
    id_key="id",
)  # fmt: skip
SETTINGS = Table(
    "drive.settings",
    "Your answers for the settings sheet.",
    (*(Key(name, "answer", doc) for name, doc in ANSWERS.items()), NOTE),
)
LOG = Table(
    "drive.log",
    "What the controller was told, for judging a log.",
    (
        Key("lever", "codes", "What the lever reports in each detent.", example='{ park = "1", manual = "5" }'),
        Key("lever_manual", "refs", "Codes or words that the lever reports in manual.", example='["5"]'),
        Key("tap_to_command", "number", "Limit for 95 % of the taps.", dimension="time", above=0.0, below=60.0,
            example="150 ms"),
        Key("tap_to_ratio", "number", "Limit for 95 % of the taps, to the new ratio.", dimension="time", above=0.0,
            below=60.0, example="0.8 s"),
        Key("answer", "number", "A step later than this does not belong to the tap.", dimension="time", above=0.0,
            below=60.0, example="1 s"),
        Key("held_request", "choice", 'How long a refused downshift is kept waiting; "none": refused for good.',
            dimension="time", above=0.0, below=600.0, words=("none",), example="3 s"),
        Key("at_limiter", "word", "What the controller does at the limiter in manual.", words=("hold", "shift up")),
        Key("forced_down_below", "number", "Turbine speed below which it shifts down by itself.",
            dimension="rotation_rpm", least=0.0, below=50_000.0, example="1500 rpm"),
        Key("cold_below", "choice", 'Oil temperature below which taps are refused; "none": never.',
            dimension="temperature", words=("none",), example="20 °C"),
        Key("auto_repeat", "word", "Whether a held button repeats.", words=("off", "on")),
        Key("lowest_gear", "text", "Lowest gear in manual.", default="the first", example="1"),
        Key("highest_gear", "text", "Highest gear in manual.", default="the last", example="6"),
        NOTE,
    ),
)  # fmt: skip
DRIVE = Table(
    "drive",
    "The driveline: what lies between engine and road.",
    (
        Key("units", "word", "What is printed first.", words=("metric", "us"), default='"metric"'),
        NOTE,
        Key("tyre", "table", TYRE.doc, required=True, to="drive.tyre"),
        Key("axle", "table", AXLE.doc, required=True, to="drive.axle"),
        Key("transfer", "tables", TRANSFER.doc, required=True, to="drive.transfer", most=MOST_TRANSFERS),
        Key("gear", "tables", GEAR.doc, required=True, to="drive.gear", most=MOST_GEARS),
        Key("converter", "table", CONVERTER.doc, required=True, to="drive.converter"),
        Key("engine", "table", ENGINE.doc, required=True, to="drive.engine"),
        Key("guard", "table", GUARD.doc, required=True, to="drive.guard"),
        Key("sensor", "tables", SENSOR.doc, to="drive.sensor", most=MOST_SENSORS),
        Key("shift", "tables", SHIFT.doc, to="drive.shift", most=MOST_SHIFTS),
        Key("borrowed", "tables", BORROWED.doc, to="drive.borrowed", most=MOST_BORROWED),
        Key("settings", "table", SETTINGS.doc, to="drive.settings"),
        Key("log", "table", LOG.doc, to="drive.log"),
    ),
)

DRIVE_TABLES = (
    DRIVE, TYRE, AXLE, TRANSFER, GEAR, CONVERTER, ENGINE, GUARD, SENSOR, SHIFT, BORROWED, DONOR_TYRE, SETTINGS, LOG,
)  # fmt: skip
DRIVE_ENTRIES = (Key("drive", "table", DRIVE.doc, to="drive"),)
