"""What to measure first: the number whose error would overturn a check of the driveline soonest.

Answers: which number that nobody measured or published for this truck, moved by the least share of its usual error,
         changes the verdict of a check; which check, and by how much it must move?
Units:   shares of the number [1].
Touches: nothing.
How:     each number is moved alone, with its whole range, up and down in steps of its usual error, and all sums are
         made again. Where no verdict changes up to the whole usual error, the number of the weakest basis is named,
         and of those the one with the widest range.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

from pinproof.design.model import BASES, Truck, Value
from pinproof.design.model_drive import Drive
from pinproof.driveline.results import Check, DriveSums
from pinproof.driveline.sums import drive_sums
from pinproof.driveline.tyre import rolled
from pinproof.verdict.doubt import USUAL_ERROR

SHARES = (0.05, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0)
"""Steps in which a number is moved, as shares of its usual error."""


@dataclass(frozen=True)
class MeasureFirst:
    """A number to measure. `moved` is how far off it must be until `check` changes; None: no check hangs on it."""

    value: Value
    moved: float | None = None  # share of the number, signed
    check: Check | None = None  # as it stands now

    @property
    def text(self) -> str:
        """Path, number and basis, and what hangs on it."""
        told = f"{self.value.path} ({self.value.text}, {self.value.basis})"
        if self.moved is None or self.check is None:
            return told
        way = "greater" if self.moved > 0.0 else "smaller"
        return f"{told}: {abs(self.moved) * 100.0:.2g} % {way} changes {self.check.check}, {self.check.subject}"


def measure_first(truck: Truck, sums: DriveSums) -> MeasureFirst | None:
    """The number to measure first; None if every number was measured or published for this truck.

    Parameters
    ----------
    truck : Truck
        With the driveline that the sums were made from.
    sums : DriveSums
        From `drive_sums`.
    """
    drive = truck.drive
    if drive is None or not sums.rests_on:
        return None
    shares = list(SHARES)
    found: MeasureFirst | None = None
    for value in sorted(sums.rests_on, key=_rank, reverse=True):
        hit = _soonest(truck, drive, sums, value, shares)
        if hit is not None:
            share, found = hit
            shares = [each for each in shares if each < share]
    return found or MeasureFirst(max(sums.rests_on, key=_rank))


def _rank(value: Value) -> tuple[int, float]:
    return BASES.index(value.basis), (value.high - value.low) / (abs(value.value) or 1.0)


def _soonest(
    truck: Truck, drive: Drive, sums: DriveSums, value: Value, shares: list[float]
) -> tuple[float, MeasureFirst] | None:
    """Least share of the usual error, of those asked, that changes a check."""
    for share in shares:
        for sign in (1.0, -1.0):
            off = sign * share * USUAL_ERROR[value.basis]
            after = drive_sums(replace(truck, drive=_moved_drive(drive, value, 1.0 + off)))
            for old, new in zip(sums.checks, after.checks, strict=False):
                if (old.check, old.subject) == (new.check, new.subject) and old.verdict is not new.verdict:
                    return share, MeasureFirst(value, off, old)
    return None


def _moved_drive(drive: Drive, value: Value, by: float) -> Drive:
    """The driveline with one number and its range multiplied."""
    tyre = drive.tyre
    if tyre.size and tyre.factor is None and value.path == rolled(tyre).parts[0].path:
        return replace(drive, tyre=replace(tyre, factor=_times(value, by)))
    moved: Drive = _moved(drive, value, by)
    return moved


def _moved(node: Any, value: Value, by: float) -> Any:
    if isinstance(node, Value):
        return _times(node, by) if node.path == value.path else node
    if isinstance(node, tuple):
        return tuple(_moved(each, value, by) for each in node)
    if is_dataclass(node) and not isinstance(node, type):
        changed = {each.name: _moved(getattr(node, each.name), value, by) for each in fields(node)}
        return replace(node, **changed)
    return node


def _times(value: Value, by: float) -> Value:
    return replace(value, value=value.value * by, low=value.low * by, high=value.high * by)
