"""What every check gets: all logs of a day, what was asked in them, and what they are compared with.

Touches: nothing.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field

from pinproof.logs.gear_steps import Step
from pinproof.logs.requests import Asked, Tap
from pinproof.logs.results import LogCheck, LogFinding, Picture, only_first
from pinproof.logs.script import Kind, Phase, Script
from pinproof.logs.seen import Seen
from pinproof.logs.settings import Settings
from pinproof.verdict import Verdict

MORE = "Drive or press more: `pinproof log FILE --plan` says what."
PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_SHOWN


@dataclass(frozen=True)
class Case:
    """All logs of one proof."""

    seen: tuple[Seen, ...]
    asked: tuple[Asked, ...]
    settings: Settings
    script: Script = field(default_factory=Script)

    def logs(self) -> Iterator[tuple[Seen, Asked]]:
        """Each log with what was asked in it."""
        return zip(self.seen, self.asked, strict=True)

    def taps(self) -> Iterator[tuple[Seen, Tap]]:
        """Every tap of every log."""
        for seen, asked in self.logs():
            for tap in asked.taps:
                yield seen, tap

    def phases(self, seen: Seen, kind: Kind) -> tuple[Phase, ...]:
        """The script's phases of one kind in one log."""
        return self.script.of(seen.name, len(self.seen) == 1, kind)

    def having(self, *roles: str) -> tuple[Seen, ...]:
        """Logs that have all these channels."""
        return tuple(each for each in self.seen if all(role in each.channels for role in roles))

    def gear_name(self, gear: float) -> str:
        """What a gear is called."""
        drive = self.settings.drive
        return drive.name(gear) if drive is not None else (f"{gear:.0f}" if gear == gear else "?")


def missing(case: Case, check: str, *roles: str, more: str = "", do: str = "") -> LogCheck:
    """Not shown, because no log has these channels or the design does not say."""
    needs = " and ".join(roles)
    text = f"No log has {needs} together." if len(roles) > 1 else f"No log has the channel {needs}." if roles else ""
    text = " ".join(part for part in (text, more) if part)
    return LogCheck(check, OPEN, text, do or "Record it, or name it in the logger map.", needs=needs or more)


def slow(case: Case, check: str, role: str, rate_hz: float, wanted_hz: float) -> LogCheck:
    """Not shown, because a channel is too slow."""
    text = f"{role} comes {rate_hz:.3g} times a second; {wanted_hz:.3g} are needed."
    return LogCheck(check, OPEN, text, f"Log {role} at {wanted_hz:.3g} Hz or more.", needs=f"{role} ≥ {wanted_hz:g} Hz")


def judged(
    check: str, findings: list[LogFinding], passed: str, open_: str = "", *, enough: bool, do: str = "",
    numbers: dict[str, float | str] | None = None, more: str = MORE,
) -> LogCheck:  # fmt: skip
    """Fail with any failed finding; else pass if enough was seen and nothing is open.

    `do` is the next step after a fail or after something open was seen, `more` where only too little was seen.
    """
    failed = [each for each in findings if each.verdict is FAIL]
    unclear = [each for each in findings if each.verdict is OPEN]
    told = {**(numbers or {}), "failed": float(len(failed))}
    kept = only_first(findings)
    if failed:
        more = f" ({len(failed)} times in all.)" if len(failed) > 1 else ""
        return LogCheck(check, FAIL, failed[0].text + more, do, told, kept)
    if unclear:
        return LogCheck(check, OPEN, open_ or unclear[0].text, do, told, kept)
    if not enough:
        return LogCheck(check, OPEN, open_ or passed, more, told, kept)
    return LogCheck(check, PASS, passed, "", told, kept)


def shift_picture(
    case: Case, seen: Seen, from_s: float, to_s: float, limits: tuple[tuple[float, str], ...] = ()
) -> Picture:
    """What was asked and what the gearbox did in a stretch, cut out of the runs."""
    near = seen.presses[bisect_left(seen.press_ends, from_s) : bisect_right(seen.press_begins, to_s)]
    asked = tuple(
        (max(each.first_s, from_s), min(max(each.last_s, each.first_s + 0.01), to_s), each.way) for each in near[:40]
    )
    runs = seen.states.get(seen.steps_from)
    told = "commanded" if seen.steps_from == "gear_commanded" else "reported"
    did: list[tuple[float, float, str]] = []
    for source, words in ((runs, told), (seen.speeds.ratio, "by ratio")):
        if source is None:
            continue
        for place in range(bisect_left(source.last_list, from_s), bisect_right(source.first_list, to_s)):
            first, last = source.first_list[place], source.last_list[place]
            did.append((max(first, from_s), min(last, to_s), f"{words} {case.gear_name(float(source.value[place]))}"))
    return Picture(from_s, to_s, asked, tuple(did[:40]), limits)


def step_words(case: Case, step: Step) -> str:
    """A step in words."""
    return f"{case.gear_name(step.old)} → {case.gear_name(step.new)}"
