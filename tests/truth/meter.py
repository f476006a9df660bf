"""The usual meter of the page on finding: what it shows, and how likely a shown number is.

A shown number is the true one times (1 + gain of the range), plus a residue of the leads (ohms only), plus an error of
some digits, rounded to the digit and never below 0 ohm. The gain is one unknown number per range and session; residue
and digit error are new in every reading. All are uniform. The meter takes the lowest range that can show the number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
LEAD_OHM = 0.1
TYPED_WRONG = 0.005  # probability that a reading was mistyped


@dataclass(frozen=True)
class Range:
    """`full`: greatest number shown (ohm or V), `digit`: its last place, `gain`: relative, `digits`: how many."""

    full: float
    digit: float
    gain: float
    digits: int
    lead_ohm: float = LEAD_OHM

    def cell_probability(self, shown: float, true: Array) -> Array:
        """Probability that just this number is shown. `true`: the true value times (1 + gain)."""
        upper = self._below(shown + self.digit / 2 - true)
        if self.lead_ohm and shown <= 0:  # all that would be below 0 ohm is shown as 0
            return upper
        return np.maximum(upper - self._below(shown - self.digit / 2 - true), 0.0)

    def above_probability(self, true: Array) -> Array:
        """Probability of more than full scale."""
        return 1 - self._below(self.full + self.digit / 2 - true)

    def _below(self, x: Array) -> Array:
        """Probability that digit error and residue together lie below `x`: the integral of a trapezoid."""
        a, b = self.digits * self.digit, self.lead_ohm
        if not b:
            return np.clip((x + a) / (2 * a), 0.0, 1.0)
        x = np.clip(x, -a - b, a + b)

        def half_square(y: Array) -> Array:
            return np.maximum(y, 0.0) ** 2 / 2

        total = half_square(x + a + b) - half_square(x + a - b) - half_square(x - a + b) + half_square(x - a - b)
        return np.clip(total / (4 * a * b), 0.0, 1.0)

    @property
    def spread(self) -> float:
        """Standard deviation of digit error, residue and rounding."""
        return math.sqrt((self.digits * self.digit) ** 2 / 3 + self.lead_ohm**2 / 3 + self.digit**2 / 12)


OHM_RANGES = (
    *(Range(600.0 * 10**k, 0.1 * 10**k, 0.009, 2) for k in range(5)),
    Range(60e6, 10e3, 0.02, 5),
)
VOLT_RANGE = Range(60.0, 0.01, 0.005, 2, 0.0)


def range_number(shown_ohm: float) -> int:
    """Which ohms range a shown number comes from; OL belongs to the last."""
    for k, r in enumerate(OHM_RANGES):
        if shown_ohm <= r.full * (1 + 1e-12):
            return k
    return len(OHM_RANGES) - 1


@dataclass(frozen=True)
class Meter:
    """One meter in one session: the gain of each ohms range and of the volts range, relative."""

    ohm_gains: tuple[float, ...]
    volt_gain: float

    @staticmethod
    def drawn(rng: np.random.Generator) -> Meter:
        gains = tuple(float(rng.uniform(-r.gain, r.gain)) for r in OHM_RANGES)
        return Meter(gains, float(rng.uniform(-VOLT_RANGE.gain, VOLT_RANGE.gain)))

    def ohms(self, true_ohm: float, rng: np.random.Generator) -> float:
        """The number shown in ohm; infinity for OL."""
        lead = rng.uniform(-LEAD_OHM, LEAD_OHM)
        part = rng.uniform(-1, 1)
        for r, gain in zip(OHM_RANGES, self.ohm_gains, strict=True):
            x = true_ohm * (1 + gain) + lead + part * r.digits * r.digit
            if not math.isfinite(x):
                return math.inf
            counts = max(round(x / r.digit), 0)
            if counts <= round(r.full / r.digit):
                return round(counts * r.digit, 6)
        return math.inf

    def volts(self, true_v: float, rng: np.random.Generator) -> float:
        r = VOLT_RANGE
        x = true_v * (1 + self.volt_gain) + rng.uniform(-1, 1) * r.digits * r.digit
        return round(round(x / r.digit) * r.digit, 6)


# ---------------------------------------------------------------- a reading that follows from nothing

LEAST_OHM, MOST_OHM, OL_SHARE = 0.1, 60e6, 0.2


def any_ohms(rng: np.random.Generator) -> float:
    if rng.random() < OL_SHARE:
        return math.inf
    r = math.exp(rng.uniform(math.log(LEAST_OHM), math.log(MOST_OHM)))
    digit = OHM_RANGES[range_number(r)].digit
    return round(round(r / digit) * digit, 6)


def any_ohms_probability(shown_ohm: float) -> float:
    """Of one shown number. Below 0.1 ohm, where the log-uniform law has nothing, it is as at 0.1 ohm."""
    if math.isinf(shown_ohm):
        return OL_SHARE
    digit = OHM_RANGES[range_number(shown_ohm)].digit
    return (1 - OL_SHARE) * digit / (max(shown_ohm, LEAST_OHM) * math.log(MOST_OHM / LEAST_OHM))


def any_volts_probability(supply_v: float) -> float:
    """Of one shown number of volts from 0 to the battery; taken for numbers outside too, so that it is never 0."""
    return VOLT_RANGE.digit / max(supply_v, 1.0)
