"""`pinproof completion`: the snippet a shell needs to complete commands and options."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class


@click.command("completion")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def command(shell: str) -> None:
    """Print what your shell needs to complete pinproof's commands.

    Ends with 0.

    Example: pinproof completion bash >> ~/.bashrc
    """
    from pinproof.cli import group

    maker = get_completion_class(shell)
    assert maker is not None
    click.echo(maker(group, {}, "pinproof", "_PINPROOF_COMPLETE").source())
