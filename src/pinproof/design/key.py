"""What a description of a key and of a table of the design file consists of.

Answers: which kinds of entries there are, and what may be said of each key.
Touches: nothing.
Beside:  `keys` and `keys_harness` describe every table with these.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pinproof.design.model import BASES

KeyKind = Literal[
    "text",  # free text
    "id",  # permanent name: letters, digits, "-" and "_"
    "meaning",  # what the controller concludes: a name that may hold blanks
    "word",  # one of `words`
    "ref",  # id of another entry
    "refs",  # list of ids
    "groups",  # list of lists of ids
    "pair",  # list of two names
    "meanings",  # list of meanings
    "flag",  # true or false
    "whole",  # whole number without a unit
    "number",  # one quantity, no range: text, or { value, basis, note }
    "range",  # a quantity with a range: text, "a to b", or { low, value, high, tolerance, basis, note }
    "leak",  # a least resistance: text, "none", or { value, basis, note }
    "resistor",  # coder resistor: text, "none", "to choose", or a table of table "resistor"
    "pull",  # text is refused: needs a tolerance; "none", "unknown", or a table of table "pull"
    "element",  # what an element's own kind needs: resistor, range or leak
    "amount",  # a bare number without a unit: a price, years, a factor; or one of `words`
    "choice",  # one quantity, or one of `words`
    "chain",  # list of ids; an inner list stands for a parallel group
    "lengths",  # list of lengths
    "length_pairs",  # list of pairs of lengths
    "states",  # a table of names, each with one of `words`
    "answer",  # text with where it comes from: text, or { value, basis, note }
    "codes",  # a table of names, each with a text
    "ratios",  # list of ratios, or one of `words`
    "reading",  # ohms, volts, ratio or counts: text, or { value, basis, note }
    "spread",  # uncertainty of a reading
    "table",
    "tables",  # [[array of tables]]
]

SAYS: dict[KeyKind, str] = {
    "text": "a text",
    "id": 'a permanent name: letters, digits, "-" and "_"',
    "meaning": "a meaning, as the controller concludes it",
    "word": "one of the words",
    "ref": "the id of a",
    "refs": "a list of ids of",
    "groups": "a list of lists of ids of",
    "pair": "a list of two names",
    "meanings": "a list of meanings",
    "flag": "true or false",
    "whole": "a whole number",
    "number": "one quantity",
    "range": "a quantity with its range",
    "leak": "a least resistance",
    "resistor": 'a resistor: its ohms, "none", "to choose", or a table',
    "pull": "a pull: a table with its tolerance",
    "element": "a resistor, a range or a least resistance, as the element's kind asks",
    "amount": "a bare number",
    "choice": "one quantity",
    "chain": "a list of ids in order; an inner list stands for a parallel group",
    "lengths": "a list of lengths",
    "length_pairs": "a list of pairs of lengths, the larger first",
    "states": "a table of names, each with one of the words",
    "answer": "a text, or a table that says where it comes from",
    "codes": "a table of names, each with a text",
    "ratios": "a list of ratios with their ranges",
    "reading": "a reading: ohms, volts, a ratio or counts",
    "spread": "how far off a reading may be: the same kind, or a percent",
    "table": "a table",
    "tables": "several tables",
}
"""What an entry of each kind takes, for the reference."""


@dataclass(frozen=True)
class Key:
    """One key of one table."""

    name: str
    kind: KeyKind
    doc: str
    required: bool = False
    needed: str = ""  # required only then; checked in crosscheck
    dimension: str = ""  # for number, range
    words: tuple[str, ...] = ()  # allowed words; for number, range and leak the words allowed besides a quantity
    default: str = ""  # what holds when it is left out, for the reader
    to: str = ""  # ref, refs, groups: the table referred to; table, tables: the table described
    least: float | None = None  # smallest allowed number
    above: float | None = None  # the number must be greater
    below: float | None = None  # the number must be smaller
    most: int = 0  # list length that is allowed, 0: see MOST_ENTRIES
    example: str = ""
    since: int = 1  # the file format that knows it first


@dataclass(frozen=True)
class Table:
    """One table of the file with all its keys."""

    name: str
    doc: str
    keys: tuple[Key, ...]
    id_key: str = ""  # which key names an entry of an array of tables

    def key(self, name: str) -> Key | None:
        """The key called `name`, or None."""
        for key in self.keys:
            if key.name == name:
                return key
        return None


MOST_ENTRIES = 256
"""Entries that an array may have where its key says no other number."""

NAME = Key("name", "text", "Free text: what people call it.")
NOTE = Key("note", "text", "Free text: where a number comes from, what to remember.")
BASIS = Key("basis", "word", "Where the number comes from.", words=BASES, default="assumed")
