"""`pinproof learn`: an unknown pin from a short series of readings."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck

if TYPE_CHECKING:
    from pinproof.chain.learning import Learning
    from pinproof.learn import VoltsStep

TOLD = ("date", "meter", "setting", "reference_v", "compares", "faults")
USUAL_METER = "0.5 % + 2"
STOP, BACK, UNKNOWN = ("stop", "quit", "q"), ("back", "b"), ("", "?", "dk", "don't know", "dont know")
VOLTS = ("volts",)


ONCE_MORE = "After the edges the volts are asked for once more; `volts` at any question asks at once."
BY_NAME = "--told reference_v=4.98"
NOT_TOLD_APART = f"Then reference and pulls stay as the file has them. When you have read it: {BY_NAME}."
LATER = 'When you can read the volts: `pinproof learn FILE` asks for them, or --add "open volts=4.98".'


class _Stop(Exception):
    """The user wants to go on another time."""


class _Volts(Exception):
    """The user can read the volts now that were left out."""


class _Back(Exception):
    """The user wants the step before."""


@click.command("learn")
@FILE
@click.option("--input", "input_id", default="", help="The input, where the file has several.")
@click.option(
    "--take",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Keep the session in this file, not beside the design.",
)
@click.option("--add", "added", multiple=True, metavar="READING", help='One reading, as in "load=1k volts=2.41".')
@click.option("--told", multiple=True, metavar="KEY=VALUE", help=f"What you know: {', '.join(TOLD)}.")
@click.option("--meter", default="", help=f'Your meter: its file, or its accuracy on volts. [default: "{USUAL_METER}"]')
@click.option("--one-range", is_flag=True, help="All volts on one fixed range: its gain error cancels in the ohms.")
@click.option("--drawer", "drawer_file", type=click.Path(dir_okay=False, path_type=Path), help="Your drawer file.")
@click.option("--pot", is_flag=True, help="Find the edges with a potentiometer.")
@click.option("--resolution", default="", help="How narrow a bracket must get. [default: 1 %]")
@click.option("--hidden", default="", help="Widest stretch between equal readings left unvisited. [default: 5 %]")
@click.option("--accept", "accepted", default="", help="Take unvisited stretches up to this width as they look.")
@click.option("--csv", "as_csv", is_flag=True, help="Print the readings as a table.")
@click.option("--write", is_flag=True, help="Write what was learned into the file.")
@JSON
@click.pass_context
def command(
    ctx: click.Context, file: Path, input_id: str, take: Path | None, added: tuple[str, ...], told: tuple[str, ...],
    meter: str, one_range: bool, drawer_file: Path | None, pot: bool, resolution: str, hidden: str, accepted: str,
    as_csv: bool, write: bool, as_json: bool,
) -> None:  # fmt: skip
    """Learn an unknown pin: the source behind it, and where its meaning changes.

    Without --add, --told, --csv, --json or --write it asks one step after the other; "?" is "don't know", back goes one
    step back, stop ends, and all that was read is kept. Ends with 0 if all is known, 1 if not, 2 if something cannot
    be used.

    \b
    Example: pinproof learn truck.toml
    Example: pinproof learn truck.toml --add "open volts=4.98" --add "load=1k volts=2.41"
    Example: pinproof learn truck.toml --add "load=2k2 means=up from=above" --write
    """
    from pinproof.chain import learn_begin, learning
    from pinproof.cli import show_learn
    from pinproof.cli.cmd_next import find_drawer
    from pinproof.learn import refreshed, session_path
    from pinproof.meter import load_instrument

    truck = read_truck(file)
    with _as_usage():
        line = learn_begin.line_of(truck, input_id)
        path = take or session_path(file, line.input)
        instrument = load_instrument(Path(meter)) if meter.lower().endswith(".toml") else None
        drawer = None if path.exists() else find_drawer(file, drawer_file, truck)
        session, seen = learn_begin.opened(truck, line, path, drawer)
        session = learn_begin.with_settings(
            session, meter=meter, instrument=instrument, one_range=one_range, pot=pot, resolution=resolution,
            hidden=hidden, accepted=accepted, told=tuple(_pair(each) for each in told),
        )  # fmt: skip
    work = learning.Learning(
        truck, path, refreshed(session, truck), seen, instrument, lambda doubt: click.echo(f"odd: {doubt}", err=True)
    )
    plain_use = bool(added or told or as_csv or as_json or write or accepted)
    if plain_use:
        with _as_usage():
            for text in added:
                work.add(text)
        work.save()
    else:
        _guide(work)
    session = work.session
    done = work.is_done()
    if as_json:
        print_json(learning.plain(session, work.found, str(file), done))
    elif as_csv:
        click.echo(show_learn.readings_csv(session), nl=False)
    else:
        _summary(work)
        if plain_use and not write and work.has_result() and not session.search.visits:
            click.echo(f"\nNext: pinproof learn {file} --write   puts this into the design; kept it is already")
            click.echo(f"      pinproof learn {file}   asks on: where the meaning changes")
    if write or (not plain_use and work.has_result() and _agrees("\nWrite this into the design? [y/N]")):
        _write(work, file, say=not (as_json or as_csv))
    ctx.exit(0 if done else 1)


@contextmanager
def _as_usage() -> Iterator[None]:
    """What cannot be taken as it was given is the command line's fault."""
    from pinproof.chain.learn_begin import NotThus

    try:
        yield
    except NotThus as fault:
        raise click.UsageError(fault.message) from None


def _pair(told: str) -> tuple[str, str]:
    key, sign, value = told.partition("=")
    if key not in TOLD or not sign:
        raise click.UsageError(f'--told takes KEY=VALUE, with a key of {", ".join(TOLD)}; not "{told}".')
    return key, value


# the guided session


def _asks(text: str) -> str:
    answer: str = click.prompt(text, default="", show_default=False, prompt_suffix=" > ")
    return answer.strip()


def _agrees(text: str) -> bool:
    """Yes; the end of the input is no."""
    try:
        return _asks(text).lower() in ("y", "yes")
    except click.Abort:
        return False


def _answer(text: str) -> str | None:
    """What was typed; None for "don't know"."""
    try:
        typed = _asks(text)
    except click.Abort:
        raise _Stop from None
    if typed.lower() in STOP:
        raise _Stop
    if typed.lower() in BACK:
        raise _Back
    if typed.lower() in VOLTS:
        raise _Volts
    return None if typed.lower().replace("’", "'") in UNKNOWN else typed


def _guide(work: Learning) -> None:
    from pinproof.chain.learning import REFERENCE
    from pinproof.cli import show_learn
    from pinproof.errors import PinproofError

    click.echo(show_learn.cautions())
    click.echo('"?" is "don\'t know", back goes one step back, stop ends; all that was read is kept.\n')

    def insist(doubt: str) -> None:
        click.echo(f"  {doubt}")
        if not _agrees("  Keep it as it is? [y/N]"):
            raise click.UsageError("Then once more.")

    work.question = insist
    work.ask_volts(at_once=False)
    while True:
        try:
            asked = work.asked()
            if asked is None:
                return
            if asked.volts is not None:
                _ask_volts(work, asked.volts)
            elif asked.kind == "look":
                _ask_look(work)
            elif not _ask_edge(work):
                return
        except _Stop:
            click.echo(f"\nKept in {work.path}. Go on with: pinproof learn {work.truck.source_path}")
            return
        except _Volts:
            if not {"volts", REFERENCE} & set(work.session.told):
                click.echo("  No volts were left out.")
            work.ask_volts(at_once=True)
        except _Back:
            click.echo("  One step back." if work.back() else "  This is the first step.")
        except (PinproofError, click.UsageError) as fault:
            said = fault.format_message() if isinstance(fault, click.UsageError) else str(fault)
            click.echo(f"  {said}\n  Once more, or ? for don't know.")


def _ask_volts(work: Learning, step: VoltsStep) -> None:
    """One reading of volts."""
    from pinproof.chain.learning import LEFT_OUT
    from pinproof.cli import show_learn
    from pinproof.cli.cmd_next import wrapped

    click.echo(show_learn.volts_step_words(step, work.found.least_ohm))
    if step.at == "reference":
        click.echo("\n".join(wrapped(work.found.why_not, "  ")))
    typed = _answer("  volts")
    work.answer_volts(step, typed)
    if typed is None and step.at == "reference":
        click.echo("\n".join(wrapped(NOT_TOLD_APART, "  ")))
    elif typed is None:
        left_out = work.session.told.get("volts") == LEFT_OUT
        said = f"Then without the source: loads are spaced as for 1 kΩ. {LATER if left_out else ONCE_MORE}"
        click.echo("\n".join(wrapped(said, "  ")))
    else:
        click.echo(show_learn.source_words(work.session, work.found))


def _ask_look(work: Learning) -> None:
    """Is the pin switched on and off?"""
    click.echo("  Nothing on the pin. Read it on the AC range, or with min/max for ten seconds.")
    work.answer_look(_answer('  as in "ac=0.01" or "min=0.1 max=4.98"'))
    if work.found.strobed:
        click.echo(f"  {work.found.why_not}")


def _ask_edge(work: Learning) -> bool:
    """One step of the search; False when there is none left or the user has enough."""
    from pinproof.cli import show_learn
    from pinproof.learn import propose
    from pinproof.learn.words import progress_words

    search = work.session.search
    step = propose(search)
    if step is None:
        return False
    if step.optional and work.session.told.get("more") != "yes":
        click.echo(show_learn.edges_words(search))
        if not _agrees("  All that the design needs is found. Go on and make surer? [y/N]"):
            return False
        work.session = dataclasses.replace(work.session, told={**work.session.told, "more": "yes"})
    click.echo(show_learn.step_words(step, search))
    work.answer_step(step, _answer("  answer"))
    click.echo(f"  {progress_words(work.session.search)}")
    return True


# the end


def _summary(work: Learning) -> None:
    from pinproof.cli import show_learn
    from pinproof.cli.cmd_next import wrapped
    from pinproof.learn import propose, windows_of

    session = work.session
    read = f"volts {len(session.readings)}, meanings {session.search.readings}"
    out = [f"\nLine {session.line}. Readings so far: {read}."]
    known = "is not known yet" if session.readings else "was not looked at"
    unknown = "\n".join(wrapped(f"The source {known}. {LATER}", "  "))
    out.append(show_learn.source_words(session, work.found) or unknown)
    if work.found.asks_reference:
        out += wrapped(f"Read the volts at the controller's reference pin and tell them: {BY_NAME}.", "  ")
    if session.search.visits:
        out += ["", show_learn.edges_words(session.search), "", show_learn.window_words(windows_of(session.search))]
        step = propose(session.search)
        out += ["", "Next:", show_learn.step_words(step, session.search)] if step is not None else []
    click.echo("\n".join(out))


def _write(work: Learning, file: Path, *, say: bool) -> None:
    """Show the change, then save it; the version before is kept."""
    from pinproof.cli import show_learn
    from pinproof.design.load import decode, read_bytes
    from pinproof.design.save import save_atomic

    before = decode(read_bytes(str(file)), file.name)
    after, kept_out = work.design_after(before)
    if kept_out:
        click.echo(kept_out, err=True)
    if after == before:
        click.echo("Nothing to write.", err=not say)
        return
    if say:
        click.echo("\nThe change:")
        click.echo("\n".join(show_learn.diff_words(before, after)))
    save_atomic(file, after, work.truck.text_hash)
    click.echo(f"Written: {file}; the version before is {file.name}.bak. Next: pinproof prove {file}", err=not say)
