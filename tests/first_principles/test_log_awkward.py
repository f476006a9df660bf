"""Log files damaged at random, and the library for MDF: never another error than LogFault, and time always rises."""

from __future__ import annotations

import sys
import types
from pathlib import Path

import can
import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.logs import LogFault, MapFault, load_map, map_of, open_log, propose_map
from pinproof.logs.logger_map import LoggerMap

TEXT = "note\nTime;Engine [rpm];Gear;Road\n" + "".join(
    f"{k * 0.01:.2f};{900 + k % 40};{'N' if k % 100 < 5 else 1 + k // 100 % 4};{k % 17},5\n" for k in range(1500)
)
MAP = """format = 1
[file]
kind = "{kind}"
delimiter = ";"
decimal = "."
skip_lines = 1
confirmed = true
[time]
header = "Time"
unit = "s"
confirmed = true
[[channel]]
role = "engine"
header = "Engine"
unit = "rpm"
confirmed = true
[[channel]]
role = "gear"
header = "Gear"
unit = "code"
codes = {{ "N" = 0, "1" = 1, "2" = 2, "3" = 3, "4" = 4 }}
confirmed = true
"""
CAN_MAP = """format = 1
[file]
kind = "can"
confirmed = true
[can]
dbc = "bus.dbc"
[[channel]]
role = "engine"
header = "M.E"
unit = "rpm"
confirmed = true
"""
CAN_DBC = 'VERSION ""\nNS_ :\nBS_:\nBU_: T\nBO_ 256 M: 8 T\n SG_ E : 0|16@1+ (0.25,0) [0|16000] "rpm" T\n'


def text_map(kind: str = "text") -> LoggerMap:
    """The map of TEXT."""
    made = MAP.format(kind=kind)
    if kind != "text":
        made = made.replace('delimiter = ";"\ndecimal = "."\nskip_lines = 1\n', "")
    return map_of(made)


def read_or_refuse(path: Path, known: LoggerMap) -> int:
    """Rows read; the order of time holds whatever was in the file. -1 where it was refused with words."""
    try:
        log = open_log(path, known)
        last_s, rows = -np.inf, 0
        for chunk in log.chunks(tuple(log.channels), rows=777):
            assert 0 < len(chunk.time_s) <= 777
            assert chunk.time_s[0] > last_s and (np.diff(chunk.time_s) > 0.0).all()
            assert all(len(each) == len(chunk.time_s) for each in chunk.values.values())
            assert not any(np.isinf(each).any() for each in chunk.values.values())
            last_s, rows = float(chunk.time_s[-1]), rows + len(chunk.time_s)
        assert rows == log.time_base.rows_kept
    except LogFault as fault:
        rows = -1 if fault.kind and "\n" in str(fault) else -2
    assert rows >= -1
    return rows


def damaged(data: bytes, draw: st.DataObject) -> bytes:
    """Bytes changed, stretches cut out, doubled, zeroed, or the end cut off."""
    made = bytearray(data)
    for _ in range(draw.draw(st.integers(1, 4))):
        at = draw.draw(st.integers(0, max(0, len(made) - 1)))
        size = draw.draw(st.integers(1, 3000))
        what = draw.draw(st.sampled_from(["byte", "cut", "double", "zero", "end", "line", "noise"]))
        if what == "byte":
            made[at : at + 1] = bytes([draw.draw(st.integers(0, 255))])
        elif what == "cut":
            del made[at : at + size]
        elif what == "double":
            made[at:at] = made[at : at + size]
        elif what == "zero":
            made[at : at + size] = bytes(size)
        elif what == "end":
            del made[at:]
        elif what == "line":
            made[at:at] = draw.draw(
                st.sampled_from([b"\n", b'"', b";;;", b"\r", b"\xff\xfe", b"-5;", b"1e300;", b"9e18"])
            )
        else:
            made[at : at + 50] = draw.draw(st.binary(min_size=50, max_size=50))
    return bytes(made)


@given(st.data())
def test_damaged_text(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    """With the right map, and as a proposal."""
    path = tmp_path_factory.mktemp("text") / "log.csv"
    path.write_bytes(damaged(TEXT.encode(), data))
    read_or_refuse(path, text_map())
    try:
        text = propose_map(path).text
    except LogFault:
        return
    with pytest.raises(MapFault):  # a proposal is never ready to use
        map_of(text)


def test_text_that_is_whole(tmp_path: Path) -> None:
    """So that the tests beside say something."""
    path = tmp_path / "log.csv"
    path.write_text(TEXT)
    assert read_or_refuse(path, text_map()) == 1500


@given(st.data())
def test_damaged_parquet(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    """Checked by the library where it can; whatever comes through is a log."""
    path = tmp_path_factory.mktemp("parquet") / "log.parquet"
    frame = pl.DataFrame({"Time": np.arange(900) * 0.01, "Engine": np.arange(900.0), "Gear": ["N", "1", "2"] * 300})
    frame.write_parquet(path)
    assert read_or_refuse(path, text_map("parquet")) == 900
    path.write_bytes(damaged(path.read_bytes(), data))
    read_or_refuse(path, text_map("parquet"))


@pytest.fixture(scope="module", params=[".log", ".asc", ".blf", ".trc"])
def recording(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small bus recording with its map beside it."""
    folder = tmp_path_factory.mktemp("can")
    (folder / "bus.dbc").write_text(CAN_DBC)
    (folder / "map.toml").write_text(CAN_MAP)
    path = folder / f"bus{request.param}"
    with can.Logger(str(path)) as logger:
        for k in range(300):
            data = (4 * (800 + k)).to_bytes(2, "little") + bytes(6)
            logger.on_message_received(can.Message(
                timestamp=1.7e9 + k * 0.01, arbitration_id=256, is_extended_id=False, data=data, channel=0,
            ))  # fmt: skip
    return path


@given(st.data())
def test_damaged_bus_recordings(recording: Path, data: st.DataObject) -> None:
    """In every format."""
    known = load_map(recording.parent / "map.toml")
    assert read_or_refuse(recording, known) == 300
    path = recording.parent / f"damaged{recording.suffix}"
    path.write_bytes(damaged(recording.read_bytes(), data))
    read_or_refuse(path, known)


def test_a_pipe_is_refused(tmp_path: Path) -> None:
    """Reading it would wait for ever."""
    import os

    if not hasattr(os, "mkfifo"):
        return  # Windows has no such file
    path = tmp_path / "pipe.csv"
    os.mkfifo(path)
    with pytest.raises(LogFault, match="device or a pipe"):
        open_log(path, text_map())


def mdf_library(frames: list[object]) -> types.ModuleType:
    """A stand-in with what is used of asammdf: MDF(path), channels_db, masters_db, get, iter_to_dataframe."""

    class Signal:
        samples, unit = np.array([900.0, 905.0]), "rpm"

    class Mdf:
        def __init__(self, path: str) -> None:
            if b"cut" in Path(path).read_bytes():
                raise ValueError("seek out of range")
            self.channels_db = {"time": ((0, 0),), "Engine": ((0, 1),), "Gear": ((1, 1),)}
            self.masters_db = {0: 0, 1: 0}

        def __enter__(self) -> Mdf:
            return self

        def __exit__(self, *_: object) -> None:
            pass

        def get(self, name: str, **_: object) -> Signal:
            return Signal()

        def iter_to_dataframe(self, channels: list[tuple[str, int, int]], **options: object) -> list[object]:
            assert ("Engine", 0, 1) in channels and options["use_interpolation"] is False
            return frames

    library = types.ModuleType("asammdf")
    library.MDF = Mdf  # type: ignore[attr-defined]
    return library


class Table(dict[str, object]):
    """A table as pandas gives it: columns by name, an index."""

    def __init__(self, index: np.ndarray, **columns: object) -> None:
        super().__init__(columns)
        self.index = index


def test_mdf_without_and_with_the_library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without it a sentence says what to do; with it rows of both groups, text and numbers."""
    path = tmp_path / "log.mf4"
    path.write_bytes(b"MDF     4.10    " + bytes(200))
    monkeypatch.setitem(sys.modules, "asammdf", None)
    with pytest.raises(LogFault, match="pip install asammdf"):
        open_log(path, text_map("mdf"))
    index = np.array([0.0, 0.005, 0.01, 0.02])
    gears = np.array([np.nan, b"N\0", np.nan, b"2"], dtype=object)
    table = Table(index, Engine=np.array([900.0, np.nan, 905.0, 910.0]), Gear=gears)
    monkeypatch.setitem(sys.modules, "asammdf", mdf_library([table]))
    log = open_log(path, text_map("mdf"))
    (chunk,) = log.chunks(["engine", "gear"])
    assert chunk.time_s.tolist() == index.tolist()
    assert chunk.values["engine"] == pytest.approx([900.0, np.nan, 905.0, 910.0], nan_ok=True)
    assert chunk.values["gear"] == pytest.approx([np.nan, 0.0, np.nan, 2.0], nan_ok=True)
    assert 'header = "Engine"' in propose_map(path).text
    path.write_bytes(b"MDF     4.10    cut")
    with pytest.raises(LogFault, match="damaged or cut off"):
        open_log(path, text_map("mdf"))
