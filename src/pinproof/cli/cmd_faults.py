"""`pinproof faults`: what every fault of a line would do."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck

if TYPE_CHECKING:
    from pinproof.design import Truck
    from pinproof.faults import Against, LineFaults


@click.command("faults")
@FILE
@JSON
@click.option("--line", "line_id", help="Only this line.")
@click.option("--pairs", is_flag=True, help="Also two faults at once: false commands that neither gives alone.")
@click.option("--most-pairs", default=20_000, show_default=True, help="Most pairs of a line that are looked at.")
@click.option("--all", "every", is_flag=True, help="Print every fault, not only the worst of each group.")
@click.option("--cures/--no-cures", default=True, show_default=True, help="Try cures for unsafe faults.")
@click.pass_context
def command(
    ctx: click.Context, file: Path, as_json: bool, line_id: str | None, pairs: bool, most_pairs: int, every: bool,
    cures: bool,
) -> None:  # fmt: skip
    """List what every fault would do: false commands first, with their severities.

    Opens, shorts, wrong parts, stuck and worn contacts, chafes and bridges, one at a time, in every situation and key
    state, for every truck that the file allows. Ends with 0 if no fault gives a false command, 1 if one does or a line
    could not be looked at, 2 if the file cannot be used.

    Example: pinproof faults truck.toml --all
    """
    from pinproof.cli.show_faults import report_words
    from pinproof.faults import FaultReport, line_faults
    from pinproof.faults import as_json as plain

    truck = read_truck(file)
    names = [line.id for line in truck.lines]
    if line_id is not None and line_id not in names:
        raise click.UsageError(f'There is no line "{line_id}". There are: {", ".join(names)}.')
    found = tuple(
        line_faults(truck, name, pairs=pairs, most_pairs=most_pairs, progress=_say_pairs)
        for name in names
        if line_id in (None, name)
    )
    report = FaultReport(truck.id, truck.name, truck.text_hash, found)
    known = known_against(truck, found, cures=cures)
    if as_json:
        print_json({**plain(report), "against": {each.found.line: _apart(plain(each)) for each in known}})
    else:
        click.echo(report_words(truck, report, known, every=every))
    ctx.exit(report.exit_code)


def known_against(truck: Truck, found: Sequence[LineFaults], *, cures: bool = True) -> tuple[Against, ...]:
    """What is known against the faults of each line; `cures`: with changes of the design tried."""
    from pinproof.chain import known

    return known.known_against(truck, found, tries=cures, say=_say)


def known_faults(truck: Truck, *, cures: bool = True) -> tuple[Against, ...]:
    """The faults of every line and what is known against them, for pages and books."""
    from pinproof.chain import known

    return known.known_faults(truck, tries=cures, say=_say)


def _say(text: str) -> None:
    click.echo(text, err=True)


def _apart(plain: dict[str, Any]) -> dict[str, Any]:
    """Without the dictionary itself, which stands in the report."""
    return {name: value for name, value in plain.items() if name != "found"}


def _say_pairs(done: int, of: int) -> None:
    click.echo(f"\rPairs of faults: {done} of {of}", nl=done == of, err=True)
