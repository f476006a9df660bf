"""`pinproof meter`: the bench sheet, and the readings that fill it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck, write_whole

if TYPE_CHECKING:
    from pinproof.chain.bench import Bench
    from pinproof.meter import BenchSheet, SheetRow


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
    from pinproof.chain.bench import Bench
    from pinproof.design.load import decode, read_bytes
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
    bench = Bench(truck, file, meter, ambient_c, note, record_path(file))
    fresh: list[str] = []
    given = [_split(each) for each in typed]
    for station_id, text in given:
        bench.judged(station_id, text)  # refuses what is no reading before any of them is kept
    for station_id, text in given:
        bench.keep(station_id, text)
        fresh.append(station_id)
    if csv_file is not None:
        fresh += bench.take_list(decode(read_bytes(str(csv_file)), csv_file.name), csv_file.name)
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


def _split(given: str) -> tuple[str, str]:
    station, sign, value = given.partition("=")
    if not sign or not value.strip():
        raise click.UsageError(f'"{given[:60]}" is no reading. Write --read taps/ohms/idle=OL')
    return station.strip(), value.strip()


def _ask(bench: Bench, line_id: str | None) -> None:
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


def _one(bench: Bench, row: SheetRow, answer: str) -> bool:
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
    from pinproof.meter.sheet import TWO_RANGES, expectation_words, headline, reading_words, steps_of

    out = [f"Bench sheet of {sheet.truck_name or sheet.truck_id}. Meter: {sheet.meter}.", headline(sheet), *TWO_RANGES]
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
