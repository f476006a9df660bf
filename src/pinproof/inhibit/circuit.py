"""A start circuit as branches between nodes, relays, rails and the lever that decides.

Answers: which branches there are, when each conducts, which points the lever passes, what hangs together with the coil.
Units:   ohms, volts.
Touches: nothing.
Beside:  `chains` makes one from parts in chains; `boxes` makes the solver's box of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from typing import Literal

from pinproof.errors import PinproofError

BATTERY, CHASSIS = "battery", "chassis"
UNPLUGGED = "unplugged"
"""In `closed_at`: conducts while the lever's plug is off."""
MOST_RELAYS = 6

By = Literal["always", "lever", "start", "relay", "command", "any", "hand", "key"]
Kind = Literal["wire", "coil", "load", "switch", "relay contact", "driver", "fuse", "contact", "resistor", "leak"]


@dataclass
class InhibitFault(PinproofError, ValueError):
    """A start circuit that cannot be judged: a fixed `code`, where, what was read, what to do next."""

    code: str
    where: str
    text: str

    def __str__(self) -> str:
        return f"{self.where}: {self.text}"


@dataclass(frozen=True)
class Code:
    """Another way in which a driver can be on: one more meaning, or a fault of the line that it reads.

    `closed_at` and `either_at` as in `Branch`. `severities`: for a line fault, for each point the intervals of ohms
    with which a permitting window is read; then `closed_at` is not used. `shown`: of these, what surely happens in some
    truck; None: all. `instead`: its points stand in place of the driver's own, not beside them. `pressed`: command
    contacts of the same line that take part.
    """

    id: str
    kind: Literal["wrong-code", "line-fault", "press"]
    closed_at: frozenset[str] = frozenset()
    either_at: frozenset[str] = frozenset()
    severities: tuple[tuple[str, tuple[tuple[float, float], ...]], ...] = ()
    shown: tuple[tuple[str, tuple[tuple[float, float], ...]], ...] | None = None
    instead: bool = False
    pressed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Branch:
    """A two-pole. It has `low_ohm` to `high_ohm` while it conducts, `open_ohm` to infinity while it does not.

    `by` says what makes it conduct: the lever (`closed_at` its points, `either_at` those where nobody knows; a driver
    that permits is one too), the start request, a relay, a command contact being operated, the key state (`closed_at`
    key states); "any": at will; "hand": a switch that the driver must have on to crank, and may have on at any time.
    """

    id: str
    kind: Kind
    a: str
    b: str
    low_ohm: float
    high_ohm: float
    open_ohm: float = inf
    by: By = "always"
    closed_at: frozenset[str] = frozenset()
    either_at: frozenset[str] = frozenset()
    relay: str = ""
    normally_closed: bool = False
    device: str = ""
    rating_a: float | None = None
    codes: tuple[Code, ...] = ()


@dataclass(frozen=True)
class Relay:
    """A relay: the branch that is its coil, and volts at which it pulls in and lets go.

    `inhibited`: its own chain holds an element that depends on the lever.
    """

    id: str
    coil: str
    pull_in_low_v: float
    pull_in_high_v: float
    drop_out_low_v: float
    drop_out_high_v: float
    inhibited: bool = False


@dataclass(frozen=True)
class Ground:
    """A ground stud: its volts against controller ground. `metal` False: another fixed potential, which bare metal does
    not have: a controller's reference."""

    id: str
    low_v: float = 0.0
    high_v: float = 0.0
    metal: bool = True


@dataclass(frozen=True)
class Supply:
    """Battery volts in a key state, "run" or "crank"."""

    key: str
    low_v: float
    high_v: float


@dataclass(frozen=True)
class Touch:
    """Two nodes that one chafe, drop of water or slip of the hand can join: `where` they meet."""

    a: str
    b: str
    where: str


@dataclass(frozen=True)
class Swap:
    """Two wires that can sit in each other's cavity."""

    wire: str
    other: str
    where: str


@dataclass(frozen=True)
class Apart:
    """A joint, and the branches that are open while it is apart."""

    id: str
    branches: tuple[str, ...]


@dataclass(frozen=True)
class Circuit:
    """A start circuit with all that hangs together with it or can touch it.

    `nets`: name and node of every net. `command_sets`: which contacts can be operated together. `turns`: the branch
    whose conducting turns the engine, "" if it is not described.
    """

    branches: tuple[Branch, ...]
    relays: tuple[Relay, ...]
    grounds: tuple[Ground, ...]
    supplies: tuple[Supply, ...]
    positions: tuple[str, ...]
    permitted: frozenset[str]
    coil: str
    turns: str = ""
    lever: str = ""
    form: str = ""
    nets: tuple[tuple[str, str], ...] = ()
    touches: tuple[Touch, ...] = ()
    swaps: tuple[Swap, ...] = ()
    joints: tuple[Apart, ...] = ()
    command_sets: tuple[frozenset[str], ...] = ()
    assumed: tuple[str, ...] = ()

    @property
    def points(self) -> tuple[str, ...]:
        """Detents and mid-travel points in order of travel."""
        return points(self.positions)

    @property
    def chassis(self) -> tuple[float, float]:
        """Volts of bare metal: those of every stud, and 0. [V]"""
        return (
            min([0.0, *(each.low_v for each in self.grounds if each.metal)]),
            max([0.0, *(each.high_v for each in self.grounds if each.metal)]),
        )

    @property
    def rails(self) -> frozenset[str]:
        """Nodes of fixed potential."""
        return frozenset((BATTERY, CHASSIS, *(each.id for each in self.grounds)))

    def relay(self, relay_id: str) -> Relay:
        """The relay with this id."""
        for each in self.relays:
            if each.id == relay_id:
                return each
        known = ", ".join(each.id for each in self.relays)
        raise InhibitFault("coil-unknown", "inhibit.coil", f'"{relay_id}" is no relay. There are: {known}.')

    def branch(self, branch_id: str) -> Branch:
        """The branch with this id; KeyError if there is none."""
        for each in self.branches:
            if each.id == branch_id:
                return each
        raise KeyError(branch_id)


def mid_point(one: str, other: str) -> str:
    """Name of the point between two neighbouring detents."""
    return f"{one}|{other}"


def points(positions: Sequence[str]) -> tuple[str, ...]:
    """Detents with the mid-travel point between each two.

    >>> points(["P", "R", "N"])
    ('P', 'P|R', 'R', 'R|N', 'N')
    """
    out = list(positions[:1])
    for one, other in pairwise(positions):
        out += [mid_point(one, other), other]
    return tuple(out)


def travel(
    positions: Sequence[str], closed: Iterable[str], mid: Iterable[tuple[str, str]] = ()
) -> tuple[frozenset[str], frozenset[str]]:
    """Points in which a position switch conducts, and those in which nobody knows.

    Parameters
    ----------
    closed : detents in which it conducts
    mid : pairs of a mid-travel point and "open", "closed" or "either", from a slow sweep. Without one, what both
        neighbours do; if they differ, either.
    """
    detents, said = set(closed), dict(mid)
    sure, either = set(detents), set()
    for one, other in pairwise(positions):
        point = mid_point(one, other)
        both = (one in detents) + (other in detents)
        word = said.get(point, ("open", "either", "closed")[both])
        if word == "closed":
            sure.add(point)
        elif word == "either":
            either.add(point)
    return frozenset(sure), frozenset(either)


def checked(circuit: Circuit) -> Circuit:
    """The circuit, or `InhibitFault` where it cannot be judged."""
    coil = circuit.relay(circuit.coil)
    for relay in circuit.relays:
        if not relay.drop_out_high_v < relay.pull_in_low_v:
            raise InhibitFault(
                "coil-limits",
                f"relay.{relay.id}",
                f"drop_out reaches {relay.drop_out_high_v:g} V, not below pull_in {relay.pull_in_low_v:g} V. "
                "A relay lets go below the volts at which it pulls in. Correct the two ranges.",
            )
    unknown = sorted(circuit.permitted - set(circuit.positions))
    if unknown:
        have = ", ".join(circuit.positions)
        raise InhibitFault("permitted-unknown", "inhibit.permitted", f'"{unknown[0]}" is no position. It has {have}.')
    if not circuit.positions:
        raise InhibitFault(
            "positions-none", f"device.{circuit.lever}", "no `positions`. List the detents in order of travel."
        )
    if set(circuit.positions) <= circuit.permitted:
        raise InhibitFault("permitted-drive", "inhibit.permitted", "holds all positions: that is no inhibit.")
    if not any(each.by == "lever" for each in circuit.branches):
        raise InhibitFault(
            "no-inhibit",
            coil.id,
            "nothing in its chain depends on the lever. Put the position switch in `high_side`. This program does not "
            "judge a start circuit without one.",
        )
    return circuit


def hangs_together(circuit: Circuit, joined: Iterable[tuple[str, str]] = ()) -> tuple[tuple[Branch, ...], list[Relay]]:
    """Branches and relays that can act on the coil: joined to it without passing a rail, and the coils of all relays
    with a contact among them. `joined`: pairs of nodes that a fault joins."""
    rails = circuit.rails
    by_id = {each.id: each for each in circuit.branches}
    near: dict[str, list[tuple[str, Branch | None]]] = {}
    for each in circuit.branches:
        near.setdefault(each.a, []).append((each.b, each))
        near.setdefault(each.b, []).append((each.a, each))
    for one, other in joined:
        near.setdefault(one, []).append((other, None))
        near.setdefault(other, []).append((one, None))
    found: dict[str, Branch] = {}
    relays: dict[str, Relay] = {}
    nodes: set[str] = set()
    wanted = [circuit.coil]
    while wanted:
        relay = circuit.relay(wanted.pop())
        if relay.id in relays:
            continue
        relays[relay.id] = relay
        coil = by_id[relay.coil]
        found[coil.id] = coil
        stack = [node for node in (coil.a, coil.b) if node not in rails]
        while stack:
            node = stack.pop()
            if node in nodes:
                continue
            nodes.add(node)
            for other, branch in near.get(node, ()):
                if branch is not None and branch.id not in found:
                    found[branch.id] = branch
                    if branch.by == "relay":
                        wanted.append(branch.relay)
                    wanted += [each.id for each in circuit.relays if each.coil == branch.id]
                if other not in rails:
                    stack.append(other)
    order = {each.id: number for number, each in enumerate(circuit.branches)}
    listed = [each for each in circuit.relays if each.id in relays]
    if len(listed) > MOST_RELAYS:
        raise InhibitFault(
            "relays-many",
            circuit.coil,
            f"{len(listed)} relays in the start circuit; {MOST_RELAYS} is the most. Leave out those that do not act "
            "on it.",
        )
    return tuple(sorted(found.values(), key=lambda each: order[each.id])), listed
