"""Invented loggers: what each channel captures, when, how well, and in which unit. `log_files_out` writes the text.

A sample captured at true time t appears in the log at t + delay of its channel. Between samples a row holds the last
one, stays blank, or runs straight from one to the next: that is the logger's habit.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.truth.log_sim import Sim
from tests.truth.log_sim_truck import LEVERS, MEANINGS, Truck

SPEEDS = ("engine", "turbine", "output")
FLAGS = ("tap_up", "tap_down", "mode", "limp", "refused")
LINE = "taps"

# unit: (number in the unit = value × factor + offset). Values: rpm, m/s, fraction, V, °C, m/s².
UNITS = {
    "rpm": {"rpm": (1.0, 0.0), "1/min": (1.0, 0.0), "rev/s": (1.0 / 60.0, 0.0)},
    "speed": {"km/h": (3.6, 0.0), "m/s": (1.0, 0.0), "mph": (3600.0 / 1609.344, 0.0)},
    "share": {"%": (100.0, 0.0), "ratio": (1.0, 0.0)},
    "volt": {"V": (1.0, 0.0), "mV": (1000.0, 0.0)},
    "heat": {"°C": (1.0, 0.0), "°F": (1.8, 32.0)},
    "g": {"m/s²": (1.0, 0.0), "g": (1.0 / 9.80665, 0.0)},
}
KIND = {
    "engine": "rpm", "turbine": "rpm", "output": "rpm", "road": "speed", "throttle": "share", "brake": "share",
    "lockup": "share", "supply": "volt", "pin": "volt", "oil": "heat", "ambient": "heat",
    "coder_temperature": "heat", "vertical": "g",
}  # fmt: skip
HEADERS = {
    "engine": ("Engine Speed", "Motor n", "ESPD"), "turbine": ("Input Speed", "Turbine", "ISS"),
    "output": ("Output Speed", "Tail shaft", "OSS"), "road": ("Speed", "Ground speed", "VEH SPD"),
    "throttle": ("Pedal", "TPS", "Throttle pos"), "brake": ("Brake", "BRK"), "lockup": ("Lock", "LUC duty"),
    "supply": ("Battery", "Ubat", "VBAT"), "oil": ("Oil temp", "ATF"), "ambient": ("Air temp", "Outside"),
    "coder_temperature": ("Coder temp", "AUX T1"), "vertical": ("Acc Z", "G vert"),
    "gear_commanded": ("Gear target", "GearCmd"), "gear": ("Gear", "GearAct"), "lever": ("Selector", "Lever pos"),
    "mode": ("Manual", "M-mode"), "tap_up": ("Tap+", "AIN7"), "tap_down": ("Tap-", "AIN8"),
    "meaning": ("Decoded", "Switch state"), "refused": ("Refused",), "limp": ("Limp",), "pin": ("AN4", "Tap input"),
}  # fmt: skip
NOISE = {
    "engine": 5.0, "turbine": 4.0, "output": 2.0, "road": 0.06, "throttle": 0.004, "brake": 0.004, "lockup": 0.002,
    "supply": 0.02, "pin": 0.006, "oil": 0.4, "ambient": 0.3, "coder_temperature": 0.3, "vertical": 0.2,
}  # fmt: skip
# profile: base rate choices, roles always there, roles there with a chance, rates per role (None: the row rate)
PROFILES = {
    "full": ((100.0, 200.0), tuple(HEADERS), {}, {"oil": 2.0, "ambient": 1.0, "coder_temperature": 2.0}),
    "bus": (
        (50.0, 100.0),
        ("engine", "turbine", "output", "gear_commanded", "gear", "lever", "mode", "tap_up", "tap_down", "throttle"),
        {"road": 0.8, "supply": 0.7, "lockup": 0.6, "oil": 0.7, "meaning": 0.4, "refused": 0.3, "limp": 0.4,
         "brake": 0.5},
        {"gear": 10.0, "lever": 10.0, "mode": 10.0, "oil": 1.0, "supply": 10.0, "road": 20.0, "gear_commanded": 25.0},
    ),
    "wires": (
        (100.0, 200.0),
        ("pin", "engine", "output", "supply", "lever", "mode", "gear_commanded"),
        {"turbine": 0.7, "coder_temperature": 0.5, "vertical": 0.7, "throttle": 0.6, "road": 0.5, "gear": 0.4,
         "lockup": 0.4},
        {"coder_temperature": 5.0, "lever": 20.0, "mode": 20.0},
    ),
    "slow": (
        (20.0, 25.0),
        ("engine", "output", "gear", "lever", "mode"),
        {"turbine": 0.6, "tap_up": 0.5, "road": 0.6, "gear_commanded": 0.6, "supply": 0.6, "pin": 0.4, "lockup": 0.4,
         "throttle": 0.6, "coder_temperature": 0.3},
        {"gear": 10.0, "coder_temperature": 1.0},
    ),
    "poll": (
        (5.0, 8.0, 10.0),
        ("engine", "road", "gear"),
        {"turbine": 0.4, "output": 0.6, "lever": 0.7, "mode": 0.7, "gear_commanded": 0.5, "supply": 0.7,
         "throttle": 0.5, "coder_temperature": 0.3, "lockup": 0.3, "tap_up": 0.2},
        {},
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Channel:
    """One channel as the logger has it; `sigma` and `quantum` in the value's own unit (rpm, m/s, V …)."""

    role: str  # without the line's name
    header: str
    unit: str
    rate_hz: float
    delay_s: float
    phase_s: float
    sigma: float
    quantum: float
    digits: int
    words: dict[int, str] = field(default_factory=dict)  # code channels: value -> cell

    @property
    def full_role(self) -> str:
        return f"{self.role}.{LINE}" if self.role in ("pin", "meaning") else self.role

    @property
    def scale(self) -> tuple[float, float]:
        if self.unit in ("counts", "code", "on/off"):
            return 1.0, 0.0
        if self.role == "pin" and self.unit in ("%", "ratio"):
            return UNITS["share"][self.unit]
        return UNITS[KIND[self.role]][self.unit]


@dataclass(frozen=True)
class Logger:
    profile: str
    row_hz: float
    habit: str  # "hold", "blank", "straight"
    channels: tuple[Channel, ...]
    delimiter: str
    decimal: str
    encoding: str
    bom: bool
    preamble: tuple[str, ...]
    unit_row: bool
    unit_in_header: str  # "", "[]", "()"
    time_kind: str  # "s", "ms", "clock", "date-time", "rows", "date and clock"
    gaps: tuple[tuple[float, float], ...]  # true times from and until
    duplicates: int
    set_back: tuple[float, float] | None  # true time, seconds back

    def channel(self, role: str) -> Channel | None:
        return next((each for each in self.channels if each.role == role), None)


@dataclass
class Samples:
    """What the log holds of one channel, in true time: when each value was captured, in which row it first stands."""

    channel: Channel
    at_s: np.ndarray  # captured
    shown_s: np.ndarray  # row time from which it shows
    values: np.ndarray  # in the value's own unit, after noise and rounding

    def between(self, from_s: float, to_s: float) -> np.ndarray:
        """Values captured in this stretch of true time."""
        return self.values[np.searchsorted(self.at_s, from_s) : np.searchsorted(self.at_s, to_s, side="right")]

    def times(self, from_s: float, to_s: float) -> np.ndarray:
        return self.at_s[np.searchsorted(self.at_s, from_s) : np.searchsorted(self.at_s, to_s, side="right")]


@dataclass
class Logged:
    sim: Sim
    logger: Logger
    row_s: np.ndarray  # true time of each row that is in the file, each once
    samples: dict[str, Samples]

    def has(self, *roles: str) -> bool:
        return all(role in self.samples for role in roles)

    def rate(self, role: str) -> float:
        return self.samples[role].channel.rate_hz if role in self.samples else 0.0

    def read_s(self, true_s: float) -> float:
        """Time as a reader has it, 0 at the first row: a clock that was set back is moved to one period after."""
        at = true_s - float(self.row_s[0])
        back = self.logger.set_back
        if back is None or true_s < back[0]:
            return at
        after = self.row_s[self.row_s >= back[0]]
        before = self.row_s[self.row_s < back[0]]
        if not len(after) or not len(before):
            return at
        return at - float(after[0] - before[-1]) + 1.0 / self.logger.row_hz


def make_channel(
    rng: np.random.Generator, role: str, row_hz: float, rates: dict[str, float], truck: Truck, poll: bool
) -> Channel:
    rate = min(rates.get(role, row_hz), row_hz)
    delay = (
        float(rng.uniform(0.0, 0.01))
        if rng.random() < 0.6
        else float(rng.uniform(0.0, 0.03 if row_hz >= 50.0 else 0.06))
    )
    phase = float(rng.uniform(0.0, 1.0 / rate)) if poll or rate < row_hz else 0.0
    if poll:
        delay = float(rng.uniform(0.0, 0.05))
    header = str(rng.choice(HEADERS[role]))
    sigma = NOISE.get(role, 0.0) * float(rng.uniform(0.5, 1.5))
    words: dict[int, str] = {}
    if role == "pin":
        unit = str(rng.choice(["V", "V", "mV", "ratio", "%", "counts"]))
        if unit == "counts" and truck.coder.form != "pull-up":
            unit = "V"
        if unit in ("ratio", "%", "counts"):
            sigma /= 5.0  # of the reading, not volts
        quantum = {"V": 0.001, "mV": 0.0049, "ratio": 0.0005, "%": 0.001, "counts": 1.0}[unit]
        return Channel(
            role,
            header,
            unit,
            rate,
            delay,
            phase,
            sigma,
            quantum,
            {"V": 3, "mV": 1, "ratio": 4, "%": 1, "counts": 0}[unit],
        )
    if role == "lever":
        style = rng.random()
        if style < 0.5:
            words = {i: str(truck.lever_codes[name]) for i, name in enumerate(LEVERS)}
        else:
            words = {i: f"pos {truck.lever_codes[name]}" for i, name in enumerate(LEVERS)}
    elif role == "meaning":
        words = dict(enumerate(MEANINGS)) if rng.random() < 0.6 else {i: str(i + 3) for i in range(5)}
    elif role in ("gear", "gear_commanded"):
        if rng.random() < 0.3:
            words = {-1: "R", 0: "N"} | {g: f"M{g}" for g in range(1, len(truck.ratios) + 1)}
    elif role in FLAGS and rng.random() < 0.3:
        words = {0: "off", 1: "ON"}
    if role in FLAGS or role in ("lever", "meaning", "gear", "gear_commanded"):
        if role in ("tap_up", "tap_down") and not words and rng.random() < 0.25:
            return Channel(role, header, "on/off", rate, delay, phase, 0.05, 0.01, 2)
        return Channel(role, header, "code", rate, delay, phase, 0.0, 1.0, 0, words)
    choices = list(UNITS[KIND[role]])
    unit = str(rng.choice(choices[:2] if rng.random() < 0.8 else choices))
    digits = {"rpm": 0, "1/min": 1, "rev/s": 2, "km/h": 1, "m/s": 2, "mph": 1, "%": 1, "ratio": 3, "V": 2, "mV": 0,
              "°C": 1, "°F": 0, "m/s²": 1, "g": 2}[unit]  # fmt: skip
    factor = UNITS[KIND[role]][unit][0]
    return Channel(role, header, unit, rate, delay, phase, sigma, 10.0**-digits / factor, digits)


def make_logger(seed: int, truck: Truck, length_s: float, *, profile: str = "", clean: bool = False) -> Logger:
    """The same seed gives the same logger. `clean`: no gaps, duplicates or clock steps."""
    rng = np.random.default_rng([seed, 7005])
    name = profile or str(rng.choice(list(PROFILES), p=[0.25, 0.25, 0.25, 0.15, 0.10]))
    bases, always, chances, rates = PROFILES[name]
    row_hz = float(rng.choice(bases))
    roles = [*always, *(role for role, chance in chances.items() if rng.random() < chance)]
    if "tap_up" in roles and "tap_down" not in roles:
        roles.append("tap_down")
    if name == "full":
        roles = [r for r in roles if r in ("engine", "output", "gear_commanded", "pin") or rng.random() < 0.93]
        if ("tap_up" in roles) != ("tap_down" in roles):
            roles = [r for r in roles if not r.startswith("tap_")]
    if len(set(roles)) < len(roles):
        roles = list(dict.fromkeys(roles))
    channels = [make_channel(rng, role, row_hz, rates, truck, name == "poll") for role in roles]
    order = rng.permutation(len(channels))
    delimiter = str(rng.choice([",", ";", "\t", "|"]))
    decimal = "," if delimiter != "," and rng.random() < 0.5 else "."
    encoding = str(rng.choice(["utf-8", "utf-8", "utf-16-le", "cp1252"]))
    habit = str(rng.choice(["hold", "hold", "blank", "straight"], p=[0.4, 0.2, 0.25, 0.15]))
    preamble = tuple(f"Session note {i}" for i in range(int(rng.integers(0, 5)))) if rng.random() < 0.5 else ()
    units = str(rng.choice(["row", "[]", "()", "none"]))
    gaps: list[tuple[float, float]] = []
    duplicates, back = 0, None
    if not clean:
        for _ in range(int(rng.integers(1, 4)) if rng.random() < 0.25 else 0):
            start = float(rng.uniform(0.1, 0.9)) * length_s
            gaps.append((start, start + float(rng.choice([0.5, 2.0, 6.0]))))
        duplicates = int(rng.integers(1, 30)) if rng.random() < 0.15 else 0
        if rng.random() < 0.06:
            back = (float(rng.uniform(0.3, 0.7)) * length_s, float(rng.uniform(1.0, 3000.0)))
    kinds = ["s", "s", "ms", "clock", "date-time", "rows", "date and clock"]
    time_kind = str(rng.choice(kinds))
    if time_kind == "rows" or (back and time_kind == "rows"):
        gaps, back = [], None  # a counter of rows has none of them
    return Logger(
        name, row_hz, habit, tuple(channels[int(i)] for i in order), delimiter, decimal, encoding,
        encoding == "utf-16-le" or (encoding == "utf-8" and rng.random() < 0.3), preamble, units == "row",
        units if units in ("[]", "()") else "", time_kind, tuple(gaps), duplicates if time_kind != "rows" else 0, back,
    )  # fmt: skip


def record(sim: Sim, logger: Logger, seed: int) -> Logged:
    """Take the samples: what the log will hold, before it is written as text."""
    rng = np.random.default_rng([seed, 7006])
    start = float(np.round(rng.uniform(0.0, 0.5), 3))
    rows = start + np.arange(int((sim.length_s - start) * logger.row_hz)) / logger.row_hz
    keep = np.ones(len(rows), dtype=bool)
    for a, b in logger.gaps:
        keep &= ~((rows >= a) & (rows < b))
    rows = rows[keep]
    samples: dict[str, Samples] = {}
    for channel in logger.channels:
        own = channel.rate_hz < logger.row_hz or channel.phase_s > 0.0
        if own:
            at = start + channel.phase_s + np.arange(int((sim.length_s - start) * channel.rate_hz)) / channel.rate_hz
        else:
            at = rows - channel.delay_s
        at = at[(at >= 0.0) & (at <= sim.length_s)]
        index = np.searchsorted(rows, at + channel.delay_s - 1e-9)
        good = index < len(rows)
        at, index = at[good], index[good]
        # of several samples before one row only the last is kept
        last = np.append(index[1:] != index[:-1], True) if len(index) else np.zeros(0, dtype=bool)
        at, index = at[last], index[last]
        shown = rows[index]
        near = shown - (at + channel.delay_s) <= 1.5 / logger.row_hz + 1e-9  # the others fell into a gap
        at, shown = at[near], shown[near]
        true = truth_of(sim, channel, at)
        seen = true + rng.normal(0.0, 1.0, len(at)) * channel.sigma
        if channel.quantum and channel.unit not in ("code", "on/off"):
            factor, offset = channel.scale
            seen = (np.round(seen * factor + offset, channel.digits) - offset) / factor
        if channel.role in (*SPEEDS, "road", "throttle", "brake", "lockup"):
            seen = np.maximum(seen, 0.0)
        samples[channel.role] = Samples(channel, at, shown, seen)
    return Logged(sim, logger, rows, samples)


def truth_of(sim: Sim, channel: Channel, at_s: np.ndarray) -> np.ndarray:
    """The quantity that a channel measures; a pin in ratio or counts is divided as the controller divides."""
    value = sim.at(channel.role, at_s)
    if channel.role == "pin" and channel.unit in ("ratio", "%", "counts"):
        by = sim.at("supply", at_s) if sim.truck.coder.form == "pull-down" else sim.truck.coder.reference_v
        value = np.clip(value / by, 0.0, 1.0)
        return value * 1023.0 if channel.unit == "counts" else value
    if channel.unit == "on/off":
        return 0.15 + 4.7 * value
    return value
