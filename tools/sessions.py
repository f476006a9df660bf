"""Sessions in the docs: commands with what they print, run in order and compared or written anew.

A fenced block whose lines begin with ``$ pinproof`` holds commands and their output. All blocks of one page run one
after another in one empty folder. A block ```` ```toml truck.toml ```` writes that file first. A line ``[…]`` in the
output stands for any number of lines; when a page is written anew as many lines before and after it are kept as there
were. Exit codes are compared where a line ``(ends with 1)`` follows; otherwise 0 and 1 are both an answer.

    python tools/sessions.py            compare all pages; ends with 1 and the differences if one is stale
    python tools/sessions.py --write    write the outputs anew
"""

from __future__ import annotations

import argparse
import difflib
import os
import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MORE = "[…]"
PROMPT = "$ "
FENCE = re.compile(r"^```(\w*)(?: +(\S+))?\s*$")
ENDS = re.compile(r"^\(ends with (\d)\)$")
SECONDS = 120


def pages(root: Path = ROOT) -> list[Path]:
    """Pages that hold sessions: the README and the tutorials."""
    return [root / "README.md", *sorted((root / "docs" / "tutorials").glob("*.md"))]


@dataclass(frozen=True)
class Command:
    """One command in a page: where its output stands, as line numbers from 0 (end not included)."""

    text: str
    begin: int
    end: int


@dataclass(frozen=True)
class File:
    """A file that a page writes out."""

    name: str
    text: str


def parts(text: str) -> Iterator[Command | File]:
    """Commands and files of a page, in order."""
    lines = text.split("\n")
    at = 0
    while at < len(lines):
        fence = FENCE.match(lines[at])
        if fence is None:
            at += 1
            continue
        end = next((k for k in range(at + 1, len(lines)) if lines[k].startswith("```")), len(lines))
        if fence[2]:
            yield File(fence[2], "\n".join(lines[at + 1 : end]) + "\n")
        starts = [k for k in range(at + 1, end) if lines[k].startswith(PROMPT)]
        for start, stop in zip(starts, [*starts[1:], end], strict=False):
            yield Command(lines[start].removeprefix(PROMPT), start + 1, stop)
        at = end + 1


def run(command: str, folder: Path) -> list[str]:
    """What a command prints, line by line; with how it ends if that is neither 0 nor 1."""
    given, _, to_type = command.partition(" < ")
    words = shlex.split(given)
    if words[0] != "pinproof":
        raise ValueError(f"a session runs only pinproof, not: {command}")
    environment = os.environ | {"COLUMNS": "100", "NO_COLOR": "1", "PYTHONUTF8": "1"}
    environment["PYTHONPATH"] = os.pathsep.join([str(ROOT / "src"), environment.get("PYTHONPATH", "")])
    done = subprocess.run(
        [sys.executable, "-m", "pinproof", *words[1:]], cwd=folder, env=environment, encoding="utf-8",
        input=(folder / to_type).read_text(encoding="utf-8") if to_type else "",
        capture_output=True, timeout=SECONDS, check=False,
    )  # fmt: skip
    said = done.stdout if done.returncode in (0, 1) else done.stdout + done.stderr  # else stderr holds only progress
    out = [line.rstrip() for line in said.strip("\n").split("\n")] if said.strip() else []
    return [*out, f"(ends with {done.returncode})"] if done.returncode not in (0, 1) else out


def agrees(shown: list[str], real: list[str]) -> bool:
    """True if what stands in the page is what was printed; MORE stands for any lines."""
    pieces: list[list[str]] = [[]]
    for line in shown:
        if line == MORE:
            pieces.append([])
        else:
            pieces[-1].append(line)
    if len(pieces) == 1:
        return shown == real
    if real[: len(pieces[0])] != pieces[0]:
        return False
    at = len(pieces[0])
    for piece in pieces[1:-1]:
        found = next((k for k in range(at, len(real) - len(piece) + 1) if real[k : k + len(piece)] == piece), None)
        if found is None:
            return False
        at = found + len(piece)
    last = pieces[-1]
    return len(real) - at >= len(last) and (not last or real[-len(last) :] == last)


def anew(shown: list[str], real: list[str]) -> list[str]:
    """The output as it should stand: whole, or shortened as it was."""
    if agrees(shown, real):
        return shown
    if MORE not in shown:
        return real
    before, after = shown.index(MORE), len(shown) - 1 - (len(shown) - 1 - shown[::-1].index(MORE))
    if before + after + 1 >= len(real):
        return real
    return [*real[:before], MORE, *(real[-after:] if after else [])]


def check(page: Path, *, write: bool) -> list[str]:
    """Run a page's sessions. Returns the differences, or writes the page anew."""
    text = page.read_text(encoding="utf-8")
    lines = text.split("\n")
    found: list[str] = []
    changes: list[tuple[Command, list[str]]] = []
    with tempfile.TemporaryDirectory(prefix="pinproof-docs-") as name:
        folder = Path(name)
        for part in parts(text):
            if isinstance(part, File):
                (folder / part.name).write_text(part.text, encoding="utf-8", newline="\n")
                continue
            shown = [line.rstrip() for line in lines[part.begin : part.end]]
            while shown and not shown[-1]:
                shown.pop()
            wanted = next((hit[1] for line in shown if (hit := ENDS.match(line))), None)
            real = run(part.text, folder)
            if wanted is not None and not ENDS.match(real[-1] if real else ""):
                found.append(f"{page.name}: `{part.text}` should end with {wanted}")
            if not agrees(shown, real):
                named = f"{page.name}:{part.begin}: {part.text}"
                found += [f"{named}:", *difflib.unified_diff(shown, real, "page", "printed", lineterm="", n=1)]
                changes.append((part, anew(shown, real)))
    if write and changes:
        for part, fresh in reversed(changes):
            blank = [""] if part.end < len(lines) and lines[part.end].startswith(PROMPT) else []
            lines[part.begin : part.end] = [*fresh, *blank]
        page.write_text("\n".join(lines), encoding="utf-8", newline="\n")
    return found


def main(arguments: list[str]) -> int:
    """Compare or write all pages."""
    parser = argparse.ArgumentParser(prog="sessions", description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--write", action="store_true", help="write the outputs anew")
    asked = parser.parse_args(arguments)
    stale = [said for page in pages() for said in check(page, write=asked.write)]
    print("\n".join(stale) if stale else "All sessions print what their pages show.")
    if stale and asked.write:
        print("Written anew; look at the difference before you keep it.")
    return 0 if not stale or asked.write else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
