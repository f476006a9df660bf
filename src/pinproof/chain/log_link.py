"""The link "log" of the chain: what the logs of a day showed, or what is missing for them to show it.

Answers: did the truck do what it was told, as far as anything recorded says?
Touches: nothing.
"""

from __future__ import annotations

from pinproof.design.model import Truck
from pinproof.logs.results import LogReport
from pinproof.verdict import Verdict


def log_link(truck: Truck, report: LogReport | None) -> tuple[Verdict, str]:
    """Verdict and text. Without a report nothing is shown, and the text says what a log could show of this design."""
    if report is not None:
        counts = {verdict: sum(each.verdict is verdict for each in report.checks) for verdict in Verdict}
        first = report.sorted[0]
        told = (
            f"{counts[Verdict.FAIL]} checks failed, {counts[Verdict.NOT_SHOWN]} not shown, "
            f"{counts[Verdict.PASS]} passed."
        )
        if first.verdict is not Verdict.PASS:
            told += f" {first.check}: {first.text}"
        return report.verdict, told
    text = "No log was given. `pinproof log` judges one; `pinproof log FILE --plan` says what to press and drive."
    if truck.drive is not None and (truck.drive.log is None or not truck.drive.log.lever_manual):
        text += " For the lever's code, write lever_manual in [drive.log]."
    return Verdict.NOT_SHOWN, text
