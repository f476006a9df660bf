"""What is known of a pin's edges so far: the readings, nothing derived. Plain enough for a JSON file.

Answers: what was put on the pin, from where the reading came, what the controller showed.
Units:   ohms of the load; readings as share of full scale.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Any, Literal

from pinproof.errors import PinproofError, printable
from pinproof.learn.declared import made_of
from pinproof.learn.pulls import Side
from pinproof.learn.source import Source
from pinproof.learn.stock import INF, Join, Part, bounds_of, e12_stock

Direction = Literal["falling", "rising", "none"]
FORMAT = 1
INVALID = "invalid"
REST, REST_LAST = "rest", "rest last"  # tests whether an open pin holds its meaning
ASSUMED_OHM = 1_000.0
LEAST_SPACING_OHM, MOST_SPACING_OHM = 100.0, 100_000.0  # a bent source: its ohms only space the loads


@dataclass
class LearnFault(PinproofError):
    """A session, a step or an observation that cannot be used."""

    where: str
    message: str

    def __str__(self) -> str:
        return printable(f"{self.where}: {self.message}")


@dataclass(frozen=True)
class Scale:
    """Ohms of a load as a reading: ``(x_open R + x_far R_th) / (R + R_th)``, as share of full scale.

    `open_reading` with nothing on the pin, `far_reading` with 0 ohm to the load's other end. The u are standard
    uncertainties of the source; they shift all edges together. `assumed`: no source was learned, the ohms only space
    the loads.
    """

    open_reading: float = 1.0
    far_reading: float = 0.0
    source_ohm: float = ASSUMED_OHM
    u_open: float = 0.0
    u_source_ohm: float = 0.0
    assumed: bool = True

    def reading(self, ohm: float) -> float:
        """Share of full scale with this load on the pin."""
        if ohm == INF:
            return self.open_reading
        return (self.open_reading * ohm + self.far_reading * self.source_ohm) / (ohm + self.source_ohm)

    def ohm_at(self, reading: float) -> float:
        """The load that gives a reading; 0 or infinite beyond the ends."""
        share = (reading - self.far_reading) / (self.open_reading - self.far_reading)
        if share <= 0.0:
            return 0.0
        return INF if share >= 1.0 else self.source_ohm * share / (1.0 - share)

    def common_u(self, ohm: float) -> float:
        """Standard uncertainty of a reading that comes from the source, for all loads alike in sign."""
        share = 1.0 if ohm == INF else ohm / (ohm + self.source_ohm)
        slope = (self.open_reading - self.far_reading) * share * (1.0 - share) / self.source_ohm
        return float(((share * self.u_open) ** 2 + (slope * self.u_source_ohm) ** 2) ** 0.5)


def scale_of(source: Source, divisor_v: float, *, feed_v: float = 0.0) -> Scale:
    """The reading space of a learned source. `divisor_v` is what full scale is in volts. [V]"""
    if not source.is_resistor or source.ohm == INF:
        rest = max(source.volts_v, 0.0) / divisor_v
        ohm = min(max(source.ohm, LEAST_SPACING_OHM), MOST_SPACING_OHM) if source.ohm < INF else ASSUMED_OHM
        if feed_v > 0.0:
            return Scale(min(rest, 0.5), max(feed_v / divisor_v, 1.0), ohm)
        return Scale(rest if rest > 0.0 else 1.0, 0.0, ohm)
    return Scale(
        source.volts_v / divisor_v, feed_v / divisor_v, source.ohm, source.u_volts_v / divisor_v, source.u_ohm, False
    )


@dataclass(frozen=True)
class Visit:
    """One reading. `low_ohm` and `high_ohm` bound loads that are not made of stock. `aside`: not used any more.

    `turn` belongs to the potentiometer: 1 the meaning just changed, 2 just before it does, 3 the end was reached.
    """

    meaning: str
    direction: Direction
    join: Join
    parts: tuple[int, ...] = ()
    ohm: float = INF
    low_ohm: float = INF
    high_ohm: float = INF
    via_ohm: tuple[float, ...] = ()
    key_cycle: bool = False
    aside: bool = False
    turn: int = 0
    test: str = ""  # "latch": a reading for latching alone; "again": a repeat


@dataclass(frozen=True)
class Step:
    """What to do next; docs/learn.md tells each field."""

    kind: Literal["load", "measure", "pot"]
    ohm: float
    why: str
    direction: Direction = "none"
    join: Join = "single"
    parts: tuple[int, ...] = ()
    low_ohm: float = INF
    high_ohm: float = INF
    via_ohm: tuple[float, ...] = ()
    key_cycle: bool = False
    optional: bool = False
    turn: int = 0
    from_meaning: str = ""
    test: str = ""


@dataclass(frozen=True)
class Observation:
    """What was seen: the meaning; for `measure` and `pot` also the ohms read and their half-width. [Ω]

    `meaning` None (or `ohm` None where a part is measured): don't know. `at_end` True: the potentiometer was turned
    to its end and the meaning did not change.
    """

    meaning: str | None = None
    ohm: float | None = None
    reach_ohm: float = 0.0
    at_end: bool = False


@dataclass(frozen=True)
class State:
    """A search for edges. All numbers that were read; `pinproof.learn.edges` derives the rest."""

    side: Side
    scale: Scale
    stock: tuple[Part, ...]
    least_ohm: float = 0.0
    resolution: float = 0.01
    hidden: float = 0.05
    accepted: float = 0.0
    method: Literal["stock", "pot"] = "stock"
    both_ways: bool = True
    faults: tuple[str, ...] = ()
    expected: tuple[str, ...] = ()
    visits: tuple[Visit, ...] = ()
    measured: tuple[tuple[int, float, float], ...] = ()
    latching: tuple[str, ...] = ()
    steady: tuple[str, ...] = ()
    rest_latches: bool = False
    skipped: tuple[tuple[float, str], ...] = ()
    asked: tuple[int, ...] = ()

    @property
    def main(self) -> Direction:
        """The direction from which a load comes that is simply plugged on."""
        if self.rest_latches:
            return "none"
        return "falling" if self.side == "ground" else "rising"

    @property
    def known(self) -> Mapping[int, tuple[float, float]]:
        """Parts that were measured: ohms and half-width."""
        return {index: (ohm, reach) for index, ohm, reach in self.measured}

    def bounds(self, visit: Visit) -> tuple[float, float, float]:
        """Least, nominal and greatest ohms of a visit's load, with what is known of its parts now. [Ω]"""
        if visit.parts:
            return bounds_of(visit.parts, visit.join, self.stock, self.known)
        return visit.low_ohm, visit.ohm, visit.high_ohm

    @cached_property
    def memo(self) -> dict[Any, Any]:
        """What was derived from this state already; a state never changes, so it holds."""
        return {}

    def place(self, visit: Visit) -> float:
        """Its nominal reading, share of full scale."""
        return self.span(visit)[1]

    def span(self, visit: Visit) -> tuple[float, float, float]:
        """Least, nominal and greatest reading of a visit, its own load's tolerance considered. Share of full scale."""
        kept = self.memo.get(id(visit))
        if kept is None or kept[0] is not visit:
            low, mid, high = (self.scale.reading(ohm) for ohm in self.bounds(visit))
            kept = self.memo[id(visit)] = (visit, (min(low, high), mid, max(low, high)))
        found: tuple[float, float, float] = kept[1]
        return found

    @property
    def readings(self) -> int:
        """How many readings were taken, set aside or not."""
        return len(self.visits)


def begin(
    side: Side = "ground",
    scale: Scale | None = None,
    *,
    stock: Iterable[Part] | None = None,
    least_ohm: float = 0.0,
    resolution: float = 0.01,
    hidden: float = 0.05,
    method: Literal["stock", "pot"] = "stock",
    both_ways: bool = True,
    faults: Iterable[str] = (),
    expected: Iterable[str] = (),
) -> State:
    """A search with nothing read yet.

    Parameters
    ----------
    side : {"ground", "supply"}
        Where the load's other end goes.
    scale : Scale, optional
        From `scale_of`; without it 1 kΩ is assumed to space the loads.
    stock : iterable of Part, optional
        Own resistors; E12, 1 %, one of each, where not told.
    least_ohm : float
        From `least_load_ohm`. [Ω]
    resolution, hidden : float
        Wanted width of a bracket; widest stretch between equal meanings that is left unvisited. Shares of full scale.
    faults, expected : iterable of str
        Meanings that are faults; meanings that the design needs.
    """
    if not 0.0 < resolution < 0.5 or not resolution <= hidden <= 1.0:
        raise LearnFault("resolution", "It must lie above 0 and below 50 %, and no wider than the unvisited stretches.")
    if least_ohm < 0.0:
        raise LearnFault("least load", "A load has 0 ohms or more.")
    return State(
        side,
        scale or (Scale() if side == "ground" else Scale(0.0, 1.0)),
        tuple(stock) if stock is not None else e12_stock(),
        least_ohm,
        resolution,
        hidden,
        0.0,
        method,
        both_ways,
        tuple(faults),
        tuple(expected),
    )


def accept(state: State, widest: float) -> State:
    """The user takes unvisited stretches between equal meanings, up to this width, as that meaning."""
    return replace(state, accepted=widest)


# JSON: infinite ohms are written null; nothing else in a state is ever empty


def to_json(state: State) -> dict[str, Any]:
    """A plain tree for `json.dumps`; exact."""
    return {"format": FORMAT, **plain_tree(asdict(state))}


def plain_tree(node: Any) -> Any:
    """Lists and mappings as JSON has them, infinite numbers as null."""
    if isinstance(node, dict):
        return {key: plain_tree(each) for key, each in node.items()}
    if isinstance(node, list | tuple):
        return [plain_tree(each) for each in node]
    return None if isinstance(node, float) and node == INF else node


def read_tree(node: Any) -> Any:
    """The same back: lists as tuples, null as infinite."""
    if isinstance(node, dict):
        return {key: read_tree(each) for key, each in node.items()}
    if isinstance(node, list):
        return tuple(read_tree(each) for each in node)
    return INF if node is None else node


def from_json(tree: Any) -> State:
    """The state in a tree that `to_json` gave.

    Raises
    ------
    LearnFault
        The tree is of another program or damaged.
    """
    try:
        if tree["format"] != FORMAT:
            raise LearnFault("session", f"It has format {tree['format']!r}; this program reads format {FORMAT}.")
        given = {key: read_tree(each) for key, each in tree.items() if key != "format"}
        given["scale"] = made_of(Scale, given["scale"])
        given["stock"] = tuple(made_of(Part, each) for each in given["stock"])
        given["visits"] = tuple(made_of(Visit, each) for each in given["visits"])
        state = made_of(State, given)
        for visit in state.visits:
            state.bounds(visit)
        return state
    except (KeyError, IndexError, TypeError, ValueError, AttributeError) as error:
        raise LearnFault("session", f"It is not a session of this program, or damaged ({error}).") from None
