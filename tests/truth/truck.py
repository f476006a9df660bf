"""Plain description of a generated truck.

Every number is kept as a decimal string in a fixed base unit (ohm, V, %, ppm/K, °C, counts), so that the text in the
file and the `Fraction` used in the sums are exactly the same number.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

Number = Fraction | float  # a float only ever stands for infinity
INF = float("inf")


def exact(text: str) -> Fraction:
    """The number a decimal string stands for."""
    return Fraction(text)


@dataclass(frozen=True)
class Span:
    """A stated range. `value` is the nominal; without it the middle of the range is."""

    low: str
    high: str
    value: str | None = None

    @property
    def ends(self) -> tuple[Fraction, Fraction]:
        return exact(self.low), exact(self.high)

    @property
    def nominal(self) -> Fraction:
        if self.value is not None:
            return exact(self.value)
        return (exact(self.low) + exact(self.high)) / 2


@dataclass(frozen=True)
class Resistor:
    """A coder resistor. `tempco_ppm` may be negative only when `known_sign`."""

    ohm: str
    tolerance_pct: str
    tempco_ppm: str
    ageing_pct: str
    known_sign: bool = False


@dataclass(frozen=True)
class Pull:
    """A resistor inside the controller."""

    ohm: str
    tolerance_pct: str
    tempco_ppm: str = "0"
    ageing_pct: str = "0"


@dataclass(frozen=True)
class Reference:
    """The controller's reference: value and tolerance, or a range with a nominal."""

    value: str
    tolerance_pct: str

    @property
    def nominal(self) -> Fraction:
        return exact(self.value)

    @property
    def ends(self) -> tuple[Fraction, Fraction]:
        part = exact(self.tolerance_pct) / 100
        return self.nominal * (1 - part), self.nominal * (1 + part)


@dataclass(frozen=True)
class Contact:
    id: str
    line: str
    device: str
    normally_open: bool
    momentary: bool
    asks: str
    resistor: Resistor | None
    closed: Span
    open_ohm: str | None  # None: "none"
    with_: tuple[str, ...] = ()
    only_when: tuple[str, ...] = ()
    station: str | None = None


@dataclass(frozen=True)
class Device:
    id: str
    exclusive: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class Input:
    id: str
    pull_up: Pull | None
    pull_up_to: str  # "reference" or "battery"
    pull_down: Pull | None
    reference: Reference | None
    compares: str  # "reference", "battery", "volts", "unknown"
    full_scale_v: str | None
    full_counts: str | None
    error_pct: str


@dataclass(frozen=True)
class Window:
    """`unit`: "ohm", "V", "ratio" (a plain number), "counts". Edges None: no edge there."""

    meaning: str
    low: str | None
    high: str | None
    unit: str
    uncertainty: str | None = None  # in `unit`
    uncertainty_pct: str | None = None  # of each edge, for ohm and V
    with_pull: str | None = None
    substitution: bool = False
    fault: bool = False
    basis: str | None = None  # None: not written, which means assumed


@dataclass(frozen=True)
class Target:
    meaning: str
    reading: str
    unit: str
    with_pull: str | None = None


@dataclass(frozen=True)
class Element:
    id: str
    kind: str  # "resistor", "contact", "wire", "leak"
    between: tuple[str, str]
    resistor: Resistor | None = None
    wire: Span | None = None
    leak_ohm: str | None = None
    contact: str | None = None


@dataclass(frozen=True)
class SituationRule:
    operated: tuple[str, ...]
    allowed: tuple[str, ...]


@dataclass(frozen=True)
class Line:
    id: str
    input: str
    form: str  # "pull-up", "pull-down", "ladder", "divider", "elements"
    idle: str
    enable: str | None = None
    taps_through_enable: bool = False
    idle_resistor: Resistor | None = None
    wire: Span | None = None
    source_wire: Span | None = None
    return_offset: Span | None = None  # None: "none"
    feed_from: str | None = None
    feed_drop: Span | None = None
    series_diode: Span | None = None
    leak_to_ground: str | None = None
    leak_to_supply: str | None = None
    top_resistor: Resistor | None = None
    ladder_to: str | None = None
    end_resistor: Resistor | None = None
    source_side: str | None = None  # elements only
    elements: tuple[Element, ...] = ()
    windows: tuple[Window, ...] = ()
    targets: tuple[Target, ...] = ()
    rules: tuple[SituationRule, ...] = ()

    @property
    def source_rail(self) -> str:
        """The rail on the source side: "return" or "feed"."""
        if self.form == "elements":
            assert self.source_side is not None
            return self.source_side
        if self.form == "pull-down" or (self.form == "ladder" and self.ladder_to == "supply"):
            return "feed"
        return "return"

    @property
    def has_feed(self) -> bool:
        used = any("feed" in e.between for e in self.elements)
        return self.source_rail == "feed" or self.form == "divider" or used


@dataclass(frozen=True)
class Defaults:
    tolerance_pct: str | None = None
    tempco_ppm: str | None = None
    ageing_pct: str | None = None
    closed: Span | None = None
    open_ohm: str | None = None  # "none" here means the word "none"


@dataclass(frozen=True)
class Truck:
    id: str
    seed: int
    supply: dict[str, Span]  # "run", "crank", "after_run"
    temp_low_c: str
    temp_high_c: str
    defaults: Defaults
    inputs: tuple[Input, ...]
    devices: tuple[Device, ...]
    contacts: tuple[Contact, ...]
    lines: tuple[Line, ...]
    tags: tuple[str, ...] = field(default=())  # what is awkward about it, for statistics

    def line(self, line_id: str) -> Line:
        return next(x for x in self.lines if x.id == line_id)

    def input_of(self, line: Line) -> Input:
        return next(x for x in self.inputs if x.id == line.input)

    def contacts_of(self, line_id: str) -> tuple[Contact, ...]:
        return tuple(c for c in self.contacts if c.line == line_id)
