"""What may come of hostile input: a result, or a refusal in words that can be printed and say where.

Answers: `Broken` for anything else.
Touches: nothing.
"""

from __future__ import annotations

import traceback
from pathlib import Path
from typing import Any

MOST_TEXT = 60_000
"""Longest text of a refusal, in characters. [1]"""


class Broken(Exception):
    """Something that must not happen, found by a target itself. `kind` tells findings of one target apart."""

    def __init__(self, kind: str, said: str) -> None:
        super().__init__(f"{kind}: {said}")
        self.kind = kind


def refused(error: Exception, *where: str) -> None:
    """See that a refusal can be printed and holds one of the texts `where`; Broken if not."""
    name = type(error).__name__
    try:
        text = str(error)
    except Exception as inner:
        raise Broken(f"{name} cannot be told", repr(inner)) from inner
    fit_to_print(text, name)
    if where and not any(each in text for each in where):
        raise Broken(f"{name} does not say where", text[:300])


def fit_to_print(text: str, what: str) -> None:
    """See that a text for the user has words, no control letters, no half letters, and an end."""
    if not text.strip():
        raise Broken(f"{what} says nothing", repr(text))
    if len(text) > MOST_TEXT:
        raise Broken(f"{what} is too long to be read", f"{len(text)} characters: {text[:200]}")
    odd = next((letter for letter in text if (letter < " " and letter not in "\n\t") or "\x7f" <= letter <= "\x9f"), "")
    if odd:
        raise Broken(f"{what} holds a control letter", f"{odd!r} in {text[:300]!r}")
    half = next((letter for letter in text if "\ud800" <= letter <= "\udfff"), "")
    if half:
        raise Broken(f"{what} holds half a letter", f"{half!r} in {text[:300]!r}")


def plain(tree: Any, what: str) -> None:
    """See that a result for programs is JSON without NaN."""
    import json

    try:
        json.dumps(tree, allow_nan=False)
    except (ValueError, TypeError, RecursionError) as error:
        raise Broken(f"{what} is no JSON", str(error)) from error


def untouched(path: Path, data: bytes, beside: frozenset[str]) -> None:
    """See that the input file is as it was and that nothing new lies beside it."""
    if path.read_bytes() != data:
        raise Broken("the input was changed", path.name)
    new = sorted({each.name for each in path.parent.iterdir()} - beside - {path.name})
    if new:
        raise Broken("a file was left behind", ", ".join(new))


def key_of(error: BaseException) -> str:
    """One name for one mistake: what it is, and the deepest place in pinproof that it came through."""
    if isinstance(error, Broken):
        return error.kind
    frames = traceback.extract_tb(error.__traceback__)
    ours = [each for each in frames if "pinproof" in each.filename and "site-packages" not in each.filename]
    at = ours[-1] if ours else frames[-1]
    return f"{type(error).__name__} at {Path(at.filename).name}:{at.lineno}"
