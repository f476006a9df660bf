"""The steps between the rows of a log: their period, how regular they are, from when on a step is a gap.

Answers: is this step usual, are rows missing, may data be missing?
Units:   seconds.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pinproof.logs.recording import Floats

GAP_PERIODS, GAP_LEAST_S = 3.5, 0.05
MISSING_PERIODS = 1.5
REGULAR = 0.2
"""Steps within this share of the period, 90 % of them, make a log of regular rows."""
_FEW = 64


@dataclass
class Steps:
    """What the steps between rows are like; kept piece by piece."""

    period_s: float = 0.0
    regular: bool = True
    p99_s: float = 0.0
    periods: list[tuple[float, float, int]] = field(default_factory=list)  # period, half width of 90 %, rows
    few: Floats = field(default_factory=lambda: np.array([]))  # steps of short pieces, waiting for more

    def learn(self, step_s: Floats) -> None:
        """Take in the steps of one piece; a sample of them is enough for the quantiles."""
        some = step_s[step_s > 0.0] if len(step_s) <= 8192 else _positive(step_s[:: len(step_s) // 4096])
        if len(some) < _FEW:
            self.few = np.concatenate((self.few, some))
            if (len(self.few) < _FEW and self.period_s) or not len(self.few):
                return
            some = self.few
            self.few = self.few[:0] if len(self.few) >= _FEW else self.few
        low, middle, high, p99 = np.quantile(some, (0.05, 0.5, 0.95, 0.99))
        self.period_s, self.p99_s = float(middle), float(p99)
        half = float(high - low) / 2.0
        self.regular = half <= REGULAR * self.period_s
        self.periods.append((self.period_s, half, len(some)))

    @property
    def gap_s(self) -> float:
        """Steps longer than this are gaps."""
        if not self.period_s:
            return float("inf")
        limit = max(GAP_PERIODS * self.period_s, GAP_LEAST_S)
        return limit if self.regular else max(limit, 3.0 * self.p99_s)

    def overall(self) -> tuple[float, float]:
        """Median period and jitter over the pieces, weighted by their rows."""
        if not self.periods:
            return float("nan"), float("nan")
        made = []
        for at in (0, 1):
            ordered = sorted((each[at], each[2]) for each in self.periods)
            half = sum(rows for _, rows in ordered) / 2.0
            for value, rows in ordered:
                half -= rows
                if half <= 0.0:
                    made.append(value)
                    break
        return made[0], made[1]


def _positive(step_s: Floats) -> Floats:
    return step_s[step_s > 0.0]
