"""Windows with edges that are not known exactly, and readings with bounds from both sides.

Answers: where may an edge lie, what is inside a window in any case, what could be inside at most?
Units:   one reading space for edges and readings; the caller's.
Touches: nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

BASES = ("measured", "published", "borrowed", "assumed")
KINDS = ("command", "idle", "fault")
INF = float("inf")
_ROUNDING = 1e-9  # two ways of computing the same end differ by rounding; more than this is a mistake


@dataclass(frozen=True)
class Edge:
    """One limit of a window: it lies somewhere from `low` to `high`. An infinite `nominal` means there is no edge."""

    low: float
    high: float
    nominal: float

    def __post_init__(self) -> None:
        if math.isnan(self.low) or math.isnan(self.high) or math.isnan(self.nominal):
            raise ValueError("an edge position must be a number, not nan")
        if not self.low <= self.nominal <= self.high:
            raise ValueError(f"an edge needs low <= nominal <= high, not {self.low}, {self.nominal}, {self.high}")

    @property
    def exists(self) -> bool:
        """False for a rail: a reading can never pass it, so it is no edge and takes no margin."""
        return math.isfinite(self.nominal)


@dataclass(frozen=True)
class Window:
    """Readings the controller takes as one meaning. `None` for an edge means open on that side.

    `nominal_half_width` scales margins; for a window open on one side the caller says what half of it is.
    `basis` says where the edges come from; `kind` is "command", "idle" or "fault".
    """

    meaning: str
    lower: Edge | None
    upper: Edge | None
    nominal_half_width: float
    basis: str
    kind: str

    def __post_init__(self) -> None:
        if self.basis not in BASES:
            raise ValueError(f"basis {self.basis!r} is none of {', '.join(BASES)}")
        if self.kind not in KINDS:
            raise ValueError(f"kind {self.kind!r} is none of {', '.join(KINDS)}")
        if not 0.0 < self.nominal_half_width < INF:
            raise ValueError(f"nominal_half_width must be finite and above zero, not {self.nominal_half_width}")
        if self.lower is not None and self.upper is not None and self.lower.nominal >= self.upper.nominal:
            raise ValueError(f"lower edge {self.lower.nominal} is not below upper edge {self.upper.nominal}")

    def stated(self) -> tuple[float, float]:
        """Where the edges are stated to lie, with nothing taken off or added for what is not known exactly."""
        low = self.lower.nominal if self.lower is not None and self.lower.exists else -INF
        high = self.upper.nominal if self.upper is not None and self.upper.exists else INF
        return low, high

    def guaranteed(self) -> tuple[float, float]:
        """What lies inside wherever the edges are. Empty (first above second) if the edges' ranges cross."""
        low = self.lower.high if self.lower is not None and self.lower.exists else -INF
        high = self.upper.low if self.upper is not None and self.upper.exists else INF
        return low, high

    def largest(self) -> tuple[float, float]:
        """What could lie inside for some position of the edges."""
        low = self.lower.low if self.lower is not None and self.lower.exists else -INF
        high = self.upper.high if self.upper is not None and self.upper.exists else INF
        return low, high


@dataclass(frozen=True)
class Reading:
    """A worst-case reading: `low`..`high` bounds it from outside, `inner_low`..`inner_high` is attained.

    The two are equal when the bound is exact. Any nan means there is no settled reading (a floating pin).
    """

    low: float
    high: float
    inner_low: float
    inner_high: float

    def __post_init__(self) -> None:
        if not self.is_settled:
            return
        if self.low > self.high or self.inner_low > self.inner_high:
            raise ValueError(f"a reading's low end is above its high end: {self}")
        slack = _ROUNDING * max((abs(end) for end in (self.low, self.high) if math.isfinite(end)), default=0.0)
        if self.inner_low < self.low - slack or self.inner_high > self.high + slack:
            raise ValueError(f"the attained part of a reading must lie within its outer bound: {self}")

    @classmethod
    def exact(cls, low: float, high: float) -> Reading:
        """A reading whose outer bound is attained at both ends."""
        return cls(low, high, low, high)

    @property
    def is_settled(self) -> bool:
        """False if any of the four numbers is nan."""
        return not any(math.isnan(end) for end in (self.low, self.high, self.inner_low, self.inner_high))
