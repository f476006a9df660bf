"""What a log proved is kept: whole or not at all, never for another truck, never as a pass of a changed design.

Reports are made by hand: what a log shows is tested elsewhere. Trucks are the invented examples.
"""

from __future__ import annotations

import hashlib
import json
import random
import sqlite3
import subprocess
import sys
import time
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from pinproof.chain.links import chain_of
from pinproof.chain.log_kept import (
    KeptLogs,
    judged_files,
    keep_log,
    kept_json,
    kept_logs,
    refuse_early,
    says_the_same,
    summary_of,
)
from pinproof.chain.log_link import log_link
from pinproof.cli import group
from pinproof.design import Truck, loads
from pinproof.examples import example_path
from pinproof.logs.results import LogCheck, LogFinding, LogRead, LogReport
from pinproof.proof import prove
from pinproof.record import Entry, LogProof, ProofFile, RecordFault, Snapshot, open_record, record_path
from pinproof.record.store import VERSION
from pinproof.verdict import Verdict
from tests.truth.agree_logs import make_case
from tests.truth.log_designs import design_text
from tests.truth.log_files_out import write

EXAMPLES = ("heron", "sandpiper", "wagtail", "dunlin")
SNAPSHOT = Snapshot("pp-one", "hash-1", 'id = "pp-one"\n')
# The file as the version before log proofs left it, written out: not taken from the program.
FORMER = """
CREATE TABLE about (design_id TEXT NOT NULL);
CREATE TABLE snapshots (hash TEXT PRIMARY KEY, text TEXT NOT NULL, first_utc TEXT NOT NULL);
CREATE TABLE readings (id INTEGER PRIMARY KEY AUTOINCREMENT, taken_utc TEXT NOT NULL, station TEXT NOT NULL,
 fingerprint TEXT NOT NULL, value REAL, unit TEXT NOT NULL, text TEXT NOT NULL, error_limit REAL, meter TEXT NOT NULL,
 note TEXT NOT NULL, ambient_c REAL, design_id TEXT NOT NULL, snapshot TEXT NOT NULL REFERENCES snapshots (hash),
 struck_utc TEXT, struck_why TEXT);
CREATE INDEX readings_by_fingerprint ON readings (fingerprint, taken_utc);
CREATE INDEX readings_by_station ON readings (station, taken_utc);
INSERT INTO about VALUES ('pp-one');
INSERT INTO snapshots VALUES ('hash-1', 'id = "pp-one"', '2026-03-01T10:00:00Z');
INSERT INTO readings VALUES (7, '2026-03-01T10:00:00Z', 's', 'm', 5.0, 'ohm', '5 ohm', 0.1, 'x', '', NULL, 'pp-one',
 'hash-1', NULL, NULL);
PRAGMA user_version = 2;
"""


def proof(verdict: Verdict = Verdict.PASS, *, log: str = "day1.csv", minute: int = 0) -> LogProof:
    """One invented proof."""
    checks = [{"check": "missed-tap", "verdict": str(verdict), "text": "invented", "numbers": {"missed": 1}}]
    files = (ProofFile("log", log, 1234, "ab" * 32), ProofFile("map", "logger.toml", 99, "cd" * 32))
    return LogProof(verdict, {"checks": checks}, files, f"2026-03-01T10:{minute:02d}:00Z", "0.1.0")


def report(*verdicts: Verdict, truck: str = "pp-one", logs: tuple[str, ...] = ("day1.csv",)) -> LogReport:
    """An invented report with one check for each verdict; a fail has its place in the last log."""
    checks = tuple(
        LogCheck(
            f"check-{number}", verdict, f"text {number}.", "do this", {"seen": 3.0, "none": float("nan")},
            () if verdict is Verdict.PASS else (LogFinding(verdict, "tap", "seen.", logs[-1], 12.0, 13.0),),
        )
        for number, verdict in enumerate(verdicts)
    )  # fmt: skip
    read = tuple(LogRead(name, 600.0, 2.0, (), (), "tap_up", "gear_commanded", "") for name in logs)
    return LogReport(truck, "", min(verdicts, key=lambda each: each.rank), read, checks, {"limiter": 2})


def truck_of(text: str) -> Truck:
    """The truck of a text."""
    return loads(text, "truck.toml")


@pytest.fixture
def wagtail(tmp_path: Path) -> tuple[Path, str]:
    """A copy of an example, with a log and a map beside it that are only hashed here."""
    file = tmp_path / "truck.toml"
    file.write_bytes(example_path("wagtail").read_bytes())
    (tmp_path / "day1.csv").write_bytes(b"t,a\n0,1\n")
    (tmp_path / "logger.toml").write_bytes(b"format = 1\n")
    return file, file.read_text(encoding="utf-8")


def kept_in(file: Path, text: str, made: LogReport) -> tuple[LogProof, bool]:
    """Keep a report of the design that stands in `text`."""
    judged = judged_files([file.with_name("day1.csv")], file.with_name("logger.toml"))
    return keep_log(record_path(file), truck_of(text), text, made, judged)


# the record


def test_a_proof_comes_back_as_it_was(tmp_path: Path) -> None:
    """All fields; the same again is not kept twice, another outcome, file or design is; the last stays the last."""
    path = tmp_path / "a.sqlite"
    with open_record(path, "pp-one") as record:
        assert record.log_proofs() == ()
        first, fresh = record.add_log_proof(proof(), SNAPSHOT)
        assert fresh and (first.number, first.design_id, first.snapshot) == (1, "pp-one", "hash-1")
        assert record.add_log_proof(proof(minute=5), SNAPSHOT) == (first, False)
        for number, (one, where) in enumerate(
            [
                (proof(Verdict.FAIL, minute=6), SNAPSHOT),
                (proof(minute=1), SNAPSHOT),  # the same as the first, but not as the latest; an earlier clock
                (proof(log="day2.csv"), SNAPSHOT),
                (proof(log="day2.csv"), Snapshot("pp-one", "hash-2", "changed")),
                (replace(proof(log="day2.csv"), program="0.2.0"), Snapshot("pp-one", "hash-2", "changed")),
            ],
            start=2,
        ):
            kept, fresh = record.add_log_proof(one, where)
            assert fresh and kept.number == number
    with open_record(path, "pp-one") as record:
        found = record.log_proofs()
        assert [each.number for each in found] == [1, 2, 3, 4, 5, 6]
        assert found[0] == replace(proof(), design_id="pp-one", snapshot="hash-1", number=1)
        assert found[0].logs == ("day1.csv",) and found[4].snapshot == "hash-2"
        assert record.snapshot("hash-1") == SNAPSHOT.text
        record.strike_log_proof(6, "2026-03-02T10:00:00Z", "wrong map")
        with pytest.raises(RecordFault, match="no log proof 6"):
            record.strike_log_proof(6, "2026-03-02T10:00:00Z", "again")
        assert [each.number for each in record.log_proofs()] == [1, 2, 3, 4, 5]
        assert record.log_proofs(struck=True)[-1].struck_why == "wrong map"
        assert record.entries() == ()


def test_the_former_format_is_brought_up_to_date(tmp_path: Path) -> None:
    """A file without the tables of log proofs: its reading stays as it is, a proof can be kept, a new reading too."""
    path = tmp_path / "old.sqlite"
    db = sqlite3.connect(path)
    db.executescript(FORMER)
    db.close()
    with open_record(path, "pp-one") as record:
        assert [(each.number, each.value) for each in record.entries()] == [(7, 5.0)] and record.log_proofs() == ()
        assert record.add_log_proof(proof(), SNAPSHOT)[0].number == 1
        record.add(Entry("s", "m", 6.0, "ohm", "6 ohm", "2026-03-01T11:00:00Z", "x", 0.1), SNAPSHOT)
        assert [each.number for each in record.entries()] == [7, 8]
    db = sqlite3.connect(path)
    assert db.execute("PRAGMA user_version").fetchone()[0] == VERSION == 3
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    assert db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    db.close()


def test_another_trucks_proof_is_refused(tmp_path: Path) -> None:
    """By the proof's own id, by its snapshot's, by the file's; nothing is written. Kinds of files are known ones."""
    path = tmp_path / "a.sqlite"
    with open_record(path, "pp-one") as record:
        for one, where in (
            (proof(), Snapshot("pp-two", "h", "")),
            (replace(proof(), design_id="pp-two"), SNAPSHOT),
        ):
            with pytest.raises(RecordFault, match=r"log proof is of design \"pp-two\".*pp-one"):
                record.add_log_proof(one, where)
        with pytest.raises(ValueError, match="kind of file"):
            record.add_log_proof(replace(proof(), files=(ProofFile("film", "a", 1, "x"),)), SNAPSHOT)
        assert record.log_proofs() == ()
        with pytest.raises(KeyError):
            record.snapshot("hash-1")
    with pytest.raises(RecordFault, match=r"pp-one.*pp-two"):
        refuse_early(path, "pp-two")
    refuse_early(tmp_path / "none.sqlite", "pp-two")
    assert not (tmp_path / "none.sqlite").exists()


def test_a_proof_is_kept_whole_or_not_at_all(tmp_path: Path) -> None:
    """The second file of a proof cannot be written: the proof, its first file and the design's text are not there."""
    path = tmp_path / "a.sqlite"
    with open_record(path, "pp-one") as record:
        record.add_log_proof(proof(), SNAPSHOT)
        record._db.execute(
            "CREATE TRIGGER full BEFORE INSERT ON log_proof_files WHEN NEW.kind = 'map' "
            "BEGIN SELECT RAISE(ABORT, 'disk full'); END"
        )
        with pytest.raises(RecordFault, match="disk full"):
            record.add_log_proof(proof(Verdict.FAIL), Snapshot("pp-one", "hash-2", "changed"))
        assert [each.verdict for each in record.log_proofs()] == [Verdict.PASS]
        assert record._db.execute("SELECT count(*) FROM log_proof_files").fetchone()[0] == 2
        with pytest.raises(KeyError):
            record.snapshot("hash-2")


@pytest.mark.parametrize(
    ("column", "value"),
    [("summary", "{"), ("summary", "[]"), ("summary", '{"checks": [{"check": "a"}]}'), ("verdict", "good"),
     ("summary", '{"checks": [{"check": "a", "verdict": "good", "text": ""}]}')],
)  # fmt: skip
def test_a_damaged_proof_is_told_never_taken(tmp_path: Path, column: str, value: str) -> None:
    """What no program can have written is not read as a verdict; the chain tells it and shows nothing."""
    file = tmp_path / "truck.toml"
    file.write_bytes(example_path("wagtail").read_bytes())
    truck, path = truck_of(file.read_text(encoding="utf-8")), record_path(file)
    with open_record(path, truck.id) as record:
        record.add_log_proof(proof(), Snapshot(truck.id, truck.text_hash, file.read_text(encoding="utf-8")))
        record._db.execute(f"UPDATE log_proofs SET {column} = ?", [value])
        with pytest.raises(RecordFault, match="damaged"):
            record.log_proofs()
        with pytest.raises(RecordFault, match="damaged"):
            record.add_log_proof(proof(), Snapshot(truck.id, truck.text_hash, ""))
    kept = kept_logs(path, truck, file.read_text(encoding="utf-8"))
    verdict, text = log_link(truck, None, kept)
    assert verdict is Verdict.NOT_SHOWN and "damaged" in text and kept.last is None


WRITER = """
import sys
from pinproof.record import LogProof, ProofFile, Snapshot, open_record
from pinproof.verdict import Verdict
path, name, count = sys.argv[1:]
summary = {"checks": [{"check": "missed-tap", "verdict": "pass", "text": "x" * 300}]}
with open_record(path, "pp-one") as record:
    print("open", flush=True)
    for number in range(int(count)):
        files = (ProofFile("log", f"{name}-{number}.csv", 1, "ab"), ProofFile("map", "logger.toml", 1, "cd"))
        made = LogProof(Verdict.PASS, summary, files, "2026-03-01T10:00:00Z", "0.1.0")
        print(record.add_log_proof(made, Snapshot("pp-one", "h", "text"))[0].number, flush=True)
"""


def test_two_programs_keep_at_once(tmp_path: Path) -> None:
    """Four processes, ten proofs each: every one is there once, whole."""
    path = tmp_path / "a.sqlite"
    running = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), name, "10"], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
        )
        for name in "abcd"
    ]
    assert [(each.communicate(timeout=120)[1], each.returncode) for each in running] == [(b"", 0)] * 4
    with open_record(path, "pp-one") as record:
        found = record.log_proofs()
    assert sorted(each.logs[0] for each in found) == sorted(f"{name}-{n}.csv" for name in "abcd" for n in range(10))
    assert all(len(each.files) == 2 for each in found)


def test_a_writer_killed_at_any_instant_loses_no_kept_proof(tmp_path: Path) -> None:
    """Ten writers are killed at random instants: every proof that they reported is there, each with both its files."""
    rng, path, reported = random.Random(7), tmp_path / "a.sqlite", 0
    for turn in range(10):
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), str(turn), "100000"], stdout=subprocess.PIPE, encoding="utf-8"
        ) as writer:
            assert writer.stdout is not None and writer.stdout.readline().strip() == "open"
            time.sleep(rng.uniform(0.0, 0.15))
            writer.kill()
            told = [line for line in writer.stdout.read().splitlines() if line.strip().isdigit()]
        with open_record(path, "pp-one") as record:
            kept = record.log_proofs()
        # one more may be on disk than was reported: it was committed, and the word of it cut off
        assert reported + len(told) <= len(kept) <= reported + len(told) + 1
        assert [each.number for each in kept] == list(range(1, len(kept) + 1))
        assert all([file.kind for file in each.files] == ["log", "map"] for each in kept)
        reported = len(kept)
    assert reported > 30


# which design it is a proof of


@pytest.mark.parametrize("name", EXAMPLES)
def test_comments_and_space_are_no_change_everything_else_is(name: str) -> None:
    """Comments, blank lines, line ends and a byte order mark leave a design what it is; each changed digit does not."""
    text = example_path(name).read_text(encoding="utf-8")
    lines = text.splitlines()
    spaced = "".join(f"{line}\r\n\r\n# a remark\r\n" for line in lines)
    assert says_the_same(text, f"\ufeff{spaced}") and says_the_same(text, text.replace(" = ", "   =  "))
    tried = 0
    for number, line in enumerate(lines):
        key, sign, value = line.partition("=")
        at = next((i for i, letter in enumerate(value) if letter.isdigit()), -1)
        if not sign or at < 0 or "#" in line[: len(key) + 1 + at]:
            continue
        other = f"{value[:at]}{(int(value[at]) + 1) % 10}{value[at + 1 :]}"
        changed = "\n".join([*lines[:number], f"{key}={other}", *lines[number + 1 :]])
        try:
            tomllib.loads(changed)
        except ValueError:
            continue
        tried += 1
        assert not says_the_same(text, changed), line
    assert tried > 10


def test_alike_is_not_the_same() -> None:
    """One and true, one and 1.0, another order, what is no TOML: no proof of one is a proof of the other."""
    for one, other in (("a = 1", "a = true"), ("a = 1", "a = 1.0"), ("a = 1\nb = 2", "b = 2\na = 1"), ("a =", "a =")):
        assert not says_the_same(one, other)
    assert says_the_same("a = [1, 2]", "a = [\n 1, # one\n 2,\n]")


def test_a_kept_verdict_counts_only_for_its_design(wagtail: tuple[Path, str]) -> None:
    """As it was judged; with a remark more the same; with one number changed nothing is shown, whatever was said."""
    file, text = wagtail
    truck = truck_of(text)
    proven = prove(truck, drift=False)
    assert "No log was given" in chain_of(truck, proven, kept=KeptLogs()).link("log").text
    for verdict in (Verdict.PASS, Verdict.FAIL, Verdict.NOT_SHOWN):
        kept_in(file, text, report(Verdict.PASS, verdict))
        link = chain_of(truck, proven, kept=kept_logs(record_path(file), truck, text)).link("log")
        assert link.verdict is verdict and "day1.csv" in link.text and "UTC" in link.text
        assert ("check-1: text 1." in link.text) == (verdict is not Verdict.PASS)

        remarked = f"# seen\n\n{text}"
        again = kept_logs(record_path(file), truck_of(remarked), remarked)
        assert log_link(truck_of(remarked), None, again)[0] is verdict

        changed = text.replace('name = "', 'name = "Other ', 1)
        assert changed != text
        other = kept_logs(record_path(file), truck_of(changed), changed)
        got, words = log_link(truck_of(changed), None, other)
        assert got is Verdict.NOT_SHOWN and "the design has changed since" in words and str(verdict).upper() in words


def test_the_latest_counts_and_an_earlier_fail_is_told(wagtail: tuple[Path, str]) -> None:
    """A pass after a fail of the same design is a pass that names the fail; struck out, it is told no more."""
    file, text = wagtail
    truck, path = truck_of(text), record_path(file)
    kept_in(file, text, report(Verdict.FAIL))
    assert kept_in(file, text, report(Verdict.PASS))[0].number == 2
    verdict, words = log_link(truck, None, kept_logs(path, truck, text))
    assert verdict is Verdict.PASS and words.startswith("Log proof 2") and "log proof 1" in words and "failed" in words
    with open_record(path, truck.id) as record:
        record.strike_log_proof(1, "2026-03-02T10:00:00Z", "another truck's log")
    assert "failed with this same design" not in log_link(truck, None, kept_logs(path, truck, text))[1]
    everything = kept_logs(path, truck, text, struck=True)
    assert [each.verdict for each in everything.proofs] == [Verdict.NOT_SHOWN, Verdict.PASS]
    plain = kept_json(truck.id, everything)
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert [each["verdict"] for each in plain["log_proofs"]] == ["fail", "pass"]

    at_hand = report(Verdict.NOT_SHOWN)  # what is proven now comes before what is kept
    assert log_link(truck, at_hand, kept_logs(path, truck, text))[0] is Verdict.NOT_SHOWN


def test_the_program_that_judged_is_told_if_it_is_another(
    wagtail: tuple[Path, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Checks may have changed with the program."""
    file, text = wagtail
    kept_in(file, text, report(Verdict.PASS))
    kept = kept_logs(record_path(file), truck_of(text), text)
    assert "judged by" not in log_link(truck_of(text), None, kept)[1]
    monkeypatch.setattr("pinproof.chain.log_link.__version__", "9.9.9")
    assert "this is 9.9.9" in log_link(truck_of(text), None, kept)[1]


def test_a_file_that_changes_meanwhile_is_no_basis(wagtail: tuple[Path, str]) -> None:
    """A log that grew or went away while it was judged: the proof is not kept, and nothing is begun."""
    file, text = wagtail
    log = file.with_name("day1.csv")
    judged = judged_files([log], file.with_name("logger.toml"), file)
    assert [each.kind for each in judged.files] == ["log", "map", "script"] and judged.changed() == ""
    assert judged.files[0].hash == hashlib.sha256(log.read_bytes()).hexdigest() and judged.files[0].bytes == 8
    for change in (lambda: log.write_bytes(b"t,a\n0,1\n1,2\n"), log.unlink):
        change()
        with pytest.raises(RecordFault, match=r"day1\.csv.*changed while it was judged"):
            keep_log(record_path(file), truck_of(text), text, report(Verdict.PASS), judged)
    assert not record_path(file).exists()
    with pytest.raises(RecordFault, match=r"log cannot be read"):
        judged_files([log], file.with_name("logger.toml"))


def test_a_summary_says_what_the_report_says() -> None:
    """Every check in its order with its numbers; findings that are no pass, with their place; plain JSON throughout."""
    made = report(Verdict.PASS, Verdict.FAIL, Verdict.NOT_SHOWN, logs=("day1.csv", "day2.csv"))
    plain = summary_of(made)
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert [(e["check"], e["verdict"]) for e in plain["checks"]] == [(e.check, str(e.verdict)) for e in made.checks]
    assert plain["checks"][1]["numbers"] == {"seen": 3.0, "none": None}
    assert plain["checks"][0]["findings"] == []
    assert plain["checks"][1]["findings"][0] == {
        "verdict": "fail", "text": "seen.", "log": "day2.csv", "from_s": 12.0, "to_s": 13.0
    }  # fmt: skip
    assert plain["sources"]["taps"] == "tap_up" and plain["excluded"] == {"limiter": 2}
    truck = truck_of(example_path("wagtail").read_text(encoding="utf-8"))
    assert "(In day2.csv.)" in log_link(truck, made)[1]


# the commands


@pytest.fixture
def drive(tmp_path: Path) -> Path:
    """A simulated drive in which taps were missed, with its design, log and map."""
    truck, planted, logged = make_case(3, "missed")
    write(logged, tmp_path, "day1", 3)
    file = tmp_path / "sim.toml"
    file.write_text(design_text(truck, planted), encoding="utf-8")
    return file


def typed(*words: object) -> tuple[int, str, str]:
    """Exit code, what was printed, what was said."""
    done = CliRunner().invoke(group, [str(each) for each in words])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.stdout, done.stderr


def test_the_command_keeps_and_next_remembers(drive: Path) -> None:
    """One line says it; standard output is as without it; `next` and `record --logs` tell it; the same is kept once."""
    words = ("log", drive, drive.with_name("day1.csv"), "--map", drive.with_name("day1-map.toml"), "--json")
    code, plain, said = typed(*words, "--no-keep")
    assert code == 1 and said == "" and not record_path(drive).exists()
    assert "No log was given" in typed("next", drive)[1] and not record_path(drive).exists()
    assert typed("record", drive, "--logs")[0] == 2

    assert typed(*words) == (1, plain, "Kept in sim.readings.sqlite as log proof 1.\n")
    assert typed(*words)[2].startswith("Kept already in sim.readings.sqlite: log proof 1 of ")
    chain = json.loads(typed("next", drive, "--json")[1])
    link = next(each for each in chain["links"] if each["name"] == "log")
    assert link["verdict"] == "fail" and "Log proof 1" in link["text"] and "missed-tap" in link["text"]
    code, listed, _ = typed("record", drive, "--logs", "--json")
    kept = json.loads(listed)["log_proofs"][0]
    whole = json.loads(plain)
    assert code == 1 and [(e["check"], e["verdict"], e["text"], e["numbers"]) for e in kept["checks"]] == [
        (e["check"], e["verdict"], e["text"], e["numbers"]) for e in whole["checks"]
    ]
    assert [(e["kind"], e["name"]) for e in kept["files"]] == [("log", "day1.csv"), ("map", "day1-map.toml")]
    assert kept["files"][0]["bytes"] == drive.with_name("day1.csv").stat().st_size
    assert "Log proofs: 1." in typed("record", drive)[1]

    drive.write_text(drive.read_text(encoding="utf-8").replace("name = ", "name  =  ", 1), encoding="utf-8")
    assert "the design has changed since" not in typed("next", drive)[1]
    text = drive.read_text(encoding="utf-8")
    drive.write_text(text.replace('held_request = "1 s"', 'held_request = "2 s"'), encoding="utf-8")
    assert drive.read_text(encoding="utf-8") != text
    said = " ".join(typed("next", drive)[1].split())
    assert "log NOT SHOWN Log proof 1" in said and "the design has changed since" in said
    assert "The design has changed since" in typed("record", drive, "--logs")[1]

    assert typed("record", drive, "--logs", "--strike", 1)[0] == 2
    code, _, told = typed("record", drive, "--logs", "--strike", 1, "--why", "wrong map")
    assert code == 2 and "Struck out: log proof 1." in told and "No log proof is kept" in told
    assert "wrong map" in typed("record", drive, "--logs", "--all")[1]
    assert "No log was given" in typed("next", drive)[1]


def test_a_foreign_or_broken_record_is_told_before_the_work(drive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody waits for a proof that cannot be kept; without keeping it is proven all the same; `next` goes on."""
    words = ("log", drive, drive.with_name("day1.csv"), "--map", drive.with_name("day1-map.toml"))
    with open_record(record_path(drive), "pp-other"):
        pass
    with monkeypatch.context() as patched:
        patched.setattr("pinproof.logs.prove_log", lambda *_: pytest.fail("it was judged before the record was seen"))
        done = CliRunner().invoke(group, [str(each) for each in words])
    assert isinstance(done.exception, RecordFault) and "--no-keep" in str(done.exception)
    assert typed(*words, "--no-keep")[0] == 1
    record_path(drive).write_bytes(b"this is no database, but it is long enough to be looked at" * 40)
    code, printed, _ = typed("next", drive)
    assert code in (0, 1) and "cannot be told" in printed
    assert "no record of readings" in typed("record", drive, "--logs")[2]
