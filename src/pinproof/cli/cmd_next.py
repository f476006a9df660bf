"""`pinproof next`: the chain, link by link, and what to do now."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck, text_of

if TYPE_CHECKING:
    from pinproof.chain.actions import Action
    from pinproof.chain.links import Chain
    from pinproof.choose.drawer import Drawer
    from pinproof.design import Truck

DRAWER = click.option(
    "--drawer", "drawer_file", type=click.Path(dir_okay=False, path_type=Path),
    help="Your drawer file. Without it drawer.toml beside the design is used, if it is there.",
)  # fmt: skip
WIDTH = 100


@click.command("next")
@FILE
@JSON
@DRAWER
@click.pass_context
def command(ctx: click.Context, file: Path, as_json: bool, drawer_file: Path | None) -> None:
    """Show the chain from switch to repair, and what to do now.

    Ends with 0 if all that can be proven is proven, 1 if not, 2 if the file cannot be used.

    Example: pinproof next truck.toml
    """
    from pinproof.chain.links import chain_of
    from pinproof.chain.log_kept import kept_logs
    from pinproof.proof import as_json as plain
    from pinproof.proof import prove
    from pinproof.record import record_path

    truck = read_truck(file)
    kept = kept_logs(record_path(file), truck, text_of(file, truck))
    say_if_long(truck)
    chain = chain_of(truck, prove(truck, samples=0), find_drawer(file, drawer_file, truck), kept=kept)
    if as_json:
        print_json(plain(chain))
    else:
        click.echo(chain_words(chain, file))
    ctx.exit(chain.proof.exit_code)


def say_if_long(truck: Truck) -> None:
    """Say on standard error what takes some seconds: an unknown pull with edges found by substitution."""
    from pinproof.chain.outlook import pull_is_unknown

    for line in truck.lines:
        found = any(w.by_substitution for w in line.windows) or any(t.by_substitution for t in line.targets)
        if found and pull_is_unknown(truck.input_of(line)):
            click.echo("Trying the usual pulls …", err=True)
            return


def find_drawer(file: Path, drawer_file: Path | None, truck: Truck) -> Drawer | None:
    """The drawer that was named, or the one that the design's [parts] names, or drawer.toml beside the design."""
    from pinproof.chain.stock import load_drawer

    if drawer_file is not None:
        return load_drawer(drawer_file)
    beside = file.parent / (truck.parts.drawer or "drawer.toml")
    if beside.is_file():
        return load_drawer(beside)
    if truck.parts.drawer:
        click.echo(f"odd: the drawer file that [parts] names is not there: {beside}. Counted as empty.", err=True)
    return None


def chain_words(chain: Chain, file: Path) -> str:
    """The chain for a terminal: one paragraph per link, then the actions."""
    parts = [chain.name or chain.id, ""]
    for link in (*chain.links, *([chain.beside] if chain.beside is not None else [])):
        head = f"  {link.name:<9} {str(link.verdict).upper():<14}"
        parts += wrapped(link.text, head)
        if link.weakest:
            parts += wrapped(f"Weakest: {link.weakest}", " " * len(head))
    parts += ["", "Do next:"]
    for number, action in enumerate(chain.actions, start=1):
        parts += _action_words(number, action, file)
    if not chain.actions:
        parts.append("  Nothing is left that this version knows of.")
    return "\n".join(parts)


def _action_words(number: int, action: Action, file: Path) -> list[str]:
    indent = " " * 5
    out = wrapped(action.what, f"  {number}. ")
    if action.command:
        out += wrapped(
            action.command.replace("FILE", f'"{file}"' if " " in str(file) else str(file)), f"{indent}Type: "
        )
    return [*out, *action_lines(action, indent)]


def action_lines(action: Action, indent: str, *, why: bool = True) -> list[str]:
    """What can hurt, then how it is done, why, and what it takes. What goes into the file is never wrapped."""
    from pinproof.design.pull_words import is_key

    out = wrapped(f"Careful: {action.caution}", indent) if action.caution else []
    for step in action.steps:
        out += [f"{indent}    {step}"] if is_key(step) else wrapped(step, indent)
    if why:
        out += wrapped(f"Why: {action.why}", indent)
    return [*out, *wrapped(tools_words(action), indent)]


def tools_words(action: Action) -> str:
    """How long it takes, and with what."""
    tools = f"; {', '.join(action.tools)}" if action.tools else ""
    return f"Takes {action.minutes} min{tools}."


def wrapped(text: str, head: str) -> list[str]:
    """Lines of a text behind `head`, the later ones as far in as the first."""
    from pinproof.cli.show import hung

    return hung(text, head, " " * len(head), width=WIDTH)
