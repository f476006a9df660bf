"""The readers that are searched. A target's module is imported only when it is asked for."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.fuzz.target import Target

NAMES = {
    "design": "a design file: read, cross-checked, wired, proven; changed and read again",
    "proof": "a design file that loads, proven",
    "quantity": "quantities, ranges, gauges, colour bands, printed codes as people type them",
    "typed": "answers, readings and entries as people type them in meter, find, learn and new",
    "text": "a log of delimited text: layout, map proposed, read to its end",
    "map": "a logger map",
    "parquet": "a log in Parquet",
    "can-text": "CAN recordings in lines: candump and ASC",
    "can-binary": "CAN recordings read by a library: BLF and TRC",
    "dbc": "the table of CAN signals that goes with a recording",
    "mdf": "an MDF recording (the library's stand-in, unless it is installed)",
    "script": "what the crew pressed, beside a log",
    "readings": "readings as CSV, into the record",
    "drawer": "a drawer's file, and lists of parts",
    "borrowed": "a table from another truck",
    "meter-file": "a meter's file",
    "causes": "an owner's weights of causes",
    "session": "a learning session's file",
    "record": "the record of readings, damaged",
    "web": "requests to the pages: paths, queries, headers, bodies",
    "command": "words on the command line",
}


def target(name: str) -> Target:
    """A target by its name; KeyError if there is none."""
    rooms = {
        "design": "design", "proof": "design", "quantity": "typed", "typed": "typed", "text": "logs", "map": "maps",
        "parquet": "logs",
        "can-text": "can", "can-binary": "can", "dbc": "can", "mdf": "logs", "script": "maps", "readings": "lists",
        "drawer": "lists", "borrowed": "lists", "meter-file": "lists", "causes": "lists", "session": "lists",
        "record": "records", "web": "pages", "command": "commands",
    }  # fmt: skip
    module = importlib.import_module(f"tests.fuzz.targets.{rooms[name]}")
    found: dict[str, Target] = {each.name: each for each in module.TARGETS}
    return found[name]
