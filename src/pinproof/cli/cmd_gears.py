"""`pinproof gears`: driveline sums, a borrowed table, the settings sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck, write_whole
from pinproof.cli.drafting import BEGIN, YES, begin

if TYPE_CHECKING:
    from pinproof.design import Truck
    from pinproof.design.model_drive import Borrowed
    from pinproof.driveline import Converted

PATH = click.Path(dir_okay=False, path_type=Path)


@click.command("gears")
@FILE
@JSON
@BEGIN
@YES
@click.option(
    "--at",
    "speeds",
    multiple=True,
    metavar="SPEED",
    help='Engine speed in every gear at this road speed, as in "100 km/h".',
)
@click.option("--chart", type=PATH, metavar="FILE", help="Write the saw-tooth chart as SVG.")
@click.option("--range", "transfer", default="", help="With --chart or --table: the range of the transfer case.")
@click.option("--table", "table_id", help="Show this borrowed table, converted and marked.")
@click.option("-o", "--output", type=PATH, help="With --table: write it as CSV, one row for each cell.")
@click.option("--sheet", is_flag=True, help="Print everything that the controller has to be told.")
@click.pass_context
def command(
    ctx: click.Context,
    file: Path,
    as_json: bool,
    is_begin: bool,
    yes: bool,
    speeds: tuple[str, ...],
    chart: Path | None,
    transfer: str,
    table_id: str | None,
    output: Path | None,
    sheet: bool,
) -> None:
    """Work out speeds, shifts and safe downshifts of a driveline, convert a borrowed table, print the settings.

    Ends with 0 if all is safe and known, 1 if something is unsafe or not known (with --sheet also while something is
    blank), 2 if a file cannot be used.

    \b
    Example: pinproof gears truck.toml --begin
    Example: pinproof gears truck.toml --at "100 km/h" --chart saw-tooth.svg
    Example: pinproof gears truck.toml --sheet
    """
    if is_begin:
        from pinproof.design.begin_drive import with_drive_section

        ctx.exit(begin(file, with_drive_section, "pinproof gears", yes))
    from pinproof.chain.drive_report import drive_report
    from pinproof.driveline import blanks, converted_csv, drive_of
    from pinproof.quantities import parse

    truck = read_truck(file)
    drive = drive_of(truck)
    asked = [_speed(parse(each, "speed"), each) for each in speeds]
    if table_id is not None and table_id not in [each.id for each in drive.borrowed]:
        known = ", ".join(each.id for each in drive.borrowed) or "none"
        raise click.UsageError(f'There is no borrowed table "{table_id[:40]}". There is: {known}.')
    if output is not None and table_id is None:
        raise click.UsageError("-o writes a borrowed table; name it with --table.")
    if transfer and transfer not in [each.name for each in drive.transfers]:
        names = ", ".join(each.name for each in drive.transfers)
        raise click.UsageError(f'There is no range "{transfer[:40]}". There is: {names}.')
    report = drive_report(truck, lambda each: _text(file.parent, each), asked)
    sums, checks, tables, told = report.sums, report.checks, report.tables, report.sheet
    chosen = [each for each in tables.get(table_id or "", ()) if transfer in ("", each.transfer)]
    if chart is not None:
        from pinproof.drawings.saw_tooth import saw_tooth

        write_whole(chart, saw_tooth(sums, transfer=transfer).svg)
        click.echo(f"Written: {chart}", err=True)
    if output is not None:
        write_whole(output, converted_csv(chosen))
        click.echo(f"Written: {output}", err=True)
    if as_json:
        print_json(report.as_json())
    else:
        _say(truck, sums, checks, chosen, told if sheet else None)
    bad = any(each.verdict.exit_code for each in checks) or (sheet and blanks(told) > 0)
    ctx.exit(1 if bad else 0)


def _say(truck: Truck, sums: Any, checks: Any, chosen: list[Converted], told: Any) -> None:
    from pinproof.cli.show_gears import sheet_words, sums_words, table_words

    if chosen:
        click.echo("\n\n".join(table_words(each) for each in chosen))
    if told is not None:
        click.echo(sheet_words(told, truck.name or truck.id))
    if not chosen and told is None:
        click.echo(sums_words(sums, checks))


def _text(folder: Path, borrowed: Borrowed) -> str:
    from pinproof.design.load import decode, read_bytes

    path = Path(folder, borrowed.file)
    return decode(read_bytes(str(path)), path.name)


def _speed(speed_m_per_s: float, text: str) -> float:
    if not 0.0 < speed_m_per_s <= 500.0:
        raise click.UsageError(f'--at "{text[:40]}": a truck has more than 0 and less than 1800 km/h.')
    return speed_m_per_s
