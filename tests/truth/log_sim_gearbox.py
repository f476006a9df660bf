"""Gearbox, converter, engine and road of the simulated truck. Forces by the textbook, one step at a time."""

from __future__ import annotations

import math

import numpy as np

from tests.truth.log_defects import Planted
from tests.truth.log_sim_box import Controller, Shift
from tests.truth.log_sim_truck import Truck

GRAVITY_M_PER_S2 = 9.81
ENGINE_LAG_S = 0.06
LOCK_RAMP_S = 0.35
ROLLING = 0.018


class Gearbox:
    def __init__(self, truck: Truck, planted: Planted, rng: np.random.Generator, engine_on: bool) -> None:
        self.truck, self.planted, self.rng, self.engine_on = truck, planted, rng, engine_on
        self.v_m_per_s = 0.0
        self.gear = 0  # engaged; while shifting the old one
        self.shift: Shift | None = None
        self.engine_rpm = truck.idle_rpm if engine_on else 0.0
        self.turbine_rpm = self.engine_rpm
        self.output_rpm = 0.0
        self.throttle, self.brake, self.lock = 0.0, 0.0, 0.0
        self.spin = 0.0  # wheel faster than the road, fraction
        self.spin_until_s = -1.0
        self.grade = 0.0
        self.next_grade_s = 0.0
        self.work_j = np.zeros(3)  # into the truck by the engine, out by drag and rolling, out by grade and brake
        self.done = 0  # shifts taken over from the controller
        self.settled_s = 0.0

    # shifting

    def _take_command(self, now_s: float, controller: Controller) -> None:
        if self.shift is None and self.done < len(controller.shifts):
            shift = controller.shifts[self.done]
            self.done += 1
            if shift.cause == "engage" or self.gear == 0:
                self.gear = shift.new
                shift.begin_s = shift.inertia_s = shift.end_s = now_s
                return
            slow = self.planted.slow.get((shift.old, shift.new), 0.0)
            wobble = float(self.rng.uniform(0.9, 1.1))
            shift.begin_s = now_s + 0.02
            shift.inertia_s = shift.begin_s + self.truck.torque_s * wobble
            shift.end_s = shift.inertia_s + (slow or self.truck.inertia_s * wobble)
            self.shift = shift
        if controller.gear == 0:
            self.gear, self.shift, self.done = 0, None, len(controller.shifts)

    def _turbine(self, now_s: float) -> float:
        """The turbine by the ratio; between two gears from one line to the other, with a hump if it flares."""
        ratios = self.truck.ratios
        if self.gear == 0:
            return self.turbine_rpm
        line = self.output_rpm * ratios[self.gear - 1]
        if self.shift is None:
            return line * (1.0 + self.planted.slip.get(self.gear, 0.0) * min(1.0, 2.0 * self.throttle))
        shift = self.shift
        new = self.output_rpm * ratios[shift.new - 1]
        if now_s < shift.inertia_s:
            x = 0.0
        else:
            x = min((now_s - shift.inertia_s) / max(shift.end_s - shift.inertia_s, 1e-6), 1.0)
        smooth = x * x * (3.0 - 2.0 * x)
        hump = self.planted.flare_rpm.get((shift.old, shift.new), 0.0)
        if hump:
            whole = (now_s - shift.begin_s) / max(shift.end_s - shift.begin_s, 1e-6)
            hump *= math.sin(math.pi * min(max(whole / 0.8, 0.0), 1.0))
            if whole < 0.8:
                smooth = 0.0  # nothing holds it yet: it runs up from the old line, then drops
            else:
                x = (whole - 0.8) / 0.2
                smooth = x * x * (3.0 - 2.0 * x)
        return line + (new - line) * smooth + hump

    # one step

    def step(
        self, now_s: float, dt_s: float, controller: Controller, lever: str, want_m_per_s: float, full: bool
    ) -> None:
        if not self.engine_on:
            return
        truck = self.truck
        self._take_command(now_s, controller)
        if self.shift is not None and now_s >= self.shift.end_s:
            self.gear, self.shift, self.settled_s = self.shift.new, None, now_s
        self._road(now_s, dt_s, want_m_per_s, full)
        self.output_rpm = truck.output_rpm(self.v_m_per_s) * (1.0 + self.spin)
        self._converter(now_s, dt_s)
        self.turbine_rpm = self._turbine(now_s)
        idle = truck.idle_rpm + 15.0 * math.sin(now_s * 2.1)
        if self.gear == 0:
            blip = 400.0 if lever == "N" else 0.0
            self.engine_rpm += (idle + blip - self.engine_rpm) * min(dt_s / 0.3, 1.0)
            self.turbine_rpm = 0.98 * self.engine_rpm
            return
        load = self.throttle if self.throttle > 0.02 else -truck.coast_slip / max(truck.slip_open, 1e-3)
        far = max(1.0 - self.turbine_rpm / (0.6 * truck.most_rpm), 0.15)
        slip_open = truck.slip_open * min(load * (0.4 + 0.6 * far), 1.0)
        slip = self.lock * truck.slip_locked * self.throttle + (1.0 - self.lock) * slip_open
        goal = self.turbine_rpm / (1.0 - slip)
        stall = idle + self.throttle * 0.28 * truck.most_rpm
        if self.lock < 0.5 and self.turbine_rpm <= stall:
            free = max(goal, stall - 0.3 * self.turbine_rpm * (stall - idle) / stall)
            # in second and above it is past its coupling point: no more slip than the design states
            most = self.turbine_rpm / (1.0 - truck.slip_stated + 0.005) if self.gear > 1 else free
            goal = max(min(free, most), idle) if self.turbine_rpm < idle else max(min(free, most), goal)
        limiter = self.planted.limiter_rpm or truck.limiter_rpm
        goal = min(goal, max(limiter + 20.0, self.turbine_rpm))  # it cuts before the open converter lets it run away
        lag = ENGINE_LAG_S * (1.0 - self.lock)
        self.engine_rpm = goal if lag < dt_s else self.engine_rpm + (goal - self.engine_rpm) * min(dt_s / lag, 1.0)

    def _road(self, now_s: float, dt_s: float, want_m_per_s: float, full: bool) -> None:
        """Driver's wish to throttle or brake, forces to acceleration. Energy is counted as it goes."""
        truck = self.truck
        if now_s >= self.next_grade_s:
            self.grade = float(self.rng.normal(0.0, 0.025))
            self.next_grade_s = now_s + float(self.rng.uniform(5.0, 20.0))
        drag = truck.drag_n_s2_per_m2 * self.v_m_per_s**2 + (
            ROLLING * truck.mass_kg * GRAVITY_M_PER_S2 if self.v_m_per_s > 0.05 else 0.0
        )
        slope = truck.mass_kg * GRAVITY_M_PER_S2 * self.grade if self.v_m_per_s > 0.05 else 0.0
        pull_most, over = 0.0, False
        if self.gear > 0:
            torque = truck.torque_nm * (1.0 - 0.35 * (self.engine_rpm / truck.most_rpm - 0.55) ** 2)
            radius = truck.circumference_m(self.v_m_per_s) / (2.0 * math.pi)
            pull_most = torque * truck.ratios[self.gear - 1] * truck.reduction * 0.85 / radius
            pull_most = min(pull_most, 0.6 * truck.mass_kg * GRAVITY_M_PER_S2)
            limiter = self.planted.limiter_rpm or truck.limiter_rpm
            if max(self.engine_rpm, self.turbine_rpm) >= limiter:
                pull_most, over = 0.0, True
            if self.shift is not None:
                pull_most *= 0.5 if self.shift.new > self.shift.old else 0.1
        wish = truck.mass_kg * (want_m_per_s - self.v_m_per_s) / 1.5 + drag + slope
        goal_throttle = min(max(wish / pull_most, 0.0), 1.0) if pull_most > 1.0 else (1.0 if wish > 0 else 0.0)
        if full and want_m_per_s > self.v_m_per_s + 2.0:
            goal_throttle = 1.0
        elif goal_throttle > 0.85:
            goal_throttle = 0.85
        self.throttle += (goal_throttle - self.throttle) * min(dt_s / 0.12, 1.0)
        needed_brake = max(-wish, 0.0) if self.gear == 0 or wish < -0.12 * truck.mass_kg * GRAVITY_M_PER_S2 else 0.0
        brake_n = min(needed_brake, 0.5 * truck.mass_kg * GRAVITY_M_PER_S2)
        if over and drag + slope < 0.02 * truck.mass_kg * GRAVITY_M_PER_S2 and not self.planted.no_guard:
            brake_n = max(
                brake_n, 0.04 * truck.mass_kg * GRAVITY_M_PER_S2 - drag - slope
            )  # downhill: the driver brakes
        pull = self.throttle * pull_most
        self.brake = brake_n / (0.5 * truck.mass_kg * GRAVITY_M_PER_S2)
        if self.throttle < 0.03 and self.gear > 0 and self.v_m_per_s > 1.0:
            pull -= 0.04 * truck.mass_kg * GRAVITY_M_PER_S2 * truck.ratios[self.gear - 1] / truck.ratios[0]
        change = (pull - brake_n - drag - slope) / truck.mass_kg * dt_s
        new_v = max(self.v_m_per_s + change, 0.0)
        way = 0.5 * (self.v_m_per_s + new_v) * dt_s
        self.work_j += np.array([pull, drag, slope + brake_n]) * way
        self.v_m_per_s = new_v
        if (
            self.throttle > 0.95
            and self.gear in (1, 2)
            and now_s > self.spin_until_s + 6.0
            and self.rng.random() < 0.004
        ):
            self.spin_until_s = now_s + float(self.rng.uniform(0.3, 1.2))
            self.spin_goal = float(self.rng.uniform(0.04, 0.2))
        goal = self.spin_goal if now_s < self.spin_until_s else 0.0
        self.spin += (goal - self.spin) * min(dt_s / 0.15, 1.0)
        self._limit_spin()

    def _limit_spin(self) -> None:
        """The limiter holds a spinning wheel too."""
        gear = self.shift.new if self.shift is not None else self.gear
        if self.spin > 0.0 and gear > 0:
            truck = self.truck
            top_rpm = 0.97 * (self.planted.limiter_rpm or truck.limiter_rpm) * (1.0 - truck.slip_open)
            least_ratio = max(truck.ratios[gear - 1], truck.ratios[max(self.gear, 1) - 1])
            still = truck.output_rpm(self.v_m_per_s) * least_ratio
            self.spin = max(min(self.spin, top_rpm / still - 1.0 if still > 0 else self.spin), 0.0)

    spin_goal = 0.0

    def _converter(self, now_s: float, dt_s: float) -> None:
        truck = self.truck
        ready = self.gear >= truck.lock_from and self.shift is None and now_s - self.settled_s > 0.6
        keep = self.lock > 0.0 and self.turbine_rpm > 0.22 * truck.most_rpm
        goal = 1.0 if ready and (self.turbine_rpm > 0.28 * truck.most_rpm or keep) else 0.0
        rate = dt_s / (LOCK_RAMP_S if goal else 0.1)
        self.lock += min(max(goal - self.lock, -rate), rate)

    # what is shown

    def shown_gear(self, commanded: int, lever: str) -> int:
        """The gear that the controller shows: the old one until the new one is in."""
        del commanded
        return -1 if lever == "R" and self.engine_on else self.gear

    def true_gear(self, lever: str) -> float:
        if self.shift is not None:
            return math.nan
        return -1.0 if lever == "R" and self.engine_on else float(self.gear)
