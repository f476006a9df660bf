"""A start circuit as its parts in chains from feed to ground, made into branches; the same parts in another form.

Answers: which nets the chains make, which form a circuit has, what the parts are in feed-side, ground-side or
         controller form.
Units:   ohms, volts.
Touches: nothing.
Beside:  `circuit` holds what is built. Terminals are named as in docs/harness.md: ``X.a``, ``X.b``, ``LOAD.plus``,
         ``LOAD.minus``, ``FEED``, ``FEED.in``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from math import inf

from pinproof.inhibit.circuit import (
    BATTERY,
    Apart,
    Branch,
    By,
    Circuit,
    Code,
    Ground,
    InhibitFault,
    Kind,
    Relay,
    Supply,
    Swap,
    Touch,
    checked,
)

Chain = tuple[tuple[str, ...], ...]
END_OHM = 0.5
"""Each end of a net has a wire of up to so much to its middle where no lengths are given: 1 Ω from end to end. [Ω]"""
FORMS = ("H", "L", "K", "H+K")
CONTROLLER_GROUND = "controller ground"


@dataclass(frozen=True)
class Part:
    """A switch, relay contact or driver: as `Branch`, without its nodes. `side` of a driver: "low" or "high"."""

    id: str
    kind: Kind
    by: By
    low_ohm: float
    high_ohm: float
    open_ohm: float = inf
    closed_at: frozenset[str] = frozenset()
    either_at: frozenset[str] = frozenset()
    relay: str = ""
    normally_closed: bool = False
    device: str = ""
    side: str = ""
    codes: tuple[Code, ...] = ()

    @property
    def inhibits(self) -> bool:
        """Whether it depends on the lever."""
        return self.by == "lever"


@dataclass(frozen=True)
class Consumer:
    """A load, or a relay's coil if it has limits: its ohms and its chain. `pull_in_v`, `drop_out_v`: low, high."""

    id: str
    feed: str
    ground: str
    low_ohm: float
    high_ohm: float
    high_side: Chain = ()
    low_side: Chain = ()
    pull_in_v: tuple[float, float] | None = None
    drop_out_v: tuple[float, float] | None = None


@dataclass(frozen=True)
class Feed:
    """A fused supply from the battery stud or from another feed; `live` in these key states."""

    id: str
    live: frozenset[str]
    from_: str = BATTERY
    through: Chain = ()
    fuse_ohm: tuple[float, float] = (0.0, 0.0)
    fuse_a: float | None = None


@dataclass(frozen=True)
class StartCircuit:
    """Everything about a start circuit as the owner states it.

    `wire_ohm`: most ohms of the wire at a terminal, END_OHM where not given. `others`: branches of coded lines and
    anything else that can touch it. `joins`: terminals that a wire joins besides the chains; `ends`: terminals of one
    unit that share one wire in their net, by the same word; `net_names`: what a net of coded lines is called. `meets`:
    (terminal, terminal, where) that can be bridged; `cavities`: (terminal, terminal, plug) whose wires can be
    exchanged; `joints`: terminals whose wires are open while a joint is apart. `assumed`: what had to be assumed.
    """

    coil: str
    lever: str
    positions: tuple[str, ...]
    permitted: frozenset[str]
    start: tuple[str, ...]
    supplies: tuple[Supply, ...]
    grounds: tuple[Ground, ...]
    feeds: tuple[Feed, ...]
    consumers: tuple[Consumer, ...]
    parts: tuple[Part, ...]
    turns: str = ""
    form: str = ""
    wire_ohm: Mapping[str, float] = field(default_factory=dict)
    others: tuple[Branch, ...] = ()
    other_nets: tuple[tuple[str, str], ...] = ()
    joins: tuple[tuple[str, str], ...] = ()
    ends: Mapping[str, str] = field(default_factory=dict)
    net_names: Mapping[str, str] = field(default_factory=dict)
    meets: tuple[tuple[str, str, str], ...] = ()
    cavities: tuple[tuple[str, str, str], ...] = ()
    joints: tuple[tuple[str, tuple[str, ...]], ...] = ()
    command_sets: tuple[frozenset[str], ...] = ()
    assumed: tuple[str, ...] = ()

    def part(self, part_id: str) -> Part:
        """The part with this id."""
        for each in self.parts:
            if each.id == part_id:
                return each
        raise InhibitFault("part-unknown", part_id, "is in a chain, but is no switch, relay contact or driver.")

    def consumer(self, consumer_id: str) -> Consumer | None:
        """The load or coil with this id, or None."""
        return next((each for each in self.consumers if each.id == consumer_id), None)


def built(start: StartCircuit) -> Circuit:
    """The circuit, checked: `InhibitFault` where it cannot be judged."""
    if start.consumer(start.coil) is None:
        raise InhibitFault("coil-unknown", "inhibit.coil", f'"{start.coil}" is no relay.')
    made = _Nets(start)
    form = form_of(start)
    if start.form and form and start.form != form:
        text = f'"{start.form}" is written, the circuit is {form}. Correct the one that is wrong.'
        raise InhibitFault("form-differs", "inhibit.form", text)
    if not form:
        raise InhibitFault(
            "no-inhibit",
            start.coil,
            "nothing in its chain depends on the lever. Put the position switch in `high_side`. This program does not "
            "judge a start circuit without one.",
        )
    missing = [each for each in start.start if each not in set(_start_parts(start))]
    if missing:
        raise InhibitFault("start-missing", "inhibit.start", f"{missing[0]} is not in the chain of {start.coil}.")
    _refuse_bypass(start, made)
    relays = tuple(
        Relay(each.id, f"{each.id}.coil", *each.pull_in_v, *each.drop_out_v, inhibited=_inhibited(start, each))
        for each in start.consumers
        if each.pull_in_v is not None and each.drop_out_v is not None
    )
    assumed = start.assumed
    if not start.wire_ohm:
        assumed = (*assumed, f"No wire lengths: each wire has 0 to {2 * END_OHM:g} Ω from end to end.")
    return checked(
        Circuit(
            made.branches, relays, (*start.grounds, Ground(CONTROLLER_GROUND)), start.supplies,
            start.positions, start.permitted, start.coil, start.turns, start.lever, form,
            (*made.names, *start.other_nets), made.touches(), made.swaps(), made.joints(), start.command_sets, assumed,
        )
    )  # fmt: skip


class _Nets:
    """Terminals joined by chains into nets; each net a node, each of its ends a wire to it."""

    def __init__(self, start: StartCircuit) -> None:
        self.start = start
        self.up: dict[str, str] = {}
        self.inside: set[str] = set()  # ends inside a unit, where no wire is
        rails = {BATTERY, CONTROLLER_GROUND, *(each.id for each in start.grounds)}
        for feed in start.feeds:
            self._chain(feed.from_, feed.through, f"{feed.id}.in")
        for each in start.consumers:
            self._chain(each.feed, each.high_side, f"{each.id}.plus")
            drivers = [name for name in (each.low_side[-1] if each.low_side else ()) if start.part(name).side == "low"]
            driven = bool(drivers)
            self.inside |= {f"{name}.b" for name in drivers}
            self._chain(f"{each.id}.minus", each.low_side, CONTROLLER_GROUND if driven else each.ground)
        for one, other in start.joins:
            self._join((one, other))
        for branch in start.others:
            for end in (branch.a, branch.b):
                self._root(end)
        groups: dict[str, list[str]] = {}
        for terminal in self.up:
            groups.setdefault(self._root(terminal), []).append(terminal)
        self.node_of: dict[str, str] = {}
        self.inner: dict[str, str] = {}  # terminals that are another node: they share its wire, or lie behind none
        feeds = {each.id for each in start.feeds}
        self.names: list[tuple[str, str]] = []
        wires: list[Branch] = []
        own = {end for other in start.others for end in (other.a, other.b)}
        for group in groups.values():
            at = next((one for one in group if one in rails), None)
            if at is None and len(group) == 1 and group[0] in own:
                continue  # a node of a coded line stays as it is
            known = [start.net_names[one] for one in group if one in start.net_names]
            name = at or next((one for one in group if one in feeds), known[0] if known else group[0])
            node = at or f"net {name}"
            if at is None:
                self.names.append((name, node))
            first: dict[str, str] = {}
            for terminal in group:
                self.node_of[terminal] = node
                if terminal == at:
                    continue
                if terminal in self.inside:
                    self.inner[terminal] = node
                    continue
                shared = first.setdefault(start.ends.get(terminal, terminal), terminal)
                if shared != terminal:
                    self.inner[terminal] = shared
                    continue
                ohm = start.wire_ohm.get(terminal, END_OHM)
                wires.append(Branch(f"wire {terminal}", "wire", node, terminal, 0.0, ohm))
        others = [replace(each, a=self.at(each.a), b=self.at(each.b)) for each in start.others]
        self.branches = (*self._elements(), *wires, *others)

    def at(self, terminal: str) -> str:
        """The node that a terminal is."""
        return self.inner.get(terminal, terminal)

    def _root(self, terminal: str) -> str:
        self.up.setdefault(terminal, terminal)
        while self.up[terminal] != terminal:
            terminal = self.up[terminal]
        return terminal

    def _join(self, terminals: Iterable[str]) -> None:
        roots = [self._root(each) for each in terminals]
        for each in roots[1:]:
            self.up[self._root(each)] = self._root(roots[0])

    def _chain(self, first: str, groups: Chain, last: str) -> None:
        at = [first]
        for group in groups:
            self._join([*at, *(f"{name}.a" for name in group)])
            at = [f"{name}.b" for name in group]
        self._join([*at, last])

    def _elements(self) -> Iterator[Branch]:
        start = self.start
        for feed in start.feeds:
            low, high = feed.fuse_ohm
            yield Branch(
                f"{feed.id}.fuse", "fuse", self.at(f"{feed.id}.in"), self.at(feed.id), low, high, by="key",
                closed_at=feed.live, rating_a=feed.fuse_a,
            )  # fmt: skip
        for each in start.consumers:
            kind: Kind = "load" if each.pull_in_v is None else "coil"
            name = each.id if kind == "load" else f"{each.id}.coil"
            yield Branch(
                name, kind, self.at(f"{each.id}.plus"), self.at(f"{each.id}.minus"), each.low_ohm, each.high_ohm
            )
        used = set(self.up)
        for part in start.parts:
            if f"{part.id}.a" not in used and part.id != start.turns:
                continue
            yield Branch(
                part.id, part.kind, self.at(f"{part.id}.a"), self.at(f"{part.id}.b"), part.low_ohm,
                part.high_ohm, part.open_ohm, part.by, part.closed_at, part.either_at, part.relay, part.normally_closed,
                part.device, codes=part.codes,
            )  # fmt: skip

    def _node(self, terminal: str) -> str | None:
        if terminal in self.node_of:
            return self.node_of[terminal]
        return terminal if terminal in {end for other in self.start.others for end in (other.a, other.b)} else None

    def touches(self) -> tuple[Touch, ...]:
        """Pairs of nets that can be bridged, each once for each place."""
        out: dict[Touch, None] = {}
        for one, other, where in self.start.meets:
            a, b = self._node(one), self._node(other)
            if a is not None and b is not None and a != b:
                out[Touch(min(a, b), max(a, b), where)] = None
        return tuple(out)

    def swaps(self) -> tuple[Swap, ...]:
        """Pairs of wires that can be exchanged: in the same net nothing changes."""
        wires = {each.id for each in self.branches}
        named = [(f"wire {self.at(one)}", f"wire {self.at(other)}", *rest) for one, other, *rest in self.start.cavities]
        node = {f"wire {one}": node for one, node in self.node_of.items()}
        return tuple(
            Swap(one, other, where) for one, other, where in named if {one, other} <= wires and node[one] != node[other]
        )

    def joints(self) -> tuple[Apart, ...]:
        """Joints with the wires through them."""
        return tuple(
            Apart(name, tuple(dict.fromkeys(f"wire {self.at(each)}" for each in ends)))
            for name, ends in self.start.joints
        )


def _chains_of(start: StartCircuit) -> list[Consumer]:
    """The coil's chain, those of relays whose contacts stand in it, and so on."""
    out: dict[str, Consumer] = {}
    wait = [start.coil]
    while wait:
        each = start.consumer(wait.pop())
        if each is None or each.id in out:
            continue
        out[each.id] = each
        for name in (name for group in (*each.high_side, *each.low_side) for name in group):
            if start.part(name).by == "relay":
                wait.append(start.part(name).relay)
    return list(out.values())


def _start_parts(start: StartCircuit) -> Iterator[str]:
    feeds = {each.id: each for each in start.feeds}
    for each in _chains_of(start):
        yield from (name for group in (*each.high_side, *each.low_side) for name in group)
        feed = feeds.get(each.feed)
        while feed is not None:
            yield from (name for group in feed.through for name in group)
            feed = feeds.get(feed.from_)


def _inhibited(start: StartCircuit, each: Consumer) -> bool:
    return any(start.part(name).inhibits for group in (*each.high_side, *each.low_side) for name in group)


def form_of(start: StartCircuit) -> str:
    """ "H", "L", "K", "H+K", "L+K", or "" without any element that depends on the lever."""
    before = after = driver = False
    for each in _chains_of(start):
        for side, groups in (("high", each.high_side), ("low", each.low_side)):
            for part in (start.part(name) for group in groups for name in group):
                if part.inhibits and part.kind == "driver":
                    driver = True
                elif part.inhibits:
                    before |= side == "high"
                    after |= side == "low"
    words = [word for word, there in (("H", before), ("L", after and not before), ("K", driver)) if there]
    return "+".join(words)


def in_form(start: StartCircuit, form: str) -> StartCircuit | str:
    """The same parts in another form, or why they cannot be put so.

    Position switches go to the end of `high_side` (H) or the beginning of `low_side` (L) of the coil whose chain holds
    them; drivers that permit stay with K only. The harness stays: studs, runs and plugs; nets are made anew.
    """
    if form not in FORMS:
        raise InhibitFault("form-unknown", "form", f'"{form}" is no form. Right: {", ".join(FORMS)}.')
    chains = _chains_of(start)
    switches = {
        part.id for each in chains for part in _parts_of(start, each) if part.inhibits and part.kind != "driver"
    }
    drivers = {part.id for each in chains for part in _parts_of(start, each) if part.inhibits and part.kind == "driver"}
    if form != "K" and not switches:
        return "there is no position switch"
    if "K" in form and not drivers:
        return "no driver of the controller permits"
    out = []
    for each in start.consumers:
        mine = [group for group in (*each.high_side, *each.low_side) if set(group) & switches]
        if each not in chains or not set().union(*(set(g) for g in (*each.high_side, *each.low_side))) & (
            switches | drivers
        ):
            out.append(each)
            continue
        if any(not set(group) <= switches for group in mine):
            return "a position switch stands in parallel with something else"
        gone = switches if "K" in form else switches | drivers
        high = tuple(group for group in each.high_side if not set(group) & gone)
        low = tuple(group for group in each.low_side if not set(group) & gone)
        if form.startswith("H"):
            high = (*high, *mine)
        elif form == "L":
            low = (*mine, *low)
        out.append(replace(each, high_side=high, low_side=low))
    return replace(start, consumers=tuple(out), form=form)


def _parts_of(start: StartCircuit, each: Consumer) -> list[Part]:
    return [start.part(name) for group in (*each.high_side, *each.low_side) for name in group]


def _refuse_bypass(start: StartCircuit, made: _Nets) -> None:
    """Refuse an element in parallel with an inhibit element that does not depend on the lever, in one chain or over
    several."""
    used = [each for each in start.parts if f"{each.id}.a" in made.node_of]
    nets = {each.id: frozenset((made.node_of[f"{each.id}.a"], made.node_of[f"{each.id}.b"])) for each in used}
    for inhibiting in used:
        for part in used:
            if inhibiting.inhibits and not part.inhibits and nets[part.id] == nets[inhibiting.id]:
                raise InhibitFault(
                    "bypass",
                    part.id,
                    f"joins both sides of {inhibiting.id} in parallel and does not depend on the lever. A bypass of "
                    "the inhibit is not judged; take it out.",
                )
