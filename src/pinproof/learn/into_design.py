"""What was learned, written into a design file: pulls, reference, windows. Everything else stays byte for byte.

Answers: the changed text; which meanings that the design needs were not found.
Touches: nothing; the caller saves. Text in, text out.
How:     single numbers go through `pinproof.design.edit`. Windows are whole tables: the old ones of the line are taken
         out, comments in them are kept, the new ones stand where the first old one stood. The result is parsed and
         compared with what was meant before it is given out.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from pinproof.design.comments import with_pull_known, with_windows_known
from pinproof.design.edit import to_toml, with_values
from pinproof.design.load import BOM, loads
from pinproof.design.locate import Places, locate
from pinproof.design.model import Line, Truck
from pinproof.learn.pulls import Pulls
from pinproof.learn.state import LearnFault
from pinproof.learn.windows import LearnedWindow, as_stated
from pinproof.quantities import format_value

OHM_DIGITS = 5


def missing_meanings(truck: Truck, line: Line, windows: Sequence[LearnedWindow]) -> tuple[str, ...]:
    """Meanings that the line needs and no window has: its idle and what its contacts ask."""
    needed = dict.fromkeys([line.idle, *(each.asks for each in truck.contacts_of(line))])
    for rule in line.situations:
        needed.update(dict.fromkeys(each for each in rule.allowed if each != "invalid"))
    known = {each.meaning for each in windows if not each.maybe}
    return tuple(each for each in needed if each not in known)


def learned_text(
    text: str,
    truck: Truck,
    line: Line,
    *,
    pulls: Pulls | None = None,
    reference: tuple[float, float] | None = None,
    compares: str = "",
    windows: Sequence[LearnedWindow] = (),
    note: str = "",
) -> str:
    """A design file with what was learned.

    Parameters
    ----------
    text : str
        The file as it is; `truck` and `line` are from it.
    pulls : Pulls, optional
        From `pulls_of`.
    reference : (volts, tolerance ratio), optional
    compares : str
        "reference", "battery", "volts", or "" to leave it.
    windows : sequence of LearnedWindow
        Empty: those in the file stay.
    note : str
        Date, meter, supply, setting version.

    Raises
    ------
    LearnFault
        The text could not be changed without touching more.
    DesignFault
        The result would not load.
    """
    at = f"input.{line.input}"
    owner = truck.input(line.input)
    if pulls is not None:
        for side, ohm, tolerance in (
            ("pull_up", pulls.up_ohm, pulls.up_tolerance), ("pull_down", pulls.down_ohm, pulls.down_tolerance)
        ):  # fmt: skip
            text = _set_pull(text, f"{at}.{side}", ohm, tolerance, note)
        if pulls.up_ohm is not None and owner.pull_up_to != pulls.up_to:
            text = with_values(text, {f"{at}.pull_up_to": pulls.up_to})
        if pulls.up_ohm is not None or pulls.down_ohm is not None:
            text = with_pull_known(text, line.input)
    if reference is not None:
        value = _as_stated(*reference, "voltage")
        text = with_values(text, {f"{at}.reference": {**_measured(value, note), "low": None, "high": None}})
    if compares and owner.compares != compares:
        text = with_values(text, {f"{at}.compares": compares})
    if windows:
        if line.free:
            text = with_values(text, {f"line.{line.id}.windows": None})
        text = with_windows_known(_replace_windows(text, line.id, windows, note), line.id)
    loads(text, "the changed file")
    return text


def _measured(value: Mapping[str, str], note: str) -> dict[str, str]:
    return {**value, "basis": "measured", **({"note": note} if note else {})}


def _number(value: float, dimension: str) -> str:
    """As a design file writes it: letters instead of signs."""
    return format_value(value, dimension, digits=OHM_DIGITS).replace("Ω", "ohm")


def _set_pull(text: str, path: str, ohm: float | None, tolerance: float, note: str) -> str:
    if ohm is None:
        return _set_none(text, path)
    return _no_longer_assumed(
        with_values(text, {path: _measured(_as_stated(ohm, tolerance, "resistance"), note)}), path
    )


def _no_longer_assumed(text: str, path: str) -> str:
    """Without the "# assumed" that a drafted file writes behind an entry: it would gainsay the basis before it."""
    mark, body = (BOM, text[1:]) if text.startswith(BOM) else ("", text)
    _, owner, key = path.split(".")
    number = next(i for i, each in enumerate(tomllib.loads(body)["input"]) if each.get("id") == owner)
    span = locate(body).value.get(("input", number, key))
    if span is None:
        return text
    return mark + body[: span[1]] + re.sub(r"\A[ \t]*# assumed[ \t]*(?=\r?\n|\Z)", "", body[span[1] :])


def _as_stated(value: float, tolerance: float, dimension: str) -> dict[str, str]:
    told, off = as_stated(value, tolerance)
    return {"value": _number(told, dimension), "tolerance": format_value(off, "ratio")}


def _set_none(text: str, path: str) -> str:
    """An entry, table or text, becomes "none" where it stands, so that a comment behind it stays."""
    mark, body = (BOM, text[1:]) if text.startswith(BOM) else ("", text)
    _, owner, key = path.split(".")
    places, raw = locate(body), tomllib.loads(body)
    number = next(i for i, each in enumerate(raw["input"]) if each.get("id") == owner)
    span = places.value.get(("input", number, key))
    if span is None:
        return with_values(with_values(text, {path: None}), {path: "none"})
    return mark + body[: span[0]] + to_toml("none") + body[span[1] :]


def _replace_windows(text: str, line_id: str, windows: Sequence[LearnedWindow], note: str) -> str:
    mark, body = (BOM, text[1:]) if text.startswith(BOM) else ("", text)
    places, raw = locate(body), tomllib.loads(body)
    number = next(i for i, each in enumerate(raw["line"]) if each.get("id") == line_id)
    old = [
        ("line", number, key, i) for key in ("window", "target") for i in range(len(raw["line"][number].get(key, ())))
    ]  # fmt: skip
    if any(path not in places.room or body[places.start[path]] != "[" for path in old):
        raise LearnFault(f"line {line_id}", "Its windows are written in one line; write them as [[line.window]] first.")
    eol = "\r\n" if "\r\n" in body else "\n"
    olds = sorted(old, key=lambda path: places.start[path])
    cuts = [_cut(body, places, path, eol, last=path is olds[-1]) for path in olds]
    new = (eol + eol).join(eol.join(_rows(window, note)) for window in windows) + eol
    if cuts:
        pieces = [(cuts[0][0], cuts[0][1], cuts[0][2] + new), *cuts[1:]]
    else:
        at = _end_of_line_table(body, places, number)
        pieces = [(at, at, eol + eol + new.rstrip("\r\n"))]
    out = body
    for start, end, fresh in reversed(pieces):
        out = out[:start] + fresh + out[end:]
    _compare(raw, tomllib.loads(out), number, windows, line_id)
    return mark + out


def _cut(body: str, places: Places, path: tuple[str | int, ...], eol: str, *, last: bool) -> tuple[int, int, str]:
    """Where a window's table stands, and the comments in it that stay."""
    start = body.rfind("\n", 0, places.start[path]) + 1
    after = _next_line(body, places.room[path][0])
    kept = []
    strings = [span for key, span in places.value.items() if key[: len(path)] == path]
    at = start
    while (at := body.find("#", at, after)) >= 0:
        if any(a <= at < b for a, b in strings):
            at += 1
            continue
        line_end = _next_line(body, at)
        kept.append(body[at:line_end].strip())
        at = line_end
    while not last and body.startswith(eol, after):
        after += len(eol)
    return start, after, "".join(f"{each}{eol}" for each in kept)


def _next_line(body: str, at: int) -> int:
    """Where the line after the one at an offset begins."""
    end = body.find("\n", at)
    return len(body) if end < 0 else end + 1


def _end_of_line_table(body: str, places: Places, number: int) -> int:
    """After the last entry that belongs to this line."""
    return max(end for path, (end, _) in places.room.items() if path[:2] == ("line", number))


def _rows(window: LearnedWindow, note: str) -> list[str]:
    rows = ["[[line.window]]", f"meaning = {to_toml(window.meaning)}"]
    for key, end in (("low", window.low), ("high", window.high)):
        if end is not None:
            rows.append(f"{key} = {to_toml(_number(end.middle_ohm, 'resistance'))}")
    for side, end in (("low", window.low), ("high", window.high)):
        if end is not None and end.off_ohm > 0.0:
            rows.append(f"uncertainty_{side} = {to_toml(f'{end.off_text} ohm')}")
    rows.append('found = "substitution"')
    if window.fault:
        rows.append("fault = true")
    rows.append('basis = "measured"')
    if note:
        rows.append(f"note = {to_toml(note)}")
    return rows


def _compare(
    before: dict[str, Any], after: dict[str, Any], number: int, windows: Sequence[LearnedWindow], line_id: str
) -> None:
    """The new text says what was meant and nothing else."""
    got = [each.get("meaning") for each in after["line"][number].pop("window", [])]
    after["line"][number].pop("target", None)
    for key in ("window", "target"):
        before["line"][number].pop(key, None)
    if before != after or got != [each.meaning for each in windows]:
        raise LearnFault(f"line {line_id}", "Its windows are written in a way that cannot be changed by program.")
