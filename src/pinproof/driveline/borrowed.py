"""A table from another truck, converted to this one and marked cell by cell.

Answers: which number to enter here so that the engine turns as in the donor, and which cells are unsafe or pointless?
Units:   m/s, or rpm where the key is output speed; the table's own unit in words.
Touches: nothing; the CSV text comes from whoever calls.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pinproof.design.model import Truck
from pinproof.design.model_drive import Borrowed, Drive, Geared
from pinproof.driveline.lines import KM_H, MPH, above_most, permitted, road, rpm
from pinproof.driveline.results import Cell, Check, Converted, DriveSums, Mark
from pinproof.driveline.span import Span, remains
from pinproof.driveline.speeds import HUNTS_BELOW, engine_rpm, output_rpm, road_speed, separation
from pinproof.driveline.stated import DriveFault, around_m, drive_of, reduction_of
from pinproof.driveline.sums import drive_sums
from pinproof.driveline.tyre import rolled
from pinproof.errors import PinproofError, printable
from pinproof.quantities import parse
from pinproof.verdict import Verdict

MOST_ROWS, MOST_COLUMNS, LONGEST_CELL = 500, 60, 64
_SHIFT = re.compile(r"\s*(.+?)\s*(?:->|>|→|-|–|\bto\b)\s*(.+?)\s*")
_GEAR = re.compile(r"\s*(?:gear\s*)?(.+?)\s*", re.I)
_ONE = {"km/h": KM_H, "mph": MPH, "m/s": 1.0, "rpm": 1.0}  # one of the unit, in m/s or rpm
_DIGITS = {"km/h": 1, "mph": 1, "m/s": 1, "rpm": 0}  # what is entered is rounded to so many decimals


def convert(truck: Truck, borrowed: Borrowed, text: str) -> tuple[Converted, ...]:
    """Convert a table, once for each range of the transfer case.

    Parameters
    ----------
    truck : Truck
        This truck, with a driveline.
    borrowed : Borrowed
        One of `truck.drive.borrowed`.
    text : str
        The CSV file's text.

    Raises
    ------
    DriveFault
        Every row that cannot be read.
    """
    table, sums, drive = _read(text, borrowed), drive_sums(truck), drive_of(truck)
    return tuple(_converted(table, _Work(drive, borrowed, sums, transfer)) for transfer in drive.transfers)


def _converted(table: _Table, work: _Work) -> Converted:
    borrowed = work.borrowed
    rows, faults = [], []
    for line, head, cells in table.rows:
        try:
            rows.append(work.row(line, head, cells, table.columns))
        except (PinproofError, ValueError) as fault:
            faults.append(f"line {line}: {fault}")
    if faults:
        more = [f"and {len(faults) - 20} more lines"] if len(faults) > 20 else []
        raise DriveFault(borrowed.file, (*faults[:20], *more))
    done = tuple(rows)
    if borrowed.holds == "shift speeds":
        done = _hunting(done, [each.name for each in work.drive.gears])
    return Converted(
        borrowed.id, work.transfer.name,
        borrowed.file, borrowed.keyed_by, borrowed.unit, borrowed.holds, table.columns, done, work.scale,
        work.notes(done),
    )  # fmt: skip


def converted_csv(tables: Sequence[Converted]) -> str:
    """A converted table as CSV, one row for each cell of each range: what to enter, its range, the mark and why."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    found = tables[0]
    writer.writerow(
        ["range", "row", "column", f"donor [{found.unit}]", f"enter [{found.unit}]", "low", "high", "mark", "why"]
    )
    step, digits = _ONE[found.unit], _DIGITS[found.unit]
    for found in tables:
        for head, cells in found.rows:
            for cell in cells:
                if not cell.read:
                    continue
                span = cell.converted
                ends = ["", ""] if span is None else [f"{end / step:.{digits}f}" for end in (span.low, span.high)]
                shown = [found.transfer, head, cell.column, cell.read, cell.enter_text, *ends, cell.mark, cell.why]
                writer.writerow(shown)
    return out.getvalue()


def table_check(found: Converted) -> Check:
    """One judgement of a whole table."""
    subject = f"{found.id}, {found.transfer}"
    counts = [(mark, found.count(mark)) for mark in ("unsafe", "hunts", "pointless", "not known")]
    said = ", ".join(f"{count} {mark}" for mark, count in counts if count)
    if not said:
        return Check("borrowed table", subject, Verdict.PASS, f"All {len(found.cells)} cells may stay as converted.")
    bad = found.count("unsafe") + found.count("hunts")
    cure = f"`--table {found.id}` shows each cell, what to enter and why."
    verdict = Verdict.FAIL if bad else Verdict.NOT_SHOWN
    return Check("borrowed table", subject, verdict, f"Of {len(found.cells)} cells {said}.", cure)


@dataclass(frozen=True)
class _Table:
    columns: tuple[str, ...]
    rows: tuple[tuple[int, str, tuple[str, ...]], ...]


def _read(text: str, borrowed: Borrowed) -> _Table:
    """The cells of a CSV text; the sign between columns is told by the head row."""
    lines = text.removeprefix("\ufeff").splitlines()
    at = next((i for i, line in enumerate(lines) if line.strip() and not line.lstrip().startswith("#")), None)
    if at is None:
        raise DriveFault(borrowed.file, ("The table is empty. It needs a head row and rows.",))
    sign = max(";\t,", key=lambda each: (lines[at].count(each), each != ","))
    reader = csv.reader(lines[at:], delimiter=sign, skipinitialspace=True)
    rows: list[tuple[int, str, tuple[str, ...]]] = []
    faults: list[str] = []
    try:
        columns = tuple(printable(cell.strip()) for cell in next(reader)[1:])
        while columns and not columns[-1]:
            columns = columns[:-1]
        if not columns or len(columns) > MOST_COLUMNS or not all(columns) or len(set(columns)) < len(columns):
            raise DriveFault(
                borrowed.file, (f"line {at + 1}: the head row needs 1 to {MOST_COLUMNS} different column names after "
                "the first cell.",),
            )  # fmt: skip
        for cells in reader:
            line = at + reader.line_num
            cells = [printable(cell.strip()) for cell in cells]
            if not any(cells) or cells[0].startswith("#"):
                continue
            if any(cells[len(columns) + 1 :]):
                hint = ' A decimal comma needs ";" between the columns.' if sign == "," else ""
                faults.append(f"line {line}: {len(cells)} cells where {len(columns) + 1} columns are.{hint}")
            elif any(len(cell) > LONGEST_CELL for cell in cells):
                faults.append(f"line {line}: a cell has more than {LONGEST_CELL} characters.")
            else:
                filled = (*cells[1:], *("" for _ in columns))[: len(columns)]
                rows.append((line, cells[0], tuple(filled)))
            if len(rows) + len(faults) > MOST_ROWS:
                raise DriveFault(borrowed.file, (f"It has more than {MOST_ROWS} rows. Is this the right file?",))
    except csv.Error as error:
        faults.append(f"line {at + reader.line_num}: this row cannot be read: {error}.")
    if not rows and not faults:
        faults.append("The table has a head row and nothing under it.")
    if faults:
        raise DriveFault(borrowed.file, tuple(faults[:20]))
    return _Table(columns, tuple(rows))


@dataclass(frozen=True)
class _Work:
    """One table on its way, for one range of the transfer case."""

    drive: Drive
    borrowed: Borrowed
    sums: DriveSums
    transfer: Geared

    @property
    def by_road(self) -> bool:
        return self.borrowed.keyed_by == "road speed"

    @property
    def scale(self) -> Span:
        """Own speed ÷ donor's speed at the same output speed."""
        if self.borrowed.tyre is None or self.borrowed.axle is None or self.borrowed.transfer is None:
            return Span.exact(1.0)
        theirs = Span.of(self.borrowed.axle) * Span.of(self.borrowed.transfer) / rolled(self.borrowed.tyre).rolling_m
        return theirs * around_m(self.drive) / reduction_of(self.drive, self.transfer)

    def notes(self, rows: Sequence[tuple[str, tuple[Cell, ...]]]) -> tuple[str, ...]:
        said = []
        if self.by_road:
            away, by_gear = self.scale, self.by_row(rows)
            ends = [end for each in (by_gear or [away]) for end in (each.low, each.high)]
            low, high = ((1.0 / end - 1.0) * 100.0 for end in (max(ends), min(ends)))
            what = f"{low:+.1f} %" if f"{low:.1f}" == f"{high:.1f}" else f"{low:+.1f} to {high:+.1f} %"
            also = ", times the donor's ratio ÷ your own of the gear in each row" if by_gear else ""
            said.append(
                f"Copied as it is, {'speeds' if by_gear else 'every speed'} would be {what} off: own speed = donor's × "
                f"{away.value:.4f} ({away.low:.4f} to {away.high:.4f}){also}."
            )
            if self.drive.tyre.roll_out is None:
                said.append("Your own circumference is not from a roll-out: measure it, and the range shrinks.")
        else:
            said.append("Keyed by output speed: tyres and axles do not matter.")
        if self.borrowed.gears is None:
            said.append("Taken as the same gearbox with the same ratios.")
        if len(self.drive.transfers) > 1:
            said.append(f"Converted for and judged in {self.transfer.name} range.")
        return tuple(said)

    def by_row(self, rows: Sequence[tuple[str, tuple[Cell, ...]]]) -> list[Span]:
        """Own speed ÷ donor's of each converted cell; empty where the gears' ratios make no difference."""
        if self.borrowed.holds != "shift speeds" or self.borrowed.gears is None:
            return []
        found = [
            cell.converted * Span.exact(1.0 / cell.donor)
            for _, cells in rows for cell in cells if cell.converted is not None and cell.donor
        ]  # fmt: skip
        return found if any(abs(each.value / self.scale.value - 1.0) > 5e-5 for each in found) else []

    def row(
        self, line: int, head: str, cells: tuple[str, ...], columns: tuple[str, ...]
    ) -> tuple[str, tuple[Cell, ...]]:
        if self.borrowed.holds == "shift speeds":
            return head, tuple(self.shift(line, head, name, cell) for name, cell in zip(columns, cells, strict=True))
        donor = self.parse(head)
        converted = Span.exact(donor) * self.scale
        enter, shown = self.rounded(converted.value)
        made = self.gear_cell if self.borrowed.holds == "gears" else self.other_cell
        done = []
        for name, cell in zip(columns, cells, strict=True):
            blank = Cell(head, name, line, cell, donor, converted, enter, shown, "keep", "")
            done.append(made(blank) if cell else blank)
        return shown, tuple(done)

    def parse(self, text: str) -> float:
        """A speed in the table's unit, m/s or rpm. The cell may repeat the unit, no other."""
        unit = self.borrowed.unit
        bare = text.removesuffix(unit).strip()
        found = parse(f"{bare} {unit}", "speed" if self.by_road else "rotation_rpm")
        if found < 0.0:
            raise ValueError(f'"{text[:40]}" is below zero')
        return found

    def rounded(self, speed: float) -> tuple[float, str]:
        """What to type, as a number and as its text."""
        unit = self.borrowed.unit
        step, digits = _ONE[unit], _DIGITS[unit]
        text = f"{speed / step:.{digits}f}"
        return float(text) * step, text

    def output(self, enter: float) -> Span:
        """Output speed of this truck when its controller acts on the number. [rpm]"""
        if not self.by_road:
            return Span.exact(enter)
        return output_rpm(Span.exact(enter), around_m(self.drive), reduction_of(self.drive, self.transfer))

    def words(self, output: Span) -> str:
        if not self.by_road:
            return rpm(output)
        speed = road_speed(output, around_m(self.drive), reduction_of(self.drive, self.transfer))
        return road(speed.value, self.drive.units)

    def shift(self, line: int, head: str, column: str, read: str) -> Cell:
        hit = _SHIFT.fullmatch(head)
        if hit is None:
            raise ValueError(f'"{head[:40]}" names no shift. Each row is one shift, 1>2 or 2>1; loads are columns.')
        before, after = hit[1], hit[2]
        blank = Cell(f"{before}>{after}", column, line, read, None, None, None, "", "keep", "")
        if not read:
            return blank
        donor = self.parse(read)
        names = [each.name for each in self.drive.gears]
        missing = [name for name in (before, after) if name not in names]
        if missing:
            why = f"this truck has no gear {missing[0][:20]}; it has {', '.join(names)}"
            return replace(blank, donor=donor, mark="not known", why=why)
        if before == after:
            return replace(blank, donor=donor, mark="not known", why="a shift into the same gear")
        up = names.index(after) > names.index(before)
        held = before if up else after  # in this gear the engine shall turn as in the donor
        converted = Span.exact(donor) * self.scale
        if self.borrowed.gears is not None:
            at = names.index(held)
            if at >= len(self.borrowed.gears):
                why = f"the donor's ratio of gear {held} is not given"
                return replace(blank, donor=donor, mark="not known", why=why)
            converted = converted * Span.of(self.borrowed.gears[at]) / Span.of(self.drive.gear(held).ratio)
        enter, shown = self.rounded(converted.value)
        cell = replace(blank, donor=donor, converted=converted, enter=enter, enter_text=shown)
        output = self.output(enter)
        mark, why = self.judge_up(before, output) if up else self.judge_down(before, after, output)
        return replace(cell, mark=mark, why=why)

    def judge_up(self, before: str, output: Span) -> tuple[Mark, str]:
        engine = engine_rpm(output, Span.of(self.drive.gear(before).ratio), remains(self.drive.slip))
        most, limiter = self.sums.most_rpm, self.sums.limiter_rpm
        turns = f"the engine would turn {rpm(engine)} in {before}"
        if above := above_most(engine, most, limiter):
            return "unsafe", f"{turns}, {above}"
        if limiter is None:
            return "keep", ""
        if engine.low >= limiter.high:
            return "pointless", f"{turns}; the limiter holds it at {rpm(limiter)}, so it never shifts"
        if engine.high >= limiter.low:
            return "not known", f"{turns}, the limiter holds at {rpm(limiter)}: it may never shift"
        return "keep", ""

    def judge_down(self, before: str, after: str, output: Span) -> tuple[Mark, str]:
        mark, why = self.judge_into(after, output)
        if mark != "keep":
            return mark, why
        reach = self.reach(before)
        if reach is not None and output.low > reach.high:
            return "pointless", f"{before} never gets this quick, so it would never be held"
        return "keep", ""

    def judge_into(self, gear: str, output: Span) -> tuple[Mark, str]:
        """A shift down into a gear, or a gear commanded at a speed."""
        downshift = self.sums.downshift(self.transfer.name, gear)
        if output.high <= downshift.permitted_rpm:
            return "keep", ""
        engine = engine_rpm(output, Span.of(self.drive.gear(gear).ratio), remains(self.drive.slip))
        allowed = permitted(downshift, self.drive.units)[1 if self.by_road else 0]
        why = f"the engine would turn {rpm(engine)} in {gear}; permitted is {allowed}"
        if output.high <= downshift.limit_rpm.low:
            why += " with margin and time"
        return "unsafe", why

    def reach(self, gear: str) -> Span | None:
        """Highest output speed that the limiter lets a gear have. [rpm]"""
        if self.sums.limiter_rpm is None:
            return None
        return self.sums.limiter_rpm * remains(self.drive.slip) / Span.of(self.drive.gear(gear).ratio)

    def beyond(self, gear: str, output: Span) -> tuple[Mark, str]:
        reach = self.reach(gear)
        if reach is None:
            return "not known", "how quick this gear gets is not known without the limiter"
        if output.low > reach.high:
            return "pointless", f"never reached: in {gear} the limiter ends at {self.words(reach)}"
        if output.high > reach.low:
            return "not known", f"hardly reached: in {gear} the limiter ends at {self.words(reach)}"
        return "keep", ""

    def gear_cell(self, cell: Cell) -> Cell:
        hit = _GEAR.fullmatch(cell.read)
        name = hit[1] if hit else cell.read
        names = [each.name for each in self.drive.gears]
        if name not in names:
            return replace(cell, mark="not known", why=f"this truck has no gear {name[:20]}; it has {', '.join(names)}")
        output = self.output(cell.enter or 0.0)
        mark, why = self.beyond(name, output) if name == names[-1] else self.judge_into(name, output)
        return replace(cell, mark=mark, why=why)

    def other_cell(self, cell: Cell) -> Cell:
        names = [each.name for each in self.drive.gears]
        hit = _GEAR.fullmatch(cell.column)
        name = hit[1] if hit and cell.column.lower().startswith("gear") else names[-1]
        if name not in names:
            return replace(cell, mark="not known", why=f"this truck has no gear {name[:20]}; it has {', '.join(names)}")
        mark, why = self.beyond(name, self.output(cell.enter or 0.0))
        return replace(cell, mark=mark, why=why)


def _hunting(
    rows: tuple[tuple[str, tuple[Cell, ...]], ...], names: list[str]
) -> tuple[tuple[str, tuple[Cell, ...]], ...]:
    """Mark both cells of a pair, as `lines.hunts_with` has it, that lie too close together or cross."""
    places = {(cell.row, cell.column): cell for _, cells in rows for cell in cells if cell.enter}
    close: dict[tuple[str, str], str] = {}
    ups: list[tuple[str, str, str, Cell]] = []
    downs: list[tuple[str, str, str, Cell]] = []
    for (name, column), cell in places.items():
        before, _, after = name.partition(">")
        if before in names and after in names:
            (ups if names.index(after) > names.index(before) else downs).append((before, after, column, cell))
    for before, after, column, up in ups:
        for start, end, other, down in downs:
            if column != other or not (end == before or start == after):
                continue
            apart = separation(Span.exact(up.enter or 0.0), Span.exact(down.enter or 0.0))[1]
            if apart < HUNTS_BELOW:
                said = f"{apart * 100:.1f} %" if apart >= 0.0 else f"no room ({apart * 100:.1f} %)"
                for one, partner in ((up, down), (down, up)):
                    close.setdefault((one.row, one.column), f"{said} between it and {partner.row}: it hunts")

    def marked(cell: Cell) -> Cell:
        why = close.get((cell.row, cell.column))
        return replace(cell, mark="hunts", why=why) if why and cell.mark == "keep" else cell

    return tuple((head, tuple(marked(cell) for cell in cells)) for head, cells in rows)
