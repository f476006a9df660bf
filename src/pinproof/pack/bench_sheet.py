"""The bench sheet on paper: every station in its order, with what it should read and room to write.

Answers: what do I measure next, where do the probes go, what should it show?
Touches: what `typeset` touches; no clock. The same sheet and date give the same bytes.
Beside:  `pinproof.meter` makes the sheet; readings that were taken stand in it, none is ever filled in.
"""

from __future__ import annotations

from datetime import date

from pinproof.meter import BenchSheet
from pinproof.meter.sheet import SheetTable, headline, sheet_tables
from pinproof.meter.stations import STEPS
from pinproof.pack import blocks
from pinproof.pack.blocks import Block
from pinproof.pack.pages import blocks_pdf
from pinproof.pack.sections import CAUTIONS

WIDTHS = (("Probe or do", 3.4), ("Stated", 1.2), ("As built; works", 4.4), ("Read", 1.4), ("Says", 1.1))
RULES = (
    "Stop at the first reading that is not as it should be; find out why before going on.",
    "Write down the whole number with its unit, and OL for an open display. Never fill in what nobody measured.",
    "Take off what the leads show when held together. A beep proves neither a good joint nor a code.",
)


def bench_sheet_pdf(sheet: BenchSheet, *, paper: str = "a4", made_on: date | None = None) -> bytes:
    """The sheet as a PDF. Raises as `pages.blocks_pdf`."""
    name = sheet.truck_name or sheet.truck_id
    tables = sheet_tables(sheet)
    body: list[Block] = [
        blocks.heading(f"Bench sheet of {name}", 1),
        blocks.para(f"{headline(sheet)} Meter: {sheet.meter}. Done by ____________ on ____________", soft=True),
        blocks.care_box("Before you touch the truck", CAUTIONS),
        blocks.bullets((*RULES, *_left_out({each.step for each in tables}))),
    ]
    step = 0
    for each in tables:
        if each.step != step:
            step = each.step
            body.append(blocks.heading(each.title.partition(":")[0], 2))
        body += _table(each)
    body += [blocks.para(each, soft=True) for each in sheet.cut_short]
    when = f" · {made_on.isoformat()}" if made_on else ""
    foot = f"Bench sheet · {name} · design {sheet.truck_id}{when}"
    return blocks_pdf(body, f"Bench sheet of {name}", foot, paper=paper, made_on=made_on)


def _left_out(present: set[int]) -> list[str]:
    """A sentence for the numbers that are missing, so that nobody looks for a lost page."""
    lacking = [str(step) for step in STEPS if step not in present and step < max(present, default=0)]
    if not lacking:
        return []
    which = f"Step {lacking[0]} is" if len(lacking) == 1 else f"Steps {', '.join(lacking)} are"
    return [f"{which} not here: this truck has nothing to measure there."]


def _table(each: SheetTable) -> list[Block]:
    told = " ".join(part for part in (each.setup, *each.cautions) if part)
    out = [blocks.para(told)] if told else []
    rows = [(what, stated, bounds, read, says) for _, what, stated, bounds, read, says in each.rows]
    return [*out, blocks.table(each.probes or "By eye and hand", WIDTHS, rows)]
