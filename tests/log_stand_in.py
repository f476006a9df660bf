"""Recordings in memory, made by hand for tests of the log checks. Invented drives; nothing of a real truck.

A `Made` has what `pinproof.logs.Recording` has. `Day` builds one row after the other from taps, gears and speeds.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np

from pinproof.design import Truck, load
from pinproof.design.model_drive import DriveLog
from pinproof.examples import example_path
from pinproof.logs.recording import Channel, Chunk, Finding, Skew, TimeBase

RATIOS = (4.00, 2.40, 1.55, 1.15, 0.85, 0.67)
AROUND_M = 3.00574395  # nominal circumference of the example's tyre
AXLE = 5.00


def sandpiper_told() -> Truck:
    """Sandpiper; its controller was told that code 5 is manual."""
    found = load(example_path("sandpiper"))
    assert found.drive is not None
    log = replace(found.drive.log or DriveLog(), lever_manual=("5",))
    return replace(found, drive=replace(found.drive, log=log))


@dataclass
class Made:
    """A recording in memory. `gaps` are row numbers before which data are missing."""

    time_s: np.ndarray
    values: dict[str, np.ndarray]
    name: str = "made.csv"
    units: Mapping[str, str] = field(default_factory=dict)
    labels: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    rates: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    gaps: Sequence[int] = ()
    findings: tuple[Finding, ...] = ()
    skews: tuple[Skew, ...] = ()
    unmapped: tuple[str, ...] = ()
    absent: tuple[str, ...] = ()

    @property
    def channels(self) -> dict[str, Channel]:
        """By role."""
        rows = 1.0 / float(np.median(np.diff(self.time_s))) if len(self.time_s) > 1 else 0.0
        made = {}
        for role in self.values:
            rate, basis = self.rates.get(role, (rows, "rows"))
            made[role] = Channel(
                role, role, "", self.units.get(role, ""), rate, basis, labels=self.labels.get(role, ())
            )
        return made

    @property
    def duration_s(self) -> float:
        """Last stamp less the first."""
        return float(self.time_s[-1] - self.time_s[0]) if len(self.time_s) else 0.0

    @property
    def time_base(self) -> TimeBase:
        """As stated."""
        gaps = tuple((float(self.time_s[row - 1]), float(self.time_s[row])) for row in self.gaps if row)
        total = sum(end - begin for begin, end in gaps)
        rows = len(self.time_s)
        period = float(np.median(np.diff(self.time_s))) if rows > 1 else float("nan")
        found = self.findings
        if gaps and not found:
            found = (Finding("gap", f"{len(gaps)} gaps.", len(gaps), gaps[0][0]),)
        return TimeBase(rows, rows, period, 0.0, "", gaps, len(gaps), total, found, self.skews)

    def chunks(self, roles: Sequence[str], rows: int = 262_144) -> Iterator[Chunk]:
        """Pieces that end at gaps and after `rows` rows."""
        cuts = sorted({0, *self.gaps, len(self.time_s)})
        for begin, end in pairwise(cuts):
            for at in range(begin, end, rows):
                last = min(at + rows, end)
                piece = {role: self.values[role][at:last] for role in roles}
                yield Chunk(self.time_s[at:last], piece, at == begin)


def recut(made: Made, sizes: Sequence[int]) -> Any:
    """The same recording, whose chunks have these sizes in turn."""

    class _Recut(Made):
        def chunks(self, roles: Sequence[str], rows: int = 262_144) -> Iterator[Chunk]:
            cuts = sorted({0, *self.gaps, len(self.time_s)})
            turn = 0
            for begin, end in pairwise(cuts):
                at = begin
                while at < end:
                    last = min(at + sizes[turn % len(sizes)], end)
                    turn += 1
                    piece = {role: self.values[role][at:last] for role in roles}
                    yield Chunk(self.time_s[at:last], piece, at == begin)
                    at = last

    return _Recut(**{name: getattr(made, name) for name in Made.__dataclass_fields__})


@dataclass
class Day:
    """A drive in the making. Times in seconds; the driver sits in manual unless told otherwise."""

    seconds: float
    rate_hz: float = 100.0
    taps: list[tuple[float, float, str]] = field(default_factory=list)  # begin, length, way
    shifts: list[tuple[float, int, int]] = field(default_factory=list)  # command, before, after
    gear: int = 2
    output_rpm: float = 1700.0

    def tap(
        self, at_s: float, way: str, *, length_s: float = 0.15, delay_s: float | None = 0.06, steps: int = 1
    ) -> None:
        """A tap, answered after `delay_s` by `steps` steps; None: not answered."""
        self.taps.append((at_s, length_s, way))
        if delay_s is not None:
            for count in range(steps):
                self.shift(at_s + delay_s + 0.3 * count, way)

    def shift(self, at_s: float, way: str) -> None:
        """A step of the gearbox, whoever asked for it."""
        new = self.gear + (1 if way == "up" else -1)
        self.shifts.append((at_s, self.gear, new))
        self.gear = new

    def made(self, *, takes_s: float = 0.4, begin_gear: int = 2, drop: Sequence[str] = (), **more: Any) -> Made:
        """All channels at `rate_hz`: taps, mode, lever, gears, speeds, supply."""
        time_s = np.arange(round(self.seconds * self.rate_hz)) / self.rate_hz
        values = {role: np.zeros(len(time_s)) for role in ("tap_up", "tap_down")}
        for begin, length, way in self.taps:
            values[f"tap_{way}"][(time_s >= begin - 1e-9) & (time_s < begin + length - 1e-9)] = 1.0
        gear = np.full(len(time_s), float(begin_gear))
        real = np.full(len(time_s), RATIOS[begin_gear - 1])
        shown = gear.copy()
        for at, before, after in sorted(self.shifts):
            gear[time_s >= at - 1e-9] = after
            shown[time_s >= at + takes_s - 1e-9] = after
            part = np.clip((time_s - at - takes_s * 0.4) / (takes_s * 0.6), 0.0, 1.0)
            real = np.where(time_s >= at, RATIOS[before - 1] + part * (RATIOS[after - 1] - RATIOS[before - 1]), real)
        output = np.full(len(time_s), self.output_rpm)
        turbine = output * real
        values |= {
            "mode": np.ones(len(time_s)), "lever": np.ones(len(time_s)), "gear_commanded": gear, "gear": shown,
            "output": output, "turbine": turbine, "engine": turbine * 1.005, "lockup": np.ones(len(time_s)),
            "road": output * AROUND_M / (AXLE * 60.0), "supply": np.full(len(time_s), 13.8),
            "oil": np.full(len(time_s), 80.0),
        }  # fmt: skip
        for role in drop:
            del values[role]
        labels = {"lever": ("4", "5")}
        return Made(time_s, values, labels=labels, units={"supply": "V"}, **more)


def many_taps(pairs: int = 32, *, apart_s: float = 4.0, **more: Any) -> Day:
    """A drive of so many taps up and as many down, each answered, between 2 and 3."""
    day = Day(seconds=10.0 + 2.0 * pairs * apart_s, **more)
    for number in range(pairs):
        day.tap(5.0 + 2.0 * number * apart_s, "up")
        day.tap(5.0 + (2.0 * number + 1.0) * apart_s, "down")
    return day
