"""What is known against a line that fails and against its faults: cures, with their values chosen again and proven.

Answers: what would mend this line; what removes or finds each of its faults.
Touches: nothing.
Beside:  `pinproof.choose` and `pinproof.faults` do the work and do not know each other; here they are joined once for
         every face.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pinproof.choose import Budget, Cure, choose, cures
from pinproof.design.model import Truck
from pinproof.faults import Against, LineFaults, against, faults_of
from pinproof.proof.results import LineProof, TruckProof
from pinproof.verdict import Verdict

TRIAL_BOXES, TRIAL_SECONDS = 100_000, 20.0
Say = Callable[[str], object]
"""Takes one sentence on what is being done now."""


def cures_of(truck: Truck, proof: TruckProof) -> dict[str, tuple[Cure, ...]]:
    """Cures for each line that failed or was not shown."""
    return {
        line.line: cures(truck, line.line, line)
        for line in proof.lines
        if line.verdict in (Verdict.FAIL, Verdict.NOT_SHOWN) and line.situations
    }


def known_against(
    truck: Truck, found: Sequence[LineFaults], *, tries: bool = True, say: Say | None = None
) -> tuple[Against, ...]:
    """What is known against the faults of each line; `tries`: with changes of the design tried."""

    def chosen(changed: Truck, line_id: str) -> tuple[Truck, LineProof, dict[str, str]]:
        if say is not None:
            say(f"Trying a cure for {line_id}: choosing values, proving and listing faults again …")
        budget = Budget(nodes=TRIAL_BOXES, seconds=TRIAL_SECONDS)
        choice = choose(changed, line_id, budget=budget, runners_up=0, explain=False, rooms=False)
        return choice.truck, choice.proof, dict(choice.changes)

    return tuple(against(truck, each, chosen if tries else None) for each in found)


def known_faults(truck: Truck, *, tries: bool = True, say: Say | None = None) -> tuple[Against, ...]:
    """The faults of every line and what is known against them, for pages and books."""
    return known_against(truck, faults_of(truck).lines, tries=tries, say=say)
