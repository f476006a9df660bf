"""The owner's own stock: single parts, and two of them in series or in parallel.

Answers: which resistances can be made from what is in the drawer, each within which bounds, and what does it use up?
Units:   ohms, ratios.
Touches: nothing.
Sources: series and parallel resistance, Ohm's law.
"""

from __future__ import annotations

from dataclasses import dataclass

from pinproof.choose.parts import Site, only_settled, rarity_of
from pinproof.choose.problem import Candidate
from pinproof.errors import NoSolution

MOST_COMBINATIONS = 20_000


@dataclass(frozen=True)
class Part:
    """Some equal resistors in the drawer, or one that was measured.

    Either `tolerance` (a ratio, round `ohm`) or `measured_ohm` with `measured_uncertainty_ohm`.
    """

    ohm: float
    tolerance: float | None = None
    count: int = 1
    label: str = ""
    measured_ohm: float | None = None
    measured_uncertainty_ohm: float | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.ohm < float("inf") or self.count < 0:
            raise ValueError(f"a part needs ohms above zero and a count of 0 or more, not {self.ohm} and {self.count}")
        measured = self.measured_ohm is not None and self.measured_uncertainty_ohm is not None
        if measured == (self.tolerance is not None):
            raise ValueError(f"{self.name}: state either a tolerance, or measured ohms with their uncertainty")
        if not 0.0 < self.low_ohm <= self.high_ohm:
            raise ValueError(f"{self.name}: its least resistance comes out as {self.low_ohm:g} ohm, not above zero")

    @property
    def name(self) -> str:
        """What the owner calls it."""
        if self.label:
            return self.label
        reach = f"{self.tolerance * 100:.9g} %" if self.tolerance is not None else "measured"
        return f"{self.nominal_ohm:.9g} ohm {reach}"

    @property
    def called(self) -> str:
        """The name without the tolerance, where that stands beside it anyway."""
        if self.label or self.tolerance is None:
            return self.name
        return f"{self.nominal_ohm:.9g} ohm"

    @property
    def nominal_ohm(self) -> float:
        """Measured ohms where there are any."""
        return self.ohm if self.measured_ohm is None else self.measured_ohm

    @property
    def low_ohm(self) -> float:
        """Least resistance of the part as it lies there. [Ω]"""
        if self.tolerance is not None:
            return self.ohm * (1.0 - self.tolerance)
        return self.nominal_ohm - (self.measured_uncertainty_ohm or 0.0)

    @property
    def high_ohm(self) -> float:
        """Greatest resistance. [Ω]"""
        if self.tolerance is not None:
            return self.ohm * (1.0 + self.tolerance)
        return self.nominal_ohm + (self.measured_uncertainty_ohm or 0.0)


@dataclass(frozen=True)
class Made:
    """A resistance made from the drawer: `join` is "single", "series" or "parallel"; `parts` are positions."""

    ohm: float
    low_ohm: float
    high_ohm: float
    join: str
    parts: tuple[int, ...]

    @property
    def tolerance(self) -> float:
        """Reach either way that covers both bounds. (Two unequal parts in parallel reach a little less one way.)"""
        return max(1.0 - self.low_ohm / self.ohm, self.high_ohm / self.ohm - 1.0, 0.0)


@dataclass(frozen=True)
class Drawer:
    """Own stock. `pairs` False keeps to single parts."""

    parts: tuple[Part, ...]
    pairs: bool = True

    @property
    def stock(self) -> tuple[int, ...]:
        """How many of each part there are."""
        return tuple(part.count for part in self.parts)

    def made(self, low_ohm: float, high_ohm: float) -> tuple[Made, ...]:
        """Everything that can be made with a nominal between two limits, in rising order.

        Raises
        ------
        NoSolution
            If more than MOST_COMBINATIONS can be made: too many to search, and nobody solders from such a list.
        """
        out = [
            Made(part.nominal_ohm, part.low_ohm, part.high_ohm, "single", (i,))
            for i, part in enumerate(self.parts)
            if part.count
        ]
        if self.pairs:
            for i, one in enumerate(self.parts):
                for j in range(i, len(self.parts)):
                    other = self.parts[j]
                    if one.count < 1 or other.count < (2 if i == j else 1):
                        continue
                    out.append(
                        Made(
                            one.nominal_ohm + other.nominal_ohm, one.low_ohm + other.low_ohm,
                            one.high_ohm + other.high_ohm, "series", (i, j),
                        )
                    )  # fmt: skip
                    out.append(
                        Made(
                            _parallel(one.nominal_ohm, other.nominal_ohm), _parallel(one.low_ohm, other.low_ohm),
                            _parallel(one.high_ohm, other.high_ohm), "parallel", (i, j),
                        )
                    )  # fmt: skip
        fitting = [each for each in out if low_ohm <= each.ohm <= high_ohm]
        if len(fitting) > MOST_COMBINATIONS:
            raise NoSolution(
                f"The drawer makes {len(fitting)} resistances in this range, more than are searched.",
                cure="Narrow the range of ohms, or leave out pairs.",
            )
        return tuple(sorted(fitting, key=lambda each: (each.ohm, each.tolerance, len(each.parts), each.parts)))

    def candidates(self, site: Site, low_ohm: float, high_ohm: float) -> tuple[Candidate, ...]:
        """Candidates for one place of the design; ageing and tempco are those the design states there."""
        out = []
        for each in self.made(low_ohm, high_ohm):
            uses: dict[int, int] = {}
            for part in each.parts:
                uses[part] = uses.get(part, 0) + 1
            names = tuple(self.parts[i].name for i in each.parts)
            rarity = max(rarity_of(self.parts[i].ohm) for i in each.parts)
            bounds = site.bounds_ohm(each.ohm, each.tolerance)
            out.append(Candidate(each.ohm, *bounds, names, rarity, tuple(sorted(uses.items()))))
        return only_settled(out)

    def find(self, candidate: Candidate) -> Made:
        """How a candidate is made."""
        for each in self.made(candidate.ohm, candidate.ohm):
            uses = {part: each.parts.count(part) for part in each.parts}
            if tuple(sorted(uses.items())) == candidate.uses and each.ohm == candidate.ohm:
                return each
        raise KeyError(candidate.parts)


def _parallel(one_ohm: float, other_ohm: float) -> float:
    return one_ohm * other_ohm / (one_ohm + other_ohm)
