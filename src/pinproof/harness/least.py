"""Least wire for one part of a net: which ends get a wire of their own, which meet in splices, and where.

Answers: the choice of wires and splices of least cost under the splice rules of docs/harness.md, exactly.
Units:   whole millimetres.
Touches: nothing.

Without a hub there is one wire, or one splice. With a hub the ends fall into groups. Wires of a net are alike, so on
each run only two numbers matter: how many wires of ends go towards the hub (less those that come from there to a
splice further out; both at once would be a detour), and how many go from splices to the hub. The program walks from
the leaves to the hub and keeps the least cost for each pair of numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pinproof.harness.tree import Rooted, Site, Tree, reach

IntArray = npt.NDArray[np.int64]
_COST = 1 << 28  # one millimetre; below it count splices, below them the sites' places in the file
_SPLICE = 1 << 20
_NEVER = 1 << 61


@dataclass(frozen=True)
class Rules:
    """What a splice takes and must save. [mm]"""

    splice_wires: int = 4
    slack_mm: int = 50
    worth_mm: int = 300


@dataclass(frozen=True)
class SpliceAt:
    """A splice and the ends that meet in it; with a hub one more wire goes on to it."""

    site: Site
    ends: tuple[int, ...]


@dataclass(frozen=True)
class Wiring:
    """Least wiring of one part. `direct` ends go to the hub by a wire of their own (without a hub: to each other)."""

    cost_mm: int
    direct: tuple[int, ...]
    splices: tuple[SpliceAt, ...]


class NoWiring(Exception):
    """No wiring holds; `code` is the refusal, `need` and `have` its numbers."""

    def __init__(self, code: str, need: int, have: int) -> None:
        super().__init__(code, need, have)
        self.code, self.need, self.have = code, need, have


def cost_mm(tree: Tree, ends: Sequence[int], hub: int | None, wiring: Wiring, rules: Rules) -> int:
    """Cost of a wiring, wire by wire. [mm]"""
    total = 0
    if hub is None and wiring.direct:
        a, b = wiring.direct
        total += tree.far_mm(ends[a], ends[b]) + 2 * rules.slack_mm
    elif hub is not None:
        total += sum(tree.far_mm(ends[one], hub) + 2 * rules.slack_mm for one in wiring.direct)
    for splice in wiring.splices:
        total += rules.worth_mm
        total += sum(tree.to_site_mm(ends[one], splice.site) + rules.slack_mm for one in splice.ends)
        if hub is not None:
            total += tree.to_site_mm(hub, splice.site) + rules.slack_mm
    return total


def least_wires(
    tree: Tree, ends: Sequence[int], hub: tuple[int, int] | None, sites: Sequence[Site], rules: Rules
) -> Wiring:
    """Least-cost wires and splices for one part of a net.

    Parameters
    ----------
    tree : Tree
        Places and runs; all ends must hang together.
    ends : sequence of int
        Place of each single end; each gets exactly one wire.
    hub : (int, int) or None
        Place of the hub and the most wires on it.
    sites : sequence of Site
        Where a splice may lie, in file order.
    rules : Rules

    Returns
    -------
    Wiring
        Of least cost; equal costs: fewer splices, then earlier sites.

    Raises
    ------
    NoWiring
        ``splice-many``, ``splice-none`` or ``hub-many``.

    Examples
    --------
    >>> tree = Tree(4, [(0, 1, 3000), (1, 2, 500), (1, 3, 500)])
    >>> found = least_wires(tree, [2, 3], (0, 4), [Site(0, 300), Site(0, 2950)], Rules())
    >>> found.cost_mm, found.splices[0].site.at_mm  # one long wire instead of two
    (4500, 2950)
    """
    if hub is None:
        return _without_hub(tree, ends, sites, rules)
    if not ends:
        return Wiring(0, (), ())
    if len(ends) == 1 or not sites:
        if len(ends) > hub[1]:
            raise NoWiring("hub-many", len(ends), hub[1])
        plain = Wiring(0, tuple(range(len(ends))), ())
        return Wiring(cost_mm(tree, ends, hub[0], plain, rules), plain.direct, ())
    return _Walk(tree, ends, hub, sites, rules).solve()


def _without_hub(tree: Tree, ends: Sequence[int], sites: Sequence[Site], rules: Rules) -> Wiring:
    if len(ends) == 2:
        return Wiring(tree.far_mm(ends[0], ends[1]) + 2 * rules.slack_mm, (0, 1), ())
    if len(ends) > rules.splice_wires:
        raise NoWiring("splice-many", len(ends), rules.splice_wires)
    if len(ends) < 2 or not sites:
        raise NoWiring("splice-none", len(ends), 0)
    sums = [sum(tree.to_site_mm(end, site) for end in ends) for site in sites]
    best = int(np.argmin(sums))
    cost = sums[best] + len(ends) * rules.slack_mm + rules.worth_mm
    return Wiring(cost, (), (SpliceAt(sites[best], tuple(range(len(ends)))),))


@dataclass
class _Spot:
    """A point where splices may lie, on the way up or off it; what was decided there for each state."""

    site: Site
    off_mm: int  # how far off the way
    taken: IntArray | None = None  # ends of the last splice laid here, 0 for none


@dataclass
class _Merge:
    child: int
    choice: IntArray  # flat index of the child's state, for each state after it


@dataclass
class _Steps:
    merges: list[_Merge] = field(default_factory=list)
    aside: list[_Spot] = field(default_factory=list)
    above: list[_Spot] = field(default_factory=list)  # on the run to the parent, in order


class _Walk:
    def __init__(
        self, tree: Tree, ends: Sequence[int], hub: tuple[int, int], sites: Sequence[Site], rules: Rules
    ) -> None:
        self.tree, self.ends, self.rules, self.hub = tree, ends, rules, hub
        self.count = len(ends)
        self.seen: Rooted = tree.rooted(hub[0])
        self.on = reach(self.seen, ends)
        self.rank = {site: number for number, site in enumerate(sites)}
        self.in_run: dict[int, list[Site]] = {}
        for site in sites:
            self.in_run.setdefault(site.run, []).append(site)
        self.most = max(min(self.count // 2, hub[1]), 0)
        self.shape = (2 * self.count + 1, self.most + 1)
        flow = np.abs(np.arange(-self.count, self.count + 1))[:, None] + np.arange(self.most + 1)[None, :]
        self.wires = flow.astype(np.int64)
        self.steps: dict[int, _Steps] = {}
        self.aside = self._nearest_aside()

    def _nearest_aside(self) -> dict[int, tuple[Site, int]]:
        """For each place on the way: the nearest point beside it where a splice may lie. None beside it is better."""
        best: dict[int, tuple[Site, int]] = {}
        owner = [-1] * self.tree.places
        off = [0] * self.tree.places
        for place in self.seen.order:
            if self.on[place]:
                owner[place] = place
                continue
            above, run = self.seen.parent[place], self.seen.run_up[place]
            owner[place], off[place] = owner[above], off[above] + self.tree.runs[run][2]
            for site in self.in_run.get(run, ()):
                u, _, length = self.tree.runs[run]
                far = off[above] + (site.at_mm if u == above else length - site.at_mm)
                known = best.get(owner[place])
                if known is None or (far, self.rank[site]) < (known[1], self.rank[known[0]]):
                    best[owner[place]] = (site, far)
        return best

    def solve(self) -> Wiring:
        up: dict[int, IntArray] = {}
        below: dict[int, int] = {}
        way = [place for place in self.seen.order if self.on[place]]
        own = [0] * self.tree.places
        for end in self.ends:
            own[end] += 1
        children: dict[int, list[int]] = {}
        for place in way[1:]:
            children.setdefault(self.seen.parent[place], []).append(place)
        root = way[0]
        for place in reversed(way):
            steps = self.steps.setdefault(place, _Steps())
            state = np.full(self.shape, _NEVER, dtype=np.int64)
            state[self.count + own[place], 0] = 0
            below[place] = own[place]
            for child in children.get(place, ()):
                state, choice = self._merge(state, up.pop(child))
                steps.merges.append(_Merge(child, choice))
                below[place] += below[child]
            if place in self.aside:
                site, off = self.aside[place]
                steps.aside.append(self._splice(state, site, off))
            if place != root:
                state = self._climb(state, place, steps)
                state[: below[place]] = _NEVER  # more wires wanted from outside than there are ends
            up[place] = state
        return self._read(root, up[root], own, way, children)

    def _merge(self, state: IntArray, child: IntArray) -> tuple[IntArray, IntArray]:
        n, wide = self.count, self.most + 1
        out = np.full(self.shape, _NEVER, dtype=np.int64)
        choice = np.full(self.shape, -1, dtype=np.int64)
        alive = [np.argwhere(each < _NEVER) for each in (state, child)]
        few, many, few_is_child = (child, state, True) if len(alive[1]) <= len(alive[0]) else (state, child, False)
        for f, g in alive[1 if few_is_child else 0].tolist():
            shift = f - n
            to_f = slice(max(shift, 0), 2 * n + 1 + min(shift, 0))
            from_f = slice(max(-shift, 0), 2 * n + 1 + min(-shift, 0))
            moved = many[from_f, : wide - g] + few[f, g]
            window, chosen = out[to_f, g:], choice[to_f, g:]
            better = moved < window
            window[better] = moved[better]
            if few_is_child:
                chosen[better] = f * wide + g
            else:
                rows, columns = np.nonzero(better)
                chosen[better] = (rows + from_f.start) * wide + columns
        return out, choice

    def _splice(self, state: IntArray, site: Site, off_mm: int) -> _Spot:
        """Lay any number of splices at a point; `state` is changed."""
        taken = np.zeros(self.shape, dtype=np.int64)
        each = _SPLICE + self.rank[site]
        for g in range(self.most):
            for size in range(2, self.rules.splice_wires):
                if size > 2 * self.count:
                    break
                price = (self.rules.worth_mm + off_mm * (size + 1)) * _COST + each
                tried = state[size:, g] + price
                window = state[: 2 * self.count + 1 - size, g + 1]
                better = tried < np.minimum(window, _NEVER)
                window[better] = tried[better]
                taken[: 2 * self.count + 1 - size, g + 1][better] = size
        return _Spot(site, off_mm, taken)

    def _climb(self, state: IntArray, place: int, steps: _Steps) -> IntArray:
        run = self.seen.run_up[place]
        u, _, length = self.tree.runs[run]
        marks = sorted(
            (site.at_mm if u == place else length - site.at_mm, self.rank[site], site)
            for site in self.in_run.get(run, ())
        )
        at = 0
        for far, _, site in marks:
            state = self._carry(state, far - at)
            steps.above.append(self._splice(state, site, 0))
            at = far
        return self._carry(state, length - at)

    def _carry(self, state: IntArray, length_mm: int) -> IntArray:
        moved = state + self.wires * (length_mm * _COST)
        moved[state >= _NEVER] = _NEVER
        return moved

    def _read(
        self, root: int, state: IntArray, own: list[int], way: list[int], children: dict[int, list[int]]
    ) -> Wiring:
        n, wide = self.count, self.most + 1
        plain, spliced = np.arange(n + 1)[:, None], np.arange(wide)[None, :]
        ending = state[n:] + (plain + spliced) * (self.rules.slack_mm * _COST)
        ending[(plain + spliced > self.hub[1]) | (state[n:] >= _NEVER)] = _NEVER
        flat = int(np.argmin(ending))
        if ending.flat[flat] >= _NEVER:
            fewest = -(-n // max(self.rules.splice_wires - 1, 1))
            raise NoWiring("hub-many", fewest, self.hub[1])
        laid: dict[int, tuple[list[list[tuple[Site, int]]], list[tuple[Site, int]]]] = {}
        waiting = [(root, n + flat // wide, flat % wide)]
        while waiting:
            place, f, g = waiting.pop()
            steps = self.steps[place]
            above: list[list[tuple[Site, int]]] = []
            for spot in reversed(steps.above):
                found, f, g = _unlay(spot, f, g)
                above.insert(0, found)
            aside: list[tuple[Site, int]] = []
            for spot in reversed(steps.aside):
                found, f, g = _unlay(spot, f, g)
                aside += found
            for merge in reversed(steps.merges):
                child_f, child_g = divmod(int(merge.choice[f, g]), wide)
                waiting.append((merge.child, child_f, child_g))
                f, g = f - (child_f - n), g - child_g
            laid[place] = (above, aside)
        return self._assign(way, children, laid)

    def _assign(
        self,
        way: list[int],
        children: dict[int, list[int]],
        laid: dict[int, tuple[list[list[tuple[Site, int]]], list[tuple[Site, int]]]],
    ) -> Wiring:
        """Which end goes where: wires that meet on the way are matched at once, so none goes to and fro."""
        splices: list[tuple[Site, list[int]]] = []
        free: dict[int, list[int]] = {}
        wanted: dict[int, list[int]] = {}
        at: dict[int, list[int]] = {}
        for number, end in enumerate(self.ends):
            at.setdefault(end, []).append(number)
        for place in reversed(way):
            ends, open_ = list(at.get(place, ())), []
            for child in children.get(place, ()):
                ends += free.pop(child)
                open_ += wanted.pop(child)
            above, aside = laid[place]
            for level in [aside, *above]:
                for site, size in level:
                    open_ += [len(splices)] * size
                    splices.append((site, []))
                while ends and open_:
                    splices[open_.pop(0)][1].append(ends.pop(0))
            free[place], wanted[place] = ends, open_
        direct = tuple(sorted(free[way[0]]))
        made = [SpliceAt(site, tuple(sorted(ends))) for site, ends in splices]
        made.sort(key=lambda one: (self.rank[one.site], one.ends))
        found = Wiring(0, direct, tuple(made))
        return Wiring(cost_mm(self.tree, self.ends, self.hub[0], found, self.rules), direct, found.splices)


def _unlay(spot: _Spot, f: int, g: int) -> tuple[list[tuple[Site, int]], int, int]:
    """Splices laid at a point on the way to this state, and the state before them."""
    found: list[tuple[Site, int]] = []
    assert spot.taken is not None
    while g and spot.taken[f, g]:
        size = int(spot.taken[f, g])
        found.append((spot.site, size))
        f, g = f + size, g - 1
    return found, f, g
