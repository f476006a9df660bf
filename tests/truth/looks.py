"""What can be looked at on one line, by the ids of the page on finding, and what the controller makes of a reading.

Readings of the specification
- A situation must read one meaning by rules 1 to 4 of the design file, with the key at run; "nothing operated" is
  looked at even where rule 1 leaves it free.
- Each window edge lies anywhere between its least and greatest possible position (uncertainty and error of the input),
  uniformly, independent of the others, the same in all readings of one truck.
- A fault window is a meaning like the others ("open", "shorted"); `invalid` is outside all windows. In a fault window
  each report by itself is `invalid` with probability `AS_INVALID`, also one taken again. A meaning of which any window
  is a fault window is a fault. The wrong meaning of a setting fault is reported as it was drawn.
- `source` has the fuse in, as under power; in all other looks at the unplugged plug it is out.
- Where return is the source side, `ohms` and `chassis` see the same two nodes; both can be read.
- `without T` exists for each station that a contact of the line names.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tests.truth.causes import Cause, causes_of
from tests.truth.faults import Fault
from tests.truth.judge import Win, reading_windows, requirement, situations
from tests.truth.networks import (
    CHASSIS,
    SEVERITIES,
    Array,
    Network,
    Part,
    Piece,
    line_pieces,
    network,
    part_of,
    passive,
    rails_of,
    sound_pieces,
    source_paths,
)
from tests.truth.physics import RAILS
from tests.truth.spans import spaces
from tests.truth.truck import INF, Line, Truck

INVALID, IDLE = "invalid", "idle"
POWERED = ("meaning", "volts")
AS_INVALID = 0.5  # share of the reports of a fault window that say `invalid`


@dataclass(frozen=True)
class Edges:
    """One window in reading space. Edges: (least, greatest possible position), or None. `centre` is nominal."""

    meaning: str
    low: tuple[float, float] | None
    high: tuple[float, float] | None
    centre: float

    @staticmethod
    def of(w: Win, full: float) -> Edges:
        low = None if w.low_large is None or w.low_small is None else (w.low_large.value, w.low_small.value)
        high = None if w.high_large is None or w.high_small is None else (w.high_small.value, w.high_large.value)
        ends = (w.low_nominal or 0, full if w.high_nominal is None else w.high_nominal)
        return Edges(
            w.meaning,
            None if low is None else (float(low[0]), float(low[1])),
            None if high is None else (float(high[0]), float(high[1])),
            (float(ends[0]) + float(ends[1])) / 2,
        )


class Looks:
    """One line: its situations, windows, parts and ids. ValueError where the controller's side is not known."""

    def __init__(self, truck: Truck, line_id: str) -> None:
        self.truck, self.line = truck, truck.line(line_id)
        line, pin = self.line, truck.input_of(self.line)
        if pin.compares == "unknown" or any(w.substitution for w in line.windows):
            raise ValueError(f"line {line_id}: what the input compares with is unknown, or edges move with the pull")
        (self.space,) = spaces(pin)
        self.full = float(self.space.full)
        wins = reading_windows(truck, line, self.space)
        self.windows = [Edges.of(w, self.full) for w in wins]
        self.meanings = tuple(dict.fromkeys(w.meaning for w in self.windows))
        self.faults = frozenset(w.meaning for w in wins if w.fault)
        order = [c.id for c in truck.contacts_of(line.id)]
        self.situations: dict[str, frozenset[str]] = {}
        self.right: dict[str, str | None] = {}  # the one meaning it must read
        for operated in situations(truck, line):
            need = requirement(truck, line, operated, "run").allowed
            must = next(iter(need)) if len(need) == 1 and INVALID not in need else None
            if must is None and operated:
                continue
            name = "+".join(c for c in order if c in operated) or IDLE
            self.situations[name], self.right[name] = operated, must
        self.sources = source_paths(truck, line)
        self._parts: dict[str, Part] = {}
        self._causes: dict[str, list[Cause]] = {}
        self._nets: dict[tuple[str, tuple[Fault, ...]], Network] = {}
        self._sound: dict[frozenset[str], tuple[Piece, ...]] = {}

    def sound_pieces(self, truck: Truck, line: Line, operated: frozenset[str]) -> tuple[Piece, ...]:
        if operated not in self._sound:
            self._sound[operated] = sound_pieces(truck, line, operated)
        return self._sound[operated]

    def causes(self, column: str) -> list[Cause]:
        if column not in self._causes:
            self._causes[column] = causes_of(self.truck, self.line.id, column)
        return self._causes[column]

    @property
    def required(self) -> list[str]:
        return [name for name, must in self.right.items() if must is not None]

    def part(self, path: str) -> Part:
        if path not in self._parts:
            self._parts[path] = part_of(self.truck, self.line, path)
        return self._parts[path]

    # ------------------------------------------------------------ ids

    def ids(self) -> tuple[str, ...]:
        """Every reading that this line has."""
        kinds = ["meaning"] if self.windows else []
        kinds.append("volts")
        diode = self.line.series_diode is not None
        if not diode:
            kinds += ["ohms", "chassis", "plus"]
        out = [f"{kind} {name}" for kind in kinds for name in self.situations]
        if diode:
            return tuple(out)
        if self.line.form != "elements":
            out += ["wire", "source"]
        stations = dict.fromkeys(c.station for c in self.truck.contacts_of(self.line.id) if c.station is not None)
        return (*out, *(f"without {s}" for s in stations))

    def _pieces(
        self, operated: frozenset[str], faults: Sequence[Fault], plugged: bool, without: str | None = None
    ) -> list[Piece]:
        found = line_pieces(self.truck, self.line, operated, faults, plugged, without, self.sound_pieces)
        return [p for p in found if p.part in ("", *SEVERITIES) or self.part(p.part).low < INF]

    def net(self, reading: str, faults: Sequence[Fault] = ()) -> Network:
        """The network that a reading looks into, made once. KeyError for an unknown id."""
        key = reading, tuple(faults)
        if key not in self._nets:
            self._nets[key] = self._net(reading, faults)
        return self._nets[key]

    def _net(self, reading: str, faults: Sequence[Fault]) -> Network:
        kind, _, which = reading.partition(" ")
        if kind in POWERED:
            pieces = self._pieces(self.situations[which], faults, True)
            return network(pieces, ("pin", *RAILS))
        if kind in ("wire", "source"):
            path = f"line.{self.line.id}.{'wire' if kind == 'wire' else 'source_wire'}"
            alone = [p for p in self._pieces(frozenset(), faults, True) if p.path == path]  # fuse in
            return network(alone, (alone[0].a, alone[0].b))
        without = which if kind == "without" else None
        operated = frozenset[str]() if without else self.situations[which]
        side = {"chassis": CHASSIS, "plus": "battery"}.get(kind) or (
            CHASSIS if self.line.source_rail == "return" else "feed"
        )
        pieces = self._pieces(operated, faults, False, without)
        return network(passive(pieces), ("pin", side))

    def rail_sources(self, nets: Iterable[Network]) -> set[str]:
        """Paths of the sources that the powered networks and the battery reading depend on."""
        out = {self.sources["supply"]}
        used = {n for net in nets for p in net.pieces for n in (p.a, p.b)} | {self.space.name}
        if used & {"return", CHASSIS}:
            out.add(self.sources["offset"])
        if "feed" in used:
            out.add(self.sources["drop"])
        if self.line.source_rail in used:
            out.add(self.sources["diode"])
        if "reference" in used or ("feed" in used and self.line.feed_from == "reference"):
            out.add(self.sources["reference"])
        return out

    def rails(self, values: Mapping[str, Array]) -> dict[str, Array]:
        sources = {short: values[path] for short, path in self.sources.items() if path in values}
        zero = np.zeros(())
        return rails_of(
            self.line, {**dict.fromkeys(self.sources, zero), **sources}
        )  # those that do not matter are left out

    def reading(self, pin_v: Array, rails: Mapping[str, Array]) -> Array:
        """What the controller divides and clips."""
        by = 1.0 if self.space.name == "volts" else rails[self.space.name]
        return np.clip(pin_v / by, 0.0, self.full)

    # ------------------------------------------------------------ meanings

    def meaning(self, reading: float, edges: Sequence[tuple[float | None, float | None]]) -> str:
        """With each window's edges as drawn. Where two overlap, the one with the nearer middle counts."""
        inside = [
            w
            for w, (low, high) in zip(self.windows, edges, strict=True)
            if (low is None or low <= reading) and (high is None or reading <= high)
        ]
        return min(inside, key=lambda w: abs(w.centre - reading)).meaning if inside else INVALID

    def reported(self, meaning: str, dice: float) -> str:
        """What is reported of a meaning. `dice`: uniform between 0 and 1."""
        return INVALID if meaning in self.faults and dice < AS_INVALID else meaning

    def meanings_probability(self, readings: Mapping[str, Array], seen: Mapping[str, str]) -> tuple[list[Array], Array]:
        """That the controller reports what was seen, over the possible edges: of each situation by itself, and of
        all together. `readings` and `seen` by situation.

        As windows do not overlap, `invalid` is: in no window that is no fault, and of each fault window either outside
        or, with `AS_INVALID`, inside; so what is seen is a product over the edges, which are independent."""
        bounds: dict[tuple[int, str], list[tuple[bool, Array]]] = {}  # edge -> (edge lies above?, reading)
        soft: dict[tuple[int, str], list[Array]] = {}  # edge -> readings; beyond them it counts less
        certain = np.ones(())
        single = []
        for name, said in seen.items():
            x = np.asarray(readings[name])
            own = [i for i, w in enumerate(self.windows) if w.meaning == said]
            chance = np.full(x.shape, 1 - AS_INVALID if said in self.faults else 1.0)
            certain = certain * (1 - AS_INVALID if said in self.faults else 1.0)
            if own and len(own) > 1:
                distance = np.stack([np.abs(x - self.windows[i].centre) for i in own])
                nearest = np.array(own)[distance.argmin(axis=0)]
            else:
                nearest = np.full(x.shape, own[0] if own else -1)
            for i, w in enumerate(self.windows):
                mine, left = nearest == i, x < w.centre
                if said == INVALID and w.meaning in self.faults:
                    for side, edge, here in (("low", w.low, left), ("high", w.high, ~left)):
                        if edge is None:  # surely inside
                            factor = np.where(here, AS_INVALID, 1.0)
                            chance, certain = chance * factor, certain * factor
                            continue
                        width = max(edge[1] - edge[0], 1e-12 * self.full)
                        above = np.clip((edge[1] - x) / width, 0.0, 1.0)
                        out = above if side == "low" else 1 - above
                        chance = chance * np.where(here, AS_INVALID + (1 - AS_INVALID) * out, 1.0)
                        soft.setdefault((i, side), []).append(np.where(here, x, -np.inf if side == "low" else np.inf))
                    continue
                if said == INVALID or not mine.all():
                    out = ~mine
                    if w.low is None:
                        chance = np.where(out & left, 0.0, chance)
                    if w.high is None:
                        chance = np.where(out & ~left, 0.0, chance)
                for side, edge, above_if_in in (("low", w.low, False), ("high", w.high, True)):
                    if edge is None:
                        continue
                    matters = mine | (left if side == "low" else ~left)
                    above = np.where(mine, above_if_in, side == "low")
                    width = max(edge[1] - edge[0], 1e-12 * self.full)
                    share = np.clip((edge[1] - x) / width, 0.0, 1.0)  # that the edge lies above
                    chance = chance * np.where(matters, np.where(above, share, 1 - share), 1.0)
                    rows = bounds.setdefault((i, side), [])
                    rows.append((True, np.where(matters & above, x, -np.inf)))
                    rows.append((False, np.where(matters & ~above, x, np.inf)))
            single.append(chance)
        joint = certain
        for i, side in dict.fromkeys([*bounds, *soft]):
            edge = self.windows[i].low if side == "low" else self.windows[i].high
            assert edge is not None
            rows, extra = bounds.get((i, side), []), soft.get((i, side), [])
            least, most = np.asarray(edge[0]), np.asarray(edge[1])
            for above, x in rows:
                least, most = (np.maximum(least, x), most) if above else (least, np.minimum(most, x))
            width = max(edge[1] - edge[0], 1e-12 * self.full)
            joint = joint * np.clip((most - least + 1e-12 * self.full) / width, 0.0, 1.0)
            if extra and side == "low":
                joint = joint * _mean_weight(least, most, extra)
            elif extra:
                joint = joint * _mean_weight(-most, -least, [-x for x in extra])
        for chance in single:
            joint = np.where(chance > 0, joint, 0.0)
        return single, joint


def _mean_weight(least: Array, most: Array, beyond: Sequence[Array]) -> Array:
    """Mean, over an edge uniform between `least` and `most`, of `AS_INVALID` once for each of `beyond` that it is not
    above. Where `most` is less than `least` it means nothing."""
    least, most, *xs = np.broadcast_arrays(least, most, *beyond)
    marks = np.concatenate([least[None], np.sort(np.clip(np.stack(xs), least, np.maximum(least, most)), 0), most[None]])
    powers = AS_INVALID ** np.arange(len(xs), -1, -1.0).reshape(-1, *[1] * least.ndim)
    span = most - least
    middle = (most + least) / 2
    there = np.prod([np.where(middle > x, 1.0, AS_INVALID) for x in xs], axis=0)
    return np.asarray(
        np.where(span > 0, (np.diff(marks, axis=0) * powers).sum(axis=0) / np.where(span > 0, span, 1.0), there)
    )


_KEPT: dict[tuple[int, str], Looks] = {}


def looks_of(truck: Truck, line_id: str) -> Looks:
    """Looks of the very same truck are made once (a truck cannot be a key: it holds a dictionary)."""
    key = id(truck), line_id
    if key not in _KEPT or _KEPT[key].truck is not truck:
        if len(_KEPT) > 200:
            _KEPT.clear()
        _KEPT[key] = Looks(truck, line_id)
    return _KEPT[key]
