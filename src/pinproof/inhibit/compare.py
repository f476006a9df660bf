"""The same parts in other forms, side by side.

Answers: how many single faults defeat each form, which only there, how wide their severities are, what an open wire and
         a chafe to ground of the lever's wire do.
Units:   decades of severity.
Touches: nothing.
Must not: call a form safe.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pinproof.inhibit.chains import FORMS, StartCircuit, built, form_of, in_form
from pinproof.inhibit.circuit import Circuit
from pinproof.inhibit.defeats import fault_effects
from pinproof.inhibit.results import EFFECTS, Comparison, FormResult, StartFault
from pinproof.inhibit.sets import decades
from pinproof.inhibit.table import truth_table
from pinproof.verdict import worst

FROM_OHM, TO_OHM = 10e-3, 1e6
"""Severities between which widths are compared. Common practice, no source. [Ω]"""


def compare(start: StartCircuit, forms: Sequence[str] = FORMS) -> Comparison:
    """Each form of the same parts, or why it cannot be made of them."""
    results: list[FormResult] = []
    for form in forms:
        made = in_form(start, form)
        if isinstance(made, str):
            results.append(FormResult(form, 0, 0, 0, 0.0, (), (), "", "", None, made))
        else:
            results.append(_result(form, built(made)))
    return Comparison(form_of(start), tuple(replace(each, only_here=_only(each, results)) for each in results))


def _only(one: FormResult, results: Sequence[FormResult]) -> tuple[str, ...]:
    others = [each for each in results if each.form != one.form and not each.why]
    common = set(others[0].ids).union(*(each.ids for each in others)) if others else set()
    return tuple(name for name in one.ids if others and name not in common)


def _result(form: str, circuit: Circuit) -> FormResult:
    table = truth_table(circuit)
    faults = fault_effects(circuit, table)
    defeats = [each for each in faults if each.defeat]
    return FormResult(
        form,
        len(defeats),
        sum(each.inherent for each in defeats),
        sum(each.shown for each in defeats),
        sum(decades(each.harmful(), FROM_OHM, TO_OHM) for each in defeats if each.severity),
        (),
        tuple(each.id for each in defeats),
        _at_switch(circuit, faults, "chafed-to-ground"),
        _worst_of([each for each in faults if each.kind == "open"]),
        worst(cell.verdict for row in table for cell in row.cells),
    )


def _at_switch(circuit: Circuit, faults: Sequence[StartFault], kind: str) -> str:
    """Worst that such a fault of a net at the position switch or the permitting driver does."""
    ends = {
        end
        for each in circuit.branches
        if each.by == "lever" and each.kind in ("switch", "driver")
        for end in (each.a, each.b)
    }
    hubs = {each.a for each in circuit.branches if each.kind == "wire" and each.b in ends}
    names = {name for name, node in circuit.nets if node in hubs}
    return _worst_of([each for each in faults if each.kind == kind and each.site in names])


def _worst_of(faults: Sequence[StartFault]) -> str:
    return min((each.effect for each in faults), key=EFFECTS.index, default="none")
