"""What a design file states about wiring: studs, feeds, loads, joints, stock. Frozen dataclasses, all numbers in SI.

Answers: what was stated. A field has the name of its key; `None` is the file's "none", or what was left out.
Units:   metres, m² for wire sizes, volts, amperes, ohms, watts, seconds, degrees Celsius; `Value` carries its own.
Touches: nothing.
Beside:  `model` has the rest of the truck; docs/harness.md tells what each entry means.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pinproof.design.model import Value

Chain = tuple[tuple[str, ...], ...]  # elements in series; a group of several is in parallel
PAIR_JOINTS = ("slip ring", "quick-release", "plug pair")


@dataclass(frozen=True)
class HarnessRules:
    """How the harness is to be built; what was left out is already filled in."""

    sizes: Literal["mm2", "AWG"]
    insulation: Value  # [°C]
    smallest: Value | None = None  # [m²]
    slack_m: float = 0.050  # this and what follows: common practice, no source
    splice_worth_m: float = 0.300
    splice_wires: int = 4
    splice_clear_m: float = 0.300  # from memory
    breakout_clear_m: float = 0.050
    splice_length_m: float = 0.040
    splice_limit_c: float = 105.0
    pair_ohm: float = 0.020
    spare_wires: float = 0.1
    spare_parts: float = 0.1
    support_m: float = 0.200
    support_end_m: float = 0.080
    tie_m: float = 0.075
    currency: str = ""
    units: Literal["", "metric", "us"] = ""  # "": as the driveline says
    shrink_m: tuple[tuple[float, float], ...] = ()  # empty: the usual tubes
    sleeves_m: tuple[float, ...] = ()  # empty: the usual sleeves
    note: str = ""
    path: str = "harness"


@dataclass(frozen=True)
class _Named:
    id: str
    path: str
    name: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Joint(_Named):
    """A moving or separable joint in a run."""

    kind: str
    run: str
    ways: int | None = None
    plugs: tuple[str, str] | None = None
    cord_length: Value | None = None
    way_ohm: Value | None = None
    noise_ohm: Value | None = None
    leak: Value | None = None
    apart: bool | None = None

    @property
    def pairs(self) -> bool:
        """True if nets cross it in ways, and no wire does."""
        return self.kind in PAIR_JOINTS

    @property
    def may_be_apart(self) -> bool:
        """True if it may be apart while the truck is live."""
        return self.kind == "quick-release" if self.apart is None else self.apart


@dataclass(frozen=True, kw_only=True)
class Stud(_Named):
    """A threaded stud that takes several rings."""

    place: str
    rail: Literal["battery", "ground"]
    rings: int = 4
    hole: str = ""
    offset: Value | None = None


@dataclass(frozen=True, kw_only=True)
class Terminal(_Named):
    """A crimped terminal and the wire that it takes."""

    smallest: Value
    largest: Value
    strip: Value
    insulation_smallest: Value | None = None
    insulation_largest: Value | None = None
    plating: str | None = None
    carries: Value | None = None
    part: str = ""
    price: float | None = None
    on_hand: int | None = None
    days: int | None = None


@dataclass(frozen=True, kw_only=True)
class Seal(_Named):
    """A wire seal and the outside diameters that it holds."""

    smallest: Value
    largest: Value
    part: str = ""
    price: float | None = None
    on_hand: int | None = None
    days: int | None = None


@dataclass(frozen=True, kw_only=True)
class Cable(_Named):
    """A wire that can be had. `insulation` and `age` are None where the file says "unknown"."""

    size: Value | None = None
    strands: int
    outside: Value
    insulation: Value | None
    carries: Value | None = None
    colours: tuple[str, ...] = ()
    price: float | None = None
    on_hand: Value | None = None
    days: int | None = None
    salvaged: bool = False
    strand: Value | None = None
    age: float | None = None
    condition: str | None = None


@dataclass(frozen=True, kw_only=True)
class Feed(_Named):
    """A fused supply. `fuse_a` is None for "to choose", 0 for "none"."""

    from_: str
    place: str
    fuse_a: float | None
    plug: str | None = None
    family: str = "medium"
    through: tuple[str, ...] = ()
    live: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Switch(_Named):
    """A contact that carries a load or a coil."""

    device: str
    closed: Value
    open: Value | None
    kind: str = "normally open"
    action: str = "maintained"
    carries: Value | None = None
    positions: tuple[str, ...] = ()  # empty: by hand
    mid: tuple[tuple[str, str], ...] = ()  # point between two positions: "open", "closed" or "either"


@dataclass(frozen=True, kw_only=True)
class _Chained(_Named):
    place: str
    feed: str
    ground: str
    drop: Literal["critical", "not critical"]
    plug: str | None = None
    high_side: Chain = ()
    low_side: Chain = ()
    inrush: float = 1.0
    inrush_time: Value | None = None
    duty: str = "continuous"
    drop_allowed: Value | None = None


@dataclass(frozen=True, kw_only=True)
class Load(_Chained):
    """What uses current. One of `watts` and `amps` is given, at `volts`."""

    volts: Value
    watts: Value | None = None
    amps: Value | None = None
    behaves: str = "resistor"
    tolerance: Value | None = None  # None: 10 %


@dataclass(frozen=True, kw_only=True)
class RelayContact(_Named):
    """One contact of a relay."""

    kind: str
    closed: Value
    open: Value | None
    carries: Value | None = None


@dataclass(frozen=True, kw_only=True)
class Relay(_Chained):
    """A relay; its coil is a load."""

    coil: Value
    pull_in: Value
    drop_out: Value
    contacts: tuple[RelayContact, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Driver(_Named):
    """An output of a controller."""

    controller: str
    side: Literal["low", "high"]
    on: Value
    off: Value | None
    plug: str | None = None
    cavity: str | None = None
    reads: str | None = None
    permits: tuple[str, ...] = ()


@dataclass(frozen=True)
class WireChoice:
    """The owner's own choice at one termination, or for one splice."""

    at: str
    net: str = ""
    size: Value | None = None
    cable: str | None = None
    colour: str | None = None
    note: str = ""
    path: str = ""
