"""The bench sheet on paper: every station in its order, with what it should read and room to write.

Answers: what do I measure next, where do the probes go, what should it show?
Touches: what `typeset` touches; no clock. The same sheet and date give the same bytes.
Beside:  `pinproof.meter` makes the sheet; readings that were taken stand in it, none is ever filled in.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import groupby

from pinproof.meter import BenchSheet
from pinproof.meter.sheet import SheetTable, headline, sheet_tables
from pinproof.meter.stations import STEPS
from pinproof.pack import blocks
from pinproof.pack.blocks import Block, Cell
from pinproof.pack.pages import blocks_pdf
from pinproof.pack.sections import CAUTIONS

WIDTHS = (("Probe or do", 3.4), ("Stated", 1.2), ("As built; works", 3.8), ("Read", 2.0), ("Says", 1.1))
RULES = (
    "Stop at the first reading that is not as it should be; find out why before going on.",
    "Write down the whole number with its unit, and OL for an open display. Never fill in what nobody measured.",
    "Take off what the leads show when held together. A beep proves neither a good joint nor a code.",
)


def bench_sheet_pdf(sheet: BenchSheet, *, paper: str = "a4", made_on: date | None = None) -> bytes:
    """The sheet as a PDF. Raises as `pages.blocks_pdf`."""
    name = sheet.truck_name or sheet.truck_id
    when = f" · {made_on.isoformat()}" if made_on else ""
    foot = f"Bench sheet · {name} · design {sheet.truck_id}{when}"
    return blocks_pdf(bench_blocks(sheet), f"Bench sheet of {name}", foot, paper=paper, made_on=made_on)


def bench_blocks(sheet: BenchSheet) -> list[Block]:
    """What the sheet says, step by step."""
    name = sheet.truck_name or sheet.truck_id
    tables = sheet_tables(sheet)
    body: list[Block] = [
        blocks.heading(f"Bench sheet of {name}", 1),
        blocks.para(f"{headline(sheet)} Meter: {sheet.meter}. Done by ____________ on ____________", soft=True),
        blocks.care_box("Before you touch the truck", CAUTIONS),
        blocks.bullets((*RULES, *_left_out({each.step for each in tables}))),
    ]
    for step, its in groupby(tables, key=lambda each: each.step):
        body.append(blocks.heading(f"{step} {STEPS[step]}", 2))
        for alone, group in groupby(list(its), key=_alone):
            some = list(group)
            body += _joined(some) if alone else [block for each in some for block in _table(each)]
    return body + [blocks.para(each, soft=True) for each in sheet.cut_short]


def _left_out(present: set[int]) -> list[str]:
    """A sentence for the numbers that are missing, so that nobody looks for a lost page."""
    lacking = [str(step) for step in STEPS if step not in present and step < max(present, default=0)]
    if not lacking:
        return []
    which = f"Step {lacking[0]} is" if len(lacking) == 1 else f"Steps {', '.join(lacking)} are"
    return [f"{which} not here: this truck has nothing to measure there."]


def _alone(each: SheetTable) -> bool:
    """One row whose probes no other row has: a head of its own would say less than the row."""
    return len(each.rows) == 1


def _joined(tables: Sequence[SheetTable]) -> list[Block]:
    """Tables of one row each under one head; each row says its own probes."""
    if len(tables) == 1:
        return _table(tables[0])
    told = dict.fromkeys(part for each in tables for part in _told(each))
    out: list[Block] = [blocks.para(" ".join(told), leads=True)] if told else []
    rows = [
        (blocks.told_cell(what, [each.probes] if each.probes else []), *cells)
        for each in tables
        for what, *cells in _cells(each)
    ]
    return [*out, blocks.table("Probes as each row says", WIDTHS, rows)]


def _table(each: SheetTable) -> list[Block]:
    out: list[Block] = [blocks.para(" ".join(_told(each)), leads=True)] if _told(each) else []
    return [*out, blocks.table(each.probes or "By eye and hand", WIDTHS, _cells(each))]


def _told(each: SheetTable) -> list[str]:
    return [part for part in (each.setup, *each.cautions) if part]


def _cells(each: SheetTable) -> list[tuple[str, str, str, str | Cell, str]]:
    """Rows for print: where nothing was read yet there is room to write."""
    return [
        (what, stated, bounds, read or blocks.blank_cell(), says) for _, what, stated, bounds, read, says in each.rows
    ]
