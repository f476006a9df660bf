"""A harness in words, for the terminal.

Answers: which wires to cut, where splices lie, what is wrong.
Touches: nothing.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence

from pinproof.cli.show import table
from pinproof.harness import Harness
from pinproof.harness.reach import COLUMN as FUSE_COLUMN
from pinproof.quantities import format_value
from pinproof.quantities.customary import in_us, inches_of

WIDTH = 118


Length = Callable[[float], str]


def harness_words(harness: Harness, units: str = "metric") -> str:
    """Findings first, then wires, splices, runs and fuses; in US units for `units` "us"."""
    length: Length = inches_of if units == "us" else lambda each: f"{each:g} mm"
    said: Callable[[str], str] = in_us if units == "us" else str
    parts = [said(_head(harness)), *_findings(harness, said), _wires(harness, length)]
    if harness.splices:
        parts.append(_splices(harness, length))
    parts += [_runs(harness, length, said), _fuses(harness)]
    parts.append("Design aid, not approval: the event's rules and the law of the road come first.")
    return "\n\n".join(part for part in parts if part)


def _head(harness: Harness) -> str:
    bad = [one for one in harness.findings if one.verdict == "fail"]
    open_ = [one for one in harness.findings if one.verdict == "not shown"]
    if bad:
        verdict = f"HARNESS FAILS, {len(bad)} finding{'s' if len(bad) > 1 else ''}"
    elif open_:
        verdict = f"HARNESS NOT SHOWN, {len(open_)} open point{'s' if len(open_) > 1 else ''}"
    else:
        verdict = "HARNESS HOLDS"
    cut_m = sum(wire.cut_mm for wire in harness.wires) / 1000
    kilograms = sum(run.mass_g for run in harness.runs) / 1000
    return (
        f"{verdict}  {harness.truck_name}\n"
        f"  {len(harness.wires)} wires, {len(harness.splices)} splices, {cut_m:.1f} m to cut, "
        f"{kilograms:.1f} kg along the runs."
    )


def _findings(harness: Harness, said: Callable[[str], str]) -> list[str]:
    order = {"fail": 0, "not shown": 1, None: 2}
    rows = []
    for one in sorted(harness.findings, key=lambda each: order[each.verdict]):
        word = {"fail": "FAIL", "not shown": "NOT SHOWN", None: "note"}[one.verdict]
        text = f"{word}  {one.path}  {one.code}\n" + _wrapped(said(one.text))
        rows.append(text + ("\n" + _wrapped(said(f"Cure: {one.cure}")) if one.cure else ""))
    return rows


def _wrapped(text: str) -> str:
    return textwrap.fill(text, WIDTH, initial_indent="    ", subsequent_indent="    ")


def _wires(harness: Harness, length: Length) -> str:
    rows: list[Sequence[str]] = []
    for wire in harness.wires:
        assert wire.sizing is not None
        rows.append(
            (
                wire.id, wire.net, wire.colour, wire.sizing.size, length(wire.cut_mm), wire.a.label, wire.b.label,
                _amps(wire.current_a), f"{wire.fuse_a:g} A" if wire.fuse_a else "–", wire.sizing.rule,
            )
        )  # fmt: skip
    head = ("wire", "net", "colour", "size", "cut", "from", "to", "most", "fuse", "sized by")
    sources = {}
    for wire in harness.wires:
        for check in wire.sizing.checks if wire.sizing is not None else ():
            if wire.sizing is not None and check.rule == wire.sizing.rule and check.rule != "coded":
                sources[check.rule] = f"    {check.rule}: {check.source} ({check.seen})"
    if any(wire.sizing is not None and wire.sizing.rule == "coded" for wire in harness.wires):
        sources["coded"] = "    coded: the ohms that the proof assumed for this line"
    return table(rows, head) + f"\n  {FUSE_COLUMN}\n  Where the rules come from:\n" + "\n".join(sources.values())


def _splices(harness: Harness, length: Length) -> str:
    rows = []
    for one in harness.splices:
        tube = "none fits"
        if one.shrink_mm is not None:
            tube = f"{length(one.shrink_mm[0]).partition(' ')[0]}/{length(one.shrink_mm[1])}"
        where = f"{length(one.at_mm)} from {one.from_place}"
        cut = length(one.sleeve_cut_mm) if one.sleeve_cut_mm else "–"
        rows.append((one.id, one.net, one.run, where, " ".join(one.wires), tube, cut))
    text = table(rows, ("splice", "net", "run", "where", "wires", "shrink tube", "cut"))
    if harness.closed:
        full = ", ".join(f"{net} out of {run}" for net, run in harness.closed)
        text += f"\n  Moved because a run was full: {full}."
    return text


def _runs(harness: Harness, length: Length, said: Callable[[str], str]) -> str:
    rows = []
    for one in harness.runs:
        size = "empty" if not one.wires else f"{length(round(one.diameter_mm, 1))}{'' if one.exact else ' (estimate)'}"
        sleeve = "–" if one.sleeve_mm is None else length(one.sleeve_mm)
        rows.append(
            (one.run, length(one.length_mm), str(len(one.wires)), size, sleeve,
             length(round(one.bend_mm)) if one.wires else "–", str(one.supports), str(one.ties),
             said(f"{one.mass_g:.0f} g"))
        )  # fmt: skip
    head = ("run", "length", "wires", "diameter", "sleeve", "bend", "supports", "ties", "mass")
    return table(rows, head)


def _fuses(harness: Harness) -> str:
    rows = []
    for one in harness.fuses:
        what = "no fuse" if one.rating_a == 0.0 else f"{one.rating_a:g} A {one.colour}"
        rows.append((one.feed, what, "chosen" if one.chosen else "given", _amps(one.running_a), one.verdict))
    return table(rows, ("feed", "fuse", "", "runs at", "verdict")) if rows else ""


def _amps(current_a: float) -> str:
    return format_value(current_a, "current", digits=3)
