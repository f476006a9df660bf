"""Bundles and sleeves: how thick are n wires together, and which shrink tube fits?

Answers: outside diameter of a round bundle (exact for few equal wires), the range of objects a tube fits.
Units:   m, or 1 for ratios.
Touches: the data files beside this module.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinproof.errors import OutOfTable
from pinproof.tables.load import Figure, Sourced, load


@dataclass(frozen=True, kw_only=True)
class BundleRatio(Sourced):
    """Bundle diameter over wire diameter for equal wires; `exact` is False for the estimate."""

    count: int
    ratio: float
    exact: bool


@dataclass(frozen=True, kw_only=True)
class ShrinkRange(Sourced):
    """Outside diameters of objects on which a heat-shrink tube fits. [m]"""

    least_outside_m: float
    most_outside_m: float


def bundle_ratio(count: int) -> BundleRatio:
    """Diameter of the smallest circle around `count` equal circles, over theirs.

    Exact for 1 to 9 and 19. Else the usual estimate, held between the exact values of fewer and of more wires; it can
    still be a few per cent too small. OutOfTable below 1.
    """
    table = load("circles_in_circle")
    if count < 1:
        raise OutOfTable(table.title, f"{count} wires", "1 wire and more")
    exact = {row[0]: row[1] for row in table.rows}
    if count in exact:
        return BundleRatio(count=count, ratio=exact[count], exact=True, source=table.source, seen=table.seen)
    estimate = bundle_factor()
    floor = max(ratio for number, ratio in exact.items() if number < count)
    ceiling = min((ratio for number, ratio in exact.items() if number > count), default=math.inf)
    ratio = min(max(estimate.value * math.sqrt(count), floor), ceiling)
    return BundleRatio(
        count=count, ratio=ratio, exact=False, source=estimate.source, seen=estimate.seen, note=estimate.note
    )


def bundle_factor() -> Figure:
    """Factor k in bundle diameter = k * sqrt(sum of squared wire diameters); an estimate. [1]"""
    table = load("bundle_estimate")
    return Figure(value=table.facts["factor"], unit="1", source=table.source, seen=table.seen, note=table.note)


def shrink_range_m(supplied_m: float, recovered_m: float) -> ShrinkRange:
    """Objects that fit a tube of `supplied_m` inside diameter as bought and `recovered_m` when fully shrunk.

    ValueError unless recovered_m is above zero and below supplied_m. The range is empty (least above most) for a tube
    that shrinks too little.
    """
    if not 0.0 < recovered_m < supplied_m:
        raise ValueError(f"recovered_m must lie between zero and supplied_m, not {recovered_m} of {supplied_m}")
    table = load("heat_shrink")
    return ShrinkRange(
        least_outside_m=table.facts["least_over_recovered"] * recovered_m,
        most_outside_m=table.facts["most_of_supplied"] * supplied_m,
        source=table.source,
        seen=table.seen,
        note=table.note,
    )
