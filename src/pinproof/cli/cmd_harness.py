"""`pinproof harness`: from nets to wires."""

from __future__ import annotations

from pathlib import Path

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck, write_whole


@click.command("harness")
@FILE
@JSON
@click.option(
    "-o", "--out", "folder", type=click.Path(file_okay=False, path_type=Path), help="Write the lists into this folder."
)
@click.pass_context
def command(ctx: click.Context, file: Path, as_json: bool, folder: Path | None) -> None:
    """Lay out the harness: every wire with its size, length, colour and ends.

    Least wire over your places and runs, splices only where they may lie, sizes from the worst current, volt drop, heat
    and fuse, each with the rule that asked for it. Ends with 0 if nothing fails and nothing is open, 1 if something
    does, 2 if the harness cannot be built as the file says.

    Example: pinproof harness truck.toml -o harness
    """
    from pinproof.cli.show_harness import harness_words
    from pinproof.harness import as_json as plain
    from pinproof.harness import lay_out
    from pinproof.harness.lists import csv_files

    truck = read_truck(file)
    harness = lay_out(truck)
    if as_json:
        print_json(plain(harness))
    else:
        click.echo(harness_words(harness))
    if folder is not None:
        files = csv_files(truck, harness)
        for name, text in files.items():
            write_whole(folder / name, text)
        click.echo(f"Wrote {len(files)} lists into {folder}.", err=True)
    ctx.exit(harness.exit_code)
