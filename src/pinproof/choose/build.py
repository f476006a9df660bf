"""From a line of a truck to a choosing problem: the same readings, edges and demands that the proof judges.

Answers: which resistors of this line may be chosen, and what has every choice to satisfy?
Touches: nothing.
Beside:  `pinproof.proof.judging` judges the same rows; `problem` holds them as plain numbers.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pinproof.choose.parts import Site
from pinproof.choose.problem import Candidate, Demand, Member, Problem, Spread, Variable
from pinproof.design.model import Element, Line, Resistor, Truck
from pinproof.errors import NoSolution
from pinproof.observe import ReadingSpace, shared_parameters, spaces_of, windows_in
from pinproof.observe.pin import box_of, node_reading, sources_of
from pinproof.proof.judging import shared_corners
from pinproof.proof.situations import INVALID, Requirement, Situation, requirement, situations_of
from pinproof.wiring import LineView, line_view


@dataclass(frozen=True)
class Row:
    """What a demand of the problem is about."""

    key_state: str
    space: str
    situation: Situation | None  # None where two meanings are to be kept apart
    need: Requirement | None
    meanings: tuple[str, ...]


@dataclass(frozen=True)
class Built:
    """A problem and what its parts mean: `sites[k]` is variable k, `rows[d]` demand d."""

    problem: Problem
    view: LineView
    sites: tuple[Site, ...]
    rows: tuple[Row, ...]


def resistors_of(truck: Truck, line: Line) -> tuple[Resistor, ...]:
    """Resistors of a line in file order: contacts, then idle, end and top, then elements."""
    found = [contact.resistor for contact in truck.contacts_of(line)]
    found += [line.idle_resistor, line.end_resistor, line.top_resistor]
    found += [element.resistor for element in line.elements]
    return tuple(each for each in found if each is not None)


def choosable(truck: Truck, line: Line) -> tuple[Resistor, ...]:
    """Those of `resistors_of` that are not `fixed`."""
    return tuple(each for each in resistors_of(truck, line) if not each.fixed)


def sites_of(truck: Truck, view: LineView) -> tuple[Site, ...]:
    """The places of the choosable resistors in the circuit."""
    wanted = {each.path: each for each in choosable(truck, view.line)}
    whole = truck.temperature
    branches = {branch.id: branch for branch in view.branches}
    out = []
    for path, resistor in wanted.items():
        place = next((p for p in truck.places if p.id == branches[path].place and p.temperature is not None), None)
        local = place.temperature if place is not None and place.temperature is not None else whole
        out.append(Site(resistor, path, local.low, local.high, whole.low, whole.high))
    return tuple(out)


def build(
    truck: Truck, line: Line, candidates: Mapping[str, Sequence[Candidate]], stock: tuple[int, ...] = ()
) -> Built:
    """The problem of choosing a line's resistors.

    Parameters
    ----------
    candidates : mapping
        Design path of each choosable resistor to what may stand there.

    Raises
    ------
    NoSolution
        If nothing is to be chosen, or something else on this pin has no value yet.
    """
    view = line_view(truck, line)
    sites = sites_of(truck, view)
    if not sites:
        raise NoSolution(
            f"Line {line.id} has no resistor that may be chosen.",
            cure="Take `fixed = true` off a resistor, or add one.",
        )
    chosen = {site.edge for site in sites}
    missing = [b.id for b in view.branches if np.isnan(b.nominal_ohm) and b.id not in chosen]
    if missing:
        raise NoSolution(f"Not known yet on the same pin: {', '.join(missing)}.", cure="State them, then choose again.")
    if line.free:
        spreads, demands, rows = _apart(view)
    else:
        spreads, demands, rows = _by_windows(view)
    if not demands:
        raise NoSolution(f"Line {line.id} has no windows and no targets, so no value is better than another.")
    variables = tuple(Variable(site.edge, tuple(candidates[site.resistor.path])) for site in sites)
    return Built(Problem(view.net, variables, tuple(spreads), tuple(demands), stock), view, sites, tuple(rows))


def _members(
    view: LineView,
    key_state: str,
    space: ReadingSpace,
    situations: Sequence[Situation],
    fixed: Mapping[str, float] | None,
) -> Iterator[Member]:
    _, sources = sources_of(view, key_state, space, fixed)
    reading = node_reading(view, space)
    low, high = box_of(view, [each.key for each in situations], fixed)
    low, high = np.nan_to_num(low, posinf=np.inf), np.nan_to_num(high, posinf=np.inf)
    for row in range(len(situations)):
        yield Member(low[row], high[row], sources, reading, space.full_scale)


def _by_windows(view: LineView) -> tuple[list[Spread], list[Demand], list[Row]]:
    """One demand for each key state, reading space, situation, and corner of what edges and readings share."""
    truck, line = view.truck, view.line
    situations = situations_of(truck, line)
    shared = bool(shared_parameters(truck, line))
    spreads: list[Spread] = []
    demands: list[Demand] = []
    rows: list[Row] = []
    for key_state in truck.supply.states:
        needs = [requirement(truck, line, each, key_state) for each in situations]
        for space in spaces_of(truck, view.input):
            corners: Iterable[Mapping[str, float] | None] = shared_corners(view, key_state, space) if shared else [None]
            for corner in corners:
                windows = windows_in(truck, line, space, corner)
                members = _members(view, key_state, space, situations, corner)
                for situation, need, member in zip(situations, needs, members, strict=True):
                    concerned = tuple(window for window in windows if window.meaning in need.of)
                    if need.how == "clear" and not concerned:
                        continue
                    name = f"{key_state} {space.name} {'+'.join(situation.operated) or '-'}"
                    demands.append(Demand(name, need.how, len(spreads), concerned))
                    spreads.append(Spread(name, (member,)))
                    rows.append(Row(key_state, space.name, situation, need, tuple(w.meaning for w in concerned)))
    return spreads, demands, rows


def _apart(view: LineView) -> tuple[list[Spread], list[Demand], list[Row]]:
    """A controller that can be taught: keep the meanings apart first, and combinations away from foreign commands."""
    truck, line = view.truck, view.line
    situations = situations_of(truck, line)
    asked = {contact.id: contact.asks for contact in truck.contacts_of(line)}
    commands = tuple(dict.fromkeys(each for each in asked.values() if each != line.idle))
    spreads: list[Spread] = []
    demands: list[Demand] = []
    rows: list[Row] = []
    for space in spaces_of(truck, view.input):
        by_meaning: dict[str, list[Member]] = {}
        others: list[tuple[Situation, tuple[str, ...], list[Member]]] = []
        for index, situation in enumerate(situations):
            members: list[Member] = []
            for key_state in truck.supply.states:
                if key_state != "crank":
                    members += list(_members(view, key_state, space, [situation], None))
            need = requirement(truck, line, situation, "run")
            if need.how == "inside" and need.means:
                by_meaning.setdefault(need.means, []).extend(members)
            elif need.how == "clear":
                own = {asked[name] for name in situation.operated}
                if need.rule == 1:
                    own = {each for each in need.allowed if each != INVALID}
                others.append((situations[index], tuple(each for each in commands if each not in own), members))
        scale = space.full_scale
        keep = 2.0 * view.input.error.value * scale
        place = {meaning: len(spreads) + i for i, meaning in enumerate(by_meaning)}
        spreads += [Spread(meaning, tuple(members)) for meaning, members in by_meaning.items()]
        for one, other in itertools.combinations(by_meaning, 2):
            demands.append(Demand(f"{one} / {other}", "apart", place[one], (), place[other], keep, scale))
            rows.append(Row("", space.name, None, None, (one, other)))
        for situation, foreign, members in others:
            foreign = tuple(each for each in foreign if each in place)
            if not foreign:
                continue
            spreads.append(Spread("+".join(situation.operated), tuple(members)))
            for meaning in foreign:
                name = f"{'+'.join(situation.operated)} / {meaning}"
                demands.append(Demand(name, "apart", len(spreads) - 1, (), place[meaning], keep, scale, group=1))
                rows.append(Row("", space.name, situation, None, (meaning,)))
    return spreads, demands, rows


def with_resistors(truck: Truck, changed: Mapping[str, Resistor]) -> Truck:
    """The truck with the resistors of these design paths exchanged."""

    def new(old: Resistor | None) -> Resistor | None:
        return old if old is None else changed.get(old.path, old)

    def element(old: Element) -> Element:
        return replace(old, resistor=new(old.resistor))

    contacts = tuple(replace(each, resistor=new(each.resistor)) for each in truck.contacts)
    lines = tuple(
        replace(
            line,
            idle_resistor=new(line.idle_resistor),
            end_resistor=new(line.end_resistor),
            top_resistor=new(line.top_resistor),
            elements=tuple(element(each) for each in line.elements),
        )
        for line in truck.lines
    )
    return replace(truck, contacts=contacts, lines=lines)
