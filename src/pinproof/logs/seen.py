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

from pinproof.logs import limits
from pinproof.logs.gear_steps import Step
from pinproof.logs.pin import PinSeen
from pinproof.logs.runs import Runs
from pinproof.logs.speeds import SpeedsSeen
from pinproof.logs.stretches import Stretches
from pinproof.logs.taps import Press


@dataclass(frozen=True)
class Tally:
    """A number's extremes and a coarse histogram of what lies between."""

    lowest: float = math.nan
    highest: float = math.nan
    seconds: float = 0.0
    low: float = math.nan  # with single samples left out
    high: float = math.nan


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
