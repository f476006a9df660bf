"""How far a search may go, and what it proves.

Answers: is the choice proven best, or how much could be left?
Touches: nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinproof.choose.order import TIE_FLOOR, TIE_RATIO, tie


@dataclass(frozen=True)
class Budget:
    """Where the search stops at the latest.

    `nodes` counts candidate boxes bounded, in a circuit of up to `search.USUAL_READINGS` readings; in a larger one a
    box counts for more. So the result does not depend on how busy the machine is. `seconds` is a last resort.
    With half of `nodes` spent on the first level, boxes that promise no more than a tie are let go: see
    `Certificate.within`. With no more than `list_below` choices left, all are evaluated instead of bounded.
    """

    nodes: int = 1_000_000
    seconds: float = 60.0
    list_below: int = 2048


@dataclass(frozen=True)
class Certificate:
    """What is proven about a found choice.

    `optimal`: no choice is better by the objective. Otherwise the budget bit: `proven_levels` of `levels` are proven,
    and the smallest margin could be larger by no more than `gap` (0 once the first level is proven).
    `within` is that gap as a share of the smallest margin found (its size): 0 where the first level is proven.
    `ties_listed` is False if more choices were tied in full than were compared.
    `own_heat`: resistors to be chosen have a tempco of known sign, and the search let each have a temperature of its
    own. What is proven holds for that; the proof, with one temperature for all, can only be kinder.
    """

    optimal: bool
    gap: float
    upper_bound: float
    proven_levels: int
    levels: int
    nodes: int
    seconds: float
    open_directions: int
    ties_listed: bool = True
    own_heat: bool = False

    @property
    def smallest(self) -> float:
        """Smallest margin found, as far as the certificate knows it: what the gap was measured from."""
        return self.upper_bound - self.gap

    @property
    def within(self) -> float:
        """By which share of the smallest margin found another choice's could be larger at most."""
        if self.gap <= 0.0 or self.proven_levels:
            return 0.0
        return self.gap / abs(self.smallest) if math.isfinite(self.gap) and self.smallest else math.inf

    @property
    def settled(self) -> bool:
        """The smallest margin is proven to be the largest there is, up to a tie (0.1 %)."""
        return self.optimal or self.proven_levels > 0 or self.gap <= tie(self.smallest) * (1.0 + 1e-9)

    @property
    def under(self) -> str:
        """What the comparison of choices assumed beyond the proof: a clause for the end of a sentence, or nothing."""
        return " while each resistor may have a temperature of its own" if self.own_heat else ""

    def __str__(self) -> str:
        effort = f"{self.nodes} boxes bounded in {self.seconds:.2f} s"
        if self.optimal:
            return f"proven: no choice is better{self.under} ({effort})"
        if self.proven_levels:
            proven = f"proven for the {self.proven_levels} smallest of {self.levels} margins"
            return f"{proven}{self.under}; the rest is the best found ({effort})"
        if self.settled:
            share = f"{TIE_RATIO * 100:g} %" if self.gap > TIE_FLOOR else "a millionth of half a window"
            return f"proven: no values give a smallest margin larger by more than {share}{self.under} ({effort})"
        reach = f"the smallest margin could be larger by at most {self.gap:.4g}"
        return f"not proven: {reach}{self.under} ({effort}, then the budget was used up)"
