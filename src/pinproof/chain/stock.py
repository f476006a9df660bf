"""The owner's drawer: a file of resistors, apart from any truck.

Answers: which resistors are at hand, how many, how near to what is printed on them; every bad row of a list at once.
Units:   ohms, ratios.
Touches: the drawer file, in `load_drawer` and `save_drawer`; written whole or not at all, the former kept as .bak.
Beside:  `pinproof.choose.drawer` makes resistances from it.

A part whose ohms were measured counts by its measured ohms and the meter's error, unless that is wider than what is
printed on it. The meter is written as meters' data sheets write it: "0.8 % + 2" is 0.8 % of the reading plus two counts
of the last digit that was noted. Where no meter is stated 1 % + 3 is taken: usual for a common handheld meter (common
practice, no source).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from pathlib import Path

from pinproof.choose.drawer import Drawer, Part
from pinproof.design.edit import to_toml
from pinproof.design.load import decode, read_bytes, text_hash, toml_of
from pinproof.design.save import save_atomic
from pinproof.errors import PinproofError, QuantityFault, printable
from pinproof.meter.instrument import error_limit
from pinproof.quantities import parse

MOST_PARTS = 1000
MOST_COUNT = 1_000_000
MOST_SHOWN = 20
LONGEST_LABEL = 80
LONGEST_METER = 200
COLUMNS = ("ohm", "tolerance", "count", "measured_ohm", "meter", "label")
USUAL_METER = "1 % + 3"
_METER = re.compile(r"±?\s*([0-9]+(?:[.,][0-9]+)?)\s*%\s*(?:\+\s*([0-9]{1,3})\b)?")
_HEADS = {"ohms": "ohm", "value": "ohm", "resistance": "ohm", "r": "ohm", "tol": "tolerance", "qty": "count",
          "number": "count", "pieces": "count", "measured": "measured_ohm", "name": "label"}  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One kind of part as the owner wrote it. `tolerance` or `measured_ohm` must be there; "" is not stated."""

    ohm: str
    tolerance: str = ""
    count: int = 1
    measured_ohm: str = ""
    meter: str = ""
    label: str = ""

    def part(self) -> Part:
        """The part, for choosing.

        Raises
        ------
        QuantityFault
            A text is not the quantity it should be.
        ValueError
            The numbers do not make a part.
        """
        ohm = parse(self.ohm, "resistance")
        reach = parse(self.tolerance, "tolerance") if self.tolerance else None
        if reach is not None and not reach < 1.0:
            raise ValueError(f"a tolerance of {self.tolerance} cannot be; it must be below 100 %")
        if not ohm > 0.0:
            raise ValueError("a resistor has more than 0 ohms")
        if self.measured_ohm:
            measured = parse(self.measured_ohm, "resistance")
            if not measured > 0.0:
                raise ValueError("measured ohms must be above 0")
            off_ohm = meter_error_ohm(self.measured_ohm, self.meter or USUAL_METER)
            if reach is not None and abs(measured - ohm) > reach * ohm + off_ohm:
                raise ValueError(
                    f"{self.measured_ohm} cannot be measured on a part of {self.ohm} within {self.tolerance}. "
                    "Is it another part? If it is this one, leave out the tolerance"
                )
            if reach is None or off_ohm < reach * ohm:
                return Part(ohm, None, self.count, self.label, measured, off_ohm)
        elif reach is None:
            raise ValueError("state a tolerance or measured ohms")
        return Part(ohm, reach, self.count, self.label)


@dataclass
class DrawerFault(PinproofError):
    """Everything wrong with a list of parts; nothing was written."""

    file: str
    faults: tuple[tuple[int, str], ...]  # line from 1, 0 for the whole file; what is wrong

    def __str__(self) -> str:
        shown = [printable(f"{self.file}:{line}  {said}" if line else f"{self.file}  {said}")
                 for line, said in self.faults]  # fmt: skip
        if len(shown) > MOST_SHOWN:
            shown = [*shown[:MOST_SHOWN], f"… and {len(shown) - MOST_SHOWN} more."]
        return "\n".join([*shown, "Nothing was written; the drawer is as it was."])


def meter_error_ohm(reading: str, meter: str) -> float:
    """Error of a meter at a reading, both as written: "1.497k", "0.8 % + 2" gives 13.976 Ω.

    Raises
    ------
    QuantityFault
        The meter's data cannot be read.
    """
    hit = _METER.search(meter) if len(meter) <= LONGEST_METER else None
    if hit is None:
        raise QuantityFault(meter[:LONGEST_LABEL], 'a meter\'s accuracy, such as "0.8 % + 2"')
    counts = int(hit[2] or 0)
    relative = float(hit[1].replace(",", ".")) / 100.0
    return error_limit(parse(reading, "resistance"), relative, counts, last_digit_ohm(reading))


def last_digit_ohm(reading: str) -> float:
    """What one count of the last noted digit is worth: "1.497k" gives 1 Ω. [Ω]"""
    digits = re.match(r"\s*([0-9]*)([.,kKMRr]?)([0-9]*)", reading)
    places = len(digits[3]) if digits is not None and digits[2] else 0
    number = re.match(r"\s*[0-9.,]+", reading)
    if digits is None or number is None:
        return 0.0
    if digits[2] in ("k", "K", "M", "R", "r") and digits[3]:  # "4k7": the letter stands for the point
        unit_ohm = {"k": 1e3, "m": 1e6, "r": 1.0}[digits[2].lower()]
        return float(unit_ohm * 10.0**-places)
    whole = number[0].strip().replace(",", ".")
    try:
        written = Decimal(whole)
    except InvalidOperation:
        return 0.0
    if not written:
        return 0.0
    return parse(reading, "resistance") / float(written) * 10.0 ** -(places if digits[2] in ".," else 0)


def merged(rows: Iterable[Row]) -> tuple[Row, ...]:
    """Equal parts as one row with their counts added; measured ones only where label and reading agree."""
    found: dict[tuple[object, ...], Row] = {}
    for row in rows:
        part = row.part()
        key = (part.ohm, part.tolerance, part.measured_ohm, part.measured_uncertainty_ohm, row.label)
        found[key] = replace(found[key], count=found[key].count + row.count) if key in found else row
    return tuple(sorted(found.values(), key=lambda row: (row.part().nominal_ohm, row.label)))


def drawer_of(rows: Sequence[Row]) -> Drawer:
    """The drawer that these rows are."""
    return Drawer(tuple(row.part() for row in rows))


def load_drawer(path: str | Path) -> Drawer:
    """The drawer in a file.

    Raises
    ------
    DrawerFault
        All that is wrong with the file at once.
    DesignFault
        There is no such file, or it is no text.
    """
    return drawer_of(load_rows(path)[0])


def load_rows(path: str | Path) -> tuple[tuple[Row, ...], str]:
    """The rows of a drawer file and the hash of its bytes."""
    data = read_bytes(str(path))
    file = Path(path).name
    text = decode(data, file).removeprefix("\ufeff")
    try:
        raw = toml_of(text)
    except (ValueError, RecursionError) as error:
        raise DrawerFault(file, ((0, f"This is not a drawer file: {error}"),)) from None
    listed = raw.get("part", [])
    wrong = [key for key in raw if key not in ("format", "part")]
    if wrong or not isinstance(listed, list) or raw.get("format") != 1:
        raise DrawerFault(file, ((0, "This is not a drawer file: it needs format = 1 and a list of [[part]]."),))
    faults: list[tuple[int, str]] = []
    rows: list[Row] = []
    for number, entry in enumerate(listed, start=1):
        try:
            rows.append(_from_table(entry))
        except (PinproofError, ValueError) as fault:
            faults.append((0, f"part {number}: {fault}"))
    if faults:
        raise DrawerFault(file, tuple(faults))
    return tuple(rows), text_hash(data)


def _from_table(entry: object) -> Row:
    if not isinstance(entry, dict):
        raise ValueError("this is not a table")
    unknown = [key for key in entry if key not in COLUMNS]
    if unknown:
        raise ValueError(f'there is no "{unknown[0]}" in a part; there are {", ".join(COLUMNS)}')
    count = entry.get("count", 1)
    if isinstance(count, bool) or not isinstance(count, int):
        raise ValueError("count is a whole number")
    return read_row({key: str(value) for key, value in entry.items()})


def drawer_text(rows: Sequence[Row]) -> str:
    """A drawer file."""
    out = ["# Resistors at hand. Written by pinproof; may be edited by hand.", "format = 1"]
    for row in rows:
        out += ["", "[[part]]"]
        for key in COLUMNS:
            value = getattr(row, key)
            if value != "":
                out.append(f"{key} = {to_toml(value)}")
    return "\n".join(out) + "\n"


def save_drawer(path: str | Path, rows: Sequence[Row], expected_hash: str | None) -> None:
    """Write a drawer file whole; `expected_hash` is that of the file as it was read, None if there was none.

    Raises
    ------
    ChangedUnderneath, SaveFailed
        As `pinproof.design.save.save_atomic`; the file is as it was.
    """
    save_atomic(path, drawer_text(rows), expected_hash)


def read_row(cells: dict[str, str]) -> Row:
    """One row from texts by column.

    Raises
    ------
    QuantityFault, ValueError
        What is wrong with it.
    """
    count_text = cells.get("count", "").strip() or "1"
    if not re.fullmatch(r"[0-9]{1,9}", count_text) or not 1 <= int(count_text) <= MOST_COUNT:
        raise ValueError(f'count "{count_text[:20]}" is not a whole number from 1 to {MOST_COUNT}')
    ohm = _with_unit(cells.get("ohm", "").strip(), "ohm")
    if not ohm:
        raise ValueError("ohm is missing")
    label = " ".join("".join(sign for sign in cells.get("label", "") if sign.isprintable()).split())[:LONGEST_LABEL]
    row = Row(
        ohm, _with_unit(cells.get("tolerance", "").strip(), "%"), int(count_text),
        _with_unit(cells.get("measured_ohm", "").strip(), "ohm"), cells.get("meter", "").strip(), label,
    )  # fmt: skip
    row.part()
    return row


def _with_unit(text: str, unit: str) -> str:
    """A bare number in a column that names its unit gets that unit."""
    return f"{text} {unit}" if re.fullmatch(r"[0-9.,]+", text) else text


def read_csv(data: bytes, file: str) -> tuple[Row, ...]:
    """Rows of a table of parts: columns ohm, tolerance, count, measured_ohm, meter, label; with a head row or without.

    Commas, semicolons and tabs are told apart by the head row, or the first one; with semicolons or tabs a comma may
    stand for the decimal point.

    Raises
    ------
    DrawerFault
        Every bad row with its line.
    """
    text = decode(data, file).removeprefix("\ufeff")
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        raise DrawerFault(file, ((0, f"The file lists nothing. Its columns are {', '.join(COLUMNS)}."),))
    sign = max(";\t,", key=lambda each: (lines[0].count(each), each != ","))
    heads: list[str] | None = None
    faults: list[tuple[int, str]] = []
    rows: list[Row] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=sign, skipinitialspace=True)
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error as fault:
            faults.append((reader.line_num, f"This row cannot be read: {fault}."))
            break
        cells = [cell.strip() for cell in cells]
        if not any(cells) or cells[0].startswith("#"):
            continue
        if heads is None:
            heads = _heads(cells)
            if heads:
                bad = [cell for cell, head in zip(cells, heads, strict=True) if head not in COLUMNS]
                if bad:
                    known = ", ".join(COLUMNS)
                    said = f'There is no column "{bad[0][:40]}"; there are {known}.'
                    raise DrawerFault(file, ((reader.line_num, said),))
                continue
            heads = list(COLUMNS)
        if len(cells) > len(heads) and any(cells[len(heads) :]):
            hint = ' A decimal comma needs ";" between the columns.' if sign == "," else ""
            faults.append((reader.line_num, f"{len(cells)} cells where {len(heads)} columns are.{hint}"))
            continue
        try:
            rows.append(read_row(dict(zip(heads, cells, strict=False))))
        except (PinproofError, ValueError) as fault:
            faults.append((reader.line_num, str(fault)))
        if len(rows) > MOST_PARTS:
            raise DrawerFault(file, ((reader.line_num, f"More than {MOST_PARTS} rows. Is this the right file?"),))
    if not rows and not faults:
        faults.append((0, f"The file has a head row and nothing under it. Its columns are {', '.join(COLUMNS)}."))
    if faults:
        raise DrawerFault(file, tuple(faults))
    return tuple(rows)


def _heads(cells: Sequence[str]) -> list[str]:
    """Column names of a head row; empty if the row is no head row."""
    bare = [re.sub(r"[\[(].*?[\])]|Ω|%", "", cell).strip().lower() for cell in cells]
    names = [re.sub(r"[\s_]+", "_", cell).strip("_") for cell in bare]
    known = [_HEADS.get(name, name) for name in names]
    return known if "ohm" in known else []
