"""What the driveline sums give: frozen, and plain JSON.

Units:   `_rpm`, `_m_per_s`, `_m`; shares and ratios as plain numbers.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from pinproof.design.model import Value
from pinproof.driveline.span import Span
from pinproof.driveline.speeds import reachable
from pinproof.verdict import Verdict
from pinproof.verdict.plain import fields_of, plain

Kind = Literal["up", "down"]
Mark = Literal["keep", "unsafe", "pointless", "hunts", "not known"]


@dataclass(frozen=True)
class GearRow:
    """One gear in one range of the transfer case."""

    transfer: str
    gear: str
    ratio: Span
    overall: Span  # engine side to wheel
    per_1000_rpm_m_per_s: Span  # road speed at 1000 rpm of the turbine
    engine_rpm_at_1_m_per_s: Span  # slip included
    reach_m_per_s: Span | None  # at the limiter, slip included; None while the limiter is unknown
    most_m_per_s: Span  # at the engine's most, slip included


@dataclass(frozen=True)
class AtSpeed:
    """Engine speed at one road speed in one gear."""

    transfer: str
    gear: str
    speed_m_per_s: float
    output_rpm: Span
    turbine_rpm: Span
    engine_rpm: Span  # slip included


@dataclass(frozen=True)
class Step:
    """One upshift between neighbours: from `before_rpm` of the engine to `after_rpm`."""

    before: str
    after: str
    ratio: Span  # old ÷ new
    before_rpm: Span
    load: str  # of the line it is taken from; "" where it has none
    after_rpm: Span
    drop_rpm: tuple[float, float, float]  # least, nominal, greatest; below zero the slip outweighs it
    start: str  # what it begins from, in words: the line, the limiter, the engine's most


@dataclass(frozen=True)
class Downshift:
    """Highest speed for a shift down into a gear."""

    transfer: str
    gear: str
    limit_rpm: Span  # output shaft; `low` for every truck of the box
    limit_m_per_s: Span
    permitted_rpm: float  # output shaft; less margin and time. Zero: never
    permitted_m_per_s: float
    margin: float
    gained_m_per_s: float


@dataclass(frozen=True)
class Lead:
    """How early a gear's upshift must be commanded, at full throttle, so that the engine keeps off its limiter."""

    gear: str
    climb_rpm_per_s: Span
    gained_rpm: Span  # between the command and the moment when the engine stops climbing
    latest_rpm: float | None  # engine speed of the latest command, for every truck; None while the limiter is unknown


@dataclass(frozen=True)
class LineRow:
    """One line in one range of the transfer case, in all three speeds."""

    transfer: str
    number: int
    kind: Kind
    before: str
    after: str
    load: str
    given: str
    output_rpm: Span
    road_m_per_s: Span
    engine_rpm: Span  # before the shift
    engine_after_rpm: Span


@dataclass(frozen=True)
class Pulses:
    """One speed sensor. `gear` is "" but for a sensor on the turbine; `transfer` is "" where it does not matter."""

    sensor: str
    place: str
    transfer: str
    gear: str
    per_turn: Span  # pulses for one turn of its shaft
    per_m: Span


CHECKS: dict[str, str] = {
    "limiter": "Does the limiter hold the engine below its most?",
    "up line": "Is an upshift line reached before the engine meets its limiter?",
    "landing": "Does the engine stay above the least wanted after an upshift?",
    "lead": "Is an upshift commanded early enough that the climbing engine keeps off its limiter?",
    "down line": "Is the engine safe after a downshift at this line, with margin and time?",
    "separation": "Do the lines up and down lie far enough apart that the gearbox does not hunt?",
    "borrowed table": "Which cells of a borrowed table may stay as converted?",
}
"""What each check of the driveline asks, by its name."""


@dataclass(frozen=True)
class Check:
    """One judgement: what was asked of what, and what to do."""

    check: str  # one of CHECKS
    subject: str
    verdict: Verdict
    text: str
    cure: str = ""


DANGER = ("down line", "limiter", "up line", "borrowed table", "lead", "separation", "landing")
"""Checks by what they can cost, an over-speeding engine first."""


def worst_first(checks: Iterable[Check]) -> list[Check]:
    """Unsafe before not known before safe; among equals what can cost the engine first."""
    return sorted(checks, key=lambda each: (each.verdict.rank, DANGER.index(each.check)))


@dataclass(frozen=True)
class DriveSums:
    """All of it for one driveline."""

    truck: str
    name: str
    units: str
    circumference_m: Span  # new, or as measured
    rolling_m: Span  # with growth and wear
    tyre: str
    tyre_basis: str
    gears: tuple[GearRow, ...]
    at: tuple[AtSpeed, ...]
    steps: tuple[Step, ...]
    downshifts: tuple[Downshift, ...]
    leads: tuple[Lead, ...]  # of the gears whose climb is written, the highest apart
    lines: tuple[LineRow, ...]
    sensors: tuple[Pulses, ...]
    checks: tuple[Check, ...]
    rests_on: tuple[Value, ...]  # numbers that nobody measured or published for this truck
    most_rpm: Span
    limiter_rpm: Span | None

    @property
    def reach_rpm(self) -> Span:
        """What the engine can reach: the lower of its most and the limiter."""
        return reachable(self.most_rpm, self.limiter_rpm)[0]

    @property
    def verdict(self) -> Verdict:
        """The worst check."""
        return min((each.verdict for each in self.checks), key=lambda each: each.rank)

    def downshift(self, transfer: str, gear: str) -> Downshift:
        """KeyError if there is none."""
        return _found(self.downshifts, transfer, gear)

    def gear(self, transfer: str, gear: str) -> GearRow:
        """KeyError if there is none."""
        return _found(self.gears, transfer, gear)


@dataclass(frozen=True)
class Cell:
    """One cell of a borrowed table. Speeds are in m/s, or rpm where the key is output speed."""

    row: str
    column: str
    line: int  # of the CSV file
    read: str
    donor: float | None  # None where the cell holds no speed
    converted: Span | None
    enter: float | None  # rounded in the table's unit, then back
    enter_text: str
    mark: Mark
    why: str


@dataclass(frozen=True)
class Converted:
    """A borrowed table in this truck's numbers, for one range of the transfer case.

    `rows` are the heads as converted, one cell for each column.
    """

    id: str
    transfer: str
    file: str
    keyed_by: str
    unit: str
    holds: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[Cell, ...]], ...]
    scale: Span  # own speed ÷ donor's, apart from the gears
    notes: tuple[str, ...]

    @property
    def cells(self) -> tuple[Cell, ...]:
        """All cells that hold something."""
        return tuple(cell for _, cells in self.rows for cell in cells if cell.read)

    def count(self, mark: Mark) -> int:
        """How many cells have this mark."""
        return sum(cell.mark == mark for cell in self.cells)


@dataclass(frozen=True)
class Setting:
    """One row of the settings sheet. `value` "" is for the owner to fill in."""

    topic: str
    what: str
    value: str
    reason: str
    basis: str
    proof: str
    owner: bool = False  # only the owner can know it


def _found(rows: Any, transfer: str, gear: str) -> Any:
    for each in rows:
        if (each.transfer, each.gear) == (transfer, gear):
            return each
    raise KeyError(f"{transfer} {gear}")


def as_json(result: Any) -> Any:
    """A result as plain JSON values; verdicts as their words, numbers that are none as null."""
    if isinstance(result, DriveSums):
        return {"verdict": str(result.verdict), **fields_of(result, as_json)}
    return plain(result, as_json, infinite=False)
