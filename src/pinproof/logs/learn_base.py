"""What a whole log taught about its clock and its channels, gathered while it runs past.

Answers: rate, held values, straight pieces, skew, odd units of every channel, after the last row.
Units:   seconds, hertz; values in the unit of their role.
Touches: nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from pinproof.logs import questions
from pinproof.logs.cuts import Stretch
from pinproof.logs.logger_map import Entry, TimeEntry
from pinproof.logs.rates import LEAST_CHANGES, Changes
from pinproof.logs.recording import Channel, Finding, Skew, TimeBase
from pinproof.logs.skew import PAIRS, Pair
from pinproof.logs.skew_states import PARTNER, STATES, ShiftPair
from pinproof.logs.source import Tally
from pinproof.logs.time_base import Clock

LONGEST_BEAT_S = 2.0
"""A beat of changes that is slower than this is taken for what the truck does, not for what the logger does."""


class Learner:
    """Watches one complete run."""

    def __init__(self, channels: Sequence[Channel], entries: Sequence[Entry], time: TimeEntry, clock: Clock) -> None:
        self.channels = {each.role: each for each in channels}
        self.entries = {each.role: each for each in entries}
        self.time, self.clock = time, clock
        self.changes = {role: Changes() for role in self.channels}
        self.pairs = [
            Pair(role, partner, steady, one)
            for role, partner, steady, one in PAIRS
            if role in self.channels and partner in self.channels
        ]
        both = "turbine" in self.channels and "output" in self.channels
        self.shifts = [ShiftPair(role) for role in STATES if both and role in self.channels]
        self.begin_s = self.end_s = 0.0
        self._begun = False

    def feed(self, stretch: Stretch) -> None:
        """Take in rows without a gap."""
        for role, changes in self.changes.items():
            changes.feed(stretch.time_s, stretch.values[role])
        period_s = self.clock.steps.period_s
        for pair in self.pairs:
            pair.feed(stretch.time_s, stretch.values[pair.role], stretch.values[pair.partner], period_s)
        for shifts in self.shifts:
            rows = (stretch.values[each] for each in (shifts.role, "turbine", "output"))
            shifts.feed(stretch.time_s, *rows)
        if not self._begun:  # below 0 where rows before the first one came late
            self.begin_s, self._begun = float(stretch.time_s[0]), True
        self.end_s = float(stretch.time_s[-1])

    @property
    def duration_s(self) -> float:
        """Last stamp less the first."""
        return self.end_s - self.begin_s

    def learned(self, tally: Tally, before: Sequence[Finding], dated: bool) -> tuple[dict[str, Channel], TimeBase]:
        """Channels with what was measured, and the time base."""
        clock = self.clock
        period_s, jitter_s = clock.steps.overall()
        findings = [*before, *tally.findings(), *clock.findings()]
        told = [pair.skew(period_s) for pair in self.pairs] + [shifts.skew(period_s) for shifts in self.shifts]
        skews = [each for each in told if each is not None]
        lag_of: dict[str, float] = {}
        for each in skews:
            lag_of.setdefault(each.role, each.lag_s)
            if abs(each.lag_s) > each.uncertainty_s:
                findings.append(_of_skew(each))
        made = {}
        for role, channel in self.channels.items():
            changes, loss = self.changes[role], tally.loss(role)
            rate_hz, basis, said = _rate(role, changes, period_s)
            findings += said
            made[role] = replace(
                channel, rate_hz=rate_hz, rate_basis=basis, skew_s=lag_of.get(role, math.nan),
                held_fraction=changes.repeats / changes.pairs if changes.pairs else math.nan,
                cells=loss.cells, lost=loss.lost, lost_examples=tuple(loss.examples), recorded=changes.recorded,
                lowest=changes.lowest if changes.recorded else math.nan,
                highest=changes.highest if changes.recorded else math.nan,
            )  # fmt: skip
            entry = self.entries[role]
            if changes.recorded:
                mean = changes.total / changes.recorded
                asked = questions.of_channel(entry, changes.lowest, changes.highest, mean, changes.first)
                findings += [asked] if asked else []
        asked = questions.of_time(self.time, period_s, clock.rows_kept)
        findings += [asked] if asked else []
        means = {role: each.total / each.recorded for role, each in self.changes.items() if each.recorded}
        asked = questions.of_speeds(means, {role: each.unit for role, each in self.entries.items()})
        findings += [asked] if asked else []
        begins = ""
        if dated and clock.first_raw_s is not None:
            begins = _date(clock.first_raw_s)
        base = TimeBase(
            clock.rows_read, clock.rows_kept, period_s, jitter_s, begins, tuple(clock.gaps), clock.gap_count,
            clock.gap_total_s, tuple(findings), tuple(skews),
        )  # fmt: skip
        return made, base


def _date(stamp_s: float) -> str:
    """Seconds since 1970 as date and time; "" where no calendar reaches."""
    try:
        return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=stamp_s)).strftime("%Y-%m-%d %H:%M:%S")
    except OverflowError:
        return ""


def _rate(role: str, changes: Changes, period_s: float) -> tuple[float, str, list[Finding]]:
    """Rate, what it rests on, and what is to be said of it."""
    if not changes.recorded:
        return 0.0, "rows", [Finding("empty channel", f"{role} has no value anywhere.", role=role)]
    step_s, basis, unit = period_s, "rows", "row"
    sampled_hz = changes.sample_rate_hz
    if not math.isnan(sampled_hz) and changes.recorded < 0.9 * changes.rows:
        step_s, basis, unit = 1.0 / sampled_hz, "samples", "sample"
    rate_hz = 1.0 / step_s if step_s > 0.0 else math.nan
    said: list[Finding] = []
    if changes.recorded > 1 and changes.repeats == changes.pairs:
        said.append(Finding("constant channel", f"{role} has the same value all along: {changes.first:g}.", role=role))
        return rate_hz, "seldom" if basis == "rows" else basis, said
    share = min(1.0, changes.looked_at / max(changes.recorded, 1))
    most = LONGEST_BEAT_S / step_s if step_s > 0.0 else 0.0
    held, straight = changes.held(most), changes.straight(most)
    if held is not None:
        rate_hz = 1.0 / (held.rows * step_s)
        text = (
            f"{role} changes only every {held.rows:.3g} {unit}s: its own rate is {rate_hz:.3g} Hz, not "
            f"{1.0 / step_s:.3g} Hz. Told from {held.changes} changes in {share:.0%} of its rows."
        )
        return rate_hz, "held", [Finding("held values", text, held.changes, role=role)]
    if straight is not None:
        rate_hz = 1.0 / (straight.rows * step_s)
        text = (
            f"{role} runs in straight pieces of {straight.rows:.3g} {unit}s: it was drawn between samples of about "
            f"{rate_hz:.3g} Hz. What happened between them is not in the file. Told from {straight.changes} corners."
        )
        return rate_hz, "straight", [Finding("straight between", text, straight.changes, role=role)]
    if basis == "rows" and changes.changes < LEAST_CHANGES and changes.repeats >= 0.95 * changes.pairs:
        basis = "seldom"
    return rate_hz, basis, said


def _of_skew(skew: Skew) -> Finding:
    way = "later" if skew.lag_s > 0.0 else "earlier"
    if skew.partner == PARTNER:
        text = (
            f"{skew.role} shows a shift {abs(skew.lag_s) * 1e3:.0f} ms {way} than {skew.partner} has half of it, give "
            f"or take {skew.uncertainty_s * 1e3:.0f} ms ({skew.stretches} shifts, correlation {skew.correlation:.2f})."
        )
        return Finding("skew", text, skew.stretches, role=skew.role)
    text = (
        f"{skew.role} shows the same thing {abs(skew.lag_s) * 1e3:.0f} ms {way} than {skew.partner}, give or take "
        f"{skew.uncertainty_s * 1e3:.0f} ms ({skew.stretches} stretches, correlation {skew.correlation:.2f})."
    )
    return Finding("skew", text, skew.stretches, role=skew.role)
