"""The file of a logger map.

Answers: the map in a file, or all that is wrong with it at once.
Units:   as written in the map.
Touches: the map's file and the DBC that it names, reading; a new file, in `save_map`.
"""

from __future__ import annotations

import hashlib
import math
import re
from pathlib import Path
from typing import Any

from pinproof.design.load import decode, read_bytes, toml_of
from pinproof.design.messages import nearest
from pinproof.design.save import save_atomic
from pinproof.errors import PinproofError
from pinproof.logs.faults import MapFault, shown
from pinproof.logs.logger_map import (
    ENCODINGS,
    FILE_KINDS,
    MOST_CHANNELS,
    TIME_KINDS,
    UNKNOWN,
    Entry,
    FileForm,
    LoggerMap,
    TimeEntry,
    same_code,
)
from pinproof.logs.roles import (
    GEARS,
    TIME_SPELLINGS,
    TIME_UNITS,
    Role,
    names_of_roles,
    role_of,
    scale_of,
    usual_units,
)
from pinproof.quantities import parse

_KEYS = {
    "": {"format", "logger", "file", "time", "channel", "can", "note"},
    "file": {"kind", "encoding", "delimiter", "decimal", "skip_lines", "unit_row", "confirmed", "note"},
    "time": {"header", "kind", "unit", "rate", "layout", "date_header", "confirmed", "note"},
    "can": {"dbc", "bus", "note"},
    "channel": {
        "role", "header", "unit", "codes", "factor", "offset", "valid", "full_scale", "on_above", "on_below",
        "confirmed", "note",
    },
}  # fmt: skip


def load_map(path: str | Path) -> LoggerMap:
    """The map in a file.

    Raises
    ------
    MapFault
        All that is wrong with it at once.
    DesignFault
        There is no such file, or it is no text.
    """
    where = Path(path)
    text = decode(read_bytes(str(where)), where.name).removeprefix("\ufeff")
    return map_of(text, where.name, where.parent)


def map_of(text: str, name: str = "<text>", folder: Path | None = None) -> LoggerMap:
    """The map in a text; MapFault as `load_map`. `folder` is where a DBC is looked for."""
    try:
        raw = toml_of(text)
    except (ValueError, RecursionError) as error:
        raise MapFault(name, (("", f"This is not a logger map: {error}."),)) from None
    if not {"time", "channel", "can"} & set(raw):
        there = ", ".join(shown(key, 20) for key in list(raw)[:5]) or "nothing"
        said = f"This is not a logger map: it has {there}; a map has [time] and [[channel]]."
        raise MapFault(name, (("", said),))
    reader = _Reader(raw, name, folder)
    made = reader.map()
    if reader.faults:
        raise MapFault(name, tuple(reader.faults))
    return made


class _Reader:
    def __init__(self, raw: dict[str, Any], name: str, folder: Path | None) -> None:
        self.raw, self.name, self.folder = raw, name, folder
        self.faults: list[tuple[str, str]] = []

    def fault(self, where: str, said: str) -> None:
        self.faults.append((where, said))

    def keys(self, table: dict[str, Any], known: set[str], path: str) -> None:
        for key in table:
            if key not in known:
                near = nearest(key, tuple(sorted(known)))
                hint = f'Did you mean "{near}"?' if near else f"There are {', '.join(sorted(known))}."
                self.fault(f"{path}.{shown(key, 40)}".lstrip("."), f"Unknown key. {hint}")

    def map(self) -> LoggerMap:
        raw = self.raw
        self.keys(raw, _KEYS[""], "")
        if raw.get("format") != 1:
            self.fault("format", "Write format = 1.")
        can = self.table("can")
        dbc, dbc_hash = self.dbc(can)
        form = self.file_form()
        time = self.time(form)
        entries = raw.get("channel", [])
        if not isinstance(entries, list) or not all(isinstance(each, dict) for each in entries):
            self.fault("channel", "Write each channel as [[channel]].")
            entries = []
        if len(entries) > MOST_CHANNELS:
            self.fault("channel", f"There are {len(entries)}; {MOST_CHANNELS} is the most that is read.")
            entries = entries[:MOST_CHANNELS]
        read = [self.entry(each, at) for at, each in enumerate(entries, 1)]
        sure = [each for each in read if each.confirmed]
        for at, each in enumerate(sure):
            if each.role in {before.role for before in sure[:at]}:
                self.fault(f"channel.{each.role}", "This role is confirmed twice; one channel can have it.")
        waiting = tuple(each for each in read if not each.confirmed)
        if not sure and not self.faults:
            self.fault(
                "channel", "No channel is confirmed. Look at each [[channel]], correct it, and set confirmed = true."
            )
        return LoggerMap(
            str(raw.get("logger", ""))[:80], form, time, tuple(sure), waiting, dbc, self.text(can, "bus", "can", ""),
            self.name, dbc_hash,
        )  # fmt: skip

    def table(self, name: str) -> dict[str, Any]:
        found = self.raw.get(name, {})
        if not isinstance(found, dict):
            self.fault(name, f"Write it as a table, [{name}].")
            return {}
        self.keys(found, _KEYS[name], name)
        return found

    def text(self, table: dict[str, Any], key: str, path: str, usual: str | None = None) -> str:
        found = table.get(key, usual)
        if isinstance(found, str) and len(found) <= 400:
            return found
        self.fault(f"{path}.{key}", "It is missing." if found is None else "Write a text in quotation marks.")
        return ""

    def word(self, table: dict[str, Any], key: str, path: str, words: tuple[str, ...], usual: str) -> str:
        found = table.get(key, usual)
        if found in words:
            return str(found)
        near = nearest(found, words) if isinstance(found, str) else ""
        hint = f'Did you mean "{near}"?' if near else f"Write one of {', '.join(words)}."
        self.fault(f"{path}.{key}", f'"{shown(str(found))}" is not known here. {hint}')
        return usual

    def flag(self, table: dict[str, Any], key: str, path: str, usual: bool = False) -> bool:
        found = table.get(key, usual)
        if not isinstance(found, bool):
            self.fault(f"{path}.{key}", f"Write true or false, not {shown(repr(found))}.")
            return usual
        return found

    def number(self, table: dict[str, Any], key: str, path: str, usual: float | None = None) -> float | None:
        found = table.get(key, usual)
        if found is None:
            return None
        if isinstance(found, bool) or not isinstance(found, int | float) or not math.isfinite(found):
            self.fault(f"{path}.{key}", f"Write a number without quotation marks, not {shown(repr(found))}.")
            return usual
        return float(found)

    def dbc(self, can: dict[str, Any]) -> tuple[str, str]:
        name = self.text(can, "dbc", "can", "")
        if not name:
            return "", ""
        where = Path(name) if self.folder is None else self.folder / name
        try:
            data = where.read_bytes()
        except OSError:
            self.fault(
                "can.dbc", f'There is no file "{shown(name)}" beside the map. Put it there, or correct the name.'
            )
            return "", ""
        return str(where), hashlib.sha256(data).hexdigest()

    def file_form(self) -> FileForm | None:
        if "file" not in self.raw:
            return None
        table = self.table("file")
        kind = self.word(table, "kind", "file", FILE_KINDS, "text")
        if not self.flag(table, "confirmed", "file"):
            self.fault("file", "How the file is read is not confirmed. Look at it, and set confirmed = true.")
        if kind != "text":
            return FileForm(kind)
        encoding = self.word(table, "encoding", "file", ENCODINGS, "utf-8")
        delimiter = self.text(table, "delimiter", "file", ",")
        decimal = self.word(table, "decimal", "file", (".", ","), ".")
        if len(delimiter) != 1 or not delimiter.isascii() or delimiter.isalnum() or delimiter in '."\r\n':
            self.fault("file.delimiter", 'Write one letter that parts the columns: ",", ";", "\\t" or "|".')
            delimiter = ","
        skip = table.get("skip_lines", 0)
        if isinstance(skip, bool) or not isinstance(skip, int) or not 0 <= skip <= 10_000:
            self.fault("file.skip_lines", "Write how many lines stand before the header, 0 to 10000.")
            skip = 0
        return FileForm(kind, encoding, delimiter, decimal, skip, self.flag(table, "unit_row", "file"))

    def time(self, form: FileForm | None) -> TimeEntry:
        if "time" not in self.raw:
            if form is not None and form.kind == "can":
                return TimeEntry("", "number", "s", confirmed=True)  # the frames' own stamps
            self.fault("time", "The table [time] is missing: which column is the time?")
            return TimeEntry("")
        table = self.table("time")
        kind = self.word(table, "kind", "time", TIME_KINDS, "number")
        header = self.text(table, "header", "time", "" if kind == "rows" else None)
        confirmed = self.flag(table, "confirmed", "time")
        if not confirmed:
            self.fault("time", "The time is not confirmed. Look at column, kind and unit, and set confirmed = true.")
        unit, rate_hz = "s", 0.0
        if kind == "number":
            said = self.text(table, "unit", "time")
            unit = TIME_SPELLINGS.get(said, said)
            if unit not in TIME_UNITS:
                if said:
                    self.fault(
                        "time.unit", f'"{shown(said)}" is no unit of time. Write one of {", ".join(TIME_UNITS)}.'
                    )
                unit = "s"
        if kind == "rows":
            rate_hz = self.rate(table)
        layout = self.text(table, "layout", "time", "")
        if kind in ("date-time", "date and clock") and not re.search(r"%[a-zA-Z]", layout):
            self.fault("time.layout", 'Write how date and time are written, as in "%d.%m.%Y %H:%M:%S%.f".')
        date_header = self.text(table, "date_header", "time", None if kind == "date and clock" else "")
        return TimeEntry(header, kind, unit, rate_hz, layout, date_header, confirmed)

    def rate(self, table: dict[str, Any]) -> float:
        said = table.get("rate")
        try:
            rate_hz = parse(said, "frequency") if isinstance(said, str) else 0.0
        except PinproofError:
            rate_hz = 0.0
        if not 0.001 <= rate_hz <= 1e6:
            self.fault("time.rate", f'Write the rate of the rows, as in "100 Hz"; it says {shown(repr(said))}.')
            return 1.0
        return rate_hz

    def entry(self, table: dict[str, Any], at: int) -> Entry:
        name = table.get("role")
        path = f"channel.{shown(name, 40)}" if isinstance(name, str) and name else f"channel {at}"
        self.keys(table, _KEYS["channel"], path)
        confirmed = self.flag(table, "confirmed", path)
        before = len(self.faults)
        role = role_of(name) if isinstance(name, str) else None
        header = self.text(table, "header", path)
        made = Entry(str(name), header)
        if role is None:
            known = names_of_roles()
            near = nearest(str(name).partition(".")[0], tuple(each.partition(".")[0] for each in known))
            full = next((each for each in known if each.partition(".")[0] == near), "")
            hint = f'Did you mean "{full}"?' if full else f"Roles are {', '.join(known)}."
            self.fault(f"{path}.role", f'"{shown(str(name))}" is no role. {hint}')
        else:
            made = self.full_entry(table, role, str(name), header, path, confirmed)
        if not confirmed:  # what waits for the owner may still be incomplete
            del self.faults[before:]
        return made

    def full_entry(
        self, table: dict[str, Any], role: Role, name: str, header: str, path: str, confirmed: bool
    ) -> Entry:
        unit = self.text(table, "unit", path, "code" if role.kind != "number" else None).strip()
        codes = self.codes(table, role, path)
        full_scale = self.number(table, "full_scale", path)
        above, below = self.number(table, "on_above", path), self.number(table, "on_below", path)
        low_high = table.get("valid")
        valid = None
        if low_high is not None:
            if isinstance(low_high, list) and len(low_high) == 2 and all(_is_number(each) for each in low_high):
                valid = (float(low_high[0]), float(low_high[1]))
            if valid is None or valid[0] >= valid[1]:
                self.fault(f"{path}.valid", "Write the lowest and the highest number that can be, as in [0, 9000].")
        switched = above is not None or below is not None
        if above is not None and below is not None:
            self.fault(path, "Write on_above or on_below, not both.")
        if switched and role.kind != "flag" and not role.share:
            self.fault(path, f"on_above and on_below belong to roles that are on or off, not to {role.name}.")
        if unit == UNKNOWN:
            self.fault(f"{path}.unit", f'The file states no unit. Write it instead of "?": {self.units(role)}.')
        elif role.kind == "number" and not codes and not switched:
            self.unit(role, unit, full_scale, path)
        if role.kind == "word" and not codes:
            self.fault(f"{path}.codes", 'Write what each code means, as in codes = { "1" = "park", "5" = "manual" }.')
        if role.kind == "number" and codes and not role.share:
            self.fault(f"{path}.codes", f"{role.name} is a number with a unit; it has no codes.")
        factor = self.number(table, "factor", path, 1.0)
        offset = self.number(table, "offset", path, 0.0)
        if factor is not None and not 1e-9 <= abs(factor) <= 1e9:
            self.fault(f"{path}.factor", "Write a factor between 1e-9 and 1e9; 0 makes every value the same.")
        if offset is not None and abs(offset) > 1e9:
            self.fault(f"{path}.offset", "Write an offset of at most 1e9.")
        note = table.get("note", "")
        return Entry(
            name, header, unit, codes, factor or 1.0, offset or 0.0, valid, full_scale, above, below, confirmed,
            note[:400] if isinstance(note, str) else "",
        )  # fmt: skip

    def units(self, role: Role) -> str:
        if role.kind != "number":
            return '"code"'
        return ", ".join(usual_units(role)) + (" or code" if role.share else "")

    def unit(self, role: Role, unit: str, full_scale: float | None, path: str) -> None:
        if role.dimension == "pin" and unit == "counts":
            if full_scale is None or full_scale <= 0.0:
                self.fault(
                    f"{path}.full_scale", "Counts need the number that full scale reads, as in full_scale = 1023."
                )
        elif full_scale is not None:
            self.fault(f"{path}.full_scale", 'full_scale belongs to unit = "counts".')
        elif unit == "code" and role.share:
            pass  # 0 or 1
        elif scale_of(role, unit) is None:
            self.fault(f"{path}.unit", f'"{shown(unit)}" is no unit of {role.name}. Write one of {self.units(role)}.')

    def codes(self, table: dict[str, Any], role: Role, path: str) -> dict[str, float | str]:
        raw = table.get("codes")
        if raw is None:
            return {}
        if not isinstance(raw, dict) or not raw or len(raw) > 500:
            self.fault(f"{path}.codes", 'Write a table of what is read and what it means, { "1" = … }.')
            return {}
        found: dict[str, float | str] = {}
        for key, meaning in raw.items():
            code, where = same_code(key), f"{path}.codes.{shown(key, 30)}"
            if code in found:
                self.fault(where, "This code stands twice; 1, 1.0 and 01 are the same.")
            if role.kind == "word":
                if not isinstance(meaning, str) or not meaning.strip() or meaning == UNKNOWN or len(meaning) > 64:
                    self.fault(where, 'Write the word it stands for, as in "manual".')
                found[code] = str(meaning).strip()
                continue
            low, high = GEARS if role.kind == "gear" else (0, 1)
            fits = _is_number(meaning) and low <= meaning <= high
            if not fits or (role.kind != "number" and float(meaning) != int(meaning)):
                what = "a gear, -1 reverse, 0 neutral, 1 to 20" if role.kind == "gear" else "0 or 1"
                self.fault(where, f"{shown(repr(meaning))} is not {what}.")
                continue
            found[code] = float(meaning)
        return found


def _is_number(raw: object) -> bool:
    return isinstance(raw, int | float) and not isinstance(raw, bool) and math.isfinite(raw)


def save_map(path: str | Path, text: str) -> None:
    """Write a proposal; never over a file that is there (ChangedUnderneath)."""
    save_atomic(path, text, None)
