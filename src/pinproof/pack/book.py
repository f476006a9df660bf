"""The build book: one PDF with everything a builder needs at the bench, verdict first.

Answers: does it hold and what does that rest on, what is joined to what, what to solder, to order and to measure?
Units:   millimetres for paper.
Touches: what `typeset` touches; no clock, no network. The same design and date
         give the same bytes.
Beside:  `blocks` makes the data that `book.typ` sets; `report` is the same proof as a page.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date

from pinproof.chain.harness_link import harness_part
from pinproof.choose.stand_in import USUAL_BOX
from pinproof.design.model import Truck
from pinproof.drawings import Drawing, swatch, words
from pinproof.drawings.axis import axis_of
from pinproof.drawings.fold import fold
from pinproof.faults import Against
from pinproof.harness import units_of
from pinproof.inhibit import InhibitReport
from pinproof.pack import bench, blocks, harness_book, inhibit_page, sentences
from pinproof.pack.blocks import Block
from pinproof.pack.cures import CAPTION, HEADS, Cures, CureTold, cures_on
from pinproof.pack.faults_page import told_blocks
from pinproof.pack.figures import Figure, groups_of, line_figures
from pinproof.pack.gears_page import cover_words, gears_blocks
from pinproof.pack.order import bodies_of, order_of
from pinproof.pack.pages import blocks_pdf
from pinproof.pack.parts import Part, parts_of
from pinproof.pack.sections import CAUTIONS, MOST_TABLE_ROWS, decides
from pinproof.pack.sources_used import sources_of
from pinproof.pack.substitutes import SAID, TITLE, substitutes_of
from pinproof.proof.checks.heat import NOT_WORKED_OUT, body_sentence, body_words
from pinproof.proof.results import Finding, LineProof, TruckProof
from pinproof.quantities.customary import beside
from pinproof.verdict import Verdict
from pinproof.wiring import LineView

CHARTS_HIGH_MM = (190.0, 105.0)  # the first reading chart of a line, and the others
MOST_BENCH_ROWS = 60
BANDS_MM = 72.0  # of the column that shows the bands
FINDING_GROUPS: tuple[tuple[Verdict | None, str], ...] = (
    (Verdict.FAIL, "Does not hold"),
    (Verdict.NOT_SHOWN, "Not shown"),
    (None, "Cautions and notes"),
    (Verdict.WOULD_HOLD, "Would hold if the assumptions do"),
    (Verdict.PASS, "In order"),
)


BESIDE_THE_LINES = "This verdict is of the coded lines alone. What else does not hold:"


def book_pdf(
    truck: Truck,
    proof: TruckProof,
    views: Mapping[str, LineView],
    *,
    paper: str = "a4",
    made_on: date | None = None,
    cures: Cures = (),
    faults: Sequence[Against] = (),
    inhibit: InhibitReport | None = None,
) -> bytes:
    """The whole book.

    Parameters
    ----------
    truck : Truck
    proof : TruckProof
    views : mapping of line id to LineView
        Every line as the proof saw it.
    paper : str
        "a4" or "letter".
    made_on : date or None
        Printed, and written into the file; None leaves it out.
    cures : Cures, optional
        What was tried for lines that do not hold; see `pinproof.pack.cures`.
    faults : sequence of Against, optional
        The faults of each line and what is known against them; see `pinproof.pack.faults_page`.
    inhibit : InhibitReport, optional
        The start inhibit; see `pinproof.pack.inhibit_page`.

    Returns
    -------
    bytes
        A PDF, ready to be written to a file.

    Raises
    ------
    CannotPrint
        If the typesetter says anything, a warning included.
    ValueError
        For an unknown paper.
    """
    drawings: dict[str, Drawing] = {}
    body = _body(truck, proof, views, drawings, made_on, cures, faults, inhibit)
    when = f" · {made_on.isoformat()}" if made_on else ""
    foot = f"{proof.name or proof.id} · design {proof.id} · file {_short(proof)}{when}"
    return blocks_pdf(
        body, f"Build book of {proof.name or proof.id}", foot, paper=paper, made_on=made_on, drawings=drawings
    )


def _short(proof: TruckProof) -> str:
    return proof.text_hash[:12] or "unknown"


def _body(
    truck: Truck,
    proof: TruckProof,
    views: Mapping[str, LineView],
    drawings: dict[str, Drawing],
    made_on: date | None,
    cures: Cures,
    faults: Sequence[Against],
    inhibit: InhibitReport | None = None,
) -> list[Block]:
    body = _front(truck, proof, made_on, not_of_the_lines(truck, inhibit))
    passing: dict[str, list[Figure]] = {}
    for number, line in enumerate(proof.lines, start=1):
        figures = line_figures(views[line.line], line, number, high_mm=CHARTS_HIGH_MM)
        passing[line.line] = [each for each in figures if each.kind == "transit"]
        body += _line(truck, line, number, figures, drawings, cures_on(cures, proof, line.line))
    body += _parts(truck, proof, drawings)
    body += _order(truck, proof)
    body += harness_book.chapter(truck, drawings)
    for line in proof.lines:
        body += _bench(views[line.line])
    for number, line in enumerate(proof.lines, start=1):
        body += _findings(line, number, passing[line.line], drawings, beside if units_of(truck) == "us" else str)
    body += told_blocks(faults)
    body += inhibit_page.book_blocks(inhibit)
    body += gears_blocks(truck, drawings)
    if proof.warnings:
        body += [blocks.heading("Odd, but usable", 2), blocks.bullets(proof.warnings)]
    body += _sources(truck, proof)
    body += [
        blocks.para(
            f"Design {proof.id}. SHA-256 of the file: {proof.text_hash or 'not known'}."
            + (f" Made on {made_on.isoformat()}." if made_on else ""),
            soft=True,
        )
    ]
    return body


def not_of_the_lines(truck: Truck, inhibit: InhibitReport | None) -> list[str]:
    """What of this truck does not hold or is not shown beside its coded lines: start inhibit, driveline, harness."""
    verdict, text, _ = harness_part(truck)
    wires = "" if verdict is Verdict.PASS else f"{text} See its chapter."
    return [each for each in (inhibit_page.cover_words(inhibit), cover_words(truck), wires) if each]


def _front(truck: Truck, proof: TruckProof, made_on: date | None, beside_it: Sequence[str] = ()) -> list[Block]:
    """`beside_it`: what else of this truck does not hold, though the verdict is of its coded lines alone."""
    when = f", {made_on.isoformat()}" if made_on else ""
    told = [sentences.what_decides(proof)]
    if proof.verdict is not Verdict.PASS:
        told += [each for line in proof.lines if line.verdict is proof.verdict for each in decides(truck, line)]
    first = sentences.measure_first(proof.rests_on, proof.verdict)
    headline = sentences.headline(proof.verdict, proof.rests_on)
    body = [
        blocks.heading(f"Build book of {proof.name or proof.id}", 1),
        blocks.para(f"Design {proof.id}, file fingerprint {_short(proof)}{when}", soft=True),
        blocks.verdict_box(proof.verdict, headline, [*told, *([first] if first else [])]),
        *([blocks.care_box(BESIDE_THE_LINES, beside_it)] if beside_it else []),
        blocks.care_box("Before you touch the truck", CAUTIONS),
    ]
    if proof.rests_on:
        body.append(
            blocks.table(
                "What it rests on: assumed and borrowed numbers, the one to measure first at the head",
                (("Number", 3.0), ("As the file states it", 2.2), ("Basis", 0.0), ("Why it matters", 3.4)),
                sentences.rests_rows(proof.rests_on),
            )
        )
    return body


def _line(
    truck: Truck,
    line: LineProof,
    number: int,
    figures: Sequence[Figure],
    drawings: dict[str, Drawing],
    cures: Sequence[CureTold],
) -> list[Block]:
    body = [
        blocks.heading(f"Line {line.line} on {line.input}", 2),
        blocks.para(f"{sentences.headline(line.verdict)}. {' '.join(decides(truck, line))}"),
    ]
    body += _cures(cures)
    body += _drawn_of("circuit", figures, number, drawings)
    for index, (key_state, space) in enumerate(groups_of(line)):
        body += _drawn_of(f"readings-{key_state}-{space}", figures, number, drawings)
        if index == 0:  # the tables that come after it fill the page where a drawing must wait for the next
            body += _drawn_of("drift", figures, number, drawings)
        rows = [row for row in line.situations if (row.key_state, row.space) == (key_state, space)]
        if not rows:
            continue
        axis = axis_of(truck, truck.line(line.line), space, "as given")
        folded = fold(rows, MOST_TABLE_ROWS)
        cells = [
            (
                blocks.name_cell(words.operated(row.operated)),
                words.either(words.allowed(row)),
                axis.span(row.low, row.high) + ("" if row.exact else " at most"),
                words.margin(row).removeprefix("margin "),
                words.parameter(row.weakest) if row.weakest else "–",
                blocks.marked_cell(row.verdict, words.VERDICTS[row.verdict]),
            )
            for row in folded.rows
        ]
        columns = (
            ("Operated", 3.0), ("May read", 2.4), ("Reads", 1.8), ("Margin", 1.3), ("Weakest link", 2.8),
            ("Verdict", 0.0),
        )  # fmt: skip
        caption = f"Every situation of {line.line}, {words.key_state(key_state)} ({axis.words})"
        body.append(blocks.table(caption, columns, cells))
        body += [blocks.para(note) for note in folded.notes]
    return body


def _cures(cures: Sequence[CureTold]) -> list[Block]:
    if not cures:
        return []
    rows = [
        (blocks.name_cell(each.what), "; ".join(each.changes), each.margin,
         blocks.marked_cell(each.verdict, words.VERDICTS[each.verdict]))
        for each in cures
    ]  # fmt: skip
    return [blocks.table(CAPTION, tuple(zip(HEADS, (3.2, 6.0, 0.0, 0.0), strict=True)), rows)]


def _drawn_of(name: str, figures: Sequence[Figure], number: int, drawings: dict[str, Drawing]) -> list[Block]:
    """The figure of this name, if the line has it."""
    return [_drawn(each.drawing, f"{number}-{each.name}", drawings) for each in figures if each.name == name]


def _drawn(drawing: Drawing, name: str, drawings: dict[str, Drawing]) -> Block:
    drawings[name] = drawing
    return blocks.figure(f"{name}.svg", drawing.width_mm, f"{drawing.title}. {drawing.description}")


def _parts(truck: Truck, proof: TruckProof, drawings: dict[str, Drawing]) -> list[Block]:
    parts = parts_of(truck)
    if not parts:
        return []
    bodies = bodies_of(truck, proof)
    rows = []
    for part in parts:
        body = bodies.get(part.path, NOT_WORKED_OUT)
        rows.append(
            (
                blocks.name_cell(part.where),
                blocks.name_cell(part.value if part.ohm is None else f"{part.value} {part.tolerance}"),
                _swatch_cell(part, drawings),
                body_words(body),
                part.basis,
            )
        )
    columns = (
        ("For", 2.4), ("Value", 1.9), ("Bands, first band left; letter code", -BANDS_MM), ("Body", 1.1),
        ("Basis", 0.0),
    )  # fmt: skip
    bought = [(part.ohm, bodies[part.path]) for part in parts if part.ohm is not None and part.path in bodies]
    note = "Measure each before it is soldered: bands fade, and a wrong decade looks like the right part."
    note = f"{note} {body_sentence(bought)}".rstrip()
    return [
        blocks.heading("Parts to solder", 2),
        blocks.para(note, leads=True),
        blocks.table("Resistors of the switches", columns, rows),
        *_substitutes(truck, proof),
    ]


def _substitutes(truck: Truck, proof: TruckProof) -> list[Block]:
    rows = [
        (blocks.name_cell(f"{each.value} {each.tolerance}"), each.range, ", ".join(each.places))
        for each in substitutes_of(truck, proof)
    ]
    if not rows:
        return []
    columns = (("In place of", 1.6), (f"Holds too ({USUAL_BOX})", 2.4), ("At", 5.0))
    return [
        blocks.heading(TITLE, 3),
        blocks.para(SAID, leads=True),
        blocks.table("Values that hold instead", columns, rows),
    ]


def _swatch_cell(part: Part, drawings: dict[str, Drawing]) -> str | blocks.Cell:
    """The bands, and below them what they can be taken for and what else there is to know, each in a line."""
    if part.ohm is None:
        return "–"
    name = part_name(part)
    drawing = swatch(part.bands, part.code, f"{part.value} {part.tolerance}", ident=name)
    drawings[name] = drawing
    told = [f"TRAP {part.trap}" if part.trap else "", part.also, part.note]
    alt = f"{drawing.title}. {drawing.description}"
    return blocks.picture_cell(f"{name}.svg", drawing.width_mm, alt, [each for each in told if each])


def part_name(part: Part) -> str:
    """A file's name for the drawing of a part, equal for equal parts."""
    return f"part-{part.ohm:.9g}-{part.tolerance_ratio * 100.0:.6g}pc".replace(".", "p").replace("+", "")


def _order(truck: Truck, proof: TruckProof) -> list[Block]:
    lines = order_of(truck, proof)
    if not lines:
        return []
    columns = (
        ("What", 4.0), ("Code", 1.2), ("Needed", 0.0), ("Spares", 0.0), ("Order", 0.0), ("Why", 3.0), ("For", 3.0),
    )  # fmt: skip
    body = [blocks.heading("Order list", 2)]
    for today, caption in ((True, "Order today"), (False, "See that you have")):
        rows = [
            (
                each.what, each.code or "–", str(each.needed), str(each.spares), str(each.count), each.today or "–",
                ", ".join(each.goes_to),
            )
            for each in lines
            if bool(each.today) is today
        ]  # fmt: skip
        if rows:
            body.append(blocks.table(caption, columns, rows))
    rest = "are in the harness's parts list" if truck.harness is not None else "are not counted here"
    note = f"20 % spares, at least one of each. Wire, terminals, sleeves and plugs {rest}."
    return [*body, blocks.para(note, soft=True)]


def _bench(view: LineView) -> list[Block]:
    rows = bench.bench_rows(view)
    body = [blocks.heading(f"Bench figures of {view.line.id}: ohms at the controller's plug", 2)]
    if not rows:
        return [*body, blocks.para(bench.NOTHING)]
    required = bench.required(rows)
    combined = [row for row in rows if row not in required][: max(MOST_BENCH_ROWS - len(required), 0)]
    cells = [
        (
            blocks.name_cell(words.operated(row.operated)), row.wanted, bench.ohms(row.nominal_ohm),
            words.span(bench.ohms(row.low_ohm), bench.ohms(row.high_ohm)), "",
        )
        for row in (*required, *combined)
    ]  # fmt: skip
    columns = (
        ("Operated", 3.4), ("May read", 2.2), ("As designed", 1.6), ("In range, dry", 2.4), ("Measured", 2.0),
    )  # fmt: skip
    left = len(rows) - len(required) - len(combined)
    return [
        *body,
        blocks.steps(bench.probe_words(view)),
        blocks.table("Expected ohms", columns, cells),
        *([blocks.para(f"{left} more combinations are in situations.csv.")] if left else []),
        blocks.para(
            "New, it should show the figure as designed. The range is what dry parts within the file's limits of "
            "tolerance, heat, ageing and wear may show; a wet plug reads lower. The meter's own error comes on top.",
            soft=True,
        ),
    ]


def _findings(
    line: LineProof, number: int, passing: Sequence[Figure], drawings: dict[str, Drawing], said: Callable[[str], str]
) -> list[Block]:
    """`said` gives a sentence its temperatures in the units of the design too."""
    if not line.findings:
        return []
    body = [blocks.heading(f"Findings and cautions on {line.line}", 2)]
    if passing:
        body.append(blocks.para("What the filtered pin passes while a contact moves is drawn on these pages."))
        body += [_drawn(each.drawing, f"{number}-{each.name}", drawings) for each in passing]
    for verdict, name in FINDING_GROUPS:
        mine = [finding for finding in line.findings if finding.verdict is verdict]
        if mine:
            body.append(blocks.para(name, strong=True))
            body.append(
                blocks.bullets(
                    [said(finding_words(one, after)) for one, after in zip(mine, [*mine[1:], None], strict=False)]
                )
            )
    return body


def finding_words(finding: Finding, after: Finding | None) -> str:
    """One finding in a sentence or two. A cure that the next one of the same check repeats is told there only."""
    subject = words.parameter(finding.subject)
    about = f" ({subject})" if subject and subject.lower() not in finding.text.lower() else ""
    told = f"`{finding.check.replace('-', ' ')}`{about}: {words.sentence(finding.text)}"
    repeated = after is not None and (after.check, after.cure) == (finding.check, finding.cure)
    return f"{told} Cure: {words.sentence(finding.cure)}" if finding.cure and not repeated else told


def _sources(truck: Truck, proof: TruckProof) -> list[Block]:
    rows = [(each.what, each.source, each.seen) for each in sources_of(truck, proof)]
    if not rows:
        return []
    return [
        blocks.heading("Sources", 2),
        blocks.table("Where the rules and figures come from", (("What", 3.0), ("Source", 5.0), ("Seen", 1.4)), rows),
        blocks.para(
            "Seen: printed, in an open copy, secondary (restated by others), or from memory. Numbers of the truck "
            "itself carry their basis in the design file.",
            soft=True,
        ),
    ]
