"""docs/reference/commands.md: every command, argument and option, from the parsers themselves."""

from __future__ import annotations

import re
from collections.abc import Iterator

import click

from pinproof.cli import COMMANDS, EPILOG, group
from pinproof.cli.files import FILES
from tools.reference.mark import anchor, code, page, sentence, table

ENDS = re.compile(r"(?:Ends with|With --logs:) [^.]*\.")
INTRO = (
    "Every command with its options, what it reads and writes, and how it ends. What each is for is told in the "
    "[README](../../README.md) and shown in the tutorials.",
    "All commands: results go to standard output, talk and errors to standard error. **How a command ends** is its "
    "exit code: 0, it holds; 1, it was read but does not hold or is not shown; 2, something cannot be used, and the "
    "[error](errors.md) says what, or it was stopped before the end: by Ctrl+C, or for want of input where it asked. "
    "The searches that keep what was read (find, learn, meter) take that for an ordinary stop. A file is written "
    "whole or not at all. Nothing is sent anywhere.",
    EPILOG,
)


def commands() -> Iterator[tuple[str, click.Command]]:
    """Every command with its name, in the order of `pinproof --help`."""
    context = click.Context(group)
    for name in COMMANDS:
        found = group.get_command(context, name)
        assert found is not None
        yield name, found


def options(command: click.Command) -> list[click.Option]:
    """The options of a command, `--help` left out: every command has it."""
    return [each for each in command.params if isinstance(each, click.Option)]


def arguments(command: click.Command) -> list[click.Argument]:
    """What stands without a dash."""
    return [each for each in command.params if isinstance(each, click.Argument)]


def spellings(option: click.Option) -> list[str]:
    """Every way to write an option: "-o", "--output", "--no-cures"."""
    return [*option.opts, *option.secondary_opts]


def page_of(name: str, command: click.Command) -> str:
    """The part of one command."""
    context = click.Context(command, info_name=f"pinproof {name}")
    text = " ".join((command.help or "").replace("\b", "").split("Example:")[0].split())
    ends = ENDS.findall(text)
    assert ends, f"the help of `{name}` does not say how it ends"
    first = sentence(command.help)
    more = text.removeprefix(first).strip()
    for said in ends:
        more = more.replace(said, "").strip()
    examples = re.findall(r"Example: (.+)", command.help or "")
    files = FILES[name]
    parts = [
        f"## {name}",
        first,
        re.sub(r"\s+", " ", more),
        "```\n" + "\n".join([" ".join(command.get_usage(context).split()).removeprefix("Usage: ")]) + "\n```",
        _arguments(name, command),
        _options(name, command),
        f"**Reads**: {files.reads} **Writes**: {files.writes}",
        f"**How it ends**: {' '.join(ends).replace('Ends with ', '')}",
        "```\n" + "\n".join(examples) + "\n```" if examples else "",
    ]
    return "\n\n".join(part for part in parts if part)


def _arguments(name: str, command: click.Command) -> str:
    rows = []
    for each in arguments(command):
        several = " (one or more)" if each.nargs == -1 else ""
        label = each.make_metavar(click.Context(command)).strip("[].").replace("]...", "")
        rows.append(
            [f"{anchor(name, each.name or '')}{code(label)}{several}", _takes(each), _default(each) or _must(each)]
        )
    return table(["stands without a dash", "takes", "without it"], rows) if rows else ""


def _options(name: str, command: click.Command) -> str:
    rows = []
    for each in options(command):
        ways = ", ".join(code(way) for way in spellings(each))
        several = " May be repeated." if each.multiple and "repeated" not in (each.help or "") else ""
        must = "**needed**" if each.required else _default(each)
        rows.append([f"{anchor(name + each.opts[-1])}{ways}", _takes(each), f"{each.help or ''}{several}", must])
    rows.append([f"{anchor(name + '--help')}`--help`", "", "Show the help and end.", ""])
    return table(["option", "takes", "what it does", "without it"], rows)


def _takes(each: click.Parameter) -> str:
    if isinstance(each, click.Option) and each.is_flag:
        return ""
    kind = each.type
    if isinstance(kind, click.Choice):
        return " or ".join(code(str(word)) for word in kind.choices)
    if isinstance(each, click.Option) and each.metavar:
        return code(each.metavar)
    if isinstance(kind, click.Path):
        return "a folder" if kind.dir_okay and not kind.file_okay else "a file"
    if isinstance(kind, click.types.IntParamType | click.IntRange):
        return "a whole number"
    if isinstance(kind, click.DateTime):
        return code("YYYY-MM-DD")
    return "a text"


def _must(each: click.Argument) -> str:
    return "**needed**" if each.required else "nothing"


def _default(each: click.Parameter) -> str:
    shown = each.show_default if isinstance(each, click.Option) else None
    if isinstance(shown, str):
        return shown
    default = each.get_default(click.Context(click.Command("x")), call=False)
    if default is None or default == () or default == "" or callable(default) or str(default).startswith("Sentinel"):
        return ""
    if isinstance(default, bool):
        if isinstance(each, click.Option) and each.secondary_opts:
            return code(each.opts[-1] if default else each.secondary_opts[-1])
        return ""
    return code(str(default).replace("\\", "/"))


def text() -> str:
    """The list of commands at the head."""
    rows = [[f"[{name}](#{name})", says] for name, says in COMMANDS.items()]
    return table(["command", "what it does"], rows)


def page_text() -> str:
    """The whole page."""
    alone = "## pinproof\n\n" + table(
        ["option", "what it does"],
        [[f"{anchor('pinproof--version')}`--version`", "Print the version and end."],
         [f"{anchor('pinproof--help')}`-h`, `--help`", "List the commands and end."]],
    )  # fmt: skip
    return page("Commands", *INTRO, text(), *(page_of(name, each) for name, each in commands()), alone)
