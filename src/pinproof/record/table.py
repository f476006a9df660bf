"""Readings as a table: what was kept, written out; and what was noted in the field, read in.

Answers: every bad row of a list at once, or all its readings.
Units:   as typed; temperatures as people write them, "12 °C".
Touches: nothing; the text comes from and goes to whoever calls.

Columns read: station and value; if there, note, ambient, taken_utc, design_id and outcome. A sheet that was printed as
CSV and filled in can be read as it is: rows without a value are passed over, and an outcome says that the value was
printed too. Other columns are not looked at.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from pinproof.errors import PinproofError
from pinproof.quantities import parse
from pinproof.record.store import Entry, RecordFault

COLUMNS = (
    "design_id", "taken_utc", "station", "value", "note", "ambient", "si_value", "unit", "error_limit", "meter",
    "fingerprint", "snapshot", "struck_utc", "struck_why",
)  # fmt: skip
MOST_ROWS = 100_000


@dataclass(frozen=True)
class Row:
    """One reading of a list, as typed. `taken_utc` is "" where the list does not say when; `line` counts from 1.

    `judged` is True where the list tells an outcome beside the value: it was on record when the list was printed.
    """

    station: str
    value: str
    note: str = ""
    ambient_c: float | None = None
    taken_utc: str = ""
    line: int = 0
    judged: bool = False


def readings_csv(entries: Iterable[Entry]) -> str:
    """Readings as CSV, in the order given."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for each in entries:
        writer.writerow([
            each.design_id, each.taken_utc, each.station, each.text, each.note,
            "" if each.ambient_c is None else f"{each.ambient_c:g} °C", _number(each.value), each.unit,
            _number(each.error_limit), each.meter, each.fingerprint, each.snapshot, each.struck_utc, each.struck_why,
        ])  # fmt: skip
    return out.getvalue()


def read_rows(text: str, file: str, design_id: str) -> tuple[Row, ...]:
    """Readings of a CSV text.

    Commas, semicolons and tabs are told apart by the head row.

    Raises
    ------
    RecordFault
        Some row is of another design, or cannot be read: all such rows are named, and none is taken.
    """
    lines = text.removeprefix("\ufeff").splitlines()
    head_at = next((i for i, line in enumerate(lines) if line.strip() and not line.startswith("#")), None)
    if head_at is None:
        raise RecordFault(file, "The list is empty.", "It needs a head row with the columns station and value.")
    sign = max(";\t,", key=lambda each: (lines[head_at].count(each), each != ","))
    reader = csv.reader(lines[head_at:], delimiter=sign)
    faults: list[str] = []
    foreign: dict[str, list[int]] = {}
    found: list[Row] = []
    try:
        heads = [cell.strip().lower() for cell in next(reader)]
        if not {"station", "value"} <= set(heads):
            raise RecordFault(
                file, f"The head row has {', '.join(head for head in heads if head) or 'no names'}.",
                "It needs the columns station and value.",
            )  # fmt: skip
        for cells in reader:
            line = head_at + reader.line_num
            row = dict(zip(heads, (cell.strip() for cell in cells), strict=False))
            if len(found) > MOST_ROWS:
                raise RecordFault(file, f"More than {MOST_ROWS} rows.", "Is this the right file?")
            if not row.get("value"):
                continue
            other = row.get("design_id", "")
            if other and other != design_id:
                foreign.setdefault(other, []).append(line)
                continue
            if row.get("struck_utc"):
                continue
            try:
                found.append(_row(row, line))
            except (PinproofError, ValueError) as fault:
                faults.append(f"line {line}: {fault}")
    except csv.Error as error:
        faults.append(f"line {head_at + reader.line_num}: {error}")
    for other, at in foreign.items():
        where = f"line {at[0]} is" if len(at) == 1 else f"{len(at)} rows (the first in line {at[0]}) are"
        faults.insert(0, f'{where} of design "{other}", this truck is "{design_id}"')
    if foreign:
        shown = "; ".join(faults[:10])
        raise RecordFault(
            file, f"{shown}.", "Readings of another truck prove nothing here: take the list of this truck, or take "
            "those rows out.",
        )  # fmt: skip
    if faults:
        shown = "; ".join(faults[:10]) + (f"; and {len(faults) - 10} more" if len(faults) > 10 else "")
        raise RecordFault(file, f"{shown}.", "Mend the list and read it again.")
    if not found:
        raise RecordFault(file, "No row has a value.", "Fill in the column value.")
    return tuple(found)


def _row(row: dict[str, str], line: int) -> Row:
    if not row.get("station"):
        raise ValueError("the station is missing")
    ambient = row.get("ambient", "")
    return Row(
        row["station"], row["value"], row.get("note", ""), parse(ambient, "temperature") if ambient else None,
        utc_text(row["taken_utc"]) if row.get("taken_utc") else "", line, bool(row.get("outcome")),
    )  # fmt: skip


def utc_text(text: str) -> str:
    """A time in ISO 8601 as UTC to the second; ValueError if it is none. Without an offset it is taken as UTC."""
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f'"{text[:40]}" is not a time such as 2026-03-01T18:30:00Z') from None
    if when.tzinfo is None:
        when = when.replace(tzinfo=UTC)
    try:
        return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except OverflowError:
        raise ValueError(f'"{text[:40]}" lies beyond the calendar') from None


def _number(value: float) -> str:
    return "" if math.isnan(value) else repr(value)
