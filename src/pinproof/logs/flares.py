"""How far the turbine runs above both gears' lines in one shift.

Answers: did a clutch let go before the other held?
Units:   rpm, seconds.
Touches: nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinproof.logs import limits
from pinproof.logs.blocks import Floats


@dataclass(frozen=True)
class Flare:
    """How far the turbine ran above both gears' lines in one shift, which lasted to `to_s` at the latest.

    `apart`: seen to begin in the gear before and to end in the gear after, so no other shift can be mixed with it.
    """

    at_s: float
    before: float
    after: float
    peak_rpm: float
    above_note_s: float
    above_look_s: float
    two_above_fail: bool
    to_s: float
    apart: bool = False


class FlaresOf:
    """Collects. `expect` steps, `take` rows.

    `shown_late`: steps come from a channel that shows a gear when it is in. The shift is then looked for before it.
    """

    def __init__(self, ratios: Sequence[float], *, shown_late: bool = False) -> None:
        self.ratios, self.shown_late = tuple(ratios), shown_late
        self.found: list[Flare] = []
        self._steps: list[tuple[float, float, float, float]] = []  # and when the step before it came
        self._latest_s = -math.inf
        self._after_s = limits.SHOWN_LATE_AFTER_S if shown_late else limits.FLARE_AFTER_S

    def expect(self, steps: Sequence[tuple[float, float, float]]) -> None:
        """Steps as (time [s], gear before, gear after)."""
        for each in steps:
            self._steps.append((*each, self._latest_s))
            self._latest_s = each[0]

    def take(self, time_s: Floats, turbine: Floats, output: Floats, until_s: float) -> None:
        """Judge the steps whose time after them is over."""
        end_s = min(until_s, float(time_s[-1])) - self._after_s
        ready = [each for each in self._steps if each[0] <= end_s]
        self._steps = [each for each in self._steps if each[0] > end_s]
        for at_s, before, after, previous_s in ready:
            old, new = self.ratios[int(before) - 1], self.ratios[int(after) - 1]
            begin_s, to_s = at_s, at_s + limits.FLARE_AFTER_S
            settled_s = to_s - limits.FLARE_BESIDE_S
            if self.shown_late:
                rows = _rows(time_s, at_s - limits.SHOWN_LATE_BEFORE_S, at_s + self._after_s)
                stays = transit_of(time_s[rows], turbine[rows], output[rows], old, new, at_s, previous_s)
                if stays is None:
                    continue
                begin_s, settled_s, left_s = stays
                to_s = min(settled_s + limits.TRANSIT_BESIDE_S + limits.FLARE_BESIDE_S, left_s)
                settled_s = max(settled_s, to_s - limits.FLARE_BESIDE_S)
            rows = _rows(time_s, begin_s - limits.FLARE_BESIDE_S, to_s)
            made = flare_of(time_s[rows] - begin_s, turbine[rows], output[rows], old, new, settled_s - begin_s)
            if made is not None:
                self.found.append(Flare(begin_s, before, after, *made, to_s, self.shown_late))


def _rows(time_s: Floats, from_s: float, to_s: float) -> slice:
    return slice(int(time_s.searchsorted(from_s)), int(time_s.searchsorted(to_s, side="right")))


def transit_of(
    time_s: Floats,
    turbine: Floats,
    output: Floats,
    old: float,
    new: float,
    shown_s: float,
    previous_s: float = -math.inf,
) -> tuple[float, float, float] | None:
    """From when a shift that a display showed at `shown_s` is looked at, when the new gear was in, and left. [s]

    It is looked at from 1 s before the gear before was left, but not before that gear was in for 0.3 s. None where the
    gear before or the gear after is not seen for `limits.TRANSIT_STAY_S`; or where the gear before is seen last before
    `previous_s`, when the display came to it: that was another stay in it, and a third gear lay between.
    """
    if len(time_s) < 6:
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        q = turbine / np.where(output > limits.LEAST_OUTPUT_RPM, output, np.nan)
        band = min(2.0 * limits.BAND, abs(old / new - 1.0) / 3.0)
        stays_old, stays_new = (_stays(np.abs(q / each - 1.0) <= band, time_s) for each in (old, new))
    ends = [each for each in stays_new if each[0] <= shown_s + limits.TRANSIT_BESIDE_S]
    if not ends:
        return None
    begins = [each for each in stays_old if each[1] <= ends[-1][0]]
    if not begins:
        return None
    left_s = begins[-1][1]
    in_s, out_s = min(each for each in ends if each[0] >= left_s)
    if in_s - left_s > limits.TRANSIT_MOST_S or left_s < previous_s:
        return None
    whole_s = begins[-1][0]  # of the stay in the gear before, with a flare that fell back in it
    for first_s, last_s in reversed(begins[:-1]):
        if whole_s - last_s <= limits.TRANSIT_FELL_BACK_S and not any(last_s <= a < whole_s for a, _ in stays_new):
            whole_s = first_s
    looked_s = max(left_s - limits.TRANSIT_BEFORE_S, whole_s + limits.TRANSIT_BESIDE_S)
    return min(left_s, looked_s), in_s, out_s


def _stays(which: NDArray[np.bool_], time_s: Floats) -> list[tuple[float, float]]:
    """Stretches that are long enough to be a gear: first and last sample. [s]"""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], which, [False]])))
    first, last = time_s[edges[::2]], time_s[edges[1::2] - 1]
    return [(float(a), float(b)) for a, b in zip(first, last, strict=True) if b - a >= limits.TRANSIT_STAY_S]


def flare_of(
    after_s: Floats,
    turbine: Floats,
    output: Floats,
    old: float,
    new: float,
    settled_s: float = limits.FLARE_AFTER_S - limits.FLARE_BESIDE_S,
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
    settled_s : float
        Time after the command from which on the new gear is in. [s]

    Returns
    -------
    tuple or None
        Peak [rpm], time above the note and above the look line [s], whether two samples running are above the fail
        line. What the turbine stood above its own line in the half second before, and at the end, is taken off.
        None where the speeds are unknown.
    """
    if len(after_s) < 6 or not math.isfinite(turbine.sum() + output.sum()):
        return None
    begin = int(after_s.searchsorted(0.0))
    late = int(after_s.searchsorted(settled_s, side="right"))
    if begin < 2 or len(after_s) - late < 2:
        return None
    sync = output[begin:] * max(old, new)
    excess = turbine[begin:] - sync
    peak = float(excess.max())
    if peak <= limits.FLARE_NOTE_RPM:  # whatever is taken off, there is nothing to note
        return max(0.0, peak), 0.0, 0.0, False
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
