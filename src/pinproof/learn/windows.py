"""Windows from the readings of a search, in ohms, none larger than what was visited.

Answers: which stretches surely have one meaning, how far their edges may lie from where they are stated, how that is
         written in a design file.
Units:   ohms of the load.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, log10

from pinproof.learn.edges import edges, in_order, main_gaps, swept
from pinproof.learn.state import INVALID, State, Visit
from pinproof.learn.stock import INF
from pinproof.quantities import plain_number

DIGITS = 5
MOST_OHM = 10e6  # a load above that is as good as none (common practice, no source)
NARROW = 2.0  # resolutions: a bracket up to that is written as an edge, a wider one as a stretch that is not known
COVERED = 1.001


@dataclass(frozen=True)
class Limit:
    """Where one end of a stretch lies, at least and at most. [Ω]"""

    low_ohm: float
    high_ohm: float

    @property
    def middle_ohm(self) -> float:
        """Where it is stated, rounded as it is written."""
        return float(f"{(self.low_ohm + self.high_ohm) / 2.0:.{DIGITS}g}")

    @property
    def half_ohm(self) -> float:
        """How far it may lie from where it is stated."""
        return max(self.high_ohm - self.middle_ohm, self.middle_ohm - self.low_ohm)


@dataclass(frozen=True)
class LearnedWindow:
    """One stretch of a meaning. None: no end, it reaches the rail. `uncertainty` as it is written, "" for none.

    `maybe`: nobody looked there, or an edge lies somewhere in it. It has no ohms that surely have the meaning; it only
    says how far the meaning may reach.
    """

    meaning: str
    low: Limit | None
    high: Limit | None
    fault: bool
    uncertainty: str
    maybe: bool = False

    @property
    def sure(self) -> tuple[float, float]:
        """The ohms that surely have the meaning, as stated in the file; the first above the second: none. [Ω]"""
        low, high = (self._reach(end) for end in (self.low, self.high))
        return (0.0 if self.low is None else self.low.middle_ohm + low), (
            INF if self.high is None else self.high.middle_ohm - high
        )

    def _reach(self, end: Limit | None) -> float:
        if end is None or not self.uncertainty:
            return 0.0
        number, unit = self.uncertainty.split()
        return float(number) * (end.middle_ohm / 100.0 if unit == "%" else 1.0)


def windows_of(state: State) -> tuple[LearnedWindow, ...]:
    """Windows by rising ohms; none for "invalid", and nothing sure where nobody looked."""
    order = in_order(state, state.main)
    if state.side == "supply":
        order = order[::-1]
    found: list[LearnedWindow] = []
    low: _End = _End(None, None) if not order or state.visits[order[0]].ohm == 0.0 else _below(state, order[0])
    run: list[Visit] = []
    for index, number in enumerate(order):
        visit = state.visits[number]
        run.append(visit)
        if index + 1 < len(order):
            high = _between(state, number, order[index + 1])
            if high is None:
                continue
        else:
            high = (
                _End(None, None) if visit.ohm == INF else _End(None, Limit(state.bounds(visit)[0], MOST_OHM), same=True)
            )
        if visit.meaning != INVALID:
            found += _run(state, run, low, high, first=len(run) == index + 1)
        run, low = [], high
    return tuple(found)


@dataclass(frozen=True)
class _End:
    """One end of a run: a narrow bracket, or a stretch that is not known.

    `same`: beyond it the meaning is the same, or nothing was read; the whole stretch is then one run's.
    """

    edge: Limit | None
    unknown: Limit | None
    same: bool = False


def _between(state: State, one: int, other: int) -> _End | None:
    """What parts two neighbouring readings; None where nothing does."""
    a, b = state.visits[one], state.visits[other]
    seen = {frozenset((gap.low, gap.high)): edge for gap, edge in zip(main_gaps(state), edges(state), strict=True)}
    edge = seen.get(frozenset((one, other)))
    width = abs(state.place(a) - state.place(b))
    if edge is not None:
        limit = Limit(edge.low_ohm, min(edge.high_ohm, MOST_OHM))
        return _End(limit, None) if width <= NARROW * state.resolution else _End(None, limit)
    if width <= max(state.resolution, state.accepted) or swept(state, *sorted((a, b), key=state.place)):
        return None
    return _End(None, Limit(state.bounds(a)[0], min(state.bounds(b)[2], MOST_OHM)), same=True)


def _below(state: State, first: int) -> _End:
    """Loads below the least that was put on."""
    return _End(None, Limit(0.0, min(state.bounds(state.visits[first])[2], MOST_OHM)), same=True)


def _run(state: State, run: list[Visit], low: _End, high: _End, *, first: bool) -> list[LearnedWindow]:
    """A run of readings of one meaning: what is sure of it, and how far it may reach."""
    meaning, fault = run[0].meaning, run[0].meaning in state.faults
    inside = (state.bounds(run[0])[2], state.bounds(run[-1])[0])
    ends = [low.edge, high.edge]
    if low.unknown is not None:
        ends[0] = Limit(inside[0], inside[0])
    if high.unknown is not None:
        ends[1] = Limit(inside[1], inside[1])
    out = []
    if low.unknown is not None and (first or not low.same):
        out.append(_maybe(meaning, fault, low, upper=True))
    if any(ends) and (ends[0] is None or ends[0].low_ohm < INF):
        window = LearnedWindow(meaning, ends[0], ends[1], fault, _uncertainty([each for each in ends if each]))
        if window.sure[0] < window.sure[1]:
            out.append(window)
    if high.unknown is not None:
        out.append(_maybe(meaning, fault, high, upper=False))
    return out


def _maybe(meaning: str, fault: bool, end: _End, *, upper: bool) -> LearnedWindow:
    """How far a meaning may reach into a stretch: as far as all of it, and nowhere surely."""
    assert end.unknown is not None
    a, b = end.unknown.low_ohm, end.unknown.high_ohm
    part = (b - a) / 4.0
    at = (a + part, b - part)
    if not end.same:  # the neighbour's window takes the other half
        at = (a + 2.0 * part, b - part) if upper else (a + part, a + 2.0 * part)
    reach = part if end.same else 2.0 * part
    low, high = Limit(at[0], at[0]), Limit(at[1], at[1])
    slack = max(low.half_ohm, high.half_ohm)
    return LearnedWindow(meaning, low, high, fault, f"{_up(reach * COVERED + slack)} ohm", maybe=True)


def _uncertainty(ends: list[Limit]) -> str:
    """Ohms or percent, whichever adds less to the narrower end."""
    wide = [each for each in ends if each.half_ohm > 0.0]
    if not wide:
        return ""
    in_ohm = max(each.half_ohm for each in wide)
    share = max(each.half_ohm / each.middle_ohm for each in wide)
    least = min(each.half_ohm for each in wide)
    wide_share = max(share * each.middle_ohm / each.half_ohm for each in wide)
    if share < 1.0 and wide_share <= in_ohm / least:
        return f"{_up(share * 100.0)} %"
    return f"{_up(in_ohm)} ohm"


def _up(value: float, digits: int = 3) -> str:
    """A number rounded up to so many digits."""
    if value <= 0.0:
        return "0"
    step = 10.0 ** (floor(log10(value)) - digits + 1)
    return plain_number(ceil(value / step * (1.0 - 1e-12)) * step, digits + 1)


def rounded_up(value: float, digits: int = 2) -> str:
    """A tolerance in percent, rounded up."""
    return _up(value, digits)
