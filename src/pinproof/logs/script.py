"""What the crew pressed and drove, written down by the crew: the script of a session.

Answers: in which part of which log was what done, and how often?
Units:   seconds from the log's begin.
Touches: the file named, in `load_script`.
Beside:  docs/logs.md, "The script".
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pinproof.design.load import toml_of
from pinproof.errors import PinproofError, QuantityFault, printable
from pinproof.quantities import parse

Kind = Literal["key on, engine off", "drive", "hands off", "detents"]
KINDS: tuple[Kind, ...] = ("key on, engine off", "drive", "hands off", "detents")
COUNTS = ("up", "down", "refused_up", "refused_down")
_KEYS = {"log", "kind", "from", "to", "held", "detents", "note", *COUNTS}
MOST_COUNT = 100_000
MOST_PHASES = 1000
_EXAMPLE = 'kind = "drive", from = "0 s", to = "120 s", up = 20, down = 20'


@dataclass(frozen=True)
class Phase:
    """One part of a log and what was done in it. A count is None where the crew did not write it."""

    number: int  # in the file, from 1
    log: str  # "" where there is only one
    kind: Kind
    from_s: float
    to_s: float
    up: int | None = None
    down: int | None = None
    refused_up: int = 0
    refused_down: int = 0
    held_s: float | None = None
    detents: tuple[str, ...] = ()
    note: str = ""

    def is_in(self, log: str, only: bool) -> bool:
        """True if this phase is about the log of that name; `only`: it is the only log."""
        return self.log == log or (not self.log and only)


@dataclass(frozen=True)
class Script:
    """All phases, in file order."""

    phases: tuple[Phase, ...] = ()
    file: str = ""

    def of(self, log: str, only: bool, kind: Kind) -> tuple[Phase, ...]:
        """Phases of one kind in one log."""
        return tuple(each for each in self.phases if each.kind == kind and each.is_in(log, only))


@dataclass
class ScriptFault(PinproofError):
    """All that is wrong with a script."""

    file: str
    faults: tuple[str, ...]

    def __str__(self) -> str:
        told = [printable(f"{self.file}  {said}") for said in self.faults[:100]]
        return "\n".join([*told, f"{len(self.faults)} fault(s) in the script; no log was judged."])


def load_script(path: str | Path) -> Script:
    """The script in a file; ScriptFault if it cannot be used."""
    where = Path(path)
    try:
        text = where.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise ScriptFault(where.name, (f"cannot be read: {error.strerror or error}.",)) from None
    except UnicodeDecodeError:
        raise ScriptFault(where.name, ("is no UTF-8 text. Save it as UTF-8.",)) from None
    return script_of(text, where.name)


def script_of(text: str, file: str = "script") -> Script:
    """The script in a text; ScriptFault if it cannot be used.

    Examples
    --------
    >>> script_of('format = 1\\n[[phase]]\\nkind = "hands off"\\nfrom = "0 s"\\nto = "2 min"').phases[0].to_s
    120.0
    """
    try:
        raw = toml_of(text)
    except (ValueError, RecursionError) as error:
        raise ScriptFault(file, (f"is no TOML file: {error}.",)) from None
    faults: list[str] = []
    if raw.get("format") != 1:
        faults.append("format: write format = 1.")
    faults += [f"{key[:40]}: unknown key. There are: format, phase." for key in raw if key not in ("format", "phase")]
    listed = raw.get("phase")
    if not isinstance(listed, list) or not listed or not all(isinstance(each, dict) for each in listed):
        raise ScriptFault(file, (*faults, f"phase: write one [[phase]] for each part, with {_EXAMPLE}."))
    if len(listed) > MOST_PHASES:
        raise ScriptFault(file, (*faults, f"phase: {len(listed)} phases are more than {MOST_PHASES}."))
    phases = [_phase(number, each, faults) for number, each in enumerate(listed, start=1)]
    if faults:
        raise ScriptFault(file, tuple(faults))
    return Script(tuple(phases), file)


def _phase(number: int, raw: dict[str, object], faults: list[str]) -> Phase:
    at = f"phase.{number}"
    for key in raw:
        if key not in _KEYS:
            faults.append(f"{at}.{key[:40]}: unknown key. There are: {', '.join(sorted(_KEYS))}.")
    kind = raw.get("kind")
    if kind not in KINDS:
        faults.append(f"{at}.kind: {_shown(kind)} is none of {', '.join(KINDS)}.")
        kind = "drive"
    begin, end = (_time(at, key, raw.get(key), faults) for key in ("from", "to"))
    if end <= begin:
        faults.append(f'{at}.to: it is not after "from".')
    counts: dict[str, int | None] = {}
    for key in COUNTS:
        value = raw.get(key)
        if value is not None and (type(value) is not int or not 0 <= value <= MOST_COUNT):
            faults.append(f"{at}.{key}: {_shown(value)} is no count; write a whole number such as 20.")
            value = None
        counts[key] = value if isinstance(value, int) else None
    for way in ("up", "down"):
        if (counts[f"refused_{way}"] or 0) > (counts[way] or 0):
            faults.append(f"{at}.refused_{way}: more than the {way} that were pressed.")
    if kind in ("drive", "key on, engine off") and counts["up"] is None and counts["down"] is None:
        faults.append(f"{at}: write up and down, how often each was pressed.")
    detents = raw.get("detents", [])
    if not isinstance(detents, list) or not all(isinstance(each, str) and each for each in detents):
        faults.append(f'{at}.detents: write the positions in order, such as ["park", "reverse", "neutral"].')
        detents = []
    if kind == "detents" and len(detents) < 2:
        faults.append(f"{at}.detents: write at least two positions, in the order they were visited.")
    held = None if "held" not in raw else _time(at, "held", raw["held"], faults)
    texts = {}
    for key in ("log", "note"):
        texts[key] = raw.get(key, "")
        if not isinstance(texts[key], str):
            faults.append(f"{at}.{key}: {_shown(texts[key])} is no text.")
            texts[key] = ""
    return Phase(
        number, str(texts["log"]), kind, begin, end, counts["up"], counts["down"], counts["refused_up"] or 0,  # type: ignore[arg-type]
        counts["refused_down"] or 0, held, tuple(detents), str(texts["note"]),
    )  # fmt: skip


def _time(at: str, key: str, value: object, faults: list[str]) -> float:
    if not isinstance(value, str):
        faults.append(f'{at}.{key}: {_shown(value)} is no time; write "90 s" or "2 min".')
        return 0.0
    try:
        found = parse(value, "time")
    except QuantityFault as fault:
        faults.append(f"{at}.{key}: {fault}")
        return 0.0
    if found < 0.0:
        faults.append(f"{at}.{key}: a time in a log is not below zero.")
    return max(found, 0.0)


def _shown(value: object) -> str:
    return "nothing" if value is None else f'"{str(value)[:40]}"'
