"""Stamps made strictly increasing, in one pass and bounded memory; every repair counted.

Answers: which rows repeat, come late, or follow a clock that was set; where data may be missing.
Units:   seconds.
Touches: nothing.
How:     one piece is held back until the next has begun, so rows that come late can still be put in order. Pieces
         that are in order pass without being copied.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from pinproof.logs.clock_words import sentences
from pinproof.logs.cuts import Stretch, joined, part
from pinproof.logs.faults import LogFault
from pinproof.logs.late_rows import LATE_ROWS, a_little_late, fill_a_hole, odd_stamps, repeats
from pinproof.logs.recording import Finding, Floats
from pinproof.logs.source import Piece
from pinproof.logs.steps import MISSING_PERIODS, Steps

MOST_GAPS = 1000
JUMP_S = 3600.0
COARSE_SHARE = 0.3
_ALWAYS_BACK = 0.1


class Clock:
    """The clock of one log. Feed pieces, get stretches; at the end `finish`, then `findings`."""

    def __init__(self, name: str, wraps_s: Sequence[float] = ()) -> None:
        self.name, self.wraps_s = name, tuple(wraps_s)
        self.steps = Steps()
        self.rows_read = self.rows_kept = 0
        self.gaps: list[tuple[float, float]] = []
        self.gap_count, self.gap_total_s = 0, 0.0
        self.first_raw_s: float | None = None
        self.last_s = -np.inf  # of what was given out
        self._base_s = 0.0  # taken off every stamp
        self._shift_s = 0.0  # added since the clock was set
        self._held: Piece | None = None  # clean, but not given out yet
        self._breaks: list[float] = []  # stamps before which a gap is known
        self._gap_next = True
        self._notes: dict[str, tuple[int, float, float]] = {}  # kind -> how often, where first, greatest extent
        self._coarse: bool | None = None
        self._open_run: Piece | None = None
        self._grain_s = 0.0
        self._back = 0
        self._begin: tuple[Floats, dict[str, Floats]] | None = None
        self._again = False

    def new_part(self, base_s: float, known: bool) -> list[Stretch]:
        """A new file begins: its first stamp comes to lie at `base_s` after the last row, or where its date says."""
        given = self._drain()
        self._gap_next = True
        if not known:
            self._base_s = np.nan
            self._next_s = base_s
        self._shift_s = 0.0
        self._coarse = None
        return given

    _next_s = 0.0

    def feed(self, piece: Piece) -> list[Stretch]:
        """Rows of the file in; stretches that are now certain out."""
        if not len(piece.stamp_s):
            return []
        if self.first_raw_s is None:
            self.first_raw_s = self._base_s = float(piece.stamp_s[0])
        if np.isnan(self._base_s):
            after = self.last_s if np.isfinite(self.last_s) else 0.0
            self._base_s = float(piece.stamp_s[0]) - (after + self._next_s)
        self.rows_read += len(piece.stamp_s)
        stamp_s = piece.stamp_s - (self._base_s - self._shift_s)
        piece = Piece(stamp_s, piece.values)
        if self._coarse is None:
            self._look_at_grain(piece)
        if self._coarse:
            spread = self._spread(piece)
            if spread is None:
                return []
            piece = spread
        return self._take(piece, final=False)

    def finish(self) -> list[Stretch]:
        """What was held back."""
        given = self._drain()
        period_s, _ = self.steps.overall()
        if np.isnan(period_s):
            self.steps.period_s = 0.0
        return given

    def _drain(self) -> list[Stretch]:
        given = []
        if self._open_run is not None:
            run, self._open_run = self._open_run, None
            given += self._take(self._even(run, self._grain_s), final=False)
        if self._held is not None:
            held, self._held = self._held, None
            clean = self._clean(held, final=True)
            given += self._give(clean)
        return given

    # what goes in

    def _take(self, piece: Piece, final: bool) -> list[Stretch]:
        step_s = np.diff(piece.stamp_s)
        held = self._held
        ordered = self._undecided == 0 and bool((step_s > 0.0).all())
        if not self.steps.period_s:
            self.steps.learn(step_s)
        if ordered and held is None:
            if piece.stamp_s[0] > self.last_s:
                self._held = piece
                return []
        elif ordered and held is not None and piece.stamp_s[0] > held.stamp_s[-1]:
            self._held = piece
            return self._give(held)
        if held is not None:
            piece = joined(held, piece)
        clean = self._clean(piece, final)
        keep = min(len(clean.stamp_s), LATE_ROWS + self._undecided)
        at = len(clean.stamp_s) - keep
        self._held = Piece(clean.stamp_s[at:], {role: each[at:] for role, each in clean.values.items()})
        if keep == 0:
            self._held = None
        return self._give(Piece(clean.stamp_s[:at], {role: each[:at] for role, each in clean.values.items()}))

    _undecided = 0

    # coarse stamps

    def _look_at_grain(self, piece: Piece) -> None:
        step_s = np.diff(piece.stamp_s[:20_000])
        same = step_s == 0.0
        self._coarse = False
        if len(step_s) < 10 or np.count_nonzero(same) < COARSE_SHARE * len(step_s):
            return
        differs, fills = np.zeros(len(step_s), dtype=bool), np.zeros(len(step_s), dtype=bool)
        for each in piece.values.values():
            head = each[: len(step_s) + 1]
            empty = np.isnan(head)
            differs |= (head[1:] != head[:-1]) & ~empty[1:] & ~empty[:-1]
            fills |= empty[1:] != empty[:-1]
        forward = step_s[step_s > 0.0]
        # Rows that repeat while others change are duplicates, rows that complement each other belong together. Where
        # as little changes under one stamp as from stamp to stamp (a parked truck), leaving out would lose rows.
        within = float(np.mean(differs[same])) > 0.1 * float(np.mean(differs[~same])) if not same.all() else False
        parked = not differs.any() and np.count_nonzero(fills & same) < 0.3 * np.count_nonzero(same)
        if len(forward) and (within or parked):
            self._coarse = True
            self._grain_s = float(np.median(forward))

    def _spread(self, piece: Piece) -> Piece | None:
        if self._open_run is not None:
            piece = joined(self._open_run, piece)
        stamp_s = piece.stamp_s
        begins = np.flatnonzero(np.diff(stamp_s, prepend=-np.inf) != 0.0)
        last = int(begins[-1])
        self._open_run = part(piece, last, len(stamp_s))
        if last == 0:
            if len(stamp_s) > 1_000_000:
                raise LogFault(
                    self.name, "no time", f"The clock stands still at {stamp_s[0]:g} s for a million rows.",
                    "Each row needs a stamp of time.", "Correct [time] in the map, or export the log again.",
                )  # fmt: skip
            return None
        count = np.diff(begins)
        width_s = np.diff(stamp_s[begins])
        width_s = np.where((width_s > 0.0) & (width_s <= 3.0 * self._grain_s), width_s, self._grain_s)
        within = np.arange(last) - np.repeat(begins[:-1], count)
        made = stamp_s[:last] + within * np.repeat(width_s / count, count)
        self._count("coarse stamps", int(last - len(count)), float(made[0]), self._grain_s)
        return Piece(made, {role: each[:last] for role, each in piece.values.items()})

    def _even(self, run: Piece, width_s: float) -> Piece:
        rows = len(run.stamp_s)
        return Piece(run.stamp_s + np.arange(rows) * (width_s / rows), run.values)

    # order

    def _clean(self, piece: Piece, final: bool) -> Piece:
        stamp_s, values = np.array(piece.stamp_s), dict(piece.values)
        before_s = self.last_s
        at = 0
        sort = False
        drop = np.zeros(len(stamp_s), dtype=bool)
        self._undecided = 0
        little = a_little_late(stamp_s, before_s, self.steps.period_s)
        if little is not None:
            if little[0]:
                self._count("late rows", *little)
            return self._sorted_part(stamp_s, values, before_s)
        while True:
            most = np.maximum.accumulate(np.concatenate(([before_s], stamp_s)))[:-1]
            behind = np.flatnonzero((stamp_s[at:] < most[at:]) & ~drop[at:])
            if not len(behind):
                break
            i = at + int(behind[0])
            top_s = float(most[i])
            ahead = np.flatnonzero(stamp_s[i:] > top_s)
            j = i + int(ahead[0]) if len(ahead) else len(stamp_s)
            self._back += 1
            if self._back > 1000 and self._back > _ALWAYS_BACK * self.rows_read:
                raise LogFault(
                    self.name, "no time",
                    f"The time goes back {self._back} times in {self.rows_read} rows: it is no clock.",
                    "Each row needs a stamp later than the one before.", "Correct [time] in the map.",
                )  # fmt: skip
            wrap_s = self._wrap(float(stamp_s[i]), top_s)
            if wrap_s:
                self._count("clock wrapped", 1, top_s, wrap_s)
                stamp_s[i:] += wrap_s
                self._shift_s += wrap_s
                at = i
                continue
            odd = odd_stamps(stamp_s, i, before_s, max(self.steps.gap_s, 3.0 * self._grain_s))
            if odd < i:
                drop[odd:i] = True
                self._count("odd stamps", i - odd, float(stamp_s[i]), top_s)
                stamp_s[odd:i] = stamp_s[i]  # so that they no longer count as the highest
                at = i
                continue
            repeated = repeats(stamp_s, values, i, j)
            if repeated:
                drop[i:j] = True
                self._count("duplicate rows", j - i, float(stamp_s[i]))
                at = j
                continue
            if j == len(stamp_s) and not final and len(stamp_s) - i < LATE_ROWS and i > 0:
                self._undecided = len(stamp_s) - i  # the next piece will tell
                sort = True
                break
            if (
                j - i <= LATE_ROWS
                and (j < len(stamp_s) or final)
                and fill_a_hole(stamp_s, i, j, before_s, self.steps.period_s)
            ):
                self._count("late rows", j - i, float(stamp_s[i]), top_s - float(stamp_s[i]))
                sort = True
                at = j
                continue
            self._set_back(stamp_s, values, i, top_s)
            at = i
        if drop.any():
            stamp_s, values = stamp_s[~drop], {role: each[~drop] for role, each in values.items()}
        if sort and not self._undecided:
            order = np.argsort(stamp_s, kind="stable")
            stamp_s, values = stamp_s[order], {role: each[order] for role, each in values.items()}
        elif self._undecided:
            return self._settled(stamp_s, values, before_s)
        return self._without_same(stamp_s, values, before_s)

    def _settled(self, stamp_s: Floats, values: dict[str, Floats], before_s: float) -> Piece:
        """All but the rows that are undecided are made clean; those stay as they are, at the end."""
        at = len(stamp_s) - self._undecided
        done = self._sorted_part(stamp_s[:at], {role: each[:at] for role, each in values.items()}, before_s)
        tail = Piece(stamp_s[at:], {role: each[at:] for role, each in values.items()})
        return joined(done, tail)

    def _sorted_part(self, stamp_s: Floats, values: dict[str, Floats], before_s: float) -> Piece:
        if not (np.diff(stamp_s) >= 0.0).all():
            order = np.argsort(stamp_s, kind="stable")
            stamp_s, values = stamp_s[order], {role: each[order] for role, each in values.items()}
        return self._without_same(stamp_s, values, before_s)

    def _wrap(self, stamp_s: float, top_s: float) -> float:
        room_s = max(self.steps.gap_s if self.steps.period_s else 1.0, 3.0 * self._grain_s)
        for wrap_s in self.wraps_s:
            if 0.0 < stamp_s + wrap_s - top_s <= room_s and stamp_s + self._base_s - self._shift_s < 0.5 * wrap_s:
                return wrap_s
        return 0.0

    def _set_back(self, stamp_s: Floats, values: dict[str, Floats], i: int, top_s: float) -> None:
        delta_s = top_s + (self.steps.period_s or 0.01) - float(stamp_s[i])
        back_s = top_s - float(stamp_s[i])
        if self._begin is not None:
            rows = min(len(self._begin[0]), len(stamp_s) - i)
            same = [np.array_equal(each[i : i + rows], self._begin[1][role][:rows], equal_nan=True)
                    for role, each in values.items() if role in self._begin[1]]  # fmt: skip
            self._again = self._again or (rows >= 16 and all(same))
        stamp_s[i:] += delta_s
        self._shift_s += delta_s
        self._count("clock set back", 1, float(stamp_s[i]), back_s)
        self._breaks.append(float(stamp_s[i]))

    def _without_same(self, stamp_s: Floats, values: dict[str, Floats], before_s: float) -> Piece:
        """One row for each stamp, and none at or before what was given out."""
        same = np.flatnonzero(np.diff(stamp_s, prepend=before_s) == 0.0)
        if not len(same):
            return Piece(stamp_s, values)
        values = {role: np.array(each) for role, each in values.items()}
        drop = np.zeros(len(stamp_s), dtype=bool)
        drop[same] = True
        group = np.cumsum(~drop) - 1  # which kept row each row belongs to
        kept = np.flatnonzero(~drop)
        joined = repeated = other = 0
        conflict, adds = np.zeros(len(same), dtype=bool), np.zeros(len(same), dtype=bool)
        target = np.where(group[same] >= 0, kept[np.maximum(group[same], 0)] if len(kept) else 0, -1)
        usable = target >= 0
        for each in values.values():
            # earlier rows win; what they lack is filled in, in order
            mine = each[same]
            if usable.any():
                there = each[np.maximum(target, 0)]
                fills = usable & np.isnan(there) & ~np.isnan(mine)
                conflict |= usable & ~np.isnan(there) & ~np.isnan(mine) & (there != mine)
                adds |= fills
                each[target[fills][::-1]] = mine[fills][::-1]
        joined = int(np.count_nonzero(adds & ~conflict))
        other = int(np.count_nonzero(conflict))
        repeated = len(same) - joined - other
        first_s = float(stamp_s[same[0]])
        for kind, count in (("duplicate rows", repeated), ("same stamp, joined", joined), ("same stamp", other)):
            if count:
                self._count(kind, count, first_s)
        return Piece(stamp_s[~drop], {role: each[~drop] for role, each in values.items()})

    # what goes out

    def _give(self, piece: Piece) -> list[Stretch]:
        stamp_s = piece.stamp_s
        if not len(stamp_s):
            return []
        if self._begin is None:
            self._begin = (stamp_s[:64].copy(), {role: each[:64].copy() for role, each in piece.values.items()})
        before_s = self.last_s
        step_s = np.diff(stamp_s, prepend=before_s if np.isfinite(before_s) else stamp_s[0] - 1.0)
        self.steps.learn(step_s if np.isfinite(before_s) else step_s[1:])
        limit_s = self.steps.gap_s
        cut = step_s > limit_s
        if not np.isfinite(before_s):
            cut[0] = False
        long = np.flatnonzero(cut)
        for at in long:
            self._gap(float(stamp_s[at] - step_s[at]), float(stamp_s[at]), jump=not (self._gap_next and at == 0))
        if self._breaks:
            due = [each for each in self._breaks if each <= stamp_s[-1]]
            self._breaks = [each for each in self._breaks if each > stamp_s[-1]]
            more = np.searchsorted(stamp_s, due)
            long = np.union1d(long, more[more < len(stamp_s)])
        if self.steps.regular and self.steps.period_s:
            missing = (step_s > MISSING_PERIODS * self.steps.period_s) & ~cut
            missing[0] = missing[0] and np.isfinite(before_s)
            count = int(np.count_nonzero(missing))
            if count:
                lost = np.rint(step_s[missing] / self.steps.period_s) - 1.0
                self._count("missing rows", int(lost.sum()), float(stamp_s[int(np.argmax(missing))]))
        self.rows_kept += len(stamp_s)
        self.last_s = float(stamp_s[-1])
        bounds = [0, *(int(each) for each in long if each > 0), len(stamp_s)]
        given = []
        for begin, end in itertools.pairwise(bounds):
            gap = self._gap_next or begin > 0 or (begin == 0 and bool(len(long)) and int(long[0]) == 0)
            self._gap_next = False
            rows = part(piece, begin, end)
            given.append(Stretch(rows.stamp_s, rows.values, gap))
        return given

    def _gap(self, start_s: float, end_s: float, jump: bool) -> None:
        self.gap_count += 1
        self.gap_total_s += end_s - start_s
        if len(self.gaps) < MOST_GAPS:
            self.gaps.append((start_s, end_s))
        if jump and end_s - start_s > JUMP_S:
            self._count("clock jump", 1, start_s, end_s - start_s)

    def _count(self, kind: str, count: int, first_s: float, extent_s: float = 0.0) -> None:
        was = self._notes.get(kind, (0, first_s, 0.0))
        self._notes[kind] = (was[0] + count, was[1], max(was[2], extent_s))

    def findings(self) -> list[Finding]:
        """What was found and done, as sentences."""
        return sentences(self.steps, self._notes, self.gaps, self.gap_count, self.gap_total_s, twice=self._again)
