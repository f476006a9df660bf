"""A start inhibit in words for a terminal. No sums: what is printed is what a result holds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pinproof.cli.show import hung, wrapped
from pinproof.inhibit.words import (
    SHOUT,
    cell_words,
    fault_words,
    grouped,
    head_words,
    influence_words,
    row_notes,
    severity_words,
)
from pinproof.quantities import format_value

if TYPE_CHECKING:
    from pinproof.inhibit import Comparison, Influence, InhibitReport, Row, StartFault

HEADS = ("lever", "start held", "start off", "unplugged, start held")
MOST_NAMED = 8


def report_words(report: InhibitReport, name: str = "", *, every: bool = False) -> str:
    """The whole report for the terminal: table, defeats first, influence, the rest, cautions."""
    parts = [*_head(report, name), "", *_table(report.table)]
    parts += _defeats(report, every)
    parts += ["", *_influence(report.influence)]
    parts += _others(report, every)
    if report.comparison is not None:
        parts += ["", *comparison_words(report.comparison)]
    parts += ["", *wrapped(f"Not looked at: {'; '.join(report.not_looked_at)}.", "")]
    parts += [line for text in report.assumed for line in wrapped(f"Assumed: {text}", "")]
    parts += ["", "  ALWAYS", *(line for text in report.cautions for line in wrapped(text))]
    return "\n".join(parts)


def _head(report: InhibitReport, name: str) -> list[str]:
    head = head_words(report)
    shouted = "cranks in gear", "no single fault cranks in gear", "the table fails", "the table is not shown"
    loud = next(each for each in shouted if head.startswith(each))
    head = loud.upper() + head[len(loud) :]
    told = f"{name}: " if name else ""
    return wrapped(f"{head}. {told}{report.coil}, form {report.form}.", "")


def _table(rows: Sequence[Row]) -> list[str]:
    lines = [HEADS, *((row.position, *(cell_words(cell) for cell in row.cells)) for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(HEADS))]
    out = [
        "  " + "  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)).rstrip() for line in lines
    ]
    for row in rows:
        for note in row_notes(row):
            out += wrapped(note)
    least = [row for row in rows if row.least_supply_v is not None]
    if least:
        volts = [f"{row.position} {format_value(row.least_supply_v or 0.0, 'voltage', digits=3)}" for row in least]
        out += wrapped(f"Battery volts from which it surely pulls in: {', '.join(volts)}.", "")
    return out


def _defeats(report: InhibitReport, every: bool) -> list[str]:
    out: list[str] = []
    defeats = report.defeats
    for effect in dict.fromkeys(each.effect for each in defeats):
        mine = [each for each in defeats if each.effect == effect]
        out += ["", f"  {SHOUT[effect]} ({len(mine)})"]
        for group in grouped(mine, report.permitted):
            tail = f" ({group.marks})" if group.marks else ""
            out += hung(f"{group.names if every else group.brief}{tail}: {group.harm}.", "    ", "      ")
            out += hung(f"Test: {group.first.test[1]}", "      ", "        ")
            out += hung(f"Cure: {group.first.cure}", "      ", "        ")
    if defeats:
        before, _, last = defeats[0].test
        out += ["", "  TESTS", *wrapped(before), *wrapped(last)]
    return out


def _influence(found: Influence) -> list[str]:
    out = [f"  COMMAND CONTACTS AND THE COIL: {found.verdict.value}"]
    for each in influence_words(found):
        out += wrapped(each)
    return out


def _others(report: InhibitReport, every: bool) -> list[str]:
    out: list[str] = []
    left = [each for each in report.faults if not each.defeat]
    for effect in dict.fromkeys(each.effect for each in left):
        mine = [each for each in left if each.effect == effect]
        out += ["", f"  {SHOUT[effect]} ({len(mine)})"]
        if effect.startswith(("cranks", "keeps")):
            for group in grouped(mine, report.permitted):
                out += hung(f"{group.names if every else group.brief}: {group.harm}.", "    ", "      ")
            continue
        names = [_named(each, every) for each in mine]
        shown = names if every else names[:MOST_NAMED]
        more = f"; and {len(names) - len(shown)} more (--all)" if len(names) > len(shown) else ""
        out += hung("; ".join(shown) + more, "    ", "    ")
    return out


def _named(fault: StartFault, every: bool) -> str:
    ohms = severity_words(fault.no_crank) if every and fault.severity else ""
    return f"{fault_words(fault)} {ohms}".strip()


def comparison_words(found: Comparison) -> list[str]:
    """Forms side by side. None is called safe."""
    heads = ("form", "defeats", "of these in any form", "decades", "open wire", "chafe to ground at the lever")
    rows = [heads]
    for each in found.forms:
        if not each.why:
            rows.append(
                (each.form, str(each.defeats), str(each.inherent), f"{each.decades:.1f}", SHOUT[each.open_wire],
                 SHOUT[each.chafe_to_ground])
            )  # fmt: skip
    widths = [max(len(row[column]) for row in rows) for column in range(len(heads))]
    out = [f"  THE SAME PARTS IN OTHER FORMS (this truck: {found.own})"]
    out += [
        "    " + "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip() for row in rows
    ]
    for each in found.forms:
        if each.why:
            out += wrapped(f"{each.form}: not with these parts, {each.why}.")
        elif each.only_here:
            out += wrapped(f"Defeats only in {each.form}: {'; '.join(each.only_here)}.")
    return out
