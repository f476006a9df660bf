"""Can a log show the defect that was planted? Decided from the physics and the logged samples, before any check.

`tellable(logged, planted)` works out, for each event or stretch in which the defect truly showed, the posterior that
the defect is there against every other explanation: nothing was pressed, it was refused, it hid between two samples, it
is noise. 95 % for one event (or for the whole log, where counts decide) makes it tellable. Where counts decide, the
limits are those of the page of the checks, since "too slow" means nothing without them.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from tests.truth import log_oracle_levels as levels
from tests.truth.log_defects import Planted
from tests.truth.log_loggers import Logged
from tests.truth.log_sim_box import Shift
from tests.truth.log_sim_driver import Press
from tests.truth.log_sim_truck import MEANINGS
from tests.truth.log_witness import DIGITAL, LEAVE_OUT_S, SURE, Tell, Witness, chance, told


def tellable(logged: Logged, planted: Planted) -> Tell:
    """The verdict of the oracle on one log."""
    witness = Witness(logged)
    rules = {
        "wrong_lever_code": levels.wrong_lever_code, "never_manual": levels.never_manual, "missed": missed,
        "doubled": doubled, "reversed": reversed_taps, "unasked": unasked, "slow_shift": slow_shift,
        "flare": levels.flare, "slip": levels.slip, "overspeed": levels.overspeed, "bounce": bounce,
        "pin_drift": levels.pin_outside, "false_command": levels.pin_outside, "wrong_gear": levels.wrong_gear,
        "wrong_driveline": levels.wrong_driveline, "supply_low": levels.supply_low, "hot": levels.hot,
        "limiter_below_line": levels.limiter_below_line, "stations_differ": stations_differ,
    }  # fmt: skip
    return rules[planted.kind](witness)


def shift_of(witness: Witness, press: Press) -> Shift | None:
    return witness.sim.shifts[press.shift] if press.shift >= 0 else None


def gear_before(witness: Witness, t_s: float) -> int:
    """The commanded gear just before."""
    gear = 0
    for shift in witness.sim.shifts:
        if shift.command_s >= t_s:
            break
        gear = shift.new
    return gear


def stands_alone(witness: Witness, press: Press, after_s: float) -> bool:
    """Nothing else within the answer time before and for a while after: no other tap, no shift under way."""
    return witness.clear(press.on_s - 0.2, press.on_s + after_s) and witness.quiet(
        press.on_s - witness.answer_s - 0.5, press.on_s - 1e-3, press
    )


def long_enough(witness: Witness, press: Press) -> float:
    """Probability that the press outlasts the debounce, as its samples show: certain from their span, else even."""
    if witness.tap_source != "pin":
        return 1.0  # the controller's own states are debounced already
    times = witness.logged.samples["pin"].times(press.on_s, press.off_s)
    span = float(times[-1] - times[0]) if len(times) else 0.0
    return 1.0 if span >= 1.1 * witness.truck.debounce_s + 0.005 else 0.5


def asked_rightly(witness: Witness, press: Press, gear: int, wanted: int) -> float:
    """Posterior that this was a tap that had to be answered."""
    if witness.sim.planted.short_debounce_s:
        return 0.0
    p = chance(witness.press_llr(press)) * long_enough(witness, press)
    p *= witness.manual_known(press.on_s - 0.6, press.on_s + 0.1)
    return p * witness.not_refused(press.on_s, gear, wanted)


def missed(witness: Witness) -> Tell:
    """A tap that had to be answered, and the gear stayed."""
    events = []
    for press in witness.sim.presses:
        if press.outcome != "missed":
            continue
        gear = gear_before(witness, press.on_s)
        after = witness.answer_s + 0.5
        lone = stands_alone(witness, press, after) and witness.quiet(press.on_s + 0.001, press.on_s + after, press)
        wanted = gear + (1 if press.direction == "up" else -1)
        p = asked_rightly(witness, press, gear, wanted) if lone else 0.0
        p *= chance(witness.stays_seen(gear, press.on_s))
        events.append((p, press.on_s, press.on_s + after))
    return told(events, "no tap was missed")


def unexplained(witness: Witness, shift: Shift) -> bool:
    """No rule of the controller explains this step: not at the limiter, not slow, nothing held, manual not fresh."""
    sim, truck = witness.sim, witness.truck
    t = shift.command_s
    near = [t - 0.5, t - 0.25, t]
    engine = sim.at("engine", np.array(near))
    turbine = float(sim.at("turbine", np.array([t]))[0])
    limiter = sim.planted.limiter_rpm or truck.limiter_rpm
    if shift.new > shift.old and float(engine.max()) > 0.95 * limiter and truck.at_limiter != "hold":
        return False
    if shift.new < shift.old:
        if min(turbine, float(engine.min())) < 1.05 * (truck.low_turbine_rpm + 50.0):
            return False
        hold = truck.hold_s + 0.2
        if any(p.direction == "down" and t - hold < p.on_s < t and p.outcome != "step" for p in sim.presses):
            return False
    fresh = any(engaged and 0.0 <= t - at < 1.3 for at, engaged in sim.engagements)
    return not fresh and witness.manual_known(t - 1.3, t + 0.1) > 0.9


def two_steps(witness: Witness, first: Shift, second: Shift) -> float:
    """Posterior that both steps are seen: the gear before and the gear after, with nothing else about."""
    a, c = first.old, second.new
    role = witness.step_role
    if not role:
        return chance(witness.step_seen(a, c, first.command_s, second.end_s - first.command_s + 0.1))
    late = 0.0 if role == "gear_commanded" else (second.end_s - second.command_s)
    old = witness.gear_seen(role, first.command_s - 1.0, first.command_s, a)
    new = witness.gear_seen(role, second.command_s + late, second.command_s + late + 0.6, c)
    return chance(DIGITAL * min(old, new))


def doubled(witness: Witness) -> Tell:
    """One tap, two steps. A second tap must not be able to hide: the tap channel is denser than a hand."""
    events = []
    shifts = witness.sim.shifts
    for i, second in enumerate(shifts):
        if second.cause != "doubled" or i == 0:
            continue
        first = shifts[i - 1]
        press = next((p for p in witness.sim.presses if p.shift == i - 1), None)
        if press is None or math.isnan(second.end_s):
            continue
        lone = stands_alone(witness, press, 2.0) and witness.quiet(
            second.command_s + 0.001, second.command_s + witness.answer_s, press
        )
        in_time = second.command_s - press.on_s < witness.answer_s - 0.1
        if witness.step_role != "gear_commanded":
            in_time = second.end_s - press.on_s < witness.answer_s - 0.1
        hidden = witness.tap_interval_s > 0.05 or not witness.dense(
            witness.tap_source, press.on_s - 0.3, second.command_s + 0.1, 1.6 * witness.tap_interval_s
        )
        explained = not unexplained(witness, second)
        p = 0.0
        if lone and in_time and not hidden and not explained:
            p = chance(witness.press_llr(press)) * two_steps(witness, first, second)
            p *= witness.manual_known(press.on_s - 0.6, press.on_s + 0.1)
        events.append((p, press.on_s, second.command_s + 1.0))
    return told(events, "no tap was doubled")


def reversed_taps(witness: Witness) -> Tell:
    """Steps the other way. Where another tap could hide between samples, three and most of the taps must be so."""
    events, rightly, unanswered = [], 0, 0
    for press in witness.sim.presses:
        shift = shift_of(witness, press)
        if press.outcome == "top or bottom":  # reversed at an end of the range: it looks like a tap without an answer
            gear = gear_before(witness, press.on_s)
            wanted = gear + (1 if press.direction == "up" else -1)
            unanswered += asked_rightly(witness, press, gear, wanted) >= SURE
        if shift is None or press.outcome not in ("reversed", "step"):
            continue
        lone = stands_alone(witness, press, 2.0) and witness.quiet(
            shift.command_s + 0.001, shift.command_s + witness.answer_s, press
        )
        if not lone:
            continue
        p = chance(witness.press_llr(press)) * witness.manual_known(press.on_s - 0.6, press.on_s + 0.1)
        p *= chance(witness.step_seen(shift.old, shift.new, shift.command_s))
        if press.outcome == "step":
            rightly += p >= SURE
        else:
            p = p if unexplained(witness, shift) else 0.0
            events.append((p, press.on_s, shift.command_s + 1.0))
    sure = sum(p >= SURE for p, _, _ in events)
    if witness.tap_interval_s > witness.truck.debounce_s + 1e-9:
        if sure <= rightly + unanswered:
            return Tell(False, 0.5, "slow taps, and not most of them are reversed")
        return told(events, "no tap was reversed", 3)
    return told(events, "no tap was reversed")


def unasked(witness: Witness) -> Tell:
    """A step in manual with no tap that could hide and no rule that explains it."""
    events = []
    for shift in witness.sim.shifts:
        if shift.cause != "unasked" or math.isnan(shift.end_s):
            continue
        t = shift.command_s
        role = witness.tap_source
        from_s = t - witness.answer_s - LEAVE_OUT_S - (0.0 if witness.step_role == "gear_commanded" else -0.6)
        dense = bool(role) and witness.tap_interval_s <= witness.truck.debounce_s + 1e-9 and witness.dense(
            role, from_s - 0.3, t + 0.2, 1.05 * witness.tap_interval_s
        )  # fmt: skip
        lone = (
            witness.clear(t - 2.0, t + 2.0) and witness.quiet(t - 2.2, t - 0.001) and witness.quiet(t + 0.001, t + 1.2)
        )
        p = 0.0
        if dense and lone and witness.logged.has("mode") and unexplained(witness, shift):
            p = chance(witness.step_seen(shift.old, shift.new, t, shift.end_s - t + 0.1))
        events.append((p, t - 1.0, t + 1.0))
    return told(events, "nothing shifted unasked")


def slow_shift(witness: Witness) -> Tell:
    """From the tap to the new ratio took longer than 1.0 s even if every edge lies where it suits best."""
    events = []
    sim, truck, logged = witness.sim, witness.truck, witness.logged
    if not witness.tap_source or not (logged.has("turbine", "output") or logged.has("engine", "output", "lockup")):
        return Tell(False, 0.0, "no taps or no ratio in the log")
    speed = "turbine" if logged.has("turbine") else "engine"
    grain = max(1.0 / logged.rate(speed), 1.0 / logged.rate("output"))
    answered = 0
    for press in sim.presses:
        shift = shift_of(witness, press)
        if shift is None or press.outcome != "step" or math.isnan(shift.end_s):
            continue
        answered += 1
        new = truck.ratios[shift.new - 1]
        step = math.log(truck.ratios[shift.old - 1] / new)
        # the ratio enters the new band (3 % and what sampling adds) a little before the inertia phase ends
        left = min((0.03 + 0.03) / abs(step), 0.9)
        x = 1.0 - math.sqrt(left / 3.0)
        entered = shift.inertia_s + x * (shift.end_s - shift.inertia_s)
        least = entered - press.on_s - witness.tap_interval_s - grain - LEAVE_OUT_S
        if witness.tap_source != "pin":
            least -= 2.0 * truck.debounce_s
        lone = stands_alone(witness, press, 3.0) and witness.quiet(shift.command_s + 0.001, shift.end_s + 0.4, press)
        gear = shift.old
        p = asked_rightly(witness, press, gear, shift.new) if lone and least > 1.0 else 0.0
        if p and speed == "turbine":
            p *= chance(witness.ratio_llr(shift.end_s, shift.end_s + 0.5, shift.new, shift.old))
        elif p:
            p *= 0.5  # the open converter hides the end of the shift
        events.append((p, press.on_s, shift.end_s))
    if answered < 20 or min(1.0 / grain, 1.0 / witness.tap_interval_s) < 20.0:
        return Tell(False, 0.0, "fewer than 20 answered taps, or slower than 20 Hz")
    return told(events, "no slow shift was driven")


def bounce(witness: Witness) -> Tell:
    """A press that re-closes, answered by two steps, in a channel fast enough to see both closings."""
    events = []
    sim, shifts = witness.sim, witness.sim.shifts
    if not witness.tap_source or witness.tap_interval_s > 0.01 + 1e-9 or len(sim.presses) < 20:
        return Tell(False, 0.0, "no tap channel of 100 Hz, or fewer than 20 presses")
    if not witness.pin_known() and witness.tap_source == "pin":
        return Tell(False, 0.0, "volts of a battery-fed pin without the supply")
    for i, second in enumerate(shifts):
        if second.cause != "doubled" or i == 0 or math.isnan(second.end_s):
            continue
        press = next((p for p in sim.presses if p.shift == i - 1), None)
        if press is None:
            continue
        p = 0.0
        lone = stands_alone(witness, press, 2.0) and witness.quiet(
            second.command_s + 0.001, second.command_s + 1.2, press
        )
        early = second.command_s - press.on_s < witness.answer_s - 0.1
        if lone and early and reclosed(witness, press) and unexplained(witness, second):
            p = two_steps(witness, shifts[i - 1], second) * witness.manual_known(press.on_s - 0.6, press.on_s + 0.1)
        events.append((p, press.on_s, second.command_s + 1.0))
    return told(events, "no bounced press was answered twice")


def reclosed(witness: Witness, press: Press) -> bool:
    """The samples show closed, open, closed within 50 ms in the press."""
    role = f"tap_{press.direction}" if witness.tap_source == "tap_up" else witness.tap_source
    samples = witness.logged.samples[role]
    times = samples.times(press.on_s, press.off_s + 0.05)
    values = samples.between(press.on_s, press.off_s + 0.05)
    if witness.tap_source == "tap_up":
        closed = values > (2.5 if samples.channel.unit == "on/off" else 0.5)
    elif witness.tap_source == "meaning":
        closed = values == MEANINGS.index(press.direction)
    else:
        low, high = witness.truck.coder.windows[press.direction]
        share = witness.pin_share(press.on_s, press.off_s + 0.05)
        closed = (share >= low) & (share <= high)
    edges = np.nonzero(np.diff(closed.astype(int)))[0]
    for a, b in pairwise(edges):
        opened, shut = times[a], times[b + 1]
        if not closed[b] and shut - opened < 0.05 and a > 0:
            return True
    return False


def stations_differ(witness: Witness) -> Tell:
    """The wheel's presses read outside the proven spans, or mean the other command."""
    first = levels.pin_outside(witness)
    if first.tellable:
        return first
    if witness.tap_source == "pin":
        return first
    second = reversed_taps(witness)
    return second if second.tellable and second.p >= SURE else first


__all__ = ["Tell", "tellable"]
