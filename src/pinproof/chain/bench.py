"""Measuring one truck: bench sheet, meter and record joined once for every face.

Answers: what does this reading say; which readings count now; how is one kept?
Units:   ohms, volts, degrees Celsius.
Touches: the record beside the design file, through `pinproof.record`; the design file, to keep it with the readings.
Beside:  `pinproof.meter` says what should be read and judges, `pinproof.record` keeps.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from pinproof.design.load import decode, read_bytes, text_hash
from pinproof.errors import OutOfTable, PinproofError, QuantityFault, printable
from pinproof.meter import (
    Band,
    BenchSheet,
    Instrument,
    SheetRow,
    Taken,
    bench_sheet,
    expected,
    read_typed,
    stations,
)
from pinproof.meter.judge import interval
from pinproof.meter.sheet import judged_in
from pinproof.meter.stations import SUPPLIES
from pinproof.record import Entry, Record, RecordFault, Row, Snapshot, open_record, read_rows
from pinproof.wiring import line_view

if TYPE_CHECKING:
    from pinproof.design import Truck
    from pinproof.meter.instrument import Quantity

UNIT = {"resistance": "ohm", "voltage": "V"}
MOST_TOLD = 10


@dataclass
class NoStation(PinproofError):
    """A station that this truck's sheet does not have, and the one that may be meant."""

    station: str
    known: tuple[str, ...]

    def __str__(self) -> str:
        near = difflib.get_close_matches(self.station, self.known, 1)
        hint = f' Did you mean "{near[0]}"?' if near else " `pinproof meter FILE` lists them."
        return printable(f'There is no station "{self.station[:80]}".{hint}')


@dataclass
class Bench:
    """One truck with its meter and its record.

    Parameters
    ----------
    truck : Truck
    file : Path
        The design file; kept whole with the readings.
    meter : Instrument
    ambient_c : float or None
        Temperature where one measures. [°C]
    note : str
        Kept with every reading.
    record_file : Path
        Usually `record_path(file)`.
    """

    truck: Truck
    file: Path
    meter: Instrument
    ambient_c: float | None
    note: str
    record_file: Path

    @cached_property
    def blank(self) -> BenchSheet:
        """The sheet with nothing read."""
        return bench_sheet(self.truck, self.meter, ambient_c=self.ambient_c)

    @cached_property
    def known(self) -> list[str]:
        """Every station's id, in order."""
        return [row.station.id for row in self.blank.rows]

    def open(self) -> Record:
        """The record, begun if there is none; RecordFault if it is another design's."""
        return open_record(self.record_file, self.truck.id)

    def latest(self) -> dict[str, Entry]:
        """The latest reading of every station whose circuit and meter are still the same."""
        if not self.record_file.exists():
            return {}
        with self.open() as record:
            found = record.latest(row.fingerprint for row in self.blank.rows)
        return {row.station.id: found[row.fingerprint] for row in self.blank.rows if row.fingerprint in found}

    def taken(self) -> dict[str, Taken]:
        """The same as the sheet takes them."""
        return {station_id: Taken(entry.text, entry.ambient_c) for station_id, entry in self.latest().items()}

    def sheet(self, extra: dict[str, Taken] | None = None) -> BenchSheet:
        """The sheet with what is on record, and with `extra`."""
        return bench_sheet(self.truck, self.meter, {**self.taken(), **(extra or {})}, ambient_c=self.ambient_c)

    def judged(self, station_id: str, text: str, sheet: BenchSheet | None = None) -> SheetRow:
        """The row of a station with this reading in it; nothing is kept yet. `sheet` is the one of now, if at hand.

        Raises
        ------
        NoStation
            The sheet has no such station.
        QuantityFault
            The text is no reading of this station.
        """
        if station_id not in self.known:
            raise NoStation(station_id, tuple(self.known))
        self.refuse_no_meaning(station_id, text)
        if sheet is not None and station_id not in SUPPLIES.values():
            return judged_in(sheet, self.meter, station_id, Taken(text, self.ambient_c), self.ambient_c)
        return self.sheet({station_id: Taken(text, self.ambient_c)}).row(station_id)

    def meanings(self, station_id: str) -> tuple[str, ...]:
        """What the controller can report at a station of meanings; empty at any other."""
        station = self.blank.row(station_id).station
        if station.quantity != "meaning" or station.line is None:
            return ()
        return (*self.truck.line(station.line).meanings, "invalid")

    def refuse_no_meaning(self, station_id: str, text: str) -> None:
        """What the controller cannot have reported is a slip of the hand, and not kept."""
        known = self.meanings(station_id)
        if known and " ".join(text.split()).casefold() not in [each.casefold() for each in known]:
            raise QuantityFault(text[:40], "something this line can report", f"There are: {', '.join(known)}.")

    def keep(self, station_id: str, text: str) -> Entry:
        """Commit one reading."""
        with self.open() as record:
            return record.add(self.entry(station_id, text, self.ambient_c, "", self.note), self.snapshot())

    def snapshot(self) -> Snapshot:
        """The design file as it stands; RecordFault if it is another one by now."""
        data = read_bytes(str(self.file))
        if text_hash(data) != self.truck.text_hash:
            raise RecordFault(self.file.name, "The design file was changed meanwhile.", "Start again.")
        return Snapshot(self.truck.id, self.truck.text_hash, decode(data, self.file.name))

    def entry(self, station_id: str, text: str, ambient_c: float | None, taken_utc: str, note: str) -> Entry:
        """A reading as the record keeps it, with the error this meter has there."""
        row = self.blank.row(station_id)
        value, limit, unit = math.nan, math.nan, ""
        if row.station.quantity in ("resistance", "voltage"):
            quantity: Quantity = "voltage" if row.station.quantity == "voltage" else "resistance"
            typed = read_typed(text, quantity)
            value, unit = typed.value, UNIT[quantity]
            with suppress(OutOfTable):
                limit = interval(typed, quantity, self.meter, ambient_c, (0.0, 0.0))[2]
        return Entry(
            station_id, row.fingerprint, value, unit, text, taken_utc or now_utc(), self.meter.words, limit, note,
            ambient_c, self.truck.id, self.truck.text_hash,
        )  # fmt: skip

    def take_list(self, text: str, name: str) -> list[str]:
        """Keep every reading of a list, or none; the stations it has.

        What a printed sheet holds of readings on record is passed over: it is no second measurement.

        Parameters
        ----------
        text : str
            CSV, as `pinproof.record.read_rows` reads it.
        name : str
            The list's name, for messages.

        Raises
        ------
        RecordFault
            A row is of another design, of no station of this truck, or no reading: all such rows are named. Or nothing
            in it is new.
        """
        kept = {station: each.text for station, each in self.taken().items()}
        rows = [
            row for row in read_rows(text, name, self.truck.id)
            if not (row.judged and kept.get(row.station) == row.value)
        ]  # fmt: skip
        if not rows:
            raise RecordFault(
                name, "All its readings are kept already.", "Fill in the column value where you measured."
            )
        entries = self._entries(rows, name)
        with self.open() as record:
            record.add_all(entries, self.snapshot())
        return [each.station for each in entries]

    def _entries(self, rows: Sequence[Row], name: str) -> list[Entry]:
        bad, entries = [], []
        for row in rows:
            if row.station not in self.known:
                bad.append(f"line {row.line}: {NoStation(row.station, tuple(self.known))}")
                continue
            here = self.ambient_c if row.ambient_c is None else row.ambient_c
            try:
                self.refuse_no_meaning(row.station, row.value)
                entries.append(self.entry(row.station, row.value, here, row.taken_utc, row.note or self.note))
            except PinproofError as fault:
                bad.append(f"line {row.line}: {fault}")
        if bad:
            more = f" And {len(bad) - MOST_TOLD} more." if len(bad) > MOST_TOLD else ""
            raise RecordFault(name, " ".join(bad[:MOST_TOLD]) + more, "Mend the list and read it again.")
        return entries


def bands_of(truck: Truck, station_id: str) -> tuple[Band | None, Band | None]:
    """What a station should read now: as built, and so that it works; None where nothing is known of it."""
    station = next((each for each in stations(truck) if each.id == station_id), None)
    if station is None or not truck.lines:
        return None, None
    said = expected(line_view(truck, station.line or truck.lines[0].id), station)
    return said.as_built, said.works


def recent_texts(record_file: Path, design_id: str, hours: float) -> dict[str, str]:
    """The last reading of each station that was kept within so many hours, as typed; RecordFault as `open_record`."""
    since = (datetime.now(UTC) - timedelta(hours=hours)).strftime("%Y-%m-%dT%H:%M:%SZ")
    with open_record(record_file, design_id) as record:
        return {each.station: each.text for each in record.entries() if each.taken_utc >= since}


def now_utc() -> str:
    """The time as the record keeps it."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
