"""One truck as its design file describes it: frozen dataclasses, all numbers in SI.

Answers: what was stated, with which basis, and where in the file it stands.
Units:   volts, ohms, degrees Celsius, seconds, farads, metres; ratios for what is written in percent. A `Value` carries
         its dimension in words, because one class serves them all.
Touches: nothing. No file, no printing, no sums beyond reading a field out of another.
Beside:  `load` builds these; `pinproof.wiring` turns them into a circuit. docs/design-file.md tells what entries mean.

`None` always stands for the file's "none", or for an optional entry that was left out.
"""

from __future__ import annotations

import enum
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Literal, TypeVar

from pinproof.design.model_drive import Drive
from pinproof.design.model_harness import (
    Cable,
    Driver,
    Feed,
    HarnessRules,
    Joint,
    Load,
    Relay,
    Seal,
    Stud,
    Switch,
    Terminal,
    WireChoice,
)
from pinproof.design.model_inhibit import Inhibit
from pinproof.design.model_places import Cavity as Cavity
from pinproof.design.model_places import Place as Place
from pinproof.design.model_places import Plug as Plug
from pinproof.design.model_places import Run as Run

Basis = Literal["measured", "published", "borrowed", "assumed"]
Form = Literal["pull-up", "pull-down", "ladder", "divider", "elements"]
Kind = Literal["ohm", "volt", "ratio", "counts"]
Rail = Literal["return", "feed"]

BASES: tuple[Basis, ...] = ("measured", "published", "borrowed", "assumed")  # from best to weakest
KEY_STATES = ("run", "crank", "after_run")


class Unknown(enum.Enum):
    """The file says "unknown": something is or may be there, and nobody has measured it."""

    UNKNOWN = "unknown"


UNKNOWN = Unknown.UNKNOWN


@dataclass(frozen=True)
class Value:
    """One number with its range.

    `value` is the nominal: what the file gives, or the middle of its range. ``low <= value <= high`` holds.
    A leakage (`leak_to_ground`, `leak_to_supply`, `Contact.open`, an element of kind "leak") has the stated least
    resistance in `low`, and `value` and `high` infinite: nominally nothing leaks.
    """

    value: float
    low: float
    high: float
    dimension: (
        str  # a dimension of pinproof.quantities: "voltage" [V], "resistance" [Ω], "temperature" [°C], "ratio" [1] …
    )
    path: str  # "line.taps.feed_drop"; with a default in use still the entry's own path
    text: str  # as written, for messages and reports
    basis: Basis = "assumed"
    note: str = ""
    from_default: bool = False  # the number stands in [defaults]

    @property
    def exact(self) -> bool:
        """True if the range is a single number."""
        return self.low == self.high


@dataclass(frozen=True)
class Resistor:
    """A coder resistor, or a pull inside the controller. Its bounds are worked out by `pinproof.wiring`."""

    ohm: float | None  # None: "to choose"
    tolerance: float  # ratio, 0.01 for 1 %
    ageing: float  # ratio
    tempco_per_k: float  # 1/K; negative only if tempco_known
    tempco_known: bool  # True: the sign is known and all such resistors share the temperature
    path: str  # "contact.lever_up.resistor", "line.taps.idle_resistor", "input.tap_pin.pull_up"
    text: str
    basis: Basis = "assumed"  # of the resistance
    spread_basis: Basis = "assumed"  # weakest basis among tolerance, ageing and tempco
    fixed: bool = False  # may not be re-chosen (sealed pod, donor button)
    note: str = ""
    defaulted: tuple[str, ...] = ()  # which of "tolerance", "ageing", "tempco" stand in [defaults]
    own_bases: tuple[tuple[str, Basis], ...] = ()  # basis of each of the three that it states itself
    at: str = ""  # where it is: "device", a device or a plug; "" where the file does not say
    rated_power: Value | None = None  # [W]


Pull = Resistor | Unknown | None


@dataclass(frozen=True)
class Supply:
    """Volts at the controller for each key state that the file gives."""

    run: Value
    crank: Value | None = None
    after_run: Value | None = None
    jump_start: Value | None = None  # heat only
    load_dump: Value | None = None  # heat only

    @property
    def states(self) -> dict[str, Value]:
        """Key states that are proven, in the order run, crank, after_run: name to volts."""
        found = {"run": self.run, "crank": self.crank, "after_run": self.after_run}
        return {name: value for name, value in found.items() if value is not None}


@dataclass(frozen=True)
class Defaults:
    """What [defaults] states; already applied to every entry that needed it."""

    tolerance: Value | None = None
    tempco: Value | None = None
    ageing: Value | None = None
    closed: Value | None = None
    open: Value | None = None  # None also for "none"; see open_none
    open_none: bool = False  # open = "none" was written


@dataclass(frozen=True)
class Parts:
    """Resistors that the owner can buy or has: what is chosen from where nothing else is asked for."""

    series: str = ""  # a preferred series, "" where not stated
    tolerance: Value | None = None  # ratio; None: as each resistor states
    at_hand: bool = False  # the whole series lies at hand: nothing of it need be ordered
    drawer: str = ""  # the owner's drawer file, relative to the design file; "" for none
    note: str = ""
    path: str = "parts"


@dataclass(frozen=True)
class Input:
    """One pin of a controller."""

    id: str
    pull_up: Pull
    pull_up_to: Literal["reference", "battery"]
    pull_down: Pull  # to controller ground
    compares: Literal["reference", "battery", "volts", "unknown"]
    error: Value  # ratio of full scale, either way
    reference: Value | None = None
    full_scale: Value | None = None  # [V]
    full_counts: int | None = None
    filter: Value | None = None  # time constant [s] with nothing connected
    filter_capacitance: Value | None = None  # [F]
    debounce: Value | None = None  # [s]
    max_pin: Value | None = None  # [V]
    controller: str = ""
    plug: str | None = None
    cavity: str | None = None
    name: str = ""
    note: str = ""
    path: str = ""  # "input.tap_pin"


@dataclass(frozen=True)
class Window:
    """Readings that the controller takes as one meaning. Numbers are in the unit of `kind`, as stated."""

    meaning: str
    kind: Kind
    low: float | None  # None: no edge, the window reaches the rail
    high: float | None
    uncertainty: float  # either way: in the unit of `kind`, or a ratio of each edge if `uncertainty_relative`
    uncertainty_relative: bool
    with_pull_ohm: float | None  # the pull that edges in ohms assume; None in ohms: not stated, and the own is unknown
    by_substitution: bool  # edges in ohms found on this very pin
    fault: bool  # open or shorted: no command
    basis: Basis
    path: str  # "line.taps.window.up"
    low_text: str = ""
    high_text: str = ""
    note: str = ""
    own_pull: bool = False  # in ohms, with_pull not written: this pin's own pull is meant, and stands in with_pull_ohm
    uncertainty_low: float | None = None  # of this edge alone, in the unit of `kind`; None: as `uncertainty` says
    uncertainty_high: float | None = None

    def edge(self, side: Literal["low", "high"]) -> tuple[float, float] | None:
        """Least and greatest place of an edge in the stated unit, uncertainty included; None if there is no edge."""
        at, off = (self.low, self.uncertainty_low) if side == "low" else (self.high, self.uncertainty_high)
        if at is None:
            return None
        if off is None:
            off = abs(at) * self.uncertainty if self.uncertainty_relative else self.uncertainty
        return at - off, at + off

    @property
    def unsure(self) -> bool:
        """True if an edge may lie off where it is stated."""
        return any(between is not None and between[0] < between[1] for between in (self.edge("low"), self.edge("high")))


@dataclass(frozen=True)
class Target:
    """The one reading that belongs to a meaning, where windows are not known."""

    meaning: str
    kind: Kind
    reading: float
    with_pull_ohm: float | None
    by_substitution: bool
    fault: bool
    basis: Basis  # of the reading; the edges made from it are always "assumed"
    path: str  # "line.taps.target.up"
    text: str = ""
    note: str = ""
    own_pull: bool = False  # as in Window


@dataclass(frozen=True)
class SituationRule:
    """What one set of operated contacts may read, where the general rules do not say what is wanted."""

    operated: tuple[str, ...]
    allowed: tuple[str, ...]  # meanings, and "invalid"
    path: str  # "line.taps.situation.1", counted from 1
    note: str = ""

    @property
    def key(self) -> frozenset[str]:
        """The operated contacts as a set."""
        return frozenset(self.operated)


@dataclass(frozen=True)
class Element:
    """One element of a line with form "elements". Exactly the field that fits its kind is filled."""

    id: str
    kind: Literal["resistor", "contact", "wire", "leak"]
    between: tuple[
        str, str
    ]  # rails "ground", "return", "feed", "battery", "reference"; "pin"; or a node of the file's own
    resistor: Resistor | None = None
    contact: str | None = None
    wire: Value | None = None
    leak: Value | None = None  # least resistance in `low`
    path: str = ""  # "line.taps.element.r_top"; its number has the path "line.taps.element.r_top.value"
    note: str = ""


@dataclass(frozen=True)
class Line:
    """A coded line on one input."""

    id: str
    input: str
    form: Form
    idle: str  # a meaning
    source_side: Rail  # from the form and `ladder_to`; stated for "elements"
    enable: str | None = None  # a contact
    taps_fed: Literal["through enable", "directly"] | None = None  # None without an enable contact
    idle_resistor: Resistor | None = None
    top_resistor: Resistor | None = None  # divider
    end_resistor: Resistor | None = None  # ladder
    ladder_to: Literal["ground", "supply"] | None = None
    wire: Value | None = None  # None only with form "elements"
    source_wire: Value | None = None  # None only with form "elements"
    return_offset: Value | None = None
    feed_from: Literal["battery", "reference"] | None = None  # None where nothing uses a feed
    feed_drop: Value | None = None
    series_diode: Value | None = None
    leak_to_ground: Value | None = None
    leak_to_supply: Value | None = None
    windows: tuple[Window, ...] = ()
    targets: tuple[Target, ...] = ()
    free: bool = False  # windows = "free": the controller can be taught
    situations: tuple[SituationRule, ...] = ()
    elements: tuple[Element, ...] = ()
    feed: str | None = None  # the feed that its feed rail comes from
    feed_cavity: str | None = None  # "PLUG.CAVITY" of the controller's sensor supply, where the reference feeds it
    returns_to: str | None = None  # a ground stud, or "PLUG.CAVITY" of the controller
    name: str = ""
    note: str = ""
    path: str = ""  # "line.taps"

    @property
    def has_feed(self) -> bool:
        """True if the circuit has a feed rail: pull-down, divider, ladder to supply, or an element that uses it."""
        return (
            self.source_side == "feed"
            or self.form == "divider"
            or any("feed" in element.between for element in self.elements)
        )

    @property
    def undrawn(self) -> tuple[str, ...]:
        """Keys that are missing to draw where its feed comes from and where its source end goes."""
        found = []
        if self.has_feed and self.feed is None and self.feed_cavity is None:
            found.append("feed_cavity" if self.feed_from == "reference" else "feed")
        if self.source_side == "return" and self.returns_to is None:
            found.append("returns_to")
        return tuple(found)

    @property
    def is_fused(self) -> bool:
        """True if the source side of the switches hangs behind a fuse: fed, and by the battery."""
        return self.source_side == "feed" and self.feed_from == "battery"

    @property
    def meanings(self) -> tuple[str, ...]:
        """Meanings that the windows or targets know, each once, in file order."""
        known = [window.meaning for window in self.windows] + [target.meaning for target in self.targets]
        return tuple(dict.fromkeys(known))

    @property
    def commands(self) -> tuple[str, ...]:
        """Meanings that are commands: neither idle nor of a window with ``fault = true``."""
        faults = {window.meaning for window in self.windows if window.fault}
        faults |= {target.meaning for target in self.targets if target.fault}
        return tuple(m for m in self.meanings if m != self.idle and m not in faults)


@dataclass(frozen=True)
class Device:
    """What a hand moves; carries contacts and sits at a place."""

    id: str
    place: str | None = None
    exclusive: tuple[tuple[str, ...], ...] = ()  # groups of contacts of which at most one can be operated
    plug: str | None = None  # that mates it
    positions: tuple[str, ...] = ()  # in order of travel
    name: str = ""
    note: str = ""
    path: str = ""


@dataclass(frozen=True)
class Contact:
    """One switch element and the resistor that codes it."""

    id: str
    line: str
    device: str
    kind: Literal["normally open", "normally closed"]
    action: Literal["momentary", "maintained"]
    asks: str
    resistor: Resistor | None  # None: joins its two nodes directly; always None on a line of form "elements"
    closed: Value
    open: Value | None
    with_: tuple[str, ...] = ()  # `with` in the file
    only_when: tuple[str, ...] = ()
    material: str | None = None
    bounce: Value | None = None
    station: str | None = None
    positions: tuple[str, ...] = ()  # of its device, in which it is operated
    name: str = ""
    note: str = ""
    path: str = ""  # "contact.lever_up"

    @property
    def command_set(self) -> frozenset[str]:
        """Itself and everything in its `with`."""
        return frozenset((self.id, *self.with_))


@dataclass(frozen=True)
class Truck:
    """The whole design file, checked."""

    format: int
    id: str
    supply: Supply
    temperature: Value
    inputs: tuple[Input, ...] = ()
    lines: tuple[Line, ...] = ()
    devices: tuple[Device, ...] = ()
    contacts: tuple[Contact, ...] = ()
    places: tuple[Place, ...] = ()
    runs: tuple[Run, ...] = ()
    plugs: tuple[Plug, ...] = ()
    defaults: Defaults = field(default_factory=Defaults)
    parts: Parts = field(default_factory=Parts)
    harness: HarnessRules | None = None  # None: no harness is asked for
    joints: tuple[Joint, ...] = ()
    studs: tuple[Stud, ...] = ()
    terminals: tuple[Terminal, ...] = ()
    seals: tuple[Seal, ...] = ()
    cables: tuple[Cable, ...] = ()
    feeds: tuple[Feed, ...] = ()
    switches: tuple[Switch, ...] = ()
    loads: tuple[Load, ...] = ()
    relays: tuple[Relay, ...] = ()
    drivers: tuple[Driver, ...] = ()
    wire_choices: tuple[WireChoice, ...] = ()
    inhibit: Inhibit | None = None  # None: nothing is said of a start inhibit
    drive: Drive | None = None  # None: nothing is said of the driveline
    name: str = ""
    note: str = ""
    warnings: tuple[str, ...] = ()  # odd but usable; each is ready to print, with file, line and path
    source_path: str = ""
    text_hash: str = ""  # SHA-256 of the file's bytes, hexadecimal
    source_lines: Mapping[str, int] = field(default_factory=dict, compare=False, repr=False)  # path to line, from 1

    def input(self, input_id: str) -> Input:
        """The input with this id; KeyError if there is none."""
        return _pick(self.inputs, input_id)

    def line(self, line_id: str) -> Line:
        """The line with this id; KeyError if there is none."""
        return _pick(self.lines, line_id)

    def device(self, device_id: str) -> Device:
        """The device with this id; KeyError if there is none."""
        return _pick(self.devices, device_id)

    def contact(self, contact_id: str) -> Contact:
        """The contact with this id; KeyError if there is none."""
        return _pick(self.contacts, contact_id)

    def input_of(self, line: Line) -> Input:
        """The input that this line ends on."""
        return self.input(line.input)

    def contacts_of(self, line: Line | str) -> tuple[Contact, ...]:
        """Contacts of a line in file order."""
        line_id = line if isinstance(line, str) else line.id
        return tuple(contact for contact in self.contacts if contact.line == line_id)

    def exclusive_groups(self, line: Line | str) -> tuple[frozenset[str], ...]:
        """Groups of this line's contacts of which at most one can be operated at a time."""
        mine = {contact.id for contact in self.contacts_of(line)}
        groups = (frozenset(group) & mine for device in self.devices for group in device.exclusive)
        return tuple(group for group in groups if len(group) > 1)

    def entries(self) -> dict[str, Value | Resistor]:
        """Every number of the file by its design path: what a solver parameter's id leads back to."""
        return {entry.path: entry for entry in _numbers(self)}


_Entry = TypeVar("_Entry", Input, Line, Device, Contact)


def _pick(entries: tuple[_Entry, ...], wanted: str) -> _Entry:
    for entry in entries:
        if entry.id == wanted:
            return entry
    raise KeyError(wanted)


def _numbers(node: object) -> Iterator[Value | Resistor]:
    if isinstance(node, Value | Resistor):
        yield node
    elif isinstance(node, tuple):
        for item in node:
            yield from _numbers(item)
    elif is_dataclass(node) and not isinstance(node, type):
        for one in fields(node):
            yield from _numbers(getattr(node, one.name))
