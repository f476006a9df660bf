"""Blocks of a book in US units, for a design that asks for them.

Answers: how do these headings, lists and tables read in inches and degrees Fahrenheit?
Touches: nothing. Drawings stay as they are: they carry their own scales.
Beside:  `pinproof.quantities.customary` turns text.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.pack.blocks import Block, Cell
from pinproof.quantities.customary import head_us, in_us, inches

_BREAK = "\u200b"  # where a printed word may be broken; kept out of a number's way
Runs = list[list[str | bool]]


def blocks_us(body: Sequence[Block]) -> list[Block]:
    """The same blocks in US units: sentences, headings of columns with their numbers, captions."""
    return [_block(table_us(each) if each["kind"] == "table" else each) for each in body]


def table_us(table: Block) -> Block:
    """The same table with its columns of bare millimetres in inches; sentences stay."""
    turned = [head_us(_whole(each)) for each in table["heads"]]
    heads = [new or old for new, old in zip(turned, table["heads"], strict=True)]
    rows = [
        [cell if new is None else _cell_us(cell) for new, cell in zip(turned, row, strict=True)]
        for row in table["rows"]
    ]
    return {**table, "heads": heads, "rows": rows}


def _cell_us(cell: Cell) -> Cell:
    runs = [[inches(_whole(str(text))), strong] for text, strong in cell.get("runs") or []]
    return {**cell, "runs": runs}


def _block(one: Block) -> Block:
    found = dict(one)
    for key in ("text", "title", "caption"):
        if key in found:
            found[key] = in_us(found[key])
    if "runs" in found:
        found["runs"] = _runs(found["runs"])
    for key in ("items", "paras"):
        if key in found:
            found[key] = [_runs(each) for each in found[key]]
    if "rows" in found:
        found["rows"] = [[_cell(cell) for cell in row] for row in found["rows"]]
    return found


def _cell(cell: Cell) -> Cell:
    found = dict(cell)
    if found.get("runs"):
        found["runs"] = _runs(found["runs"])
    if found.get("below"):
        found["below"] = [_runs(each) for each in found["below"]]
    return found


def _runs(runs: Runs) -> Runs:
    return [[in_us(str(text)), strong] for text, strong in runs]


def _whole(text: str) -> str:
    return text.replace(_BREAK, "")
