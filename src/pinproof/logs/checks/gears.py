"""Gears and the driveline's numbers: is the gear in that is reported, does a clutch slip, are the ratios right?

Touches: nothing.
"""

from __future__ import annotations

import numpy as np

from pinproof.logs import limits
from pinproof.logs.checks.case import FAIL, OPEN, PASS, Case, judged, missing, shift_picture, slow
from pinproof.logs.log_time import clock
from pinproof.logs.results import LogCheck, LogFinding, only_first
from pinproof.logs.runs import joined, overlaps
from pinproof.logs.seen import Seen, clear_runs


def no_drive(case: Case, check: str) -> LogCheck | None:
    """Not shown, because the design says nothing of the driveline."""
    if case.settings.drive is not None:
        return None
    do = "`pinproof gears FILE --begin` adds a [drive] table to fill in."
    return missing(case, check, more="The design says nothing of the driveline.", do=do)


def gear_agrees(case: Case) -> LogCheck:
    """The gear reported is the gear that is in."""
    bad = no_drive(case, "gear-agrees")
    if bad is not None:
        return bad
    logs = [each for each in case.seen if each.speeds.ratio_from and _shown(each)]
    if not logs:
        return missing(case, "gear-agrees", "gear or gear_commanded", "turbine or engine", "output or road")
    findings: list[LogFinding] = []
    known = latest_s = 0.0
    for seen in logs:
        role = _shown(seen)
        least_s = limits.DIFFERS_S if role == "gear" else limits.DIFFERS_COMMANDED_S
        late_s, doubt_s = seen.shown_after_s(role)
        latest_s = max(latest_s, late_s, key=abs)
        told, ratio = seen.states[role].sooner(late_s), clear_runs(joined(seen.speeds.sure, limits.HELD_S), seen)
        left, right, begin, end = overlaps(ratio, told)
        lasted = end - begin
        known += float(lasted[lasted > 0.0].sum())
        differs = (lasted - doubt_s >= least_s) & (told.value[right] != ratio.value[left]) & (told.value[right] >= 1.0)
        for place in np.flatnonzero(differs):
            is_in, says = float(ratio.value[left[place]]), float(told.value[right[place]])
            text = (
                f"From {clock(begin[place])} to {clock(end[place])} {role} says {case.gear_name(says)}; by the ratio "
                f"{case.gear_name(is_in)} is in."
            )
            picture = shift_picture(
                case, seen, float(begin[place]) - 1.0, min(float(end[place]), float(begin[place]) + 5.0)
            )
            findings.append(
                LogFinding(FAIL, f"{case.gear_name(says)} reported, {case.gear_name(is_in)} in", text, seen.name,
                           float(begin[place]), float(end[place]), {}, picture)
            )  # fmt: skip
    said = f"Reported and real gear agree over {known:.0f} s of known gears."
    if latest_s:
        way = "late" if latest_s > 0.0 else "early"
        said += f" The reported gear shows {abs(latest_s) * 1000.0:.0f} ms {way}; that is taken out."
    return judged(
        "gear-agrees", findings, said, f"Only {known:.0f} s of known gears; {limits.KNOWN_LEAST_S:.0f} s are needed.",
        enough=known >= limits.KNOWN_LEAST_S, do="Where does the display take its gear from? Are the ratios right?",
        numbers={"known_s": known, "shown_after_s": latest_s, "driving_s": sum(each.speeds.driving_s for each in logs)},
    )  # fmt: skip


def _shown(seen: Seen) -> str:
    return next((role for role in ("gear", "gear_commanded") if role in seen.states), "")


def _scaled(case: Case) -> dict[int, float]:
    """Gears whose ratio is off by a narrow share: a wrong number, not a slip. Gear to share."""
    found = {}
    for gear in {gear for each in case.seen for gear in each.speeds.shares}:
        hists = [each.speeds.shares[gear] for each in case.seen if gear in each.speeds.shares]
        seconds = sum(each.seconds for each in hists)
        best = max(hists, key=lambda each: each.seconds)
        low, mid, high = (best.quantile(share) for share in (0.1, 0.5, 0.9))
        if seconds >= limits.GEAR_LEAST_S and abs(mid) > limits.NUMBERS_PASS and high - low < limits.NUMBERS_PASS:
            found[gear] = mid
    return found


def gear_slip(case: Case) -> LogCheck:
    """No clutch slips in a gear."""
    bad = no_drive(case, "gear-slip")
    if bad is not None:
        return bad
    logs = [each for each in case.having("turbine", "output") if _shown(each)]
    if not logs:
        return missing(case, "gear-slip", "turbine", "output", "gear_commanded or gear")
    period = max(max(s.speeds.interval_s.get("turbine", 0.0), s.speeds.interval_s.get("output", 0.0)) for s in logs)
    if period > 1.02 / 10.0:
        return slow(case, "gear-slip", "turbine or output", 1.0 / period, 10.0)
    inside: dict[int, float] = {}
    off: dict[int, float] = {}
    for seen in logs:
        for gear, seconds in seen.speeds.in_band_s.items():
            inside[gear] = inside.get(gear, 0.0) + seconds
        for gear, seconds in seen.speeds.off_s.items():
            off[gear] = off.get(gear, 0.0) + seconds
    scaled = _scaled(case)
    findings: list[LogFinding] = []
    for gear in sorted(off):
        others = sum(seconds for each, seconds in inside.items() if each != gear)
        held = sum(float(r.least_s[r.value == gear].sum()) for r in (clear_runs(s.speeds.slipping, s) for s in logs))
        if held < limits.SLIPS_S:
            continue
        seen, first, last = _longest_slip(logs, gear)
        text = f"In gear {case.gear_name(gear)} the turbine runs more than {limits.BAND * 100:.0f} % too quick for "
        text += f"{held:.1f} s together, longest from {clock(first)}."
        if gear in scaled:
            text = (
                f"Gear {case.gear_name(gear)} is off by a steady {scaled[gear] * 100.0:+.1f} %: see driveline-numbers."
            )
            findings.append(LogFinding(OPEN, f"gear {case.gear_name(gear)}", text, seen.name, first, last))
        elif others < 10.0:
            text += " No other gear was in its band long enough to compare."
            findings.append(LogFinding(OPEN, f"gear {case.gear_name(gear)}", text, seen.name, first, last))
        else:
            picture = shift_picture(case, seen, first - 1.0, min(last, first + 6.0) + 1.0)
            numbers: dict[str, float | str] = {"slipping_s": held, "in_band_s": inside.get(gear, 0.0)}
            findings.append(
                LogFinding(FAIL, f"gear {case.gear_name(gear)}", text, seen.name, first, last, numbers, picture)
            )  # fmt: skip
    used = {gear for gear in (*inside, *off) if inside.get(gear, 0.0) + off.get(gear, 0.0) > 2.0}
    thin = [case.gear_name(gear) for gear in sorted(used) if inside.get(gear, 0.0) < limits.GEAR_LEAST_S]
    said = f"{sum(inside.values()):.0f} s in band over {len(used)} gears, none slips."
    open_ = f"Too little steady time in gear {', '.join(thin)}." if thin else "No steady time in any gear."
    return judged(
        "gear-slip", findings, said, "" if any(f.verdict is OPEN for f in findings) else open_,
        enough=bool(used) and not thin, do="Stop racing that gear; the gearbox maker's limits rule.",
        numbers={f"in_band_{case.gear_name(gear)}_s": seconds for gear, seconds in sorted(inside.items())},
    )  # fmt: skip


def _longest_slip(logs: list[Seen], gear: int) -> tuple[Seen, float, float]:
    best: tuple[Seen, float, float] | None = None
    for seen in logs:
        runs = clear_runs(seen.speeds.slipping, seen)
        mine = runs.pick(runs.value == gear)
        if len(mine):
            place = int(np.argmax(mine.least_s))
            first, last = float(mine.first_s[place]), float(mine.last_s[place])
            if best is None or last - first > best[2] - best[1]:
                best = (seen, first, last)
    assert best is not None
    return best


def driveline_numbers(case: Case) -> LogCheck:
    """Ratios, axle, tyre and teeth of the design are the truck's."""
    bad = no_drive(case, "driveline-numbers")
    if bad is not None:
        return bad
    drive = case.settings.drive
    assert drive is not None
    findings: list[LogFinding] = []
    numbers: dict[str, float | str] = {}
    compared: list[str] = []
    tyre = (drive.around_m.low / drive.around_m.value - 1.0, drive.around_m.high / drive.around_m.value - 1.0)
    widest = max((span.high / span.value - 1.0 for _, span in drive.reductions), default=0.0)
    for seen in case.seen:
        speeds = seen.speeds
        rows = [
            (f"turbine ÷ output in gear {case.gear_name(gear)}", hist, (-drive.ratio_spread, drive.ratio_spread),
             "the ratio or the teeth of a speed sensor")
            for gear, hist in sorted(speeds.shares.items())
        ]  # fmt: skip
        # measured ÷ stated of output × circumference ÷ road: a bigger tyre turns slower, so its ends change sides
        ends = (1.0 / (1.0 + tyre[1]) - 1.0 - widest, 1.0 / (1.0 + tyre[0]) - 1.0 + widest)
        rows.append(("output against road speed", speeds.road, ends, "axle, tyre, transfer range, or teeth"))
        rows.append(("engine against turbine, locked", speeds.engine, (0.0, 0.0), "the teeth of a speed sensor"))
        for what, hist, (low, high), cause in rows:
            if hist.seconds < (limits.GEAR_LEAST_S if "gear" in what else limits.STEADY_LEAST_S):
                continue
            mid = hist.quantile(0.5)
            compared.append(f"{what} {round(mid * 100.0, 1) + 0.0:+.1f} % over {hist.seconds:.0f} s")
            beyond = max(low - mid, mid - high, 0.0)
            numbers[f"{what}_share"] = mid
            wide = hist.quantile(0.9) - hist.quantile(0.1) > limits.NUMBERS_PASS and "gear" in what and mid > 0.0
            verdict = (
                PASS if beyond <= limits.NUMBERS_PASS else FAIL if beyond > limits.NUMBERS_FAIL and not wide else OPEN
            )
            text = f"{what[0].upper()}{what[1:]} is {mid * 100.0:+.1f} % off the design over {hist.seconds:.0f} s"
            text += f", {beyond * 100.0:.1f} % beyond its range: look at {cause}." if beyond > 0.0 else "."
            findings.append(
                LogFinding(verdict, what, text, seen.name, None, None, {"share": mid, "seconds": hist.seconds})
            )
    if not findings:
        wanted = "two of engine (locked), turbine, output, road, with enough steady drive"
        return missing(
            case, "driveline-numbers", more=f"Nothing to compare: {wanted} are needed.", do="Drive steadily."
        )
    more = f"; and {len(compared) - 6} more" if len(compared) > 6 else ""
    said = f"Against the design: {'; '.join(compared[:6])}{more}."
    return judged(
        "driveline-numbers", findings, said, enough=True, do="Roll-out over ten turns; count teeth.", numbers=numbers
    )  # fmt: skip


def flare(case: Case) -> LogCheck:
    """The turbine does not run up between two gears."""
    bad = no_drive(case, "flare")
    if bad is not None:
        return bad
    logs = [each for each in case.having("turbine", "output") if _shown(each)]
    if not logs:
        return missing(case, "flare", "turbine", "output", "gear_commanded or gear")
    fast = [each for each in logs if _speed_interval(each) <= 1.02 / limits.RATIO_RATE_HZ]
    if not fast:
        return slow(case, "flare", "turbine or output", 1.0 / _speed_interval(logs[0]), limits.RATIO_RATE_HZ)
    findings: list[LogFinding] = []
    shifts, peak = 0, 0.0
    for seen in fast:
        steps = np.array([each.first_s for each in seen.steps])
        reach = limits.FLARE_AFTER_S + limits.FLARE_BESIDE_S
        for each in seen.speeds.flares:
            if seen.torn.meets(each.at_s - limits.FLARE_BESIDE_S, each.to_s):
                continue
            if (
                not each.apart
                and np.searchsorted(steps, each.at_s + reach) - np.searchsorted(steps, each.at_s - reach) != 1
            ):
                continue  # another shift is too near to tell them apart
            shifts += 1
            peak = max(peak, each.peak_rpm)
            name = f"{case.gear_name(each.before)} → {case.gear_name(each.after)}"
            text = f"In {name} at {clock(each.at_s)} the turbine runs {each.peak_rpm:.0f} rpm above both gears"
            text += f", {each.above_look_s * 1000.0:.0f} ms above {limits.FLARE_LOOK_RPM:.0f} rpm."
            numbers: dict[str, float | str] = {"peak_rpm": each.peak_rpm, "above_look_s": each.above_look_s}
            end = each.to_s
            if each.two_above_fail or each.above_look_s > limits.FLARE_S:
                picture = shift_picture(case, seen, each.at_s - 1.0, end)
                findings.append(LogFinding(FAIL, f"shift {name}", text, seen.name, each.at_s, end, numbers, picture))
            elif each.peak_rpm > limits.FLARE_LOOK_RPM or each.above_note_s > limits.FLARE_S:
                findings.append(LogFinding(OPEN, f"shift {name}", text, seen.name, each.at_s, end, numbers))
            elif each.peak_rpm > limits.FLARE_NOTE_RPM:
                findings.append(LogFinding(None, f"shift {name}", text, seen.name, each.at_s, end, numbers))
    said = f"{shifts} shifts; the most was {peak:.0f} rpm above both gears."
    return judged(
        "flare",
        findings,
        said,
        "" if any(f.verdict is OPEN for f in findings) else f"{said} {limits.SHIFTS_LEAST} are needed.",
        enough=shifts >= limits.SHIFTS_LEAST,
        do="Pressure and its timing; the gearbox maker's limits rule.",
        numbers={"shifts": float(shifts), "peak_rpm": peak},
    )


def _speed_interval(seen: Seen) -> float:
    return max(seen.speeds.interval_s.get("turbine", seen.row_s), seen.speeds.interval_s.get("output", seen.row_s))


def locked_slip(case: Case) -> LogCheck:
    """The converter holds when locked."""
    bad = no_drive(case, "locked-slip")
    if bad is not None:
        return bad
    logs = case.having("engine", "turbine", "lockup")
    if not logs:
        return missing(case, "locked-slip", "engine", "turbine", "lockup")
    findings: list[LogFinding] = []
    locked = sum(each.speeds.locked_s for each in logs)
    for seen in logs:
        runs = clear_runs(seen.speeds.lock_slips, seen)
        runs = runs.pick(runs.least_s >= limits.LOCKED_SLIP_S)
        for first, last in zip(runs.first_s, runs.last_s, strict=True):
            text = f"Locked, engine and turbine differ by more than {limits.LOCKED_SLIP * 100:.0f} % and "
            text += f"{limits.LOCKED_SLIP_RPM:.0f} rpm from {clock(first)} to {clock(last)}."
            findings.append(LogFinding(FAIL, "converter", text, seen.name, float(first), float(last)))
    return judged(
        "locked-slip", findings, f"{locked:.0f} s locked, and it holds.",
        f"{locked:.0f} s locked; {limits.KNOWN_LEAST_S:.0f} s are needed.", enough=locked >= limits.KNOWN_LEAST_S,
        do="Lock-up pressure; the gearbox maker's limits rule.", numbers={"locked_s": locked},
    )  # fmt: skip


__all__ = ["driveline_numbers", "flare", "gear_agrees", "gear_slip", "locked_slip", "only_first"]
