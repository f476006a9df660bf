"""Lists for a spreadsheet: situations, parts, order, drift budgets.

Answers: the same results as plain rows, each quantity in a column whose head names its unit.
Units:   as each head says; "inf" for an infinite number, an empty cell for one that is not known.
Touches: nothing.
Sources: RFC 4180 for commas, quotes and line ends. UTF-8 without a byte order mark.

A text that begins like a formula gets an apostrophe in front, so that no spreadsheet runs what a file brought along.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence

from pinproof.design.model import Truck
from pinproof.drawings import words
from pinproof.drawings.axis import axis_of
from pinproof.drawings.measure import one_line
from pinproof.pack.bench import BenchRow, bench_rows
from pinproof.pack.order import bodies_of, order_of
from pinproof.pack.parts import parts_of
from pinproof.proof.results import TruckProof
from pinproof.wiring import LineView

Cell = str | float | int | bool | None
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def cell(content: Cell) -> str:
    """One cell: numbers with nine digits, texts in one line and never a formula."""
    if content is None:
        return ""
    if isinstance(content, bool):
        return "yes" if content else "no"
    if isinstance(content, int):
        return str(content)
    if isinstance(content, float):
        return "" if math.isnan(content) else f"{content:.9g}"
    text = one_line(content)
    return f"'{text}" if text.lstrip().startswith(_FORMULA) else text


def csv_text(heads: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """A whole list."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows([cell(each) for each in row] for row in rows)
    return out.getvalue()


def lists(truck: Truck, proof: TruckProof, views: Mapping[str, LineView]) -> dict[str, str]:
    """Every list by its file's name."""
    return {
        "situations.csv": situations_csv(truck, proof, views),
        "parts.csv": parts_csv(truck, proof),
        "order.csv": order_csv(truck, proof),
        "budgets.csv": budgets_csv(proof),
    }


def situations_csv(truck: Truck, proof: TruckProof, views: Mapping[str, LineView]) -> str:
    """Every situation of every line in every key state and reading space, with its ohms at the plug."""
    heads = (
        "line", "key_state", "reads_as_share_of", "operated", "may_read", "verdict", "margin_percent", "weakest_link",
        "low_percent", "nominal_percent", "high_percent", "low_v", "nominal_v", "high_v", "bound_exact",
        "plug_low_ohm", "plug_nominal_ohm", "plug_high_ohm",
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for line in proof.lines:
        measured = {each.operated: each for each in bench_rows(views[line.line])}
        for row in line.situations:
            space = axis_of(truck, truck.line(line.line), row.space, "as given").space
            reads = (row.low, row.nominal, row.high)
            shares = tuple(each / space.full_scale * 100.0 for each in reads)
            volts = tuple(each * space.divisor_nominal_v for each in reads)
            divided = space.divisor is not None
            rows.append(
                (
                    line.line, row.key_state, row.space if divided else "nothing (plain volts)",
                    words.operated(row.operated), words.either(words.allowed(row)), words.VERDICTS[row.verdict],
                    row.margin * 100.0, words.parameter(row.weakest), *(shares if divided else (None,) * 3), *volts,
                    row.exact, *_ohms(measured.get(row.operated)),
                )
            )  # fmt: skip
    return csv_text(heads, rows)


def _ohms(row: BenchRow | None) -> tuple[Cell, ...]:
    return (None, None, None) if row is None else (row.low_ohm, row.nominal_ohm, row.high_ohm)


def parts_csv(truck: Truck, proof: TruckProof) -> str:
    """Every coder resistor at its place."""
    heads = (
        "place", "line", "value_ohm", "tolerance_percent", "bands", "bands_from_the_other_end", "letter_code", "body_w",
        "fixed", "basis", "design_path",
    )  # fmt: skip
    bodies = bodies_of(truck, proof)
    return csv_text(
        heads,
        [
            (
                part.where, part.line, part.ohm, part.tolerance_ratio * 100.0, part.colours, part.trap, part.code,
                bodies.get(part.path), part.fixed, part.basis, part.path,
            )
            for part in parts_of(truck)
        ],
    )  # fmt: skip


def order_csv(truck: Truck, proof: TruckProof) -> str:
    """What to buy, what must be ordered today first."""
    heads = (
        "order_today", "what", "letter_code", "value_ohm", "tolerance_percent", "body_w", "needed_count",
        "spares_count", "order_count", "why_today", "goes_to",
    )  # fmt: skip
    return csv_text(
        heads,
        [
            (
                bool(each.today), each.what, each.code, each.ohm,
                None if each.tolerance is None else each.tolerance * 100.0, each.body_w, each.needed, each.spares,
                each.count, each.today, ", ".join(each.goes_to),
            )
            for each in order_of(truck, proof)
        ],
    )  # fmt: skip


def budgets_csv(proof: TruckProof) -> str:
    """Every drift budget of every situation."""
    heads = (
        "line", "reads_as_share_of", "operated", "parameter", "design_path", "direction", "counted_on_ohm",
        "meaning_sure_to_ohm", "false_command_from_ohm", "counted_on_v", "meaning_sure_to_v", "false_command_from_v",
        "false_command", "basis", "room_in_usual_errors",
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for line in proof.lines:
        for row in line.situations:
            for each in row.budgets:
                numbers: tuple[Cell, ...] = (each.end, each.lost_at, each.false_at)
                empty: tuple[Cell, ...] = (None, None, None)
                rows.append(
                    (
                        line.line, row.space, words.operated(row.operated), words.parameter(each.parameter),
                        each.parameter, each.direction, *(numbers if each.unit == "ohm" else empty),
                        *(numbers if each.unit == "V" else empty), each.false_as, each.basis, each.strain,
                    )
                )  # fmt: skip
    return csv_text(heads, rows)
