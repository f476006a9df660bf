"""`pinproof harness`: from nets to wires, to the board and the papers for the bench."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck
from pinproof.cli.drafting import BEGIN, YES, begin


@click.command("harness")
@FILE
@JSON
@BEGIN
@YES
@click.option(
    "-o", "--out", "folder", type=click.Path(file_okay=False, path_type=Path), metavar="FOLDER",
    help="Write lists, plug faces, formboard and harness.pdf into this folder.",
)  # fmt: skip
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True,
    help="Paper of harness.pdf; the formboard is written for both.",
)  # fmt: skip
@click.option(
    "--date", "made_on", type=click.DateTime(["%Y-%m-%d"]), metavar="YYYY-MM-DD",
    help="Date to print. The same design and date give the same bytes.  [default: today]",
)  # fmt: skip
@click.pass_context
def command(
    ctx: click.Context, file: Path, as_json: bool, is_begin: bool, yes: bool, folder: Path | None, paper: str,
    made_on: datetime | None,
) -> None:  # fmt: skip
    """Lay out the harness: every wire with its size, length, colour and ends.

    Least wire over your places and runs, splices only where they may lie, sizes from the worst current, volt drop, heat
    and fuse, each with the rule that asked for it. Ends with 0 if nothing fails and nothing is open, 1 if something
    does, 2 if the harness cannot be built as the file says.

    With -o: CSV lists, plug faces from the wire side, build steps to tick off, labels, known-code plugs, and the
    formboard at true size on one sheet and over A4 and Letter.

    \b
    Example: pinproof harness truck.toml --begin
    Example: pinproof harness truck.toml -o harness
    """
    if is_begin:
        from pinproof.design.begin_harness import with_harness_draft

        ctx.exit(begin(file, with_harness_draft, "pinproof harness", yes))
    from pinproof.cli.show_harness import harness_words
    from pinproof.harness import as_json as plain
    from pinproof.harness import lay_out, units_of

    truck = read_truck(file)
    harness = lay_out(truck)
    if as_json:
        print_json(plain(harness))
    else:
        click.echo(harness_words(harness, units_of(truck)))
    if folder is not None:
        from pinproof.pack.folder import HARNESS_NAMES, left_words, write_files
        from pinproof.pack.harness_book import harness_files

        when = made_on.date() if made_on else date.today()
        files = harness_files(truck, harness, paper=paper, made_on=when)
        left = write_files(folder, files, HARNESS_NAMES)
        click.echo(f"Wrote {len(files)} files into {folder}: {', '.join(files)}.", err=True)
        if left:
            click.echo(left_words(left), err=True)
        if "formboard-one-sheet.pdf" in files:
            click.echo("Print the formboard at actual size (100 %) and measure its rulers first.", err=True)
    ctx.exit(harness.exit_code)
