"""The laid-out harness: frozen results and their JSON.

Answers: what the wire list, the splice list and the findings are made of.
Units:   as named; `_mm` are whole numbers.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from pinproof.verdict.plain import plain
from pinproof.wiring.nets import Net

Verdict = Literal["pass", "fail", "not shown"]


@dataclass(frozen=True)
class Finding:
    """What is to be known. A `verdict` of None decides nothing: a note or a caution."""

    code: str
    verdict: Verdict | None
    path: str
    text: str
    cure: str = ""


@dataclass(frozen=True)
class PartEnd:
    """An end of one part of a net. `net_end` is its number in the net, None for a way of a joint."""

    label: str  # "tcu.B12", a stud, a unit's own lead, "joint way 2"
    place: str
    kind: str  # cavity, stud, tail, bus, way
    net_end: int | None = None
    joint: str = ""
    way: int = 0


@dataclass(frozen=True)
class Part:
    """The stretch of a net between pair joints; ends are joined by wires. `hub` is the number of the hub's end."""

    net: str
    ends: tuple[PartEnd, ...]
    hub: int | None
    cost_mm: int
    splices: tuple[int, ...]


@dataclass(frozen=True)
class RuleCheck:
    """One rule for one wire: what it asks, what it has."""

    rule: str
    need: float
    have: float
    unit: str
    source: str
    seen: str
    holds: bool


@dataclass(frozen=True)
class Sizing:
    """The size of a wire and the rule that asked for it."""

    size: str
    area_m2: float
    outside_m: float
    rule: str
    checks: tuple[RuleCheck, ...]
    cable: str = ""


@dataclass(frozen=True)
class WireEnd:
    """One end of a wire. `side` numbers the part's end, or None in a splice."""

    label: str
    place: str
    kind: str  # cavity, stud, tail, bus, way, splice
    side: int | None
    terminal: str = ""
    seal: str = ""
    strip_mm: float = 0.0


@dataclass(frozen=True)
class Wire:
    """One continuous conductor."""

    id: str
    net: str
    part: int
    a: WireEnd
    b: WireEnd
    distance_mm: int
    cut_mm: int
    runs: tuple[str, ...]
    beyond: tuple[int, ...]  # ends of the part on the side of `a`
    current_a: float = 0.0
    fuse_a: float = 0.0  # the largest that can feed it; 0 for none
    colour: str = ""
    sizing: Sizing | None = None


@dataclass(frozen=True)
class Splice:
    """Wires joined for good."""

    id: str
    net: str
    part: int
    run: str
    from_place: str
    at_mm: int
    wires: tuple[str, ...]
    shrink_mm: tuple[float, float] | None = None
    sleeve_cut_mm: int | None = None


@dataclass(frozen=True)
class RunBundle:
    """What one run holds."""

    run: str
    length_mm: int
    wires: tuple[str, ...]
    diameter_mm: float
    exact: bool
    sleeve_mm: float | None
    bend_mm: float
    supports: int
    ties: int
    mass_g: float
    highest_c: float


@dataclass(frozen=True)
class FuseChoice:
    """The fuse of a feed: given or chosen."""

    feed: str
    rating_a: float
    chosen: bool
    running_a: float
    family: str
    colour: str
    verdict: Verdict
    text: str
    least_a: float = 0.0  # the smallest rating of its family that carries its loads


@dataclass(frozen=True)
class LoadUse:
    """A load or coil: what it draws and what its wires lose."""

    load: str
    current_a: float
    loop_mm: int
    drop_v: float
    allowed_v: float


@dataclass(frozen=True)
class ResistorUse:
    """A coder resistor: where it sits and what heats it."""

    resistor: str
    ohm: float | None
    at: str
    watts_shorted: float
    rated_w: float | None
    verdict: Verdict


@dataclass(frozen=True)
class PlugCavity:
    """What is in one cavity."""

    plug: str
    cavity: str
    net: str
    wire: str
    terminal: str
    seal: str


@dataclass(frozen=True)
class Harness:
    """The whole harness, from one truck."""

    truck: str
    truck_name: str
    text_hash: str
    nets: tuple[Net, ...]
    parts: tuple[Part, ...]
    wires: tuple[Wire, ...]
    splices: tuple[Splice, ...]
    plugs: tuple[PlugCavity, ...]
    runs: tuple[RunBundle, ...]
    fuses: tuple[FuseChoice, ...]
    loads: tuple[LoadUse, ...]
    resistors: tuple[ResistorUse, ...]
    findings: tuple[Finding, ...]
    least_mm: int
    total_mm: int
    stagger_mm: int
    closed: tuple[tuple[str, str], ...]  # net of the part, run

    @property
    def exit_code(self) -> int:
        """0 where nothing fails and nothing is not shown, else 1."""
        return 1 if any(one.verdict in ("fail", "not shown") for one in self.findings) else 0


def as_json(result: Any) -> Any:
    """A result as plain data: dictionaries, lists, texts and finite numbers; infinity becomes None."""
    if isinstance(result, Net):
        return {
            "name": result.name,
            "terminals": list(result.terminals),
            "ends": [{**as_json(each), "label": each.label, "unit": str(each.unit)} for each in result.ends],
        }
    return plain(result, as_json, infinite=False)
