"""CAN recordings in four formats, and the DBC that goes with them."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import can

from pinproof.logs import LogFault, MapFault, load_map
from tests.fuzz import mutate
from tests.fuzz.oracle import refused, untouched
from tests.fuzz.target import Run, Target
from tests.fuzz.targets.logs import doubled, proposed, whole

DBC = """VERSION ""
NS_ :
BS_:
BU_: TCU
BO_ 256 Speeds: 8 TCU
 SG_ Turbine : 0|16@1+ (0.25,0) [0|16000] "rpm" TCU
 SG_ Output : 23|16@0+ (0.25,0) [0|16000] "rpm" TCU
 SG_ OilTemp : 32|8@1- (1,0) [-40|200] "degC" TCU
 SG_ Lever : 40|4@1+ (1,0) [0|15] "" TCU
 SG_ Battery : 48|16@1+ (0.001,0) [0|65] "V" TCU
BO_ 2566852862 State: 8 TCU
 SG_ Page M : 0|8@1+ (1,0) [0|255] "" TCU
 SG_ TapUp m0 : 8|1@1+ (1,0) [0|1] "" TCU
 SG_ Road m1 : 15|16@0+ (0.01,0) [0|655] "km/h" TCU
BO_ 513 Wide: 8 TCU
 SG_ Long : 0|64@1- (1,0) [0|0] "" TCU
 SG_ Float : 7|32@0- (1,0) [0|0] "V" TCU
SIG_VALTYPE_ 513 Float : 1;
CM_ SG_ 256 Lever "an invented lever";
VAL_ 256 Lever 0 "park" 1 "reverse" 4 "manual" 15 "no signal" ;
VAL_ 256 Turbine 65535 "no signal" ;
"""
CHANNELS = (
    ("turbine", "Speeds.Turbine", "rpm", ""), ("output", "Speeds.Output", "rpm", ""), ("oil", "Speeds.OilTemp",
    "degC", ""),
    ("supply", "Speeds.Battery", "V", ""), ("tap_up", "State.TapUp", "code", ""), ("road", "State.Road", "km/h", ""),
    ("lever", "Speeds.Lever", "code", 'codes = { "park" = "park", "reverse" = "reverse", "4" = "manual" }'),
    ("pin.taps", "Wide.Float", "V", ""), ("gear", "Wide.Long", "code", ""),
)  # fmt: skip
MAP = 'format = 1\n[file]\nkind = "can"\nconfirmed = true\n[can]\ndbc = "bus.dbc"\n' + "".join(
    f'[[channel]]\nrole = "{role}"\nheader = "{header}"\nunit = "{unit}"\nconfirmed = true\n{more}\n'
    for role, header, unit, more in CHANNELS
)


def frames(count: int) -> list[can.Message]:
    """An invented drive: two pages of one frame, a long one, a remote one, one that nobody describes."""
    made = []
    for at in range(count):
        stamp = 1_780_000_000.0 + at * 0.01
        speeds = (
            int(4000 + 4 * at).to_bytes(2, "little") + (1600).to_bytes(2, "big") + bytes([60 + at, at % 5, 0xE8, 0x35])
        )
        made.append(can.Message(timestamp=stamp, arbitration_id=256, is_extended_id=False, data=speeds))
        made.append(
            can.Message(
                timestamp=stamp + 0.002, arbitration_id=2566852862 & 0x1FFFFFFF, is_extended_id=True,
                data=bytes([at % 2, at % 3 == 0, 7, 0, 0, 0, 0, 0]),
            )
        )  # fmt: skip
        made.append(
            can.Message(
                timestamp=stamp + 0.003,
                arbitration_id=513,
                is_extended_id=False,
                data=bytes([0x41, 0x20 + at]) + bytes(at % 7),
            )
        )
    made.append(
        can.Message(timestamp=1_780_000_001.0, arbitration_id=0x7DF, is_extended_id=False, is_remote_frame=True)
    )
    return made


def written(ending: str, count: int) -> bytes:
    """The drive in one format, as python-can writes it."""
    with TemporaryDirectory() as name:
        path = Path(name, f"drive{ending}")
        with can.Logger(str(path)) as logger:
            for message in frames(count):
                message.channel = 0
                logger.on_message_received(message)
        return path.read_bytes()


def spaced() -> bytes:
    """Another shape of candump text, FD frames among it."""
    lines = [
        "(1780000000.000000) can0 100#A00F0640503C0135",
        "(1780000000.010000) can0 18FEDF3E#0001000000000000",
        "(1780000000.020000)  can0  100   [8]  A0 0F 06 40 50 3C 01 35",
        "(1780000000.030000) vcan1 201##1" + "40490FDB" * 16,
        "(1780000000.040000) can0 100#R",
    ]
    return ("\n".join(lines) + "\n").encode()


def text_recordings() -> Sequence[bytes]:
    """Lines."""
    decimal = written(".asc", 4).replace(b"base hex", b"base dec", 1)
    return [written(".log", 12), written(".asc", 12), spaced(), decimal]


def binary_recordings() -> Sequence[bytes]:
    """By the library."""
    return [written(".blf", 12), written(".blf", 2), written(".trc", 12)]


def begin_recording(name: str) -> Callable[[Path], Run]:
    """Read a recording with a DBC that is whole."""

    def begin(folder: Path) -> Run:
        path, dbc = folder / name, folder / "bus.dbc"
        dbc.write_text(DBC, encoding="utf-8")
        (folder / "map.toml").write_text(MAP, encoding="utf-8")
        one = load_map(folder / "map.toml")
        (folder / "map.toml").write_text(MAP.replace("[can]", '[can]\nbus = "can0"'), encoding="utf-8")
        maps = (one, one, load_map(folder / "map.toml"))
        beside = frozenset({"bus.dbc", "map.toml"})

        def run(data: bytes) -> None:
            path.write_bytes(data)
            mark = zlib.crc32(data)
            try:
                if mark % 4 == 0:
                    proposed(path, dbc)
                else:
                    whole(path, maps[mark % 3], None, (7, 1000)[mark % 2])
            except LogFault as fault:
                refused(fault, name)
            untouched(path, data, beside)

        return run

    return begin


def begin_dbc(folder: Path) -> Run:
    """Read a whole recording with a DBC that may not be."""
    path, log, map_path = folder / "bus.dbc", folder / "drive.log", folder / "map.toml"
    log.write_bytes(written(".log", 4) + spaced())
    map_path.write_text(MAP, encoding="utf-8")
    beside = frozenset({log.name, map_path.name})

    def run(data: bytes) -> None:
        path.write_bytes(data)
        try:
            if zlib.crc32(data) % 4 == 0:
                proposed(log, path)
            else:
                whole(log, load_map(map_path), None, 1000)
        except (LogFault, MapFault) as fault:
            refused(fault, path.name, log.name)
        untouched(path, data, beside)

    return run


TEXT_WORDS = (
    "(1780000000.1)", "can0", "100#", "18FEDF3E#", "##1", "[8]", "Rx", "Tx", "d 8", "base hex  timestamps absolute",
    "base dec", "timestamps relative", "CANFD", "ErrorFrame", "Begin Triggerblock", "no internal events logged",
    "date Sat Mar 28 14:03:07.250 2026", "x", "FFFFFFFF", "100", "-1.0", "1e400", ";$FILEVERSION=2.1", ";$STARTTIME=",
    ";$COLUMNS=N,O,T,I,d,l,D", "DT", "FD", "LOGG", "LOBJ",
)  # fmt: skip
DBC_WORDS = (
    "BO_ 256 Speeds: 8 TCU", "SG_ ", " : 0|16@1+ (1,0) [0|0] \"\" TCU", "0|64@1-", "7|64@0+", "m0", "m1M", "M",
    "VAL_ 256",
    "SIG_VALTYPE_ 256 Turbine : 2;", "SG_MUL_VAL_ 2566852862 TapUp Page 0-3;", "BA_DEF_ SG_", "BA_ ", "CM_ ", "EV_ ",
    "BU_:", "VERSION", "2147483648", "4294967295", "(0,0)", "(1e308,1e308)", "4095|64@1+", "0|0@1+", "512", "-8",
    "<?xml version=\"1.0\"?>", "<NetworkDefinition>", "FormatVersion=6.0", "[NODE]", "ECU {",
)  # fmt: skip
LIBRARY = ("pinproof.logs.can_files", "pinproof.logs.can_frames", "pinproof.logs.can_decode")
TARGETS = (
    Target("can-text", "CAN recordings in lines", LIBRARY, begin_recording("in.log"), text_recordings, mutate.TEXT,
           TEXT_WORDS, doubled=doubled),
    Target("can-binary", "CAN recordings by the library", LIBRARY, begin_recording("in.blf"), binary_recordings,
           mutate.PLAIN, TEXT_WORDS),
    Target("dbc", "DBC files", LIBRARY, begin_dbc, lambda: [DBC.encode()], mutate.TEXT, DBC_WORDS,
           doubled=lambda data: data + data[data.find(b"BO_"):]),
)  # fmt: skip
