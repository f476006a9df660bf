"""`pinproof learn`: an unknown pin from a short series of readings."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck

if TYPE_CHECKING:
    from pinproof.design import Line, Truck
    from pinproof.learn import Part, Session, Step, VoltsStep
    from pinproof.learn.entry import Entry
    from pinproof.meter import Instrument

TOLD = ("date", "meter", "setting", "reference_v", "compares", "faults")
USUAL_METER = "0.5 % + 2"
STOP, BACK, UNKNOWN = ("stop", "quit", "q"), ("back", "b"), ("", "?", "dk", "don't know", "dont know")


class _Stop(Exception):
    """The user wants to go on another time."""


class _Back(Exception):
    """The user wants the step before."""


@click.command("learn")
@FILE
@click.option("--input", "input_id", default="", help="The input, where the file has several.")
@click.option(
    "--take", type=click.Path(dir_okay=False, path_type=Path), help="Another session file than the one beside."
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
    from pinproof.cli import show_learn
    from pinproof.learn import found_of, load_session, refreshed, session_path
    from pinproof.meter import load_instrument

    truck = read_truck(file)
    line = _line(truck, input_id)
    path = take or session_path(file, line.input)
    instrument = load_instrument(Path(meter)) if meter.lower().endswith(".toml") else None
    if path.exists():
        session, seen = load_session(path)
        if session.design_id != truck.id or session.line != line.id:
            raise click.UsageError(f"{path.name} is of another design or line ({session.design_id}, {session.line}).")
    else:
        session, seen = _new(truck, line, file, drawer_file), None
    session = _set(session, meter, instrument, one_range, pot, resolution, hidden, accepted, told)
    session = refreshed(session, truck)
    work = _Work(truck, path, session, seen, instrument)
    plain_use = bool(added or told or as_csv or as_json or write or accepted)
    if plain_use:
        for text in added:
            work.add(text)
        work.save()
    else:
        _guide(work)
    session = work.session
    found = found_of(session, truck)
    done = _done(session, found)
    if as_json:
        print_json(show_learn.plain(session, found, str(file), done))
    elif as_csv:
        click.echo(show_learn.readings_csv(session), nl=False)
    else:
        _summary(work)
    if write or (not plain_use and _has_result(work) and _agrees("\nWrite this into the design? [y/N]")):
        _write(work, file, say=not (as_json or as_csv))
    ctx.exit(0 if done else 1)


def _line(truck: Truck, input_id: str) -> Line:
    mine = [each for each in truck.lines if not input_id or each.input == input_id]
    if not mine:
        raise click.UsageError(
            f'There is no line on an input "{input_id}". Inputs: {", ".join(e.id for e in truck.inputs)}.'
        )
    if len(mine) > 1 and not input_id:
        raise click.UsageError(f"The file has several lines. Name the input: {', '.join(each.input for each in mine)}.")
    return mine[0]


def _new(truck: Truck, line: Line, file: Path, drawer_file: Path | None) -> Session:
    from pinproof.learn import Session, VoltMeter, begin
    from pinproof.learn.session import side_of

    stock = _stock(file, drawer_file, truck)
    needed = dict.fromkeys([line.idle, *(each.asks for each in truck.contacts_of(line))])
    faults = tuple(
        dict.fromkeys([w.meaning for w in line.windows if w.fault] + [t.meaning for t in line.targets if t.fault])
    )
    search = begin(side_of(line), stock=stock, expected=needed, faults=faults)
    return Session(truck.id, line.id, VoltMeter(), search)


def _stock(file: Path, drawer_file: Path | None, truck: Truck) -> tuple[Part, ...] | None:
    """The owner's drawer; None: E12 is assumed."""
    from pinproof.cli.cmd_next import find_drawer
    from pinproof.learn import Part

    drawer = find_drawer(file, drawer_file, truck)
    if drawer is None or not drawer.parts:
        return None
    return tuple(
        Part(
            each.nominal_ohm,
            max(each.high_ohm - each.nominal_ohm, each.nominal_ohm - each.low_ohm),
            each.label,
            each.count,
        )
        for each in drawer.parts
    )


def _set(
    session: Session,
    meter: str,
    instrument: Instrument | None,
    one_range: bool,
    pot: bool,
    resolution: str,
    hidden: str,
    accepted: str,
    told: tuple[str, ...],
) -> Session:
    """The session with the options of this call."""
    from pinproof.learn.entry import read_accuracy
    from pinproof.quantities import parse

    known = dict(session.told)
    for each in told:
        key, sign, value = each.partition("=")
        if key not in TOLD or not sign:
            raise click.UsageError(f'--told takes KEY=VALUE, with a key of {", ".join(TOLD)}; not "{each}".')
        if key == "compares" and value not in ("reference", "battery", "volts", "unknown"):
            raise click.UsageError("compares is reference, battery, volts or unknown.")
        known[key] = f"{parse(_volts(value), 'voltage'):g}" if key == "reference_v" else value
    volt = session.meter
    if instrument is not None:
        volt = dataclasses.replace(volt, input_ohm=instrument.input_ohm)
        known.setdefault("meter", instrument.name)
    elif meter:
        volt = dataclasses.replace(volt, gain=read_accuracy(meter)[0])
        known["accuracy"] = meter
    if one_range:
        volt = dataclasses.replace(volt, one_range=True)
    search = session.search
    changes: dict[str, Any] = {}
    for key, text in (("resolution", resolution), ("hidden", hidden), ("accepted", accepted)):
        if text:
            changes[key] = parse(text, "ratio")
            if not 0.0 < changes[key] < 1.0:
                raise click.UsageError(f"--{key} is a share of full scale, as in 1 %.")
    if pot and not search.rest_latches:
        changes["method"] = "pot"
    if known.get("faults"):
        changes["faults"] = tuple(each.strip() for each in known["faults"].split(",") if each.strip())
    return dataclasses.replace(session, meter=volt, told=known, search=dataclasses.replace(search, **changes))


def _volts(text: str) -> str:
    return text if text.rstrip()[-1:].isalpha() else f"{text} V"


class _Work:
    """One session being worked on: every reading is saved before the next is asked for."""

    def __init__(
        self, truck: Truck, path: Path, session: Session, seen: str | None, instrument: Instrument | None
    ) -> None:
        self.truck = truck
        self.path = path
        self.session = session
        self.seen = seen
        self.instrument = instrument
        self.before: list[Session] = []

    def take(self, session: Session) -> None:
        """The session after a step."""
        from pinproof.learn import refreshed

        self.before.append(self.session)
        self.session = refreshed(session, self.truck)
        self.save()

    def back(self) -> bool:
        """One step back; False if there is none."""
        if not self.before:
            return False
        self.session = self.before.pop()
        self.save()
        return True

    def save(self) -> None:
        """Write the session file."""
        from pinproof.learn import save_session

        self.seen = save_session(self.path, self.session, self.seen)

    def reach(self, volts_v: float, digit_v: float) -> tuple[float, float, str]:
        """How far volts may be off: gain, offset, name of the range."""
        from pinproof.learn.entry import read_accuracy
        from pinproof.meter import uncertainty

        if self.instrument is not None:
            used = uncertainty(self.instrument, "voltage", volts_v, noted=digit_v)
            return used.used.relative, used.used.digits * used.digit, f"{used.used.full:g} V"
        gain, counts = read_accuracy(self.session.told.get("accuracy", USUAL_METER))
        return gain, counts * digit_v, ""

    def ohm_reach(self, ohm: float, digit_ohm: float) -> float:
        """How far measured ohms may be off. [Ω]"""
        from pinproof.learn.entry import read_accuracy
        from pinproof.meter import uncertainty

        if self.instrument is not None:
            return uncertainty(self.instrument, "resistance", ohm, noted=digit_ohm).limit
        gain, counts = read_accuracy(self.session.told.get("accuracy", "1 % + 3"))
        return gain * ohm + counts * digit_ohm

    def add(self, text: str) -> None:
        """One typed reading."""
        from pinproof.learn import Observation, propose, update
        from pinproof.learn.entry import load_of, part_of, read_entry, step_of

        entry = read_entry(text)
        search = self.session.search
        if entry.part_text:
            if entry.ohms_ohm is None:
                raise click.UsageError(f'"{text}" measures nothing: write part=4k7 ohms=4.68k.')
            self._measured(part_of(entry.part_text, search.stock), entry)
            return
        if entry.pot_ohm is not None:
            self._turned(entry, text)
            return
        if not entry.load_text:
            raise click.UsageError(f'"{text}" names no load: write load=1k, open or short.')
        measured = None
        if entry.ohms_ohm is not None:
            measured = (entry.ohms_ohm, entry.reach_ohm or self.ohm_reach(entry.ohms_ohm, entry.ohms_digit_ohm))
        load = load_of(entry.load_text, search, measured)
        if entry.volts_v is None and not entry.means:
            raise click.UsageError(f'"{text}" says nothing of what was seen: add volts=… or means=….')
        if entry.volts_v is not None:
            self._volts(
                entry, load.ohm, max(load.high_ohm - load.ohm, load.ohm - load.low_ohm) if load.ohm < 1e12 else 0.0
            )
        if entry.means:
            step = propose(self.session.search)
            wanted = (load.ohm, load.join, entry.direction or (step.direction if step is not None else ""))
            if step is None or (step.ohm, step.join, step.direction) != wanted or step.kind != "load":
                step = step_of(load, entry, self.session.search)
            search = update(self.session.search, step, Observation(entry.means))
            self.take(dataclasses.replace(self.session, search=search))

    def _volts(self, entry: Entry, load_ohm: float, reach_ohm: float) -> None:
        from pinproof.learn import Look, PinReading, question_reading

        assert entry.volts_v is not None
        if load_ohm == 0.0:
            raise click.UsageError("Volts with the pin shorted say nothing of its source.")
        feed = None if entry.feed_v is None else self.reach(entry.feed_v, entry.feed_digit_v)
        reading = PinReading(
            entry.volts_v, load_ohm, reach_ohm, entry.feed_v, entry.ohms_ohm is not None, entry.supply_v,
            self.reach(entry.volts_v, entry.volts_digit_v), feed,
        )  # fmt: skip
        doubt = question_reading(self.session.readings, reading, self.session.meter)
        if doubt is not None:
            self.question(doubt)
        session = dataclasses.replace(self.session, readings=(*self.session.readings, reading))
        if entry.ac_v is not None or entry.max_v is not None:
            look = Look(entry.volts_v, entry.ac_v, entry.min_v, entry.max_v)
            session = dataclasses.replace(session, looks=(*session.looks, look))
        self.take(session)

    question: Callable[[str], None] = staticmethod(lambda doubt: click.echo(f"odd: {doubt}", err=True))

    def _measured(self, part: int, entry: Entry) -> None:
        from pinproof.learn import Observation, Step, update

        assert entry.ohms_ohm is not None
        reach = entry.reach_ohm or self.ohm_reach(entry.ohms_ohm, entry.ohms_digit_ohm)
        step = Step("measure", self.session.search.stock[part].ohm, "told", parts=(part,))
        search = update(self.session.search, step, Observation(ohm=entry.ohms_ohm, reach_ohm=reach))
        self.take(dataclasses.replace(self.session, search=search))

    def _turned(self, entry: Entry, text: str) -> None:
        from pinproof.learn import Observation, propose, update

        assert entry.pot_ohm is not None
        if self.session.search.rest_latches:
            raise click.UsageError(
                f'"{text}": this open pin holds its meaning until the key is turned, so a potentiometer cannot be '
                "turned away from it. Take the resistors that are asked for."
            )
        search = dataclasses.replace(self.session.search, method="pot")
        step = propose(search)
        if step is None or step.kind != "pot":
            raise click.UsageError(
                f'"{text}" comes too early or too late: {"open means=… first" if step else "all is turned"}.'
            )
        if entry.direction is not None and entry.direction != step.direction:
            raise click.UsageError(
                f'The next turn is with the reading {step.direction}, not {entry.direction}: "{text}".'
            )
        reach = entry.reach_ohm or self.ohm_reach(entry.pot_ohm, entry.ohms_digit_ohm)
        seen = Observation(entry.means or None, entry.pot_ohm, reach, entry.at_end)
        self.take(dataclasses.replace(self.session, search=update(search, step, seen)))


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
    return None if typed.lower().replace("’", "'") in UNKNOWN else typed


def _guide(work: _Work) -> None:
    from pinproof.cli import show_learn
    from pinproof.errors import PinproofError

    click.echo(show_learn.cautions())
    click.echo('"?" is "don\'t know", back goes one step back, stop ends; all that was read is kept.\n')

    def insist(doubt: str) -> None:
        click.echo(f"  {doubt}")
        if not _agrees("  Keep it as it is? [y/N]"):
            raise click.UsageError("Then once more.")

    work.question = insist
    skipped_volts = False
    while True:
        try:
            step = None if skipped_volts else _next_volts(work)
            if step is not None:
                skipped_volts = not _ask_volts(work, step)
                continue
            if not work.session.looks and work.session.readings and "look" not in work.session.told:
                _ask_look(work)
                continue
            if not _ask_edge(work):
                return
        except _Stop:
            click.echo(f"\nKept in {work.path}. Go on with: pinproof learn")
            return
        except _Back:
            click.echo("  One step back." if work.back() else "  This is the first step.")
            skipped_volts = False
        except (PinproofError, click.UsageError) as fault:
            said = fault.format_message() if isinstance(fault, click.UsageError) else str(fault)
            click.echo(f"  {said}\n  Once more, or ? for don't know.")


def _next_volts(work: _Work) -> VoltsStep | None:
    from pinproof.learn import next_volts
    from pinproof.learn.session import at_one_supply, number_told

    session, truck = work.session, work.truck
    owner = truck.input_of(truck.line(session.line))
    if session.told.get("volts") == "skipped":
        return None
    loads = [part.ohm for part in session.search.stock]
    return next_volts(
        at_one_supply(session.readings), session.meter, loads, supply_high_v=truck.supply.run.high,
        max_pin_v=owner.max_pin.value if owner.max_pin is not None else None,
        reference_v=number_told(session, "reference_v"),
    )  # fmt: skip


def _ask_volts(work: _Work, step: VoltsStep) -> bool:
    """One reading of volts; False if the user does not know."""
    from pinproof.cli import show_learn
    from pinproof.learn import found_of

    click.echo(show_learn.volts_step_words(step, found_of(work.session, work.truck).least_ohm))
    typed = _answer("  volts")
    if typed is None:
        work.take(dataclasses.replace(work.session, told={**work.session.told, "volts": "skipped"}))
        click.echo("  Then without the source: loads are spaced as for 1 kΩ.")
        return False
    numbers = typed.replace(",", " ").split() if step.from_feed else [typed.replace(" ", "")]
    if step.from_feed and len(numbers) != 2:
        raise click.UsageError("Answer with both: feed, then pin, as in 12.61 1.15.")
    load = "open" if step.load_ohm == float("inf") else f"load={step.load_ohm:.6g}ohm"
    feed = f" feed={numbers[0]}" if step.from_feed else ""
    work.add(f"{load} volts={numbers[-1]}{feed}")
    click.echo(show_learn.source_words(work.session, found_of(work.session, work.truck)))
    return True


def _ask_look(work: _Work) -> None:
    """Is the pin switched on and off?"""
    from pinproof.learn import Look, found_of
    from pinproof.learn.entry import read_entry

    click.echo("  Nothing on the pin. Read it on the AC range, or with min/max for ten seconds.")
    typed = _answer('  as in "ac=0.01" or "min=0.1 max=4.98"')
    told = {**work.session.told, "look": "no" if typed is None else "yes"}
    session = dataclasses.replace(work.session, told=told)
    if typed is not None:
        entry = read_entry(typed)
        opened = [each.volts_v for each in session.readings if each.is_open]
        look = Look(opened[-1] if opened else 0.0, entry.ac_v, entry.min_v, entry.max_v)
        session = dataclasses.replace(session, looks=(*session.looks, look))
    work.take(session)
    found = found_of(work.session, work.truck)
    if found.strobed:
        click.echo(f"  {found.why_not}")


def _ask_edge(work: _Work) -> bool:
    """One step of the search; False when there is none left or the user has enough."""
    from pinproof.cli import show_learn
    from pinproof.learn import progress, propose, update

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
    typed = _answer("  answer")
    seen = _seen(work, step, typed)
    work.take(dataclasses.replace(work.session, search=update(search, step, seen)))
    state = progress(work.session.search)
    click.echo(
        f"  Readings: {state.readings}. Edges seen: {state.edges}, of these as narrow as wanted: {state.resolved}; the "
        f"widest bracket {show_learn.percent(state.widest)}."
    )
    return True


def _seen(work: _Work, step: Step, typed: str | None) -> Any:
    """An answer as an observation."""
    from pinproof.learn import Observation
    from pinproof.learn.entry import last_digit, read_entry

    if typed is None:
        return Observation()
    if step.kind == "load":
        return Observation(typed)
    if step.kind == "measure":
        ohm = read_entry(f"part=1k ohms={typed.replace(' ', '')}").ohms_ohm
        assert ohm is not None
        return Observation(ohm=ohm, reach_ohm=work.ohm_reach(ohm, last_digit(typed.replace(" ", ""))))
    meaning, _, ohms = typed.rpartition(" ")
    ohm = read_entry(f"pot={ohms}").pot_ohm
    assert ohm is not None
    ended = meaning.strip().lower() == "end"
    return Observation(None if ended else meaning, ohm, work.ohm_reach(ohm, last_digit(ohms)), ended)


# the end


def _done(session: Session, found: Any) -> bool:
    """Source and all edges known, as narrow as wanted, nothing unseen that was not accepted."""
    from pinproof.learn import progress

    state = session.search
    seen = progress(state)
    open_stretch = seen.unseen > max(state.resolution, state.accepted)
    return bool(
        found.pulls is not None and seen.edges and seen.resolved == seen.edges and not seen.missing and not open_stretch
    )


def _has_result(work: _Work) -> bool:
    from pinproof.learn import found_of, windows_of

    return found_of(work.session, work.truck).pulls is not None or bool(windows_of(work.session.search))


def _summary(work: _Work) -> None:
    from pinproof.cli import show_learn
    from pinproof.learn import found_of, propose, windows_of

    session = work.session
    found = found_of(session, work.truck)
    out = [f"\nLine {session.line}, from {len(session.readings)} volts and {session.search.readings} meanings:"]
    out.append(show_learn.source_words(session, found) or "  The source was not looked at.")
    if session.search.visits:
        out += ["", show_learn.edges_words(session.search), "", show_learn.window_words(windows_of(session.search))]
        step = propose(session.search)
        out += ["", "Next:", show_learn.step_words(step, session.search)] if step is not None else []
    click.echo("\n".join(out))


def _write(work: _Work, file: Path, *, say: bool) -> None:
    """Show the change, then save it; the version before is kept."""
    from pinproof.cli import show_learn
    from pinproof.design.load import decode, read_bytes
    from pinproof.design.save import save_atomic
    from pinproof.learn import found_of, learned_text, missing_meanings, note_of, windows_of
    from pinproof.learn.session import reference_learned

    session, truck = work.session, work.truck
    line = truck.line(session.line)
    found = found_of(session, truck)
    windows = windows_of(session.search) if session.search.visits else ()
    missing = missing_meanings(truck, line, windows)
    if missing or not any(each.low or each.high for each in windows):
        if session.search.visits:
            click.echo(f"Windows not written; not surely known yet: {', '.join(missing) or 'any edge'}.", err=True)
        windows = ()
    before = decode(read_bytes(str(file)), file.name)
    compares = session.told.get("compares", "")
    after = learned_text(
        before, truck, line, pulls=found.pulls, reference=reference_learned(session, found) if found.pulls else None,
        compares=compares, windows=windows, note=note_of(session),
    )  # fmt: skip
    if after == before:
        click.echo("Nothing to write.", err=not say)
        return
    if say:
        click.echo("\nThe change:")
        click.echo("\n".join(show_learn.diff_words(before, after)))
    save_atomic(file, after, truck.text_hash)
    click.echo(f"Written: {file}; the version before is {file.name}.bak. Next: pinproof prove {file}", err=not say)
