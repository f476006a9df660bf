"""How much later one channel shows what another one shows too.

Answers: the lag between two channels that move together, with its uncertainty, from the stretches where they move.
Units:   seconds.
Touches: nothing.
How:     both are put on one grid, smoothed alike, and the correlation of their changes is computed for every lag; a
         parabola through the best and its neighbours gives the fraction of a row. Of many stretches the median counts.
Sources: cross-correlation for time delay is textbook; uncertainty as the standard error of a median, 1.2533 σ ÷ √n for
         normal errors (mathematics), with σ from the median deviation × 1.4826.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from pinproof.logs.recording import Floats, Skew

LEAST_CORRELATION = 0.8
LEAST_STRETCHES = 5
MOST_STRETCHES = 32
STRETCH_S = 10.0
STRETCH_ROWS = (96, 4096)
MOST_LAG_S = 1.0
PAIRS = (("turbine", "engine", 0.012, True), ("output", "turbine", 0.06, False), ("road", "output", 0.06, False))
"""(channel, partner, how far their ratio may move within a stretch, must the ratio be 1).

Only stretches count with the converter locked, in one gear, without wheelspin. Elsewhere the two are not the same
thing, and a lag between them is in the truck.
"""
LOCKED_WITHIN = 0.004


@dataclass(frozen=True)
class Lag:
    """`b` shows the same thing `lag_s` later than `a`, where their changes correlate best."""

    lag_s: float
    correlation: float
    edge: bool  # the best lag lies at the end of what was tried


def lag_between(
    a_time_s: Floats, a: Floats, b_time_s: Floats, b: Floats, *, step_s: float, least_s: float, most_s: float,
    smooth_s: float = 0.0,
) -> Lag | None:  # fmt: skip
    """Lag of `b` behind `a` between `least_s` and `most_s`; None where nothing moves or too little overlaps.

    Each is a series of stamps, strictly increasing, and values without NaN. The grid has steps of `step_s`. At a lag L
    the value a(t) stands beside b(t + L).
    """
    begin, end = float(a_time_s[0]), float(a_time_s[-1])
    grid = np.arange(begin, end + 0.5 * step_s, step_s)
    low, high = round(least_s / step_s), round(most_s / step_s)
    wide = begin + step_s * np.arange(low, len(grid) + high)
    one = _changes(np.interp(grid, a_time_s, a), smooth_s / step_s)
    other_all = np.interp(wide, b_time_s, b, left=np.nan, right=np.nan)
    other = _changes(other_all, smooth_s / step_s)
    scores = _correlations(one, other)
    if np.isnan(scores).all():
        return None
    best = int(np.nanargmax(scores))
    edge = best in (0, len(scores) - 1)
    part = 0.0
    if not edge and not np.isnan(scores[best - 1 : best + 2]).any():
        left, middle, right = scores[best - 1 : best + 2]
        bend = left - 2.0 * middle + right
        if bend < 0.0:
            part = 0.5 * (left - right) / bend
    return Lag((low + best + part) * step_s, float(scores[best]), edge)


def _correlations(one: Floats, other: Floats) -> Floats:
    """Correlation of `one` with each equally long stretch of `other`; NaN where less than half of it is known."""
    known = ~np.isnan(other)
    y = np.where(known, other, 0.0)
    y = np.where(known, y - y.sum() / max(1, int(known.sum())), 0.0)
    x = one - one.mean()
    mask = known.astype(np.float64)
    length = len(x)

    def total(each: Floats) -> Floats:
        sums = np.concatenate(([0.0], np.cumsum(each)))
        return sums[length:] - sums[:-length]

    count = total(mask)
    full = bool(known.all())
    sx = np.zeros_like(count) if full else np.correlate(mask, x, "valid")
    sxx = np.full_like(count, float(x @ x)) if full else np.correlate(mask, x * x, "valid")
    sy, syy, sxy = total(y), total(y * y), np.correlate(y, x, "valid")
    enough = count >= max(16.0, 0.5 * length)
    count = np.maximum(count, 1.0)
    left, right = sxx - sx * sx / count, syy - sy * sy / count
    usable = enough & (left > 1e-12 * float(x @ x)) & (right > 1e-12 * float(y @ y + 1e-300))
    made = np.full(len(count), np.nan)
    norm = np.sqrt(left[usable] * right[usable])
    made[usable] = (sxy - sx * sy / count)[usable] / norm
    return made


def _changes(values: Floats, smooth: float) -> Floats:
    """Differences over about `smooth` rows of the mean over as many: the same for both, so no lag comes from it."""
    width = max(1, round(smooth))
    if width > 1:
        total = np.concatenate(([0.0], np.cumsum(np.nan_to_num(values))))
        mean = (total[width:] - total[:-width]) / width
        holes = np.concatenate(([0], np.cumsum(np.isnan(values))))
        mean[holes[width:] != holes[:-width]] = np.nan
        values = mean
    return values[width:] - values[:-width]


@dataclass
class Pair:
    """Stretches of two channels, the liveliest kept."""

    role: str
    partner: str
    steady: float = 0.06
    one: bool = False
    kept: list[tuple[float, Floats, Floats, Floats]] = field(default_factory=list)

    def feed(self, time_s: Floats, role: Floats, partner: Floats, period_s: float) -> None:
        """Look at one piece without a gap; keep its liveliest stretch, if it is livelier than others."""
        rows = int(min(max(STRETCH_S / period_s, STRETCH_ROWS[0]), STRETCH_ROWS[1])) if period_s > 0.0 else 0
        if rows < STRETCH_ROWS[0] or len(time_s) < rows:
            return
        count = min(len(time_s) // rows, 64)
        places = np.linspace(0, len(time_s) - rows, count).astype(int) if count > 1 else np.array([0])
        index = places[:, None] + np.arange(0, rows, max(1, rows // 64))
        lively_of = np.full(len(places), np.inf)
        one, other = _carried_on(role)[index], _carried_on(partner)[index]
        for each in (one, other):
            low, high = np.fmin.reduce(each, axis=1), np.fmax.reduce(each, axis=1)
            lively_of = np.fmin(lively_of, (high - low) / (np.abs(high) + np.abs(low) + 1e-9))
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = one / other
        lively_of = np.where(self._same_thing(ratio), lively_of, 0.0)
        best = [(float(lively), int(at)) for lively, at in zip(np.nan_to_num(lively_of), places, strict=True)]
        for lively, at in sorted(best, reverse=True)[:3]:
            if lively <= 0.0 or (len(self.kept) >= MOST_STRETCHES and lively <= self.kept[-1][0]):
                continue
            cut = slice(at, at + rows)
            self.kept.append((lively, time_s[cut].copy(), role[cut].copy(), partner[cut].copy()))
            self.kept.sort(key=lambda each: -each[0])
            del self.kept[MOST_STRETCHES:]

    def _same_thing(self, ratio: np.ndarray) -> np.ndarray:
        """In which stretches (rows of `ratio`) the two channels keep one ratio, in nine of ten places at least."""
        known = np.isfinite(ratio)
        filled = np.where(known, ratio, np.inf)
        filled.sort(axis=1)
        count = known.sum(axis=1)
        middle = filled[np.arange(len(ratio)), np.maximum(count - 1, 0) // 2]
        middle = np.where(np.isfinite(middle), middle, 0.0)[:, None]
        near = np.abs(np.where(known, ratio, np.inf) - middle) <= self.steady * np.abs(middle)
        good = (count >= 8) & (near.sum(axis=1) >= 0.9 * count)
        if self.one:
            good &= np.abs(middle[:, 0] - 1.0) <= LOCKED_WITHIN
        return np.asarray(good)

    def skew(self, period_s: float) -> Skew | None:
        """The lag of `role` behind `partner`; None where the stretches do not tell."""
        found = [_lag_of(time_s, role, partner, period_s) for _, time_s, role, partner in self.kept]
        good = [each for each in found if each is not None and not each.edge and each.correlation >= LEAST_CORRELATION]
        return skew_of(self.role, self.partner, good, period_s) if len(good) >= LEAST_STRETCHES else None


def skew_of(role: str, partner: str, found: Sequence[Lag], period_s: float) -> Skew:
    """The median of several lags, with its uncertainty from their spread; never below a fifth of a row."""
    lags = np.array([each.lag_s for each in found])
    middle = float(np.median(lags))
    spread = 1.4826 * float(np.median(np.abs(lags - middle)))
    error = max(2.0 * 1.2533 * spread / float(np.sqrt(len(lags))), 0.2 * period_s)
    return Skew(role, partner, middle, error, len(lags), float(np.median([each.correlation for each in found])))


def _carried_on(values: Floats) -> Floats:
    """Empty cells filled with the value before."""
    if not np.isnan(values.sum()):
        return values
    at = np.where(np.isnan(values), 0, np.arange(len(values)))
    return values[np.maximum.accumulate(at)]


def _lag_of(time_s: Floats, role: Floats, partner: Floats, period_s: float) -> Lag | None:
    best: Lag | None = None
    known, there = ~np.isnan(partner), ~np.isnan(role)
    if np.count_nonzero(known) < 64 or np.count_nonzero(there) < 64:
        return None
    most_s = max(MOST_LAG_S, 5.0 * period_s)
    inner = known & (time_s >= time_s[0] + most_s + 0.6) & (time_s <= time_s[-1] - most_s - 0.6)
    if np.count_nonzero(inner) < 64:
        inner = known
    for smooth_s in (0.2, 0.6, 0.0):
        if smooth_s and smooth_s < 2.0 * period_s:
            continue
        found = lag_between(
            time_s[inner], partner[inner], time_s[there], role[there], step_s=period_s, least_s=-most_s, most_s=most_s,
            smooth_s=smooth_s,
        )  # fmt: skip
        if found is not None and (best is None or found.correlation > best.correlation):
            best = found
        if best is not None and best.correlation > 0.97:
            break
    return best
