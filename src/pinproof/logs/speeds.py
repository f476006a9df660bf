"""Speeds of a log reduced to what checks need, block by block: gears from ratios, slip, flare, samples at events.

Answers: which gear is in, does a clutch or the converter slip, how far does the turbine run up in a shift, how quickly
         did everything turn when something happened?
Units:   rpm, m/s, seconds from the log's begin.
Touches: nothing.

Every row is looked at with some seconds before and after it, so a block's border changes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinproof.logs import limits
from pinproof.logs.at_events import SAMPLED, AtEvents
from pinproof.logs.blocks import Block, Floats
from pinproof.logs.even import even
from pinproof.logs.flares import Flare, FlaresOf
from pinproof.logs.ratio import UNKNOWN, gears_of, gears_with_slip, of_one_range, slopes
from pinproof.logs.runs import HeldOf, Runs, RunsOf, Spread
from pinproof.logs.settings import DriveSettings
from pinproof.logs.shares import Shares
from pinproof.logs.stretches import Stretches

AHEAD_S = 2.2
BEHIND_S = 6.5
SKEW_LEFT_S = 0.02  # where it was told from the quotient of both
_LEANS, _LAG_ROWS, _LAG_ENOUGH, _MOVES_PER_S, _MOST_LAG_S = 0.08, 1000, 20_000, 0.02, 0.3
SKEW_UNKNOWN_S = 0.1  # taken while nobody has measured how far two channels are apart


@dataclass
class SpeedsSeen:
    """What was found. Times of gears in seconds; keys are gear numbers from 1."""

    ratio: Runs
    sure: Runs  # the same without what engine speed tells while the converter may slip
    ratio_from: str
    slipping: Runs  # value: the gear
    in_band_s: dict[int, float]
    off_s: dict[int, float]
    shares: dict[int, Shares]  # turbine ÷ output over the reported gear's ratio
    road: Shares
    road_ranges: dict[str, int]
    engine: Shares  # engine ÷ turbine, locked
    locked_s: float
    lock_slips: Runs
    flares: tuple[Flare, ...]
    event_s: Floats
    sampled: dict[str, Floats]
    known_s: float
    driving_s: float
    interval_s: dict[str, float]


class SpeedsOf:
    """Collects. `take` block by block, with what is known of steps so far; `seen` at the end."""

    def __init__(
        self, drive: DriveSettings | None, roles: Sequence[str], reported: str, *, shown_late: bool = False
    ) -> None:
        self.drive = drive
        self.roles = [role for role in (*SAMPLED, "lockup") if role in roles]
        self.reported = reported
        self.before_s = limits.SHOWN_SLIP_S if shown_late else limits.COMMANDED_SLIP_S  # no slip is told there
        self.ratio = HeldOf(limits.HELD_S, limits.HELD_SAMPLES)
        self.sure = HeldOf(limits.HELD_S, limits.HELD_SAMPLES)
        self.slipping = HeldOf(0.1, 2)
        self.lock_slips = HeldOf(limits.LOCKED_SLIP_S, 2)
        self.locked = RunsOf()
        self.in_band: dict[int, float] = {}
        self.off: dict[int, float] = {}
        self.shares: dict[int, Shares] = {}
        self.road, self.engine = Shares(), Shares()
        self.road_ranges = dict.fromkeys((name for name, _ in drive.reductions), 0) if drive else {}
        self.locked_s = self.known_s = self.driving_s = 0.0
        self.events = AtEvents()
        self.shifts = FlaresOf(drive.ratios if drive is not None else (), shown_late=shown_late)
        self.interval: dict[str, float] = {}
        self._time: Floats = np.empty(0)
        self._kept: dict[str, Floats] = {role: np.empty(0) for role in self.roles}
        self._gap_s: list[tuple[float, float]] = []
        self._done_s = -np.inf
        self._commanded: Runs | None = None

    def take(
        self,
        block: Block,
        events_s: Sequence[float],
        steps: Sequence[tuple[float, float, float]],
        gaps_s: Sequence[tuple[float, float]],
        reported: Runs | None,
        commanded: Runs | None = None,
    ) -> None:
        """Go on.

        Parameters
        ----------
        events_s : sequence of float
            Times in this block at which speeds are wanted. [s]
        steps : sequence of (time, gear before, gear after)
            Steps in this block.
        gaps_s : sequence of (from, to)
            Gaps in this block.
        reported, commanded : Runs or None
            The reported gear and the commanded gear so far.
        """
        self._commanded = commanded
        self.events.expect(events_s)
        self.shifts.expect(steps)
        self._gap_s += gaps_s
        time_s = np.concatenate([self._time, block.time_s]) if len(self._time) else block.time_s
        values = {
            role: np.concatenate([self._kept[role], block.values[role]])
            if len(self._kept[role])
            else block.values[role]
            for role in self.roles
        }
        if not len(time_s):
            return
        until = np.inf if block.last else time_s[-1] - AHEAD_S
        first = int(np.searchsorted(time_s, self._done_s, side="right"))
        end = len(time_s) if block.last else int(np.searchsorted(time_s, until, side="right"))
        if end > first or block.last:
            self._work(time_s, values, slice(first, end), until, reported)
            self._done_s = float(time_s[end - 1]) if end > first else self._done_s
        keep = int(np.searchsorted(time_s, min(self._done_s, time_s[-1]) - BEHIND_S))
        self._time = time_s[keep:].copy()  # the block's memory is used again
        self._kept = {role: column[keep:].copy() for role, column in values.items()}
        self._gap_s = [each for each in self._gap_s if each[1] > self._time[0] - BEHIND_S]

    def _work(
        self, time_s: Floats, values: dict[str, Floats], rows: slice, until_s: float, reported: Runs | None
    ) -> None:
        self.events.take(time_s, values, until_s)
        smooth: dict[str, Floats] = {}
        for role in self.roles:
            if role in _SPEEDS:
                smooth[role], interval_s = even(time_s, values[role], self.interval.get(role))
                if interval_s is not None:
                    self.interval[role] = interval_s
        if self.drive is not None and "turbine" in smooth and "output" in smooth:
            self.shifts.take(time_s, smooth["turbine"], smooth["output"], until_s)
        if self.drive is not None and rows.stop > rows.start:
            self._gears(time_s, values, smooth, rows, reported)

    def _gears(
        self, time_s: Floats, values: dict[str, Floats], smooth: dict[str, Floats], rows: slice, reported: Runs | None
    ) -> None:
        drive = self.drive
        assert drive is not None
        now = time_s[rows]
        step = np.minimum(np.diff(now, append=now[-1] + (now[-1] - now[-2] if len(now) > 1 else 0.0)), 0.5)
        away = self._beside_gap(now)
        torn = np.searchsorted(now, [end for _, end in self._gap_s if now[0] <= end <= now[-1]])
        block = Block(now, {}, np.unique(torn).astype(np.int64), False)
        locked = self._locked(block, values, rows)
        output, spread = smooth.get("output"), 0.0
        if output is None and "road" in smooth:
            spread = drive.around_m.high / drive.around_m.value - 1.0
        if output is None and "road" not in smooth:
            return
        base = output if output is not None else smooth["road"]
        scale = 1.0 if output is not None else 60.0 * drive.reductions[0][1].value / drive.around_m.value
        rising = slopes(time_s, base * scale)[rows]
        slope = np.abs(rising)
        if output is not None:
            self._against_road(now, output[rows], smooth, rows, slope, values, step, away)
        over = "turbine" if "turbine" in smooth else "engine" if "engine" in smooth else ""
        if not over:
            return
        slack = (self.interval[over] + self.interval["output" if output is not None else "road"]) / 2.0 + SKEW_UNKNOWN_S
        extra = drive.ratio_spread + spread
        each_range: list[Floats] = []
        for reduction in [None] if output is not None else [span for _, span in drive.reductions]:
            turning = base[rows] if reduction is None else base[rows] * 60.0 * reduction.value / drive.around_m.value
            q = quotient(smooth[over][rows], turning)
            if reduction is not None:  # no range is left out only because it would turn too slowly to tell
                slowest = base[rows] * 60.0 * min(span.value for _, span in drive.reductions) / drive.around_m.value
                q = np.where(slowest > limits.LEAST_OUTPUT_RPM, q, np.nan)
            if over == "turbine":
                mine = gears_of(q, slope, drive.ratios, slack, extra=extra)
            else:
                mine = gears_with_slip(q, slope, drive.ratios, slack, drive.slip[1], locked, extra=extra)
            each_range.append(mine)
        codes = each_range[0] if len(each_range) == 1 else of_one_range(now, each_range)
        self.ratio.take(block, codes)
        if over == "engine":
            self.sure.take(
                block, np.where(locked, codes, UNKNOWN) if locked is not None else np.full(len(now), UNKNOWN)
            )
        moving = base[rows] * scale > limits.LEAST_OUTPUT_RPM
        self.driving_s += _total(step, moving)
        self.known_s += _total(step, moving & (codes > 0.0))
        if over == "turbine" and output is not None:
            off = self._off(values, "brake", rows)
            self._slip(now, block, q, codes, rising, slack, step, away, output[rows], reported, off)
        if "turbine" in smooth and "engine" in smooth and locked is not None:
            self._lock(block, smooth["engine"][rows], smooth["turbine"][rows], locked, step, away, time_s, smooth, rows)

    def _locked(self, block: Block, values: dict[str, Floats], rows: slice) -> NDArray[np.bool_] | None:
        """Where the converter has been locked for long enough to have settled."""
        if "lockup" not in values:
            return None
        raw = values["lockup"][rows]
        state = np.where(raw >= limits.LOCKED, 1.0, 0.0)
        lost = np.isnan(raw)
        if lost.any():
            state[lost] = np.nan
        self.locked.take(block, state)
        runs = self.locked.runs(so_far=True)
        if not len(runs):
            return np.zeros(len(raw), dtype=bool)
        own = Spread(runs, block.time_s)
        held = block.time_s - own.of(runs.first_s) >= limits.SETTLE_S
        return np.asarray(own.of(runs.value == 1.0) & held)

    def _beside_gap(self, now: Floats) -> NDArray[np.bool_]:
        if not self._gap_s:
            return np.zeros(len(now), dtype=bool)
        return Stretches(self._gap_s, limits.BESIDE_GAP_S).meet(now, now)

    @staticmethod
    def _off(values: dict[str, Floats], role: str, rows: slice) -> NDArray[np.bool_] | bool:
        if role not in values:
            return True
        with np.errstate(invalid="ignore"):
            return ~(values[role][rows] > 0.05)

    def _against_road(
        self, now: Floats, output: Floats, smooth: dict[str, Floats], rows: slice, slope: Floats,
        values: dict[str, Floats], step: Floats, away: NDArray[np.bool_],
    ) -> None:  # fmt: skip
        drive = self.drive
        if drive is None or "road" not in smooth:
            return
        thin = slice(None, None, Block(now, {}, _NONE, False).stride(STEADY_EVERY_S))
        steady = (output > limits.STEADY_OUTPUT_RPM) & (slope < limits.STEADY_PER_S) & ~away
        steady &= self._off(values, "brake", rows)
        spent = _total(step, steady)
        steady = steady[thin]
        if not steady.any():
            return
        with np.errstate(invalid="ignore", divide="ignore"):
            turns = np.log(output[thin][steady] * drive.around_m.value / (60.0 * smooth["road"][rows][thin][steady]))
        best = np.full(len(turns), np.inf)
        which = np.zeros(len(turns), dtype=np.intp)
        for number, (_, reduction) in enumerate(drive.reductions):
            off = turns - np.log(reduction.value)
            nearer = np.abs(off) < np.abs(best)
            best, which = np.where(nearer, off, best), np.where(nearer, number, which)
        self.road.add(best, spent)
        for number, count in enumerate(np.bincount(which, minlength=len(drive.reductions))):
            self.road_ranges[drive.reductions[number][0]] += int(count)

    def _slip(
        self, now: Floats, block: Block, q: Floats, codes: Floats, rising: Floats, slack: float, step: Floats,
        away: NDArray[np.bool_], output: Floats, reported: Runs | None, off: NDArray[np.bool_] | bool,
    ) -> None:  # fmt: skip
        drive = self.drive
        if drive is None or reported is None or not len(reported):
            return
        own, many = Spread(reported, now), len(drive.ratios)
        a_gear = (reported.value >= 1.0) & (reported.value <= many)
        gear = own.of(reported.value)
        good = own.of(a_gear) & (now - own.of(reported.first_s) > limits.SETTLE_S)
        if own.numbers[0] < 0:
            good[: own.rows[0]] = False
        good &= own.of(np.append(reported.first_s[1:], np.inf)) - now > self.before_s
        good &= now - own.of(reported.last_s) < limits.GAP_S
        good &= np.isfinite(q) & (output > limits.STEADY_OUTPUT_RPM)
        if away.any():
            good &= ~away
        told = self._commanded
        if told is not None and told is not reported and len(told):  # a shift under way shows in the command first
            good &= Spread(told, now + self.before_s).of(told.value) == gear
        of_gear = np.where(a_gear, reported.value, 1.0).astype(np.intp) - 1
        number = own.of(of_gear)
        share = q / own.of(np.asarray(drive.ratios)[of_gear]) - 1.0
        slope = np.abs(rising)
        lag_s = self._lag(share, rising, number, good)
        if lag_s is not None:
            share, slack = share - lag_s * rising, slack - SKEW_UNKNOWN_S + SKEW_LEFT_S
        with np.errstate(invalid="ignore"):
            above = good & (share > limits.BAND + drive.ratio_spread + slope * slack)
            above &= (codes == UNKNOWN) | (codes == gear)
            inside = good & (codes == gear) & ~above
            steady = good & (slope < limits.STEADY_PER_S) & off
        if above.any() or not self.slipping.is_quiet:
            self.slipping.take(block, np.where(above, gear, 0.0))
        kinds = (good, inside, above, steady)
        bits = sum((each.view(np.uint8) << bit for bit, each in enumerate(kinds)), np.uint8(0))
        mixed = (number << len(kinds)) | bits
        spent = np.bincount(mixed, weights=step, minlength=many << len(kinds)).reshape(many, -1)
        of = [spent[:, np.arange(spent.shape[1]) >> bit & 1 == 1].sum(axis=1) for bit in range(len(kinds))]
        thin = slice(None, None, block.stride(STEADY_EVERY_S))
        for row in np.flatnonzero(of[0]).tolist():
            mine = row + 1
            self.in_band[mine] = self.in_band.get(mine, 0.0) + float(of[1][row])
            self.off[mine] = self.off.get(mine, 0.0) + float(of[2][row])
            picked = steady[thin] & (number[thin] == row)
            if picked.any():
                with np.errstate(invalid="ignore", divide="ignore"):
                    self.shares.setdefault(mine, Shares()).add(np.log1p(share[thin][picked]), float(of[3][row]))

    @staticmethod
    def _lag(share: Floats, rising: Floats, number: NDArray[np.intp], good: NDArray[np.bool_]) -> float | None:
        """How much later the output shows than the turbine, from how their quotient leans on acceleration. [s]

        Least squares in all gears of a block at once, each with an offset of its own; None where too little moves.
        """
        with np.errstate(invalid="ignore"):
            fits = good & (np.abs(share) < _LEANS)
        rows = np.flatnonzero(fits)
        rows = rows[:: max(1, len(rows) // _LAG_ENOUGH)]
        own = number[rows]
        if len(own) < _LAG_ROWS:
            return None
        y, x = share[rows], rising[rows]
        many = np.maximum(np.bincount(own), 1)
        y = y - (np.bincount(own, weights=y) / many)[own]
        x = x - (np.bincount(own, weights=x) / many)[own]
        spread = float((x * x).sum())
        if spread < len(own) * _MOVES_PER_S**2:
            return None
        return min(max(float((x * y).sum()) / spread, -_MOST_LAG_S), _MOST_LAG_S)

    def _lock(
        self, block: Block, engine: Floats, turbine: Floats, locked: NDArray[np.bool_], step: Floats,
        away: NDArray[np.bool_], time_s: Floats, smooth: dict[str, Floats], rows: slice,
    ) -> None:  # fmt: skip
        slack = (self.interval["engine"] + self.interval["turbine"]) / 2.0 + SKEW_UNKNOWN_S
        with np.errstate(invalid="ignore"):
            good = locked & ~away & (engine > limits.RUNNING_RPM) & (turbine > 0.0)
            allowed = np.maximum(limits.LOCKED_SLIP * engine, limits.LOCKED_SLIP_RPM)
            slips = good & (np.abs(engine - turbine) > allowed)
        if slips.any() and len(time_s) > 2:
            rise = np.abs(np.gradient(smooth["engine"], time_s))[rows]
            slips &= np.abs(engine - turbine) > allowed + rise * slack
        spent = _total(step, good)
        self.locked_s += spent
        if slips.any() or not self.lock_slips.is_quiet:
            self.lock_slips.take(block, np.where(slips, 1.0, 0.0))
        thin = slice(None, None, block.stride(STEADY_EVERY_S))
        picked = good[thin]
        if picked.any():
            self.engine.add(np.log(engine[thin][picked] / turbine[thin][picked]), spent)

    def seen(self) -> SpeedsSeen:
        """All that was found, in the order of time."""
        event_s, sampled = self.events.seen()
        over = "turbine" if "turbine" in self.roles else "engine" if "engine" in self.roles else ""
        under = "output" if "output" in self.roles else "road" if "road" in self.roles else ""
        told = f"{over} ÷ {under}" if over and under and self.drive is not None else ""
        ratio = self.ratio.runs()
        return SpeedsSeen(
            ratio, ratio if over == "turbine" else self.sure.runs(), told,
            self.slipping.runs(), self.in_band, self.off, self.shares, self.road,
            self.road_ranges, self.engine, self.locked_s, self.lock_slips.runs(), tuple(self.shifts.found), event_s,
            sampled, self.known_s, self.driving_s, dict(self.interval),
        )  # fmt: skip


_SPEEDS = ("output", "turbine", "engine", "road")
_NONE = np.empty(0, dtype=np.int64)
STEADY_EVERY_S = 0.05  # one sample in so much time is enough for the shares of steady drive


def _total(step_s: Floats, which: NDArray[np.bool_]) -> float:
    """How long the rows last that are meant. [s]"""
    return float((step_s if which.all() else step_s[which]).sum())


def quotient(over: Floats, under: Floats) -> Floats:
    """over ÷ under where the output turns fast enough to tell; else NaN."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(under > limits.LEAST_OUTPUT_RPM, over / under, np.nan)
