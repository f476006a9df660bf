"""`pinproof drawer`: the owner's own stock of resistors."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import JSON, NothingThere, print_json

if TYPE_CHECKING:
    from pinproof.chain.stock import Row


@click.command("drawer")
@click.argument("what")
@click.argument("cells", nargs=-1)
@click.option(
    "--drawer", "drawer_file", type=click.Path(dir_okay=False, path_type=Path), default=Path("drawer.toml"),
    show_default=True, help="The drawer file.",
)  # fmt: skip
@click.option("--count", default="1", show_default=True, help="With add: how many.")
@click.option("--measured", default="", help='With add: ohms as the meter showed them, as in "1.497k".')
@click.option("--meter", default="", help='With add: the meter\'s accuracy, as in "0.8 % + 2".')
@click.option("--label", default="", help="With add: what you call it.")
@JSON
def command(
    what: str,
    cells: tuple[str, ...],
    drawer_file: Path,
    count: str,
    measured: str,
    meter: str,
    label: str,
    as_json: bool,
) -> None:
    """Keep a list of the resistors you have: WHAT is a CSV file, add, or list.

    A CSV file adds all its rows: ohm, tolerance, count, and if you like measured_ohm, meter, label. If one row is bad
    none is added. Equal parts are counted together. Ends with 0 if the list was shown or written, 2 if not.

    \b
    Example: pinproof drawer stock.csv
    Example: pinproof drawer add 1.5k "1 %" --count 10
    Example: pinproof drawer add 4k7 --measured 4.68k --meter "0.8 % + 2"
    Example: pinproof drawer list
    """
    from pinproof.chain.stock import load_rows, merged, read_csv, save_drawer
    from pinproof.design.load import read_bytes

    before: tuple[Row, ...] = ()
    fresh: tuple[Row, ...]
    seen: str | None = None
    if drawer_file.exists():
        before, seen = load_rows(drawer_file)
    if what == "list":
        if cells:
            raise click.UsageError("list takes nothing more.")
        if seen is None:
            begin = 'pinproof drawer add 1.5k "1 %" --count 10'
            raise NothingThere(f"There is no {drawer_file} yet. Begin one: {begin}")
        _show(before, drawer_file, as_json)
        return
    if what == "add":
        fresh = (_one(cells, count, measured, meter, label),)
    elif what.lower().endswith((".csv", ".tsv", ".txt")):
        if cells:
            raise click.UsageError(f"One file at a time: {what}.")
        fresh = read_csv(read_bytes(what), Path(what).name)
    else:
        raise click.UsageError(f'"{what[:60]}" is neither add, nor list, nor a CSV file.')
    after = merged((*before, *fresh))
    drawer_file.parent.mkdir(parents=True, exist_ok=True)
    save_drawer(drawer_file, after, seen)
    if not as_json:
        pieces = sum(row.count for row in fresh)
        click.echo(
            f"Added: {pieces} × {fresh[0].ohm}." if len(fresh) == 1 else f"Added: {pieces} in {len(fresh)} rows."
        )
    _show(after, drawer_file, as_json)


def _one(cells: tuple[str, ...], count: str, measured: str, meter: str, label: str) -> Row:
    from pinproof.chain.stock import read_row
    from pinproof.errors import QuantityFault

    if not 1 <= len(cells) <= 2:
        raise click.UsageError('Say ohms and tolerance, as in: pinproof drawer add 1.5k "1 %" --count 10')
    given = {"ohm": cells[0], "tolerance": cells[1] if len(cells) > 1 else "", "count": count}
    given |= {"measured_ohm": measured, "meter": meter, "label": label}
    try:
        return read_row(given)
    except (QuantityFault, ValueError) as fault:
        text = str(fault)
        raise click.UsageError(text if text.endswith(".") else f"{text}.") from None


def _show(rows: tuple[Row, ...], drawer_file: Path, as_json: bool) -> None:
    from pinproof.chain.stock import USUAL_METER
    from pinproof.quantities import format_value

    listed = []
    for row in rows:
        part = row.part()
        ohms = {"low_ohm": part.low_ohm, "nominal_ohm": part.nominal_ohm, "high_ohm": part.high_ohm}
        listed.append({**asdict(row), **ohms})
    if as_json:
        print_json({"file": str(drawer_file), "count": sum(row.count for row in rows), "parts": listed})
        return
    total = sum(row.count for row in rows)
    kinds = f"{len(rows)} kind" if len(rows) == 1 else f"{len(rows)} kinds"
    click.echo(f"{drawer_file}: {total} resistor{'' if total == 1 else 's'} of {kinds}.")
    for row in rows:
        part = row.part()
        nominal = format_value(part.nominal_ohm, "resistance", digits=6)
        reach = f"±{(part.high_ohm / part.nominal_ohm - 1.0) * 100.0:.2g} %"
        how = "as printed"
        if part.measured_ohm is not None:
            how = f"measured, meter {row.meter or f'taken as {USUAL_METER}'}"
        elif row.measured_ohm:
            how = f"as printed; {row.measured_ohm} was measured, but the meter is no finer"
        click.echo(f"  {row.count:>5} × {nominal:<10} {reach:<8} {how}{f'  {row.label}' if row.label else ''}")
