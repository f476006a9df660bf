"""The checks of a log: each a small pure function over what all logs of a day hold.

Answers: does the log show that the truck did what it was told?
Touches: nothing.
Beside:  docs/logs.md has every name with what it proves, when it fails and what to do next, in this order.
"""

from __future__ import annotations

from collections.abc import Callable

from pinproof.logs.checks import around, clock, gears, lever, limits_kept, pin, scripted, taps, timed
from pinproof.logs.checks.case import Case
from pinproof.logs.results import LogCheck

CHECKS: dict[str, Callable[[Case], LogCheck]] = {
    "time-base": clock.time_base,
    "lever-code": lever.lever_code,
    "manual-engages": lever.manual_engages,
    "missed-tap": taps.missed_tap,
    "doubled-tap": taps.doubled_tap,
    "reversed-tap": taps.reversed_tap,
    "unasked-shift": taps.unasked_shift,
    "tap-delay": timed.tap_delay,
    "shift-time": timed.shift_time,
    "bounce": taps.bounce,
    "press-length": taps.press_length,
    "gear-agrees": gears.gear_agrees,
    "gear-slip": gears.gear_slip,
    "driveline-numbers": gears.driveline_numbers,
    "flare": gears.flare,
    "locked-slip": gears.locked_slip,
    "over-speed": limits_kept.over_speed,
    "downshift-guard": limits_kept.downshift_guard,
    "limiter": limits_kept.limiter,
    "limp": limits_kept.limp,
    "pin-window": pin.pin_window,
    "pin-span": pin.pin_span,
    "pin-meaning": pin.pin_meaning,
    "pin-margin": pin.pin_margin,
    "false-tap": scripted.false_tap,
    "supply": around.supply,
    "temperature": around.temperature,
    "press-count": scripted.press_count,
    "detents": scripted.detents,
    "scripted-steps": scripted.scripted_steps,
}


def run_all(case: Case) -> tuple[LogCheck, ...]:
    """Every check, in order."""
    return tuple(check(case) for check in CHECKS.values())


__all__ = ["CHECKS", "Case", "run_all"]
