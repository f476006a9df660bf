"""Steps of the gearbox, the speed at each, and whether manual was engaged.

Answers: when did the gear change by one, how quickly did the output turn then, was manual engaged?
Units:   seconds from the log's begin; rpm.
Touches: nothing.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pinproof.logs import limits
from pinproof.logs.runs import Runs
from pinproof.logs.settings import DriveSettings, Settings
from pinproof.logs.taps import Way

if TYPE_CHECKING:
    from pinproof.logs.seen import Seen


@dataclass(frozen=True)
class Step:
    """A change by one gear: it came after `before_s` and not after `first_s`."""

    way: Way
    before_s: float
    first_s: float
    old: float
    new: float


def steps_of(runs: Runs, interval_s: float) -> tuple[Step, ...]:
    """Steps between known gears. A change by two is two steps; what lies beyond a gap is none."""
    found: list[Step] = []
    for place in range(1, len(runs)):
        old, new = float(runs.value[place - 1]), float(runs.value[place])
        if old < 1.0 or new < 1.0 or old == new:
            continue
        before = float(runs.before_s[place])
        if math.isnan(before):
            continue
        before = min(before, float(runs.first_s[place]) - interval_s)
        way: Way = "up" if new > old else "down"
        stride = 1.0 if new > old else -1.0
        for count in range(round(abs(new - old))):
            found.append(
                Step(way, before, float(runs.first_s[place]), old + stride * count, old + stride * (count + 1))
            )
    return tuple(found)


def output_at(seen: Seen, drive: DriveSettings, at_s: float, gear: float) -> float:
    """Output speed at an event: measured, or from turbine and gear, the road, engine and gear. [rpm]

    From the road the transfer range is the one that fits the other speeds best, else the one that gives most.
    """
    found = seen.sampled(at_s, "output")
    if math.isfinite(found):
        return found
    known = 1.0 <= gear <= len(drive.ratios)
    turbine = seen.sampled(at_s, "turbine")
    if known and math.isfinite(turbine):
        return turbine / drive.ratios[int(gear) - 1]
    road = seen.sampled(at_s, "road")
    engine = seen.sampled(at_s, "engine")
    if math.isfinite(road):
        turning = [road * 60.0 * reduction.value / drive.around_m.value for _, reduction in drive.reductions]
        if known and math.isfinite(engine) and len(turning) > 1:
            by_engine = engine / drive.ratios[int(gear) - 1]
            return min(turning, key=lambda each: abs(math.log((each + 1.0) / (by_engine + 1.0))))
        return max(turning)
    if known and math.isfinite(engine):
        return engine * (1.0 - sum(drive.slip) / 2.0) / drive.ratios[int(gear) - 1]
    return math.nan


def output_between(seen: Seen, drive: DriveSettings, step: Step) -> tuple[float, float]:
    """Between which speeds the output surely turned at a step; NaN if nothing tells. [rpm]

    What is not measured is worked out from every speed that is, in both gears and all transfer ranges: around a step
    nobody knows which of two samples came first. A gear that shows late is looked at from as long before.
    """
    late_s, doubt_s = seen.shown_after_s(seen.steps_from)
    sooner = [each for each in limits.SHOWN_LATE_SAMPLES_S if each < late_s + doubt_s + limits.SHOWN_LATE_SAMPLES_S[0]]
    times = (step.before_s, step.first_s, *(step.before_s - each for each in sooner if late_s > 0.0))

    def known(role: str) -> list[float]:
        return [x for x in (seen.sampled(at, role) for at in times) if math.isfinite(x)]

    found = known("output")
    if not found:
        ratios = [drive.ratios[int(gear) - 1] for gear in (step.old, step.new) if 1.0 <= gear <= len(drive.ratios)]
        found = [x / ratio for x in known("turbine") for ratio in ratios]
        if not found:
            found = [
                x * 60.0 * turns / around
                for x in known("road")
                for _, span in drive.reductions
                for turns in (span.low, span.high)
                for around in (drive.around_m.low, drive.around_m.high)
            ]
        if not found:
            found = [x * (1.0 - slip) / ratio for x in known("engine") for slip in drive.slip for ratio in ratios]
    return (min(found), max(found)) if found else (math.nan, math.nan)


def is_manual(seen: Seen, settings: Settings, from_s: float, to_s: float) -> bool:
    """True if manual was engaged all through a stretch, by `mode`, else by the lever's codes, else by the pin.

    Without any of them nothing says that it was not, and taps that gave steps do: true.
    """
    mode = seen.states.get("mode")
    if mode is not None:
        return _all(mode, from_s, to_s, (1.0,))
    lever = seen.states.get("lever")
    codes = manual_codes(seen, settings)
    if lever is not None and codes:
        return _all(lever, from_s, to_s, codes)
    return True


def manual_codes(seen: Seen, settings: Settings) -> tuple[float, ...]:
    """Numbers of the lever's words that the controller takes as manual.

    A word of the logger map counts as itself, or as the code that the design's lever table has for a detent of that
    name.
    """
    wanted = {_plain(each) for each in settings.lever_manual}
    of = {_plain(name): _plain(code) for name, code in settings.detents.items()}
    return tuple(
        float(number)
        for number, label in enumerate(seen.labels("lever"))
        if _plain(label) in wanted or of.get(_plain(label)) in wanted
    )


def _plain(code: str) -> str:
    """A code for comparing: "05", "5" and "5.0" are one."""
    text = code.strip().casefold()
    try:
        number = float(text)
    except ValueError:
        return text
    return f"{number:g}" if math.isfinite(number) else text


def _all(runs: Runs, from_s: float, to_s: float, values: Sequence[float]) -> bool:
    first = bisect.bisect_right(runs.first_list, from_s) - 1
    last = bisect.bisect_right(runs.first_list, to_s)
    if first < 0 or not len(runs):
        return False
    return all(each in values for each in runs.value_list[first:last]) and (
        to_s - runs.last_list[last - 1] <= limits.STALE_S
    )
