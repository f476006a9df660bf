"""`pinproof serve`: the pages of a folder in the browser."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("serve")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path), default=Path("."))
@click.option("--port", type=click.IntRange(1, 65_535), help="Port of this machine.  [default: first free from 8765]")
@click.option("--browser/--no-browser", default=True, show_default=True, help="Open the first page.")
@click.option(
    "--share", is_flag=True,
    help="Also answer phones in the local network that scan the code shown. Not encrypted: trust the network.",
)  # fmt: skip
def command(folder: Path, port: int | None, browser: bool, share: bool) -> None:
    """Show the designs of a folder in the browser.

    Answers this machine only; nothing is sent anywhere. Pages change the same files as an editor does, keep comments,
    and notice when somebody else changed a file. Ctrl+C ends it. Ends with 0 then, 2 if the folder or the port cannot
    be used.

    Example: pinproof serve trucks
    """
    try:
        from pinproof.web.server import serve
    except ImportError as error:
        raise click.ClickException(
            f'The pages need libraries that are not installed ({error.name}). Install them: pip install "pinproof[web]"'
        ) from error
    serve(folder, port=port, share=share, browser=browser, say=click.echo)
