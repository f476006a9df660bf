"""The simulated gearbox controller: raw meanings to accepted ones, taps to requests, requests through guards to gears.

It knows the truck only through what its pins and sensors tell. Called once every task period.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from tests.truth.log_defects import Planted
from tests.truth.log_sim_driver import Press
from tests.truth.log_sim_truck import DOWN, IDLE, MANUAL, NONE, UP, Truck

ENABLE_S, LEAVE_S = 0.1, 0.25
REFUSED_SHOWN_S = 0.4


@dataclass
class Shift:
    """One change of the commanded gear and what the gearbox made of it."""

    command_s: float
    old: int
    new: int
    cause: str  # tap, doubled, unasked, automatic, limiter, forced, held, engage
    begin_s: float = math.nan  # torque phase
    inertia_s: float = math.nan
    end_s: float = math.nan


@dataclass(frozen=True)
class Seen:
    """What the controller's inputs tell in one task."""

    reading: float
    lever_code: int
    engine_rpm: float
    turbine_rpm: float
    output_rpm: float
    throttle: float
    shifting: bool
    drive: bool  # lever in D or M: a forward gear is wanted


@dataclass
class Controller:
    truck: Truck
    planted: Planted
    rng: np.random.Generator
    gear: int = 0  # commanded
    meaning: str = IDLE
    raw: str = IDLE
    raw_since_s: float = 0.0
    manual: bool = False
    shown_mode: bool = False
    enable_since_s: float = math.inf
    disable_since_s: float = 0.0
    refused_until_s: float = -1.0
    pending: tuple[int, float, Press | None] | None = None  # gear wanted, until when, whose tap
    again: tuple[float, int] | None = None  # a doubled step: when, direction
    last_command_s: float = -9.0
    queued: tuple[float, str] | None = None  # only with `short_debounce_s`: a tap during a shift is done afterwards
    shifts: list[Shift] = field(default_factory=list)
    accepted: list[tuple[float, str]] = field(default_factory=list)  # edges of accepted commands
    engagements: list[tuple[float, bool]] = field(default_factory=list)

    # what the pin says

    def decode(self, now_s: float, reading: float) -> str:
        """The newly accepted command, or "". Raw meanings must be equal for the debounce time; a dead band holds."""
        raw = self.truck.coder.meaning(reading)
        if raw != self.raw:
            self.raw, self.raw_since_s = raw, now_s
        needed = self.planted.short_debounce_s or self.truck.debounce_s
        if raw == NONE:
            needed = self.truck.dead_hold_s
        if raw == self.meaning or now_s - self.raw_since_s < needed - 1e-9:
            return ""
        self.meaning = raw
        if raw in (UP, DOWN):
            self.accepted.append((now_s, raw))
            return raw
        return ""

    def enabled(self, seen: Seen) -> bool:
        if self.planted.never:
            return False
        if self.truck.enable == "lever":
            return seen.lever_code == self.truck.lever_codes["M"]
        return self.meaning in (MANUAL, UP, DOWN)

    def update_mode(self, now_s: float, seen: Seen, tapped: bool) -> None:
        if self.enabled(seen):
            self.disable_since_s = math.inf
            self.enable_since_s = min(self.enable_since_s, now_s)
        else:
            self.enable_since_s = math.inf
            self.disable_since_s = min(self.disable_since_s, now_s)
        ready = now_s - self.enable_since_s >= ENABLE_S
        if not self.manual and ready and (self.truck.mode_shows == "at once" or tapped):
            self.manual = True
            self.engagements.append((now_s, True))
        if self.manual and now_s - self.disable_since_s >= LEAVE_S:
            self.manual = False
            self._drop_pending()
            self.engagements.append((now_s, False))

    # what becomes of a wish

    def command(self, now_s: float, gear: int, cause: str) -> Shift:
        shift = Shift(now_s, self.gear, gear, cause)
        self.gear, self.last_command_s = gear, now_s
        self.shifts.append(shift)
        return shift

    def _drop_pending(self) -> None:
        """A held request ends without a shift."""
        if self.pending is not None and self.pending[2] is not None and not self.pending[2].outcome:
            self.pending[2].outcome = "refused"
        self.pending = None

    def allowed(self, seen: Seen, gear: int) -> bool:
        """Over-speed and under-speed guards, on the output's speed."""
        ratio = self.truck.ratios[gear - 1]
        if gear < self.gear:
            top = self.truck.most_rpm * (1.0 - self.truck.slip_stated) * (1.0 - self.truck.guard_margin)
            return self.planted.no_guard or seen.output_rpm * ratio <= top
        return seen.output_rpm * ratio >= self.truck.least_rpm

    def tap(self, now_s: float, seen: Seen, direction: str, press: Press | None) -> None:
        """One accepted tap."""
        outcome = self._tap(now_s, seen, direction, press)
        if press is not None and outcome and not press.outcome:
            press.outcome = outcome

    def _tap(self, now_s: float, seen: Seen, direction: str, press: Press | None) -> str:
        planted = self.planted
        if not self.manual:
            return "not manual"
        if seen.shifting or now_s - self.last_command_s < 0.02:
            if self.planted.short_debounce_s:
                self.queued = (now_s, direction)
            return "during shift"
        wrong_way = planted.reverse == "all" or (press is not None and press.station == planted.reverse)
        step = (1 if direction == UP else -1) * (-1 if wrong_way else 1)
        gear = self.gear + step
        if not 1 <= gear <= len(self.truck.ratios):
            return "top or bottom"
        if planted.miss_p and self.rng.random() < planted.miss_p:
            return "missed"
        if not self.allowed(seen, gear):
            self.refused_until_s = now_s + REFUSED_SHOWN_S
            self._drop_pending()
            if step < 0 and self.truck.hold_s:
                self.pending = (gear, now_s + self.truck.hold_s, press)
                return ""
            return "refused"
        self._drop_pending()
        if press is not None:
            press.shift = len(self.shifts)
        self.command(now_s, gear, "tap")
        if planted.double_p and self.rng.random() < planted.double_p:
            self.again = (now_s + float(self.rng.uniform(0.35, 0.7)), step)
        return "reversed" if wrong_way else "step"

    def act(self, now_s: float, seen: Seen) -> None:
        """What happens without a tap: held requests, doubled steps, limits, the automatic."""
        if not seen.drive:
            if self.gear != 0:
                self.gear = 0
            return
        if self.gear == 0:
            self.command(now_s, 1, "engage")
            return
        if seen.shifting:
            return
        top = len(self.truck.ratios)
        if self.pending is not None:
            gear, until_s, press = self.pending
            if self.gear - gear != 1 or now_s > until_s:
                self._drop_pending()
            elif self.allowed(seen, gear):
                self.pending = None
                if press is not None:
                    press.outcome, press.shift = "held, then step", len(self.shifts)
                self.command(now_s, gear, "held")
                return
        if self.queued is not None:
            (asked_s, direction), self.queued = self.queued, None
            gear = self.gear + (1 if direction == UP else -1)
            if self.manual and now_s - asked_s < 1.0 and 1 <= gear <= top and self.allowed(seen, gear):
                self.command(now_s, gear, "doubled")
                return
        if self.again is not None and now_s >= self.again[0]:
            gear = self.gear + self.again[1]
            self.again = None
            if self.manual and 1 <= gear <= top and self.allowed(seen, gear):
                self.command(now_s, gear, "doubled")
                return
        if self.manual:
            self._act_manual(now_s, seen, top)
        else:
            self._act_automatic(now_s, seen, top)

    def _act_manual(self, now_s: float, seen: Seen, top: int) -> None:
        truck = self.truck
        limiter = self.planted.limiter_rpm or truck.limiter_rpm
        if truck.at_limiter == "upshift" and seen.engine_rpm > limiter - 60.0 and self.gear < top:
            self.command(now_s, self.gear + 1, "limiter")
        elif seen.turbine_rpm < truck.low_turbine_rpm and self.gear > 1 and now_s - self.last_command_s > 0.8:
            self.command(now_s, self.gear - 1, "forced")
        elif self.planted.unasked_p and now_s - self.last_command_s > 3.0:
            quiet = 0.3 * truck.most_rpm < seen.engine_rpm < 0.75 * truck.most_rpm
            if quiet and self.rng.random() < self.planted.unasked_p * truck.task_s:
                ways = [g for g in (self.gear - 1, self.gear + 1) if 1 <= g <= top and self.allowed(seen, g)]
                if ways:
                    self.command(now_s, int(self.rng.choice(ways)), "unasked")

    def _act_automatic(self, now_s: float, seen: Seen, top: int) -> None:
        truck = self.truck
        if now_s - self.last_command_s < 1.3:
            return
        quiet = 2.4 * truck.idle_rpm
        line = quiet + seen.throttle**2 * (truck.up_line_rpm - quiet)
        if self.gear < top and seen.engine_rpm > line and self.allowed(seen, self.gear + 1):
            self.command(now_s, self.gear + 1, "automatic")
        elif self.gear > 1:
            lower = self.gear - 1
            after = seen.output_rpm * truck.ratios[lower - 1]
            if after < 0.72 * line and self.allowed(seen, lower):
                self.command(now_s, lower, "automatic")
