"""Whether a Parquet file can be read at all, told by a process of its own.

Answers: `sound`, before the file is read here: a damaged size may ask for absurd room, and the library then ends the
         whole process, which would take a server down with everybody's work.
Touches: the process that reads the file for trial (`parquet_probe`).
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from pinproof.logs import parquet_probe
from pinproof.logs.faults import LogFault, shown

LONGEST_TRIAL_S = 900.0
MOST_KNOWN = 100
_SOUND: dict[tuple[object, ...], None] = {}  # what was tried and can be read, the latest last


def sound(path: Path, columns: tuple[str, ...] = (), head: int = 0) -> None:
    """See that these columns (none named: all) can be read, of the first `head` rows (0: of all).

    Raises
    ------
    LogFault
        They cannot. What can be read is tried once for each state of a file.
    """
    try:
        seen = path.stat()
    except OSError:
        return  # whoever opens it tells
    key = (path.absolute(), seen.st_size, seen.st_mtime_ns, columns, head)
    if key in _SOUND:
        return
    answer = ask_probe(json.dumps({"path": str(path), "columns": list(columns), "head": head}))
    said = json.loads(answer)["error"] if answer else "reading it ends the program that reads it"
    if said:
        raise damaged(path.name, said)
    _SOUND[key] = None
    while len(_SOUND) > MOST_KNOWN:
        del _SOUND[next(iter(_SOUND))]


def ask_probe(question: str) -> str:
    """One question to `parquet_probe`; "" if it ended without an answer."""
    try:
        done = subprocess.run(
            [sys.executable, parquet_probe.__file__], input=question + "\n", capture_output=True, encoding="utf-8",
            errors="replace", timeout=LONGEST_TRIAL_S, creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return ""
    return done.stdout.strip() if done.returncode == 0 else ""


def damaged(name: str, said: str) -> LogFault:
    """What is said of a Parquet file that cannot be read. A damaged one may make polars panic, not only complain."""
    return LogFault(
        name, "damaged", f"The Parquet file is damaged or cut off: {shown(said, 120)}.", "A whole file ends in PAR1.",
        "Copy it again from the logger.",
    )  # fmt: skip
