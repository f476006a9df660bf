"""The bench sheet: every station with what it should read, and what was read so far.

Answers: what is next, what has been shown, what is left?
Units:   ohms and volts; minutes.
Touches: nothing.
Beside:  `record` keeps the readings that are passed in here.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pinproof.design.model import Truck
from pinproof.errors import PinproofError
from pinproof.meter.contract import bench_temperature
from pinproof.meter.expect import Band, Expectation, expected, station_fingerprint
from pinproof.meter.instrument import Instrument, Quantity
from pinproof.meter.judge import Judgement, Outcome, interval, judge, judge_words, leads_of
from pinproof.meter.stations import MINUTES_OF_SETUP, SETUPS, STEPS, SUPPLIES, TRUCK, Station, cut_short, stations
from pinproof.meter.typed import read_typed, shown
from pinproof.quantities import format_value
from pinproof.wiring import LineView, line_view, physical

CSV_COLUMNS = (
    "design_id", "station", "step", "what", "red_probe", "black_probe", "nominal", "as_built", "works", "value", "note",
    "outcome",
)  # fmt: skip
TWO_RANGES = (
    'First what new parts read; behind "works", where the line still does its work once they are old, hot and worn.',
    "OL is an open display. Stop at the first reading that is wrong.",
)


@dataclass(frozen=True)
class Taken:
    """One reading as it was typed. `ambient_c` is None where nobody noted it."""

    text: str
    ambient_c: float | None = None


@dataclass(frozen=True)
class SheetRow:
    """One station, what it should read, and what was read: `taken` and `judgement` are None until somebody measured."""

    station: Station
    expectation: Expectation
    fingerprint: str
    taken: Taken | None = None
    judgement: Judgement | None = None


@dataclass(frozen=True)
class BenchSheet:
    """The whole sheet of one truck and one meter."""

    truck_id: str
    truck_name: str
    meter: str
    rows: tuple[SheetRow, ...]
    cut_short: tuple[str, ...]

    def count(self, outcome: Outcome | None) -> int:
        """Stations with this outcome; None counts those that nobody measured."""
        return sum((row.judgement.outcome if row.judgement else None) is outcome for row in self.rows)

    @property
    def surely_works(self) -> int:
        """Stations that work for certain, as built or not."""
        return sum(row.judgement is not None and row.judgement.works_surely for row in self.rows)

    @property
    def exit_code(self) -> int:
        """0 if every station is as built, else 1."""
        return 0 if self.count(Outcome.AS_BUILT) == len(self.rows) else 1

    @property
    def minutes(self) -> float:
        """About how long the whole sheet takes: common practice, no source. [min]"""
        steps = {row.station.step for row in self.rows}
        return sum(row.station.minutes for row in self.rows) + sum(MINUTES_OF_SETUP[step] for step in steps)

    def row(self, station_id: str) -> SheetRow:
        """The row of a station; KeyError if there is none."""
        for row in self.rows:
            if row.station.id == station_id:
                return row
        raise KeyError(station_id)


def bench_sheet(
    truck: Truck, meter: Instrument, readings: Mapping[str, Taken] | None = None, *, ambient_c: float | None = None
) -> BenchSheet:
    """The sheet of a truck, with the readings that are there judged.

    Parameters
    ----------
    truck : Truck
    meter : Instrument
    readings : mapping of station id to Taken, optional
    ambient_c : float, optional
        Temperature at the bench, for expectations where no reading noted its own. [°C]

    Notes
    -----
    What the leads showed held together is taken off all ohms. Where the supply was read with the controller plugged
    in, the volts of that step are expected for just that supply, give or take the meter.

    Raises
    ------
    QuantityFault
        A reading is not the quantity its station wants.
    """
    taken = dict(readings or {})
    whole = physical(truck)
    views = {line.id: line_view(truck, line, whole) for line in truck.lines}
    first = next(iter(views.values()), None)
    lead_ohm = _leads(meter, taken)
    given = {step: _supply(meter, taken, station) for step, station in SUPPLIES.items()}
    listed = stations(truck)
    expectations: dict[str, Expectation] = {}
    for station in listed:
        view = views.get(station.line or "", first)
        here = taken[station.id].ambient_c if station.id in taken else None
        bench_c = bench_temperature(ambient_c if here is None else here)
        expectations[station.id] = expected(
            view, station, given=given.get(station.step), bench_c=bench_c, meter_ohm=meter.input_ohm
        )
    groups: dict[tuple[str | None, str], dict[str, tuple[Station, Expectation]]] = {}
    for station in listed:
        groups.setdefault((station.line, station.kind), {})[station.id] = (station, expectations[station.id])
    rows = [
        judged_row(
            views.get(station.line or ""), station, expectations[station.id], meter, taken.get(station.id),
            ambient_c, lead_ohm, groups[station.line, station.kind],
        )
        for station in listed
    ]  # fmt: skip
    return BenchSheet(truck.id, truck.name, meter.words, tuple(rows), cut_short(truck))


def judged_row(
    view: LineView | None,
    station: Station,
    expectation: Expectation,
    meter: Instrument,
    taken: Taken | None,
    ambient_c: float | None,
    lead_ohm: tuple[float, float],
    others: Mapping[str, tuple[Station, Expectation]],
) -> SheetRow:
    """One row; judged if something was read."""
    mark = station_fingerprint(view, station, "" if station.quantity in ("note", "meaning") else meter.identity)
    if taken is None:
        return SheetRow(station, expectation, mark)
    if station.quantity in ("note", "meaning"):
        return SheetRow(station, expectation, mark, taken, judge_words(station, expectation, taken.text))
    quantity: Quantity = "voltage" if station.quantity == "voltage" else "resistance"
    here = ambient_c if taken.ambient_c is None else taken.ambient_c
    found = judge(
        station, expectation, read_typed(taken.text, quantity), meter, ambient_c=here, lead_ohm=lead_ohm, others=others
    )
    return SheetRow(station, expectation, mark, taken, found)


def judged_in(
    sheet: BenchSheet, meter: Instrument, station_id: str, taken: Taken, ambient_c: float | None = None
) -> SheetRow:
    """One reading judged in a sheet that is there, without working the sheet out again.

    Parameters
    ----------
    sheet : BenchSheet
        Made with this meter and this `ambient_c`, with everything read so far.
    station_id : str
        Not one of `SUPPLIES`: what was read there changes what is expected.

    Raises
    ------
    KeyError
        The sheet has no such station.
    QuantityFault
        The text is not the quantity that the station wants.
    """
    row = sheet.row(station_id)
    station, said = row.station, row.expectation
    if station.quantity in ("note", "meaning"):
        return replace(row, taken=taken, judgement=judge_words(station, said, taken.text))
    quantity: Quantity = "voltage" if station.quantity == "voltage" else "resistance"
    others = {
        each.station.id: (each.station, each.expectation)
        for each in sheet.rows
        if (each.station.line, each.station.kind) == (station.line, station.kind)
    }
    before = {each.station.id: each.taken for each in sheet.rows if each.taken is not None}
    here = ambient_c if taken.ambient_c is None else taken.ambient_c
    found = judge(
        station, said, read_typed(taken.text, quantity), meter, ambient_c=here,
        lead_ohm=_leads(meter, {**before, station_id: taken}), others=others,
    )  # fmt: skip
    return replace(row, taken=taken, judgement=found)


def _leads(meter: Instrument, taken: Mapping[str, Taken]) -> tuple[float, float]:
    held = taken.get(f"{TRUCK}/leads/all")
    return leads_of(meter, None if held is None else read_typed(held.text, "resistance"))


def _supply(meter: Instrument, taken: Mapping[str, Taken], station_id: str) -> dict[str, tuple[float, float]]:
    """The supply as it was measured, give or take the meter; empty if it was not."""
    held = taken.get(station_id)
    if held is None:
        return {}
    try:
        low, high, _ = interval(read_typed(held.text, "voltage"), "voltage", meter, held.ambient_c, (0.0, 0.0))
    except PinproofError:
        return {}
    return {"supply": (low, high)}


def band_words(band: Band | None, quantity: str) -> str:
    """A band as it stands on the sheet."""
    if band is None or quantity not in ("resistance", "voltage"):
        return ""
    if math.isinf(band.high):
        return f"{format_value(band.low, quantity)} or more, OL"
    if band.low <= 0.0 and quantity == "resistance":
        return f"at most {format_value(band.high, quantity, digits=3)}"
    return f"{format_value(band.low, quantity)} to {format_value(band.high, quantity)}"


def nominal_words(row: SheetRow) -> str:
    """What is most likely shown; "open" where nothing conducts."""
    nominal = row.expectation.nominal
    if math.isnan(nominal):
        return ""
    return format_value(nominal, row.station.quantity, digits=4)


def expectation_words(row: SheetRow) -> str:
    """The expectation in one phrase."""
    said = row.expectation
    if said.reason:
        return said.reason
    if said.words:
        return "ok or bad" if row.station.quantity == "note" else " or ".join(said.words)
    built, works = (band_words(band, row.station.quantity) for band in (said.as_built, said.works))
    return built if built == works else f"{built}; works {works}"


def reading_words(row: SheetRow) -> str:
    """What was read, as it was typed; an open display as OL."""
    if row.taken is None:
        return ""
    if row.station.quantity in ("note", "meaning"):
        return row.taken.text
    quantity: Quantity = "voltage" if row.station.quantity == "voltage" else "resistance"
    typed = read_typed(row.taken.text, quantity)
    return shown(typed.value, quantity) if typed.is_open else row.taken.text


def sheet_csv(sheet: BenchSheet) -> str:
    """The sheet as CSV. Column `value` is empty until somebody measured; filled in it can be read back."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    for row in sheet.rows:
        station, said = row.station, row.expectation
        probes = station.probe_words or ("", "")
        writer.writerow([
            sheet.truck_id, station.id, station.step, station.what, *probes, nominal_words(row),
            band_words(said.as_built, station.quantity) or " or ".join(said.words) or said.reason,
            band_words(said.works, station.quantity), row.taken.text if row.taken else "", "",
            str(row.judgement.outcome) if row.judgement else "",
        ])  # fmt: skip
    return out.getvalue()


@dataclass(frozen=True)
class SheetTable:
    """One step of the sheet for paper or screen: what to set up and mind, where to probe, then rows of plain texts.

    `probes` is the pair that all rows share, in words; "" where each row says its own in its first cell.
    """

    step: int
    title: str
    setup: str
    cautions: tuple[str, ...]
    probes: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def sheet_tables(sheet: BenchSheet) -> tuple[SheetTable, ...]:
    """The sheet as tables, for whoever prints it. A cell for a reading nobody took is empty, never filled in."""
    found = []
    for step, name, setup, rows in steps_of(sheet):
        cautions = tuple(dict.fromkeys(each for row in rows for each in row.station.cautions))
        pairs: dict[tuple[str, ...], list[SheetRow]] = {}
        for row in rows:
            pairs.setdefault((row.station.line or "", *row.station.probe_words), []).append(row)
        for number, (key, group) in enumerate(pairs.items()):
            line, *probes = key
            where = f"Probes: {' and '.join(probes)}." if probes else ""
            cells = tuple(
                (row.station.id, row.station.what, nominal_words(row), expectation_words(row), reading_words(row),
                 str(row.judgement.outcome) if row.judgement else "")
                for row in group
            )  # fmt: skip
            heads = ("Station", "What", "Stated", "As built; works", "Read", "Says")
            title = f"{step} {name}" + (f": {line}" if line else "")
            found.append(
                SheetTable(step, title, "" if number else setup, () if number else cautions, where, heads, cells)
            )
    return tuple(found)


def steps_of(sheet: BenchSheet) -> Sequence[tuple[int, str, str, tuple[SheetRow, ...]]]:
    """Number, name, set-up and rows of each step that has any."""
    found = []
    for step, name in STEPS.items():
        rows = tuple(row for row in sheet.rows if row.station.step == step)
        if rows:
            found.append((step, name, SETUPS[step], rows))
    return found


def headline(sheet: BenchSheet) -> str:
    """What the readings so far show, in one sentence."""
    total, missing = len(sheet.rows), sheet.count(None)
    if missing == total:
        return f"Nothing measured yet: {total} stations, about {sheet.minutes:.0f} minutes."
    parts = [f"{sheet.count(each)} {each}" for each in Outcome if sheet.count(each)]
    tail = f", {missing} not measured" if missing else ""
    sure = sheet.surely_works
    works = "all of them work for certain" if sure == total - missing else f"{sure} work for certain"
    return f"{total - missing} of {total} measured: {', '.join(parts)}{tail}; {works}."


def as_json(sheet: BenchSheet) -> dict[str, object]:
    """The sheet as plain JSON values: infinite numbers as "inf", unknown ones as null."""
    return {
        "truck": sheet.truck_id,
        "name": sheet.truck_name,
        "meter": sheet.meter,
        "minutes": sheet.minutes,
        "headline": headline(sheet),
        "cut_short": list(sheet.cut_short),
        "stations": [_row_json(row) for row in sheet.rows],
    }


def _row_json(row: SheetRow) -> dict[str, object]:
    station, said, found = row.station, row.expectation, row.judgement
    return {
        "station": station.id,
        "step": station.step,
        "kind": station.kind,
        "quantity": station.quantity,
        "line": station.line,
        "what": station.what,
        "probes": list(station.probes),
        "probe_words": list(station.probe_words),
        "operated": list(station.operated),
        "wanted": station.wanted,
        "powered": station.powered,
        "controller_plugged": station.controller_plugged,
        "cautions": list(station.cautions),
        "nominal": _plain(said.nominal),
        "as_built": _band_json(said.as_built),
        "works": _band_json(said.works),
        "words": list(said.words),
        "reason": said.reason,
        "fingerprint": row.fingerprint,
        "reading": row.taken.text if row.taken else None,
        "outcome": str(found.outcome) if found else None,
        "text": found.text if found else None,
        "low": _plain(found.low) if found else None,
        "high": _plain(found.high) if found else None,
        "meter_error": _plain(found.limit) if found else None,
        "works_surely": found.works_surely if found else None,
        "questions": [each.question for each in found.doubts] if found else [],
    }


def _band_json(band: Band | None) -> list[object] | None:
    return None if band is None else [_plain(band.low), _plain(band.high)]


def _plain(value: float) -> float | str | None:
    if math.isnan(value):
        return None
    return ("inf" if value > 0 else "-inf") if math.isinf(value) else value
