"""The lists of a harness as CSV text: wires, splices, plugs, runs, parts, resistors, cut list, labels, steps.

Answers: what a person cuts, crimps, buys and checks, row by row.
Units:   each column says its own; lengths in millimetres. Where the design asks for US units every column of
         millimetres has one of inches after it.
Touches: nothing.
Beside:  `parts_list` counts, `steps` orders the work.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from pinproof.design.model import Truck
from pinproof.harness.parts_list import Row, coder_resistors, marking, parts_rows
from pinproof.harness.results import Harness, Wire, WireEnd
from pinproof.harness.steps import build_steps, labels
from pinproof.harness.units import units_of
from pinproof.quantities.customary import fahrenheit, in_us, inches, ounces


def csv_files(truck: Truck, harness: Harness) -> dict[str, str]:
    """Name and text of every list. Same harness, same bytes."""
    marks = {one.path: marking(one) for one in coder_resistors(truck)}
    found = {
        "wires.csv": _text(WIRES, (_wire(truck, one) for one in harness.wires)),
        "splices.csv": _text(
            ("splice", "net", "run", "from_place", "at_mm", "wires", "shrink", "sleeve_cut_mm"),
            (
                (one.id, one.net, one.run, one.from_place, one.at_mm, " ".join(one.wires), _tube(one.shrink_mm),
                 one.sleeve_cut_mm or "")
                for one in harness.splices
            ),
        ),
        "plugs.csv": _text(
            ("plug", "cavity", "net", "wire", "colour", "size", "terminal", "seal", "neighbours"), _plugs(harness)
        ),
        "runs.csv": _text(
            ("run", "length_mm", "wires", "diameter_mm", "exact", "sleeve_mm", "bend_mm", "supports", "ties", "mass_g",
             "highest_c"),
            (
                (one.run, one.length_mm, " ".join(one.wires), _two(one.diameter_mm), "yes" if one.exact else "estimate",
                 _two(one.sleeve_mm), _two(one.bend_mm), one.supports, one.ties, f"{one.mass_g:.1f}",
                 f"{one.highest_c:g}")
                for one in harness.runs
            ),
        ),
        "harness-parts.csv": _text(
            ("part", "kind", "needed", "spare", "on_hand", "order", "days", "cost", "order_today"),
            parts_rows(truck, harness),
        ),
        "resistors.csv": _text(
            ("resistor", "ohms", "marking", "at", "watts_shorted", "rated_w"),
            (
                (one.resistor, "" if one.ohm is None else f"{one.ohm:g}", marks.get(one.resistor, ""), one.at,
                 f"{one.watts_shorted:.3f}", "" if one.rated_w is None else f"{one.rated_w:g}")
                for one in harness.resistors
            ),
        ),
        "cutlist.csv": _text(("cable", "colour", "lengths"), _cut_list(harness)),
        "labels.csv": _text(
            ("label", "wire", "end", "text", "place"),
            ((one.label, one.wire, one.end, " / ".join(one.lines), one.place) for one in labels(harness)),
        ),
        "steps.csv": _text(
            ("step", "stage", "do", "check", "done"),
            ((one.step, one.stage, one.do, one.check, "") for one in build_steps(truck, harness)),
        ),
    }  # fmt: skip
    return {name: _with_us(text) for name, text in found.items()} if units_of(truck) == "us" else found


WIRES = (
    "wire", "net", "colour", "size", "cable", "cut_mm", "from", "from_terminal", "from_seal", "from_strip_mm", "to",
    "to_terminal", "to_seal", "to_strip_mm", "runs", "current_a", "fuse_a", "sized_by", "source", "label_from",
    "label_to",
)  # fmt: skip


def _text(header: Sequence[str], rows: Iterable[Row]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue()


TURNED = (("_mm", "_in", inches), ("_g", "_oz", ounces), ("_c", "_f", fahrenheit))
"""Endings of columns, metric and US, and how their cells are turned."""


def _with_us(text: str) -> str:
    """Each column of millimetres, grams or °C followed by the same in US units; sentences in US units."""
    head, *rows = csv.reader(io.StringIO(text))
    many = head.index("lengths") if "lengths" in head else -1  # of the cut list: several in one cell

    def wide(row: Sequence[str], names: bool) -> Iterable[str]:
        for at, (column, cell) in enumerate(zip(head, row, strict=True)):
            yield cell if names or column not in ("do", "check", "shrink") else in_us(cell)
            for ending, other, turned in TURNED:
                if column.endswith(ending) or (at == many and ending == "_mm"):
                    yield f"{column.removesuffix(ending)}{other}" if names else turned(cell)

    return _text(list(wide(head, True)), (tuple(wide(row, False)) for row in rows))


def _wire(truck: Truck, wire: Wire) -> Row:
    sizing = wire.sizing
    assert sizing is not None
    check = next((one for one in sizing.checks if one.rule == sizing.rule), None)
    source = f"{check.source} ({check.seen})" if check is not None else "your own choice"

    def end(one: WireEnd) -> tuple[object, ...]:
        return one.label, one.terminal, one.seal, f"{one.strip_mm:g}"

    return (
        wire.id, wire.net, wire.colour, sizing.size, sizing.cable, wire.cut_mm, *end(wire.a), *end(wire.b),
        " ".join(wire.runs), f"{wire.current_a:.4g}", f"{wire.fuse_a:g}" if wire.fuse_a else "", sizing.rule, source,
        f"{wire.id} {wire.a.label}", f"{wire.id} {wire.b.label}",
    )  # fmt: skip


def _tube(shrink_mm: tuple[float, float] | None) -> str:
    return "" if shrink_mm is None else f"{shrink_mm[0]:g}/{shrink_mm[1]:g}"


def _two(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}".rstrip("0").rstrip(".")


def _plugs(harness: Harness) -> Iterable[Row]:
    wires = {wire.id: wire for wire in harness.wires}
    for number, one in enumerate(harness.plugs):
        around = [
            harness.plugs[other].net or "empty"
            for other in (number - 1, number + 1)
            if 0 <= other < len(harness.plugs) and harness.plugs[other].plug == one.plug
        ]
        wire = wires.get(one.wire)
        size = wire.sizing.size if wire is not None and wire.sizing is not None else ""
        colour = wire.colour if wire is not None else ""
        yield (one.plug, one.cavity, one.net, one.wire, colour, size, one.terminal, one.seal, " ".join(around))


def _cut_list(harness: Harness) -> Iterable[Row]:
    found: dict[tuple[str, str], list[int]] = {}
    for wire in harness.wires:
        assert wire.sizing is not None
        found.setdefault((wire.sizing.cable or wire.sizing.size, wire.colour), []).append(wire.cut_mm)
    for (cable, colour), lengths in sorted(found.items()):
        yield cable, colour, " ".join(str(each) for each in sorted(lengths, reverse=True))
