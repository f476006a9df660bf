"""Signals out of CAN frames, many at once.

Answers: the numbers that a signal has in these frames.
Units:   those of the DBC.
Touches: the DBC file, in `read_dbc`. Loads cantools only when called.
Sources: bit numbering of the two byte orders as the DBC format has it; the tests compare with cantools.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from pinproof.logs.faults import LogFault, shown
from pinproof.logs.recording import Floats

MOST_DBC_BYTES = 32_000_000
MOST_BITS = 8 * 1785  # the longest message that a transport protocol puts together has 1785 bytes
MOST_PAGE = 65_535  # multiplexers of more than 16 bits are not met
_SIGNAL = re.compile(r":\s*(\d+)\s*\|\s*(\d+)\s*@")
_MESSAGE = re.compile(r"(?m)^\s*BO_\s+\d+\s+\w+\s*:\s*(\d+)")
_PAGES = re.compile(r"SG_MUL_VAL_\b[^;]*")
_RANGE = re.compile(r"(\d+)\s*-\s*(\d+)")
EXTENDED = 1 << 31
"""Added to the identifier of a frame with 29 bits, so that one number tells both kinds apart."""


@dataclass(frozen=True)
class Coded:
    """One signal as it lies in its frame."""

    header: str  # Message.Signal
    frame: int  # identifier, with EXTENDED where it has 29 bits
    start: int
    length: int
    little: bool  # Intel byte order
    signed: bool
    floating: bool
    factor: float
    offset: float
    unit: str
    choices: Mapping[int, str] = field(default_factory=dict)  # raw number -> word
    mux: Coded | None = None  # the signal that says when this one is there
    mux_ids: tuple[int, ...] = ()

    @property
    def last_byte(self) -> int:
        """The last byte of the frame that it needs."""
        if self.little:
            return (self.start + self.length - 1) // 8
        return (_place(self) + self.length - 1) // 8


def _place(signal: Coded) -> int:
    """Bits before its first one, counted from the frame's first bit on the wire (Motorola order)."""
    return 8 * (signal.start // 8) + 7 - signal.start % 8


def raw_of(signal: Coded, data: np.ndarray) -> np.ndarray:
    """Raw numbers of a signal.

    `data` is uint8, frames × bytes, wide enough. The result is uint64, int64 for signed ones, float64 for IEEE ones.
    """
    length = signal.length
    if signal.little:
        first, shift = signal.start // 8, signal.start % 8
        parts = [data[:, k].astype(np.uint64) for k in range(first, signal.last_byte + 1)]
        raw = np.zeros(len(data), dtype=np.uint64)
        for k, part in enumerate(parts[:8]):
            raw |= part << np.uint64(8 * k)
        raw >>= np.uint64(shift)
        if len(parts) == 9:
            raw |= parts[8] << np.uint64(64 - shift)
    else:
        place = _place(signal)
        first, last = place // 8, signal.last_byte
        spare = 7 - (place + length - 1) % 8
        raw = np.zeros(len(data), dtype=np.uint64)
        for k in range(first, last + 1):
            bits = 8 * (last - k) - spare
            part = data[:, k].astype(np.uint64)
            if bits >= 64:
                continue
            raw |= part << np.uint64(bits) if bits >= 0 else part >> np.uint64(-bits)
    if length < 64:
        raw &= np.uint64((1 << length) - 1)
    if signal.floating:
        if length == 32:
            return raw.astype(np.uint32).view(np.float32).astype(np.float64)
        return raw.view(np.float64) if length == 64 else raw.astype(np.uint16).view(np.float16).astype(np.float64)
    if signal.signed:
        if length < 64:
            sign = np.uint64(1 << (length - 1))
            return (raw ^ sign).view(np.int64) - np.int64(1 << (length - 1))
        return raw.view(np.int64)
    return raw


def present(signal: Coded, data: np.ndarray, lengths: np.ndarray) -> np.ndarray:
    """In which frames the signal is: long enough, and switched there where it is multiplexed."""
    there = np.asarray(lengths > signal.last_byte)
    if signal.mux is not None:
        there &= present(signal.mux, data, lengths)
        there &= np.isin(raw_of(signal.mux, data).astype(np.int64), signal.mux_ids)
    return there


def scaled(signal: Coded, raw: np.ndarray) -> Floats:
    """Numbers in the unit of the DBC."""
    return np.asarray(raw.astype(np.float64) * signal.factor + signal.offset)


def _is_number(bits: int, floating: bool) -> bool:
    """Whether so many bits are a number that can be taken apart; texts and arrays are longer."""
    return bits in (16, 32, 64) if floating else 0 < bits <= 64


def _no_dbc(path: Path, said: str, where: str = "") -> LogFault:
    return LogFault(path.name, "no DBC", said, hint="Get the DBC of this bus.", where=where)


def _text_of(path: Path) -> str:
    """The text of a DBC; LogFault where it is none, or states sizes that no bus has.

    A library makes room for whatever a DBC states, so absurd sizes are refused before it reads them.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_DBC_BYTES + 1)
    except FileNotFoundError:
        raise LogFault(path.name, "no file", "There is no such DBC file.", hint="Check the name.") from None
    except OSError as error:
        raise _no_dbc(path, f"It cannot be read: {error.strerror or error}.") from None
    if len(data) > MOST_DBC_BYTES:
        raise _no_dbc(path, f"It is larger than {MOST_DBC_BYTES // 10**6} MB, which no DBC is.")
    text = data.decode("cp1252", "replace")  # what the format is written in by custom
    for found in _SIGNAL.finditer(text):
        if _above(found[1], MOST_BITS) or _above(found[2], MOST_BITS):
            said = f"A signal lies at {shown(found[0].strip(': @'), 40)}; no message is so long."
            raise _no_dbc(path, said, _line(text, found.start()))
    for found in _MESSAGE.finditer(text):
        if _above(found[1], MOST_BITS // 8):
            said = f"A message of {shown(found[1], 40)} bytes is stated; no message is so long."
            raise _no_dbc(path, said, _line(text, found.start(1)))
    for listed in _PAGES.finditer(text):
        for each in _RANGE.finditer(listed[0]):
            if _above(each[2], MOST_PAGE):
                said = f"A signal is on pages {shown(each[0], 40)} of its message; {MOST_PAGE} is the last that can be."
                raise _no_dbc(path, said, _line(text, listed.start()))
    return text


def _line(text: str, at: int) -> str:
    return f"line {text.count(chr(10), 0, at) + 1}"


def _above(digits: str, most: int) -> bool:
    return len(digits) > 12 or int(digits) > most


def read_dbc(path: Path) -> dict[str, Coded]:
    """Signals of a DBC by `Message.Signal`; LogFault if it cannot be read."""
    import cantools

    text = _text_of(path)
    try:
        base = cantools.database.load_string(text, "dbc", strict=False)
    except Exception as error:  # cantools raises many kinds for a damaged file
        raise _no_dbc(path, f"It cannot be read as a DBC: {shown(str(error) or type(error).__name__, 120)}.") from None
    found: dict[str, Coded] = {}
    for message in getattr(base, "messages", []):
        frame = message.frame_id | (EXTENDED if message.is_extended_frame else 0)
        by_name = {}
        waiting = []
        for signal in message.signals:
            if not _is_number(signal.length, signal.is_float):
                continue
            choices = {int(raw): str(word) for raw, word in (signal.choices or {}).items()}
            made = Coded(
                f"{message.name}.{signal.name}", frame, signal.start, signal.length,
                signal.byte_order == "little_endian", signal.is_signed, signal.is_float, float(signal.scale),
                float(signal.offset), signal.unit or "", choices,
            )  # fmt: skip
            by_name[signal.name] = made
            if signal.multiplexer_ids:
                waiting.append((signal.name, signal.multiplexer_signal, tuple(signal.multiplexer_ids)))
        for _ in range(4):  # a multiplexer may itself be multiplexed
            for name, mux, ids in waiting:
                if mux in by_name:
                    one = by_name[name]
                    by_name[name] = Coded(**{**one.__dict__, "mux": by_name[mux], "mux_ids": ids})
        found |= {signal.header: signal for signal in by_name.values()}
    if not found:
        raise LogFault(path.name, "no DBC", "It describes no signal.", hint="Get the DBC of this bus.")
    return found
