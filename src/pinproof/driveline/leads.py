"""How early an upshift must be commanded so that the climbing engine keeps off its limiter.

Answers: what the engine gains while a shift takes hold, the latest command in each gear, whether lines and the
         controller's own lead are early enough.
Units:   rpm, rpm/s, seconds.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.design.model_drive import Drive
from pinproof.driveline.lines import ANY_LOAD, rpm, subject_of
from pinproof.driveline.results import Check, Lead, LineRow
from pinproof.driveline.span import Span
from pinproof.driveline.speeds import gained_rpm
from pinproof.verdict import Verdict

FULL = "full"  # the load at which climbs are stated


def leads(drive: Drive) -> tuple[Lead, ...]:
    """One for each gear whose climb is written; there is no upshift from the highest."""
    if drive.upshift_time_s is None:
        return ()
    time, found = Span.of(drive.upshift_time_s), []
    for gear in drive.gears[:-1]:
        if gear.climb is not None:
            climb = Span.of(gear.climb)
            gained = gained_rpm(climb, time)
            latest = None if drive.limiter_rpm is None else max(0.0, drive.limiter_rpm.low - gained.high)
            found.append(Lead(gear.name, climb, gained, latest))
    return tuple(found)


def lead_checks(drive: Drive, rows: Sequence[LineRow]) -> list[Check]:
    """Every up line, then the controller's own lead in every gear."""
    known = {each.gear: each for each in leads(drive)}
    found: list[Check] = []
    lacking: list[str] = []
    for row in rows:
        if row.kind != "up" or drive.limiter_rpm is None:
            continue
        if row.before in known:
            found.append(_line(drive, row, known[row.before], Span.of(drive.limiter_rpm)))
        else:
            lacking.append(row.before)
    if drive.lead_rpm is not None:
        for gear in drive.gears[:-1]:
            if gear.name in known:
                found.append(_own(known[gear.name], Span.of(drive.lead_rpm)))
            else:
                lacking.append(gear.name)
    if lacking:
        missing = [] if drive.upshift_time_s is not None else ["engine.upshift_time"]
        missing += [f"climb of gear {each.name}" for each in drive.gears if each.name in lacking and each.climb is None]
        said = "Whether the engine meets its limiter while an upshift takes hold was not looked at."
        shows = "it" if len(missing) == 1 else "them"
        found.append(Check("lead", "all", Verdict.NOT_SHOWN, said, f"Write {', '.join(missing)}; a log shows {shows}."))
    return found


def _line(drive: Drive, row: LineRow, lead: Lead, limiter: Span) -> Check:
    full = row.load in (FULL, ANY_LOAD)
    said = (
        f"The engine gains {rpm(lead.gained_rpm)} at full throttle until the shift takes hold; the latest command is "
        f"at {rpm(float(int(lead.latest_rpm or 0.0)))}, the line is at {rpm(row.engine_rpm)}"
    )
    subject, cure = subject_of(drive, row), "Lower the line by that much, or have the shift take hold sooner."
    if row.engine_rpm.high + lead.gained_rpm.high <= limiter.low:
        return Check("lead", subject, Verdict.PASS, f"{said}.")
    if full and row.engine_rpm.low + lead.gained_rpm.low > limiter.high:
        return Check("lead", subject, Verdict.FAIL, f"{said}: it runs into the limiter.", cure)
    return Check("lead", subject, Verdict.NOT_SHOWN, f"{said}: it can run into the limiter.", cure)


def _own(lead: Lead, own: Span) -> Check:
    said = f"The controller leads by {rpm(own)}; the engine gains {rpm(lead.gained_rpm)} at full throttle"
    subject, cure = f"at the limiter in {lead.gear}", "Raise the controller's lead."
    if lead.gained_rpm.high <= own.low:
        return Check("lead", subject, Verdict.PASS, f"{said}.")
    if lead.gained_rpm.low > own.high:
        return Check("lead", subject, Verdict.FAIL, f"{said}: it runs into the limiter.", cure)
    return Check("lead", subject, Verdict.NOT_SHOWN, f"{said}: it can run into the limiter.", cure)
