"""The field card: one HTML file for the phone in the cab, and for one sheet of paper in the door pocket.

Answers: what should the meter show, what is weakest, what spares go along, what is looked at before the start?
Touches: the shipped typefaces; no clock, no network, no script. The same input gives the same bytes.
Beside:  `card_style` is its look; `bench`, `order` and the proof give its numbers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from pinproof.choose.stand_in import USUAL_BOX
from pinproof.design.model import Input, Pull, Resistor, Truck
from pinproof.drawings import drifts_of, words
from pinproof.drawings.axis import Axis, axis_of
from pinproof.pack import bench, sentences
from pinproof.pack.card_find import PRINTED, WHILE_WRONG, find_section, otherwise
from pinproof.pack.card_keep import keep_lines
from pinproof.pack.card_style import card_css
from pinproof.pack.markup import Html, el, join
from pinproof.pack.order import order_of
from pinproof.pack.sections import CAUTIONS, VERDICT_CLASSES, mark, verdict_words
from pinproof.pack.substitutes import SAID, TITLE, substitutes_of
from pinproof.pack.whole_page import whole_page
from pinproof.proof.results import LineProof, TruckProof
from pinproof.quantities import format_value
from pinproof.verdict import Verdict
from pinproof.wiring import LineView

PRINTED_ROWS = {"a4": (30, 12), "letter": (27, 10)}  # rows of readings and of checks that one sheet has room for
SECTION_ROWS = 7  # rows' worth of headings and instructions around the readings of one line
KEEP_ROWS = 4  # rows that what to unplug takes for each further line
LINE_ROWS = 5  # rows' worth that each further line takes on the back
LINE_CHECKS = 3  # checks that it costs there
PRINTED_WAYS = {"a4": 6, "letter": 4}  # ways through the decision tree on paper
PRINTED_ITEMS = 7  # of pins, and of spares
PRINT_SIZES = ((7, 10.1), (11, 9.6), (math.inf, 8.6))  # up to so many rows the sheet is set in so many points
MOST_WEAK, PRINTED_WEAK = 5, 3
_LOOK = (
    "Plugs home, locks closed, no wire rubbed bare, steering wheel latched.",
    "Tug each plug, and the tails at lever and wheel.",
    "Chocks at the wheels, brake on. Key to run; the engine stays off.",
)
_END = ("Press nothing. Turn the steering lock to lock and shake the harness: the controller must show no command.",)
_CARE_SHORT = "Before any hand goes in: chocks, brake, lever in park, battery negative off for ohms, nobody underneath."
_DIFFERS = "If one of these differs, do not start with it: measure the ohms at the plug first."
_NO_LINKS = "Nothing was proven, so no link is known to be the weakest: treat every one as weak."
_KEPT = (
    "Key off before a plug comes off. It helps where the fault sits in what you unplug: try each command at a stand "
    "before you drive. Worked out for every truck this design allows, dry or wet, worn or new."
)
_LOST = f"One place at a time, same tolerance, next larger body, these {USUAL_BOX} values hold too."
_BOOK = "The rest is in book.pdf."


def card_html(
    truck: Truck,
    proof: TruckProof,
    views: Mapping[str, LineView],
    *,
    paper: str = "a4",
    made_on: str | None = None,
) -> str:
    """The whole card.

    Parameters
    ----------
    truck : Truck
    proof : TruckProof
    views : mapping of line id to LineView
        Every line as the proof saw it.
    paper : str
        "a4" or "letter": the sheet it is printed on.
    made_on : str or None
        Date to print, in the caller's words.

    Returns
    -------
    str
        HTML in UTF-8 text. What one sheet has no room for is left out in print only, and counted.
    """
    name = proof.name or proof.id
    rows, checks = PRINTED_ROWS[paper]
    checks = max(checks - LINE_CHECKS * (len(views) - 1), 0)
    asked = sum(len(bench.required(bench.bench_rows(view))) for view in views.values())
    asked += LINE_ROWS * (len(views) - 1)
    print_pt = next(size for most, size in PRINT_SIZES if asked <= most)
    when = f", {made_on}" if made_on else ""
    front = [
        _answer(proof),
        _keep(truck, views),
        _care_short(),
        *_readings(truck, proof, views, rows - KEEP_ROWS * (len(views) - 1)),
        _pins(truck, views),
    ]
    ways = PRINTED_WAYS[paper]
    back = [*_find(truck, views, ways), _check(proof, checks), _weak(proof), _spares(truck, proof), _cautions()]
    known = f"Field card. Design {proof.id}, {proof.text_hash[:12]}{when}"
    foot = f"Made by Pinproof from design {proof.id}{when}. Design aid, not approval."
    body = [
        el("header", el("h1", name), el("p", known, class_="soft")),
        _jumps(),
        el("main", el("div", *front, class_="front"), el("div", *(each for each in back if each), class_="back")),
        el("footer", el("p", foot, class_="soft")),
    ]  # fmt: skip
    content = Html("\n".join(body))
    title = f"Field card of {name}"
    return whole_page(title, content, card_css(paper, print_pt))


def _jumps() -> Html:
    places = {"keep": "Keep on", "find": "Find", "readings": "Ohms", "check": "Check", "spares": "Spares"}
    links = [el("a", text, href=f"#{ident}") for ident, text in places.items()]
    return el("nav", *links, aria_label="Parts of the card")


def _answer(proof: TruckProof) -> Html:
    told = "" if proof.verdict is Verdict.PASS else "This card is no permission to race on it."
    shown = join(mark(proof.verdict), f"{sentences.headline(proof.verdict, proof.rests_on)}.")
    return el("p", el("span", shown, class_=VERDICT_CLASSES[proof.verdict]), f" {told}", class_="answer")


def _keep(truck: Truck, views: Mapping[str, LineView]) -> Html:
    """What to unplug, and what one then has."""
    parts: list[Html] = []
    for view in views.values():
        if len(views) > 1:
            parts.append(el("h3", view.line.name or view.line.id))
        parts.append(el("ul", *keep_lines(truck, view)))
    proven = el("p", _KEPT, class_="soft")
    return el("section", el("h2", "To keep racing", id="keep"), *parts, proven, class_="keep")


def _care_short() -> Html:
    return el("p", el("b", _CARE_SHORT), " ", el("a", "All cautions", href="#care"), class_="short")


def _find(truck: Truck, views: Mapping[str, LineView], room: int) -> list[Html]:
    """The decision tree of each line."""
    found = []
    share = max(room // max(len(views), 1) - (len(views) > 1), 1)
    for number, view in enumerate(views.values()):
        shown, legend, rows = find_section(truck, view, number, share)
        anchor = {"id": "find"} if number == 0 else {}
        head = "Find the fault" if len(views) == 1 else f"Find the fault: {view.line.name or view.line.id}"
        paper = [
            el("p", PRINTED, " ", legend, class_="printed soft"),
            el("ul", *rows, class_="printed ways"),
        ] if rows and share * len(views) <= room else []  # fmt: skip
        screen = el("div", el("p", WHILE_WRONG, class_="setup"), shown, el("p", otherwise(view)), class_="tree more")
        hidden = {} if paper else {"class_": "more"}
        found.append(el("section", el("h2", head, **anchor), screen, *paper, **hidden))
    return found


def _pins(truck: Truck, views: Mapping[str, LineView]) -> Html:
    items = []
    for view in views.values():
        owner = view.input
        where = bench.pin_words(view)
        at = f" on {owner.controller}" if owner.controller else ""
        items.append(el("li", el("b", view.line.id), f": {where}{at}. {_source_words(view)} {_pull_words(owner)}"))
    named = {(view.input.plug, view.input.cavity) for view in views.values()}
    returns = {view.line.returns_to: f"return of {view.line.name or view.line.id}" for view in views.values()}
    cavities = [
        el("li", el("b", f"{plug.id} {cavity.id}"),
           f": {cavity.signal or returns.get(f'{plug.id}.{cavity.id}') or 'not stated'}")
        for plug in truck.plugs
        for cavity in plug.cavities
        if cavity.signal or (plug.id, cavity.id) not in named
    ]  # fmt: skip
    return el("section", el("h2", "Pin-out"), *_cut([*items, *cavities]))


def _cut(items: Sequence[Html]) -> list[Html]:
    """A list of which only the first items are printed; the others are counted there."""
    if len(items) <= PRINTED_ITEMS:
        return [el("ul", *items)]
    left = f"{len(items) - PRINTED_ITEMS} more on the phone's card."
    return [
        el("ul", *items[:PRINTED_ITEMS]),
        el("ul", *items[PRINTED_ITEMS:], class_="more"),
        el("p", left, class_="printed"),
    ]


def _source_words(view: LineView) -> str:
    line = view.line
    side = f"fed from the {line.feed_from}" if line.source_side == "feed" else "switched to its return"
    return f"The line is {side}."


def _pull_words(owner: Input) -> str:
    told = [
        f"{name} {_pull(pull)}"
        for name, pull in (("pull-up", owner.pull_up), ("pull-down", owner.pull_down))
        if pull is not None
    ]
    used = owner.reference is not None and (
        owner.compares == "reference" or (owner.pull_up is not None and owner.pull_up_to == "reference")
    )
    reference = f", reference {format_value(owner.reference.value, 'voltage')}" if used and owner.reference else ""
    return f"Inside the controller: {words.all_of(told) or 'no pull'}{reference}."


def _pull(pull: Pull) -> str:
    if not isinstance(pull, Resistor) or pull.ohm is None:
        return "not known"
    return format_value(pull.ohm, "resistance")


def _readings(truck: Truck, proof: TruckProof, views: Mapping[str, LineView], room: int) -> list[Html]:
    parts: list[Html] = []
    unprinted: list[str] = []
    for number, line in enumerate(proof.lines):
        view = views[line.line]
        room -= SECTION_ROWS
        if room <= 0:
            unprinted.append(line.line)
        rows = bench.required(bench.bench_rows(view))
        spaces = {row.space for row in line.situations}
        axis = axis_of(truck, truck.line(line.line), sorted(spaces)[0] if spaces else None, "as given")
        body = []
        for index, row in enumerate(rows):
            cells = (_ohm_cell(row), _pin_cell(line, row.operated, axis), _verdict_cell(line, row.operated))
            tds = [el("td", cell, data_label=head, role="cell") for head, cell in zip(_heads(axis), cells, strict=True)]
            name = join(el("b", words.operated(row.operated)), " → ", el("span", row.wanted, class_="means"))
            hidden = {"class_": "more"} if index >= room else {}
            body.append(el("tr", el("th", name, scope="row", role="rowheader"), *tds, role="row", **hidden))
        left = max(len(rows) - max(room, 0), 0)
        room -= len(rows)
        heads_row = el(
            "tr", *(el("th", each, scope="col", role="columnheader") for each in ("Operated → means", *_heads(axis))),
            role="row",
        )  # fmt: skip
        anchor = {"id": "readings"} if number == 0 else {}
        told = (
            el(
                "table", el("caption", f"{line.line}: expected figures, as designed (in range, dry)"),
                el("thead", heads_row, role="rowgroup"), el("tbody", *body, role="rowgroup"), role="table",
            )
            if body
            else el("p", bench.NOTHING)
        )  # fmt: skip
        more = [el("p", f"{_more(left)} of {line.line}: book.pdf.", class_="printed")] if left else []
        probes = el("ol", *(el("li", each) for each in bench.probe_words(view)))
        how = el("h3", "How to measure the ohms")
        hidden = {"class_": "more"} if line.line in unprinted else {}
        parts.append(el("section", el("h2", f"Readings of {line.line}", **anchor), told, *more, how, probes, **hidden))
    if unprinted:
        parts.append(el("p", f"Readings of {words.all_of(unprinted)}: book.pdf.", class_="printed"))
    return parts


def _more(left: int) -> str:
    return "1 more situation" if left == 1 else f"{left} more situations"


def _heads(axis: Axis) -> tuple[str, str, str]:
    return ("Ohms at the plug", f"At the pin, {axis.words}", "Proof")


def _ohm_cell(row: bench.BenchRow) -> Html:
    span = words.span(bench.ohms(row.low_ohm), bench.ohms(row.high_ohm))
    return join(el("strong", bench.ohms(row.nominal_ohm)), " ", el("span", f"({span})", class_="soft"))


def _pin_cell(line: LineProof, operated: tuple[str, ...], axis: Axis) -> Html | str:
    for row in line.situations:
        if (row.key_state, row.space, row.operated) == ("run", axis.space.name, operated):
            nominal = "no settled reading" if math.isnan(row.nominal) else axis.text(row.nominal, 3)
            volts = ""
            if axis.space.divisor is not None and not math.isnan(row.nominal):
                supply = axis.space.divisor_nominal_v
                at, of = (format_value(each, "voltage", digits=3) for each in (row.nominal * supply, supply))
                volts = f" = {at} of {of}"
            worst = el("span", f"({axis.span(row.low, row.high)})", class_="soft")
            return join(el("strong", nominal), volts, " ", worst)
    return "not proven"


def _verdict_cell(line: LineProof, operated: tuple[str, ...]) -> Html | str:
    mine = [row for row in line.situations if row.key_state == "run" and row.operated == operated]
    if not mine:
        return "not proven"
    worst = min(mine, key=lambda row: (row.verdict.rank, row.margin))
    return join(verdict_words(worst.verdict), ", ", words.margin(worst))


def _check(proof: TruckProof, room: int) -> Html:
    items = [(text, True) for text in _LOOK]
    asked = [
        f"{f'{line.line}, ' if len(proof.lines) > 1 else ''}{words.operated(row.operated)}: the controller shows "
        f"{row.meaning}"
        for line in proof.lines
        for row in line.situations
        if row.key_state == "run" and row.meaning and row.space == line.situations[0].space
    ]
    items += [(text, index < room) for index, text in enumerate(asked)]
    items += [(text, True) for text in _END]
    box = Html('<input type="checkbox">')
    listed = [
        el("li", el("label", box, el("span", text)), **({} if shown else {"class_": "more"})) for text, shown in items
    ]
    left = max(len(asked) - room, 0)
    more = [el("p", f"{_more(left)} to try: book.pdf.", class_="printed")] if left else []
    title = el("h2", "Five-minute check before the start", id="check")
    return el("section", title, el("ol", *listed, class_="check"), *more, el("p", el("b", _DIFFERS)))


def _weak(proof: TruckProof) -> Html:
    told = sorted(
        ((drift, line) for line in proof.lines for drift in drifts_of(line)), key=lambda pair: pair[0].budget.strain
    )[:MOST_WEAK]
    if told:
        said = [sentences.drift_sentence(drift.budget, drift.row) for drift, _ in told]
        hidden = [{"class_": "more"} if number >= PRINTED_WEAK else {} for number in range(len(said))]
        shown = el("ol", *(el("li", each, **how) for each, how in zip(said, hidden, strict=True)))
    else:
        links = dict.fromkeys(row.weakest for line in proof.lines for row in line.situations if row.weakest)
        items = [el("li", words.parameter(each)) for each in list(links)[:MOST_WEAK]]
        shown = el("ul", *items) if items else el("p", _NO_LINKS)
    return el("section", el("h2", "Weakest links"), shown)


def _spares(truck: Truck, proof: TruckProof) -> Html:
    items = [
        el(
            "li",
            el("b", f"{each.spares} × {each.what}"),
            f"{each.code and ', '}{each.code}. For {', '.join(each.goes_to)}",
        )
        for each in order_of(truck, proof)
    ]
    listed = _cut(items) if items else [el("p", _BOOK)]
    return el("section", el("h2", "Spares to carry", id="spares"), *listed, *_lost(truck, proof))


def _lost(truck: Truck, proof: TruckProof) -> list[Html]:
    """What may stand in for a lost resistor: a list on the phone, one paragraph on paper."""
    found = substitutes_of(truck, proof)
    if not found:
        return []
    items = [
        el("li", el("b", each.range), f" for {each.value} {each.tolerance} at {', '.join(each.places)}")
        for each in found
    ]
    short = "; ".join(f"{each.value}: {each.range}" for each in found)
    return [
        el("h3", TITLE),
        el("p", SAID, class_="more"),
        el("ul", *items, class_="more"),
        el("p", f"{_LOST} {short}.", class_="printed"),
    ]


def _cautions() -> Html:
    return el("section", el("h2", "Care", id="care"), el("ul", *(el("li", each) for each in CAUTIONS)), class_="care")
