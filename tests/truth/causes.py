"""The causes of one line with their weights, read from the page on finding, and the classes they form.

Readings of the specification
- A branch is every contact of the line, also one without a resistor of its own and the enable contact.
- Form `elements`: its elements of kind "wire" stand for coded and source wire; class `w1 high` by the element's id. A
  contact's branch goes by the contact's id, a resistor by its element's id. It has no source wire, so "ground or
  reference" and "supply or fuse" have no place there.
- Supply-fed is a line whose source side is the feed; a divider is not. It is fed by the battery where `feed_from` is
  "battery"; a feed from the reference has no fuse. The blown fuse is a kind of its own, as it does not show in ohms;
  its class is that of the open source wire, `source high`.
- Station of several contacts: two or more of *this line's* contacts name it, and not all of the line's (the enable
  contact counts). It is one place beside the wires and the branches, and all of that place's share is `unplugged`. In
  form `elements` it takes the contacts only, as the page on faults says. A contact that names no station is in none.
- Pin-to-pin leak: the places are each node to ground, each node to supply and each pair of nodes.
- Nodes are named as the checker's circuit names them: `pin`, `far`, `source`, `manual`, `~C` between contact C and its
  resistor, `n1` ... in a ladder, own nodes of form `elements`. Without a far end the class is `pin to ground`.
- Not within 5 %: the severity s over the nominal R with |s/R - 1| > 0.05, log-uniform over what is left.
- "Not on this list" is raised to 1 % after the rest was scaled, and the rest lowered to make room.
- All coder resistors of the generated trucks may be a wrong one: none is marked fixed (see `playing.file_text`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from tests.truth.faults import Fault, branch_nodes, coder_resistors, single_faults
from tests.truth.truck import Line, Truck, exact

COLUMNS = ("new build", "in service")
WEIGHTS: dict[str, tuple[float, float]] = {  # per cent: new build, in service
    "wrong cavity or swapped wire": (22, 1),
    "terminal not seated": (15, 7),
    "wrong resistor": (12, 2),
    "bad crimp": (10, 11),
    "ground or reference": (8, 5),
    "setting or lever code": (8, 2),
    "cold solder": (6, 6),
    "supply or fuse": (5, 3),
    "chafe to ground": (3, 8),
    "chafe to supply": (1, 2),
    "switch contact": (3, 14),
    "switch stuck": (2, 4),
    "wrong throw": (2, 0.2),
    "fretting or contact growth": (2, 18),
    "broken conductor at a flexing place": (2, 11),
    "pin-to-pin leak": (1, 5),
    "controller pin damaged": (0.3, 1),
    "nothing wrong on this line": (2, 2),
    "not on this list": (2, 2),
}
LEAST_NOT_LISTED = 0.01
NO_PULL, PIN_LOAD = "no pull inside", "load inside"  # kinds of the controller's own faults
BLOWN_FUSE = "blown fuse"  # kind of the source wire: open under power and end to end, not from the fuse's load side
SOUND, SETTING, NOT_LISTED, CONTROLLER_PIN = "line sound", "setting", "not listed", "controller pin"


@dataclass(frozen=True)
class Severity:
    """`base_ohm` plus a log-uniform number between `low_ohm` and `high_ohm`."""

    low_ohm: float
    high_ohm: float
    base_ohm: float = 0.0

    def at(self, u: float) -> float:
        """The ohms at quantile `u`."""
        return self.base_ohm + self.low_ohm * (self.high_ohm / self.low_ohm) ** u


@dataclass(frozen=True)
class Cause:
    """`fault`: None where the circuit is sound, or (not on this list) unknown."""

    mechanism: str
    class_name: str
    fault: Fault | None
    severity: Severity | None
    probability: float

    @property
    def label(self) -> str:
        at = "" if self.fault is None else f" ({self.fault.label})"
        return f"{self.mechanism}{at}"


@dataclass(frozen=True)
class _Way:
    """One fault at a place and its share of that place's weight."""

    share: float
    class_name: str
    fault: Fault | None
    severity: Severity | None = None


_Places = list[list[_Way]]


def _name(line: Line, fault: Fault) -> str:
    """The class of a listed fault that is not a drift."""
    here = f"line.{line.id}."
    if fault.kind.startswith("chafed-to-"):
        (node,) = fault.detail
        where = "pin or far" if node in ("pin", "far") and line.form != "elements" else node
        return f"{where} to {fault.kind.removeprefix('chafed-to-')}"
    if fault.kind == "bridged":
        return f"{fault.detail[0]} and {fault.detail[1]} bridged"
    if fault.kind == "swapped":
        return f"{fault.site.removeprefix('contact.')} and {fault.detail[0]} swapped"
    if fault.kind == "unplugged":
        return f"station.{fault.detail[0]} unplugged"
    kind = {"stuck-closed": "always on", "wrong-throw": "wrong throw", "decade-low": "low"}.get(fault.kind, "high")
    if fault.site.startswith("contact."):
        return f"branch {fault.site.split('.')[1]} {kind}"
    part = fault.site.removeprefix(here).removeprefix("element.")
    return f"{part.removesuffix('_resistor').removesuffix('_wire')} {kind}"


def wide_stations(truck: Truck, line: Line) -> list[str]:
    """Stations of two contacts of the line or more, but not of all of them. None in a ladder."""
    if line.form == "ladder":
        return []
    named = [c.station for c in truck.contacts_of(line.id)]
    return [s for s in dict.fromkeys(named) if s is not None and 2 <= named.count(s) < len(named)]


def _cells(truck: Truck, line: Line) -> Iterator[tuple[str, _Places]]:
    """Mechanism and its places."""
    listed = {(f.site, f.kind, f.detail): f for f in single_faults(truck, line.id)}
    of_kind = {k: [f for f in listed.values() if f.kind == k] for k in {f.kind for f in listed.values()}}

    def way(share: float, site: str, kind: str, severity: Severity | None = None, name: str | None = None) -> _Way:
        fault = listed[(site, kind, ())]
        return _Way(share, name or _name(line, fault), fault, severity)

    if line.form == "elements":
        wires = [f"line.{line.id}.element.{e.id}" for e in line.elements if e.kind == "wire"]
        nodes = branch_nodes(truck, line)
        leaky = nodes
    else:
        wires = [f"line.{line.id}.wire", f"line.{line.id}.source_wire"]
        inner = branch_nodes(truck, line)
        nodes, leaky = ["pin", "far", "source", *inner], ["pin", "far", *inner]
    source = [w for w in wires if w.endswith(".source_wire")]
    fed = line.source_rail == "feed"
    contacts = [f"contact.{c.id}" for c in truck.contacts_of(line.id)]
    parts = {path: float(exact(part.ohm)) for path, part in coder_resistors(truck, line).items()}

    def series_places(open_share: float, low: float, high: float) -> _Places:
        """Coded wire, source wire, each branch: open, or in series with `low` to `high` ohm."""
        out = []
        for site in wires + contacts:
            hard, soft = ("stuck-open", "worn") if site in contacts else ("open", "resistive")
            both = [way(open_share, site, hard), way(1 - open_share, site, soft, Severity(low, high))]
            out.append([w for w in both if w.share > 0])
        return out

    here = f"line.{line.id}"
    apart = [listed[(here, "unplugged", (station,))] for station in wide_stations(truck, line)]
    stations: _Places = [[_Way(1.0, _name(line, f), f)] for f in apart]

    def drifts(site: str, share: float, laws: list[tuple[float, Severity]]) -> list[_Way]:
        fault = listed[(site, "drifted", ())]
        stem = _name(line, fault).removesuffix(" high")
        nominal = parts[site]
        return [_Way(share * p, f"{stem} {'high' if law.at(0.5) > nominal else 'low'}", fault, law) for p, law in laws]

    def node_ways(kind: str, node: str, share: float, low: float, high: float) -> _Way:
        fault = listed[(f"line.{line.id}", kind, (node,))]
        return _Way(share, _name(line, fault), fault, Severity(low, high))

    yield (
        "wrong cavity or swapped wire",
        [[_Way(1.0, _name(line, f), f)] for f in of_kind.get("swapped", [])],
    )
    yield "terminal not seated", series_places(0.5, 0.1, 100e3) + stations
    down, up = math.log(0.95 * 3), math.log(3 / 1.05)
    wrong, cold = [], []
    for site, ohm in parts.items():
        laws = [
            (down / (down + up), Severity(ohm / 3, ohm * 0.95)),
            (up / (down + up), Severity(ohm * 1.05, ohm * 3)),
        ]
        decades = [way(1 / 3, site, "decade-low"), way(1 / 3, site, "decade-high")]
        wrong.append(decades + drifts(site, 1 / 3, laws))
        cold.append([way(0.5, site, "open"), *drifts(site, 0.5, [(1.0, Severity(1.0, 1e6, ohm))])])
    yield "wrong resistor", wrong
    yield "bad crimp", series_places(0.25, 1.0, 10e3)
    yield "ground or reference", [[way(1.0, w, "resistive", Severity(1.0, 1e3))] for w in source if not fed]
    yield "setting or lever code", [[_Way(1.0, SETTING, None)]]
    yield "cold solder", cold
    fused = line.feed_from == "battery"
    feeds: _Places = [[way(0.5 if fused else 1.0, w, "open")] for w in source if fed]
    if fused:
        for w, ways in zip(source, feeds, strict=False):
            ways.append(_Way(0.5, ways[0].class_name, Fault(w, BLOWN_FUSE, False)))
    yield "supply or fuse", feeds
    for rail in ("ground", "supply"):
        kind = f"chafed-to-{rail}"
        yield (
            f"chafe to {rail}",
            [[node_ways(kind, n, 0.5, 0.1, 10), node_ways(kind, n, 0.5, 10, 1e3)] for n in nodes],
        )
    yield (
        "switch contact",
        [[way(0.5, c, "stuck-open"), way(0.5, c, "worn", Severity(10, 100e3))] for c in contacts],
    )
    yield "switch stuck", [[way(1.0, c, "stuck-closed")] for c in contacts]
    yield "wrong throw", [[way(1.0, c, "wrong-throw")] for c in contacts]
    yield "fretting or contact growth", series_places(0.0, 1.0, 10e3)
    broken = [[replace(p[0], share=1.0)] for p in series_places(0.5, 1.0, 2.0)]
    yield "broken conductor at a flexing place", broken + stations
    leaks = [[node_ways(f"chafed-to-{r}", n, 1.0, 56.0, 2e6)] for n in leaky for r in ("ground", "supply")]
    leaks += [[_Way(1.0, _name(line, f), f, Severity(56.0, 2e6))] for f in of_kind.get("bridged", [])]
    yield "pin-to-pin leak", leaks
    site = f"input.{line.input}"
    yield (
        "controller pin damaged",
        [
            [
                _Way(0.5, CONTROLLER_PIN, Fault(site, NO_PULL, False)),
                _Way(0.5, CONTROLLER_PIN, Fault(site, PIN_LOAD, True), Severity(10, 10e3)),
            ]
        ],
    )
    yield "nothing wrong on this line", [[_Way(1.0, SOUND, None)]]
    yield "not on this list", [[_Way(1.0, NOT_LISTED, None)]]


def causes_of(truck: Truck, line_id: str, column: str = "in service") -> list[Cause]:
    """Every cause of the line; their probabilities add up to 1. ValueError for an unknown column."""
    place_in = COLUMNS.index(column)
    line = truck.line(line_id)
    out: list[Cause] = []
    for mechanism, places in _cells(truck, line):
        for ways in places:
            for w in ways:
                weight = WEIGHTS[mechanism][place_in] / len(places) * w.share
                out.append(Cause(mechanism, w.class_name, w.fault, w.severity, weight))
    total = sum(c.probability for c in out)
    unlisted = sum(c.probability for c in out if c.class_name == NOT_LISTED) / total
    raised = max(unlisted, LEAST_NOT_LISTED)
    rest = (1 - raised) / (total * (1 - unlisted))
    return [replace(c, probability=raised if c.class_name == NOT_LISTED else c.probability * rest) for c in out]
