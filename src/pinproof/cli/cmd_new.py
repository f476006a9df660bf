"""`pinproof new`: a first design file from a few answers in shop words."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pinproof.cli.common import JSON, print_json
from pinproof.design.starter import FORMS

if TYPE_CHECKING:
    from pinproof.chain.beginning import Values
    from pinproof.chain.interview import Question
    from pinproof.design.starter import Sheet


ANSWER_OPTIONS = (
    ("name", "What the truck is called."),
    ("switched", "Where the switches lead: fuse, chassis, sensor ground or 5 V."),
    ("controls", 'Controls on the wire, as in "slot, lever, wheel".'),
    ("taps-fed", "Where the taps get their power or ground: through enable, or directly."),
    ("list", 'What the pin wants, as in "up 2.88k, down 1.27k, manual 8.25k".'),
    ("list-is", "Whether the ohms of the list are the total at the wire or the parts to solder."),
    ("whose", "Whose list it is: measured (this truck), published (maker), borrowed (another truck), assumed."),
    ("pull", 'The resistor inside the controller, as in "1 kohm 5 % measured".'),
    ("compares", 'What the reading is compared with: "battery", the controller\'s own supply; "volts", nothing.'),
    ("supply", 'Lowest and highest supply, as in "10.5 to 15.2 V".'),
    ("temperature", 'Coldest and hottest at the switches, as in "-10 to 60 °C".'),
    ("parts", 'Resistors you can get, as in "E24 1 %", "have E24 1 %" if they lie at hand, or your drawer file.'),
)


def _answer_options(function: Any) -> Any:
    for key, text in reversed(ANSWER_OPTIONS):
        function = click.option(f"--{key}", key.replace("-", "_"), default=None, metavar="ANSWER", help=text)(function)
    return function


@click.command("new")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path), default=Path("truck.toml"))
@click.option("--starter", type=click.Choice(FORMS), help="Write a commented file of this form, to fill in by hand.")
@click.option("--no-questions", is_flag=True, help='Ask nothing; what no option answers counts as "don\'t know".')
@_answer_options
@JSON
def command(file: Path, starter: str | None, no_questions: bool, as_json: bool, **given: str | None) -> None:
    """Begin a design file: twelve questions at most, and "don't know" is always an answer.

    With any answer given as an option nothing is asked. A file that is there is never overwritten.

    Ends with 0 if the file was written, 2 if not.

    \b
    Example: pinproof new truck.toml
    Example: pinproof new truck.toml --switched ground --list "up 2.88k, down 1.27k"
    """
    from pinproof.design.save import save_atomic
    from pinproof.design.starter import design_text, starter_sheet

    if file.exists():
        raise click.UsageError(f"{file} is there already; nothing was written. Give another name.")
    answered = {key.replace("_", "-"): value for key, value in given.items() if value is not None}
    design_id = f"pp-{secrets.token_hex(3)}"
    values: Values | None = None
    if starter is not None:
        beside = [f"--{key}" for key in answered if key != "name"]
        if beside:
            raise click.UsageError(f"{beside[0]} does not go with --starter, which writes a file to fill in by hand.")
        name = answered.get("name", "")
        sheet = starter_sheet(starter, design_id, " ".join(name.split()))  # type: ignore[arg-type]
    else:
        asks = not (no_questions or answered or as_json)
        sheet, values = _sheet(design_id, answered, file.parent, asks)
    file.parent.mkdir(parents=True, exist_ok=True)
    save_atomic(file, design_text(sheet), None)
    _summary(file, values, as_json, is_starter=starter is not None)


def _sheet(design_id: str, answered: dict[str, str], folder: Path, asks: bool) -> tuple[Sheet, Values]:
    """The sheet after all questions, with resistors that give the list."""
    from pinproof.chain.beginning import taken, with_values
    from pinproof.chain.interview import QUESTIONS, AnswerFault
    from pinproof.chain.sheet import sheet_of
    from pinproof.chain.values import choose_can_run

    answers: dict[str, Any] = {}
    if asks:
        click.echo('An empty answer or "?" is "don\'t know"; it is always an answer. Ctrl+C stops, and writes nothing.')
    number = 0
    for question in QUESTIONS:
        if not question.needed(answers):
            if question.key in answered:
                raise click.UsageError(f"--{question.key} does not go with the other answers. Leave it out.")
            continue
        number += 1
        while True:
            text = _ask(question, number) if asks else answered.get(question.key, "")
            try:
                answers, truck = taken(answers, question.key, text, design_id, folder)
            except AnswerFault as fault:
                if not asks:
                    raise click.UsageError(f"--{question.key}: {fault}") from None
                click.echo(f"  {fault}\n  Once more, or ? for don't know.")
                continue
            break
    if choose_can_run(truck, truck.lines[0]):
        click.echo("Choosing resistors …", err=True)
    return with_values(sheet_of(answers, design_id), truck, answers, folder)


def _ask(question: Question, number: int) -> str:
    click.echo(f"\n{number}. {question.ask}")
    for place, (_, said) in enumerate(question.options, start=1):
        click.echo(f"     {place}  {said}")
    for line in question.more:
        click.echo(f"   {line}")
    answer: str = click.prompt("  ", default="", show_default=False, prompt_suffix="> ")
    return answer


def _summary(file: Path, values: Values | None, as_json: bool, *, is_starter: bool) -> None:
    """What can be said already, and the first thing to find out."""
    from pinproof.chain.actions import next_actions
    from pinproof.chain.beginning import Values
    from pinproof.chain.links import row_words
    from pinproof.chain.outlook import JUDGES_WORDS, outlooks
    from pinproof.cli.cmd_next import find_drawer, say_if_long, tools_words, wrapped
    from pinproof.design import load
    from pinproof.proof import as_json as plain
    from pinproof.proof import prove

    values = values or Values()
    truck = load(file)
    say_if_long(truck)
    proof = prove(truck, samples=0)
    actions = next_actions(truck, proof, find_drawer(file, None, truck))
    reason = proof.lines[0].reason
    seen = outlooks(truck, truck.lines[0])
    choice = values.choice
    if as_json:
        outlook = [
            {"judges": each.judges, "text": each.text, "single_ohm": each.single_ohm, "holding_ohm": each.holding_ohm}
            for each in seen
        ]
        best = None if choice is None else {"values": choice.values, "margin": choice.margin, "verdict": choice.verdict}
        why_not = values.refused or (values.tried.text if values.tried is not None else "")
        print_json(
            {
                "file": str(file), "id": truck.id, "verdict": plain(proof.verdict), "reason": reason,
                "parts": plain(truck.parts), "outlook": plain(outlook), "values": plain(values.fitted),
                "choice": plain(best), "not_chosen_because": why_not, "actions": plain(actions),
            }
        )  # fmt: skip
        return
    out = ["", f"Written: {file}  ({truck.name})"]
    if is_starter:
        out.append('  Fill in what you know; what says "unknown" or "to choose" may stay.')
    if values.parts is not None:
        out += wrapped(f"Parts: {values.parts.text}.", "  ")
    if reason:
        out += wrapped(f"Not proven yet: {reason}.", "  ")
    else:
        worst = proof.lines[0].worst
        closest = f" Closest: {row_words(worst)}" if worst is not None else ""
        out += wrapped(f"The proof as it stands: {proof.verdict}.{closest}", "  ")
    for each in seen:
        head = f"If the controller judges {JUDGES_WORDS[each.judges]}: " if len(seen) > 1 else ""
        out += wrapped(f"{head}{each.text}", "  ")
    out += _values_words(values)
    first = next((each for each in actions if not each.order_today), None)
    if first is not None:
        out += wrapped(f"Find out first: {first.what} {tools_words(first)}", "  ")
    click.echo("\n".join([*out, "", f"How to do that, step by step, and what comes after it: pinproof next {file}"]))


def _place(path: str) -> str:
    """ "lever_up" of contact.lever_up.resistor, "idle resistor" of line.taps.idle_resistor."""
    kind, name, key = path.split(".")
    return name if kind == "contact" else key.replace("_", " ")


def _values_words(values: Values) -> list[str]:
    from pinproof.cli.cmd_next import wrapped
    from pinproof.proof import margin_percent
    from pinproof.quantities import format_value

    def ohm(value: float) -> str:
        return format_value(value, "resistance", digits=3)

    out = ["  Resistors that give the listed ohms:"] if values.fitted else []
    for each in values.fitted:
        beside = f" with {' and '.join(each.beside)}" if each.beside else ""
        if each.fits:
            said = f"{each.name}: {ohm(each.ohm)}. The wire then shows {ohm(each.shows_ohm)}{beside}"
            out += wrapped(f"{said}; the list has {ohm(each.wanted_ohm)}.", "    ")
        else:
            said = f"{each.name}: none. The list has {ohm(each.wanted_ohm)}, the nearest is {ohm(each.shows_ohm)}"
            out += wrapped(f'{said}{beside}. It is left "to choose".', "    ")
    if values.refused:
        out += wrapped(values.refused, "  ")
    elif values.tried is not None and values.tried.text:
        out += wrapped(f"{values.tried.text} `pinproof choose FILE` tries what would part them.", "  ")
    if values.choice is not None:
        best = ", ".join(f"{_place(each.path)} {ohm(each.ohm)}" for each in values.choice.resistors)
        margin = f"{margin_percent(values.choice.margin)} of half a window"
        origin = "your drawer" if values.choice.source == "drawer" else values.choice.source
        said = f"Best of {origin} in the worst case (as pinproof choose finds)"
        out += wrapped(f"{said}: {best}; smallest margin {margin}.", "  ")
    return out
