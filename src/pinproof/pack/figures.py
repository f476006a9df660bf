"""The drawings of one line, named, in the order in which they are read.

Answers: which drawings does a page, a book or a folder of a line hold?
Touches: nothing.
Beside:  `pinproof.drawings` draws them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from pinproof.design import DesignFault
from pinproof.design.model import Truck
from pinproof.drawings import Drawing, circuit, drift_picture, reading_chart, transit_picture
from pinproof.harness import lay_out
from pinproof.proof.results import LineProof
from pinproof.wiring import LineView

ROWS = (20, 16, 12, 9, 6, 4)  # rows of a reading chart, tried until it is low enough


@dataclass(frozen=True)
class Figure:
    """One drawing. `kind` is "circuit", "readings", "drift" or "transit"; `name` fits a file."""

    name: str
    kind: str
    drawing: Drawing


def groups_of(line: LineProof) -> list[tuple[str, str]]:
    """Key states and reading spaces that a line is proven in, in order of appearance."""
    found = list(dict.fromkeys((row.key_state, row.space) for row in line.situations))
    return found or [("run", space) for space in line.windows]


@lru_cache(maxsize=2)
def chosen_fuses_a(truck: Truck) -> Mapping[str, float]:
    """Ratings of the fuses that the harness chose, by feed; none where it chooses none or cannot be laid out. [A]"""
    if truck.harness is None or all(feed.fuse_a is not None for feed in truck.feeds):
        return {}
    try:
        return {each.feed: each.rating_a for each in lay_out(truck).fuses if each.chosen}
    except DesignFault:
        return {}


def line_figures(
    view: LineView, line: LineProof, number: int, *, layout: str = "wide", high_mm: tuple[float, float] = (1e3, 1e3)
) -> tuple[Figure, ...]:
    """Every drawing of one line.

    Parameters
    ----------
    view : LineView
        The line as the proof saw it.
    line : LineProof
    number : int
        Of the line on the page, for ids and names.
    layout : str
        "wide" or "narrow".
    high_mm : pair of float
        Charts drop rows, and count them in words, until they are lower than this: the first one, and the others.
    """
    ident = f"line-{number}"
    chosen_a = chosen_fuses_a(view.truck) if view.line.feed is not None else {}
    drawn = circuit(view, layout=layout, ident=f"{ident}-circuit-{layout}", chosen_a=chosen_a)
    found = [Figure("circuit", "circuit", drawn)]
    for index, (key_state, space) in enumerate(groups_of(line)):
        for most in ROWS:
            drawing = reading_chart(
                line, truck=view.truck, key_state=key_state, space=space, layout=layout, legend=index == 0,
                ident=f"{ident}-{key_state}-{space}-{layout}", most_rows=most,
            )  # fmt: skip
            if drawing.height_mm <= high_mm[min(index, 1)]:
                break
        found.append(Figure(f"readings-{key_state}-{space}", "readings", drawing))
    drift = drift_picture(line, layout=layout, ident=f"{ident}-drift-{layout}")
    if drift is not None:
        found.append(Figure("drift", "drift", drift))
    for index, finding in enumerate(line.findings):
        passing = transit_picture(view, line, finding, layout=layout, ident=f"{ident}-transit-{index}-{layout}")
        if passing is not None:
            count = sum(each.kind == "transit" for each in found) + 1
            found.append(Figure(f"transit-{count}", "transit", passing))
    return tuple(found)
