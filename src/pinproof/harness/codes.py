"""Known-code plugs and the test socket: the pin commanded with no switches at all, and read in the cab.

Answers: which resistor in a spare plug makes the controller read one meaning, for certain; where can the pin be read
         in the cab?
Units:   Ω; readings in their own space (a ratio, or V).
Touches: nothing.
Beside:  `proof` judges each plug exactly as it judges the switches: worst case, every key state.
Sources: a plug for each code and a socket in the cab: common practice, no source.

A plug is proven as a line of its own: the contacts of the station that it replaces, and of those to be unplugged, are
gone; its resistor stands from the coded wire to the source wire, and with nothing operated that must read the meaning.
What cannot be unplugged stays, contacts at rest and the idle resistor too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pinproof.design.model import Contact, Line, Resistor, Truck
from pinproof.harness.results import Harness
from pinproof.observe.pin import nominal_readings
from pinproof.observe.space import spaces_of
from pinproof.observe.windows import windows_in
from pinproof.proof.judging import judge_line, unproven_reason
from pinproof.quantities.preferred import usual_tolerance, values_between
from pinproof.verdict import Verdict, worst
from pinproof.wiring import LineView, line_view

LEAST_OHM, MOST_OHM = 10.0, 1e6
SERIES = "E24"  # where the file names no series: what a shop in town has, at 1 % (common practice, no source)
TOLERANCE = 0.01
PATH = "idle_resistor"
SOCKET_FUSE_A = 1.0  # of a lead that only a meter hangs on: common practice, no source


@dataclass(frozen=True)
class CodePlug:
    """A plug that commands one meaning. `ohm` is None with a `reason` where none can be given."""

    line: str
    meaning: str
    plug: str  # whose mate on the harness takes it
    cavities: tuple[str, str]  # coded wire, source wire
    ohm: float | None
    low_ohm: float  # a new part of its tolerance
    high_ohm: float
    space: str  # of the reading
    nominal: float
    low: float
    high: float
    margin: float  # of half the window
    verdict: Verdict
    unplug: tuple[str, ...]  # other stations that have to be unplugged
    leave_empty: tuple[str, ...] = ()  # the mate's other cavities that carry a net; bridging them is never right
    stays: str = ""  # what stays in parallel, in words
    reason: str = ""


@dataclass(frozen=True)
class SocketWay:
    """One way of the test socket: which net, where it is taken, through which fuse."""

    way: int
    line: str
    what: str
    net: str
    tap: str
    place: str
    fuse_a: float
    reason: str = ""


def code_plugs(truck: Truck, harness: Harness) -> tuple[CodePlug, ...]:
    """A plug for each command and for the idle meaning of every coded line, one set for each plug that takes it."""
    found: list[CodePlug] = []
    for line in truck.lines:
        seats = _seats(truck, harness, line)
        for meaning in dict.fromkeys((line.idle, *line.commands)):
            if not seats:
                why = (
                    "No plug but the controller's carries both the coded wire and the source wire of this line. Use "
                    "the test socket, or give a station a plug."
                )
                found.append(_none(line, meaning, "", ("", ""), why))
            found += [_plug(truck, harness, line, meaning, *seat) for seat in seats]
    return tuple(found)


def _seats(truck: Truck, harness: Harness, line: Line) -> list[tuple[str, tuple[str, str]]]:
    """Plugs of stations that carry the coded net and the source net, with the two cavities."""
    owner = truck.input_of(line)
    sides = []
    for terminal in (line.id, f"{line.id}.source"):
        net = next((one for one in harness.nets if terminal in one.terminals), None)
        ends = net.ends if net is not None else ()
        sides.append({end.plug: end.cavity for end in ends if end.kind == "cavity" and end.unit.kind == "device"})
    return [(plug, (sides[0][plug], sides[1][plug])) for plug in sides[0] if plug in sides[1] and plug != owner.plug]


def _none(line: Line, meaning: str, plug: str, cavities: tuple[str, str], reason: str) -> CodePlug:
    nan = math.nan
    return CodePlug(
        line.id, meaning, plug, cavities, None, nan, nan, "", nan, nan, nan, nan, Verdict.NOT_SHOWN, (), (), "", reason
    )  # fmt: skip


def _plug(truck: Truck, harness: Harness, line: Line, meaning: str, plug: str, cavities: tuple[str, str]) -> CodePlug:
    gone = {device.id for device in truck.devices if device.plug == plug}
    others = [one for one in truck.contacts_of(line) if one.device not in gone]
    fixed = [one.id for one in others if one.kind == "normally closed" and not _plug_of(truck, one.device)]
    unplug = tuple(dict.fromkeys(one.device for one in others if _plug_of(truck, one.device)))
    why = ""
    if line.form == "elements":
        why = "This line is a circuit of the file's own; which of its parts a plug replaces is not known."
    elif line.free:
        why = "The controller is yet to be taught: teach it with the switches first, then state its windows."
    elif fixed:
        why = f"{', '.join(fixed)} cannot be unplugged and conducts at rest."
    elif line.idle_resistor is not None and line.idle_resistor.ohm is None:
        why = "The idle resistor is still to be chosen."
    if why:
        return _none(line, meaning, plug, cavities, why)
    idle = line.idle_resistor
    stays = idle is not None and idle.at not in (*gone, plug) and idle.at not in unplug
    beside = idle.ohm if stays and idle is not None else None
    model = idle or line.top_resistor or next((one.resistor for one in truck.contacts_of(line) if one.resistor), None)
    if model is None:
        return _none(line, meaning, plug, cavities, "The line has no resistor that says how far parts may stray.")
    bare = replace(
        line, form="divider" if line.form == "divider" else "pull-up" if line.source_side == "return" else "pull-down",
        idle=meaning, enable=None, taps_fed=None, end_resistor=None, ladder_to=None, situations=(),
    )  # fmt: skip
    tolerance = truck.parts.tolerance.value if truck.parts is not None and truck.parts.tolerance else None
    series = truck.parts.series if truck.parts is not None and truck.parts.series else SERIES
    spread = tolerance if tolerance is not None else min(TOLERANCE, usual_tolerance(series))
    kept = tuple(replace(one, with_=(), only_when=()) for one in others if not _plug_of(truck, one.device))
    tried = _Tried(truck, bare, kept, model, spread, beside)
    reason = unproven_reason(tried.truck_with(1000.0), tried.line_with(1000.0), tried.view(1000.0))
    if reason:
        return _none(line, meaning, plug, cavities, reason)
    ohm = _nearest(tried, meaning, values_between(series, LEAST_OHM, MOST_OHM))
    if ohm is None:
        return _none(line, meaning, plug, cavities, f"The line has no window for {meaning}.")
    rows = [row for state in judge_line(tried.view(ohm)) for row in state.rows if not row.operated]
    shown = next((row for row in rows if row.key_state == "run"), rows[0])
    told = "" if beside is None else f"the idle resistor at {idle.at if idle else ''} stays in parallel"
    return CodePlug(
        line.id, meaning, plug, cavities, ohm, ohm * (1 - spread), ohm * (1 + spread), shown.space, shown.nominal,
        shown.low, shown.high, min(row.margin for row in rows), worst(row.verdict for row in rows), unplug,
        tuple(one.cavity for one in harness.plugs if one.plug == plug and one.net and one.cavity not in cavities),
        told,
    )  # fmt: skip


def _plug_of(truck: Truck, device: str) -> str:
    return next((one.plug or "" for one in truck.devices if one.id == device), "")


class _Tried:
    """The line with one resistor in place of its switches."""

    def __init__(
        self, truck: Truck, line: Line, kept: tuple[Contact, ...], model: Resistor, tolerance: float,
        beside_ohm: float | None,
    ) -> None:  # fmt: skip
        self.truck, self.line, self.kept, self.model = truck, line, kept, model
        self.tolerance, self.beside_ohm = tolerance, beside_ohm

    def line_with(self, ohm: float) -> Line:
        """The line whose only resistor to its source has these ohms, with what stays in parallel."""
        whole = ohm if self.beside_ohm is None else ohm * self.beside_ohm / (ohm + self.beside_ohm)
        spread = self.tolerance if self.beside_ohm is None else max(self.tolerance, self.model.tolerance)
        path = f"{self.line.path}.{PATH}"
        return replace(
            self.line, idle_resistor=replace(self.model, ohm=whole, tolerance=spread, path=path, text=f"{whole:g} ohm")
        )  # fmt: skip

    def truck_with(self, ohm: float) -> Truck:
        """The truck with that line; of its contacts only those that cannot be unplugged."""
        line = self.line_with(ohm)
        return replace(
            self.truck,
            lines=tuple(line if one.id == line.id else one for one in self.truck.lines),
            contacts=(*(one for one in self.truck.contacts if one.line != line.id), *self.kept),
        )

    def view(self, ohm: float) -> LineView:
        """The line as the pin sees it."""
        truck = self.truck_with(ohm)
        return line_view(truck, truck.line(self.line.id))

    def nominal(self, ohm: float) -> float:
        """The reading as stated, key in run."""
        view = self.view(ohm)
        return nominal_readings(view, "run", spaces_of(view.truck, view.input)[0], [frozenset()])[0]


def _nearest(tried: _Tried, meaning: str, values: Sequence[float]) -> float | None:
    """The value that reads nearest the middle of the meaning's window; the reading rises or falls with the ohms."""
    view = tried.view(values[0])
    space = spaces_of(view.truck, view.input)[0]
    window = next((one for one in windows_in(view.truck, view.line, space) if one.meaning == meaning), None)
    if window is None:
        return None
    low, high = window.guaranteed()
    middle = (low + min(high, space.full_scale)) / 2.0
    rising = tried.nominal(values[-1]) >= tried.nominal(values[0])
    first, last = 0, len(values) - 1
    while last - first > 1:
        half = (first + last) // 2
        if (tried.nominal(values[half]) < middle) == rising:
            first = half
        else:
            last = half
    return min((values[first], values[last]), key=lambda ohm: abs(tried.nominal(ohm) - middle))


def socket_ways(truck: Truck, harness: Harness) -> tuple[SocketWay, ...]:
    """Ways of a test socket in the cab: for every coded line its coded wire and its source wire."""
    inside = {place.id for place in truck.places if place.inside}
    found: list[SocketWay] = []
    for line in truck.lines:
        owner = truck.input_of(line)
        for terminal, what in ((line.id, "coded wire, to the pin"), (f"{line.id}.source", "source wire")):
            net = next((one for one in harness.nets if terminal in one.terminals), None)
            ends = [end for end in net.ends if end.place in inside] if net is not None else []
            ends.sort(key=lambda end: end.plug != owner.plug)
            way = len(found) + 1
            if net is None:
                why = f"Where the {what.partition(',')[0]} of {line.id} goes is not drawn."
                found.append(SocketWay(way, line.id, what, "", "", "", SOCKET_FUSE_A, why))
            elif not ends:
                why = "No end of this net lies in the cab (`inside = true` of a place)."
                found.append(SocketWay(way, line.id, what, net.name, "", "", SOCKET_FUSE_A, why))
            else:
                found.append(
                    SocketWay(way, line.id, what, net.name, ends[0].label, ends[0].place, SOCKET_FUSE_A)
                )  # fmt: skip
    return tuple(found)
