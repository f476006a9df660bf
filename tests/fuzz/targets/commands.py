"""Words on the command line: one argument on each line, run in a folder with a truck, a log, a map, a drawer."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
from click.testing import CliRunner

from pinproof.cli import COMMANDS, group
from pinproof.errors import PinproofError
from tests.fuzz import mutate
from tests.fuzz.oracle import Broken, fit_to_print, refused
from tests.fuzz.target import Run, Target
from tests.fuzz.targets.pages import FILES

LEADS_OUT = re.compile(r"(?:^|=|-[a-zA-Z])\s*(?:[/\\~]|[A-Za-z]:)|\.\.[/\\].*\.\.[/\\].*\.\.")
SLOW = ("pack", "demo", "serve")  # run only with --help, or refused: what they do is tried elsewhere


def begin(folder: Path) -> Run:
    """Run in a folder deep enough that `../..` stays inside."""
    home = folder / "a" / "b" / "c" / "d"
    home.mkdir(parents=True)
    os.chdir(home)
    runner = CliRunner()

    def put_back() -> None:
        for each in home.iterdir():
            if each.is_file() and each.name not in FILES:
                each.unlink()
        for name, data in FILES.items():
            path = home / name
            if not path.is_file() or path.read_bytes() != data:
                path.write_bytes(data)

    def run(data: bytes) -> None:
        words = [each.decode("utf-8", "replace") for each in data.split(b"\n") if each][:40]
        if any("\0" in each or LEADS_OUT.search(each) for each in words):
            return
        if words and words[0] in SLOW and "--help" not in words:
            return
        put_back()
        done = runner.invoke(group, words, prog_name="pinproof", color=False)
        os.chdir(home)
        judged(words, done)
        half = [each.name for each in home.iterdir() if each.name.endswith(".part")]
        if half:
            raise Broken("half a file was left", ", ".join(half))

    return run


def judged(words: list[str], done: Any) -> None:
    """See that it ended as a command ends, in words that can be printed."""
    error = done.exception
    if isinstance(error, PinproofError):
        refused(error)
    elif error is not None and not isinstance(error, SystemExit):
        raise error
    elif done.exit_code not in (0, 1, 2):
        raise Broken(f"exit code {done.exit_code}", repr(words))
    text = done.output
    if "Traceback (most recent call last)" in text:
        raise Broken("a trace was printed", text[-600:])
    if not text.strip() and error is None:
        return
    for each in {letter for word in words for letter in word if not letter.isprintable()} - {"\n"}:
        text = text.replace(each, "")  # what somebody typed may come back to them
    fit_to_print(text.encode("utf-8", "replace").decode("utf-8").strip() or "-", "what was printed")


def _options(name: str) -> list[str]:
    command = group.get_command(click.Context(group), name)
    assert command is not None
    return [word for each in command.params if isinstance(each, click.Option) for word in each.opts]


CALLS = (
    "check wagtail.toml", "check wagtail.toml --json", "prove wagtail.toml --samples 50 --no-cures",
    "next wagtail.toml",
    "prove wagtail.toml --samples 0 --no-cures --json --all", "choose wagtail.toml --series E12 --low 100 --high 10k",
    "faults wagtail.toml --no-cures", "find wagtail.toml --saw up=down --read", "meter wagtail.toml --left",
    "meter wagtail.toml --read source=OL --note x", "meter wagtail.toml --csv day1.csv", "meter --begin-meter",
    "record wagtail.toml", "record wagtail.toml --strike 1 --why slip", "learn wagtail.toml --add",
    "learn wagtail.toml --json",
    "harness wagtail.toml", "inhibit wagtail.toml", "gears wagtail.toml --begin", "gears wagtail.toml --at",
    "log wagtail.toml day1.csv --map logger.toml --no-keep", "log --map-from day1.csv -o new.toml",
    "log wagtail.toml --plan", "adopt wagtail.toml other.toml --name Other", "drawer list",
    "drawer add 4k7 1 --count 3",
    "drawer read day1.csv", "new dune.toml --no-questions --name Dune --switched fuse --list", "completion bash",
    "new dune.toml --starter ladder", "--help", "--version", "prove", "pack --help", "demo nobody", "serve --help",
)  # fmt: skip
MORE = {"--read": "ohms idle=OL", "--add": "load=1k volts=2.41", "--at": "100 km/h", "--list": "up 2.88k, down 1.27k"}


def seeds() -> Sequence[bytes]:
    """Calls as people make them."""
    made = []
    for call in CALLS:
        words = call.split()
        words += [MORE[words[-1]]] if words[-1] in MORE else []
        made.append("\n".join(words).encode())
    return made


WORDS = (
    *COMMANDS, *FILES, *sorted({word for name in COMMANDS for word in _options(name)}), "\n", "\n--json\n",
    "\n--help\n",
    "missing.toml", ".", "..", "-", "--", "up=OL", "=", "1e9", "-1", "0", "99999999999999999999", "ohms idle=OL",
    "E24 1 %",
    "example.toml", "out.csv", "out.svg", "out.html", "CON", "a" * 300,
)  # fmt: skip
KINDS = (*mutate.TEXT, mutate.lines, mutate.lines, mutate.insert, mutate.insert)
TARGETS = (
    Target("command", "words on the command line", ("pinproof.cli",), begin, seeds, KINDS, WORDS, limit_s=60.0),
)  # fmt: skip
