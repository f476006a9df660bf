"""The command line: one module per command, loaded when it is called.

Answers: what the user typed. Turns results into words and exit codes; holds no sums.
Touches: files named on the command line, standard output (results), standard error (talk).
Exit:    0 proven, 1 read but does not hold or is not shown, 2 cannot be used or was stopped before the end.
"""

from __future__ import annotations

import errno
import importlib
import sys

import click

from pinproof import __version__

COMMANDS = {
    "new": "Begin a design file from a few questions in shop words.",
    "next": "Show the chain from switch to repair, and what to do now.",
    "check": "Read a design file and list everything wrong or odd in it.",
    "prove": "Prove every line: each situation, in the worst case, against its windows.",
    "faults": "List what every fault would do: false commands first, with their severities.",
    "find": "Find the cause of a fault from readings and symptoms, step by step.",
    "meter": "List what to measure and what it should read; take and judge readings.",
    "record": "Show the readings kept so far, and what has moved.",
    "choose": "Choose resistor values and prove the result.",
    "learn": "Learn an unknown pin: the source behind it, and where its meaning changes.",
    "harness": "Lay out the harness: every wire with its size, length, colour and ends.",
    "inhibit": "Prove the start inhibit: where it cranks, and which fault lets it crank in gear.",
    "gears": "Work out gears, safe downshifts and shift lines; convert a borrowed table; print the settings.",
    "log": "Prove from a log that the truck did what it was told; print the test plan.",
    "adopt": "Begin another truck from a design that somebody shared.",
    "upgrade": "Write a design file of an older format in the newest one.",
    "drawer": "Keep a list of the resistors you have.",
    "serve": "Show the designs of a folder in the browser: change, prove, print.",
    "pack": "Write the build book, the field card, lists and drawings.",
    "demo": "Prove an invented example and write its report.",
    "completion": "Print what your shell needs to complete pinproof's commands.",
}

EPILOG = "Design aid, not approval: event rules, local law and licensed practice come first."


class _Refused(click.ClickException):
    """A file or folder that the system does not let us read or write."""

    exit_code = 2

    def __init__(self, error: OSError) -> None:
        from pinproof.errors import printable

        where = printable(f"{error.filename}"[:200]) if error.filename is not None else "a file"
        reason = printable(error.strerror or str(error)).rstrip(".")
        super().__init__(f"{where} cannot be used: {reason}. Check its name and folder, and that the disk has room.")


class _Stopped(click.ClickException):
    """Ctrl+C, or the end of the input where a question waited."""

    exit_code = 2

    def __init__(self) -> None:
        super().__init__("Stopped before the end. No file is left half written.")


class _Lazy(click.Group):
    """Commands by name, imported only when used, so that help is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"pinproof.cli.cmd_{cmd_name}")
        command: click.Command = module.command
        return command

    def invoke(self, ctx: click.Context) -> object:
        """Run a command; what the system refuses, and a stop before the end, become words and exit code 2."""
        try:
            return super().invoke(ctx)
        except (click.Abort, KeyboardInterrupt, EOFError):
            click.echo(err=True)  # the line that was being typed
            raise _Stopped from None
        except OSError as error:
            if error.errno == errno.EPIPE:  # whoever reads the output has seen enough
                raise
            raise _Refused(error) from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table above, without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Name the nearest command where one is mistyped."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            import difflib

            near = difflib.get_close_matches(args[0], COMMANDS, 1)
            hint = f' Did you mean "{near[0]}"?' if near else f" There are: {', '.join(COMMANDS)}."
            raise click.UsageError(f'There is no command "{args[0]}".{hint}', ctx)
        return super().resolve_command(ctx, args)


@click.group(cls=_Lazy, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, "--version", prog_name="pinproof")
def group() -> None:
    """From switch to repair: prove a resistor-coded command line from one design file.

    Example: pinproof prove truck.toml
    """


def main() -> None:
    """Entry point: run a command; every deliberate error ends as words and exit code 2."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8", errors="replace")
    from pinproof.errors import PinproofError

    try:
        group.main(prog_name="pinproof", standalone_mode=True)
    except PinproofError as fault:
        click.echo(str(fault), err=True)
        sys.exit(2)
