"""What can go wrong in a start circuit, and where.

Answers: every single fault of docs/inhibit.md for a circuit, each with the change that it makes.
Units:   none but ohms of a severity.
Touches: nothing.
Beside:  `boxes` carries a change out, `defeats` says what it does.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pinproof.inhibit.boxes import Bench, Change
from pinproof.inhibit.circuit import BATTERY, CHASSIS, Branch, Circuit, Code, travel

SWITCHING = ("switch", "relay contact", "driver")


@dataclass(frozen=True)
class Site:
    """One thing that can go wrong. `code`: the driver's other code, where that is the fault."""

    site: str
    kind: str
    change: Change
    detail: str = ""
    nodes: tuple[str, ...] = ()
    code: Code | None = None

    @property
    def id(self) -> str:
        """Its name: no two faults of a circuit share one."""
        return " ".join(part for part in (self.site, self.kind, self.detail) if part)


def sites(circuit: Circuit) -> tuple[Site, ...]:
    """All single faults, in the order of the circuit's branches and nets."""
    bench = Bench(circuit)
    mine = {each.id for each in bench.branches}
    nodes = set(bench.net.nodes)
    out: list[Site] = []
    for branch in circuit.branches:
        if branch.id in mine or branch.id == circuit.turns:
            out += _element(circuit, branch)
    for name, node in circuit.nets:
        if node in nodes and node not in circuit.rails:
            out.append(Site(name, "chafed-to-supply", Change(join=(node, BATTERY)), nodes=(name,)))
            out.append(Site(name, "chafed-to-ground", Change(join=(node, CHASSIS)), nodes=(name,)))
    names = {node: name for name, node in circuit.nets}
    for touch in circuit.touches:
        if touch.a != touch.b and (touch.a in nodes or touch.b in nodes):
            pair = (names.get(touch.a, touch.a), names.get(touch.b, touch.b))
            out.append(Site(pair[0], "bridged", Change(join=(touch.a, touch.b)), f"{pair[1]} ({touch.where})", pair))
    for swap in circuit.swaps:
        if swap.wire in mine or swap.other in mine:
            out.append(Site(swap.wire, "swapped", Change(exchanged=((swap.wire, swap.other),)), swap.other))
    for joint in circuit.joints:
        if mine & set(joint.branches):
            out.append(Site(joint.id, "apart", Change(gone=joint.branches)))
    seen: dict[str, Site] = {}
    for each in out:
        seen.setdefault(each.id, each)
    return tuple(seen.values())


def _element(circuit: Circuit, branch: Branch) -> Iterator[Site]:
    if branch.kind in SWITCHING and branch.by not in ("always", "command"):
        for kind, conducts in (("stuck-closed", True), ("stuck-open", False)):
            yield Site(branch.id, kind, Change(stuck=((branch.id, conducts),)))
        if branch.id != circuit.turns:  # how many ohms across it turn the engine is not known
            yield Site(branch.id, "bridged", Change(join=(branch.a, branch.b)), "across its own terminals")
            yield Site(branch.id, "worn", Change(severe=branch.id))
        if branch.by == "lever" and branch.kind == "switch":
            for kind, step in (("early", -1), ("late", 1)):
                yield Site(branch.id, kind, Change(moved=((branch.id, *_shifted(circuit, branch, step)),)))
        for code in branch.codes:
            closed = code.closed_at | {point for point, _ in code.severities}
            either = code.either_at
            if not code.instead:
                closed, either = closed | branch.closed_at, either | branch.either_at
            change = Change(moved=((branch.id, closed, either),))
            yield Site(branch.id, code.kind, change, code.id, code=code)
    elif branch.kind in ("wire", "fuse"):
        yield Site(branch.id, "open", Change(gone=(branch.id,)))
        yield Site(branch.id, "resistive", Change(severe=branch.id))
    elif branch.kind == "coil":
        yield Site(branch.id, "open", Change(gone=(branch.id,)))
        yield Site(branch.id, "shorted-turns", Change(severe=branch.id, below_ohm=branch.low_ohm))


def _shifted(circuit: Circuit, branch: Branch, step: int) -> tuple[frozenset[str], frozenset[str]]:
    """Where a position switch conducts that comes one detent too early or too late."""
    places = [n + step for n, name in enumerate(circuit.positions) if name in branch.closed_at]
    return travel(circuit.positions, [circuit.positions[n] for n in places if 0 <= n < len(circuit.positions)])
