"""What the search for hostile input broke, as small inputs that show it. `python3 dev.py fuzz` searches on."""

from __future__ import annotations

import io
import json
import sqlite3
import threading
from pathlib import Path

import polars as pl
import pytest

from pinproof.chain.learn_begin import new_session
from pinproof.chain.stock import DrawerFault, meter_error_ohm, read_csv
from pinproof.design import DesignFault, load, loads
from pinproof.driveline.borrowed import convert
from pinproof.driveline.stated import DriveFault
from pinproof.errors import PinproofError, QuantityFault, printable
from pinproof.examples import example_path
from pinproof.find import CausesFault, weights_of
from pinproof.learn import LearnFault, begin, load_session
from pinproof.learn.entry import part_of
from pinproof.learn.session import session_text
from pinproof.logs import LogFault, MapFault, load_map, map_of, open_log, parquet_trial, propose_map
from pinproof.meter.instrument import MeterFault, instrument_of
from pinproof.quantities import parse
from pinproof.record import Entry, RecordFault, Snapshot, open_record, read_rows
from pinproof.record.table import utc_text
from tests.fuzz.target import of_corpus
from tests.fuzz.targets.logs import Probe
from tests.web_client import BASE, client_of, folder_with

TIME = 'format = 1\n[time]\nheader = "Time"\nunit = "s"\nconfirmed = true\n'
ENGINE = '[[channel]]\nrole = "engine"\nheader = "Engine"\nunit = "rpm"\nconfirmed = true\n'
CAN_MAP = (
    'format = 1\n[file]\nkind = "can"\nconfirmed = true\n[can]\ndbc = "bus.dbc"\n[[channel]]\nrole = "oil"\n'
    'header = "Speeds.Oil"\nunit = "degC"\nconfirmed = true\n'
)
DBC = 'VERSION ""\nNS_ :\nBS_:\nBU_: TCU\nBO_ 256 Speeds: 8 TCU\n SG_ Oil : {bits}@1- (1,0) [-40|200] "degC" TCU\n'
ODD = "\x1b[2J\x7f\x85\u202e\ud800"


# what is printed


@pytest.mark.parametrize("letter", list(ODD))
def test_a_refusal_never_repeats_what_a_terminal_obeys(letter: str) -> None:
    """Escape sequences, backspaces, reversed text and half letters of a stranger's file; each by its own reader."""
    bad = f"4k7{letter}x"
    whole = bad.encode("utf-8", "replace").decode()
    raisers = [
        lambda: parse(bad, "resistance"),
        lambda: read_csv(f"ohm,tolerance\n{whole},1 %\n".encode(), "list.csv"),
        lambda: read_rows(f"{whole},b\n1,2\n", "list.csv", "pp-x"),
        lambda: weights_of(f'[cause]\n"{whole}" = 1\n' if letter not in "\x1b\x7f" else f"[cause]\n{whole}\n"),
        lambda: instrument_of(f'counts = 1\n"{whole}" = 1\n' if letter not in "\x1b\x7f" else whole, "meter.toml"),
        lambda: convert(*borrowed(), f"shift,a\n{whole},{whole}\n"),
        lambda: loads(f'[[line]]\nid = "{whole}"\nsurely = 1\n', "x.toml"),
        lambda: part_of(bad, begin().stock),
    ]
    for raises in raisers:
        with pytest.raises(PinproofError) as caught:
            raises()
        text = str(caught.value)
        assert "".join(text.split("\n")).replace("\u00a0", "").isprintable(), repr(text)
        text.encode("utf-8")


def test_printable_leaves_what_people_write() -> None:
    """Signs of the trade stay; blanks of any kind become one blank."""
    assert printable("4,7 kΩ ± 5 % → 20 °C") == "4,7 kΩ ± 5 % → 20 °C"
    assert printable("a\nb\u2003c\x1bd") == "a b c·d"


def borrowed() -> tuple[object, object]:
    """A truck with a borrowed table."""
    truck = load(example_path("sandpiper"))
    assert truck.drive is not None
    return truck, truck.drive.borrowed[0]


# small texts


def test_a_part_of_no_ohms_is_not_in_the_stock() -> None:
    """It was divided by."""
    with pytest.raises(LearnFault, match="not in the stock"):
        part_of("0", begin().stock)


@pytest.mark.parametrize("text", ["9999-12-31T23:59:59-01:00", "0001-01-01T00:00:00+01:00"])
def test_a_time_beyond_the_calendar_is_no_time(text: str) -> None:
    """At the ends of the calendar an offset leads out of it."""
    with pytest.raises(ValueError, match="calendar"):
        utc_text(text)
    with pytest.raises(RecordFault, match="line 2"):
        read_rows(f"station,value,taken_utc\na,1 ohm,{text}\n", "list.csv", "pp-x")


@pytest.mark.parametrize("text", ["a = " + "[" * 5000, f"a = {'9' * 5000}"])
def test_weights_of_absurd_depth_or_length_are_refused(text: str) -> None:
    """Neither is what a TOML reader calls a syntax error."""
    with pytest.raises(CausesFault, match="not TOML"):
        weights_of(text)


HUGE = f"0x{'9' * 4000}"


def test_whole_numbers_that_cannot_be_written_out_are_refused(tmp_path: Path) -> None:
    """Sixteen to the four thousandth reads as TOML, and was an error of Python's own in the error about it."""
    from pinproof.chain.stock import load_rows
    from pinproof.logs import ScriptFault, script_of

    with pytest.raises(MapFault, match="64 bits"):
        map_of(f"{TIME.replace('header', f'rate = {HUGE}{chr(10)}header')}{ENGINE}")
    with pytest.raises(ScriptFault, match="64 bits"):
        script_of(f"format = 1\n[[phase]]\nkind = {HUGE}\n")
    with pytest.raises(CausesFault, match="64 bits"):
        weights_of(f'[cause]\n"switch stuck" = [{HUGE}]\n')
    with pytest.raises(MeterFault, match="64 bits"):
        instrument_of(f"format = 1\ncounts = {HUGE}\n", "meter.toml")
    path = tmp_path / "drawer.toml"
    path.write_text(f"format = 1\n[[part]]\nohm = {HUGE}\n", encoding="utf-8")
    with pytest.raises(DrawerFault, match="64 bits"):
        load_rows(path)
    with pytest.raises(DesignFault, match="very long number"):
        loads(f"format = {HUGE}\n")


def test_a_meter_of_many_digits_is_refused_at_once() -> None:
    """The time grew with the square of the length: 20 kB took 8 s, an uploaded list may have 2 MB."""
    with pytest.raises(QuantityFault, match="accuracy"):
        meter_error_ohm("1k", "9" * 2_000_000)
    assert meter_error_ohm("1.497k", "0.8 % + 2") == pytest.approx(13.976)


# sessions of learning


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"gain": 0.005', '"gain": "0.005"'),
        ('"gain": 0.005', '"gain": true'),
        ('"least_ohm": ', '"least_ohm": null, "x": '),
        ('"side": "ground"', '"side": "sky"'),
        ('"faults": [', '"faults": [1, '),
        ('"stock": [', '"stock": [[], '),
        ('"told": {', '"told": {"a": "\\ud800", '),
        ('"gain": 0.005', f'"gain": 1{"0" * 400}'),
    ],
)
def test_a_session_with_a_field_of_another_kind_is_damaged(old: str, new: str, tmp_path: Path) -> None:
    """It was taken, and failed later in the sums or when it was saved."""
    truck = load(example_path("wagtail"))
    text = session_text(new_session(truck, truck.lines[0], None))
    assert old in text
    path = tmp_path / "wagtail.learn.json"
    path.write_text(text, encoding="utf-8")
    assert load_session(path)[0].design_id == truck.id
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(LearnFault, match=r"damaged|session"):
        load_session(path)


# logs


def written(folder: Path, data: bytes, name: str = "in.csv") -> Path:
    """A log."""
    path = folder / name
    path.write_bytes(data)
    return path


def proposal(path: Path) -> str:
    """The map that is proposed, which must be one."""
    text = propose_map(path).text
    try:
        map_of(text)
    except MapFault as fault:
        said = str(fault)
    else:
        said = ""
    assert "not a logger map" not in said, f"{said}\n{text}"
    return text


def test_a_proposal_is_a_map_whatever_the_cells_hold(tmp_path: Path) -> None:
    """Codes that look alike once they are written; gears that are no number; letters that end a line of TOML."""
    rows = "".join(f"{at},{gear}\n" for at, gear in enumerate(("0.0", "-0.0", "N", "\u200b", "\u200c", "nan", "inf")))
    text = proposal(written(tmp_path, f"Time,Gear\n{rows}".encode()))
    assert text.count('"0" =') == 1
    proposal(written(tmp_path, b"Time,Gear\x7f\n1,P\n2,N\n3,R\n"))


def test_a_proposal_without_any_channel_is_a_map_that_waits(tmp_path: Path) -> None:
    """A CAN recording whose signals suggest no role."""
    path = written(tmp_path, b"(1780000000.1) can0 100#0102030405060708\n", "in.log")
    (tmp_path / "bus.dbc").write_text(DBC.format(bits="0|8").replace("Oil", "Xyz").replace("Speeds", "Abc"))
    text = propose_map(path, tmp_path / "bus.dbc").text
    with pytest.raises(MapFault, match="not confirmed"):
        map_of(text, folder=tmp_path)


def test_the_duration_begins_with_the_earliest_row(tmp_path: Path) -> None:
    """Rows that come late may lie before the first of the file."""
    rows = ["0.03,1510", "0.02,1500", *(f"{0.04 + 0.01 * at:.2f},{1520 + at}" for at in range(30))]
    path = written(tmp_path, ("Time,Engine\n" + "\n".join(rows) + "\n").encode())
    log = open_log(path, map_of(TIME + ENGINE))
    chunks = list(log.chunks(("engine",)))
    first, last = float(chunks[0].time_s[0]), float(chunks[-1].time_s[-1])
    assert first == pytest.approx(-0.01)
    assert log.duration_s == pytest.approx(last - first)


def parquet() -> bytes:
    """A small file in which every page is packed."""
    box = io.BytesIO()
    frame = pl.DataFrame({"Time": [at * 0.01 for at in range(500)], "Engine": [1500.0 + at % 7 for at in range(500)]})
    frame.write_parquet(box, compression="snappy")
    return box.getvalue()


def test_a_damaged_parquet_file_is_refused_wherever_it_is_damaged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where the library does not complain but panics, and while a map is proposed."""
    probe = Probe()  # one process for all trials, instead of one for each
    monkeypatch.setattr(parquet_trial, "ask_probe", probe.ask)
    data = parquet()
    made = map_of(TIME + ENGINE)
    refused = 0
    for at in range(4, len(data), 23):
        path = written(tmp_path, data[:at] + b"\xff\x07\xff\xff" + data[at + 4 :], "in.parquet")
        for read in (lambda: propose_map(path), lambda: list(open_log(path, made).chunks(("engine",)))):  # noqa: B023
            try:
                read()
            except LogFault as fault:
                refused += "in.parquet" in str(fault)
    probe.end()
    assert refused > 20


def test_a_parquet_file_that_ends_the_process_that_reads_it_ends_another_one(tmp_path: Path) -> None:
    """One of its sizes asks for 2 EB; the library then ends its process, which must not be this one."""
    path = written(tmp_path, of_corpus("parquet")[0], "in.parquet")
    for read in (lambda: propose_map(path), lambda: open_log(path, map_of(TIME + ENGINE))):
        with pytest.raises(LogFault, match="ends the program"):
            read()


def test_a_damaged_work_folder_is_as_good_as_none(tmp_path: Path) -> None:
    """Parts of the right size whose content is spoilt: the rows come from the file, and all of them once."""
    path = written(tmp_path, ("Time,Engine\n" + "".join(f"{at / 100},{at}\n" for at in range(900))).encode())
    made, work = map_of(TIME + ENGINE), tmp_path / "work"
    whole = [float(each) for chunk in open_log(path, made, work).chunks(("engine",)) for each in chunk.values["engine"]]
    part = next(work.rglob("*.parquet"))
    for at in (0, part.stat().st_size // 2, part.stat().st_size - 12):
        data = part.read_bytes()
        part.write_bytes(data[:at] + b"\xff" * 12 + data[at + 12 :])
        log = open_log(path, made, work)
        again = [float(each) for chunk in log.chunks(("engine",), 100) for each in chunk.values["engine"]]
        assert again == whole
    said = next(work.rglob("log.json"))
    for text in ("[]", "null", '{"channels": []}', "[" * 5000):
        said.write_text(text, encoding="utf-8")
        assert not open_log(path, made, work).from_work


def recording(folder: Path, dbc: str, stamp: str = "1780000000.1") -> Path:
    """A CAN recording with map and DBC."""
    (folder / "bus.dbc").write_text(dbc)
    (folder / "map.toml").write_text(CAN_MAP)
    lines = "".join(f"({stamp[:-1]}{at}) can0 100#0102030405060708\n" for at in range(1, 9))
    return written(folder, lines.encode(), "in.log")


def test_a_stamp_beyond_every_calendar_is_only_a_stamp(tmp_path: Path) -> None:
    """The day on which the recording began is then not told."""
    path = recording(tmp_path, DBC.format(bits="0|8"), stamp="500000000000.1")
    assert open_log(path, load_map(tmp_path / "map.toml")).time_base.begins == ""
    path = recording(tmp_path, DBC.format(bits="0|8"))
    assert open_log(path, load_map(tmp_path / "map.toml")).time_base.begins == "2026-05-28 20:26:40"


def test_a_stamp_of_hundreds_of_digits_is_no_stamp(tmp_path: Path) -> None:
    """It became infinite, and its row the first of all."""
    path = recording(tmp_path, DBC.format(bits="0|8"))
    path.write_bytes(f"({'9' * 400}.0) can0 100#0102030405060708\n".encode() + path.read_bytes())
    log = open_log(path, load_map(tmp_path / "map.toml"))
    assert log.duration_s == pytest.approx(0.7)
    assert [each.count for each in log.time_base.findings if each.kind == "row without time"] == [1]


def test_rows_that_quotes_cut_otherwise_are_read_as_one_thing(tmp_path: Path) -> None:
    """What a row is may depend on whether its cells are read as numbers or as texts."""
    rows = "".join(f'"0,0{at}","{1500 + at}","{at % 2}"\n' for at in range(9))
    spoilt = '"Time","Engine","Gear"\n' + rows.replace('"1503","1"', '1503k,"x": unknown. There are: a, b.",7').replace(
        '"1505"', '"",05"'
    )
    path = written(tmp_path, spoilt.encode())
    made = map_of(
        'format = 1\n[file]\ndecimal = ","\nconfirmed = true\n' + TIME.partition("\n")[2] + ENGINE, "map.toml"
    )
    values = [float(each) for chunk in open_log(path, made).chunks(("engine",)) for each in chunk.values["engine"]]
    assert {1500.0, 1501.0, 1508.0} <= set(values)


def test_frames_that_are_too_short_count_as_cells(tmp_path: Path) -> None:
    """More were lost than there were."""
    path = recording(tmp_path, DBC.format(bits="655|8"))
    log = open_log(path, load_map(tmp_path / "map.toml"))
    list(log.chunks(("oil",)))
    assert (log.channels["oil"].cells, log.channels["oil"].lost) == (8, 8)


@pytest.mark.parametrize(
    ("dbc", "said"),
    [
        (DBC.format(bits="0|2566852862"), "line 6"),
        (DBC.format(bits="9999999999999|8"), "line 6"),
        (DBC.format(bits="0|8").replace("Speeds: 8", "Speeds: 4294967295"), "line 5"),
        (DBC.format(bits="0|8") + "SG_MUL_VAL_ 256 Oil Page 0-4294967295;\n", "pages"),
        ("<?xml version='1.0'?><NetworkDefinition/>", "cannot be read"),
    ],
)
def test_a_dbc_that_asks_for_absurd_room_is_refused_before_it_gets_it(dbc: str, said: str, tmp_path: Path) -> None:
    """530 bytes took 5 GB."""
    path = recording(tmp_path, dbc)
    with pytest.raises(LogFault, match=said) as caught:
        open_log(path, load_map(tmp_path / "map.toml"))
    assert "bus.dbc" in str(caught.value)


def test_a_signal_too_long_for_a_number_is_no_channel(tmp_path: Path) -> None:
    """Its lowest 64 bits were taken for it."""
    path = recording(tmp_path, DBC.format(bits="0|72"))
    with pytest.raises(LogFault):
        open_log(path, load_map(tmp_path / "map.toml"))


# the record


def entry(number: int) -> Entry:
    """A reading."""
    return Entry("a", "mark", 1000.0 + number, "ohm", "1k", f"2026-03-01T18:30:0{number}Z", "meter", 5.0)


def kept(folder: Path) -> Path:
    """A record with three readings."""
    path = folder / "x.readings.sqlite"
    with open_record(path, "pp-x") as record:
        record.add_all([entry(number) for number in range(3)], Snapshot("pp-x", "hash", "text"))
    return path


def spoilt(path: Path, *statements: str) -> bytes:
    """The record after somebody else wrote into it."""
    connection = sqlite3.connect(path, isolation_level=None)
    for each in statements:
        connection.execute(each)
    connection.execute("PRAGMA journal_mode = DELETE")
    connection.close()
    return path.read_bytes()


@pytest.mark.parametrize(
    "statements",
    [
        ("DELETE FROM about",),
        ("PRAGMA user_version = -1",),
        ("PRAGMA user_version = 99",),
        ("PRAGMA user_version = 0",),
        ("UPDATE about SET design_id = 'pp-y'",),
        ("DROP TABLE about",),
    ],
)
def test_a_record_that_is_refused_stays_as_it_is(statements: tuple[str, ...], tmp_path: Path) -> None:
    """Whose it is was looked at only after the file had been switched to another way of writing."""
    path = kept(tmp_path)
    data = spoilt(path, *statements)
    with pytest.raises(RecordFault, match=r"x\.readings\.sqlite"):
        open_record(path, "pp-x")
    assert path.read_bytes() == data
    assert [each.name for each in tmp_path.iterdir()] == [path.name]


def test_a_database_of_something_else_stays_as_it_is(tmp_path: Path) -> None:
    """Somebody's music collection under the name of a record."""
    path = tmp_path / "x.readings.sqlite"
    data = spoilt(path, "CREATE TABLE songs (title TEXT)")
    with pytest.raises(RecordFault, match="no record"):
        open_record(path, "pp-x")
    assert path.read_bytes() == data


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE readings SET taken_utc = 'yesterday' WHERE id = 2",
        "UPDATE readings SET taken_utc = '' WHERE id = 2",
        "UPDATE readings SET value = 'much' WHERE id = 2",
        "UPDATE readings SET station = CAST(x'ff' AS TEXT) WHERE id = 2",
    ],
)
def test_a_record_with_a_spoilt_reading_says_so(statement: str, tmp_path: Path) -> None:
    """It was taken, and failed where its drift was worked out."""
    path = kept(tmp_path)
    spoilt(path, statement)
    with open_record(path, "pp-x") as record, pytest.raises(RecordFault, match="damaged"):
        record.entries()


def test_log_proofs_that_belong_to_nothing_are_damage(tmp_path: Path) -> None:
    """A row without its number was an error of Python's own."""
    path = kept(tmp_path)
    spoilt(
        path, "PRAGMA foreign_keys = OFF", "PRAGMA writable_schema = ON",
        "UPDATE sqlite_master SET sql = replace(sql, 'NOT NULL', '') WHERE name = 'log_proof_files'",
        "PRAGMA writable_schema = RESET",
        "INSERT INTO log_proof_files (proof, kind, name) VALUES (NULL, 'log', 'x')",
    )  # fmt: skip
    with open_record(path, "pp-x") as record, pytest.raises(RecordFault, match="damaged"):
        record.log_proofs()


# the pages


def test_a_query_of_raw_bytes_is_read_as_a_browser_would_have_sent_it(tmp_path: Path) -> None:
    """A browser writes %ff; a program may send the byte itself."""
    from pinproof.web.app import make_app, make_site
    from tests.test_web_hostile import waited_for

    app, given = make_app(make_site(folder_with(tmp_path, "wagtail"))), []

    async def receive() -> dict[str, object]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: dict[str, object]) -> None:
        given.append(message)

    scope = {
        "type": "http", "method": "GET", "path": "/d/wagtail/proof", "raw_path": b"/d/wagtail/proof", "headers":
        [(b"host", BASE.partition("//")[2].encode())], "query_string": b"line=\xf0\xff", "client": ("127.0.0.1", 5),
        "server": ("127.0.0.1", 8765), "scheme": "http", "http_version": "1.1", "root_path": "",
    }  # fmt: skip
    waited_for(app(scope, receive, send))
    assert given[0]["status"] in (200, 404, 422)


@pytest.mark.parametrize("body", ['{"name": "\\ud800"}', '{"\\udfff": 1}', '{"name": ["\\ud800"]}'])
def test_json_with_half_a_letter_is_refused(body: str, tmp_path: Path) -> None:
    """No answer could have repeated it."""
    client, _ = client_of(folder_with(tmp_path, "wagtail"))
    answer = client.post("/example.json", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 400
    assert "half" in answer.json()["error"]["what"]


def test_an_absurd_length_is_refused(tmp_path: Path) -> None:
    """Python itself refuses numbers of so many digits."""
    client, _ = client_of(folder_with(tmp_path, "wagtail"))
    assert client.post("/example.json", content=b"{}", headers={"content-length": "9" * 5000}).status_code == 413


def test_the_faults_named_here_are_deliberate_errors() -> None:
    """What the faces turn into words."""
    for each in (CausesFault, DesignFault, DrawerFault, DriveFault, LearnFault, LogFault, MapFault, MeterFault,
                 QuantityFault, RecordFault):  # fmt: skip
        assert issubclass(each, PinproofError)
    assert json.dumps("\ud800") == '"\\ud800"'


def test_a_record_begun_by_many_at_once_is_no_stranger(tmp_path: Path) -> None:
    """A page that judges while one saves opens the record at the same moment; none may be refused."""
    for turn in range(25):
        path, gate, refused = tmp_path / f"{turn}.readings.sqlite", threading.Barrier(6), []

        def start(path: Path = path, gate: threading.Barrier = gate, refused: list[str] = refused) -> None:
            gate.wait()
            try:
                open_record(path, "pp-many").close()
            except RecordFault as fault:
                refused.append(str(fault))

        threads = [threading.Thread(target=start) for _ in range(6)]
        for each in threads:
            each.start()
        for each in threads:
            each.join()
        assert refused == []
