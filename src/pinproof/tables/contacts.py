"""Switch contacts: the loads they are meant for, their resistance, their bounce.

Answers: does 0.5 mA keep a silver contact clean, what does a new contact measure, how long may it bounce?
Units:   V, A, Ω, s.
Touches: the data files beside this module.
"""

from __future__ import annotations

from dataclasses import dataclass

from pinproof.errors import OutOfTable
from pinproof.tables.load import Figure, Sourced, load


@dataclass(frozen=True, kw_only=True)
class ContactLoad(Sourced):
    """A load for contacts. `meaning` is "least" (a minimum), "most" (an upper limit) or "rated" (tested at). [V, A]"""

    kind: str
    volts: float
    amperes: float
    meaning: str


def contact_kinds() -> tuple[str, ...]:
    """The kinds of load the table has."""
    return load("switch_contacts").column_values("kind")


def contact_load(kind: str) -> ContactLoad:
    """Load of kind "low level", "logic level", "silver" or "silver, catalogue rule"; the last is from memory."""
    table = load("switch_contacts")
    row = table.row(kind)
    return ContactLoad(
        kind=kind,
        volts=row["volts"],
        amperes=row["amperes"],
        meaning=row["meaning"],
        source=row["row_source"],
        seen=row["row_seen"],
        note=table.note if kind.startswith("silver") else "",
    )


def contact_figure(name: str) -> Figure:
    """One of "new_contact", "low_level_contact" [Ω], "usual_bounce", "longest_bounce" [s], "silver_doubtful_below" [A].

    OutOfTable for another name.
    """
    table = load("switch_behaviour")
    figures = table.facts["figures"]
    if name not in figures:
        raise OutOfTable(table.title, f'"{name}"', ", ".join(figures))
    return Figure(**figures[name])
