"""How far a wheel rolls in one turn, from what its owner has.

Answers: the rolling circumference with its range, from a roll-out, from revolutions per distance, or from a size.
Units:   metres.
Touches: nothing.
Sources: factor 3.05 of a radial under load: memory; its range 2.95 to 3.15 (soft or hard, makers' own diameters):
         common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from pinproof.design.model import Value
from pinproof.design.model_drive import Tyre
from pinproof.driveline.span import Span, remains
from pinproof.quantities.tyre_size import diameter_of_size

USUAL_FACTOR = Span(2.95, 3.05, 3.15)


@dataclass(frozen=True)
class Rolled:
    """How one tyre rolls: `circumference_m` new or as measured, `rolling_m` with growth and wear."""

    circumference_m: Span
    rolling_m: Span
    how: str  # "roll-out", "revolutions per distance", "size 37x12.50R17 × factor"
    basis: str
    parts: tuple[Value, ...]  # the numbers of the file it rests on


def circumference_of_size(text: str, factor: Span = USUAL_FACTOR) -> Span:
    """Rolling circumference from a size: factor × overall diameter. [m] QuantityFault as `diameter_of_size`."""
    return factor * diameter_of_size(text)


def rolling(circumference_m: Span, growth: Value | None, wear: Value | None) -> Span:
    """The circumference over the whole range of growth and wear. [m] None: there is none."""
    grown = Span.exact(1.0) if growth is None else Span(1.0 + growth.low, 1.0 + growth.value, 1.0 + growth.high)
    return circumference_m * grown * remains(wear)


@lru_cache(maxsize=64)
def rolled(tyre: Tyre) -> Rolled:
    """How a tyre of a checked design file rolls."""
    around, how, basis, parts = _circumference(tyre)
    spread = tuple(each for each in (tyre.growth, tyre.wear) if each is not None)
    return Rolled(around, rolling(around, tyre.growth, tyre.wear), how, basis, (*parts, *spread))


def _circumference(tyre: Tyre) -> tuple[Span, str, str, tuple[Value, ...]]:
    if tyre.roll_out is not None and tyre.turns is not None:
        way, turns = tyre.roll_out, tyre.turns
        return Span.of(way) / Span.of(turns), "roll-out", way.basis, (way,)
    if tyre.revolutions is not None:
        per_m = tyre.revolutions
        return Span.exact(1.0) / Span.of(per_m), "revolutions per distance", per_m.basis, (per_m,)
    factor = tyre.factor
    if factor is None:
        usual = USUAL_FACTOR
        said = f"{usual.low:g} to {usual.high:g} (usual for a radial)"
        factor = Value(usual.value, usual.low, usual.high, "ratio", f"{tyre.path}.factor", said)
    around = circumference_of_size(tyre.size, Span.of(factor))
    return around, f"size {tyre.size} × factor {factor.text}", factor.basis, (factor,)
