"""Windows of a line, brought from the unit they are stated in into the reading space of the input.

Answers: between which readings does each edge lie?
Units:   stated edges in ohms, volts, ratio or counts; results in the reading space (ratio or volts).
Touches: nothing.
Sources: voltage divider, Ohm's law; the rules stand in docs/design-file.md under "Windows".
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import replace

from pinproof.design.model import Input, Line, Target, Truck, Value
from pinproof.design.model import Window as StatedWindow
from pinproof.observe.space import ReadingSpace
from pinproof.verdict import Edge, Window
from pinproof.wiring.elements import known_pull

RAIL_TOLERANCE = 1e-9  # an edge this close to a rail is no edge


def windows_in(
    truck: Truck, line: Line, space: ReadingSpace, shared: Mapping[str, float] | None = None
) -> tuple[Window, ...]:
    """Windows of a line in one reading space, whether stated or made from targets.

    Parameters
    ----------
    shared : mapping of parameter id to ohms or volts, optional
        Where windows were found by substitution on this pin: the values of the pulls, the reference and the supply for
        which their edges are wanted. Nominal where absent.
    """
    if not shared:
        return _placed(truck, line, space, {})
    nominal = _placed(truck, line, space, {})  # margins are measured by the nominal widths
    return tuple(
        replace(moved, nominal_half_width=still.nominal_half_width)
        for moved, still in zip(_placed(truck, line, space, shared), nominal, strict=True)
    )


def _placed(truck: Truck, line: Line, space: ReadingSpace, shared: Mapping[str, float]) -> tuple[Window, ...]:
    owner = truck.input_of(line)
    if line.targets:
        return _from_targets(truck, line, owner, space, shared)
    return tuple(_stated(truck, line, owner, window, space, shared) for window in line.windows)


def shared_parameters(truck: Truck, line: Line) -> tuple[str, ...]:
    """Ids of the parameters that move readings and edges together: empty unless edges were found by substitution."""
    found_here = [window.by_substitution for window in line.windows] + [each.by_substitution for each in line.targets]
    if not any(found_here):
        return ()
    owner = truck.input_of(line)
    found = [pull.path for pull in (known_pull(owner.pull_up), known_pull(owner.pull_down)) if pull is not None]
    if owner.reference is not None:
        found.append(owner.reference.path)
    return (*found, "supply")


def _stated(
    truck: Truck, line: Line, owner: Input, window: StatedWindow, space: ReadingSpace, shared: Mapping[str, float]
) -> Window:
    found: dict[str, Edge] = {}
    swaps = window.kind == "ohm" and line.source_side == "feed"  # more ohms, lower reading
    for side, other in (("low", "high"), ("high", "low")):
        at, between = getattr(window, side), window.edge(side)  # type: ignore[arg-type]
        if at is None or between is None:
            continue
        ends = sorted(_reading(truck, line, owner, window, max(x, 0.0), space, shared) for x in between)
        nominal = _reading(truck, line, owner, window, at, space, shared)
        role = other if swaps else side
        if nominal > RAIL_TOLERANCE if role == "low" else nominal < space.full_scale - RAIL_TOLERANCE:
            found[role] = _edge(owner, space, ends[0], nominal, ends[1])
    return _window(line, window.meaning, window.fault, window.basis, found.get("low"), found.get("high"), space)


def _edge(owner: Input, space: ReadingSpace, low: float, nominal: float, high: float) -> Edge:
    reach = owner.error.value * space.full_scale
    return Edge(low - reach, high + reach, nominal)


def _window(
    line: Line, meaning: str, fault: bool, basis: str, lower: Edge | None, upper: Edge | None, space: ReadingSpace
) -> Window:
    bottom = lower.nominal if lower else 0.0
    top = upper.nominal if upper else space.full_scale
    kind = "idle" if meaning == line.idle else ("fault" if fault else "command")
    # A window that begins above full scale cannot be reached at all and has no width there: full scale stands in.
    width = top - bottom if top > bottom else space.full_scale
    return Window(meaning, lower, upper, width / 2.0, basis, kind)


def _from_targets(
    truck: Truck, line: Line, owner: Input, space: ReadingSpace, shared: Mapping[str, float]
) -> tuple[Window, ...]:
    placed = sorted(
        ((_reading(truck, line, owner, target, target.reading, space, shared), target) for target in line.targets),
        key=lambda pair: pair[0],
    )
    mids = [(a[0] + b[0]) / 2.0 for a, b in itertools.pairwise(placed)]
    out = []
    for index, (at, target) in enumerate(placed):
        low = mids[index - 1] if index > 0 else (2.0 * at - mids[0] if mids else None)
        high = mids[index] if index < len(mids) else (2.0 * at - mids[-1] if mids else None)
        lower = None if low is None or low <= RAIL_TOLERANCE else _edge(owner, space, low, low, low)
        upper = (
            None if high is None or high >= space.full_scale - RAIL_TOLERANCE else _edge(owner, space, high, high, high)
        )
        out.append(_window(line, target.meaning, target.fault, "assumed", lower, upper, space))
    return tuple(out)


def _reading(
    truck: Truck,
    line: Line,
    owner: Input,
    entry: StatedWindow | Target,
    at: float,
    space: ReadingSpace,
    shared: Mapping[str, float],
) -> float:
    """One stated number as a reading."""
    if entry.kind == "ratio":
        return at * space.full_scale
    if entry.kind == "counts":
        assert owner.full_counts is not None
        return at / owner.full_counts * space.full_scale
    if entry.kind == "volt":
        return at / space.divisor_nominal_v
    if entry.by_substitution:
        return _substituted(truck, line, owner, at, space, shared)
    pull = entry.with_pull_ohm
    assert pull is not None
    ratio = at / (at + pull) if line.source_side == "return" else pull / (at + pull)
    if at == float("inf"):
        ratio = 1.0 if line.source_side == "return" else 0.0
    return ratio * _pull_source_v(truck, line, owner, {}) / space.divisor_nominal_v


def _pull_source_v(truck: Truck, line: Line, owner: Input, shared: Mapping[str, float]) -> float:
    """Nominal (or shared) volts of what the ratio of a list in ohms refers to."""
    if line.source_side == "feed" or (known_pull(owner.pull_up) is None and line.feed_from is not None):
        from_battery = line.feed_from == "battery"
    else:
        from_battery = owner.pull_up_to == "battery"
    return _volts(truck.supply.run, shared, "supply") if from_battery else _reference_v(owner, shared)


def _reference_v(owner: Input, shared: Mapping[str, float]) -> float:
    assert owner.reference is not None
    return _volts(owner.reference, shared, owner.reference.path)


def _volts(value: Value, shared: Mapping[str, float], key: str) -> float:
    return shared.get(key, value.value)


def _substituted(
    truck: Truck, line: Line, owner: Input, ohm: float, space: ReadingSpace, shared: Mapping[str, float]
) -> float:
    """Reading this input gives with a bare resistance from its pin to the nominal source side."""
    battery_v = _volts(truck.supply.run, shared, "supply")
    top = conductance = 0.0
    up, down = known_pull(owner.pull_up), known_pull(owner.pull_down)
    if up is not None and up.ohm is not None:
        g = 1.0 / shared.get(up.path, up.ohm)
        top += g * (battery_v if owner.pull_up_to == "battery" else _reference_v(owner, shared))
        conductance += g
    if down is not None and down.ohm is not None:
        conductance += 1.0 / shared.get(down.path, down.ohm)
    source_v = 0.0
    if line.source_side == "feed":
        source_v = battery_v if line.feed_from == "battery" else _reference_v(owner, shared)
    if ohm == 0.0:
        volts = source_v
    else:
        volts = (top + source_v / ohm) / (conductance + 1.0 / ohm)
    divisor = {"reference": lambda: _reference_v(owner, shared), "battery": lambda: battery_v, "volts": lambda: 1.0}
    return volts / divisor[space.name]()
