"""`pinproof upgrade`: a design file of an older format, written anew in the newest."""

from __future__ import annotations

from pathlib import Path

import click

from pinproof.cli.common import FILE


@click.command("upgrade")
@FILE
@click.option(
    "--driveline", type=click.Path(dir_okay=False, path_type=Path),
    help="A driveline file of the old kind; its tables go under [drive]. It stays as it is.",
)  # fmt: skip
def command(file: Path, driveline: Path | None) -> None:
    """Write a design file of an older format in the newest one; the file as it was is kept.

    Older files can be read without this. Comments and order stay. Ends with 0 if the file is of the newest format now,
    2 if it cannot be brought there; then nothing was written.

    \b
    Example: pinproof upgrade truck.toml
    Example: pinproof upgrade truck.toml --driveline truck-drive.toml
    """
    from pinproof.design.keys import FORMAT
    from pinproof.design.upgrade import upgrade

    done = upgrade(file, driveline)
    if not done.said and not done.kept:
        click.echo(f"{file} is of the newest format, {FORMAT}. Nothing was written.")
        return
    for said in done.said:
        click.echo(said)
    click.echo(f"Written: {file}. As it was: {done.kept}")
    click.echo(f"Next: pinproof check {file}")
