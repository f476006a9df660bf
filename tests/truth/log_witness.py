"""What the samples of a log can say about one moment: was the switch closed, which gear was in, how fast did it turn?

Every answer is a log-likelihood ratio or a probability from the logged samples and the logger's true properties: when
each value was captured, its noise and its rounding. Nothing here knows how a product looks at logs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from tests.truth.log_loggers import Logged
from tests.truth.log_sim_driver import Press
from tests.truth.log_sim_truck import MEANINGS, closed_for

DIGITAL = math.log(0.999 / 0.001)  # what one sample of a code can say: loggers now and then get one wrong
GAP_S = 2.0  # beside a gap nothing is known of what came before: left out, as the page of the checks says
ANSWER_S = 1.0
LEAVE_OUT_S = 0.06  # most delay of a channel against another


SURE = 0.95


@dataclass(frozen=True)
class Tell:
    """`p`: the best posterior. `stretches`: true times of what can be told. `why`: in words, when it cannot."""

    tellable: bool
    p: float
    why: str = ""
    stretches: tuple[tuple[float, float], ...] = field(default_factory=tuple)


def told(events: list[tuple[float, float, float]], none: str, enough: int = 1) -> Tell:
    """From events (posterior, from, to): tellable if enough of them are sure."""
    if not events:
        return Tell(False, 0.0, none)
    sure = [(a, b) for p, a, b in events if p >= SURE]
    best = max(p for p, _, _ in events)
    if len(sure) >= enough:
        return Tell(True, best, "", tuple(sure))
    return Tell(False, best, f"{len(sure)} of {len(events)} events are sure, best {best:.3f}")


def phi(z: float) -> float:
    return 0.5 * (1.0 + math.erf(z / math.sqrt(2.0)))


def chance(llr: float) -> float:
    """Posterior of one of two explanations that were equally likely before."""
    return 1.0 / (1.0 + math.exp(-max(min(llr, 50.0), -50.0)))


@dataclass(frozen=True)
class Speed:
    rpm: float
    sigma_rpm: float


class Witness:
    def __init__(self, logged: Logged) -> None:
        self.logged, self.sim, self.truck = logged, logged.sim, logged.sim.truck
        self.begin_s, self.end_s = float(logged.row_s[0]), float(logged.row_s[-1])
        steps = np.diff(logged.row_s)
        period = 1.0 / logged.logger.row_hz
        self.holes = [(float(logged.row_s[i]), float(logged.row_s[i + 1])) for i in np.nonzero(steps > 3.5 * period)[0]]
        back = logged.logger.set_back
        if back is not None:
            self.holes.append((back[0], back[0]))
        if logged.has("tap_up", "tap_down"):
            self.tap_source = "tap_up"
        else:
            self.tap_source = next((role for role in ("meaning", "pin") if logged.has(role)), "")
        self.tap_interval_s = 1.0 / logged.rate(self.tap_source) if self.tap_source else math.inf
        self.step_role = next((role for role in ("gear_commanded", "gear") if logged.has(role)), "")
        self.answer_s = ANSWER_S if self.step_role == "gear_commanded" else 1.5 * ANSWER_S

    # time

    def clear(self, from_s: float, to_s: float) -> bool:
        """No gap, begin or end within 2 s."""
        if from_s < self.begin_s + GAP_S or to_s > self.end_s - GAP_S:
            return False
        return all(b < from_s - GAP_S or a > to_s + GAP_S for a, b in self.holes)

    def dense(self, role: str, from_s: float, to_s: float, most_s: float) -> bool:
        """Samples of a channel are nowhere further apart than so much."""
        if not self.logged.has(role):
            return False
        times = self.logged.samples[role].times(from_s - most_s, to_s + most_s)
        if not len(times) or times[0] > from_s or times[-1] < to_s:
            return False
        return bool(np.max(np.diff(times), initial=0.0) <= most_s + 1e-6)

    def quiet(self, from_s: float, to_s: float, but: Press | None = None) -> bool:
        """No other press and no other shift in this stretch (truth, so that one event stands alone)."""
        others = [p for p in self.sim.presses if p is not but and p.on_s < to_s and p.off_s > from_s]
        return not others and not [s for s in self.sim.shifts if from_s < s.command_s < to_s]

    # taps

    def press_llr(self, press: Press) -> float:
        """Log-likelihood ratio of 'this button was pressed here' against 'nothing was'."""
        if not self.tap_source:
            return 0.0
        debounce = 0.0 if self.tap_source == "pin" else self.truck.debounce_s + 0.005
        from_s, to_s = press.on_s + debounce, press.off_s + debounce
        if self.tap_source == "tap_up":
            values = self.logged.samples[f"tap_{press.direction}"].between(from_s, to_s)
            high = 2.5 if self.logged.samples[f"tap_{press.direction}"].channel.unit == "on/off" else 0.5
            return float(DIGITAL * np.sum(np.where(values > high, 1.0, -1.0)))
        if self.tap_source == "meaning":
            values = self.logged.samples["meaning"].between(from_s, to_s)
            return float(DIGITAL * np.sum(np.where(values == MEANINGS.index(press.direction), 1.0, -1.0)))
        idle = "manual" if self.truck.enable == "coded" else "automatic"
        share = self.pin_share(from_s, to_s)
        pressed = self.share_of(press.direction)
        rest = self.share_of(idle)
        sigma = self.pin_sigma() + 0.01
        llr = ((share - rest) ** 2 - (share - pressed) ** 2) / (2.0 * sigma**2)
        return float(np.sum(np.clip(llr, -DIGITAL, DIGITAL)))

    def share_of(self, meaning: str) -> float:
        """Reading of a meaning as the design has it: marked parts, no faults."""
        coder = self.truck.coder
        siemens_pull = 1.0 / coder.marked_pull_ohm
        marked = coder.marked_ohm
        closed = closed_for(self.truck, meaning)
        siemens = 0.0 if math.isinf(coder.marked_idle_ohm) else 1.0 / coder.marked_idle_ohm
        siemens += sum(1.0 / marked[c] for c in closed)
        return (
            siemens_pull / (siemens_pull + siemens) if coder.form == "pull-up" else siemens / (siemens_pull + siemens)
        )

    def pin_scale(self) -> float:
        """What one unit of the logged pin is as a reading; a pull-down in volts needs the supply."""
        channel = self.logged.samples["pin"].channel
        if channel.unit in ("ratio", "%"):
            return 1.0
        if channel.unit == "counts":
            return 1.0 / 1023.0
        return 0.2 if self.truck.coder.form == "pull-up" else 1.0 / self.truck.supply_v

    def pin_sigma(self) -> float:
        channel = self.logged.samples["pin"].channel
        return self.pin_scale() * math.hypot(channel.sigma, channel.quantum / math.sqrt(12.0))

    def pin_known(self) -> bool:
        """Whether the reading can be told: volts of a battery-fed pin say nothing without the supply."""
        if not self.logged.has("pin"):
            return False
        volts = self.logged.samples["pin"].channel.unit in ("V", "mV")
        return not (volts and self.truck.coder.form == "pull-down" and not self.logged.has("supply"))

    def pin_share(self, from_s: float, to_s: float) -> np.ndarray:
        """Logged pin samples as readings."""
        samples = self.logged.samples["pin"]
        values, times = samples.between(from_s, to_s), samples.times(from_s, to_s)
        if samples.channel.unit in ("V", "mV") and self.truck.coder.form == "pull-down":
            if not self.logged.has("supply"):
                return values / self.truck.supply_v
            supply = self.logged.samples["supply"]
            return values / np.interp(times, supply.at_s, supply.values)
        return values * self.pin_scale()

    # gears

    def gear_seen(self, role: str, from_s: float, to_s: float, gear: int) -> int:
        """How many samples show this gear."""
        if not self.logged.has(role):
            return 0
        return int(np.sum(self.logged.samples[role].between(from_s, to_s) == gear))

    def step_seen(self, before: int, after: int, at_s: float, settle_s: float = 0.6) -> float:
        """Log-likelihood ratio of a change of the gear against none, from the best channel that shows it."""
        role = self.step_role
        if role:
            late = 0.0 if role == "gear_commanded" else settle_s
            old = self.gear_seen(role, at_s - 1.5, at_s, before)
            new = self.gear_seen(role, at_s + late, at_s + late + 1.0, after)
            return DIGITAL * min(old, new)
        return min(
            self.ratio_llr(at_s - 1.0, at_s, before, after),
            self.ratio_llr(at_s + settle_s, at_s + settle_s + 1.0, after, before),
        )

    def stays_seen(self, gear: int, at_s: float) -> float:
        """Log-likelihood ratio of 'the gear stayed' through the answer time against one step."""
        role = self.step_role
        if role:
            return DIGITAL * min(
                self.gear_seen(role, at_s - 1.5, at_s, gear),
                self.gear_seen(role, at_s + self.answer_s - 0.2, at_s + self.answer_s + 0.5, gear),
            )
        others = [g for g in (gear - 1, gear + 1) if 1 <= g <= len(self.truck.ratios)]
        return min(self.ratio_llr(at_s + 0.7, at_s + 1.5, gear, g) for g in others)

    def ratio_llr(self, from_s: float, to_s: float, gear: int, other: int) -> float:
        """The same from turbine ÷ output (or engine ÷ output when surely locked)."""
        q, sigma = self.ratios(from_s, to_s)
        if not len(q):
            return 0.0
        sigma = np.hypot(sigma, 0.01)
        a, b = math.log(self.truck.ratios[gear - 1]), math.log(self.truck.ratios[other - 1])
        llr = ((np.log(q) - b) ** 2 - (np.log(q) - a) ** 2) / (2.0 * sigma**2)
        return float(np.sum(np.clip(llr, -DIGITAL, DIGITAL)))

    def ratios(self, from_s: float, to_s: float) -> tuple[np.ndarray, np.ndarray]:
        """Turbine ÷ output at the turbine's samples, and the relative error of each, one sigma."""
        if not self.logged.has("turbine", "output"):
            return np.zeros(0), np.zeros(0)
        turbine, output = self.logged.samples["turbine"], self.logged.samples["output"]
        times, values = turbine.times(from_s, to_s), turbine.between(from_s, to_s)
        out = np.interp(times, output.at_s, output.values)
        good = out > 150.0
        times, values, out = times[good], values[good], out[good]
        gap = np.min(np.abs(times[:, None] - output.times(from_s - 1.0, to_s + 1.0)[None, :]), axis=1, initial=1.0)
        change = (
            np.abs(
                np.interp(times + 0.05, output.at_s, output.values)
                - np.interp(times - 0.05, output.at_s, output.values)
            )
            / 0.1
        )
        between = np.where(gap > 1e-3, change * gap, 0.0) * 0.3  # straight lines are good to a third of the way
        sigma = np.sqrt(
            (output.channel.sigma**2 + between**2) / out**2 + (turbine.channel.sigma / np.maximum(values, 1.0)) ** 2
        )
        return np.maximum(values, 1.0) / out, sigma

    # speed

    def output_at(self, t_s: float, gear: int) -> Speed | None:
        """Output speed from the nearest sample of the best channel, with its error."""
        factors: list[tuple[str, float, float]] = [("output", 1.0, 0.0)]
        if gear > 0:
            factors.append(("turbine", 1.0 / self.truck.ratios[gear - 1], 0.0))
        factors.append(("road", 60.0 / self.truck.circumference_m(15.0) * self.truck.reduction, 0.02))
        if gear > 0:
            slip = self.truck.slip_stated
            factors.append(("engine", (1.0 - 0.5 * slip) / self.truck.ratios[gear - 1], 0.5 * slip))
        true = self.sim.at("output", np.array([t_s - 0.1, t_s + 0.1]))
        slope = abs(float(true[1] - true[0])) / 0.2
        for role, factor, relative in factors:
            if not self.logged.has(role):
                continue
            samples = self.logged.samples[role]
            i = int(np.argmin(np.abs(samples.at_s - t_s)))
            away = abs(float(samples.at_s[i]) - t_s)
            if away > 1.5 / samples.channel.rate_hz + 0.05:
                continue
            rpm = float(samples.values[i]) * factor
            return Speed(
                rpm, math.hypot(math.hypot(samples.channel.sigma * factor, slope * (away + 0.02)), relative * rpm)
            )
        return None

    def not_refused(self, t_s: float, gear: int, wanted: int) -> float:
        """Probability that no guard refuses, from the speeds that the log shows and the limits of the design."""
        truck = self.truck
        if not 1 <= wanted <= len(truck.ratios):
            return 0.0
        speed = self.output_at(t_s, gear)
        if speed is None or speed.rpm <= 160.0:
            return 0.0
        engine = float(self.sim.at("engine", np.array([t_s]))[0])
        sigma = math.hypot(speed.sigma_rpm / speed.rpm, 0.015)
        ratio = truck.ratios[wanted - 1]
        if wanted < gear:
            limit = truck.most_rpm * (1.0 - truck.slip_stated) / ratio * (1.0 - truck.guard_margin)
            limit -= truck.output_rpm(0.3 * 2.0)  # the latency that the design states, at the acceleration it states
            return phi(math.log(max(0.97 * limit, 1.0) / speed.rpm) / sigma)
        if engine > 0.95 * (self.sim.planted.limiter_rpm or truck.limiter_rpm):
            return 0.0  # what a controller does with a tap at the limiter is not known
        return phi(math.log(speed.rpm * ratio / (1.03 * truck.least_rpm)) / sigma)

    def manual_known(self, from_s: float, to_s: float) -> float:
        """Probability that manual is engaged all this time, as mode or lever show it."""
        if self.logged.has("mode"):
            samples = self.logged.samples["mode"]
            i = np.searchsorted(samples.at_s, from_s, side="right") - 1
            j = np.searchsorted(samples.at_s, to_s, side="right")
            values = samples.values[max(i, 0) : max(j, i + 1)]
            return chance(DIGITAL) if len(values) and np.all(values == 1) else 0.0
        if self.logged.has("lever"):
            values = self.logged.samples["lever"].between(from_s - 1.5, to_s)
            return chance(DIGITAL) if len(values) and np.all(values == 4) else 0.0
        return 0.5
