"""`pinproof inhibit`: where it cranks, and which single fault lets it crank in gear."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck
from pinproof.cli.drafting import BEGIN, YES, begin

if TYPE_CHECKING:
    from pinproof.design import Truck
    from pinproof.inhibit import InhibitReport


@click.command("inhibit")
@FILE
@JSON
@BEGIN
@YES
@click.option("--all", "every", is_flag=True, help="Print every fault, the harmless ones too.")
@click.option("--compare", is_flag=True, help="Also judge the same parts feed side, ground side and by the controller.")
@click.pass_context
def command(
    ctx: click.Context, file: Path, as_json: bool, is_begin: bool, yes: bool, every: bool, compare: bool
) -> None:
    """Prove the start inhibit: where it cranks, and which fault lets it crank in gear.

    Every detent and every point between, start held and off, lever unplugged, for every truck that the file allows;
    then each single fault with the ohms at which it cranks where it must not, and the test that finds it. Ends with 0
    only if the table holds, no command button can raise the coil and no fault but those of every form is left, 1
    otherwise, 2 if it cannot be judged. Takes about a minute for a whole truck.

    A design aid, not approval: the event's rule book and the law of the road decide.

    \b
    Example: pinproof inhibit truck.toml --begin
    Example: pinproof inhibit truck.toml --compare
    """
    if is_begin:
        from pinproof.design.begin_inhibit import with_inhibit_draft

        ctx.exit(begin(file, with_inhibit_draft, "pinproof inhibit", yes))
    from pinproof.cli.show_inhibit import report_words
    from pinproof.inhibit import as_json as plain
    from pinproof.inhibit.chains import FORMS
    from pinproof.inhibit.from_design import prove_truck

    truck = read_truck(file)
    report = prove_truck(truck, FORMS if compare else (), _say if sys.stderr.isatty() else None)
    if as_json:
        print_json({"id": truck.id, "name": truck.name, "text_hash": truck.text_hash, **plain(report)})
    else:
        click.echo(report_words(report, truck.name, every=every))
    ctx.exit(report.exit_code)


def inhibit_of(truck: Truck) -> InhibitReport | None:
    """The start inhibit for the pack; None where the file states none, or none that can be judged: then why is said."""
    from pinproof.design import DesignFault
    from pinproof.inhibit.from_design import prove_truck

    if truck.inhibit is None:
        return None
    try:
        return prove_truck(truck, progress=_say if sys.stderr.isatty() else None)
    except DesignFault as fault:
        click.echo(f"The start inhibit is not in the book: {fault}", err=True)
        return None


def _say(done: int, of: int) -> None:
    click.echo(f"\rFaults of the start circuit: {done} of {of}", nl=done == of, err=True)
