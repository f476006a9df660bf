"""What a sample can show: exact upper limits of a share and of a rate.

Answers: with so many misses in so many taps, how many might it be at most; with so many events in so many hours?
Units:   shares 0 to 1; rates in events for each unit of the time given.
Touches: nothing.
Sources: one-sided limits after Clopper and Pearson (binomial) and Garwood (Poisson); both solve "so few or fewer would
         be seen with probability 1 - confidence". For none at all they are 1 - 0.05^(1/n), about 3/n, and 3.0/T.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from pinproof.logs.limits import CONFIDENCE


def upper_share(events: int, of: int, confidence: float = CONFIDENCE) -> float:
    """Greatest share that so few events leave possible.

    Parameters
    ----------
    events, of : int
        ``0 <= events <= of``.

    Returns
    -------
    float
        1.0 where nothing was tried, or everything failed.

    Examples
    --------
    >>> round(upper_share(0, 60), 4)
    0.0487
    """
    if not 0 <= events <= of:
        raise ValueError(f"{events} events of {of}")
    if events == of:
        return 1.0
    return _solve(lambda p: _binomial_at_most(events, of, p), 1.0 - confidence, 0.0, 1.0)


def upper_rate(events: int, time: float, confidence: float = CONFIDENCE) -> float:
    """Greatest rate that so few events in so much time leave possible; infinite in no time.

    Examples
    --------
    >>> round(upper_rate(0, 3.0), 4)
    0.9986
    """
    if events < 0 or time < 0.0:
        raise ValueError(f"{events} events in {time}")
    if time == 0.0:
        return math.inf
    top = events + 10.0 + 10.0 * math.sqrt(events + 1.0)
    return _solve(lambda mean: _poisson_at_most(events, mean), 1.0 - confidence, 0.0, top) / time


def tries_for(share: float, confidence: float = CONFIDENCE) -> int:
    """How many tries without a miss show less than `share`.

    Examples
    --------
    >>> tries_for(0.05), tries_for(0.01)
    (59, 299)
    """
    if not 0.0 < share < 1.0:
        raise ValueError(f"share {share}")
    return math.ceil(math.log(1.0 - confidence) / math.log1p(-share))


def time_for(rate: float, confidence: float = CONFIDENCE) -> float:
    """How much time without an event shows less than `rate`."""
    return -math.log(1.0 - confidence) / rate


def _binomial_at_most(events: int, of: int, share: float) -> float:
    """Probability of so many events or fewer, term by term in logarithms."""
    if share <= 0.0:
        return 1.0
    if share >= 1.0:
        return 0.0
    log_p, log_q = math.log(share), math.log1p(-share)
    choose = [math.lgamma(of + 1) - math.lgamma(k + 1) - math.lgamma(of - k + 1) for k in range(events + 1)]
    return min(1.0, math.fsum(math.exp(c + k * log_p + (of - k) * log_q) for k, c in enumerate(choose)))


def _poisson_at_most(events: int, mean: float) -> float:
    if mean <= 0.0:
        return 1.0
    return min(1.0, math.fsum(math.exp(k * math.log(mean) - mean - math.lgamma(k + 1)) for k in range(events + 1)))


def _solve(falling: Callable[[float], float], level: float, low: float, high: float) -> float:
    """Where a falling function meets a level, from above."""
    for _ in range(200):
        mid = (low + high) / 2.0
        if falling(mid) > level:
            low = mid
        else:
            high = mid
    return high
