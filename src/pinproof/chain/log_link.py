"""The link "log" of the chain: what the logs of a day showed, or what is missing for them to show it.

Answers: did the truck do what it was told, as far as anything recorded says?
Touches: nothing.
"""

from __future__ import annotations

from pinproof import __version__
from pinproof.chain.log_kept import KeptLog, KeptLogs, names_words, summary_of, told, when_words
from pinproof.design.model import Truck
from pinproof.logs.results import LogReport
from pinproof.verdict import Verdict


def log_link(truck: Truck, report: LogReport | None, kept: KeptLogs | None = None) -> tuple[Verdict, str]:
    """Verdict and text, of a report at hand or else of the latest kept proof. Without either nothing is shown, and the
    text says what a log could show of this design."""
    if report is not None:
        checks = sorted(summary_of(report)["checks"], key=lambda each: Verdict(each["verdict"]).rank)
        return report.verdict, told(checks, several=len(report.logs) > 1)
    if kept is not None and kept.last is not None:
        return _kept_link(kept, kept.last)
    text = "No log was given. `pinproof log` judges one; `pinproof log FILE --plan` says what to press and drive."
    if kept is not None and kept.fault:
        text = f"Whether a log proof was kept cannot be told: {kept.fault}"
    if truck.drive is not None and (truck.drive.log is None or not truck.drive.log.lever_manual):
        text += " For the lever's code, write lever_manual in [drive.log]."
    return Verdict.NOT_SHOWN, text


def _kept_link(kept: KeptLogs, last: KeptLog) -> tuple[Verdict, str]:
    proof = last.proof
    what = f"Log proof {proof.number} of {when_words(proof)}, from {names_words(proof)}"
    if not last.is_of_now:
        text = (
            f"{what}, is of an earlier version of the design: the design has changed since, so it shows nothing of "
            f"this one. It ended then as {str(proof.verdict).upper()}: {last.words} "
            "Prove again with `pinproof log`; with logs driven since, if the truck was changed too."
        )
        return Verdict.NOT_SHOWN, text
    text = f"{what}: {last.words}"
    if kept.earlier_fails:
        failed = kept.earlier_fails[-1]
        text += (
            f" Before it, log proof {failed.proof.number} of {when_words(failed.proof)} failed with this same design "
            f"({failed.checks[0]['check']})."
        )
    if proof.program != __version__:
        text += f" It was judged by pinproof {proof.program}; this is {__version__}."
    return last.verdict, text
