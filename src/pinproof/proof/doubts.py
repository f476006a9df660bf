"""How wrong a stated number may be, by where it comes from.

Answers: beyond the range that is stated, how far off is a number of this basis usually; which shares of a coder
         resistor's spread is that, and of which basis is each.
Units:   shares of the number [1].
Touches: nothing.

The usual error of each basis (`USUAL_ERROR`) is a convention of this program: common practice, no source. It is taken
of the number itself. A coder resistor is different: its ohms are chosen and printed on the part, and its tolerance,
ageing and tempco are in the box already. Only the size of these three can be wrong, so the usual error is taken of
them: a tolerance of 1 % from the maker's sheet may be off by 5 % of that 1 %, an ageing of 1 % that nobody looked up
by half of it. Only ohms that were borrowed, such as those of a sealed switch of another truck, are in doubt themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

from pinproof.design.model import Resistor, Truck
from pinproof.verdict.doubt import USUAL_ERROR
from pinproof.wiring import Branch
from pinproof.wiring.elements import REFERENCE_TEMP_C

WEAK = ("borrowed", "assumed")


@dataclass(frozen=True)
class Share:
    """One part of a coder resistor's spread. `default` is where it stands if it is shared: "defaults.ageing"."""

    name: str  # "tolerance", "ageing", "tempco", "temperature", or "ohms" for borrowed ones
    size: float  # of the ohms
    basis: str
    default: str = ""

    @property
    def doubt(self) -> float:
        """How far off the ohms may be because of this share."""
        return self.size * USUAL_ERROR[self.basis]


def doubt_of(truck: Truck, branch: Branch) -> float:
    """How far beyond its range a branch may lie, as a share of its ohms."""
    if branch.kind != "resistor" or branch.resistor is None:
        return USUAL_ERROR[branch.basis]
    return sum(share.doubt for share in shares_of(truck, branch.resistor))


def shares_of(truck: Truck, resistor: Resistor) -> tuple[Share, ...]:
    """The shares of a coder resistor's spread that are not nothing."""
    low, high = truck.temperature.low - REFERENCE_TEMP_C, truck.temperature.high - REFERENCE_TEMP_C
    heat = abs(resistor.tempco_per_k) * max(abs(low), abs(high))
    sizes = {"tolerance": resistor.tolerance, "ageing": resistor.ageing, "tempco": heat}
    own = dict(resistor.own_bases)
    found = []
    for name, size in sizes.items():
        shared = getattr(truck.defaults, name) if name in resistor.defaulted else None
        basis = shared.basis if shared is not None else own.get(name, resistor.spread_basis)
        found.append(Share(name, size, basis, f"defaults.{name}" if shared is not None else ""))
    found.append(Share("temperature", heat, truck.temperature.basis, "temperature"))
    if resistor.basis == "borrowed":
        found.append(Share("ohms", 1.0, resistor.basis))
    return tuple(each for each in found if each.size > 0.0)
