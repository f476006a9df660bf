"""What each single fault does: where it lets the coil hold or pull in, with which severities.

Answers: for every fault the cells of the truth table that it breaks, the severities, the effect; whether no form of the
         circuit removes it, whether daily use hides it, whether a command contact takes part.
Units:   ohms.
Touches: nothing.
Beside:  `sites` lists the faults, `reveal` adds the test and the cure.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from pinproof.inhibit.ask import Answer, answers
from pinproof.inhibit.boxes import Bench, Situation
from pinproof.inhibit.circuit import Circuit, Code
from pinproof.inhibit.corners import NOWHERE, Found
from pinproof.inhibit.results import EFFECTS, Effect, Row, Set, StartFault
from pinproof.inhibit.sets import ALL, Interval, Severities, intersection, split_hair, union, without
from pinproof.inhibit.sites import Site, sites
from pinproof.inhibit.table import CRANKS, wanted_cranks
from pinproof.verdict import Verdict

EVERYWHERE = Found(ALL, ALL)
HAIR = 0.01
"""How far a press may move the ohms at which a fault cranks and still count as the fault's own doing. The coil's volts
move by hardly a greater share than these ohms (by no greater one, where the circuit without the fault gives the coil no
volts of the other sign): with nothing pressed they are that near the drop-out already, closer than a drop-out is known
(common practice, no source)."""
ByCommand = tuple[tuple[tuple[str, ...], Severities], ...]


@dataclass(frozen=True)
class _Asked:
    """A cell that must not crank, with what is operated."""

    point: str
    request: bool
    operated: tuple[str, ...]
    situations: tuple[Situation, ...]


Progress = Callable[[int, int], None]


def fault_effects(circuit: Circuit, table: Sequence[Row], progress: Progress | None = None) -> tuple[StartFault, ...]:
    """Every single fault, worst first; of equals those that are sure, then the widest.

    Cells that the sound circuit fails already are not asked again. Where nobody knows whether the sound circuit cranks
    because an element is unknown at a mid-travel point, that element is taken as open: what the fault adds is asked.
    """
    listed = sites(circuit)
    found = []
    for number, each in enumerate(listed, start=1):
        found.append(_effect(circuit, table, each))
        if progress is not None:
            progress(number, len(listed))
    return tuple(sorted(found, key=lambda each: (not each.defeat, EFFECTS.index(each.effect), not each.shown)))


def _cells(circuit: Circuit, table: Sequence[Row], bench: Bench) -> list[_Asked]:
    out = []
    keys = [each.key for each in circuit.supplies]
    sets = [(), *(tuple(sorted(each)) for each in circuit.command_sets)] if bench.commands else [()]
    for row in table:
        for cell in row.cells:
            if cell.wanted != "no" or cell.lever != "plugged" or cell.verdict is Verdict.FAIL:
                continue
            sure = frozenset[str]() if cell.verdict is Verdict.NOT_SHOWN else None
            for operated in sets:
                made = tuple(
                    Situation(row.position, cell.request, key, operated=frozenset(operated), sure=sure) for key in keys
                )
                out.append(_Asked(row.position, cell.request, operated, made))
    return out


def _effect(circuit: Circuit, table: Sequence[Row], site: Site) -> StartFault:
    bench = Bench(circuit, site.change)
    cells = _cells(circuit, table, bench)
    sets = _sets(bench, cells, site)
    in_gear = [each for each in sets if each.position not in circuit.permitted]
    no_crank = _no_crank(bench, table)
    by_command, moved = _by_command(sets, site.code)
    effect = _worst(circuit, sets, bool(no_crank))
    defeat = bool(in_gear)
    at_rest = union([part for each in sets if each not in in_gear for part in _parts(each)])
    harmful = union([part for each in in_gear for part in _parts(each)])
    return StartFault(
        site.id, site.site, site.kind, site.detail, _severity(bench, site), effect, tuple(sets), no_crank,
        defeat=defeat,
        inherent=defeat and _inherent(circuit, site, [each for each in cells if each.point not in circuit.permitted]),
        hidden=defeat and bool(without(harmful, union([no_crank, at_rest]))),
        shown=not sets or any(each.shown_holds or each.shown_pulls_in for each in sets),
        by_command=by_command,
        moved_by_command=moved,
        nodes=site.nodes,
    )  # fmt: skip


def _severity(bench: Bench, site: Site) -> bool:
    return bench.change.has_severity or bool(site.code and site.code.severities)


def _sets(bench: Bench, cells: Sequence[_Asked], site: Site) -> list[Set]:
    """The cells that it breaks."""
    if bench.turns_stuck:
        return [_set(each, EVERYWHERE, EVERYWHERE, NOWHERE, ()) for each in cells]
    if bench.turns_open:
        return []
    cells = _worth_asking(bench, cells)
    listed = [(each, situation) for each in cells for situation in each.situations]
    found = answers(bench, [situation for _, situation in listed], CRANKS)
    out = []
    for asked in cells:
        mine = [one for (each, _), one in zip(listed, found, strict=True) if each is asked]
        holds, pulls, chatters = (_united(mine, name) for name in ("holds", "pulls_in", "chatters"))
        if site.code is not None and site.code.severities:
            line, shown = _line_severities(site.code, asked.point)
            holds, pulls, chatters = (
                Found(intersection([one.outer, line]), intersection([one.inner, shown]))
                for one in (holds, pulls, chatters)
            )
        if holds.outer or pulls.outer or chatters.outer:
            relays = tuple(dict.fromkeys(names for one in mine for names in one.combinations))
            out.append(_set(asked, holds, pulls, chatters, relays))
    return out


def _worth_asking(bench: Bench, cells: Sequence[_Asked]) -> list[_Asked]:
    """Cells left when those fall in which the coil cannot crank even with every command contact at will."""
    if not bench.commands:
        return list(cells)
    at_will = {
        (each.point, each.request, situation.key): replace(situation, operated=None)
        for each in cells
        for situation in each.situations
    }
    found = dict(zip(at_will, answers(bench, list(at_will.values()), CRANKS), strict=True))
    return [each for each in cells if any(found[each.point, each.request, one.key].cranks() for one in each.situations)]


def _line_severities(code: Code, point: str) -> tuple[Severities, Severities]:
    """Severities with which the line lets the driver be on at a point: all that can, and those that surely do."""
    shown = code.severities if code.shown is None else code.shown
    outer, inner = (dict(each).get(point, ()) for each in (code.severities, shown))
    return tuple(union([(Interval(low, high),) for low, high in listed]) for listed in (outer, inner))  # type: ignore


def _united(mine: Sequence[Answer], name: str) -> Found:
    every = [getattr(one, name) for one in mine]
    return Found(union([one.outer for one in every]), union([one.inner for one in every]))


def _set(asked: _Asked, holds: Found, pulls: Found, chatters: Found, relays: tuple[tuple[str, ...], ...]) -> Set:
    return Set(
        asked.point, asked.request, asked.operated, holds.outer, pulls.outer, chatters.outer, holds.inner, pulls.inner,
        relays, holds.exact and pulls.exact and chatters.exact,
    )  # fmt: skip


def _parts(one: Set) -> tuple[Severities, Severities, Severities]:
    return one.holds, one.pulls_in, one.chatters


def _no_crank(bench: Bench, table: Sequence[Row]) -> Severities:
    """Severities with which some permitted position is not sure to crank, though it is without the fault."""
    if bench.turns_stuck:
        return ()
    good = [row for row in table if row.permitted and row.cells[0].verdict is Verdict.PASS]
    if not good:
        return ()
    if bench.turns_open:
        return ALL
    asked = [wanted_cranks(bench.circuit, row.position) for row in good]
    at_run = answers(bench, [run for run, *_ in asked], ("stays_out",))
    at_crank = answers(bench, [each for _, *others in asked for each in others], ("lets_go",))
    out = [each.stays_out.outer for each in at_run] + [each.lets_go.outer for each in at_crank]
    return union(out + [each.chatters.outer for each in (*at_run, *at_crank)])


def _worst(circuit: Circuit, sets: Sequence[Set], no_crank: bool) -> Effect:
    found: list[Effect] = ["no crank" if no_crank else "none"]
    for each in sets:
        gear = each.position not in circuit.permitted
        if each.pulls_in:
            if gear:
                found.append("cranks in gear" if each.request else "cranks in gear, no request")
            else:
                found.append("cranks by itself")
        elif each.holds:
            found.append("keeps cranking in gear" if gear else "keeps cranking")
        if each.chatters:
            found.append("cranks at random")
    return min(found, key=EFFECTS.index)


def _inherent(circuit: Circuit, site: Site, cells: Sequence[_Asked]) -> bool:
    """Still cranks with every relay whose own chain holds an inhibit element held released by hand."""
    released = frozenset(each.id for each in circuit.relays if each.inhibited)
    bench = Bench(circuit, site.change, released)
    if bench.turns_stuck:
        return True
    situations = [situation for each in cells for situation in each.situations]
    return any(each.cranks() for each in answers(bench, situations, CRANKS))


def _by_command(sets: Sequence[Set], code: Code | None = None) -> tuple[ByCommand, ByCommand]:
    """Sets of contacts that raise the coil where nothing operated does not, with the severities; and those that only
    move the edge of what it does with nothing operated."""
    if code is not None and code.pressed and sets:
        return ((code.pressed, union([union(_parts(each)) for each in sets])),), ()
    alone = {(each.position, each.request): union(_parts(each)) for each in sets if not each.operated}
    raised: dict[tuple[str, ...], list[Severities]] = {}
    moved: dict[tuple[str, ...], list[Severities]] = {}
    for each in sets:
        if each.operated:
            rest = alone.get((each.position, each.request), ())
            beyond, hair = split_hair(without(union(_parts(each)), rest), rest, HAIR)
            for found, kept in ((beyond, raised), (hair, moved)):
                if found:
                    kept.setdefault(each.operated, []).append(found)
    first, second = (tuple((operated, union(more)) for operated, more in kept.items()) for kept in (raised, moved))
    return first, second
