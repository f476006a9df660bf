"""Checked rows of [drive] made into the model.

Answers: the driveline of a file in which no fault was found.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pinproof.design.keys_drive import ANSWERS
from pinproof.design.model_drive import Answer, Borrowed, Drive, DriveLog, Geared, Sensor, ShiftLine, Tyre
from pinproof.design.rows import Row

GIVEN = ("engine", "output", "road")


def drive_table(truck: Row) -> Drive | None:
    """What [drive] states; None where there is no such table."""
    row: Row | None = truck.get("drive")
    if row is None:
        return None
    engine, guard, settings, log = row.get("engine"), row.get("guard"), row.get("settings"), row.get("log")
    return Drive(
        units=row.get("units", "metric"),
        tyre=_tyre(row.get("tyre")),
        axle=row.get("axle").get("ratio"),
        transfers=tuple(_geared(one) for one in row.rows("transfer")),
        gears=tuple(_geared(one) for one in row.rows("gear")),
        slip=row.get("converter").get("slip"),
        most_rpm=engine.get("most"),
        limiter_rpm=engine.get("limiter"),
        least_rpm=engine.get("least"),
        upshift_time_s=engine.get("upshift_time"),
        lead_rpm=engine.get("lead"),
        shifts_at_limiter=engine.get("lead") is not None if engine.has("lead") else None,
        margin=guard.get("margin"),
        latency_s=guard.get("latency"),
        acceleration_m_per_s2=guard.get("acceleration"),
        sensors=tuple(Sensor(one.id, one.get("place"), one.get("teeth")) for one in row.rows("sensor")),
        lines=tuple(_line(number, one) for number, one in enumerate(row.rows("shift"), start=1)),
        borrowed=tuple(_borrowed(one) for one in row.rows("borrowed")),
        answers=() if settings is None else tuple(_answers(settings)),
        log=None if log is None else _log(log),
        note=row.get("note", ""),
    )


def _answers(settings: Row) -> Iterator[tuple[str, Answer]]:
    """What was answered; "?" and "unknown" are no answers, and their cells stay open."""
    for key in ANSWERS:
        answer = settings.get(key)
        if answer and answer.text.strip().lower() not in ("?", "unknown"):
            yield key, answer


def _tyre(row: Row) -> Tyre:
    known = ("roll_out", "turns", "revolutions", "size", "factor", "growth", "wear")
    return Tyre(row.path, **{name: row.get(name) for name in known if row.get(name) is not None})


def _geared(row: Row) -> Geared:
    return Geared(row.get("name"), row.get("ratio"), row.get("climb"))


def _line(number: int, row: Row) -> ShiftLine:
    given: Any = next(key for key in GIVEN if row.has(key))
    return ShiftLine(number, row.get("from"), row.get("to"), row.get("load", "any load"), given, row.get(given))


def _borrowed(row: Row) -> Borrowed:
    tyre = row.get("tyre")
    return Borrowed(
        row.id, row.get("file"), row.get("keyed_by"), row.get("unit"), row.get("holds"),
        None if tyre is None else _tyre(tyre), row.get("axle"), row.get("transfer"), row.get("gears"),
        row.get("note", ""),
    )  # fmt: skip


def _log(row: Row) -> DriveLog:
    return DriveLog(**{name: value for name, value in row.values.items() if value is not None})
