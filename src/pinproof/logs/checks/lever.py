"""Lever and manual: is the code right, does manual engage? Touches: nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pinproof.logs import limits
from pinproof.logs.checks.case import FAIL, OPEN, PASS, Case, judged, missing
from pinproof.logs.gear_steps import manual_codes
from pinproof.logs.log_time import clock
from pinproof.logs.results import LogCheck, LogFinding
from pinproof.logs.runs import Runs, joined
from pinproof.logs.seen import Seen, clear_runs, interval_of

READ_LIVE = "Key on, engine off: read the code in each detent, and correct what the controller was told."


def lever_code(case: Case) -> LogCheck:
    """The code that the lever reports as manual engages, against the one the controller was told."""
    logs = case.having("lever", "mode")
    if not logs:
        return missing(case, "lever-code", "lever", "mode")
    findings: list[LogFinding] = []
    engaged = 0
    seen_codes: dict[str, int] = {}
    for seen in logs:
        codes = manual_codes(seen, case.settings)
        lever, mode = seen.states["lever"], seen.states["mode"]
        wait = max(seen.row_s, min(interval_of(seen, "lever"), limits.STATE_INTERVAL_MOST_S))
        wait = seen.row_s if _seldom(seen, "lever") else wait
        doubt = limits.STATE_INTERVAL_MOST_S if _seldom(seen, "lever") or _seldom(seen, "mode") else 0.0
        for place in _engagements(mode):
            before, first = float(mode.before_s[place]), float(mode.first_s[place])
            if seen.beside_gap(before, first):
                continue
            here = _codes_within(lever, before, first + wait)
            if not here:
                continue
            engaged += 1
            words = [_label(seen, code) for code in here]
            for word in words:
                seen_codes[word] = seen_codes.get(word, 0) + 1
            if not case.settings.lever_manual:
                continue
            right = any(code in codes for code in here)
            late = doubt and not right and any(c in codes for c in _codes_within(lever, before - doubt, first + doubt))
            told = " or ".join(case.settings.lever_manual)
            text = (
                f"Manual engaged at {clock(first)} with the lever reporting {' then '.join(words)}; the controller was "
                f"told {told}."
            )
            findings.append(
                LogFinding(
                    PASS if right else OPEN if late else FAIL,
                    f"engagement at {clock(first)}",
                    text,
                    seen.name,
                    before,
                    first + wait,
                )
            )
        if case.settings.lever_manual:
            findings += _stays_elsewhere(case, seen, lever, mode, codes)
    numbers: dict[str, float | str] = {"engagements": float(engaged), "codes": ", ".join(seen_codes)}
    if case.settings.lever_manual and not any(
        manual_codes(seen, case.settings) or _comparable(seen, case.settings.lever_manual) for seen in logs
    ):
        labels = ", ".join(dict.fromkeys(label for seen in logs for label in seen.labels("lever")))
        text = f"The logger map calls the lever's codes {labels or 'nothing'}; the design says manual is "
        text += f"{' or '.join(case.settings.lever_manual)}. They cannot be compared."
        do = "Use one word for one code in map and design, or write the lever table in [drive.log]."
        return LogCheck("lever-code", OPEN, text, do, numbers, needs="lever words")
    if not case.settings.lever_manual:
        known = ", ".join(seen_codes) or "none: manual never engaged"
        text = f"The design does not say which code is manual. Seen as manual engaged: {known}."
        return LogCheck("lever-code", OPEN, text, "Write lever_manual in [drive.log].", numbers, needs="lever_manual")
    wrong = sum(each.verdict is FAIL and each.subject.startswith("engagement") for each in findings)
    if 0 < 2 * wrong <= engaged:  # a wrong setting is wrong each time; now and then it is something else
        findings = [
            replace(
                each, verdict=OPEN, text=f"{each.text} Most engagements had the code: not the setting, but the pin?"
            )
            if each.verdict is FAIL and each.subject.startswith("engagement")
            else each
            for each in findings
        ]
    passed = f"Manual engaged {_times(engaged)}, each with its code ({', '.join(seen_codes)})."
    return judged(
        "lever-code", findings, passed, "Manual never engaged while the lever was logged.", enough=engaged > 0,
        do=READ_LIVE, numbers=numbers,
    )  # fmt: skip


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _comparable(seen: Seen, told: Sequence[str]) -> bool:
    """True if the log's words are of the kind that the controller was told: numbers both, or one of them known."""

    def numbers(words: Sequence[str]) -> bool:
        return bool(words) and all(each.strip().lstrip("-").replace(".", "", 1).isdigit() for each in words)

    return numbers(seen.labels("lever")) and numbers(told)


def _stays_elsewhere(case: Case, seen: Seen, lever: Runs, mode: Runs, codes: tuple[float, ...]) -> list[LogFinding]:
    """Long stays on another code while manual is engaged and taps are answered."""
    found = []
    steps = np.array([tap.press.first_s for _, tap in case.taps() if _ is seen and tap.answers])
    for place in range(len(lever)):
        first, last = float(lever.first_s[place]), float(lever.last_s[place])
        if float(lever.value[place]) in codes or last - first < limits.WRONG_CODE_S:
            continue
        for at in steps[(steps > first + limits.WRONG_CODE_S) & (steps <= last)]:
            if mode.at(np.array([at]))[0] > 0.0:
                word = _label(seen, float(lever.value[place]))
                text = f"Taps are answered at {clock(float(at))} in manual, while the lever has reported {word} since "
                text += f"{clock(first)}; the controller was told {' or '.join(case.settings.lever_manual)}."
                found.append(LogFinding(FAIL, f"lever on {word}", text, seen.name, first, float(at)))
                break
    return found


def manual_engages(case: Case) -> LogCheck:
    """Manual engages within a second of the lever, or of the first tap after it."""
    logs = case.having("mode")
    if not logs:
        return missing(case, "manual-engages", "mode")
    findings: list[LogFinding] = []
    judged_stays = after_tap = untold = 0
    usable = False
    for seen in logs:
        stays, lag = _stays(case, seen)
        if stays is None:
            continue
        usable = True
        mode = seen.states["mode"]
        for first, last, cut in stays:
            if last - first < limits.ENGAGE_S + lag:
                continue
            engaged = _first_on(mode, first - lag, last)
            taps = [tap.press.first_s for _, tap in case.taps() if _ is seen and first <= tap.press.first_s <= last]
            tap = taps[0] if taps else math.nan
            subject = f"lever in manual at {clock(first)}"
            if cut and engaged <= first + limits.ENGAGE_S + lag:
                continue  # it begins beside a gap: nobody saw how manual engaged
            if engaged <= first + limits.ENGAGE_S + lag:
                judged_stays += 1
                findings.append(
                    LogFinding(
                        PASS, subject, f"Manual engaged at {clock(engaged)}, at once.", seen.name, first, engaged
                    )
                )
            elif math.isfinite(tap) and engaged <= tap + limits.ENGAGE_S + lag:
                judged_stays += 1
                after_tap += 1
                text = f"Manual shows only after the first tap at {clock(tap)}. No fault; tell the driver."
                findings.append(LogFinding(PASS, subject, text, seen.name, first, engaged))
            elif math.isfinite(tap) and last >= tap + limits.ENGAGE_S + lag:
                judged_stays += 1
                text = f"Lever in manual since {clock(first)}, tapped at {clock(tap)}: manual does not engage within "
                text += f"{limits.ENGAGE_S:g} s."
                findings.append(LogFinding(FAIL, subject, text, seen.name, first, min(last, tap + 2.0)))
            else:
                untold += 1
                text = (
                    f"Manual did not engage from {clock(first)} to {clock(last)}; nobody tapped, so it may show only "
                )
                text += "after the first tap."
                findings.append(LogFinding(None, subject, text, seen.name, first, last))
    if not usable:
        return missing(
            case,
            "manual-engages",
            more="Nothing says when the lever was in manual: no `lever` with lever_manual, no pin.",
        )
    note = f" {after_tap} of them only after the first tap." if after_tap else ""
    return judged(
        "manual-engages", findings, f"The lever was put to manual {_times(judged_stays)}, and manual engaged.{note}",
        "The lever was never in manual for long enough" + (", or nobody tapped." if untold else "."),
        enough=judged_stays > 0, do="Lever to manual, wait 2 s, tap once; read how manual engages.",
        numbers={"stays": float(judged_stays), "after_first_tap": float(after_tap), "not_told": float(untold)},
    )  # fmt: skip


def _stays(case: Case, seen: Seen) -> tuple[list[tuple[float, float, bool]] | None, float]:
    """When the lever was in manual clear of gaps, whether its begin is cut off, how late that and `mode` may be."""
    codes = manual_codes(seen, case.settings)
    if "lever" in seen.states and codes:
        lever = seen.states["lever"]
        chosen = lever.pick(np.isin(lever.value, codes))
        return _clear_of(chosen, seen), _lag(seen, "lever")
    for line_id, pin in seen.pins.items():
        if not pin.line.has_manual:
            continue
        wanted = [n for n, w in enumerate(pin.line.windows) if w.kind == "command"]
        codes_runs = pin.codes
        if not len(codes_runs):
            continue
        state = np.where(np.isin(codes_runs.value, wanted), 1.0, 0.0)
        stray = (codes_runs.value < 0.0) & (codes_runs.least_s < limits.LOST_S)
        on = codes_runs.pick((state == 1.0) & ~stray)
        flat = Runs(
            np.ones(len(on)), on.before_s, on.first_s, on.last_s, on.count, on.sum, on.first_x, on.last_x, on.overflow
        )
        merged = joined(flat, limits.LOST_S)
        return _clear_of(merged, seen), _lag(seen, f"pin.{line_id}")
    return None, 0.0


def _clear_of(runs: Runs, seen: Seen) -> list[tuple[float, float, bool]]:
    begins = set(runs.first_list)
    clear = clear_runs(runs, seen)
    return [(first, last, first not in begins) for first, last in zip(clear.first_list, clear.last_list, strict=True)]


def _lag(seen: Seen, role: str) -> float:
    return interval_of(seen, role) + interval_of(seen, "mode")


def _seldom(seen: Seen, role: str) -> bool:
    """True if a channel changes too seldom to tell how often it has something new."""
    return getattr(seen.channels.get(role), "rate_basis", "") == "seldom"


def _engagements(mode: Runs) -> list[int]:
    """Where `mode` went from 0 to 1, seen on both sides."""
    return [
        place
        for place in range(1, len(mode))
        if mode.value[place] == 1.0 and mode.value[place - 1] == 0.0 and not math.isnan(mode.before_s[place])
    ]


def _codes_within(lever: Runs, from_s: float, to_s: float) -> list[float]:
    found = [
        float(v) for v, a, b in zip(lever.value, lever.first_s, lever.last_s, strict=True) if a <= to_s and b >= from_s
    ]
    if not found and len(lever):
        place = int(np.searchsorted(lever.first_s, to_s, side="right")) - 1
        if place >= 0 and from_s - float(lever.last_s[place]) <= limits.STALE_S:
            found = [float(lever.value[place])]
    return found


def _first_on(mode: Runs, from_s: float, to_s: float) -> float:
    for value, first, last in zip(mode.value, mode.first_s, mode.last_s, strict=True):
        if value > 0.0 and last >= from_s and first <= to_s:
            return max(float(first), from_s)
    return math.inf


def _label(seen: Seen, code: float) -> str:
    labels = seen.labels("lever")
    return labels[int(code)] if 0 <= int(code) < len(labels) else f"{code:g}"
