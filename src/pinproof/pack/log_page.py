"""What the logs of a day show, and the test plan, as pages: findings first, the worst at the top.

Answers: what failed, what is not shown and what would show it, what passed; what to press and drive next.
Touches: what `typeset` touches for a PDF, the shipped typefaces for HTML; no clock. The same input, the same bytes.
Beside:  `pinproof.logs` makes the report and the plan; nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from pinproof.drawings import Drawing, words
from pinproof.drawings.log_shift import log_shift
from pinproof.drawings.log_where import log_reading_of, log_where
from pinproof.logs.log_time import TIMES_TOLD, clock
from pinproof.logs.plan import Plan
from pinproof.logs.results import LogCheck, LogFinding, LogReport
from pinproof.pack import blocks
from pinproof.pack.block_html import blocks_html
from pinproof.pack.blocks import Block, Cell
from pinproof.pack.pages import blocks_pdf
from pinproof.verdict import Verdict

PICTURES = 3  # of one check; the table and the JSON have the rest
ROWS = 12
GROUPS = (
    (Verdict.FAIL, "Failed"),
    (Verdict.NOT_SHOWN, "Not shown"),
    (Verdict.PASS, "Passed"),
)


def log_report_html(report: LogReport, *, generated_on: str | None = None) -> str:
    """The report as one HTML page."""
    body, drawings = report_blocks(report)
    return blocks_html(body, _title(report), _foot(report, generated_on), drawings)


def log_report_pdf(report: LogReport, *, paper: str = "a4", made_on: date | None = None) -> bytes:
    """The report as a PDF. Raises as `pages.blocks_pdf`."""
    body, drawings = report_blocks(report)
    when = made_on.isoformat() if made_on else None
    return blocks_pdf(body, _title(report), _foot(report, when), paper=paper, made_on=made_on, drawings=drawings)


def _title(report: LogReport) -> str:
    return f"Proof from the logs of {report.name or report.truck}"


def _foot(report: LogReport, when: str | None) -> str:
    dated = f" · {when}" if when else ""
    return f"Logs of {report.name or report.truck} · design {report.truck}{dated} · design aid, not approval"


def report_blocks(report: LogReport) -> tuple[list[Block], dict[str, Drawing]]:
    """The pieces of the report and its drawings by name."""
    drawings: dict[str, Drawing] = {}
    body: list[Block] = [blocks.heading(_title(report), 1), _answer(report), blocks.para(TIMES_TOLD)]
    for verdict, head in GROUPS:
        group = [each for each in report.checks if each.verdict is verdict]
        if not group:
            continue
        body.append(blocks.heading(head, 2))
        if verdict is Verdict.PASS:
            rows: list[list[str | Cell]] = [[blocks.name_cell(each.check), each.text] for each in group]
            body.append(blocks.table("Checks that passed", (("Check", 1.0), ("What the log shows", 4.0)), rows))
            continue
        if verdict is Verdict.NOT_SHOWN:
            bare = [each for each in group if not _loud(each)]
            for each in group:
                if _loud(each):
                    body += _check(report, each, drawings)
            if bare:
                open_: list[list[str | Cell]] = [[blocks.name_cell(e.check), e.text, e.next] for e in bare]
                heads = (("Check", 1.2), ("Why", 3.0), ("What to do", 2.4))
                body.append(blocks.table("Checks that the logs cannot tell", heads, open_))
            continue
        for each in group:
            body += _check(report, each, drawings)
    body += _offers(report)
    body += _logs(report)
    return body, drawings


def _loud(check: LogCheck) -> bool:
    return any(each.verdict is Verdict.NOT_SHOWN for each in check.findings)


def _answer(report: LogReport) -> Block:
    counts = {verdict: sum(each.verdict is verdict for each in report.checks) for verdict, _ in GROUPS}
    text = f"{counts[Verdict.FAIL]} failed, {counts[Verdict.NOT_SHOWN]} not shown, {counts[Verdict.PASS]} passed."
    head = {Verdict.PASS: "The logs show what was asked", Verdict.FAIL: "The logs show a fault"}.get(
        report.verdict, "The logs do not show everything"
    )
    first = next((each for each in report.sorted if each.verdict is not Verdict.PASS), None)
    told = [text] + ([f"`{first.check}`: {first.text}"] if first is not None else [])
    return blocks.verdict_box(report.verdict, head, told)


def _check(report: LogReport, check: LogCheck, drawings: dict[str, Drawing]) -> list[Block]:
    body: list[Block] = [blocks.heading(f"{check.check}: {words.VERDICTS[check.verdict]}", 3), blocks.para(check.text)]
    if check.next:
        body.append(blocks.para(f"Next: {check.next}", leads=True))
    place = log_where(report.logs, check.findings, ident=f"where-{check.check}")
    if place is not None:
        body.append(_figure(f"where-{check.check}", place, drawings))
    loud = [each for each in check.findings if each.verdict in (Verdict.FAIL, Verdict.NOT_SHOWN)]
    for number, each in enumerate(loud[:PICTURES], start=1):
        drawn = _picture(each, f"{check.check}-{number}")
        if drawn is not None:
            body.append(_figure(f"{check.check}-{number}", drawn, drawings))
    if len(loud) > 1:
        rows = [[_when(each), each.subject, each.text] for each in loud[:ROWS]]
        more = f", the first {ROWS} of {len(loud)}" if len(loud) > ROWS else ""
        heads = (("When", 1.2), ("What", 1.4), ("Seen", 4.0))
        body.append(blocks.table(f"Evidence of {check.check}{more}", heads, rows))
    return body


def _figure(name: str, drawn: Drawing, drawings: dict[str, Drawing]) -> Block:
    drawings[name] = drawn
    return blocks.figure(f"{name}.svg", drawn.width_mm, drawn.title)


def _picture(finding: LogFinding, ident: str) -> Drawing | None:
    if finding.picture is not None and finding.picture.to_s > finding.picture.from_s:
        return log_shift(finding.picture, f"{finding.log}, {_when(finding)}: {finding.subject}", ident=ident)
    return log_reading_of(finding.numbers, ident=ident)


def _when(finding: LogFinding) -> str:
    return clock(finding.from_s) if finding.from_s is not None else finding.log or "all"


def _offers(report: LogReport) -> list[Block]:
    if not report.offers:
        return []
    rows: list[list[str | Cell]] = [[blocks.name_cell(each.path), each.text, each.why] for each in report.offers]
    heads = (("Entry", 1.3), ("Seen, to be written as measured", 3.0), ("Why", 2.6))
    return [
        blocks.heading("Back to the design", 2),
        blocks.para("Nothing is written by itself. What a log saw is the range of these days, not of the worst day."),
        blocks.table("Numbers that the logs measured", heads, rows),
    ]


def _logs(report: LogReport) -> list[Block]:
    body: list[Block] = [blocks.heading("The logs", 2)]
    for log in report.logs:
        left = f"; {log.left_out_s:.0f} s beside gaps left out" if log.left_out_s else ""
        body.append(blocks.para(f"`{log.name}`: {log.duration_s / 60.0:.1f} min{left}.", leads=True))
        sources = f"Taps from {log.taps_from or 'nothing'}; steps from {log.steps_from or 'nothing'}; "
        sources += f"gear in from {log.gear_from or 'nothing'}."
        body.append(blocks.para(sources))
        rows = [[str(e["role"]), str(e["header"]), _rate(e["rate_hz"]), str(e["rate_basis"])] for e in log.channels]
        heads = (("Role", 1.5), ("Header", 2.0), ("Rate", 1.0), ("Told from", 1.0))
        if rows:
            body.append(blocks.table(f"Channels of {log.name}", heads, rows))
        if log.unmapped:
            listed = ", ".join(log.unmapped[:60]) + (
                f" and {len(log.unmapped) - 60} more" if len(log.unmapped) > 60 else ""
            )
            body.append(blocks.para(f"In the file, in no role: {listed}.", soft=True))
    if report.excluded:
        told = ", ".join(f"{count} {reason}" for reason, count in sorted(report.excluded.items(), key=lambda e: -e[1]))
        body.append(blocks.para(f"Taps that count neither as answered nor as missed: {told}."))
    return body


def _rate(rate: object) -> str:
    return f"{rate:.3g} Hz" if isinstance(rate, float) else "not known"


def plan_blocks(plan: Plan) -> list[Block]:
    """The test plan: sessions, the driver's half page, the script."""
    body: list[Block] = [blocks.heading(f"Test plan of {plan.name or plan.truck}", 1)]
    if not plan.sessions:
        body.append(blocks.para("Nothing is open."))
    for session in plan.sessions:
        body.append(blocks.heading(session.title, 2))
        body.append(blocks.care_box("Careful", session.cautions))
        body.append(blocks.para("Record:", leads=True))
        body.append(blocks.bullets(session.record))
        body.append(blocks.para("Do:", leads=True))
        body.append(
            blocks.steps([f"{s.text} ({_minutes(s.minutes)}; for {', '.join(s.proves)})" for s in session.steps])
        )  # fmt: skip
    body += [blocks.heading("For the driver", 2), blocks.bullets(plan.briefing)]
    if plan.unanswered:
        body.append(blocks.heading("What no step here answers", 2))
        body.append(blocks.bullets([f"`{check}`: {why}" for check, why in plan.unanswered.items()]))
    body.append(blocks.heading("The script, to be corrected to what was done", 2))
    body += [blocks.para(line) for line in plan.script.splitlines() if line.strip()]
    return body


def _minutes(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 90.0 else f"{minutes / 60.0:.1f} h"


def plan_pdf(plan: Plan, *, paper: str = "a4", made_on: date | None = None) -> bytes:
    """The test plan as a PDF. Raises as `pages.blocks_pdf`."""
    name = plan.name or plan.truck
    dated = f" · {made_on.isoformat()}" if made_on else ""
    foot = f"Test plan · {name} · design {plan.truck}{dated} · design aid, not approval"
    return blocks_pdf(plan_blocks(plan), f"Test plan of {name}", foot, paper=paper, made_on=made_on)


def plan_html(plan: Plan, *, generated_on: str | None = None) -> str:
    """The test plan as one HTML page."""
    name = plan.name or plan.truck
    dated = f" · {generated_on}" if generated_on else ""
    return blocks_html(
        plan_blocks(plan), f"Test plan of {name}", f"Design {plan.truck}{dated} · design aid, not approval", {}
    )


__all__: Sequence[str] = [
    "log_report_html", "log_report_pdf", "plan_blocks", "plan_html", "plan_pdf", "report_blocks",
]  # fmt: skip
