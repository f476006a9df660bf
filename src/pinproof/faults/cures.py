"""Changes of the design against unsafe faults, offered only after everything was computed again.

Answers: which change removes which faults' false commands, and which order of cavities keeps harmful wires apart?
Units:   ohms, volts.
Touches: nothing.
Must not: choose values. `cures_of` takes a function that chooses and proves; the face that calls it joins the two.

Cures tried: a far-end idle resistor where the windows allow one, and taps fed through the enable contact. A cure is
offered if the proof with its new values is no worse, and the dictionary then has fewer faults with false commands, or
fewer that nobody notices, or the line without a fault is mended. An open wire reads what nothing pressed reads
without an idle resistor: where that is inside the idle window now, no idle resistor can make a broken wire show. An
order of cavities needs no new values: that a bridge between two wires is harmless stands in the dictionary. None of
them bridges or removes an interlock.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from pinproof.design.model import Line, Resistor, Truck
from pinproof.errors import NoSolution
from pinproof.faults.effects import line_faults
from pinproof.faults.results import LineFaults
from pinproof.observe import spaces_of, windows_in
from pinproof.proof.results import LineProof
from pinproof.quantities import plain_number

Chooser = Callable[[Truck, str], tuple[Truck, LineProof, dict[str, str]]]
"""Chooses a line's values: the truck with them, its whole proof, and the texts of the values by design path."""
MOST_WIRES = 12


@dataclass(frozen=True)
class Proposal:
    """A change worth trying. `changes` are the texts for the file, values still to be chosen left out."""

    what: str
    truck: Truck
    changes: dict[str, str]


@dataclass(frozen=True)
class Cure:
    """A change that was tried with new values, a new proof and a new dictionary.

    `removes` and `brings` list ids of faults whose false commands go and come; `shows` those that were not noticed and
    now are; `mends`: without any fault the line lost something before, and now does not.
    """

    what: str
    changes: dict[str, str]
    removes: tuple[str, ...]
    brings: tuple[str, ...]
    shows: tuple[str, ...]
    mends: bool
    false_before: int
    false_after: int


def proposals(truck: Truck, line_id: str) -> Iterator[Proposal]:
    """Changes that can act on faults of this line, untried."""
    line = truck.line(line_id)
    if line.enable is not None and line.taps_fed == "directly":
        yield Proposal(
            "feed the taps through the enable contact, so that they are dead while it is open",
            _with_line(truck, replace(line, taps_fed="through enable")), {f"{line.path}.taps_fed": "through enable"},
        )  # fmt: skip
    if line.idle_resistor is None and line.form in ("pull-up", "pull-down", "divider") and _has_room(truck, line):
        like = next((each.resistor for each in truck.contacts_of(line) if each.resistor is not None), None)
        if like is not None:
            path = f"{line.path}.idle_resistor"
            part = replace(like, ohm=None, path=path, text="to choose", fixed=False, note="", basis="assumed")
            yield Proposal(
                "add an idle resistor at the far end, so that a broken wire is told from nobody pressing",
                _with_line(truck, replace(line, idle_resistor=part)), {path: "to choose"} | _spread(like, path),
            )  # fmt: skip


def not_proposed(truck: Truck, line_id: str) -> tuple[str, ...]:
    """Why a change is not worth trying on this line, in words."""
    line, out = truck.line(line_id), []
    if line.form not in ("pull-up", "pull-down", "divider"):
        out.append("a far-end idle resistor has no place in this form")
    elif line.idle_resistor is not None:
        out.append("there is an idle resistor already")
    elif not _has_room(truck, line):
        out.append("a far-end idle resistor buys nothing with these windows, the idle window reaches the rail")
    if line.enable is not None and line.taps_fed == "through enable":
        out.append("the taps are fed through the enable contact already")
    return tuple(out)


def _has_room(truck: Truck, line: Line) -> bool:
    """Between the idle window and the rail that an open wire reads there is room: the idle window has that edge."""
    if line.free:
        return True
    for space in spaces_of(truck, truck.input_of(line)):
        for window in windows_in(truck, line, space):
            edge = window.upper if line.source_side == "return" else window.lower
            if window.meaning == line.idle and edge is not None and edge.exists:
                return True
    return False


def _spread(like: Resistor, path: str) -> dict[str, str]:
    """Tolerance, ageing and tempco of the new part as those of another one, where they are not the file's defaults."""
    texts = {}
    if "tolerance" not in like.defaulted:
        texts[f"{path}.tolerance"] = f"{plain_number(like.tolerance * 100, 9)} %"
    if "ageing" not in like.defaulted:
        texts[f"{path}.ageing"] = f"{plain_number(like.ageing * 100, 9)} %"
    if "tempco" not in like.defaulted:
        texts[f"{path}.tempco"] = f"{plain_number(like.tempco_per_k * 1e6, 9)} ppm/K"
        if like.tempco_known:
            texts[f"{path}.tempco_sign"] = "known"
    return texts


def _with_line(truck: Truck, line: Line) -> Truck:
    return replace(truck, lines=tuple(line if each.id == line.id else each for each in truck.lines))


def cures_of(truck: Truck, found: LineFaults, proof: LineProof, chooser: Chooser) -> tuple[Cure, ...]:
    """Changes that were tried and help, the one that leaves the fewest false commands first.

    Parameters
    ----------
    found : LineFaults
        The dictionary as it stands.
    proof : LineProof
        The line's proof as it stands; a cure whose proof has a worse verdict is not offered.
    chooser : function
        Chooses values for a changed truck and proves it; its `NoSolution` ends that proposal.
    """
    out = []
    for proposal in proposals(truck, found.line):
        try:
            changed, then, texts = chooser(proposal.truck, found.line)
        except NoSolution:
            continue
        if then.verdict.rank < proof.verdict.rank:
            continue
        cure = _compared(proposal, texts, found, line_faults(changed, found.line))
        if cure is not None:
            out.append(cure)
    return tuple(sorted(out, key=lambda each: (each.false_after, -len(each.shows))))


def _compared(proposal: Proposal, texts: dict[str, str], before: LineFaults, after: LineFaults) -> Cure | None:
    was, now = ({each.fault.id: each for each in one.faults} for one in (before, after))
    false_before = {name for name, each in was.items() if each.effect == "false command"}
    false_after = {name for name, each in now.items() if each.effect == "false command"}
    shows = tuple(n for n, each in was.items() if each.unnoticed and n in now and not now[n].unnoticed)
    removes = tuple(n for n in was if n in false_before - false_after)
    brings = tuple(n for n in now if n in false_after - false_before)
    mends = _is_sound(after) and not _is_sound(before)
    fewer = len(false_after) < len(false_before)
    more = len(false_after) > len(false_before)  # a new part has faults of its own
    if after.reason or not (mends or fewer or (shows and not more)):
        return None
    changes = proposal.changes | texts
    return Cure(proposal.what, changes, removes, brings, shows, mends, len(false_before), len(false_after))


def _is_sound(found: LineFaults) -> bool:
    return found.sound is not None and found.sound.effect == "none"


@dataclass(frozen=True)
class CavityOrder:
    """Wires of the branches in one row of cavities. `empty_after` names wires that need an empty cavity behind them."""

    order: tuple[str, ...]
    empty_after: tuple[str, ...]


def cavity_order(found: LineFaults) -> CavityOrder | None:
    """An order of the branch wires in which as few neighbours as can be would give a false command when bridged.

    None where no bridge is harmful, or with more than `MOST_WIRES` wires.
    """
    bridges = [each for each in found.faults if each.fault.kind == "bridged"]
    harmful = {frozenset(each.fault.nodes) for each in bridges if each.effect == "false command"}
    wires = list(dict.fromkeys(node for each in bridges for node in each.fault.nodes))
    if not harmful or len(wires) > MOST_WIRES:
        return None
    # Best order of every subset by its last wire: the usual dynamic programme for a shortest path through all.
    best: dict[tuple[int, int], tuple[int, int]] = {(1 << i, i): (0, -1) for i in range(len(wires))}
    for mask in range(1, 1 << len(wires)):
        for last in range(len(wires)):
            cost = best.get((mask, last), (len(wires), -1))[0]
            if cost >= len(wires):
                continue
            for after in range(len(wires)):
                if not mask >> after & 1:
                    more = cost + (frozenset((wires[last], wires[after])) in harmful)
                    key = (mask | 1 << after, after)
                    if more < best.get(key, (len(wires), -1))[0]:
                        best[key] = (more, last)
    mask = (1 << len(wires)) - 1
    last = min(range(len(wires)), key=lambda i: best[mask, i][0])
    order: list[int] = []
    while last >= 0:
        order.insert(0, last)
        mask, last = mask ^ 1 << last, best[mask, last][1]
    named = [wires[i] for i in order]
    gaps = tuple(a for a, b in pairwise(named) if frozenset((a, b)) in harmful)
    return CavityOrder(tuple(named), gaps)
