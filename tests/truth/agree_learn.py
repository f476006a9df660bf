"""Does learning find what the independent simulator's pins are? Thousands of invented pins, each on its own bench.

    python3 dev.py truth 1000 --learn                a thousand pins: source, then edges with resistors of a stock
    python3 dev.py truth 1000 --learn --pot          the same with a potentiometer
    python3 dev.py truth 50 --learn --edges 3        how many readings: three edges, all meanings different, 1 % parts

The engine is told what its user would know: the meter's data, what is printed on the resistors, what the controller
divides by. It is followed step by step. Its brackets are judged in the pin's own reading space: the reading that an end
of a bracket gives, at every supply there was and with the controller's noise, must lie in a cell of the meaning that
the engine says stands there. `strict` leaves noise and supply out.
"""

from __future__ import annotations

import argparse
import functools
import itertools
import json
import math
import multiprocessing
import random
import statistics
import sys
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from pinproof.design import loads
from pinproof.learn import (
    LearnFault,
    Look,
    Observation,
    PinReading,
    Session,
    State,
    Step,
    VoltMeter,
    accept,
    begin,
    edges,
    found_of,
    is_off,
    next_volts,
    propose,
    question_reading,
    refreshed,
    update,
    windows_of,
)
from pinproof.learn.edges import in_order, main_gaps
from pinproof.learn.session import at_one_supply, number_told
from pinproof.learn.stock import Part as StockPart
from tests.truth.pins import METER_INPUT_OHM, NO_REPORT, NOISE_LIMIT, SUPPLIES_V, Bench, Pin, make_bench, make_pin

INF = math.inf
MOST_STEPS = 400
SUPPLY_V = SUPPLIES_V[1]
INSIDE_POINTS = 40  # loads tried inside each window that is said to be sure
CHUNK_STEPS = 12  # a slow turn is looked at in pieces of so many movements
FLOOR_V = 0.05

TRUCK = """
format = 1
id = "pp-judged"
name = "An invented pin"
[supply]
run = {{ low = "11 V", value = "12.6 V", high = "14.8 V" }}
crank = {{ low = "7 V", high = "11.5 V" }}
[temperature]
low = "5 °C"
high = "60 °C"
[defaults]
tolerance = {{ value = "1 %", basis = "published" }}
tempco = {{ value = "100 ppm/K", basis = "published" }}
ageing = {{ value = "1 %", basis = "published" }}
closed = {{ low = "0 ohm", high = "20 ohm" }}
open = "1 Mohm"
[[input]]
id = "pin"
controller = "controller"
pull_up = "unknown"
pull_down = "unknown"
reference = {{ value = "{reference_v:.4g} V", tolerance = "2 %" }}
compares = "{compares}"
full_scale = "{full_v:.4g} V"
max_pin = "{max_v:.4g} V"
error = "1 %"
[[line]]
id = "line"
input = "pin"
form = "{form}"
idle = "automatic"
idle_resistor = "none"
wire = {{ low = "0 ohm", high = "1 ohm" }}
source_wire = {{ low = "0 ohm", high = "1 ohm" }}
return_offset = "none"
feed_from = "battery"
feed_drop = "none"
leak_to_ground = "none"
leak_to_supply = "none"
windows = "free"
[[device]]
id = "lever"
[[contact]]
id = "up"
line = "line"
device = "lever"
kind = "normally open"
action = "momentary"
asks = "up"
resistor = {{ value = "1 kohm" }}
"""


@dataclass
class Outcome:
    """One pin: what it is, what was claimed, what of it is wrong."""

    seed: int
    side: str
    behaviours: list[str]
    planted: bool
    tolerance: float
    k: int
    source_written: bool = False
    source_bent: bool = False  # no straight line over the loads that were used, or strobed
    source_wrong: str = ""
    volts_read: int = 0
    referral: str = ""
    referral_wrong: str = ""
    questioned: int = 0
    steps: int = 0
    readings: int = 0
    needed: int = 0
    brackets: int = 0
    wrong: list[str] = field(default_factory=list)
    strict_wrong: int = 0
    window_wrong: list[str] = field(default_factory=list)
    accepted_wrong: list[str] = field(default_factory=list)
    windows: int = 0
    complete: bool = False
    resolved: bool = False
    off_found: bool = False
    off_blamed: int = 0  # good parts that the engine calls off
    turns: int = 0  # of the potentiometer, those to the end without a change left out
    crash: str = ""

    @property
    def turns_each(self) -> float:
        """Turns, and so measurements, for each edge and direction."""
        return self.turns / self.brackets if self.brackets else 0.0

    @property
    def holds(self) -> bool:
        return not self.wrong and not self.window_wrong and not self.crash


@functools.lru_cache(maxsize=16)
def truck_of(form: str, compares: str, reference_v: float, full_v: float, max_v: float) -> Any:
    """The design file that a user begins with: nothing known of the pin's pulls and windows."""
    text = TRUCK.format(form=form, compares=compares, reference_v=reference_v, full_v=full_v, max_v=max_v)
    if form == "pull-up":
        text = text.replace('feed_from = "battery"\nfeed_drop = "none"\n', "")
    return loads(text, name="judged")


class Person:
    """Somebody at the bench who does what the engine asks, and nothing else."""

    def __init__(self, pin: Pin, bench: Bench, seed: int) -> None:
        self.pin, self.bench = pin, bench
        self.rng = random.Random(f"person {seed}")
        self.to = "ground"
        self.old = ""
        self.supplies_v: list[float] = []
        self.stock = tuple(StockPart(each.marked_ohm, each.tolerance * each.marked_ohm) for each in bench.stock)

    # volts

    def reach(self, shown: float, kind: str = "V") -> tuple[float, float, str]:
        """What the meter's data say of a shown value: gain, offset, range."""
        full = next(each for each in self.bench.meter.full_scales(kind) if abs(shown) < each)
        fraction, digits = self.bench.meter.spec(kind)
        return fraction, digits * full / self.bench.meter.counts, f"{full:g}"

    def volts(self, load_ohm: float, supply_v: float = SUPPLY_V) -> PinReading:
        """Nothing, or a single stock resistor, on the pin; with a feed both voltages."""
        part = next((each for each in self.bench.stock if each.marked_ohm == load_ohm), None)
        if part is None:
            feed = self.bench.supply_volts(supply_v)
            shown = self.bench.volts(None, None, supply_v)
            return PinReading(shown, INF, supply_v=feed, reach=self.reach(shown))
        reach_ohm = part.tolerance * part.marked_ohm
        shown = self.bench.volts(part, self.to, supply_v)
        if self.to == "ground":
            return PinReading(shown, load_ohm, reach_ohm, reach=self.reach(shown))
        feed = self.bench.supply_volts(supply_v)
        return PinReading(
            shown, load_ohm, reach_ohm, feed, supply_v=feed, reach=self.reach(shown), feed_reach=self.reach(feed)
        )

    # edges

    def true_ohm(self, parts: Iterable[int], join: str, ohm: float) -> float:
        true = [self.bench.stock[i].true_ohm for i in parts]
        if not true:
            return ohm
        return true[0] * true[1] / sum(true) if join == "parallel" else math.fsum(true)

    def put(self, ohm: float) -> str:
        shown = self.bench.meaning(None if ohm == INF else ohm, None if ohm == INF else self.to, SUPPLY_V)
        self.supplies_v.append(self.bench.true_supply_v)
        return shown

    def via(self, ohm: float, state: State) -> float:
        """A load that was on the pin before, as it truly is."""
        for visit in reversed(state.visits):
            if visit.parts and state.bounds(visit)[1] == ohm:
                return self.true_ohm(visit.parts, visit.join, ohm)
        return ohm

    def do(self, step: Step, state: State) -> Observation:
        if step.kind == "measure":
            shown = self.bench.ohms(self.bench.stock[step.parts[0]])
            return Observation(ohm=shown, reach_ohm=self.bench.meter.bound(shown, "ohm"))
        if step.kind == "pot":
            return self.turn(step, state)
        if step.key_cycle:
            self.bench.key_cycle()
        for each in step.via_ohm:
            self.put(self.via(each, state))
        shown = self.put(self.true_ohm(step.parts, step.join, step.ohm))
        return Observation(None if shown == NO_REPORT else shown)

    # the potentiometer

    def turn(self, step: Step, state: State) -> Observation:
        """A slow turn until it changes, or to the end; the second time until just before it."""
        pots = sorted(self.bench.pots, key=lambda each: each.high_stop_ohm)
        least = max(state.least_ohm, 0.0)
        down = (step.direction == "falling") == (self.to == "ground")
        hair = 0.0
        if step.turn == 2:
            first = next(v for v in reversed(state.visits) if v.turn == 1 and v.direction == step.direction)
            pot = self.bench.pot_for(first.ohm, first.ohm)
            hair = pot.step_ohm * (1.0 + pot.overshoot_steps + 1.0) + 3.0 * pot.repeat_ohm
            goal = first.ohm + hair if down else max(first.ohm - hair, least)
            before = [v.ohm for v in state.visits if v.direction == step.direction and v.turn == 1][:-1]
            back = first.ohm * 1.15 + 30.0 * pot.step_ohm if down else first.ohm * 0.85 - 30.0 * pot.step_ohm
            start = min([back, *before]) if down else max([back, *before, least])
        else:
            start = step.ohm
            goal = least if down else INF
        at = min(start, pots[-1].high_stop_ohm) if down else max(start, pots[0].low_stop_ohm)
        same, flicker = {NO_REPORT, step.from_meaning}, set[str]()
        if step.turn == 1:
            turned = [v for v in state.visits if v.turn]
            flicker = {self.old} if turned and turned[-1].turn in (1, 2) else set()
            self.old = step.from_meaning
        self.bench.key_cycle()
        first_look = True
        for pot, end in self._pieces(at, goal, down, pots, least):
            while (end - at) * (-1.0 if down else 1.0) > 1e-9:
                shown = self.put(at)
                near = flicker if abs(at - start) <= 0.03 * start + 5.0 * pot.step_ohm else set()  # it may go back
                if shown not in same | near:
                    if step.turn == 2 and first_look:
                        return Observation()
                    return self._measured(at, shown)
                first_look = False
                stop = at + (-1.0 if down else 1.0) * CHUNK_STEPS * pot.step_ohm
                stop = max(stop, end) if down else min(stop, end)
                for flip in self.bench.turn_pot(at, stop, self.to, SUPPLY_V):
                    if flip.meaning_after not in same | near:
                        reach = self.bench.meter.bound(flip.ohm, "ohm")
                        return Observation(flip.meaning_after, flip.ohm, reach)
                at = stop
        shown = self.put(at)
        if shown not in same:
            return Observation() if step.turn == 2 and first_look else self._measured(at, shown)
        if step.turn == 2:
            return self._measured(at, step.from_meaning)
        return replace(self._measured(at, ""), meaning=None, at_end=True)

    def _measured(self, at: float, meaning: str) -> Observation:
        """Taken off, which moves it a little, and measured."""
        off = self.rng.gauss(0.0, self.bench.pot_for(at, at).repeat_ohm)
        shown = max(self.bench.ohms(max(at + off, 0.0)), 0.0)  # nobody writes down less than nothing
        return Observation(meaning, shown, self.bench.meter.bound(shown, "ohm"))

    def _pieces(self, at: float, goal: float, down: bool, pots: list[Any], least: float) -> list[tuple[Any, float]]:
        """The smallest pot that reaches, one after the other."""
        out = []
        if down:
            tops = [each.high_stop_ohm for each in pots]
            for number in range(len(pots) - 1, -1, -1):
                below = tops[number - 1] if number else max(pots[0].low_stop_ohm, least)
                end = max(below, goal)
                if end < at:
                    out.append((pots[number], end))
                    at = end
        else:
            for pot in pots:
                end = min(pot.high_stop_ohm, goal)
                if end > at:
                    out.append((pot, end))
                    at = end
        return out


# ---------------------------------------------------------------- one pin


def learn_pin(seed: int, *, method: str = "stock", forced: dict[str, Any] | None = None, both: bool = True) -> Outcome:
    """A pin learned from nothing, and judged."""
    pin = make_pin(seed, **(forced or {}))
    how = {"tolerance": 0.01, "planted": False} if forced else {}
    bench = make_bench(seed, pin, **how)
    person = Person(pin, bench, seed)
    out = Outcome(
        seed, "", sorted(pin.behaviours), bench.planted_part is not None, bench.stock[0].tolerance, len(pin.edges_up)
    )
    try:
        session = learn_source(pin, bench, person, out)
        session = replace(session, search=replace(session.search, method=method, both_ways=both))
        state = learn_edges(session.search, person, out, len(pin.edges_up))
        judge_edges(pin, person, state, out)
        judge_windows(pin, person, state, out)
    except (LearnFault, ArithmeticError, LookupError, ValueError, TypeError, AssertionError) as fault:
        out.crash = f"{type(fault).__name__}: {fault}"
    return out


def learn_source(pin: Pin, bench: Bench, person: Person, out: Outcome) -> Session:
    """The volts that the engine asks for, the open pin at three supplies, the AC range; then what it says."""
    opened = person.volts(INF)
    person.to = "supply" if abs(opened.volts_v) < 0.1 else "ground"
    out.side = person.to
    battery = pin.divides_by_supply
    compares = "battery" if battery else "reference" if pin.full_scale_v == pin.reference_v else "volts"
    reference_v = bench.meter.show(pin.reference_v, "V", bench.rng)[0]
    full_v = 16.0 if battery else pin.full_scale_v
    truck = truck_of(
        "pull-up" if person.to == "ground" else "pull-down", compares, float(f"{pin.reference_v:.4g}"), full_v,
        16.0 if battery else max(full_v, 5.0),
    )  # fmt: skip
    fraction, offset_v, _ = person.reach(12.0)
    meter = VoltMeter(fraction, offset_v, input_ohm=METER_INPUT_OHM)
    told = {"reference_v": f"{reference_v:g}", "compares": compares}
    search = begin(person.to, stock=person.stock)  # type: ignore[arg-type]
    session = Session(truck.id, "line", meter, search, (opened,), (), told)
    loads_ohm = [each.ohm for each in person.stock]
    while True:
        step = next_volts(
            at_one_supply(session.readings), meter, loads_ohm, supply_high_v=truck.supply.run.high,
            max_pin_v=truck.inputs[0].max_pin.value, reference_v=number_told(session, "reference_v"),
        )  # fmt: skip
        if step is None or len(session.readings) > 12:
            break
        reading = person.volts(step.load_ohm)
        out.questioned += question_reading(at_one_supply(session.readings), reading, meter) is not None
        session = replace(session, readings=(*session.readings, reading))
    out.volts_read = len(session.readings)
    loaded = [each.load_ohm for each in session.readings]
    session = replace(session, readings=(*session.readings, *(person.volts(INF, v) for v in SUPPLIES_V if v != 12.6)))
    session = replace(session, looks=(Look(opened.volts_v, bench.ac_volts()),))
    judge_source(pin, bench, person, session, truck, loaded, out)
    return refreshed(session, truck)


def judge_source(
    pin: Pin, bench: Bench, person: Person, session: Session, truck: Any, loaded: list[float], out: Outcome
) -> None:
    found = found_of(session, truck)
    out.source_written = found.pulls is not None
    true_loads = [next((part.true_ohm for part in bench.stock if part.marked_ohm == each), INF) for each in loaded]
    to = [None if each == INF else person.to for each in true_loads]
    straight = all(
        pin.on_the_line(None if ohm == INF else ohm, end, SUPPLY_V) for ohm, end in zip(true_loads, to, strict=True)
    )
    strobe = pin.strobe_duty is not None
    out.source_bent = strobe or not straight
    planted = bench.planted_part is not None and bench.planted_part.marked_ohm in loaded
    if found.source is not None and not out.source_bent and not planted:
        v, ohm = pin.thevenin(session.readings[0].supply_v or SUPPLY_V)
        got = found.source
        reach = got.tolerance * got.ohm if got.ohm < INF else 0.0
        if got.straight is False:
            out.source_wrong = "a straight source called bent"
        elif found.strobed:
            out.source_wrong = "a steady source called strobed"
        elif got.ohm < INF and abs(got.ohm - ohm) > reach:
            out.source_wrong = f"ohms {got.ohm:.5g} ± {reach:.3g}, true {ohm:.5g}"
        elif got.ohm == INF and ohm < got.least_ohm:
            out.source_wrong = f"ohms above {got.least_ohm:.4g}, true {ohm:.4g}"
        elif abs(got.volts_v - v) > 2.0 * got.u_volts_v + 4.0 * bench.drift_v and got.ohm < INF:
            out.source_wrong = f"volts {got.volts_v:.5g} ± {2.0 * got.u_volts_v:.3g}, true {v:.5g}"
    elif out.source_bent and found.pulls is not None:
        # written as a resistor: harmless only if it is the pin's resistor all the same
        true_ohm = INF if pin.source_a is not None else pin.thevenin(SUPPLY_V)[1]
        got = found.source
        if strobe or got is None or abs(got.ohm - true_ohm) > got.tolerance * got.ohm:
            what = "strobed" if strobe else "current source" if pin.source_a is not None else "clamp"
            out.source_wrong = f"{what} written as {got.ohm if got else 0.0:.5g} ohm (true {true_ohm:.5g})"
    if found.referred is not None and pin.source_a is None and not strobe:
        judge_referral(pin, found.referred, out)


def judge_referral(pin: Pin, told: Any, out: Outcome) -> None:
    """Against the open pin's own line in the supply, where no clamp bends it."""
    if not all(pin.on_the_line(None, None, v) for v in SUPPLIES_V):
        return
    low, high = (pin.thevenin(v)[0] for v in (SUPPLIES_V[0], SUPPLIES_V[2]))
    share = (high - low) / (SUPPLIES_V[2] - SUPPLIES_V[0])
    fixed = low - share * SUPPLIES_V[0]
    out.referral = told.kind
    battery, regulated = abs(share) > 1e-9, abs(fixed) > 1e-9
    if told.kind == "regulated" and battery and abs(share) > 1.5 * told.expanded_share:
        out.referral_wrong = f"told regulated, follows {share:.3g}"
    elif told.kind == "battery" and regulated and abs(fixed) > 1.5 * told.expanded_fixed_v + FLOOR_V:
        out.referral_wrong = f"told battery, fixed part {fixed:.3g} V (U {told.expanded_fixed_v:.2g})"
    elif told.kind == "both" and not (battery and regulated):
        only = "battery" if battery else "regulated"
        out.referral_wrong = f"told both, is {only} (fixed {told.fixed_v:.3g} ± {told.expanded_fixed_v:.2g} V, share "
        out.referral_wrong += f"{told.share:.3g} ± {told.expanded_share:.2g})"


def learn_edges(state: State, person: Person, out: Outcome, count: int) -> State:
    """Every step that is asked for, optional ones too."""
    for _ in range(MOST_STEPS):
        step = propose(state)
        if step is None:
            break
        seen = person.do(step, state)
        state = update(state, step, seen)
        out.steps += 1
        out.turns += step.kind == "pot" and not seen.at_end
        if not out.needed and state.method == "stock":
            gaps = main_gaps(state)
            if len(gaps) == count and all(each.width <= state.resolution for each in gaps):
                out.needed = state.readings
    else:
        out.crash = "it does not end"
    out.readings = state.readings
    wide = [each.width for each in main_gaps(state)]
    out.resolved = bool(wide) and max(wide) <= state.resolution
    planted = person.bench.planted_part
    for part, _, _ in state.measured:
        if is_off(state, part):
            if planted is not None and person.bench.stock[part] == planted:
                out.off_found = True
            else:
                out.off_blamed += 1
    return state


# ---------------------------------------------------------------- judging


def cells_at(pin: Pin, person: Person, ohm: float, direction: str, *, strict: bool = False) -> set[int]:
    """Cells in which the pin may be with this load, coming from below or above; "none": a key cycle."""
    load, to = (None, None) if ohm == INF else (ohm, person.to)
    supplies = [SUPPLY_V] if strict else [min(person.supplies_v), max(person.supplies_v)]
    x = [pin.reading(load, to, v) for v in supplies]
    slack = 1e-9 if strict else NOISE_LIMIT * pin.noise_ratio + 1e-9
    ends = (max(0.0, min(x) - slack), min(1.0, max(x) + slack))
    middle = tuple((u + d) / 2.0 for u, d in zip(pin.edges_up, pin.edges_down, strict=True))
    held = pin.fault_cells if pin.latches else frozenset()  # left by a key cycle alone
    edge = {
        "falling": [m if n + 1 in held else d for n, (m, d) in enumerate(zip(middle, pin.edges_down, strict=True))],
        "rising": [m if n in held else u for n, (m, u) in enumerate(zip(middle, pin.edges_up, strict=True))],
        "none": list(middle),
    }[direction]
    found = [sum(each <= end for each in edge) for end in ends]
    return set(range(min(found), max(found) + 1))


def span_of(pin: Pin, person: Person, ends: list[float], direction: str, *, strict: bool = False) -> tuple[int, int]:
    """First cell of a bracket, and one beyond its last."""
    cells = [c for ohm in ends for c in cells_at(pin, person, ohm, direction, strict=strict)]
    return min(cells), max(cells) + 1


def inside(
    pin: Pin, person: Person, ends: list[float], edge: Any, direction: str, *, strict: bool = False
) -> bool:  # fmt: skip
    """Whether the pin goes from the one meaning to the other somewhere in a bracket."""
    first, last = span_of(pin, person, ends, direction, strict=strict)
    row = pin.meanings[first:last]
    return any(a == edge.below and edge.above in row[n + 1 :] for n, a in enumerate(row))


def judge_edges(pin: Pin, person: Person, state: State, out: Outcome) -> None:
    for edge in edges(state):
        for direction in ("falling", "rising", "none"):
            bracket = getattr(edge, direction)
            if bracket is None:
                continue
            out.brackets += 1
            ends = [bracket.low_ohm, bracket.high_ohm]
            if person.to == "supply":
                ends.reverse()
            if not inside(pin, person, ends, edge, direction):
                row = [pin.meanings[c] for c in range(*span_of(pin, person, ends, direction))]
                said = f"{direction} {edge.below}|{edge.above} [{bracket.low_ohm:.6g}, {bracket.high_ohm:.6g}]"
                out.wrong.append(f"{said}: there is {'|'.join(row)}")
            out.strict_wrong += not inside(pin, person, ends, edge, direction, strict=True)
    order = in_order(state, state.main)
    if order:
        said = [m for m, _ in itertools.groupby(state.visits[i].meaning for i in order)]
        ends = [state.bounds(state.visits[order[i]])[1] for i in (0, -1)]
        low, high = (cells_at(pin, person, ohm, state.main) for ohm in ends)
        out.complete = any([pin.meanings[c] for c in range(a, b + 1)] == said for a in low for b in high)


def judge_windows(pin: Pin, person: Person, state: State, out: Outcome) -> None:
    """Whatever is said to be surely inside a window must be there, from both sides.

    Also where the user takes stretches of up to `hidden` as they look; what is wrong then is counted apart, as it was
    the user who said so.
    """
    for taken, wrong in ((state, out.window_wrong), (accept(state, state.hidden), out.accepted_wrong)):
        for window in windows_of(taken):
            low, high = window.sure
            if low >= high:
                continue
            out.windows += taken is not state
            lowest, highest = max(low, 1.0), min(high, 1e7)
            share = [n / (INSIDE_POINTS - 1) for n in range(INSIDE_POINTS)]
            points = [low, high, *(lowest * (highest / lowest) ** each for each in share)]
            ways = ("falling", "rising") if state.both_ways and state.main != "none" else (state.main,)
            bad = [
                (ohm, way)
                for ohm in points
                for way in ways
                if low <= ohm <= high
                and window.meaning not in {pin.meanings[c] for c in cells_at(pin, person, ohm, way)}
            ]
            if bad:
                said = f"{window.meaning} sure {low:.6g} to {high:.6g}: not at {bad[0][0]:.6g} {bad[0][1]}"
                wrong.append(said)


# ---------------------------------------------------------------- many


def wanted_readings(count: int, meanings: int) -> float:
    """1.3 log2 C(100, k) ÷ log2 (meanings) + 4."""
    return 1.3 * math.log2(math.comb(100, count)) / math.log2(meanings) + 4.0


def plain_pin(seed: int, count: int) -> dict[str, Any]:
    """Forced fields of a pin for counting: k edges anywhere on 100 steps, meanings all different, pull-up alone."""
    rng = random.Random(f"places {seed} {count}")
    cells = sorted(rng.sample(range(2, 98), count))
    places = [(cell + rng.random()) / 100.0 for cell in cells]
    return {
        "pull_to": "reference", "source_a": None, "pull_up_ohm": 1000.0 * rng.uniform(1.0, 4.7),
        "pull_down_ohm": None, "leak_ohm": None, "clamp_kind": None, "strobe_duty": None, "divides_by_supply": False,
        "noise_ratio": 0.0, "latches": False, "edges_up": tuple(places), "edges_down": tuple(places),
        "meanings": tuple(f"m{n}" for n in range(count + 1)), "fault_cells": frozenset(),
    }  # fmt: skip


def one(task: tuple[int, str, int]) -> Outcome:
    seed, method, count = task
    if count:
        return learn_pin(seed, forced=plain_pin(seed, count), both=False)
    return learn_pin(seed, method=method)


def run(count: int, first: int, *, method: str = "stock", edges_n: int = 0, processes: int = 1) -> list[Outcome]:
    tasks = [(seed, method, edges_n) for seed in range(first, first + count)]
    if processes < 2:
        return [one(each) for each in tasks]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        return pool.map(one, tasks, chunksize=8)


def summary(found: list[Outcome], edges_n: int = 0) -> str:
    def share(some: list[Outcome], what: str) -> str:
        good = sum(each.holds for each in some)
        return f"{what}: {good} of {len(some)}" + (f", {100.0 * good / len(some):.1f} %" if some else "")

    out = [share(found, "every true edge inside every bracket, every sure window true")]
    claimed = [each for each in found if each.brackets]
    out.append(share(claimed, "    of pins with a bracket"))
    for word in ("strobed", "diode clamp", "zener clamp", "current source", "latching faults", "noise", "no hysteresis",
                 "repeated meaning"):  # fmt: skip
        out.append(share([each for each in found if word in each.behaviours], f"    {word}"))
    out.append(share([each for each in found if each.planted], "    a resistor off"))
    out.append(share([each for each in found if each.side == "supply"], "    fed from a supply"))
    brackets = sum(each.brackets for each in found)
    out.append(
        f"brackets {brackets}, wrong {sum(len(e.wrong) for e in found)}, without allowance for noise and supply "
        f"{sum(e.strict_wrong for e in found)}; sure windows wrong {sum(len(e.window_wrong) for e in found)}; "
        f"of {sum(e.windows for e in found)} with unvisited stretches up to 5 % accepted "
        f"{sum(len(e.accepted_wrong) for e in found)}"
    )
    out.append(
        f"all reachable edges found {sum(e.complete for e in found)}, all brackets as narrow as wanted "
        f"{sum(e.resolved for e in found)}, readings median {statistics.median(e.readings for e in found):g}, steps "
        f"median {statistics.median(e.steps for e in found):g}"
    )
    odd = [each for each in found if each.planted]
    out.append(f"off resistors {len(odd)}, found {sum(e.off_found for e in odd)}, good ones blamed "
               f"{sum(e.off_blamed for e in found)}")  # fmt: skip
    straight = [each for each in found if not each.source_bent]
    bent = [each for each in found if each.source_bent]
    for name, some in (("straight sources", straight), ("bent or strobed", bent)):
        out.append(f"{name} {len(some)}, wrong {sum(bool(e.source_wrong) for e in some)}, written "
                   f"{sum(e.source_written for e in some)}")  # fmt: skip
    told = Counter(each.referral for each in found if each.referral)
    out.append(f"referral {dict(told)}, wrong {sum(bool(e.referral_wrong) for e in found)}; volts questioned "
               f"{sum(e.questioned for e in found)}")  # fmt: skip
    if any(each.turns for each in found):
        each_n = [e.turns_each for e in found if e.brackets]
        out.append(f"turns for each edge and direction: most {max(each_n):.2f}, mean {statistics.fmean(each_n):.2f}")
    if edges_n:
        need = [each.needed or MOST_STEPS for each in found]
        wish, never = wanted_readings(edges_n, edges_n + 1), sum(not e.needed for e in found)
        out.append(
            f"{edges_n} edges: median readings {statistics.median(need):g}, wanted {wish:.1f}; never narrow {never}"
        )
    bad = [each for each in found if not each.holds or each.source_wrong or each.referral_wrong]
    for each in bad:
        said = [*each.wrong[:2], *each.window_wrong[:1], each.source_wrong, each.referral_wrong, each.crash]
        out.append(f"  seed {each.seed} ({each.side}{', off' if each.planted else ''}): "
                   + "; ".join(s for s in said if s))  # fmt: skip
    return "\n".join(out)


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="dev.py truth --learn")
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--pot", action="store_true", help="with a potentiometer")
    parser.add_argument("--edges", type=int, default=0, help="count readings for so many edges")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--out", help="write every outcome as JSON lines")
    asked = parser.parse_args(arguments)
    start = time.monotonic()
    found = run(asked.count, asked.seed, method="pot" if asked.pot else "stock", edges_n=asked.edges,
                processes=asked.processes)  # fmt: skip
    print(summary(found, asked.edges))
    print(f"{time.monotonic() - start:.0f} s")
    if asked.out:
        with open(asked.out, "w", encoding="utf-8") as file:
            file.writelines(json.dumps(asdict(each)) + "\n" for each in found)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
