"""`pinproof prove`: the whole proof of a design file."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck, write_whole

if TYPE_CHECKING:
    from pinproof.choose import Cure
    from pinproof.design import Truck
    from pinproof.proof import TruckProof


@click.command("prove")
@FILE
@JSON
@click.option("--report", type=click.Path(dir_okay=False, path_type=Path), help="Also write a one-page HTML report.")
@click.option("--all", "every", is_flag=True, help="Print every situation, not only those that matter.")
@click.option("--samples", default=20_000, show_default=True, help="Random trucks for the sampled yield; 0: none.")
@click.option("--seed", default=1, show_default=True, help="Seed of the sampled yield.")
@click.option("--cures/--no-cures", default=True, show_default=True, help="Try cures for a line that does not hold.")
@click.pass_context
def command(
    ctx: click.Context,
    file: Path,
    as_json: bool,
    report: Path | None,
    every: bool,
    samples: int,
    seed: int,
    cures: bool,
) -> None:
    """Prove every line: each situation, in the worst case, against its windows.

    Ends with 0 if all is proven, 1 if something does not hold or is not shown, 2 if the file cannot be used.

    Example: pinproof prove truck.toml --report proof.html
    """
    from pinproof.cli.show import truck_words, wrapped
    from pinproof.proof import as_json as plain
    from pinproof.proof import prove

    truck = read_truck(file)
    proof = prove(truck, samples=samples, seed=seed)
    found = cures_of(truck, proof) if cures else {}
    if as_json:
        print_json({**plain(proof), "cures": plain(found)})
    else:
        click.echo(truck_words(proof, every=every))
        for line_id, each in found.items():
            click.echo(f"\nCures tried for {line_id}, each with its values re-chosen and the whole proof rerun:")
            for cure in each:
                click.echo("\n".join(wrapped(f"[{cure.verdict}] {cure.text}")))
            if not each:
                click.echo("  none of those tried is better; see what the weakest link needs.")
    if report is not None:
        from pinproof.cli.cmd_faults import known_faults
        from pinproof.pack.report import report_html

        known, day = known_faults(truck, cures=cures), date.today().isoformat()
        write_whole(report, report_html(truck, proof, cures=found, faults=known, generated_on=day))
        click.echo(f"\nReport: {report}", err=as_json)
    ctx.exit(proof.verdict.exit_code)


def cures_of(truck: Truck, proof: TruckProof) -> dict[str, tuple[Cure, ...]]:
    """Cures for each line that failed or was not shown."""
    from pinproof.chain import known

    return known.cures_of(truck, proof)
