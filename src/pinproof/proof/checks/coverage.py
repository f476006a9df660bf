"""Check `coverage`: is every command that a contact asks for judged at all?

Answers: which contacts' commands stand in no situation that must read them.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.proof.checks.common import listed
from pinproof.proof.judging import Judged
from pinproof.proof.results import Finding
from pinproof.verdict import Verdict
from pinproof.wiring import LineView

NAME = "coverage"


def coverage(view: LineView, judged: Sequence[Judged]) -> tuple[Finding, ...]:
    """One finding for each contact whose command no situation must read: nothing was proven of it."""
    judged_sets = {
        situation.key
        for state in judged
        if state.key_state == "run"
        for situation, need in zip(state.situations, state.requirements, strict=True)
        if need.how == "inside"
    }
    out = []
    for contact in view.truck.contacts_of(view.line):
        if contact.command_set in judged_sets or any(contact.id in key for key in judged_sets):
            continue
        together = listed(sorted(contact.command_set))
        text = (
            f"Nothing was proven of {contact.id}: its command `{contact.asks}` is meant with {together} operated and "
            "nothing else, and that cannot happen by what the file says."
        )
        cure = f"See `with` and `only_when` of {contact.id}: what must be operated before it belongs in both."
        out.append(Finding(NAME, Verdict.NOT_SHOWN, contact.id, text, {}, cure))
    return tuple(out)
