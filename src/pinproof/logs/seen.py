"""Everything that one log holds, after one look at it from begin to end.

Answers: which states, presses, steps, speeds and readings are there, and where is nothing to be seen?
Units:   seconds from the log's begin.
Touches: nothing.
Beside:  `look` makes it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from pinproof.logs import limits
from pinproof.logs.extremes import Tally
from pinproof.logs.gear_steps import Step
from pinproof.logs.pin import PinSeen
from pinproof.logs.runs import Runs
from pinproof.logs.speeds import SpeedsSeen
from pinproof.logs.stretches import Stretches
from pinproof.logs.taps import Press


@dataclass
class Seen:
    """Everything that one log holds."""

    name: str
    duration_s: float
    channels: dict[str, Any]
    unmapped: tuple[str, ...]
    time_base: Any
    gaps_s: tuple[tuple[float, float], ...]
    begin_s: float
    end_s: float
    row_s: float
    states: dict[str, Runs]
    presses: tuple[Press, ...]
    taps_from: str
    tap_interval_s: float
    blind_s: tuple[tuple[float, float], ...]  # stretches in which a tap could hide
    steps: tuple[Step, ...]
    steps_from: str
    speeds: SpeedsSeen
    pins: dict[str, PinSeen]
    episodes: dict[str, Runs]
    tallies: dict[str, Tally] = field(default_factory=dict)

    def rate_hz(self, role: str) -> float:
        """How often a channel has something new, by the time base; by its rows where that does not say."""
        channel = self.channels.get(role)
        if channel is None:
            return 0.0
        rate = float(getattr(channel, "rate_hz", math.nan))
        if math.isfinite(rate):
            return rate
        return 1.0 / self.row_s if self.row_s > 0.0 else 0.0

    def labels(self, role: str) -> tuple[str, ...]:
        """Words of a channel of words."""
        return tuple(getattr(self.channels.get(role), "labels", ()))

    @cached_property
    def beside(self) -> Stretches:
        """Time in and beside gaps that no check looks at."""
        return Stretches(self.gaps_s, limits.BESIDE_GAP_S)

    @cached_property
    def torn(self) -> Stretches:
        """The gaps themselves."""
        return Stretches(self.gaps_s)

    @cached_property
    def blind(self) -> Stretches:
        """Time in which a tap could hide between samples."""
        return Stretches(self.blind_s)

    def beside_gap(self, from_s: float, to_s: float | None = None) -> bool:
        """True if a gap lies within the stretch or beside it."""
        return self.beside.meets(from_s, from_s if to_s is None else to_s)

    def at_ends(self, from_s: float, to_s: float, margin_s: float = limits.BESIDE_GAP_S) -> bool:
        """True if the stretch reaches the begin or the end of the log."""
        return from_s < self.begin_s + margin_s or to_s > self.end_s - margin_s

    @property
    def left_out_s(self) -> float:
        """Time beside gaps that no check looks at."""
        return self.beside.covered_s(self.begin_s, self.end_s)

    def sampled(self, at_s: float, role: str) -> float:
        """A speed at an event; NaN if it is not known."""
        place = self._event_at.get(at_s)
        column = self.speeds.sampled.get(role)
        return math.nan if place is None or column is None else float(column[place])

    @cached_property
    def press_begins(self) -> list[float]:
        """First samples of all presses, in order."""
        return [each.first_s for each in self.presses]

    @cached_property
    def press_ends(self) -> list[float]:
        """The latest last sample so far, for looking up."""
        found: list[float] = []
        for each in self.presses:
            found.append(max(each.last_s, found[-1] if found else each.last_s))
        return found

    @cached_property
    def _event_at(self) -> dict[float, int]:
        return {at: place for place, at in enumerate(self.speeds.event_s.tolist())}


def masked(runs: Runs, seen: Seen) -> Runs:
    """Runs that no gap lies beside."""
    if not seen.gaps_s or not len(runs):
        return runs
    return runs.pick(~seen.beside.meet(runs.first_s, runs.last_s))


def clear_stretches(runs: Runs, seen: Seen) -> list[tuple[float, float]]:
    """Runs as (from, to) without the time beside gaps at their ends; none of what lies wholly beside one. [s]

    A run ends at every gap, so none lies inside.
    """
    found = []
    beside = seen.beside
    for first, last in zip(runs.first_s.tolist(), runs.last_s.tolist(), strict=True):
        place = int(np.searchsorted(beside.end_s, first))
        if place < len(beside) and beside.begin_s[place] <= first:
            first = float(beside.end_s[place])
        place = int(np.searchsorted(beside.end_s, last))
        if place < len(beside) and beside.begin_s[place] <= last:
            last = float(beside.begin_s[place])
        if last > first:
            found.append((first, last))
    return found


def has_beat(seen: Seen, role: str) -> bool:
    """True if the time base saw how often a channel has something new; of others it knows only the rows."""
    return getattr(seen.channels.get(role), "rate_basis", "") in ("held", "samples", "straight")


def interval_of(seen: Seen, role: str) -> float:
    """How far apart the samples of a channel are: by its rows, or by what the time base found if that is longer. [s]

    A channel of states changes seldom, so a rate told from changes counts only where a beat was seen in them. The lever
    and manual may change so seldom that no beat can be seen: then half a second is taken.
    """
    channel = seen.channels.get(role)
    rate = float(getattr(channel, "rate_hz", math.nan))
    if has_beat(seen, role) and math.isfinite(rate) and rate > 0.0:
        return max(seen.row_s, 1.0 / rate)
    if role in ("lever", "mode") and getattr(channel, "rate_basis", "") == "seldom":
        return max(seen.row_s, limits.STATE_INTERVAL_MOST_S)
    return seen.row_s
