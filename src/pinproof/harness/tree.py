"""Places and runs as a tree: distances, and the points where a splice may lie.

Answers: how far is it from here to there along the harness, and which way?
Units:   whole millimetres.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Site:
    """A point in a run where a splice may lie. `at_mm` counts from the run's first place."""

    run: int
    at_mm: int


@dataclass(frozen=True)
class Rooted:
    """The tree seen from one place: parents, the run that leads to them, distances. -1 and None where not reached."""

    root: int
    order: tuple[int, ...]  # parents before children
    parent: tuple[int, ...]
    run_up: tuple[int, ...]
    far_mm: tuple[int, ...]


class Tree:
    """Places 0 … n−1 joined by runs.

    Parameters
    ----------
    places : int
        How many places.
    runs : sequence of (int, int, int)
        Two places and the length of wire between them. [mm]
    """

    def __init__(self, places: int, runs: Sequence[tuple[int, int, int]]) -> None:
        self.places = places
        self.runs = tuple(runs)
        self.beside: list[list[tuple[int, int]]] = [[] for _ in range(places)]  # neighbour, run
        for number, (u, v, _) in enumerate(self.runs):
            self.beside[u].append((v, number))
            self.beside[v].append((u, number))
        self._seen: dict[tuple[int, frozenset[int]], Rooted] = {}

    def rooted(self, root: int, closed: frozenset[int] = frozenset()) -> Rooted:
        """The tree from `root`, without the closed runs."""
        known = self._seen.get((root, closed))
        if known is not None:
            return known
        parent, run_up, far = [-1] * self.places, [-1] * self.places, [-1] * self.places
        far[root] = 0
        order = [root]
        for place in order:
            for other, run in self.beside[place]:
                if far[other] < 0 and run not in closed:
                    far[other] = far[place] + self.runs[run][2]
                    parent[other], run_up[other] = place, run
                    order.append(other)
        found = Rooted(root, tuple(order), tuple(parent), tuple(run_up), tuple(far))
        self._seen[root, closed] = found
        return found

    def ring(self) -> list[int]:
        """Runs of a ring, or an empty list."""
        up = list(range(self.places))

        def top(place: int) -> int:
            while up[place] != place:
                place = up[place]
            return place

        joined: list[int] = []
        for number, (u, v, _) in enumerate(self.runs):
            if top(u) == top(v):
                part = Tree(self.places, [self.runs[each] for each in joined])
                seen = part.rooted(u)
                path, at = [number], v
                while at != u and seen.parent[at] >= 0:
                    path.append(joined[seen.run_up[at]])
                    at = seen.parent[at]
                return path
            up[top(u)] = top(v)
            joined.append(number)
        return []

    def runs_between(self, a: int, b: int) -> list[int]:
        """Runs on the way from `a` to `b`, in order."""
        seen = self.rooted(b)
        found = []
        while a != b:
            if seen.parent[a] < 0:
                raise ValueError(f"no way from place {a} to place {b}")
            found.append(seen.run_up[a])
            a = seen.parent[a]
        return found

    def far_mm(self, a: int, b: int) -> int:
        """Distance of two places. [mm]"""
        return self.rooted(b).far_mm[a]

    def to_site_mm(self, place: int, site: Site) -> int:
        """Distance from a place to a point in a run. [mm]"""
        u, v, length = self.runs[site.run]
        far = self.rooted(place).far_mm
        return min(far[u] + site.at_mm, far[v] + length - site.at_mm)

    def leaves_first_place(self, place: int, run: int) -> bool:
        """True if the way from a point in the run to `place` leaves by the run's first place."""
        u, v, _ = self.runs[run]
        far = self.rooted(place).far_mm
        return far[u] < far[v]

    def runs_to_site(self, place: int, site: Site) -> list[int]:
        """Runs on the way from a place to a point in a run, that run last."""
        u, v, _ = self.runs[site.run]
        near = u if self.leaves_first_place(place, site.run) else v
        return [*self.runs_between(place, near), site.run]


def sites_of(length_mm: int, first_clear_mm: int, last_clear_mm: int) -> tuple[int, int] | None:
    """First and last point of a run where a splice may lie, from its first place; None if there is none. [mm]"""
    first, last = first_clear_mm, length_mm - last_clear_mm
    return (first, last) if first <= last else None


def reach(rooted: Rooted, places: Iterable[int]) -> list[bool]:
    """Which places lie on the ways from the root to `places`."""
    on = [False] * len(rooted.parent)
    for place in places:
        while place >= 0 and not on[place]:
            on[place] = True
            place = rooted.parent[place]
    return on
