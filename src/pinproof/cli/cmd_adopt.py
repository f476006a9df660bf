"""`pinproof adopt`: begin another truck from a design that somebody shared."""

from __future__ import annotations

import secrets
from pathlib import Path

import click

from pinproof.cli.common import FILE, JSON, print_json


@click.command("adopt")
@FILE
@click.argument("newfile", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--name", default="", help="What the new truck is called.")
@JSON
def command(file: Path, newfile: Path, name: str, as_json: bool) -> None:
    """Begin another truck from a shared design: every measured number becomes borrowed.

    Published and assumed numbers stay what they are; comments stay. A file that is there is never overwritten.
    Ends with 0 if the new file was written, whatever its proof says, 2 if not.

    Example: pinproof adopt shared.toml mine.toml --name "Second truck"
    """
    from pinproof.chain.adopt import adopted, remeasure
    from pinproof.chain.links import rests_words
    from pinproof.chain.measures import measure_of
    from pinproof.cli.cmd_next import wrapped
    from pinproof.design import load
    from pinproof.design.load import decode, read_bytes
    from pinproof.design.pull_words import is_key
    from pinproof.design.save import save_atomic
    from pinproof.proof import as_json as plain
    from pinproof.proof import prove

    if newfile.exists():
        raise click.UsageError(f"{newfile} is there already; nothing was written. Give another name.")
    text = decode(read_bytes(str(file)), file.name)
    taken = adopted(text, f"pp-{secrets.token_hex(3)}", " ".join(name.split()), file.name)
    newfile.parent.mkdir(parents=True, exist_ok=True)
    save_atomic(newfile, taken.text, None)
    truck = load(newfile)
    proof = prove(truck, samples=0)
    again = remeasure(proof, taken)
    if as_json:
        print_json(
            {
                "file": str(newfile), "id": taken.id, "from_id": taken.from_id, "from_name": taken.from_name,
                "verdict": plain(proof.verdict), "borrowed": list(taken.borrowed),
                "measure_first": plain(again.first), "measure_later": list(again.rest),
            }
        )  # fmt: skip
        return
    click.echo(f"Written: {newfile}, taken over from {taken.from_name or taken.from_id}.")
    click.echo("Different from it: the id, the name, a note at the head, and the basis of")
    click.echo(f"{_count(len(taken.borrowed))}, measured there and borrowed here.")
    click.echo(f"The proof with these borrowed numbers: {proof.verdict}.")
    if again.first:
        click.echo("\nMeasure again on this truck, in this order:")
    told: dict[str, int] = {}
    for number, each in enumerate(again.first, start=1):
        measure = measure_of(each.parameter, truck)
        head = f"  {number}. "
        click.echo("\n".join(wrapped(f"{rests_words(each)[:1].upper()}{rests_words(each)[1:]}", head)))
        if measure is None:
            continue
        how = f"{measure.how} ({measure.minutes} min)"
        if measure.how in told:
            click.echo("\n".join(wrapped(f"As for {told[measure.how]}, in the same go.", " " * len(head))))
            continue
        told[measure.how] = number
        indent = " " * len(head)
        lines = wrapped(how, indent) + (wrapped(f"Careful: {measure.caution}", indent) if measure.caution else [])
        for step in measure.steps:
            lines += [f"{indent}    {step}"] if is_key(step) else wrapped(step, indent)
        click.echo("\n".join(lines))
    if again.rest:
        later = [known.name if (known := measure_of(path)) is not None else path for path in again.rest]
        said = f"Later (no likely error of them overturns the verdict): {', '.join(later)}."
        click.echo("\n" + "\n".join(wrapped(said, "")))
    click.echo(f"\nNext: pinproof next {newfile}")


def _count(number: int) -> str:
    return "1 number" if number == 1 else f"{number} numbers"
