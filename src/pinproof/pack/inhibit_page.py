"""The start inhibit in the book: where it cranks, which faults let it crank in gear, and the tests that find them.

Answers: is the truth table as wanted, what can go wrong unnoticed, what to measure before the event?
Touches: nothing.
Beside:  `pinproof.inhibit` proves it; whoever writes the pack hands the report over: nothing is worked out here.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.inhibit import InhibitReport, Row
from pinproof.inhibit.words import SHOUT, Group, cell_words, grouped, influence_words
from pinproof.pack import blocks
from pinproof.pack.blocks import Block
from pinproof.verdict import Verdict

HEADS = ("Lever", "Start held", "Start off", "Lever unplugged, start held")
DEFEATS = ("Fault", "Cranks", "Test")
MOST_OTHERS = 6


def book_blocks(report: InhibitReport | None) -> list[Block]:
    """The start inhibit's pages; nothing without one."""
    if report is None:
        return []
    body = [blocks.heading("Start inhibit", 2), blocks.para(_summary(report))]
    body.append(blocks.table(f"Where {report.coil} cranks, and its coil's volts", _columns(HEADS, (0, 3, 3, 3)),
                             [_row(each) for each in report.table]))  # fmt: skip
    if report.defeats:
        before, _, last = report.defeats[0].test
        body.append(blocks.care_box("Before you test it", [before, last]))
        for effect in dict.fromkeys(each.effect for each in report.defeats):
            mine = [each for each in report.defeats if each.effect == effect]
            rows = [_defeat(each) for each in grouped(mine, report.permitted)]
            body.append(blocks.table(f"{SHOUT[effect]} ({len(mine)})", _columns(DEFEATS, (2.6, 3.2, 4.2)), rows))
        body.append(blocks.para(_cures(report)))
    body.append(blocks.para(_influence(report)))
    body.append(blocks.bullets(report.cautions))
    told = [f"Not looked at: {'; '.join(report.not_looked_at)}.", *(f"Assumed: {each}" for each in report.assumed)]
    body.append(blocks.para(" ".join(told), soft=True))
    return body


def cover_words(report: InhibitReport | None) -> str:
    """The start inhibit's verdict for the book's front; "" where there is none or it is proven."""
    if report is None or report.verdict is Verdict.PASS:
        return ""
    return f"Start inhibit: {_summary(report).partition('. ')[2]} See its chapter."


def _columns(heads: Sequence[str], widths: Sequence[float]) -> tuple[tuple[str, float], ...]:
    return tuple(zip(heads, widths, strict=True))


def _summary(report: InhibitReport) -> str:
    cells = [cell.verdict for row in report.table for cell in row.cells]
    held = sum(each is Verdict.PASS for each in cells)
    told = f"{report.coil}, form {report.form}; it may crank in {' and '.join(report.permitted)}. "
    told += f"{held} of {len(cells)} cells of the table hold. "
    hidden = sum(each.hidden for each in report.defeats)
    if not report.defeats:
        return told + "No single fault of those looked at lets it crank in gear."
    told += f"{len(report.defeats)} of {len(report.faults)} single faults let it crank in gear"
    return told + (f"; of {hidden} of them nobody notices anything before." if hidden else ".")


def _row(row: Row) -> list[str | blocks.Cell]:
    cells = [blocks.marked_cell(cell.verdict, cell_words(cell)) for cell in row.cells]
    return [blocks.name_cell(row.position), *cells]


def _defeat(group: Group) -> list[str | blocks.Cell]:
    marks = f" ({group.marks})" if group.marks else ""
    return [blocks.name_cell(f"{group.brief}{marks}"), f"{group.harm}.", group.first.test[1]]


def _cures(report: InhibitReport) -> str:
    listed = dict.fromkeys(each.cure for each in report.defeats)
    return f"What helps: {' '.join(listed)}"


def _influence(report: InhibitReport) -> str:
    return f"Buttons and the coil: {report.influence.verdict.value}. {' '.join(influence_words(report.influence))}"
