"""`pinproof choose`: resistor values, proven best, and the proof of the line with them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck

if TYPE_CHECKING:
    from pinproof.choose import Choice, Drawer
    from pinproof.design import Truck


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
    from pinproof.choose import changes_for, choose
    from pinproof.cli.show import choice_words
    from pinproof.design import UNKNOWN
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
    if parts is not None and (series is not None or drawer is not None or tolerance is not None):
        raise click.UsageError("--parts says it all; leave out --series, --drawer and --tolerance.")
    if parts is not None:
        series, tolerance, drawer = _understood(parts, file)
    source, origin = _source(truck, file, series, drawer, tolerance)
    reach = None if tolerance is None else parse(tolerance, "tolerance")
    found = choose(
        truck,
        chosen_line,
        source=source,
        low_ohm=parse(low, "resistance"),
        high_ohm=parse(high, "resistance"),
        tolerance=reach,
    )
    written = write and found.feasible
    if written:
        _write(file, changes_for(found), origin, truck.text_hash)
    if as_json:
        print_json(_plain(found, plain))
    else:
        click.echo(choice_words(found))
        click.echo(f"\nValues from {origin}{_reach_words(found)}.")
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


def _source(
    truck: Truck, file: Path, series: str | None, drawer: Path | None, tolerance: str | None
) -> tuple[str | Drawer, str]:
    """What values are taken from, and in words: an option, else what [parts] names, else the usual series."""
    from pinproof.chain.stock import load_drawer
    from pinproof.choose.pick import series_of
    from pinproof.errors import NoSolution

    if drawer is None and series is None and tolerance is None and truck.parts.drawer:
        drawer = file.parent / truck.parts.drawer
        if not drawer.is_file():
            raise NoSolution(
                f'[parts] in {file.name} names the drawer "{truck.parts.drawer}", and that is not there.',
                cure="Correct the name, or choose from a series: --series E24",
            )
    if drawer is not None:
        return load_drawer(drawer), f"the drawer {drawer.name}"
    if series is not None:
        return series.upper(), series.upper()
    why = "as [parts] in the file says" if truck.parts.series else "the file's [parts] names no series"
    return series_of(truck), f"{series_of(truck)} ({why})"


def _reach_words(found: Choice) -> str:
    """Tolerance of the chosen parts where it is one for all."""
    from pinproof.quantities import format_value

    if found.source == "drawer" or len({each.tolerance for each in found.resistors}) != 1:
        return ""
    return f", parts of {format_value(found.resistors[0].tolerance, 'ratio')}"


def _write(file: Path, changes: dict[str, str], origin: str, seen: str) -> None:
    """The values into the file, whole or not at all; comments of this program beside them say the new truth."""
    from pinproof.design import ChangedUnderneath, loads
    from pinproof.design.comments import CHOSEN, with_comment
    from pinproof.design.edit import with_values
    from pinproof.design.load import decode, read_bytes, text_hash
    from pinproof.design.save import save_atomic

    data = read_bytes(str(file))
    if text_hash(data) != seen:
        raise ChangedUnderneath(file.name)
    text = with_values(decode(data, file.name), changes, file.name)
    text = with_comment(text, list(changes), f"{CHOSEN} {origin.partition(' (')[0]} by pinproof choose")
    loads(text, file.name)
    save_atomic(file, text, seen)


def _plain(found: Choice, plain: object) -> dict[str, object]:
    """The choice for a program: the proof as a whole stands in `pinproof prove --json`."""
    assert callable(plain)
    skipped = {"truck", "proof"}
    fields = {name: plain(getattr(found, name)) for name in found.__dataclass_fields__ if name not in skipped}
    return {"values": found.values, **fields}
