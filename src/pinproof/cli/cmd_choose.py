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
@click.option("--parts", metavar="ANSWER", help='What you can get, as `new` asks: "E24 1 %", or your drawer file.')
@click.option("--series", help="Preferred series: E12, E24, E48, E96, E192; default: as the file's [parts], else E96.")
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
    parts: str | None,
    series: str | None,
    drawer: Path | None,
    low: str,
    high: str,
    tolerance: str | None,
    write: bool,
) -> None:
    """Choose resistor values and prove the result.

    Looks at every combination of values, throws out only what is proven worse, and says how sure it is. Parts marked
    fixed stay. Without an option it takes what [parts] in the file names: the drawer, else the series. Ends with 0 if
    the line then holds, 1 if not, 2 if the file cannot be used.

    Example: pinproof choose truck.toml --series E24 --write
    """
    from pinproof.chain.choosing import check_choosable, check_range, reach_words, source_of
    from pinproof.choose import choose
    from pinproof.cli.show import choice_words
    from pinproof.proof import as_json as plain
    from pinproof.quantities import parse

    truck = read_truck(file)
    names = [line.id for line in truck.lines]
    chosen_line = line_id or (names[0] if len(names) == 1 else None)
    if chosen_line not in names:
        raise click.UsageError(f"Which line? Name one with --line: {', '.join(names)}.")
    check_choosable(truck, chosen_line, str(file))
    if parts is not None and (series is not None or drawer is not None or tolerance is not None):
        raise click.UsageError("--parts says it all; leave out --series, --drawer and --tolerance.")
    if parts is not None:
        series, tolerance, drawer = _understood(parts, file)
    reach = None if tolerance is None else parse(tolerance, "tolerance")
    low_ohm, high_ohm = parse(low, "resistance"), parse(high, "resistance")
    check_range(low_ohm, high_ohm, reach)
    taken = source_of(truck, file.parent, file.name, series=series, drawer=drawer, tolerance=reach)
    found = choose(
        truck,
        chosen_line,
        source=taken.source,
        low_ohm=low_ohm,
        high_ohm=high_ohm,
        tolerance=reach,
    )
    written = write and found.feasible
    if written:
        _write(file, found, taken.origin, truck.text_hash)
    if as_json:
        print_json(_plain(found, plain))
    else:
        click.echo(choice_words(found))
        click.echo(f"\nValues from {taken.origin}{reach_words(found)}.")
        if written:
            click.echo(f"\nWritten to {file}; the file as it was is {file}.bak. Next: pinproof prove {file}")
        elif write:
            click.echo(f"\nNothing was written: no values hold. {file} is as it was.")
        elif found.feasible:
            click.echo("\nAdd --write to put these values into the file.")
        if not found.feasible:
            click.echo(f"Next: pinproof prove {file}   tries changes of the circuit, each with values of its own")
            click.echo(f"      pinproof next {file}    says which number to measure first")
    ctx.exit(found.verdict.exit_code)


def _understood(parts: str, file: Path) -> tuple[str | None, str | None, Path | None]:
    """Series, tolerance and drawer of an answer as `new` takes it; a usage error says what would be right."""
    from pinproof.chain.interview import AnswerFault, question, understand

    try:
        said = understand(question("parts"), parts)
    except AnswerFault as fault:
        raise click.UsageError(f"--parts: {fault}") from None
    if said is None:
        return None, None, None
    if said.drawer:
        named = Path(said.drawer)
        return None, None, named if named.is_absolute() or named.exists() else file.parent / named
    if said.guessed:
        click.echo(f"Parts: {said.text}.", err=True)
    return said.series, said.tolerance if said.guessed != "tolerance" else None, None


def _write(file: Path, found: Choice, origin: str, seen: str) -> None:
    """The values into the file, whole or not at all."""
    from pinproof.chain.choosing import text_with
    from pinproof.design import ChangedUnderneath
    from pinproof.design.load import decode, read_bytes, text_hash
    from pinproof.design.save import save_atomic

    data = read_bytes(str(file))
    if text_hash(data) != seen:
        raise ChangedUnderneath(file.name)
    save_atomic(file, text_with(decode(data, file.name), found, origin, file.name), seen)


def _plain(found: Choice, plain: object) -> dict[str, object]:
    """The choice for a program: the proof as a whole stands in `pinproof prove --json`."""
    assert callable(plain)
    skipped = {"truck", "proof"}
    fields = {name: plain(getattr(found, name)) for name in found.__dataclass_fields__ if name not in skipped}
    return {"values": found.values, **fields}
