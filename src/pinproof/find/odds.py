"""What weighing readings gives: classes with their probabilities, and the mechanisms inside each.

Answers: which class is likeliest, how open is the question still.
Units:   probabilities, bits; severities in ohms or as a factor.
Touches: nothing.
Beside:  `posterior` does the weighing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class MechanismOdds:
    """One mechanism inside a class: its probability, and the severities that hold the middle 90 %. [Ω]"""

    cause: str
    where: str
    probability: float
    low: float | None = None
    high: float | None = None
    unit: str = "ohm"


@dataclass(frozen=True)
class ClassOdds:
    """One class."""

    name: str
    probability: float
    mechanisms: tuple[MechanismOdds, ...]


@dataclass(frozen=True)
class Posterior:
    """Classes from likely to unlikely.

    `weights`: probability of each hypothesis by mechanism and cell of severity. `mistyped`: for each reading, how
    likely it is that it was typed or measured wrongly; empty where all fit together. `logs`: logarithm of the density
    of the readings for each drawn truck, in the order of the fleet.
    """

    classes: tuple[ClassOdds, ...]
    weights: Mapping[str, FloatArray] = field(repr=False, default_factory=dict)
    mistyped: tuple[float, ...] = ()
    logs: FloatArray = field(repr=False, default_factory=lambda: np.empty(0))

    def of(self, name: str) -> float:
        """Probability of a class; 0 if it is not there."""
        return next((each.probability for each in self.classes if each.name == name), 0.0)

    @property
    def first(self) -> ClassOdds:
        """The likeliest class."""
        return self.classes[0]

    @property
    def entropy_bits(self) -> float:
        """How open the question still is. [bit]"""
        return entropy_bits(np.array([each.probability for each in self.classes]))


def entropy_bits(p: FloatArray) -> float:
    """Entropy of a distribution. [bit]"""
    p = p[p > 0.0]
    return float(-(p * np.log2(p)).sum())


@dataclass(frozen=True, eq=False)
class Weighed:
    """Logarithms of prior × likelihood, of each mechanism in each cell (M,), of "not listed"; and of the readings'
    density for every drawn truck (N,)."""

    tables: FloatArray
    unlisted: float
    logs: FloatArray

    @property
    def listed(self) -> float:
        """Logarithm of the sum over what is listed."""
        top = float(self.tables.max())
        return top + math.log(float(np.exp(self.tables - top).sum()))

    @property
    def total(self) -> float:
        """Logarithm of the sum."""
        return float(np.logaddexp(self.listed, self.unlisted))
