"""One look at a recording from begin to end: everything that checks need, in memory that does not grow with rows.

Answers: which states, presses, steps, speeds and readings does this log hold?
Units:   seconds from the log's begin.
Touches: what the recording reads.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from pinproof.logs import limits
from pinproof.logs.at_events import SAMPLED
from pinproof.logs.blocks import Block, Floats, RecordingLike, blocks
from pinproof.logs.extremes import Extreme
from pinproof.logs.gear_steps import steps_of
from pinproof.logs.pin import PinOf
from pinproof.logs.runs import HeldOf, RunsOf, joined
from pinproof.logs.seen import Seen, interval_of
from pinproof.logs.settings import Settings
from pinproof.logs.speeds import SpeedsOf
from pinproof.logs.taps import Press, presses_of_pin, presses_of_state

STATES = ("mode", "lever", "limp", "refused", "gear_commanded", "gear", "tap_up", "tap_down")
STATE_GAP_S = 2.5
EXTREME_S = 0.04  # one sample in so much time is enough for a histogram of slow channels


def look(recording: RecordingLike, settings: Settings) -> Seen:
    """Read a recording once and keep what checks need."""
    return _Look(recording, settings).run()


class _Look:
    def __init__(self, recording: RecordingLike, settings: Settings) -> None:
        self.recording, self.settings = recording, settings
        self.roles = tuple(recording.channels)
        self.states = {role: RunsOf(STATE_GAP_S) for role in STATES if role in self.roles}
        self.states |= {role: RunsOf(STATE_GAP_S) for role in self.roles if role.startswith("meaning.")}
        self.reported = next((role for role in ("gear_commanded", "gear") if role in self.roles), "")
        shown = "gear" if "gear" in self.roles else self.reported
        self.shown = shown
        self.speeds = SpeedsOf(settings.drive, self.roles, shown, shown_late=self.reported == "gear")
        self.pins: dict[str, PinOf] = {}
        self.blind = HeldOf(0.0, 1)
        self.episodes: dict[str, RunsOf] = {}
        self.gaps: list[tuple[float, float]] = []
        self.begin_s = math.nan
        self.last_s = math.nan
        self.steps_seen = {self.reported: 0, shown: 0}
        self.row_s = 0.0
        self.tap_source = self._tap_source()
        self._tap_last = math.nan
        self._engine = math.nan
        self.extremes: dict[str, Extreme] = {}

    def _tap_source(self) -> str:
        if "tap_up" in self.roles or "tap_down" in self.roles:
            return ", ".join(role for role in ("tap_up", "tap_down") if role in self.roles)
        for line in self.settings.lines:
            if f"meaning.{line.id}" in self.roles:
                return f"meaning.{line.id}"
        for line in self.settings.lines:
            if f"pin.{line.id}" in self.roles and line.windows:
                return f"pin.{line.id}"
        return ""

    def run(self) -> Seen:
        recording = self.recording
        for line in self.settings.lines:
            role = f"pin.{line.id}"
            if role in self.roles:
                unit = str(getattr(recording.channels[role], "unit", ""))
                made = PinOf(line, unit, "supply" in self.roles)
                if made.usable:
                    self.pins[line.id] = made
        wanted = [role for role in self.roles if self._is_used(role)]
        for block in blocks(recording, wanted):
            self._take(block)
        return self._seen()

    def _is_used(self, role: str) -> bool:
        if role.startswith("pin."):
            return role.removeprefix("pin.") in self.pins
        return role in self.states or role in SAMPLED or role in ("lockup", "ambient", "coder_temperature")

    def _take(self, block: Block) -> None:
        time_s = block.time_s
        here: list[tuple[float, float]] = []
        if len(time_s):
            if math.isnan(self.begin_s):
                self.begin_s = float(time_s[0])
                self.row_s = float(np.median(np.diff(time_s[:5001]))) if len(time_s) > 1 else 0.0
            for row in block.gaps:
                before = time_s[row - 1] if row else self.last_s
                if math.isfinite(before):
                    here.append((float(before), float(time_s[row])))
            self.gaps += here[: max(0, 100_000 - len(self.gaps))]
        for role, runs in self.states.items():
            runs.take(block, block.values[role])
        for line_id, pin in self.pins.items():
            pin.take(block, block.values[f"pin.{line_id}"], block.values.get("supply"))
        self._blind(block)
        self._engine_episodes(block)
        self._supply(block)
        self._temperatures(block)
        events, steps = self._events(block)
        reported = self.states[self.shown].runs(so_far=True) if self.shown else None
        told = "gear_commanded" if self.shown == "gear" else ""
        commanded = self.states[told].runs(so_far=True) if told in self.states else None
        self.speeds.take(block, events, steps, here, reported, commanded)
        if len(time_s):
            self.last_s = float(time_s[-1])

    def _events(self, block: Block) -> tuple[list[float], list[tuple[float, float, float]]]:
        """Times in this block at which something began, and the steps among them."""
        if not len(block):
            return [], []
        since = block.time_s[0]
        found: set[float] = set()
        steps: list[tuple[float, float, float]] = []
        sources = [self.states[role] for role in (*STATES, *self.states) if role in self.states]
        sources += [pin.codes for pin in self.pins.values()]
        for runs in sources:
            runs.compact()
            now = runs.runs(so_far=True)
            fresh = now.first_s >= since
            found.update(now.first_s[fresh][:50_000].tolist())
        if self.reported:  # speeds before a step too: after it some have changed already
            now = self.states[self.reported].runs(so_far=True)
            before = now.before_s[now.first_s >= since][:50_000]
            before = before[~np.isnan(before)]
            found.update(before.tolist())
            if self.reported == "gear":  # which may show a shift late
                for sooner_s in limits.SHOWN_LATE_SAMPLES_S:
                    found.update((before - sooner_s).tolist())
        if self.reported:
            now = self.states[self.reported].runs(so_far=True)
            drive = self.settings.drive
            many = len(drive.ratios) if drive is not None else 0
            for place in np.flatnonzero(now.first_s >= since):
                if place and not math.isnan(now.before_s[place]):
                    old, new = float(now.value[place - 1]), float(now.value[place])
                    if abs(new - old) == 1.0 and min(old, new) >= 1.0 and max(old, new) <= many:
                        steps.append((float(now.first_s[place]), old, new))
        return sorted(found), steps

    def _blind(self, block: Block) -> None:
        """Stretches in which the samples of the tap channel are too far apart."""
        if not self.tap_source or not len(block):
            return
        role = self.tap_source.split(", ")[0]
        known = ~np.isnan(block.values[role])
        at = block.time_s if known.all() else block.time_s[known]
        if not len(at):
            return
        least_s = self.settings.least_interval_s * 1.001
        if at is block.time_s and block.widest_s <= least_s and not at[0] - self._tap_last > least_s:
            self._tap_last = float(at[-1])
            if self.blind.is_quiet:
                return
        before = np.append(self._tap_last, at[:-1])
        with np.errstate(invalid="ignore"):
            wide = at - before > self.settings.least_interval_s * 1.001
        self._tap_last = float(at[-1])
        values = np.where(wide, 1.0, 0.0)
        if wide.any() or not self.blind.is_quiet:
            self.blind.take(Block(at, {}, np.empty(0, dtype=np.int64), block.last), values)

    def _episode(
        self, name: str, block: Block, values: Floats, held_s: float = 0.0, samples: int = 1, gap_s: float = STATE_GAP_S
    ) -> None:
        runs = self.episodes.setdefault(name, HeldOf(held_s, samples, gap_s))
        if values.any() or not runs.is_quiet:  # a stretch of zeros is nothing to keep
            runs.take(block, values)

    def _engine_episodes(self, block: Block) -> None:
        if "engine" not in self.roles or not len(block):
            return
        engine = block.values["engine"]
        self.extremes.setdefault("engine", Extreme(1.0, STATE_GAP_S)).take(
            block, engine, self.row_s, block.stride(EXTREME_S)
        )
        drive = self.settings.drive
        if drive is None:
            return
        levels = {"engine above most": drive.most_rpm[1], "engine may be above most": drive.most_rpm[0]}
        if drive.limiter_rpm is not None:
            levels["near limiter"] = drive.limiter_rpm[0] * limits.NEAR_LIMITER
            levels["on limiter"] = drive.limiter_rpm[0] * limits.ON_LIMITER
        top = float(np.fmax.reduce(engine))
        for name, level in levels.items():
            runs = self.episodes.setdefault(name, HeldOf(0.0, 1, STATE_GAP_S))
            if top > level or not runs.is_quiet:
                with np.errstate(invalid="ignore"):
                    made = (engine > level).astype(float)
                made[np.isnan(engine)] = np.nan
                runs.take(block, made)

    def _supply(self, block: Block) -> None:
        if "supply" not in self.roles or not len(block):
            return
        volts = block.values["supply"]
        states = self.settings.supply_v
        low, high = min(ends[0] for ends in states.values()), max(ends[1] for ends in states.values())
        if "engine" in self.roles:
            engine = block.values["engine"]
            if np.isnan(engine).any():
                known = ~np.isnan(engine)
                place = np.maximum.accumulate(np.where(known, np.arange(len(engine)), -1))
                engine = np.where(place >= 0, engine[np.maximum(place, 0)], self._engine)
            if len(engine) and not math.isnan(engine[-1]):
                self._engine = float(engine[-1])
            with np.errstate(invalid="ignore"):
                running = engine >= limits.RUNNING_RPM
            run = states["run"]
            least, most = np.where(running, run[0], low), np.where(running, run[1], high)
        else:
            running = np.zeros(len(volts), dtype=bool)
            least, most = np.full(len(volts), low), np.full(len(volts), high)
        with np.errstate(invalid="ignore"):
            out = ((volts < least - limits.SUPPLY_MORE_V) | (volts > most + limits.SUPPLY_MORE_V)).astype(float)
            some = ((volts < least) | (volts > most)).astype(float)
        lost = np.isnan(volts)
        if lost.any():
            out[lost] = some[lost] = np.nan
        self._episode("supply outside", block, out, limits.SUPPLY_S, 2)
        self._episode("supply just outside", block, some, 0.0, 2)
        thin = block.stride(EXTREME_S)
        self.extremes.setdefault("supply", Extreme(0.05, STATE_GAP_S)).take(block, volts, self.row_s, thin)
        own = volts if running.all() else np.where(running, volts, np.nan)
        self.extremes.setdefault("supply running", Extreme(0.05, STATE_GAP_S)).take(block, own, self.row_s, thin)

    def _temperatures(self, block: Block) -> None:
        low, high = self.settings.temperature_c
        for role in ("coder_temperature", "ambient", "oil"):
            if role in self.roles and len(block):
                column = block.values[role]
                extreme = self.extremes.setdefault(role, Extreme(0.5, limits.TEMPERATURE_GAP_S))
                extreme.take(block, column, self.row_s, block.stride(EXTREME_S))
                if role == "oil":
                    continue
                with np.errstate(invalid="ignore"):
                    out = column < low - limits.WARMER_K
                    if role == "coder_temperature":
                        out |= column > high + limits.WARMER_K
                made = out.astype(float)
                made[np.isnan(column)] = np.nan
                self._episode(f"{role} outside", block, made, limits.WARMER_S, 2, limits.TEMPERATURE_GAP_S)

    def _seen(self) -> Seen:
        recording = self.recording
        channels = dict(recording.channels)  # asked only now: rates are known after one complete run
        states = {role: runs.runs() for role, runs in self.states.items()}
        speeds, pins = self.speeds.seen(), {name: pin.seen() for name, pin in self.pins.items()}
        row_s = self.row_s
        made = Seen(
            recording.name, float(recording.duration_s), channels, tuple(recording.unmapped), recording.time_base,
            tuple(self.gaps), self.begin_s, self.last_s, row_s, states, (), self.tap_source, math.nan, (), (), "",
            speeds, pins, {name: each.runs() for name, each in self.episodes.items()},
            {name: each.tally() for name, each in self.extremes.items()},
        )  # fmt: skip
        for role in speeds.interval_s:
            speeds.interval_s[role] = interval_of(made, role)
        self._find_presses(made)
        self._find_steps(made)
        return made

    def _find_presses(self, made: Seen) -> None:
        source = made.taps_from
        if not source:
            return
        presses: list[Press] = []
        if source.startswith("tap_"):
            roles = source.split(", ")
            made.tap_interval_s = max(interval_of(made, role) for role in roles)
            for role in roles:
                way: Any = role.removeprefix("tap_")
                presses += presses_of_state(made.states[role], way, (1.0,), interval_of(made, role))
        else:
            kind, _, line_id = source.partition(".")
            made.tap_interval_s = interval_of(made, source)
            line = self.settings.line(line_id)
            labels = [each.strip().casefold() for each in made.labels(source)]
            for way in ("up", "down"):
                if kind == "meaning":
                    codes = [float(number) for number, label in enumerate(labels) if label == way]
                    presses += presses_of_state(made.states[source], way, codes, made.tap_interval_s)
                elif line is not None:
                    presses += presses_of_pin(made.pins[line_id].codes, line, way, made.tap_interval_s)
        made.presses = tuple(sorted(presses, key=lambda each: each.first_s))
        blind = joined(self.blind.runs(), self.settings.least_interval_s * 2.0)
        made.blind_s = tuple(zip(blind.first_s - self.settings.least_interval_s, blind.last_s, strict=True))
        if made.tap_interval_s > self.settings.least_interval_s * 1.001:
            made.blind_s = ((made.begin_s, made.end_s),)

    def _find_steps(self, made: Seen) -> None:
        if self.reported:
            made.steps_from = self.reported
            made.steps = steps_of(made.states[self.reported], interval_of(made, self.reported))
        elif len(made.speeds.sure):
            made.steps_from = made.speeds.ratio_from
            made.steps = steps_of(joined(made.speeds.sure, limits.DIFFERS_S), 0.0)
