"""Potentials, currents, powers and two-point resistance of a network, for many rows at once.

Answers: what is the potential of each node, what flows in each edge, what does an ohmmeter read between two nodes,
         how does a node's potential depend on each rail.
Units:   conductance [S], potentials [V], currents [A], powers [W], resistance [Ω].
Shapes:  `conductance_s` (B, m) or (m,), `rail_v` (B, r), (1, r) or (r,); results have B rows.
Touches: nothing.
Beside:  `spans` bounds a reading over a box; `sample` is quicker for one node and a million rows.

Nodes without a path to a rail have no potential: NaN, with status FLOATING. Rails of different potential joined by
shorts have no solution: NaN at every node that is not a rail, with status RAILS_SHORTED.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from pinproof.network.netlist import BoolArray, FloatArray, Netlist, NetworkFault, Plan
from pinproof.network.star_mesh import eliminate, links, shorted_rails, weights


class Status(IntEnum):
    """Whether a potential exists."""

    OK = 0
    FLOATING = 1  # no path from the node to any rail
    RAILS_SHORTED = 2  # rails of different potential joined by a chain of shorts


def node_voltages(net: Netlist, conductance_s: npt.ArrayLike, rail_v: npt.ArrayLike) -> FloatArray:
    """Potential of every node, shape (B, n) in the order of `net.nodes`. [V] NaN where there is none.

    Examples
    --------
    >>> net = Netlist(["pin", "ref", "gnd"], ["ref", "gnd"], [("pull", "ref", "pin"), ("path", "pin", "gnd")])
    >>> print(node_voltages(net, [1 / 1000, 1 / 1000], [5.0, 0.0]))
    [[2.5 5.  0. ]]
    """
    return _solve(net, conductance_s, rail_v)[0]


def node_status(net: Netlist, conductance_s: npt.ArrayLike, rail_v: npt.ArrayLike) -> npt.NDArray[np.int8]:
    """`Status` of every node, shape (B, n). Rails are always OK."""
    return _solve(net, conductance_s, rail_v)[1]


def _solve(
    net: Netlist, conductance_s: npt.ArrayLike, rail_v: npt.ArrayLike
) -> tuple[FloatArray, npt.NDArray[np.int8]]:
    g = net.conductances(conductance_s)
    rows = g.shape[0]
    volts = net.rail_potentials(rail_v, rows)
    shorts = bool(np.isinf(g).any())
    columns = list(np.ascontiguousarray(g.T))
    plan = net.plan(())
    slots = eliminate(plan, columns, shorts)
    v = np.zeros((len(net.nodes), rows))
    floating = np.zeros((len(net.nodes), rows), dtype=bool)
    for position, rail in enumerate(net.rail_index):
        v[rail] = volts[:, position]
    for star in reversed(plan.stars):
        if not star.slots:
            floating[star.node] = True
            continue
        parts, none = weights([slots[s] for s in star.slots], shorts)  # type: ignore[misc]
        for part, other in zip(parts, star.neighbours, strict=True):
            v[star.node] += part * v[other]
            floating[star.node] |= (part > 0.0) & floating[other]
        floating[star.node] |= none
    status = np.where(floating, np.int8(Status.FLOATING), np.int8(Status.OK)).astype(np.int8)
    v[floating] = np.nan
    bad = _contradiction(net, columns, volts) if shorts else None
    if bad is not None:
        inner = np.ones(len(net.nodes), dtype=bool)
        inner[list(net.rail_index)] = False
        hit = inner[:, None] & np.broadcast_to(bad, (rows,))[None, :]
        v[hit] = np.nan
        status[hit] = Status.RAILS_SHORTED
    return v.T, status.T


def _contradiction(net: Netlist, columns: Sequence[FloatArray], volts: FloatArray) -> BoolArray | None:
    """Rows in which rails of different potential are joined by shorts."""
    bad: BoolArray | None = None
    for i, j, joined in shorted_rails(net, columns):
        here = joined & (volts[:, i] != volts[:, j])
        bad = here if bad is None else bad | here
    return bad


def edge_currents(net: Netlist, conductance_s: npt.ArrayLike, rail_v: npt.ArrayLike) -> FloatArray:
    """Current through each edge from its end `a` to its end `b`, shape (B, m). [A]

    An edge without conductance or between floating nodes carries none. The current through an ideal short is not
    given by its drop: NaN there.
    """
    g = net.conductances(conductance_s)
    v, status = _solve(net, g, rail_v)
    out = np.zeros(g.shape)
    with np.errstate(invalid="ignore"):
        for index, (a, b) in enumerate(net.ends):
            if a == b:
                continue
            idle = (g[:, index] == 0.0) | (status[:, a] == Status.FLOATING) | (status[:, b] == Status.FLOATING)
            current = np.where(np.isinf(g[:, index]), np.nan, g[:, index] * (v[:, a] - v[:, b]))
            out[:, index] = np.where(idle, 0.0, current)
    return out


def edge_powers(net: Netlist, conductance_s: npt.ArrayLike, rail_v: npt.ArrayLike) -> FloatArray:
    """Heat in each edge, shape (B, m). [W] An ideal short has none; NaN if it joins rails of different potential."""
    g = net.conductances(conductance_s)
    v, status = _solve(net, g, rail_v)
    out = np.zeros(g.shape)
    with np.errstate(invalid="ignore"):
        for index, (a, b) in enumerate(net.ends):
            if a == b:
                continue
            drop = v[:, a] - v[:, b]
            idle = (g[:, index] == 0.0) | (status[:, a] == Status.FLOATING) | (status[:, b] == Status.FLOATING)
            ideal = np.where(drop == 0.0, 0.0, np.nan)
            heat = np.where(np.isinf(g[:, index]), ideal, g[:, index] * drop**2)
            out[:, index] = np.where(idle, 0.0, heat)
    return out


def resistance_between(net: Netlist, conductance_s: npt.ArrayLike, a: str, b: str, killed: str = "open") -> FloatArray:
    """What an ohmmeter reads between two nodes with all sources killed, shape (B,). [Ω]

    Parameters
    ----------
    killed : "open" or "shorted"
        ``"open"``: nothing is connected to the rails but the edges (plug pulled, only the passive network is left).
        ``"shorted"``: all rails are tied together (each source replaced by its zero internal resistance).

    Returns
    -------
    array
        ``inf`` without a path, ``0`` with a short.
    """
    g = net.conductances(conductance_s)
    first, second = net.node_index(a), net.node_index(b)
    if killed not in ("open", "shorted"):
        raise NetworkFault("killed", f'"{killed}"', '"open" or "shorted"')
    plan: Plan = net.plan((first, second), rails="tied" if killed == "shorted" else "loose")
    if plan.alias[first] == plan.alias[second]:
        return np.zeros(g.shape[0])
    slots = eliminate(plan, list(np.ascontiguousarray(g.T)), bool(np.isinf(g).any()))
    number = plan.slot(first, second)
    left = slots[number] if number >= 0 else None
    if left is None:
        return np.full(g.shape[0], np.inf)
    with np.errstate(divide="ignore"):
        return np.broadcast_to(1.0 / left, (g.shape[0],)).copy()


def transfer(net: Netlist, conductance_s: npt.ArrayLike, node: str) -> FloatArray:
    """Coefficients T, shape (B, r), with V_node = sum over rails of T_j V_j. They lie in 0…1 and sum to 1.

    A floating node has NaN. With a short to several rails the first one counts; `node_status` tells when those
    rails contradict each other.
    """
    g = net.conductances(conductance_s)
    index = net.node_index(node)
    if index in net.rail_index:
        unit = np.zeros(len(net.rails))
        unit[net.rail_index.index(index)] = 1.0
        return np.tile(unit, (g.shape[0], 1))
    shorts = bool(np.isinf(g).any())
    return transfer_columns(net, index, list(np.ascontiguousarray(g.T)), shorts, (g.shape[0],))


def transfer_columns(
    net: Netlist, node: int, columns: Sequence[FloatArray], shorts: bool, shape: tuple[int, ...]
) -> FloatArray:
    """`transfer` on broadcastable columns; result shape (*shape, r), NaN where the node floats."""
    out = np.zeros((*shape, len(net.rails)))
    if node in net.rail_index:
        out[..., net.rail_index.index(node)] = 1.0
        return out
    if not net.rail_index:
        return out
    parts, none = weights(links(net, node, columns, shorts), shorts)
    for position, part in enumerate(parts):
        out[..., position] = part
    out[np.broadcast_to(none, shape)] = np.nan
    return out


def thevenin_resistance(net: Netlist, conductance_s: npt.ArrayLike, node: str) -> FloatArray:
    """Resistance seen into a node with all rails at zero, shape (B,). [Ω] ``inf`` if it floats, 0 for a rail."""
    g = net.conductances(conductance_s)
    index = net.node_index(node)
    if index in net.rail_index:
        return np.zeros(g.shape[0])
    parts = links(net, index, list(np.ascontiguousarray(g.T)), bool(np.isinf(g).any()))
    total = np.zeros(g.shape[0])
    for part in parts:
        total = total + part
    with np.errstate(divide="ignore"):
        return 1.0 / total
