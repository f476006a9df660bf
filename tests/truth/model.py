"""The likelihood of readings under one cause, for many trucks at once.

A structure is a fault of a certain kind at a place (or none), together with the readings at hand. Its unknowns are the
parts that the readings can see, the sources, the meter's gains and, last, the severity. Each stands as its quantile u,
uniform between 0 and 1 before any reading. What several readings say of one and the same number (volts at one pin,
ohms of one network in one range) is one group.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tests.truth.cases import Reading
from tests.truth.faults import Fault
from tests.truth.looks import INVALID, Looks
from tests.truth.meter import (
    OHM_RANGES,
    TYPED_WRONG,
    VOLT_RANGE,
    Range,
    any_ohms_probability,
    any_volts_probability,
    range_number,
)
from tests.truth.networks import SEVERITIES, Array, Network, Part, potential, resistance

OPEN_OHM = 1e13  # stands for infinity where a logarithm is taken
FLOOR = 1e-300
KEEP = 1 - TYPED_WRONG
OL, OHM, PIN, SUPPLY, MEANING = "OL", "ohm", "pin", "supply", "meaning"
STEPS = 240  # of the table of a group


@dataclass
class Group:
    """Readings of one number. `kind`: "ohm", "OL", "pin", "supply", "meaning". `shown`: what was read, each with the
    probability of it by the law for anything. `number`: of the ohms range. Residuals are in ohm: log(ohm + 1) less
    `target`; in volts, and in reading space: the difference. `spread`: their standard deviation; `reach`: a generous
    size; `peak`: the logarithm of the greatest probability of all that was shown."""

    kind: str
    net: Network | None
    shown: list[tuple[float, float]]
    number: int = 0
    situation: str = ""
    said: str = ""
    target: float = 0.0
    spread: float = 1.0
    reach: float = 1.0
    peak: float = 0.0
    edges: Array | None = None  # of the cells of the residual, and the probability of each; None where one-sided
    cells: Array | None = None

    @property
    def range(self) -> Range:
        return VOLT_RANGE if self.kind in (PIN, SUPPLY) else OHM_RANGES[self.number]

    @property
    def other(self) -> float:
        """Logarithm of the probability of all that was shown, if all of it was mistyped."""
        return sum(math.log(max(TYPED_WRONG * o, 1e-30)) for _, o in self.shown)

    def log_probability(self, true: Array) -> Array:
        """Of all that was shown. `true`: the true value times (1 + gain)."""
        total = np.zeros(true.shape)
        for shown, other in self.shown:
            if self.kind == OL:
                chance = self.range.above_probability(true)
            else:
                chance = self.range.cell_probability(shown, true)
            if self.kind != SUPPLY:
                chance = KEEP * chance + TYPED_WRONG * other
            total = total + np.log(np.maximum(chance, FLOOR))
        return total

    def finish(self, full: float) -> None:
        """Target, spread and table, once all readings are in."""
        if self.kind == MEANING:
            self.spread, self.reach = 0.01 * full, 0.5 * full
            return
        if self.kind == OL:
            self.target, self.spread = math.log(self.range.full * 1.1), 0.1
            return
        key = (self.kind, self.number, *self.shown)
        if key not in _TABLES:  # the same under every fault: nothing in it comes from the network
            if len(_TABLES) > 500:
                _TABLES.clear()
            _TABLES[key] = self._table()
        self.target, self.spread, self.reach, self.peak, self.edges, self.cells = _TABLES[key]

    def _table(self) -> tuple[float, float, float, float, Array, Array]:
        """Target, spread, reach, peak, edges, cells."""
        wide = self.range.digits * self.range.digit + self.range.lead_ohm + self.range.digit
        low = min(s for s, _ in self.shown) - 1.3 * wide
        high = max(s for s, _ in self.shown) + 1.3 * wide
        if self.kind == OHM:
            low = max(low, 0.0)
        marks = np.linspace(low, high, STEPS + 1)
        middle = (marks[1:] + marks[:-1]) / 2
        log_chance = self.log_probability(middle)
        peak = float(log_chance.max())
        reach = 3.0
        if self.kind == OHM:
            marks, middle = np.log(marks + 1), np.log(middle + 1)
            reach = 1.0
        weight = np.exp(log_chance - peak) * np.diff(marks)
        total = weight.sum()
        target = float(weight @ middle / total)
        spread = math.sqrt(max(float(weight @ (middle - target) ** 2 / total), (marks[-1] - marks[0]) ** 2 / 1e5))
        blurred = np.maximum.reduce([np.roll(weight, k) for k in range(-4, 5)]) + 0.02 * weight.max()
        return target, spread, reach, peak, marks - target, blurred / blurred.sum()


_TABLES: dict[tuple[object, ...], tuple[float, float, float, float, Array, Array]] = {}


class Structure:
    """`nets`: reading id -> network with the fault in it. `base_ohm` is added to the severity. `only_supply`: nothing
    but the battery volts counts. Where a function takes `low` and `high`, they are the severity's ohms at quantile 0
    and 1, of each row or of all."""

    def __init__(
        self,
        looks: Looks,
        readings: Sequence[Reading],
        nets: Mapping[str, Network],
        fault: Fault | None,
        base_ohm: float = 0.0,
        only_supply: bool = False,
    ) -> None:
        self.looks, self.fault, self.base_ohm = looks, fault, base_ohm
        self.groups: list[Group] = []
        for r in readings:
            self._add(r, nets[r.id])
        if only_supply:
            self.groups = [g for g in self.groups if g.kind == SUPPLY]
        for g in self.groups:
            g.finish(looks.full)
        paths = {p for g in self.groups if g.net for p in g.net.parts} - set(SEVERITIES)
        powered = [g.net for g in self.groups if g.kind in (PIN, MEANING) and g.net]
        self.powered = bool(powered) or any(g.kind == SUPPLY for g in self.groups)
        if self.powered:
            paths |= looks.rail_sources(powered)
        self.unknowns: dict[str, Part] = {}
        self.fixed: dict[str, Array] = {}
        for path in sorted(paths):
            part = looks.part(path)
            if part.known:
                self.fixed[path] = part.at(0.5)
            else:
                self.unknowns[path] = part
        for g in self.groups:
            if g.kind != MEANING:
                self.unknowns[self._gain(g)] = Part(-g.range.gain, g.range.gain)
        self.has_severity = fault is not None and fault.severity
        self.names = [*self.unknowns, *([SEVERITIES[0]] if self.has_severity else [])]
        self.size = len(self.names)
        nets_here = list(dict.fromkeys((g.net, g.kind in (PIN, MEANING)) for g in self.groups if g.net is not None))
        self._solved_by = [
            None if g.net is None else nets_here.index((g.net, g.kind in (PIN, MEANING))) for g in self.groups
        ]
        self._to_solve = nets_here
        self.said = {g.situation: g.said for g in self.groups if g.kind == MEANING}

    @staticmethod
    def _gain(g: Group) -> str:
        return "gain V" if g.kind in (PIN, SUPPLY) else f"gain {g.number}"

    def _add(self, r: Reading, net: Network) -> None:
        def put(kind: str, shown: float, other: float, number: int, of: Network | None) -> None:
            for g in self.groups:
                if (g.kind, g.number, g.net) == (kind, number, of):
                    g.shown.append((shown, other))
                    return
            self.groups.append(Group(kind, of, [(shown, other)], number))

        if r.meaning is not None:
            other = 1 / (len(self.looks.meanings) + 1)
            situation = r.id.partition(" ")[2]
            self.groups.append(Group(MEANING, net, [(0.0, other)], situation=situation, said=r.meaning))
        elif r.ohm is not None:
            kind = OL if math.isinf(r.ohm) else OHM
            put(kind, r.ohm, any_ohms_probability(r.ohm), range_number(r.ohm), net)
        else:
            assert r.pin_v is not None
            assert r.supply_v is not None
            put(PIN, r.pin_v, any_volts_probability(r.supply_v), 0, net)
            put(SUPPLY, r.supply_v, 0.0, 0, None)

    # ------------------------------------------------------------ forward

    def _true(self, u: Array, low: Array | float, high: Array | float) -> list[Array]:
        """Of each group, for each row of u: the true number times (1 + gain), or what the controller reads."""
        values = dict(self.fixed)
        for i, (name, part) in enumerate(self.unknowns.items()):
            values[name] = part.at(u[:, i])
        if self.has_severity:
            values[SEVERITIES[0]] = self.base_ohm + low * (np.asarray(high) / low) ** u[:, -1]
        rails = self.looks.rails(values) if self.powered else {}
        known: dict[tuple[str, float], Array] = {}
        solved = [
            potential(net, values, rails, known=known) if powered else resistance(net, values, known)
            for net, powered in self._to_solve
        ]
        out = []
        for g, at in zip(self.groups, self._solved_by, strict=True):
            true = values[self.looks.sources["supply"]] if at is None else solved[at]
            if g.kind == MEANING:
                true = self.looks.reading(true, rails)
            else:
                true = np.minimum(true, OPEN_OHM) * (1 + values[self._gain(g)])
            out.append(np.broadcast_to(true, (len(u),)))
        return out

    def residuals(self, u: Array, low: Array | float, high: Array | float) -> Array:
        """Shape (rows, groups); 0 where the readings are met."""
        return np.stack([self._residual(g, t) for g, t in zip(self.groups, self._true(u, low, high), strict=True)], 1)

    def _residual(self, g: Group, true: Array) -> Array:
        if g.kind == OHM:
            return np.log(true + 1) - g.target
        if g.kind == OL:
            return np.minimum(np.log(true + 1) - g.target, 0.0)
        if g.kind == MEANING:
            return self._beyond(true, g.said)
        return true - g.target

    def _beyond(self, x: Array, said: str) -> Array:
        """How far a reading lies outside what may read `said`."""
        full = self.looks.full
        if said == INVALID:
            spans, at = [], 0.0
            for w in sorted(self.looks.windows, key=lambda w: w.centre):
                if w.meaning in self.looks.faults:  # may be reported as invalid
                    continue
                spans.append((at, w.low[1] if w.low else 0.0))
                at = w.high[0] if w.high else full
            spans.append((at, full))
        else:
            mine = [w for w in self.looks.windows if w.meaning == said]
            spans = [(w.low[0] if w.low else 0.0, w.high[1] if w.high else full) for w in mine]
        best = np.full(x.shape, full)
        for a, b in spans:
            if b > a:
                off = np.where(x < a, x - a, np.where(x > b, x - b, 0.0))
                best = np.where(np.abs(off) < np.abs(best), off, best)
        return best

    def log_likelihood(self, u: Array, low: Array | float, high: Array | float, setting: str | None = None) -> Array:
        """Logarithm of the probability of all readings, for each row of u. `setting`: the situation whose meaning the
        controller has wrong."""
        total = np.zeros(len(u))
        x: dict[str, Array] = {}
        for g, true in zip(self.groups, self._true(u, low, high), strict=True):
            if g.kind == MEANING:
                x[g.situation] = true
            else:
                total += g.log_probability(true)
        said = dict(self.said)
        other = TYPED_WRONG / (len(self.looks.meanings) + 1)
        if setting is not None and setting in said:
            right = said.pop(setting) == self.looks.right[setting]
            total += math.log(other + (0.0 if right else KEEP / len(self.looks.meanings)))
        if not said:
            return total
        single, joint = self.looks.meanings_probability({s: x[s] for s in said}, said)
        product = np.ones(len(u))
        for chance in single:
            total += np.log(KEEP * chance + other)
            product = product * chance
        # the edges are shared: several readings near one edge do not count each by itself
        return total + np.log(np.where(product > 0, np.maximum(joint, 1e-12) / np.maximum(product, FLOOR), 1.0))
