"""The faults of a line, as blocks of the book and as a section of the page.

Answers: which faults can give a command that nobody asks for, what removes each or from which ohms on it is harmless,
         and which ones nobody would notice?
Touches: nothing.
Beside:  `pinproof.faults` finds them; whoever writes the pack hands them over, so that nothing is worked out here.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.drawings import words
from pinproof.faults import Against, FaultEffect
from pinproof.faults.words import commands_words, fault_words, gap_words, node_words
from pinproof.pack import blocks
from pinproof.pack.blocks import Block
from pinproof.pack.markup import Html, el
from pinproof.pack.sections import table

HEADS = ("Fault", "Can be read, and for which ohms", "Removed by; or no such command while")
GROUPS = (
    "Command with nothing pressed",
    "Command that nothing pressed asks for",
    "Command that another pressed contact asks for",
)
KINDS = {
    "stuck-closed": "contacts stuck closed",
    "stuck-open": "contacts stuck open",
    "wrong-throw": "contacts on the wrong throw",
    "swapped": "contacts swapped",
    "unplugged": "stations unplugged",
    "open": "broken wires and resistors",
    "shorted": "resistors shorted",
    "decade-low": "resistors ten times too small",
    "decade-high": "resistors ten times too large",
    "drifted": "resistors drifted",
    "worn": "worn contacts",
    "resistive": "resistive wires",
    "chafed-to-ground": "wires chafed to ground",
    "chafed-to-supply": "wires chafed to battery plus",
    "bridged": "bridged wires",
}
Row = tuple[str, str, str]
NOT_LOOKED_AT = (
    "Each fault alone, in every situation and key state, for every truck that the file allows. Not looked at: faults "
    "inside the controller and of the supply itself. Two at once: pinproof faults with --pairs."
)


def book_blocks(known: Against) -> list[Block]:
    """The faults of one line for the book."""
    found = known.found
    body = [blocks.heading(f"Faults of {found.line}", 2)]
    if found.reason:
        return [*body, blocks.para(f"Not looked at, because {found.reason}.")]
    body.append(blocks.para(_summary(known)))
    for caption, rows in tables(known):
        cells = [(blocks.name_cell(name), told, cure) for name, told, cure in rows]
        body.append(blocks.table(caption, tuple(zip(HEADS, (3.4, 4.4, 2.6), strict=True)), cells))
    for title, items in lists(known):
        body += [blocks.para(title, leads=True), blocks.bullets(items)]
    return [*body, blocks.para(NOT_LOOKED_AT, soft=True)]


def report_section(known: Against) -> Html:
    """The faults of one line for the page."""
    found = known.found
    head = el("h2", f"Faults of {found.line}")
    if found.reason:
        return el("section", head, el("p", f"Not looked at, because {found.reason}."))
    parts = [head, el("p", _summary(known))]
    parts += [table(caption, HEADS, rows) for caption, rows in tables(known)]
    for title, items in lists(known):
        parts += [el("p", title), el("ul", *(el("li", each) for each in items))]
    return el("section", *parts, el("p", NOT_LOOKED_AT, class_="soft"))


def _summary(known: Against) -> str:
    found = known.found
    false, lost, none = found.of("false command"), found.of("command lost"), found.of("none")
    told = (
        f"Of {len(found.faults)} single faults {len(false)} can give a command that nobody asks for, {len(lost)} more "
        f"can lose one, {len(none)} do neither."
    )
    if found.sound is not None and found.sound.effect != "none":
        told += " Some of this happens without any fault too: see the proof above."
    return told


def tables(known: Against) -> list[tuple[str, list[Row]]]:
    """Caption and rows of each group of false commands; what happens without a fault too is left out."""
    out = []
    for rank, caption in enumerate(GROUPS):
        listed = [each for each in known.found.of("false command") if each.rank == rank and each.adds]
        rows = [(fault_words(each.fault), commands_words(each), _against(known, each)) for each in listed]
        if rows:
            out.append((caption, rows))
    return out


def _against(known: Against, effect: FaultEffect) -> str:
    remedy = known.remedies[effect.fault.id]
    if remedy.by == "outside":
        return remedy.limit or "–"
    return "a cure, see below" if remedy.by == "cure" else "order of the wires, see below"


def lists(known: Against) -> list[tuple[str, list[str]]]:
    """What removes the faults, what finds the others, and what nobody notices: a title and items each."""
    out = [
        ("What removes them:", _removes(known)),
        ("Why other values do not remove the others:", _grouped(known, "why")),
        ("Checks from outside that find them:", _grouped(known, "check")),
    ]
    unnoticed = [each for each in known.found.of("command lost") if each.unnoticed and each.adds]
    if unnoticed:
        names = words.all_of([fault_words(each.fault) for each in unnoticed])
        out.append(("Commands lost without the controller noticing:", [f"{names}.", known.outside_check]))
    return [(title, items) for title, items in out if items]


def _removes(known: Against) -> list[str]:
    items = []
    for cure in known.cures:
        values = ", ".join(f"{words.parameter(path)}: {value}" for path, value in cure.changes.items())
        items.append(
            f"Cure: {cure.what}. Faults with false commands {cure.false_before} → {cure.false_after}, values chosen "
            f"again and all proven again: {values}."
        )
    if not known.cures and known.remedies:
        head = "None of the cures tried helps" if known.tried else "No change of the circuit was worth trying"
        items.append(f"{head}{': ' if known.not_tried else ''}{'; '.join(known.not_tried)}.")
    if known.order is not None:
        text = f"Bridges: order of the wires in a row of cavities {' – '.join(map(node_words, known.order.order))}"
        gaps = gap_words(known.order)
        items.append(f"{text}, an empty cavity {gaps}." if gaps else f"{text}.")
    return items


def _grouped(known: Against, part: str) -> list[str]:
    """One item for each sentence of the remedies, with the faults that it is about."""
    by_id = {each.fault.id: each.fault.kind for each in known.found.faults}
    about: dict[str, list[str]] = {}
    for name, remedy in known.remedies.items():
        text = getattr(remedy, part)
        if remedy.by == "outside" and text:
            about.setdefault(text.rstrip("."), []).append(by_id[name])
    items = []
    for text, kinds in about.items():
        named = words.all_of([KINDS[kind] for kind in KINDS if kind in kinds])
        items.append(f"{named[0].upper()}{named[1:]} ({len(kinds)}): {text[0].lower()}{text[1:]}.")
    return items


def told_blocks(faults: Sequence[Against]) -> list[Block]:
    """The faults of every line for the book."""
    return [block for each in faults for block in book_blocks(each)]
