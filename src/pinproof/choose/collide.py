"""Why no values will do: the two meanings that collide, and what would part them.

Answers: which two meanings cannot both be had, in which situation, by how much; which single change would help.
Units:   readings in the space of the input; margins as in `pinproof.verdict`.
Touches: nothing.

Nothing is guessed. The second meaning is found by choosing values for the worst demand alone and looking which other
demand then suffers most. Every change is tried by choosing all values again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from pinproof.choose.build import Built, Row, choosable
from pinproof.choose.certificate import Budget
from pinproof.choose.problem import Demand
from pinproof.choose.results import Collision, Parting
from pinproof.choose.search import Found, solve
from pinproof.design.model import Line, Truck, Value
from pinproof.design.model import Window as StatedWindow
from pinproof.errors import NoSolution
from pinproof.proof.results import LineProof, SituationProof
from pinproof.quantities import format_value

TRIAL = Budget(nodes=50_000, seconds=10.0)
"""For each of the dozen searches behind an explanation."""

Again = Callable[[Truck, float | None], tuple[float, bool]]
NO_WINDOW = "no window"
LEAK_FACTOR = 10.0
FINER_TOLERANCES = (0.005, 0.001)
WIDER = 0.25
"""How much wider a window is tried, as a share of its width."""


def collision_of(truck: Truck, built: Built, found: Found, proof: LineProof, again: Again | None) -> Collision:
    """Explain a choice that does not hold.

    Parameters
    ----------
    again : function
        (changed truck, tolerance of the parts or None) to the smallest margin after choosing again, and whether it is
        proven to be the best. None: no changes are tried.
    """
    worst = int(np.argmin(found.margins))
    partner = _partner(built, worst)
    row, demand = built.rows[worst], built.problem.demands[worst]
    first = _meant(row)
    second, how = _second(built, row, demand, partner, proof)
    margin = float(found.margins[worst])
    short = _depth(demand, margin)
    unit = next((each.unit for each in proof.situations if each.space == row.space), "")
    far = _reading_words(short, unit)
    where = " + ".join(row.situation.operated) if row.situation and row.situation.operated else "nothing operated"
    if row.situation is None:
        text = f"{first} and {second} cannot be kept apart: the best values leave them short by {far}."
    else:
        in_state = f" in {row.key_state}" if row.key_state else ""
        text = f"With {where}{in_state} the reading misses by {far}: {how}."
    parting = () if again is None else tuple(_tried(truck, built.view.line, row, again))
    tried = tuple(sorted(parting, key=lambda each: -each.margin))
    operated = row.situation.operated if row.situation else ()
    return Collision((first, second), operated, row.key_state, margin, short, unit, text, tried)


def _reading_words(reading: float, unit: str) -> str:
    """A distance between readings: "0.073 % of full scale", "12 mV"."""
    if unit in ("1", ""):
        return f"{format_value(reading, 'ratio', digits=2)} of full scale"
    return format_value(reading, "voltage", digits=2)


def _meant(row: Row) -> str:
    if row.situation is None:
        return row.meanings[0]
    if row.need is not None and row.need.means:
        return row.need.means
    return " + ".join(row.situation.operated) or "nothing operated"


def _depth(demand: Demand, margin: float) -> float:
    if not math.isfinite(margin):
        return math.inf
    scale = demand.scale if demand.how == "apart" else min((w.nominal_half_width for w in demand.windows), default=1.0)
    return max(-margin, 0.0) * scale


def _partner(built: Built, worst: int) -> int | None:
    """The demand that suffers most when values are chosen for the worst one alone; None if it fails even then."""
    demands = tuple(replace(each, group=0 if i == worst else 1) for i, each in enumerate(built.problem.demands))
    alone = solve(replace(built.problem, demands=demands), TRIAL)
    if alone.margins[worst] < 0.0:
        return None
    others = np.where(np.arange(len(demands)) == worst, np.inf, alone.margins)
    return int(np.argmin(others)) if len(others) > 1 else None


def _second(built: Built, row: Row, demand: Demand, partner: int | None, proof: LineProof) -> tuple[str, str]:
    if demand.how in ("clear", "apart"):
        # The foreign window nearest to what the proof found deciding.
        met = row.meanings[-1]
        for each in proof.situations:
            if _is_of(each, row):
                met = each.window or met
        if row.situation is not None:
            return met, f"it can be taken for {met}"
        return met, "their spans overlap"
    if partner is not None:
        other = built.rows[partner]
        name = _meant(other)
        if other.situation is not None and row.situation is not None and other.situation != row.situation:
            where = " + ".join(other.situation.operated) or "nothing operated"
            return name, f"values that hold it would make {where} miss, and the other way round"
    own = _meant(row)
    near = _nearest(proof, row)
    if partner is None and near == NO_WINDOW:
        return near, f"no values bring its span into the window of {own}"
    if partner is None:
        return near, f"no values bring its span into the window of {own}; it reaches towards {near}"
    return near, f"its span leaves the window of {own} towards {near}"


def _is_of(each: SituationProof, row: Row) -> bool:
    """The proven situation is the one that the demand is about, read in the same way."""
    mine = row.situation is not None and each.operated == row.situation.operated
    return mine and each.key_state == row.key_state and each.space == row.space


def _nearest(proof: LineProof, row: Row) -> str:
    """The meaning next to the side on which the worst reading leaves its window."""
    for each in proof.situations:
        if not _is_of(each, row):
            continue
        windows = sorted(proof.windows.get(each.space, ()), key=lambda w: (w.guaranteed()[0], w.guaranteed()[1]))
        names = [w.meaning for w in windows]
        if each.window in names:
            at = names.index(each.window) + (1 if each.side == "high" else -1)
            if 0 <= at < len(names):
                return names[at]
    return NO_WINDOW


def _tried(truck: Truck, line: Line, row: Row, again: Again) -> Iterator[Parting]:
    for what, other, tolerance in _changes(truck, line, row):
        try:
            margin, proven = again(other, tolerance)
        except NoSolution:
            continue
        yield Parting(what, margin, margin >= 0.0, proven)


def _changes(truck: Truck, line: Line, row: Row) -> Iterator[tuple[str, Truck, float | None]]:
    """Single changes worth trying: what, the changed truck, the tolerance of new parts."""
    widest = max((each.tolerance for each in choosable(truck, line)), default=0.0)
    for reach in FINER_TOLERANCES:
        if reach >= widest:
            continue
        yield f"parts of {reach * 100:g} %", truck, reach
    for name, words in (("leak_to_ground", "leak to ground"), ("leak_to_supply", "leak to the supply")):
        leak = getattr(line, name)
        if leak is not None:
            drier = replace(leak, low=leak.low * LEAK_FACTOR)
            other = _with_line(truck, replace(line, **{name: drier}))
            yield f"a {words} of no less than {format_value(drier.low, 'resistance')}", other, None
    if line.return_offset is not None:
        yield (
            "the coder's return taken to the controller's own ground (offset within ±0.02 V)",
            _with_line(truck, replace(line, return_offset=_within(line.return_offset, 0.02))),
            None,
        )
    if line.feed_drop is not None and line.feed_drop.low < line.feed_drop.high:
        steady = replace(line.feed_drop, low=line.feed_drop.value, high=line.feed_drop.value)
        yield "a feed whose drop is known exactly", _with_line(truck, replace(line, feed_drop=steady)), None
    contacts = truck.contacts_of(line)
    if any(each.closed.high > each.closed.low for each in contacts):
        better = {
            each.id: replace(each, closed=replace(each.closed, value=each.closed.low, high=each.closed.low))
            for each in contacts
        }
        yield (
            "contacts that never wear",
            replace(truck, contacts=tuple(better.get(each.id, each) for each in truck.contacts)),
            None,
        )
    open_ohm = [each for each in contacts if each.open is not None]
    if open_ohm:
        dry = {
            each.id: replace(each, open=replace(each.open, low=each.open.low * LEAK_FACTOR))
            for each in open_ohm
            if each.open is not None
        }
        yield (
            f"open contacts that leak {LEAK_FACTOR:g} times less",
            replace(truck, contacts=tuple(dry.get(each.id, each) for each in truck.contacts)),
            None,
        )
    if any(window.unsure for window in line.windows):
        sharp = tuple(
            replace(each, uncertainty=0.0, uncertainty_low=0.0, uncertainty_high=0.0) for each in line.windows
        )
        yield "window edges measured exactly", _with_line(truck, replace(line, windows=sharp)), None
    for meaning in dict.fromkeys((*row.meanings, *((row.need.means,) if row.need and row.need.means else ()))):
        wider = _widened(line, meaning) if row.need is not None and row.need.how == "inside" else None
        if wider is not None:
            yield f"a window for {meaning} wider by {WIDER:.0%}", _with_line(truck, wider), None


def _widened(line: Line, meaning: str) -> Line | None:
    """The line with one window wider by WIDER of its width, but not past the middle of the gap to a neighbour."""
    own = next((window for window in line.windows if window.meaning == meaning), None)
    if own is None or own.low is None or own.high is None:
        return None
    others = [window for window in line.windows if window is not own and window.kind == own.kind]
    grow = WIDER / 2.0 * (own.high - own.low)
    below = [w.high for w in others if w.high is not None and w.high <= own.low]
    above = [w.low for w in others if w.low is not None and w.low >= own.high]
    low = max([own.low - grow, 0.0, *((own.low + each) / 2.0 for each in below)])
    high = min([own.high + grow, *((own.high + each) / 2.0 for each in above)])
    wider: StatedWindow = replace(own, low=low, high=high)
    return replace(line, windows=tuple(wider if window is own else window for window in line.windows))


def _within(value: Value, reach: float) -> Value:
    return replace(value, value=0.0, low=max(value.low, -reach), high=min(value.high, reach))


def _with_line(truck: Truck, line: Line) -> Truck:
    return replace(truck, lines=tuple(line if each.id == line.id else each for each in truck.lines))
