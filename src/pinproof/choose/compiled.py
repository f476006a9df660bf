"""Readings and margins of many candidate boxes at once, with bounds that hold for every choice inside a box.

Answers: over all choices in a box of candidate ranges, how large can each demand's margin be at most? And what is it
         exactly for one choice?
Units:   as in `problem`.
Shapes:  boxes (B, K): first and last candidate of each of K variables, both included.
Touches: nothing.
Beside:  `search` asks; `directions` proves which way each conductance moves a reading.
Sources: star-mesh elimination as in `pinproof.network.star_mesh`. The lowest reading L of a choice is the minimum over
         the corners of its tolerance box, so its largest value over a box of choices is at most the largest value of
         any one corner's reading; that reading is monotone in each resistance alone, so its largest value is at an end.

Directions are proven over the whole candidate box. Where they all are, one corner gives L exactly and the bound is
reached at one choice, or above it by no more than what several demands cannot have at once. A conductance whose
direction stays open is put at both ends (for the corner) and, if it is a variable, at both ends of its candidates
(for the bound). Beyond MOST_VARIANTS the corners are thinned out: the bound stays sound, and the exact value of a
choice then comes from `pinproof.network.spans.span`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pinproof.choose.directions import directions
from pinproof.choose.problem import Demand, FloatArray, IntArray, Member, Problem
from pinproof.choose.ranges import RangeEnds
from pinproof.network.netlist import BoolArray, NetworkFault, Plan
from pinproof.network.signs import FALLS, NONE, OPEN
from pinproof.network.spans import span

SHORT_S = 1e30
OPEN_S = 1e-200
"""Stand for a short and an open inside the kernel. In double arithmetic a sum or a weight with any real conductance
(1e-12 S to 1e6 S) comes out as if they were infinite and zero, to the last digit; no test for them is then needed."""
MOST_VARIANTS = 256
"""Variants of one end of one member: corners left open times ends of candidates left open."""
CHUNK = 1 << 18
"""Boxes times eliminations per pass of the kernel, so that the columns stay in the processor's cache."""


@dataclass(eq=False)
class _Variants:
    """Growing lists behind the arrays of `Compiled`."""

    fixed: list[FloatArray]
    code: list[tuple[int, ...]]
    volts: list[FloatArray]  # (C, r), already with the side's sign and divided
    clip: list[tuple[float, float]]
    term_start: list[int]  # variants are joined to terms by their largest
    end_start: list[int]  # terms are joined to the end of a spread by their smallest


class Compiled:
    """A problem over one box of candidates, ready to be bounded.

    Parameters
    ----------
    problem : Problem
    low, high : (K,) int
        The box in which directions are proven; later boxes must lie inside it.
    """

    def __init__(self, problem: Problem, low: IntArray, high: IntArray) -> None:
        self.problem = problem
        self.widths = high - low + 1
        self.columns = [problem.net.edge_index(each.edge) for each in problem.variables]
        self.ends = [(RangeEnds(each.low_ohm), RangeEnds(each.high_ohm)) for each in problem.variables]
        members = [member for spread in problem.spreads for member in spread.members]
        nodes = {member.reading.node for member in members}
        if len(nodes) != 1 or any(member.reading.minus is not None for member in members):
            raise NetworkFault("reading", f"nodes {sorted(nodes)}", "one node against zero, the same in all members")
        self.node = problem.net.node_index(nodes.pop())
        if self.node in problem.net.rail_index:
            raise NetworkFault("reading", "a rail", "a node whose potential the choice can change")
        self.plan: Plan = problem.net.plan((self.node,))
        signs, self.status = self._directions(members, low, high)
        self.open_directions = 0
        self.rail_corners: dict[tuple[int, int, int], FloatArray] = {}
        self.incomplete: set[int] = set()
        found = _Variants([], [], [], [], [], [])
        position = 0
        self.broken = np.zeros(len(problem.spreads), dtype=bool)
        spread_members: list[list[int]] = []
        for index, spread in enumerate(problem.spreads):
            mine = list(range(position, position + len(spread.members)))
            spread_members.append(mine)
            self.broken[index] = any(self.status[each] for each in mine)
            position += len(mine)
        for side in (0, 1):
            for index, mine in enumerate(spread_members):
                found.end_start.append(len(found.term_start))
                for each in mine:
                    if not self._add(found, members[each], signs[each], side):
                        self.incomplete.add(index)
        self._freeze(found)
        self._demands(problem.demands)

    # -- set-up ------------------------------------------------------------------------------------------------

    def _directions(
        self, members: Sequence[Member], low: IntArray, high: IntArray
    ) -> tuple[npt.NDArray[np.int8], BoolArray]:
        """Proven effect of each conductance (M, m) over the candidate box; members without a settled reading."""
        low_s = np.stack([member.low_s for member in members])
        high_s = np.stack([member.high_s for member in members])
        for k, column in enumerate(self.columns):
            low_s[:, column] = 1.0 / self.ends[k][1].largest(low[k], high[k])
            high_s[:, column] = 1.0 / self.ends[k][0].smallest(low[k], high[k])
        return directions(self.problem.net, self.node, members, low_s, high_s)

    def _add(self, found: _Variants, member: Member, signs: npt.NDArray[np.int8], side: int) -> bool:
        """Variants of one end of one member. False if the corners could not all be listed."""
        variable_of = {column: k for k, column in enumerate(self.columns)}
        flip = 1.0 if side == 0 else -1.0
        key = (id(member.sources), id(member.reading), side)
        if key not in self.rail_corners:
            divided = member.reading.divisors(member.sources, member.sources.corners)[:, None]
            self.rail_corners[key] = _undominated(flip * member.sources.corner_rail_v / divided)
        volts = self.rail_corners[key]
        code = [0] * len(self.columns)
        fixed = np.where(np.isinf(member.high_s), SHORT_S, member.high_s)
        floor = np.where(np.isinf(member.low_s), SHORT_S, member.low_s)
        open_fixed: list[int] = []
        open_variables: list[int] = []
        for edge in range(len(signs)):
            sign = int(signs[edge]) if signs[edge] in (OPEN, NONE) else int(flip * signs[edge])
            if edge in variable_of:
                k = variable_of[edge]
                if sign == OPEN:
                    open_variables.append(k)
                elif sign == FALLS:  # the corner has the most conductance, so the least ohms; the best choice, the most
                    code[k] = _CODE[0, 1]
                else:
                    code[k] = _CODE[1, 0]
            elif member.low_s[edge] < member.high_s[edge]:
                if sign == OPEN:
                    open_fixed.append(edge)
                elif sign != FALLS:
                    fixed[edge] = floor[edge]
        self.open_directions += len(open_fixed) + len(open_variables)
        complete = member.sources.all_corners
        corners = list(itertools.product((0, 1), repeat=min(len(open_fixed) + len(open_variables), 8)))
        ends = list(itertools.product((0, 1), repeat=min(len(open_variables), 8)))
        if len(open_fixed) + len(open_variables) > 8 or len(corners) * len(ends) > MOST_VARIANTS:
            width = len(open_fixed) + len(open_variables)
            corners, complete = [(0,) * width, (1,) * width], False
        if len(open_variables) > 7:
            # Too many ends to list: no bound but the rails'.
            found.term_start.append(len(found.fixed))
            self._variant(found, fixed, code, np.full((1, volts.shape[1]), np.inf), member, flip)
            return False
        for corner in corners:
            found.term_start.append(len(found.fixed))
            for end in ends:
                here, mine = fixed.copy(), list(code)
                for edge, up in zip(open_fixed, corner, strict=False):
                    here[edge] = (np.where(np.isinf(member.high_s), SHORT_S, member.high_s) if up else floor)[edge]
                for k, listed, take in zip(open_variables, corner[len(open_fixed) :], end, strict=True):
                    mine[k] = _CODE[listed, take]
                self._variant(found, here, mine, volts, member, flip)
        return complete

    @staticmethod
    def _variant(
        found: _Variants, fixed: FloatArray, code: Sequence[int], volts: FloatArray, member: Member, flip: float
    ) -> None:
        found.fixed.append(np.where(fixed == 0.0, OPEN_S, fixed))
        found.code.append(tuple(code))
        found.volts.append(volts)
        found.clip.append((0.0, member.full_scale) if flip > 0.0 else (-member.full_scale, 0.0))

    def _freeze(self, found: _Variants) -> None:
        fixed = np.array(found.fixed)
        fixed[:, self.columns] = 0.0
        code = np.array(found.code, dtype=np.intp).reshape(len(found.code), len(self.columns))
        both = np.concatenate([fixed, code.astype(float)], axis=1)
        _, first, inverse = np.unique(both, axis=0, return_index=True, return_inverse=True)
        self.circuit = inverse.reshape(-1)
        self.fixed = [np.ascontiguousarray(column)[None, :] for column in fixed[first].T]
        self.code = [np.ascontiguousarray(column) for column in code[first].T]
        most = max(len(each) for each in found.volts)
        padded = np.stack([np.concatenate([v, np.repeat(v[-1:], most - len(v), axis=0)]) for v in found.volts])
        self.volts = np.ascontiguousarray(padded.transpose(1, 2, 0))  # (C, r, V)
        self.clip_low = np.array([low for low, _ in found.clip])
        self.clip_high = np.array([high for _, high in found.clip])
        terms, ends = np.array(found.term_start), np.array(found.end_start)
        self.term_start = None if len(terms) == len(self.circuit) else terms
        self.end_start = None if len(ends) == len(terms) else ends

    def _demands(self, demands: Sequence[Demand]) -> None:
        self.groups = [each.group for each in demands]
        self.inside = np.array([i for i, each in enumerate(demands) if each.how == "inside"], dtype=np.intp)
        self.clear = np.array([i for i, each in enumerate(demands) if each.how == "clear"], dtype=np.intp)
        self.apart = np.array([i for i, each in enumerate(demands) if each.how == "apart"], dtype=np.intp)
        self.spread = np.array([each.spread for each in demands], dtype=np.intp)
        self.other = np.array([max(each.other, 0) for each in demands], dtype=np.intp)
        self.keep = np.array([each.keep for each in demands])
        self.scale = np.array([each.scale for each in demands])
        most = max([len(each.windows) for each in demands] + [1])
        # Padding: an impossible window for "inside", one that is nowhere for "clear".
        self.window_low = np.full((len(demands), most), np.inf)
        self.window_high = np.full((len(demands), most), -np.inf)
        self.half = np.ones((len(demands), most))
        self.firm = np.zeros((len(demands), most), dtype=bool)
        for row, demand in enumerate(demands):
            for column, window in enumerate(demand.windows):
                low, high = window.guaranteed() if demand.how == "inside" else window.largest()
                self.window_low[row, column], self.window_high[row, column] = low, high
                self.half[row, column] = window.nominal_half_width
                self.firm[row, column] = window.basis != "assumed"
        paired = np.isin(np.arange(len(demands)), self.apart)
        self.dead = self.broken[self.spread] | (self.broken[self.other] & paired)
        self.several = any(len(each.windows) > 1 for each in demands if each.how == "inside")

    # -- use ---------------------------------------------------------------------------------------------------

    def bound(self, low: IntArray, high: IntArray) -> FloatArray:
        """Upper bound of every demand's margin over each box, (B, D)."""
        return self._margins(*self._ends(low, high), exact=False)

    def margins(self, choice: IntArray) -> FloatArray:
        """Margin of every demand for each choice (N, K): positions of candidates. Exact as far as `span` is."""
        lows, highs = self._ends(choice, choice)
        for spread in sorted(self.incomplete):
            lows[:, spread], highs[:, spread] = self._by_span(spread, choice)
        return self._margins(lows, highs, exact=True)

    def readings(self, choice: IntArray) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest reading of every spread for each choice, (N, S) each."""
        lows, highs = self._ends(choice, choice)
        for spread in sorted(self.incomplete):
            lows[:, spread], highs[:, spread] = self._by_span(spread, choice)
        return lows, highs

    def _by_span(self, spread: int, choice: IntArray) -> tuple[FloatArray, FloatArray]:
        lows, highs = np.full(len(choice), np.inf), np.full(len(choice), -np.inf)
        for member in self.problem.spreads[spread].members:
            low_s, high_s = np.tile(member.low_s, (len(choice), 1)), np.tile(member.high_s, (len(choice), 1))
            for k, column in enumerate(self.columns):
                low_s[:, column] = 1.0 / self.problem.variables[k].high_ohm[choice[:, k]]
                high_s[:, column] = 1.0 / self.problem.variables[k].low_ohm[choice[:, k]]
            found = span(self.problem.net, low_s, high_s, member.sources, member.reading)
            lows = np.minimum(lows, np.clip(found.low, 0.0, member.full_scale))
            highs = np.maximum(highs, np.clip(found.high, 0.0, member.full_scale))
        return lows, highs

    def _ends(self, low: IntArray, high: IntArray) -> tuple[FloatArray, FloatArray]:
        """Largest possible lowest reading and smallest possible highest reading of each spread over each box."""
        step = max(1, CHUNK // max(1, len(self.circuit)))
        parts = [self._some_ends(low[i : i + step], high[i : i + step]) for i in range(0, len(low), step)]
        joined = parts[0] if len(parts) == 1 else np.concatenate(parts)
        spreads = len(self.problem.spreads)
        return joined[:, :spreads].copy(), -joined[:, spreads:]

    def _some_ends(self, low: IntArray, high: IntArray) -> FloatArray:
        columns = list(self.fixed)
        for k, column in enumerate(self.columns):
            few, many = self.ends[k]
            at = np.stack(
                [
                    few.smallest(low[:, k], high[:, k]),
                    few.largest(low[:, k], high[:, k]),
                    many.smallest(low[:, k], high[:, k]),
                    many.largest(low[:, k], high[:, k]),
                ],
                axis=1,
            )
            columns[column] = (1.0 / at)[:, self.code[k]]
        links = self._links(columns, (len(low), len(self.fixed[0][0])))
        total = links[0]
        for link in links[1:]:
            total = total + link
        weights = [(link / total)[:, self.circuit] for link in links]
        lowest: FloatArray = np.full((len(low), len(self.circuit)), np.inf)
        for volts in self.volts:
            value: FloatArray = weights[0] * volts[0]
            for weight, v in zip(weights[1:], volts[1:], strict=True):
                value += weight * v
            np.minimum(lowest, value, out=lowest)
        least: FloatArray = np.clip(lowest, self.clip_low, self.clip_high)
        if self.term_start is not None:
            least = np.maximum.reduceat(least, self.term_start, axis=1)
        if self.end_start is not None:
            least = np.minimum.reduceat(least, self.end_start, axis=1)
        return least

    def _links(self, columns: Sequence[FloatArray], shape: tuple[int, int]) -> list[FloatArray]:
        """Conductance from the read node to each rail with all else eliminated. [S]"""
        plan = self.plan
        slots: list[Any] = [None] * len(plan.slot_edges)  # None: never any conductance there
        for number, edges in enumerate(plan.slot_edges):
            if edges:
                total = columns[edges[0]]
                for edge in edges[1:]:
                    total = total + columns[edge]
                slots[number] = total
        for star in plan.stars:
            if not star.mesh:
                continue
            g = [slots[s] for s in star.slots]
            total = g[0]
            for value in g[1:]:
                total = total + value
            shares: dict[int, FloatArray] = {}
            for i, j, target in star.mesh:
                if i not in shares:
                    shares[i] = g[i] / total
                added = shares[i] * g[j]
                before = slots[target]
                slots[target] = added if before is None else before + added
        out: list[FloatArray] = []
        for rail in self.problem.net.rail_index:
            number = plan.slot(self.node, rail)
            value = slots[number] if number >= 0 else None
            out.append(np.broadcast_to(np.full((1, 1), OPEN_S) if value is None else value, shape))
        return out

    def _margins(self, lows: FloatArray, highs: FloatArray, exact: bool) -> FloatArray:
        out = np.empty((len(lows), len(self.spread)))
        if self.inside.size:
            rows = self.inside
            low, high = lows[:, self.spread[rows], None], highs[:, self.spread[rows], None]
            each = np.minimum(low - self.window_low[rows], self.window_high[rows] - high) / self.half[rows]
            out[:, rows] = each.max(axis=2)
            if exact and self.several:
                out[:, rows] = _as_judged(each, self.firm[rows])
        if self.clear.size:
            rows = self.clear
            low, high = lows[:, self.spread[rows], None], highs[:, self.spread[rows], None]
            each = np.maximum(self.window_low[rows] - high, low - self.window_high[rows]) / self.half[rows]
            out[:, rows] = each.min(axis=2)
        if self.apart.size:
            rows = self.apart
            one, two = self.spread[rows], self.other[rows]
            gap = np.maximum(lows[:, one] - highs[:, two], lows[:, two] - highs[:, one])
            out[:, rows] = (gap - self.keep[rows]) / self.scale[rows]
        out[:, self.dead] = -np.inf
        return out


_CODE = np.array([[0, 1], [2, 3]])
"""Which of a candidate range's four ends: [least ohms, greatest ohms of each part] × [smallest, largest in range]."""


def _as_judged(each: FloatArray, firm: BoolArray) -> FloatArray:
    """The margin `judge_inside` reports: the best among firm windows that hold the reading, if there are any."""
    carrying = each >= 0.0
    held = np.where(carrying & firm, each, -np.inf).max(axis=2)
    best: FloatArray = np.where((carrying & firm).any(axis=2), held, each.max(axis=2))
    return best


def _undominated(volts: FloatArray) -> FloatArray:
    """Corners (C, r) that can give the smallest weighted mean for some weights of 0 or more: no other is below."""
    volts = np.unique(volts, axis=0)
    keep = [
        i
        for i, one in enumerate(volts)
        if not any(j != i and bool((other <= one).all()) for j, other in enumerate(volts))
    ]
    return volts[keep]
