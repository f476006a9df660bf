"""Bench figures: the ohms that a meter should show at the controller's plug, and where to hold its probes.

Answers: with the controller unplugged, what does each situation measure, between which two points?
Units:   ohms.
Touches: nothing.
Beside:  `pinproof.meter` works the figures out from the one netlist, for the bench sheet too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pinproof.design.model import Line
from pinproof.drawings import words
from pinproof.meter import controller_ground_words, expected, return_words, stations
from pinproof.proof.results import LineProof
from pinproof.proof.situations import requirement, situations_of
from pinproof.quantities import format_value
from pinproof.wiring import LineView


@dataclass(frozen=True)
class BenchRow:
    """One situation at the plug. Infinite ohms are open; without a chosen value there is nothing to measure against."""

    line: str
    operated: tuple[str, ...]
    wanted: str
    rule: int
    low_ohm: float
    nominal_ohm: float
    high_ohm: float


NOTHING = "A resistor of this line is still to be chosen, so there is nothing to measure against."


def bench_rows(view: LineView) -> tuple[BenchRow, ...]:
    """The figures of every situation of a line as on the bench sheet: nominal, and the range in which it works.

    None while a resistor of it is still to be chosen, or where no meter reads ohms through the line.
    """
    if any(branch.kind == "resistor" and branch.nominal_ohm != branch.nominal_ohm for branch in view.branches):
        return ()
    found = []
    listed = {each.operated: each for each in stations(view.truck) if (each.line, each.kind) == (view.line.id, "ohms")}
    for situation in situations_of(view.truck, view.line):
        station = listed.get(situation.operated)
        band = expected(view, station) if station is not None else None
        if band is None or band.works is None:
            continue
        need = requirement(view.truck, view.line, situation, "run")
        wanted = need.means or words.either([each for each in need.allowed if each != words.INVALID])
        found.append(
            BenchRow(view.line.id, situation.operated, wanted, need.rule, band.works.low, band.nominal, band.works.high)
        )
    return tuple(found)


def ohms(ohm: float) -> str:
    """A bench figure with three digits, "open" where nothing conducts."""
    return format_value(ohm, "resistance", digits=3)


def probe_words(view: LineView) -> tuple[str, ...]:
    """Where to measure, step by step."""
    line = view.line
    pin = pin_words(view)
    steps = ["Battery negative off. Controller unplugged; wait until it has gone to sleep. Switches plugged in."]
    if line.source_side == "feed":
        steps += _fed(line, pin)
    else:
        steps.append(f"One probe on {pin} in the harness side of the plug, the other on the switches' own return.")
        if line.has_feed and line.feed_from == "battery":
            steps.append(
                "This line also has a feed: take its fuse out and join nothing to the empty holder, so that the feed "
                f"hangs free. {_SNEAK}"
            )
        elif line.has_feed:
            steps.append(
                "The controller also feeds this line: join nothing to the cavity that feeds it, so that it hangs free."
            )
    steps += filter(None, (controller_ground_words(view), return_words(line)))
    if line.series_diode is not None:
        steps.append("A diode lies in series and no meter reads ohms through it: bridge it, or measure volts instead.")
    steps.append("Note what the two leads show when held together, and take it off each reading.")
    return tuple(steps)


_SNEAK = "Unplug every other load on that fuse, or the meter reads through it."


def _fed(line: Line, pin: str) -> list[str]:
    if line.feed_from == "reference":
        return [f"One probe on {pin} in the harness side of the plug, the other on the cavity that feeds the switches."]
    found = [
        f"Take out the fuse of this line's feed. One probe on {pin} in the harness side of the plug, the other on the "
        "LOAD side of the empty fuse holder.",
        _SNEAK,
    ]
    if not any({"return", "ground"} & set(element.between) for element in line.elements):
        found.append("From the same pin to chassis every situation must read open: this line has no return.")
    return found


def pin_words(view: LineView) -> str:
    """The pin in words: plug and cavity where the file says them."""
    owner = view.input
    if owner.plug and owner.cavity:
        return f"cavity {owner.cavity} of plug {owner.plug}"
    if owner.cavity:
        return f"cavity {owner.cavity}"
    return f"the pin of input {owner.id}" + (f" in plug {owner.plug}" if owner.plug else "")


def required(rows: Sequence[BenchRow]) -> tuple[BenchRow, ...]:
    """Rows of situations that must read one thing; the rest are combinations."""
    return tuple(row for row in rows if row.rule != 5)


def nominal_reading(line: LineProof, operated: tuple[str, ...]) -> tuple[float, float, float, str] | None:
    """Low, nominal and high reading of a situation in key state run, with its space; None if it was not proven."""
    for row in line.situations:
        if row.key_state == "run" and row.operated == operated:
            return row.low, row.nominal, row.high, row.space
    return None
