"""The coded pin: does it settle in its windows, in the proof's spans, and does its margin last? Touches: nothing.

Sources: least squares and the band of a slope by its residuals: any textbook on regression. Student's factor is taken
         from a short table (two-sided 95 %; printed in any statistics handbook, from memory; a test compares).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pinproof.logs import limits
from pinproof.logs.blocks import Floats
from pinproof.logs.checks.case import FAIL, OPEN, PASS, Case, judged, missing, slow
from pinproof.logs.log_time import clock
from pinproof.logs.pin import PinSeen
from pinproof.logs.results import LogCheck, LogFinding
from pinproof.logs.runs import Runs, overlaps
from pinproof.logs.seen import Seen, clear_runs, interval_of
from pinproof.logs.settings import LineSettings
from pinproof.verdict import Window

STUDENT = {1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 6: 2.447, 7: 2.365, 8: 2.306, 9: 2.262, 10: 2.228,
           15: 2.131, 20: 2.086, 30: 2.042, 60: 2.000, 120: 1.980}  # fmt: skip


def _pins(case: Case) -> list[tuple[Seen, PinSeen]]:
    return [(seen, pin) for seen in case.seen for pin in seen.pins.values()]


def _usable(case: Case, check: str) -> LogCheck | None:
    if not case.settings.lines:
        return missing(case, check, more="The design has no coded line.", do="Write it.")
    if not any(line.windows for line in case.settings.lines):
        return missing(case, check, more="The design knows no windows.", do="`pinproof learn` finds them.")
    pins = _pins(case)
    if not pins:
        names = " or ".join(f"pin.{line.id}" for line in case.settings.lines)
        more = (
            ""
            if not any(r.startswith("pin.") for s in case.seen for r in s.channels)
            else "Its unit does not fit the input."
        )
        return missing(case, check, names, more=more)
    rate = max(_rate(seen, pin) for seen, pin in pins)
    if rate * 1.02 < limits.PIN_RATE_HZ:
        return slow(case, check, f"pin.{pins[0][1].line.id}", rate, limits.PIN_RATE_HZ)
    return None


def _rate(seen: Seen, pin: PinSeen) -> float:
    role = f"pin.{pin.line.id}"
    channel = seen.channels.get(role)
    if getattr(channel, "rate_basis", "") in ("held", "samples", "straight"):
        return min(seen.rate_hz(role), 1.0 / seen.row_s if seen.row_s else math.inf)
    return 1.0 / seen.row_s if seen.row_s else 0.0


def settled(pin: PinSeen, seen: Seen) -> Runs:
    """Runs that lasted at least the debounce time and three samples clear of gaps."""
    runs = clear_runs(pin.codes, seen)
    return runs.pick((runs.least_s >= pin.line.greatest_debounce_s) & (runs.count >= limits.SETTLED_SAMPLES))


def reading_words(line: LineSettings, reading: float) -> str:
    """A reading for a reader: percent, or volts."""
    return f"{reading * 100.0:.1f} %" if line.unit == "1" else f"{reading:.2f} V"


def _counts(case: Case) -> dict[str, int]:
    """Settled readings of each meaning, all logs and lines together."""
    found: dict[str, int] = {}
    for seen, pin in _pins(case):
        runs = settled(pin, seen)
        for number, window in enumerate(pin.line.windows):
            name = f"{pin.line.id}: {window.meaning}"
            found[name] = found.get(name, 0) + int((runs.value == number).sum())
    return found


def _commands(case: Case) -> list[str]:
    return [
        f"{line.id}: {each.meaning}"
        for line in case.settings.lines
        for each in line.windows
        if each.kind == "command" and each.meaning != "manual"
    ]


def pin_window(case: Case) -> LogCheck:
    """What the pin reads is always a meaning."""
    bad = _usable(case, "pin-window")
    if bad is not None:
        return bad
    findings: list[LogFinding] = []
    for seen, pin in _pins(case):
        runs = clear_runs(pin.lost, seen)
        runs = runs.pick(runs.least_s >= limits.LOST_S)
        codes = pin.codes
        for first, last in zip(runs.first_s, runs.last_s, strict=True):
            place = int(np.searchsorted(codes.first_s, last, side="right")) - 1
            mean = float(codes.means[place]) if place >= 0 else math.nan
            what = f" ({reading_words(pin.line, mean)})" if math.isfinite(mean) else ""
            text = f"From {clock(first)} to {clock(last)} {pin.line.id} reads in no window of a meaning{what}."
            findings.append(
                LogFinding(FAIL, pin.line.id, text, seen.name, float(first), float(last), {"reading": mean})
            )
    counts = _counts(case)
    few = [name for name in _commands(case) if counts.get(name, 0) < limits.EACH_COMMAND_LEAST]
    told = ", ".join(f"{name} {counts[name]}" for name in counts)
    return judged(
        "pin-window", findings, f"Settled readings: {told}; none outside.",
        f"Settled readings: {told}. {limits.EACH_COMMAND_LEAST} of each command are needed.", enough=not few,
        do="`pinproof find` leads to the cause.", numbers={f"settled {k}": float(v) for k, v in counts.items()},
    )  # fmt: skip


def pin_span(case: Case) -> LogCheck:
    """The pin reads what the proof says it may."""
    bad = _usable(case, "pin-span")
    if bad is not None:
        return bad
    findings: list[LogFinding] = []
    unscaled = False
    counts = _counts(case)
    for seen, pin in _pins(case):
        if pin.scaled_by.endswith("nominal battery"):
            unscaled = True
            continue
        runs, means = settled(pin, seen), None
        means = runs.means
        for number, window in enumerate(pin.line.windows):
            ends = pin.line.span(window.meaning, pin.states)
            if ends is None or window.kind == "fault":
                continue
            own = runs.value == number
            low, high = ends[0] - pin.line.error, ends[1] + pin.line.error
            if window.kind == "idle" or window.meaning == "manual":
                findings += _maintained(seen, pin, number, window, (low, high))
                continue
            with np.errstate(invalid="ignore"):
                outside = own & ((means < low) | (means > high))
                far = outside & ((means < low - pin.line.error) | (means > high + pin.line.error))
            surely = far & (runs.count >= limits.OUTSIDE_SAMPLES)
            if int(outside.sum()) >= limits.OUTSIDE_PRESSES or surely.any():
                place = int(np.flatnonzero(outside)[0])
                worst = float(max(means[outside], key=lambda x: max(low - x, x - high)))
                text = (
                    f"{int(outside.sum())} of {int(own.sum())} presses of {window.meaning} read "
                    f"outside what the proof says "
                    f"({reading_words(pin.line, ends[0])} to {reading_words(pin.line, ends[1])}), as far as "
                    f"{reading_words(pin.line, worst)}, first at {clock(float(runs.first_s[place]))}."
                )
                findings.append(
                    LogFinding(
                        FAIL,
                        window.meaning,
                        text,
                        seen.name,
                        float(runs.first_s[place]),
                        float(runs.last_s[place]),
                        {"reading": worst, "low": ends[0], "high": ends[1]},
                    )
                )
            heaps = two_heaps(means[own], window.nominal_half_width)
            if heaps is not None:
                text = f"Presses of {window.meaning} read in two heaps, about {reading_words(pin.line, heaps[0])} and "
                text += f"{reading_words(pin.line, heaps[1])}: two stations differ, or one contact is worn."
                findings.append(LogFinding(None, window.meaning, text, seen.name, None, None,
                                           {"heap_low": heaps[0], "heap_high": heaps[1]}))  # fmt: skip
    if unscaled and not findings:
        return missing(
            case, "pin-span", "supply", more="Volts at a pin that is compared with the battery need its volts."
        )
    few = [name for name, count in counts.items() if count < limits.EACH_MEANING_LEAST and not _is_fault(case, name)]
    return judged(
        "pin-span", findings, "All settled readings lie within the proof's spans.",
        f"Fewer than {limits.EACH_MEANING_LEAST} settled readings of {', '.join(few)}.", enough=not few,
        do="Look at contact, water and ground; offer the reading to the design as measured.",
    )  # fmt: skip


def _is_fault(case: Case, name: str) -> bool:
    line_id, _, meaning = name.partition(": ")
    line = case.settings.line(line_id)
    return line is not None and any(w.meaning == meaning and w.kind == "fault" for w in line.windows)


def _maintained(seen: Seen, pin: PinSeen, number: int, window: Window, ends: tuple[float, float]) -> list[LogFinding]:
    seconds = pin.outside_s.get(number, 0.0)
    if seconds < limits.OUTSIDE_IDLE_S:
        return []
    first = pin.outside_first_s[number]
    text = f"{window.meaning} reads outside what the proof says ({reading_words(pin.line, ends[0])} to "
    text += (
        f"{reading_words(pin.line, ends[1])}, reading error included) for {seconds:.0f} s, first from {clock(first)}."
    )
    numbers: dict[str, float | str] = {"seconds": seconds, "low": ends[0], "high": ends[1]}
    return [LogFinding(FAIL, window.meaning, text, seen.name, first, first + limits.OUTSIDE_IDLE_S, numbers)]


def two_heaps(readings: Floats, half_width: float) -> tuple[float, float] | None:
    """The middles of two heaps, if readings fall into two that lie apart; None if they do not.

    Apart is the largest gap between sorted readings when it is wider than a fifth of half the window and five times
    wider than the usual spread within either heap, with at least five readings on each side.
    """
    known = np.sort(readings[np.isfinite(readings)])
    if len(known) < 2 * limits.EACH_MEANING_LEAST:
        return None
    steps = np.diff(known)
    place = int(np.argmax(steps)) + 1
    low, high = known[:place], known[place:]
    if min(len(low), len(high)) < limits.EACH_MEANING_LEAST:
        return None
    gap = float(steps[place - 1])
    if gap < limits.TWO_HEAPS * half_width or gap < 5.0 * max(float(np.std(low)), float(np.std(high))):
        return None
    return float(np.median(low)), float(np.median(high))


def pin_meaning(case: Case) -> LogCheck:
    """The controller makes of a reading what the design says."""
    bad = _usable(case, "pin-meaning")
    if bad is not None:
        return bad
    both = [(seen, pin) for seen, pin in _pins(case) if f"meaning.{pin.line.id}" in seen.states]
    if not both:
        names = [f"meaning.{line.id}" for line in case.settings.lines]
        return missing(case, "pin-meaning", " or ".join(names))
    findings: list[LogFinding] = []
    alike: dict[str, int] = {}
    for seen, pin in both:
        role = f"meaning.{pin.line.id}"
        labels = [each.strip().casefold() for each in seen.labels(role)]
        lag = pin.line.greatest_debounce_s + 2.0 / max(_rate(seen, pin), 1.0) + interval_of(seen, role)
        runs = settled(pin, seen)
        means = runs.means
        told = seen.states[role]
        left, right, begin, end = overlaps(runs, told)
        begin = np.maximum(begin, runs.first_s[left] + lag)
        for place in np.flatnonzero(end - begin >= limits.LOST_S):
            number = int(runs.value[left[place]])
            if number < 0:
                continue
            window = pin.line.windows[number]
            low, high = window.guaranteed()
            said = labels[int(told.value[right[place]])] if int(told.value[right[place]]) < len(labels) else "?"
            if said == window.meaning.casefold():
                alike[window.meaning] = alike.get(window.meaning, 0) + 1
                continue
            if not low <= means[left[place]] <= high:
                continue
            text = (
                f"From {clock(begin[place])} to {clock(end[place])} {pin.line.id} reads "
                f"{reading_words(pin.line, float(means[left[place]]))}, which the design calls "
                f"{window.meaning}; the controller "
                f"reports {said}."
            )
            findings.append(LogFinding(FAIL, window.meaning, text, seen.name, float(begin[place]), float(end[place])))
    wanted = {w.meaning for _, pin in both for w in pin.line.windows if w.kind != "fault"}
    few = sorted(each for each in wanted if alike.get(each, 0) < limits.EACH_MEANING_LEAST)
    return judged(
        "pin-meaning", findings, "Reading and reported meaning agree in every settled stay.",
        f"Fewer than {limits.EACH_MEANING_LEAST} stays of {', '.join(few)} with both channels.", enough=not few,
        do="Windows in the wrong unit, or codes swapped in the controller.",
        numbers={f"alike {k}": float(v) for k, v in alike.items()},
    )  # fmt: skip


@dataclass(frozen=True)
class Trend:
    """A straight line through margins over time. Slopes for each second."""

    slope: float
    low: float
    high: float
    now: float  # the line's height at the last block
    blocks: int


def trend_of(time_s: Floats, margin: Floats) -> Trend | None:
    """Least squares with the 95 % band of the slope; None below the least number of blocks."""
    many = len(time_s)
    if many < limits.MARGIN_BLOCKS_LEAST:
        return None
    x = time_s - time_s.mean()
    spread = float((x * x).sum())
    slope = float((x * margin).sum()) / spread
    rest = margin - margin.mean() - slope * x
    sigma = math.sqrt(float((rest * rest).sum()) / (many - 2))
    band = student(many - 2) * sigma / math.sqrt(spread)
    return Trend(slope, slope - band, slope + band, float(margin.mean() + slope * x[-1]), many)


def student(freedom: int) -> float:
    """Two-sided 95 % factor, taken at the next smaller tabled number: never too small."""
    return STUDENT[max(each for each in STUDENT if each <= freedom)]


def pin_margin(case: Case) -> LogCheck:
    """The margin does not run away."""
    bad = _usable(case, "pin-margin")
    if bad is not None:
        return bad
    findings: list[LogFinding] = []
    judged_count = 0
    least = math.inf
    for seen, pin in _pins(case):
        if seen.duration_s < limits.MARGIN_LOG_S:
            continue
        for number, window in enumerate(pin.line.windows):
            if window.kind == "fault":
                continue
            rows = sorted((part, *pin.blocks[(part, each)]) for part, each in pin.blocks if each == number)
            rows = [row for row in rows if row[1] >= limits.SETTLED_SAMPLES * 3]
            at = np.array([(row[0] + 0.5) * pin.block_s for row in rows])
            means = np.array([row[2] / row[1] for row in rows])
            margin = margins(means, window)
            if len(margin):
                least = min(least, float(margin.min()))
            made = trend_of(at, margin) if len(margin) else None
            if made is None or not math.isfinite(made.slope):
                continue
            judged_count += 1
            ahead = made.now + made.low * seen.duration_s
            likely = made.now + made.slope * seen.duration_s
            sinks = made.high < 0.0
            if sinks and likely <= 0.0:
                verdict = FAIL
            elif ahead > 0.0:
                verdict = PASS
            else:
                verdict = OPEN
            per_hour = made.slope * 3600.0 * 100.0
            text = f"{window.meaning}: margin {made.now * 100.0:.0f} % of half a window, {per_hour:+.1f} % an hour"
            text += "; it reaches the edge before the log's length has passed again." if verdict is FAIL else "."
            numbers: dict[str, float | str] = {
                "margin": made.now,
                "per_hour": made.slope * 3600.0,
                "blocks": float(made.blocks),
            }
            findings.append(LogFinding(verdict, window.meaning, text, seen.name, float(at[0]), float(at[-1]), numbers))
    said = f"{judged_count} meanings watched; no margin runs away."
    return judged(
        "pin-margin",
        findings,
        said,
        "" if findings else f"{limits.MARGIN_LOG_S / 60.0:.0f} min of log are needed, with readings all along.",
        enough=judged_count > 0,
        do="Water, a worn contact, a loose ground: measure before the next stage.",
        numbers={"least_margin": least},
    )


def margins(readings: Floats, window: Window) -> Floats:
    """Distance to the nearest nominal edge in parts of half the window; below zero outside."""
    low, high = window.stated()
    return np.minimum(readings - low, high - readings) / window.nominal_half_width


__all__ = ["OPEN", "PASS", "pin_margin", "pin_meaning", "pin_span", "pin_window"]
