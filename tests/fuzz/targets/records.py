"""The record of readings, damaged or no record at all."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from pinproof.design import load
from pinproof.examples import example_path
from pinproof.record import Entry, LogProof, ProofFile, RecordFault, Snapshot, open_record
from pinproof.record.history import histories_of
from pinproof.verdict import Verdict
from tests.fuzz import mutate
from tests.fuzz.oracle import Broken, refused
from tests.fuzz.target import Run, Target

NAME = "in.readings.sqlite"
SIDES = (f"{NAME}-wal", f"{NAME}-shm", f"{NAME}-journal")


def _entry(number: int) -> Entry:
    return Entry(
        f"station {number % 3}", f"mark {number % 3}", 1000.0 + number, "ohm", f"{1000 + number}",
        "2026-03-01T18:30:00Z",
        "an invented meter", 5.0, "a note", 12.0,
    )  # fmt: skip


def _proof() -> LogProof:
    checks = [{"check": "taps", "verdict": "pass", "text": "Each tap made its step."}]
    files = (ProofFile("log", "day1.csv", 100, "ab"), ProofFile("map", "map.toml", 10, "cd"))
    return LogProof(Verdict.PASS, {"checks": checks}, files, "2026-03-01T18:30:00Z", "1.0")


def begin(folder: Path) -> Run:
    """Open, read everything, add one; what is refused stays as it was, with nothing beside it."""
    truck = load(example_path("wagtail"))
    snapshot = Snapshot(truck.id, "hash", "text")
    path = folder / NAME

    def run(data: bytes) -> None:
        for side in SIDES:
            (folder / side).unlink(missing_ok=True)
        path.write_bytes(data)
        try:
            record = open_record(path, truck.id)
        except RecordFault as fault:
            refused(fault, NAME)
            if path.read_bytes() != data:
                raise Broken("a file that was refused was changed", str(fault)) from fault
            left = [side for side in SIDES if (folder / side).exists()]
            if left:
                raise Broken("a refusal left something behind", ", ".join(left)) from fault
            return
        with record:
            for read in (
                lambda: histories_of(record.entries(struck=True)),
                lambda: record.log_proofs(struck=True),
                lambda: record.latest(["mark 1"]),
                lambda: record.snapshot("hash"),
            ):
                try:
                    read()
                except RecordFault as fault:
                    refused(fault, NAME)
                except KeyError:  # its documented answer where the snapshot is gone
                    pass
            try:
                if zlib.crc32(data) % 2:
                    record.add(_entry(7), snapshot)
                else:
                    record.add_log_proof(_proof(), snapshot)
            except RecordFault as fault:
                refused(fault, NAME)

    return run


def seeds() -> Sequence[bytes]:
    """A record with some of everything, a new one, a database of something else."""
    truck = load(example_path("wagtail"))
    made = []
    with TemporaryDirectory() as name:
        for count in (0, 12):
            path = Path(name, f"{count}.sqlite")
            with open_record(path, truck.id) as record:
                snapshot = Snapshot(truck.id, "hash", "text")
                for number in range(count):
                    record.add(_entry(number), snapshot)
                if count:
                    record.strike(2, "2026-03-01T18:40:00Z", "slip")
                    record.add_log_proof(_proof(), snapshot)
            made.append(path.read_bytes())
        other = sqlite3.connect(Path(name, "other.sqlite"))
        other.execute("CREATE TABLE about (design_id TEXT)")
        other.commit()
        other.close()
        made.append(Path(name, "other.sqlite").read_bytes())
    return made


WORDS = (
    "SQLite format 3", "pp-wagtail", "CREATE TABLE", "readings", "snapshots", "log_proofs", "design_id",
    "TEXT NOT NULL",
    '{"checks": []}', "pass", "mark 1", "taken_utc", "\x00\x00\x00\x04", "INTEGER PRIMARY KEY", "REFERENCES",
)  # fmt: skip
TARGETS = (
    Target("record", "the record of readings", ("pinproof.record",), begin, seeds, mutate.PLAIN, WORDS, limit_s=5.0),
)  # fmt: skip
