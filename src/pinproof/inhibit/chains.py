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
    anything else that can touch it. `meets`: (terminal, terminal, where) that can be bridged; `cavities`: (terminal,
    terminal, plug) whose wires can be exchanged; `joints`: terminals whose wires are open while a joint is apart.
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
    meets: tuple[tuple[str, str, str], ...] = ()
    cavities: tuple[tuple[str, str, str], ...] = ()
    joints: tuple[tuple[str, tuple[str, ...]], ...] = ()
    command_sets: tuple[frozenset[str], ...] = ()

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
    missing = [each for each in start.start if each not in set(_start_parts(start))]
    if missing:
        raise InhibitFault("start-missing", "inhibit.start", f"{missing[0]} is not in the chain of {start.coil}.")
    _refuse_bypass(start)
    relays = tuple(
        Relay(each.id, f"{each.id}.coil", *each.pull_in_v, *each.drop_out_v, inhibited=_inhibited(start, each))
        for each in start.consumers
        if each.pull_in_v is not None and each.drop_out_v is not None
    )
    assumed: tuple[str, ...] = ()
    if not start.wire_ohm:
        assumed = (f"No wire lengths: each wire has 0 to {2 * END_OHM:g} Ω from end to end.",)
    return checked(
        Circuit(
            (*made.branches, *start.others), relays, (*start.grounds, Ground(CONTROLLER_GROUND)), start.supplies,
            start.positions, start.permitted, start.coil, start.turns, start.lever, form,
            (*made.names, *start.other_nets), made.touches(), made.swaps(), made.joints(), start.command_sets, assumed,
        )
    )  # fmt: skip


class _Nets:
    """Terminals joined by chains into nets; each net a node, each of its ends a wire to it."""

    def __init__(self, start: StartCircuit) -> None:
        self.start = start
        self.up: dict[str, str] = {}
        rails = {BATTERY, CONTROLLER_GROUND, *(each.id for each in start.grounds)}
        for feed in start.feeds:
            self._chain(feed.from_, feed.through, f"{feed.id}.in")
        for each in start.consumers:
            self._chain(each.feed, each.high_side, f"{each.id}.plus")
            driven = bool(each.low_side) and any(start.part(name).side == "low" for name in each.low_side[-1])
            self._chain(f"{each.id}.minus", each.low_side, CONTROLLER_GROUND if driven else each.ground)
        for other in start.others:
            for end in (other.a, other.b):
                self._root(end)
        groups: dict[str, list[str]] = {}
        for terminal in self.up:
            groups.setdefault(self._root(terminal), []).append(terminal)
        self.node_of: dict[str, str] = {}
        self.names: list[tuple[str, str]] = []
        wires: list[Branch] = []
        own = {end for other in start.others for end in (other.a, other.b)}
        for group in groups.values():
            at = next((one for one in group if one in rails), None)
            if at is None and len(group) == 1 and group[0] in own:
                continue  # a node of a coded line stays as it is
            name = at or group[0]
            node = at or f"net {name}"
            if at is None:
                self.names.append((name, node))
            for terminal in group:
                self.node_of[terminal] = node
                if terminal == at:
                    continue
                ohm = start.wire_ohm.get(terminal, END_OHM)
                wires.append(Branch(f"wire {terminal}", "wire", node, terminal, 0.0, ohm))
        self.branches = (*self._elements(), *wires)

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
                f"{feed.id}.fuse", "fuse", f"{feed.id}.in", feed.id, low, high, by="key", closed_at=feed.live,
                rating_a=feed.fuse_a,
            )  # fmt: skip
        for each in start.consumers:
            kind: Kind = "load" if each.pull_in_v is None else "coil"
            name = each.id if kind == "load" else f"{each.id}.coil"
            yield Branch(name, kind, f"{each.id}.plus", f"{each.id}.minus", each.low_ohm, each.high_ohm)
        used = set(self.up)
        for part in start.parts:
            if f"{part.id}.a" not in used and part.id != start.turns:
                continue
            yield Branch(
                part.id, part.kind, f"{part.id}.a", f"{part.id}.b", part.low_ohm, part.high_ohm, part.open_ohm,
                part.by, part.closed_at, part.either_at, part.relay, part.normally_closed, part.device,
                codes=part.codes,
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
        return tuple(
            Swap(f"wire {one}", f"wire {other}", where)
            for one, other, where in self.start.cavities
            if {f"wire {one}", f"wire {other}"} <= wires and self.node_of[one] != self.node_of[other]
        )

    def joints(self) -> tuple[Apart, ...]:
        """Joints with the wires through them."""
        return tuple(Apart(name, tuple(f"wire {each}" for each in ends)) for name, ends in self.start.joints)


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


def _refuse_bypass(start: StartCircuit) -> None:
    """Refuse an element in parallel with a position switch that does not depend on the lever."""
    for each in _chains_of(start):
        for group in (*each.high_side, *each.low_side):
            parts = [start.part(name) for name in group]
            inhibiting = [part for part in parts if part.inhibits]
            for part in parts:
                if inhibiting and not part.inhibits:
                    raise InhibitFault(
                        "bypass",
                        part.id,
                        f"joins both sides of {inhibiting[0].id} in parallel and does not depend on the lever. A "
                        "bypass of the inhibit is not judged; take it out.",
                    )
