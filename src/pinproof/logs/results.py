"""What a proof from logs says: frozen results that print themselves as JSON.

Units:   seconds from each log's begin; numbers carry their unit at the end of their name.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from pinproof.logs.limits import MOST_FINDINGS
from pinproof.verdict import Verdict
from pinproof.verdict.plain import fields_of, plain


@dataclass(frozen=True)
class Picture:
    """What one finding's picture needs: a short piece of the log, already cut out. Times are from the log's begin.

    `asked` are presses (from, to, "up" or "down"); `did` are stays (from, to, words); `limit_s` are times with words.
    """

    from_s: float
    to_s: float
    asked: tuple[tuple[float, float, str], ...] = ()
    did: tuple[tuple[float, float, str], ...] = ()
    limits: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True)
class LogFinding:
    """One thing seen, with the stretch of the log it rests on. A verdict of None is a note."""

    verdict: Verdict | None
    subject: str
    text: str
    log: str = ""
    from_s: float | None = None
    to_s: float | None = None
    numbers: dict[str, float | str] = field(default_factory=dict)
    picture: Picture | None = None


@dataclass(frozen=True)
class LogCheck:
    """One check over all logs. `needs` says in words what was missing, "" if nothing was."""

    check: str
    verdict: Verdict
    text: str
    next: str = ""
    numbers: dict[str, float | str] = field(default_factory=dict)
    findings: tuple[LogFinding, ...] = ()
    needs: str = ""


@dataclass(frozen=True)
class LogRead:
    """One log as it was read."""

    name: str
    duration_s: float
    left_out_s: float
    channels: tuple[dict[str, Any], ...]
    unmapped: tuple[str, ...]
    taps_from: str  # what presses were taken from, "" for none
    steps_from: str
    gear_from: str


@dataclass(frozen=True)
class Offer:
    """A number that the log measured, for the owner to write into the design."""

    path: str  # design path, "supply.run"
    text: str  # what to write
    low: float
    high: float
    unit: str
    why: str


@dataclass(frozen=True)
class LogReport:
    """Everything that the logs of a day show."""

    truck: str
    name: str
    verdict: Verdict
    logs: tuple[LogRead, ...]
    checks: tuple[LogCheck, ...]
    excluded: dict[str, int]
    offers: tuple[Offer, ...] = ()

    def check(self, name: str) -> LogCheck:
        """The check of this name; KeyError if there is none."""
        return {each.check: each for each in self.checks}[name]

    @property
    def sorted(self) -> tuple[LogCheck, ...]:
        """Failed first, then not shown, then passed; each in the order of docs/logs.md."""
        return tuple(sorted(self.checks, key=lambda each: each.verdict.rank))


def only_first(findings: list[LogFinding]) -> tuple[LogFinding, ...]:
    """The first so many of each verdict, in order of the worse verdict."""
    kept: list[LogFinding] = []
    for verdict in (Verdict.FAIL, Verdict.NOT_SHOWN, Verdict.PASS, None):
        kept += [each for each in findings if each.verdict is verdict][:MOST_FINDINGS]
    return tuple(kept)


def as_json(result: Any) -> Any:
    """A result as plain JSON values; verdicts as their words, numbers that are none as null."""
    if isinstance(result, LogReport):
        found = fields_of(result, as_json)
        first = result.logs[0] if result.logs else None
        sources = {} if first is None else {"taps": first.taps_from, "steps": first.steps_from, "gear": first.gear_from}
        return {"verdict": found.pop("verdict"), **found, "sources": sources}
    told = plain(result, as_json, infinite=False)
    return told if told is None or isinstance(told, bool | str | int | float | list | dict) else float(told)
