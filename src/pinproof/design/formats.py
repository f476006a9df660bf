"""Older design files brought to the format of today, in memory, with every step told.

Answers: what does a text of an older format say in the newest one; what must be done with a newer one?
Touches: nothing. `upgrade` writes, and only when its owner says so.
How:     one step for each format, from n to n + 1, on the text itself, so that comments and order stay. A step is never
         edited once a release knows it, only added to. The result is read again by the caller like any other file.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from pinproof.design.keys import FORMAT
from pinproof.design.keys_drive import ANSWERS
from pinproof.design.messages import DesignFault, EditFault, Fault, shorten

OLD_HEADS = ("tyre", "axle", "transfer", "gear", "converter", "guard", "sensor", "shift", "borrowed", "settings")
"""Tables that stood at the top of a driveline file of its own, before it became part of the design file."""


@dataclass(frozen=True)
class Step:
    """From one format to the next: what it changes, in a sentence, and the change of a text (text, file) -> text."""

    says: str
    change: Callable[[str, str], str]


STEPS: Mapping[int, Step] = {}
"""By the older format's number. Format 1 is the first that was ever released, so there is no step yet."""


def number_of(raw: Mapping[str, Any]) -> int | None:
    """The format that a parsed file states; None where it states none that could be one."""
    number = raw.get("format")
    return number if isinstance(number, int) and not isinstance(number, bool) else None


def is_older(raw: Mapping[str, Any]) -> bool:
    """Whether there is a way from its format to the newest."""
    number = number_of(raw)
    return number is not None and number < FORMAT and number in STEPS


def brought_up(text: str, raw: Mapping[str, Any], file: str) -> tuple[str, tuple[str, ...]]:
    """The text in the newest format, and a sentence for each step; the text itself where nothing is to be done.

    Raises
    ------
    DesignFault
        The file is of a newer format than this program reads.
    """
    number = number_of(raw)
    if number is None or number == FORMAT:
        return text, ()
    if number > FORMAT:
        raise DesignFault(file, (Fault(file, _line_of(text), "format", newer_words(number), read=shorten(number)),))
    told = []
    while number < FORMAT and number in STEPS:
        step = STEPS[number]
        text = with_format(step.change(text, file), number + 1)
        told.append(f"Format {number} became {number + 1}: {step.says}")
        number += 1
    if told:
        older = number_of(raw)
        told.append(
            f"{file} is of format {older}; it was read as format {FORMAT} and is unchanged on disk. "
            f"`pinproof upgrade {file}` writes it so, and keeps it as it is beside it."
        )
    return text, tuple(told)


def newer_words(number: int) -> str:
    """What to do with a file from a newer program."""
    return (
        f"This file is of format {shorten(number)}; this program reads up to format {FORMAT}. A newer file needs a "
        "newer program: get the one that wrote it (`pinproof --version` there), or ask for the file as that program "
        "kept it before."
    )


def refuse_older(raw: Mapping[str, Any], file: str, path: str) -> None:
    """Refuse to change entries of a file of an older format: EditFault, with what to do first."""
    if is_older(raw):
        raise EditFault(
            file, path,
            f"The file is of format {number_of(raw)}, and entries are changed in format {FORMAT} only. First: "
            f"`pinproof upgrade {file}`.",
        )  # fmt: skip


def with_format(text: str, number: int) -> str:
    """The text with this number on its format line."""
    return re.sub(r"^(\s*format\s*=\s*)-?\d+", rf"\g<1>{number}", text, count=1, flags=re.MULTILINE)


def _line_of(text: str) -> int:
    found = re.search(r"^\s*format\s*=", text, flags=re.MULTILINE)
    return text.count("\n", 0, found.end()) + 1 if found else 0


# --- the driveline file that once stood beside the design file ------------------------------------------------------


def moved(raw: Mapping[str, object]) -> str:
    """What to do with a driveline file of the old kind, or "" if this is none."""
    if not is_driveline_file(raw):
        return ""
    return (
        "This is a driveline file; the driveline now stands in the design file. Take it over with `pinproof upgrade "
        "DESIGN --driveline` and this file's name. By hand: move its tables to the design file under [drive]: [tyre] "
        "becomes [drive.tyre], [[gear]] becomes [[drive.gear]]; units goes under [drive]; leave out format, truck and "
        "name."
    )


def is_driveline_file(raw: Mapping[str, object]) -> bool:
    """Whether a parsed file is a driveline file of the old kind."""
    there = [name for name in OLD_HEADS if name in raw]
    return "supply" not in raw and "input" not in raw and len(there) >= 2


_HEADER = re.compile(r"^(\s*\[\[?\s*)([A-Za-z_]+)(.*)$")
_ENTRY = re.compile(r"^(\s*)([A-Za-z_]+)(\s*=\s*)(.*)$")
_LEFT_OUT = ("format", "truck", "name")


def under_drive(text: str, file: str) -> tuple[str, tuple[str, ...]]:
    """The tables of an old driveline file as a [drive] section, comments kept, and what has no place any more.

    Answers that are now told in [drive.log] go there where they can be read as it wants them; others stand as comments.

    Raises
    ------
    EditFault
        The file is written in a way that cannot be moved line by line.
    """
    raw = tomllib.loads(text)
    lines, log, lost = ["[drive]"], [], []
    table = ""
    for line in text.splitlines():
        header, entry = _HEADER.match(line), _ENTRY.match(line)
        if header is not None and header[2] in (*OLD_HEADS, "engine"):
            table = header[2] if header[3].lstrip().startswith("]") else f"{header[2]}."
            lines.append(f"{header[1]}drive.{header[2]}{header[3]}")
        elif entry is not None and not table and entry[2] in _LEFT_OUT:
            continue
        elif entry is not None and table == "settings" and entry[2] not in (*ANSWERS, "note"):
            told = _in_log(entry[2], raw["settings"][entry[2]])
            if told:
                log.append(told)
            else:
                lost.append(entry[2])
                lines.append(f"# no place for it any more: {line.strip()}")
        else:
            lines.append(line)
    if log:
        lines += ["", "[drive.log]", *log]
    made = "\n".join(lines).rstrip() + "\n"
    if _as_expected(raw) != {key: value for key, value in tomllib.loads(made)["drive"].items() if key != "log"}:
        raise EditFault(file, "drive", "It is written in a way that cannot be moved by program; move it by hand.")
    return made, tuple(lost)


def _in_log(key: str, answer: Any) -> str:
    """An old answer as [drive.log] has it; "" where it cannot be read so."""
    text = str(answer.get("value", "") if isinstance(answer, dict) else answer).strip().lower()
    if key == "auto_repeat" and text in ("on", "off"):
        return f'auto_repeat = "{text}"'
    if key == "at_limiter" and text.startswith(("hold", "shift")):
        return f'at_limiter = "{"hold" if text.startswith("hold") else "shift up"}"'
    if key == "held_request" and (text == "none" or re.fullmatch(r"\d+(\.\d+)? ?m?s", text)):
        return f'held_request = "{text}"'
    return ""


def _as_expected(raw: Mapping[str, Any]) -> dict[str, Any]:
    """What the moved section must say, from the parsed old file."""
    found = {key: value for key, value in raw.items() if key not in _LEFT_OUT}
    if "settings" in found:
        found["settings"] = {key: value for key, value in found["settings"].items() if key in (*ANSWERS, "note")}
    return found
