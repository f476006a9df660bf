"""Readings at corners of a box: the batch that `spans` asks for.

Answers: which of these corners gives the lowest or highest reading, and how much is it?
Units:   siemens, volts; the reading in volts or as a ratio.
Touches: nothing.
Beside:  `spans` decides which corners are worth trying.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pinproof.network.box import Reading, Sources
from pinproof.network.intervals import reading_bounds
from pinproof.network.netlist import BoolArray, FloatArray, IntArray, Netlist
from pinproof.network.solve import transfer_columns
from pinproof.network.star_mesh import scalar_links, shorted_rails

FEW_ROWS = 24
"""Up to this many eliminations plain floats are quicker than numpy columns."""
CHUNK = 1 << 13


def corner_columns(
    part: IntArray, count: int, base: FloatArray, open_edges: BoolArray, low: FloatArray, high: FloatArray,
    situation: IntArray,
) -> list[FloatArray]:  # fmt: skip
    """Conductance columns, (P, 1) or (P, 2**count), with all combinations of ends of the open edges of each problem.

    All problems in `part` have `count` open edges, though not the same ones.
    """
    table = np.asarray((np.arange(1 << count)[:, None] >> np.arange(max(count, 1))) & 1, dtype=bool)
    opened = open_edges[part]
    place = opened.cumsum(axis=1) - 1
    here = situation[part]
    columns: list[FloatArray] = []
    some: BoolArray = np.logical_or.reduce(opened, axis=0)
    for edge in range(base.shape[1]):
        column = base[part, edge][:, None]
        if some[edge]:
            up = table.T[np.maximum(place[:, edge], 0)]
            tried = np.where(up, high[here, edge][:, None], low[here, edge][:, None])
            column = np.where(opened[:, edge][:, None], tried, column)
        columns.append(column)
    return columns


@dataclass(eq=False)
class Best:
    """Best reading of each problem: lowest on side 0, highest on side 1. NaN where no corner has a reading.

    `undetermined`: some corner tried had none. `skipped`: too many corners, nothing was tried.
    """

    value: FloatArray
    corner_s: FloatArray
    cause: FloatArray
    undetermined: BoolArray
    skipped: BoolArray

    def replace(self, problems: IntArray, other: Best) -> None:
        """Put the results of `other` in the rows `problems`."""
        for name in ("value", "corner_s", "cause", "undetermined", "skipped"):
            getattr(self, name)[problems] = getattr(other, name)


class Evaluator:
    """One netlist, sources and reading, ready to evaluate many conductance corners."""

    def __init__(self, net: Netlist, node: int, minus: int | None, sources: Sources, reading: Reading) -> None:
        self.net, self.node, self.minus, self.sources = net, node, minus, sources
        self.corners = sources.corners
        self.volts = sources.corner_rail_v
        self.divisor = reading.divisors(sources, self.corners)
        self.slope = np.zeros(self.corners.shape[1])
        self.divisor_base = 1.0
        if reading.divisor is not None:
            self.divisor_base = float(reading.divisor[0])
            self.slope = np.asarray(reading.divisor[1], dtype=np.float64).reshape(-1)

    def best(
        self,
        base: FloatArray,
        open_edges: BoolArray,
        low: FloatArray,
        high: FloatArray,
        situation: IntArray,
        side: IntArray,
        enumerate_bits: int,
        max_rows: int,
    ) -> Best:
        """Try both ends of the open edges of every problem; the others stay as in `base`."""
        problems = base.shape[0]
        bits = open_edges.sum(axis=1)
        out = Best(
            np.full(problems, np.nan),
            base.copy(),
            np.zeros((problems, self.corners.shape[1])),
            np.zeros(problems, dtype=bool),
            bits > enumerate_bits,
        )
        rows = np.where(out.skipped, 0, 1 << np.minimum(bits, 40))
        if rows.sum() > max_rows:
            order = np.argsort(rows, kind="stable")
            out.skipped[order[np.cumsum(rows[order]) > max_rows]] = True
            rows[out.skipped] = 0
        shorts = bool(np.isinf(base).any() or (open_edges.any() and np.isinf(high).any()))
        for count in np.unique(bits[~out.skipped]).tolist():
            group = np.flatnonzero((bits == count) & ~out.skipped)
            step = max(1, CHUNK >> count)
            for start in range(0, group.size, step):
                part = group[start : start + step]
                self._group(part, int(count), base, open_edges, low, high, situation, side, shorts, out)
        return out

    def _group(
        self, part: IntArray, count: int, base: FloatArray, open_edges: BoolArray, low: FloatArray, high: FloatArray,
        situation: IntArray, side: IntArray, shorts: bool, out: Best,
    ) -> None:  # fmt: skip
        combos = 1 << count
        columns = corner_columns(part, count, base, open_edges, low, high, situation)
        value, pick = self.extreme(columns, (part.size, combos), side[part], shorts)
        missing = np.isnan(value)
        out.undetermined[part] = missing.any(axis=1)
        sign = np.where(side[part] == 0, 1.0, -1.0)[:, None]
        chosen = np.where(missing, np.inf, sign * value).argmin(axis=1)
        rows = np.arange(part.size)
        out.value[part] = value[rows, chosen]
        out.cause[part] = pick[rows, chosen]
        corner = base[part].copy()
        for edge in np.flatnonzero(open_edges[part].any(axis=0)).tolist():
            column = np.broadcast_to(columns[edge], (part.size, combos))
            corner[:, edge] = column[rows, chosen]
        out.corner_s[part] = corner

    def extreme(
        self, columns: Sequence[FloatArray], shape: tuple[int, int], side: IntArray, shorts: bool
    ) -> tuple[FloatArray, FloatArray]:
        """Lowest (side 0) or highest reading over the causes for each row, (P, N), and its causes (P, N, c)."""
        transfer = self._transfer(self.node, columns, shape, shorts)
        if self.minus is not None:
            transfer = transfer - self._transfer(self.minus, columns, shape, shorts)
        sign = np.where(side == 0, 1.0, -1.0)[:, None]
        if not self.sources.all_corners:
            value, cause = self._over_causes(transfer, sign)
            value[self._shorted(columns, shape, shorts).any(axis=-1)] = np.nan
            return value, cause
        value = transfer @ self.volts.T / self.divisor
        if shorts:
            value[self._shorted(columns, shape, shorts)] = np.nan
        signed = sign[..., None] * value
        if np.isnan(signed).any():
            signed = np.where(np.isnan(signed), np.inf, signed)
        pick = signed.argmin(axis=-1)
        chosen = np.take_along_axis(value, pick[..., None], axis=-1)[..., 0]
        return chosen, self.corners[pick]

    def _transfer(self, node: int, columns: Sequence[FloatArray], shape: tuple[int, int], shorts: bool) -> FloatArray:
        rows = shape[0] * shape[1]
        if node in self.net.rail_index or rows > FEW_ROWS or not self.net.rail_index:
            out = transfer_columns(self.net, node, columns, shorts, shape)
            if not self.net.rail_index:
                out = np.full((*shape, 1), np.nan)
            return out
        # Few rows: plain floats.
        function = scalar_links(self.net, node)
        flat = np.stack([np.broadcast_to(c, shape).reshape(-1) for c in columns], axis=1).tolist() if columns else []
        link = np.array([function(row) for row in flat]) if flat else np.zeros((rows, len(self.net.rails)))
        total = link.sum(axis=1, keepdims=True)
        if (total > 0.0).all() and (total < np.inf).all():
            return (link / total).reshape(*shape, -1)
        with np.errstate(invalid="ignore", divide="ignore"):
            parts = link / total
        short = np.isinf(link)
        first = short & (short.cumsum(axis=1) == 1)
        parts = np.where(np.isinf(total), first, parts)
        parts[total[:, 0] == 0.0] = np.nan
        return parts.reshape(*shape, -1)

    def _shorted(self, columns: Sequence[FloatArray], shape: tuple[int, int], shorts: bool) -> BoolArray:
        """Rows and cause corners (P, N, C) at which rails of different potential are joined by shorts."""
        bad = np.zeros((*shape, len(self.volts)), dtype=bool)
        if shorts:
            for i, j, joined in shorted_rails(self.net, columns):
                bad |= np.broadcast_to(joined, shape)[..., None] & (self.volts[:, i] != self.volts[:, j])
        return bad

    def _over_causes(self, transfer: FloatArray, sign: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Exact optimum over a box of many causes, by Dinkelbach's iteration for a quotient of affine functions."""
        source = self.sources
        constant = transfer @ source.base_v
        slope = transfer @ source.gain
        cause = np.broadcast_to(source.cause_low, slope.shape)
        value = (constant + (slope * cause).sum(axis=-1)) / (self.divisor_base + cause @ self.slope)
        for _ in range(60):
            rising = sign[..., None] * (slope - value[..., None] * self.slope) > 0.0
            cause = np.where(rising, source.cause_low, source.cause_high)
            better = (constant + (slope * cause).sum(axis=-1)) / (self.divisor_base + cause @ self.slope)
            done = np.array_equal(better, value, equal_nan=True)
            value = better
            if done:
                break
        return value, cause

    def outer(self, low: FloatArray, high: FloatArray, side: int) -> FloatArray:
        """Sound bound of the reading over each sub-box (N, m), below all readings (side 0) or above all (side 1)."""
        if self.sources.all_corners:
            least, most = reading_bounds(self.net, self.node, self.minus, low, high, self.volts, self.divisor)
            return least.min(axis=-1) if side == 0 else most.max(axis=-1)
        source = self.sources
        swing = np.abs(source.gain) * (source.cause_high - source.cause_low) / 2.0
        middle = source.rail_v((source.cause_low + source.cause_high) / 2.0)
        ends = np.stack([middle - swing.sum(axis=1), middle + swing.sum(axis=1)])
        near = self.slope * source.cause_low, self.slope * source.cause_high
        divisors = self.divisor_base + np.array([np.minimum(*near).sum(), np.maximum(*near).sum()])
        at = reading_bounds(self.net, self.node, None, low, high, ends, np.ones(2))
        least, most = at[0][..., 0], at[1][..., 1]
        if self.minus is not None:
            other = reading_bounds(self.net, self.minus, None, low, high, ends, np.ones(2))
            least, most = least - other[1][..., 1], most - other[0][..., 0]
        pick = least if side == 0 else most
        choices = pick[..., None] / divisors
        return choices.min(axis=-1) if side == 0 else choices.max(axis=-1)

    def at(self, conductance_s: FloatArray, side: int) -> tuple[FloatArray, FloatArray]:
        """Extreme reading over the causes at each conductance vector (N, m), and the causes (N, c)."""
        columns = [column[None, :] for column in np.ascontiguousarray(conductance_s.T)]
        shape = (1, conductance_s.shape[0])
        value, cause = self.extreme(columns, shape, np.array([side]), bool(np.isinf(conductance_s).any()))
        return value[0], cause[0]
