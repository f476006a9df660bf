"""A speed at every row, straight between its own samples, whether the rows between are empty or repeat it.

Answers: what was the speed when a row was written, and how far apart are the channel's own samples?
Units:   seconds; the speed's own unit.
Touches: nothing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pinproof.logs import limits
from pinproof.logs.blocks import Floats
from pinproof.logs.shares import beat_of

_PIECE = 16_384  # rows in which a beat shows


def even(time_s: Floats, column: Floats, interval_s: float | None) -> tuple[Floats, float | None]:
    """The speed at every row, and how far apart its own samples are.

    Parameters
    ----------
    time_s, column : array
        [s], the speed with NaN where nothing was recorded.
    interval_s : float or None
        What was found in the rows before; used where too little moves to tell.

    Returns
    -------
    tuple
        The speed, NaN where its samples are too far apart; their interval [s], None where nothing was recorded.
    """
    known = ~np.isnan(column)
    nodes: NDArray[np.int64] | None = None
    if not known.all():
        nodes = np.flatnonzero(known)
        if len(nodes) < 2:
            return np.full(len(column), np.nan), interval_s
    kept = column if nodes is None else column[nodes]
    at = time_s if nodes is None else time_s[nodes]
    period = float(np.median(np.diff(at[:4001]))) if len(at) > 1 else 1.0
    piece = kept[:_PIECE]
    every = beat_of(piece, np.flatnonzero(piece[1:] != piece[:-1]) + 1)
    if not every and len(kept) > _PIECE:
        every = beat_of(kept, np.flatnonzero(kept[1:] != kept[:-1]) + 1)
    if not every:  # it hardly moves: as before
        every = max(1, round((period if interval_s is None else interval_s) / max(period, 1e-9)))
    found_s = every * period
    if every >= 2:
        fresh = np.append(0, np.flatnonzero(kept[1:] != kept[:-1]) + 1)
        late = np.append(fresh[1:], len(kept)) - every
        late = late[late > fresh + every // 2]
        own = np.unique(np.concatenate([fresh, late, [len(kept) - 1]]))
        nodes = own if nodes is None else nodes[own]
    if nodes is None:
        return column, found_s
    made = np.interp(time_s, time_s[nodes], column[nodes])
    if every >= 2:
        return made, found_s
    far = max(limits.GAP_S, 3.0 * found_s)
    before = np.maximum(np.searchsorted(nodes, np.arange(len(time_s)), side="right") - 1, 0)
    after = np.minimum(before + 1, len(nodes) - 1)
    lost = (time_s - time_s[nodes[before]] > far) | (time_s[nodes[after]] - time_s > far)
    return np.where(lost, np.nan, made), found_s
