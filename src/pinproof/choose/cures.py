"""Design changes for a line that does not hold, each with its values chosen again and the whole proof rerun.

Answers: what could be changed, what would then be proven, and with how much margin?
Units:   ohms, volts; margins as in `pinproof.verdict`.
Touches: nothing.

Only a change whose rerun proof is better than the one at hand is offered: first those with which the line holds, then
those that only better it, and each of them the cheapest first. None of them removes or bridges an interlock: they
change resistors, contacts, feeding and the return of the coded line itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import IntEnum

from pinproof.choose.build import choosable
from pinproof.choose.certificate import Budget
from pinproof.choose.drawer import Drawer
from pinproof.choose.parts import HIGH_OHM, LOW_OHM
from pinproof.choose.pick import NEAR_MISS, choose, series_of
from pinproof.choose.results import Choice
from pinproof.design.model import Line, Resistor, Truck
from pinproof.errors import NoSolution
from pinproof.proof.checks.breaks import broken_wire_room
from pinproof.proof.prove import states_of
from pinproof.proof.results import LineProof, margin_percent
from pinproof.quantities import format_value, plain_number
from pinproof.tables import contact_figure
from pinproof.verdict import Verdict
from pinproof.wiring import line_view

OWN_GROUND_V = 0.02
"""Offset left when the coder's return is a wire of its own to the controller's ground. Common practice, no source."""


class Effort(IntEnum):
    """What a change costs, cheapest first. Common practice, no source."""

    OTHER_VALUES = 1  # resistors that must be bought anyway
    ONE_MORE_PART = 2
    MOVED_WIRE = 3
    NEW_WIRE = 4
    FINER_PARTS = 5
    FINEST_PARTS = 6
    NEW_SWITCHES = 7


FINER_TOLERANCES = {0.005: Effort.FINER_PARTS, 0.001: Effort.FINEST_PARTS}


@dataclass(frozen=True)
class Cure:
    """One change of the design. `changes` holds all of it, new values included: design path to text.

    `source` is the series the new values come from, or "drawer"; `values` are all of them by design path. [Ω]
    """

    what: str
    changes: dict[str, str]
    verdict: Verdict
    margin: float
    source: str = ""
    values: Mapping[str, float] = field(default_factory=dict)
    effort: Effort = Effort.OTHER_VALUES

    @property
    def text(self) -> str:
        """The change with its series, its values and the new margin, in words.

        Values that do not even nearly hold are left out: nobody should fit them.
        """
        origin = "your drawer" if self.source == "drawer" else self.source
        margin = "no margin"
        if math.isfinite(self.margin):
            margin = f"smallest margin {margin_percent(self.margin)} of half a window"
        if not self.verdict.holds and self.margin < -NEAR_MISS:
            return f"{self.what}. Not enough alone, with the best values from {origin}: {margin}."
        named = ", ".join(f"{_where(path)} {format_value(ohm, 'resistance')}" for path, ohm in self.values.items())
        return f"{self.what}. Values from {origin}: {named}; {margin}."


@dataclass(frozen=True)
class _Change:
    what: str
    truck: Truck
    texts: dict[str, str]
    effort: Effort
    tolerance: float | None = None


def cures(
    truck: Truck,
    line_id: str,
    proof: LineProof,
    *,
    source: str | Drawer | None = None,
    low_ohm: float = LOW_OHM,
    high_ohm: float = HIGH_OHM,
    budget: Budget | None = None,
) -> tuple[Cure, ...]:
    """Changes that make a line's proof better: those that make it hold first, then the cheapest first.

    Parameters
    ----------
    proof : LineProof
        Of the line as it stands; only what is better than this is offered.
    source, low_ohm, high_ohm
        As in `choose`.
    budget : Budget, optional
        For each change; 100 000 boxes by default.
    """
    line = truck.line(line_id)
    now = _standing(proof)
    found: list[Cure] = []
    for change in _changes(truck, line):
        try:
            choice = choose(
                change.truck,
                line_id,
                source=source if change.tolerance is None else _bought(truck, source),
                low_ohm=low_ohm,
                high_ohm=high_ohm,
                tolerance=change.tolerance,
                budget=budget or Budget(nodes=100_000, seconds=20.0),
                runners_up=0,
                explain=False,
                rooms=False,
            )
        except NoSolution:
            continue
        then = _standing(choice.proof)
        if then > now:
            texts = dict(change.texts) | dict(choice.changes)
            what = _idle_words(choice) if change.effort is Effort.ONE_MORE_PART else change.what
            found.append(Cure(what, texts, choice.proof.verdict, then[1], choice.source, choice.values, change.effort))
    return tuple(sorted(found, key=lambda cure: (not cure.verdict.holds, cure.effort, -cure.margin)))


def _where(path: str) -> str:
    """A resistor's design path, short: the contact's id, or the key on its line."""
    parts = path.split(".")
    return parts[1] if parts[0] == "contact" else parts[-2] if parts[-1] == "value" else parts[-1].replace("_", " ")


def _idle_words(choice: Choice) -> str:
    """What the idle resistor does: the proof says that it is better, and the windows whether a broken wire shows."""
    view = line_view(choice.truck, choice.line)
    if broken_wire_room(view, states_of(view)):
        return "add an idle resistor at the far end; a broken wire can then be told from idle"
    return (
        "add an idle resistor at the far end; it steadies the readings, but a broken wire still cannot be told from "
        "idle, because the idle window reaches the rail"
    )


def _standing(proof: LineProof) -> tuple[int, float]:
    """Verdict and margin of the worst situation; a line that could not be proven stands below all others."""
    worst = proof.worst
    if worst is None:
        return -1, float("-inf")
    return worst.verdict.rank, min(row.margin for row in proof.situations if row.verdict is worst.verdict)


def _changes(truck: Truck, line: Line) -> Iterator[_Change]:
    yield _Change("choose the resistors again, in the same windows", truck, {}, Effort.OTHER_VALUES)
    if line.enable is not None and line.taps_fed == "directly":
        other = _with_line(truck, replace(line, taps_fed="through enable"))
        yield _Change(
            "feed the taps through the enable contact, so that they are dead while it is open",
            other,
            {f"{line.path}.taps_fed": "through enable"},
            Effort.MOVED_WIRE,
        )
    if line.idle_resistor is None and line.form in ("pull-up", "pull-down", "divider"):
        added = _idle_resistor(truck, line)
        if added is not None:
            resistor, texts = added
            other = _with_line(truck, replace(line, idle_resistor=resistor))
            yield _Change("add an idle resistor at the far end", other, texts, Effort.ONE_MORE_PART)
    offset = line.return_offset
    if offset is not None and (offset.low < -OWN_GROUND_V or offset.high > OWN_GROUND_V):
        volts = f"{plain_number(OWN_GROUND_V, 3)} V"
        near = replace(offset, value=0.0, low=-OWN_GROUND_V, high=OWN_GROUND_V, text=f"-{volts} to {volts}")
        yield _Change(
            "take the coder's return to the controller's own ground pin",
            _with_line(truck, replace(line, return_offset=near)),
            {offset.path: f"-{volts} to {volts}"},
            Effort.NEW_WIRE,
        )
    widest = max((each.tolerance for each in choosable(truck, line)), default=0.0)
    for reach, effort in FINER_TOLERANCES.items():
        if reach < widest:
            yield _Change(f"fit parts of {reach * 100:g} %", truck, {}, effort, reach)
    yield from _contacts(truck, line)


def _bought(truck: Truck, source: str | Drawer | None) -> str:
    """Finer parts are bought, they are not in the drawer."""
    return series_of(truck) if source is None or isinstance(source, Drawer) else source


def _idle_resistor(truck: Truck, line: Line) -> tuple[Resistor, dict[str, str]] | None:
    """A far-end resistor still to be chosen, with the spread of the line's other resistors; None if there are none."""
    like = next((each.resistor for each in truck.contacts_of(line) if each.resistor is not None), None)
    if like is None:
        return None
    path = f"{line.path}.idle_resistor"
    resistor = replace(like, ohm=None, path=path, text="to choose", fixed=False, note="", basis="assumed")
    texts = {path: "to choose"}
    if "tolerance" not in like.defaulted:
        texts[f"{path}.tolerance"] = f"{plain_number(like.tolerance * 100, 9)} %"
    if "ageing" not in like.defaulted:
        texts[f"{path}.ageing"] = f"{plain_number(like.ageing * 100, 9)} %"
    if "tempco" not in like.defaulted:
        texts[f"{path}.tempco"] = f"{plain_number(like.tempco_per_k * 1e6, 9)} ppm/K"
        if like.tempco_known:
            texts[f"{path}.tempco_sign"] = "known"
    return resistor, texts


def _contacts(truck: Truck, line: Line) -> Iterator[_Change]:
    figure = contact_figure("low_level_contact")
    least = float(figure.value)
    worn = [each for each in truck.contacts_of(line) if each.closed.high > least]
    if not worn:
        return
    new = {}
    texts: dict[str, str] = {}
    for each in worn:
        low = min(each.closed.low, least)
        text = f"{plain_number(low, 6)} ohm to {plain_number(least, 6)} ohm"
        closed = replace(each.closed, low=low, value=(low + least) / 2.0, high=least, text=text, from_default=False)
        new[each.id] = replace(each, closed=closed, material="gold")
        texts[f"{each.path}.closed"] = text
        texts[f"{each.path}.material"] = "gold"
    other = replace(truck, contacts=tuple(new.get(each.id, each) for each in truck.contacts))
    yield _Change(
        f"fit gold contacts rated for low level (no more than {least:g} ohm on each closure)", other, texts,
        Effort.NEW_SWITCHES,
    )  # fmt: skip


def _with_line(truck: Truck, line: Line) -> Truck:
    return replace(truck, lines=tuple(line if each.id == line.id else each for each in truck.lines))
