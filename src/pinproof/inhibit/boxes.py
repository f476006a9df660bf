"""What a situation, a combination of relays and a fault do to the netlist of a start circuit and to its box.

Answers: which edges there are, which conductance is the severity, between which ends each of the others lies.
Units:   siemens, volts.
Touches: nothing.
Beside:  `sites` says which fault makes which `Change`; `corners` asks the questions.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import numpy.typing as npt

from pinproof.faults.severity import ALMOST_SHORT
from pinproof.inhibit.circuit import BATTERY, CHASSIS, UNPLUGGED, Branch, Circuit, hangs_together
from pinproof.network import Edge, Netlist

FloatArray = npt.NDArray[np.float64]
FAULT = "the fault"
"""Edge whose conductance is the severity of a fault that joins two nodes."""


@dataclass(frozen=True)
class Change:
    """What one fault does to a circuit.

    `join`: two nodes joined through the severity. `severe`: the branch whose ohms are the severity, which is a fault
    only below `below_ohm`. `stuck`: branches that conduct always, or never. `gone`: branches that are open without any
    leak. `moved`: (branch, points in which it conducts, points in which it may). `exchanged`: pairs of wires whose far
    ends sit in each other's place.
    """

    join: tuple[str, str] | None = None
    severe: str = ""
    below_ohm: float = np.inf
    stuck: tuple[tuple[str, bool], ...] = ()
    gone: tuple[str, ...] = ()
    moved: tuple[tuple[str, frozenset[str], frozenset[str]], ...] = ()
    exchanged: tuple[tuple[str, str], ...] = ()

    @property
    def has_severity(self) -> bool:
        """Whether a number of ohms belongs to it."""
        return self.join is not None or bool(self.severe)


SOUND = Change()


@dataclass(frozen=True)
class Situation:
    """What the driver does: the lever's point, the start request, the key state, command contacts operated (None: at
    will, which holds every set of them).

    `sure`: of the branches that nobody knows at this point, those that are taken as conducting; None: each at will.
    `willing`: every hand switch is on and every free driver too, as for a crank that is wanted.
    """

    point: str
    request: bool
    key: str
    unplugged: bool = False
    operated: frozenset[str] | None = frozenset()
    sure: frozenset[str] | None = None
    willing: bool = False


class Bench:
    """A circuit with one fault in it, ready for the solver: netlist, relays, boxes.

    `released`: relays that are held released by hand, whatever their coils have.
    """

    def __init__(self, circuit: Circuit, change: Change = SOUND, released: frozenset[str] = frozenset()) -> None:
        self.circuit, self.change = circuit, change
        whole = _exchanged(circuit, change)
        self.branches, self.relays = hangs_together(whole, [change.join] if change.join else [])
        edges = [Edge(each.id, each.a, each.b) for each in self.branches]
        if change.join is not None:
            edges.append(Edge(FAULT, *change.join))
        used = {end for edge in edges for end in (edge.a, edge.b)}
        order = [BATTERY, *(each.id for each in circuit.grounds), CHASSIS]
        self.net = Netlist.from_edges([rail for rail in order if rail in used], edges)
        index = {edge.id: column for column, edge in enumerate(edges)}
        severe = FAULT if change.join is not None else change.severe
        self.moving: int | None = index.get(severe) if severe else None
        self.coil_columns = tuple(index[relay.coil] for relay in self.relays)
        self.coil = next(n for n, relay in enumerate(self.relays) if relay.id == circuit.coil)
        self._ends = [tuple(map(_siemens, (each.high_ohm, each.low_ohm, each.open_ohm))) for each in self.branches]
        stuck = dict(change.stuck)
        self.dead = tuple(relay.coil in change.gone or relay.id in released for relay in self.relays)
        self.turns_stuck = bool(circuit.turns) and stuck.get(circuit.turns) is True
        self.turns_open = bool(circuit.turns) and (stuck.get(circuit.turns) is False or circuit.turns in change.gone)
        self.combinations = tuple(
            each
            for each in product((False, True), repeat=len(self.relays))
            if not any(closed and dead for closed, dead in zip(each, self.dead, strict=True))
        )
        self._moved = {branch: (closed, either) for branch, closed, either in change.moved}
        self._stuck = stuck
        self._place = {relay.id: n for n, relay in enumerate(self.relays)}

    @property
    def commands(self) -> bool:
        """Whether a command contact hangs together with the coil."""
        return any(each.by == "command" for each in self.branches)

    def unsure_at(self, point: str) -> tuple[str, ...]:
        """Branches of which nobody knows whether they conduct at this point."""
        out = []
        for each in self.branches:
            either = self._moved.get(each.id, (each.closed_at, each.either_at))[1]
            if each.by == "lever" and point in either and each.id not in self._stuck:
                out.append(each.id)
        return tuple(out)

    def acts(self, situation: Situation, closed: Sequence[bool]) -> bool:
        """Whether the severity acts: a worn contact only while it conducts, everything else always."""
        if not self.change.severe:
            return self.moving is not None
        branch = next((each for each in self.branches if each.id == self.change.severe), None)
        return branch is not None and self._conducts(branch, situation, closed) is not False

    def boxes(
        self, situation: Situation, closed: Sequence[bool]
    ) -> Iterator[tuple[tuple[FloatArray, FloatArray], bool]]:
        """The box of a combination, and whether the severity acts in it. Where nobody knows whether a worn contact
        conducts there are two: it conducts through the severity, or leaks as it does while open."""
        box = self.box_s(situation, closed)
        yield box, self.acts(situation, closed)
        branch = next((each for each in self.branches if each.id == self.change.severe), None)
        if branch is None or self.moving is None or self._conducts(branch, situation, closed) is not None:
            return
        low, high = box[0].copy(), box[1].copy()
        gone = situation.unplugged and self._of_lever(branch)
        low[self.moving], high[self.moving] = 0.0, 0.0 if gone else self._ends[self.moving][2]
        yield (low, high), False

    def box_s(self, situation: Situation, closed: Sequence[bool]) -> tuple[FloatArray, FloatArray]:
        """Least and greatest conductance of every edge (m,), relays as in `closed`. [S]"""
        low, high = np.zeros(len(self.net.edges)), np.zeros(len(self.net.edges))
        for column, branch in enumerate(self.branches):
            if branch.id in self.change.gone:
                continue
            conducts = self._conducts(branch, situation, closed)
            on_low, on_high, leak = self._ends[column]
            if conducts is True:
                low[column], high[column] = on_low, on_high
            elif conducts is None:
                high[column] = on_high
            elif not (situation.unplugged and self._of_lever(branch)):
                high[column] = leak
        return low, high

    def rail_v(self, keys: Sequence[str]) -> FloatArray:
        """Corners of the rails in these key states, (C, rails), each once. [V]"""
        ranges = {each.id: (each.low_v, each.high_v) for each in self.circuit.grounds}
        ranges[CHASSIS] = self.circuit.chassis
        rows: dict[tuple[float, ...], None] = {}
        for supply in self.circuit.supplies:
            if supply.key in keys:
                ranges[BATTERY] = (supply.low_v, supply.high_v)
                ends = [dict.fromkeys(ranges[rail]) for rail in self.net.rails]
                rows.update(dict.fromkeys(product(*ends)))
        return np.array(list(rows), dtype=np.float64)

    def _of_lever(self, branch: Branch) -> bool:
        return bool(self.circuit.lever) and branch.device == self.circuit.lever

    def _conducts(self, branch: Branch, at: Situation, closed: Sequence[bool]) -> bool | None:
        """Whether a branch conducts; None: nobody knows, or at will."""
        if branch.id in self._stuck:
            return self._stuck[branch.id]
        if branch.by == "always":
            return True
        if at.unplugged and self._of_lever(branch):
            return False
        if branch.by == "lever":
            sure, either = self._moved.get(branch.id, (branch.closed_at, branch.either_at))
            point = UNPLUGGED if at.unplugged else at.point
            if point in either:
                return None if at.sure is None else branch.id in at.sure
            return point in sure
        if branch.by == "start":
            return at.request != branch.normally_closed
        if branch.by == "relay":
            return closed[self._place[branch.relay]] != branch.normally_closed
        if branch.by == "command":
            return None if at.operated is None else (branch.id in at.operated) != branch.normally_closed
        if branch.by == "key":
            return at.key in branch.closed_at
        return True if at.willing and branch.by == "hand" else None


def _siemens(ohm: float) -> float:
    return 0.0 if np.isinf(ohm) else min(ALMOST_SHORT, 1.0 / ohm) if ohm > 0.0 else ALMOST_SHORT


def _exchanged(circuit: Circuit, change: Change) -> Circuit:
    if not change.exchanged:
        return circuit
    ends = {each.id: each.b for each in circuit.branches}
    for one, other in change.exchanged:
        ends[one], ends[other] = ends[other], ends[one]
    return replace(circuit, branches=tuple(replace(each, b=ends[each.id]) for each in circuit.branches))
