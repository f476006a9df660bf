"""What to buy: how many of each part, with spares, and what has to be ordered today.

Answers: which resistors and switch contacts does this design need, in which size of body, and which of them does a
         shop in town seldom have?
Units:   ohms, ratios, watts; counts.
Touches: the series of preferred values.
Beside:  `parts` names each place; the check `heat` gives the bodies.

Wire, terminals, sleeves and plugs are not counted here: the design does not say them yet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinproof.design.model import Truck
from pinproof.pack.parts import Part, parts_of
from pinproof.proof.checks.heat import NOT_WORKED_OUT, bodies_w, body_words
from pinproof.proof.results import TruckProof
from pinproof.quantities.preferred import commonest_series, in_series

SPARES = 0.2
"""Spares, as a share of what is needed; at least one of each (common practice, no source)."""
ON_THE_SHELF = ("E3", "E6", "E12", "E24")
"""Series whose values a shop in town may have; the finer ones seldom (common practice, no source)."""
BY_POST = "by post it takes days; a shop in town may have it"
"""Why a common part is ordered today all the same (common practice, no source)."""


@dataclass(frozen=True)
class OrderLine:
    """One kind of part. `today` is why it should be ordered now, or ""."""

    what: str
    code: str
    needed: int
    spares: int
    today: str
    goes_to: tuple[str, ...]
    ohm: float | None = None
    tolerance: float | None = None
    body_w: float | None = None
    at_hand: bool = False

    @property
    def count(self) -> int:
        """How many to buy: needed and spares together; none of what [parts] says is at hand."""
        return 0 if self.at_hand else self.needed + self.spares


def spares_for(needed: int) -> int:
    """Twenty percent more, rounded up, so at least one."""
    return math.ceil(needed * SPARES)


def order_of(truck: Truck, proof: TruckProof) -> tuple[OrderLine, ...]:
    """Everything to buy, what must be ordered today first. Parts that are fixed in the truck are not bought."""
    found = [*_resistors(truck, proof), *_contacts(truck)]
    return tuple(sorted(found, key=lambda each: not each.today))


def bodies_of(truck: Truck, proof: TruckProof) -> dict[str, float | str]:
    """Body to buy for each resistor by its design path [W], or why none is known. From the check `heat`."""
    found: dict[str, float | str] = {}
    parts = parts_of(truck)
    stated_w = {part.path: part.rated_w for part in parts}
    for line in proof.lines:
        found |= bodies_w([part.path for part in parts if part.line == line.line], line.findings, stated_w)
    return found


def _resistors(truck: Truck, proof: TruckProof) -> list[OrderLine]:
    bodies = bodies_of(truck, proof)
    groups: dict[tuple[float, float, float | str], list[Part]] = {}
    for part in parts_of(truck):
        if part.ohm is not None and not part.fixed:
            body = bodies.get(part.path, NOT_WORKED_OUT)
            groups.setdefault((part.ohm, part.tolerance_ratio, body), []).append(part)
    found = []
    for (ohm, tolerance, body), parts in groups.items():
        first = parts[0]
        at_hand = truck.parts.at_hand and in_series(truck.parts.series, ohm)
        shown = f"{body_words(body)} body" if not isinstance(body, str) else f"body: {body}"
        found.append(
            OrderLine(
                f"resistor {first.value} {first.tolerance}, {shown}", first.code, len(parts), spares_for(len(parts)),
                "" if at_hand else _why_today(ohm), tuple(part.where for part in parts), ohm, tolerance,
                None if isinstance(body, str) else body, at_hand,
            )
        )  # fmt: skip
    return found


def _why_today(ohm: float) -> str:
    series = commonest_series(ohm)
    if series is None:
        return "a value of no preferred series: ask what can be had, or choose again"
    if series in ON_THE_SHELF:
        return BY_POST
    return f"a value of series {series}, which shops seldom keep"


def _contacts(truck: Truck) -> list[OrderLine]:
    groups: dict[tuple[str, str, str], list[str]] = {}
    for contact in truck.contacts:
        material = f"{contact.material} contacts" if contact.material else "contact material not stated"
        groups.setdefault((contact.kind, contact.action, material), []).append(contact.id)
    return [
        OrderLine(
            f"switch contact, {kind}, {action}, {material}", "", len(ids), spares_for(len(ids)),
            "gold contacts, which shops seldom keep" if material == "gold contacts" else "", tuple(ids),
        )
        for (kind, action, material), ids in groups.items()
    ]  # fmt: skip
