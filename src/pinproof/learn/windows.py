"""Windows from the readings of a search, in ohms, none surely larger than what was visited.

Answers: which stretches surely have one meaning, how far their edges may lie from where they are stated, how that is
         written in a design file.
Units:   ohms of the load.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, floor, log10

from pinproof.learn.edges import Edge, edges, in_order, main_gaps, other_way, others, swept, upward
from pinproof.learn.state import INVALID, State
from pinproof.learn.stock import INF
from pinproof.quantities import plain_number

DIGITS = 5
LOST = 0.01  # of the ohms that are surely inside a window, given up for an edge told in fewer digits
MOST_OHM = 10e6  # a load above that is as good as none (common practice, no source)

USUAL_HYSTERESIS = 0.02  # of full scale: allowed for in a direction that nobody looked at (common practice, no source)


@dataclass(frozen=True)
class Limit:
    """Where one end of a stretch lies, at least and at most. [Ω]"""

    low_ohm: float
    high_ohm: float

    @property
    def middle_ohm(self) -> float:
        """Where it is stated, rounded as it is written."""
        return self._told[0]

    @property
    def off_ohm(self) -> float:
        """How far it may lie from where it is stated, rounded up as it is written."""
        return float(self.off_text)

    @property
    def off_text(self) -> str:
        """The same as a number in words, "0" for none."""
        return self._told[1]

    @property
    def _told(self) -> tuple[float, str]:
        """Both with as few digits as cost the sure side no more than `LOST`."""
        middle, half = (self.low_ohm + self.high_ohm) / 2.0, (self.high_ohm - self.low_ohm) / 2.0
        for digits in range(2, DIGITS + 1):
            told = to_digit_of(middle, half, digits)
            off = _up(max(self.high_ohm - told, told - self.low_ohm), digits)
            if self.low_ohm - (told - float(off)) <= LOST * self.low_ohm:
                break
        return told, off


@dataclass(frozen=True)
class LearnedWindow:
    """One stretch of a meaning. None: no end, it reaches the rail.

    Where nobody looked, or an edge is only roughly known, the end's limits are wide: `sure` then stops at the last load
    that was visited, while the window may reach all of it.
    """

    meaning: str
    low: Limit | None
    high: Limit | None
    fault: bool

    @property
    def sure(self) -> tuple[float, float]:
        """The ohms that surely have the meaning, as stated in the file; the first above the second: none. [Ω]"""
        return (
            0.0 if self.low is None else self.low.middle_ohm + self.low.off_ohm,
            INF if self.high is None else self.high.middle_ohm - self.high.off_ohm,
        )

    @property
    def reach(self) -> tuple[float, float]:
        """The ohms that may have the meaning. [Ω]"""
        return (
            0.0 if self.low is None else max(self.low.middle_ohm - self.low.off_ohm, 0.0),
            INF if self.high is None else self.high.middle_ohm + self.high.off_ohm,
        )

    @property
    def maybe(self) -> bool:
        """True if no ohms surely have the meaning: the window only says how far it may reach."""
        return self.sure[0] >= self.sure[1]


def windows_of(state: State) -> tuple[LearnedWindow, ...]:
    """Windows by rising ohms; none for "invalid", and nothing sure where nobody looked."""
    order = in_order(state, state.main)
    if state.side == "supply":
        order = order[::-1]
    found: list[LearnedWindow] = []
    first = state.visits[order[0]] if order else None
    low = None if first is None or first.ohm == 0.0 else _limit(0.0, state.bounds(first)[2])
    told = True
    for index, number in enumerate(order):
        visit = state.visits[number]
        met = False
        if index + 1 < len(order):
            between, met, to_open = _between(state, number, order[index + 1])
            if between is None:
                continue
            high: Limit | None = between
        else:
            high, to_open = None if visit.ohm == INF else _limit(state.bounds(visit)[0], INF), False
        if visit.meaning != INVALID and told:
            found += _window(state, visit.meaning, low, high)
        if met:
            told = not to_open
        low = high
    return tuple(found)


def _limit(low_ohm: float, high_ohm: float) -> Limit:
    return Limit(min(low_ohm, MOST_OHM), min(high_ohm, MOST_OHM))


def _window(state: State, meaning: str, low: Limit | None, high: Limit | None) -> list[LearnedWindow]:
    whole = low is None and high is None
    if whole or (low is not None and high is not None and low.middle_ohm >= high.middle_ohm):
        return []
    return [LearnedWindow(meaning, low, high, meaning in state.faults)]


def _between(state: State, one: int, other: int) -> tuple[Limit | None, bool, bool]:
    """What parts two neighbouring readings, None where nothing does; whether their meanings differ.

    The last is True where from one side no edge was met up to the open pin: then even what that shows is not sure.
    """
    a, b = state.visits[one], state.visits[other]
    seen = {frozenset((gap.low, gap.high)): number for number, gap in enumerate(main_gaps(state))}
    edge = seen.get(frozenset((one, other)))
    if edge is not None:
        low_ohm, high_ohm, begun = extent(state, edge)
        return _limit(low_ohm, high_ohm), True, begun and high_ohm == INF
    width = abs(state.place(a) - state.place(b))
    if width <= max(state.resolution, state.accepted) or swept(state, *sorted((a, b), key=state.place)):
        return None, False, False
    return _limit(state.bounds(a)[0], state.bounds(b)[2]), False, False


def extent(state: State, number: int) -> tuple[float, float, bool]:
    """Least and greatest ohms between which an edge lies in any direction [Ω], and True if one is not through.

    A direction that was begun and met no other meaning leaves all beyond its last reading open, to the next edge. One
    that nobody looked at is allowed the usual hysteresis.
    """
    begun = False
    seen = main_gaps(state)
    edge = edges(state)[number]
    if state.main != "none" and _lies_between(state, edge):
        edge = replace(edge, none=None)
    ohms = [edge.low_ohm, edge.high_ohm]
    order = in_order(state, state.main)
    fresh = edge.none is not None and state.main != "none"
    for direction in (*others(state), *(("none",) if fresh else ())):
        if other_way(state, seen, number, direction) is not None:
            continue
        up = upward(state, direction)
        if up:
            last = state.visits[seen[number + 1].low if number + 1 < len(seen) else order[-1]]
        else:
            last = state.visits[seen[number - 1].high if number else order[0]]
        partly = other_way(state, seen, number, direction, partly=True)
        assert partly is not None
        if partly[0].direction == direction:
            begun = True
            for visit in (partly[0], last):
                low_ohm, _, high_ohm = state.bounds(visit)
                ohms += [low_ohm, high_ohm]
        elif not fresh:
            at = [state.scale.reading(each) for each in (edge.low_ohm, edge.high_ohm)]
            place = max(at) + USUAL_HYSTERESIS if up else min(at) - USUAL_HYSTERESIS
            beyond = min(place, state.place(last)) if up else max(place, state.place(last))
            ohms.append(INF if beyond == state.place(last) and last.ohm == INF else state.scale.ohm_at(beyond))
    return min(ohms), max(ohms), begun


def _lies_between(state: State, edge: Edge) -> bool:
    """True if the edge where the key is turned on needs no room beside the falling and the rising one.

    A controller that starts fresh shows inside the hysteresis either meaning, outside it none but the one of there: its
    edge lies between the two others. A meaning that latches has no edge back, so nothing but the key tells there.
    """
    turned = [each for each in (edge.falling, edge.rising) if each is not None]
    if edge.none is None or not turned or {edge.below, edge.above} & set(state.latching):
        return False
    low_ohm, high_ohm = min(each.low_ohm for each in turned), max(each.high_ohm for each in turned)
    return edge.none.low_ohm <= high_ohm and low_ohm <= edge.none.high_ohm


def to_digit_of(value: float, off: float, digits: int = 2) -> float:
    """A value rounded to the last of so many digits of its uncertainty, at five significant digits at most.

    JCGM 100:2008, 7.2.6: an uncertainty is told with at most two digits, its value to the same place.

    >>> from pinproof.learn.windows import to_digit_of
    >>> to_digit_of(404.06, 30.8), to_digit_of(1049.7, 22.96), to_digit_of(4.9806, 0.0369)
    (404.0, 1050.0, 4.981)
    """
    if off <= 0.0 or value == 0.0:
        return float(f"{value:.{DIGITS}g}")
    place = digits - 1 - floor(log10(off))
    return round(value, min(place, DIGITS - 1 - floor(log10(abs(value)))))


def as_stated(value: float, tolerance: float) -> tuple[float, float]:
    """A value and its tolerance (ratio) as they are told: rounded, and the tolerance wider by the rounding, rounded up.

    >>> from pinproof.learn.windows import as_stated
    >>> as_stated(1049.7, 0.02187)
    (1050.0, 0.023)
    """
    told = to_digit_of(value, abs(value) * tolerance)
    return told, float(rounded_up((abs(value) * tolerance + abs(value - told)) / abs(told) * 100.0)) / 100.0


def _up(value: float, digits: int = 3) -> str:
    """A number rounded up to so many digits."""
    if value <= 0.0:
        return "0"
    step = 10.0 ** (floor(log10(value)) - digits + 1)
    return plain_number(ceil(value / step * (1.0 - 1e-12)) * step, digits + 1)


def rounded_up(value: float, digits: int = 2) -> str:
    """A tolerance in percent, rounded up."""
    return _up(value, digits)
