"""The card's way to a fault: a decision tree that opens under a thumb, and its commonest ends on paper.

Answers: what do I look at first, and then, without a computer?
Touches: nothing. No script: each outcome is a part of the page that opens.
Beside:  `pinproof.find.tree` works the tree out; `card` puts it on the page.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from pinproof.design.model import Truck
from pinproof.find.hypotheses import Hypothesis
from pinproof.find.looks import Look
from pinproof.find.posterior import Diagnosis
from pinproof.find.tree import Band, Leaf, Node, decision_tree
from pinproof.find.words import class_words, look_words, percent, repair_words, set_up_words
from pinproof.pack.markup import Html, el, join
from pinproof.quantities import format_value
from pinproof.wiring import LineView

DIFFERENT = "None of these: press everything again. If it stays so, it is not on this card; write every reading down."
MOST_STEPS = 4
PRINTED = "On paper: the ways that are gone most. All of them are on the phone's card."


def find_section(truck: Truck, view: LineView, number: int) -> tuple[Html, list[Html]]:
    """The tree of one line for the screen, and its commonest ways as rows for paper, the commonest first."""
    try:
        tree = decision_tree(truck, view.line.id)
    except ValueError:
        return el("p", "Not worked out: a value of this line is still to be chosen."), []
    diagnosis = Diagnosis(truck, view.line.id)
    all_of = diagnosis.hypotheses
    names = _Names(number)
    ways = sorted(_ways(tree, 1.0, ()), key=lambda way: -way[0])
    rows = [_row(view, all_of, steps, leaf) for _, steps, leaf in ways if leaf.sure and len(steps) <= MOST_STEPS]
    return _shown(view, all_of, tree, names, ""), rows


class _Names:
    """A name for each group of outcomes, so that only one of a group is open."""

    def __init__(self, number: int) -> None:
        self.number, self.used = number, 0

    def next(self) -> str:
        self.used += 1
        return f"way-{self.number}-{self.used}"


def _shown(view: LineView, all_of: Sequence[Hypothesis], tree: Node | Leaf, names: _Names, before: str) -> Html:
    if isinstance(tree, Leaf):
        return _end(view, all_of, tree)
    name = names.next()
    now = set_up_words(tree.look)
    told = [el("p", f"First: {now}.", class_="setup")] if now != before else []
    outcomes = [
        el("details", el("summary", band_words(tree.look, band)), _shown(view, all_of, then, names, now), name=name)
        for band, _, then in sorted(tree.outcomes, key=lambda each: -each[1])
    ]
    return el("div", *told, el("p", f"Look: {look_words(tree.look, view.line)}.", class_="look"), *outcomes)


def _end(view: LineView, all_of: Sequence[Hypothesis], leaf: Leaf) -> Html:
    items = [
        el(
            "li", el("b", _capital(class_words(all_of, name), view)), f" ({percent(p)}). ",
            repair_words(all_of, name, view.line),
        )
        for name, p in leaf.classes
    ]  # fmt: skip
    head = "Most likely:" if leaf.sure else "These cannot be told apart here. In this order:"
    return el("div", el("p", head, class_="end"), el("ol", *items))


def _capital(text: str, view: LineView) -> str:
    """A large first letter, unless a contact's name stands there, which stays as the file has it."""
    if text.replace(",", " ").split()[0] in {each.id for each in view.truck.contacts}:
        return text
    return text[:1].upper() + text[1:]


def band_words(look: Look, band: Band) -> str:
    """An outcome on a button."""
    if look.kind == "meaning":
        return "no command (invalid)" if band.words == "invalid" else band.words
    if look.is_ohms:
        if math.isinf(band.high):
            return f"OL, or over {_ohm(band.low)}"
        return f"{_between(band, 'resistance')}: {band.words}"
    return f"{_between(band, 'voltage')}: {band.words}"


def _between(band: Band, dimension: str) -> str:
    low, high = (format_value(x, dimension, digits=3) if math.isfinite(x) else "" for x in (band.low, band.high))
    if not high:
        return f"over {low}"
    if band.low == 0.0:
        return f"under {high}"
    number, _, unit = low.rpartition(" ")
    return f"{number} to {high}" if high.endswith(f" {unit}") else f"{low} to {high}"


def _ohm(ohm: float) -> str:
    return format_value(ohm, "resistance", digits=3)


Way = tuple[float, tuple[tuple[Look, Band], ...], Leaf]


def _ways(tree: Node | Leaf, share: float, steps: tuple[tuple[Look, Band], ...]) -> Iterator[Way]:
    if isinstance(tree, Leaf):
        yield share, steps, tree
        return
    for band, part, then in tree.outcomes:
        yield from _ways(then, share * part, (*steps, (tree.look, band)))


def _row(view: LineView, all_of: Sequence[Hypothesis], steps: Sequence[tuple[Look, Band]], leaf: Leaf) -> Html:
    seen = [f"{_short(look)}: {_short_band(look, band)}" for look, band in steps]
    causes = " or ".join(class_words(all_of, name) for name, _ in leaf.classes[:2])
    del view
    return el("li", join("; ".join(seen), " → ", el("b", causes)))


def _short(look: Look) -> str:
    hand = "+".join(look.situation.operated) or "idle"
    return hand if look.kind == "meaning" else f"Ω {look.kind if look.kind != 'ohms' else 'at plug'} {hand}" if (
        look.kind in ("ohms", "chassis", "plus")
    ) else f"Ω {look.kind} {look.station}".strip()  # fmt: skip


def _short_band(look: Look, band: Band) -> str:
    if look.kind == "meaning":
        return band.words
    return "OL" if math.isinf(band.high) else _between(band, "resistance" if look.is_ohms else "voltage")
