"""How far each chosen value may move while everything still holds.

Answers: which other candidates of one resistor would do, with all others as chosen?
Units:   ohms.
Touches: nothing.
Beside:  `search` makes the choice, `compiled` evaluates the neighbours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pinproof.choose.compiled import Compiled
from pinproof.choose.problem import Problem
from pinproof.network.netlist import BoolArray
from pinproof.quantities import format_value


@dataclass(frozen=True)
class Room:
    """Range of nominal ohms around a chosen value in which every candidate holds, the other resistors as chosen.

    `lowest_tried` and `highest_tried`: the range ends there only because nothing beyond was to be chosen from.
    """

    low_ohm: float
    high_ohm: float
    lowest_tried: bool
    highest_tried: bool

    def __str__(self) -> str:
        low, high = (format_value(ohm, "resistance") for ohm in (self.low_ohm, self.high_ohm))
        if self.low_ohm == self.high_ohm:
            return f"{low} only"
        least = ", the least tried," if self.lowest_tried else ""
        most = ", the most tried" if self.highest_tried else ""
        return f"{low}{least} to {high}{most}"


def rooms_of(problem: Problem, choice: Sequence[int]) -> tuple[Room | None, ...]:
    """The room of each variable; None where the choice itself does not hold.

    Every candidate between the ends was evaluated, at its own tolerance; two changed at once were not. The stock of a
    drawer is left aside.
    """
    out: list[Room | None] = []
    for place, variable in enumerate(problem.variables):
        low = np.array(choice, dtype=np.intp)
        high = low.copy()
        low[place], high[place] = 0, len(variable.candidates) - 1
        tried = np.tile(low, (len(variable.candidates), 1))
        tried[:, place] = np.arange(len(tried))
        holds: BoolArray = np.all(Compiled(problem, low, high).margins(tried) >= 0.0, axis=1)
        ends = _around(holds, choice[place])
        if ends is None:
            out.append(None)
            continue
        first, last = ends
        ohms = [each.ohm for each in variable.candidates]
        out.append(Room(ohms[first], ohms[last], first == 0, last == len(ohms) - 1))
    return tuple(out)


def _around(holds: BoolArray, place: int) -> tuple[int, int] | None:
    """First and last of the unbroken run of True that `place` lies in."""
    if not holds[place]:
        return None
    fails = np.flatnonzero(~holds)
    cut = int(np.searchsorted(fails, place))
    first = int(fails[cut - 1]) + 1 if cut else 0
    last = int(fails[cut]) - 1 if cut < len(fails) else len(holds) - 1
    return first, last
