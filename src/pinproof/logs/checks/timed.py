"""How long after a tap the command comes, and the new ratio? Touches: nothing.

Only groups with as many steps as taps are timed: else nobody knows which tap the step answers.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pinproof.logs import limits
from pinproof.logs.checks.case import FAIL, OPEN, PASS, Case, missing, shift_picture, slow
from pinproof.logs.checks.taps import usable
from pinproof.logs.log_time import clock
from pinproof.logs.requests import Tap
from pinproof.logs.results import LogCheck, LogFinding
from pinproof.logs.seen import Seen, interval_of


def _answered(case: Case) -> list[tuple[Seen, Tap]]:
    return [(seen, tap) for seen, tap in case.taps() if tap.valid and tap.outcome == "held" and tap.each_its_own]


def tap_delay(case: Case) -> LogCheck:
    """From tap to command."""
    bad = usable(case, "tap-delay")
    if bad is not None:
        return bad
    logs = [each for each in case.having("gear_commanded") if each.taps_from]
    if not logs:
        return missing(case, "tap-delay", "gear_commanded")
    period = 1.02 / limits.COMMAND_RATE_HZ
    fast = [each for each in logs if each.tap_interval_s <= period and interval_of(each, "gear_commanded") <= period]
    if not fast:
        worst = max(max(each.tap_interval_s, interval_of(each, "gear_commanded")) for each in logs)
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
    bad = usable(case, "shift-time")
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
