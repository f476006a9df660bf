"""Log files of many dialects, and awkward ones: each is read right, or refused with a sentence, or repaired and told.

The files are made here, so that what stands in them is known.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pinproof.design.messages import ChangedUnderneath
from pinproof.logs import (
    Finding,
    Log,
    LogFault,
    MapFault,
    line_blocks,
    load_map,
    map_of,
    open_log,
    opened,
    parquet_files,
    propose_map,
    save_map,
)
from pinproof.logs.faults import shown
from pinproof.logs.sniff import sniff

ROWS = 400


def a_map(
    *channels: str, time: str = 'header = "Time"\nunit = "s"', file: str = 'kind = "text"', more: str = ""
) -> str:
    """Text of a confirmed map; each channel is "role|header|unit", with more keys after a third bar."""
    parts = ["format = 1", "[file]", file, "confirmed = true", "[time]", time, "confirmed = true"]
    for channel in channels:
        role, header, unit, *rest = channel.split("|")
        parts += ["[[channel]]", f'role = "{role}"', f'header = "{header}"', f'unit = "{unit}"']
        parts += [*rest, "confirmed = true"]
    return "\n".join([*parts, more])


def columns(log: Log) -> dict[str, np.ndarray]:
    """The whole log in memory: time and all roles."""
    got = list(log.chunks(tuple(log.channels)))
    made = {role: np.concatenate([each.values[role] for each in got]) for role in log.channels}
    return {"time": np.concatenate([each.time_s for each in got]), **made}


def kinds(log: Log) -> dict[str, Finding]:
    """Findings by kind."""
    return {each.kind: each for each in log.time_base.findings}


def engine_log(rows: int = ROWS, step_s: float = 0.01) -> str:
    """A plain log of engine and road speed."""
    return "Time,Engine [rpm],Road [km/h]\n" + "".join(
        f"{k * step_s:.3f},{900 + 7 * (k % 50)},{36 + (k % 9)}\n" for k in range(rows)
    )


PLAIN = ("engine|Engine|rpm", "road|Road|km/h")


def test_a_plain_log(tmp_path: Path) -> None:
    """Stamps, units, names, what is not mapped."""
    path = tmp_path / "day.csv"
    path.write_text(engine_log().replace("Road [km/h]", "Road [km/h],Mystery").replace("\n", ",5\n", ROWS + 1))
    log = open_log(path, map_of(a_map(*PLAIN, "oil|Gearbox Temp|°C")))
    assert (log.name, log.absent) == ("day.csv", ("oil",))
    assert "Mystery" in log.unmapped
    got = columns(log)
    assert got["time"] == pytest.approx(np.arange(ROWS) * 0.01)
    assert got["engine"][:3].tolist() == [900.0, 907.0, 914.0]
    assert got["road"][:2] == pytest.approx([10.0, 37 / 3.6])  # 36 km/h is 10 m/s by definition
    assert (log.channels["road"].unit_read, log.channels["road"].unit) == ("km/h", "m/s")
    assert log.duration_s == pytest.approx((ROWS - 1) * 0.01)
    assert log.time_base.period_s == pytest.approx(0.01)
    assert (log.time_base.rows_read, log.time_base.rows_kept, log.time_base.gap_count) == (ROWS, ROWS, 0)
    assert log.channels["engine"].rate_hz == pytest.approx(100.0)
    with pytest.raises(LogFault, match="no channel with the role oil"):
        log.chunks(["oil"])


DIALECTS = {
    "semicolons, decimal comma, preamble, unit row": (
        "Logger 7\nDriver;none\n\nTime;Engine;Road\ns;1/min;km/h\n{rows}", ";", ",", "utf-8", "\n"),
    "tabs, latin letters": ("Time\tEngine\tRoad\tÖl °C\n{rows}", "\t", ".", "cp1252", "\r\n"),
    "UTF-16 with mark": ("Time;Engine;Road\n{rows}", ";", ",", "utf-16", "\r\n"),
    "UTF-8 with mark, bars": ("Time|Engine|Road\n{rows}", "|", ".", "utf-8-sig", "\n"),
    "old line ends": ("Time,Engine,Road\n{rows}", ",", ".", "utf-8", "\r"),
    "quotes": ('"Time","Engine","Road"\n{rows}', ",", ".", "utf-8", "\n"),
    "quotes and decimal comma between commas": ('"Time","Engine","Road"\n{rows}', ",", ",", "utf-8", "\n"),
    "delimiter at the end of each line": ("Time,Engine,Road,\n{rows}", ",", ".", "utf-8", "\n"),
    "blanks around numbers": ("Time , Engine , Road\n{rows}", ",", ".", "utf-8", "\n"),
}  # fmt: skip


@pytest.mark.parametrize("name", DIALECTS)
def test_dialects_are_seen_and_read(name: str, tmp_path: Path) -> None:
    """What sniffing proposes reads the file right; every number is checked."""
    head, delimiter, decimal, encoding, end = DIALECTS[name]
    lines = []
    for k in range(300):
        cells = [f"{k * 0.02:.2f}", f"{800.5 + k:.1f}", f"{k % 7 + 0.25:.2f}"]
        if "latin" in name:
            cells.append("µ")
        cells = [cell.replace(".", decimal) for cell in cells]
        cells = [f'"{cell}"' for cell in cells] if "quotes" in name else cells
        cells = [f" {cell} " for cell in cells] if "blanks" in name else cells
        lines.append(delimiter.join(cells) + (delimiter if "at the end" in name else "") + "\n")
    path = tmp_path / "log.csv"
    path.write_bytes(head.format(rows="".join(lines)).replace("\n", end).encode(encoding))
    proposal = propose_map(path)
    text = proposal.text.replace("confirmed = false", "confirmed = true").replace('unit = "?"', 'unit = "s"', 1)
    text = text.replace('unit = "?"', 'unit = "rpm"', 1).replace('unit = "?"', 'unit = "km/h"')
    text = text.replace('header = "Road"', 'header = "Road"')
    if 'role = "road"' not in text:
        text += '\n[[channel]]\nrole = "road"\nheader = "Road"\nunit = "km/h"\nconfirmed = true\n'
    log = open_log(path, map_of(text))
    got = columns(log)
    assert got["time"] == pytest.approx(np.arange(300) * 0.02)
    assert got["engine"] == pytest.approx(800.5 + np.arange(300))
    assert got["road"] == pytest.approx((np.arange(300) % 7 + 0.25) / 3.6)
    assert not {"no number", "ragged row", "row without time"} & set(kinds(log))


@pytest.mark.parametrize(
    ("header", "role"),
    [
        ("OutRPM", "output"), ("OUT_RPM", "output"), ("TOS", "output"), ("Output RPM", "output"),
        ("TransOutRPM", "output"), ("TISS", "turbine"), ("Engine RPM", "engine"), ("RPM", "engine"),
        ("Fuel cut out rpm", "engine"), ("what it is", ""),
    ],
)  # fmt: skip
def test_speeds_are_proposed_by_their_usual_short_names(tmp_path: Path, header: str, role: str) -> None:
    """Common practice, no source: what loggers call the shafts; a proposal has to be confirmed anyway."""
    path = tmp_path / "log.csv"
    path.write_text(f"Time [s],{header},Note\n" + "".join(f"{k / 100},{1500 + k},{k % 7}\n" for k in range(50)))
    found = {each.header: each.role for each in propose_map(path).channels}
    assert found.get(header, "") == role


def test_a_proposal_is_never_used_by_itself(tmp_path: Path) -> None:
    """Everything in it waits for the owner; what the file does not state is a question mark."""
    path = tmp_path / "log.csv"
    path.write_text("Time,Engine Speed,Gear,Trans Temp [F]\n0,900,N,100\n0.01,905,1,101\n0.02,910,1,102\n")
    proposal = propose_map(path)
    with pytest.raises(MapFault) as fault:
        map_of(proposal.text)
    said = str(fault.value)
    assert "The time is not confirmed" in said and "How the file is read is not confirmed" in said
    assert "no unit of time" in said
    by_role = {each.role: each for each in proposal.channels}
    assert (by_role["engine"].unit, by_role["oil"].unit) == ("?", "F")
    assert dict(by_role["gear"].codes) == {"N": "0", "1": "1"}
    assert any("as seconds the rows would be 100 Hz" in each for each in proposal.questions)
    with pytest.raises(MapFault, match='states no unit. Write it instead of "\\?"'):
        map_of(proposal.text.replace("confirmed = false", "confirmed = true"))
    save_map(tmp_path / "logger.toml", proposal.text)
    with pytest.raises(ChangedUnderneath):
        save_map(tmp_path / "logger.toml", proposal.text)


def test_an_unconfirmed_channel_is_listed_not_read(tmp_path: Path) -> None:
    """It may even be incomplete."""
    path = tmp_path / "log.csv"
    path.write_text(engine_log())
    waiting = '[[channel]]\nrole = "road"\nheader = "Road"\nunit = "?"\nconfirmed = false'
    log = open_log(path, map_of(a_map("engine|Engine|rpm", more=waiting)))
    assert set(log.channels) == {"engine"}
    assert log.unconfirmed == ("road",)
    assert "Road" in log.unmapped


BAD_MAPS = [
    ("engine|Engine|km/h", '"km/h" is no unit of engine'),
    ("motor|Engine|rpm", '"motor" is no role'),
    ("pin|Engine|V", "is no role"),
    ("engine.taps|Engine|rpm", "is no role"),
    ("pin.taps|Engine|counts", "Counts need the number that full scale reads"),
    ("engine|Engine|rpm|full_scale = 5", "full_scale belongs to"),
    ("lever|Engine|code", "Write what each code means"),
    ('gear|Engine|code|codes = { "1" = 1, "01" = 2 }', "This code stands twice"),
    ('gear|Engine|code|codes = { "1" = 77 }', "is not a gear"),
    ('tap_up|Engine|code|codes = { "1" = 2 }', "is not 0 or 1"),
    ("engine|Engine|rpm|valid = [5, 1]", "lowest and the highest"),
    ("engine|Engine|rpm|facotr = 2", 'Did you mean "factor"?'),
    ("engine|Engine|rpm|on_above = 2", "on or off"),
    ("engine|Engine|rpm|factor = 0", "between 1e-9 and 1e9"),
    ('engine|Engine|rpm|factor = "2"', "Write a number without quotation marks"),
]


@pytest.mark.parametrize(("channel", "said"), BAD_MAPS)
def test_a_wrong_map_is_refused(channel: str, said: str) -> None:
    """Each slip is told with what would be right."""
    with pytest.raises(MapFault) as fault:
        map_of(a_map(channel))
    assert said in str(fault.value)


def test_all_faults_of_a_map_are_told_at_once(tmp_path: Path) -> None:
    """And what is no map at all."""
    with pytest.raises(MapFault) as fault:
        map_of(a_map("engine|Engine|km/h", "road|Road|rpm", "engine|Other|rpm"))
    assert len(fault.value.faults) == 3
    path = tmp_path / "other.toml"
    path.write_text('format = 1\n[tyre]\nroll_out = "3 m"\n')
    with pytest.raises(MapFault, match="not a logger map"):
        load_map(path)
    for text in ("= 5", "format = 1\ntime = 3", "format = 1\n[time]\nheader = 3\n[[channel]]\nrole = 1"):
        with pytest.raises(MapFault):
            map_of(text)


def test_codes_flags_counts_and_thresholds(tmp_path: Path) -> None:
    """Words, numbers, spelling of codes; what is none is lost and counted with an example."""
    path = tmp_path / "log.csv"
    rows = ["0.00,P,N,01,512,0,4.9,1", "0.01,M,1,5,1023,1,0.2,0", "0.02,X,2,5.0,0,0,,2", "0.03,M,R,7,-1,1,9,1"]
    path.write_text("Time,Sel,Gear,Lev,AN4,Up,Dn,Limp\n" + "\n".join(rows) + "\n")
    log = open_log(path, map_of(a_map(
        'meaning.taps|Sel|code|codes = { "P" = "automatic", "M" = "manual" }',
        'gear|Gear|code|codes = { "N" = 0, "R" = -1, "1" = 1, "2" = 2 }',
        'lever|Lev|code|codes = { "1" = "park", "5" = "manual" }',
        "pin.taps|AN4|counts|full_scale = 1023\nvalid = [0, 1023]",
        "tap_up|Up|code", "tap_down|Dn|V|on_above = 2.5", "limp|Limp|code",
    )))  # fmt: skip
    got = columns(log)
    assert log.channels["meaning.taps"].labels == ("automatic", "manual")
    assert got["meaning.taps"] == pytest.approx([0, 1, np.nan, 1], nan_ok=True)
    assert got["gear"].tolist() == [0, 1, 2, -1]
    assert got["lever"] == pytest.approx([0, 1, 1, np.nan], nan_ok=True)
    assert got["pin.taps"] == pytest.approx([512 / 1023, 1.0, 0.0, np.nan], nan_ok=True)
    assert log.channels["pin.taps"].unit == "ratio"
    assert got["tap_up"].tolist() == [0, 1, 0, 1]
    assert got["tap_down"] == pytest.approx([1, 0, np.nan, 1], nan_ok=True)
    assert got["limp"] == pytest.approx([1, 0, np.nan, 1], nan_ok=True)
    assert log.channels["meaning.taps"].lost_examples == ("X",)
    said = {(each.role, each.kind): each.text for each in log.time_base.findings if each.role}
    assert said["lever", "unknown code"] == 'lever: 1 of 4 cells held a code that the map does not know ("7").'
    assert said["limp", "out of range"].startswith("limp: 1 of 4 cells lay outside")
    assert log.channels["tap_down"].lost == 0, "an empty cell is no loss"


def test_cells_that_are_no_numbers_are_counted(tmp_path: Path) -> None:
    """Also where they come late in a long file, behind blocks of clean numbers."""
    path = tmp_path / "log.csv"
    lines = engine_log(120_000).split("\n")
    for at in (90_000, 90_001, 119_999):
        lines[at] = lines[at].rsplit(",", 2)[0] + ",ERR,40"
    lines[100_000] = lines[100_000].rsplit(",", 2)[0] + ",inf,"
    path.write_text("\n".join(lines))
    log = open_log(path, map_of(a_map(*PLAIN)))
    engine = columns(log)["engine"]
    assert np.flatnonzero(np.isnan(engine)).tolist() == [89_999, 90_000, 99_999, 119_998]
    assert log.channels["engine"].lost == 4
    assert log.channels["road"].lost == 0
    assert kinds(log)["no number"].text == 'engine: 4 of 120000 cells were no number ("ERR", "inf").'


def binary(size: int = 5000) -> bytes:
    """Bytes without a pattern."""
    return np.random.default_rng(3).integers(0, 256, size, dtype=np.uint8).tobytes()


REFUSED = {
    "empty": (b"", "empty", "The file is empty"),
    "blank": (b"\n\n  \n", "empty", "nothing but blank lines"),
    "header only": (b"Time,Engine,Road\n", "no rows", "no row below it"),
    "binary": (binary(), "binary", "no text"),
    "zeros": (bytes(100_000), "binary", "no text"),
    "archive": (b"PK\x03\x04" + binary(), "binary", "an archive or a spreadsheet"),
    "picture": (b"\x89PNG\r\n" + binary(), "binary", "a picture"),
    "parquet cut off": (b"PAR1" + binary(), "damaged", "damaged or cut off"),
    "one line without end": (b"1" * 5_000_000, "long line", "no end of line"),
    "a million columns": (b",".join(b"c%d" % k for k in range(1_000_000)) + b"\n1,2\n", "", ""),
    "no header": (b"1,2,3\n2,3,4\n3,4,5\n", "no header", "No line of headers"),
    "prose": (b"Once upon a time\nthere was a truck\nand it rained.\n", "", ""),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_log_is_refused(name: str, tmp_path: Path) -> None:
    """By the proposal and with a map; the fault is a LogFault with words, never another error."""
    data, kind, said = REFUSED[name]
    path = tmp_path / "log.csv"
    path.write_bytes(data)
    with pytest.raises(LogFault) as fault:
        propose_map(path)
    if kind:
        assert fault.value.kind == kind
        assert said in str(fault.value)
    with pytest.raises(LogFault):
        columns(open_log(path, map_of(a_map(*PLAIN))))


def test_a_line_without_end_far_inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Memory stays bounded: reading stops at the limit, here made small; the file is ten times as long."""
    path = tmp_path / "log.csv"
    path.write_bytes(engine_log().encode() + b"7" * 20_000_000)
    monkeypatch.setattr(line_blocks, "LONGEST_LINE", 2_000_000)
    with pytest.raises(LogFault, match="a line of more than 1 MB") as fault:
        columns(open_log(path, map_of(a_map(*PLAIN))))
    assert fault.value.kind == "long line"


def test_a_gigabyte_line_is_not_read_into_memory(tmp_path: Path) -> None:
    """200 MB without a line end behind good rows: refused after 32 MB; the rows before are given out first."""
    path = tmp_path / "log.csv"
    with path.open("wb") as file:
        file.write(engine_log(10_000).encode())
        for _ in range(200):
            file.write(b"7" * 1_000_000)
    program = (
        "import sys\n"
        "from pinproof.logs import LogFault, map_of, open_log\n"
        "text = sys.stdin.read()\n"
        "log = open_log(sys.argv[1], map_of(text))\n"
        "rows = 0\n"
        "try:\n    for each in log.chunks(tuple(log.channels)):\n        rows += len(each.time_s)\n"
        "except LogFault as fault:\n    print(fault.kind, rows > 5000)\n"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", program, str(path)], input=a_map(*PLAIN), capture_output=True, text=True, timeout=120,
        env={**os.environ, "PYTHONPATH": str(root / "src")}, encoding="utf-8",
    )  # fmt: skip
    assert done.stdout.strip() == "long line True", done.stderr


def test_a_file_filled_up_with_zeros(tmp_path: Path) -> None:
    """As a logger leaves it that lost its power; here a sparse file of 300 MB."""
    path = tmp_path / "log.csv"
    with path.open("wb") as file:
        file.write(engine_log(10_000).encode() + b"100.000,9")
        file.truncate(300_000_000)
    log = open_log(path, map_of(a_map(*PLAIN)))
    assert len(columns(log)["time"]) == 10_000
    assert kinds(log)["padding"].count > 299_000_000
    assert "cut-off line" in kinds(log)


@pytest.mark.parametrize("missing", ["no such file", "folder"])
def test_what_is_not_there(missing: str, tmp_path: Path) -> None:
    """A wrong name and a folder."""
    path = tmp_path / "x.csv"
    if missing == "folder":
        path.mkdir()
    for call in (lambda: propose_map(path), lambda: open_log(path, map_of(a_map(*PLAIN)))):
        with pytest.raises(LogFault) as fault:
            call()
        assert fault.value.kind == "no file"


def test_ragged_cut_and_stray_rows_are_repaired_and_told(tmp_path: Path) -> None:
    """A repeated header, remarks, short and long rows, a last line that is cut off."""
    lines = engine_log(200).rstrip("\n").split("\n")
    lines[50] = lines[50].rsplit(",", 1)[0]  # short
    lines[60] += ",1,2"  # long
    lines.insert(100, lines[0])
    lines.insert(120, "# marker")
    path = tmp_path / "log.csv"
    path.write_text("\n".join([*lines, "2.000,9"]))
    log = open_log(path, map_of(a_map(*PLAIN)))
    got = columns(log)
    assert len(got["time"]) == 200
    assert np.isnan(got["road"][49]) and got["engine"][59] == 900 + 7 * 9
    found = kinds(log)
    assert found["row without time"].count == 2
    assert found["cut-off line"].repair == "left out"
    assert 2 <= found["ragged row"].count <= 3  # the remark is a short row too


def test_a_wrong_delimiter_or_header_in_the_map(tmp_path: Path) -> None:
    """The fault says what the file has."""
    path = tmp_path / "log.csv"
    path.write_text(engine_log())
    with pytest.raises(LogFault, match='no column "Time"') as fault:
        open_log(path, map_of(a_map(*PLAIN, file='kind = "text"\ndelimiter = ";"')))
    assert fault.value.kind == "no time"
    with pytest.raises(LogFault, match="None of the headers in the map"):
        open_log(path, map_of(a_map("engine|Motor|rpm")))
    with pytest.raises(LogFault, match="No cell of column"):
        columns(open_log(path, map_of(a_map(*PLAIN, time='header = "Time"\nkind = "clock"'))))


def test_a_header_on_another_line_is_found_and_told(tmp_path: Path) -> None:
    """Loggers write preambles of changing length."""
    path = tmp_path / "log.csv"
    path.write_text("Session 5\nnote, with comma\n" + engine_log())
    log = open_log(path, map_of(a_map(*PLAIN)))
    assert len(columns(log)["time"]) == ROWS
    assert "after 2 lines, not after the 0 of the map" in kinds(log)["header moved"].text


def test_wrong_encoding(tmp_path: Path) -> None:
    """UTF-16 under a map that says UTF-8 is refused; a stray letter is replaced."""
    path = tmp_path / "log.csv"
    path.write_bytes(engine_log().encode("utf-16"))
    with pytest.raises(LogFault, match='encoding = "utf-16-le"'):
        open_log(path, map_of(a_map(*PLAIN)))
    path.write_bytes(engine_log().encode().replace(b",36\n", b",36\xb0\n", 1))
    log = open_log(path, map_of(a_map(*PLAIN)))
    assert len(columns(log)["time"]) == ROWS
    assert log.channels["road"].lost == 1
    assert kinds(log)["wrong letters"].count == 1


def test_headers_that_stand_twice(tmp_path: Path) -> None:
    """The second is reached as #2."""
    path = tmp_path / "log.csv"
    path.write_text("Time,Speed,Speed\n0,1,2\n1,3,4\n2,5,6\n")
    log = open_log(path, map_of(a_map("road|Speed#2|m/s")))
    assert columns(log)["road"].tolist() == [2, 4, 6]
    assert log.unmapped == ("Speed",)


STAMPS = {
    "ms": (["0", "10", "20"], 'unit = "ms"', [0.0, 0.01, 0.02]),
    "us from elsewhere": (["5000000", "5010000", "5020000"], 'unit = "us"', [0.0, 0.01, 0.02]),
    "clock over midnight": (["23:59:59.9", "23:59:59.95", "00:00:00.00"], 'kind = "clock"', [0.0, 0.05, 0.1]),
    "clock of minutes": (["59:59.5", "1:00:00.0", "1:00:00.5"], 'kind = "clock"', [0.0, 0.5, 1.0]),
    "date and time": (
        ["31.12.2025 23:59:59,50", "31.12.2025 23:59:59,75", "01.01.2026 00:00:00,00"],
        'kind = "date-time"\nlayout = "%d.%m.%Y %H:%M:%S,%f"', [0.0, 0.25, 0.5]),
    "zone": (
        ["2026-03-29T01:59:59.0+01:00", "2026-03-29T03:00:00.0+02:00", "2026-03-29T01:00:01Z"],
        'kind = "date-time"\nlayout = "%Y-%m-%dT%H:%M:%S%.f%z"', [0.0, 1.0, 2.0]),
}  # fmt: skip


@pytest.mark.parametrize("name", STAMPS)
def test_stamps(name: str, tmp_path: Path) -> None:
    """Every kind of stamp becomes seconds from the first row."""
    cells, time, wanted = STAMPS[name]
    path = tmp_path / "log.csv"
    path.write_text("Time;Engine\n" + "".join(f"{cell};{k}\n" for k, cell in enumerate(cells)))
    text = a_map("engine|Engine|rpm", time=f'header = "Time"\n{time}', file='kind = "text"\ndelimiter = ";"')
    log = open_log(path, map_of(text))
    assert columns(log)["time"] == pytest.approx(wanted, abs=1e-6)
    assert log.time_base.gap_count == 0
    if "date" in name:
        assert log.time_base.begins == "2025-12-31 23:59:59"


def test_date_and_clock_apart_and_rows_without_time(tmp_path: Path) -> None:
    """Two columns; and a log that has only a rate."""
    path = tmp_path / "log.csv"
    path.write_text("Date,Time,Engine\n" + "".join(f"2026-01-02,03:04:{k:02d}.500,{k}\n" for k in range(30)))
    proposal = propose_map(path)
    assert 'kind = "date and clock"' in proposal.text and 'date_header = "Date"' in proposal.text
    text = proposal.text.replace("confirmed = false", "confirmed = true").replace('unit = "?"', 'unit = "rpm"')
    log = open_log(path, map_of(text))
    assert columns(log)["time"] == pytest.approx(np.arange(30.0))
    log = open_log(path, map_of(a_map("engine|Engine|rpm", time='kind = "rows"\nrate = "50 Hz"')))
    assert columns(log)["time"] == pytest.approx(np.arange(30) / 50.0)


def test_swapped_day_and_month_is_a_question(tmp_path: Path) -> None:
    """Both readings are named."""
    path = tmp_path / "log.csv"
    path.write_text("When;Engine\n" + "".join(f"03/04/2026 10:00:{k:02d};{k}\n" for k in range(20)))
    assert any("%d/%m/%Y" in each and "%m/%d/%Y" in each for each in propose_map(path).questions)


def test_parquet(tmp_path: Path) -> None:
    """The same log as Parquet, under a wrong ending too; text, booleans and nothing recorded."""
    frame = pl.DataFrame({
        "Time": np.arange(1000) * 0.01, "Engine [rpm]": np.arange(1000, dtype=np.int32), "Road": [None, 3.6] * 500,
        "Gear": ["N", "1"] * 500, "Up": [True, False] * 500,
    })  # fmt: skip
    text = a_map(
        "engine|Engine|rpm", "road|Road|km/h", 'gear|Gear|code|codes = { "N" = 0, "1" = 1 }', "tap_up|Up|code",
        file='kind = "parquet"',
    )  # fmt: skip
    path = tmp_path / "log.csv"
    frame.write_parquet(path)
    log = open_log(path, map_of(text))
    got = columns(log)
    assert got["engine"].tolist() == list(range(1000))
    assert got["road"][:4] == pytest.approx([np.nan, 1.0, np.nan, 1.0], nan_ok=True)
    assert got["gear"][:2].tolist() == [0, 1] and got["tap_up"][:2].tolist() == [1, 0]
    assert "misnamed file" in kinds(log)
    assert log.channels["road"].rate_basis == "samples"
    assert log.channels["road"].rate_hz == pytest.approx(50.0)
    with pytest.raises(LogFault, match="the map is for delimited text"):
        open_log(path, map_of(a_map(*PLAIN)))


@pytest.mark.parametrize("group_rows", [40, 100, 10**9])
@pytest.mark.parametrize("rows", [1, 99, 400, 1000, 1037])
@pytest.mark.parametrize("sets", [1, 2, 9])
def test_parquet_in_slices_whatever_its_row_groups(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, group_rows: int, rows: int, sets: int
) -> None:
    """A few rows are asked for at once, and all come, in order: of many row groups, of one, in sets of columns."""
    frame = pl.DataFrame({
        "Time": np.arange(rows) * 0.01, "Engine": np.arange(rows) + 0.5,
        "Road": [None, 3.6] * (rows // 2) + [7.2] * (rows % 2), "spare": np.zeros(rows),
    })  # fmt: skip
    path = tmp_path / "log [1].parquet"
    frame.write_parquet(path, row_group_size=group_rows)
    monkeypatch.setattr(parquet_files, "PIECE_ROWS", 50)
    monkeypatch.setattr(parquet_files, "SLICE_ROWS", 200)
    monkeypatch.setattr(parquet_files, "SET_BYTES", path.stat().st_size // sets + 1 if sets > 1 else 10**9)
    asked: list[int] = []
    collect = pl.LazyFrame.collect

    def counted(self: pl.LazyFrame, *args: object, **more: object) -> object:
        made = collect(self, *args, **more)  # type: ignore[call-overload]
        asked.append(made.height)
        return made

    monkeypatch.setattr(pl.LazyFrame, "collect", counted)
    log = open_log(path, map_of(a_map("engine|Engine|rpm", "road|Road|km/h", file='kind = "parquet"')))
    got = columns(log)
    assert got["time"].tolist() == frame["Time"].to_list()
    assert got["engine"].tolist() == frame["Engine"].to_list()
    road = [np.nan if each is None else each / 3.6 for each in frame["Road"].to_list()]
    assert got["road"] == pytest.approx(road, nan_ok=True)
    assert "engine" in {each.role for each in propose_map(path).channels}
    assert max(asked) <= 200
    many = min(3, 1 + path.stat().st_size // parquet_files.SET_BYTES)  # sets of the three columns that are wanted
    assert sum(asked) - min(rows, 200) == rows * many  # no row twice but those that the proposal looked at


def test_parts_of_one_day(tmp_path: Path) -> None:
    """With dates in order and the time between known; without, put one after the other; twice the same is refused."""
    for name, hour in (("b.csv", 12), ("a.csv", 10)):
        rows = "".join(f"2026-05-01 {hour}:00:{k:02d},{k + hour}\n" for k in range(20))
        (tmp_path / name).write_text("Time,Engine\n" + rows)
    dated = a_map("engine|Engine|rpm", time='header = "Time"\nkind = "date-time"\nlayout = "%Y-%m-%d %H:%M:%S"')
    log = open_log([tmp_path / "b.csv", tmp_path / "a.csv"], map_of(dated))
    got = columns(log)
    assert got["engine"][0] == 10 and got["time"][20] == pytest.approx(7200.0)
    assert log.name == "a.csv and 1 more"
    assert log.time_base.gaps == ((19.0, 7200.0),)
    assert [each.gap_before for each in log.chunks(["engine"])] == [True, True]
    (tmp_path / "1.csv").write_text(engine_log(100))
    (tmp_path / "2.csv").write_text(engine_log(150))
    log = open_log([tmp_path / "2.csv", tmp_path / "1.csv"], map_of(a_map(*PLAIN)))
    assert columns(log)["time"][150] == pytest.approx(1.49 + 1.0)
    assert "time between the 2 parts is not known" in kinds(log)["parts"].text
    with pytest.raises(LogFault, match="holds the same as 1.csv"):
        open_log([tmp_path / "1.csv", tmp_path / "1.csv"], map_of(a_map(*PLAIN)))


def test_the_work_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second look reads nothing of the file; a changed file, map or damaged entry is read anew."""
    path, work = tmp_path / "log.csv", tmp_path / "work"
    text = engine_log(3000).replace("\n12.000,", "\n19.000,", 1)
    path.write_text(text)
    monkeypatch.setattr(opened, "KEPT_CELLS", 0)
    made = map_of(a_map(*PLAIN))
    first = open_log(path, made, work)
    assert not first.from_work
    wanted, base = columns(first), first.time_base
    again = open_log(path, made, work)
    assert again.from_work
    assert again.time_base == base and repr(again.channels) == repr(first.channels)
    with monkeypatch.context() as patched:
        patched.setattr("pinproof.logs.text_files.TextSource.pieces", None)
        got = columns(again)
    assert all(np.array_equal(got[role], wanted[role], equal_nan=True) for role in wanted)
    assert len(list(work.iterdir())) == 1
    assert not open_log(path, map_of(a_map("engine|Engine|rpm")), work).from_work
    entry = next(work.iterdir())
    part = next(entry.glob("part-*.parquet"))
    part.write_bytes(part.read_bytes()[:-10])
    assert not open_log(path, made, work).from_work
    assert len(columns(open_log(path, made, work))["time"]) == len(wanted["time"])
    assert open_log(path, made, work).from_work
    os.utime(path, ns=(1, 1))
    assert not open_log(path, made, work).from_work
    (next(work.iterdir()) / "log.json").write_text(json.dumps({"channels": 3}))
    assert len(columns(open_log(path, made, work))["time"]) == len(wanted["time"])


def test_a_run_that_is_not_finished_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither an entry nor a half-learned time base; the next run is whole."""
    monkeypatch.setattr("pinproof.logs.line_blocks.BLOCK_BYTES", 2**17)  # more of them than are read ahead
    path, work = tmp_path / "log.csv", tmp_path / "work"
    path.write_text(engine_log(200_000))
    log = open_log(path, map_of(a_map(*PLAIN)), work)
    run = log.chunks(["engine"], rows=1000)
    next(run)
    run.close()
    assert list(work.iterdir()) == []
    assert log.time_base.rows_kept == 200_000


def test_a_work_folder_that_cannot_be_written(tmp_path: Path) -> None:
    """The log is read all the same, and it is said."""
    path = tmp_path / "log.csv"
    path.write_text(engine_log())
    (tmp_path / "work").write_text("a file, no folder")
    log = open_log(path, map_of(a_map(*PLAIN)), tmp_path / "work")
    assert len(columns(log)["time"]) == ROWS
    assert log.work_refused


def test_units_are_asked_about_never_changed(tmp_path: Path) -> None:
    """A question, and the numbers as the map says."""
    path = tmp_path / "log.csv"
    rows = "".join(f"{k * 10},{2.9 + 0.01 * (k % 90)},{40 + k % 20},{88 + k % 5}\n" for k in range(300))
    path.write_text("Time,Engine,Thr,Oil\n" + rows)
    text = a_map("engine|Engine|rpm", "throttle|Thr|ratio", "oil|Oil|°C")
    log = open_log(path, map_of(text))
    asked = [each.text for each in log.time_base.findings if each.kind == "unit question"]
    assert any("engine reads 2.9 rpm first" in each and "thousands of turns" in each for each in asked)
    assert any("throttle reads 40" in each and "percent" in each for each in asked)
    assert any("The rows are 10 s apart" in each and "milliseconds" in each for each in asked)
    assert not any("oil" in each for each in asked)
    assert columns(log)["engine"][0] == 2.9


def test_names_are_shown_without_control_letters() -> None:
    """Texts of a file cannot redraw a terminal."""
    assert shown("a\x1b[31mb\n" + "c" * 100, 10) == "a·[31mb·cc…"


def test_sniffing_reads_little(tmp_path: Path) -> None:
    """A large file is known from its beginning."""
    path = tmp_path / "log.csv"
    path.write_text(engine_log(50_000))
    assert sniff(path).form.delimiter == ","
    assert len(sniff(path).samples) == 200
