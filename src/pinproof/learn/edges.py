"""Brackets of edges, from the readings of a search.

Answers: between which ohms does each edge lie, per direction; which stretches nobody has looked at; which readings
         contradict each other; how far the search has come.
Units:   ohms of the load; readings as share of full scale.
Touches: nothing.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pinproof.learn.state import Direction, State, Visit
from pinproof.learn.stock import INF
from pinproof.learn.uncertain import COVERAGE_K

INTERLEAVED = 0.1  # of full scale: readings out of order within this are a resistor's doing more often than a window's
UNDECIDED = 2.5  # resolutions: so far apart may the neighbours of a reading be that was not decided
MOST_UNDECIDED = 5  # more readings of it there are a window
LONE = 1.2  # resolutions either way: a window that narrow, seen once, may be a wrong resistor
SAME_PLACE = 1e-9


@dataclass(frozen=True)
class Bracket:
    """Where an edge surely lies: ohms of the load, and the same as readings. `common` is U of the source, all alike."""

    low_ohm: float
    high_ohm: float
    low_reading: float
    high_reading: float
    nominal_width: float
    common: float

    @property
    def width(self) -> float:
        """Own width, tolerance of the loads included, the source's uncertainty not. Share of full scale."""
        return self.high_reading - self.low_reading


@dataclass(frozen=True)
class Edge:
    """One edge: the meanings below and above it in reading, and its bracket per direction (None: not looked at)."""

    below: str
    above: str
    falling: Bracket | None = None
    rising: Bracket | None = None
    none: Bracket | None = None

    @property
    def seen(self) -> tuple[Bracket, ...]:
        """All brackets there are."""
        return tuple(each for each in (self.falling, self.rising, self.none) if each is not None)

    @property
    def low_ohm(self) -> float:
        """Least ohms over all directions."""
        return min(each.low_ohm for each in self.seen)

    @property
    def high_ohm(self) -> float:
        """Greatest ohms over all directions."""
        return max(each.high_ohm for each in self.seen)

    @property
    def hysteresis(self) -> tuple[float, float] | None:
        """Rising less falling, least and greatest, as share of full scale; None unless both were looked at."""
        if self.falling is None or self.rising is None:
            return None
        least = self.rising.low_reading - self.falling.high_reading
        return max(least, 0.0), max(self.rising.high_reading - self.falling.low_reading, 0.0)


@dataclass(frozen=True)
class Gap:
    """A stretch between two neighbouring readings of one direction; `low` and `high` are positions in State.visits."""

    low: int
    high: int
    width: float  # nominal, share of full scale
    same: bool


@dataclass(frozen=True)
class Doubt:
    """Readings that contradict each other, and the parts whose ohms would settle it."""

    visits: tuple[int, ...]
    parts: tuple[int, ...]
    text: str


@dataclass(frozen=True)
class Progress:
    """How far a search has come. Widths are shares of full scale."""

    readings: int
    meanings: tuple[str, ...]
    missing: tuple[str, ...]  # expected, not seen yet
    edges: int
    resolved: int  # edges whose bracket is as narrow as wanted, in the main direction
    widest: float  # bracket
    unseen: float  # widest stretch between equal meanings, not swept
    done: bool


def in_order(state: State, direction: Direction) -> list[int]:
    """Usable readings of a direction, by rising reading."""
    kept: list[int] | None = state.memo.get(direction)
    if kept is None:
        mine = [i for i, each in enumerate(state.visits) if each.direction == direction and not each.aside]
        row = _untangled(state, sorted(mine, key=lambda i: (state.place(state.visits[i]), i)))
        kept = state.memo[direction] = _decided(state, row) if direction == state.main else row
    return kept


def _decided(state: State, order: list[int]) -> list[int]:
    """Without readings at which the controller did not make up its mind.

    Close to an edge its noise may keep it from counting enough equal samples; it then still shows what it showed with
    nothing on the pin. Such a meaning in a narrow place between two others is left out: the bracket is wider then.
    """
    if state.main == "none" or not state.visits:
        return order
    rest = state.visits[0].meaning
    runs = _runs(state, order)
    for before, lone, after in zip(runs, runs[1:], runs[2:], strict=False):
        width = state.place(state.visits[after[0]]) - state.place(state.visits[before[-1]])
        few = state.visits[lone[0]].meaning == rest and len(lone) <= MOST_UNDECIDED
        if few and width <= UNDECIDED * state.resolution:
            order = [i for i in order if i not in lone]
    return order


def _untangled(state: State, order: list[int]) -> list[int]:
    """Without readings that contradict each other within the tolerance of their loads.

    Where A, B, A, B stand in a row and the two in the middle overlap, their order is not known. The one that more
    others speak against goes; where it is equal both go. The bracket that remains is wider, never wrong.
    """
    again = True
    while again:
        again = False
        for first, second, third, fourth in _quads(_runs(state, order)):
            m = [state.visits[run[0]].meaning for run in (first, second, third, fourth)]
            one, other = second[-1], third[0]
            if m[0] != m[2] or m[1] != m[3] or state.span(state.visits[one])[2] < state.span(state.visits[other])[0]:
                continue
            early, late = (
                _against(state, order, one, m[0], above=True),
                _against(state, order, other, m[1], above=False),
            )
            if min(early, late) > 1:
                continue
            gone = {one, other} if early == late else {one if early > late else other}
            order = [i for i in order if i not in gone]
            again = True
            break
    return order


def _against(state: State, order: Sequence[int], index: int, meaning: str, *, above: bool) -> int:
    """How many independent readings nearby have the other meaning on the wrong side of one."""
    at, sign = state.place(state.visits[index]), 1.0 if above else -1.0
    wrong = [
        i for i in order
        if state.visits[i].meaning == meaning and 0.0 <= (state.place(state.visits[i]) - at) * sign <= INTERLEAVED / 2.0
    ]  # fmt: skip
    return _witnesses(state, wrong)


def _witnesses(state: State, run: Sequence[int]) -> int:
    """How many readings of a run share no resistor; those that do speak with one voice."""
    used: set[int] = set()
    count = 0
    for i in run:
        parts = set(state.visits[i].parts)
        if not parts & used:
            count += 1
        used |= parts
    return count


def gaps(state: State, direction: Direction | None = None) -> list[Gap]:
    """Neighbouring readings of a direction, the main one unless told."""
    order = in_order(state, direction or state.main)
    found = []
    for low, high in itertools.pairwise(order):
        one, other = state.visits[low], state.visits[high]
        width = max(state.place(other) - state.place(one), 0.0)
        found.append(Gap(low, high, width, one.meaning == other.meaning))
    return found


def bracket_of(state: State, low: Visit, high: Visit) -> Bracket:
    """What lies between two readings, tolerance of both loads included."""
    ends = [state.bounds(low), state.bounds(high)]
    if state.side == "supply":
        ends.reverse()
    low_ohm, high_ohm = min(ends[0][0], ends[1][0]), max(ends[0][2], ends[1][2])
    at = sorted((state.scale.reading(low_ohm), state.scale.reading(high_ohm)))
    mid = state.scale.ohm_at((at[0] + at[1]) / 2.0)
    nominal = abs(state.place(high) - state.place(low))
    return Bracket(low_ohm, high_ohm, at[0], at[1], nominal, COVERAGE_K * state.scale.common_u(mid))


def main_gaps(state: State) -> list[Gap]:
    """The gaps between different meanings in the main direction: one edge each, by rising reading."""
    kept: list[Gap] | None = state.memo.get("main gaps")
    if kept is None:
        kept = state.memo["main gaps"] = [each for each in gaps(state) if not each.same]
    return kept


def edges(state: State) -> tuple[Edge, ...]:
    """All edges seen so far, by rising reading, with a bracket for each direction that was looked at.

    A stretch between different meanings counts as one edge; it may hold more while it is wide.
    """
    found = []
    seen = main_gaps(state)
    for number, gap in enumerate(seen):
        low, high = state.visits[gap.low], state.visits[gap.high]
        by: dict[str, Bracket] = {state.main: bracket_of(state, low, high)}
        for direction in (*others(state), *(("none",) if state.main != "none" else ())):
            ends = other_way(state, seen, number, direction)
            if ends is not None:
                by[direction] = bracket_of(state, *ends)
        found.append(Edge(low.meaning, high.meaning, **by))
    return tuple(found)


def others(state: State) -> tuple[Direction, ...]:
    """The directions beside the main one."""
    return tuple(each for each in ("falling", "rising") if each != state.main)


def reach_of(state: State, seen: Sequence[Gap], number: int) -> tuple[float, float]:
    """Between which readings the other direction's edge is looked for: up to the neighbouring edges."""
    left = state.place(state.visits[seen[number - 1].high]) if number > 0 else -INF
    right = state.place(state.visits[seen[number + 1].low]) if number + 1 < len(seen) else INF
    return left, right


def upward(state: State, direction: Direction) -> bool:
    """True if the edge is met from below. A fresh start stands in for the other direction than the main one."""
    return direction == "rising" or (direction == "none" and state.main == "falling")


def other_way(
    state: State, seen: Sequence[Gap], number: int, direction: Direction, *, partly: bool = False
) -> tuple[Visit, Visit] | None:
    """The readings on both sides of an edge in another direction than the main one.

    An edge lies no lower rising than falling (hysteresis is not negative), so one side is known from the main
    direction. None where the far side was not reached; with `partly` the far side is then the last reading there was.
    """
    gap = seen[number]
    low, high = state.visits[gap.low], state.visits[gap.high]
    left, right = reach_of(state, seen, number)
    mine = [
        each for each in state.visits
        if each.direction == direction and not each.aside and left <= state.place(each) <= right
    ]  # fmt: skip
    rising = upward(state, direction)
    start, old = (low, low.meaning) if rising else (high, high.meaning)
    mine = [v for v in mine if (state.place(v) - state.place(start)) * (1.0 if rising else -1.0) >= 0.0]
    kept = _agreed(state, mine, old, rising=rising)
    pick, furthest = (min, max) if rising else (max, min)
    far = pick((v for v in kept if v.meaning != old), key=state.place, default=None)
    near = furthest([start, *(v for v in kept if v.meaning == old)], key=state.place)
    if far is None:
        return (near, near) if partly else None
    return (near, far) if rising else (far, near)


def _agreed(state: State, visits: Sequence[Visit], old: str, *, rising: bool) -> list[Visit]:
    """Readings of one direction at one edge without those that contradict others: the worst first, equals both.

    Going the way, the old meaning comes before all others. A reading out of that order has a resistor that is off,
    or lies within its tolerance.
    """
    row = sorted(visits, key=state.place, reverse=not rising)
    while True:
        against = [
            sum((a.meaning == old) != (b.meaning == old) and (b.meaning == old if i < j else a.meaning == old)
                for j, b in enumerate(row) if j != i)
            for i, a in enumerate(row)
        ]  # fmt: skip
        worst = max(against, default=0)
        if worst == 0:
            return row
        row = [v for v, count in zip(row, against, strict=True) if count < worst]


def swept(state: State, low: Visit, high: Visit) -> bool:
    """True if a potentiometer was turned slowly over the whole stretch between two readings."""
    turned = [v for v in state.visits if v.join == "pot" and not v.aside]
    if not any(v.direction == state.main for v in turned):
        return False
    at = [state.place(v) for v in turned]
    reach = (min(at), max(at))  # between the potentiometer's end and the open pin it was not
    return reach[0] - SAME_PLACE <= state.place(low) and state.place(high) <= reach[1] + SAME_PLACE


def unseen_gaps(state: State) -> list[Gap]:
    """Stretches between equal meanings that nobody has looked into, the widest first."""
    mine = [
        each for each in gaps(state)
        if each.same and not swept(state, state.visits[each.low], state.visits[each.high])
    ]  # fmt: skip
    return sorted(mine, key=lambda each: -each.width)


def doubts(state: State) -> tuple[Doubt, ...]:
    """Readings out of order, whose parts have not all been measured or declined."""
    order = in_order(state, state.main)
    found: list[Doubt] = []
    for one, other in itertools.pairwise(order):
        a, b = state.visits[one], state.visits[other]
        if a.meaning != b.meaning and abs(state.place(a) - state.place(b)) < SAME_PLACE:
            found.append(_doubt(state, (one, other), "The same ohms gave two meanings"))
    runs = _runs(state, order)
    for first, second, third, fourth in _quads(runs):
        m = [state.visits[run[0]].meaning for run in (first, second, third, fourth)]
        if m[0] != m[2] or m[1] != m[3]:
            continue
        if _witnesses(state, second) > 1 and _witnesses(state, third) > 1:
            continue  # both seen twice: narrow windows
        one, other = second[-1], third[0]
        reach = min(
            state.place(state.visits[fourth[0]]) - state.place(state.visits[second[0]]),
            state.place(state.visits[third[-1]]) - state.place(state.visits[first[-1]]),
        )
        if reach <= INTERLEAVED:
            found.append(_doubt(state, (one, other), "Readings are out of order"))
    for before, lone, after in zip(runs, runs[1:], runs[2:], strict=False):
        if _witnesses(state, lone) > 1 or state.visits[before[0]].meaning != state.visits[after[0]].meaning:
            continue
        at = state.place(state.visits[lone[0]])
        if (
            max(at - state.place(state.visits[before[-1]]), state.place(state.visits[after[0]]) - at)
            <= LONE * state.resolution
        ):
            found.append(_doubt(state, (lone[0],), "One load alone shows this, in a narrow place"))
    return tuple(each for each in found if each.parts)


def _runs(state: State, order: Sequence[int]) -> list[list[int]]:
    """Neighbouring readings of one meaning, together."""
    return [list(run) for _, run in itertools.groupby(order, key=lambda i: state.visits[i].meaning)]


def _quads(runs: Sequence[list[int]]) -> Iterator[tuple[list[int], list[int], list[int], list[int]]]:
    return zip(runs, runs[1:], runs[2:], runs[3:], strict=False)


def _doubt(state: State, pair: tuple[int, ...], said: str) -> Doubt:
    parts = dict.fromkeys(part for i in pair for part in state.visits[i].parts)
    open_parts = tuple(p for p in parts if p not in state.known and p not in state.asked)
    told = " and ".join(f"{state.bounds(state.visits[i])[1]:.6g} ohm: {state.visits[i].meaning}" for i in pair)
    return Doubt(pair, open_parts, f"{said} ({told}).")


def progress(state: State) -> Progress:
    """How far the search has come."""
    from pinproof.learn.search import propose

    seen = main_gaps(state)
    meanings = tuple(dict.fromkeys(v.meaning for v in state.visits if not v.aside))
    step = propose(state)
    return Progress(
        len(state.visits), meanings, tuple(m for m in state.expected if m not in meanings), len(seen),
        sum(each.width <= state.resolution for each in seen), max((each.width for each in seen), default=0.0),
        max((each.width for each in unseen_gaps(state)), default=0.0), step is None or step.optional,
    )  # fmt: skip
