"""Splices of one run put side by side, so that the bundle does not swell.

Answers: where does each splice lie, and how many have room?
Units:   whole millimetres from the run's first place.
Touches: nothing.
Source:  slots of one splice length and 25 mm: common practice, no source. Least in total by the rearrangement
         inequality: the splice that costs most to shift gets the shortest shift.
"""

from __future__ import annotations

from collections.abc import Sequence

GAP_MM = 25


def slots_mm(first_mm: int, last_mm: int, splice_mm: int) -> list[int]:
    """Points where splices may lie in a run. [mm]"""
    return list(range(first_mm, last_mm + 1, splice_mm + GAP_MM))


def stagger(slots: Sequence[int], pulls: Sequence[int]) -> list[int]:
    """A slot for each splice, least in total shift cost.

    Parameters
    ----------
    slots : sequence of int
        Rising positions. [mm]
    pulls : sequence of int
        For each splice, in the order of its net: wires that leave towards the first place less those towards the last.

    Returns
    -------
    list of int
        The slot of each splice. [mm]

    Raises
    ------
    ValueError
        If there are more splices than slots.

    Examples
    --------
    >>> stagger([300, 365, 430], [1, -1, 2])
    [365, 430, 300]
    """
    if len(pulls) > len(slots):
        raise ValueError(f"{len(pulls)} splices, {len(slots)} slots")
    numbers = range(len(pulls))
    low = sorted((one for one in numbers if pulls[one] >= 0), key=lambda one: (-pulls[one], one))
    high = sorted((one for one in numbers if pulls[one] < 0), key=lambda one: (pulls[one], one))
    placed = [0] * len(pulls)
    for rank, one in enumerate(low):
        placed[one] = slots[rank]
    for rank, one in enumerate(high):
        placed[one] = slots[len(slots) - 1 - rank]
    return placed
