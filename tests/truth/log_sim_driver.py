"""The driver of a simulated drive: lever, taps with their bounce, throttle wishes. A seed decides; speed is followed.

Presses become contact events in continuous time: (time, contact, closed). The controller only sees the pin.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

import numpy as np

from tests.truth.log_defects import Planted
from tests.truth.log_sim_truck import Truck


@dataclass
class Press:
    """One tap as the hand made it."""

    on_s: float
    off_s: float
    station: str
    direction: str
    why: str  # "drive", "provoke", "script", "hold"
    outcome: str = ""  # filled in by the controller: step, missed, short, refused: …, during shift, not manual, …
    shift: int = -1  # number in the list of shifts

    @property
    def contact(self) -> str:
        return f"{self.station}_{self.direction}"


@dataclass
class Driver:
    truck: Truck
    planted: Planted
    seed: int
    length_s: float
    style: str = "drive"  # "drive", "script" (known numbers of taps), "key on" (engine off)
    events: list[tuple[float, str, bool]] = field(default_factory=list)  # waiting, a heap
    history: list[tuple[float, str, bool]] = field(default_factory=list)
    presses: list[Press] = field(default_factory=list)
    lever: str = "P"
    lever_moves: list[tuple[float, str]] = field(default_factory=list)
    next_tap_s: float = 0.0
    target_m_per_s: float = 0.0
    next_target_s: float = 0.0
    full_throttle: bool = False

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng([self.seed, 7002])
        rng = self.rng
        if self.style == "key on":
            self._plan_key_on()
            return
        moves = [(0.0, "P"), (float(rng.uniform(2.0, 3.0)), "N" if rng.random() < 0.4 else "R")]
        at = moves[-1][0] + float(rng.uniform(0.5, 1.5))
        moves.append((at, "D"))
        at += float(rng.uniform(12.0, 25.0))
        if self.planted.kind == "limiter_below_line":
            at = 0.45 * self.length_s
        moves.append((at, "M"))
        if self.style == "drive":
            while at < self.length_s - 60.0 and rng.random() < 0.75:
                at += float(rng.uniform(30.0, 90.0))
                if at > self.length_s - 30.0:
                    break
                moves.append((at, "D"))
                at += float(rng.uniform(4.0, 10.0))
                moves.append((at, "M"))
        self.lever_moves = moves
        up = float(rng.uniform(0.55, 0.72))
        self.shift_up_rpm = up * self.truck.most_rpm
        # never so early that up and down chase each other: the largest step decides
        widest = max(a / b for a, b in zip(self.truck.ratios, self.truck.ratios[1:], strict=False))
        self.shift_down_rpm = min(0.36 * self.truck.most_rpm, 0.85 * self.shift_up_rpm / widest)
        self.next_tap_s = next(t for t, lever in moves if lever == "M") + 1.0
        self.top_m_per_s = float(rng.uniform(22.0, 38.0)) / (self.truck.transfer**0.7)

    # a script with the engine off: every contact so often, the lever through its detents

    def _plan_key_on(self) -> None:
        at = 3.0
        self.lever_moves = [(0.0, "P")]
        for lever in ("R", "N", "D", "M"):
            self.lever_moves.append((at, lever))
            at += 3.0
        for station in self.truck.stations:
            for direction in ("up", "down"):
                for _ in range(5):
                    self.press(at, float(self.rng.uniform(0.35, 0.7)), station, direction, "script")
                    at += float(self.rng.uniform(1.3, 1.8))
                at += 2.0
        for lever in ("D", "N", "R", "P"):
            self.lever_moves.append((at, lever))
            at += 2.0
        self.length_s = at + 2.0

    def press(self, on_s: float, length_s: float, station: str, direction: str, why: str) -> None:
        """A press with the bounce of its contact, and of a worn one."""
        press = Press(on_s, on_s + length_s, station, direction, why)
        self.presses.append(press)
        edges = [(on_s, True)]
        for _ in range(int(self.rng.integers(0, 4))):  # a new switch bounces for a few ms
            t = on_s + float(self.rng.uniform(0.0003, 0.004))
            edges += [(t, False), (t + float(self.rng.uniform(0.0002, 0.001)), True)]
        if self.planted.bounce_s and self.rng.random() < 0.8:
            at = on_s + 0.004
            while at < on_s + min(self.planted.bounce_s, 0.7 * length_s):
                gap = float(self.rng.uniform(0.006, 0.03))
                if at + gap >= on_s + 0.95 * length_s:  # it would close after it was let go, and stay closed
                    break
                edges += [(at, False), (at + gap, True)]
                at += gap + float(self.rng.uniform(0.008, 0.03))
        edges.append((on_s + length_s, False))
        edges.sort()
        clean: list[tuple[float, bool]] = []
        for t, closed in edges:  # overlapping bounces: keep alternating
            if not clean or clean[-1][1] != closed:
                clean.append((t, closed))
        for t, closed in clean:
            heapq.heappush(self.events, (t, press.contact, closed))

    def due(self, now_s: float) -> list[tuple[float, str, bool]]:
        """Contact events up to now, in order; they are history afterwards."""
        out = []
        while self.events and self.events[0][0] <= now_s:
            out.append(heapq.heappop(self.events))
        self.history += out
        return out

    def move(self, now_s: float, lever: str) -> None:
        """The lever is somewhere else now; the hand needs a moment before it taps."""
        self.lever = lever
        self.next_tap_s = max(self.next_tap_s, now_s + float(self.rng.uniform(0.4, 1.5)))

    def lever_at(self, now_s: float) -> str:
        for t, lever in reversed(self.lever_moves):
            if t <= now_s:
                return lever
        return "P"

    def want_speed(self, now_s: float) -> float:
        """The speed that the driver is after: steps held for some seconds, now and then a stop. [m/s]"""
        if self.style == "key on" or now_s < self.lever_moves[2][0] + 1.0:
            return 0.0
        if now_s >= self.next_target_s:
            rng = self.rng
            self.full_throttle = bool(rng.random() < 0.25)
            low = 0.12 if rng.random() < 0.3 else 0.35
            self.target_m_per_s = self.top_m_per_s * float(rng.uniform(low, 1.0))
            if rng.random() < 0.06:
                self.target_m_per_s = 0.0
            self.next_target_s = now_s + float(rng.uniform(5.0, 14.0))
            if self.style == "script":  # gently, never near a limit or a stop
                self.full_throttle = False
                self.target_m_per_s = self.top_m_per_s * float(rng.uniform(0.3, 0.65))
            if self.planted.kind == "limiter_below_line" and now_s < 0.4 * self.length_s:
                self.full_throttle, self.target_m_per_s = True, self.top_m_per_s * 1.5
                self.next_target_s = 0.42 * self.length_s
        return self.target_m_per_s

    def _scripted_tap(self, now_s: float, gear: int, engine_rpm: float) -> None:
        """Up and down in turn wherever the engine stays well inside its range."""
        ratios = self.truck.ratios
        good = []
        for direction, other in (("up", gear + 1), ("down", gear - 1)):
            if 1 <= other <= len(ratios):
                after = engine_rpm * ratios[other - 1] / ratios[gear - 1]
                if max(0.3 * self.truck.most_rpm, 1.25 * self.truck.least_rpm) < after < 0.68 * self.truck.most_rpm:
                    good.append(direction)
        if good:
            length = float(self.rng.uniform(0.12, 0.3))
            self.press(
                now_s + 0.001, length, str(self.rng.choice(self.truck.stations)), str(self.rng.choice(good)), "script"
            )
            self.next_tap_s = now_s + length + float(self.rng.uniform(2.2, 3.5))

    def think(self, now_s: float, gear: int, engine_rpm: float, shifting: bool) -> None:
        """Decide whether to tap now. The driver looks at the engine's speed, and errs on purpose now and then."""
        if self.style == "key on" or self.lever != "M" or now_s < self.next_tap_s or now_s > self.length_s - 3.0:
            return
        rng = self.rng
        direction, why = "", "drive"
        top = len(self.truck.ratios)
        draw = float(rng.random())
        if self.style == "script":
            if not shifting:
                self._scripted_tap(now_s, gear, engine_rpm)
            return
        after_down = engine_rpm * self.truck.ratios[gear - 2] / self.truck.ratios[gear - 1] if gear > 1 else 0.0
        if self.planted.no_guard and after_down > 1.02 * self.truck.most_rpm and draw < 0.3:
            direction, why = "down", "provoke"
        elif engine_rpm > self.shift_up_rpm and gear < top:
            direction = "up"
        elif engine_rpm < self.shift_down_rpm and gear > 1:
            direction = "down"
        elif draw < 0.012:  # looked at ten times a second
            direction, why = ("up" if rng.random() < 0.5 else "down"), "provoke"
        elif self.planted.kind == "never_manual" and draw < 0.03:
            direction = "up"
        if not direction or (shifting and rng.random() > 0.05):
            return
        length = float(np.clip(rng.lognormal(np.log(0.15), 0.45), 0.06, 0.4))
        if rng.random() < 0.03:
            length, why = float(rng.uniform(0.8, 2.0)), "hold"
        station = str(rng.choice(self.truck.stations))
        self.press(now_s + 0.001, length, station, direction, why)
        again = float(rng.uniform(0.15, 0.4)) if rng.random() < 0.04 else float(rng.uniform(1.3, 3.0))
        self.next_tap_s = now_s + length + again
