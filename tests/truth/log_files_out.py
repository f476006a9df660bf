"""Simulated logs as text in the logger's style, with the logger map that tells how to read them."""

from __future__ import annotations

import datetime
import json
from pathlib import Path

import numpy as np

from tests.truth.log_loggers import Channel, Logged, Logger
from tests.truth.log_sim_truck import MEANINGS

MIDDAY = datetime.datetime(2031, 5, 17, 13, 58, 0)


def cells(logged: Logged, role: str) -> list[str]:
    """One cell per row."""
    logger, samples = logged.logger, logged.samples[role]
    channel, rows = samples.channel, logged.row_s
    index = np.searchsorted(samples.shown_s, rows + 1e-9, side="right") - 1
    new = np.zeros(len(rows), dtype=bool)
    new[np.searchsorted(rows, samples.shown_s - 1e-9)] = True
    clipped = np.clip(index, 0, max(len(samples.values) - 1, 0))
    if not len(samples.values):
        return [""] * len(rows)
    values = samples.values[clipped]
    if channel.unit == "code":
        table = {v: channel.words.get(v, str(v)) for v in {int(x) for x in np.unique(values)}}
        text = [table[int(v)] for v in values]
    else:
        factor, offset = channel.scale
        numbers = values * factor + offset
        if (
            logger.habit == "straight"
            and channel.unit != "on/off"
            and len(samples.values) > 1
            and channel.rate_hz < logger.row_hz
        ):
            numbers = np.interp(rows, samples.shown_s, samples.values * factor + offset)
        form = f"%.{channel.digits + (1 if logger.habit == 'straight' else 0)}f"
        text = [form % v for v in numbers.tolist()]
        if logger.decimal == ",":
            text = [each.replace(".", ",") for each in text]
    blank = (index < 0) | (~new if logger.habit == "blank" else np.zeros(len(rows), dtype=bool))
    if blank.any():
        text = ["" if b else each for b, each in zip(blank.tolist(), text, strict=True)]
    return text


def stamps(logged: Logged) -> list[list[str]]:
    """The columns of time, as text."""
    logger, rows = logged.logger, logged.row_s
    at = rows - rows[0] + 12.0
    if logger.set_back is not None:
        at = np.where(rows >= logger.set_back[0], at - logger.set_back[1], at)
        at = at - min(float(at.min()), 0.0)
    match logger.time_kind:
        case "s":
            text = [f"{t:.3f}" for t in at.tolist()]
            return [[t.replace(".", ",") for t in text] if logger.decimal == "," else text]
        case "ms":
            return [[str(round(1000.0 * t)) for t in at.tolist()]]
        case "rows":
            return [[str(i) for i in range(len(rows))]]
    when = [MIDDAY + datetime.timedelta(milliseconds=round(1000.0 * t)) for t in at.tolist()]
    clock = [each.strftime("%H:%M:%S.") + f"{each.microsecond // 1000:03d}" for each in when]
    if logger.time_kind == "clock":
        return [clock]
    if logger.time_kind == "date and clock":
        return [[each.strftime("%d.%m.%Y") for each in when], clock]
    return [[f"{each:%Y-%m-%d} {c}" for each, c in zip(when, clock, strict=True)]]


def time_headers(logger: Logger) -> list[tuple[str, str]]:
    """Header and unit of the columns of time."""
    return {
        "s": [("Time", "s")], "ms": [("Time", "ms")], "rows": [("Row", "")], "clock": [("Clock", "")],
        "date-time": [("Stamp", "")], "date and clock": [("Date", ""), ("Clock", "")],
    }[logger.time_kind]  # fmt: skip


def unit_text(channel: Channel) -> str:
    return "" if channel.unit in ("code", "on/off", "counts") else channel.unit


def log_text(logged: Logged, seed: int) -> str:
    """The whole file. Rows that are doubled stand twice."""
    logger = logged.logger
    rng = np.random.default_rng([seed, 7007])
    heads = [*time_headers(logger), *((c.header, unit_text(c)) for c in logger.channels)]
    shown = [
        f"{name} {logger.unit_in_header[0]}{unit}{logger.unit_in_header[1]}" if logger.unit_in_header and unit else name
        for name, unit in heads
    ]
    columns = [*stamps(logged), *(cells(logged, c.role) for c in logger.channels)]
    lines = [logger.delimiter.join(row) for row in zip(*columns, strict=True)]
    for _ in range(logger.duplicates):
        i = int(rng.integers(0, len(lines)))
        lines.insert(i, lines[i])
    top = [*logger.preamble, logger.delimiter.join(shown)]
    if logger.unit_row:
        top.append(logger.delimiter.join(unit for _, unit in heads))
    return "\n".join([*top, *lines]) + "\n"


def quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def map_text(logger: Logger) -> str:
    """The logger map, every entry confirmed."""
    out = ["format = 1", f'logger = "Invented {logger.profile} logger"', "[file]", 'kind = "text"']
    out += [
        f'encoding = "{logger.encoding}"',
        f"delimiter = {quoted(logger.delimiter)}",
        f'decimal = "{logger.decimal}"',
    ]
    out += [
        f"skip_lines = {len(logger.preamble)}",
        f"unit_row = {str(logger.unit_row).lower()}",
        "confirmed = true",
        "[time]",
    ]
    match logger.time_kind:
        case "s" | "ms":
            out += ['header = "Time"', 'kind = "number"', f'unit = "{logger.time_kind}"']
        case "rows":
            out += ['header = "Row"', 'kind = "rows"', f'rate = "{logger.row_hz:g} Hz"']
        case "clock":
            out += ['header = "Clock"', 'kind = "clock"']
        case "date-time":
            out += ['header = "Stamp"', 'kind = "date-time"', 'layout = "%Y-%m-%d %H:%M:%S%.f"']
        case "date and clock":
            out += [
                'header = "Clock"',
                'kind = "date and clock"',
                'date_header = "Date"',
                'layout = "%d.%m.%Y %H:%M:%S%.f"',
            ]
    out.append("confirmed = true")
    for channel in logger.channels:
        out += ["[[channel]]", f'role = "{channel.full_role}"', f"header = {quoted(channel.header)}"]
        if channel.unit == "on/off":
            out += ['unit = "V"', "on_above = 2.5"]
        elif channel.unit == "counts":
            out += ['unit = "counts"', "full_scale = 1023"]
        else:
            out.append(f"unit = {quoted(channel.unit)}")
        told = {word: told_as(channel.role, value, word) for value, word in channel.words.items()}
        if told:
            out.append("codes = { " + ", ".join(f"{quoted(word)} = {text}" for word, text in told.items()) + " }")
        out.append("confirmed = true")
    return "\n".join(out) + "\n"


def told_as(role: str, value: int, word: str) -> str:
    """What the map says a cell means: a lever by the code in it, a conclusion by its word, else the number."""
    if role == "lever":
        return quoted(word.removeprefix("pos "))
    return quoted(MEANINGS[value]) if role == "meaning" else str(value)


def write(logged: Logged, folder: Path, name: str, seed: int) -> tuple[Path, Path]:
    """The log and its map in a folder."""
    log, map_ = folder / f"{name}.csv", folder / f"{name}-map.toml"
    encoding = logged.logger.encoding
    text = log_text(logged, seed)
    if logged.logger.bom:
        text = "\ufeff" + text
    log.write_bytes(text.encode(encoding, errors="strict"))
    map_.write_text(map_text(logged.logger), encoding="utf-8")
    return log, map_
