"""The harness on paper: lists, faces, steps to tick off, known-code plugs, test socket and labels.

Answers: what does a builder read, cut, crimp, tick off and check for the harness; the same as a chapter of the book?
Units:   lengths in millimetres, or in inches where the design asks for US units; every column says its own.
Touches: what `typeset` touches; no clock. The same harness and date give the same bytes.
Beside:  `pinproof.harness` makes the numbers, `formboard` the board at true size.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from pinproof.design.messages import DesignFault
from pinproof.design.model import Truck
from pinproof.drawings import Drawing, words
from pinproof.drawings.label_sheet import label_sheets
from pinproof.drawings.plug_face import FaceCavity, plug_face
from pinproof.drawings.svg import as_file
from pinproof.harness import Harness, lay_out, units_of
from pinproof.harness.codes import CodePlug, code_plugs, socket_ways
from pinproof.harness.lists import csv_files
from pinproof.harness.notes import UNFUSED_MOST_MM
from pinproof.harness.parts_list import parts_rows
from pinproof.harness.reach import COLUMN as FUSE_COLUMN
from pinproof.harness.results import Wire
from pinproof.harness.steps import build_steps, colour_words, labels
from pinproof.meter import BenchSheet, bench_sheet, starter
from pinproof.meter.sheet import sheet_tables
from pinproof.pack import blocks
from pinproof.pack.blocks import Block
from pinproof.pack.formboard import formboard, formboard_files, overview
from pinproof.pack.in_us import blocks_us
from pinproof.pack.pages import blocks_pdf
from pinproof.pack.sections import CAUTIONS
from pinproof.quantities import format_value
from pinproof.verdict import Verdict

TICK = "☐"
MOST_FACE_ROWS = 40
VERDICTS = {"pass": Verdict.PASS, "fail": Verdict.FAIL, "not shown": Verdict.NOT_SHOWN}
CODE_CAUTION = (
    "A known-code plug holds its command for as long as it is in. Wheels chocked, brake on, driven wheels off the "
    "ground on stands, a second person at the switch-off. Take it out before the truck moves.",
    "Fit nothing but the one resistor. Cavities that belong to other nets stay empty: a bridge there can defeat the "
    "start inhibit. With the plug in, the station that it replaces is dead: the engine may not crank, lamps may stay "
    "dark.",
)


def harness_pdf(
    truck: Truck, harness: Harness, *, paper: str = "a4", made_on: date | None = None, sheet: BenchSheet | None = None
) -> bytes:
    """Everything but the board at true size, in one PDF. Raises as `pages.blocks_pdf`."""
    name = harness.truck_name or harness.truck
    drawings: dict[str, Drawing] = {}
    when = f", {made_on.isoformat()}" if made_on else ""
    short = harness.text_hash[:12] or "unknown"
    body: list[Block] = [
        blocks.heading(f"Harness of {name}", 1),
        blocks.para(f"Design {harness.truck}, file fingerprint {short}{when}", soft=True),
        *verdict_blocks(harness),
        blocks.care_box("Before you touch the truck", CAUTIONS),
        *board_blocks(truck, harness, drawings),
        *list_blocks(truck, harness),
        *face_blocks(truck, harness, drawings),
        *parts_blocks(truck, harness),
        *step_blocks(truck, harness),
        *code_blocks(truck, harness),
        *socket_blocks(truck, harness, sheet),
        *label_blocks(harness, drawings),
    ]
    if units_of(truck) == "us":
        body = blocks_us(body)
    foot = f"Harness of {name} · design {harness.truck} · file {short}" + (
        f" · {made_on.isoformat()}" if made_on else ""
    )
    return blocks_pdf(body, f"Harness of {name}", foot, paper=paper, made_on=made_on, drawings=drawings)


def chapter(truck: Truck, drawings: dict[str, Drawing]) -> list[Block]:
    """The harness in the build book: verdict, small board, lists, faces, known-code plugs; nothing without [harness].

    Parts, steps, labels, the test socket and the board at true size are left to `pinproof harness`.
    """
    if truck.harness is None:
        return []
    body: list[Block] = [blocks.heading("Harness", 2)]
    try:
        harness = lay_out(truck)
    except DesignFault as fault:
        told = [str(one) for one in fault.faults]
        return [*body, blocks.para("It cannot be built as the file says; nothing was laid out.", leads=True),
                blocks.bullets(told)]  # fmt: skip
    body += verdict_blocks(harness)
    body += board_blocks(truck, harness, drawings, 3)
    body += list_blocks(truck, harness, 3)
    body += face_blocks(truck, harness, drawings, 3)
    body += code_blocks(truck, harness, 3)
    where = "`pinproof harness FILE -o FOLDER`"
    body.append(blocks.para(f"Parts, build steps, labels, test socket and the board at true size: {where}.", soft=True))
    return blocks_us(body) if units_of(truck) == "us" else body


def harness_verdict(harness: Harness) -> Verdict:
    """The worst of its findings."""
    found = {one.verdict for one in harness.findings}
    return Verdict.FAIL if "fail" in found else Verdict.NOT_SHOWN if "not shown" in found else Verdict.PASS


HEADLINES = {
    Verdict.PASS: "Harness holds",
    Verdict.NOT_SHOWN: "Harness not shown",
    Verdict.FAIL: "Harness fails",
}


def verdict_blocks(harness: Harness) -> list[Block]:
    """The answer, and every finding with its cure."""
    verdict = harness_verdict(harness)
    cut_m = sum(wire.cut_mm for wire in harness.wires) / 1000
    kilograms = sum(run.mass_g for run in harness.runs) / 1000
    told = f"{len(harness.wires)} wires, {len(harness.splices)} splices, {cut_m:.1f} m to cut, {kilograms:.1f} kg."
    body = [blocks.verdict_box(verdict, HEADLINES[verdict], [told])]
    rank = {"fail": 0, "not shown": 1, None: 2}
    items = []
    for one in sorted(harness.findings, key=lambda each: rank[each.verdict]):
        head = {"fail": "FAIL", "not shown": "NOT SHOWN", None: "Note"}[one.verdict]
        items.append(
            f"`{head}` {words.sentence(one.text)}" + (f" Cure: {words.sentence(one.cure)}" if one.cure else "")
        )
    return [*body, blocks.para("Findings", strong=True), blocks.bullets(items)] if items else body


def board_blocks(truck: Truck, harness: Harness, drawings: dict[str, Drawing], level: int = 2) -> list[Block]:
    """The board, small."""
    if not harness.runs or not harness.wires:
        return []
    strips, scale, missing = overview(truck, harness)
    told = (
        f"Every run in proportion, about 1 : {scale:.0f}; lanes stand apart as the labels need. To build on, print "
        "formboard-a4.pdf, formboard-letter.pdf or formboard-one-sheet.pdf at actual size."
    )
    left = f" Labels without room here: {missing}; they are on the board at true size." if missing else ""
    figures = []
    for number, drawing in enumerate(strips, start=1):
        drawings[f"formboard-small-{number}"] = drawing
        said = f"{drawing.title}. {drawing.description}"
        figures.append(blocks.figure(f"formboard-small-{number}.svg", drawing.width_mm, said))
    return [
        blocks.heading("The board", level),
        blocks.para(told + left, leads=True),
        *figures,
        blocks.para(
            "Signs: ring with dot: stud; ring: break-out; open square: end of a unit's own lead; box: plug, its mouth "
            "outward; filled lens: splice. On the board at true size also two strokes: tie; triangle: support.",
            soft=True,
        ),
    ]


def list_blocks(truck: Truck, harness: Harness, level: int = 2) -> list[Block]:
    """Wires, splices, runs and fuses."""
    body: list[Block] = [blocks.heading("Wires", level)]
    rows = []
    for wire in harness.wires:
        assert wire.sizing is not None
        fuse = f"{wire.fuse_a:g} A" if wire.fuse_a else "–"
        rows.append(
            (
                blocks.name_cell(wire.id), wire.net, f"{wire.colour} {wire.sizing.size}", str(wire.cut_mm),
                _end(wire, "a"), _end(wire, "b"), format_value(wire.current_a, "current", digits=3), fuse,
                wire.sizing.rule,
            )
        )  # fmt: skip
    columns = (
        ("Wire", 0.0), ("Net", 2.0), ("Colour, size", 1.5), ("Cut mm", 0.0), ("From", 2.3), ("To", 2.3), ("Most", 0.0),
        ("Fuse", 0.0), ("Sized by", 0.0),
    )  # fmt: skip
    body.append(blocks.table("Wire list", columns, rows))
    sources = dict.fromkeys(
        f"{check.rule}: {check.source} ({check.seen})"
        for wire in harness.wires if wire.sizing is not None
        for check in wire.sizing.checks if check.rule == wire.sizing.rule and check.rule != "coded"
    )  # fmt: skip
    coded = any(wire.sizing is not None and wire.sizing.rule == "coded" for wire in harness.wires)
    told = [*sources, *(["coded: the ohms that the proof assumed for this line"] if coded else [])]
    body.append(blocks.para(FUSE_COLUMN, soft=True))
    if told:
        body.append(blocks.para(f"Where the rules come from. {'. '.join(told)}.", soft=True))
    if harness.splices:
        body.append(_splice_table(harness))
    body.append(_run_table(harness))
    if harness.fuses:
        fuses = [
            (
                blocks.name_cell(one.feed),
                "no fuse" if one.rating_a == 0.0 else f"{one.rating_a:g} A {one.family}, {one.colour}",
                "chosen" if one.chosen else "given", format_value(one.running_a, "current", digits=3),
                blocks.marked_cell(VERDICTS[one.verdict], one.verdict),
            )
            for one in harness.fuses
        ]  # fmt: skip
        heads = (("Feed", 2.0), ("Fuse", 2.0), ("", 1.0), ("Runs at", 1.0), ("Verdict", 0.0))
        body.append(blocks.table("Fuses", heads, fuses))
    return body


def _end(wire: Wire, which: str) -> str:
    end = wire.a if which == "a" else wire.b
    extra = ", ".join(part for part in (end.terminal, f"seal {end.seal}" if end.seal else "") if part)
    return f"{end.label}{f' ({extra})' if extra else ''}, strip {end.strip_mm:g} mm"


def _splice_table(harness: Harness) -> Block:
    rows = [
        (
            blocks.name_cell(one.id), one.net, f"{one.run}, {one.at_mm} mm from {one.from_place}", " ".join(one.wires),
            "none fits" if one.shrink_mm is None else f"{one.shrink_mm[0]:g}/{one.shrink_mm[1]:g} mm",
            f"{one.sleeve_cut_mm} mm" if one.sleeve_cut_mm else "–",
        )
        for one in harness.splices
    ]  # fmt: skip
    heads = (("Splice", 0.0), ("Net", 1.6), ("Where", 3.0), ("Wires", 2.4), ("Tube", 0.0), ("Cut", 0.0))
    return blocks.table("Splices", heads, rows)


def _run_table(harness: Harness) -> Block:
    rows = [
        (
            blocks.name_cell(one.run), str(one.length_mm), str(len(one.wires)),
            f"{one.diameter_mm:.1f}{'' if one.exact else ' est.'}" if one.wires else "–",
            "–" if one.sleeve_mm is None else f"{one.sleeve_mm:g}", f"{one.bend_mm:.0f}", str(one.supports),
            str(one.ties), f"{one.mass_g:.0f} g", f"{one.highest_c:g} °C",
        )
        for one in harness.runs
    ]  # fmt: skip
    heads = (
        ("Run", 2.0), ("Length mm", 0.0), ("Wires", 0.0), ("Bundle mm", 0.0), ("Sleeve mm", 0.0), ("Bend mm", 0.0),
        ("Supports", 0.0), ("Ties", 0.0), ("Mass", 0.0), ("Highest", 0.0),
    )  # fmt: skip
    return blocks.table("Runs", heads, rows)


def face_drawings(truck: Truck, harness: Harness) -> dict[str, Drawing]:
    """The face of every plug that has a wire, by the plug's id."""
    wires = {wire.id: wire for wire in harness.wires}
    found = {}
    for plug in truck.plugs:
        mine = [one for one in harness.plugs if one.plug == plug.id]
        if not any(one.wire for one in mine):
            continue
        cavities = []
        for one in mine:
            wire = wires.get(one.wire)
            if wire is None or wire.sizing is None:
                cavities.append(FaceCavity(one.cavity))
            else:
                cavities.append(
                    FaceCavity(one.cavity, wire.id, wire.colour, colour_words(wire.colour), wire.sizing.size)
                )
        found[plug.id] = plug_face(
            plug.id, cavities, columns=plug.columns, numbered_from=plug.numbered_from, part=plug.part,
            place=plug.place or "", ident=f"plug-{plug.id}",
        )  # fmt: skip
    return found


def face_blocks(truck: Truck, harness: Harness, drawings: dict[str, Drawing], level: int = 2) -> list[Block]:
    """Plug faces, each with the list of its cavities."""
    faces = face_drawings(truck, harness)
    if not faces:
        return []
    wires = {wire.id: wire for wire in harness.wires}
    body: list[Block] = [blocks.heading("Plug faces", level)]
    for number, (name, drawing) in enumerate(faces.items()):
        file = f"face-{number}"
        drawings[file] = drawing
        body.append(blocks.figure(f"{file}.svg", drawing.width_mm, f"{drawing.title}. {drawing.description}"))
        rows = []
        for one in harness.plugs:
            if one.plug != name:
                continue
            wire = wires.get(one.wire)
            told = (
                ("empty: plug it", "–", "–", "–", "–")
                if wire is None or wire.sizing is None
                else (f"{wire.id}, {wire.net}", f"{colour_words(wire.colour)} ({wire.colour})", wire.sizing.size,
                      one.terminal or "–", one.seal or "–")
            )  # fmt: skip
            rows.append((blocks.name_cell(one.cavity), *told))
        heads = (("Cavity", 0.0), ("Wire, net", 2.4), ("Colour", 2.0), ("Size", 0.0), ("Terminal", 1.2), ("Seal", 1.0))
        body.append(blocks.table(f"Plug {name}", heads, rows))
    return body


def parts_blocks(truck: Truck, harness: Harness) -> list[Block]:
    """What to have, with spares, and what to order today."""
    rules = truck.harness
    currency = f" {rules.currency}" if rules is not None and rules.currency else ""
    rows, total = [], 0.0
    for row in parts_rows(truck, harness):
        name, kind, need, spare, have, order, days, cost, today = (str(each) for each in row)
        total += float(cost) if cost else 0.0
        rows.append((blocks.name_cell(name), kind, need, spare, have, order, days or "–", cost or "–", today))
    heads = (
        ("Part", 3.0), ("Kind", 1.2), ("Needed", 0.0), ("Spare", 0.0), ("At hand", 0.0), ("Order", 0.0), ("Days", 0.0),
        (f"Cost{currency}", 0.0), ("Order today", 0.0),
    )  # fmt: skip
    without = sum(1 for row in parts_rows(truck, harness) if not row[7])
    told = f"Cost of what is to be ordered: {total:.2f}{currency}"
    told += f"; {without} of {len(rows)} rows have no price in the file." if without else "."
    if without == len(rows):
        told = "No cost can be told: the file has no prices."
    return [
        blocks.heading("Parts", 2),
        blocks.table("Parts, longest delivery first", heads, rows),
        blocks.para(f"{told} Days and prices are those of the file.", soft=True),
    ]


def step_blocks(truck: Truck, harness: Harness) -> list[Block]:
    """Build steps with a box to tick; nothing is ticked before it was done."""
    body: list[Block] = [blocks.heading("Build steps", 2)]
    stage = ""
    rows: list[tuple[str, str, str, str]] = []
    columns = (("", 0.0), ("", 0.0), ("Do", 5.6), ("Right when", 3.6))

    def close() -> None:
        if rows:
            body.append(blocks.table(stage, columns, list(rows)))
            rows.clear()

    for one in build_steps(truck, harness):
        if one.stage != stage:
            close()
            stage = one.stage
        rows.append((TICK, str(one.step), one.do, one.check))
    close()
    return body


def code_blocks(truck: Truck, harness: Harness, level: int = 2) -> list[Block]:
    """Known-code plugs: what to solder, what it should show, and whether the proof carries it."""
    plugs = code_plugs(truck, harness)
    if not plugs:
        return []
    body: list[Block] = [
        blocks.heading("Known-code plugs", level),
        blocks.para(
            "One spare mate for each meaning: the pin is commanded with no switches at all, so a fault is on one side "
            "or on the other. Each is proven like the switches, worst case in every key state.",
            leads=True,
        ),
        blocks.care_box("Careful", CODE_CAUTION),
    ]
    for line in dict.fromkeys(one.line for one in plugs):
        mine = [one for one in plugs if one.line == line]
        rows = [_code_row(one) for one in mine]
        heads = (
            ("Meaning", 1.2), ("On plug, from – to", 2.0), ("Resistor", 1.1), ("Meter at its pins", 1.7),
            ("Reads", 1.5), ("Margin", 0.0), ("Verdict", 0.0),
        )  # fmt: skip
        body.append(blocks.table(f"Line {line}", heads, rows))
        notes = dict.fromkeys(note for one in mine for note in _code_notes(one))
        if notes:
            body.append(blocks.bullets(list(notes)))
    return body


def _code_row(one: CodePlug) -> list[str | blocks.Cell]:
    if one.ohm is None:
        mark = blocks.marked_cell(Verdict.NOT_SHOWN, words.VERDICTS[Verdict.NOT_SHOWN])
        return [blocks.name_cell(one.meaning), one.plug or "–", "–", "–", "–", "–", mark]
    unit = "1" if one.space != "volts" else "V"
    reads = words.span(words.value(one.low, unit, 3), words.value(one.high, unit, 3))
    ohms = words.span(
        format_value(one.low_ohm, "resistance", digits=4), format_value(one.high_ohm, "resistance", digits=4)
    )
    return [
        blocks.name_cell(one.meaning), f"{one.plug}: {one.cavities[0]} – {one.cavities[1]}",
        format_value(one.ohm, "resistance", digits=4), ohms, reads, words.percent(one.margin),
        blocks.marked_cell(one.verdict, words.VERDICTS[one.verdict]),
    ]  # fmt: skip


def _code_notes(one: CodePlug) -> list[str]:
    found = [one.reason] if one.reason else []
    if one.unplug:
        found.append(f"Unplug {words.all_of(one.unplug)} too.")
    if one.stays:
        found.append(words.sentence(one.stays))
    if one.leave_empty:
        found.append(f"On the mate of {one.plug} leave {words.all_of(one.leave_empty)} empty.")
    return found


def socket_blocks(truck: Truck, harness: Harness, sheet: BenchSheet | None = None) -> list[Block]:
    """The test socket in the cab: its ways, and what a meter should read there with the controller plugged in."""
    ways = socket_ways(truck, harness)
    if not ways:
        return []
    rows = [
        (
            blocks.name_cell(str(one.way)), one.line, one.what,
            f"{one.tap} at {one.place}" if one.tap else one.reason, f"{one.fuse_a:g} A",
        )
        for one in ways
    ]  # fmt: skip
    body: list[Block] = [
        blocks.heading("Test socket in the cab", 2),
        blocks.para(
            "A socket that the second person can reach: each way has its own fuse within "
            f"{UNFUSED_MOST_MM:g} mm of the tap (33 CFR 183.455, for boats) and ends in a covered socket. Only a meter "
            "goes into it: no supply, no lamp, no bridge between two ways.",
            leads=True,
        ),
        blocks.table(
            "Ways", (("Way", 0.0), ("Line", 1.2), ("What", 2.4), ("Taken at", 2.8), ("Fuse", 0.0)), rows
        ),
    ]  # fmt: skip
    told = sheet or bench_sheet(truck, starter())
    for table in sheet_tables(told):
        stations = [row for row in table.rows if "/volts/" in str(row[0])]
        if stations:
            cells = [(what, stated, bounds, blocks.blank_cell()) for _, what, stated, bounds, _, _ in stations]
            heads = (("Operated", 3.0), ("Stated", 1.2), ("As built; works", 4.4), ("Read", 1.4))
            body.append(blocks.table(f"{table.title}: volts from the pin's way to ground", heads, cells))
    return body


def label_blocks(harness: Harness, drawings: dict[str, Drawing]) -> list[Block]:
    """Labels to cut out."""
    made = [each.lines for each in labels(harness)]
    if not made:
        return []
    body: list[Block] = [
        blocks.heading("Labels", 2),
        blocks.para(
            "At most 75 mm from the plug (from memory), under clear sleeve. The same text as on every list.", leads=True
        ),
    ]
    for number, drawing in enumerate(label_sheets(made)):
        name = f"labels-{number + 1}"
        drawings[name] = drawing
        body.append(blocks.figure(f"{name}.svg", drawing.width_mm, f"{drawing.title}. {drawing.description}"))
    return body


def harness_files(
    truck: Truck, harness: Harness, *, paper: str = "a4", made_on: date | None = None
) -> dict[str, bytes]:
    """Every file of a harness by its name: lists as CSV, faces and board as SVG, PDF for the bench.

    The same harness, paper and date give the same bytes. Raises as `pages.blocks_pdf`.
    """
    found = {name: text.encode("utf-8") for name, text in csv_files(truck, harness).items()}
    for number, (plug, drawing) in enumerate(face_drawings(truck, harness).items(), start=1):
        word = re.sub(r"[^A-Za-z0-9_-]", "-", plug)[:40]
        found[f"plug-{number}-{word}.svg"] = as_file(drawing.svg)
    if harness.wires:
        found |= formboard_files(formboard(truck, harness, made_on), made_on)
    found["harness.pdf"] = harness_pdf(truck, harness, paper=paper, made_on=made_on)
    return found


def chapters(body: Sequence[Block]) -> list[str]:
    """Headings of a body, in order."""
    return [str(one["text"]) for one in body if one["kind"] == "heading"]
