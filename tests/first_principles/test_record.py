"""The record of readings: committed one by one, never of another truck, never lost; drift against the meter's error."""

from __future__ import annotations

import itertools
import math
import random
import sqlite3
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.drawings.history_plot import HistoryBand, HistoryPoint, history_plot
from pinproof.record import Entry, RecordFault, Snapshot, drift_of, open_record, read_rows, readings_csv, record_path
from pinproof.record.drift import drift, seconds
from pinproof.record.store import MIGRATIONS, VERSION
from pinproof.record.table import utc_text
from tests.first_principles.test_drawings import assert_sound

SNAPSHOT = Snapshot("pp-one", "hash-1", 'id = "pp-one"\n')


def entry(value: float = 2880.0, *, minute: int = 0, limit: float = 10.0, station: str = "taps/ohms/up") -> Entry:
    """One invented reading."""
    when = f"2026-03-01T10:{minute:02d}:00Z"
    return Entry(station, "mark", value, "ohm", f"{value} ohm", when, "some meter", limit, "note", 12.0)


def test_readings_come_back_as_they_were(tmp_path: Path) -> None:
    """All fields, an open display and a word included; the design's text once for each of its states."""
    path = record_path(tmp_path / "truck.toml")
    assert path.name == "truck.readings.sqlite"
    with open_record(path, "pp-one") as record:
        first = record.add(entry(), SNAPSHOT)
        record.add(entry(math.inf, minute=1, limit=0.0), SNAPSHOT)
        word = Entry("truck/eyes/all", "eyes", math.nan, "", "ok", "2026-03-01T10:02:00Z", "some meter")
        record.add(word, Snapshot("pp-one", "hash-2", "changed"))
    with open_record(path, "pp-one") as record:
        kept = record.entries()
        assert [each.number for each in kept] == [1, 2, 3]
        assert (first.design_id, first.snapshot, first.ambient_c, first.note) == ("pp-one", "hash-1", 12.0, "note")
        assert kept[0] == first
        assert math.isinf(kept[1].value)
        assert math.isnan(kept[2].value) and math.isnan(kept[2].error_limit) and kept[2].ambient_c is None
        assert record.snapshot("hash-1") == SNAPSHOT.text
        assert record.latest(["mark"])["mark"].number == 2
        with pytest.raises(KeyError):
            record.snapshot("hash-3")


def test_another_design_is_refused(tmp_path: Path) -> None:
    """The file, a reading and a list of another truck: refused with both ids, nothing written."""
    path = tmp_path / "a.sqlite"
    with open_record(path, "pp-one") as record:
        record.add(entry(), SNAPSHOT)
        with pytest.raises(RecordFault, match=r"pp-two.*pp-one"):
            record.add(entry(), Snapshot("pp-two", "h", ""))
        foreign = Entry("s", "m", 1.0, "ohm", "1 ohm", "2026-03-01T10:00:00Z", "meter", design_id="pp-two")
        with pytest.raises(RecordFault, match="pp-two"):
            record.add_all([entry(), foreign], SNAPSHOT)
        assert len(record.entries()) == 1
        text = readings_csv(record.entries())
    with pytest.raises(RecordFault, match=r"pp-one.*pp-two"):
        open_record(path, "pp-two")
    assert len(read_rows(text, "list.csv", "pp-one")) == 1
    with pytest.raises(RecordFault, match=r'line 2 is of design "pp-one"'):
        read_rows(text, "list.csv", "pp-two")


def test_what_is_no_record_is_refused_and_left_alone(tmp_path: Path) -> None:
    """A text, another database, a newer version, no folder."""
    text = tmp_path / "text.sqlite"
    text.write_text("not a database at all, but long enough to be looked at" * 20, encoding="utf-8")
    other = tmp_path / "other.sqlite"
    with sqlite3.connect(other) as db:
        db.execute("CREATE TABLE mine (x)")
    db.close()
    newer = tmp_path / "newer.sqlite"
    with open_record(newer, "pp-one"):
        pass
    with sqlite3.connect(newer) as db:
        db.execute(f"PRAGMA user_version = {VERSION + 1}")
    db.close()
    for path, said in ((text, "no record"), (other, "no record"), (newer, "newer"), (tmp_path / "no" / "x", "opened")):
        before = path.read_bytes() if path.exists() else b""
        with pytest.raises(RecordFault, match=said):
            open_record(path, "pp-one")
        assert path != text or path.read_bytes() == before


@pytest.mark.parametrize("version", range(1, VERSION + 1))
def test_every_older_file_is_brought_up_to_date(tmp_path: Path, version: int) -> None:
    """A file as an older version left it, with a reading in it: opened, migrated, nothing lost, usable."""
    path = tmp_path / "old.sqlite"
    db = sqlite3.connect(path)
    for step in MIGRATIONS[:version]:
        db.executescript(step)
    db.execute(f"PRAGMA user_version = {version}")
    db.execute("INSERT INTO about VALUES ('pp-one')")
    db.execute("INSERT INTO snapshots VALUES ('h', 'text', '2026-03-01T10:00:00Z')")
    db.execute(
        "INSERT INTO readings (taken_utc, station, fingerprint, value, unit, text, error_limit, meter, note, "
        "ambient_c, design_id, snapshot) VALUES ('2026-03-01T10:00:00Z', 's', 'm', 5.0, 'ohm', '5 ohm', 0.1, 'x', '', "
        "NULL, 'pp-one', 'h')"
    )
    db.commit()
    db.close()
    with open_record(path, "pp-one") as record:
        assert [each.value for each in record.entries()] == [5.0]
        record.add(entry(), SNAPSHOT)
        record.strike(1, "2026-03-02T10:00:00Z", "wrong button")
        assert [each.number for each in record.entries()] == [2]
        assert record.entries(struck=True)[0].struck_why == "wrong button"
    db = sqlite3.connect(path)
    assert db.execute("PRAGMA user_version").fetchone()[0] == VERSION
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    db.close()


def test_a_fresh_file_is_the_same_as_a_migrated_one(tmp_path: Path) -> None:
    """The shape of the tables does not depend on how the file got there."""
    with open_record(tmp_path / "new.sqlite", "pp-one"):
        pass
    db = sqlite3.connect(tmp_path / "old.sqlite")
    for step in MIGRATIONS:
        db.executescript(step)
    shapes = []
    fresh = sqlite3.connect(tmp_path / "new.sqlite")
    for each in (db, fresh):
        shapes.append(sorted(row[0] for row in each.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL")))
        each.close()
    assert shapes[0] == shapes[1]


def test_striking_out_keeps_the_reading(tmp_path: Path) -> None:
    """It counts no more, is still there, and cannot be struck twice."""
    with open_record(tmp_path / "a.sqlite", "pp-one") as record:
        record.add(entry(), SNAPSHOT)
        record.strike(1, "2026-03-02T10:00:00Z", "wrong plug")
        assert record.entries() == ()
        assert record.entries(struck=True)[0].struck_utc == "2026-03-02T10:00:00Z"
        for number in (1, 99):
            with pytest.raises(RecordFault):
                record.strike(number, "2026-03-02T10:00:00Z", "again")


WRITER = """
import sys
from pinproof.record import Entry, Snapshot, open_record
path = sys.argv[1]
with open_record(path, "pp-one") as record:
    print("open", flush=True)
    for number in range(100000):
        record.add(Entry("s", "m", float(number), "ohm", "x" * 300, "2026-03-01T10:00:00Z", "meter", 1.0),
                   Snapshot("pp-one", "h", "text"))
        print(number, flush=True)
"""


def test_a_writer_killed_at_any_instant_loses_no_committed_reading(tmp_path: Path) -> None:
    """Thirty writers are killed at random instants; all that they reported as kept is there, whole and in order."""
    rng = random.Random(11)
    path = tmp_path / "a.readings.sqlite"
    reported, killed_in_time = 0, 0
    for _ in range(30):
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, encoding="utf-8"
        ) as writer:
            assert writer.stdout is not None
            assert writer.stdout.readline().strip() == "open"
            time.sleep(rng.uniform(0.0, 0.12))
            writer.kill()
            told = [line for line in writer.stdout.read().splitlines() if line.strip().isdigit()]
            writer.wait()
        reported += len(told)
        killed_in_time += len(told) < 100_000
        with open_record(path, "pp-one") as record:
            kept = record.entries()
        # One more may be on disk than was reported: it was committed, and the word of it cut off.
        assert reported <= len(kept) <= reported + 1
        assert [each.number for each in kept] == list(range(1, len(kept) + 1))
        reported = len(kept)
        assert all(each.text == "x" * 300 for each in kept)
    assert killed_in_time == 30
    assert reported > 100
    db = sqlite3.connect(path)
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    db.close()


def test_two_programs_write_to_one_record(tmp_path: Path) -> None:
    """Both readings are there, and each sees the other's."""
    path = tmp_path / "a.sqlite"
    with open_record(path, "pp-one") as one, open_record(path, "pp-one") as other:
        one.add(entry(1.0), SNAPSHOT)
        other.add(entry(2.0, minute=1), SNAPSHOT)
        assert [each.value for each in one.entries()] == [each.value for each in other.entries()] == [1.0, 2.0]


def test_lists_are_read_with_any_separator_and_all_faults_are_named() -> None:
    """A filled sheet, semicolons, an offset of time; a bad row stops the whole list."""
    text = "station;value;ambient;taken_utc\ntaps/ohms/up;2.880k;12 °C;2026-03-01T11:00:00+01:00\ntaps/ohms/down;;;\n"
    rows = read_rows(text, "list.csv", "pp-one")
    assert [(each.station, each.value, each.ambient_c, each.taken_utc) for each in rows] == [
        ("taps/ohms/up", "2.880k", 12.0, "2026-03-01T10:00:00Z")
    ]
    for bad, said in (
        ("", "empty"),
        ("a,b\n1,2\n", "station and value"),
        ("station,value\n,5 ohm\n", "line 2"),
        ("station,value,ambient\nx,5 ohm,warm\ny,5 ohm,hot\n", r"line 2.*line 3"),
        ("station,value,taken_utc\nx,5 ohm,yesterday\n", "yesterday"),
        ("station,value\nx,\n", "No row"),
    ):
        with pytest.raises(RecordFault, match=said):
            read_rows(bad, "list.csv", "pp-one")
    with pytest.raises(ValueError, match="no time|not a time"):
        utc_text("soon")


@pytest.mark.parametrize(
    ("values", "word"),
    [
        ([100.0], "too few"),
        ([100.0, 101.9], "steady"),
        ([100.0, 102.1], "drifts up"),
        ([102.1, 100.0], "drifts down"),
        ([100.0, 101.0, 102.0, 103.0, 104.0], "drifts up"),
        ([100.0, 110.0, 100.0], "jumps"),
        ([100.0, 100.0, 100.0, 110.0, 110.0], "drifts up"),
    ],
)
def test_drift_needs_more_than_the_meter(values: list[float], word: str) -> None:
    """±1 each: a change of up to 2 may be the meter."""
    times = [10.0 * i for i in range(len(values))]
    limits = [1.0] * len(values)
    if values[:3] == [100.0, 100.0, 100.0]:
        limits = [4.0] * len(values)
    assert drift(times, values, limits).word == word


SERIES = st.lists(
    st.tuples(st.integers(0, 50), st.floats(0.0, 100.0), st.floats(0.0, 5.0)), min_size=2, max_size=7
)  # fmt: skip


@given(SERIES)
def test_slopes_are_those_of_lines_through_all_intervals(points: list[tuple[int, float, float]]) -> None:
    """A slope inside the bounds has a line through all intervals; one outside has none (heights compared directly)."""
    times, values, limits = zip(*points, strict=True)
    found = drift(times, values, limits)

    def passes(slope: float) -> bool:
        low = max(v - u - slope * t for t, v, u in points)
        high = min(v + u - slope * t for t, v, u in points)
        return low <= high + 1e-9

    same_time = all(
        abs(a[1] - b[1]) <= a[2] + b[2] for a, b in itertools.combinations(points, 2) if a[0] == b[0]
    )  # fmt: skip
    if found.slope_low <= found.slope_high and same_time:
        ends = [end for end in (found.slope_low, found.slope_high) if math.isfinite(end)]
        assert all(passes(end) for end in ends)
        assert not any(passes(end) for end in (found.slope_low - 1e-3, found.slope_high + 1e-3) if math.isfinite(end))
    if found.word == "steady":
        assert passes(0.0)
    if found.word in ("drifts up", "drifts down"):
        assert not any(passes(slope) for slope in (0.0, 1e-6 * (-1 if found.word == "drifts up" else 1)))


def test_drift_refuses_what_is_no_series() -> None:
    """Unequal lengths, infinite values, a limit below zero."""
    for bad in (([0.0], [1.0, 2.0], [1.0]), ([0.0], [math.inf], [1.0]), ([0.0], [1.0], [-1.0])):
        with pytest.raises(ValueError, match="times, values and limits"):
            drift(*bad)
    assert drift_of([entry(math.inf, limit=0.0)]).word == "too few"
    assert drift_of([entry(), entry(math.inf, minute=1, limit=0.0), entry(minute=2)]).word == "jumps"
    assert seconds("1970-01-02T00:00:00Z") == 86_400.0


@pytest.mark.parametrize("layout", ["wide", "narrow"])
def test_history_plot_draws_every_reading_once(layout: str) -> None:
    """Marks stand where the values say; open displays get their own mark; no text leaves the drawing or overlaps."""
    points = [HistoryPoint(86_400.0 * day, 1000.0 + 5.0 * day, 12.0) for day in range(6)]
    points.append(HistoryPoint(86_400.0 * 7, math.inf, 0.0))
    drawing = history_plot(
        "taps/ohms/lever_manual <&>", points, "ohm", as_built=HistoryBand(980.0, 1020.0),
        works=HistoryBand(950.0, 1100.0), words="Drifts up.", layout=layout,
    )  # fmt: skip
    assert_sound(drawing)
    root = ET.fromstring(drawing.svg)
    dots = list(root.iter("{http://www.w3.org/2000/svg}circle"))
    assert len(dots) == 6
    places = [(float(each.get("cx", "")), float(each.get("cy", ""))) for each in dots]
    across = [b[0] - a[0] for a, b in itertools.pairwise(places)]
    up = [a[1] - b[1] for a, b in itertools.pairwise(places)]
    assert across == pytest.approx([across[0]] * 5, abs=0.003)
    assert up == pytest.approx([up[0]] * 5, abs=0.003)
    assert across[0] > 1.0 and up[0] > 1.0
    assert "open display" in drawing.description


@given(
    st.lists(
        st.tuples(st.floats(0.0, 4e9), st.one_of(st.floats(0.0, 1e8), st.just(math.inf)), st.floats(0.0, 1e3)),
        min_size=1, max_size=12,
    ),
    st.sampled_from(["ohm", "V"]),
)  # fmt: skip
def test_history_plot_of_anything_is_sound(points: list[tuple[float, float, float]], unit: str) -> None:
    """No series makes a broken drawing."""
    made = [HistoryPoint(*each) for each in points]
    assert_sound(history_plot("a point", made, unit, as_built=HistoryBand(10e6, math.inf), works=HistoryBand(0.0, 1e7)))


def test_a_damaged_record_is_refused_with_the_reason(tmp_path: Path) -> None:
    """A text that is no text any more; found by mutating files at random."""
    path = tmp_path / "a.sqlite"
    with open_record(path, "pp-one") as record:
        record.add(
            Entry("s", "m", 1.0, "ohm", "1.0 ohm", "2026-03-01T10:00:00Z", "meter", 0.1), Snapshot("pp-one", "h", "t")
        )
    db = sqlite3.connect(path)
    db.execute("UPDATE readings SET meter = CAST(x'ff9d' AS TEXT)")
    db.commit()
    db.close()
    with open_record(path, "pp-one") as record, pytest.raises(RecordFault, match="damaged and cannot be read"):
        record.entries()
