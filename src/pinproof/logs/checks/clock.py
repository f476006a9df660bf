"""Is the log itself whole? Touches: nothing."""

from __future__ import annotations

from pinproof.logs.checks.case import OPEN, PASS, Case
from pinproof.logs.log_time import clock
from pinproof.logs.results import LogCheck, LogFinding, only_first

QUIET = ("unit question", "constant channel", "empty channel", "held values", "straight between", "skew")


def time_base(case: Case) -> LogCheck:
    """Gaps, clock steps, repairs: what is missing, and what was mended."""
    findings: list[LogFinding] = []
    left_out = total = 0.0
    for seen in case.seen:
        left_out += seen.left_out_s
        total += seen.duration_s
        for each in getattr(seen.time_base, "findings", ()):
            loud = each.kind not in QUIET
            mended = f" {each.repair[0].upper()}{each.repair[1:]}." if each.repair else ""
            findings.append(
                LogFinding(OPEN if loud else None, each.kind, f"{each.text}{mended}", seen.name, _real(each.first_s))
            )  # fmt: skip
        if not getattr(seen.time_base, "findings", ()):
            for begin, end in seen.gaps_s:
                findings.append(
                    LogFinding(
                        OPEN, "gap", f"Nothing recorded from {clock(begin)} to {clock(end)}.", seen.name, begin, end
                    )
                )
    loud_count = sum(each.verdict is OPEN for each in findings)
    hours = f"{total / 3600.0:.2f} h" if total >= 3600.0 else f"{total / 60.0:.1f} min"
    numbers: dict[str, float | str] = {"duration_s": total, "left_out_s": left_out, "logs": float(len(case.seen))}
    if loud_count:
        text = (
            f"{loud_count} kinds of gaps or repairs in {hours}; {left_out:.0f} s beside gaps are left "
            f"out of every check."
        )
        return LogCheck("time-base", OPEN, text, "Log again, or with a faster card.", numbers, only_first(findings))
    return LogCheck("time-base", PASS, f"{hours} without a gap or a repair.", "", numbers, only_first(findings))


def _real(value: float) -> float | None:
    return value if value == value else None
