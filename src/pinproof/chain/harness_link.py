"""The harness's part of the chain's link "wire": can it be built as the file says, and do its wires and fuses hold?

Touches: nothing.
Beside:  `pinproof.harness` lays it out.
"""

from __future__ import annotations

from pinproof.chain.actions import Action
from pinproof.design.messages import DesignFault
from pinproof.design.model import Truck
from pinproof.harness import lay_out, units_of
from pinproof.quantities.customary import in_us
from pinproof.verdict import Verdict

NOTHING_SAID = "No harness is stated; `pinproof harness FILE --begin` drafts one."
COMMAND = "pinproof harness FILE"


def harness_part(truck: Truck) -> tuple[Verdict, str, str]:
    """Verdict and words of the harness, and the cure of what is worst, "" where nothing is against it.

    A file that says nothing of a harness passes: the link is then judged by the lines alone.
    """
    if truck.harness is None:
        return Verdict.PASS, NOTHING_SAID, ""
    try:
        harness = lay_out(truck)
    except DesignFault as fault:
        more = f" {len(fault.faults) - 1} more." if len(fault.faults) > 1 else ""
        text = f"The harness cannot be laid out: {fault.faults[0].message}{more}"
        return Verdict.NOT_SHOWN, text, "Change what it says; until then no wire has a size."
    bad = [each for each in harness.findings if each.verdict == "fail"]
    verdict = Verdict.FAIL if bad else Verdict.NOT_SHOWN
    bad = bad or [each for each in harness.findings if each.verdict == "not shown"]
    if not bad:
        return Verdict.PASS, f"Harness: {len(harness.wires)} wires and {len(harness.fuses)} feeds hold.", ""
    more = f" {len(bad) - 1} more." if len(bad) > 1 else ""
    said, cure = (in_us(each) if units_of(truck) == "us" else each for each in (bad[0].text, bad[0].cure))
    return verdict, f"Harness: {said}{more}", cure


def harness_action(verdict: Verdict, text: str, cure: str) -> Action | None:
    """What to do where the harness does not hold, from `harness_part`; None where it does or nothing is said of one."""
    if verdict is Verdict.PASS:
        return None
    return Action(f"Mend the harness. {cure}".strip(), text, 15, command=COMMAND)
