"""Comments that this program writes beside a resistor: what they say, and how they are kept true.

Answers: the text of a design file in which such a comment says something new; comments of the owner stay.
Touches: nothing. Text in and out.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection

from pinproof.design.keys import TABLES
from pinproof.design.load import BOM
from pinproof.design.locate import Path, locate
from pinproof.design.rows import labels_of

TO_CHOOSE = "`pinproof choose FILE` finds it"
GIVES_LIST = "gives the ohms of the list"
FROM_LIST = "from the list"
CHOSEN = "chosen from"

PULL_NOT_KNOWN = "# The resistor inside the controller is not known. How to find it:"
PULL_KNOWN = "# The resistor inside the controller stands below, as measured. How to measure it again:"
WINDOWS_NOT_KNOWN = (
    "# Not known what the pin wants. Until then the proof only asks whether the readings could be told apart,",
    "# as by a controller that can be taught. How to find it: the maker's list, or a potentiometer",
    "# on the pin: note where the shown meaning changes. Then write [[line.window]] or [[line.target]] here.",
)

_OWN_COMMENT = re.compile(
    rf"#[ \t]*(?:from [^\n:]{{1,80}}: {GIVES_LIST}|{FROM_LIST}|{CHOSEN} [^\r\n]*|{TO_CHOOSE})[ \t]*(?=\r?\n|$)"
)


def with_comment(text: str, paths: Collection[str], comment: str) -> str:
    """The text of a design file in which the comments that this program wrote beside some entries say something new.

    Parameters
    ----------
    text : str
        A design file that loads.
    paths : collection of str
        Design paths ("contact.lever_up.resistor"). One that has no comment, or one that somebody else wrote, stays.
    comment : str
        What the comments then say, without the sign before them.
    """
    mark, text = (BOM, text[1:]) if text.startswith(BOM) else ("", text)
    raw, places = tomllib.loads(text), locate(text)
    cuts: list[tuple[int, int]] = []
    for path in paths:
        at = _place(raw, path)
        if at not in places.value:
            continue
        end = places.value[at][1]
        line_end = text.find("\n", end)
        rest = text[end : len(text) if line_end < 0 else line_end + 1]
        own = _OWN_COMMENT.match(rest, len(rest) - len(rest.lstrip(" \t")))
        if own is not None:
            cuts.append((end + own.start(), end + own.end()))
    for start, end in sorted(cuts, reverse=True):
        text = f"{text[:start]}# {comment}{text[end:]}"
    return mark + text


def with_pull_known(text: str, input_id: str) -> str:
    """The text of a design file in which the starter's comment no longer calls the pull of an input unknown."""
    start = _start_of(text, "input", input_id)
    end = text.find("\n[", start)
    at = text.find(PULL_NOT_KNOWN, start, len(text) if end < 0 else end)
    return text if at < 0 else text[:at] + PULL_KNOWN + text[at + len(PULL_NOT_KNOWN) :]


def with_windows_known(text: str, line_id: str) -> str:
    """The same for what the pin wants: the starter's three lines go once windows stand in the file."""
    start = _start_of(text, "line", line_id)
    for eol in ("\r\n", "\n"):
        lines = "".join(each + eol for each in WINDOWS_NOT_KNOWN)
        at = text.find(lines, start)
        if at >= 0:
            return text[:at] + text[at + len(lines) :]
    return text


def _start_of(text: str, table: str, name: str) -> int:
    """Where a table of a list stands in the text."""
    mark, body = (BOM, text[1:]) if text.startswith(BOM) else ("", text)
    raw, places = tomllib.loads(body), locate(body)
    number = next(i for i, each in enumerate(raw[table]) if each.get("id") == name)
    return len(mark) + places.start[(table, number)]


def _place(raw: object, path: str) -> Path:
    """Where the entry of a design path stands in the document; () if it does not."""
    node, name, parts = raw, "", path.split(".")
    out: list[str | int] = []
    while parts:
        part = parts.pop(0)
        if not isinstance(node, dict) or part not in node:
            return ()
        node, name = node[part], f"{name}.{part}" if name else part
        out.append(part)
        if isinstance(node, list) and parts:
            labels = labels_of(node, TABLES[name]) if name in TABLES else []
            if parts[0] not in labels:
                return ()
            number = labels.index(parts.pop(0))
            node = node[number]
            out.append(number)
    return tuple(out)
