"""The space an input reads in: volts at its pin, or those volts divided by a supply.

Answers: what is a reading divided by, what is full scale, how is it called.
Units:   ratio [1] or volts.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pinproof.design.model import Input, Truck

SpaceName = Literal["reference", "battery", "volts"]


@dataclass(frozen=True)
class ReadingSpace:
    """One way an input may read. `divisor` is the id of the cause it divides by, None for plain volts."""

    name: SpaceName
    divisor: str | None
    divisor_nominal_v: float  # 1.0 for plain volts
    full_scale: float
    unit: str  # "1" or "V"

    @property
    def words(self) -> str:
        """For a reader: what the number is."""
        return {
            "reference": "share of the reference",
            "battery": "share of the battery voltage",
            "volts": "volts at the pin",
        }[self.name]

    def clip(self, reading: float) -> float:
        """A controller cannot read below zero or above full scale."""
        return min(max(reading, 0.0), self.full_scale)


def spaces_of(truck: Truck, owner: Input) -> tuple[ReadingSpace, ...]:
    """The spaces to prove an input in: one, or two where nobody knows whether it divides by the battery."""
    names: tuple[SpaceName, ...] = ("battery", "volts") if owner.compares == "unknown" else (owner.compares,)
    return tuple(_space(truck, owner, name) for name in names)


def _space(truck: Truck, owner: Input, name: SpaceName) -> ReadingSpace:
    if name == "reference":
        assert owner.reference is not None
        return ReadingSpace(name, owner.reference.path, owner.reference.value, 1.0, "1")
    if name == "battery":
        return ReadingSpace(name, "supply", truck.supply.run.value, 1.0, "1")
    assert owner.full_scale is not None
    return ReadingSpace(name, None, 1.0, owner.full_scale.value, "V")
