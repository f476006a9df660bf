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
from pinproof.proof.checks.heat import most_times
from pinproof.proof.results import TruckProof
from pinproof.quantities.preferred import LEAST_OHM, MOST_OHM, values_between

TITLE = "If a resistor is lost"
SAID = (
    f"In its place, one place at a time and all else as designed, every {USUAL_BOX} value in the range holds too, with "
    "the same tolerance or better. Each halving or doubling of the ohms can double the heat: take the next larger "
    "body; what could overheat 1 W is left out. Two places changed at once are not worked out."
)


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
    times: dict[str, tuple[float, float]] = {}
    for proven in proof.lines:
        stiff = truck.line(proven.line).form not in ("ladder", "elements")
        times |= most_times(proven.findings, truck.temperature.high, stiff)
    found: dict[tuple[str, str, str], list[str]] = {}
    for part in parts_of(truck):
        room = rooms.get(part.path)
        if room is not None and part.ohm is not None:
            room = _cool(room, part.ohm, *times.get(part.path, (1.0, 1.0)))
        if room is not None and room.low_ohm < room.high_ohm:
            found.setdefault((part.value, part.tolerance, str(room)), []).append(part.where)
    return tuple(
        Substitute(value, tolerance, tuple(places), told) for (value, tolerance, told), places in found.items()
    )


def _cool(room: Room, ohm: float, down: float, up: float) -> Room:
    """The room as far as its values are at least a `down`-th and at most `up` times the fitted ohms."""
    least, most = max(ohm / max(down, 1.0), LEAST_OHM), min(ohm * max(up, 1.0), MOST_OHM)
    allowed = (ohm, *values_between(USUAL_BOX, least, most))
    low, high = max(room.low_ohm, min(allowed)), min(room.high_ohm, max(allowed))
    return Room(low, high, room.lowest_tried and low == room.low_ohm, room.highest_tried and high == room.high_ohm)
