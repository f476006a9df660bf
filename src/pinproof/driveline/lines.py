"""Where the controller shifts by itself: each line in all three speeds, and whether it can work.

Answers: is an up line ever reached, where does the shift land, is a down line safe, are up and down far enough apart?
Units:   rpm, m/s.
Touches: nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from pinproof.design.model_drive import Drive, Geared, ShiftLine
from pinproof.driveline.results import Check, Downshift, LineRow
from pinproof.driveline.span import Span, remains
from pinproof.driveline.speeds import (
    HUNTS_BELOW,
    SAFE_SEPARATION,
    after_shift,
    engine_rpm,
    output_rpm,
    road_speed,
    separation,
)
from pinproof.driveline.stated import around_m, reduction_of
from pinproof.quantities import format_value, plain_number
from pinproof.verdict import Verdict

KM_H, MPH = 1.0 / 3.6, 0.44704  # m/s, exact
ANY_LOAD = "any load"  # a line that states no load holds at each
TINY = 1e-6  # what rounding of floats may add, in the last digit shown


def rpm(span: Span | float) -> str:
    """A speed of rotation in words, with its range."""
    low, high = _outward(span, 1.0, 0)
    return f"{low} rpm" if low == high else f"{low} to {high} rpm"


def road(span: Span | float, units: str) -> str:
    """A road speed in words, with its range."""
    scale, unit = (MPH, "mph") if units == "us" else (KM_H, "km/h")
    low, high = _outward(span, scale, 1)
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def ends(span: Span, unit: float = 1.0, digits: int = 4) -> str:
    """A span of plain numbers in words."""
    low, high = plain_number(span.low / unit, digits), plain_number(span.high / unit, digits)
    return low if low == high else f"{low} to {high}"


def permitted(downshift: Downshift, units: str) -> tuple[str, str]:
    """Highest speed for a shift down: output shaft, road. Cut, never rounded up."""
    if downshift.permitted_rpm < 1.0:
        return "never", "never"
    return _cut(downshift.permitted_rpm, downshift.permitted_m_per_s, units)


def over_speed(downshift: Downshift, units: str) -> tuple[str, str]:
    """From where on the worst truck over-speeds: output shaft, road. Cut like `permitted`."""
    return _cut(downshift.limit_rpm.low, downshift.limit_m_per_s.low, units)


def _cut(output: float, speed_m_per_s: float, units: str) -> tuple[str, str]:
    scale = MPH if units == "us" else KM_H
    cut = math.floor(speed_m_per_s / scale * 10.0 + TINY) / 10.0
    return rpm(math.floor(output + TINY) * 1.0), road(cut * scale, units)


def _outward(span: Span | float, unit: float, digits: int) -> tuple[str, str]:
    """Both ends rounded so that the range shown holds the true one; a single number is rounded to the nearest."""
    if isinstance(span, float) or span.is_exact:
        text = f"{(span if isinstance(span, float) else span.low) / unit:.{digits}f}"
        return text, text
    power = 10.0**digits
    low = math.floor(span.low / unit * power + TINY) / power
    return f"{low:.{digits}f}", f"{math.ceil(span.high / unit * power - TINY) / power:.{digits}f}"


def line_row(drive: Drive, line: ShiftLine, transfer: Geared) -> LineRow:
    """A line in one range. What is given stays as it is; the others follow with their ranges."""
    around, reduction, share = around_m(drive), reduction_of(drive, transfer), remains(drive.slip)
    old, new = Span.of(drive.gear(line.before).ratio), Span.of(drive.gear(line.after).ratio)
    at = Span.of(line.at)
    if line.given == "engine":
        output, engine = at * share / old, at
        landing = after_shift(at, old, new, share, share)
        speed = road_speed(output, around, reduction)
    else:
        output = at if line.given == "output" else output_rpm(at, around, reduction)
        speed = at if line.given == "road" else road_speed(at, around, reduction)
        engine, landing = engine_rpm(output, old, share), engine_rpm(output, new, share)
    up = drive.place_of(line.after) > drive.place_of(line.before)
    return LineRow(
        transfer.name, line.number, "up" if up else "down", line.before, line.after, line.load, line.given, output,
        speed, engine, landing,
    )  # fmt: skip


def check_limiter(drive: Drive) -> Check:
    """Does the limiter hold the engine at or below its most?"""
    if drive.limiter_rpm is None:
        return Check(
            "limiter", "engine", Verdict.NOT_SHOWN, "It is not known where the limiter holds the engine.",
            "Read it in the engine's own set-up, and write engine.limiter.",
        )  # fmt: skip
    limiter, most = Span.of(drive.limiter_rpm), Span.of(drive.most_rpm)
    said = f"The limiter holds at {rpm(limiter)}, the engine's most is {rpm(most)}."
    if limiter.high <= most.low:
        return Check("limiter", "engine", Verdict.PASS, said)
    verdict = Verdict.FAIL if limiter.low > most.high else Verdict.NOT_SHOWN
    return Check("limiter", "engine", verdict, said, "Set the limiter below the engine's most.")


def above_most(engine: Span, most: Span, limiter: Span | None) -> str:
    """In words, that an up line can lie above the engine's most with nothing to hold it; empty if it cannot."""
    if engine.high <= most.low or (limiter is not None and limiter.high <= most.low):
        return ""
    holds = "no limiter is known to hold it" if limiter is None else f"the limiter holds only at {rpm(limiter)}"
    return f"above its {rpm(most)}, and {holds}"


def check_up(drive: Drive, row: LineRow) -> list[Check]:
    """Is the engine safe there, is it reached before the limiter, and where does it land?"""
    subject, found = subject_of(drive, row), []
    engine = f"The engine turns {rpm(row.engine_rpm)} at this line"
    limiter = None if drive.limiter_rpm is None else Span.of(drive.limiter_rpm)
    if above := above_most(row.engine_rpm, Span.of(drive.most_rpm), limiter):
        said, verdict = f"{engine}, {above}: it can over-speed.", Verdict.FAIL
        cure = "Lower the line below the engine's most, and set the limiter there."
    elif limiter is None:
        said, verdict = f"{engine}; whether it gets there is not known without the limiter.", Verdict.NOT_SHOWN
        cure = "Write engine.limiter."
    elif row.engine_rpm.high < limiter.low:
        room = limiter.low - row.engine_rpm.high
        said, verdict, cure = f"{engine}, at least {room:.0f} rpm below the limiter.", Verdict.PASS, ""
    elif row.engine_rpm.low >= limiter.high:
        said = f"{engine}, but the limiter holds it at {rpm(limiter)}: it never shifts."
        verdict, cure = Verdict.FAIL, "Lower the line, with room for the time a shift takes."
    else:
        said = f"{engine}, the limiter holds at {rpm(limiter)}: on some trucks of this range it never shifts."
        verdict, cure = Verdict.NOT_SHOWN, "Lower the line, or narrow the slip and the tyre by measuring."
    found.append(Check("up line", subject, verdict, said, cure))
    if drive.least_rpm is not None:
        least = Span.of(drive.least_rpm)
        said = f"After it the engine turns {rpm(row.engine_after_rpm)}; the least wanted is {rpm(least)}."
        if row.engine_after_rpm.low >= least.high:
            found.append(Check("landing", subject, Verdict.PASS, said))
        else:
            verdict = Verdict.FAIL if row.engine_after_rpm.high < least.low else Verdict.NOT_SHOWN
            found.append(Check("landing", subject, verdict, said, "Raise the line, if the limiter leaves room."))
    return found


def check_down(drive: Drive, row: LineRow, downshift: Downshift) -> Check:
    """Is the engine safe after it?"""
    units = drive.units
    allowed = "{} of the output shaft ({})".format(*permitted(downshift, units))
    said = (
        f"It shifts at {rpm(row.output_rpm)} of the output shaft ({road(row.road_m_per_s, units)}); the engine then "
        f"turns {rpm(row.engine_after_rpm)}"
    )
    if row.output_rpm.high <= downshift.permitted_rpm:
        return Check("down line", subject_of(drive, row), Verdict.PASS, f"{said}. Permitted: {allowed}.")
    over = row.output_rpm.high > downshift.limit_rpm.low
    why = "the engine can over-speed" if over else "no over-speed yet, but the margin and time are used up"
    cure = f"Lower the line to {allowed} or less."
    return Check("down line", subject_of(drive, row), Verdict.FAIL, f"{said}: {why}. Permitted: {allowed}.", cure)


def gap(up: LineRow, down: LineRow) -> tuple[float, float, float]:
    """Separation of two lines, with what both share cancelled. Least, nominal, greatest."""
    if up.given == down.given and up.given == "road":
        return separation(up.road_m_per_s, down.road_m_per_s)
    return separation(up.output_rpm, down.output_rpm)


def hunts_with(up: LineRow, down: LineRow) -> bool:
    """True for an up and a down line at one load of which one leads into the gear that the other leads out of.

    A line for any load holds at the other's load too.
    """
    if (up.kind, down.kind) != ("up", "down") or up.transfer != down.transfer:
        return False
    if up.load != down.load and ANY_LOAD not in (up.load, down.load):
        return False
    return down.after == up.before or down.before == up.after


def check_separation(drive: Drive, up: LineRow, down: LineRow) -> Check:
    """Does the gearbox hunt between two gears?"""
    low, _, high = gap(up, down)
    shown = f"{low * 100:.1f} %" if f"{low:.3f}" == f"{high:.3f}" else f"{low * 100:.1f} to {high * 100:.1f} %"
    back = (down.before, down.after) == (up.after, up.before)
    both = subject_of(drive, replace(up, load=down.load) if up.load == ANY_LOAD else up)
    subject = both.replace("→", "↔") if back else f"{down.before} → {down.after} with {both}"
    said = f"The down line lies {shown} below the up line."
    if high < 0.0:
        said = f"The down line lies above the up line ({shown})."
    if low >= SAFE_SEPARATION:
        return Check("separation", subject, Verdict.PASS, said)
    cure = f"Lower the down line, or raise the up line: from {format_value(SAFE_SEPARATION, 'ratio')} on it is safe."
    if high < HUNTS_BELOW:
        return Check("separation", subject, Verdict.FAIL, f"{said} It hunts.", cure)
    return Check("separation", subject, Verdict.NOT_SHOWN, f"{said} It may hunt on undulating ground.", cure)


def line_checks(drive: Drive, rows: Sequence[LineRow], downshifts: Sequence[Downshift]) -> list[Check]:
    """All judgements of all lines."""
    found: list[Check] = []
    into = {(each.transfer, each.gear): each for each in downshifts}
    for row in rows:
        if row.kind == "up":
            found += check_up(drive, row)
        else:
            found.append(check_down(drive, row, into[row.transfer, row.after]))
    pairs = [(up, down) for up in rows for down in rows if hunts_with(up, down)]
    found += [check_separation(drive, up, down) for up, down in pairs]
    partnered = {each.number for pair in pairs for each in pair}
    for row in rows:
        if row.number in partnered or row.transfer != drive.transfers[0].name:  # once for all ranges
            continue
        missing = "down" if row.kind == "up" else "up"
        at = [gear.name for gear in drive.gears]
        skips = abs(at.index(row.before) - at.index(row.after)) > 1
        back = f"out of {row.after} or into {row.before}" if skips else f"from {row.after} to {row.before}"
        found.append(
            Check(
                "separation", f"{row.before} → {row.after}, {row.load}", Verdict.NOT_SHOWN,
                f"There is no {missing} line back at this load, so it cannot be told whether it hunts.",
                f"Write the {missing} line {back} at this load as a [[drive.shift]].",
            )
        )  # fmt: skip
    if not rows:
        found.append(
            Check(
                "up line", "all", Verdict.NOT_SHOWN, "No line is written: where the controller shifts by itself was "
                "not looked at.", "Write each line as a [[drive.shift]], or borrow a table.",
            )
        )  # fmt: skip
    return found


def subject_of(drive: Drive, row: LineRow) -> str:
    """A line in words."""
    range_ = f", {row.transfer}" if len(drive.transfers) > 1 else ""
    return f"{row.before} → {row.after}, {row.load}{range_}"
