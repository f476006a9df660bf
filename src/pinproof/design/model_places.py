"""Where things are in a truck, as its design file describes it: places, runs between them, plugs with their cavities.

Answers: what was stated. `None` is an optional entry that was left out.
Units:   a `Value` carries its dimension.
Touches: nothing.
Beside:  `model` has the rest of the truck and hands these names on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pinproof.design.model import Value


@dataclass(frozen=True)
class Place:
    """A point on the harness."""

    id: str
    temperature: Value | None = None
    inside: bool = False  # in the cab
    name: str = ""
    note: str = ""
    path: str = ""


@dataclass(frozen=True)
class Run:
    """The stretch of harness between two places."""

    id: str
    between: tuple[str, str]
    length: Value | None = None
    environment: Literal["bundle", "single", "flex"] = "bundle"
    temperature: Value | None = None  # None: that of the truck
    hot: bool = False
    splices: bool = True
    clip: str = ""
    name: str = ""
    note: str = ""
    path: str = ""


@dataclass(frozen=True)
class Cavity:
    """One cavity of a plug and what is in it: a line's id, "ground", "feed", "empty", or the owner's word."""

    id: str
    signal: str = ""
    note: str = ""
    path: str = ""  # "plug.tcu.cavity.B12"
    terminal: str | None = None  # None: the plug's
    seal: str | None = None


@dataclass(frozen=True)
class Plug:
    """A connector at a place."""

    id: str
    place: str | None = None
    cavities: tuple[Cavity, ...] = ()
    bus: bool = False  # all cavities are one node
    terminal: str | None = None
    seal: str | None = None
    part: str = ""
    columns: int | None = None
    numbered_from: Literal["wire side", "mating side"] = "wire side"
    unit: str | None = None  # what it mates, if that does not name it
    name: str = ""
    note: str = ""
    path: str = ""
