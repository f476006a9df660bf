"""A log opened with its map: the way from files to what the checks see.

Answers: `open_log`.
Units:   as in `recording`.
Touches: the files named, reading; the work folder, if one is given.
"""

from __future__ import annotations

import hashlib
from collections.abc import Generator, Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np

from pinproof.logs import cache
from pinproof.logs.ahead import ahead
from pinproof.logs.cuts import Stretch, in_order
from pinproof.logs.faults import LogFault, shown
from pinproof.logs.learn_base import Learner
from pinproof.logs.logger_map import Entry, FileForm, LoggerMap
from pinproof.logs.recording import MOST_ROWS, Channel, Chunk, Finding, TimeBase
from pinproof.logs.sniff import Sniffed, find_header, kind_of, plain_header, sniff
from pinproof.logs.source import Converter, Piece, Source, Tally
from pinproof.logs.stamps import wraps_of
from pinproof.logs.time_base import Clock

BETWEEN_PARTS_S = 1.0
"""Put between parts of a day whose stamps have no date; how long it really was is not known."""
KEPT_CELLS = 4_000_000
"""A log of no more cells than this stays in memory after the first run."""


class Log:
    """One opened log, or several parts of one day; a `Recording`."""

    def __init__(
        self, sources: Sequence[Source], made: LoggerMap, notes: Sequence[Finding], work: Path | None, paths: list[Path]
    ) -> None:
        self._sources, self._map, self._notes, self._work = list(sources), made, tuple(notes), work
        more = f" and {len(sources) - 1} more" if len(sources) > 1 else ""
        self.name = sources[0].name + more
        there = {each.role for source in sources for each in source.entries}
        self._entries = [each for each in made.channels if each.role in there]
        self.absent = tuple(each.role for each in made.channels if each.role not in there)
        self.unconfirmed = tuple(each.role for each in made.proposed)
        named = {each.header for source in sources for each in source.entries}
        named |= {plain_header(each) for each in (made.time.header, made.time.date_header)}
        self.unmapped = tuple(
            dict.fromkeys(header for source in sources for header in source.headers if header not in named)
        )
        self._channels = {each.role: _channel(each) for each in self._entries}
        self._known: cache.Known | None = None
        self._stretches: list[Stretch] | None = None
        self._key = ""
        if work is not None:
            self._key = cache.key_of(paths, made.hash)
            self._known = cache.look_up(work, self._key)
            if self._known is not None:
                self._channels = self._known.channels
        self.from_work = self._known is not None

    @property
    def channels(self) -> Mapping[str, Channel]:
        """By role."""
        return self._channels

    @property
    def time_base(self) -> TimeBase:
        """Findings; reads the whole file if no run was completed before."""
        return self._whole().time_base

    @property
    def duration_s(self) -> float:
        """Last stamp less the first."""
        return self._whole().duration_s

    def _whole(self) -> cache.Known:
        if self._known is None:
            for _ in self.chunks(tuple(self._channels)):
                pass
        assert self._known is not None
        return self._known

    def chunks(self, roles: Sequence[str], rows: int = MOST_ROWS) -> Iterator[Chunk]:
        """All rows in order, in pieces of at most `rows`; LogFault for a role that is not there."""
        for role in roles:
            if role not in self._channels:
                there = ", ".join(self._channels) or "none"
                raise LogFault(
                    self.name, "no channel", f"There is no channel with the role {shown(role)}.",
                    f"Roles are {there}.", "Map it, if the logger recorded it.",
                )  # fmt: skip
        return self._chunks(tuple(dict.fromkeys(roles)), max(1, rows))

    def _chunks(self, roles: Sequence[str], rows: int) -> Iterator[Chunk]:
        for each in in_order(self._all(roles), rows):
            yield Chunk(each.time_s, {role: each.values[role] for role in roles}, each.gap_before)

    def _all(self, roles: Sequence[str]) -> Iterator[Stretch]:
        if self._stretches is not None:
            return iter(self._stretches)
        if self._known is not None and self._work is not None and cache.look_up(self._work, self._key) is not None:
            return self._from_work(self._work, self._known, roles)
        return ahead(self._run())

    def _from_work(self, work: Path, known: cache.Known, roles: Sequence[str]) -> Iterator[Stretch]:
        """Rows as the work folder has them; from the first part that is damaged, as the files have them."""
        given = 0
        try:
            for stretch in cache.rows_of(work, self._key, known, roles):
                yield stretch
                given += len(stretch.time_s)
        except cache.Damaged:
            cache.forget(work, self._key)
        else:
            return
        for stretch in ahead(self._run()):
            rows = len(stretch.time_s)
            if given < rows:
                left = {role: each[given:] for role, each in stretch.values.items()}
                yield Stretch(stretch.time_s[given:], left, stretch.gap_before and not given)
            given = max(given - rows, 0)

    def _run(self) -> Generator[Stretch, None, None]:
        """One run over the files, learning on the way."""
        clock, tally = Clock(self.name, wraps_of(self._map.time)), Tally()
        learner = Learner(list(self._channels.values()), self._entries, self._map.time, clock)
        keeper = cache.Keeper(self._work, self._key) if self._work is not None and self._key else None
        kept: list[Stretch] | None = []
        cells = 0
        whole = False
        try:
            for stretch in self._stretches_of(clock, tally):
                learner.feed(stretch)
                if keeper is not None:
                    keeper.add(stretch)
                cells += len(stretch.time_s) * (len(stretch.values) + 1)
                if kept is not None:
                    kept.append(stretch)
                    if cells > KEPT_CELLS:
                        kept = None
                yield stretch
            whole = True
        finally:
            if not whole and keeper is not None:
                keeper.drop()
        self._finish(learner, tally, keeper)
        self._stretches = kept

    def _finish(self, learner: Learner, tally: Tally, keeper: cache.Keeper | None) -> None:
        dated = all(source.dated for source in self._sources)
        channels, base = learner.learned(tally, self._notes, dated)
        if keeper is not None:
            refused = keeper.close(channels, base, learner.duration_s)
            if refused:
                self.work_refused = refused
        self._channels = channels
        self._known = cache.Known(channels, base, learner.duration_s, keeper.parts if keeper else 0)

    work_refused = ""
    """Why nothing could be kept in the work folder; "" if it could, or none was asked for."""

    def _stretches_of(self, clock: Clock, tally: Tally) -> Iterator[Stretch]:
        roles = [each.role for each in self._entries]
        dated = all(source.dated for source in self._sources)
        for at, source in enumerate(self._sources):
            if at:
                yield from clock.new_part(BETWEEN_PARTS_S, known=dated)
            try:
                for piece in source.pieces(tally):
                    values = {
                        role: piece.values[role] if role in piece.values else np.full(len(piece.stamp_s), np.nan)
                        for role in roles
                    }
                    yield from clock.feed(Piece(piece.stamp_s, values))
            except LogFault:
                yield from clock.finish()  # what was good before the fault
                raise
        yield from clock.finish()


def _channel(entry: Entry) -> Channel:
    converter = Converter(entry)
    return Channel(entry.role, entry.header, entry.unit, converter.unit_after, labels=entry.labels)


def open_log(paths: str | Path | Sequence[str | Path], logger_map: LoggerMap, work: str | Path | None = None) -> Log:
    """Open a log, or the parts of one day.

    Parameters
    ----------
    paths : path or list of paths
        Parts come from one logger. With dates in their stamps they are put in order, else they follow as given.
    logger_map : LoggerMap
        Of this logger; only its confirmed entries are used.
    work : path, optional
        Folder in which what was read is kept as Parquet; made if it is not there. None: nothing is written.

    Returns
    -------
    Log
        A `Recording`. Only the beginning of each file has been read.

    Raises
    ------
    LogFault
        A file cannot be used. Faults further inside come from `chunks`.
    """
    listed = [paths] if isinstance(paths, str | Path) else list(paths)
    files = [Path(each) for each in listed]
    if not files:
        raise LogFault("log", "no file", "No log was named.", hint="Name at least one file.")
    notes: list[Finding] = []
    sources: list[Source] = []
    seen: dict[tuple[int, bytes], str] = {}
    for path in files:
        found = kind_of(path)
        mark = (path.stat().st_size, _head(path))
        if mark in seen:
            raise LogFault(
                path.name,
                "twice",
                f"It holds the same as {seen[mark]}.",
                hint="Name each part once, or it counts twice.",
            )
        seen[mark] = path.name
        if found.misnamed:
            text = f"{path.name} holds {_KINDS[found.kind]}, whatever its name says."
            notes.append(Finding("misnamed file", text, repair="read as what it holds"))
        sources.append(_source(path, found, logger_map, notes))
    if not any(source.entries for source in sources):
        wanted = ", ".join(f'"{shown(each.header, 30)}"' for each in logger_map.channels[:8])
        there = ", ".join(f'"{shown(each, 30)}"' for each in sources[0].headers[:12])
        raise LogFault(
            files[0].name, "no channel", f"None of the headers in the map is in this file. The map has {wanted}.",
            f"The file has {there}.", "Use the map of this logger, or propose a new one.",
        )  # fmt: skip
    if len(sources) > 1 and all(source.dated for source in sources):
        order = sorted(range(len(sources)), key=lambda at: _first_stamp(sources[at]))
        sources, files = [sources[at] for at in order], [files[at] for at in order]
    elif len(sources) > 1:
        text = f"The stamps have no date: the time between the {len(sources)} parts is not known."
        notes.append(Finding("parts", text, len(sources), repair=f"{BETWEEN_PARTS_S:g} s put between them"))
    return Log(sources, logger_map, notes, Path(work) if work is not None else None, files)


_KINDS = {"text": "delimited text", "parquet": "Parquet", "mdf": "an MDF recording", "can": "a CAN recording"}


def _head(path: Path) -> bytes:
    with path.open("rb") as file:
        return hashlib.sha256(file.read(1 << 20)).digest()


def _first_stamp(source: Source) -> float:
    for piece in source.pieces(Tally()):
        return float(piece.stamp_s[0])
    return float("inf")


def _source(path: Path, found: Sniffed, made: LoggerMap, notes: list[Finding]) -> Source:
    wanted = made.file.kind if made.file is not None else found.kind
    if wanted != found.kind:
        raise LogFault(
            path.name, "other kind", f"This is {_KINDS[found.kind]}, and the map is for {_KINDS[wanted]}.",
            hint="Use the map of this logger, or correct kind in [file].",
        )  # fmt: skip
    if found.kind == "parquet":
        from pinproof.logs.parquet_files import ParquetSource

        return ParquetSource(path, made.time, made.channels)
    if found.kind == "mdf":
        from pinproof.logs.mdf_files import MdfSource

        return MdfSource(path, made.time, made.channels)
    if found.kind == "can":
        from pinproof.logs.can_files import CanSource

        return CanSource(path, found.can_format, made.dbc, made.bus, made.channels)
    from pinproof.logs.text_files import TextSource

    return TextSource(path, _form(path, made, notes), made.time, made.channels)


def _form(path: Path, made: LoggerMap, notes: list[Finding]) -> FileForm:
    """How the text is read: as the map says; a header that stands on another line is looked for."""
    form = made.file
    if form is None:
        form = sniff(path).form
        text = (
            f"The map does not say how the text is laid out. {path.name} is read as {form.encoding}, delimiter "
            f'"{form.delimiter}", decimal "{form.decimal}", {form.skip_lines} lines before the header.'
        )
        notes.append(Finding("layout", text))
        return form
    wanted = {made.time.header} if made.time.header else {each.header for each in made.channels}
    moved = find_header(path, form, wanted)
    if moved != form.skip_lines:
        text = f"{path.name}: the header stands after {moved} lines, not after the {form.skip_lines} of the map."
        notes.append(Finding("header moved", text, repair="read from there"))
        form = FileForm(form.kind, form.encoding, form.delimiter, form.decimal, moved, form.unit_row)
    return form
