"""What a design file states about the driveline: frozen dataclasses.

Answers: what was stated. A field has the name of its key; `None` is the file's "none" or "unknown", or what was left
         out.
Units:   a `Value` carries its dimension; rotation in rpm, climbs in rpm/s, revolutions in 1/m, the rest SI.
Touches: nothing.
Beside:  `model` has the rest of the truck; docs/driveline.md tells what is computed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pinproof.design.model import Basis, Value

Given = Literal["engine", "output", "road"]
SensorPlace = Literal["turbine", "output", "propshaft", "wheel"]


@dataclass(frozen=True)
class Tyre:
    """A tyre as described: exactly one of `roll_out` with `turns`, `revolutions`, `size`."""

    path: str
    roll_out: Value | None = None  # [m]
    turns: Value | None = None
    revolutions: Value | None = None  # [1/m]
    size: str = ""
    factor: Value | None = None
    growth: Value | None = None
    wear: Value | None = None


@dataclass(frozen=True)
class Geared:
    """A gear, or a range of the transfer case."""

    name: str
    ratio: Value
    climb: Value | None = None  # [rpm/s]; of a gear, at full throttle


@dataclass(frozen=True)
class ShiftLine:
    """Where the controller shifts by itself. `at` is in rpm, or in m/s where `given` is "road"."""

    number: int  # in the file, from 1
    before: str
    after: str
    load: str
    given: Given
    at: Value


@dataclass(frozen=True)
class Sensor:
    """A speed sensor and its wheel of teeth."""

    id: str
    place: SensorPlace
    teeth: Value


@dataclass(frozen=True)
class Borrowed:
    """A table from another truck, with what that truck has."""

    id: str
    file: str  # as written, relative to the design file
    keyed_by: Literal["road speed", "output speed"]
    unit: str
    holds: Literal["shift speeds", "gears", "other"]
    tyre: Tyre | None  # None where the key is output speed: it does not matter there
    axle: Value | None
    transfer: Value | None
    gears: tuple[Value, ...] | None  # None: the same gearbox
    note: str = ""


@dataclass(frozen=True)
class Answer:
    """What the owner wrote in [drive.settings]."""

    text: str
    basis: Basis
    note: str = ""


@dataclass(frozen=True)
class DriveLog:
    """What the controller was told, for judging a log. None: not written; `none` where "none" was."""

    lever: tuple[tuple[str, str], ...] = ()  # detent to what the lever reports there
    lever_manual: tuple[str, ...] = ()  # what it reports in manual
    tap_to_command: Value | None = None  # [s]
    tap_to_ratio: Value | None = None  # [s]
    answer: Value | None = None  # [s]
    held_request: Value | Literal["none"] | None = None  # [s]
    at_limiter: Literal["hold", "shift up"] | None = None
    forced_down_below: Value | None = None  # [rpm]
    cold_below: Value | Literal["none"] | None = None  # [°C]
    auto_repeat: Literal["off", "on"] | None = None
    lowest_gear: str | None = None
    highest_gear: str | None = None
    note: str = ""


@dataclass(frozen=True)
class Drive:
    """One driveline."""

    units: Literal["metric", "us"]
    tyre: Tyre
    axle: Value
    transfers: tuple[Geared, ...]
    gears: tuple[Geared, ...]  # the lowest first: the ratios fall
    slip: Value | None  # None: nothing slips
    most_rpm: Value
    limiter_rpm: Value | None  # None: unknown
    margin: Value
    latency_s: Value
    acceleration_m_per_s2: Value
    least_rpm: Value | None = None
    upshift_time_s: Value | None = None
    lead_rpm: Value | None = None
    shifts_at_limiter: bool | None = None  # False: lead = "none"; None: nothing is written
    sensors: tuple[Sensor, ...] = ()
    lines: tuple[ShiftLine, ...] = ()
    borrowed: tuple[Borrowed, ...] = ()
    answers: tuple[tuple[str, Answer], ...] = ()
    log: DriveLog | None = None
    note: str = ""

    def gear(self, name: str) -> Geared:
        """A gear by name; KeyError if there is none."""
        for each in self.gears:
            if each.name == name:
                return each
        raise KeyError(name)

    def place_of(self, name: str) -> int:
        """Where a gear stands, 0 for the lowest; KeyError if there is none."""
        return self.gears.index(self.gear(name))

    @property
    def lowest_gear(self) -> str:
        """Lowest gear in manual."""
        return (self.log.lowest_gear if self.log is not None else None) or self.gears[0].name

    @property
    def highest_gear(self) -> str:
        """Highest gear in manual."""
        return (self.log.highest_gear if self.log is not None else None) or self.gears[-1].name

    @property
    def numbers(self) -> Iterator[Value]:
        """Every number of this truck that the sums rest on, in file order; the tyre's and the donors' apart."""
        yield self.axle
        yield from (each.ratio for each in (*self.transfers, *self.gears))
        single = (self.slip, self.most_rpm, self.limiter_rpm, self.least_rpm, self.upshift_time_s, self.lead_rpm)
        yield from (each for each in single if each is not None)
        yield from (each.climb for each in self.gears if each.climb is not None)
        yield from (self.margin, self.latency_s, self.acceleration_m_per_s2)
        yield from (each.teeth for each in self.sensors)
        yield from (each.at for each in self.lines)
