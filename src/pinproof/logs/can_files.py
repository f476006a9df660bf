"""CAN recordings with a DBC, as rows of roles.

Answers: the values of mapped signals, a row for each frame that holds one.
Units:   seconds; values in the unit of their role.
Touches: the recording and the DBC it is given, reading only.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from pinproof.logs.can_decode import Coded, present, raw_of, read_dbc, scaled
from pinproof.logs.can_frames import Frames, frames_of
from pinproof.logs.faults import LogFault
from pinproof.logs.logger_map import Entry, same_code
from pinproof.logs.recording import Floats
from pinproof.logs.source import Converter, Loss, Piece, Tally, loss_of_infinite

DATED_FROM_S = 1e8
"""Stamps above this count from 1970, not from the start of the recording."""


class CanSource:
    """One CAN recording."""

    def __init__(self, path: Path, can_format: str, dbc: str, bus: str, entries: Sequence[Entry]) -> None:
        self.path, self.name, self._format, self._bus = path, path.name, can_format, bus
        if not dbc:
            raise LogFault(
                self.name, "no DBC", "This is a CAN recording, and the map names no DBC.",
                'Only a DBC says what the frames mean: [can] with dbc = "bus.dbc".', "Add it to the map.",
            )  # fmt: skip
        signals = read_dbc(Path(dbc))
        first = next(frames_of(path, can_format, bus, Tally()), None)
        if first is None:
            of_bus = f" of bus {bus}" if bus else ""
            raise LogFault(
                self.name, "no rows", f"There is no data frame{of_bus} in it.", hint="Was the logger connected?"
            )
        seen = {int(each) for each in np.unique(first.frame)}
        self.entries = tuple(each for each in entries if each.header in signals)
        wanted = {each.header for each in self.entries}
        self.headers = tuple(
            header for header, signal in signals.items() if signal.frame in seen or header in wanted
        )  # fmt: skip
        self.dated = bool(first.stamp_s[0] > DATED_FROM_S)
        self._signals = {each.role: signals[each.header] for each in self.entries}
        self._converters = {each.role: Converter(each) for each in self.entries}

    def pieces(self, tally: Tally) -> Iterator[Piece]:
        """All frames that hold a mapped signal, in the order of the file."""
        wanted = np.array(sorted({signal.frame for signal in self._signals.values()}), dtype=np.int64)
        any_frame = False
        for frames in frames_of(self.path, self._format, self._bus, tally):
            keep = np.isin(frames.frame, wanted)
            if not keep.any():
                continue
            some = Frames(frames.stamp_s[keep], frames.frame[keep], frames.data[keep], frames.lengths[keep])
            any_frame = True
            rows = len(some.stamp_s)
            tally.rows += rows
            values = {}
            for role, signal in self._signals.items():
                made = np.full(rows, np.nan)
                at = np.flatnonzero(some.frame == signal.frame)
                if len(at) and signal.last_byte >= some.data.shape[1]:
                    loss = tally.loss(role)
                    loss.cells += len(at)
                    loss.note("no_number", len(at), {"frame too short": len(at)})
                elif len(at):
                    made[at] = self._values(role, signal, some.data[at], some.lengths[at], tally.loss(role))
                values[role] = made
            yield Piece(some.stamp_s, values)
        if not any_frame:
            raise LogFault(
                self.name, "no channel", "None of its frames holds a signal of the map.",
                hint="Is this the DBC of this bus, and the right bus?",
            )  # fmt: skip

    def _values(self, role: str, signal: Coded, data: np.ndarray, lengths: np.ndarray, loss: Loss) -> Floats:
        short = lengths <= signal.last_byte
        count = int(np.count_nonzero(short))
        there = present(signal, data, lengths)
        loss.cells += int(np.count_nonzero(there)) + count
        if count:
            loss.note("no_number", count, {"frame too short": count})
        raw = raw_of(signal, data)
        converter = self._converters[role]
        values = scaled(signal, raw)
        values[~there] = np.nan
        if converter.as_text:
            return _by_words(signal, raw, values, there, converter, loss)
        if signal.choices and converter.role.kind == "number" and not converter.table:
            special = there & np.isin(raw.astype(np.float64), np.array([float(each) for each in signal.choices]))
            count = int(np.count_nonzero(special))
            if count:
                words = {signal.choices[int(each)]: count for each in np.unique(raw[special])[:3]}
                loss.note("out_of_range", count, words)
                values[special] = np.nan
        return converter.numbers(loss_of_infinite(values, loss), loss)


def _by_words(
    signal: Coded, raw: np.ndarray, values: Floats, there: np.ndarray, converter: Converter, loss: Loss
) -> Floats:
    """Codes given as words of the DBC's table, or as numbers."""
    found, back, _times = np.unique(raw, return_inverse=True, return_counts=True)
    means = np.full(len(found), np.nan)
    for at, each in enumerate(found[:2000]):
        names = (signal.choices.get(int(each), ""), repr(float(each) * signal.factor + signal.offset))
        known = [converter.table[same_code(name)] for name in names if name and same_code(name) in converter.table]
        if known:
            means[at] = known[0]
    made = np.where(there, means[back.reshape(-1)], np.nan)
    lost = there & np.isnan(made)
    count = int(np.count_nonzero(lost))
    if count:
        odd = np.unique(raw[lost])[:3]
        loss.note("unknown_code", count, {signal.choices.get(int(each), str(each)): count for each in odd})
    return made


def signals_in(path: Path, dbc: Path, can_format: str) -> list[tuple[str, str, tuple[str, ...]]]:
    """Signals of the DBC whose frames are in the first batch: header, unit, first values as text."""
    signals = read_dbc(dbc)
    first = next(frames_of(path, can_format, "", Tally()), None)
    if first is None:
        raise LogFault(path.name, "no rows", "There is no data frame in it.", hint="Was the logger connected?")
    found = []
    for header, signal in signals.items():
        at = np.flatnonzero(first.frame == signal.frame)
        if not len(at) or signal.last_byte >= first.data.shape[1]:
            continue
        data, lengths = first.data[at], first.lengths[at]
        there = present(signal, data, lengths)
        raw = raw_of(signal, data)[there][:5000]
        values = scaled(signal, raw)
        texts = tuple(signal.choices.get(int(one), f"{value:g}") for one, value in zip(raw, values, strict=True))
        found.append((header, signal.unit, texts))
    return found
