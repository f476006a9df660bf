"""Where each entry of a TOML text stands.

Answers: at which line and column is this table, key or list item; which characters are its value; where may a key go.
Touches: nothing.
Why:     `tomllib` gives no positions. This scanner reads structure only and leaves all judging of syntax to `tomllib`.
Source:  TOML v1.0.0 (open copy), <https://toml.io/en/v1.0.0>.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass, field

DEEPEST = 24
"""Levels of nesting that are read; a design file needs six. Deeper text is refused before `tomllib` sees it."""

MOST_PLACES = 100_000
"""Entries that are read; the largest truck has a few thousand."""

Path = tuple[str | int, ...]

_SPACE = re.compile(r"[ \t]*")
_BLANK = re.compile(r"(?:[ \t\n\r]++|#[^\n]*+)*+")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]*")
_FIRST_WORD = re.compile(r"\d{4}-\d\d-\d\d \d\d:\S*|\S+")  # a date may have a blank before its time
_KEY_NEXT = re.compile(r"(?:[A-Za-z0-9_-]+|\"[^\"\n]*\"|'[^'\n]*')[ \t]*=")
_HEADER_NEXT = re.compile(r"\[\[?[ \t]*[A-Za-z0-9_.-]+[ \t]*\]")
_STRINGS = (
    ('"""', re.compile(r'"""(?:[^"\\]++|\\.|"(?!""))*+"""(?:"{0,2})', re.DOTALL)),
    ("'''", re.compile(r"'''(?:[^']++|'(?!''))*+'''(?:'{0,2})", re.DOTALL)),
    ('"', re.compile(r'"(?:[^"\\\n]++|\\.)*+"')),
    ("'", re.compile(r"'[^'\n]*'")),
)


@dataclass
class Places:
    """Positions of one text, all as offsets into it."""

    text: str
    start: dict[Path, int] = field(default_factory=dict)  # key, header or list item
    value: dict[Path, tuple[int, int]] = field(default_factory=dict)  # what stands after "=", without blanks
    room: dict[Path, tuple[int, str]] = field(default_factory=dict)  # end of a line to add a key after, and its prefix
    inline: set[Path] = field(default_factory=set)  # tables written in braces
    complete: bool = True  # False: the text is not valid TOML from some point on
    no_comma: int = 0  # offset of an entry of a list or an inline table before which a comma is missing, or 0
    too_deep: int = 0  # line where nesting passed DEEPEST, or 0
    too_many: int = 0  # line where the entries passed MOST_PLACES, or 0
    _starts: list[int] = field(default_factory=list)

    def line_of_offset(self, offset: int) -> int:
        """Line from 1."""
        if not self._starts:
            self._starts = [0, *(found.end() for found in re.finditer("\n", self.text))]
        return bisect_right(self._starts, offset)

    def line(self, path: Path) -> int:
        """Line of an entry; of the nearest enclosing entry where the entry itself does not stand in the file."""
        return self.position(path)[0]

    def position(self, path: Path) -> tuple[int, int]:
        """Line and column, both from 1, as `line` does."""
        for length in range(len(path), 0, -1):
            offset = self.start.get(path[:length])
            if offset is not None:
                line = self.line_of_offset(offset)
                return line, offset - self._starts[line - 1] + 1
        return 1, 1

    def stand_in(self, path: Path, written: Path) -> None:
        """Give an entry that does not stand in the file the place of the one that was written for it."""
        if path not in self.start and written in self.start:
            self.start[path] = self.start[written]


class _NotToml(Exception):
    pass


class _TooDeep(Exception):
    pass


class _TooMany(Exception):
    pass


def locate(text: str) -> Places:
    """Scan a TOML text.

    Parameters
    ----------
    text : str
        Line ends may be LF or CRLF.

    Returns
    -------
    Places
        For a text that is not TOML, what was found before the first thing that is not, with ``complete = False``.

    Notes
    -----
    Time grows with the length of the text; nesting is bounded by `DEEPEST`, entries by `MOST_PLACES`.
    """
    scanner = _Scanner(text)
    try:
        scanner.document()
    except _NotToml:
        scanner.places.complete = False
    except _TooDeep:
        scanner.places.complete = False
        scanner.places.too_deep = scanner.places.line_of_offset(scanner.at)
    except _TooMany:
        scanner.places.complete = False
        scanner.places.too_many = scanner.places.line_of_offset(scanner.at)
    return scanner.places


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.places = Places(text)
        self.counts: dict[Path, int] = {}  # entries so far of each [[array of tables]]

    def document(self) -> None:
        prefix: Path = ()
        while True:
            self._skip(_BLANK)
            if self.at >= len(self.text):
                return
            if self.text[self.at] == "[":
                prefix = self._header()
            else:
                self._key_value(prefix, own_line=True)

    def _skip(self, what: re.Pattern[str]) -> None:
        found = what.match(self.text, self.at)
        if found is not None:
            self.at = found.end()

    def _take(self, token: str) -> None:
        if not self.text.startswith(token, self.at):
            raise _NotToml
        self.at += len(token)

    def _line_end(self) -> int:
        """Offset of the line break that ends this line, or of the end of the text."""
        end = self.text.find("\n", self.at)
        if end < 0:
            return len(self.text)
        return end - 1 if end and self.text[end - 1] == "\r" else end

    def _key(self) -> list[tuple[str, str]]:
        """Parts of a dotted key: each as it is and as it is written."""
        parts: list[tuple[str, str]] = []
        while True:
            self._skip(_SPACE)
            begin = self.at
            bare = _BARE_KEY.match(self.text, self.at)
            if bare is not None:
                parts.append((bare[0], bare[0]))
                self.at = bare.end()
            elif self.text[begin : begin + 1] in ('"', "'"):
                self._string()
                written = self.text[begin : self.at]
                parts.append((_unquoted(written), written))
            else:
                raise _NotToml
            if len(parts) > DEEPEST:
                raise _TooDeep
            self._skip(_SPACE)
            if self.text[self.at : self.at + 1] != ".":
                return parts
            self.at += 1

    def _header(self) -> Path:
        if len(self.places.start) > MOST_PLACES:
            raise _TooMany
        begin = self.at
        array = self.text.startswith("[[", self.at)
        self.at += 2 if array else 1
        parts = self._key()
        self._take("]]" if array else "]")
        path: Path = ()
        for number, (part, _) in enumerate(parts):
            path = (*path, part)
            self.places.start.setdefault(path, begin)
            if array and number == len(parts) - 1:
                self.counts[path] = self.counts.get(path, 0) + 1
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
                self.places.start.setdefault(path, begin)
        self.places.room[path] = (self._line_end(), "")
        self.places.start[path] = begin
        return path

    def _key_value(self, prefix: Path, *, own_line: bool, depth: int = 0) -> None:
        begin = self.at
        parts = self._key()
        path = prefix
        dotted = []
        for part, _ in parts:
            path = (*path, part)
            self.places.start.setdefault(path, begin)
            dotted.append(path)
        self._take("=")
        self._skip(_SPACE)
        self._value(path, depth)
        if own_line:
            end = self._line_end()
            self.places.room[prefix] = (end, "")
            prefix_text = ""
            for (_, written), inner in zip(parts[:-1], dotted[:-1], strict=True):
                prefix_text += f"{written}."
                self.places.room[inner] = (end, prefix_text)

    def _value(self, path: Path, depth: int) -> None:
        if depth > DEEPEST:
            raise _TooDeep
        if len(self.places.start) > MOST_PLACES:
            raise _TooMany
        begin = self.at
        sign = self.text[self.at : self.at + 1]
        if sign == "[":
            self._list(path, depth)
        elif sign == "{":
            self._inline_table(path, depth)
        elif sign in ('"', "'"):
            self._string()
        else:
            found = _SCALAR.match(self.text, self.at)
            written = found[0].rstrip(" \t\r") if found is not None else ""
            if depth and written:  # two numbers side by side are two entries, not one
                word = _FIRST_WORD.match(written)
                written = word[0] if word is not None else written
            if not written:
                raise _NotToml
            self.at += len(written)
        self.places.value[path] = (begin, self.at)

    def _list(self, path: Path, depth: int) -> None:
        self.at += 1
        number = 0
        while True:
            self._skip(_BLANK)
            if self.text[self.at : self.at + 1] == "]":
                self.at += 1
                return
            item = (*path, number)
            self.places.start[item] = self.at
            self._value(item, depth + 1)
            number += 1
            end = self.at
            self._skip(_BLANK)
            if self.text[self.at : self.at + 1] != "]":
                self._comma(end, in_list=True)

    def _inline_table(self, path: Path, depth: int) -> None:
        self.places.inline.add(path)
        self.at += 1
        while True:
            self._skip(_BLANK)
            if self.text[self.at : self.at + 1] == "}":
                self.at += 1
                return
            self._key_value(path, own_line=False, depth=depth + 1)
            end = self.at
            self._skip(_BLANK)
            if self.text[self.at : self.at + 1] != "}":
                self._comma(end, in_list=False)

    def _comma(self, end: int, *, in_list: bool) -> None:
        """The comma after an entry that ends at `end`; note where it is missing, and not a closing bracket."""
        if self.text[self.at : self.at + 1] != ",":
            is_key = _KEY_NEXT.match(self.text, self.at) is not None
            same_line = "\n" not in self.text[end : self.at]
            if in_list:
                is_header = not same_line and _HEADER_NEXT.match(self.text, self.at) is not None
                is_entry = self.text[self.at : self.at + 1] in tuple("\"'[{+-0123456789tf") and not (
                    is_key or is_header
                )
            else:
                is_entry = is_key and same_line
            if is_entry:
                self.places.no_comma = self.at
        self._take(",")

    def _string(self) -> None:
        for opening, whole in _STRINGS:
            if self.text.startswith(opening, self.at):
                found = whole.match(self.text, self.at)
                if found is None:
                    raise _NotToml
                self.at = found.end()
                return


def _unquoted(written: str) -> str:
    if "\\" not in written:
        return written[1:-1]
    import tomllib

    try:
        return str(tomllib.loads(f"k = {written}")["k"])
    except ValueError:
        raise _NotToml from None
