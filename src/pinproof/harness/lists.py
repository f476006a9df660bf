"""The lists of a harness as CSV text: wires, splices, plugs, runs, parts, resistors, cut list.

Answers: what a person cuts, crimps, buys and checks, row by row.
Units:   each column says its own; lengths in millimetres.
Touches: nothing.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence

from pinproof.design.model import Truck
from pinproof.design.model_harness import Cable, HarnessRules, Seal, Terminal
from pinproof.harness.results import Harness, Wire, WireEnd

Row = Sequence[object]


def csv_files(truck: Truck, harness: Harness) -> dict[str, str]:
    """Name and text of every list. Same harness, same bytes."""
    return {
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
        "parts.csv": _text(
            ("part", "kind", "needed", "spare", "on_hand", "order", "days", "cost", "order_today"),
            parts_rows(truck, harness),
        ),
        "resistors.csv": _text(
            ("resistor", "ohms", "at", "watts_shorted", "rated_w"),
            (
                (one.resistor, "" if one.ohm is None else f"{one.ohm:g}", one.at, f"{one.watts_shorted:.3f}",
                 "" if one.rated_w is None else f"{one.rated_w:g}")
                for one in harness.resistors
            ),
        ),
        "cutlist.csv": _text(("cable", "colour", "lengths"), _cut_list(harness)),
    }  # fmt: skip


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


def parts_rows(truck: Truck, harness: Harness) -> list[Row]:
    """Cable, terminals, seals and fuses to have: needed, spare, on hand, to order; longest delivery first."""
    rules = truck.harness
    assert rules is not None
    rows: list[tuple[int, Row]] = []
    for (cable, size, colour), metres in _cable_metres(harness).items():
        known = next((one for one in truck.cables if one.id == cable), None)
        spare = math.ceil(rules.spare_wires * metres * 10) / 10
        have = known.on_hand.value if known is not None and known.on_hand is not None else 0.0
        name = f"{cable or size} {colour}"
        rows.append(_part(name, "cable [m]", metres, spare, have, *_offer(known)))
    counts: dict[tuple[str, str], int] = {}
    for wire in harness.wires:
        for end in (wire.a, wire.b):
            for kind, name in (("terminal", end.terminal), ("seal", end.seal)):
                if name:
                    counts[kind, name] = counts.get((kind, name), 0) + 1
    stock: dict[tuple[str, str], Terminal | Seal] = {("terminal", one.id): one for one in truck.terminals}
    stock |= {("seal", one.id): one for one in truck.seals}
    for key, need in counts.items():
        kept = stock[key]
        rows.append(
            _part(kept.part or kept.id, key[0], need, _spare(rules, need), kept.on_hand or 0, kept.days, kept.price)
        )  # fmt: skip
    fuses: dict[str, int] = {}
    for fuse in harness.fuses:
        if fuse.rating_a > 0.0:
            name = f"{fuse.rating_a:g} A {fuse.family} ({fuse.colour})"
            fuses[name] = fuses.get(name, 0) + 1
    rows += [_part(name, "fuse", need, _spare(rules, need), 0, None, None) for name, need in fuses.items()]
    return [row for _, row in sorted(rows, key=lambda each: -each[0])]


def _offer(cable: Cable | None) -> tuple[int | None, float | None]:
    return (None, None) if cable is None else (cable.days, cable.price)


def _spare(rules: HarnessRules, need: int) -> int:
    return max(math.ceil(rules.spare_parts * need), 1)


def _part(
    name: str, kind: str, need: float, spare: float, have: float, days: int | None, price: float | None
) -> tuple[int, Row]:
    order = max(need + spare - have, 0.0)
    numbers = [f"{each:.2f}".rstrip("0").rstrip(".") for each in (need, spare, have, order)]
    cost = "" if price is None else f"{order * price:.2f}"
    days_text = "" if days is None else days
    return days or 0, (name, kind, *numbers, days_text, cost, "yes" if order > 0 else "no")


def _cable_metres(harness: Harness) -> dict[tuple[str, str, str], float]:
    found: dict[tuple[str, str, str], int] = {}
    for wire in harness.wires:
        assert wire.sizing is not None
        key = (wire.sizing.cable, wire.sizing.size, wire.colour)
        found[key] = found.get(key, 0) + wire.cut_mm
    return {key: mm / 1000 for key, mm in sorted(found.items())}


def _cut_list(harness: Harness) -> Iterable[Row]:
    found: dict[tuple[str, str], list[int]] = {}
    for wire in harness.wires:
        assert wire.sizing is not None
        found.setdefault((wire.sizing.cable or wire.sizing.size, wire.colour), []).append(wire.cut_mm)
    for (cable, colour), lengths in sorted(found.items()):
        yield cable, colour, " ".join(str(each) for each in sorted(lengths, reverse=True))
