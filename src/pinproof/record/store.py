"""The file that keeps readings and log proofs: SQLite, one committed entry after another.

Answers: every reading and log proof that was ever committed, whatever happened to the program or the power since.
Units:   values in ohms or volts as `unit` says; temperatures in degrees Celsius; times are UTC, ISO 8601.
Touches: the record file and the two that SQLite keeps beside it while it is open (-wal, -shm).
Sources: write-ahead log, ``synchronous = FULL``: SQLite's own documentation, "Atomic Commit" and "Write-Ahead Logging".

Neither is ever changed or deleted. A wrong one is struck out: it stays, with the time and the reason.
"""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from pinproof.errors import PinproofError, printable
from pinproof.record import log_proofs
from pinproof.record.log_proofs import LogProof

SUFFIX = ".readings.sqlite"
WAIT_S = 10.0  # for another program that is writing
LONGEST_TEXT = 2000

# One step for each version of the file; never edited once released, only added to.
MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE about (design_id TEXT NOT NULL);
    CREATE TABLE snapshots (hash TEXT PRIMARY KEY, text TEXT NOT NULL, first_utc TEXT NOT NULL);
    CREATE TABLE readings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        taken_utc TEXT NOT NULL,
        station TEXT NOT NULL,
        fingerprint TEXT NOT NULL,
        value REAL,
        unit TEXT NOT NULL,
        text TEXT NOT NULL,
        error_limit REAL,
        meter TEXT NOT NULL,
        note TEXT NOT NULL,
        ambient_c REAL,
        design_id TEXT NOT NULL,
        snapshot TEXT NOT NULL REFERENCES snapshots (hash)
    );
    CREATE INDEX readings_by_fingerprint ON readings (fingerprint, taken_utc);
    """,
    """
    ALTER TABLE readings ADD COLUMN struck_utc TEXT;
    ALTER TABLE readings ADD COLUMN struck_why TEXT;
    CREATE INDEX readings_by_station ON readings (station, taken_utc);
    """,
    log_proofs.TABLES,
)
VERSION = len(MIGRATIONS)
_NEW = (0, 4096)  # size of a file in which nothing stands yet [byte]
_DAMAGED = (sqlite3.Error, ValueError, TypeError, OverflowError)  # what reading a damaged file can raise


@dataclass(frozen=True)
class Snapshot:
    """The design file as it stood when something was measured."""

    design_id: str
    hash: str
    text: str


@dataclass(frozen=True)
class Entry:
    """One reading. `value` is NaN for words, infinite for an open display. `number` is 0 until it is kept."""

    station: str
    fingerprint: str
    value: float
    unit: str  # "ohm", "V", or "" for words
    text: str
    taken_utc: str
    meter: str
    error_limit: float = math.nan  # the meter's error either way, as it was worked out then; NaN for words
    note: str = ""
    ambient_c: float | None = None
    design_id: str = ""
    snapshot: str = ""
    number: int = 0
    struck_utc: str = ""
    struck_why: str = ""


@dataclass
class RecordFault(PinproofError):
    """A record that cannot be used, or a reading or log proof it refuses. Nothing was written."""

    file: str
    said: str
    next_step: str = ""

    def __str__(self) -> str:
        return printable(f"{self.file}: {self.said} {self.next_step} Nothing was written.".replace("  ", " "))


def record_path(design_file: str | Path) -> Path:
    """Where the readings of a design file are kept: truck.toml has truck.readings.sqlite beside it."""
    path = Path(design_file)
    return path.with_name(path.stem + SUFFIX)


class Record:
    """An open record. Use `open_record`."""

    def __init__(self, path: Path, connection: sqlite3.Connection, design_id: str) -> None:
        self.path = path
        self.design_id = design_id
        self._db = connection

    def add(self, entry: Entry, snapshot: Snapshot) -> Entry:
        """Keep one reading; when this returns it is on the disk.

        Raises
        ------
        RecordFault
            The reading is of another design, or the file cannot be written.
        """
        return self.add_all([entry], snapshot)[0]

    def add_all(self, entries: Iterable[Entry], snapshot: Snapshot) -> tuple[Entry, ...]:
        """Keep several readings, all or none; RecordFault as `add`."""
        listed = tuple(entries)
        for design_id in (snapshot.design_id, *(each.design_id for each in listed if each.design_id)):
            if design_id != self.design_id:
                raise self._foreign(design_id)
        kept = []
        with self._write() as db:
            when = min((each.taken_utc for each in listed), default="")
            db.execute("INSERT OR IGNORE INTO snapshots VALUES (?, ?, ?)", (snapshot.hash, snapshot.text, when))
            for each in listed:
                value = None if math.isnan(each.value) else each.value
                limit = None if math.isnan(each.error_limit) else each.error_limit
                done = db.execute(
                    "INSERT INTO readings (taken_utc, station, fingerprint, value, unit, text, error_limit, meter, "
                    "note, ambient_c, design_id, snapshot) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    (each.taken_utc, each.station, each.fingerprint, value, each.unit, each.text[:LONGEST_TEXT], limit,
                     each.meter, each.note[:LONGEST_TEXT], each.ambient_c, self.design_id, snapshot.hash),
                )  # fmt: skip
                kept.append(done.lastrowid or 0)
        numbers = {number: index for index, number in enumerate(kept)}
        found = {each.number: each for each in self.entries() if each.number in numbers}
        return tuple(found[number] for number in kept)

    def strike(self, number: int, struck_utc: str, why: str) -> None:
        """Strike a reading out: it stays on record, and counts no more.

        Raises
        ------
        RecordFault
            There is no such reading, or it is struck out already.
        """
        with self._write() as db:
            done = db.execute(
                "UPDATE readings SET struck_utc = ?, struck_why = ? WHERE id = ? AND struck_utc IS NULL",
                (struck_utc, why[:LONGEST_TEXT], number),
            )
            if done.rowcount != 1:
                raise RecordFault(self.path.name, f"There is no reading {number} that still counts.")

    def add_log_proof(self, proof: LogProof, snapshot: Snapshot) -> tuple[LogProof, bool]:
        """Keep what logs proved; when this returns it is on the disk.

        Returns
        -------
        LogProof, bool
            As it is kept, and whether it is new. If the latest one that counts says the same of the same design and
            files, that one is given and nothing is written.

        Raises
        ------
        RecordFault
            The proof is of another design, or the file cannot be read or written.
        """
        for design_id in (snapshot.design_id, proof.design_id or snapshot.design_id):
            if design_id != self.design_id:
                raise self._foreign(design_id, "This log proof is")
        rows = log_proofs.rows_of(proof, self.design_id, snapshot.hash)
        number, fresh = 0, False
        with self._write() as db:
            last = db.execute("SELECT max(id) FROM log_proofs WHERE struck_utc IS NULL").fetchone()[0]
            known = None if last is None else self._log_proofs(number=last)[0]
            if known is not None and known.says_the_same(replace(proof, snapshot=snapshot.hash)):
                number = known.number
            else:
                fresh = True
                db.execute(
                    "INSERT OR IGNORE INTO snapshots VALUES (?, ?, ?)", (snapshot.hash, snapshot.text, proof.kept_utc)
                )
                done = db.execute(
                    "INSERT INTO log_proofs (kept_utc, verdict, summary, program, design_id, snapshot) "
                    "VALUES (?, ?, ?, ?, ?, ?)",
                    rows.proof,
                )
                number = done.lastrowid or 0
                db.executemany(
                    f"INSERT INTO log_proof_files ({log_proofs.FILE_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)",
                    [(number, *each) for each in rows.files],
                )
        return self._log_proofs(number=number)[0], fresh

    def log_proofs(self, *, struck: bool = False) -> tuple[LogProof, ...]:
        """Log proofs in the order they were kept; with `struck`, those struck out as well.

        Raises
        ------
        RecordFault
            The file is damaged.
        """
        return tuple(each for each in self._log_proofs() if struck or not each.struck_utc)

    def _log_proofs(self, *, number: int | None = None) -> tuple[LogProof, ...]:
        proof, file, values = ("WHERE id = ?", "WHERE proof = ?", [number]) if number is not None else ("", "", [])
        with self._read():
            rows = self._db.execute(f"SELECT {log_proofs.COLUMNS} FROM log_proofs {proof} ORDER BY id", values)
            found = rows.fetchall()
            files = self._db.execute(f"SELECT {log_proofs.FILE_COLUMNS} FROM log_proof_files {file}", values)
            return log_proofs.proofs_of(found, files.fetchall())

    def strike_log_proof(self, number: int, struck_utc: str, why: str) -> None:
        """Strike a log proof out: it stays on record, and counts no more; RecordFault if there is none such."""
        with self._write() as db:
            done = db.execute(
                "UPDATE log_proofs SET struck_utc = ?, struck_why = ? WHERE id = ? AND struck_utc IS NULL",
                (struck_utc, why[:LONGEST_TEXT], number),
            )
            if done.rowcount != 1:
                raise RecordFault(self.path.name, f"There is no log proof {number} that still counts.")

    def entries(self, *, station: str | None = None, struck: bool = False) -> tuple[Entry, ...]:
        """Readings, the earliest first; with `struck`, those struck out as well."""
        wanted, values = [], []
        if station is not None:
            wanted.append("station = ?")
            values.append(station)
        if not struck:
            wanted.append("struck_utc IS NULL")
        where = f" WHERE {' AND '.join(wanted)}" if wanted else ""
        with self._read():
            rows = self._db.execute(
                "SELECT station, fingerprint, value, unit, text, taken_utc, meter, error_limit, note, ambient_c, "
                f"design_id, snapshot, id, struck_utc, struck_why FROM readings{where} ORDER BY taken_utc, id",
                values,
            )
            return tuple(_entry(row) for row in rows)

    def latest(self, fingerprints: Iterable[str]) -> dict[str, Entry]:
        """The latest reading that counts of each of these fingerprints that has one."""
        asked = set(fingerprints)
        return {each.fingerprint: each for each in self.entries() if each.fingerprint in asked}

    def snapshot(self, snapshot_hash: str) -> str:
        """The design file's text of that hash; KeyError if it was never kept."""
        with self._read():
            row = self._db.execute("SELECT text FROM snapshots WHERE hash = ?", (snapshot_hash,)).fetchone()
        if row is None:
            raise KeyError(snapshot_hash)
        return str(row[0])

    def close(self) -> None:
        """Close the file; the two beside it go away with the last program that has it open."""
        self._db.close()

    def __enter__(self) -> Record:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _foreign(self, design_id: str, what: str = "These readings are") -> RecordFault:
        return RecordFault(
            self.path.name,
            f'{what} of design "{design_id}"; this record is of design "{self.design_id}".',
            "What another truck showed proves nothing here. Name that truck's own design file.",
        )

    @contextmanager
    def _read(self) -> Iterator[None]:
        try:
            yield
        except _DAMAGED as error:
            raise RecordFault(
                self.path.name, f"It is damaged and cannot be read: {error}.",
                "Put it aside and take back a copy, or begin a new one; the design file is not touched.",
            ) from error  # fmt: skip

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        try:
            self._db.execute("BEGIN IMMEDIATE")
            yield self._db
            self._db.execute("COMMIT")
        except (sqlite3.Error, UnicodeDecodeError) as error:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise RecordFault(
                self.path.name, f"It cannot be written: {error}.", "Is the disk full, or another program writing?"
            ) from error
        except BaseException:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise


def open_record(path: str | Path, design_id: str) -> Record:
    """Open the record of a design, or begin it.

    Parameters
    ----------
    path : str or path-like
        Usually `record_path` of the design file.
    design_id : str
        The design's permanent id.

    Raises
    ------
    RecordFault
        It is of another design, no record at all, from a newer version, or cannot be opened.
    """
    where = Path(path)
    try:
        connection = sqlite3.connect(where, timeout=WAIT_S, isolation_level=None)
    except sqlite3.Error as error:
        raise RecordFault(where.name, f"It cannot be opened: {error}.", "Is the folder there and writable?") from error
    try:
        _look(connection, where, design_id)  # before anything is changed: it may be somebody else's file
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        _migrate(connection, where.name, design_id)
        with suppress(sqlite3.OperationalError):  # busy just now: whoever opens it next changes it
            connection.execute("PRAGMA journal_mode = WAL")  # a disk that cannot do it stays with the older, safe way
    except (*_DAMAGED, RecursionError) as error:
        connection.close()
        raise RecordFault(
            where.name, f"This is no record of readings: {error}.", "Put it aside; a new one is begun."
        ) from error
    except BaseException:
        connection.close()
        raise
    return Record(where, connection, design_id)


def _look(connection: sqlite3.Connection, where: Path, design_id: str) -> None:
    """See that the file is a record of this design, or new; reads only.

    Raises
    ------
    RecordFault
        It is of another design, no record at all, or from a newer version.
    """
    connection.execute("BEGIN")  # all of it of one state: another program may be beginning the same record
    try:
        version = _version(connection)
        tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        size = where.stat().st_size
    finally:
        connection.execute("ROLLBACK")
    name = where.name
    if version > VERSION:
        raise RecordFault(
            name, f"It was written by a newer pinproof (file version {version}, known up to {VERSION}).",
            "Update pinproof.",
        )  # fmt: skip
    if version < 0 or (version == 0 and (tables or size not in _NEW)):
        raise RecordFault(name, "This is a database, but no record of readings.", "Put it aside; a new one is begun.")
    if version > 0:
        _owned(connection, name, design_id)


def _owned(connection: sqlite3.Connection, name: str, design_id: str) -> None:
    """RecordFault where the record is of another design, or does not say of which."""
    with closing(connection.execute("SELECT design_id FROM about")) as rows:
        found = rows.fetchone()
    if found is None:
        raise RecordFault(
            name, "It is damaged: it does not say of which design it is.",
            "Put it aside and take back a copy, or begin a new one; the design file is not touched.",
        )  # fmt: skip
    owner = str(found[0])
    if owner != design_id:
        raise RecordFault(
            name, f'This record is of design "{owner}"; the design file has the id "{design_id}".',
            "Readings of another truck prove nothing here. If the file was copied, give its record another name.",
        )  # fmt: skip


def _migrate(connection: sqlite3.Connection, name: str, design_id: str) -> None:
    """Bring the file to the current version, one step and one transaction at a time; check whose it is."""
    version = _version(connection)
    while version < VERSION:
        connection.execute("BEGIN IMMEDIATE")
        try:
            if _version(connection) == version:  # another program may have done it meanwhile
                for statement in MIGRATIONS[version].split(";"):
                    if statement.strip():
                        connection.execute(statement)
                if version == 0:
                    connection.execute("INSERT INTO about VALUES (?)", (design_id,))
                connection.execute(f"PRAGMA user_version = {version + 1}")
            connection.execute("COMMIT")
        except BaseException:
            connection.execute("ROLLBACK")
            raise
        version = _version(connection)
    _owned(connection, name, design_id)


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _entry(row: tuple[object, ...]) -> Entry:
    station, mark, value, unit, text, taken, meter, limit, note, ambient, design, snapshot, number, struck, why = row
    datetime.fromisoformat(str(taken))  # ValueError: nothing that was kept has no time
    return Entry(
        str(station), str(mark), _float(value), str(unit), str(text), str(taken), str(meter), _float(limit), str(note),
        None if ambient is None else float(str(ambient)), str(design), str(snapshot), int(str(number)),
        str(struck or ""), str(why or ""),
    )  # fmt: skip


def _float(value: object) -> float:
    return math.nan if value is None else float(str(value))
