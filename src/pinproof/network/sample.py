"""One reading of very many random samples.

Answers: the potential of a node, divided if wanted, for a million sets of conductances and rails.
Units:   siemens, volts.
Touches: nothing.
Beside:  `solve.node_voltages` gives all nodes.

The elimination runs along the batch axis in pieces that stay in the processor's cache. Sparse networks go edge by
edge; dense ones row by row of a triangle, so that one numpy call does a whole row of pairs.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from pinproof.network.netlist import FloatArray, Netlist, NetworkFault
from pinproof.network.solve import transfer_columns
from pinproof.network.star_mesh import shorted_rails

PIECE = 4096


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
        columns = np.ascontiguousarray(array[piece].T)
        most, least = columns.max(initial=0.0), columns.min(initial=0.0)
        if not least >= 0.0:
            net.conductances(array[piece])
        at_v = volts[piece] if volts.shape[0] > 1 else volts
        out[piece] = _piece(net, first, columns, at_v, bool(np.isinf(most)))
        if second is not None:
            out[piece] -= _piece(net, second, columns, at_v, bool(np.isinf(most)))
    if divisor is not None:
        out /= np.asarray(divisor, dtype=np.float64)
    return out


def _piece(net: Netlist, node: int, columns: FloatArray, volts: FloatArray, shorts: bool) -> FloatArray:
    count = columns.shape[1]
    if node in net.rail_index:
        return np.broadcast_to(volts[:, net.rail_index.index(node)], (count,)).copy()
    parts = transfer_columns(net, node, list(columns), shorts, (count,))
    out = np.einsum("nr,nr->n", parts, np.broadcast_to(volts, parts.shape))
    if not net.rail_index:
        out[:] = np.nan
    if shorts:
        for i, j, joined in shorted_rails(net, list(columns)):
            out[joined & (volts[:, i] != volts[:, j])] = np.nan
    return out
