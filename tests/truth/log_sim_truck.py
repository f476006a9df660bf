"""An invented truck for simulated logs: driveline, coder on one pin, controller. Awkward on purpose, drawn by a seed.

Everything here is what the truck truly is. What its design file says is written by `log_designs`, and may be wrong.
Physics from the textbook: one node for the pin, speeds by ratios, point mass. Units are in the names.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

ZERO_C_K = 20.0  # resistor data hold at 20 °C
IDLE, MANUAL, UP, DOWN, NONE = "automatic", "manual", "up", "down", "none"
MEANINGS = (IDLE, MANUAL, UP, DOWN, NONE)  # its place in this list is the code a log shows
LEVERS = ("P", "R", "N", "D", "M")


@dataclass(frozen=True)
class Coder:
    """One coded pin. `ohm` are the parts as built, `marked_ohm` what is printed on them."""

    form: str  # "pull-up" to a 5 V reference, or "pull-down" fed by the battery
    pull_ohm: float
    marked_pull_ohm: float
    reference_v: float
    ohm: dict[str, float]  # contact -> coding resistor
    marked_ohm: dict[str, float]
    idle_ohm: float  # far-end idle resistor, inf where there is none
    marked_idle_ohm: float
    windows: dict[str, tuple[float, float]]
    tempco_per_k: float
    filter_s: float
    contact_ohm: float
    offset_v: float  # ground offset of the coder's return (pull-up), drop of its feed (pull-down)
    noise_v: float  # of the controller's own reading, one sigma

    def code_ohm(self, closed: frozenset[str], coder_c: float, wear_ohm: float = 0.0) -> float:
        """Resistance between far end and source for a set of closed contacts; taps need `lever_manual` if there is."""
        heat = 1.0 + self.tempco_per_k * (coder_c - ZERO_C_K)
        enable = "lever_manual" in self.ohm
        siemens = 0.0 if math.isinf(self.idle_ohm) else 1.0 / (self.idle_ohm * heat)
        if enable and "lever_manual" not in closed:
            return 1.0 / siemens if siemens else math.inf
        branch = sum(1.0 / (self.ohm[c] * heat + self.contact_ohm + wear_ohm) for c in closed if c in self.ohm)
        total = siemens + branch
        return 1.0 / total if total else math.inf

    def pin_v(
        self, code_ohm: float, supply_v: float, leak_ground_ohm: float = math.inf, leak_supply_ohm: float = math.inf
    ) -> float:
        """Node equation of the pin: sum of (source volts × siemens) ÷ sum of siemens. [V]"""
        if self.form == "pull-up":
            pull_to, code_to = self.reference_v, self.offset_v
        else:
            pull_to, code_to = 0.0, supply_v - self.offset_v
        g_pull = 1.0 / self.pull_ohm
        g_code = 1.0 / code_ohm
        g_ground = 1.0 / leak_ground_ohm
        g_supply = 1.0 / leak_supply_ohm
        total = g_pull + g_code + g_ground + g_supply
        return (pull_to * g_pull + code_to * g_code + supply_v * g_supply) / total

    def reading(self, pin_v: float, supply_v: float) -> float:
        """What the controller divides: by its reference, or by its own supply."""
        return min(max(pin_v / (self.reference_v if self.form == "pull-up" else supply_v), 0.0), 1.0)

    def meaning(self, reading: float) -> str:
        """The window that holds it, or none."""
        for name, (low, high) in self.windows.items():
            if low <= reading <= high:
                return name
        return NONE


@dataclass(frozen=True)
class Truck:
    seed: int
    ratios: tuple[float, ...]
    axle: float
    transfer: float
    transfer_name: str
    low_ratio: float  # of the other range
    roll_m: float  # rolling circumference at rest, new
    growth: float  # fraction at 45 m/s, with the square of speed
    wear: float
    most_rpm: float
    limiter_rpm: float
    idle_rpm: float
    least_rpm: float
    up_line_rpm: float  # of the automatic, engine, full throttle
    slip_open: float  # most slip of the open converter while driving
    slip_locked: float
    slip_stated: float
    coast_slip: float
    lock_from: int  # gear
    mass_kg: float
    torque_nm: float
    drag_n_s2_per_m2: float
    coder: Coder
    two_stations: bool
    enable: str  # "lever": the code of the selector; "coded": a contact on the pin
    lever_codes: dict[str, int]
    task_s: float
    debounce_s: float
    dead_hold_s: float
    command_s: float
    mode_shows: str  # "at once" or "first tap"
    at_limiter: str  # "hold" or "upshift"
    hold_s: float  # a refused downshift waits so long
    guard_margin: float
    low_turbine_rpm: float  # no upshift below, forced downshift
    torque_s: float
    inertia_s: float
    output_teeth: int
    supply_v: float
    ambient_c: float

    @property
    def reduction(self) -> float:
        return self.axle * self.transfer

    def circumference_m(self, v_m_per_s: float) -> float:
        return self.roll_m * (1.0 - self.wear) * (1.0 + self.growth * (v_m_per_s / 45.0) ** 2)

    def output_rpm(self, v_m_per_s: float) -> float:
        return 60.0 * v_m_per_s / self.circumference_m(v_m_per_s) * self.reduction

    def contact_of(self, station: str, direction: str) -> str:
        return f"{station}_{direction}"

    @property
    def stations(self) -> tuple[str, ...]:
        return ("lever", "wheel") if self.two_stations else ("lever",)


# sets of parts: pull, contacts, idle, windows as shares (values of E24 and E96; windows mid-gap, with dead bands)
PULL_UP = {
    "lever": (
        1000.0, {"up": 220.0, "down": 620.0}, 3900.0,
        {UP: (0.10, 0.25), DOWN: (0.285, 0.43), IDLE: (0.68, 0.92)},
    ),
    "coded": (
        1000.0, {"manual": 1500.0, "up": 180.0, "down": 680.0}, 3900.0,
        {UP: (0.08, 0.195), DOWN: (0.24, 0.36), MANUAL: (0.44, 0.61), IDLE: (0.69, 0.90)},
    ),
}  # fmt: skip
PULL_DOWN = {
    "lever": (
        1000.0, {"up": 3300.0, "down": 1000.0}, math.inf, {IDLE: (0.0, 0.10), UP: (0.17, 0.32), DOWN: (0.41, 0.60)},
    ),
    "coded": (
        1000.0, {"manual": 8250.0, "up": 4420.0, "down": 1300.0}, math.inf,
        {IDLE: (0.0, 0.05), MANUAL: (0.07, 0.15), UP: (0.20, 0.31), DOWN: (0.41, 0.53)},
    ),
}  # fmt: skip


def make_coder(rng: np.random.Generator, enable: str, two_stations: bool) -> Coder:
    form = "pull-up" if rng.random() < 0.6 else "pull-down"
    pull, parts, idle, windows = (PULL_UP if form == "pull-up" else PULL_DOWN)[enable]
    scale = float(rng.choice([1.0, 1.5, 2.2] if form == "pull-up" else [1.0, 1.5]))

    def built(marked: float) -> float:
        return marked * (1.0 + float(rng.uniform(-0.012, 0.012)))

    marked = {f"lever_{d}": parts[d] * scale for d in ("up", "down")}
    if two_stations:
        marked |= {f"wheel_{d}": parts[d] * scale for d in ("up", "down")}
    if enable == "coded":
        marked["lever_manual"] = parts["manual"] * scale
    return Coder(
        form, built(pull * scale), pull * scale, 5.0 * (1.0 + float(rng.uniform(-0.005, 0.005))),
        {name: built(ohm) for name, ohm in marked.items()}, marked,
        built(idle * scale) if math.isfinite(idle) else math.inf, idle * scale, dict(windows),
        float(rng.uniform(-1e-4, 1e-4)), float(rng.uniform(0.0003, 0.001)), float(rng.uniform(0.05, 10.0)),
        float(rng.uniform(-0.04, 0.04)) if form == "pull-up" else float(rng.uniform(0.06, 0.15)),
        float(rng.uniform(0.002, 0.008)),
    )  # fmt: skip


def make_ratios(rng: np.random.Generator) -> tuple[float, ...]:
    """Four to eight gears with steps that fall from about 1.7 to 1.2, the last ones overdrives."""
    count = int(rng.integers(4, 9))
    step = float(rng.uniform(1.55, 1.8)) if count < 6 else float(rng.uniform(1.4, 1.65))
    last = float(rng.uniform(1.28, 1.4)) if count < 6 else float(rng.uniform(1.2, 1.28))
    steps = np.linspace(step, last, count - 1) * rng.uniform(0.98, 1.02, count - 1)
    out = [float(rng.uniform(0.62, 0.85))]
    for each in steps[::-1]:
        out.append(out[-1] * float(each))
    return tuple(round(each, 2) for each in out[::-1])


def make_truck(seed: int) -> Truck:
    """The same seed gives the same truck."""
    rng = np.random.default_rng([seed, 7001])
    ratios = make_ratios(rng)
    enable = "lever" if rng.random() < 0.55 else "coded"
    two = bool(rng.random() < 0.6)
    low = rng.random() < 0.12
    low_ratio = round(float(rng.uniform(1.9, 2.8)), 2)
    most = float(rng.integers(50, 72)) * 100.0
    codes = dict(zip(LEVERS, (int(c) for c in rng.permutation(np.arange(1, 12))[:5]), strict=True))
    slip_open = float(rng.uniform(0.05, 0.16))
    task = float(rng.choice([0.005, 0.01]))
    limiter = most - float(rng.choice([100.0, 200.0, 300.0]))
    return Truck(
        seed, ratios, round(float(rng.uniform(3.5, 5.3)), 2), low_ratio if low else 1.0, "low" if low else "high",
        low_ratio, round(float(rng.uniform(2.2, 3.1)), 3), float(rng.uniform(0.0, 0.01)),
        float(rng.uniform(0.0, 0.012)), most, limiter, float(rng.integers(6, 9)) * 100.0,
        most * 0.24, limiter - float(rng.integers(3, 7)) * 100.0, slip_open, float(rng.uniform(0.0, 0.006)),
        round(slip_open + 0.02, 2), float(rng.uniform(0.0, 0.02)) if rng.random() < 0.25 else 0.0,
        int(rng.integers(2, 4)), float(rng.uniform(1800.0, 2800.0)), float(rng.uniform(450.0, 800.0)),
        float(rng.uniform(0.8, 1.6)), make_coder(rng, enable, two), two, enable, codes, task,
        float(rng.choice([0.02, 0.03, 0.04])), float(rng.uniform(0.15, 0.4)), float(rng.uniform(0.005, 0.02)),
        "first tap" if rng.random() < 0.3 else "at once", "upshift" if rng.random() < 0.2 else "hold",
        float(rng.choice([0.0, 1.0, 2.0])), 0.05, float(rng.integers(9, 12)) * 100.0,
        float(rng.uniform(0.06, 0.12)), float(rng.uniform(0.15, 0.30)), int(rng.choice([24, 36, 40, 60])),
        float(rng.uniform(13.6, 14.4)), float(rng.uniform(5.0, 35.0)),
    )  # fmt: skip


@dataclass(frozen=True)
class Box:
    """The worst case of a coder as its design file states it; the product's box and the oracle's are both from here."""

    tolerance: float = 0.01
    ageing: float = 0.01
    tempco_per_k: float = 100e-6
    low_c: float = -10.0
    high_c: float = 80.0
    closed_ohm: float = 20.0
    pull_tolerance: float = 0.02
    reference_tolerance: float = 0.005
    offset_low_v: float = -0.05
    offset_high_v: float = 0.05
    drop_low_v: float = 0.05
    drop_high_v: float = 0.2
    leak_ground_ohm: float = 50e3
    leak_supply_ohm: float = 200e3
    supply_low_v: float = 11.0
    supply_high_v: float = 15.5
    error: float = 0.005


BOX = Box()


def reading_span(coder: Coder, closed: frozenset[str], box: Box = BOX) -> tuple[float, float]:
    """Least and greatest reading over all corners of the box. One reading is a quotient, so its ends lie at corners."""
    swing = box.tolerance + box.ageing + box.tempco_per_k * max(box.high_c - 20.0, 20.0 - box.low_c)
    seen = []
    for parts, contact, pull, offset, ground, supply_leak, volts in itertools.product(
        (1.0 - swing, 1.0 + swing), (0.0, box.closed_ohm), (1.0 - box.pull_tolerance, 1.0 + box.pull_tolerance),
        (0, 1), (box.leak_ground_ohm, math.inf), (box.leak_supply_ohm, math.inf), (box.supply_low_v, box.supply_high_v),
    ):  # fmt: skip
        edges = (box.offset_low_v, box.offset_high_v)
        if coder.form == "pull-down":
            edges = (box.drop_low_v, box.drop_high_v)
        trial = Coder(
            coder.form, coder.marked_pull_ohm * pull, coder.marked_pull_ohm, 5.0,
            {k: v * parts for k, v in coder.marked_ohm.items()}, coder.marked_ohm, coder.marked_idle_ohm * parts,
            coder.marked_idle_ohm, coder.windows, 0.0, coder.filter_s, contact, edges[offset], 0.0,
        )  # fmt: skip
        pin = trial.pin_v(trial.code_ohm(closed, 20.0), volts, ground, supply_leak)
        seen.append(trial.reading(pin, volts))
    return min(seen), max(seen)


def closed_for(truck: Truck, meaning: str, station: str = "lever") -> frozenset[str]:
    """The contacts that ask for a meaning."""
    base = frozenset({"lever_manual"}) if truck.enable == "coded" and meaning != IDLE else frozenset()
    return base | {f"{station}_{meaning}"} if meaning in (UP, DOWN) else base
