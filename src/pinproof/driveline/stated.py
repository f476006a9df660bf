"""What a design file states of its driveline, ready to be reckoned with.

Answers: the driveline of a truck, how its wheel rolls, its reduction; what is said where there is none.
Units:   metres; ratios as plain numbers.
Touches: nothing.
"""

from __future__ import annotations

import os
from dataclasses import dataclass

from pinproof.design.model import Truck, Value
from pinproof.design.model_drive import Drive, Geared
from pinproof.driveline.span import Span
from pinproof.driveline.tyre import rolled
from pinproof.errors import PinproofError, printable


@dataclass
class DriveFault(PinproofError):
    """A design without a driveline, or everything wrong with a table that it names."""

    file: str
    faults: tuple[str, ...]

    def __str__(self) -> str:
        return "\n".join(printable(f"{self.file}  {said}") for said in self.faults)


def drive_of(truck: Truck) -> Drive:
    """The driveline of a truck; DriveFault if its file says nothing of one."""
    if truck.drive is None:
        name = os.path.basename(truck.source_path) or truck.id
        said = "It has no [drive] table. `pinproof gears FILE --begin` drafts one."
        raise DriveFault(name, (said,))
    return truck.drive


def around_m(drive: Drive) -> Span:
    """Rolling circumference with growth and wear. [m]"""
    return rolled(drive.tyre).rolling_m


def reduction_of(drive: Drive, transfer: Geared) -> Span:
    """Output shaft to wheel, in one range of the transfer case."""
    return Span.of(transfer.ratio) * Span.of(drive.axle)


def numbers(drive: Drive) -> tuple[Value, ...]:
    """Every number of this truck that the sums rest on."""
    return (*rolled(drive.tyre).parts, *drive.numbers)
