"""The start inhibit beside the chain: is its truth table as wanted?

Answers: does it crank in the permitted positions, surely, and nowhere else?
Touches: nothing.
Beside:  `pinproof.inhibit` proves it; what single faults do takes about a minute and is asked by `pinproof inhibit`.
"""

from __future__ import annotations

from pinproof.chain.actions import Action
from pinproof.design.messages import DesignFault
from pinproof.design.model import Truck
from pinproof.inhibit import built, truth_table
from pinproof.inhibit.from_design import start_circuit
from pinproof.verdict import Verdict, worst

QUESTION = "Does it crank where it may, and nowhere else?"
NOTHING_SAID = (
    "The file says nothing of the start inhibit. `pinproof inhibit FILE --begin` drafts its tables; then it is proven "
    "where it cranks, and which single fault lets it crank in gear."
)
CAUTION = "Chocks at the wheels, brake on, nobody before or behind the truck whenever the battery is connected."
FAULTS = "What a single fault does: `pinproof inhibit`."


def inhibit_link(truck: Truck) -> tuple[Verdict, str]:
    """Verdict and words of the start inhibit's table; where the file states no inhibit, how one is begun."""
    if truck.inhibit is None:
        return Verdict.NOT_SHOWN, NOTHING_SAID
    try:
        table = truth_table(built(start_circuit(truck)), least_supply=False)
    except DesignFault as fault:
        return Verdict.NOT_SHOWN, f"Start inhibit not judged: {fault.faults[0].message}"
    permitted = " and ".join(row.position for row in table if row.permitted)
    bad = [row.position for row in table if any(cell.verdict is not Verdict.PASS for cell in row.cells)]
    verdict = worst(cell.verdict for row in table for cell in row.cells)
    if not bad:
        return verdict, f"Start inhibit: it cranks in {permitted} and nowhere else, without a fault. {FAULTS}"
    how = "does not hold" if verdict is Verdict.FAIL else "is not shown"
    return verdict, f"Start inhibit: its table {how} at {', '.join(bad)}. {FAULTS}"


def inhibit_action(verdict: Verdict, text: str) -> Action | None:
    """What to do where the table fails; None where it holds or is not shown. `verdict` and `text` of `inhibit_link`."""
    if verdict is not Verdict.FAIL:
        return None
    return Action(
        "Mend the start inhibit, before anything else of the starting circuit is used.", text, 30, caution=CAUTION,
        command="pinproof inhibit FILE",
    )  # fmt: skip
