"""Blade fuses: body colours, operating time, continuous load.

Answers: what colour is a 5 A fuse, how long does it carry 200 %, how much may it carry all day?
Units:   A, s, fraction of the rating.
Touches: the data files beside this module.
"""

from __future__ import annotations

from dataclasses import dataclass

from pinproof.errors import OutOfTable
from pinproof.tables.load import Figure, Sourced, load

_TABLES = {"medium": "iso_8820_3_blade_colours", "mini": "iso_8820_3_blade_colours", "maxi": "iso_8820_3_maxi_colours"}


@dataclass(frozen=True, kw_only=True)
class BladeFuse(Sourced):
    """A blade fuse rating and its body colour. `family` is "medium", "mini" or "maxi". [A]"""

    family: str
    rating_a: float
    colour: str


@dataclass(frozen=True, kw_only=True)
class FuseGate(Sourced):
    """Shortest and longest operating time at a percentage of the rating; `longest_s` may be infinite. [s]"""

    percent: int
    shortest_s: float
    longest_s: float


def fuse_ratings_a(family: str = "medium") -> tuple[float, ...]:
    """Ratings that a family is made in, smallest first. [A]"""
    table = load(_table_of(family))
    ratings = tuple(table.column_values("rating_a"))
    if family != "mini":
        return ratings
    return tuple(one for one in ratings if table.facts["mini_smallest_a"] <= one <= table.facts["mini_largest_a"])


def fuse_by_rating(rating_a: float, family: str = "medium") -> BladeFuse:
    """The fuse of a rating; OutOfTable with the ratings there are."""
    table, made = load(_table_of(family)), fuse_ratings_a(family)
    if float(rating_a) not in made:
        raise OutOfTable(table.title, f"{rating_a:g} A, {family}", ", ".join(f"{one:g} A" for one in made))
    row = table.row(float(rating_a))
    return BladeFuse(
        family=family,
        rating_a=row["rating_a"],
        colour=row["colour"],
        source=table.source,
        seen=row["row_seen"],
        note=table.note,
    )


def fuse_by_colour(colour: str, family: str = "medium") -> BladeFuse:
    """The fuse of a body colour; OutOfTable with the colours there are. "natural" and "white" are "clear"."""
    table = load(_table_of(family))
    word = colour.strip().lower()
    word = {"natural": "clear", "white": "clear", "gray": "grey", "purple": "violet"}.get(word, word)
    for row in table.rows:
        if row[1] == word:
            return fuse_by_rating(row[0], family)
    raise OutOfTable(table.title, f'colour "{colour}"', ", ".join(table.column_values("colour")))


def fuse_gate(percent: int) -> FuseGate:
    """Operating-time gate at 110, 135, 160, 200, 350 or 600 % of the rating (from memory)."""
    table = load("iso_8820_3_gates")
    row = table.row(percent)
    return FuseGate(
        percent=percent,
        shortest_s=row["shortest_s"],
        longest_s=row["longest_s"],
        source=table.source,
        seen=table.seen,
        note=table.note,
    )


def fuse_continuous_fraction(*, cautious: bool = False) -> Figure:
    """Largest continuous load as a fraction of the rating: 0.80 as read, or the makers' 0.75 from memory."""
    table = load("fuse_loading")
    value = table.facts["remembered_fraction" if cautious else "looked_up_fraction"]
    return Figure(
        value=value, unit="1", source=table.source, seen="memory" if cautious else table.seen, note=table.note
    )


def _table_of(family: str) -> str:
    try:
        return _TABLES[family]
    except KeyError:
        raise OutOfTable("Blade fuse families", f'"{family}"', ", ".join(_TABLES)) from None
