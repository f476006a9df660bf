"""A design file read from disk or from a text.

Answers: the truck, or all faults of its file at once.
Touches: the file system, reading only.
"""

from __future__ import annotations

import os
import re
from typing import Any

from pinproof.design.build import build
from pinproof.design.crosscheck import cross_check
from pinproof.design.formats import brought_up, moved
from pinproof.design.keys import TABLES
from pinproof.design.locate import DEEPEST, MOST_PLACES, Places, locate
from pinproof.design.messages import DesignFault, Fault, shorten
from pinproof.design.model import Truck
from pinproof.design.read import Reader

MOST_BYTES = 2_000_000
"""Largest file that is read. A design file of a whole truck has some tens of thousands of bytes."""

BOM = "\ufeff"
_SEVERAL = frozenset(key.to for table in TABLES.values() for key in table.keys if key.kind == "tables")
_ENTRY_START = re.compile(r"[^,\]}\n]{0,60}")
_AT = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)\s*\Z")


def load(path: str | os.PathLike[str]) -> Truck:
    """Read a design file.

    Parameters
    ----------
    path : str or path-like
        A TOML file, UTF-8, at most `MOST_BYTES`.

    Returns
    -------
    Truck
        With `source_path` as given, `text_hash` the SHA-256 of the file's bytes, and `warnings` ready to print.

    Raises
    ------
    DesignFault
        Whatever is wrong with the file, all of it at once. No other error comes out of a bad file.
    """
    name = os.fspath(path)
    return _from_bytes(read_bytes(name), os.path.basename(name), name)


def loads(text: str, name: str = "<text>") -> Truck:
    """Read a design from a text, as `load` does; `name` stands for the file in messages."""
    return _from_bytes(text.encode("utf-8", "surrogatepass"), name, "")


def text_hash(data: bytes) -> str:
    """What `Truck.text_hash` holds: SHA-256 of a file's bytes, hexadecimal."""
    import hashlib  # with tomllib a third of the import time, and needed only once a file is there

    return hashlib.sha256(data).hexdigest()


def read_bytes(path: str) -> bytes:
    """The bytes of a file of bearable size; DesignFault if there are none to be had."""
    shown = os.path.basename(path) or path
    try:
        with open(path, "rb") as file:
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise _whole(shown, f'There is no file "{shorten(path, 200)}". Check the name and the folder.') from None
    except IsADirectoryError:
        raise _whole(shown, "This is a folder. Name the design file inside it.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        if os.path.isdir(path):  # some systems report "permission denied" for a folder
            reason = "this is a folder"
        raise _whole(shown, f"The file cannot be read: {shorten(reason)}. Check that it may be opened.") from None
    return data


def decode(data: bytes, file: str) -> str:
    """The text of a design file, a byte order mark included; DesignFault if it cannot be one."""
    if len(data) > MOST_BYTES:
        raise _whole(
            file, f"The file is larger than {MOST_BYTES // 1_000_000} MB, which no design file is. Is it the right one?"
        )
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise _whole(file, "The file is saved as UTF-16. Save it again as UTF-8.")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        if b"\x00" in data[:4096]:
            raise _whole(file, "This is not a text file. Is it the right one?") from None
        fault = Fault(
            file,
            line,
            "",
            f"Byte {data[error.start]:#04x} here is not UTF-8. Save the file again as UTF-8 (often a °, Ω or µ saved "
            "in an older encoding).",
        )
        raise DesignFault(file, (fault,)) from None
    if "\x00" in text:
        raise _whole(file, "This is not a text file. Is it the right one?")
    return text


def toml_of(text: str) -> dict[str, Any]:
    """The tables of a TOML text, for the smaller files beside a design.

    Raises
    ------
    ValueError, RecursionError
        It is no TOML, or holds a whole number of more than 64 bits. TOML promises no more, and Python refuses to write
        one of thousands of digits, even in an error about it.
    """
    import tomllib

    raw = tomllib.loads(text)
    left: list[Any] = [raw]
    while left:
        each = left.pop()
        if isinstance(each, dict):
            left += each.values()
        elif isinstance(each, list):
            left += each
        elif isinstance(each, int) and each.bit_length() > 64:
            raise ValueError("a whole number has more than 64 bits")
    return raw


def _whole(file: str, message: str) -> DesignFault:
    return DesignFault(file, (Fault(file, 0, "", message),))


def _from_bytes(data: bytes, file: str, source_path: str) -> Truck:
    text = decode(data, file).removeprefix(BOM)
    places = locate(text)
    if places.too_deep:
        fault = Fault(
            file, places.too_deep, "", f"Brackets or dotted names go deeper than {DEEPEST} levels here. Six are enough."
        )
        raise DesignFault(file, (fault,))
    if places.too_many:
        fault = Fault(file, places.too_many, "", f"More than {MOST_PLACES:,} entries. Is this the right file?")
        raise DesignFault(file, (fault,))
    import tomllib

    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError, OverflowError) as error:
        raise DesignFault(file, (_no_comma(file, text, places) or _syntax(file, text, error),)) from None
    told = moved(raw)
    if told:
        raise _whole(file, told)
    fresh, steps = brought_up(text, raw, file)
    if steps:
        raw, places = tomllib.loads(fresh), locate(fresh)
    reader = Reader(file, places)
    row = reader.truck(raw)
    cross_check(reader, row)
    if reader.faults:
        raise DesignFault(file, tuple(sorted(reader.faults, key=lambda fault: (fault.line, fault.column))))
    warnings = (*steps, *(str(one) for one in sorted(reader.warnings, key=lambda one: (one.line, one.column))))
    return build(row, source_path=source_path, text_hash=text_hash(data), warnings=warnings, lines=reader.lines)


_SYNTAX_HINTS = (
    ("Invalid value", 'A text needs quotation marks: key = "4.42k".'),
    ("Cannot overwrite a value", "This key or table stands in the file twice. Keep one."),
    ("Cannot declare", "This table stands in the file twice. Keep one, or write [[…]] if there are several."),
    ("Duplicate inline table key", "This key stands in the table twice. Keep one."),
    ("Expected '=' after a key", "Write key = value. A name with blanks needs quotation marks."),
    ("Illegal character", "A text ends on the line where it begins; the closing quotation mark may be missing."),
    ("Invalid initial character", "A name is missing. Between { and } everything stands on one line."),
    ("Unterminated string", "The closing quotation mark is missing."),
    ("Unclosed inline", "A closing } is missing; between { and } everything stands on one line, with commas."),
    ("Unclosed", "A closing bracket is missing, or a comma between two entries."),
)


def _no_comma(file: str, text: str, places: Places) -> Fault | None:
    """Two entries of a list or an inline table without a comma between them; None where that is not what is wrong."""
    if not places.no_comma:
        return None
    at = places.no_comma
    line = places.line_of_offset(at)
    start = text.rfind("\n", 0, at) + 1
    before = re.split(r"[,{\[]", text[:at].rstrip().rpartition("\n")[2])[-1].strip()
    after = _ENTRY_START.match(text, at)
    shown = shorten(after[0].strip()) if after is not None else ""
    message = f"A comma is missing here: write {shorten(before)}, {shown} with a comma in between."
    return Fault(file, line, "", message, at - start + 1, shorten(text[start:].partition("\n")[0].strip()))


_HEADER = re.compile(r"\s*\[+\s*([A-Za-z0-9_.-]+)\s*\]+")


def _said_of_header(lines: list[str], line: int) -> str:
    """The cure where a header that may stand several times was written with one bracket; "" elsewhere."""
    found = _HEADER.match(lines[line - 1]) if 0 < line <= len(lines) else None
    if found is None or found[1] not in _SEVERAL:
        return ""
    single = re.compile(rf"\s*\[\s*{re.escape(found[1])}\s*\]")
    others = [number for number, text in enumerate(lines, start=1) if single.match(text)]
    if not others:
        return ""
    where = f"line{'s' if len(others) > 1 else ''} {', '.join(str(number) for number in others[:8])}"
    more = f" and {len(others) - 8} more" if len(others) > 8 else ""
    return f"There can be several of these: write [[{found[1]}]] with two brackets each side ({where}{more})."


def _syntax(file: str, text: str, error: Exception) -> Fault:
    said = str(error) if isinstance(error, ValueError) else "It is nested too deeply"
    if said.startswith("Exceeds the limit"):
        said = "A number has thousands of digits"
    found = _AT.search(said)
    if found is not None and found[1]:
        line, column = int(found[1]), int(found[2])
    else:
        line, column = (text.rstrip().count("\n") + 1 if found is not None else 0), 0
    said = shorten(_AT.sub("", said), 120)
    lines = text.split("\n") if line else []
    several = _said_of_header(lines, line)
    if several:
        return Fault(file, line, _HEADER.match(lines[line - 1])[1], several, column)  # type: ignore[index]
    read = shorten(lines[line - 1].strip()) if 0 < line <= len(lines) else ""
    hint = next((hint for start, hint in _SYNTAX_HINTS if said.startswith(start)), "")
    shown = f' Read: "{read}".' if read else ""
    return Fault(file, line, "", f"This is not TOML: {said}.{shown} {hint}".rstrip(), column, read)
