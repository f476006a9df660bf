"""The card's way to a fault: a decision tree that opens under a thumb, and its commonest ends on paper.

Answers: what do I look at first, and then, without a computer?
Touches: nothing. No script: each outcome is a part of the page that opens.
Beside:  `pinproof.find.tree` works the tree out; `card` puts it on the page.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from pinproof.design.model import Truck
from pinproof.drawings.words import either
from pinproof.find.hypotheses import NOT_LISTED, Hypothesis
from pinproof.find.looks import Look
from pinproof.find.posterior import Diagnosis
from pinproof.find.tree import Band, Leaf, Node, decision_tree
from pinproof.find.words import (
    class_words,
    fuse_words,
    look_words,
    percent,
    repair_words,
    set_up_words,
    source_words,
)
from pinproof.pack.bench import pin_words
from pinproof.pack.markup import Html, el, join
from pinproof.proof.situations import requirement
from pinproof.quantities import format_value
from pinproof.wiring import LineView

DIFFERENT = "None of these, or it was not this: press everything again. If it stays so, it is not on this card."
MOST_STEPS = 4
OHM_MEANS = {
    "ohms": "pin to {source}", "chassis": "pin to chassis", "plus": "pin to the lifted battery plus lead",
    "wire": "coded wire alone", "source": "source wire alone", "without": "as at plug, that station unplugged",
}  # fmt: skip
PRINTED = "On paper: the ways that are gone most; look in this order. All of them are on the phone's card."
WHILE_WRONG = "Look while it is wrong: wheel turned, wet, hot or shaken as it was then."
ALL_RIGHT = (
    "All of this reads right. If it misbehaved, it comes and goes: turn the wheel lock to lock, shake the harness, and "
    "begin again while it is wrong."
)
PROOF_SHOWS = "It must show {shows}. If not, {which}."
NOTHING_WORKS = "Nothing works: measure the feed's fuse first."
TIE = 0.5  # from this share of the first on, the second is as good as the first


def find_section(truck: Truck, view: LineView, number: int, most: int) -> tuple[Html, str, list[Html]]:
    """The tree of one line for the screen; for paper a legend and at most so many ways, the commonest first."""
    try:
        tree = decision_tree(truck, view.line.id)
    except ValueError:
        return el("p", "Not worked out: a value of this line is still to be chosen."), "", []
    diagnosis = Diagnosis(truck, view.line.id)
    all_of = diagnosis.hypotheses
    names = _Names(number)
    ways = sorted(_ways(tree, 1.0, ()), key=lambda way: -way[0])
    short = [(steps, leaf) for _, steps, leaf in ways if leaf.sure and len(steps) <= MOST_STEPS][:most]
    rows = [_row(view, all_of, steps, leaf) for steps, leaf in short]
    told = legend(view, [look for steps, _ in short for look, _ in steps])
    return _shown(view, all_of, tree, names, "", True), told, rows


def otherwise(view: LineView) -> str:
    """What to do where the tree does not hold."""
    return f"{DIFFERENT} {repair_words((), NOT_LISTED, view.line)}"


class _Names:
    """A name for each group of outcomes, so that only one of a group is open."""

    def __init__(self, number: int) -> None:
        self.number, self.used = number, 0

    def next(self) -> str:
        self.used += 1
        return f"way-{self.number}-{self.used}"


def _shown(
    view: LineView, all_of: Sequence[Hypothesis], tree: Node | Leaf, names: _Names, before: str, right: bool
) -> Html:  # fmt: skip
    """A look and its outcomes, or an end. `before`: the set-up one is in; `right`: all reports were as wanted."""
    if isinstance(tree, Leaf):
        return _end(view, all_of, tree, before, right)
    name = names.next()
    now = set_up_words(tree.look)
    outcomes = [
        el("details", el("summary", band_words(tree.look, band)),
           _shown(view, all_of, then, names, now, right and _is_right(view, tree.look, band)), name=name)
        for band, _, then in sorted(tree.outcomes, key=lambda each: -each[1])
    ]  # fmt: skip
    look = el("p", f"Look: {look_words(tree.look, view.line)}.", class_="look")
    return el("div", *_first(view, tree.look, before), look, *outcomes)


def _is_right(view: LineView, look: Look, band: Band) -> bool:
    return look.kind == "meaning" and requirement(view.truck, view.line, look.situation, "run").means == band.words


def _first(view: LineView, look: Look, before: str) -> list[Html]:
    """What to set up before a look, where it is not set up yet; for ohms also which pin is meant."""
    now = set_up_words(look)
    if now == before:
        return []
    told = [f"First: {now}."]
    if look.is_ohms:
        told.append(f"The pin is {pin_words(view)}, harness side.")
        told.append(fuse_words(look, view.line))
    return [el("p", " ".join(filter(None, told)), class_="setup")]


def _end(view: LineView, all_of: Sequence[Hypothesis], leaf: Leaf, before: str, right: bool) -> Html:
    items = [
        el(
            "li", el("b", _capital(class_words(all_of, name), view)), f" ({percent(p)}). ",
            repair_words(all_of, name, view.line),
        )
        for name, p in leaf.classes
    ]  # fmt: skip
    if right:
        return el("div", el("p", ALL_RIGHT, class_="end"), el("p", "Begin looking at:"), el("ol", *items))
    alone = leaf.sure and (len(leaf.classes) < 2 or leaf.classes[1][1] < TIE * leaf.classes[0][1])
    head = "Most likely:" if alone else "These cannot be told apart here. In this order:"
    return el("div", el("p", head, class_="end"), el("ol", *items), *_proof(view, leaf, before))


def _proof(view: LineView, leaf: Leaf, before: str) -> list[Html]:
    """The number to take before anything is cut."""
    if leaf.proof is None:
        return []
    look = leaf.proof.look
    which = "it is not this: see the last lines of this part" if len(leaf.classes) == 1 else "it is not the first"
    shows = either([band_words(look, band) for band in leaf.proof.bands])
    said = f"Before you cut or swap: {look_words(look, view.line)}. {PROOF_SHOWS.format(shows=shows, which=which)}"
    return [*_first(view, look, before), el("p", said, class_="look")]


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


def legend(view: LineView, steps: Sequence[Look]) -> str:
    """What the short words of the paper's ways stand for, of those that are used."""
    told = ["Reports: key on, engine off"]
    kinds = dict.fromkeys(look.kind for look in steps if look.is_ohms)
    if kinds:
        told.append("Ω: battery negative off, controller unplugged")
        told += [f"{_named(kind)}: {OHM_MEANS[kind].format(source=source_words(view.line))}" for kind in kinds]
    if any(not look.situation.operated for look in steps):
        told.append("idle: nothing pressed")
    fuse = [NOTHING_WORKS] if view.line.is_fused else []
    return " ".join(["; ".join(told) + ".", *fuse])


def _named(kind: str) -> str:
    return f"Ω {'at plug' if kind == 'ohms' else kind}"


def _short(look: Look) -> str:
    hand = "+".join(look.situation.operated) or "idle"
    if look.kind == "meaning":
        return hand
    return f"{_named(look.kind)} {hand if look.kind in ('ohms', 'chassis', 'plus') else look.station}".strip()


def _short_band(look: Look, band: Band) -> str:
    if look.kind == "meaning":
        return "no command" if band.words == "invalid" else band.words
    return "OL" if math.isinf(band.high) else _between(band, "resistance" if look.is_ohms else "voltage")
