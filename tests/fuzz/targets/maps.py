"""Logger maps, and the scripts that the crew writes beside a log."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from pathlib import Path

from pinproof.design import DesignFault
from pinproof.logs import LogFault, MapFault, ScriptFault, load_map, load_script
from tests.fuzz import mutate
from tests.fuzz.oracle import refused, untouched
from tests.fuzz.target import Run, Target
from tests.fuzz.targets.logs import CLOCK, DATED, HEAD, NUMBER, ROWS, doubled, rows, whole

FORM = """format = 1
logger = "Dash logger"
note = "invented"
[file]
kind = "text"
encoding = "utf-8"
delimiter = ","
decimal = "."
skip_lines = 0
unit_row = false
confirmed = true
[time]
header = "Time"
unit = "s"
confirmed = true
[[channel]]
role = "lever"
header = "Gear"
unit = "code"
codes = { "P" = "park", "1" = "drive", "01" = "manual" }
confirmed = true
[[channel]]
role = "pin.taps"
header = "Battery"
unit = "counts"
full_scale = 1023
factor = 0.25
offset = -1
valid = [0, 9000]
confirmed = true
[[channel]]
role = "tap_down"
header = "Tap"
unit = "V"
on_above = 2.5
confirmed = true
[[channel]]
role = "engine"
header = "Engine"
unit = "?"
confirmed = false
"""
CAN = """format = 1
[file]
kind = "can"
confirmed = true
[can]
dbc = "bus.dbc"
bus = "can0"
[[channel]]
role = "turbine"
header = "Speeds.Turbine"
unit = "rpm"
confirmed = true
"""
SCRIPT = """format = 1
[[phase]]
log = "day1.csv"
kind = "drive"
from = "0 s"
to = "2 min"
up = 20
down = 20
refused_up = 1
[[phase]]
kind = "hands off"
from = "120 s"
to = "3 min"
note = "invented"
[[phase]]
kind = "detents"
from = "180 s"
to = "200 s"
detents = ["park", "reverse", "neutral"]
held = "1 s"
"""


def begin_map(folder: Path) -> Run:
    """Read a map; with one in two that can be read, read a log."""
    path, log, dbc = folder / "in.toml", folder / "log.csv", folder / "bus.dbc"
    log.write_text(HEAD + rows(12, "{n:.2f}"), encoding="utf-8")
    dbc.write_text("BO_ 256 Speeds: 8 TCU\n", encoding="utf-8")
    beside = frozenset({log.name, dbc.name})

    def run(data: bytes) -> None:
        path.write_bytes(data)
        try:
            made = load_map(path)
            assert made.hash
            if zlib.crc32(data) % 2:
                whole(log, made, None, 1000)
        except (MapFault, DesignFault) as fault:
            refused(fault, path.name)
        except LogFault as fault:
            refused(fault, log.name, dbc.name)
        untouched(path, data, beside)

    return run


def begin_script(folder: Path) -> Run:
    """Read a script."""
    path = folder / "in.toml"

    def run(data: bytes) -> None:
        path.write_bytes(data)
        try:
            load_script(path)
        except (ScriptFault, DesignFault) as fault:
            refused(fault, path.name)
        untouched(path, data, frozenset())

    return run


def maps() -> Sequence[bytes]:
    """One of each kind."""
    return [each.encode() for each in (FORM, NUMBER, CLOCK, DATED, ROWS, CAN)]


WORDS = (
    '"text"', '"parquet"', '"mdf"', '"can"', '"rows"', '"clock"', '"date-time"', '"date and clock"', '"%d.%m.%Y %H:%M"',
    '"%Q%s%9f%.3f"', '"%"', '"utf-16-le"', '"cp1252"', '"\\t"', '"|"', "true", "[[channel]]", "[time]", "[can]",
    "codes = { }", "valid = [1, 0]", "on_below = 1", 'dbc = "../../x"', 'dbc = "."', '"10 Hz"', '"1e-9 Hz"', '"min"',
    'kind = "detents"', "up = -1", "nan", "inf", "1e308",
)  # fmt: skip
TARGETS = (
    Target("map", "logger maps", ("pinproof.logs.map_file", "pinproof.logs.logger_map", "pinproof.logs.source",
           "pinproof.logs.stamps", "pinproof.logs.roles"), begin_map, maps, mutate.TOML, WORDS, doubled=doubled),
    Target("script", "scripts beside a log", ("pinproof.logs.script",), begin_script,
           lambda: [SCRIPT.encode()], mutate.TOML, WORDS, doubled=lambda data: data + data[data.find(b"[["):]),
)  # fmt: skip
