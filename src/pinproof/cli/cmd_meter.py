"""`pinproof meter`: the bench sheet, and the readings that fill it."""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck, write_whole

if TYPE_CHECKING:
    from pinproof.design import Truck
    from pinproof.meter import BenchSheet, Instrument, SheetRow, Taken
    from pinproof.meter.instrument import Quantity
    from pinproof.record import Entry, Record, Snapshot

TWO_RANGES = (
    'First what new parts read; behind "works", where the line still does its work once they are old, hot and worn.\n'
    "OL is an open display. Stop at the first reading that is wrong."
)
UNIT = {"resistance": "ohm", "voltage": "V"}


@click.command("meter")
@FILE
@JSON
@click.option(
    "--meter", "meter_file", type=click.Path(dir_okay=False, path_type=Path), default=Path("meter.toml"),
    show_default=True, help="Your meter's file. Without one, ordinary figures are assumed.",
)  # fmt: skip
@click.option("--begin-meter", is_flag=True, help="Write the meter file with ordinary figures, to be edited.")
@click.option("--enter", is_flag=True, help="Take readings one after the other: each is kept and judged at once.")
@click.option("--read", "typed", multiple=True, metavar="STATION=VALUE", help="Keep one reading; may be repeated.")
@click.option("--csv", "csv_file", type=click.Path(dir_okay=False, path_type=Path), help="Read a list of readings.")
@click.option("-o", "--output", type=click.Path(dir_okay=False, path_type=Path), help="Write the sheet as CSV.")
@click.option("--line", "line_id", help="Show only this line, and what belongs to no line.")
@click.option("--ambient", help='Temperature where you measure, as in "12 °C".')
@click.option("--note", default="", help="Kept with every reading of this call.")
@click.option("--left", is_flag=True, help="Show only what is not yet as built.")
@click.pass_context
def command(
    ctx: click.Context,
    file: Path,
    as_json: bool,
    meter_file: Path,
    begin_meter: bool,
    enter: bool,
    typed: tuple[str, ...],
    csv_file: Path | None,
    output: Path | None,
    line_id: str | None,
    ambient: str | None,
    note: str,
    left: bool,
) -> None:
    """Print what to measure, between which points, and what it should read; take and judge readings.

    Readings are kept beside the design file, one by one. Values are typed with their unit: 2.880k, 0.4 ohm, 12.61 V,
    OL. Ends with 0 if every station is as built, 1 if something is wrong, cannot be told or is missing, 2 if a file
    cannot be used.

    \b
    Example: pinproof meter truck.toml
    Example: pinproof meter truck.toml --read taps/ohms/lever_manual=8.240k --ambient "12 °C"
    Example: pinproof meter truck.toml --enter
    """
    from pinproof.meter import load_instrument, sheet_csv, starter
    from pinproof.meter.instrument import save_starter
    from pinproof.meter.sheet import as_json as plain
    from pinproof.meter.sheet import headline
    from pinproof.quantities import parse
    from pinproof.record import record_path

    truck = read_truck(file)
    if line_id is not None and line_id not in [line.id for line in truck.lines]:
        raise click.UsageError(f'There is no line "{line_id}". There are: {", ".join(x.id for x in truck.lines)}.')
    if begin_meter:
        if meter_file.exists():
            raise click.UsageError(f"{meter_file} is there already; it is not written over. Edit it, or name another.")
        save_starter(meter_file)
        click.echo(f"Written: {meter_file}. Copy your meter's own accuracy into it.", err=True)
        if not (enter or typed or csv_file or output or as_json):
            return
    known = meter_file.exists()
    meter = load_instrument(meter_file) if known else starter()
    if not known:
        click.echo(f"No {meter_file}: ordinary figures are assumed for the meter. Begin one: --begin-meter", err=True)
    ambient_c = parse(ambient, "temperature") if ambient else None
    bench = _Bench(truck, file, meter, ambient_c, note, record_path(file))
    fresh: list[str] = []
    for station_id, text in [_split(each) for each in typed]:
        bench.judged(station_id, text)  # refuses what is no reading before it is kept
        bench.keep(station_id, text)
        fresh.append(station_id)
    if csv_file is not None:
        fresh += bench.take_list(csv_file)
    if enter:
        _ask(bench, line_id)
    sheet = bench.sheet()
    if output is not None:
        write_whole(output, sheet_csv(sheet))
        click.echo(f"Written: {output}", err=True)
    if as_json:
        print_json(plain(sheet))
    elif enter or fresh:
        for station_id in dict.fromkeys(fresh):
            click.echo(verdict_words(sheet.row(station_id)))
        click.echo(headline(sheet))
    else:
        click.echo(sheet_words(sheet, line_id, left=left))
    ctx.exit(sheet.exit_code)


@dataclass
class _Bench:
    """One truck with its meter and its record."""

    truck: Truck
    file: Path
    meter: Instrument
    ambient_c: float | None
    note: str
    record_file: Path

    @cached_property
    def blank(self) -> BenchSheet:
        from pinproof.meter import bench_sheet

        return bench_sheet(self.truck, self.meter, ambient_c=self.ambient_c)

    @cached_property
    def known(self) -> list[str]:
        return [row.station.id for row in self.blank.rows]

    def open(self) -> Record:
        from pinproof.record import open_record

        return open_record(self.record_file, self.truck.id)

    def taken(self) -> dict[str, Taken]:
        """The latest reading of every station whose circuit and meter are still the same."""
        from pinproof.meter import Taken

        if not self.record_file.exists():
            return {}
        with self.open() as record:
            found = record.latest(row.fingerprint for row in self.blank.rows)
        kept = [(row.station.id, found[row.fingerprint]) for row in self.blank.rows if row.fingerprint in found]
        return {station_id: Taken(entry.text, entry.ambient_c) for station_id, entry in kept}

    def sheet(self, extra: dict[str, Taken] | None = None) -> BenchSheet:
        from pinproof.meter import bench_sheet

        return bench_sheet(self.truck, self.meter, {**self.taken(), **(extra or {})}, ambient_c=self.ambient_c)

    def judged(self, station_id: str, text: str) -> SheetRow:
        """The row of a station with this reading in it; nothing is kept yet."""
        from pinproof.meter import Taken

        if station_id not in self.known:
            raise click.UsageError(_unknown(station_id, self.known))
        self.refuse_no_meaning(station_id, text)
        return self.sheet({station_id: Taken(text, self.ambient_c)}).row(station_id)

    def refuse_no_meaning(self, station_id: str, text: str) -> None:
        """What the controller cannot have reported is a slip of the hand, and not kept."""
        from pinproof.errors import QuantityFault

        station = self.blank.row(station_id).station
        if station.quantity != "meaning" or station.line is None:
            return
        known = [*self.truck.line(station.line).meanings, "invalid"]
        if " ".join(text.split()).casefold() not in [each.casefold() for each in known]:
            raise QuantityFault(text[:40], "something this line can report", f"There are: {', '.join(known)}.")

    def keep(self, station_id: str, text: str) -> None:
        """Commit one reading."""
        with self.open() as record:
            record.add(self.entry(station_id, text, self.ambient_c, "", self.note), self.snapshot())

    def snapshot(self) -> Snapshot:
        from pinproof.design.load import decode, read_bytes, text_hash
        from pinproof.record import RecordFault, Snapshot

        data = read_bytes(str(self.file))
        if text_hash(data) != self.truck.text_hash:
            raise RecordFault(self.file.name, "The design file was changed meanwhile.", "Start again.")
        return Snapshot(self.truck.id, self.truck.text_hash, decode(data, self.file.name))

    def entry(self, station_id: str, text: str, ambient_c: float | None, taken_utc: str, note: str) -> Entry:
        """A reading as the record keeps it, with the error this meter has there."""
        from pinproof.errors import OutOfTable
        from pinproof.meter import read_typed
        from pinproof.meter.judge import interval
        from pinproof.record import Entry

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

    def take_list(self, csv_file: Path) -> list[str]:
        """Keep every reading of a list, or none; the stations it has."""
        from pinproof.design.load import decode, read_bytes
        from pinproof.errors import PinproofError
        from pinproof.record import RecordFault, read_rows

        rows = read_rows(decode(read_bytes(str(csv_file)), csv_file.name), csv_file.name, self.truck.id)
        bad, entries = [], []
        for row in rows:
            if row.station not in self.known:
                bad.append(f"line {row.line}: {_unknown(row.station, self.known)}")
                continue
            here = self.ambient_c if row.ambient_c is None else row.ambient_c
            try:
                self.refuse_no_meaning(row.station, row.value)
                entries.append(self.entry(row.station, row.value, here, row.taken_utc, row.note or self.note))
            except PinproofError as fault:
                bad.append(f"line {row.line}: {fault}")
        if bad:
            more = f" And {len(bad) - 10} more." if len(bad) > 10 else ""
            raise RecordFault(csv_file.name, " ".join(bad[:10]) + more, "Mend the list and read it again.")
        with self.open() as record:
            record.add_all(entries, self.snapshot())
        return [each.station for each in entries]


def now_utc() -> str:
    """The time as the record keeps it."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _split(given: str) -> tuple[str, str]:
    station, sign, value = given.partition("=")
    if not sign or not value.strip():
        raise click.UsageError(f'"{given[:60]}" is no reading. Write --read taps/ohms/idle=OL')
    return station.strip(), value.strip()


def _unknown(station_id: str, known: list[str]) -> str:
    import difflib

    near = difflib.get_close_matches(station_id, known, 1)
    hint = f' Did you mean "{near[0]}"?' if near else " `pinproof meter FILE` lists them."
    return f'There is no station "{station_id[:80]}".{hint}'


def _ask(bench: _Bench, line_id: str | None) -> None:
    """One station after the other. Nothing is filled in beforehand."""
    click.echo("Type what the meter shows, with its unit: 2.880k, 0.4 ohm, 12.61 V, OL. Notes begin with ok or bad.")
    click.echo("b back, s skip, q stop. Every reading is on the disk before the next is asked for.")
    rows = [row for row in bench.sheet().rows if line_id in (None, row.station.line) or row.station.line is None]
    if not rows:
        return
    at = next((i for i, row in enumerate(rows) if row.judgement is None), 0)
    step, minded = 0, set[str]()
    while at < len(rows):
        row = bench.sheet().row(rows[at].station.id)
        if row.station.step != step:
            step, minded = row.station.step, set()
            _say_step(row)
        click.echo(f"\n[{at + 1} of {len(rows)}] {_station_words(row)}")
        for caution in row.station.cautions:
            if caution not in minded:
                click.echo(f"    care: {caution}")
            minded.add(caution)
        if row.judgement is not None:
            click.echo(f"    read before: {row.taken.text if row.taken else ''} ({row.judgement.outcome})")
        answer = _prompt("    reads")
        if answer == "q":
            return
        if answer in ("s", ""):
            at += 1
        elif answer == "b":
            at = max(at - 1, 0)
        elif _one(bench, row, answer):
            at += 1


def _prompt(text: str) -> str:
    try:
        return str(click.prompt(text, default="", show_default=False)).strip()
    except click.Abort:
        click.echo()
        return "q"


def _one(bench: _Bench, row: SheetRow, answer: str) -> bool:
    """Judge one answer, ask about it if it is odd, keep it. False: the station is asked for again."""
    from pinproof.errors import PinproofError

    try:
        made = bench.judged(row.station.id, answer)
    except PinproofError as fault:
        click.echo(f"    {fault}")
        return False
    assert made.judgement is not None
    click.echo(verdict_words(made, indent="    "))
    odd = made.judgement.doubts or str(made.judgement.outcome) == "wrong"
    if odd and _prompt("    k keep it as read, Enter measure again") != "k":
        return False
    bench.keep(row.station.id, answer)
    return True


def _say_step(row: SheetRow) -> None:
    from pinproof.meter.stations import SETUPS, STEPS

    click.echo(f"\n{row.station.step}  {STEPS[row.station.step]}\n   {SETUPS[row.station.step]}")


def _station_words(row: SheetRow) -> str:
    from pinproof.meter.sheet import expectation_words

    probes = f"\n    probes: {' and '.join(row.station.probe_words)}" if row.station.probe_words else ""
    return f"{row.station.id}: {row.station.what}{probes}\n    should read: {expectation_words(row)}"


def verdict_words(row: SheetRow, indent: str = "") -> str:
    """What a reading says, with the questions about it."""
    from pinproof.cli.show import hung
    from pinproof.meter.sheet import reading_words

    assert row.judgement is not None
    said = f"[{row.judgement.outcome}] {row.station.id} = {reading_words(row)}: {row.judgement.text}"
    out = hung(said, indent, indent + "  ")
    for doubt in row.judgement.doubts:
        out += hung(doubt.question, f"{indent}  ? ", f"{indent}    ")
    return "\n".join(out)


def sheet_words(sheet: BenchSheet, line_id: str | None = None, *, left: bool = False) -> str:
    """The whole sheet for a terminal or for paper."""
    from pinproof.cli.show import hung
    from pinproof.meter.sheet import expectation_words, headline, reading_words, steps_of

    out = [f"Bench sheet of {sheet.truck_name or sheet.truck_id}. Meter: {sheet.meter}.", headline(sheet), TWO_RANGES]
    for line in sheet.cut_short:
        out.append(f"{line} has too many combinations to list: only what must read one thing stands here.")
    for step, name, setup, rows in steps_of(sheet):
        shown = [
            row for row in rows
            if line_id in (None, row.station.line) or row.station.line is None
            if not left or row.judgement is None or str(row.judgement.outcome) != "as built"
        ]  # fmt: skip
        if not shown:
            continue
        out += ["", f"{step}  {name}", f"   {setup}"]
        for each in dict.fromkeys(c for row in shown for c in row.station.cautions):
            out += hung(each, "   care: ", "         ")
        wide = max(len(row.station.id) for row in shown)
        before: tuple[str, ...] = ()
        for row in shown:
            if row.station.probe_words and row.station.probe_words != before:
                before = row.station.probe_words
                out += hung(" and ".join(before), "   probes: ", "           ")
            read = f"  read {reading_words(row)}: {row.judgement.outcome}" if row.judgement else "  read ________"
            if row.station.quantity == "note":
                out.append(f"     {row.station.id:<{wide}}  {row.station.what}{read}")
            else:
                out.append(f"     {row.station.id:<{wide}}  {expectation_words(row)}{read}")
            for doubt in row.judgement.doubts if row.judgement else ():
                out += hung(doubt.question, "       ? ", "         ")
    out += ["", "Design aid, not approval: event rules, local law and licensed practice come first."]
    return "\n".join(out)
