"""The states that the relays of a start circuit can be in, in one situation.

Answers: which combinations of closed relays can be, which are reached from all open, whether none can be, and what each
         coil has in each.
Units:   volts.
Touches: nothing.
Beside:  `ask` puts the same conditions with a severity free; `chatter` finds circuits without a state.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from pinproof.inhibit.ask import answers
from pinproof.inhibit.bounds import Ask
from pinproof.inhibit.boxes import Bench, Situation
from pinproof.inhibit.circuit import Circuit
from pinproof.inhibit.corners import Found, possible
from pinproof.inhibit.results import RelayVolts, States
from pinproof.network import Reading, Sources, span

FloatArray = npt.NDArray[np.float64]
Combination = tuple[bool, ...]


def relay_states(circuit: Circuit, situation: Situation) -> States:
    """All relay states of a sound circuit in one situation.

    `history` counts combinations that differ anywhere, not only in the coil. Volts are listed for every combination
    that can be, in the order of `possible`.
    """
    bench = Bench(circuit)
    rows = [(closed, _all_can(bench, closed)) for closed in bench.combinations]
    found = _asked(bench, situation, rows)
    can = [closed for (closed, _), one in zip(rows, found, strict=True) if one.outer]
    sure = [closed for (closed, _), one in zip(rows, found, strict=True) if one.inner]
    chatter = answers(bench, [situation], [])[0].chatters
    chatters = None if chatter.outer and not chatter.inner else bool(chatter.inner)
    return States(
        tuple(_names(bench, closed) for closed in can),
        tuple(_names(bench, closed) for closed in sure),
        chatters,
        len(can) > 1,
        tuple(_names(bench, closed) for closed in _reached(bench, situation) if closed in can),
        tuple(relay_volts(bench, situation, closed) for closed in can),
    )


def others_can(bench: Bench, situation: Situation) -> list[Combination]:
    """Combinations in which every relay but the coil's own can stay as it is."""
    rows = []
    for closed in bench.combinations:
        asked, level_v = _all_can(bench, closed)
        asked[bench.coil] = int(Ask.NOTHING)
        rows.append((closed, (asked, level_v)))
    return [closed for (closed, _), one in zip(rows, _asked(bench, situation, rows), strict=True) if one.outer]


def relay_volts(bench: Bench, situation: Situation, closed: Combination) -> tuple[RelayVolts, ...]:
    """Volts of every coil over the box with the relays in this combination."""
    out = []
    for number, relay in enumerate(bench.relays):
        low, high, exact = coil_volts(bench, situation, closed, number)
        out.append(RelayVolts(relay.id, closed[number], low, high, exact))
    return tuple(out)


def coil_volts(bench: Bench, situation: Situation, closed: Combination, relay: int) -> tuple[float, float, bool]:
    """Least and greatest volts across one coil, without sign, and whether they are exact. [V]"""
    low, high = bench.box_s(situation, closed)
    corners = bench.rail_v([situation.key])
    sources = Sources.ranges(corners.min(axis=0), corners.max(axis=0))
    edge = bench.net.edges[bench.coil_columns[relay]]
    got = span(bench.net, low[None], high[None], sources, Reading(edge.a, edge.b))
    least, most = float(np.nan_to_num(got.low[0])), float(np.nan_to_num(got.high[0]))
    inside = 0.0 if least <= 0.0 <= most else min(abs(least), abs(most))
    return inside, max(abs(least), abs(most)), bool(got.exact[0])


def _all_can(bench: Bench, closed: Combination) -> tuple[list[int], list[float]]:
    asked = [int(Ask.ABOVE) if on else int(Ask.BELOW) for on in closed]
    level_v = [
        relay.drop_out_low_v if on else relay.pull_in_high_v for relay, on in zip(bench.relays, closed, strict=True)
    ]
    return asked, level_v


def _asked(
    bench: Bench, situation: Situation, rows: Sequence[tuple[Combination, tuple[list[int], list[float]]]]
) -> list[Found]:
    boxes = [bench.box_s(situation, closed) for closed, _ in rows]
    return possible(
        bench.net, None, np.array([low for low, _ in boxes]), np.array([high for _, high in boxes]),
        bench.coil_columns, np.array([asked for _, (asked, _) in rows], dtype=np.int8),
        np.array([level_v for _, (_, level_v) in rows]), bench.rail_v([situation.key]),
    )  # fmt: skip


def _reached(bench: Bench, situation: Situation) -> list[Combination]:
    """From all relays open: close what can pull in, open what can let go, one round at a time, until nothing is new.

    A round is taken for the surest and for the least limits, so every way that some truck can go is followed.
    """
    seen: dict[Combination, None] = {}
    wait = [tuple(False for _ in bench.relays)]
    while wait:
        closed = wait.pop()
        if closed in seen:
            continue
        seen[closed] = None
        ways: list[list[bool]] = [[]]
        for relay, on, volts in zip(bench.relays, closed, relay_volts(bench, situation, closed), strict=True):
            may = set()
            if on:
                may |= {False} if volts.low_v <= relay.drop_out_high_v else set()
                may |= {True} if volts.high_v > relay.drop_out_low_v else set()
            else:
                may |= {True} if volts.high_v >= relay.pull_in_low_v else set()
                may |= {False} if volts.low_v < relay.pull_in_high_v else set()
            ways = [[*way, to] for way in ways for to in sorted(may)]
        wait += [tuple(way) for way in ways]
    return list(seen)


def _names(bench: Bench, closed: Combination) -> tuple[str, ...]:
    return tuple(relay.id for relay, on in zip(bench.relays, closed, strict=True) if on)
