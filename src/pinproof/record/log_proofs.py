"""What logs proved, as the record keeps it: one proof with its verdict, its checks in short and the files it rests on.

Answers: what is in one kept proof; which of its rows are whole.
Units:   sizes in bytes; times are UTC, ISO 8601; numbers of a check carry their unit at the end of their name.
Touches: nothing; `store` reads and writes the file.

A proof is never changed and never deleted. A wrong one (the wrong map, another truck's log) is struck out: it stays,
with the time and the reason.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from pinproof.verdict import Verdict

KINDS = ("log", "map", "script", "DBC")
# One step of the file's migrations; never edited once released.
TABLES = """
    CREATE TABLE log_proofs (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        kept_utc TEXT NOT NULL,
        verdict TEXT NOT NULL,
        summary TEXT NOT NULL,
        program TEXT NOT NULL,
        design_id TEXT NOT NULL,
        snapshot TEXT NOT NULL REFERENCES snapshots (hash),
        struck_utc TEXT,
        struck_why TEXT
    );
    CREATE TABLE log_proof_files (
        proof INTEGER NOT NULL REFERENCES log_proofs (id),
        place INTEGER NOT NULL,
        kind TEXT NOT NULL,
        name TEXT NOT NULL,
        bytes INTEGER NOT NULL,
        hash TEXT NOT NULL,
        PRIMARY KEY (proof, place)
    );
    """
COLUMNS = "id, kept_utc, verdict, summary, program, design_id, snapshot, struck_utc, struck_why"
FILE_COLUMNS = "proof, place, kind, name, bytes, hash"


@dataclass(frozen=True)
class ProofFile:
    """One file that a proof rests on, as it was then. `kind` is one of `KINDS`; `hash` is SHA-256, hexadecimal."""

    kind: str
    name: str
    bytes: int
    hash: str


@dataclass(frozen=True)
class LogProof:
    """One proof from logs.

    `summary` is plain JSON: "checks", in the order of docs/logs.md, each at least with "check", "verdict" and "text";
    whatever else whoever keeps it puts in. `snapshot` is the hash of the design file it judged, `program` the version
    that judged. `number` is 0 until it is kept.
    """

    verdict: Verdict
    summary: Mapping[str, Any]
    files: tuple[ProofFile, ...]
    kept_utc: str
    program: str
    design_id: str = ""
    snapshot: str = ""
    number: int = 0
    struck_utc: str = ""
    struck_why: str = ""

    @property
    def logs(self) -> tuple[str, ...]:
        """Names of the logs."""
        return tuple(each.name for each in self.files if each.kind == "log")

    def says_the_same(self, other: LogProof) -> bool:
        """The same design, files, program and outcome: only the time may differ."""
        return _essence(self) == _essence(other)


@dataclass
class Rows:
    """A proof as rows of the two tables, `files` without the proof's number."""

    proof: tuple[object, ...]
    files: list[tuple[object, ...]] = field(default_factory=list)


def rows_of(proof: LogProof, design_id: str, snapshot_hash: str) -> Rows:
    """What is written; ValueError if the summary is no plain JSON or a file is of no known kind."""
    for each in proof.files:
        if each.kind not in KINDS:
            raise ValueError(f'"{each.kind}" is no kind of file of a proof; there are {", ".join(KINDS)}')
    values = (proof.kept_utc, str(proof.verdict), _text(proof.summary), proof.program, design_id, snapshot_hash)
    return Rows(values, [(at, e.kind, e.name, e.bytes, e.hash) for at, e in enumerate(proof.files)])


def proofs_of(rows: Iterable[tuple[Any, ...]], file_rows: Iterable[tuple[Any, ...]]) -> tuple[LogProof, ...]:
    """Proofs of rows in the order given; ValueError where a row cannot have been written by `rows_of`."""
    files: dict[int, list[tuple[int, ProofFile]]] = {}
    for proof, place, kind, name, size, mark in file_rows:
        files.setdefault(int(proof), []).append((int(place), ProofFile(str(kind), str(name), int(size), str(mark))))
    return tuple(_proof(row, files.get(int(row[0]), [])) for row in rows)


def _proof(row: tuple[Any, ...], files: list[tuple[int, ProofFile]]) -> LogProof:
    number, kept, verdict, text, program, design, snapshot, struck, why = row
    summary = json.loads(str(text))
    checks = summary.get("checks") if isinstance(summary, dict) else None
    if not isinstance(checks, list) or not all(_is_check(each) for each in checks):
        raise ValueError(f"log proof {number} has no list of checks")
    ordered = [each for _, each in sorted(files, key=lambda pair: pair[0])]
    return LogProof(
        Verdict(str(verdict)), summary, tuple(ordered), str(kept), str(program), str(design), str(snapshot),
        int(number), str(struck or ""), str(why or ""),
    )  # fmt: skip


def _is_check(plain: object) -> bool:
    if not isinstance(plain, dict) or not all(isinstance(plain.get(key), str) for key in ("check", "verdict", "text")):
        return False
    return plain["verdict"] in set(Verdict)


def _essence(proof: LogProof) -> tuple[object, ...]:
    return proof.verdict, _text(proof.summary), proof.files, proof.program, proof.snapshot


def _text(summary: Mapping[str, Any]) -> str:
    return json.dumps(dict(summary), ensure_ascii=False, allow_nan=False)
