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
from pinproof.logs.skew_states import PARTNER as SPEEDS
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

    def shown_after_s(self, role: str) -> tuple[float, float]:
        """How much later than the speeds a reported gear shows a shift, and how well that is known. [s]

        (0, 0) where the time base could not measure it.
        """
        for each in getattr(self.time_base, "skews", ()):
            if each.role == role and each.partner == SPEEDS:
                return each.lag_s, each.uncertainty_s
        return 0.0, 0.0

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


def clear_runs(runs: Runs, seen: Seen) -> Runs:
    """Runs without the time beside gaps: what reaches into it is cut there, what lies wholly in it is left out.

    Of a run that was cut, `before_s` is NaN where its begin is not seen any more, and `count` is as many samples as
    surely fit if they come evenly. Its readings are not known one by one: the mean is that of the whole run where at
    least half of it is left, else NaN.
    """
    if not seen.gaps_s or not len(runs):
        return runs
    met = seen.beside.meet(runs.first_s, runs.last_s)
    if not met.any():
        return runs
    pieces = [
        (place, first, last)
        for place in np.flatnonzero(met).tolist()
        for first, last in seen.beside.outside(float(runs.first_s[place]), float(runs.last_s[place]))
    ]
    whole = np.flatnonzero(~met)
    source = np.concatenate([whole, np.array([each[0] for each in pieces], dtype=np.intp)]).astype(np.intp)
    first = np.concatenate([runs.first_s[whole], [each[1] for each in pieces]])
    last = np.concatenate([runs.last_s[whole], [each[2] for each in pieces]])
    order = np.argsort(first, kind="stable")
    source, first, last = source[order], first[order], last[order]
    cut, length = met[source], runs.least_s[source]
    count = runs.count[source]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (last - first) / length
        count = np.where(cut, np.floor(share * (count - 1.0) + 1e-9), count)
    ends = runs.first_x[source] + runs.last_x[source]
    inner = np.where(share >= 0.5, runs.means[source], np.nan) * (count - 2.0)
    return Runs(
        runs.value[source], np.where(first > runs.first_s[source], np.nan, runs.before_s[source]), first, last, count,
        np.where(cut, inner + ends, runs.sum[source]), runs.first_x[source], runs.last_x[source], runs.overflow,
    )  # fmt: skip


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
