"""What values are chosen from, and the design's text with the chosen ones in it: one call for command and page.

Answers: is it the drawer or a series, and why that one; what does the file say once the values are written?
Touches: the drawer's file, reading.
Beside:  `pinproof.choose` does the search.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from pinproof.chain.stock import load_drawer
from pinproof.choose import Choice, Drawer, changes_for
from pinproof.choose.pick import series_of
from pinproof.design import UNKNOWN
from pinproof.design.comments import CHOSEN, with_comment
from pinproof.design.edit import with_values
from pinproof.design.load import loads
from pinproof.design.model import Resistor, Truck
from pinproof.errors import NoSolution
from pinproof.quantities import format_value
from pinproof.quantities.preferred import LEAST_OHM, MOST_OHM

USUAL_LOW, USUAL_HIGH = "10 ohm", "100 kohm"
"""Range of values to try where nobody asks for another."""


@dataclass(frozen=True)
class Source:
    """Where values are taken from, and the same in words: "E24 (as [parts] in the file says)"."""

    source: str | Drawer
    origin: str


def source_of(
    truck: Truck, folder: Path, file: str, *, series: str | None = None, drawer: Path | None = None,
    tolerance: float | None = None,
) -> Source:  # fmt: skip
    """The drawer or series that was asked for, else what [parts] names, else the usual series.

    Parameters
    ----------
    folder, file : Path, str
        Where the design file lies, and its name, for a drawer named in [parts] and for words.
    tolerance : float, optional
        Asked for apart: then a drawer named in [parts] is left aside, its parts have their own.

    Raises
    ------
    NoSolution
        [parts] names a drawer that is not there.
    DrawerFault
        The drawer cannot be read.
    """
    if drawer is None and series is None and tolerance is None and truck.parts.drawer:
        drawer = folder / truck.parts.drawer
        if not drawer.is_file():
            raise NoSolution(
                f'[parts] in {file} names the drawer "{truck.parts.drawer}", and that is not there.',
                cure="Correct the name, or choose from a series: --series E24",
            )
    if drawer is not None:
        return Source(load_drawer(drawer), f"the drawer {drawer.name}")
    if series is not None:
        return Source(series.upper(), series.upper())
    why = "as [parts] in the file says" if truck.parts.series else "the file's [parts] names no series"
    return Source(series_of(truck), f"{series_of(truck)} ({why})")


def check_choosable(truck: Truck, line_id: str, file: str) -> None:
    """NoSolution while the pull is unknown: then no value can be better than another. KeyError for an unknown line."""
    owner = truck.input_of(truck.line(line_id))
    if UNKNOWN in (owner.pull_up, owner.pull_down):
        raise NoSolution(
            f"The pull of input {owner.id} is unknown, so no value can be better than another.",
            cure=f"Measure it first: pinproof next {file}",
        )


def check_range(low_ohm: float, high_ohm: float, tolerance: float | None) -> None:
    """NoSolution for a range, or a tolerance of parts, from which nothing can be chosen."""
    if not LEAST_OHM <= low_ohm <= high_ohm <= MOST_OHM:
        low, high = (format_value(each, "resistance") for each in (low_ohm, high_ohm))
        raise NoSolution(
            f"Nothing can be chosen from {low} to {high}.",
            cure="Give a least resistance not above the greatest, both from 0.001 ohm to 1e12 ohm.",
        )
    if tolerance is not None and not tolerance < 1.0:
        told = format_value(tolerance, "ratio")
        raise NoSolution(f"Parts of {told} cannot be.", cure="Give a tolerance below 100 %, as in 1 %.")


def reach_words(found: Choice) -> str:
    """Tolerance of the chosen parts where it is one for all: ", parts of 1 %"; else ""."""
    if found.source == "drawer" or len({each.tolerance for each in found.resistors}) != 1:
        return ""
    return f", parts of {format_value(found.resistors[0].tolerance, 'ratio')}"


def text_with(text: str, found: Choice, origin: str, file: str) -> str:
    """The design's text with the chosen values; comments of this program beside them say the new truth.

    Raises
    ------
    DesignFault, EditFault
        The values cannot be put into this text.
    """
    changes = changes_for(found)
    changed = with_values(text, changes, file)
    before = loads(text, file).entries()
    for each in found.resistors:  # a value that was just chosen is neither measured nor from another truck
        old = before.get(each.path)
        if isinstance(old, Resistor) and old.basis in ("measured", "borrowed") and old.ohm not in (None, each.ohm):
            changed = with_values(changed, {each.path: {"basis": "assumed"}}, file)
    changed = with_comment(changed, list(changes), f"{CHOSEN} {origin.partition(' (')[0]} by pinproof choose")
    loads(changed, file)
    return changed


@dataclass(frozen=True)
class StockUsed:
    """One kind of part of the drawer that a choice takes: how many, and how many there are."""

    name: str
    used: int
    had: int


def stock_used(found: Choice, drawer: Drawer) -> tuple[StockUsed, ...]:
    """What a choice takes out of a drawer, in the order of its resistors."""
    taken = Counter(piece.name for each in found.resistors for piece in each.pieces)
    had: Counter[str] = Counter()
    for part in drawer.parts:
        had[part.called] += part.count
    return tuple(StockUsed(name, used, had[name]) for name, used in taken.items())
