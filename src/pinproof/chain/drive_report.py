"""The driveline with its borrowed tables: everything that `pinproof gears` and its page say, from one call.

Answers: do speeds, shifts, lines and borrowed tables hold, what must the controller be told?
Touches: nothing; the texts of borrowed tables are handed in.
Beside:  `pinproof.driveline` works each part out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from pinproof.design.model import Truck
from pinproof.design.model_drive import Borrowed
from pinproof.driveline import (
    Check,
    Converted,
    DriveSums,
    Setting,
    as_json,
    convert,
    drive_of,
    drive_sums,
    settings_sheet,
    table_check,
)
from pinproof.verdict import Verdict


@dataclass(frozen=True)
class DriveReport:
    """`checks` are those of the sums and one for each borrowed table; `tables` by the table's id, one for each range of
    the transfer case."""

    sums: DriveSums
    checks: tuple[Check, ...]
    tables: dict[str, tuple[Converted, ...]]
    sheet: tuple[Setting, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst check."""
        return min((each.verdict for each in self.checks), key=lambda each: each.rank)

    def as_json(self) -> dict[str, Any]:
        """All of it as plain values."""
        several = tuple(each for one in self.tables.values() for each in one)
        return {
            **as_json(self.sums), "checks": as_json(self.checks), "verdict": str(self.verdict),
            "borrowed": as_json(several), "sheet": as_json(self.sheet),
        }  # fmt: skip


def drive_report(truck: Truck, read: Callable[[Borrowed], str], at_m_per_s: Sequence[float] = ()) -> DriveReport:
    """The whole of a truck with a driveline.

    Parameters
    ----------
    read : callable
        Gives the text of a borrowed table's CSV file.
    at_m_per_s : sequence of float
        Road speeds at which every gear's engine speed is wanted. [m/s]

    Raises
    ------
    DriveFault
        The file says nothing of a driveline, or a borrowed table cannot be read.
    """
    drive = drive_of(truck)
    sums = drive_sums(truck, at_m_per_s)
    tables = {each.id: convert(truck, each, read(each)) for each in drive.borrowed}
    checks = (*sums.checks, *(table_check(each) for several in tables.values() for each in several))
    return DriveReport(sums, checks, tables, settings_sheet(truck, sums))


def in_units(truck: Truck, units: Literal["metric", "us"]) -> Truck:
    """The same truck with its driveline told in these units."""
    if truck.drive is None or truck.drive.units == units:
        return truck
    return replace(truck, drive=replace(truck.drive, units=units))
