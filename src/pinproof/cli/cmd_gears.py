"""`pinproof gears`: driveline sums, a borrowed table, the settings sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pinproof.cli.common import JSON, print_json, read_truck, write_whole

if TYPE_CHECKING:
    from pinproof.design import Truck
    from pinproof.driveline import Borrowed, Converted, Drive

PATH = click.Path(dir_okay=False, path_type=Path)


@click.command("gears")
@click.argument("drive_file", metavar="[DRIVE]", type=PATH, required=False)
@JSON
@click.option("--begin", type=PATH, metavar="FILE", help="Write a driveline file with blanks, to be filled in.")
@click.option("--at", "speeds", multiple=True, metavar="SPEED", help='Engine speed in every gear at "100 km/h".')
@click.option("--chart", type=PATH, metavar="FILE", help="Write the saw-tooth chart as SVG.")
@click.option("--range", "transfer", default="", help="With --chart: the range of the transfer case.")
@click.option("--table", "table_id", help="Show this borrowed table, converted and marked.")
@click.option("-o", "--output", type=PATH, help="With --table: write it as CSV, one row for each cell.")
@click.option("--sheet", is_flag=True, help="Print everything that the controller has to be told.")
@click.option(
    "--design", "design_file", type=PATH, help="The truck's design file: its id is compared, codes are taken."
)
@click.pass_context
def command(
    ctx: click.Context,
    drive_file: Path | None,
    as_json: bool,
    begin: Path | None,
    speeds: tuple[str, ...],
    chart: Path | None,
    transfer: str,
    table_id: str | None,
    output: Path | None,
    sheet: bool,
    design_file: Path | None,
) -> None:
    """Work out speeds, shifts and safe downshifts of a driveline, convert a borrowed table, print the settings.

    Ends with 0 if all is safe and known, 1 if something is unsafe or not known (with --sheet also while something is
    blank), 2 if a file cannot be used.

    \b
    Example: pinproof gears --begin drive.toml
    Example: pinproof gears drive.toml --at "100 km/h" --chart saw-tooth.svg
    Example: pinproof gears drive.toml --sheet --design truck.toml
    """
    if begin is not None:
        _begin(begin, drive_file)
        return
    if drive_file is None:
        raise click.UsageError(
            "Name the driveline file, as in: pinproof gears drive.toml. Begin one: --begin drive.toml"
        )
    from pinproof.driveline import as_json as plain
    from pinproof.driveline import blanks, converted_csv, drive_sums, load_drive, settings_sheet, table_check
    from pinproof.quantities import parse

    drive = load_drive(drive_file)
    truck = None if design_file is None else _same_truck(drive, design_file)
    asked = [_speed(parse(each, "speed"), each) for each in speeds]
    if table_id is not None and table_id not in [each.id for each in drive.borrowed]:
        known = ", ".join(each.id for each in drive.borrowed) or "none"
        raise click.UsageError(f'There is no borrowed table "{table_id[:40]}". There is: {known}.')
    if output is not None and table_id is None:
        raise click.UsageError("-o writes a borrowed table; name it with --table.")
    sums = drive_sums(drive, asked)
    tables = {each.id: _converted(drive, each) for each in drive.borrowed}
    checks = (*sums.checks, *(table_check(each) for each in tables.values()))
    told = settings_sheet(drive, sums, truck)
    if chart is not None:
        from pinproof.drawings.saw_tooth import saw_tooth

        try:
            drawn = saw_tooth(sums, transfer=transfer)
        except ValueError as fault:
            raise click.UsageError(f"{fault}.") from None
        write_whole(chart, drawn.svg)
        click.echo(f"Written: {chart}", err=True)
    if output is not None and table_id is not None:
        write_whole(output, converted_csv(tables[table_id]))
        click.echo(f"Written: {output}", err=True)
    if as_json:
        whole: dict[str, Any] = {**plain(sums), "checks": plain(checks)}
        whole["verdict"] = str(min((each.verdict for each in checks), key=lambda each: each.rank))
        print_json({**whole, "borrowed": plain(tuple(tables.values())), "sheet": plain(told)})
    else:
        _say(drive, sums, checks, tables.get(table_id or ""), told if sheet else None)
    bad = any(each.verdict.exit_code for each in checks) or (sheet and blanks(told) > 0)
    ctx.exit(1 if bad else 0)


def _say(drive: Drive, sums: Any, checks: Any, table: Converted | None, told: Any) -> None:
    from pinproof.cli.show_gears import sheet_words, sums_words, table_words

    if table is not None:
        click.echo(table_words(table))
    if told is not None:
        click.echo(sheet_words(told, drive.name or drive.truck))
    if table is None and told is None:
        click.echo(sums_words(sums, checks))


def _begin(begin: Path, drive_file: Path | None) -> None:
    from pinproof.driveline import save_starter

    if drive_file is not None:
        raise click.UsageError("--begin writes a new file; name only that one.")
    if begin.exists():
        raise click.UsageError(f"{begin} is there already; it is not written over. Edit it, or name another.")
    save_starter(begin)
    click.echo(f"Written: {begin}. Fill in its blanks, then: pinproof gears {begin}")


def _same_truck(drive: Drive, design_file: Path) -> Truck:
    from pinproof.driveline import DriveFault

    truck = read_truck(design_file)
    if truck.id != drive.truck:
        said = f'truck: this driveline is of "{drive.truck}", {design_file.name} is "{truck.id}". Take the right file.'
        raise DriveFault(drive.file, (said,))
    return truck


def _converted(drive: Drive, borrowed: Borrowed) -> Converted:
    from pinproof.design.load import decode, read_bytes
    from pinproof.driveline import convert

    path = Path(drive.folder, borrowed.file)
    return convert(drive, borrowed, decode(read_bytes(str(path)), path.name))


def _speed(speed_m_per_s: float, text: str) -> float:
    if not 0.0 < speed_m_per_s <= 500.0:
        raise click.UsageError(f'--at "{text[:40]}": a truck has more than 0 and less than 1800 km/h.')
    return speed_m_per_s
