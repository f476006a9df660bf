"""A disk that fills up, and a folder that may only be read: every writer says so, and what was there stays whole.

    python3 dev.py crash --disk

Needs a system where a small file system can be mounted (Linux, as root); elsewhere it says so.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pinproof.design.load import text_hash
from pinproof.design.messages import SaveFailed
from pinproof.design.save import save_atomic
from pinproof.errors import PinproofError
from pinproof.pack.folder import CannotWrite, write_files
from pinproof.record import Entry, Snapshot, open_record
from tests.crash.killed import Count, design_text, pack_files

SIZE = 4096 * 300


@contextmanager
def small_disk() -> Iterator[Path]:
    """A file system of 1.2 MB of its own. Raises OSError where none can be had."""
    with tempfile.TemporaryDirectory(prefix="pinproof-disk-") as name:
        command = ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", name]
        if sys.platform != "linux" or subprocess.run(command, capture_output=True, check=False).returncode:
            raise OSError("no small file system can be mounted here")
        try:
            yield Path(name)
        finally:
            subprocess.run(["umount", "-l", name], capture_output=True, check=False)


def fill(folder: Path, leave: int) -> None:
    """Take all room but `leave` bytes."""
    filler = folder / "filler"
    filler.unlink(missing_ok=True)
    with filler.open("wb", buffering=0) as out:
        try:
            while True:
                out.write(b"\0" * 4096)
        except OSError:
            pass
        out.truncate(max(out.tell() - leave, 0))


def remount(folder: Path, how: str) -> None:
    """Make the file system readable only ("ro") or writable again ("rw")."""
    subprocess.run(["mount", "-o", f"remount,{how}", str(folder)], check=True, capture_output=True)


def save_trial(folder: Path, count: Count, version: int) -> None:
    """Save once; a refusal leaves the file as it was."""
    path = folder / "truck.toml"
    before = path.read_bytes()
    try:
        save_atomic(path, design_text(version), text_hash(before))
        count.writes += 1
        wanted = design_text(version).encode()
    except SaveFailed:
        count.kills += 1
        wanted = before
    if path.read_bytes() != wanted:
        count.lost.append(f"version {version}: the design is neither the old nor the new one")
    strays = [each.name for each in folder.iterdir() if each.name.endswith(".tmp")]
    if strays:
        count.lost.append(f"version {version}: left behind {strays}")


def record_trial(folder: Path, count: Count, number: int) -> None:
    """Add a reading; a refusal keeps all that was there."""
    path = folder / "a.readings.sqlite"
    one = Entry("s", "m", float(number), "ohm", "x" * 3000, "2026-03-01T10:00:00Z", "meter", 1.0)
    try:
        with open_record(path, "pp-crash") as record:
            record.add(one, Snapshot("pp-crash", "h", "text"))
        count.writes += 1
    except PinproofError:
        count.kills += 1


def pack_trial(folder: Path, count: Count, version: int) -> None:
    """Write a pack; a refusal keeps every file that was there whole."""
    place = folder / "pack"
    try:
        write_files(place, pack_files(version))
        count.writes += 1
    except CannotWrite:
        count.kills += 1
    for each in place.iterdir() if place.is_dir() else ():
        if each.suffix == ".part":
            count.lost.append(f"version {version}: left behind {each.name}")
        elif not any(each.read_bytes() == pack_files(k)[each.name] for k in range(version + 1)):
            count.lost.append(f"version {version}: {each.name} is half a file")


def full_disk(rounds: int = 60) -> list[Count]:
    """Each writer with less and less room, then with none to write at all. `kills` counts refusals."""
    save, record, pack = Count("save on a full disk"), Count("record on a full disk"), Count("pack on a full disk")
    with small_disk() as folder:
        (folder / "truck.toml").write_text(design_text(0), encoding="utf-8", newline="\n")
        with open_record(folder / "a.readings.sqlite", "pp-crash"):
            pass
        for number in range(1, rounds + 1):
            room = 4096 * ((number * 7) % 60)
            for trial, count in ((save_trial, save), (record_trial, record), (pack_trial, pack)):
                fill(folder, room if count is not pack else room * 3)
                trial(folder, count, number)
        fill(folder, 0)
        (folder / "filler").unlink()
        remount(folder, "ro")
        for trial, count in ((save_trial, save), (record_trial, record), (pack_trial, pack)):
            before = count.kills
            trial(folder, count, rounds + 1)
            if count.kills == before:
                count.lost.append("a folder that may only be read was not refused")
        remount(folder, "rw")
        with open_record(folder / "a.readings.sqlite", "pp-crash") as kept:
            if len(kept.entries()) != record.writes:
                record.lost.append(f"{len(kept.entries())} readings kept, {record.writes} told")
    return [save, record, pack]


def words(count: Count) -> str:
    """One line for a person."""
    return f"{count.kind}: {count.writes} written, {count.kills} refused, {len(count.lost)} lost, half or left behind"
