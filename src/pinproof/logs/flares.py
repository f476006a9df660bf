"""How far the turbine runs above both gears' lines in one shift.

Answers: did a clutch let go before the other held?
Units:   rpm, seconds.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinproof.logs import limits
from pinproof.logs.blocks import Floats


@dataclass(frozen=True)
class Flare:
    """How far the turbine ran above both gears' lines after one step."""

    at_s: float
    before: float
    after: float
    peak_rpm: float
    above_note_s: float
    above_look_s: float
    two_above_fail: bool


def flare_of(
    after_s: Floats, turbine: Floats, output: Floats, old: float, new: float
) -> tuple[float, float, float, bool] | None:
    """How far the turbine ran above both gears' lines.

    Parameters
    ----------
    after_s : array
        Time since the step's command, from 0.5 s before it. [s]
    turbine, output : array
        [rpm]
    old, new : float
        Ratios.

    Returns
    -------
    tuple or None
        Peak [rpm], time above the note and above the look line [s], whether two samples running are above the fail
        line. What the turbine stood above its own line in the half second before, and at the end, is taken off.
        None where the speeds are unknown.
    """
    if len(after_s) < 6 or not np.isfinite(turbine.sum() + output.sum()):
        return None
    begin = int(np.searchsorted(after_s, 0.0))
    late = int(np.searchsorted(after_s, limits.FLARE_AFTER_S - limits.FLARE_BESIDE_S, side="right"))
    if begin < 2 or len(after_s) - late < 2:
        return None
    sync = output[begin:] * max(old, new)
    excess = turbine[begin:] - sync
    if excess.max() <= limits.FLARE_NOTE_RPM:  # whatever is taken off, there is nothing to note
        return max(0.0, float(excess.max())), 0.0, 0.0, False
    offset = max(
        0.0, _middle(turbine[:begin] - output[:begin] * old), _middle(turbine[late:] - output[late:] * new)
    )  # fmt: skip
    excess = excess - min(offset, limits.BAND * _middle(sync))
    at = after_s[begin:]
    step = np.diff(at, append=at[-1])
    fails = excess > limits.FLARE_FAIL_RPM
    return (
        max(0.0, float(excess.max())), _longest(excess > limits.FLARE_NOTE_RPM, step),
        _longest(excess > limits.FLARE_LOOK_RPM, step), bool((fails[1:] & fails[:-1]).any()),
    )  # fmt: skip


def _longest(which: NDArray[np.bool_], step: Floats) -> float:
    """Longest stretch that is surely so: from its first to its last sample."""
    if not which.any():
        return 0.0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], which, [False]])))
    passed = np.concatenate([[0.0], np.cumsum(step)])
    return float((passed[edges[1::2] - 1] - passed[edges[::2]]).max())


def _middle(values: Floats) -> float:
    """The middle one of a few numbers."""
    return float(np.sort(values)[len(values) // 2])
