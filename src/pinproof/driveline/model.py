"""One driveline as its file describes it: frozen dataclasses, SI but for rpm.

Answers: what was stated, with which basis.
Units:   a `Value` carries its dimension in words; rpm for rotation.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from pinproof.design.model import Basis, Value
from pinproof.driveline.span import Span
from pinproof.driveline.tyre import Tyre

Given = Literal["engine", "output", "road"]
Place = Literal["turbine", "output", "propshaft", "wheel"]
PLACES: tuple[Place, ...] = ("turbine", "output", "propshaft", "wheel")


@dataclass(frozen=True)
class Geared:
    """A gear, or a range of the transfer case."""

    name: str
    ratio: Value


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
    place: Place
    teeth: Value


@dataclass(frozen=True)
class Borrowed:
    """A table from another truck, with what that truck has."""

    id: str
    file: str  # as written, relative to the driveline's file
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
    """What the owner wrote in [settings]."""

    text: str
    basis: Basis
    note: str = ""


@dataclass(frozen=True)
class Drive:
    """One driveline."""

    truck: str  # id of the design
    name: str
    units: Literal["metric", "us"]
    tyre: Tyre
    axle: Value
    transfers: tuple[Geared, ...]
    gears: tuple[Geared, ...]  # the lowest first: the ratios fall
    slip: Value | None  # None: nothing slips
    most_rpm: Value
    limiter_rpm: Value | None  # None: unknown
    least_rpm: Value | None
    margin: Value
    latency_s: Value
    acceleration_m_per_s2: Value
    sensors: tuple[Sensor, ...] = ()
    lines: tuple[ShiftLine, ...] = ()
    borrowed: tuple[Borrowed, ...] = ()
    answers: Mapping[str, Answer] | None = None
    folder: str = ""
    file: str = ""

    def gear(self, name: str) -> Geared:
        """A gear by name; KeyError if there is none."""
        for each in self.gears:
            if each.name == name:
                return each
        raise KeyError(name)

    def place_of(self, name: str) -> int:
        """Where a gear stands, 0 for the lowest; KeyError if there is none."""
        return self.gears.index(self.gear(name))

    def reduction(self, transfer: Geared) -> Span:
        """Output shaft to wheel."""
        return Span.of(transfer.ratio) * Span.of(self.axle)

    @property
    def numbers(self) -> tuple[Value, ...]:
        """Every number it rests on, in file order."""
        listed = [*self.tyre.parts, self.axle, *(each.ratio for each in (*self.transfers, *self.gears))]
        listed += [v for v in (self.slip, self.most_rpm, self.limiter_rpm, self.least_rpm) if v is not None]
        listed += [self.margin, self.latency_s, self.acceleration_m_per_s2]
        return (*listed, *(each.teeth for each in self.sensors), *(each.at for each in self.lines))
