"""Wire colours and their letter codes.

Answers: what is "RDBU" or the older "sw", and how is black-and-white written?
Units:   none.
Touches: the data files beside this module.
"""

from __future__ import annotations

from dataclasses import dataclass

from pinproof.errors import OutOfTable
from pinproof.tables.load import Sourced, load

_PROTECTIVE_NOTE = "Green with yellow is kept for the protective conductor; use another colour for a signal."


@dataclass(frozen=True, kw_only=True)
class WireColour(Sourced):
    """A wire colour: its code, and the colour words in the order they were given or read."""

    code: str
    colours: tuple[str, ...]


def colour_names() -> tuple[str, ...]:
    """Colour words of IEC 60757 in the order of the table."""
    return load("iec_60757_colours").column_values("colour")


def encode_colour(*colours: str, keep_order: bool = False) -> WireColour:
    """The code of one or several colours: "red" gives RD, "blue", "red" gives RDBU.

    The standard joins codes in the order of its table. `keep_order` keeps the given order, base colour before stripe,
    which is common practice without a source. OutOfTable for an unknown colour or the same colour twice.
    """
    table = load("iec_60757_colours")
    order = table.column_values("colour")
    words = tuple(_plain_word(word) for word in colours)
    if not words or len(set(words)) != len(words):
        raise OutOfTable(table.title, " + ".join(colours) or "no colour", "one or more different colours")
    rows = [table.row(word) for word in words]
    if set(words) == {"green", "yellow"}:
        return WireColour(
            code=table.facts["protective"], colours=words, source=table.source, seen=table.seen, note=_PROTECTIVE_NOTE
        )
    if not keep_order:
        rows.sort(key=lambda row: order.index(row["colour"]))
    remembered = any(row["row_seen"] == "memory" for row in rows)
    return WireColour(
        code="".join(row["code"] for row in rows),
        colours=words,
        source=table.source,
        seen="memory" if remembered else table.seen,
        note="base colour before stripe: common practice, no source" if keep_order and len(rows) > 1 else "",
    )


def decode_colour(code: str) -> WireColour:
    """The colours of a code such as "RD", "RDBU", "BK/WH" or "GNYE"; OutOfTable if a pair of letters is unknown."""
    table = load("iec_60757_colours")
    letters = code.upper().replace("/", "").replace("-", "").replace(" ", "")
    by_code = {row[1]: row for row in table.rows}
    pairs = [letters[place : place + 2] for place in range(0, len(letters), 2)]
    if not letters or len(letters) > 12 or any(pair not in by_code for pair in pairs):
        raise OutOfTable(table.title, f'"{code}"', ", ".join(by_code))
    remembered = any(by_code[pair][2] == "memory" for pair in pairs)
    return WireColour(
        code=letters,
        colours=tuple(by_code[pair][0] for pair in pairs),
        source=table.source,
        seen="memory" if remembered else table.seen,
        note=_PROTECTIVE_NOTE if set(pairs) == {"GN", "YE"} else "",
    )


def decode_older_colour(letters: str) -> WireColour:
    """The colours of older national letters such as "sw", "swws" or "rt/ge". Beware: "gr" is grey, "gn" is green."""
    table = load("din_47002_letters")
    plain = letters.lower().replace("/", "").replace("-", "").replace(" ", "")
    known = dict(table.rows)
    pairs = [plain[place : place + 2] for place in range(0, len(plain), 2)]
    if not plain or len(plain) > 12 or any(pair not in known for pair in pairs):
        raise OutOfTable(table.title, f'"{letters}"', ", ".join(known))
    modern = decode_colour("".join(known[pair] for pair in pairs))
    notes = [table.note] if "gr" in pairs else []
    notes += [modern.note] if modern.note else []
    return WireColour(
        code=modern.code,
        colours=modern.colours,
        source=table.source,
        seen="memory" if modern.from_memory else table.seen,
        note=" ".join(notes),
    )


def _plain_word(word: str) -> str:
    plain = word.strip().lower()
    return "grey" if plain == "gray" else "violet" if plain == "purple" else plain
