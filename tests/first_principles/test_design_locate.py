"""The locator against tomllib: on random documents both must see the same entries, and each span must be its value."""

from __future__ import annotations

import datetime
import random
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinproof.design.locate import DEEPEST, locate

COMMENTS = ["", "", "", " # plain", ' # [not] = "a table"', " # {,} ''' \"\"\" é"]
WORDS = ["a", "resistor", "up-lever", "x_1", "7"]


class Writer:
    """A random TOML document that uses what the language has; keys are numbered so that none collides."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.count = 0

    def key(self) -> str:
        self.count += 1
        word = f"{self.rng.choice(WORDS)}{self.count}"
        return self.rng.choice([word, word, f'"{word}"', f"'{word}'", f'"{word} b.c # = "', f'"q\\"{word}\\u00e9"'])

    def scalar(self) -> str:
        return self.rng.choice(
            [
                "1", "-17", "0x1F", "1_000", "3.25", "6e-3", "inf", "true", "1979-05-27T07:32:00Z",
                "1979-05-27 07:32:00",
                "07:32:00", '""', '"4k7"', '"# no comment"', '"]},= \\" \\\\"', "'C:\\new'", "''",
                "'''\nraw '' \" #\n'''",
                '"""\nfirst ""\\\n  second \\"""\n"""', '"""ends in quotes"""""', "'''ends so too''''", '"Ω °"',
            ]
        )  # fmt: skip

    def blank(self) -> str:
        return self.rng.choice(["", " ", "\t", "  "])

    def value(self, depth: int) -> str:
        kind = self.rng.random()
        if depth > 3 or kind < 0.6:
            return self.scalar()
        if kind < 0.8:
            gap = self.rng.choice(["", " ", "\n  ", " # say, [why]\n  "])
            items = [self.value(depth + 1) for _ in range(self.rng.randrange(4))]
            comma = "," if items and self.rng.random() < 0.5 else ""
            return "[" + gap + ("," + gap).join(items) + gap + comma + gap + "]"
        pairs = [self.pair(depth + 1) for _ in range(self.rng.randrange(4))]
        return "{" + self.blank() + ", ".join(pairs) + self.blank() + "}"

    def pair(self, depth: int) -> str:
        dotted = f"{self.blank()}.{self.blank()}".join(self.key() for _ in range(self.rng.choice([1, 1, 1, 2, 3])))
        return f"{dotted}{self.blank()}={self.blank()}{self.value(depth)}"

    def pairs(self) -> list[str]:
        return [self.blank() + self.pair(0) + self.rng.choice(COMMENTS) for _ in range(self.rng.randrange(5))]

    def table(self, prefix: list[str], depth: int) -> list[str]:
        lines = self.pairs()
        for _ in range(self.rng.randrange(4 - depth)):
            name = [*prefix, self.key()]
            if self.rng.random() < 0.5:
                lines.append(f"[{'.'.join(name)}]{self.rng.choice(COMMENTS)}")
                lines += self.table(name, depth + 1)
            else:
                for _ in range(self.rng.randrange(1, 4)):
                    lines.append(f"[[ {' . '.join(name)} ]]")
                    lines += self.table(name, depth + 1)
        return lines

    def document(self) -> str:
        eol = self.rng.choice(["\n", "\r\n"])
        return eol.join(self.table([], 0)).replace("\r\n", "\n").replace("\n", eol)


def paths_of(node, at=()):
    """Every path of a parsed document, with its value."""
    entries = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for name, inner in entries:
        yield (*at, name), inner
        yield from paths_of(inner, (*at, name))


def same(a, b):
    return a == b and isinstance(a, datetime.datetime) == isinstance(b, datetime.datetime)


@settings(max_examples=400, deadline=None)
@given(st.integers(min_value=0, max_value=2**32))
def test_locator_sees_what_tomllib_sees(seed):
    text = Writer(seed).document()
    parsed = dict(paths_of(tomllib.loads(text)))
    places = locate(text)
    assert places.complete
    assert set(places.start) == set(parsed)
    for path, (start, end) in places.value.items():
        assert same(tomllib.loads(f"v = {text[start:end]}")["v"], parsed[path])
        assert places.start[path] <= start


@settings(max_examples=100, deadline=None)
@given(st.integers(min_value=0, max_value=2**32))
def test_a_key_added_at_the_room_of_a_table_lands_in_that_table(seed):
    text = Writer(seed).document()
    places = locate(text)
    for path, (end, prefix) in list(places.room.items())[:6]:
        eol = "\r\n" if "\r\n" in text else "\n"
        grown = tomllib.loads(f"{text[:end]}{eol}{prefix}added = 1{text[end:]}")
        node = grown
        for part in path:
            node = node[part]
        assert node["added"] == 1


@pytest.mark.parametrize("eol", ["\n", "\r\n"])
def test_lines_and_columns(eol):
    text = eol.join(
        ["# head", "a = 1", "", "[t]", "  b.c = [", "   10, # ten", "   20 ]", "[[u]]", "d = {e = 5}", "[[u]]"]
    )
    places = locate(text)
    assert places.position(("a",)) == (2, 1)
    assert places.position(("t",)) == (4, 1)
    assert places.position(("t", "b", "c")) == (5, 3)
    assert places.position(("t", "b", "c", 1)) == (7, 4)
    assert places.position(("u", 0, "d", "e")) == (9, 6)
    assert places.line(("u", 1)) == 10
    assert places.line(("u", 1, "missing")) == 10  # the entry that should hold it


@pytest.mark.parametrize(
    "text",
    [
        "a = ",
        "a = [1",
        "a = {b = 1",
        'a = "x',
        "[a",
        "[[a]",
        "= 1",
        "a 1",
        'a = """x',
        'a = ["1" 2]',
        "a.. = 1",
        '"\\q" = 1',
    ],
)
def test_what_is_not_toml_is_left_to_tomllib(text):
    assert not locate(text).complete
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(text)


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 5000, "a" + ".a" * 5000 + " = 1", "[" + "a." * 400_000 + "a]", "a = " + "{b = " * 500]
)
def test_deep_nesting_is_refused_at_once(text):
    places = locate("# first line\n" + text)
    assert places.too_deep == 2
    assert len(places.start) < 3 * DEEPEST


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="ab.[]{}=\"'#,\\\r\n 1", max_size=40))
def test_no_text_makes_the_locator_raise(text):
    places = locate(text)
    try:
        parsed = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert places.complete
    assert set(places.start) == {path for path, _ in paths_of(parsed)}
