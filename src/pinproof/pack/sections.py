"""The parts of the report page: answer, one section for each line, parts, what it rests on, cautions.

Answers: what stands where on the page.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.design.model import Truck
from pinproof.drawings import Drawing, words
from pinproof.drawings.axis import Axis, axis_of
from pinproof.drawings.fold import fold
from pinproof.pack import sentences
from pinproof.pack.cures import CAPTION, HEADS, CureTold
from pinproof.pack.figures import groups_of, line_figures
from pinproof.pack.markup import Html, el, join, marked
from pinproof.pack.parts import parts_of
from pinproof.proof.results import Finding, LineProof, RestsOn, SituationProof, TruckProof
from pinproof.verdict import Verdict
from pinproof.wiring import line_view

MOST_DRIFTS = 3  # told in words; the picture shows more of them
MOST_TABLE_ROWS = 100
CHARTS_HIGH_MM = (125.0, 105.0)  # so that the first chart stands on the first printed page, below the answer
_WHOLE = ("Reads", "Value", "Tolerance", "Letter code", "Verdict")  # columns whose cells stay on one line
VERDICT_CLASSES = {
    Verdict.PASS: "v-pass",
    Verdict.WOULD_HOLD: "v-hold",
    Verdict.NOT_SHOWN: "v-open",
    Verdict.FAIL: "v-fail",
}
_DISC = "M1 8a7 7 0 1 1 14 0a7 7 0 1 1-14 0z"
_RING = "M2 8a6 6 0 1 1 12 0a6 6 0 1 1-12 0z"
_SHAPES = {
    Verdict.PASS: f'<path d="{_DISC}" fill="currentColor"/>',
    Verdict.WOULD_HOLD: f'<path d="{_RING}" fill="none" stroke="currentColor" stroke-width="2"/>'
    '<path d="M8 2a6 6 0 0 0 0 12z" fill="currentColor"/>',
    Verdict.NOT_SHOWN: f'<path d="{_RING}" fill="none" stroke="currentColor" stroke-width="2"/>',
    Verdict.FAIL: '<path d="M2.5 2.5L13.5 13.5M2.5 13.5L13.5 2.5" fill="none" stroke="currentColor" '
    'stroke-width="3.4"/>',
}
FINDING_GROUPS: tuple[tuple[Verdict | None, str], ...] = (
    (Verdict.FAIL, "Does not hold"),
    (Verdict.NOT_SHOWN, "Not shown"),
    (None, "Cautions and notes"),
    (Verdict.WOULD_HOLD, "Would hold if the assumptions do"),
    (Verdict.PASS, "In order"),
)
CAUTIONS = (
    "Take the battery's negative off first, and put it on last.",
    "Whenever power is needed for a reading, fuse the test lead at 1 A or less.",
    "Chocks at the wheels, brake on, driven wheels off the ground on stands before anything that can select a gear.",
    "Leave every start inhibit as the maker built it, and test it again after any work on these wires.",
    "This page is a design aid, not an approval. The event's rule book, local law and licensed practice come first.",
)


def mark(verdict: Verdict) -> Html:
    """The shape of a verdict; the word always stands beside it."""
    return Html(f'<svg class="mark" viewBox="0 0 16 16" aria-hidden="true" focusable="false">{_SHAPES[verdict]}</svg>')


def verdict_words(verdict: Verdict) -> Html:
    """Shape and word of a verdict."""
    return el("span", mark(verdict), words.VERDICTS[verdict], class_=f"verdict {VERDICT_CLASSES[verdict]}")


def answer(truck: Truck, proof: TruckProof) -> Html:
    """The verdict in words, what decides it, and what to measure first."""
    paragraphs = [
        el("p", mark(proof.verdict), sentences.headline(proof.verdict, proof.rests_on) + ".", class_="word"),
        el("p", sentences.what_decides(proof)),
    ]
    if proof.verdict is not Verdict.PASS:
        paragraphs += [
            el("p", told) for line in proof.lines if line.verdict is proof.verdict for told in decides(truck, line)
        ]
    first = sentences.measure_first(proof.rests_on, proof.verdict)
    if first:
        paragraphs.append(el("p", first))
    items = [
        el("li", el("a", line.line, href=f"#line-{number}"), ": ", verdict_words(line.verdict))
        for number, line in enumerate(proof.lines, start=1)
    ]
    if len(items) > 1:
        paragraphs.append(el("ul", *items))
    return el("section", el("h2", "Verdict"), *paragraphs, class_=f"answer {VERDICT_CLASSES[proof.verdict]}")


def decides(truck: Truck, line: LineProof) -> list[str]:
    """What brings a line down: why it cannot be proven, its worst situation, or a check beside the windows."""
    if line.reason:
        return [words.sentence(line.reason)]
    worst = line.worst
    if worst is not None and worst.verdict is line.verdict:
        axis = axis_of(truck, truck.line(line.line), worst.space, "as given")
        return [sentences.worst_sentence(worst, axis, line.windows.get(worst.space, ()))]
    return [words.sentence(each.text) for each in line.findings if each.verdict is line.verdict][:3]


def line_section(truck: Truck, line: LineProof, number: int, cures: Sequence[CureTold]) -> Html:
    """Everything about one line."""
    parts: list[Html] = [
        el("h2", f"Line {line.line} on {line.input}", id=f"line-{number}"),
        el("p", verdict_words(line.verdict), Html(". "), sentences.headline(line.verdict) + "."),
    ]
    if line.reason:
        parts.append(el("p", words.sentence(line.reason)))
    worst = line.worst
    if worst is not None:
        axis = axis_of(truck, truck.line(line.line), worst.space, "as given")
        parts.append(el("h3", "The situation that decides"))
        told = sentences.worst_sentence(worst, axis, line.windows.get(worst.space, ()))
        where = f" ({words.key_state(worst.key_state)}, read as {axis.words})"
        parts.append(el("p", el("strong", told), el("span", where, class_="soft")))
        if worst.weakest:
            parts.append(el("p", f"Weakest link: {words.parameter(worst.weakest)}."))
    figures = _figures(truck, line, number)
    if "readings" in figures:
        parts += [el("h3", "What each situation reads"), *_drawn(figures["readings"])]
    parts += _tables(truck, line)
    parts += _drifts(line, figures.get("drift", ()))
    parts += _findings(line.findings)
    parts += _drawn(figures.get("transit", ()))
    parts += [el("h3", "Circuit"), *_drawn(figures["circuit"])]
    parts += _cures(cures)
    return el("section", *parts)


def _drawn(pairs: Sequence[tuple[Drawing, Drawing]]) -> list[Html]:
    """Figures, each in the layout of a page and in that of a phone; a style sheet shows one of them."""
    return [
        el("figure", el("div", Html(wide.svg), class_="wide"), el("div", Html(narrow.svg), class_="narrow"))
        for wide, narrow in pairs
    ]


def _figures(truck: Truck, line: LineProof, number: int) -> dict[str, list[tuple[Drawing, Drawing]]]:
    """Every drawing of a line by its kind, in both layouts."""
    view = line_view(truck, line.line)
    wide = line_figures(view, line, number, high_mm=CHARTS_HIGH_MM)
    narrow = line_figures(view, line, number, layout="narrow")
    found: dict[str, list[tuple[Drawing, Drawing]]] = {}
    for one, other in zip(wide, narrow, strict=True):
        found.setdefault(one.kind, []).append((one.drawing, other.drawing))
    return found


def _tables(truck: Truck, line: LineProof) -> list[Html]:
    parts: list[Html] = []
    for key_state, space in groups_of(line):
        rows = [row for row in line.situations if (row.key_state, row.space) == (key_state, space)]
        if not rows:
            continue
        axis = axis_of(truck, truck.line(line.line), space, "as given")
        folded = fold(rows, MOST_TABLE_ROWS)
        caption = f"Every situation of {line.line}, {words.key_state(key_state)} ({axis.words})"
        heads = ("Operated", "May read", "Reads", "Margin", "Weakest link", "Verdict")
        parts.append(table(caption, heads, [_situation_cells(row, axis) for row in folded.rows]))
        parts += [el("p", note) for note in folded.notes]
    return [el("h3", "All situations"), *parts] if parts else []


def _situation_cells(row: SituationProof, axis: Axis) -> tuple[str, ...]:
    reads = axis.span(row.low, row.high)
    if not row.exact and reads != words.UNSETTLED:
        reads += " at most"
    return (
        words.operated(row.operated),
        words.either(words.allowed(row)),
        reads,
        words.margin(row).removeprefix("margin "),
        words.parameter(row.weakest) if row.weakest else "–",
        verdict_words(row.verdict),
    )


def table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Html:
    """A table whose first column names the row; on a phone each row becomes a block."""
    head = el("tr", *(el("th", name, scope="col", role="columnheader") for name in heads), role="row")
    body = []
    for cells in rows:
        rest = [_cell(name, cell or "–") for name, cell in zip(heads[1:], cells[1:], strict=True)]
        body.append(el("tr", el("th", cells[0], scope="row", role="rowheader"), *rest, role="row"))
    return el(
        "table", el("caption", caption), el("thead", head, role="rowgroup"), el("tbody", *body, role="rowgroup"),
        role="table",
    )  # fmt: skip


def _cell(name: str, cell: str) -> Html:
    one_line = {"class_": "whole"} if name in _WHOLE else {}
    return el("td", cell, data_label=name, role="cell", **one_line)


def _drifts(line: LineProof, pictures: Sequence[tuple[Drawing, Drawing]]) -> list[Html]:
    told, _ = sentences.drift_sentences(line, MOST_DRIFTS)
    if not told:
        return []
    listed = el("ul", *(el("li", each) for each in told))
    return [el("h3", "How far parts may drift"), *_drawn(pictures), listed]


def _findings(findings: Sequence[Finding]) -> list[Html]:
    parts: list[Html] = []
    for verdict, name in FINDING_GROUPS:
        mine = [finding for finding in findings if finding.verdict is verdict]
        items = [_finding(one, after) for one, after in zip(mine, [*mine[1:], None], strict=False)]
        if items:
            shown = join(mark(verdict), name) if verdict is not None else join(name)
            parts.append(el("p", el("strong", shown)))
            parts.append(el("ul", *items))
    return [el("h3", "Other checks"), *parts] if parts else []


def _finding(finding: Finding, after: Finding | None) -> Html:
    """One finding. A cure that the next one of the same check repeats is told there only."""
    subject = words.parameter(finding.subject)
    about = f" ({subject})" if subject and subject.lower() not in finding.text.lower() else ""
    parts: list[str] = [el("b", finding.check.replace("-", " ")), f"{about}: ", marked(words.sentence(finding.text))]
    repeated = after is not None and (after.check, after.cure) == (finding.check, finding.cure)
    if finding.cure and not repeated:
        parts += [" Cure: ", marked(words.sentence(finding.cure))]
    return el("li", *parts)


def _cures(told: Sequence[CureTold]) -> list[Html]:
    if not told:
        return []
    rows = [(each.what, "; ".join(each.changes), each.margin, verdict_words(each.verdict)) for each in told]
    return [el("h3", CAPTION), table("Cures", HEADS, rows)]


def parts_section(truck: Truck) -> Html:
    """Resistors to solder."""
    parts = parts_of(truck)
    if not parts:
        return Html("")
    heads = ("For", "Value", "Tolerance", "Colour bands", "Letter code", "Basis")
    rows = [
        (part.where, _noted(part.value, part.note), part.tolerance, part.colours, part.code, part.basis)
        for part in parts
    ]
    note = "Measure each one before it is soldered: bands fade, and a wrong decade looks like the right part."
    return el("section", el("h2", "Parts"), el("p", note), table("Resistors of the switches", heads, rows))


def _noted(value: str, note: str) -> str:
    return f"{value} ({note})" if note else value


def rests_section(rests_on: Sequence[RestsOn]) -> Html:
    """What the verdict rests on, the number to measure first at the head."""
    if not rests_on:
        return el(
            "section", el("h2", "What it rests on"), el("p", "No assumed or borrowed number decides anything here.")
        )
    heads = ("Number", "As the file states it", "Basis", "Why it matters")
    rows = [(*row[:3], marked(row[3])) for row in sentences.rests_rows(rests_on)]
    told = "The first is the one whose error would overturn the verdict soonest."
    return el("section", el("h2", "What it rests on"), el("p", told), table("Numbers of weak basis", heads, rows))


def cautions_section() -> Html:
    """The usual cautions of the trade (common practice, no source)."""
    listed = el("ul", *(el("li", each) for each in CAUTIONS))
    return el("section", el("h2", "Before you touch the truck"), listed, class_="care")
