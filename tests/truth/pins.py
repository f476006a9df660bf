"""Simulated controller input pins and a simulated bench, to judge what learns an unknown pin from meter readings.

All pins and benches are invented. The sums are the textbook's (Ohm, Kirchhoff, Millman), slow and plain. Where the
drawn sizes come from: pull and pull-down ohms, leaks, drops, hysteresis, debounce, fault times, pots and hands are
common practice, no source. E12 values: IEC 60063 (seen: secondary). Meter errors: 0.1 % + 4 or 5 digits of volts and
0.2 % + 2 digits of ohms stand on two university laboratories' pages on reading a meter's specification (seen: open
copy); plain meters are taken a few times worse (common practice, no source).

Words. `load`: what hangs between the pin and `to`: None (nothing), true ohms (float; 0 a short, inf nothing), or a
`Part`. `to`: "ground", "supply" (the bench's battery terminal), or None with no load. `supply_v`: for a `Pin` the true
volts at the controller's battery wire; for a `Bench` the volts somebody meant to set. Reading: what the controller
makes of the pin's volts, 0 to 1: volts / (supply - sense_drop_v) or volts / full_scale_v, clipped. Cell: a stretch of
readings between two edges, numbered from 0 at the bottom; k edges make k + 1 cells, each with a meaning; a meaning may
own two cells. Direction "up": the reading rises through the edge, "down": it falls. An edge lies no lower going up
than going down.

    make_pin(seed: int, **forced) -> Pin        forced: any field of `Pin`, and n_edges: int (0 to 15)
    make_bench(seed: int, pin: Pin, **forced) -> Bench
        forced: meter: Meter, pots: tuple[Pot, ...], stock: tuple[Part, ...], tolerance: float, planted: bool,
        drift_v, offset_v, lead_ohm: float, wrong_entry_at: int | None, break_before_make: bool

    What is not forced is drawn as if nothing were, but follows what it depends on: forcing `pull_to` to "battery"
    brings the ohms and the full scale of a battery pull; forcing `edges_up` alone means no hysteresis; cells whose
    meaning is "shorted" or "open" are fault bands unless `fault_cells` is forced. A wrong name is a TypeError.
    `wrong_entry_at=n`: the first possible meter reading from the n-th on (counted from 0) is mistyped, only that one.
    `break_before_make`: changing the part leaves the pin open for SETTLE_S with the key on.

Truth, exact and without noise:
    Pin.thevenin(supply_v) -> (v, ohm)                      strobe on, clamp not conducting; ValueError: current source
    Pin.edges_ratio(direction) -> tuple[float, ...]         in reading space, lowest first
    Pin.edge_ohms(direction, supply_v, to) -> tuple[float | None, ...]   same order; None: no load reaches it
    Pin.meaning_at(load, previous=None, to="ground", supply_v=12.6) -> str
    Pin.reading(load, to, supply_v) -> float                Pin.pin_v(load, to, supply_v, ...) -> float
    Pin.on_the_line(load, to, supply_v) -> bool             False: clamp or current source bends the straight line
    Pin.behaviours -> frozenset[str]                        names: see there
    Bench.log -> list[Entry]   what each meter reading was: true, shown, typed. Bench.wrong_entry, .planted_part
    Bench.true_supply_v -> float, of the last step

What a person at the bench can do:
    Bench.volts(load, to=None, supply_v=12.6) -> float      DC volts at the pin, as typed in; inf: overload
    Bench.ac_volts(load, to=None, supply_v=12.6) -> float   AC range: rms of what is not DC; error as for DC
    Bench.supply_volts(supply_v=12.6) -> float              the battery terminal
    Bench.ohms(part) -> float                               a part alone; inf: overload
    Bench.meaning(load, to="ground", supply_v=12.6) -> str  after SETTLE_S; the controller remembers what was before
    Bench.turn_pot(from_ohm, to_ohm, to="ground", supply_v=12.6, series=None, key_off_to_measure=True) -> list[Flip]
    Bench.key(on: bool), Bench.key_cycle()                  clears latched faults and hysteresis; key off: "no report"
    Bench.counters -> Counters(readings, turns, measurements, meanings)

A slow turn: the smallest pot that reaches the larger of `from_ohm` and `to_ohm` (else the largest), between its end
stops, one step of its resolution after another, DWELL_S on each. When the meaning flips the hand has gone on a
bit, the key is switched off (or the pin is left open with the key on: `key_off_to_measure=False`, which a latching
"open" band does not forgive), the pot comes off, which moves its shaft a little, is measured together with `series`,
and the turn goes on from there. So a measured ohm lies late in the direction of the turn, a flip may be seen twice
(noise without hysteresis), and a window narrower than a step or the overshoot may be passed unseen.

Not simulated: capacitance at the pin, contact resistance of the clips, temperature, ground offset.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

T = TypeVar("T")

METER_INPUT_OHM = 10e6  # common practice, no source
NOISE_LIMIT = 4.0  # noise is drawn again beyond so many standard deviations
SETTLE_S = 3.0
DWELL_S = 2.0
SUPPLIES_V = (11.0, 12.6, 14.4)
E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
INF = math.inf
NO_REPORT = "no report"


# ---------------------------------------------------------------- one node


@dataclass(frozen=True)
class Branch:
    """One branch from the pin. "resistor": to a rail of `volts`. "clamp": the same, but takes current out only.

    "source": `amp` into the pin while it can; within its knee it is a resistor to `volts`; above that nothing.
    """

    kind: str
    volts: float
    ohm: float
    amp: float = 0.0

    def bends(self) -> tuple[float, ...]:
        """Pin volts at which the branch changes its law."""
        if self.kind == "clamp":
            return (self.volts,)
        if self.kind == "source":
            return (self.volts - self.amp * self.ohm, self.volts)
        return ()

    def norton(self, near_v: float) -> tuple[float, float]:
        """(current at 0 V, conductance) of the straight line that holds near `near_v`."""
        off = near_v < self.volts if self.kind == "clamp" else self.kind == "source" and near_v > self.volts
        if off or self.ohm == INF:
            return 0.0, 0.0
        if self.kind == "source" and near_v < self.bends()[0]:
            return self.amp, 0.0
        return self.volts / self.ohm, 1.0 / self.ohm

    def current(self, v: float) -> float:
        """Amperes into the pin."""
        at_zero, conductance = self.norton(v)
        return at_zero - conductance * v


def node_volts(branches: list[Branch]) -> float:
    """Kirchhoff's current law, solved on each straight piece in turn (Millman); the piece that holds the answer counts.

    ValueError: nothing holds the node, or two shorts pull it to different volts.
    """
    shorts = {b.volts for b in branches if b.ohm == 0}
    if len(shorts) > 1:
        raise ValueError("the pin is shorted to two different voltages")
    if shorts:
        return shorts.pop()
    bends = sorted({v for b in branches for v in b.bends()})
    ends = [-INF, *bends, INF]
    for low, high in itertools.pairwise(ends):
        inside = (low + high) / 2 if math.isfinite(low) and math.isfinite(high) else max(low + 1, min(high - 1, 0.0))
        lines = [b.norton(inside) for b in branches]
        conductance = sum(g for _, g in lines)
        if conductance == 0:
            continue
        v = sum(i for i, _ in lines) / conductance
        if low - 1e-12 <= v <= high + 1e-12:
            return v
    raise ValueError("the pin floats: nothing holds it")


# ---------------------------------------------------------------- parts


@dataclass(frozen=True)
class Part:
    """A resistor or a pair: what is printed on it, within which fraction it should be, what it is."""

    name: str
    marked_ohm: float
    tolerance: float
    true_ohm: float


def in_series(a: Part, b: Part) -> Part:
    tolerance = max(a.tolerance, b.tolerance)
    return Part(f"{a.name} + {b.name}", a.marked_ohm + b.marked_ohm, tolerance, a.true_ohm + b.true_ohm)


def in_parallel(a: Part, b: Part) -> Part:
    def both(x: float, y: float) -> float:
        return x * y / (x + y)

    tolerance = max(a.tolerance, b.tolerance)
    return Part(f"{a.name} || {b.name}", both(a.marked_ohm, b.marked_ohm), tolerance, both(a.true_ohm, b.true_ohm))


def ohms_of(load: float | Part | None) -> float:
    ohm = INF if load is None else load.true_ohm if isinstance(load, Part) else float(load)
    if not ohm >= 0:
        raise ValueError(f"a load of {ohm} ohm; it must be 0 or more")
    return ohm


# ---------------------------------------------------------------- the pin


@dataclass(frozen=True)
class Pin:
    """A controller's input. Fields are the truth; see the module's text for the words."""

    seed: int
    pull_to: str | None  # "reference", "battery" or None
    reference_v: float
    pull_drop_v: float  # a battery pull hangs on supply - drop
    pull_up_ohm: float | None
    source_a: float | None  # a current source in place of the pull-up resistor
    source_knee_ohm: float
    pull_down_ohm: float | None
    leak_ohm: float | None
    leak_to: str  # "ground" or "battery"
    clamp_kind: str | None  # "diode", "zener" or None
    clamp_v: float
    clamp_ohm: float
    strobe_duty: float | None  # the pull-up is on for this fraction of the time, and the controller looks then
    key_only: bool
    divides_by_supply: bool
    sense_drop_v: float
    full_scale_v: float
    edges_up: tuple[float, ...]
    edges_down: tuple[float, ...]
    meanings: tuple[str, ...]
    fault_cells: frozenset[int]
    latches: bool
    noise_ratio: float  # standard deviation of one sample
    sample_s: float
    debounce_samples: int
    mature_samples: int  # equal samples until a fault is believed

    def __post_init__(self) -> None:
        up, down = self.edges_up, self.edges_down
        wrong = [
            (self.pull_to is None) != (self.pull_up_ohm is None and self.source_a is None) and "pull_to without a pull",
            self.pull_up_ohm is not None and self.source_a is not None and "both a pull-up and a current source",
            len(up) != len(down) and "edges_up and edges_down differ in number",
            len(self.meanings) != len(up) + 1 and "one meaning per cell is needed: edges + 1",
            any(d > u for u, d in zip(up, down, strict=False)) and "an edge is higher going down than going up",
            any(d <= u for u, d in zip(up, down[1:], strict=False)) and "two edges overlap",
            self.strobe_duty is not None and self.pull_to is None and "nothing to strobe",
            self.pull_to is None and self.pull_down_ohm is None and self.leak_ohm is None and "nothing holds the pin",
        ]
        if any(wrong):
            raise ValueError("; ".join(str(w) for w in wrong if w))

    # ------------------------------------------------------------ the circuit

    def rail_v(self, supply_v: float) -> float:
        return self.reference_v if self.pull_to == "reference" else supply_v - self.pull_drop_v

    def branches(self, supply_v: float, on: bool = True, key_on: bool = True) -> list[Branch]:
        """Inside the controller. `on`: the strobe's pull is on."""
        out = []
        fed = key_on or not self.key_only
        if fed and on and self.pull_up_ohm is not None:
            out.append(Branch("resistor", self.rail_v(supply_v), self.pull_up_ohm))
        if fed and on and self.source_a is not None:
            out.append(Branch("source", self.rail_v(supply_v), self.source_knee_ohm, self.source_a))
        if self.pull_down_ohm is not None:
            out.append(Branch("resistor", 0.0, self.pull_down_ohm))
        if self.leak_ohm is not None:
            out.append(Branch("resistor", supply_v if self.leak_to == "battery" else 0.0, self.leak_ohm))
        if self.clamp_kind is not None:
            dead = self.clamp_kind == "diode" and not fed  # the diode then leads into a rail without voltage
            out.append(Branch("clamp", 0.6 if dead else self.clamp_v, self.clamp_ohm))
        return out

    def pin_v(
        self,
        load: float | Part | None,
        to: str | None,
        supply_v: float,
        on: bool = True,
        key_on: bool = True,
        meter_ohm: float = INF,
    ) -> float:
        """Volts at the pin at one moment. A pin that nothing holds lies at 0 V."""
        if to is None and ohms_of(load) != INF:
            raise ValueError('a load needs its other end: to="ground" or to="supply"')
        outside = [Branch("resistor", 0.0, meter_ohm), Branch("resistor", _far_end_v(to, supply_v), ohms_of(load))]
        branches = [b for b in self.branches(supply_v, on, key_on) + outside if b.ohm != INF]
        if all(b.kind == "clamp" for b in branches):
            return 0.0
        return node_volts(branches)

    def reading(self, load: float | Part | None, to: str | None, supply_v: float) -> float:
        return min(1.0, max(0.0, self.pin_v(load, to, supply_v) / self.full_v(supply_v)))

    def full_v(self, supply_v: float) -> float:
        """Volts at the pin that read 1."""
        return supply_v - self.sense_drop_v if self.divides_by_supply else self.full_scale_v

    # ------------------------------------------------------------ truth

    def thevenin(self, supply_v: float) -> tuple[float, float]:
        if self.source_a is not None:
            raise ValueError("a current source has no Thevenin equivalent over its whole range")
        straight = [b for b in self.branches(supply_v) if b.kind == "resistor"]
        return node_volts(straight), 1.0 / sum(1.0 / b.ohm for b in straight)

    def on_the_line(self, load: float | Part | None, to: str | None, supply_v: float) -> bool:
        """Whether the pin is an ideal source behind a resistor at this load: no clamp conducts, no current source."""
        return self.source_a is None and (self.clamp_kind is None or self.pin_v(load, to, supply_v) <= self.clamp_v)

    def edges_ratio(self, direction: str) -> tuple[float, ...]:
        if direction not in ("up", "down"):
            raise ValueError(f'direction {direction!r}; it must be "up" or "down"')
        return self.edges_up if direction == "up" else self.edges_down

    def edge_ohms(self, direction: str, supply_v: float, to: str) -> tuple[float | None, ...]:
        """At the edge's volts the load must carry what the inside of the pin delivers there (or takes)."""
        out: list[float | None] = []
        for ratio in self.edges_ratio(direction):
            v = ratio * self.full_v(supply_v)
            from_inside_a = sum(b.current(v) for b in self.branches(supply_v))
            across_v = v - _far_end_v(to, supply_v)
            out.append(across_v / from_inside_a if across_v * from_inside_a > 0 else None)
        return tuple(out)

    def cell_after(self, reading: float, previous: int | None) -> int:
        """Cell of a noise-free reading, coming from a cell, or from a fresh start: then each edge lies midway."""
        if previous is None:
            middle = [(u + d) / 2 for u, d in zip(self.edges_up, self.edges_down, strict=True)]
            return sum(reading >= m for m in middle)
        cell = previous
        while cell < len(self.edges_up) and reading >= self.edges_up[cell]:
            cell += 1
        while cell > 0 and reading < self.edges_down[cell - 1]:
            cell -= 1
        return cell

    def meaning_at(
        self,
        load: float | Part | None,
        previous: int | str | None = None,
        to: str | None = "ground",
        supply_v: float = 12.6,
    ) -> str:
        """Meaning after settling. `previous`: cell or meaning before, None after a key cycle.

        A meaning that owns two cells stands for the one nearer to the reading; give the cell to be exact.
        """
        reading = self.reading(load, to, supply_v)
        fresh = self.cell_after(reading, None)
        if isinstance(previous, str):
            owned = [c for c, m in enumerate(self.meanings) if m == previous]
            if not owned:
                raise ValueError(f"{previous!r} is none of the pin's meanings: {', '.join(sorted(set(self.meanings)))}")
            previous = min(owned, key=lambda c: abs(c - fresh))
        if previous is not None and self.latches and previous in self.fault_cells:
            return self.meanings[previous]
        return self.meanings[self.cell_after(reading, previous)]

    @property
    def behaviours(self) -> frozenset[str]:
        has = {
            "reference pull-up": self.pull_to == "reference" and self.pull_up_ohm is not None,
            "battery pull-up": self.pull_to == "battery" and self.pull_up_ohm is not None,
            "current source": self.source_a is not None,
            "pull-down": self.pull_down_ohm is not None,
            "leak to ground": self.leak_ohm is not None and self.leak_to == "ground",
            "leak to battery": self.leak_ohm is not None and self.leak_to == "battery",
            "diode clamp": self.clamp_kind == "diode",
            "zener clamp": self.clamp_kind == "zener",
            "strobed": self.strobe_duty is not None,
            "key only": self.key_only,
            "divides by supply": self.divides_by_supply,
            "sense drop": self.divides_by_supply and self.sense_drop_v != 0,
            "fault bands": bool(self.fault_cells),
            "latching faults": bool(self.fault_cells) and self.latches,
            "repeated meaning": len(set(self.meanings)) < len(self.meanings),
            "no hysteresis": self.edges_up == self.edges_down,
            "noise": self.noise_ratio > 0,
        }
        return frozenset(name for name, here in has.items() if here)


def _far_end_v(to: str | None, supply_v: float) -> float:
    if to not in ("ground", "supply", None):
        raise ValueError(f'a load to {to!r}; it must go to "ground", "supply" or None')
    return supply_v if to == "supply" else 0.0


class Controller:
    """What a pin's controller remembers: the accepted cell, a candidate with its count, a latched fault."""

    def __init__(self, pin: Pin, rng: random.Random) -> None:
        self.pin, self.rng = pin, rng
        self.reset()

    def reset(self) -> None:
        self.cell: int | None = None
        self.latched: int | None = None
        self.candidate: int | None = None
        self.count = 0

    def noise(self) -> float:
        while True:
            deviate = self.rng.gauss(0.0, 1.0)
            if abs(deviate) <= NOISE_LIMIT:
                return deviate * self.pin.noise_ratio

    def sample(self, reading: float) -> None:
        noisy = min(1.0, max(0.0, reading + self.noise())) if self.pin.noise_ratio else reading
        seen = self.pin.cell_after(noisy, self.cell)
        if seen == self.cell:
            self.candidate, self.count = None, 0
            return
        self.count = self.count + 1 if seen == self.candidate else 1
        self.candidate = seen
        fault = seen in self.pin.fault_cells
        if self.count >= (self.pin.mature_samples if fault else self.pin.debounce_samples):
            self.cell, self.candidate, self.count = seen, None, 0
            if fault and self.pin.latches:
                self.latched = seen

    def settle(self, reading: float, seconds: float) -> str:
        """Meaning reported after so long at one reading."""
        reach = NOISE_LIMIT * self.pin.noise_ratio
        for _ in range(math.ceil(seconds / self.pin.sample_s)):
            lowest, highest = max(0.0, reading - reach), min(1.0, reading + reach)
            cells = {self.pin.cell_after(x, self.cell) for x in (lowest, highest)}
            if cells == {self.cell} and self.candidate is None:
                break  # no noise that can be drawn would change anything
            self.sample(reading)
        shown = self.cell if self.latched is None else self.latched
        return NO_REPORT if shown is None else self.pin.meanings[shown]


# ---------------------------------------------------------------- the bench


@dataclass(frozen=True)
class Meter:
    """Each range: full scale = counts x resolution. Error within fraction x reading + digits x resolution.

    The gain error and most of the digits are fixed per range as long as the meter is the same, the last digit is not.
    `errors`: full scale of volts ranges and ohms ranges -> (gain error, offset in digits).
    """

    counts: int
    volts_fraction: float
    volts_digits: int
    ohms_fraction: float
    ohms_digits: int
    errors: dict[tuple[str, float], tuple[float, float]]

    def full_scales(self, unit: str) -> list[float]:
        least, most = (0.15, 70.0) if unit == "V" else (150.0, 70e6)
        scales = [self.counts * 10.0**k for k in range(-6, 6)]
        return [s for s in scales if least < s <= most]

    def show(self, value: float, unit: str, rng: random.Random) -> tuple[float, float]:
        """(number on the display, resolution) on the lowest range that holds it; (inf, 0) on overload."""
        for full in self.full_scales(unit):
            resolution = full / self.counts
            gain, offset_digits = self.errors[unit, full]
            digits = value * (1 + gain) / resolution + offset_digits + rng.uniform(-0.45, 0.45)
            if abs(digits) < self.counts:
                return float(f"{round(digits) * resolution:.9g}"), resolution
        return INF, 0.0

    def bound(self, shown: float, unit: str) -> float:
        """Largest error the specification allows at a shown value."""
        full = next(f for f in self.full_scales(unit) if abs(shown) < f)
        fraction, digits = self.spec(unit)
        return fraction * abs(shown) + digits * full / self.counts

    def spec(self, unit: str) -> tuple[float, int]:
        return (self.volts_fraction, self.volts_digits) if unit == "V" else (self.ohms_fraction, self.ohms_digits)


@dataclass(frozen=True)
class Pot:
    """A potentiometer used as a rheostat, and the hand on it."""

    marked_ohm: float
    low_stop_ohm: float
    high_stop_ohm: float
    step_ohm: float  # finest movement
    overshoot_steps: float  # the hand stops up to so many steps late
    repeat_ohm: float  # standard deviation of what taking it off and setting it again moves


class Flip(NamedTuple):
    """One flip on a turn: meter ohms after disconnecting, meaning before, meaning after."""

    ohm: float
    meaning_before: str
    meaning_after: str


class Entry(NamedTuple):
    """One meter reading: "V", "V AC" or "ohm", what was there, what the display showed, what was typed in."""

    unit: str
    true: float
    shown: float
    typed: float


@dataclass
class Counters:
    """`readings`: volts read; `measurements`: ohms measured; `turns`: of the pot; `meanings`: parts tried."""

    readings: int = 0
    turns: int = 0
    measurements: int = 0
    meanings: int = 0


class Bench:
    """A jig on one pin, a meter, a supply, resistors, pots and a person. See the module's text."""

    def __init__(
        self,
        seed: int,
        pin: Pin,
        meter: Meter,
        pots: tuple[Pot, ...],
        stock: tuple[Part, ...],
        planted_part: Part | None,
        drift_v: float,
        offset_v: float,
        lead_ohm: float,
        wrong_entry_at: int | None,
        break_before_make: bool,
    ) -> None:
        self.pin, self.meter, self.pots, self.stock, self.planted_part = pin, meter, pots, stock, planted_part
        self.drift_v, self.offset_v, self.lead_ohm = drift_v, offset_v, lead_ohm
        self.wrong_entry_at, self.break_before_make = wrong_entry_at, break_before_make
        self.rng = random.Random(f"bench at work {seed}")
        self.controller = Controller(pin, self.rng)
        self.key_is_on = True
        self.log: list[Entry] = []
        self.wrong_entry: Entry | None = None
        self.counters = Counters()
        self.true_supply_v = SUPPLIES_V[1]
        self._set_supply_v: float | None = None

    def pairs(self) -> Iterator[Part]:
        """All pairs of two different stock resistors, in series and in parallel."""
        for k, a in enumerate(self.stock):
            for b in self.stock[k + 1 :]:
                yield in_series(a, b)
                yield in_parallel(a, b)

    # ------------------------------------------------------------ meter

    def _read(self, true: float, unit: str) -> float:
        shown, resolution = self.meter.show(true, "ohm" if unit == "ohm" else "V", self.rng)
        typed = shown
        if self.wrong_entry_at is not None and len(self.log) >= self.wrong_entry_at and self.wrong_entry is None:
            typed = mistyped(shown, resolution, self.rng)
        entry = Entry(unit, true, shown, typed)
        if typed != shown:
            self.wrong_entry = entry
        self.log.append(entry)
        if unit == "ohm":
            self.counters.measurements += 1
        else:
            self.counters.readings += 1
        return typed

    def _supply(self, supply_v: float) -> float:
        """True volts now: off by a fixed bit after setting, then wandering, always within twice `offset_v`."""
        if supply_v != self._set_supply_v:
            self._set_supply_v = supply_v
            self._supply_error_v = self.rng.uniform(-self.offset_v, self.offset_v)
        moved = self._supply_error_v + self.rng.gauss(0.0, self.drift_v)
        self._supply_error_v = max(-2 * self.offset_v, min(2 * self.offset_v, moved))
        self.true_supply_v = supply_v + self._supply_error_v
        return self.true_supply_v

    def _phases(self, load: float | Part | None, to: str | None, supply_v: float) -> list[tuple[float, float]]:
        """(fraction of the time, volts) with the meter on the pin."""
        now_v = self._supply(supply_v)
        duty = 1.0 if self.pin.strobe_duty is None else self.pin.strobe_duty
        return [
            (share, self.pin.pin_v(load, to, now_v, on, self.key_is_on, METER_INPUT_OHM))
            for share, on in ((duty, True), (1 - duty, False))
            if share > 0
        ]

    def volts(self, load: float | Part | None = None, to: str | None = None, supply_v: float = 12.6) -> float:
        return self._read(sum(share * v for share, v in self._phases(load, to, supply_v)), "V")

    def ac_volts(self, load: float | Part | None = None, to: str | None = None, supply_v: float = 12.6) -> float:
        phases = self._phases(load, to, supply_v)
        mean = sum(share * v for share, v in phases)
        return self._read(math.sqrt(sum(share * (v - mean) ** 2 for share, v in phases)), "V AC")

    def supply_volts(self, supply_v: float = 12.6) -> float:
        return self._read(self._supply(supply_v), "V")

    def ohms(self, part: float | Part) -> float:
        return self._read(ohms_of(part) + self.lead_ohm, "ohm")

    # ------------------------------------------------------------ controller

    def key(self, on: bool) -> None:
        if on != self.key_is_on:
            self.controller.reset()
        self.key_is_on = on

    def key_cycle(self) -> None:
        self.key(False)
        self.key(True)

    def _settle(self, load: float | Part | None, to: str | None, supply_v: float, seconds: float) -> str:
        if not self.key_is_on:
            return NO_REPORT
        return self.controller.settle(self.pin.reading(load, to, self._supply(supply_v)), seconds)

    def meaning(self, load: float | Part | None = None, to: str | None = "ground", supply_v: float = 12.6) -> str:
        self.counters.meanings += 1
        if self.break_before_make:
            self._settle(None, None, supply_v, SETTLE_S)
        return self._settle(load, to, supply_v, SETTLE_S)

    def pot_for(self, from_ohm: float, to_ohm: float) -> Pot:
        by_size = sorted(self.pots, key=lambda p: p.high_stop_ohm)
        return next((p for p in by_size if max(from_ohm, to_ohm) <= p.high_stop_ohm), by_size[-1])

    def turn_pot(
        self,
        from_ohm: float,
        to_ohm: float,
        to: str = "ground",
        supply_v: float = 12.6,
        series: Part | None = None,
        key_off_to_measure: bool = True,
    ) -> list[Flip]:
        self.counters.turns += 1
        pot = self.pot_for(from_ohm, to_ohm)
        fixed_ohm = 0.0 if series is None else series.true_ohm
        sign = 1.0 if to_ohm >= from_ohm else -1.0

        def stopped(ohm: float) -> float:
            return max(pot.low_stop_ohm, min(pot.high_stop_ohm, ohm))

        def settled(ohm: float, seconds: float = DWELL_S) -> str:
            return self._settle(ohm + fixed_ohm, to, supply_v, seconds)

        goal = stopped(to_ohm)
        at = stopped(from_ohm + self.rng.gauss(0.0, pot.repeat_ohm))
        before = settled(at, SETTLE_S)
        flips: list[Flip] = []
        for _ in range(20 * math.ceil(abs(goal - at) / pot.step_ohm) + 20):
            if (goal - at) * sign <= 0:
                break
            at = goal if abs(goal - at) <= pot.step_ohm else at + sign * pot.step_ohm
            after = settled(at)
            if after == before:
                continue
            late = sign * self.rng.uniform(0.0, pot.overshoot_steps) * pot.step_ohm
            at = stopped(at + late + self.rng.gauss(0.0, pot.repeat_ohm))
            was_on = self.key_is_on
            if key_off_to_measure:
                self.key(False)
            else:
                self._settle(None, None, supply_v, SETTLE_S)
            flips.append(Flip(self.ohms(at + fixed_ohm), before, after))
            if key_off_to_measure:
                self.key(was_on)
            before = settled(at, SETTLE_S)
        return flips


def mistyped(shown: float, resolution: float, rng: random.Random) -> float:
    """Two neighbouring digits swapped, the point one place off, or kilo or milli forgotten. 0 and inf stay."""
    if shown == 0 or math.isinf(shown):
        return shown
    places = max(0, -math.floor(math.log10(resolution) + 1e-9))
    text = f"{shown:.{places}f}"
    swaps = [k for k in range(len(text) - 1) if text[k : k + 2].isdigit() and text[k] != text[k + 1]]
    how = rng.choice(("swap", "swap", "point", "prefix"))
    if how == "swap" and swaps:
        k = rng.choice(swaps)
        return float(text[:k] + text[k + 1] + text[k] + text[k + 2 :])
    if how == "prefix":
        return float(f"{shown / 1000 if abs(shown) >= 1000 else shown * 1000:.9g}")
    return float(f"{shown * rng.choice((0.1, 10.0)):.9g}")


# ---------------------------------------------------------------- drawing


class _Draw:
    """Random values by name; a forced one replaces what was drawn, so that forcing one leaves the others alone."""

    def __init__(self, rng: random.Random, forced: dict[str, Any]) -> None:
        self.rng, self.forced, self.asked = rng, forced, set[str]()

    def take(self, name: str, drawn: T) -> T:
        self.asked.add(name)
        value: T = self.forced.get(name, drawn)
        return value

    def chance(self, p: float) -> bool:
        return self.rng.random() < p

    def log(self, low: float, high: float) -> float:
        return math.exp(self.rng.uniform(math.log(low), math.log(high)))

    def maybe(self, p: float, value: Callable[[], T]) -> T | None:
        drawn = value()
        return drawn if self.chance(p) else None

    def all_known(self) -> None:
        unknown = sorted(set(self.forced) - self.asked)
        if unknown:
            raise TypeError(f"cannot force {', '.join(unknown)}; it can be: {', '.join(sorted(self.asked))}")


FAULT_NAMES = ("shorted", "open")
NAMES = ("automatic", "manual", "up", "down", "neutral", "low", "invalid")


def _edges(d: _Draw, k: int, faults: bool) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """k places at least 5 % apart; with faults the outer ones near the ends; each with its own hysteresis."""
    least = 0.05
    low, high = (0.10, 0.90) if faults else (0.04, 0.96)
    inner = k - 2 if faults else k
    room = high - low - least * max(0, inner - 1)
    places = [low + x + least * n for n, x in enumerate(sorted(d.rng.uniform(0, room) for _ in range(inner)))]
    if faults:
        places = [d.rng.uniform(0.025, 0.05), *places, d.rng.uniform(0.95, 0.975)]
    none = d.chance(0.08)
    up, down = [], []
    for place in places:
        width = 0.0 if none else d.rng.uniform(0.002, 0.02)
        above = d.rng.uniform(0.3, 0.7) * width
        up.append(place + above)
        down.append(place + above - width)
    return tuple(up), tuple(down)


def _meanings(d: _Draw, k: int, faults: bool) -> tuple[str, ...]:
    """One per cell, neighbours different; now and then one stands twice."""
    names = d.rng.sample(NAMES, len(NAMES))
    repeat = d.chance(0.35)
    out: list[str] = []
    for cell in range(k + 1):
        fault = "shorted" if cell == 0 else "open" if cell == k else None
        if faults and fault:
            out.append(fault)
            continue
        again = [n for n in out[:-1] if n not in ("shorted", out[-1])]
        if again and ((repeat and d.chance(0.4)) or not names):
            out.append(d.rng.choice(again))
        else:
            out.append(names.pop())
    return tuple(out)


def make_pin(seed: int, **forced: Any) -> Pin:
    """A random invented pin."""
    d = _Draw(random.Random(f"pin {seed}"), forced)
    form = d.rng.choices(("reference", "battery", "both", "battery both", "down", "source"), (30, 16, 18, 8, 16, 12))[0]
    rail = "battery" if d.rng.random() < (0.3 if form == "source" else form.startswith("battery")) else "reference"
    wants_pull = any(forced.get(name) is not None for name in ("pull_up_ohm", "source_a", "strobe_duty"))
    pull_to = d.take("pull_to", None if form == "down" and not wants_pull else rail)
    battery = pull_to == "battery"
    pull_ohm = d.log(470, 2200) if battery else d.log(1000, 10000)
    amp = d.log(0.0004, 0.004)
    by_source = form == "source" and pull_to is not None and forced.get("pull_up_ohm") is None
    source_a = d.take("source_a", amp if by_source else None)
    pull_up_ohm = d.take("pull_up_ohm", pull_ohm if pull_to is not None and source_a is None else None)
    pull_down = d.log(1000, 47000)
    holds = form in ("both", "battery both", "down") or pull_to is None
    kind = d.rng.choice(("diode", "zener"))
    clamp_kind = d.take("clamp_kind", kind if d.chance(0.25) else None)
    zener_v = d.rng.choice((4.3, 5.1, 5.6, 6.8, 8.2, 10.0, 16.0))  # E24 voltages; common practice, no source
    leak = d.maybe(0.15, lambda: d.log(50e3, 1e6))
    duty = d.maybe(0.12, lambda: d.rng.uniform(0.05, 0.6))
    reference_v = d.take("reference_v", d.rng.choice((5.0, 5.0, 5.0, 3.3, 8.0)) * d.rng.uniform(0.99, 1.01))
    divides = d.take("divides_by_supply", d.chance(0.6 if pull_to != "reference" else 0.05))
    wide_v = d.rng.choice((5.0, 16.0, 16.0, 20.0))
    fields: dict[str, Any] = {
        "seed": seed,
        "pull_to": pull_to,
        "reference_v": reference_v,
        "pull_drop_v": d.take("pull_drop_v", d.rng.choice((0.0, d.rng.uniform(0.05, 0.9)))),
        "pull_up_ohm": pull_up_ohm,
        "source_a": source_a,
        "source_knee_ohm": d.take("source_knee_ohm", d.log(20, 300)),
        "pull_down_ohm": d.take("pull_down_ohm", pull_down if holds else None),
        "leak_ohm": d.take("leak_ohm", leak),
        "leak_to": d.take("leak_to", d.rng.choice(("ground", "ground", "battery"))),
        "clamp_kind": clamp_kind,
        "clamp_v": d.take("clamp_v", 5.0 + 0.6 if clamp_kind == "diode" else zener_v),
        "clamp_ohm": d.take("clamp_ohm", d.log(10, 2200)),
        "strobe_duty": d.take("strobe_duty", duty if pull_to else None),
        "key_only": d.take("key_only", d.chance(0.5) and pull_to is not None),
        "divides_by_supply": divides,
        "sense_drop_v": d.take("sense_drop_v", d.rng.uniform(0.05, 0.5) if d.chance(0.2) else 0.0),
        "full_scale_v": d.take("full_scale_v", reference_v if pull_to == "reference" else wide_v),
        "noise_ratio": d.take("noise_ratio", 0.0 if d.chance(0.25) else d.log(0.0001, 0.0015)),
        "sample_s": d.take("sample_s", 0.05),
        "debounce_samples": d.take("debounce_samples", d.rng.randint(1, 5)),
        "mature_samples": d.take("mature_samples", d.rng.randint(10, 40)),
        "latches": d.take("latches", d.chance(0.6)),
    }
    faults = d.chance(0.4)
    k = d.take("n_edges", d.rng.randint(3, 8) if faults else d.rng.randint(1, 7))
    if "edges_up" in forced:
        k = len(forced["edges_up"])
    if not 0 <= k <= 15:
        raise ValueError(f"{k} edges; at least 5 % apart there is room for 15")
    faults = faults and k >= 3
    for _ in range(40):  # until half the edges can be reached with loads somebody would try
        up, down = _edges(d, k, faults)
        meanings = d.take("meanings", _meanings(d, k, faults))
        bands = frozenset(c for c, m in enumerate(meanings) if m in FAULT_NAMES)
        shape = {
            "edges_up": d.take("edges_up", up),
            "edges_down": d.take("edges_down", forced.get("edges_up", down)),
            "meanings": meanings,
            "fault_cells": d.take("fault_cells", bands),
        }
        d.all_known()
        pin = Pin(**fields, **shape)
        reached = {
            n
            for to in ("ground", "supply")
            for n, ohm in enumerate(pin.edge_ohms("up", SUPPLIES_V[1], to))
            if ohm is not None and 20 <= ohm <= 200e3
        }
        if 2 * len(reached) >= k:
            break
    return pin


def _meter(d: _Draw) -> Meter:
    counts, fraction, digits = d.rng.choice(
        ((2000, 0.008, 2), (2000, 0.005, 2), (4000, 0.006, 3), (6000, 0.005, 2), (20000, 0.001, 4), (50000, 0.0005, 5))
    )
    bare = Meter(counts, fraction, digits, 2 * fraction, max(2, digits - 1), {})
    errors = {}
    for unit in ("V", "ohm"):
        part, digits = bare.spec(unit)
        for full in bare.full_scales(unit):
            gain = d.rng.uniform(-1, 1) * part / (1 + part)  # then it holds of the shown value too
            errors[unit, full] = (gain, d.rng.uniform(-1, 1) * (digits - 1))
    return dataclasses.replace(bare, errors=errors)


def _pots(d: _Draw) -> tuple[Pot, ...]:
    pots = []
    for marked in sorted(d.rng.sample((500.0, 1e3, 5e3, 10e3, 50e3, 100e3), d.rng.randint(2, 4))):
        high = marked * d.rng.uniform(0.9, 1.1)
        step = high * (d.rng.uniform(0.0002, 0.0005) if d.chance(0.4) else d.rng.uniform(0.001, 0.004))
        repeat = step * d.rng.uniform(0.0, 0.4)
        pots.append(Pot(marked, d.rng.uniform(0.5, 8.0), high, step, d.rng.uniform(0.0, 1.5), repeat))
    return tuple(pots)


def _stock(d: _Draw, tolerance: float, planted: bool) -> tuple[tuple[Part, ...], Part | None]:
    """E12 from 100 ohm to 100 kohm; one of them may be what its marking does not say."""
    marked = [float(m * 10**k) for k in (1, 2, 3) for m in E12] + [100e3]
    parts = []
    for n, ohm in enumerate(marked):
        parts.append(Part(f"R{n + 1}", ohm, tolerance, ohm * (1 + d.rng.uniform(-tolerance, tolerance))))
    at = d.rng.randrange(len(parts))
    off = 1 + d.rng.choice((-1, 1)) * d.rng.uniform(2, 8) * tolerance
    factor = d.rng.choice((0.1, 10.0)) if d.chance(0.2) else off
    if not planted:
        return tuple(parts), None
    parts[at] = dataclasses.replace(parts[at], true_ohm=parts[at].marked_ohm * factor)
    return tuple(parts), parts[at]


def make_bench(seed: int, pin: Pin, **forced: Any) -> Bench:
    """A random invented bench on a pin. Nothing is mistyped unless `wrong_entry_at` says so."""
    d = _Draw(random.Random(f"bench {seed}"), forced)
    meter = d.take("meter", _meter(d))
    pots = d.take("pots", _pots(d))
    tolerance = d.take("tolerance", d.rng.choice((0.01, 0.01, 0.02, 0.05)))
    planted = d.take("planted", d.chance(0.15))
    stock, odd = _stock(d, tolerance, planted)
    stock = d.take("stock", stock)
    bench = Bench(
        seed,
        pin,
        meter,
        pots,
        stock,
        odd if odd in stock else None,
        d.take("drift_v", d.rng.uniform(0.0, 0.01)),
        d.take("offset_v", d.rng.uniform(0.01, 0.1)),
        d.take("lead_ohm", 0.0),
        d.take("wrong_entry_at", None),
        d.take("break_before_make", False),
    )
    d.all_known()
    return bench
