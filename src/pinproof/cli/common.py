"""What the commands share: reading the file, printing JSON, writing a file whole or not at all."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import click

from pinproof.design import Truck, load

FILE = click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
JSON = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON, for programs.")


def read_truck(file: Path) -> Truck:
    """Load a design file; faults go up as errors, oddities to standard error."""
    truck = load(file)
    for warning in truck.warnings:
        click.echo(f"odd: {warning}", err=True)
    return truck


class NothingThere(click.ClickException):
    """Nothing to show yet: exit code 2, without the usage lines, since the command was typed well."""

    exit_code = 2


def text_of(file: Path, truck: Truck) -> str:
    """The text that a truck was just read from; UsageError if the file is another one by now."""
    from pinproof.design.load import decode, read_bytes, text_hash

    data = read_bytes(str(file))
    if text_hash(data) != truck.text_hash:
        raise click.UsageError(f"{file} was changed meanwhile. Start again.")
    return decode(data, file.name)


def print_json(plain: Any) -> None:
    """Plain JSON on standard output."""
    click.echo(json.dumps(plain, ensure_ascii=False, indent=2, allow_nan=False))


def write_whole(path: Path, text: str) -> None:
    """Write a text file so that nobody ever sees half of it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        with part.open("w", encoding="utf-8", newline="\n") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        os.replace(part, path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
