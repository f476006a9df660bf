"""What is said about a design file that cannot be used, or cannot be saved.

Answers: where a fault is, what was read, what would be right, what to do next.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pinproof.errors import PinproofError, printable

LONGEST_NAME = 64
"""Longest id, meaning or other name, in characters."""

MOST_SHOWN = 100
"""Faults that are printed in full; a file with more gets a count of the rest."""


@dataclass(frozen=True)
class Fault:
    """One fault or warning of a design file."""

    file: str
    line: int  # from 1; 0 where the file as a whole is meant
    path: str  # design path, "contact.lever_up.resistor"; "" for the whole file
    message: str  # what was read and what would be right, one or two sentences
    column: int = 0  # from 1; 0 if not known
    read: str = ""  # the text that was read, shortened
    nearest: str = ""  # the nearest valid word, if one is near

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}" if self.line else self.file
        head = f"{where}  {self.path}" if self.path else where
        return f"{printable(head)}\n    {printable(self.message)}"


@dataclass
class DesignFault(PinproofError):
    """All faults of one design file, in the order of its lines."""

    file: str
    faults: tuple[Fault, ...]

    def __str__(self) -> str:
        shown = [str(fault) for fault in self.faults[:MOST_SHOWN]]
        if len(self.faults) > MOST_SHOWN:
            shown.append(f"… and {len(self.faults) - MOST_SHOWN} more of the same file.")
        count = "1 fault" if len(self.faults) == 1 else f"{len(self.faults)} faults"
        shown.append(f"{count} in the file; nothing was calculated or written.")
        return "\n".join(shown)


@dataclass
class EditFault(PinproofError):
    """A change that cannot be made in a file; nothing was written."""

    file: str
    path: str  # design path that was to be changed
    reason: str

    def __str__(self) -> str:
        return f"{printable(f'{self.file}  {self.path}')}\n    {printable(self.reason)} Nothing was written."


@dataclass
class ChangedUnderneath(PinproofError):
    """The file on disk is not the one that was loaded; nothing was written."""

    file: str

    def __str__(self) -> str:
        return (
            f"{printable(self.file)} was changed by someone else since it was read. Nothing was written. "
            "Load it again and repeat the change."
        )


@dataclass
class SaveFailed(PinproofError):
    """The system refused a step of saving; the file is as it was."""

    file: str
    step: str
    reason: str

    def __str__(self) -> str:
        return (
            f"{printable(self.file)} was not saved: {self.step} failed ({self.reason}). The file is as it was. "
            "Close it in other programs, see that the folder may be written and the disk has room, then save again."
        )


def nearest(word: str, known: Iterable[str]) -> str:
    """The known word closest to `word`, or "" if none is close."""
    if len(word) > 64:
        return ""
    import difflib

    choices = {choice.casefold(): choice for choice in known}
    found = difflib.get_close_matches(word.casefold(), choices, n=1, cutoff=0.6)
    if not found and len(word) > 2:  # a part of one word only: "open" for "normally open"
        found = [choice for choice in choices if word.casefold() in choice.replace("-", " ").split()]
        found = found if len(found) == 1 else []
    return choices[found[0]] if found else ""


def listed(words: Iterable[str], last: str = "or", most: int = 12) -> str:
    """Words in quotation marks as a sentence needs them: '"a", "b" or "c"'."""
    quoted = [f'"{word}"' for word in words]
    if len(quoted) > most:
        quoted = [*quoted[:most], f"{len(quoted) - most} more"]
        return ", ".join(quoted[:-1]) + " and " + quoted[-1]
    if len(quoted) < 2:
        return "".join(quoted)
    return ", ".join(quoted[:-1]) + f" {last} {quoted[-1]}"


def shorten(read: object, most: int = 60) -> str:
    """What was read, in one short line."""
    if isinstance(read, bool):
        return "true" if read else "false"
    if isinstance(read, dict):
        return "a table"
    if isinstance(read, list):
        return "a list"
    text = str(read) if not isinstance(read, int) or abs(read) < 10**30 else "a very long number"
    text = " ".join("".join(sign if sign.isprintable() else "�" for sign in text).split())
    return text if len(text) <= most else text[: most - 1] + "…"


def percent_missing(read: object) -> str:
    """' Is the percent sign missing? Write "5 %".' for a bare number from 1 to 100, else ""."""
    text = str(read).strip()
    try:
        bare = 1.0 <= float(text) <= 100.0
    except ValueError:
        return ""
    return f' Is the percent sign missing? Write "{shorten(text)} %".' if bare else ""
