"""The readings of each point together: one history for each circuit and meter, with whether it moved, in words.

Answers: which readings belong together; has the point moved by more than the meter can be off?
Units:   ohms or volts as each history says; seconds.
Touches: nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass

from pinproof.quantities import format_value
from pinproof.record.drift import Drift, drift_of
from pinproof.record.store import Entry

DAY_S = 86_400.0
SAME_SITTING_S = 600.0  # within it no drift is told: common practice, no source
MOVED = ("drifts up", "drifts down", "jumps")


@dataclass(frozen=True)
class History:
    """Readings of one fingerprint, the earliest first. It is number `which` of `among` of its station."""

    station: str
    fingerprint: str
    unit: str
    entries: tuple[Entry, ...]
    drift: Drift
    which: int = 1
    among: int = 1

    @property
    def moved(self) -> bool:
        """It drifts or jumps."""
        return self.drift.word in MOVED


def histories_of(entries: Sequence[Entry]) -> tuple[History, ...]:
    """Readings by fingerprint, in the order of their first reading; those struck out are left aside."""
    found: dict[str, list[Entry]] = {}
    for each in entries:
        if not each.struck_utc:
            found.setdefault(each.fingerprint, []).append(each)
    marks: dict[str, list[str]] = {}
    for mark, listed in found.items():
        marks.setdefault(listed[0].station, []).append(mark)
    return tuple(
        History(
            listed[0].station, mark, listed[0].unit, tuple(listed), drift_of(listed),
            marks[listed[0].station].index(mark) + 1, len(marks[listed[0].station]),
        )
        for mark, listed in found.items()
    )  # fmt: skip


def drift_words(drift: Drift, unit: str, strike: str = "") -> str:
    """Whether a point moved, in words; `strike` says how a slip is struck out, as "(--strike NUMBER)"."""
    dimension = "voltage" if unit == "V" else "resistance"

    def said(value: float) -> str:
        return ("-" if value < 0 else "+") + format_value(abs(value), dimension, digits=3)

    left = f" The earliest {drift.left_out} are left out." if drift.left_out else ""
    if drift.word == "too few":
        return "one number, nothing to compare yet" if drift.readings else "no number to compare"
    if drift.word == "steady":
        return f"steady: one value fits all {drift.readings} readings within the meter's error.{left}"
    days = drift.span_s / DAY_S
    if drift.span_s < SAME_SITTING_S:
        how = f" {strike}" if strike else ""
        return (
            f"differs by more than the meter can be off: {said(drift.change)} within {span_words(drift.span_s)}. In so "
            f"short a time nothing drifts: a slip of the hand, another switch held, or a loose joint. Strike a slip "
            f"out{how}.{left}"
        )
    if drift.word == "jumps":
        return f"jumps: no steady value and no even drift fits {drift.readings} readings. Look for a loose joint.{left}"
    if days >= 1.0:
        rate = f", {said(drift.slope_low * DAY_S)} to {said(drift.slope_high * DAY_S)} a day"
    else:
        rate = f", {said(drift.slope_low * 3600.0)} to {said(drift.slope_high * 3600.0)} an hour"
    span = span_words(drift.span_s)
    return f"{drift.word} by more than the meter can be off: {said(drift.change)} in {span}{rate}.{left}"


def time_words(utc: str) -> str:
    """A time that the record keeps, for a reader: to the minute, in UTC.

    >>> time_words("2026-03-01T18:30:07Z")
    '2026-03-01 18:30 UTC'
    """
    return f"{utc[:16].replace('T', ' ')} UTC"


def span_words(span_s: float) -> str:
    """A stretch of time: days, hours or minutes."""
    if span_s >= 2.0 * DAY_S:
        return f"{span_s / DAY_S:.0f} days"
    if span_s >= 3600.0:
        return f"{span_s / 3600.0:.1f} hours"
    minutes = max(round(span_s / 60.0), 1)
    return f"{minutes} minute{'' if minutes == 1 else 's'}"


def limit_words(entry: Entry) -> str:
    """How far the meter may be off, as "±16 Ω"; "" for words and an open display."""
    if math.isnan(entry.error_limit) or math.isinf(entry.value):
        return ""
    return f"±{format_value(entry.error_limit, 'voltage' if entry.unit == 'V' else 'resistance', digits=2)}"


def as_json(truck_id: str, entries: Sequence[Entry], histories: Sequence[History]) -> dict[str, object]:
    """Everything as plain JSON values: infinite numbers as "inf", missing ones null."""
    return {
        "truck": truck_id,
        "readings": [{key: _plain(value) for key, value in asdict(each).items()} for each in entries],
        "histories": [
            {
                "station": each.station,
                "fingerprint": each.fingerprint,
                "unit": each.unit,
                "numbers": [entry.number for entry in each.entries],
                **{key: _plain(value) for key, value in asdict(each.drift).items()},
            }
            for each in histories
        ],
    }


def _plain(value: object) -> object:
    if isinstance(value, float) and not math.isfinite(value):
        return None if math.isnan(value) else ("inf" if value > 0 else "-inf")
    return value
