"""What may be wrong with one line: each electrical change, the mechanisms that lead to it, and the class it shows as.

Answers: which changes of the circuit are weighed against each other, with which severities, under which name.
Units:   ohms; shares of 1.
Touches: nothing.
Beside:  `pinproof.faults` lists the single faults and says what each does to the circuit; docs/find.md holds the table.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from pinproof.design.model import Line, Truck
from pinproof.faults import Fault, sites
from pinproof.faults.circuit import Change, change_of
from pinproof.faults.sites import whole_view
from pinproof.find.weights import LEAST_UNLISTED, SOUND, UNLISTED
from pinproof.proof.situations import Situation, requirement, situations_of
from pinproof.wiring import LineView
from pinproof.wiring.elements import pin_node

How = Literal["hard", "set", "added", "times", "blown", "setting", "pin open", "pin leak", "sound", "unlisted"]
"""What the severity does: nothing, replaces a resistance, is added to it, multiplies it. A "blown" fuse is out of the
circuit while ohms are read from its load side; it opens the source wire under power, and where it is measured."""

NOT_LISTED = "not listed"
"""The class of every cause that is not on the list."""


@dataclass(frozen=True)
class Mechanism:
    """One way to get there: its share of all causes, and its severities (log-uniform between the two). [Ω] or factor"""

    cause: str
    share: float
    low: float = 1.0
    high: float = 1.0


@dataclass(frozen=True)
class Hypothesis:
    """One change of the circuit. `name` is its class. `branch` is the part that `added` and `times` act on.

    `rests_closed`: it sits at a contact that opens while operated.
    """

    key: str
    name: str
    how: How
    change: Change = field(default_factory=Change)
    branch: str = ""
    situation: str = ""
    places: frozenset[str] = frozenset()
    mechanisms: tuple[Mechanism, ...] = ()
    rests_closed: bool = False

    @property
    def share(self) -> float:
        """Probability before anything was looked at."""
        return math.fsum(each.share for each in self.mechanisms)

    @property
    def has_severity(self) -> bool:
        """A number belongs to it."""
        return self.how in ("set", "added", "times", "pin leak")


_Part = tuple[float, How, Fault, float, float]


@dataclass(frozen=True)
class _Seat:
    """A place of a cause: fractions of the place's share, each with what it does."""

    parts: tuple[_Part, ...]


TOO_LARGE, TOO_SMALL = (1.05, 3.0), (1.0 / 3.0, 0.95)
"""A wrong resistor that is no decade off is between these times its nominal."""


def looked_at(truck: Truck, line: Line) -> tuple[Situation, ...]:
    """Nothing operated, and every situation that must read one meaning in key state run."""
    found = []
    for situation in situations_of(truck, line):
        need = requirement(truck, line, situation, "run")
        if not situation.operated or (need.how == "inside" and need.means):
            found.append(situation)
    return tuple(found)


def hypotheses(view: LineView, weights: Mapping[str, float], worked_on: Mapping[str, float] | None = None,
               worked_places: frozenset[str] = frozenset()) -> tuple[Hypothesis, ...]:  # fmt: skip
    """Everything that is weighed, with shares that add up to 1.

    Parameters
    ----------
    view : LineView
    weights : mapping of cause to per cent
    worked_on : mapping of cause to per cent, optional
        Weights for `worked_places` (design paths, device or station ids): somebody has just been at work there.
    """
    whole = whole_view(view)
    collected = _collect(whole, weights)
    if worked_on and worked_places:
        fresh = _collect(whole, worked_on)
        for key, entry in collected.items():
            if key in fresh and entry.places & worked_places:
                collected[key] = fresh[key]
    total = math.fsum(each.share for each in collected.values())
    unlisted = next((each for each in collected.values() if each.how == "unlisted"), None)
    scaled = []
    kept = total - (unlisted.share if unlisted else 0.0)
    share = max((unlisted.share if unlisted else 0.0) / total, LEAST_UNLISTED)
    for each in collected.values():
        factor = share / each.share if each.how == "unlisted" and each.share else (1.0 - share) / kept
        scaled.append(_scaled(each, factor))
    if unlisted is None or not unlisted.share:
        scaled = [each for each in scaled if each.how != "unlisted"]
        scaled.append(Hypothesis("unlisted", NOT_LISTED, "unlisted", mechanisms=(Mechanism(UNLISTED, share),)))
    return tuple(each for each in scaled if each.share > 0.0)


def _scaled(each: Hypothesis, factor: float) -> Hypothesis:
    mechanisms = tuple(Mechanism(m.cause, m.share * factor, m.low, m.high) for m in each.mechanisms)
    return replace(each, mechanisms=mechanisms)


def _collect(view: LineView, weights: Mapping[str, float]) -> dict[str, Hypothesis]:
    found: dict[str, Hypothesis] = {}

    def put(new: Hypothesis) -> None:
        old = found.get(new.key)
        found[new.key] = new if old is None else replace(old, mechanisms=old.mechanisms + new.mechanisms)

    seats = _seats(view)
    for cause, weight in weights.items():
        if weight <= 0.0:
            continue
        if cause == UNLISTED:
            put(Hypothesis("unlisted", NOT_LISTED, "unlisted", mechanisms=(Mechanism(cause, weight),)))
        elif cause == SOUND:
            put(Hypothesis("sound", "line sound", "sound", mechanisms=(Mechanism(cause, weight),)))
        elif cause == "setting or lever code":
            for each in _settings(view, weight):
                put(each)
        elif cause == "controller pin damaged":
            half = weight / 2.0
            put(Hypothesis("pin open", "controller pin", "pin open", mechanisms=(Mechanism(cause, half),)))
            leak = Mechanism(cause, half, 10.0, 10e3)
            put(Hypothesis("pin leak", "controller pin", "pin leak", mechanisms=(leak,)))
        else:
            there = seats.get(cause, [])
            for seat in there:
                for fraction, how, fault, low, high in seat.parts:
                    share = weight / len(there) * fraction
                    put(_electrical(view, how, fault, Mechanism(cause, share, low, high)))
    return found


def _electrical(view: LineView, how: How, fault: Fault, mechanism: Mechanism) -> Hypothesis:
    branch = fault.site if how in ("added", "times") else ""
    side = ("up" if mechanism.low >= 1.0 else "down") if how == "times" else ""
    key = " ".join(part for part in (how if how != "set" else "", side, fault.id) if part)
    change = Change((fault,)) if branch or how == "blown" else change_of(view, fault)
    resting = {each.path for each in view.truck.contacts_of(view.line) if each.kind == "normally closed"}
    return Hypothesis(
        key, class_of(view, fault, side), how, change, branch, "", places_of(view, fault), (mechanism,),
        fault.site.removesuffix(".resistor") in resting,
    )  # fmt: skip


def _settings(view: LineView, weight: float) -> Iterator[Hypothesis]:
    if not (view.line.windows or view.line.targets):
        return
    required = looked_at(view.truck, view.line)
    for situation in required:
        word = situation_word(situation)
        share = Mechanism("setting or lever code", weight / len(required))
        yield Hypothesis(f"setting {word}", "setting", "setting", situation=word, mechanisms=(share,))


def situation_word(situation: Situation) -> str:
    """A situation in the words of docs/find.md."""
    return "+".join(situation.operated) or "idle"


# ---------------------------------------------------------------- where each cause can sit


def _seats(view: LineView) -> dict[str, list[_Seat]]:
    line = view.line
    by_kind: dict[str, list[Fault]] = {}
    for fault in sites(view):
        by_kind.setdefault(fault.kind, []).append(fault)
    find = {(each.site, each.kind): each for each in sites(view)}
    resistors = by_kind.get("drifted", [])
    choosable = [each for each in resistors if not _is_fixed(view, each.site)]
    contacts = by_kind.get("stuck-open", [])
    wires = by_kind.get("resistive", [])
    source = [each for each in wires if line.source_wire is not None and each.site == line.source_wire.path]
    to_ground, to_supply = by_kind.get("chafed-to-ground", []), by_kind.get("chafed-to-supply", [])

    stations = [each for each in by_kind.get("unplugged", []) if _is_shared(view, each)]

    def hard(each: Fault) -> _Seat:
        return _Seat(((1.0, "hard", each, 1.0, 1.0),))

    def no_feed(each: Fault) -> _Seat:
        if not line.is_fused:
            return hard(each)
        return _Seat(((0.5, "hard", each, 1.0, 1.0), (0.5, "blown", each, 1.0, 1.0)))

    def soft(each: Fault, low: float, high: float) -> _Seat:
        return _Seat(((1.0, "set", each, low, high),))

    def conductors(opened: float, low: float, high: float) -> list[_Seat]:
        def seat(gone: Fault, poor: Fault) -> _Seat:
            parts: list[_Part] = [(opened, "hard", gone, 1.0, 1.0), (1.0 - opened, "set", poor, low, high)]
            return _Seat(tuple(part for part in parts if part[0] > 0.0))

        out = []
        for each in wires:
            out.append(seat(find[each.site, "open"], each))
        for each in contacts:
            out.append(seat(each, find[each.site, "worn"]))
        return out

    span_up, span_down = (math.log(high / low) for low, high in (TOO_LARGE, TOO_SMALL))
    share_up = span_up / (span_up + span_down)
    chafes = lambda faults: [  # noqa: E731
        _Seat(((0.5, "set", each, 0.1, 10.0), (0.5, "set", each, 10.0, 1e3))) for each in faults
    ]
    return {
        "wrong cavity or swapped wire": [hard(each) for each in by_kind.get("swapped", [])],
        "terminal not seated": [*conductors(0.5, 0.1, 100e3), *(hard(each) for each in stations)],
        "wrong resistor": [
            _Seat((
                (1 / 3, "hard", find[each.site, "decade-low"], 1.0, 1.0),
                (1 / 3, "hard", find[each.site, "decade-high"], 1.0, 1.0),
                (share_up / 3, "times", each, *TOO_LARGE),
                ((1.0 - share_up) / 3, "times", each, *TOO_SMALL),
            ))
            for each in choosable
        ],
        "bad crimp": conductors(0.25, 1.0, 10e3),
        "ground or reference": [soft(each, 1.0, 1e3) for each in source if line.source_side != "feed"],
        "cold solder": [
            _Seat(((0.5, "hard", find[each.site, "open"], 1.0, 1.0), (0.5, "added", each, 1.0, 1e6)))
            for each in resistors
        ],
        "supply or fuse": [no_feed(find[each.site, "open"]) for each in source if line.source_side == "feed"],
        "chafe to ground": chafes(to_ground),
        "chafe to supply": chafes(to_supply),
        "switch contact": [
            _Seat(((0.5, "hard", each, 1.0, 1.0), (0.5, "set", find[each.site, "worn"], 10.0, 100e3)))
            for each in contacts
        ],
        "switch stuck": [hard(each) for each in by_kind.get("stuck-closed", [])],
        "wrong throw": [hard(each) for each in by_kind.get("wrong-throw", [])],
        "fretting or contact growth": conductors(0.0, 1.0, 10e3),
        "broken conductor at a flexing place": [*conductors(1.0, 1.0, 1.0), *(hard(each) for each in stations)],
        "pin-to-pin leak": [
            _Seat(((1.0, "set", each, 56.0, 2e6),))
            for each in (*(f for f in (*to_ground, *to_supply) if f.nodes != ("source",)), *by_kind.get("bridged", []))
        ],
    }  # fmt: skip


def _is_shared(view: LineView, fault: Fault) -> bool:
    """Whether a station holds several contacts that one wire or plug can take away, and not a part of a chain."""
    station = fault.site.removeprefix("station.")
    contacts = view.truck.contacts_of(view.line)
    return view.line.form != "ladder" and 1 < sum(each.station == station for each in contacts) < len(contacts)


def _is_fixed(view: LineView, site: str) -> bool:
    return any(each.id == site and each.resistor is not None and each.resistor.fixed for each in view.branches)


# ---------------------------------------------------------------- names


def class_of(view: LineView, fault: Fault, side: str = "") -> str:
    """The class that a fault shows as; `side` says whether a drifted resistor is "up" or "down"."""
    line, site = view.line, fault.site
    kind = fault.kind
    if kind in ("chafed-to-ground", "chafed-to-supply"):
        node = "pin or far" if fault.nodes[0] in ("pin", "far") and line.form != "elements" else fault.nodes[0]
        return f"{node} to {'ground' if kind == 'chafed-to-ground' else 'supply'}"
    if kind == "bridged":
        return f"{fault.nodes[0]} and {fault.nodes[1]} bridged"
    if kind == "swapped":
        return f"{_short(site)} and {_short(fault.detail)} swapped"
    if kind == "unplugged":
        return f"{site} unplugged"
    if kind == "stuck-closed":
        return f"branch {_short(site)} always on"
    if kind == "wrong-throw":
        return f"branch {_short(site)} wrong throw"
    high = kind in ("open", "stuck-open", "worn", "resistive", "decade-high") or (kind == "drifted" and side != "down")
    word = "high" if high else "low"
    if line.wire is not None and site == line.wire.path:
        return f"wire {word}"
    if line.source_wire is not None and site == line.source_wire.path:
        return f"source {word}"
    if site.startswith("contact."):
        return f"branch {_short(site)} {word}"
    return (
        f"{site.rpartition('.')[2].removesuffix('_resistor')} {word}" if ".element." not in site else f"{site} {word}"
    )


def _short(path: str) -> str:
    return path.removeprefix("contact.").removesuffix(".resistor")


def places_of(view: LineView, fault: Fault) -> frozenset[str]:
    """Everything by which an owner may call the place of a fault: paths, contacts, devices, stations, nodes."""
    found = {fault.site, *fault.nodes, *([fault.detail] if fault.detail else [])}
    station = fault.site.removeprefix("station.") if fault.kind == "unplugged" else ""
    for contact in view.truck.contacts_of(view.line):
        if station and contact.station == station:
            found |= {station, contact.id, contact.device}
        marks = {contact.path, contact.id, f"contact {contact.id}", f"{contact.path}.resistor"}
        if found & marks:
            found |= {contact.id, contact.device, *([contact.station] if contact.station else [])}
    return frozenset(found)


def pin_leak_nodes(view: LineView) -> tuple[str, str]:
    """Ends of the resistance inside a damaged controller."""
    return pin_node(view.line.input), "ground"
