"""`pinproof find`: from readings and symptoms to the cause, and the next thing to look at."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import JSON, print_json, read_truck

if TYPE_CHECKING:
    from pinproof.find import Diagnosis, Seen, Session
    from pinproof.find.looks import Look

SYMPTOM_CHOICE = click.Choice(["water", "steering", "loads", "intermittent", "never-worked", "shifts-by-itself"])


@click.command("find")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path), required=False)
@JSON
@click.option("--line", "line_id", help="Which line; needed where the file has several.")
@click.option(
    "--saw", multiple=True, metavar="SITUATION=MEANING", help="What the controller reported, known at the start."
)
@click.option("--read", "readings", multiple=True, metavar="LOOK=READING", help='A reading: "ohms idle=OL".')
@click.option("--symptom", "symptoms", multiple=True, type=SYMPTOM_CHOICE, help="What was noticed; may be repeated.")
@click.option(
    "--worked-on", multiple=True, metavar="PLACE", help="A contact, device or station somebody just worked on."
)
@click.option("--new-build", is_flag=True, help="The truck has never worked: other causes are likely.")
@click.option("--no-display", is_flag=True, help="Nothing shows what the controller reports.")
@click.option("--no-meter", is_flag=True, help="No meter at hand.")
@click.option("--wiggled", is_flag=True, help="The harness was wiggled during the readings given here.")
@click.option(
    "--meter", "meter_file", type=click.Path(dir_okay=False, path_type=Path), default=Path("meter.toml"),
    show_default=True, help="Your meter's file. Without one, ordinary figures are assumed.",
)  # fmt: skip
@click.option("--recorded", type=float, metavar="HOURS", help="Also take what `meter` kept in the last HOURS.")
@click.option(
    "--causes", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Your own weights of causes."
)
@click.option(
    "--write-causes", type=click.Path(dir_okay=False, path_type=Path), help="Write the weights to edit, and stop."
)
@click.option("--ask/--no-ask", default=None, help="Ask step by step; the default where nothing was given.")
@click.pass_context
def command(
    ctx: click.Context, file: Path | None, as_json: bool, line_id: str | None, saw: tuple[str, ...],
    readings: tuple[str, ...], symptoms: tuple[str, ...], worked_on: tuple[str, ...], new_build: bool,
    no_display: bool, no_meter: bool, wiggled: bool, meter_file: Path,
    recorded: float | None,
    causes: Path | None, write_causes: Path | None, ask: bool | None,
) -> None:  # fmt: skip
    """Find the cause of a fault: readings and symptoms in, likely causes and the next step out.

    Without readings it asks, one step at a time. A reading is LOOK=READING; looks are "ohms S" (pin to the source
    terminal, controller unplugged), "chassis S", "plus S", "volts S" ("4.1 at 12.6"), "meaning S", "wire", "source",
    "without STATION". S is the operated contacts joined by +, or idle. Nothing under 50 % is called the cause.
    Ends with 0 if one cause stands out, 1 if not, 2 if something cannot be used.

    Example: pinproof find truck.toml --saw lever_up=manual --read "ohms lever_up=OL"
    """
    from pinproof.cli.show_find import advice_words
    from pinproof.find import Session, read, table_text
    from pinproof.find import as_json as plain

    if write_causes is not None:
        if write_causes.exists():
            raise click.UsageError(f"{write_causes} is there already; it is not written over. Name another file.")
        write_causes.write_text(table_text(), encoding="utf-8")
        click.echo(f"Wrote {write_causes}. Edit the weights, then: pinproof find truck.toml --causes {write_causes}")
        return
    if file is None:
        raise click.UsageError("Which design file? For example: pinproof find truck.toml")
    diagnosis = _diagnosis(file, line_id, frozenset(symptoms), frozenset(worked_on), new_build, causes, meter_file)
    session = Session(diagnosis)
    if recorded is not None:
        session = session.adding(*_recorded(diagnosis, file, recorded))
    session = session.told(*(read(diagnosis, f"meaning {each}") for each in saw))
    session = session.adding(*(read(diagnosis, each, wiggled=wiggled) for each in readings))
    if no_display:
        session = session.leaving_out("meaning")
    if no_meter:
        session = session.leaving_out("ohms", "chassis", "plus", "volts", "wire", "source", "without")
    if ask is None:
        ask = not (saw or readings or as_json or recorded is not None)
    if ask:
        session = _asked(session)
    advice = session.advice()
    if as_json:
        print_json(plain(session, advice))
    else:
        click.echo(advice_words(session, advice))
    ctx.exit(0 if advice.state == "found" and session.winner(advice.posterior) else 1)


def _diagnosis(file: Path, line_id: str | None, symptoms: frozenset[str], worked_on: frozenset[str], new_build: bool,
               causes: Path | None, meter_file: Path) -> Diagnosis:  # fmt: skip
    from pinproof.design.load import decode, read_bytes
    from pinproof.find import Diagnosis, Said, weights_of
    from pinproof.find.meter_model import USUAL, meter_of
    from pinproof.meter import load_instrument

    truck = read_truck(file)
    names = [line.id for line in truck.lines]
    if line_id is None and len(names) > 1:
        raise click.UsageError(f"The file has several lines: {', '.join(names)}. Say which: --line {names[0]}")
    chosen = line_id or names[0]
    if chosen not in names:
        raise click.UsageError(f'There is no line "{chosen}". There are: {", ".join(names)}.')
    places = {each.id for each in truck.contacts} | {each.id for each in truck.devices}
    places |= {each.station for each in truck.contacts if each.station}
    for place in worked_on:
        if place not in places:
            raise click.UsageError(
                f'"{place}" is no contact, device or station. There are: {", ".join(sorted(places))}.'
            )
    table = weights_of(decode(read_bytes(str(causes)), causes.name), causes.name) if causes else None
    try:
        return Diagnosis(truck, chosen, Said("new build" if new_build else "in service", symptoms, worked_on), table,
                         meter_of(load_instrument(meter_file)) if meter_file.exists() else USUAL)  # fmt: skip
    except ValueError as fault:
        raise click.UsageError(f"{fault}. Choose or measure it first: pinproof next {file}") from None


def _recorded(diagnosis: Diagnosis, file: Path, hours: float) -> tuple[Seen, ...]:
    """The last reading of each station that was kept within so many hours."""
    from pinproof.chain.bench import recent_texts
    from pinproof.find import recorded
    from pinproof.record import record_path

    path = record_path(file)
    if not path.exists():
        raise click.UsageError(f"{path.name} is not there. `pinproof meter {file} --enter` begins a record.")
    texts = recent_texts(path, diagnosis.truck.id, hours)
    found = recorded(diagnosis, texts)
    click.echo(f"Taken from the record: {len(found)} readings of the last {hours:g} h.", err=True)
    return found


def _asked(session: Session) -> Session:
    """Go on step by step until something stands out, nothing is left, or the user stops."""
    from pinproof.cli.show_find import advice_words, step_words
    from pinproof.find.words import look_words

    diagnosis = session.diagnosis
    line = diagnosis.view.line
    click.echo('Enter leaves a question out. "stop" or q ends. Nothing is filled in for you.', err=True)
    if not any(each.meaning for each in session.seen) and "meaning" not in session.without:
        click.echo("First: what does the controller report? Leave out what you have not tried.", err=True)
        for look in [each for each in diagnosis.looks if each.kind == "meaning"]:
            seen, stopped = _answer(diagnosis, look, f"  {look_words(look, line)}")
            if stopped:
                return session
            if seen is not None:
                session = session.told(seen)
    while True:
        advice = session.advice()
        if advice.state != "look" or advice.step is None:
            return session
        click.echo(advice_words(session, advice), err=True)
        look = advice.step.look
        seen, stopped = _answer(diagnosis, look, f"\n{step_words(advice.step, line)}")
        if stopped:
            return session
        session = session.leaving_out(look.id) if seen is None else session.adding(seen)


def _answer(diagnosis: Diagnosis, look: Look, question: str) -> tuple[Seen | None, bool]:
    """What was typed, asked again until it can be read: a reading, or None to leave it out; True for stop."""
    from pinproof.find import LookFault, reading_of

    while True:
        try:
            answer = str(click.prompt(question, default="", show_default=False, err=True)).strip()
        except click.Abort:  # the end of the input, or Ctrl+C
            click.echo(err=True)
            return None, True
        if answer.casefold() in ("stop", "q"):
            return None, True
        if answer in ("", "?"):
            return None, False
        try:
            return reading_of(diagnosis, look, answer), False
        except LookFault as fault:
            click.echo(f"  {fault}", err=True)
