"""What one pin can see of the physical netlist, ready for the solver.

Answers: nodes, rails and edges around a pin; the box of conductances for any set of operated contacts; the causes
         behind the rails; which design entry each parameter is.
Units:   siemens, volts, degrees Celsius.
Touches: nothing.
Beside:  `elements` makes the netlist; `pinproof.network` solves it; `pinproof.observe` reads the pin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pinproof.design.model import Input, Line, Truck
from pinproof.network import Edge, Netlist
from pinproof.wiring.elements import Branch, Cause, Physical, physical, pin_node

FloatArray = npt.NDArray[np.float64]
Operated = frozenset[str]


@dataclass(frozen=True)
class LineView:
    """The part of the netlist that hangs together with one pin without passing through a rail.

    `branches[i]` is `net.edges[i]`. Rails stand in `net.rails`; their volts come from `rail_gains` over causes.
    """

    truck: Truck
    line: Line
    input: Input
    branches: tuple[Branch, ...]
    net: Netlist
    pin: str
    rail_gains: tuple[tuple[tuple[str, float], ...], ...]
    physical: Physical

    @property
    def shares_temperature(self) -> bool:
        """True if some resistor moves with the one shared temperature."""
        return any(branch.tempco_per_k != 0.0 for branch in self.branches)

    @property
    def is_complete(self) -> bool:
        """False while a resistor is still to be chosen or a pull is unknown."""
        return not any(np.isnan(branch.nominal_ohm) for branch in self.branches)

    def cause_ids(self, divisor: str | None = None) -> tuple[str, ...]:
        """Ids of all causes that act on this pin, with the divisor's, in a fixed order."""
        used = [cause for gains in self.rail_gains for cause, _ in gains]
        if divisor is not None:
            used.append(divisor)
        return tuple(dict.fromkeys(used))

    def causes(self, key_state: str, divisor: str | None = None) -> tuple[Cause, ...]:
        """The causes of `cause_ids` with their ranges in this key state."""
        known = self.physical.causes(key_state)
        return tuple(known[name] for name in self.cause_ids(divisor))

    def box_s(
        self, operated: Sequence[Operated], temp_c: tuple[float, float] | None = None
    ) -> tuple[FloatArray, FloatArray]:
        """Least and greatest conductance of every branch, shape (situations, branches). [S]

        `temp_c` is a slice of the shared temperature; without it the whole range of the truck is taken.
        """
        whole = (self.truck.temperature.low, self.truck.temperature.high)
        low = np.empty((len(operated), len(self.branches)))
        high = np.empty_like(low)
        for column, branch in enumerate(self.branches):
            if branch.kind == "contact":
                conducts = self._conducts(branch, operated)
                low[:, column] = np.where(conducts, _siemens(branch.high_ohm), 0.0)
                high[:, column] = np.where(conducts, _siemens(branch.low_ohm), _siemens(branch.open_low_ohm))
                continue
            least, most = branch.factor_at(*(temp_c or whole))
            low[:, column] = _siemens(branch.high_ohm * most)
            high[:, column] = _siemens(branch.low_ohm * least)
        return low, high

    def nominal_s(self, operated: Sequence[Operated]) -> FloatArray:
        """Conductance of every branch as stated, at 20 °C: no leaks, contacts at their stated value. [S]"""
        out = np.empty((len(operated), len(self.branches)))
        for column, branch in enumerate(self.branches):
            out[:, column] = _siemens(branch.nominal_ohm)
            if branch.kind == "contact":
                out[:, column] = np.where(self._conducts(branch, operated), _siemens(branch.nominal_ohm), 0.0)
        return out

    def parameter(self, column: int, operated: Operated) -> str:
        """Design path of the number that this branch is in this situation: a contact is `closed` or `open`."""
        branch = self.branches[column]
        if branch.kind != "contact":
            return branch.id
        return f"{branch.id}.{'closed' if branch.conducts_at_rest != (branch.contact in operated) else 'open'}"

    def parameter_basis(self, column: int, operated: Operated) -> str:
        """Basis of that number."""
        branch = self.branches[column]
        if branch.kind == "contact" and branch.conducts_at_rest == (branch.contact in operated):
            return branch.open_basis
        return branch.basis

    def _conducts(self, branch: Branch, operated: Sequence[Operated]) -> npt.NDArray[np.bool_]:
        return np.array([branch.conducts_at_rest != (branch.contact in each) for each in operated], dtype=bool)


def line_view(truck: Truck, line: Line | str, netlist: Physical | None = None) -> LineView:
    """View of one line from its pin.

    Parameters
    ----------
    truck : Truck
    line : Line or its id
    netlist : Physical, optional
        The truck's netlist if it is already at hand.
    """
    whole = netlist or physical(truck)
    chosen = truck.line(line) if isinstance(line, str) else line
    owner = truck.input_of(chosen)
    pin = pin_node(owner.id)
    rail_names = {rail.name for rail in whole.rails}
    seen, waiting = {pin}, [pin]
    found: dict[int, Branch] = {}
    by_node: dict[str, list[tuple[int, Branch]]] = {}
    for index, branch in enumerate(whole.branches):
        for node in (branch.a, branch.b):
            by_node.setdefault(node, []).append((index, branch))
    while waiting:
        node = waiting.pop()
        for index, branch in by_node.get(node, ()):
            found[index] = branch
            for other in (branch.a, branch.b):
                if other not in rail_names and other not in seen:
                    seen.add(other)
                    waiting.append(other)
    branches = tuple(found[index] for index in sorted(found))
    used_rails = [rail for rail in whole.rails if any(rail.name in (b.a, b.b) for b in branches)]
    nodes = [pin, *sorted(seen - {pin}), *(rail.name for rail in used_rails)]
    net = Netlist(nodes, [rail.name for rail in used_rails], [Edge(b.id, b.a, b.b) for b in branches])
    return LineView(truck, chosen, owner, branches, net, pin, tuple(rail.gains for rail in used_rails), whole)


def _siemens(ohm: float) -> float:
    return float("inf") if ohm == 0.0 else 1.0 / ohm
