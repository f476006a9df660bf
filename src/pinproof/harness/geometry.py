"""A truck's places and runs as the harness sees them: one tree, its lengths, its splice points, its joints.

Answers: how long is each run in whole millimetres, where may splices lie, which runs does no wire cross?
Units:   whole millimetres, degrees Celsius.
Touches: nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from pinproof.design.model import Run, Truck
from pinproof.design.model_harness import HarnessRules, Joint
from pinproof.harness.tree import Site, Tree, sites_of
from pinproof.wiring.nets import Nets, Refusal, near, refusal, refused

MOST_PLACES = 400


@dataclass(frozen=True)
class Geometry:
    """Runs and places by number. `tree` is without the runs of pair joints; `whole` has them."""

    places: tuple[str, ...]
    numbers: dict[str, int]  # of the places
    runs: tuple[Run, ...]
    lengths_mm: tuple[int, ...]  # of wire along each run
    tree: Tree
    whole: Tree
    tree_runs: tuple[int, ...]  # number in `runs` of each run of `tree`
    stretches: dict[int, tuple[int, int]]  # run of `tree` to its first and last point for a splice
    joints: dict[int, Joint]  # pair joints by the number of their run
    component: tuple[int, ...]  # of each place, in `tree`
    termination: frozenset[int]
    breakout: frozenset[int]

    def sites(self, closed: Iterable[int] = ()) -> list[Site]:
        """Ends of all stretches but those of closed runs, in file order."""
        shut = set(closed)
        found: list[Site] = []
        for run, (first, last) in sorted(self.stretches.items()):
            if run not in shut:
                found += [Site(run, at) for at in dict.fromkeys((first, last))]
        return found


def whole_mm(length_m: float) -> int:
    """A length rounded up to whole millimetres."""
    return math.ceil(length_m * 1000 - 1e-6)


def highest_c(truck: Truck, run: Run) -> float:
    """Highest temperature around a run. [°C]"""
    return (run.temperature or truck.temperature).high


def geometry_of(truck: Truck, rules: HarnessRules, nets: Nets) -> Geometry:
    """The tree of a truck, or DesignFault with everything that is wrong with it."""
    faults: list[Refusal] = []
    places = tuple(place.id for place in truck.places)
    numbers = {name: number for number, name in enumerate(places)}
    joint_of = {joint.run: joint for joint in truck.joints}
    for kind in (truck.plugs, truck.devices, truck.loads, truck.relays, truck.studs, truck.feeds):
        for each in kind:
            if each.place is not None and each.place not in numbers:
                text = f'{each.path}: "{each.place}" is no place.{near(each.place, places)}'
                faults.append(refusal(truck, "place-unknown", each.path, text))
    lengths: list[int] = []
    for run in truck.runs:
        joint = joint_of.get(run.id)
        length = joint.cord_length if joint is not None and joint.cord_length is not None else run.length
        if length is None:
            text = (
                f'run.{run.id}: no length. A length such as "1.8 m" is needed. Measure along the route, not straight.'
            )
            faults.append(refusal(truck, "run-length", run.path, text))
        lengths.append(0 if length is None else whole_mm(length.high))
    refused(truck, faults)
    edges = [
        (numbers[run.between[0]], numbers[run.between[1]], length)
        for run, length in zip(truck.runs, lengths, strict=True)
    ]
    whole = Tree(len(places), edges)
    ring = whole.ring()
    if ring:
        run = truck.runs[max(ring)]
        named = ", ".join(dict.fromkeys(place for one in sorted(ring) for place in truck.runs[one].between))
        text = f"run.{run.id}: {named} form a ring; the harness is a tree. Leave out the run that carries nothing."
        refused(truck, [refusal(truck, "run-ring", run.path, text)])
    used = {numbers[end.place] for net in nets.nets for end in net.ends}
    if used:
        seen = whole.rooted(min(used)).far_mm
        lost = sorted(place for place in used if seen[place] < 0)
        if lost:
            named = ", ".join(places[place] for place in lost)
            path = truck.runs[0].path if truck.runs else f"place.{places[lost[0]]}"
            head = path if truck.runs else "run"
            text = (
                f"{head}: nothing joins {named} to the rest. Every place in use must be reached. "
                "Add a run, or correct `between`."
            )
            refused(truck, [refusal(truck, "run-unconnected", path, text)])
    pair = {number: joint_of[run.id] for number, run in enumerate(truck.runs)
            if run.id in joint_of and joint_of[run.id].pairs}  # fmt: skip
    kept = tuple(number for number in range(len(edges)) if number not in pair)
    tree = Tree(len(places), [edges[number] for number in kept])
    termination = _terminations(truck, numbers)
    stretches: dict[int, tuple[int, int]] = {}
    for number, run_number in enumerate(kept):
        run = truck.runs[run_number]
        shut = not run.splices or run.hot or run.environment != "bundle" or run.id in joint_of
        if shut or highest_c(truck, run) > rules.splice_limit_c:
            continue
        u, v, length_mm = tree.runs[number]
        clear = [whole_mm(rules.splice_clear_m if place in termination else rules.breakout_clear_m) for place in (u, v)]
        stretch = sites_of(length_mm, *clear)
        if stretch is not None:
            stretches[number] = stretch
    breakout = frozenset(
        place for place in range(len(places)) if len(whole.beside[place]) > 2 and place not in termination
    )
    return Geometry(
        places,
        numbers,
        truck.runs,
        tuple(lengths),
        tree,
        whole,
        kept,
        stretches,
        pair,
        _components(tree),
        termination,
        breakout,
    )


def _terminations(truck: Truck, numbers: dict[str, int]) -> frozenset[int]:
    """Places with a plug, device, load, relay, stud, feed or pair joint."""
    found: set[int] = set()
    for kind in (truck.plugs, truck.devices, truck.loads, truck.relays, truck.studs, truck.feeds):
        found |= {numbers[each.place] for each in kind if each.place is not None}
    ends = {run.id: run.between for run in truck.runs}
    for joint in truck.joints:
        if joint.pairs:
            found |= {numbers[place] for place in ends[joint.run]}
    return frozenset(found)


def _components(tree: Tree) -> tuple[int, ...]:
    found = [-1] * tree.places
    for place in range(tree.places):
        if found[place] < 0:
            for other in tree.rooted(place).order:
                found[other] = place
    return tuple(found)
