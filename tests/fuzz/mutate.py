"""New inputs from old ones: bytes, words of a format, lines, cells, numbers, and pieces of two inputs joined.

Answers: `mutated`.
Touches: nothing; all chance comes from the generator handed in.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

MOST_BYTES = 1 << 16
NUMBERS = (
    "0", "-0", "-1", "1", "0.0", "1e308", "-1e308", "1e-320", "1e400", "9" * 40, "9" * 5000, "nan", "inf", "-inf",
    "NaN", "0x7fffffffffffffff", "18446744073709551616", "-9223372036854775809", "2147483648", "255", "65536", "1e15",
    "1_000", "1,5", "1.5.5", "+7", "٣", "½", "1e", "0.1e-9", "4096", "3.0000000000000001",
)  # fmt: skip
ODD_TEXTS = (
    "", " ", "\u00a0", "\u202e", "\ufeff", "\u0000", "\x1b[31m", "\x85", "\u2028", "e\u0301", "𝟜", "Ω", "Ω", "µ", "μ",
    "İ", "ß", "a" * 300, "\r", "\t", "\x0b", "\x1c", "../..", "CON", "%s%n", "{0}", "null", "true", "[]", "{}", "''",
    '"""', "\\u0000", "\\ud800", "\\x", "#", "=", ";", ",", ":", "\n\n", "--", "°C",
)  # fmt: skip
_NUMBER = re.compile(rb"[-+]?\d[\d_]*(?:[.,]\d+)?(?:[eE][-+]?\d+)?")
_QUOTED = re.compile(rb'"[^"\n]{0,80}"')
_KEY = re.compile(rb"(?m)^[ \t]*([A-Za-z_][\w.-]*)[ \t]*=")
_VALUE = re.compile(rb"(?m)=[ \t]*([^\n#]+)")
_PART = re.compile(rb"(?m)^\[")
_CELL = re.compile(rb"[^,;\t|\n]+")


@dataclass(frozen=True)
class Stock:
    """What mutations draw from: words of the format, other inputs, and which kinds of input these are."""

    words: tuple[bytes, ...]
    others: Sequence[bytes]

    def word(self, chance: random.Random) -> bytes:
        """A word of the format, a number or an odd text."""
        kind = chance.random()
        if kind < 0.6 and self.words:
            return chance.choice(self.words)
        return chance.choice(NUMBERS if kind < 0.85 else ODD_TEXTS).encode("utf-8", "surrogatepass")


Mutation = Callable[[bytes, random.Random, Stock], bytes]


def _span(data: bytes, chance: random.Random, most: int = 64) -> tuple[int, int]:
    at = chance.randrange(len(data) + 1)
    return at, min(len(data), at + chance.randrange(1, most))


def flip(data: bytes, chance: random.Random, stock: Stock) -> bytes:
    """Some bits or bytes changed."""
    if not data:
        return bytes([chance.randrange(256)])
    out = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 4, 16))):
        at = chance.randrange(len(out))
        out[at] = chance.choice((out[at] ^ (1 << chance.randrange(8)), chance.randrange(256), 0, 255, 127))
    return bytes(out)


def cut(data: bytes, chance: random.Random, stock: Stock) -> bytes:
    """A piece left out, or the end cut off."""
    if chance.random() < 0.2:
        return data[: chance.randrange(len(data) + 1)]
    low, high = _span(data, chance)
    return data[:low] + data[high:]


def again(data: bytes, chance: random.Random, stock: Stock) -> bytes:
    """A piece once more, elsewhere or many times."""
    low, high = _span(data, chance, 128)
    at = chance.randrange(len(data) + 1)
    return data[:at] + data[low:high] * chance.choice((1, 1, 2, 50)) + data[at:]


def insert(data: bytes, chance: random.Random, stock: Stock) -> bytes:
    """A word put in."""
    at = chance.randrange(len(data) + 1)
    return data[:at] + stock.word(chance) + data[at:]


def overwrite(data: bytes, chance: random.Random, stock: Stock) -> bytes:
    """A word in place of what stood there."""
    at = chance.randrange(len(data) + 1)
    word = stock.word(chance)
    return data[:at] + word + data[at + len(word) :]


def splice(data: bytes, chance: random.Random, stock: Stock) -> bytes:
    """The begin of one input and the end of another, or a piece of it."""
    other = chance.choice(stock.others)
    low, high = _span(other, chance, 512)
    at = chance.randrange(len(data) + 1)
    return data[:at] + (other[low:high] + data[at:] if chance.random() < 0.5 else other[low:])


def integer(data: bytes, chance: random.Random, stock: Stock) -> bytes:
    """A binary number overwritten: lengths, counts and offsets of binary files."""
    width = chance.choice((1, 2, 4, 8))
    if len(data) < width:
        return data
    at = chance.randrange(len(data) - width + 1)
    order = chance.choice(("little", "big"))
    now = int.from_bytes(data[at : at + width], order)  # type: ignore[arg-type]
    value = chance.choice((0, 1, now + 1, now - 1, now * 2, 1 << (8 * width - 1), (1 << (8 * width)) - 1, len(data)))
    return data[:at] + (value % (1 << (8 * width))).to_bytes(width, order) + data[at + width :]  # type: ignore[arg-type]


def _replaced(pattern: re.Pattern[bytes], group: int) -> Mutation:
    def change(data: bytes, chance: random.Random, stock: Stock) -> bytes:
        found = list(pattern.finditer(data))
        if not found:
            return insert(data, chance, stock)
        hit = chance.choice(found)
        kind = chance.random()
        if kind < 0.35:
            word = chance.choice(found).group(group)
        elif kind < 0.5 and len(stock.others) > 1:
            other = pattern.search(chance.choice(stock.others), chance.randrange(1, 400))
            word = other.group(group) if other is not None else stock.word(chance)
        else:
            word = stock.word(chance)
            if hit.group(group).startswith(b'"') and chance.random() < 0.7:
                word = b'"' + word.replace(b'"', b"").replace(b"\n", b"") + b'"'
        return data[: hit.start(group)] + word + data[hit.end(group) :]

    return change


number = _replaced(_NUMBER, 0)
quoted = _replaced(_QUOTED, 0)
key = _replaced(_KEY, 1)
value = _replaced(_VALUE, 1)
cell = _replaced(_CELL, 0)


def lines(data: bytes, chance: random.Random, stock: Stock) -> bytes:
    """A line left out, doubled, moved, joined with the next, or taken from another input."""
    some = data.split(b"\n")
    at = chance.randrange(len(some))
    kind = chance.randrange(6)
    if kind == 0:
        del some[at]
    elif kind == 1:
        some.insert(chance.randrange(len(some) + 1), some[at])
    elif kind == 2:
        some.insert(chance.randrange(len(some)), some.pop(at))
    elif kind == 3 and at + 1 < len(some):
        some[at : at + 2] = [some[at] + some[at + 1]]
    elif kind == 4:
        some.insert(at, chance.choice(chance.choice(stock.others).split(b"\n")))
    else:
        del some[at : at + chance.randrange(1, 12)]
    return b"\n".join(some)


def parts(data: bytes, chance: random.Random, stock: Stock) -> bytes:
    """Whole tables of a TOML text left out, doubled, or taken from another input."""

    def cuts(text: bytes) -> list[bytes]:
        edges = [0, *(hit.start() for hit in _PART.finditer(text)), len(text)]
        return [text[low:high] for low, high in pairwise(edges) if high > low]

    some, kind = cuts(data), chance.random()
    if not some:
        return data
    at = chance.randrange(len(some))
    if kind < 0.35:
        del some[at]
    elif kind < 0.55:
        some.insert(chance.randrange(len(some) + 1), some[at])
    else:
        taken = cuts(chance.choice(stock.others))
        if taken:
            some.insert(at, chance.choice(taken))
    return b"".join(some)


def column(data: bytes, chance: random.Random, stock: Stock) -> bytes:
    """A column of a table left out, doubled, moved or changed in every row."""
    some = data.split(b"\n")
    sign = max((b",", b";", b"\t", b"|"), key=data.count)
    rows = [line.split(sign) for line in some]
    wide = max(len(row) for row in rows)
    at, to, kind, word = chance.randrange(wide), chance.randrange(wide), chance.randrange(4), stock.word(chance)
    for row in rows:
        if at >= len(row):
            continue
        if kind == 0:
            del row[at]
        elif kind == 1:
            row.insert(min(to, len(row)), row[at])
        elif kind == 2:
            row.insert(min(to, len(row)), row.pop(at))
        elif chance.random() < 0.7:
            row[at] = word
    return b"\n".join(sign.join(row) for row in rows)


def recode(data: bytes, chance: random.Random, stock: Stock) -> bytes:
    """The same text in another encoding, with other line ends or another sign between cells."""
    text = data.decode("utf-8", "replace")
    kind = chance.randrange(6)
    if kind == 0:
        return text.encode(chance.choice(("utf-16", "utf-16-le", "utf-16-be", "utf-8-sig", "utf-32")))
    if kind == 1:
        return text.encode("cp1252", "replace")
    if kind == 2:
        return text.replace("\n", chance.choice(("\r\n", "\r", "\u2028", "\x0c"))).encode()
    signs = (",", ";", "\t", "|")
    old, new = chance.choice(signs), chance.choice(signs)
    return text.replace(old, new).replace(".", "," if chance.random() < 0.3 else ".").encode()


PLAIN: tuple[Mutation, ...] = (flip, flip, cut, again, insert, overwrite, splice, integer, integer)
TEXT: tuple[Mutation, ...] = (
    flip, cut, again, insert, overwrite, splice, number, number, quoted, quoted, lines, lines, recode,
)  # fmt: skip
TOML: tuple[Mutation, ...] = (
    flip, cut, again, insert, splice, number, number, quoted, quoted, quoted, key, key, value, value, lines, lines,
    parts, parts, parts,
)  # fmt: skip
TABLE: tuple[Mutation, ...] = (
    flip, cut, again, insert, overwrite, splice, number, cell, cell, cell, lines, lines, column, column, recode,
)  # fmt: skip


def mutated(data: bytes, chance: random.Random, stock: Stock, kinds: Sequence[Mutation]) -> bytes:
    """An input changed once or several times, never longer than `MOST_BYTES`."""
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        data = chance.choice(kinds)(data, chance, stock)[:MOST_BYTES]
    return data
