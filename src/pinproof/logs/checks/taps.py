"""Taps: is each answered by one step, the right way, in time; does the gearbox shift by itself? Touches: nothing.

Sources: exact limits of shares and rates in `pinproof.logs.confidence`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pinproof.logs import limits
from pinproof.logs.checks.case import FAIL, OPEN, PASS, Case, clock, judged, missing, shift_picture, slow, step_words
from pinproof.logs.confidence import time_for, tries_for, upper_rate, upper_share
from pinproof.logs.requests import Tap
from pinproof.logs.results import LogCheck, LogFinding
from pinproof.logs.seen import Seen

MANY = tries_for(limits.MOST_SHARE)
HOURS = time_for(limits.MOST_PER_HOUR)


def share_words(events: int, of: int, what: str) -> str:
    """What a sample can show: "0 misses in 60 taps: under 4.9 % at 95 % confidence". The limit is cut upward."""
    upper = math.ceil(upper_share(events, of) * 1000.0) / 10.0
    return f"{events} {what} in {of} taps: under {upper:.1f} % at {limits.CONFIDENCE * 100:.0f} % confidence"


def _usable(case: Case, check: str) -> LogCheck | None:
    """Why taps cannot be judged at all; None if they can."""
    if not any(each.taps_from for each in case.seen):
        return missing(
            case, check, more="No channel shows taps: neither tap_up, tap_down nor a pin or meaning of a coded line.",
            do="Record one, or drive with counted taps and a script.",
        )  # fmt: skip
    if not any(each.steps_from for each in case.seen):
        return missing(case, check, more="No channel shows steps: neither gear_commanded, gear nor two speeds.")
    rates = [
        1.0 / max(_interval(each, each.steps_from), 1e-6) for each in case.seen if each.steps_from in each.channels
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
    bad = _usable(case, "missed-tap")
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
    bad = _usable(case, "doubled-tap")
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
    bad = _usable(case, "reversed-tap")
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
    bad = _usable(case, "unasked-shift")
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


def _answered(case: Case) -> list[tuple[Seen, Tap]]:
    return [(seen, tap) for seen, tap in case.taps() if tap.valid and tap.outcome == "held" and tap.answers]


def tap_delay(case: Case) -> LogCheck:
    """From tap to command."""
    bad = _usable(case, "tap-delay")
    if bad is not None:
        return bad
    logs = [each for each in case.having("gear_commanded") if each.taps_from]
    if not logs:
        return missing(case, "tap-delay", "gear_commanded")
    period = 1.02 / limits.COMMAND_RATE_HZ
    fast = [each for each in logs if each.tap_interval_s <= period and _interval(each, "gear_commanded") <= period]
    if not fast:
        worst = max(max(each.tap_interval_s, _interval(each, "gear_commanded")) for each in logs)
        return slow(case, "tap-delay", "tap or gear_commanded", 1.0 / worst, limits.COMMAND_RATE_HZ)
    least, most, where = [], [], []
    for seen, tap in _answered(case):
        if not any(seen is each for each in fast):
            continue
        step = tap.answers[0]
        least.append(max(0.0, step.before_s - tap.press.first_s))
        most.append(step.first_s - tap.press.before_s)
        where.append((seen, tap))
    settings = case.settings
    numbers: dict[str, float | str] = {"taps": float(len(least))}
    if len(least) < limits.TIMED_LEAST:
        text = f"{len(least)} timed taps; {limits.TIMED_LEAST} are needed."
        return LogCheck("tap-delay", OPEN, text, "Tap on.", numbers)
    rows = [("median", 0.5, settings.command_median_s), ("95 %", 0.95, settings.command_95_s)]
    return _timed(
        "tap-delay", case, least, most, where, rows, numbers, "Look at debounce and at the controller's task rate."
    )


def shift_time(case: Case) -> LogCheck:
    """From tap to the new ratio."""
    bad = _usable(case, "shift-time")
    if bad is not None:
        return bad
    logs = [each for each in case.having("turbine", "output") if each.taps_from and each.speeds.ratio_from]
    if not logs:
        return missing(case, "shift-time", "turbine", "output")
    period = 1.02 / limits.RATIO_RATE_HZ
    fast = [each for each in logs if _ratio_interval(each) <= period]
    if not fast:
        return slow(case, "shift-time", logs[0].speeds.ratio_from, 1.0 / _ratio_interval(logs[0]), limits.RATIO_RATE_HZ)
    least, most, where = [], [], []
    for seen, tap in _answered(case):
        if len(tap.answers) != 1 or not any(seen is each for each in fast):
            continue
        found = _ratio_after(seen, tap)
        if found is not None:
            least.append(max(0.0, found[0] - tap.press.first_s))
            most.append(found[1] - tap.press.before_s)
            where.append((seen, tap))
    numbers: dict[str, float | str] = {"taps": float(len(least))}
    if len(least) < limits.TIMED_LEAST:
        text = f"{len(least)} taps with a new ratio; {limits.TIMED_LEAST} are needed."
        return LogCheck("shift-time", OPEN, text, "Tap on.", numbers)
    settings = case.settings
    rows = [("95 %", 0.95, settings.ratio_95_s), ("worst", 1.0, settings.ratio_worst_s)]
    return _timed(
        "shift-time", case, least, most, where, rows, numbers, "Pressure, torque cut; the gearbox maker's limits rule."
    )


def _ratio_after(seen: Seen, tap: Tap) -> tuple[float, float] | None:
    """Between which times the new gear's band was entered after a tap."""
    runs = seen.speeds.ratio
    step = tap.answers[0]
    place = int(np.searchsorted(runs.first_s, tap.press.first_s))
    for number in range(place, min(place + 6, len(runs))):
        first = float(runs.first_s[number])
        if first > tap.press.first_s + 5.0:
            return None
        if float(runs.value[number]) == step.new:
            return first - _ratio_interval(seen), first
    return None


def _ratio_interval(seen: Seen) -> float:
    speeds = seen.speeds.interval_s
    return max([seen.row_s, *(speeds[role] for role in ("turbine", "output") if role in speeds)])


def _interval(seen: Seen, role: str) -> float:
    channel = seen.channels.get(role)
    rate = float(getattr(channel, "rate_hz", math.nan))
    if getattr(channel, "rate_basis", "") in ("held", "samples", "straight") and rate > 0.0:
        return max(seen.row_s, 1.0 / rate)
    return seen.row_s


def _timed(
    check: str, case: Case, least: list[float], most: list[float], where: list[tuple[Seen, Tap]],
    rows: Sequence[tuple[str, float, float]], numbers: dict[str, float | str], do: str,
) -> LogCheck:  # fmt: skip
    """Judge brackets of times: even the upper ends keep the limit, even the lower ends break it, or neither."""
    low, high = np.array(least), np.array(most)
    verdicts, told = [], []
    for name, share, limit in rows:
        under, over = (float(np.quantile(each, share, method="higher")) for each in (low, high))
        numbers |= {f"{name}_least_s": under, f"{name}_most_s": over, f"{name}_limit_s": limit}
        verdicts.append(PASS if over <= limit else FAIL if under > limit else OPEN)
        told.append(f"{name} {under * 1000.0:.0f} to {over * 1000.0:.0f} ms (limit {limit * 1000.0:.0f} ms)")
    text = f"{len(least)} taps: {', '.join(told)}."
    verdict = min(verdicts, key=lambda each: each.rank)
    worst_limit = max(limit for _, _, limit in rows)
    findings = []
    for place in np.argsort(low)[::-1][:20]:
        seen, tap = where[place]
        if verdict is FAIL and low[place] > min(limit for _, _, limit in rows):
            end = tap.press.first_s + float(high[place])
            words = f"Tap {tap.press.way} at {clock(tap.press.first_s)}: {low[place] * 1000.0:.0f} to "
            words += f"{high[place] * 1000.0:.0f} ms."
            picture = shift_picture(
                case, seen, tap.press.first_s - 0.5, end + 0.7, ((tap.press.first_s + worst_limit, "limit"),)
            )
            findings.append(
                LogFinding(
                    FAIL,
                    f"tap {tap.press.way} in {case.gear_name(tap.gear)}",
                    words,
                    seen.name,
                    tap.press.first_s,
                    end,
                    {"least_s": float(low[place]), "most_s": float(high[place])},
                    picture,
                )
            )
    return LogCheck(check, verdict, text, "" if verdict is PASS else do, numbers, tuple(findings))


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
