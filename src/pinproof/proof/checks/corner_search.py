"""The hottest or weakest corner of a box, found by turning one knob at a time.

Answers: how much current or heat may one element see, at the worst choice of all parts and supplies?
Units:   siemens, volts, amperes, watts.
Touches: nothing.
Sources: a node's potential is a quotient of two functions that are affine in each conductance alone (matrix-tree
         theorem), and affine in each rail, so the extremes of a drop lie at corners of the box.

The search starts at the two corners "all conducting best" and "all conducting worst" and takes the best single change
until none helps. What it returns is reached by a real choice of parts; another corner may still be worse. It serves
cautions (heat, wetting) and decides no verdict.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

from pinproof.network import Netlist, Sources, node_voltages

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
Quantity = Literal["power", "current"]
ROUNDS = 12


def extreme(
    net: Netlist,
    low_s: FloatArray,
    high_s: FloatArray,
    sources: Sources,
    edges: IntArray,
    quantity: Quantity,
    *,
    largest: bool,
) -> FloatArray:
    """Largest or least current or heat that each row's edge reaches at a corner of its box.

    Parameters
    ----------
    low_s, high_s : (R, m)
        Box of each row. [S]
    edges : (R,)
        Column of the edge that each row asks about.

    Returns
    -------
    array (R,)
        [A] (its size) or [W]; nan where no corner has a value (rails joined by shorts).
    """
    rows = np.arange(low_s.shape[0])
    knobs = np.flatnonzero((low_s < high_s).any(axis=0))
    causes = np.array(sources.varying, dtype=np.intp)
    count = knobs.size + causes.size
    best = np.full(rows.size, -np.inf)
    setting = np.zeros((rows.size, count), dtype=bool)
    for start in (True, False):
        tried = np.zeros((rows.size, count), dtype=bool)
        tried[:, : knobs.size] = start
        for cause_end in (True, False):
            tried[:, knobs.size :] = cause_end
            got = _score(net, low_s, high_s, sources, edges, rows, tried, knobs, causes, quantity, largest)
            better = got > best
            best[better], setting[better] = got[better], tried[better]
    alive = rows
    for _ in range(ROUNDS):
        if not count or not alive.size:
            break
        tried = np.repeat(setting[alive], count, axis=0)
        turned = np.tile(np.arange(count), alive.size)
        tried[np.arange(turned.size), turned] ^= True
        owner = np.repeat(alive, count)
        got = _score(net, low_s, high_s, sources, edges, owner, tried, knobs, causes, quantity, largest)
        got = got.reshape(alive.size, count)
        pick = got.argmax(axis=1)
        top = got[np.arange(alive.size), pick]
        before = best[alive]
        slack = np.where(np.isfinite(before), 1e-12 * np.abs(before), 0.0)  # rounding is no gain
        gains = np.isfinite(top) & (top > before + slack)
        setting[alive[gains], pick[gains]] ^= True
        best[alive[gains]] = top[gains]
        alive = alive[gains]
    out = np.where(np.isfinite(best), best if largest else -best, np.nan)
    return out


def _score(
    net: Netlist,
    low_s: FloatArray,
    high_s: FloatArray,
    sources: Sources,
    edges: IntArray,
    owner: IntArray,
    setting: npt.NDArray[np.bool_],
    knobs: IntArray,
    causes: IntArray,
    quantity: Quantity,
    largest: bool,
) -> FloatArray:
    """What is sought, with its sign turned so that more is better; -inf where there is no value."""
    g = low_s[owner].copy()
    g[:, knobs] = np.where(setting[:, : knobs.size], high_s[owner][:, knobs], g[:, knobs])
    cause = np.repeat(sources.cause_low[None], owner.size, axis=0).copy()
    cause[:, causes] = np.where(setting[:, knobs.size :], sources.cause_high[causes], cause[:, causes])
    volts = node_voltages(net, g, sources.rail_v(cause))
    ends = np.array(net.ends, dtype=np.intp)[edges[owner]]
    at = np.arange(owner.size)
    drop_v = volts[at, ends[:, 0]] - volts[at, ends[:, 1]]
    own = g[at, edges[owner]]
    with np.errstate(invalid="ignore"):
        value = own * drop_v**2 if quantity == "power" else np.abs(own * drop_v)
    value = np.where(own == 0.0, 0.0, value)
    signed = value if largest else -value
    return np.where(np.isfinite(signed), signed, -np.inf)
