"""What `pinproof learn` prints. No sums: what is printed is what a result holds."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Any

from pinproof.cli.cmd_next import wrapped
from pinproof.cli.show import table
from pinproof.learn import Found, LearnedWindow, Session, State, Step, VoltsStep
from pinproof.learn.stock import INF
from pinproof.learn.words import (
    CAUTIONS,
    PREPARE,
    edge_notes,
    edge_rows,
    source_sentences,
    step_text,
    volts_text,
    window_rows,
)

ACCEPT = '--accept "{}"'


def cautions() -> str:
    """What stands before everything."""
    out = ["Before you begin:"]
    for each in CAUTIONS:
        out += wrapped(each, "  - ")
    out += ["", *wrapped(PREPARE[0], "Prepare: "), ""]
    return "\n".join(out)


def volts_step_words(step: VoltsStep, least_ohm: float) -> str:
    """One instruction for volts."""
    return "\n".join(wrapped(volts_text(step, least_ohm), "  "))


def step_words(step: Step, state: State) -> str:
    """One instruction for the search."""
    return "\n".join(wrapped(step_text(step, state), "  "))


def source_words(session: Session, found: Found) -> str:
    """The source with its sum."""
    return "\n".join(line for each in source_sentences(session, found) for line in wrapped(each, "  "))


def edges_words(state: State) -> str:
    """Every edge, per direction; what is not known."""
    heads, rows = edge_rows(state)
    out = [table(rows, heads)] if rows else []
    for each in edge_notes(state, ACCEPT):
        out += wrapped(each, "  ")
    return "\n".join(out)


def window_words(found: tuple[LearnedWindow, ...]) -> str:
    """The windows as they would be written."""
    heads, rows = window_rows(found)
    return table(rows, heads) if rows else ""


def readings_csv(session: Session) -> str:
    """All readings as a table."""
    out = io.StringIO()
    sheet = csv.writer(out, lineterminator="\n")
    sheet.writerow(
        ["kind", "load_ohm", "volts_v", "feed_v", "supply_v", "meaning", "direction", "key_cycle", "set_aside"]
    )
    for each in session.readings:
        load = "open" if each.is_open else f"{each.load_ohm:g}"
        sheet.writerow(["volts", load, each.volts_v, _blank(each.feed_v), _blank(each.supply_v), "", "", "", ""])
    state = session.search
    for visit in state.visits:
        ohm = state.bounds(visit)[1]
        load = "open" if ohm == INF else f"{ohm:.6g}"
        kind = "pot" if visit.join == "pot" else "meaning"
        sheet.writerow([kind, load, "", "", "", visit.meaning, visit.direction, visit.key_cycle, visit.aside])
    return out.getvalue()


def _blank(value: float | None) -> Any:
    return "" if value is None else value


def diff_words(before: str, after: str) -> Iterator[str]:
    """The lines that change."""
    import difflib

    for line in difflib.unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=1):
        if not line.startswith(("---", "+++")):
            yield f"  {line}"
