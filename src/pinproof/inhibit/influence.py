"""Can a command contact raise the coil? Without a fault, by the graph and by numbers; with one, from the faults found.

Answers: what joins the coded lines to the start circuit, and how much a press adds to the coil's volts at each point.
Units:   volts.
Touches: nothing.
Beside:  `defeats` has asked every fault with every set of contacts; a fault whose nets no coded line can touch needs no
         sums: the two circuits then share nothing but rails, and a rail is ideal.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.inhibit.boxes import Bench, Situation
from pinproof.inhibit.circuit import Circuit
from pinproof.inhibit.defeats import HAIR
from pinproof.inhibit.results import Influence, InfluenceRow, StartFault
from pinproof.inhibit.states import coil_volts, others_can
from pinproof.verdict import Verdict, worst


def influence_of(circuit: Circuit, faults: Sequence[StartFault]) -> Influence:
    """Influence of command contacts on the coil."""
    bench = Bench(circuit)
    shared = tuple(each.id for each in bench.branches if each.by == "command")
    rows = _rows(bench) if shared else ()
    by_faults = tuple(each.id for each in faults if each.by_command)
    verdicts = [row.verdict for row in rows]
    if any(each.by_command and each.defeat for each in faults):
        shown = any(each.by_command and each.defeat and each.shown for each in faults)
        verdicts.append(Verdict.FAIL if shown else Verdict.NOT_SHOWN)
    moved = tuple(each.id for each in faults if each.moved_by_command and not each.by_command)
    limit = circuit.relay(circuit.coil).drop_out_low_v
    return Influence(not shared, shared, rows, by_faults, worst([*verdicts, Verdict.PASS]), moved, limit)


def _rows(bench: Bench) -> tuple[InfluenceRow, ...]:
    circuit = bench.circuit
    limit = circuit.relay(circuit.coil).drop_out_low_v
    out = []
    for point in circuit.points:
        for request in (True, False):
            none, _, _ = _most(bench, point, request, frozenset())
            found = [(*_most(bench, point, request, each), each) for each in circuit.command_sets]
            most, inner, _, operated = max(found, key=lambda each: each[0], default=(none, none, True, frozenset()))
            must_not = point not in circuit.permitted or not request
            verdict = _judged(none, most, inner, limit) if must_not else Verdict.PASS
            out.append(InfluenceRow(point, request, none, most, tuple(sorted(operated)), verdict, must_not))
    return tuple(out)


def _judged(none_v: float, most_v: float, sure_v: float, limit_v: float) -> Verdict:
    """Whether a press lets the coil stay closed where it must not.

    What counts is the drop-out: a lift that stays below it is no defeat, however it comes about. Where the coil is
    above it with nothing pressed, and a press adds less than a hair, the press is not what does it: the table tells of
    that.
    """
    if most_v < limit_v or (none_v >= limit_v and most_v <= none_v * (1.0 + HAIR)):
        return Verdict.PASS
    hair = none_v < limit_v and most_v <= none_v * (1.0 + HAIR)
    return Verdict.FAIL if sure_v > limit_v and not hair else Verdict.NOT_SHOWN


def _most(bench: Bench, point: str, request: bool, operated: frozenset[str]) -> tuple[float, float, bool]:
    """Greatest coil volts, the greatest that is surely reached, and whether both are the same. [V]"""
    most, sure, exact = 0.0, 0.0, True
    for supply in bench.circuit.supplies:
        situation = Situation(point, request, supply.key, operated=operated)
        for closed in others_can(bench, situation):
            _, high, one = coil_volts(bench, situation, closed, bench.coil)
            most = max(most, high)
            sure = max(sure, high if one else 0.0)
            exact &= one
    return most, sure, exact
