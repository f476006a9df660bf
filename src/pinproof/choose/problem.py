"""The choosing problem on plain numbers: which candidates, which readings, which demands on them.

Answers: what is to be chosen, what each choice does to the circuit's box, and what margin each demand then has.
Units:   ohms and siemens; readings in the space of their window (ratio or volts); margins as in `pinproof.verdict`.
Touches: nothing.
Beside:  `compiled` evaluates it, `search` solves it, `order` says which of two choices is better; `build` makes one
         from a truck.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from pinproof.network.box import Reading, Sources
from pinproof.network.netlist import Netlist
from pinproof.verdict import Window

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Candidate:
    """One part, or two joined, that may stand on an edge.

    `low_ohm` … `high_ohm` is its whole range in service. `parts` name what is soldered: their number of different
    names is what "fewer different parts" counts. `rarity` counts up from the commonest series. `uses` takes from the
    stock: (position in `Problem.stock`, how many).
    """

    ohm: float
    low_ohm: float
    high_ohm: float
    parts: tuple[str, ...]
    rarity: int = 0
    uses: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        if not 0.0 < self.low_ohm <= self.high_ohm < math.inf or not 0.0 < self.ohm < math.inf:
            ends = f"{self.low_ohm} and {self.high_ohm} for {self.ohm}"
            raise ValueError(f"a candidate needs 0 < low_ohm <= high_ohm < inf, not {ends}")


@dataclass(frozen=True)
class Variable:
    """One edge of the netlist and what may stand there, in rising order of `ohm`."""

    edge: str
    candidates: tuple[Candidate, ...]

    def __post_init__(self) -> None:
        if not self.candidates:
            raise ValueError(f"{self.edge} has no candidate")
        if any(a.ohm > b.ohm for a, b in zip(self.candidates, self.candidates[1:], strict=False)):
            raise ValueError(f"candidates of {self.edge} must stand in rising order of ohms")

    @cached_property
    def low_ohm(self) -> FloatArray:
        """Least resistance of each candidate. [Ω]"""
        return np.array([each.low_ohm for each in self.candidates])

    @cached_property
    def high_ohm(self) -> FloatArray:
        """Greatest resistance of each candidate. [Ω]"""
        return np.array([each.high_ohm for each in self.candidates])


@dataclass(frozen=True, eq=False)
class Member:
    """One box of the circuit to be read: conductances (m,) of all edges (those of variables are ignored), and causes.

    Readings are clipped to 0 … `full_scale`, as the controller does.
    """

    low_s: FloatArray
    high_s: FloatArray
    sources: Sources
    reading: Reading
    full_scale: float


@dataclass(frozen=True, eq=False)
class Spread:
    """A worst-case reading: the hull over its members (one situation; or all that must read the same meaning)."""

    name: str
    members: tuple[Member, ...]


@dataclass(frozen=True, eq=False)
class Demand:
    """What a spread must do.

    `how` is "inside": lie in one of `windows`; "clear": lie in none of them; "apart": keep away from spread `other`.
    The margin of the first two is that of `pinproof.verdict.judge_inside` and `judge_clear`. That of "apart" is the
    gap between the two spreads less `keep`, divided by `scale`; below zero by the depth of overlap.
    `group` 0 comes first in the objective, see `order`.
    """

    name: str
    how: str
    spread: int
    windows: tuple[Window, ...] = ()
    other: int = -1
    keep: float = 0.0
    scale: float = 1.0
    group: int = 0


@dataclass(frozen=True, eq=False)
class Problem:
    """Everything a search needs. `stock[i]` is how many of part i there are."""

    net: Netlist
    variables: tuple[Variable, ...]
    spreads: tuple[Spread, ...]
    demands: tuple[Demand, ...]
    stock: tuple[int, ...] = ()

    @property
    def assignments(self) -> int:
        """Number of ways to fill all variables, stock apart."""
        return math.prod(len(each.candidates) for each in self.variables)

    def in_stock(self, choice: Sequence[int]) -> bool:
        """Whether the drawer holds all the parts of a choice (positions of candidates)."""
        if not self.stock:
            return True
        taken: dict[int, int] = {}
        for variable, index in zip(self.variables, choice, strict=True):
            for part, count in variable.candidates[index].uses:
                taken[part] = taken.get(part, 0) + count
        return all(count <= self.stock[part] for part, count in taken.items())

    def may_be_in_stock(self, low: IntArray, high: IntArray) -> bool:
        """False if variables that are down to one candidate already need more parts than there are."""
        taken: dict[int, int] = {}
        for variable, first, last in zip(self.variables, low.tolist(), high.tolist(), strict=True):
            if first == last:
                for part, count in variable.candidates[first].uses:
                    taken[part] = taken.get(part, 0) + count
        return all(count <= self.stock[part] for part, count in taken.items())

    def sequence(self) -> tuple[tuple[int, int], ...]:
        """The objective's levels, most important first: (group, how manieth smallest margin of it, from 0).

        The smallest margin of each group in turn, then the rest of group 0, then the rest of the others.
        """
        sizes: dict[int, int] = {}
        for demand in self.demands:
            sizes[demand.group] = sizes.get(demand.group, 0) + 1
        groups = sorted(sizes)
        first = [(group, 0) for group in groups]
        return (*first, *((group, place) for group in groups for place in range(1, sizes[group])))
