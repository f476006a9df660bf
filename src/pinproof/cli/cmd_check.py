"""`pinproof check`: is the file readable, complete and physically possible?"""

from __future__ import annotations

from pathlib import Path

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck


@click.command("check")
@FILE
@JSON
def command(file: Path, as_json: bool) -> None:
    """Read a design file and list everything wrong or odd in it.

    Ends with 0 if the file can be used, 2 if not.

    Example: pinproof check truck.toml
    """
    from pinproof.proof.situations import situations_of

    truck = read_truck(file)
    lines = [
        {
            "line": line.id,
            "form": line.form,
            "input": line.input,
            "contacts": len(truck.contacts_of(line)),
            "situations": len(situations_of(truck, line)),
            "meanings": list(line.meanings),
        }
        for line in truck.lines
    ]
    if as_json:
        print_json({"id": truck.id, "name": truck.name, "lines": lines, "warnings": list(truck.warnings)})
        return
    click.echo(f"{file}: readable. {truck.name or truck.id}, key states {', '.join(truck.supply.states)}.")
    for line in lines:
        click.echo(
            f"  line {line['line']} ({line['form']}) on {line['input']}: {line['contacts']} contacts, "
            f"{line['situations']} situations; meanings {', '.join(line['meanings']) or 'to be found out or taught'}."  # type: ignore[arg-type]
        )
    click.echo(f"Next: pinproof prove {file}")
