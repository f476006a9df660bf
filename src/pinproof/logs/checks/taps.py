"""Taps: is each answered by one step, the right way, in time; does the gearbox shift by itself? Touches: nothing.

Sources: exact limits of shares and rates in `pinproof.logs.confidence`.
"""

from __future__ import annotations

import math

import numpy as np

from pinproof.logs import limits
from pinproof.logs.checks.case import FAIL, OPEN, PASS, Case, judged, missing, shift_picture, slow, step_words
from pinproof.logs.confidence import time_for, tries_for, upper_rate, upper_share
from pinproof.logs.log_time import clock
from pinproof.logs.requests import Tap
from pinproof.logs.results import LogCheck, LogFinding
from pinproof.logs.seen import Seen, interval_of

MANY = tries_for(limits.MOST_SHARE)
HOURS = time_for(limits.MOST_PER_HOUR)


def share_words(events: int, of: int, what: str) -> str:
    """What a sample can show: "0 misses in 60 taps: under 4.9 % at 95 % confidence". The limit is cut upward."""
    upper = math.ceil(upper_share(events, of) * 1000.0) / 10.0
    return f"{events} {what} in {of} taps: under {upper:.1f} % at {limits.CONFIDENCE * 100:.0f} % confidence"


def usable(case: Case, check: str) -> LogCheck | None:
    """Why taps cannot be judged at all; None if they can."""
    if not any(each.taps_from for each in case.seen):
        return missing(
            case, check, more="No channel shows taps: neither tap_up, tap_down nor a pin or meaning of a coded line.",
            do="Record one, or drive with counted taps and a script.",
        )  # fmt: skip
    if not any(each.steps_from for each in case.seen):
        return missing(case, check, more="No channel shows steps: neither gear_commanded, gear nor two speeds.")
    rates = [
        1.0 / max(interval_of(each, each.steps_from), 1e-6) for each in case.seen if each.steps_from in each.channels
    ]
    if rates and max(rates) * 1.02 < limits.STEP_RATE_HZ:
        return slow(case, check, "the gear", max(rates), limits.STEP_RATE_HZ)
    return None


def _counts(case: Case) -> tuple[int, dict[str, int]]:
    """Valid taps, and how they came out."""
    outcomes: dict[str, int] = {}
    valid = 0
    for _, tap in case.taps():
        if tap.valid:
            valid += 1
            outcomes[tap.outcome] = outcomes.get(tap.outcome, 0) + 1
    return valid, outcomes


def _finding(case: Case, seen: Seen, tap: Tap, text: str) -> LogFinding:
    press = tap.press
    end = press.first_s + (case.settings.answer_s or limits.ANSWER_S)
    last = max([end, *(step.first_s for step in tap.answers)])
    picture = shift_picture(case, seen, press.first_s - 0.5, last + 0.5)
    return LogFinding(
        FAIL, f"tap {press.way} in {case.gear_name(tap.gear)}", text, seen.name, press.first_s, last,
        {"length_s": press.least_s}, picture,
    )  # fmt: skip


def missed_tap(case: Case) -> LogCheck:
    """Every valid tap is answered."""
    bad = usable(case, "missed-tap")
    if bad is not None:
        return bad
    valid, outcomes = _counts(case)
    missed = outcomes.get("missed", 0)
    findings = []
    for seen, tap in case.taps():
        if tap.outcome == "missed" and tap.valid:
            text = (
                f"Tap {tap.press.way} at {clock(tap.press.first_s)} in gear {case.gear_name(tap.gear)} "
                f"was not answered."
            )
            findings.append(_finding(case, seen, tap, text))
    excluded = _excluded(case)
    numbers: dict[str, float | str] = {
        "valid": float(valid), "missed": float(missed), "upper_share": upper_share(missed, valid) if valid else 1.0,
        "excluded": float(sum(excluded.values())),
    }  # fmt: skip
    said = share_words(missed, valid, "misses") if valid else "No tap that had to be answered"
    more = f"; {MANY} are needed for under {limits.MOST_SHARE * 100:.0f} %." if valid < MANY else "."
    return judged(
        "missed-tap", findings, said + ".", said + more, enough=valid >= MANY and missed == 0,
        do="Press and look at the pin; `pinproof find` leads to the cause.", numbers=numbers,
    )  # fmt: skip


def _excluded(case: Case) -> dict[str, int]:
    found: dict[str, int] = {}
    for _, tap in case.taps():
        if tap.reason:
            found[tap.reason] = found.get(tap.reason, 0) + 1
    return found


def doubled_tap(case: Case) -> LogCheck:
    """One tap gives one step."""
    bad = usable(case, "doubled-tap")
    if bad is not None:
        return bad
    fast = [each for each in case.seen if each.tap_interval_s <= limits.DOUBLE_INTERVAL_S * 1.02]
    if not fast:
        return _too_far_apart(case, "doubled-tap", limits.DOUBLE_INTERVAL_S)
    findings, valid = [], 0
    for seen, tap in case.taps():
        if not any(seen is each for each in fast):
            continue
        if tap.valid:
            valid += 1
        if tap.outcome == "doubled":
            steps = ", ".join(step_words(case, each) for each in tap.answers)
            text = f"Tap {tap.press.way} at {clock(tap.press.first_s)} gave {len(tap.answers)} steps: {steps}."
            findings.append(_finding(case, seen, tap, text))
    said = share_words(len(findings), valid, "doubled") if valid else "No tap that could be doubled"
    more = f"; {MANY} are needed." if valid < MANY else "."
    return judged(
        "doubled-tap", findings, said + ".", said + more, enough=valid >= MANY, numbers={"valid": float(valid)},
        do="Look at bounce and at the debounce time.",
    )  # fmt: skip


def reversed_tap(case: Case) -> LogCheck:
    """Up is up."""
    bad = usable(case, "reversed-tap")
    if bad is not None:
        return bad
    right = {"up": 0, "down": 0}
    valid, turned = 0, []
    for seen, tap in case.taps():
        valid += tap.valid
        if tap.valid and tap.outcome in ("held", "doubled") and tap.answers:
            right[tap.press.way] += 1
        if tap.outcome == "reversed":
            turned.append((seen, tap))
    many = len(turned) >= limits.TURNED_LEAST and 2 * len(turned) > valid
    findings = []
    for seen, tap in turned:
        sure = many or seen.tap_interval_s <= case.settings.least_interval_s * 1.001
        steps = ", ".join(step_words(case, each) for each in tap.answers)
        text = f"Tap {tap.press.way} at {clock(tap.press.first_s)} was answered the other way: {steps}."
        if not sure:
            text += " Another tap could hide between samples."
        made = _finding(case, seen, tap, text)
        findings.append(made if sure else LogFinding(OPEN, made.subject, text, made.log, made.from_s, made.to_s))
    enough = min(right.values()) >= limits.DIRECTIONS_LEAST
    said = f"{right['up']} taps up went up, {right['down']} taps down went down."
    more = "" if enough else f" At least {limits.DIRECTIONS_LEAST} each way are needed."
    return judged(
        "reversed-tap", findings, said, said + more, enough=enough,
        do="Press each button with the engine off and read the code.",
        numbers={"right_up": float(right["up"]), "right_down": float(right["down"])},
    )  # fmt: skip


def unasked_shift(case: Case) -> LogCheck:
    """The gearbox does not shift by itself in manual."""
    bad = usable(case, "unasked-shift")
    if bad is not None:
        return bad
    if not case.having("mode"):
        return missing(case, "unasked-shift", "mode")
    findings: list[LogFinding] = []
    hours = all_hours = 0.0
    explained: dict[str, float | str] = {}
    for seen, asked in case.logs():
        hours += asked.manual_clear_s / 3600.0
        all_hours += asked.manual_s / 3600.0
        for why, count in asked.explained.items():
            explained[f"explained, {why}"] = float(explained.get(f"explained, {why}", 0.0)) + count
        if "mode" not in seen.states:
            continue
        for each in asked.unasked:
            step = each.step
            text = f"{step_words(case, step)} at {clock(step.first_s)} in manual, with no tap before it."
            if each.hidden:
                text += " A tap could hide between samples."
            picture = shift_picture(case, seen, step.before_s - 1.5, step.first_s + 1.0)
            findings.append(
                LogFinding(OPEN if each.hidden else FAIL, f"shift {step_words(case, step)}", text, seen.name,
                           step.before_s, step.first_s, {}, picture)
            )  # fmt: skip
    rate = upper_rate(0, hours) if hours else math.inf
    said = f"None in {hours:.2f} h of manual"
    said += f": under {math.ceil(rate * 100.0) / 100.0:.2f} an hour at 95 % confidence" if math.isfinite(rate) else ""
    if not hours and all_hours:
        said = f"{all_hours:.2f} h of manual, but a tap can hide between samples"
    hidden = sum(each.verdict is OPEN for each in findings)
    open_ = (
        f"{said}; {HOURS:.1f} h are needed."
        if not hidden
        else f"{hidden} shifts without a tap that shows; taps can hide."
    )
    return judged(
        "unasked-shift", findings, said + ".", open_, enough=hours >= HOURS, do="Log longer, and the pin at 100 Hz.",
        numbers={"manual_h": all_hours, "clear_h": hours, "upper_per_hour": rate, **explained},
    )  # fmt: skip


def _too_far_apart(case: Case, check: str, wanted_s: float) -> LogCheck:
    best = min((each.tap_interval_s for each in case.seen if each.taps_from), default=math.inf)
    text = f"The tap channel has a sample every {best * 1000.0:.0f} ms; every {wanted_s * 1000.0:.0f} ms is needed."
    return LogCheck(check, OPEN, text, f"Log it at {1.0 / wanted_s:.0f} Hz or more.", needs="tap rate")


def bounce(case: Case) -> LogCheck:
    """Bounce gives no second step."""
    logs = [each for each in case.seen if each.taps_from]
    if not logs:
        return missing(case, "bounce", more="No channel shows taps.")
    fast = [each for each in logs if each.tap_interval_s <= 1.02 / limits.BOUNCE_RATE_HZ]
    if not fast:
        best = min(each.tap_interval_s for each in logs)
        return slow(case, "bounce", logs[0].taps_from, 1.0 / best, limits.BOUNCE_RATE_HZ)
    findings, presses, bounced, unclear = [], 0, 0, 0
    for seen, tap in case.taps():
        if not any(seen is each for each in fast):
            continue
        presses += 1
        unclear += tap.press.unclear
        if not tap.press.bounced_s:
            continue
        bounced += 1
        if tap.outcome == "doubled":
            text = f"The press {tap.press.way} at {clock(tap.press.first_s)} bounced and gave {len(tap.answers)} steps."
            findings.append(_finding(case, seen, tap, text))
        else:
            text = f"The press {tap.press.way} at {clock(tap.press.first_s)} bounced; no second step came of it."
            findings.append(
                LogFinding(None, f"press {tap.press.way}", text, seen.name, tap.press.first_s, tap.press.last_s)
            )
    numbers: dict[str, float | str] = {
        "presses": float(presses), "bounced": float(bounced), "unclear": float(unclear),
    }  # fmt: skip
    clean = bounced == 0 and unclear == 0
    said = f"{presses} presses, {bounced} with bounce, {unclear} that closed again after 50 to 120 ms."
    return judged(
        "bounce", findings, said, said, enough=clean and presses >= limits.TIMED_LEAST,
        do="Look at the contact, and at the debounce time.", numbers=numbers,
    )  # fmt: skip


def press_length(case: Case) -> LogCheck:
    """Presses are longer than the debounce time."""
    logs = [each for each in case.seen if each.taps_from]
    if not logs:
        return missing(case, "press-length", more="No channel shows taps.")
    debounce = case.settings.debounce_s
    if debounce is None:
        return missing(
            case, "press-length", more="The design states no debounce time.", do="Write debounce on the input."
        )
    if min(each.tap_interval_s for each in logs) > debounce[0] * 1.001:
        return _too_far_apart(case, "press-length", debounce[0])
    fast = [each for each in logs if each.tap_interval_s <= debounce[0] * 1.001]
    whole = [p for each in fast for p in each.presses if math.isfinite(p.before_s) and math.isfinite(p.after_s)]
    if len(whole) < limits.TIMED_LEAST:
        text = f"{len(whole)} presses; {limits.TIMED_LEAST} are needed."
        return LogCheck("press-length", OPEN, text, "Press on.", {"presses": float(len(whole))})
    least = float(np.quantile([each.least_s for each in whole], 0.05, method="lower"))
    most = float(np.quantile([each.most_s for each in whole], 0.05, method="higher"))
    wanted = limits.PRESS_TO_DEBOUNCE * debounce[1]
    verdict = PASS if least >= wanted else FAIL if most < debounce[0] else OPEN
    text = (
        f"95 % of {len(whole)} presses last {least * 1000.0:.0f} ms or more ({most * 1000.0:.0f} at most); wanted are "
    )
    text += f"{wanted * 1000.0:.0f} ms."
    numbers: dict[str, float | str] = {"presses": float(len(whole)), "least_s": least, "most_s": most}
    return LogCheck(
        "press-length", verdict, text, "" if verdict is PASS else "Press longer; or look at the debounce.", numbers
    )
