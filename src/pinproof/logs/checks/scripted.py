"""What the crew pressed and wrote down, against what the log shows. Touches: nothing."""

from __future__ import annotations

import math

import numpy as np

from pinproof.logs import limits
from pinproof.logs.checks.case import FAIL, OPEN, PASS, Case, judged, missing
from pinproof.logs.checks.taps import HOURS, MANY, share_words
from pinproof.logs.confidence import upper_rate, upper_share
from pinproof.logs.log_time import clock
from pinproof.logs.results import LogCheck, LogFinding
from pinproof.logs.script import Phase
from pinproof.logs.seen import Seen

WRITE_SCRIPT = "Do it with a script: `pinproof log FILE --plan`."


def false_tap(case: Case) -> LogCheck:
    """Nobody's hand means no tap."""
    if not any(case.phases(seen, "hands off") for seen in case.seen):
        return missing(case, "false-tap", more='No script has a phase "hands off".', do=WRITE_SCRIPT)
    findings: list[LogFinding] = []
    hours, blind = 0.0, False
    for seen in case.seen:
        for phase in case.phases(seen, "hands off"):
            begin, end = max(phase.from_s, seen.begin_s), min(phase.to_s, seen.end_s)
            if not seen.taps_from or seen.blind.meets(begin, end):
                blind = True
            else:
                hours += max(0.0, end - begin) / 3600.0
            for press in seen.presses:
                if begin <= press.first_s <= end and not seen.beside_gap(press.first_s):
                    text = f"A tap {press.way} at {clock(press.first_s)}, while nobody touched a button."
                    findings.append(LogFinding(FAIL, f"tap {press.way}", text, seen.name, press.first_s, press.last_s))
    rate = upper_rate(0, hours) if hours else math.inf
    said = f"None in {hours:.2f} h of hands off"
    said += f": under {math.ceil(rate * 100.0) / 100.0:.2f} an hour at 95 % confidence." if math.isfinite(rate) else "."
    open_ = f"{said} {HOURS:.1f} h are needed." + (" In part a tap could hide between samples." if blind else "")
    return judged(
        "false-tap", findings, said, open_, enough=hours >= HOURS, do="Log longer with hands off; look at wetness.",
        numbers={"hours": hours, "upper_per_hour": rate},
    )  # fmt: skip


def press_count(case: Case) -> LogCheck:
    """Every press arrived."""
    phases = [(seen, each) for seen in case.seen for each in case.phases(seen, "key on, engine off")]
    if not phases:
        return missing(case, "press-count", more='No script has a phase "key on, engine off".', do=WRITE_SCRIPT)
    findings: list[LogFinding] = []
    counted = 0
    for seen, phase in phases:
        where = f"phase {phase.number}"
        if not _inside(seen, phase):
            text = f"Phase {phase.number} is not within {seen.name}, or a gap lies in it."
            findings.append(LogFinding(OPEN, where, text, seen.name, phase.from_s, phase.to_s))
            continue
        held = phase.held_s if phase.held_s is not None else limits.BOUNCE_S
        if not seen.taps_from or seen.tap_interval_s > held / 2.0:
            text = f"Phase {phase.number}: presses of {held:g} s need a sample every {held / 2.0:g} s."
            findings.append(LogFinding(OPEN, where, text, seen.name, phase.from_s, phase.to_s))
            continue
        for way, wanted in (("up", phase.up), ("down", phase.down)):
            if wanted is None:
                continue
            here = [e for e in seen.presses if e.way == way and phase.from_s <= e.first_s <= phase.to_s]
            short = sum(each.too_short for each in here)
            if held - 2.0 * seen.tap_interval_s >= _longest_debounce(case):
                here, short = [each for each in here if not each.too_short], 0  # passed through, not pressed
            got = len(here)
            counted += wanted
            text = f"Phase {phase.number}: {got} of {wanted} presses {way} arrived."
            if short:
                text += f" {short} of them are shorter than the debounce time and may be no presses."
            certain = not short or wanted < got - short or wanted > got
            findings.append(
                LogFinding(
                    OPEN if not certain else PASS if got == wanted else FAIL,
                    f"{where}, {way}",
                    text,
                    seen.name,
                    phase.from_s,
                    phase.to_s,
                    {"pressed": float(wanted), "arrived": float(got)},
                )
            )
    return judged(
        "press-count", findings, f"All {counted} presses arrived.", enough=counted > 0,
        do="Press again and watch; `pinproof find`.", numbers={"pressed": float(counted)},
    )  # fmt: skip


def _longest_debounce(case: Case) -> float:
    return max((line.greatest_debounce_s for line in case.settings.lines), default=limits.DEBOUNCE_UNKNOWN_S)


def detents(case: Case) -> LogCheck:
    """Each detent has one code, in order."""
    phases = [(seen, each) for seen in case.seen for each in case.phases(seen, "detents")]
    if not phases:
        return missing(case, "detents", more='No script has a phase "detents".', do=WRITE_SCRIPT)
    findings: list[LogFinding] = []
    for seen, phase in phases:
        lever = seen.states.get("lever")
        if lever is None:
            findings.append(LogFinding(OPEN, f"phase {phase.number}", "No channel lever.", seen.name))
            continue
        if not _inside(seen, phase):
            text = f"Phase {phase.number} is not within {seen.name}, or a gap lies in it."
            findings.append(LogFinding(OPEN, f"phase {phase.number}", text, seen.name, phase.from_s, phase.to_s))
            continue
        rows = (lever.last_s >= phase.from_s) & (lever.first_s <= phase.to_s)
        rows &= np.minimum(lever.last_s, phase.to_s) - np.maximum(lever.first_s, phase.from_s) >= limits.DETENT_S
        codes = [float(each) for each in lever.value[rows]]
        codes = [code for place, code in enumerate(codes) if place == 0 or code != codes[place - 1]]
        findings.append(_detents(seen, phase, codes))
    return judged(
        "detents", findings, "Every detent has its own code, in order.", enough=True,
        do="Read the codes live in each detent; linkage, selector switch.",
    )  # fmt: skip


def _detents(seen: Seen, phase: Phase, codes: list[float]) -> LogFinding:
    labels = seen.labels("lever")
    words = [labels[int(code)] if int(code) < len(labels) else f"{code:g}" for code in codes]
    subject, where = f"phase {phase.number}", (seen.name, phase.from_s, phase.to_s)
    told = f"Detents {', '.join(phase.detents)}; codes {', '.join(words) or 'none'}."
    if len(codes) != len(phase.detents):
        text = f"{told} {len(phase.detents)} detents were visited, {len(codes)} codes held for {limits.DETENT_S:g} s."
        return LogFinding(FAIL, subject, text, *where)
    of: dict[str, float] = {}
    for name, code in zip(phase.detents, codes, strict=True):
        if of.setdefault(name, code) != code:
            return LogFinding(FAIL, subject, f"{told} {name} had two codes.", *where)
    if len(set(of.values())) < len(of):
        return LogFinding(FAIL, subject, f"{told} Two detents share a code.", *where)
    return LogFinding(PASS, subject, told, *where)


def scripted_steps(case: Case) -> LogCheck:
    """Counted taps against counted steps, where no channel shows taps."""
    phases = [(seen, each) for seen in case.seen for each in case.phases(seen, "drive")]
    if not phases:
        return missing(case, "scripted-steps", more='No script has a phase "drive".', do=WRITE_SCRIPT)
    findings: list[LogFinding] = []
    taps = 0
    for seen, phase in phases:
        where = f"phase {phase.number}"
        rate = seen.rate_hz(seen.steps_from) if seen.steps_from in seen.channels else 1.0 / max(seen.row_s, 1e-6)
        if not seen.steps_from or rate * 1.02 < limits.STEP_RATE_HZ or not _inside(seen, phase):
            text = f"Phase {phase.number}: it is not within {seen.name}, a gap lies in it, or the gear is too slow."
            findings.append(LogFinding(OPEN, where, text, seen.name, phase.from_s, phase.to_s))
            continue
        rows = (("up", phase.up, phase.refused_up), ("down", phase.down, phase.refused_down))
        for way, pressed, refused in rows:
            if pressed is None:
                continue
            wanted = pressed - refused
            got = sum(each.way == way and phase.from_s <= each.first_s <= phase.to_s for each in seen.steps)
            taps += wanted
            text = f"Phase {phase.number}: {pressed} taps {way}, {refused} seen refused, {got} steps {way}."
            findings.append(
                LogFinding(
                    PASS if got == wanted else FAIL,
                    f"{where}, {way}",
                    text,
                    seen.name,
                    phase.from_s,
                    phase.to_s,
                    {"wanted": float(wanted), "steps": float(got)},
                )
            )
    said = share_words(0, taps, "misses") if taps else "No tap"
    return judged(
        "scripted-steps", findings, f"{said}.", f"{said}; {MANY} are needed.", enough=taps >= MANY,
        do="Count aloud with a second person; drive it again.",
        numbers={"taps": float(taps), "upper_share": upper_share(0, taps) if taps else 1.0},
    )  # fmt: skip


def _inside(seen: Seen, phase: Phase) -> bool:
    """True if the phase lies in the log, and no gap in it."""
    if phase.from_s < seen.begin_s - 1.0 or phase.to_s > seen.end_s + 1.0:
        return False
    return not seen.torn.meets(phase.from_s, phase.to_s)


__all__ = ["detents", "false_tap", "press_count", "scripted_steps"]
