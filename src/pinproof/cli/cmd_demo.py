"""`pinproof demo`: the main job on an invented example."""

from __future__ import annotations

from pathlib import Path

import click

from pinproof.examples import NAMES, companions, example_path


@click.command("demo")
@click.argument("name", type=click.Choice(NAMES), default=NAMES[0])
@click.option(
    "-o", "--output", type=click.Path(file_okay=False, path_type=Path), default=Path("pinproof-demo"),
    show_default=True, help="Folder for the copy of the example and its report.",
)  # fmt: skip
@click.pass_context
def command(ctx: click.Context, name: str, output: Path) -> None:
    """Prove an invented example and write its report.

    Ends with 0 if the example is proven, 1 if not.

    Example: pinproof demo heron
    """
    from pinproof.cli.cmd_prove import command as prove_command
    from pinproof.cli.common import write_whole

    copy = output / f"{name}.toml"
    for source in (example_path(name), *companions(name)):
        if not (output / source.name).exists():
            write_whole(output / source.name, source.read_text(encoding="utf-8"))
    click.echo(f"Example {name}: an invented truck. Its design file: {copy}\n")
    ctx.invoke(
        prove_command, file=copy, as_json=False, report=output / f"{name}.html", every=False, samples=20_000, seed=1,
        cures=True,
    )  # fmt: skip
