"""What logs proved, kept beside the design, and what of it still counts for the design as it stands now.

Answers: what did the last kept proof say, resting on which files; is it of this very design; keep one more.
Units:   sizes in bytes, times in UTC.
Touches: the record beside the design, through `pinproof.record`; the logs, map and script, reading, for their hashes.
Beside:  `pinproof.logs` judges, `pinproof.record` keeps, `log_link` tells it as a link of the chain.

A kept verdict is one of the design that was judged. After any change of the file but comments, blank space and line
ends it shows nothing any more, neither pass nor fail: which numbers a check leaned on is not followed.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pinproof import __version__
from pinproof.chain.bench import now_utc
from pinproof.design import Truck
from pinproof.logs.results import LogReport, as_json
from pinproof.record import LogProof, ProofFile, RecordFault, Snapshot, open_record
from pinproof.record.history import time_words
from pinproof.verdict import Verdict

PIECE_BYTES = 1 << 20
MOST_FINDINGS = 5  # of each check, those that are no pass; all of them only in the report
MOST_NAMES = 4


@dataclass(frozen=True)
class Judged:
    """The files of a proof as they were before it: their hashes, and by what a change meanwhile is seen."""

    files: tuple[ProofFile, ...]
    stamps: tuple[tuple[Path, int, int], ...]  # path, bytes, time of change [ns]

    def changed(self) -> str:
        """Name of a file that is another one by now, "" if there is none."""
        return next((path.name for path, size, at_ns in self.stamps if _stamp(path) != (size, at_ns)), "")


@dataclass(frozen=True)
class KeptLog:
    """One kept proof. `is_of_now`: of a design that says the same as the file says now."""

    proof: LogProof
    is_of_now: bool

    @property
    def verdict(self) -> Verdict:
        """What it shows of the design as it stands now."""
        return self.proof.verdict if self.is_of_now else Verdict.NOT_SHOWN

    @property
    def checks(self) -> tuple[Mapping[str, Any], ...]:
        """Its checks, failed first, then not shown, then passed."""
        return tuple(sorted(self.proof.summary["checks"], key=lambda each: Verdict(each["verdict"]).rank))

    @property
    def words(self) -> str:
        """How many checks said what, and the weakest one."""
        return told(self.checks, several=len(self.proof.logs) > 1)


@dataclass(frozen=True)
class KeptLogs:
    """Every kept proof that counts, the latest last. `fault` says why the record cannot be read, if it cannot."""

    proofs: tuple[KeptLog, ...] = ()
    fault: str = ""

    @property
    def last(self) -> KeptLog | None:
        """The latest, which decides."""
        return self.proofs[-1] if self.proofs else None

    @property
    def earlier_fails(self) -> tuple[KeptLog, ...]:
        """Proofs of the design as it stands now that failed before the latest one."""
        return tuple(each for each in self.proofs[:-1] if each.verdict is Verdict.FAIL)


def judged_files(
    logs: Sequence[str | Path], map_file: str | Path, script_file: str | Path | None = None, dbc: str | Path = ""
) -> Judged:
    """Names, sizes and hashes of what a proof will rest on; call it before the proof.

    Raises
    ------
    RecordFault
        A file cannot be read.
    """
    named = [*(("log", Path(each)) for each in logs), ("map", Path(map_file))]
    named += [("script", Path(script_file))] if script_file else []
    named += [("DBC", Path(dbc))] if dbc else []
    files, stamps = [], []
    for kind, path in named:
        try:
            size, at_ns = _stamp(path)
            files.append(ProofFile(kind, path.name, size, _hash(path)))
        except OSError as error:
            raise RecordFault(path.name, f"The {kind} cannot be read: {error.strerror or error}.") from None
        stamps.append((path, size, at_ns))
    return Judged(tuple(files), tuple(stamps))


def refuse_early(record_file: Path, design_id: str) -> None:
    """RecordFault if a record is there that could not keep the proof; told before the work, not after it."""
    if record_file.exists():
        open_record(record_file, design_id).close()


def keep_log(
    record_file: Path, truck: Truck, text: str, report: LogReport, judged: Judged, kept_utc: str = ""
) -> tuple[LogProof, bool]:
    """Keep what logs proved.

    Parameters
    ----------
    record_file : Path
        Usually `record_path` of the design file.
    truck, text : Truck, str
        The design that was judged, and the text it was read from.
    report : LogReport
    judged : Judged
        From `judged_files`, taken before the proof.
    kept_utc : str
        When; now if it is left out.

    Returns
    -------
    LogProof, bool
        As it is kept, and whether it is new: the latest one is not kept twice.

    Raises
    ------
    RecordFault
        A file was changed while it was judged, or the record cannot be used.
    """
    changed = judged.changed()
    if changed:
        raise RecordFault(changed, "It was changed while it was judged; the proof is not kept.", "Prove again.")
    snapshot = Snapshot(truck.id, truck.text_hash, text)
    proof = LogProof(
        report.verdict, summary_of(report), judged.files, kept_utc or now_utc(), __version__, truck.id, truck.text_hash
    )
    with open_record(record_file, truck.id) as record:
        return record.add_log_proof(proof, snapshot)


def kept_logs(record_file: Path, truck: Truck, text: str, *, struck: bool = False) -> KeptLogs:
    """What is kept, and what of it is of the design as it stands now; a record that cannot be read is told in `fault`.

    Parameters
    ----------
    record_file : Path
        Usually `record_path` of the design file; if it is not there, nothing is kept and nothing is begun.
    truck, text : Truck, str
        The design as it stands now, and the text it was read from.
    struck : bool
        Those struck out as well; they count for nothing.
    """
    if not record_file.exists():
        return KeptLogs()
    same: dict[str, bool] = {truck.text_hash: True}
    found = []
    try:
        with open_record(record_file, truck.id) as record:
            for each in record.log_proofs(struck=struck):
                if each.snapshot not in same:
                    same[each.snapshot] = says_the_same(record.snapshot(each.snapshot), text)
                found.append(KeptLog(each, same[each.snapshot] and not each.struck_utc))
    except RecordFault as fault:
        return KeptLogs(fault=str(fault).removesuffix(" Nothing was written."))
    except KeyError as missing:
        return KeptLogs(fault=f"{record_file.name}: It is damaged: the design of a log proof is missing ({missing}).")
    return KeptLogs(tuple(found))


def says_the_same(text: str, other: str) -> bool:
    """Whether two design files differ in nothing but comments, blank space and line ends. Order counts.

    Examples
    --------
    >>> from pinproof.chain.log_kept import says_the_same
    >>> says_the_same('a = "1k"  # old', 'a  = "1k"'), says_the_same('a = "1k"', 'a = "1.0k"')
    (True, False)
    """
    try:
        # repr, not ==: 1 and true are equal, and so are tables in another order
        return repr(tomllib.loads(text.removeprefix("\ufeff"))) == repr(tomllib.loads(other.removeprefix("\ufeff")))
    except (ValueError, RecursionError):
        return False


def summary_of(report: LogReport) -> dict[str, Any]:
    """A report in short, as plain JSON: every check with its numbers, its first findings that are no pass, and what
    the logs were read for."""
    checks = []
    for each in report.checks:
        loud = [f for f in each.findings if f.verdict in (Verdict.FAIL, Verdict.NOT_SHOWN)]
        loud.sort(key=lambda f: f.verdict.rank if f.verdict is not None else 0)
        findings = [
            {"verdict": f.verdict, "text": f.text, "log": f.log, "from_s": f.from_s, "to_s": f.to_s}
            for f in loud[:MOST_FINDINGS]
        ]
        checks.append({
            "check": each.check, "verdict": each.verdict, "text": each.text, "next": each.next, "needs": each.needs,
            "numbers": each.numbers, "findings": findings,
        })  # fmt: skip
    whole = as_json(report)
    logs = [{"name": e.name, "duration_s": e.duration_s, "left_out_s": e.left_out_s} for e in report.logs]
    plain: dict[str, Any] = as_json({"checks": checks, "logs": logs})
    return {**plain, "sources": whole["sources"], "excluded": whole["excluded"]}


def told(checks: Sequence[Mapping[str, Any]], *, several: bool = False) -> str:
    """How many checks said what, and the first of checks that stand with the weakest first; of `several` logs with the
    name of the one it was seen in."""
    counts = {verdict: sum(each["verdict"] == verdict for each in checks) for verdict in Verdict}
    failed, passed = counts[Verdict.FAIL], counts[Verdict.PASS]
    text = f"{failed} check{'' if failed == 1 else 's'} failed, {counts[Verdict.NOT_SHOWN]} not shown, {passed} passed."
    if not checks or checks[0]["verdict"] == Verdict.PASS:
        return text
    first = checks[0]
    text += f" {first['check']}: {first['text']}"
    findings = first.get("findings") or []
    if several and findings and findings[0].get("log"):
        text += f" (In {findings[0]['log']}.)"
    return text


def names_words(proof: LogProof) -> str:
    """The logs of a proof: the first few by name."""
    names = proof.logs
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return ", ".join(names[:MOST_NAMES]) + more


def when_words(proof: LogProof) -> str:
    """When a proof was kept, as "2026-03-01 18:30 UTC"."""
    return time_words(proof.kept_utc)


def kept_words(proof: LogProof, fresh: bool, record_name: str) -> str:
    """One line for whoever just proved."""
    if fresh:
        return f"Kept in {record_name} as log proof {proof.number}."
    return f"Kept already in {record_name}: log proof {proof.number} of {when_words(proof)} says the same."


def kept_json(truck_id: str, kept: KeptLogs) -> dict[str, Any]:
    """Everything that is kept, as plain JSON: "verdict" as it was judged, "verdict_now" of the design as it stands."""
    return {
        "truck": truck_id,
        "fault": kept.fault,
        "log_proofs": [
            {
                "number": e.proof.number, "kept_utc": e.proof.kept_utc, "verdict": str(e.proof.verdict),
                "verdict_now": str(e.verdict), "same_design": e.is_of_now, "program": e.proof.program,
                "snapshot": e.proof.snapshot, "struck_utc": e.proof.struck_utc, "struck_why": e.proof.struck_why,
                "files": [{"kind": f.kind, "name": f.name, "bytes": f.bytes, "hash": f.hash} for f in e.proof.files],
                **e.proof.summary,
            }
            for e in kept.proofs
        ],
    }  # fmt: skip


def _stamp(path: Path) -> tuple[int, int]:
    try:
        seen = path.stat()
    except FileNotFoundError:
        return (-1, -1)
    return (seen.st_size, seen.st_mtime_ns)


def _hash(path: Path) -> str:
    made = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(PIECE_BYTES):
            made.update(piece)
    return made.hexdigest()
