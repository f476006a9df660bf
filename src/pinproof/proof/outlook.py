"""What can be said of a line before its pull is known, in words.

Answers: for which usual pulls would single presses hold, and presses together; once per way the controller may judge
         its pin. Every face says it with these words.
Units:   ohms.
Touches: nothing.
Sources: usual pulls of 470 Ω to 10 kΩ: common practice, no source.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pinproof.design.model import UNKNOWN, Input, Line, Resistor, Truck
from pinproof.errors import PinproofError
from pinproof.proof.judging import judge_line
from pinproof.proof.results import SituationProof
from pinproof.proof.situations import INVALID, situations_of
from pinproof.quantities import format_value
from pinproof.wiring import line_view

Judges = Literal["reference", "battery", "volts"]
JUDGES_WORDS: dict[str, str] = {
    "reference": "against its own reference",
    "battery": "against its own supply",
    "volts": "as plain volts",
}
MOST_SITUATIONS = 600
"""Lines with more are not tried: every usual pull would be a proof of its own, and take minutes."""
PLAUSIBLE_PULL_OHM = (470.0, 10_000.0)
TRIED_PULLS = 17
TRIED_TOLERANCE = 0.05
COMBINED_RULE = 5  # of the rules in docs/design-file.md: more pressed than one command


def plausible_pulls_ohm() -> tuple[float, ...]:
    """The pulls that are tried: spread evenly in ratio over the usual range. [Ω]"""
    low, high = PLAUSIBLE_PULL_OHM
    return tuple(float(x) for x in np.geomspace(low, high, TRIED_PULLS))


def with_pull(truck: Truck, line: Line, pull_ohm: float) -> Truck:
    """The same truck, supposing this pull, also for its lists in ohms unless they name the pull they mean."""
    owner = truck.input_of(line)
    supposed = _supposed(owner, line, pull_ohm)
    windows = tuple(
        dataclasses.replace(each, with_pull_ohm=pull_ohm) if each.own_pull else each for each in line.windows
    )
    targets = tuple(
        dataclasses.replace(each, with_pull_ohm=pull_ohm) if each.own_pull else each for each in line.targets
    )
    changed = dataclasses.replace(line, windows=windows, targets=targets)
    return dataclasses.replace(
        truck,
        inputs=tuple(supposed if each.id == owner.id else each for each in truck.inputs),
        lines=tuple(changed if each.id == line.id else each for each in truck.lines),
    )


@dataclass(frozen=True)
class Tried:
    """One pull that was supposed: the worst single command (or idle), and the worst of several presses together."""

    pull_ohm: float
    single: SituationProof
    together: SituationProof | None


@dataclass(frozen=True)
class Outlook:
    """The usual pulls tried for one way of judging."""

    judges: Judges
    tried: tuple[Tried, ...]

    @property
    def judged_words(self) -> str:
        """The head of a sentence, where nobody knows how the controller judges."""
        return f"If the controller judges {JUDGES_WORDS[self.judges]}: "

    @property
    def single_ohm(self) -> tuple[float, ...]:
        """Pulls with which idle and every single command hold. [Ω]"""
        return tuple(each.pull_ohm for each in self.tried if _holds(each.single))

    @property
    def holding_ohm(self) -> tuple[float, ...]:
        """Pulls with which everything holds, presses together included. [Ω]"""
        return tuple(each.pull_ohm for each in self.tried if _holds(each.single) and _holds(each.together))

    @property
    def text(self) -> str:
        """Two sentences at most."""
        said = _over(self.tried, lambda each: each.single, "Single commands")
        if not self.single_ohm:
            return said
        together = [each for each in self.tried if each.together is not None and each.pull_ohm in self.single_ohm]
        bad = [each for each in together if not _holds(each.together)]
        if not together or not bad:
            return said + (" So would all other combinations." if together else "")
        worst = min(bad, key=lambda each: _key(each.together)).together
        assert worst is not None
        part = "Even there" if len(bad) == len(together) else "With some of these"
        return f"{said} {part} {what_goes_wrong(worst)}."


def _holds(row: SituationProof | None) -> bool:
    return row is None or row.verdict.holds


def _key(row: SituationProof | None) -> tuple[int, float]:
    return (9, 0.0) if row is None else (row.verdict.rank, row.margin)


def _over(tried: Sequence[Tried], of: Callable[[Tried], SituationProof], what: str) -> str:
    span = f"{_ohm(tried[0].pull_ohm)} to {_ohm(tried[-1].pull_ohm)}"
    holding = [_holds(of(each)) for each in tried]
    if all(holding):
        return f"{what} would hold with every usual pull ({span})."
    if any(holding):
        return f"{what} would hold with a pull of {_runs(tried, holding)}, not with the rest of {span}."
    best = max(tried, key=lambda each: _key(of(each)))
    return (
        f"{what} hold with no usual pull ({span}). Closest is {_ohm(best.pull_ohm)}; even there "
        f"{what_goes_wrong(of(best))}."
    )


def what_goes_wrong(row: SituationProof) -> str:
    """What a situation that does not hold can be taken for, as a clause."""
    name = " + ".join(row.operated) or "nothing operated"
    if row.rule == COMBINED_RULE and len(row.operated) == 1:
        name += " alone"
    foreign = [each for each in row.reads_as if each not in row.allowed and each != INVALID]
    if foreign:
        return f"{name} can be read as {' or '.join(foreign)}"
    return f"{name} is not surely read as {row.meaning or ' or '.join(row.allowed)}"


def pull_is_unknown(owner: Input) -> bool:
    """True if one of the two pulls is unknown."""
    return owner.pull_up is UNKNOWN or owner.pull_down is UNKNOWN


def outlooks(truck: Truck, line: Line) -> tuple[Outlook, ...]:
    """The usual pulls, for each way the controller may judge; empty if nothing can be tried."""
    owner = truck.input_of(line)
    if not pull_is_unknown(owner) or not line_view(truck, line.id).is_complete or not (line.windows or line.targets):
        return ()
    if len(situations_of(truck, line)) > MOST_SITUATIONS:
        return ()
    ways: tuple[Judges, ...] = ("battery", "volts") if owner.compares == "unknown" else (owner.compares,)
    out = []
    for way in ways:
        changed = dataclasses.replace(owner, compares=way)
        supposed = dataclasses.replace(
            truck, inputs=tuple(changed if each.id == owner.id else each for each in truck.inputs)
        )
        try:
            out.append(Outlook(way, tuple(_tried(supposed, line, pull) for pull in plausible_pulls_ohm())))
        except PinproofError:
            continue
    return tuple(out)


def _tried(truck: Truck, line: Line, pull_ohm: float) -> Tried:
    rows = [
        row
        for judged in judge_line(line_view(with_pull(truck, truck.line(line.id), pull_ohm), line.id))
        for row in judged.rows
    ]
    together = [row for row in rows if row.rule == COMBINED_RULE]
    single = min((row for row in rows if row.rule != COMBINED_RULE), key=_key)
    return Tried(pull_ohm, single, min(together, key=_key) if together else None)


def _runs(tried: Sequence[Tried], holding: Sequence[bool]) -> str:
    """Neighbouring pulls that hold, as ranges: "470 Ω to 2.2 kΩ and 6.8 kΩ"."""
    runs: list[list[float]] = []
    previous = False
    for each, holds in zip(tried, holding, strict=True):
        if holds and previous:
            runs[-1].append(each.pull_ohm)
        elif holds:
            runs.append([each.pull_ohm])
        previous = holds
    words = [_ohm(run[0]) if len(run) == 1 else f"{_ohm(run[0])} to {_ohm(run[-1])}" for run in runs]
    return " and ".join(words)


def _ohm(ohm: float) -> str:
    return format_value(ohm, "resistance", digits=2)


def _supposed(owner: Input, line: Line, pull_ohm: float) -> Input:
    pull = Resistor(
        ohm=pull_ohm,
        tolerance=TRIED_TOLERANCE,
        ageing=0.0,
        tempco_per_k=0.0,
        tempco_known=False,
        path=f"input.{owner.id}.{'pull_up' if line.source_side == 'return' else 'pull_down'}",
        text="supposed",
    )
    if line.source_side == "return":
        other = None if owner.pull_down is UNKNOWN else owner.pull_down
        return dataclasses.replace(owner, pull_up=pull, pull_down=other)
    other = None if owner.pull_up is UNKNOWN else owner.pull_up
    return dataclasses.replace(owner, pull_down=pull, pull_up=other)
