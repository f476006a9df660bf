"""One reading of very many random samples.

Answers: the potential of a node, divided if wanted, for a million sets of conductances and rails.
Units:   siemens, volts.
Touches: nothing.
Beside:  `solve.node_voltages` gives all nodes.

The elimination runs along the batch axis in pieces that stay in the processor's cache.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from pinproof.network.netlist import FloatArray, Netlist, NetworkFault, Plan
from pinproof.network.solve import transfer_columns
from pinproof.network.star_mesh import shorted_rails

PIECE = 8192


def readings_of_samples(
    net: Netlist,
    conductance_s: npt.ArrayLike,
    rail_v: npt.ArrayLike,
    node: str,
    divisor: npt.ArrayLike | None = None,
    minus: str | None = None,
) -> FloatArray:
    """Reading of each sample, shape (N,). NaN where the node floats or rails are shorted.

    Parameters
    ----------
    conductance_s : (N, m)
        Each column at its own place in memory (``order="F"``) is quickest, any order works. [S]
    rail_v : (N, r), (1, r) or (r,)
        [V]
    node : str
    divisor : (N,) or number, optional
        The reading is divided by it.
    minus : str, optional
        Node whose potential is taken off first.
    """
    array = np.asarray(conductance_s, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != len(net.edges):
        raise NetworkFault("conductance_s", f"shape {array.shape}", f"(samples, {len(net.edges)})")
    rows = array.shape[0]
    volts = net.rail_potentials(rail_v, rows)
    first, second = net.node_index(node), None if minus is None else net.node_index(minus)
    out = np.empty(rows)
    for start in range(0, rows, PIECE):
        piece = slice(start, min(start + PIECE, rows))
        columns = np.array(array[piece].T, order="C")
        most, least = columns.max(initial=0.0), columns.min(initial=np.inf)
        if not least >= 0.0:
            net.conductances(array[piece])
        at_v = volts[piece] if volts.shape[0] > 1 else volts
        plain = bool(least > 0.0 and most < np.inf)
        out[piece] = _piece(net, first, columns, at_v, plain)
        if second is not None:
            columns = np.array(array[piece].T, order="C")
            out[piece] -= _piece(net, second, columns, at_v, plain)
    if divisor is not None:
        out /= np.asarray(divisor, dtype=np.float64)
    return out


def _piece(net: Netlist, node: int, columns: FloatArray, volts: FloatArray, plain: bool) -> FloatArray:
    """Potential of a node; `plain` if no conductance is 0 or infinite."""
    count = columns.shape[1]
    if node in net.rail_index:
        return np.broadcast_to(volts[:, net.rail_index.index(node)], (count,)).copy()
    plan = net.plan((node,))
    joined = [i for i, rail in enumerate(net.rail_index) if plan.slot(node, rail) >= 0]
    if not joined:
        return np.full(count, np.nan)
    if plain:
        slots = _eliminated_in_place(plan, columns)
        parts = [slots[plan.slot(node, net.rail_index[i])] for i in joined]
        moment, spare = parts[0] * volts[:, joined[0]], np.empty(count)
        for i, part in zip(joined[1:], parts[1:], strict=True):
            moment += np.multiply(part, volts[:, i], out=spare)
            parts[0] += part
        moment /= parts[0]
        return moment
    shares = transfer_columns(net, node, list(columns), True, (count,))
    out: FloatArray = np.einsum("nr,nr->n", shares, np.broadcast_to(volts, shares.shape))
    for i, j, shorted in shorted_rails(net, list(columns)):
        out[shorted & (volts[:, i] != volts[:, j])] = np.nan
    return out


def _eliminated_in_place(plan: Plan, columns: FloatArray) -> list[FloatArray]:
    """`star_mesh.eliminate` for conductances that are neither 0 nor infinite; overwrites `columns` (m, count).

    Working in place keeps all arrays of a piece in the cache; that is most of the speed.
    """
    count = columns.shape[1]
    slots: list[FloatArray] = []
    for edges in plan.slot_edges:
        if edges:
            column = columns[edges[0]]
            for edge in edges[1:]:
                column += columns[edge]
        else:
            column = np.zeros(count)
        slots.append(column)
    total, weight, added = np.empty(count), np.empty(count), np.empty(count)
    for star in plan.stars:
        if not star.mesh:
            continue
        own = [slots[s] for s in star.slots]
        np.add(own[0], own[1], out=total)
        for column in own[2:]:
            total += column
        before = -1
        for i, j, target in star.mesh:
            if i != before:
                np.divide(own[i], total, out=weight)
                before = i
            slots[target] += np.multiply(weight, own[j], out=added)
    return slots
