"""Speeds and other readings at the moments at which something happened.

Answers: how quickly did everything turn when a tap, a step or another change came?
Units:   seconds from the log's begin; each channel's own unit.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pinproof.logs import limits
from pinproof.logs.blocks import Floats

MOST_EVENTS = 200_000
SAMPLED = ("output", "turbine", "engine", "road", "oil", "throttle", "brake", "supply")


class AtEvents:
    """Collects. `expect` moments, `take` rows, `seen` at the end."""

    def __init__(self) -> None:
        self._waiting: list[float] = []
        self._at: list[Floats] = []
        self._found: dict[str, list[Floats]] = {role: [] for role in SAMPLED}

    def expect(self, events_s: Sequence[float]) -> None:
        """Moments at which readings are wanted."""
        self._waiting += list(events_s)[: max(0, MOST_EVENTS - len(self._waiting))]

    def take(self, time_s: Floats, values: dict[str, Floats], until_s: float) -> None:
        """The last sample before each moment up to `until_s`, where it is not too old; NaN elsewhere."""
        now = np.array([each for each in self._waiting if each <= until_s])
        if not len(now):
            return
        self._waiting = [each for each in self._waiting if each > until_s]
        self._at.append(now)
        for role in SAMPLED:
            found = np.full(len(now), np.nan)
            if role in values:
                row = np.maximum(np.searchsorted(time_s, now, side="right") - 1, 0)
                found = np.where(now - time_s[row] <= limits.STALE_S, values[role][row], np.nan)
                known = np.flatnonzero(~np.isnan(values[role])) if np.isnan(found).any() else ()
                if len(known):
                    place = np.searchsorted(time_s[known], now, side="right") - 1
                    row = known[np.maximum(place, 0)]
                    fresh = (place >= 0) & (now - time_s[row] <= limits.STALE_S)
                    found = np.where(fresh, values[role][row], np.nan)
            self._found[role].append(found)

    def seen(self) -> tuple[Floats, dict[str, Floats]]:
        """Moments in order, and the readings at them by role."""
        at = np.concatenate(self._at) if self._at else np.empty(0)
        order = np.argsort(at, kind="stable")
        return at[order], {
            role: np.concatenate(parts)[order] if parts else np.empty(0) for role, parts in self._found.items()
        }
