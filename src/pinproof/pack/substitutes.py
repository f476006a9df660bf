"""What may stand in for a lost resistor, in words for the book and the field card.

Answers: which values out of a box of mixed resistors would do in each place, one place at a time?
Touches: nothing.
Beside:  `pinproof.choose.stand_ins` works them out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pinproof.choose import Room, stand_ins
from pinproof.choose.stand_in import USUAL_BOX
from pinproof.design.model import Truck
from pinproof.pack.parts import parts_of
from pinproof.proof.results import TruckProof

TITLE = "If a resistor is lost"
SAID = (
    f"In its place, one place at a time and all else as designed, every {USUAL_BOX} value in the range holds too, with "
    "the same tolerance or better. Each halving or doubling of the ohms can double the heat: take the next larger "
    "body. Two places changed at once are not worked out."
)
"""Heat: behind any source V with Rs, V² R/(R + Rs)² grows at most k-fold when R becomes k-fold or a k-th."""


@dataclass(frozen=True)
class Substitute:
    """One value, the places it is fitted in, and the range that does in its place, in words."""

    value: str
    tolerance: str
    places: tuple[str, ...]
    range: str


def substitutes_of(truck: Truck, proof: TruckProof) -> tuple[Substitute, ...]:
    """Every resistor of the lines that hold, in file order, equal ones together; none that nothing replaces."""
    holding = [line.line for line in proof.lines if line.verdict.holds]
    rooms: Mapping[str, Room] = {path: room for line in holding for path, room in stand_ins(truck, line).items()}
    found: dict[tuple[str, str, str], list[str]] = {}
    for part in parts_of(truck):
        room = rooms.get(part.path)
        if room is not None and room.low_ohm < room.high_ohm:
            found.setdefault((part.value, part.tolerance, str(room)), []).append(part.where)
    return tuple(
        Substitute(value, tolerance, tuple(places), told) for (value, tolerance, told), places in found.items()
    )
