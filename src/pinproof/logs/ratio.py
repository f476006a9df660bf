"""The gear that is in, told from the ratio of two speeds.

Answers: which gear fits the ratio at each sample, and where does none, or more than one?
Units:   rpm; ratios as turbine turns for one of the output; seconds.
Touches: nothing.
Sources: the band of 3 % and the holding time: common practice, no source. docs/logs.md, "Gear from the ratio".
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pinproof.logs.blocks import Floats
from pinproof.logs.limits import BAND, LEAST_OUTPUT_RPM, RANGE_S, SLIP_MORE, SLOPE_S

UNKNOWN = -9.0
_PIECE = 16_384  # rows


def gears_of(
    ratio: Floats,
    slope_per_s: Floats,
    ratios: Sequence[float],
    slack_s: float | Floats,
    *,
    band: float = BAND,
    extra: float = 0.0,
) -> Floats:
    """Gear from turbine ÷ output.

    Parameters
    ----------
    ratio : array
        Measured turbine ÷ output; NaN where unknown.
    slope_per_s : array
        |d ln(output)/dt|. [1/s]
    ratios : sequence of float
        Of all gears, the lowest gear first, falling.
    slack_s : float or array
        How far apart in time both speeds may have been taken. [s]
    band, extra : float
        Allowed share either way, and what is added to it.

    Returns
    -------
    array
        1.0 for the first gear and so on, `UNKNOWN` where none is within its band. Never beyond the half-step.

    Examples
    --------
    >>> gears_of(np.array([4.1, 3.2, 2.4]), np.zeros(3), [4.0, 2.4], 0.0)
    array([ 1., -9.,  2.])
    """
    listed = np.asarray(ratios, dtype=float)
    found = np.empty(ratio.shape)
    for first in range(0, len(ratio), _PIECE):  # what is made on the way stays in the processor's cache
        rows = slice(first, first + _PIECE)
        some = ratio[rows]
        gear = nearest(some, ratios)
        wanted = listed[gear]
        allowed = band + extra + slope_per_s[rows] * (slack_s if isinstance(slack_s, float) else slack_s[rows])
        with np.errstate(invalid="ignore"):
            fits = np.abs(some - wanted) <= allowed * wanted
        found[rows] = np.where(fits, gear + 1.0, UNKNOWN)
    return found


def nearest(ratio: Floats, ratios: Sequence[float]) -> NDArray[np.intp]:
    """Number of the nearest gear by geometric half-steps, from 0; the last for NaN."""
    listed = np.asarray(ratios, dtype=float)
    halves = np.sqrt(listed[1:] * listed[:-1])
    gear = np.full(ratio.shape, len(listed) - 1, dtype=np.intp)
    for half in halves:
        with np.errstate(invalid="ignore"):
            gear -= ratio > half
    return gear


def gears_with_slip(
    ratio: Floats,
    slope_per_s: Floats,
    ratios: Sequence[float],
    slack_s: float | Floats,
    most_slip: float,
    locked: NDArray[np.bool_] | None,
    *,
    band: float = BAND,
    extra: float = 0.0,
) -> Floats:
    """Gear from engine ÷ output: as `gears_of` while locked; else a converter may slip, so only the one gear that fits.

    `most_slip` is the greatest 1 − turbine ÷ engine of the design; `locked` is true where the converter is locked, or
    None if nothing tells.
    """
    spare = slope_per_s * slack_s  # what two samples at different times may differ by; it widens doubt, not the band
    slips = 1.0 / (1.0 - min(most_slip + SLIP_MORE, 0.95))
    low, high = 1.0 - band - extra, (1.0 + band + extra) * slips
    count = np.zeros(ratio.shape)
    found = np.full(ratio.shape, UNKNOWN)
    for number, each in enumerate(ratios, start=1):
        with np.errstate(invalid="ignore"):
            count += (ratio >= each * (low - spare)) & (ratio <= each * (high + spare * slips))
            found = np.where((ratio >= each * low) & (ratio <= each * high), float(number), found)
    found = np.where(count == 1.0, found, UNKNOWN)
    if locked is None:
        return found
    return np.where(locked, gears_of(ratio, slope_per_s, ratios, slack_s, band=band, extra=extra), found)


def of_one_range(time_s: Floats, codes: Sequence[Floats]) -> Floats:
    """Gear where only the road speed tells how quickly the output turns, so each transfer range tells its own gear.

    A transfer is not moved from second to second: in each `RANGE_S` one range must tell a gear for twice as long as any
    other, or nothing is told; and where another range tells another gear there too, it is not told either.
    """
    told = np.array([each > 0.0 for each in codes])
    piece = np.floor(time_s / RANGE_S).astype(np.int64)
    piece -= piece[0] if len(piece) else 0
    many = int(piece[-1]) + 1 if len(piece) else 0
    counts = np.array([np.bincount(piece, weights=each, minlength=many) for each in told])
    best = counts.argmax(axis=0)
    ordered = np.sort(counts, axis=0)
    clear = (ordered[-1] >= 2.0 * ordered[-2]) & (ordered[-1] > 0.0)
    stacked = np.array(codes)
    mine = stacked[best[piece], np.arange(len(time_s))]
    other = (told & (stacked != mine)).any(axis=0)
    return np.where(clear[piece] & ~other, mine, UNKNOWN)


def slopes(time_s: Floats, output_rpm: Floats, around_s: float = SLOPE_S) -> Floats:
    """d ln(output)/dt over about `around_s` either way; 0 where the output stands or is unknown. [1/s]"""
    size = len(time_s)
    if size < 3:
        return np.zeros(size)
    period = float(np.median(np.diff(time_s[: min(size, 2001)])))
    every = max(1, int(around_s / 5.0 / max(period, 1e-6)))  # it is a mean over some time: not every row is needed
    at, speed = time_s[::every], output_rpm[::every]
    many = len(at)
    if many < 3:
        return np.zeros(size)
    reach = max(1, min(many // 2, round(around_s / max(period * every, 1e-6))))
    with np.errstate(invalid="ignore", divide="ignore"):
        logs = np.log(np.where(speed > LEAST_OUTPUT_RPM / 2.0, speed, np.nan))
        later = np.minimum(np.arange(many) + reach, many - 1)
        sooner = np.maximum(np.arange(many) - reach, 0)
        found = (logs[later] - logs[sooner]) / (at[later] - at[sooner])
    return np.repeat(np.where(np.isfinite(found), found, 0.0), every)[:size]
