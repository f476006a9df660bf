"""Current that keeps a switch contact clean.

Answers: does enough current flow through each contact for its material, and if not, how much film is still tolerated?
Units:   amperes, ohms.
Touches: the tables of switch contacts.
Sources: tables/switch_contacts.toml and tables/switch_behaviour.toml; the figures for silver are disputed and say so.

A film is a drift of the contact's resistance, and drift is proven elsewhere. So too little current is a caution, never
by itself the design's failure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pinproof.design.model import Contact
from pinproof.observe import ReadingSpace
from pinproof.observe.pin import box_of, sources_of
from pinproof.proof.checks.corner_search import extreme
from pinproof.proof.judging import Judged
from pinproof.proof.results import Finding, SituationProof
from pinproof.quantities import format_value
from pinproof.tables import contact_figure, contact_load
from pinproof.wiring import LineView

NAME = "wetting"
_FILM = ".film_ohm"  # at the end of the key of a contact's film budget
LEAST_CONTACT_OHM = 1e-3  # a contact of exactly 0 Ω gets this instead, far below what a meter shows
CURE = (
    "contacts, or a load resistor at the switch that draws the missing current through the contact; then choose the"
    " values again and repeat the proof."
)
VOLTS = ReadingSpace("volts", None, 1.0, math.inf, "V")


@dataclass(frozen=True)
class Need:
    """Least current a material wants, or None where it wants none; where that comes from. [A]"""

    least_a: float | None
    source: str
    seen: str


def least_current(material: str | None) -> Need:
    """What the tables say about a contact material.

    Gold is made for dry circuits and has no minimum. Silver is doubtful below a disputed figure. For tin, and where no
    material is stated, the tables have nothing: silver's figure is taken as the careful choice.
    """
    if material == "gold":
        dry = contact_load("low level")
        return Need(None, dry.source, dry.seen)
    silver = contact_figure("silver_doubtful_below")
    if material == "silver":
        return Need(silver.value, silver.source, silver.seen)
    return Need(silver.value, f"silver's figure, no other in the tables: {silver.source}", silver.seen)


def wetting(view: LineView, judged: Sequence[Judged], rows: Sequence[SituationProof]) -> tuple[Finding, ...]:
    """A caution for each contact with too little current, one for all without a material, a note on those with enough.

    `rows` give the film budgets, as far as drift budgets were worked out.
    """
    least_a = least_currents_a(view, judged, rows)
    findings: list[Finding] = []
    good: list[Contact] = []
    unstated: list[Contact] = []
    for contact in view.truck.contacts_of(view.line):
        if contact.id not in least_a:
            continue
        need = least_current(contact.material)
        if need.least_a is None or least_a[contact.id] >= need.least_a:
            good.append(contact)
        elif contact.material is None:
            unstated.append(contact)
        else:
            findings.append(_caution(contact, least_a[contact.id], need, film_budget_ohm(contact, rows)))
    if unstated:
        findings.append(_unstated(view, unstated, least_a, rows))
    if good:
        names = ", ".join(f"{contact.id} {_milli(least_a[contact.id])}" for contact in good)
        text = f"Enough current for the material, at the weakest corner: {names}."
        findings.append(Finding(NAME, None, view.line.id, text, {each.id: least_a[each.id] for each in good}))
    return tuple(findings)


def least_currents_a(view: LineView, judged: Sequence[Judged], rows: Sequence[SituationProof] = ()) -> dict[str, float]:
    """Least current through each contact while it conducts in a situation that must read one meaning. [A]

    In `run` and `after_run`, over corners of the whole box. Contacts that never conduct there are left out. So is,
    where the drift budgets of `rows` tell, a situation in which no film on the contact makes a difference: another one
    lies across it, as a tap across the rest of a ladder. If that is so in all of them, they count all the same.
    """
    bound = {
        (row.key_state, frozenset(row.operated)): {
            budget.parameter for budget in row.budgets if budget.direction == "up"
        }
        for row in rows
        if row.budgets
    }
    columns = {branch.contact: column for column, branch in enumerate(view.branches) if branch.kind == "contact"}
    least: dict[str, float] = {}
    for key_state in dict.fromkeys(state.key_state for state in judged if state.key_state != "crank"):
        state = next(each for each in judged if each.key_state == key_state)
        asked: list[tuple[frozenset[str], str, int]] = []
        for situation, need in zip(state.situations, state.requirements, strict=True):
            if need.how != "inside":
                continue
            for name, column in columns.items():
                if name is not None and view.branches[column].conducts_at_rest != (name in situation.key):
                    asked.append((situation.key, name, column))
        told = {key: bound[key_state, key] for key, _, _ in asked if (key_state, key) in bound}
        counts = [key not in told or f"contact.{name}.closed" in told[key] for key, name, _ in asked]
        matter = {name for (_, name, _), counted in zip(asked, counts, strict=True) if counted}
        asked = [each for each, counted in zip(asked, counts, strict=True) if counted or each[1] not in matter]
        if not asked:
            continue
        low_s, high_s = box_of(view, [key for key, _, _ in asked])
        edges = np.array([column for _, _, column in asked])
        at = np.arange(len(asked))
        weakest = np.minimum(low_s[at, edges], 1.0 / LEAST_CONTACT_OHM)  # less flows through a worse contact
        low_s[at, edges] = high_s[at, edges] = weakest
        _, sources = sources_of(view, key_state, VOLTS)
        found = extreme(view.net, low_s, high_s, sources, edges, "current", largest=False)
        for (_, name, _), current_a in zip(asked, found.tolist(), strict=True):
            if not math.isnan(current_a):
                least[name] = min(least.get(name, math.inf), current_a)
    return least


def film_budget_ohm(contact: Contact, rows: Sequence[SituationProof]) -> float | None:
    """How far this contact's resistance may grow until a meaning is lost; None if no budget says so. [Ω]

    Infinite where it never is.
    """
    found = [
        math.inf if budget.lost_at is None else budget.lost_at
        for row in rows
        for budget in row.budgets
        if row.meaning
        and budget.parameter == f"{contact.path}.closed"
        and budget.direction == "up"
        and row.key_state != "crank"
    ]
    return min(found) if found else None


def _caution(contact: Contact, current_a: float, need: Need, film_ohm: float | None) -> Finding:
    assert need.least_a is not None
    text = (
        f"{contact.id} carries as little as {_milli(current_a)}. Below {_milli(need.least_a)} a film may stay on"
        f" {contact.material} ({need.seen} source, disputed)."
    )
    numbers: dict[str, float | str] = {"least_a": current_a, "wanted_a": need.least_a, "source": need.source}
    if film_ohm is not None:
        numbers["film_ohm"] = film_ohm
        text += f" {_film_words(film_ohm)}"
    return Finding(NAME, None, contact.id, text, numbers, f"Gold {CURE}")


def _unstated(
    view: LineView, contacts: Sequence[Contact], least_a: dict[str, float], rows: Sequence[SituationProof]
) -> Finding:
    need = least_current(None)
    assert need.least_a is not None
    numbers: dict[str, float | str] = {"wanted_a": need.least_a, "source": need.source}
    numbers |= {contact.id: least_a[contact.id] for contact in contacts}
    budgets = {contact.id: film_budget_ohm(contact, rows) for contact in contacts}
    known = {name: film_ohm for name, film_ohm in budgets.items() if film_ohm is not None}
    numbers |= {f"{name}{_FILM}": film_ohm for name, film_ohm in known.items()}
    text = _unstated_words({contact.id: least_a[contact.id] for contact in contacts}, known)
    return Finding(NAME, None, view.line.id, text, numbers, f"State the material. If it is not gold: gold {CURE}")


def is_unstated(finding: Finding) -> bool:
    """True if it is the caution for contacts whose material nobody stated."""
    return finding.check == NAME and "wanted_a" in finding.numbers and "least_a" not in finding.numbers


def unstated_together(findings: Sequence[Finding]) -> str:
    """Such cautions of several lines as one text, so that what they have in common is said once."""
    least_a: dict[str, float] = {}
    film_ohm: dict[str, float] = {}
    for finding in findings:
        for key, number in finding.numbers.items():
            if key == "wanted_a" or isinstance(number, str):
                continue
            if key.endswith(_FILM):
                film_ohm[key.removesuffix(_FILM)] = number
            else:
                least_a[key] = number
    return _unstated_words(least_a, film_ohm)


def _unstated_words(least_a: Mapping[str, float], film_ohm: Mapping[str, float]) -> str:
    need = least_current(None)
    assert need.least_a is not None
    names = ", ".join(f"{name} {_milli(current_a)}" for name, current_a in least_a.items())
    text = (
        f"The material of these contacts is not stated, and little current flows at the weakest corner: {names}. Gold"
        f" is made for that; plain silver below {_milli(need.least_a)} may keep a film ({need.seen} source, disputed)."
    )
    if film_ohm:
        name = min(film_ohm, key=lambda each: film_ohm[each])
        told = _film_words(film_ohm[name])
        text += f" The tightest is {name}: {told[0].lower()}{told[1:]}"
    return text


def _film_words(film_ohm: float) -> str:
    if math.isinf(film_ohm):
        return "No film makes it lose its meaning."
    return f"It still works with {format_value(film_ohm, 'resistance', digits=2)} in the contact."


def _milli(current_a: float) -> str:
    return format_value(current_a, "current", digits=2)
