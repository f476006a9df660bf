"""Sources of what stands in a pack, with how each was seen; only those that were used.

Answers: where does each outside number and rule on these pages come from, and how far may it be trusted?
Touches: the tables.
"""

from __future__ import annotations

from dataclasses import dataclass

from pinproof.design.model import Truck
from pinproof.pack.order import ON_THE_SHELF
from pinproof.pack.parts import parts_of
from pinproof.proof.checks.wetting import least_current
from pinproof.proof.results import TruckProof
from pinproof.quantities.preferred import commonest_series
from pinproof.tables import contact_figure
from pinproof.tables.load import load

PRACTICE = "common practice"


@dataclass(frozen=True)
class Source:
    """Where something comes from. `seen`: printed, open copy, secondary, memory, or "no source"."""

    what: str
    source: str
    seen: str


def sources_of(truck: Truck, proof: TruckProof) -> tuple[Source, ...]:
    """Every source that this pack leans on, in the order of its pages."""
    found: list[Source] = []
    if any(line.situations for line in proof.lines):
        found.append(Source("bounds of readings", "Ohm's law and the matrix-tree theorem", "memory"))
    checks = {finding.check for line in proof.lines for finding in line.findings}
    found += _of_checks(truck, proof, checks)
    parts = [part for part in parts_of(truck) if part.ohm is not None]
    if any(part.bands for part in parts):
        found += _table("colour bands", "iec_60062_colours")
    if any(part.code for part in parts):
        found += _table("letter codes", "iec_60062_letters")
    series = {commonest_series(part.ohm) for part in parts if part.ohm is not None}
    for name in sorted(each for each in series if each is not None):
        found += _table(f"preferred values {name}", f"iec_60063_{name.lower()}")
    if parts:
        found.append(Source(f"values beyond {ON_THE_SHELF[-1]} are ordered; 20 % spares", PRACTICE, "no source"))
    found.append(Source("order of the bench checks and cautions", PRACTICE, "no source"))
    return tuple(dict.fromkeys(found))


def _of_checks(truck: Truck, proof: TruckProof, checks: set[str]) -> list[Source]:
    found: list[Source] = []
    if "transit" in checks:
        settles = any("settle_s" in each.numbers for line in proof.lines for each in line.findings)
        if settles:
            found.append(Source("settling of a filtered pin", 'University Physics vol. 2, "RC Circuits"', "memory"))
        if any("bounce_not_stated" in each.numbers for line in proof.lines for each in line.findings):
            bounce = contact_figure("usual_bounce")
            found.append(Source("usual bounce", bounce.source, bounce.seen))
    if "wetting" in checks:
        for material in dict.fromkeys(contact.material for contact in truck.contacts):
            need = least_current(material)
            found.append(Source(f"least current, {material or 'material not stated'}", need.source, need.seen))
    if "heat" in checks:
        found.append(Source("bodies of resistors: full rating to 70 °C, none at 155 °C", PRACTICE, "no source"))
    if "yield" in checks:
        interval = "E. B. Wilson 1927, as compared by R. G. Newcombe 1998, method 3"
        found.append(Source("interval of the sampled yield", interval, "secondary"))
    if {"broken-wire", "short"} & checks:
        found.append(Source("an open wire looks like nobody pressing", PRACTICE, "no source"))
    return found


def _table(what: str, name: str) -> list[Source]:
    table = load(name)
    return [Source(what, table.source, table.seen)]
