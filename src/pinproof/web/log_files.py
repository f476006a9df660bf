"""Recordings, logger maps and scripts in the folder of the designs, and how a new one gets there.

Answers: which of the folder's files are logs, maps, scripts; which file does this name mean?
Touches: the folder of the workspace and nothing outside it. A name is looked up in the folder's own list.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pinproof.errors import PinproofError
from pinproof.logs import LogFault, MapFault, ScriptFault
from pinproof.web.finding import Finding, finding_of
from pinproof.web.page import Ask, Upload
from pinproof.web.workspace import RESERVED

LOG_ENDINGS = (
    ".csv", ".tsv", ".txt", ".log", ".parquet", ".mf4", ".mdf", ".dat", ".asc", ".blf", ".trc",
)  # fmt: skip
DBC_ENDING, TOML_ENDING = ".dbc", ".toml"
MOST_UPLOAD_BYTES = 200_000_000
MOST_TOML_BYTES = 1_000_000
FILE_NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 _().+-]{0,90}[A-Za-z0-9)])?")


@dataclass(frozen=True)
class Listed:
    """One file of the folder."""

    name: str
    bytes: int
    mtime_ns: int


@dataclass(frozen=True)
class LogFiles:
    """What a log page can use: recordings, maps, scripts and descriptions of CAN frames."""

    logs: tuple[Listed, ...] = ()
    maps: tuple[Listed, ...] = ()
    scripts: tuple[Listed, ...] = ()
    dbcs: tuple[Listed, ...] = ()
    paths: dict[str, Path] = field(default_factory=dict)


def files_of(ask: Ask) -> LogFiles:
    """What lies in the folder. Borrowed tables of its designs and lists of readings are no logs."""
    others = set(_borrowed(ask))
    kinds: dict[str, list[Listed]] = {"log": [], "map": [], "script": [], "dbc": []}
    paths = {}
    for path in ask.site.workspace.files():
        kind = _kind(path)
        if not kind or path.name in others or path.name.endswith("-readings.csv"):
            continue
        stat = path.stat()
        kinds[kind].append(Listed(path.name, stat.st_size, stat.st_mtime_ns))
        paths[path.name] = path
    logs, maps, scripts, dbcs = (tuple(kinds[kind]) for kind in ("log", "map", "script", "dbc"))
    return LogFiles(logs, maps, scripts, dbcs, paths)


def _borrowed(ask: Ask) -> Iterator[str]:
    for name in ask.site.workspace.names():
        with suppress(PinproofError):
            drive = ask.site.workspace.design(name).truck.drive
            yield from (Path(each.file).name for each in (drive.borrowed if drive is not None else ()))


def _kind(path: Path) -> str:
    ending = path.suffix.lower()
    if ending in LOG_ENDINGS:
        return "log"
    if ending == DBC_ENDING:
        return "dbc"
    return _toml_kind(_read_small(path)) if ending == TOML_ENDING else ""


def _read_small(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(MOST_TOML_BYTES)


def _toml_kind(data: bytes) -> str:
    """A map has [[channel]], a script [[phase]]; a design and a drawer have neither beside format."""
    try:
        raw = tomllib.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        return ""
    if isinstance(raw.get("phase"), list) and set(raw) <= {"format", "phase"}:
        return "script"
    is_map = isinstance(raw.get("channel"), list) and ("time" in raw or "can" in raw)
    return "map" if is_map and "supply" not in raw else ""


def path_of(files: LogFiles, name: str, among: Sequence[Listed], what: str) -> Path:
    """The file of this name; Finding 404 where it is not there."""
    if name not in {each.name for each in among}:
        known = ", ".join(each.name for each in among[:8]) or "none yet"
        raise Finding(404, f'There is no {what} "{name[:80]}" in this folder.', f"There is {known}.", what)
    return files.paths[name]


def keep_upload(ask: Ask, sent: Upload) -> str:
    """Write a sent file into the folder under its own name; never over another one. Gives the name."""
    name, ending = sent.name, Path(sent.name).suffix.lower()
    if not FILE_NAME.fullmatch(name) or RESERVED.fullmatch(name):
        raise Finding(
            422, f'"{name[:80]}" cannot be the name of a file here.',
            "Give it a name of letters, digits, blanks, dots and dashes.", "file",
        )  # fmt: skip
    if ending == TOML_ENDING and not _toml_kind(sent.data):
        raise Finding(
            422, f"{name} is neither a logger map nor a script.",
            "A map has [time] and [[channel]], a script has [[phase]]. Designs begin on the first page.", "file",
        )  # fmt: skip
    if ending not in (*LOG_ENDINGS, DBC_ENDING, TOML_ENDING):
        raise Finding(
            422, f'Files that end with "{ending[:12]}" are not read as logs.',
            f"Send one of {', '.join((*LOG_ENDINGS, DBC_ENDING))}, or a map or script as .toml.", "file",
        )  # fmt: skip
    if not sent.data:
        raise Finding(422, f"{name} is empty. Nothing was kept.", "Copy it again from the logger.", "file")
    target = ask.site.workspace.folder / name
    with ask.site.workspace.lock:
        taken = {each.name.casefold() for each in ask.site.workspace.files()}
        if name.casefold() in taken:
            if target.is_file() and target.read_bytes() == sent.data:
                return name
            raise Finding(
                409, f"There is another file {name} already. Nothing was kept.", "Rename one of them.", "file"
            )
        _write_whole(target, sent.data)
    return name


def _write_whole(target: Path, data: bytes) -> None:
    part = target.with_name(f"{target.name}.{os.getpid()}.part")
    try:
        part.write_bytes(data)
        os.replace(part, target)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise Finding(
            503, f"{target.name} was not kept ({error.strerror or error}).", "See that the disk has room.", target.name
        ) from None


def told(error: PinproofError) -> Finding:
    """What is wrong with a log, a map or a script, place by place."""
    if isinstance(error, MapFault):
        faults = [_fault(where, said) for where, said in error.faults]
        return Finding(
            422, f"The map {error.file} cannot be used as it is. Nothing was judged or written.",
            "Mend these entries.", error.file, faults,
        )  # fmt: skip
    if isinstance(error, ScriptFault):
        faults = [_fault(said.partition(": ")[0], said.partition(": ")[2] or said) for said in error.faults]
        return Finding(
            422, f"The script {error.file} cannot be used as it is. No log was judged.", "Mend these phases.",
            error.file, faults,
        )  # fmt: skip
    if isinstance(error, LogFault):
        where = f"{error.file}, {error.where}" if error.where else error.file
        return Finding(
            422, f"{where}: {error.read}", " ".join(p for p in (error.expected, error.hint) if p), error.file
        )
    return finding_of(error)


def _fault(where: str, said: str) -> dict[str, Any]:
    return {"line": 0, "column": 0, "path": where, "message": said, "read": ""}
