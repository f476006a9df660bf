"""`--begin` of harness, inhibit and gears: show what would be added to the file, ask, write."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

BEGIN = click.option(
    "--begin",
    "is_begin",
    is_flag=True,
    help='Draft the tables that the file lacks, with "?" where only you know; asks first.',
)
YES = click.option("--yes", is_flag=True, help="With --begin: write without asking.")


def begin(file: Path, draft: Callable[[str, str], str], command: str, yes: bool) -> int:
    """Show the draft and write it if that is wanted; the exit code. Errors as those of `draft` and `save_draft`."""
    from pinproof.design.begin_draft import added, blanks, read_for_draft, save_draft

    text, seen = read_for_draft(file)
    new = draft(text, file.name)
    count = len(text.splitlines())
    for at, lines in added(text, new):
        click.echo(f"At the end of {file.name}:" if at == count else f"After line {at} of {file.name}:")
        click.echo("".join(f"    {line}".rstrip() + "\n" for line in lines))
    asked = blanks(text, new)
    if asked:
        each = [f"{name} ({many} times)" if many > 1 else name for name, many in asked.items()]
        click.echo(f'What {file.name} does not tell, each "?": {", ".join(each)}.')
    if not yes and not click.confirm(f"Write this into {file}?", err=True):
        click.echo("Nothing was written.", err=True)
        return 1
    save_draft(file, new, seen)
    click.echo(
        f'Added to {file}: a draft behind #. Replace each "?", take away the # where it fits, then: {command} {file}'
    )
    return 0
