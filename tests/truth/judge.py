"""Windows, situations, allowed meanings, verdicts and margins, written from the design file's page."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from fractions import Fraction

from tests.truth.physics import Box
from tests.truth.spans import Bounds, Extremes, Space, evaluate, spaces, substitution_reading
from tests.truth.truck import INF, Line, Truck, Window, exact

RAIL_TOL = Fraction(1, 10**9)
TIE = 1e-9  # comparisons closer than this to zero (times full scale) are marked
WORST_FIRST = ("fail", "not shown", "would hold if", "pass")


@dataclass(frozen=True)
class Edge:
    """A possible position of an edge in reading space: a number, or the reading at `ohm` shifted by `shift`."""

    value: Fraction  # for substitution: the nominal position
    ohm: Fraction | None = None
    shift: Fraction = Fraction(0)

    def bounds(self, found: Extremes) -> Bounds:
        """Extremes of reading − edge."""
        if self.ohm is None:
            r, v = found.reading, float(self.value)
            low = float(found.low_exact - self.value) if found.exact and found.low_exact is not None else r.low - v
            high = float(found.high_exact - self.value) if found.exact and found.high_exact is not None else r.high - v
            if found.exact:
                return Bounds(low, high, low, high)
            return Bounds(low, high, r.low_outer - v, r.high_outer - v)
        b, s = found.against[self.ohm], float(self.shift)
        return Bounds(b.low - s, b.high - s, b.low_outer - s, b.high_outer - s)


@dataclass(frozen=True)
class Win:
    """A window in reading space. Small: surely inside; large: possibly inside. None: no edge on that side."""

    meaning: str
    fault: bool
    assumed: bool
    low_nominal: Fraction | None
    high_nominal: Fraction | None
    low_small: Edge | None
    low_large: Edge | None
    high_small: Edge | None
    high_large: Edge | None
    half: Fraction

    @property
    def can_be_sure(self) -> bool:
        """Whether any reading is inside wherever the edges may be."""
        if self.low_small is None or self.high_small is None:
            return True
        return self.low_small.value <= self.high_small.value


# ---------------------------------------------------------------- windows into reading space


def _to_reading(
    truck: Truck, line: Line, space: Space, unit: str, number: Fraction, with_pull: Fraction | None
) -> Fraction:
    pin = truck.input_of(line)
    scale = space.full if space.name == "volts" else Fraction(1)
    run = truck.supply["run"].nominal
    if unit == "ratio":
        return number * scale
    if unit == "counts":
        return number / exact(pin.full_counts or "1") * scale
    if unit == "V":
        if space.name == "reference":
            assert pin.reference is not None
            return number / pin.reference.nominal
        return number / run if space.name == "battery" else number
    assert with_pull is not None
    source = pin.pull_up_to if line.source_rail == "return" else line.feed_from
    share = number / (number + with_pull) if line.source_rail == "return" else with_pull / (number + with_pull)
    if space.name == "volts":
        assert pin.reference is not None or source == "battery"
        share *= run if source == "battery" else pin.reference.nominal  # type: ignore[union-attr]
    return share


def _nominal_rails(truck: Truck, line: Line) -> dict[str, Fraction]:
    pin = truck.input_of(line)
    rails = {"battery": truck.supply["run"].nominal}
    if pin.reference is not None:
        rails["reference"] = pin.reference.nominal
    return rails


def _place(truck: Truck, line: Line, space: Space, w: Window, number: Fraction) -> Fraction:
    """Nominal place of an edge in reading space."""
    if not w.substitution:
        return _to_reading(truck, line, space, w.unit, number, None if w.with_pull is None else exact(w.with_pull))
    pin = truck.input_of(line)
    up = None if pin.pull_up is None else exact(pin.pull_up.ohm)
    down = None if pin.pull_down is None else exact(pin.pull_down.ohm)
    return substitution_reading(truck, line, space, number, _nominal_rails(truck, line), up, down)


def reading_windows(truck: Truck, line: Line, space: Space) -> list[Win]:
    """All windows of the line in reading space, from windows or targets."""
    error = exact(truck.input_of(line).error_pct) / 100 * space.full
    if line.targets:
        return _from_targets(truck, line, space, error)
    out = []
    for w in line.windows:
        sides: dict[str, tuple[Fraction, Edge, Edge]] = {}  # reading side -> nominal, lower place, upper place
        for stated in (w.low, w.high):
            if stated is None:
                continue
            number = exact(stated)
            step = exact(w.uncertainty) if w.uncertainty else number * exact(w.uncertainty_pct or "0") / 100
            flips = w.unit == "ohm" and line.source_rail == "feed"
            side = "low" if (stated is w.low) != flips else "high"
            nominal = _place(truck, line, space, w, number)
            if nominal <= RAIL_TOL * space.full if side == "low" else nominal >= space.full * (1 - RAIL_TOL):
                continue
            both = [(_place(truck, line, space, w, x), x) for x in (number - step, number + step)]
            both.sort()
            sides[side] = (
                nominal,
                Edge(both[0][0] - error, both[0][1] if w.substitution else None, -error),
                Edge(both[1][0] + error, both[1][1] if w.substitution else None, error),
            )
        low, high = sides.get("low"), sides.get("high")
        out.append(_win(w.meaning, w.fault, w.basis in (None, "assumed"), low, high, space))
    return out


def _win(
    meaning: str,
    fault: bool,
    assumed: bool,
    low: tuple[Fraction, Edge, Edge] | None,
    high: tuple[Fraction, Edge, Edge] | None,
    space: Space,
) -> Win:
    width = (high[0] if high else space.full) - (low[0] if low else 0)
    if width <= 0:  # wholly beyond full scale: the page says full scale stands in for its width
        width = space.full
    return Win(
        meaning,
        fault,
        assumed,
        low[0] if low else None,
        high[0] if high else None,
        low[2] if low else None,
        low[1] if low else None,
        high[1] if high else None,
        high[2] if high else None,
        width / 2,
    )


def _from_targets(truck: Truck, line: Line, space: Space, error: Fraction) -> list[Win]:
    placed = []
    for t in line.targets:
        pull = None if t.with_pull is None else exact(t.with_pull)
        placed.append((_to_reading(truck, line, space, t.unit, exact(t.reading), pull), t.meaning))
    placed.sort()
    middle = [(a[0] + b[0]) / 2 for a, b in itertools.pairwise(placed)]
    out = []
    for i, (at, meaning) in enumerate(placed):
        low = middle[i - 1] if i > 0 else (2 * at - middle[i] if middle else Fraction(0))
        high = middle[i] if i < len(middle) else (2 * at - middle[i - 1] if middle else space.full)
        edges = [
            None if rail else (x, Edge(x - error), Edge(x + error))
            for x, rail in ((low, low <= RAIL_TOL * space.full), (high, high >= space.full * (1 - RAIL_TOL)))
        ]
        out.append(_win(meaning, False, True, edges[0], edges[1], space))
    return out


# ---------------------------------------------------------------- situations and what they may read


def situations(truck: Truck, line: Line) -> list[frozenset[str]]:
    contacts = truck.contacts_of(line.id)
    groups = [set(g) for d in truck.devices for g in d.exclusive]
    out = []
    for n in range(len(contacts) + 1):
        for pick in itertools.combinations(contacts, n):
            ids = frozenset(c.id for c in pick)
            if all(len(ids & g) <= 1 for g in groups) and all(set(c.only_when) <= ids for c in pick):
                out.append(ids)
    return out


@dataclass(frozen=True)
class Requirement:
    """`allowed`: meanings, maybe with "invalid" (then: clear of what is not allowed)."""

    rule: int
    allowed: frozenset[str]

    @property
    def inside(self) -> bool:
        return "invalid" not in self.allowed


def requirement(truck: Truck, line: Line, operated: frozenset[str], key_state: str) -> Requirement:
    for r in line.rules:
        if frozenset(r.operated) == operated:
            return Requirement(1, frozenset(r.allowed))
    contacts = [c for c in truck.contacts_of(line.id) if c.id in operated]

    def only(rule: int, meaning: str) -> Requirement:
        if key_state == "crank":
            return Requirement(rule, frozenset({meaning, line.idle, "invalid"}))
        return Requirement(rule, frozenset({meaning}))

    if not operated:
        return only(2, line.idle)
    for c in contacts:
        if c.momentary and frozenset({c.id, *c.with_}) == operated:
            return only(3, c.asks)
    if len(contacts) == 1 and not contacts[0].momentary and not contacts[0].with_:
        return only(4, contacts[0].asks)
    return Requirement(5, frozenset({line.idle, "invalid", *(c.asks for c in contacts)}))


# ---------------------------------------------------------------- verdicts


@dataclass(frozen=True)
class Judgement:
    verdict: str
    sure: bool  # the same verdict from the attained and from the rigorous bounds
    margin: float  # from the attained bounds
    margin_outer: float  # from the rigorous bounds: the true margin lies between
    tie: bool  # a deciding comparison is closer to zero than TIE


def forbidden_windows(wins: list[Win], need: Requirement, idle: str) -> list[Win]:
    """Command windows not allowed; the idle window too if idle is not allowed. Fault windows are no command."""
    return [w for w in wins if w.meaning not in need.allowed and (w.meaning == idle or not w.fault)]


def judge(wins: list[Win], need: Requirement, idle: str, found: Extremes, space: Space) -> Judgement:
    if found.shorted:
        return Judgement("not shown", False, -INF, -INF, False)
    close: list[float] = []
    if need.inside:
        allowed = [w for w in wins if w.meaning in need.allowed]
        both = [_inside(allowed, found, outer, close) for outer in (False, True)]
        certain_fail = _escapes(allowed, found, close)
    else:
        allowed = forbidden_windows(wins, need, idle)
        both = [_clear(allowed, found, outer, close) for outer in (False, True)]
        certain_fail = any(_enters(w, found, close) for w in allowed)
    verdicts = ["fail" if certain_fail else v for v, _ in both]
    tie = any(abs(x) < TIE * float(space.full) for x in close)
    return Judgement(verdicts[1], verdicts[0] == verdicts[1], both[0][1], both[1][1], tie)


def _low(b: Bounds, outer: bool) -> float:
    return b.low_outer if outer else b.low


def _high(b: Bounds, outer: bool) -> float:
    return b.high_outer if outer else b.high


def _inside(allowed: list[Win], found: Extremes, outer: bool, close: list[float]) -> tuple[str, float]:
    verdict, margin = "not shown", -INF
    for w in allowed:
        room = []
        if w.low_small is not None:
            room.append(_low(w.low_small.bounds(found), outer))
        if w.high_small is not None:
            room.append(-_high(w.high_small.bounds(found), outer))
        close += room
        least = min(room, default=INF)
        margin = max(margin, least / float(w.half))
        if least >= 0:
            verdict = "would hold if" if w.assumed else "pass"
    return verdict, margin


def _escapes(allowed: list[Win], found: Extremes, close: list[float]) -> bool:
    """Whether some attained reading lies outside every allowed window at its largest. Readings between two attained
    ones are attained too, so a gap between two allowed windows counts when the span crosses it."""
    ordered = sorted(allowed, key=lambda w: -1 if w.low_nominal is None else w.low_nominal)
    gaps: list[tuple[Edge | None, Edge | None]] = []
    below: Edge | None = None  # upper limit so far of what is covered
    covered_up_to_rail = False
    for i, w in enumerate(ordered):
        if w.low_large is not None and (below is None or below.value < w.low_large.value):
            gaps.append((below, w.low_large))
        if i == 0 or below is None or (w.high_large is not None and w.high_large.value > below.value):
            below = w.high_large
        if w.high_large is None:
            covered_up_to_rail = True
            break
    if not covered_up_to_rail:
        gaps.append((below, None))
    for a, b in gaps:
        above = INF if a is None else _high(a.bounds(found), False)
        under = INF if b is None else -_low(b.bounds(found), False)
        close += [above, under]
        if above > 0 and under > 0:
            return True
    return False


def _clear(forbidden: list[Win], found: Extremes, outer: bool, close: list[float]) -> tuple[str, float]:
    verdict, margin = "pass", INF
    for w in forbidden:
        apart = -INF
        if w.low_large is not None:
            apart = max(apart, -_high(w.low_large.bounds(found), outer))
        if w.high_large is not None:
            apart = max(apart, _low(w.high_large.bounds(found), outer))
        close.append(apart)
        margin = min(margin, apart / float(w.half))
        if apart <= 0:
            verdict = "not shown"
        elif w.assumed and verdict == "pass":
            verdict = "would hold if"
    return verdict, margin


def _enters(w: Win, found: Extremes, close: list[float]) -> bool:
    """Whether some attained reading lies inside the window at its smallest."""
    if not w.can_be_sure:
        return False
    above = INF if w.low_small is None else _high(w.low_small.bounds(found), False)
    under = INF if w.high_small is None else -_low(w.high_small.bounds(found), False)
    close += [above, under]
    if w.low_small is not None and w.high_small is not None:
        close.append(float(w.high_small.value - w.low_small.value))  # a window of no width is a tie
    return above >= 0 and under >= 0


def may_enter(w: Win, found: Extremes) -> bool:
    """Whether some reading can be inside the window at its largest (rigorous bounds)."""
    above = INF if w.low_large is None else _high(w.low_large.bounds(found), True)
    under = INF if w.high_large is None else -_low(w.high_large.bounds(found), True)
    return above >= 0 and under >= 0


def probes_of(wins: list[Win]) -> list[Fraction]:
    edges = [e for w in wins for e in (w.low_small, w.low_large, w.high_small, w.high_large) if e is not None]
    return sorted({e.ohm for e in edges if e.ohm is not None})


def look(
    truck: Truck,
    line: Line,
    operated: frozenset[str],
    key_state: str,
    space: Space,
    wins: list[Win],
    overrides: Box | None = None,
) -> tuple[Extremes, Requirement, Judgement]:
    """One situation in one key state and one reading space."""
    found = evaluate(truck, line, operated, key_state, space, probes_of(wins), overrides)
    need = requirement(truck, line, operated, key_state)
    return found, need, judge(wins, need, line.idle, found, space)


def all_spaces(truck: Truck, line: Line) -> list[Space]:
    return spaces(truck.input_of(line))
