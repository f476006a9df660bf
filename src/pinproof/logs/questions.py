"""Does a channel's range look like another unit than the map says? Asked, never changed.

Answers: a question in a sentence, where a value is far from what the role can show.
Units:   those of the roles.
Touches: nothing.
Sources: ranges are common practice, no source: wide enough that no truck of ours should leave them.
"""

from __future__ import annotations

from collections.abc import Mapping

from pinproof.logs.logger_map import Entry, TimeEntry
from pinproof.logs.recording import Finding
from pinproof.logs.roles import role_of, unit_after


def of_channel(entry: Entry, lowest: float, highest: float, mean: float, first: float) -> Finding | None:
    """A question about one channel, or None."""
    role = role_of(entry.role)
    if role is None or lowest > highest:
        return None
    unit = unit_after(role, entry.unit)
    looks = ""
    if role.dimension == "rotation":
        if 1.5 < highest <= 30.0:
            looks = "thousands of turns per minute"
        elif 30.0 < highest <= 200.0 and entry.unit not in ("Hz", "1/s", "rps", "rev/s", "r/s", "rad/s"):
            looks = "turns per second"
        elif highest > 20_000.0:
            looks = "a smaller unit, or teeth instead of turns"
    elif role.dimension == "speed":
        if highest > 90.0:
            looks = "km/h or mph that the map takes for something faster"
        elif entry.unit not in ("m/s", "mps") and 0.5 < highest < 3.0:
            looks = "m/s"
    elif role.dimension == "ratio":
        if highest > 1.5:
            looks = "percent"
        elif 0.0 < highest <= 0.0101 and entry.unit in ("%", "percent", "pct"):
            looks = "a ratio 0 … 1"
    elif role.dimension == "voltage":
        if highest > 100.0:
            looks = "millivolts"
        elif 0.0 < highest < 0.1:
            looks = "volts taken for millivolts"
    elif role.dimension == "pin":
        if entry.unit == "counts" and entry.full_scale is not None and highest > 1.02:
            looks = f"counts with a larger full scale than {entry.full_scale:g}"
        elif highest > 40.0:
            looks = "millivolts, or counts"
        elif entry.unit in ("ratio", "1") and highest > 1.2:
            looks = "percent, or volts"
    elif role.dimension == "temperature":
        if lowest > 200.0:
            looks = "kelvin"
        elif highest > 180.0:
            looks = "°F"
        elif highest < -100.0:
            looks = "°C taken for kelvin"
    elif role.dimension == "acceleration":
        if 0.8 < abs(mean) < 1.2:
            looks = "g"
        elif abs(mean) > 60.0:
            looks = "m/s² taken for g"
    if not looks:
        return None
    unit = "" if unit in ("1", "ratio") else f" {unit}"
    text = (
        f'{entry.role} reads {first:.4g}{unit} first, and {lowest:.4g} to {highest:.4g}{unit} in all, with the unit "'
        f'{entry.unit}" of the map. This looks like {looks}. Is the unit right?'
    )
    return Finding("unit question", text, role=entry.role)


def of_time(time: TimeEntry, period_s: float, rows: int) -> Finding | None:
    """A question about the unit of the time, or None."""
    if time.kind != "number" or rows < 20:
        return None
    looks = ""
    if time.unit == "s" and period_s >= 5.0:
        looks = "milliseconds"
    elif period_s > 600.0:
        looks = "a smaller unit"
    elif period_s < 2e-5:
        looks = "a larger unit"
    if not looks:
        return None
    text = (
        f'The rows are {period_s:.3g} s apart with the unit "{time.unit}" of the map. This looks like {looks}. Is the '
        "unit right?"
    )
    return Finding("unit question", text)


def of_speeds(means: Mapping[str, float], units: Mapping[str, str]) -> Finding | None:
    """Do engine and turbine differ by a factor that only a unit can make?"""
    engine, turbine = means.get("engine", 0.0), means.get("turbine", 0.0)
    if engine <= 0.0 or turbine <= 0.0 or 1 / 8 < turbine / engine < 8:
        return None
    text = (
        f"engine is {engine:.4g} rpm on average and turbine {turbine:.4g} rpm, with the units {units['engine']} and "
        f"{units['turbine']} of the map. Nothing between them makes such a factor. Are both units right?"
    )
    return Finding("unit question", text)
