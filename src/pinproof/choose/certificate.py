"""How far a search may go, and what it proves.

Answers: is the choice proven best, or how much could be left?
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Budget:
    """Where the search stops at the latest: candidate boxes bounded, and seconds.

    With no more than `list_below` choices left, all of them are evaluated instead of bounded.
    """

    nodes: int = 4_000_000
    seconds: float = 20.0
    list_below: int = 2048


@dataclass(frozen=True)
class Certificate:
    """What is proven about a found choice.

    `optimal`: no choice is better by the objective. Otherwise the budget bit: `proven_levels` of `levels` are proven,
    and the smallest margin could be larger by no more than `gap` (0 once the first level is proven).
    `ties_listed` is False if more choices were tied in full than were compared.
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

    def __str__(self) -> str:
        effort = f"{self.nodes} boxes bounded in {self.seconds:.2f} s"
        if self.optimal:
            return f"proven: no choice is better ({effort})"
        if self.proven_levels:
            proven = f"proven for the {self.proven_levels} smallest of {self.levels} margins"
            return f"{proven}; the rest is the best found ({effort})"
        reach = f"the smallest margin could be larger by at most {self.gap:.4g}"
        return f"not proven: {reach} ({effort}, then the budget was used up)"
