"""How much later a reported gear shows a shift than the speeds do.

Answers: the lag of `gear` or `gear_commanded` behind the middle of the change of turbine ÷ output.
Units:   seconds, rpm.
Touches: nothing.
Beside:  `skew` has the correlation that is used; a gear that is commanded comes before the speeds, its lag is negative.
How:     around every shift that stands alone, the reported gear and ln(turbine ÷ output) are shifted against each
         other; of many shifts the median counts. Numbers of the gearbox are not needed: only the change is compared.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pinproof.logs.recording import Floats, Skew
from pinproof.logs.skew import LEAST_CORRELATION, LEAST_STRETCHES, Lag, lag_between, skew_of

PARTNER = "turbine ÷ output"
STATES = ("gear", "gear_commanded")
BEFORE_S, AFTER_S = 2.5, 2.0
"""So long nothing else shifts before and after."""
SPEEDS_BEFORE_S, SPEEDS_AFTER_S = 2.0, 1.0
LEAST_LAG_S, MOST_LAG_S = -1.0, 1.5
SMOOTH_S = 0.3
LEAST_STEP_S = 0.01
LEAST_OUTPUT_RPM = 150.0
LEAST_SAMPLES = 16
MOST_SHIFTS = 64


@dataclass
class ShiftPair:
    """Shifts that stand alone, at most `MOST_SHIFTS` spread over the log."""

    role: str
    kept: list[tuple[float, Floats, Floats, Floats, Floats]] = field(default_factory=list)
    _every: int = 1
    _count: int = 0

    def feed(self, time_s: Floats, state: Floats, turbine: Floats, output: Floats) -> None:
        """Look at one piece without a gap."""
        rows = np.flatnonzero(~np.isnan(state))
        if len(rows) < 2:
            return
        known, at_s = state[rows], time_s[rows]
        changes = np.flatnonzero(known[1:] != known[:-1]) + 1
        when = at_s[changes]
        old, new = known[changes - 1], known[changes]
        alone = (np.abs(new - old) == 1.0) & (np.minimum(old, new) >= 1.0)
        alone &= np.diff(when, prepend=-np.inf) > BEFORE_S
        alone &= np.diff(when, append=np.inf) > AFTER_S
        alone &= (when - BEFORE_S >= time_s[0]) & (when + AFTER_S <= time_s[-1])
        for at in when[alone].tolist():
            self._count += 1
            if self._count % self._every:
                continue
            cut = slice(int(time_s.searchsorted(at - BEFORE_S)), int(time_s.searchsorted(at + AFTER_S)))
            self.kept.append((at, *(each[cut].copy() for each in (time_s, state, turbine, output))))
            if len(self.kept) > MOST_SHIFTS:
                del self.kept[::2]
                self._every *= 2

    def skew(self, period_s: float) -> Skew | None:
        """The lag of the state behind the middle of the ratio's change; None where too few shifts show in both."""
        found = [_lag_of(*each, max(period_s, LEAST_STEP_S)) for each in self.kept] if period_s > 0.0 else []
        good = [each for each in found if each is not None and not each.edge and each.correlation >= LEAST_CORRELATION]
        if len(good) < LEAST_STRETCHES:
            return None
        return skew_of(self.role, PARTNER, good, period_s)


def _lag_of(at_s: float, time_s: Floats, state: Floats, turbine: Floats, output: Floats, step_s: float) -> Lag | None:
    shown, turns, drives = ~np.isnan(state), ~np.isnan(output), ~np.isnan(turbine)
    drives &= (time_s >= at_s - SPEEDS_BEFORE_S) & (time_s <= at_s + SPEEDS_AFTER_S)
    if min(np.count_nonzero(each) for each in (shown, turns, drives)) < LEAST_SAMPLES:
        return None
    under = np.interp(time_s[drives], time_s[turns], output[turns])
    over = turbine[drives]
    if under.min() < LEAST_OUTPUT_RPM or over.min() <= 0.0:
        return None
    return lag_between(
        time_s[drives], np.log(under / over), time_s[shown], state[shown], step_s=step_s, least_s=LEAST_LAG_S,
        most_s=MOST_LAG_S, smooth_s=SMOOTH_S,
    )  # fmt: skip
