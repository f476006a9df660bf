"""Can the coil hold, pull in, stay out, or chatter? In one situation, over all combinations of the relays.

Answers: for each situation the severities of each, in every combination of relays that can be; and those combinations.
Units:   ohms, volts.
Touches: nothing.
Beside:  `boxes` makes the rows, `corners` solves them, `chatter` looks for circuits without any state.

A relay's limits lie anywhere in their ranges. A combination *can be* when every closed relay has more volts than the
least at which it lets go, and every open one less than the most at which it pulls in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from pinproof.inhibit.bounds import Ask
from pinproof.inhibit.boxes import Bench, FloatArray, Situation
from pinproof.inhibit.chatter import chattering, may_chatter
from pinproof.inhibit.corners import NOWHERE, Found, possible
from pinproof.inhibit.sets import Interval, Severities, intersection, union

Question = Literal["holds", "pulls_in", "stays_out", "refuses", "lets_go", "drops"]
Combination = tuple[bool, ...]


@dataclass(frozen=True)
class Answer:
    """Severities with which, in one situation, the coil

    `holds`: is above the least drop-out with its relay closed; `pulls_in`: reaches the least pull-in with its relay
    open, as does every relay that must be closed for it; `stays_out`: is below the most pull-in with its relay open;
    `refuses`: is below the least pull-in, whatever the limits of the other relays; `lets_go`: is not above the most
    drop-out with its relay closed; `drops`: is not above the least, whatever the other limits; `chatters`: takes part
    in relays that find no state, where the rest of the answer does not settle it. `combinations`: closed relays of
    those in which it holds or pulls in.
    """

    holds: Found = NOWHERE
    pulls_in: Found = NOWHERE
    stays_out: Found = NOWHERE
    refuses: Found = NOWHERE
    lets_go: Found = NOWHERE
    drops: Found = NOWHERE
    chatters: Found = NOWHERE
    combinations: tuple[tuple[str, ...], ...] = ()

    def cranks(self, *, inner: bool = False) -> bool:
        """Whether some severity lets it crank: what can be, or with `inner` what surely happens in some truck."""
        every = (self.holds, self.pulls_in, self.chatters)
        return any(each.inner if inner else each.outer for each in every)


@dataclass
class _Rows:
    """Distinct rows for one key state, with or without the severity acting."""

    low: list[FloatArray] = field(default_factory=list)
    high: list[FloatArray] = field(default_factory=list)
    asked: list[tuple[int, ...]] = field(default_factory=list)
    level_v: list[tuple[float, ...]] = field(default_factory=list)
    known: dict[bytes, int] = field(default_factory=dict)

    def add(self, box: tuple[FloatArray, FloatArray], asked: Sequence[int], level_v: Sequence[float]) -> int:
        """Number of this row, new or known."""
        key = b"".join((box[0].tobytes(), box[1].tobytes(), bytes(asked), np.array(level_v).tobytes()))
        if key not in self.known:
            self.known[key] = len(self.low)
            self.low.append(box[0])
            self.high.append(box[1])
            self.asked.append(tuple(asked))
            self.level_v.append(tuple(level_v))
        return self.known[key]


def answers(bench: Bench, situations: Sequence[Situation], wanted: Sequence[Question]) -> list[Answer]:
    """The answer of each situation; questions that are not in `wanted` stay empty, chattering is always asked."""
    rows: dict[tuple[str, bool], _Rows] = {}
    asked: list[list[tuple[Question, Combination, tuple[str, bool], int]]] = []
    for situation in situations:
        mine: list[tuple[Question, Combination, tuple[str, bool], int]] = []
        for closed in bench.combinations:
            for box, acts in bench.boxes(situation, closed):
                place = rows.setdefault((situation.key, acts), _Rows())
                for question in wanted:
                    if closed[bench.coil] == (question in ("holds", "lets_go", "drops")):
                        number = place.add(box, *_conditions(bench, closed, question))
                        mine.append((question, closed, (situation.key, acts), number))
        asked.append(mine)
    found = {where: _solved(bench, where, place) for where, place in rows.items()}
    out = []
    for mine in asked:
        parts: dict[str, list[Found]] = {}
        names: dict[tuple[str, ...], None] = {}
        for question, closed, where, number in mine:
            one = found[where][number]
            parts.setdefault(question, []).append(one)
            if question in ("holds", "pulls_in") and one.outer:
                names[tuple(relay.id for relay, on in zip(bench.relays, closed, strict=True) if on)] = None
        joined = {name: _limited(bench, united(sets)) for name, sets in parts.items()}
        out.append(Answer(**joined, combinations=tuple(names)))
    if not may_chatter(bench):
        return out
    settled = [_settled(each, wanted) for each in out]
    chatter = chattering(bench, situations, settled)
    return [replace(each, chatters=_limited(bench, one)) for each, one in zip(out, chatter, strict=True)]


def _settled(answer: Answer, wanted: Sequence[Question]) -> Severities:
    """Severities whose answer chattering does not make worse."""
    no_crank: list[Question] = [name for name in wanted if name in ("stays_out", "lets_go")]
    names = no_crank or ["holds", "pulls_in"]
    return union([getattr(answer, name).outer for name in names])


def united(sets: Sequence[Found]) -> Found:
    """All severities of several."""
    return Found(union([each.outer for each in sets]), union([each.inner for each in sets]))


def _solved(bench: Bench, where: tuple[str, bool], rows: _Rows) -> list[Found]:
    key, acts = where
    return possible(
        bench.net, bench.moving if acts else None, np.array(rows.low), np.array(rows.high), bench.coil_columns,
        np.array(rows.asked, dtype=np.int8), np.array(rows.level_v), bench.rail_v([key]),
    )  # fmt: skip


def _conditions(bench: Bench, closed: Combination, question: Question) -> tuple[list[int], list[float]]:
    firm = question in ("refuses", "drops")
    asked, level_v = [], []
    for number, (relay, on) in enumerate(zip(bench.relays, closed, strict=True)):
        if number == bench.coil:
            ask, level = {
                "holds": (Ask.ABOVE, relay.drop_out_low_v),
                "pulls_in": (Ask.REACHES, relay.pull_in_low_v),
                "stays_out": (Ask.BELOW, relay.pull_in_high_v),
                "refuses": (Ask.BELOW, relay.pull_in_low_v),
                "lets_go": (Ask.AT_MOST, relay.drop_out_high_v),
                "drops": (Ask.AT_MOST, relay.drop_out_low_v),
            }[question]
            if bench.dead[number]:
                ask, level = (Ask.REACHES, np.inf) if question == "pulls_in" else (Ask.NOTHING, 1.0)
        elif bench.dead[number]:
            ask, level = Ask.NOTHING, 1.0
        elif on and question == "pulls_in":
            # By itself: a relay that only holds does not count, for it must have pulled in before.
            ask, level = Ask.REACHES, relay.pull_in_low_v
        elif on:
            ask, level = Ask.ABOVE, relay.drop_out_high_v if firm else relay.drop_out_low_v
        else:
            ask, level = Ask.BELOW, relay.pull_in_low_v if firm else relay.pull_in_high_v
        asked.append(int(ask))
        level_v.append(level)
    return asked, level_v


def _limited(bench: Bench, found: Found) -> Found:
    """Only severities that are a fault: a coil with shorted turns has less than its least."""
    if not np.isfinite(bench.change.below_ohm):
        return found
    fault = (Interval(0.0, bench.change.below_ohm, True, False),)
    return Found(intersection([found.outer, fault]), intersection([found.inner, fault]))
