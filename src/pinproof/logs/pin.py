"""What the coded pin reads, against the design's windows and the proof's spans, block by block.

Answers: which meaning does each reading have, does it settle where it should, does its margin fall?
Units:   readings in the reading space of the input: a ratio, or volts.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinproof.logs import limits
from pinproof.logs.blocks import Block, Floats
from pinproof.logs.runs import HeldOf, Runs, RunsOf
from pinproof.logs.settings import LineSettings

INVALID = -1.0
_PIECE = 16_384  # rows
MEAN_S = 0.025  # one sample in so much time is enough for the means of minutes


def decode(reading: Floats, line: LineSettings) -> Floats:
    """Number of the window each reading lies in, by the nominal edges; `INVALID` for none; NaN stays NaN.

    An edge itself belongs to its window.
    """
    code = np.full(reading.shape, INVALID)
    edges = [window.stated() for window in line.windows]
    for first in range(0, len(reading), _PIECE):  # what is made on the way stays in the processor's cache
        some, mine = reading[first : first + _PIECE], code[first : first + _PIECE]
        with np.errstate(invalid="ignore"):
            for number, (low, high) in enumerate(edges):
                mine[(some >= low) & (some <= high)] = float(number)
        mine[np.isnan(some)] = np.nan
    return code


def surely_lost(reading: Floats, line: LineSettings) -> NDArray[np.bool_]:
    """Where a reading is outside every window that is no fault, wherever its edges and with the reading error."""
    lost = np.ones(reading.shape, dtype=bool)
    for window in line.windows:
        if window.kind != "fault":
            low, high = window.largest()
            with np.errstate(invalid="ignore"):
                lost &= ~((reading >= low) & (reading <= high))
    return lost & ~np.isnan(reading)


@dataclass
class PinSeen:
    """One line's pin. `codes` are runs of window numbers with their readings."""

    line: LineSettings
    codes: Runs
    lost: Runs
    blocks: dict[tuple[int, int], tuple[float, float]]  # (block, window): samples, sum of readings
    block_s: float
    outside_s: dict[int, float]  # maintained meanings: time in five-second pieces outside the proof's span
    outside_first_s: dict[int, float]
    pieces: dict[int, int]
    states: tuple[str, ...]
    scaled_by: str


class PinOf:
    """Collects one line's pin."""

    def __init__(self, line: LineSettings, unit: str, has_supply: bool) -> None:
        self.line = line
        self.unit = unit
        self.codes = RunsOf()
        self.lost = HeldOf(limits.LOST_S, 2)
        self.block_s = limits.MARGIN_BLOCK_S
        self.sums: dict[tuple[int, int], list[float]] = {}
        self.pieces: dict[tuple[int, int], list[float]] = {}
        self.outside: dict[int, float] = {}
        self.first: dict[int, float] = {}
        self.count: dict[int, int] = {}
        self.has_supply = has_supply
        self.cranked = False
        self._supply = np.nan
        self._edge: float = np.nan
        self._span: dict[int, tuple[float, float] | None] = {}  # by window, the proof's span

    @property
    def usable(self) -> bool:
        """False where the channel cannot become a reading of this input."""
        return bool(self.line.windows) and not (self.unit != "V" and self.line.unit == "V")

    def reading(self, raw: Floats, supply_v: Floats | None) -> Floats:
        """The channel as a reading of the input."""
        if self.unit != "V" or self.line.unit == "V":
            return raw
        if self.line.divides_by == "battery" and supply_v is not None:
            known = ~np.isnan(supply_v)
            place = np.maximum.accumulate(np.where(known, np.arange(len(supply_v)), -1))
            filled = np.where(place >= 0, supply_v[np.maximum(place, 0)], self._supply)
            if len(filled) and not np.isnan(filled[-1]):
                self._supply = float(filled[-1])
            with np.errstate(invalid="ignore", divide="ignore"):
                return raw / filled
        return raw / self.line.divisor_v

    def take(self, block: Block, raw: Floats, supply_v: Floats | None) -> None:
        """Go on."""
        if not len(block):
            return
        x = self.reading(raw, supply_v)
        code = decode(x, self.line)
        self.codes.take(block, code, x)
        bad = ~(code >= 0.0)
        for number, window in enumerate(self.line.windows):
            if window.kind == "fault":
                bad |= code == number
        if bad.any() or not self.lost.is_quiet:
            lost = np.zeros(len(x))
            lost[bad] = surely_lost(x[bad], self.line) * 1.0
            self.lost.take(block, np.where(np.isnan(x), np.nan, lost))
        thin = slice(1, len(x) - 1, block.stride(MEAN_S))
        inner, sooner, later = code[thin], code[:-2][:: thin.step], code[2:][:: thin.step]
        same = (inner == sooner) & (inner == later) & (inner >= 0.0)
        if same.any():
            self._sum(block.time_s[thin][same], x[thin][same], inner[same].astype(np.int64))
        self._close(block.time_s[-1], block.last)
        while block.time_s[-1] / self.block_s > 2 * limits.MARGIN_BLOCKS:
            self._double()

    def _double(self) -> None:
        """Blocks twice as long, so that a long log has no more of them."""
        merged: dict[tuple[int, int], list[float]] = {}
        for (part, number), (count, total) in self.sums.items():
            found = merged.setdefault((part // 2, number), [0.0, 0.0])
            found[0] += count
            found[1] += total
        self.sums, self.block_s = merged, self.block_s * 2.0

    def _sum(self, time_s: Floats, x: Floats, code: NDArray[np.int64]) -> None:
        many = len(self.line.windows)
        for length, into in ((self.block_s, self.sums), (limits.OUTSIDE_IDLE_S, self.pieces)):
            part = np.floor(time_s / length).astype(np.int64)
            first = int(part[0])
            key = (part - first) * many + code
            counts, sums = np.bincount(key), np.bincount(key, weights=x)
            for each in np.flatnonzero(counts):
                found = into.setdefault((first + int(each) // many, int(each) % many), [0.0, 0.0])
                found[0] += float(counts[each])
                found[1] += float(sums[each])

    def _close(self, now_s: float, last: bool) -> None:
        """Judge the five-second pieces that are over, and forget them."""
        for (part, number), (count, total) in list(self.pieces.items()):
            if not last and (part + 1) * limits.OUTSIDE_IDLE_S > now_s:
                continue
            del self.pieces[(part, number)]
            if count < 10.0:
                continue
            self.count[number] = self.count.get(number, 0) + 1
            if number not in self._span:
                meaning = self.line.windows[number].meaning
                self._span[number] = self.line.span(meaning, ("run", "crank", "after_run"))
            ends, mean = self._span[number], total / count
            if ends is not None and not ends[0] - self.line.error <= mean <= ends[1] + self.line.error:
                self.outside[number] = self.outside.get(number, 0.0) + limits.OUTSIDE_IDLE_S
                self.first.setdefault(number, part * limits.OUTSIDE_IDLE_S)

    def seen(self) -> PinSeen:
        """All that was found."""
        scaled = "as recorded"
        if self.unit == "V" and self.line.unit != "V":
            by = self.line.divides_by
            scaled = "volts ÷ supply" if by == "battery" and self.has_supply else f"volts ÷ the nominal {by}"
        return PinSeen(
            self.line, self.codes.runs(), self.lost.runs(), {k: (v[0], v[1]) for k, v in self.sums.items()},
            self.block_s, self.outside, self.first, self.count, ("run", "crank"), scaled,
        )  # fmt: skip
