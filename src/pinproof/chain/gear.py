"""The chain's link "gear": whether the driveline's shifts are safe, and on which number that rests.

Answers: the verdict of the driveline's checks, the first that does not hold, the number to measure first.
Touches: nothing.
"""

from __future__ import annotations

from pinproof.chain.actions import Action
from pinproof.design.model import Truck
from pinproof.driveline import drive_sums, measure_first, worst_first
from pinproof.verdict import Verdict

NOTHING_SAID = (
    "The file says nothing of the driveline. `pinproof gears FILE --begin` drafts its tables; then speeds, safe "
    "downshifts and shift lines are judged."
)

CAUTION = "Do not drive with these numbers in the controller."


def gear_link(truck: Truck) -> tuple[Verdict, str, str]:
    """Verdict, text and weakest number, "" where there is none."""
    if truck.drive is None:
        return Verdict.NOT_SHOWN, NOTHING_SAID, ""
    sums = drive_sums(truck)
    worst = worst_first(sums.checks)[0]
    held = sum(each.verdict is Verdict.PASS for each in sums.checks)
    text = f"{held} of {len(sums.checks)} checks of the driveline hold."
    if worst.verdict is not Verdict.PASS:
        first = "Unsafe" if worst.verdict is Verdict.FAIL else "Not known"
        text += f" {first}: {worst.check}, {worst.subject}. {worst.text}"
    if truck.drive.borrowed:
        text += " Borrowed tables are judged by `pinproof gears`."
    weak = measure_first(truck, sums)
    return worst.verdict, text, "" if weak is None else f"{weak.text}."


def gear_action(truck: Truck) -> Action | None:
    """What to do where a check of the driveline fails; None where none does."""
    if truck.drive is None:
        return None
    bad = [each for each in worst_first(drive_sums(truck).checks) if each.verdict is Verdict.FAIL]
    if not bad:
        return None
    worst = bad[0]
    more = f" {len(bad) - 1} more fail." if len(bad) > 1 else ""
    return Action(
        f"Mend the driveline: {worst.check}, {worst.subject}. {worst.cure}".strip(), f"{worst.text}{more}", 15,
        caution=CAUTION, command="pinproof gears FILE",
    )  # fmt: skip
