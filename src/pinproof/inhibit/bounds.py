"""Sound bounds of a coil's volts over a whole box: what can be decided without trying corners.

Answers: can a condition on one coil never hold, does it hold everywhere; which nodes hang together without the coil?
Units:   siemens, volts.
Shapes:  R rows (boxes of one netlist), C corners of the rails.
Touches: nothing.
Beside:  `corners` tries what is left open here.
"""

from __future__ import annotations

from enum import IntEnum

import numpy as np
import numpy.typing as npt

from pinproof.network import Netlist
from pinproof.network.intervals import reading_bounds
from pinproof.network.reduce import reduction

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

SLACK = 1e-9
"""Bounds decide only beyond a level by more than this share of it: rounding decides nothing."""


class Ask(IntEnum):
    """What is asked of a coil's volts against a level."""

    NOTHING = 0
    ABOVE = 1
    REACHES = 2
    BELOW = 3
    AT_MOST = 4


def reached(net: Netlist, start: int, coil: int, mask: bytes) -> set[int]:
    """Nodes that hang together with one end of a coil without it and without passing a rail, with the rails met."""
    rails, can = set(net.rail_index), np.frombuffer(mask, dtype=bool)
    near: dict[int, list[int]] = {}
    for column, (a, b) in enumerate(net.ends):
        if can[column] and column != coil:
            near.setdefault(a, []).append(b)
            near.setdefault(b, []).append(a)
    seen, wait = {start}, [start]
    while wait:
        node = wait.pop()
        if node in rails:
            continue
        for other in near.get(node, ()):
            if other not in seen:
                seen.add(other)
                wait.append(other)
    return seen


def bounded(
    net: Netlist, coil: int, whole: tuple[int, ...], mask: bytes, box: tuple[FloatArray, FloatArray],
    asked: npt.NDArray[np.int8], level_v: FloatArray, rail_v: FloatArray,
) -> tuple[BoolArray, BoolArray]:  # fmt: skip
    """For each row whether a condition on one coil can never hold, and whether it holds all over the box at some corner
    of the rails. Sound bounds, no corners."""
    poles = [net.nodes[node] for node in net.ends[coil]]
    small = reduction(net, tuple(dict.fromkeys(net.ends[coil])), whole, mask)
    ends = [small.net.node_index(pole) for pole in poles]
    if not small.net.rails:  # a coil that hangs on no rail has no volts across it
        up = asked <= Ask.REACHES
        return up, ~up
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        low, high = small.apply(box[0]), small.apply(box[1])
        least, most = reading_bounds(small.net, ends[0], ends[1], low, high, rail_v, np.ones(1))
    top = np.maximum(most, -least)  # (R, C), without sign
    bottom = np.where((least <= 0.0) & (most >= 0.0), 0.0, np.minimum(np.abs(least), np.abs(most)))
    below, above_ = (level_v[:, None] * (1.0 + sign * SLACK) for sign in (-1.0, 1.0))
    up = asked <= Ask.REACHES
    one_way = (least > 0.0).all(axis=1) | (most < 0.0).all(axis=1)
    never = np.where(up, (top < below).all(axis=1), one_way & (bottom > above_).all(axis=1))
    always = np.where(up, (bottom > above_).any(axis=1), (top < below).any(axis=1))
    return never, always
