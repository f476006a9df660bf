"""Extremes of the reading over the box, and of (reading − edge) for edges found by substitution."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from tests.truth.physics import (
    RAILS,
    Array,
    Box,
    El,
    Weights,
    circuit,
    forest_weights,
    known_sign_parts,
    reduce_circuit,
    resistor_ends,
    solve_exact,
)
from tests.truth.truck import INF, Input, Line, Number, Truck, exact

TEMPERATURE_STEPS = 10
PULL_STEPS = (12, 5)  # cells a pull's range is cut into where it is shared with an edge: one pull, two pulls
AGREE = 1e-11  # float against Fraction at a winning corner, times full scale


@dataclass(frozen=True)
class Space:
    """What the reading is divided by, and where it clips."""

    name: str  # "reference", "battery", "volts"
    full: Fraction


def spaces(pin: Input) -> list[Space]:
    names = ["battery", "volts"] if pin.compares == "unknown" else [pin.compares]
    full = {n: exact(pin.full_scale_v or "1") if n == "volts" else Fraction(1) for n in names}
    return [Space(n, full[n]) for n in names]


@dataclass
class Bounds:
    """Least and greatest of a quantity: attained (`low`, `high`) and rigorous (`low_outer`, `high_outer`)."""

    low: float = INF
    high: float = -INF
    low_outer: float = INF
    high_outer: float = -INF

    def attained(self, low: float, high: float) -> None:
        self.low, self.high = min(self.low, low), max(self.high, high)
        self.enclosed(low, high)

    def enclosed(self, low: float, high: float) -> None:
        self.low_outer, self.high_outer = min(self.low_outer, low), max(self.high_outer, high)


@dataclass
class Extremes:
    """`reading`: of the clipped reading. `against[ohm]`: of reading − (edge found by substitution with that ohm).
    `exact`: reading's attained and rigorous bounds are the same number."""

    reading: Bounds = field(default_factory=Bounds)
    low_exact: Fraction | None = None
    high_exact: Fraction | None = None
    against: dict[Fraction, Bounds] = field(default_factory=dict)
    exact: bool = True
    floating: bool = False
    shorted: bool = False
    corners: dict[str, dict[str, Number]] = field(default_factory=dict)  # "low"/"high": path -> value


# ---------------------------------------------------------------- sources


def source_ranges(
    truck: Truck, line: Line, key_state: str, overrides: Box | None = None
) -> dict[str, tuple[Number, Number]]:
    """Path -> range, in V, of every source of the line."""
    pin, here = truck.input_of(line), f"line.{line.id}"
    out: dict[str, tuple[Number, Number]] = {f"supply.{key_state}": truck.supply[key_state].ends}
    zero = (Fraction(0), Fraction(0))
    out[f"{here}.return_offset"] = line.return_offset.ends if line.return_offset else zero
    out[f"{here}.feed_drop"] = line.feed_drop.ends if line.feed_drop else zero
    out[f"{here}.series_diode"] = line.series_diode.ends if line.series_diode else zero
    if pin.reference is not None:
        out[f"input.{pin.id}.reference"] = pin.reference.ends
    for path in out:
        if overrides and path in overrides:
            out[path] = overrides[path]
    return out


def rail_volts(truck: Truck, line: Line, key_state: str, sources: dict[str, Fraction]) -> dict[str, Fraction]:
    """Potential of each rail for one choice of the sources."""
    pin, here = truck.input_of(line), f"line.{line.id}"
    battery = sources[f"supply.{key_state}"]
    diode = sources[f"{here}.series_diode"]
    rails = {"ground": Fraction(0), "battery": battery, "return": sources[f"{here}.return_offset"]}
    if pin.reference is not None:
        rails["reference"] = sources[f"input.{pin.id}.reference"]
    if line.has_feed:
        assert line.feed_from is not None
        rails["feed"] = rails[line.feed_from] - sources[f"{here}.feed_drop"]
    if line.source_rail == "return":
        rails["return"] += diode
    else:
        rails["feed"] -= diode
    return rails


def divisor(space: Space, rails: dict[str, Fraction]) -> Fraction:
    return Fraction(1) if space.name == "volts" else rails[space.name]


def substitution_reading(
    truck: Truck,
    line: Line,
    space: Space,
    ohm: Fraction,
    rails: dict[str, Fraction],
    up: Fraction | None,
    down: Fraction | None,
) -> Fraction:
    """What the input reads with `ohm` from its pin to the nominal source side and nothing else there."""
    pin = truck.input_of(line)
    if line.source_rail == "return":
        source = Fraction(0)
    else:
        assert line.feed_from is not None
        source = rails[line.feed_from]
    elements: list[tuple[str, str, Number]] = [("pin", "side", ohm)]
    if up is not None:
        elements.append(("pin", "up", up))
    if down is not None:
        elements.append(("pin", "ground", down))
    known = {"side": source, "ground": Fraction(0), "up": rails.get(pin.pull_up_to, Fraction(0))}
    found = solve_exact(elements, known)
    assert found.volts is not None
    return min(max(found.volts / divisor(space, rails), Fraction(0)), space.full)


# ---------------------------------------------------------------- extremes


def _fill_undecided(weights: Weights, elements: Sequence[El]) -> bool:
    """Vertices the tree rule leaves open (0-ohm loops): one by one, exactly. False if rails are shorted there."""
    for index in np.argwhere(weights.undecided):
        ohms = [(e.a, e.b, e.levels[i]) for e, i in zip(weights.elements, index, strict=True)]
        where = tuple(int(i) for i in index)
        used = [r for r in RAILS if any(r in (e.a, e.b) for e in elements)]
        if solve_exact(ohms, {r: Fraction(i) for i, r in enumerate(used)}).state == "shorted":
            return False
        for rail in used:
            found = solve_exact_unit(ohms, used, rail)
            if found is None:
                weights.floating[where] = True
                break
            weights.rails.setdefault(rail, np.zeros(weights.undecided.shape))[where] = float(found)
    return True


def solve_exact_unit(ohms: list[tuple[str, str, Number]], used: list[str], rail: str) -> Fraction | None:
    return solve_exact(ohms, {r: Fraction(int(r == rail)) for r in used}).volts


def _original_corner(original: Sequence[El], weights: Weights, index: tuple[int, ...]) -> dict[str, Number]:
    chosen: dict[str, Number] = {e.path: e.levels[0] for e in original}
    levels = {e.path: e.levels for e in original}
    for e, i in zip(weights.elements, index, strict=True):
        for part in e.parts:
            ends = levels[part]
            chosen[part] = ends[i] if len(ends) == len(e.levels) else ends[0 if i == 0 else -1]
    return chosen


def evaluate(
    truck: Truck,
    line: Line,
    operated: frozenset[str],
    key_state: str,
    space: Space,
    probes: Sequence[Fraction] = (),
    overrides: Box | None = None,
    reduce: bool = True,
) -> Extremes:
    """Extremes over every vertex of the box. `probes`: resistances (ohm) of edges found by substitution."""
    out = Extremes(against={ohm: Bounds() for ohm in probes})
    free_known = [p for p in known_sign_parts(truck, line) if not overrides or p not in overrides]
    slices: list[tuple[tuple[Fraction, Fraction] | None, bool]]
    if len(free_known) <= 1:
        slices = [(None, True)]
    else:
        t0, t1 = exact(truck.temp_low_c), exact(truck.temp_high_c)
        grid = [t0 + (t1 - t0) * k / TEMPERATURE_STEPS for k in range(TEMPERATURE_STEPS + 1)]
        slices = [((t, t), True) for t in grid]
        slices += [(pair, False) for pair in itertools.pairwise(grid)]
        out.exact = False
    ranges = source_ranges(truck, line, key_state, overrides)
    best: dict[str, tuple[float, dict[str, Number], dict[str, Fraction]]] = {}
    for temp_c, is_attained in slices:
        _one_slice(truck, line, operated, key_state, space, overrides, reduce, out, ranges, temp_c, is_attained, best)
        if out.shorted:
            return out
    _exact_at_winners(truck, line, operated, key_state, space, overrides, out, best)
    return out


def _one_slice(
    truck: Truck,
    line: Line,
    operated: frozenset[str],
    key_state: str,
    space: Space,
    overrides: Box | None,
    reduce: bool,
    out: Extremes,
    ranges: dict[str, tuple[Number, Number]],
    temp_c: tuple[Fraction, Fraction] | None,
    is_attained: bool,
    best: dict[str, tuple[float, dict[str, Number], dict[str, Fraction]]],
) -> None:
    pin = truck.input_of(line)
    pulls = [f"input.{pin.id}.pull_up", f"input.{pin.id}.pull_down"]
    cells = PULL_STEPS[pin.pull_up is not None and pin.pull_down is not None] if out.against else 1
    original = circuit(truck, line, operated, overrides, temp_c, cells + 1)
    elements = original
    if reduce:
        elements = reduce_circuit(original, frozenset(pulls) if out.against else frozenset())
    weights = forest_weights(elements)
    if weights.undecided.any() and not _fill_undecided(weights, elements):
        out.shorted = True
        return
    floats = bool(weights.floating.any())
    out.floating = out.floating or floats
    full = float(space.full)
    needed = set(weights.rails) | ({space.name} if space.name != "volts" else set())
    if out.against:
        needed |= {pin.pull_up_to, line.feed_from or ""}
    names = [p for p in ranges if _matters(p, needed, line)]
    ends = [sorted({ranges[p][0], ranges[p][1]}) for p in names]
    for choice in itertools.product(*ends):
        sources: dict[str, Fraction] = {p: _finite(r[0]) for p, r in ranges.items()}
        sources.update({p: _finite(v) for p, v in zip(names, choice, strict=True)})
        rails = rail_volts(truck, line, key_state, sources)
        volts = np.zeros(weights.undecided.shape)
        for rail, weight in weights.rails.items():
            volts = volts + weight * float(rails[rail])
        reading = np.clip(volts / float(divisor(space, rails)), 0.0, full)
        low = np.where(weights.floating, 0.0, reading) if floats else reading
        high = np.where(weights.floating, full, reading) if floats else reading
        for which, array in (("low", low), ("high", high)):
            at = int(array.argmin() if which == "low" else array.argmax())
            value = float(array.flat[at])
            if is_attained:
                better = which not in best or (value < best[which][0] if which == "low" else value > best[which][0])
                if better:
                    index = tuple(int(i) for i in np.unravel_index(at, array.shape))
                    best[which] = value, _original_corner(original, weights, index), sources
                out.reading.attained(value, value)
            else:
                out.reading.enclosed(value, value)
        # an edge depends on the pulls and the sources only, so the other elements' extremes can be taken first
        others = tuple(i for i, e in enumerate(weights.elements) if e.path not in pulls)
        low, high = low.min(axis=others, keepdims=True), high.max(axis=others, keepdims=True)
        for ohm, bounds in out.against.items():
            edge = _edge_array(truck, line, space, ohm, rails, weights, pulls)
            if is_attained:
                bounds.attained(float((low - edge).min()), float((high - edge).max()))
            low_c, high_c, edge_low, edge_high = low, high, edge, edge
            for axis, e in enumerate(weights.elements):
                if e.path in pulls and len(e.levels) > 1:
                    low_c, edge_low = _cells(low_c, axis, True), _cells(edge_low, axis, True)
                    high_c, edge_high = _cells(high_c, axis, False), _cells(edge_high, axis, False)
            bounds.enclosed(float((low_c - edge_high).min()), float((high_c - edge_low).max()))


def _finite(value: Number) -> Fraction:
    assert isinstance(value, Fraction)
    return value


def _matters(path: str, needed: set[str], line: Line) -> bool:
    """Whether a source can move any of the needed rails."""
    rails = {
        "return_offset": {"return"},
        "feed_drop": {"feed"},
        "series_diode": {line.source_rail},
        "reference": {"reference"} | ({"feed"} if line.feed_from == "reference" else set()),
    }.get(path.rsplit(".", 1)[1], {"battery"} | ({"feed"} if line.feed_from == "battery" else set()))
    return bool(rails & needed)


def _cells(array: Array, axis: int, lowest: bool) -> Array:
    """Least (or greatest) over each cell between neighbours along `axis`."""
    if array.shape[axis] == 1:
        return array
    a = np.take(array, range(array.shape[axis] - 1), axis)
    b = np.take(array, range(1, array.shape[axis]), axis)
    return np.minimum(a, b) if lowest else np.maximum(a, b)


def _edge_array(
    truck: Truck,
    line: Line,
    space: Space,
    ohm: Fraction,
    rails: dict[str, Fraction],
    weights: Weights,
    pulls: list[str],
) -> Array:
    """`substitution_reading` in floats for every level of the pulls (Ohm's and Kirchhoff's laws at one node), shaped
    to go with the readings."""
    pin = truck.input_of(line)
    source = 0.0 if line.source_rail == "return" else float(rails[line.feed_from or ""])
    ones = np.ones([1] * len(weights.elements))
    top, bottom = ones * source, ones  # both times ohm, so that 0 ohm needs no special case
    for axis, e in enumerate(weights.elements):
        if e.path not in pulls:
            continue
        shape = [1] * len(weights.elements)
        shape[axis] = len(e.levels)
        share = float(ohm) / np.array([float(x) for x in e.levels]).reshape(shape)
        bottom = bottom + share
        top = top + share * (float(rails[pin.pull_up_to]) if e.path == pulls[0] else 0.0)
    return np.clip(top / bottom / float(divisor(space, rails)), 0.0, float(space.full))


def _exact_at_winners(
    truck: Truck,
    line: Line,
    operated: frozenset[str],
    key_state: str,
    space: Space,
    overrides: Box | None,
    out: Extremes,
    best: dict[str, tuple[float, dict[str, Number], dict[str, Fraction]]],
) -> None:
    """The winning corners again, in the whole unreduced circuit, in Fraction arithmetic."""
    layout = circuit(truck, line, operated, overrides)
    for which, (value, corner, sources) in best.items():
        rails = rail_volts(truck, line, key_state, sources)
        found = solve_exact([(e.a, e.b, corner[e.path]) for e in layout], rails)
        if found.state == "floating":
            answer = Fraction(0) if which == "low" else space.full
        else:
            assert found.volts is not None, found.state
            answer = min(max(found.volts / divisor(space, rails), Fraction(0)), space.full)
        assert abs(float(answer) - value) <= AGREE * float(space.full), (which, float(answer), value, operated)
        if which == "low":
            out.low_exact = answer
        else:
            out.high_exact = answer
        out.corners[which] = {**corner, **sources}


def ends_of(truck: Truck, line: Line, path: str, key_state: str = "run") -> tuple[Number, Number]:
    """The box ends of any named parameter of the line (SI), whether or not a situation uses it."""
    kind, name, *rest = path.split(".")
    pin = truck.input_of(line)
    if kind == "supply":
        return truck.supply[name].ends
    if kind == "contact":
        c = next(c for c in truck.contacts if c.id == name)
        if rest[0] == "closed":
            return c.closed.ends
        if rest[0] == "open":
            return (INF if c.open_ohm is None else exact(c.open_ohm)), INF
        assert c.resistor is not None
        return resistor_ends(truck, c.resistor)
    if kind == "input":
        if rest[0] == "reference":
            assert pin.reference is not None
            return pin.reference.ends
        part = getattr(pin, rest[0])
        assert part is not None
        return resistor_ends(truck, part)
    if rest[0] == "element":
        e = next(e for e in line.elements if e.id == rest[1])
        if e.resistor is not None:
            return resistor_ends(truck, e.resistor)
        if e.wire is not None:
            return e.wire.ends
        assert e.leak_ohm is not None
        return exact(e.leak_ohm), INF
    stated = getattr(line, rest[0])
    if rest[0].startswith("leak"):
        return (INF if stated is None else exact(stated)), INF
    if stated is None:
        return Fraction(0), Fraction(0)
    if rest[0].endswith("resistor"):
        return resistor_ends(truck, stated)
    ends: tuple[Fraction, Fraction] = stated.ends
    return ends
