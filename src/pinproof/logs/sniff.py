"""What kind of file a log is, and how its text is laid out, from its first 64 kB.

Answers: text, Parquet, MDF or CAN; encoding, delimiter, decimal sign, lines before the header, row of units, headers.
Units:   bytes, lines.
Touches: the file it is given, reading only, never more than `HEADER_BYTES`.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from pinproof.logs.faults import LogFault, shown
from pinproof.logs.line_blocks import BOMS, open_read
from pinproof.logs.logger_map import FileForm
from pinproof.logs.roles import TIME_SPELLINGS, TIME_UNITS, UNITS

HEAD_BYTES = 64 * 1024
HEADER_BYTES = 4 * 2**20
MOST_COLUMNS = 20_000
MOST_PREAMBLE = 400
DELIMITERS = (";", "\t", ",", "|")
_MAGIC = (
    (b"PAR1", "parquet"), (b"MDF     ", "mdf"), (b"UnFinMF ", "mdf"), (b"LOGG", "can"),
)  # fmt: skip
_STRANGERS = (
    (b"PK\x03\x04", "an archive or a spreadsheet", "Unpack it, or save the sheet as CSV."),
    (b"\x1f\x8b", "packed with gzip", "Unpack it first."),
    (b"7z\xbc\xaf", "a 7z archive", "Unpack it first."),
    (b"\xfd7zXZ", "packed with xz", "Unpack it first."),
    (b"(\xb5/\xfd", "packed with zstd", "Unpack it first."),
    (b"BZh", "packed with bzip2", "Unpack it first."),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet or text document", "Save it as CSV."),
    (b"%PDF", "a PDF", ""), (b"\x89PNG", "a picture", ""), (b"\xff\xd8\xff", "a picture", ""),
    (b"GIF8", "a picture", ""),
    (b"\x89HDF", "an HDF5 file", "Export it as CSV or Parquet."),
    (b"MATLAB", "a matrix file", "Export it as CSV or Parquet."),
    (b"SQLite", "a database", "Export the table as CSV."),
    (b"ARROW1", "an Arrow file", "Export it as Parquet."),
)  # fmt: skip
_CANDUMP = re.compile(rb"\s*\(\d+\.\d+\)\s+\S+\s+(?:[0-9A-Fa-f]{1,8}#|[0-9A-Fa-f]{1,8}\s+\[\d+\])")
_ASC = re.compile(rb"(?:date .*\r?\n)?(?://.*\r?\n)*\s*base\s+(?:hex|dec)\s+timestamps\s+", re.IGNORECASE)
_UNIT_IN_HEADER = re.compile(r"\A(.*\S)\s*(?:\[([^\[\]]{0,20})\]|\(([^()]{0,20})\))\s*\Z")
_NUMBER = re.compile(r"\s*[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?\s*\Z")
_UNIT_WORDS = (
    {unit for table in UNITS.values() for unit in table}
    | set(TIME_UNITS)
    | set(TIME_SPELLINGS)
    | {"-", "--", "none", "n/a", "bool", "on/off", "0/1", "code", "enum", "count", "counts", "bar", "mbar", "kPa",
       "psi", "Pa", "Nm", "lbft", "A", "mA", "deg", "°", "deg/s", "°/s", "W", "kW", "hp", "l/h", "kg/h", "lambda",
       "AFR", "m", "km", "mm", "kΩ", "ohm", "Ω", "date", "hh:mm:ss"}
)  # fmt: skip
_ENDINGS = {
    "parquet": (".parquet", ".pq"), "mdf": (".mf4", ".mdf", ".dat"), "can": (".log", ".asc", ".blf", ".trc", ".txt"),
}  # fmt: skip


@dataclass(frozen=True)
class Sniffed:
    """What a file seems to be. `samples` are the first rows of text, cell by cell."""

    kind: str  # text, parquet, mdf, can
    form: FileForm
    headers: tuple[str, ...] = ()  # as they stand, made different where they repeat, units taken off
    units: tuple[str, ...] = ()  # beside `headers`; "" where none is stated
    samples: tuple[tuple[str, ...], ...] = ()
    doubts: tuple[str, ...] = ()  # what could also be read otherwise
    misnamed: bool = False
    can_format: str = ""  # candump, asc, blf, trc


def kind_of(path: Path) -> Sniffed:
    """Kind by content; LogFault for what is no log. Text is not looked into yet."""
    if not open_read(path):
        raise LogFault(path.name, "empty", "The file is empty.", hint="Copy it again from the logger.")
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    kind, can_format = next((name for magic, name in _MAGIC if head.startswith(magic)), ""), ""
    if kind == "can":
        can_format = "blf"
    if not kind:
        for magic, what, hint in _STRANGERS:
            if head.startswith(magic):
                raise LogFault(path.name, "binary", f"This is {what}, not a log.", hint=hint)
        if _CANDUMP.match(head):
            kind, can_format = "can", "candump"
        elif _ASC.match(head):
            kind, can_format = "can", "asc"
        elif head.lstrip().startswith(b";$FILEVERSION"):
            kind, can_format = "can", "trc"
        else:
            kind = "text"
            _encoding(head, path.name)
    endings = tuple(each for name, some in _ENDINGS.items() if name != "can" for each in some if each != ".dat")
    suffix = path.suffix.lower()
    wrong = suffix in endings if kind not in _ENDINGS else suffix not in _ENDINGS[kind]
    return Sniffed(kind, FileForm(kind), misnamed=wrong, can_format=can_format)


def _encoding(head: bytes, name: str) -> str:
    for mark, encoding in BOMS:
        if head.startswith(mark):
            return encoding
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if odd > 0.3 * len(head) / 2 and even < 0.05 * len(head):
        return "utf-16-le"
    if even > 0.3 * len(head) / 2 and odd < 0.05 * len(head):
        return "utf-16-be"
    odd_letters = sum(head.count(bytes([code])) for code in (*range(9), *range(14, 32)) if code)
    if even + odd > 0.001 * len(head) + 2 or odd_letters > 0.01 * len(head):
        raise LogFault(
            path_name(name), "binary", "This is no text, and no kind of recording that is known here.",
            "Delimited text, Parquet, MDF 4, or a CAN recording can be read.",
            "Export it as CSV with the logger's own program.",
        )  # fmt: skip
    try:
        head[: _whole_letters(head)].decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def path_name(name: str) -> str:
    """The name for a message."""
    return shown(name, 120)


def _whole_letters(head: bytes) -> int:
    """Length without a letter that was cut in two at the end."""
    for back in range(1, min(4, len(head)) + 1):
        if head[-back] & 0xC0 == 0xC0:
            return len(head) - back
        if head[-back] < 0x80:
            break
    return len(head)


def sniff(path: Path) -> Sniffed:
    """Kind and, for text, the whole layout; LogFault for what cannot be read."""
    found = kind_of(path)
    if found.kind != "text":
        return found
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
        encoding = _encoding(head, path.name)
        # many columns: the header alone may be longer than 64 kB
        while head.count(b"\n") + head.count(b"\r") < 3 and len(head) <= HEADER_BYTES:
            more = file.read(HEADER_BYTES // 4)
            if not more:
                break
            head += more
    if len(head) > HEADER_BYTES and head.count(b"\n") + head.count(b"\r") < 1:
        raise LogFault(
            path.name, "long line", f"There is no end of line in the first {HEADER_BYTES // 2**20} MB.",
            "A log has one row per line.", "Is this really a log, and whole?",
        )  # fmt: skip
    bom = next((mark for mark, name in BOMS if head.startswith(mark) and name == encoding), b"")
    text = head[len(bom) :].decode(encoding, "replace").replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    if len(lines) > 1 and len(head) >= HEAD_BYTES:
        lines = lines[:-1]  # it may be cut
    while lines and not lines[-1].strip():
        lines.pop()
    if not lines:
        raise LogFault(path.name, "empty", "There is nothing but blank lines.", hint="Copy it again from the logger.")
    return _laid_out(path.name, lines[: MOST_PREAMBLE + 200], encoding, found.misnamed)


def cells_of(line: str, delimiter: str) -> list[str]:
    """Cells of one line, quotes taken off."""
    if '"' in line:
        try:
            return next(csv.reader([line], delimiter=delimiter), [])
        except csv.Error:
            pass
    return line.split(delimiter)


def _laid_out(name: str, lines: list[str], encoding: str, misnamed: bool) -> Sniffed:
    delimiter, wide = _delimiter(lines)
    if wide > MOST_COLUMNS:
        raise LogFault(
            name, "many columns", f"It has {wide} columns.", f"{MOST_COLUMNS} is the most that is read.",
            "Is the delimiter what it seems? Export only the channels you need.",
        )  # fmt: skip
    rows = [cells_of(line, delimiter) for line in lines]
    at = _header_row(rows, wide)
    if at is None:
        raise LogFault(
            name, "no header", f'No line of headers was found; the first line is "{shown(lines[0])}".',
            "A log has a line with the name of each column, and rows of numbers below it.",
            "Export it again with headers.",
        )  # fmt: skip
    header = [cell.strip() for cell in rows[at]]
    below = rows[at + 1 :]
    below = [row for row in below if any(cell.strip() for cell in row)]
    unit_row = bool(below) and _is_unit_row(below[0])
    units = [cell.strip().strip("[]()") for cell in below[0]] if unit_row else []
    samples = below[1:] if unit_row else below
    if not samples:
        raise LogFault(name, "no rows", "There is a header, and no row below it.", hint="Was the logger started?")
    headers, from_header = split_headers(header)
    units = [(units[k] if k < len(units) else "") or from_header[k] for k in range(len(headers))]
    decimal, doubts = _decimal(samples, delimiter)
    form = FileForm("text", encoding, delimiter, decimal, at, unit_row)
    kept = tuple(tuple(cell.strip() for cell in row) for row in samples[:200])
    return Sniffed("text", form, tuple(headers), tuple(units), kept, doubts, misnamed)


def _delimiter(lines: list[str]) -> tuple[str, int]:
    """Delimiter and number of columns: the one for which most of the later lines have the same count above one."""
    tail = lines[-50:] if len(lines) > 55 else lines[len(lines) // 2 :]
    best = (0.0, 0, ",", 1)
    for rank, delimiter in enumerate(DELIMITERS):
        counts = Counter(len(cells_of(line, delimiter)) for line in tail)
        wide, times = counts.most_common(1)[0]
        if wide > 1:
            best = max(best, (times / len(tail), -rank, delimiter, wide))
    return best[2], best[3]


def _header_row(rows: list[list[str]], wide: int) -> int | None:
    """The last row of words before the first row of numbers that has the usual width."""
    first = next(
        (at for at, row in enumerate(rows) if len(row) >= max(1, wide - 1) and _numbers_in(row) >= _enough(row)), None
    )
    if first is None:
        words = [row for row in rows if len(row) > 1]
        return 0 if len(rows) == 1 and words else None
    for at in reversed(range(first)):
        row = rows[at]
        filled = sum(bool(cell.strip()) for cell in row)
        near = wide - 1 <= len(row) <= wide + 1
        if near and filled >= max(1, 0.5 * wide) and _numbers_in(row) == 0 and not _is_unit_row(row):
            return at
    return None


def _enough(row: list[str]) -> float:
    """A row of data has a number or a clock in it; wide ones several."""
    return max(1.0, 0.15 * sum(bool(cell.strip()) for cell in row))


def _numbers_in(row: list[str]) -> int:
    return sum(bool(_NUMBER.match(cell)) or bool(re.search(r"\d{1,2}:\d{2}", cell)) for cell in row)


def _is_unit_row(row: list[str]) -> bool:
    """Are at least 40 % of the cells units that are known, or signs for none?"""
    filled = [cell.strip().strip("[]()") for cell in row if cell.strip()]
    return bool(filled) and sum(cell in _UNIT_WORDS for cell in filled) >= 0.4 * len(filled)


def plain_header(name: str) -> str:
    """A header of a map without the unit that the owner may have left in it."""
    return split_headers([name])[0][0] if name else ""


def split_headers(header: list[str]) -> tuple[list[str], list[str]]:
    """Names and the units that stand in them, as in "Speed [km/h]"; what repeats gets #2, #3, … and blanks a number."""
    names, units, seen = [], [], Counter[str]()
    for at, text in enumerate(header, 1):
        found = _UNIT_IN_HEADER.match(text)
        name, unit = (found[1], (found[2] or found[3] or "").strip()) if found else (text, "")
        name = name.strip() or f"column {at}"
        seen[name] += 1
        names.append(name if seen[name] == 1 else f"{name}#{seen[name]}")
        units.append(unit)
    return names, units


def _decimal(samples: list[list[str]], delimiter: str) -> tuple[str, tuple[str, ...]]:
    commas = points = 0
    both = ""
    for row in samples[:200]:
        for cell in row:
            commas += bool(re.match(r"\s*[+-]?\d*,\d+(?:[eE][+-]?\d+)?\s*\Z", cell))
            points += bool(re.match(r"\s*[+-]?\d*\.\d+(?:[eE][+-]?\d+)?\s*\Z", cell))
            if re.match(r"\s*[+-]?\d{1,3}(?:[.,]\d{3})+[.,]\d+\s*\Z", cell):
                both = cell
    doubts = []
    if commas and points:
        doubts.append(f"numbers stand with a comma ({commas} cells) and with a point ({points} cells)")
    if both:
        doubts.append(f'"{shown(both, 20)}" has a separator of thousands, which is not read')
    return ("," if commas > points else "."), tuple(doubts)


def find_header(path: Path, form: FileForm, wanted: set[str]) -> int:
    """After how many lines the header stands: where the map says, if one of `wanted` is there, else where it is.

    Raises LogFault where the encoding cannot be what the map says.
    """
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    encoding = _encoding(head, path.name)
    if encoding != form.encoding and "utf-16" in encoding + form.encoding:
        raise LogFault(
            path.name, "encoding", f"The text is {encoding}, and the map says {form.encoding}.",
            hint=f'Write encoding = "{encoding}" in [file], if this is the right file.',
        )  # fmt: skip
    text = head.decode(form.encoding, "replace").removeprefix("\ufeff")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")[: MOST_PREAMBLE + 1]

    def has(at: int) -> bool:
        names = split_headers([cell.strip() for cell in cells_of(lines[at], form.delimiter)])[0]
        return bool({plain_header(each) for each in wanted} & set(names))

    if form.skip_lines >= len(lines) or has(form.skip_lines):
        return form.skip_lines
    return next((at for at in range(len(lines)) if has(at)), form.skip_lines)
