"""What a proof says: frozen results that print themselves as JSON.

Units:   readings in the space named beside them (ratio or volts); parameters in ohms or volts as `unit` says.
Touches: nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from pinproof.verdict import Verdict, Window
from pinproof.verdict.plain import fields_of, plain

_SURENESS = {"assumed": 0, "borrowed": 1, "published": 2, "measured": 3}


def margin_percent(margin: float) -> str:
    """A margin in percent of half a window with one decimal, cut towards the worse so that nothing looks better.

    Examples
    --------
    >>> margin_percent(0.0669), margin_percent(-6.021), margin_percent(float("inf"))
    ('6.6 %', '-602.1 %', 'no edge in reach')
    """
    if math.isnan(margin) or margin == -math.inf:
        return "none"
    if margin == math.inf:
        return "no edge in reach"
    # A margin is a quotient of sums: what is within rounding of a tenth counts as that tenth.
    tenths = math.floor(margin * 1000.0 + 1e-6) / 10.0
    return f"{tenths + 0.0:.1f} %"


def resting_words(rests_on: Sequence[RestsOn]) -> str:
    """How many numbers of weak basis a verdict leans on: "5 assumed and 1 borrowed numbers"; "" for none."""
    counts = {basis: sum(each.basis == basis for each in rests_on) for basis in ("assumed", "borrowed")}
    told = [f"{count} {basis}" for basis, count in counts.items() if count]
    total = sum(counts.values())
    return f"{' and '.join(told)} number{'' if total == 1 else 's'}" if told else ""


@dataclass(frozen=True)
class DriftBudget:
    """How far one parameter may move, at the worst corner of all others, beyond the end of its stated range.

    `lost_at` is where the wanted meaning is no longer sure, `false_at` where the reading can first be taken for the
    command `false_as` that nobody gave; None where that never happens. `strain` is the drift left until the first of
    them, in units of the usual uncertainty of the parameter's basis: the smallest strain is the weakest link.
    """

    parameter: str
    direction: str  # "up" or "down"
    end: float  # the end of the stated range it starts from
    lost_at: float | None
    false_at: float | None
    false_as: str
    unit: str  # "ohm" or "V"
    basis: str
    strain: float
    exact: bool = True  # False: reached at the values given, but an earlier loss is not excluded

    @property
    def urgency(self) -> tuple[float, int]:
        """Sorts what gives way first to the front; where two tie, the number that is less sure."""
        return self.strain, _SURENESS.get(self.basis, len(_SURENESS))


@dataclass(frozen=True)
class SituationProof:
    """One situation in one key state and one reading space."""

    key_state: str
    space: str
    operated: tuple[str, ...]
    allowed: tuple[str, ...]
    meaning: str  # the one wanted; "" where several will do
    rule: int
    low: float
    high: float
    inner_low: float
    inner_high: float
    unit: str
    exact: bool
    verdict: Verdict
    margin: float
    window: str  # the window that decides, "" if none
    side: str
    reads_as: tuple[str, ...]
    weakest: str = ""
    why: str = ""
    nominal: float = math.nan  # the reading with everything as stated, nothing worn, nothing leaking
    budgets: tuple[DriftBudget, ...] = ()

    @property
    def bound(self) -> str | float:
        """``"exact"``, or how far the outer bound may lie outside what is attained."""
        if self.exact:
            return "exact"
        return max(self.inner_low - self.low, self.high - self.inner_high)


@dataclass(frozen=True)
class Finding:
    """One check beside the windows, with a fixed name that docs/checks.md explains."""

    check: str
    verdict: Verdict | None  # None: a note, or a caution that decides nothing
    subject: str  # situation, part or contact it is about
    text: str
    numbers: dict[str, float | str] = field(default_factory=dict)
    cure: str = ""


@dataclass(frozen=True)
class RestsOn:
    """A number of weak basis that the verdict leans on.

    A number that stands in [defaults] comes once: `default` is its path there, `line` its line there, `parts` are the
    paths of all entries it stands for, and `parameter` is the one of them that is overturned soonest. For a tolerance,
    an ageing or a tempco, which cannot be measured at one part, `parameter` is the default itself.
    """

    parameter: str
    basis: str
    text: str  # as the file states it
    line: int | None  # in the file
    strain: float
    what: str  # in words: what error of it would overturn the verdict soonest
    default: str = ""
    parts: tuple[str, ...] = ()

    @property
    def number(self) -> str:
        """Design path of the number itself."""
        return self.default or self.parameter

    @property
    def urgency(self) -> tuple[float, int]:
        """Sorts what to measure first to the front; where two tie, the number that is less sure."""
        return self.strain, _SURENESS.get(self.basis, len(_SURENESS))


@dataclass(frozen=True)
class LineProof:
    """Everything proven of one line."""

    line: str
    input: str
    form: str
    verdict: Verdict
    situations: tuple[SituationProof, ...]
    windows: dict[str, tuple[Window, ...]]  # per reading space
    findings: tuple[Finding, ...] = ()
    rests_on: tuple[RestsOn, ...] = ()
    reason: str = ""
    reading_error: dict[str, float] = field(default_factory=dict)  # of the input, per reading space, either way

    @property
    def worst(self) -> SituationProof | None:
        """The situation that decides: lowest verdict, then smallest margin."""
        if not self.situations:
            return None
        return min(
            self.situations, key=lambda row: (row.verdict.rank, -math.inf if math.isnan(row.margin) else row.margin)
        )


@dataclass(frozen=True)
class TruckProof:
    """The proof of a whole design file."""

    id: str
    name: str
    text_hash: str
    verdict: Verdict
    lines: tuple[LineProof, ...]
    warnings: tuple[str, ...] = ()

    @property
    def rests_on(self) -> tuple[RestsOn, ...]:
        """The weak numbers of all lines, each once, the one to measure first at the head."""
        ordered = sorted((each for line in self.lines for each in line.rests_on), key=lambda each: each.urgency)
        first: dict[str, RestsOn] = {}
        for each in ordered:
            first.setdefault(each.number, each)
        return tuple(first.values())

    @property
    def situations(self) -> tuple[SituationProof, ...]:
        """The situations of all lines, in file order."""
        return tuple(row for line in self.lines for row in line.situations)


def as_json(result: Any) -> Any:
    """A result as plain JSON values: infinite numbers as "inf", missing ones as null, verdicts as their words."""
    if isinstance(result, SituationProof):
        return {**fields_of(result, as_json), "bound": as_json(result.bound)}
    if isinstance(result, TruckProof):
        found = fields_of(result, as_json)
        flat = [{"line": line.line, **as_json(row)} for line in result.lines for row in line.situations]
        for line in found["lines"]:
            del line["situations"]  # they stand once, in the flat list
        return {**found, "rests_on": as_json(result.rests_on), "situations": flat}
    return plain(result, as_json)
