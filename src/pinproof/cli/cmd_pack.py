"""`pinproof pack`: the build book, the field card, lists and drawings of a design, in a folder."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click

from pinproof.cli.common import FILE, read_truck


@click.command("pack")
@FILE
@click.option(
    "-o", "--output", type=click.Path(file_okay=False, path_type=Path), required=True, metavar="FOLDER",
    help="Folder for the files; only files of the pack's own names are replaced in it.",
)  # fmt: skip
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Paper for print.")
@click.option(
    "--date", "made_on", type=click.DateTime(["%Y-%m-%d"]), metavar="YYYY-MM-DD",
    help="Date to print. The same design and date give the same bytes.  [default: today]",
)  # fmt: skip
@click.pass_context
def command(ctx: click.Context, file: Path, output: Path, paper: str, made_on: datetime | None) -> None:
    """Write what goes on the bench and in the cab: book.pdf, card.html, lists and drawings.

    Everything is written, whatever the verdict is, and carries it. Ends with 0 if all is proven (lines, driveline and
    start inhibit, as far as the file has them), 1 if something does not hold or is not shown, 2 if the file cannot be
    used.

    Example: pinproof pack truck.toml -o bench
    """
    from pinproof.cli.cmd_faults import known_faults
    from pinproof.cli.cmd_inhibit import inhibit_of
    from pinproof.cli.cmd_prove import cures_of
    from pinproof.pack.book import BESIDE_THE_LINES, not_of_the_lines
    from pinproof.pack.folder import left_words, pack_files, write_files
    from pinproof.pack.sentences import headline
    from pinproof.proof import prove

    truck = read_truck(file)
    proof = prove(truck)
    when = made_on.date() if made_on else date.today()
    cures = cures_of(truck, proof)
    inhibit = inhibit_of(truck)
    files = pack_files(truck, proof, paper=paper, made_on=when, cures=cures, faults=known_faults(truck),
                       inhibit=inhibit)  # fmt: skip
    left = write_files(output, files)
    click.echo(f"{headline(proof.verdict, proof.rests_on)}.")
    beside = not_of_the_lines(truck, inhibit)
    if beside:
        click.echo(f"{BESIDE_THE_LINES}\n" + "\n".join(f"  - {each}" for each in beside))
    for name in files:
        click.echo(f"  {output / name}")
    if left:
        click.echo(left_words(left), err=True)
    ctx.exit(proof.verdict.exit_code or int(bool(beside)))
