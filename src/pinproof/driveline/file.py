"""The driveline's own file, beside the design file.

Answers: the driveline, or all faults of its file at once; a file with blanks to begin from.
Touches: the file named, in `load_drive` and `save_starter`.
Sources: figures of the starter's guard, growth and wear: common practice, no source.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, cast

from pinproof.design.load import decode, read_bytes
from pinproof.design.messages import nearest
from pinproof.design.model import BASES, Value
from pinproof.design.save import save_atomic
from pinproof.driveline.model import PLACES, Answer, Borrowed, Drive, Geared, Place, Sensor, ShiftLine
from pinproof.driveline.reading import Rows
from pinproof.driveline.span import Span
from pinproof.driveline.tyre import USUAL_FACTOR, Tyre, circumference_of_size, rolling
from pinproof.errors import PinproofError

ANSWERS = (
    "enable", "lever_code", "tap_codes", "debounce", "long_press", "auto_repeat", "tap_during_shift", "invalid_code",
    "at_limiter", "held_request", "lock_up", "pressure", "torque_reduction", "torque_limit", "re_entry",
    "gear_shown_from", "cold_guard",
)  # fmt: skip
MOST_GEARS, MOST_TRANSFERS, MOST_LINES, MOST_SENSORS, MOST_BORROWED = 20, 4, 200, 16, 10
_HEAD = {
    "format", "truck", "name", "note", "units", "tyre", "axle", "transfer", "gear", "converter", "engine", "guard",
    "sensor", "shift", "borrowed", "settings",
}  # fmt: skip
_BORROWED = {"id", "file", "keyed_by", "unit", "holds", "tyre", "axle", "transfer", "gears", "note"}

STARTER = """# The driveline of one truck. Written by pinproof with blanks: fill in your own numbers.
# A number may be "4.00", "0.2 s to 0.5 s", or { value = "4.00", basis = "published", note = "maker's sheet" }.
# basis: measured, published, borrowed (from another truck) or assumed; without it: assumed.
format = 1
truck = ""              # the id in your design file
units = "metric"        # or "us": what is printed first

[tyre]                  # one of three ways; the first is the best
# Mark tyre and ground, roll 10 turns with the truck loaded and at race pressure, measure the way.
roll_out = ""           # such as { value = "30.10 m", tolerance = "0.3 %", basis = "measured" }
turns = "10"
# revolutions = "533 rev/mile"    # or rev/km, from the maker's table
# size = "37x12.50R17"            # or "315/75R16": good to some 3 % only
growth = "0 % to 2 %"   # how much it grows at speed (common practice, no source); "none" allowed
wear = "0 % to 3 %"     # worn and soft (common practice, no source); "none" allowed

[axle]
ratio = ""              # such as "5.00"; times any reduction in the hubs

[[transfer]]            # one for each range of the transfer case
name = "high"
ratio = "1"

# One [[gear]] for each forward gear, the lowest first.
[[gear]]
name = "1"
ratio = ""
[[gear]]
name = "2"
ratio = ""
[[gear]]
name = "3"
ratio = ""

[converter]
slip = "0 % to 8 %"     # turbine slower than the engine by so much, at most; "none" for a clutch (assumed: log it)

[engine]
most = ""               # such as "6500 rpm": the engine is never turned above this
limiter = "unknown"     # such as "6400 rpm"
# least = "2500 rpm"    # an upshift should not land below this

[guard]                 # for downshifts (common practice, no source)
margin = "5 %"
latency = "0.2 s to 0.5 s"    # from the check to the new gear
acceleration = "2 m/s2"       # what the truck gains meanwhile, downhill

# [[sensor]]
# id = "output"
# place = "output"      # turbine, output, propshaft (behind the transfer case), wheel
# teeth = "40"

# The lines at which the controller shifts by itself, up and down, at the same load. One of engine, output, road:
# [[shift]]
# from = "2"
# to = "3"
# load = "full"
# engine = "6200 rpm"

# A table from another truck:
# [[borrowed]]
# id = "friend"
# file = "friend.csv"
# keyed_by = "road speed"     # or "output speed"
# unit = "km/h"
# holds = "shift speeds"      # or "gears", or "other"
# tyre = { size = "31x10.50R15" }
# axle = "3.73"
# transfer = "1"
# gears = "same"              # or the donor's ratios in order, ["3.59", "2.19"]

# [settings]
# enable = "selector switch, own wire to pin B7"
"""


@dataclass
class DriveFault(PinproofError):
    """Everything wrong with a driveline file, or with a table that it names."""

    file: str
    faults: tuple[str, ...]

    def __str__(self) -> str:
        return "\n".join(f"{self.file}  {said}" for said in self.faults)


def save_starter(path: str | Path) -> None:
    """Write a file with blanks; never over one that is there (ChangedUnderneath)."""
    save_atomic(path, STARTER, None)


def load_drive(path: str | Path) -> Drive:
    """The driveline in a file.

    Raises
    ------
    DriveFault
        All that is wrong with it at once.
    DesignFault
        There is no such file, or it is no text.
    """
    where = Path(path)
    text = decode(read_bytes(str(where)), where.name).removeprefix("\ufeff")
    return drive_of(text, where.name, str(where.parent))


def drive_of(text: str, file: str, folder: str = "") -> Drive:
    """The driveline in the text of a file; DriveFault as `load_drive`."""
    try:
        raw: dict[str, object] = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise DriveFault(file, (f"This is not a driveline file: {error}.",)) from None
    if "gear" not in raw and "axle" not in raw:
        there = ", ".join(str(each)[:20] for each in list(raw)[:5]) or "nothing"
        what = f"This is not a driveline file: it has {there}; a driveline file has [[gear]] and [axle]."
        raise DriveFault(file, (f"{what} `pinproof gears --begin drive.toml` writes one.",))
    reader = _Reader(raw, file, folder)
    made = reader.drive()
    if made is None:
        raise DriveFault(file, tuple(reader.rows.faults))
    return made


class _Reader:
    def __init__(self, raw: dict[str, object], file: str, folder: str) -> None:
        self.raw, self.file, self.folder = raw, file, folder
        self.rows = Rows()

    def drive(self) -> Drive | None:
        raw, rows = self.raw, self.rows
        rows.keys(raw, _HEAD, "")
        if raw.get("format") != 1:
            rows.fault("format", "write format = 1.")
        truck = rows.text(raw, "truck", "")
        units = rows.word(raw, "units", "", ("metric", "us"), "metric")
        tyre = self.tyre(rows.table(raw.get("tyre"), "tyre"), "tyre")
        axle = rows.table(raw.get("axle"), "axle")
        rows.keys(axle, {"ratio", "note"}, "axle")
        axle_ratio = rows.value(axle, "ratio", "ratio", "axle")
        transfers = self.geared("transfer", MOST_TRANSFERS)
        gears = self.geared("gear", MOST_GEARS)
        for one, other in pairwise(gears):
            if one.ratio.text and other.ratio.text and other.ratio.high >= one.ratio.low:
                rows.fault(
                    f"gear.{other.name}.ratio", f"{other.ratio.text} is not below the {one.ratio.text} of gear "
                    f"{one.name}. List the gears from the lowest on; each has a smaller ratio than the one before.",
                )  # fmt: skip
        converter = rows.table(raw.get("converter"), "converter")
        rows.keys(converter, {"slip", "note"}, "converter")
        slip = rows.optional(converter, "slip", "slip", "converter", "none")
        engine = rows.table(raw.get("engine"), "engine")
        rows.keys(engine, {"most", "limiter", "least", "note"}, "engine")
        most = rows.value(engine, "most", "rpm", "engine")
        limiter = rows.optional(engine, "limiter", "rpm", "engine", "unknown")
        least = rows.optional(engine, "least", "rpm", "engine")
        if least is not None and most.text and least.high >= most.low:
            rows.fault("engine.least", "it is not below engine.most.")
        guard = rows.table(raw.get("guard"), "guard")
        rows.keys(guard, {"margin", "latency", "acceleration", "note"}, "guard")
        margin = rows.value(guard, "margin", "margin", "guard")
        latency = rows.value(guard, "latency", "time", "guard")
        acceleration = rows.value(guard, "acceleration", "acceleration", "guard")
        sensors, lines = self.sensors(), self.lines(gears)
        borrowed, answers = self.borrowed(gears), self.answers()
        if rows.faults or tyre is None:
            return None
        return Drive(
            truck, str(raw.get("name", ""))[:80], cast(Any, units), tyre, axle_ratio, transfers, gears, slip, most,
            limiter, least, margin, latency, acceleration, sensors, lines, borrowed, answers, self.folder, self.file,
        )  # fmt: skip

    def tyre(self, table: dict[str, object], path: str, usual: str | None = None) -> Tyre | None:
        """One tyre; `usual` stands for growth and wear where they may be left out."""
        rows = self.rows
        rows.keys(table, {"roll_out", "turns", "revolutions", "size", "factor", "growth", "wear", "note"}, path)
        given = [key for key in ("roll_out", "revolutions", "size") if key in table]
        if len(given) != 1:
            have = " and ".join(given) or "none"
            rows.fault(path, f"it needs exactly one of roll_out (with turns), revolutions, size; there is {have}.")
            return None
        for key, owner in (("turns", "roll_out"), ("factor", "size")):
            if key in table and owner != given[0]:
                rows.fault(f"{path}.{key}", f"it belongs to {owner}, which is not written here.")
        before = len(rows.faults)
        growth = rows.optional(table, "growth", "growth", path, "none", usual)
        wear = rows.optional(table, "wear", "wear", path, "none", usual)
        around, how, basis, parts = self.circumference(table, given[0], path)
        if len(rows.faults) > before:
            return None
        if not 0.3 <= around.low <= around.high <= 15.0:
            rows.fault(f"{path}.{given[0]}", f"a turn would be {around.value:.3g} m; a wheel rolls 0.3 to 15 m.")
            return None
        spread = [each for each in (growth, wear) if each is not None]
        return Tyre(around, rolling(around, growth, wear), how, basis, (*parts, *spread))

    def circumference(self, table: dict[str, object], key: str, path: str) -> tuple[Span, str, str, tuple[Value, ...]]:
        rows = self.rows
        if key == "roll_out":
            way, turns = rows.value(table, key, "length", path), rows.value(table, "turns", "turns", path)
            return Span.of(way) / Span.of(turns), "roll-out", way.basis, (way, turns)
        if key == "revolutions":
            per_m = rows.value(table, key, "revolutions", path)
            return Span.exact(1.0) / Span.of(per_m), "revolutions per distance", per_m.basis, (per_m,)
        size = rows.text(table, key, path, most=40)
        factor = rows.optional(table, "factor", "factor", path)
        taken = USUAL_FACTOR if factor is None else Span.of(factor)
        if factor is None:
            said = f"{taken.low:g} to {taken.high:g} (usual for a radial)"
            factor = Value(taken.value, taken.low, taken.high, "ratio", f"{path}.factor", said)
        try:
            around = circumference_of_size(size, taken) if size else Span.exact(1.0)
        except PinproofError as fault:
            rows.fault(f"{path}.size", str(fault))
            around = Span.exact(1.0)
        return around, f"size {size} × factor {factor.text}", factor.basis, (factor,)

    def geared(self, key: str, most: int) -> tuple[Geared, ...]:
        rows, found, seen = self.rows, [], set[str]()
        for number, table in enumerate(rows.tables(self.raw.get(key), key, most), start=1):
            name = rows.text(table, "name", f"{key} {number}", most=20)
            rows.keys(table, {"name", "ratio", "note"}, f"{key}.{name or number}")
            if name in seen:
                rows.fault(f"{key}.{name}", "this name stands twice.")
            seen.add(name)
            found.append(Geared(name, rows.value(table, "ratio", "ratio", f"{key}.{name or number}")))
        if not found:
            rows.fault(key, f"there is none. Write each as [[{key}]] with name and ratio.")
        return tuple(found)

    def sensors(self) -> tuple[Sensor, ...]:
        found = []
        for number, table in enumerate(self.rows.tables(self.raw.get("sensor"), "sensor", MOST_SENSORS), start=1):
            path = f"sensor {number}"
            self.rows.keys(table, {"id", "place", "teeth", "note"}, path)
            name = self.rows.text(table, "id", path, most=40)
            place = cast(Place, self.rows.word(table, "place", path, PLACES))
            found.append(Sensor(name, place, self.rows.value(table, "teeth", "teeth", f"sensor.{name or number}")))
        return tuple(found)

    def lines(self, gears: Sequence[Geared]) -> tuple[ShiftLine, ...]:
        names, found = [each.name for each in gears], []
        for number, table in enumerate(self.rows.tables(self.raw.get("shift"), "shift", MOST_LINES), start=1):
            path = f"shift {number}"
            self.rows.keys(table, {"from", "to", "load", "engine", "output", "road", "note"}, path)
            before, after = self.rows.text(table, "from", path), self.rows.text(table, "to", path)
            for key, name in (("from", before), ("to", after)):
                if name and name not in names:
                    near = nearest(name, tuple(names))
                    hint = f'Did you mean "{near}"?' if near else f"There are {', '.join(names)}."
                    self.rows.fault(f"{path}.{key}", f'there is no gear "{name[:20]}". {hint}')
            if before in names and after in names and abs(names.index(before) - names.index(after)) != 1:
                self.rows.fault(path, "from and to must be neighbours; write a skip shift as its single steps.")
            given = [key for key in ("engine", "output", "road") if key in table]
            if len(given) != 1:
                self.rows.fault(path, "it needs exactly one of engine, output, road.")
                continue
            at = self.rows.value(table, given[0], "speed" if given[0] == "road" else "rpm", path)
            load = self.rows.text(table, "load", path, "any load", most=40)
            found.append(ShiftLine(number, before, after, load, given[0], at))
        return tuple(found)

    def borrowed(self, gears: Sequence[Geared]) -> tuple[Borrowed, ...]:
        rows, found, seen = self.rows, [], set[str]()
        for number, table in enumerate(rows.tables(self.raw.get("borrowed"), "borrowed", MOST_BORROWED), start=1):
            name = rows.text(table, "id", f"borrowed {number}", most=40)
            path = f"borrowed.{name or number}"
            rows.keys(table, _BORROWED, path)
            if name in seen:
                rows.fault(path, "this id stands twice.")
            seen.add(name)
            keyed = rows.word(table, "keyed_by", path, ("road speed", "output speed"))
            unit = rows.word(table, "unit", path, ("km/h", "mph", "m/s") if keyed == "road speed" else ("rpm",))
            holds = rows.word(table, "holds", path, ("shift speeds", "gears", "other"))
            tyre = axle = transfer = None
            if keyed == "road speed":
                tyre = self.tyre(rows.table(table.get("tyre"), f"{path}.tyre"), f"{path}.tyre", "none")
                axle = rows.value(table, "axle", "ratio", path)
                transfer = rows.value(table, "transfer", "ratio", path)
            listed = self.donor_gears(table.get("gears"), len(gears), path)
            file = rows.text(table, "file", path, most=200)
            found.append(
                Borrowed(
                    name, file, cast(Any, keyed), unit, cast(Any, holds), tyre, axle, transfer, listed,
                    str(table.get("note", ""))[:400],
                )
            )  # fmt: skip
        return tuple(found)

    def donor_gears(self, raw: object, most: int, path: str) -> tuple[Value, ...] | None:
        if raw == "same":
            return None
        if not isinstance(raw, list) or not 1 <= len(raw) <= most:
            self.rows.fault(
                f"{path}.gears", 'write "same" if it is the same gearbox, or the donor\'s ratios from its lowest gear '
                f'on, as in ["3.59", "2.19"]; at most {most}, as many as this truck has.',
            )  # fmt: skip
            return None
        return tuple(
            self.rows.value({"ratio": each}, "ratio", "ratio", f"{path}.gears[{at}]") for at, each in enumerate(raw, 1)
        )

    def answers(self) -> dict[str, Answer]:
        raw = self.raw.get("settings")
        if raw is None:
            return {}
        table, found = self.rows.table(raw, "settings"), {}
        self.rows.keys(table, set(ANSWERS), "settings")
        for key in ANSWERS:
            entry = table.get(key)
            if entry is None or entry == "":
                continue
            inner: dict[str, object] = entry if isinstance(entry, dict) else {"value": entry}
            self.rows.keys(inner, {"value", "basis", "note"}, f"settings.{key}")
            text = self.rows.text(inner, "value", f"settings.{key}", most=200)
            basis = self.rows.word(inner, "basis", f"settings.{key}", BASES, "assumed")
            found[key] = Answer(text, cast(Any, basis), str(inner.get("note", ""))[:400])
        return found
