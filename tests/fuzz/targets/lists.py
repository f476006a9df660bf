"""Lists and small files that are taken in: readings, drawers, borrowed tables, meters, weights, sessions."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Sequence
from pathlib import Path

from pinproof.chain.bench import Bench
from pinproof.chain.learn_begin import new_session
from pinproof.chain.learning import Learning
from pinproof.chain.stock import DrawerFault, drawer_text, load_rows, merged, read_csv
from pinproof.design import DesignFault, load
from pinproof.design.load import decode
from pinproof.driveline.borrowed import convert, converted_csv
from pinproof.driveline.stated import DriveFault
from pinproof.errors import PinproofError
from pinproof.examples import example_path
from pinproof.find import CausesFault, table_text, weights_of
from pinproof.find.weights import SYMPTOMS, with_symptoms
from pinproof.learn import LearnFault, load_session
from pinproof.learn.session import found_of, session_text
from pinproof.meter.instrument import STARTER, MeterFault, load_instrument, starter
from pinproof.record import RecordFault, read_rows, record_path
from tests.fuzz import mutate
from tests.fuzz.oracle import Broken, fit_to_print, refused, untouched
from tests.fuzz.target import Run, Target


def _file(name: str, read: Callable[[Path, bytes], None], folder: Path, beside: frozenset[str] = frozenset()) -> Run:
    path = folder / name

    def run(data: bytes) -> None:
        path.write_bytes(data)
        read(path, data)
        untouched(path, data, beside)

    return run


def begin_readings(folder: Path) -> Run:
    """Readings as CSV; of one list in eight all are kept, or none."""
    design = folder / "wagtail.toml"
    design.write_bytes(example_path("wagtail").read_bytes())
    bench = Bench(load(design), design, starter(), 20.0, "", record_path(design))
    with bench.open() as record:
        bench.known  # noqa: B018 - worked out once
        before = len(record.entries(struck=True))

    def read(path: Path, data: bytes) -> None:
        nonlocal before
        if zlib.crc32(data) % 8:
            try:
                read_rows(decode(data, path.name), path.name, bench.truck.id)
            except (RecordFault, DesignFault) as fault:
                refused(fault, path.name)
            return
        try:
            taken = len(bench.take_list(decode(data, path.name), path.name))
        except (RecordFault, DesignFault) as fault:
            refused(fault, path.name)
            taken = 0
        with bench.open() as record:
            now = len(record.entries(struck=True))
        if now != before + taken:
            raise Broken("a list kept by half", f"{now - before} of {taken}")
        before = now

    beside = frozenset({design.name, *(bench.record_file.name + end for end in ("", "-wal", "-shm"))})
    return _file("in.csv", read, folder, beside)


def reading_lists() -> Sequence[bytes]:
    """As printed and filled in; as exported."""
    path = example_path("wagtail")
    bench = Bench(load(path), path, starter(), None, "", path)
    ids = [row.station.id for row in bench.blank.rows]
    plain = "station,value,note\n" + "".join(f"{each},{'' if at % 3 else '1.2k'},\n" for at, each in enumerate(ids))
    noted = "# bench sheet\nstation;value;ambient;taken_utc;design_id;struck_utc\n" + "".join(
        f'"{each}";"{value}";12 °C;2026-03-01T18:30:00Z;pp-wagtail;\n'
        for each, value in zip(ids, ("OL", "0,5 ohm", "12.6 V", "1.497k", "up") * 9, strict=False)
    )
    return [plain.encode(), noted.encode(), ("\ufeff" + noted).replace("\n", "\r\n").encode()]


def begin_drawer(folder: Path) -> Run:
    """A drawer's file, and the same bytes as a list of parts."""

    def read(path: Path, data: bytes) -> None:
        for each in (lambda: load_rows(path)[0], lambda: read_csv(data, path.name)):
            try:
                rows = merged(each())
            except (DrawerFault, DesignFault) as fault:
                refused(fault, path.name)
                continue
            again = path.with_name("again.toml")
            again.write_text(drawer_text(rows), encoding="utf-8")
            try:
                if merged(load_rows(again)[0]) != rows:
                    raise Broken("a drawer that reads back otherwise", drawer_text(rows)[:600])
            finally:
                again.unlink()

    return _file("in.toml", read, folder)


def drawers() -> Sequence[bytes]:
    """Files and lists."""
    listed = 'ohm,tolerance,count,measured_ohm,meter,label\n1.5k,1 %,10,,,\n820,5 %,3,818.2,"0.8 % + 2",red tin\n'
    semicolon = "Value;Tol;Qty\n4k7;1 %;25\n2,2k;5 %;4\n10 Mohm;10 %;1\n"
    toml = (
        'format = 1\n\n[[part]]\nohm = "1.5 kohm"\ntolerance = "1 %"\ncount = 10\n\n[[part]]\nohm = "820 ohm"\n'
        'measured_ohm = "818.2 ohm"\nmeter = "0.8 % + 2"\nlabel = "red tin"\n'
    )
    return [listed.encode(), semicolon.encode(), b"1.5k\t1 %\n820\t5 %\n", toml.encode()]


def begin_borrowed(folder: Path) -> Run:
    """A borrowed table."""
    truck = load(example_path("sandpiper"))
    assert truck.drive is not None
    borrowed = truck.drive.borrowed[0]

    def read(path: Path, data: bytes) -> None:
        try:
            tables = convert(truck, borrowed, decode(data, path.name).removeprefix("\ufeff"))
        except (DriveFault, DesignFault) as fault:
            refused(fault, path.name, borrowed.file)
            return
        converted_csv(tables)
        for table in tables:
            for _, cells in table.rows:
                for cell in cells:
                    fit_to_print(f"[{cell.why}{cell.enter_text}]", "a cell")

    return _file("in.csv", read, folder)


def tables() -> Sequence[bytes]:
    """The example's, and other dialects of it."""
    text = example_path("sandpiper").with_name("sandpiper-borrowed.csv").read_text(encoding="utf-8")
    return [text.encode(), text.replace(",", ";").encode(), b"shift;20 %\n1 to 2;18,5\ngear 2 -> 1;unknown\n"]


def begin_meter(folder: Path) -> Run:
    """A meter's file."""

    def read(path: Path, data: bytes) -> None:
        try:
            made = load_instrument(path)
        except (MeterFault, DesignFault) as fault:
            refused(fault, path.name)
            return
        fit_to_print(made.words, "a meter")

    return _file("in.toml", read, folder)


def begin_causes(folder: Path) -> Run:
    """An owner's weights of causes."""

    def read(path: Path, data: bytes) -> None:
        try:
            made = weights_of(decode(data, path.name).removeprefix("\ufeff"), path.name)
        except (CausesFault, DesignFault) as fault:
            refused(fault, path.name)
            return
        said = frozenset(each for at, each in enumerate(SYMPTOMS) if zlib.crc32(data) >> at & 1)
        if not sum(with_symptoms(made, "in service", said).values()) >= 0.0:
            raise Broken("weights that are none", path.name)

    return _file("in.toml", read, folder)


def begin_session(folder: Path) -> Run:
    """A learning session's file: read, gone on with, written again."""
    truck = load(example_path("wagtail"))

    def read(path: Path, data: bytes) -> None:
        try:
            session, _ = load_session(path)
        except (LearnFault, DesignFault) as fault:
            refused(fault, path.name, "session")
            return
        if session.design_id != truck.id or session.line not in [line.id for line in truck.lines]:
            return
        try:
            found_of(session, truck)
            Learning(truck, path, session, None).asked()
        except PinproofError as fault:
            refused(fault)
        again = path.with_name("again.json")
        again.write_text(session_text(session), encoding="utf-8")
        try:
            if load_session(again)[0] != session:
                raise Broken("a session that reads back otherwise", session_text(session)[:600])
        except LearnFault as fault:
            raise Broken("a session that does not read back", str(fault)) from fault
        finally:
            again.unlink()

    return _file("in.json", read, folder)


def sessions() -> Sequence[bytes]:
    """Begun, with volts, with some edges."""
    truck = load(example_path("wagtail"))
    made: list[bytes] = []

    class Kept(Learning):
        def save(self) -> None:
            made.append(session_text(self.session).encode())

    work = Kept(truck, Path("none.json"), new_session(truck, truck.lines[0], None), None)
    work.save()
    for text in ("open volts=4.98", "load=1k volts=2.49", "load=10k volts=4.53", "load=220 means=up",
                 "load=820 means=down", "load=10k means=automatic", "part=1k ohms=0.998k"):  # fmt: skip
        work.add(text)
    work.answer_look("ac=0.01")
    return [made[0], made[3], made[-1]]


WORDS = (
    "station", "value", "ambient", "taken_utc", "OL", "1.2k", "0,5 ohm", "12.6 V", "12 °C", "2026-03-01T18:30:00+14:00",
    "0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59", "ohm", "tolerance", "count", "measured_ohm", "label", "#",
    "1>2", "2->1", "gear 3", "100 %", "null", "1e15", "-1", "[]", "{}", '"a"', '""', "\ufeff", "\x1c", "\u2028", "\x85",
)  # fmt: skip
JSON_WORDS = (
    "null", "true", "1e14", "-1e14", "0", "0.0", "[]", "{}", '"a"', "[[]]", '{"ohm": 1}', "1e-300",
    "123456789012345678901",
    '"ground"', '"supply"', '"pot"', '"stock"', '"falling"', '"rising"', '"none"', '"format"', '"reference_v": "1"',
    "[null]",
    '"\\u0000"', '"\\ud800"', '"compares"', '"volts"', '"reference"', '"battery"', '"look"',
)  # fmt: skip


def twice(data: bytes) -> bytes:
    """All rows again."""
    return data + data


TARGETS = (
    Target("readings", "readings as CSV", ("pinproof.record.table", "pinproof.chain.bench", "pinproof.meter.typed"),
           begin_readings, reading_lists, mutate.TABLE, WORDS, doubled=twice),
    Target("drawer", "drawer files and lists", ("pinproof.chain.stock",
    "pinproof.choose.drawer"), begin_drawer, drawers,
           (*mutate.TABLE, mutate.value, mutate.key, mutate.quoted, mutate.parts), WORDS, doubled=twice),
    Target("borrowed", "borrowed tables", ("pinproof.driveline.borrowed",), begin_borrowed, tables, mutate.TABLE, WORDS,
           doubled=twice),
    Target("meter-file", "meter files", ("pinproof.meter.instrument",), begin_meter, lambda: [STARTER.encode()],
           mutate.TOML, WORDS, doubled=lambda data: data + data[data.find(b"[["):]),
    Target("causes", "weights of causes", ("pinproof.find.weights",), begin_causes,
           lambda: [table_text().encode(), b'[cause]\n"switch stuck" = { new_build = 2, in_service = 18 }\n'],
           mutate.TOML, WORDS),
    Target("session", "learning sessions", ("pinproof.learn",), begin_session, sessions,
           (*mutate.TEXT, mutate.number, mutate.quoted, mutate.cell), JSON_WORDS, limit_s=5.0),
)  # fmt: skip
