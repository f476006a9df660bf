"""What a fault does to the circuit: the netlist with it, and the box of its conductances in every situation.

Answers: which edges are added, which conductance is the severity, in which situations it acts.
Units:   siemens, degrees Celsius.
Touches: nothing.
Beside:  docs/faults.md says what each kind does; `sites` lists them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pinproof.faults.results import Fault
from pinproof.faults.sites import chassis, net_node, rebuilt
from pinproof.wiring import Branch, LineView

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Operated = frozenset[str]


@dataclass(frozen=True)
class Change:
    """One or two faults put into a circuit.

    `added` are pairs of nodes joined by a severity; `severe` names the branch whose resistance is a severity; `held`
    gives branches a box [S]; `scaled` multiplies conductances; `stuck` and `inverted` act on contacts; `swaps` are
    pairs of contacts operated for each other. `faults` are what it stands for.
    """

    faults: tuple[Fault, ...] = ()
    added: tuple[tuple[str, str], ...] = ()
    severe: tuple[str, ...] = ()
    held: dict[str, float] = field(default_factory=dict)
    scaled: dict[str, float] = field(default_factory=dict)
    stuck: dict[str, bool] = field(default_factory=dict)
    inverted: tuple[str, ...] = ()
    swaps: tuple[tuple[str, str], ...] = ()

    @property
    def touches(self) -> frozenset[str]:
        """Branches and contacts that it decides: two changes that share one cannot act at once."""
        swapped = (f"contact.{name}" for pair in self.swaps for name in pair)
        joined = ("|".join(sorted(pair)) for pair in self.added)
        return frozenset(
            (*self.severe, *self.held, *self.scaled, *self.stuck, *self.inverted, *joined,
             *(f"{name} swapped" for name in swapped))
        )  # fmt: skip

    def with_(self, other: Change) -> Change:
        """Both changes at once."""
        return Change(
            self.faults + other.faults, self.added + other.added, self.severe + other.severe, self.held | other.held,
            self.scaled | other.scaled, self.stuck | other.stuck, self.inverted + other.inverted,
            self.swaps + other.swaps,
        )  # fmt: skip


def change_of(view: LineView, fault: Fault) -> Change:
    """What one fault of the view's line does."""
    line, site, me = view.line, fault.site, (fault,)
    kind = fault.kind
    if kind == "open":
        return Change(me, held={site: 0.0})
    if kind == "shorted":
        return Change(me, held={site: np.inf})
    if kind in ("drifted", "resistive", "worn"):
        return Change(me, severe=(site,))
    if kind in ("decade-low", "decade-high"):
        return Change(me, scaled={site: 10.0 if kind == "decade-low" else 0.1})
    if kind in ("stuck-closed", "stuck-open"):
        return Change(me, stuck={site: kind == "stuck-closed"})
    if kind == "wrong-throw":
        return Change(me, inverted=(site,))
    if kind in ("chafed-to-ground", "chafed-to-supply"):
        rail = chassis(line) if kind == "chafed-to-ground" else "battery"
        return Change(me, added=((net_node(line, fault.nodes[0]), rail),))
    if kind == "bridged":
        one, other = fault.nodes
        return Change(me, added=((net_node(line, one), net_node(line, other)),))
    if kind == "swapped":
        return Change(me, swaps=((_contact_id(site), _contact_id(fault.detail)),))
    station = site.removeprefix("station.")
    gone = [each.path for each in view.truck.contacts_of(line) if each.station == station]
    return Change(me, held={each.id: 0.0 for each in view.branches if _belongs(each, gone)})


def _contact_id(path: str) -> str:
    return path.removeprefix("contact.")


def _belongs(branch: Branch, contacts: Sequence[str]) -> bool:
    return branch.id in contacts or branch.id.removesuffix(".resistor") in contacts


def faulty_view(view: LineView, added: Sequence[tuple[str, str]]) -> LineView:
    """The view with a branch of 0 Ω to infinity, id ``fault.N``, for each pair of nodes."""
    if not added:
        return view
    more = [
        Branch(f"fault.{n}", "wire", a, b, view.line.id, 0.0, 1.0, float("inf"), "assumed")
        for n, (a, b) in enumerate(added)
    ]
    return rebuilt(view, (*view.branches, *more))


def box_of(
    view: LineView, change: Change, operated: Sequence[Operated], temp_c: tuple[float, float] | None = None
) -> tuple[FloatArray, FloatArray]:
    """Box (S, m) of a view that `faulty_view` made for this change. A severity roams from 0 to inf. [S]"""
    keys = [_swapped(each, change.swaps) for each in operated]
    low, high = view.box_s(keys, temp_c)
    for column, branch in enumerate(view.branches):
        if branch.kind == "contact":
            _contact(branch, change, keys, low[:, column], high[:, column])
        if branch.id in change.scaled:
            low[:, column] *= change.scaled[branch.id]
            high[:, column] *= change.scaled[branch.id]
        if branch.id in change.held:
            low[:, column] = high[:, column] = change.held[branch.id]
        if branch.id in change.severe:
            acts = acting(view, change, branch.id, operated)
            low[acts, column], high[acts, column] = 0.0, np.inf
    return low, high


def acting(view: LineView, change: Change, branch_id: str, operated: Sequence[Operated]) -> BoolArray:
    """Situations (S,) in which a severity acts: a worn contact only while it conducts, everything else always."""
    branch = next((each for each in view.branches if each.id == branch_id), None)
    if branch is None or branch.kind != "contact":
        return np.ones(len(operated), dtype=bool)
    return _conducts(branch, change, [_swapped(each, change.swaps) for each in operated])


def contacts_conducting(view: LineView, change: Change, operated: Sequence[Operated]) -> BoolArray:
    """Which branches are contacts that conduct, with the change in: shape (S, m)."""
    keys = [_swapped(each, change.swaps) for each in operated]
    out = np.zeros((len(keys), len(view.branches)), dtype=bool)
    for column, branch in enumerate(view.branches):
        if branch.kind == "contact":
            out[:, column] = _conducts(branch, change, keys)
    return out


def _contact(
    branch: Branch, change: Change, keys: Sequence[Operated], low: FloatArray, high: FloatArray
) -> None:  # fmt: skip
    if branch.id not in change.stuck and branch.id not in change.inverted:
        return
    conducts = _conducts(branch, change, keys)
    with np.errstate(divide="ignore"):
        closed = np.float64(1.0) / np.array([branch.high_ohm, branch.low_ohm])
        leak = np.float64(1.0) / np.float64(branch.open_low_ohm)
    low[:] = np.where(conducts, closed[0], 0.0)
    high[:] = np.where(conducts, closed[1], leak)


def _conducts(branch: Branch, change: Change, keys: Sequence[Operated]) -> BoolArray:
    if branch.id in change.stuck:
        return np.full(len(keys), change.stuck[branch.id])
    at_rest = branch.conducts_at_rest != (branch.id in change.inverted)
    return np.array([at_rest != (branch.contact in each) for each in keys], dtype=bool)


def _swapped(operated: Operated, swaps: Sequence[tuple[str, str]]) -> Operated:
    for one, other in swaps:
        if (one in operated) != (other in operated):
            operated = operated ^ {one, other}
    return operated
