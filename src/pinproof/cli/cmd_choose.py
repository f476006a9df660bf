"""`pinproof choose`: resistor values, proven best, and the proof of the line with them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck

if TYPE_CHECKING:
    from pinproof.choose import Choice


@click.command("choose")
@FILE
@JSON
@click.option("--line", "line_id", help="The line, where the file has several.")
@click.option("--series", default="E96", show_default=True, help="Preferred series: E12, E24, E48, E96, E192.")
@click.option("--drawer", type=click.Path(dir_okay=False, path_type=Path), help="Choose from this drawer file instead.")
@click.option("--low", default="10 ohm", show_default=True, help="Least resistance to try.")
@click.option("--high", default="100 kohm", show_default=True, help="Greatest resistance to try.")
@click.option("--tolerance", help='Of the parts you will buy, for instance "1 %"; default: as the file says.')
@click.option("--write", is_flag=True, help="Put the values into the file; comments stay, the old file is kept.")
@click.pass_context
def command(
    ctx: click.Context,
    file: Path,
    as_json: bool,
    line_id: str | None,
    series: str,
    drawer: Path | None,
    low: str,
    high: str,
    tolerance: str | None,
    write: bool,
) -> None:
    """Choose resistor values and prove the result.

    Looks at every combination of values, throws out only what is proven worse, and says how sure it is. Parts marked
    fixed stay. Ends with 0 if the line then holds, 1 if not, 2 if the file cannot be used.

    Example: pinproof choose truck.toml --series E24 --write
    """
    from pinproof.choose import changes_for, choose
    from pinproof.cli.show import choice_words
    from pinproof.design import UNKNOWN
    from pinproof.design.edit import set_values
    from pinproof.errors import NoSolution
    from pinproof.proof import as_json as plain
    from pinproof.quantities import parse

    truck = read_truck(file)
    names = [line.id for line in truck.lines]
    chosen_line = line_id or (names[0] if len(names) == 1 else None)
    if chosen_line not in names:
        raise click.UsageError(f"Which line? Name one with --line: {', '.join(names)}.")
    owner = truck.input_of(truck.line(chosen_line))
    if UNKNOWN in (owner.pull_up, owner.pull_down):
        raise NoSolution(
            f"The pull of input {owner.id} is unknown, so no value can be better than another.",
            cure=f"Measure it first: pinproof next {file}",
        )
    source: object = series.upper()
    if drawer is not None:
        from pinproof.chain.stock import load_drawer

        source = load_drawer(drawer)
    found = choose(
        truck,
        chosen_line,
        source=source,  # type: ignore[arg-type]
        low_ohm=parse(low, "resistance"),
        high_ohm=parse(high, "resistance"),
        tolerance=None if tolerance is None else parse(tolerance, "tolerance"),
    )
    written = write and found.feasible
    if written:
        set_values(file, changes_for(found), expected_hash=truck.text_hash)
    if as_json:
        print_json(_plain(found, plain))
    else:
        click.echo(choice_words(found))
        if written:
            click.echo(f"\nWritten to {file}; the file as it was is {file}.bak. Next: pinproof prove {file}")
        elif write:
            click.echo(f"\nNothing was written: these values do not hold. {file} is as it was.")
        elif found.feasible:
            click.echo("\nAdd --write to put these values into the file.")
    ctx.exit(found.verdict.exit_code)


def _plain(found: Choice, plain: object) -> dict[str, object]:
    """The choice for a program: the proof as a whole stands in `pinproof prove --json`."""
    assert callable(plain)
    skipped = {"truck", "proof"}
    fields = {name: plain(getattr(found, name)) for name in found.__dataclass_fields__ if name not in skipped}
    return {"values": found.values, **fields}
