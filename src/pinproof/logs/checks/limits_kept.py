"""Limits: engine speed, downshifts, the limiter, limp. Touches: nothing."""

from __future__ import annotations

import math

import numpy as np

from pinproof.logs import limits
from pinproof.logs.checks.case import FAIL, OPEN, Case, judged, missing, shift_picture, slow, step_words
from pinproof.logs.checks.gears import no_drive
from pinproof.logs.gear_steps import output_between
from pinproof.logs.log_time import clock
from pinproof.logs.results import LogCheck, LogFinding
from pinproof.logs.runs import joined
from pinproof.logs.seen import clear_runs

NEVER_WEAKEN = "Correct the table before driving on. Never weaken the guard."


def over_speed(case: Case) -> LogCheck:
    """The engine never turned above its most."""
    bad = no_drive(case, "over-speed")
    if bad is not None:
        return bad
    drive = case.settings.drive
    assert drive is not None
    logs = case.having("engine")
    if not logs:
        return missing(case, "over-speed", "engine")
    rate = max(1.0 / max(each.speeds.interval_s.get("engine", each.row_s), 1e-6) for each in logs)
    if rate * 1.02 < 10.0:
        return slow(case, "over-speed", "engine", rate, 10.0)
    findings: list[LogFinding] = []
    top = -math.inf
    for seen in logs:
        top = max(top, seen.tallies["engine"].highest if "engine" in seen.tallies else -math.inf)
        for name, verdict in (("engine above most", FAIL), ("engine may be above most", OPEN)):
            runs = joined(clear_runs(seen.episodes[name], seen), 0.5) if name in seen.episodes else None
            if runs is None or (verdict is OPEN and any(f.verdict is FAIL for f in findings)):
                continue
            for first, last, count in zip(runs.first_s, runs.last_s, runs.count, strict=True):
                sure = verdict is FAIL and count >= 2.0
                if verdict is FAIL and not sure:
                    continue
                if verdict is OPEN and drive.most_rpm[0] == drive.most_rpm[1]:
                    text = f"A single sample at {clock(first)} is above {drive.most_rpm[1]:.0f} rpm."
                    if count >= 2.0:
                        continue
                else:
                    text = (
                        f"The engine turned above {drive.most_rpm[1 if sure else 0]:.0f} rpm from "
                        f"{clock(first)} to {clock(last)}."
                    )
                picture = shift_picture(case, seen, float(first) - 2.0, min(float(last), float(first) + 4.0) + 1.0)
                findings.append(LogFinding(verdict, "engine", text, seen.name, float(first), float(last), {}, picture))
    fast = top >= limits.FAST_ENGINE * drive.most_rpm[0]
    said = (
        f"The most was {top:.0f} rpm; allowed are {drive.most_rpm[0]:.0f} rpm." if math.isfinite(top) else "No sample."
    )
    return judged(
        "over-speed", findings, said, f"{said} It was never driven near it." if not findings else "", enough=fast,
        do="Look at the limiter and the shift lines. Never weaken a guard.", numbers={"most_rpm": top},
    )  # fmt: skip


def downshift_guard(case: Case) -> LogCheck:
    """No downshift over-speeds the engine."""
    bad = no_drive(case, "downshift-guard")
    if bad is not None:
        return bad
    drive = case.settings.drive
    assert drive is not None
    findings: list[LogFinding] = []
    downs = kept = refused = unknown = 0
    for seen, asked in case.logs():
        refused += sum(tap.press.way == "down" and tap.reason in ("over-speed guard", "refused") and not tap.answers
                       for tap in asked.taps)  # fmt: skip
        for step in seen.steps:
            if (
                step.way != "down"
                or not 1.0 <= step.new <= len(drive.ratios)
                or seen.beside_gap(step.before_s, step.first_s)
            ):
                continue
            least, most = output_between(seen, drive, step)
            if math.isnan(least):
                unknown += 1
                continue
            downs += 1
            low, high = drive.limit_rpm[int(step.new) - 1]
            if most <= low:
                kept += 1
                continue
            name = step_words(case, step)
            turning = f"{least:.0f}" if f"{least:.0f}" == f"{most:.0f}" else f"{least:.0f} to {most:.0f}"
            text = f"{name} at {clock(step.first_s)} with the output shaft at {turning} rpm; over-speed begins at "
            text += f"{low:.0f} rpm."
            numbers: dict[str, float | str] = {"output_rpm": least, "limit_rpm": low}
            verdict = FAIL if least > high else OPEN
            picture = shift_picture(case, seen, step.first_s - 1.5, step.first_s + 2.0)
            findings.append(
                LogFinding(verdict, f"shift {name}", text, seen.name, step.before_s, step.first_s, numbers, picture)
            )
    if not downs:
        return missing(
            case,
            "downshift-guard",
            more="No downshift at a known speed in the log.",
            do="Drive, and shift down by tap.",
        )
    taps = "tap" if refused == 1 else "taps"
    said = f"{kept} of {downs} downshifts began below the limit; {refused} {taps} above it refused."
    open_ = f"{said} {limits.DOWNSHIFTS_LEAST} downshifts are needed." if not findings else ""
    return judged(
        "downshift-guard", findings, said, open_, enough=downs >= limits.DOWNSHIFTS_LEAST, do=NEVER_WEAKEN,
        numbers={"downshifts": float(downs), "refused": float(refused), "unknown": float(unknown)},
    )  # fmt: skip


def limiter(case: Case) -> LogCheck:
    """The automatic does not stand on the limiter."""
    bad = no_drive(case, "limiter")
    if bad is not None:
        return bad
    drive = case.settings.drive
    assert drive is not None
    if drive.limiter_rpm is None:
        return missing(
            case, "limiter", more="The design does not know the limiter.", do="Write limiter in [drive.engine]."
        )
    logs = [each for each in case.having("engine", "mode") if each.steps_from]
    if not logs:
        return missing(case, "limiter", "engine", "mode", "a gear")
    findings: list[LogFinding] = []
    ups = 0
    for seen in logs:
        runs = joined(clear_runs(seen.episodes["on limiter"], seen), 0.3) if "on limiter" in seen.episodes else None
        mode = seen.states["mode"]
        for step in seen.steps:
            quick = seen.sampled(step.first_s, "engine") > limits.FAST_ENGINE * drive.limiter_rpm[0]
            if step.way == "up" and quick and mode.at(np.array([step.before_s]))[0] == 0.0:
                ups += 1
        gears = seen.states.get(seen.steps_from, seen.speeds.sure)
        for first, last in [] if runs is None else zip(runs.first_s, runs.last_s, strict=True):
            ups_after = [step.before_s for step in seen.steps if step.way == "up" and first < step.first_s <= last]
            engaged = mode.before_s[(mode.value > 0.0) & (mode.first_s > first) & (mode.first_s <= last)]
            last = min([float(last), *ups_after, *(float(at) for at in engaged if at == at)])
            if last - first < limits.ON_LIMITER_S:
                continue
            inside = mode.value[(mode.first_s <= last) & (mode.last_s >= first) & (mode.first_s < last)]
            if not len(inside) or (inside > 0.0).any() or mode.at(np.array([first]))[0] > 0.0:
                continue
            gear = float(gears.at(np.array([first]))[0])
            if not 1.0 <= gear < drive.highest:
                continue
            text = (
                f"From {clock(first)} to {clock(last)} the engine stands on the limiter in "
                f"{case.gear_name(gear)}, and the "
            )
            text += "automatic does not shift up."
            picture = shift_picture(case, seen, float(first) - 1.0, min(float(last), float(first) + 5.0) + 1.0)
            findings.append(
                LogFinding(
                    FAIL, f"gear {case.gear_name(gear)}", text, seen.name, float(first), float(last), {}, picture
                )
            )
    return judged(
        "limiter", findings, f"{ups} upshifts in automatic near the limiter, no stay on it.",
        f"{ups} upshifts in automatic near the limiter; {limits.LIMITER_UPSHIFTS_LEAST} are needed.",
        enough=ups >= limits.LIMITER_UPSHIFTS_LEAST, do="The up lines lie above the limiter: `pinproof gears`.",
        numbers={"upshifts": float(ups)},
    )  # fmt: skip


def limp(case: Case) -> LogCheck:
    """The controller was never in limp."""
    logs = case.having("limp")
    if not logs:
        return missing(case, "limp", "limp")
    findings = []
    for seen in logs:
        runs = clear_runs(seen.states["limp"], seen)
        for value, first, last, count in zip(runs.value, runs.first_s, runs.last_s, runs.count, strict=True):
            if value > 0.0 and count >= 2.0:
                text = f"Limp from {clock(first)} to {clock(last)}."
                findings.append(LogFinding(FAIL, "controller", text, seen.name, float(first), float(last)))
    hours = sum(each.duration_s for each in logs) / 3600.0
    return judged(
        "limp", findings, f"Never in limp in {hours:.2f} h.", enough=any(len(each.states["limp"]) for each in logs),
        do="Read the controller's fault codes.",
    )  # fmt: skip


__all__ = ["downshift_guard", "limiter", "limp", "over_speed"]
