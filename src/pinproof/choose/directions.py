"""Which way each conductance moves a controller's clipped reading, over a box of candidates.

Answers: does the reading rise or fall with this conductance, for every choice in the box and every cause?
Units:   siemens; readings in the space of their window.
Shapes:  members (M,) of one problem, edges (m,).
Touches: nothing.
Beside:  `pinproof.network.spans.monotone` proves most of them; `compiled` puts conductances at their ends.
Sources: superposition. With a single conductance g between the read node and a rail, the reading is the weighted mean
         of the rail's potential (weight g) and of what the node reads without it. So it moves towards the rail, all
         the way, and only which of the two is higher has to be known.

What a controller reads is clipped to 0 … full scale. A rail that is never above 0 can therefore only lower the clipped
reading, and one that is never below full scale can only raise it, wherever the node itself may stand.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from pinproof.choose.problem import FloatArray, Member
from pinproof.network.netlist import BoolArray, Netlist
from pinproof.network.reduce import reduction
from pinproof.network.signs import FALLS, OPEN, RISES
from pinproof.network.solve import Status, node_status
from pinproof.network.spans import monotone
from pinproof.network.sweep import Sweep

Signs = npt.NDArray[np.int8]


def directions(
    net: Netlist, node: int, members: Sequence[Member], low_s: FloatArray, high_s: FloatArray
) -> tuple[Signs, BoolArray]:
    """Proven effects (M, m) as in `network.signs`, and which members have no settled reading somewhere in the box.

    Parameters
    ----------
    low_s, high_s : (M, m)
        Ends of all conductances of each member's circuit, the candidates' included. [S]
    """
    signs = np.zeros(low_s.shape, dtype=np.int8)
    unsettled = np.zeros(len(members), dtype=bool)
    groups: dict[tuple[int, int, float], list[int]] = {}
    for index, member in enumerate(members):
        groups.setdefault((id(member.sources), id(member.reading), member.full_scale), []).append(index)
    for mine in groups.values():
        one, low, high = members[mine[0]], low_s[mine], high_s[mine]
        found = monotone(net, low, high, one.sources, one.reading).sign
        if one.sources.all_corners and (found == OPEN).any():
            found = _to_rails(net, node, one, low, high, found)
        signs[mine] = found
        unsettled[mine] = _unsettled(net, node, one, low, high)
    return signs, unsettled


def _to_rails(net: Netlist, node: int, one: Member, low: FloatArray, high: FloatArray, signs: Signs) -> Signs:
    """Settle what is open among conductors that, taken together, run from the node to one rail."""
    small = reduction(net, [node])
    at = small.net.node_index(net.nodes[node])
    rails = {rail: place for place, rail in enumerate(small.net.rail_index)}
    volts = one.sources.corner_rail_v
    divisors = one.reading.divisors(one.sources, one.sources.corners)
    sweep: Sweep | None = None
    out = signs.copy()
    rows = np.arange(len(low))
    for number, (a, b) in enumerate(small.net.ends):
        mine = np.flatnonzero(small.group == number)
        other = b if a == at else a
        if at not in (a, b) or other not in rails or not (signs[:, mine] == OPEN).any():
            continue
        rail_v = volts[:, rails[other]]
        if (rail_v <= 0.0).all():
            found = np.full(len(low), FALLS, dtype=np.int8)
        elif (rail_v >= one.full_scale * divisors).all():
            found = np.full(len(low), RISES, dtype=np.int8)
        else:
            if sweep is None:
                sweep = Sweep(small.net, tuple((rail,) for rail in small.net.rail_index))
                sweep.prepare(small.apply(low), small.apply(high))
            found = sweep.signs([number], rows, volts)[0]
            if other == b:  # the drop from the node to the rail; it is wanted the other way
                found = np.where(found == OPEN, OPEN, -found).astype(np.int8)
        out[:, mine] = np.where(out[:, mine] == OPEN, found[:, None], out[:, mine])
    return out


def _unsettled(net: Netlist, node: int, one: Member, low_s: FloatArray, high_s: FloatArray) -> BoolArray:
    """Rows in which the node floats, or rails of different potential are shorted, somewhere in the box."""
    distinct = np.arange(len(net.rails), dtype=float)
    floats: BoolArray = node_status(net, low_s, distinct)[:, node] == Status.FLOATING
    joined: BoolArray = node_status(net, high_s, distinct)[:, node] == Status.RAILS_SHORTED
    if joined.any():
        joined = np.zeros_like(joined)
        for rail_v in one.sources.corner_rail_v:
            joined |= node_status(net, high_s, rail_v)[:, node] == Status.RAILS_SHORTED
    return floats | joined
