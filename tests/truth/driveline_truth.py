"""The driveline again, from the textbook, in exact fractions: how fast, how far it drops, how fast it may go down.

Answers: what an engine must find for the [drive] of a design file; each range is the least and the most over every
         corner of every number that may stray. No bound is taken by a rule about signs: all corners are put in.
Units:   inside: metres, seconds, revolutions per minute, all `fractions.Fraction`.
Touches: nothing of the product. The design file is read as TOML text, numbers by `quantity` below.
Written: without sight of the engine, its page or the first checker (`driveline_check.py`); mended where the comparison
         showed it wrong (`held`, `gain`), see docs/validation.md.
Sources: v = n/60 · C / (gear · axle · transfer), textbook kinematics; the inch, mile, foot and standard gravity as
         defined (0.0254 m, 1609.344 m, 0.3048 m, 9.80665 m/s²). Sizes by their own definition: overall diameter in
         inches, or rim + 2 · width · aspect.

Where the file leaves the meaning open, the readings are named in `OPEN`; the comparison says which it takes.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import product

OPEN = {
    "wear": "wear and growth multiply, C·(1 + growth)·(1 − wear); or they add, C·(1 + growth − wear)",
    "drop": "engine speed after a shift: turbine to turbine (locked); or with any slip before and any slip after",
    "limit": "after a downshift the engine turns as the turbine; or turbine ÷ (1 − slip); or the greater of both",
    "guard": "limit·(1 − margin) − acceleration·latency; or (limit − acceleration·latency)·(1 − margin)",
    "braking": "a negative acceleration allows a higher speed; or it earns nothing, since nobody can count on it",
    "donor gears": "a donor with other gears: the output speed is kept; or the engine speed in the lower of both gears",
    "fail": "a bad corner already fails; or only when every corner is bad, and a bad corner is not shown",
    "unlimited": "without a known limiter an upshift line is not shown; or judged against the engine's most",
}
METRE = {
    "m": Fraction(1),
    "mm": Fraction(1, 1000),
    "cm": Fraction(1, 100),
    "in": Fraction(254, 10000),
    "ft": Fraction(3048, 10000),
}
MILE = Fraction(1609344, 1000)
UNIT: dict[str, Fraction] = {
    "": Fraction(1),
    ":1": Fraction(1),
    "%": Fraction(1, 100),
    "rpm": Fraction(1),
    "rpm/s": Fraction(1),
    "s": Fraction(1),
    "ms": Fraction(1, 1000),
    "m/s": Fraction(1),
    "km/h": Fraction(10, 36),
    "mph": MILE / 3600,
    "m/s2": Fraction(1),
    "ft/s2": Fraction(3048, 10000),
    "g": Fraction(980665, 100000),
    "rev/km": Fraction(1, 1000),
    "rev/mile": 1 / MILE,
    **METRE,
}
NUMBER = re.compile(r"^\s*([+-]?\d+(?:\.\d*)?|[+-]?\.\d+)\s*(.*?)\s*$")


@dataclass(frozen=True)
class Box:
    """One number that may stray: its least, its nominal and its most."""

    low: Fraction
    value: Fraction
    high: Fraction

    def ends(self) -> tuple[Fraction, ...]:
        """The corners of this number: one if it is exact."""
        return (self.low,) if self.low == self.high else (self.low, self.high)


@dataclass(frozen=True)
class Span:
    """What came out: the least and the most over all corners, and the value with every number at its nominal."""

    low: Fraction
    value: Fraction
    high: Fraction


def exact(number: Fraction | int) -> Box:
    """A number without tolerance."""
    number = Fraction(number)
    return Box(number, number, number)


def one(text: str) -> Fraction:
    """One number with its unit, in the units of this module."""
    found = NUMBER.match(text)
    if not found:
        raise ValueError(f"no number in {text!r}")
    return Fraction(found[1]) * UNIT[found[2]]


def quantity(entry: object) -> Box:
    """A quantity of the file: text, "a to b", or a table of low, value, high, tolerance."""
    if isinstance(entry, str):
        if entry == "none":
            return exact(0)
        halves = entry.split(" to ")
        if len(halves) == 2:
            low, high = one(halves[0]), one(halves[1])
            return Box(low, (low + high) / 2, high)
        return exact(one(entry))
    assert isinstance(entry, dict), entry
    if "low" in entry or "high" in entry:
        low, high = one(entry["low"]), one(entry["high"])
        return Box(low, one(entry["value"]) if "value" in entry else (low + high) / 2, high)
    inner = quantity(entry["value"])
    if "tolerance" not in entry:
        return inner
    part = abs(one(entry["tolerance"]) * inner.value)
    return Box(inner.value - part, inner.value, inner.value + part)


def span(sum_of: Callable[..., Fraction], **boxes: Box) -> Span:
    """`sum_of` at every corner of `boxes`."""
    names = list(boxes)
    found = [sum_of(**dict(zip(names, corner, strict=True))) for corner in product(*(boxes[n].ends() for n in names))]
    return Span(min(found), sum_of(**{n: boxes[n].value for n in names}), max(found))


LOCKED = exact(0)


def as_box(of: Span) -> Box:
    """A result as a number that strays by itself; only where nothing it rests on is used a second time."""
    return Box(of.low, of.value, of.high)


def size_diameter_m(text: str) -> Fraction:
    """Overall diameter from the text on the wall: 37x12.50R17, or 315/75R16."""
    inch = METRE["in"]
    flotation = re.match(
        r"^\s*(?:LT|P)?\s*(\d+(?:\.\d+)?)\s*[xX×]\s*(\d+(?:\.\d+)?)\s*(?:-|Z?R)\s*(\d+(?:\.\d+)?)", text, re.I
    )
    if flotation:
        return Fraction(flotation[1]) * inch
    metric = re.match(r"^\s*(?:LT|P)?\s*(\d+)\s*/\s*(\d+)\s*(?:-|Z?R)\s*(\d+(?:\.\d+)?)", text, re.I)
    if metric:
        return Fraction(metric[3]) * inch + 2 * Fraction(metric[1]) / 1000 * Fraction(metric[2]) / 100
    raise ValueError(text)


def circumference_new(tyre: Mapping[str, object]) -> Box:
    """Way of one turn, as stated, before growth and wear [m]."""
    if "roll_out" in tyre:
        way, turns = quantity(tyre["roll_out"]), quantity(tyre["turns"])
        return as_box(span(lambda way, turns: way / turns, way=way, turns=turns))
    if "revolutions" in tyre:
        return as_box(span(lambda rate: 1 / rate, rate=quantity(tyre["revolutions"])))
    wide = size_diameter_m(str(tyre["size"]))
    return as_box(span(lambda factor: factor * wide, factor=quantity(tyre.get("factor", "2.95 to 3.15"))))


def circumference(tyre: Mapping[str, object], adding: bool = False) -> Box:
    """Rolling circumference at speed and worn [m]."""
    boxes = {
        "new": circumference_new(tyre),
        "growth": quantity(tyre.get("growth", "none")),
        "wear": quantity(tyre.get("wear", "none")),
    }

    def rolled(new: Fraction, growth: Fraction, wear: Fraction) -> Fraction:
        return new * (1 + growth - wear) if adding else new * (1 + growth) * (1 - wear)

    return as_box(span(rolled, **boxes))


@dataclass(frozen=True)
class Line:
    """A speed at which the controller shifts by itself."""

    before: int
    after: int
    load: str | None
    kind: str
    speed: Box

    @property
    def up(self) -> bool:
        """Is it an upshift?"""
        return self.after > self.before


@dataclass(frozen=True)
class Donor:
    """What a borrowed table came from."""

    name: str
    file: str
    keyed_by: str
    unit: str
    holds: str
    gears: tuple[Box, ...] | None
    circumference: Box | None
    axle: Box | None
    transfer: Box | None


@dataclass(frozen=True)
class Drive:
    """The [drive] of one design file, read."""

    circumference: Box
    axle: Box
    ranges: dict[str, Box]
    way: dict[str, Box]  # metres of road for one turn of the output, by range
    gears: dict[str, Box]
    climb: dict[str, Box]
    slip: Box
    most: Box
    limiter: Box | None
    least: Box | None
    upshift_time: Box | None
    lead: Box | None
    margin: Box
    latency: Box
    acceleration: Box
    gain: Box  # acceleration · latency [m/s], braking earns nothing
    sensors: dict[str, tuple[str, Box]]
    lines: tuple[Line, ...]
    donors: tuple[Donor, ...]
    text: dict[str, object] = field(repr=False, compare=False, default_factory=dict)

    @property
    def names(self) -> list[str]:
        """The gears' names, lowest first."""
        return list(self.gears)


def read(text: str) -> Drive:
    """The [drive] tables of a design file's text."""
    drive = tomllib.loads(text)["drive"]
    engine, guard = drive["engine"], drive["guard"]
    names = [g["name"] for g in drive["gear"]]

    def line(entry: Mapping[str, object]) -> Line:
        kind = next(k for k in ("engine", "output", "road") if k in entry)
        load = entry.get("load")
        return Line(
            names.index(entry["from"]),
            names.index(entry["to"]),
            None if load is None else str(load),
            kind,
            quantity(entry[kind]),
        )

    def donor(entry: Mapping[str, object]) -> Donor:
        gears = entry["gears"]
        return Donor(
            str(entry["id"]),
            str(entry["file"]),
            str(entry["keyed_by"]),
            str(entry["unit"]),
            str(entry["holds"]),
            None if gears == "same" else tuple(quantity(g) for g in gears),  # type: ignore[attr-defined]
            circumference(entry["tyre"]) if "tyre" in entry else None,  # type: ignore[arg-type]
            quantity(entry["axle"]) if "axle" in entry else None,
            quantity(entry["transfer"]) if "transfer" in entry else None,
        )

    def maybe(key: str) -> Box | None:
        return quantity(engine[key]) if engine.get(key, "unknown") not in ("unknown", "none") else None

    rolling, axle = circumference(drive["tyre"]), quantity(drive["axle"]["ratio"])
    ranges = {x["name"]: quantity(x["ratio"]) for x in drive["transfer"]}
    latency, acceleration = quantity(guard["latency"]), quantity(guard["acceleration"])
    return Drive(
        circumference=rolling,
        axle=axle,
        ranges=ranges,
        way={r: as_box(span(lambda c, a, t: c / (a * t), c=rolling, a=axle, t=t)) for r, t in ranges.items()},
        gears={g["name"]: quantity(g["ratio"]) for g in drive["gear"]},
        climb={g["name"]: quantity(g["climb"]) for g in drive["gear"] if "climb" in g},
        slip=quantity(drive["converter"]["slip"]),
        most=quantity(engine["most"]),
        limiter=maybe("limiter"),
        least=maybe("least"),
        upshift_time=maybe("upshift_time"),
        lead=maybe("lead"),
        margin=quantity(guard["margin"]),
        latency=latency,
        acceleration=acceleration,
        gain=as_box(span(lambda a, late: max(a, Fraction(0)) * late, a=acceleration, late=latency)),
        sensors={s["id"]: (s["place"], quantity(s["teeth"])) for s in drive.get("sensor", ())},
        lines=tuple(line(s) for s in drive.get("shift", ())),
        donors=tuple(donor(b) for b in drive.get("borrowed", ())),
        text=drive,
    )


# --- speeds ---------------------------------------------------------------------------------------------------------


def road_at_engine(d: Drive, rng: str, gear: str, engine: Box, slip: Box | None = None) -> Span:
    """Road speed in m/s while the engine turns at `engine` rpm; `slip` is the converter's unless given."""

    def speed(n: Fraction, w: Fraction, i: Fraction, s: Fraction) -> Fraction:
        return n * (1 - s) / i * w / 60

    return span(speed, n=engine, w=d.way[rng], i=d.gears[gear], s=d.slip if slip is None else slip)


def engine_at_road(d: Drive, rng: str, gear: str, road: Box, slip: Box | None = None) -> Span:
    """Engine rpm at a road speed in m/s; `slip` is the converter's unless given."""

    def speed(v: Fraction, w: Fraction, i: Fraction, s: Fraction) -> Fraction:
        return v * 60 / w * i / (1 - s)

    return span(speed, v=road, w=d.way[rng], i=d.gears[gear], s=d.slip if slip is None else slip)


def road_per_output(d: Drive, rng: str, output: Box) -> Span:
    """Road speed in m/s while the gearbox's output turns at `output` rpm."""
    return span(lambda n, w: n * w / 60, n=output, w=d.way[rng])


def after_shift(d: Drive, before: str, after: str, engine: Box, slips: str = "locked") -> Span:
    """Engine rpm after a shift at `engine` rpm, road speed unchanged. `slips`: "locked", or "any" before and after."""
    free = d.slip if slips == "any" else exact(0)

    def landed(n: Fraction, i: Fraction, j: Fraction, s: Fraction, z: Fraction) -> Fraction:
        return n * (1 - s) * j / i / (1 - z)

    if before == after:
        return span(lambda n: n, n=engine)
    return span(landed, n=engine, i=d.gears[before], j=d.gears[after], s=free, z=free)


def drop(d: Drive, before: str, after: str, engine: Box) -> Span:
    """By how much the engine's speed falls in a shift at `engine` rpm; any slip before, any after."""

    def fallen(n: Fraction, i: Fraction, j: Fraction, s: Fraction, z: Fraction) -> Fraction:
        return n - n * (1 - s) * j / i / (1 - z)

    return span(fallen, n=engine, i=d.gears[before], j=d.gears[after], s=d.slip, z=d.slip)


def step(d: Drive, before: str, after: str) -> Span:
    """Ratio step: what the engine's speed is divided by in the shift."""
    return span(lambda i, j: i / j, i=d.gears[before], j=d.gears[after])


# --- downshifts -----------------------------------------------------------------------------------------------------


def held(d: Drive, reading: str = "lock") -> Box:
    """Slip that counts after a downshift. "lock": as stated, but a locked converter (none) can always happen, so that a
    turbine quicker than the engine never helps; "locked": none at all; "stated": as stated."""
    if reading == "locked":
        return LOCKED
    if reading == "stated":
        return d.slip
    return Box(*(max(s, Fraction(0)) for s in (d.slip.low, d.slip.value, d.slip.high)))


def limit(d: Drive, rng: str, gear: str, reading: str = "lock") -> Span:
    """Road speed in m/s at which `gear` turns the engine at its most."""
    return road_at_engine(d, rng, gear, d.most, held(d, reading))


def permitted(d: Drive, rng: str, gear: str, reading: str = "lock", time_first: bool = False) -> Span:
    """Road speed in m/s up to which a shift into `gear` may be asked for: the limit less the margin and the gain."""

    def safe(n, w, i, s, m, gain):  # type: ignore[no-untyped-def]
        top = n * (1 - s) / i * w / 60
        return (top - gain) * (1 - m) if time_first else top * (1 - m) - gain

    return span(safe, n=d.most, w=d.way[rng], i=d.gears[gear], s=held(d, reading), m=d.margin, gain=d.gain)


def permitted_output(d: Drive, rng: str, gear: str, reading: str = "lock") -> Span:
    """The same as rpm of the output shaft, which tyre and axle enter only through the gain."""

    def safe(n, w, i, s, m, gain):  # type: ignore[no-untyped-def]
        return n * (1 - s) / i * (1 - m) - gain * 60 / w

    return span(safe, n=d.most, w=d.way[rng], i=d.gears[gear], s=held(d, reading), m=d.margin, gain=d.gain)


def reach(d: Drive, rng: str, gear: str) -> Span | None:
    """Road speed in m/s at which the limiter holds the engine in `gear`; None while the limiter is not known."""
    return None if d.limiter is None else road_at_engine(d, rng, gear, d.limiter)


# --- upshifts -------------------------------------------------------------------------------------------------------


def latest_command(d: Drive, gear: str) -> Span | None:
    """Engine rpm at which an upshift out of `gear` must be commanded to keep the engine off the limiter."""
    if d.limiter is None or gear not in d.climb or d.upshift_time is None:
        return None
    return span(lambda top, rate, time: top - rate * time, top=d.limiter, rate=d.climb[gear], time=d.upshift_time)


def lead_needed(d: Drive, gear: str) -> Span | None:
    """How far below the limiter that is [rpm]."""
    if gear not in d.climb or d.upshift_time is None:
        return None
    return span(lambda rate, time: rate * time, rate=d.climb[gear], time=d.upshift_time)


# --- lines at which the controller shifts by itself -----------------------------------------------------------------


def boxes_of(d: Drive, rng: str) -> dict[str, Box]:
    """All that a line can rest on in one range."""
    return {"w": d.way[rng], "s": d.slip}


def output_of(kind: str, speed: Fraction, gear: Fraction, at: Mapping[str, Fraction]) -> Fraction:
    """A line's speed as rpm of the output shaft, at one corner."""
    if kind == "engine":
        return speed * (1 - at["s"]) / gear
    return speed if kind == "output" else speed * 60 / at["w"]


def line_output(d: Drive, rng: str, line: Line) -> Span:
    """The line's place as rpm of the output shaft."""
    gear = d.gears[d.names[line.before]]
    return span(lambda x, i, **at: output_of(line.kind, x, i, at), x=line.speed, i=gear, **boxes_of(d, rng))


def line_road(d: Drive, rng: str, line: Line) -> Span:
    """The line's place as road speed [m/s]; a line given as road speed is exactly that."""
    if line.kind == "road":
        return span(lambda x: x, x=line.speed)
    gear = d.gears[d.names[line.before]]
    return span(
        lambda x, i, **at: output_of(line.kind, x, i, at) * at["w"] / 60,
        x=line.speed,
        i=gear,
        **boxes_of(d, rng),
    )


def line_engine(d: Drive, rng: str, line: Line, after: bool = False) -> Span:
    """Engine rpm on the line in the gear before the shift, or after it; any slip in between."""
    i = d.gears[d.names[line.before]]
    j = d.gears[d.names[line.after]]
    if not after and line.kind == "engine":
        return span(lambda x: x, x=line.speed)
    if not after:
        return span(
            lambda x, i, **at: output_of(line.kind, x, i, at) * i / (1 - at["s"]), x=line.speed, i=i, **boxes_of(d, rng)
        )
    return span(
        lambda x, i, j, z, **at: output_of(line.kind, x, i, at) * j / (1 - z),
        x=line.speed,
        i=i,
        j=j,
        z=d.slip,
        **boxes_of(d, rng),
    )


def separation(d: Drive, rng: str, up: Line, down: Line, same_slip: bool = False) -> Span:
    """1 − down ÷ up, both as output speed; what both rest on is the same number at each corner, except slip."""
    gears = d.names
    boxes = boxes_of(d, rng) | {
        "x": up.speed,
        "y": down.speed,
        "i": d.gears[gears[up.before]],
        "j": d.gears[gears[down.before]],
        "z": d.slip,
    }

    def apart(x, y, i, j, z, **at):  # type: ignore[no-untyped-def]
        other = at if same_slip else {**at, "s": z}
        return 1 - output_of(down.kind, y, j, other) / output_of(up.kind, x, i, at)

    if up.kind != "engine" and down.kind != "engine":
        boxes = {k: b for k, b in boxes.items() if k != "z"} | {"z": exact(0), "s": exact(0)}
    return span(apart, **boxes)


def down_room(d: Drive, rng: str, line: Line) -> Span:
    """Engine rpm that are left below what is permitted after a downshift on this line; below zero is unsafe.

    All numbers at one corner together: one tyre, one ratio, one slip on both sides. Before the shift a line in engine
    speed slips by `s`, after it the engine turns as turbine ÷ (1 − z), or as the turbine if that is more.
    """
    i, j = d.gears[d.names[line.before]], d.gears[d.names[line.after]]

    def room(x, i, j, z, n, m, gain, **at):  # type: ignore[no-untyped-def]
        out = output_of(line.kind, x, i, at)
        safe = n * (1 - z) / j * (1 - m) - gain * 60 / at["w"]
        return (safe - out) * j / (1 - z)

    return span(room, x=line.speed, i=i, j=j, z=held(d), n=d.most, m=d.margin, gain=d.gain, **boxes_of(d, rng))


def line_spare(d: Drive, rng: str, line: Line) -> Span | None:
    """Engine rpm left below the limiter when an upshift commanded on this line takes hold."""
    gear = d.names[line.before]
    if d.limiter is None or gear not in d.climb or d.upshift_time is None:
        return None

    def spare(x, i, top, rate, time, **at):  # type: ignore[no-untyped-def]
        engine = x if line.kind == "engine" else output_of(line.kind, x, i, at) * i / (1 - at["s"])
        return top - engine - rate * time

    boxes = {"top": d.limiter, "rate": d.climb[gear], "time": d.upshift_time}
    return span(spare, x=line.speed, i=d.gears[gear], **boxes, **boxes_of(d, rng))


# --- sensors --------------------------------------------------------------------------------------------------------


def pulses_per_metre(d: Drive, rng: str, sensor: str, gear: str | None = None) -> Span:
    """Pulses of a speed sensor for one metre of road; the turbine's need a gear."""
    place, teeth = d.sensors[sensor]
    turns = {"wheel": 0, "propshaft": 1, "output": 2, "turbine": 3}[place]
    ratios = [d.axle, d.ranges[rng], d.gears[gear] if gear is not None else exact(1)][:turns]

    def rate(n: Fraction, c: Fraction, **through: Fraction) -> Fraction:
        made = n / c
        for each in through.values():
            made *= each
        return made

    return span(rate, n=teeth, c=d.circumference, **{f"r{k}": r for k, r in enumerate(ratios)})


# --- borrowed tables ------------------------------------------------------------------------------------------------


def donor_output(donor: Donor, cell: Fraction) -> Span:
    """The donor's output rpm where its table says `cell` in its own unit."""
    speed = cell * UNIT[donor.unit]
    if donor.keyed_by == "output speed":
        return Span(speed, speed, speed)
    assert donor.circumference is not None and donor.axle is not None and donor.transfer is not None
    return span(lambda c, a, t: speed * 60 / c * a * t, c=donor.circumference, a=donor.axle, t=donor.transfer)


def own_output(d: Drive, donor: Donor, cell: Fraction, gear: int | None, keep_engine: bool) -> Span:
    """The output rpm on this truck: the donor's, or where the engine turns as the donor's did in gear `gear`."""
    there = donor_output(donor, cell)
    if donor.gears is None or not keep_engine or gear is None:
        return there
    return span(lambda n, k, i: n * k / i, n=as_box(there), k=donor.gears[gear], i=d.gears[d.names[gear]])


def own_cell(d: Drive, rng: str, donor: Donor, cell: Fraction, gear: int | None, keep_engine: bool) -> Span:
    """The cell in the donor's own kind of speed and unit, for this truck in `rng`."""
    out = own_output(d, donor, cell, gear, keep_engine)
    if donor.keyed_by == "output speed":
        return out
    there = road_per_output(d, rng, as_box(out))
    return Span(there.low / UNIT[donor.unit], there.value / UNIT[donor.unit], there.high / UNIT[donor.unit])
