"""The proof from logs: every recording is read once, then every check looks at all of them together.

Answers: did the truck do what it was told?
Touches: what the recordings read.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from pinproof.design.model import Truck
from pinproof.errors import PinproofError
from pinproof.logs.blocks import RecordingLike
from pinproof.logs.checks import run_all
from pinproof.logs.checks.case import Case
from pinproof.logs.faults import LogFault
from pinproof.logs.look import look
from pinproof.logs.offer import offers_of
from pinproof.logs.requests import asked_of
from pinproof.logs.results import LogRead, LogReport
from pinproof.logs.script import Script, ScriptFault
from pinproof.logs.seen import Seen
from pinproof.logs.settings import Settings, settings_of
from pinproof.verdict import worst


class NoLog(PinproofError):
    """No recording was given."""

    def __str__(self) -> str:
        return "No log was given. Name at least one, as in: pinproof log truck.toml day1.csv --map logger.toml"


def prove_log(
    truck: Truck, recordings: RecordingLike | Sequence[RecordingLike], script: Script | None = None
) -> LogReport:
    """Judge one log, or several logs of one day as one proof.

    Parameters
    ----------
    truck : Truck
        The design, with its driveline where gears are to be judged.
    recordings : Recording or sequence of Recording
    script : Script, optional
        What the crew pressed.

    Raises
    ------
    NoLog
        None was given.
    ScriptFault
        A phase names a log that is not there, or none where there are several.
    LogFault
        The logger map names a line that the design does not have.
    """
    listed = list(recordings) if isinstance(recordings, Sequence) else [recordings]
    return report_of(truck, case_of(truck, listed, script))


def case_of(
    truck: Truck, recordings: Sequence[RecordingLike], script: Script | None = None,
    say: Callable[[str], object] | None = None,
) -> Case:  # fmt: skip
    """What was seen and asked in these recordings, each read once; raises as `prove_log`. `say` is told of each log."""
    if not recordings:
        raise NoLog
    _fits([each.name for each in recordings], script)
    for recording in recordings:
        _lines_known(recording, truck)
    settings = settings_of(truck)
    seen = []
    for each in recordings:
        if say is not None:
            say(f"Reads {each.name} …")
        seen.append(look(each, settings))
    asked = tuple(asked_of(each, settings) for each in seen)
    return Case(tuple(seen), asked, settings, script or Script())


def _lines_known(recording: RecordingLike, truck: Truck) -> None:
    """Refuse a role of a line that the design does not have: its taps would be overlooked without a word."""
    names = [line.id for line in truck.lines]
    for role in recording.channels:
        kind, _, line = role.partition(".")
        if line and line not in names:
            raise LogFault(
                recording.name, "no such line", f'The logger map has the role "{role}"; the design has no such line.',
                f"Right would be {' or '.join(f'{kind}.{each}' for each in names)}.",
                "Correct the role in the logger map.", role,
            )  # fmt: skip


def judge(truck: Truck, seen: tuple[Seen, ...], settings: Settings, script: Script | None = None) -> LogReport:
    """The report of what was seen."""
    asked = tuple(asked_of(each, settings) for each in seen)
    return report_of(truck, Case(seen, asked, settings, script or Script()))


def report_of(truck: Truck, case: Case) -> LogReport:
    """The checks over all logs of a case."""
    checks = run_all(case)
    excluded: dict[str, int] = {}
    for _, tap in case.taps():
        if tap.reason:
            excluded[tap.reason] = excluded.get(tap.reason, 0) + 1
    return LogReport(
        truck.id, truck.name, worst(each.verdict for each in checks), tuple(_read(each) for each in case.seen),
        checks, excluded, offers_of(case.seen, case.settings),
    )  # fmt: skip


def _read(seen: Seen) -> LogRead:
    channels = tuple(
        {
            "role": role, "header": getattr(each, "header", ""), "unit": getattr(each, "unit", ""),
            "rate_hz": _finite(getattr(each, "rate_hz", math.nan)), "rate_basis": getattr(each, "rate_basis", ""),
        }
        for role, each in seen.channels.items()
    )  # fmt: skip
    return LogRead(
        seen.name, seen.duration_s, seen.left_out_s, channels, seen.unmapped, seen.taps_from, seen.steps_from,
        seen.speeds.ratio_from,
    )  # fmt: skip


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _fits(names: Sequence[str], script: Script | None) -> None:
    if script is None:
        return
    faults = []
    for phase in script.phases:
        if phase.log and phase.log not in names:
            faults.append(f'phase.{phase.number}.log: "{phase.log[:60]}" is none of {", ".join(names)[:200]}.')
        if not phase.log and len(names) > 1:
            faults.append(f"phase.{phase.number}.log: there are {len(names)} logs; write which one is meant.")
    if faults:
        raise ScriptFault(script.file, tuple(faults))
