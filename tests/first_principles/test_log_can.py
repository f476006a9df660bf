"""CAN recordings: written by python-can, decoded by cantools, and compared with what we read.

python-can and cantools are general-purpose libraries that know nothing of Pinproof; both are the outside check here.
"""

from __future__ import annotations

from pathlib import Path

import can
import cantools
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.logs import LogFault, MapFault, load_map, open_log, propose_map
from pinproof.logs.can_decode import Coded, present, raw_of, read_dbc, scaled

DBC = """VERSION ""
NS_ :
BS_:
BU_: TCU
BO_ 256 Speeds: 8 TCU
 SG_ Turbine : 0|16@1+ (0.25,0) [0|16000] "rpm" TCU
 SG_ Output : 23|16@0+ (0.25,0) [0|16000] "rpm" TCU
 SG_ OilTemp : 32|8@1- (1,0) [-40|200] "degC" TCU
 SG_ Lever : 40|4@1+ (1,0) [0|15] "" TCU
 SG_ Gear : 44|4@1+ (1,-1) [-1|14] "" TCU
 SG_ Battery : 48|16@1+ (0.001,0) [0|65] "V" TCU
BO_ 2566852862 State: 8 TCU
 SG_ Page M : 0|8@1+ (1,0) [0|255] "" TCU
 SG_ TapUp m0 : 8|1@1+ (1,0) [0|1] "" TCU
 SG_ TapDown m0 : 9|1@1+ (1,0) [0|1] "" TCU
 SG_ Road m1 : 15|16@0+ (0.01,0) [0|655] "km/h" TCU
VAL_ 256 Lever 0 "park" 1 "reverse" 4 "manual" 15 "no signal" ;
VAL_ 256 Turbine 65535 "no signal" ;
"""
MAP = """format = 1
[file]
kind = "can"
confirmed = true
[can]
dbc = "bus.dbc"
[[channel]]
role = "turbine"
header = "Speeds.Turbine"
unit = "rpm"
confirmed = true
[[channel]]
role = "output"
header = "Speeds.Output"
unit = "rpm"
confirmed = true
[[channel]]
role = "oil"
header = "Speeds.OilTemp"
unit = "degC"
confirmed = true
[[channel]]
role = "supply"
header = "Speeds.Battery"
unit = "V"
confirmed = true
[[channel]]
role = "gear"
header = "Speeds.Gear"
unit = "code"
confirmed = true
[[channel]]
role = "lever"
header = "Speeds.Lever"
unit = "code"
codes = { "park" = "park", "reverse" = "reverse", "manual" = "manual" }
confirmed = true
[[channel]]
role = "tap_up"
header = "State.TapUp"
unit = "code"
confirmed = true
[[channel]]
role = "road"
header = "State.Road"
unit = "km/h"
confirmed = true
"""
COUNT = 600


def messages(first_s: float) -> list[can.Message]:
    """A drive on a bus: speeds every 10 ms, the state every 20 ms with its two pages, strangers, a remote frame."""
    rng = np.random.default_rng(8)
    made = []
    for k in range(COUNT):
        turbine, output = int(4 * (1000 + k)), int(4 * (400 + k))
        oil, lever, gear, supply = -20 + k % 60, (0, 1, 4, 9)[k % 4], k % 8, 13_800 - k
        data = turbine.to_bytes(2, "little") + output.to_bytes(2, "big") + (oil & 255).to_bytes(1, "little")
        data += bytes([lever | gear << 4]) + supply.to_bytes(2, "little")
        made.append(can.Message(timestamp=first_s + k * 0.01, arbitration_id=256, is_extended_id=False, data=data))
        if k % 2 == 0:
            page = (k // 2) % 2
            body = bytes([k % 3 == 0]) + bytes(6) if page == 0 else int(100 * (k % 90)).to_bytes(2, "big") + bytes(5)
            made.append(can.Message(
                timestamp=first_s + k * 0.01 + 0.003, arbitration_id=2566852862 & 0x1FFFFFFF, is_extended_id=True,
                data=bytes([page]) + body,
            ))  # fmt: skip
        if k % 50 == 0:
            made.append(can.Message(
                timestamp=first_s + k * 0.01 + 0.004, arbitration_id=0x7DF, is_extended_id=False,
                data=rng.integers(0, 256, 5, dtype=np.uint8).tobytes(),
            ))  # fmt: skip
    made.append(can.Message(timestamp=first_s + 7.0, arbitration_id=256, is_extended_id=False, is_remote_frame=True))
    return made


def written(folder: Path, ending: str) -> Path:
    """The recording in one format, with its DBC and map."""
    (folder / "bus.dbc").write_text(DBC)
    (folder / "map.toml").write_text(MAP)
    path = folder / f"drive{ending}"
    sent = messages(1_780_000_000.0)
    with can.Logger(str(path)) as logger:
        for message in sent:
            message.channel = 0
            logger.on_message_received(message)
    return path


@pytest.mark.parametrize("ending", [".log", ".asc", ".blf", ".trc"])
def test_every_format_gives_what_cantools_decodes(ending: str, tmp_path: Path) -> None:
    """All signals of all frames, against cantools' own decoding of the messages that were sent."""
    log = open_log(written(tmp_path, ending), load_map(tmp_path / "map.toml"))
    got = list(log.chunks(tuple(log.channels)))
    time_s = np.concatenate([each.time_s for each in got])
    values = {role: np.concatenate([each.values[role] for each in got]) for role in log.channels}
    base = cantools.database.load_string(DBC, "dbc")
    wanted: dict[str, list[tuple[float, float]]] = {role: [] for role in log.channels}
    names = {"Turbine": "turbine", "Output": "output", "OilTemp": "oil", "Battery": "supply", "Gear": "gear",
             "TapUp": "tap_up", "Road": "road"}  # fmt: skip
    for message in messages(0.0):
        if message.is_remote_frame or message.arbitration_id == 0x7DF:
            continue
        frame = base.get_message_by_frame_id(message.arbitration_id)
        for name, value in frame.decode(message.data, decode_choices=False).items():
            if name in names:
                wanted[names[name]].append((message.timestamp, value / 3.6 if name == "Road" else value))
            if name == "Lever" and value != 9:
                wanted["lever"].append((message.timestamp, {0: 0.0, 1: 1.0, 4: 2.0}[value]))
    for role, pairs in wanted.items():
        at = ~np.isnan(values[role])
        assert time_s[at] == pytest.approx([each for each, _ in pairs], abs=2e-4), role  # TRC has steps of 0.1 ms
        assert values[role][at] == pytest.approx([each for _, each in pairs]), role
    assert log.channels["lever"].labels == ("park", "reverse", "manual")
    assert log.channels["lever"].lost == COUNT // 4
    assert "State.TapDown" in log.unmapped
    assert log.channels["turbine"].rate_hz == pytest.approx(100.0, rel=0.01)
    assert log.channels["turbine"].rate_basis == "samples"
    assert log.time_base.gap_count == 0


def test_candump_as_shown_on_a_terminal(tmp_path: Path) -> None:
    """The other way to write it: length in brackets, bytes apart; and of two buses only the one that is named."""
    (tmp_path / "bus.dbc").write_text(DBC)
    (tmp_path / "map.toml").write_text(MAP.replace('dbc = "bus.dbc"', 'dbc = "bus.dbc"\nbus = "can1"'))
    rows = "".join(
        f" ({k * 0.01:.6f})  can{k % 2}  100   [8]  A0 0F 00 {k:02X} 10 54 00 00\n" for k in range(60)
    )  # fmt: skip
    path = tmp_path / "x.log"
    path.write_text(rows)
    log = open_log(path, load_map(tmp_path / "map.toml"))
    output = np.concatenate([each.values["output"] for each in log.chunks(["output"])])
    assert output.tolist() == [k * 0.25 for k in range(1, 60, 2)]


def test_a_proposal_from_the_dbc(tmp_path: Path) -> None:
    """Units and words of the DBC; only signals whose frames are there; without a DBC it is refused."""
    path = written(tmp_path, ".log")
    with pytest.raises(LogFault, match="only a DBC file says"):
        propose_map(path)
    proposal = propose_map(path, tmp_path / "bus.dbc")
    by_role = {each.role: each for each in proposal.channels}
    assert by_role["turbine"].header == "Speeds.Turbine" and by_role["turbine"].unit == "rpm"
    assert by_role["oil"].unit == "degC"
    assert {code for code, _ in by_role["lever"].codes} >= {"park", "reverse", "manual"}


def test_words_of_the_dbc_that_are_no_number(tmp_path: Path) -> None:
    """ "no signal" in a speed is not 16 383 rpm."""
    path = written(tmp_path, ".log")
    with path.open("a") as file:
        file.write("(1780000006.500000) can0 100#FFFF000000000000 R\n")
    log = open_log(path, load_map(tmp_path / "map.toml"))
    assert log.time_base.rows_kept > COUNT
    assert (log.channels["turbine"].lost, log.channels["turbine"].lost_examples) == (1, ("no signal",))
    assert log.channels["turbine"].highest < 2000.0


@pytest.mark.parametrize("ending", [".log", ".asc", ".blf", ".trc"])
@pytest.mark.parametrize("keep", [0.05, 0.5, 0.97])
def test_a_recording_that_is_cut_off(ending: str, keep: float, tmp_path: Path) -> None:
    """What is there is read, or it is refused with a LogFault; never another error, and no wrong number."""
    path = written(tmp_path, ending)
    data = path.read_bytes()
    path.write_bytes(data[: int(keep * len(data))])
    rows, refused = 0, ""
    try:
        log = open_log(path, load_map(tmp_path / "map.toml"))
        for chunk in log.chunks(["turbine"]):
            some = chunk.values["turbine"][~np.isnan(chunk.values["turbine"])]
            assert ((some >= 1000.0) & (some < 1000.0 + COUNT)).all()
            rows += len(chunk.time_s)
    except LogFault as fault:
        refused = fault.kind
    assert refused in ("damaged", "no rows", "no channel", "binary", "empty", "no header", "other kind") or rows > 0


def test_a_map_or_dbc_that_does_not_fit(tmp_path: Path) -> None:
    """No DBC, one that is none, one of another bus."""
    path = written(tmp_path, ".log")
    (tmp_path / "map.toml").write_text(MAP.replace('[can]\ndbc = "bus.dbc"\n', ""))
    with pytest.raises(LogFault, match="the map names no DBC"):
        open_log(path, load_map(tmp_path / "map.toml"))
    (tmp_path / "map.toml").write_text(MAP.replace("bus.dbc", "else.dbc"))
    with pytest.raises(MapFault, match="no file"):
        load_map(tmp_path / "map.toml")
    (tmp_path / "else.dbc").write_text("this is no DBC")
    with pytest.raises(LogFault):
        open_log(path, load_map(tmp_path / "map.toml"))
    (tmp_path / "else.dbc").write_text(DBC.replace("BO_ 256 ", "BO_ 257 ").replace("VAL_ 256", "VAL_ 257"))
    (tmp_path / "map.toml").write_text(MAP.replace("bus.dbc", "else.dbc").split('[[channel]]\nrole = "tap_up"')[0])
    with pytest.raises(LogFault, match="None of its frames"):
        list(open_log(path, load_map(tmp_path / "map.toml")).chunks(["turbine"]))


@given(st.data())
def test_any_signal_layout_decodes_as_cantools_does(data: st.DataObject) -> None:
    """Start, length, byte order and sign at random."""
    length = data.draw(st.integers(1, 64))
    little = data.draw(st.booleans())
    signed = data.draw(st.booleans())
    if little:
        start = data.draw(st.integers(0, 64 - length))
    else:
        place = data.draw(st.integers(0, 64 - length))
        start = 8 * (place // 8) + 7 - place % 8
    order, sign = int(little), "-" if signed else "+"
    text = f'VERSION ""\nNS_ :\nBS_:\nBU_: T\nBO_ 5 M: 8 T\n SG_ S : {start}|{length}@{order}{sign} (1,0) [0|0] "" T\n'
    base = cantools.database.load_string(text, "dbc")
    frames = [data.draw(st.binary(min_size=8, max_size=8)) for _ in range(4)]
    signal = Coded("M.S", 5, start, length, little, signed, False, 1.0, 0.0, "")
    got = raw_of(signal, np.frombuffer(b"".join(frames), dtype=np.uint8).reshape(-1, 8))
    wanted = [base.messages[0].decode(frame, decode_choices=False, scaling=False)["S"] for frame in frames]
    assert [int(each) for each in got] == wanted


def test_floats_and_short_frames(tmp_path: Path) -> None:
    """IEEE signals, factor and offset, and frames that end before the signal."""
    path = tmp_path / "f.dbc"
    path.write_text(
        'VERSION ""\nNS_ :\nBS_:\nBU_: T\nBO_ 5 M: 8 T\n SG_ F : 0|32@1- (2,1) [0|0] "V" T\n'
        ' SG_ G : 39|32@0- (1,0) [0|0] "V" T\nSIG_VALTYPE_ 5 F : 1;\nSIG_VALTYPE_ 5 G : 1;\n'
    )
    signals = read_dbc(path)
    body = np.frombuffer(np.float32(3.25).tobytes() + np.array([-1.5], ">f4").tobytes(), np.uint8).reshape(1, 8)
    assert scaled(signals["M.F"], raw_of(signals["M.F"], body)).tolist() == [7.5]
    assert scaled(signals["M.G"], raw_of(signals["M.G"], body)).tolist() == [-1.5]
    assert present(signals["M.G"], body, np.array([7])).tolist() == [False]
    assert present(signals["M.F"], body, np.array([4])).tolist() == [True]
