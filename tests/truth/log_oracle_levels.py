"""The oracle on defects that show as levels and stretches: speeds, ratios, the pin, supply, heat, lever and mode."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from tests.truth.log_loggers import Samples
from tests.truth.log_sim_truck import BOX, LEVERS, closed_for, reading_span
from tests.truth.log_witness import LEAVE_OUT_S, Tell, Witness, phi, told


def wrong_lever_code(witness: Witness) -> Tell:
    """The code beside the moment at which manual engages, both seen."""
    logged, truck = witness.logged, witness.truck
    if not logged.has("lever", "mode"):
        return Tell(False, 0.0, "no lever or no mode in the log")
    if min(logged.rate("lever"), logged.rate("mode")) < 2.0:
        return Tell(False, 0.0, "lever or mode slower than 2 Hz")
    events = []
    for at, engaged in witness.sim.engagements:
        if not engaged or not witness.clear(at - 0.5, at + 1.0):
            continue
        # the set code must not stand in the log within the uncertainty of the moment: the lever came from there
        wide = 1.0 / logged.rate("mode") + 1.0 / logged.rate("lever") + LEAVE_OUT_S
        codes = set(np.unique(logged.samples["lever"].between(at - wide, at + wide)).astype(int))
        wrong = [name for name, code in truck.lever_codes.items() if code == witness.sim.planted.design_lever_code]
        others = {LEVERS.index(name) for name in wrong}
        seen = bool(logged.samples["mode"].between(at, at + 1.0).any())
        events.append((0.999 if seen and codes and not codes & others else 0.0, at - 1.0, at + 1.0))
        # a long stay in manual, with steps that taps asked for: the lever is not where the design says it must be
        until = min((t for t, on in witness.sim.engagements if t > at and not on), default=witness.sim.length_s - 2.5)
        if until - at > 8.0 and witness.clear(at + 0.5, until - 0.5):
            lever = logged.samples["lever"].between(at + 0.5, until - 0.5).astype(int)
            mode = logged.samples["mode"].between(at + 0.5, until - 0.5)
            steps = [s for s in witness.sim.shifts if at + 1.0 < s.command_s < until - 1.0 and s.cause == "tap"]
            shown = len(lever) and len(mode) and mode.all() and not set(lever) & others
            events.append((0.999 if shown and steps and witness.tap_source else 0.0, at, until))
    return told(events, "manual never engaged")


def never_manual(witness: Witness) -> Tell:
    """Lever in manual, a tap seen, and mode stays 0."""
    logged, sim = witness.logged, witness.sim
    known = logged.has("lever") or (witness.truck.enable == "coded" and (witness.pin_known() or logged.has("meaning")))
    if not known or not logged.has("mode"):
        return Tell(False, 0.0, "no mode, or nothing that shows what was asked for")
    events = []
    for press in sim.presses:
        lever_s = max((t for t, lever in sim.lever_moves if t <= press.on_s), default=0.0)
        left_s = min((t for t, lever in sim.lever_moves if t > press.on_s), default=sim.length_s)
        inside = press.on_s - lever_s > 1.6 and left_s - press.on_s > 1.6
        if not inside or not witness.clear(lever_s - 0.5, press.on_s + 1.6):
            continue
        mode = logged.samples["mode"].between(press.on_s, press.on_s + 1.5)
        enough = len(mode) >= 2 and not mode.any()
        p = (0.999 if enough else 0.0) * (1.0 / (1.0 + math.exp(-witness.press_llr(press))))
        events.append((p, lever_s, left_s))
    return told(events, "no tap in manual")


def flare(witness: Witness) -> Tell:
    """Turbine above both lines by 300 rpm in two samples running, or by 150 rpm for 200 ms, noise allowed for."""
    logged, truck = witness.logged, witness.truck
    if not logged.has("turbine", "output") or min(logged.rate("turbine"), logged.rate("output")) < 20.0:
        return Tell(False, 0.0, "no turbine or output of 20 Hz")
    if not witness.step_role:
        return Tell(False, 0.0, "no gear in the log")
    turbine, output = logged.samples["turbine"], logged.samples["output"]
    events = []
    for shift in witness.sim.shifts:
        if (shift.old, shift.new) not in witness.sim.planted.flare_rpm or math.isnan(shift.end_s):
            continue
        if not witness.clear(shift.command_s - 0.6, shift.command_s + 1.6):
            continue
        times = turbine.times(shift.begin_s, shift.end_s)
        values = turbine.between(shift.begin_s, shift.end_s)
        ratio = max(truck.ratios[shift.old - 1], truck.ratios[shift.new - 1])
        out = np.interp(times, output.at_s, output.values)
        slope = abs(float(np.diff(np.interp([shift.begin_s, shift.end_s], output.at_s, output.values))[0])) / max(
            shift.end_s - shift.begin_s, 0.05
        )
        sigma = math.hypot(turbine.channel.sigma, ratio * output.channel.sigma) + ratio * slope * LEAVE_OUT_S
        above = values - out * ratio
        sure = above - 1.65 * sigma
        pair = len(sure) >= 2 and bool(np.any((sure[1:] > 300.0) & (sure[:-1] > 300.0)))
        over = times[sure > 150.0]
        long = len(over) >= 2 and float(over[-1] - over[0]) > 0.2 + 1.0 / turbine.channel.rate_hz
        events.append((0.99 if pair or long else 0.0, shift.begin_s, shift.end_s))
    return told(events, "no shift with a flare was driven")


def slip(witness: Witness) -> Tell:
    """The ratio of one gear lies above its band for a second together, another gear lies in its own."""
    logged, sim, truck = witness.logged, witness.sim, witness.truck
    if not logged.has("turbine", "output") or not witness.step_role:
        return Tell(False, 0.0, "no turbine, output or gear in the log")
    if min(logged.rate("turbine"), logged.rate("output")) < 10.0 - 1e-9:
        return Tell(False, 0.0, "slower than 10 Hz")
    gear = next(iter(sim.planted.slip))
    total, events, others = 0.0, [], 0.0
    for from_s, to_s, which in stays(witness):
        if to_s - from_s < 2.5 or not witness.clear(from_s, to_s):
            continue
        q, sigma = witness.ratios(from_s + 1.2, to_s - 0.1)
        period = 1.0 / logged.rate("turbine")
        if which != gear:
            others += len(q) * period
            continue
        slope = widening(witness, from_s + 1.2, to_s - 0.1, len(q))
        off = np.log(q / truck.ratios[gear - 1]) - 1.65 * sigma - slope
        seconds = float(np.sum(off > math.log(1.03)) * period)
        total += seconds
        if seconds > 0.3:
            events.append((1.0, from_s, to_s))
    if total < 1.1 or others < 12.0:
        return Tell(False, 0.0, f"{total:.1f} s of slip beyond 3 % can be seen, {others:.0f} s in other gears")
    return told(events, "")


def widening(witness: Witness, from_s: float, to_s: float, count: int) -> np.ndarray:
    """What half an interval and the skew can do to a ratio while the speed changes."""
    if not count:
        return np.zeros(0)
    times = witness.logged.samples["turbine"].times(from_s, to_s)
    rates = min(witness.logged.rate("turbine"), witness.logged.rate("output"))
    out = witness.sim.at("output", np.concatenate([times - 0.1, times + 0.1]))
    change = np.abs(np.log(np.maximum(out[len(times) :], 1.0) / np.maximum(out[: len(times)], 1.0))) / 0.2
    good = np.interp(times, witness.logged.samples["output"].at_s, witness.logged.samples["output"].values) > 150.0
    return (change * (0.5 / rates + 0.02))[good]


def stays(witness: Witness) -> list[tuple[float, float, int]]:
    """True stays in one gear, between two shifts."""
    shifts = [s for s in witness.sim.shifts if not math.isnan(s.end_s)]
    out = []
    for a, b in pairwise(shifts):
        out.append((a.end_s, b.command_s, a.new))
    if shifts:
        out.append((shifts[-1].end_s, witness.sim.length_s, shifts[-1].new))
    return out


def overspeed(witness: Witness) -> Tell:
    """A downshift at an output speed above the limit, or the engine above its greatest speed in two samples."""
    logged, truck = witness.logged, witness.truck
    events = []
    for shift in witness.sim.shifts:
        if (
            shift.new >= shift.old
            or not witness.step_role
            or not witness.clear(shift.command_s - 1.0, shift.command_s + 1.0)
        ):
            continue
        speed = witness.output_at(shift.command_s, shift.old)
        if speed is None or logged.rate(witness.step_role) < 5.0:
            continue
        away = (
            1.0 / logged.rate(witness.step_role) + LEAVE_OUT_S + (0.0 if witness.step_role == "gear_commanded" else 0.6)
        )
        true = witness.sim.at("output", np.linspace(shift.command_s - away, shift.command_s + away, 9))
        drop = max(float(true[4]) - float(true.min()), 0.0)
        limit = truck.most_rpm / truck.ratios[shift.new - 1]
        sigma = math.hypot(speed.sigma_rpm, 0.003 * speed.rpm)
        seen = min(1.0, DIGITAL_SEEN * witness.step_seen(shift.old, shift.new, shift.command_s))
        events.append(
            (phi((speed.rpm - drop - 1.01 * limit) / sigma) * seen, shift.command_s - 0.5, shift.command_s + 1.0)
        )
    if logged.has("engine") and logged.rate("engine") >= 10.0:
        engine = logged.samples["engine"]
        over = engine.values - 1.65 * engine.channel.sigma > truck.most_rpm + 5.0
        for i in np.nonzero(over[1:] & over[:-1])[0]:
            t = float(engine.at_s[i])
            if witness.clear(t - 0.1, t + 0.2):
                events.append((0.99, t, t + 0.2))
    return told(events, "nothing over-sped")


DIGITAL_SEEN = 1.0 / 5.0


def pin_outside(witness: Witness) -> Tell:
    """Readings of a settled press, or of idle, outside what the design's worst case allows."""
    if not witness.pin_known():
        return Tell(False, 0.0, "no pin in the log, or no supply to divide by")
    if witness.logged.rate("pin") < 20.0:
        return Tell(False, 0.0, "pin slower than 20 Hz")
    spans = {m: reading_span(witness.truck.coder, closed_for(witness.truck, m)) for m in witness.truck.coder.windows}
    presses, events = 0, []
    sim = witness.sim
    edge = BOX.error
    for press in sim.presses:
        a, b = press.on_s + 0.005, press.off_s - 0.001
        if not witness.clear(a, b) or is_bounced(witness, a, b):
            continue
        share = witness.pin_share(a, b)
        if len(share) < 3 or b - a < witness.truck.debounce_s + 0.02:
            continue
        sigma = witness.pin_sigma() * 1.25 / math.sqrt(len(share)) + 0.001
        middle = float(np.median(share))
        if outside_all(middle, sigma, spans, edge):
            presses += 1
            events.append((1.0, press.on_s, press.off_s))
    idle_s = 0.0
    for from_s, to_s in idle_stretches(witness):
        for start in np.arange(from_s, to_s - 0.5, 0.5):
            share = witness.pin_share(float(start), float(start) + 0.5)
            if len(share) < 5 or not witness.clear(float(start), float(start) + 0.5):
                continue
            sigma = witness.pin_sigma() * 1.25 / math.sqrt(len(share)) + 0.001
            if outside_all(float(np.median(share)), sigma, spans, edge):
                idle_s += 0.5
                events.append((1.0, float(start), float(start) + 0.5))
    if presses >= 2 or idle_s >= 6.0:
        return told(events, "")
    return Tell(False, 0.0, f"{presses} presses and {idle_s:.1f} s of idle lie surely outside")


def outside_all(share: float, sigma: float, spans: dict[str, tuple[float, float]], error: float) -> bool:
    """Outside the span of every meaning: whichever window it may have fallen into, it is not what was proven."""
    low_high = [(low - error - 1.65 * sigma, high + error + 1.65 * sigma) for low, high in spans.values()]
    return all(share < low or share > high for low, high in low_high)


def is_bounced(witness: Witness, from_s: float, to_s: float) -> bool:
    edges = witness.sim.contact_s[(witness.sim.contact_s > from_s) & (witness.sim.contact_s < to_s)]
    return len(edges) > 0


def idle_stretches(witness: Witness) -> list[tuple[float, float]]:
    """Stretches without a press."""
    out, last = [], 0.0
    for press in sorted(witness.sim.presses, key=lambda p: p.on_s):
        if press.on_s - 0.05 > last + 0.6:
            out.append((last, press.on_s - 0.05))
        last = press.off_s + 0.05
    if witness.sim.length_s > last:
        out.append((last, witness.sim.length_s))
    return out


def wrong_gear(witness: Witness) -> Tell:
    """The gear shown and the gear of the ratio stand still on different numbers for a second."""
    logged = witness.logged
    if not logged.has("gear"):
        return Tell(False, 0.0, "no reported gear in the log")
    events = []
    true, shown = next(iter(witness.sim.planted.report.items()))
    if true == shown:
        return Tell(False, 0.0, "shown as it is")
    for from_s, to_s, which in stays(witness):
        if which != true or to_s - from_s < 2.2 or not witness.clear(from_s, to_s):
            continue
        seen = logged.samples["gear"].between(from_s + 0.5, to_s - 0.2)
        q, sigma = witness.ratios(from_s + 0.5, to_s - 0.2)
        if not len(q) or len(seen) < 3 or not np.all(seen == shown):
            continue
        slope = widening(witness, from_s + 0.5, to_s - 0.2, len(q))
        in_band = np.abs(np.log(q / witness.truck.ratios[true - 1])) + 1.65 * sigma < 0.03 + slope
        run = longest_run(in_band) / logged.rate("turbine")
        events.append((0.999 if run > 1.4 else 0.0, from_s, to_s))
    return told(events, "that gear was not held, or turbine and output do not show it")


def longest_run(flags: np.ndarray) -> int:
    best = now = 0
    for flag in flags.tolist():
        now = now + 1 if flag else 0
        best = max(best, now)
    return best


def wrong_driveline(witness: Witness) -> Tell:
    """Output against road speed, steady, lies beyond the design's range of every transfer range by more than 4 %."""
    logged, truck, planted = witness.logged, witness.truck, witness.sim.planted
    if not logged.has("output", "road"):
        return Tell(False, 0.0, "no output and road speed in the log")
    output, road = logged.samples["output"], logged.samples["road"]
    t = np.arange(witness.begin_s + 1.0, witness.end_s - 1.0, 0.2)
    out = np.interp(t, output.at_s, output.values)
    v = np.interp(t, road.at_s, road.values)
    change = np.abs(witness.sim.at("output", t + 0.25) - witness.sim.at("output", t - 0.25)) / 0.5
    brake = witness.sim.at("brake", t)
    good = (out > 330.0) & (change < 0.045 * out) & (brake < 0.01) & (v > 0.5)
    if np.sum(good) * 0.2 < 33.0:
        return Tell(False, 0.0, f"{np.sum(good) * 0.2:.0f} s of steady drive")
    middle = float(np.median(out[good] / (60.0 * v[good])))  # turns of the output for a metre
    axle = truck.axle * planted.design_axle
    roll = truck.roll_m * planted.design_roll
    away = math.inf
    for ratio in (1.0, truck.low_ratio):
        low = axle * ratio / (roll * 1.003 * 1.01)
        high = axle * ratio / (roll * 0.997 * (1.0 - 0.012))
        away = min(away, max(low / middle, middle / high))
    if away <= 1.044:
        return Tell(False, 0.5, f"off by {away - 1:.3f} beyond the range")
    return Tell(True, 0.99, "", ((witness.begin_s, witness.end_s),))


def runs_beyond(samples: Samples, low: float | None, high: float | None, witness: Witness) -> list[tuple[float, float]]:
    """Stretches of two samples and more surely beyond a limit."""
    margin = 1.65 * samples.channel.sigma + samples.channel.quantum
    beyond = samples.values < low - margin if low is not None else samples.values > float(high or 0.0) + margin
    out, start = [], -1
    beyond &= np.array([witness.clear(float(t), float(t)) for t in samples.at_s], dtype=bool)  # left out beside gaps
    for i, flag in enumerate([*beyond.tolist(), False]):
        if flag and start < 0:
            start = i
        elif not flag and start >= 0:
            if i - start >= 2 and not any(samples.at_s[start] < a < samples.at_s[i - 1] for a, _ in witness.holes):
                out.append((float(samples.at_s[start]), float(samples.at_s[i - 1])))
            start = -1
    return out


def supply_low(witness: Witness) -> Tell:
    """Below the design's lowest supply with the engine turning."""
    if not witness.logged.has("supply"):
        return Tell(False, 0.0, "no supply in the log")
    samples = witness.logged.samples["supply"]
    if samples.channel.rate_hz < 1.0:
        return Tell(False, 0.0, "supply slower than 1 Hz")
    events = [(0.99, a, b) for a, b in runs_beyond(samples, BOX.supply_low_v - 0.1, None, witness) if b - a >= 0.1]
    return told(events, "it never fell surely below the design's lowest")


def hot(witness: Witness) -> Tell:
    """Hotter than the design for ten seconds."""
    if not witness.logged.has("coder_temperature"):
        return Tell(False, 0.0, "no temperature of the coder in the log")
    samples = witness.logged.samples["coder_temperature"]
    runs = runs_beyond(samples, None, BOX.high_c + 1.0, witness)
    events = [(0.99, a, b) for a, b in runs if b - a > 11.0]
    return told(events, "it was not surely hotter for 10 s")


def limiter_below_line(witness: Witness) -> Tell:
    """In automatic the engine stands on the limiter for two seconds in a gear that is not the last."""
    logged, truck, sim = witness.logged, witness.truck, witness.sim
    if not logged.has("engine", "mode") or not witness.step_role:
        return Tell(False, 0.0, "no engine, mode or gear in the log")
    engine = logged.samples["engine"]
    limiter = sim.planted.limiter_rpm
    events = []
    for from_s, to_s, gear in stays(witness):
        if gear >= len(truck.ratios) or to_s - from_s < 2.0:
            continue
        times, values = engine.times(from_s, to_s), engine.between(from_s, to_s)
        on = values - 1.65 * engine.channel.sigma > 0.98 * limiter
        mode = sim.at("mode", times) if len(times) else np.zeros(0)
        run = longest_run(on & (mode == 0)) / engine.channel.rate_hz
        if run > 2.0 + 2.0 / engine.channel.rate_hz and witness.clear(from_s, to_s):
            events.append((0.99, from_s, to_s))
    return told(events, "it never stood on the limiter for 2 s")
