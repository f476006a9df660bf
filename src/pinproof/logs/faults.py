"""What is said about a log, or a logger map, that cannot be used.

Answers: where, what was read, what would be right, what to do next.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from pinproof.errors import PinproofError, printable

MOST_SHOWN = 60


@dataclass
class LogFault(PinproofError):
    """A log that cannot be read.

    `kind` is one fixed word per cause ("empty", "binary", "no time", …), `where` a line or a channel or "",
    `read` what was found, `expected` what would be right, `hint` what to do next.
    """

    file: str
    kind: str
    read: str
    expected: str = ""
    hint: str = ""
    where: str = ""

    def __str__(self) -> str:
        head = f"{self.file}  {self.where}" if self.where else self.file
        said = " ".join(part for part in (self.read, self.expected, self.hint) if part)
        return f"{printable(head)}\n    {printable(said)}"


@dataclass
class MapFault(PinproofError):
    """Everything wrong with a logger map, each as (entry, sentence)."""

    file: str
    faults: tuple[tuple[str, str], ...]

    def __str__(self) -> str:
        shown = ((printable(f"{self.file}  {where}"), printable(said)) for where, said in self.faults[:MOST_SHOWN])
        lines = [f"{head}\n    {said}" for head, said in shown]
        if len(self.faults) > MOST_SHOWN:
            lines.append(f"… and {len(self.faults) - MOST_SHOWN} more of the same file.")
        return "\n".join(lines)


def shown(text: str, most: int = 60) -> str:
    """A text of the file, fit to be printed in a sentence: one line, no control letters, not too long."""
    plain = "".join(letter if letter.isprintable() else "·" for letter in text[: most + 1])
    return plain if len(plain) <= most else plain[:most] + "…"
