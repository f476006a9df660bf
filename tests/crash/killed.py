"""Writers killed at random instants on the real file system: is anything lost, is anything half a file?

    python3 dev.py crash 1000          a thousand kills of each kind, and the other trials
    python3 dev.py crash 50 save       fifty of one kind
    python3 dev.py crash --disk        only a full disk and a folder that may only be read

A writer is forked, writes without pause, and says through a pipe after each write that it is done. It is killed with
SIGKILL after a random time. Then what it had said must be there, and every file must be whole: one of the versions that
were written. A kill *inside* a write is one after its begin was told and before its end.

Only systems that can fork run this. What it checks holds the code that all systems share.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import select
import shutil
import signal
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from pinproof.design.load import text_hash
from pinproof.design.messages import ChangedUnderneath
from pinproof.design.save import save_atomic
from pinproof.pack.folder import write_files
from pinproof.record import Entry, Snapshot, open_record

DESIGN = """# a comment that stays
format = 1
id = "pp-crash"
name = "Crash truck {number}"
{filling}
"""
FILLING = "\n".join(f"# {k}: " + "filling " * 12 for k in range(400))  # about 40 kB, so that a write takes a while


@dataclass
class Count:
    """What a series gave."""

    kind: str
    kills: int = 0
    inside: int = 0
    writes: int = 0
    lost: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return (
            f"{self.kind}: {self.kills} kills, {self.inside} of them inside a write, {self.writes} writes told as "
            f"done, {len(self.lost)} lost or half written"
        )


Writer = Callable[[Path, int], Iterator[str]]


def design_text(number: int) -> str:
    """One version of a design file."""
    return DESIGN.format(number=number, filling=FILLING)


def save_writer(folder: Path, start: int) -> Iterator[str]:
    """Saves the design again and again; tells the number before and after each save."""
    path = folder / "truck.toml"
    seen = text_hash(path.read_bytes()) if path.exists() else None
    for number in range(start, start + 100_000):
        yield f"begin {number}"
        seen = save_atomic(path, design_text(number), seen)
        yield f"done {number}"


def save_check(folder: Path, done: int, begun: int) -> list[str]:
    """The design is the last version that was told or the one begun; the one before it is whole too."""
    path = folder / "truck.toml"
    if not path.exists():
        return [f"no design file after version {done} was told"] if done >= 0 else []
    texts = {design_text(k): k for k in range(begun + 1)}
    out = []
    found = texts.get(path.read_text(encoding="utf-8"))
    if found is None or found < done:
        out.append(f"the design is no version from {done} to {begun}")
    back = path.with_name("truck.toml.bak")
    if back.exists() and back.read_text(encoding="utf-8") not in texts:
        out.append("the kept version is none that was ever written")
    return out


def record_writer(folder: Path, start: int) -> Iterator[str]:
    """Adds readings; every tenth time five at once, which are kept together or not at all."""
    with open_record(folder / "a.readings.sqlite", "pp-crash") as record:
        snapshot = Snapshot("pp-crash", "h", "text")
        for number in range(start, start + 100_000):
            one = Entry("s", "m", float(number), "ohm", f"{number} " + "x" * 300, "2026-03-01T10:00:00Z", "meter", 1.0)
            yield f"begin {number}"
            if number % 10 == 0:
                record.add_all([one] * 5, snapshot)
            else:
                record.add(one, snapshot)
            yield f"done {number}"


def record_check(folder: Path, done: int, begun: int) -> list[str]:
    """Every reading that was told is there, whole and in order, and a group of five is never torn."""
    path = folder / "a.readings.sqlite"
    if not path.exists():
        return [f"no record after reading {done} was told"] if done >= 0 else []
    with open_record(path, "pp-crash") as record:
        kept = [int(each.text.split()[0]) for each in record.entries()]
        torn = [each.text for each in record.entries() if not each.text.endswith("x" * 300)]
    out = [f"{len(torn)} half readings"] if torn else []
    numbers = list(dict.fromkeys(kept))
    if numbers != list(range(len(numbers))) or not done + 1 <= len(numbers) <= begun + 1:
        out.append(f"{len(numbers)} readings kept, {done + 1} told, {begun + 1} begun")
    out += [f"reading {k} stands {kept.count(k)} times" for k in numbers if kept.count(k) != (5 if k % 10 == 0 else 1)]
    return out


def pack_files(number: int) -> dict[str, bytes]:
    """Files of one version of a pack, each with its own hash at its end."""
    out = {}
    for name, size in (("book.pdf", 300_000), ("card.html", 80_000), ("order.csv", 2_000)):
        body = (f"{name} {number} ".encode() * (size // 12))[:size]
        out[name] = body + hashlib.sha256(body).hexdigest().encode()
    return out


def pack_writer(folder: Path, start: int) -> Iterator[str]:
    """Writes a folder of files again and again."""
    for number in range(start, start + 100_000):
        yield f"begin {number}"
        write_files(folder / "pack", pack_files(number))
        yield f"done {number}"


def pack_check(folder: Path, done: int, begun: int) -> list[str]:
    """Every file is whole and no older than what was told."""
    out = []
    place = folder / "pack"
    if done >= 0 and not place.is_dir():
        return ["no folder after it was told"]
    for name in ("book.pdf", "card.html", "order.csv"):
        if not (place / name).exists():
            if done >= 0:
                out.append(f"{name} is gone")
            continue
        data = (place / name).read_bytes()
        body, seal = data[:-64], data[-64:]
        if hashlib.sha256(body).hexdigest().encode() != seal:
            out.append(f"{name} is half a file")
        elif not done <= int(body.split()[1]) <= begun:
            out.append(f"{name} is of version {int(body.split()[1])}, told {done}, begun {begun}")
    return out


KINDS: dict[str, tuple[Writer, Callable[[Path, int, int], list[str]], float]] = {
    "save": (save_writer, save_check, 0.02),
    "record": (record_writer, record_check, 0.02),
    "pack": (pack_writer, pack_check, 0.03),
}


def series(kind: str, kills: int, seed: int = 1, fresh_every: int = 25) -> Count:
    """Kill a writer so many times, going on in the same folder; a new folder now and then."""
    writer, check, longest_s = KINDS[kind]
    rng = random.Random(f"{kind} {seed}")
    count = Count(kind)
    folder: Path | None = None
    next_number, on_disk = 0, -1
    try:
        for trial in range(kills):
            if trial % fresh_every == 0:
                if folder is not None:
                    shutil.rmtree(folder)
                folder = Path(tempfile.mkdtemp(prefix="pinproof-crash-"))
                next_number, on_disk = 0, -1
            assert folder is not None
            told = _killed(lambda at=folder, n=next_number: writer(at, n), rng.uniform(0.0, longest_s))
            begun = max([next_number - 1, *(int(line.split()[1]) for line in told if line.startswith("begin"))])
            done = max([on_disk, *(int(line.split()[1]) for line in told if line.startswith("done"))])
            count.kills += 1
            count.inside += told[-1:] != [] and told[-1].startswith("begin")
            count.writes += sum(line.startswith("done") for line in told)
            count.lost += [f"{kind} {trial}: {each}" for each in check(folder, done, begun)]
            next_number, on_disk = _resumes_at(kind, folder, done, begun)
    finally:
        if folder is not None:
            shutil.rmtree(folder, ignore_errors=True)
    return count


def _resumes_at(kind: str, folder: Path, done: int, begun: int) -> tuple[int, int]:
    """The number the next writer begins with, and the one that is surely on disk now."""
    if kind == "record":
        if begun > done and (folder / "a.readings.sqlite").exists():
            with open_record(folder / "a.readings.sqlite", "pp-crash") as record:
                done = len({each.text.split()[0] for each in record.entries()}) - 1
        return done + 1, done
    return begun + 1, done


def _killed(writer: Callable[[], Iterator[str]], after_s: float) -> list[str]:
    """Run a writer in a process of its own and kill it; what it said until then."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            os.close(read_end)
            for word in writer():
                os.write(write_end, f"{word}\n".encode())
            code = 0
        finally:
            os._exit(code)
    os.close(write_end)
    parts: list[bytes] = []
    deadline = None
    while True:
        wait = 30.0 if deadline is None else max(deadline - time.monotonic(), 0.0)
        ready, _, _ = select.select([read_end], [], [], wait)
        if not ready:
            break
        part = os.read(read_end, 65536)
        if not part:
            break
        parts.append(part)
        if deadline is None:
            deadline = time.monotonic() + after_s
    os.kill(child, signal.SIGKILL)
    while part := os.read(read_end, 65536):
        parts.append(part)
    os.close(read_end)
    os.waitpid(child, 0)
    return b"".join(parts).decode().splitlines()


def two_at_once(saves: int) -> Count:
    """Two processes count up one number in one design file; every save that was told to succeed must be in it."""
    folder = Path(tempfile.mkdtemp(prefix="pinproof-crash-"))
    path = folder / "truck.toml"
    path.write_text('format = 1\nid = "pp-crash"\nname = "0"\n', encoding="utf-8", newline="\n")
    children = []
    for _ in range(2):
        read_end, write_end = os.pipe()
        child = os.fork()
        if child == 0:
            won = 0
            try:
                while won < saves:
                    text = path.read_text(encoding="utf-8")
                    number = int(text.split('name = "')[1].split('"')[0])
                    fresh = text.replace(f'name = "{number}"', f'name = "{number + 1}"')
                    try:
                        save_atomic(path, fresh, text_hash(text.encode()))
                        won += 1
                    except ChangedUnderneath:
                        continue
                os.write(write_end, str(won).encode())
            finally:
                os._exit(0)
        os.close(write_end)
        children.append((child, read_end))
    won = 0
    for child, read_end in children:
        won += int(os.read(read_end, 100) or b"0")
        os.close(read_end)
        os.waitpid(child, 0)
    final = int(tomllib.loads(path.read_text(encoding="utf-8"))["name"])
    shutil.rmtree(folder)
    lost = [] if final == won == 2 * saves else [f"{won} saves told, {final} in the file"]
    return Count("two at once", writes=won, lost=lost)


def main(arguments: list[str]) -> int:
    """Run the series asked for and print the counts."""
    parser = argparse.ArgumentParser(prog="dev.py crash", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("kills", nargs="?", type=int, default=1000)
    parser.add_argument("kinds", nargs="*", help=f"of {', '.join(KINDS)}")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--disk", action="store_true", help="only a full and an unwritable disk")
    asked = parser.parse_args(arguments)
    if asked.disk:
        from tests.crash.full import full_disk, words

        counts = full_disk(600)
        print("\n".join(words(each) for each in counts))
        return 1 if any(each.lost for each in counts) else 0
    if not hasattr(os, "fork"):
        print("This system cannot fork: nothing was tried.")
        return 0
    found = [series(kind, asked.kills, asked.seed) for kind in asked.kinds or KINDS]
    if not asked.kinds:
        found.append(two_at_once(max(asked.kills // 2, 10)))
    for each in found:
        print(each)
        print("\n".join(each.lost[:10]), end="\n" if each.lost else "")
    return 1 if any(each.lost for each in found) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
