"""A logger map as text, from plain tables: what `logger_map` reads and a page or a program puts together.

Answers: the TOML of a map with these tables.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pinproof.design.edit import to_toml

HEAD = "# Which column of the logger is what. Written by pinproof; may be edited by hand."
TABLES = ("file", "time", "can")


def map_text(raw: Mapping[str, Any]) -> str:
    """The text of a map.

    Parameters
    ----------
    raw : mapping
        "logger" and "note", the tables "file", "time" and "can", and "channel", a list of tables, as docs/log-files.md
        has them. What is None or "" is left out, an unknown key too.

    Examples
    --------
    >>> print(map_text({"time": {"header": "t", "unit": "s", "confirmed": True}}))
    # Which column of the logger is what. Written by pinproof; may be edited by hand.
    format = 1
    <BLANKLINE>
    [time]
    header = "t"
    unit = "s"
    confirmed = true
    <BLANKLINE>
    """
    out = [HEAD, "format = 1", *_lines({key: raw.get(key) for key in ("logger", "note")})]
    for name in TABLES:
        if raw.get(name):
            out += ["", f"[{name}]", *_lines(raw[name])]
    channels: Sequence[Mapping[str, Any]] = raw.get("channel") or ()
    for each in channels:
        out += ["", "[[channel]]", *_lines(each)]
    return "\n".join(out) + "\n"


def _lines(table: Mapping[str, Any]) -> list[str]:
    return [f"{key} = {_value(value)}" for key, value in table.items() if value is not None and value != ""]


def _value(value: Any) -> str:
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, Mapping):
        inside = ", ".join(f"{to_toml(str(key))} = {_value(one)}" for key, one in value.items())
        return f"{{ {inside} }}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(each) for each in value) + "]"
    return to_toml(value)
