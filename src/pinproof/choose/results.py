"""What a choice says: frozen results.

Units:   ohms; margins as in `pinproof.verdict` (for a controller that can be taught: gaps as a share of full scale).
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pinproof.choose.certificate import Certificate
from pinproof.choose.room import Room
from pinproof.design.model import Truck
from pinproof.proof.results import LineProof
from pinproof.verdict import Verdict, Window


@dataclass(frozen=True)
class Piece:
    """One part to be soldered. `name` leaves the tolerance out, unless it is the owner's own label.

    `bands` is empty where colours cannot show its value or tolerance; so is the code.
    """

    name: str
    ohm: float
    tolerance: float
    bands: tuple[str, ...]
    letter_code: str


@dataclass(frozen=True)
class ChosenResistor:
    """What stands at one design path: a single part, or two in "series" or "parallel".

    `room` is None where the chosen values do not hold, or where it was not asked for.
    """

    path: str
    ohm: float
    tolerance: float
    text: str  # as it is written into the design file
    join: str
    pieces: tuple[Piece, ...]
    series: str  # the commonest preferred series with this value, or ""
    room: Room | None = None  # other values of this resistor alone that hold too


@dataclass(frozen=True)
class SituationMargin:
    """The margin of one proven situation with the chosen values."""

    key_state: str
    space: str
    operated: tuple[str, ...]
    meaning: str
    verdict: Verdict
    margin: float


@dataclass(frozen=True)
class RunnerUp:
    """A next best set of values; `cost` is the smallest margin of the choice less this one's."""

    values: Mapping[str, float]
    margin: float
    cost: float
    different_parts: int
    proven: bool

    def unlike(self, values: Mapping[str, float]) -> dict[str, float]:
        """Design path to ohms, of those alone that differ from `values`."""
        return {path: ohm for path, ohm in self.values.items() if values.get(path) != ohm}


@dataclass(frozen=True)
class Parting:
    """One change that was tried against a collision, with the values chosen again. `margin` is what it then gives.

    `proven` is False where the search for it ran out of time: then some values may do better than `margin`.
    """

    what: str
    margin: float
    parts: bool  # True if the smallest margin is then zero or above
    proven: bool


@dataclass(frozen=True)
class Collision:
    """Why no values will do: two meanings that cannot both be had.

    `short_by` is how far the reading of `operated` misses, in the reading's unit, with the chosen values.
    """

    meanings: tuple[str, str]
    operated: tuple[str, ...]
    key_state: str
    margin: float
    short_by: float
    unit: str
    text: str
    tried: tuple[Parting, ...] = ()


@dataclass(frozen=True)
class Choice:
    """The values chosen for a line, what they are worth, and how sure it is that none are better.

    `margin` is the smallest of the objective (of the proof, where a tempco of known sign is chosen: see `Certificate`);
    `margins` the proven situations, smallest first. `truck` is the design with the values in it and `proof` its
    proof. `feasible` is False where some situation does not hold: then `collision` says why. `advice` is False where
    the values do not even nearly hold: they then only show which situation fails first, and nobody should fit them.
    `different_parts` name the parts with their tolerance. A runner-up's margin may be above `margin` by less than a
    tie (0.1 %). `taught` are the windows to be taught, for a controller that can be.
    """

    line: str
    resistors: tuple[ChosenResistor, ...]
    margin: float
    margins: tuple[SituationMargin, ...]
    feasible: bool
    advice: bool
    verdict: Verdict
    certificate: Certificate
    different_parts: tuple[str, ...]
    runners_up: tuple[RunnerUp, ...]
    collision: Collision | None
    taught: Mapping[str, tuple[Window, ...]]
    proof: LineProof
    truck: Truck
    changes: Mapping[str, str]
    source: str = ""  # the series, or "drawer"

    @property
    def values(self) -> dict[str, float]:
        """Design path to nominal ohms."""
        return {each.path: each.ohm for each in self.resistors}

    @property
    def told(self) -> tuple[SituationMargin, ...]:
        """The margins worth telling, smallest first: the tightest, what asks for a meaning, and what does not hold."""
        tightest = self.margins[:1]
        rest = (each for each in self.margins[1:] if each.meaning or not each.verdict.holds)
        return (*tightest, *rest)


def changes_for(choice: Choice) -> dict[str, str]:
    """Design path to text, as `pinproof.design.edit.set_values` takes it."""
    return dict(choice.changes)
