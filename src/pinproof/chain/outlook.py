"""What can be said of a line before its pull is known, in words.

Answers: for which usual pulls would the line hold, once per way the controller may judge its pin; what a known feed
         through the enable contact would change.
Units:   ohms.
Touches: nothing.
Beside:  `pinproof.proof.unknown` does the trying; the usual pulls stand there.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pinproof.design.model import UNKNOWN, Input, Line, Truck
from pinproof.errors import PinproofError
from pinproof.proof.unknown import PullTried, pulls_tried
from pinproof.quantities import format_value
from pinproof.verdict import Verdict
from pinproof.wiring import line_view

Judges = Literal["reference", "battery", "volts"]
JUDGES_WORDS: dict[str, str] = {
    "reference": "against its own reference",
    "battery": "against its own supply",
    "volts": "as plain volts",
}


@dataclass(frozen=True)
class Outlook:
    """The usual pulls tried for one way of judging."""

    judges: Judges
    tried: tuple[PullTried, ...]

    @property
    def holding_ohm(self) -> tuple[float, ...]:
        """Pulls with which every situation holds. [Ω]"""
        return tuple(each.pull_ohm for each in self.tried if each.verdict.rank >= Verdict.WOULD_HOLD.rank)

    @property
    def best(self) -> PullTried:
        """The pull with the largest worst margin."""
        return max(self.tried, key=lambda each: (each.verdict.rank, each.worst.margin))

    @property
    def text(self) -> str:
        """One sentence."""
        span = f"{_ohm(self.tried[0].pull_ohm)} to {_ohm(self.tried[-1].pull_ohm)}"
        name = " + ".join(self.best.worst.operated) or "nothing operated"
        if len(self.holding_ohm) == len(self.tried):
            return f"would hold for every usual pull, {span}"
        if self.holding_ohm:
            return f"would hold for a pull of {runs_words(self.tried)}, not for the rest of {span}"
        return (
            f"holds for no usual pull, {span}; closest is a pull of {_ohm(self.best.pull_ohm)}, where {name} is "
            f"{-self.best.worst.margin:.0%} of half a window past its edge"
        )


def pull_is_unknown(owner: Input) -> bool:
    """True if one of the two pulls is unknown."""
    return owner.pull_up is UNKNOWN or owner.pull_down is UNKNOWN


def outlooks(truck: Truck, line: Line) -> tuple[Outlook, ...]:
    """The usual pulls, for each way the controller may judge; empty if nothing can be tried."""
    owner = truck.input_of(line)
    if not pull_is_unknown(owner) or not line_view(truck, line.id).is_complete or not (line.windows or line.targets):
        return ()
    ways: tuple[Judges, ...] = ("battery", "volts") if owner.compares == "unknown" else (owner.compares,)
    out = []
    for way in ways:
        changed = dataclasses.replace(owner, compares=way)
        supposed = dataclasses.replace(
            truck, inputs=tuple(changed if each.id == owner.id else each for each in truck.inputs)
        )
        try:
            out.append(Outlook(way, pulls_tried(supposed, supposed.line(line.id))))
        except PinproofError:
            continue
    return tuple(out)


def fed_through_enable(truck: Truck, line: Line) -> Truck:
    """The same truck with the taps of this line fed through their enable contact."""
    changed = dataclasses.replace(line, taps_fed="through enable")
    return dataclasses.replace(truck, lines=tuple(changed if each.id == line.id else each for each in truck.lines))


def runs_words(tried: Sequence[PullTried]) -> str:
    """Neighbouring pulls that hold, as ranges: "470 Ω to 2.2 kΩ and 6.8 kΩ"."""
    runs: list[list[float]] = []
    previous = False
    for each in tried:
        holds = each.verdict.rank >= Verdict.WOULD_HOLD.rank
        if holds and previous:
            runs[-1].append(each.pull_ohm)
        elif holds:
            runs.append([each.pull_ohm])
        previous = holds
    words = [_ohm(run[0]) if len(run) == 1 else f"{_ohm(run[0])} to {_ohm(run[-1])}" for run in runs]
    return " and ".join(words)


def _ohm(ohm: float) -> str:
    return format_value(ohm, "resistance", digits=2)
