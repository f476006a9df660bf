"""What can be wrong with a simulated truck, or with what its design file says; with the stretches where it shows.

A planted defect changes the simulation through the fields of `Planted`; what only the design file says wrongly is a
field too, and is read by `log_designs`. Things that look odd but are no defect are in `ODD`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from tests.truth.log_sim_truck import Truck

DEFECTS = (
    "wrong_lever_code",  # the design says another code than the one at which manual engages
    "never_manual",  # manual is asked for and never engages
    "missed",
    "doubled",
    "reversed",
    "unasked",
    "slow_shift",
    "flare",
    "slip",
    "overspeed",
    "bounce",
    "pin_drift",  # water or wear moves the pin outside its proven spans
    "false_command",  # the same, until it reads as a command nobody gave
    "wrong_gear",
    "wrong_driveline",
    "supply_low",
    "hot",
    "limiter_below_line",
    "stations_differ",
)
ODD = ("mode_after_first_tap", "held_request", "refused", "wheelspin", "low_range")


@dataclass(frozen=True)
class Planted:
    """All fields zero or empty: a sound truck with a true design file."""

    kind: str = ""
    miss_p: float = 0.0
    double_p: float = 0.0
    reverse: str = ""  # "all", or a station
    unasked_p: float = 0.0  # per second of quiet driving in manual
    slow: dict[tuple[int, int], float] = field(default_factory=dict)  # (from, to) -> inertia phase [s]
    flare_rpm: dict[tuple[int, int], float] = field(default_factory=dict)
    slip: dict[int, float] = field(default_factory=dict)  # gear -> turbine faster than output × ratio, fraction
    no_guard: bool = False
    bounce_s: float = 0.0  # a worn switch chatters so long on closing, and
    short_debounce_s: float = 0.0  # the controller's debounce is set too short, with a queue of one tap
    leak_ohm: float = math.inf  # water: leak at its worst
    leak_to: str = "ground"
    leak_from_s: float = math.inf
    leak_until_s: float = math.inf
    wear_ohm: float = 0.0  # at the end of the log, growing with its square
    wear_contact: str = ""
    report: dict[int, int] = field(default_factory=dict)  # true gear -> gear that is shown
    never: bool = False
    design_lever_code: int = -1
    design_axle: float = 1.0  # factors on what the design file says
    design_roll: float = 1.0
    design_teeth: float = 1.0
    supply_v: float = 0.0  # added
    supply_from_s: float = math.inf
    supply_until_s: float = math.inf
    coder_c: float = 0.0  # added at the end of a slow rise
    limiter_rpm: float = 0.0  # instead of the truck's own
    wheel_ohm: float = 1.0  # factor on the wheel station's resistors, or
    wheel_swapped: bool = False

    def wear_at(self, t_s: float, length_s: float) -> float:
        return self.wear_ohm * (t_s / length_s) ** 2 if self.wear_ohm else 0.0

    def leak_at(self, t_s: float) -> float:
        """Water comes within 2 s and dries with a time constant of a third of its stay. [ohm]"""
        if t_s < self.leak_from_s:
            return math.inf
        inside = 1.0 - math.exp(-(t_s - self.leak_from_s) / 0.7)
        stay = self.leak_until_s - self.leak_from_s
        share = inside if t_s < self.leak_until_s else inside * math.exp(-(t_s - self.leak_until_s) / (stay / 3.0))
        return self.leak_ohm / share if share > 1e-6 else math.inf


def leak_for(truck: Truck, span_reading: float) -> tuple[float, str]:
    """A leak that brings the idle reading to `span_reading`, and to which side. From the node equation."""
    coder = truck.coder
    idle = coder.code_ohm(frozenset(), 20.0)
    if coder.form == "pull-up":  # a leak to ground lowers it
        want_v = span_reading * coder.reference_v
        g = ((coder.reference_v - want_v) / coder.pull_ohm - (want_v - coder.offset_v) / idle) / want_v
        return 1.0 / max(g, 1e-9), "ground"
    want_v = span_reading * truck.supply_v
    g = (want_v / coder.pull_ohm) / (truck.supply_v - want_v)
    return 1.0 / max(g, 1e-9), "supply"


def plant(kind: str, truck: Truck, seed: int, length_s: float) -> Planted:
    """A defect of this kind, of a size drawn so that some of them are hard to see."""
    rng = np.random.default_rng([seed, 7003])

    def u(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    gears = len(truck.ratios)
    low_gear = int(rng.integers(1, gears))
    pairs = [(g, g + 1) for g in range(1, gears)] + [(g + 1, g) for g in range(1, gears)]
    start = u(0.25, 0.5) * length_s
    codes = truck.lever_codes
    match kind:
        case "":
            return Planted()
        case "wrong_lever_code":
            other = [codes["D"], max(codes.values()) + 1, codes["N"]]
            return Planted(kind, design_lever_code=int(rng.choice(other)))
        case "never_manual":
            return Planted(kind, never=True)
        case "missed":
            return Planted(kind, miss_p=float(rng.choice([0.05, 0.15, 0.4])))
        case "doubled":
            return Planted(kind, double_p=float(rng.choice([0.1, 0.25, 0.5])))
        case "reversed":
            return Planted(kind, reverse="wheel" if truck.two_stations and rng.random() < 0.5 else "all")
        case "unasked":
            return Planted(kind, unasked_p=float(rng.choice([0.01, 0.03])))
        case "slow_shift":
            some = rng.permutation(len(pairs))[: max(2, len(pairs) // 2)]
            return Planted(kind, slow={pairs[int(i)]: u(0.8, 1.8) for i in some})
        case "flare":
            some = rng.permutation(gears - 1)[: max(1, gears // 2)] + 1
            return Planted(kind, flare_rpm={(int(g), int(g) + 1): u(200.0, 900.0) for g in some})
        case "slip":
            return Planted(kind, slip={max(low_gear, truck.lock_from): u(0.015, 0.09)})
        case "overspeed":
            return Planted(kind, no_guard=True)
        case "bounce":
            return Planted(kind, bounce_s=u(0.04, 0.1), short_debounce_s=truck.task_s)
        case "pin_drift":
            return plant_drift(truck, rng, start, length_s)
        case "false_command":
            sign = 1.0 if truck.coder.form == "pull-up" else -1.0  # the command next to idle
            low, high = max((truck.coder.windows[m] for m in ("up", "down")), key=lambda w: sign * w[0])
            ohm, to = leak_for(truck, low + (high - low) * u(0.3, 0.7))
            return Planted(kind, leak_ohm=ohm, leak_to=to, leak_from_s=start, leak_until_s=start + u(5.0, 30.0))
        case "wrong_gear":
            wrong = low_gear + (1 if low_gear < gears else -1)
            return Planted(kind, report={low_gear: wrong if rng.random() < 0.7 else max(low_gear - 1, 1) or 2})
        case "wrong_driveline":
            factor = float(rng.choice([0.746, 0.88, 0.94, 1.07, 1.22]))
            which = int(rng.integers(0, 2))
            return Planted(kind, design_axle=factor if which == 0 else 1.0, design_roll=factor if which == 1 else 1.0)
        case "supply_low":
            drop = u(2.0, 5.0)
            return Planted(kind, supply_v=-drop, supply_from_s=start, supply_until_s=start + u(0.3, 15.0))
        case "hot":
            return Planted(kind, coder_c=u(75.0, 110.0) - truck.ambient_c)
        case "limiter_below_line":
            return Planted(kind, limiter_rpm=truck.up_line_rpm - u(150.0, 500.0))
        case "stations_differ":
            if rng.random() < 0.3:
                return Planted(kind, wheel_swapped=True)
            return Planted(kind, wheel_ohm=float(rng.choice([0.6, 1.5, 2.2])))
    raise ValueError(f"no such defect: {kind}")


def plant_drift(truck: Truck, rng: np.random.Generator, start_s: float, length_s: float) -> Planted:
    """Water that leaks, or a contact that wears: less than what makes a false command."""
    if rng.random() < 0.5:
        window = truck.coder.windows["automatic"]
        share = float(rng.uniform(-0.1, 0.5))  # of the way from the window's inner edge towards its middle
        if truck.coder.form == "pull-up":
            goal = window[0] + share * 0.2 * (window[1] - window[0])
        else:
            goal = window[1] * (1.0 - share)
        ohm, to = leak_for(truck, goal)
        stay = float(rng.uniform(15.0, 60.0))
        return Planted("pin_drift", leak_ohm=ohm, leak_to=to, leak_from_s=start_s, leak_until_s=start_s + stay)
    contact = str(rng.choice(sorted(c for c in truck.coder.ohm if c != "lever_manual")))
    wear = float(rng.uniform(0.3, 1.5)) * truck.coder.ohm[contact]
    return Planted("pin_drift", wear_ohm=wear, wear_contact=contact)


def can_be_planted(kind: str, truck: Truck) -> bool:
    """Some defects need something that not every truck has."""
    if kind == "stations_differ":
        return truck.two_stations
    if kind == "wrong_lever_code":
        return truck.enable == "lever"
    return True
