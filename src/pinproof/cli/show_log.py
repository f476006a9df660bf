"""A proof from logs, and a test plan, in words for the terminal. No sums."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from pinproof.logs import LogReport
from pinproof.logs.log_time import TIMES_TOLD
from pinproof.logs.plan import Plan
from pinproof.verdict import Verdict

WIDTH = 106
SIGN = {Verdict.FAIL: "✕", Verdict.NOT_SHOWN: "?", Verdict.PASS: "✓", Verdict.WOULD_HOLD: "?"}
MOST_EVIDENCE = 5


def report_words(report: LogReport, *, every: bool = False) -> str:
    """Failed checks with their evidence, then what is not shown, then what passed."""
    out = [f"{report.name or report.truck}: {', '.join(each.name for each in report.logs)}", ""]
    for check in report.sorted:
        out += _wrapped(f"{SIGN[check.verdict]} {check.check}: {check.text}", "  ")
        if check.verdict is Verdict.PASS:
            continue
        loud = [each for each in check.findings if each.verdict in (Verdict.FAIL, Verdict.NOT_SHOWN)]
        if len(loud) > 1:
            for each in loud if every else loud[:MOST_EVIDENCE]:
                out += _wrapped(f"- {each.text}", "    ", "      ")
            if not every and len(loud) > MOST_EVIDENCE:
                out.append(f"    … and {len(loud) - MOST_EVIDENCE} more; all with --all.")
        if check.next:
            out += _wrapped(f"Next: {check.next}", "    ")
    out += ["", TIMES_TOLD]
    for log in report.logs:
        out += _wrapped(
            f"{log.name}: {log.duration_s / 60.0:.1f} min. Taps from {log.taps_from or 'nothing'}, steps from "
            f"{log.steps_from or 'nothing'}, gear in from {log.gear_from or 'nothing'}.", "",
        )  # fmt: skip
        if log.unmapped:
            out += _wrapped(
                f"In no role: {', '.join(log.unmapped[:20])}{' …' if len(log.unmapped) > 20 else ''}.", "  "
            )
    if report.excluded:
        told = ", ".join(f"{count} {reason}" for reason, count in report.excluded.items())
        out += _wrapped(f"Taps left out: {told}.", "")
    for offer in report.offers:
        out += _wrapped(f"Offer, {offer.path}: {offer.text}. {offer.why}", "")
    return "\n".join(out)


def plan_words(plan: Plan) -> str:
    """The plan, to be read aloud."""
    out = [f"Test plan of {plan.name or plan.truck}"]
    for session in plan.sessions:
        out += ["", session.title]
        out += [line for each in session.cautions for line in _wrapped(f"Careful: {each}", "  ")]
        out += [line for each in session.record for line in _wrapped(f"Record: {each}", "  ")]
        for number, step in enumerate(session.steps, start=1):
            out += _wrapped(f"{number}. {step.text}", "  ", "     ")
            out += _wrapped(f"For {', '.join(step.proves)}.", "     ")
    out += ["", "For the driver"]
    out += [line for each in plan.briefing for line in _wrapped(f"- {each}", "  ", "    ")]
    if plan.unanswered:
        out += ["", "Not answered by these steps"]
        out += [line for check, why in plan.unanswered.items() for line in _wrapped(f"{check}: {why}", "  ")]
    return "\n".join(out)


def _wrapped(text: str, first: str, rest: str | None = None) -> Sequence[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest if rest is not None else f"{first}  ",
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
