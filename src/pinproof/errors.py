"""Every error Pinproof raises on purpose, with fields that a face turns into words and exit codes.

Answers: what went wrong, where, what was read, what would be right, what to do next.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass


class PinproofError(Exception):
    """Base of all deliberate errors. Every subclass carries its message ready to print."""


def printable(text: str) -> str:
    """A text that was read, fit to stand in a sentence: one line, no letter that a terminal obeys, no half letters.

    Examples
    --------
    >>> printable("1\\x1b[2Jk\\n5")
    '1·[2Jk 5'
    """
    if text.isprintable():
        return text
    return "".join(each if each.isprintable() else " " if each.isspace() else "·" for each in text)


@dataclass
class QuantityFault(PinproofError):
    """A text that is not the quantity that was asked for.

    `read` is what stood there, `expected` what would be right (with an example), `hint` a likely cure or "".
    `readings` lists the meanings that would all fit, when there is more than one.
    """

    read: str
    expected: str
    hint: str = ""
    readings: tuple[str, ...] = ()

    def __str__(self) -> str:
        text = f'"{self.read}" is not {self.expected}.'
        if self.readings:
            text = f'"{self.read}" can be read in {len(self.readings)} ways: ' + " or ".join(self.readings) + "."
        return printable(f"{text} {self.hint}".strip())


@dataclass
class OutOfTable(PinproofError):
    """A look-up outside what a table covers; `covered` says the range in words."""

    table: str
    asked: str
    covered: str

    def __str__(self) -> str:
        return f"{self.table} has no row for {self.asked}. It covers {self.covered}."


@dataclass
class NoSolution(PinproofError):
    """Nothing satisfies the request; `nearest` tells the nearest miss and `cure` what would part the collision."""

    what: str
    nearest: str = ""
    cure: str = ""

    def __str__(self) -> str:
        return " ".join(part for part in (self.what, self.nearest, self.cure) if part)
