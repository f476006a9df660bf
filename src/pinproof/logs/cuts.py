"""Rows cut and joined: what goes into the clock of a log, and what comes out of it.

Answers: these rows of a piece, these two pieces as one, these stretches in pieces of bounded size.
Units:   seconds.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pinproof.logs.recording import Floats
from pinproof.logs.source import Piece


@dataclass(frozen=True)
class Stretch:
    """Rows without a gap inside, stamps strictly increasing."""

    time_s: Floats
    values: dict[str, Floats]
    gap_before: bool


def joined(one: Piece, other: Piece) -> Piece:
    """Both, one after the other."""
    return Piece(
        np.concatenate((one.stamp_s, other.stamp_s)),
        {role: np.concatenate((each, other.values[role])) for role, each in one.values.items()},
    )


def part(piece: Piece, begin: int, end: int) -> Piece:
    """Some of its rows."""
    if begin == 0 and end == len(piece.stamp_s):
        return piece
    return Piece(piece.stamp_s[begin:end], {role: each[begin:end] for role, each in piece.values.items()})


def in_order(stretches: Iterator[Stretch], rows: int) -> Iterator[Stretch]:
    """The same stretches in pieces of at most `rows`."""
    for each in stretches:
        length = len(each.time_s)
        if length <= rows:
            yield each
            continue
        for begin in range(0, length, rows):
            end = min(begin + rows, length)
            yield Stretch(
                each.time_s[begin:end], {role: one[begin:end] for role, one in each.values.items()},
                each.gap_before and begin == 0,
            )  # fmt: skip
