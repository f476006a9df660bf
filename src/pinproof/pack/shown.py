"""Results as a notebook shows them: HTML with the drawings, and the same in plain text.

Answers: how does a proof, a choice, a fault dictionary, a driveline … look where it was just computed?
Touches: the shipped typefaces, to measure text; no file is written, no clock is read.
Must not: calculate or judge. What stands here is what the engines' results say.
Beside:  `blocks` are the stones of the printed book; this room lays the same ones.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from pinproof.chain.links import Chain
from pinproof.choose import Choice
from pinproof.design.model import Truck
from pinproof.drawings import Drawing, reading_chart
from pinproof.drawings.saw_tooth import saw_tooth
from pinproof.driveline import DriveSums
from pinproof.faults import FaultReport
from pinproof.faults.words import commands_words, fault_words
from pinproof.find import Posterior
from pinproof.harness import Harness
from pinproof.inhibit import InhibitReport
from pinproof.logs import LogReport
from pinproof.meter import BenchSheet
from pinproof.meter.sheet import headline as sheet_headline
from pinproof.meter.sheet import sheet_tables
from pinproof.pack import blocks, harness_book, inhibit_page, log_page, sentences
from pinproof.pack.block_html import piece_html
from pinproof.pack.blocks import Block
from pinproof.pack.style import LIGHT, variables
from pinproof.proof import LineProof, TruckProof, margin_percent
from pinproof.proof import as_json as plain_of
from pinproof.proof.results import SituationProof
from pinproof.quantities import format_value
from pinproof.verdict import Verdict

MOST_ROWS = 40
"""Rows of one table; the rest is counted."""

_CSS = (
    f".pinproof{{{variables(LIGHT)}background:var(--paper);color:var(--ink);padding:.6rem 1rem;max-width:60rem}}"
    ".pinproof svg{width:100%;height:auto}.pinproof td,.pinproof th{text-align:left}"
    ".pinproof .mark{display:inline-block;width:.82em;height:.82em;margin-right:.4em}"
    ".pinproof .narrow{display:none}"
    + "".join(
        f".pinproof .pp-{name},.pinproof .v-{name}{{color:var(--{name})}}" for name in ("pass", "hold", "open", "fail")
    )
)


@dataclass(frozen=True)
class Shown:
    """A result ready to be looked at. A notebook takes the HTML; `print` and `str` give the text."""

    body: tuple[Block, ...]
    drawings: dict[str, Drawing]

    def _repr_html_(self) -> str:
        return f'<div class="pinproof"><style>{_CSS}</style>\n{piece_html(self.body, self.drawings)}\n</div>'

    def __str__(self) -> str:
        return "\n".join(line for block in self.body for line in _text(block))

    __repr__ = __str__


@dataclass(frozen=True)
class ShownDrawing:
    """A drawing ready to be looked at. A notebook takes the SVG; `print` and `str` say in words what it shows."""

    drawing: Drawing

    def _repr_svg_(self) -> str:
        return self.drawing.svg

    def __str__(self) -> str:
        return f"{self.drawing.title}. {self.drawing.description}"

    __repr__ = __str__


def show(result: Any, truck: Truck | None = None) -> Shown | ShownDrawing:
    """A result as a notebook shows it.

    Parameters
    ----------
    result : object
        What an engine gave: a proof, a choice, a fault report, sums of a driveline, a harness, a start inhibit, a log
        report, a bench sheet, a chain, the odds of a search; a drawing; any other result as a table of its fields.
    truck : Truck, optional
        The design that it is of. With it a proof shows its reading charts, a harness its lists.

    Returns
    -------
    Shown or ShownDrawing
        Its text is the same on every machine.

    Raises
    ------
    TypeError
        It is no result of an engine.

    Examples
    --------
    >>> import pinproof
    >>> truck = pinproof.load(pinproof.example_path("sandpiper"))
    >>> print(str(pinproof.show(pinproof.prove(truck, samples=0))).splitlines()[0])
    Proven: every situation reads as it may; rests on 9 assumed numbers
    """
    if isinstance(result, Drawing):
        return ShownDrawing(result)
    for kind, maker in _MAKERS.items():
        if isinstance(result, kind):
            drawings: dict[str, Drawing] = {}
            return Shown(tuple(maker(result, truck, drawings)), drawings)
    if dataclasses.is_dataclass(result) and not isinstance(result, type):
        return Shown((_fields(result),), {})
    raise TypeError(f"show takes the result of an engine, not {type(result).__name__}. Right: show(prove(truck)).")


def _proof(result: TruckProof, truck: Truck | None, drawings: dict[str, Drawing]) -> list[Block]:
    head = sentences.headline(result.verdict, result.rests_on)
    body = [blocks.verdict_box(result.verdict, head, [sentences.what_decides(result)])]
    for line in result.lines:
        body += [blocks.heading(f"Line {line.line}", 3), *_line(line, truck, drawings)]
    return body


def _line(result: LineProof, truck: Truck | None, drawings: dict[str, Drawing]) -> list[Block]:
    body: list[Block] = []
    if result.reason:
        body.append(blocks.para(result.reason))
    if truck is not None and any(row.key_state == "run" for row in result.situations):
        name = f"readings-{len(drawings) + 1}"
        drawing = reading_chart(result, truck=truck, ident=name)
        drawings[name] = drawing
        body.append(blocks.figure(f"{name}.svg", drawing.width_mm, drawing.title))
    rows = sorted(result.situations, key=lambda row: (row.verdict.rank, row.margin))
    if rows:
        body.append(_table("Situations, tightest first", _SITUATION_HEADS, [_situation(row) for row in rows]))
    return body


_SITUATION_HEADS = ("key", "operated", "may read", "reads", "margin", "verdict")


def _situation(row: SituationProof) -> list[str | blocks.Cell]:
    unit = "ratio" if row.unit == "1" else "voltage"
    reads = " to ".join(format_value(each, unit, digits=3) for each in (row.low, row.high))
    return [row.key_state, " + ".join(row.operated) or "nothing", " or ".join(row.allowed), reads,
            margin_percent(row.margin), _verdict(row.verdict)]  # fmt: skip


def _choice(result: Choice, truck: Truck | None, drawings: dict[str, Drawing]) -> list[Block]:
    head = f"{result.line}: smallest margin {margin_percent(result.margin)} of half a window"
    rows = [[each.path, format_value(each.ohm, "resistance"), format_value(each.tolerance, "ratio"), each.series]
            for each in result.resistors]  # fmt: skip
    body = [blocks.verdict_box(result.verdict, head, [])]
    body.append(_table("Values chosen", ("where", "value", "tolerance", "series"), rows))
    return body


def _faults(result: FaultReport, truck: Truck | None, drawings: dict[str, Drawing]) -> list[Block]:
    body: list[Block] = []
    for line in result.lines:
        false = line.of("false command")
        body.append(blocks.heading(f"Faults of {line.line}", 3))
        if line.reason:
            body.append(blocks.para(f"Not looked at, because {line.reason}."))
            continue
        body.append(blocks.para(f"{len(line.faults)} single faults; {len(false)} give a false command."))
        if false:
            rows = [[fault_words(each.fault), commands_words(each)] for each in false]
            body.append(_table("False commands, the worst first", ("fault", "what it does"), rows))
    return body


def _drive(result: DriveSums, truck: Truck | None, drawings: dict[str, Drawing]) -> list[Block]:
    drawings["saw-tooth"] = chart = saw_tooth(result)
    body = [blocks.figure("saw-tooth.svg", chart.width_mm, chart.title)]
    rows: list[list[str | blocks.Cell]]
    rows = [[each.check, each.subject, each.text, _verdict(each.verdict)] for each in result.checks]
    return [*body, _table("Checks", ("check", "of", "what", "verdict"), rows)]


def _harness(result: Harness, truck: Truck | None, drawings: dict[str, Drawing]) -> list[Block]:
    body = harness_book.verdict_blocks(result)
    if truck is not None:
        body += harness_book.list_blocks(truck, result, 3)
    return body


def _inhibit(result: InhibitReport, truck: Truck | None, drawings: dict[str, Drawing]) -> list[Block]:
    return inhibit_page.book_blocks(result)


def _log(result: LogReport, truck: Truck | None, drawings: dict[str, Drawing]) -> list[Block]:
    body, made = log_page.report_blocks(result)
    drawings.update(made)
    return body


def _sheet(result: BenchSheet, truck: Truck | None, drawings: dict[str, Drawing]) -> list[Block]:
    body: list[Block] = [blocks.para(f"{sheet_headline(result)} Meter: {result.meter}.")]
    for each in sheet_tables(result):
        body.append(blocks.heading(each.title, 3))
        body += [blocks.para(told) for told in (each.setup, *each.cautions, each.probes) if told]
        body.append(_table(each.title, each.heads, [list(row) for row in each.rows]))
    return body


def _chain(result: Chain, truck: Truck | None, drawings: dict[str, Drawing]) -> list[Block]:
    rows: list[list[str | blocks.Cell]]
    rows = [[each.name, _verdict(each.verdict), each.text] for each in result.links]
    todo = [
        " ".join(part for part in (each.what, each.caution and f"Careful: {each.caution}", each.why) if part)
        for each in result.actions
    ]
    return [_table(f"The chain of {result.name or result.id}", ("link", "verdict", "what is shown"), rows),
            blocks.para("Do next:", leads=True), blocks.steps(todo)]  # fmt: skip


def _odds(result: Posterior, truck: Truck | None, drawings: dict[str, Drawing]) -> list[Block]:
    rows = [[each.name, f"{100 * each.probability:.1f} %"] for each in result.classes if each.probability >= 0.001]
    return [_table("How likely, by class of causes", ("class", "probability"), rows)]


def _fields(result: Any) -> Block:
    rows = [[each.name, str(plain_of(getattr(result, each.name)))[:200]] for each in dataclasses.fields(result)]
    return _table(type(result).__name__, ("field", "value"), rows)


_MAKERS: dict[type, Callable[[Any, Truck | None, dict[str, Drawing]], list[Block]]] = {
    TruckProof: _proof,
    LineProof: _line,
    Choice: _choice,
    FaultReport: _faults,
    DriveSums: _drive,
    Harness: _harness,
    InhibitReport: _inhibit,
    LogReport: _log,
    BenchSheet: _sheet,
    Chain: _chain,
    Posterior: _odds,
}


def _verdict(verdict: Verdict) -> blocks.Cell:
    return blocks.marked_cell(verdict, str(verdict))


def _table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str | blocks.Cell]]) -> Block:
    shown = list(rows[:MOST_ROWS])
    if len(rows) > MOST_ROWS:
        caption += f" (the first {MOST_ROWS} of {len(rows)})"
    return blocks.table(caption, [(head, 1) for head in heads], shown)


def _text(one: Block) -> list[str]:
    """A block as lines of text."""
    kind = one["kind"]
    if kind == "heading":
        return ["", _clean(one["text"])]
    if kind == "para":
        return [_run(one["runs"])]
    if kind in ("list", "steps"):
        marks = [f"{n}. " if kind == "steps" else "- " for n in range(1, len(one["items"]) + 1)]
        return [mark + _run(each) for mark, each in zip(marks, one["items"], strict=True)]
    if kind == "verdict":
        return [_clean(one["text"]), *map(_run, one["paras"])]
    if kind == "care":
        return [_clean(one["title"]), *(f"- {_run(each)}" for each in one["items"])]
    if kind == "figure":
        return [f"[picture: {_clean(one['alt'])}]"]
    rows = [[_clean(head) for head in one["heads"]]]
    rows += [[" ".join([_run(cell.get("runs") or []), *map(_run, cell.get("below", ()))]).strip() for cell in row]
             for row in one["rows"]]  # fmt: skip
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    return ["", _clean(one["caption"]), *lines]


def _run(pieces: Sequence[Sequence[str | bool]]) -> str:
    return "".join(_clean(str(text)) for text, _ in pieces)


def _clean(text: str) -> str:
    """Without the marks of where a printed word may be broken or held together."""
    return text.replace("\u200b", "").replace("\u00a0", " ").replace("\u202f", " ")


def as_json(result: Any) -> Any:
    """A result of any engine as plain JSON values, the same that the command prints with --json.

    Parameters
    ----------
    result : object
        A frozen dataclass of one of the engines, or a tuple of such.

    Returns
    -------
    dict, list, str, float or None
        Infinite numbers as "inf", missing ones as None, verdicts as their words.
    """
    first = result[0] if isinstance(result, tuple | list) and result else result
    room = ".".join(type(first).__module__.split(".")[1:2])
    maker: Callable[[Any], Any] = import_module(_PLAIN.get(room, "pinproof.proof")).as_json
    return maker(result)


_PLAIN = {
    "faults": "pinproof.faults",
    "meter": "pinproof.meter.sheet",
    "harness": "pinproof.harness",
    "inhibit": "pinproof.inhibit",
    "driveline": "pinproof.driveline",
    "logs": "pinproof.logs",
}
"""Rooms whose results have a way of their own into JSON."""
